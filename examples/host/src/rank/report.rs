//! Figures into rows, rows into tables.

use std::collections::BTreeMap;

use serde::Serialize;

use super::lows::{self, Outcome};
use super::ranking::Ranking;
use super::score::{AT_30, Score};
use super::tally::Tally;
use crate::sheet::CAUTION;
use crate::table::Unit;

/// One method's figures; what could not be had is null.
#[derive(Debug, Default, Serialize)]
pub struct Row {
    pub method: String,
    pub rmse_mg_dl: Option<f64>,
    /// Over the smallest error possible, in the Gaussian world.
    pub ratio_to_limit: Option<f64>,
    pub ratio_to_limit_rate: Option<f64>,
    pub ratio_to_limit_30min: Option<f64>,
    pub delay_min: Option<f64>,
    /// The error once the delay is taken out.
    pub noise_mg_dl: Option<f64>,
    pub smoothness_gain: Option<f64>,
    pub rate_rmse: Option<f64>,
    pub rmse_15min: Option<f64>,
    pub rmse_30min: Option<f64>,
    pub rmse_45min: Option<f64>,
    pub rmse_60min: Option<f64>,
    /// 30 minutes ahead against the sensor's own later readings.
    pub rmse_30min_sensor: Option<f64>,
    pub time_gain_30min: Option<f64>,
    pub interval_95_covers: Option<f64>,
    pub interval_95_covers_30min: Option<f64>,
    pub brier: Option<f64>,
    pub alarm_limit_mg_dl: f64,
    pub lows: usize,
    pub lows_caught: Option<f64>,
    pub lows_caught_10min_ahead: Option<f64>,
    pub false_alarms_per_day: f64,
    pub median_lead_min: Option<f64>,
    pub at_0_3_false_alarms_per_day: Alarms,
    pub at_0_6_false_alarms_per_day: Alarms,
    /// Mean absolute relative difference, %, by fingersticks a day; on drifting sensors.
    #[serde(skip_serializing_if = "BTreeMap::is_empty")]
    pub mard_percent: BTreeMap<u32, Option<f64>>,
    pub ns_per_reading: Option<f64>,
    pub state_bytes: usize,
}

/// How alarms did at the limit that gives so many false ones.
#[derive(Debug, Default, Serialize)]
pub struct Alarms {
    pub alarm_limit_mg_dl: f64,
    pub lows_caught: Option<f64>,
    pub lows_caught_10min_ahead: Option<f64>,
    pub median_lead_min: Option<f64>,
}

impl Alarms {
    fn at(tally: &Tally, per_day: f64) -> Self {
        let (limit, outcome) = lows::at_rate(&tally.watches, per_day);
        Self {
            alarm_limit_mg_dl: f64::from(limit),
            lows_caught: outcome.share(outcome.caught),
            lows_caught_10min_ahead: outcome.share(outcome.caught_10),
            median_lead_min: outcome.median_lead(),
        }
    }
}

pub fn rows(ranking: &Ranking) -> Vec<Row> {
    ranking
        .methods
        .iter()
        .enumerate()
        .map(|(n, entry)| {
            let Tally { score, watches } = &ranking.tallies[n];
            let shipped: Outcome = lows::judge(watches, entry.alarm_at);
            let ratio = |error: fn(&Score) -> Option<f64>, best: f64| {
                let (tallies, _) = ranking.gaussian.as_ref()?;
                Some(error(&tallies[n].score)? / best)
            };
            let bound = ranking.gaussian.as_ref().map(|(_, bound)| *bound);
            let of_bound = |error: fn(&Score) -> Option<f64>, best: fn(&super::bound::Bound) -> f64| {
                bound.and_then(|bound| ratio(error, best(&bound)))
            };
            let [rmse_15min, rmse_30min, rmse_45min, rmse_60min] = score.ahead.map(|sum| sum.rms());
            Row {
                method: entry.name.clone(),
                rmse_mg_dl: score.now.rms(),
                ratio_to_limit: of_bound(|score| score.now.rms(), |bound| bound.now),
                ratio_to_limit_rate: of_bound(|score| score.rate.rms(), |bound| bound.rate),
                ratio_to_limit_30min: of_bound(|score| score.ahead[AT_30].rms(), |bound| bound.ahead[AT_30]),
                delay_min: score.delay_min(),
                noise_mg_dl: score.noise(),
                smoothness_gain: score.smoothness_gain(),
                rate_rmse: score.rate.rms(),
                rmse_15min,
                rmse_30min,
                rmse_45min,
                rmse_60min,
                rmse_30min_sensor: score.ahead_30_sensor.rms(),
                time_gain_30min: score.time_gain_30(),
                interval_95_covers: score.covered.mean(),
                interval_95_covers_30min: score.covered_30.mean(),
                brier: score.brier.mean(),
                alarm_limit_mg_dl: f64::from(entry.alarm_at),
                lows: shipped.lows,
                lows_caught: shipped.share(shipped.caught),
                lows_caught_10min_ahead: shipped.share(shipped.caught_10),
                false_alarms_per_day: shipped.false_per_day(),
                median_lead_min: shipped.median_lead(),
                at_0_3_false_alarms_per_day: Alarms::at(&ranking.tallies[n], 0.3),
                at_0_6_false_alarms_per_day: Alarms::at(&ranking.tallies[n], 0.6),
                mard_percent: ranking
                    .calibrated
                    .iter()
                    .map(|(per_day, tallies)| (*per_day, tallies[n].score.mard_percent()))
                    .collect(),
                ns_per_reading: ranking.costs.get(n).copied(),
                state_bytes: entry.state_bytes,
            }
        })
        .collect()
}

/// A column: its heading and what stands in it.
type Column<'a> = (&'a str, Box<dyn Fn(&Row) -> String + 'a>);

fn number(value: Option<f64>, digits: usize) -> String {
    value.map_or_else(|| "-".into(), |value| format!("{value:.digits$}"))
}

/// The tables as one, in mg/dL: a row for each method.
pub fn csv(ranking: &Ranking, rows: &[Row]) -> String {
    let values: Vec<serde_json::Map<String, serde_json::Value>> =
        rows.iter().map(|row| flat(serde_json::to_value(row).unwrap_or_default())).collect();
    let mut text = format!("# on {}\n", ranking.on);
    let names: Vec<&String> = values.first().map(|row| row.keys().collect()).unwrap_or_default();
    text += &names.iter().map(|name| name.as_str()).collect::<Vec<_>>().join(",");
    text.push('\n');
    for row in &values {
        let cells = names.iter().map(|name| match row.get(*name) {
            None | Some(serde_json::Value::Null) => String::new(),
            Some(serde_json::Value::String(text)) => format!("\"{text}\""),
            Some(value) => value.to_string(),
        });
        text += &cells.collect::<Vec<_>>().join(",");
        text.push('\n');
    }
    text
}

/// Values within values, named by both names.
fn flat(value: serde_json::Value) -> serde_json::Map<String, serde_json::Value> {
    let mut out = serde_json::Map::new();
    for (name, value) in value.as_object().cloned().unwrap_or_default() {
        match value {
            serde_json::Value::Object(inner) => {
                out.extend(inner.into_iter().map(|(key, value)| (format!("{name}_{key}"), value)));
            }
            value => {
                out.insert(name, value);
            }
        }
    }
    out
}

/// The tables as text.
pub fn tables(ranking: &Ranking, rows: &[Row], unit: Unit) -> String {
    let mut text = format!("On {}.\n", ranking.on);
    for (title, note, columns) in parts(ranking, unit) {
        text += &format!("\n{title}\n");
        let width = rows.iter().map(|row| row.method.chars().count()).max().unwrap_or(0);
        let cells: Vec<Vec<String>> =
            rows.iter().map(|row| columns.iter().map(|(_, cell)| cell(row)).collect()).collect();
        let widths: Vec<usize> = columns
            .iter()
            .enumerate()
            .map(|(n, (heading, _))| {
                cells.iter().map(|row| row[n].len()).max().unwrap_or(0).max(heading.chars().count())
            })
            .collect();
        text += &format!("{:width$}", "method");
        for ((heading, _), w) in columns.iter().zip(&widths) {
            text += &format!("  {heading:>w$}");
        }
        text.push('\n');
        for (row, cells) in rows.iter().zip(&cells) {
            text += &format!("{:width$}", row.method);
            for (cell, w) in cells.iter().zip(&widths) {
                text += &format!("  {cell:>w$}");
            }
            text.push('\n');
        }
        text += &format!("{note}\n");
    }
    text += &format!("\n{CAUTION}\n");
    text
}

/// A table: title, what to know about it, columns.
type Part = (&'static str, String, Vec<Column<'static>>);

/// The tables.
pub fn parts(ranking: &Ranking, unit: Unit) -> Vec<Part> {
    vec![accuracy(ranking, unit), alarms(ranking, unit), uncertainty(ranking, unit)]
}

/// A level or a rate in mg/dL, as it is shown: what it is divided by, and its digits.
fn scale(unit: Unit) -> (f64, usize) {
    match unit {
        Unit::MgDl => (1.0, 2),
        Unit::MmolL => (f64::from(unit.in_mg_dl()), 3),
    }
}

fn accuracy(ranking: &Ranking, unit: Unit) -> Part {
    let (scale, digits) = scale(unit);
    let level = move |value: Option<f64>| number(value.map(|value| value / scale), digits);
    let mut first: Vec<Column> = vec![
        ("now", Box::new(move |row| level(row.rmse_mg_dl))),
        ("rate", Box::new(move |row| number(row.rate_rmse.map(|rate| rate / scale), 3))),
        ("15 min", Box::new(move |row| level(row.rmse_15min))),
        ("30 min", Box::new(move |row| level(row.rmse_30min))),
        ("45 min", Box::new(move |row| level(row.rmse_45min))),
        ("60 min", Box::new(move |row| level(row.rmse_60min))),
        ("30/sensor", Box::new(move |row| level(row.rmse_30min_sensor))),
        ("delay", Box::new(|row| number(row.delay_min, 1))),
        ("gain 30", Box::new(|row| number(row.time_gain_30min, 1))),
        ("smooth", Box::new(|row| number(row.smoothness_gain, 2))),
    ];
    let mut note = format!(
        "Root mean square errors in {0} and {0}/min, now and so far ahead, against plasma glucose (30/sensor: against \
         the sensor's later readings).\nDelay: minutes behind the truth; gain 30: how early a 30-minute prediction is; \
         smooth: share of the readings' roughness gone.",
        unit.name()
    );
    if let Some((_, bound)) = &ranking.gaussian {
        first.push(("now/limit", Box::new(|row| number(row.ratio_to_limit, 3))));
        first.push(("rate/limit", Box::new(|row| number(row.ratio_to_limit_rate, 3))));
        first.push(("30/limit", Box::new(|row| number(row.ratio_to_limit_30min, 3))));
        note += &format!(
            "\n/limit: error in a Gaussian world over the smallest possible there: {} now, {} a minute, {} in 30 min.",
            level(Some(bound.now)),
            number(Some(bound.rate / scale), 3),
            level(Some(bound.ahead[AT_30]))
        );
    }
    ("Accuracy", note, first)
}

fn alarms(ranking: &Ranking, unit: Unit) -> Part {
    let (scale, _) = scale(unit);
    let share = |value: Option<f64>| number(value, 2);
    let limit = move |value: f64| number(Some(value / scale), if unit == Unit::MgDl { 0 } else { 1 });
    let alarms: Vec<Column> = vec![
        ("limit", Box::new(move |row| limit(row.alarm_limit_mg_dl))),
        ("caught", Box::new(move |row| share(row.lows_caught))),
        ("10 min ahead", Box::new(move |row| share(row.lows_caught_10min_ahead))),
        ("lead", Box::new(|row| number(row.median_lead_min, 0))),
        ("false/day", Box::new(|row| number(Some(row.false_alarms_per_day), 2))),
        ("| 0.3/day at", Box::new(move |row| limit(row.at_0_3_false_alarms_per_day.alarm_limit_mg_dl))),
        ("caught", Box::new(move |row| share(row.at_0_3_false_alarms_per_day.lows_caught))),
        ("10 min ahead", Box::new(move |row| share(row.at_0_3_false_alarms_per_day.lows_caught_10min_ahead))),
        ("lead", Box::new(|row| number(row.at_0_3_false_alarms_per_day.median_lead_min, 0))),
        ("| 0.6/day at", Box::new(move |row| limit(row.at_0_6_false_alarms_per_day.alarm_limit_mg_dl))),
        ("caught", Box::new(move |row| share(row.at_0_6_false_alarms_per_day.lows_caught))),
        ("10 min ahead", Box::new(move |row| share(row.at_0_6_false_alarms_per_day.lows_caught_10min_ahead))),
        ("lead", Box::new(|row| number(row.at_0_6_false_alarms_per_day.median_lead_min, 0))),
    ];
    let lows = ranking.tallies.first().map_or(0, |tally| lows::judge(&tally.watches, 0.0).lows);
    let note = format!(
        "{lows} lows: under {} for 15 minutes. Caught: the share with an alarm in the hour before; 10 min ahead: with \
         one that long before or longer; lead: median minutes over all lows.\nFirst at the method's own limit, then at the limits that give 0.3 and 0.6 false \
         alarms a day.",
        unit.either("70", "3.9")
    );
    ("Alarms for lows", note, alarms)
}

fn uncertainty(ranking: &Ranking, unit: Unit) -> Part {
    let percent = |value: Option<f64>| number(value.map(|value| 100.0 * value), 1);
    let mut rest: Vec<Column> = vec![
        ("95 % now", Box::new(move |row| percent(row.interval_95_covers))),
        ("95 % in 30", Box::new(move |row| percent(row.interval_95_covers_30min))),
        ("Brier", Box::new(|row| number(row.brier, 4))),
        ("ns", Box::new(|row| number(row.ns_per_reading, 0))),
        ("bytes", Box::new(|row| row.state_bytes.to_string())),
    ];
    for (per_day, _) in &ranking.calibrated {
        let per_day = *per_day;
        let heading = match per_day {
            0 => "MARD alone",
            1 => "1 stick",
            2 => "2 sticks",
            3 => "3 sticks",
            4 => "4 sticks",
            _ => "more",
        };
        rest.push((
            heading,
            Box::new(move |row| number(row.mard_percent.get(&per_day).copied().flatten(), 2)),
        ));
    }
    let mut note = format!(
        "How often the 95 % interval holds the truth, %; mean square of stated probability of being under \
         {low} within 30 minutes less what came, where the sensor reads more (Brier); nanoseconds a reading on this machine; bytes of state.",
        low = unit.either("70", "3.9"),
    );
    if !ranking.calibrated.is_empty() {
        note += "\nMARD: mean absolute relative difference from plasma, %, on drifting sensors with so many \
                 fingersticks a day.";
    }
    ("Uncertainty, cost and calibration", note, rest)
}
