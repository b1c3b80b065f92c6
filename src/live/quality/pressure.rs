//! Pressure on the sensor: someone lies on it, blood is pressed out of the skin, and it reads low until they
//! turn over.
//!
//! # Source
//! The shape (a fast drop from a stable level, a flat bottom, a fast recovery; mostly at night; some 3 % of
//! overnight readings): N. Baysal et al., J Diabetes Sci Technol 8:1131, 2014. The test asks for the part of it that
//! can be seen at once: a steady level, and a large share of it lost within a few minutes. Its numbers come from
//! `glidepath fit --only pressure`, on recorded nights.

use crate::codec::{Blank, Codec, Coded};
use crate::math::Bounded as _;
use crate::reading::Reading;
use crate::units::{Glucose, Instant, Span};

/// A level is steady while its readings lie this close together, mg/dL …
const STEADY: f32 = 12.0;
/// … for so long.
const STEADY_FOR: Span = Span::from_mins(20);
/// A longer silence ends it.
const SILENCE: Span = Span::from_mins(17);
/// The drop takes no longer than this: one reading of a sensor that reads every five minutes. One that reads every
/// quarter of an hour is never suspected.
const WITHIN: Span = Span::from_secs(450);
/// A drop is at least so large, mg/dL.
const LEAST: f32 = 12.0;
/// A suspicion that ended is not raised again for so long.
const SPENT: Span = Span::from_hours(1);

/// A steady level: since when, its lowest and highest reading.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Level {
    since: Instant,
    low: f32,
    high: f32,
}

impl Level {
    const fn new(since: Instant, value: f32) -> Self {
        Self { since, low: value, high: value }
    }

    /// With another reading, if it is still steady then.
    fn with(&self, value: f32) -> Option<Self> {
        let (low, high) = (self.low.at_most(value), self.high.at_least(value));
        (high - low <= STEADY).then_some(Self { since: self.since, low, high })
    }
}

/// The test's memory. 64 bytes at most.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Pressure {
    /// The newest reading, and the level it belongs to.
    last: Option<(Instant, f32, Level)>,
    /// When a steady level was left downwards, and from where.
    left: Option<(Instant, f32)>,
    /// Since when it is suspected; the level before the drop and the lowest since, mg/dL.
    held: Option<(Instant, f32, f32)>,
    /// When the last suspicion ended.
    ended: Option<Instant>,
}

impl Pressure {
    pub const fn new() -> Self {
        Self { last: None, left: None, held: None, ended: None }
    }

    pub const fn is_suspected(&self) -> bool {
        self.held.is_some()
    }

    /// One reading. `share` is how much of the level must be lost to raise a suspicion (`None` when none may be
    /// raised), `hold` how long it lasts without a rebound. Whether it is suspected.
    pub fn step(&mut self, reading: &Reading, share: Option<f32>, hold: Span) -> bool {
        let (at, value) = (reading.at(), reading.glucose().mg_dl());
        let dropped_from = self.follow(at, value);
        match self.held {
            Some((since, before, lowest)) => {
                let back = value > 0.5 * (before + lowest);
                self.held = Some((since, before, lowest.at_most(value)));
                if back || at.since(since) >= hold {
                    (self.held, self.ended) = (None, Some(at));
                }
            }
            None => {
                let lost = dropped_from.zip(share).filter(|(level, share)| {
                    value <= level - (share * level).at_least(LEAST) && hold > Span::ZERO
                });
                if let Some((level, _)) = lost
                    && self.ended.is_none_or(|ended| at.since(ended) >= SPENT)
                {
                    (self.held, self.left) = (Some((at, level, value)), None);
                }
            }
        }
        self.is_suspected()
    }

    /// Follows the level; gives where a steady one was left downwards a moment ago: its middle, or its
    /// last reading if that was lower already, so that a fall in two steps is a fall.
    fn follow(&mut self, at: Instant, value: f32) -> Option<f32> {
        let Some((then, previous, level)) = self.last.filter(|(then, ..)| at.since(*then) <= SILENCE) else {
            self.last = Some((at, value, Level::new(at, value)));
            self.left = None;
            return None;
        };
        self.left = self.left.filter(|(last, _)| at.since(*last) <= WITHIN);
        let next = level.with(value).unwrap_or_else(|| {
            if value < level.low && then.since(level.since) >= STEADY_FOR && at.since(then) <= WITHIN {
                self.left = Some((then, previous.at_most(0.5 * (level.low + level.high))));
            }
            let fresh = Level::new(at, value);
            Level::new(then, previous).with(value).unwrap_or(fresh)
        });
        self.last = Some((at, value, next));
        self.left.map(|(_, level)| level)
    }
}

impl Blank for Level {
    const BLANK: Self = Self::new(Instant::BLANK, 0.0);
}

impl Coded for Level {
    fn code(&mut self, codec: &mut Codec<'_>) {
        let Self { since, low, high } = self;
        codec.moment(since);
        let low = codec.within(low, 0.0, Glucose::MAX_MG_DL);
        codec.within(high, low, Glucose::MAX_MG_DL);
    }
}

impl Coded for Pressure {
    fn code(&mut self, codec: &mut Codec<'_>) {
        let Self { last, left, held, ended } = self;
        last.code(codec);
        left.code(codec);
        held.code(codec);
        ended.code(codec);
    }
}

#[cfg(test)]
mod tests {
    extern crate std;
    use super::*;
    use crate::units::Glucose;
    use std::vec::Vec;

    /// The minutes at which pressure is suspected, for readings every `every` minutes.
    fn suspected(every: u32, values: &[f32], share: f32) -> Vec<u32> {
        let mut pressure = Pressure::new();
        let hold = Span::from_mins(20);
        (0..)
            .zip(values)
            .filter(|(k, value)| {
                let at = Instant::from_secs(k * every * 60);
                pressure.step(&Reading::new(at, Glucose::clamped(**value)), Some(share), hold)
            })
            .map(|(k, _)| k * every)
            .collect()
    }

    #[test]
    fn a_large_share_lost_at_once_from_a_steady_level_is_suspected_until_it_is_regained() {
        let dip = [110.0, 112.0, 108.0, 110.0, 111.0, 90.0, 85.0, 88.0, 104.0, 109.0];
        assert_eq!(suspected(5, &dip, 0.15), [25, 30, 35]);
        assert_eq!(suspected(5, &dip, 0.20), [0; 0]); // 22 of 110 are to be lost at once
        assert_eq!(suspected(15, &dip, 0.15), [0; 0]);
        // 15 min of a level is not yet steady
        assert_eq!(suspected(5, &dip[1..], 0.15), [0; 0]);
        // at every minute the drop may take seven and a half of them
        let mut minutes = std::vec![110.0; 21];
        minutes.extend([106.0, 102.0, 97.0, 94.0, 90.0, 88.0, 87.0, 86.0, 86.0]);
        assert_eq!(suspected(1, &minutes, 0.15), [28, 29]); // 15.3 from 102
    }

    #[test]
    fn a_level_is_not_steady_through_a_silence() {
        for (missing, suspects) in [(3, false), (0, true)] {
            let mut pressure = Pressure::new();
            let held = [(0, 100.0), (5, 100.0), (10, 100.0), (25, 100.0), (30, 100.0), (35, 80.0)].map(
                |(minute, value)| {
                    let at = Instant::from_secs((minute + if minute > 10 { missing } else { 0 }) * 60);
                    pressure.step(&Reading::new(at, Glucose::clamped(value)), Some(0.15), Span::from_mins(20))
                },
            );
            assert_eq!(held, [false, false, false, false, false, suspects]);
        }
    }

    #[test]
    fn a_drop_is_at_least_twelve() {
        assert_eq!(suspected(5, &[60.0, 60.0, 60.0, 60.0, 60.0, 49.0], 0.15), [0; 0]);
        assert_eq!(suspected(5, &[60.0, 60.0, 60.0, 60.0, 60.0, 47.0], 0.15), [25]);
        assert_eq!(suspected(5, &[60.0, 60.0, 60.0, 60.0, 55.0, 47.0], 0.12), [0; 0]);
    }

    #[test]
    fn what_does_not_come_back_is_held_for_twenty_minutes_and_not_again_for_an_hour() {
        let mut values = std::vec![100.0; 6];
        values.extend([80.0; 10]);
        assert_eq!(suspected(5, &values, 0.15), [30, 35, 40, 45]);
        values.extend([60.0, 60.0]);
        assert_eq!(suspected(5, &values, 0.15).len(), 4); // 30 min after the end
        values.extend([60.0; 12]);
        values.push(40.0);
        assert_eq!(suspected(5, &values, 0.15).last(), Some(&150));
    }

    #[test]
    fn a_true_fall_is_not_pressure() {
        let fall = [100.0, 101.0, 100.0, 99.0, 100.0, 90.0, 79.0, 66.0, 55.0, 42.0];
        assert_eq!(suspected(5, &fall, 0.15), [0; 0]);
        let gap = [100.0, 100.0, 100.0, 100.0, 100.0];
        let mut pressure = Pressure::new();
        for (k, value) in (0..).zip(gap) {
            let reading = Reading::new(Instant::from_secs(k * 300), Glucose::clamped(value));
            assert!(!pressure.step(&reading, Some(0.15), Span::from_mins(20)));
        }
        let after = Reading::new(Instant::from_secs(38 * 60), Glucose::clamped(70.0));
        assert!(!pressure.step(&after, Some(0.15), Span::from_mins(20)));
    }

    #[test]
    fn half_of_what_was_lost_is_not_yet_back_and_without_a_hold_nothing_is_suspected() {
        // 110 fell to 90: half way is 100
        assert_eq!(suspected(5, &[110.0, 110.0, 110.0, 110.0, 110.0, 90.0, 100.0], 0.15), [25, 30]);
        assert_eq!(suspected(5, &[110.0, 110.0, 110.0, 110.0, 110.0, 90.0, 100.5], 0.15), [25]);
        let mut pressure = Pressure::new();
        for (k, value) in (0..).zip([110.0, 110.0, 110.0, 110.0, 110.0, 90.0]) {
            let reading = Reading::new(Instant::from_secs(k * 300), Glucose::clamped(value));
            assert!(!pressure.step(&reading, Some(0.15), Span::ZERO));
        }
    }
}
