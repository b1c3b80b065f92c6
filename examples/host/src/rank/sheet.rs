//! The ranking in pictures.

use glidepath::Reading;

use super::Ranking;
use super::lows;
use super::method::Outlook;
use super::report::{self, Row};
use super::series::Series;
use super::tally;
use crate::sheet::{Axis, Chart, Figure, Page, Panel, Sample, Scale};
use crate::table::Unit;

/// Drawn first; the others are what it is held against.
const OURS: &str = "glidepath";
const HEIGHT: f64 = 300.0;
const DAY: i64 = 1440;

/// The sheet and its drawings.
pub fn draw(ranking: &Ranking, rows: &[Row], unit: Unit) -> (String, Vec<Chart>) {
    let mut page = Page::new("How near each method comes");
    let chart = alarms(ranking);
    page.head(&figures(rows, unit), Some(&chart));
    page.legend(
        &drawn(ranking).iter().map(|(class, n)| (Sample::Line(class), name(ranking, *n))).collect::<Vec<_>>(),
    );
    page.text(
        "The share of lows with an alarm at least ten minutes ahead, over the false alarms a day that it costs: the best \
         that any limit gives for so many or fewer.",
    );
    let mut charts = vec![chart];
    page.summary(&summary(ranking, rows, unit));

    if let Some(chart) = noise_against_delay(rows, unit) {
        page.section("Noise against delay");
        page.text(
            "Smoothing takes away noise and adds delay. Delay: how many minutes a method runs behind the truth. Noise: \
             its error once that delay is taken out. Low and to the left is best. The numbers are those of the tables, ours (dots) under their points, the others \
             (squares) above.",
        );
        page.chart(&chart);
        charts.push(chart);
    }
    if let Some((chart, legend)) = reliability(ranking) {
        page.section("Does the probability come true?");
        page.text(
            "The stated probability of being under 70 mg/dL within half an hour, and how often that came, where the sensor \
             itself reads 70 or more. On the thin \
             line it comes true as often as it says.",
        );
        page.chart(&chart);
        page.legend(&legend);
        charts.push(chart);
    }
    if let Some(series) = &ranking.example
        && let Some((chart, legend)) = example(ranking, series, unit)
    {
        page.section("A day");
        page.chart(&chart);
        page.legend(&legend);
        charts.push(chart);
    }
    page.section("Figures");
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

/// What ours does, by its row of the tables.
fn figures(rows: &[Row], unit: Unit) -> Vec<Figure> {
    let Some(row) = rows.iter().find(|row| row.method == OURS).or_else(|| rows.first()) else {
        return Vec::new();
    };
    let glucose = |value: Option<f64>| {
        value.map_or_else(|| "–".into(), |v| format!("{:.1} {}", v / f64::from(unit.in_mg_dl()), unit.name()))
    };
    let share = |value: Option<f64>| value.map_or_else(|| "–".into(), |v| format!("{:.0} %", 100.0 * v));
    let minutes = row.delay_min.map_or_else(|| "–".into(), |v| format!("{v:.1} min"));
    vec![
        Figure::new("Now", glucose(row.rmse_mg_dl), "from the truth (root mean square error)"),
        Figure::new("Behind", minutes, "the truth (delay)"),
        Figure::new("In half an hour", glucose(row.rmse_30min), "from what came (root mean square error)"),
        Figure::new("Lows foretold", share(row.lows_caught_10min_ahead), "ten minutes ahead"),
        Figure::new("Method", row.method.clone(), format!("one of {} in the tables below", rows.len())),
    ]
}

fn name(ranking: &Ranking, n: usize) -> &str {
    &ranking.methods[n].name
}

fn summary(ranking: &Ranking, rows: &[Row], unit: Unit) -> Vec<String> {
    let mut thoughts = vec![format!("On {}.", ranking.on)];
    let best = |value: fn(&Row) -> Option<f64>| {
        let known = rows.iter().filter(|row| !row.method.contains("answers"));
        known.filter_map(|row| Some((value(row)?, row))).min_by(|a, b| a.0.total_cmp(&b.0))
    };
    let shown = |value: f64| format!("{:.1} {}", value / f64::from(unit.in_mg_dl()), unit.name());
    if let Some((error, row)) = best(|row| row.rmse_mg_dl) {
        thoughts.push(format!("Nearest to plasma glucose now: {}, {}.", row.method, shown(error)));
    }
    if let Some((error, row)) = best(|row| row.rmse_30min) {
        thoughts.push(format!("Nearest in half an hour: {}, {}.", row.method, shown(error)));
    }
    if let Some((missed, row)) = best(|row| Some(-row.at_0_6_false_alarms_per_day.lows_caught_10min_ahead?)) {
        thoughts.push(format!(
            "Most lows foretold ten minutes ahead at 0.6 false alarms a day: {}, {:.0} %.",
            row.method,
            -100.0 * missed
        ));
    }
    thoughts.push(
        "What is invented compares methods; it does not say how a real sensor does on a person.".into(),
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
    let mut panel = Panel::new(HEIGHT, &x, y, &format!("noise, {}", unit.name()));
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
    for (delay, noise, ours, numbers) in &placed {
        // ours under their points, the others above
        let off = if *ours { -0.1 } else { 0.05 };
        panel.words("note", delay + furthest * 0.006, noise + loudest * off, numbers);
    }
    chart.push(panel);
    Some(chart)
}

/// Those drawn as lines: ours, the best of the usual at 0.6 false alarms a day, and the plainest.
fn drawn(ranking: &Ranking) -> Vec<(&'static str, usize)> {
    let at = |n: &usize| {
        let (_, outcome) = lows::at_rate(&ranking.tallies[*n].watches, 0.6);
        outcome.caught_10
    };
    let all = 0..ranking.methods.len();
    let ours = all.clone().find(|n| name(ranking, *n) == OURS);
    let plain = all.clone().find(|n| name(ranking, *n) == "raw, held");
    let usual = |n: &usize| {
        !name(ranking, *n).starts_with(OURS) && !name(ranking, *n).contains("answers") && Some(*n) != plain
    };
    let best = all.filter(usual).max_by_key(at);
    [("first", ours), ("second", best), ("third", plain)]
        .into_iter()
        .filter_map(|(class, n)| Some((class, n?)))
        .collect()
}

fn alarms(ranking: &Ranking) -> Chart {
    let x = Axis::linear(0.0, 2.0, 6);
    let mut chart = Chart::new(
        "lows-against-false-alarms",
        "Lows foretold ten minutes ahead, over false alarms a day",
        "For three methods: the share of lows with an alarm ten minutes ahead, over false alarms a day.",
        x.clone(),
    )
    .along("false alarms a day");
    let ticks = [(0.0, "0"), (0.25, "25"), (0.5, "50"), (0.75, "75"), (1.0, "100")];
    let y = Axis::labelled(0.0, 1.0, &ticks);
    let mut panel = Panel::new(HEIGHT, &x, y, "lows foretold ten minutes ahead, %");
    for (class, n) in drawn(ranking) {
        panel.line(class, lows::frontier(&ranking.tallies[n].watches, 2.0), f64::INFINITY);
    }
    chart.push(panel);
    chart
}

type Legend<'a> = Vec<(Sample, &'a str)>;

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
    let classes = [("first", OURS), ("second", "best linear filter, fitted with the answers")];
    let mut legend = Legend::new();
    for (class, wanted) in classes {
        let Some(n) = ranking.methods.iter().position(|entry| entry.name == wanted) else { continue };
        // a handful says nothing
        let bins = ranking.tallies[n].score.bins.iter().filter(|bin| bin.n >= 30.0);
        let points: Vec<(f64, f64)> = bins.map(|bin| (bin.stated / bin.n, bin.true_ / bin.n)).collect();
        if !points.is_empty() {
            panel.line(class, points.iter().copied(), 2.0);
            panel.dots(class, points);
            legend.push((Sample::Line(class), name(ranking, n)));
        }
    }
    chart.push(panel);
    (!legend.is_empty()).then_some((chart, legend))
}

/// The day of a series with the lowest glucose, as ours sees it.
fn example<'a>(ranking: &'a Ranking, series: &Series, unit: Unit) -> Option<(Chart, Legend<'a>)> {
    let entry = ranking.methods.iter().find(|entry| entry.name == OURS).or_else(|| ranking.methods.last())?;
    let lowest = (DAY..series.plasma.len() as i64)
        .filter(|minute| !series.plasma[*minute as usize].is_nan())
        .min_by(|a, b| series.plasma[*a as usize].total_cmp(&series.plasma[*b as usize]))?;
    let from = lowest / DAY * DAY;
    let outlooks = tally::outlooks(entry, series);
    let inside: Vec<(f64, &Reading, &Outlook)> = series
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
    let ticks = [(0.0, "0"), (1.0, "100")];
    let mut chance = Panel::new(50.0, &x, Axis::labelled(0.0, 1.0, &ticks), "low within 30 min, %");
    chance.area(
        "chance",
        inside.iter().filter_map(|(at, _, outlook)| Some((*at, f64::from(outlook.low_probability?)))),
        gap,
    );
    chart.push(chance);
    let mut legend = vec![(Sample::Dots("sensor"), "the sensor")];
    if !series.truth_is_sensor {
        legend.push((Sample::Line("truth"), "plasma glucose"));
    }
    legend.push((Sample::Line("plasma"), entry.name.as_str()));
    legend.push((Sample::Band("plasma"), "two standard deviations around it"));
    Some((chart, legend))
}
