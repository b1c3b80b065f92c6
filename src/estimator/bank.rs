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
    pub fn merged(&self) -> Belief {
        if self.single {
            return self.calm;
        }
        mix(&self.calm, &self.moving, self.weight)
    }

    /// What each knows after a possible change of motion within the step.
    fn exchanged(&self, Step { start, stop, .. }: &Step) -> Self {
        let (moving, calm) = (self.weight, 1.0 - self.weight);
        let weight = bounded(moving * (1.0 - stop) + calm * start);
        Self {
            calm: mix(&self.calm, &self.moving, moving * stop / (1.0 - weight)),
            moving: mix(&self.calm, &self.moving, moving * (1.0 - stop) / weight),
            single: false,
            weight,
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
        Residuals {
            calm: self.calm.residual(sees, measured, noise_variance),
            moving: self.moving.residual(sees, measured, noise_variance),
            merged: self.merged().residual(sees, measured, noise_variance),
        }
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

/// Two beliefs as one, the second with weight `share`.
fn mix(one: &Belief, other: &Belief, share: f32) -> Belief {
    let (a, b) = (&one.x, &other.x);
    let (p, q) = (&one.p, &other.p);
    let apart = State { g: b.g - a.g, r: b.r - a.r, i: b.i - a.i, w: b.w - a.w };
    let spread = share * (1.0 - share);
    let both = |p: f32, q: f32, product: f32| p + share * (q - p) + spread * product;
    Belief {
        x: State {
            g: a.g + share * apart.g,
            r: a.r + share * apart.r,
            i: a.i + share * apart.i,
            w: a.w + share * apart.w,
        },
        p: Covariance {
            gg: both(p.gg, q.gg, apart.g * apart.g),
            gr: both(p.gr, q.gr, apart.g * apart.r),
            gi: both(p.gi, q.gi, apart.g * apart.i),
            gw: both(p.gw, q.gw, apart.g * apart.w),
            rr: both(p.rr, q.rr, apart.r * apart.r),
            ri: both(p.ri, q.ri, apart.r * apart.i),
            rw: both(p.rw, q.rw, apart.r * apart.w),
            ii: both(p.ii, q.ii, apart.i * apart.i),
            iw: both(p.iw, q.iw, apart.i * apart.w),
            ww: both(p.ww, q.ww, apart.w * apart.w),
        },
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
