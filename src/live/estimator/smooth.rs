//! Fixed-point smoothing: what glucose was at a few recent readings, refined by each later one.
//!
//! For each point its value, variance and covariance with the filter's current state are carried along: six
//! numbers, where a backward pass would need the whole filter at every step. It gives the same answer for
//! any spacing of readings. Source: fixed-point smoother by state augmentation, Anderson and Moore (1979),
//! *Optimal Filtering*, chapter 7.

use super::filter::{Belief, Residual, Sees, State};
use super::model::Step;
use crate::math;
use crate::math::Bounded as _;
use crate::units::{Glucose, Instant, Span};

/// A smoothed value: plasma glucose at a past reading, as the readings since tell.
///
/// Feature `defmt` gives `Format`.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Smoothed {
    at: Instant,
    glucose: Glucose,
    sd: f32,
}

impl Smoothed {
    /// The same, with its moment as another clock shows it.
    pub(crate) const fn by_clock(self, at: Instant) -> Self {
        Self { at, ..self }
    }

    /// The moment it holds for.
    #[must_use]
    pub const fn at(&self) -> Instant {
        self.at
    }

    /// Plasma glucose then.
    #[must_use]
    pub const fn glucose(&self) -> Glucose {
        self.glucose
    }

    /// Its standard deviation, mg/dL.
    #[must_use]
    pub const fn sd(&self) -> f32 {
        self.sd
    }
}

/// Points closer together than this are not tracked apart.
const SPACING: Span = Span::from_secs(270);

#[derive(Clone, Copy, Debug, PartialEq)]
struct Point {
    at: Instant,
    g: f32,
    variance: f32,
    /// Covariance of this point with the filter's current state.
    c: State,
}

/// The last four points, oldest first: a quarter of an hour at 5 min. 116 bytes.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Points {
    kept: [Option<Point>; 4],
}

impl Points {
    pub const fn new() -> Self {
        Self { kept: [None; 4] }
    }

    /// The filter was moved over `step`.
    #[inline]
    pub fn predict(&mut self, step: &Step) {
        for point in self.kept.iter_mut().flatten() {
            let c = point.c;
            point.c = State {
                g: c.g + step.g_r * c.r,
                r: step.r_r * c.r,
                i: step.i_g * c.g + step.i_r * c.r + step.i_i * c.i,
                w: step.w_w * c.w,
            };
        }
    }

    /// The filter is corrected by `residual`, its variance inflated.
    #[inline]
    pub fn update(&mut self, residual: &Residual, sees: Sees, inflation: f32) {
        let inverse = 1.0 / (residual.variance * inflation);
        let ph = residual.ph();
        for point in self.kept.iter_mut().flatten() {
            let c = &mut point.c;
            let ch = sees.of(c.g, c.r, c.i, c.w);
            let gain = ch * inverse;
            point.g += gain * residual.innovation;
            point.variance = (point.variance - gain * ch).at_least(0.0);
            c.g -= gain * ph.g;
            c.r -= gain * ph.r;
            c.i -= gain * ph.i;
            c.w -= gain * ph.w;
        }
    }

    /// Begins a point at the filter's current state, unless the last is too near; forgets the oldest.
    pub fn track(&mut self, at: Instant, belief: &Belief) {
        let [_, second, third, fourth] = self.kept;
        if fourth.is_some_and(|last| at.since(last.at) < SPACING) {
            return;
        }
        let p = &belief.p;
        let point =
            Point { at, g: belief.x.g, variance: p.gg, c: State { g: p.gg, r: p.gr, i: p.gi, w: p.gw } };
        self.kept = [second, third, fourth, Some(point)];
    }

    /// All points, oldest first.
    pub fn values(self) -> impl Iterator<Item = Smoothed> {
        self.kept.into_iter().flatten().map(|p| Smoothed {
            at: p.at,
            glucose: Glucose::clamped(p.g),
            sd: math::sqrt(p.variance),
        })
    }
}
