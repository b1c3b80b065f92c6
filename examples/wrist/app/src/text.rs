//! Text into fixed buffers, without the formatting machinery.

use heapless::String;

/// Appends what fits.
pub fn push<const N: usize>(text: &mut String<N>, part: &str) {
    for letter in part.chars() {
        let _ = text.push(letter);
    }
}

/// Appends a whole number.
pub fn push_number<const N: usize>(text: &mut String<N>, number: u32) {
    let mut digits = [b'0'; 10];
    let (mut rest, mut first) = (number, digits.len());
    loop {
        first = first.saturating_sub(1);
        if let Some(digit) = digits.get_mut(first) {
            *digit = b'0' + (rest % 10) as u8;
        }
        rest /= 10;
        if rest == 0 || first == 0 {
            break;
        }
    }
    for digit in digits.iter().skip(first) {
        let _ = text.push(char::from(*digit));
    }
}

/// Appends a number as eight hexadecimal digits.
pub fn push_hex<const N: usize>(text: &mut String<N>, number: u32) {
    for digit in (0..8).rev().map(|place| number >> (4 * place) & 15) {
        let _ = text.push(char::from_digit(digit, 16).unwrap_or('0').to_ascii_uppercase());
    }
}

/// Appends a value in whole numbers or with a tenth.
pub fn push_value<const N: usize>(text: &mut String<N>, (whole, tenth): (u16, Option<u16>)) {
    push_number(text, whole.into());
    if let Some(tenth) = tenth {
        push(text, ".");
        push_number(text, tenth.into());
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_and_room() {
        let mut text = String::<12>::new();
        push_number(&mut text, 0);
        push(&mut text, " ");
        push_number(&mut text, u32::MAX);
        assert_eq!(text, "0 4294967295");
        push_number(&mut text, 7);
        assert_eq!(text, "0 4294967295");
        let mut text = String::<8>::new();
        push_hex(&mut text, 0x0A1B_2C3F);
        assert_eq!(text, "0A1B2C3F");
    }
}
