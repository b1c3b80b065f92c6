//! How much glucose moves from reading to reading.

use crate::codec::{Codec, Coded};
use crate::math;

/// Sums over pairs of neighbouring readings with no gap between them.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(super) struct Path {
    /// Length of the drawn curve in minutes and mg/dL, times 2¹⁶.
    length: u64,
    seconds: u64,
    /// Sum of |difference|, hundredths of a mg/dL.
    moved: u64,
}

impl Path {
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "a length under 10,000 times 2^16"
    )]
    pub(super) fn push(&mut self, seconds: u32, hundredths: u32) {
        let (minutes, mg_dl) = (seconds as f32 / 60.0, hundredths as f32 / 100.0);
        let length = math::sqrt(minutes * minutes + mg_dl * mg_dl);
        self.length = self.length.saturating_add(math::round(length * 65_536.0) as u64);
        self.seconds = self.seconds.saturating_add(u64::from(seconds));
        self.moved = self.moved.saturating_add(u64::from(hundredths));
    }

    pub(super) fn add(&mut self, other: &Self) {
        self.length = self.length.saturating_add(other.length);
        self.seconds = self.seconds.saturating_add(other.seconds);
        self.moved = self.moved.saturating_add(other.moved);
    }

    /// Glycaemic variability percentage: how much longer the curve is than a flat one, percent.
    pub(super) fn gvp(&self) -> Option<f32> {
        let flat = self.seconds.saturating_mul(65_536);
        let excess = self.length.saturating_mul(60).saturating_sub(flat);
        (flat > 0).then(|| 100.0 * excess as f32 / flat as f32)
    }

    /// Mean absolute change, mg/dL per hour.
    pub(super) fn mag(&self) -> Option<f32> {
        (self.seconds > 0).then(|| self.moved as f32 * 36.0 / self.seconds as f32)
    }
}

impl Coded for Path {
    fn code(&mut self, codec: &mut Codec<'_>) {
        let Self { length, seconds, moved } = self;
        [length, seconds, moved].into_iter().for_each(|sum| sum.code(codec));
    }
}
