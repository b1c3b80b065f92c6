//! The two-state Bayesian calibration.
//!
//! The sensor reads `(1 + κ)·I + β` plus noise. κ and β wander slowly about 0 (Ornstein-Uhlenbeck), which is
//! the factory's calibration. Each fingerstick is one linear measurement of them:
//! `y − g = g·κ + β + error`, with an error that is the meter's, the sensor's noise, how far glucose under the
//! skin was behind, and a *scatter* that none of these explains (time errors, the sensor's wander over hours).
//! The scatter is learned: it shrinks what is learned from a person whose fingersticks scatter. Whether the corrections
//! are used at all is weighed by [`Benefit`]. Sources: the linear gain-and-offset sensor model of Facchinetti et
//! al. (2014), doi 10.1109/TBME.2013.2284023; Bayesian calibration, Acciaroli et al. (2018), IEEE TBME 65:587;
//! the filter itself is the textbook one, the scatter a running second moment of its innovations (Mehra 1970,
//! IEEE Trans. Autom. Control 15:175).

use crate::codec::{Codec, Coded};
use crate::math;
use crate::math::Bounded as _;
use crate::reading::{Fingerstick, Reading, Status};
use crate::timeline::Reset;
use crate::units::{Glucose, Instant, Span};

use super::drift::{Drift, LEAST_SCATTER, MOST_SCATTER};
use super::evidence::{Benefit, Evidence};
use super::low;
use super::point::{CalibrationPoint, PointOutcome};

/// The widest gain and offset handed out, whatever the fingersticks say.
const GAIN_FENCE: (f32, f32) = (0.6, 1.6);
const OFFSET_FENCE: f32 = 40.0;

/// Beyond this many standard deviations a pair's weight falls off (Huber 1964).
const HUBER: f32 = 2.0;

/// Under this glucose, mg/dL, the scatter is no smaller.
const SCATTER_FROM: f32 = 70.0;

/// How many fingersticks the first scatter is worth, how many the learned one remembers at most, and beyond how
/// many standard deviations one counts for no more.
const SCATTER_PRIOR: f32 = 4.0;
const SCATTER_MEMORY: f32 = 20.0;
const SCATTER_CLIP: f32 = 2.5;

/// The part of a fingerstick's deviation that is not scatter, as a share of glucose: what savings are counted in
/// besides it.
const KNOWN_SHARE: f32 = 0.08;

/// Fingersticks closer than some this many minutes share the sensor's error of the hour.
const APART_MIN: f32 = 60.0;
const LEAST_FRESH: f32 = 0.05;

/// The least variance kept of gain and offset.
const LEAST_GAIN_VARIANCE: f32 = 1e-8;
const LEAST_OFFSET_VARIANCE: f32 = 1e-4;

/// The furthest that glucose under the skin is taken to be behind, and the widest standard deviation, mg/dL.
const PAIR_LIMIT: f32 = 200.0;

/// By how much gain and offset (mg/dL) differ from the factory's, and how sure that is.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
struct Line {
    kappa: f32,
    beta: f32,
    p_kk: f32,
    p_kb: f32,
    p_bb: f32,
}

impl Line {
    /// Gain and offset with a share of the corrections, within the fence.
    const fn used(&self, share: f32) -> (f32, f32) {
        let (low, high) = GAIN_FENCE;
        (
            math::within(1.0 + share * self.kappa, low, high),
            math::within(share * self.beta, -OFFSET_FENCE, OFFSET_FENCE),
        )
    }

    /// The sensor's value with a share of the corrections, not held back near a low.
    const fn corrected(&self, sensor: f32, share: f32) -> f32 {
        let (gain, offset) = self.used(share);
        (sensor - offset) / gain
    }
}

/// The calibration. See the [module](super). 80 bytes.
///
/// Feature `defmt` gives `Format`.
///
/// # Examples
/// ```
/// use glidepath::calibration::{PointOutcome, Calibration, Drift, CalibrationPoint, Benefit};
/// use glidepath::{Glucose, Instant};
/// let mut calibration = Calibration::new(Drift::default());
/// let pair = |hour: u32, reference, sensor| {
///     Ok::<_, glidepath::Error>(CalibrationPoint {
///         at: Instant::from_secs(hour * 3600),
///         reference: Glucose::from_mg_dl(reference)?,
///         sensor: Glucose::from_mg_dl(sensor)?,
///         difference: 0.0, difference_sd: 2.0, sensor_sd: 5.0,
///     })
/// };
/// // one fingerstick tells nothing of what lasts; four that agree do
/// assert_eq!(calibration.add(&pair(0, 100.0, 130.0)?), PointOutcome::Used);
/// let (now, sensor) = (Instant::from_secs(25 * 3600), Glucose::from_mg_dl(130.0)?);
/// assert_eq!(calibration.apply(now, sensor), sensor);
/// for (hour, reference, sensor) in [(8, 180.0, 225.0), (16, 120.0, 152.0), (24, 90.0, 120.0)] {
///     assert_eq!(calibration.add(&pair(hour, reference, sensor)?), PointOutcome::Used);
/// }
/// assert_eq!(calibration.benefit(), Benefit::Yes);
/// assert!(calibration.apply(now, sensor).mg_dl() < 110.0);
/// # Ok::<(), glidepath::Error>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Calibration {
    drift: Drift,
    at: Option<Instant>,
    line: Line,
    /// The scatter's variance, as a share of glucose squared, and how many fingersticks it is worth.
    scatter: f32,
    worth: f32,
    evidence: Evidence,
    used: u16,
    refused: u16,
}

impl Calibration {
    /// The factory's calibration: gain 1, offset 0, as unsure as `drift` says.
    #[must_use]
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    pub const fn new(drift: Drift) -> Self {
        Self {
            drift,
            at: None,
            line: Line {
                kappa: 0.0,
                beta: 0.0,
                p_kk: drift.gain_sd * drift.gain_sd,
                p_kb: 0.0,
                p_bb: drift.offset_sd * drift.offset_sd,
            },
            scatter: drift.scatter * drift.scatter,
            worth: SCATTER_PRIOR,
            evidence: Evidence::new(drift.caution),
            used: 0,
            refused: 0,
        }
    }

    /// Starts anew. A new sensor, or everything: back to the factory's calibration; nothing learned is kept, the scatter
    /// neither. The power was away: keeps all.
    pub fn reset(&mut self, reset: Reset) {
        match reset {
            Reset::NewSensor | Reset::Everything => *self = Self::new(self.drift),
            Reset::PowerReturned => {}
        }
    }

    /// Learns from a fingerstick. None is thrown away for a fast rate: it only counts for less. First it is held
    /// against the sensor's value with and without the corrections known so far, see [`benefit`](Self::benefit).
    ///
    /// # Examples
    /// ```
    /// use glidepath::calibration::{Calibration, CalibrationPoint, Drift, PointOutcome};
    /// use glidepath::{Glucose, Instant};
    /// let mut calibration = Calibration::new(Drift::default());
    /// let point = CalibrationPoint {
    ///     at: Instant::from_secs(0),
    ///     reference: Glucose::from_mg_dl(100.0)?, // the meter's
    ///     sensor: Glucose::from_mg_dl(120.0)?,
    ///     difference: 0.0,    // interstitial less plasma glucose, mg/dL: none known
    ///     difference_sd: 5.0, // mg/dL
    ///     sensor_sd: 6.0,     // mg/dL
    /// };
    /// assert_eq!(calibration.add(&point), PointOutcome::Used);
    /// assert!(!calibration.is_correcting()); // one fingerstick corrects nothing
    /// let wrong = CalibrationPoint { difference_sd: f32::NAN, ..point };
    /// assert_eq!(calibration.add(&wrong), PointOutcome::NotANumber);
    /// assert_eq!(calibration.counts(), (1, 1)); // used, refused
    /// # Ok::<(), glidepath::Error>(())
    /// ```
    pub fn add(&mut self, point: &CalibrationPoint) -> PointOutcome {
        let outcome = self.applied(point);
        match outcome {
            PointOutcome::Used | PointOutcome::Downweighted => self.used = self.used.saturating_add(1),
            _ => self.refused = self.refused.saturating_add(1),
        }
        outcome
    }

    fn applied(&mut self, pair: &CalibrationPoint) -> PointOutcome {
        let reference = pair.reference.mg_dl();
        // comparisons that a number which is none fails
        let numbers = pair.difference.abs() <= PAIR_LIMIT
            && (0.0..=PAIR_LIMIT).contains(&pair.difference_sd)
            && pair.sensor_sd > 0.0
            && pair.sensor_sd <= PAIR_LIMIT;
        if !numbers {
            return PointOutcome::NotANumber;
        }
        if !(20.0..=600.0).contains(&reference) {
            return PointOutcome::OutOfRange;
        }
        if self.at.is_some_and(|at| pair.at < at) {
            return PointOutcome::OutOfOrder;
        }
        let mut next = Self { line: self.at_moment(pair.at), at: Some(pair.at), ..*self };
        let fresh = self.at.map_or(1.0, |at| {
            math::one_minus_exp_neg(pair.at.since(at).mins() / APART_MIN).at_least(LEAST_FRESH)
        });
        // H = [g, 1] at the interstitial glucose that the sensor was in
        let g = (reference + pair.difference).at_least(1.0);
        let sensor = pair.sensor.mg_dl();
        let from = reference.at_least(SCATTER_FROM);

        let corrected = next.line.corrected(sensor, 1.0);
        let unit = math::sqrt(next.scatter + KNOWN_SHARE * KNOWN_SHARE) * reference;
        next.evidence.weigh(
            pair.at,
            ((sensor - g).abs() - (corrected - g).abs()) / unit,
            fresh,
            next.drift.caution,
        );

        let innovation = sensor - g - g * next.line.kappa - next.line.beta;
        let meter = Fingerstick::new(pair.at, pair.reference).meter_sd();
        let known = meter * meter + pair.sensor_sd * pair.sensor_sd + pair.difference_sd * pair.difference_sd;
        let ph_k = next.line.p_kk * g + next.line.p_kb;
        let ph_b = next.line.p_kb * g + next.line.p_bb;
        let line = ph_k * g + ph_b + known;
        let scattered = next.scatter * from * from;
        let plain = line + scattered;
        let far = innovation.abs() / math::sqrt(plain) / HUBER;
        // one soon after another brings little news of what lasts
        let variance = (line + scattered / fresh) * far.at_least(1.0);
        let (k_k, k_b) = (ph_k / variance, ph_b / variance);
        next.line.kappa += k_k * innovation;
        next.line.beta += k_b * innovation;
        next.line.p_kk = (next.line.p_kk - k_k * ph_k).at_least(LEAST_GAIN_VARIANCE);
        next.line.p_kb -= k_k * ph_b;
        next.line.p_bb = (next.line.p_bb - k_b * ph_b).at_least(LEAST_OFFSET_VARIANCE);

        let square = (innovation * innovation).at_most(SCATTER_CLIP * SCATTER_CLIP * plain);
        next.worth = (next.worth + fresh).at_most(SCATTER_MEMORY);
        let learned = next.scatter + fresh * (square - plain) / (from * from) / next.worth;
        next.scatter = learned.within(LEAST_SCATTER * LEAST_SCATTER, MOST_SCATTER * MOST_SCATTER);
        *self = next;
        if far > 1.0 { PointOutcome::Downweighted } else { PointOutcome::Used }
    }

    /// Gain and offset moved to `now` without fingersticks: towards the factory's, and less sure.
    #[inline(never)]
    fn at_moment(&self, now: Instant) -> Line {
        let Some(at) = self.at else { return self.line };
        let Line { kappa, beta, p_kk, p_kb, p_bb } = self.line;
        let minutes = now.since(at).max(Span::ZERO).mins();
        let gone_k = math::one_minus_exp_neg(minutes / self.drift.gain_time_min);
        let gone_b = math::one_minus_exp_neg(minutes / self.drift.offset_time_min);
        let (f_k, f_b) = (1.0 - gone_k, 1.0 - gone_b);
        // 1 − f²
        let (new_k, new_b) = (gone_k * (2.0 - gone_k), gone_b * (2.0 - gone_b));
        Line {
            kappa: f_k * kappa,
            beta: f_b * beta,
            p_kk: f_k * f_k * p_kk + new_k * self.drift.gain_sd * self.drift.gain_sd,
            p_kb: f_k * f_b * p_kb,
            p_bb: f_b * f_b * p_bb + new_b * self.drift.offset_sd * self.drift.offset_sd,
        }
    }

    /// The sensor's value corrected at `now`: as far as that has a [benefit](Self::benefit), and never above
    /// [`max_corrected`](Self::max_corrected).
    #[must_use]
    pub fn apply(&self, now: Instant, sensor: Glucose) -> Glucose {
        let line = self.at_moment(now).corrected(sensor.mg_dl(), self.evidence.share());
        Glucose::clamped(line.at_most(self.max_corrected(sensor).mg_dl()))
    }

    /// [`apply`](Self::apply) for a reading. The sensor's own report about its range outweighs fingersticks:
    /// below its range is never raised, above it never lowered.
    #[must_use]
    pub fn apply_reading(&self, reading: &Reading) -> Glucose {
        let (sensor, shown) = (reading.glucose(), self.apply(reading.at(), reading.glucose()));
        match reading.status() {
            Status::BelowRange if shown > sensor => sensor,
            Status::AboveRange if shown < sensor => sensor,
            _ => shown,
        }
    }

    /// The highest value that fingersticks may correct a sensor's value to.
    ///
    /// A value at or under 55 mg/dL is never raised. From there to 80 mg/dL it is raised by at most 10 mg/dL, and
    /// by no more than it lies above 55, until six fingersticks over at least a day have shown that corrections
    /// pay, without a time between when they did not; then by at most five times what it lies above 55. Rises
    /// with the sensor's value, without a step.
    ///
    /// # Examples
    /// ```
    /// use glidepath::Glucose;
    /// use glidepath::calibration::{Calibration, Drift};
    /// let calibration = Calibration::new(Drift::default());
    /// let most = |mg_dl| Ok::<_, glidepath::Error>(calibration.max_corrected(Glucose::from_mg_dl(mg_dl)?).mg_dl());
    /// assert_eq!(most(50.0)?, 50.0); // never raised
    /// assert!(most(70.0)? <= 80.0);
    /// # Ok::<(), glidepath::Error>(())
    /// ```
    #[must_use]
    pub const fn max_corrected(&self, sensor: Glucose) -> Glucose {
        Glucose::clamped(low::most(sensor.mg_dl(), self.evidence.is_lasting()))
    }

    /// Whether corrections bring the sensor nearer to fingersticks, and so whether they are used.
    #[must_use]
    pub fn benefit(&self) -> Benefit {
        self.evidence.benefit(self.used)
    }

    /// Whether any correction is in use. See [`benefit`](Self::benefit).
    #[must_use]
    pub fn is_correcting(&self) -> bool {
        self.evidence.share() > 0.0
    }

    /// Gain and offset (mg/dL) in use at `now`: as far as corrections pay, and within the fence of gain 0.6 to
    /// 1.6, offset ±40 mg/dL. Near a low the value is held under [`max_corrected`](Self::max_corrected) besides.
    #[must_use]
    pub fn gain_and_offset(&self, now: Instant) -> (f32, f32) {
        self.at_moment(now).used(self.evidence.share())
    }

    /// The standard deviation learned for the scatter between fingersticks and the corrected sensor, beyond what
    /// meter, sensor and lag explain, as a share of glucose: 0.02 to 0.3.
    #[must_use]
    pub fn scatter(&self) -> f32 {
        math::sqrt(self.scatter)
    }

    /// The standard deviation that calibration leaves in a corrected value of `glucose`, mg/dL: that of gain and
    /// offset, what was learned and is not used, what [`max_corrected`](Self::max_corrected) holds back, and the scatter.
    ///
    /// The uncertainty of a value shown is [`total_sd`](Self::total_sd).
    #[must_use]
    pub fn sd(&self, now: Instant, glucose: Glucose) -> f32 {
        let then = self.at_moment(now);
        let g = glucose.mg_dl();
        let share = self.evidence.share();
        let unused = (1.0 - share) * (g * then.kappa + then.beta);
        let sensor = low::least_sensor(g, self.evidence.is_lasting());
        let held = (then.corrected(sensor, share) - g).at_least(0.0);
        let from = g.at_least(SCATTER_FROM);
        let line = then.p_kk * g * g + 2.0 * then.p_kb * g + then.p_bb;
        math::sqrt(line + unused * unused + held * held + self.scatter * from * from)
    }

    /// The whole standard deviation of a corrected value: `own_sd`, what the estimate is unsure of by itself
    /// (mg/dL), and [`sd`](Self::sd), which do not depend on each other: √(own² + calibration²).
    ///
    /// A fingerstick differs from the value by √(whole² + meter²), [`Fingerstick::meter_sd`].
    ///
    /// # Examples
    /// ```
    /// use glidepath::calibration::{Calibration, Drift};
    /// use glidepath::{Fingerstick, Glucose, Instant};
    /// let (calibration, at) = (Calibration::new(Drift::default()), Instant::from_secs(0));
    /// let shown = Glucose::from_mg_dl(100.0)?;
    /// let whole = calibration.total_sd(at, shown, 6.0);
    /// assert!((whole - 26.9).abs() < 0.1); // 6, and 12 of gain, 20 of offset, 12 of scatter
    /// let meter = Fingerstick::new(at, Glucose::from_mg_dl(130.0)?).meter_sd();
    /// assert!((130.0 - 100.0) / (whole * whole + meter * meter).sqrt() < 1.96); // as expected
    /// # Ok::<(), glidepath::Error>(())
    /// ```
    #[must_use]
    pub fn total_sd(&self, now: Instant, glucose: Glucose, own_sd: f32) -> f32 {
        let sd = self.sd(now, glucose);
        math::sqrt(own_sd * own_sd + sd * sd)
    }

    /// How many fingersticks were used, and how many refused.
    #[must_use]
    pub const fn counts(&self) -> (u16, u16) {
        (self.used, self.refused)
    }
}

impl Coded for Calibration {
    fn code(&mut self, codec: &mut Codec<'_>) {
        let Self { drift: _, at, line, scatter, worth, evidence, used, refused } = self;
        let Line { kappa, beta, p_kk, p_kb, p_bb } = line;
        at.code(codec);
        codec.finite(&mut [kappa, beta, p_kb]);
        codec.within(p_kk, LEAST_GAIN_VARIANCE, f32::MAX);
        codec.within(p_bb, LEAST_OFFSET_VARIANCE, f32::MAX);
        codec.within(scatter, LEAST_SCATTER * LEAST_SCATTER, MOST_SCATTER * MOST_SCATTER);
        codec.within(worth, SCATTER_PRIOR, SCATTER_MEMORY);
        evidence.code(codec);
        codec.half(used);
        codec.half(refused);
    }
}

#[cfg(test)]
mod tests;
