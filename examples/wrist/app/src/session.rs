//! Whose readings they are: a sensor's session, whose start may be told wrongly and corrected.
//!
//! A start that moves is a new sensor, or the same one and a sender that had the wrong date, hour or zone. The
//! measurements tell: of the same one they go on counting minutes as time passes here.

use glidepath::{Instant, Span};

/// Another start further off than this is not the same start.
const SAME_START: Span = Span::from_mins(2);
/// A session that began no longer ago than this, by a clock that was told, is a new one at once: its sensor warms up,
/// and sends nothing yet.
const FRESH: Span = Span::from_hours(2);
/// The same session's measurements may come so late or early, minutes.
const SLACK_MIN: i32 = 30;

/// The session.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Session {
    start: Option<Instant>,
    /// Whether its sensor may be a new one, of which nobody has been told.
    untold: bool,
    /// The last measurement's minute of the session, and the board's second then.
    last: Option<(u16, u32)>,
}

impl Session {
    /// None yet.
    #[must_use]
    pub const fn new() -> Self {
        Self { start: None, untold: false, last: None }
    }

    /// One that was kept over a power cut.
    #[must_use]
    pub const fn kept(start: Option<Instant>, untold: bool) -> Self {
        Self { start, untold, last: None }
    }

    /// When it began, as last told.
    #[must_use]
    pub const fn start(&self) -> Option<Instant> {
        self.start
    }

    /// Whether its sensor may be a new one, of which nobody has been told.
    #[must_use]
    pub const fn is_untold(&self) -> bool {
        self.untold
    }

    /// Somebody told its start. Whether that is news, and whether a new sensor's, beyond doubt.
    pub fn told(&mut self, start: Instant, wall: Option<Instant>) -> (bool, bool) {
        let known = self.start.replace(start);
        if known.is_some_and(|known| start.since(known).secs().abs() <= SAME_START.secs()) {
            return (false, false);
        }
        let ago = wall.map(|wall| wall.since(start));
        let new = ago.is_some_and(|ago| ago >= Span::ZERO && ago <= FRESH);
        self.untold = !new;
        if new {
            self.last = None;
        }
        (true, new)
    }

    /// A measurement of this minute of the session came. Whether it shows a new sensor.
    pub fn measured(&mut self, minute: u16, uptime_s: u32) -> bool {
        let goes_on = self.last.is_some_and(|(last, then)| {
            let passed = uptime_s.wrapping_sub(then) / 60;
            let expected = i32::from(last) + passed.min(1 << 20).cast_signed();
            let off = (i32::from(minute) - expected).abs();
            off <= SLACK_MIN && off < i32::from(last)
        });
        self.last = Some((minute, uptime_s));
        core::mem::take(&mut self.untold) && !goes_on
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(minute: u32) -> Instant {
        Instant::from_secs(1_800_000_000 + minute * 60)
    }

    #[test]
    fn a_start_that_is_corrected_is_no_new_sensor() {
        let mut session = Session::new();
        assert_eq!(session.told(at(0), None), (true, false));
        assert!(session.measured(3000, 10), "the first one is told of");
        assert!(!session.measured(3005, 310));
        assert_eq!(session.told(at(1), None), (false, false), "a minute is no news");
        assert_eq!(session.told(at(301), Some(at(6000))), (true, false));
        assert!(!session.measured(3010, 610));
        assert_eq!(session.start(), Some(at(301)));
        // a new sensor of which nothing was heard for two hours counts anew
        assert_eq!(session.told(at(3100), Some(at(6000))), (true, false));
        assert!(session.measured(120, 7900));
        assert!(!session.measured(125, 8200));
    }

    #[test]
    fn a_new_sensor_is_known_by_its_start_or_by_its_count() {
        let mut session = Session::new();
        assert_eq!(session.told(at(0), Some(at(30))), (true, true));
        assert!(!session.measured(30, 10), "told already");
        // another an hour later, when both have counted little
        let _ = session.told(at(70), None);
        assert!(session.measured(5, 2800));
        // after a power cut nobody knows what has passed
        let mut kept = Session::kept(Some(at(0)), false);
        assert_eq!(kept.told(at(0), None), (false, false));
        assert!(!kept.measured(40, 10));
        let mut kept = Session::kept(Some(at(0)), true);
        assert!(kept.measured(40, 10));
    }
}
