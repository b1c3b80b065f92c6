//! The four-state Kalman filter itself: predict over an interval, update by one scalar measurement.
//!
//! Named entries instead of a matrix: nothing to index, and only the products that are not zero.
//! Only the upper triangle is stored, and every gain is the optimal one for the noise it was computed with,
//! so that the covariance stays symmetric and non-negative. Source: Bierman (1977), *Factorization Methods
//! for Discrete Sequential Estimation*, on scalar updates.

use super::model::Step;
use crate::codec::{Blank, Codec, Coded};
use crate::math;
use crate::math::Bounded as _;

/// What a scalar measurement sees: its row H.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Sees {
    /// A sensor: interstitial glucose and the coloured error, (0, 0, 1, 1).
    Sensor,
    /// A fingerstick: plasma glucose, and the rate times how far it is from the state's moment, (1, reach, 0, 0).
    Blood { reach: f32 },
}

impl Sees {
    /// H times a column whose entries are these.
    #[inline]
    pub fn of(self, g: f32, r: f32, i: f32, w: f32) -> f32 {
        match self {
            Self::Sensor => i + w,
            Self::Blood { reach } => g + r * reach,
        }
    }
}

/// The four states. 16 bytes.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct State {
    pub g: f32,
    pub r: f32,
    pub i: f32,
    pub w: f32,
}

/// The upper triangle of their covariance. 40 bytes.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Covariance {
    pub gg: f32,
    pub gr: f32,
    pub gi: f32,
    pub gw: f32,
    pub rr: f32,
    pub ri: f32,
    pub rw: f32,
    pub ii: f32,
    pub iw: f32,
    pub ww: f32,
}

/// The least variance kept of any state.
const LEAST_VARIANCE: f32 = 1e-6;

/// A state and its covariance. 56 bytes.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Belief {
    pub x: State,
    pub p: Covariance,
}

/// A measurement against what was expected of it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Residual {
    /// Measured less expected.
    pub innovation: f32,
    /// Its variance, measurement noise included.
    pub variance: f32,
    /// P·Hᵀ
    ph: State,
}

impl Residual {
    /// Innovation over its standard deviation.
    pub fn normalised(&self) -> f32 {
        self.innovation / math::sqrt(self.variance)
    }

    /// Its square.
    pub fn normalised_square(&self) -> f32 {
        self.innovation * self.innovation / self.variance
    }

    /// P·Hᵀ: how each state goes with what was measured.
    pub const fn ph(&self) -> &State {
        &self.ph
    }
}

impl Belief {
    /// Moves over one step; `drive` and `coloured_variance` scale the unit noise of `step`.
    #[inline]
    pub fn predict(&mut self, step: &Step, drive: f32, coloured_variance: f32) {
        let (Self { x, p }, f) = (self, step);
        // rows of F·P, only the entries used below
        let (mg_g, mg_r, mg_i, mg_w) =
            (p.gg + f.g_r * p.gr, p.gr + f.g_r * p.rr, p.gi + f.g_r * p.ri, p.gw + f.g_r * p.rw);
        let mi_g = f.i_g * p.gg + f.i_r * p.gr + f.i_i * p.gi;
        let mi_r = f.i_g * p.gr + f.i_r * p.rr + f.i_i * p.ri;
        let mi_i = f.i_g * p.gi + f.i_r * p.ri + f.i_i * p.ii;
        let mi_w = f.i_g * p.gw + f.i_r * p.rw + f.i_i * p.iw;
        x.i = f.i_g * x.g + f.i_r * x.r + f.i_i * x.i;
        x.g += f.g_r * x.r;
        x.r *= f.r_r;
        x.w *= f.w_w;
        p.gg = (mg_g + f.g_r * mg_r + drive * f.q_gg).at_least(LEAST_VARIANCE);
        p.gr = f.r_r * mg_r + drive * f.q_gr;
        p.gi = f.i_g * mg_g + f.i_r * mg_r + f.i_i * mg_i + drive * f.q_gi;
        p.gw = f.w_w * mg_w;
        p.rr = (f.r_r * f.r_r * p.rr + drive * f.q_rr).at_least(LEAST_VARIANCE);
        p.ri = f.r_r * mi_r + drive * f.q_ri;
        p.rw *= f.r_r * f.w_w;
        p.ii = (f.i_g * mi_g + f.i_r * mi_r + f.i_i * mi_i + drive * f.q_ii).at_least(LEAST_VARIANCE);
        p.iw = f.w_w * mi_w;
        p.ww = (f.w_w * f.w_w * p.ww + coloured_variance * f.q_ww).at_least(LEAST_VARIANCE);
    }

    /// What `measured` says against what was expected, given its noise.
    #[inline]
    pub fn residual(&self, sees: Sees, measured: f32, noise_variance: f32) -> Residual {
        let (x, p) = (&self.x, &self.p);
        let ph = State {
            g: sees.of(p.gg, p.gr, p.gi, p.gw),
            r: sees.of(p.gr, p.rr, p.ri, p.rw),
            i: sees.of(p.gi, p.ri, p.ii, p.iw),
            w: sees.of(p.gw, p.rw, p.iw, p.ww),
        };
        Residual {
            innovation: measured - sees.of(x.g, x.r, x.i, x.w),
            variance: (sees.of(ph.g, ph.r, ph.i, ph.w) + noise_variance).at_least(LEAST_VARIANCE),
            ph,
        }
    }

    /// Corrects by a residual. `inflation`, 1 or more, multiplies the residual's variance for a reading that
    /// is believed less.
    ///
    /// The gain is the optimal one for the inflated noise, for which Joseph's form is P − K·(P·Hᵀ)ᵀ; on the
    /// triangle and with one shared factor it keeps symmetry exactly.
    #[inline]
    pub fn update(&mut self, residual: &Residual, inflation: f32) {
        let (Self { x, p }, ph) = (self, &residual.ph);
        let inverse = 1.0 / (residual.variance * inflation);
        let k = State { g: ph.g * inverse, r: ph.r * inverse, i: ph.i * inverse, w: ph.w * inverse };
        let v = residual.innovation;
        x.g += k.g * v;
        x.r += k.r * v;
        x.i += k.i * v;
        x.w += k.w * v;
        p.gg = (p.gg - k.g * ph.g).at_least(LEAST_VARIANCE);
        p.gr -= k.g * ph.r;
        p.gi -= k.g * ph.i;
        p.gw -= k.g * ph.w;
        p.rr = (p.rr - k.r * ph.r).at_least(LEAST_VARIANCE);
        p.ri -= k.r * ph.i;
        p.rw -= k.r * ph.w;
        p.ii = (p.ii - k.i * ph.i).at_least(LEAST_VARIANCE);
        p.iw -= k.i * ph.w;
        p.ww = (p.ww - k.w * ph.w).at_least(LEAST_VARIANCE);
    }

    /// What moved before says nothing of what moves now: the rate varies by `least` at least.
    pub fn forget_rate(&mut self, least: f32) {
        let Self { x, p } = self;
        (x.r, p.gr, p.ri, p.rw) = (0.0, 0.0, 0.0, 0.0);
        p.rr = p.rr.at_least(least);
    }

    /// Whether every number is finite.
    pub fn is_finite(&self) -> bool {
        let (x, p) = (&self.x, &self.p);
        [x.g, x.r, x.i, x.w, p.gg, p.gr, p.gi, p.gw, p.rr, p.ri, p.rw, p.ii, p.iw, p.ww]
            .iter()
            .all(|v| v.is_finite())
    }
}

impl Blank for State {
    const BLANK: Self = Self { g: 0.0, r: 0.0, i: 0.0, w: 0.0 };
}

impl Coded for State {
    fn code(&mut self, codec: &mut Codec<'_>) {
        let Self { g, r, i, w } = self;
        codec.finite(&mut [g, r, i, w]);
    }
}

impl Blank for Belief {
    const BLANK: Self = Self {
        x: State::BLANK,
        p: Covariance {
            gg: 0.0,
            gr: 0.0,
            gi: 0.0,
            gw: 0.0,
            rr: 0.0,
            ri: 0.0,
            rw: 0.0,
            ii: 0.0,
            iw: 0.0,
            ww: 0.0,
        },
    };
}

impl Coded for Belief {
    fn code(&mut self, codec: &mut Codec<'_>) {
        let Self { x, p: Covariance { gg, gr, gi, gw, rr, ri, rw, ii, iw, ww } } = self;
        x.code(codec);
        codec.numbers(&mut [gg, rr, ii, ww], LEAST_VARIANCE, f32::MAX);
        codec.finite(&mut [gr, gi, gw, ri, rw, iw]);
    }
}
