//! What a forecast is made from: eleven terms of the newest reading and four before it.

use super::past::Past;
use crate::math;

/// How many terms there are.
pub const TERMS: usize = 11;
/// How many terms the spread has.
pub const SPREAD_TERMS: usize = 7;

/// How much of the past a forecast goes by.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
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
/// The mean of the squared logarithmic level in people, so that its term is near 0 on average.
const USUAL_SQUARE: f32 = 0.55;

impl Terms {
    /// The terms `age_s` seconds before the newest reading; `carry` says what an unknown step was likely to be,
    /// from the one after it.
    pub(super) fn before(past: &Past, age_s: u32, carry: [f32; 2]) -> Option<Self> {
        let now = past.value(age_s)?;
        let back = |minutes: u32| past.value(age_s.saturating_add(minutes.saturating_mul(60)));
        Some(match (back(5), back(10)) {
            (Some(five), Some(ten)) => {
                let steps = [(now - five) * 0.1, (five - ten) * 0.1];
                match (back(15), back(30)) {
                    (Some(fifteen), Some(thirty)) => Self::of(
                        now,
                        [steps[0], steps[1], (ten - fifteen) * 0.1, (fifteen - thirty) * 0.1],
                        Reach::Full,
                    ),
                    _ => {
                        let third = carry[0] * steps[1];
                        Self::of(now, [steps[0], steps[1], third, carry[1] * third], Reach::Short)
                    }
                }
            }
            _ => Self::of(now, [0.0; 4], Reach::Level),
        })
    }

    /// From glucose and how far it came in the last 5 minutes, the 5 before, the 5 before and the 15 before,
    /// each in tens of mg/dL.
    fn of(level: f32, steps: [f32; 4], reach: Reach) -> Self {
        let level = level.max(20.0).min(600.0);
        let l = 2.0 * math::ln(level / CENTRE);
        let [i1, i2, i3, i4] = steps.map(|step| step.max(-12.0).min(12.0));
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
                (-l).max(0.0) * (-slope).max(0.0),
            ],
            of_spread: [
                1.0,
                hundreds,
                (1.0 - hundreds).max(0.0),
                moved,
                hundreds * moved,
                turned,
                hundreds * turned,
            ],
            reach,
        }
    }
}
