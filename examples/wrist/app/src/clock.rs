//! The time, on a board that knows only how long it has run.
//!
//! Time is the sensor's: seconds since 1970 of the clock that its session's start was told in. A reading that
//! is ahead of ours moves ours forward, so that no drift of ours makes readings come from the future; Current
//! Time sets it within [`TRIM`], and freely as long as no reading has come. Nothing sets it back to where a reading
//! would look younger than it is: since it came, time has passed here too.

use glidepath::{Instant, Span};

/// A Current Time further off than this is another zone, not drift.
pub const TRIM: Span = Span::from_mins(10);

/// The clock's state.
#[derive(Clone, Copy, Debug, Default)]
pub struct Clock {
    uptime_s: u32,
    last_ms: u32,
    left_ms: u32,
    /// A moment, and the uptime then.
    set: Option<(Instant, u32)>,
    /// The newest believed reading's moment, and the uptime when it came.
    reading: Option<(Instant, u32)>,
}

impl Clock {
    /// Not set.
    #[must_use]
    pub const fn new() -> Self {
        Self { uptime_s: 0, last_ms: 0, left_ms: 0, set: None, reading: None }
    }

    /// Takes the board's milliseconds, which may wrap; to be called at least once in 24 days.
    pub fn run(&mut self, now_ms: u32) {
        let elapsed = now_ms.wrapping_sub(self.last_ms).wrapping_add(self.left_ms);
        self.last_ms = now_ms;
        self.uptime_s = self.uptime_s.wrapping_add(elapsed / 1000);
        self.left_ms = elapsed % 1000;
    }

    /// The board's milliseconds as last told.
    #[must_use]
    pub const fn ms(&self) -> u32 {
        self.last_ms
    }

    /// The time; none before it is set.
    #[must_use]
    pub fn now(&self) -> Option<Instant> {
        self.from(self.set)
    }

    fn from(&self, known: Option<(Instant, u32)>) -> Option<Instant> {
        known.map(|(at, then)| at.plus(Span::from_secs(self.uptime_s.wrapping_sub(then).cast_signed())))
    }

    /// A believed reading was measured at `at`: it is not later than now.
    pub fn reading(&mut self, at: Instant) {
        if self.reading.is_none_or(|(newest, _)| newest < at) {
            self.reading = Some((at, self.uptime_s));
        }
        if self.now().is_none_or(|now| now < at) {
            self.set = Some((at, self.uptime_s));
        }
    }

    /// Somebody told the time. Whether it was taken, as far as the newest reading allows.
    pub fn told(&mut self, at: Instant) -> bool {
        let near = self.now().is_none_or(|now| (-TRIM.secs()..=TRIM.secs()).contains(&at.since(now).secs()));
        let taken = near || self.reading.is_none();
        if taken {
            let earliest = self.from(self.reading).unwrap_or(at);
            self.set = Some((at.max(earliest), self.uptime_s));
        }
        taken
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const BASE: u32 = 1_800_000_000;

    #[test]
    fn runs_across_the_wrap_and_loses_no_millisecond() {
        let mut clock = Clock::new();
        clock.run(u32::MAX - 1500);
        assert_eq!(clock.now(), None);
        clock.told(Instant::from_secs(BASE));
        for step in 1..=100_u32 {
            clock.run((u32::MAX - 1500).wrapping_add(step * 333));
        }
        let run = clock.now().unwrap().since(Instant::from_secs(BASE)).secs();
        assert!((33..=34).contains(&run), "{run}");
    }

    #[test]
    fn readings_push_it_forward_and_other_zones_do_not_move_it() {
        let mut clock = Clock::new();
        clock.reading(Instant::from_secs(BASE));
        clock.reading(Instant::from_secs(BASE - 300));
        assert_eq!(clock.now(), Some(Instant::from_secs(BASE)));
        clock.reading(Instant::from_secs(BASE + 7));
        assert_eq!(clock.now(), Some(Instant::from_secs(BASE + 7)));
        assert!(clock.told(Instant::from_secs(BASE + 20)));
        assert!(!clock.told(Instant::from_secs(BASE + 3600)));
        assert_eq!(clock.now(), Some(Instant::from_secs(BASE + 20)));
    }

    #[test]
    fn no_reading_gets_younger() {
        let mut clock = Clock::new();
        clock.reading(Instant::from_secs(BASE));
        // told ten minutes less, again and again: a sender whose clock stands
        for minute in 1..=30 {
            clock.run(minute * 60_000);
            clock.told(Instant::from_secs(BASE - 60));
            assert_eq!(clock.now(), Some(Instant::from_secs(BASE + minute * 60)));
        }
        // and one that only runs behind is followed
        clock.told(Instant::from_secs(BASE + 1800 + 90));
        clock.told(Instant::from_secs(BASE + 1800 + 30));
        assert_eq!(clock.now(), Some(Instant::from_secs(BASE + 1800 + 30)));
    }
}
