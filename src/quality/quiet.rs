//! What the next reading of a quiet night would be: a two-state Kalman filter, level and fading rate, that
//! expects much less of glucose than the estimator must. Against it a sudden drop stands out.
//!
//! Source of the filter: textbook (an integrated Ornstein-Uhlenbeck rate, discretised exactly; scalar
//! measurement; Huber's weight for far readings). Its numbers are ours: a sensor's white error of 2.5 mg/dL,
//! coloured error that moves by 1.7 (mg/dL)² a minute, and a seventh of the estimator's drive at 115 mg/dL,
//! growing with the square of the level, for low glucose falls more slowly.

use crate::math;

const WHITE_VARIANCE: f32 = 6.25;
const COLOURED_PER_MIN: f32 = 1.7;
const DRIVE: f32 = 0.006;
const LEVEL: f32 = 115.0;
const RATE_TIME_MIN: f32 = 35.0;
const HUBER: f32 = 3.0;
/// After a longer silence it starts afresh.
const LONGEST_MIN: f32 = 60.0;

/// Level, rate and their covariance. 20 bytes.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub(super) struct Quiet {
    level: f32,
    rate: f32,
    p_level: f32,
    p_both: f32,
    p_rate: f32,
}

/// A reading against what a quiet night would have brought.
pub(super) struct Surprise {
    /// In standard deviations.
    pub z: f32,
    innovation: f32,
    variance: f32,
}

impl Quiet {
    pub const fn new(level: f32) -> Self {
        Self { level, rate: 0.0, p_level: 400.0, p_both: 0.0, p_rate: 1.0 }
    }

    /// Moves on by `minutes` and measures `value`, changing nothing else. `noise` is the sensor's variance
    /// relative to its class.
    pub fn expect(&mut self, minutes: f32, value: f32, noise: f32) -> Surprise {
        if minutes > LONGEST_MIN {
            *self = Self::new(value);
        }
        let share = (self.level.max(40.0) / LEVEL).min(2.0);
        let drive = DRIVE * (share * share).max(0.1) * minutes;
        let faded = math::one_minus_exp_neg(minutes / RATE_TIME_MIN);
        let (gain, kept) = (RATE_TIME_MIN * faded, 1.0 - faded);
        self.level += gain * self.rate;
        self.rate *= kept;
        self.p_level += 2.0 * gain * self.p_both
            + gain * gain * self.p_rate
            + drive * minutes * minutes / 3.0
            + COLOURED_PER_MIN * noise * minutes;
        self.p_both = kept * (self.p_both + gain * self.p_rate) + drive * minutes / 2.0;
        self.p_rate = kept * kept * self.p_rate + drive;
        let (innovation, variance) = (value - self.level, self.p_level + WHITE_VARIANCE * noise);
        Surprise { z: innovation / math::sqrt(variance), innovation, variance }
    }

    /// Takes the measurement in, a far one with less weight.
    pub fn take(&mut self, surprise: &Surprise) {
        let variance = surprise.variance * (surprise.z.abs() / HUBER).max(1.0);
        let (k_level, k_rate) = (self.p_level / variance, self.p_both / variance);
        self.level += k_level * surprise.innovation;
        self.rate += k_rate * surprise.innovation;
        self.p_rate = (self.p_rate - k_rate * self.p_both).max(1e-6);
        self.p_both -= k_level * self.p_both;
        self.p_level = (self.p_level - k_level * self.p_level).max(1e-6);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    #[cfg_attr(miri, ignore = "too slow")]
    fn settles_and_stays_definite_at_any_interval() {
        for minutes in [0.02, 1.0, 5.0, 15.0, 61.0, 1e6] {
            let mut quiet = Quiet::new(100.0);
            for i in 0..2000 {
                let surprise = quiet.expect(minutes, if i % 7 == 0 { 40.0 } else { 300.0 }, 1.0);
                assert!(surprise.z.is_finite() && surprise.variance > 0.0);
                quiet.take(&surprise);
                assert!(quiet.p_level * quiet.p_rate >= quiet.p_both * quiet.p_both * 0.999, "{minutes}");
            }
        }
    }

    /// Reference: the same filter in double precision (numpy), 115 mg/dL kept for 200 readings, then 100.
    #[test]
    fn a_drop_at_five_minutes_is_as_many_deviations_as_worked_out() {
        let mut quiet = Quiet::new(115.0);
        for _ in 0..200 {
            let surprise = quiet.expect(5.0, 115.0, 1.0);
            quiet.take(&surprise);
        }
        let z = quiet.expect(5.0, 100.0, 1.0).z;
        assert!((z - WORKED).abs() < 1e-3, "{z}");
    }
    const WORKED: f32 = -3.16557;
}
