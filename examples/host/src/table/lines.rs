//! A table that comes line by line while it is written: the same columns, times and values as of a whole one.

use std::path::{Path, PathBuf};

use csv::ByteRecord;
use glidepath::{Fingerstick, Glucose, Instant, Reading, Status};

use super::Unit;
use super::columns::{self, Columns, Wanted};
use super::origin::Origin;
use super::read::{self, Said, Wrong};
use super::stamp::{self, Clock, Stamp};
use super::written::{self, Decided, Format, Order};
use crate::args::InputArgs;
use crate::failure::{Failure, shown};

/// So many lines may stand before the header row.
const BEFORE_HEADER: u32 = 100;

/// A row that was read: a reading, a fingerstick beside it, or both.
#[derive(Clone, Copy, Debug)]
pub struct Taken {
    pub at: Instant,
    pub reading: Option<Reading>,
    pub stick: Option<Fingerstick>,
}

/// What came of some lines.
#[derive(Debug, Default)]
pub struct Batch {
    pub taken: Vec<Taken>,
    /// Rows without a time or a value.
    pub blank: u64,
    /// What is wrong with each line that is no row of the table.
    pub broken: Vec<String>,
}

/// A table under way.
pub struct Lines {
    path: PathBuf,
    args: InputArgs,
    clock: Clock,
    shape: Option<Shape>,
    /// Lines so far that are no header row.
    before: u32,
    /// The order of day and month, once it is clear.
    order: Option<Order>,
    unit: Option<Unit>,
    previous: Option<i64>,
}

/// What the header row said.
struct Shape {
    columns: Columns,
    width: usize,
    delimiter: u8,
    /// As it was read.
    line: Vec<u8>,
}

impl Lines {
    /// A table of which nothing was read yet. Times that name no zone are on `clock`.
    pub fn new(path: &Path, args: &InputArgs, clock: Clock) -> Self {
        Self {
            path: path.to_owned(),
            args: args.clone(),
            clock,
            shape: None,
            before: 0,
            order: None,
            unit: None,
            previous: None,
        }
    }

    /// The header row, once it was read.
    pub fn header(&self) -> Option<&[u8]> {
        self.shape.as_ref().map(|shape| shape.line.as_slice())
    }

    /// The unit of the glucose column, once it is known.
    pub fn unit(&self) -> Option<Unit> {
        self.unit
    }

    /// The unit of a glucose column whose name tells none.
    pub fn set_unit(&mut self, unit: Unit) {
        self.unit.get_or_insert(unit);
    }

    /// The order of day and month as `--date-format` has it, once the rows have told it.
    pub fn date_format(&self) -> Option<&'static str> {
        self.order.map(|order| match order {
            Order::DayFirst => "dmy",
            Order::MonthFirst => "mdy",
        })
    }

    /// Takes `line` as the header row.
    ///
    /// # Errors
    /// When it names no time or no glucose, or several that may be meant.
    pub fn begin(&mut self, line: &[u8]) -> Result<(), Failure> {
        if self.is_header(line)? {
            return Ok(());
        }
        let what = format!("{} names no time or no glucose, expected a header row", shown(line));
        Err(Failure::file(&self.path, what))
    }

    fn is_header(&mut self, line: &[u8]) -> Result<bool, Failure> {
        let found = columns::header(line, &self.args, Wanted::Sensor, &[read::REFERENCE]);
        let Some(found) = found else { return Ok(false) };
        let (columns, width, delimiter) = found.map_err(|what| Failure::file(&self.path, what))?;
        self.unit = columns.glucose.unit;
        self.shape = Some(Shape { columns, width, delimiter, line: line.to_vec() });
        Ok(true)
    }

    /// Reads whole lines, without their ends. What is wrong with one is told and costs no other.
    ///
    /// # Errors
    /// When nobody but the user can say how the table is meant: its columns, or the order of day and month.
    pub fn read<'a>(&mut self, lines: impl IntoIterator<Item = &'a [u8]>) -> Result<Batch, Failure> {
        let mut batch = Batch::default();
        let mut rows = Vec::new();
        for line in lines {
            let line = line.strip_prefix(b"\xef\xbb\xbf").unwrap_or(line);
            if line.trim_ascii().is_empty() || line.starts_with(b"#") {
                continue;
            }
            // a sender that begins anew sends its header row again
            if self.header() == Some(line) || self.shape.is_none() && self.is_header(line)? {
                continue;
            }
            let Some(shape) = &self.shape else {
                self.before = self.before.saturating_add(1);
                if self.before > BEFORE_HEADER {
                    batch.broken.push(format!("no header row yet, found {}", shown(line)));
                }
                continue;
            };
            match shape.row(line, self.args.date_format.as_ref()) {
                Ok(Some(said)) => rows.push(said),
                Ok(None) => batch.blank += 1,
                Err(Wrong { column: Some(column), what }) => {
                    batch.broken.push(format!("column {}: {what}", shown(column.as_bytes())));
                }
                Err(Wrong { column: None, what }) => batch.broken.push(what),
            }
        }
        let order = self.order_of(&rows)?;
        for said in rows {
            match self.settled(&said, order) {
                Ok(Some(taken)) => batch.taken.push(taken),
                Ok(None) => batch.blank += 1,
                Err(what) => batch.broken.push(what),
            }
        }
        Ok(batch)
    }

    /// The order of day and month that these rows are to be read by.
    fn order_of(&mut self, rows: &[Said]) -> Result<Order, Failure> {
        if let Some(Format::Order(order)) = self.args.date_format {
            return Ok(order);
        }
        if let Some(order) = self.order {
            return Ok(order);
        }
        match written::decide(&written::numbers(rows.iter().map(|said| said.written))) {
            Decided::Unneeded => Ok(Order::DayFirst),
            Decided::Order(order) => Ok(*self.order.insert(order)),
            Decided::Either(_, numbers) => {
                Err(Failure::file(&self.path, read::either(Origin::File(&self.path), numbers)))
            }
        }
    }

    /// A row with its time and its values settled; `None` when it has no value.
    fn settled(&mut self, said: &Said, order: Order) -> Result<Option<Taken>, String> {
        let stamp = said.written.stamp(order).ok_or("no such date, expected one as in the other rows")?;
        let at = self.instant(stamp)?;
        let unit = match self.unit {
            Some(unit) => unit,
            None if said.glucose.is_nan() => Unit::MgDl,
            None => {
                let mmol = said.glucose < read::LEAST_HIGHEST_MG_DL;
                *self.unit.insert(if mmol { Unit::MmolL } else { Unit::MgDl })
            }
        };
        let most = if unit == Unit::MmolL { read::MOST_MMOL_L } else { Glucose::MAX_MG_DL };
        if said.glucose > most {
            return Err(format!("found {}, expected {} from 0 to {most}", said.glucose, unit.name()));
        }
        let mg_dl = match said.status {
            Status::BelowRange => read::LOW_MG_DL,
            Status::AboveRange => read::HIGH_MG_DL,
            _ => said.glucose * unit.in_mg_dl(),
        };
        let glucose = |mg_dl: f32| Some(mg_dl).filter(|value| value.is_finite()).map(Glucose::from_mg_dl);
        let reading = glucose(mg_dl).transpose().map_err(|error| error.to_string())?;
        let reading = reading.map(|glucose| Reading::new(at, glucose).with_status(said.status));
        let factor = self.shape.as_ref().and_then(|shape| shape.columns.extras.first()?.1.unit);
        let stick = said.extras.first().map(|value| value * factor.map_or(1.0, Unit::in_mg_dl));
        let stick = stick.and_then(glucose).transpose().map_err(|error| error.to_string())?;
        let stick = stick.map(|glucose| Fingerstick::new(at, glucose));
        Ok((reading.is_some() || stick.is_some()).then_some(Taken { at, reading, stick }))
    }

    fn instant(&mut self, stamp: Stamp) -> Result<Instant, String> {
        let at = self.clock.instant(stamp, self.previous).unwrap_or(stamp.wall);
        if !(read::FIRST..read::LAST).contains(&at) {
            return Err(format!("found \"{}\", expected a time from 1970 to 2105", stamp::iso(stamp.wall)));
        }
        self.previous = Some(at);
        u32::try_from(at).map(Instant::from_secs).map_err(|error| error.to_string())
    }
}

impl Shape {
    fn row(&self, line: &[u8], format: Option<&Format>) -> Result<Option<Said>, Wrong> {
        let cells = csv::ReaderBuilder::new()
            .delimiter(self.delimiter)
            .has_headers(false)
            .flexible(true)
            .from_reader(line);
        let mut record = ByteRecord::new();
        let mut cells = cells;
        if !cells.read_byte_record(&mut record).unwrap_or(false) {
            return Err(Wrong { column: None, what: format!("found {}, expected a row", shown(line)) });
        }
        if record.len() < self.columns.time.max(self.columns.glucose.index) + 1 {
            let what = format!("found {}, expected {} cells", shown(line), self.width);
            return Err(Wrong { column: None, what });
        }
        read::said(&record, &self.columns, self.width, self.delimiter != b',', format)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn lines(args: &InputArgs) -> Lines {
        let zone = super::super::zone("Europe/Vienna").unwrap();
        Lines::new(Path::new("t.csv"), args, Clock::Zone(zone))
    }

    fn read(lines: &mut Lines, text: &str) -> Batch {
        lines.read(text.split('\n').map(str::as_bytes)).unwrap()
    }

    #[test]
    fn rows_come_one_by_one_and_a_broken_one_costs_no_other() {
        let mut table = lines(&InputArgs::default());
        let batch = read(&mut table, "a remark\n# another\ntime,glucose_mmol_l,reference_mg_dl\n");
        assert!(batch.taken.is_empty() && batch.broken.is_empty());
        let batch =
            read(&mut table, "2024-07-01 12:00,5.5,\n2024-07-01 12:05,LOW,101\nnoon,5.5,\n2024-07-01");
        let values: Vec<_> = batch.taken.iter().map(|t| t.reading.unwrap().glucose().mg_dl()).collect();
        assert!((values[0] - 5.5 * 18.0156).abs() < 1e-3 && values[1] == 40.0, "{values:?}");
        assert_eq!(batch.taken[1].reading.unwrap().status(), Status::BelowRange);
        assert_eq!(batch.taken[1].stick.unwrap().glucose().mg_dl(), 101.0);
        assert_eq!(batch.taken[0].at.secs(), 1_719_828_000); // 10:00 in UTC
        assert_eq!(batch.broken.len(), 2, "{:?}", batch.broken);
        // the header again, a blank value, and a value that is no mmol/L
        let batch =
            read(&mut table, "time,glucose_mmol_l,reference_mg_dl\n2024-07-01 12:10,,\n2024-07-01 12:15,99,");
        assert_eq!((batch.taken.len(), batch.blank, batch.broken.len()), (0, 1, 1));
    }

    #[test]
    fn what_only_the_user_can_say_is_asked() {
        let asked = |args: &InputArgs, text: &str| {
            let failed = lines(args).read(text.split('\n').map(str::as_bytes));
            failed.unwrap_err().to_string()
        };
        let dates = "time,glucose\n05/06/2024 12:00,100\n";
        assert!(asked(&InputArgs::default(), dates).contains("--date-format dmy"));
        let both = "time,glucose left,glucose right\n";
        assert!(asked(&InputArgs::default(), both).contains("--glucose-column"));
        let told = InputArgs { date_format: Some("mdy".parse().unwrap()), ..InputArgs::default() };
        let batch = read(&mut lines(&told), dates);
        assert_eq!(batch.taken[0].at.secs(), 1_714_989_600); // 6 May
        assert!(lines(&told).begin(b"2024-07-01 12:00,100").is_err());
        assert!(lines(&told).begin(b"time,glucose").is_ok());
    }

    #[test]
    fn the_hour_that_comes_twice_goes_on() {
        let mut table = lines(&InputArgs::default());
        let rows = "time,glucose_mg_dl\n2023-10-29 02:55,100\n2023-10-29 02:00,101\n2023-10-29 02:05,102";
        let batch = read(&mut table, rows);
        let at: Vec<_> = batch.taken.iter().map(|taken| taken.at.secs()).collect();
        assert_eq!([at[1] - at[0], at[2] - at[1]], [300, 300]);
    }

    #[test]
    fn without_a_unit_in_its_name_the_first_value_tells() {
        for (value, unit) in [("5.6", Unit::MmolL), ("101", Unit::MgDl)] {
            let mut table = lines(&InputArgs::default());
            read(&mut table, &format!("time,glucose\n2024-07-01 12:00,{value}"));
            assert_eq!(table.unit(), Some(unit));
        }
    }
}
