//! What a kind of sensor is like: noise, calibration error, faults, lag and range.

use crate::error::{Error, ErrorKind, in_range};
use crate::units::Glucose;

/// Noise that remembers.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Coloured {
    None,
    /// Standard deviation, mg/dL, and correlation time, minutes.
    Wander {
        sd: f32,
        time: f32,
    },
    Skewed,
}

/// What goes wrong now and then.
///
/// Feature `serde` gives `Serialize` and `Deserialize`.
///
/// # Source
/// Pressure on the sensor shows in about 3 % of overnight readings: N. Baysal et al., J Diabetes Sci Technol
/// 8:1131, 2014. The other rates: common practice, no source.
///
/// In a file (feature `serde`) they are a name (`"none"`, `"usual"`, `"lifelike"`), or a table of `gaps_per_day`,
/// `spike_probability` and `pressure_per_night`, where a key left out is 0.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Faults {
    pub(super) gaps_per_day: f32,
    /// By how much longer than five minutes they are on average.
    pub(super) longer: f32,
    pub(super) long_gaps_per_day: f32,
    /// How unlike sensors are in both: standard deviation of the logarithm.
    pub(super) unlike: f32,
    pub(super) spike_probability: f32,
    pub(super) pressure_per_night: f32,
}

impl Faults {
    /// Nothing ever goes wrong.
    pub const NONE: Self = Self {
        gaps_per_day: 0.0,
        longer: 20.0,
        long_gaps_per_day: 0.0,
        unlike: 0.0,
        spike_probability: 0.0,
        pressure_per_night: 0.0,
    };
    /// A gap a day, one reading in a hundred a spike of 20 to 60 mg/dL, and pressure every other night.
    pub const USUAL: Self =
        Self { gaps_per_day: 1.0, spike_probability: 0.01, pressure_per_night: 0.5, ..Self::NONE };
    /// As recorded sensors have it: a reading missed a day, a gap of an hour or so every third day, up to half a
    /// day, and both much oftener on some sensors; a spike in some 1,200 readings; pressure in three nights of ten.
    pub const LIFELIKE: Self = Self {
        gaps_per_day: 1.2,
        longer: 1.0,
        long_gaps_per_day: 0.35,
        unlike: 1.2,
        spike_probability: 0.0008,
        pressure_per_night: 0.3,
    };

    /// Gaps a day (0 to 100; 25 minutes each on average), the probability that a reading is a spike (0 to
    /// 1), and that there is pressure on the sensor in a night (0 to 1).
    ///
    /// # Errors
    /// When a value is outside its range.
    pub const fn new(
        gaps_per_day: f32,
        spike_probability: f32,
        pressure_per_night: f32,
    ) -> Result<Self, Error> {
        match (
            in_range("gaps_per_day", gaps_per_day, 0.0, 100.0),
            in_range("spike_probability", spike_probability, 0.0, 1.0),
            in_range("pressure_per_night", pressure_per_night, 0.0, 1.0),
        ) {
            (Ok(gaps_per_day), Ok(spike_probability), Ok(pressure_per_night)) => {
                Ok(Self { gaps_per_day, spike_probability, pressure_per_night, ..Self::NONE })
            }
            (Err(error), ..) | (_, Err(error), _) | (_, _, Err(error)) => Err(error),
        }
    }
}

/// The kind of sensor: its noise, calibration error, faults, lag and range.
///
/// # Source
/// Structure y = a·I + b + noise with τ·dI/dt = G − I: A. Facchinetti et al., IEEE Trans Biomed Eng 61(3), 2014,
/// and M. Vettoretti et al., Sensors 19:5320, 2019. Early sensors' noise: S. Del Favero et al. in Glucose
/// Monitoring Devices (Fabris and Kovatchev, eds), Academic Press 2020, ch. 11: w ← 0.87·w + e every 5 minutes,
/// variance of e 26.6 (mg/dL)², that is sd 10.46 and 35.9 minutes. The skewed one: M. Breton and B. Kovatchev, J
/// Diabetes Sci Technol 2(5):853, 2008. Lag 8 ± 2 minutes within 4 to 14: the range of published measurements.
/// The newer sensors' noise (sd 5, 25 minutes, and white 2.5 on top) and the calibration error: a choice of
/// ours within published magnitudes.
///
/// In a file (feature `serde`) it is a table: `base` (`"white"`, `"correlated"`, the default, `"lifelike"`, `"early"`,
/// `"skewed"`, `"drifting"`), `noise_scale`, `drifts`, `faults`, `lag_min`, `smoothing_min`, `lowest` and `highest`. A key
/// left out is the base's; without `lag_min` each sensor draws its own.
///
/// # Examples
/// ```
/// use glidepath::simulate::{Faults, SensorModel};
/// let bad = SensorModel::DRIFTING.with_noise_scale(1.5)?.with_faults(Faults::USUAL);
/// assert_eq!(bad.coloured_noise(), (7.5, 25.0)); // mg/dL, minutes
/// # Ok::<(), glidepath::Error>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SensorModel {
    pub(super) coloured: Coloured,
    pub(super) white_sd: f32,
    pub(super) noise_scale: f32,
    pub(super) drifts: bool,
    pub(super) faults: Faults,
    /// Minutes; `None` draws one for each sensor, near the usual one.
    pub(super) lag: Option<f32>,
    pub(super) usual_lag: f32,
    pub(super) low: f32,
    pub(super) high: f32,
    /// Time constant of the sensor's own smoothing, minutes.
    pub(super) smooths: f32,
}

impl SensorModel {
    /// Noise without memory, 4.5 mg/dL.
    pub const WHITE: Self = Self::with_noise(Coloured::None, 4.5);
    /// A recent sensor: noise of 5 mg/dL that remembers for 25 minutes, and 2.5 without memory.
    pub const CORRELATED: Self = Self::with_noise(Coloured::Wander { sd: 5.0, time: 25.0 }, 2.5);
    /// A recent sensor whose readings have the statistics of recorded ones, but for its faults
    /// ([`Faults::LIFELIKE`]): 6.4 mg/dL that remembers for 11 minutes, smoothed over 3.7, and 0.55
    /// without memory.
    pub const LIFELIKE: Self = Self {
        smooths: 3.7,
        usual_lag: 6.0,
        ..Self::with_noise(Coloured::Wander { sd: 6.4, time: 11.0 }, 0.55)
    };
    /// An early sensor: 10.46 mg/dL that remembers for 35.9 minutes, and 1.4 without memory.
    pub const EARLY: Self = Self::with_noise(Coloured::Wander { sd: 10.46, time: 35.9 }, 1.4);
    /// An early sensor with skewed noise, 11.7 mg/dL over 42 minutes, and 1.2 without memory.
    pub const SKEWED: Self = Self::with_noise(Coloured::Skewed, 1.2);
    /// [`SensorModel::CORRELATED`] whose gain and offset are off and wander, worst on the first day.
    pub const DRIFTING: Self = Self { drifts: true, ..Self::CORRELATED };

    const fn with_noise(coloured: Coloured, white_sd: f32) -> Self {
        Self {
            coloured,
            white_sd,
            noise_scale: 1.0,
            drifts: false,
            faults: Faults::NONE,
            lag: None,
            usual_lag: 8.0,
            low: 40.0,
            high: 400.0,
            smooths: 0.0,
        }
    }

    /// The same with `faults`.
    #[must_use]
    pub const fn with_faults(self, faults: Faults) -> Self {
        Self { faults, ..self }
    }

    /// The same with its gain and offset wandering, or not.
    #[must_use]
    pub const fn with_drift(self, drifts: bool) -> Self {
        Self { drifts, ..self }
    }

    /// The same with all its noise times `scale`, 0 to 10.
    ///
    /// # Errors
    /// When outside that range.
    pub const fn with_noise_scale(self, scale: f32) -> Result<Self, Error> {
        match in_range("noise_scale", scale, 0.0, 10.0) {
            Ok(noise_scale) => Ok(Self { noise_scale, ..self }),
            Err(error) => Err(error),
        }
    }

    /// The same with a lag of `minutes` (1 to 30) for everybody, instead of one drawn for each sensor.
    ///
    /// # Errors
    /// When outside that range.
    pub const fn with_lag_min(self, minutes: f32) -> Result<Self, Error> {
        match in_range("lag_min", minutes, 1.0, 30.0) {
            Ok(minutes) => Ok(Self { lag: Some(minutes), ..self }),
            Err(error) => Err(error),
        }
    }

    /// The same with a sensor that smooths what it shows with a time constant of `minutes`, 0 to 30; 0 smooths
    /// nothing. It comes on top of the lag.
    ///
    /// # Errors
    /// When outside that range.
    pub const fn with_smoothing_min(self, minutes: f32) -> Result<Self, Error> {
        match in_range("smoothing_min", minutes, 0.0, 30.0) {
            Ok(smooths) => Ok(Self { smooths, ..self }),
            Err(error) => Err(error),
        }
    }

    /// The same with a range from `low` to `high`; 0 and 2000 mg/dL cut nothing off.
    ///
    /// # Errors
    /// When `low` is not under `high`.
    pub fn with_range(self, low: Glucose, high: Glucose) -> Result<Self, Error> {
        if low < high {
            Ok(Self { low: low.mg_dl(), high: high.mg_dl(), ..self })
        } else {
            Err(Error::new("range", ErrorKind::Inconsistent))
        }
    }

    /// Standard deviation of the noise that remembers, mg/dL, and its correlation time, minutes; the skewed
    /// one in its nearest Gaussian terms. Zero and one minute for white noise.
    #[must_use]
    pub fn coloured_noise(&self) -> (f32, f32) {
        let (sd, time) = match self.coloured {
            Coloured::None => (0.0, 1.0),
            Coloured::Wander { sd, time } => (sd, time),
            Coloured::Skewed => (11.7, 42.0),
        };
        (sd * self.noise_scale, time)
    }

    /// Standard deviation of the noise without memory, mg/dL; rounding to whole numbers adds 0.29 more.
    #[must_use]
    pub const fn white_noise(&self) -> f32 {
        self.white_sd * self.noise_scale
    }
}

impl Default for Faults {
    fn default() -> Self {
        Self::NONE
    }
}

impl Default for SensorModel {
    fn default() -> Self {
        Self::CORRELATED
    }
}
