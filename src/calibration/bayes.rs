//! The two-state Bayesian calibration.
//!
//! The sensor reads `(1 + κ)·I + β` plus noise. κ and β wander slowly about 0 (Ornstein-Uhlenbeck), which is
//! the factory's calibration. Each fingerstick is one linear measurement of them:
//! `y − g = g·κ + β + error`, with an error that widens with the meter's own, with the sensor's noise, and with
//! how fast glucose was moving. Sources: the linear gain-and-offset sensor model of Facchinetti et al. (2014),
//! doi 10.1109/TBME.2013.2284023; Bayesian calibration, Acciaroli et al. (2018), IEEE TBME 65:587; the
//! filter itself is the textbook one.

use crate::error::{Error, in_range};
use crate::math;
use crate::timeline::Beginning;
use crate::units::{Glucose, Instant, Span};

/// How far and how fast gain and offset wander. 16 bytes.
///
/// # Examples
/// ```
/// use glidepath::calibration::{Calibration, Drift};
/// use glidepath::{Glucose, Instant};
/// // a sensor whose scale is known better than most: gain 5 % over a week, offset 3 mg/dL over three days
/// let known = Calibration::new(Drift::new(0.05, 10_080.0, 3.0, 4_320.0)?);
/// let (at, glucose) = (Instant::from_secs(0), Glucose::from_mg_dl(120.0)?);
/// assert!(known.sd(at, glucose) < Calibration::new(Drift::default()).sd(at, glucose));
/// # Ok::<(), glidepath::Error>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Drift {
    gain_sd: f32,
    gain_time_min: f32,
    offset_sd: f32,
    offset_time_min: f32,
}

impl Default for Drift {
    /// Gain 9.2 % over a week, offset 6.3 mg/dL over nearly three days: standard deviations and times.
    fn default() -> Self {
        Self { gain_sd: 0.092, gain_time_min: 10_000.0, offset_sd: 6.3, offset_time_min: 4_000.0 }
    }
}

impl Drift {
    /// From the standard deviation of the gain (0.001 to 0.5), of the offset (0.1 to 40 mg/dL), and the times
    /// over which they wander (60 to 1,000,000 min).
    ///
    /// # Errors
    /// Names the parameter that is out of range.
    pub fn new(
        gain_sd: f32,
        gain_time_min: f32,
        offset_sd: f32,
        offset_time_min: f32,
    ) -> Result<Self, Error> {
        Ok(Self {
            gain_sd: in_range("gain_sd", gain_sd, 0.001, 0.5)?,
            gain_time_min: in_range("gain_time_min", gain_time_min, 60.0, 1e6)?,
            offset_sd: in_range("offset_sd", offset_sd, 0.1, 40.0)?,
            offset_time_min: in_range("offset_time_min", offset_time_min, 60.0, 1e6)?,
        })
    }
}

/// A fingerstick with what the sensor showed at that time.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Pair {
    /// When the blood was taken.
    pub at: Instant,
    /// The meter's value.
    pub reference: Glucose,
    /// What the sensor read then, uncalibrated.
    pub sensor: Glucose,
    /// How much interstitial glucose was behind plasma (interstitial less plasma, mg/dL), as far as is known;
    /// 0 if not.
    pub behind: f32,
    /// Its standard deviation, mg/dL; with nothing known, the lag times the rate.
    pub behind_sd: f32,
    /// Standard deviation of the sensor's error, mg/dL.
    pub sensor_sd: f32,
}

/// What became of a pair.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[must_use]
pub enum Applied {
    /// It moved gain and offset.
    Used,
    /// It moved them less: further off than 2.5 standard deviations.
    Softened,
    /// Refused: earlier than one already used. Nothing changed.
    OutOfOrder,
    /// Refused: the meter's value lies outside 20 to 600 mg/dL. Nothing changed.
    OutOfRange,
    /// Refused: a number of the pair is not finite, or a standard deviation not above 0. Nothing changed.
    NotANumber,
}

impl Applied {
    /// Whether the pair moved gain and offset.
    #[must_use]
    pub const fn is_used(self) -> bool {
        matches!(self, Self::Used | Self::Softened)
    }
}

/// The widest gain and offset handed out, whatever the fingersticks say.
const GAIN_FENCE: (f32, f32) = (0.6, 1.6);
const OFFSET_FENCE: f32 = 40.0;

/// Beyond this many standard deviations a pair's weight falls off (Huber 1964).
const HUBER: f32 = 2.5;

/// The calibration. See the [module](super). 48 bytes.
///
/// # Examples
/// ```
/// use glidepath::calibration::{Applied, Calibration, Drift, Pair};
/// use glidepath::{Glucose, Instant};
/// let mut calibration = Calibration::new(Drift::default());
/// let pair = |hour: u32, reference, sensor| {
///     Ok::<_, glidepath::Error>(Pair {
///         at: Instant::from_secs(hour * 3600),
///         reference: Glucose::from_mg_dl(reference)?,
///         sensor: Glucose::from_mg_dl(sensor)?,
///         behind: 0.0, behind_sd: 2.0, sensor_sd: 5.0,
///     })
/// };
/// assert_eq!(calibration.pair(&pair(0, 100.0, 115.0)?), Applied::Used);
/// assert_eq!(calibration.pair(&pair(8, 180.0, 203.0)?), Applied::Used);
/// let now = Instant::from_secs(9 * 3600);
/// let shown = calibration.apply(now, Glucose::from_mg_dl(115.0)?);
/// assert!(shown.mg_dl() < 105.0);
/// # Ok::<(), glidepath::Error>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Calibration {
    drift: Drift,
    at: Option<Instant>,
    kappa: f32,
    beta: f32,
    p_kk: f32,
    p_kb: f32,
    p_bb: f32,
    used: u16,
    refused: u16,
}

impl Calibration {
    /// The factory's calibration: gain 1, offset 0, as unsure as `drift` says.
    #[must_use]
    pub const fn new(drift: Drift) -> Self {
        Self {
            drift,
            at: None,
            kappa: 0.0,
            beta: 0.0,
            p_kk: drift.gain_sd * drift.gain_sd,
            p_kb: 0.0,
            p_bb: drift.offset_sd * drift.offset_sd,
            used: 0,
            refused: 0,
        }
    }

    /// Begins anew. A new sensor, or everything: back to the factory's calibration. The power was away: keeps all.
    pub fn begin(&mut self, beginning: Beginning) {
        match beginning {
            Beginning::Sensor | Beginning::Everything => *self = Self::new(self.drift),
            Beginning::Power => {}
        }
    }

    /// Learns from a fingerstick. None is thrown away for a fast rate: it only counts for less.
    pub fn pair(&mut self, pair: &Pair) -> Applied {
        let outcome = self.applied(pair);
        match outcome {
            Applied::Used | Applied::Softened => self.used = self.used.saturating_add(1),
            _ => self.refused = self.refused.saturating_add(1),
        }
        outcome
    }

    fn applied(&mut self, pair: &Pair) -> Applied {
        let reference = pair.reference.mg_dl();
        let numbers = pair.behind.is_finite() && pair.behind_sd.is_finite() && pair.sensor_sd.is_finite();
        if !numbers || pair.behind_sd < 0.0 || pair.sensor_sd <= 0.0 {
            return Applied::NotANumber;
        }
        if !(20.0..=600.0).contains(&reference) {
            return Applied::OutOfRange;
        }
        if self.at.is_some_and(|at| pair.at < at) {
            return Applied::OutOfOrder;
        }
        let mut next = self.at_moment(pair.at);
        next.at = Some(pair.at);
        // H = [g, 1] at the interstitial glucose that the sensor was in
        let g = (reference + pair.behind).max(1.0);
        let meter = meter_variance(reference);
        let innovation = pair.sensor.mg_dl() - g - g * next.kappa - next.beta;
        let noise = meter + pair.sensor_sd * pair.sensor_sd + pair.behind_sd * pair.behind_sd;
        let ph_k = next.p_kk * g + next.p_kb;
        let ph_b = next.p_kb * g + next.p_bb;
        let plain = ph_k * g + ph_b + noise;
        let far = innovation.abs() / math::sqrt(plain) / HUBER;
        let variance = plain * far.max(1.0);
        let (k_k, k_b) = (ph_k / variance, ph_b / variance);
        next.kappa += k_k * innovation;
        next.beta += k_b * innovation;
        next.p_kk = (next.p_kk - k_k * ph_k).max(1e-8);
        next.p_kb -= k_k * ph_b;
        next.p_bb = (next.p_bb - k_b * ph_b).max(1e-4);
        *self = next;
        if far > 1.0 { Applied::Softened } else { Applied::Used }
    }

    /// The calibration moved to `now` without fingersticks: towards the factory's, and less sure.
    #[inline(always)] // a value needs no variances
    fn at_moment(&self, now: Instant) -> Self {
        let Some(at) = self.at else { return *self };
        let minutes = now.since(at).max(Span::ZERO).mins();
        let gone_k = math::one_minus_exp_neg(minutes / self.drift.gain_time_min);
        let gone_b = math::one_minus_exp_neg(minutes / self.drift.offset_time_min);
        let (f_k, f_b) = (1.0 - gone_k, 1.0 - gone_b);
        // 1 − f²
        let (new_k, new_b) = (gone_k * (2.0 - gone_k), gone_b * (2.0 - gone_b));
        Self {
            kappa: f_k * self.kappa,
            beta: f_b * self.beta,
            p_kk: f_k * f_k * self.p_kk + new_k * self.drift.gain_sd * self.drift.gain_sd,
            p_kb: f_k * f_b * self.p_kb,
            p_bb: f_b * f_b * self.p_bb + new_b * self.drift.offset_sd * self.drift.offset_sd,
            ..*self
        }
    }

    /// What the sensor's value means, at `now`.
    #[must_use]
    pub fn apply(&self, now: Instant, sensor: Glucose) -> Glucose {
        let (gain, offset) = self.at_moment(now).line();
        Glucose::clamped((sensor.mg_dl() - offset) / gain)
    }

    /// Gain and offset (mg/dL) at `now`, within the fence: gain 0.6 to 1.6, offset ±40 mg/dL.
    #[must_use]
    pub fn gain_and_offset(&self, now: Instant) -> (f32, f32) {
        self.at_moment(now).line()
    }

    /// The standard deviation that the calibration itself leaves in a value of `glucose`, mg/dL.
    #[must_use]
    pub fn sd(&self, now: Instant, glucose: Glucose) -> f32 {
        let then = self.at_moment(now);
        let g = glucose.mg_dl();
        math::sqrt(then.p_kk * g * g + 2.0 * then.p_kb * g + then.p_bb)
    }

    /// How many fingersticks were used, and how many refused.
    #[must_use]
    pub const fn counts(&self) -> (u16, u16) {
        (self.used, self.refused)
    }

    fn line(&self) -> (f32, f32) {
        let (low, high) = GAIN_FENCE;
        ((1.0 + self.kappa).max(low).min(high), self.beta.max(-OFFSET_FENCE).min(OFFSET_FENCE))
    }
}

/// The variance of a meter's error: 6 %, and at least 5 mg/dL. Typical of meters that meet ISO 15197:2013.
fn meter_variance(mg_dl: f32) -> f32 {
    let sd = (0.06 * mg_dl).max(5.0);
    sd * sd
}

#[cfg(test)]
mod tests {
    use super::*;

    fn pair(hour: u32, reference: f32, sensor: f32) -> Pair {
        Pair {
            at: Instant::from_secs(hour * 3600),
            reference: Glucose::clamped(reference),
            sensor: Glucose::clamped(sensor),
            behind: 0.0,
            behind_sd: 2.0,
            sensor_sd: 5.6,
        }
    }

    /// One update of a 2-state filter worked by hand in double precision (numpy):
    /// P0 = diag(0.092², 6.3²), H = [100, 1], R = 6² + 5.6² + 2², y − g = 15.
    #[test]
    fn first_pair_matches_the_worked_update() {
        let mut calibration = Calibration::new(Drift::default());
        assert_eq!(calibration.pair(&pair(0, 100.0, 115.0)), Applied::Used);
        let (gain, offset) = calibration.gain_and_offset(Instant::from_secs(0));
        let s = 84.64 + 39.69 + 36.0 + 31.36 + 4.0;
        assert!((gain - 1.0 - 0.8464 / s * 15.0).abs() < 1e-5);
        assert!((offset - 39.69 / s * 15.0).abs() < 1e-3);
    }

    /// The same filter in matrices, double precision (numpy): fast-moving glucose, a wild pair, two at one
    /// moment, then two days without.
    #[test]
    fn a_story_of_pairs_matches_the_worked_updates() {
        let mut calibration = Calibration::new(Drift::default());
        let at = |hour: u32| Instant::from_secs(hour * 3600);
        let coarse = if cfg!(feature = "micromath") { 50.0 } else { 1.0 };
        for (hour, reference, sensor, behind, behind_sd, sensor_sd, outcome, gain, offset, sd) in [
            (0, 100.0, 115.0, 0.0, 2.0, 5.6, Applied::Used, 1.064_878_1, 3.042_312, 7.720_435),
            (24, 180.0, 220.0, -6.0, 6.0, 8.0, Applied::Used, 1.134_231_6, 3.674_709, 7.301_634),
            (60, 60.0, 120.0, 3.0, 4.0, 7.0, Applied::Softened, 1.164_990_7, 9.266_001, 8.930_984),
            (60, 150.0, 160.0, 0.0, 0.0, 5.0, Applied::Used, 1.094_291_6, 7.421_268, 6.248_679),
        ] {
            let pair = Pair { behind, behind_sd, sensor_sd, ..pair(hour, reference, sensor) };
            assert_eq!(calibration.pair(&pair), outcome);
            let (got_gain, got_offset) = calibration.gain_and_offset(at(hour));
            assert!((got_gain - gain).abs() < 1e-5 * coarse, "gain {got_gain} at {hour}");
            assert!((got_offset - offset).abs() < 1e-3 * coarse, "offset {got_offset} at {hour}");
            let got_sd = calibration.sd(at(hour), Glucose::clamped(120.0));
            assert!((got_sd - sd).abs() < 1e-2 * coarse, "sd {got_sd} at {hour}");
        }
        let (gain, offset) = calibration.gain_and_offset(at(108));
        assert!((gain - 1.070_696_2).abs() < 1e-5 * coarse, "{gain}");
        assert!((offset - 3.612_319).abs() < 1e-3 * coarse, "{offset}");
        assert!((calibration.sd(at(108), Glucose::clamped(120.0)) - 10.135_341).abs() < 1e-2 * coarse);
        let shown = calibration.apply(at(108), Glucose::clamped(200.0)).mg_dl();
        assert!((shown - 183.420_55).abs() < 1e-2 * coarse, "{shown}");
        // before the newest pair nothing is undone
        assert_eq!(calibration.gain_and_offset(at(0)), calibration.gain_and_offset(at(60)));
    }

    #[test]
    fn a_new_sensor_starts_as_the_factory_left_it() {
        let mut calibration = Calibration::new(Drift::default());
        assert!(calibration.pair(&pair(5, 100.0, 130.0)).is_used());
        calibration.begin(Beginning::Sensor);
        assert_eq!(calibration, Calibration::new(Drift::default()));
        // by the defaults, at 100 mg/dL: sqrt(9.2² + 6.3²)
        assert!((calibration.sd(Instant::from_secs(0), Glucose::clamped(100.0)) - 11.150_336).abs() < 1e-4);
    }

    #[test]
    fn many_pairs_find_gain_and_offset() {
        let mut calibration = Calibration::new(Drift::default());
        for k in 0..40 {
            let reference = 70.0 + f32::from((k * 37 % 200) as u8);
            let _ = calibration.pair(&pair(k, reference, 1.1 * reference + 5.0));
        }
        let (gain, offset) = calibration.gain_and_offset(Instant::from_secs(40 * 3600));
        assert!((gain - 1.1).abs() < 0.02, "{gain}");
        assert!((offset - 5.0).abs() < 3.0, "{offset}");
        assert_eq!(calibration.counts(), (40, 0));
        let sure = calibration.sd(Instant::from_secs(40 * 3600), Glucose::clamped(120.0));
        let later = calibration.sd(Instant::from_secs(400 * 3600), Glucose::clamped(120.0));
        assert!(sure < 4.5 && later > 2.0 * sure, "{sure} {later}");
    }

    #[test]
    fn refusals_change_nothing_but_their_count() {
        let mut calibration = Calibration::new(Drift::default());
        let _ = calibration.pair(&pair(5, 100.0, 110.0));
        let before = calibration;
        assert_eq!(calibration.pair(&pair(4, 100.0, 110.0)), Applied::OutOfOrder);
        assert_eq!(calibration.pair(&pair(6, 10.0, 110.0)), Applied::OutOfRange);
        assert_eq!(calibration.pair(&pair(6, 601.0, 110.0)), Applied::OutOfRange);
        let good = pair(6, 100.0, 110.0);
        for bad in [
            Pair { sensor_sd: f32::NAN, ..good },
            Pair { sensor_sd: 0.0, ..good },
            Pair { behind_sd: -1.0, ..good },
            Pair { behind_sd: f32::INFINITY, ..good },
            Pair { behind: f32::NAN, ..good },
        ] {
            let outcome = calibration.pair(&bad);
            assert!(outcome == Applied::NotANumber && !outcome.is_used(), "{bad:?}");
        }
        assert_eq!(calibration.counts(), (1, 8));
        calibration.refused = 0;
        assert_eq!(calibration, before);
    }

    #[test]
    fn a_wild_fingerstick_is_softened_and_the_fence_holds() {
        let mut calibration = Calibration::new(Drift::default());
        assert_eq!(calibration.pair(&pair(0, 100.0, 300.0)), Applied::Softened);
        for k in 1..200 {
            let _ = calibration.pair(&pair(k, 60.0, 600.0));
        }
        let (gain, offset) = calibration.gain_and_offset(Instant::from_secs(200 * 3600));
        assert!((0.6..=1.6).contains(&gain) && offset.abs() <= 40.0);
    }
}
