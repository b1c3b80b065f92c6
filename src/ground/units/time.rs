//! Lengths of time and moments, in whole seconds.

use crate::error::{Error, ErrorKind};
use core::time::Duration;

/// A signed length of time in whole seconds, about ±68 years.
///
/// In a file (feature `serde`) it is whole seconds, or a text with its unit, `s`, `min`, `h` or `d`: `900` or `"15 min"`.
///
/// Features: `serde` gives `Serialize` and `Deserialize`, `defmt` gives `Format`.
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

/// A moment: whole seconds since an epoch of the caller's choosing (136 years of them).
///
/// Differences are signed, so that a reading out of order shows as a negative span.
///
/// Features: `serde` gives `Serialize` and `Deserialize`, `defmt` gives `Format`.
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
