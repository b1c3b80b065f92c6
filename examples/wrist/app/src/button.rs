//! One button: short, double and long presses.

/// What was pressed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Press {
    /// Once, briefly.
    Short,
    /// Twice, briefly.
    Double,
    /// Held; told while it is still down.
    Long,
}

/// Shorter is contact bounce.
const BOUNCE_MS: u32 = 20;
/// A long press.
const LONG_MS: u32 = 700;
/// The second press of a double one begins within this.
const DOUBLE_MS: u32 = 300;

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Phase {
    Up,
    Down(u32),
    UpAgain(u32),
    DownAgain(u32),
    /// Told already; waits for release.
    Held,
}

/// The button's state. Times are milliseconds of a clock that may wrap.
#[derive(Clone, Copy, Debug)]
pub struct Button(Phase);

impl Default for Button {
    fn default() -> Self {
        Self::new()
    }
}

impl Button {
    /// Up.
    #[must_use]
    pub const fn new() -> Self {
        Self(Phase::Up)
    }

    /// Takes the pin's state; to be called at least every 50 ms while [`Button::is_busy`].
    pub fn update(&mut self, down: bool, now_ms: u32) -> Option<Press> {
        let (next, press) = match (self.0, down) {
            (Phase::Up, true) => (Phase::Down(now_ms), None),
            (Phase::Up | Phase::Held, false) => (Phase::Up, None),
            (Phase::Down(since), true) if now_ms.wrapping_sub(since) >= LONG_MS => {
                (Phase::Held, Some(Press::Long))
            }
            (Phase::Down(since), false) => {
                let bounce = now_ms.wrapping_sub(since) < BOUNCE_MS;
                (if bounce { Phase::Up } else { Phase::UpAgain(now_ms) }, None)
            }
            (Phase::UpAgain(_), true) => (Phase::DownAgain(now_ms), None),
            (Phase::UpAgain(since), false) if now_ms.wrapping_sub(since) >= DOUBLE_MS => {
                (Phase::Up, Some(Press::Short))
            }
            (Phase::DownAgain(since), _) if now_ms.wrapping_sub(since) >= BOUNCE_MS => {
                (if down { Phase::Held } else { Phase::Up }, Some(Press::Double))
            }
            (Phase::DownAgain(since), false) => (Phase::UpAgain(since), None),
            (unchanged, _) => (unchanged, None),
        };
        self.0 = next;
        press
    }

    /// Whether a press is under way.
    #[must_use]
    pub fn is_busy(&self) -> bool {
        self.0 != Phase::Up
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// (until ms, down) pieces, sampled every 10 ms across the clock's wrap.
    fn presses(pieces: &[(u32, bool)]) -> std::vec::Vec<Press> {
        let start = u32::MAX - 500;
        let mut button = Button::new();
        let mut got = std::vec::Vec::new();
        let mut ms = 0;
        for (until, down) in pieces {
            while ms < *until {
                got.extend(button.update(*down, start.wrapping_add(ms)));
                ms += 10;
            }
        }
        assert!(!button.is_busy());
        got
    }

    #[test]
    fn gestures() {
        assert_eq!(presses(&[(100, false), (200, true), (900, false)]), [Press::Short]);
        assert_eq!(presses(&[(100, true), (200, false), (300, true), (900, false)]), [Press::Double]);
        assert_eq!(presses(&[(2000, true), (2500, false)]), [Press::Long]);
        assert_eq!(presses(&[(10, true), (500, false)]), []);
        assert_eq!(
            presses(&[(100, true), (600, false), (700, true), (1500, false)]),
            [Press::Short, Press::Short]
        );
    }
}
