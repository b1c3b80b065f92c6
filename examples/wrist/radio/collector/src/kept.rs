//! What outlives a restart, as bytes: bonds, and how far each one's records are settled.

use crate::trust::Bond;
use glidepath::gatt::crc16;

/// How far the records of a bond are settled.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Settled {
    /// The session, by its start in seconds; 0 when that is not known, or for a meter.
    pub session: u32,
    /// Below this number nothing is owed.
    pub below: u16,
}

/// A paired peer.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Peer {
    /// Its bond.
    pub bond: Bond,
    /// Its records.
    pub settled: Settled,
}

/// All that is kept.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Kept {
    /// The sensor.
    pub sensor: Option<Peer>,
    /// The meter.
    pub meter: Option<Peer>,
}

const VERSION: u8 = 1;
const PEER: usize = 1 + 6 + 16 + 16 + 4 + 2;
/// Bytes of all that is kept.
pub const KEPT: usize = 1 + 2 * PEER + 2;

const PRESENT: u8 = 1;
const RANDOM: u8 = 2;
const RESOLVING: u8 = 4;
const AUTHENTICATED: u8 = 8;

impl Peer {
    fn write(peer: Option<&Self>) -> [u8; PEER] {
        let mut bytes = [0; PEER];
        if let Some(Self { bond, settled }) = peer {
            let flag = |set, flag| if set { flag } else { 0 };
            let flags = PRESENT
                | flag(bond.random, RANDOM)
                | flag(bond.resolving_key.is_some(), RESOLVING)
                | flag(bond.authenticated, AUTHENTICATED);
            let fields = [flags]
                .into_iter()
                .chain(bond.address)
                .chain(bond.resolving_key.unwrap_or_default())
                .chain(bond.key)
                .chain(settled.session.to_le_bytes())
                .chain(settled.below.to_le_bytes());
            for (place, byte) in bytes.iter_mut().zip(fields) {
                *place = byte;
            }
        }
        bytes
    }

    fn read(bytes: &[u8]) -> Option<Self> {
        let (&[flags], bytes) = bytes.split_first_chunk()?;
        let (&address, bytes) = bytes.split_first_chunk()?;
        let (&resolving, bytes) = bytes.split_first_chunk()?;
        let (&key, bytes) = bytes.split_first_chunk()?;
        let (&session, bytes) = bytes.split_first_chunk()?;
        let (&below, _) = bytes.split_first_chunk()?;
        (flags & PRESENT != 0).then_some(Self {
            bond: Bond {
                random: flags & RANDOM != 0,
                address,
                resolving_key: (flags & RESOLVING != 0).then_some(resolving),
                key,
                authenticated: flags & AUTHENTICATED != 0,
            },
            settled: Settled { session: u32::from_le_bytes(session), below: u16::from_le_bytes(below) },
        })
    }
}

impl Kept {
    /// To bytes.
    #[must_use]
    pub fn to_bytes(&self) -> [u8; KEPT] {
        let mut bytes = [0; KEPT];
        let peers = Peer::write(self.sensor.as_ref()).into_iter().chain(Peer::write(self.meter.as_ref()));
        for (place, byte) in bytes.iter_mut().zip([VERSION].into_iter().chain(peers)) {
            *place = byte;
        }
        if let Some((body, sum)) = bytes.split_last_chunk_mut::<2>() {
            *sum = crc16(body).to_le_bytes();
        }
        bytes
    }

    /// From bytes; nothing when they are of another version or damaged.
    #[must_use]
    pub fn from_bytes(bytes: &[u8]) -> Option<Self> {
        let bytes: &[u8; KEPT] = bytes.try_into().ok()?;
        let (body, sum) = bytes.split_last_chunk::<2>()?;
        let (version, body) = body.split_first()?;
        if *version != VERSION || *sum != crc16(bytes.get(..KEPT.saturating_sub(2))?).to_le_bytes() {
            return None;
        }
        let (sensor, meter) = body.split_at_checked(PEER)?;
        Some(Self { sensor: Peer::read(sensor), meter: Peer::read(meter) })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn peer() -> Peer {
        let mut key = [0; 16];
        for (n, byte) in (1..).zip(&mut key) {
            *byte = n;
        }
        let bond = Bond {
            random: true,
            address: [1, 2, 3, 4, 5, 6],
            resolving_key: Some([9; 16]),
            key,
            authenticated: true,
        };
        Peer { bond, settled: Settled { session: 1_800_000_000, below: 1440 } }
    }

    #[test]
    fn all_of_it_comes_back() {
        let plain = Bond { random: false, resolving_key: None, authenticated: false, ..peer().bond };
        for kept in [
            Kept::default(),
            Kept { sensor: Some(peer()), meter: None },
            Kept { sensor: None, meter: Some(Peer { bond: plain, settled: Settled::default() }) },
        ] {
            assert_eq!(Kept::from_bytes(&kept.to_bytes()), Some(kept));
        }
    }

    #[test]
    fn damage_is_noticed() {
        let bytes = Kept { sensor: Some(peer()), meter: None }.to_bytes();
        for place in 0..KEPT {
            for flip in 1..=255 {
                let mut bad = bytes;
                bad[place] ^= flip;
                assert_eq!(Kept::from_bytes(&bad), None);
            }
        }
        assert_eq!(Kept::from_bytes(&bytes[1..]), None);
        let mut other = bytes;
        other[0] = 2;
        let sum = crc16(&other[..KEPT - 2]).to_le_bytes();
        other[KEPT - 2..].copy_from_slice(&sum);
        assert_eq!(Kept::from_bytes(&other), None);
    }
}
