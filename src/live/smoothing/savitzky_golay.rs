//! The end point of a line or parabola fitted to the last minutes.

use super::level::Level;
use super::window::Window;
use crate::error::{Error, ErrorKind};
use crate::units::{Glucose, Instant, Rate};

/// A least-squares line or parabola through the readings of the last minutes, at most `N`, at their real times;
/// the level and rate are those at the newest reading.
///
/// Nothing is late on a line (or parabola). N evenly spaced readings leave (4N−2)/(N(N+1)) of the variance of
/// white noise with a line, and 3(3N²−3N+2)/(N(N+1)(N+2)) with a parabola: 1, that is no smoothing, for N = 3.
/// Readings too few for the order get a lower one.
///
/// # Memory
/// 6 bytes a reading and about 20.
///
/// # Source
/// A. Savitzky and M. Golay, Anal Chem 36:1627, 1964; end point: P. A. Gorry, Anal Chem 62:570, 1990; for uneven
/// times by orthogonal polynomials, G. E. Forsythe, J SIAM 5:74, 1957.
///
/// # Examples
/// ```
/// use glidepath::smoothing::SavitzkyGolay;
/// use glidepath::{Glucose, Instant};
/// let mut line = SavitzkyGolay::<8>::new(20.0, 1)?;
/// let mut last = None;
/// for (minute, mg_dl) in [(0, 100.0), (4, 104.0), (11, 111.0), (15, 115.0)] {
///     last = line.step(Instant::from_secs(60 * minute), Glucose::from_mg_dl(mg_dl)?).rate();
/// }
/// assert_eq!(last.map(|rate| rate.tenths_mg_dl_per_min()), Some(10));
/// # Ok::<(), glidepath::Error>(())
/// ```
#[derive(Clone, Debug)]
pub struct SavitzkyGolay<const N: usize> {
    window: Window<N>,
    order: u8,
}

impl<const N: usize> SavitzkyGolay<N> {
    /// Over `window_min` minutes, 1 to 360, with a polynomial of order 1 or 2.
    ///
    /// # Errors
    /// When the window or the order is out of range.
    pub fn new(window_min: f32, order: u8) -> Result<Self, Error> {
        if order == 1 || order == 2 {
            Ok(Self { window: Window::new(window_min)?, order })
        } else {
            Err(Error::new("order", ErrorKind::OutOfRange))
        }
    }

    /// Takes a reading.
    pub fn step(&mut self, at: Instant, glucose: Glucose) -> Level {
        self.window.push(at, glucose);
        let scale = self.window.length.mins();
        let points = || self.window.iter().map(|(t, y)| (t / scale, y));
        // polynomials orthogonal on the real times u = −1..0: 1, u − m, (u − c)(u − m) − v
        let (n, sum_u, sum_y) =
            points().fold((0.0_f32, 0.0_f32, 0.0_f32), |(n, su, sy), (u, y)| (n + 1.0, su + u, sy + y));
        let (m, mean) = (sum_u / n, sum_y / n);
        let (s1, s1_y, s1_u) = points().fold((0.0_f32, 0.0_f32, 0.0_f32), |(s, sy, su), (u, y)| {
            let p = u - m;
            (s + p * p, sy + p * (y - mean), su + p * p * u)
        });
        let (mut level, mut slope, mut known) = (mean, 0.0, false);
        // two readings a second apart are apart by 5e-5 of the longest window
        if n > 1.5 && s1 > 1e-10 {
            let first = s1_y / s1;
            level += first * -m;
            slope += first;
            known = true;
            let (c, v) = (s1_u / s1, s1 / n);
            let (s2, s2_y) = points().fold((0.0_f32, 0.0_f32), |(s, sy), (u, y)| {
                let p = (u - c) * (u - m) - v;
                (s + p * p, sy + p * (y - mean - first * (u - m)))
            });
            if self.order == 2 && n > 2.5 && s2 > 1e-10 {
                let second = s2_y / s2;
                level += second * (c * m - v);
                slope += second * -(c + m);
            }
        }
        Level { glucose: Glucose::clamped(level), rate: known.then(|| Rate::clamped(slope / scale)) }
    }

    /// Forgets everything.
    pub fn reset(&mut self) {
        self.window.clear();
    }
}

#[cfg(test)]
mod tests {
    use super::super::tests::{close, delay, noise_gain, weights};
    use super::*;

    #[test]
    #[cfg_attr(miri, ignore = "too slow")]
    fn noise_gains_are_the_closed_forms() {
        for n in [3_u8, 4, 5, 7] {
            let window = 5.0 * f32::from(n - 1);
            let m = f64::from(n);
            let mut line = SavitzkyGolay::<8>::new(window, 1).unwrap();
            let want = (4.0 * m - 2.0) / (m * (m + 1.0));
            close(noise_gain(&weights(|at, y| line.step(at, y), 10)), want, 1e-4);
            let mut parabola = SavitzkyGolay::<8>::new(window, 2).unwrap();
            let want = 3.0 * (3.0 * m * m - 3.0 * m + 2.0) / (m * (m + 1.0) * (m + 2.0));
            close(noise_gain(&weights(|at, y| parabola.step(at, y), 10)), want, 1e-4);
        }
    }

    #[test]
    fn published_weights_of_the_end_point() {
        // five points, order 2, at the last: (3, -5, -3, 9, 31)/35, Gorry 1990
        let mut parabola = SavitzkyGolay::<8>::new(20.0, 2).unwrap();
        let got = weights(|at, y| parabola.step(at, y), 5);
        for (got, want) in got.iter().zip([31.0, 9.0, -3.0, -5.0, 3.0]) {
            close(*got, want / 35.0, 1e-4);
        }
    }

    #[test]
    fn a_parabola_at_uneven_times_is_followed_exactly() {
        let mut parabola = SavitzkyGolay::<8>::new(30.0, 2).unwrap();
        let curve = |t: f32| 100.0 + 2.0 * t + 0.1 * t * t;
        let mut last = None;
        for minute in [0_u16, 3, 4, 11, 18, 25, 30] {
            let t = f32::from(minute);
            let level = parabola.step(Instant::from_secs(u32::from(minute) * 60), Glucose::clamped(curve(t)));
            if minute > 4 {
                assert!((level.glucose().mg_dl() - curve(t)).abs() < 0.2);
                last = level.rate();
            }
        }
        close(f64::from(last.unwrap().mg_dl_per_min()), 8.0, 0.02);
    }

    #[test]
    fn no_delay_on_a_ramp() {
        let mut line = SavitzkyGolay::<8>::new(20.0, 1).unwrap();
        let (behind, rate) = delay(|at, y| line.step(at, y));
        close(f64::from(behind), 0.0, 1e-2);
        close(f64::from(rate.unwrap()), 0.8, 1e-3);
        assert!(SavitzkyGolay::<8>::new(20.0, 3).is_err());
    }
}
