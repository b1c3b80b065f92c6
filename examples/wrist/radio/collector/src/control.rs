//! The bytes of the control points, of features, and of what a session says of itself.

use glidepath::gatt::{E2eCrc, crc16};
use heapless::Vec;

/// A characteristic's assigned number.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Number(pub u16);

impl Number {
    /// CGM Measurement.
    pub const MEASUREMENT: Self = Self(0x2AA7);
    /// CGM Feature.
    pub const FEATURE: Self = Self(0x2AA8);
    /// CGM Status.
    pub const STATUS: Self = Self(0x2AA9);
    /// CGM Session Start Time.
    pub const START: Self = Self(0x2AAA);
    /// CGM Session Run Time.
    pub const RUN_TIME: Self = Self(0x2AAB);
    /// CGM Specific Ops Control Point.
    pub const OPS: Self = Self(0x2AAC);
    /// Record Access Control Point.
    pub const RACP: Self = Self(0x2A52);
    /// Glucose Measurement.
    pub const METER: Self = Self(0x2A18);
    /// Glucose Feature.
    pub const METER_FEATURE: Self = Self(0x2A51);
    /// Current Time.
    pub const TIME: Self = Self(0x2A2B);
}

/// Bytes to be written.
pub type Command = Vec<u8, 20>;

fn command(bytes: &[u8]) -> Command {
    // all here are shorter than 20
    Command::from_slice(bytes).unwrap_or_default()
}

/// What a sensor can do, as far as it matters here.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Feature {
    /// Whether its records end with a checksum.
    pub crc: E2eCrc,
}

impl Feature {
    /// From CGM Feature: three bytes of flags, one of type and place, two of checksum (all ones when there is none).
    /// Nothing when its length or its checksum is wrong.
    #[must_use]
    pub fn decode(bytes: &[u8]) -> Option<Self> {
        let [_, second, _, _, crc @ ..] = bytes else { return None };
        let crc = u16::from_le_bytes(<[u8; 2]>::try_from(crc).ok()?);
        if second & 0x10 == 0 {
            return Some(Self { crc: E2eCrc::Absent });
        }
        (crc == crc16(bytes.get(..4)?)).then_some(Self { crc: E2eCrc::Present })
    }
}

/// The hours that a session is to last, from CGM Session Run Time.
#[must_use]
pub fn run_time_h(bytes: &[u8], crc: E2eCrc) -> Option<u16> {
    let (hours, rest) = bytes.split_first_chunk::<2>()?;
    let good = match crc {
        E2eCrc::Absent => rest.is_empty(),
        E2eCrc::Present => rest == crc16(hours).to_le_bytes(),
    };
    good.then_some(u16::from_le_bytes(*hours))
}

/// A command of the CGM Specific Ops Control Point.
#[must_use]
pub fn ops(code: Ops, crc: E2eCrc) -> Command {
    let mut bytes = command(&[code as u8]);
    if crc == E2eCrc::Present {
        let sum = crc16(&bytes).to_le_bytes();
        let _ = bytes.extend_from_slice(&sum);
    }
    bytes
}

/// Which.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[repr(u8)]
pub enum Ops {
    /// How far apart are measurements?
    Interval = 0x02,
    /// Start the session.
    Start = 0x1A,
}

/// What the CGM Specific Ops Control Point indicates.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum OpsSaid {
    /// Minutes between measurements.
    Interval(u8),
    /// A command's outcome: its code, and 1 for success.
    Outcome(u8, u8),
}

impl OpsSaid {
    /// Nothing when malformed, of a wrong checksum, or not asked for here.
    #[must_use]
    pub fn decode(bytes: &[u8], crc: E2eCrc) -> Option<Self> {
        let body = match crc {
            E2eCrc::Absent => bytes,
            E2eCrc::Present => {
                let (body, sum) = bytes.split_last_chunk::<2>()?;
                if *sum != crc16(body).to_le_bytes() {
                    return None;
                }
                body
            }
        };
        match body {
            [0x03, minutes] => Some(Self::Interval(*minutes)),
            [0x1C, code, outcome] => Some(Self::Outcome(*code, *outcome)),
            _ => None,
        }
    }
}

/// Which records to report.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Ask {
    /// From the first number to the last.
    Within(u16, u16),
    /// From a number on.
    From(u16),
    /// All there are.
    All,
}

/// Report stored records; the filter is the record's number: its time offset or sequence number, type 1 in both services.
#[must_use]
pub fn report(ask: Ask) -> Command {
    let mut bytes = command(match ask {
        Ask::Within(..) => &[0x01, 0x04, 0x01],
        Ask::From(_) => &[0x01, 0x03, 0x01],
        Ask::All => &[0x01, 0x01],
    });
    let (first, last) = match ask {
        Ask::Within(first, last) => (Some(first), Some(last)),
        Ask::From(first) => (Some(first), None),
        Ask::All => (None, None),
    };
    for number in [first, last].into_iter().flatten() {
        let _ = bytes.extend_from_slice(&number.to_le_bytes());
    }
    bytes
}

/// Stop reporting.
#[must_use]
pub fn abort() -> Command {
    command(&[0x03, 0x00])
}

/// What the Record Access Control Point indicates.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum RacpSaid {
    /// Reporting has ended, or there was nothing.
    Ended,
    /// It does not know this way to ask.
    NotSupported,
    /// It could not or would not.
    Failed(u8),
}

impl RacpSaid {
    /// Nothing when malformed, or about something else than reporting.
    #[must_use]
    pub fn decode(bytes: &[u8]) -> Option<Self> {
        match bytes {
            [0x06, 0x00, 0x01, code] => Some(match code {
                1 | 6 => Self::Ended,
                // op code, operator, operand not supported; invalid operator, invalid operand
                2..=5 | 9 => Self::NotSupported,
                code => Self::Failed(*code),
            }),
            _ => None,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn features_by_hand() {
        // trend and quality; no checksum
        assert_eq!(Feature::decode(&[0, 0x80, 1, 0x59, 0xFF, 0xFF]), Some(Feature { crc: E2eCrc::Absent }));
        let mut sealed = [0, 0x90, 1, 0x59, 0, 0];
        assert_eq!(Feature::decode(&sealed), None);
        let sum = crc16(&sealed[..4]).to_le_bytes();
        sealed[4..].copy_from_slice(&sum);
        assert_eq!(Feature::decode(&sealed), Some(Feature { crc: E2eCrc::Present }));
        assert_eq!(Feature::decode(&sealed[..5]), None);
        assert_eq!(Feature::decode(&[sealed.as_slice(), &[0]].concat()), None);
    }

    #[test]
    fn run_times() {
        assert_eq!(run_time_h(&[240, 0], E2eCrc::Absent), Some(240));
        assert_eq!(run_time_h(&[240, 0, 0, 0], E2eCrc::Absent), None);
        assert_eq!(run_time_h(&[240, 0, 0, 0], E2eCrc::Present), None);
        let [low, high] = crc16(&[240, 0]).to_le_bytes();
        assert_eq!(run_time_h(&[240, 0, low, high], E2eCrc::Present), Some(240));
    }

    #[test]
    fn commands_by_hand() {
        assert_eq!(report(Ask::Within(300, 355)), [1, 4, 1, 0x2C, 1, 0x63, 1]);
        assert_eq!(report(Ask::From(300)), [1, 3, 1, 0x2C, 1]);
        assert_eq!(report(Ask::All), [1, 1]);
        assert_eq!(abort(), [3, 0]);
        assert_eq!(ops(Ops::Interval, E2eCrc::Absent), [2]);
        let [low, high] = crc16(&[0x1A]).to_le_bytes();
        assert_eq!(ops(Ops::Start, E2eCrc::Present), [0x1A, low, high]);
    }

    #[test]
    fn answers_by_hand() {
        assert_eq!(RacpSaid::decode(&[6, 0, 1, 1]), Some(RacpSaid::Ended));
        assert_eq!(RacpSaid::decode(&[6, 0, 1, 6]), Some(RacpSaid::Ended));
        assert_eq!(RacpSaid::decode(&[6, 0, 1, 4]), Some(RacpSaid::NotSupported));
        assert_eq!(RacpSaid::decode(&[6, 0, 1, 8]), Some(RacpSaid::Failed(8)));
        assert_eq!(RacpSaid::decode(&[6, 0, 3, 1]), None, "of an abort");
        assert_eq!(RacpSaid::decode(&[6, 0, 1]), None);
        assert_eq!(OpsSaid::decode(&[3, 5], E2eCrc::Absent), Some(OpsSaid::Interval(5)));
        assert_eq!(OpsSaid::decode(&[0x1C, 0x1A, 1], E2eCrc::Absent), Some(OpsSaid::Outcome(0x1A, 1)));
        assert_eq!(OpsSaid::decode(&[3, 5, 0, 0], E2eCrc::Present), None);
        let [low, high] = crc16(&[3, 5]).to_le_bytes();
        assert_eq!(OpsSaid::decode(&[3, 5, low, high], E2eCrc::Present), Some(OpsSaid::Interval(5)));
        assert_eq!(OpsSaid::decode(&[], E2eCrc::Present), None);
    }
}
