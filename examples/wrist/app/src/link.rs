//! Frames over a serial line: a Bluetooth SIG characteristic, its payload and a checksum.
//!
//! `assigned number (2 bytes, little endian) ‖ payload ‖ CRC-16 of both (2 bytes)`, stuffed by COBS
//! (Cheshire and Baker 1999) and ended by a zero byte, so that a receiver finds the next frame after any
//! garbage. The checksum is the service's own E2E-CRC; payloads carry none of theirs.

use crate::settings;
use glidepath::gatt::{
    CgmMeasurement, CgmStatus, CurrentTime, DecodeError, E2eCrc, GlucoseMeasurement, Payload, SessionStart,
    crc16,
};
use heapless::Vec;

/// What a frame says.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Frame {
    /// 0x2AA7: a sensor's reading.
    Measurement(CgmMeasurement),
    /// 0x2AA9: the sensor's state.
    Status(CgmStatus),
    /// 0x2AAA: when the sensor's session began.
    Start(SessionStart),
    /// 0x2A18: a meter's result.
    Meter(GlucoseMeasurement),
    /// 0x2A2B: the time.
    Time(CurrentTime),
    /// 0x0001, of this wrist alone as no characteristic has that number, and empty: which settings there are is asked.
    WhichSettings,
    /// 0x0002, likewise: settings, as [`Receiver::settings`] gives them until the next byte comes.
    Settings,
}

/// Why a frame was dropped.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum LinkError {
    /// Too long, too short, or badly stuffed.
    Framing,
    /// The checksum does not fit.
    Crc,
    /// A characteristic this wrist does not know.
    Unknown(u16),
    /// The payload is malformed.
    Payload(DecodeError),
}

/// That it is of a second sensor, number, the longest payload, checksum, one byte of stuffing.
const LONGEST: usize = 2 + 2 + 20 + 2 + 1;
/// The same of settings; one byte of stuffing for each 254.
const LONGEST_SETTINGS: usize = 2 + settings::LONGEST + 2 + 1 + settings::LONGEST / 254 + 1;
const WHICH_SETTINGS: u16 = 0x0001;
const SETTINGS: u16 = 0x0002;
/// 0x0003, likewise: of a second sensor; behind it stands what would be the whole frame of the first: number and payload. A
/// wrist of one sensor does not know it, and takes no reading of a second one for the first's.
pub const SECOND_SENSOR: u16 = 0x0003;

/// A stuffed frame with its end.
pub type Stuffed = Vec<u8, { LONGEST + 1 }>;

impl Frame {
    fn unframe(bytes: &[u8]) -> Result<Self, LinkError> {
        let (body, crc) = bytes.split_last_chunk::<2>().ok_or(LinkError::Framing)?;
        if crc16(body) != u16::from_le_bytes(*crc) {
            return Err(LinkError::Crc);
        }
        Self::of(body)
    }

    /// From its number and payload.
    fn of(body: &[u8]) -> Result<Self, LinkError> {
        let (number, payload) = body.split_first_chunk::<2>().ok_or(LinkError::Framing)?;
        match u16::from_le_bytes(*number) {
            0x2AA7 => CgmMeasurement::decode(payload, E2eCrc::Absent).map(Self::Measurement),
            0x2AA9 => CgmStatus::decode(payload, E2eCrc::Absent).map(Self::Status),
            0x2AAA => SessionStart::decode(payload, E2eCrc::Absent).map(Self::Start),
            0x2A18 => GlucoseMeasurement::decode(payload).map(Self::Meter),
            0x2A2B => CurrentTime::decode(payload).map(Self::Time),
            WHICH_SETTINGS => Ok(Self::WhichSettings),
            SETTINGS => Ok(Self::Settings),
            other => return Err(LinkError::Unknown(other)),
        }
        .map_err(LinkError::Payload)
    }

    /// The bytes to send; of settings those that [`stuffed_settings`] gives of none.
    #[must_use]
    pub fn stuffed(&self) -> Stuffed {
        let (number, payload) = self.parts();
        stuffed(&[&number.to_le_bytes(), payload.as_ref().map_or(&[], |payload| payload.as_bytes())])
    }

    /// The bytes to send of a second sensor.
    #[must_use]
    pub fn stuffed_of_second(&self) -> Stuffed {
        let (number, payload) = self.parts();
        let payload = payload.as_ref().map_or(&[][..], |payload| payload.as_bytes());
        stuffed(&[&SECOND_SENSOR.to_le_bytes(), &number.to_le_bytes(), payload])
    }

    fn parts(&self) -> (u16, Option<Payload>) {
        match self {
            Self::Measurement(it) => (0x2AA7, Some(it.encode(E2eCrc::Absent))),
            Self::Status(it) => (0x2AA9, Some(it.encode(E2eCrc::Absent))),
            Self::Start(it) => (0x2AAA, Some(it.encode(E2eCrc::Absent))),
            Self::Meter(it) => (0x2A18, Some(it.encode())),
            Self::Time(it) => (0x2A2B, Some(it.encode())),
            Self::WhichSettings => (WHICH_SETTINGS, None),
            Self::Settings => (SETTINGS, None),
        }
    }
}

/// Settings to send, as [`glidepath::snapshot::save_settings`] gives them.
#[must_use]
pub fn stuffed_settings(settings: &[u8]) -> Vec<u8, { LONGEST_SETTINGS + 1 }> {
    stuffed(&[&SETTINGS.to_le_bytes(), settings])
}

fn stuffed<const N: usize>(parts: &[&[u8]]) -> Vec<u8, N> {
    let mut body: Vec<u8, N> = Vec::new();
    parts.iter().for_each(|part| _ = body.extend_from_slice(part));
    let _ = body.extend_from_slice(&crc16(&body).to_le_bytes());
    let mut room = [0; N];
    let length = cobs::try_encode(&body, &mut room).unwrap_or(0);
    let mut stuffed = Vec::new();
    let _ = stuffed.extend_from_slice(room.get(..length).unwrap_or_default());
    let _ = stuffed.push(0);
    stuffed
}

/// Collects bytes to frames.
#[derive(Clone, Debug, Default)]
pub struct Receiver {
    /// What has come since the last end; after an end, the frame as it was before it was stuffed.
    bytes: Vec<u8, LONGEST_SETTINGS>,
    overrun: bool,
    ended: bool,
}

impl Receiver {
    /// Nothing received yet.
    #[must_use]
    pub const fn new() -> Self {
        Self { bytes: Vec::new(), overrun: false, ended: false }
    }

    /// Takes a byte; at the end of a frame, the frame or what is wrong with it.
    pub fn byte(&mut self, byte: u8) -> Option<Result<Frame, LinkError>> {
        if core::mem::take(&mut self.ended) {
            self.bytes.clear();
        }
        if byte != 0 {
            self.overrun |= self.bytes.push(byte).is_err();
            return None;
        }
        self.ended = true;
        if core::mem::take(&mut self.overrun) {
            self.bytes.clear();
            return Some(Err(LinkError::Framing));
        }
        if self.bytes.is_empty() {
            return None; // ends in a row: a sender that wakes the line
        }
        let Ok(length) = cobs::decode_in_place(&mut self.bytes) else { return Some(Err(LinkError::Framing)) };
        self.bytes.truncate(length);
        Some(Frame::unframe(&self.bytes))
    }

    /// What the [`Frame::Settings`] that has just ended brought.
    #[must_use]
    pub fn settings(&self) -> &[u8] {
        self.payload()
    }

    /// What stands behind the number in the frame that has just ended.
    fn payload(&self) -> &[u8] {
        let end = self.bytes.len().saturating_sub(2);
        self.bytes.get(2..end).filter(|_| self.ended).unwrap_or_default()
    }

    /// What a frame of a second sensor says that has just ended: a measurement, a state or a start.
    ///
    /// # Errors
    /// As of any frame; nothing else is a second sensor's.
    pub fn of_second(&self) -> Result<Frame, LinkError> {
        match Frame::of(self.payload())? {
            frame @ (Frame::Measurement(_) | Frame::Status(_) | Frame::Start(_)) => Ok(frame),
            _ => Err(LinkError::Unknown(SECOND_SENSOR)),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use glidepath::gatt::Sfloat;

    fn frame(offset_min: u16) -> Frame {
        Frame::Measurement(CgmMeasurement::new(Sfloat::nearest(104.0), offset_min))
    }

    fn feed(receiver: &mut Receiver, bytes: &[u8]) -> std::vec::Vec<Result<Frame, LinkError>> {
        bytes.iter().filter_map(|byte| receiver.byte(*byte)).collect()
    }

    #[test]
    fn a_frame_by_hand() {
        // A7 2A | 06 00 68 00 05 00 | CRC: zeros stuffed, five runs
        let stuffed = frame(5).stuffed();
        assert_eq!(stuffed[..10], [4, 0xA7, 0x2A, 6, 2, 0x68, 2, 5, 3, stuffed[9]]);
        assert_eq!(stuffed.last(), Some(&0));
        assert_eq!(feed(&mut Receiver::new(), &stuffed), [Ok(frame(5))]);
    }

    #[test]
    fn garbage_costs_no_more_than_the_frame_it_hits() {
        let mut line = std::vec::Vec::new();
        line.extend([0x55; 2000]);
        line.push(0);
        line.extend(frame(5).stuffed());
        let mut hit = frame(10).stuffed();
        hit[3] ^= 0x10;
        line.extend(hit);
        line.extend([0, 0]);
        line.extend(frame(15).stuffed());
        let got = feed(&mut Receiver::new(), &line);
        assert_eq!(got, [Err(LinkError::Framing), Ok(frame(5)), Err(LinkError::Crc), Ok(frame(15))]);
    }

    #[test]
    fn no_single_changed_byte_passes() {
        let good = frame(300).stuffed();
        for place in 0..good.len() {
            for flip in 1..=255 {
                let mut bad = good.clone();
                bad[place] ^= flip;
                assert!(feed(&mut Receiver::new(), &bad).iter().all(Result::is_err));
            }
        }
    }
}
