//! The end-to-end checksum of the continuous glucose monitoring service.

use super::wire::{DecodeError, Payload};

/// Whether payloads of this sensor end with an E2E-CRC. The payload itself does not say; the sensor's CGM
/// Feature characteristic does (E2E-CRC Supported).
///
/// Feature `defmt` gives `Format`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum E2eCrc {
    /// No checksum.
    Absent,
    /// The last two bytes are the checksum.
    Present,
}

/// The E2E-CRC of `bytes`: x¹⁶ + x¹² + x⁵ + 1, least significant bit first, seed 0xFFFF, sent as it is.
///
/// # Source
/// Bluetooth SIG, Continuous Glucose Monitoring Service, E2E-CRC (from memory). Known in the CRC catalogue of
/// G. Cook as CRC-16/MCRF4XX, whose check value for `123456789` is 0x6F91.
///
/// # Examples
/// ```
/// assert_eq!(glidepath::gatt::crc16(b"123456789"), 0x6F91);
/// ```
#[must_use]
pub fn crc16(bytes: &[u8]) -> u16 {
    bytes.iter().fold(0xFFFF, |crc, byte| {
        (0..8).fold(crc ^ u16::from(*byte), |crc, _| {
            let shifted = crc >> 1;
            if crc & 1 == 1 { shifted ^ 0x8408 } else { shifted }
        })
    })
}

impl E2eCrc {
    /// The payload without its checksum, once that has been found right.
    pub(super) fn strip(self, bytes: &[u8]) -> Result<&[u8], DecodeError> {
        match self {
            Self::Absent => Ok(bytes),
            Self::Present => {
                let (body, crc) = bytes.split_last_chunk::<2>().ok_or(DecodeError::TooShort)?;
                if u16::from_le_bytes(*crc) == crc16(body) { Ok(body) } else { Err(DecodeError::Crc) }
            }
        }
    }

    /// Ends `payload` with the checksum, if there is to be one.
    pub(super) fn append(self, payload: &mut Payload) {
        if self == Self::Present {
            payload.put_u16(crc16(payload.as_bytes()));
        }
    }

    /// Bytes taken by the checksum.
    pub(super) const fn len(self) -> u8 {
        match self {
            Self::Absent => 0,
            Self::Present => 2,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn catalogue_check_value_and_seed() {
        assert_eq!(crc16(b"123456789"), 0x6F91);
        assert_eq!(crc16(&[]), 0xFFFF);
    }

    #[test]
    fn any_single_bit_error_is_found() {
        let mut payload = Payload::new();
        payload.put(&[6, 0, 0x68, 0, 5, 0]);
        E2eCrc::Present.append(&mut payload);
        let good = payload.as_bytes();
        assert_eq!(E2eCrc::Present.strip(good).map(<[u8]>::len), Ok(6));
        for bit in 0..64 {
            let mut bad = [0; 8];
            bad.copy_from_slice(good);
            bad[bit / 8] ^= 1 << (bit % 8);
            assert_eq!(E2eCrc::Present.strip(&bad), Err(DecodeError::Crc));
        }
        assert_eq!(E2eCrc::Present.strip(&[1]), Err(DecodeError::TooShort));
    }
}
