//! A sensor under the skin: lag, gain, offset, noise, faults, range and rounding, in this order.

use super::noise::{Skewed, Wander};
use super::{Random, Truth, minute_of_day};
use crate::error::{Error, in_range};
use crate::math;
use crate::reading::{Reading, Status};
use crate::units::{Glucose, Instant};

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
    longer: f32,
    long_gaps_per_day: f32,
    /// How unlike sensors are in both: standard deviation of the logarithm.
    unlike: f32,
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
            Err(Error::new("range", crate::ErrorKind::Inconsistent))
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

/// What was wrong with one reading, so that a detector can be marked.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
#[non_exhaustive]
pub enum Disturbance {
    /// Nothing.
    #[default]
    None,
    /// A spike.
    Spike,
    /// Pressure on the sensor takes 5 % or more off the value.
    Pressure,
}

/// One reading and the truth about it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SimulatedReading {
    reading: Reading,
    disturbance: Disturbance,
}

impl SimulatedReading {
    /// What the sensor says: whole mg/dL within its range.
    #[must_use]
    pub const fn reading(&self) -> Reading {
        self.reading
    }

    /// What was wrong with it.
    #[must_use]
    pub const fn disturbance(&self) -> Disturbance {
        self.disturbance
    }
}

/// A sensor being worn. About 250 bytes.
///
/// Give it the truth at least every few minutes with [`follow`](Self::follow), every minute for the best
/// accuracy, and [`read`](Self::read) it whenever it reports. Noise, drift and faults have streams of random
/// numbers of their own: switching faults on leaves the noise as it was.
///
/// # Examples
/// ```
/// use glidepath::simulate::{Sensor, SensorModel, Truth};
/// use glidepath::{Glucose, Instant, Rate};
/// let model = SensorModel::WHITE.with_noise_scale(0.0)?.with_lag_min(8.0)?;
/// let mut sensor = Sensor::new(1, model);
/// let rate = Rate::from_mg_dl_per_min(2.0)?;
/// for minute in 0..60_u16 {
///     let plasma = Glucose::from_mg_dl(100.0 + 2.0 * f32::from(minute))?;
///     sensor.follow(&Truth::new(Instant::from_secs(60 * u32::from(minute)), plasma, rate));
/// }
/// let sample = sensor.read().expect("no gaps");
/// // it runs lag times rate behind: 218 - 16
/// assert_eq!(sample.reading().glucose().whole_mg_dl(), 202);
/// # Ok::<(), glidepath::Error>(())
/// ```
#[derive(Clone, Debug)]
pub struct Sensor {
    model: SensorModel,
    lag: f32,
    gain: f32,
    offset: f32,
    first_day_loss: f32,
    at: Option<Instant>,
    plasma: f32,
    interstitial: f32,
    /// What it makes of that, if it smooths.
    smoothed: Option<f32>,
    /// Minutes since it was inserted.
    age: f32,
    wander: Wander,
    skewed: Skewed,
    gain_wander: Wander,
    offset_wander: Wander,
    /// Minutes of the current gap left.
    gap: f32,
    /// How much oftener this sensor has gaps than the usual one.
    oftener: f32,
    pressure: Pressure,
    noise_random: Random,
    drift_random: Random,
    fault_random: Random,
}

/// Pressure on the sensor in the current night.
#[derive(Clone, Copy, Debug)]
struct Pressure {
    day: Option<u32>,
    from: f32,
    until: f32,
    depth: f32,
    /// Share of the value lost now.
    loss: f32,
}

impl Sensor {
    /// The sensor of `seed`, inserted when it first [follows](Self::follow) a truth.
    #[must_use]
    pub fn new(seed: u64, model: SensorModel) -> Self {
        let mut noise_random = Random::new(seed, 10);
        let mut drift_random = Random::new(seed, 11);
        let drawn = (model.usual_lag + 2.0 * drift_random.normal()).max(0.5 * model.usual_lag).min(14.0);
        let gain = 1.0 + 0.08 * drift_random.normal();
        let offset = 5.0 * drift_random.normal();
        Self {
            model,
            lag: model.lag.unwrap_or(drawn),
            gain,
            offset,
            first_day_loss: 0.08 * drift_random.normal().abs(),
            at: None,
            plasma: 0.0,
            interstitial: 0.0,
            smoothed: None,
            age: 0.0,
            wander: Wander::new(&mut noise_random),
            skewed: Skewed::new(&mut noise_random),
            gain_wander: Wander::new(&mut drift_random),
            offset_wander: Wander::new(&mut drift_random),
            gap: 0.0,
            oftener: math::exp_fine(model.faults.unlike * Random::new(seed, 13).normal().clamp(-2.0, 2.0)),
            pressure: Pressure { day: None, from: 0.0, until: 0.0, depth: 0.0, loss: 0.0 },
            noise_random,
            drift_random,
            fault_random: Random::new(seed, 12),
        }
    }

    /// This sensor's lag, minutes.
    #[must_use]
    pub const fn lag_min(&self) -> f32 {
        self.lag
    }

    /// Interstitial glucose where the sensor is, without any error.
    #[must_use]
    pub const fn interstitial(&self) -> Glucose {
        Glucose::clamped(self.interstitial)
    }

    /// Lets the sensor live up to the moment of `truth`; one no later than the last is ignored.
    pub fn follow(&mut self, truth: &Truth) {
        let plasma = truth.plasma().mg_dl();
        let Some(last) = self.at else {
            self.at = Some(truth.at());
            self.plasma = plasma;
            // as if the rate had held for a while
            self.interstitial = (plasma - self.lag * truth.rate().mg_dl_per_min()).max(0.0);
            self.plan_night(truth.at());
            return;
        };
        let span = truth.at().since(last);
        if span.secs() <= 0 {
            return;
        }
        let d = span.mins();
        // exact for a plasma glucose that moves in a straight line
        let caught_up = math::one_minus_exp_neg_fine(d / self.lag);
        let slope = (plasma - self.plasma) / d;
        self.interstitial += caught_up * (self.plasma - self.lag * slope - self.interstitial) + slope * d;
        self.at = Some(truth.at());
        self.plasma = plasma;
        self.age += d;
        match self.model.coloured {
            Coloured::None => {}
            Coloured::Wander { time, .. } => {
                self.wander.step(d, time, &mut self.noise_random);
            }
            Coloured::Skewed => {
                self.skewed.step(d.min(1440.0), &mut self.noise_random);
            }
        }
        if self.model.drifts {
            self.gain_wander.step(d, 2880.0, &mut self.drift_random);
            self.offset_wander.step(d, 1440.0, &mut self.drift_random);
        }
        self.go_wrong(truth.at(), d);
        if self.model.smooths > 0.0 {
            let felt = self.felt(0.0);
            let kept = math::exp_fine(-d / self.model.smooths);
            self.smoothed = Some(self.smoothed.map_or(felt, |last| felt + kept * (last - felt)));
        }
    }

    /// What the sensor feels, with `white` of noise without memory; spikes and its own smoothing come after it.
    fn felt(&self, white: f32) -> f32 {
        let coloured = match self.model.coloured {
            Coloured::None => 0.0,
            Coloured::Wander { sd, .. } => sd * self.wander.value(),
            Coloured::Skewed => self.skewed.value(),
        };
        let (gain, offset) = self.calibration();
        gain * self.interstitial * (1.0 - self.pressure.loss)
            + offset
            + self.model.noise_scale * (coloured + white)
    }

    fn plan_night(&mut self, at: Instant) {
        let today = at.secs().saturating_sub(at.secs() % 86_400);
        if self.pressure.day != Some(today) {
            let random = &mut self.fault_random;
            let under = random.happens(self.model.faults.pressure_per_night);
            let from = random.between(0.0, 300.0);
            let length = random.between(15.0, 70.0);
            let depth = random.between(0.2, 0.55);
            let until = if under { from + length } else { from };
            self.pressure = Pressure { day: Some(today), from, until, depth, loss: self.pressure.loss };
        }
    }

    fn go_wrong(&mut self, at: Instant, d: f32) {
        let Faults { gaps_per_day, longer, long_gaps_per_day, .. } = self.model.faults;
        let random = &mut self.fault_random;
        let days = self.oftener * d / 1440.0;
        if self.gap > 0.0 {
            self.gap -= d;
        } else if random.happens(gaps_per_day * days) {
            self.gap = 5.0 - math::ln_fine(1.0 - random.uniform()) * longer;
        } else if long_gaps_per_day > 0.0 && random.happens(long_gaps_per_day * days) {
            self.gap = (60.0 * math::exp_fine(1.1 * random.normal())).min(720.0);
        }
        self.plan_night(at);
        let minute = minute_of_day(at);
        let pressure = &mut self.pressure;
        if minute >= pressure.from && minute < pressure.until {
            pressure.loss += (pressure.depth - pressure.loss) * math::one_minus_exp_neg_fine(d / 5.0);
        } else {
            pressure.loss *= math::exp_fine(-d / 8.0);
        }
    }

    /// What the sensor reports now: nothing in a gap, or before it has followed any truth.
    ///
    /// Every call draws fresh noise without memory, so read once a report.
    pub fn read(&mut self) -> Option<SimulatedReading> {
        let at = self.at?;
        let white = self.model.white_sd * self.noise_random.normal();
        let mut disturbance = Disturbance::None;
        let mut spike = 0.0;
        if self.pressure.loss >= 0.05 {
            disturbance = Disturbance::Pressure;
        }
        if self.fault_random.happens(self.model.faults.spike_probability) {
            let size = self.fault_random.between(20.0, 60.0);
            spike = if self.fault_random.happens(0.5) { size } else { -size };
            disturbance = Disturbance::Spike;
        }
        if self.gap > 0.0 {
            return None;
        }
        let smoothed = self.smoothed.map(|smoothed| smoothed + self.model.noise_scale * white);
        let value = smoothed.unwrap_or_else(|| self.felt(white)) + spike;
        let status = if value < self.model.low {
            Status::BelowRange
        } else if value > self.model.high {
            Status::AboveRange
        } else {
            Status::Normal
        };
        let shown = math::round(value.max(self.model.low).min(self.model.high));
        Some(SimulatedReading {
            reading: Reading::new(at, Glucose::clamped(shown)).with_status(status),
            disturbance,
        })
    }

    /// The gain and the offset, mg/dL, of the sensor now.
    #[must_use]
    pub fn calibration(&self) -> (f32, f32) {
        if !self.model.drifts {
            return (1.0, 0.0);
        }
        let gain = self.gain + 0.04 * self.gain_wander.value()
            - self.first_day_loss * math::exp_fine(-self.age / 600.0);
        (gain.max(0.3), self.offset + 4.0 * self.offset_wander.value())
    }
}
