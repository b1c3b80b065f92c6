//! What the monitor is set to, and what it answers.

use crate::alarm::{AlarmPlan, Kinds, Rings};
use crate::calibration::{Applied, Drift};
use crate::estimate::Estimate;
use crate::estimator::Model;
use crate::forecast::{Direction, ForecastConfig, Predicted};
use crate::quality::{Grade, QualityConfig, Reasons, Verdict};
use crate::trend::{Bands, Trend};
use crate::units::{Glucose, Instant};

/// All settings of a monitor. Each part has its own defaults and its own gate.
///
/// # Examples
/// ```
/// use glidepath::estimator::Model;
/// use glidepath::{Monitor, Settings};
/// let settings = Settings { model: Model::new(8.0, 35.0, 0.04, 10.5, 36.0, 1.0)?, ..Settings::default() };
/// let monitor = Monitor::<288>::new(settings)?;
/// # Ok::<(), glidepath::Error>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Default)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
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

/// What became of a fingerstick.
///
/// # Examples
/// ```
/// use glidepath::{Fingerstick, FingerstickOutcome, Glucose, Instant, Monitor, Settings};
/// let mut monitor = Monitor::<24>::new(Settings::default())?;
/// let stick = Fingerstick::new(Instant::from_secs(300), Glucose::from_mg_dl(110.0)?);
/// let words = match monitor.fingerstick(&stick) {
///     FingerstickOutcome::Used { .. } => "taken in",
///     FingerstickOutcome::Refused(_) => "refused",
///     FingerstickOutcome::NoReading => "no reading to hold it against",
/// };
/// assert_eq!(words, "no reading to hold it against");
/// # Ok::<(), glidepath::Error>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[must_use]
pub enum FingerstickOutcome {
    /// It moved the calibration, and the estimate too if `fused`.
    Used {
        /// How it moved the calibration.
        calibrated: Applied,
        /// Whether the estimate took it in.
        fused: bool,
    },
    /// Refused by the calibration, for the reason given. Nothing changed but the count.
    Refused(Applied),
    /// Refused: no believed reading within a quarter of an hour. Nothing changed.
    NoReading,
}

/// The answers at one moment.
///
/// # Memory
/// 232 bytes.
///
/// # Examples
/// ```
/// use glidepath::{Glucose, Instant, Monitor, Reading, Settings};
/// let mut monitor = Monitor::<24>::new(Settings::default())?;
/// let view = monitor.push(&Reading::new(Instant::from_secs(300), Glucose::from_mg_dl(110.0)?));
/// if let Some(now) = view.estimate().filter(|_| view.sees()) {
///     let digits = now.glucose().whole_mg_dl(); // fresh, and nothing against it
///     let in_mmol_l = now.glucose().tenths_mmol_l(); // 61 is 6.1: no float is ever formatted
///     assert_eq!((digits, in_mmol_l), (110, 61));
/// }
/// # Ok::<(), glidepath::Error>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
#[must_use]
pub struct View {
    pub(super) at: Instant,
    pub(super) verdict: Option<Verdict>,
    pub(super) estimate: Option<Estimate>,
    pub(super) trend: Trend,
    pub(super) direction: Option<Direction>,
    /// In 15, 30 and 60 minutes.
    pub(super) predicted: [Option<Predicted>; 3],
    pub(super) low_probability: Option<f32>,
    pub(super) low_ahead: Option<f32>,
    pub(super) minutes_to_low: Option<f32>,
    pub(super) calibration_sd: Option<f32>,
    pub(super) newest: Option<(Instant, Glucose, Glucose)>,
    pub(super) reasons: Reasons,
    pub(super) rings: Rings,
    pub(super) active: Kinds,
    pub(super) sees: bool,
}

impl View {
    /// The moment the answers hold for.
    pub const fn at(&self) -> Instant {
        self.at
    }

    /// The verdict on the reading pushed; `None` after a tick.
    #[must_use]
    pub const fn verdict(&self) -> Option<Verdict> {
        self.verdict
    }

    /// **Now** and **direction**: plasma glucose and its rate; `None` without a believed reading in the last
    /// hour. Its standard deviation takes the calibration for granted; see
    /// [`calibration_sd`](Self::calibration_sd).
    #[must_use]
    pub const fn estimate(&self) -> Option<Estimate> {
        self.estimate
    }

    /// **Direction**: the rate to expect over the next 20 minutes; `None` without a believed reading in the last
    /// half hour.
    #[must_use]
    pub const fn direction(&self) -> Option<Direction> {
        self.direction
    }

    /// The trend, by the [`direction`](Self::direction); not known when stale or vague.
    #[must_use]
    pub const fn trend(&self) -> Trend {
        self.trend
    }

    /// **Soon**: what the sensor will read in a quarter of an hour.
    #[must_use]
    pub const fn predicted_15min(&self) -> Option<Predicted> {
        let [predicted, _, _] = self.predicted;
        predicted
    }

    /// In half an hour.
    #[must_use]
    pub const fn predicted_30min(&self) -> Option<Predicted> {
        let [_, predicted, _] = self.predicted;
        predicted
    }

    /// In an hour.
    #[must_use]
    pub const fn predicted_60min(&self) -> Option<Predicted> {
        let [_, _, predicted] = self.predicted;
        predicted
    }

    /// The probability of being under 70 mg/dL at some moment of the next half hour, 0 to 1.
    #[must_use]
    pub const fn low_probability(&self) -> Option<f32> {
        self.low_probability
    }

    /// What the low-ahead alarm compares with its limit, 0 to 1, higher is nearer to a low: the probability of a
    /// reading below 70 mg/dL within 20 minutes; 1 when it is there.
    #[must_use]
    pub const fn low_ahead_signal(&self) -> Option<f32> {
        self.low_ahead
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

    /// The newest believed reading: when it was measured and its calibrated value.
    #[must_use]
    pub const fn newest(&self) -> Option<(Instant, Glucose)> {
        match self.newest {
            Some((at, _, calibrated)) => Some((at, calibrated)),
            None => None,
        }
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
    pub const fn rings(&self) -> &Rings {
        &self.rings
    }

    /// The alarms that hold, rung or not.
    #[must_use]
    pub const fn active(&self) -> Kinds {
        self.active
    }

    /// Whether silence means that all is well: fresh values and nothing against them.
    #[must_use]
    pub const fn sees(&self) -> bool {
        self.sees
    }
}
