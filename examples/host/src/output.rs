//! Writing results so that nothing is left half-written.

use std::fs;
use std::io::{self, BufWriter, Write};
use std::path::{Path, PathBuf};

use crate::failure::Failure;

/// Files to be written together: all of them are complete beside their places before the first takes its place.
#[derive(Default)]
pub struct Outputs<'a> {
    files: Vec<(PathBuf, Content<'a>)>,
}

/// What writes a file's content.
type Content<'a> = Box<dyn Fn(&mut dyn Write) -> io::Result<()> + 'a>;

impl<'a> Outputs<'a> {
    /// Nothing yet.
    pub fn new() -> Self {
        Self::default()
    }

    /// One more file.
    pub fn add(&mut self, path: PathBuf, content: impl Into<Vec<u8>>) {
        let content = content.into();
        self.add_with(path, move |out| out.write_all(&content));
    }

    /// One more file, its content made while it is written.
    pub fn add_with(&mut self, path: PathBuf, content: impl Fn(&mut dyn Write) -> io::Result<()> + 'a) {
        self.files.push((path, Box::new(content)));
    }

    /// Writes them; folders are made as needed.
    ///
    /// # Errors
    /// When a folder or file cannot be written; what was begun is removed.
    pub fn write(self) -> Result<(), Failure> {
        let mut begun = Vec::with_capacity(self.files.len());
        let written = self.files.iter().try_for_each(|(path, content)| {
            let beside = beside(path);
            begun.push(beside.clone());
            write_one(path, &beside, content)
        });
        let placed = written.and_then(|()| {
            self.files.iter().zip(&begun).try_for_each(|((path, _), beside)| {
                fs::rename(beside, path).map_err(|error| cannot(path, &error))
            })
        });
        if placed.is_err() {
            for beside in begun {
                let _ = fs::remove_file(beside);
            }
        }
        placed
    }
}

/// Prints `text` and ends the line; a reader who has heard enough (`| head`) is no failure.
pub fn say(text: &str) {
    let _ = writeln!(io::stdout().lock(), "{text}");
}

fn beside(path: &Path) -> PathBuf {
    let name = path.file_name().unwrap_or_default().to_string_lossy();
    path.with_file_name(format!(".{name}.{}.part", std::process::id()))
}

fn write_one(path: &Path, beside: &Path, content: &Content) -> Result<(), Failure> {
    if path.is_dir() {
        return Err(Failure::file(path, "is a folder, expected a place for a file"));
    }
    if let Some(folder) = path.parent() {
        fs::create_dir_all(folder).map_err(|error| cannot(folder, &error))?;
    }
    let write = || {
        let mut file = BufWriter::with_capacity(1 << 16, fs::File::create(beside)?);
        content(&mut file)?;
        file.flush()
    };
    write().map_err(|error| cannot(path, &error))
}

fn cannot(path: &Path, error: &std::io::Error) -> Failure {
    Failure::file(path, format!("cannot be written ({error})"))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn all_or_nothing() {
        let folder = tempfile::tempdir().unwrap();
        let (good, bad) = (folder.path().join("a/good.csv"), folder.path().join("bad.csv"));
        fs::create_dir(&bad).unwrap();
        let mut outputs = Outputs::new();
        outputs.add(good.clone(), "1");
        outputs.add(bad.clone(), "2");
        assert!(outputs.write().unwrap_err().to_string().contains("bad.csv"));
        assert!(!good.exists());
        assert_eq!(fs::read_dir(folder.path().join("a")).unwrap().count(), 0);

        let mut outputs = Outputs::new();
        outputs.add(good.clone(), "1");
        outputs.write().unwrap();
        assert_eq!(fs::read(good).unwrap(), b"1");
    }
}
