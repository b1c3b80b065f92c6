//! Glucose and its rate of change.

use crate::error::{Error, in_range};
use crate::math;

/// How many mg/dL make one mmol/L: the molar mass of glucose, C6H12O6, 180.156 g/mol, over ten.
///
/// Source: IUPAC abridged standard atomic weights (C 12.011, H 1.008, O 15.999). The consensus limits
/// (70 mg/dL and 3.9 mmol/L, 180 and 10.0, …) are tabulated pairs and not conversions by this factor.
pub const MG_DL_PER_MMOL_L: f32 = 18.0156;

/// Level 1 hypoglycaemia is below this (Battelino et al. 2019).
pub(crate) const LOW: Glucose = Glucose::clamped(70.0);

/// At or under this, mg/dL, the floor rings, whatever the settings, and no correction raises a sensor's value. Common
/// practice, no source.
pub const FLOOR_MG_DL: f32 = 55.0;
pub(crate) const FLOOR: Glucose = Glucose::clamped(FLOOR_MG_DL);

/// A glucose concentration: finite, 0 to 2000 mg/dL.
///
/// In a file (feature `serde`) it is a number, mg/dL, or a text with its unit: `70` or `"3.9 mmol/L"`.
///
/// Features: `serde` gives `Serialize` and `Deserialize`, `defmt` gives `Format`.
///
/// # Examples
/// ```
/// use glidepath::Glucose;
/// let glucose = Glucose::from_mg_dl(100.0)?;
/// assert_eq!(glucose.tenths_mmol_l(), 56); // 5.6 mmol/L
/// assert_eq!(Glucose::from_mmol_l(3.9)?.whole_mg_dl(), 70);
/// # Ok::<(), glidepath::Error>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq, PartialOrd)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
#[cfg_attr(feature = "serde", serde(into = "f32"))]
pub struct Glucose(f32);

impl Glucose {
    /// The highest concentration represented, mg/dL; no meter or sensor reads that far.
    pub const MAX_MG_DL: f32 = 2000.0;

    /// From mg/dL.
    ///
    /// # Errors
    /// When not finite or outside 0 to 2000.
    pub const fn from_mg_dl(mg_dl: f32) -> Result<Self, Error> {
        match in_range("glucose", mg_dl, 0.0, Self::MAX_MG_DL) {
            Ok(value) => Ok(Self(value)),
            Err(error) => Err(error),
        }
    }

    /// From mmol/L, by [`MG_DL_PER_MMOL_L`].
    ///
    /// # Errors
    /// When not finite or outside 0 to 2000 mg/dL.
    pub const fn from_mmol_l(mmol_l: f32) -> Result<Self, Error> {
        Self::from_mg_dl(mmol_l * MG_DL_PER_MMOL_L)
    }

    /// The nearest representable concentration: what a computation inside the crate yields.
    /// Not a number becomes 0.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub(crate) const fn clamped(mg_dl: f32) -> Self {
        Self(math::within(mg_dl, 0.0, Self::MAX_MG_DL))
    }

    /// The lower of the two.
    #[must_use]
    pub const fn min(self, other: Self) -> Self {
        Self(math::at_most(self.0, other.0))
    }

    /// In mg/dL.
    #[must_use]
    pub const fn mg_dl(self) -> f32 {
        self.0
    }

    /// In mmol/L.
    #[must_use]
    pub const fn mmol_l(self) -> f32 {
        self.0 / MG_DL_PER_MMOL_L
    }

    /// Whole mg/dL for display, halves rounded up.
    #[must_use]
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "0 to 2000")]
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub fn whole_mg_dl(self) -> u16 {
        math::round(self.0) as u16
    }

    /// Tenths of a mmol/L for display, halves rounded up: 56 is 5.6 mmol/L.
    #[must_use]
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "0 to 1111")]
    pub fn tenths_mmol_l(self) -> u16 {
        math::round(self.mmol_l() * 10.0) as u16
    }
}

impl TryFrom<f32> for Glucose {
    type Error = Error;
    /// From mg/dL.
    fn try_from(mg_dl: f32) -> Result<Self, Error> {
        Self::from_mg_dl(mg_dl)
    }
}

impl From<Glucose> for f32 {
    /// In mg/dL.
    fn from(glucose: Glucose) -> f32 {
        glucose.0
    }
}

/// A rate of change of glucose: finite, within ±100 mg/dL per minute.
///
/// In a file (feature `serde`) it is a number, mg/dL per minute, or a text with its unit: `3` or `"0.17 mmol/L/min"`.
///
/// Features: `serde` gives `Serialize` and `Deserialize`, `defmt` gives `Format`.
///
/// # Examples
/// ```
/// use glidepath::Rate;
/// let falling = Rate::from_mg_dl_per_min(-2.0)?;
/// assert_eq!(falling.tenths_mg_dl_per_min(), -20);
/// # Ok::<(), glidepath::Error>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq, PartialOrd)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
#[cfg_attr(feature = "serde", serde(into = "f32"))]
pub struct Rate(f32);

impl Rate {
    /// The steepest rate represented, mg/dL per minute; blood glucose stays well within ±10.
    pub const MAX_MG_DL_PER_MIN: f32 = 100.0;

    /// From mg/dL per minute.
    ///
    /// # Errors
    /// When not finite or beyond ±100.
    pub const fn from_mg_dl_per_min(rate: f32) -> Result<Self, Error> {
        match in_range("rate", rate, -Self::MAX_MG_DL_PER_MIN, Self::MAX_MG_DL_PER_MIN) {
            Ok(value) => Ok(Self(value)),
            Err(error) => Err(error),
        }
    }

    /// The nearest representable rate; not a number becomes the lowest.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub(crate) const fn clamped(rate: f32) -> Self {
        Self(math::within(rate, -Self::MAX_MG_DL_PER_MIN, Self::MAX_MG_DL_PER_MIN))
    }

    /// In mg/dL per minute, negative when falling.
    #[must_use]
    pub const fn mg_dl_per_min(self) -> f32 {
        self.0
    }

    /// In mmol/L per minute, negative when falling.
    #[must_use]
    pub const fn mmol_l_per_min(self) -> f32 {
        self.0 / MG_DL_PER_MMOL_L
    }

    /// Tenths of a mg/dL per minute for display, halves away from zero.
    #[must_use]
    #[expect(clippy::cast_possible_truncation, reason = "within ±1000")]
    pub fn tenths_mg_dl_per_min(self) -> i16 {
        math::round(self.0 * 10.0) as i16
    }
}

impl TryFrom<f32> for Rate {
    type Error = Error;
    /// From mg/dL per minute.
    fn try_from(rate: f32) -> Result<Self, Error> {
        Self::from_mg_dl_per_min(rate)
    }
}

impl From<Rate> for f32 {
    /// In mg/dL per minute.
    fn from(rate: Rate) -> f32 {
        rate.0
    }
}
