//! The five questions, as the trace's last reading answers them.

use glidepath::alarm::Cause;

use super::super::Replay;
use crate::played::lows;
use crate::played::{Answers, Sample};
use crate::sheet::Figure;
use crate::table::{Unit, count};

/// Now, direction, soon, trust, wake.
pub fn figures(replay: &Replay, unit: Unit) -> Vec<Figure> {
    let mut figures = Vec::new();
    if let Some(last) = replay.samples.last()
        && let Some(answers) = &last.answers
    {
        figures.extend([now(replay, last, answers, unit), direction(answers, unit), soon(answers, unit)]);
    }
    figures.extend([trust(replay), wake(replay)]);
    figures
}

fn now(replay: &Replay, last: &Sample, answers: &Answers, unit: Unit) -> Figure {
    let when = replay.time(last.reading.at());
    if !last.plasma.is_finite() {
        return Figure::new(
            "Now",
            unit.with_name(last.reading.glucose().mg_dl()),
            format!("the sensor's, {when}"),
        );
    }
    let around = unit.show(2.0 * answers.plasma_sd);
    Figure::new("Now", unit.with_name(last.plasma), format!("within ± {around}, 19 times in 20; {when}"))
}

fn direction(last: &Answers, unit: Unit) -> Figure {
    let rate = match unit {
        _ if !last.direction.is_finite() => String::new(),
        Unit::MgDl => format!("{:+.1} mg/dL a minute over the next 20", last.direction),
        Unit::MmolL => format!("{:+.2} mmol/L a minute over the next 20", last.direction / unit.in_mg_dl()),
    };
    Figure::new("Direction", last.trend.words(), rate.replace('-', "−"))
}

fn soon(last: &Answers, unit: Unit) -> Figure {
    if !last.low_probability.is_finite() {
        return Figure::new("Soon", "not known", "");
    }
    let (predicted, _) = last.predicted(30);
    let expected = if predicted.is_finite() {
        format!("; {} expected", unit.with_name(predicted))
    } else {
        String::new()
    };
    let low = unit.either("70", "3.9");
    let note = format!("chance of less than {low} within 30 min{expected}");
    Figure::new("Soon", format!("{:.0} %", 100.0 * last.low_probability), note)
}

fn trust(replay: &Replay) -> Figure {
    let all = replay.samples.len();
    let believed = replay.samples.iter().filter(|sample| !sample.is_doubted()).count();
    let share = 100.0 * believed as f64 / all.max(1) as f64;
    // of nearly all not "100 %"
    let share = if believed < all { (share * 10.0).floor() / 10.0 } else { share };
    let value =
        if share > 99.0 && believed < all { format!("{share:.1} %") } else { format!("{share:.0} %") };
    Figure::new("Trust", value, format!("of {} taken at their word", count(all as u64, "reading")))
}

fn wake(replay: &Replay) -> Figure {
    let begun = replay.alarms.iter().filter(|rang| rang.cause == Cause::New).count() as u64;
    let value = match replay.rehearsal.score.alarms_per_day {
        Some(rate) => format!("{rate:.1} a day"),
        None => count(begun, "alarm"),
    };
    let lows = replay.lows.len() as u64;
    let note = match lows {
        0 => format!("{}; there was no low", count(begun, "alarm")),
        _ => format!(
            "{}; {} of {} warned of",
            count(begun, "alarm"),
            lows::warned(&replay.lows).before,
            count(lows, "low")
        ),
    };
    Figure::new("Wake", value, note)
}
