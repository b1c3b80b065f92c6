//! What a change of one setting would do.

use glidepath::alarm::AlarmPlan;
use glidepath::{Fingerstick, Span};
use rayon::prelude::*;
use serde::Serialize;
use toml::{Table, Value};

use super::score::{self, Score};
use super::settings;
use crate::failure::Failure;
use crate::played;
use crate::table::Trace;
use crate::table::count;

/// The same days with one setting changed.
#[derive(Clone, Debug, Serialize)]
pub struct Variation {
    pub setting: String,
    pub value: String,
    #[serde(flatten)]
    pub score: Score,
}

impl Variation {
    /// In plain words, beside what holds without the change.
    pub fn in_words(&self, held: &Score) -> String {
        let score = &self.score;
        let change = |new: f64, old: f64| format!("{new:.2} ({})", minus(format!("{:+.2}", new - old)));
        let difference = |new: u64, old: u64| minus(format!("{:+}", new as i64 - old as i64));
        format!(
            "With {} = {}: {} alarms a day, {} a day about lows that did not come, {} of {} warned of ({}), rung \
             in {} ({}).",
            self.setting,
            self.value,
            change(score.alarms_per_day.unwrap_or(0.0), held.alarms_per_day.unwrap_or(0.0)),
            change(score.false_low_per_day(), held.false_low_per_day()),
            score.lows_warned,
            count(score.lows, "low"),
            difference(score.lows_warned, held.lows_warned),
            count(score.nights_woken, "night"),
            difference(score.nights_woken, held.nights_woken),
        )
    }
}

/// With a sign as wide as a plus.
pub fn minus(text: String) -> String {
    text.replace('-', "−")
}

/// Each variation asked for: the setting, its value, the plan.
pub fn plans(asked: &[String], table: &Table) -> Result<Vec<(String, String, AlarmPlan)>, Failure> {
    let mut plans = Vec::new();
    for one in asked {
        let malformed = || Failure::new(format!("--vary {one}: expected KEY=VALUE,VALUE,..."));
        let (key, values) = one.split_once('=').ok_or_else(malformed)?;
        let (key, values) = (key.trim(), values.split(',').map(str::trim));
        if key.is_empty() {
            return Err(malformed());
        }
        for value in values {
            if value.is_empty() {
                return Err(malformed());
            }
            let mut changed = table.clone();
            put(&mut changed, key, read(value)).ok_or_else(|| {
                Failure::new(format!("--vary {key}: no such setting; expected a key of a settings file"))
            })?;
            let plan = settings::load(&changed)
                .map_err(|refused| Failure::new(format!("--vary {key}={value}: {refused}")))?;
            plans.push((key.to_owned(), value.to_owned(), plan));
        }
    }
    Ok(plans)
}

/// Replays the trace with each.
pub fn rehearse(
    asked: &[String],
    table: &Table,
    trace: &Trace,
    sticks: &[Fingerstick],
    window: Span,
) -> Result<Vec<Variation>, Failure> {
    plans(asked, table)?
        .into_par_iter()
        .map(|(setting, value, plan)| {
            let played = played::play(trace, sticks, plan)?;
            let interval = trace.interval_s.unwrap_or(300);
            let score = score::score(&played.believed(), &played.alarms, interval, &trace.clock, window);
            Ok(Variation { setting, value, score })
        })
        .collect()
}

/// A value as it would be written in a settings file; a bare word is a text.
fn read(text: &str) -> Value {
    let line = format!("value = {text}");
    let value = line.parse::<Table>().ok().and_then(|mut table| table.remove("value"));
    value.unwrap_or_else(|| Value::String(text.to_owned()))
}

/// Puts a value at a dotted key; the first part may be a profile's name. `None` when there is no room for it.
fn put(table: &mut Table, key: &str, value: Value) -> Option<()> {
    let (first, rest) = key.split_once('.').unwrap_or((key, ""));
    if let Some(Value::Array(profiles)) = table.get_mut("profile") {
        let named = |profile: &&mut Value| profile.get("name").and_then(Value::as_str) == Some(first);
        if let Some(Value::Table(profile)) = profiles.iter_mut().find(named) {
            return put(profile, rest, value);
        }
    }
    match rest {
        "" if first.is_empty() => None,
        "" => {
            table.insert(first.to_owned(), value);
            Some(())
        }
        rest => match table.entry(first).or_insert_with(|| Value::Table(Table::new())) {
            Value::Table(inner) => put(inner, rest, value),
            _ => None,
        },
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn limits(asked: &str, table: &str) -> Result<Vec<f32>, String> {
        let plans = plans(&[asked.to_owned()], &table.parse().unwrap()).map_err(|f| f.to_string())?;
        Ok(plans.iter().map(|(_, _, plan)| plan.profile(0).unwrap().low.limit).collect())
    }

    #[test]
    fn each_value_makes_a_plan_of_its_own() {
        assert_eq!(limits("low.limit=65, 75", "").unwrap(), [65.0, 75.0]);
        assert_eq!(limits("low.limit=65", "low.limit = 80").unwrap(), [65.0]);
        let table = "[[profile]]\nname = \"night\"\nwhen = [{ from = \"22:00\", to = \"07:00\" }]";
        let plans = plans(&["night.high.on=false".into()], &table.parse().unwrap()).unwrap();
        assert!(!plans[0].2.profile(1).unwrap().high.on && plans[0].2.profile(0).unwrap().high.on);
    }

    #[test]
    fn what_cannot_be_is_refused_with_the_key() {
        for (asked, says) in [
            ("low.limit", "--vary low.limit: expected KEY=VALUE"),
            ("low.limit=", "expected KEY=VALUE"),
            ("=3", "expected KEY=VALUE"),
            ("low.limit=20", "--vary low.limit=20: low.limit: expected 56 to 120"),
            ("evening.low.limit=70", "evening: not known"),
            ("low.limit.more=70", "low.limit: expected a number"),
            ("low.on=maybe", "low.on: expected true or false, found \"maybe\""),
        ] {
            let said = limits(asked, "").unwrap_err();
            assert!(said.contains(says), "{asked}: {said}");
        }
    }
}
