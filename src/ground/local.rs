//! The wall clock of a person: what is a night, a workday, a weekend.

use crate::error::Error;
use crate::math::divided;
use crate::units::Instant;

/// A moment on the wall clock of the person: weekday and minute of the day. 4 bytes.
///
/// Features: `serde` gives `Serialize` and `Deserialize`, `defmt` gives `Format`.
///
/// # Examples
/// ```
/// use glidepath::{Instant, LocalTime};
/// // 2024-03-10T06:30:00Z, in a zone 5 hours behind
/// let local = LocalTime::from_unix(Instant::from_secs(1_710_052_200), -5 * 3600);
/// assert_eq!((local.weekday(), local.minute()), (6, 90)); // Sunday, 01:30
/// assert_eq!(LocalTime::new(6, 9 * 60 + 5)?.to_string(), "Sun 09:05");
/// # Ok::<(), glidepath::Error>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "serde", serde(try_from = "AsWritten"))]
pub struct LocalTime {
    weekday: u8,
    minute: u16,
}

/// A [`LocalTime`] as written: read back through its gate.
#[cfg(feature = "serde")]
#[derive(serde::Deserialize)]
#[serde(deny_unknown_fields)]
struct AsWritten {
    weekday: u8,
    minute: u16,
}

#[cfg(feature = "serde")]
impl TryFrom<AsWritten> for LocalTime {
    type Error = Error;
    fn try_from(written: AsWritten) -> Result<Self, Error> {
        Self::new(written.weekday, written.minute)
    }
}

/// `Mon 08:30`.
impl core::fmt::Display for LocalTime {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        const DAYS: [&str; 7] = ["Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun"];
        let day = DAYS.get(usize::from(self.weekday)).copied().unwrap_or_default();
        write!(f, "{day} {:02}:{:02}", self.minute.div_euclid(60), self.minute.rem_euclid(60))
    }
}

impl LocalTime {
    /// From a weekday, 0 (Monday) to 6 (Sunday), and the minute of the day, 0 to 1439.
    ///
    /// # Errors
    /// When either is out of its range.
    pub const fn new(weekday: u8, minute: u16) -> Result<Self, Error> {
        if weekday > 6 {
            Err(Error::outside("weekday", weekday as f32, 0.0, 6.0))
        } else if minute >= 1440 {
            Err(Error::outside("minute", minute as f32, 0.0, 1439.0))
        } else {
            Ok(Self { weekday, minute })
        }
    }

    /// From a moment whose epoch is 1970-01-01T00:00Z and the zone's offset from UTC in seconds, east positive,
    /// as it is at that moment: the caller's zone rules decide when it jumps.
    #[must_use]
    #[expect(clippy::cast_possible_truncation, reason = "7 days, 1440 minutes")]
    #[inline(never)] // seldom asked for
    pub fn from_unix(at: Instant, offset_secs: i32) -> Self {
        const DAY: u32 = 86_400;
        const WEEK: u32 = 7 * DAY;
        let (_, off) = divided(offset_secs.unsigned_abs(), WEEK);
        let ahead = if offset_secs < 0 { WEEK.saturating_sub(off) } else { off };
        // 1970-01-01 was a Thursday, day 3; remainders of a week keep to 32 bits
        let (_, in_week) = divided(at.secs(), WEEK);
        let (_, in_week) = divided(in_week.saturating_add(ahead).saturating_add(3 * DAY), WEEK);
        let (weekday, in_day) = divided(in_week, DAY);
        Self { weekday: weekday as u8, minute: divided(in_day, 60).0 as u16 }
    }

    /// The weekday, 0 (Monday) to 6 (Sunday).
    #[must_use]
    pub const fn weekday(self) -> u8 {
        self.weekday
    }

    /// The minute of the day, 0 to 1439.
    #[must_use]
    pub const fn minute(self) -> u16 {
        self.minute
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_week_and_the_day_end() {
        assert!(LocalTime::new(7, 0).is_err() && LocalTime::new(0, 1440).is_err());
        let last = LocalTime::new(6, 1439).unwrap();
        assert_eq!((last.weekday(), last.minute()), (6, 1439));
    }

    #[test]
    fn the_week_is_that_of_exact_arithmetic() {
        for secs in [0, 1, 604_799, 1_710_052_200, u32::MAX - 1, u32::MAX] {
            for offset in [i32::MIN, -604_801, -18_000, -1, 0, 1, 20_700, 604_800, i32::MAX] {
                let day_3 = i64::from(secs) + i64::from(offset) + 3 * 86_400;
                let exact = (day_3.rem_euclid(604_800) / 86_400, day_3.rem_euclid(86_400) / 60);
                let local = LocalTime::from_unix(Instant::from_secs(secs), offset);
                assert_eq!((i64::from(local.weekday()), i64::from(local.minute())), exact);
            }
        }
    }
}
