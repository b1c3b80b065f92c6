//! The one place where time is decided: a count of elapsed seconds that only grows, and where on it a stamp lies.
//!
//! A device has up to three clocks: a count of its own since it was switched on, a clock on the wall that somebody
//! sets, and the sensor's, which stamps the readings. The last two can be set back or forward by any amount, stop,
//! or read nonsense. So ages, delays, repeats, snoozes and warm-up run on the count alone, and stamps are only
//! placed on it:
//!
//! | what is called | moves the count on by |
//! | --- | --- |
//! | [`set_uptime`](Timeline::set_uptime): the device's own count | what it grew; from then on nothing else moves the count |
//! | [`tick`](Timeline::tick): the clock on the wall | what it grew since it or a stamp was last given; nothing when it was set back, a day at most |
//! | [`place`](Timeline::place) with a stamp, while neither of the two is called between readings | up to where the stamp lies |
//!
//! | a reading's stamp lies | it is taken as measured |
//! | --- | --- |
//! | at most [`AHEAD`] ahead of the count, or up to [`DELAY`] behind it | then (ahead: now) |
//! | further ahead: no reading comes from the future | now, when it arrived |
//! | further behind, and newer than all others | then: it came late |
//! | before the newest, where none is known | then: a gap is filled |
//! | before the newest, where another value is known, or over a day behind | not at all, until it is clear what happened |
//!
//! The third in a row that is off by the same, while time passes as its stamps say (or stands still while its values
//! do not), shows that the clock was set: stamps are placed anew from there, and by arrival until then.

use crate::codec::{Blank, Codec, Coded};
use crate::reading::Reading;
use crate::units::{Instant, Span};

/// A stamp this far ahead of the count is a tick not yet told, or a drift.
pub const AHEAD: Span = Span::from_mins(10);
/// A reading may come this late, again and again, before another clock is the better explanation.
pub const DELAY: Span = Span::from_mins(15);
/// A stamp further behind than this tells nothing.
const LATEST: Span = Span::from_hours(24);
/// The clock on the wall moves the count by no more than this at a time: enough for every rule.
const LONGEST_TICK: Span = Span::from_hours(24);
/// Stamps alone move the count by no more than this at a time.
const LONGEST_SILENCE: Span = Span::from_hours(35 * 24);
/// A lateness up to this is drift between two clocks, and is followed slowly.
const DRIFT: Span = Span::from_mins(2);
/// When the clock on the wall is set back, no more than this is taken to have passed.
const LONGEST_PACE: Span = Span::from_mins(2);
/// So many ticks between two readings, or this many of late, tell the time.
const FEW_TICKS: u8 = 2;
const MANY_TICKS: u8 = 8;
/// How many in a row show a new clock.
const VOTES: u8 = 3;
/// Stamps that are to agree are no further apart than this.
const NEIGHBOURS: Span = Span::from_hours(2);
/// Where the device's own count alone starts the count: what was before it has room.
const START: u32 = 1 << 30;
/// The count starts no later than this: 68 years are left of it then.
const LATEST_START: u32 = 1 << 31;
/// Here the count is near its end, and all must begin anew.
const END: u32 = u32::MAX - (1 << 26);

/// What a stage is reset for. The documentation of each stage's `reset` says what it keeps.
///
/// A clock that was set is none of these: stages know the count alone, which goes on as if nothing had been.
///
/// Feature `defmt` gives `Format`.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Reset {
    /// A new sensor was put on the same person.
    NewSensor,
    /// The power came back after an unknown time: no age is known.
    PowerReturned,
    /// Everything but the settings is forgotten.
    Everything,
}

/// A stamp and where on the count it lies. 8 bytes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct Mark {
    stamp: Instant,
    count: Instant,
}

impl Mark {
    fn count_of(self, stamp: Instant) -> Instant {
        self.count.plus(stamp.since(self.stamp))
    }

    fn stamp_of(self, count: Instant) -> Instant {
        self.stamp.plus(count.since(self.count))
    }
}

/// Readings whose stamps are off by the same. 20 bytes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct Strays {
    /// The last one's stamp, and the count when it arrived.
    last: Mark,
    first: Instant,
    value: u16,
    votes: u8,
}

/// Where a reading's stamp lies on the count.
///
/// Feature `defmt` gives `Format`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[must_use]
pub enum Placed {
    /// It was measured then.
    AsStamped(Instant),
    /// Its stamp cannot be right; it was measured when it arrived, then.
    OnArrival(Instant),
    /// The third in a row that says so: the clock that stamps was set. It was measured when it arrived, then, and
    /// stamps from before are to be moved by the span to be of the new clock.
    ClockSet(Instant, Span),
    /// Its stamp cannot be right, and when it was measured is unknown.
    Unknown,
}

/// The count, and what places stamps on it.
///
/// # Memory
/// 84 bytes.
///
/// # Examples
/// ```
/// use glidepath::timeline::{Placed, Timeline};
/// use glidepath::{Glucose, Instant, Reading, Span};
/// let at = Instant::from_secs;
/// let reading = |secs| Ok::<_, glidepath::Error>(Reading::new(at(secs), Glucose::from_mg_dl(110.0)?));
/// let mut timeline = Timeline::new();
/// assert_eq!(timeline.place(&reading(36_000)?, false), Placed::AsStamped(at(36_000)));
/// timeline.tick(Some(at(36_060)));
/// // the clock is set back by two hours: two minutes later the count has gone on by two minutes
/// timeline.tick(Some(at(28_920)));
/// timeline.tick(Some(at(28_980)));
/// assert_eq!(timeline.now(), at(36_180));
/// # Ok::<(), glidepath::Error>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Timeline {
    now: Instant,
    /// Whether anything has been heard.
    begun: bool,
    /// The device's own count when last told.
    uptime: Option<u32>,
    /// The clock on the wall when last told.
    wall: Option<Mark>,
    /// What places stamps.
    stamps: Option<Mark>,
    /// What passed between the last two ticks.
    pace: Span,
    /// The last stamp heard that told the time, and the count when it was.
    heard: Option<Mark>,
    /// The newest reading placed.
    newest: Option<Instant>,
    strays: Option<Strays>,
    /// How many ticks have been told of late: each reading halves it, …
    ticks: u8,
    /// … where two stamp on one count only one with no tick since the last of its own: whether one came.
    ticked: Option<bool>,
    /// Whether the power was away, for nobody knows how long, and no reading has come since.
    resumed: bool,
}

impl Default for Timeline {
    fn default() -> Self {
        Self::new()
    }
}

impl Timeline {
    /// A timeline that has been given no time yet.
    #[must_use]
    pub const fn new() -> Self {
        Self {
            now: Instant::from_secs(0),
            begun: false,
            uptime: None,
            wall: None,
            stamps: None,
            pace: Span::ZERO,
            heard: None,
            newest: None,
            strays: None,
            ticks: 0,
            ticked: None,
            resumed: false,
        }
    }

    /// The present moment on the count.
    #[must_use]
    pub const fn now(&self) -> Instant {
        self.now
    }

    /// Whether the power was away since the newest reading, so that its age is not known.
    #[must_use]
    pub const fn is_resumed(&self) -> bool {
        self.resumed
    }

    /// Whether the count is at its end: forget all moments of it, and begin with a new timeline.
    #[must_use]
    pub const fn is_at_end(&self) -> bool {
        self.now.secs() >= END
    }

    /// The count of another that hears the same device, as far as it is ahead: of two that each stamp on their own. Whoever
    /// has heard nothing yet begins there, with its clocks.
    pub(crate) fn keep_up(&mut self, other: &Self) {
        if !self.begun {
            let wall = other.wall.or(other.stamps);
            *self = Self { stamps: None, newest: None, strays: None, heard: None, wall, ..*other };
        }
        self.advance(other.now);
        self.ticked = Some(self.ticked == Some(true));
    }

    /// When the newest reading that could be placed was measured, believed or not.
    pub(crate) const fn newest(&self) -> Option<Instant> {
        self.newest
    }

    /// The power is back and another that hears the same device tells the time again: what was read here before is of no
    /// known age and must be forgotten.
    pub(crate) const fn go_on(&mut self) {
        self.resumed = false;
    }

    /// Gives the device's own count of seconds since it was switched on; it may wrap (after 136 years).
    ///
    /// # Examples
    /// ```
    /// use glidepath::Instant;
    /// use glidepath::timeline::Timeline;
    /// let mut timeline = Timeline::new();
    /// timeline.set_uptime(60);
    /// let begun = timeline.now();
    /// timeline.set_uptime(360);
    /// timeline.tick(Some(Instant::from_secs(4_000_000_000))); // a wrong clock moves nothing
    /// assert_eq!(timeline.now().since(begun).secs(), 300);
    /// ```
    pub fn set_uptime(&mut self, uptime_secs: u32) {
        let grown = self.uptime.map_or(0, |then| uptime_secs.wrapping_sub(then).cast_signed());
        self.uptime = Some(uptime_secs);
        self.begin(START);
        if grown > 0 {
            self.advance(self.now.plus(Span::from_secs(grown).min(LONGEST_SILENCE)));
        }
    }

    /// Gives the time of the clock on the wall; `None` when nobody has set it.
    ///
    /// # Examples
    /// ```
    /// use glidepath::timeline::Timeline;
    /// use glidepath::{Instant, Span};
    /// let (mut timeline, noon) = (Timeline::new(), Instant::from_secs(43_200));
    /// timeline.tick(Some(noon));
    /// timeline.tick(Some(noon.plus(Span::from_mins(1))));
    /// let before = timeline.now();
    /// timeline.tick(Some(noon.plus(Span::from_mins(-119)))); // set back by two hours
    /// assert_eq!(timeline.now().since(before), Span::from_mins(1)); // as long as between the ticks before
    /// timeline.tick(None); // nobody has set the clock: nothing changes
    /// ```
    pub fn tick(&mut self, wall: Option<Instant>) {
        let Some(wall) = wall else { return };
        self.begin(wall.secs());
        let since = |mark: &Mark| wall.since(mark.stamp);
        if self.uptime.is_none() {
            let after = |mark: &Mark| mark.count.plus(since(mark).min(LONGEST_TICK));
            let by_tick = self.wall.as_ref().map(after);
            // after a leap, or at the first tick, a stamp heard since may tell better how much time has passed
            let leap = self.wall.is_none_or(|then| since(&then) > AHEAD);
            let by_stamp = self.heard.as_ref().filter(|heard| {
                leap && since(heard) >= Span::ZERO && self.wall.is_none_or(|then| heard.count >= then.count)
            });
            let by_stamp = by_stamp.map(after);
            let on = by_tick.into_iter().chain(by_stamp).filter(|to| *to > self.now);
            let to = on.min().unwrap_or(self.now);
            if self.wall.is_some_and(|then| since(&then) < Span::ZERO) {
                // set back: since the last tick about as much has passed as between two others
                self.advance(self.now.plus(self.pace));
            } else if to > self.now {
                self.pace = to.since(self.now).min(LONGEST_PACE);
                self.advance(to);
            }
            self.ticks = self.ticks.saturating_add(1).min(MANY_TICKS);
            self.ticked = self.ticked.map(|_| true);
        }
        self.wall = Some(Mark { stamp: wall, count: self.now });
    }

    /// Places a reading's stamp on the count. `taken`: another reading is known at that stamp already.
    ///
    /// # Examples
    /// ```
    /// use glidepath::timeline::{Placed, Timeline};
    /// use glidepath::{Glucose, Instant, Reading, Span};
    /// let mut timeline = Timeline::new();
    /// let reading = |at| Ok::<_, glidepath::Error>(Reading::new(at, Glucose::from_mg_dl(110.0)?));
    /// let noon = Instant::from_secs(43_200);
    /// timeline.set_uptime(60);
    /// assert_eq!(timeline.place(&reading(noon)?, false), Placed::AsStamped(timeline.now()));
    /// timeline.set_uptime(360);
    /// let tomorrow = noon.plus(Span::from_hours(24)); // no reading comes from the future
    /// assert_eq!(timeline.place(&reading(tomorrow)?, false), Placed::OnArrival(timeline.now()));
    /// # Ok::<(), glidepath::Error>(())
    /// ```
    pub fn place(&mut self, reading: &Reading, taken: bool) -> Placed {
        let stamp = reading.at();
        self.begin(stamp.secs());
        let placed = match self.placed(reading, taken) {
            Placed::OnArrival(at) if self.newest.is_some_and(|newest| at <= newest) => Placed::Unknown,
            placed => placed,
        };
        if !matches!(placed, Placed::OnArrival(_) | Placed::Unknown) {
            self.heard = Some(Mark { stamp, count: self.now });
        }
        if let Placed::AsStamped(at) | Placed::OnArrival(at) | Placed::ClockSet(at, _) = placed
            && self.newest.is_none_or(|newest| at > newest)
        {
            self.newest = Some(at);
            self.resumed = false;
            if self.ticked == Some(true) {
                self.ticked = Some(false);
            } else {
                self.ticks >>= 1;
            }
        }
        placed
    }

    /// Where the stamp of something else than a reading lies: by the clock on the wall, else by the sensor's.
    #[must_use]
    pub fn count_of(&self, stamp: Instant) -> Instant {
        self.wall.or(self.stamps).map_or(self.now, |mark| mark.count_of(stamp))
    }

    /// A moment of the count as the clock that stamps readings shows it.
    #[must_use]
    pub fn stamp_of(&self, count: Instant) -> Instant {
        self.stamps.or(self.wall).map_or(count, |mark| mark.stamp_of(count))
    }

    /// A moment of the count as the clock on the wall shows it; `None` before any time was given.
    ///
    /// # Examples
    /// ```
    /// use glidepath::Instant;
    /// use glidepath::timeline::Timeline;
    /// let mut timeline = Timeline::new();
    /// assert_eq!(timeline.wall_of(timeline.now()), None); // no time has been given
    /// timeline.tick(Some(Instant::from_secs(43_200)));
    /// assert_eq!(timeline.wall_of(timeline.now()), Some(Instant::from_secs(43_200)));
    /// ```
    #[must_use]
    pub fn wall_of(&self, count: Instant) -> Option<Instant> {
        self.wall.or(self.stamps).map(|mark| mark.stamp_of(count))
    }

    /// Where on the count something started, by its stamp: at the latest now.
    pub fn start_of(&mut self, stamp: Instant) -> Instant {
        if !self.begun {
            self.begin(stamp.secs());
            self.wall = Some(Mark { stamp, count: self.now });
        }
        self.count_of(stamp).min(self.now)
    }

    /// The power was away for an unknown time. The count goes on from where it stood.
    pub fn resume(&mut self) {
        (self.uptime, self.wall, self.heard, self.strays) = (None, None, None, None);
        (self.ticks, self.ticked, self.resumed) = (0, None, true);
    }

    /// The first thing heard starts the count.
    fn begin(&mut self, secs: u32) {
        if !self.begun {
            self.begun = true;
            self.now = Instant::from_secs(secs.min(LATEST_START));
        }
    }

    fn advance(&mut self, to: Instant) {
        self.now = self.now.max(to);
    }

    /// Whether time is told by more than stamps: by the device's own count, or by ticks between readings.
    const fn is_told(&self) -> bool {
        self.uptime.is_some() || self.ticks >= FEW_TICKS
    }

    fn placed(&mut self, reading: &Reading, taken: bool) -> Placed {
        let stamp = reading.at();
        let Some(mark) = self.stamps.or(self.wall) else {
            self.stamps = Some(Mark { stamp, count: self.now });
            return Placed::AsStamped(self.now);
        };
        let at = mark.count_of(stamp);
        let ahead = at.since(self.now);
        if ahead > Span::ZERO {
            let free = !self.is_told() || self.resumed;
            if ahead > AHEAD && !free || ahead > LONGEST_SILENCE {
                self.ticks >>= 1; // if it goes on so, it is the ticks that have ended
                return self.stray(reading, false).unwrap_or(Placed::OnArrival(self.now));
            }
            if free || self.uptime.is_none() {
                self.advance(at);
            }
            return self.straight(stamp, self.now);
        }
        let behind = self.now.since(at);
        if self.newest.is_none_or(|newest| at > newest) {
            if behind > DELAY && self.is_told() {
                return self.stray(reading, false).unwrap_or(if behind > LATEST {
                    Placed::OnArrival(self.now)
                } else {
                    Placed::AsStamped(at)
                });
            }
            // a sensor's clock that runs slow would seem to be ever later
            let drift = if behind <= DRIFT { behind.secs().wrapping_shr(4) } else { 0 };
            return self.straight(stamp, at.plus(Span::from_secs(drift)));
        }
        let lost = taken || behind > LATEST;
        let otherwise = if lost { Placed::Unknown } else { Placed::AsStamped(at) };
        self.stray(reading, lost).unwrap_or(otherwise)
    }

    /// Nothing is odd about a stamp.
    fn straight(&mut self, stamp: Instant, count: Instant) -> Placed {
        self.stamps = Some(Mark { stamp, count });
        self.strays = None;
        Placed::AsStamped(count)
    }

    /// One more stamp that is off: the third that agrees places stamps anew. Without ticks time passes as such
    /// stamps say, if they are `lost` otherwise.
    fn stray(&mut self, reading: &Reading, lost: bool) -> Option<Placed> {
        let (stamp, value) = (reading.at(), reading.glucose().whole_mg_dl());
        let here = Mark { stamp, count: self.now };
        let fresh = Strays { last: here, first: stamp, value, votes: 1 };
        let mut step = Span::ZERO;
        let strays = match self.strays {
            Some(known) if self.agrees(&known, &fresh, lost) => {
                step = stamp.since(known.last.stamp);
                Strays { first: known.first, votes: known.votes.saturating_add(1), ..fresh }
            }
            Some(known) if stamp == known.last.stamp => known, // the same again
            _ => fresh,
        };
        self.strays = Some(strays);
        if strays.votes < VOTES {
            return None;
        }
        if !self.is_told() {
            // and as long again before the first of them
            self.advance(self.now.plus(stamp.since(strays.first)).plus(step));
        }
        if self.resumed {
            self.advance(self.now.plus(LONGEST_TICK)); // nobody knows how long it was
        }
        let moved = self.stamps.map_or(Span::ZERO, |old| stamp.since(old.stamp_of(self.now)));
        self.stamps = Some(Mark { stamp, count: self.now });
        if let Some(strays) = &mut self.strays {
            strays.last.count = self.now;
        }
        Some(Placed::ClockSet(self.now, moved))
    }

    /// Whether two stamps that are off are off by the same.
    fn agrees(&self, known: &Strays, fresh: &Strays, lost: bool) -> bool {
        let stamped = fresh.last.stamp.since(known.last.stamp).secs();
        let passed = fresh.last.count.since(known.last.count).secs();
        if passed < 30 {
            // no time has passed: a burst, or nobody ticks
            return !self.is_told() && lost && stamped > 0 && stamped <= NEIGHBOURS.secs();
        }
        let stands = stamped == 0 && known.value != fresh.value;
        let slack = passed.wrapping_shr(2).max(90);
        stands || stamped > 0 && stamped.abs_diff(passed) <= slack.unsigned_abs()
    }
}

impl Blank for Mark {
    const BLANK: Self = Self { stamp: Instant::BLANK, count: Instant::BLANK };
}

impl Coded for Mark {
    fn code(&mut self, codec: &mut Codec<'_>) {
        let Self { stamp, count } = self;
        codec.stamp(stamp);
        codec.moment(count);
    }
}

impl Coded for Timeline {
    /// The first of all stages: no moment of the others is later than its present.
    fn code(&mut self, codec: &mut Codec<'_>) {
        let Self {
            now,
            begun,
            stamps,
            pace,
            newest,
            uptime: _,
            wall: _,
            heard: _,
            strays: _,
            ticks: _,
            ticked: _,
            resumed: _,
        } = self;
        let now = codec.now(now);
        let begun = codec.flag(begun);
        codec.demand(begun || now == Instant::from_secs(0));
        stamps.code(codec);
        newest.code(codec);
        codec.span(pace, Span::ZERO, LONGEST_PACE);
        if codec.loads() {
            self.resume(); // what the others tell is forgotten when the power returns
        }
    }
}

#[cfg(test)]
mod tests;
