//! Numbers with so many digits after the point, as `format!("{:.2}")` writes them, in a fraction of its time: what a table
//! of a year is written with.

/// The most digits after the point that are written the short way.
const MOST: usize = 4;
const POWERS: [u64; MOST + 1] = [1, 10, 100, 1000, 10_000];
/// A sign, eight digits, the point and [`MOST`] digits.
const ROOM: usize = 16;

/// A number as text.
pub struct Fixed {
    bytes: [u8; ROOM],
    begin: usize,
}

impl Fixed {
    /// `value` to `digits` after the point: exactly half of the last digit goes to the even one, as in the standard library.
    /// `None` where the short way does not lead: numbers of 2^23 and more, none at all, or more digits.
    pub fn of(value: f32, digits: usize) -> Option<Self> {
        let power = *POWERS.get(digits)?;
        let bits = value.to_bits();
        let exponent = (bits >> 23) & 0xff;
        // value = mantissa / 2^shift
        let mantissa = u64::from(bits & 0x7f_ffff) | if exponent == 0 { 0 } else { 1 << 23 };
        let shift = 150_u32.checked_sub(exponent.max(1)).filter(|shift| *shift > 0)?;
        let scaled = mantissa * power;
        let mut whole = scaled.checked_shr(shift).unwrap_or(0);
        // under 2^38 / 2^40 nothing is left, and no half either
        if shift < 40 {
            let (rest, half) = (scaled & ((1 << shift) - 1), 1 << (shift - 1));
            whole += u64::from(rest > half || rest == half && whole % 2 == 1);
        }
        Some(Self::written(value.is_sign_negative(), whole, digits))
    }

    fn written(negative: bool, mut whole: u64, digits: usize) -> Self {
        let mut fixed = Self { bytes: [0; ROOM], begin: ROOM };
        for place in 0.. {
            if place == digits && digits > 0 {
                fixed.push(b'.');
            }
            if place > digits && whole == 0 {
                break;
            }
            fixed.push(b'0' + (whole % 10) as u8);
            whole /= 10;
        }
        if negative {
            fixed.push(b'-');
        }
        fixed
    }

    fn push(&mut self, byte: u8) {
        self.begin -= 1;
        self.bytes[self.begin] = byte;
    }

    /// As it is written.
    pub fn as_str(&self) -> &str {
        std::str::from_utf8(&self.bytes[self.begin..]).unwrap_or_default()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn same(value: f32) {
        for digits in 0..=MOST {
            let (short, long) = (Fixed::of(value, digits), format!("{value:.digits$}"));
            match short {
                Some(short) => assert_eq!(short.as_str(), long, "{value} to {digits}"),
                None => assert!(!value.is_finite() || value.abs() >= 8_388_608.0, "{value}"),
            }
        }
    }

    #[test]
    fn it_is_written_as_the_standard_library_writes_it() {
        for value in
            [0.0, 0.5, 1.5, 2.5, 0.25, 0.35, 0.125, 0.375, 0.000_05, 0.99995, 9.995, 99.95, 8_388_607.5]
        {
            same(value);
            same(-value);
        }
        for value in [f32::MIN_POSITIVE, 1e-45, 1e-10, 8_388_608.0, f32::MAX, f32::INFINITY, f32::NAN] {
            same(value);
        }
        // each 40,009th of all numbers, and hundredths as tables have them
        (0..=u32::MAX).step_by(40_009).map(f32::from_bits).for_each(same);
        (0..=40_000).map(|n| n as f32 / 100.0).for_each(same);
        assert!(Fixed::of(1.0, MOST + 1).is_none());
    }
}
