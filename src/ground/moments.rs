//! Running count, mean and spread that stay accurate over weeks of readings in `f32`.

use crate::math;
use crate::math::Bounded as _;

/// A sum that carries its own rounding error.
///
/// Source: Neumaier (1974), Z. angew. Math. Mech. 54:39–51.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(crate) struct Sum {
    high: f32,
    low: f32,
}

impl Sum {
    pub(crate) const fn new() -> Self {
        Self { high: 0.0, low: 0.0 }
    }

    pub(crate) fn add(&mut self, x: f32) {
        let total = self.high + x;
        self.low +=
            if self.high.abs() >= x.abs() { (self.high - total) + x } else { (x - total) + self.high };
        self.high = total;
    }

    pub(crate) fn total(&self) -> f32 {
        self.high + self.low
    }
}

/// Count, mean and sum of squared deviations. 20 bytes.
///
/// Source: Welford (1962), Technometrics 4:419–420; merging: Chan, Golub and LeVeque (1983),
/// Am. Stat. 37:242–247. Both with compensated sums.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(crate) struct Moments {
    count: u32,
    mean: Sum,
    squares: Sum,
}

impl Moments {
    pub(crate) fn push(&mut self, x: f32) {
        let Some(count) = self.count.checked_add(1) else { return };
        self.count = count;
        let before = x - self.mean.total();
        self.mean.add(before / count as f32);
        self.squares.add(before * (x - self.mean.total()));
    }

    /// As if everything `other` saw had been pushed here; nothing when the counts together overflow.
    pub(crate) fn merge(&mut self, other: &Self) {
        let Some(count) = self.count.checked_add(other.count) else { return };
        if other.count == 0 {
            return;
        }
        let apart = other.mean.total() - self.mean.total();
        let share = other.count as f32 / count as f32;
        self.mean.add(apart * share);
        self.squares.add(other.squares.total());
        self.squares.add(apart * apart * share * self.count as f32);
        self.count = count;
    }

    pub(crate) fn count(&self) -> u32 {
        self.count
    }

    pub(crate) fn mean(&self) -> Option<f32> {
        (self.count > 0).then(|| self.mean.total())
    }

    /// Sample variance, divisor n − 1.
    pub(crate) fn variance(&self) -> Option<f32> {
        (self.count > 1).then(|| (self.squares.total() / self.count.saturating_sub(1) as f32).at_least(0.0))
    }

    /// Sample standard deviation, divisor n − 1.
    pub(crate) fn sd(&self) -> Option<f32> {
        self.variance().map(math::sqrt)
    }

    /// Mean of the squares about zero.
    pub(crate) fn mean_square(&self) -> Option<f32> {
        let mean = self.mean()?;
        Some(mean * mean + (self.squares.total() / self.count as f32).at_least(0.0))
    }
}

#[cfg(test)]
mod tests {
    extern crate std;
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn a_hundred_thousand_values_keep_their_digits() {
        // whole numbers with a known mean and variance: 100 and 110 by turns
        let mut moments = Moments::default();
        let (mut sum, steps) = (Sum::default(), if cfg!(miri) { 1_000_u32 } else { 100_000 });
        for i in 0..steps {
            let x = if i % 2 == 0 { 100.0 } else { 110.0 };
            moments.push(x);
            sum.add(x + 0.1);
        }
        let n = f64::from(steps);
        assert!((moments.mean().unwrap() - 105.0).abs() < 1e-4);
        assert!((f64::from(moments.variance().unwrap()) - 25.0 * n / (n - 1.0)).abs() < 1e-4);
        assert!((f64::from(sum.total()) / (n * 105.1) - 1.0).abs() < 1e-6);
    }

    #[test]
    fn nothing_gives_nothing_and_one_has_no_spread() {
        let mut moments = Moments::default();
        assert_eq!((moments.mean(), moments.sd(), moments.mean_square()), (None, None, None));
        moments.push(3.0);
        assert_eq!((moments.mean(), moments.sd(), moments.mean_square()), (Some(3.0), None, Some(9.0)));
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(if cfg!(miri) { 4 } else { 128 }))]
        #[test]
        fn parts_merge_to_the_whole(values in prop::collection::vec(-500.0_f32..500.0, 0..200), cut in 0_usize..200) {
            let cut = cut.min(values.len());
            let (mut whole, mut left, mut right) = (Moments::default(), Moments::default(), Moments::default());
            for (i, v) in values.iter().enumerate() {
                whole.push(*v);
                if i < cut { left.push(*v) } else { right.push(*v) }
            }
            left.merge(&right);
            prop_assert_eq!(left.count(), whole.count());
            if let (Some(a), Some(b)) = (left.mean(), whole.mean()) {
                prop_assert!((a - b).abs() < 1e-3, "{} {}", a, b);
            }
            if let (Some(a), Some(b)) = (left.sd(), whole.sd()) {
                prop_assert!((a - b).abs() < 1e-2, "{} {}", a, b);
            }
        }
    }
}
