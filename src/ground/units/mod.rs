//! Glucose, rates and time, each its own type, so that a unit cannot be mistaken.
//!
//! Inside, glucose is mg/dL and rates are mg/dL per minute. Time is whole seconds since an epoch of the
//! caller's choosing. Nothing here formats a float: whole tenths are given for display.

mod display;

use crate::error::{Error, ErrorKind, in_range};
use crate::math;
use core::time::Duration;

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

/// A glucose concentration: finite, 0 to 2000 mg/dL.
///
/// In a file (feature `serde`) it is a number, mg/dL, or a text with its unit: `70` or `"3.9 mmol/L"`.
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

/// How likely something is, 0 to 1.
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

/// A signed length of time in whole seconds, about ±68 years.
///
/// In a file (feature `serde`) it is whole seconds, or a text with its unit, `s`, `min`, `h` or `d`: `900` or `"15 min"`.
///
/// # Examples
/// ```
/// use glidepath::Span;
/// assert_eq!(Span::from_mins(5).secs(), 300);
/// assert_eq!(Span::from_secs(-90).mins(), -1.5);
/// assert_eq!(Span::from_hours(i32::MAX).secs(), i32::MAX); // stops at the longest
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Default)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
pub struct Span(i32);

impl Span {
    /// No time at all.
    pub const ZERO: Self = Self(0);

    /// From seconds.
    #[must_use]
    pub const fn from_secs(seconds: i32) -> Self {
        Self(seconds)
    }

    /// From minutes; beyond ±68 years it stops at the longest span.
    #[must_use]
    pub const fn from_mins(minutes: i32) -> Self {
        Self(minutes.saturating_mul(60))
    }

    /// From hours; beyond ±68 years it stops at the longest span.
    #[must_use]
    pub const fn from_hours(hours: i32) -> Self {
        Self(hours.saturating_mul(3600))
    }

    /// In seconds.
    #[must_use]
    pub const fn secs(self) -> i32 {
        self.0
    }

    /// Both together; `None` beyond ±68 years.
    #[must_use]
    pub const fn checked_add(self, other: Self) -> Option<Self> {
        match self.0.checked_add(other.0) {
            Some(seconds) => Some(Self(seconds)),
            None => None,
        }
    }

    /// This less the other; `None` beyond ±68 years.
    #[must_use]
    pub const fn checked_sub(self, other: Self) -> Option<Self> {
        match self.0.checked_sub(other.0) {
            Some(seconds) => Some(Self(seconds)),
            None => None,
        }
    }

    /// The span, if it lies within these, else an error that names `parameter` and tells seconds.
    #[expect(clippy::cast_precision_loss, reason = "as told in an error only")]
    pub(crate) const fn within(
        self,
        parameter: &'static str,
        least: Self,
        most: Self,
    ) -> Result<Self, Error> {
        if self.0 >= least.0 && self.0 <= most.0 {
            return Ok(self);
        }
        Err(Error::outside(parameter, self.0 as f32, least.0 as f32, most.0 as f32))
    }

    /// In minutes, exact for spans up to 194 days.
    #[must_use]
    #[expect(clippy::cast_precision_loss, reason = "stated above")]
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub const fn mins(self) -> f32 {
        self.0 as f32 / 60.0
    }
}

impl TryFrom<Duration> for Span {
    type Error = Error;
    /// Whole seconds, what is over left out; refused beyond 68 years.
    ///
    /// # Examples
    /// ```
    /// use core::time::Duration;
    /// use glidepath::Span;
    /// assert_eq!(Span::try_from(Duration::from_millis(90_900))?, Span::from_secs(90));
    /// assert_eq!(Duration::try_from(Span::from_mins(2))?, Duration::from_secs(120));
    /// assert!(Duration::try_from(Span::from_secs(-1)).is_err()); // a duration has no sign
    /// # Ok::<(), glidepath::Error>(())
    /// ```
    fn try_from(duration: Duration) -> Result<Self, Error> {
        i32::try_from(duration.as_secs()).map(Self).map_err(|_| Error::new("span", ErrorKind::OutOfRange))
    }
}

impl TryFrom<Span> for Duration {
    type Error = Error;
    /// Refused where the span is negative.
    fn try_from(span: Span) -> Result<Self, Error> {
        let seconds = u64::try_from(span.0).map_err(|_| Error::new("span", ErrorKind::OutOfRange))?;
        Ok(Self::from_secs(seconds))
    }
}

#[cfg(feature = "serde")]
mod written {
    use super::{Glucose, MG_DL_PER_MMOL_L, Rate, Span};
    use crate::error::{Error, ErrorKind};
    use crate::math;
    use crate::written::{Written, read, read_whole};
    use serde::de::{Deserialize, Deserializer};

    impl Written for Glucose {
        const EXPECTED: &'static str = "mg/dL, or a text such as \"3.9 mmol/L\"";

        fn from_number(number: f32) -> Result<Self, Error> {
            Self::from_mg_dl(number)
        }

        fn from_unit(number: f32, unit: &str) -> Option<Result<Self, Error>> {
            match unit {
                "mg/dL" => Some(Self::from_mg_dl(number)),
                "mmol/L" => Some(Self::from_mmol_l(number)),
                _ => None,
            }
        }
    }

    impl Written for Rate {
        const EXPECTED: &'static str = "mg/dL per minute, or a text such as \"0.1 mmol/L/min\"";

        fn from_number(number: f32) -> Result<Self, Error> {
            Self::from_mg_dl_per_min(number)
        }

        fn from_unit(number: f32, unit: &str) -> Option<Result<Self, Error>> {
            match unit {
                "mg/dL/min" => Some(Self::from_mg_dl_per_min(number)),
                "mmol/L/min" => Some(Self::from_mg_dl_per_min(number * MG_DL_PER_MMOL_L)),
                _ => None,
            }
        }
    }

    impl Written for Span {
        const EXPECTED: &'static str = "whole seconds, or a text such as \"15 min\"";

        #[expect(clippy::cast_possible_truncation, reason = "held against the range")]
        fn from_number(seconds: f32) -> Result<Self, Error> {
            let whole = math::round(seconds);
            if !seconds.is_finite() {
                Err(Error::new("span", ErrorKind::NotFinite))
            } else if whole != seconds || whole.abs() > 2e9 {
                Err(Error::new("span", ErrorKind::OutOfRange))
            } else {
                Ok(Self(whole as i32))
            }
        }

        fn from_whole(seconds: i64) -> Result<Self, Error> {
            i32::try_from(seconds).map(Self).map_err(|_| Error::new("span", ErrorKind::OutOfRange))
        }

        fn from_unit(number: f32, unit: &str) -> Option<Result<Self, Error>> {
            let seconds = match unit {
                "s" => 1.0,
                "min" => 60.0,
                "h" => 3600.0,
                "d" => 86_400.0,
                _ => return None,
            };
            Some(Self::from_number(number * seconds))
        }
    }

    impl<'de> Deserialize<'de> for Glucose {
        fn deserialize<D: Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
            read(from)
        }
    }

    impl<'de> Deserialize<'de> for Rate {
        fn deserialize<D: Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
            read(from)
        }
    }

    impl<'de> Deserialize<'de> for Span {
        fn deserialize<D: Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
            read_whole(from)
        }
    }
}

/// A moment: whole seconds since an epoch of the caller's choosing (136 years of them).
///
/// Differences are signed, so that a reading out of order shows as a negative span.
///
/// # Examples
/// ```
/// use glidepath::{Instant, Span};
/// let (early, late) = (Instant::from_secs(1_000), Instant::from_secs(1_300));
/// assert_eq!(late.since(early), Span::from_mins(5));
/// assert_eq!(early.since(late).secs(), -300);
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Default)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Instant(u32);

impl Instant {
    /// From seconds since the epoch.
    #[must_use]
    pub const fn from_secs(seconds: u32) -> Self {
        Self(seconds)
    }

    /// Seconds since the epoch.
    #[must_use]
    pub const fn secs(self) -> u32 {
        self.0
    }

    /// The span from `earlier` to this moment; negative when `earlier` is later. Beyond ±68 years it stops
    /// at the longest span.
    #[must_use]
    #[cfg_attr(target_pointer_width = "32", inline(never))] // asked everywhere, and larger than a call
    pub const fn since(self, earlier: Self) -> Span {
        match self.0.checked_sub(earlier.0) {
            Some(ahead) if ahead <= i32::MAX as u32 => Span(ahead.cast_signed()),
            Some(_) => Span(i32::MAX),
            None => {
                let behind = earlier.0.wrapping_sub(self.0);
                if behind <= i32::MAX as u32 {
                    Span(behind.cast_signed().wrapping_neg())
                } else {
                    Span(i32::MIN)
                }
            }
        }
    }

    /// The span from `earlier` to this moment, negative when `earlier` is later; `None` beyond ±68 years.
    #[must_use]
    pub const fn checked_since(self, earlier: Self) -> Option<Span> {
        let seconds = self.0.wrapping_sub(earlier.0).cast_signed();
        if (self.0 >= earlier.0) == (seconds >= 0) { Some(Span(seconds)) } else { None }
    }

    /// This moment moved by `span`; `None` beyond either end of the epoch.
    #[must_use]
    pub const fn checked_plus(self, span: Span) -> Option<Self> {
        match self.0.checked_add_signed(span.0) {
            Some(seconds) => Some(Self(seconds)),
            None => None,
        }
    }

    /// This moment moved by `span`; stops at either end of the epoch.
    #[must_use]
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub const fn plus(self, span: Span) -> Self {
        Self(self.0.saturating_add_signed(span.0))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn glucose_refuses_what_is_no_concentration() {
        for bad in [f32::NAN, f32::INFINITY, -0.1, 2000.1, 1e30] {
            assert!(Glucose::from_mg_dl(bad).is_err(), "{bad}");
        }
        assert_eq!(Glucose::clamped(f32::NAN).mg_dl(), 0.0);
        assert_eq!(Glucose::clamped(1e30).mg_dl(), 2000.0);
    }

    #[test]
    fn display_rounding_follows_the_published_pairs() {
        // 70 and 71 mg/dL both print 3.9 mmol/L, 180 and 181 both 10.0
        for (mg_dl, tenths) in [(54.0, 30), (70.0, 39), (71.0, 39), (180.0, 100), (181.0, 100), (250.0, 139)]
        {
            assert_eq!(Glucose::clamped(mg_dl).tenths_mmol_l(), tenths, "{mg_dl}");
        }
    }

    #[test]
    fn rates_refuse_what_is_none_and_clamp_to_their_ends() {
        for bad in [f32::NAN, f32::INFINITY, -100.1, 100.1] {
            assert!(Rate::from_mg_dl_per_min(bad).is_err() && Rate::try_from(bad).is_err(), "{bad}");
        }
        for end in [-100.0, 100.0] {
            assert_eq!(Rate::from_mg_dl_per_min(end).map(f32::from), Ok(end));
            assert_eq!(Rate::clamped(2.0 * end).mg_dl_per_min(), end);
        }
        assert_eq!(Rate::clamped(f32::NAN).mg_dl_per_min(), -100.0);
        assert_eq!(Rate::clamped(-2.5).mg_dl_per_min(), -2.5);
        assert!((Rate::clamped(-36.0312).mmol_l_per_min() + 2.0).abs() < 1e-6);
        assert_eq!(
            [-2.0, -0.25, 0.26, 1.24].map(|rate| Rate::clamped(rate).tenths_mg_dl_per_min()),
            [-20, -3, 3, 12]
        );
    }

    #[test]
    fn one_concentration_in_both_units() {
        // 5.0 mmol/L of glucose, 180.156 g/mol, are 0.900780 g/L
        let glucose = Glucose::from_mmol_l(5.0).unwrap();
        assert!((glucose.mg_dl() - 90.078).abs() < 1e-4);
        assert!((glucose.mmol_l() - 5.0).abs() < 1e-6);
        assert_eq!((glucose.whole_mg_dl(), glucose.tenths_mmol_l()), (90, 50));
        assert_eq!(Glucose::try_from(90.5).map(f32::from), Ok(90.5));
        assert!(Glucose::from_mmol_l(112.0).is_err() && Glucose::try_from(-1.0).is_err());
        assert_eq!(
            [0.0, 2000.0].map(|end| Glucose::from_mg_dl(end).map(Glucose::mg_dl)),
            [Ok(0.0), Ok(2000.0)]
        );
    }

    #[test]
    fn spans_in_their_units() {
        assert_eq!((Span::from_secs(-90).secs(), Span::from_secs(-90).mins()), (-90, -1.5));
        assert_eq!((Span::from_mins(-7).secs(), Span::from_hours(3).secs()), (-420, 10_800));
        assert_eq!(
            (Span::from_mins(i32::MIN).secs(), Span::from_hours(i32::MAX).secs()),
            (i32::MIN, i32::MAX)
        );
    }

    #[test]
    fn spans_and_durations_turn_into_each_other_where_they_can() {
        let most = u64::from(i32::MAX.unsigned_abs());
        assert_eq!(Span::try_from(Duration::from_secs(most)), Ok(Span::from_secs(i32::MAX)));
        assert!(Span::try_from(Duration::from_secs(most + 1)).is_err());
        assert!(Span::try_from(Duration::MAX).is_err());
        assert_eq!(Span::try_from(Duration::from_millis(1_999)), Ok(Span::from_secs(1)));
        assert_eq!(Duration::try_from(Span::from_secs(i32::MAX)), Ok(Duration::from_secs(most)));
        assert_eq!(Duration::try_from(Span::ZERO), Ok(Duration::ZERO));
        assert!(Duration::try_from(Span::from_secs(-1)).is_err());
        assert!(Duration::try_from(Span::from_secs(i32::MIN)).is_err());
    }

    #[test]
    fn checked_arithmetic_says_where_the_other_stops() {
        let (most, least) = (Span::from_secs(i32::MAX), Span::from_secs(i32::MIN));
        let second = Span::from_secs(1);
        assert_eq!((most.checked_add(second), least.checked_sub(second)), (None, None));
        assert_eq!(most.checked_sub(second), Some(Span::from_secs(i32::MAX - 1)));
        assert_eq!(second.checked_add(Span::from_secs(-3)), Some(Span::from_secs(-2)));
        let (zero, half, end) = (Instant(0), Instant(1 << 31), Instant(u32::MAX));
        assert_eq!((end.checked_since(zero), half.checked_since(zero)), (None, None));
        assert_eq!(zero.checked_since(half), Some(least));
        assert_eq!(zero.checked_since(Instant((1 << 31) + 1)), None);
        assert_eq!(Instant(5).checked_since(Instant(8)), Some(Span::from_secs(-3)));
        assert_eq!((end.checked_plus(second), zero.checked_plus(Span::from_secs(-1))), (None, None));
        assert_eq!(half.checked_plus(most), Some(end));
        assert_eq!(half.checked_plus(least), Some(zero));
    }

    #[test]
    fn instants_are_signed_and_saturate() {
        let (zero, end) = (Instant::from_secs(0), Instant::from_secs(u32::MAX));
        assert_eq!(end.since(zero).secs(), i32::MAX);
        assert_eq!(zero.since(end).secs(), i32::MIN);
        assert_eq!(zero.since(Instant::from_secs(1)).secs(), -1);
        // the longest spans that are exact, and one second more
        let half = i32::MAX as u32;
        for (seconds, span) in [(half - 1, i32::MAX - 1), (half, i32::MAX), (half + 1, i32::MAX)] {
            assert_eq!(Instant::from_secs(seconds).since(zero).secs(), span);
        }
        for (seconds, span) in [(half, -i32::MAX), (half + 1, i32::MIN), (half + 2, i32::MIN)] {
            assert_eq!(zero.since(Instant::from_secs(seconds)).secs(), span);
        }
        assert_eq!(end.plus(Span::from_secs(1)), end);
        assert_eq!(zero.plus(Span::from_secs(-1)), zero);
    }
}
