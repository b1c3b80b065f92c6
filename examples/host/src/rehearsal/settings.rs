//! A person's alarm settings as a TOML file. `settings.toml` beside this file shows and explains every key.
//!
//! A file either loads or is refused with the key named: nothing is guessed, nothing is skipped.

use std::fmt;
use std::path::Path;

use glidepath::Span;
use glidepath::alarm::{
    AlarmPlan, AlarmSettings, Kind, LOW_QUIET, LimitUnit, Priority, Rule, Slot, Weekdays,
};
use toml::{Table, Value};

use crate::failure::Failure;
use crate::table::Unit;

/// The kinds that have settings.
fn kinds() -> impl Iterator<Item = Kind> {
    Kind::ALL.into_iter().filter(|kind| AlarmSettings::default().rule_mut(*kind).is_some())
}

const DAYS: [&str; 7] = ["mon", "tue", "wed", "thu", "fri", "sat", "sun"];

/// A refusal: the key, and what was expected there.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Refused {
    pub key: String,
    pub what: String,
}

impl Refused {
    fn new(key: impl Into<String>, what: impl Into<String>) -> Self {
        Self { key: key.into(), what: what.into() }
    }

    fn expected(key: &str, what: &str, found: &Value) -> Self {
        Self::new(key, format!("expected {what}, found {found}"))
    }
}

impl fmt::Display for Refused {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}: {}", self.key, self.what)
    }
}

/// The table of a settings file.
pub fn read(path: &Path) -> Result<Table, Failure> {
    let text = std::fs::read_to_string(path)
        .map_err(|error| Failure::file(path, format!("cannot be read ({error})")))?;
    text.trim_start_matches('\u{feff}').parse().map_err(|error: toml::de::Error| {
        let before = error.span().and_then(|span| text.get(..span.start)).unwrap_or_default();
        let line = before.matches('\n').count() as u64 + 1;
        Failure::line(path, line, error.message().trim())
    })
}

/// The plan that a settings table describes.
pub fn load(table: &Table) -> Result<AlarmPlan, Refused> {
    let unit = match table.get("unit") {
        None => Unit::MgDl,
        Some(Value::String(name)) if name.eq_ignore_ascii_case("mg/dL") => Unit::MgDl,
        Some(Value::String(name)) if name.eq_ignore_ascii_case("mmol/L") => Unit::MmolL,
        Some(other) => return Err(Refused::expected("unit", "\"mg/dL\" or \"mmol/L\"", other)),
    };
    let mut base = AlarmSettings::default();
    apply(&mut base, table, "", unit, &["unit", "profile"])?;
    let mut plan = AlarmPlan::new(base).map_err(|error| Refused::new(error.parameter(), "out of range"))?;
    let profiles = match table.get("profile") {
        None => &[][..],
        Some(Value::Array(profiles)) => profiles,
        Some(other) => return Err(Refused::expected("profile", "tables headed [[profile]]", other)),
    };
    for (n, profile) in profiles.iter().enumerate() {
        let place = format!("profile[{n}]");
        let Value::Table(profile) = profile else {
            return Err(Refused::expected(&place, "a table headed [[profile]]", profile));
        };
        let name = match profile.get("name") {
            Some(Value::String(name)) if !name.trim().is_empty() => name,
            Some(other) => return Err(Refused::expected(&format!("{place}.name"), "a name", other)),
            None => return Err(Refused::new(format!("{place}.name"), "missing: every profile has a name")),
        };
        let mut settings = base;
        apply(&mut settings, profile, &format!("{name}."), unit, &["name", "when"])?;
        let full = |_| Refused::new(&place, "expected three profiles at most beside the base settings");
        let number = plan.add_profile(settings).map_err(full)?;
        add_slots(&mut plan, profile, name, number)?;
    }
    Ok(plan)
}

/// Sets what `table` says; `others` are keys that are read elsewhere.
fn apply(
    settings: &mut AlarmSettings,
    table: &Table,
    prefix: &str,
    unit: Unit,
    others: &[&str],
) -> Result<(), Refused> {
    for (name, value) in table {
        let key = format!("{prefix}{name}");
        if others.contains(&name.as_str()) {
            continue;
        }
        let kind = kinds().find(|kind| kind.name() == name);
        let standard = AlarmSettings::default();
        match (name.as_str(), kind) {
            ("recovering", _) => {
                let recovering = number(&key, value)? * unit.in_mg_dl();
                let (low, high) = (0.2 / unit.in_mg_dl(), 5.0 / unit.in_mg_dl());
                probe(&key, value, AlarmSettings { recovering, ..standard }, low, high)?;
                settings.recovering = recovering;
            }
            ("pressure_hold_min", _) => {
                let pressure_hold = minutes(&key, value)?;
                probe(&key, value, AlarmSettings { pressure_hold, ..standard }, 0.0, 30.0)?;
                settings.pressure_hold = pressure_hold;
            }
            ("floor", _) => {
                return Err(Refused::new(
                    key,
                    "the floor is fixed and has no settings: it rings at 55 mg/dL",
                ));
            }
            (_, Some(kind)) => {
                let Value::Table(fields) = value else {
                    return Err(Refused::expected(&key, "a table such as { limit = 70 }", value));
                };
                for (field, value) in fields {
                    set(settings, kind, &format!("{key}.{field}"), field, value, unit)?;
                }
            }
            (_, None) => {
                let known: Vec<_> = kinds().map(Kind::name).collect();
                return Err(Refused::new(
                    key,
                    format!("not known; expected {}, recovering or pressure_hold_min", known.join(", ")),
                ));
            }
        }
    }
    settings.checked().map(|_| ()).map_err(|error| {
        Refused::new(
            format!("{prefix}{}.limit", error.parameter()),
            "too near the low limit: the two with their hysteresis must not meet",
        )
    })
}

fn set(
    settings: &mut AlarmSettings,
    kind: Kind,
    key: &str,
    field: &str,
    value: &Value,
    unit: Unit,
) -> Result<(), Refused> {
    let about = kind.about();
    let factor = match about.unit {
        LimitUnit::Glucose | LimitUnit::Rate => unit.in_mg_dl(),
        LimitUnit::Probability | LimitUnit::Minutes | LimitUnit::Hours | LimitUnit::None => 1.0,
    };
    let mut trial = AlarmSettings::default();
    let low = kind == Kind::Low;
    let most = if low { LOW_QUIET.mins() } else { 1440.0 };
    let (mut least, mut greatest) = (0.0, most);
    let mut change = |rule: &mut Rule| {
        match field {
            "on" => {
                rule.on = value.as_bool().ok_or_else(|| Refused::expected(key, "true or false", value))?
            }
            "limit" => {
                rule.limit = number(key, value)? * factor;
                (least, greatest) = about.limits;
                (least, greatest) = (least / factor, greatest / factor);
            }
            "hysteresis" => {
                rule.hysteresis = number(key, value)? * factor;
                greatest = if about.unit == LimitUnit::Probability { 0.5 } else { 60.0 / factor };
            }
            "delay_min" => rule.delay = minutes(key, value)?,
            "repeat_min" => {
                rule.repeat = minutes(key, value)?;
                least = if low { 1.0 } else { 0.0 };
            }
            "quiet_min" => rule.quiet = minutes(key, value)?,
            "escalate_min" => {
                rule.escalate = minutes(key, value)?;
                greatest = 1440.0;
            }
            "priority" => {
                let all = [Priority::Low, Priority::Medium, Priority::High];
                let named = value.as_str().and_then(|name| all.into_iter().find(|p| p.name() == name));
                rule.priority =
                    named.ok_or_else(|| Refused::expected(key, "\"low\", \"medium\" or \"high\"", value))?;
            }
            _ => {
                return Err(Refused::new(
                    key,
                    "not known; expected on, limit, hysteresis, delay_min, repeat_min, quiet_min, escalate_min \
                     or priority",
                ));
            }
        }
        Ok(())
    };
    for rule in [trial.rule_mut(kind), settings.rule_mut(kind)].into_iter().flatten() {
        change(rule)?;
    }
    probe(key, value, trial, least, greatest)
}

/// Whether settings that differ from the standard by one key are sound: what is wrong with them is that key.
fn probe(key: &str, value: &Value, trial: AlarmSettings, least: f32, greatest: f32) -> Result<(), Refused> {
    trial
        .checked()
        .map(|_| ())
        .map_err(|_| Refused::expected(key, &format!("{} to {}", short(least), short(greatest)), value))
}

/// A number as a person would write it.
fn short(number: f32) -> String {
    let text = format!("{number:.3}");
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

fn number(key: &str, value: &Value) -> Result<f32, Refused> {
    let number = match value {
        Value::Integer(whole) => *whole as f32,
        Value::Float(real) => *real as f32,
        other => return Err(Refused::expected(key, "a number", other)),
    };
    if number.is_finite() { Ok(number) } else { Err(Refused::expected(key, "a number", value)) }
}

fn minutes(key: &str, value: &Value) -> Result<Span, Refused> {
    let minutes = number(key, value)?;
    if (0.0..=1440.0).contains(&minutes) {
        Ok(Span::from_secs((minutes * 60.0).round() as i32))
    } else {
        Err(Refused::expected(key, "0 to 1440 minutes", value))
    }
}

fn add_slots(plan: &mut AlarmPlan, profile: &Table, name: &str, number: u8) -> Result<(), Refused> {
    let key = format!("{name}.when");
    let expected = "a list such as [{ from = \"22:00\", to = \"07:00\" }]";
    let slots = match profile.get("when") {
        Some(Value::Array(slots)) if !slots.is_empty() => slots,
        Some(other) => return Err(Refused::expected(&key, expected, other)),
        None => return Err(Refused::new(key, format!("missing: expected {expected}"))),
    };
    for slot in slots {
        let Value::Table(slot) = slot else { return Err(Refused::expected(&key, expected, slot)) };
        if let Some(unknown) = slot.keys().find(|k| !["from", "to", "days"].contains(&k.as_str())) {
            return Err(Refused::new(format!("{key}.{unknown}"), "not known; expected from, to or days"));
        }
        let time = |which: &str| {
            let key = format!("{key}.{which}");
            let Some(value) = slot.get(which) else {
                return Err(Refused::new(key, "missing: expected a time such as \"22:00\""));
            };
            value
                .as_str()
                .and_then(clock_time)
                .ok_or_else(|| Refused::expected(&key, "a time from \"00:00\" to \"24:00\"", value))
        };
        let (from, to) = (time("from")?, time("to")?);
        let days = weekdays(&format!("{key}.days"), slot.get("days"))?;
        let full = |_| Refused::new(&key, "expected eight times in all at most");
        plan.add_slot(Slot { days, from, to, profile: number }).map_err(full)?;
    }
    Ok(())
}

/// The minute of the day; the end of the day is its beginning.
fn clock_time(text: &str) -> Option<u16> {
    let (hour, minute) = text.split_once(':')?;
    let two = |part: &str| {
        (part.len() == 2 && part.bytes().all(|b| b.is_ascii_digit())).then(|| part.parse::<u16>().ok())?
    };
    let (hour, minute) = (two(hour)?, two(minute)?);
    match (hour, minute) {
        (24, 0) => Some(0),
        (0..24, 0..60) => Some(hour * 60 + minute),
        _ => None,
    }
}

fn weekdays(key: &str, value: Option<&Value>) -> Result<Weekdays, Refused> {
    const EXPECTED: &str = "a list of \"mon\" to \"sun\"";
    let Some(value) = value else { return Ok(Weekdays::ALL) };
    let Value::Array(names) = value else { return Err(Refused::expected(key, EXPECTED, value)) };
    let mut days = Weekdays::NONE;
    for name in names {
        let day = name.as_str().and_then(|name| DAYS.iter().position(|day| *day == name));
        let day = day.and_then(|day| u8::try_from(day).ok());
        days = days.with(day.ok_or_else(|| Refused::expected(key, EXPECTED, name))?);
    }
    if days == Weekdays::NONE { Err(Refused::expected(key, EXPECTED, value)) } else { Ok(days) }
}

#[cfg(test)]
mod tests {
    use super::*;
    use glidepath::LocalTime;
    use proptest::prelude::*;

    fn refused(text: &str) -> String {
        load(&text.parse().unwrap()).unwrap_err().to_string()
    }

    #[test]
    fn the_documented_file_loads_and_its_values_are_the_defaults() {
        let table: Table = include_str!("settings.toml").parse().unwrap();
        let plan = load(&table).unwrap();
        let base = plan.profile(0).unwrap();
        assert_eq!(*base, AlarmSettings::default(), "what the file shows are the defaults");
        assert_eq!(plan.profile_at(LocalTime::new(0, 3 * 60).unwrap()), 1);
        assert_eq!(plan.profile_at(LocalTime::new(0, 12 * 60).unwrap()), 2);
        assert_eq!(plan.profile_at(LocalTime::new(5, 12 * 60).unwrap()), 0);
        // and it leaves no key out
        for kind in kinds() {
            let rule = table[kind.name()].as_table().unwrap();
            let fields = if kind == Kind::Doubt { 7 } else { 8 };
            assert_eq!(rule.len(), fields, "{}", kind.name());
        }
        assert_eq!(load(&Table::new()).unwrap(), AlarmPlan::new(AlarmSettings::default()).unwrap());
    }

    #[test]
    fn a_refusal_names_the_key() {
        for (text, says) in [
            ("low.limit = 50", "low.limit: expected 56 to 120, found 50"),
            ("low.limit = \"70\"", "low.limit: expected a number, found \"70\""),
            ("low = 70", "low: expected a table such as { limit = 70 }, found 70"),
            ("low.limits = 70", "low.limits: not known"),
            ("lows.limit = 70", "lows: not known"),
            ("floor.on = false", "floor: the floor is fixed"),
            ("high.priority = \"urgent\"", "high.priority: expected"),
            ("high.delay_min = -1", "high.delay_min: expected 0 to 1440 minutes"),
            ("low.limit = nan", "low.limit: expected a number"),
            ("unit = \"mg\"", "unit: expected"),
            ("unit = \"mmol/L\"\nlow.limit = 70", "low.limit: expected 3.108 to 6.661, found 70"),
            ("low.limit = 115\nhigh.limit = 125", "high.limit: too near"),
            ("recovering = 9", "recovering: expected 0.2 to 5"),
            ("pressure_hold_min = 31", "pressure_hold_min: expected 0 to 30"),
            ("profile = 3", "profile: expected"),
            ("[[profile]]", "profile[0].name: missing"),
            ("[[profile]]\nname = \"night\"", "night.when: missing"),
            ("[[profile]]\nname = \"night\"\nwhen = []", "night.when: expected"),
            (
                "[[profile]]\nname = \"night\"\nwhen = [{ from = \"25:00\", to = \"07:00\" }]",
                "night.when.from: expected",
            ),
            ("[[profile]]\nname = \"night\"\nwhen = [{ from = \"22:00\" }]", "night.when.to: missing"),
            (
                "[[profile]]\nname = \"n\"\nlow.limit = 1\nwhen = [{ from = \"22:00\", to = \"07:00\" }]",
                "n.low.limit: expected 56 to 120",
            ),
            (
                "[[profile]]\nname = \"n\"\nwhen = [{ from = \"22:00\", to = \"07:00\", days = [\"Mo\"] }]",
                "n.when.days: expected",
            ),
        ] {
            assert!(refused(text).starts_with(says), "{text}: {}", refused(text));
        }
    }

    #[test]
    fn limits_may_be_given_in_mmol_l() {
        let plan = load(&"unit = \"mmol/L\"\nlow.limit = 4.0\nno_data.limit = 30".parse().unwrap()).unwrap();
        let base = plan.profile(0).unwrap();
        assert!((base.low.limit - 72.06).abs() < 0.01);
        assert_eq!(base.no_data.limit, 30.0);
    }

    fn value() -> impl Strategy<Value = Value> {
        prop_oneof![
            any::<bool>().prop_map(Value::Boolean),
            any::<i64>().prop_map(Value::Integer),
            (-10..500_i64).prop_map(Value::Integer),
            any::<f64>().prop_map(Value::Float),
            (0.0..400.0).prop_map(Value::Float),
            prop::sample::select(&["low", "high", "22:00", "07:00", "mg/dL", "mmol/L", ""][..])
                .prop_map(|text| Value::String(text.to_owned())),
        ]
    }

    fn tree() -> impl Strategy<Value = Value> {
        let names = &[
            "low",
            "low_ahead",
            "no_data",
            "high",
            "steep_fall",
            "wear_end",
            "doubt",
            "floor",
            "limit",
            "on",
            "hysteresis",
            "delay_min",
            "repeat_min",
            "priority",
            "profile",
            "name",
            "when",
            "from",
            "to",
            "days",
            "unit",
            "recovering",
            "pressure_hold_min",
            "else",
        ][..];
        value().prop_recursive(4, 24, 6, move |inner| {
            prop_oneof![
                prop::collection::vec(inner.clone(), 0..4).prop_map(Value::Array),
                prop::collection::hash_map(prop::sample::select(names), inner, 0..5).prop_map(|entries| {
                    Value::Table(entries.into_iter().map(|(k, v)| (k.to_owned(), v)).collect())
                }),
            ]
        })
    }

    proptest! {
        #[test]
        fn any_file_loads_or_is_refused_with_the_key_named(tree in tree()) {
            let Value::Table(table) = tree else { return Ok(()) };
            match load(&table) {
                Ok(plan) => prop_assert!(plan.profile(0).unwrap().checked().is_ok()),
                Err(refused) => {
                    let words = table.to_string() + "name when from to profile high.limit";
                    let last = refused.key.rsplit('.').next().unwrap_or_default();
                    let last = last.split('[').next().unwrap_or_default();
                    prop_assert!(!last.is_empty() && words.contains(last), "{refused}");
                }
            }
        }
    }
}
