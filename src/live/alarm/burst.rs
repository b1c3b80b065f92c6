//! How an alarm of each priority sounds, buzzes and lights, as data.
//!
//! The timings follow IEC 60601-1-8 as we remember it: edition 2.1, before amendment 2 of 2020 reworked the
//! pulse requirements. **From memory: confirm with the standard before claiming conformity.** A vibration motor
//! or a single-tone buzzer cannot meet its demands on pulse shape and harmonics in any case.

use super::ring::Priority;
use crate::units::Span;

/// On for so long, then off for so long, in milliseconds.
///
/// Feature `defmt` gives `Format`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Pulse {
    /// Milliseconds on.
    pub on_ms: u16,
    /// Milliseconds off after it; the last pulse's runs until the burst repeats.
    pub off_ms: u16,
}

/// The colour of an alarm's light.
///
/// Feature `defmt` gives `Format`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Colour {
    /// High priority.
    Red,
    /// Medium priority.
    Yellow,
    /// Low priority.
    Cyan,
}

/// One priority's burst of pulses, its repetition and its light. It lives in flash.
///
/// # Examples
/// Driving a pin, called every few milliseconds:
/// ```
/// use glidepath::alarm::{Burst, Priority};
/// let pattern = Burst::of(Priority::Medium);
/// let on: Vec<bool> = [0, 150, 200, 399, 400, 1_100].map(|ms| pattern.is_on(ms)).to_vec();
/// assert_eq!(on, [true, true, false, false, true, false]);
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Burst {
    pulses: &'static [Pulse],
    repeat: Span,
    colour: Colour,
    flash: Option<Pulse>,
}

const fn pulse(on_ms: u16, off_ms: u16) -> Pulse {
    Pulse { on_ms, off_ms }
}

/// Pulses of 150 ms (75 to 200 allowed); gaps x = 100 ms (50 to 125), the third 2x + 150, then 700 ms (350 to
/// 1300) and the same five again; repeated every 10 s (2.5 to 15).
const HIGH: Burst = Burst {
    pulses: &[
        pulse(150, 100),
        pulse(150, 100),
        pulse(150, 350),
        pulse(150, 100),
        pulse(150, 700),
        pulse(150, 100),
        pulse(150, 100),
        pulse(150, 350),
        pulse(150, 100),
        pulse(150, 0),
    ],
    repeat: Span::from_secs(10),
    colour: Colour::Red,
    flash: Some(pulse(250, 250)), // 2 Hz, half on (1.4 to 2.8 Hz, 20 to 60 %)
};

/// Three pulses of 200 ms (125 to 250) with 200 ms between (125 to 250); every 20 s (2.5 to 30).
const MEDIUM: Burst = Burst {
    pulses: &[pulse(200, 200), pulse(200, 200), pulse(200, 0)],
    repeat: Span::from_secs(20),
    colour: Colour::Yellow,
    flash: Some(pulse(667, 1000)), // 0.6 Hz, 40 % on (0.4 to 0.8 Hz, 20 to 60 %)
};

/// Two pulses, once.
const LOW: Burst = Burst {
    pulses: &[pulse(200, 200), pulse(200, 0)],
    repeat: Span::ZERO,
    colour: Colour::Cyan,
    flash: None,
};

impl Burst {
    /// The pattern of a priority.
    #[must_use]
    pub const fn of(priority: Priority) -> &'static Self {
        match priority {
            Priority::High => &HIGH,
            Priority::Medium => &MEDIUM,
            Priority::Low => &LOW,
        }
    }

    /// The pulses of one burst.
    #[must_use]
    pub const fn pulses(&self) -> &'static [Pulse] {
        self.pulses
    }

    /// From the start of a burst to the start of the next; zero when it comes once.
    #[must_use]
    pub const fn repeat(&self) -> Span {
        self.repeat
    }

    /// The colour of the light.
    #[must_use]
    pub const fn colour(&self) -> Colour {
        self.colour
    }

    /// How the light flashes; `None`: it is steady.
    #[must_use]
    pub const fn flash(&self) -> Option<Pulse> {
        self.flash
    }

    /// Whether buzzer or motor is on, so many milliseconds after the alarm began.
    #[must_use]
    pub fn is_on(&self, elapsed_ms: u32) -> bool {
        let period = self.repeat.secs().unsigned_abs().saturating_mul(1000);
        let mut left = elapsed_ms.checked_rem(period).unwrap_or(elapsed_ms);
        for pulse in self.pulses {
            if left < u32::from(pulse.on_ms) {
                return true;
            }
            match left.checked_sub(u32::from(pulse.on_ms).saturating_add(u32::from(pulse.off_ms))) {
                Some(rest) => left = rest,
                None => return false,
            }
        }
        false
    }
}

#[cfg(test)]
mod tests {
    extern crate std;
    use super::*;
    use std::vec::Vec;

    fn onsets(pattern: &Burst, until_ms: u32) -> Vec<u32> {
        (0..until_ms).filter(|&ms| pattern.is_on(ms) && (ms == 0 || !pattern.is_on(ms - 1))).collect()
    }

    #[test]
    #[cfg_attr(miri, ignore = "too slow")]
    fn bursts_have_the_standards_number_of_pulses_at_its_times() {
        // worked by hand from the gap rule above
        let high = [0, 250, 500, 1000, 1250, 2100, 2350, 2600, 3100, 3350];
        assert_eq!(onsets(&HIGH, 10_000), high);
        assert!(HIGH.is_on(3499) && !HIGH.is_on(3500) && HIGH.is_on(10_000));
        assert_eq!(onsets(&MEDIUM, 20_000), [0, 400, 800]);
        assert_eq!(onsets(&LOW, 60_000), [0, 400]);
    }

    #[test]
    fn timings_are_within_the_standards_ranges() {
        for pulse in HIGH.pulses() {
            assert!((75..=200).contains(&pulse.on_ms));
        }
        for pulse in MEDIUM.pulses().iter().chain(LOW.pulses()) {
            assert!((125..=250).contains(&pulse.on_ms));
        }
        assert!((3..=15).contains(&HIGH.repeat().secs()) && (3..=30).contains(&MEDIUM.repeat().secs()));
        for (pattern, low, high) in [(HIGH, 1.4, 2.8), (MEDIUM, 0.4, 0.8)] {
            let flash = pattern.flash().unwrap();
            let period = f32::from(flash.on_ms) + f32::from(flash.off_ms);
            assert!((low..=high).contains(&(1000.0 / period)));
            assert!((0.2..=0.6).contains(&(f32::from(flash.on_ms) / period)));
        }
    }
}
