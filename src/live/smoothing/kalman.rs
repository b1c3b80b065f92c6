//! The two-state Kalman filter: level and rate, white noise.

use super::level::Level;
use super::window::LONGEST_GAP;
use crate::error::{Error, in_range};
use crate::math;
use crate::units::{Glucose, Instant, Rate};

/// A Kalman filter of glucose and its rate. The rate wanders, or, damped, also dies away; the readings' noise
/// is taken for white.
///
/// # Units
/// `intensity` is that of the white noise driving the rate, (mg/dL/min)² per minute; a per-step variance λ² of
/// the twice integrated noise at spacing dt is about 1.5·λ²/dt³ of it. `noise_sd` is in mg/dL, `damping` in
/// minutes.
///
/// # Memory
/// 44 bytes. After a gap of more than an hour it starts anew.
///
/// # Source
/// R. E. Kalman, J Basic Eng 82:35, 1960; for glucose sensors A. Facchinetti, G. Sparacino and C. Cobelli, IEEE Trans
/// Biomed Eng 57:634, 2010, and C. C. Palerm and B. W. Bequette, J Diabetes Sci Technol 1:624, 2007. Covariance
/// update in Joseph's form.
///
/// # Examples
/// ```
/// use glidepath::smoothing::TwoStateKalman;
/// use glidepath::{Glucose, Instant};
/// let mut filter = TwoStateKalman::new(0.05, 5.0, None)?;
/// let mut last = None;
/// for i in 0..60_u16 {
///     let glucose = Glucose::from_mg_dl(100.0 + 5.0 * f32::from(i))?;
///     last = filter.step(Instant::from_secs(300 * u32::from(i)), glucose).rate();
/// }
/// assert_eq!(last.map(|rate| rate.tenths_mg_dl_per_min()), Some(10));
/// # Ok::<(), glidepath::Error>(())
/// ```
#[derive(Clone, Debug)]
pub struct TwoStateKalman {
    intensity: f32,
    variance: f32,
    damping: Option<f32>,
    last: Option<State>,
}

#[derive(Clone, Copy, Debug)]
struct State {
    at: Instant,
    level: f32,
    rate: f32,
    /// Covariance: level, level and rate, rate.
    p: [f32; 3],
}

/// Variance of the rate at the start, (mg/dL/min)².
const RATE_VARIANCE: f32 = 2.0;

impl TwoStateKalman {
    /// With `intensity` 1e-6 to 10, `noise_sd` 0.1 to 100, and a `damping` time of 5 to 1000 minutes or none.
    ///
    /// # Errors
    /// When one is outside its range.
    pub const fn new(intensity: f32, noise_sd: f32, damping_min: Option<f32>) -> Result<Self, Error> {
        if let Some(minutes) = damping_min
            && let Err(error) = in_range("damping_min", minutes, 5.0, 1000.0)
        {
            return Err(error);
        }
        match (in_range("intensity", intensity, 1e-6, 10.0), in_range("noise_sd", noise_sd, 0.1, 100.0)) {
            (Ok(intensity), Ok(sd)) => {
                Ok(Self { intensity, variance: sd * sd, damping: damping_min, last: None })
            }
            (Err(error), _) | (_, Err(error)) => Err(error),
        }
    }

    /// Takes a reading.
    pub fn step(&mut self, at: Instant, glucose: Glucose) -> Level {
        let state = match self.last {
            Some(last) if at <= last.at => last,
            Some(last) if at.since(last.at).mins() <= LONGEST_GAP => {
                let mut state = last;
                self.predict(&mut state, at.since(last.at).mins());
                self.update(&mut state, glucose.mg_dl());
                State { at, ..state }
            }
            _ => State { at, level: glucose.mg_dl(), rate: 0.0, p: [self.variance, 0.0, RATE_VARIANCE] },
        };
        self.last = Some(state);
        Level { glucose: Glucose::clamped(state.level), rate: Some(Rate::clamped(state.rate)) }
    }

    /// Forgets everything.
    pub const fn reset(&mut self) {
        self.last = None;
    }

    /// How far the level goes on and how much of the rate is left, `s` minutes on, per unit of rate.
    fn reach(&self, s: f32) -> (f32, f32) {
        self.damping.map_or((s, 1.0), |time| {
            let gone = math::one_minus_exp_neg(s / time);
            (time * gone, 1.0 - gone)
        })
    }

    fn predict(&self, state: &mut State, d: f32) {
        let (reach, left) = self.reach(d);
        state.level += reach * state.rate;
        state.rate *= left;
        let [ll, lr, rr] = state.p;
        let mut p = [ll + reach * (2.0 * lr + reach * rr), left * (lr + reach * rr), left * left * rr];
        // noise gathered on the way, by three-point Gauss-Legendre quadrature (Abramowitz and Stegun 25.4)
        for (place, weight) in [(0.112_701_67, 5.0 / 18.0), (0.5, 8.0 / 18.0), (0.887_298_33, 5.0 / 18.0)] {
            let (reach, left) = self.reach(place * d);
            let q = self.intensity * d * weight;
            let [ll, lr, rr] = &mut p;
            *ll += q * reach * reach;
            *lr += q * reach * left;
            *rr += q * left * left;
        }
        state.p = p;
    }

    fn update(&self, state: &mut State, y: f32) {
        let [ll, lr, rr] = state.p;
        let s = ll + self.variance;
        let (k, kr) = (ll / s, lr / s);
        let surprise = y - state.level;
        state.level += k * surprise;
        state.rate += kr * surprise;
        let rest = 1.0 - k;
        state.p = [
            rest * rest * ll + self.variance * k * k,
            rest * (lr - kr * ll) + self.variance * k * kr,
            rr - 2.0 * kr * lr + kr * kr * s,
        ];
    }
}

#[cfg(test)]
mod tests {
    use super::super::tests::{close, delay};
    use super::*;

    fn steady(damping: Option<f32>) -> [f32; 3] {
        let mut filter = TwoStateKalman::new(0.05, 5.0, damping).unwrap();
        for i in 0..200 {
            filter.step(Instant::from_secs(i * 300), Glucose::clamped(120.0));
        }
        filter.last.unwrap().p
    }

    #[test]
    fn steady_covariance_solves_the_riccati_equation() {
        // iterated in double precision by an independent script with the closed forms of the noise
        for (damping, want) in
            [(None, [15.802_125, 1.516_400, 0.396_041]), (Some(35.0), [14.496_841, 1.206_233, 0.317_588])]
        {
            for (got, want) in steady(damping).iter().zip(want) {
                close(f64::from(*got), want, 2e-3 * want.abs());
            }
        }
    }

    #[test]
    fn an_undamped_rate_catches_up_with_a_ramp() {
        let mut filter = TwoStateKalman::new(0.05, 5.0, None).unwrap();
        let (behind, rate) = delay(|at, y| filter.step(at, y));
        close(f64::from(behind), 0.0, 1e-2);
        close(f64::from(rate.unwrap()), 0.8, 1e-3);
    }
}
