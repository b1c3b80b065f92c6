//! What is foreseen from the newest reading, by a table.

use super::answer::{Direction, Predicted, sd};
use super::learner::{Ahead, Expected, Learner};
use super::table::{HORIZONS, MINUTES, Table};
use crate::math::Bounded as _;
use crate::units::{Glucose, Instant, LOW, Rate, Span};

/// Expected direction is the change over so many minutes, …
const DIRECTION_MIN: f32 = 20.0;
/// … from so many minutes ago on: the fluid that the sensor reads trails the blood by some.
const TRAILS_MIN: f32 = 2.0;
/// No direction is told of a newest reading older than this: what moved it is over.
const DIRECTION_OLDEST_MIN: f32 = 17.0;

/// Under this level people stop a fall by eating. That is not to be counted on: while both of the last steps fell by …
const NEAR_LOW: f32 = 100.0;
/// … so much a minute or more, …
const FALLS: f32 = -1.0;
/// … this share of the lesser goes on.
const GOES_ON: f32 = 0.6;

/// The low-ahead signal is the probability of a low within so long.
const LOW_AHEAD: Span = Span::from_mins(30);

/// A learner beside the table it goes by. The methods are those of [`Forecast`](super::Forecast).
#[derive(Clone, Copy, Debug)]
pub struct Outlook<'a> {
    /// The numbers.
    pub table: &'a Table,
    /// The person.
    pub learner: &'a Learner,
}

impl<'a> Outlook<'a> {
    /// See [`Forecast::at`](super::Forecast::at).
    #[must_use]
    pub fn at(&self, now: Instant, horizon: Span) -> Option<Predicted> {
        let Course { age, level, expected } = self.present(now)?.course;
        Some(predicted(level, expected.ahead(self.table, age + bounded(horizon))))
    }

    /// See [`Forecast::low_probability`](super::Forecast::low_probability).
    #[must_use]
    pub fn low_probability(&self, now: Instant, threshold: Glucose, horizon: Span) -> Option<f32> {
        self.present(now).map(|present| present.low_probability(threshold, horizon))
    }

    /// See [`Forecast::low_ahead`](super::Forecast::low_ahead).
    #[must_use]
    pub fn low_ahead(&self, now: Instant) -> Option<f32> {
        self.present(now).map(|present| present.low_ahead(present.low_probability(LOW, LOW_AHEAD)))
    }

    /// See [`Forecast::direction`](super::Forecast::direction).
    #[must_use]
    pub fn direction(&self, now: Instant) -> Option<Direction> {
        self.present(now)?.direction()
    }

    /// The same as seen at one moment, unless the newest reading is too old.
    pub(super) fn present(self, now: Instant) -> Option<Present<'a>> {
        let Self { table, learner } = self;
        let (age, (_, level)) = (learner.age(now)?, learner.newest()?);
        Some(Present { table, learner, course: Course { age, level, expected: learner.expected() } })
    }
}

/// What is foreseen at one moment: worked out once for all that is asked.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Present<'a> {
    table: &'a Table,
    learner: &'a Learner,
    pub course: Course,
}

impl Present<'_> {
    /// See [`Forecast::low_probability`](super::Forecast::low_probability).
    pub fn low_probability(&self, threshold: Glucose, horizon: Span) -> f32 {
        let Course { age, expected, .. } = &self.course;
        self.learner.low_probability_by(expected, self.table, threshold.mg_dl(), age + bounded(horizon))
    }

    /// The low-ahead signal, from the probability of a low within [`LOW_AHEAD`]: certain where one is there.
    pub fn low_ahead(&self, probability: f32) -> f32 {
        if self.course.level < LOW.mg_dl() { 1.0 } else { probability }
    }

    /// See [`Forecast::direction`](super::Forecast::direction).
    pub fn direction(&self) -> Option<Direction> {
        let Course { age, level, expected: course } = &self.course;
        let recent = self.learner.recent().filter(|_| *age <= DIRECTION_OLDEST_MIN)?;
        let from = age - TRAILS_MIN;
        let [last, earlier] = recent;
        let before = if from < 0.0 { from * last } else { course.ahead(self.table, from).change };
        let then = course.ahead(self.table, from + DIRECTION_MIN);
        let expected = (then.change - before) / DIRECTION_MIN;
        let falls = last.at_least(earlier);
        let rate =
            if *level < NEAR_LOW && falls <= FALLS { expected.at_most(GOES_ON * falls) } else { expected };
        Some(Direction { rate: Rate::clamped(rate), sd: sd(then.half, then.tail) / DIRECTION_MIN })
    }
}

/// The course that glucose is expected to take, for any horizon. 48 bytes.
///
/// Feature `defmt` gives `Format`.
///
/// # Examples
/// ```
/// use glidepath::{Glucose, Instant, Span, forecast::Forecast};
/// let (mut forecast, now) = (Forecast::default(), Instant::from_secs(0));
/// forecast.reading(now, Glucose::from_mg_dl(110.0)?, true);
/// let course = forecast.course(now).expect("a reading is there");
/// for minutes in [5, 20, 45, 90, 120] {
///     assert_eq!(Some(course.at(Span::from_mins(minutes))), forecast.at(now, Span::from_mins(minutes)));
/// }
/// # Ok::<(), glidepath::Error>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Course {
    pub(super) age: f32,
    pub(super) level: f32,
    pub(super) expected: Expected,
}

impl Course {
    /// What the sensor will read in `horizon`: 5 minutes to 2 hours; a shorter or longer one is brought there.
    #[must_use]
    pub fn at(&self, horizon: Span) -> Predicted {
        predicted(self.level, self.expected.ahead(&Table::PEOPLE, self.age + bounded(horizon)))
    }
}

impl Course {
    /// The same as counted from now: what follows is of such a course.
    pub(crate) fn rebased(&self) -> Self {
        let table = &Table::PEOPLE;
        let past = self.expected.ahead(table, self.age).change;
        let mut expected = self.expected;
        for (minutes, (change, scale)) in
            MINUTES.iter().zip(expected.changes.iter_mut().zip(&mut expected.scales))
        {
            let ahead = self.expected.ahead(table, self.age + minutes);
            (*change, *scale) = (ahead.change - past, ahead.half);
        }
        expected.tail = self.expected.tail / self.expected.half.at_least(1e-3);
        expected.half = 1.0;
        Self { age: 0.0, level: self.level + past, expected }
    }

    /// The same with `more` on top at each of the [`MINUTES`], mg/dL, and straight from nothing before the first; its
    /// intervals are `share` as wide.
    pub(crate) fn led(mut self, more: [f32; HORIZONS], share: f32) -> Self {
        for (change, more) in self.expected.changes.iter_mut().zip(&more) {
            *change += more;
        }
        self.expected.half *= share;
        self.expected.tail *= share;
        self
    }

    /// What the sensor is expected to read in 5, 15 and 30 minutes, mg/dL.
    pub(crate) fn soon(&self) -> [f32; 3] {
        let [quarter, half, ..] = self.expected.changes;
        [quarter * (1.0 / 3.0), quarter, half].map(|change| self.level + change)
    }

    /// `share` of the first and the rest of the second, both [counted from now](Self::rebased), each moved by so many
    /// mg/dL first.
    pub(crate) fn mixed((first, up): (&Self, f32), (second, more): (&Self, f32), share: f32) -> Self {
        let mix = |one: f32, other: f32| other + share * (one - other);
        let mut expected = second.expected;
        for (change, of_first) in expected.changes.iter_mut().zip(&first.expected.changes) {
            *change = mix(*of_first, *change);
        }
        for (scale, of_first) in expected.scales.iter_mut().zip(&first.expected.scales) {
            *scale = mix(*of_first, *scale);
        }
        expected.tail = mix(first.expected.tail, expected.tail);
        Self { age: 0.0, level: mix(first.level + up, second.level + more), expected }
    }

    /// See [`Forecast::minutes_to_fall`](super::Forecast::minutes_to_fall).
    pub(crate) fn minutes_to_fall(&self, threshold: Glucose, within: Span) -> Option<f32> {
        let (mut from, mut high) = (0.0, self.level - threshold.mg_dl());
        let mut found = (high <= 0.0).then_some(0.0);
        for (minutes, change) in MINUTES.iter().zip(&self.expected.changes) {
            let left = self.level + change - threshold.mg_dl();
            if found.is_none() && left <= 0.0 {
                found = Some(from + (minutes - from) * high / (high - left));
            }
            (from, high) = (*minutes, left);
        }
        found.map(|minutes| (minutes - self.age).at_least(0.0)).filter(|minutes| *minutes <= within.mins())
    }
}

fn predicted(level: f32, Ahead { change, half, tail }: Ahead) -> Predicted {
    Predicted { glucose: Glucose::clamped(level + change), half, tail }
}

/// Minutes of a horizon, within what is foreseen.
fn bounded(horizon: Span) -> f32 {
    horizon.mins().within(5.0, 120.0)
}
