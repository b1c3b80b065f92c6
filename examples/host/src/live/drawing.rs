//! The last hours and the hour to come, drawn.

use glidepath::{HistoryView, Side, Span};
use wrist::face::{Expected, RANGE_MG_DL};

use super::sensors::Sensors;
use super::watch::Watch;
use crate::sheet::{Axis, Chart, Panel};
use crate::table::{Clock, Unit};

/// How much of the past is drawn, seconds.
const PAST_S: i64 = 3 * 3600;
const AHEAD_S: i64 = 3600;
const DAY: i64 = 86_400;

/// Draws what `watch` holds at `stamp` on `clock`.
pub fn draw<M: Sensors>(watch: &Watch<M>, clock: &Clock, stamp: i64, unit: Unit) -> Chart {
    let face = watch.face();
    let midnight = clock.wall(stamp).div_euclid(DAY) * DAY;
    let place = |stamp: i64| (clock.wall(stamp) - midnight) as f64;
    let now = place(stamp);
    let x = Axis::clock(now - PAST_S as f64, now + AHEAD_S as f64);
    let points = |history: HistoryView<'_>| -> Vec<(f64, f64)> {
        let readings = history.iter();
        let points =
            readings.map(|reading| (place(reading.at().secs().into()), f64::from(reading.glucose().mg_dl())));
        points.filter(|(at, _)| x.holds(*at)).collect()
    };
    let two = M::SIDES.len() > 1;
    let own = points(watch.app().monitor().kept(Side::First));
    let beside = if two { points(watch.app().monitor().kept(Side::Second)) } else { Vec::new() };
    // counted from the newest reading, for that is what is known
    let from = face.at.zip(face.age).map(|(at, age)| at.plus(Span::from_secs(-age.secs())));
    let soon = face.current().and_then(|now| Some((from?, now.soon?)));
    let ahead = soon.map(|(from, soon)| expected(place(from.secs().into()), soon)).unwrap_or_default();
    let highest = own
        .iter()
        .chain(&beside)
        .map(|(_, value)| *value)
        .chain(ahead.iter().map(|a| a.3))
        .fold(250.0, f64::max);
    let labels = [54.0, 70.0, 180.0, 250.0].map(|mg_dl| (mg_dl, unit.show(mg_dl as f32)));
    let labels: Vec<(f64, &str)> = labels.iter().map(|(at, label)| (*at, label.as_str())).collect();
    let y = Axis::labelled(40.0, highest.min(500.0), &labels);
    let mut panel = Panel::new(220.0, &x, y, &format!("glucose, {}", unit.name()));
    panel.zone("range", f64::from(RANGE_MG_DL[0]), f64::from(RANGE_MG_DL[1]));
    // what is expected goes out from the newest reading, of two sensors from what they say as one
    let last = match face.current().zip(from) {
        Some((current, from)) if two => Some((place(from.secs().into()), f64::from(current.glucose.mg_dl()))),
        _ => own.last().copied(),
    };
    panel.dots("sensor", own);
    if two {
        panel.dots("beside", beside);
    }
    let band: Vec<(f64, f64, f64)> = ahead.iter().map(|(at, _, low, high)| (*at, *low, *high)).collect();
    if !band.is_empty() {
        let joined = last.map(|(at, value)| (at, value, value));
        panel.band("plasma", &joined.into_iter().chain(band).collect::<Vec<_>>(), 3600.0);
        let line = last.into_iter().chain(ahead.iter().map(|(at, mean, ..)| (*at, *mean)));
        panel.line("plasma", line, 3600.0);
    }
    panel.upright("now", now);
    let dots = if two {
        "Dots: the first sensor's readings of three hours; squares: the second's."
    } else {
        "Dots: the sensor's readings of three hours."
    };
    let about = format!(
        "{dots} Right of the line, what is expected with one standard deviation. Shaded: 70 to 180 mg/dL (3.9 to 10.0 \
         mmol/L)."
    );
    let mut chart = Chart::new("hours", "The last three hours and the next", &about, x);
    chart.push(panel);
    chart
}

/// What is expected from a moment on: when, how much, and one standard deviation under and over it.
fn expected(from: f64, soon: [Expected; 3]) -> Vec<(f64, f64, f64, f64)> {
    let of = |(n, ahead): (usize, Expected)| {
        let (mean, sd) = (f64::from(ahead.glucose.mg_dl()), f64::from(ahead.sd_mg_dl));
        (from + 1200.0 * (n + 1) as f64, mean, mean - sd, mean + sd)
    };
    soon.into_iter().enumerate().map(of).collect()
}
