//! Which column is which.

use std::path::Path;

use csv::ByteRecord;

use super::Unit;
use super::stamp;
use crate::args::InputArgs;
use crate::failure::{Failure, shown};

/// A column of concentrations.
pub struct Amount {
    pub index: usize,
    pub name: String,
    /// Told by the name; otherwise by the values.
    pub unit: Option<Unit>,
}

/// The columns a table is read by.
pub struct Columns {
    pub time: usize,
    pub time_name: String,
    pub glucose: Amount,
    pub extras: Vec<(&'static str, Amount)>,
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

pub fn find(
    path: &Path,
    header: &ByteRecord,
    line: u64,
    args: &InputArgs,
    glucose_names: &[&str],
    extras: &[&'static str],
) -> Result<Columns, Failure> {
    let names: Vec<String> =
        header.iter().map(|cell| String::from_utf8_lossy(cell.trim_ascii()).into_owned()).collect();
    if names.iter().any(|name| stamp::parse(name.as_bytes()).is_some() || name.parse::<f32>().is_ok()) {
        let what =
            format!("found data, expected a header row with the columns time and {}", glucose_names[0]);
        return Err(Failure::line(path, line, what));
    }
    let position = |wanted: &str| {
        let exact = names.iter().position(|name| name == wanted);
        exact.or_else(|| names.iter().position(|name| name.eq_ignore_ascii_case(wanted)))
    };
    let once = |index: usize| {
        if names.iter().filter(|name| **name == names[index]).count() == 1 {
            return Ok(());
        }
        let name = shown(names[index].as_bytes());
        Err(Failure::line(
            path,
            line,
            format!("the header row has the column {name} twice, expected it once"),
        ))
    };
    let missing = |expected: String| {
        let mut found = names.iter().take(12).map(|n| shown(n.as_bytes())).collect::<Vec<_>>().join(", ");
        if names.len() > 12 {
            found.push_str(", …");
        }
        Failure::line(path, line, format!("the header row has the columns {found}, expected {expected}"))
    };
    let amount = |index: usize, name: &str| {
        let lower = name.to_ascii_lowercase();
        let unit = if lower.contains("mmol") {
            Some(Unit::MmolL)
        } else if lower.contains("mg") {
            Some(Unit::MgDl)
        } else {
            None
        };
        Amount { index, name: name.to_owned(), unit }
    };
    let time_name = args.time_column.as_deref().unwrap_or("time");
    let time = position(time_name)
        .ok_or_else(|| missing(format!("{} (or name it with --time-column)", shown(time_name.as_bytes()))))?;
    let glucose = match args.glucose_column.as_deref() {
        Some(name) => {
            let index = position(name).ok_or_else(|| missing(shown(name.as_bytes())))?;
            amount(index, name)
        }
        None => {
            let found = glucose_names.iter().find_map(|name| Some(amount(position(name)?, name)));
            found.ok_or_else(|| {
                let (first, rest) = (glucose_names[0], glucose_names[1..].join(" or "));
                missing(format!("{first} or {rest} (or name it with --glucose-column)"))
            })?
        }
    };
    once(time)?;
    once(glucose.index)?;
    if glucose.index == time {
        return Err(Failure::line(path, line, "one column cannot be both the time and the glucose"));
    }
    let extras = extras
        .iter()
        .filter_map(|name| {
            let in_mmol = name.replace("_mg_dl", "_mmol_l");
            let index = position(name).map(|index| (index, (*name).to_owned()));
            let (index, found) = index.or_else(|| Some((position(&in_mmol)?, in_mmol)))?;
            Some((*name, amount(index, &found)))
        })
        .collect();
    Ok(Columns { time, time_name: time_name.to_owned(), glucose, extras })
}
