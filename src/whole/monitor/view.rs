//! What the monitor is set to, and what it answers.

use crate::alarm::{AlarmPlan, PRESENT, Rings, Standing};
use crate::calibration::{Applied, Drift};
use crate::codec::{Codec, Coded};
use crate::estimate::Estimate;
use crate::estimator::Model;
use crate::forecast::{Course, Direction, ForecastConfig, Predicted};
use crate::math;
use crate::quality::{Grade, QualityConfig, Reasons, Verdict};
use crate::reading::{Fingerstick, Status};
use crate::trend::{Bands, Trend};
use crate::units::{Glucose, Instant, Span};

/// All settings of a monitor: the defaults, with what is to be otherwise. Each part has its own defaults and is checked by
/// itself.
///
/// # Examples
/// ```
/// use glidepath::estimator::Model;
/// use glidepath::{Monitor, Settings, Span};
/// let settings = Settings::default().with_model(Model::default().with_lag(Span::from_mins(8))?);
/// let monitor = Monitor::<288>::new(settings)?;
/// # Ok::<(), glidepath::Error>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Default)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "serde", serde(default, deny_unknown_fields))]
#[non_exhaustive]
pub struct Settings {
    /// Person and sensor.
    pub model: Model,
    /// How predictions and probabilities are made.
    pub forecast: ForecastConfig,
    /// How far the calibration may wander.
    pub drift: Drift,
    /// The bands of the trend.
    pub bands: Bands,
    /// How readings are judged.
    pub quality: QualityConfig,
    /// The alarms, by time of day.
    pub alarms: AlarmPlan,
}

impl Settings {
    /// The same with another model of person and sensor.
    #[must_use]
    pub const fn with_model(self, model: Model) -> Self {
        Self { model, ..self }
    }

    /// The same with another way to make predictions and probabilities.
    #[must_use]
    pub const fn with_forecast(self, forecast: ForecastConfig) -> Self {
        Self { forecast, ..self }
    }

    /// The same where the calibration may wander otherwise.
    #[must_use]
    pub const fn with_drift(self, drift: Drift) -> Self {
        Self { drift, ..self }
    }

    /// The same with other bands of the trend.
    #[must_use]
    pub const fn with_bands(self, bands: Bands) -> Self {
        Self { bands, ..self }
    }

    /// The same where readings are judged otherwise.
    #[must_use]
    pub const fn with_quality(self, quality: QualityConfig) -> Self {
        Self { quality, ..self }
    }

    /// The same with other alarms.
    #[must_use]
    pub const fn with_alarms(self, alarms: AlarmPlan) -> Self {
        Self { alarms, ..self }
    }
}

impl Coded for Settings {
    #[inline(never)]
    fn code(&mut self, codec: &mut Codec<'_>) {
        let Self { model, forecast, drift, bands, quality, alarms } = self;
        model.code(codec);
        forecast.code(codec);
        drift.code(codec);
        bands.code(codec);
        quality.code(codec);
        alarms.code(codec);
    }
}

/// What became of a fingerstick.
///
/// # Examples
/// ```
/// use glidepath::{Fingerstick, FingerstickOutcome, Glucose, Instant, Monitor, Reading, Settings};
/// let mut monitor = Monitor::<24>::new(Settings::default())?;
/// let stick = Fingerstick::new(Instant::from_secs(300), Glucose::from_mg_dl(110.0)?);
/// let outcome = monitor.fingerstick(&stick);
/// assert_eq!(outcome.words(), "not used: no trusted reading within a quarter of an hour");
/// let _ = monitor.push(&Reading::new(Instant::from_secs(300), Glucose::from_mg_dl(118.0)?));
/// let outcome = monitor.fingerstick(&stick);
/// assert_eq!(outcome.words(), "taken in");
/// let expected = outcome.expected().expect("there was a reading");
/// assert!((expected.glucose.mg_dl() - 118.0).abs() < 1e-3 && expected.deviations(&stick).abs() < 1.0);
/// # Ok::<(), glidepath::Error>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[must_use]
pub enum FingerstickOutcome {
    /// It moved the calibration, and the estimate too if `fused`.
    Used {
        /// How it moved the calibration.
        calibrated: Applied,
        /// Whether the estimate took it in.
        fused: bool,
        /// Whether the estimate took in less than it says: it lies above the
        /// [most](crate::calibration::Calibration::most) that fingersticks may make of the sensor's value.
        held: bool,
        /// What was expected.
        expected: Option<Expected>,
    },
    /// Refused. Nothing changed but the calibration's count of refusals.
    Refused {
        /// Why.
        why: Refusal,
        /// What was expected, where there is something to compare with.
        expected: Option<Expected>,
    },
}

/// In words.
impl core::fmt::Display for FingerstickOutcome {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        f.pad(self.words())
    }
}

impl FingerstickOutcome {
    /// Whether it was taken in.
    #[must_use]
    pub const fn is_used(&self) -> bool {
        matches!(self, Self::Used { .. })
    }

    /// What the monitor held glucose to be before it was told.
    #[must_use]
    pub const fn expected(&self) -> Option<Expected> {
        match self {
            Self::Used { expected, .. } | Self::Refused { expected, .. } => *expected,
        }
    }

    /// In words.
    #[must_use]
    pub const fn words(&self) -> &'static str {
        match self {
            Self::Refused { why, .. } => why.words(),
            Self::Used { held: true, .. } => {
                "taken in as far as it may be: far above a sensor that reads low; measure again"
            }
            Self::Used { calibrated: Applied::Softened, .. } => {
                "counted for less: far from what was expected; measure again"
            }
            Self::Used { .. } => "taken in",
        }
    }
}

/// What the monitor held glucose to be at a fingerstick. 8 bytes.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub struct Expected {
    /// Plasma glucose.
    pub glucose: Glucose,
    /// Its whole standard deviation, mg/dL: the estimate's and the calibration's.
    pub sd: f32,
}

impl Expected {
    /// How far the fingerstick lies above what was expected, in standard deviations of that difference, the
    /// meter's error included.
    #[must_use]
    pub fn deviations(&self, stick: &Fingerstick) -> f32 {
        let meter = stick.meter_sd();
        (stick.glucose().mg_dl() - self.glucose.mg_dl()) / math::sqrt(self.sd * self.sd + meter * meter)
    }
}

/// Why a fingerstick was refused.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub enum Refusal {
    /// Its time is more than 2 min ahead of the newest reading or tick.
    Ahead,
    /// Its time is more than 15 min before the newest reading or tick.
    TooOld,
    /// There is no believed reading within a quarter of an hour of it, or no estimate.
    NoReading,
    /// It is earlier than one already used.
    OutOfOrder,
    /// The meter's value lies outside 20 to 600 mg/dL.
    OutOfRange,
    /// A number that it would be compared with is not usable.
    NotANumber,
}

/// In words.
impl core::fmt::Display for Refusal {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        f.pad(self.words())
    }
}

impl Refusal {
    /// In words.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::Ahead => "not used: its time lies ahead of now",
            Self::TooOld => "not used: it is older than a quarter of an hour",
            Self::NoReading => "not used: no trusted reading within a quarter of an hour",
            Self::OutOfOrder => "not used: it is earlier than one already used",
            Self::OutOfRange => "not used: a meter's value outside 20 to 600 mg/dL",
            Self::NotANumber => "not used: the sensor's noise is not known",
        }
    }
}

/// Beyond the sensor's range only the range's end is known.
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
/// # Memory
/// 364 bytes.
///
/// # Examples
/// ```
/// use glidepath::{Glucose, Instant, Monitor, Reading, Settings};
/// let mut monitor = Monitor::<24>::new(Settings::default())?;
/// let view = monitor.push(&Reading::new(Instant::from_secs(300), Glucose::from_mg_dl(110.0)?));
/// if let Some(now) = view.shown().filter(|_| view.sees()) {
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
    pub(crate) standing: Standing,
    pub(crate) sees: bool,
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

    /// **Now**: the value to show as the present one; `None` when the newest is [`PRESENT`](crate::alarm::PRESENT) old or
    /// older, or its age is not known. While a reading is doubted it is the sensor's own value, marked so; at the end
    /// of the sensor's range it is that end; else it is the estimate.
    #[must_use]
    pub fn shown(&self) -> Option<Shown> {
        let age = self.age.filter(|age| *age < PRESENT)?;
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

    /// **Soon**: what the sensor will read in `horizon`, 5 minutes to 2 hours; a shorter or longer one is brought
    /// there. `None` without a believed reading in the last half hour.
    #[must_use]
    pub fn predicted(&self, horizon: Span) -> Option<Predicted> {
        self.course.map(|course| course.at(horizon))
    }

    /// In a quarter of an hour.
    #[must_use]
    pub fn predicted_15min(&self) -> Option<Predicted> {
        self.predicted(Span::from_mins(15))
    }

    /// In half an hour.
    #[must_use]
    pub fn predicted_30min(&self) -> Option<Predicted> {
        self.predicted(Span::from_mins(30))
    }

    /// In an hour.
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

    /// Minutes until 70 mg/dL at the expected course, within the hour; 0 when there.
    #[must_use]
    pub const fn minutes_to_low(&self) -> Option<f32> {
        self.minutes_to_low
    }

    /// What the calibration itself leaves open, mg/dL, one standard deviation at the present glucose: with no
    /// fingersticks, what a factory's calibration is commonly off by.
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

    /// **Trust**: why the sensor is believed less.
    #[must_use]
    pub const fn reasons(&self) -> Reasons {
        self.reasons
    }

    /// How far the sensor is believed.
    #[must_use]
    pub fn grade(&self) -> Grade {
        self.reasons.grade()
    }

    /// **Wake**: what rings at this moment.
    pub const fn rings(&self) -> Rings<'_> {
        self.standing.rings()
    }

    /// The alarms that hold, rung or not, each with its priority, its cause and the value it goes by.
    pub const fn alarms(&self) -> &Standing {
        &self.standing
    }

    /// Whether silence means that all is well: fresh values and nothing against them.
    #[must_use]
    pub const fn sees(&self) -> bool {
        self.sees
    }
}
