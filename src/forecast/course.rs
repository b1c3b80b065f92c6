//! The usual course of glucose: how it commonly bends away from a fading straight line.
//!
//! A fast rise bends over sooner than a slow one, a fall from high up goes on longer than one near 70, a turn
//! just begun goes further than its rate says. The bend is a quadratic form in five things the estimator
//! knows, one for each of four horizons and in a straight line between them. Its numbers were fitted by least
//! squares (ridge 30) to simulated people of 14 days with several kinds of sensor, seeds 1000 to 1599 of
//! [`simulate`](crate::simulate); the figures in DEVELOPERS.md are from other seeds. How much of it comes true in this person, [`Personal`](super::personal::Personal) learns.

use super::ahead::STEP_MIN;
use crate::estimate::Estimate;

/// Constant, the five terms, their squares and products (row by row).
const TERMS: usize = 21;

/// The horizons lie this far apart, minutes, …
const PIECE_MIN: f32 = 15.0;
/// … which a walk takes in so many steps.
pub(super) const STEPS: u8 = 3;

/// For horizons of 15, 30, 45 and 60 minutes, mg/dL for each term.
#[rustfmt::skip]
static BENDS: [[f32; TERMS]; 4] = [
    [1.756, -4.750, -17.359, 1.361, -13.373, 6.841, 0.083, -10.189, -4.013, -13.755, -7.046, 13.363, -0.516, 9.650, -2.649, -6.428, -6.775, -17.998, -3.976, -12.608, 23.874],
    [2.835, -7.998, -30.050, -3.468, -28.126, 4.995, -0.219, -14.197, -5.281, -19.073, -12.329, 17.062, -1.679, 7.667, -2.081, -12.932, -15.420, -27.763, -11.652, -15.751, 45.121],
    [3.876, -11.535, -40.260, -8.209, -40.099, -0.200, -0.712, -16.954, -5.670, -22.466, -17.568, 16.058, -1.694, 0.790, -5.201, -19.090, -22.835, -36.048, -20.037, -20.452, 66.746],
    [4.837, -15.110, -48.478, -12.003, -49.055, -7.639, -1.351, -18.605, -5.425, -24.205, -22.163, 12.965, -1.490, -7.267, -10.243, -24.065, -28.965, -42.979, -27.499, -25.594, 85.753],
];

/// The bends of one estimate at the four horizons, mg/dL. 16 bytes.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Bends([f32; 4]);

impl Bends {
    /// A fading straight line.
    pub const NONE: Self = Self([0.0; 4]);

    pub fn of(estimate: &Estimate) -> Self {
        let terms = terms(estimate);
        Self(
            BENDS.each_ref().map(|weights| {
                terms.iter().zip(weights).fold(0.0, |sum, (term, weight)| sum + term * weight)
            }),
        )
    }

    pub fn scaled(self, share: f32) -> Self {
        Self(self.0.map(|bend| share * bend))
    }

    /// The bend at a horizon of `minutes`, mg/dL: none now, and beyond an hour that of an hour.
    pub fn at(&self, minutes: f32) -> f32 {
        let (mut before, mut left) = (0.0, minutes);
        for at in self.0 {
            if left <= PIECE_MIN {
                return before + (at - before) * left / PIECE_MIN;
            }
            (before, left) = (at, left - PIECE_MIN);
        }
        before
    }

    /// What each step adds in the pieces of the hour.
    pub fn steps(self) -> [f32; 4] {
        let [a, b, c, d] = self.0;
        [a, b - a, c - b, d - c].map(|piece| piece * (STEP_MIN / PIECE_MIN))
    }
}

/// All terms of one estimate.
fn terms(estimate: &Estimate) -> [f32; TERMS] {
    let within = |x: f32, low: f32, high: f32| x.max(low).min(high);
    let level = within((estimate.glucose().mg_dl() - 130.0) / 60.0, -1.5, 4.0);
    let rate = within(estimate.rate().mg_dl_per_min(), -4.0, 4.0);
    let slow = within(estimate.slow_rate().mg_dl_per_min(), -4.0, 4.0);
    let behind = within(estimate.behind() / 8.0, -4.0, 4.0);
    let moving = estimate.moving() - 0.35;
    let (l, r, s, b, m) = (level, rate, slow, behind, moving);
    #[rustfmt::skip]
    let terms = [
        1.0, l, r, s, b, m,
        l * l, l * r, l * s, l * b, l * m,
        r * r, r * s, r * b, r * m,
        s * s, s * b, s * m,
        b * b, b * m,
        m * m,
    ];
    terms
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::{Glucose, Instant, Rate};

    fn bend(mg_dl: f32, rate: f32, minutes: f32) -> f32 {
        let (glucose, rate) = (Glucose::clamped(mg_dl), Rate::clamped(rate));
        Bends::of(&Estimate::new(Instant::from_secs(0), glucose, rate, 7.0, 0.6, 0.0).unwrap()).at(minutes)
    }

    #[test]
    fn nothing_bends_now_and_the_joints_are_joined() {
        assert_eq!(bend(180.0, 2.0, 0.0), 0.0);
        for joint in [15.0, 30.0, 45.0, 60.0] {
            assert!((bend(180.0, 2.0, joint - 0.01) - bend(180.0, 2.0, joint + 0.01)).abs() < 0.1);
        }
        assert_eq!(bend(180.0, 2.0, 60.0), bend(180.0, 2.0, 240.0));
    }

    #[test]
    fn a_steady_person_bends_little_and_extremes_stay_bounded() {
        assert!(bend(120.0, 0.0, 30.0).abs() < 10.0);
        for mg_dl in [0.0, 2000.0] {
            for rate in [-100.0, 100.0] {
                assert!(bend(mg_dl, rate, 60.0).abs() < 1500.0);
            }
        }
    }

    #[test]
    fn every_term_counts_as_it_was_fitted() {
        // numpy: the table times 1, the five, and the upper triangle of their outer product, at 180 mg/dL rising 1.5,
        // slowly falling 0.7, 12 mg/dL behind, moving with 0.8
        let bends = Bends::of(&Estimate::from_filter(
            Instant::from_secs(0),
            (180.0, 1.5, -0.7),
            (-12.0, 0.8),
            (1.0, 0.0, 1.0),
        ));
        for (minutes, want) in [
            (5.0, 1.690_327),
            (15.0, 5.070_982),
            (22.5, 4.348_537),
            (30.0, 3.626_093),
            (45.0, -4.323_434),
            (60.0, -16.735_41),
        ] {
            assert!((bends.at(minutes) - want).abs() < 2e-4, "{minutes}: {}", bends.at(minutes));
            assert!((bends.scaled(0.5).at(minutes) - want / 2.0).abs() < 1e-4);
        }
    }
}
