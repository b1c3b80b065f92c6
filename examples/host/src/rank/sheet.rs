//! The ranking in pictures.

use glidepath::Reading;

use super::head::{self, OURS, Standing};
use super::lows;
use super::method::Outlook;
use super::ranking::Ranking;
use super::report::{self, Row};
use super::score::Bin;
use super::series::Series;
use super::tally;
use crate::sheet::{Axis, Chart, Figure, Page, Panel, Sample, Scale};
use crate::table::{Unit, count};

const HEIGHT: f64 = 300.0;
const DAY: i64 = 1440;

/// The sheet and its drawings.
pub fn draw(ranking: &Ranking, rows: &[Row], unit: Unit) -> (String, Vec<Chart>) {
    let mut page = Page::new(&format!("Methods ranked on {}", ranking.who));
    page.note(&format!("On {}.", ranking.on));
    let standings = standings(ranking, rows);
    let mut charts = vec![head::draw(&mut page, &standings, late(&standings, rows), unit)];
    page.summary(&summary(ranking), "");

    if let Some(chart) = noise_against_delay(rows, unit) {
        page.section("Noise against delay", &noise_and_delay(&standings, rows, unit));
        page.text(
            "Smoothing takes away noise and adds delay. Delay: how many minutes a method runs behind the truth. Noise: \
             its error once that delay is taken out. Low and to the left is best. The numbers are those of the tables, ours (dots) under their points, the others \
             (squares) above.",
        );
        page.chart(&chart);
        charts.push(chart);
    }
    if let Some((chart, legend)) = reliability(ranking) {
        page.section("Does the probability come true?", &comes_true(ranking));
        page.text(&format!(
            "The stated probability of being under {} within half an hour, and how often that came, where the sensor itself \
             reads more. On the thin line it comes true as often as it says.",
            unit.either("70", "3.9")
        ));
        page.chart(&chart);
        page.legend(&legend);
        charts.push(chart);
    }
    if let Some(series) = &ranking.example
        && let Some((chart, legend)) = example(ranking, series, unit)
    {
        page.section("A day", &lowest(series, unit));
        page.chart(&chart);
        page.legend(&legend);
        charts.push(chart);
    }
    page.section("Figures", &count(rows.len() as u64, "method"));
    for (title, note, columns) in report::parts(ranking, unit) {
        let head: Vec<&str> =
            std::iter::once("method").chain(columns.iter().map(|(name, _)| *name)).collect();
        let cells: Vec<Vec<String>> = rows
            .iter()
            .enumerate()
            .map(|(n, row)| {
                let first = format!("{}. {}", n + 1, row.method);
                std::iter::once(first).chain(columns.iter().map(|(_, cell)| cell(row))).collect()
            })
            .collect();
        page.table(title, &head, &cells);
        page.text(&note);
    }
    (page.finish(), charts)
}

fn standings<'a>(ranking: &'a Ranking, rows: &[Row]) -> Vec<Standing<'a>> {
    let all = ranking.methods.iter().zip(&ranking.tallies).zip(rows);
    all.map(|((entry, tally), row)| Standing {
        entry,
        now: row.rmse_mg_dl,
        ahead: [row.rmse_15min, row.rmse_30min, row.rmse_60min],
        warned: row.at_0_6_false_alarms_per_day.lows_caught_10min_ahead,
        curve: head::rising(lows::by_limit(&tally.watches), head::MOST),
    })
    .collect()
}

/// How late the one nearest now is.
fn late(standings: &[Standing], rows: &[Row]) -> Figure {
    let delay = |name: &str| rows.iter().find(|row| row.method == name)?.delay_min;
    let nearest = head::least(standings, |one| one.now).map(|(one, _)| one.entry.name.as_str());
    let known = nearest.and_then(|name| Some((name, delay(name)?)));
    known.map_or_else(
        || Figure::new("Late by", "not known", "nothing here says what the blood held"),
        |(name, minutes)| {
            let held =
                delay(head::HELD).map_or_else(String::new, |held| format!("; the reading {held:.1} min"));
            Figure::new("Late by", format!("{minutes:.1} min"), format!("behind the truth, {name}{held}"))
        },
    )
}

/// What the one nearest now leaves of noise, and at what delay.
fn noise_and_delay(standings: &[Standing], rows: &[Row], unit: Unit) -> String {
    let nearest = head::least(standings, |one| one.now).map(|(one, _)| one.entry.name.as_str());
    let row = nearest.and_then(|name| rows.iter().find(|row| row.method == name));
    let known = row.and_then(|row| Some((&row.method, row.noise_mg_dl?, row.delay_min?)));
    known.map_or_else(
        || "not known".to_owned(),
        |(method, noise, delay)| {
            let noise = noise / f64::from(unit.in_mg_dl());
            format!("{method}: noise {noise:.1} {}, {delay:.1} min late", unit.name())
        },
    )
}

/// What the first of those drawn states on average, and what came.
fn comes_true(ranking: &Ranking) -> String {
    let Some((n, name)) = probable(ranking).next() else { return "not known".to_owned() };
    let bins = usual(ranking, n);
    let sum = |of: fn(&Bin) -> f64| bins.clone().map(of).sum::<f64>();
    let all = sum(|bin| bin.n).max(1.0);
    let [stated, came] = [sum(|bin| bin.stated), sum(|bin| bin.true_)].map(|sum| 100.0 * sum / all);
    format!("{name}: {stated:.1} % stated, {came:.1} % came")
}

/// How low the day goes.
fn lowest(series: &Series, unit: Unit) -> String {
    lowest_minute(series).map_or_else(String::new, |minute| {
        format!("down to {}", unit.with_name(series.plasma[minute as usize]))
    })
}

fn name(ranking: &Ranking, n: usize) -> &str {
    &ranking.methods[n].name
}

fn summary(ranking: &Ranking) -> Vec<String> {
    let mut thoughts = vec![head::CURVE.to_owned(), head::OFF.to_owned()];
    if ranking.methods.iter().any(|entry| entry.told) {
        thoughts.push(head::TOLD.to_owned());
    }
    thoughts.push(
        "Late by: the delay at which a method fits the truth best. What is invented compares methods; it does not say how \
         a real sensor does on a person."
            .into(),
    );
    thoughts
}

fn noise_against_delay(rows: &[Row], unit: Unit) -> Option<Chart> {
    let scale = f64::from(unit.in_mg_dl());
    let points: Vec<(usize, f64, f64, bool)> = rows
        .iter()
        .enumerate()
        .filter_map(|(n, row)| {
            Some((n + 1, row.delay_min?, row.noise_mg_dl? / scale, row.method.starts_with(OURS)))
        })
        .collect();
    let furthest = points.iter().map(|point| point.1).reduce(f64::max)?;
    let loudest = points.iter().map(|point| point.2).reduce(f64::max)?;
    let x = Axis::linear(0.0, (furthest * 1.1).max(1.0), 6);
    let y = Axis::linear(0.0, loudest * 1.15, 5);
    let mut chart = Chart::new(
        "noise-against-delay",
        "Noise left, over minutes of delay",
        "A point for each method: how far it runs behind, and its error once that is taken out.",
        x.clone(),
    )
    .along("delay, minutes");
    let mut panel = Panel::new(HEIGHT, &x, y.clone(), &format!("noise, {}", unit.name()));
    let of = |ours: bool| points.iter().filter(move |point| point.3 == ours).map(|point| (point.1, point.2));
    panel.dots("second", of(false));
    panel.dots("first", of(true));
    // numbers that would fall on one another stand side by side
    let mut placed: Vec<(f64, f64, bool, String)> = Vec::new();
    for (n, delay, noise, ours) in &points {
        let near = placed.iter_mut().find(|(at, level, beside, _)| {
            beside == ours && (at - delay).abs() < furthest * 0.07 && (level - noise).abs() < loudest * 0.07
        });
        match near {
            Some((.., numbers)) => *numbers += &format!(", {n}"),
            None => placed.push((*delay, *noise, *ours, n.to_string())),
        }
    }
    for (at, level, numbers) in clear_of_each_other(&placed, (x.high, y.high)) {
        panel.words("note", at, level, numbers);
    }
    chart.push(panel);
    Some(chart)
}

/// Where words of points stand: ours under their points, the others above, and further off where words stand already.
/// `whole` is the width and height of the panel in its own units.
fn clear_of_each_other(placed: &[(f64, f64, bool, String)], whole: (f64, f64)) -> Vec<(f64, f64, &str)> {
    // of a letter on the narrowest panel, and of a line, as shares of the whole
    const LETTER: f64 = 0.018;
    const LINE: f64 = 0.055;
    let mut out: Vec<(f64, f64, &str)> = Vec::new();
    for (delay, noise, ours, words) in placed {
        let width = |words: &str| LETTER * whole.0 * words.chars().count() as f64;
        let at = (delay + 0.006 * whole.0).min(whole.0 - width(words)).max(0.0);
        let (mut level, step) =
            if *ours { (noise - 0.09 * whole.1, -LINE) } else { (noise + 0.04 * whole.1, LINE) };
        let taken = |level: f64| {
            out.iter().any(|(other, high, text)| {
                (high - level).abs() < 0.95 * LINE * whole.1
                    && *other < at + width(words)
                    && at < other + width(text)
            })
        };
        while taken(level) {
            level += step * whole.1;
        }
        out.push((at, level, words));
    }
    out
}

type Legend<'a> = Vec<(Sample, &'a str)>;

/// The methods whose probability is drawn: their place and name.
fn probable(ranking: &Ranking) -> impl Iterator<Item = (usize, &str)> {
    let wanted = [OURS, "best linear filter, fitted with the answers"];
    let found = wanted.into_iter().filter_map(|it| ranking.methods.iter().position(|entry| entry.name == it));
    found.filter(|n| usual(ranking, *n).next().is_some()).map(|n| (n, name(ranking, n)))
}

/// The tenths of stated probability of a method that have more than a handful: less says nothing.
fn usual(ranking: &Ranking, n: usize) -> impl Iterator<Item = &Bin> + Clone {
    ranking.tallies[n].score.bins.iter().filter(|bin| bin.n >= 30.0)
}

fn reliability(ranking: &Ranking) -> Option<(Chart, Legend<'_>)> {
    let x = Axis::labelled(
        0.0,
        1.0,
        &[(0.0, "0"), (0.2, "20"), (0.4, "40"), (0.6, "60"), (0.8, "80"), (1.0, "100 %")],
    );
    let mut chart = Chart::new(
        "reliability",
        "Low within half an hour: how often it came, over how probable it was said to be",
        "For each tenth of stated probability, the share that came true.",
        x.clone(),
    )
    .along("probability stated, %");
    let ticks = [(0.0, "0"), (0.25, "25"), (0.5, "50"), (0.75, "75"), (1.0, "100")];
    let mut panel = Panel::new(HEIGHT, &x, Axis::labelled(0.0, 1.0, &ticks), "came true, %");
    panel.line("edge", [(0.0, 0.0), (1.0, 1.0)], 2.0);
    let mut legend = Legend::new();
    for (n, name) in probable(ranking) {
        let class = if name == OURS { "first" } else { "second" };
        let bins = usual(ranking, n);
        let points: Vec<(f64, f64)> = bins.map(|bin| (bin.stated / bin.n, bin.true_ / bin.n)).collect();
        panel.line(class, points.iter().copied(), 2.0);
        panel.dots(class, points);
        legend.push((Sample::Line(class), name));
    }
    chart.push(panel);
    (!legend.is_empty()).then_some((chart, legend))
}

/// Seconds of the day, the reading then and what is made of it.
type Moment<'a> = (f64, &'a Reading, &'a Outlook);

/// The probability of a low over the day.
fn chance(inside: &[Moment], x: &Axis, gap: f64) -> Panel {
    let y = Axis::labelled(0.0, 1.0, &[(0.0, "0"), (1.0, "100")]);
    let mut panel = Panel::new(50.0, x, y, "low within 30 min, %");
    let known = inside.iter().filter_map(|(at, _, outlook)| Some((*at, f64::from(outlook.low_probability?))));
    panel.area("chance", known, gap);
    panel
}

/// The minute of the lowest glucose, after the first day.
fn lowest_minute(series: &Series) -> Option<i64> {
    (DAY..series.plasma.len() as i64)
        .filter(|minute| !series.plasma[*minute as usize].is_nan())
        .min_by(|a, b| series.plasma[*a as usize].total_cmp(&series.plasma[*b as usize]))
}

/// The day of a series with the lowest glucose, as ours sees it.
fn example<'a>(ranking: &'a Ranking, series: &Series, unit: Unit) -> Option<(Chart, Legend<'a>)> {
    let entry = ranking.methods.iter().find(|entry| entry.name == OURS).or_else(|| ranking.methods.last())?;
    let from = lowest_minute(series)? / DAY * DAY;
    let outlooks = tally::outlooks(entry, series);
    let inside: Vec<Moment> = series
        .readings
        .iter()
        .zip(&outlooks)
        .map(|(reading, outlook)| (series.minute(reading), reading, outlook))
        .filter(|(minute, ..)| (from..from + DAY).contains(minute))
        .map(|(minute, reading, outlook)| ((minute - from) as f64 * 60.0, reading, outlook))
        .collect();
    let x = Axis::clock(0.0, 86_400.0);
    let mut chart = Chart::new(
        "example-day",
        "The day with the lowest glucose of the first series",
        "Plasma glucose, what the sensor showed, and what was made of it with its uncertainty.",
        x.clone(),
    );
    let ticks = match unit {
        Unit::MgDl => [(70.0, "70"), (180.0, "180"), (250.0, "250")],
        Unit::MmolL => [(70.0, "3.9"), (180.0, "10.0"), (250.0, "13.9")],
    };
    let y = Axis::labelled(30.0, 420.0, &ticks);
    let mut panel = Panel::new(260.0, &x, y, unit.name()).reading(Scale::Glucose(unit));
    panel.zone("range", 70.0, 180.0);
    panel.zone("low", 30.0, 70.0);
    let gap = 1500.0;
    let band: Vec<(f64, f64, f64)> = inside
        .iter()
        .filter_map(|(at, _, outlook)| {
            let (now, sd) = (f64::from(outlook.now), f64::from(outlook.now_sd?));
            Some((*at, now - 2.0 * sd, now + 2.0 * sd))
        })
        .collect();
    panel.band("plasma", &band, gap);
    panel.dots("sensor", inside.iter().map(|(at, reading, _)| (*at, f64::from(reading.glucose().mg_dl()))));
    let truth = (0..DAY).step_by(5).filter_map(|minute| {
        let value = *series.plasma.get((from + minute) as usize)?;
        (!value.is_nan()).then_some((minute as f64 * 60.0, f64::from(value)))
    });
    if !series.truth_is_sensor {
        panel.line("truth", truth, gap);
    }
    panel.line("plasma", inside.iter().map(|(at, _, outlook)| (*at, f64::from(outlook.now))), gap);
    chart.push(panel);
    chart.push(chance(&inside, &x, gap));
    let mut legend = vec![(Sample::Dots("sensor"), "the sensor")];
    if !series.truth_is_sensor {
        legend.push((Sample::Line("truth"), "plasma glucose"));
    }
    legend.push((Sample::Line("plasma"), entry.name.as_str()));
    legend.push((Sample::Band("plasma"), "two standard deviations around it"));
    Some((chart, legend))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rank::method::Entry;

    #[test]
    fn words_of_points_close_by_do_not_cross() {
        let placed: Vec<(f64, f64, bool, String)> = (0..12_u32)
            .map(|n| {
                (10.0 + 0.3 * f64::from(n), 6.0 + 0.05 * f64::from(n), n % 2 == 0, format!("{n}, {}", n + 20))
            })
            .collect();
        let whole = (14.0, 12.0);
        let words = clear_of_each_other(&placed, whole);
        let width = |text: &str| 0.0175 * whole.0 * text.chars().count() as f64;
        for (n, (x, y, text)) in words.iter().enumerate() {
            assert!(*x >= 0.0 && x + width(text) <= whole.0, "{text} at {x}");
            for (other_x, other_y, other) in &words[..n] {
                let beside = x + width(text) <= *other_x || other_x + width(other) <= *x;
                assert!(beside || (y - other_y).abs() >= 0.05 * whole.1, "{text} on {other}");
            }
        }
        // one alone stands next to its point: ours under, another above
        let alone = |ours| clear_of_each_other(&[(5.0, 6.0, ours, "1".to_owned())], whole)[0].1;
        assert!((4.5..6.0).contains(&alone(true)) && (6.0..6.8).contains(&alone(false)));
    }

    #[test]
    fn late_is_the_one_that_is_nearest_now() {
        let entry = |name: &str| {
            Entry::new(name, 70.0, || |reading: &Reading| Outlook::held(reading.glucose().mg_dl(), 0.0))
        };
        let entries = [entry(OURS), entry("mine"), entry(head::HELD), entry("knows all").told()];
        let now = [11.0, 9.0, 10.0, 5.0];
        let ahead = [[20.0; 3], [30.0; 3], [25.0; 3], [10.0; 3]].map(|errors| errors.map(Some));
        let standings: Vec<Standing> = entries
            .iter()
            .zip(now.into_iter().zip(ahead))
            .map(|(entry, (now, ahead))| Standing {
                entry,
                now: Some(now),
                ahead,
                warned: None,
                curve: Vec::new(),
            })
            .collect();
        let row = |entry: &Entry, delay: f64| Row {
            method: entry.name.clone(),
            delay_min: Some(delay),
            ..Row::default()
        };
        let mut rows: Vec<Row> =
            entries.iter().zip([5.0, 3.0, 8.0, 1.0]).map(|(entry, delay)| row(entry, delay)).collect();
        let said = late(&standings, &rows);
        assert_eq!(
            (said.value.as_str(), said.note.as_str()),
            ("3.0 min", "behind the truth, mine; the reading 8.0 min")
        );
        rows[1].delay_min = None;
        assert_eq!(late(&standings, &rows).value, "not known");
    }
}
