//! Counts most of which are 0 as bytes: how many are not, then the place and the number of each, in order.

use crate::codec::{Codec, Coded};

/// Bytes that so many counts never exceed.
pub(super) const fn room<C>(counts: usize) -> usize {
    2_usize.saturating_add(counts.saturating_mul(size_of::<C>().saturating_add(2)))
}

/// Counts to bytes and back; there are fewer than 65,536.
pub(super) fn code<C: Coded + Copy + Default + PartialEq>(codec: &mut Codec<'_>, counts: &mut [C]) {
    let none = C::default();
    let mut used = u16::try_from(counts.iter().filter(|count| **count != none).count()).unwrap_or(u16::MAX);
    let used = codec.half(&mut used);
    if codec.saves() {
        for (mut place, count) in (0_u16..).zip(counts).filter(|(_, count)| **count != none) {
            codec.half(&mut place);
            count.code(codec);
        }
        return;
    }
    codec.demand(usize::from(used) <= counts.len());
    if codec.loads() {
        counts.fill(none);
    }
    let mut least = 0_u16;
    for _ in 0..used {
        let place = codec.half(&mut 0);
        let mut other = none;
        let there = counts.get_mut(usize::from(place)).filter(|_| place >= least);
        codec.demand(there.is_some());
        if codec.end().is_none() {
            return; // no more of what is no count is read
        }
        there.unwrap_or(&mut other).code(codec);
        least = place.saturating_add(1);
    }
}

#[cfg(test)]
mod tests {
    extern crate std;
    use super::*;
    use std::vec::Vec;

    fn saved(counts: &mut [u32]) -> Vec<u8> {
        let mut buffer = [0xAA; 256];
        let mut codec = Codec::saving(&mut buffer);
        code(&mut codec, counts);
        let length = codec.end().unwrap();
        buffer[..length].to_vec()
    }

    fn is_sound(bytes: &[u8], counts: &mut [u32]) -> bool {
        let mut check = Codec::checking(bytes);
        code(&mut check, counts);
        check.end() == Some(bytes.len())
    }

    #[test]
    fn only_counts_that_are_not_0_take_room_and_all_come_back() {
        let mut counts = [0, 7, 0, 0, u32::MAX];
        let bytes = saved(&mut counts);
        assert_eq!(bytes, [2, 0, 1, 0, 7, 0, 0, 0, 4, 0, 255, 255, 255, 255]);
        assert_eq!(room::<u32>(5), 2 + 5 * 6);
        let mut other = [9; 5];
        assert!(is_sound(&bytes, &mut other));
        assert_eq!(other, [9; 5]); // a check leaves the place alone
        code(&mut Codec::loading(&bytes), &mut other);
        assert_eq!(other, counts);
        assert_eq!(saved(&mut [1; 5]).len(), room::<u32>(5));
    }

    #[test]
    fn a_place_that_is_none_or_not_after_the_one_before_is_refused() {
        let mut counts = [0; 5];
        let bytes = |places: [u8; 2]| {
            let [a, b] = places;
            [2, 0, a, 0, 1, 0, 0, 0, b, 0, 1, 0, 0, 0]
        };
        assert!(is_sound(&bytes([0, 4]), &mut counts));
        for places in [[1, 1], [2, 1], [0, 5]] {
            assert!(!is_sound(&bytes(places), &mut counts), "{places:?}");
        }
        assert!(!is_sound(&[6, 0], &mut counts));
        assert!(!is_sound(&[1, 0, 0, 0, 1, 0, 0], &mut counts));
    }
}
