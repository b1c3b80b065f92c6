//! Bounded reading: any text of a table as UTF-8 lines, its start examined, and no endless record.

use std::cell::Cell;
use std::fs::File;
use std::io::{self, Read};
use std::path::Path;
use std::rc::Rc;
use std::sync::atomic::{AtomicBool, Ordering};

use encoding_rs::Encoding;
use encoding_rs_io::DecodeReaderBytesBuilder;

use crate::failure::Failure;

/// The longest record read, bytes: far beyond any row of a table.
pub const LONGEST_RECORD: u64 = 1 << 20;
/// The name that stands for standard input.
pub const STANDARD_INPUT: &str = "-";

/// How far a [`Source`] may be read.
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

/// A table's text, opened and its start examined.
pub struct Source {
    head: Vec<u8>,
    rest: Lines,
    limit: Limit,
    /// Begins with a byte-order mark.
    pub bom: bool,
}

impl Source {
    /// Opens a table; `-` is standard input.
    pub fn open(path: &Path) -> Result<Self, Failure> {
        let failed = |error: io::Error| Failure::file(path, format!("cannot be read ({error})"));
        let mut raw = raw(path)?;
        let mut start = Vec::new();
        raw.by_ref().take(4).read_to_end(&mut start).map_err(failed)?;
        if let Some(what) = no_text(&start) {
            return Err(Failure::file(
                path,
                format!("is {what}, expected text: save it as a table of commas (CSV)"),
            ));
        }
        let bom = [&b"\xef\xbb\xbf"[..], b"\xff\xfe", b"\xfe\xff"].iter().any(|mark| start.starts_with(mark));
        let decoder = DecodeReaderBytesBuilder::new()
            .encoding(encoding(&start))
            .utf8_passthru(true)
            .strip_bom(true)
            .build(io::Cursor::new(start).chain(raw));
        let mut rest = Lines { text: Box::new(decoder), crlf: 0, last: 0 };
        let mut head = Vec::new();
        rest.by_ref().take(HEAD as u64).read_to_end(&mut head).map_err(failed)?;
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
        let limit = Limit::default();
        limit.record_from(0);
        Ok(Self { head, rest, limit, bom })
    }

    /// The lines of the start.
    pub fn lines(&self) -> impl Iterator<Item = &[u8]> {
        self.head.split(|byte| *byte == b'\n')
    }

    /// The text from line `first` on (0: from the beginning), and how far it may be read.
    pub fn starting_at(self, first: usize) -> (Text, Limit) {
        let before: usize = self.lines().take(first).map(|line| line.len() + 1).sum();
        let Self { head, rest, limit, .. } = self;
        let mut head = io::Cursor::new(head);
        head.set_position(before as u64);
        (Text { head, rest, given: 0, limit: limit.clone() }, limit)
    }
}

fn raw(path: &Path) -> Result<Box<dyn Read>, Failure> {
    static TAKEN: AtomicBool = AtomicBool::new(false);
    if path.as_os_str() == STANDARD_INPUT {
        if TAKEN.swap(true, Ordering::Relaxed) {
            return Err(Failure::file(path, "is read already, expected a file for the second table"));
        }
        return Ok(Box::new(io::stdin().lock()));
    }
    if path.is_dir() {
        return Err(Failure::file(path, "is a folder, expected a table (CSV)"));
    }
    let file = File::open(path).map_err(|error| Failure::file(path, format!("cannot be read ({error})")))?;
    Ok(Box::new(file))
}

/// What a file that is no text is, by its first bytes (ISO/IEC 21320-1; Apache Parquet's "magic").
fn no_text(start: &[u8]) -> Option<&'static str> {
    match start {
        b"PK\x03\x04" => Some("a spreadsheet or an archive"),
        b"PAR1" => Some("Parquet"),
        [0x1f, 0x8b, ..] => Some("compressed (gzip)"),
        _ => None,
    }
}

/// UTF-16 by its byte-order mark, or by the zeros that every second byte of its header is; else as it stands.
fn encoding(start: &[u8]) -> Option<&'static Encoding> {
    match start {
        [0xff, 0xfe, ..] | [1..=u8::MAX, 0, 1..=u8::MAX, 0] => Some(encoding_rs::UTF_16LE),
        [0xfe, 0xff, ..] | [0, 1..=u8::MAX, 0, 1..=u8::MAX] => Some(encoding_rs::UTF_16BE),
        _ => None,
    }
}

/// Text whose lines all end in a line feed, the last one too.
struct Lines {
    text: Box<dyn Read>,
    /// Lines so far that ended in carriage return and line feed.
    crlf: u64,
    /// The last byte of the text as it came; 0 before the first, a line feed after the end.
    last: u8,
}

impl Read for Lines {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        loop {
            let read = self.text.read(buffer)?;
            if read == 0 {
                let missing = !matches!(self.last, 0 | b'\n' | b'\r');
                return Ok(match buffer.first_mut().filter(|_| missing) {
                    Some(end) => {
                        *end = b'\n';
                        self.last = b'\n';
                        1
                    }
                    None => 0,
                });
            }
            let kept = self.settle(buffer.get_mut(..read).unwrap_or_default());
            if kept > 0 {
                return Ok(kept);
            }
        }
    }
}

impl Lines {
    /// Turns every line's end into a line feed, in place; returns how many bytes are left.
    fn settle(&mut self, new: &mut [u8]) -> usize {
        if self.last != b'\r' && !new.contains(&b'\r') {
            self.last = new.last().copied().unwrap_or(self.last);
            return new.len();
        }
        let mut kept = 0;
        for at in 0..new.len() {
            let byte = new[at];
            if byte == b'\n' && self.last == b'\r' {
                self.crlf += 1;
            } else {
                new[kept] = if byte == b'\r' { b'\n' } else { byte };
                kept += 1;
            }
            self.last = byte;
        }
        kept
    }
}

/// The text of a table, read only as far as allowed.
pub struct Text {
    head: io::Cursor<Vec<u8>>,
    rest: Lines,
    given: u64,
    limit: Limit,
}

impl Read for Text {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        if self.given > self.limit.0.get() {
            return Err(io::Error::other("endless record"));
        }
        let read = match self.head.read(buffer)? {
            0 => self.rest.read(buffer)?,
            read => read,
        };
        self.given += read as u64;
        Ok(read)
    }
}

impl Text {
    /// Lines so far that ended in carriage return and line feed.
    pub fn crlf_lines(&self) -> u64 {
        self.rest.crlf
    }
}
