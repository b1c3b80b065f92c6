//! A simulated flash chip whose power may fail at any write or erase.
#![allow(dead_code, reason = "each test uses its own part")]

use embedded_storage_async::nor_flash::{
    ErrorType, NorFlash, NorFlashError, NorFlashErrorKind, ReadNorFlash,
};

const PAGE: usize = 4096;
pub const SIZE: u32 = 4 * PAGE as u32;

/// What a power cut leaves of the write or erase under way.
#[derive(Clone, Copy, Debug)]
pub enum Torn {
    Untouched,
    FirstHalf,
    SecondHalf,
    EveryOtherBit,
}

/// A NOR flash chip: erased to ones, written to zeros, word by word.
#[derive(Clone)]
pub struct Chip {
    pub bytes: Vec<u8>,
    /// Words and erases until the power fails; none when it has failed.
    pub left: Option<usize>,
    pub torn: Torn,
    pub cut_erases: usize,
}

#[derive(Debug)]
pub struct PowerFails;

impl NorFlashError for PowerFails {
    fn kind(&self) -> NorFlashErrorKind {
        NorFlashErrorKind::Other
    }
}

impl Chip {
    pub fn fresh() -> Self {
        Self {
            bytes: vec![0xFF; SIZE as usize],
            left: Some(usize::MAX),
            torn: Torn::Untouched,
            cut_erases: 0,
        }
    }

    /// Turns `change` into what happens to `place`; a part of it when the power fails.
    fn happen(&mut self, place: usize, change: &[u8]) -> Result<(), PowerFails> {
        let Some(left) = self.left else { return Err(PowerFails) };
        let fails = left == 0;
        self.left = left.checked_sub(1);
        self.cut_erases += usize::from(fails && change.len() == PAGE);
        let half = change.len() / 2;
        for (i, wanted) in change.iter().enumerate() {
            let byte = &mut self.bytes[place + i];
            let done: u8 = match (fails, self.torn) {
                (false, _) => 0xFF,
                (true, Torn::Untouched) => 0,
                (true, Torn::FirstHalf) => u8::from(i < half) * 0xFF,
                (true, Torn::SecondHalf) => u8::from(i >= half) * 0xFF,
                (true, Torn::EveryOtherBit) => 0x55,
            };
            *byte = (*byte & !done) | (wanted & done);
        }
        if fails { Err(PowerFails) } else { Ok(()) }
    }
}

impl ErrorType for Chip {
    type Error = PowerFails;
}

impl ReadNorFlash for Chip {
    const READ_SIZE: usize = 1;

    async fn read(&mut self, offset: u32, bytes: &mut [u8]) -> Result<(), PowerFails> {
        bytes.copy_from_slice(&self.bytes[offset as usize..][..bytes.len()]);
        Ok(())
    }

    fn capacity(&self) -> usize {
        self.bytes.len()
    }
}

impl NorFlash for Chip {
    const WRITE_SIZE: usize = 4;
    const ERASE_SIZE: usize = PAGE;

    async fn erase(&mut self, from: u32, to: u32) -> Result<(), PowerFails> {
        (from as usize..to as usize).step_by(PAGE).try_for_each(|page| self.happen(page, &[0xFF; PAGE]))
    }

    async fn write(&mut self, offset: u32, bytes: &[u8]) -> Result<(), PowerFails> {
        for (i, word) in bytes.chunks_exact(4).enumerate() {
            let place = offset as usize + 4 * i;
            let cleared: Vec<u8> = word.iter().zip(&self.bytes[place..]).map(|(a, b)| a & b).collect();
            self.happen(place, &cleared)?;
        }
        Ok(())
    }
}
