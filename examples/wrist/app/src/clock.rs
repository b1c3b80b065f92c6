//! How long the board has run, and what the clock on the wall shows if somebody has told it.
//!
//! Ages, delays and repeats are the monitor's, on the count of seconds told to it here. The wall is for what goes by the
//! time of day and for meters' results.

use glidepath::{Instant, Span};

/// The count begins here, 34 years in, so that what was measured before the board was switched on has a place on it.
const BEGIN_S: u32 = 1 << 30;

/// The clock's state.
#[derive(Clone, Copy, Debug)]
pub struct Clock {
    uptime_s: u32,
    last_ms: u32,
    left_ms: u32,
    /// What the wall showed, and the count then.
    told: Option<(Instant, u32)>,
}

impl Default for Clock {
    fn default() -> Self {
        Self::new()
    }
}

impl Clock {
    /// Just switched on.
    #[must_use]
    pub const fn new() -> Self {
        Self { uptime_s: BEGIN_S, last_ms: 0, left_ms: 0, told: None }
    }

    /// Takes the board's milliseconds, which may wrap; to be called at least once in 49 days.
    pub fn run(&mut self, now_ms: u32) {
        let elapsed = now_ms.wrapping_sub(self.last_ms);
        self.last_ms = now_ms;
        let left = self.left_ms + elapsed % 1000;
        self.uptime_s = self.uptime_s.wrapping_add(elapsed / 1000 + left / 1000);
        self.left_ms = left % 1000;
    }

    /// The board's milliseconds as last told.
    #[must_use]
    pub const fn ms(&self) -> u32 {
        self.last_ms
    }

    /// The count of seconds: it only grows, and may wrap.
    #[must_use]
    pub const fn uptime_s(&self) -> u32 {
        self.uptime_s
    }

    /// Somebody told the time.
    pub fn told(&mut self, wall: Instant) {
        self.told = Some((wall, self.uptime_s));
    }

    /// What the wall shows; none before somebody has told it.
    #[must_use]
    pub fn wall(&self) -> Option<Instant> {
        self.told
            .map(|(wall, then)| wall.plus(Span::from_secs(self.uptime_s.wrapping_sub(then).cast_signed())))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn runs_across_the_wrap_and_loses_no_millisecond() {
        let mut clock = Clock::new();
        clock.run(u32::MAX - 1500);
        assert_eq!(clock.wall(), None);
        let (before, wall) = (clock.uptime_s(), Instant::from_secs(1_800_000_000));
        clock.told(wall);
        for step in 1..=100_u32 {
            clock.run((u32::MAX - 1500).wrapping_add(step * 333));
        }
        // 33.3 s and what was left of a second before
        assert!((33..=34).contains(&(clock.uptime_s() - before)));
        assert_eq!(clock.wall(), Some(wall.plus(Span::from_secs((clock.uptime_s() - before) as i32))));
    }

    #[test]
    fn a_sleep_of_weeks_is_counted() {
        let mut clock = Clock::new();
        let before = clock.uptime_s();
        clock.run(999);
        clock.run(999_u32.wrapping_sub(1)); // 2^32 - 1 ms later
        assert_eq!(clock.uptime_s() - before, 4_294_968);
    }
}
