//! Where a table came from, and so how its rows and the settings it is read by are named.

use std::fmt::Display;
use std::path::Path;

use crate::failure::{Failure, again};

/// What a table is read from.
#[derive(Clone, Copy, Debug)]
pub enum Origin<'a> {
    /// A file, named on the command line: rows are its lines, settings are flags.
    File(&'a Path),
    /// Columns in memory: rows count from 0, settings are arguments of a call.
    Memory,
}

impl Origin<'_> {
    /// A failure of the table as a whole.
    pub fn failure(self, what: impl Display) -> Failure {
        match self {
            Self::File(path) => Failure::file(path, what),
            Self::Memory => Failure::new(what.to_string()),
        }
    }

    /// A failure in one cell.
    pub fn cell(self, row: u64, column: &str, what: impl Display) -> Failure {
        match self {
            Self::File(path) => Failure::cell(path, row, column, what),
            Self::Memory => Failure::new(format!("row {row} of {column}: {what}")),
        }
    }

    /// How a setting is named that the command line knows as `flag`.
    pub fn flag(self, flag: &str) -> String {
        match self {
            Self::File(_) => flag.to_owned(),
            Self::Memory => flag.trim_start_matches('-').replace('-', "_"),
        }
    }

    /// What to do for a setting to have a value.
    pub fn again(self, flag: &str, value: &str) -> String {
        match self {
            Self::File(_) => again(&[flag, value]),
            Self::Memory => format!("{}={value:?}", self.flag(flag)),
        }
    }
}
