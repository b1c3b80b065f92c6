//! Two unknowns and what is known of them, measured through one number: a Kalman filter's update without its prediction.
//!
//! Source: Kalman, Journal of Basic Engineering 1960 (from memory).

use crate::math::Bounded as _;

/// A measurement of `h`, as shares of the two unknowns, with its own variance. `p` is what is known of them: the variances and,
/// between them, the covariance. Gives the variance of what is measured, and by how much each unknown follows what was
/// measured beyond the expected.
#[inline(never)] // once for all that measures
pub(super) fn measured(p: &mut [f32; 3], h: [f32; 2], variance: f32) -> (f32, [f32; 2]) {
    let ([h1, h2], [p11, p12, p22]) = (h, *p);
    let (ph1, ph2) = (p11 * h1 + p12 * h2, p12 * h1 + p22 * h2);
    let spread = (h1 * ph1 + h2 * ph2 + variance).at_least(1e-3);
    let (k1, k2) = (ph1 / spread, ph2 / spread);
    *p = [p11 - k1 * ph1, p12 - k1 * ph2, p22 - k2 * ph2];
    (spread, [k1, k2])
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_measurement_is_as_worked_by_hand() {
        // P h = (4 + 2, 1 + 6) for h = (1, 2); h P h = 6 + 14; with a variance of 5 the spread is 25
        let mut p = [4.0, 1.0, 3.0];
        let (spread, [k1, k2]) = measured(&mut p, [1.0, 2.0], 5.0);
        let [p11, p12, p22] = p;
        assert_eq!(spread, 25.0);
        let near = |a: f32, b: f32| assert!((a - b).abs() < 1e-6, "{a} {b}");
        near(k1, 0.24);
        near(k2, 0.28);
        near(p11, 4.0 - 36.0 / 25.0);
        near(p12, 1.0 - 42.0 / 25.0);
        near(p22, 3.0 - 49.0 / 25.0);
    }

    #[test]
    fn what_nothing_is_open_of_stays_finite() {
        let mut p = [0.0; 3];
        assert_eq!(measured(&mut p, [1.0, -1.0], 0.0), (1e-3, [0.0; 2]));
        assert_eq!(p, [0.0; 3]);
    }
}
