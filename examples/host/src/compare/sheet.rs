//! The sheet of a comparison, and its tables as files.

use std::fmt::Write;

use super::charts::{self, class};
use super::figures::Point;
use super::input::Study;
use super::report::{Report, SensorReport};
use super::{amounts, headings, tables, text, words};
use crate::sheet::{Chart, Figure, Mark, Page, Sample as Legend};
use crate::table::{Unit, count};

/// The sheet, and its drawings for files of their own.
pub fn draw(report: &Report, study: &Study, unit: Unit) -> (String, Vec<Chart>) {
    let sensors = &report.sensors.0;
    let names: Vec<&str> = sensors.iter().map(|sensor| sensor.name.as_str()).collect();
    let mut page = Page::new(&title(report, &names));
    let days = charts::day_charts(study, unit);
    let differences = charts::all_differences(sensors, unit);
    let judged = sensors.iter().any(|sensor| !sensor.points.is_empty());
    page.head(&figures(report, unit), if judged { differences.first() } else { days.last() });
    let said: Vec<String> = report.verdict.iter().chain(&report.notes).cloned().collect();
    page.summary(&said, "");
    let legend: Vec<(Legend, &str)> =
        names.iter().enumerate().map(|(n, name)| (Legend::Line(class(n)), *name)).collect();
    let dots: Vec<(Legend, &str)> =
        names.iter().enumerate().map(|(n, name)| (Legend::Dots(class(n)), *name)).collect();

    let mut all = Vec::new();
    page.section("The figures side by side", &headings::side_by_side(sensors, judged));
    let head: Vec<&str> = std::iter::once("").chain(names.iter().copied()).collect();
    page.table("Against the reference, and how present the numbers were", &head, &text::rows(sensors, unit));

    for between in report.between.iter().chain(&report.between_others) {
        let head = ["", between.first.as_str(), between.second.as_str()];
        page.table("Over the same minutes only", &head, &text::between_rows(between, unit));
    }

    page.section("The traces over each other", &count(days.len() as u64, "day"));
    let mut entries = legend.clone();
    if study.reference.is_some() {
        entries.push((Legend::Mark(Mark::Fingerstick), "reference"));
    }
    page.legend(&entries);
    page.days(&days, &charts::day_figures(study));
    all.extend(days);

    if judged {
        page.section("How far apart sensor and reference are", &headings::apart(sensors, unit));
        page.text(
            "Each dot is a pair: sensor minus reference over the mean of the two. The middle line is the bias, and \
             between the outer two lie 95 % of differences (Bland and Altman 1986).",
        );
        page.legend(&dots);
        page.side_by_side(&differences);
        all.extend(differences);

        page.section("Would it have mattered", &headings::mattered(sensors));
        page.text("Zones run from A, no effect on what one would do, to E, dangerous. On the diagonal the two agree.");
        page.legend(&dots);
        let drawn = charts::both_grids(sensors, unit);
        page.side_by_side(&drawn);
        all.extend(drawn);

        if sensors.iter().any(|sensor| sensor.by_day.len() > 1) {
            page.section("Day by day of wear", &headings::by_day(sensors));
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
    tables::weighing_table(&mut page, report);
    (page.finish(), all)
}

/// Which is nearer to the blood, which serves you, how far off and how late.
fn figures(report: &Report, unit: Unit) -> Vec<Figure> {
    let sensors = &report.sensors.0;
    let each = |value: &dyn Fn(&SensorReport) -> Option<String>| {
        let known = sensors.iter().map(|sensor| (sensor.name.as_str(), value(sensor)));
        match known.collect::<Vec<_>>().as_slice() {
            [(_, only)] => only.clone().unwrap_or_else(|| "not known".into()),
            several => several
                .iter()
                // where there is no room for all of them a line breaks between two
                .map(|(name, value)| {
                    format!("{name} {}", value.as_deref().unwrap_or("–")).replace(' ', "\u{a0}")
                })
                .collect::<Vec<_>>()
                .join(", "),
        }
    };
    let mut figures = Vec::new();
    if let Some(between) = &report.between {
        let nearer = words::nearer(between).map_or("not told apart", |name| name);
        figures.push(Figure::new(
            "Nearer to the blood",
            nearer,
            "by the fingersticks, a 95 % interval clear of zero",
        ));
    }
    if let Some(weighed) = report.weighing.as_ref().filter(|weighed| weighed.known_weight_percent >= 50.0) {
        let (first, sure) = (&weighed.first, weighed.first_better_percent.unwrap_or(50.0));
        let (name, sure) = if sure >= 50.0 { (first, sure) } else { (&weighed.second, 100.0 - sure) };
        let note = format!("{sure:.0} in 100, by the weighing of criteria");
        figures.push(Figure::new("Serves you", if sure < 65.0 { "open" } else { name }, note));
    }
    let mard = |sensor: &SensorReport| sensor.figures.mard_percent.map(|mard| format!("{mard:.1} %"));
    figures.push(Figure::new("Off by", each(&mard), "mean absolute relative difference (MARD)"));
    let bias = |sensor: &SensorReport| Some(amounts::glucose(Some(sensor.figures.bias_mg_dl?), unit));
    figures.push(Figure::new(
        "Reads too high by",
        each(&bias),
        format!("{}; below zero: too low (bias)", unit.name()),
    ));
    let lag = |sensor: &SensorReport| sensor.lag.sure().map(|lag| format!("{} min", amounts::signed(lag, 0)));
    figures.push(Figure::new("Late by", each(&lag), "behind the blood (lag); – where it cannot be known"));
    figures
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
