//! Alarm settings as bytes, little endian: number of profiles (1 to 4), number of slots (0 to 8), the profiles, the slots.
//!
//! A profile: the rules in the order of [`RULES`], `recovering` (mg/dL per minute, `f32`), `pressure_hold` (seconds, `i32`).
//! A rule: flags (bit 0: on; bits 1 and 2: priority, 0 low to 2 high), limit and hysteresis (4 bytes each: `f32` in the unit
//! of the kind, of a time seconds as `i32`; none of a doubt), delay, repeat, quiet and escalation (seconds, `i32`). A slot: days
//! (bit 0 Monday), from and to (minutes, `u16`), profile.

use super::kind::Kind;
use super::ring::Priority;
use super::schedule::{AlarmPlan, Slot, Weekdays};
use super::settings::{AlarmSettings, Limit, RECOVERING, Rule};
use crate::codec::{Codec, Coded};
use crate::error::{Error, in_range};
use crate::units::{Glucose, Probability, Rate};

/// The order of the rules; the floor has no settings.
const RULES: [Kind; 8] = [
    Kind::Low,
    Kind::LowAhead,
    Kind::SteepFall,
    Kind::NoData,
    Kind::High,
    Kind::SteepRise,
    Kind::Doubt,
    Kind::WearEnd,
];

const URGENT: [Priority; 3] = [Priority::Low, Priority::Medium, Priority::High];

impl Limit {
    fn coded(self, codec: &mut Codec<'_>) -> Result<Self, Error> {
        Ok(match self {
            Self::Glucose(limit) => Self::Glucose(Glucose::from_mg_dl(codec.any_number(limit.mg_dl()))?),
            Self::Rate(limit) => {
                Self::Rate(Rate::from_mg_dl_per_min(codec.any_number(limit.mg_dl_per_min()))?)
            }
            Self::Probability(limit) => Self::Probability(Probability::new(codec.any_number(limit.get()))?),
            Self::Span(limit) => Self::Span(codec.any_span(limit)),
            Self::None => Self::None,
        })
    }
}

/// A rule from what is coded; whether it is in range is judged with the whole.
fn rule(mut rule: Rule<Limit>, codec: &mut Codec<'_>) -> Result<Rule<Limit>, Error> {
    let place = URGENT.iter().zip([0_u8, 2, 4]).find(|(one, _)| **one == rule.priority);
    let flags = codec.byte(&mut (u8::from(rule.on) | place.map_or(0, |(_, bits)| bits)));
    codec.demand(flags < 6);
    rule.on = flags & 1 != 0;
    rule.priority = URGENT.get(usize::from(flags >> 1)).copied().unwrap_or(rule.priority);
    let (limit, hysteresis) = (rule.limit.coded(codec), rule.hysteresis.coded(codec));
    for span in [&mut rule.delay, &mut rule.repeat, &mut rule.quiet, &mut rule.escalate] {
        *span = codec.any_span(*span);
    }
    Ok(Rule { limit: limit?, hysteresis: hysteresis?, ..rule })
}

impl Coded for AlarmSettings {
    #[inline(never)]
    fn code(&mut self, codec: &mut Codec<'_>) {
        let mut settings = *self;
        let mut built = Ok(());
        for kind in RULES {
            let read = rule(settings.rule(kind), codec).map_err(|error| error.of(kind.name()));
            built = built.and(read.and_then(|rule| settings.set_rule(kind, rule)));
        }
        let pace = codec.any_number(settings.recovering.mg_dl_per_min());
        settings.pressure_hold = codec.any_span(settings.pressure_hold);
        let built = built.and_then(|()| {
            let (least, most) = RECOVERING;
            settings.recovering = Rate::clamped(in_range("recovering", pace, least, most)?);
            settings.checked()
        });
        codec.gate(self, built);
    }
}

impl Coded for Slot {
    fn code(&mut self, codec: &mut Codec<'_>) {
        let Self { days: Weekdays(days), from, to, profile } = *self;
        let days = codec.byte(&mut days.clone());
        codec.demand(days <= Weekdays::ALL.0);
        let (from, to) = (codec.half(&mut from.clone()), codec.half(&mut to.clone()));
        let slot = Self { days: Weekdays(days), from, to, profile: codec.byte(&mut profile.clone()) };
        codec.gate(self, slot.checked());
    }
}

impl Coded for AlarmPlan {
    #[inline(never)]
    fn code(&mut self, codec: &mut Codec<'_>) {
        let count = |there: usize| u8::try_from(there).unwrap_or(u8::MAX);
        let profiles = codec.byte(&mut count(self.others.iter().flatten().count()).saturating_add(1));
        let slots = codec.byte(&mut count(self.slots.iter().flatten().count()));
        codec.demand((1..=4).contains(&profiles) && slots <= 8);
        self.base.code(codec);
        for (number, place) in (1..).zip(&mut self.others) {
            let mut settings = place.unwrap_or_default();
            if number < profiles {
                settings.code(codec);
            }
            if codec.loads() {
                *place = (number < profiles).then_some(settings);
            }
        }
        for (number, place) in (0..).zip(&mut self.slots) {
            let mut slot = place.unwrap_or(Slot { days: Weekdays::NONE, from: 0, to: 0, profile: 0 });
            if number < slots {
                slot.code(codec);
                codec.gate(&mut (), super::schedule::known(slot.profile < profiles));
            }
            if codec.loads() {
                *place = (number < slots).then_some(slot);
            }
        }
    }
}
