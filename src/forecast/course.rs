//! The usual course of glucose: how it commonly bends away from a fading straight line.
//!
//! A fast rise bends over sooner than a slow one, a fall from high up goes on longer than one near 70, a turn
//! just begun goes further than its rate says. The bend is a quadratic form in five things the estimator
//! knows, one for each of four horizons and in a straight line between them. Its numbers were fitted by least
//! squares (ridge 30) to simulated people of 14 days with several kinds of sensor, seeds 1000 to 1599 of
//! [`simulate`](crate::simulate); the figures in DEVELOPERS.md are from other seeds. How much of it comes true in this person, [`Personal`](super::personal::Personal) learns.

use crate::estimate::Estimate;

/// Constant, the five terms, their squares and products (row by row).
const TERMS: usize = 21;

/// For each horizon in minutes, mg/dL for each term.
#[rustfmt::skip]
const BENDS: [(f32, [f32; TERMS]); 4] = [
    (15.0, [1.638, -4.830, -13.948, 3.749, -8.799, 6.289, 0.054, -12.484, -6.531, -17.778, -7.568, 14.707, 5.976, 16.419, -3.985, -4.008, 1.400, -18.334, 1.769, -15.683, 23.370]),
    (30.0, [2.672, -8.198, -26.798, -1.045, -23.999, 4.058, -0.239, -18.394, -9.638, -26.181, -13.251, 20.770, 9.328, 21.354, -3.525, -9.570, -2.956, -27.851, -1.724, -20.011, 43.444]),
    (45.0, [3.686, -11.850, -37.366, -5.913, -36.690, -1.416, -0.707, -22.988, -11.654, -32.402, -18.825, 22.199, 13.409, 21.349, -6.388, -15.133, -6.847, -35.862, -6.164, -25.343, 63.902]),
    (60.0, [4.637, -15.519, -45.893, -9.848, -46.261, -9.018, -1.315, -26.110, -12.622, -36.316, -23.680, 21.068, 16.722, 18.730, -11.273, -19.767, -10.505, -42.848, -10.642, -31.182, 81.918]),
];

/// All terms of one estimate.
pub(super) struct Terms([f32; TERMS]);

impl Terms {
    pub fn of(estimate: &Estimate) -> Self {
        let within = |x: f32, low: f32, high: f32| x.max(low).min(high);
        let level = within((estimate.glucose().mg_dl() - 130.0) / 60.0, -1.5, 4.0);
        let rate = within(estimate.rate().mg_dl_per_min(), -4.0, 4.0);
        let slow = within(estimate.slow_rate().mg_dl_per_min(), -4.0, 4.0);
        let behind = within(estimate.behind() / 8.0, -4.0, 4.0);
        let moving = estimate.moving() - 0.35;
        let linear = [level, rate, slow, behind, moving];
        let mut terms = [0.0; TERMS];
        let mut places = terms.iter_mut();
        let mut put = |value| {
            if let Some(place) = places.next() {
                *place = value;
            }
        };
        put(1.0);
        linear.iter().for_each(|x| put(*x));
        for (skipped, x) in linear.iter().enumerate() {
            linear.iter().skip(skipped).for_each(|y| put(x * y));
        }
        Self(terms)
    }

    /// The bend at a horizon of `minutes`, mg/dL: none now, and beyond an hour that of an hour.
    pub fn bend(&self, minutes: f32) -> f32 {
        let (mut before, mut at_before) = (0.0, 0.0);
        for (horizon, weights) in &BENDS {
            let at = self.0.iter().zip(weights).fold(0.0, |sum, (term, weight)| sum + term * weight);
            if minutes <= *horizon {
                return at_before + (at - at_before) * (minutes - before) / (horizon - before);
            }
            (before, at_before) = (*horizon, at);
        }
        at_before
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::{Glucose, Instant, Rate};

    fn bend(mg_dl: f32, rate: f32, minutes: f32) -> f32 {
        let (glucose, rate) = (Glucose::clamped(mg_dl), Rate::clamped(rate));
        Terms::of(&Estimate::new(Instant::from_secs(0), glucose, rate, 7.0, 0.6, 0.0).unwrap()).bend(minutes)
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
}
