//! The smoothers in common use, each usable alone: what an estimator has to beat.
//!
//! | type | in one line | delay on a ramp | noise variance left (white, N readings) |
//! | --- | --- | --- | --- |
//! | [`MovingAverage`] | mean of a window | half the window | 1/N |
//! | [`MovingMedian`] | median of a window | half the window | about π/(2N) |
//! | [`Exponential`] | fading memory | its time constant (near it) | α/(2−α) |
//! | [`Holt`] | fading memory of level and slope | none | see its docs |
//! | [`SavitzkyGolay`] | end point of a fitted line or parabola | none | (4N−2)/(N(N+1)) or 3(3N²−3N+2)/(N(N+1)(N+2)) |
//! | [`TwoStateKalman`] | Kalman filter of level and rate | none or little | by its gain |
//!
//! Removing delay costs noise and removing noise costs delay: no choice of window wins both. None of them knows
//! that a sensor lags behind blood, that its noise remembers, or that glucose turns round.
//!
//! All share one shape: `new` checks the settings, `step` takes a reading and gives a [`Level`], `reset` forgets.
//! Time constants and windows are in minutes and every formula uses the real times, so that any interval,
//! regular or not, will do. A reading no newer than the last is ignored: `step` then repeats its answer. The
//! windows keep tenths of a mg/dL up to 819.1, more than any sensor reads.
//!
//! # Examples
//! ```
//! use glidepath::smoothing::{Exponential, SavitzkyGolay};
//! use glidepath::{Glucose, Instant};
//! let mut smooth = Exponential::new(10.0)?;
//! let mut line = SavitzkyGolay::<8>::new(20.0, 1)?;
//! for (i, mg_dl) in [100.0, 104.0, 109.0, 115.0].into_iter().enumerate() {
//!     let (at, glucose) = (Instant::from_secs(300 * i as u32), Glucose::from_mg_dl(mg_dl)?);
//!     let level = line.step(at, glucose);
//!     assert!(smooth.step(at, glucose).glucose() <= level.glucose());
//! }
//! # Ok::<(), glidepath::Error>(())
//! ```

mod average;
mod exponential;
mod holt;
mod kalman;
mod level;
mod median;
mod savitzky_golay;
mod window;

pub use average::MovingAverage;
pub use exponential::Exponential;
pub use holt::Holt;
pub use kalman::TwoStateKalman;
pub use level::Level;
pub use median::MovingMedian;
pub use savitzky_golay::SavitzkyGolay;

#[cfg(test)]
mod tests {
    extern crate std;
    use super::*;
    use crate::units::{Glucose, Instant, Rate};
    use proptest::prelude::*;
    use std::vec::Vec;

    /// The answers to an impulse of 100 on a steady 500 read every five minutes, per unit of it: what a linear
    /// smoother weighs its readings with, newest first.
    pub(super) fn weights(mut step: impl FnMut(Instant, Glucose) -> Level, n: u32) -> Vec<f64> {
        let mut at = |i: u32, mg_dl: f32| {
            f64::from(step(Instant::from_secs(i * 300), Glucose::clamped(mg_dl)).glucose().mg_dl())
        };
        for i in 0..400 {
            at(i, 500.0);
        }
        (400..400 + n).map(|i| (at(i, if i == 400 { 600.0 } else { 500.0 }) - 500.0) / 100.0).collect()
    }

    pub(super) fn noise_gain(weights: &[f64]) -> f64 {
        weights.iter().map(|w| w * w).sum()
    }

    /// How many minutes a smoother runs behind a long ramp of 0.8 mg/dL/min, and the rate it says.
    pub(super) fn delay(mut step: impl FnMut(Instant, Glucose) -> Level) -> (f32, Option<f32>) {
        let mut last = (0.0, None);
        for i in 0..150_u16 {
            let mg_dl = 100.0 + 4.0 * f32::from(i);
            let level = step(Instant::from_secs(u32::from(i) * 300), Glucose::clamped(mg_dl));
            last = ((mg_dl - level.glucose().mg_dl()) / 0.8, level.rate().map(Rate::mg_dl_per_min));
        }
        last
    }

    pub(super) fn close(got: f64, want: f64, tolerance: f64) {
        let tolerance = if cfg!(feature = "micromath") { tolerance.max(2e-3) } else { tolerance };
        assert!((got - want).abs() <= tolerance, "{got} against {want}");
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(if cfg!(miri) { 2 } else { 64 }))]
        #[test]
        fn any_readings_at_any_times_give_finite_levels(
            readings in prop::collection::vec((0_u32..100_000, 0.0_f32..2000.0), 1..60)
        ) {
            let mut average = MovingAverage::<6>::new(15.0).unwrap();
            let mut median = MovingMedian::<6>::new(15.0).unwrap();
            let mut exponential = Exponential::new(10.0).unwrap();
            let mut holt = Holt::new(10.0, 20.0).unwrap();
            let mut line = SavitzkyGolay::<6>::new(20.0, 1).unwrap();
            let mut parabola = SavitzkyGolay::<6>::new(30.0, 2).unwrap();
            let mut kalman = TwoStateKalman::new(0.05, 5.0, None).unwrap();
            for (t, mg_dl) in readings {
                let (at, glucose) = (Instant::from_secs(t), Glucose::clamped(mg_dl));
                for level in [
                    average.step(at, glucose),
                    median.step(at, glucose),
                    exponential.step(at, glucose),
                    holt.step(at, glucose),
                    line.step(at, glucose),
                    parabola.step(at, glucose),
                    kalman.step(at, glucose),
                ] {
                    prop_assert!(level.glucose().mg_dl().is_finite());
                    prop_assert!(level.rate().is_none_or(|rate| rate.mg_dl_per_min().is_finite()));
                }
            }
        }
    }
}
