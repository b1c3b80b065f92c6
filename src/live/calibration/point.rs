//! A fingerstick beside the sensor, and what became of it.

use crate::units::{Glucose, Instant};

/// A fingerstick with what the sensor showed at that time.
///
/// Feature `defmt` gives `Format`.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct CalibrationPoint {
    /// When the blood was taken.
    pub at: Instant,
    /// The meter's value.
    pub reference: Glucose,
    /// What the sensor read then, uncalibrated.
    pub sensor: Glucose,
    /// Interstitial less plasma glucose at that time, mg/dL, within ±200; 0 if it is not known.
    pub difference: f32,
    /// Its standard deviation, mg/dL, 0 to 200; with nothing known, the lag times the rate.
    pub difference_sd: f32,
    /// Standard deviation of the sensor's error, mg/dL, above 0, to 200.
    pub sensor_sd: f32,
}

/// What became of a point.
///
/// Feature `defmt` gives `Format`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[must_use]
#[non_exhaustive]
pub enum PointOutcome {
    /// It moved gain and offset.
    Used,
    /// It moved them less: further off than 2 standard deviations.
    Downweighted,
    /// Refused: earlier than one already used. Nothing changed.
    OutOfOrder,
    /// Refused: the meter's value lies outside 20 to 600 mg/dL. Nothing changed.
    OutOfRange,
    /// Refused: a number of the point is not finite, or outside the range that [`CalibrationPoint`] states. Nothing changed.
    NotANumber,
}

impl PointOutcome {
    /// Whether the point moved gain and offset.
    #[must_use]
    pub const fn is_used(self) -> bool {
        matches!(self, Self::Used | Self::Downweighted)
    }
}
