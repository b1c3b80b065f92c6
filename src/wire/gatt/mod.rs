//! Bluetooth SIG glucose payloads, both ways: what a sensor or a meter notifies, and ground-floor values.
//!
//! | characteristic | assigned number | here |
//! | --- | --- | --- |
//! | CGM Measurement | 0x2AA7 | [`CgmMeasurement`] |
//! | CGM Status | 0x2AA9 | [`CgmStatus`] |
//! | CGM Session Start Time | 0x2AAA | [`SessionStart`] |
//! | Glucose Measurement | 0x2A18 | [`GlucoseMeasurement`] |
//! | Glucose Measurement Context | 0x2A34 | [`GlucoseContext`] |
//! | Current Time | 0x2A2B | [`CurrentTime`] |
//!
//! A payload is refused whole, with a [`DecodeError`] that says why, when its length, a reserved flag that
//! would change its layout, a reserved value or its checksum is wrong. Encoding yields a [`Payload`], 21
//! bytes held by value.
//!
//! Not settled: the order of the annunciation octets in CGM Measurement; see [`OctetOrder`].
//!
//! Source: Bluetooth SIG, GATT Specification Supplement and Assigned Numbers; Continuous Glucose Monitoring
//! Service 1.0.2 and Glucose Service 1.0.1. Field tables in our own words, from memory.

mod annunciation;
mod cgm;
mod context;
mod crc;
mod meter;
mod session;
mod sfloat;
mod time;
mod wire;

pub use annunciation::{Annunciation, OctetOrder};
pub use cgm::CgmMeasurement;
pub use context::{Carbohydrate, Exercise, GlucoseContext, Health, Meal, Tester};
pub use crc::{E2eCrc, crc16};
pub use meter::{Concentration, GlucoseMeasurement, Sample, SampleLocation, SampleType};
pub use session::{CgmStatus, SessionStart};
pub use sfloat::{Sfloat, SfloatValue};
pub use time::{CurrentTime, DateTime};
pub use wire::{DecodeError, Payload};

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sizes_are_as_documented() {
        assert_eq!(size_of::<CgmMeasurement>(), 20);
        assert_eq!(size_of::<CgmStatus>(), 8);
        assert_eq!(size_of::<SessionStart>(), 10);
        assert_eq!(size_of::<GlucoseMeasurement>(), 26);
        assert_eq!(size_of::<GlucoseContext>(), 18);
        assert_eq!(size_of::<CurrentTime>(), 12);
        assert_eq!(size_of::<DateTime>(), 8);
        assert_eq!(size_of::<Payload>(), 21);
    }
}
