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
}

/// The band a level lies in.
pub(super) fn band(level: f32) -> u8 {
    EDGES.iter().fold(0_u8, |band, edge| if level >= *edge { band.saturating_add(1) } else { band })
}

/// One over the minutes between each horizon and the one before it.
const PER_MINUTE: [f32; HORIZONS] = [1.0 / 15.0, 1.0 / 15.0, 1.0 / 30.0, 1.0 / 60.0];

/// A moment between two horizons, of which the first is now.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Place {
    /// The horizon at or after it; the last one beyond that.
    pub after: usize,
    /// How far from the one before, 0 to 1.
    pub part: f32,
}

impl Place {
    pub fn at(minutes: f32) -> Self {
        let mut from = 0.0;
        for (after, (until, per_minute)) in MINUTES.iter().zip(&PER_MINUTE).enumerate() {
            if minutes <= *until {
                return Self { after, part: (minutes - from) * per_minute };
            }
            from = *until;
        }
        Self { after: HORIZONS.saturating_sub(1), part: 1.0 }
    }

    /// Between the values at the horizons, straight, from `start` now.
    pub fn of(self, start: f32, values: &[f32; HORIZONS]) -> f32 {
        let value = |n: usize| values.get(n).copied().unwrap_or(start);
        let before = self.after.checked_sub(1).map_or(start, value);
        before + (value(self.after) - before) * self.part
    }
}
