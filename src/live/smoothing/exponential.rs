//! Exponential smoothing.

use super::level::Level;
use crate::error::{Error, in_range};
use crate::math;
use crate::units::{Glucose, Instant};

/// A mean whose memory fades with a time constant τ. It says no rate.
///
/// Each reading moves it by the share α = 1 − e^(−dt/τ): with readings every 5 minutes, τ = 7.2 is α = 0.5. It
/// leaves α/(2−α) of the variance of white noise and runs dt·(1−α)/α (a little under τ) behind a ramp.
///
/// # Memory
/// 16 bytes.
///
/// # Source
/// R. G. Brown, Smoothing, Forecasting and Prediction of Discrete Time Series, 1963; for irregular times D. J.
/// Wright, Management Science 32:499, 1986.
///
/// # Examples
/// ```
/// use glidepath::smoothing::Exponential;
/// use glidepath::{Glucose, Instant};
/// let mut smooth = Exponential::new(7.2)?;
/// smooth.step(Instant::from_secs(0), Glucose::from_mg_dl(100.0)?);
/// let level = smooth.step(Instant::from_secs(300), Glucose::from_mg_dl(110.0)?);
/// assert_eq!(level.glucose().whole_mg_dl(), 105);
/// # Ok::<(), glidepath::Error>(())
/// ```
#[derive(Clone, Debug)]
pub struct Exponential {
    time_constant: f32,
    last: Option<(Instant, f32)>,
}

impl Exponential {
    /// With a time constant of `minutes`, 0.1 to 360.
    ///
    /// # Errors
    /// When outside that range.
    pub const fn new(minutes: f32) -> Result<Self, Error> {
        match in_range("time_constant_min", minutes, 0.1, 360.0) {
            Ok(time_constant) => Ok(Self { time_constant, last: None }),
            Err(error) => Err(error),
        }
    }

    /// Takes a reading.
    pub fn step(&mut self, at: Instant, glucose: Glucose) -> Level {
        let (at, level) = match self.last {
            None => (at, glucose.mg_dl()),
            Some((last, level)) if at <= last => (last, level),
            Some((last, level)) => {
                let share = math::one_minus_exp_neg(at.since(last).mins() / self.time_constant);
                (at, level + share * (glucose.mg_dl() - level))
            }
        };
        self.last = Some((at, level));
        Level { glucose: Glucose::clamped(level), rate: None }
    }

    /// Forgets everything.
    pub const fn reset(&mut self) {
        self.last = None;
    }
}

#[cfg(test)]
mod tests {
    use super::super::tests::{close, delay, noise_gain, weights};
    use super::*;

    #[test]
    fn noise_and_delay_are_the_textbook_ones() {
        let new = || Exponential::new(5.0 / core::f32::consts::LN_2).unwrap();
        let mut half = new();
        close(noise_gain(&weights(|at, y| half.step(at, y), 60)), 0.5 / 1.5, 1e-4);
        let mut half = new();
        close(f64::from(delay(|at, y| half.step(at, y)).0), 5.0, 1e-3);
    }

    #[test]
    fn two_short_steps_fade_as_much_as_one_long() {
        let (mut one, mut two) = (Exponential::new(9.0).unwrap(), Exponential::new(9.0).unwrap());
        let (start, end) = (Glucose::clamped(100.0), Glucose::clamped(200.0));
        one.step(Instant::from_secs(0), start);
        two.step(Instant::from_secs(0), start);
        two.step(Instant::from_secs(130), end);
        let (one, two) = (one.step(Instant::from_secs(600), end), two.step(Instant::from_secs(600), end));
        let tolerance = if cfg!(feature = "micromath") { 0.1 } else { 1e-3 };
        assert!((one.glucose().mg_dl() - two.glucose().mg_dl()).abs() < tolerance);
    }
}
