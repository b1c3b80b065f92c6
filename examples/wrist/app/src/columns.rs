//! Every answer to a reading as bits, so that two machines can be held against each other.

use crate::app::{READINGS, range};
use crate::link::{Frame, Receiver};
use glidepath::{Instant, Monitor, Settings, View};

/// Records of minute (2 bytes, little endian), length (1 byte) and bytes of the serial line.
#[derive(Clone, Copy, Debug)]
pub struct Records<'a>(pub &'a [u8]);

impl<'a> Iterator for Records<'a> {
    type Item = (u16, &'a [u8]);

    fn next(&mut self) -> Option<Self::Item> {
        let ([low, high, length], rest) = self.0.split_first_chunk::<3>()?;
        let (bytes, rest) = rest.split_at_checked(usize::from(*length))?;
        self.0 = rest;
        Some((u16::from_le_bytes([*low, *high]), bytes))
    }
}

/// Pushes a stream's readings through a monitor; tells each reading's minute and the digest of its answers.
pub fn replay(stream: &[u8], mut each: impl FnMut(u16, u32)) {
    let Ok(mut monitor) = Monitor::<READINGS>::new(Settings::default()) else { return };
    let (mut receiver, mut start) = (Receiver::new(), Instant::from_secs(0));
    for (minute, bytes) in Records(stream) {
        for frame in bytes.iter().filter_map(|byte| receiver.byte(*byte)).flatten() {
            match frame {
                Frame::Start(session) => {
                    start = session.local().instant().unwrap_or(start);
                    monitor.sensor_started(start);
                }
                Frame::Meter(result) => {
                    if let Some(stick) = result.fingerstick() {
                        let _ = monitor.fingerstick(&stick);
                    }
                }
                Frame::Measurement(record) => {
                    if let Some(reading) = record.reading(start, range()) {
                        each(minute, digest(&monitor.push(&reading)));
                    }
                }
                Frame::Time(_) | Frame::Status(_) | Frame::WhichSettings | Frame::Settings => {}
            }
        }
    }
}

/// FNV-1a (Fowler, Noll, Vo) over the bits of all output columns of a view.
#[must_use]
pub fn digest(view: &View) -> u32 {
    let mut hash = Hash(0x811C_9DC5);
    hash.word(view.at().secs());
    hash.word(view.verdict().map_or(u32::MAX, |verdict| verdict as u32));
    hash.float(view.estimate().map(|e| e.glucose().mg_dl()));
    hash.float(view.estimate().map(|e| e.glucose_sd()));
    hash.float(view.estimate().map(|e| e.rate().mg_dl_per_min()));
    hash.float(view.estimate().map(|e| e.rate_sd()));
    view.trend().words().bytes().for_each(|byte| hash.byte(byte));
    hash.float(view.predicted_30min().map(|p| p.glucose().mg_dl()));
    hash.float(view.predicted_30min().map(|p| p.sd()));
    hash.float(view.low_probability());
    hash.float(view.minutes_to_low());
    hash.float(view.calibration_sd());
    hash.word(view.newest().map_or(0, |(at, _)| at.secs()));
    hash.float(view.newest().map(|(_, glucose)| glucose.mg_dl()));
    view.reasons().iter().for_each(|reason| hash.byte(reason as u8));
    let shown = view.shown();
    hash.float(shown.map(|shown| shown.glucose.mg_dl()));
    hash.byte(u8::from(shown.is_some_and(|shown| shown.doubted)));
    hash.byte(u8::from(shown.is_some_and(|shown| shown.bound.is_some())));
    hash.word(view.age().map_or(u32::MAX, |age| age.secs().cast_unsigned()));
    for held in view.alarms().iter() {
        let ring = &held.ring;
        [ring.kind as u8, ring.priority as u8, ring.cause as u8].into_iter().for_each(|byte| hash.byte(byte));
        ring.trigger.name().bytes().for_each(|byte| hash.byte(byte));
        hash.float(ring.trigger.glucose().map(|glucose| glucose.mg_dl()));
        hash.byte(u8::from(held.rings));
        hash.byte(u8::from(held.acknowledged));
    }
    hash.byte(u8::from(view.is_monitoring()));
    hash.0
}

struct Hash(u32);

impl Hash {
    fn byte(&mut self, byte: u8) {
        self.0 = (self.0 ^ u32::from(byte)).wrapping_mul(0x0100_0193);
    }

    fn word(&mut self, word: u32) {
        word.to_le_bytes().into_iter().for_each(|byte| self.byte(byte));
    }

    /// The bits of a number; what is absent has its own.
    fn float(&mut self, value: Option<f32>) {
        self.word(value.map_or(u32::MAX, f32::to_bits));
    }
}
