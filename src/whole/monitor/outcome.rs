//! What became of a fingerstick.

use crate::calibration::PointOutcome;
use crate::math;
use crate::reading::Fingerstick;
use crate::units::Glucose;

/// What became of a fingerstick.
///
/// Feature `defmt` gives `Format`.
///
/// # Examples
/// ```
/// use glidepath::{Fingerstick, FingerstickOutcome, Glucose, Instant, Monitor, Reading, Settings};
/// let mut monitor = Monitor::<24>::new(Settings::default())?;
/// let stick = Fingerstick::new(Instant::from_secs(300), Glucose::from_mg_dl(110.0)?);
/// let outcome = monitor.fingerstick(&stick);
/// assert_eq!(outcome.words(), "not used: no trusted reading within a quarter of an hour");
/// let _ = monitor.push(&Reading::new(Instant::from_secs(300), Glucose::from_mg_dl(118.0)?));
/// let outcome = monitor.fingerstick(&stick);
/// assert_eq!(outcome.words(), "taken in");
/// let expected = outcome.expected().expect("there was a reading");
/// assert!((expected.glucose.mg_dl() - 118.0).abs() < 1e-3 && expected.deviations(&stick).abs() < 1.0);
/// # Ok::<(), glidepath::Error>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[must_use]
pub enum FingerstickOutcome {
    /// It moved the calibration, and the estimate too if `fused`.
    Used {
        /// How it moved the calibration.
        calibrated: PointOutcome,
        /// Whether the estimate took it in.
        fused: bool,
        /// Whether the estimate took in less than it says: it lies above the
        /// [most](crate::calibration::Calibration::max_corrected) that fingersticks may make of the sensor's value.
        held: bool,
        /// What was expected.
        expected: Option<Expected>,
    },
    /// Refused. Nothing changed but the calibration's count of refusals.
    Refused {
        /// Why.
        why: Refusal,
        /// What was expected, where there is something to compare with.
        expected: Option<Expected>,
    },
}

/// In words.
impl core::fmt::Display for FingerstickOutcome {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        f.pad(self.words())
    }
}

impl FingerstickOutcome {
    /// Whether it was taken in.
    #[must_use]
    pub const fn is_used(&self) -> bool {
        matches!(self, Self::Used { .. })
    }

    /// What the monitor estimated glucose to be before the fingerstick.
    #[must_use]
    pub const fn expected(&self) -> Option<Expected> {
        match self {
            Self::Used { expected, .. } | Self::Refused { expected, .. } => *expected,
        }
    }

    /// In words.
    #[must_use]
    pub const fn words(&self) -> &'static str {
        match self {
            Self::Refused { why, .. } => why.words(),
            Self::Used { held: true, .. } => {
                "taken in as far as it may be: far above a sensor that reads low; measure again"
            }
            Self::Used { calibrated: PointOutcome::Downweighted, .. } => {
                "counted for less: far from what was expected; measure again"
            }
            Self::Used { .. } => "taken in",
        }
    }
}

/// What the monitor estimated glucose to be at a fingerstick, before using it. 8 bytes.
///
/// Feature `defmt` gives `Format`.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub struct Expected {
    /// Plasma glucose.
    pub glucose: Glucose,
    /// Its total standard deviation, mg/dL: the estimate's and the calibration's.
    pub sd: f32,
}

impl Expected {
    /// How far the fingerstick lies above what was expected, in standard deviations of that difference, the
    /// meter's error included.
    #[must_use]
    pub fn deviations(&self, stick: &Fingerstick) -> f32 {
        let meter = stick.meter_sd();
        (stick.glucose().mg_dl() - self.glucose.mg_dl()) / math::sqrt(self.sd * self.sd + meter * meter)
    }
}

/// Why a fingerstick was refused.
///
/// Feature `defmt` gives `Format`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub enum Refusal {
    /// Its time is more than 2 min ahead of the newest reading or tick.
    Ahead,
    /// Its time is more than 15 min before the newest reading or tick.
    TooOld,
    /// There is no believed reading within a quarter of an hour of it, or no estimate.
    NoReading,
    /// It is earlier than one already used.
    OutOfOrder,
    /// The meter's value lies outside 20 to 600 mg/dL.
    OutOfRange,
    /// A number that it would be compared with is not usable.
    NotANumber,
}

/// In words.
impl core::fmt::Display for Refusal {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        f.pad(self.words())
    }
}

impl Refusal {
    /// In words.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::Ahead => "not used: its time lies ahead of now",
            Self::TooOld => "not used: it is older than a quarter of an hour",
            Self::NoReading => "not used: no trusted reading within a quarter of an hour",
            Self::OutOfOrder => "not used: it is earlier than one already used",
            Self::OutOfRange => "not used: a meter's value outside 20 to 600 mg/dL",
            Self::NotANumber => "not used: the sensor's noise is not known",
        }
    }
}
