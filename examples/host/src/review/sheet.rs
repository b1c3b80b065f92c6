//! The sheet to take along: one printed page.
//!
//! Read from the top: what the figures say, the pattern of the day with the days one under the other beneath on the same
//! clock, an average day counted out in quarters of an hour, and the numbers. Low is warm and drawn downwards, high is
//! cool and drawn upwards, so that no meaning rests on colour alone.

use std::fmt::Write;

use glidepath::review::{Pattern, Ranges, Threshold, WINDOW_MINUTES, gri_zone};

use super::between::{self, Comparison};
use super::figures::{self, Quarter};
use super::record::Record;
use super::words;
use crate::sheet::{Axis, Chart, Figure, Page, Panel, Sample, Scale, escape};
use crate::table::{Unit, date};

const DAY: i64 = 86_400;
const QUARTER: i64 = 900;
/// Days drawn; of a longer record these are the last.
const MOST_DAYS: usize = 28;

/// The sheet, and its drawing for a file of its own.
pub fn draw(record: &Record, comparison: Option<&Comparison>, unit: Unit) -> (String, Vec<Chart>) {
    let mut page =
        Page::new(&format!("Glucose review: {}", record.name)).with_style(include_str!("sheet.css"));
    page.markup("<p class=\"who\">Name <i></i> Born <i></i> Seen on <i></i></p>\n");
    let charts = vec![clock(record, if comparison.is_some() { 132.0 } else { 180.0 }, unit)];
    page.head(&figures(record, unit), charts.first());
    let patterns: Vec<_> = record.review.patterns().into_iter().flatten().collect();
    let recurs = match patterns.len() {
        0 => "nothing recurs at a time of day".to_owned(),
        1 => "lows or highs recur at one time of day".to_owned(),
        n => format!("lows or highs recur at {n} times of day"),
    };
    page.summary(&said(record, unit, &patterns), &recurs);
    let days = record.days().map_or(0, |(first, last)| usize::try_from(last - first + 1).unwrap_or(0));
    key(&mut page, days, patterns.len(), unit);
    page.markup("<div class=\"foot\"><div>");
    if let Some(ranges) = &record.summary.by_readings {
        page.markup(&average_day(ranges, unit));
    }
    episodes(&mut page, record, unit);
    page.markup("</div><div>");
    numbers(&mut page, record, unit);
    let small = format!("<p class=\"small\">{}</p>", escape(SMALL));
    match comparison {
        Some(comparison) => {
            changed(&mut page, comparison, unit);
            page.markup(&format!("</div></div>\n{small}\n"));
        }
        None => page.markup(&format!("{small}</div></div>\n")),
    }
    (page.finish(), charts)
}

/// What the sheet says in words.
fn said(record: &Record, unit: Unit, patterns: &[Pattern]) -> Vec<String> {
    let thoughts = words::thoughts(record, unit);
    let mut said = thoughts.get(..2).unwrap_or(&thoughts).to_vec();
    let recurs = |(place, pattern): (usize, &Pattern)| {
        format!("({}) Again and again {}.", place + 1, words::pattern(pattern, unit))
    };
    said.extend(patterns.iter().enumerate().map(recurs));
    if patterns.is_empty() {
        said.push(words::NO_PATTERN.to_owned());
    }
    said.extend(record.counts.in_words());
    said
}

/// Time in range, lows, the mean, how it varies, and how much there is.
fn figures(record: &Record, unit: Unit) -> Vec<Figure> {
    let s = &record.summary;
    let mut figures = Vec::new();
    if let Some(ranges) = &s.by_readings {
        let range = unit.either("70 to 180", "3.9 to 10.0");
        figures.push(Figure::new("In range", format!("{:.0} %", ranges.from_70_to_180), range));
        let low = unit.either("70", "3.9");
        let deep = unit.either("54", "3.0");
        let note = format!("below {low}; {:.1} % below {deep}", ranges.below_54);
        figures.push(Figure::new("Low", format!("{:.1} %", ranges.below_70()), note));
    }
    let or_dash = |value: Option<String>| value.unwrap_or_else(|| "–".to_owned());
    let gmi = format!("glucose management indicator {} %", words::number(s.gmi_percent, 1));
    figures.push(Figure::new("Mean", or_dash(s.mean_mg_dl.map(|mean| unit.with_name(mean))), gmi));
    let varies = or_dash(s.cv_percent.map(|cv| format!("{cv:.0} %")));
    figures.push(Figure::new("Varies by", varies, "coefficient of variation (CV); stable up to 36 %"));
    let active = format!("readings for {} % of the time", words::number(s.active_percent, 0));
    figures.push(Figure::new("Days", format!("{:.1}", s.days), active));
    figures
}

/// Definitions and where they come from.
const SMALL: &str = "Ranges, 14 days and 70 %: Battelino 2019, Diabetes Care 42:1593; limits in mg/dL and mmol/L are pairs of its \
    tables. Target: most adults, the same consensus. GMI = 3.31 + 0.02392 × mean: Bergenstal 2018, Diabetes Care 41:2275. CV \
    stable up to 36 %: Monnier 2017, Diabetes Care 40:832. Risk index 0 to 100: Klonoff 2022, doi 10.1177/19322968221085273. \
    LBGI, HBGI: Kovatchev 1997, Diabetes Care 20:1655; limits made for fingersticks, a sensor reads lower. MAGE (mean of swings \
    above one SD of the record, both ways): after Service 1970, Diabetes 19:644. MODD (mean difference a day apart): Molnar 1972. \
    Episodes: 15 min beyond a limit until 15 min back inside, extended 120 min below 70 or 90 min above 250 mg/dL: after \
    Battelino 2023, Lancet Diabetes Endocrinol 11:42. Percentiles: quarters of an hour, all days, linear between ranks, no \
    smoothing, at least five values. What recurs: two-hour windows whose days would come by chance with a probability under \
    0.003 (binomial). A gap of more than 3.5 intervals is left open.";

/// Days and the pattern of the day over one clock.
fn clock(record: &Record, room: f64, unit: Unit) -> Chart {
    let x = Axis::clock(0.0, DAY as f64);
    let description =
        "Above, percentiles of glucose by time of day; below, a row for each day with its lows and highs.";
    let mut chart =
        Chart::new("clock", "The pattern of the day, and the days that make it", description, x.clone());
    chart.push(profile(record, &x, unit));
    chart.push(rows(record, &x, room));
    chart
}

/// How a quarter of an hour is drawn: its lowest reading if that is low, else its highest.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Level {
    VeryLow,
    Low,
    In,
    High,
    VeryHigh,
}

fn level(values: impl Iterator<Item = f32>, unit: Unit) -> Level {
    let (low, high) = values.fold((f32::INFINITY, 0.0_f32), |(low, high), v| (low.min(v), high.max(v)));
    // in hundredths of the unit, as the review compares
    let at = |mg_dl: f32| (f64::from(mg_dl / unit.in_mg_dl()) * 100.0).round() as i64;
    let limit = |of: Threshold| match unit {
        Unit::MgDl => i64::from(of.mg_dl()) * 100,
        Unit::MmolL => i64::from(of.tenths_mmol_l()) * 10,
    };
    if at(low) < limit(Threshold::L54) {
        Level::VeryLow
    } else if at(low) < limit(Threshold::L70) {
        Level::Low
    } else if at(high) > limit(Threshold::L250) {
        Level::VeryHigh
    } else if at(high) > limit(Threshold::L180) {
        Level::High
    } else {
        Level::In
    }
}

/// "We 14".
fn row_name(day: i64) -> String {
    let date = date(day);
    let weekday = date.strftime("%a").to_string();
    format!("{} {}", weekday.get(..2).unwrap_or_default(), date.day())
}

/// The days, in `room` pixels at most.
fn rows(record: &Record, x: &Axis, room: f64) -> Panel {
    let (first, last) = record.days().unwrap_or((0, 0));
    let first = first.max(last + 1 - MOST_DAYS as i64);
    let count = (last - first + 1) as f64;
    let base = |day: i64| (last - day) as f64;
    // a name needs ten pixels
    let every = (10.0 * count / room).ceil().max(1.0) as usize;
    let names: Vec<(f64, String)> =
        (first..=last).step_by(every).map(|day| (base(day) + 0.5, row_name(day))).collect();
    let ticks: Vec<(f64, &str)> = names.iter().map(|(at, name)| (*at, name.as_str())).collect();
    let height = (count * 13.0).clamp(52.0, room);
    let mut panel = Panel::new(height, x, Axis::labelled(0.0, count, &ticks), "").reading(Scale::None);
    let mut bars: [Vec<(f64, f64, f64, f64)>; 5] = Default::default();
    let quarter = |at: glidepath::Instant| record.wall(at).div_euclid(QUARTER);
    for run in record.readings.chunk_by(|a, b| quarter(a.at()) == quarter(b.at())) {
        let Some(from) = run.first().map(|r| quarter(r.at()) * QUARTER) else { continue };
        let (day, second) = (from.div_euclid(DAY), from.rem_euclid(DAY) as f64);
        if day < first {
            continue;
        }
        let (which, low, high) = match level(run.iter().map(|r| r.glucose().mg_dl()), record.unit) {
            Level::VeryLow => (0, 0.02, 0.56),
            Level::Low => (1, 0.24, 0.56),
            Level::In => (2, 0.44, 0.56),
            Level::High => (3, 0.44, 0.76),
            Level::VeryHigh => (4, 0.44, 0.98),
        };
        bars[which].push((second, second + QUARTER as f64, base(day) + low, base(day) + high));
    }
    for (class, bars) in ["verylow", "low", "inside", "high", "veryhigh"].into_iter().zip(bars) {
        panel.bars(class, bars);
    }
    panel
}

fn profile(record: &Record, x: &Axis, unit: Unit) -> Panel {
    let quarters = figures::quarters(record.review.grid());
    let highest = quarters.iter().filter_map(|q| q.p95).fold(250.0, f32::max);
    let top = ((highest / 50.0).ceil() * 50.0).max(300.0);
    // equal steps of the scale are equal ratios, so that lows have as much room as highs
    let place = |mg_dl: f32| f64::from(mg_dl.max(1.0)).ln();
    // the published pairs; those between are conversions
    let limits = [
        (40.0, "40", "2.2"),
        (54.0, "54", "3.0"),
        (70.0, "70", "3.9"),
        (120.0, "120", "6.7"),
        (180.0, "180", "10.0"),
        (250.0, "250", "13.9"),
        (350.0, "350", "19.4"),
        (450.0, "450", "25.0"),
    ];
    let shown = limits.iter().filter(|(at, ..)| *at <= top);
    let ticks: Vec<(f64, &str)> = shown
        .map(|(at, mg_dl, mmol_l)| (place(*at), if unit == Unit::MgDl { *mg_dl } else { *mmol_l }))
        .collect();
    let y = Axis::labelled(place(36.0), place(top), &ticks);
    let mut panel = Panel::new(178.0, x, y, unit.name()).reading(Scale::LogGlucose(unit));
    panel.zone("range", place(70.0), place(180.0));
    panel.rule("low", place(54.0));
    panel.rule("", place(250.0));
    let middle = |q: &Quarter| (i64::from(q.minute) * 60 + QUARTER / 2) as f64;
    let band = |low: fn(&Quarter) -> Option<f32>, high: fn(&Quarter) -> Option<f32>| {
        let points = quarters.iter().filter_map(|q| Some((middle(q), place(low(q)?), place(high(q)?))));
        points.collect::<Vec<_>>()
    };
    let step = QUARTER as f64 * 1.01;
    panel.band("outer", &band(|q| q.p05, |q| q.p95), step);
    panel.band("inner", &band(|q| q.p25, |q| q.p75), step);
    let median = quarters.iter().filter_map(|q| Some((middle(q), place(q.p50?))));
    panel.line("median", median, step);
    for (number, pattern) in record.review.patterns().iter().flatten().enumerate() {
        let from = f64::from(pattern.start_minute) * 60.0;
        let to = from + f64::from(WINDOW_MINUTES) * 60.0;
        // each on a line of its own, lows below, highs above
        let step = 0.055 * (number + 1) as f64;
        let at = if pattern.kind.is_low() { place(36.0) + step } else { place(top) - step };
        panel.bars("recurs", [(from, to, at - 0.008, at + 0.008)]);
        panel.words("note number", to + 300.0, at - 0.02, &format!("({})", number + 1));
    }
    panel
}

fn key(page: &mut Page, days: usize, patterns: usize, unit: Unit) {
    let [below_54, below_70, above_180, above_250] = [
        format!("down to the edge: below {}", unit.either("54", "3.0")),
        format!("half down: below {}", unit.either("70", "3.9")),
        format!("half up: above {}", unit.either("180", "10.0")),
        format!("up to the edge: above {}", unit.either("250", "13.9")),
    ];
    let entries = [
        (Sample::Band("verylow"), below_54.as_str()),
        (Sample::Band("low"), &below_70),
        (Sample::Band("inside"), "thin: in range"),
        (Sample::Band("high"), &above_180),
        (Sample::Band("veryhigh"), &above_250),
        (Sample::Line("median"), "half of all values lie below"),
        (Sample::Band("inner"), "the middle half of them"),
        (Sample::Band("outer"), "nine in ten"),
    ];
    let shown = if days > MOST_DAYS {
        format!(" The last {MOST_DAYS} of {days} days are drawn.")
    } else {
        String::new()
    };
    let recur = match patterns {
        0 => String::new(),
        1 => " (1): the time of day at which lows or highs recur, as said above.".into(),
        n => format!(" (1) to ({n}): times of day at which lows or highs recur, as said above."),
    };
    page.key(&entries, &format!("Where nothing is drawn there are no readings.{recur}{shown}"));
}

/// 96 signs, a quarter of an hour each, from the lowest to the highest.
fn average_day(ranges: &Ranges, unit: Unit) -> String {
    let shares = [
        ranges.below_54,
        ranges.from_54_to_69,
        ranges.from_70_to_180,
        ranges.from_181_to_250,
        ranges.above_250,
    ];
    let signs = [
        ("verylow", "M-5-4H5L0 5Z"),
        ("low", "M-4-3H4L0 4Z"),
        ("inside", "M-3-1.4H3V1.4H-3Z"),
        ("high", "M-4 3H4L0-4Z"),
        ("veryhigh", "M-5 4H5L0-5Z"),
    ];
    let mut drawn = String::new();
    let mut place = 0;
    for ((class, path), count) in signs.into_iter().zip(quarters_of(shares)) {
        for _ in 0..count {
            // down a column for each hour
            let (column, row) = (place / 4, place % 4);
            let (x, y) = (7 + column * 14 + column / 6 * 4, 8 + row * 13);
            let _ =
                write!(drawn, "<path class=\"band {class}\" transform=\"translate({x} {y})\" d=\"{path}\"/>");
            place += 1;
        }
    }
    let name =
        |mg_dl: &str, mmol_l: &str| if unit == Unit::MgDl { mg_dl.to_owned() } else { mmol_l.to_owned() };
    let rows = [
        (name("above 250", "above 13.9"), shares[4], "under 5 %"),
        (name("181 to 250", "10.1 to 13.9"), shares[3], ""),
        (name("above 180 in all", "above 10.0 in all"), ranges.above_180(), "under 25 %"),
        (name("70 to 180", "3.9 to 10.0"), shares[2], "over 70 %"),
        (name("below 70 in all", "below 3.9 in all"), ranges.below_70(), "under 4 %"),
        (name("54 to 69", "3.0 to 3.8"), shares[1], ""),
        (name("below 54", "below 3.0"), shares[0], "under 1 %"),
    ];
    let mut page = Page::new("");
    let cells = rows.map(|(name, share, target)| {
        vec![name, format!("{share:.1} %"), words::a_day(share), target.to_owned()]
    });
    page.table("", &[unit.name(), "of readings", "a day", "target"], &cells);
    format!(
        "<h2>An average day, counted out</h2>\n<svg class=\"count\" viewBox=\"0 0 348 56\" role=\"img\" aria-label=\"96 signs, a \
         quarter of an hour each\">{drawn}</svg>\n<p>Each sign is a quarter of an hour, each column an hour, sorted from low to \
         high.</p>\n{}",
        page.into_body()
    )
}

/// 96 quarters by largest remainder; what occurs at all has one.
fn quarters_of(shares: [f32; 5]) -> [usize; 5] {
    let exact = shares.map(|share| f64::from(share) * 0.96);
    let mut counts = exact.map(|x| if x > 0.0 { (x.floor() as usize).max(1) } else { 0 });
    while counts.iter().sum::<usize>() != 96 {
        let short = counts.iter().sum::<usize>() < 96;
        let off = |i: usize| exact[i] - counts[i] as f64;
        let which = (0..5).filter(|&i| exact[i] > 0.0 && (short || counts[i] > 1));
        let next = if short {
            which.max_by(|&a, &b| off(a).total_cmp(&off(b)))
        } else {
            which.min_by(|&a, &b| off(a).total_cmp(&off(b)))
        };
        let Some(next) = next else { break };
        if short { counts[next] += 1 } else { counts[next] -= 1 }
    }
    counts
}

fn changed(page: &mut Page, comparison: &Comparison, unit: Unit) {
    let Comparison { between, against, changes } = comparison;
    page.markup("<h2>What changed</h2>");
    let rows: Vec<Vec<String>> = changes
        .iter()
        .map(|change| {
            let told = between::told(change, unit);
            let by = if change.clear { told.change } else { "not clear".into() };
            vec![format!("{}, {}", told.name, told.unit), told.then, told.now, by, told.interval]
        })
        .collect();
    let caption = format!("{} to {}, then {} to {}", against.from, against.to, between.from, between.to);
    page.table(&caption, &["", "then", "now", "change", "95 % interval"], &rows);
}

fn numbers(page: &mut Page, record: &Record, unit: Unit) {
    let s = &record.summary;
    page.markup("<h2>The numbers</h2>");
    let concentration = |name: &str, value: Option<f32>| {
        vec![name.to_owned(), value.map_or_else(|| "–".into(), |value| unit.with_name(value))]
    };
    let mut rows = vec![
        concentration("Mean", s.mean_mg_dl),
        concentration("Standard deviation", s.sd_mg_dl),
        concentration("SD within a day, mean", s.sd_within_day),
        concentration("SD of daily means", s.sd_between_day_means),
        concentration("MAGE", s.mage_mg_dl),
        concentration("MODD", s.modd_mg_dl),
    ];
    let one = |value, decimals| words::number(value, decimals);
    let gri = s.gri.map_or_else(|| "–".into(), |gri| format!("{gri:.0}, zone {}", gri_zone(gri)));
    let pairs = [
        ("GMI", format!("{} %", one(s.gmi_percent, 1))),
        ("CV", format!("{} %", one(s.cv_percent, 1))),
        ("Risk index (GRI)", gri),
        ("LBGI, HBGI", format!("{}, {}", one(s.lbgi, 1), one(s.hbgi, 1))),
    ];
    rows.extend(pairs.map(|(name, value)| vec![name.to_owned(), value]));
    page.table("", &["", "value"], &rows);
}

fn episodes(page: &mut Page, record: &Record, unit: Unit) {
    let s = &record.summary;
    let names = match unit {
        Unit::MgDl => {
            ["low, below 70", "of them below 54", "extended low", "high, above 180", "of them above 250"]
        }
        Unit::MmolL => {
            ["low, below 3.9", "of them below 3.0", "extended low", "high, above 10.0", "of them above 13.9"]
        }
    };
    let names = names.into_iter().chain(["extended high"]);
    let weeks = f64::from(s.days) / 7.0;
    let rows: Vec<Vec<String>> = names
        .zip(s.episodes)
        .map(|(name, total)| {
            let a_week =
                if weeks >= 1.0 { format!("{:.1}", f64::from(total.count) / weeks) } else { "–".into() };
            let mean = f64::from(total.seconds) / 60.0 / f64::from(total.count.max(1));
            let mean = if total.count > 0 { format!("{mean:.0} min") } else { "–".into() };
            vec![name.to_owned(), total.count.to_string(), a_week, mean]
        })
        .collect();
    page.table("", &["Episodes", "count", "a week", "mean length"], &rows);
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_day_has_96_quarters_and_what_occurs_is_seen() {
        assert_eq!(quarters_of([0.0, 0.0, 100.0, 0.0, 0.0]), [0, 0, 96, 0, 0]);
        assert_eq!(quarters_of([0.1, 0.1, 99.7, 0.0, 0.1]), [1, 1, 93, 0, 1]);
        assert_eq!(quarters_of([0.9, 3.8, 54.2, 34.6, 6.5]).iter().sum::<usize>(), 96);
    }
}
