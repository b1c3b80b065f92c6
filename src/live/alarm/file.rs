//! Alarm settings as a person writes them: a key left out keeps its default, in a profile the base's; an unknown key is
//! refused, and so is what the constructors refuse. As bytes of a fixed layout they are in [`bytes`](super::bytes).

use super::kind::Kind;
use super::ring::Priority;
use super::schedule::{AlarmPlan, Slot, Weekdays};
use super::settings::{AlarmSettings, Rule};
use crate::error::Error;
use crate::units::{Glucose, Probability, Rate, Span};
use crate::written::{list, minute};
use core::fmt;
use serde::de::{Deserialize, Deserializer, Error as _, SeqAccess, Unexpected, Visitor};
use serde::ser::{Serialize, Serializer};

/// What a limit may be.
trait Filed: Copy {
    /// As written; nothing where there is no limit.
    fn filed(self) -> Option<Self> {
        Some(self)
    }
    /// As [`AlarmSettings::bare`] has it.
    fn bare(self) -> f32;
}

impl Filed for Glucose {
    fn bare(self) -> f32 {
        self.mg_dl()
    }
}

impl Filed for Rate {
    fn bare(self) -> f32 {
        self.mg_dl_per_min()
    }
}

impl Filed for Probability {
    fn bare(self) -> f32 {
        self.get()
    }
}

impl Filed for Span {
    fn bare(self) -> f32 {
        self.mins()
    }
}

impl Filed for () {
    fn filed(self) -> Option<Self> {
        None
    }
    fn bare(self) -> f32 {
        0.0
    }
}

/// What a file says of a rule.
#[derive(Clone, Copy, serde::Serialize, serde::Deserialize)]
#[serde(deny_unknown_fields, rename = "Rule")]
struct Fields<L> {
    #[serde(skip_serializing_if = "Option::is_none")]
    on: Option<bool>,
    #[serde(skip_serializing_if = "Option::is_none")]
    limit: Option<L>,
    #[serde(skip_serializing_if = "Option::is_none")]
    hysteresis: Option<L>,
    #[serde(skip_serializing_if = "Option::is_none")]
    delay: Option<Span>,
    #[serde(skip_serializing_if = "Option::is_none")]
    repeat: Option<Span>,
    #[serde(skip_serializing_if = "Option::is_none")]
    quiet: Option<Span>,
    #[serde(skip_serializing_if = "Option::is_none")]
    escalate: Option<Span>,
    #[serde(skip_serializing_if = "Option::is_none")]
    priority: Option<Priority>,
}

impl<L: Filed> Fields<L> {
    const NONE: Self = Self {
        on: None,
        limit: None,
        hysteresis: None,
        delay: None,
        repeat: None,
        quiet: None,
        escalate: None,
        priority: None,
    };

    fn of(rule: &Rule<L>) -> Self {
        Self {
            on: Some(rule.on),
            limit: rule.limit.filed(),
            hysteresis: rule.hysteresis.filed(),
            delay: Some(rule.delay),
            repeat: Some(rule.repeat),
            quiet: Some(rule.quiet),
            escalate: Some(rule.escalate),
            priority: Some(rule.priority),
        }
    }

    /// `rule` with what the file says.
    fn over<M: Copy>(&self, rule: &Rule<M>, limit: impl Fn(L) -> M) -> Rule<M> {
        Rule {
            on: self.on.unwrap_or(rule.on),
            limit: self.limit.map_or(rule.limit, &limit),
            hysteresis: self.hysteresis.map_or(rule.hysteresis, &limit),
            delay: self.delay.unwrap_or(rule.delay),
            repeat: self.repeat.unwrap_or(rule.repeat),
            quiet: self.quiet.unwrap_or(rule.quiet),
            escalate: self.escalate.unwrap_or(rule.escalate),
            priority: self.priority.unwrap_or(rule.priority),
        }
    }
}

/// The same of one kind, each field in its range.
struct OfKind<L, const KIND: usize>(Fields<L>);

impl<L: Filed, const KIND: usize> Default for OfKind<L, KIND> {
    fn default() -> Self {
        Self(Fields::NONE)
    }
}

impl<L: Filed + Serialize, const KIND: usize> Serialize for OfKind<L, KIND> {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        self.0.serialize(to)
    }
}

impl<'de, L: Filed + Deserialize<'de>, const KIND: usize> Deserialize<'de> for OfKind<L, KIND> {
    fn deserialize<D: Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
        let fields = Fields::deserialize(from)?;
        // against the default's other fields, so that the path leads to this rule
        let Some(kind) = Kind::ALL.get(KIND).copied() else { return Ok(Self(fields)) };
        let standard = AlarmSettings::default().bare(kind);
        fields.over(&standard, L::bare).checked(kind).map_err(D::Error::custom)?;
        Ok(Self(fields))
    }
}

/// What a file says of all alarms.
#[derive(Default, serde::Serialize, serde::Deserialize)]
#[serde(default, deny_unknown_fields, rename = "AlarmSettings")]
struct File {
    low: OfKind<Glucose, { Kind::Low as usize }>,
    low_ahead: OfKind<Probability, { Kind::LowAhead as usize }>,
    steep_fall: OfKind<Rate, { Kind::SteepFall as usize }>,
    no_data: OfKind<Span, { Kind::NoData as usize }>,
    high: OfKind<Glucose, { Kind::High as usize }>,
    steep_rise: OfKind<Rate, { Kind::SteepRise as usize }>,
    doubt: OfKind<(), { Kind::Doubt as usize }>,
    wear_end: OfKind<Span, { Kind::WearEnd as usize }>,
    recovering: Option<Rate>,
    pressure_hold: Option<Span>,
}

impl File {
    fn of(settings: &AlarmSettings) -> Self {
        Self {
            low: OfKind(Fields::of(&settings.low)),
            low_ahead: OfKind(Fields::of(&settings.low_ahead)),
            steep_fall: OfKind(Fields::of(&settings.steep_fall)),
            no_data: OfKind(Fields::of(&settings.no_data)),
            high: OfKind(Fields::of(&settings.high)),
            steep_rise: OfKind(Fields::of(&settings.steep_rise)),
            doubt: OfKind(Fields::of(&settings.doubt)),
            wear_end: OfKind(Fields::of(&settings.wear_end)),
            recovering: Some(settings.recovering),
            pressure_hold: Some(settings.pressure_hold),
        }
    }

    /// `base` with what the file says.
    fn over(&self, base: &AlarmSettings) -> AlarmSettings {
        AlarmSettings {
            low: self.low.0.over(&base.low, |limit| limit),
            low_ahead: self.low_ahead.0.over(&base.low_ahead, |limit| limit),
            steep_fall: self.steep_fall.0.over(&base.steep_fall, |limit| limit),
            no_data: self.no_data.0.over(&base.no_data, |limit| limit),
            high: self.high.0.over(&base.high, |limit| limit),
            steep_rise: self.steep_rise.0.over(&base.steep_rise, |limit| limit),
            doubt: self.doubt.0.over(&base.doubt, |()| ()),
            wear_end: self.wear_end.0.over(&base.wear_end, |limit| limit),
            recovering: self.recovering.unwrap_or(base.recovering),
            pressure_hold: self.pressure_hold.unwrap_or(base.pressure_hold),
        }
    }
}

/// A [`File`] whose fields outside the rules are in range too.
#[derive(Default)]
struct Checked(File);

impl<'de> Deserialize<'de> for Checked {
    fn deserialize<D: Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
        let file = File::deserialize(from)?;
        let mut apart = AlarmSettings::default();
        apart.recovering = file.recovering.unwrap_or(apart.recovering);
        apart.pressure_hold = file.pressure_hold.unwrap_or(apart.pressure_hold);
        apart.checked().map_err(D::Error::custom)?;
        Ok(Self(file))
    }
}

impl Serialize for AlarmSettings {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        File::of(self).serialize(to)
    }
}

impl<'de> Deserialize<'de> for AlarmSettings {
    fn deserialize<D: Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
        Checked::deserialize(from)?.0.over(&Self::default()).checked().map_err(D::Error::custom)
    }
}

/// What a file says of a plan.
#[derive(serde::Serialize)]
#[serde(rename = "AlarmPlan")]
struct PlanOut<'a> {
    base: &'a AlarmSettings,
    #[serde(with = "list")]
    profiles: &'a [Option<AlarmSettings>; 3],
    #[serde(with = "list")]
    slots: &'a [Option<Slot>; 8],
}

#[derive(Default, serde::Deserialize)]
#[serde(default, deny_unknown_fields, rename = "AlarmPlan")]
struct PlanIn {
    base: Checked,
    #[serde(with = "list")]
    profiles: [Option<Checked>; 3],
    #[serde(with = "list")]
    slots: [Option<Slot>; 8],
}

impl PlanIn {
    fn plan(&self) -> Result<AlarmPlan, Error> {
        let base = self.base.0.over(&AlarmSettings::default());
        let mut plan = AlarmPlan::new(base)?;
        for profile in self.profiles.iter().flatten() {
            plan.add_profile(profile.0.over(&base))?;
        }
        for slot in self.slots.iter().flatten() {
            plan.add_slot(*slot)?;
        }
        Ok(plan)
    }
}

impl Serialize for AlarmPlan {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        let Self { base, others, slots } = self;
        PlanOut { base, profiles: others, slots }.serialize(to)
    }
}

impl<'de> Deserialize<'de> for AlarmPlan {
    fn deserialize<D: Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
        PlanIn::deserialize(from)?.plan().map_err(D::Error::custom)
    }
}

#[derive(serde::Serialize, serde::Deserialize)]
#[serde(deny_unknown_fields, rename = "Slot")]
struct SlotFile {
    #[serde(default = "every_day")]
    days: Weekdays,
    #[serde(with = "minute")]
    from: u16,
    #[serde(with = "minute")]
    to: u16,
    profile: u8,
}

const fn every_day() -> Weekdays {
    Weekdays::ALL
}

impl Serialize for Slot {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        let Self { days, from, to: until, profile } = *self;
        SlotFile { days, from, to: until, profile }.serialize(to)
    }
}

impl<'de> Deserialize<'de> for Slot {
    fn deserialize<D: Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
        let SlotFile { days, from, to, profile } = SlotFile::deserialize(from)?;
        Self { days, from, to, profile }.checked().map_err(D::Error::custom)
    }
}

const DAYS: [&str; 7] = ["mon", "tue", "wed", "thu", "fri", "sat", "sun"];

impl Serialize for Weekdays {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        to.collect_seq((0..7).zip(DAYS).filter(|(day, _)| self.contains(*day)).map(|(_, name)| name))
    }
}

impl<'de> Deserialize<'de> for Weekdays {
    fn deserialize<D: Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
        struct Names;
        impl<'de> Visitor<'de> for Names {
            type Value = Weekdays;

            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("a list of \"mon\" to \"sun\"")
            }

            fn visit_seq<A: SeqAccess<'de>>(self, mut seq: A) -> Result<Weekdays, A::Error> {
                let mut days = Weekdays::NONE;
                while let Some(Day(day)) = seq.next_element()? {
                    days = days.with(day);
                }
                Ok(days)
            }
        }
        from.deserialize_seq(Names)
    }
}

/// A weekday by its name.
struct Day(u8);

impl<'de> Deserialize<'de> for Day {
    fn deserialize<D: Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
        struct Name;
        impl Visitor<'_> for Name {
            type Value = Day;

            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("\"mon\" to \"sun\"")
            }

            fn visit_str<E: serde::de::Error>(self, text: &str) -> Result<Day, E> {
                let day = (0..7).zip(DAYS).find(|(_, name)| *name == text);
                day.map(|(day, _)| Day(day)).ok_or_else(|| E::invalid_value(Unexpected::Str(text), &self))
            }
        }
        from.deserialize_str(Name)
    }
}
