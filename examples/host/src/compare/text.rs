//! The result for a terminal: the words, and tables that the sheet shares.

use std::fmt::Write;

use super::amounts::{glucose, percent, signed};
use super::between::Between;
use super::report::{Report, SensorReport};
use crate::table::Unit;

/// Rows of a table: what, and a cell for each sensor.
pub fn rows(sensors: &[SensorReport], unit: Unit) -> Vec<Vec<String>> {
    let row = |name: &str, cell: &dyn Fn(&SensorReport) -> String| {
        std::iter::once(name.to_owned()).chain(sensors.iter().map(cell)).collect::<Vec<_>>()
    };
    let opt =
        |value: Option<f32>, decimals: usize| value.map_or("–".to_owned(), |value| signed(value, decimals));
    let rate = |value: Option<f32>| value.map_or("too few".to_owned(), |value| format!("{value:.1}\u{a0}%"));
    let glucose = |value: Option<f32>| glucose(value, unit);
    let name = unit.name();
    let mut rows = vec![
        row("pairs", &|s| s.figures.pairs.to_string()),
        row(&format!("reads too high by (bias), {name}"), &|s| glucose(s.figures.bias_mg_dl)),
        row(&format!("mean absolute difference, {name}"), &|s| glucose(s.figures.mad_mg_dl)),
        row("mean absolute relative difference (MARD), %", &|s| opt(s.figures.mard_percent, 1)),
        row("median absolute relative difference, %", &|s| opt(s.figures.median_ard_percent, 1)),
        row(&format!("standard deviation of differences, {name}"), &|s| glucose(s.figures.sd_mg_dl)),
        row(&format!("95 % of differences lie in (limits of agreement), {name}"), &|s| {
            format!("{} to {}", glucose(s.figures.loa_lower_mg_dl), glucose(s.figures.loa_upper_mg_dl))
        }),
        row("within 15 mg/dL or 15 %", &|s| rate(s.figures.within_15_15_percent)),
        row("within 20 mg/dL or 20 %", &|s| rate(s.figures.within_20_20_percent)),
        row("within 30 mg/dL or 30 %", &|s| rate(s.figures.within_30_30_percent)),
        row("within 40 mg/dL or 40 %", &|s| rate(s.figures.within_40_40_percent)),
        row("pairs in Clarke's zones A B C D E", &|s| zones(&s.figures.clarke)),
        row("pairs in Parkes' zones A B C D E", &|s| zones(&s.figures.parkes)),
        row("MARD of the first day, %", &|s| opt(s.first_day.mard_percent, 1)),
        row("MARD later, %", &|s| opt(s.later.mard_percent, 1)),
        row("MARD of the last day, %", &|s| opt(s.last_day.mard_percent, 1)),
        row(&format!("drift of the bias, {name} a day"), &|s| glucose(s.drift_mg_dl_per_day)),
        row("lag behind the reference, min", &|s| opt(s.lag.lag_min, 1)),
        row("rates of change in the same band", &|s| rate(s.rate_agreement.same_bin_percent)),
        row("alerts under 70 confirmed", &|s| {
            of(s.alerts.below_70.true_alerts, {
                s.alerts.below_70.alerts - s.alerts.below_70.alerts_not_checked
            })
        }),
        row("fingersticks newly under 70 with an alert", &|s| {
            of(s.alerts.below_70.detected_events, s.alerts.below_70.reference_events)
        }),
        row("alerts over 250 confirmed", &|s| {
            of(
                s.alerts.above_250.true_alerts,
                s.alerts.above_250.alerts - s.alerts.above_250.alerts_not_checked,
            )
        }),
        row("fingersticks newly over 250 with an alert", &|s| {
            of(s.alerts.above_250.detected_events, s.alerts.above_250.reference_events)
        }),
        row("age of the number, median and 95 %, min", &|s| {
            format!("{} and {}", opt(s.number_age.median_min, 1), opt(s.number_age.p95_min, 1))
        }),
        row("gaps per 100 h", &|s| opt(s.missing.and_then(|m| m.any_time.gaps_per_100_h), 2)),
        row("errors per 100 h", &|s| opt(s.missing.and_then(|m| m.any_time.errors_per_100_h), 2)),
        row("cost per day", &|s| opt(s.cost_per_day, 2)),
    ];
    if sensors.iter().all(|sensor| sensor.references == 0) {
        rows.retain(|row| row[0].starts_with("age") || row[0].contains("per"));
    }
    rows
}

/// Rows of a table of two sensors over the same minutes.
pub fn between_rows(between: &Between, unit: Unit) -> Vec<Vec<String>> {
    let [first, second] = [&between.first_same_minutes, &between.second_same_minutes];
    let hours = |hours: f32| format!("{hours:.1} of {:.1}", between.hours_together);
    vec![
        vec![
            format!("mean, {}", unit.name()),
            glucose(first.mean_mg_dl, unit),
            glucose(second.mean_mg_dl, unit),
        ],
        vec!["under 70 mg/dL".into(), percent(first.below_70_percent), percent(second.below_70_percent)],
        vec![
            "70 to 180 mg/dL".into(),
            percent(first.in_range_70_to_180_percent),
            percent(second.in_range_70_to_180_percent),
        ],
        vec!["over 180 mg/dL".into(), percent(first.above_180_percent), percent(second.above_180_percent)],
        vec![
            "hours without a reading".into(),
            hours(between.first_without_reading_h),
            hours(between.second_without_reading_h),
        ],
    ]
}

fn of(hits: u32, trials: u32) -> String {
    if trials == 0 { "–".to_owned() } else { format!("{hits} of {trials}") }
}

fn zones(zones: &super::figures::Zones) -> String {
    format!("{}\u{a0}{}\u{a0}{}\u{a0}{}\u{a0}{}", zones.a, zones.b, zones.c, zones.d, zones.e)
}

/// Everything for a terminal.
pub fn write(report: &Report, unit: Unit) -> String {
    let mut out = String::new();
    let (before, after) = if report.invented {
        (report.notes.as_slice(), [].as_slice())
    } else {
        ([].as_slice(), report.notes.as_slice())
    };
    for sentence in before.iter().chain(&report.verdict).chain(after) {
        out += &wrapped(sentence);
    }
    out.push('\n');
    let sensors = &report.sensors.0;
    let mut rows = rows(sensors, unit);
    rows.insert(0, std::iter::once(String::new()).chain(sensors.iter().map(|s| s.name.clone())).collect());
    out += &aligned(&rows);
    for between in report.between.iter().chain(&report.between_others) {
        out += &wrapped("Over the same minutes only:");
        let mut rows = between_rows(between, unit);
        rows.insert(0, vec![String::new(), between.first.clone(), between.second.clone()]);
        out += &aligned(&rows);
    }
    if sensors.iter().any(|sensor| sensor.figures.pairs > 0) {
        out += &wrapped(&rule_words(report));
        for sensor in sensors {
            let rows: Vec<Vec<String>> = sensor
                .regulation
                .iter()
                .map(|judged| {
                    let rate = judged.rate_percent.map_or("–".to_owned(), |rate| format!("{rate:.1} %"));
                    let bound = judged
                        .lower_bound_percent
                        .map_or("–".to_owned(), |bound| format!("at least {bound:.1} %"));
                    vec![format!("{} {}", judged.criterion, judged.what), rate, bound, judged.verdict.clone()]
                })
                .collect();
            let _ = writeln!(out, "{}", sensor.name);
            out += &aligned(&rows);
        }
    }
    out.push('\n');
    out += &wrapped(report.caution);
    out
}

/// What stands over the criteria.
pub fn rule_words(report: &Report) -> String {
    format!(
        "Criteria of 21 CFR 862.1355(b)(1)(v), one-sided 95 % bound: {}. The rule is for studies of many people: a \
         home sample decides nothing about a product.",
        match report.method.bound.as_str() {
            "wilson" => "Wilson's, as if readings were independent",
            "cluster" => "drawing whole days",
            _ => "exact, as if readings were independent, which flatters",
        }
    )
}

fn aligned(rows: &[Vec<String>]) -> String {
    let width = |n: usize| {
        rows.iter().filter_map(|row| row.get(n)).map(|cell| cell.chars().count()).max().unwrap_or(0)
    };
    let widths: Vec<usize> = (0..rows.first().map_or(0, Vec::len)).map(width).collect();
    let mut out = String::new();
    for row in rows {
        let mut line = String::from(" ");
        for (cell, width) in row.iter().zip(&widths) {
            let _ = write!(line, " {cell:<width$} ");
        }
        out += line.trim_end();
        out.push('\n');
    }
    out
}

fn wrapped(text: &str) -> String {
    let (mut out, mut column) = (String::new(), 0);
    for word in text.split_whitespace() {
        let length = word.chars().count();
        if column > 0 && column + 1 + length > 96 {
            out.push_str("\n  ");
            column = 2;
        } else if column > 0 {
            out.push(' ');
            column += 1;
        }
        out.push_str(word);
        column += length;
    }
    out.push('\n');
    out
}
