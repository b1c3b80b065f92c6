//! Settings from a phone or a desk to the wrist, in parts, and back.
//!
//! A message is what [`glidepath::snapshot::save_settings`] writes. It comes in parts, in turn, of any length, between a
//! beginning that tells its length and checksum and an end. Nothing is taken of one that is not whole; whatever goes wrong, the
//! whole is begun anew. A link that goes takes with it what had come.

use glidepath::gatt::crc16;
use heapless::Vec;
use wrist::settings::{LONGEST, Taken};

/// The version of these commands.
pub const VERSION: u8 = 1;
/// Octets of a message that are read at once, at most: a value of an attribute has no more than 512.
pub const WINDOW: usize = 480;
/// Octets of [`state`].
pub const STATE: usize = 12;

const BEGIN: u8 = 1;
const PART: u8 = 2;
const END: u8 = 3;
const SHOW: u8 = 4;

/// Why a command is refused, by the number that is answered.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[repr(u8)]
pub enum Fault {
    /// No command of this version, or not of its length.
    Malformed = 0x80,
    /// A transfer of another version.
    Version = 0x81,
    /// Longer than any settings, or of no length.
    Length = 0x82,
    /// A part that is not the next one, more than was announced, or an end before all has come.
    OutOfTurn = 0x83,
    /// All has come, and its checksum does not fit.
    Damaged = 0x84,
    /// No settings of this version, or a value out of its range: those before hold.
    Refused = 0x85,
    /// They could not be kept: those before hold.
    NotKept = 0x86,
}

/// What is answered to the end of a transfer.
///
/// # Errors
/// When the settings did not come into force.
pub const fn answer(taken: Taken) -> Result<(), Fault> {
    match taken {
        Taken::Kept => Ok(()),
        Taken::Refused => Err(Fault::Refused),
        Taken::NotKept => Err(Fault::NotKept),
    }
}

/// What is announced.
#[derive(Clone, Copy, Debug)]
struct Announced {
    length: usize,
    sum: u16,
}

/// The exchange of one link. 1 kB.
#[derive(Clone, Debug, Default)]
pub struct Exchange {
    announced: Option<Announced>,
    came: Vec<u8, LONGEST>,
    shown_from: usize,
}

impl Exchange {
    /// Nothing has come.
    #[must_use]
    pub const fn new() -> Self {
        Self { announced: None, came: Vec::new(), shown_from: 0 }
    }

    /// How many octets have come of the transfer under way.
    #[must_use]
    pub fn received(&self) -> usize {
        self.announced.map_or(0, |_| self.came.len())
    }

    /// From which octet on the message in force is read.
    #[must_use]
    pub const fn shown_from(&self) -> usize {
        self.shown_from
    }

    /// Takes a command; at the end of a transfer the message that came, whole, to be taken in.
    ///
    /// # Errors
    /// Anything but the next command in turn. It ends the transfer.
    pub fn command(&mut self, bytes: &[u8]) -> Result<Option<&[u8]>, Fault> {
        match self.understood(bytes) {
            Ok(whole) => Ok(whole.then_some(&self.came)),
            Err(fault) => {
                self.announced = None;
                Err(fault)
            }
        }
    }

    fn understood(&mut self, bytes: &[u8]) -> Result<bool, Fault> {
        match bytes {
            [BEGIN, version, l0, l1, s0, s1] => {
                let length = usize::from(u16::from_le_bytes([*l0, *l1]));
                if *version != VERSION {
                    return Err(Fault::Version);
                }
                if !(1..=LONGEST).contains(&length) {
                    return Err(Fault::Length);
                }
                self.came.clear();
                self.announced = Some(Announced { length, sum: u16::from_le_bytes([*s0, *s1]) });
                Ok(false)
            }
            [PART, o0, o1, some @ ..] if !some.is_empty() => {
                let announced = self.announced.ok_or(Fault::OutOfTurn)?;
                let before = self.came.len();
                let offset = usize::from(u16::from_le_bytes([*o0, *o1]));
                if offset != before || some.len() > announced.length.saturating_sub(before) {
                    return Err(Fault::OutOfTurn);
                }
                self.came.extend_from_slice(some).map_err(|_| Fault::OutOfTurn)?;
                Ok(false)
            }
            [END] => {
                let announced = self.announced.take().ok_or(Fault::OutOfTurn)?;
                if self.came.len() != announced.length {
                    return Err(Fault::OutOfTurn);
                }
                if crc16(&self.came) != announced.sum {
                    return Err(Fault::Damaged);
                }
                Ok(true)
            }
            [SHOW, o0, o1] => {
                self.shown_from = usize::from(u16::from_le_bytes([*o0, *o1]));
                Ok(false)
            }
            _ => Err(Fault::Malformed),
        }
    }

    /// What is read of the message in force.
    #[must_use]
    pub fn shown<'m>(&self, message: &'m [u8]) -> &'m [u8] {
        let rest = message.get(self.shown_from..).unwrap_or_default();
        rest.get(..WINDOW).unwrap_or(rest)
    }

    /// What is read of the state: version; 1 when settings were kept, 0 when those as built hold; the name of the kept ones; the
    /// length of the message in force; the longest; how many octets have come.
    #[must_use]
    pub fn state(&self, name: Option<u32>, length: usize) -> [u8; STATE] {
        let short = |number: usize| u16::try_from(number).unwrap_or(u16::MAX).to_le_bytes();
        let fields = [VERSION, u8::from(name.is_some())]
            .into_iter()
            .chain(name.unwrap_or(0).to_le_bytes())
            .chain(short(length))
            .chain(short(LONGEST))
            .chain(short(self.received()));
        let mut bytes = [0; STATE];
        for (place, byte) in bytes.iter_mut().zip(fields) {
            *place = byte;
        }
        bytes
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::vec::Vec;

    const MESSAGE: [u8; 40] = {
        let mut bytes = [7; 40];
        bytes[3] = 0;
        bytes[39] = 200;
        bytes
    };

    fn begin(length: usize, sum: u16) -> Vec<u8> {
        let [l0, l1, ..] = length.to_le_bytes();
        let [s0, s1] = sum.to_le_bytes();
        [BEGIN, VERSION, l0, l1, s0, s1].to_vec()
    }

    fn part(offset: usize, bytes: &[u8]) -> Vec<u8> {
        let [o0, o1, ..] = offset.to_le_bytes();
        [&[PART, o0, o1], bytes].concat()
    }

    fn told(message: &[u8], each: usize) -> Vec<Vec<u8>> {
        let parts = message.chunks(each).enumerate().map(|(n, some)| part(n * each, some));
        [begin(message.len(), crc16(message))].into_iter().chain(parts).chain([[END].to_vec()]).collect()
    }

    fn is_taken(exchange: &mut Exchange, commands: &[Vec<u8>]) -> bool {
        let (last, before) = commands.split_last().unwrap();
        before.iter().all(|command| exchange.command(command) == Ok(None))
            && exchange.command(last) == Ok(Some(&MESSAGE[..]))
    }

    #[test]
    fn a_message_by_hand() {
        let mut exchange = Exchange::new();
        // CRC-16 of "GP": polynomial 0x1021 reflected, from 0xFFFF
        let sum = crc16(b"GP").to_le_bytes();
        assert_eq!(exchange.command(&[1, 1, 2, 0, sum[0], sum[1]]), Ok(None));
        assert_eq!(exchange.command(&[2, 0, 0, b'G']), Ok(None));
        assert_eq!(exchange.state(Some(0x0102_0304), 335), [1, 1, 4, 3, 2, 1, 79, 1, 0xD7, 3, 1, 0]);
        assert_eq!(exchange.command(&[2, 1, 0, b'P']), Ok(None));
        assert_eq!(exchange.command(&[3]), Ok(Some(&b"GP"[..])));
        assert_eq!(exchange.state(None, 335)[..6], [1, 0, 0, 0, 0, 0]);
        assert_eq!(exchange.received(), 0);
        assert_eq!(exchange.command(&[3]), Err(Fault::OutOfTurn), "once only");
    }

    #[test]
    fn parts_of_any_length_make_the_whole() {
        let longest = [0x5A; LONGEST];
        for message in [&MESSAGE[..], &longest, &[1]] {
            for each in [1, 17, 20, 121, LONGEST] {
                let mut exchange = Exchange::new();
                let all = told(message, each);
                let (last, before) = all.split_last().unwrap();
                before.iter().for_each(|command| assert_eq!(exchange.command(command), Ok(None)));
                assert_eq!(exchange.command(last), Ok(Some(message)));
            }
        }
    }

    #[test]
    fn whatever_goes_wrong_nothing_is_taken_and_the_next_whole_one_is() {
        let sound = told(&MESSAGE, 17);
        let long = LONGEST + 1;
        for (bad, fault) in [
            (&[part(0, &[1])][..], Fault::OutOfTurn), // not begun
            (&[[END].to_vec()], Fault::OutOfTurn),
            (&[[BEGIN, 2, 40, 0, 0, 0].to_vec()], Fault::Version),
            (&[begin(0, 0)], Fault::Length),
            (&[begin(long, 0)], Fault::Length),
            (&[begin(2, 0), part(1, &[1])], Fault::OutOfTurn), // a gap
            (&[begin(2, 0), part(0, &[1]), part(0, &[1])], Fault::OutOfTurn), // twice
            (&[begin(2, 0), part(0, &[1, 2, 3])], Fault::OutOfTurn), // more
            (&[begin(2, 0), part(0, &[1]), [END].to_vec()], Fault::OutOfTurn), // less
            (&[begin(2, 0), part(0, &[1, 2]), [END].to_vec()], Fault::Damaged),
            (&[begin(2, 0), part(0, &[])], Fault::Malformed),
            (&[begin(2, 0), [].to_vec()], Fault::Malformed),
            (&[begin(2, 0), [5].to_vec()], Fault::Malformed),
            (&[begin(2, 0), [END, 0].to_vec()], Fault::Malformed),
            (&[begin(2, 0), [SHOW, 0].to_vec()], Fault::Malformed),
            (&[begin(2, 0), [BEGIN, VERSION, 2, 0, 0].to_vec()], Fault::Malformed),
        ] {
            let mut exchange = Exchange::new();
            let (last, before) = bad.split_last().unwrap();
            before.iter().for_each(|command| assert_eq!(exchange.command(command), Ok(None)));
            assert_eq!(exchange.command(last), Err(fault), "{bad:?}");
            assert_eq!(exchange.received(), 0);
            // what was left of it is of no use
            assert_eq!(exchange.command(&[END]), Err(Fault::OutOfTurn), "{bad:?}");
            assert!(is_taken(&mut exchange, &sound), "{bad:?}");
        }
    }

    #[test]
    fn a_beginning_begins_anew() {
        let mut exchange = Exchange::new();
        exchange.command(&begin(40, 1)).unwrap();
        exchange.command(&part(0, &MESSAGE[..20])).unwrap();
        assert!(is_taken(&mut exchange, &told(&MESSAGE, 20)));
    }

    #[test]
    fn a_message_is_read_by_windows() {
        let message: Vec<u8> = (0..LONGEST).map(|n| n as u8).collect();
        let mut exchange = Exchange::new();
        let mut read = Vec::new();
        while read.len() < message.len() {
            let [o0, o1, ..] = read.len().to_le_bytes();
            assert_eq!(exchange.command(&[SHOW, o0, o1]), Ok(None));
            let some = exchange.shown(&message);
            assert!(!some.is_empty() && some.len() <= WINDOW);
            read.extend_from_slice(some);
        }
        assert_eq!(read, message);
        // beyond its end there is nothing; and looking disturbs no transfer
        exchange.command(&begin(1, crc16(&[9]))).unwrap();
        assert_eq!(exchange.command(&[SHOW, 0xFF, 0xFF]), Ok(None));
        assert!(exchange.shown(&message).is_empty());
        exchange.command(&part(0, &[9])).unwrap();
        assert_eq!(exchange.command(&[END]), Ok(Some(&[9][..])));
    }

    /// Any octets in any turn: what is taken was announced, came in turn, and has its checksum.
    #[test]
    fn any_octets() {
        let mut state = 0x9E37_79B9_u32;
        let mut random = |below: u32| {
            state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            (state >> 8) % below
        };
        let sound = told(&MESSAGE, 8);
        let (mut exchange, mut taken, mut refused) = (Exchange::new(), 0, 0);
        let mut place = 0;
        for _ in 0..200_000 {
            let mut command = sound[place % sound.len()].clone();
            place += 1;
            match random(40) {
                0 => {
                    let at = random(command.len() as u32) as usize;
                    command[at] ^= 1 << random(8);
                }
                1 => command.truncate(random(command.len() as u32) as usize),
                2 => place = random(sound.len() as u32) as usize,
                3 => command = (0..random(24)).map(|_| random(256) as u8).collect(),
                _ => {}
            }
            match exchange.command(&command) {
                Ok(Some(it)) => {
                    assert_eq!(*it, MESSAGE);
                    taken += 1;
                }
                Ok(None) => {}
                Err(_) => {
                    refused += 1;
                    place = 0;
                }
            }
            assert!(exchange.received() <= LONGEST);
        }
        assert!(taken > 1_000 && refused > 1_000, "{taken} {refused}");
    }
}
