//! SFLOAT: the 16-bit decimal number of medical devices.

use crate::math;

/// What an [`Sfloat`] stands for.
///
/// Feature `defmt` gives `Format`.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum SfloatValue {
    /// An ordinary number.
    Number(f32),
    /// NaN: no valid result.
    NotANumber,
    /// NRes: there is a result, but not at this resolution.
    NotAtThisResolution,
    /// Above what the device can express.
    PositiveInfinity,
    /// Below what the device can express.
    NegativeInfinity,
    /// Reserved for future use.
    Reserved,
}

/// A 12-bit signed mantissa times ten to the power of a 4-bit signed exponent, with five special values.
///
/// Features: `serde` gives `Serialize` and `Deserialize`, `defmt` gives `Format`.
///
/// # Source
/// IEEE 11073-20601, SFLOAT-Type; Bluetooth SIG GATT Specification Supplement, "medfloat16". The special
/// values are the five mantissas 0x7FE to 0x802 with exponent 0. From memory.
///
/// # Examples
/// ```
/// use glidepath::gatt::{Sfloat, SfloatValue};
/// assert_eq!(Sfloat::from_bits(0xF038).value(), SfloatValue::Number(5.6)); // 56 × 10⁻¹
/// assert_eq!(Sfloat::from_bits(0x07FF).value(), SfloatValue::NotANumber);
/// assert_eq!(Sfloat::nearest(104.0).bits(), 0x0068);
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Sfloat(u16);

const EXPONENTS: core::ops::RangeInclusive<i8> = -8..=7;

impl Sfloat {
    /// No valid result.
    pub const NAN: Self = Self(0x07FF);
    /// Not at this resolution.
    pub const NRES: Self = Self(0x0800);
    /// Above what can be expressed.
    pub const POSITIVE_INFINITY: Self = Self(0x07FE);
    /// Below what can be expressed.
    pub const NEGATIVE_INFINITY: Self = Self(0x0802);
    const RESERVED: Self = Self(0x0801);

    /// From its 16 bits; every pattern means something.
    #[must_use]
    pub const fn from_bits(bits: u16) -> Self {
        Self(bits)
    }

    /// Its 16 bits.
    #[must_use]
    pub const fn bits(self) -> u16 {
        self.0
    }

    /// What it stands for. A number is the `f32` nearest to the decimal value.
    #[must_use]
    pub fn value(self) -> SfloatValue {
        match self {
            Self::NAN => SfloatValue::NotANumber,
            Self::NRES => SfloatValue::NotAtThisResolution,
            Self::POSITIVE_INFINITY => SfloatValue::PositiveInfinity,
            Self::NEGATIVE_INFINITY => SfloatValue::NegativeInfinity,
            Self::RESERVED => SfloatValue::Reserved,
            Self(bits) => {
                // arithmetic shifts carry the signs
                let mantissa = (bits << 4).cast_signed() >> 4;
                let exponent = bits.cast_signed() >> 12;
                SfloatValue::Number(scaled(f32::from(mantissa), exponent))
            }
        }
    }

    /// The number, if it is one.
    #[must_use]
    pub fn number(self) -> Option<f32> {
        match self.value() {
            SfloatValue::Number(number) => Some(number),
            _ => None,
        }
    }

    /// The nearest expressible to `number`, at the finest exponent that holds it, trailing zeros dropped.
    ///
    /// Numbers beyond ±2.047e10 become infinities, not a number becomes [`Sfloat::NAN`]. At 2046, 2047,
    /// −2046, −2047 and −2048 the special values are in the way, and the nearest ten is taken.
    #[must_use]
    pub fn nearest(number: f32) -> Self {
        if number.is_nan() {
            return Self::NAN;
        }
        for exponent in EXPONENTS {
            let mantissa = math::round(scaled(number, i16::from(exponent).wrapping_neg()));
            let special = exponent == 0 && mantissa.abs() > 2045.0;
            if (-2048.0..=2047.0).contains(&mantissa) && !special {
                return Self::from_parts(mantissa, exponent);
            }
        }
        if number > 0.0 { Self::POSITIVE_INFINITY } else { Self::NEGATIVE_INFINITY }
    }

    #[expect(
        clippy::cast_possible_truncation,
        clippy::arithmetic_side_effects,
        reason = "12 bits and 4 bits, divided by ten"
    )]
    fn from_parts(mantissa: f32, exponent: i8) -> Self {
        let (mut mantissa, mut exponent) = (mantissa as i16, i16::from(exponent));
        if mantissa == 0 {
            return Self(0);
        }
        while exponent < 0 && mantissa % 10 == 0 {
            mantissa /= 10;
            exponent += 1;
        }
        Self((exponent << 12).cast_unsigned() | (mantissa.cast_unsigned() & 0x0FFF))
    }
}

/// `number × 10^exponent`, rounded once: powers of ten up to 10^8 are exact in `f32`.
fn scaled(number: f32, exponent: i16) -> f32 {
    let mut power = 1.0_f32;
    for _ in 0..exponent.unsigned_abs() {
        power *= 10.0;
    }
    if exponent < 0 { number / power } else { number * power }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn numbers_worked_by_hand() {
        // exponent nibble, then twelve bits of mantissa
        for (bits, number) in [
            (0x0000, 0.0),
            (0x0068, 104.0),
            (0xF038, 5.6),
            (0xE038, 0.56),
            (0x0FFF, -1.0),
            (0xFFEC, -2.0), // −20 × 10⁻¹
            (0x1005, 50.0),
            (0x07FD, 2045.0),
            (0x0803, -2045.0),
            (0x8001, 1e-8),
            (0x7001, 1e7),
            (0xF7FF, 204.7), // a mantissa that is special only with exponent 0
        ] {
            assert_eq!(Sfloat::from_bits(bits).value(), SfloatValue::Number(number), "{bits:#06x}");
        }
    }

    #[test]
    fn encoded_without_trailing_zeros_after_the_point() {
        for (number, bits) in [
            (0.0, 0x0000),
            (100.0, 0x0064),
            (110.0, 0x006E),
            (5.6, 0xF038),
            (-2.0, 0x0FFE),
            (0.05, 0xE005),
            (2045.0, 0x07FD),
            (2050.0, 0x10CD),
            (1e10, 0x73E8),
        ] {
            assert_eq!(Sfloat::nearest(number).bits(), bits, "{number}");
        }
    }

    #[test]
    fn special_values() {
        for (bits, value) in [
            (0x07FE, SfloatValue::PositiveInfinity),
            (0x07FF, SfloatValue::NotANumber),
            (0x0800, SfloatValue::NotAtThisResolution),
            (0x0801, SfloatValue::Reserved),
            (0x0802, SfloatValue::NegativeInfinity),
        ] {
            assert_eq!(Sfloat::from_bits(bits).value(), value);
            assert_eq!(Sfloat::from_bits(bits).number(), None);
        }
        assert_eq!(Sfloat::nearest(f32::NAN), Sfloat::NAN);
        assert_eq!(Sfloat::nearest(f32::INFINITY), Sfloat::POSITIVE_INFINITY);
        assert_eq!(Sfloat::nearest(-1e30), Sfloat::NEGATIVE_INFINITY);
    }

    #[test]
    #[cfg_attr(miri, ignore = "too slow")]
    fn never_encodes_a_number_as_a_special_value() {
        for whole in -2100_i16..=2100 {
            let number = Sfloat::nearest(f32::from(whole)).number().unwrap();
            assert!((number - f32::from(whole)).abs() <= 5.0, "{whole}");
            if whole.abs() <= 2045 {
                assert_eq!(number, f32::from(whole));
            }
        }
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(if cfg!(miri) { 8 } else { 1024 }))]
        #[test]
        fn every_pattern_comes_back_with_its_value(bits in any::<u16>()) {
            let given = Sfloat::from_bits(bits);
            if let SfloatValue::Number(number) = given.value() {
                prop_assert_eq!(Sfloat::nearest(number).number(), Some(number));
            }
        }

        #[test]
        fn the_error_is_half_a_mantissa_step(number in -2000.0_f32..2000.0) {
            let got = Sfloat::nearest(number).number().unwrap();
            prop_assert!((got - number).abs() <= (number.abs() / 204.0 * 0.5).max(1e-8), "{got} for {number}");
        }
    }
}
