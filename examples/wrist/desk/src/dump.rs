//! A flash chip's content, to be read only.

use embedded_storage_async::nor_flash::{ErrorType, NorFlash, NorFlashErrorKind, ReadNorFlash};

/// All bytes of a chip with pages of 4 KiB. It refuses to change.
#[derive(Clone, Debug)]
pub struct Dump(pub Vec<u8>);

impl ErrorType for Dump {
    type Error = NorFlashErrorKind;
}

impl ReadNorFlash for Dump {
    const READ_SIZE: usize = 1;

    async fn read(&mut self, offset: u32, bytes: &mut [u8]) -> Result<(), NorFlashErrorKind> {
        let kept = self.0.get(offset as usize..).and_then(|rest| rest.get(..bytes.len()));
        bytes.copy_from_slice(kept.ok_or(NorFlashErrorKind::OutOfBounds)?);
        Ok(())
    }

    fn capacity(&self) -> usize {
        self.0.len()
    }
}

impl NorFlash for Dump {
    const WRITE_SIZE: usize = 4;
    const ERASE_SIZE: usize = 4096;

    async fn erase(&mut self, _from: u32, _to: u32) -> Result<(), NorFlashErrorKind> {
        Err(NorFlashErrorKind::Other)
    }

    async fn write(&mut self, _offset: u32, _bytes: &[u8]) -> Result<(), NorFlashErrorKind> {
        Err(NorFlashErrorKind::Other)
    }
}
