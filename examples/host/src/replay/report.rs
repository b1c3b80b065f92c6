//! A replay's results: as JSON, and in plain words.

use std::collections::BTreeMap;

use glidepath::alarm::{Cause, Priority, Ring};
use glidepath::{Agreement, Side};
use serde::Serialize;

use super::Replay;
use super::truth::Against;
use crate::played::Beside;
use crate::played::Sample;
use crate::played::lows::{self, Low};
use crate::played::words::{minutes, precise, trigger_words};
use crate::rehearsal::Rehearsal;
use crate::table::{Counts, Unit, count};

/// What `--json` prints. Data that are not there are null.
#[derive(Debug, Serialize)]
pub struct Report {
    /// Readings that the monitor kept.
    pub readings: u64,
    /// Rows that it did not, for whatever reason; with `readings` they make up the file's rows.
    pub refused: u64,
    pub gaps: u64,
    /// Calendar days with readings.
    pub days: u64,
    pub interval_s: Option<u32>,
    pub episodes_below_70: u64,
    pub episodes_below_54: u64,
    pub alarms: Vec<Alarm>,
    /// The sensor's noise as learned, one standard deviation.
    pub noise_mg_dl: Option<f64>,
    pub calibration: Calibration,
    pub first: Option<String>,
    pub last: Option<String>,
    /// What the file held.
    pub input: Counts,
    /// What the monitor said of the readings it was given.
    pub verdicts: BTreeMap<&'static str, u64>,
    /// The estimate and the raw sensor against the truth, when the file has it.
    pub truth: Option<Truth>,
    /// How often each alarm rang and how many were true.
    pub rehearsal: Rehearsal,
    /// How two sensors worn at once went together, when there is a second one.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub pair: Option<Pair>,
}

#[derive(Debug, Serialize)]
pub struct Alarm {
    pub time: String,
    pub kind: &'static str,
    pub priority: &'static str,
    pub message: &'static str,
    pub cause: &'static str,
    /// What the alarm went by, and the glucose that caused it.
    pub by: &'static str,
    pub glucose_mg_dl: Option<f64>,
}

#[derive(Debug, Serialize)]
pub struct Calibration {
    pub gain: Option<f64>,
    pub offset_mg_dl: Option<f64>,
    pub fingersticks_used: u64,
    pub fingersticks_refused: u64,
}

/// How two sensors worn at once went together, in per cent of all readings of both.
#[derive(Clone, Copy, Debug, Serialize)]
pub struct Pair {
    pub second_readings: u64,
    pub together_percent: f64,
    pub apart_percent: f64,
    pub first_errs_percent: f64,
    pub second_errs_percent: f64,
    pub only_one_percent: f64,
    /// The first one's weight, on average while both read.
    pub first_weight: Option<f64>,
    /// How far each was taken to read above glucose at the end.
    pub first_offset_mg_dl: Option<f64>,
    pub second_offset_mg_dl: Option<f64>,
}

impl Pair {
    fn of(replay: &Replay) -> Option<Self> {
        let second_readings = replay.second? as u64;
        let said: Vec<&Beside> =
            replay.samples.iter().filter_map(|sample| sample.beside.as_deref()).collect();
        let percent = |is: &dyn Fn(Agreement) -> bool| {
            let n = said.iter().filter(|beside| is(beside.agreement)).count();
            (1000.0 * n as f64 / said.len().max(1) as f64).round() / 10.0
        };
        let both = || said.iter().filter(|beside| !is_single(beside.agreement));
        let sum: f64 = both().map(|beside| f64::from(beside.first_weight)).sum();
        let last = said.last();
        Some(Self {
            second_readings,
            together_percent: percent(&|a| a == Agreement::Together),
            apart_percent: percent(&|a| a == Agreement::Apart),
            first_errs_percent: percent(&|a| a == Agreement::Suspect(Side::First)),
            second_errs_percent: percent(&|a| a == Agreement::Suspect(Side::Second)),
            only_one_percent: percent(&is_single),
            first_weight: (both().count() > 0).then(|| (100.0 * sum / both().count() as f64).round() / 100.0),
            first_offset_mg_dl: last.and_then(|beside| rounded(beside.offsets[0], 1)),
            second_offset_mg_dl: last.and_then(|beside| rounded(beside.offsets[1], 1)),
        })
    }

    fn in_words(&self, unit: Unit) -> String {
        let offset = |offset: Option<f64>| {
            let offset = offset.unwrap_or(0.0);
            let side = if offset < 0.0 { "below" } else { "above" };
            format!("{} {side}", unit.with_name(offset.abs() as f32))
        };
        format!(
            "Two sensors: of all readings {:.0} % came while both agreed, {:.1} % while they disagreed and \
             nothing told which errs, {:.1} % while the first was off, {:.1} % while the second was, {:.1} % while only one \
             read. At the end the first is taken to read {}, the second {} blood glucose.",
            self.together_percent,
            self.apart_percent,
            self.first_errs_percent,
            self.second_errs_percent,
            self.only_one_percent,
            offset(self.first_offset_mg_dl),
            offset(self.second_offset_mg_dl),
        )
    }
}

fn is_single(agreement: Agreement) -> bool {
    matches!(agreement, Agreement::Neither | Agreement::Only(_))
}

#[derive(Clone, Copy, Debug, Serialize)]
pub struct Truth {
    pub plasma: Against,
    pub sensor: Against,
}

/// `value` to so many digits after the point; `None` when it is not known.
fn rounded(value: f32, digits: i32) -> Option<f64> {
    let power = 10f64.powi(digits);
    value.is_finite().then(|| (f64::from(value) * power).round() / power)
}

impl Report {
    /// The results of a replay.
    pub fn of(replay: &Replay) -> Self {
        // most readings are like the one before them
        let (mut verdicts, mut readings, mut days) = (BTreeMap::new(), 0, 0);
        for run in replay.samples.chunk_by(|one, next| one.verdict == next.verdict) {
            let own = run.iter().filter(|sample| sample.side() == Side::First).count() as u64;
            let Some(first) = run.first() else { continue };
            *verdicts.entry(first.verdict.name()).or_default() += run.len() as u64;
            readings += if first.verdict.is_kept() { own } else { 0 };
        }
        let mut day = None;
        for sample in &replay.samples {
            let of = replay.wall(sample.reading.at()).div_euclid(86_400);
            days += u64::from(day.replace(of) != Some(of));
        }
        let refused = replay.pricked.iter().filter(|p| !p.used).count() as u64;
        let end = |sample: Option<&Sample>| sample.map(|s| replay.clock.iso(s.reading.at().secs().into()));
        Self {
            readings,
            refused: replay.counts.rows.saturating_sub(readings),
            gaps: replay.gaps.len() as u64,
            days,
            interval_s: replay.interval_s,
            episodes_below_70: replay.lows.len() as u64,
            episodes_below_54: replay.deep_lows.len() as u64,
            alarms: replay
                .alarms
                .iter()
                .map(|rang| Alarm {
                    time: replay.clock.iso(rang.at.secs().into()),
                    kind: rang.kind.name(),
                    priority: rang.priority.name(),
                    message: rang.kind.message(),
                    cause: rang.cause.name(),
                    by: rang.trigger.name(),
                    glucose_mg_dl: rang.trigger.glucose().and_then(|glucose| rounded(glucose.mg_dl(), 1)),
                })
                .collect(),
            noise_mg_dl: rounded(replay.noise_sd, 2),
            calibration: Calibration {
                gain: rounded(replay.gain, 4),
                offset_mg_dl: rounded(replay.offset, 2),
                fingersticks_used: replay.pricked.len() as u64 - refused,
                fingersticks_refused: refused + replay.sticks_not_read,
            },
            first: end(replay.samples.first()),
            last: end(replay.samples.last()),
            input: replay.counts.clone(),
            verdicts,
            truth: replay.against,
            rehearsal: replay.rehearsal.clone(),
            pair: Pair::of(replay),
        }
    }
}

impl Report {
    /// The alarms as CSV.
    pub fn alarms_csv(&self) -> String {
        let mut out = "time,kind,priority,cause,by,glucose_mg_dl,message\n".to_owned();
        for Alarm { time, kind, priority, message, cause, by, glucose_mg_dl } in &self.alarms {
            let glucose = glucose_mg_dl.map_or(String::new(), |glucose| format!("{glucose:.1}"));
            out += &format!("{time},{kind},{priority},{cause},{by},{glucose},{message}\n");
        }
        out
    }
}

/// Alarms listed in the text.
const MOST_LISTED: usize = 12;

/// The last alarms that began, a line each: when, how urgent, what, and the value that caused it.
pub fn alarm_lines(replay: &Replay, unit: Unit) -> Vec<String> {
    let begun: Vec<&Ring> = replay.alarms.iter().filter(|rang| rang.cause == Cause::New).collect();
    let last = begun.get(begun.len().saturating_sub(MOST_LISTED)..).unwrap_or_default();
    let heading = match (last.len(), begun.len()) {
        (0, _) => None,
        (listed, all) if listed < all => {
            Some(format!("The last {listed} of {all} alarms, by what each rang:"))
        }
        _ => Some("The alarms, by what each rang:".into()),
    };
    let line = |rang: &&Ring| {
        format!(
            "  {}  {} ({} priority): by {}",
            replay.time(rang.at),
            rang.kind.message(),
            rang.priority.name(),
            trigger_words(rang.trigger, unit)
        )
    };
    heading.into_iter().chain(last.iter().map(line)).collect()
}

/// The results in plain words, a thought a line.
pub fn in_words(replay: &Replay, report: &Report, unit: Unit) -> Vec<String> {
    let mut words = Vec::new();
    words.extend(replay.about.map(str::to_owned));
    words.push(what_it_is(replay, report));
    words.extend(how_it_was(replay, unit));
    words.extend(report.pair.map(|pair| pair.in_words(unit)));
    words.push(lows(replay, unit));
    words.push(alarms(replay, report));
    if replay.rehearsed {
        words.extend(replay.rehearsal.in_words());
    }
    words.extend(trust(report));
    words.push(fingersticks(report, unit));
    words.extend(truth(report, unit));
    words.extend(report.input.in_words());
    words
}

fn what_it_is(replay: &Replay, report: &Report) -> String {
    let mut out = count(report.readings, "reading");
    if let Some(pair) = &report.pair {
        out += &format!(" of the first sensor and {} of the second", pair.second_readings);
    }
    match (replay.samples.first(), replay.samples.last()) {
        (Some(first), Some(last)) if first.reading.at() < last.reading.at() => {
            out +=
                &format!(" from {} to {}", replay.time(first.reading.at()), replay.time(last.reading.at()));
        }
        (Some(only), _) => return format!("{out}, on {}.", replay.time(only.reading.at())),
        _ => {}
    }
    if let Some(interval) = report.interval_s {
        let every = if interval.is_multiple_of(60) {
            format!("{} min", interval / 60)
        } else {
            format!("{interval} s")
        };
        out += &format!(", one every {every}");
    }
    let longest = replay.gaps.iter().map(|(from, to)| to.since(*from).mins()).fold(0.0, f32::max);
    let of_both = if replay.second.is_some() { " in which neither sensor read" } else { "" };
    match report.gaps {
        0 if replay.second.is_some() => out + ", without a gap in which neither sensor read.",
        0 => out + ", without a gap.",
        1 => format!("{out}, with a gap of {}{of_both}.", minutes(longest)),
        n => format!("{out}, with {}{of_both}, the longest {}.", count(n, "gap"), minutes(longest)),
    }
}

fn how_it_was(replay: &Replay, unit: Unit) -> Option<String> {
    let believed = replay.samples.iter().filter(|s| s.verdict.is_believed());
    let values: Vec<f32> = believed.map(|s| s.reading.glucose().mg_dl()).collect();
    let lowest = values.iter().copied().min_by(f32::total_cmp)?;
    let highest = values.iter().copied().max_by(f32::total_cmp)?;
    let percent = |inside: &dyn Fn(f32) -> bool| {
        100.0 * values.iter().filter(|v| inside(**v)).count() as f64 / values.len() as f64
    };
    let range = unit.either("70 to 180", "3.9 to 10.0");
    Some(format!(
        "The {} read {range} {:.0} % of the time, less {:.1} %, more {:.0} %; the least was {}, the most {}.",
        if replay.second.is_some() { "two sensors" } else { "sensor" },
        percent(&|v| (70.0..=180.0).contains(&v)),
        percent(&|v| v < 70.0),
        percent(&|v| v > 180.0),
        unit.show(lowest),
        unit.with_name(highest)
    ))
}

fn lows(replay: &Replay, unit: Unit) -> String {
    let (low, deep) = (unit.either("70", "3.9"), unit.either("54", "3.0"));
    let lows = &replay.lows;
    let of_two = replay.second.is_some();
    if lows.is_empty() {
        let by = if of_two { ", by the lower of the two sensors" } else { "" };
        return format!("There was no low: nothing below {low} for 15 minutes{by}.");
    }
    let warned = lows::warned(lows);
    let longest = lows.iter().map(Low::minutes).fold(0.0, f32::max);
    format!(
        "Below {low} for 15 minutes or more{}: {} ({} below {deep}), the longest {}. Warned by an alarm before it began: \
         {} of {}, by ten minutes or more: {}.",
        if of_two { ", by the lower of the two sensors" } else { "" },
        count(lows.len() as u64, "time"),
        replay.deep_lows.len(),
        minutes(longest),
        warned.before,
        lows.len(),
        warned.ten_min_before
    )
}

fn alarms(replay: &Replay, report: &Report) -> String {
    if replay.alarms.is_empty() {
        return "No alarm would have rung.".into();
    }
    let begun = |rang: &&Ring| rang.cause == Cause::New;
    let of =
        |priority: Priority| replay.alarms.iter().filter(begun).filter(|r| r.priority == priority).count();
    let begun = replay.alarms.iter().filter(begun).count() as u64;
    let again = replay.alarms.len() as u64 - begun;
    let mut out = format!(
        "{} would have rung in {}: {} of high, {} of medium and {} of low priority",
        count(begun, "alarm"),
        count(report.days, "day"),
        of(Priority::High),
        of(Priority::Medium),
        of(Priority::Low)
    );
    if again > 0 {
        out += &format!(", and {} because it went on", count(again, "reminder"));
    }
    out + "."
}

fn trust(report: &Report) -> Option<String> {
    let of = |name: &str| report.verdicts.get(name).copied().unwrap_or(0);
    let kinds = [
        ("pressure", "for suspected pressure on the sensor"),
        ("jump", "for a jump"),
        ("stuck", "for a value that stood still"),
        ("warm_up", "for the sensor's warm-up"),
        ("out_of_range", "for a value no sensor reads"),
        ("fault", "for a fault"),
        ("late", "for coming late"),
        ("bad_time", "for an impossible time"),
    ];
    let said: Vec<String> = kinds
        .iter()
        .filter(|(name, _)| of(name) > 0)
        .map(|(name, why)| format!("{} {why}", of(name)))
        .collect();
    (!said.is_empty()).then(|| format!("Readings not taken at their word: {}.", said.join(", ")))
}

/// What the fingersticks said of the sensor.
pub fn fingersticks(report: &Report, unit: Unit) -> String {
    let calibration = &report.calibration;
    let (used, refused) = (calibration.fingersticks_used, calibration.fingersticks_refused);
    if used + refused == 0 {
        return "There were no fingersticks to calibrate by.".into();
    }
    if used == 0 {
        return format!(
            "The sensor was not calibrated: {} could not be used.",
            count(refused, "fingerstick")
        );
    }
    let mut out = format!("The sensor was calibrated by {}", count(used, "fingerstick"));
    if refused > 0 {
        out += &format!(", {refused} could not be used");
    }
    if let (Some(gain), Some(offset)) = (calibration.gain, calibration.offset_mg_dl) {
        if gain == 1.0 && offset == 0.0 {
            return out + ". They have borne out no lasting difference, so that no correction is made.";
        }
        let sign = if offset < 0.0 { '−' } else { '+' };
        let offset = unit.with_name(offset.abs() as f32);
        out += &format!(
            ". At the end it reads {gain:.2} times the true glucose {sign} {offset}, which the estimate takes out"
        );
    }
    out + "."
}

fn truth(report: &Report, unit: Unit) -> Option<String> {
    let truth = report.truth?;
    let Truth { plasma, sensor } = truth;
    Some(format!(
        "Against the truth beside the trace, the estimate of blood glucose is off by {} and {:.1} min late, the raw \
         sensor by {} and {:.1} min (root mean square error, and the shift that fits best).",
        precise(unit, plasma.rmse_mg_dl),
        plasma.delay_min,
        precise(unit, sensor.rmse_mg_dl),
        sensor.delay_min
    ))
}

/// The counts of the input as rows of a table.
pub fn input_rows(report: &Report) -> Vec<Vec<String>> {
    let input = &report.input;
    let mut rows: Vec<(String, u64)> = vec![
        ("rows in the file".into(), input.rows),
        ("readings kept".into(), report.readings),
        ("rows not kept, for any of the reasons below".into(), report.refused),
        ("without a value or time".into(), input.blank),
        ("repeated exactly".into(), input.exact_repeats),
        ("another value for a time that had one".into(), input.conflicting_stamps),
    ];
    let kept = ["accepted", "restart", "jump", "stuck", "pressure", "late", "warm_up"];
    let judged = report.verdicts.iter().filter(|(name, _)| !kept.contains(*name));
    rows.extend(judged.map(|(name, n)| (format!("judged: {}", name.replace('_', " ")), *n)));
    let kept_but = report.verdicts.iter().filter(|(name, _)| kept[1..].contains(*name));
    rows.extend(kept_but.map(|(name, n)| (format!("kept, but judged: {}", name.replace('_', " ")), *n)));
    let noted = [
        ("out of order, put in their place", input.out_of_order),
        ("saying \"low\"", input.low_text),
        ("saying \"high\"", input.high_text),
        ("closer than half the usual interval", input.closer_than_half_interval),
        ("times the clock was set back", input.clock_set_back),
    ];
    rows.extend(noted.iter().filter(|(_, n)| *n > 0).map(|(what, n)| ((*what).to_owned(), *n)));
    rows.into_iter().map(|(what, n)| vec![what, n.to_string()]).collect()
}
