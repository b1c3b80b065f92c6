//! The settings of a monitor.

use crate::alarm::AlarmPlan;
use crate::calibration::Drift;
use crate::codec::{Codec, Coded};
use crate::estimator::Model;
use crate::forecast::ForecastConfig;
use crate::quality::QualityConfig;
use crate::trend::Bands;

/// All settings of a monitor. Take the default and change what is to be otherwise, by its fields or by the `with_` methods;
/// [`Monitor::new`](crate::Monitor::new) checks every number.
///
/// Feature `serde` gives `Serialize` and `Deserialize`.
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
