//! Tables of readings: what the files of the field hold, with every oddity handled and counted.

mod columns;
mod lines;
pub mod memory;
mod order;
mod origin;
mod read;
mod source;
mod stamp;
#[cfg(test)]
mod tests;
mod written;

use glidepath::{Fingerstick, MG_DL_PER_MMOL_L, Reading};
use serde::Serialize;

pub use lines::{Lines, Taken};
pub use read::{REFERENCE, TRUE_RATE, TRUTH, read_fingersticks, read_fingersticks_beside, read_trace};
pub use stamp::{Clock, date, parse as parse_time, zone};
pub use written::Format;

/// A unit of glucose.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Unit {
    /// mg/dL.
    #[default]
    MgDl,
    /// mmol/L.
    MmolL,
}

impl Unit {
    /// As it is written.
    pub fn name(self) -> &'static str {
        match self {
            Self::MgDl => "mg/dL",
            Self::MmolL => "mmol/L",
        }
    }

    /// How many mg/dL one of it is.
    pub fn in_mg_dl(self) -> f32 {
        match self {
            Self::MgDl => 1.0,
            Self::MmolL => MG_DL_PER_MMOL_L,
        }
    }

    /// Words that the unit decides between, such as published pairs of limits, with the unit behind them.
    pub fn either(self, mg_dl: &str, mmol_l: &str) -> String {
        let words = if self == Self::MgDl { mg_dl } else { mmol_l };
        format!("{words} {}", self.name())
    }

    /// A concentration as people read it: whole mg/dL, tenths of a mmol/L.
    pub fn show(self, mg_dl: f32) -> String {
        match self {
            Self::MgDl => format!("{:.0}", f64::from(mg_dl)),
            Self::MmolL => format!("{:.1}", f64::from(mg_dl / MG_DL_PER_MMOL_L)),
        }
    }

    /// The same with the unit behind it.
    pub fn with_name(self, mg_dl: f32) -> String {
        format!("{} {}", self.show(mg_dl), self.name())
    }
}

/// A trace: readings in order of time, one for each second at most.
#[derive(Clone, Debug, Default)]
pub struct Trace {
    /// The readings, seconds since 1970.
    pub readings: Vec<Reading>,
    /// The file's own column of blood glucose, in order of time.
    pub fingersticks: Vec<Fingerstick>,
    /// The requested further columns that the file has, a value for each reading.
    pub columns: Vec<Column>,
    /// From instants to the wearer's clock.
    pub clock: Clock,
    /// The unit of the file; the readings are in mg/dL.
    pub unit: Unit,
    /// The usual interval between readings (their median), seconds.
    pub interval_s: Option<u32>,
    /// What the file held.
    pub counts: Counts,
}

/// A further numeric column beside the readings.
#[derive(Clone, Debug)]
pub struct Column {
    /// The name it was asked for by.
    pub name: &'static str,
    /// A value for each reading; not a number where the cell is blank. Glucose is in mg/dL.
    pub values: Vec<f32>,
}

impl Trace {
    /// A further column's values, when the file has it.
    pub fn column(&self, name: &str) -> Option<&[f32]> {
        self.columns.iter().find(|column| column.name == name).map(|column| column.values.as_slice())
    }
}

/// Fingersticks (or a laboratory's values) in order of time.
#[derive(Clone, Debug, Default)]
pub struct Fingersticks {
    /// The values, seconds since 1970.
    pub values: Vec<Fingerstick>,
    /// From instants to the wearer's clock.
    pub clock: Clock,
    /// What the file held.
    pub counts: Counts,
}

/// An hour that a clock without a zone skipped or showed twice.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct ClockChange {
    /// What the clock showed then.
    pub at: String,
    /// Set forward (an hour is missing), else back (an hour comes twice).
    pub forward: bool,
}

/// What was found in a table. `rows` is the sum of the readings kept, `blank`, `exact_repeats`,
/// `conflicting_stamps` and `outside_period`.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize)]
pub struct Counts {
    /// Rows after the header.
    pub rows: u64,
    /// Rows without a time or a glucose value.
    pub blank: u64,
    /// Rows that say again what another said: same time, same value.
    pub exact_repeats: u64,
    /// Rows that give another value for a time that has one; the first in the file is kept.
    pub conflicting_stamps: u64,
    /// Rows earlier than one before them; put in their place.
    pub out_of_order: u64,
    /// The rows run from the newest to the oldest.
    pub newest_first: bool,
    /// Readings given as "low": under the sensor's range.
    pub low_text: u64,
    /// Readings given as "high": over the sensor's range.
    pub high_text: u64,
    /// Times the wearer's clock was set back by an hour in the middle of the rows.
    pub clock_set_back: u64,
    /// Readings closer than half the usual interval to the one before: a second sensor, a clock change or a
    /// late delivery.
    pub closer_than_half_interval: u64,
    /// Lines that end in carriage return and line feed.
    pub crlf_lines: u64,
    /// The file begins with a byte-order mark.
    pub byte_order_mark: bool,
    /// Lines before the header row that say something else.
    pub lines_before_header: u64,
    /// The order of day and month, where the whole column had to tell it.
    pub dates_read_as: Option<&'static str>,
    /// Rows left out by `--from` and `--to`.
    pub outside_period: u64,
    /// Hours that look like clock changes, where the times name no zone.
    pub clock_changes: Vec<ClockChange>,
}

impl Counts {
    /// What is odd about the rows, in plain words; `None` when nothing is.
    pub fn in_words(&self) -> Option<String> {
        let mut said: Vec<String> = [
            (self.blank, "without a value or time"),
            (self.exact_repeats, "repeated exactly"),
            (self.conflicting_stamps, "with another value for a time that had one (the first was kept)"),
            (self.out_of_order, "out of order (put in their place)"),
            (self.low_text, "saying \"low\" (taken as 40 mg/dL)"),
            (self.high_text, "saying \"high\" (taken as 400 mg/dL)"),
            (self.closer_than_half_interval, "closer to the one before than half the usual interval"),
            (self.outside_period, "outside the days asked for"),
        ]
        .iter()
        .filter(|(n, _)| *n > 0)
        .map(|(n, what)| format!("{n} {what}"))
        .collect();
        if self.newest_first {
            said.push("all running from newest to oldest (turned round)".into());
        }
        let mut words = Vec::new();
        if !said.is_empty() {
            words.push(format!("Of {} in the file: {}.", count(self.rows, "row"), said.join("; ")));
        }
        if self.lines_before_header > 0 {
            words.push(format!(
                "{} before the header row passed over.",
                count(self.lines_before_header, "line")
            ));
        }
        if let Some(order) = self.dates_read_as {
            words.push(format!("Dates read with the {order}, as the whole column tells."));
        }
        words.extend(self.clock_changes_in_words());
        (!words.is_empty()).then(|| words.join(" "))
    }

    fn clock_changes_in_words(&self) -> Option<String> {
        const MOST: usize = 4;
        let one = |change: &ClockChange| {
            let what = if change.forward { "an hour is missing" } else { "an hour comes twice" };
            format!("{what} at {}", change.at.replace('T', " "))
        };
        let mut said: Vec<String> = self.clock_changes.iter().take(MOST).map(one).collect();
        if self.clock_changes.len() > MOST {
            said.push("…".into());
        }
        let forward = self.clock_changes.iter().any(|change| change.forward);
        let advice = if forward { ": --zone (such as --zone Europe/Vienna) counts it right" } else { "" };
        (!said.is_empty())
            .then(|| format!("The clock seems to have been changed: {}{advice}.", said.join("; ")))
    }
}

/// "1 gap", "2 gaps"; thousands are parted.
pub fn count(n: u64, one: &str) -> String {
    let digits = n.to_string();
    let mut grouped = String::new();
    for (place, digit) in digits.chars().enumerate() {
        if place > 0 && (digits.len() - place).is_multiple_of(3) {
            grouped.push(',');
        }
        grouped.push(digit);
    }
    format!("{grouped} {one}{}", if n == 1 { "" } else { "s" })
}
