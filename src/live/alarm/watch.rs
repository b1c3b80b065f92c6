//! One alarm's state from reading to reading.

use super::reach::Reach;
use super::ring::{Cause, Priority};
use super::settings::{FLOOR, LONGEST_SNOOZE, Rule};
use crate::codec::{Blank, Codec, Coded};
use crate::units::{Instant, Span};

/// What keeps a ring back.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Hold {
    /// Nothing.
    No,
    /// It may ring for the first time, but not again: the value moves back by itself.
    Repeats,
    /// Another alarm sounds and says more: it counts as rung.
    Covered,
}

/// Glucose this far under where a person took notice is another depth, mg/dL.
const FURTHER: f32 = 10.0;

/// How it last rang. 8 bytes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Told {
    pub at: Instant,
    pub priority: Priority,
    pub cause: Cause,
}

/// Times are of the count that the alarms are told, which only runs forward. 52 bytes.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Watch {
    /// Since when it is at or beyond its limit; of a rule with a delay, since when it is within its hysteresis.
    since: Option<Instant>,
    /// It has lasted its delay and was not cleared.
    pub active: bool,
    /// The last ring, its own or one that covered it.
    rang: Option<Instant>,
    /// How it last rang itself.
    pub told: Option<Told>,
    /// A silence has run out: it rings again at once if it holds.
    due: bool,
    /// Where unacknowledged time is counted from.
    unacknowledged: Instant,
    escalated: bool,
    acknowledged: bool,
    snoozed_until: Option<Instant>,
    /// How deep glucose was when a person took notice, mg/dL.
    silenced_depth: Option<f32>,
}

const fn passed(now: Instant, since: Instant, span: Span) -> bool {
    now.since(since).secs() >= span.secs()
}

impl Watch {
    pub const fn new() -> Self {
        Self {
            since: None,
            active: false,
            rang: None,
            told: None,
            due: false,
            unacknowledged: Instant::from_secs(0),
            escalated: false,
            acknowledged: false,
            snoozed_until: None,
            silenced_depth: None,
        }
    }

    /// Whether [`clear`](Self::clear) would change nothing that counts. What else is kept goes with one of these: what rang
    /// is active, or acknowledged until its rest is over.
    pub const fn is_fresh(&self) -> bool {
        !(self.since.is_some() | self.active | self.acknowledged | self.due)
    }

    /// The same but for what is set anew when it next rings.
    #[cfg(test)]
    pub(super) const fn without_time_to_escalate(self) -> Self {
        Self { unacknowledged: Instant::from_secs(0), ..self }
    }

    /// Nothing to watch, or well on the good side: armed anew, `rest` after its last ring; until then as if somebody had
    /// taken notice. A snooze goes on.
    pub fn clear(&mut self, now: Instant, rest: Span) {
        let rang = self.rang.filter(|rang| !passed(now, *rang, rest));
        *self = Self {
            rang,
            acknowledged: rang.is_some(),
            snoozed_until: self.snoozed_until,
            silenced_depth: self.silenced_depth,
            ..Self::new()
        };
    }

    /// To be called before all else at each step.
    pub fn end_snooze(&mut self, now: Instant) {
        if self.snoozed_until.is_some_and(|until| now >= until) {
            self.snoozed_until = None;
        }
        if !self.is_silenced() {
            self.silenced_depth = None;
        }
    }

    /// One step of what is not clear: whether it rings. `at` is the moment that its delay counts to, `depth` how low
    /// glucose is, for alarms that may get worse; `least` the priority that milder alarms have rung at, which a new or
    /// worse one does not fall behind.
    pub fn step(
        &mut self,
        (now, at): (Instant, Instant),
        reach: Reach,
        rule: &Rule<f32>,
        delay: Span,
        hold: Hold,
        (depth, least): (Option<f32>, Priority),
    ) -> bool {
        match reach {
            Reach::Clear => return false,
            Reach::Between => {
                self.since = if delay > Span::ZERO { self.since.or(Some(at)) } else { None };
                return false;
            }
            Reach::Beyond => {
                let since = *self.since.get_or_insert(at);
                self.active |= passed(at, since, delay);
            }
            Reach::Unknown => {
                if !self.active {
                    self.since = None;
                }
            }
        }
        if !self.active {
            return false;
        }
        let worse =
            matches!((self.silenced_depth, depth), (Some(then), Some(depth)) if depth <= then - FURTHER);
        if worse {
            (self.acknowledged, self.snoozed_until, self.silenced_depth) = (false, None, None);
        }
        // counted from the ring, so that no notice taken again makes it longer
        if self.acknowledged && self.rang.is_none_or(|rang| passed(now, rang, rule.quiet)) {
            (self.acknowledged, self.silenced_depth) = (false, None);
            (self.unacknowledged, self.escalated) = (now, false);
            self.due = true;
        }
        if hold == Hold::Covered {
            self.unacknowledged = self.unacknowledged.max(now);
            // as often as the floor rings: silence after a notice is not to count from between two of its rings
            if self.rang.is_none_or(|rang| passed(now, rang, FLOOR.repeat)) {
                self.rang = Some(now);
            }
            self.due = false;
            return false;
        }
        if self.is_silenced() {
            return false;
        }
        let cause = match self.rang {
            None => Cause::New,
            Some(_) if worse => Cause::Worse,
            Some(_) if hold == Hold::Repeats => return false,
            Some(_)
                if !self.escalated
                    && rule.escalate > Span::ZERO
                    && passed(now, self.unacknowledged, rule.escalate) =>
            {
                Cause::Escalated
            }
            Some(_) if self.due => Cause::Repeated,
            Some(rang) if rule.repeat > Span::ZERO && passed(now, rang, rule.repeat) => Cause::Repeated,
            Some(_) => return false,
        };
        match cause {
            Cause::New | Cause::Worse => self.unacknowledged = now,
            Cause::Escalated => self.escalated = true,
            Cause::Repeated => {}
        }
        (self.rang, self.due) = (Some(now), false);
        let own = if self.escalated { rule.priority.raised() } else { rule.priority };
        let before = self.told.map_or(own, |told| told.priority);
        let priority = match cause {
            Cause::New => own.max(least),
            Cause::Worse => own.max(least).max(before),
            Cause::Repeated | Cause::Escalated => own,
        };
        self.told = Some(Told { at: now, priority, cause });
        true
    }

    /// A person has taken notice, at this depth.
    pub fn acknowledge(&mut self, depth: Option<f32>) {
        if self.active && self.rang.is_some() && !self.acknowledged {
            (self.acknowledged, self.silenced_depth) = (true, depth);
        }
    }

    /// Silent for `span`, unless glucose falls well under `depth`; what holds is silent for no longer than `longest`
    /// after it last rang, however often it is snoozed. How long it will be.
    pub fn snooze(&mut self, now: Instant, span: Span, longest: Span, depth: Option<f32>) -> Span {
        let from = self.since.map_or(now, |since| self.rang.unwrap_or(since));
        let until = now.plus(span).min(from.plus(longest)).max(now);
        (self.snoozed_until, self.silenced_depth) = (Some(until), depth);
        self.due = true;
        until.since(now)
    }

    /// Whether it is acknowledged or snoozed.
    pub const fn is_silenced(&self) -> bool {
        self.acknowledged || self.snoozed_until.is_some()
    }

    /// Whether it is beyond its limit now, has lasted its delay, and is not silenced by a person.
    pub const fn sounds(&self) -> bool {
        self.active && self.since.is_some() && !self.is_silenced()
    }
}

impl Blank for Told {
    const BLANK: Self = Self { at: Instant::BLANK, priority: Priority::Low, cause: Cause::New };
}

impl Coded for Told {
    fn code(&mut self, codec: &mut Codec<'_>) {
        let Self { at, priority, cause } = self;
        codec.moment(at);
        codec.one_of(priority, &[Priority::Low, Priority::Medium, Priority::High]);
        codec.one_of(cause, &[Cause::New, Cause::Repeated, Cause::Escalated, Cause::Worse]);
    }
}

impl Watch {
    /// As [`Coded::code`]. `rests`: whether what is clear may remember its last ring.
    pub fn code(&mut self, codec: &mut Codec<'_>, rests: bool) {
        let Self {
            since,
            active,
            rang,
            told,
            due,
            unacknowledged,
            escalated,
            acknowledged,
            snoozed_until,
            silenced_depth,
        } = self;
        since.code(codec);
        let (rang, told) = (codec.option(rang), codec.option(told));
        codec.moment(unacknowledged);
        silenced_depth.code(codec);
        let active = codec.flag(active);
        let (escalated, acknowledged) = (codec.flag(escalated), codec.flag(acknowledged));
        let silent = !(told | escalated);
        codec.demand(if active {
            rang | (silent & !acknowledged)
        } else {
            silent & (acknowledged == rang) & (rests | !rang)
        });
        codec.flag(due);
        let snoozed = codec.flag(&mut snoozed_until.is_some());
        let until = codec.stamp(&mut snoozed_until.unwrap_or(Instant::BLANK));
        codec.demand(until <= codec.present().plus(LONGEST_SNOOZE));
        if codec.loads() {
            *snoozed_until = snoozed.then_some(until);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(minute: u32) -> Instant {
        Instant::from_secs(60 * minute)
    }

    /// Whether it is read back at 100 minutes, and then the same.
    fn taken(mut watch: Watch, rests: bool) -> bool {
        let mut room = [0; 64];
        let mut saving = Codec::saving(&mut room);
        saving.now(&mut at(100));
        watch.code(&mut saving, rests);
        let length = saving.end().unwrap();
        let mut other = Watch { active: true, rang: Some(at(1)), silenced_depth: Some(60.0), ..Watch::new() };
        for mut reading in [Codec::checking(&room[..length]), Codec::loading(&room[..length])] {
            reading.now(&mut at(0));
            other.code(&mut reading, rests);
            if reading.end() != Some(length) {
                return false;
            }
        }
        assert_eq!(other, watch);
        true
    }

    #[test]
    fn none_is_read_that_cannot_be() {
        let told = Some(Told { at: at(50), priority: Priority::High, cause: Cause::New });
        let rung = Watch { active: true, rang: Some(at(50)), told, ..Watch::new() };
        let clear = Watch { active: false, told: None, acknowledged: true, ..rung };
        let none = Watch::new();
        for rests in [false, true] {
            for (what, watch, can) in [
                ("fresh", none, true),
                ("rung", rung, true),
                ("covered", Watch { told: None, ..rung }, true),
                ("acknowledged", Watch { acknowledged: true, escalated: true, ..rung }, true),
                ("acknowledged, covered", Watch { acknowledged: true, told: None, ..rung }, true),
                (
                    "snoozed before it held",
                    Watch { active: true, snoozed_until: Some(at(580)), ..none },
                    true,
                ),
                ("snoozed too long", Watch { snoozed_until: Some(at(581)), ..none }, false),
                ("rung later than now", Watch { rang: Some(at(101)), ..rung }, false),
                ("resting", clear, rests),
                ("resting, not silent", Watch { acknowledged: false, ..clear }, false),
                ("resting, has told", Watch { told, ..clear }, false),
                ("resting, raised", Watch { escalated: true, ..clear }, false),
                ("clear, acknowledged", Watch { acknowledged: true, ..none }, false),
                ("clear, raised", Watch { escalated: true, ..none }, false),
                ("clear, has told", Watch { told, ..none }, false),
                ("told, never rang", Watch { rang: None, ..rung }, false),
                ("acknowledged, never rang", Watch { active: true, acknowledged: true, ..none }, false),
                ("raised, never rang", Watch { active: true, escalated: true, ..none }, false),
            ] {
                assert_eq!(taken(watch, rests), can, "{what}, {rests}");
            }
        }
    }
}
