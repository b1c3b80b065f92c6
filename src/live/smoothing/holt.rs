//! Exponential smoothing of level and slope.

use super::level::Level;
use super::window::LONGEST_GAP;
use crate::error::{Error, in_range};
use crate::math;
use crate::units::{Glucose, Instant, Rate};

/// A level and a slope whose memories fade with time constants of their own.
///
/// With α = 1 − e^(−dt/τ₁) and β = 1 − e^(−dt/τ₂), each reading's surprise moves the level by α of it and the
/// slope by α·β/dt of it. There is no delay on a ramp; of the variance of white noise it leaves
/// (2α² + αβ(2 − 3α)) / (α(4 − 2α − αβ)). After a gap of more than an hour it starts anew.
///
/// # Memory
/// 24 bytes.
///
/// # Source
/// C. C. Holt, 1957, reprinted in Int J Forecasting 20:5, 2004. Noise gain: that of the alpha-beta filter with gains
/// α and αβ, P. R. Kalata, IEEE Trans Aerosp Electron Syst 20:174, 1984 (from memory, checked by the tests).
///
/// # Examples
/// ```
/// use glidepath::smoothing::Holt;
/// use glidepath::{Glucose, Instant};
/// let mut holt = Holt::new(7.0, 20.0)?;
/// let mut last = None;
/// for i in 0..60_u16 {
///     let glucose = Glucose::from_mg_dl(100.0 + 5.0 * f32::from(i))?;
///     last = holt.step(Instant::from_secs(300 * u32::from(i)), glucose).rate();
/// }
/// assert_eq!(last.map(|rate| rate.tenths_mg_dl_per_min()), Some(10));
/// # Ok::<(), glidepath::Error>(())
/// ```
#[derive(Clone, Debug)]
pub struct Holt {
    level_time: f32,
    slope_time: f32,
    last: Option<State>,
}

#[derive(Clone, Copy, Debug)]
struct State {
    at: Instant,
    level: f32,
    slope: f32,
}

impl Holt {
    /// With time constants for level and slope, each 0.1 to 360 minutes.
    ///
    /// # Errors
    /// When one is outside that range.
    pub const fn new(level_min: f32, slope_min: f32) -> Result<Self, Error> {
        match (in_range("level_min", level_min, 0.1, 360.0), in_range("slope_min", slope_min, 0.1, 360.0)) {
            (Ok(level_time), Ok(slope_time)) => Ok(Self { level_time, slope_time, last: None }),
            (Err(error), _) | (_, Err(error)) => Err(error),
        }
    }

    /// Takes a reading.
    pub fn step(&mut self, at: Instant, glucose: Glucose) -> Level {
        let y = glucose.mg_dl();
        let state = match self.last {
            Some(last) if at <= last.at => last,
            Some(last) if at.since(last.at).mins() <= LONGEST_GAP => {
                let dt = at.since(last.at).mins();
                let surprise = y - (last.level + last.slope * dt);
                let alpha = math::one_minus_exp_neg(dt / self.level_time);
                let beta = math::one_minus_exp_neg(dt / self.slope_time);
                State {
                    at,
                    level: y - (1.0 - alpha) * surprise,
                    slope: last.slope + alpha * beta * surprise / dt,
                }
            }
            _ => State { at, level: y, slope: 0.0 },
        };
        self.last = Some(state);
        Level { glucose: Glucose::clamped(state.level), rate: Some(Rate::clamped(state.slope)) }
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
    fn noise_gain_is_that_of_the_alpha_beta_filter_and_there_is_no_delay() {
        let mut holt = Holt::new(8.0, 25.0).unwrap();
        let (a, b) = (1.0 - (-5.0_f64 / 8.0).exp(), 1.0 - (-5.0_f64 / 25.0).exp());
        let (a, b) = (a, a * b);
        let want = (2.0 * a * a + b * (2.0 - 3.0 * a)) / (a * (4.0 - 2.0 * a - b));
        close(noise_gain(&weights(|at, y| holt.step(at, y), 120)), want, 1e-4);
        let mut holt = Holt::new(8.0, 25.0).unwrap();
        let (behind, rate) = delay(|at, y| holt.step(at, y));
        close(f64::from(behind), 0.0, 1e-2);
        close(f64::from(rate.unwrap()), 0.8, 1e-3);
    }
}
