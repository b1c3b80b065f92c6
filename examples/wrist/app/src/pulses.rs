//! Vibration: alarms by their priority, and the value for fingers.
//!
//! Alarms pulse as the sound bursts of IEC 60601-1-8 do: ten pulses for high priority (3 + 2, twice), three
//! for medium, two for low; lengths are ours. A value is told in two groups: long pulses for the hundreds of
//! mg/dL (or the whole mmol/L), a rest, short ones for the tens (or the tenths). After it, two quick pulses
//! when it rises, four when it falls. One very long pulse means that there is no present value, or comes before one that is
//! doubted.

use crate::face::{Face, Unit, in_unit};
use glidepath::alarm::Priority;
use heapless::Vec;

/// On and off times in turn, milliseconds, beginning with on.
pub type Pattern = Vec<u16, 96>;

const SHORT: u16 = 120;
const LONG: u16 = 400;
const VERY_LONG: u16 = 1500;
const QUICK: u16 = 60;
const GAP: u16 = 180;
const REST: u16 = 800;

fn group(pattern: &mut Pattern, count: u16, on: u16, rest: u16) {
    for left in (0..count.min(12)).rev() {
        let _ = pattern.push(on);
        let _ = pattern.push(if left == 0 { rest } else { GAP });
    }
}

/// An alarm's burst.
#[must_use]
pub fn alarm(priority: Priority) -> Pattern {
    let mut pattern = Pattern::new();
    match priority {
        Priority::High => {
            for _ in 0..2 {
                group(&mut pattern, 3, SHORT, 2 * GAP);
                group(&mut pattern, 2, SHORT, REST);
            }
        }
        Priority::Medium => group(&mut pattern, 3, 2 * SHORT, REST),
        Priority::Low => group(&mut pattern, 2, 2 * SHORT, REST),
    }
    pattern
}

/// The face for fingers.
#[must_use]
pub fn value(face: &Face<'_>) -> Pattern {
    let mut pattern = Pattern::new();
    let Some(now) = face.figure() else {
        group(&mut pattern, 1, VERY_LONG, REST);
        return pattern;
    };
    if now.doubted {
        group(&mut pattern, 1, VERY_LONG, REST);
    }
    let (long, short) = match (in_unit(now.glucose, face.unit), face.unit) {
        ((whole, _), Unit::MgDl) => (whole / 100, whole % 100 / 10),
        ((whole, tenth), Unit::MmolL) => (whole, tenth.unwrap_or(0)),
    };
    group(&mut pattern, long, LONG, REST);
    group(&mut pattern, short, SHORT, REST);
    match now.rate.map(|(rate, _)| rate.mg_dl_per_min()) {
        Some(rate) if rate <= -1.0 => group(&mut pattern, 4, QUICK, REST),
        Some(rate) if rate >= 1.0 => group(&mut pattern, 2, QUICK, REST),
        _ => {}
    }
    pattern
}

/// Plays one pattern at a time; a pattern of higher rank breaks in.
#[derive(Clone, Debug, Default)]
pub struct Motor {
    pattern: Pattern,
    next: usize,
    until_ms: u32,
    on: bool,
}

impl Motor {
    /// At rest.
    #[must_use]
    pub const fn new() -> Self {
        Self { pattern: Pattern::new(), next: 0, until_ms: 0, on: false }
    }

    /// Begins `pattern` now.
    pub fn play(&mut self, pattern: Pattern, now_ms: u32) {
        *self = Self { pattern, next: 0, until_ms: now_ms, on: false };
    }

    /// Falls silent.
    pub fn stop(&mut self) {
        *self = Self::new();
    }

    /// Whether the motor is to turn at `now_ms`.
    pub fn update(&mut self, now_ms: u32) -> bool {
        while now_ms.wrapping_sub(self.until_ms) < u32::MAX / 2 {
            let Some(length) = self.pattern.get(self.next) else {
                self.on = false;
                self.pattern.clear();
                break;
            };
            self.on = self.next.is_multiple_of(2);
            self.until_ms = self.until_ms.wrapping_add(u32::from(*length));
            self.next += 1;
        }
        self.on
    }

    /// Whether a pattern is under way.
    #[must_use]
    pub fn is_busy(&self) -> bool {
        !self.pattern.is_empty()
    }
}
