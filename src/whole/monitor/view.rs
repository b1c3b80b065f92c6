//! What the monitor answers.

use crate::alarm::{ActiveAlarms, MAX_VALUE_AGE, Rings};
use crate::estimate::Estimate;
use crate::forecast::{Course, Direction, Predicted};
use crate::quality::{Grade, Reasons, Verdict};
use crate::reading::Status;
use crate::trend::Trend;
use crate::units::{Glucose, Instant, Span};

/// Beyond the sensor's range only the range's end is known.
///
/// Features: `serde` gives `Serialize`, `defmt` gives `Format`.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize), serde(rename_all = "snake_case"))]
pub enum Bound {
    /// Glucose is at this or under it.
    AtMost(Glucose),
    /// Glucose is at this or over it.
    AtLeast(Glucose),
}

impl Bound {
    pub(crate) const fn of(sensor: Glucose, status: Status) -> Option<Self> {
        match status {
            Status::BelowRange => Some(Self::AtMost(sensor)),
            Status::AboveRange => Some(Self::AtLeast(sensor)),
            Status::Normal | Status::WarmUp | Status::Doubtful | Status::Fault => None,
        }
    }
}

/// The value to show as the present one.
///
/// Features: `serde` gives `Serialize`, `defmt` gives `Format`.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
#[non_exhaustive]
pub struct Shown {
    /// How much.
    pub glucose: Glucose,
    /// Set when only a bound is known: then `glucose` is the end of the sensor's range.
    pub bound: Option<Bound>,
    /// Whether it is doubted: then `glucose` is what the sensor says, and is to be marked so.
    pub doubted: bool,
    /// How long ago it was measured.
    pub age: Span,
}

/// The value as it is to be read, in the unit that [`Glucose`] shows (`#`: mmol/L): `112 mg/dL, 4 min old`; `at most 40 mg/dL, now`;
/// `doubted: 64 mg/dL, 2 min old`.
impl core::fmt::Display for Shown {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        f.write_str(if self.doubted { "doubted: " } else { "" })?;
        f.write_str(match self.bound {
            Some(Bound::AtMost(_)) => "at most ",
            Some(Bound::AtLeast(_)) => "at least ",
            None => "",
        })?;
        self.glucose.fmt(f)?;
        match self.age.secs().div_euclid(60) {
            ..=0 => f.write_str(", now"),
            minutes => write!(f, ", {minutes} min old"),
        }
    }
}

/// The answers at one moment: all that a display, a voice or an alarm needs.
///
/// Written (feature `serde`) it is a table of its answers by the names of the methods that give them.
///
/// Features: `serde` gives `Serialize`, `defmt` gives `Format`.
///
/// # Memory
/// 364 bytes.
///
/// # Examples
/// ```
/// use glidepath::{Glucose, Instant, Monitor, Reading, Settings};
/// let mut monitor = Monitor::<24>::new(Settings::default())?;
/// let view = monitor.push(&Reading::new(Instant::from_secs(300), Glucose::from_mg_dl(110.0)?));
/// if let Some(now) = view.shown().filter(|_| view.is_monitoring()) {
///     let digits = now.glucose.whole_mg_dl(); // fresh, and nothing against it
///     let in_mmol_l = now.glucose.tenths_mmol_l(); // 61 is 6.1: no float is ever formatted
///     assert_eq!((digits, in_mmol_l), (110, 61));
/// }
/// # Ok::<(), glidepath::Error>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[must_use]
pub struct View {
    pub(crate) at: Instant,
    pub(crate) verdict: Option<Verdict>,
    pub(crate) estimate: Option<Estimate>,
    pub(crate) trend: Trend,
    pub(crate) direction: Option<Direction>,
    pub(crate) course: Option<Course>,
    pub(crate) low_probability: Option<f32>,
    pub(crate) low_ahead: Option<f32>,
    pub(crate) minutes_to_low: Option<f32>,
    pub(crate) calibration_sd: Option<f32>,
    pub(crate) newest: Option<(Instant, Glucose)>,
    pub(crate) age: Option<Span>,
    pub(crate) bound: Option<Bound>,
    pub(crate) doubted: Option<Glucose>,
    pub(crate) reasons: Reasons,
    pub(crate) standing: ActiveAlarms,
    pub(crate) monitoring: bool,
}

impl View {
    /// The moment the answers hold for, by the clock that stamps readings.
    pub const fn at(&self) -> Instant {
        self.at
    }

    /// The verdict on the reading pushed; `None` after a tick.
    #[must_use]
    pub const fn verdict(&self) -> Option<Verdict> {
        self.verdict
    }

    /// **Now**: the value to show as the present one; `None` when the newest is [`MAX_VALUE_AGE`](crate::alarm::MAX_VALUE_AGE) old or
    /// older, or its age is not known. While a reading is doubted it is the sensor's own value, marked so; at the end
    /// of the sensor's range it is that end; else it is the estimate.
    ///
    /// # Examples
    /// ```
    /// use glidepath::{Glucose, Instant, Monitor, Reading, Settings, Status};
    /// let mut monitor = Monitor::<24>::new(Settings::default())?;
    /// let at_its_end = Reading::new(Instant::from_secs(300), Glucose::from_mg_dl(40.0)?).with_status(Status::BelowRange);
    /// let shown = monitor.push(&at_its_end).shown().expect("fresh");
    /// assert_eq!(shown.to_string(), "at most 40 mg/dL, now");
    /// assert!(monitor.tick(Instant::from_secs(300 + 20 * 60)).shown().is_none()); // too old to be shown as present
    /// # Ok::<(), glidepath::Error>(())
    /// ```
    #[must_use]
    pub fn shown(&self) -> Option<Shown> {
        let age = self.age.filter(|age| *age < MAX_VALUE_AGE)?;
        let (_, sensor) = self.newest?;
        let (glucose, bound, doubted) = match (self.doubted, self.bound, self.estimate) {
            (_, Some(Bound::AtMost(end) | Bound::AtLeast(end)), _) => {
                (end, self.bound, self.doubted.is_some())
            }
            (Some(glucose), None, _) => (glucose, None, true),
            (None, None, Some(estimate)) => (estimate.glucose(), None, false),
            (None, None, None) => (sensor, None, false),
        };
        Some(Shown { glucose, bound, doubted, age })
    }

    /// **Now** and **direction**: plasma glucose and its rate; `None` without a believed reading in the last
    /// hour, or when its age is not known. Its standard deviation takes the calibration for granted; see
    /// [`calibration_sd`](Self::calibration_sd).
    #[must_use]
    pub const fn estimate(&self) -> Option<Estimate> {
        self.estimate
    }

    /// **Direction**: the rate to expect over the next 20 minutes; `None` without a believed reading in the last
    /// 17 minutes.
    #[must_use]
    pub const fn direction(&self) -> Option<Direction> {
        self.direction
    }

    /// The trend, by the [`direction`](Self::direction); not known when stale or vague.
    #[must_use]
    pub const fn trend(&self) -> Trend {
        self.trend
    }

    /// The course that [`predicted`](Self::predicted) tells points of, to be asked later.
    #[must_use]
    pub const fn course(&self) -> Option<Course> {
        self.course
    }

    /// **Soon**: what the sensor will read in `horizon`, 5 minutes to 2 hours; a shorter or longer one is brought
    /// there. `None` without a believed reading in the last half hour.
    #[must_use]
    pub fn predicted(&self, horizon: Span) -> Option<Predicted> {
        self.course.map(|course| course.at(horizon))
    }

    /// What the sensor will read in 15 minutes; see [`predicted`](Self::predicted).
    #[must_use]
    pub fn predicted_15min(&self) -> Option<Predicted> {
        self.predicted(Span::from_mins(15))
    }

    /// What the sensor will read in 30 minutes; see [`predicted`](Self::predicted).
    #[must_use]
    pub fn predicted_30min(&self) -> Option<Predicted> {
        self.predicted(Span::from_mins(30))
    }

    /// What the sensor will read in 60 minutes; see [`predicted`](Self::predicted).
    #[must_use]
    pub fn predicted_60min(&self) -> Option<Predicted> {
        self.predicted(Span::from_mins(60))
    }

    /// What the low-ahead alarm compares with its limit, 0 to 1, higher is nearer to a low: the probability of a
    /// reading below 70 mg/dL within 30 minutes; 1 when it is there.
    #[must_use]
    pub const fn low_ahead_signal(&self) -> Option<f32> {
        self.low_ahead
    }

    /// The probability of a reading under 70 mg/dL at some moment of the next half hour, 0 to 1.
    #[must_use]
    pub const fn low_probability(&self) -> Option<f32> {
        self.low_probability
    }

    /// Minutes until the expected course reaches 70 mg/dL, at most 60; 0 when it is there. `None` if it does not reach it.
    #[must_use]
    pub const fn minutes_to_low(&self) -> Option<f32> {
        self.minutes_to_low
    }

    /// The standard deviation that the calibration leaves open at the present glucose, mg/dL: with no fingersticks, what a
    /// factory's calibration is commonly off by.
    #[must_use]
    pub const fn calibration_sd(&self) -> Option<f32> {
        self.calibration_sd
    }

    /// The newest believed reading: when it was measured, by the clock that stamps readings, and its calibrated value.
    #[must_use]
    pub const fn newest(&self) -> Option<(Instant, Glucose)> {
        self.newest
    }

    /// How long ago the newest believed reading was measured, by elapsed time; `None` without one, or when the power
    /// was away since.
    #[must_use]
    pub const fn age(&self) -> Option<Span> {
        self.age
    }

    /// What the newest believed reading says when it lies at an end of the sensor's range.
    #[must_use]
    pub const fn bound(&self) -> Option<Bound> {
        self.bound
    }

    /// **Trust**: the reasons to trust the sensor less.
    #[must_use]
    pub const fn reasons(&self) -> Reasons {
        self.reasons
    }

    /// **Trust** as one grade, by the worst of the [`reasons`](Self::reasons).
    #[must_use]
    pub fn grade(&self) -> Grade {
        self.reasons.grade()
    }

    /// **Wake**: the alarms that ring at this moment.
    pub const fn rings(&self) -> Rings<'_> {
        self.standing.rings()
    }

    /// The active alarms, whether they ring now or not, each with its priority, its cause and the value that triggered it.
    pub const fn alarms(&self) -> &ActiveAlarms {
        &self.standing
    }

    /// Whether the absence of an alarm means that all is well: values are fresh and nothing speaks against them.
    #[must_use]
    pub const fn is_monitoring(&self) -> bool {
        self.monitoring
    }
}
