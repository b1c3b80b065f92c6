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
