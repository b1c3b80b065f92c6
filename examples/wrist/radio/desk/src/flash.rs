//! A file in the place of a flash chip: it can only be cleared by pages, and writing only clears bits.

use embedded_storage_async::nor_flash::{ErrorType, NorFlash, NorFlashErrorKind, ReadNorFlash};
use std::fs::File;
use std::io;
use std::ops::Range;
use std::os::unix::fs::FileExt;
use std::path::Path;

/// Bonds, and how far records are settled.
pub const BONDS: Range<u32> = 0..64 * 1024;
/// Settings.
pub const SETTINGS: Range<u32> = BONDS.end..SIZE;
const SIZE: u32 = 80 * 1024;
const PAGE: u32 = 4096;

/// The chip.
pub struct FileFlash(File);

impl FileFlash {
    /// Of what the file holds; a new one is blank.
    pub fn open(path: &Path) -> io::Result<Self> {
        let file = File::options().read(true).write(true).create(true).truncate(false).open(path)?;
        if file.metadata()?.len() != u64::from(SIZE) {
            file.set_len(0)?;
            file.write_all_at(&vec![0xFF; SIZE as usize], 0)?;
        }
        Ok(Self(file))
    }
}

impl ErrorType for FileFlash {
    type Error = NorFlashErrorKind;
}

impl ReadNorFlash for FileFlash {
    const READ_SIZE: usize = 1;

    async fn read(&mut self, offset: u32, bytes: &mut [u8]) -> Result<(), NorFlashErrorKind> {
        self.0.read_exact_at(bytes, offset.into()).map_err(|_| NorFlashErrorKind::OutOfBounds)
    }

    fn capacity(&self) -> usize {
        SIZE as usize
    }
}

impl NorFlash for FileFlash {
    const WRITE_SIZE: usize = 4;
    const ERASE_SIZE: usize = PAGE as usize;

    async fn erase(&mut self, from: u32, to: u32) -> Result<(), NorFlashErrorKind> {
        if !from.is_multiple_of(PAGE) || !to.is_multiple_of(PAGE) || to > SIZE || from > to {
            return Err(NorFlashErrorKind::NotAligned);
        }
        let blank = vec![0xFF; (to - from) as usize];
        self.0.write_all_at(&blank, from.into()).map_err(|_| NorFlashErrorKind::Other)
    }

    async fn write(&mut self, offset: u32, bytes: &[u8]) -> Result<(), NorFlashErrorKind> {
        let mut there = vec![0; bytes.len()];
        self.read(offset, &mut there).await?;
        let cleared: Vec<u8> = there.iter().zip(bytes).map(|(there, byte)| there & byte).collect();
        self.0.write_all_at(&cleared, offset.into()).map_err(|_| NorFlashErrorKind::Other)
    }
}
