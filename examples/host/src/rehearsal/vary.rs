//! What a change of one setting would do.

use glidepath::{Settings, Span};
use rayon::prelude::*;
use serde::Serialize;
use toml::{Table, Value};

use super::score::{self, Score};
use crate::failure::Failure;
use crate::played::{Detail, Traces};
use crate::settings;
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

/// Each variation asked for: the setting, its value, all settings with it.
pub fn plans(asked: &[String], table: &Table) -> Result<Vec<(String, String, Settings)>, Failure> {
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

/// Replays the traces with each.
pub fn rehearse(
    asked: &[String],
    table: &Table,
    traces: &Traces<'_>,
    window: Span,
) -> Result<Vec<Variation>, Failure> {
    plans(asked, table)?
        .into_par_iter()
        .map(|(setting, value, plan)| {
            let (score, ..) = score::of(traces, &traces.play(plan, Detail::Verdicts)?, window);
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

/// Puts a value at a place, which begins at the top of the file or, if it begins otherwise, at `alarms.base`. `None`
/// when there is no room for it.
fn put(table: &mut Table, key: &str, value: Value) -> Option<()> {
    const TOP: [&str; 6] = ["model", "forecast", "drift", "bands", "quality", "alarms"];
    let steps: Vec<&str> = settings::steps(key).collect();
    let base = if TOP.contains(steps.first()?) { &[][..] } else { &["alarms", "base"] };
    let (last, path) = steps.split_last()?;
    let mut inner = table;
    let mut steps = base.iter().chain(path);
    while let Some(step) = steps.next() {
        if step.starts_with(|c: char| c.is_ascii_digit()) {
            return None; // of a list that is not there
        }
        inner = match inner.entry(*step).or_insert_with(|| Value::Table(Table::new())) {
            Value::Table(inner) => inner,
            Value::Array(items) => items.get_mut(steps.next()?.parse::<usize>().ok()?)?.as_table_mut()?,
            _ => return None,
        };
    }
    inner.insert((*last).to_owned(), value);
    Some(())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn limits(asked: &str, table: &str) -> Result<Vec<f32>, String> {
        let plans = plans(&[asked.to_owned()], &table.parse().unwrap()).map_err(|f| f.to_string())?;
        Ok(plans.iter().map(|(_, _, plan)| plan.alarms.profile(0).unwrap().low.limit.mg_dl()).collect())
    }

    #[test]
    fn each_value_makes_a_plan_of_its_own() {
        assert_eq!(limits("low.limit=65, 75", "").unwrap(), [65.0, 75.0]);
        assert_eq!(limits("alarms.base.low.limit=65", "alarms.base.low.limit = 80").unwrap(), [65.0]);
        let table = "[[alarms.profiles]]\nlow.limit = 80".parse().unwrap();
        let plans =
            plans(&["alarms.profiles[0].high.on=false".into(), "model.lag=8 min".into()], &table).unwrap();
        let alarms = plans[0].2.alarms;
        assert!(!alarms.profile(1).unwrap().high.on && alarms.profile(0).unwrap().high.on);
        assert_eq!(plans[1].2.model.lag(), Span::from_mins(8));
    }

    #[test]
    fn what_cannot_be_is_refused_with_the_key() {
        for (asked, says) in [
            ("low.limit", "--vary low.limit: expected KEY=VALUE"),
            ("low.limit=", "expected KEY=VALUE"),
            ("=3", "expected KEY=VALUE"),
            ("low.limit=20", "--vary low.limit=20: alarms.base.low.limit: 20 is outside 56 to 120"),
            ("evening.low.limit=70", "alarms.base.evening: unknown field"),
            ("low.limit.more=70", "alarms.base.low.limit: invalid type: map"),
            ("low.on=maybe", "alarms.base.low.on: invalid type: string \"maybe\", expected a boolean"),
            ("alarms.profiles[0].low.on=true", "no such setting"),
        ] {
            let said = limits(asked, "").unwrap_err();
            assert!(said.contains(says), "{asked}: {said}");
        }
    }
}
