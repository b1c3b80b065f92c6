//! Dates as people and spreadsheets write them; which number is the day, the whole column decides.

use jiff::fmt::strtime;

use super::stamp::{self, Stamp};

/// Which number of a date comes first where the year is last.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Order {
    DayFirst,
    MonthFirst,
}

impl Order {
    /// In words.
    pub fn name(self) -> &'static str {
        match self {
            Self::DayFirst => "day before month",
            Self::MonthFirst => "month before day",
        }
    }
}

/// How the times of a table are written, as a user says it.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Format {
    /// Numbers in this order.
    Order(Order),
    /// By a pattern of conversion specifications.
    Pattern(String),
}

impl std::str::FromStr for Format {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        match text {
            _ if text.eq_ignore_ascii_case("dmy") => Ok(Self::Order(Order::DayFirst)),
            _ if text.eq_ignore_ascii_case("mdy") => Ok(Self::Order(Order::MonthFirst)),
            // a pattern that cannot be read says so before the first row does
            _ if text.contains('%') && strtime::format(text, &sample()).is_ok() => {
                Ok(Self::Pattern(text.to_owned()))
            }
            _ => Err("expected dmy, mdy, or a pattern such as \"%d.%m.%Y %H:%M\"".into()),
        }
    }
}

/// A moment to try a pattern on.
fn sample() -> jiff::ZonedDateTime {
    jiff::Timestamp::UNIX_EPOCH.to_zoned_datetime(jiff::tz::TimeZone::UTC)
}

impl Format {
    /// A time in this form.
    pub fn parse(&self, text: &[u8]) -> Option<Written> {
        let Self::Pattern(pattern) = self else { return parse(text) };
        let parsed = strtime::parse(pattern, std::str::from_utf8(text).ok()?.trim()).ok()?;
        let offset = parsed.offset().map(|offset| offset.seconds());
        if let Ok(civil) = parsed.to_datetime() {
            return Some(Written::Known(Stamp { wall: stamp::wall_seconds(civil), offset }));
        }
        let at = parsed.to_timestamp().ok()?;
        Some(Written::Known(Stamp { wall: at.as_second(), offset: Some(0) }))
    }
}

/// A time as read from one cell.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Written {
    Known(Stamp),
    /// A day and a month, in an order that this cell alone may not tell.
    Numbers(Numbers),
}

/// Two numbers before a year.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Numbers {
    first: u8,
    second: u8,
    year: i16,
    second_of_day: u32,
    /// Parted by points, which only languages that begin with the day do (common practice, no source).
    points: bool,
}

impl Numbers {
    fn day(self, order: Order) -> Option<i64> {
        let (day, month) = match order {
            Order::DayFirst => (self.first, self.second),
            Order::MonthFirst => (self.second, self.first),
        };
        stamp::day_number(self.year.into(), month.into(), day.into())
    }

    /// The time they mean in `order`.
    pub fn stamp(self, order: Order) -> Option<Stamp> {
        Some(Stamp { wall: self.day(order)? * 86_400 + i64::from(self.second_of_day), offset: None })
    }
}

impl Written {
    /// The time it means, its numbers in `order`.
    pub fn stamp(self, order: Order) -> Option<Stamp> {
        match self {
            Self::Known(stamp) => Some(stamp),
            Self::Numbers(numbers) => numbers.stamp(order),
        }
    }
}

/// What a column of times says about the order of its numbers.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Decided {
    /// Nothing depends on it.
    Unneeded,
    /// Only this order gives dates, or gives them without leaps.
    Order(Order),
    /// Either is possible: the first place where it matters, and what stands there.
    Either(usize, Numbers),
}

/// Decides for the times that alone do not tell the day from the month, each with its place in the column: by the numbers
/// over 12; else by the points between them; else by which order lets the rows follow one another, as readings do: the
/// other one leaps by a month at each midnight.
pub fn decide(column: &[(usize, Numbers)]) -> Decided {
    let numbers = || column.iter().copied();
    let Some((place, first)) = numbers().find(|(_, n)| n.first != n.second) else { return Decided::Unneeded };
    let possible = |order| numbers().all(|(_, n)| n.day(order).is_some());
    match (possible(Order::DayFirst), possible(Order::MonthFirst)) {
        (true, false) => return Decided::Order(Order::DayFirst),
        (false, true) => return Decided::Order(Order::MonthFirst),
        // the row that fits neither is told with the order that fits more
        (false, false) => {
            let fits = |order| numbers().filter(|(_, n)| n.day(order).is_some()).count();
            let day_first = fits(Order::DayFirst) >= fits(Order::MonthFirst);
            return Decided::Order(if day_first { Order::DayFirst } else { Order::MonthFirst });
        }
        (true, true) if numbers().all(|(_, n)| n.points) => return Decided::Order(Order::DayFirst),
        (true, true) => {}
    }
    let way = |order| {
        let days: Vec<i64> = numbers().filter_map(|(_, n)| n.day(order)).collect();
        days.windows(2).map(|pair| pair[0].abs_diff(pair[1])).sum::<u64>()
    };
    let (day_first, month_first) = (way(Order::DayFirst), way(Order::MonthFirst));
    match () {
        () if day_first * 3 < month_first => Decided::Order(Order::DayFirst),
        () if month_first * 3 < day_first => Decided::Order(Order::MonthFirst),
        () => Decided::Either(place, first),
    }
}

/// The times of a column that alone do not tell the day from the month, with their places.
pub fn numbers(column: impl Iterator<Item = Written>) -> Vec<(usize, Numbers)> {
    let numbers = |(place, written)| match written {
        Written::Numbers(numbers) => Some((place, numbers)),
        Written::Known(_) => None,
    };
    column.enumerate().filter_map(numbers).collect()
}

/// Reads what the standards allow, and dates of three numbers, or of two and a month's English name, before or
/// beside a time with or without "AM" and "PM".
pub fn parse(text: &[u8]) -> Option<Written> {
    if let Some(stamp) = stamp::parse(text) {
        return Some(Written::Known(stamp));
    }
    let text = String::from_utf8_lossy(text).replace(['\u{a0}', '\u{202f}'], " ");
    let colon = text.find(':')?;
    let hour = text.get(..colon)?.trim_end_matches(|c: char| c.is_ascii_digit()).len();
    let (date, time) = text.split_at_checked(hour)?;
    let second_of_day = second_of_day(time)?;
    let date = date.trim().trim_end_matches([',', 'T']).trim();
    let parts: Vec<&str> = date.split([' ', ',', '.', '/', '-']).filter(|part| !part.is_empty()).collect();
    let [a, b, c] = *parts.as_slice() else { return None };
    let known = |year, month, day| {
        let day = stamp::day_number(year, month, day)?;
        Some(Written::Known(Stamp { wall: day * 86_400 + i64::from(second_of_day), offset: None }))
    };
    if a.len() == 4 {
        return known(number(a, 4)?, number(b, 2)?, number(c, 2)?);
    }
    let year = match c.len() {
        4 => number(c, 4)?,
        2 => 2000 + number(c, 2)?,
        _ => return None,
    };
    match (month(a), month(b)) {
        (Some(month), None) => known(year, month, number(b, 2)?),
        (None, Some(month)) => known(year, month, number(a, 2)?),
        _ => {
            let numbers = Numbers {
                first: u8::try_from(number(a, 2)?).ok()?,
                second: u8::try_from(number(b, 2)?).ok()?,
                year: i16::try_from(year).ok()?,
                second_of_day,
                points: date.contains('.'),
            };
            let valid = numbers.day(Order::DayFirst).or(numbers.day(Order::MonthFirst));
            valid.map(|_| Written::Numbers(numbers))
        }
    }
}

/// Whether a cell holds a time of day and no date.
pub fn is_time_of_day(text: &[u8]) -> bool {
    let digits = text.iter().take_while(|byte| byte.is_ascii_digit()).count();
    (1..=2).contains(&digits) && text.get(digits) == Some(&b':')
}

/// A time of day: `H:MM`, `H:MM:SS` with or without a fraction, with or without "AM" or "PM".
fn second_of_day(text: &str) -> Option<u32> {
    let digits_end = text.find(|c: char| !c.is_ascii_digit() && c != ':').unwrap_or(text.len());
    let (digits, rest) = text.split_at_checked(digits_end)?;
    let rest = match rest.strip_prefix('.') {
        Some(fraction) if digits.matches(':').count() == 2 => {
            fraction.trim_start_matches(|c: char| c.is_ascii_digit())
        }
        _ => rest,
    };
    let mut parts = digits.split(':');
    let (hour, minute) = (number(parts.next()?, 2)?, number(parts.next()?, 2)?);
    let second = parts.next().map_or(Some(0), |second| number(second, 2))?;
    if parts.next().is_some() || minute > 59 || second > 59 {
        return None;
    }
    let half: String = rest.chars().filter(|c| !matches!(c, ' ' | '.')).collect();
    let hour = match half.to_ascii_lowercase().as_str() {
        "" if hour < 24 => hour,
        "am" if (1..=12).contains(&hour) => hour % 12,
        "pm" if (1..=12).contains(&hour) => hour % 12 + 12,
        _ => return None,
    };
    u32::try_from(hour * 3600 + minute * 60 + second).ok()
}

/// A number of at most `most` digits.
fn number(text: &str, most: usize) -> Option<i64> {
    let digits = (1..=most).contains(&text.len()) && text.bytes().all(|byte| byte.is_ascii_digit());
    text.parse().ok().filter(|_| digits)
}

fn month(name: &str) -> Option<i64> {
    const MONTHS: [&str; 12] = [
        "january",
        "february",
        "march",
        "april",
        "may",
        "june",
        "july",
        "august",
        "september",
        "october",
        "november",
        "december",
    ];
    let name = name.to_ascii_lowercase();
    let place = MONTHS.iter().position(|month| name.len() >= 3 && month.starts_with(&name))?;
    i64::try_from(place + 1).ok()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(text: &str, order: Order) -> Option<String> {
        Some(stamp::iso(parse(text.as_bytes())?.stamp(order)?.wall))
    }

    #[test]
    fn spreadsheets_dates_are_read() {
        let (day, month) = (Order::DayFirst, Order::MonthFirst);
        for (text, order, want) in [
            ("06.05.2024 00:05", day, "2024-05-06T00:05:00"),
            ("6.5.24 0:05", day, "2024-05-06T00:05:00"),
            ("06.05.2024, 13:05:09", day, "2024-05-06T13:05:09"),
            ("5/6/2024 12:05 AM", month, "2024-05-06T00:05:00"),
            ("5/6/2024 12:05:30\u{202f}PM", month, "2024-05-06T12:05:30"),
            ("05/06/2024 1:05pm", day, "2024-06-05T13:05:00"),
            ("05-06-2024 01:05 p.m.", day, "2024-06-05T13:05:00"),
            ("2024/05/06 00:05", day, "2024-05-06T00:05:00"),
            ("2024/5/6 0:05", month, "2024-05-06T00:05:00"),
            ("2024-5-6 0:05", month, "2024-05-06T00:05:00"),
            ("2024.05.06 00:05:59.123", month, "2024-05-06T00:05:59"),
            ("6 May 2024 00:05", month, "2024-05-06T00:05:00"),
            ("06-May-24 00:05", month, "2024-05-06T00:05:00"),
            ("May 6, 2024 12:05 AM", day, "2024-05-06T00:05:00"),
        ] {
            assert_eq!(at(text, order).as_deref(), Some(want), "{text}");
        }
        for bad in [
            "06.05.2024",
            "00:05",
            "13/13/2024 00:05",
            "5/6/2024 24:05",
            "5/6/2024 13:05 PM",
            "5/6/2024 0:05 AM",
            "5/6/2024 1:5:60",
            "5/6/202 00:05",
            "30.02.2024 00:05",
            "5/6/2024 00:05 x",
            "ma 6, 2024 00:05",
        ] {
            assert_eq!(parse(bad.as_bytes()), None, "{bad}");
        }
    }

    fn decided(column: &[&str]) -> Decided {
        decide(&numbers(column.iter().map(|text| parse(text.as_bytes()).unwrap())))
    }

    #[test]
    fn the_column_decides_which_number_is_the_day() {
        use Decided::{Either, Unneeded};
        let day_first = Decided::Order(Order::DayFirst);
        let month_first = Decided::Order(Order::MonthFirst);
        assert_eq!(decided(&["05/06/2024 23:55", "13/06/2024 00:00"]), day_first);
        assert_eq!(decided(&["05/06/2024 23:55", "05/13/2024 00:00"]), month_first);
        // by the leaps, either way round
        assert_eq!(decided(&["05/06/2024 23:55", "06/06/2024 00:00"]), day_first);
        assert_eq!(decided(&["05/07/2024 00:00", "05/06/2024 23:55"]), month_first);
        assert_eq!(decided(&["05.06.2024 23:55"]), day_first);
        assert_eq!(decided(&["06/06/2024 23:55"]), Unneeded);
        assert_eq!(decided(&["2024-05-06 23:55"]), Unneeded);
        assert_eq!(decided(&["06/06/2024 00:00", "05/06/2024 23:55", "05/06/2024 23:59"]), day_first);
        let at =
            |place, text: &str| Either(place, numbers([parse(text.as_bytes()).unwrap()].into_iter())[0].1);
        assert_eq!(decided(&["05/06/2024 23:50", "05/06/2024 23:55"]), at(0, "05/06/2024 23:50"));
        // nearer one way, but not so that it decides
        assert_eq!(
            decided(&["05/05/2024 0:00", "05/06/2024 0:00", "06/06/2024 0:00", "07/06/2024 0:00"]),
            at(1, "05/06/2024 0:00")
        );
        // thirty days one way and as many the other
        let either = at(1, "05/06/2024 00:00");
        assert_eq!(decided(&["05/05/2024 23:55", "05/06/2024 00:00", "06/06/2024 00:00"]), either);
    }

    #[test]
    fn a_pattern_reads_the_rest() {
        let format: Format = "%Hh%M %d %m %y".parse().unwrap();
        let at = format.parse(b"00h05 06 05 24").unwrap().stamp(Order::MonthFirst).unwrap();
        assert_eq!((stamp::iso(at.wall).as_str(), at.offset), ("2024-05-06T00:05:00", None));
        let zoned: Format = "%Y%m%d%H%M%z".parse().unwrap();
        assert_eq!(
            zoned.parse(b"202405060005+0200").unwrap().stamp(Order::DayFirst).unwrap().offset,
            Some(7200)
        );
        assert_eq!(format.parse(b"2024-05-06 00:05"), None);
        assert_eq!("DMY".parse(), Ok(Format::Order(Order::DayFirst)));
        assert!("day first".parse::<Format>().is_err() && "%".parse::<Format>().is_err());
    }
}
