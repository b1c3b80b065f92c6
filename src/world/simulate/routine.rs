//! How a person lives with diabetes: when they eat, what they inject, and what they get wrong.
//!
//! Every figure here is invented, within common practice, so that the glucose that comes out looks like
//! that of people with type 1 diabetes (see `tests/simulated_people.rs` for what that means).

use super::Random;

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
    /// Plasma glucose at which the next low is noticed, mg/dL.
    noticed_at: f32,
    last_minute: f32,
}

impl Routine {
    pub fn new(random: &mut Random) -> Self {
        Self {
            misjudgement: random.between(0.35, 0.65),
            habit: (0.95 + 0.10 * random.normal()).clamp(0.7, 1.3),
            meals: [Meal::default(); 5],
            exercise_at: None,
            since_sugar: 1e3,
            since_bolus: 1e3,
            noticed_at: 62.0,
            // so that the first minute begins a day
            last_minute: f32::MAX,
        }
    }

    fn plan_day(&mut self, minute: f32, random: &mut Random) {
        for (meal, (usual_at, usual_grams, probability)) in self.meals.iter_mut().zip(MEALS) {
            let at = usual_at + 35.0 * random.normal();
            let grams = usual_grams * (1.0 + 0.35 * random.normal()).clamp(0.3, 2.0);
            let eaten = random.happens(probability) && at > minute;
            let injected = !random.happens(if usual_grams < 30.0 { 0.30 } else { 0.06 });
            // a little early or late, and now and then remembered only when glucose is up
            let mut delay = 3.0 + 10.0 * random.normal();
            if random.happens(0.12) {
                delay = random.between(25.0, 75.0);
            }
            *meal = Meal {
                at: if eaten { at } else { f32::MAX },
                grams,
                bolus_at: (eaten && injected).then_some((at + delay).min(1439.0)),
            };
        }
        let when = if random.happens(0.5) { 1050.0 } else { 600.0 };
        let at = when + 60.0 * random.normal();
        self.exercise_at = random.happens(0.35).then_some(at);
    }

    /// One minute of life, or `d` of one, at `minute` of the day.
    pub fn live(
        &mut self,
        minute: f32,
        d: f32,
        plasma: f32,
        ratios: &Ratios,
        treat_at: f32,
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
        if plasma > 220.0 && self.since_bolus > 150.0 && random.happens(look) {
            deed.bolus += 0.75 * self.habit * (plasma - 120.0) / ratios.drop_per_unit;
            self.since_bolus = 0.0;
        }

        // sugar for a low, sooner by day than by night
        let notice = if asleep { d / 8.0 } else { d / 3.0 };
        if plasma < self.noticed_at + (treat_at - 62.0) && self.since_sugar > 15.0 && random.happens(notice) {
            deed.sugar = 15.0 * random.between(0.8, 1.5);
            self.since_sugar = 0.0;
            self.noticed_at = 62.0 + 5.0 * random.normal();
        }

        if self.exercise_at.is_some_and(|at| minute >= at) {
            self.exercise_at = None;
            deed.exercise = Some((random.between(25.0, 75.0), random.between(0.3, 1.0)));
        }
        deed
    }
}
