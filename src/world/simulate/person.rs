//! A person with type 1 diabetes.

use super::body::{Body, Conditions, State};
use super::noise::Wander;
use super::random::Random;
use super::routine::{Life, Ratios, Routine};
use super::truth::{Truth, minute_of_day};
use crate::error::{Error, in_range};
use crate::math;
use crate::units::{Glucose, Instant, MG_DL_PER_MMOL_L, Rate, Span};

/// How a [`Person`] lives.
///
/// In a file (feature `serde`) it is a table: `base` (`"smooth"`, which is [`DEFAULT`](Self::DEFAULT), or `"lifelike"`),
/// `start`, `routine`, `wander`, `resting_glucose` and `treats_lows_at`. A key left out is the base's.
///
/// # Examples
/// ```
/// use glidepath::{Glucose, Span};
/// use glidepath::simulate::{Person, PersonConfig};
/// // nothing happens to this one: at rest at 110 mg/dL
/// let still = PersonConfig::DEFAULT.without_routine().with_variability(0.0)?.with_resting_glucose(Glucose::from_mg_dl(110.0)?)?;
/// let later = Person::new(1, still).step(Span::from_mins(60));
/// assert!((later.plasma().mg_dl() - 110.0).abs() < 15.0);
/// # Ok::<(), glidepath::Error>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PersonConfig {
    pub(super) start: Instant,
    pub(super) routine: bool,
    pub(super) wander: f32,
    pub(super) resting: Glucose,
    pub(super) life: Life,
}

impl PersonConfig {
    /// Lives a routine of meals, insulin and exercise from midnight on, more smoothly than people do; takes sugar at
    /// about 62 mg/dL.
    pub const DEFAULT: Self = Self {
        start: Instant::from_secs(0),
        routine: true,
        wander: 1.0,
        resting: Glucose::clamped(130.0),
        life: Life::SMOOTH,
    };

    /// Lives so that the readings of a [`SensorModel::LIFELIKE`](super::SensorModel::LIFELIKE) have the statistics of
    /// those of recorded people: rates that turn sooner, lows seen and treated sooner, people less alike. Takes sugar at
    /// about 64 mg/dL.
    pub const LIFELIKE: Self =
        Self { resting: Glucose::clamped(117.0), life: Life::LIFELIKE, ..Self::DEFAULT };

    /// The same beginning at `start`; the time of day is that of an epoch that began at midnight.
    #[must_use]
    pub const fn with_start(self, start: Instant) -> Self {
        Self { start, ..self }
    }

    /// The same without meals, insulin, exercise and sugar by themselves: only what is called for happens.
    #[must_use]
    pub const fn without_routine(self) -> Self {
        Self { routine: false, ..self }
    }

    /// The same with `scale` (0 to 3) times the usual wandering of sensitivity and of unexplained glucose; 0
    /// makes what follows depend on meals, insulin and exercise alone.
    ///
    /// # Errors
    /// When outside that range.
    pub const fn with_variability(self, scale: f32) -> Result<Self, Error> {
        match in_range("wander", scale, 0.0, 3.0) {
            Ok(wander) => Ok(Self { wander, ..self }),
            Err(error) => Err(error),
        }
    }

    /// The same taking sugar at about `glucose`.
    #[must_use]
    pub const fn treating_lows_at(self, glucose: Glucose) -> Self {
        Self { life: Life { treat_at: glucose, ..self.life }, ..self }
    }

    /// The same beginning at rest at `glucose`, which the basal insulin also aims at; 70 to 200 mg/dL.
    ///
    /// # Errors
    /// When outside that range.
    pub const fn with_resting_glucose(self, glucose: Glucose) -> Result<Self, Error> {
        match in_range("resting_glucose", glucose.mg_dl(), 70.0, 200.0) {
            Ok(_) => Ok(Self { resting: glucose, ..self }),
            Err(error) => Err(error),
        }
    }
}

impl Default for PersonConfig {
    fn default() -> Self {
        Self::DEFAULT
    }
}

/// A person with type 1 diabetes who does not exist: a body by a published model, drawn from `seed`, and a
/// way of living with it. About 400 bytes; a simulated minute takes some hundreds of floating-point
/// operations.
///
/// # Source
/// R. Hovorka et al., Physiol Meas 25:905, 2004: structure and mean constants (from memory). The differences
/// between people, the routine, wandering sensitivity and exercise are inventions of ours, set so that the
/// glucose looks real: see the realism check of the crate's tests.
///
/// # Examples
/// A scripted breakfast, too late an injection:
/// ```
/// use glidepath::Span;
/// use glidepath::simulate::{Person, PersonConfig};
/// let mut person = Person::new(4, PersonConfig::DEFAULT.without_routine().with_variability(0.0)?);
/// person.eat(60.0);
/// let half_an_hour = person.step(Span::from_mins(30));
/// person.inject(60.0 / person.grams_per_unit());
/// let later = person.step(Span::from_mins(30));
/// assert!(later.plasma() > half_an_hour.plasma());
/// # Ok::<(), glidepath::Error>(())
/// ```
#[derive(Clone, Debug)]
pub struct Person {
    config: PersonConfig,
    body: Body,
    state: State,
    now: Conditions,
    ratios: Ratios,
    routine: Routine,
    /// Of sensitivity over hours and over days, and of unexplained glucose.
    hours: Wander,
    days: Wander,
    flux: Wander,
    /// Rise of the liver's output towards morning.
    dawn: f32,
    /// How large unexplained glucose is in this person, as a share of the usual.
    restless: f32,
    /// Minutes of exercise left.
    exercise: f32,
    at: Instant,
    random: Random,
}

impl Person {
    /// The person of `seed`, at rest.
    #[must_use]
    pub fn new(seed: u64, config: PersonConfig) -> Self {
        let mut random = Random::new(seed, 0);
        let body = draw_body(&mut random);
        let resting = config.resting.mmol_l();
        let (state, basal) = State::at_rest(&body, resting);
        let now = Conditions {
            basal: basal * (1.0 + 0.03 * random.normal()).clamp(0.7, 1.3),
            sensitivity: 1.0,
            liver: 1.0,
            flux: 0.0,
            meal_peak: 40.0,
            exercise: 0.0,
        };
        let now = if config.routine { now } else { Conditions { basal, ..now } };
        let mut person = Self {
            config,
            body,
            state,
            now,
            ratios: learn_ratios(&body, &Conditions { basal, ..now }, resting),
            routine: Routine::new(&config.life, &mut random),
            hours: Wander::new(&mut random),
            days: Wander::new(&mut random),
            flux: Wander::new(&mut random),
            dawn: (0.10 + 0.10 * random.normal()).clamp(0.0, 0.4),
            restless: 1.0,
            exercise: 0.0,
            at: config.start,
            random,
        };
        person.differ(seed);
        person
    }

    /// Draws what makes this person another than the usual one, from a stream of its own.
    fn differ(&mut self, seed: u64) {
        let mut random = Random::new(seed, 1);
        self.routine.differ(&self.config.life, &mut random);
        self.restless = math::exp_fine(self.config.life.restless * random.normal().clamp(-2.0, 2.0));
    }

    /// Lets `span` pass, a minute at a time; a negative one counts as none.
    pub fn step(&mut self, span: Span) -> Truth {
        let mut left = span.secs();
        while left > 0 {
            let piece = Span::from_secs(left.min(60));
            self.advance(piece.mins());
            self.at = self.at.plus(piece);
            left = left.saturating_sub(piece.secs());
        }
        self.truth()
    }

    /// The person as they are now.
    #[must_use]
    pub fn truth(&self) -> Truth {
        let plasma = self.state.plasma(&self.body) * MG_DL_PER_MMOL_L;
        let rate = self.state.rate(&self.body, &self.now) * MG_DL_PER_MMOL_L;
        Truth::new(self.at, Glucose::clamped(plasma), Rate::clamped(rate))
    }

    /// Eats a mixed meal of `grams` of carbohydrate, 0 to 500; anything else changes nothing.
    pub fn eat(&mut self, grams: f32) {
        if (0.0..=500.0).contains(&grams) {
            self.state.eat(&self.body, grams, false);
        }
    }

    /// Takes `grams` of fast sugar, 0 to 500; anything else changes nothing.
    pub fn take_sugar(&mut self, grams: f32) {
        if (0.0..=500.0).contains(&grams) {
            self.state.eat(&self.body, grams, true);
        }
    }

    /// Injects `units` of insulin, 0 to 100; anything else changes nothing.
    pub fn inject(&mut self, units: f32) {
        if (0.0..=100.0).contains(&units) {
            self.state.inject(units);
        }
    }

    /// Exercises for `span`, with an intensity from 0 to 1; anything else changes nothing.
    pub fn exercise(&mut self, span: Span, intensity: f32) {
        if (0.0..=1.0).contains(&intensity) && span > Span::ZERO {
            self.exercise = span.mins();
            self.now.exercise = intensity;
        }
    }

    /// The carbohydrate, grams, that one unit of insulin covers at rest.
    #[must_use]
    pub const fn grams_per_unit(&self) -> f32 {
        self.ratios.grams_per_unit
    }

    /// How far one unit of insulin brings glucose down at rest, mg/dL.
    #[must_use]
    pub const fn drop_per_unit_mg_dl(&self) -> f32 {
        self.ratios.drop_per_unit
    }

    fn advance(&mut self, d: f32) {
        let minute = minute_of_day(self.at);
        if self.config.routine {
            let plasma = self.state.plasma(&self.body) * MG_DL_PER_MMOL_L;
            let deed =
                self.routine.live(minute, d, plasma, &self.ratios, &self.config.life, &mut self.random);
            if let Some((grams, peak)) = deed.meal {
                self.now.meal_peak = peak;
                self.eat(grams);
            }
            if deed.sugar > 0.0 {
                self.take_sugar(deed.sugar);
            }
            if deed.bolus > 0.0 {
                self.inject(deed.bolus);
            }
            if let Some((minutes, intensity)) = deed.exercise {
                self.exercise = minutes;
                self.now.exercise = intensity;
            }
        }
        let scale = self.config.wander;
        let hours = self.hours.step(d, 240.0, &mut self.random);
        let days = self.days.step(d, 2880.0, &mut self.random);
        let [flux_sd, flux_time] = self.config.life.flux;
        let flux = self.flux.step(d, flux_time, &mut self.random);
        self.now.sensitivity = math::exp_fine(scale * (0.12 * hours + 0.08 * days));
        self.now.flux = scale * self.restless * flux_sd * flux;
        // up from 2:00, back down by 10:00
        let morning = ((minute - 120.0) / 480.0).clamp(0.0, 1.0);
        self.now.liver = 1.0 + scale * self.dawn * 4.0 * morning * (1.0 - morning);
        self.state.step(&self.body, &self.now, d);
        self.exercise -= d;
        if self.exercise <= 0.0 {
            self.now.exercise = 0.0;
        }
    }
}

/// A body near the mean: spreads in the order of the model's authors', and of ours.
fn draw_body(random: &mut Random) -> Body {
    let mut spread = |share: f32| math::exp_fine(share * random.normal().clamp(-2.5, 2.5));
    let mean = Body::MEAN;
    let whole = spread(0.25);
    let [t, d, l] = mean.sensitivity;
    Body {
        weight: mean.weight * spread(0.16),
        glucose_volume: mean.glucose_volume * spread(0.10),
        insulin_volume: mean.insulin_volume * spread(0.08),
        basal_uptake: mean.basal_uptake * spread(0.10),
        liver: mean.liver * spread(0.10),
        exchange: mean.exchange * spread(0.15),
        action_rate: mean.action_rate.map(|rate| rate * spread(0.15)),
        sensitivity: [t * whole * spread(0.15), d * whole * spread(0.15), l * whole * spread(0.15)],
        clearance: mean.clearance * spread(0.10),
        insulin_peak: mean.insulin_peak * spread(0.15),
        bioavailability: mean.bioavailability,
    }
}

/// What somebody finds out about their body in years: by trial on the body at rest, five hours a time.
fn learn_ratios(body: &Body, rest: &Conditions, resting: f32) -> Ratios {
    let after = |grams: f32, units: f32, start: f32| {
        let (mut state, _) = State::at_rest(body, start);
        state.eat(body, grams, false);
        state.inject(units);
        for _ in 0..300 {
            state.step(body, rest, 1.0);
        }
        state.plasma(body)
    };
    let start = resting.max(8.0);
    let drop = (after(0.0, 0.0, start) - after(0.0, 1.0, start)).max(0.2);
    let (mut low, mut high) = (0.5_f32, 60.0_f32);
    let aim = after(0.0, 0.0, resting);
    for _ in 0..12 {
        let middle = 0.5 * (low + high);
        if after(50.0, 50.0 / middle, resting) > aim { high = middle } else { low = middle }
    }
    Ratios { grams_per_unit: 0.5 * (low + high), drop_per_unit: drop * MG_DL_PER_MMOL_L }
}
