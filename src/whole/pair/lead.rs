//! What the other sensor tells of this one's readings to come.
//!
//! A sensor's own forecast is corrected by how far the other stands apart from it now and by how much steeper the other
//! is expected to move. The two weights begin with those of recorded people wearing two sensors and are learned for
//! each sensor by recursive least squares, from one outcome in half an hour. Source: recursive least squares, Haykin,
//! Adaptive Filter Theory (from memory); the terms are ours.

use super::two_states::measured;
use crate::codec::{Codec, Coded};
use crate::forecast::HORIZONS;
use crate::math;
use crate::math::Bounded as _;
use crate::units::{Instant, Span};

/// Half an hour: the horizon that is learned at.
const HORIZON: Span = Span::from_mins(30);
/// An outcome may be read so much later.
const LATEST: Span = Span::from_mins(45);
/// The weights to begin with, and how far people differ in them.
const WEIGHTS: [f32; 2] = [0.18, 0.35];
const SPREADS: [f32; 2] = [0.1, 0.2];
/// What an outcome leaves open, mg/dL squared, to begin with, and how fast it is learned.
const OUTCOME: f32 = 225.0;
const OUTCOME_LEAST: f32 = 25.0;
const OUTCOME_PART: f32 = 0.02;
/// How much is forgotten with each outcome.
const FORGETS: f32 = 0.001;
const CLIP: f32 = 3.0;
/// The weights stay within these.
const LEAST: f32 = -0.3;
const MOST: f32 = 1.0;

/// How the other sensor stands beside this one, mg/dL: how far above it now, their offsets aside, and how much further it
/// is expected to move in 15 and in 30 min.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Beside {
    pub gap: f32,
    pub quarter: f32,
    pub half: f32,
}

impl Beside {
    /// How this one stands beside the other.
    pub const fn of_the_other(self) -> Self {
        Self { gap: -self.gap, quarter: -self.quarter, half: -self.half }
    }
}

/// A forecast made, until its outcome is read; at 0 before one was.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Asked {
    at: Instant,
    gap: f32,
    further: f32,
    expected: f32,
}

impl Asked {
    const NONE: Self = Self { at: Instant::from_secs(0), gap: 0.0, further: 0.0, expected: 0.0 };
}

/// See the [module](self). 40 bytes.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Lead {
    weights: [f32; 2],
    p: [f32; 3],
    outcome: f32,
    asked: Asked,
}

impl Lead {
    pub const fn new() -> Self {
        let [gap, further] = SPREADS;
        Self {
            weights: WEIGHTS,
            p: [gap * gap, 0.0, further * further],
            outcome: OUTCOME,
            asked: Asked::NONE,
        }
    }

    /// What is being waited for. Kept as an `Option` it would take two sensors over the bound of their memory.
    fn asked(&self) -> Option<Asked> {
        (self.asked.at > Asked::NONE.at).then_some(self.asked)
    }

    /// What was asked is forgotten: what comes is not its continuation.
    pub const fn reset(&mut self) {
        self.asked = Asked::NONE;
    }

    /// The calibration moved all that was expected.
    pub fn shift(&mut self, mg_dl: f32) {
        if self.asked().is_some() {
            self.asked.expected += mg_dl;
        }
    }

    /// What to add to the sensor's own forecast at 15, 30, 60 and 120 min, mg/dL.
    pub fn more(&self, beside: Beside) -> [f32; HORIZONS] {
        let [by_gap, by_slope] = self.weights;
        let Beside { gap, quarter, half } = beside;
        let soon = 0.5 * by_gap * gap + by_slope * quarter;
        let later = by_gap * gap + by_slope * half;
        [soon, later, later, 0.5 * later]
    }

    /// A forecast is made: kept until its outcome is read, if none is being waited for.
    pub fn ask(&mut self, at: Instant, beside: Beside, expected: f32) {
        if self.asked().is_none_or(|asked| at.since(asked.at) > LATEST) {
            self.asked = Asked { at, gap: beside.gap, further: beside.half, expected };
        }
    }

    /// The sensor reads `value`, mg/dL: the outcome of what was asked half an hour ago.
    pub fn reading(&mut self, at: Instant, value: f32) {
        let Some(asked) = self.asked().filter(|asked| at.since(asked.at) >= HORIZON) else { return };
        self.asked = Asked::NONE;
        if at.since(asked.at) > LATEST {
            return;
        }
        let (spread, [k1, k2]) = measured(&mut self.p, [asked.gap, asked.further], self.outcome);
        let [w1, w2] = self.weights;
        let error = value - asked.expected - w1 * asked.gap - w2 * asked.further;
        let most = CLIP * math::sqrt(spread);
        let error = error.within(-most, most);
        self.weights = [(w1 + k1 * error).within(LEAST, MOST), (w2 + k2 * error).within(LEAST, MOST)];
        let ([s1, s2], [p11, p12, p22]) = (SPREADS, self.p);
        self.p = [
            (p11 + FORGETS * s1 * s1).within(0.0, s1 * s1),
            p12.within(-s1 * s2, s1 * s2),
            (p22 + FORGETS * s2 * s2).within(0.0, s2 * s2),
        ];
        self.outcome = (self.outcome + OUTCOME_PART * (error * error - self.outcome)).at_least(OUTCOME_LEAST);
    }
}

impl Coded for Lead {
    fn code(&mut self, codec: &mut Codec<'_>) {
        let Self { weights: [w1, w2], p: [p11, p12, p22], outcome, asked } = self;
        let [s1, s2] = SPREADS;
        codec.numbers(&mut [w1, w2], LEAST, MOST);
        codec.within(p11, 0.0, s1 * s1);
        codec.within(p12, -s1 * s2, s1 * s2);
        codec.within(p22, 0.0, s2 * s2);
        codec.within(outcome, OUTCOME_LEAST, f32::MAX);
        let Asked { at, gap, further, expected } = asked;
        codec.moment(at);
        codec.finite(&mut [gap, further, expected]);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(minute: u32) -> Instant {
        Instant::from_secs(1000 + 60 * minute)
    }

    const BESIDE: Beside = Beside { gap: 10.0, quarter: 4.0, half: 8.0 };

    #[test]
    fn what_is_added_is_as_stated() {
        // worked by hand: half of 0.18 × 10, and 0.35 × 4; 0.18 × 10 and 0.35 × 8; half of that at two hours
        for (more, want) in Lead::new().more(BESIDE).into_iter().zip([2.3, 4.6, 4.6, 2.3]) {
            assert!((more - want).abs() < 1e-4, "{more} {want}");
        }
        let back = Lead::new().more(BESIDE.of_the_other());
        assert!(back.into_iter().zip([2.3, 4.6, 4.6, 2.3]).all(|(more, want)| (more + want).abs() < 1e-4));
    }

    /// What the weights are after 40 outcomes that lie `more` above what was expected, read so many minutes later, after the
    /// calibration moved by `moved`.
    fn learned(more: f32, later: u32, moved: f32) -> [f32; 2] {
        let mut lead = Lead::new();
        for k in 0..40 {
            lead.ask(at(100 * k), BESIDE, 120.0);
            lead.shift(moved);
            lead.reading(at(100 * k + later), 120.0 + more);
        }
        lead.weights
    }

    #[test]
    fn outcomes_half_an_hour_later_move_the_weights_and_others_do_not() {
        assert!(learned(12.0, 32, 0.0).iter().zip(WEIGHTS).all(|(after, before)| *after > before + 0.05));
        assert!(learned(-4.0, 32, 0.0).iter().zip(WEIGHTS).all(|(after, before)| *after < before - 0.05));
        assert_eq!(learned(12.0, 29, 0.0), WEIGHTS);
        assert_eq!(learned(12.0, 50, 0.0), WEIGHTS);
        // as told by 4.6, and by a calibration that moved all
        for (more, moved) in [(4.6, 0.0), (24.6, 20.0)] {
            let after = learned(more, 32, moved);
            assert!(
                after.iter().zip(WEIGHTS).all(|(after, before)| (after - before).abs() < 1e-3),
                "{after:?}"
            );
        }
    }

    #[test]
    fn one_wild_outcome_moves_little_and_weights_stay_within_bounds() {
        let mut lead = Lead::new();
        lead.ask(at(0), BESIDE, 120.0);
        lead.reading(at(30), 400.0);
        assert!(
            lead.weights.iter().zip(WEIGHTS).all(|(after, before)| (after - before).abs() < 0.15),
            "{lead:?}"
        );
        for more in [300.0, -100.0] {
            assert!(learned(more, 30, 0.0).iter().all(|weight| (LEAST..=MOST).contains(weight)));
        }
    }

    /// By numbers worked out apart from it in double precision.
    #[test]
    fn one_outcome_moves_all_as_the_formulas_say() {
        let lived = Lead { weights: [0.2, 0.3], p: [0.008, 0.002, 0.03], outcome: 100.0, asked: Asked::NONE };
        let away = Lead { p: [0.008, -0.015, 0.03], outcome: 26.0, ..lived };
        for (lead, gap, half, value, want) in WANT {
            let mut lead = if lead == 0 { lived } else { away };
            lead.ask(at(0), Beside { gap, quarter: 4.0, half }, 120.0);
            lead.reading(at(30), value);
            let ([w1, w2], [p11, p12, p22]) = (lead.weights, lead.p);
            for (told, want) in [w1, w2, p11, p12, p22, lead.outcome].into_iter().zip(want) {
                assert!((told - want).abs() <= 1e-5 * want.abs().max(0.01), "{lead:?} for {want}");
            }
            assert_eq!(lead.asked(), None);
        }
        // nothing is less sure than to begin with
        let mut lead = Lead::new();
        lead.ask(at(0), Beside { gap: 0.0, quarter: 0.0, half: 0.0 }, 120.0);
        lead.reading(at(30), 120.0);
        assert_eq!((lead.weights, lead.p), (WEIGHTS, Lead::new().p));
    }

    /// Which lead, what it was asked by, the outcome, and what comes of it: weights, variances, what outcomes leave open.
    const WANT: [(usize, f32, f32, f32, [f32; 6]); 3] = [
        (0, 10.0, 8.0, 140.0, [0.2145342, 0.3393634, 0.00792056, 0.00175776, 0.02938394, 102.8672]),
        (0, 10.0, 8.0, 0.0, [0.1716280, 0.2231592, 0.00792056, 0.00175776, 0.02938394, 116.5472]),
        (1, 10.0, -8.0, 122.0, [0.2154242, 0.2699229, 0.00672465, -0.01249357, 0.02515247, 25.5952]),
    ];

    #[test]
    fn an_outcome_is_read_from_30_to_45_minutes_later_and_one_question_is_asked_at_a_time() {
        for (minute, learned, waits) in
            [(29, false, true), (30, true, false), (45, true, false), (46, false, false)]
        {
            let mut lead = Lead::new();
            lead.ask(at(0), BESIDE, 120.0);
            lead.reading(at(minute), 150.0);
            assert_eq!((lead.weights != WEIGHTS, lead.asked().is_some()), (learned, waits), "{minute}");
        }
        // what is asked stands until it is read or it is too late for that
        let mut lead = Lead::new();
        for minute in [0, 20, 45, 46, 60] {
            lead.ask(at(minute), BESIDE, 120.0);
            let asked = lead.asked().unwrap().at;
            assert_eq!(asked, at(if minute < 46 { 0 } else { 46 }), "{minute}");
        }
        lead.reset();
        assert_eq!(lead, Lead::new());
        lead.shift(5.0);
        assert_eq!(lead, Lead::new());
    }
}
