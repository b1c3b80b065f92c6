//! The monitor's whole state to bytes and back, so that a power cut loses nothing; and its settings, apart from it.
//!
//! A snapshot holds all that a monitor has learned: readings, estimate, calibration, trust, the forecast's weights for the
//! person, and which alarms are active and acknowledged. [`restore`] makes a monitor go on with the same bits as the saved one, or
//! leaves it unchanged; it never restores a part. Settings are the caller's and not in it: those given to [`Monitor::new`], the
//! alarm plan and the zone's offset stay those of the monitor that is restored into, so that no old snapshot brings
//! back an old limit. They are kept and sent apart from it, by [`save_settings`] and [`read_settings`]. Left out, too, is what [`Monitor::smoothed`] draws of the last quarter of an hour. How long the
//! power was away is unknown: [`restore`] calls [`Monitor::power_returned`], so that no age is known and nothing is shown as
//! present before the next reading, and silence is counted anew. Layout, little endian:
//! `"GPMS"`, version (2 bytes), length of the state (4), the state, CRC-32 of all before it (4). Storing it is the
//! caller's: keep the last snapshot until the next one is written. Where a field lies in the state is said by the stage
//! that owns it and by its [`VERSION`] alone.
//!
//! A snapshot of another [`VERSION`] is refused: start anew and the next readings fill in.
//!
//! # Memory
//! On a Cortex-M0+ both together take 6.0 kB of flash; saving takes 868 bytes of stack, restoring 916. A program that
//! does not use them has no cost.
//!
//! Source of the checksum: the CRC-32 of IEEE 802.3 (reflected polynomial 0xEDB88320, from memory).

mod seal;
mod settings;

pub use seal::SnapshotError;
pub use settings::{SETTINGS_BYTES, SETTINGS_VERSION, read_settings, save_settings};

use crate::codec::{Codec, Coded};
use crate::monitor::Monitor;
use crate::pair::PairMonitor;
use seal::{HEADER, Sort, seal, unsealed};

/// The version of the state written and read. It changes whenever any part of the state does.
pub const VERSION: u16 = 4;

/// What tells the state's bytes from others.
const STATE: Sort = Sort { magic: *b"GPMS", version: VERSION };

/// The version of the state of two sensors. It changes whenever any part of the state does.
pub const PAIR_VERSION: u16 = 3;

/// What tells the bytes of two sensors from others.
const PAIR: Sort = Sort { magic: *b"GPMP", version: PAIR_VERSION };

/// Bytes that a snapshot of a monitor with `readings` readings never exceeds.
///
/// # Examples
/// ```
/// use glidepath::snapshot;
/// let buffer = [0_u8; snapshot::bytes_needed(288)];
/// assert_eq!(buffer.len(), 2752);
/// ```
#[must_use]
pub const fn bytes_needed(readings: usize) -> usize {
    readings.saturating_mul(6).saturating_add(1024)
}

/// Bytes that a snapshot of two sensors with `readings` readings each never exceeds.
#[must_use]
pub const fn pair_bytes_needed(readings: usize) -> usize {
    readings.saturating_mul(12).saturating_add(2048)
}

/// Writes `monitor`'s state to the front of `buffer`; gives the number of bytes. `monitor` stays as it is; it is borrowed
/// as for a change because the same code walks over it to restore it.
///
/// # Errors
/// [`SnapshotError::BufferTooSmall`]; the buffer's content is then of no use.
///
/// # Examples
/// ```
/// use glidepath::{Glucose, Instant, Monitor, Reading, Settings, snapshot};
/// let mut monitor = Monitor::<288>::new(Settings::default())?;
/// let _ = monitor.push(&Reading::new(Instant::from_secs(300), Glucose::from_mg_dl(110.0)?));
/// let mut buffer = [0; snapshot::bytes_needed(288)];
/// let length = snapshot::save(&mut monitor, &mut buffer)?;
/// // the power fails, and later
/// let mut restored = Monitor::<288>::new(Settings::default())?;
/// snapshot::restore(&mut restored, &buffer[..length])?;
/// assert_eq!(restored.history().newest(), monitor.history().newest());
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub fn save<const N: usize>(monitor: &mut Monitor<N>, buffer: &mut [u8]) -> Result<usize, SnapshotError> {
    write(STATE, monitor, buffer)
}

/// The same of a monitor of two sensors. [`pair_bytes_needed`] says how much room it takes.
///
/// # Errors
/// [`SnapshotError::BufferTooSmall`]; the buffer's content is then of no use.
///
/// # Examples
/// ```
/// use glidepath::{Glucose, Instant, PairMonitor, Reading, Settings, Side, snapshot};
/// let mut monitor = PairMonitor::<288>::new(Settings::default(), Settings::default())?;
/// let reading = Reading::new(Instant::from_secs(300), Glucose::from_mg_dl(110.0)?);
/// let _ = monitor.push(Side::Second, &reading);
/// let mut buffer = [0; snapshot::pair_bytes_needed(288)];
/// let length = snapshot::save_pair(&mut monitor, &mut buffer)?;
/// let mut restored = PairMonitor::<288>::new(Settings::default(), Settings::default())?;
/// snapshot::restore_pair(&mut restored, &buffer[..length])?;
/// assert_eq!(restored.history(Side::Second).newest(), Some(reading));
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub fn save_pair<const N: usize>(
    monitor: &mut PairMonitor<N>,
    buffer: &mut [u8],
) -> Result<usize, SnapshotError> {
    write(PAIR, monitor, buffer)
}

fn write(sort: Sort, state: &mut impl Coded, buffer: &mut [u8]) -> Result<usize, SnapshotError> {
    let rest = buffer.get_mut(HEADER..).ok_or(SnapshotError::BufferTooSmall)?;
    let mut codec = Codec::saving(rest);
    state.code(&mut codec);
    let length = codec.end().ok_or(SnapshotError::BufferTooSmall)?;
    seal(sort, buffer, length).ok_or(SnapshotError::BufferTooSmall)
}

/// Makes `monitor` the one whose snapshot `bytes` begin with; bytes after it are left alone. A monitor with less room
/// than the saved one's keeps the newest readings. Its power has just [returned](Monitor::power_returned): the
/// device's own count ([`Monitor::set_uptime`]) starts anew, and no value is present before the next reading.
///
/// What is read is checked whole before any of it is used: finite numbers within the bounds that each stage keeps,
/// moments no later than the present, counts within theirs, readings in order.
///
/// # Errors
/// [`SnapshotError::Incomplete`] to [`SnapshotError::State`], in the order they are listed. `monitor` is then as it was.
///
/// # Examples
/// ```
/// use glidepath::{Monitor, Settings, snapshot::{self, SnapshotError}};
/// let mut monitor = Monitor::<288>::new(Settings::default())?;
/// let erased = [0xFF; 4096]; // flash that was never written
/// assert_eq!(snapshot::restore(&mut monitor, &erased), Err(SnapshotError::Incomplete));
/// # Ok::<(), glidepath::Error>(())
/// ```
/// What was low before the power failed is not shown as present after it, and silence rings:
/// ```
/// use glidepath::{Glucose, Instant, Monitor, Reading, Settings, alarm::Kind, snapshot};
/// let mut monitor = Monitor::<288>::new(Settings::default())?;
/// let _ = monitor.push(&Reading::new(Instant::from_secs(300), Glucose::from_mg_dl(110.0)?));
/// let mut buffer = [0; snapshot::bytes_needed(288)];
/// let length = snapshot::save(&mut monitor, &mut buffer)?;
/// let mut restored = Monitor::<288>::new(Settings::default())?;
/// snapshot::restore(&mut restored, &buffer[..length])?;
/// restored.set_uptime(0); // seconds since the power came back; no clock on the wall is known
/// assert!(restored.tick(None).shown().is_none());
/// restored.set_uptime(20 * 60);
/// assert!(restored.tick(None).alarms().get(Kind::NoData).is_some());
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub fn restore<const N: usize>(monitor: &mut Monitor<N>, bytes: &[u8]) -> Result<(), SnapshotError> {
    read(STATE, monitor, bytes)?;
    monitor.power_returned();
    Ok(())
}

/// The same of a monitor of two sensors.
///
/// # Errors
/// Those of [`restore`]. `monitor` is then as it was.
pub fn restore_pair<const N: usize>(monitor: &mut PairMonitor<N>, bytes: &[u8]) -> Result<(), SnapshotError> {
    read(PAIR, monitor, bytes)?;
    monitor.power_returned();
    Ok(())
}

fn read(sort: Sort, whole: &mut impl Coded, bytes: &[u8]) -> Result<(), SnapshotError> {
    let state = unsealed(sort, bytes)?;
    let mut check = Codec::checking(state);
    whole.code(&mut check);
    if check.end() != Some(state.len()) {
        return Err(SnapshotError::State);
    }
    whole.code(&mut Codec::loading(state));
    Ok(())
}

#[cfg(test)]
mod tests;
