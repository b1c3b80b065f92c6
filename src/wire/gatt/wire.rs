//! Bytes in, bytes out, and what can be wrong with them.

use super::sfloat::Sfloat;
use core::fmt;

/// Why a payload was refused. Nothing of a refused payload is used.
///
/// Feature `defmt` gives `Format`.
///
/// # Examples
/// ```
/// use glidepath::gatt::{CgmMeasurement, DecodeError, E2eCrc};
/// assert_eq!(CgmMeasurement::decode(&[6, 0, 0x68], E2eCrc::Absent), Err(DecodeError::TooShort));
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub enum DecodeError {
    /// Shorter than its own flags say.
    TooShort,
    /// Longer than its own flags say.
    TooLong,
    /// The size field names another length than the flags do.
    Size,
    /// A flag that would add fields of unknown layout.
    ReservedFlag,
    /// A field holds a value the specification reserves; the field is named.
    ReservedValue(&'static str),
    /// No such date or time of day.
    DateTime,
    /// The checksum does not fit the bytes.
    Crc,
}

impl fmt::Display for DecodeError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::TooShort => f.write_str("payload shorter than its flags say"),
            Self::TooLong => f.write_str("payload longer than its flags say"),
            Self::Size => f.write_str("size field and flags disagree"),
            Self::ReservedFlag => f.write_str("reserved flag set"),
            Self::ReservedValue(field) => {
                f.write_str("reserved value in ")?;
                f.write_str(field)
            }
            Self::DateTime => f.write_str("no such date or time"),
            Self::Crc => f.write_str("checksum does not fit"),
        }
    }
}

impl core::error::Error for DecodeError {}

/// Takes little-endian fields off the front of a payload.
#[derive(Clone, Copy)]
pub(super) struct Fields<'a>(pub(super) &'a [u8]);

impl Fields<'_> {
    pub(super) fn array<const N: usize>(&mut self) -> Result<[u8; N], DecodeError> {
        let (front, rest) = self.0.split_first_chunk::<N>().ok_or(DecodeError::TooShort)?;
        self.0 = rest;
        Ok(*front)
    }

    pub(super) fn u8(&mut self) -> Result<u8, DecodeError> {
        self.array().map(|[byte]| byte)
    }

    pub(super) fn u16(&mut self) -> Result<u16, DecodeError> {
        self.array().map(u16::from_le_bytes)
    }

    pub(super) fn i16(&mut self) -> Result<i16, DecodeError> {
        self.array().map(i16::from_le_bytes)
    }

    pub(super) fn sfloat(&mut self) -> Result<Sfloat, DecodeError> {
        self.u16().map(Sfloat::from_bits)
    }

    /// `read` if the flag is set.
    pub(super) fn optional<T>(
        &mut self,
        present: bool,
        read: impl FnOnce(&mut Self) -> Result<T, DecodeError>,
    ) -> Result<Option<T>, DecodeError> {
        if present { read(self).map(Some) } else { Ok(None) }
    }

    /// Nothing may be left.
    pub(super) fn end(self) -> Result<(), DecodeError> {
        if self.0.is_empty() { Ok(()) } else { Err(DecodeError::TooLong) }
    }
}

/// Room for the longest payload here (Glucose Measurement, or its context: 17 bytes).
const CAPACITY: usize = 20;

/// An encoded payload, held by value. 21 bytes.
///
/// Feature `defmt` gives `Format`.
///
/// # Examples
/// ```
/// use glidepath::gatt::{CgmMeasurement, E2eCrc, Sfloat};
/// let payload = CgmMeasurement::new(Sfloat::nearest(104.0), 5).encode(E2eCrc::Absent);
/// assert_eq!(payload.as_bytes(), [6, 0, 0x68, 0x00, 5, 0]);
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Payload {
    bytes: [u8; CAPACITY],
    len: u8,
}

impl Payload {
    pub(super) const fn new() -> Self {
        Self { bytes: [0; CAPACITY], len: 0 }
    }

    /// Appends `bytes`; the encoders never exceed the capacity, and what would is dropped.
    pub(super) fn put(&mut self, bytes: &[u8]) {
        for byte in bytes {
            if let Some(place) = self.bytes.get_mut(usize::from(self.len)) {
                *place = *byte;
                self.len = self.len.saturating_add(1);
            }
        }
    }

    pub(super) fn put_u8(&mut self, value: u8) {
        self.put(&[value]);
    }

    pub(super) fn put_u16(&mut self, value: u16) {
        self.put(&value.to_le_bytes());
    }

    pub(super) fn put_sfloat(&mut self, value: Sfloat) {
        self.put_u16(value.bits());
    }

    /// The bytes as they go over the air.
    #[must_use]
    pub fn as_bytes(&self) -> &[u8] {
        self.bytes.get(..usize::from(self.len)).unwrap_or(&[])
    }
}

impl AsRef<[u8]> for Payload {
    fn as_ref(&self) -> &[u8] {
        self.as_bytes()
    }
}

/// A flags field: each bit whose condition holds.
pub(super) const fn flags(mut bits: &[(bool, u8)]) -> u8 {
    let mut flags = 0;
    while let [(condition, bit), rest @ ..] = bits {
        if *condition {
            flags |= *bit;
        }
        bits = rest;
    }
    flags
}

#[cfg(test)]
mod tests {
    extern crate std;
    use super::*;
    use std::string::ToString;

    #[test]
    fn a_payload_never_outgrows_its_room() {
        let mut payload = Payload::new();
        payload.put(&[7; 300]);
        assert_eq!(payload.as_bytes(), [7; CAPACITY]);
        assert_eq!(payload.as_ref(), [7; CAPACITY]);
    }

    #[test]
    fn fields_end_exactly() {
        let mut fields = Fields(&[0x34, 0x12, 0xFF]);
        assert_eq!(fields.u16(), Ok(0x1234));
        assert_eq!(fields.end(), Err(DecodeError::TooLong));
        assert_eq!(fields.i16(), Err(DecodeError::TooShort));
        assert_eq!(fields.u8(), Ok(255));
        assert_eq!(fields.end(), Ok(()));
    }

    #[test]
    fn flags_are_those_that_hold() {
        assert_eq!(flags(&[(true, 1), (false, 2), (true, 4), (false, 8)]), 5);
        assert_eq!(flags(&[]), 0);
    }

    #[test]
    fn errors_say_what_is_wrong() {
        assert_eq!(DecodeError::ReservedValue("meal").to_string(), "reserved value in meal");
    }
}
