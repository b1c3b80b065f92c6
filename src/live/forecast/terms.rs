//! What a forecast is made from: eleven terms of the newest reading and four before it.

use super::past::Past;
use crate::math;
use crate::math::Bounded as _;

/// How many terms there are.
pub const TERMS: usize = 11;
/// How many terms the spread has.
pub const SPREAD_TERMS: usize = 7;

/// How much of the past a forecast goes by.
///
/// Feature `defmt` gives `Format`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Reach {
    /// Half an hour without a gap.
    Full,
    /// Ten minutes.
    Short,
    /// The newest reading alone.
    Level,
}

/// The terms of one moment. 80 bytes.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Terms {
    /// Glucose then, mg/dL.
    pub level: f32,
    /// What the change is a weighted sum of.
    pub of_change: [f32; TERMS],
    /// What the spread is a weighted sum of.
    pub of_spread: [f32; SPREAD_TERMS],
    /// How much past there was.
    pub reach: Reach,
}

/// Levels are measured from here, mg/dL, on a logarithmic scale.
const CENTRE: f32 = 140.0;
/// Twice its logarithm.
pub(super) const LOG_CENTRE: f32 = 9.883_285;
/// The mean of the squared logarithmic level in people, so that its term is near 0 on average.
const USUAL_SQUARE: f32 = 0.55;

/// How far `x` lies under 0. Not by `max`, which may keep the sign of a zero or not.
fn under(x: f32) -> f32 {
    if x < 0.0 { -x } else { 0.0 }
}

impl Terms {
    /// The terms `age_s` seconds before the newest reading; `carry` says what an unknown step was likely to be,
    /// from the one after it.
    pub(super) fn before(past: &Past, age_s: u32, carry: [f32; 2]) -> Option<Self> {
        Self::of_values(past.values(Self::ages(age_s)), carry)
    }

    /// The ages, in seconds, of the values that terms are made from.
    pub(super) fn ages(age_s: u32) -> [u32; 5] {
        [0, 300, 600, 900, 1800].map(|back| age_s.saturating_add(back))
    }

    /// The terms from the values at those ages.
    pub(super) fn of_values(values: [Option<f32>; 5], carry: [f32; 2]) -> Option<Self> {
        let [now, five, ten, fifteen, thirty] = values;
        let now = now?;
        let Some((five, ten)) = five.zip(ten) else {
            return Some(Self::of(now, [0.0; 4], Reach::Level, carry));
        };
        let later = fifteen.zip(thirty);
        let (fifteen, thirty) = later.unwrap_or((ten, ten));
        let reach = if later.is_some() { Reach::Full } else { Reach::Short };
        let steps = [now - five, five - ten, ten - fifteen, fifteen - thirty].map(|step| 0.1 * step);
        Some(Self::of(now, steps, reach, carry))
    }

    #[cfg(test)]
    pub(super) fn of_flat(level: f32) -> [f32; TERMS] {
        Self::of(level, [0.0; 4], Reach::Full, [0.0; 2]).of_change
    }

    /// The same with less of the past.
    #[must_use]
    pub fn with_reach(&self, reach: Reach, carry: [f32; 2]) -> Self {
        let [_, _, a, b, c, d, ..] = self.of_change;
        Self::of(self.level, [a, b, c, d], reach, carry)
    }

    /// From glucose and how far it came in the last 5 minutes, the 5 before, the 5 before and the 15 before,
    /// each in tens of mg/dL; of these only what is in `reach` counts.
    fn of(level: f32, steps: [f32; 4], reach: Reach, carry: [f32; 2]) -> Self {
        let level = level.within(20.0, 600.0);
        let l = 2.0 * math::ln(level / CENTRE);
        let [third, fourth] = carry;
        let [i1, i2, i3, i4] = match (reach, steps) {
            (Reach::Full, steps) => steps,
            (Reach::Short, [a, b, _, _]) => [a, b, third * b, fourth * third * b],
            (Reach::Level, _) => [0.0; 4],
        }
        .map(|step| step.within(-12.0, 12.0));
        let slope = i1 + i2;
        let square = l * l - USUAL_SQUARE;
        let hundreds = level * 0.01;
        let moved = i1.abs() + i2.abs() + i3.abs() + i4.abs();
        let turned = (i1 - i2).abs();
        Self {
            level,
            of_change: [
                1.0,
                l,
                i1,
                i2,
                i3,
                i4,
                square,
                l * slope,
                slope * slope.abs(),
                square * slope,
                under(l) * under(slope),
            ],
            of_spread: [
                1.0,
                hundreds,
                (1.0 - hundreds).at_least(0.0),
                moved,
                hundreds * moved,
                turned,
                hundreds * turned,
            ],
            reach,
        }
    }
}
