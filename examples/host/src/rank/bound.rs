//! How well anyone could do: the exact bound for the Gaussian world.
//!
//! For Gaussian glucose of known dynamics, seen through a first-order lag and Gaussian noise, no causal method has
//! a smaller mean square error than the Kalman filter of the same model (R. E. Kalman, J Basic Eng 82:35, 1960).
//! Its error needs no simulation: iterate the Riccati equation until it stands still.

use glidepath::simulate::{GaussianWorldConfig, SensorModel};

const N: usize = 4;
type Matrix = [[f64; N]; N];

/// Smallest root mean square errors any causal method can reach.
#[derive(Clone, Copy, Debug)]
pub struct Bound {
    /// Plasma glucose now, mg/dL.
    pub now: f64,
    /// Its rate, mg/dL/min.
    pub rate: f64,
    /// Plasma glucose at each of the asked horizons, mg/dL.
    pub ahead: [f64; super::HORIZONS.len()],
}

/// The bound for readings every `interval` minutes of a sensor with this lag (minutes) and noise.
pub fn bound(world: &GaussianWorldConfig, sensor: &SensorModel, lag: f64, interval: f64) -> Bound {
    let (a, b) = (1.0 / f64::from(world.rate_min()), 1.0 / f64::from(world.reversion_min()));
    let (sd, time) = sensor.coloured_noise();
    let (sd, time) = (f64::from(sd), f64::from(time));
    let variance = f64::from(world.sd_mg_dl()).powi(2);
    // glucose, rate, interstitial glucose, coloured noise: dx = A x dt + noise of these intensities
    let system = [
        [0.0, 1.0, 0.0, 0.0],
        [-a * b, -(a + b), 0.0, 0.0],
        [1.0 / lag, 0.0, -1.0 / lag, 0.0],
        [0.0, 0.0, 0.0, -1.0 / time],
    ];
    let mut intensity = [0.0; N];
    intensity[1] = 2.0 * (a + b) * a * b * variance;
    intensity[3] = 2.0 * sd * sd / time;
    // whole numbers are shown: the noise of rounding is 1/12
    let white = f64::from(sensor.white_noise()).powi(2) + 1.0 / 12.0;

    let (f, q) = over(&system, &intensity, interval);
    let mut p = [[0.0; N]; N];
    for (i, start) in [variance, a * b * variance, variance, sd * sd].into_iter().enumerate() {
        p[i][i] = start;
    }
    for _ in 0..(4000.0 / interval) as usize {
        p = predicted(&p, &f, &q);
        let gain: [f64; N] = core::array::from_fn(|i| p[i][2] + p[i][3]);
        let s = gain[2] + gain[3] + white;
        for i in 0..N {
            for j in 0..N {
                p[i][j] -= gain[i] * gain[j] / s;
            }
        }
    }
    Bound {
        now: p[0][0].sqrt(),
        rate: p[1][1].sqrt(),
        ahead: super::HORIZONS.map(|minutes| {
            let (f, q) = over(&system, &intensity, f64::from(minutes));
            predicted(&p, &f, &q)[0][0].sqrt()
        }),
    }
}

/// Transition and gathered noise over `minutes`, by steps of a sixteenth of a minute.
fn over(system: &Matrix, intensity: &[f64; N], minutes: f64) -> (Matrix, Matrix) {
    let steps = (minutes * 16.0).ceil();
    let h = minutes / steps;
    // e^(Ah) to fifth order
    let mut step = identity();
    for k in (1..=5).rev() {
        step = product(&scaled(system, h / f64::from(k)), &step);
        for (i, row) in step.iter_mut().enumerate() {
            row[i] += 1.0;
        }
    }
    // the noise of one small step, to second order in h: the trapezium of e^(As) Q e^(As)ᵀ
    let mut noise = [[0.0; N]; N];
    for (i, value) in intensity.iter().enumerate() {
        noise[i][i] = value * h / 2.0;
    }
    let ended = predicted(&noise, &step, &noise);
    let (mut f, mut q) = (identity(), [[0.0; N]; N]);
    for _ in 0..steps as usize {
        f = product(&step, &f);
        q = predicted(&q, &step, &ended);
    }
    (f, q)
}

/// F P Fᵀ + Q.
fn predicted(p: &Matrix, f: &Matrix, q: &Matrix) -> Matrix {
    let fp = product(f, p);
    core::array::from_fn(|i| {
        core::array::from_fn(|j| q[i][j] + (0..N).map(|k| fp[i][k] * f[j][k]).sum::<f64>())
    })
}

fn product(a: &Matrix, b: &Matrix) -> Matrix {
    core::array::from_fn(|i| core::array::from_fn(|j| (0..N).map(|k| a[i][k] * b[k][j]).sum()))
}

fn scaled(a: &Matrix, by: f64) -> Matrix {
    a.map(|row| row.map(|value| value * by))
}

fn identity() -> Matrix {
    core::array::from_fn(|i| core::array::from_fn(|j| f64::from(u8::from(i == j))))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn close(got: f64, want: f64, tolerance: f64) {
        assert!((got - want).abs() <= tolerance, "{got} against {want}");
    }

    #[test]
    fn bounds_agree_with_an_independent_computation() {
        // by an independent script in double precision (matrix exponentials by squaring, Simpson's rule):
        // now, 30 and 60 minutes ahead, rate
        let world = GaussianWorldConfig::DEFAULT;
        for (sensor, interval, want) in [
            (SensorModel::WHITE, 5.0, [5.9321, 21.603, 34.0116, 0.6592]),
            (SensorModel::WHITE, 1.0, [4.4576, 20.4813, 33.2674, 0.6237]),
            (SensorModel::CORRELATED, 5.0, [7.2285, 21.8776, 34.1224, 0.6581]),
            (SensorModel::CORRELATED, 1.0, [6.9698, 21.6265, 33.9516, 0.6496]),
            (SensorModel::EARLY, 5.0, [11.7944, 24.4351, 35.6329, 0.6988]),
            (SensorModel::EARLY, 1.0, [11.777, 24.415, 35.6173, 0.6976]),
        ] {
            let got = bound(&world, &sensor, 8.0, interval);
            close(got.now, want[0], 1e-3 * want[0]);
            close(got.ahead[1], want[1], 1e-3 * want[1]);
            close(got.ahead[3], want[2], 1e-3 * want[2]);
            close(got.rate, want[3], 1e-3 * want[3]);
        }
    }

    #[test]
    fn without_noise_and_lag_only_the_future_is_unknown() {
        let world = GaussianWorldConfig::DEFAULT;
        let sensor = SensorModel::WHITE.with_noise_scale(0.0).unwrap();
        // readings every minute through a short lag leave little to learn: knowing level and rate exactly gives
        // 14.7 at 30 minutes and 29.2 at 60 (same script)
        let got = bound(&world, &sensor, 1.0, 1.0);
        assert!(got.ahead[1] > 14.7 && got.ahead[1] < 17.0, "{got:?}");
        assert!(got.ahead[3] > 29.2 && got.ahead[3] < 31.0, "{got:?}");
    }
}
