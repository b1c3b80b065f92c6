//! All days at a glance, a row each.

use super::super::Replay;
use super::{DAY, Day};
use crate::played::sample::Sample;
use crate::sheet::{Axis, Chart, Panel};
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
    let mut panel = Panel::new(height, &x, Axis::labelled(0.0, rows, &ticks), "");
    let (mut low, mut range, mut high) = (Vec::new(), Vec::new(), Vec::new());
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
            match mean {
                ..54.0 => low.push(bar(0.04, 0.5)),
                ..70.0 => low.push(bar(0.24, 0.5)),
                ..=180.0 => range.push(bar(0.44, 0.56)),
                ..=250.0 => high.push(bar(0.5, 0.76)),
                _ => high.push(bar(0.5, 0.96)),
            }
        }
    }
    panel.bars("range", range);
    panel.bars("low", low);
    panel.bars("high", high);
    let description = "A row for each day: quarter hours in range, lower and higher.";
    let mut chart = Chart::new("overview", "From midnight to midnight", description, x);
    chart.push(panel);
    chart
}
