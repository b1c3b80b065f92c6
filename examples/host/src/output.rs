//! Writing results so that nothing is left half-written.

use std::fs;
use std::io::{self, BufWriter, Write};
use std::path::{Path, PathBuf};
use std::sync::OnceLock;

use crate::failure::Failure;

/// Files to be written together: all of them are complete beside their places before the first takes its place.
#[derive(Default)]
pub struct Outputs<'a> {
    files: Vec<(PathBuf, Content<'a>)>,
    /// Files that are read, and so must not be written.
    inputs: Vec<PathBuf>,
}

/// What writes a file's content.
type Content<'a> = Box<dyn Fn(&mut dyn Write) -> io::Result<()> + 'a>;

impl<'a> Outputs<'a> {
    /// Nothing yet; none of `inputs`, from which the results come, will be written over.
    pub fn beside<P: AsRef<Path>>(inputs: impl IntoIterator<Item = P>) -> Self {
        let inputs = inputs.into_iter().filter_map(|path| fs::canonicalize(path).ok()).collect();
        Self { files: Vec::new(), inputs }
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
    /// When a folder or file cannot be written, or a file is an input or named twice; what was begun is removed.
    pub fn write(self) -> Result<(), Failure> {
        let mut taken = self.inputs;
        for (path, _) in &self.files {
            // a link is replaced, not what it leads to
            let place = place(path);
            if taken.contains(&place) {
                return Err(Failure::file(
                    path,
                    "is read from or written already, expected a place of its own for each result",
                ));
            }
            taken.push(place);
        }
        let mut begun = Vec::with_capacity(self.files.len());
        let written = self.files.iter().try_for_each(|(path, content)| {
            let beside = beside(path);
            begun.push(beside.clone());
            write_one(path, &beside, content)
        });
        let placed = written.and_then(|()| {
            self.files.iter().zip(&begun).filter(|((path, _), beside)| path != *beside).try_for_each(
                |((path, _), beside)| fs::rename(beside, path).map_err(|error| cannot(path, &error)),
            )
        });
        if placed.is_err() {
            for (beside, (path, _)) in begun.iter().zip(&self.files) {
                if beside != path {
                    let _ = fs::remove_file(beside);
                }
            }
        }
        placed
    }
}

/// What went wrong first on standard output.
static UNSAID: OnceLock<String> = OnceLock::new();

/// Prints `text` and ends the line. A reader who has heard enough (`| head`) is no failure; any other is kept for
/// [`all_said`].
pub fn say(text: &str) {
    print(&format!("{text}\n"));
}

/// Prints what is whole already, such as a table; as [`say`], but ends no line.
pub fn print(text: &str) {
    let mut out = io::stdout().lock();
    if let Err(error) = out.write_all(text.as_bytes()).and_then(|()| out.flush())
        && error.kind() != io::ErrorKind::BrokenPipe
    {
        let _ = UNSAID.set(error.to_string());
    }
}

/// Whether everything that was printed has arrived.
///
/// # Errors
/// When standard output could not be written.
pub fn all_said() -> Result<(), Failure> {
    UNSAID
        .get()
        .map_or(Ok(()), |error| Err(Failure::new(format!("standard output cannot be written ({error})"))))
}

/// The same for each way to write a path; as it is when its folder is not there yet.
fn place(path: &Path) -> PathBuf {
    let folder = match path.parent() {
        Some(folder) if !folder.as_os_str().is_empty() => folder,
        _ => Path::new("."),
    };
    match (fs::canonicalize(folder), path.file_name()) {
        (Ok(folder), Some(name)) => folder.join(name),
        _ => path.to_owned(),
    }
}

/// Where a file is written before it takes its place: beside it, or in its place what is no file, such as a pipe.
fn beside(path: &Path) -> PathBuf {
    if fs::metadata(path).is_ok_and(|data| !data.is_file() && !data.is_dir()) {
        return path.to_owned();
    }
    let name = path.file_name().unwrap_or_default().to_string_lossy();
    path.with_file_name(format!(".{name}.{}.part", std::process::id()))
}

fn write_one(path: &Path, beside: &Path, content: &Content) -> Result<(), Failure> {
    if path.is_dir() {
        return Err(Failure::file(path, "is a folder, expected a place for a file"));
    }
    if let Some(folder) = path.parent() {
        if folder.is_file() {
            return Err(Failure::file(folder, "is a file, expected a folder"));
        }
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
        let mut outputs = Outputs::default();
        outputs.add(good.clone(), "1");
        outputs.add(bad.clone(), "2");
        assert!(outputs.write().unwrap_err().to_string().contains("bad.csv"));
        assert!(!good.exists());
        assert_eq!(fs::read_dir(folder.path().join("a")).unwrap().count(), 0);

        let mut outputs = Outputs::default();
        outputs.add(good.clone(), "1");
        outputs.write().unwrap();
        assert_eq!(fs::read(good).unwrap(), b"1");
    }

    #[test]
    fn what_is_read_is_never_written_over_nor_a_place_taken_twice() {
        let folder = tempfile::tempdir().unwrap();
        let trace = folder.path().join("trace.csv");
        fs::write(&trace, "mine").unwrap();
        fs::create_dir(folder.path().join("sheet")).unwrap();
        let other = folder.path().join("a.csv");
        for twice in [[other.clone(), folder.path().join("sheet/../trace.csv")], [other.clone(), other]] {
            let mut outputs = Outputs::beside([&trace]);
            twice.iter().for_each(|path| outputs.add(path.clone(), "result"));
            let said = outputs.write().unwrap_err().to_string();
            assert!(said.contains("a place of its own"), "{said}");
        }
        assert_eq!(fs::read(&trace).unwrap(), b"mine");
        assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 2);

        let mut outputs = Outputs::default();
        outputs.add(trace.join("replay.html"), "");
        assert!(outputs.write().unwrap_err().to_string().contains("is a file, expected a folder"));
    }
}
