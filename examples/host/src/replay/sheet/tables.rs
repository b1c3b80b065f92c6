//! The sheet's tables.

use glidepath::Span;
use glidepath::alarm::{Cause, Priority};

use super::super::Replay;
use super::super::report::{self, Report};
use super::{DAY, Day, in_range, share};
use crate::played::lows::{self, Low};
use crate::played::words::{self, minutes};
use crate::sheet::Page;
use crate::table::{Unit, count};

/// Rows of a table in the sheet.
const MOST_ROWS: usize = 100;

type Cells = Vec<String>;

/// A table of the last of `items`, and a word on the others.
fn list<T>(page: &mut Page, caption: &str, head: &[&str], items: &[T], row: impl Fn(&T) -> Cells) {
    let last = items.get(items.len().saturating_sub(MOST_ROWS)..).unwrap_or_default();
    page.table(caption, head, &last.iter().map(row).collect::<Vec<Cells>>());
    if last.len() < items.len() {
        page.text(&format!("The last {MOST_ROWS} of {} are listed.", items.len()));
    }
}

/// What is known, or a dash.
fn known(value: f32, unit: Unit) -> String {
    if value.is_finite() { unit.show(value) } else { "–".into() }
}

/// The lows, and whether there was a warning.
pub fn lows(page: &mut Page, replay: &Replay, unit: Unit) {
    if replay.lows.is_empty() {
        return;
    }
    let warned = lows::warned(&replay.lows).before;
    let told = format!("{warned} of {} warned of", count(replay.lows.len() as u64, "low"));
    page.section("Lows, and whether there was a warning", &told);
    let by = if replay.second.is_some() { "the lower of the two sensors" } else { "the sensor's readings" };
    let caption = format!("Below {} for 15 minutes or more, by {by}", unit.either("70", "3.9"));
    let lowest = format!("lowest, {}", unit.name());
    let head = ["began", "lasted", &lowest, "by the estimate", "first alarm"];
    list(page, &caption, &head, &replay.lows, |low| {
        vec![
            replay.time(low.start),
            minutes(low.minutes()),
            unit.show(low.lowest),
            known(lowest_estimate(replay, low), unit),
            warning(low),
        ]
    });
}

fn lowest_estimate(replay: &Replay, low: &Low) -> f32 {
    let from = replay.samples.partition_point(|sample| sample.reading.at() < low.start);
    let samples = replay.samples.iter().skip(from).take_while(|sample| sample.reading.at() <= low.end);
    samples.map(|sample| sample.plasma).fold(f32::NAN, f32::min)
}

fn warning(low: &Low) -> String {
    match (low.first_alarm, low.warned().map(Span::mins)) {
        (Some(rang), Some(min)) => {
            let what = rang.kind.message();
            match min {
                0.5.. => format!("{} before: {what}", minutes(min)),
                ..=-0.5 => format!("{} after: {what}", minutes(-min)),
                _ => format!("as it began: {what}"),
            }
        }
        _ => "none".into(),
    }
}

/// A row for each day.
pub fn days(page: &mut Page, replay: &Replay, days: &[Day], unit: Unit) {
    let all: Vec<f32> = days.iter().flat_map(Day::believed).collect();
    let told = format!("{} over {}", in_range(&all), count(days.len() as u64, "day"));
    page.section("Day by day", &told);
    let begun = |day: &Day, priority: Priority| {
        let alarms =
            replay.alarms.iter().filter(|rang| rang.cause == Cause::New && rang.priority == priority);
        alarms.filter(|rang| replay.wall(rang.at).div_euclid(DAY) == day.number).count().to_string()
    };
    let row = |day: &Day| {
        let values = day.believed();
        let share = |inside| share(&values, inside);
        vec![
            day.name(),
            values.len().to_string(),
            share(|v| v < 70.0),
            share(|v| (70.0..=180.0).contains(&v)),
            share(|v| v > 180.0),
            known(values.iter().copied().fold(f32::NAN, f32::min), unit),
            known(values.iter().copied().fold(f32::NAN, f32::max), unit),
            begun(day, Priority::High),
            begun(day, Priority::Medium),
            begun(day, Priority::Low),
        ]
    };
    let lowest = format!("lowest, {}", unit.name());
    let head =
        ["day", "readings", "below", "in range", "above", &lowest, "highest", "high alarms", "medium", "low"];
    let range = unit.either("70 to 180", "3.9 to 10.0");
    let by = if replay.second.is_some() { "all readings of both sensors" } else { "the sensor's readings" };
    list(page, &format!("In range is {range}, by {by}"), &head, days, row);
}

/// The fingersticks and what they say of the sensor.
pub fn fingersticks(page: &mut Page, replay: &Replay, report: &Report, unit: Unit) {
    if replay.pricked.is_empty() {
        return;
    }
    let used = replay.pricked.iter().filter(|pricked| pricked.used).count();
    let told = format!("{used} of {} used", count(replay.pricked.len() as u64, "fingerstick"));
    page.section("Fingersticks and calibration", &told);
    page.text(&report::fingersticks(report, unit));
    let head = ["when", "fingerstick", "estimate just before", "what became of it"];
    list(page, &format!("In {}", unit.name()), &head, &replay.pricked, |pricked| {
        vec![
            replay.time(pricked.stick.at()),
            unit.show(pricked.stick.glucose().mg_dl()),
            known(pricked.expected, unit),
            pricked.refused().unwrap_or("used").into(),
        ]
    });
}

/// What would have rung.
pub fn alarms(page: &mut Page, replay: &Replay, unit: Unit) {
    if replay.alarms.is_empty() {
        return;
    }
    let begun: Vec<_> = replay.alarms.iter().filter(|rang| rang.cause == Cause::New).collect();
    let high = begun.iter().filter(|rang| rang.priority == Priority::High).count();
    let told = format!("{}, {high} of high priority", count(begun.len() as u64, "alarm"));
    page.section("Alarms", &told);
    let head = ["when", "priority", "what", "by", "why then"];
    list(page, "What would have rung", &head, &replay.alarms, |rang| {
        vec![
            replay.time(rang.at),
            rang.priority.name().into(),
            rang.kind.message().into(),
            words::trigger_words(rang.trigger, unit),
            words::cause_words(rang.cause).into(),
        ]
    });
}

/// What was in the file.
pub fn input(page: &mut Page, report: &Report) {
    let told = format!("{} kept", count(report.readings, "reading"));
    page.section("What was in the file", &told);
    page.table("Rows", &["", "count"], &report::input_rows(report));
}

#[cfg(test)]
mod tests {
    use super::*;
    use glidepath::Instant;
    use glidepath::alarm::{Kind, Ring, Trigger};

    #[test]
    fn a_warning_is_so_long_before_or_after() {
        let at = |minute: u32| Instant::from_secs(1_800_000_000 + 60 * minute);
        let low = |minute: u32| Low {
            start: at(300),
            end: at(500),
            lowest: 50.0,
            first_alarm: Some(Ring::new(
                Kind::Low,
                Priority::Medium,
                Cause::New,
                Trigger::Unknown,
                at(minute),
            )),
        };
        let said = [280, 300, 310, 450].map(|minute| warning(&low(minute)));
        let expected = ["20 min before: ", "as it began: ", "10 min after: ", "2.5 h after: "]
            .map(|when| format!("{when}{}", Kind::Low.message()));
        assert_eq!(said, expected);
        assert_eq!(warning(&Low { first_alarm: None, ..low(0) }), "none");
    }
}
