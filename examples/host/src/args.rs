//! The flags that subcommands share.

use std::path::PathBuf;

use clap::{Args, ValueEnum};
use jiff::civil::Date;
use jiff::tz::TimeZone;

use crate::table::{self, Format, Unit};

/// How results are given.
#[derive(Args, Clone, Debug, Default)]
pub struct OutputArgs {
    /// Print the results as JSON on standard output, and nothing else there
    #[arg(long, help_heading = "Output")]
    pub json: bool,

    /// Write an HTML sheet that opens offline, its drawings (SVG) and its tables (CSV) into this folder
    #[arg(long, value_name = "DIR", help_heading = "Output")]
    pub out: Option<PathBuf>,

    /// The unit results are shown in (the keys of JSON and CSV name their own) [default: the file's]
    #[arg(long, value_name = "UNIT", ignore_case = true, help_heading = "Output")]
    pub unit: Option<UnitName>,
}

impl OutputArgs {
    /// The unit asked for, or else the file's.
    pub fn unit_or(&self, of_file: Unit) -> Unit {
        self.unit.map_or(of_file, Unit::from)
    }
}

/// How tables are read.
#[derive(Args, Clone, Debug, Default)]
pub struct InputArgs {
    /// The column with the time [default: time, or what says so in other words]
    #[arg(long, value_name = "NAME", help_heading = "Input tables")]
    pub time_column: Option<String>,

    /// The column with the date, where the time's column has none [default: date, or what says so]
    #[arg(long, value_name = "NAME", help_heading = "Input tables")]
    pub date_column: Option<String>,

    /// How times are written: dmy or mdy for the order of day and month, or a pattern such as "%d.%m.%Y %H:%M"
    /// [default: found from the whole column]
    #[arg(long, value_name = "FORMAT", help_heading = "Input tables")]
    pub date_format: Option<Format>,

    /// Leave out what is before this day, on the wearer's clock, such as 2026-02-02
    #[arg(long, value_name = "DATE", value_parser = day, help_heading = "Input tables")]
    pub from: Option<Date>,

    /// Leave out what is after this day
    #[arg(long, value_name = "DATE", value_parser = day, help_heading = "Input tables")]
    pub to: Option<Date>,

    /// The column with the glucose; "mg" or "mmol" in its name tells the unit [default: glucose_mg_dl or
    /// glucose_mmol_l, or what says so in other words]
    #[arg(long, value_name = "NAME", help_heading = "Input tables")]
    pub glucose_column: Option<String>,

    /// What separates the cells: one character, or "tab" [default: found from the header row]
    #[arg(long, value_name = "CHAR", value_parser = delimiter, help_heading = "Input tables")]
    pub delimiter: Option<u8>,

    /// The time zone of times that do not name one, and of what is shown, such as Europe/Vienna
    /// or +02:00 [default: times are taken as the wearer's own clock]
    #[arg(long, value_name = "ZONE", value_parser = zone, allow_hyphen_values = true, help_heading = "Input tables")]
    pub zone: Option<TimeZone>,
}

/// A display unit, named as it is written.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, ValueEnum)]
pub enum UnitName {
    /// Milligrams a decilitre
    #[default]
    #[value(name = "mg/dL", alias = "mg_dl", alias = "mgdl", alias = "mg")]
    MgDl,
    /// Millimoles a litre
    #[value(name = "mmol/L", alias = "mmol_l", alias = "mmoll", alias = "mmol")]
    MmolL,
}

impl From<UnitName> for Unit {
    fn from(name: UnitName) -> Self {
        match name {
            UnitName::MgDl => Self::MgDl,
            UnitName::MmolL => Self::MmolL,
        }
    }
}

fn day(text: &str) -> Result<Date, String> {
    text.parse().map_err(|_| "expected a day such as 2026-02-02".into())
}

fn zone(text: &str) -> Result<TimeZone, String> {
    table::zone(text).ok_or_else(|| "expected a time zone such as Europe/Vienna, UTC or +02:00".into())
}

fn delimiter(text: &str) -> Result<u8, String> {
    match text.as_bytes() {
        _ if text.eq_ignore_ascii_case("tab") || text == "\\t" => Ok(b'\t'),
        [byte] if byte.is_ascii() && !byte.is_ascii_alphanumeric() && *byte != b'"' => Ok(*byte),
        _ => Err("expected one punctuation character, or \"tab\"".into()),
    }
}
