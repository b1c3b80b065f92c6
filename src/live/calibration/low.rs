//! How far a correction may raise a value near a low.
//!
//! Fingersticks can be wrong, and alike (sugar on the fingers), while a sensor that says low is seldom far above. So what the sensor says
//! near a low is raised by little, and at or under the floor by nothing, whatever fingersticks say.

use crate::math;
use crate::units::FLOOR_MG_DL as FLOOR;

/// Up to this, mg/dL, a value is raised by no more than [`RISE`] until the corrections are lasting.
const NEAR: f32 = 80.0;
const RISE: f32 = 10.0;

/// How fast the bound opens above the floor, in mg/dL for each mg/dL; above [`NEAR`]; and when lasting.
const OPENING: f32 = 2.0;
const BEYOND: f32 = 4.0;
const OPENING_LASTING: f32 = 6.0;

/// The most, mg/dL, that a sensor's value may be corrected to. Rises with it, without a step.
pub(super) const fn most(sensor: f32, lasting: bool) -> f32 {
    let above = sensor - FLOOR;
    if above <= 0.0 {
        sensor
    } else if lasting {
        FLOOR + OPENING_LASTING * above
    } else {
        let near = math::at_least(sensor + RISE, NEAR + RISE + BEYOND * (sensor - NEAR));
        math::at_most(FLOOR + OPENING * above, near)
    }
}

/// The sensor's value whose [`max_corrected`] is `shown`.
pub(super) const fn least_sensor(shown: f32, lasting: bool) -> f32 {
    let above = shown - FLOOR;
    if above <= 0.0 {
        shown
    } else if lasting {
        FLOOR + above / OPENING_LASTING
    } else {
        let near = math::at_most(shown - RISE, NEAR + (shown - NEAR - RISE) / BEYOND);
        math::at_least(FLOOR + above / OPENING, near)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn the_bound_is_as_stated() {
        for (sensor, early, lasting) in [
            (0.0, 0.0, 0.0),
            (55.0, 55.0, 55.0),
            (60.0, 65.0, 85.0),
            (65.0, 75.0, 115.0),
            (70.0, 80.0, 145.0),
            (80.0, 90.0, 205.0),
            (85.0, 110.0, 235.0),
            (100.0, 145.0, 325.0),
        ] {
            assert_eq!((most(sensor, false), most(sensor, true)), (early, lasting), "{sensor}");
        }
    }

    proptest! {
        #[test]
        fn it_rises_without_a_step_and_has_an_inverse(sensor in 0.0_f32..600.0, lasting: bool) {
            let bound = most(sensor, lasting);
            prop_assert!(bound >= sensor);
            let step = most(sensor + 0.01, lasting) - bound;
            prop_assert!((0.005..0.065).contains(&step), "{step}");
            prop_assert!((least_sensor(bound, lasting) - sensor).abs() < 1e-3);
        }
    }
}
