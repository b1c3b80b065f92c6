//! What the estimator hands on: plasma glucose and its rate at one moment, with their uncertainty.

use crate::error::{Error, in_range};
use crate::math;
use crate::math::Bounded as _;
use crate::units::{Glucose, Instant, Rate};

/// A filter's rounding does not make it surer than this.
const LEAST_VARIANCE: f32 = 1e-6;
/// Nor is glucose less sure than by this, mg/dL.
const MOST_SD: f32 = 500.0;

/// Plasma glucose and its rate at one moment, with their joint uncertainty. 40 bytes.
///
/// The standard deviations describe a normal distribution: about 95 % of the time the truth lies within two
/// of them.
///
/// Features: `serde` gives `Serialize` and `Deserialize`, `defmt` gives `Format`.
///
/// # Examples
/// ```
/// use glidepath::{Estimate, Glucose, Instant, Rate};
/// let estimate = Estimate::new(
///     Instant::from_secs(0),
///     Glucose::from_mg_dl(92.0)?,
///     Rate::from_mg_dl_per_min(-1.5)?,
///     7.0, // mg/dL
///     0.6, // mg/dL/min
///     0.5, // correlation of the two errors
/// )?;
/// assert_eq!(estimate.glucose().whole_mg_dl(), 92);
/// assert!((estimate.glucose_sd() - 7.0).abs() < 1e-6);
/// # Ok::<(), glidepath::Error>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "serde", serde(try_from = "AsWritten"))]
pub struct Estimate {
    at: Instant,
    glucose: Glucose,
    rate: Rate,
    slow_rate: Rate,
    interstitial_difference: f32,
    moving_probability: f32,
    glucose_variance: f32,
    covariance: f32,
    rate_variance: f32,
    doubted: bool,
}

/// An [`Estimate`] as written: read back through its gate.
#[cfg(feature = "serde")]
#[derive(serde::Deserialize)]
#[serde(deny_unknown_fields, rename = "Estimate")]
struct AsWritten {
    at: Instant,
    glucose: Glucose,
    rate: Rate,
    slow_rate: Rate,
    interstitial_difference: f32,
    moving_probability: f32,
    glucose_variance: f32,
    covariance: f32,
    rate_variance: f32,
    doubted: bool,
}

#[cfg(feature = "serde")]
impl TryFrom<AsWritten> for Estimate {
    type Error = Error;
    fn try_from(written: AsWritten) -> Result<Self, Error> {
        let AsWritten { at, glucose, rate, slow_rate, doubted, .. } = written;
        let glucose_variance =
            in_range("glucose_variance", written.glucose_variance, 0.0, MOST_SD * MOST_SD)?;
        let rate_variance = in_range("rate_variance", written.rate_variance, 0.0, 2_500.0)?;
        // a correlation of 1 may be rounded beyond it
        let most = 1.000_01 * math::sqrt(glucose_variance) * math::sqrt(rate_variance);
        Ok(Self {
            at,
            glucose,
            rate,
            slow_rate,
            interstitial_difference: in_range(
                "interstitial_difference",
                written.interstitial_difference,
                -Glucose::MAX_MG_DL,
                Glucose::MAX_MG_DL,
            )?,
            moving_probability: in_range("moving_probability", written.moving_probability, 0.0, 1.0)?,
            glucose_variance,
            covariance: in_range("covariance", written.covariance, -most, most)?,
            rate_variance,
            doubted,
        })
    }
}

impl Estimate {
    /// An estimate from its parts: standard deviations in mg/dL (0 to 500) and mg/dL/min (0 to 50), and the
    /// correlation of the two errors (−1 to 1). The rate is taken to have been the same
    /// for a while: the slow rate is the rate, interstitial glucose lies as far behind as the estimator commonly
    /// finds it then, and moving is likely when the rate is steep.
    ///
    /// # Errors
    /// Names the parameter that is out of range.
    pub fn new(
        at: Instant,
        glucose: Glucose,
        rate: Rate,
        glucose_sd: f32,
        rate_sd: f32,
        correlation: f32,
    ) -> Result<Self, Error> {
        let glucose_sd = in_range("glucose_sd", glucose_sd, 0.0, MOST_SD)?;
        let rate_sd = in_range("rate_sd", rate_sd, 0.0, 50.0)?;
        let correlation = in_range("correlation", correlation, -1.0, 1.0)?;
        Ok(Self {
            at,
            glucose,
            rate,
            slow_rate: rate,
            interstitial_difference: -8.9 * rate.mg_dl_per_min(),
            moving_probability: (0.3 + 0.15 * rate.mg_dl_per_min().abs()).at_most(0.9),
            glucose_variance: glucose_sd * glucose_sd,
            covariance: correlation * glucose_sd * rate_sd,
            rate_variance: rate_sd * rate_sd,
            doubted: false,
        })
    }

    /// From what the filter computed; values are brought into the range of their types.
    pub(crate) const fn from_filter(
        at: Instant,
        (glucose, rate, slow_rate): (f32, f32, f32),
        (interstitial_difference, moving_probability): (f32, f32),
        (glucose_variance, covariance, rate_variance): (f32, f32, f32),
    ) -> Self {
        Self {
            at,
            glucose: Glucose::clamped(glucose),
            rate: Rate::clamped(rate),
            slow_rate: Rate::clamped(slow_rate),
            interstitial_difference,
            moving_probability,
            glucose_variance: math::within(glucose_variance, LEAST_VARIANCE, MOST_SD * MOST_SD),
            covariance,
            rate_variance: math::at_least(rate_variance, LEAST_VARIANCE),
            doubted: false,
        }
    }

    /// The same, with its moment as another clock shows it.
    pub(crate) const fn by_clock(self, at: Instant) -> Self {
        Self { at, ..self }
    }

    /// The same, as the sensor's own value in doubt.
    pub(crate) const fn in_doubt(self) -> Self {
        Self { doubted: true, ..self }
    }

    /// Whether it is the sensor's own value, in doubt (a jump, suspected pressure): its rate is not known, and its
    /// standard deviation reaches back to what was expected.
    #[must_use]
    pub const fn is_doubted(&self) -> bool {
        self.doubted
    }

    /// The moment it holds for.
    #[must_use]
    pub const fn at(&self) -> Instant {
        self.at
    }

    /// Plasma glucose.
    #[must_use]
    pub const fn glucose(&self) -> Glucose {
        self.glucose
    }

    /// Its standard deviation, mg/dL.
    #[must_use]
    pub fn glucose_sd(&self) -> f32 {
        math::sqrt(self.glucose_variance)
    }

    /// The rate of change of plasma glucose.
    #[must_use]
    pub const fn rate(&self) -> Rate {
        self.rate
    }

    /// The rate's standard deviation, mg/dL/min.
    #[must_use]
    pub fn rate_sd(&self) -> f32 {
        math::sqrt(self.rate_variance)
    }

    /// The rate as a slow average over about twenty minutes sees it: steadier, later, and the better
    /// one for a low ahead.
    #[must_use]
    pub const fn slow_rate(&self) -> Rate {
        self.slow_rate
    }

    /// Interstitial less plasma glucose, mg/dL: negative in a rise.
    #[must_use]
    pub const fn interstitial_difference(&self) -> f32 {
        self.interstitial_difference
    }

    /// The probability that the person is moving (a meal, insulin, exercise) and not calm, 0 to 1.
    #[must_use]
    pub const fn moving_probability(&self) -> f32 {
        self.moving_probability
    }
}
