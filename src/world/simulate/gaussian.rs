//! A glucose that is a Gaussian process, for which the best possible estimate is known exactly.

use super::random::Random;
use super::truth::Truth;
use crate::error::{Error, in_range};
use crate::math;
use crate::units::{Glucose, Instant, Rate, Span};

/// How a [`GaussianWorld`] moves.
///
/// The defaults (150 ± 55 mg/dL, 35 and 120 minutes) give a rate with a standard deviation of
/// 55/√(35·120) = 0.85 mg/dL/min, near that of people with type 1 diabetes.
///
/// In a file (feature `serde`) it is a table of `mean_mg_dl`, `sd_mg_dl`, `rate_min` and `reversion_min`, as
/// [`new`](Self::new) takes them; a key left out is the default's.
///
/// # Examples
/// ```
/// use glidepath::simulate::GaussianWorldConfig;
/// let livelier = GaussianWorldConfig::new(150.0, 55.0, 20.0, 120.0)?;
/// assert!(livelier.rate_min() < GaussianWorldConfig::DEFAULT.rate_min());
/// assert!(GaussianWorldConfig::new(150.0, 55.0, 35.0, 36.0).is_err()); // the two times too near each other
/// # Ok::<(), glidepath::Error>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct GaussianWorldConfig {
    pub(super) mean: f32,
    pub(super) sd: f32,
    pub(super) fast_min: f32,
    pub(super) slow_min: f32,
}

impl GaussianWorldConfig {
    /// 150 ± 55 mg/dL, 35 and 120 minutes.
    pub const DEFAULT: Self = Self { mean: 150.0, sd: 55.0, fast_min: 35.0, slow_min: 120.0 };

    /// A world of this mean (0 to 1000) and standard deviation (1 to 200), both mg/dL, and these two time
    /// constants in minutes: of the rate (5 to 200) and of the return to the mean (more than 1.1 times the
    /// rate's, up to 10,000).
    ///
    /// # Errors
    /// When a value is outside its range, or the slow time constant is too near the fast one.
    pub const fn new(
        mean_mg_dl: f32,
        sd_mg_dl: f32,
        rate_min: f32,
        reversion_min: f32,
    ) -> Result<Self, Error> {
        match (
            in_range("mean_mg_dl", mean_mg_dl, 0.0, 1000.0),
            in_range("sd_mg_dl", sd_mg_dl, 1.0, 200.0),
            in_range("rate_min", rate_min, 5.0, 200.0),
            in_range("reversion_min", reversion_min, 1.1 * rate_min, 10_000.0),
        ) {
            (Ok(mean), Ok(sd), Ok(fast_min), Ok(slow_min)) => Ok(Self { mean, sd, fast_min, slow_min }),
            (Err(error), ..) | (_, Err(error), ..) | (_, _, Err(error), _) | (_, _, _, Err(error)) => {
                Err(error)
            }
        }
    }

    /// Mean glucose, mg/dL.
    #[must_use]
    pub const fn mean_mg_dl(&self) -> f32 {
        self.mean
    }

    /// Standard deviation of glucose, mg/dL.
    #[must_use]
    pub const fn sd_mg_dl(&self) -> f32 {
        self.sd
    }

    /// Time constant of the rate, minutes.
    #[must_use]
    pub const fn rate_min(&self) -> f32 {
        self.fast_min
    }

    /// Time constant of the return to the mean, minutes.
    #[must_use]
    pub const fn reversion_min(&self) -> f32 {
        self.slow_min
    }
}

impl Default for GaussianWorldConfig {
    fn default() -> Self {
        Self::DEFAULT
    }
}

/// Glucose as a second-order continuous autoregression: g″ + (a+b)·g′ + a·b·g = white noise, with time
/// constants 1/a and 1/b, started in its stationary distribution. About 50 bytes.
///
/// For such a glucose seen through a first-order lag and Gaussian noise, the Kalman filter of the same model
/// is the best estimator there is (R. E. Kalman, J Basic Eng 82:35, 1960): no method may do better.
///
/// Values outside 0 to 2000 mg/dL are clamped on the way out; at 150 ± 55 that is 0.3 % of them.
///
/// # Examples
/// ```
/// use glidepath::Span;
/// use glidepath::simulate::{GaussianWorld, GaussianWorldConfig};
/// let mut world = GaussianWorld::new(5, GaussianWorldConfig::DEFAULT);
/// let truth = world.step(Span::from_mins(5));
/// assert_eq!(truth.at().secs(), 300);
/// ```
#[derive(Clone, Debug)]
pub struct GaussianWorld {
    config: GaussianWorldConfig,
    random: Random,
    at: Instant,
    /// Deviation from the mean, mg/dL, and its rate, mg/dL/min.
    deviation: f32,
    rate: f32,
}

impl GaussianWorld {
    /// The world of `seed`, at the start of the epoch.
    #[must_use]
    pub fn new(seed: u64, config: GaussianWorldConfig) -> Self {
        let mut random = Random::new(seed, 20);
        let deviation = config.sd * random.normal();
        let rate = config.sd / math::sqrt(config.fast_min * config.slow_min) * random.normal();
        Self { config, random, at: Instant::from_secs(0), deviation, rate }
    }

    /// Lets `span` pass; a negative one counts as none.
    pub fn step(&mut self, span: Span) -> Truth {
        let mut left = span.secs();
        while left > 0 {
            // the quadrature of the noise is accurate over short pieces
            let piece = Span::from_secs(left.min(300));
            self.advance(piece.mins());
            self.at = self.at.plus(piece);
            left = left.saturating_sub(piece.secs());
        }
        self.truth()
    }

    /// The world as it is now.
    #[must_use]
    pub const fn truth(&self) -> Truth {
        Truth::new(self.at, Glucose::clamped(self.config.mean + self.deviation), Rate::clamped(self.rate))
    }

    fn advance(&mut self, d: f32) {
        let (a, b) = (1.0 / self.config.fast_min, 1.0 / self.config.slow_min);
        let (level, slope) = response(a, b, d);
        // response of the level to the level: slope + (a + b)·level
        let deviation = (slope + (a + b) * level) * self.deviation + level * self.rate;
        let rate = -a * b * level * self.deviation + slope * self.rate;
        self.deviation = deviation;
        self.rate = rate;
        // the noise gathered on the way, by three-point Gauss-Legendre quadrature of its covariance
        let intensity = 2.0 * (a + b) * a * b * self.config.sd * self.config.sd * d;
        for (place, weight) in NODES {
            let (level, slope) = response(a, b, place * d);
            let kick = math::sqrt(intensity * weight) * self.random.normal();
            self.deviation += level * kick;
            self.rate += slope * kick;
        }
    }
}

/// Nodes and weights on 0..1: Abramowitz and Stegun (1964), table 25.4, n = 3.
const NODES: [(f32, f32); 3] = [(0.112_701_67, 5.0 / 18.0), (0.5, 8.0 / 18.0), (0.887_298_33, 5.0 / 18.0)];

/// Level and rate, `s` minutes after a unit step of the rate.
fn response(a: f32, b: f32, s: f32) -> (f32, f32) {
    let (fast, slow) = (math::exp_fine(-a * s), math::exp_fine(-b * s));
    (slow * math::one_minus_exp_neg_fine((a - b) * s) / (a - b), (a * fast - b * slow) / (a - b))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn spread_and_memory_are_as_configured() {
        let config = GaussianWorldConfig::new(500.0, 55.0, 35.0, 120.0).unwrap();
        let (n, m) = if cfg!(miri) { (2_u16, 3) } else { (200, 300) };
        for step in [1, 5, 60] {
            let (mut sum, mut squares, mut rates, mut lagged) = (0.0_f32, 0.0_f32, 0.0_f32, 0.0_f32);
            for seed in 0..n {
                let mut world = GaussianWorld::new(u64::from(seed), config);
                for _ in 0..m {
                    let before = world.deviation;
                    world.step(Span::from_mins(step));
                    sum += world.deviation;
                    squares += world.deviation * world.deviation;
                    rates += world.rate * world.rate;
                    lagged += before * world.deviation;
                }
            }
            if cfg!(miri) {
                continue;
            }
            let count = f32::from(n) * m as f32;
            assert!((sum / count).abs() < 8.0, "mean {step}");
            assert!((math::sqrt(squares / count) / 55.0 - 1.0).abs() < 0.07, "sd {step}");
            assert!((math::sqrt(rates / count) / 0.8487 - 1.0).abs() < 0.05, "rate {step}");
            // autocorrelation of the process: (a e^(-bs) - b e^(-as)) / (a - b)
            let (a, b, s) = (1.0 / 35.0, 1.0 / 120.0, step as f32);
            let want = (a * math::exp_fine(-b * s) - b * math::exp_fine(-a * s)) / (a - b);
            assert!((lagged / squares - want).abs() < 0.02, "memory {step}: {} {want}", lagged / squares);
        }
    }

    #[test]
    fn too_near_time_constants_are_refused() {
        assert!(GaussianWorldConfig::new(150.0, 55.0, 35.0, 36.0).is_err());
        assert!(GaussianWorldConfig::new(150.0, f32::NAN, 35.0, 120.0).is_err());
    }
}
