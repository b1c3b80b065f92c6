//! The monitor's whole state to bytes and back, so that a power cut loses nothing.
//!
//! A snapshot holds readings, estimate, calibration, trust, alarms and settings. [`load`] gives back a monitor
//! that goes on with the same bits as the saved one, or an error: never a part of one. Nobody knows how long the power
//! was away: [`load`] has called [`Monitor::power_returned`], so that no age is known and nothing is shown as present
//! before the next reading, and silence is counted anew. Layout, little endian:
//! `"GPMS"`, version (2 bytes), length of the state (4), the state in the `postcard` wire format, CRC-32 of all
//! before it (4). Storing it is the caller's: keep the last snapshot until the next one is written.
//!
//! A snapshot of another [`VERSION`] is refused: start anew and the next readings fill in.
//!
//! Source of the checksum: the CRC-32 of IEEE 802.3 (reflected polynomial 0xEDB88320, from memory).

use crate::monitor::Monitor;

/// The version of the state written and read. It changes whenever any part of the state does.
pub const VERSION: u16 = 2;

const MAGIC: [u8; 4] = *b"GPMS";
const HEADER: usize = 10;
const CHECKSUM: usize = 4;

/// Bytes that a snapshot of a monitor with `readings` readings never exceeds.
///
/// # Examples
/// ```
/// use glidepath::snapshot;
/// let buffer = [0_u8; snapshot::room(288)];
/// assert_eq!(buffer.len(), 4288);
/// ```
#[must_use]
pub const fn room(readings: usize) -> usize {
    readings.saturating_mul(6).saturating_add(2560)
}

/// Why there is no snapshot, or no monitor from one.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub enum SnapshotError {
    /// The buffer is too small to save into; see [`room`].
    Room,
    /// Not a snapshot, or not the whole of one.
    Incomplete,
    /// Of another version, which is given.
    Version(u16),
    /// Damaged: the checksum does not fit.
    Checksum,
    /// Whole, but no state of this monitor.
    State,
}

impl core::fmt::Display for SnapshotError {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        f.write_str(match self {
            Self::Room => "the buffer is too small for the snapshot",
            Self::Incomplete => "not a whole snapshot",
            Self::Version(_) => "a snapshot of another version",
            Self::Checksum => "a damaged snapshot",
            Self::State => "a snapshot of something else",
        })
    }
}

impl core::error::Error for SnapshotError {}

/// Writes `monitor`'s state to the front of `buffer`; gives the number of bytes.
///
/// # Errors
/// [`SnapshotError::Room`]; the buffer's content is then of no use.
///
/// # Examples
/// ```
/// use glidepath::{Glucose, Instant, Monitor, Reading, Settings, snapshot};
/// let mut monitor = Monitor::<288>::new(Settings::default())?;
/// let _ = monitor.push(&Reading::new(Instant::from_secs(300), Glucose::from_mg_dl(110.0)?));
/// let mut buffer = [0; snapshot::room(288)];
/// let length = snapshot::save(&monitor, &mut buffer)?;
/// // the power fails, and later
/// let restored = snapshot::load::<288>(&buffer[..length])?;
/// assert_eq!(restored.history().newest(), monitor.history().newest());
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub fn save<const N: usize>(monitor: &Monitor<N>, buffer: &mut [u8]) -> Result<usize, SnapshotError> {
    let (header, rest) = buffer.split_at_mut_checked(HEADER).ok_or(SnapshotError::Room)?;
    let state = postcard::to_slice(monitor, rest).map_err(|_| SnapshotError::Room)?.len();
    let length = u32::try_from(state).map_err(|_| SnapshotError::Room)?;
    let fields = MAGIC.into_iter().chain(VERSION.to_le_bytes()).chain(length.to_le_bytes());
    header.iter_mut().zip(fields).for_each(|(to, from)| *to = from);
    let end = HEADER.saturating_add(state);
    let (body, rest) = buffer.split_at_mut_checked(end).ok_or(SnapshotError::Room)?;
    let place = rest.first_chunk_mut::<CHECKSUM>().ok_or(SnapshotError::Room)?;
    *place = crc32(body).to_le_bytes();
    Ok(end.saturating_add(CHECKSUM))
}

/// The monitor whose snapshot `bytes` begin with; bytes after it are left alone. A monitor with less room than
/// the saved one's keeps the newest readings. Its power has just [returned](Monitor::power_returned): the device's own
/// count, told by [`Monitor::run`], starts anew, and no value is present before the next reading.
///
/// # Errors
/// All but [`SnapshotError::Room`], in the order they are listed.
///
/// # Examples
/// ```
/// use glidepath::snapshot::{self, SnapshotError};
/// assert_eq!(snapshot::load::<288>(&[0xFF; 4096]).unwrap_err(), SnapshotError::Incomplete); // erased flash
/// ```
/// What was low before the power failed is not shown as present after it, and silence rings:
/// ```
/// use glidepath::{Glucose, Instant, Monitor, Reading, Settings, alarm::Kind, snapshot};
/// let mut monitor = Monitor::<288>::new(Settings::default())?;
/// let _ = monitor.push(&Reading::new(Instant::from_secs(300), Glucose::from_mg_dl(110.0)?));
/// let mut buffer = [0; snapshot::room(288)];
/// let length = snapshot::save(&monitor, &mut buffer)?;
/// let mut restored = snapshot::load::<288>(&buffer[..length])?;
/// restored.run(0); // seconds since the power came back; no clock on the wall is known
/// assert!(restored.tick(None).shown().is_none());
/// restored.run(20 * 60);
/// assert!(restored.tick(None).alarms().get(Kind::NoData).is_some());
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub fn load<const N: usize>(bytes: &[u8]) -> Result<Monitor<N>, SnapshotError> {
    let (magic, rest) = bytes.split_first_chunk::<4>().ok_or(SnapshotError::Incomplete)?;
    let (version, rest) = rest.split_first_chunk::<2>().ok_or(SnapshotError::Incomplete)?;
    let (length, _) = rest.split_first_chunk::<4>().ok_or(SnapshotError::Incomplete)?;
    if *magic != MAGIC {
        return Err(SnapshotError::Incomplete);
    }
    let version = u16::from_le_bytes(*version);
    if version != VERSION {
        return Err(SnapshotError::Version(version));
    }
    let end = usize::try_from(u32::from_le_bytes(*length)).ok().and_then(|state| state.checked_add(HEADER));
    let (body, rest) = end.and_then(|end| bytes.split_at_checked(end)).ok_or(SnapshotError::Incomplete)?;
    let checksum = rest.first_chunk::<CHECKSUM>().ok_or(SnapshotError::Incomplete)?;
    if crc32(body) != u32::from_le_bytes(*checksum) {
        return Err(SnapshotError::Checksum);
    }
    let state = body.get(HEADER..).unwrap_or_default();
    match postcard::take_from_bytes::<Monitor<N>>(state) {
        Ok((mut monitor, [])) => {
            monitor.power_returned();
            Ok(monitor)
        }
        _ => Err(SnapshotError::State),
    }
}

/// CRC-32 of IEEE 802.3.
fn crc32(bytes: &[u8]) -> u32 {
    !bytes.iter().fold(u32::MAX, |crc, byte| {
        (0..8).fold(crc ^ u32::from(*byte), |crc, _| (crc >> 1) ^ (0xEDB8_8320 & (crc & 1).wrapping_neg()))
    })
}

#[cfg(test)]
mod tests;
