//! The flags that subcommands share.

use std::path::PathBuf;

use clap::{Args, ValueEnum};

use crate::table::Unit;

/// How results are given.
#[derive(Args, Clone, Debug, Default)]
pub struct OutputArgs {
    /// Print the results as JSON on standard output, and nothing else there
    #[arg(long, help_heading = "Output")]
    pub json: bool,

    /// Write an HTML sheet that opens offline, its drawings (SVG) and its tables (CSV) into this folder
    #[arg(long, value_name = "DIR", help_heading = "Output")]
    pub out: Option<PathBuf>,

    /// The unit results are shown in (the keys of JSON and CSV name their own)
    #[arg(long, value_name = "UNIT", default_value = "mg/dL", help_heading = "Output")]
    pub unit: UnitName,
}

/// How tables are read.
#[derive(Args, Clone, Debug, Default)]
pub struct InputArgs {
    /// The column with the time [default: time]
    #[arg(long, value_name = "NAME", help_heading = "Input tables")]
    pub time_column: Option<String>,

    /// The column with the glucose; "mg" or "mmol" in its name tells the unit [default: glucose_mg_dl or
    /// glucose_mmol_l]
    #[arg(long, value_name = "NAME", help_heading = "Input tables")]
    pub glucose_column: Option<String>,

    /// What separates the cells: one character, or "tab" [default: found from the header row]
    #[arg(long, value_name = "CHAR", value_parser = delimiter, help_heading = "Input tables")]
    pub delimiter: Option<u8>,

    /// The time zone of times that do not name one, and of what is shown, such as Europe/Vienna
    /// [default: times are taken as the wearer's own clock]
    #[arg(long, value_name = "ZONE", help_heading = "Input tables")]
    pub zone: Option<String>,
}

/// A display unit, named as it is written.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, ValueEnum)]
pub enum UnitName {
    /// Milligrams a decilitre
    #[default]
    #[value(name = "mg/dL", alias = "mg/dl", alias = "mgdl")]
    MgDl,
    /// Millimoles a litre
    #[value(name = "mmol/L", alias = "mmol/l", alias = "mmol")]
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

fn delimiter(text: &str) -> Result<u8, String> {
    match text.as_bytes() {
        _ if text.eq_ignore_ascii_case("tab") || text == "\\t" => Ok(b'\t'),
        [byte] if byte.is_ascii() && !byte.is_ascii_alphanumeric() && *byte != b'"' => Ok(*byte),
        _ => Err("expected one punctuation character, or \"tab\"".into()),
    }
}
