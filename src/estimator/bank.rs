//! Two motions at once: the person is calm (fasting, asleep) or moving (a meal, insulin, exercise), and each
//! reading says which is the likelier.
//!
//! Two filters run side by side and exchange what they know before each step, weighted by how likely a
//! change from one motion to the other is. Fed a meal, the bank believes the sensor's turn within a reading
//! or two; at night it smooths hard. Source: the interacting multiple model, Blom and Bar-Shalom (1988),
//! IEEE Trans. Automatic Control 33(8), 780-783.

use super::filter::{Belief, Covariance, Residual, Sees, State};
use super::model::{Model, Step};
use crate::math;

/// A motion is never held to be less likely than this.
const LEAST: f32 = 1e-3;

/// Both beliefs and how likely the moving one is. 116 bytes.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub(super) struct Bank {
    pub calm: Belief,
    pub moving: Belief,
    /// There is one motion only: `moving` is a copy of `calm`.
    pub single: bool,
    /// The probability of the moving one, [`LEAST`] to 1 − `LEAST`.
    pub weight: f32,
}

/// What a measurement says to each of the two, and to the two taken together.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Residuals {
    pub calm: Residual,
    pub moving: Residual,
    pub merged: Residual,
}

impl Bank {
    /// Both the same, equally likely.
    pub const fn new(belief: Belief, single: bool) -> Self {
        Self { calm: belief, moving: belief, single, weight: 0.5 }
    }

    /// The two as one: their mean, and a covariance that includes how far they lie apart.
    #[inline(always)] // most of it is not asked for by most callers
    pub fn merged(&self) -> Belief {
        if self.single {
            return self.calm;
        }
        self.apart().at(self.weight)
    }

    /// What each knows after a possible change of motion within the step.
    fn exchanged(&self, Step { start, stop, .. }: &Step) -> Self {
        let (moving, calm) = (self.weight, 1.0 - self.weight);
        let weight = bounded(moving * (1.0 - stop) + calm * start);
        let apart = self.apart();
        Self {
            calm: apart.at(moving * stop / (1.0 - weight)),
            moving: apart.at(moving * (1.0 - stop) / weight),
            single: false,
            weight,
        }
    }

    #[inline(always)]
    fn apart(&self) -> Apart<'_> {
        let (p, q) = (&self.calm.p, &self.moving.p);
        Apart {
            one: &self.calm,
            x: self.moving.x.less(&self.calm.x),
            p: Covariance {
                gg: q.gg - p.gg,
                gr: q.gr - p.gr,
                gi: q.gi - p.gi,
                gw: q.gw - p.gw,
                rr: q.rr - p.rr,
                ri: q.ri - p.ri,
                rw: q.rw - p.rw,
                ii: q.ii - p.ii,
                iw: q.iw - p.iw,
                ww: q.ww - p.ww,
            },
        }
    }

    /// Moved over one step.
    pub fn predicted(&self, model: &Model, step: &Step, coloured_variance: f32) -> Self {
        if self.single {
            return Self::new(self.calm.predicted(step, model.drive, coloured_variance), true);
        }
        let from = self.exchanged(step);
        Self {
            single: false,
            calm: from.calm.predicted(step, model.drive, coloured_variance),
            moving: from.moving.predicted(step, model.moving_drive, coloured_variance),
            weight: from.weight,
        }
    }

    /// What a measurement says against what was expected.
    pub fn residuals(&self, sees: Sees, measured: f32, noise_variance: f32) -> Residuals {
        if self.single {
            let one = self.calm.residual(sees, measured, noise_variance);
            return Residuals { calm: one, moving: one, merged: one };
        }
        let calm = self.calm.residual(sees, measured, noise_variance);
        let moving = self.moving.residual(sees, measured, noise_variance);
        let merged = calm.mixed(&moving, &self.moving.x.less(&self.calm.x), self.weight);
        Residuals { calm, moving, merged }
    }

    /// Corrected by a measurement, each by its own residual; the likelier gains weight. `inflation` as in
    /// [`Belief::updated`].
    pub fn updated(&self, residuals: &Residuals, inflation: f32) -> Self {
        if self.single {
            return Self::new(self.calm.updated(&residuals.calm, inflation), true);
        }
        let (calm, moving) = (&residuals.calm, &residuals.moving);
        let square = |r: &Residual| r.innovation * r.innovation / (r.variance * inflation);
        // likelihood of moving over that of calm
        let exponent = (0.5 * (square(calm) - square(moving))).max(-40.0).min(40.0);
        let ratio = math::sqrt(calm.variance / moving.variance) * math::exp(exponent);
        let weight = self.weight * ratio / (self.weight * ratio + 1.0 - self.weight);
        Self {
            calm: self.calm.updated(calm, inflation),
            moving: self.moving.updated(moving, inflation),
            single: false,
            weight: bounded(weight),
        }
    }

    /// Every glucose moved by `mg_dl`.
    pub fn shift(&mut self, mg_dl: f32) {
        for belief in [&mut self.calm, &mut self.moving] {
            belief.x.g += mg_dl;
            belief.x.i += mg_dl;
        }
    }

    /// Whether every number is finite.
    pub fn is_finite(&self) -> bool {
        self.calm.is_finite() && self.moving.is_finite() && self.weight.is_finite()
    }
}

fn bounded(weight: f32) -> f32 {
    weight.max(LEAST).min(1.0 - LEAST)
}

/// The calm belief, and how far the moving one lies from it.
struct Apart<'a> {
    one: &'a Belief,
    x: State,
    p: Covariance,
}

impl Apart<'_> {
    /// The two as one, the moving one with weight `share`.
    #[inline(always)]
    fn at(&self, share: f32) -> Belief {
        let (x, p, dx, dp) = (&self.one.x, &self.one.p, &self.x, &self.p);
        let rest = 1.0 - share;
        let both = |p: f32, dp: f32, product: f32| p + share * (dp + rest * product);
        Belief {
            x: State {
                g: x.g + share * dx.g,
                r: x.r + share * dx.r,
                i: x.i + share * dx.i,
                w: x.w + share * dx.w,
            },
            p: Covariance {
                gg: both(p.gg, dp.gg, dx.g * dx.g),
                gr: both(p.gr, dp.gr, dx.g * dx.r),
                gi: both(p.gi, dp.gi, dx.g * dx.i),
                gw: both(p.gw, dp.gw, dx.g * dx.w),
                rr: both(p.rr, dp.rr, dx.r * dx.r),
                ri: both(p.ri, dp.ri, dx.r * dx.i),
                rw: both(p.rw, dp.rw, dx.r * dx.w),
                ii: both(p.ii, dp.ii, dx.i * dx.i),
                iw: both(p.iw, dp.iw, dx.i * dx.w),
                ww: both(p.ww, dp.ww, dx.w * dx.w),
            },
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn belief(g: f32, variance: f32) -> Belief {
        let zero = Covariance {
            gg: variance,
            gr: 0.0,
            gi: 0.0,
            gw: 0.0,
            rr: 1.0,
            ri: 0.0,
            rw: 0.0,
            ii: variance,
            iw: 0.0,
            ww: 25.0,
        };
        Belief { x: State { g, r: 0.0, i: g, w: 0.0 }, p: zero }
    }

    #[test]
    fn merging_keeps_mean_and_total_variance() {
        // law of total variance: 0.75·100 + 0.25·400 + 0.75·0.25·20²
        let bank =
            Bank { calm: belief(100.0, 100.0), moving: belief(120.0, 400.0), single: false, weight: 0.25 };
        let merged = bank.merged();
        assert!((merged.x.g - 105.0).abs() < 1e-4);
        assert!((merged.p.gg - 250.0).abs() < 1e-3);
    }

    #[test]
    fn the_residual_of_both_is_that_of_the_merged_belief() {
        let model = Model::default();
        let step = Step::new(&model, 5.0);
        let mut bank = Bank::new(belief(100.0, 100.0), false);
        for y in [100.0, 99.0, 104.0, 112.0, 125.0, 131.0] {
            bank = bank.predicted(&model, &step, 25.0);
            let got = bank.residuals(Sees::Sensor, y, 6.25);
            bank = bank.updated(&got, 1.0);
        }
        bank = bank.predicted(&model, &step, 25.0);
        for sees in [Sees::Sensor, Sees::Blood { reach: -4.0 }] {
            let got = bank.residuals(sees, 140.0, 6.25).merged;
            let want = bank.merged().residual(sees, 140.0, 6.25);
            let near = |got: f32, want: f32| assert!((got - want).abs() < 2e-3, "{got} against {want}");
            near(got.innovation, want.innovation);
            near(got.variance, want.variance);
            near(got.ph().g, want.ph().g);
            near(got.ph().r, want.ph().r);
            near(got.ph().i, want.ph().i);
            near(got.ph().w, want.ph().w);
        }
    }

    #[test]
    fn exchange_keeps_the_mixture_as_a_whole() {
        let bank =
            Bank { calm: belief(100.0, 100.0), moving: belief(120.0, 400.0), single: false, weight: 0.25 };
        let after = bank.exchanged(&Step::new(&Model::default(), 5.0)).merged();
        assert!((after.x.g - 105.0).abs() < 1e-3);
        assert!((after.p.gg - 250.0).abs() < 1e-2);
    }

    #[test]
    fn a_surprise_speaks_for_moving_and_calm_returns() {
        let model = Model::default();
        let step = Step::new(&model, 5.0);
        let mut bank = Bank::new(belief(100.0, 100.0), false);
        let mut run = |slope: f32, n: u16| {
            for k in 0..n {
                bank = bank.predicted(&model, &step, 25.0);
                let r = bank.residuals(Sees::Sensor, 100.0 + slope * f32::from(k), 6.25);
                bank = bank.updated(&r, 1.0);
            }
            bank.weight
        };
        assert!(run(0.0, 60) < 0.2);
        assert!(run(20.0, 4) > 0.9);
        assert!(run(0.0, 80) < 0.25);
    }
}
