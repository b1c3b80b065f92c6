//! Bounded reading: the start of a file examined, and no endless record.

use std::cell::Cell;
use std::fs::File;
use std::io::{self, Read};
use std::path::Path;
use std::rc::Rc;

use crate::failure::Failure;

/// The longest record read, bytes: far beyond any row of a table.
pub const LONGEST_RECORD: u64 = 1 << 20;

/// The start of a file and the rest of it, read only as far as allowed.
pub struct Guard {
    head: io::Cursor<Vec<u8>>,
    rest: File,
    given: u64,
    limit: Limit,
    crlf: u64,
    last: u8,
}

/// How far a [`Guard`] may read.
#[derive(Clone, Default)]
pub struct Limit(Rc<Cell<u64>>);

impl Limit {
    /// Allows one more record from `byte` on.
    pub fn record_from(&self, byte: u64) {
        // the reader fills its buffer ahead of the record
        self.0.set(byte + LONGEST_RECORD + HEAD as u64);
    }
}

const HEAD: usize = 64 * 1024;

/// What the start of a file tells.
pub struct Head {
    /// Begins with a UTF-8 byte-order mark.
    pub bom: bool,
    /// The first line that is no comment, as far as it was read.
    pub header: Vec<u8>,
}

/// Opens a table and examines its start.
pub fn open(path: &Path) -> Result<(Guard, Limit, Head), Failure> {
    let failed = |error: io::Error| Failure::file(path, format!("cannot be read ({error})"));
    if path.is_dir() {
        return Err(Failure::file(path, "is a folder, expected a table (CSV)"));
    }
    let mut file = File::open(path).map_err(failed)?;
    let mut head = Vec::new();
    file.by_ref().take(HEAD as u64).read_to_end(&mut head).map_err(failed)?;
    if head.starts_with(&[0xff, 0xfe]) || head.starts_with(&[0xfe, 0xff]) {
        return Err(Failure::line(path, 1, "the text is UTF-16, expected UTF-8"));
    }
    if let Some(at) = head.iter().position(|byte| *byte == 0) {
        let line = 1 + head.iter().take(at).filter(|byte| **byte == b'\n').count() as u64;
        return Err(Failure::line(
            path,
            line,
            "the file is binary, expected a table (CSV) with a header row",
        ));
    }
    if head.trim_ascii().is_empty() {
        let expected = "expected a header row with time and glucose_mg_dl or glucose_mmol_l";
        return Err(Failure::line(path, 1, format!("the file is empty, {expected}")));
    }
    let bom = head.starts_with(b"\xef\xbb\xbf");
    let text = head.get(if bom { 3 } else { 0 }..).unwrap_or_default();
    let header = text
        .split(|byte| *byte == b'\n')
        .find(|line| !line.starts_with(b"#") && !line.trim_ascii().is_empty())
        .unwrap_or_default()
        .to_vec();
    let limit = Limit::default();
    limit.record_from(0);
    Ok((
        Guard { head: io::Cursor::new(head), rest: file, given: 0, limit: limit.clone(), crlf: 0, last: 0 },
        limit,
        Head { bom, header },
    ))
}

impl Read for Guard {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        if self.given > self.limit.0.get() {
            return Err(io::Error::other("endless record"));
        }
        let read = match self.head.read(buffer)? {
            0 => self.rest.read(buffer)?,
            read => read,
        };
        self.given += read as u64;
        let new = buffer.get(..read).unwrap_or_default();
        let inside = new.windows(2).filter(|pair| *pair == b"\r\n").count() as u64;
        self.crlf += inside + u64::from(self.last == b'\r' && new.first() == Some(&b'\n'));
        self.last = new.last().copied().unwrap_or(self.last);
        Ok(read)
    }
}

impl Guard {
    /// Lines so far that end in carriage return and line feed.
    pub fn crlf_lines(&self) -> u64 {
        self.crlf
    }
}
