//! Pressure on the sensor: someone lies on it, blood is pressed out of the skin, and it reads low until they
//! turn over.
//!
//! # Source
//! The shape (a fast drop from a stable level, a flat bottom, a fast recovery; mostly at night; some 3 % of
//! overnight readings): N. Baysal et al., J Diabetes Sci Technol 8:1131, 2014. The test is a one-sided leaky
//! sum of the innovations of a filter that expects a quiet night. Its numbers were fitted to simulated nights (`tests/nights.rs` prints
//! what they reach): no figure from there says how often it is right on a person.

use super::quiet::Quiet;
use crate::math;
use crate::reading::Reading;
use crate::units::{Instant, Span};

/// Evidence fades with this time constant.
const MEMORY_MIN: f32 = 10.0;
/// One reading adds no more, so that a lone wild one proves nothing …
const MOST: f32 = 3.5;
/// … and takes away no more, so that noise before the drop does not hide it.
const LEAST: f32 = -1.0;
/// Pressure takes a share of the value: the higher it was, the further it falls. By so many standard
/// deviations for each e-fold …
const BY_LEVEL: f32 = 0.8;
/// … from this level, mg/dL.
const LEVEL: f32 = 115.0;
/// A suspicion that ran out without a rebound is not raised again for so long.
const SPENT: Span = Span::from_hours(1);

/// A suspicion.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
enum Suspicion {
    None,
    /// Since when; the level before the drop and the lowest since, mg/dL.
    Held {
        since: Instant,
        before: f32,
        lowest: f32,
    },
    /// It ran out then.
    Spent {
        at: Instant,
    },
}

/// The level before the drop is the one before this much evidence.
const ONSET: f32 = 2.0;

/// The test's memory. 56 bytes.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub(super) struct Pressure {
    quiet: Quiet,
    evidence: f32,
    last: Option<(Instant, f32)>,
    /// The level before the drop that `evidence` is about.
    before: f32,
    suspicion: Suspicion,
}

impl Pressure {
    pub const fn new() -> Self {
        Self { quiet: Quiet::new(115.0), evidence: 0.0, last: None, before: 0.0, suspicion: Suspicion::None }
    }

    pub const fn is_suspected(&self) -> bool {
        matches!(self.suspicion, Suspicion::Held { .. })
    }

    /// One reading. `noise` is the sensor's learned noise relative to its class, `limit` how much evidence raises
    /// a suspicion at [`LEVEL`] (`None` when none may be raised), `hold` how long it lasts. Whether it is
    /// suspected.
    pub fn step(&mut self, reading: &Reading, noise: f32, limit: Option<f32>, hold: Span) -> bool {
        let (at, value) = (reading.at(), reading.glucose().mg_dl());
        let Some((then, previous)) = self.last.replace((at, value)) else {
            self.quiet = Quiet::new(value);
            return false;
        };
        let minutes = at.since(then).mins().max(0.0);
        let noise = noise.max(1.0);
        let surprise = self.quiet.expect(minutes, value, noise * noise);
        let kept = self.evidence * math::exp(-minutes / MEMORY_MIN);
        if kept < ONSET {
            self.before = previous;
        }
        // readings that come faster each carry less news
        let share = math::sqrt((minutes / 5.0).min(1.0));
        self.evidence = kept + share * (-surprise.z).max(LEAST).min(MOST);
        self.decide(at, value, limit, hold);
        if !self.is_suspected() {
            self.quiet.take(&surprise);
        }
        self.is_suspected()
    }

    fn decide(&mut self, at: Instant, value: f32, limit: Option<f32>, hold: Span) {
        match self.suspicion {
            Suspicion::Held { before, lowest, .. } if value > 0.5 * (before + lowest) => {
                (self.suspicion, self.evidence) = (Suspicion::None, 0.0);
            }
            Suspicion::Held { since, .. } if at.since(since) >= hold => {
                self.suspicion = Suspicion::Spent { at };
                (self.evidence, self.quiet) = (0.0, Quiet::new(value));
            }
            Suspicion::Held { since, before, lowest } => {
                self.suspicion = Suspicion::Held { since, before, lowest: lowest.min(value) };
            }
            Suspicion::Spent { at: spent } if at.since(spent) < SPENT => {}
            Suspicion::Spent { .. } | Suspicion::None => {
                self.suspicion = Suspicion::None;
                let level = math::ln(self.before.max(40.0) / LEVEL);
                let far = limit.is_some_and(|limit| self.evidence > limit + BY_LEVEL * level);
                if far && value < self.before && hold > Span::ZERO {
                    self.suspicion = Suspicion::Held { since: at, before: self.before, lowest: value };
                }
            }
        }
    }
}
