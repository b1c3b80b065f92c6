//! What is kept between runs: the application's state as the wrist keeps it, and how far the input was read. Both are
//! written together, so that no reading is lost and none is taken twice.

use std::fs::{self, File};
use std::io::{ErrorKind, Write};
use std::path::{Path, PathBuf};

use glidepath::Side;
use serde::{Deserialize, Serialize};

use super::input::Place;
use super::records::Form;
use crate::failure::Failure;

/// The version of the file.
const VERSION: u32 = 1;

/// What is kept of a sensor's input.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct KeptInput {
    /// Which it is.
    pub input: String,
    pub form: Option<Form>,
    /// The table's header row.
    pub header: Option<String>,
    /// What its rows told: the order of day and month, and whether glucose is in mmol/L.
    pub dates: Option<String>,
    pub mmol: Option<bool>,
    pub place: Place,
}

/// The content of the state file.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Kept {
    pub(super) version: u32,
    #[serde(flatten)]
    pub input: KeptInput,
    /// The second sensor's input, when two are worn.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub second: Option<KeptInput>,
    /// The stamp of each sensor's first row, when two are worn.
    #[serde(default, skip_serializing_if = "none_of_both")]
    pub first_rows: [Option<u32>; 2],
    /// The application's state: [`wrist::app::Wrist::save`].
    pub state: Vec<u8>,
}

fn none_of_both(firsts: &[Option<u32>; 2]) -> bool {
    *firsts == [None; 2]
}

impl Kept {
    /// What is kept of one sensor's input.
    pub fn of(&self, side: Side) -> Option<&KeptInput> {
        match side {
            Side::First => Some(&self.input),
            Side::Second => self.second.as_ref(),
        }
    }
}

/// The state file, held by this program alone.
pub struct Store {
    path: PathBuf,
    _lock: File,
}

/// What was found.
pub enum Found {
    Nothing,
    Kept(Box<Kept>),
    /// It cannot be used and was put aside there.
    Damaged(PathBuf),
}

impl Store {
    /// Opens the file and reads what is kept.
    ///
    /// # Errors
    /// When another program holds it, or its folder cannot be written.
    pub fn open(path: &Path) -> Result<(Self, Found), Failure> {
        let name = path.file_name().unwrap_or_default().to_string_lossy();
        let lock = path.with_file_name(format!(".{name}.lock"));
        let cannot = |error| Failure::file(path, format!("cannot be kept ({error})"));
        let lock = File::create(lock).map_err(cannot)?;
        lock.try_lock().map_err(|_| Failure::file(path, "is in use by another glidepath live"))?;
        let store = Self { path: path.to_owned(), _lock: lock };
        let text = match fs::read(path) {
            Ok(text) => text,
            Err(error) if error.kind() == ErrorKind::NotFound => return Ok((store, Found::Nothing)),
            Err(error) => return Err(Failure::file(path, format!("cannot be read ({error})"))),
        };
        let kept = serde_json::from_slice::<Kept>(&text).ok().filter(|kept| kept.version == VERSION);
        let found = match kept {
            Some(kept) => Found::Kept(Box::new(kept)),
            None => Found::Damaged(store.put_aside()?),
        };
        Ok((store, found))
    }

    /// Moves what cannot be used out of the way; where it is then.
    ///
    /// # Errors
    /// When it cannot be moved.
    pub fn put_aside(&self) -> Result<PathBuf, Failure> {
        let name = self.path.file_name().unwrap_or_default().to_string_lossy();
        let aside = self.path.with_file_name(format!("{name}.damaged"));
        fs::rename(&self.path, &aside)
            .map_err(|error| Failure::file(&self.path, format!("cannot be put aside ({error})")))?;
        Ok(aside)
    }

    /// Keeps it: whole or not at all, whenever the power fails.
    ///
    /// # Errors
    /// When it cannot be written; what was kept before is still there.
    pub fn keep(&self, kept: &Kept) -> Result<(), Failure> {
        let write = || {
            let kept = Kept { version: VERSION, ..kept.clone() };
            let name = self.path.file_name().unwrap_or_default().to_string_lossy();
            let beside = self.path.with_file_name(format!(".{name}.part"));
            let mut file = File::create(&beside)?;
            file.write_all(&serde_json::to_vec(&kept)?)?;
            file.sync_all()?;
            fs::rename(&beside, &self.path)
        };
        write().map_err(|error| Failure::file(&self.path, format!("cannot be kept ({error})")))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_kept_comes_back_and_what_is_damaged_is_put_aside() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("live.state");
        let (store, found) = Store::open(&path).unwrap();
        assert!(matches!(found, Found::Nothing));
        assert!(Store::open(&path).is_err_and(|failure| failure.to_string().contains("in use")));
        let input = KeptInput { input: "t.csv".into(), header: Some("time".into()), ..KeptInput::default() };
        let mut kept = Kept { input, ..Kept::default() };
        kept.input.place.on(b"time\n");
        kept.state = vec![1, 2, 255];
        store.keep(&kept).unwrap();
        drop(store);
        let (store, found) = Store::open(&path).unwrap();
        let Found::Kept(back) = found else { panic!("not found") };
        assert_eq!(*back, Kept { version: VERSION, ..kept });
        drop(store);
        let whole = fs::read(&path).unwrap();
        fs::write(&path, &whole[..whole.len() / 2]).unwrap();
        let (_store, found) = Store::open(&path).unwrap();
        assert!(matches!(found, Found::Damaged(aside) if aside.exists() && !path.exists()));
    }
}
