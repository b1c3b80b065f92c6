//! Which column is which.

use std::path::Path;

use csv::ByteRecord;

use super::origin::Origin;
use super::{Unit, written};
use crate::args::InputArgs;
use crate::failure::{Failure, shown};

/// Whose values are wanted.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Wanted {
    /// A sensor's.
    Sensor,
    /// A meter's or a laboratory's.
    Reference,
}

impl Wanted {
    /// The names that come first, with those the manual tells.
    fn names(self) -> &'static [&'static str] {
        match self {
            Self::Sensor => &["glucose_mg_dl", "glucose_mmol_l"],
            Self::Reference => &["reference_mg_dl", "reference_mmol_l", "glucose_mg_dl", "glucose_mmol_l"],
        }
    }
}

/// A column of concentrations.
pub struct Amount {
    pub index: usize,
    pub name: String,
    /// Told by the name; otherwise by the values.
    pub unit: Option<Unit>,
}

impl Amount {
    pub fn new(index: usize, name: &str) -> Self {
        Self { index, name: name.to_owned(), unit: unit(name) }
    }
}

/// The columns a table is read by.
pub struct Columns {
    pub time: usize,
    pub time_name: String,
    /// A date in a column of its own.
    pub date: Option<usize>,
    pub glucose: Amount,
    pub extras: Vec<(&'static str, Amount)>,
}

/// "Time" as tables name it; the last ones also hold a date alone.
const TIME: [&str; 15] = [
    "time",
    "timestamp",
    "datetime",
    "zeit",
    "uhrzeit",
    "zeitpunkt",
    "zeitstempel",
    "hora",
    "heure",
    "horodatage",
    "ora",
    "tijd",
    "tijdstip",
    "tid",
    "tidspunkt",
];
const DATE: [&str; 7] = ["date", "datum", "fecha", "dato", "dag", "data", "jour"];
/// Words that make a time another one.
const NO_TIME: [&str; 6] = ["zone", "elapsed", "since", "offset", "duration", "timezone"];
/// "Glucose" and "blood sugar".
const GLUCOSE: [&str; 19] = [
    "glucose",
    "glukose",
    "glukoz",
    "glucosa",
    "glucosio",
    "glicose",
    "glicemia",
    "glucemia",
    "glycemi",
    "glykemi",
    "glykæmi",
    "glycaemi",
    "glycémi",
    "blutzucker",
    "blodsukker",
    "blodsocker",
    "bloedsuiker",
    "verensokeri",
    "blood sugar",
];
/// Words of a value that is measured in blood.
const REFERENCE: [&str; 8] =
    ["reference", "fingerstick", "finger", "meter", "capillary", "venous", "laboratory", "smbg"];
/// Words of a number beside a glucose that is none itself.
const NO_GLUCOSE: [&str; 14] = [
    "rate",
    "trend",
    "plasma",
    "predicted",
    "sd",
    "alarm",
    "target",
    "count",
    "id",
    "index",
    "type",
    "unit",
    "change",
    "goal",
];

/// Small letters and digits, everything else a blank.
fn plain(name: &str) -> String {
    let apart: String = name
        .chars()
        .map(|c| if c.is_alphanumeric() { c } else { ' ' })
        .flat_map(char::to_lowercase)
        .collect();
    apart.split_whitespace().collect::<Vec<_>>().join(" ")
}

fn has(plain: &str, words: &[&str]) -> bool {
    plain.split(' ').any(|word| words.contains(&word))
}

fn unit(name: &str) -> Option<Unit> {
    let lower = name.to_ascii_lowercase();
    if lower.contains("mmol") {
        Some(Unit::MmolL)
    } else if lower.contains("mg") {
        Some(Unit::MgDl)
    } else {
        None
    }
}

/// The delimiter that the header row suggests.
pub fn sniff(header: &[u8]) -> u8 {
    let count = |delimiter: u8| header.iter().filter(|byte| **byte == delimiter).count();
    let mut best = b',';
    for delimiter in [b';', b'\t', b'|'] {
        if count(delimiter) > count(best) {
            best = delimiter;
        }
    }
    best
}

/// The line (0: the first) with the header row, and its delimiter: the first that names a time and a glucose; without
/// one, the first that says anything.
pub fn header_row<'a>(
    lines: impl Iterator<Item = &'a [u8]>,
    args: &InputArgs,
    wanted: Wanted,
) -> (usize, u8) {
    const MOST: usize = 100;
    let mut first = None;
    for (place, line) in lines.take(MOST).enumerate() {
        if line.starts_with(b"#") || line.trim_ascii().is_empty() {
            continue;
        }
        let delimiter = args.delimiter.unwrap_or_else(|| sniff(line));
        first.get_or_insert((place, delimiter));
        let mut reader = csv::ReaderBuilder::new().delimiter(delimiter).has_headers(false).from_reader(line);
        let mut record = ByteRecord::new();
        if reader.read_byte_record(&mut record).unwrap_or(false) {
            let header = Header::of(&record);
            if header.time(args).is_ok() && !header.glucose(args, wanted).is_empty() {
                return (place, delimiter);
            }
        }
    }
    first.unwrap_or((0, b','))
}

/// One line as a header row: its columns, its cells and its delimiter. `None` when it names no time or no glucose.
pub fn header(
    line: &[u8],
    args: &InputArgs,
    wanted: Wanted,
    extras: &[&'static str],
) -> Option<Result<(Columns, usize, u8), String>> {
    let (_, delimiter) = header_row(std::iter::once(line), args, wanted);
    let mut reader = csv::ReaderBuilder::new().delimiter(delimiter).has_headers(false).from_reader(line);
    let mut record = ByteRecord::new();
    if line.starts_with(b"#") || !reader.read_byte_record(&mut record).unwrap_or(false) {
        return None;
    }
    let header = Header::of(&record);
    // several that may be the time are a header row too, and a question
    let origin = Origin::File(Path::new(""));
    let is_header = !matches!(header.time(args), Err(several) if several.is_empty())
        && !header.glucose(args, wanted).is_empty();
    is_header.then(|| Ok((header.columns(args, wanted, extras, origin)?, record.len(), delimiter)))
}

/// A header row.
struct Header {
    names: Vec<String>,
    plain: Vec<String>,
}

impl Header {
    fn of(record: &ByteRecord) -> Self {
        let names: Vec<String> =
            record.iter().map(|cell| String::from_utf8_lossy(cell.trim_ascii()).into_owned()).collect();
        Self { plain: names.iter().map(|name| plain(name)).collect(), names }
    }

    fn position(&self, wanted: &str) -> Option<usize> {
        let exact = self.names.iter().position(|name| name == wanted);
        exact.or_else(|| self.names.iter().position(|name| name.eq_ignore_ascii_case(wanted)))
    }

    /// The columns whose plain names `fit` does.
    fn fitting(&self, fit: impl Fn(&str) -> bool) -> Vec<usize> {
        (0..self.names.len()).filter(|index| fit(&self.plain[*index])).collect()
    }

    /// The column with the time, or those that may be it.
    fn time(&self, args: &InputArgs) -> Result<usize, Vec<usize>> {
        if let Some(name) = args.time_column.as_deref() {
            return self.position(name).ok_or_else(Vec::new);
        }
        if let Some(time) = self.position("time") {
            return Ok(time);
        }
        let ways: [&dyn Fn(&str) -> bool; 3] = [
            &|name| has(name, &TIME) && has(name, &DATE) && !has(name, &NO_TIME),
            &|name| has(name, &TIME) && !has(name, &NO_TIME),
            &|name| DATE.contains(&name),
        ];
        for way in ways {
            match self.fitting(way).as_slice() {
                [] => {}
                [one] => return Ok(*one),
                several => return Err(several.to_vec()),
            }
        }
        Err(Vec::new())
    }

    /// A column with dates apart from `time`.
    fn date(&self, time: usize, args: &InputArgs) -> Option<usize> {
        if let Some(name) = args.date_column.as_deref() {
            return self.position(name);
        }
        let found = self.fitting(|name| has(name, &DATE) && !has(name, &TIME) && !has(name, &NO_TIME));
        found.into_iter().find(|index| *index != time)
    }

    /// The columns that may hold the glucose: one, when it is clear.
    fn glucose(&self, args: &InputArgs, wanted: Wanted) -> Vec<usize> {
        if let Some(name) = args.glucose_column.as_deref() {
            return self.position(name).into_iter().collect();
        }
        if let Some(known) = wanted.names().iter().find_map(|name| self.position(name)) {
            return vec![known];
        }
        let is_glucose =
            |name: &str| GLUCOSE.iter().any(|word| name.contains(word)) && !has(name, &NO_GLUCOSE);
        let found = match wanted {
            Wanted::Sensor => self.fitting(|name| is_glucose(name) && !has(name, &REFERENCE)),
            Wanted::Reference => {
                let reference = self.fitting(|name| has(name, &REFERENCE) && !has(name, &NO_GLUCOSE));
                if reference.is_empty() { self.fitting(is_glucose) } else { reference }
            }
        };
        // of several the one that says its unit; the same in two units is one
        let with_unit: Vec<usize> =
            found.iter().copied().filter(|index| unit(&self.names[*index]).is_some()).collect();
        match with_unit.as_slice() {
            [] => found,
            [a, b] if unit(&self.names[*a]) != unit(&self.names[*b]) => vec![*a],
            _ => with_unit,
        }
    }
}

/// The columns of a table by its header row.
pub fn find(
    path: &Path,
    record: &ByteRecord,
    line: u64,
    args: &InputArgs,
    wanted: Wanted,
    extras: &[&'static str],
) -> Result<Columns, Failure> {
    of_header(record, args, wanted, extras, Origin::File(path))
        .map_err(|what| Failure::line(path, line, what))
}

/// The same, or what is wrong with the names.
pub fn of_header(
    record: &ByteRecord,
    args: &InputArgs,
    wanted: Wanted,
    extras: &[&'static str],
    origin: Origin<'_>,
) -> Result<Columns, String> {
    Header::of(record).columns(args, wanted, extras, origin)
}

impl Header {
    /// The columns, or what is wrong with the row.
    fn columns(
        &self,
        args: &InputArgs,
        wanted: Wanted,
        extras: &[&'static str],
        origin: Origin<'_>,
    ) -> Result<Columns, String> {
        let names = &self.names;
        if names.iter().any(|name| written::parse(name.as_bytes()).is_some() || name.parse::<f32>().is_ok()) {
            let expected = format!("expected a header row with the columns time and {}", wanted.names()[0]);
            return Err(format!("found data, {expected}"));
        }
        let time = self.time(args).map_err(|several| match several.as_slice() {
            [] => {
                let name = args.time_column.as_deref().unwrap_or("time");
                let flag = origin.flag("--time-column");
                self.missing(&format!("{} (or name it with {flag})", shown(name.as_bytes())))
            }
            several => self.which(origin, "time", "--time-column", several),
        })?;
        let glucose = match self.glucose(args, wanted).as_slice() {
            [one] => Amount::new(*one, &names[*one]),
            [] => {
                return Err(self.missing(&match args.glucose_column.as_deref() {
                    Some(name) => shown(name.as_bytes()),
                    None => {
                        let flag = origin.flag("--glucose-column");
                        format!("{} (or name it with {flag})", wanted.names().join(" or "))
                    }
                }));
            }
            several => return Err(self.which(origin, "glucose", "--glucose-column", several)),
        };
        for index in [time, glucose.index] {
            if names.iter().filter(|name| **name == names[index]).count() > 1 {
                let name = shown(names[index].as_bytes());
                return Err(format!("the header row has the column {name} twice, expected it once"));
            }
        }
        if glucose.index == time {
            return Err("one column cannot be both the time and the glucose".into());
        }
        if let Some(name) = args.date_column.as_deref().filter(|name| self.position(name).is_none()) {
            return Err(self.missing(&shown(name.as_bytes())));
        }
        let extras = extras.iter().filter_map(|name| Some((*name, self.extra(name)?))).collect();
        let date = self.date(time, args);
        Ok(Columns { time, time_name: names[time].clone(), date, glucose, extras })
    }

    /// A further column, in either unit.
    fn extra(&self, name: &str) -> Option<Amount> {
        let in_mmol = name.replace("_mg_dl", "_mmol_l");
        let found =
            [name, &in_mmol].into_iter().find_map(|name| Some((self.position(name)?, name.to_owned())));
        found.map(|(index, name)| Amount::new(index, &name))
    }

    fn missing(&self, expected: &str) -> String {
        let found = self.names.iter().take(12).map(|name| shown(name.as_bytes()));
        let mut found = found.collect::<Vec<_>>().join(", ");
        if self.names.len() > 12 {
            found.push_str(", …");
        }
        format!("the header row has the columns {found}, expected {expected}")
    }

    /// Which of several columns, with the commands to run.
    fn which(&self, origin: Origin<'_>, what: &str, flag: &str, places: &[usize]) -> String {
        let ways: Vec<String> =
            places.iter().take(4).map(|place| origin.again(flag, &self.names[*place])).collect();
        format!("several columns may be the {what}; name it, as in: {}", ways.join("  or: "))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn found(header: &str, wanted: Wanted) -> Result<(String, Option<String>, String), String> {
        let cells: Vec<&str> = header.split(',').collect();
        let record = ByteRecord::from(cells.clone());
        let columns = find(Path::new("t.csv"), &record, 1, &InputArgs::default(), wanted, &[]);
        let columns = columns.map_err(|failure| failure.to_string())?;
        let name = |index: usize| cells[index].to_owned();
        Ok((name(columns.time), columns.date.map(name), name(columns.glucose.index)))
    }

    #[test]
    fn columns_are_known_by_many_names() {
        let sensor = |header: &str| found(header, Wanted::Sensor).unwrap();
        for (header, time, date, glucose) in [
            ("timestamp,glucose_value_mg_dl", "timestamp", None, "glucose_value_mg_dl"),
            ("Zeitpunkt,Blutzucker (mmol/L),Notiz", "Zeitpunkt", None, "Blutzucker (mmol/L)"),
            ("Date,Time,Glucose [mg/dL]", "Time", Some("Date"), "Glucose [mg/dL]"),
            ("Datum,Uhrzeit,Glukose", "Uhrzeit", Some("Datum"), "Glukose"),
            ("Fecha y hora,Glucosa mg/dL", "Fecha y hora", None, "Glucosa mg/dL"),
            ("date,glycémie mg/dl", "date", None, "glycémie mg/dl"),
            ("Date/Time,Time zone,Glucose rate,Glucose", "Date/Time", None, "Glucose"),
            ("time,glucose mg/dL,glucose mmol/L", "time", None, "glucose mg/dL"),
            ("time,glucose,glucose (mg/dl)", "time", None, "glucose (mg/dl)"),
            ("time,reference glucose mg/dl,sensor glucose mg/dl", "time", None, "sensor glucose mg/dl"),
        ] {
            let want = (time.to_owned(), date.map(str::to_owned), glucose.to_owned());
            assert_eq!(sensor(header), want, "{header}");
        }
        assert_eq!(
            found("time,Reference (mmol/l),glucose_mg_dl", Wanted::Reference).unwrap().2,
            "glucose_mg_dl"
        );
        assert_eq!(found("time,finger mmol/l,glucose x", Wanted::Reference).unwrap().2, "finger mmol/l");
    }

    #[test]
    fn what_may_be_two_columns_is_asked_for_with_the_command() {
        let failure = found("time,glucose left,glucose right", Wanted::Sensor).unwrap_err();
        assert!(failure.contains("--glucose-column 'glucose left'"), "{failure}");
        assert!(failure.contains("--glucose-column 'glucose right'"), "{failure}");
        let failure = found("meter time,sensor time,glucose", Wanted::Sensor).unwrap_err();
        assert!(failure.contains("--time-column 'meter time'"), "{failure}");
    }
}
