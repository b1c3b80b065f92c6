//! What went wrong, in one sentence that says where.

use std::fmt;
use std::path::Path;

/// A reason to stop with exit code 2: the place, then what was found and what was expected there.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Failure(String);

impl Failure {
    /// A failure that has no place in a file.
    pub fn new(what: impl Into<String>) -> Self {
        Self(what.into())
    }

    /// A failure of a file as a whole.
    pub fn file(path: &Path, what: impl fmt::Display) -> Self {
        Self(format!("{}: {what}", path.display()))
    }

    /// A failure at a line of a file.
    pub fn line(path: &Path, line: u64, what: impl fmt::Display) -> Self {
        Self(format!("{}, line {line}: {what}", path.display()))
    }

    /// A failure in one cell of a table.
    pub fn cell(path: &Path, line: u64, column: &str, what: impl fmt::Display) -> Self {
        Self(format!("{}, line {line}, column {}: {what}", path.display(), shown(column.as_bytes())))
    }
}

impl fmt::Display for Failure {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

impl std::error::Error for Failure {}

/// A cell's text made safe to print: short, and without control characters.
pub fn shown(cell: &[u8]) -> String {
    const LONGEST: usize = 40;
    let text = String::from_utf8_lossy(cell);
    let mut out: String = text.chars().take(LONGEST).flat_map(char::escape_debug).collect();
    if text.chars().nth(LONGEST).is_some() {
        out.push('…');
    }
    format!("\"{out}\"")
}
