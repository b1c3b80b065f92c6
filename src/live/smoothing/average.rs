//! The mean of the last minutes.

use super::level::Level;
use super::window::Window;
use crate::error::Error;
use crate::units::{Glucose, Instant};

/// The mean of the readings of the last minutes, at most `N`. It says no rate.
///
/// With N readings dt apart it leaves 1/N of the variance of white noise and runs (N−1)·dt/2 behind a ramp.
///
/// # Memory
/// 6 bytes a reading and about 16.
///
/// # Source
/// Textbook; for glucose sensors see A. Facchinetti et al., IEEE Trans Biomed Eng 57:634, 2010, who compare
/// one with a Kalman filter.
///
/// # Examples
/// ```
/// use glidepath::smoothing::MovingAverage;
/// use glidepath::{Glucose, Instant};
/// let mut average = MovingAverage::<4>::new(15.0)?;
/// let mut last = None;
/// for (minute, mg_dl) in [(0, 90.0), (5, 100.0), (10, 110.0), (15, 150.0)] {
///     last = Some(average.step(Instant::from_secs(60 * minute), Glucose::from_mg_dl(mg_dl)?));
/// }
/// // the window holds the readings of minutes 5, 10 and 15
/// assert_eq!(last.map(|level| level.glucose().whole_mg_dl()), Some(120));
/// # Ok::<(), glidepath::Error>(())
/// ```
#[derive(Clone, Debug)]
pub struct MovingAverage<const N: usize> {
    window: Window<N>,
}

impl<const N: usize> MovingAverage<N> {
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
        let (sum, count) = self.window.iter().fold((0.0, 0.0), |(sum, n), (_, y)| (sum + y, n + 1.0));
        Level { glucose: Glucose::clamped(sum / count), rate: None }
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
    fn noise_and_delay_are_the_textbook_ones() {
        let new = || MovingAverage::<8>::new(20.0).unwrap();
        let mut average = new();
        close(noise_gain(&weights(|at, y| average.step(at, y), 10)), 0.25, 1e-6);
        let mut average = new();
        close(f64::from(delay(|at, y| average.step(at, y)).0), 7.5, 1e-3);
    }

    #[test]
    fn late_readings_change_nothing() {
        let mut average = MovingAverage::<8>::new(15.0).unwrap();
        average.step(Instant::from_secs(600), Glucose::clamped(100.0));
        let level = average.step(Instant::from_secs(300), Glucose::clamped(400.0));
        assert_eq!(level.glucose().whole_mg_dl(), 100);
        average.reset();
        assert_eq!(average.step(Instant::from_secs(0), Glucose::clamped(80.0)).glucose().whole_mg_dl(), 80);
    }
}
