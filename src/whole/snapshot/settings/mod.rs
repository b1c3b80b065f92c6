//! Settings to bytes and back: the form in which a device keeps them and is sent them.

use super::seal::{CHECKSUM, HEADER, SnapshotError, Sort, seal, unsealed};
use crate::codec::{Codec, Coded};
use crate::monitor::Settings;

/// The version of the settings' bytes written and read. It changes whenever any part of them does.
pub const SETTINGS_VERSION: u16 = 1;

/// Bytes that settings never exceed: those of four alarm profiles and eight slots.
pub const SETTINGS_BYTES: usize = HEADER + 25 + 1 + 24 + 20 + 49 + 2 + 4 * 200 + 8 * 6 + CHECKSUM;

const SETTINGS: Sort = Sort { magic: *b"GPSE", version: SETTINGS_VERSION };

/// Writes settings to the front of `buffer`; gives the number of bytes. The same settings always give the same bytes:
/// `"GPSE"`, version (2 bytes), length (4), the settings, CRC-32 of all before it (4), little endian.
///
/// # Errors
/// [`SnapshotError::BufferTooSmall`] when `buffer` is too small ([`SETTINGS_BYTES`] always do): its content is then of no use.
/// [`SnapshotError::Setting`] for what no monitor would take.
///
/// # Examples
/// ```
/// use glidepath::{Glucose, Settings, alarm::AlarmPlan, alarm::AlarmSettings, snapshot};
/// let mut alarms = AlarmSettings::default();
/// alarms.low.limit = Glucose::from_mg_dl(80.0)?;
/// let settings = Settings::default().with_alarms(AlarmPlan::new(alarms)?);
/// let mut buffer = [0; snapshot::SETTINGS_BYTES];
/// let length = snapshot::save_settings(settings, &mut buffer)?; // to flash, or over the air
/// assert_eq!((length, snapshot::read_settings(&buffer[..length])?), (335, settings));
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub fn save_settings(mut settings: Settings, buffer: &mut [u8]) -> Result<usize, SnapshotError> {
    settings.quality.checked().map_err(SnapshotError::Setting)?; // the only part that can be made unchecked
    let rest = buffer.get_mut(HEADER..).ok_or(SnapshotError::BufferTooSmall)?;
    let mut codec = Codec::saving(rest);
    settings.code(&mut codec);
    let length = codec.end().ok_or(SnapshotError::BufferTooSmall)?;
    seal(SETTINGS, buffer, length).ok_or(SnapshotError::BufferTooSmall)
}

/// The settings that `bytes` begin with; bytes after them are left alone. All of them are read, through the checks of their
/// constructors, or none.
///
/// A monitor takes other alarms by [`Monitor::set_alarm_plan`](crate::Monitor::set_alarm_plan) at once. For the rest a new
/// one is made, and restored from a snapshot of the old.
///
/// # Errors
/// All but [`SnapshotError::BufferTooSmall`], in the order they are listed; [`SnapshotError::Setting`] names the first setting that
/// is refused, and in an alarm plan the rule it is of.
///
/// # Examples
/// ```
/// use glidepath::{Monitor, Reading, Settings, snapshot};
/// # let mut monitor = Monitor::<288>::new(Settings::default())?;
/// # let mut sent = [0; snapshot::SETTINGS_BYTES];
/// # snapshot::save_settings(Settings::default(), &mut sent)?;
/// let settings = snapshot::read_settings(&sent)?;
/// let mut buffer = [0; snapshot::bytes_needed(288)];
/// let length = snapshot::save(&mut monitor, &mut buffer)?;
/// monitor = Monitor::new(settings)?;
/// snapshot::restore(&mut monitor, &buffer[..length])?; // nothing is shown as present before the next reading
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub fn read_settings(bytes: &[u8]) -> Result<Settings, SnapshotError> {
    let bytes = unsealed(SETTINGS, bytes)?;
    let mut settings = Settings::default();
    let mut codec = Codec::loading(bytes);
    settings.code(&mut codec);
    match (codec.refused(), codec.end()) {
        (_, Some(end)) if end == bytes.len() => Ok(settings),
        (Some(error), _) => Err(SnapshotError::Setting(error)),
        (None, _) => Err(SnapshotError::State),
    }
}

#[cfg(test)]
mod tests;
