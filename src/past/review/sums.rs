//! Mean and standard deviation from whole-number sums.

use crate::codec::{Codec, Coded};
use crate::math;

/// Count, sum and sum of squares of values in hundredths of a mg/dL. Whole numbers, so that the order of adding does
/// not matter.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(super) struct Sums {
    pub(super) n: u32,
    pub(super) sum: i64,
    square: u64,
}

impl Sums {
    pub(super) fn push(&mut self, hundredths: i32) {
        self.n = self.n.saturating_add(1);
        self.sum = self.sum.saturating_add(i64::from(hundredths));
        let magnitude = u64::from(hundredths.unsigned_abs());
        self.square = self.square.saturating_add(magnitude.saturating_mul(magnitude));
    }

    /// Undoes one [`Sums::push`].
    pub(super) fn remove(&mut self, hundredths: i32) {
        self.n = self.n.saturating_sub(1);
        self.sum = self.sum.saturating_sub(i64::from(hundredths));
        let magnitude = u64::from(hundredths.unsigned_abs());
        self.square = self.square.saturating_sub(magnitude.saturating_mul(magnitude));
    }

    pub(super) fn add(&mut self, other: &Self) {
        self.n = self.n.saturating_add(other.n);
        self.sum = self.sum.saturating_add(other.sum);
        self.square = self.square.saturating_add(other.square);
    }

    /// The mean in mg/dL.
    pub(super) fn mean(&self) -> Option<f32> {
        (self.n > 0).then(|| self.sum as f32 / self.n as f32 / 100.0)
    }

    /// The standard deviation with divisor n − 1, mg/dL.
    ///
    /// The squares are first moved to the whole number nearest below the mean in exact arithmetic (it may wrap on the
    /// way, the result fits), so that nothing cancels in `f32`.
    pub(super) fn sd(&self) -> Option<f32> {
        let below = self.n.checked_sub(1).filter(|&less| less > 0)?;
        let n = i64::from(self.n);
        let centre = self.sum.checked_div_euclid(n)?;
        let rest = self.sum.wrapping_sub(centre.wrapping_mul(n));
        let moved = self.square.wrapping_sub(
            centre
                .wrapping_mul(self.sum.wrapping_mul(2).wrapping_sub(n.wrapping_mul(centre)))
                .cast_unsigned(),
        );
        let rest = rest as f32;
        let variance = (moved as f32 - rest * rest / self.n as f32) / below as f32;
        Some(math::sqrt(variance) / 100.0)
    }
}

impl Coded for Sums {
    fn code(&mut self, codec: &mut Codec<'_>) {
        let Self { n, sum, square } = self;
        codec.word(n);
        let mut bits = sum.cast_unsigned();
        codec.long(&mut bits);
        if codec.loads() {
            *sum = bits.cast_signed();
        }
        codec.long(square);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn four_values_by_hand() {
        // 100 140 180 140: mean 140, squares about it 3200, over 3
        let mut sums = Sums::default();
        assert_eq!((sums.mean(), sums.sd()), (None, None));
        for value in [10_000, 14_000, 18_000] {
            sums.push(value);
        }
        sums.push(999);
        sums.remove(999);
        sums.push(14_000);
        assert_eq!(sums.mean(), Some(140.0));
        assert!((sums.sd().unwrap() - 32.659_863).abs() < 1e-5);
    }

    #[test]
    #[cfg_attr(miri, ignore = "too slow")]
    fn a_small_spread_on_a_high_level_keeps_its_digits() {
        let mut sums = Sums::default();
        for i in 0..2_000_000 {
            sums.push(40_000 + (i & 1));
        }
        assert!((sums.sd().unwrap() / 0.005 - 1.0).abs() < 1e-6);
    }

    #[test]
    fn one_value_has_no_spread() {
        let mut sums = Sums::default();
        sums.push(10_000);
        assert_eq!((sums.mean(), sums.sd()), (Some(100.0), None));
    }
}
