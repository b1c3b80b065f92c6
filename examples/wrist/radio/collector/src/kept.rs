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
    /// The phone or desk that may change settings.
    pub desk: Option<Bond>,
}

const VERSION: u8 = 2;
/// Without a desk.
const BEFORE: u8 = 1;
const PEER: usize = 1 + 6 + 16 + 16 + 4 + 2;
/// Bytes of all that is kept.
pub const KEPT: usize = 1 + 3 * PEER + 2;

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
        let desk = self.desk.map(|bond| Peer { bond, settled: Settled::default() });
        let peers = Peer::write(self.sensor.as_ref())
            .into_iter()
            .chain(Peer::write(self.meter.as_ref()))
            .chain(Peer::write(desk.as_ref()));
        for (place, byte) in bytes.iter_mut().zip([VERSION].into_iter().chain(peers)) {
            *place = byte;
        }
        if let Some((body, sum)) = bytes.split_last_chunk_mut::<2>() {
            *sum = crc16(body).to_le_bytes();
        }
        bytes
    }

    /// From bytes, also those of the version before; nothing when they are of another one or damaged.
    #[must_use]
    pub fn from_bytes(bytes: &[u8]) -> Option<Self> {
        let (body, sum) = bytes.split_last_chunk::<2>()?;
        let (version, peers) = body.split_first()?;
        let count = match *version {
            VERSION => 3,
            BEFORE => 2,
            _ => return None,
        };
        if peers.len() != PEER.checked_mul(count)? || *sum != crc16(body).to_le_bytes() {
            return None;
        }
        let mut peers = peers.chunks_exact(PEER).map(Peer::read);
        let mut next = || peers.next().flatten();
        Some(Self { sensor: next(), meter: next(), desk: next().map(|peer| peer.bond) })
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
            Kept { sensor: Some(peer()), ..Kept::default() },
            Kept { meter: Some(Peer { bond: plain, settled: Settled::default() }), ..Kept::default() },
            Kept { sensor: Some(peer()), desk: Some(plain), ..Kept::default() },
        ] {
            assert_eq!(Kept::from_bytes(&kept.to_bytes()), Some(kept));
        }
    }

    #[test]
    fn damage_is_noticed() {
        let bytes = Kept { sensor: Some(peer()), meter: None, desk: Some(peer().bond) }.to_bytes();
        for place in 0..KEPT {
            for flip in 1..=255 {
                let mut bad = bytes;
                bad[place] ^= flip;
                assert_eq!(Kept::from_bytes(&bad), None);
            }
        }
        assert_eq!(Kept::from_bytes(&bytes[1..]), None);
        let mut other = bytes;
        other[0] = 3;
        let sum = crc16(&other[..KEPT - 2]).to_le_bytes();
        other[KEPT - 2..].copy_from_slice(&sum);
        assert_eq!(Kept::from_bytes(&other), None);
    }
    /// An image of before, which knew no desk, leaves its sensor paired.
    #[test]
    fn the_version_before_is_read() {
        let before = Kept { sensor: Some(peer()), meter: Some(peer()), desk: None };
        let mut bytes = before.to_bytes()[..1 + 2 * PEER].to_vec();
        bytes[0] = 1;
        let sum = crc16(&bytes).to_le_bytes();
        bytes.extend(sum);
        assert_eq!(bytes.len(), 93);
        assert_eq!(Kept::from_bytes(&bytes), Some(before));
        // neither is taken for the other
        let mut longer = before.to_bytes();
        longer[0] = 1;
        let sum = crc16(&longer[..KEPT - 2]).to_le_bytes();
        longer[KEPT - 2..].copy_from_slice(&sum);
        assert_eq!(Kept::from_bytes(&longer), None);
    }
}
