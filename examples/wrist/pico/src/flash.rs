//! The flash chip of the Pico as a place to keep things: erased by 4 KiB, written by pages of 256 bytes.
//!
//! The program runs from the same chip: while it is erased or written, interrupts wait, and the UART's own
//! buffer and "ready to send" hold what arrives.

use core::ops::Range;
use embedded_storage_async::nor_flash::{ErrorType, NorFlash, NorFlashErrorKind, ReadNorFlash};
use rp2040_flash::flash::{flash_range_erase, flash_range_program};

/// Where the chip is mapped for reading.
const MAPPED: usize = 0x1000_0000;
const SIZE: usize = 2 * 1024 * 1024;
const SECTOR: usize = 4096;
const PAGE: usize = 256;

/// The last 64 KiB: the application's states. What is kept the linker leaves free.
pub const STATES: Range<u32> = (SIZE - 64 * 1024) as u32..SIZE as u32;
/// The 16 KiB before them: settings.
pub const SETTINGS: Range<u32> = (SIZE - 80 * 1024) as u32..STATES.start;

/// Access to one range of the chip.
pub struct Flash(Range<u32>);

impl Flash {
    /// Of [`STATES`] and of [`SETTINGS`].
    ///
    /// # Safety
    /// To be called once, and the second core must not run. Both are of the one thread that has them.
    #[must_use]
    pub const unsafe fn both() -> [Self; 2] {
        [Self(STATES), Self(SETTINGS)]
    }

    /// Whether `length` bytes from `offset` are in the part that may be touched, and whole units of it.
    fn check(&self, offset: u32, length: usize, unit: usize) -> Result<(), NorFlashErrorKind> {
        let (from, to) = (offset as usize, (offset as usize).saturating_add(length));
        if !from.is_multiple_of(unit) || !to.is_multiple_of(unit) {
            return Err(NorFlashErrorKind::NotAligned);
        }
        if from < self.0.start as usize || to > self.0.end as usize {
            return Err(NorFlashErrorKind::OutOfBounds);
        }
        Ok(())
    }
}

impl ErrorType for Flash {
    type Error = NorFlashErrorKind;
}

impl ReadNorFlash for Flash {
    const READ_SIZE: usize = 1;

    async fn read(&mut self, offset: u32, bytes: &mut [u8]) -> Result<(), NorFlashErrorKind> {
        self.check(offset, bytes.len(), 1)?;
        let place = core::ptr::with_exposed_provenance::<u8>(MAPPED + offset as usize);
        // SAFETY: mapped, inside the chip as checked, and written through `self` alone; the boot ROM empties the
        // cache after each write
        bytes.copy_from_slice(unsafe { core::slice::from_raw_parts(place, bytes.len()) });
        Ok(())
    }

    fn capacity(&self) -> usize {
        SIZE
    }
}

impl NorFlash for Flash {
    // a page may be written in parts: what is not meant stays at ones, which change nothing
    const WRITE_SIZE: usize = 4;
    const ERASE_SIZE: usize = SECTOR;

    async fn erase(&mut self, from: u32, to: u32) -> Result<(), NorFlashErrorKind> {
        self.check(from, (to as usize).saturating_sub(from as usize), SECTOR)?;
        for sector in (from..to).step_by(SECTOR) {
            // SAFETY: whole sectors outside the program; nothing runs from the chip meanwhile
            critical_section::with(|_| unsafe { flash_range_erase(sector, SECTOR as u32, true) });
        }
        Ok(())
    }

    async fn write(&mut self, offset: u32, mut bytes: &[u8]) -> Result<(), NorFlashErrorKind> {
        self.check(offset, bytes.len(), Self::WRITE_SIZE)?;
        let mut at = offset as usize;
        while !bytes.is_empty() {
            let within = at % PAGE;
            let (now, later) = bytes.split_at(bytes.len().min(PAGE - within));
            let mut page = [0xFF; PAGE];
            page[within..within + now.len()].copy_from_slice(now);
            // SAFETY: one page outside the program; nothing runs from the chip meanwhile
            critical_section::with(|_| unsafe { flash_range_program((at - within) as u32, &page, true) });
            (at, bytes) = (at + now.len(), later);
        }
        Ok(())
    }
}
