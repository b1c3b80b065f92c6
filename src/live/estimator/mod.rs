//! Plasma glucose now, and its rate, from a sensor that lags and errs.
//!
//! A Kalman filter over four states: plasma glucose, its rate (which fades), interstitial glucose (which the
//! sensor reads, behind the blood) and the sensor's coloured error. Around it: a robust update, a noise scale that
//! learns how noisy this sensor is, a policy for gaps and doubt, fingersticks as a second kind of measurement, and
//! fixed-point smoothing for the drawn history.
//!
//! # Now, against blood
//! With [`Model::default`] the estimate is the filter's glucose with a correction towards blood, strong only while the
//! slope itself changes (24 min of the rate less its 20-min average, beyond 0.4 mg/dL/min; at most 20 mg/dL and a
//! quarter of what glucose has over 40), and its standard deviation includes what a sensor leaves open about
//! blood beside the calibration's own deviation: 5 % of the value and 6 min of the rate. Both were chosen on recorded people. A [`Model::linear`] is the plain
//! filter: its state and its covariance, for the comparison with the exact bound.
//!
//! # Gaps and doubt
//! | what comes | what happens |
//! | --- | --- |
//! | a reading within [`GAP`] of the last | predicted with the true interval, in pieces of at most 10 min, and corrected |
//! | a silence | glucose runs on by its fading rate, at most 15 mg/dL; no estimate after [`STALE_AFTER`] |
//! | a reading after more than [`GAP`] | starts afresh from it: no rate runs through a gap; the learned noise is kept |
//! | a doubted reading ([`Trust::None`]) | the estimate is its own value, marked as [doubted](Estimate::is_doubted), with a deviation that reaches back to what was expected; the rate is unknown; nothing is learned |
//! | a believed reading after it | within 3 standard deviations of what was expected before the doubt: goes on from there; else starts afresh: a level, not a rate |
//! | a believed reading beyond 6 standard deviations | starts afresh: a level, not a rate |
//!
//! After a start the deviation is wide (20 mg/dL and more), the rate unknown (2 mg/dL/min), and the correction stays out
//! for 10 min and grows over 15. The estimate never lies further than 30 mg/dL from the newest reading, nor beyond
//! what a sensor can read: see [`Estimator::bounds`]. What is cut off adds to the deviation.

mod filter;
mod model;
mod now;
mod servo;
mod smooth;

pub use model::Model;
pub use smooth::Smoothed;

use crate::codec::{Blank, Codec, Coded};
use crate::estimate::Estimate;
use crate::math;
use crate::math::Bounded as _;
use crate::reading::{Fingerstick, Reading};
use crate::timeline::Reset;
use crate::units::{Glucose, Instant, Span};
use filter::{Belief, Covariance, Residual, Sees, State};
use model::{Step, slow_share};
use servo::Servo;
use smooth::Points;

/// Without a reading for longer than this there is no estimate.
pub const STALE_AFTER: Span = Span::from_mins(60);

/// After a longer silence the filter starts afresh: a sensor that reads every quarter of an hour has missed one.
pub const GAP: Span = Span::from_mins(17);

/// The same for a [`Model::linear`]: the plain filter predicts over any interval but this.
const RESTART_AFTER: Span = Span::from_hours(6);

/// The longest interval predicted in one piece.
const LONGEST_PIECE: Span = Span::from_mins(10);

/// A fingerstick may be this much older than the newest reading.
const LATEST_FINGERSTICK: Span = Span::from_mins(15);

/// Beyond this many standard deviations an innovation's weight falls off (Huber 1964).
const HUBER: f32 = 5.0;

/// Beyond this many standard deviations a reading is a new level, and no rate.
const LEVEL: f32 = 6.0;

/// Beyond this many it is more often wrong than right, unless the one before it was as far.
const GATE: f32 = 9.0;

/// Within so many a reading after a doubted one goes on from before the doubt.
const RESUMES: f32 = 3.0;

/// How likely a moving person is on the whole: what is told while nothing finds out.
const USUAL_MOVING: f32 = 0.35;

/// How much a reading is believed.
///
/// Feature `defmt` gives `Format`.
#[derive(Clone, Copy, Debug, PartialEq, Default)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Trust {
    /// As the model expects.
    #[default]
    Full,
    /// With its expected variance multiplied by this (1 to 100; other values are brought in range).
    Reduced(f32),
    /// In doubt: the estimate is the sensor's own value, marked, and nothing is learned from it.
    None,
}

/// A reading measured against what the filter expected of it, before it is taken in.
///
/// Made by [`Estimator::predict`], used by [`Estimator::update`]. Lives on the stack.
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
    belief: Belief,
    points: Points,
    residual: Residual,
}

impl Expectation {
    /// Measured less expected, in standard deviations of the difference; `None` for a first reading.
    #[must_use]
    pub fn innovation(&self) -> Option<f32> {
        self.compared.map(|c| c.residual.normalised())
    }
}

/// What became of a reading.
///
/// Feature `defmt` gives `Format`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[must_use]
#[non_exhaustive]
pub enum UpdateOutcome {
    /// The filter started, or started afresh, from it.
    Started,
    /// It corrected the estimate.
    Used,
    /// Doubted: time passed, nothing was learned from it.
    Doubted,
    /// Refused: not newer than what the filter knows. Nothing changed.
    NotNewer,
}

/// What became of a fingerstick.
///
/// Feature `defmt` gives `Format`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[must_use]
#[non_exhaustive]
pub enum FusionOutcome {
    /// It corrected the estimate.
    Used,
    /// Refused: no sensor reading yet, or none within the hour before. Nothing changed.
    NoEstimate,
    /// Refused: more than 15 min older than the newest reading. Nothing changed.
    TooOld,
}

/// How far interstitial glucose at a reading lies from plasma glucose at another moment.
///
/// Feature `defmt` gives `Format`.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub struct InterstitialDifference {
    /// Interstitial less plasma, mg/dL.
    pub mean: f32,
    /// Its standard deviation, mg/dL.
    pub sd: f32,
}

/// The estimator. See the [module](self).
///
/// # Memory
/// 376 bytes at most; nothing grows.
///
/// # Examples
/// ```
/// use glidepath::estimator::{Estimator, Model};
/// use glidepath::{Glucose, Instant, Reading};
/// let mut estimator = Estimator::new(Model::default());
/// for (minute, mg_dl) in [(0, 120.0), (5, 120.0), (10, 119.0), (15, 114.0), (20, 107.0), (25, 98.0)] {
///     let reading = Reading::new(Instant::from_secs(minute * 60), Glucose::from_mg_dl(mg_dl)?);
///     let _ = estimator.observe(&reading);
/// }
/// let now = estimator.estimate(Instant::from_secs(25 * 60)).expect("fresh");
/// assert!(now.glucose().mg_dl() < 98.0); // the fall steepens: blood is ahead of the sensor
/// assert!(now.rate().mg_dl_per_min() < -0.7);
/// # Ok::<(), glidepath::Error>(())
/// ```
#[derive(Clone, Debug)]
pub struct Estimator {
    model: Model,
    servo: Servo,
    running: Option<Running>,
    cached: Cached,
}

/// The steps last worked out: between readings, and from a reading to an answer.
type Cached = [Option<(Span, Step)>; 2];

#[derive(Clone, Copy, Debug)]
struct Running {
    at: Instant,
    last_reading: Instant,
    /// When the filter started.
    since: Instant,
    /// The newest reading, mg/dL, and whether it is in doubt.
    newest: f32,
    doubted: bool,
    belief: Belief,
    points: Points,
    slow_rate: f32,
}

impl Estimator {
    /// A fresh estimator.
    #[must_use]
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub const fn new(model: Model) -> Self {
        Self { model, servo: Servo::new(), running: None, cached: [None; 2] }
    }

    /// Its model of person and sensor.
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

    /// Starts anew. A new sensor, or everything: forgets all but the model. The power was away: keeps all; the next
    /// reading's time says how far to predict.
    pub fn reset(&mut self, reset: Reset) {
        match reset {
            Reset::NewSensor | Reset::Everything => *self = Self::new(self.model),
            Reset::PowerReturned => {}
        }
    }

    /// Takes in a reading as it comes: [`predict`](Self::predict), then [`update`](Self::update) in full trust,
    /// leaving out a lone outlier.
    ///
    /// # Examples
    /// ```
    /// use glidepath::estimator::{Estimator, Model, UpdateOutcome};
    /// use glidepath::{Glucose, Instant, Reading};
    /// let mut estimator = Estimator::new(Model::default());
    /// let reading = Reading::new(Instant::from_secs(300), Glucose::from_mg_dl(120.0)?);
    /// assert_eq!(estimator.observe(&reading), UpdateOutcome::Started);
    /// assert_eq!(estimator.observe(&reading), UpdateOutcome::NotNewer); // nothing changed
    /// # Ok::<(), glidepath::Error>(())
    /// ```
    pub fn observe(&mut self, reading: &Reading) -> UpdateOutcome {
        let Some(expectation) = self.predict(reading.at(), reading.glucose()) else {
            return UpdateOutcome::NotNewer;
        };
        let outlier = expectation.innovation().is_some_and(|z| z.abs() > GATE) && !self.is_in_doubt();
        self.update(&expectation, if outlier { Trust::None } else { Trust::Full })
    }

    /// Whether the newest reading is in doubt. Two far ones in a row should not be: a meal can look like an outlier,
    /// but only once.
    #[must_use]
    pub fn is_in_doubt(&self) -> bool {
        self.running.is_some_and(|r| r.doubted)
    }

    /// Measures a calibrated sensor value against the prediction, changing nothing. `None` when it is not
    /// newer than what the filter knows.
    ///
    /// # Examples
    /// ```
    /// use glidepath::estimator::{Estimator, Model, Trust, UpdateOutcome};
    /// use glidepath::{Glucose, Instant};
    /// let mut estimator = Estimator::new(Model::default());
    /// for (minute, mg_dl) in [(0, 120.0), (5, 121.0), (10, 120.0), (15, 60.0)] {
    ///     let (at, value) = (Instant::from_secs(60 * minute), Glucose::from_mg_dl(mg_dl)?);
    ///     let expectation = estimator.predict(at, value).expect("newer than the one before");
    ///     // in standard deviations; none for the first reading
    ///     let far = expectation.innovation().is_some_and(|z| z.abs() > 9.0);
    ///     let outcome = estimator.update(&expectation, if far { Trust::None } else { Trust::Full });
    ///     assert_eq!(outcome == UpdateOutcome::Doubted, minute == 15);
    /// }
    /// assert!(estimator.is_in_doubt());
    /// # Ok::<(), glidepath::Error>(())
    /// ```
    #[must_use]
    pub fn predict(&mut self, at: Instant, value: Glucose) -> Option<Expectation> {
        let noise = self.servo.variance_scale();
        let noise_variance = noise * self.model.white_sd * self.model.white_sd;
        let value = value.mg_dl();
        let Some(running) = self.running.as_ref() else {
            return Some(Expectation { at, compared: None, value, minutes: 0.0 });
        };
        if at <= running.last_reading {
            return None;
        }
        // one measured just before a fingerstick that came first counts as of then
        let at = at.max(running.at);
        let gap = if self.model.people { GAP } else { RESTART_AFTER };
        if at.since(running.last_reading) > gap {
            return Some(Expectation { at, compared: None, value, minutes: 0.0 });
        }
        let span = at.since(running.at);
        let [between_readings, _] = &mut self.cached;
        if span <= LONGEST_PIECE && between_readings.is_none_or(|(cached, _)| cached != span) {
            *between_readings = Some((span, Step::new(&self.model, span.mins())));
        }
        let (mut belief, mut points) = (running.belief, running.points);
        let minutes = at.since(running.last_reading).mins();
        self.advance(&mut belief, &mut points, span);
        let residual = belief.residual(Sees::Sensor, value, noise_variance);
        Some(Expectation { at, compared: Some(Compared { belief, points, residual }), value, minutes })
    }

    /// Takes in what [`predict`](Self::predict) measured, as far as it is trusted.
    pub fn update(&mut self, expectation: &Expectation, trust: Trust) -> UpdateOutcome {
        let at = expectation.at;
        if self.running.as_ref().is_some_and(|r| at <= r.last_reading || at < r.at) {
            return UpdateOutcome::NotNewer;
        }
        let doubted = trust == Trust::None;
        let (Some(compared), Some(running)) = (&expectation.compared, &mut self.running) else {
            self.start(at, expectation.value, doubted);
            return if doubted { UpdateOutcome::Doubted } else { UpdateOutcome::Started };
        };
        let residual = &compared.residual;
        (running.belief, running.points) = (compared.belief, compared.points);
        if doubted {
            running.belief.forget_rate(now::RATE_UNKNOWN);
            running.slow_rate = 0.0;
        } else {
            let inflation = if let Trust::Reduced(by) = trust { by.within(1.0, 100.0) } else { 1.0 };
            let z = residual.normalised().abs();
            let level = z > if running.doubted { RESUMES } else { LEVEL };
            let inflation = inflation * (z / HUBER).at_least(1.0);
            running.points.update(residual, Sees::Sensor, inflation);
            running.belief.update(residual, inflation);
            if level || !running.belief.is_finite() {
                self.start(at, expectation.value, false);
                return UpdateOutcome::Started;
            }
            if trust == Trust::Full {
                self.servo.learn(residual.normalised_square(), expectation.minutes);
            }
            running.points.track(at, &running.belief);
            running.slow_rate = slowed(&self.cached, running, running.belief.x.r, at);
        }
        (running.at, running.last_reading) = (at, at);
        (running.newest, running.doubted) = (expectation.value, doubted);
        if doubted { UpdateOutcome::Doubted } else { UpdateOutcome::Used }
    }

    /// Takes in a fingerstick: a measurement of plasma glucose itself, with the meter's error (6 %, at least
    /// 5 mg/dL, standard deviation). One up to 15 min older than the newest reading is compared with where the
    /// rate says glucose was then.
    ///
    /// # Examples
    /// ```
    /// use glidepath::estimator::{Estimator, FusionOutcome, Model};
    /// use glidepath::{Fingerstick, Glucose, Instant, Reading};
    /// let mut estimator = Estimator::new(Model::default());
    /// let at = Instant::from_secs(0);
    /// let stick = Fingerstick::new(at, Glucose::from_mg_dl(100.0)?);
    /// assert_eq!(estimator.fingerstick(&stick), FusionOutcome::NoEstimate); // no reading yet
    /// let _ = estimator.observe(&Reading::new(at, Glucose::from_mg_dl(120.0)?));
    /// assert_eq!(estimator.fingerstick(&stick), FusionOutcome::Used);
    /// let now = estimator.estimate(at).expect("a reading");
    /// assert!((100.0..120.0).contains(&now.glucose().mg_dl())); // between the two
    /// # Ok::<(), glidepath::Error>(())
    /// ```
    pub fn fingerstick(&mut self, stick: &Fingerstick) -> FusionOutcome {
        let Some(running) = self.running else { return FusionOutcome::NoEstimate };
        if stick.at().since(running.last_reading) > STALE_AFTER {
            return FusionOutcome::NoEstimate;
        }
        let ago = running.at.since(stick.at());
        if ago > LATEST_FINGERSTICK {
            return FusionOutcome::TooOld;
        }
        let mut next = running;
        let mut reach = 0.0;
        if ago.secs() >= 0 {
            reach = self.reach(Span::from_secs(ago.secs().saturating_neg()));
        } else {
            let span = stick.at().since(running.at);
            self.advance(&mut next.belief, &mut next.points, span);
            next.at = stick.at();
            next.slow_rate = slowed(&self.cached, &running, next.belief.x.r, stick.at());
        }
        // in doubt the meter decides; the next reading is held against it
        next.doubted = false;
        let sd = stick.meter_sd();
        let sees = Sees::Blood { reach };
        let measured = stick.glucose().mg_dl() - self.curve(&next, &next.belief.x, next.slow_rate);
        let residual = next.belief.residual(sees, measured, sd * sd);
        let inflation = (residual.normalised().abs() / HUBER).at_least(1.0);
        next.points.update(&residual, sees, inflation);
        next.belief.update(&residual, inflation);
        if next.belief.is_finite() {
            self.running = Some(next);
        }
        FusionOutcome::Used
    }

    /// Plasma glucose and rate at `now`, predicted from the newest reading or fingerstick, and for a moment
    /// before it those at that one; `None` before the first reading and when the newest is over an hour old.
    ///
    /// # Examples
    /// ```
    /// use glidepath::estimator::{Estimator, Model};
    /// use glidepath::{Glucose, Instant, Reading, Span};
    /// let mut estimator = Estimator::new(Model::default());
    /// let at = Instant::from_secs(300);
    /// assert!(estimator.estimate(at).is_none());
    /// let _ = estimator.observe(&Reading::new(at, Glucose::from_mg_dl(120.0)?));
    /// let (fresh, later) = (estimator.estimate(at), estimator.estimate(at.plus(Span::from_mins(15))));
    /// let sd = |estimate: Option<glidepath::Estimate>| estimate.expect("not too old").glucose_sd();
    /// assert!(sd(later) > sd(fresh)); // silence makes it less certain
    /// assert!(estimator.estimate(at.plus(Span::from_mins(61))).is_none());
    /// # Ok::<(), glidepath::Error>(())
    /// ```
    #[must_use]
    pub fn estimate(&self, now: Instant) -> Option<Estimate> {
        let running = self.running.as_ref()?;
        let at = now.max(running.at);
        let span = at.since(running.at);
        if at.since(running.last_reading) > STALE_AFTER {
            return None;
        }
        let Belief { x, p } = if span.secs() > 0 { self.ahead(running, span) } else { running.belief };
        let slow = slowed(&self.cached, running, x.r, at);
        let (levels, behind, variances) = if running.doubted {
            let open = if self.model.people { now::open(running.newest, 0.0) } else { 0.0 };
            let variance = now::doubted(running.newest, x.g, p.gg + open);
            ((running.newest, 0.0, 0.0), 0.0, (variance, 0.0, p.rr.at_least(now::RATE_UNKNOWN)))
        } else if self.model.people {
            let curve = self.curve(running, &x, slow);
            let open = now::open(x.g, x.r);
            let was = running.belief.x.g + curve;
            let (glucose, variance) = now::kept(x.g + curve, p.gg + open, was, running.newest);
            ((glucose, x.r, slow), x.i - glucose, (variance, p.gr, p.rr))
        } else {
            ((x.g, x.r, slow), x.i - x.g, (p.gg, p.gr, p.rr))
        };
        let estimate = Estimate::from_filter(at, levels, (behind, USUAL_MOVING), variances);
        Some(if running.doubted { estimate.in_doubt() } else { estimate })
    }

    /// The least and the greatest that [`estimate`](Self::estimate) can give beside the newest reading: 30 mg/dL from it,
    /// and not beyond 40 and 400, the ends of what sensors commonly say, unless the reading is. An estimate at
    /// 40 means "40 or less". `None` before the first reading, and for a [`Model::linear`], which is not bounded.
    #[must_use]
    pub fn bounds(&self) -> Option<(Glucose, Glucose)> {
        let running = self.running.as_ref().filter(|_| self.model.people)?;
        let (least, greatest) = now::bounds(running.newest);
        Some((Glucose::clamped(least), Glucose::clamped(greatest)))
    }

    /// The correction towards blood in this state.
    fn curve(&self, running: &Running, x: &State, slow: f32) -> f32 {
        if !self.model.people {
            return 0.0;
        }
        now::curve(x.g, x.r - slow, running.last_reading.since(running.since).mins())
    }

    /// How far interstitial glucose at the newest reading lies from plasma glucose at `then`, no earlier than
    /// a quarter of an hour before it: what a fingerstick taken `then` must be corrected by to be compared with
    /// that reading. `None` without an estimate, and while the newest reading is in doubt.
    #[must_use]
    pub fn interstitial_difference(&self, then: Instant) -> Option<InterstitialDifference> {
        let running = self.running.filter(|running| !running.doubted)?;
        let later = then.since(running.last_reading);
        if later > STALE_AFTER || later.secs() < LATEST_FINGERSTICK.secs().saturating_neg() {
            return None;
        }
        let Belief { x, p } = running.belief;
        // plasma then is plasma now and the rate's reach from now to then
        let reach = self.reach(then.since(running.at));
        let mean = x.i - x.g - reach * x.r - self.curve(&running, &x, running.slow_rate);
        let variance = p.ii + p.gg - 2.0 * p.gi + reach * (2.0 * (p.gr - p.ri) + reach * p.rr);
        Some(InterstitialDifference { mean, sd: math::sqrt(variance) })
    }

    /// Moves the state by `mg_dl` after the calibration of the readings changed: glucose itself did not.
    pub fn shift(&mut self, mg_dl: f32) {
        if let Some(running) = &mut self.running
            && mg_dl.is_finite()
        {
            running.belief.x.g += mg_dl;
            running.belief.x.i += mg_dl;
            running.newest += mg_dl;
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
    ///
    /// # Examples
    /// ```
    /// use glidepath::estimator::{Estimator, Model};
    /// use glidepath::{Glucose, Instant, Reading};
    /// let mut estimator = Estimator::new(Model::default());
    /// for k in 0..6_u32 {
    ///     let value = Glucose::from_mg_dl(110.0 + 2.0 * k as f32)?;
    ///     let _ = estimator.observe(&Reading::new(Instant::from_secs(300 * k), value));
    /// }
    /// for point in estimator.smoothed() {
    ///     let _ = (point.at(), point.glucose(), point.sd()); // to be drawn
    /// }
    /// assert!(estimator.smoothed().count() > 2);
    /// # Ok::<(), glidepath::Error>(())
    /// ```
    pub fn smoothed(&self) -> impl Iterator<Item = Smoothed> + use<> {
        self.running.map_or_else(Points::new, |r| r.points).values()
    }

    /// Begins at a reading: its level, and no rate.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    fn start(&mut self, at: Instant, value: f32, doubted: bool) {
        let coloured = self.coloured_variance();
        let spread = 400.0_f32.at_least(2.0 * coloured);
        let belief = Belief {
            x: State { g: value, r: 0.0, i: value, w: 0.0 },
            p: Covariance {
                gg: spread,
                gr: 0.0,
                gi: 0.0,
                gw: 0.0,
                // what the rate varies by as a whole, or more
                rr: (0.5 * self.model.process_noise * self.model.rate_time_min).at_least(2.0),
                ri: 0.0,
                rw: 0.0,
                ii: spread,
                iw: 0.0,
                ww: coloured.at_least(1e-6),
            },
        };
        let mut points = Points::new();
        points.track(at, &belief);
        self.running = Some(Running {
            at,
            last_reading: at,
            since: at,
            newest: value,
            doubted,
            belief,
            points,
            slow_rate: 0.0,
        });
    }

    fn coloured_variance(&self) -> f32 {
        self.servo.variance_scale() * self.model.coloured_sd * self.model.coloured_sd
    }

    /// Works out what an [`estimate`](Self::estimate) for `now` needs and keeps it: of two sensors one is asked as often after the
    /// same time since its own reading.
    pub(crate) fn prepare(&mut self, now: Instant) {
        let Some(span) = self.running.as_ref().map(|running| now.since(running.at)) else { return };
        if span > Span::ZERO && span <= LONGEST_PIECE && known_step(&self.cached, span).is_none() {
            let [_, after_one] = &mut self.cached;
            *after_one = Some((span, Step::new(&self.model, span.mins())));
        }
    }

    /// The belief `span` on.
    #[inline(never)] // off the stack of estimates that need no step
    fn ahead(&self, running: &Running, span: Span) -> Belief {
        let mut belief = running.belief;
        self.advance(&mut belief, &mut Points::new(), span);
        belief
    }

    /// Moves the belief, and the points tracked with it, over `span`, in pieces: 36 at most, whatever state was
    /// loaded.
    fn advance(&self, belief: &mut Belief, points: &mut Points, span: Span) {
        let coloured = self.coloured_variance();
        let mut left = span.min(RESTART_AFTER).secs();
        while left > 0 {
            let piece = Span::from_secs(left.min(LONGEST_PIECE.secs()));
            let new;
            let step = match known_step(&self.cached, piece) {
                Some(step) => step,
                None => {
                    new = Step::new(&self.model, piece.mins());
                    &new
                }
            };
            belief.predict(step, self.model.process_noise, coloured);
            points.predict(step);
            left = left.saturating_sub(piece.secs());
        }
    }
}

/// The slow rate at `now`, the rate having become `rate`: after a start a plain mean, until that looks back as far.
fn slowed(cached: &Cached, running: &Running, rate: f32, now: Instant) -> f32 {
    let span = now.since(running.at);
    let share = match known_step(cached, span) {
        Some(step) => step.slow,
        None if span == Span::ZERO => 0.0,
        None => slow_share(span.mins()),
    };
    let age = now.since(running.since).mins();
    let share = if age > 0.0 { share.at_least((span.mins() / age).at_most(1.0)) } else { share };
    running.slow_rate + share * (rate - running.slow_rate)
}

fn known_step(cached: &Cached, span: Span) -> Option<&Step> {
    cached.iter().flatten().find(|(of, _)| *of == span).map(|(_, step)| step)
}

impl Coded for Estimator {
    fn code(&mut self, codec: &mut Codec<'_>) {
        let Self { model: _, servo, running, cached: _ } = self; // what is cached goes by the model alone
        servo.code(codec);
        running.code(codec);
    }
}

impl Blank for Running {
    const BLANK: Self = Self {
        at: Instant::BLANK,
        last_reading: Instant::BLANK,
        since: Instant::BLANK,
        newest: 0.0,
        doubted: false,
        belief: Belief::BLANK,
        points: Points::new(),
        slow_rate: 0.0,
    };
}

impl Coded for Running {
    fn code(&mut self, codec: &mut Codec<'_>) {
        let Self { at, last_reading, since, newest, doubted, belief, points, slow_rate } = self;
        let (at, last, since) = (codec.moment(at), codec.moment(last_reading), codec.moment(since));
        codec.demand(since <= last && last <= at);
        codec.finite(&mut [newest, slow_rate]);
        doubted.code(codec);
        belief.code(codec);
        if codec.loads() {
            *points = Points::new(); // of the last minutes, and only drawn
        }
    }
}

#[cfg(test)]
mod tests;
