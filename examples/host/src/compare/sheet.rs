//! The sheet of a comparison.

use std::fmt::Write;

use glidepath::{Fingerstick, MG_DL_PER_MMOL_L};

use super::figures::{Figures, Point};
use super::grids::{self, Grid};
use super::groups::Group;
use super::input::{Study, Worn};
use super::presence::Missing;
use super::report::{Report, SensorReport};
use super::text;
use crate::sheet::{Axis, Chart, Mark, Page, Panel, Sample as Legend};
use crate::table::{Unit, date};

const DAY: i64 = 86_400;
/// Days drawn one by one; of a longer wear these are the last.
const MOST_DAYS: usize = 31;
/// How the sensors are told apart, in their order.
const CLASSES: [&str; 3] = ["first", "second", "third"];

fn class(n: usize) -> &'static str {
    CLASSES[n.min(CLASSES.len() - 1)]
}

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

    let mut charts = Vec::new();
    page.section("The figures side by side");
    let head: Vec<&str> = std::iter::once("").chain(names.iter().copied()).collect();
    page.table("Against the reference, and how present the numbers were", &head, &text::rows(sensors, unit));

    for between in report.between.iter().chain(&report.between_others) {
        let head = ["", between.first.as_str(), between.second.as_str()];
        page.table("Over the same minutes only", &head, &text::between_rows(between, unit));
    }

    page.section("The traces over each other");
    let days = day_charts(study, unit);
    let mut entries = legend.clone();
    if study.reference.is_some() {
        entries.push((Legend::Mark(Mark::Fingerstick), "reference"));
    }
    page.legend(&entries);
    page.side_by_side(&days);
    charts.extend(days);

    if sensors.iter().any(|sensor| !sensor.points.is_empty()) {
        page.section("How far apart sensor and reference are");
        page.text(
            "Each dot is a pair: sensor minus reference over the mean of the two. The middle line is the bias, and \
             between the outer two lie 95 % of differences (Bland and Altman 1986).",
        );
        page.legend(&dots);
        let furthest = furthest(sensors);
        let drawn = sensors.iter().enumerate().filter_map(|(n, s)| differences(n, s, furthest, unit));
        let drawn: Vec<Chart> = drawn.collect();
        page.side_by_side(&drawn);
        charts.extend(drawn);

        page.section("Would it have mattered");
        page.text("Zones run from A, no effect on what one would do, to E, dangerous. On the diagonal the two agree.");
        page.legend(&dots);
        let drawn = [grid(&grids::clarke(), sensors, unit), grid(&grids::parkes(), sensors, unit)];
        page.side_by_side(&drawn);
        charts.extend(drawn);

        page.section("Day by day of wear");
        page.legend(&legend);
        let drawn = by_day(sensors, unit);
        page.chart(&drawn);
        charts.push(drawn);
        group_tables(&mut page, sensors, unit);
        rule_tables(&mut page, report);
    }
    presence_tables(&mut page, sensors, unit);
    score_table(&mut page, report);
    (page.finish(), charts)
}

fn title(report: &Report, names: &[&str]) -> String {
    let invented = if report.invented { " (invented)" } else { "" };
    match names {
        [one] => format!("{one} against its reference{invented}"),
        [rest @ .., last] => format!("{} and {last} side by side{invented}", rest.join(", ")),
        [] => "Nothing to compare".to_owned(),
    }
}

/// mg/dL in the unit shown.
fn shown(mg_dl: f32, unit: Unit) -> f64 {
    f64::from(mg_dl) / factor(unit)
}

fn factor(unit: Unit) -> f64 {
    match unit {
        Unit::MgDl => 1.0,
        Unit::MmolL => f64::from(MG_DL_PER_MMOL_L),
    }
}

fn day_charts(study: &Study, unit: Unit) -> Vec<Chart> {
    let day_of = |worn: &Worn, at: u32| worn.clock.wall(at.into()).div_euclid(DAY);
    let mut days: Vec<i64> = study
        .sensors
        .iter()
        .flat_map(|worn| worn.readings.iter().map(|reading| day_of(worn, reading.at().secs())))
        .collect();
    days.sort_unstable();
    days.dedup();
    let from = days.len().saturating_sub(MOST_DAYS);
    let values =
        study.sensors.iter().flat_map(|worn| worn.readings.iter().map(|reading| reading.glucose().mg_dl()));
    let top = values.fold(200.0_f32, f32::max);
    days[from..].iter().map(|day| day_chart(study, *day, top, unit)).collect()
}

fn day_chart(study: &Study, day: i64, top: f32, unit: Unit) -> Chart {
    let name = date(day).strftime("%a %-d %b %Y").to_string();
    let all = |worn: &Worn| -> Vec<(f64, f64)> {
        worn.readings
            .iter()
            .map(|reading| {
                (worn.clock.wall(reading.at().secs().into()) - day * DAY, reading.glucose().mg_dl())
            })
            .filter(|(at, _)| (0..DAY).contains(at))
            .map(|(at, value)| (at as f64, shown(value, unit)))
            .collect()
    };
    let traces: Vec<Vec<(f64, f64)>> = study.sensors.iter().map(all).collect();
    let ends = traces.iter().flatten().map(|(at, _)| *at);
    let (first, last) = (ends.clone().fold(DAY as f64, f64::min), ends.fold(0.0, f64::max));
    // a whole day is drawn whole, a few hours by themselves
    let (low, high) = if last - first < 6.0 * 3600.0 {
        ((first / 1800.0).floor() * 1800.0, (last / 1800.0).ceil() * 1800.0)
    } else {
        (0.0, DAY as f64)
    };
    let x = Axis::clock(low, high);
    let y = Axis::linear(0.0, shown(top, unit) * 1.05, 4);
    let mut panel = Panel::new(150.0, &x, y, unit.name());
    panel.zone("range", shown(70.0, unit), shown(180.0, unit));
    for (n, (worn, trace)) in study.sensors.iter().zip(traces).enumerate() {
        panel.line(class(n), trace, f64::from(worn.interval.secs()) * 2.5);
    }
    let clock = &study.sensors[0].clock;
    let sticks = study.reference.iter().flatten();
    for (at, stick) in
        sticks.map(|stick: &Fingerstick| (clock.wall(stick.at().secs().into()) - day * DAY, stick))
    {
        if (0..DAY).contains(&at) {
            let value = stick.glucose().mg_dl();
            let words = format!("{} by the reference", unit.with_name(value));
            panel.mark(Mark::Fingerstick, at as f64, shown(value, unit), &words);
        }
    }
    let names: Vec<&str> = study.sensors.iter().map(|worn| worn.name.as_str()).collect();
    let mut chart = Chart::new(
        &format!("day-{day}"),
        &name,
        &format!("{} and the reference on {name}", names.join(", ")),
        x,
    );
    chart.push(panel);
    chart
}

/// The largest difference of any sensor, so that all are drawn to one scale.
fn furthest(sensors: &[SensorReport]) -> f32 {
    let all =
        sensors.iter().flat_map(|sensor| &sensor.points).map(|point| point.pair.difference_mg_dl().abs());
    all.fold(30.0, f32::max) * 1.1
}

fn differences(
    n: usize,
    SensorReport { name, points, figures, .. }: &SensorReport,
    furthest: f32,
    unit: Unit,
) -> Option<Chart> {
    let bias = figures.bias_mg_dl?;
    let pairs: Vec<(f64, f64)> = points
        .iter()
        .map(|point| {
            let pair = &point.pair;
            let mean = (pair.sensor().mg_dl() + pair.reference().mg_dl()) / 2.0;
            (shown(mean, unit), shown(pair.difference_mg_dl(), unit))
        })
        .collect();
    let furthest = shown(furthest, unit);
    let end = pairs.iter().map(|(mean, _)| *mean).fold(shown(200.0, unit), f64::max) * 1.02;
    let x = Axis::linear(0.0, end, 5);
    let mut panel =
        Panel::new(230.0, &x, Axis::linear(-furthest, furthest, 6), &format!("difference, {}", unit.name()));
    panel.rule("zero", 0.0);
    let whole = |y: f32| [(0.0, shown(y, unit)), (end, shown(y, unit))];
    panel.line(class(n), whole(bias), f64::INFINITY);
    for limit in [figures.loa_lower_mg_dl, figures.loa_upper_mg_dl].into_iter().flatten() {
        panel.line("edge", whole(limit), f64::INFINITY);
    }
    panel.dots(class(n), pairs);
    let id = format!("differences-{}", n + 1);
    let words = format!(
        "Differences of {name} from the reference over their mean, with bias and limits of agreement"
    );
    let mut chart = Chart::new(&id, name, &words, x);
    chart.push(panel);
    Some(chart)
}

fn grid(grid: &Grid, sensors: &[SensorReport], unit: Unit) -> Chart {
    let end = grid.end / factor(unit);
    let x = Axis::linear(0.0, end, 5);
    let mut panel = Panel::new(340.0, &x, Axis::linear(0.0, end, 5), "sensor over reference");
    for line in &grid.lines {
        let points = line.iter().map(|(x, y)| (x / factor(unit), y / factor(unit)));
        panel.line("edge", points, f64::INFINITY);
    }
    for (n, sensor) in sensors.iter().enumerate() {
        let pairs = sensor.points.iter().map(|point| &point.pair);
        panel.dots(
            class(n),
            pairs.map(|pair| (shown(pair.reference().mg_dl(), unit), shown(pair.sensor().mg_dl(), unit))),
        );
    }
    for (zone, x, y) in &grid.letters {
        panel.words("note", x / factor(unit), y / factor(unit), &zone.letter().to_string());
    }
    let names: Vec<&str> = sensors.iter().map(|sensor| sensor.name.as_str()).collect();
    let words = format!("Pairs of {} in the zones of the grid; counts are in the table", names.join(", "));
    let title = format!("{}, {}", grid.title, unit.name());
    let mut chart = Chart::new(grid.id, &title, &words, x);
    chart.push(panel);
    chart
}

fn by_day(sensors: &[SensorReport], unit: Unit) -> Chart {
    let days = sensors.iter().map(|sensor| sensor.by_day.len()).max().unwrap_or(1);
    let labels: Vec<(f64, String)> =
        (1..=days).step_by(days.div_ceil(15)).map(|day| (day as f64, day.to_string())).collect();
    let ticks: Vec<(f64, &str)> = labels.iter().map(|(at, label)| (*at, label.as_str())).collect();
    let x = Axis::labelled(0.5, days as f64 + 0.5, &ticks);
    let points = |sensor: &SensorReport, figure: &dyn Fn(&Figures) -> Option<f64>| -> Vec<(f64, f64)> {
        (1..)
            .zip(&sensor.by_day)
            .filter_map(|(day, group): (i32, &Group)| Some((f64::from(day), figure(&group.figures)?)))
            .collect()
    };
    let mard = |figures: &Figures| figures.mard_percent.map(f64::from);
    let bias = |figures: &Figures| figures.bias_mg_dl.map(|bias| shown(bias, unit));
    let most = |figure: &dyn Fn(&Figures) -> Option<f64>, least: f64| {
        sensors.iter().flat_map(|s| points(s, figure)).map(|(_, y)| y.abs()).fold(least, f64::max) * 1.1
    };
    let mut upper = Panel::new(140.0, &x, Axis::linear(0.0, most(&mard, 10.0), 4), "MARD, %");
    let widest = most(&bias, shown(15.0, unit));
    let name = format!("bias, {}", unit.name());
    let mut lower = Panel::new(140.0, &x, Axis::linear(-widest, widest, 4), &name);
    lower.rule("zero", 0.0);
    for (n, sensor) in sensors.iter().enumerate() {
        for (panel, points) in [(&mut upper, points(sensor, &mard)), (&mut lower, points(sensor, &bias))] {
            panel.line(class(n), points.iter().copied(), f64::INFINITY);
            panel.dots(class(n), points);
        }
    }
    let mut chart = Chart::new(
        "by-day",
        "Accuracy by day of wear",
        "MARD and bias against the reference for each day since the sensor was put on",
        x,
    );
    chart.push(upper);
    chart.push(lower);
    chart
}

fn group_tables(page: &mut Page, sensors: &[SensorReport], unit: Unit) {
    page.section("When it is right and when it is not");
    let head: Vec<String> = sensors
        .iter()
        .flat_map(|sensor| ["pairs", "bias", "MARD"].map(|what| format!("{} {what}", sensor.name)))
        .collect();
    let head: Vec<&str> = std::iter::once("").chain(head.iter().map(String::as_str)).collect();
    type GroupsOf = fn(&SensorReport) -> &[Group];
    let kinds: [(&str, GroupsOf); 4] = [
        ("By the reference's value, mg/dL", |s| &s.by_range),
        ("By how fast the sensor moves, mg/dL a minute", |s| &s.by_rate),
        ("By time of day", |s| &s.by_hour),
        ("By day of wear", |s| &s.by_day),
    ];
    for (caption, groups) in kinds {
        let longest = sensors.iter().map(|sensor| groups(sensor).len()).max().unwrap_or(0);
        let rows: Vec<Vec<String>> = (0..longest)
            .map(|row| {
                let name = sensors.iter().find_map(|sensor| groups(sensor).get(row));
                let mut cells = vec![name.map_or_else(String::new, |group| {
                    // the caption says the unit
                    group.group.replace(" mg/dL/min", "").replace(" mg/dL", "")
                })];
                for sensor in sensors {
                    let figures = groups(sensor).get(row).map(|group| &group.figures);
                    cells.push(figures.map_or(0, |figures| figures.pairs).to_string());
                    cells.push(text::glucose(figures.and_then(|figures| figures.bias_mg_dl), unit));
                    cells.push(text::percent(figures.and_then(|figures| figures.mard_percent)));
                }
                cells
            })
            .collect();
        page.table(caption, &head, &rows);
    }
}

fn rule_tables(page: &mut Page, report: &Report) {
    page.section("What a rule for sensors asks");
    page.text(&text::rule_words(report));
    for sensor in &report.sensors.0 {
        let rows: Vec<Vec<String>> = sensor
            .regulation
            .iter()
            .map(|judged| {
                vec![
                    format!("{} {}", judged.criterion, judged.what),
                    judged.n.to_string(),
                    text::percent(judged.rate_percent),
                    text::percent(judged.exact_lower_percent),
                    text::percent(judged.wilson_lower_percent),
                    text::percent(judged.cluster_lower_percent),
                    judged.verdict.clone(),
                ]
            })
            .collect();
        let head = ["", "pairs", "rate", "exact bound", "Wilson", "by days", "says"];
        page.table(&sensor.name, &head, &rows);
    }
}

fn presence_tables(page: &mut Page, sensors: &[SensorReport], unit: Unit) {
    page.section("How old the number is, and what was missing when it mattered");
    let cell = |value: Option<f32>| value.map_or("–".to_owned(), |value| format!("{value:.1}"));
    let off = |value: Option<[f32; 3]>| {
        value.map_or("–".to_owned(), |values| values.map(|value| unit.show(value)).join(", "))
    };
    let rows: Vec<Vec<String>> = sensors
        .iter()
        .map(|sensor| {
            let age = &sensor.number_age;
            vec![
                sensor.name.clone(),
                age.lag_counted_min.map_or("not known".to_owned(), |lag| format!("{lag:.1}")),
                cell(age.p05_min),
                cell(age.median_min),
                cell(age.p95_min),
                cell(age.oldest_min),
                off(age.median_off_by_mg_dl),
                off(age.p95_off_by_mg_dl),
            ]
        })
        .collect();
    let off_by = format!("median off by, {}", unit.name());
    let off_most = format!("95 % off by, {}", unit.name());
    let head = ["", "lag", "5 %", "median", "95 %", "oldest", &off_by, &off_most];
    page.table("Age of the number, min; off by at a steady 1, 2 and 3 mg/dL a minute", &head, &rows);
    for sensor in sensors {
        let Some(missing) = &sensor.missing else { continue };
        let row = |name: &str, one: &Missing| {
            vec![
                name.to_owned(),
                format!("{:.1}", one.hours),
                format!("{:.1}", one.missing_hours),
                one.gaps.to_string(),
                one.errors.to_string(),
                cell(one.gaps_per_100_h),
                cell(one.errors_per_100_h),
            ]
        };
        let rows = [
            row("at any time", &missing.any_time),
            row("falling over 2 mg/dL/min", &missing.falling_fast),
            row("under 70 mg/dL", &missing.low),
            row("at night, 0:00 to 6:00", &missing.night),
            row("in the first 24 h", &missing.first_day),
        ];
        let head = ["", "hours", "without a reading", "gaps", "errors", "gaps per 100 h", "errors per 100 h"];
        page.table(&sensor.name, &head, &rows);
    }
}

fn score_table(page: &mut Page, report: &Report) {
    let Some(score) = &report.score else { return };
    page.section("The score sheet");
    page.text(&format!(
        "Marks from 0 to 10, by the weights of the sheet. How sure it is counts in that sensors of one kind differ and \
         only one of each was worn: {}.",
        score.verdict
    ));
    let mark = |value: Option<f32>| value.map_or("–".to_owned(), |value| format!("{value:.1}"));
    let mut rows: Vec<Vec<String>> = score
        .lines
        .iter()
        .map(|line| {
            vec![
                line.criterion.replace('_', " "),
                format!("{}", line.weight),
                mark(line.first_value),
                mark(line.first_marks),
                mark(line.second_value),
                mark(line.second_marks),
            ]
        })
        .collect();
    let blank = String::new;
    rows.push(vec![
        "together".to_owned(),
        blank(),
        blank(),
        mark(score.first_score),
        blank(),
        mark(score.second_score),
    ]);
    let heads =
        [&score.first, &score.second].map(|name| [format!("{name}, measured"), format!("{name}, marks")]);
    let [[a, b], [c, d]] = &heads;
    page.table("", &["criterion", "weight", a, b, c, d], &rows);
    if !score.left_out.is_empty() {
        page.text(&format!(
            "Left out, as not known of both: {}.",
            score.left_out.iter().map(|name| name.replace('_', " ")).collect::<Vec<_>>().join(", ")
        ));
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
