//! The sheet to take along: one printed page.
//!
//! Read from the top: what the figures say, the days one under the other with the pattern of the day beneath on the same
//! clock, an average day counted out in quarters of an hour, and the numbers. Low is warm and drawn downwards, high is
//! cool and drawn upwards, so that no meaning rests on colour alone.

use std::fmt::Write;

use glidepath::review::{Limit, Ranges, WINDOW_MINUTES, gri_zone};

use super::between::{self, Comparison};
use super::figures::{self, Quarter};
use super::record::Record;
use super::words;
use crate::sheet::{Axis, Chart, Page, Panel, Sample, escape};
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
    let thoughts = words::thoughts(record, unit);
    page.summary(thoughts.get(..2).unwrap_or(&thoughts));
    page.markup("<div class=\"said\">");
    let patterns: Vec<_> = record.review.patterns().into_iter().flatten().collect();
    for (place, pattern) in patterns.iter().enumerate() {
        page.text(&format!("({}) Again and again {}.", place + 1, words::pattern(pattern, unit)));
    }
    if patterns.is_empty() {
        page.text(words::NO_PATTERN);
    }
    if let Some(odd) = record.counts.in_words() {
        page.text(&odd);
    }
    page.markup("</div>\n");
    let charts = vec![clock(record, if comparison.is_some() { 132.0 } else { 196.0 })];
    let days = record.days().map_or(0, |(first, last)| usize::try_from(last - first + 1).unwrap_or(0));
    for chart in &charts {
        page.chart(chart);
    }
    page.markup(&key(days, patterns.len()));
    page.markup("<div class=\"foot\"><div>");
    if let Some(ranges) = &record.summary.by_readings {
        page.markup(&average_day(ranges));
    }
    episodes(&mut page, record);
    page.markup("</div><div>");
    numbers(&mut page, record);
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
fn clock(record: &Record, room: f64) -> Chart {
    let x = Axis::clock(0.0, DAY as f64);
    let description =
        "Above, a row for each day with its lows and highs; below, percentiles of glucose by time of day.";
    let mut chart = Chart::new("clock", "The days, and the pattern they make", description, x.clone());
    chart.push(rows(record, &x, room));
    chart.push(profile(record, &x));
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
    let limit = |of: Limit| match unit {
        Unit::MgDl => i64::from(of.mg_dl()) * 100,
        Unit::MmolL => i64::from(of.tenths_mmol_l()) * 10,
    };
    if at(low) < limit(Limit::L54) {
        Level::VeryLow
    } else if at(low) < limit(Limit::L70) {
        Level::Low
    } else if at(high) > limit(Limit::L250) {
        Level::VeryHigh
    } else if at(high) > limit(Limit::L180) {
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
    let mut panel = Panel::new(height, x, Axis::labelled(0.0, count, &ticks), "");
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

fn profile(record: &Record, x: &Axis) -> Panel {
    let quarters = figures::quarters(record.review.grid());
    let highest = quarters.iter().filter_map(|q| q.p95).fold(250.0, f32::max);
    let top = ((highest / 50.0).ceil() * 50.0).max(300.0);
    // equal steps of the scale are equal ratios, so that lows have as much room as highs
    let place = |mg_dl: f32| f64::from(mg_dl.max(1.0)).ln();
    let mut limits =
        vec![(40.0, "40"), (54.0, "54"), (70.0, "70"), (120.0, "120"), (180.0, "180"), (250.0, "250")];
    limits.extend([(350.0, "350"), (450.0, "450")].iter().filter(|(at, _)| *at <= top));
    let ticks: Vec<(f64, &str)> = limits.iter().map(|(at, name)| (place(*at), *name)).collect();
    let mut panel = Panel::new(178.0, x, Axis::labelled(place(36.0), place(top), &ticks), "mg/dL");
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
    for (limit, at) in [(Limit::L70, 70.0), (Limit::L180, 180.0), (Limit::L250, 250.0), (Limit::L54, 54.0)] {
        let text = format!("{} mmol/L", words::limit(limit, Unit::MmolL));
        panel.words("note mmol", DAY as f64, place(at), &text);
    }
    for (number, pattern) in record.review.patterns().iter().flatten().enumerate() {
        let from = f64::from(pattern.start_minute) * 60.0;
        let to = from + f64::from(WINDOW_MINUTES) * 60.0;
        // each on a line of its own, lows below, highs above
        let step = 0.055 * (number + 1) as f64;
        let at = if pattern.mark.is_low() { place(36.0) + step } else { place(top) - step };
        panel.bars("recurs", [(from, to, at - 0.008, at + 0.008)]);
        panel.words("note number", to + 300.0, at - 0.02, &format!("({})", number + 1));
    }
    panel
}

fn key(days: usize, patterns: usize) -> String {
    let mut page = Page::new("");
    page.legend(&[
        (Sample::Band("verylow"), "down to the edge: below 54 mg/dL (3.0 mmol/L)"),
        (Sample::Band("low"), "half down: below 70 (3.9)"),
        (Sample::Band("inside"), "thin: in range"),
        (Sample::Band("high"), "half up: above 180 (10.0)"),
        (Sample::Band("veryhigh"), "up to the edge: above 250 (13.9)"),
        (Sample::Line("median"), "half of all values lie below"),
        (Sample::Band("inner"), "the middle half of them"),
        (Sample::Band("outer"), "nine in ten"),
    ]);
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
    let said = format!("Where nothing is drawn there are no readings.{recur}{shown}");
    format!("<div class=\"key\">{}<p>{}</p></div>\n", page.into_body(), escape(&said))
}

/// 96 signs, a quarter of an hour each, from the lowest to the highest.
fn average_day(ranges: &Ranges) -> String {
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
    let rows = [
        ("above 250 (13.9)", shares[4], "under 5 %"),
        ("181 to 250 (10.1 to 13.9)", shares[3], ""),
        ("above 180 (10.0) in all", ranges.above_180(), "under 25 %"),
        ("70 to 180 (3.9 to 10.0)", shares[2], "over 70 %"),
        ("below 70 (3.9) in all", ranges.below_70(), "under 4 %"),
        ("54 to 69 (3.0 to 3.8)", shares[1], ""),
        ("below 54 (3.0)", shares[0], "under 1 %"),
    ];
    let mut page = Page::new("");
    let cells = rows.map(|(name, share, target)| {
        vec![name.to_owned(), format!("{share:.1} %"), words::a_day(share), target.to_owned()]
    });
    page.table("", &["mg/dL (mmol/L)", "of readings", "a day", "target"], &cells);
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

fn numbers(page: &mut Page, record: &Record) {
    let s = &record.summary;
    page.markup("<h2>The numbers</h2>");
    let both = |value: Option<f32>| {
        [Unit::MgDl, Unit::MmolL].map(|unit| value.map_or_else(|| "–".into(), |v| unit.show(v)))
    };
    let concentration = |name: &str, value| {
        let [mg_dl, mmol_l] = both(value);
        vec![name.to_owned(), mg_dl, mmol_l]
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
    rows.extend(pairs.map(|(name, value)| vec![name.to_owned(), value, String::new()]));
    page.table("", &["", "mg/dL", "mmol/L"], &rows);
}

fn episodes(page: &mut Page, record: &Record) {
    let s = &record.summary;
    let names = [
        "low, below 70 (3.9)",
        "of them below 54 (3.0)",
        "extended low",
        "high, above 180 (10.0)",
        "of them above 250 (13.9)",
        "extended high",
    ];
    let weeks = f64::from(s.days) / 7.0;
    let rows: Vec<Vec<String>> = names
        .into_iter()
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
