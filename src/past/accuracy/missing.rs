//! Readings that were missing when they mattered.

use crate::error::{Error, ErrorKind};
use crate::reading::{Reading, Status};
use crate::units::{Glucose, Instant, LOW, Rate, Span};

/// How long what was last known of glucose still describes a gap.
const KNOWN_FOR_S: i32 = 3600;
/// A longer silence is a sensor not worn, and no gap.
const AWAY_S: i32 = 86_400;
/// Steeper is fast, mg/dL per minute.
const FAST: f32 = -2.0;

/// A situation in which a missing reading matters.
///
/// Feature `defmt` gives `Format`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Period {
    /// At any time.
    Any,
    /// Glucose was falling faster than 2 mg/dL per minute when last known.
    FallingFast,
    /// Glucose was under 70 mg/dL when last known.
    Low,
    /// From midnight to six.
    Night,
    /// In the first 24 h of the sensor.
    FirstDay,
    /// In any of the four before: when it mattered.
    Critical,
}

impl Period {
    /// All of them.
    pub const ALL: [Self; 6] =
        [Self::Any, Self::FallingFast, Self::Low, Self::Night, Self::FirstDay, Self::Critical];
}

/// What was missing in one situation. 20 bytes.
///
/// Feature `defmt` gives `Format`.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct MissingSummary {
    gaps: u32,
    errors: u32,
    expected: u32,
    missing: u32,
    interval_min: f32,
}

impl MissingSummary {
    /// Gaps: stretches without any reading that touched the situation.
    #[must_use]
    pub const fn gaps(&self) -> u32 {
        self.gaps
    }

    /// Readings that came as an error: warm-up, doubt, fault.
    #[must_use]
    pub const fn errors(&self) -> u32 {
        self.errors
    }

    /// Hours of the situation, with and without readings.
    #[must_use]
    pub fn hours(&self) -> f32 {
        self.expected as f32 * self.interval_min / 60.0
    }

    /// Hours of it without a usable reading.
    #[must_use]
    pub fn missing_hours(&self) -> f32 {
        self.missing as f32 * self.interval_min / 60.0
    }

    /// Gaps per 100 h of the situation.
    #[must_use]
    pub fn gaps_per_100_h(&self) -> Option<f32> {
        (self.expected > 0).then(|| 100.0 * self.gaps as f32 / self.hours())
    }

    /// Errors per 100 h of the situation.
    #[must_use]
    pub fn errors_per_100_h(&self) -> Option<f32> {
        (self.expected > 0).then(|| 100.0 * self.errors as f32 / self.hours())
    }
}

/// Counts gaps and errors apart, by the situation they fell in. Streaming, 156 bytes.
///
/// Readings come in order of time with the rate then known. A stretch of more than one and a half intervals is
/// a gap; over 24 h it is a sensor not worn and counts nowhere.
///
/// # Examples
/// ```
/// use glidepath::accuracy::{MissingData, Period};
/// use glidepath::{Glucose, Instant, Reading, Span};
/// let at = |min: u32, mg_dl| Ok::<_, glidepath::Error>(Reading::new(Instant::from_secs(min * 60), Glucose::from_mg_dl(mg_dl)?));
/// let mut missing = MissingData::new(Span::from_mins(5), Instant::from_secs(0), Span::ZERO)?;
/// missing.push(&at(0, 72.0)?, None);
/// missing.push(&at(5, 66.0)?, None);
/// missing.push(&at(35, 80.0)?, None); // five readings did not come, and it was low
/// assert_eq!(missing.during(Period::Low).gaps(), 1);
/// assert!((missing.during(Period::Low).missing_hours() - 25.0 / 60.0).abs() < 1e-6);
/// # Ok::<(), glidepath::Error>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct MissingData {
    interval: Span,
    started: Instant,
    clock: Span,
    missed: [MissingSummary; 6],
    previous: Option<Instant>,
    known: Option<(Instant, Glucose, Option<Rate>)>,
}

impl MissingData {
    /// For a sensor that reports every `interval` and was put on at `started`. `clock` is what to add to an
    /// [`Instant`] so that whole days of seconds begin at local midnight.
    ///
    /// # Errors
    /// When the interval is not within 30 s to 1 h.
    pub fn new(interval: Span, started: Instant, clock: Span) -> Result<Self, Error> {
        if interval.secs() < 30 || interval.secs() > 3600 {
            return Err(Error::new("interval", ErrorKind::OutOfRange));
        }
        let missed = MissingSummary { interval_min: interval.mins(), ..MissingSummary::default() };
        Ok(Self { interval, started, clock, missed: [missed; 6], previous: None, known: None })
    }

    /// Takes the next reading, and the rate of change then known if any. One not later than the one before is
    /// passed over.
    pub fn push(&mut self, reading: &Reading, rate: Option<Rate>) {
        if self.previous.is_some_and(|previous| reading.at() <= previous) {
            return;
        }
        self.count_gap(reading.at());
        self.previous = Some(reading.at());
        let error = match reading.status() {
            Status::Normal | Status::BelowRange | Status::AboveRange => {
                self.known = Some((reading.at(), reading.glucose(), rate));
                false
            }
            Status::WarmUp | Status::Doubtful | Status::Fault => true,
        };
        for (when, missed) in self.situations(reading.at()) {
            if when {
                missed.expected = missed.expected.saturating_add(1);
                missed.errors = missed.errors.saturating_add(u32::from(error));
                missed.missing = missed.missing.saturating_add(u32::from(error));
            }
        }
    }

    /// What was missing in a situation.
    #[must_use]
    pub fn during(&self, when: Period) -> MissingSummary {
        self.missed.get(when as usize).copied().unwrap_or_default()
    }

    fn count_gap(&mut self, until: Instant) {
        let Some(previous) = self.previous else { return };
        let (length, step) = (until.since(previous).secs(), self.interval.secs());
        if length > AWAY_S || length.saturating_mul(2) <= step.saturating_mul(3) {
            return;
        }
        let mut touched = [false; 6];
        let mut at = previous.plus(self.interval);
        // at most a day in steps of half a minute
        while until.since(at).secs().saturating_mul(2) > step {
            for ((when, missed), touched) in self.situations(at).zip(&mut touched) {
                if when {
                    missed.expected = missed.expected.saturating_add(1);
                    missed.missing = missed.missing.saturating_add(1);
                    *touched = true;
                }
            }
            at = at.plus(self.interval);
        }
        for (missed, touched) in self.missed.iter_mut().zip(touched) {
            missed.gaps = missed.gaps.saturating_add(u32::from(touched));
        }
    }

    /// Whether each situation holds at `at`, beside its counts.
    fn situations(&mut self, at: Instant) -> impl Iterator<Item = (bool, &mut MissingSummary)> {
        let known = self.known.filter(|(then, ..)| at.since(*then).secs() <= KNOWN_FOR_S);
        let falling = known.and_then(|(.., rate)| rate).is_some_and(|rate| rate.mg_dl_per_min() < FAST);
        let low = known.is_some_and(|(_, glucose, _)| glucose < LOW);
        let of_day = i64::from(at.secs()).saturating_add(i64::from(self.clock.secs())).rem_euclid(86_400);
        let first_day = at.since(self.started).secs() < 86_400;
        let night = of_day < 6 * 3600;
        let mattering = falling || low || night || first_day;
        [true, falling, low, night, first_day, mattering].into_iter().zip(&mut self.missed)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn reading(minute: u32, mg_dl: f32) -> Reading {
        Reading::new(Instant::from_secs(minute * 60), Glucose::clamped(mg_dl))
    }

    fn five_minutes(started_min: u32) -> MissingData {
        MissingData::new(Span::from_mins(5), Instant::from_secs(started_min * 60), Span::ZERO).unwrap()
    }

    #[test]
    fn gaps_and_errors_are_counted_apart_and_where_they_fell() {
        let mut missing = five_minutes(0);
        let fast = Rate::from_mg_dl_per_min(-3.0).ok();
        // a day and a bit at noon: a gap of two readings while falling fast
        let noon = 36 * 60;
        missing.push(&reading(noon, 120.0), fast);
        missing.push(&reading(noon + 15, 80.0), None);
        missing.push(&reading(noon + 20, 0.0).with_status(Status::Fault), None);
        let all = missing.during(Period::Any);
        assert_eq!((all.gaps(), all.errors()), (1, 1));
        assert_eq!(all.hours(), 25.0 / 60.0);
        assert_eq!(all.missing_hours(), 15.0 / 60.0);
        assert_eq!(missing.during(Period::Critical).missing_hours(), 10.0 / 60.0);
        let falling = missing.during(Period::FallingFast);
        assert_eq!((falling.gaps(), falling.errors(), falling.hours()), (1, 0, 15.0 / 60.0));
        for when in [Period::Low, Period::Night, Period::FirstDay] {
            assert_eq!(missing.during(when).hours(), 0.0, "{when:?}");
            assert_eq!(missing.during(when).gaps_per_100_h(), None);
        }
    }

    #[test]
    fn a_long_gap_reaches_into_the_night_and_forgets_what_was_known() {
        let mut missing = five_minutes(0);
        missing.push(&reading(23 * 60, 60.0), None);
        missing.push(&reading(25 * 60, 100.0), None);
        // eleven readings before midnight and twelve from it on are missing, and the one after is there
        assert!((missing.during(Period::Night).missing_hours() - 1.0).abs() < 1e-6);
        assert!((missing.during(Period::Night).hours() - 65.0 / 60.0).abs() < 1e-6);
        assert!((missing.during(Period::Low).missing_hours() - 1.0).abs() < 1e-6);
        assert!((missing.during(Period::FirstDay).missing_hours() - 55.0 / 60.0).abs() < 1e-6);
        assert!((missing.during(Period::Critical).missing_hours() - 115.0 / 60.0).abs() < 1e-6);
        assert!(
            (missing.during(Period::Any).gaps_per_100_h().unwrap() - 100.0 / (125.0 / 60.0)).abs() < 1e-3
        );
    }

    #[test]
    fn two_a_minute_is_not_faster_than_two_and_70_is_not_under_70() {
        for (mg_dl, rate, falling, low) in
            [(70.0, -2.0, 0.0, 0.0), (69.9, -2.1, 5.0, 5.0), (120.0, 2.1, 0.0, 0.0), (120.0, 0.0, 0.0, 0.0)]
        {
            let mut missing = five_minutes(0);
            missing.push(&reading(0, mg_dl), Some(Rate::clamped(rate)));
            let minutes = [Period::FallingFast, Period::Low].map(|when| missing.during(when).hours() * 60.0);
            assert_eq!(minutes, [falling, low], "{mg_dl} {rate}");
        }
    }

    #[test]
    fn the_night_ends_at_six() {
        let mut missing = five_minutes(0);
        for minute in (5 * 60..7 * 60).step_by(5) {
            missing.push(&reading(minute, 100.0), None);
        }
        assert_eq!(missing.during(Period::Night).hours(), 1.0);
        assert_eq!(missing.during(Period::Any).hours(), 2.0);
    }

    #[test]
    fn days_apart_is_a_sensor_not_worn() {
        let mut missing = five_minutes(0);
        missing.push(&reading(0, 100.0), None);
        missing.push(&reading(1441, 100.0), None);
        missing.push(&reading(7, 100.0), None);
        assert_eq!(missing.during(Period::Any).gaps(), 0);
        assert_eq!(missing.during(Period::Any).hours(), 10.0 / 60.0);
        assert!(MissingData::new(Span::from_secs(5), Instant::from_secs(0), Span::ZERO).is_err());
    }

    #[test]
    fn rates_are_per_hundred_hours() {
        let mut missing = five_minutes(0);
        for (minute, status) in
            [(0, Status::Normal), (15, Status::Fault), (30, Status::Doubtful), (45, Status::Fault)]
        {
            missing.push(&reading(minute, 100.0).with_status(status), None);
        }
        // ten places of five minutes: three gaps of two, three errors
        let all = missing.during(Period::Any);
        assert_eq!((all.gaps(), all.errors(), all.hours()), (3, 3, 50.0 / 60.0));
        assert_eq!((all.gaps_per_100_h(), all.errors_per_100_h()), (Some(360.0), Some(360.0)));
        let none = missing.during(Period::Low);
        assert_eq!((none.gaps_per_100_h(), none.errors_per_100_h()), (None, None));
    }

    #[test]
    fn a_gap_is_counted_to_the_nearest_reading_and_up_to_a_day() {
        let missing = |seconds: u32| {
            let mut missing = five_minutes(0);
            missing.push(&reading(0, 100.0), None);
            missing.push(&Reading::new(Instant::from_secs(seconds), Glucose::clamped(100.0)), None);
            missing.during(Period::Any).missing_hours() * 12.0
        };
        for (seconds, want) in
            [(450, 0.0), (451, 1.0), (750, 1.0), (751, 2.0), (86_400, 287.0), (86_401, 0.0)]
        {
            assert!((missing(seconds) - want).abs() < 1e-3, "{seconds}: {}", missing(seconds));
        }
    }
}
