//! One alarm's state from reading to reading.

use super::kind::{Cause, Priority};
use super::settings::Rule;
use crate::units::Span;

/// Where the watched quantity stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Reach {
    /// At the limit or beyond.
    Beyond,
    /// On the good side, but within the hysteresis.
    Between,
    /// Well on the good side: armed anew.
    Clear,
    /// Not known now: an alarm that holds goes on, one that was about to does not begin.
    Unknown,
}

/// What keeps a ring back.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Hold {
    /// Nothing.
    No,
    /// It may ring for the first time, but not again: the value moves back by itself.
    Repeats,
    /// Another alarm says more: it counts as rung.
    Covered,
}

/// Times are seconds on the alarms' own clock, which only runs forward. 36 bytes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub(super) struct Watch {
    /// Since when it is at or beyond its limit.
    since: Option<u32>,
    /// It has lasted its delay and was not cleared.
    pub active: bool,
    /// The last ring.
    rang: Option<u32>,
    /// A silence has run out: it rings again at once if it holds.
    due: bool,
    /// Where unheeded time is counted from.
    unheeded: u32,
    escalated: bool,
    acknowledged: Option<u32>,
    snoozed_until: Option<u32>,
}

const fn passed(clock: u32, since: u32, span: Span) -> bool {
    clock.saturating_sub(since) >= span.secs().unsigned_abs()
}

impl Watch {
    pub const fn new() -> Self {
        Self {
            since: None,
            active: false,
            rang: None,
            due: false,
            unheeded: 0,
            escalated: false,
            acknowledged: None,
            snoozed_until: None,
        }
    }

    /// Nothing to watch, or well on the good side: armed anew.
    pub fn clear(&mut self, clock: u32) {
        self.end_snooze(clock);
        *self = Self { snoozed_until: self.snoozed_until, ..Self::new() };
    }

    fn end_snooze(&mut self, clock: u32) {
        if self.snoozed_until.is_some_and(|until| clock >= until) {
            self.snoozed_until = None;
        }
    }

    /// One update of a rule that is on; what rings, if anything does. `delay` is the rule's, and what the situation adds.
    pub fn step(
        &mut self,
        clock: u32,
        reach: Reach,
        rule: &Rule,
        delay: Span,
        hold: Hold,
    ) -> Option<(Cause, Priority)> {
        self.end_snooze(clock);
        match reach {
            Reach::Clear => {
                self.clear(clock);
                return None;
            }
            Reach::Between => {
                self.since = None;
                return None;
            }
            Reach::Beyond => {
                let since = *self.since.get_or_insert(clock);
                self.active |= passed(clock, since, delay);
            }
            Reach::Unknown => {
                if !self.active {
                    self.since = None;
                }
            }
        }
        if !self.active {
            return None;
        }
        if self.acknowledged.is_some_and(|at| passed(clock, at, rule.quiet)) {
            self.acknowledged = None;
            (self.unheeded, self.escalated) = (clock, false);
            self.due = true;
        }
        if hold == Hold::Covered {
            self.unheeded = self.unheeded.max(clock);
            (self.rang, self.due) = (Some(clock), false);
            return None;
        }
        if self.acknowledged.is_some() || self.snoozed_until.is_some() {
            return None;
        }
        let cause = match self.rang {
            None => Cause::New,
            Some(_) if hold == Hold::Repeats => return None,
            Some(_)
                if !self.escalated
                    && rule.escalate > Span::ZERO
                    && passed(clock, self.unheeded, rule.escalate) =>
            {
                Cause::Unheeded
            }
            Some(_) if self.due => Cause::Still,
            Some(rang) if rule.repeat > Span::ZERO && passed(clock, rang, rule.repeat) => Cause::Still,
            Some(_) => return None,
        };
        match cause {
            Cause::New => self.unheeded = clock,
            Cause::Unheeded => self.escalated = true,
            Cause::Still => {}
        }
        (self.rang, self.due) = (Some(clock), false);
        let priority = if self.escalated { rule.priority.raised() } else { rule.priority };
        Some((cause, priority))
    }

    /// A person has taken notice.
    pub fn acknowledge(&mut self, clock: u32) {
        if self.active && self.rang.is_some() {
            self.acknowledged = Some(clock);
        }
    }

    /// Silent until `until`, whatever happens.
    pub fn snooze(&mut self, until: u32) {
        self.snoozed_until = Some(until);
        self.due = true;
    }

    pub const fn snoozed_until(&self) -> Option<u32> {
        self.snoozed_until
    }

    pub const fn is_acknowledged(&self) -> bool {
        self.acknowledged.is_some()
    }
}
