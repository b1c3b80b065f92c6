//! Settings that come over the line or by radio: taken whole and kept, or not at all.
//!
//! A message is what [`snapshot::save_settings`] writes, with its version and CRC-32: model, forecast, calibration, trend,
//! quality, alarms. It is known by its CRC-32. What is in force is what a power cut leaves: a message is read through
//! the library's gates, then written to the flash chip and read back, then taken in, then acknowledged. It lies in a range of
//! the chip of its own, apart from the states, so that neither brings back an old one of the other.

use crate::app::Wrist;
use crate::store::Store;
use crate::words::{self, Sentence};
use crate::worn::Worn;
use embedded_storage_async::nor_flash::NorFlash;
use glidepath::snapshot::{self, SnapshotError};
use glidepath::{Error, Settings};

/// The longest message.
pub const LONGEST: usize = snapshot::SETTINGS_BYTES;

/// Settings, and the number of the message that brought them; none: those the program was built with.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Numbered {
    /// The settings.
    pub settings: Settings,
    /// The number.
    pub number: Option<u32>,
}

/// A message's number: its CRC-32. None when it has none.
#[must_use]
pub fn number(message: &[u8]) -> Option<u32> {
    message.last_chunk().map(|crc| u32::from_le_bytes(*crc))
}

/// What a message sets.
///
/// # Errors
/// Anything that is not one whole message, of this version, undamaged, and within the library's ranges.
pub fn read(message: &[u8]) -> Result<Numbered, SnapshotError> {
    let settings = snapshot::read_settings(message)?;
    // its length: magic, version, length, settings, checksum
    let length =
        message.get(6..).and_then(|rest| rest.first_chunk()).map(|length| u32::from_le_bytes(*length));
    let around = message.len().saturating_sub(10 + 4);
    if length.and_then(|length| usize::try_from(length).ok()) != Some(around) {
        return Err(SnapshotError::Incomplete); // something follows it
    }
    Ok(Numbered { settings, number: number(message) })
}

/// An application with the settings that were kept, else with those it was built with; what is to be told when kept ones
/// cannot be read, such as those of another version.
///
/// # Errors
/// Names the setting of `built` that is out of its range.
#[inline(never)] // its large values are not to lie in the frame of a loop that never ends
pub fn begin<M: Worn, F: NorFlash>(
    built: Settings,
    store: Option<&mut Store<F>>,
    buffer: &mut [u8],
) -> Result<(Wrist<M>, Option<Sentence>), Error> {
    let built = Numbered { settings: built, number: None };
    let (mut told, mut chosen) = (None, built);
    match store.and_then(|store| store.newest(buffer)).map(read) {
        None => {}
        Some(Ok(kept)) => chosen = kept,
        Some(Err(_)) => told = Some(words::lost_settings()),
    }
    // an application is large: it is made at one place
    loop {
        match Wrist::new(chosen.settings) {
            Ok(mut app) => {
                app.set_number(chosen.number);
                return Ok((app, told));
            }
            Err(_) if chosen != built => (chosen, told) = (built, Some(words::lost_settings())),
            Err(error) => return Err(error),
        }
    }
}

/// Keeps the settings that [`Wants::settings`](crate::app::Wants::settings) tells of, and takes them in once they are kept.
/// What is to be told to who sent them. `room` is for a moment.
pub fn keep<M: Worn, F: NorFlash>(
    app: &mut Wrist<M>,
    store: Option<&mut Store<F>>,
    room: &mut [u8],
    buffer: &mut [u8],
) -> Option<Sentence> {
    let new = app.new_settings()?;
    Some(bring_in(app, new, store, room, buffer).1)
}

/// What became of settings.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Taken {
    /// They are kept and in force.
    Kept,
    /// They are not whole, damaged, of another version or out of range: those before hold.
    Refused,
    /// They could not be kept: those before hold.
    NotKept,
}

/// The same of a message that came whole, otherwise than over the line.
pub fn take<M: Worn, F: NorFlash>(
    app: &mut Wrist<M>,
    message: &[u8],
    store: Option<&mut Store<F>>,
    room: &mut [u8],
    buffer: &mut [u8],
) -> (Taken, Sentence) {
    match read(message) {
        Ok(new) => bring_in(app, new, store, room, buffer),
        Err(why) => (Taken::Refused, words::refused_settings(number(message), &why)),
    }
}

/// The message of the settings in force, written to the front of `room`: how long it is.
pub fn in_force<M: Worn>(app: &Wrist<M>, room: &mut [u8]) -> Option<usize> {
    snapshot::save_settings(app.settings().settings, room).ok()
}

#[inline(never)] // as `begin`
fn bring_in<M: Worn, F: NorFlash>(
    app: &mut Wrist<M>,
    new: Numbered,
    store: Option<&mut Store<F>>,
    room: &mut [u8],
    buffer: &mut [u8],
) -> (Taken, Sentence) {
    // before they are kept: what cannot be taken in must not come back after a power cut
    let ready = app.prepared(&new.settings, room);
    let write = || {
        let length = snapshot::save_settings(new.settings, room).ok()?;
        store?.keep(room.get(..length)?, buffer).then_some(())
    };
    let (taken, outcome) = match ready {
        Some(ready) if write().is_some() => {
            app.adopt(new, ready);
            (Taken::Kept, "kept.")
        }
        _ => (Taken::NotKept, "not kept: those before hold."),
    };
    (taken, words::of_settings(new.number, outcome))
}
