//! A sensor under the skin: lag, gain, offset, noise, faults, range and rounding, in this order.

use super::model::{Coloured, Faults, SensorModel};
use super::noise::{Skewed, Wander};
use super::random::Random;
use super::truth::{Truth, minute_of_day};
use crate::math;
use crate::reading::{Reading, Status};
use crate::units::{Glucose, Instant};

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
            let under = random.bernoulli(self.model.faults.pressure_per_night);
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
        } else if random.bernoulli(gaps_per_day * days) {
            self.gap = 5.0 - math::ln_fine(1.0 - random.uniform()) * longer;
        } else if long_gaps_per_day > 0.0 && random.bernoulli(long_gaps_per_day * days) {
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
        if self.fault_random.bernoulli(self.model.faults.spike_probability) {
            let size = self.fault_random.between(20.0, 60.0);
            spike = if self.fault_random.bernoulli(0.5) { size } else { -size };
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
