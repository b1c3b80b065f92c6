//! The sheet of a replay: what a person reads to understand their days.

mod day;
mod overview;
mod tables;

use super::Replay;
use super::report::{self, Report};
use crate::played::sample::Sample;
use crate::rehearsal;
use crate::sheet::{Chart, Mark, Page, Sample as Legend};
use crate::table::{Unit, date};

const DAY: i64 = 86_400;
/// Days drawn one by one; of a longer trace these are the last.
const MOST_DAYS: usize = 92;

/// So many days are drawn over the whole width.
const WIDE_DAYS: usize = 2;

/// The sheet, and its drawings for files of their own.
pub fn draw(replay: &Replay, report: &Report, unit: Unit) -> (String, Vec<Chart>) {
    let days = split(replay);
    let top = ceiling(replay);
    let shown = days.get(days.len().saturating_sub(MOST_DAYS)..).unwrap_or_default();
    let charts: Vec<Chart> = shown.iter().map(|day| day::draw(replay, day, shown.len(), top, unit)).collect();

    let mut page = Page::new(&format!("Replay of {}", replay.name));
    page.summary(&report::in_words(replay, report, unit));

    let overview = (days.len() >= 4).then(|| overview::draw(replay, &days));
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
    if shown.len() <= WIDE_DAYS {
        charts.iter().for_each(|chart| page.chart(chart));
    } else {
        page.side_by_side(&charts);
    }
    let rehearsed = rehearsal::draw(&mut page, &replay.rehearsal);
    tables::lows(&mut page, replay, unit);
    tables::days(&mut page, replay, &days, unit);
    tables::fingersticks(&mut page, replay, report, unit);
    tables::alarms(&mut page, replay, unit);
    tables::input(&mut page, report);
    let mut all: Vec<Chart> = overview.into_iter().collect();
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
    fn name(&self) -> String {
        date(self.number).strftime("%a %-d %b %Y").to_string()
    }
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
        (Legend::Band("plasma"), "where it lies 19 times in 20, if the calibration is right"),
        (Legend::Band("outer"), "and with what the calibration leaves open"),
        (Legend::Dots("doubtful"), "readings not taken at their word"),
    ];
    if replay.against.is_some() {
        entries.push((Legend::Line("truth"), "the truth"));
    }
    if !replay.pricked.is_empty() {
        entries.push((Legend::Mark(Mark::Fingerstick), "fingerstick"));
    }
    if replay.pricked.iter().any(|p| p.refused.is_some()) {
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
