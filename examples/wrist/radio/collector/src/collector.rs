//! What to do next on a link that [`crate::trust`] admitted.
//!
//! Whoever has the radio asks [`Collector::next`], does that, and tells the outcome; notifications and indications are
//! told whenever they come. What was understood is taken from [`Collector::frame`].

use crate::control::{Ask, Command, Feature, Number, Ops, OpsSaid, RacpSaid, abort, ops, report, run_time_h};
use crate::kept::Settled;
use crate::ledger::{Heard, Ledger};
use glidepath::gatt::{
    CgmMeasurement, CgmStatus, CurrentTime, DateTime, E2eCrc, GlucoseMeasurement, SessionStart,
};
use glidepath::{Instant, Span};
use heapless::{Deque, Vec};
use wrist::link::Frame;

/// Places asked for at a time: a burst that a small queue can take.
const CHUNK: u16 = 24;
/// An answer that is silent for so long has ended.
const SILENT_S: u32 = 6;
/// The control point is given so long.
const OPS_S: u32 = 3;
/// What ran ahead of a transfer waits for it so long at most.
const HOLD_S: u32 = 20;
/// The link is of no use when nothing new came for so long, though it was asked for.
const USELESS_S: u32 = 20 * 60;
/// So many malformed payloads on one link are no accident.
const MALFORMED: u16 = 200;
/// A step is tried so often.
const TRIES: u8 = 3;
/// A record this far behind the newest, outside any transfer, may be of another session, minutes.
const BACK: u16 = 15;
/// A record is taken when there is room for it, for all that ran ahead, and for what else a link tells.
const ROOM: usize = 12;
/// Starts no further apart are the same.
const SAME_START_S: i32 = 120;

/// Whose records.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    /// A continuous sensor's: service 0x181F.
    Sensor,
    /// A fingerstick meter's: service 0x1808.
    Meter,
}

/// What to do next.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Step {
    /// Read, and tell [`Collector::read`].
    Read(Number),
    /// Let notifications (or indications) come, and tell [`Collector::done`].
    Subscribe(Number),
    /// Write, and tell [`Collector::done`].
    Write(Number, Command),
    /// Nothing for so many seconds, or until something comes.
    Wait(u32),
    /// Leave this link.
    Leave(Why),
}

/// Why a link is left.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Why {
    /// It does not answer.
    Silent,
    /// It lacks what the service must have, or what it says cannot be understood.
    Unusable,
    /// It sends what is no record, again and again.
    Malformed,
    /// A meter has nothing more.
    Finished,
}

/// What became of all that came. The counts stay at their ends.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Counts {
    /// Records taken.
    pub records: u16,
    /// Records held already.
    pub repeated: u16,
    /// Payloads refused: length, flags, reserved values, checksum.
    pub malformed: u16,
    /// Records whose number cannot be.
    pub strange: u16,
    /// Records whose octets' unsettled order decides whether they are a fault: passed on as doubtful.
    pub order_in_doubt: u16,
    /// Transfers asked for.
    pub transfers: u16,
    /// Transfers that ended in silence, or that were refused.
    pub failed: u16,
    /// Sessions begun anew: another start, or a count that begins again.
    pub sessions: u16,
}

#[derive(Clone, Copy, Debug)]
struct Transfer {
    first: u16,
    last: u16,
    heard_s: u32,
}

/// The collector of one paired peer. It outlives links. 2 kB.
#[derive(Clone, Debug)]
pub struct Collector {
    kind: Kind,
    ledger: Ledger,
    session: Option<u32>,
    counts: Counts,
    out: Deque<Frame, 48>,
    /// Ran ahead of a transfer.
    ahead: Vec<CgmMeasurement, 8>,
    ahead_since_s: u32,
    /// Whether the wearer wants a session started.
    start_wanted: bool,
    link: Link,
}

/// What holds for one link.
#[derive(Clone, Debug)]
struct Link {
    up: bool,
    offers: Vec<Number, 12>,
    /// What is still to be done first.
    plan: Deque<Step, 12>,
    doing: Option<(Number, u8)>,
    feature: Feature,
    time: Option<Instant>,
    start: Option<SessionStart>,
    start_told: bool,
    stopped: bool,
    ops_until_s: Option<u32>,
    ask_all: u8,
    within: bool,
    transfer: Option<Transfer>,
    pause_until_s: u32,
    failures: u8,
    heard_s: u32,
    polled_s: u32,
    malformed: u16,
    unusable: bool,
}

impl Link {
    const fn new() -> Self {
        Self {
            up: false,
            offers: Vec::new(),
            plan: Deque::new(),
            doing: None,
            feature: Feature { crc: E2eCrc::Absent },
            time: None,
            start: None,
            start_told: false,
            stopped: false,
            ops_until_s: None,
            ask_all: 0,
            within: true,
            transfer: None,
            pause_until_s: 0,
            failures: 0,
            heard_s: 0,
            polled_s: 0,
            malformed: 0,
            unusable: false,
        }
    }

    fn offers(&self, number: Number) -> bool {
        self.offers.contains(&number)
    }
}

impl Collector {
    /// Of a peer whose records are settled so far.
    #[must_use]
    pub const fn new(kind: Kind, settled: Settled) -> Self {
        let ledger = match kind {
            Kind::Sensor => Ledger::minutes(settled.below),
            Kind::Meter => Ledger::sequence(settled.below),
        };
        Self {
            kind,
            ledger,
            session: if settled.session == 0 { None } else { Some(settled.session) },
            counts: Counts {
                records: 0,
                repeated: 0,
                malformed: 0,
                strange: 0,
                order_in_doubt: 0,
                transfers: 0,
                failed: 0,
                sessions: 0,
            },
            out: Deque::new(),
            ahead: Vec::new(),
            ahead_since_s: 0,
            start_wanted: false,
            link: Link::new(),
        }
    }

    /// What is to be kept over a restart.
    #[must_use]
    pub fn settled(&self) -> Settled {
        Settled { session: self.session.unwrap_or(0), below: self.ledger.settled_below() }
    }

    /// What became of all that came.
    #[must_use]
    pub const fn counts(&self) -> Counts {
        self.counts
    }

    /// Which records are held.
    #[must_use]
    pub const fn ledger(&self) -> &Ledger {
        &self.ledger
    }

    /// The wearer wants a sensor that has stopped, or was never started, to begin a session.
    pub fn start_session(&mut self) {
        self.start_wanted = true;
    }

    /// What was understood, the oldest first.
    pub fn frame(&mut self) -> Option<Frame> {
        self.out.pop_front()
    }

    /// A link is up and admitted; the service has these characteristics.
    pub fn linked(&mut self, offers: &[Number], now_s: u32) {
        self.link = Link { up: true, heard_s: now_s, polled_s: now_s, pause_until_s: now_s, ..Link::new() };
        for number in offers {
            let _ = self.link.offers.push(*number);
        }
        let read = |number| Step::Read(number);
        let plan: &[Step] = match self.kind {
            Kind::Sensor => &[
                read(Number::FEATURE),
                read(Number::TIME),
                read(Number::START),
                Step::Subscribe(Number::MEASUREMENT),
                Step::Subscribe(Number::OPS),
                Step::Subscribe(Number::RACP),
                read(Number::STATUS),
                read(Number::RUN_TIME),
                Step::Write(Number::OPS, Command::new()), // filled in when the checksum is known
            ],
            Kind::Meter => {
                &[read(Number::TIME), Step::Subscribe(Number::METER), Step::Subscribe(Number::RACP)]
            }
        };
        for step in plan {
            let _ = self.link.plan.push_back(step.clone());
        }
        let needed = match self.kind {
            Kind::Sensor => [Number::MEASUREMENT, Number::FEATURE],
            Kind::Meter => [Number::METER, Number::RACP],
        };
        self.link.unusable = needed.iter().any(|number| !self.link.offers(*number));
        // a meter does not say how far it has counted
        self.link.ask_all = if self.kind == Kind::Meter { 1 } else { 0 };
    }

    /// The link is down.
    pub fn lost(&mut self, now_s: u32) {
        // what a transfer that broke off did not bring was not asked for in vain
        self.link = Link::new();
        self.flush();
        let _ = now_s;
    }

    /// What to do next.
    pub fn next(&mut self, now_s: u32) -> Step {
        if !self.link.up {
            return Step::Wait(60);
        }
        if self.link.unusable {
            return Step::Leave(Why::Unusable);
        }
        if self.link.malformed >= MALFORMED {
            return Step::Leave(Why::Malformed);
        }
        if self.link.failures >= TRIES {
            return Step::Leave(Why::Silent);
        }
        while let Some(step) = self.link.plan.pop_front() {
            let number = match &step {
                Step::Read(number) | Step::Subscribe(number) | Step::Write(number, _) => *number,
                _ => continue,
            };
            if !self.link.offers(number) {
                continue;
            }
            let tries = match self.link.doing {
                Some((doing, tries)) if doing == number => tries.saturating_add(1),
                _ => 1,
            };
            self.link.doing = Some((number, tries));
            if let Step::Write(Number::OPS, _) = step {
                self.link.ops_until_s = Some(now_s.wrapping_add(OPS_S));
                return Step::Write(number, ops(Ops::Interval, self.link.feature.crc));
            }
            return step;
        }
        if let Some(until) = self.link.ops_until_s {
            if before(now_s, until) {
                return Step::Wait(until.wrapping_sub(now_s));
            }
            self.link.ops_until_s = None;
        }
        if let Some(transfer) = self.link.transfer {
            let end = transfer.heard_s.wrapping_add(SILENT_S);
            if before(now_s, end) {
                return Step::Wait(end.wrapping_sub(now_s));
            }
            self.ended(transfer, now_s);
            self.failed(now_s);
            return Step::Write(Number::RACP, abort());
        }
        if before(now_s, self.link.pause_until_s) {
            return Step::Wait(self.link.pause_until_s.wrapping_sub(now_s));
        }
        if self.start_wanted && self.link.stopped && self.link.offers(Number::OPS) {
            self.start_wanted = false;
            self.link.ops_until_s = Some(now_s.wrapping_add(OPS_S));
            return Step::Write(Number::OPS, ops(Ops::Start, self.link.feature.crc));
        }
        if let Some(step) = self.ask(now_s) {
            return step;
        }
        self.flush();
        self.idle(now_s)
    }

    /// Whether nobody said how far records go: all from the first unsettled one on are asked for.
    fn asks_all(&self) -> bool {
        (1..=TRIES).contains(&self.link.ask_all)
    }

    /// The next transfer, if something is owed.
    fn ask(&mut self, now_s: u32) -> Option<Step> {
        if !self.link.offers(Number::RACP) {
            return None;
        }
        let below = self.ledger.settled_below();
        let (first, last, ask) = if self.asks_all() {
            (below, u16::MAX, if below == 0 || !self.link.within { Ask::All } else { Ask::From(below) })
        } else {
            let (first, last) = self.ledger.owed(CHUNK)?;
            if self.link.within {
                (first, last, Ask::Within(first, last))
            } else {
                (first, u16::MAX, Ask::From(first))
            }
        };
        self.counts.transfers = self.counts.transfers.saturating_add(1);
        self.link.transfer = Some(Transfer { first, last, heard_s: now_s });
        Some(Step::Write(Number::RACP, report(ask)))
    }

    /// Nothing is owed: waits, asks how far the sensor has counted, or leaves.
    fn idle(&mut self, now_s: u32) -> Step {
        if self.kind == Kind::Meter {
            return if now_s.wrapping_sub(self.link.heard_s) > SILENT_S {
                Step::Leave(Why::Finished)
            } else {
                Step::Wait(SILENT_S)
            };
        }
        if now_s.wrapping_sub(self.link.heard_s) >= USELESS_S {
            return Step::Leave(Why::Silent);
        }
        // a sensor that should have spoken by now
        let due = self
            .link
            .polled_s
            .wrapping_add(u32::from(self.ledger.step()).saturating_mul(60).saturating_add(30));
        if before(now_s, due) || !self.link.offers(Number::STATUS) {
            return Step::Wait(due.wrapping_sub(now_s).clamp(1, 300));
        }
        self.link.polled_s = now_s;
        Step::Read(Number::STATUS)
    }

    /// What was read, or that it could not be.
    pub fn read(&mut self, number: Number, value: Option<&[u8]>, now_s: u32) {
        let understood = value.is_some_and(|bytes| self.understood(number, bytes, now_s));
        if understood {
            return;
        }
        if value.is_some() {
            self.malformed();
        }
        let tries = self.link.doing.map_or(TRIES, |(_, tries)| tries);
        if tries < TRIES && self.link.doing.is_some_and(|(doing, _)| doing == number) {
            let _ = self.link.plan.push_front(Step::Read(number));
        } else if number == Number::FEATURE {
            // without it no payload can be judged
            self.link.unusable = true;
        } else if number == Number::START {
            self.start(None);
        } else if number == Number::STATUS {
            self.link.ask_all = self.link.ask_all.max(1);
        }
    }

    fn understood(&mut self, number: Number, bytes: &[u8], now_s: u32) -> bool {
        let crc = self.link.feature.crc;
        match number {
            Number::FEATURE => match Feature::decode(bytes) {
                Some(feature) => self.link.feature = feature,
                None => return false,
            },
            Number::TIME => match CurrentTime::decode(bytes) {
                Ok(time) => {
                    self.link.time = time.date_time().instant();
                    if self.link.time.is_some() {
                        let _ = self.out.push_back(Frame::Time(time));
                    }
                }
                Err(_) => return false,
            },
            Number::START => match SessionStart::decode(bytes, crc) {
                Ok(start) => self.start(Some(start)),
                Err(_) => return false,
            },
            Number::STATUS => match CgmStatus::decode(bytes, crc) {
                Ok(status) => self.status(status, now_s),
                Err(_) => return false,
            },
            Number::RUN_TIME => return run_time_h(bytes, crc).is_some(),
            _ => return false,
        }
        true
    }

    fn start(&mut self, start: Option<SessionStart>) {
        let at = start.and_then(|start| start.local().instant());
        self.link.start = start.filter(|_| at.is_some());
        self.link.start_told = false;
        let Some(at) = at else { return };
        let known = self.session.map(Instant::from_secs);
        if known.is_some_and(|known| at.since(known).secs().abs() <= SAME_START_S) {
            return;
        }
        self.session = Some(at.secs());
        // one that was only corrected goes on counting: the status, read next, tells. After a restart nobody can tell
        if known.is_some() && self.ledger.newest().is_none() {
            self.anew(0);
        }
    }

    fn status(&mut self, status: CgmStatus, now_s: u32) {
        use glidepath::gatt::Annunciation;
        self.link.stopped = status.annunciation().contains(Annunciation::SESSION_STOPPED);
        let number = status.offset_min();
        let behind = self.ledger.newest().is_some_and(|newest| number < newest.saturating_sub(BACK));
        if behind || !self.ledger.counted(number, now_s) {
            self.anew(0);
            let _ = self.ledger.counted(number, now_s);
        }
        self.tell_start(number);
        let _ = self.out.push_back(Frame::Status(status));
    }

    /// Another session: nothing of it is held.
    fn anew(&mut self, floor: u16) {
        self.counts.sessions = self.counts.sessions.saturating_add(1);
        self.flush();
        self.ledger = Ledger::minutes(floor);
    }

    /// Tells the session's start, once a link: the sensor's own, or one worked out from the time it told, or a day that
    /// nobody takes for today: ages go by the wrist's own count.
    fn tell_start(&mut self, counted: u16) {
        if self.link.start_told {
            return;
        }
        let start = self.link.start.or_else(|| {
            let now = self.link.time?;
            date_time(now.plus(Span::from_mins(i32::from(counted).saturating_neg()))).map(SessionStart::new)
        });
        let start = start.or_else(|| DateTime::new((2001, 1, 1), (0, 0, 0)).ok().map(SessionStart::new));
        if let Some(start) = start {
            self.link.start_told = self.out.push_back(Frame::Start(start)).is_ok();
        }
    }

    /// A subscription or a write was done, or not.
    pub fn done(&mut self, number: Number, done: bool, now_s: u32) {
        if done {
            return;
        }
        if number == Number::RACP && self.link.transfer.take().is_some() {
            self.failed(now_s);
        } else if matches!(number, Number::MEASUREMENT | Number::METER) {
            self.link.unusable = true;
        }
        if number == Number::OPS {
            self.link.ops_until_s = None;
        }
    }

    fn failed(&mut self, now_s: u32) {
        self.counts.failed = self.counts.failed.saturating_add(1);
        self.link.failures = self.link.failures.saturating_add(1);
        self.link.pause_until_s = now_s.wrapping_add(1 << self.link.failures.min(5));
    }

    fn malformed(&mut self) {
        self.counts.malformed = self.counts.malformed.saturating_add(1);
        self.link.malformed = self.link.malformed.saturating_add(1);
    }

    /// A notification or an indication came.
    pub fn notified(&mut self, number: Number, bytes: &[u8], now_s: u32) {
        match number {
            Number::MEASUREMENT if self.kind == Kind::Sensor => self.measurements(bytes, now_s),
            Number::METER if self.kind == Kind::Meter => match GlucoseMeasurement::decode(bytes) {
                Ok(record) => self.meter(record, now_s),
                Err(_) => self.malformed(),
            },
            Number::RACP => match RacpSaid::decode(bytes) {
                Some(said) => self.racp(said, now_s),
                None => self.malformed(),
            },
            Number::OPS => match OpsSaid::decode(bytes, self.link.feature.crc) {
                Some(OpsSaid::Interval(minutes)) => {
                    self.ledger.spaced(minutes.into());
                    self.link.ops_until_s = None;
                }
                Some(OpsSaid::Outcome(code, 1)) if code == Ops::Start as u8 => {
                    self.link.ops_until_s = None;
                    self.read_session();
                }
                Some(OpsSaid::Outcome(..)) => self.link.ops_until_s = None,
                None => self.malformed(),
            },
            _ => {}
        }
    }

    fn read_session(&mut self) {
        if self.link.plan.iter().any(|step| *step == Step::Read(Number::STATUS)) {
            return;
        }
        self.link.doing = None;
        let _ = self.link.plan.push_back(Step::Read(Number::START));
        let _ = self.link.plan.push_back(Step::Read(Number::STATUS));
    }

    fn racp(&mut self, said: RacpSaid, now_s: u32) {
        let Some(transfer) = self.link.transfer else { return };
        match said {
            RacpSaid::Ended => {
                self.ended(transfer, now_s);
                self.link.failures = 0;
            }
            RacpSaid::NotSupported if self.link.within => {
                self.link.within = false;
                self.link.transfer = None;
            }
            RacpSaid::NotSupported | RacpSaid::Failed(_) => {
                self.link.transfer = None;
                self.failed(now_s);
            }
        }
    }

    fn ended(&mut self, transfer: Transfer, now_s: u32) {
        self.link.transfer = None;
        if self.asks_all() {
            self.link.ask_all = u8::MAX;
        } else {
            self.ledger.answered(transfer.first, transfer.last);
        }
        self.link.pause_until_s = now_s;
    }

    fn measurements(&mut self, mut bytes: &[u8], now_s: u32) {
        if bytes.is_empty() {
            self.malformed();
        }
        while !bytes.is_empty() {
            match CgmMeasurement::decode_first(bytes, self.link.feature.crc) {
                Ok((record, rest)) => {
                    bytes = rest;
                    self.measurement(record, now_s);
                }
                Err(_) => {
                    self.malformed();
                    return;
                }
            }
        }
    }

    fn measurement(&mut self, record: CgmMeasurement, now_s: u32) {
        let number = record.offset_min();
        let asked =
            self.link.transfer.is_some_and(|transfer| (transfer.first..=transfer.last).contains(&number));
        if let Some(transfer) = &mut self.link.transfer {
            transfer.heard_s = now_s;
        }
        if self.out.capacity().saturating_sub(self.out.len()) < ROOM {
            return; // not taken: it stays owed
        }
        if !asked && self.ledger.newest().is_some_and(|newest| number < newest.saturating_sub(BACK)) {
            // out of turn: perhaps another session on the same sensor, whatever is held of these numbers
            self.read_session();
        }
        match self.ledger.hear(number, now_s) {
            Heard::New => {}
            Heard::Anew => {
                self.counts.sessions = self.counts.sessions.saturating_add(1);
                self.read_session();
            }
            Heard::Repeat => {
                self.counts.repeated = self.counts.repeated.saturating_add(1);
                return;
            }
            Heard::Old | Heard::Strange => {
                self.counts.strange = self.counts.strange.saturating_add(1);
                return;
            }
        }
        self.link.heard_s = now_s;
        self.link.polled_s = now_s;
        self.counts.records = self.counts.records.saturating_add(1);
        if record.order_in_doubt() {
            self.counts.order_in_doubt = self.counts.order_in_doubt.saturating_add(1);
        }
        self.tell_start(number);
        let ahead = self.link.transfer.is_some_and(|transfer| number > transfer.last);
        if ahead {
            if self.ahead.is_empty() {
                self.ahead_since_s = now_s;
            }
            if self.ahead.push(record).is_ok() {
                if now_s.wrapping_sub(self.ahead_since_s) >= HOLD_S {
                    self.flush();
                }
                return;
            }
            self.flush();
        }
        let _ = self.out.push_back(Frame::Measurement(record));
    }

    /// Passes on what ran ahead.
    fn flush(&mut self) {
        self.ahead.sort_unstable_by_key(CgmMeasurement::offset_min);
        for record in &self.ahead {
            let _ = self.out.push_back(Frame::Measurement(*record));
        }
        self.ahead.clear();
    }

    fn meter(&mut self, record: GlucoseMeasurement, now_s: u32) {
        if let Some(transfer) = &mut self.link.transfer {
            transfer.heard_s = now_s;
        }
        if self.out.is_full() {
            return;
        }
        self.link.heard_s = now_s;
        match self.ledger.hear(record.sequence(), now_s) {
            Heard::New | Heard::Anew => {
                self.counts.records = self.counts.records.saturating_add(1);
                let _ = self.out.push_back(Frame::Meter(record));
            }
            Heard::Repeat => self.counts.repeated = self.counts.repeated.saturating_add(1),
            Heard::Old | Heard::Strange => self.counts.strange = self.counts.strange.saturating_add(1),
        }
    }
}

/// Whether `now` is before `then`, on a count that wraps.
const fn before(now_s: u32, then_s: u32) -> bool {
    let left = then_s.wrapping_sub(now_s);
    left != 0 && left < u32::MAX / 2
}

/// The date and time of an instant, by the civil calendar (days from civil, H. Hinnant).
fn date_time(at: Instant) -> Option<DateTime> {
    let (days, second) = (at.secs().checked_div(86_400)?, at.secs().checked_rem(86_400)?);
    let since = days.checked_add(719_468)?;
    let (era, day_of_era) = (since.checked_div(146_097)?, since.checked_rem(146_097)?);
    let leaps = (day_of_era / 1460).checked_add(day_of_era / 146_096)?.checked_sub(day_of_era / 36_524)?;
    let year_of_era = day_of_era.checked_sub(leaps)?.checked_div(365)?;
    let before =
        year_of_era.checked_mul(365)?.checked_add(year_of_era / 4)?.checked_sub(year_of_era / 100)?;
    let day_of_year = day_of_era.checked_sub(before)?;
    let shifted = day_of_year.checked_mul(5)?.checked_add(2)?.checked_div(153)?;
    let day = day_of_year.checked_sub(shifted.checked_mul(153)?.checked_add(2)? / 5)?.checked_add(1)?;
    let month = if shifted < 10 { shifted.checked_add(3)? } else { shifted.checked_sub(9)? };
    let year = year_of_era.checked_add(era.checked_mul(400)?)?.checked_add(u32::from(month <= 2))?;
    let date = (u16::try_from(year).ok()?, u8::try_from(month).ok()?, u8::try_from(day).ok()?);
    let [hours, minutes, seconds] = [second / 3600, second / 60 % 60, second % 60].map(|n| n as u8);
    DateTime::new(date, (hours, minutes, seconds)).ok()
}

#[cfg(test)]
mod tests;
