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

mod course;
mod personal;

use crate::error::{Error, in_range};
use crate::estimate::Estimate;
use crate::math;
use crate::units::{Glucose, Rate, Span};
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

/// Crossings are looked for on a grid of this many minutes.
const GRID_MIN: f32 = 5.0;

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

    /// Holds the forecast of half an hour ago against this estimate, and learns how far foreseen changes go in
    /// this person. To be called with each estimate that a reading has just corrected; one no later than the
    /// last is ignored.
    pub fn learn(&mut self, estimate: &Estimate) {
        if self.config.bends {
            let course = self.course(estimate);
            let faded = math::one_minus_exp_neg(personal::JUDGED_MIN / self.config.rate_time_min);
            let (change, variance) = self.foreseen(&course, personal::JUDGED_MIN, faded);
            self.personal.learn(estimate.at(), estimate.glucose().mg_dl(), change, variance);
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
        let (mean, variance) = self.moments(&self.course(estimate), horizon.mins());
        Predicted { glucose: Glucose::clamped(mean), sd: math::sqrt(variance) }
    }

    /// Minutes until glucose falls to `threshold` or below, at the expected course; 0 if it is there, `None` if
    /// it does not get there within `horizon`.
    #[must_use]
    pub fn minutes_to_fall(&self, estimate: &Estimate, threshold: Glucose, horizon: Span) -> Option<f32> {
        self.minutes_on(&self.course(estimate), threshold, horizon, -1.0)
    }

    /// Minutes until glucose rises to `threshold` or above, as [`minutes_to_fall`](Self::minutes_to_fall).
    #[must_use]
    pub fn minutes_to_rise(&self, estimate: &Estimate, threshold: Glucose, horizon: Span) -> Option<f32> {
        self.minutes_on(&self.course(estimate), threshold, horizon, 1.0)
    }

    /// The probability, 0 to 1, that glucose is below `threshold` at some moment from now to `horizon`.
    #[must_use]
    pub fn probability_below(&self, estimate: &Estimate, threshold: Glucose, horizon: Span) -> f32 {
        self.probability_on(&self.course(estimate), threshold, horizon)
    }

    /// All that a monitor shows of what is ahead of `threshold`: glucose at `horizon`, the probability of being
    /// below until then, and the minutes to it within `furthest`. The same as the three asked for one by one.
    #[must_use]
    pub fn outlook(&self, estimate: &Estimate, threshold: Glucose, horizon: Span, furthest: Span) -> Outlook {
        let course = self.course(estimate);
        let (mean, variance) = self.moments(&course, horizon.mins());
        Outlook {
            predicted: Predicted { glucose: Glucose::clamped(mean), sd: math::sqrt(variance) },
            probability: self.probability_on(&course, threshold, horizon),
            minutes: self.minutes_on(&course, threshold, furthest, -1.0),
        }
    }

    fn probability_on(&self, course: &Course, threshold: Glucose, horizon: Span) -> f32 {
        let furthest = bounded(horizon.mins());
        let mut grid = Grid::new(self.config.rate_time_min);
        // the greatest z, as its square with its sign: one root at the end
        let mut worst = f32::MIN;
        loop {
            let (minutes, faded) = grid.point(furthest);
            let (mean, variance) = self.moments_faded(course, minutes, faded);
            let above = threshold.mg_dl() - mean;
            worst = worst.max(above * above.abs() / variance.max(1e-6));
            if minutes >= furthest {
                break;
            }
        }
        let worst = if worst < 0.0 { -math::sqrt(-worst) } else { math::sqrt(worst) };
        math::logistic(self.config.offset + self.config.slope * worst)
    }

    /// The low-ahead index, mg/dL: glucose plus the slow rate run ahead 38 min. Lower is nearer to a low.
    ///
    /// Not a prediction: the best predictor is a poor alarm, for it waits until it is sure. What to compare it
    /// with is in [`alarm`](crate::alarm).
    #[must_use]
    pub fn low_ahead_index(&self, estimate: &Estimate) -> f32 {
        estimate.glucose().mg_dl() + self.config.lead_min * estimate.slow_rate().mg_dl_per_min()
    }

    fn course(&self, estimate: &Estimate) -> Course {
        Course {
            glucose: estimate.glucose().mg_dl(),
            rate: estimate.rate().mg_dl_per_min(),
            variances: estimate.variances(),
            bends: if self.config.bends { Some(Bends::of(estimate)) } else { None },
            share: self.share(),
            spread: if self.config.bends { self.personal.spread() } else { 1.0 },
        }
    }

    /// The change that the usual course foresees, and its variance before the person's own spread. `faded` is
    /// 1 − e^(−minutes/T).
    fn foreseen(&self, course: &Course, minutes: f32, faded: f32) -> (f32, f32) {
        let time = self.config.rate_time_min;
        let reach = time * faded;
        let (gg, gr, rr) = course.variances;
        // ∫ T²(1 − e^(−s/T))² ds over 0..h, which is T²(h − T·f − T·f²/2) with f = 1 − e^(−h/T)
        let wandered = if minutes < 0.1 * time {
            minutes * minutes * minutes / 3.0 * (1.0 - 0.75 * minutes / time)
        } else {
            time * time * (minutes - reach - 0.5 * reach * faded)
        };
        (
            self.change(course, minutes, faded),
            gg + 2.0 * reach * gr + reach * reach * rr + self.config.drive * wandered.max(0.0),
        )
    }

    /// The change alone.
    fn change(&self, course: &Course, minutes: f32, faded: f32) -> f32 {
        let bend = course.bends.as_ref().map_or(0.0, |bends| bends.at(minutes));
        self.config.rate_time_min * faded * course.rate + bend
    }

    /// Mean and variance at a horizon, as the person is.
    fn moments(&self, course: &Course, minutes: f32) -> (f32, f32) {
        let minutes = bounded(minutes);
        self.moments_faded(course, minutes, math::one_minus_exp_neg(minutes / self.config.rate_time_min))
    }

    fn moments_faded(&self, course: &Course, minutes: f32, faded: f32) -> (f32, f32) {
        let (change, variance) = self.foreseen(course, minutes, faded);
        let now = course.variances.0;
        // what is unsure now is not the person's doing
        (course.mean(change), now + course.spread * (variance - now).max(0.0))
    }

    /// The first crossing on a grid, and in a straight line within its step.
    fn minutes_on(&self, course: &Course, threshold: Glucose, horizon: Span, sign: f32) -> Option<f32> {
        let furthest = bounded(horizon.mins());
        let mut grid = Grid::new(self.config.rate_time_min);
        let mut short = || {
            let (minutes, faded) = grid.point(furthest);
            (minutes, sign * (threshold.mg_dl() - course.mean(self.change(course, minutes, faded))))
        };
        let (mut before, mut short_before) = short();
        if short_before <= 0.0 {
            return Some(0.0);
        }
        while before < furthest {
            let (minutes, short_now) = short();
            if short_now <= 0.0 {
                return Some(before + (minutes - before) * short_before / (short_before - short_now));
            }
            (before, short_before) = (minutes, short_now);
        }
        None
    }
}

/// Horizons from now on, [`GRID_MIN`] apart, with how far the rate has faded by then: one exponential for all.
struct Grid {
    time: f32,
    next: f32,
    left: f32,
    keep: f32,
}

impl Grid {
    fn new(time: f32) -> Self {
        Self { time, next: 0.0, left: 1.0, keep: 1.0 - math::one_minus_exp_neg(GRID_MIN / time) }
    }

    /// The next horizon, no further than `furthest`, and 1 − e^(−horizon/T).
    fn point(&mut self, furthest: f32) -> (f32, f32) {
        let (minutes, left) = (self.next, self.left);
        if minutes > furthest {
            return (furthest, math::one_minus_exp_neg(furthest / self.time));
        }
        self.next += GRID_MIN;
        self.left *= self.keep;
        (minutes, 1.0 - left)
    }
}

/// An estimate made ready for several horizons.
struct Course {
    glucose: f32,
    rate: f32,
    variances: (f32, f32, f32),
    bends: Option<Bends>,
    share: f32,
    spread: f32,
}

impl Course {
    /// The mean after a foreseen change, as far as such changes come true in the person.
    fn mean(&self, change: f32) -> f32 {
        self.glucose + self.share * change
    }
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

fn bounded(minutes: f32) -> f32 {
    minutes.max(0.0).min(FURTHEST_MIN)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::Instant;
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
            let (mean, _) = forecast.moments(&forecast.course(&falling), minutes);
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
        assert_eq!(at(100.0, 0.0, 70.0), None);
        assert_eq!(at(70.0, -1.0, 70.0), Some(0.0));
    }

    #[test]
    fn wandered_variance_is_continuous_where_the_series_takes_over() {
        let forecast = linear();
        let at = |minutes| forecast.moments(&forecast.course(&estimate(100.0, 0.0)), minutes).1;
        assert!((at(3.4999) / at(3.5001) - 1.0).abs() < 2e-3);
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
