//! What a continuous sensor announces about itself.

use crate::reading::Status;

/// In which order a CGM Measurement sends the octets of its [`Annunciation`].
///
/// Feature `defmt` gives `Format`.
///
/// # Not settled
/// CGM Status sends status, calibration and temperature, warning (from memory). CGM Measurement may send the same,
/// or the reverse, in which the octets' flags are numbered (bits 5, 6, 7) and which published Bluetooth stacks
/// write. One octet alone is named by its flag. The specification's text has not been at hand, so the order is the
/// caller's to choose for a sensor; until then every reading on which the two orders disagree about a fault is
/// doubtful.
///
/// # Examples
/// ```
/// use glidepath::{Glucose, Instant, Status, gatt::{CgmMeasurement, E2eCrc, OctetOrder}};
/// // 62 mg/dL with a warning and a status octet, 0x01 and 0x02: either "under the wearer's low level" and
/// // "battery low", or "over the high level" and "session stopped"
/// let record = CgmMeasurement::decode(&[8, 0xA0, 0x3E, 0x00, 5, 0, 0x01, 0x02], E2eCrc::Absent)?;
/// let range = Glucose::from_mg_dl(40.0)?..=Glucose::from_mg_dl(400.0)?;
/// let status = |record: CgmMeasurement| {
///     record.reading(Instant::from_secs(1_000), range.clone()).map(|reading| reading.status())
/// };
/// assert!(record.order_in_doubt());
/// assert_eq!(status(record), Some(Status::Doubtful));
/// assert_eq!(status(record.in_octet_order(OctetOrder::WarningFirst)), Some(Status::Normal));
/// assert_eq!(status(record.in_octet_order(OctetOrder::StatusFirst)), Some(Status::Fault));
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Default)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum OctetOrder {
    /// Not known: both orders are weighed.
    #[default]
    Unsettled,
    /// Status, calibration and temperature, warning: as in CGM Status.
    StatusFirst,
    /// Warning, calibration and temperature, status: as the flags are numbered.
    WarningFirst,
}

/// The sensor status annunciation of the continuous service: 24 bits, in three octets that a measurement may
/// carry or leave out, and that CGM Status carries whole. Reserved bits are kept and mean nothing here.
///
/// Feature `defmt` gives `Format`.
///
/// # Source
/// Bluetooth SIG, Continuous Glucose Monitoring Service, Sensor Status Annunciation. From memory.
///
/// # Examples
/// ```
/// use glidepath::{Status, gatt::Annunciation};
/// assert_eq!(Annunciation::BATTERY_LOW.status(), Status::Normal);
/// assert_eq!(Annunciation::MALFUNCTION.status(), Status::Fault);
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Default)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Annunciation(u32);

impl Annunciation {
    /// The sensor's session has stopped.
    pub const SESSION_STOPPED: Self = Self(1);
    /// The device's battery is low.
    pub const BATTERY_LOW: Self = Self(1 << 1);
    /// The wrong type of sensor for the device.
    pub const TYPE_INCORRECT: Self = Self(1 << 2);
    /// The sensor malfunctions.
    pub const MALFUNCTION: Self = Self(1 << 3);
    /// An alert of the device's own.
    pub const DEVICE_ALERT: Self = Self(1 << 4);
    /// A general fault in the sensor's device.
    pub const DEVICE_FAULT: Self = Self(1 << 5);
    /// Sensor and collector must agree on the time.
    pub const TIME_SYNC_REQUIRED: Self = Self(1 << 8);
    /// Calibration is not allowed now.
    pub const CALIBRATION_NOT_ALLOWED: Self = Self(1 << 9);
    /// Calibration is recommended.
    pub const CALIBRATION_RECOMMENDED: Self = Self(1 << 10);
    /// Calibration is required.
    pub const CALIBRATION_REQUIRED: Self = Self(1 << 11);
    /// Too warm for a valid result.
    pub const TEMPERATURE_HIGH: Self = Self(1 << 12);
    /// Too cold for a valid result.
    pub const TEMPERATURE_LOW: Self = Self(1 << 13);
    /// Under the wearer's low level.
    pub const BELOW_LOW_LEVEL: Self = Self(1 << 16);
    /// Over the wearer's high level.
    pub const ABOVE_HIGH_LEVEL: Self = Self(1 << 17);
    /// Under the hypoglycaemia level.
    pub const BELOW_HYPO_LEVEL: Self = Self(1 << 18);
    /// Over the hyperglycaemia level.
    pub const ABOVE_HYPER_LEVEL: Self = Self(1 << 19);
    /// Falls faster than the set rate.
    pub const RATE_OF_DECREASE: Self = Self(1 << 20);
    /// Rises faster than the set rate.
    pub const RATE_OF_INCREASE: Self = Self(1 << 21);
    /// Under what the device can process.
    pub const BELOW_DEVICE_RANGE: Self = Self(1 << 22);
    /// Over what the device can process.
    pub const ABOVE_DEVICE_RANGE: Self = Self(1 << 23);

    /// From the octets in the order of CGM Status: status, calibration and temperature, warning.
    #[must_use]
    pub const fn from_octets([status, calibration, warning]: [u8; 3]) -> Self {
        Self(u32::from_le_bytes([status, calibration, warning, 0]))
    }

    /// The three octets in the order of CGM Status.
    #[must_use]
    pub const fn octets(self) -> [u8; 3] {
        let [status, calibration, warning, _] = self.0.to_le_bytes();
        [status, calibration, warning]
    }

    /// With all that `other` announces, too.
    #[must_use]
    pub const fn with(self, other: Self) -> Self {
        Self(self.0 | other.0)
    }

    /// Whether all of `other` is announced.
    #[must_use]
    pub const fn contains(self, other: Self) -> bool {
        self.0 & other.0 == other.0
    }

    const fn any(self, other: Self) -> bool {
        self.0 & other.0 != 0
    }

    /// Whether the value means nothing: a stopped session, wrong sensor, malfunction or device fault.
    pub(super) const fn is_fault(self) -> bool {
        const FAULT: Annunciation = Annunciation::SESSION_STOPPED
            .with(Annunciation::TYPE_INCORRECT)
            .with(Annunciation::MALFUNCTION)
            .with(Annunciation::DEVICE_FAULT);
        self.any(FAULT)
    }

    /// The sensor's word on a reading that comes with this, the gravest first.
    ///
    /// A stopped session, wrong sensor, malfunction or device fault is a fault; a temperature out of range or
    /// a calibration or time setting that is required makes the value doubtful (our mapping).
    #[must_use]
    pub const fn status(self) -> Status {
        const DOUBTFUL: Annunciation = Annunciation::TIME_SYNC_REQUIRED
            .with(Annunciation::CALIBRATION_REQUIRED)
            .with(Annunciation::TEMPERATURE_HIGH)
            .with(Annunciation::TEMPERATURE_LOW);
        if self.is_fault() {
            Status::Fault
        } else if self.any(Self::BELOW_DEVICE_RANGE) {
            Status::BelowRange
        } else if self.any(Self::ABOVE_DEVICE_RANGE) {
            Status::AboveRange
        } else if self.any(DOUBTFUL) {
            Status::Doubtful
        } else {
            Status::Normal
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn octets_keep_their_order() {
        let all = Annunciation::MALFUNCTION
            .with(Annunciation::TEMPERATURE_LOW)
            .with(Annunciation::ABOVE_DEVICE_RANGE);
        assert_eq!(all.octets(), [0x08, 0x20, 0x80]);
        assert_eq!(Annunciation::from_octets([0x08, 0x20, 0x80]), all);
        assert!(all.contains(Annunciation::TEMPERATURE_LOW));
        assert!(!all.contains(Annunciation::BATTERY_LOW.with(Annunciation::MALFUNCTION)));
    }

    #[test]
    fn each_word_has_its_bit() {
        let status = [
            Annunciation::SESSION_STOPPED,
            Annunciation::BATTERY_LOW,
            Annunciation::TYPE_INCORRECT,
            Annunciation::MALFUNCTION,
            Annunciation::DEVICE_ALERT,
            Annunciation::DEVICE_FAULT,
        ];
        let calibration = [
            Annunciation::TIME_SYNC_REQUIRED,
            Annunciation::CALIBRATION_NOT_ALLOWED,
            Annunciation::CALIBRATION_RECOMMENDED,
            Annunciation::CALIBRATION_REQUIRED,
            Annunciation::TEMPERATURE_HIGH,
            Annunciation::TEMPERATURE_LOW,
        ];
        let warning = [
            Annunciation::BELOW_LOW_LEVEL,
            Annunciation::ABOVE_HIGH_LEVEL,
            Annunciation::BELOW_HYPO_LEVEL,
            Annunciation::ABOVE_HYPER_LEVEL,
            Annunciation::RATE_OF_DECREASE,
            Annunciation::RATE_OF_INCREASE,
            Annunciation::BELOW_DEVICE_RANGE,
            Annunciation::ABOVE_DEVICE_RANGE,
        ];
        for (octet, words) in [&status[..], &calibration, &warning].into_iter().enumerate() {
            for (bit, word) in words.iter().enumerate() {
                let mut octets = [0; 3];
                octets[octet] = 1 << bit;
                assert_eq!(word.octets(), octets);
            }
        }
    }

    #[test]
    fn the_gravest_word_wins() {
        let low = Annunciation::BELOW_DEVICE_RANGE;
        assert_eq!(low.status(), Status::BelowRange);
        assert_eq!(low.with(Annunciation::TEMPERATURE_HIGH).status(), Status::BelowRange);
        for fault in [
            Annunciation::SESSION_STOPPED,
            Annunciation::TYPE_INCORRECT,
            Annunciation::MALFUNCTION,
            Annunciation::DEVICE_FAULT,
        ] {
            assert_eq!(low.with(fault).status(), Status::Fault);
        }
        assert!(!Annunciation::BATTERY_LOW.with(Annunciation::DEVICE_ALERT).is_fault());
        for doubtful in [
            Annunciation::TIME_SYNC_REQUIRED,
            Annunciation::CALIBRATION_REQUIRED,
            Annunciation::TEMPERATURE_HIGH,
            Annunciation::TEMPERATURE_LOW,
        ] {
            assert_eq!(doubtful.status(), Status::Doubtful);
        }
        assert_eq!(Annunciation::ABOVE_DEVICE_RANGE.status(), Status::AboveRange);
        assert_eq!(Annunciation::CALIBRATION_RECOMMENDED.status(), Status::Normal);
    }
}
