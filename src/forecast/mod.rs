//! Where glucose is heading: its value at a horizon, when it crosses a threshold, and how likely that is.
//!
//! The rate fades, so that a forecast bends and does not run away: after `h` minutes a rate `r` has moved
//! glucose by `r·T·(1 − e^(−h/T))`. Uncertainty grows by the filter's own covariance and by what may happen in
//! between. On top lies the usual course: how glucose commonly bends away from a fading straight line, and how
//! much of that comes true in this person, which is learned. The probability of a crossing is the normal one at
//! the worst moment up to the horizon, recalibrated by a logistic: falls slow down near a low, and a plain normal
//! probability says 60 % where 30 % come true.
//!
//! Sources: the fading rate, textbook (the mean of an integrated Ornstein-Uhlenbeck process); the logistic, Platt
//! (1999), Advances in Large Margin Classifiers (from memory); the course and its numbers are ours.

mod ahead;
mod course;
mod personal;

use crate::error::{Error, in_range};
use crate::estimate::Estimate;
use crate::math;
use crate::timeline::Beginning;
use crate::units::{Glucose, Instant, Rate, Span};
use ahead::{Course, Crossing, STEP_MIN};
use course::Bends;
use personal::Personal;

/// How a forecast is made. 24 bytes.
///
/// # Examples
/// ```
/// use glidepath::forecast::{Forecast, ForecastConfig};
/// let plain = Forecast::new(ForecastConfig::linear(35.0, 0.04)?); // a fading rate, and nothing learned
/// assert_eq!(plain.share(), 1.0);
/// # Ok::<(), glidepath::Error>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct ForecastConfig {
    rate_time_min: f32,
    drive: f32,
    offset: f32,
    slope: f32,
    lead_min: f32,
    bends: bool,
}

/// The forecaster of one person. See the [module](self). About 200 bytes.
///
/// # Examples
/// ```
/// use glidepath::forecast::Forecast;
/// use glidepath::{Estimate, Glucose, Instant, Rate, Span};
/// let (now, rate) = (Glucose::from_mg_dl(95.0)?, Rate::from_mg_dl_per_min(-2.0)?);
/// let falling = Estimate::new(Instant::from_secs(0), now, rate, 7.0, 0.6, 0.5)?;
/// let (low, half_an_hour) = (Glucose::from_mg_dl(70.0)?, Span::from_mins(30));
/// let forecast = Forecast::default();
/// let chance = forecast.probability_below(&falling, low, half_an_hour); // 0 to 1
/// let minutes = forecast.minutes_to_fall(&falling, low, half_an_hour); // at the expected course
/// assert!(chance > 0.5 && minutes.is_some_and(|minutes| minutes > 12.5)); // later than in a straight line
/// # Ok::<(), glidepath::Error>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Forecast {
    config: ForecastConfig,
    personal: Personal,
}

/// Glucose at a horizon. 8 bytes.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Predicted {
    glucose: Glucose,
    sd: f32,
}

impl Predicted {
    /// The expected value.
    #[must_use]
    pub const fn glucose(&self) -> Glucose {
        self.glucose
    }

    /// Its standard deviation, mg/dL.
    #[must_use]
    pub const fn sd(&self) -> f32 {
        self.sd
    }
}

/// What is ahead of a threshold; see [`Forecast::outlook`].
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Outlook {
    /// Glucose at the horizon.
    pub predicted: Predicted,
    /// The probability of being below the threshold at some moment until then, 0 to 1.
    pub probability: f32,
    /// Minutes until glucose falls to the threshold, if it does.
    pub minutes: Option<f32>,
}

/// The furthest horizon, minutes; longer ones are brought down to it.
const FURTHEST_MIN: f32 = 240.0;

impl Default for ForecastConfig {
    /// Rate fading over 35 min, a drive of 0.04 (mg/dL/min)²/min, the usual course; recalibration and lead as
    /// measured on simulated people.
    fn default() -> Self {
        Self { rate_time_min: 35.0, drive: 0.04, offset: -0.13, slope: 2.18, lead_min: 38.0, bends: true }
    }
}

impl ForecastConfig {
    /// A forecast by a fading rate alone, without the usual course and without learning from the person: rate
    /// time (5 to 1000 min) and drive (0.0001 to 10 (mg/dL/min)²/min) of the estimator's model.
    ///
    /// # Errors
    /// Names the parameter that is out of range.
    pub fn linear(rate_time_min: f32, drive: f32) -> Result<Self, Error> {
        Ok(Self {
            rate_time_min: in_range("rate_time_min", rate_time_min, 5.0, 1000.0)?,
            drive: in_range("drive", drive, 1e-4, 10.0)?,
            bends: false,
            ..Self::default()
        })
    }

    /// The same with another recalibration of the probability, `1 / (1 + e^(−offset − slope·z))`, where `z` is
    /// how many standard deviations the threshold lies above the expected value. Offset −20 to 20, slope 0.1
    /// to 20. Refit them when you have recorded traces of the person.
    ///
    /// # Errors
    /// Names the parameter that is out of range.
    pub fn with_recalibration(self, offset: f32, slope: f32) -> Result<Self, Error> {
        Ok(Self {
            offset: in_range("offset", offset, -20.0, 20.0)?,
            slope: in_range("slope", slope, 0.1, 20.0)?,
            ..self
        })
    }
}

impl Default for Forecast {
    fn default() -> Self {
        Self::new(ForecastConfig::default())
    }
}

impl Forecast {
    /// A forecaster that knows nothing of the person yet.
    #[must_use]
    pub const fn new(config: ForecastConfig) -> Self {
        Self { config, personal: Personal::new() }
    }

    /// How forecasts are made.
    #[must_use]
    pub const fn config(&self) -> &ForecastConfig {
        &self.config
    }

    /// Begins anew. A new sensor, or the power back: keeps what was learned of the person. Everything: forgets it.
    pub fn begin(&mut self, beginning: Beginning) {
        match beginning {
            Beginning::Sensor | Beginning::Power => {}
            Beginning::Everything => *self = Self::new(self.config),
        }
    }

    /// Holds the forecast of half an hour ago against this estimate, and learns how far foreseen changes go in
    /// this person. To be called with each estimate that a reading has just corrected; one no later than the
    /// last is ignored.
    pub fn learn(&mut self, estimate: &Estimate) {
        self.learn_from(estimate.at(), &self.foreseen(estimate));
    }

    /// The usual course from here, not yet a person's: to be worked out once for learning and outlook.
    pub(crate) fn foreseen(&self, estimate: &Estimate) -> Course {
        let bends = if self.config.bends { Bends::of(estimate) } else { Bends::NONE };
        Course::new(&self.config, estimate, bends)
    }

    /// [`learn`](Self::learn) with the usual course at hand.
    pub(crate) fn learn_from(&mut self, at: Instant, foreseen: &Course) {
        if self.config.bends
            && let Some(judged) = foreseen.walk().find(|point| point.minutes >= personal::JUDGED_MIN)
        {
            let (change, variance) = (foreseen.change(&judged), foreseen.variance(&judged));
            self.personal.learn(at, foreseen.glucose(), change, variance);
        }
    }

    /// The share of a foreseen change that comes true in this person, 0.05 to 1.3; 1 until learned.
    #[must_use]
    pub fn share(&self) -> f32 {
        if self.config.bends { self.personal.share() } else { 1.0 }
    }

    /// Glucose `horizon` from the estimate's moment; a negative horizon counts as none, one over four hours as
    /// four hours.
    ///
    /// # Examples
    /// ```
    /// use glidepath::forecast::Forecast;
    /// use glidepath::{Estimate, Glucose, Instant, Rate, Span};
    /// let falling = Estimate::new(
    ///     Instant::from_secs(0), Glucose::from_mg_dl(110.0)?, Rate::from_mg_dl_per_min(-2.0)?, 7.0, 0.6, 0.5,
    /// )?;
    /// let half_an_hour = Forecast::default().at(&falling, Span::from_mins(30));
    /// assert!(half_an_hour.glucose().mg_dl() > 60.0); // not 50: the rate fades
    /// # Ok::<(), glidepath::Error>(())
    /// ```
    #[must_use]
    pub fn at(&self, estimate: &Estimate, horizon: Span) -> Predicted {
        let course = self.course(estimate);
        let point = course.point(bounded(horizon));
        predicted(course.mean(&point), course.variance(&point))
    }

    /// Minutes until glucose falls to `threshold` or below, at the expected course; 0 if it is there, `None` if
    /// it does not get there within `horizon`.
    #[must_use]
    pub fn minutes_to_fall(&self, estimate: &Estimate, threshold: Glucose, horizon: Span) -> Option<f32> {
        self.minutes_to(estimate, Crossing::new(threshold.mg_dl(), true), horizon)
    }

    /// Minutes until glucose rises to `threshold` or above, as [`minutes_to_fall`](Self::minutes_to_fall).
    #[must_use]
    pub fn minutes_to_rise(&self, estimate: &Estimate, threshold: Glucose, horizon: Span) -> Option<f32> {
        self.minutes_to(estimate, Crossing::new(threshold.mg_dl(), false), horizon)
    }

    /// The probability, 0 to 1, that glucose is below `threshold` at some moment from now to `horizon`.
    #[must_use]
    pub fn probability_below(&self, estimate: &Estimate, threshold: Glucose, horizon: Span) -> f32 {
        self.outlook(estimate, threshold, horizon, Span::ZERO).probability
    }

    /// All that a monitor shows of what is ahead of `threshold`: glucose at `horizon`, the probability of being
    /// below until then, and the minutes to it within `furthest`. One walk for what the three would each walk.
    #[must_use]
    pub fn outlook(&self, estimate: &Estimate, threshold: Glucose, horizon: Span, furthest: Span) -> Outlook {
        self.outlook_from(&self.course(estimate), threshold, horizon, furthest)
    }

    /// [`outlook`](Self::outlook) with the course at hand.
    pub(crate) fn outlook_from(
        &self,
        course: &Course,
        threshold: Glucose,
        horizon: Span,
        furthest: Span,
    ) -> Outlook {
        let (horizon, furthest, threshold) = (bounded(horizon), bounded(furthest), threshold.mg_dl());
        let mut crossing = Crossing::new(threshold, true);
        let mut worst = f32::MIN;
        let mut at_horizon = None;
        for point in course.walk() {
            let mean = course.mean(&point);
            if point.minutes <= horizon {
                let variance = course.variance(&point);
                worst = worst.max(signed_square(threshold - mean, variance));
                if point.minutes >= horizon {
                    at_horizon = Some((mean, variance));
                }
            }
            crossing.step(point.minutes, mean);
            let seen = crossing.found.is_some() || point.minutes >= furthest;
            if seen && point.minutes + STEP_MIN > horizon {
                break;
            }
        }
        let (mean, variance) = at_horizon.unwrap_or_else(|| {
            let point = course.point(horizon);
            (course.mean(&point), course.variance(&point))
        });
        let worst = signed_root(worst.max(signed_square(threshold - mean, variance)));
        Outlook {
            predicted: predicted(mean, variance),
            probability: math::logistic(self.config.offset + self.config.slope * worst),
            minutes: crossing.found.filter(|minutes| *minutes <= furthest),
        }
    }

    /// The low-ahead index, mg/dL: glucose plus the slow rate run ahead 38 min. Lower is nearer to a low.
    ///
    /// Not a prediction: the best predictor is a poor alarm, for it waits until it is sure. What to compare it
    /// with is in [`alarm`](crate::alarm).
    #[must_use]
    pub fn low_ahead_index(&self, estimate: &Estimate) -> f32 {
        estimate.glucose().mg_dl() + self.config.lead_min * estimate.slow_rate().mg_dl_per_min()
    }

    fn minutes_to(&self, estimate: &Estimate, mut crossing: Crossing, horizon: Span) -> Option<f32> {
        let (course, furthest) = (self.course(estimate), bounded(horizon));
        for point in course.walk() {
            crossing.step(point.minutes, course.mean(&point));
            if crossing.found.is_some() || point.minutes >= furthest {
                break;
            }
        }
        crossing.found.filter(|minutes| *minutes <= furthest)
    }

    fn course(&self, estimate: &Estimate) -> Course {
        self.in_person(self.foreseen(estimate))
    }

    /// A foreseen course as it comes true in this person.
    pub(crate) fn in_person(&self, foreseen: Course) -> Course {
        if self.config.bends {
            foreseen.scaled(self.personal.share(), self.personal.spread())
        } else {
            foreseen
        }
    }
}

fn predicted(mean: f32, variance: f32) -> Predicted {
    Predicted { glucose: Glucose::clamped(mean), sd: math::sqrt(variance) }
}

/// z², with the sign of z: compares as z does, and one root at the end is enough.
fn signed_square(above: f32, variance: f32) -> f32 {
    above * above.abs() / variance.max(1e-6)
}

fn signed_root(square: f32) -> f32 {
    if square < 0.0 { -math::sqrt(-square) } else { math::sqrt(square) }
}

/// The straight-line time to a threshold at a constant rate, for comparison: minutes, or `None` when moving
/// away or not moving.
///
/// # Examples
/// ```
/// use glidepath::{Glucose, Rate, forecast::minutes_at_constant_rate};
/// let (now, limit) = (Glucose::from_mg_dl(90.0)?, Glucose::from_mg_dl(70.0)?);
/// assert_eq!(minutes_at_constant_rate(now, Rate::from_mg_dl_per_min(-2.0)?, limit), Some(10.0));
/// # Ok::<(), glidepath::Error>(())
/// ```
#[must_use]
pub fn minutes_at_constant_rate(now: Glucose, rate: Rate, threshold: Glucose) -> Option<f32> {
    let (distance, rate) = (threshold.mg_dl() - now.mg_dl(), rate.mg_dl_per_min());
    if distance == 0.0 { Some(0.0) } else { (distance * rate > 0.0).then(|| distance / rate) }
}

/// Minutes of a horizon, within what is foreseen.
fn bounded(horizon: Span) -> f32 {
    horizon.mins().max(0.0).min(FURTHEST_MIN)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn estimate(mg_dl: f32, rate: f32) -> Estimate {
        let (glucose, rate) = (Glucose::clamped(mg_dl), Rate::clamped(rate));
        Estimate::new(Instant::from_secs(0), glucose, rate, 7.21, 0.615, 0.0).unwrap()
    }

    fn linear() -> Forecast {
        Forecast::new(ForecastConfig::linear(35.0, 0.04).unwrap())
    }

    #[test]
    fn a_rate_reaches_as_far_as_its_fading_lets_it() {
        // T(1 − e^(−h/T)) for T = 35: 12.2, 15.2, 20.1 and 28.7 min of the rate at 15, 20, 30 and 60 min
        for (minutes, reach) in [(15, 12.2), (20, 15.2), (30, 20.1), (60, 28.7)] {
            let ahead = linear().at(&estimate(200.0, 1.0), Span::from_mins(minutes));
            assert!((ahead.glucose().mg_dl() - 200.0 - reach).abs() < 0.06, "{minutes}");
        }
    }

    #[test]
    fn time_to_a_threshold_inverts_the_course() {
        for forecast in [linear(), Forecast::default()] {
            let (falling, hour) = (estimate(110.0, -2.0), Span::from_mins(60));
            let minutes = forecast.minutes_to_fall(&falling, Glucose::clamped(90.0), hour).unwrap();
            let course = forecast.course(&falling);
            let mean = course.mean(&course.point(minutes));
            assert!((mean - 90.0).abs() < 1.0, "{mean}");
            // a rate of −2 fading over 35 min covers 70 mg/dL at most
            assert_eq!(linear().minutes_to_fall(&falling, Glucose::clamped(39.0), hour), None);
            assert_eq!(forecast.minutes_to_fall(&falling, Glucose::clamped(120.0), hour), Some(0.0));
            assert_eq!(linear().minutes_to_rise(&falling, Glucose::clamped(120.0), hour), None);
            assert!(forecast.minutes_to_rise(&estimate(176.0, 1.5), Glucose::clamped(180.0), hour).is_some());
        }
    }

    #[test]
    fn constant_rate_examples() {
        // 90 at −2: 70 in 10 min, 55 in 17.5; 120 at −3: 55 in 21.667; arithmetic
        let at = |now: f32, rate: f32, limit: f32| {
            minutes_at_constant_rate(Glucose::clamped(now), Rate::clamped(rate), Glucose::clamped(limit))
        };
        assert_eq!(at(90.0, -2.0, 55.0), Some(17.5));
        assert!((at(120.0, -3.0, 55.0).unwrap() - 21.666_7).abs() < 1e-4);
        assert_eq!(at(100.0, 1.0, 70.0), None);
        assert_eq!((at(100.0, 0.0, 70.0), at(60.0, 0.0, 70.0)), (None, None));
        assert_eq!(at(70.0, -1.0, 70.0), Some(0.0));
    }

    /// Reference: the closed form in double precision (numpy): 7.21² + (Tf)²·0.615² + 0.04·T²(h − Tf − Tf²/2).
    #[test]
    fn variance_grows_as_the_closed_form_says() {
        for (minutes, want) in VARIANCES {
            let sd = linear().at(&estimate(100.0, 0.0), Span::from_mins(minutes)).sd();
            assert!((sd * sd / want - 1.0).abs() < 1e-4, "{minutes}: {}", sd * sd);
        }
    }
    const VARIANCES: [(i32, f32); 5] =
        [(0, 51.9841), (1, 52.3647), (5, 61.6943), (30, 404.175), (240, 9705.44)];

    #[test]
    fn a_walk_passes_through_the_points_asked_for_one_by_one() {
        for forecast in [linear(), Forecast::default()] {
            let course = forecast.course(&estimate(160.0, -1.7));
            for walked in course.walk().take(25) {
                let asked = course.point(walked.minutes);
                let off = course.variance(&walked) / course.variance(&asked) - 1.0;
                // the coarse backend's exponential errs by some parts in ten thousand
                let [by, part] = if cfg!(feature = "micromath") { [0.2, 2e-2] } else { [1e-2, 1e-4] };
                assert!((course.mean(&walked) - course.mean(&asked)).abs() < by, "{}", walked.minutes);
                assert!(off.abs() < part, "{}: {off}", walked.minutes);
            }
        }
    }

    #[test]
    fn an_outlook_is_what_the_three_answer_one_by_one() {
        let (forecast, low) = (Forecast::default(), Glucose::clamped(70.0));
        for (mg_dl, rate) in [(60.0, 0.0), (90.0, -1.0), (120.0, -2.0), (300.0, 3.0)] {
            for (horizon, furthest) in [(30, 60), (22, 60), (60, 30), (0, 0), (33, 12)] {
                let (horizon, furthest) = (Span::from_mins(horizon), Span::from_mins(furthest));
                let estimate = estimate(mg_dl, rate);
                let outlook = forecast.outlook(&estimate, low, horizon, furthest);
                let asked = forecast.at(&estimate, horizon);
                assert!((outlook.predicted.glucose().mg_dl() - asked.glucose().mg_dl()).abs() < 1e-2);
                assert!((outlook.predicted.sd() / asked.sd() - 1.0).abs() < 1e-4);
                assert_eq!(outlook.probability, forecast.probability_below(&estimate, low, horizon));
                assert_eq!(outlook.minutes, forecast.minutes_to_fall(&estimate, low, furthest));
            }
        }
    }

    #[test]
    fn settings_are_used_and_gated() {
        // numpy: 200 + T(1 − e^(−30/T)), and the variance of integrated motion, T = 50, drive 0.1, correlation 0.5
        let forecast = Forecast::new(ForecastConfig::linear(50.0, 0.1).unwrap());
        let (glucose, rate) = (Glucose::clamped(200.0), Rate::clamped(1.0));
        let estimate = Estimate::new(Instant::from_secs(0), glucose, rate, 7.0, 0.6, 0.5).unwrap();
        let ahead = forecast.at(&estimate, Span::from_mins(30));
        // terms of the variance cancel, which a coarse exponential feels more
        let [by, sd_by] = if cfg!(feature = "micromath") { [0.1, 0.3] } else { [1e-2, 1e-2] };
        assert!((ahead.glucose().mg_dl() - 222.559_42).abs() < by, "{}", ahead.glucose().mg_dl());
        assert!((ahead.sd() - 30.245_5).abs() < sd_by, "{}", ahead.sd());
        for (name, config) in [
            ("rate_time_min", ForecastConfig::linear(4.9, 0.1)),
            ("drive", ForecastConfig::linear(35.0, 11.0)),
            ("offset", ForecastConfig::default().with_recalibration(-20.1, 1.0)),
            ("slope", ForecastConfig::default().with_recalibration(0.0, 0.0)),
        ] {
            assert_eq!(config.unwrap_err().parameter(), name);
        }
        assert!(ForecastConfig::default().with_recalibration(-20.0, 20.0).is_ok());
    }

    #[test]
    fn the_probability_is_that_of_the_worst_moment() {
        let config = ForecastConfig::linear(35.0, 0.04).unwrap().with_recalibration(-0.5, 2.0).unwrap();
        let (forecast, low) = (Forecast::new(config), Glucose::clamped(70.0));
        // 1 / (1 + e^(0.5 − 2z)) by hand: the SD is 7.21 now and 20.10411 in 30 min
        for (mg_dl, rate, want) in [
            (100.0, 0.0, 0.029_757_5), // unsure at the end: z = −30 / 20.10411
            (60.0, 0.0, 0.906_694_4),  // sure now: z = 10 / 7.21
        ] {
            let got = forecast.probability_below(&estimate(mg_dl, rate), low, Span::from_mins(30));
            let within = if cfg!(feature = "micromath") { 1e-3 } else { 1e-4 };
            assert!((got - want).abs() < within, "{mg_dl}: {got}");
        }
    }

    #[test]
    fn a_horizon_ends_at_four_hours_and_never_lies_behind() {
        let (forecast, falling) = (linear(), estimate(200.0, -1.0));
        let at = |minutes| forecast.at(&falling, Span::from_mins(minutes));
        assert_eq!(at(-30), at(0));
        assert_eq!(at(300), at(240));
        assert!((at(0).glucose().mg_dl() - 200.0).abs() < 1e-4 && (at(0).sd() - 7.21).abs() < 1e-3);
        assert_ne!(at(239), at(240));
    }

    #[test]
    fn the_usual_course_is_added_to_the_fading_line() {
        // 180 + 1.5 × 35(1 − e^(−30/35)) + the bend of 3.626 worked out beside its table
        let turning =
            Estimate::from_filter(Instant::from_secs(0), (180.0, 1.5, -0.7), (-12.0, 0.8), (49.0, 0.0, 0.4));
        let ahead = Forecast::default().at(&turning, Span::from_mins(30)).glucose().mg_dl();
        assert!((ahead - 213.846_5).abs() < 0.05, "{ahead}");
    }

    #[test]
    fn the_low_ahead_index_runs_the_slow_rate_38_minutes_on() {
        let falling =
            Estimate::from_filter(Instant::from_secs(0), (100.0, -3.0, -1.5), (8.0, 0.5), (49.0, 0.0, 0.4));
        assert!((Forecast::default().low_ahead_index(&falling) - 43.0).abs() < 1e-3);
    }

    #[test]
    #[cfg_attr(miri, ignore = "too slow")]
    fn a_person_in_whom_nothing_foreseen_comes_is_believed() {
        let (mut usual, mut plain) = (Forecast::default(), linear());
        for minutes in (0..2880_u32).step_by(5) {
            let (glucose, rate) = (Glucose::clamped(150.0), Rate::clamped(-1.5));
            let now = Estimate::new(Instant::from_secs(60 * minutes), glucose, rate, 7.0, 0.6, 0.0).unwrap();
            usual.learn(&now);
            plain.learn(&now);
        }
        assert!(usual.share() < 0.8 && usual.share() > 0.05, "{}", usual.share());
        assert_eq!(plain.share(), 1.0);
        let ahead =
            |forecast: &Forecast| forecast.at(&estimate(150.0, -1.5), Span::from_mins(30)).glucose().mg_dl();
        assert!(ahead(&usual) > ahead(&Forecast::default()) + 5.0, "the course is cut with the share");
    }

    #[test]
    fn what_comes_as_foreseen_changes_nothing() {
        let mut forecast = Forecast::default();
        let falling = estimate(150.0, -1.5);
        let foreseen = forecast.at(&falling, Span::from_mins(30)).glucose();
        forecast.learn(&falling);
        let half_an_hour = Instant::from_secs(1800);
        forecast.learn(&Estimate::new(half_an_hour, foreseen, Rate::clamped(0.0), 7.0, 0.6, 0.0).unwrap());
        assert!((forecast.share() - 1.0).abs() < 1e-4, "{}", forecast.share());
    }

    #[test]
    fn a_threshold_is_reached_by_the_furthest_moment_or_not() {
        let (forecast, slow) = (linear(), estimate(80.0, -1.0));
        // 35(1 − e^(−t/35)) = 10 at t = 11.78 min; straight between 10 and 15 min it is a little later
        let minutes =
            |furthest| forecast.minutes_to_fall(&slow, Glucose::clamped(70.0), Span::from_mins(furthest));
        assert!((minutes(60).unwrap() - 11.78).abs() < 0.1, "{:?}", minutes(60));
        assert_eq!((minutes(11), minutes(12)), (None, minutes(60)));
        let rising = estimate(170.0, 1.0);
        let minutes =
            |furthest| forecast.minutes_to_rise(&rising, Glucose::clamped(180.0), Span::from_mins(furthest));
        assert!((minutes(60).unwrap() - 11.78).abs() < 0.1 && minutes(11).is_none());
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(if cfg!(miri) { 4 } else { 256 }))]
        #[test]
        fn probability_is_a_probability_and_falls_with_distance(
            mg_dl in 0.0_f32..600.0, rate in -10.0_f32..10.0, minutes in -10_i32..300,
        ) {
            let (forecast, horizon) = (linear(), Span::from_mins(minutes));
            let usual = Forecast::default().probability_below(&estimate(mg_dl, rate), Glucose::clamped(70.0), horizon);
            prop_assert!((0.0..=1.0).contains(&usual));
            let near = forecast.probability_below(&estimate(mg_dl, rate), Glucose::clamped(70.0), horizon);
            let far = forecast.probability_below(&estimate(mg_dl + 10.0, rate), Glucose::clamped(70.0), horizon);
            prop_assert!((0.0..=1.0).contains(&near));
            prop_assert!(far <= near);
            let longer = forecast.probability_below(
                &estimate(mg_dl, rate), Glucose::clamped(70.0), Span::from_mins(minutes + 5));
            // crossings are looked for on a grid, whose points shift with an odd horizon
            prop_assert!(longer >= near - 0.02);
        }
    }
}
