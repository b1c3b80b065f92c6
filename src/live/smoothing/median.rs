//! The median of the last minutes.

use super::level::Level;
use super::window::Window;
use crate::error::Error;
use crate::math;
use crate::units::{Glucose, Instant};

/// The median of the readings of the last minutes, at most `N`. It says no rate.
///
/// A lone spike does not get through; on a ramp it runs half the window behind and, since it then picks the
/// middle reading, removes no noise. In steady glucose it leaves about π/(2N) of the variance of white noise.
///
/// # Memory
/// 6 bytes a reading and about 16; `step` sorts a copy of 4 bytes a reading.
///
/// # Source
/// J. W. Tukey, Exploratory Data Analysis, 1977, ch. 7.
///
/// # Examples
/// ```
/// use glidepath::smoothing::MovingMedian;
/// use glidepath::{Glucose, Instant};
/// let mut median = MovingMedian::<4>::new(15.0)?;
/// for (minute, mg_dl) in [(0, 100.0), (5, 180.0), (10, 102.0)] {
///     let level = median.step(Instant::from_secs(60 * minute), Glucose::from_mg_dl(mg_dl)?);
///     assert!(level.glucose().mg_dl() <= 140.0);
/// }
/// # Ok::<(), glidepath::Error>(())
/// ```
#[derive(Clone, Debug)]
pub struct MovingMedian<const N: usize> {
    window: Window<N>,
}

impl<const N: usize> MovingMedian<N> {
    /// Over `window_min` minutes, 1 to 360; each reading stands for the time since the one before, so that
    /// one exactly that old no longer counts: 15 minutes are three readings five minutes apart.
    ///
    /// # Errors
    /// When outside that range.
    pub fn new(window_min: f32) -> Result<Self, Error> {
        Ok(Self { window: Window::open(window_min)? })
    }

    /// Takes a reading.
    pub fn step(&mut self, at: Instant, glucose: Glucose) -> Level {
        self.window.push(at, glucose);
        let mut sorted = [0.0_f32; N];
        let mut n = 0_usize;
        for (place, (_, y)) in sorted.iter_mut().zip(self.window.iter()) {
            *place = y;
            n = n.saturating_add(1);
        }
        let values = sorted.get_mut(..n).unwrap_or_default();
        math::sort(values);
        // the middle one, or the mean of the middle two
        let low = values.get(n.saturating_sub(1) >> 1).copied().unwrap_or_default();
        let high = values.get(n >> 1).copied().unwrap_or_default();
        Level { glucose: Glucose::clamped(0.5 * (low + high)), rate: None }
    }

    /// Forgets everything.
    pub fn reset(&mut self) {
        self.window.clear();
    }
}

#[cfg(test)]
mod tests {
    use super::super::tests::{close, delay, weights};
    use super::*;

    #[test]
    #[cfg_attr(miri, ignore = "too slow")]
    fn a_spike_does_not_get_through_and_a_ramp_is_late() {
        let new = || MovingMedian::<8>::new(25.0).unwrap();
        let mut median = new();
        assert!(weights(|at, y| median.step(at, y), 8).iter().all(|w| w.abs() < 1e-9));
        let mut median = new();
        close(f64::from(delay(|at, y| median.step(at, y)).0), 10.0, 1e-3);
    }

    #[test]
    fn an_even_count_takes_the_middle_two() {
        let mut median = MovingMedian::<2>::new(60.0).unwrap();
        median.step(Instant::from_secs(0), Glucose::clamped(100.0));
        let level = median.step(Instant::from_secs(300), Glucose::clamped(110.0));
        assert_eq!(level.glucose().whole_mg_dl(), 105);
    }
}
