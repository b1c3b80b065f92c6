//! Limits of agreement: between which two values 95 % of the differences lie.

use super::beta::student_t_95;
use super::interval::Interval;
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
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct LimitsOfAgreement {
    bias: Interval,
    lower: Interval,
    upper: Interval,
}

impl LimitsOfAgreement {
    pub(super) fn from_moments(differences: &Moments) -> Option<Self> {
        let (bias, sd, n) = (differences.mean()?, differences.sd()?, differences.count());
        let error = sd / math::sqrt(n as f32);
        let t = student_t_95(n.saturating_sub(1) as f32);
        let limit = |z: f32| Interval::new(bias + z * sd, t * math::sqrt(3.0) * error, n);
        Some(Self { bias: Interval::new(bias, t * error, n), lower: limit(-Z), upper: limit(Z) })
    }

    /// The mean difference, mg/dL.
    #[must_use]
    pub const fn bias(&self) -> Interval {
        self.bias
    }

    /// The lower limit, mg/dL.
    #[must_use]
    pub const fn lower(&self) -> Interval {
        self.lower
    }

    /// The upper limit, mg/dL.
    #[must_use]
    pub const fn upper(&self) -> Interval {
        self.upper
    }
}
