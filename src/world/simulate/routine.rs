//! How a person lives with diabetes: when they eat, what they inject, and what they get wrong.
//!
//! Every figure here is invented, within common practice, so that the glucose that comes out looks like
//! that of people with type 1 diabetes (see `tests/simulated_people.rs` for what that means).

use super::random::Random;
use crate::units::Glucose;

/// How lives differ from each other and from one day to the next.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Life {
    /// How far carbohydrate is misjudged, from and to over people: the spread of the judged share.
    pub misjudged: [f32; 2],
    /// The lasting habit of injecting more or less than needed: mean and standard deviation over people.
    pub habit: [f32; 2],
    /// How much is eaten, as a share of the usual: mean and standard deviation over people.
    pub meals: [f32; 2],
    /// Plasma glucose at which lows are treated.
    pub treat_at: Glucose,
    /// How far over it one is noticed: mean and standard deviation, mg/dL.
    pub noticed: [f32; 2],
    /// Minutes until it is, by day and by night.
    pub notice: [f32; 2],
    /// Sugar taken for it, shares of 15 g from and to.
    pub sugar: [f32; 2],
    /// Unexplained glucose: standard deviation, mmol/kg/min, and for how many minutes it is remembered.
    pub flux: [f32; 2],
    /// Standard deviation of the logarithm of that over people.
    pub restless: f32,
}

impl Life {
    /// Smooth: what was first invented, by a look at curves.
    pub const SMOOTH: Self = Self {
        misjudged: [0.35, 0.65],
        habit: [0.95, 0.10],
        meals: [1.0, 0.0],
        treat_at: Glucose::clamped(62.0),
        noticed: [0.0, 5.0],
        notice: [3.0, 8.0],
        sugar: [0.8, 1.5],
        flux: [0.0026, 15.0],
        restless: 0.0,
    };

    /// Found by a search so that the statistics come out as they do on recorded people: `rank FOLDER` prints them beside
    /// each other.
    pub const LIFELIKE: Self = Self {
        misjudged: [0.11, 0.22],
        habit: [0.95, 0.13],
        meals: [0.75, 0.18],
        treat_at: Glucose::clamped(64.0),
        noticed: [0.0, 5.2],
        notice: [1.5, 9.6],
        sugar: [0.85, 2.0],
        flux: [0.0115, 5.0],
        restless: 0.36,
    };
}

/// What a person has learned about their own body.
#[derive(Clone, Copy, Debug)]
pub(super) struct Ratios {
    /// Carbohydrate that one unit covers.
    pub grams_per_unit: f32,
    /// How far one unit brings glucose down, mg/dL.
    pub drop_per_unit: f32,
}

/// What a person does in a minute.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Deed {
    /// Grams eaten and minutes to the peak of their absorption.
    pub meal: Option<(f32, f32)>,
    /// Grams of fast sugar.
    pub sugar: f32,
    /// Insulin injected, units.
    pub bolus: f32,
    /// Minutes of exercise begun and their intensity.
    pub exercise: Option<(f32, f32)>,
}

/// A meal of the day: when, how much, how probable; minutes and grams.
const MEALS: [(f32, f32, f32); 5] =
    [(450.0, 45.0, 0.92), (630.0, 18.0, 0.30), (760.0, 60.0, 0.97), (960.0, 22.0, 0.45), (1150.0, 70.0, 1.0)];

#[derive(Clone, Copy, Debug, Default)]
struct Meal {
    at: f32,
    grams: f32,
    /// When insulin is injected for it, if at all.
    bolus_at: Option<f32>,
}

/// A person's days.
#[derive(Clone, Debug)]
pub(super) struct Routine {
    /// How well carbohydrate is judged: the spread of the judged share.
    misjudgement: f32,
    /// The person's lasting habit of injecting more or less than needed.
    habit: f32,
    meals: [Meal; 5],
    exercise_at: Option<f32>,
    /// Minutes since the last sugar, and since the last insulin.
    since_sugar: f32,
    since_bolus: f32,
    /// How far over the level at which lows are treated the next one is noticed, mg/dL.
    noticed_at: f32,
    last_minute: f32,
    /// How much is eaten, as a share of the usual.
    appetite: f32,
}

impl Routine {
    pub fn new(life: &Life, random: &mut Random) -> Self {
        let [least, most] = life.misjudged;
        let [habit, habits] = life.habit;
        Self {
            misjudgement: random.between(least, most),
            habit: (habit + habits * random.normal()).clamp(0.7, 1.3),
            meals: [Meal::default(); 5],
            exercise_at: None,
            since_sugar: 1e3,
            since_bolus: 1e3,
            noticed_at: 0.0,
            appetite: 1.0,
            // so that the first minute begins a day
            last_minute: f32::MAX,
        }
    }

    /// Draws what makes this person another than the usual one.
    pub fn differ(&mut self, life: &Life, random: &mut Random) {
        let [mean, spread] = life.meals;
        self.appetite = (mean + spread * random.normal()).clamp(0.3, 2.0);
    }

    fn plan_day(&mut self, minute: f32, random: &mut Random) {
        for (meal, (usual_at, usual_grams, probability)) in self.meals.iter_mut().zip(MEALS) {
            let at = usual_at + 35.0 * random.normal();
            let grams = self.appetite * usual_grams * (1.0 + 0.35 * random.normal()).clamp(0.3, 2.0);
            let eaten = random.bernoulli(probability) && at > minute;
            let injected = !random.bernoulli(if usual_grams < 30.0 { 0.30 } else { 0.06 });
            // a little early or late, and now and then remembered only when glucose is up
            let mut delay = 3.0 + 10.0 * random.normal();
            if random.bernoulli(0.12) {
                delay = random.between(25.0, 75.0);
            }
            *meal = Meal {
                at: if eaten { at } else { f32::MAX },
                grams,
                bolus_at: (eaten && injected).then_some((at + delay).min(1439.0)),
            };
        }
        let when = if random.bernoulli(0.5) { 1050.0 } else { 600.0 };
        let at = when + 60.0 * random.normal();
        self.exercise_at = random.bernoulli(0.35).then_some(at);
    }

    /// One minute of life, or `d` of one, at `minute` of the day.
    pub fn live(
        &mut self,
        minute: f32,
        d: f32,
        plasma: f32,
        ratios: &Ratios,
        life: &Life,
        random: &mut Random,
    ) -> Deed {
        if minute < self.last_minute {
            self.plan_day(minute - d, random);
        }
        self.last_minute = minute;
        self.since_sugar += d;
        self.since_bolus += d;
        let mut deed = Deed::default();
        let asleep = !(390.0..1380.0).contains(&minute);

        for meal in &mut self.meals {
            if minute >= meal.at {
                meal.at = f32::MAX;
                deed.meal = Some((meal.grams, (48.0 + 16.0 * random.normal()).clamp(20.0, 90.0)));
            }
            if meal.bolus_at.is_some_and(|at| minute >= at) {
                meal.bolus_at = None;
                let judged = meal.grams * (1.0 + self.misjudgement * random.normal()).clamp(0.2, 2.0);
                let correction = ((plasma - 130.0) / ratios.drop_per_unit).max(-1.0);
                let fresh = if self.since_bolus > 180.0 { 0.6 } else { 0.15 };
                deed.bolus +=
                    (self.habit * (judged / ratios.grams_per_unit + fresh * correction)).clamp(0.0, 30.0);
                self.since_bolus = 0.0;
            }
        }

        // a look at the display now and then, and insulin when it is high
        let look = if asleep { d / 600.0 } else { d / 120.0 } * if plasma > 280.0 { 4.0 } else { 1.0 };
        if plasma > 220.0 && self.since_bolus > 150.0 && random.bernoulli(look) {
            deed.bolus += 0.75 * self.habit * (plasma - 120.0) / ratios.drop_per_unit;
            self.since_bolus = 0.0;
        }

        // sugar for a low, sooner by day than by night
        let [by_day, by_night] = life.notice;
        let notice = if asleep { d / by_night } else { d / by_day };
        if plasma < self.noticed_at + life.treat_at.mg_dl()
            && self.since_sugar > 15.0
            && random.bernoulli(notice)
        {
            let ([least, most], [noticed, spread]) = (life.sugar, life.noticed);
            deed.sugar = 15.0 * random.between(least, most);
            self.since_sugar = 0.0;
            self.noticed_at = noticed + spread * random.normal();
        }

        if self.exercise_at.is_some_and(|at| minute >= at) {
            self.exercise_at = None;
            deed.exercise = Some((random.between(25.0, 75.0), random.between(0.3, 1.0)));
        }
        deed
    }
}
