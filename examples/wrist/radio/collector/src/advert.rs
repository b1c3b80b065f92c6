//! Which service an advertisement offers.

use crate::collector::Kind;

impl Kind {
    /// The service's assigned number.
    #[must_use]
    pub const fn service(self) -> u16 {
        match self {
            Self::Sensor => 0x181F,
            Self::Meter => 0x1808,
        }
    }
}

/// Whether advertised data list a service: in structures of length, type and value, type 2 or 3 being lists of 16-bit
/// numbers (Bluetooth Core Specification Supplement, from memory).
#[must_use]
pub fn offers(mut data: &[u8], service: u16) -> bool {
    while let Some((length, rest)) = data.split_first() {
        let Some((structure, rest)) = rest.split_at_checked(usize::from(*length)) else { return false };
        if let [2 | 3, list @ ..] = structure
            && list.chunks_exact(2).any(|number| number == service.to_le_bytes())
        {
            return true;
        }
        data = rest;
    }
    false
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lists_by_hand() {
        let data = [2, 1, 6, 5, 3, 0x0F, 0x18, 0x1F, 0x18, 3, 9, b'a', b'b'];
        assert!(offers(&data, Kind::Sensor.service()));
        assert!(!offers(&data, Kind::Meter.service()));
        assert!(!offers(&[3, 9, 0x1F, 0x18], 0x181F), "a name");
        assert!(!offers(&[4, 3, 0, 0x1F, 0x18], 0x181F), "not on a boundary");
        for end in 0..9 {
            assert!(!offers(&data[..end], 0x181F), "cut short");
        }
        assert!(!offers(&[0, 0, 0], 0x181F));
        assert!(!offers(&[255, 3], 0x181F));
    }
}
