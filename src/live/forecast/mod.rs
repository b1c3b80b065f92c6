//! Where glucose is heading: its value at a horizon, how likely a low is, and the direction to expect.
//!
//! What a sensor will read is a weighted sum of eleven terms of what it read in the last half hour. The weights
//! are those of people, fitted to recorded traces; on top of them a [`Forecast`] learns in what this person
//! differs, from each reading that comes, an hour after. It goes by calibrated sensor readings and nothing else.
//!
//! - **The terms**: a constant; the logarithm of the level; the steps of the last 5 minutes, of the 5 before, the
//!   5 before and the 15 before; the level squared; slope times level, times its own size, times the level
//!   squared; a fall from a low level. Values between readings lie on straight lines. No line crosses a
//!   silence of more than 17 minutes or a doubted reading: with less than half an hour of past the unknown steps
//!   are what they commonly are after the known ones, the spread is wider, and nothing is learned.
//! - **Learning**: normalised least mean squares, each term in units of its usual size, the step falling as one
//!   over the number of outcomes until it is that of two weeks. Outcomes are clipped, weights fenced, and while
//!   the last day went worse with them than without they are left aside.
//! - **Spread**: a weighted sum of level and movement; times what this part of the day (eighths of it, by
//!   elapsed time) has shown in this person; times two quantiles, tracked for each band of level. The errors
//!   have longer tails than a normal distribution, and follow a logistic one.
//! - **Probability**: a logistic map of how far the threshold lies from what is expected, at the horizon and half
//!   way to it; one for lows to come, one for lows that are there.
//!
//! Every number was fitted by `glidepath fit` (the desk tool), which prints how well it does on people it was not
//! fitted to.
//!
//! Sources: normalised least mean squares, Haykin, Adaptive Filter Theory; tracking of quantiles, Gibbs and Candès
//! (2021), Adaptive Conformal Inference Under Distribution Shift; probabilities from scores by a logistic map,
//! Platt (1999), Advances in Large Margin Classifiers (all from memory). The terms and numbers are ours.

mod answer;
mod learner;
mod outlook;
mod past;
mod people;
mod table;
mod terms;

use crate::codec::{Codec, Coded};
use crate::timeline::Reset;
use crate::units::{Glucose, Instant, Rate, Span};

/// For whoever fits the numbers anew: the learner with any table, and what it makes of readings.
pub mod fitting {
    pub use super::learner::{Ahead, Learner};
    pub use super::outlook::Outlook;
    pub use super::table::{
        EDGES, HORIZONS, LEARNED, LEAST, LEVELS, LOW_HORIZONS, LOW_TERMS, MINUTES, Table,
    };
    pub use super::terms::{Reach, SPREAD_TERMS, TERMS, Terms};
}

pub use answer::{Direction, Predicted};
pub use outlook::Course;
pub(crate) use outlook::Present;
pub(crate) use table::HORIZONS;

use fitting::{Learner, Outlook, Table};

/// How a forecast is made. 1 byte.
///
/// Features: `serde` gives `Serialize` and `Deserialize`, `defmt` gives `Format`.
///
/// # Examples
/// ```
/// use glidepath::forecast::{Forecast, ForecastConfig};
/// let same_for_all = Forecast::new(ForecastConfig::population());
/// assert!(!same_for_all.config().is_personal() && ForecastConfig::default().is_personal());
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "serde", serde(default, deny_unknown_fields))]
pub struct ForecastConfig {
    personal: bool,
}

impl Default for ForecastConfig {
    /// Learns from the person.
    fn default() -> Self {
        Self { personal: true }
    }
}

impl Coded for ForecastConfig {
    fn code(&mut self, codec: &mut Codec<'_>) {
        let Self { personal } = self;
        codec.flag(personal);
    }
}

impl ForecastConfig {
    /// By people's weights alone, without learning the person's. The spread is still learned.
    #[must_use]
    pub const fn population() -> Self {
        Self { personal: false }
    }

    /// Whether the person's own weights are learned and used.
    #[must_use]
    pub const fn is_personal(&self) -> bool {
        self.personal
    }
}

/// The forecaster of one person. See the [module](self). 376 bytes.
///
/// # Examples
/// ```
/// use glidepath::forecast::Forecast;
/// use glidepath::{Glucose, Instant, Span};
/// let mut forecast = Forecast::default();
/// for k in 0..8_u32 {
///     let falling = Glucose::from_mg_dl(150.0 - 9.0 * k as f32)?;
///     forecast.reading(Instant::from_secs(k * 300), falling, true);
/// }
/// let now = Instant::from_secs(7 * 300); // 87 mg/dL, falling 1.8 a minute
/// let soon = forecast.at(now, Span::from_mins(15)).expect("a reading is there");
/// assert!(soon.glucose().mg_dl() < 85.0 && soon.sd() > 5.0); // most people stop such a fall
/// let (low, hour) = (Glucose::from_mg_dl(70.0)?, Span::from_hours(1));
/// let chance = forecast.low_probability(now, low, Span::from_mins(30)).expect("a reading is there");
/// let minutes = forecast.minutes_to_fall(now, low, hour); // at the expected course
/// assert!(chance > 0.3 && minutes.is_none_or(|minutes| minutes > 9.5));
/// # Ok::<(), glidepath::Error>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Forecast {
    config: ForecastConfig,
    learner: Learner,
}

impl Default for Forecast {
    fn default() -> Self {
        Self::new(ForecastConfig::default())
    }
}

impl Forecast {
    /// A forecaster that knows nothing of the person yet: people's weights and spreads.
    #[must_use]
    pub const fn new(config: ForecastConfig) -> Self {
        Self { config, learner: Learner::new(config.personal) }
    }

    /// How forecasts are made.
    #[must_use]
    pub const fn config(&self) -> ForecastConfig {
        self.config
    }

    /// Takes in a reading, calibrated. One that is not newer than the last changes nothing. A doubted one
    /// (`believed` false) is no value to go by: it ends the past, as a gap does.
    pub fn reading(&mut self, at: Instant, glucose: Glucose, believed: bool) {
        self.learner.reading(&Table::PEOPLE, at, glucose, believed);
    }

    /// The calibration changed: what was read before now counts as `mg_dl` more.
    pub fn shift(&mut self, mg_dl: f32) {
        self.learner.shift(&Table::PEOPLE, mg_dl);
    }

    /// Starts anew. A new sensor: forgets recent readings, and keeps the weights and spreads learned of the person. The power
    /// back: keeps all; a gap in the readings' times ends their past by itself. Everything: forgets all.
    pub fn reset(&mut self, reset: Reset) {
        match reset {
            Reset::NewSensor => self.learner.reset(),
            Reset::PowerReturned => {}
            Reset::Everything => *self = Self::new(self.config),
        }
    }

    /// Whether what was learned of the person is in use: not while it is switched off, nor while it did worse
    /// in the last day or so than people's weights.
    #[must_use]
    pub fn uses_personal(&self) -> bool {
        self.learner.trusts_own()
    }

    /// What the sensor will read `horizon` from `now`: 5 minutes to 2 hours; a shorter or longer one is
    /// brought there. `None` without a believed reading in the last half hour.
    ///
    /// # Examples
    /// ```
    /// use glidepath::{Glucose, Instant, Span, forecast::Forecast};
    /// let (mut forecast, now) = (Forecast::default(), Instant::from_secs(0));
    /// assert_eq!(forecast.at(now, Span::from_mins(30)), None);
    /// forecast.reading(now, Glucose::from_mg_dl(110.0)?, true);
    /// let known = forecast.at(now, Span::from_mins(30)).expect("a reading");
    /// let old = forecast.at(Instant::from_secs(900), Span::from_mins(30)).expect("not too old");
    /// assert!(old.half_width_95() > known.half_width_95()); // what is older tells less
    /// # Ok::<(), glidepath::Error>(())
    /// ```
    #[must_use]
    pub fn at(&self, now: Instant, horizon: Span) -> Option<Predicted> {
        self.outlook().at(now, horizon)
    }

    /// The probability, 0 to 1, that a reading will be below `threshold` at some moment from `now` to
    /// `horizon`. The map was fitted to 70 mg/dL; other thresholds are taken to be like it.
    ///
    /// # Examples
    /// ```
    /// use glidepath::{Glucose, Instant, Span, forecast::Forecast};
    /// let mut forecast = Forecast::default();
    /// for (minute, mg_dl) in [(0, 112.0), (5, 104.0), (10, 95.0), (15, 85.0), (20, 76.0)] {
    ///     forecast.reading(Instant::from_secs(60 * minute), Glucose::from_mg_dl(mg_dl)?, true);
    /// }
    /// assert!(forecast.low_probability(Instant::from_secs(1200), Glucose::from_mg_dl(70.0)?, Span::from_mins(30)) > Some(0.5));
    /// # Ok::<(), glidepath::Error>(())
    /// ```
    #[must_use]
    pub fn low_probability(&self, now: Instant, threshold: Glucose, horizon: Span) -> Option<f32> {
        self.outlook().low_probability(now, threshold, horizon)
    }

    /// What the low-ahead alarm compares with its limit, 0 to 1, higher is nearer to a low: the probability of a
    /// reading below 70 mg/dL within 30 minutes; 1 when it is there.
    #[must_use]
    pub fn low_ahead(&self, now: Instant) -> Option<f32> {
        self.outlook().low_ahead(now)
    }

    /// Minutes until glucose falls to `threshold` or below, at the expected course; 0 if it is there, `None` if
    /// it does not get there `within` so long, or nothing is known.
    #[must_use]
    pub fn minutes_to_fall(&self, now: Instant, threshold: Glucose, within: Span) -> Option<f32> {
        self.course(now)?.minutes_to_fall(threshold, within)
    }

    /// The whole course ahead of `now`, to be asked at any horizon later. `None` as in [`at`](Self::at).
    #[must_use]
    pub fn course(&self, now: Instant) -> Option<Course> {
        self.present(now).map(|present| present.course)
    }

    /// The direction to expect from `now` on. `None` without a reading in the last 17 minutes, and until ten
    /// minutes of readings are there.
    #[must_use]
    pub fn direction(&self, now: Instant) -> Option<Direction> {
        self.outlook().direction(now)
    }

    /// All of this at one moment; `None` as in [`at`](Self::at).
    pub(crate) fn present(&self, now: Instant) -> Option<Present<'_>> {
        self.outlook().present(now)
    }

    const fn outlook(&self) -> Outlook<'_> {
        Outlook { table: &Table::PEOPLE, learner: &self.learner }
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

impl Coded for Forecast {
    fn code(&mut self, codec: &mut Codec<'_>) {
        let Self { config: _, learner } = self;
        learner.code(&Table::PEOPLE, codec);
    }
}

#[cfg(test)]
mod tests;
