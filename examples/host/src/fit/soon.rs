//! The numbers of the forecast, fitted by the terms and the learner of the library itself.

mod judge;
mod source;

use glidepath::Span;
use glidepath::forecast::fitting::{
    HORIZONS, LEARNED, LEAST, LOW_HORIZONS, LOW_TERMS, Learner, MINUTES, Outlook, Reach, SPREAD_TERMS, TERMS,
    Table, Terms,
};
use rayon::prelude::*;

use super::Fitted;
use crate::failure::Failure;
use crate::people::least::{dot, logistic, quantile, sizes, squares};
use crate::people::{Person, Set, everyone};
use crate::progress::Progress;

#[cfg(test)]
pub use source::source;

/// By the outcome at this horizon the spread is judged, as the library does.
const JUDGED: usize = 1;
/// The share that the wide interval is to hold: as the library tracks it, a little over 95 %.
const WITHIN: f64 = 0.955;
/// A miss by more spreads counts as this many, as in the library.
const FURTHEST_OFF: f64 = 6.0;

/// Fits to all, and judges with each set left out in turn.
pub fn fit(sets: &[Set]) -> Result<Fitted, Failure> {
    let steps = if sets.len() > 1 { sets.len() + 1 } else { 1 };
    let progress = Progress::new("fitting the forecast", steps as u64);
    let table = table(&everyone(sets))?;
    let mut judged = Vec::new();
    if sets.len() > 1 {
        for (n, set) in sets.iter().enumerate() {
            progress.at(n as u64 + 1);
            let others: Vec<&Person> =
                sets.iter().filter(|other| other.name != set.name).flat_map(|set| &set.people).collect();
            let fitted = self::table(&others)?;
            let people: Vec<_> = set.people.par_iter().map(|person| judge::live(person, &fitted)).collect();
            judged.push((set.name.as_str(), people));
        }
    }
    Ok(Fitted {
        sources: vec![("src/live/forecast/people.rs", source::source(&table))],
        figures: if judged.is_empty() {
            vec!["One set alone: nothing is left out to judge by.".into()]
        } else {
            judge::figures(&judged)
        },
    })
}

/// The table of these people.
fn table(people: &[&Person]) -> Result<Table, Failure> {
    // a table of nothing: the terms of a full past do not depend on it
    let mut table = Table {
        change: [[0.0; TERMS]; HORIZONS],
        metric: [1.0; TERMS],
        carry: [0.0; 2],
        spread: [[0.0; SPREAD_TERMS]; HORIZONS],
        tails: [1.0; HORIZONS],
        mean_off: 1.0,
        wider: [1.0; 2],
        gets_low: [[0.0; LOW_TERMS]; LOW_HORIZONS],
        stays_low: [[0.0; LOW_TERMS]; LOW_HORIZONS],
    };
    let moments: Vec<Vec<(usize, Terms)>> = people
        .par_iter()
        .map(|person| {
            let mut moments = Vec::new();
            walk(person, &table, false, |n, learner| {
                moments
                    .extend(learner.terms(&table).filter(|t| t.reach == Reach::Full).map(|terms| (n, terms)));
            });
            moments
        })
        .collect();
    if moments.iter().map(Vec::len).sum::<usize>() < 1000 {
        return Err(Failure::new("too few readings, expected a thousand with half an hour before them"));
    }
    changes(&mut table, people, &moments);
    spreads(&mut table, people, &moments);
    lows(&mut table, people);
    Ok(table)
}

/// Gives the readings to a learner and lets it be looked at after each.
fn walk(person: &Person, table: &Table, personal: bool, mut look: impl FnMut(usize, &Learner)) {
    let mut learner = Learner::new(personal);
    for (n, reading) in person.readings.iter().enumerate() {
        learner.reading(table, reading.at(), reading.glucose(), true);
        look(n, &learner);
    }
}

fn secs(horizon: usize) -> u32 {
    MINUTES[horizon] as u32 * 60
}

fn wide<const N: usize>(terms: [f32; N]) -> [f64; N] {
    terms.map(f64::from)
}

fn narrow<const N: usize>(weights: [f64; N]) -> [f32; N] {
    weights.map(|weight| weight as f32)
}

/// What people's glucose does: weights of the change, the size of each term, and what an unknown step was.
fn changes(table: &mut Table, people: &[&Person], moments: &[Vec<(usize, Terms)>]) {
    for horizon in 0..HORIZONS {
        let rows = people.par_iter().zip(moments).map(|(person, moments)| {
            let row = |(n, terms): &(usize, Terms)| {
                let change = person.later(*n, secs(horizon))? - person.readings[*n].glucose().mg_dl();
                Some((wide(terms.of_change), f64::from(change)))
            };
            moments.iter().filter_map(row).collect::<Vec<_>>()
        });
        table.change[horizon] = narrow(squares(&rows.collect::<Vec<_>>()));
    }
    let all = || moments.iter().flatten().map(|(_, terms)| wide(terms.of_change));
    let count = all().count() as f64;
    table.metric =
        std::array::from_fn(|n| (count / all().map(|x| x[n] * x[n]).sum::<f64>().max(1e-3)) as f32);
    let [_, _, _, second, third, fourth, ..] = std::array::from_fn::<usize, TERMS, _>(|n| n);
    let carried = |from: usize, to: usize| {
        all().map(|x| x[from] * x[to]).sum::<f64>() / all().map(|x| x[from] * x[from]).sum::<f64>().max(1e-9)
    };
    table.carry = [carried(second, third) as f32, carried(third, fourth) as f32];
}

/// How far off the learner is: half widths, tails, and what a shorter past costs.
fn spreads(table: &mut Table, people: &[&Person], moments: &[Vec<(usize, Terms)>]) {
    // errors of a learner that lives through the trace, and of people's weights beyond what is learned
    let errors: Vec<Vec<[f64; HORIZONS]>> = people
        .par_iter()
        .zip(moments)
        .map(|(person, moments)| {
            let mut due = moments.iter().map(|(n, _)| *n).peekable();
            let mut errors = Vec::with_capacity(moments.len());
            walk(person, table, true, |n, learner| {
                if due.next_if_eq(&n).is_some() {
                    let foreseen: Vec<f32> = learner.course().map(|(_, change)| change).collect();
                    errors.push(std::array::from_fn(|horizon| {
                        let now = person.readings[n].glucose().mg_dl();
                        person
                            .later(n, secs(horizon))
                            .map_or(f64::NAN, |value| f64::from((value - now - foreseen[horizon]).abs()))
                    }));
                }
            });
            errors
        })
        .collect();
    let least = f64::from(LEAST);
    for horizon in 0..HORIZONS {
        let rows: Vec<Vec<_>> = moments
            .par_iter()
            .zip(&errors)
            .map(|(moments, errors)| {
                let rows = moments
                    .iter()
                    .zip(errors)
                    .map(|((_, terms), error)| (wide(terms.of_spread), error[horizon]));
                rows.filter(|(_, error)| error.is_finite()).collect()
            })
            .collect();
        let weights = sizes(&rows, least);
        let mut off: Vec<f64> = rows.iter().flatten().map(|(x, y)| y / dot(x, &weights).max(least)).collect();
        let (half, tail) = (quantile(&mut off, 0.5), quantile(&mut off, WITHIN));
        table.spread[horizon] = narrow(weights.map(|weight| weight * half));
        table.tails[horizon] = (tail / half) as f32;
        if horizon == JUDGED {
            let sum: f64 = off.iter().map(|off| (off / half).min(FURTHEST_OFF)).sum();
            table.mean_off = (off.len() as f64 / sum) as f32;
        }
    }
    table.wider = [Reach::Short, Reach::Level].map(|reach| {
        let mut off: Vec<f64> = Vec::new();
        for (person, moments) in people.iter().zip(moments) {
            for (n, terms) in moments {
                let Some(later) = person.later(*n, secs(JUDGED)) else { continue };
                let terms = terms.with_reach(reach, table.carry);
                let change = dot(&wide(terms.of_change), &wide(table.change[JUDGED]));
                let half = dot(&wide(terms.of_spread), &wide(table.spread[JUDGED])).max(least);
                off.push((f64::from(later - person.readings[*n].glucose().mg_dl()) - change).abs() / half);
            }
        }
        quantile(&mut off, 0.5) as f32
    });
}

/// The probability of a low, to come and to stay.
fn lows(table: &mut Table, people: &[&Person]) {
    const LOW: f32 = 70.0;
    for (horizon, minutes) in MINUTES.into_iter().enumerate().take(LOW_HORIZONS) {
        let rows: Vec<[Vec<_>; 2]> = people
            .par_iter()
            .map(|person| {
                let mut rows = [Vec::new(), Vec::new()];
                walk(person, table, true, |n, learner| {
                    if let Some(low) = person.low_within(n, secs(horizon)) {
                        let terms = wide(learner.low_terms(LOW, minutes));
                        let there = usize::from(person.readings[n].glucose().mg_dl() < LOW);
                        rows[there].push((terms, f64::from(u8::from(low))));
                    }
                });
                rows
            })
            .collect();
        let (gets, stays): (Vec<_>, Vec<_>) = rows.into_iter().map(|[gets, stays]| (gets, stays)).unzip();
        table.gets_low[horizon] = narrow(logistic(&gets));
        // of lows that are there too few are seen for squares
        let plain = |rows: Vec<([f64; LOW_TERMS], f64)>| {
            rows.into_iter().map(|([one, late, _, early, _, level, slope], low)| {
                ([one, late, 0.0, early, 0.0, level, slope], low)
            })
        };
        let stays: Vec<Vec<_>> = stays.into_iter().map(|rows| plain(rows).collect()).collect();
        table.stays_low[horizon] = narrow(logistic(&stays));
    }
}

const _: () = assert!(LEARNED <= HORIZONS);

/// What is foreseen, as the library tells it.
fn outlook<'a>(table: &'a Table, learner: &'a Learner) -> Outlook<'a> {
    Outlook { table, learner }
}

const fn minutes(minutes: i32) -> Span {
    Span::from_mins(minutes)
}
