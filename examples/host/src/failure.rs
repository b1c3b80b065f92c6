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
        Self(format!("{}: {what}", name(path)))
    }

    /// A failure at a line of a file.
    pub fn line(path: &Path, line: u64, what: impl fmt::Display) -> Self {
        Self(format!("{}, line {line}: {what}", name(path)))
    }

    /// A failure in one cell of a table.
    pub fn cell(path: &Path, line: u64, column: &str, what: impl fmt::Display) -> Self {
        Self(format!("{}, line {line}, column {}: {what}", name(path), shown(column.as_bytes())))
    }
}

impl fmt::Display for Failure {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

impl std::error::Error for Failure {}

/// A file as it is named to the user.
fn name(path: &Path) -> String {
    if path.as_os_str() == "-" { "standard input".into() } else { path.display().to_string() }
}

/// The command that was given, with more `arguments`: to be typed or copied as it stands.
pub fn again(arguments: &[&str]) -> String {
    let given = std::env::args().skip(1);
    let all = given.chain(arguments.iter().map(|&argument| argument.to_owned()));
    let quoted = all.map(|argument| quoted(&argument));
    std::iter::once("glidepath".to_owned()).chain(quoted).collect::<Vec<_>>().join(" ")
}

/// An argument as a shell takes it, on one line.
fn quoted(argument: &str) -> String {
    let plain = |c: char| c.is_alphanumeric() || "-_./=:,+".contains(c);
    if !argument.is_empty() && argument.chars().all(plain) {
        return argument.to_owned();
    }
    if !argument.chars().any(char::is_control) {
        return format!("'{}'", argument.replace('\'', "'\\''"));
    }
    // what cannot be seen as three octal digits a byte (dollar-single-quotes of POSIX.1-2024, from memory)
    let spelled = |c: char| match c {
        '\'' | '\\' => format!("\\{c}"),
        c if c.is_control() => c.to_string().bytes().map(|byte| format!("\\{byte:03o}")).collect(),
        c => c.to_string(),
    };
    format!("$'{}'", argument.chars().map(spelled).collect::<String>())
}

/// Files among several that could not be read: they are counted and told, and the others go on.
#[derive(Debug, Default)]
pub struct Unreadable(Vec<Failure>);

impl Unreadable {
    /// What was read, if it was.
    pub fn keep<T>(&mut self, read: Result<T, Failure>) -> Option<T> {
        read.map_err(|failure| self.0.push(failure)).ok()
    }

    /// Says on standard error how many of `all` files were not read, and why.
    ///
    /// # Errors
    /// When none was; of one file alone its own failure.
    pub fn finish(self, all: usize) -> Result<usize, Failure> {
        const MOST: usize = 20;
        if self.0.len() == all {
            return Err(match self.0.as_slice() {
                [only] => only.clone(),
                several => {
                    let first = several.first().map_or_else(String::new, |f| format!("; the first: {f}"));
                    Failure::new(format!("none of {all} files could be read{first}"))
                }
            });
        }
        for failure in self.0.iter().take(MOST) {
            eprintln!("glidepath: left out: {failure}");
        }
        if !self.0.is_empty() {
            let listed =
                if self.0.len() > MOST { format!(" (the first {MOST} are listed)") } else { String::new() };
            eprintln!("glidepath: {} of {all} files could not be read{listed}", self.0.len());
        }
        Ok(self.0.len())
    }
}

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

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_argument_is_quoted_for_a_shell_on_one_line() {
        for (argument, want) in [
            ("a-b_1.csv", "a-b_1.csv"),
            ("", "''"),
            ("time of day", "'time of day'"),
            ("it's", "'it'\\''s'"),
            ("a\nb\t'c\\", "$'a\\012b\\011\\'c\\\\'"),
            ("\u{85}", "$'\\302\\205'"),
        ] {
            assert_eq!(quoted(argument), want, "{argument:?}");
        }
    }
}
