//! One hash over answers of any kind, to the bit.

use glidepath::{Glucose, Instant, Rate, Span};

/// FNV-1a (Fowler, Noll, Vo), and how many numbers were not finite.
#[derive(Clone, Copy, Debug)]
pub struct Hash {
    /// The hash so far.
    pub value: u32,
    /// Numbers that were not finite: there should be none.
    pub not_finite: u32,
}

impl Hash {
    /// Of nothing.
    pub const fn new() -> Self {
        Self { value: 0x811C_9DC5, not_finite: 0 }
    }

    /// Takes in one answer.
    pub fn put(&mut self, answer: impl Answer) {
        answer.put(self);
    }

    fn word(&mut self, word: u32) {
        for byte in word.to_le_bytes() {
            self.value = (self.value ^ u32::from(byte)).wrapping_mul(0x0100_0193);
        }
    }
}

impl Default for Hash {
    fn default() -> Self {
        Self::new()
    }
}

/// What can be taken in.
pub trait Answer {
    fn put(self, hash: &mut Hash);
}

impl Answer for u32 {
    fn put(self, hash: &mut Hash) {
        hash.word(self);
    }
}

impl Answer for f32 {
    fn put(self, hash: &mut Hash) {
        if !self.is_finite() {
            hash.not_finite = hash.not_finite.wrapping_add(1);
        }
        hash.word(self.to_bits());
    }
}

impl Answer for &str {
    fn put(self, hash: &mut Hash) {
        self.bytes().for_each(|byte| hash.put(byte));
    }
}

impl<T: Answer> Answer for Option<T> {
    fn put(self, hash: &mut Hash) {
        match self {
            Some(answer) => answer.put(hash),
            None => hash.word(u32::MAX),
        }
    }
}

impl<A: Answer, B: Answer> Answer for (A, B) {
    fn put(self, hash: &mut Hash) {
        self.0.put(hash);
        self.1.put(hash);
    }
}

impl<A: Answer, B: Answer, C: Answer> Answer for (A, B, C) {
    fn put(self, hash: &mut Hash) {
        self.0.put(hash);
        self.1.put(hash);
        self.2.put(hash);
    }
}

impl Answer for u8 {
    fn put(self, hash: &mut Hash) {
        hash.word(u32::from(self));
    }
}

impl Answer for u16 {
    fn put(self, hash: &mut Hash) {
        hash.word(u32::from(self));
    }
}

impl Answer for i16 {
    fn put(self, hash: &mut Hash) {
        hash.word(i32::from(self) as u32);
    }
}

impl Answer for i32 {
    fn put(self, hash: &mut Hash) {
        hash.word(self as u32);
    }
}

/// A count in memory: below 2³² on every machine.
impl Answer for usize {
    fn put(self, hash: &mut Hash) {
        hash.word(self as u32);
    }
}

impl Answer for bool {
    fn put(self, hash: &mut Hash) {
        hash.word(u32::from(self));
    }
}

impl Answer for char {
    fn put(self, hash: &mut Hash) {
        hash.word(u32::from(self));
    }
}

impl Answer for Glucose {
    fn put(self, hash: &mut Hash) {
        hash.put((self.mg_dl(), self.whole_mg_dl()));
        hash.put((self.mmol_l(), self.tenths_mmol_l()));
    }
}

impl Answer for Rate {
    fn put(self, hash: &mut Hash) {
        hash.put((self.mg_dl_per_min(), self.mmol_l_per_min(), self.tenths_mg_dl_per_min()));
    }
}

impl Answer for Instant {
    fn put(self, hash: &mut Hash) {
        hash.word(self.secs());
    }
}

impl Answer for Span {
    fn put(self, hash: &mut Hash) {
        hash.put((self.secs(), self.mins()));
    }
}

impl Answer for glidepath::Error {
    fn put(self, hash: &mut Hash) {
        hash.put((self.parameter(), self.kind() as u32));
    }
}

impl<T: Answer, E: Answer> Answer for Result<T, E> {
    fn put(self, hash: &mut Hash) {
        match self {
            Ok(answer) => answer.put(hash),
            Err(answer) => {
                hash.word(u32::MAX);
                answer.put(hash);
            }
        }
    }
}
