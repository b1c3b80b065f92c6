//! Columns that are in memory already, those of a data frame say: the same times, values and counts as of a file.

use csv::ByteRecord;
use glidepath::Status;

use super::columns::{self, Amount, Columns, Wanted};
use super::origin::Origin;
use super::read::{self, Cells, Raw, Said};
use super::stamp::{Clock, Stamp};
use super::written::{self, Written};
use super::{Counts, Fingersticks, Trace, Unit};
use crate::args::InputArgs;
use crate::failure::{Failure, shown};

/// A column of times; a blank one is `None` or empty.
#[derive(Clone, Debug)]
pub enum Times {
    /// Seconds since 1970 that a clock without a zone showed.
    Wall(Vec<Option<i64>>),
    /// Seconds since 1970 in UTC.
    Utc(Vec<Option<i64>>),
    /// As tables write them.
    Text(Vec<String>),
}

impl Times {
    fn len(&self) -> usize {
        match self {
            Self::Wall(times) | Self::Utc(times) => times.len(),
            Self::Text(times) => times.len(),
        }
    }
}

/// A column of concentrations.
#[derive(Clone, Debug)]
pub enum Amounts {
    /// Numbers; not a number where blank.
    Numbers(Vec<f32>),
    /// Cells as tables have them: numbers, "low" and "high", blanks.
    Text(Vec<String>),
}

impl Amounts {
    fn len(&self) -> usize {
        match self {
            Self::Numbers(values) => values.len(),
            Self::Text(values) => values.len(),
        }
    }
}

/// Columns of one length.
#[derive(Clone, Debug)]
pub struct Table {
    pub time_name: String,
    pub time: Times,
    /// Dates beside times of day.
    pub date: Option<Vec<String>>,
    pub glucose_name: String,
    pub glucose: Amounts,
    /// The unit of the glucose; without one its name tells it, or the values.
    pub unit: Option<Unit>,
    /// Further columns: the name they are known by, the name they have, the values.
    pub extras: Vec<(&'static str, String, Vec<f32>)>,
}

/// The further columns that are known of a trace: the truth, its rate, and fingersticks.
pub const EXTRAS: [&str; 3] = [read::TRUTH, read::TRUE_RATE, read::REFERENCE];

/// Which of the columns of a table are wanted, by their places.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Places {
    pub time: usize,
    pub date: Option<usize>,
    pub glucose: usize,
    /// The further columns, by the name they are known by.
    pub extras: Vec<(&'static str, usize)>,
}

/// Finds the columns of a sensor's trace by their names, or those of fingersticks, as in a file's header row.
///
/// # Errors
/// When there is no time or no glucose among them, or several that may be meant.
pub fn places(names: &[String], args: &InputArgs, sticks: bool) -> Result<Places, Failure> {
    let record = ByteRecord::from(names.iter().map(String::as_str).collect::<Vec<_>>());
    let (wanted, extras) = if sticks { (Wanted::Reference, &[][..]) } else { (Wanted::Sensor, &EXTRAS[..]) };
    let Columns { time, date, glucose, extras, .. } =
        columns::of_header(&record, args, wanted, extras, Origin::Memory).map_err(Failure::new)?;
    let extras = extras.into_iter().map(|(name, amount)| (name, amount.index)).collect();
    Ok(Places { time, date, glucose: glucose.index, extras })
}

impl Table {
    /// Puts a trace in order, as [`read_trace`](super::read_trace) does a file.
    ///
    /// # Errors
    /// When it is none; the failure names the row, counted from 0, and what was expected there.
    pub fn trace(self, args: &InputArgs) -> Result<Trace, Failure> {
        let extras: Vec<&'static str> = self.extras.iter().map(|(name, ..)| *name).collect();
        let raw = self.raw(args, None)?;
        read::trace(raw, Origin::Memory, args, &extras)
    }

    /// Puts fingersticks in order, on the clock of a trace if there is one.
    ///
    /// # Errors
    /// As [`Table::trace`], and when the times name a zone where those of the trace do not, or the reverse.
    pub fn fingersticks(self, args: &InputArgs, clock: Option<&Clock>) -> Result<Fingersticks, Failure> {
        Ok(read::in_order(self.raw(args, clock)?, args))
    }

    fn raw(self, args: &InputArgs, clock: Option<&Clock>) -> Result<Raw, Failure> {
        let rows = self.time.len();
        let lengths = [self.glucose.len(), self.date.as_ref().map_or(rows, Vec::len)];
        let extra_lengths = self.extras.iter().map(|(.., values)| values.len());
        if let Some(other) = lengths.into_iter().chain(extra_lengths).find(|length| *length != rows) {
            return Err(Failure::new(format!("columns of {rows} and of {other} rows, expected one length")));
        }
        let mut counts = Counts { rows: rows as u64, ..Counts::default() };
        let mut cells = Cells::default();
        for row in 0..rows {
            match self.said(row, args)? {
                Some(said) => cells.push(said, row as u64, &mut counts),
                None => counts.blank += 1,
            }
        }
        if cells.rows.is_empty() {
            return Err(Failure::new("no row has a time, expected readings"));
        }
        let mut glucose = Amount::new(0, &self.glucose_name);
        glucose.unit = self.unit.or(glucose.unit);
        let extras = self.extras.iter().map(|(known, name, _)| (*known, Amount::new(0, name))).collect();
        let columns = Columns { time: 0, time_name: self.time_name, date: None, glucose, extras };
        read::settled(Origin::Memory, args, columns, cells, clock, (rows - 1) as u64, counts)
    }

    /// What a row says; `None` without a time.
    fn said(&self, row: usize, args: &InputArgs) -> Result<Option<Said>, Failure> {
        let wrong = |column: &str, what: String| Origin::Memory.cell(row as u64, column, what);
        let known = |seconds: Option<i64>, offset| seconds.map(|wall| Written::Known(Stamp { wall, offset }));
        let written = match &self.time {
            Times::Wall(times) => known(times[row], None),
            Times::Utc(times) => known(times[row], Some(0)),
            Times::Text(times) => self
                .parsed(row, times[row].trim().as_bytes(), args)
                .map_err(|what| wrong(&self.time_name, what))?,
        };
        let Some(written) = written else { return Ok(None) };
        let (glucose, status) = match &self.glucose {
            Amounts::Numbers(values) => {
                read::in_range(values[row]).map(|()| (values[row], Status::Normal)).map_err(|expected| {
                    wrong(&self.glucose_name, format!("found {}, {expected}", values[row]))
                })?
            }
            Amounts::Text(cells) => read::amount(cells[row].trim().as_bytes(), false)
                .map_err(|what| wrong(&self.glucose_name, what))?,
        };
        let extras = self.extras.iter().map(|(.., values)| values[row]).collect();
        Ok(Some(Said { written, glucose, status, extras }))
    }

    fn parsed(&self, row: usize, time: &[u8], args: &InputArgs) -> Result<Option<Written>, String> {
        if time.is_empty() {
            return Ok(None);
        }
        let joined;
        let time = match self.date.as_ref().filter(|_| written::is_time_of_day(time)) {
            Some(dates) => {
                joined = [read::day_alone(dates[row].trim().as_bytes()), b" ", time].concat();
                &joined
            }
            None => time,
        };
        let parsed = read::parsed(time, args.date_format.as_ref());
        let flag = "--date-format";
        let expected = read::EXPECTED_TIME.replace(flag, &Origin::Memory.flag(flag));
        parsed.map(Some).ok_or_else(|| format!("found {}, {expected}", shown(time)))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::table::read_trace;
    use glidepath::Reading;

    const ROWS: [(&str, &str, &str); 9] = [
        ("2024-03-31 00:50", "112", "110"),
        ("2024-03-31 00:55", "LOW", ""),
        ("2024-03-31 01:00", "HIGH", ""),
        ("2024-03-31 01:05", "", "90"),
        ("2024-03-31 01:10", "99.5", ""),
        ("2024-03-31 01:10", "99.5", ""),
        ("2024-03-31 01:10", "98", ""),
        ("", "98", ""),
        ("2024-03-31 01:07", "101", "99"),
    ];

    fn table(time: Times, glucose: Amounts) -> Table {
        let number = |text: &str| text.parse().unwrap_or(f32::NAN);
        let sticks = ROWS.iter().map(|(.., stick)| number(stick)).collect();
        Table {
            time_name: "time".into(),
            time,
            date: None,
            glucose_name: "glucose_mg_dl".into(),
            glucose,
            unit: None,
            extras: vec![(read::REFERENCE, read::REFERENCE.into(), sticks)],
        }
    }

    fn text() -> (Times, Amounts) {
        let text = |n: fn(&(&str, &str, &str)) -> String| ROWS.iter().map(n).collect::<Vec<_>>();
        (Times::Text(text(|row| row.0.into())), Amounts::Text(text(|row| row.1.into())))
    }

    #[test]
    fn columns_in_memory_are_read_as_the_same_table_from_a_file() {
        let mut csv = String::from("time,glucose_mg_dl,reference_mg_dl\n");
        ROWS.iter().for_each(|(time, glucose, stick)| csv += &format!("{time},{glucose},{stick}\n"));
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("t.csv");
        std::fs::write(&path, csv).unwrap();
        for zone in [None, crate::table::zone("Europe/Vienna")] {
            let args = InputArgs { zone, ..InputArgs::default() };
            let file = read_trace(&path, &args, &[]).unwrap();
            let (time, glucose) = text();
            let memory = table(time, glucose).trace(&args).unwrap();
            assert_eq!(memory.readings, file.readings);
            assert_eq!(memory.fingersticks, file.fingersticks);
            assert_eq!(memory.counts, file.counts);
            assert_eq!((memory.unit, memory.interval_s), (file.unit, file.interval_s));
            assert!(memory.columns.is_empty() || memory.column(read::REFERENCE).is_some());
            let counts = &memory.counts;
            assert_eq!((counts.low_text, counts.high_text, counts.blank), (1, 1, 2));
            assert_eq!((counts.exact_repeats, counts.conflicting_stamps, counts.out_of_order), (1, 1, 1));
        }
    }

    #[test]
    fn numbers_are_read_as_their_text_is() {
        let (time, _) = text();
        let Times::Text(texts) = &time else { unreachable!() };
        let seconds = |text: &String| crate::table::parse_time(text.as_bytes()).map(|stamp| stamp.wall);
        let wall = Times::Wall(texts.iter().map(seconds).collect());
        let value = |text: &str| text.parse().unwrap_or(f32::NAN);
        let numbers = Amounts::Numbers(ROWS.iter().map(|(_, glucose, _)| value(glucose)).collect());
        let args = InputArgs::default();
        let blanks = ROWS.iter().map(|(_, glucose, _)| match *glucose {
            "LOW" | "HIGH" => String::new(),
            other => other.to_owned(),
        });
        let want = table(time.clone(), Amounts::Text(blanks.collect())).trace(&args).unwrap();
        let got = table(wall, numbers).trace(&args).unwrap();
        let times = |readings: &[Reading]| readings.iter().map(|r| r.at().secs()).collect::<Vec<_>>();
        assert_eq!(got.readings, want.readings);
        assert_eq!(times(&got.readings).len(), 3);
        assert_eq!(got.counts, want.counts);
    }

    #[test]
    fn what_is_wrong_is_told_with_its_row_and_as_a_call_would_mend_it() {
        let failure = |time: &[&str], glucose: &[&str]| {
            let own = |cells: &[&str]| cells.iter().map(|cell| (*cell).to_owned()).collect::<Vec<_>>();
            let mut table = table(Times::Text(own(time)), Amounts::Text(own(glucose)));
            table.extras.clear();
            table.trace(&InputArgs::default()).unwrap_err().to_string()
        };
        let whole = "2024-03-31 01:10";
        assert_eq!(
            failure(&[whole, whole], &["1", "abc"]),
            "row 1 of glucose_mg_dl: found \"abc\", expected a number, LOW, HIGH or nothing"
        );
        assert!(
            failure(&[whole, "noon"], &["1", "2"]).starts_with("row 1 of time: found \"noon\", expected")
        );
        assert!(failure(&["noon"], &["1"]).ends_with("(or say how it is written with date_format)"));
        assert!(failure(&[whole, "2024-03-31T01:10Z"], &["1", "2"]).ends_with("(or give zone)"));
        let either = failure(&["5/6/2024 10:00"], &["100"]);
        assert!(either.contains("date_format=\"dmy\"") && either.starts_with("row 0 of time: "), "{either}");
        assert!(failure(&[whole], &["100", "100"]).contains("of 1 and of 2 rows"));
        assert_eq!(failure(&[""], &["1"]), "no row has a time, expected readings");
        assert!(
            failure(&[whole, whole], &["", "5.5"])
                .starts_with("row 1 of glucose_mg_dl: no value is over 5.5")
        );
        let names = ["time", "glucose left", "glucose right"].map(String::from);
        let failure = places(&names, &InputArgs::default(), false).unwrap_err().to_string();
        assert!(failure.contains("glucose_column=\"glucose left\""), "{failure}");
        let mut numbers = table(Times::Utc(vec![Some(0)]), Amounts::Numbers(vec![f32::INFINITY]));
        numbers.extras.clear();
        let failure = numbers.trace(&InputArgs::default()).unwrap_err().to_string();
        assert_eq!(failure, "row 0 of glucose_mg_dl: found inf, expected a glucose value from 0 to 2000");
    }

    #[test]
    fn a_date_may_stand_beside_a_time_of_day() {
        let own = |cells: &[&str]| cells.iter().map(|cell| (*cell).to_owned()).collect::<Vec<_>>();
        let mut table = table(Times::Text(own(&["00:05", "00:10"])), Amounts::Numbers(vec![100.0, 101.0]));
        table.extras.clear();
        table.date = Some(own(&["2024-05-06", "2024-05-07T00:00:00"]));
        let trace = table.trace(&InputArgs::default()).unwrap();
        assert_eq!(trace.interval_s, Some(86_700));
        let names = ["Date", "Time", "reference_mmol_l", "Glucose [mg/dL]"].map(String::from);
        let found = places(&names, &InputArgs::default(), false).unwrap();
        assert_eq!((found.time, found.date, found.glucose), (1, Some(0), 3));
        assert_eq!(found.extras, [("reference_mg_dl", 2)]);
        assert_eq!(places(&names, &InputArgs::default(), true).unwrap().glucose, 2);
    }
}
