//! `rank` on recorded people: every method on each of them, set by set and pooled.
//!
//! The truth ahead is what the same sensor reads later; of now it is a fingerstick or a laboratory's value beside the trace,
//! where there is one. Errors ahead are over those of holding the reading, at the same moments. Warnings, false alarms and
//! actual rates are as `fit` counts them. Rings are those of the monitor as shipped, played minute by minute, each
//! acknowledged when it rings.

mod rung;
pub(crate) mod sheet;
pub(crate) mod tables;
mod tally;

use std::fmt;
use std::sync::atomic::{AtomicU64, Ordering};

use rayon::prelude::*;
use serde::Serialize;

use super::method::{Entry, Outlook};
use crate::failure::Failure;
use crate::people::{Person, Set};
use crate::progress::Progress;
use crate::table::Unit;
use rung::Rung;
use tally::Tally;

/// What all sets together are called.
pub const ALL: &str = "all";

/// The figures of all sets and of all people together. As text it is the tables that the command prints.
#[derive(Serialize)]
pub struct Ranked {
    /// On whom, in words.
    pub on: String,
    /// The last is of all people.
    pub sets: Vec<SetReport>,
}

impl Ranked {
    /// The figures of all people together.
    pub fn all(&self) -> Option<&SetReport> {
        self.sets.last()
    }

    /// The tables in a unit.
    pub(crate) fn text(&self, unit: Unit) -> String {
        let each = self.sets.iter().flat_map(|set| tables::tables(set, unit));
        format!("On {}.\n", self.on) + &each.map(|table| tables::as_text(&table)).collect::<String>()
    }
}

impl fmt::Display for Ranked {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.text(Unit::MgDl))
    }
}

/// The figures of a set.
#[derive(Serialize)]
pub struct SetReport {
    /// Its name; of all people together [`ALL`].
    pub set: String,
    /// Traces, the days that readings cover, and lows: readings below 70 mg/dL after half an hour without.
    pub people: usize,
    pub days: f64,
    pub lows: u32,
    /// In the order in which the methods were given.
    pub methods: Vec<Row>,
    /// How often the monitor as shipped rings.
    pub rings: Vec<RingRow>,
}

impl SetReport {
    /// The figures of a method by its name.
    pub fn method(&self, name: &str) -> Option<&Row> {
        self.methods.iter().find(|row| row.method == name)
    }
}

/// A method's figures; what it does not tell is null.
#[derive(Serialize)]
pub struct Row {
    pub method: String,
    /// Against blood glucose beside the traces; null where there is none.
    pub now: Option<Now>,
    pub ahead: Vec<Ahead>,
    /// Of a reading below 70 mg/dL within 30 minutes, where the newest is not.
    pub brier_skill: Option<f64>,
    pub warnings: Vec<Warning>,
    pub direction: Vec<Flagged>,
    /// The shares of each actual band (falling by 2 or more, by 1 to 2, steady, rising) that are said to be in each, the
    /// last of them not known.
    pub signs: Vec<Vec<Option<f64>>>,
    /// False alarms a day and the share of lows warned of ten minutes ahead, over all limits.
    #[serde(skip)]
    pub curve: Vec<(f64, f64)>,
}

/// Off from fingersticks or a laboratory's values, each trace's mean error taken off: what no smoother can mend.
#[derive(Clone, Serialize)]
pub struct Now {
    pub references: u32,
    pub sd_mg_dl: f64,
    pub sd_over_reading: Option<f64>,
}

/// Errors so many minutes ahead, against what the same sensor then read.
#[derive(Serialize)]
pub struct Ahead {
    pub minutes: f32,
    pub rmse_mg_dl: Option<f64>,
    pub rmse_over_holding: Option<f64>,
    pub interval_50_holds_percent: Option<f64>,
    pub interval_95_holds_percent: Option<f64>,
}

/// Shares of lows at so many false alarms a day: with an alarm ten minutes ahead or more, and by the first low reading.
#[derive(Serialize)]
pub struct Warning {
    pub false_alarms_per_day: f64,
    pub warned_10min_ahead: Option<f64>,
    pub caught: Option<f64>,
}

/// The share of falls of 2 mg/dL/min and more that are told when so many steady moments are.
#[derive(Serialize)]
pub struct Flagged {
    pub steady_flagged_percent: f64,
    pub fast_falls_flagged: Option<f64>,
}

/// How often a kind of alarm rings.
#[derive(Serialize)]
pub struct RingRow {
    pub kind: &'static str,
    pub rings_per_day: f64,
    /// Those from 22:00 to 07:00.
    pub rings_per_night: f64,
    /// Alarms that began, a day.
    pub alarms_per_day: f64,
    /// Of those about lows the share with no reading below 70 mg/dL in the hour after.
    pub without_low_in_an_hour: Option<f64>,
}

/// The sums of some people, a tally for each method.
#[derive(Clone, Default)]
struct Sums {
    people: usize,
    days: f64,
    tallies: Vec<Tally>,
    rung: Rung,
}

impl Sums {
    fn of(person: &Person, methods: &[Entry]) -> Result<Self, Failure> {
        let one = |entry: &Entry| {
            let mut method = (entry.new)();
            let outlooks: Vec<Outlook> = person.readings.iter().map(|reading| method.step(reading)).collect();
            Tally::of(person, &outlooks)
        };
        Ok(Self {
            people: 1,
            days: person.days(),
            tallies: methods.iter().map(one).collect(),
            rung: Rung::of(person)?,
        })
    }

    fn add(&mut self, other: &Self) {
        self.people += other.people;
        self.days += other.days;
        self.tallies.resize(other.tallies.len().max(self.tallies.len()), Tally::default());
        self.tallies.iter_mut().zip(&other.tallies).for_each(|(sum, more)| sum.add(more));
        self.rung.add(&other.rung);
    }

    fn report(self, set: &str, methods: &[Entry]) -> SetReport {
        let lows = self.tallies.first().and_then(|tally| tally.outcomes.first()).map_or(0, |o| o.lows);
        SetReport {
            set: set.to_owned(),
            people: self.people,
            days: self.days,
            lows,
            methods: self.tallies.into_iter().zip(methods).map(|(tally, e)| tally.row(&e.name)).collect(),
            rings: self.rung.rows(self.days),
        }
    }
}

/// Ranks `methods` on some people, each of them seeing every reading once, in order of time.
///
/// # Errors
/// When a trace cannot be lived through, such as one that spans more than the library's count of seconds.
pub fn on(sets: &[Set], methods: &[Entry]) -> Result<Ranked, Failure> {
    let people: usize = sets.iter().map(|set| set.people.len()).sum();
    let progress = Progress::new("ranking on recorded people", people as u64);
    let done = AtomicU64::new(0);
    let (mut all, mut reports) = (Sums::default(), Vec::new());
    for set in sets {
        let each = set.people.par_iter().map(|person| {
            let sums = Sums::of(person, methods);
            progress.at(done.fetch_add(1, Ordering::Relaxed) + 1);
            sums
        });
        // added in order, so that the figures are the same every time
        let each: Vec<Sums> = each.collect::<Result<_, _>>()?;
        let mut sums = Sums::default();
        each.iter().for_each(|one| sums.add(one));
        all.add(&sums);
        reports.push(sums.report(&set.name, methods));
    }
    let on = format!(
        "{people} recorded traces of {}, {:.0} days; the truth is what the same sensor reads later",
        crate::table::count(sets.len() as u64, "set"),
        all.days
    );
    reports.push(all.report(ALL, methods));
    Ok(Ranked { on, sets: reports })
}
