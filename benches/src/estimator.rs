//! The library's own filter step, apart from all that `Estimator` does around it: its private files, so that the same
//! work is held against the same work.
#![allow(dead_code, reason = "only the step is called")]

#[path = "../../src/live/estimator/filter.rs"]
mod filter;
#[path = "../../src/live/estimator/model.rs"]
mod model;

use crate::Answer;
use filter::{Belief, Covariance, Sees, State};
use model::{Model, Step};

/// The person and the sensor of every filter here.
fn model() -> Model {
    Model::linear()
}

/// The variance of the white error.
pub const NOISE: f32 = 2.5 * 2.5;

/// F and Q of a step of five minutes, as a general filter takes them: states g, r, i, w.
pub fn matrices() -> ([[f32; 4]; 4], [[f32; 4]; 4]) {
    let (m, s) = (model(), Step::new(&model(), 5.0));
    let q = |unit: f32| m.process_noise * unit;
    (
        [[1.0, s.g_r, 0.0, 0.0], [0.0, s.r_r, 0.0, 0.0], [s.i_g, s.i_r, s.i_i, 0.0], [0.0, 0.0, 0.0, s.w_w]],
        [
            [q(s.q_gg), q(s.q_gr), q(s.q_gi), 0.0],
            [q(s.q_gr), q(s.q_rr), q(s.q_ri), 0.0],
            [q(s.q_gi), q(s.q_ri), q(s.q_ii), 0.0],
            [0.0, 0.0, 0.0, m.coloured_sd * m.coloured_sd * s.q_ww],
        ],
    )
}

/// Every filter starts from these: mean and variances.
pub const START: ([f32; 4], [f32; 4]) = ([120.0, 0.0, 120.0, 0.0], [100.0, 1.0, 100.0, 25.0]);

pub fn run(measured: &[f32]) -> Answer {
    let (model, step) = (model(), Step::new(&model(), 5.0));
    let ([g, r, i, w], [gg, rr, ii, ww]) = START;
    let none = 0.0;
    let p = Covariance { gg, gr: none, gi: none, gw: none, rr, ri: none, rw: none, ii, iw: none, ww };
    let mut belief = Belief { x: State { g, r, i, w }, p };
    for y in measured {
        belief.predict(&step, model.process_noise, model.coloured_sd * model.coloured_sd);
        let residual = belief.residual(Sees::Sensor, *y, NOISE);
        belief.update(&residual, 1.0);
    }
    let (x, p) = (belief.x, belief.p);
    vec![x.g, x.r, x.i, x.w, p.gg, p.rr, p.ii, p.ww]
}
