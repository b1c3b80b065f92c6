//! The sheet of a replay: what a person reads to understand their days.

use glidepath::alarm::{Cause, Priority};
use glidepath::quality::Verdict;

use super::Replay;
use super::report::{self, Report};
use super::sample::{Rang, Sample};
use crate::sheet::{Axis, Chart, Mark, Page, Panel, Sample as Legend};
use crate::table::{Unit, date};

const DAY: i64 = 86_400;
/// Days drawn one by one; of a longer trace these are the last.
const MOST_DAYS: usize = 92;
/// Points of a line in a day's drawing; more would not be seen.
const MOST_POINTS: usize = 320;
/// Rows of a table in the sheet.
const MOST_ROWS: usize = 100;

/// The sheet, and its drawings for files of their own.
pub fn draw(replay: &Replay, report: &Report, unit: Unit) -> (String, Vec<Chart>) {
    let days = split(replay);
    let top = ceiling(replay);
    let shown = days.get(days.len().saturating_sub(MOST_DAYS)..).unwrap_or_default();
    let wide = shown.len() <= 2;
    let charts: Vec<Chart> = shown.iter().map(|day| day_chart(replay, day, top, unit, wide)).collect();

    let mut page = Page::new(&format!("Replay of {}", replay.name));
    page.summary(&report::in_words(replay, report, unit));

    let overview = (days.len() >= 4).then(|| overview(&days, replay));
    if let Some(overview) = &overview {
        page.section("The days under one another");
        page.text(
            "A row for each day. The thin middle line is time from 70 to 180 mg/dL (3.9 to 10.0 mmol/L); what \
             reaches down from it is lower, what reaches up is higher, further beyond 54 and 250 mg/dL (3.0 and \
             13.9 mmol/L).",
        );
        page.chart(overview);
    }
    page.section(if days.len() > 1 { "The days side by side" } else { "The day" });
    if shown.len() < days.len() {
        page.text(&format!(
            "The last {} of {} days are drawn; the table of samples holds them all.",
            shown.len(),
            days.len()
        ));
    }
    page.legend(&legend(replay));
    if wide {
        charts.iter().for_each(|chart| page.chart(chart));
    } else {
        page.side_by_side(&charts);
    }
    tables(&mut page, replay, report, &days, unit);
    let mut all: Vec<Chart> = overview.into_iter().collect();
    all.extend(charts);
    (page.finish(), all)
}

/// A day on the wearer's clock and the samples in it.
struct Day<'a> {
    /// Days since 1970.
    number: i64,
    samples: &'a [Sample],
}

impl Day<'_> {
    fn name(&self) -> String {
        day_name(self.number)
    }
}

fn day_name(number: i64) -> String {
    date(number).strftime("%a %-d %b %Y").to_string()
}

fn split<'a>(replay: &'a Replay) -> Vec<Day<'a>> {
    let number = |sample: &Sample| replay.wall(sample.reading.at()).div_euclid(DAY);
    let runs = replay.samples.chunk_by(|a, b| number(a) == number(b));
    runs.filter_map(|samples| Some(Day { number: number(samples.first()?), samples })).collect()
}

/// The upper end of glucose in all drawings, mg/dL.
fn ceiling(replay: &Replay) -> f64 {
    let highest =
        replay.samples.iter().map(|s| s.reading.glucose().mg_dl().max(s.plasma)).fold(0.0, f32::max);
    ((f64::from(highest) / 50.0).ceil() * 50.0).clamp(250.0, 500.0)
}

fn legend(replay: &Replay) -> Vec<(Legend, &'static str)> {
    let mut entries = vec![
        (Legend::Dots("sensor"), "the sensor's readings"),
        (Legend::Line("plasma"), "blood glucose as estimated"),
        (Legend::Band("plasma"), "where it lies 19 times in 20"),
        (Legend::Dots("doubtful"), "readings not taken at their word"),
    ];
    if replay.truth.is_some() {
        entries.push((Legend::Line("truth"), "the truth"));
    }
    if !replay.pricked.is_empty() {
        entries.push((Legend::Mark(Mark::Fingerstick), "fingerstick"));
    }
    if replay.pricked.iter().any(|p| p.refused.is_some()) {
        entries.push((Legend::Mark(Mark::Refused), "fingerstick not used"));
    }
    entries.extend([
        (Legend::Mark(Mark::High), "alarm of high priority"),
        (Legend::Mark(Mark::Medium), "of medium"),
        (Legend::Mark(Mark::Low), "of low priority"),
        (Legend::Mark(Mark::Again), "it goes on"),
        (Legend::Line("rate"), "rate of change and its 19-in-20 band"),
        (Legend::Band("chance"), "probability of a low within 30 minutes"),
        (Legend::Stretch, "no readings"),
    ]);
    entries
}

fn lane(priority: Priority) -> (f64, Mark) {
    match priority {
        Priority::High => (2.0, Mark::High),
        Priority::Medium => (1.0, Mark::Medium),
        Priority::Low => (0.0, Mark::Low),
    }
}

fn day_chart(replay: &Replay, day: &Day, top: f64, unit: Unit, wide: bool) -> Chart {
    let midnight = day.number * DAY;
    let second = |sample: &Sample| (replay.wall(sample.reading.at()) - midnight) as f64;
    let every = day.samples.len().div_ceil(MOST_POINTS).max(1);
    let few: Vec<(f64, &Sample)> = day.samples.iter().step_by(every).map(|s| (second(s), s)).collect();
    let longest = replay.longest_step() * every as f64;
    let known = |value: fn(&Sample) -> f32| {
        few.iter().filter_map(move |(x, s)| Some((*x, f64::from(value(s)))).filter(|(_, y)| y.is_finite()))
    };

    let x = Axis::clock(0.0, DAY as f64);
    let of_day = |at: glidepath::Instant| {
        let wall = replay.wall(at) - midnight;
        (0..DAY).contains(&wall).then_some(wall as f64)
    };
    let alarms: Vec<(f64, &Rang)> =
        replay.alarms.iter().filter_map(|rang| Some((of_day(rang.at)?, rang))).collect();

    let mut lanes = Panel::new(34.0, &x, Axis::labelled(-0.7, 2.7, &[(1.0, "alarms")]), "");
    let mut glucose = glucose_panel(&x, top, unit, wide);
    let mut rate = Panel::new(60.0, &x, rate_axis(unit), &format!("rate, {}/min", unit.name()));
    let chance_axis = Axis::labelled(0.0, 1.0, &[(0.0, "0"), (1.0, "100")]);
    let mut chance = Panel::new(40.0, &x, chance_axis, "low within 30 min, %");

    for (from, to) in replay.gaps.iter().copied() {
        let (from, to) = (replay.wall(from) - midnight, replay.wall(to) - midnight);
        if to > 0 && from < DAY {
            glucose.stretch(from.max(0) as f64, to.min(DAY) as f64, "no readings");
        }
    }
    let deviations = |value: f32, sd: f32| (f64::from(value - 2.0 * sd), f64::from(value + 2.0 * sd));
    let band: Vec<(f64, f64, f64)> = few
        .iter()
        .map(|(x, s)| (*x, deviations(s.plasma, s.plasma_sd)))
        .filter(|(_, (low, high))| low.is_finite() && high.is_finite())
        .map(|(x, (low, high))| (x, low, high))
        .collect();
    glucose.band("plasma", &band, longest);
    let doubted = |s: &Sample| s.verdict != Verdict::Accepted && s.verdict != Verdict::Restart;
    let seen = few.iter().filter(|(_, s)| !doubted(s));
    glucose.dots("sensor", seen.map(|(x, s)| (*x, f64::from(s.reading.glucose().mg_dl()))));
    if let Some(truth) = &replay.truth {
        let inside = truth
            .iter()
            .filter(|(at, _)| (midnight..midnight + DAY).contains(&replay.clock.wall(*at as i64)));
        let points = inside
            .step_by(every)
            .map(|(at, value)| ((replay.clock.wall(*at as i64) - midnight) as f64, *value));
        glucose.line("truth", points, longest);
    }
    glucose.line("plasma", known(|s| s.plasma), longest);
    let doubtful = day.samples.iter().filter(|s| doubted(s));
    glucose.dots("doubtful", doubtful.map(|s| (second(s), f64::from(s.reading.glucose().mg_dl()))));
    for pricked in &replay.pricked {
        if let Some(at) = of_day(pricked.stick.at()) {
            let value = pricked.stick.glucose().mg_dl();
            let sign = if pricked.refused.is_some() { Mark::Refused } else { Mark::Fingerstick };
            let words = format!("{} fingerstick {}", hours(at), unit.with_name(value));
            glucose.mark(sign, at, f64::from(value), &words);
        }
    }
    for (at, rang) in &alarms {
        let (lane, mark) = lane(rang.priority);
        let begun = rang.cause == Cause::New;
        if begun && rang.priority == Priority::High {
            glucose.upright("alarm", *at);
        }
        let mark = if begun { mark } else { Mark::Again };
        let words = format!("{} {} ({} priority)", hours(*at), rang.kind.message(), rang.priority.name());
        lanes.mark(mark, *at, lane, &words);
    }

    let rate_band: Vec<(f64, f64, f64)> = few
        .iter()
        .map(|(x, s)| (*x, deviations(s.rate, s.rate_sd)))
        .filter(|(_, (low, high))| low.is_finite() && high.is_finite())
        .map(|(x, (low, high))| (x, low, high))
        .collect();
    rate.rule("zero", 0.0);
    rate.band("rate", &rate_band, longest);
    rate.line("rate", known(|s| s.rate), longest);
    chance.area("chance", known(|s| s.low_probability), longest);
    chance.line("chance", known(|s| s.low_probability), longest);

    let name = day.name();
    let description = format!(
        "Glucose through {name}: the sensor's readings, the estimated blood glucose with its uncertainty, {} \
         alarms, the rate of change and the probability of a low.",
        alarms.len()
    );
    let (year, month, dom) = (date(day.number).year(), date(day.number).month(), date(day.number).day());
    let mut chart = Chart::new(&format!("day-{year:04}-{month:02}-{dom:02}"), &name, &description, x);
    for panel in [lanes, glucose, rate, chance] {
        chart.push(panel);
    }
    chart
}

fn hours(second: f64) -> String {
    let minute = (second / 60.0) as i64;
    format!("{:02}:{:02}", minute / 60, minute % 60)
}

/// The rate's axis in mg/dL/min, labelled in the unit shown.
fn rate_axis(unit: Unit) -> Axis {
    let tenth = 0.1 * f64::from(Unit::MmolL.in_mg_dl());
    match unit {
        Unit::MgDl => Axis::labelled(-4.0, 4.0, &[(-2.0, "−2"), (0.0, "0"), (2.0, "2")]),
        Unit::MmolL => Axis::labelled(-4.0, 4.0, &[(-tenth, "−0.1"), (0.0, "0"), (tenth, "0.1")]),
    }
}

fn glucose_panel(x: &Axis, top: f64, unit: Unit, wide: bool) -> Panel {
    // the published pairs, not conversions
    let mut ticks = match unit {
        Unit::MgDl => vec![(70.0, "70"), (180.0, "180"), (250.0, "250")],
        Unit::MmolL => vec![(70.0, "3.9"), (180.0, "10.0"), (250.0, "13.9")],
    };
    match (unit, top) {
        (Unit::MgDl, 350.0..) => ticks.push((350.0, "350")),
        (Unit::MmolL, 350.0..) => ticks.push((360.312, "20.0")),
        _ => {}
    }
    let height = if wide { 300.0 } else { 200.0 };
    let mut panel = Panel::new(height, x, Axis::labelled(30.0, top, &ticks), unit.name());
    panel.zone("range", 70.0, 180.0);
    panel.zone("low", 30.0, 70.0);
    panel.rule("low", 54.0);
    panel
}

/// Quarter hours of each day as bars about a middle line.
fn overview(days: &[Day], replay: &Replay) -> Chart {
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

fn tables(page: &mut Page, replay: &Replay, report: &Report, days: &[Day], unit: Unit) {
    if !replay.lows.is_empty() {
        page.section("Lows, and whether there was a warning");
        let time = |at: glidepath::Instant| replay.time(at);
        let rows: Vec<Vec<String>> = replay
            .lows
            .iter()
            .rev()
            .take(MOST_ROWS)
            .rev()
            .map(|low| {
                let warned = match (low.first_alarm, low.warned_min()) {
                    (Some(rang), Some(min)) if min > 0.0 => {
                        format!("{min:.0} min before: {}", rang.kind.message())
                    }
                    (Some(rang), Some(min)) => format!("{:.0} min after: {}", -min, rang.kind.message()),
                    _ => "none".into(),
                };
                vec![time(low.start), format!("{:.0} min", low.minutes()), unit.show(low.lowest), warned]
            })
            .collect();
        let head = ["began", "lasted", &format!("lowest, {}", unit.name()), "first alarm"];
        page.table("Below 70 mg/dL (3.9 mmol/L) for 15 minutes or more, by the sensor", &head, &rows);
        rest(page, replay.lows.len());
    }
    page.section("Day by day");
    let percent = |share: f64| format!("{:.0} %", 100.0 * share);
    let rows: Vec<Vec<String>> = days
        .iter()
        .map(|day| {
            let values: Vec<f32> = day
                .samples
                .iter()
                .filter(|s| s.verdict.is_believed())
                .map(|s| s.reading.glucose().mg_dl())
                .collect();
            let share = |inside: fn(f32) -> bool| {
                percent(values.iter().filter(|v| inside(**v)).count() as f64 / values.len().max(1) as f64)
            };
            let rang = |priority: Priority| {
                let count = |rang: &&Rang| {
                    rang.priority == priority
                        && rang.cause == Cause::New
                        && replay.wall(rang.at).div_euclid(DAY) == day.number
                };
                replay.alarms.iter().filter(count).count().to_string()
            };
            let end = |value: f32| if value.is_finite() { unit.show(value) } else { "–".into() };
            vec![
                day.name(),
                values.len().to_string(),
                share(|v| v < 70.0),
                share(|v| (70.0..=180.0).contains(&v)),
                share(|v| v > 180.0),
                end(values.iter().copied().fold(f32::INFINITY, f32::min)),
                end(values.iter().copied().fold(f32::NEG_INFINITY, f32::max)),
                rang(Priority::High),
                rang(Priority::Medium),
                rang(Priority::Low),
            ]
        })
        .collect();
    let (lowest, highest) = (format!("lowest, {}", unit.name()), "highest");
    let head = [
        "day",
        "readings",
        "below range",
        "in range",
        "above",
        &lowest,
        highest,
        "high alarms",
        "medium",
        "low",
    ];
    page.table("In range is 70 to 180 mg/dL (3.9 to 10.0 mmol/L), by the sensor's readings", &head, &rows);

    if !replay.pricked.is_empty() {
        page.section("Fingersticks and calibration");
        let calibration = &report.calibration;
        if let (Some(gain), Some(offset)) = (calibration.gain, calibration.offset_mg_dl) {
            page.text(&format!(
                "By {} fingersticks the sensor reads {gain:.2} times the true glucose and {offset:+.0} mg/dL at the end; \
                 the estimate has this taken out.",
                calibration.fingersticks_used
            ));
        }
        let rows: Vec<Vec<String>> = replay
            .pricked
            .iter()
            .rev()
            .take(MOST_ROWS)
            .rev()
            .map(|p| {
                let expected = if p.expected.is_finite() { unit.show(p.expected) } else { "–".into() };
                vec![
                    replay.time(p.stick.at()),
                    unit.show(p.stick.glucose().mg_dl()),
                    expected,
                    p.refused.unwrap_or("used").into(),
                ]
            })
            .collect();
        page.table(
            &format!("In {}", unit.name()),
            &["when", "fingerstick", "estimate just before", "what became of it"],
            &rows,
        );
        rest(page, replay.pricked.len());
    }
    if !replay.alarms.is_empty() {
        page.section("Alarms");
        let rows: Vec<Vec<String>> = replay
            .alarms
            .iter()
            .rev()
            .take(MOST_ROWS)
            .rev()
            .map(|rang| {
                let cause = report::cause_words(rang.cause);
                vec![
                    replay.time(rang.at),
                    rang.priority.name().into(),
                    rang.kind.message().into(),
                    cause.into(),
                ]
            })
            .collect();
        page.table("What would have rung", &["when", "priority", "what", "why"], &rows);
        rest(page, replay.alarms.len());
    }
    page.section("What was in the file");
    page.table("Rows", &["", "count"], &report::input_rows(report));
}

fn rest(page: &mut Page, count: usize) {
    if count > MOST_ROWS {
        page.text(&format!(
            "The last {MOST_ROWS} of {count} are listed; the CSV tables beside this sheet hold them all."
        ));
    }
}
