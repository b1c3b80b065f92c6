//! A count of milliseconds that only grows, the machine's sleep included, and what the clock on the wall shows.

use std::time::{Instant, SystemTime, UNIX_EPOCH};

/// Where the system's count leaves out its sleep: the wall going on by so much more is taken for sleep. It may be a
/// clock set forward; ages then come out too old, never too young.
const SLEPT_MS: u64 = 60_000;

/// The count.
pub struct Steady {
    begun: Instant,
    last: Instant,
    last_wall_ms: u64,
    slept_ms: u64,
}

impl Steady {
    /// Starts at zero.
    pub fn new() -> Self {
        let now = Instant::now();
        Self { begun: now, last: now, last_wall_ms: wall_ms(), slept_ms: slept_ms() }
    }

    /// Milliseconds since the start; to be asked every second or so.
    pub fn ms(&mut self) -> u64 {
        let (now, wall) = (Instant::now(), wall_ms());
        let ran = u64::try_from(now.duration_since(self.last).as_millis()).unwrap_or(0);
        if !KNOWS_SLEEP {
            self.slept_ms += overslept(ran, wall.saturating_sub(self.last_wall_ms));
        }
        (self.last, self.last_wall_ms) = (now, wall);
        let awake = u64::try_from(now.duration_since(self.begun).as_millis()).unwrap_or(0);
        let slept = if KNOWS_SLEEP { slept_ms().saturating_sub(self.slept_ms) } else { self.slept_ms };
        awake + slept
    }
}

/// How much of what the wall went on by nobody counted.
fn overslept(ran_ms: u64, wall_ms: u64) -> u64 {
    let more = wall_ms.saturating_sub(ran_ms);
    if more > SLEPT_MS { more } else { 0 }
}

fn wall_ms() -> u64 {
    SystemTime::now().duration_since(UNIX_EPOCH).map_or(0, |since| since.as_millis() as u64)
}

/// Seconds since 1970 by the clock on the wall.
pub fn wall() -> i64 {
    i64::try_from(wall_ms() / 1000).unwrap_or(0)
}

/// How long the machine has slept since it was started, where the system tells it.
#[cfg(target_os = "linux")]
fn slept_ms() -> u64 {
    use rustix::time::{ClockId, clock_gettime};
    let ms = |id| {
        let time = clock_gettime(id);
        time.tv_sec * 1000 + time.tv_nsec / 1_000_000
    };
    let awake = ms(ClockId::Monotonic);
    u64::try_from(ms(ClockId::Boottime) - awake).unwrap_or(0)
}
#[cfg(target_os = "linux")]
const KNOWS_SLEEP: bool = true;

#[cfg(not(target_os = "linux"))]
fn slept_ms() -> u64 {
    0
}
#[cfg(not(target_os = "linux"))]
const KNOWS_SLEEP: bool = false;

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_sleep_is_counted_and_a_second_more_or_less_is_none() {
        assert_eq!(overslept(1000, 7_200_000), 7_199_000);
        assert_eq!(overslept(1000, 2000), 0);
        assert_eq!(overslept(1000, 0), 0);
        let mut steady = Steady::new();
        std::thread::sleep(std::time::Duration::from_millis(30));
        let first = steady.ms();
        assert!((30..20_000).contains(&first), "{first}");
        assert!(steady.ms() >= first);
    }
}
