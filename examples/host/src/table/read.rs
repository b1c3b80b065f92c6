//! From a file to a trace or to fingersticks.

use std::path::Path;

use csv::{ByteRecord, ErrorKind, ReaderBuilder};
use glidepath::{Fingerstick, Glucose, Reading, Status};
use jiff::tz::TimeZone;

use super::columns::{self, Amount, Columns};
use super::guard::{self, LONGEST_RECORD};
use super::order::{self, Row};
use super::stamp::{self, Clock, Stamp};
use super::{Column, Counts, Fingersticks, Trace, Unit};
use crate::args::InputArgs;
use crate::failure::{Failure, shown};
use crate::progress::Progress;

/// What "low" and "high" stand for, mg/dL: the ends of the usual sensor range (common practice, no source).
const LOW_MG_DL: f32 = 40.0;
const HIGH_MG_DL: f32 = 400.0;

/// The first and the last year of a time that can be meant; instants are 32-bit seconds since 1970.
const FIRST: i64 = 0;
const LAST: i64 = 4_291_747_200; // 2106-01-01

/// Reads a trace, with those of the columns `extras` that the file has.
///
/// # Errors
/// When the file is no table of readings; the failure names the place and what was expected there.
pub fn read_trace(path: &Path, args: &InputArgs, extras: &[&'static str]) -> Result<Trace, Failure> {
    let raw = read(path, args, &["glucose_mg_dl", "glucose_mmol_l"], extras, None)?;
    let Raw { mut rows, values, mut counts, mut clock, columns, unit } = raw;
    let order = order::settle(&mut rows, &mut clock, &mut counts, true);
    let readings: Vec<Reading> = order
        .iter()
        .filter_map(|&index| {
            let row = rows.get(index)?;
            let at = glidepath::Instant::from_secs(u32::try_from(row.at).ok()?);
            Some(Reading::new(at, Glucose::from_mg_dl(row.glucose).ok()?).with_status(row.status))
        })
        .collect();
    let width = columns.extras.len();
    let columns = columns
        .extras
        .iter()
        .enumerate()
        .map(|(n, (name, _))| {
            let value = |&index: &usize| values.get(index * width + n).copied().unwrap_or(f32::NAN);
            Column { name, values: order.iter().map(value).collect() }
        })
        .collect();
    let interval_s = order::usual_interval(readings.iter().map(|r| i64::from(r.at().secs())));
    counts.closer_than_half_interval = readings
        .windows(2)
        .filter(|pair| {
            let step = pair[1].at().since(pair[0].at()).secs();
            interval_s.is_some_and(|usual| step.unsigned_abs() < usual.div_ceil(2))
        })
        .count() as u64;
    Ok(Trace { readings, columns, clock, unit, interval_s, counts })
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
    let names = ["reference_mg_dl", "reference_mmol_l", "glucose_mg_dl", "glucose_mmol_l"];
    // the glucose column named by a flag is that of the trace
    let names_differ = InputArgs { glucose_column: None, ..args.clone() };
    let Raw { mut rows, mut counts, mut clock, .. } = read(path, &names_differ, &names, &[], clock)?;
    let order = order::settle(&mut rows, &mut clock, &mut counts, false);
    let values = order
        .iter()
        .filter_map(|&index| {
            let row = rows.get(index)?;
            let at = glidepath::Instant::from_secs(u32::try_from(row.at).ok()?);
            Some(Fingerstick::new(at, Glucose::from_mg_dl(row.glucose).ok()?))
        })
        .collect();
    Ok(Fingersticks { values, clock, counts })
}

struct Raw {
    rows: Vec<Row>,
    /// The further columns, row by row.
    values: Vec<f32>,
    counts: Counts,
    clock: Clock,
    columns: Columns,
    unit: Unit,
}

fn read(
    path: &Path,
    args: &InputArgs,
    glucose_names: &[&str],
    extras: &[&'static str],
    clock: Option<&Clock>,
) -> Result<Raw, Failure> {
    let (source, limit, head) = guard::open(path)?;
    let size = std::fs::metadata(path).map_or(0, |data| data.len());
    let delimiter = args.delimiter.unwrap_or_else(|| columns::sniff(&head.header));
    let mut reader = ReaderBuilder::new()
        .delimiter(delimiter)
        .has_headers(false)
        .flexible(true)
        .comment(Some(b'#'))
        .from_reader(source);
    let failed = |error: &csv::Error, line: u64| match error.kind() {
        ErrorKind::Io(io) if io.kind() == std::io::ErrorKind::Other => {
            let what = format!("longer than {} KiB, expected one row of a table", LONGEST_RECORD / 1024);
            Failure::line(path, line, what)
        }
        _ => Failure::line(path, line, format!("cannot be read ({error})")),
    };

    let mut record = ByteRecord::new();
    let mut line = reader.position().line();
    reader.read_byte_record(&mut record).map_err(|error| failed(&error, line))?;
    line = record.position().map_or(line, csv::Position::line);
    let columns = columns::find(path, &record, line, args, glucose_names, extras)?;
    let cells = record.len();
    let decimal_comma = delimiter != b',';

    let zone = match args.zone.as_deref() {
        Some(name) => Some(TimeZone::get(name).map_err(|_| {
            Failure::new(format!("--zone {name}: expected a time zone such as Europe/Vienna or UTC"))
        })?),
        None => None,
    };
    let mut clock = zone.map(Clock::Zone).or_else(|| clock.cloned());
    let mut counts = Counts { byte_order_mark: head.bom, ..Counts::default() };
    let mut rows: Vec<Row> = Vec::new();
    let mut values: Vec<f32> = Vec::new();
    let progress = Progress::new("reading", size);
    let mut previous = None;
    loop {
        line = reader.position().line();
        limit.record_from(reader.position().byte());
        if !reader.read_byte_record(&mut record).map_err(|error| failed(&error, line))? {
            break;
        }
        line = record.position().map_or(line, csv::Position::line);
        counts.rows += 1;
        if counts.rows.is_multiple_of(4096) {
            progress.at(reader.position().byte());
        }
        let surplus = record.iter().skip(cells).find(|cell| !cell.trim_ascii().is_empty());
        if let Some(surplus) = surplus {
            let what = format!("more cells than the header row has ({cells}), found {}", shown(surplus));
            return Err(Failure::line(path, line, what));
        }
        let cell = |index: usize| record.get(index).unwrap_or_default().trim_ascii();

        let text = cell(columns.time);
        if text.is_empty() {
            // nothing can be said of a row without a time
            counts.blank += 1;
            continue;
        }
        let expected = "expected RFC 3339, ISO 8601 or seconds since 1970";
        let misread = |what: String| Failure::cell(path, line, &columns.time_name, what);
        let stamp =
            stamp::parse(text).ok_or_else(|| misread(format!("found {}, {expected}", shown(text))))?;
        let clock = clock.get_or_insert_with(|| clock_of(stamp));
        let at = clock.instant(stamp, previous).ok_or_else(|| {
            let (found, expected) = match stamp.offset {
                Some(_) => ("a zone", "none, as in the times before"),
                None => ("no zone", "one, as in the times before"),
            };
            misread(format!("found {} with {found}, expected {expected} (or give --zone)", shown(text)))
        })?;
        if !(FIRST..LAST).contains(&at) {
            let milliseconds = (FIRST..LAST).contains(&(at / 1000)) && text.iter().all(u8::is_ascii_digit);
            let hint = if milliseconds { " (in seconds, not milliseconds)" } else { "" };
            return Err(misread(format!("found {}, expected a time from 1970 to 2105{hint}", shown(text))));
        }
        previous = Some(at);

        let (glucose, status) = amount(cell(columns.glucose.index), decimal_comma)
            .map_err(|what| Failure::cell(path, line, &columns.glucose.name, what))?;
        match status {
            Status::BelowRange => counts.low_text += 1,
            Status::AboveRange => counts.high_text += 1,
            _ => {}
        }
        rows.push(Row { at, line, glucose, status, offset: stamp.offset.unwrap_or(0) });
        for (_, extra) in &columns.extras {
            let text = cell(extra.index);
            values.push(number(text, decimal_comma).map_err(|what| {
                Failure::cell(path, line, &extra.name, format!("{what}expected a number or nothing"))
            })?);
        }
    }
    if rows.is_empty() {
        return Err(Failure::line(path, line, "no rows with a time after the header row, expected readings"));
    }
    if rows.iter().all(|row| row.glucose.is_nan() && row.status == Status::Normal) {
        let what = "no row has a value, expected numbers, LOW or HIGH";
        return Err(Failure::cell(path, line, &columns.glucose.name, what));
    }
    counts.crlf_lines = reader.get_ref().crlf_lines();
    let unit = convert(path, &mut rows, &columns.glucose)?;
    for (n, (_, extra)) in columns.extras.iter().enumerate() {
        let factor = extra.unit.map_or(1.0, Unit::in_mg_dl);
        values.iter_mut().skip(n).step_by(columns.extras.len()).for_each(|value| *value *= factor);
    }
    Ok(Raw { rows, values, counts, clock: clock.unwrap_or_default(), columns, unit })
}

/// The clock a table's times are on, by the first of them.
fn clock_of(first: Stamp) -> Clock {
    if first.offset.is_some() { Clock::Stamped(Vec::new()) } else { Clock::default() }
}

/// A glucose cell in the file's own unit: a number (not a number when blank), "low" or "high".
fn amount(text: &[u8], decimal_comma: bool) -> Result<(f32, Status), String> {
    if text.eq_ignore_ascii_case(b"low") || text.eq_ignore_ascii_case(b"lo") {
        return Ok((f32::NAN, Status::BelowRange));
    }
    if text.eq_ignore_ascii_case(b"high") || text.eq_ignore_ascii_case(b"hi") {
        return Ok((f32::NAN, Status::AboveRange));
    }
    let value = number(text, decimal_comma)
        .map_err(|what| format!("{what}expected a number, LOW, HIGH or nothing"))?;
    if value.is_finite() && !(0.0..=Glucose::MAX_MG_DL).contains(&value) {
        let most = Glucose::MAX_MG_DL;
        return Err(format!("found {}, expected a glucose value from 0 to {most}", shown(text)));
    }
    Ok((value, Status::Normal))
}

/// What tables write where there is no value (common practice, no source).
const BLANKS: [&[u8]; 6] = [b"", b"NA", b"N/A", b"null", b"-", b"--"];

/// A number, not a number when blank.
fn number(text: &[u8], decimal_comma: bool) -> Result<f32, String> {
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
const LEAST_HIGHEST_MG_DL: f32 = 36.0;
/// The highest mmol/L that a meter or sensor shows, generously.
const MOST_MMOL_L: f32 = 60.0;

/// Settles the unit and brings the values to mg/dL.
fn convert(path: &Path, rows: &mut [Row], column: &Amount) -> Result<Unit, Failure> {
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
            return Err(Failure::cell(path, row.line, &column.name, what));
        }
        (Some(Unit::MmolL), Some(row)) if row.glucose > MOST_MMOL_L => {
            let what = format!("found {}, expected mmol/L from 0 to {MOST_MMOL_L}", row.glucose);
            return Err(Failure::cell(path, row.line, &column.name, what));
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
