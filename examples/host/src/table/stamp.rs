//! Times as they stand in tables.

use glidepath_replay::WallClock;
use jiff::civil::{Date, DateTime};
use jiff::tz::{AmbiguousOffset, Offset, TimeZone};
use jiff::{Timestamp, ZonedDateTime};

/// A time as written: seconds since 1970 on some clock, and that clock's offset from UTC when it says so.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Stamp {
    /// Seconds since 1970-01-01T00:00:00 on the clock it was read from.
    pub wall: i64,
    /// That clock's lead on UTC in seconds; `None` when the text names no zone.
    pub offset: Option<i32>,
}

/// Reads RFC 3339, ISO 8601 without a zone (`T` or a blank between date and time) or seconds since 1970.
pub fn parse(text: &[u8]) -> Option<Stamp> {
    let text = text.trim_ascii();
    usual(text).or_else(|| epoch(text)).or_else(|| any(std::str::from_utf8(text).ok()?))
}

/// The usual shape, without detours: `YYYY-MM-DD HH:MM[:SS[.fraction]][Z|±HH:MM]`.
fn usual(text: &[u8]) -> Option<Stamp> {
    let (date, rest) = text.split_at_checked(10)?;
    let [y0, y1, y2, y3, b'-', m0, m1, b'-', d0, d1] = *date else { return None };
    let ([b'T' | b't' | b' ', h0, h1, b':', n0, n1], mut rest) = rest.split_first_chunk::<6>()? else {
        return None;
    };
    let year = two(y0, y1)? * 100 + two(y2, y3)?;
    let (month, day) = (two(m0, m1)?, two(d0, d1)?);
    let (hour, minute) = (two(*h0, *h1)?, two(*n0, *n1)?);
    let mut second = 0;
    if let Some(([b':', s0, s1], after)) = rest.split_first_chunk::<3>() {
        second = two(*s0, *s1)?;
        rest = after;
        if let [b'.', fraction @ ..] = rest {
            let digits = fraction.iter().take_while(|byte| byte.is_ascii_digit()).count();
            rest = fraction.get(digits.max(1)..)?;
        }
    }
    if hour > 23 || minute > 59 || second > 59 {
        return None;
    }
    let wall = day_number(year, month, day)? * 86_400 + hour * 3600 + minute * 60 + second;
    let offset = match *rest {
        [] => None,
        [b'Z' | b'z'] => Some(0),
        [sign @ (b'+' | b'-'), h0, h1, b':', m0, m1] => {
            let seconds = i32::try_from(two(h0, h1)? * 3600 + two(m0, m1)? * 60).ok()?;
            Some(if sign == b'-' { -seconds } else { seconds })
        }
        _ => return None,
    };
    Some(Stamp { wall, offset })
}

fn two(tens: u8, ones: u8) -> Option<i64> {
    (tens.is_ascii_digit() && ones.is_ascii_digit())
        .then(|| i64::from(tens - b'0') * 10 + i64::from(ones - b'0'))
}

/// Days from 1970-01-01 to a date of the Gregorian calendar, if there is such a date.
pub fn day_number(year: i64, month: i64, day: i64) -> Option<i64> {
    let leap = year % 4 == 0 && (year % 100 != 0 || year % 400 == 0);
    let days_in_month = match month {
        4 | 6 | 9 | 11 => 30,
        2 if leap => 29,
        2 => 28,
        _ => 31,
    };
    let valid = (1..=12).contains(&month) && (1..=days_in_month).contains(&day);
    valid.then(|| days_since_1970(year, month, day))
}

/// The same for a date that there is; years start in March so that the leap day comes last.
fn days_since_1970(year: i64, month: i64, day: i64) -> i64 {
    let year = if month <= 2 { year - 1 } else { year };
    let from_march = (month + 9) % 12;
    let day_of_year = (153 * from_march + 2) / 5 + day - 1;
    year * 365 + year.div_euclid(4) - year.div_euclid(100) + year.div_euclid(400) + day_of_year - 719_468
}

/// Seconds since 1970 in UTC, whole or with a fraction; or whole milliseconds.
fn epoch(text: &[u8]) -> Option<Stamp> {
    let whole = text.split(|byte| *byte == b'.').next()?;
    let digits = |part: &[u8]| part.iter().all(u8::is_ascii_digit);
    let fraction = text.get(whole.len()..)?.strip_prefix(b".").unwrap_or_default();
    // eight digits are a basic-format date
    if whole.is_empty() || whole.len() == 8 || !digits(whole) || !digits(fraction) {
        return None;
    }
    let number: i64 = std::str::from_utf8(whole).ok()?.parse().ok()?;
    // those of the years from 2001 to 2286 have thirteen digits, which no date written together has
    let milliseconds = whole.len() == 13 && whole.len() == text.len();
    Some(Stamp { wall: if milliseconds { number / 1000 } else { number }, offset: Some(0) })
}

/// Whatever else the standards allow.
fn any(text: &str) -> Option<Stamp> {
    if let Ok(zoned) = text.parse::<ZonedDateTime>() {
        let offset = zoned.offset().seconds();
        return Some(Stamp { wall: zoned.timestamp().as_second() + i64::from(offset), offset: Some(offset) });
    }
    if text.contains('[') {
        return None; // its zone and offset disagree
    }
    if let Ok(at) = text.parse::<Timestamp>() {
        return Some(Stamp { wall: at.as_second(), offset: Some(0) });
    }
    let civil = text.parse::<DateTime>().ok()?;
    // a date alone is no time of a reading
    (text.len() > 10).then(|| Stamp { wall: wall_seconds(civil), offset: None })
}

/// Seconds since 1970 on the clock that shows `civil`.
pub fn wall_seconds(civil: DateTime) -> i64 {
    let day = days_since_1970(civil.year().into(), civil.month().into(), civil.day().into());
    day * 86_400 + i64::from(civil.hour()) * 3600 + i64::from(civil.minute()) * 60 + i64::from(civil.second())
}

/// A zone by its name (`Europe/Vienna`) or its offset from UTC (`+02:00`, `-0330`, `+2`).
pub fn zone(text: &str) -> Option<TimeZone> {
    let Some(rest) = text.strip_prefix(['+', '-']) else { return TimeZone::get(text).ok() };
    let (hours, minutes) = match (rest.split_once(':'), rest.len()) {
        (Some(parts), _) => parts,
        (None, 1 | 2) => (rest, "0"),
        (None, 4) => rest.split_at_checked(2)?,
        _ => return None,
    };
    let digits = |text: &str| text.parse::<i32>().ok().filter(|_| text.bytes().all(|b| b.is_ascii_digit()));
    let (hours, minutes) = (digits(hours)?, digits(minutes).filter(|minutes| *minutes < 60)?);
    let seconds = hours.checked_mul(3600)? + minutes * 60;
    let offset = Offset::from_seconds(if text.starts_with('-') { -seconds } else { seconds }).ok()?;
    Some(TimeZone::fixed(offset))
}

/// From an instant to the wearer's own clock.
#[derive(Clone, Debug)]
pub enum Clock {
    /// Times without a zone: an instant is the wearer's clock read as if it were UTC, corrected where that
    /// clock was set back.
    Own(Vec<SetBack>),
    /// Times that name their offset from UTC, which may change on the way (seconds, from an instant on).
    Stamped(Vec<(i64, i32)>),
    /// A zone given by the user.
    Zone(TimeZone),
}

/// From `from` on (an instant), the wearer's clock shows `seconds` less than the instant.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct SetBack {
    /// The first instant it holds for.
    pub from: i64,
    /// How far the clock is behind the instants from then on.
    pub seconds: i64,
}

impl Default for Clock {
    fn default() -> Self {
        Self::Own(Vec::new())
    }
}

impl WallClock for Clock {
    fn wall(&self, instant: i64) -> i64 {
        Self::wall(self, instant)
    }
}

impl Clock {
    /// Seconds since 1970 on the wearer's own clock at an instant.
    pub fn wall(&self, instant: i64) -> i64 {
        match self {
            Self::Own(set_back) => {
                instant - set_back.iter().rev().find(|s| s.from <= instant).map_or(0, |s| s.seconds)
            }
            Self::Stamped(_) | Self::Zone(_) => instant + i64::from(self.offset(instant).unwrap_or(0)),
        }
    }

    /// Whether its times are told with their offset from UTC.
    pub fn names_zone(&self) -> bool {
        !matches!(self, Self::Own(_))
    }

    /// The lead on UTC at an instant, seconds; `None` for a clock without a zone.
    fn offset(&self, instant: i64) -> Option<i32> {
        match self {
            Self::Own(_) => None,
            Self::Stamped(changes) => {
                let later = changes.partition_point(|(from, _)| *from <= instant);
                changes.get(later.saturating_sub(1)).map(|(_, offset)| *offset)
            }
            Self::Zone(zone) => Timestamp::from_second(instant).ok().map(|at| zone.to_offset(at).seconds()),
        }
    }

    /// The instant of a stamp, `None` when the stamp names no zone and this clock needs one, or the reverse.
    ///
    /// An hour that a zone's clock shows twice is taken as the first, unless that would be at or before
    /// `previous`.
    pub fn instant(&self, stamp: Stamp, previous: Option<i64>) -> Option<i64> {
        match (self, stamp.offset) {
            (Self::Own(set_back), None) => {
                let shift = set_back.iter().rev().find(|s| s.from - s.seconds <= stamp.wall);
                Some(stamp.wall + shift.map_or(0, |s| s.seconds))
            }
            (Self::Stamped(_) | Self::Zone(_), Some(offset)) => Some(stamp.wall - i64::from(offset)),
            (Self::Zone(zone), None) => {
                let civil = TimeZone::UTC.to_datetime(Timestamp::from_second(stamp.wall).ok()?);
                let at = |offset: Offset| stamp.wall - i64::from(offset.seconds());
                Some(match zone.to_ambiguous_timestamp(civil).offset() {
                    AmbiguousOffset::Unambiguous { offset } => at(offset),
                    // a time the clock skipped: as if it had not been set forward yet
                    AmbiguousOffset::Gap { before, .. } => at(before),
                    AmbiguousOffset::Fold { before, after } => {
                        if previous.is_some_and(|previous| at(before) <= previous) {
                            at(after)
                        } else {
                            at(before)
                        }
                    }
                })
            }
            (Self::Own(_), Some(_)) | (Self::Stamped(_), None) => None,
        }
    }

    /// An instant in ISO 8601 on the wearer's clock, with the offset when the zone is known.
    pub fn iso(&self, instant: i64) -> String {
        let mut text = iso(self.wall(instant));
        if let Some(offset) = self.offset(instant) {
            let minutes = i64::from(offset.abs() / 60);
            push(&mut text, if offset < 0 { "-" } else { "+" }, minutes / 60);
            push(&mut text, ":", minutes % 60);
        }
        text
    }
}

/// Seconds since 1970 as `YYYY-MM-DDTHH:MM:SS`.
pub fn iso(wall: i64) -> String {
    let day = date(wall.div_euclid(86_400));
    let second = wall.rem_euclid(86_400);
    let (year, month, day) = (i64::from(day.year().max(0)), i64::from(day.month()), i64::from(day.day()));
    // digit by digit, for a table has a time in each row
    let mut text = String::with_capacity("2026-01-05T00:00:00+00:00".len());
    let parts = [("", year / 100), ("", year % 100), ("-", month), ("-", day)];
    let clock = [("T", second / 3600), (":", second / 60 % 60), (":", second % 60)];
    parts.into_iter().chain(clock).for_each(|(before, two)| push(&mut text, before, two));
    text
}

/// Writes a number of two digits, and `before` before it.
fn push(text: &mut String, before: &str, two: i64) {
    *text += before;
    text.extend([two / 10, two % 10].map(|digit| char::from(b'0' + digit as u8)));
}

/// The day so many days after 1970-01-01.
pub fn date(days: i64) -> Date {
    let midnight = Timestamp::from_second(days.saturating_mul(86_400)).unwrap_or_default();
    Offset::UTC.to_datetime(midnight).date()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_usual_shapes_agree_with_a_calendar_library() {
        for text in [
            "1970-01-01T00:00:00",
            "1999-12-31 23:59:59",
            "2000-02-29T12:00:00",
            "2024-02-29T00:00",
            "2100-02-28T06:30:15.250",
            "2101-03-01T00:00:00",
        ] {
            let civil: DateTime = text.parse().unwrap();
            let wall = civil.to_zoned_datetime(TimeZone::UTC).unwrap().timestamp().as_second();
            assert_eq!(usual(text.as_bytes()), Some(Stamp { wall, offset: None }), "{text}");
            assert_eq!(any(text), Some(Stamp { wall, offset: None }), "{text}");
            assert_eq!(iso(wall)[..16], text.replace(' ', "T")[..16]);
        }
    }

    #[test]
    fn offsets_and_seconds_since_1970_are_read() {
        let at = |text: &str| parse(text.as_bytes()).map(|s| (s.wall, s.offset));
        assert_eq!(at("1970-01-01T02:00:00+02:00"), Some((7200, Some(7200))));
        assert_eq!(at("1970-01-01T00:00:00Z"), Some((0, Some(0))));
        assert_eq!(at("19700101T000000Z"), Some((0, Some(0))));
        assert_eq!(at("1700000000"), Some((1_700_000_000, Some(0))));
        assert_eq!(at("1700000000.75"), Some((1_700_000_000, Some(0))));
        assert_eq!(at("1700000000750"), Some((1_700_000_000, Some(0))));
        let zoned = " 2024-06-01T12:00:00-02:30[America/St_Johns] ";
        assert_eq!(at(zoned), Some((1_717_243_200, Some(-9000))));
        assert_eq!(at(&zoned.replace("-02:30", "-03:30")), None); // offset and zone disagree
        for bad in
            ["", "noon", "2023-02-29T00:00:00", "2024-13-01T00:00:00", "01/02/2024 10:00", "2024-01-01"]
        {
            assert_eq!(at(bad), None, "{bad}");
        }
    }

    #[test]
    fn zones_have_a_name_or_an_offset() {
        let lead = |text: &str| Some(Clock::Zone(zone(text)?).lead(1_720_000_000));
        assert_eq!(lead("Europe/Vienna"), Some(7200));
        for (text, seconds) in [("+02:00", 7200), ("-0330", -12_600), ("+2", 7200), ("+00:00", 0)] {
            assert_eq!(lead(text), Some(seconds), "{text}");
        }
        for bad in ["+99:00", "+2:75", "+2:", "+", "+x", "+-2", "Vienna", ""] {
            assert_eq!(lead(bad), None, "{bad}");
        }
    }

    #[test]
    fn times_are_written_as_a_calendar_library_writes_them() {
        for wall in (-1_000_000_000..4_300_000_000_i64).step_by(98_765_431) {
            let civil = TimeZone::UTC.to_datetime(Timestamp::from_second(wall).unwrap());
            assert_eq!(iso(wall), civil.strftime("%Y-%m-%dT%H:%M:%S").to_string());
        }
    }

    #[test]
    fn a_night_is_from_ten_to_seven_of_the_day_it_ends_on() {
        let own = Clock::default();
        let of = |hour: i64, minute: i64| own.night(hour * 3600 + minute * 60);
        assert_eq!([of(0, 0), of(6, 59), of(7, 0)], [Some(0), Some(0), None]);
        assert_eq!([of(21, 59), of(22, 0), of(24, 0), of(30, 59)], [None, Some(1), Some(1), Some(1)]);
        // on the wearer's clock
        let east = Clock::Zone(zone("+05:00").unwrap());
        assert_eq!(
            [east.night(16 * 3600), east.night(17 * 3600), east.night(2 * 3600)],
            [None, Some(1), None]
        );
    }

    #[test]
    fn the_hour_shown_twice_goes_on() {
        let zone = Clock::Zone(TimeZone::get("Europe/Vienna").unwrap());
        let stamp = parse(b"2023-10-29T02:30:00").unwrap();
        let first = zone.instant(stamp, None).unwrap();
        let second = zone.instant(stamp, Some(first)).unwrap();
        assert_eq!(second - first, 3600);
        assert_eq!(zone.iso(first), "2023-10-29T02:30:00+02:00");
        assert_eq!(zone.iso(second), "2023-10-29T02:30:00+01:00");
        let behind = Clock::Stamped(vec![(0, -12_600)]);
        assert_eq!(behind.iso(86_399), "1970-01-01T20:29:59-03:30");
    }
}
