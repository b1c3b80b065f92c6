//! Every method over every series, in parallel.

use std::time::Instant;

use rayon::prelude::*;

use super::lows::Watch;
use super::method::{Entry, Outlook};
use super::score::Score;
use super::series::Series;
use crate::progress::Progress;

/// What one method did over all series.
#[derive(Default)]
pub struct Tally {
    pub score: Score,
    /// One for each series.
    pub watches: Vec<Watch>,
}

/// How many series are under way at once between two looks at the progress.
const BATCH: usize = 16;

/// Makes `count` series and runs all methods over each.
pub fn tally(
    what: &'static str,
    methods: &[Entry],
    count: usize,
    make: impl Fn(usize) -> Series + Sync,
) -> Vec<Tally> {
    let mut tallies: Vec<Tally> = methods.iter().map(|_| Tally::default()).collect();
    let progress = Progress::new(what, count as u64);
    for from in (0..count).step_by(BATCH) {
        let batch: Vec<Vec<(Score, Watch)>> =
            (from..count.min(from + BATCH)).into_par_iter().map(|n| one(methods, &make(n))).collect();
        // merged in order, so that the figures are the same every time
        for results in batch {
            for (tally, (score, watch)) in tallies.iter_mut().zip(results) {
                tally.score.merge(&score);
                tally.watches.push(watch);
            }
        }
        progress.at((from + BATCH) as u64);
    }
    tallies
}

/// Runs all methods over series at hand.
pub fn over(what: &'static str, methods: &[Entry], all: &[Series]) -> Vec<Tally> {
    let mut tallies: Vec<Tally> = methods.iter().map(|_| Tally::default()).collect();
    let progress = Progress::new(what, all.len() as u64);
    for (n, batch) in all.chunks(BATCH).enumerate() {
        let batch: Vec<Vec<(Score, Watch)>> = batch.par_iter().map(|series| one(methods, series)).collect();
        for results in batch {
            for (tally, (score, watch)) in tallies.iter_mut().zip(results) {
                tally.score.merge(&score);
                tally.watches.push(watch);
            }
        }
        progress.at(((n + 1) * BATCH) as u64);
    }
    tallies
}

/// Makes `count` series, in parallel.
pub fn simulate(what: &'static str, count: usize, make: impl Fn(usize) -> Series + Sync) -> Vec<Series> {
    let progress = Progress::new(what, count as u64);
    let mut all = Vec::with_capacity(count);
    for from in (0..count).step_by(BATCH) {
        all.par_extend((from..count.min(from + BATCH)).into_par_iter().map(&make));
        progress.at(all.len() as u64);
    }
    all
}

fn one(methods: &[Entry], series: &Series) -> Vec<(Score, Watch)> {
    methods
        .iter()
        .map(|entry| {
            let outlooks = outlooks(entry, series);
            (Score::of(series, &outlooks), series.watch(outlooks.iter().map(|outlook| outlook.low_index)))
        })
        .collect()
}

/// What a method says at each reading; it is given each fingerstick before the first reading after it.
pub fn outlooks(entry: &Entry, series: &Series) -> Vec<Outlook> {
    let mut method = (entry.new)();
    let mut sticks = series.fingersticks.iter().peekable();
    series
        .readings
        .iter()
        .map(|reading| {
            while let Some(stick) = sticks.next_if(|stick| stick.at() <= reading.at()) {
                method.calibrate(stick);
            }
            method.step(reading)
        })
        .collect()
}

/// Nanoseconds a reading, the best of a few runs on this machine.
pub fn costs(methods: &[Entry], series: &Series) -> Vec<f64> {
    methods
        .iter()
        .map(|entry| {
            (0..5)
                .map(|_| {
                    let mut method = (entry.new)();
                    let begun = Instant::now();
                    for reading in &series.readings {
                        std::hint::black_box(method.step(std::hint::black_box(reading)));
                    }
                    begun.elapsed().as_nanos() as f64 / series.readings.len().max(1) as f64
                })
                .fold(f64::INFINITY, f64::min)
        })
        .collect()
}
