//! The one settings file: for rehearsals here, for the wrist, and for code. What it may hold is said by the library's
//! `Settings`; `settings.toml` beside this file shows and explains every key.
//!
//! A file either loads or is refused with its place named: nothing is guessed, nothing is skipped.

use std::fmt;
use std::path::{Path, PathBuf};

use glidepath::Settings;
use serde::Deserialize;
use toml::{Table, Value};

use crate::failure::Failure;
use crate::output::{self, Outputs};

/// The file with every key, its default and its range.
pub const TEMPLATE: &str = include_str!("settings.toml");

/// Checks a settings file, or prints one with every key, its default and its range.
///
/// The same file serves `replay --settings FILE`, the wrist, and code that reads it into the library's `Settings`.
#[derive(clap::Args, Clone, Debug)]
pub struct Args {
    /// The settings file (TOML) to check; without one, a file with every key, its default and its range is printed
    file: Option<PathBuf>,

    /// Print all that the file sets, what it leaves out included, as JSON
    #[arg(long, requires = "file")]
    json: bool,

    /// Write all that the file sets, what it leaves out included, into this file (TOML)
    #[arg(long, value_name = "FILE", requires = "file")]
    whole: Option<PathBuf>,
}

/// Checks or prints settings.
pub fn run(args: &Args) -> Result<(), Failure> {
    let Some(path) = &args.file else {
        output::print(TEMPLATE);
        return Ok(());
    };
    let settings = of_file(path)?;
    if let Some(whole) = &args.whole {
        let mut outputs = Outputs::beside([path.as_path()]);
        outputs.add(whole.clone(), text(&settings)?);
        outputs.write()?;
    }
    if args.json {
        let json = serde_json::to_string_pretty(&settings);
        output::print(&json.map_err(|error| Failure::new(format!("the settings: {error}")))?);
    } else {
        output::print(&in_words(&settings, path));
    }
    Ok(())
}

/// All of the settings as a file.
pub fn text(settings: &Settings) -> Result<String, Failure> {
    toml::to_string(settings).map_err(|error| Failure::new(format!("the settings: {error}")))
}

/// What a file that is sound sets otherwise than the defaults, a line for each key.
fn in_words(settings: &Settings, path: &Path) -> String {
    let (mut set, mut standard) = (Vec::new(), Vec::new());
    let table = |settings: &Settings| Value::try_from(settings).unwrap_or(Value::Boolean(false));
    leaves(&table(settings), String::new(), &mut set);
    leaves(&table(&Settings::default()), String::new(), &mut standard);
    let mut words = format!("{}: sound.", path.display());
    let changed: Vec<_> = set.iter().filter(|leaf| !standard.contains(leaf)).collect();
    if changed.is_empty() {
        words += " Everything is as by default.";
    } else {
        words += " Otherwise than by default:";
        for (key, value) in changed {
            let was = standard.iter().find(|(other, _)| other == key);
            words += &format!("\n  {key} = {value}");
            words += &was.map(|(_, was)| format!(" (by default {was})")).unwrap_or_default();
        }
    }
    words + "\n"
}

/// Every key that holds a value, with it.
fn leaves(value: &Value, at: String, found: &mut Vec<(String, String)>) {
    match value {
        Value::Table(table) => {
            for (key, value) in table {
                leaves(value, if at.is_empty() { key.clone() } else { format!("{at}.{key}") }, found);
            }
        }
        Value::Array(items) if items.iter().all(Value::is_table) => {
            for (n, value) in items.iter().enumerate() {
                leaves(value, format!("{at}[{n}]"), found);
            }
        }
        // as a person would write it: the library's numbers have half the digits
        Value::Float(number) => found.push((at, format!("{}", *number as f32))),
        value => found.push((at, value.to_string())),
    }
}

/// A refusal: the place in the file, and what was wrong there.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Refused {
    pub place: String,
    pub what: String,
}

impl fmt::Display for Refused {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}: {}", self.place, self.what)
    }
}

/// The settings of a file.
pub fn of_file(path: &Path) -> Result<Settings, Failure> {
    load(&read(path)?).map_err(|refused| Failure::file(path, refused))
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

/// The settings that a table describes.
pub fn load(table: &Table) -> Result<Settings, Refused> {
    let mut track = serde_path_to_error::Track::new();
    let from = serde_path_to_error::Deserializer::new(Value::Table(table.clone()), &mut track);
    Settings::deserialize(from).map_err(|error| {
        let mut place = track.path().to_string();
        let mut what = error.message().trim_end().to_owned();
        // the library names the parameter at the front of what is wrong with it; the place may end before it
        if let Some((field, rest)) = what.split_once(": ").filter(|(field, _)| !field.contains([' ', '`'])) {
            if matches!(at(table, &place), Some(Value::Table(_) | Value::Array(_)) | None) {
                place = if place == "." { field.to_owned() } else { format!("{place}.{field}") };
            }
            what = rest.to_owned();
        }
        if place.ends_with(".floor") {
            what = "the floor is fixed and has no settings: it rings at 55 mg/dL".into();
        }
        Refused { place, what }
    })
}

/// The keys and numbers of a place such as `alarms.profiles[0].low`.
pub fn steps(place: &str) -> impl Iterator<Item = &str> {
    place.split(['.', '[']).map(|step| step.trim_end_matches(']')).filter(|step| !step.is_empty())
}

/// What a table holds at a place.
fn at<'a>(table: &'a Table, place: &str) -> Option<&'a Value> {
    let mut steps = steps(place);
    let first = table.get(steps.next()?)?;
    steps.try_fold(first, |value, step| match value {
        Value::Table(table) => table.get(step),
        Value::Array(items) => items.get(step.parse::<usize>().ok()?),
        _ => None,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn refused(text: &str) -> String {
        load(&text.parse().unwrap()).unwrap_err().to_string()
    }

    /// Every key of what the library writes is in the template, with the default's value, and no other.
    #[test]
    fn the_template_is_the_defaults_and_leaves_no_key_out() {
        let table: Table = TEMPLATE.parse().unwrap();
        assert_eq!(load(&table).unwrap(), Settings::default());
        let keys = |value: &Value| {
            let mut found = Vec::new();
            leaves(value, String::new(), &mut found);
            found.retain(|(_, value)| value != "[]");
            let mut keys: Vec<String> = found.into_iter().map(|(key, _)| key).collect();
            keys.sort();
            keys
        };
        let written = Value::try_from(Settings::default()).unwrap();
        assert_eq!(keys(&Value::Table(table)), keys(&written));
    }

    #[test]
    fn what_the_template_shows_behind_marks_can_be_switched_on() {
        let from = TEMPLATE.find("# [[alarms.profiles]]").unwrap();
        let (above, below) = TEMPLATE.split_at(from);
        let on: String =
            below.lines().map(|line| format!("{}\n", line.trim_start_matches(['#', ' ']))).collect();
        let settings = load(&format!("{above}{on}").parse().unwrap()).unwrap();
        let at = |hour: u16| glidepath::LocalTime::new(0, hour * 60).unwrap();
        assert_eq!([3, 12, 20].map(|hour| settings.alarms.profile_at(at(hour))), [1, 2, 0]);
        assert_eq!(settings.alarms.settings_at(Some(at(3))).high.limit.mg_dl(), 300.0);
    }

    #[test]
    fn a_refusal_names_the_place_and_the_range() {
        for (text, says) in [
            ("alarms.base.low.limit = 50", "alarms.base.low.limit: 50 is outside 56 to 120"),
            ("alarms.base.low.limit = 3.9", "alarms.base.low.limit: 3.9 is outside 56 to 120"),
            ("alarms.base.low.limit = nan", "alarms.base.low.limit: not a finite number"),
            (
                "alarms.base.low.limit = \"70\"",
                "alarms.base.low.limit: invalid value: string \"70\", expected mg/dL",
            ),
            ("alarms.base.low = 70", "alarms.base.low: invalid type: integer `70`"),
            ("alarms.base.lows = 70", "alarms.base.lows: unknown field `lows`, expected one of `low`"),
            ("alarms.base.floor.on = false", "alarms.base.floor: the floor is fixed"),
            ("alarms.base.recovering = 9", "alarms.base.recovering: 9 is outside 0.2 to 5"),
            ("alarms.base.low.limit = 115\nalarms.base.high.limit = 125", "alarms.high.limit: at odds"),
            ("[[alarms.profiles]]\nlow.limit = 1", "alarms.profiles[0].low.limit: 1 is outside 56 to 120"),
            ("model.lag = \"2 h\"", "model.lag: 7200 is outside 30 to 1800"),
            ("quality.gap = \"9 h\"", "quality.gap: 32400 is outside 60 to 21600"),
            ("quality.night_to = \"7\"", "quality.night_to: invalid value: string \"7\""),
            ("unit = \"mmol/L\"", "unit: unknown field `unit`"),
        ] {
            let said = refused(text);
            assert!(said.starts_with(says), "{text}: {said}");
        }
    }

    #[test]
    fn what_differs_is_told_key_by_key() {
        let table = "alarms.base.low.limit = 72.5\n[[alarms.profiles]]\nhigh.on = false";
        let words = in_words(&load(&table.parse().unwrap()).unwrap(), Path::new("mine.toml"));
        assert!(words.starts_with("mine.toml: sound. Otherwise than by default:\n"), "{words}");
        assert!(words.contains("  alarms.base.low.limit = 72.5 (by default 70)\n"), "{words}");
        assert!(words.contains("  alarms.profiles[0].high.on = false\n"), "{words}");
        let same = in_words(&Settings::default(), Path::new("mine.toml"));
        assert_eq!(same, "mine.toml: sound. Everything is as by default.\n");
    }

    fn tree() -> impl Strategy<Value = Value> {
        let value = prop_oneof![
            any::<bool>().prop_map(Value::Boolean),
            (-1000_i64..1000).prop_map(Value::Integer),
            any::<f64>().prop_map(Value::Float),
            "[a-z0-9:]{0,6}".prop_map(Value::String),
            prop::sample::select(vec!["low", "mon", "22:00", "4 mmol/L", "15 min"])
                .prop_map(|text| Value::String(text.to_owned())),
        ];
        let names = &[
            "alarms",
            "base",
            "profiles",
            "slots",
            "low",
            "high",
            "no_data",
            "low_ahead",
            "limit",
            "hysteresis",
            "on",
            "delay",
            "repeat",
            "priority",
            "from",
            "to",
            "days",
            "profile",
            "recovering",
            "model",
            "lag",
            "quality",
            "gap",
            "night_from",
            "drift",
            "bands",
            "fast",
            "else",
        ][..];
        value.prop_recursive(5, 24, 6, move |inner| {
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
        fn any_file_loads_soundly_or_is_refused_with_a_place(tree in tree()) {
            let Value::Table(table) = tree else { return Ok(()) };
            match load(&table) {
                Ok(settings) => {
                    let again = toml::to_string(&settings).unwrap().parse().unwrap();
                    prop_assert_eq!(load(&again).unwrap(), settings);
                }
                Err(refused) => {
                    let first = steps(&refused.place).next().unwrap_or_default();
                    prop_assert!(table.contains_key(first), "{refused}");
                }
            }
        }
    }
}
