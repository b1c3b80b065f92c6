//! Probabilities.

use crate::error::{Error, in_range};
use crate::math;

/// How likely something is, 0 to 1.
///
/// Features: `serde` gives `Serialize` and `Deserialize`, `defmt` gives `Format`.
///
/// # Examples
/// ```
/// use glidepath::Probability;
/// assert_eq!(Probability::new(0.3)?.get(), 0.3);
/// assert!(Probability::new(30.0).is_err()); // not in per cent
/// # Ok::<(), glidepath::Error>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq, PartialOrd)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "serde", serde(try_from = "f32", into = "f32"))]
pub struct Probability(f32);

impl Probability {
    /// From a share of 1.
    ///
    /// # Errors
    /// When not finite or outside 0 to 1.
    pub const fn new(share: f32) -> Result<Self, Error> {
        match in_range("probability", share, 0.0, 1.0) {
            Ok(share) => Ok(Self(share)),
            Err(error) => Err(error),
        }
    }

    /// The nearest probability; not a number becomes 0.
    pub(crate) const fn clamped(share: f32) -> Self {
        Self(math::within(share, 0.0, 1.0))
    }

    /// As a share of 1.
    #[must_use]
    pub const fn get(self) -> f32 {
        self.0
    }
}

impl TryFrom<f32> for Probability {
    type Error = Error;
    /// From a share of 1.
    fn try_from(share: f32) -> Result<Self, Error> {
        Self::new(share)
    }
}

impl From<Probability> for f32 {
    /// As a share of 1.
    fn from(probability: Probability) -> f32 {
        probability.0
    }
}
