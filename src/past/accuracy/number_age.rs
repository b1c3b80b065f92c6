//! How old the number on the screen is.

use crate::error::{Error, ErrorKind};
use crate::moments::Sum;
use crate::units::Span;

/// Minutes a number may stay on a screen at most.
const MAX_SHOWN: usize = 60;

/// The age of the blood glucose that a screen shows, over all moments at which it shows one: the sensor's lag,
/// the delivery, and the wait for the next reading. Streaming, 268 bytes.
///
/// A sensor ten minutes behind that reports every five minutes shows a number ten to fifteen minutes old. At
/// 2 mg/dL per minute such a number is 20 to 30 mg/dL off.
///
/// # Examples
/// ```
/// use glidepath::accuracy::DisplayedAge;
/// use glidepath::Span;
/// let mut age = DisplayedAge::new(Span::from_mins(10), Span::from_mins(20))?;
/// for _ in 0..100 {
///     age.push_interval(Span::from_mins(5));
/// }
/// assert_eq!(age.percentile_min(50.0), Some(12.5));
/// assert_eq!(age.oldest_min(), Some(15.0));
/// # Ok::<(), glidepath::Error>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct DisplayedAge {
    delay: Span,
    shown_for_s: u32,
    /// Seconds at which the number on the screen was that many whole minutes past its arrival.
    seconds: [u32; MAX_SHOWN],
    shown_s: u32,
    blank_s: u32,
    longest_s: u32,
    area: Sum,
}

impl DisplayedAge {
    /// For a sensor whose numbers are `delay` old when they arrive (lag and delivery together), on a screen
    /// that takes a number down `shown_for` after its arrival.
    ///
    /// # Errors
    /// When the delay is beyond ±1 hour, or the time shown not within 1 to 60 min.
    pub const fn new(delay: Span, shown_for: Span) -> Result<Self, Error> {
        if delay.secs() < -3600 || delay.secs() > 3600 {
            return Err(Error::new("delay", ErrorKind::OutOfRange));
        }
        if shown_for.secs() < 60 || shown_for.secs() > 3600 {
            return Err(Error::new("shown_for", ErrorKind::OutOfRange));
        }
        Ok(Self {
            delay,
            shown_for_s: shown_for.secs().unsigned_abs(),
            seconds: [0; MAX_SHOWN],
            shown_s: 0,
            blank_s: 0,
            longest_s: 0,
            area: Sum::new(),
        })
    }

    /// Takes the time from one reading to the next; nothing when it is not above zero.
    pub fn push_interval(&mut self, interval: Span) {
        let Ok(whole) = u32::try_from(interval.secs()) else { return };
        let shown = whole.min(self.shown_for_s);
        self.blank_s = self.blank_s.saturating_add(whole.saturating_sub(shown));
        self.shown_s = self.shown_s.saturating_add(shown);
        self.longest_s = self.longest_s.max(shown);
        self.area.add(0.5 * shown as f32 * shown as f32);
        let mut left = shown;
        for bin in &mut self.seconds {
            let part = left.min(60);
            *bin = bin.saturating_add(part);
            left = left.saturating_sub(part);
        }
    }

    /// The mean age of a shown number, minutes.
    #[must_use]
    pub fn mean_min(&self) -> Option<f32> {
        (self.shown_s > 0).then(|| self.delay.mins() + self.area.total() / self.shown_s as f32 / 60.0)
    }

    /// The age that `percent` of shown time stays within, minutes; to the second within whole minutes of wait.
    /// `None` outside 0 to 100 and before any interval.
    #[must_use]
    pub fn percentile_min(&self, percent: f32) -> Option<f32> {
        if self.shown_s == 0 || !(0.0..=100.0).contains(&percent) {
            return None;
        }
        let mut left = percent / 100.0 * self.shown_s as f32;
        for (minute, seconds) in self.seconds.iter().enumerate() {
            let held = *seconds as f32;
            if left <= held {
                let part = if held > 0.0 { left / held } else { 0.0 };
                let wait = minute as f32 + part;
                return Some(self.delay.mins() + wait.min(self.longest_s as f32 / 60.0));
            }
            left -= held;
        }
        self.oldest_min()
    }

    /// The age of the oldest number shown, minutes.
    #[must_use]
    pub fn oldest_min(&self) -> Option<f32> {
        (self.shown_s > 0).then(|| self.delay.mins() + self.longest_s as f32 / 60.0)
    }

    /// The share of time with any number on the screen, percent.
    #[must_use]
    pub fn shown_percent(&self) -> Option<f32> {
        let all = self.shown_s.saturating_add(self.blank_s);
        (all > 0).then(|| 100.0 * self.shown_s as f32 / all as f32)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_gap_blanks_the_screen() {
        let mut age = DisplayedAge::new(Span::from_mins(5), Span::from_mins(20)).unwrap();
        assert_eq!((age.mean_min(), age.percentile_min(50.0), age.shown_percent()), (None, None, None));
        age.push_interval(Span::from_mins(80));
        age.push_interval(Span::from_secs(-5));
        assert_eq!(age.shown_percent(), Some(25.0));
        assert_eq!(age.mean_min(), Some(15.0));
        assert_eq!(age.percentile_min(100.0), Some(25.0));
        assert_eq!(age.percentile_min(101.0), None);
    }

    #[test]
    fn slow_and_fast_intervals_mix_by_time() {
        // 5 min of waits up to 5, 15 min of waits up to 15: a wait over 5 min half the time
        let mut age = DisplayedAge::new(Span::ZERO, Span::from_mins(60)).unwrap();
        age.push_interval(Span::from_mins(5));
        age.push_interval(Span::from_mins(15));
        assert_eq!(age.percentile_min(50.0), Some(5.0));
        assert_eq!(age.mean_min(), Some((25.0 + 225.0) / 40.0));
    }

    #[test]
    fn unreasonable_settings_are_refused() {
        assert!(DisplayedAge::new(Span::from_hours(2), Span::from_mins(20)).is_err());
        assert!(DisplayedAge::new(Span::ZERO, Span::from_secs(59)).is_err());
        assert!(DisplayedAge::new(Span::ZERO, Span::from_hours(2)).is_err());
    }

    #[test]
    fn ages_run_evenly_from_the_delay_to_the_longest_wait() {
        let mut age = DisplayedAge::new(Span::from_mins(10), Span::from_mins(20)).unwrap();
        for _ in 0..100 {
            age.push_interval(Span::from_secs(270));
        }
        for (percent, want) in [(0.0, 10.0), (50.0, 12.25), (80.0, 13.6), (100.0, 14.5)] {
            assert!((age.percentile_min(percent).unwrap() - want).abs() < 1e-4, "{percent}");
        }
        assert_eq!((age.oldest_min(), age.mean_min()), (Some(14.5), Some(12.25)));
        assert_eq!((age.percentile_min(-0.1), age.shown_percent()), (None, Some(100.0)));
        let nothing = DisplayedAge::new(Span::ZERO, Span::from_mins(60)).unwrap();
        assert_eq!((nothing.oldest_min(), nothing.percentile_min(0.0)), (None, None));
    }
}
