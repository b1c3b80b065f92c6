//! All days at a glance, a row each.

use super::super::Replay;
use super::{DAY, Day, MOST_DAYS};
use crate::played::Sample;
use crate::sheet::{Axis, Chart, Panel, Scale};
use crate::table::date;

/// Quarter hours of each day as bars about a middle line.
pub fn draw(replay: &Replay, days: &[Day]) -> Chart {
    const QUARTER: i64 = 900;
    let x = Axis::clock(0.0, DAY as f64);
    let rows = days.len() as f64;
    let base = |row: usize| rows - 1.0 - row as f64;
    let names: Vec<(f64, String)> = days
        .iter()
        .enumerate()
        .filter(|(row, _)| row % days.len().div_ceil(31) == 0)
        .map(|(row, day)| (base(row) + 0.5, date(day.number).strftime("%-d %b").to_string()))
        .collect();
    let ticks: Vec<(f64, &str)> = names.iter().map(|(at, name)| (*at, name.as_str())).collect();
    let height = (rows * if days.len() > 31 { 12.0 } else { 20.0 }).min(1400.0);
    let y = Axis::labelled(0.0, rows, &ticks);
    let mut panel = Panel::new(height, &x, y, "").reading(Scale::None);
    let mut bars: [Vec<(f64, f64, f64, f64)>; 5] = Default::default();
    for (row, day) in days.iter().enumerate() {
        let quarter = |s: &Sample| replay.wall(s.reading.at()).rem_euclid(DAY) / QUARTER;
        for run in day.samples.chunk_by(|a, b| quarter(a) == quarter(b)) {
            let values =
                run.iter().map(|s| if s.plasma.is_finite() { s.plasma } else { s.reading.glucose().mg_dl() });
            let mean = values.sum::<f32>() / run.len() as f32;
            let from = run.first().map_or(0, quarter) * QUARTER;
            let bar = |low: f64, high: f64| {
                (from as f64, (from + QUARTER) as f64, base(row) + low, base(row) + high)
            };
            let (level, low, high) = match mean {
                ..54.0 => (0, 0.04, 0.5),
                ..70.0 => (1, 0.24, 0.5),
                ..=180.0 => (2, 0.44, 0.56),
                ..=250.0 => (3, 0.5, 0.76),
                _ => (4, 0.5, 0.96),
            };
            bars[level].push(bar(low, high));
        }
    }
    for (class, bars) in ["verylow", "low", "inside", "high", "veryhigh"].into_iter().zip(bars) {
        panel.bars(class, bars);
    }
    for (row, day) in days.iter().enumerate().skip(days.len().saturating_sub(MOST_DAYS)) {
        panel.leads(base(row), base(row) + 1.0, &day.id(), &day.name());
    }
    let description = "A row for each day: quarter hours in range, lower and higher.";
    let mut chart = Chart::new("overview", "From midnight to midnight", description, x);
    chart.push(panel);
    chart
}
