//! What stands around the bytes of a state: what they are, how many, and a checksum.

use crate::error::Error;

/// What tells one sort of bytes from another.
#[derive(Clone, Copy)]
pub(super) struct Sort {
    pub magic: [u8; 4],
    pub version: u16,
}

pub(super) const HEADER: usize = 10;
pub(super) const CHECKSUM: usize = 4;

/// Why there is no snapshot, or no monitor from one.
///
/// Feature `defmt` gives `Format`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub enum SnapshotError {
    /// The buffer is too small to save into; see [`bytes_needed`](super::bytes_needed).
    BufferTooSmall,
    /// Not a snapshot, or not the whole of one.
    Incomplete,
    /// Of another version, which is given.
    Version(u16),
    /// Damaged: the checksum does not fit.
    Checksum,
    /// Whole, but no state of this monitor, or no settings.
    State,
    /// Whole settings, one of which is out of its range or at odds with another: the error names it.
    Setting(Error),
}

impl core::fmt::Display for SnapshotError {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        f.write_str(match self {
            Self::Setting(error) => return error.fmt(f),
            Self::BufferTooSmall => "the buffer is too small for the snapshot",
            Self::Incomplete => "not a whole snapshot",
            Self::Version(_) => "a snapshot of another version",
            Self::Checksum => "a damaged snapshot",
            Self::State => "a snapshot of something else",
        })
    }
}

impl core::error::Error for SnapshotError {}

/// Puts what tells them around `state` bytes; gives the length of the whole.
pub(super) fn seal(sort: Sort, buffer: &mut [u8], state: usize) -> Option<usize> {
    let end = HEADER.saturating_add(state);
    let (body, rest) = buffer.split_at_mut_checked(end)?;
    let (magic, fields) = body.split_first_chunk_mut::<4>()?;
    let (version, fields) = fields.split_first_chunk_mut::<2>()?;
    *magic = sort.magic;
    *version = sort.version.to_le_bytes();
    *fields.first_chunk_mut::<4>()? = u32::try_from(state).ok()?.to_le_bytes();
    *rest.first_chunk_mut::<CHECKSUM>()? = crc32(body).to_le_bytes();
    Some(end.saturating_add(CHECKSUM))
}

/// What lies within whole bytes of this sort and version.
pub(super) fn unsealed(sort: Sort, bytes: &[u8]) -> Result<&[u8], SnapshotError> {
    let (magic, rest) = bytes.split_first_chunk::<4>().ok_or(SnapshotError::Incomplete)?;
    let (version, rest) = rest.split_first_chunk::<2>().ok_or(SnapshotError::Incomplete)?;
    let (length, _) = rest.split_first_chunk::<4>().ok_or(SnapshotError::Incomplete)?;
    if u32::from_le_bytes(*magic) != u32::from_le_bytes(sort.magic) {
        return Err(SnapshotError::Incomplete);
    }
    let version = u16::from_le_bytes(*version);
    if version != sort.version {
        return Err(SnapshotError::Version(version));
    }
    let end = usize::try_from(u32::from_le_bytes(*length)).ok().and_then(|state| state.checked_add(HEADER));
    let (body, rest) = end.and_then(|end| bytes.split_at_checked(end)).ok_or(SnapshotError::Incomplete)?;
    let checksum = rest.first_chunk::<CHECKSUM>().ok_or(SnapshotError::Incomplete)?;
    if crc32(body) != u32::from_le_bytes(*checksum) {
        return Err(SnapshotError::Checksum);
    }
    Ok(body.get(HEADER..).unwrap_or_default())
}

/// CRC-32 of IEEE 802.3.
#[inline(never)]
pub(super) fn crc32(bytes: &[u8]) -> u32 {
    !bytes.iter().fold(u32::MAX, |crc, byte| {
        (0..8).fold(crc ^ u32::from(*byte), |crc, _| (crc >> 1) ^ (0xEDB8_8320 & (crc & 1).wrapping_neg()))
    })
}
