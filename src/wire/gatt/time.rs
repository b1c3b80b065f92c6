//! Dates and times of day as devices send them.

use super::wire::{DecodeError, Fields, Payload};
use crate::error::{Error, ErrorKind};
use crate::units::Instant;

/// A date and time of day of the device's own clock, without a zone. Year, month and day may each be 0: not
/// known. 8 bytes.
///
/// Feature `defmt` gives `Format`.
///
/// # Source
/// Bluetooth SIG GATT Specification Supplement, Date Time: year 1582 to 9999 or 0, month 1 to 12 or 0, day 1
/// to 31 or 0. From memory.
///
/// # Examples
/// ```
/// use glidepath::gatt::DateTime;
/// let noon = DateTime::new((2026, 1, 2), (12, 0, 0))?;
/// assert_eq!(noon.instant().map(|at| at.secs()), Some(1_767_355_200));
/// # Ok::<(), glidepath::Error>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct DateTime {
    year: u16,
    month: u8,
    day: u8,
    hours: u8,
    minutes: u8,
    seconds: u8,
}

impl DateTime {
    /// From year, month and day, and hours, minutes and seconds.
    ///
    /// # Errors
    /// When there is no such date or time of day.
    pub const fn new(date: (u16, u8, u8), time: (u8, u8, u8)) -> Result<Self, Error> {
        let ((year, month, day), (hours, minutes, seconds)) = (date, time);
        let parameter = if year != 0 && (year < 1582 || year > 9999) {
            "year"
        } else if month > 12 {
            "month"
        } else if day > days_in(year, month) {
            "day"
        } else if hours > 23 || minutes > 59 || seconds > 59 {
            "time"
        } else {
            return Ok(Self { year, month, day, hours, minutes, seconds });
        };
        Err(Error::new(parameter, ErrorKind::OutOfRange))
    }

    /// Year, month and day, each 0 when not known.
    #[must_use]
    pub const fn date(&self) -> (u16, u8, u8) {
        (self.year, self.month, self.day)
    }

    /// Hours, minutes and seconds.
    #[must_use]
    pub const fn time(&self) -> (u8, u8, u8) {
        (self.hours, self.minutes, self.seconds)
    }

    /// Seconds since 1970-01-01 00:00:00 of the same clock; nothing when the date is not fully known, or
    /// before 1970 or after 2105.
    #[must_use]
    pub fn instant(&self) -> Option<Instant> {
        if self.month == 0 || self.day == 0 || !(1970..=2105).contains(&self.year) {
            return None;
        }
        let [hours, minutes, seconds] = [self.hours, self.minutes, self.seconds].map(u32::from);
        let days = days_before_year(u32::from(self.year)).checked_sub(days_before_year(1970))?;
        let months = (1..self.month).map(|month| u32::from(days_in(self.year, month))).sum::<u32>();
        let days = days.checked_add(months)?.checked_add(u32::from(self.day))?.checked_sub(1)?;
        let minutes = days.checked_mul(24)?.checked_add(hours)?.checked_mul(60)?.checked_add(minutes)?;
        minutes.checked_mul(60)?.checked_add(seconds).map(Instant::from_secs)
    }

    pub(super) fn take(fields: &mut Fields<'_>) -> Result<Self, DecodeError> {
        let year = fields.u16()?;
        let [month, day, hours, minutes, seconds] = fields.array()?;
        Self::new((year, month, day), (hours, minutes, seconds)).map_err(|_| DecodeError::DateTime)
    }

    pub(super) fn put(&self, payload: &mut Payload) {
        payload.put_u16(self.year);
        payload.put(&[self.month, self.day, self.hours, self.minutes, self.seconds]);
    }
}

/// Days of a month in the Gregorian calendar; a month or year not known allows the most.
const fn days_in(year: u16, month: u8) -> u8 {
    match month {
        4 | 6 | 9 | 11 => 30,
        2 if year.is_multiple_of(4) && (!year.is_multiple_of(100) || year.is_multiple_of(400)) => 29,
        2 => 28,
        _ => 31,
    }
}

/// Days from year 1 to the start of `year`, Gregorian.
#[expect(
    clippy::integer_division,
    clippy::arithmetic_side_effects,
    reason = "by constants; year 1970 to 2105"
)]
const fn days_before_year(year: u32) -> u32 {
    let past = year - 1;
    past * 365 + past / 4 - past / 100 + past / 400
}

/// The Current Time characteristic: what a phone or clock tells a device that has none. 12 bytes.
///
/// Feature `defmt` gives `Format`.
///
/// # Source
/// Bluetooth SIG GATT Specification Supplement, Current Time (Exact Time 256 and an adjust reason). From
/// memory.
///
/// # Examples
/// ```
/// use glidepath::gatt::CurrentTime;
/// // 2026-11-25 10:30:15.5, Wednesday, set by hand
/// let time = CurrentTime::decode(&[0xEA, 0x07, 11, 25, 10, 30, 15, 3, 128, 1])?;
/// assert_eq!(time.date_time().time(), (10, 30, 15));
/// assert_eq!(CurrentTime::decode(time.encode().as_bytes()), Ok(time));
/// # Ok::<(), glidepath::gatt::DecodeError>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct CurrentTime {
    date_time: DateTime,
    day_of_week: u8,
    fractions_256: u8,
    adjust_reason: u8,
}

impl CurrentTime {
    /// A time without day of the week, fractions of a second or reason.
    #[must_use]
    pub const fn new(date_time: DateTime) -> Self {
        Self { date_time, day_of_week: 0, fractions_256: 0, adjust_reason: 0 }
    }

    /// From the ten bytes of the characteristic.
    ///
    /// # Errors
    /// Any other length, no such date or time, or a day of the week above 7.
    pub fn decode(bytes: &[u8]) -> Result<Self, DecodeError> {
        let mut fields = Fields(bytes);
        let date_time = DateTime::take(&mut fields)?;
        let [day_of_week, fractions_256, adjust_reason] = fields.array()?;
        fields.end()?;
        if day_of_week > 7 {
            return Err(DecodeError::ReservedValue("day of week"));
        }
        Ok(Self { date_time, day_of_week, fractions_256, adjust_reason })
    }

    /// To the ten bytes of the characteristic.
    #[must_use]
    pub fn encode(&self) -> Payload {
        let mut payload = Payload::new();
        self.date_time.put(&mut payload);
        payload.put(&[self.day_of_week, self.fractions_256, self.adjust_reason]);
        payload
    }

    /// Date and time of day.
    #[must_use]
    pub const fn date_time(&self) -> DateTime {
        self.date_time
    }

    /// 1 for Monday to 7 for Sunday; nothing when not known.
    #[must_use]
    pub const fn day_of_week(&self) -> Option<u8> {
        if self.day_of_week == 0 { None } else { Some(self.day_of_week) }
    }

    /// Fractions of a second, 1/256 s.
    #[must_use]
    pub const fn fractions_256(&self) -> u8 {
        self.fractions_256
    }

    /// Why the clock was set: bit 0 by hand, 1 by a reference, 2 new zone, 3 daylight saving.
    #[must_use]
    pub const fn adjust_reason(&self) -> u8 {
        self.adjust_reason
    }
}

#[cfg(test)]
mod tests {
    extern crate std;
    use super::*;

    fn at(date: (u16, u8, u8), time: (u8, u8, u8)) -> Option<u32> {
        DateTime::new(date, time).unwrap().instant().map(Instant::secs)
    }

    #[test]
    fn seconds_since_1970() {
        // POSIX.1, "seconds since the epoch": (year − 1970) × 31536000 + … ; 2038-01-19 03:14:07 is 2³¹ − 1
        assert_eq!(at((1970, 1, 1), (0, 0, 0)), Some(0));
        assert_eq!(at((2000, 3, 1), (0, 0, 0)), Some(951_868_800));
        assert_eq!(at((2038, 1, 19), (3, 14, 7)), Some(2_147_483_647));
        assert_eq!(at((2105, 12, 31), (23, 59, 59)), Some(4_291_747_199));
        for unknown in [(0, 1, 1), (2026, 0, 1), (2026, 1, 0), (1969, 12, 31), (2106, 1, 1)] {
            assert_eq!(at(unknown, (0, 0, 0)), None);
        }
    }

    /// Every day of the calendar, counted on the fingers: Gregorian leap years are those divisible by 4, but
    /// not by 100 unless by 400.
    #[test]
    #[cfg_attr(miri, ignore = "too slow")]
    fn every_day_is_counted_and_none_invented() {
        let mut days = 0;
        for year in 1890..=2110_u16 {
            let leap = (year % 4 == 0 && year % 100 != 0) || year % 400 == 0;
            let february = if leap { 29 } else { 28 };
            for (month, length) in (1..).zip([31, february, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31]) {
                assert!(DateTime::new((year, month, length + 1), (0, 0, 0)).is_err());
                for day in 1..=length {
                    let date = DateTime::new((year, month, day), (23, 59, 59)).unwrap();
                    if (1970..=2105).contains(&year) {
                        days += 1;
                        assert_eq!(date.instant().map(Instant::secs), Some(days * 86_400 - 1));
                    } else {
                        assert_eq!(date.instant(), None);
                    }
                }
            }
        }
    }

    #[test]
    fn what_is_not_known_allows_the_most() {
        for date in [(0, 0, 0), (0, 2, 29), (2026, 0, 31), (2026, 2, 0), (1582, 1, 1), (9999, 12, 31)] {
            assert_eq!(DateTime::new(date, (0, 0, 0)).unwrap().date(), date);
        }
        assert!(DateTime::new((2026, 0, 32), (0, 0, 0)).is_err());
        assert!(DateTime::new((0, 2, 30), (0, 0, 0)).is_err());
        assert_eq!(DateTime::new((2026, 1, 1), (23, 58, 59)).unwrap().time(), (23, 58, 59));
    }

    #[test]
    fn a_current_time_without_a_weekday() {
        let noon = DateTime::new((2026, 11, 25), (12, 0, 0)).unwrap();
        let time = CurrentTime::new(noon);
        assert_eq!(time.date_time(), noon);
        assert_eq!((time.day_of_week(), time.fractions_256(), time.adjust_reason()), (None, 0, 0));
        assert_eq!(time.encode().as_bytes(), [0xEA, 0x07, 11, 25, 12, 0, 0, 0, 0, 0]);
        let mut sunday = CurrentTime::new(noon);
        sunday.day_of_week = 7;
        assert_eq!(CurrentTime::decode(sunday.encode().as_bytes()), Ok(sunday));
    }

    #[test]
    fn refuses_what_no_calendar_has() {
        for (date, time) in [
            ((2025, 2, 29), (0, 0, 0)),
            ((2100, 2, 29), (0, 0, 0)),
            ((2026, 4, 31), (0, 0, 0)),
            ((2026, 13, 1), (0, 0, 0)),
            ((1581, 1, 1), (0, 0, 0)),
            ((10_000, 1, 1), (0, 0, 0)),
            ((2026, 1, 1), (24, 0, 0)),
            ((2026, 1, 1), (0, 60, 0)),
            ((2026, 1, 1), (0, 0, 60)),
        ] {
            assert!(DateTime::new(date, time).is_err(), "{date:?} {time:?}");
        }
        assert!(DateTime::new((2024, 2, 29), (0, 0, 0)).is_ok());
        assert!(DateTime::new((2000, 2, 29), (0, 0, 0)).is_ok());
    }

    #[test]
    fn current_time_refuses_other_lengths_and_weekdays() {
        let good = [0xEA, 0x07, 11, 25, 10, 30, 15, 3, 128, 1];
        let time = CurrentTime::decode(&good).unwrap();
        assert_eq!(time.encode().as_bytes(), good);
        assert_eq!((time.day_of_week(), time.fractions_256(), time.adjust_reason()), (Some(3), 128, 1));
        assert_eq!(CurrentTime::decode(&good[..9]), Err(DecodeError::TooShort));
        assert_eq!(CurrentTime::decode(&[good.as_slice(), &[0]].concat()), Err(DecodeError::TooLong));
        let mut bad = good;
        bad[7] = 8;
        assert_eq!(CurrentTime::decode(&bad), Err(DecodeError::ReservedValue("day of week")));
        bad[2] = 13;
        assert_eq!(CurrentTime::decode(&bad), Err(DecodeError::DateTime));
    }
}
