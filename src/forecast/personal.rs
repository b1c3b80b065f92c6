//! What comes true in this person: how far the foreseen changes go, and how far off they are.
//!
//! A forecast made half an hour ago is held against what came. Two numbers are learned: the share of the
//! foreseen change that came (some people's glucose turns sooner than the usual course says), and the ratio of
//! the error's variance to the foreseen one. Both start at 1 with the weight of about a day's readings.
//! Recursive least squares with forgetting, one regressor; textbook.

use crate::units::{Instant, Span};

/// A forecast is judged when it is this old, minutes, give or take [`WITHIN_MIN`].
pub(super) const JUDGED_MIN: f32 = 30.0;
const WITHIN_MIN: f32 = 3.0;

/// Forecasts closer together than this are not kept apart.
const SPACING: Span = Span::from_secs(270);

/// How long is remembered, minutes: two weeks.
const MEMORY_MIN: f32 = 20_160.0;

/// The weight of the prior: the sum of squared changes of about a day, (mg/dL)².
const PRIOR_SQUARES: f32 = 8e4;
/// The weight of the prior of the variance's ratio, in forecasts.
const PRIOR_COUNT: f32 = 200.0;

/// A forecast waiting for what comes. 16 bytes.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
struct Waiting {
    at: Instant,
    glucose: f32,
    change: f32,
    variance: f32,
}

/// 180 bytes.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub(super) struct Personal {
    /// Σ foreseen², Σ foreseen·came, forgetting.
    squares: f32,
    products: f32,
    /// Σ error² / foreseen variance, and how many, forgetting.
    errors: f32,
    count: f32,
    waiting: [Option<Waiting>; 8],
}

impl Personal {
    pub const fn new() -> Self {
        Self {
            squares: PRIOR_SQUARES,
            products: PRIOR_SQUARES,
            errors: PRIOR_COUNT,
            count: PRIOR_COUNT,
            waiting: [None; 8],
        }
    }

    /// The share of a foreseen change that comes true, 0.05 to 1.3.
    pub fn share(&self) -> f32 {
        (self.products / self.squares).max(0.05).min(1.3)
    }

    /// What to multiply the foreseen variance by, 0.25 to 4.
    pub fn spread(&self) -> f32 {
        (self.errors / self.count).max(0.25).min(4.0)
    }

    /// Glucose is `glucose` at `at`: forecasts of half an hour ago are judged by it. Then keeps the forecast of
    /// `change` with `variance` for half an hour on.
    pub fn learn(&mut self, at: Instant, glucose: f32, change: f32, variance: f32) {
        let newest = self.waiting.iter().flatten().map(|w| w.at).max();
        if newest.is_some_and(|newest| at <= newest) {
            return;
        }
        let mut due = None;
        for place in &mut self.waiting {
            let Some(waiting) = *place else { continue };
            let age = at.since(waiting.at).mins();
            if age > JUDGED_MIN + WITHIN_MIN {
                *place = None;
            } else if age >= JUDGED_MIN - WITHIN_MIN {
                *place = None;
                due = Some(waiting);
            }
        }
        if let Some(waiting) = due {
            let since = newest.map_or(5.0, |newest| at.since(newest).mins().min(30.0));
            self.judge(&waiting, glucose, since);
        }
        if newest.is_none_or(|newest| at.since(newest) >= SPACING)
            && let Some(place) = self.waiting.iter_mut().find(|place| place.is_none())
        {
            *place = Some(Waiting { at, glucose, change, variance });
        }
    }

    fn judge(&mut self, waiting: &Waiting, glucose: f32, minutes: f32) {
        // e^(−x) for an x under 0.002: to the last bit
        let x = minutes / MEMORY_MIN;
        let keep = 1.0 - x * (1.0 - 0.5 * x);
        let came = (glucose - waiting.glucose).max(-120.0).min(120.0);
        let foreseen = waiting.change.max(-80.0).min(80.0);
        self.squares = keep * self.squares + foreseen * foreseen;
        self.products = keep * self.products + foreseen * came;
        let error = came - self.share() * foreseen;
        self.errors = keep * self.errors + (error * error / waiting.variance.max(1.0)).min(16.0);
        self.count = keep * self.count + 1.0;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A person in whom `share` of what is foreseen comes, for `days`.
    fn lived(share: f32, days: u32, every: u32) -> Personal {
        let mut personal = Personal::new();
        let mut level = [100.0_f32; 8];
        for k in 0..days * 1440 / every {
            // a change of ±20 is foreseen in turn, and a share of it is there half an hour later
            let foreseen = if k % 16 < 8 { 20.0 } else { -20.0 };
            let now = level[0];
            personal.learn(Instant::from_secs(k * every * 60), now, foreseen, 100.0);
            level.rotate_left(1);
            level[(30 / every - 1) as usize] = now + share * foreseen;
        }
        personal
    }

    #[test]
    #[cfg_attr(miri, ignore = "too slow")]
    fn the_share_is_learned_at_any_spacing() {
        assert!((Personal::new().share() - 1.0).abs() < 1e-6);
        for every in [5, 10, 15] {
            let share = lived(0.5, 14, every).share();
            assert!((share - 0.5).abs() < 0.1, "{every}: {share}");
        }
    }

    #[test]
    #[cfg_attr(miri, ignore = "too slow")]
    fn exact_forecasts_narrow_the_spread_and_bounds_hold() {
        assert!(lived(1.0, 14, 5).spread() < 0.5);
        let wild = lived(-5.0, 14, 5);
        assert!((wild.share() - 0.05).abs() < 1e-6 && wild.spread() <= 4.0);
    }

    #[test]
    fn time_that_does_not_advance_teaches_nothing() {
        let mut personal = lived(0.5, 2, 5);
        let before = personal;
        personal.learn(Instant::from_secs(0), 400.0, -80.0, 1.0);
        assert_eq!(personal, before);
    }

    /// One forecast judged by hand in double precision: the prior fades by e^(−minutes/20160) and one term is added.
    #[test]
    fn one_judgement_moves_share_and_spread_as_the_sums_say() {
        for (change, came, variance, share, spread) in [
            (20.0, 10.0, 100.0, 0.997_508_75, 0.999_950_5),
            (200.0, -300.0, 100.0, 0.814_559_5, 1.074_737_4), // no more than 80 and −120 count, and 4 sigma
            (-20.0, 10.0, 0.5, 0.992_526_3, 1.074_737_4),
        ] {
            let mut personal = Personal::new();
            personal.learn(Instant::from_secs(0), 400.0, change, variance);
            personal.learn(Instant::from_secs(1800), 400.0 + came, 0.0, 100.0);
            assert!((personal.share() - share).abs() < 1e-6, "share {}", personal.share());
            assert!((personal.spread() - spread).abs() < 1e-6, "spread {}", personal.spread());
        }
    }

    #[test]
    fn what_was_learned_fades_over_two_weeks() {
        let mut personal = Personal::new();
        personal.learn(Instant::from_secs(0), 100.0, 0.0, 100.0);
        personal.learn(Instant::from_secs(1800), 100.0, 0.0, 100.0);
        assert!((personal.squares - 79_881.04).abs() < 0.03, "{}", personal.squares); // 80,000 e^(−30/20160)
    }

    #[test]
    fn a_forecast_is_judged_between_27_and_33_minutes() {
        for (seconds, judged) in [(1619, false), (1620, true), (1980, true), (1981, false)] {
            let mut personal = Personal::new();
            personal.learn(Instant::from_secs(0), 100.0, 20.0, 100.0);
            personal.learn(Instant::from_secs(seconds), 110.0, 0.0, 100.0);
            assert_eq!(personal.share() < 1.0, judged, "{seconds}");
        }
    }

    #[test]
    fn forecasts_are_kept_four_and_a_half_minutes_apart() {
        for (seconds, kept) in [(269, 1), (270, 2)] {
            let mut personal = Personal::new();
            personal.learn(Instant::from_secs(0), 100.0, 20.0, 100.0);
            personal.learn(Instant::from_secs(seconds), 100.0, 20.0, 100.0);
            assert_eq!(personal.waiting.iter().flatten().count(), kept);
        }
    }
}
