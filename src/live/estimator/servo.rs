//! Learning how noisy this sensor is: the innovations' size against what the filter expects of them.
//!
//! For a filter that fits, innovation² / variance averages 1. The servo nudges one scale, of the sensor's
//! white and coloured variance alike, until it does; the person's own movement is left alone. Source of the
//! principle: Mehra (1970), innovation matching, IEEE Trans. Automatic Control 15(2).

use crate::codec::{Codec, Coded};
use crate::math;
use crate::math::Bounded as _;

/// The average looks back about this far, minutes.
const MEMORY_MIN: f32 = 720.0;
/// The scale moves this often, minutes, by the fourth root of the average.
const EVERY_MIN: f32 = 30.0;
/// The scale goes no lower: to smooth less because a sensor smooths itself did not pay against blood.
const LEAST: f32 = 1.0;
/// And no higher.
const GREATEST: f32 = 16.0;
/// One innovation counts at most this much, so that a spike teaches little.
const MOST: f32 = 9.0;

/// 12 bytes.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Servo {
    variance_scale: f32,
    ratio: f32,
    minutes: f32,
}

impl Servo {
    pub const fn new() -> Self {
        Self { variance_scale: 1.0, ratio: 1.0, minutes: 0.0 }
    }

    /// What multiplies the model's noise variances, 1 to 16.
    pub const fn variance_scale(&self) -> f32 {
        self.variance_scale
    }

    /// The same as a factor of the standard deviation.
    pub fn scale(&self) -> f32 {
        math::sqrt(self.variance_scale)
    }

    /// Learns from one innovation² / variance, `minutes` after the one before.
    pub fn learn(&mut self, normalised_square: f32, minutes: f32) {
        let minutes = minutes.within(0.0, 10.0);
        // 1 − e^(−x) for an x under 0.014: to 4e-5 of it
        let x = minutes / MEMORY_MIN;
        let share = x * (1.0 - 0.5 * x);
        self.ratio += share * (normalised_square.at_most(MOST) - self.ratio);
        self.minutes += minutes;
        if self.minutes >= EVERY_MIN {
            self.minutes = 0.0;
            let fourth_root = math::sqrt(math::sqrt(self.ratio));
            self.variance_scale = (self.variance_scale * fourth_root).within(LEAST, GREATEST);
        }
    }
}

impl Coded for Servo {
    fn code(&mut self, codec: &mut Codec<'_>) {
        let Self { variance_scale, ratio, minutes } = self;
        codec.within(variance_scale, LEAST, GREATEST);
        codec.within(ratio, 0.0, MOST);
        codec.within(minutes, 0.0, EVERY_MIN);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    #[cfg_attr(miri, ignore = "too slow")]
    fn settles_where_the_ratio_is_one_and_stays_within_bounds() {
        // a sensor of twice the assumed variance: the ratio seen is 2 / scale
        let mut servo = Servo::new();
        for _ in 0..3000 {
            servo.learn(2.0 / servo.variance_scale(), 5.0);
        }
        assert!((servo.variance_scale() - 2.0).abs() < 0.05, "{}", servo.variance_scale());
        for _ in 0..100_000 {
            servo.learn(1e30, 5.0);
        }
        assert!((servo.variance_scale() - 16.0).abs() < 1e-6);
        for _ in 0..100_000 {
            servo.learn(0.0, 5.0);
        }
        assert!((servo.variance_scale() - 1.0).abs() < 1e-6);
    }

    #[test]
    fn the_average_and_the_scale_move_as_worked_out() {
        // 1 − e^(−5/720) = 0.006920391, of 4 − 1
        let mut servo = Servo::new();
        servo.learn(4.0, 5.0);
        assert!((servo.ratio - 1.020_761_2).abs() < 1e-6, "{}", servo.ratio);
        // the scale at half an hour, by the fourth root, and not before
        for _ in 0..4 {
            servo.learn(4.0, 5.0);
            assert_eq!(servo.variance_scale(), 1.0);
        }
        servo.learn(4.0, 5.0);
        // 1 + 3 (1 − e^(−30/720)) = 1.122432, its fourth root 1.029295
        assert!((servo.variance_scale() - 1.029_295).abs() < 1e-5, "{}", servo.variance_scale());
    }
}
