//! Whether simulated people are like recorded ones: the same statistics of both, side by side.
//!
//! All of what the sensor read, on a grid of five minutes. Plain methods are compared as they were on recorded people:
//! holding the reading, the straight line through the last four readings, and the best linear combination of twelve
//! (fitted on one half of a trace, judged on the other).

use glidepath::simulate::{Faults, PersonConfig, SensorModel};
use glidepath_replay::WallClock as _;
use rayon::prelude::*;
use serde::Serialize;

use super::FIRST_TEST_SEED;
use super::recorded::tables::Table;
use super::series::{self, Setting};
use crate::median::median;
use crate::people::least::{dot, squares};
use crate::people::{Person, Set};
use crate::table::{Clock, Unit};

/// What recorded people together are called, and simulated ones of either kind.
const RECORDED: &str = "recorded";
const LIFELIKE: &str = "simulated, lifelike";
const SMOOTH: &str = "simulated, smooth";

/// A step of the grid, seconds.
const STEP_S: u32 = 300;
const A_DAY: f64 = 288.0;
/// Readings that the best linear combination is of.
const TERMS: usize = 12;
const AHEAD_MIN: [usize; 3] = [15, 30, 60];
const LAGS_MIN: [usize; 4] = [5, 15, 30, 60];
/// Where glucose is low, mg/dL, and how many readings above end a low.
const LOW: f64 = 70.0;
const OVER: usize = 3;
/// A step of the glucose larger than this is a jump, mg/dL.
const JUMP: f64 = 25.0;
/// The night in which the library suspects pressure on the sensor, from this hour to that one.
const NIGHT: (i64, i64) = (23, 7);

/// A statistic of one trace; `None` where the trace has too little for it.
type Figures = Vec<(String, Option<f64>)>;

/// A statistic over traces: its median, and what four of five traces lie between.
#[derive(Clone, Serialize)]
pub struct Spread {
    pub statistic: String,
    /// 10th percentile, median, 90th; null with no trace to tell it.
    pub percentiles: Option<[f64; 3]>,
}

/// The statistics of some people.
#[derive(Clone, Serialize)]
pub struct Likeness {
    pub people: String,
    pub statistics: Vec<Spread>,
}

/// The statistics of each set, of all of them, and of as many as `people` simulated people of both kinds over `days`.
pub fn beside(sets: &[Set], people: u32, days: u32) -> Vec<Likeness> {
    let mut all: Vec<Likeness> = sets.iter().map(|set| of(&set.name, &set.people)).collect();
    let recorded: Vec<Person> = sets.iter().flat_map(|set| set.people.clone()).collect();
    all.push(of(RECORDED, &recorded));
    let worlds = [
        (LIFELIKE, PersonConfig::LIFELIKE, SensorModel::LIFELIKE.with_faults(Faults::LIFELIKE)),
        (SMOOTH, PersonConfig::DEFAULT, SensorModel::CORRELATED.with_faults(Faults::USUAL)),
    ];
    for (name, person, sensor) in worlds {
        let setting = Setting { person, sensor, days, interval: STEP_S / 60, fingersticks_per_day: 0 };
        let seeds = 0..u64::from(people);
        let people: Vec<Person> =
            seeds.into_par_iter().map(|n| simulated(FIRST_TEST_SEED + n, &setting)).collect();
        all.push(of(name, &people));
    }
    all
}

fn simulated(seed: u64, setting: &Setting) -> Person {
    Person {
        set: String::new(),
        name: seed.to_string(),
        readings: series::person(seed, setting).readings,
        references: Vec::new(),
        clock: Clock::default(),
    }
}

/// A statistic's name in another unit, and what its values are to be divided by; limits are the published pairs.
fn in_unit(name: &str, unit: Unit) -> (String, f64) {
    const PAIRS: [(&str, &str); 5] =
        [("54", "3.0"), ("70", "3.9"), ("180", "10.0"), ("250", "13.9"), ("25", "1.4")];
    if unit == Unit::MgDl {
        return (name.to_owned(), 1.0);
    }
    let is_level = ["mg/dL", "mg/dL/min"].iter().any(|of| name.ends_with(&format!(", {of}")));
    let limits = PAIRS.iter().fold(name.to_owned(), |name, (mg_dl, other)| {
        name.replace(&format!(" {mg_dl} mg/dL"), &format!(" {other} {}", unit.name()))
    });
    (limits.replace("mg/dL", unit.name()), if is_level { f64::from(unit.in_mg_dl()) } else { 1.0 })
}

/// All recorded people beside simulated ones.
pub fn table(all: &[Likeness], unit: Unit) -> Table {
    let find = |name: &str| all.iter().find(|one| one.people == name);
    let shown = |spread: Option<&Spread>, scale: f64| {
        spread.and_then(|spread| spread.percentiles).map_or_else(
            || "-".to_owned(),
            |percentiles| {
                let [low, middle, high] = percentiles.map(|value| value / scale);
                let digits = if middle.abs() < 10.0 { 2 } else { 0 };
                format!("{middle:.digits$} ({low:.digits$} to {high:.digits$})")
            },
        )
    };
    let columns: Vec<&Likeness> = [RECORDED, LIFELIKE, SMOOTH].into_iter().filter_map(find).collect();
    let mut head = vec!["statistic".to_owned()];
    head.extend(columns.iter().map(|one| one.people.clone()));
    let names = columns.first().map_or(&[][..], |one| &one.statistics[..]);
    let rows = names.iter().enumerate().map(|(n, spread)| {
        let (name, scale) = in_unit(&spread.statistic, unit);
        std::iter::once(name).chain(columns.iter().map(|one| shown(one.statistics.get(n), scale))).collect()
    });
    let caption = "What readings are like, sensors that report every 5 min: median over traces (10th to 90th percentile); \
                   simulated people are invented";
    (caption.to_owned(), head, rows.collect())
}

/// The statistics of `people`, called `name`.
fn of(name: &str, people: &[Person]) -> Likeness {
    let all: Vec<Figures> =
        people.par_iter().map(figures).collect::<Vec<_>>().into_iter().flatten().collect();
    let statistics = all.first().map_or_else(Vec::new, |first| {
        first
            .iter()
            .enumerate()
            .map(|(n, (statistic, _))| {
                let mut values: Vec<f64> = all.iter().filter_map(|one| one[n].1).collect();
                let percentiles = [0.1, 0.5, 0.9].map(|share| quantile(&mut values, share));
                let percentiles = match percentiles {
                    [Some(low), Some(middle), Some(high)] => Some([low, middle, high]),
                    _ => None,
                };
                Spread { statistic: statistic.clone(), percentiles }
            })
            .collect()
    });
    Likeness { people: name.to_owned(), statistics }
}

/// The statistics of one trace, unless its sensor reports at other intervals or for less than two days.
fn figures(person: &Person) -> Option<Figures> {
    let grid = grid(person)?;
    let known: Vec<f64> = grid.iter().flatten().copied().collect();
    let days = known.len() as f64 / A_DAY;
    if days < 2.0 {
        return None;
    }
    let mut all = Figures::new();
    let mut add = |name: &str, value: Option<f64>| all.push((name.to_owned(), value));
    let mean = average(&known);
    add("mean, mg/dL", mean);
    add("standard deviation, mg/dL", spread(&known));
    let share = |test: &dyn Fn(f64) -> bool| {
        Some(100.0 * known.iter().filter(|&&value| test(value)).count() as f64 / known.len() as f64)
    };
    add("below 54 mg/dL, %", share(&|value| value < 54.0));
    add("below 70 mg/dL, %", share(&|value| value < 70.0));
    add("above 180 mg/dL, %", share(&|value| value > 180.0));
    add("above 250 mg/dL, %", share(&|value| value > 250.0));

    let steps: Vec<Option<f64>> =
        grid.windows(2).map(|pair| Some((pair[1]? - pair[0]?) / f64::from(STEP_S / 60))).collect();
    let mut rates: Vec<f64> = steps.iter().flatten().copied().collect();
    for percent in [1.0, 5.0, 95.0, 99.0] {
        let name = format!("rate of change, {percent:.0}th percentile, mg/dL/min").replace("1th", "1st");
        add(&name, quantile(&mut rates, percent / 100.0));
    }
    for lag in LAGS_MIN {
        let shift = lag * 60 / STEP_S as usize;
        let pairs: Vec<(f64, f64)> =
            steps.iter().zip(steps.iter().skip(shift)).filter_map(|(a, b)| Some(((*a)?, (*b)?))).collect();
        add(&format!("correlation of the rate with that {lag} min later"), correlation(&pairs));
    }
    let bends: Vec<f64> =
        grid.windows(3).filter_map(|three| Some(three[2]? - 2.0 * three[1]? + three[0]?)).collect();
    add("noise, from second differences, mg/dL", spread(&bends).map(|sd| sd / 6.0_f64.sqrt()));

    for minutes in AHEAD_MIN {
        let errors = plain(&grid, minutes);
        add(&format!("holding the reading {minutes} min, mg/dL"), errors.map(|[hold, ..]| hold));
        add(&format!("straight line over holding, {minutes} min"), errors.map(|[hold, line, _]| line / hold));
        add(&format!("best linear over holding, {minutes} min"), errors.map(|[hold, _, best]| best / hold));
    }

    let mut lows = lows(&grid);
    add("lows of 15 min or more, a week", Some(7.0 * lows.len() as f64 / days));
    add("their length, median, min", quantile(&mut lows, 0.5));
    add("their length, 90th percentile, min", quantile(&mut lows, 0.9));
    let jumps = steps.iter().flatten().filter(|rate| rate.abs() * f64::from(STEP_S / 60) > JUMP).count();
    add("steps of more than 25 mg/dL, a week", Some(7.0 * jumps as f64 / days));
    add("dips of the night as by pressure, a week", Some(7.0 * dips(person, &grid) as f64 / days));
    let gaps =
        person.readings.windows(2).filter(|pair| pair[1].at().since(pair[0].at()).secs() > 480).count();
    add("gaps, a day", Some(gaps as f64 / days));
    add("time without readings, %", Some(100.0 * (1.0 - known.len() as f64 / grid.len() as f64)));
    Some(all)
}

/// The readings on a grid of five minutes, each at its nearest place; none if the sensor reports otherwise.
fn grid(person: &Person) -> Option<Vec<Option<f64>>> {
    let (first, last) = (person.readings.first()?, person.readings.last()?);
    let steps: Vec<f64> =
        person.readings.windows(2).map(|pair| f64::from(pair[1].at().since(pair[0].at()).secs())).collect();
    let usual = median(steps)?;
    if (usual - f64::from(STEP_S)).abs() > 60.0 {
        return None;
    }
    let start = first.at().secs();
    let place = |secs: u32| ((secs - start + STEP_S / 2) / STEP_S) as usize;
    let mut grid = vec![None; place(last.at().secs()) + 1];
    for reading in &person.readings {
        grid[place(reading.at().secs())] = Some(f64::from(reading.glucose().mg_dl()));
    }
    Some(grid)
}

/// Root mean square errors of holding, of the straight line and of the best linear combination.
fn plain(grid: &[Option<f64>], minutes: usize) -> Option<[f64; 3]> {
    let ahead = minutes * 60 / STEP_S as usize;
    let rows: Vec<([f64; TERMS + 1], f64)> = grid
        .windows(TERMS + ahead)
        .filter_map(|window| {
            let came = window.last().copied().flatten()?;
            let mut terms = [1.0; TERMS + 1];
            for (term, value) in terms.iter_mut().zip(&window[..TERMS]) {
                *term = (*value)?;
            }
            Some((terms, came))
        })
        .collect();
    let halves = rows.split_at(rows.len() / 2);
    if halves.0.len() < 10 * TERMS {
        return None;
    }
    let best = |fitted: &[([f64; TERMS + 1], f64)], judged: &[([f64; TERMS + 1], f64)]| {
        let weights = squares(&[fitted.to_vec()]);
        judged.iter().map(|(terms, came)| (dot(terms, &weights) - came).powi(2)).sum::<f64>()
    };
    let best = best(halves.0, halves.1) + best(halves.1, halves.0);
    let (mut hold, mut line) = (0.0, 0.0);
    for (terms, came) in &rows {
        let [a, b, c, d] = [terms[TERMS - 4], terms[TERMS - 3], terms[TERMS - 2], terms[TERMS - 1]];
        // least squares through four equally spaced values: by how much a step rises
        let slope = (3.0 * (d - a) + (c - b)) / 10.0;
        hold += (d - came).powi(2);
        line += ((a + b + c + d) / 4.0 + slope * (1.5 + ahead as f64) - came).powi(2);
    }
    let root = |sum: f64| (sum / rows.len() as f64).sqrt();
    Some([root(hold), root(line), root(best)])
}

/// How long each low lasted, minutes: from the first reading below to the last before three at or above, for those of a
/// quarter of an hour or more.
fn lows(grid: &[Option<f64>]) -> Vec<f64> {
    let mut lengths = Vec::new();
    let mut low: Option<(usize, usize)> = None;
    let mut over = 0;
    for (n, value) in grid.iter().enumerate() {
        let Some(value) = value else { continue };
        if *value < LOW {
            low = Some((low.map_or(n, |(start, _)| start), n));
            over = 0;
        } else if let Some((start, last)) = low {
            over += 1;
            if over == OVER {
                lengths.push(f64::from(STEP_S / 60) * (last + 1 - start) as f64);
                low = None;
            }
        }
    }
    lengths.retain(|minutes| *minutes >= 15.0);
    lengths
}

/// Falls by 22 mg/dL or more within a quarter of an hour from a steady level in the night, made good within the hour.
fn dips(person: &Person, grid: &[Option<f64>]) -> usize {
    let start = person.readings.first().map_or(0, |first| i64::from(first.at().secs()));
    let (mut found, mut n) = (0, 3);
    while n < grid.len() {
        let hour = person.clock.hour(start + n as i64 * i64::from(STEP_S));
        let night = hour >= NIGHT.0 || hour < NIGHT.1;
        let dip = || {
            let before = [grid[n - 3]?, grid[n - 2]?, grid[n - 1]?];
            let most = before.into_iter().fold(f64::MIN, f64::max);
            let least = before.into_iter().fold(f64::MAX, f64::min);
            let after = grid.iter().skip(n + 1).take(13).flatten().copied().fold(f64::MIN, f64::max);
            let back = after >= before.iter().sum::<f64>() / 3.0 - 8.0;
            (most - least < 10.0 && most - grid[n]? >= 22.0 && back).then_some(())
        };
        if night && dip().is_some() {
            found += 1;
            n += 12;
        }
        n += 1;
    }
    found
}

fn quantile(values: &mut [f64], share: f64) -> Option<f64> {
    (!values.is_empty()).then(|| crate::people::least::quantile(values, share))
}

fn average(values: &[f64]) -> Option<f64> {
    (!values.is_empty()).then(|| values.iter().sum::<f64>() / values.len() as f64)
}

fn spread(values: &[f64]) -> Option<f64> {
    let mean = average(values)?;
    Some((values.iter().map(|value| (value - mean).powi(2)).sum::<f64>() / values.len() as f64).sqrt())
}

fn correlation(pairs: &[(f64, f64)]) -> Option<f64> {
    let (a, b): (Vec<f64>, Vec<f64>) = pairs.iter().copied().unzip();
    let (mean_a, mean_b) = (average(&a)?, average(&b)?);
    let product = pairs.iter().map(|(a, b)| (a - mean_a) * (b - mean_b)).sum::<f64>() / pairs.len() as f64;
    Some(product / (spread(&a)? * spread(&b)?)).filter(|r| r.is_finite())
}

#[cfg(test)]
mod tests {
    use super::*;
    use glidepath::{Glucose, Instant, Reading};

    /// A trace of three days from midnight, a reading every five minutes with the glucose that `level` gives for its
    /// number, if any.
    fn trace(level: impl Fn(usize) -> Option<f32>) -> Person {
        let readings = (0..864).filter_map(|n| {
            let glucose = Glucose::from_mg_dl(level(n)?).unwrap();
            Some(Reading::new(Instant::from_secs(300 * n as u32), glucose))
        });
        Person {
            set: String::new(),
            name: String::new(),
            readings: readings.collect(),
            references: Vec::new(),
            clock: Clock::default(),
        }
    }

    fn figure(person: &Person, name: &str) -> Option<f64> {
        let all = figures(person).expect("long enough");
        all.into_iter().find(|(statistic, _)| statistic.starts_with(name)).expect("there is one").1
    }

    #[test]
    fn a_ramp_is_foretold_by_a_line_and_missed_by_holding() {
        // up and down by 1 mg/dL a minute, half a day each way: turns are few
        let ramp = trace(|n| Some(50.0 + 5.0 * (n % 288).min(288 - n % 288) as f32 / 2.0));
        let hold = figure(&ramp, "holding the reading 30 min").unwrap();
        assert!((14.0..15.0).contains(&hold), "{hold}");
        assert!(figure(&ramp, "straight line over holding, 30 min").unwrap() < 0.35);
        assert!(figure(&ramp, "correlation of the rate with that 5 min later").unwrap() > 0.95);
        assert!(figure(&ramp, "noise").unwrap() < 0.2);
    }

    #[test]
    fn zigzag_has_opposite_neighbours_and_noise() {
        let zigzag = trace(|n| Some(if n % 2 == 0 { 100.0 } else { 110.0 }));
        assert!(
            (figure(&zigzag, "correlation of the rate with that 5 min later").unwrap() + 1.0).abs() < 1e-6
        );
        assert!(
            (figure(&zigzag, "correlation of the rate with that 30 min later").unwrap() - 1.0).abs() < 1e-6
        );
        // second differences of 20, as those of noise of 20 / sqrt 6
        assert!((figure(&zigzag, "noise").unwrap() - 20.0 / 6.0_f64.sqrt()).abs() < 0.01);
        assert_eq!(figure(&zigzag, "rate of change, 99th"), Some(2.0));
        assert_eq!(figure(&zigzag, "rate of change, 1st"), Some(-2.0));
    }

    #[test]
    fn lows_jumps_and_gaps_are_counted() {
        // each day one low of 25 min, one of 10 min, a gap of an hour
        let lows = trace(|n| match n % 288 {
            100..105 | 200..202 => Some(60.0),
            150..162 => None,
            _ => Some(100.0),
        });
        let days = (864.0 - 36.0) / 288.0;
        assert!((figure(&lows, "lows").unwrap() - 21.0 / days).abs() < 1e-9);
        assert_eq!(figure(&lows, "their length, median"), Some(25.0));
        assert!((figure(&lows, "steps of more").unwrap() - 7.0 * 12.0 / days).abs() < 1e-9);
        assert!((figure(&lows, "gaps").unwrap() - 3.0 / days).abs() < 1e-9);
        assert!((figure(&lows, "time without").unwrap() - 100.0 * 36.0 / 864.0).abs() < 1e-9);
        assert!((figure(&lows, "below 70").unwrap() - 100.0 * 21.0 / 828.0).abs() < 1e-9);
        assert_eq!(figure(&lows, "below 54"), Some(0.0));
        assert_eq!(figure(&lows, "dips of the night"), Some(0.0), "by day");
    }

    #[test]
    fn a_dip_of_the_night_is_one_that_comes_back() {
        // number 24 is two in the morning
        let dip = trace(|n| Some(if (24..30).contains(&n) { 90.0 } else { 120.0 }));
        assert!((figure(&dip, "dips of the night").unwrap() - 7.0 / 3.0).abs() < 1e-9);
        let fall = trace(|n| Some(if n >= 24 { 90.0 } else { 120.0 }));
        assert_eq!(figure(&fall, "dips of the night"), Some(0.0));
        let by_day = trace(|n| Some(if (150..156).contains(&n) { 90.0 } else { 120.0 }));
        assert_eq!(figure(&by_day, "dips of the night"), Some(0.0));
    }

    #[test]
    fn other_intervals_and_short_traces_are_left_out() {
        assert!(figures(&trace(|n| (n % 3 == 0).then_some(100.0))).is_none());
        assert!(figures(&trace(|n| (n < 300).then_some(100.0))).is_none());
    }

    #[test]
    fn simulated_people_stand_beside_recorded_ones() {
        let set = Set { name: "invented".into(), people: vec![trace(|n| Some(100.0 + (n % 7) as f32))] };
        let all = beside(&[set], 2, 3);
        let names: Vec<&str> = all.iter().map(|one| one.people.as_str()).collect();
        assert_eq!(names, ["invented", RECORDED, LIFELIKE, SMOOTH]);
        let (_, head, rows) = table(&all, Unit::MgDl);
        assert_eq!(head.len(), 4);
        assert_eq!(rows.len(), all[1].statistics.len());
        assert!(rows.iter().all(|row| row.len() == 4));
        assert!(rows[0][1].starts_with("103 (103 to 103)"), "{:?}", rows[0]);
        let (_, _, rows) = table(&all, Unit::MmolL);
        assert!(rows.iter().flatten().all(|cell| !cell.contains("mg/dL")), "{rows:?}");
        assert_eq!(rows[0][..2], ["mean, mmol/L", "5.72 (5.72 to 5.72)"]);
        assert_eq!(rows[2][..2], ["below 3.0 mmol/L, %", "0.00 (0.00 to 0.00)"]);
    }
}
