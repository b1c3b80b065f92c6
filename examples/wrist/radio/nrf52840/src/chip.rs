//! The nRF52840's own flash: erased by 4 KiB, written by words, in the gaps that the radio leaves.

use core::cell::RefCell;
use core::future::Future;
use core::ops::Range;
use core::pin::pin;
use core::task::{Context, Poll, Waker};
use embedded_storage_async::nor_flash::{ErrorType, NorFlash, NorFlashErrorKind, ReadNorFlash};
use nrf_mpsl::Flash;

const SIZE: u32 = 1024 * 1024;
/// The last 64 KiB: the application's states.
pub const STATES: Range<u32> = SIZE - 64 * 1024..SIZE;
/// The 32 KiB before them: bonds, and how far records are settled.
pub const BONDS: Range<u32> = SIZE - 96 * 1024..STATES.start;
/// The 16 KiB before them: settings, apart, so that neither brings back an old one of the other.
pub const SETTINGS: Range<u32> = SIZE - 112 * 1024..BONDS.start;

const WORDS: usize = 64;

/// The flash, for one of its ranges.
pub struct Chip<'a>(pub &'a RefCell<Flash<'static>>);

/// Waits without the executor: the store is written while nothing else runs. The radio goes on in its interrupts; what
/// it leaves to do outside of them is done here, for the task that otherwise does it stands still.
fn wait<T>(future: impl Future<Output = T>) -> T {
    let mut future = pin!(future);
    loop {
        if let Poll::Ready(outcome) = future.as_mut().poll(&mut Context::from_waker(Waker::noop())) {
            return outcome;
        }
        // SAFETY: called from the one thread only, and never from within itself
        unsafe { nrf_mpsl::raw::mpsl_low_priority_process() };
    }
}

impl ErrorType for Chip<'_> {
    type Error = NorFlashErrorKind;
}

impl ReadNorFlash for Chip<'_> {
    const READ_SIZE: usize = 1;

    async fn read(&mut self, offset: u32, bytes: &mut [u8]) -> Result<(), NorFlashErrorKind> {
        self.0.borrow_mut().read(offset, bytes).map_err(|_| NorFlashErrorKind::OutOfBounds)
    }

    fn capacity(&self) -> usize {
        SIZE as usize
    }
}

impl NorFlash for Chip<'_> {
    const WRITE_SIZE: usize = 4;
    const ERASE_SIZE: usize = 4096;

    async fn erase(&mut self, from: u32, to: u32) -> Result<(), NorFlashErrorKind> {
        if from < SETTINGS.start {
            return Err(NorFlashErrorKind::OutOfBounds);
        }
        wait(self.0.borrow_mut().erase(from, to)).map_err(|_| NorFlashErrorKind::Other)
    }

    async fn write(&mut self, offset: u32, bytes: &[u8]) -> Result<(), NorFlashErrorKind> {
        if offset < SETTINGS.start {
            return Err(NorFlashErrorKind::OutOfBounds);
        }
        if !bytes.len().is_multiple_of(4) {
            return Err(NorFlashErrorKind::NotAligned);
        }
        // read by words, from memory that begins on one
        let mut words = Words([0; WORDS * 4]);
        let mut offset = offset;
        for some in bytes.chunks(words.0.len()) {
            let room = words.0.get_mut(..some.len()).ok_or(NorFlashErrorKind::Other)?;
            room.copy_from_slice(some);
            wait(self.0.borrow_mut().write(offset, room)).map_err(|_| NorFlashErrorKind::Other)?;
            offset = offset.saturating_add(some.len() as u32);
        }
        Ok(())
    }
}

#[repr(C, align(4))]
struct Words([u8; WORDS * 4]);
