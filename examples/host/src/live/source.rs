//! A sensor's input under way: its bytes to rows or frames, and how far it was read.

use std::path::{Path, PathBuf};

use glidepath::Side;

use super::Args;
use super::input::{Input, Place};
use super::kept::KeptInput;
use super::records::Records;
use super::watch::Framed;
use crate::failure::Failure;
use crate::table::{Clock, Lines, Taken, Unit};

/// A sensor's input.
pub struct Source {
    pub side: Side,
    path: PathBuf,
    pub records: Records,
    pub lines: Lines,
    /// How far the input was read and taken in.
    pub place: Place,
    /// Whether a file is read anew, some of whose rows are known.
    pub again: bool,
    /// Whether it tells when there is no more for now.
    is_file: bool,
    /// When the first burst last brought something.
    burst_ms: Option<u64>,
    /// Whether all that it had at the start has come.
    pub ready: bool,
    pub ended: bool,
    /// The latest moment that anything of it told, by the clock that stamps.
    latest: i64,
}

/// What has come and was not yet taken in.
pub struct Came {
    pub side: Side,
    /// When it was, or what came before it.
    pub at: i64,
    /// Whether it may be known.
    pub again: bool,
    pub what: What,
}

/// A row of a table, or a frame.
pub enum What {
    Row(Taken),
    Frame(Framed),
}

impl Source {
    /// Goes on from what is kept of it, if that is the same input.
    ///
    /// # Errors
    /// When the header row given names no time or no glucose.
    pub fn new(
        (side, path, input): (Side, &Path, &Input),
        args: &Args,
        kept: Option<&KeptInput>,
        clock: Clock,
    ) -> Result<Self, Failure> {
        let kept = kept.filter(|kept| input.is_file() && kept.input == named(path));
        let kept = kept.cloned().unwrap_or_default();
        let mut table = args.table.clone();
        table.date_format = table.date_format.or_else(|| kept.dates.as_ref()?.parse().ok());
        let mut lines = Lines::new(path, &table, clock);
        if let Some(header) = args.header.as_ref().or(kept.header.as_ref()) {
            lines.begin(header.as_bytes())?;
        }
        if let Some(mmol) = kept.mmol {
            lines.set_unit(if mmol { Unit::MmolL } else { Unit::MgDl });
        }
        Ok(Self {
            side,
            path: path.to_owned(),
            records: Records::new(args.form.or(kept.form)),
            lines,
            place: kept.place,
            again: false,
            is_file: input.is_file(),
            burst_ms: None,
            // what comes on a line is of now
            ready: matches!(input, Input::Line(..)),
            ended: false,
            latest: 0,
        })
    }

    /// What is to be kept of it.
    pub fn kept(&self) -> KeptInput {
        KeptInput {
            input: named(&self.path),
            form: self.records.form(),
            header: self.lines.header().map(|header| String::from_utf8_lossy(header).into_owned()),
            dates: self.lines.date_format().map(str::to_owned),
            mmol: self.lines.unit().map(|unit| unit == Unit::MmolL),
            place: self.place.clone(),
        }
    }

    /// It is read from its beginning; whether some of it is `known`.
    pub fn anew(&mut self, args: &Args, clock: Clock, known: bool) {
        self.place = Place::default();
        self.records = Records::new(args.form);
        self.lines = Lines::new(&self.path, &args.table, clock);
        if let Some(header) = &args.header {
            // it was read once already
            let _ = self.lines.begin(header.as_bytes());
        }
        self.again = known;
    }

    /// Something came before the present had begun.
    pub fn came(&mut self, ms: u64) {
        self.burst_ms = Some(ms);
    }

    /// The first burst has ended.
    pub fn settled(&mut self) {
        (self.ready, self.burst_ms) = (true, None);
    }

    /// Whether so long nothing has come that the first burst has ended. A file says so itself.
    pub fn is_quiet(&self, ms: u64, quiet_ms: u64) -> bool {
        !self.is_file && self.burst_ms.is_some_and(|since| ms.saturating_sub(since) >= quiet_ms)
    }

    /// Whether the first burst goes on.
    pub fn is_bursting(&self) -> bool {
        self.burst_ms.is_some()
    }

    /// A row that has come.
    pub fn row(&mut self, taken: Taken) -> Came {
        let at = i64::from(taken.at.secs());
        Came { side: self.side, at, again: self.again, what: What::Row(taken) }
    }

    /// A frame that has come: it stays behind those before it.
    pub fn frame(&mut self, framed: Framed) -> Came {
        self.latest = self.latest.max(framed.stamp.unwrap_or(0));
        Came { side: self.side, at: self.latest, again: false, what: What::Frame(framed) }
    }
}

/// An input as the state file names it.
pub fn named(path: &Path) -> String {
    let path = std::fs::canonicalize(path).unwrap_or_else(|_| path.to_owned());
    path.display().to_string()
}
