//! How rare low glucose is.
//!
//! Where two sensors differ and one of them reads low, either the person is low or that sensor errs. Lows are the rarer the
//! deeper they are, so the deeper one reads, the likelier it is that it errs. This weighs what is shown; alarms go by the lower
//! one all the same.

use crate::math::Bounded as _;

/// Below so many mg/dL glucose is the rarer the lower it is, …
const COMMON: f32 = 125.0;
/// … as a normal distribution with this standard deviation has it.
const SPREAD: f32 = 30.0;

/// By how much the first is rarer than the second, both mg/dL: the natural logarithm of odds.
pub(super) fn rarer(first: f32, second: f32) -> f32 {
    let [first, second] = [first, second].map(|glucose| (COMMON - glucose).at_least(0.0));
    (0.5 / (SPREAD * SPREAD)) * (first - second) * (first + second)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_deeper_the_rarer_and_what_is_not_low_is_not_rare() {
        // worked by hand: half the square of 2, of 1 and of a third
        for (glucose, want) in [(65.0, 2.0), (95.0, 0.5), (115.0, 1.0 / 18.0), (125.0, 0.0), (300.0, 0.0)] {
            assert!((rarer(glucose, 200.0) - want).abs() < 1e-5, "{glucose}");
            assert!((rarer(200.0, glucose) + want).abs() < 1e-5, "{glucose}");
        }
        assert!((rarer(65.0, 95.0) - 1.5).abs() < 1e-5, "of two lows the deeper one, by the difference");
    }
}
