//! The sheet of a comparison, and its tables as files.

use std::fmt::Write;

use super::charts::{self, class};
use super::figures::Point;
use super::input::Study;
use super::report::Report;
use super::{tables, text};
use crate::sheet::{Chart, Mark, Page, Sample as Legend};
use crate::table::Unit;

/// The sheet, and its drawings for files of their own.
pub fn draw(report: &Report, study: &Study, unit: Unit) -> (String, Vec<Chart>) {
    let sensors = &report.sensors.0;
    let names: Vec<&str> = sensors.iter().map(|sensor| sensor.name.as_str()).collect();
    let mut page = Page::new(&title(report, &names));
    page.summary(&report.verdict);
    report.notes.iter().for_each(|note| page.text(note));
    let legend: Vec<(Legend, &str)> =
        names.iter().enumerate().map(|(n, name)| (Legend::Line(class(n)), *name)).collect();
    let dots: Vec<(Legend, &str)> =
        names.iter().enumerate().map(|(n, name)| (Legend::Dots(class(n)), *name)).collect();

    let mut all = Vec::new();
    page.section("The figures side by side");
    let head: Vec<&str> = std::iter::once("").chain(names.iter().copied()).collect();
    page.table("Against the reference, and how present the numbers were", &head, &text::rows(sensors, unit));

    for between in report.between.iter().chain(&report.between_others) {
        let head = ["", between.first.as_str(), between.second.as_str()];
        page.table("Over the same minutes only", &head, &text::between_rows(between, unit));
    }

    page.section("The traces over each other");
    let days = charts::day_charts(study, unit);
    let mut entries = legend.clone();
    if study.reference.is_some() {
        entries.push((Legend::Mark(Mark::Fingerstick), "reference"));
    }
    page.legend(&entries);
    page.side_by_side(&days);
    all.extend(days);

    if sensors.iter().any(|sensor| !sensor.points.is_empty()) {
        page.section("How far apart sensor and reference are");
        page.text(
            "Each dot is a pair: sensor minus reference over the mean of the two. The middle line is the bias, and \
             between the outer two lie 95 % of differences (Bland and Altman 1986).",
        );
        page.legend(&dots);
        let drawn = charts::all_differences(sensors, unit);
        page.side_by_side(&drawn);
        all.extend(drawn);

        page.section("Would it have mattered");
        page.text("Zones run from A, no effect on what one would do, to E, dangerous. On the diagonal the two agree.");
        page.legend(&dots);
        let drawn = charts::both_grids(sensors, unit);
        page.side_by_side(&drawn);
        all.extend(drawn);

        if sensors.iter().any(|sensor| sensor.by_day.len() > 1) {
            page.section("Day by day of wear");
            page.legend(&legend);
            let drawn = charts::by_day(sensors, unit);
            page.chart(&drawn);
            all.push(drawn);
        }
        tables::group_tables(&mut page, sensors, unit);
        tables::concurrence_tables(&mut page, sensors);
        tables::rule_tables(&mut page, report);
    }
    tables::presence_tables(&mut page, sensors, unit);
    tables::score_table(&mut page, report);
    (page.finish(), all)
}

fn title(report: &Report, names: &[&str]) -> String {
    let invented = if report.invented { " (invented)" } else { "" };
    match names {
        [one] => format!("{one} against its reference{invented}"),
        [rest @ .., last] => format!("{} and {last} side by side{invented}", rest.join(", ")),
        [] => "Nothing to compare".to_owned(),
    }
}

/// Every pair, a row each.
pub fn pairs_csv(report: &Report, study: &Study) -> String {
    let mut out = String::from(
        "sensor,time,reference_mg_dl,sensor_mg_dl,difference_mg_dl,hours_since_start,rate_mg_dl_min\n",
    );
    for (sensor, worn) in report.sensors.0.iter().zip(&study.sensors) {
        for Point { pair, age_s, rate, .. } in &sensor.points {
            let _ = writeln!(
                out,
                "{},{},{},{},{},{:.3},{}",
                quoted(&sensor.name),
                worn.clock.iso(pair.at().secs().into()),
                pair.reference().mg_dl(),
                pair.sensor().mg_dl(),
                pair.difference_mg_dl(),
                *age_s as f32 / 3600.0,
                rate.map_or(String::new(), |rate| format!("{:.3}", rate.mg_dl_per_min())),
            );
        }
    }
    out
}

/// The figures, a row each.
pub fn figures_csv(report: &Report, unit: Unit) -> String {
    let sensors = &report.sensors.0;
    let mut out = String::from("figure");
    sensors.iter().for_each(|sensor| {
        let _ = write!(out, ",{}", quoted(&sensor.name));
    });
    out.push('\n');
    for row in text::rows(sensors, unit) {
        let cells: Vec<String> = row.iter().map(|cell| quoted(cell)).collect();
        let _ = writeln!(out, "{}", cells.join(","));
    }
    out
}

fn quoted(cell: &str) -> String {
    if cell.contains([',', '"', '\n', '\r']) {
        format!("\"{}\"", cell.replace('"', "\"\""))
    } else {
        cell.to_owned()
    }
}
