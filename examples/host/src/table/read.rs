//! From a file to a trace or to fingersticks.

use std::path::Path;

use csv::{ByteRecord, ErrorKind, ReaderBuilder};
use glidepath::{Fingerstick, Glucose, Reading, Status};

use super::columns::{self, Amount, Columns, Wanted};
use super::order::{self, Row};
use super::origin::Origin;
use super::source::{LONGEST_RECORD, Limit, Source, Text};
use super::stamp::{self, Clock, Stamp};
use super::written::{self, Decided, Format, Numbers, Order, Written};
use super::{Column, Counts, Fingersticks, Trace, Unit};
use crate::args::InputArgs;
use crate::failure::{Failure, shown};
use crate::progress::Progress;

/// What "low" and "high" stand for, mg/dL: the ends of the usual sensor range (common practice, no source).
pub(super) const LOW_MG_DL: f32 = 40.0;
pub(super) const HIGH_MG_DL: f32 = 400.0;

/// The first and the last year of a time that can be meant; instants are 32-bit seconds since 1970.
pub(super) const FIRST: i64 = 0;
pub(super) const LAST: i64 = 4_291_747_200; // 2106-01-01

/// A trace's own columns: true blood glucose and its rate, in a simulated one, and fingersticks.
pub const TRUTH: &str = "plasma_mg_dl";
pub const TRUE_RATE: &str = "rate_mg_dl_min";
pub const REFERENCE: &str = "reference_mg_dl";

/// Reads a trace, with those of the columns `extras` that the file has. Its own column `reference_mg_dl` (or the same
/// in mmol/L) is read as fingersticks.
///
/// # Errors
/// When the file is no table of readings; the failure names the place and what was expected there.
pub fn read_trace(path: &Path, args: &InputArgs, extras: &[&'static str]) -> Result<Trace, Failure> {
    let wanted: Vec<&'static str> = extras.iter().copied().chain([REFERENCE]).collect();
    let raw = read(path, args, Wanted::Sensor, &wanted, None)?;
    trace(raw, Origin::File(path), args, extras)
}

/// Puts what was read in order.
pub(super) fn trace(
    raw: Raw,
    origin: Origin<'_>,
    args: &InputArgs,
    extras: &[&'static str],
) -> Result<Trace, Failure> {
    let Raw { mut rows, values, mut counts, mut clock, columns, unit } = raw;
    let mut order = order::settle(&mut rows, &mut clock, &mut counts, true);
    keep_period(origin, args, &rows, &clock, &mut order, &mut counts)?;
    let readings: Vec<Reading> = order
        .iter()
        .filter_map(|&index| {
            let row = rows.get(index)?;
            Some(Reading::new(row.instant()?, Glucose::from_mg_dl(row.glucose).ok()?).with_status(row.status))
        })
        .collect();
    let width = columns.extras.len();
    let value = |index: usize, n: usize| values.get(index * width + n).copied().unwrap_or(f32::NAN);
    let own = columns.extras.iter().position(|(name, _)| *name == REFERENCE);
    let fingersticks = own.map(|n| beside(&rows, |index| value(index, n), args, &clock)).unwrap_or_default();
    let columns = columns.extras.iter().enumerate().filter(|(_, (name, _))| extras.contains(name));
    let columns = columns
        .map(|(n, (name, _))| Column { name, values: order.iter().map(|&index| value(index, n)).collect() })
        .collect();
    let interval_s = order::usual_interval(readings.iter().map(|r| i64::from(r.at().secs())));
    let steps = readings.windows(2).map(|pair| pair[1].at().since(pair[0].at()).secs().unsigned_abs());
    let close = |step: &u32| interval_s.is_some_and(|usual| *step < usual.div_ceil(2));
    counts.closer_than_half_interval = steps.filter(close).count() as u64;
    order::look_for_clock_changes(&readings, interval_s, &clock, &mut counts);
    Ok(Trace { readings, fingersticks, columns, clock, unit, interval_s, counts })
}

/// The values beside a trace's rows, one for each second, in order of time.
fn beside(rows: &[Row], value: impl Fn(usize) -> f32, args: &InputArgs, clock: &Clock) -> Vec<Fingerstick> {
    let stick = |(index, row): (usize, &Row)| {
        let inside = in_period(args, clock.wall(row.at));
        let known = Some(value(index)).filter(|value| inside && value.is_finite())?;
        Some(Fingerstick::new(row.instant()?, Glucose::from_mg_dl(known).ok()?))
    };
    let mut sticks: Vec<Fingerstick> = rows.iter().enumerate().filter_map(stick).collect();
    sticks.sort_by_key(Fingerstick::at);
    sticks.dedup_by_key(|stick| stick.at());
    sticks
}

/// Whether a moment on the wearer's clock lies in the days asked for.
fn in_period(args: &InputArgs, wall: i64) -> bool {
    if args.from.is_none() && args.to.is_none() {
        return true;
    }
    let day = stamp::date(wall.div_euclid(86_400));
    args.from.is_none_or(|from| day >= from) && args.to.is_none_or(|to| day <= to)
}

/// Leaves out of `order` what is not in the days asked for.
fn keep_period(
    origin: Origin<'_>,
    args: &InputArgs,
    rows: &[Row],
    clock: &Clock,
    order: &mut Vec<usize>,
    counts: &mut Counts,
) -> Result<(), Failure> {
    if args.from.is_none() && args.to.is_none() {
        return Ok(());
    }
    let ends = (order.first().copied(), order.last().copied());
    let before = order.len();
    order.retain(|&index| in_period(args, clock.wall(rows[index].at)));
    counts.outside_period = (before - order.len()) as u64;
    if let (true, (Some(first), Some(last))) = (order.is_empty(), ends) {
        let day = |index: usize| stamp::date(clock.wall(rows[index].at).div_euclid(86_400));
        let what =
            format!("no readings from --from to --to; the table runs from {} to {}", day(first), day(last));
        return Err(origin.failure(what));
    }
    Ok(())
}

/// Reads fingersticks or a laboratory's values: `reference_mg_dl`, `reference_mmol_l`, `glucose_mg_dl` or
/// `glucose_mmol_l`, the first of them that the file has.
///
/// # Errors
/// As [`read_trace`].
pub fn read_fingersticks(path: &Path, args: &InputArgs) -> Result<Fingersticks, Failure> {
    fingersticks(path, args, None)
}

/// The same for fingersticks on the clock of a trace.
///
/// # Errors
/// As [`read_trace`], and when their times name a zone where those of the trace do not, or the reverse.
pub fn read_fingersticks_beside(
    path: &Path,
    args: &InputArgs,
    clock: &Clock,
) -> Result<Fingersticks, Failure> {
    fingersticks(path, args, Some(clock))
}

fn fingersticks(path: &Path, args: &InputArgs, clock: Option<&Clock>) -> Result<Fingersticks, Failure> {
    // the glucose column named by a flag is that of the trace
    let names_differ = InputArgs { glucose_column: None, ..args.clone() };
    let raw = read(path, &names_differ, Wanted::Reference, &[], clock)?;
    Ok(in_order(raw, args))
}

/// Puts fingersticks in order.
pub(super) fn in_order(raw: Raw, args: &InputArgs) -> Fingersticks {
    let Raw { mut rows, mut counts, mut clock, .. } = raw;
    let mut order = order::settle(&mut rows, &mut clock, &mut counts, false);
    // a period without any is no failure: the trace may have some
    let before = order.len();
    order.retain(|&index| in_period(args, clock.wall(rows[index].at)));
    counts.outside_period = (before - order.len()) as u64;
    let values = order
        .iter()
        .filter_map(|&index| {
            let row = rows.get(index)?;
            Some(Fingerstick::new(row.instant()?, Glucose::from_mg_dl(row.glucose).ok()?))
        })
        .collect();
    Fingersticks { values, clock, counts }
}

/// What a table says, row by row: times settled, glucose in mg/dL, not yet in order.
pub(super) struct Raw {
    pub rows: Vec<Row>,
    /// The further columns, row by row.
    pub values: Vec<f32>,
    pub counts: Counts,
    pub clock: Clock,
    pub columns: Columns,
    pub unit: Unit,
}

fn read(
    path: &Path,
    args: &InputArgs,
    wanted: Wanted,
    extras: &[&'static str],
    clock: Option<&Clock>,
) -> Result<Raw, Failure> {
    let mut table = Table::open(path, args, wanted, extras)?;
    let cells = table.cells()?;
    let Table { columns, mut counts, reader, line, .. } = table;
    if cells.rows.is_empty() {
        return Err(Failure::line(path, line, "no rows with a time after the header row, expected readings"));
    }
    counts.crlf_lines = reader.get_ref().crlf_lines();
    settled(Origin::File(path), args, columns, cells, clock, line, counts)
}

/// Settles times and the unit; `last` is the last row.
pub(super) fn settled(
    origin: Origin<'_>,
    args: &InputArgs,
    columns: Columns,
    cells: Cells,
    clock: Option<&Clock>,
    last: u64,
    mut counts: Counts,
) -> Result<Raw, Failure> {
    let Cells { mut rows, numbers, mut values } = cells;
    let clock = settle_times(origin, args, &columns, &mut rows, &numbers, clock, &mut counts)?;
    let is_blank = |row: &Row| row.glucose.is_nan() && row.status == Status::Normal;
    if rows.iter().all(is_blank) {
        let what = "no row has a value, expected numbers, LOW or HIGH";
        return Err(origin.cell(last, &columns.glucose.name, what));
    }
    let unit = convert(origin, &mut rows, &columns.glucose)?;
    for (n, (_, extra)) in columns.extras.iter().enumerate() {
        let factor = extra.unit.map_or(1.0, Unit::in_mg_dl);
        values.iter_mut().skip(n).step_by(columns.extras.len()).for_each(|value| *value *= factor);
    }
    Ok(Raw { rows, values, counts, clock, columns, unit })
}

/// A table under way.
struct Table<'a> {
    path: &'a Path,
    format: Option<&'a Format>,
    reader: csv::Reader<Text>,
    limit: Limit,
    /// Lines before the header row.
    before: u64,
    /// The line of the newest row.
    line: u64,
    columns: Columns,
    /// Cells of the header row.
    width: usize,
    decimal_comma: bool,
    counts: Counts,
}

/// The cells of a table that are wanted, row by row.
#[derive(Default)]
pub(super) struct Cells {
    /// Their times are still to be settled: as the clock shows them.
    pub rows: Vec<Row>,
    /// The times of those rows that alone do not tell the day from the month.
    pub numbers: Vec<(usize, Numbers)>,
    pub values: Vec<f32>,
}

impl Cells {
    /// Takes in what a row says.
    pub fn push(&mut self, said: Said, line: u64, counts: &mut Counts) {
        let Said { written, glucose, status, extras } = said;
        match status {
            Status::BelowRange => counts.low_text += 1,
            Status::AboveRange => counts.high_text += 1,
            _ => {}
        }
        let Stamp { wall: at, offset } = match written {
            Written::Known(stamp) => stamp,
            Written::Numbers(numbers) => {
                self.numbers.push((self.rows.len(), numbers));
                Stamp { wall: 0, offset: None }
            }
        };
        self.rows.push(Row { at, line, glucose, status, offset });
        self.values.extend(extras);
    }
}

impl<'a> Table<'a> {
    /// Opens a table and reads its header row.
    fn open(
        path: &'a Path,
        args: &'a InputArgs,
        wanted: Wanted,
        extras: &[&'static str],
    ) -> Result<Self, Failure> {
        let source = Source::open(path)?;
        let bom = source.bom;
        let (first, delimiter) = columns::header_row(source.lines(), args, wanted);
        let said = source.lines().take(first).filter(|line| !line.trim_ascii().is_empty() && line[0] != b'#');
        let counts =
            Counts { byte_order_mark: bom, lines_before_header: said.count() as u64, ..Counts::default() };
        let (text, limit) = source.starting_at(first);
        let mut reader = ReaderBuilder::new()
            .delimiter(delimiter)
            .has_headers(false)
            .flexible(true)
            .comment(Some(b'#'))
            .from_reader(text);
        let before = first as u64;
        let mut record = ByteRecord::new();
        let line = next(&mut reader, &mut record, path, before)?.unwrap_or(before + 1);
        let columns = columns::find(path, &record, line, args, wanted, extras)?;
        let (width, decimal_comma) = (record.len(), delimiter != b',');
        let format = args.date_format.as_ref();
        Ok(Self { path, format, reader, limit, before, line, columns, width, decimal_comma, counts })
    }

    /// Reads the rows after the header.
    fn cells(&mut self) -> Result<Cells, Failure> {
        let mut cells = Cells::default();
        let mut record = ByteRecord::new();
        let size = std::fs::metadata(self.path).map_or(0, |data| data.len());
        let progress = Progress::new("reading", size);
        loop {
            self.limit.record_from(self.reader.position().byte());
            let Some(line) = next(&mut self.reader, &mut record, self.path, self.before)? else {
                return Ok(cells);
            };
            self.line = line;
            self.counts.rows += 1;
            if self.counts.rows.is_multiple_of(4096) {
                progress.at(self.reader.position().byte());
            }
            self.row(&record, &mut cells)?;
        }
    }

    /// Takes in one row.
    fn row(&mut self, record: &ByteRecord, cells: &mut Cells) -> Result<(), Failure> {
        let Self { path, line, columns, width, decimal_comma, counts, format, .. } = self;
        let said = said(record, columns, *width, *decimal_comma, *format).map_err(|wrong| match wrong {
            Wrong { column: Some(column), what } => Failure::cell(path, *line, &column, what),
            Wrong { column: None, what } => Failure::line(path, *line, what),
        })?;
        match said {
            Some(said) => cells.push(said, *line, counts),
            None => counts.blank += 1,
        }
        Ok(())
    }
}

/// What a row says, in the file's own unit; its time is still to be settled.
pub(super) struct Said {
    pub written: Written,
    pub glucose: f32,
    pub status: Status,
    /// The further columns.
    pub extras: Vec<f32>,
}

/// What is wrong with a row, and in which column if it is one cell.
pub(super) struct Wrong {
    pub column: Option<String>,
    pub what: String,
}

/// Reads one row of a table whose header row has `width` cells; `None` without a time, for nothing can be said then.
pub(super) fn said(
    record: &ByteRecord,
    columns: &Columns,
    width: usize,
    decimal_comma: bool,
    format: Option<&Format>,
) -> Result<Option<Said>, Wrong> {
    let wrong = |column: &str, what: String| Wrong { column: Some(column.to_owned()), what };
    let mut surplus = (width..record.len()).filter_map(|index| record.get(index));
    if let Some(surplus) = surplus.find(|cell| !cell.trim_ascii().is_empty()) {
        let what = format!("more cells than the header row has ({width}), found {}", shown(surplus));
        return Err(Wrong { column: None, what });
    }
    let cell = |index: usize| record.get(index).unwrap_or_default().trim_ascii();
    let time = cell(columns.time);
    if time.is_empty() {
        return Ok(None);
    }
    let joined;
    let time = match columns.date.filter(|_| written::is_time_of_day(time)) {
        Some(date) => {
            joined = [day_alone(cell(date)), b" ", time].concat();
            &joined
        }
        None => time,
    };
    let written = parsed(time, format)
        .ok_or_else(|| wrong(&columns.time_name, format!("found {}, {EXPECTED_TIME}", shown(time))))?;
    let (glucose, status) = amount(cell(columns.glucose.index), decimal_comma)
        .map_err(|what| wrong(&columns.glucose.name, what))?;
    let mut extras = Vec::with_capacity(columns.extras.len());
    for (_, extra) in &columns.extras {
        let value = number(cell(extra.index), decimal_comma)
            .map_err(|what| wrong(&extra.name, format!("{what}expected a number or nothing")))?;
        extras.push(value);
    }
    Ok(Some(Said { written, glucose, status, extras }))
}

/// A time as it is written, in the form that was asked for.
pub(super) fn parsed(time: &[u8], format: Option<&Format>) -> Option<Written> {
    format.map_or_else(|| written::parse(time), |format| format.parse(time))
}

pub(super) const EXPECTED_TIME: &str = "expected a date and time such as 2024-05-06 00:05 or 06.05.2024 00:05, or seconds since \
     1970 (or say how it is written with --date-format)";

/// The next record and its line, `None` at the end; `before` lines are not in `reader`.
fn next(
    reader: &mut csv::Reader<Text>,
    record: &mut ByteRecord,
    path: &Path,
    before: u64,
) -> Result<Option<u64>, Failure> {
    let start = before + reader.position().line();
    match reader.read_byte_record(record) {
        Ok(false) => Ok(None),
        Ok(true) => {
            let end = before + reader.position().line();
            if end == start + 1 {
                return Ok(Some(start));
            }
            // the reader counts blank lines and remarks before a record to it: so from its end, back over its own lines
            let own = record.as_slice().iter().filter(|byte| **byte == b'\n').count() as u64;
            Ok(Some(end.saturating_sub(own + 1)))
        }
        Err(error) => Err(match error.kind() {
            ErrorKind::Io(io) if io.kind() == std::io::ErrorKind::Other => {
                let what = format!("longer than {} KiB, expected one row of a table", LONGEST_RECORD / 1024);
                Failure::line(path, start, what)
            }
            _ => Failure::line(path, start, format!("cannot be read ({error})")),
        }),
    }
}

/// A cell's date without the midnight that spreadsheets write behind it.
pub(super) fn day_alone(cell: &[u8]) -> &[u8] {
    let midnight = cell.iter().position(|byte| *byte == b':').is_some();
    let end = cell.iter().position(|byte| matches!(byte, b' ' | b'T')).filter(|_| midnight);
    cell.get(..end.unwrap_or(cell.len())).unwrap_or_default()
}

/// Turns what was written into instants: first the order of day and month, then the clock.
fn settle_times(
    origin: Origin<'_>,
    args: &InputArgs,
    columns: &Columns,
    rows: &mut [Row],
    numbers: &[(usize, Numbers)],
    clock: Option<&Clock>,
    counts: &mut Counts,
) -> Result<Clock, Failure> {
    let misread = |line: u64, what: String| origin.cell(line, &columns.time_name, &what);
    let order = match (&args.date_format, written::decide(numbers)) {
        (Some(Format::Order(order)), _) => *order,
        (_, Decided::Unneeded) => Order::DayFirst,
        (_, Decided::Order(order)) => {
            counts.dates_read_as = Some(order.name());
            order
        }
        (_, Decided::Either(place, numbers)) => {
            return Err(misread(rows[place].line, either(origin, numbers)));
        }
    };
    let mut clock = args.zone.clone().map(Clock::Zone).or_else(|| clock.cloned());
    let mut previous = None;
    let mut numbers = numbers.iter().peekable();
    for (place, row) in rows.iter_mut().enumerate() {
        let stamp = match numbers.next_if(|(of, _)| *of == place) {
            None => Stamp { wall: row.at, offset: row.offset },
            Some((_, numbers)) => numbers.stamp(order).ok_or_else(|| {
                misread(row.line, format!("no date with {}, expected one as in the other rows", order.name()))
            })?,
        };
        let clock = clock.get_or_insert_with(|| clock_of(stamp));
        row.at = clock.instant(stamp, previous).ok_or_else(|| {
            let (found, expected) = match stamp.offset {
                Some(_) => ("a zone", "none, as in the times before"),
                None => ("no zone", "one, as in the times before"),
            };
            let time = stamp::iso(stamp.wall);
            let zone = origin.flag("--zone");
            misread(row.line, format!("found \"{time}\" with {found}, expected {expected} (or give {zone})"))
        })?;
        if !(FIRST..LAST).contains(&row.at) {
            let time = stamp::iso(stamp.wall);
            return Err(misread(row.line, format!("found \"{time}\", expected a time from 1970 to 2105")));
        }
        previous = Some(row.at);
    }
    Ok(clock.unwrap_or_default())
}

/// What to do about a date that may be either of two.
pub(super) fn either(origin: Origin<'_>, numbers: Numbers) -> String {
    let day = |order| {
        let stamp = numbers.stamp(order);
        stamp.map_or_else(String::new, |s| {
            stamp::date(s.wall.div_euclid(86_400)).strftime("%-d %B %Y").to_string()
        })
    };
    format!(
        "this may be {} or {}, and no other row tells which. For the first: {}  For the second: {}",
        day(Order::DayFirst),
        day(Order::MonthFirst),
        origin.again("--date-format", "dmy"),
        origin.again("--date-format", "mdy")
    )
}

/// The clock a table's times are on, by the first of them.
fn clock_of(first: Stamp) -> Clock {
    if first.offset.is_some() { Clock::Stamped(Vec::new()) } else { Clock::default() }
}

/// A glucose cell in the file's own unit: a number (not a number when blank), "low" or "high".
pub(super) fn amount(text: &[u8], decimal_comma: bool) -> Result<(f32, Status), String> {
    if text.eq_ignore_ascii_case(b"low") || text.eq_ignore_ascii_case(b"lo") {
        return Ok((f32::NAN, Status::BelowRange));
    }
    if text.eq_ignore_ascii_case(b"high") || text.eq_ignore_ascii_case(b"hi") {
        return Ok((f32::NAN, Status::AboveRange));
    }
    let value = number(text, decimal_comma)
        .map_err(|what| format!("{what}expected a number, LOW, HIGH or nothing"))?;
    in_range(value).map_err(|what| format!("found {}, {what}", shown(text)))?;
    Ok((value, Status::Normal))
}

/// Whether a number may be a glucose value in either unit, or is none.
pub(super) fn in_range(value: f32) -> Result<(), String> {
    let most = Glucose::MAX_MG_DL;
    if value.is_nan() || (0.0..=most).contains(&value) {
        return Ok(());
    }
    Err(format!("expected a glucose value from 0 to {most}"))
}

/// What tables write where there is no value (common practice, no source).
const BLANKS: [&[u8]; 6] = [b"", b"NA", b"N/A", b"null", b"-", b"--"];

/// A number, not a number when blank.
pub(super) fn number(text: &[u8], decimal_comma: bool) -> Result<f32, String> {
    // most are a few digits; so many are exact
    let digit = |sum: u32, byte: &u8| byte.is_ascii_digit().then(|| sum * 10 + u32::from(byte - b'0'));
    if matches!(text.len(), 1..=6)
        && let Some(whole) = text.iter().try_fold(0, digit)
    {
        return Ok(whole as f32);
    }
    if BLANKS.iter().any(|blank| text.eq_ignore_ascii_case(blank)) {
        return Ok(f32::NAN);
    }
    let parsed = if decimal_comma && text.contains(&b',') {
        String::from_utf8_lossy(text).replacen(',', ".", 1).parse::<f32>().ok()
    } else {
        std::str::from_utf8(text).ok().and_then(|text| text.parse::<f32>().ok())
    };
    parsed.filter(|value| value.is_finite()).ok_or_else(|| format!("found {}, ", shown(text)))
}

/// The highest value that a column of mg/dL may have at most and still be one: under it, it is mmol/L.
pub(super) const LEAST_HIGHEST_MG_DL: f32 = 36.0;
/// The highest mmol/L that a meter or sensor shows, generously.
pub(super) const MOST_MMOL_L: f32 = 60.0;

/// Settles the unit and brings the values to mg/dL.
fn convert(origin: Origin<'_>, rows: &mut [Row], column: &Amount) -> Result<Unit, Failure> {
    let measured = |row: &&Row| row.glucose.is_finite();
    let highest = rows.iter().filter(measured).max_by(|a, b| a.glucose.total_cmp(&b.glucose));
    let looks_mmol = highest.is_some_and(|row| row.glucose < LEAST_HIGHEST_MG_DL);
    let unit = match (column.unit, highest) {
        (None, _) if looks_mmol => Unit::MmolL,
        (None, _) => Unit::MgDl,
        (Some(Unit::MgDl), Some(row)) if looks_mmol => {
            let what = format!(
                "no value is over {}, expected mg/dL (if they are mmol/L, name the column so)",
                row.glucose
            );
            return Err(origin.cell(row.line, &column.name, &what));
        }
        (Some(Unit::MmolL), Some(row)) if row.glucose > MOST_MMOL_L => {
            let what = format!("found {}, expected mmol/L from 0 to {MOST_MMOL_L}", row.glucose);
            return Err(origin.cell(row.line, &column.name, &what));
        }
        (Some(unit), _) => unit,
    };
    for row in rows {
        row.glucose = match row.status {
            Status::BelowRange => LOW_MG_DL,
            Status::AboveRange => HIGH_MG_DL,
            _ => row.glucose * unit.in_mg_dl(),
        };
    }
    Ok(unit)
}
