//! The course of glucose ahead of one estimate: its mean and variance at a horizon, and a walk along it.

use super::ForecastConfig;
use super::course::{Bends, STEPS};
use crate::estimate::Estimate;
use crate::math;

/// A walk takes steps of this many minutes.
pub(super) const STEP_MIN: f32 = 5.0;

/// A moment ahead.
pub(crate) struct Point {
    pub minutes: f32,
    /// 1 − e^(−minutes/T).
    faded: f32,
    bend: f32,
}

/// An estimate made ready for several horizons. 48 bytes.
pub(crate) struct Course {
    glucose: f32,
    /// How far the fading rate moves glucose in the end.
    sweep: f32,
    bends: Bends,
    time: f32,
    /// How much of a rate is left after a step.
    kept: f32,
    variance: f32,
    /// What the variance grows by: so much times `faded`, its square, and the minutes.
    by_faded: f32,
    by_square: f32,
    by_minutes: f32,
}

impl Course {
    pub fn new(config: &ForecastConfig, estimate: &Estimate, bends: Bends) -> Self {
        let time = config.rate_time_min;
        let (variance, covariance, rate_variance) = estimate.variances();
        let driven = time * time * config.drive;
        Self {
            glucose: estimate.glucose().mg_dl(),
            sweep: time * estimate.rate().mg_dl_per_min(),
            bends,
            time,
            kept: 1.0 - math::one_minus_exp_neg(STEP_MIN / time),
            variance,
            by_faded: time * (2.0 * covariance - driven),
            by_square: time * (time * rate_variance - 0.5 * driven),
            by_minutes: driven,
        }
    }

    /// With `share` of the change, and `spread` times the growth of the variance.
    pub fn scaled(self, share: f32, spread: f32) -> Self {
        Self {
            sweep: share * self.sweep,
            bends: self.bends.scaled(share),
            by_faded: spread * self.by_faded,
            by_square: spread * self.by_square,
            by_minutes: spread * self.by_minutes,
            ..self
        }
    }

    /// Glucose now.
    pub const fn glucose(&self) -> f32 {
        self.glucose
    }

    pub fn mean(&self, at: &Point) -> f32 {
        self.glucose + self.change(at)
    }

    pub fn change(&self, at: &Point) -> f32 {
        self.sweep * at.faded + at.bend
    }

    /// What is unsure now, what comes with the rate as far as it reaches, T·f with f = 1 − e^(−h/T), and what
    /// happens in between: drive times ∫ T²(1 − e^(−s/T))² ds over 0..h, which is T²(h − T·f − T·f²/2).
    pub fn variance(&self, at: &Point) -> f32 {
        let grown = at.faded * (self.by_faded + at.faded * self.by_square) + self.by_minutes * at.minutes;
        self.variance + grown.max(0.0)
    }

    /// Any moment, by its own exponential.
    pub fn point(&self, minutes: f32) -> Point {
        Point { minutes, faded: math::one_minus_exp_neg(minutes / self.time), bend: self.bends.at(minutes) }
    }

    /// Every [`STEP_MIN`] from now on, without end.
    pub fn walk(&self) -> impl Iterator<Item = Point> {
        let mut pieces = self.bends.steps().into_iter();
        let (mut minutes, mut left, mut bend) = (0.0, 1.0, 0.0);
        let (mut step, mut to_come) = (0.0, 0);
        core::iter::from_fn(move || {
            let point = Point { minutes, faded: 1.0 - left, bend };
            if to_come == 0 {
                (step, to_come) = (pieces.next().unwrap_or(0.0), STEPS);
            }
            to_come = to_come.saturating_sub(1);
            minutes += STEP_MIN;
            left *= self.kept;
            bend += step;
            Some(point)
        })
    }
}

/// Looks for the first crossing of a threshold along a walk.
pub(super) struct Crossing {
    threshold: f32,
    falling: bool,
    /// The last moment and how far it lay on the near side.
    before: (f32, f32),
    pub found: Option<f32>,
}

impl Crossing {
    pub const fn new(threshold: f32, falling: bool) -> Self {
        Self { threshold, falling, before: (0.0, 0.0), found: None }
    }

    /// Glucose is `mean` after `minutes`; between two moments it goes straight.
    pub fn step(&mut self, minutes: f32, mean: f32) {
        if self.found.is_some() {
            return;
        }
        let left = if self.falling { mean - self.threshold } else { self.threshold - mean };
        let (then, left_then) = self.before;
        if left > 0.0 {
            self.before = (minutes, left);
        } else if left_then > 0.0 {
            self.found = Some(then + (minutes - then) * left_then / (left_then - left));
        } else {
            self.found = Some(minutes); // there already
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::Instant;

    #[test]
    fn a_share_scales_the_change_and_a_spread_what_the_variance_grows_by() {
        let config = ForecastConfig::default();
        let estimate =
            Estimate::from_filter(Instant::from_secs(0), (180.0, 1.5, -0.7), (-12.0, 0.8), (49.0, 2.0, 0.4));
        let plain = Course::new(&config, &estimate, Bends::of(&estimate));
        let scaled = Course::new(&config, &estimate, Bends::of(&estimate)).scaled(0.5, 3.0);
        for minutes in [5.0, 30.0, 120.0] {
            let at = [plain.point(minutes), scaled.point(minutes)];
            assert!((scaled.change(&at[1]) / plain.change(&at[0]) - 0.5).abs() < 1e-4, "{minutes}");
            let grown = [plain.variance(&at[0]) - 49.0, scaled.variance(&at[1]) - 49.0];
            assert!((grown[1] / grown[0] - 3.0).abs() < 1e-3, "{minutes}: {grown:?}");
        }
    }

    #[test]
    fn a_crossing_lies_where_the_line_between_two_moments_does() {
        for (threshold, falling, course) in
            [(70.0, true, [80.0, 72.0, 67.0, 60.0]), (180.0, false, [170.0, 178.0, 183.0, 190.0])]
        {
            let mut crossing = Crossing::new(threshold, falling);
            crossing.step(0.0, course[0]);
            crossing.step(5.0, course[1]);
            assert_eq!(crossing.found, None);
            crossing.step(10.0, course[2]); // 2 short of it, then 3 beyond
            crossing.step(15.0, course[3]);
            assert_eq!(crossing.found, Some(7.0));
            let mut there = Crossing::new(threshold, falling);
            there.step(0.0, threshold);
            assert_eq!(there.found, Some(0.0));
        }
    }
}
