//! Limits of agreement: between which two values 95 % of the differences lie.

use super::beta::student_t_95;
use super::interval::ConfidenceInterval;
use crate::math;
use crate::moments::Moments;

/// The normal deviate the method prints; 1.959964 rounded as there.
const Z: f32 = 1.96;

/// Bias and limits of agreement with their 95 % intervals.
///
/// The intervals take the pairs as independent; several pairs of one day are not, so they are somewhat too
/// narrow.
///
/// Source: Bland and Altman (1986), Lancet 327:307–310: limits at 1.96 standard deviations (divisor n − 1);
/// standard errors SD/√n for the bias and √(3/n)·SD for a limit, with Student's t on n − 1 degrees of freedom.
///
/// 48 bytes.
///
/// Feature `defmt` gives `Format`.
///
/// # Examples
/// ```
/// use glidepath::accuracy::{Pair, PointAccuracy};
/// use glidepath::{Glucose, Instant};
/// let mg_dl = Glucose::from_mg_dl;
/// let mut accuracy = PointAccuracy::new();
/// for (sensor, reference) in [(98.0, 100.0), (126.0, 120.0), (175.0, 180.0), (209.0, 200.0)] {
///     accuracy.push(&Pair::new(Instant::from_secs(0), mg_dl(sensor)?, mg_dl(reference)?)?);
/// }
/// let limits = accuracy.limits_of_agreement().expect("two pairs at least");
/// assert_eq!(limits.bias().estimate(), 2.0); // −2, 6, −5 and 9
/// assert!((limits.upper().estimate() - 15.0).abs() < 0.5);
/// assert!(limits.upper().upper() > 30.0); // four pairs show little
/// # Ok::<(), glidepath::Error>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct LimitsOfAgreement {
    bias: ConfidenceInterval,
    lower: ConfidenceInterval,
    upper: ConfidenceInterval,
}

impl LimitsOfAgreement {
    pub(super) fn from_moments(differences: &Moments) -> Option<Self> {
        let (bias, sd, n) = (differences.mean()?, differences.sd()?, differences.count());
        let error = sd / math::sqrt(n as f32);
        let t = student_t_95(n.saturating_sub(1) as f32);
        let limit = |z: f32| ConfidenceInterval::new(bias + z * sd, t * math::sqrt(3.0) * error, n);
        Some(Self { bias: ConfidenceInterval::new(bias, t * error, n), lower: limit(-Z), upper: limit(Z) })
    }

    /// The mean difference, mg/dL.
    #[must_use]
    pub const fn bias(&self) -> ConfidenceInterval {
        self.bias
    }

    /// The lower limit, mg/dL.
    #[must_use]
    pub const fn lower(&self) -> ConfidenceInterval {
        self.lower
    }

    /// The upper limit, mg/dL.
    #[must_use]
    pub const fn upper(&self) -> ConfidenceInterval {
        self.upper
    }
}
