//! Plasma glucose now, and its rate, from a sensor that lags and errs.
//!
//! A Kalman filter over four states: plasma glucose, its rate (which fades), interstitial glucose (which the
//! sensor reads, minutes behind the blood) and the sensor's coloured error. Two of them run side by side, for
//! a calm person and a moving one. Around them: a robust update, a noise scale that learns how noisy this
//! sensor is, a gap policy, fingersticks as a second kind of measurement, and fixed-point smoothing for the
//! drawn history.
//!
//! | gap since the last reading | what happens |
//! | --- | --- |
//! | any | predicted with the true interval, in pieces of at most 10 min |
//! | over [`STALE_AFTER`] | no estimate until the next reading |
//! | over [`RESTART_AFTER`] | starts afresh; the learned noise scale is kept |

mod bank;
mod filter;
mod model;
mod servo;
mod smooth;

pub use model::Model;
pub use smooth::Smoothed;

use crate::estimate::Estimate;
use crate::math;
use crate::reading::{Fingerstick, Reading};
use crate::units::{Glucose, Instant, Span};
use bank::{Bank, Residuals};
use filter::{Belief, Covariance, Sees, State};
use model::{Step, slow_share};
use servo::Servo;
use smooth::Points;

/// Without a reading for longer than this there is no estimate.
pub const STALE_AFTER: Span = Span::from_mins(60);

/// Without a reading for longer than this the filter starts afresh.
pub const RESTART_AFTER: Span = Span::from_hours(6);

/// The longest interval predicted in one piece.
const LONGEST_PIECE: Span = Span::from_mins(10);

/// A fingerstick may be this much older than the newest reading.
const LATEST_FINGERSTICK: Span = Span::from_mins(15);

/// Beyond this many standard deviations an innovation's weight falls off (Huber 1964).
const HUBER: f32 = 5.0;

/// Beyond this many standard deviations a reading is left out, if the one before it was not.
const GATE: f32 = 6.0;

/// How much a reading is believed.
#[derive(Clone, Copy, Debug, PartialEq, Default)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Trust {
    /// As the model expects.
    #[default]
    Full,
    /// With its expected variance multiplied by this (1 to 100; other values are brought in range).
    Reduced(f32),
    /// Not at all: time passes, nothing is learned.
    None,
}

/// A reading measured against what the filter expected of it, before it is taken in.
///
/// Made by [`Estimator::expect`], used by [`Estimator::take`]. Lives on the stack.
#[derive(Clone, Copy, Debug)]
pub struct Expectation {
    at: Instant,
    /// `None` when there is nothing to compare with: the first reading, or the first after a long gap.
    compared: Option<Compared>,
    value: f32,
    minutes: f32,
}

#[derive(Clone, Copy, Debug)]
struct Compared {
    bank: Bank,
    points: Points,
    residuals: Residuals,
    normalised_square: f32,
}

impl Expectation {
    /// Measured less expected, in standard deviations of the difference; `None` for a first reading.
    #[must_use]
    pub fn innovation(&self) -> Option<f32> {
        self.compared.map(|c| c.residuals.merged.normalised())
    }

    /// Measured less expected of a calm person, in standard deviations: far below 0 when glucose falls, or
    /// seems to, out of a quiet stretch.
    #[must_use]
    pub fn innovation_if_calm(&self) -> Option<f32> {
        self.compared.map(|c| c.residuals.calm.normalised())
    }
}

/// What became of a reading.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[must_use]
pub enum Taken {
    /// The filter started, or started afresh, from it.
    Started,
    /// It corrected the estimate.
    Used,
    /// Too far from what was expected, or not trusted: time passed, nothing was learned from it.
    LeftOut,
    /// Refused: not newer than what the filter knows. Nothing changed.
    NotNewer,
}

/// What became of a fingerstick.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[must_use]
pub enum Fused {
    /// It corrected the estimate.
    Used,
    /// Refused: no sensor reading yet, or none within the hour before. Nothing changed.
    NoEstimate,
    /// Refused: more than 15 min older than the newest reading. Nothing changed.
    TooOld,
}

/// How far interstitial glucose at a reading lies from plasma glucose at another moment.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Behind {
    /// Interstitial less plasma, mg/dL.
    pub mean: f32,
    /// Its standard deviation, mg/dL.
    pub sd: f32,
}

/// The estimator. See the [module](self).
///
/// # Memory
/// 400 bytes at most; nothing grows.
///
/// # Examples
/// ```
/// use glidepath::estimator::{Estimator, Model};
/// use glidepath::{Glucose, Instant, Reading};
/// let mut estimator = Estimator::new(Model::default());
/// for (minute, mg_dl) in [(0, 120.0), (5, 117.0), (10, 112.0), (15, 106.0), (20, 100.0)] {
///     let reading = Reading::new(Instant::from_secs(minute * 60), Glucose::from_mg_dl(mg_dl)?);
///     let _ = estimator.observe(&reading);
/// }
/// let now = estimator.estimate(Instant::from_secs(20 * 60)).expect("fresh");
/// assert!(now.glucose().mg_dl() < 100.0); // blood is ahead of the sensor
/// assert!(now.rate().mg_dl_per_min() < -0.7);
/// # Ok::<(), glidepath::Error>(())
/// ```
#[derive(Clone, Debug)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Estimator {
    model: Model,
    servo: Servo,
    running: Option<Running>,
    #[cfg_attr(feature = "serde", serde(skip))]
    cached: Option<(Span, Step)>,
}

#[derive(Clone, Copy, Debug)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
struct Running {
    at: Instant,
    last_reading: Instant,
    bank: Bank,
    points: Points,
    slow_rate: f32,
    left_out: bool,
}

impl Estimator {
    /// A fresh estimator.
    #[must_use]
    pub const fn new(model: Model) -> Self {
        Self { model, servo: Servo::new(), running: None, cached: None }
    }

    /// What it believes of person and sensor.
    #[must_use]
    pub const fn model(&self) -> &Model {
        &self.model
    }

    /// How noisy this sensor is against the model: 1 as expected, 2 twice the standard deviation; 0.25 to 4.
    #[must_use]
    pub fn noise_scale(&self) -> f32 {
        self.servo.scale()
    }

    /// The standard deviation learned for the sensor's error, white and coloured together, mg/dL.
    #[must_use]
    pub fn noise_sd(&self) -> f32 {
        let m = &self.model;
        self.servo.scale() * math::sqrt(m.coloured_sd * m.coloured_sd + m.white_sd * m.white_sd)
    }

    /// Forgets everything but the model.
    pub fn reset(&mut self) {
        *self = Self::new(self.model);
    }

    /// Takes in a reading as it comes: [`expect`](Self::expect), then [`take`](Self::take) in full trust,
    /// leaving out a lone outlier.
    pub fn observe(&mut self, reading: &Reading) -> Taken {
        let Some(expectation) = self.expect(reading.at(), reading.glucose()) else {
            return Taken::NotNewer;
        };
        let outlier = expectation.innovation().is_some_and(|z| z.abs() > GATE) && !self.left_out();
        self.take(&expectation, if outlier { Trust::None } else { Trust::Full })
    }

    /// Whether the newest reading was left out. Two in a row should not be: a meal can look like an outlier,
    /// but only once.
    #[must_use]
    pub fn left_out(&self) -> bool {
        self.running.is_some_and(|r| r.left_out)
    }

    /// Measures a calibrated sensor value against the prediction, changing nothing. `None` when it is not
    /// newer than what the filter knows.
    #[must_use]
    pub fn expect(&mut self, at: Instant, value: Glucose) -> Option<Expectation> {
        let noise = self.servo.variance_scale();
        let noise_variance = noise * self.model.white_sd * self.model.white_sd;
        let value = value.mg_dl();
        let Some(running) = self.running.as_ref().filter(|r| at.since(r.last_reading) <= RESTART_AFTER)
        else {
            return Some(Expectation { at, compared: None, value, minutes: 0.0 });
        };
        if at <= running.last_reading || at < running.at {
            return None;
        }
        let span = at.since(running.at);
        if span <= LONGEST_PIECE && self.cached.is_none_or(|(cached, _)| cached != span) {
            self.cached = Some((span, Step::new(&self.model, span.mins())));
        }
        let (mut bank, mut points) = (running.bank, running.points);
        let minutes = at.since(running.last_reading).mins();
        self.advance(&mut bank, &mut points, span);
        let residuals = bank.residuals(Sees::Sensor, value, noise_variance);
        let normalised_square = (1.0 - bank.weight) * residuals.calm.normalised_square()
            + bank.weight * residuals.moving.normalised_square();
        let compared = Some(Compared { bank, points, residuals, normalised_square });
        Some(Expectation { at, compared, value, minutes })
    }

    /// Takes in what [`expect`](Self::expect) measured, as far as it is trusted.
    pub fn take(&mut self, expectation: &Expectation, trust: Trust) -> Taken {
        let at = expectation.at;
        if self.running.as_ref().is_some_and(|r| at <= r.last_reading || at < r.at) {
            return Taken::NotNewer;
        }
        let (Some(compared), Some(running)) = (&expectation.compared, &self.running) else {
            if trust == Trust::None {
                return Taken::LeftOut;
            }
            self.running = Some(self.started(at, expectation.value));
            return Taken::Started;
        };
        let Compared { bank, residuals, normalised_square, .. } = compared;
        let mut points = compared.points;
        let inflation = match trust {
            Trust::Full => Some(1.0),
            Trust::Reduced(by) => Some(by.max(1.0).min(100.0)),
            Trust::None => None,
        };
        let updated = match inflation {
            Some(inflation) => {
                let huber = (residuals.merged.normalised().abs() / HUBER).max(1.0);
                points.update(&residuals.merged, Sees::Sensor, inflation * huber);
                bank.updated(residuals, inflation * huber)
            }
            None => *bank,
        };
        if inflation == Some(1.0) {
            self.servo.learn(*normalised_square, expectation.minutes);
        }
        if !updated.is_finite() {
            self.running = Some(self.started(at, expectation.value));
            return Taken::Started;
        }
        let merged = updated.merged();
        points.track(at, &merged);
        self.running = Some(Running {
            at,
            last_reading: at,
            bank: updated,
            points,
            slow_rate: self.slowed(running, merged.x.r, at),
            left_out: inflation.is_none(),
        });
        if inflation.is_some() { Taken::Used } else { Taken::LeftOut }
    }

    /// Takes in a fingerstick: a measurement of plasma glucose itself, with the meter's error (6 %, at least
    /// 5 mg/dL, standard deviation). One up to 15 min older than the newest reading is compared with where the
    /// rate says glucose was then.
    pub fn fingerstick(&mut self, stick: &Fingerstick) -> Fused {
        let Some(running) = self.running else { return Fused::NoEstimate };
        if stick.at().since(running.last_reading) > STALE_AFTER {
            return Fused::NoEstimate;
        }
        let ago = running.at.since(stick.at());
        if ago > LATEST_FINGERSTICK {
            return Fused::TooOld;
        }
        let mut next = running;
        let mut reach = 0.0;
        if ago.secs() >= 0 {
            reach = self.reach(Span::from_secs(ago.secs().saturating_neg()));
        } else {
            let span = stick.at().since(running.at);
            self.advance(&mut next.bank, &mut next.points, span);
            next.at = stick.at();
            next.slow_rate = self.slowed(&running, next.bank.merged().x.r, stick.at());
        }
        let sd = stick.meter_sd();
        let sees = Sees::Blood { reach };
        let residuals = next.bank.residuals(sees, stick.glucose().mg_dl(), sd * sd);
        let inflation = (residuals.merged.normalised().abs() / HUBER).max(1.0);
        next.points.update(&residuals.merged, sees, inflation);
        next.bank = next.bank.updated(&residuals, inflation);
        if next.bank.is_finite() {
            self.running = Some(next);
        }
        Fused::Used
    }

    /// Plasma glucose and rate at `now`, predicted from the newest reading or fingerstick, and for a moment
    /// before it those at that one; `None` before the first reading and when the newest is over an hour old.
    #[must_use]
    pub fn estimate(&self, now: Instant) -> Option<Estimate> {
        let running = self.running.as_ref()?;
        let now = now.max(running.at);
        let span = now.since(running.at);
        if now.since(running.last_reading) > STALE_AFTER {
            return None;
        }
        let (Belief { x, p }, weight) = if span.secs() > 0 {
            self.ahead(running, span)
        } else {
            (running.bank.merged(), running.bank.weight)
        };
        let slow = self.slowed(running, x.r, now);
        let person = (x.i - x.g, weight);
        Some(Estimate::from_filter(now, (x.g, x.r, slow), person, (p.gg, p.gr, p.rr)))
    }

    /// How far interstitial glucose at the newest reading lies from plasma glucose at `then`, no earlier than
    /// a quarter of an hour before it: what a fingerstick taken `then` must be corrected by to be compared with
    /// that reading. `None` without an estimate.
    #[must_use]
    pub fn behind(&self, then: Instant) -> Option<Behind> {
        let running = self.running?;
        let later = then.since(running.last_reading);
        if later > STALE_AFTER || later.secs() < LATEST_FINGERSTICK.secs().saturating_neg() {
            return None;
        }
        let Belief { x, p } = running.bank.merged();
        // plasma then is plasma now and the rate's reach from now to then
        let reach = self.reach(then.since(running.at));
        let mean = x.i - x.g - reach * x.r;
        let variance = p.ii + p.gg - 2.0 * p.gi + reach * (2.0 * (p.gr - p.ri) + reach * p.rr);
        Some(Behind { mean, sd: math::sqrt(variance) })
    }

    /// Moves glucose by `mg_dl` on paper: the calibration of the readings changed, not the person.
    pub fn shift(&mut self, mg_dl: f32) {
        if let Some(running) = &mut self.running
            && mg_dl.is_finite()
        {
            running.bank.shift(mg_dl);
        }
    }

    /// How far a unit rate now moves plasma glucose within `span`, minutes; negative for the past.
    fn reach(&self, span: Span) -> f32 {
        let time = self.model.rate_time_min;
        if span.secs() >= 0 {
            time * math::one_minus_exp_neg(span.mins() / time)
        } else {
            -time * math::one_minus_exp_neg(-span.mins() / time)
        }
    }

    /// What glucose was at recent readings, as later ones tell: for drawing, never for alarms.
    /// Oldest first, at most four, the oldest about a quarter of an hour old.
    pub fn smoothed(&self) -> impl Iterator<Item = Smoothed> + use<> {
        self.running.map_or_else(Points::new, |r| r.points).values()
    }

    fn started(&self, at: Instant, value: f32) -> Running {
        let coloured = self.coloured_variance();
        let spread = 400.0_f32.max(2.0 * coloured);
        let belief = Belief {
            x: State { g: value, r: 0.0, i: value, w: 0.0 },
            p: Covariance {
                gg: spread,
                gr: 0.0,
                gi: 0.0,
                gw: 0.0,
                rr: 2.0,
                ri: 0.0,
                rw: 0.0,
                ii: spread,
                iw: 0.0,
                ww: coloured.max(1e-6),
            },
        };
        let mut points = Points::new();
        points.track(at, &belief);
        Running {
            at,
            last_reading: at,
            bank: Bank::new(belief, self.model.is_single()),
            points,
            slow_rate: 0.0,
            left_out: false,
        }
    }

    fn coloured_variance(&self) -> f32 {
        self.servo.variance_scale() * self.model.coloured_sd * self.model.coloured_sd
    }

    /// The slow rate at `now`, the rate having become `rate`.
    fn slowed(&self, running: &Running, rate: f32, now: Instant) -> f32 {
        let span = now.since(running.at);
        let share = match &self.cached {
            Some((cached, step)) if *cached == span => step.slow,
            _ if span == Span::ZERO => 0.0,
            _ => slow_share(span.mins()),
        };
        running.slow_rate + share * (rate - running.slow_rate)
    }

    /// The belief, and how likely moving is, `span` on.
    #[inline(never)] // off the stack of estimates that need no step
    fn ahead(&self, running: &Running, span: Span) -> (Belief, f32) {
        let mut bank = running.bank;
        self.advance(&mut bank, &mut Points::new(), span);
        (bank.merged(), bank.weight)
    }

    /// Moves the bank, and the points tracked with it, over `span`, in pieces: 36 at most, whatever state was
    /// loaded.
    fn advance(&self, bank: &mut Bank, points: &mut Points, span: Span) {
        let coloured = self.coloured_variance();
        let mut left = span.min(RESTART_AFTER).secs();
        while left > 0 {
            let piece = Span::from_secs(left.min(LONGEST_PIECE.secs()));
            let step = match self.cached {
                Some((cached, step)) if cached == piece => step,
                _ => Step::new(&self.model, piece.mins()),
            };
            *bank = bank.predicted(&self.model, &step, coloured);
            points.predict(&step);
            left = left.saturating_sub(piece.secs());
        }
    }
}

#[cfg(test)]
mod tests;
