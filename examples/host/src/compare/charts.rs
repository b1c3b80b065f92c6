//! The drawings of a comparison.

use glidepath::{Fingerstick, MG_DL_PER_MMOL_L};

use super::figures::Figures;
use super::grids::{self, Grid};
use super::groups::Group;
use super::input::{Study, Worn};
use super::report::SensorReport;
use crate::sheet::{Axis, Chart, Mark, Panel};
use crate::table::{Unit, count, date};

const DAY: i64 = 86_400;
/// Days drawn one by one; of a longer wear these are the last.
const MOST_DAYS: usize = 31;
/// How the sensors are told apart, in their order.
const CLASSES: [&str; 3] = ["first", "second", "third"];

/// The class of a sensor's lines and dots.
pub fn class(n: usize) -> &'static str {
    CLASSES[n.min(CLASSES.len() - 1)]
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

fn day_of(worn: &Worn, at: u32) -> i64 {
    worn.clock.wall(at.into()).div_euclid(DAY)
}

/// The days that are drawn.
fn days(study: &Study) -> Vec<i64> {
    let mut days: Vec<i64> = study
        .sensors
        .iter()
        .flat_map(|worn| worn.readings.iter().map(|reading| day_of(worn, reading.at().secs())))
        .collect();
    days.sort_unstable();
    days.dedup();
    days.split_off(days.len().saturating_sub(MOST_DAYS))
}

/// The main figure of each drawn day: how many values of the reference it has, or readings where there is no reference.
pub fn day_figures(study: &Study) -> Vec<String> {
    let readings = || {
        let each =
            |worn: &Worn| worn.readings.iter().map(|it| day_of(worn, it.at().secs())).collect::<Vec<_>>();
        study.sensors.iter().flat_map(each).collect::<Vec<i64>>()
    };
    let clock = study.sensors.first();
    let (at, what) = match (&study.reference, clock) {
        (Some(sticks), Some(worn)) => {
            (sticks.iter().map(|stick| day_of(worn, stick.at().secs())).collect(), "reference value")
        }
        _ => (readings(), "reading"),
    };
    let of = |day: &i64| count(at.iter().filter(|other| *other == day).count() as u64, what);
    days(study).iter().map(of).collect()
}

/// The traces over each other, a drawing a day.
pub fn day_charts(study: &Study, unit: Unit) -> Vec<Chart> {
    let values =
        study.sensors.iter().flat_map(|worn| worn.readings.iter().map(|reading| reading.glucose().mg_dl()));
    let top = values.fold(200.0_f32, f32::max);
    days(study).iter().map(|day| day_chart(study, *day, top, unit)).collect()
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

/// Differences over means, a drawing a sensor.
pub fn all_differences(sensors: &[SensorReport], unit: Unit) -> Vec<Chart> {
    let furthest = furthest(sensors);
    sensors.iter().enumerate().filter_map(|(n, sensor)| differences(n, sensor, furthest, unit)).collect()
}

/// Both error grids.
pub fn both_grids(sensors: &[SensorReport], unit: Unit) -> [Chart; 2] {
    [grid(&grids::clarke(), sensors, unit), grid(&grids::parkes(), sensors, unit)]
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
    let mut panel = Panel::new(
        230.0,
        &x,
        Axis::linear(-furthest, furthest, 6),
        &format!("sensor minus reference, {}", unit.name()),
    );
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
    let title = format!("{name}: how far from the reference");
    let along = format!("mean of sensor and reference, {}", unit.name());
    let mut chart = Chart::new(&id, &title, &words, x).along(&along);
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
    let mut chart = Chart::new(grid.id, &title, &words, x).along(&format!("reference, {}", unit.name()));
    chart.push(panel);
    chart
}

/// MARD and bias by day of wear.
pub fn by_day(sensors: &[SensorReport], unit: Unit) -> Chart {
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
