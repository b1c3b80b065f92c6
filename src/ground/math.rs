//! The only file that names a maths backend.
//!
//! `libm` on every target, so that a desk and a wrist agree bit for bit; square roots, rounded exactly by whatever takes them, are
//! ours where no instruction does. The `micromath` feature swaps `exp` and `ln` for faster and coarser ones (DEVELOPERS.md has the
//! measured error); square roots stay exact. Sine and cosine are absent: `libm` computes them in `f64`.

use core::cell::Cell;

/// Bounds of a number. One comparison each, where `f32::max` and `f32::min` take several to heed a bound that is no number; a
/// value that is none becomes the bound all the same.
pub(crate) trait Bounded {
    fn at_least(self, least: Self) -> Self;
    fn at_most(self, most: Self) -> Self;
    /// `most` where that lies under `least`.
    fn within(self, least: Self, most: Self) -> Self;
}

impl Bounded for f32 {
    fn at_least(self, least: Self) -> Self {
        at_least(self, least)
    }

    fn at_most(self, most: Self) -> Self {
        at_most(self, most)
    }

    fn within(self, least: Self, most: Self) -> Self {
        within(self, least, most)
    }
}

/// [`Bounded::at_least`] for constant functions.
#[cfg_attr(target_pointer_width = "32", inline(never))] // smaller as a call
pub(crate) const fn at_least(x: f32, least: f32) -> f32 {
    if x > least { x } else { least }
}

/// [`Bounded::at_most`] for constant functions.
#[cfg_attr(target_pointer_width = "32", inline(never))]
pub(crate) const fn at_most(x: f32, most: f32) -> f32 {
    if x < most { x } else { most }
}

/// [`Bounded::within`] for constant functions.
#[cfg_attr(target_pointer_width = "32", inline(never))]
pub(crate) const fn within(x: f32, least: f32, most: f32) -> f32 {
    at_most(at_least(x, least), most)
}

/// Square root; 0 for anything not above 0.
#[cfg_attr(target_pointer_width = "32", inline(never))]
pub(crate) fn sqrt(x: f32) -> f32 {
    if x > 0.0 { root(x) } else { 0.0 }
}

#[cfg(not(any(target_arch = "arm", target_arch = "riscv32")))]
use libm::sqrtf as root;
#[cfg(any(target_arch = "arm", target_arch = "riscv32"))]
use root_by_bits as root;

/// The square root of a number above 0, rounded to the nearest as that of `libm` is, in a fifth of its flash: one bit of the
/// result after another.
#[cfg(any(target_arch = "arm", target_arch = "riscv32", test))]
const fn root_by_bits(x: f32) -> f32 {
    const ONE: u32 = 1 << 23;
    let bits = x.to_bits();
    if bits == f32::INFINITY.to_bits() {
        return x;
    }
    let (mut exponent, mut rest) = ((bits >> 23).cast_signed(), bits & (ONE - 1));
    rest = if exponent == 0 { rest << 1 } else { rest | ONE };
    while rest < ONE {
        (exponent, rest) = (exponent.wrapping_sub(1), rest << 1);
    }
    // half of an odd exponent leaves a factor of two
    rest <<= 2 - (exponent & 1);
    let (mut root, mut bit) = (0_u32, ONE << 1);
    while bit > 0 {
        if let Some(less) = rest.checked_sub((root << 1) | bit) {
            (rest, root) = (less, root | bit);
        }
        (rest, bit) = (rest << 1, bit >> 1);
    }
    // the last bit is one more than fits; no root ends with it, so it decides
    let half = (exponent.wrapping_add(1) >> 1).wrapping_add(62).cast_unsigned();
    f32::from_bits((root.wrapping_add(1) >> 1).wrapping_add(half << 23))
}

/// How often `by`, 1 to 2³¹, goes into `x`, and what is left. By the processor, but on those of Arm that have no division: these
/// are the ones without atomic exchange.
#[expect(clippy::integer_division, clippy::arithmetic_side_effects, reason = "not 0")]
pub(crate) const fn divided(x: u32, by: u32) -> (u32, u32) {
    if cfg!(all(target_arch = "arm", not(target_has_atomic = "32"))) {
        divided_by_bits(x, by)
    } else {
        (x / by, x % by)
    }
}

/// The same bit by bit, in a tenth of the flash of the usual routine.
#[inline(never)]
const fn divided_by_bits(x: u32, by: u32) -> (u32, u32) {
    let (mut quotient, mut rest, mut left) = (x, 0_u32, 32_u32);
    while left > 0 {
        // bits of `x` leave at the top, those of the quotient come in at the bottom
        (rest, quotient) = ((rest << 1) | (quotient >> 31), quotient << 1);
        if let Some(less) = rest.checked_sub(by) {
            (rest, quotient) = (less, quotient | 1);
        }
        left = left.saturating_sub(1);
    }
    (quotient, rest)
}

/// Natural exponential.
pub(crate) fn exp(x: f32) -> f32 {
    #[cfg(feature = "micromath")]
    {
        use micromath::F32Ext;
        // micromath wraps round outside the exponent range of f32
        if x < -87.0 {
            0.0
        } else if x > 88.0 {
            f32::MAX
        } else {
            F32Ext::exp(x)
        }
    }
    #[cfg(not(feature = "micromath"))]
    libm::expf(x)
}

/// `1 − e^(−x)` without cancellation for small `x`: a series there, to 2e-6 of its value. A function of its own for
/// all of it would cost 800 bytes of flash.
pub(crate) fn one_minus_exp_neg(x: f32) -> f32 {
    if x.abs() < 0.05 { x * (1.0 - x * (0.5 - x * (1.0 / 6.0 - x / 24.0))) } else { 1.0 - exp(-x) }
}

/// Natural logarithm of a positive number; 0 or less gives the logarithm of the smallest normal number.
pub(crate) fn ln(x: f32) -> f32 {
    let x = x.at_least(f32::MIN_POSITIVE);
    #[cfg(feature = "micromath")]
    {
        use micromath::F32Ext;
        // micromath errs by up to 0.12 under 1
        if x < 1.0 { -F32Ext::ln(1.0 / x) } else { F32Ext::ln(x) }
    }
    #[cfg(not(feature = "micromath"))]
    libm::logf(x)
}

/// Natural exponential, from `libm` whatever the backend: for statistics that look back, where a coarse one
/// would move the verdict.
pub(crate) fn exp_fine(x: f32) -> f32 {
    libm::expf(x)
}

/// What is left after so long of what is remembered for `memory`, in the same unit.
pub(crate) fn left(time: f32, memory: f32) -> f32 {
    1.0 - one_minus_exp_neg(time / memory)
}

/// [`one_minus_exp_neg`] from `libm` whatever the backend: invented people are the same with every feature.
pub(crate) fn one_minus_exp_neg_fine(x: f32) -> f32 {
    -libm::expm1f(-x)
}

/// Natural logarithm, from `libm` whatever the backend; see [`exp_fine`].
pub(crate) fn ln_fine(x: f32) -> f32 {
    libm::logf(x.at_least(f32::MIN_POSITIVE))
}

/// `ln(1 + x)` without cancellation for small `x`, as [`ln_fine`] where that is 0 or less; see [`exp_fine`].
pub(crate) fn ln_1p_fine(x: f32) -> f32 {
    if x > -1.0 { libm::log1pf(x) } else { ln_fine(0.0) }
}

/// The largest whole number at or under `x`, exact on every backend.
pub(crate) fn floor(x: f32) -> f32 {
    libm::floorf(x)
}

/// Nearest whole number, halves away from zero, exact on every backend.
pub(crate) fn round(x: f32) -> f32 {
    libm::roundf(x)
}

/// Sorts into total order, without the panic that the standard sorts keep for an order that is none.
///
/// Comb sort: a bubble sort over shrinking gaps. Source: Dobosiewicz (1980), Inf. Process. Lett. 11(1):5-6.
pub(crate) fn sort(values: &mut [f32]) {
    let cells = Cell::from_mut(values).as_slice_of_cells();
    let mut gap = cells.len();
    loop {
        gap = gap.saturating_sub((gap >> 2).max(1)).max(1);
        let mut swapped = false;
        for (low, high) in cells.iter().zip(cells.iter().skip(gap)) {
            let (x, y) = (low.get(), high.get());
            if x.total_cmp(&y).is_gt() {
                low.set(y);
                high.set(x);
                swapped = true;
            }
        }
        if gap == 1 && !swapped {
            break;
        }
    }
}

/// The standard normal distribution function Φ(z).
///
/// Source: Abramowitz and Stegun (1964), formula 7.1.26, absolute error below 7.5e−8 in exact arithmetic;
/// in `f32` below 3e−7.
pub(crate) fn normal_cdf(z: f32) -> f32 {
    let x = z.abs() * core::f32::consts::FRAC_1_SQRT_2;
    let t = 1.0 / (1.0 + 0.327_591_1 * x);
    let poly =
        t * (0.254_829_6 + t * (-0.284_496_74 + t * (1.421_413_7 + t * (-1.453_152_1 + t * 1.061_405_4))));
    let upper = 0.5 * poly * exp(-x * x);
    if z >= 0.0 { 1.0 - upper } else { upper }
}

/// The logistic function `1 / (1 + e^(−x))`, in 0..=1 for every input.
pub(crate) fn logistic(x: f32) -> f32 {
    1.0 / (1.0 + exp(-x.clamp(-80.0, 80.0)))
}

#[cfg(test)]
mod tests {
    extern crate std;
    use super::*;
    use proptest::prelude::*;

    #[cfg(not(feature = "micromath"))]
    const TOLERANCE: f32 = 3e-7;
    #[cfg(feature = "micromath")]
    const TOLERANCE: f32 = 4e-3;

    fn close(got: f32, want: f32) {
        assert!((got - want).abs() <= TOLERANCE, "{got} against {want}");
    }

    #[test]
    fn what_is_no_number_becomes_the_bound() {
        let nan = f32::NAN;
        assert_eq!((nan.at_least(2.0), nan.at_most(3.0), nan.within(2.0, 3.0)), (2.0, 3.0, 2.0));
        assert_eq!(5.0_f32.within(4.0, 3.0), 3.0, "the upper bound wins");
    }

    proptest! {
        #[test]
        fn bounds_are_those_of_the_standard_library(x: f32, a in -1e6f32..1e6, width in 0f32..1e6) {
            prop_assert_eq!(x.at_least(a), x.max(a));
            prop_assert_eq!(x.at_most(a), x.min(a));
            prop_assert_eq!(x.within(a, a + width), x.max(a).min(a + width));
        }
    }

    #[test]
    fn normal_distribution_matches_published_table() {
        // Abramowitz and Stegun, table 26.1
        close(normal_cdf(0.0), 0.5);
        close(normal_cdf(1.0), 0.841_344_75);
        close(normal_cdf(-1.96), 0.024_997_9);
        close(normal_cdf(3.0), 0.998_650_1);
    }

    #[test]
    fn small_spans_keep_their_digits() {
        let x = 1.0 / 2100.0;
        assert!((one_minus_exp_neg(x) / (x - x * x / 2.0) - 1.0).abs() < 1e-6);
        close(one_minus_exp_neg(0.7), 0.503_414_7);
        assert!((ln_1p_fine(x) / (x - x * x / 2.0) - 1.0).abs() < 1e-6);
        close(ln_1p_fine(0.7), 0.530_628_25);
    }

    /// Both parities of the exponent, subnormal numbers and the ends; `libm` rounds exactly.
    #[test]
    fn roots_by_bits_are_those_of_libm() {
        let step = if cfg!(miri) { 99_991 } else { 97 };
        let significands = (0_u32..1 << 24).step_by(step).map(|low| (126 << 23) + low);
        let subnormal = (1..1 << 23).step_by(step).chain((0..23).map(|bit| 1 << bit));
        let ends = [f32::MIN_POSITIVE, f32::MAX, f32::INFINITY, 4.0, 1.0].map(f32::to_bits);
        for bits in significands.chain(subnormal).chain(ends) {
            let x = f32::from_bits(bits);
            assert_eq!(root_by_bits(x).to_bits(), libm::sqrtf(x).to_bits(), "{x}");
        }
    }

    proptest! {
        /// By divisors of up to 31 bits, as all of ours are.
        #[test]
        fn divisions_by_bits_are_those_of_the_processor(x: u32, by in 1..=1_u32 << 31, shift in 0..32_u32) {
            let by = (by >> shift).max(1);
            prop_assert_eq!(divided_by_bits(x, by), (x / by, x % by));
            prop_assert_eq!(divided(x, by), (x / by, x % by));
        }
    }

    #[test]
    fn every_function_is_total() {
        for x in [f32::MIN, -1.0, 0.0, 1e-30, 1.0, f32::MAX] {
            assert!(sqrt(x) >= 0.0);
            assert!(ln(x).is_finite());
            assert!(ln_1p_fine(x).is_finite());
            assert!((0.0..=1.0).contains(&logistic(x)));
            assert!((0.0..=1.0).contains(&normal_cdf(x)));
        }
        assert_eq!(floor(-1.5), -2.0);
        assert_eq!(round(2.5), 3.0);
    }

    /// The worst error of the coarse functions against `libm`, over the arguments that the stages give them, is
    /// what DEVELOPERS.md publishes: no more, and not much less.
    #[cfg(feature = "micromath")]
    #[test]
    fn coarse_functions_err_as_published() {
        type Error = fn(f32) -> f32;
        let published: [(&str, f32, f32, f32, Error); 6] = [
            ("exp, relative", -80.0, 80.0, 2.4e-3, |x| exp(x) / libm::expf(x) - 1.0),
            ("1 - exp(-x)", 0.0, 20.0, 1.2e-3, |x| one_minus_exp_neg(x) + libm::expm1f(-x)),
            ("ln", 1e-3, 1.0, 6.2e-5, |x| ln(x) - libm::logf(x)),
            ("ln", 1.0, 2000.0, 6.2e-5, |x| ln(x) - libm::logf(x)),
            ("logistic", -80.0, 80.0, 5.2e-4, |x| logistic(x) - 1.0 / (1.0 + libm::expf(-x))),
            ("normal", -6.0, 6.0, 2.9e-4, |x| normal_cdf(x) - libm::erfcf(-x * 0.707_106_77) / 2.0),
        ];
        let steps: u16 = if cfg!(miri) { 50 } else { 20_000 };
        for (name, from, to, most, error) in published {
            let at = |i: u16| from + (to - from) * (f32::from(i) / f32::from(steps));
            let worst = (0..=steps).map(|i| error(at(i)).abs()).fold(0.0, f32::max);
            assert!(worst <= most && (cfg!(miri) || worst > 0.9 * most), "{name}: {worst}, published {most}");
        }
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(if cfg!(miri) { 4 } else { 128 }))]
        #[test]
        fn sorting_is_as_the_standard_one(bits in prop::collection::vec(any::<u32>(), 0..200)) {
            let mut ours: std::vec::Vec<f32> = bits.into_iter().map(f32::from_bits).collect();
            let mut standard = ours.clone();
            sort(&mut ours);
            standard.sort_by(f32::total_cmp);
            let bits = |values: &[f32]| values.iter().map(|x| x.to_bits()).collect::<std::vec::Vec<_>>();
            prop_assert_eq!(bits(&ours), bits(&standard));
        }
    }
}
