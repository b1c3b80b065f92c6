//! The sheet of a replay: what a person reads to understand their days.

mod day;
mod head;
mod overview;
mod tables;

use super::Replay;
use super::report::{self, Report};
use crate::played::Sample;
use crate::rehearsal;
use crate::sheet::{Chart, Mark, Page, Sample as Legend};
use crate::table::{Unit, date};

const DAY: i64 = 86_400;
/// Days drawn one by one; of a longer trace these are the last.
const MOST_DAYS: usize = 92;

/// The sheet, and its drawings for files of their own.
pub fn draw(replay: &Replay, report: &Report, unit: Unit) -> (String, Vec<Chart>) {
    let days = split(replay);
    let top = ceiling(replay);
    let shown = days.get(days.len().saturating_sub(MOST_DAYS)..).unwrap_or_default();
    let charts: Vec<Chart> = shown.iter().map(|day| day::draw(replay, day, shown.len(), top, unit)).collect();
    let last = day::last(replay, top, unit);

    let mut page = Page::new(&format!("Replay of {}", replay.name));
    replay.about.iter().for_each(|about| page.note(about));
    page.head(&head::figures(replay, unit), Some(&last));
    page.key(&legend(replay), "");
    let mut words = report::in_words(replay, report, unit);
    words.retain(|thought| replay.about != Some(thought.as_str())); // it stands above
    page.summary(&words, "");

    let overview = (days.len() > 1).then(|| overview::draw(replay, &days));
    if let Some(overview) = &overview {
        page.open_section("All days");
        let [range, deep, very] =
            [unit.either("70 to 180", "3.9 to 10.0"), unit.either("54", "3.0"), unit.either("250", "13.9")];
        page.text(&format!(
            "A row for each day; it leads to that day, drawn large. The thin middle line is time in range ({range}); what \
             reaches down from it is lower, what reaches up is higher, further below {deep} and above {very}."
        ));
        page.chart(overview);
    }
    page.open_section(if days.len() > 1 { "A day, large" } else { "The day" });
    if shown.len() < days.len() {
        page.text(&format!(
            "The last {} of {} days are drawn; the table of samples holds them all.",
            shown.len(),
            days.len()
        ));
    }
    page.legend(&legend(replay));
    if overview.is_some() {
        let figures: Vec<String> = shown.iter().map(|day| day.in_range()).collect();
        page.days(&charts, &figures);
    } else {
        charts.iter().for_each(|chart| page.chart(chart));
    }
    let rehearsed = rehearsal::draw(&mut page, &replay.rehearsal);
    tables::lows(&mut page, replay, unit);
    tables::days(&mut page, replay, &days, unit);
    tables::fingersticks(&mut page, replay, report, unit);
    tables::alarms(&mut page, replay, unit);
    tables::input(&mut page, report);
    let mut all: Vec<Chart> = std::iter::once(last).chain(overview).collect();
    all.extend(charts);
    all.extend(rehearsed);
    (page.finish(), all)
}

/// A day on the wearer's clock and the samples in it.
struct Day<'a> {
    /// Days since 1970.
    number: i64,
    samples: &'a [Sample],
}

impl Day<'_> {
    /// What its drawing is called within the sheet.
    fn id(&self) -> String {
        format!("day-{}", date(self.number))
    }

    /// The believed readings, mg/dL.
    fn believed(&self) -> Vec<f32> {
        let believed = self.samples.iter().filter(|sample| sample.verdict.is_believed());
        believed.map(|sample| sample.reading.glucose().mg_dl()).collect()
    }

    /// Its main figure.
    fn in_range(&self) -> String {
        in_range(&self.believed())
    }

    fn name(&self) -> String {
        date(self.number).strftime("%a %-d %b %Y").to_string()
    }
}

/// The share of values in 70 to 180 mg/dL, in words.
fn in_range(values: &[f32]) -> String {
    if values.is_empty() {
        return "no readings believed".to_owned();
    }
    format!("{} in range", share(values, |value| (70.0..=180.0).contains(&value)))
}

/// The share of values that are so, in whole per cent.
fn share(values: &[f32], is: fn(f32) -> bool) -> String {
    let count = values.iter().filter(|value| is(**value)).count();
    format!("{:.0} %", 100.0 * count as f64 / values.len().max(1) as f64)
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
    let two = replay.second.is_some();
    let own = if two { "the first sensor's readings" } else { "the sensor's readings" };
    let mut entries = vec![
        (Legend::Dots("sensor"), own),
        (Legend::Line("plasma"), "blood glucose as estimated"),
        (Legend::Band("plasma"), "where it lies 19 times in 20, if the calibration is right"),
        (Legend::Band("outer"), "and with what the calibration leaves open"),
        (Legend::Dots("doubtful"), "readings not taken at their word"),
    ];
    if two {
        entries.insert(1, (Legend::Dots("beside"), "the second sensor's readings"));
        entries.extend([
            (Legend::Line("weight"), "which sensor is trusted, between the first and the second"),
            (Legend::Band("apart"), "they disagree, and nothing tells which errs"),
            (Legend::Band("errs"), "this one is off"),
        ]);
    }
    if replay.against.is_some() {
        entries.push((Legend::Line("truth"), "the truth"));
    }
    if !replay.pricked.is_empty() {
        entries.push((Legend::Mark(Mark::Fingerstick), "fingerstick"));
    }
    if replay.pricked.iter().any(|p| !p.used) {
        entries.push((Legend::Mark(Mark::Refused), "fingerstick not used"));
    }
    entries.extend([
        (Legend::Mark(Mark::High), "alarm, high priority"),
        (Legend::Mark(Mark::Medium), "alarm, medium priority"),
        (Legend::Mark(Mark::Low), "alarm, low priority"),
        (Legend::Mark(Mark::Again), "reminder: it goes on"),
        (Legend::Line("rate"), "rate of change and its 19-in-20 band"),
        (Legend::Band("chance"), "probability of a low within 30 minutes"),
        (Legend::Stretch, "no readings"),
    ]);
    entries
}
