//! The suspicion of pressure on the sensor, judged by what came of it on recorded nights.
//!
//! A *dip* is a fall of 15 % and 15 mg/dL at least, within a quarter of an hour, from a level whose readings lay within
//! 12 mg/dL for half an hour, that has regained 70 % of what it lost within the hour and most of that within 16 minutes.
//! A suspicion was *right* when glucose has regained 70 % of its loss within the hour, and *held a lasting low* when it
//! had not and went under 70 mg/dL.

use std::fmt::Write;

use glidepath::quality::{Evidence, Quality, QualityConfig, Verdict};
use glidepath::{LocalTime, Reading};
use rayon::prelude::*;

use super::Fitted;
use crate::failure::Failure;
use crate::people::{Person, Set, everyone};

const SHARES: [f32; 6] = [0.08, 0.10, 0.12, 0.14, 0.16, 0.20];
/// The least part of the suspicions that must be right.
const RIGHT: f64 = 0.75;

/// Minutes and mg/dL.
type Point = (f64, f64);

fn points(readings: &[Reading]) -> Vec<Point> {
    readings.iter().map(|r| (f64::from(r.at().secs()) / 60.0, f64::from(r.glucose().mg_dl()))).collect()
}

fn local(person: &Person, minutes: f64) -> f64 {
    (minutes + f64::from(person.lead()) / 60.0).rem_euclid(1440.0)
}

fn is_night(minute: f64) -> bool {
    !(7.0 * 60.0..23.0 * 60.0).contains(&minute)
}

/// The place of the first of `run` that has regained 70 % of what was lost since `level`, once `least` was lost.
fn regained(run: &[Point], level: f64, least: f64) -> Option<(usize, f64)> {
    let mut lowest = f64::INFINITY;
    run.iter().enumerate().find_map(|(place, (_, value))| {
        lowest = lowest.min(*value);
        let lost = level - lowest;
        (lost >= least && *value >= level - 0.3 * lost).then_some((place, lost))
    })
}

/// The dips of the nights: when each level was left, minutes.
fn dips(person: &Person, points: &[Point]) -> Vec<f64> {
    let mut found: Vec<f64> = Vec::new();
    for (place, (at, value)) in points.iter().enumerate().skip(1) {
        if !is_night(local(person, *at)) || found.last().is_some_and(|last| at - last < 60.0) {
            continue;
        }
        let (left, _) = points[place - 1];
        let level_from = points.partition_point(|(then, _)| *then < left - 30.0);
        let base: Vec<f64> = points[level_from..place].iter().map(|(_, value)| *value).collect();
        let (low, high) =
            base.iter().fold((f64::INFINITY, 0.0_f64), |(low, high), v| (low.min(*v), high.max(*v)));
        if base.len() < 5 || left - points[level_from].0 < 20.0 || high - low > 12.0 || at - left > 10.0 {
            continue;
        }
        let level = super::now::middle(base);
        let least = (0.15 * level).max(15.0);
        let until = |minutes: f64| points.partition_point(|(then, _)| *then <= left + minutes);
        let fast = points[place..until(15.5).max(place)].iter().any(|(_, value)| *value <= level - least);
        if !fast || *value > level - 5.0 {
            continue;
        }
        let run = &points[place..until(65.0).max(place)];
        let Some((back, lost)) = regained(run, level, least) else { continue };
        let deep = run[..back].iter().rev().find(|(_, value)| *value <= level - 0.6 * lost);
        if deep.is_some_and(|(then, _)| run[back].0 - then <= 16.0) {
            found.push(left);
        }
    }
    found
}

/// What came of the suspicions.
#[derive(Clone, Copy, Debug, Default)]
struct Outcome {
    nights: f64,
    suspicions: f64,
    right: f64,
    lasting: f64,
    dips: f64,
    found: f64,
}

impl Outcome {
    fn and(self, other: Self) -> Self {
        Self {
            nights: self.nights + other.nights,
            suspicions: self.suspicions + other.suspicions,
            right: self.right + other.right,
            lasting: self.lasting + other.lasting,
            dips: self.dips + other.dips,
            found: self.found + other.found,
        }
    }

    fn words(&self) -> String {
        format!(
            "{} suspicions in {:.0} nights, {:.0} % right, {} of {} dips found, {} lasting lows held",
            self.suspicions,
            self.nights,
            100.0 * self.right / self.suspicions,
            self.found,
            self.dips,
            self.lasting
        )
    }
}

fn judge(person: &Person, share: f32) -> Outcome {
    let points = points(&person.readings);
    let mut config = QualityConfig::default();
    config.pressure_share = share;
    let mut quality = Quality::new(config).expect("in range");
    let (mut flags, mut before) = (Vec::new(), false);
    for (place, (reading, (minutes, _))) in person.readings.iter().zip(&points).enumerate() {
        let minute = local(person, *minutes) as u16;
        let evidence = Evidence { local: LocalTime::new(0, minute).ok(), ..Evidence::default() };
        let now = quality.assess(reading, &evidence).verdict() == Verdict::Pressure;
        if now && !before {
            flags.push(place);
        }
        before = now;
    }
    let days = points.last().zip(points.first()).map_or(0.0, |(last, first)| (last.0 - first.0) / 1440.0);
    let mut outcome = Outcome { nights: days, ..Outcome::default() };
    for place in &flags {
        let (at, _) = points[*place];
        let run = &points[*place..points.partition_point(|(then, _)| *then < at + 60.0)];
        if run.len() < 6 {
            continue;
        }
        let level = points[place.saturating_sub(1)].1;
        outcome.suspicions += 1.0;
        if regained(run, level, 1.0).is_some() {
            outcome.right += 1.0;
        } else if run.iter().any(|(_, value)| *value < 70.0) {
            outcome.lasting += 1.0;
        }
    }
    for left in dips(person, &points) {
        outcome.dips += 1.0;
        let found = flags.iter().any(|place| (left..=left + 20.5).contains(&points[*place].0));
        outcome.found += f64::from(u8::from(found));
    }
    outcome
}

/// The smallest share of which three in four suspicions are right: it finds the most dips.
fn best(outcomes: &[(f32, Vec<(&str, Outcome)>)], keep: impl Fn(&str) -> bool) -> f32 {
    let right = |sets: &[(&str, Outcome)]| {
        let sum =
            sets.iter().filter(|(set, _)| keep(set)).fold(Outcome::default(), |sum, (_, one)| sum.and(*one));
        sum.right / sum.suspicions
    };
    outcomes.iter().find(|(_, sets)| right(sets) >= RIGHT).map_or(0.2, |(share, _)| *share)
}

/// Chooses the share and says what came of the suspicions: on all, and leaving out each set.
pub fn fit(sets: &[Set]) -> Result<Fitted, Failure> {
    let often: Vec<&Person> = everyone(sets)
        .into_iter()
        .filter(|person| {
            let steps = super::now::middle(
                person
                    .readings
                    .windows(2)
                    .map(|pair| f64::from(pair[1].at().since(pair[0].at()).secs()))
                    .collect(),
            );
            steps < 450.0 && person.readings.len() > 288
        })
        .collect();
    if often.is_empty() {
        return Err(Failure::new("too few readings, expected some for a day and every five minutes"));
    }
    let outcomes: Vec<(f32, Vec<(&str, Outcome)>)> = SHARES
        .iter()
        .map(|share| {
            (*share, often.par_iter().map(|person| (person.set.as_str(), judge(person, *share))).collect())
        })
        .collect();
    let share = best(&outcomes, |_| true);
    let mut text = format!("Pressure, fitted to {} people:\n", often.len());
    let total = |share: f32, keep: &dyn Fn(&str) -> bool| {
        let sets = outcomes.iter().find(|(one, _)| *one == share).map_or(&[][..], |(_, sets)| sets);
        sets.iter().filter(|(set, _)| keep(set)).fold(Outcome::default(), |sum, (_, one)| sum.and(*one))
    };
    for one in SHARES {
        let _ = writeln!(text, "  share {one:.2}: {}", total(one, &|_| true).words());
    }
    let mut sets: Vec<&str> = often.iter().map(|person| person.set.as_str()).collect();
    sets.dedup();
    for set in sets {
        let other = best(&outcomes, |one| one != set);
        let _ = writeln!(text, "  without {set} {other:.2}: {}", total(other, &|one| one == set).words());
    }
    Ok(Fitted {
        sources: vec![("src/live/quality/config.rs", format!("            pressure_share: {share:.2},\n"))],
        figures: text.lines().map(str::to_owned).collect(),
    })
}
