//! The input of the alarms.

use crate::local::LocalTime;
use crate::units::{Glucose, Instant, Rate, Span};

/// What speaks against the newest believed reading.
///
/// Features: `serde` gives `Serialize` and `Deserialize`, `defmt` gives `Format`.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Default)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[non_exhaustive]
pub enum Doubt {
    /// Nothing.
    #[default]
    None,
    /// Pressure on the sensor is suspected.
    Pressure,
    /// The sensor is not to be believed: stuck, or at odds with fingersticks or a second sensor.
    Disbelieved,
    /// The sensor warms up: no readings are due.
    WarmUp,
}

/// All that the alarms decide by at one moment. Leave out what is not known.
///
/// Feature `defmt` gives `Format`.
///
/// # Examples
/// ```
/// use glidepath::{Glucose, Instant, Rate, alarm::Situation};
/// let now = Instant::from_secs(90_000);
/// let situation = Situation::at(now)
///     .with_sensor(now, Glucose::from_mg_dl(72.0)?)
///     .with_plasma(Glucose::from_mg_dl(68.0)?, Rate::from_mg_dl_per_min(-0.8)?)
///     .with_low_ahead(0.6);
/// # Ok::<(), glidepath::Error>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Situation {
    pub(crate) now: Instant,
    pub(crate) reading: Option<(Instant, Glucose)>,
    pub(crate) uncalibrated: Option<Glucose>,
    pub(crate) below_range: Option<Glucose>,
    pub(crate) unplaced: Option<Glucose>,
    pub(crate) unbelieved: Option<Glucose>,
    pub(crate) plasma: Option<Glucose>,
    pub(crate) rate: Option<Rate>,
    pub(crate) low_ahead: Option<f32>,
    pub(crate) doubt: Doubt,
    pub(crate) apart: bool,
    pub(crate) local: Option<LocalTime>,
    pub(crate) wear_left: Option<Span>,
}

impl Doubt {
    /// A fixed name for files and logs.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::None => "none",
            Self::Pressure => "pressure",
            Self::Disbelieved => "disbelieved",
            Self::WarmUp => "warm_up",
        }
    }
}

impl Situation {
    /// Nothing known but the time, on a count that only grows: see [`timeline`](crate::timeline).
    #[must_use]
    pub const fn at(now: Instant) -> Self {
        Self {
            now,
            reading: None,
            uncalibrated: None,
            below_range: None,
            unplaced: None,
            unbelieved: None,
            plasma: None,
            rate: None,
            low_ahead: None,
            doubt: Doubt::None,
            apart: false,
            local: None,
            wear_left: None,
        }
    }

    /// The newest believed reading: when it was measured, and its calibrated value.
    #[must_use]
    pub const fn with_sensor(self, measured: Instant, glucose: Glucose) -> Self {
        Self { reading: Some((measured, glucose)), ..self }
    }

    /// The same reading as the sensor gave it. At or under the floor it rings the floor, whatever its calibrated value.
    #[must_use]
    pub const fn with_uncalibrated(self, glucose: Glucose) -> Self {
        Self { uncalibrated: Some(glucose), ..self }
    }

    /// The sensor reports that glucose is under its range, which ends at `end`: the floor rings.
    #[must_use]
    pub const fn with_below_range(self, end: Glucose) -> Self {
        Self { below_range: Some(end), ..self }
    }

    /// A reading that has just come and whose time is unknown: at or under the floor it rings the floor, once.
    #[must_use]
    pub const fn with_unplaced(self, glucose: Glucose) -> Self {
        Self { unplaced: Some(glucose), ..self }
    }

    /// The newest reading, if it is not believed (read in warm-up, or a jump not yet confirmed): at or under the
    /// floor it makes the doubt worth an alarm.
    #[must_use]
    pub const fn with_unbelieved(self, glucose: Glucose) -> Self {
        Self { unbelieved: Some(glucose), ..self }
    }

    /// The estimate that goes with it: blood glucose and its rate of change.
    #[must_use]
    pub const fn with_plasma(self, glucose: Glucose, rate: Rate) -> Self {
        Self { plasma: Some(glucose), rate: Some(rate), ..self }
    }

    /// The probability that a low is ahead, 0 to 1. A number that is not finite is left out.
    #[must_use]
    pub const fn with_low_ahead(self, probability: f32) -> Self {
        Self { low_ahead: if probability.is_finite() { Some(probability) } else { None }, ..self }
    }

    /// What speaks against the reading.
    #[must_use]
    pub const fn with_doubt(self, doubt: Doubt) -> Self {
        Self { doubt, ..self }
    }

    /// Two sensors worn at once disagree, and nothing shows which is wrong: the doubt rings, and no other rule waits.
    #[must_use]
    pub const fn with_sensors_apart(self, apart: bool) -> Self {
        Self { apart, ..self }
    }

    /// The person's clock on the wall, for the schedule.
    #[must_use]
    pub const fn with_local(self, local: LocalTime) -> Self {
        Self { local: Some(local), ..self }
    }

    /// How long the sensor has to go to its planned end; negative past it.
    #[must_use]
    pub const fn with_wear_left(self, left: Span) -> Self {
        Self { wear_left: Some(left), ..self }
    }
}
