//! Every number that was fitted, and what lies between them. `glidepath fit FOLDER` prints [`Table::PEOPLE`].

use super::terms::{Reach, SPREAD_TERMS, TERMS};

/// How many horizons have weights of their own …
pub const HORIZONS: usize = 4;
/// … and for how many of them a person's are learned.
pub const LEARNED: usize = 3;
/// How many bands of level have quantiles of their own.
pub const LEVELS: usize = 6;
/// The terms of a probability.
pub const LOW_TERMS: usize = 7;
/// The probability has weights of its own for so many horizons, the first ones.
pub const LOW_HORIZONS: usize = 3;

/// The horizons, minutes.
pub const MINUTES: [f32; HORIZONS] = [15.0, 30.0, 60.0, 120.0];
/// Where one band of level ends and the next begins, mg/dL.
pub const EDGES: [f32; LEVELS - 1] = [70.0, 100.0, 140.0, 180.0, 250.0];

/// The numbers of a forecast. 536 bytes, of which there is one for all.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Table {
    /// Weights of the change at each horizon, mg/dL.
    pub change: [[f32; TERMS]; HORIZONS],
    /// One over the mean square of each term.
    pub metric: [f32; TERMS],
    /// Of a step of 5 minutes, how much the one of 5 minutes before it was; of that, the one of 15 minutes before.
    pub carry: [f32; 2],
    /// Weights of half the width of the interval that holds one half, mg/dL.
    pub spread: [[f32; SPREAD_TERMS]; HORIZONS],
    /// The interval that holds 95 % is so many times as wide.
    pub tails: [f32; HORIZONS],
    /// One over the mean error in such half widths, at the second horizon.
    pub mean_off: f32,
    /// How many times as wide with a short past, and with none.
    pub wider: [f32; 2],
    /// Weights of the probability of a low to come …
    pub gets_low: [[f32; LOW_TERMS]; LOW_HORIZONS],
    /// … and of one that is there to be there still or again.
    pub stays_low: [[f32; LOW_TERMS]; LOW_HORIZONS],
}

/// No interval is narrower than twice this, mg/dL.
pub const LEAST: f32 = 1.0;

impl Table {
    /// How many times as wide the spread is with so much past.
    pub const fn wider(&self, reach: Reach) -> f32 {
        let [short, level] = self.wider;
        match reach {
            Reach::Full => 1.0,
            Reach::Short => short,
            Reach::Level => level,
        }
    }

    /// How many times as wide as its half the 95 % are at a horizon.
    pub(super) fn tail(&self, minutes: f32) -> f32 {
        let [first, ..] = self.tails;
        along(first, &self.tails, minutes)
    }
}

/// The band a level lies in.
pub(super) fn band(level: f32) -> usize {
    EDGES.iter().filter(|edge| level >= **edge).count()
}

/// Between values at the first horizons, straight, from `start` now; beyond the last one, it.
pub(super) fn along<const N: usize>(start: f32, values: &[f32; N], minutes: f32) -> f32 {
    let (mut from, mut before) = (0.0, start);
    for (until, value) in MINUTES.iter().zip(values) {
        if minutes <= *until {
            return before + (value - before) * (minutes - from) / (until - from);
        }
        (from, before) = (*until, *value);
    }
    before
}
