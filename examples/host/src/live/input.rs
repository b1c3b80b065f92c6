//! Where bytes come from: standard input, a serial line or another pipe, or a file that grows. Each is read by a thread
//! of its own that tells what it meets.

use std::fs::File;
use std::io::{self, Read, Seek, SeekFrom};
use std::path::{Path, PathBuf};
use std::sync::mpsc::SyncSender;
use std::thread;
use std::time::Duration;

use glidepath::Side;
use serde::{Deserialize, Serialize};

use super::event::{Event, Met};
use crate::failure::Failure;

/// How often a file is looked at.
const LOOK: Duration = Duration::from_millis(250);
/// A line that is gone is tried again after so long.
const AGAIN: Duration = Duration::from_secs(1);
const CHUNK: usize = 1 << 16;
/// A place in a file is known again by so many bytes before it.
const MARK: usize = 512;

/// How far a file was read, and the bytes just before: another file that has them there goes on from there.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Place {
    pub offset: u64,
    before: Vec<u8>,
}

impl Place {
    /// Further by these bytes.
    pub fn on(&mut self, bytes: &[u8]) {
        self.offset += bytes.len() as u64;
        self.before.extend_from_slice(bytes);
        let surplus = self.before.len().saturating_sub(MARK);
        self.before.drain(..surplus);
    }

    /// Whether a file has this place, its content before it being the same; it stands there then.
    fn is_in(&self, file: &mut File) -> io::Result<bool> {
        let mut before = vec![0; self.before.len()];
        file.seek(SeekFrom::Start(self.offset.saturating_sub(before.len() as u64)))?;
        match file.read_exact(&mut before) {
            Ok(()) => Ok(before == self.before),
            Err(error) if error.kind() == io::ErrorKind::UnexpectedEof => Ok(false),
            Err(error) => Err(error),
        }
    }
}

/// What is read.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Input {
    /// Standard input.
    Standard,
    /// A device or a named pipe, with the rate to set if it is a serial line.
    Line(PathBuf, u32),
    /// A file, followed as it grows.
    File(PathBuf),
}

impl Input {
    /// What `path` is.
    ///
    /// # Errors
    /// When there is nothing there, or a folder.
    pub fn of(path: &Path, baud: u32) -> Result<Self, Failure> {
        if path.as_os_str() == "-" {
            return Ok(Self::Standard);
        }
        let data = std::fs::metadata(path)
            .map_err(|error| Failure::file(path, format!("cannot be read ({error})")))?;
        if data.is_dir() {
            return Err(Failure::file(path, "is a folder, expected a file, a device or -"));
        }
        Ok(if data.is_file() { Self::File(path.to_owned()) } else { Self::Line(path.to_owned(), baud) })
    }

    /// Whether what was read can be read again.
    pub fn is_file(&self) -> bool {
        matches!(self, Self::File(_))
    }

    /// Reads from `place` on in a thread of its own; ends when nobody listens.
    pub fn start(self, place: Place, tell: Tell) {
        thread::spawn(move || {
            // an error here says that nobody listens any more
            let _ = match self {
                Self::Standard => standard(&tell),
                Self::Line(path, baud) => line(&path, baud, &tell),
                Self::File(path) => follow(&path, place, &tell),
            };
        });
    }
}

/// Whom a sensor's input is told.
#[derive(Clone, Debug)]
pub struct Tell {
    pub side: Side,
    pub to: SyncSender<Event>,
}

impl Tell {
    fn send(&self, met: Met) -> Told {
        self.to.send(Event::Input(self.side, met))
    }
}

type Told = Result<(), std::sync::mpsc::SendError<Event>>;

fn standard(tell: &Tell) -> Told {
    let mut buffer = vec![0; CHUNK];
    let mut input = io::stdin().lock();
    loop {
        match input.read(&mut buffer) {
            Ok(0) => return tell.send(Met::Ended),
            Ok(read) => tell.send(Met::Bytes(buffer.get(..read).unwrap_or_default().to_vec()))?,
            Err(error) if error.kind() == io::ErrorKind::Interrupted => {}
            Err(error) => {
                tell.send(Met::Said(format!("standard input cannot be read ({error})")))?;
                return tell.send(Met::Ended);
            }
        }
    }
}

/// A device or a named pipe: opened again whenever it ends, for it may come back.
fn line(path: &Path, baud: u32, tell: &Tell) -> Told {
    let mut buffer = vec![0; CHUNK];
    let mut said = None;
    loop {
        let what = match open_line(path, baud) {
            Ok((mut file, how)) => {
                tell.send(Met::Said(how))?;
                loop {
                    match file.read(&mut buffer) {
                        Ok(0) => break "has ended; waiting for it to come back".to_owned(),
                        Ok(read) => {
                            said = None;
                            tell.send(Met::Bytes(buffer.get(..read).unwrap_or_default().to_vec()))?;
                        }
                        Err(error) if error.kind() == io::ErrorKind::Interrupted => {}
                        Err(error) => break format!("cannot be read ({error}); trying again"),
                    }
                }
            }
            Err(error) => format!("cannot be opened ({error}); trying again"),
        };
        // what is cut in the middle is no record
        tell.send(Met::Cut)?;
        if said.as_ref() != Some(&what) {
            tell.send(Met::Said(format!("{} {what}", path.display())))?;
            said = Some(what);
        }
        thread::sleep(AGAIN);
    }
}

/// Opens a line; a terminal device is set to pass every byte as it is, at `baud`. What was done, in words.
#[cfg(unix)]
fn open_line(path: &Path, baud: u32) -> io::Result<(File, String)> {
    use rustix::termios::{OptionalActions, tcgetattr, tcsetattr};
    use std::os::unix::fs::OpenOptionsExt;
    let mut options = File::options();
    // no terminal of this program, or hanging up would end it
    let file = options.read(true).custom_flags(rustix::fs::OFlags::NOCTTY.bits().cast_signed()).open(path)?;
    let Ok(mut settings) = tcgetattr(&file) else { return Ok((file, "opened, no serial line".to_owned())) };
    settings.make_raw();
    settings.control_modes |= rustix::termios::ControlModes::CREAD | rustix::termios::ControlModes::CLOCAL;
    settings.set_speed(baud)?;
    tcsetattr(&file, OptionalActions::Now, &settings)?;
    Ok((file, format!("opened as a serial line, {baud} baud, 8 data bits, no parity")))
}

#[cfg(not(unix))]
fn open_line(path: &Path, _: u32) -> io::Result<(File, String)> {
    Ok((File::open(path)?, "opened; its rate is left as the system has it".to_owned()))
}

/// A file that grows, is replaced or is cut: opened by its name at each look.
fn follow(path: &Path, mut place: Place, tell: &Tell) -> Told {
    let (mut said, mut first) = (None, true);
    loop {
        let met = look(path, &mut place, tell);
        match met {
            Ok(Looked::Gone(told)) => return told,
            Ok(Looked::Read(any)) => {
                said = None;
                if any || first {
                    tell.send(Met::Dry)?;
                    first = false;
                }
            }
            Err(error) => {
                let what = format!("{} cannot be read ({error}); trying again", path.display());
                if said.as_ref() != Some(&what) {
                    tell.send(Met::Said(what.clone()))?;
                    said = Some(what);
                }
            }
        }
        thread::sleep(LOOK);
    }
}

enum Looked {
    /// Whether there was something new.
    Read(bool),
    /// Nobody listens.
    Gone(Told),
}

/// Reads what is new.
fn look(path: &Path, place: &mut Place, tell: &Tell) -> io::Result<Looked> {
    let mut file = File::open(path)?;
    let mut any = false;
    if !place.is_in(&mut file)? {
        *place = Place::default();
        file.seek(SeekFrom::Start(0))?;
        if let Err(gone) = tell.send(Met::Anew) {
            return Ok(Looked::Gone(Err(gone)));
        }
        any = true;
    }
    let mut buffer = vec![0; CHUNK];
    loop {
        let read = file.read(&mut buffer)?;
        if read == 0 {
            return Ok(Looked::Read(any));
        }
        any = true;
        let bytes = buffer.get(..read).unwrap_or_default();
        place.on(bytes);
        if let Err(gone) = tell.send(Met::Bytes(bytes.to_vec())) {
            return Ok(Looked::Gone(Err(gone)));
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::sync::mpsc::sync_channel;

    /// What one look yields: the bytes, after a `*` when read anew.
    fn seen(path: &Path, place: &mut Place) -> String {
        let (to, told) = sync_channel(100);
        look(path, place, &Tell { side: Side::Second, to }).unwrap();
        told.try_iter()
            .map(|event| match event {
                Event::Input(Side::Second, Met::Bytes(bytes)) => String::from_utf8(bytes).unwrap(),
                Event::Input(Side::Second, Met::Anew) => "*".into(),
                _ => "?".into(),
            })
            .collect()
    }

    #[test]
    fn a_file_is_followed_when_it_grows_is_replaced_or_is_cut() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("t.csv");
        let write = |text: &str| std::fs::write(&path, text).unwrap();
        let mut place = Place::default();
        write("abc\n");
        assert_eq!(seen(&path, &mut place), "abc\n");
        assert_eq!(seen(&path, &mut place), "");
        write("abc\ndef\n"); // written anew with more: goes on
        assert_eq!(seen(&path, &mut place), "def\n");
        write("xyz\ndef\n"); // as long, another
        assert_eq!(seen(&path, &mut place), "*xyz\ndef\n");
        write(""); // cut
        assert_eq!(seen(&path, &mut place), "*");
        write("g\n");
        assert_eq!(seen(&path, &mut place), "g\n");
        std::fs::write(folder.path().join("new"), "hh\nii\n").unwrap();
        std::fs::rename(folder.path().join("new"), &path).unwrap();
        assert_eq!(seen(&path, &mut place), "*hh\nii\n");
        // a place that was kept is found again, and not in another file
        let mut kept = Place::default();
        kept.on(b"hh\n");
        assert_eq!(seen(&path, &mut kept), "ii\n");
        let mut other = Place::default();
        other.on(b"h\nh");
        assert_eq!(seen(&path, &mut other), "*hh\nii\n");
    }

    #[test]
    fn a_place_keeps_the_bytes_before_it_only() {
        let mut place = Place::default();
        place.on(&[1; 700]);
        place.on(&[2; 100]);
        assert_eq!((place.offset, place.before.len()), (800, MARK));
        assert_eq!(place.before.iter().filter(|byte| **byte == 2).count(), 100);
    }

    #[test]
    fn what_is_not_there_is_said() {
        let folder = tempfile::tempdir().unwrap();
        assert!(Input::of(folder.path(), 9600).unwrap_err().to_string().contains("is a folder"));
        assert!(Input::of(&folder.path().join("none"), 9600).is_err());
        assert_eq!(Input::of(Path::new("-"), 9600).unwrap(), Input::Standard);
        assert!(matches!(Input::of(Path::new("/dev/null"), 9600).unwrap(), Input::Line(..)));
    }
}
