//! When a sensor's session began, and how the sensor is.

use super::annunciation::Annunciation;
use super::crc::E2eCrc;
use super::time::DateTime;
use super::wire::{DecodeError, Fields, Payload};
use crate::units::{Instant, Span};

/// CGM Session Start Time: the date and local time at which the session began, the zone and the daylight
/// saving offset. 10 bytes.
///
/// Feature `defmt` gives `Format`.
///
/// # Source
/// Bluetooth SIG GATT Specification Supplement, CGM Session Start Time, Time Zone (quarter hours, −48 to 56,
/// −128 not known) and DST Offset (0, 2, 4, 8 quarter hours, 255 not known). From memory.
///
/// # Examples
/// ```
/// use glidepath::gatt::{E2eCrc, SessionStart};
/// // 2026-11-25 10:30:00, one hour east of UTC, no daylight saving
/// let start = SessionStart::decode(&[0xEA, 0x07, 11, 25, 10, 30, 0, 4, 0], E2eCrc::Absent)?;
/// assert_eq!(start.utc().map(|at| at.secs()), Some(1_795_599_000)); // 09:30:00 UTC
/// # Ok::<(), glidepath::gatt::DecodeError>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct SessionStart {
    local: DateTime,
    zone_quarters: i8,
    dst_quarters: u8,
}

const ZONE_UNKNOWN: i8 = -128;
const DST_UNKNOWN: u8 = 255;

impl SessionStart {
    /// A start with neither zone nor daylight saving known.
    #[must_use]
    pub const fn new(local: DateTime) -> Self {
        Self { local, zone_quarters: ZONE_UNKNOWN, dst_quarters: DST_UNKNOWN }
    }

    /// From the 9 bytes of the characteristic, or 11 with a checksum.
    ///
    /// # Errors
    /// Another length, no such date or time, a reserved zone or daylight saving offset, a wrong checksum.
    pub fn decode(bytes: &[u8], crc: E2eCrc) -> Result<Self, DecodeError> {
        let mut fields = Fields(crc.strip(bytes)?);
        let local = DateTime::take(&mut fields)?;
        let [zone, dst_quarters] = fields.array()?;
        fields.end()?;
        let zone_quarters = zone.cast_signed();
        if zone_quarters != ZONE_UNKNOWN && !(-48..=56).contains(&zone_quarters) {
            return Err(DecodeError::ReservedValue("time zone"));
        }
        if !matches!(dst_quarters, 0 | 2 | 4 | 8 | DST_UNKNOWN) {
            return Err(DecodeError::ReservedValue("daylight saving offset"));
        }
        Ok(Self { local, zone_quarters, dst_quarters })
    }

    /// To bytes.
    #[must_use]
    pub fn encode(&self, crc: E2eCrc) -> Payload {
        let mut payload = Payload::new();
        self.local.put(&mut payload);
        payload.put(&[self.zone_quarters.cast_unsigned(), self.dst_quarters]);
        crc.append(&mut payload);
        payload
    }

    /// Date and local time of the start.
    #[must_use]
    pub const fn local(&self) -> DateTime {
        self.local
    }

    /// How far local time, daylight saving included, is ahead of UTC; nothing when either is not known.
    #[must_use]
    pub fn offset(&self) -> Option<Span> {
        if self.zone_quarters == ZONE_UNKNOWN || self.dst_quarters == DST_UNKNOWN {
            return None;
        }
        let quarters = i32::from(self.zone_quarters).saturating_add(i32::from(self.dst_quarters));
        Some(Span::from_mins(quarters.saturating_mul(15)))
    }

    /// The start as seconds since 1970-01-01 00:00:00 UTC; nothing when date, zone or daylight saving is not
    /// known.
    #[must_use]
    pub fn utc(&self) -> Option<Instant> {
        let offset = self.offset()?;
        Some(self.local.instant()?.plus(Span::from_secs(offset.secs().saturating_neg())))
    }
}

/// CGM Status: the sensor's state at a moment of its session. 8 bytes.
///
/// Feature `defmt` gives `Format`.
///
/// # Source
/// Bluetooth SIG GATT Specification Supplement, CGM Status. From memory.
///
/// # Examples
/// ```
/// use glidepath::gatt::{Annunciation, CgmStatus, E2eCrc};
/// let status = CgmStatus::decode(&[0x0A, 0x00, 0x02, 0x00, 0x00], E2eCrc::Absent)?;
/// assert_eq!(status.offset_min(), 10);
/// assert!(status.annunciation().contains(Annunciation::BATTERY_LOW));
/// # Ok::<(), glidepath::gatt::DecodeError>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct CgmStatus {
    offset_min: u16,
    annunciation: Annunciation,
}

impl CgmStatus {
    /// A state at so many minutes since the session's start.
    #[must_use]
    pub const fn new(offset_min: u16, annunciation: Annunciation) -> Self {
        Self { offset_min, annunciation }
    }

    /// From the 5 bytes of the characteristic, or 7 with a checksum.
    ///
    /// # Errors
    /// Another length, a wrong checksum.
    pub fn decode(bytes: &[u8], crc: E2eCrc) -> Result<Self, DecodeError> {
        let mut fields = Fields(crc.strip(bytes)?);
        let status =
            Self { offset_min: fields.u16()?, annunciation: Annunciation::from_octets(fields.array()?) };
        fields.end()?;
        Ok(status)
    }

    /// To bytes.
    #[must_use]
    pub fn encode(&self, crc: E2eCrc) -> Payload {
        let mut payload = Payload::new();
        payload.put_u16(self.offset_min);
        payload.put(&self.annunciation.octets());
        crc.append(&mut payload);
        payload
    }

    /// Minutes since the session's start.
    #[must_use]
    pub const fn offset_min(&self) -> u16 {
        self.offset_min
    }

    /// What the sensor announces.
    #[must_use]
    pub const fn annunciation(&self) -> Annunciation {
        self.annunciation
    }
}

#[cfg(test)]
mod tests {
    extern crate std;
    use super::*;
    use proptest::prelude::*;

    // 2026-07-01 08:00:00, +5:45, no daylight saving
    const START: [u8; 9] = [0xEA, 0x07, 7, 1, 8, 0, 0, 23, 0];

    #[test]
    fn a_start_by_hand() {
        let start = SessionStart::decode(&START, E2eCrc::Absent).unwrap();
        assert_eq!(start.local().date(), (2026, 7, 1));
        assert_eq!(start.offset(), Some(Span::from_mins(345)));
        // 02:15:00 UTC
        assert_eq!(start.utc(), DateTime::new((2026, 7, 1), (2, 15, 0)).unwrap().instant());
        assert_eq!(start.encode(E2eCrc::Absent).as_bytes(), START);
        let mut summer = START;
        summer[7] = 0xEC; // −5 h
        summer[8] = 4;
        let start = SessionStart::decode(&summer, E2eCrc::Absent).unwrap();
        assert_eq!(start.offset(), Some(Span::from_hours(-4)));
    }

    #[test]
    fn unknown_zones_give_no_utc() {
        for (zone, dst) in [(0x80, 0), (0, 255)] {
            let mut bytes = START;
            bytes[7] = zone;
            bytes[8] = dst;
            assert_eq!(SessionStart::decode(&bytes, E2eCrc::Absent).unwrap().utc(), None);
        }
        assert_eq!(SessionStart::new(DateTime::new((2026, 7, 1), (8, 0, 0)).unwrap()).utc(), None);
    }

    #[test]
    fn a_state_by_hand() {
        let status = CgmStatus::decode(&[0x2C, 0x01, 0x08, 0x04, 0x10], E2eCrc::Absent).unwrap();
        assert_eq!(status.offset_min(), 300);
        let announced = Annunciation::MALFUNCTION
            .with(Annunciation::CALIBRATION_RECOMMENDED)
            .with(Annunciation::RATE_OF_DECREASE);
        assert_eq!(status.annunciation(), announced);
        assert_eq!(status, CgmStatus::new(300, announced));
    }

    #[test]
    fn every_zone_and_daylight_saving_offset_is_known_or_refused() {
        for zone in i8::MIN..=i8::MAX {
            for dst in 0..=u8::MAX {
                let mut bytes = START;
                [bytes[7], bytes[8]] = [zone.cast_unsigned(), dst];
                let start = SessionStart::decode(&bytes, E2eCrc::Absent);
                let known = zone == -128 || (-48..=56).contains(&zone);
                assert_eq!(start.is_ok(), known && [0, 2, 4, 8, 255].contains(&dst), "{zone} {dst}");
            }
        }
    }

    #[test]
    fn malformed_starts_and_states_are_typed_errors() {
        let changed = |place: usize, value: u8| {
            let mut bytes = START;
            bytes[place] = value;
            SessionStart::decode(&bytes, E2eCrc::Absent)
        };
        assert_eq!(changed(2, 13), Err(DecodeError::DateTime));
        assert_eq!(changed(7, 57), Err(DecodeError::ReservedValue("time zone")));
        assert_eq!(changed(8, 3), Err(DecodeError::ReservedValue("daylight saving offset")));
        assert_eq!(SessionStart::decode(&START[..8], E2eCrc::Absent), Err(DecodeError::TooShort));
        assert_eq!(SessionStart::decode(&[0; 11], E2eCrc::Present), Err(DecodeError::Crc));
        assert_eq!(CgmStatus::decode(&[0; 4], E2eCrc::Absent), Err(DecodeError::TooShort));
        assert_eq!(CgmStatus::decode(&[0; 6], E2eCrc::Absent), Err(DecodeError::TooLong));
        assert_eq!(CgmStatus::decode(&[0; 7], E2eCrc::Present), Err(DecodeError::Crc));
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(if cfg!(miri) { 8 } else { 256 }))]
        #[test]
        fn both_come_back(
            (year, month, day) in (1582_u16..=9999, 1_u8..=12, 1_u8..=28), zone in -48_i8..=56,
            (offset, octets, sealed) in any::<(u16, [u8; 3], bool)>(),
        ) {
            let crc = if sealed { E2eCrc::Present } else { E2eCrc::Absent };
            let local = DateTime::new((year, month, day), (23, 59, 59)).unwrap();
            let start = SessionStart { local, zone_quarters: zone, dst_quarters: 4 };
            prop_assert_eq!(SessionStart::decode(start.encode(crc).as_bytes(), crc), Ok(start));
            let status = CgmStatus::new(offset, Annunciation::from_octets(octets));
            prop_assert_eq!(CgmStatus::decode(status.encode(crc).as_bytes(), crc), Ok(status));
        }
    }
}
