//! Differences between values a fixed time apart: CONGA and MODD.

use super::sums::Sums;
use crate::codec::{Codec, Coded};

/// Seconds of a slot. Of the readings in one slot the first counts.
const SLOT_S: u32 = 300;
/// A day of slots.
const DAY: u32 = 288;
/// The first day and the slot after it, so that the earliest pairs can be found again.
const HEAD: u32 = 289;
/// Slots back: 1, 2, 4 and 24 hours.
const LAGS: [u32; 4] = [12, 24, 48, 288];
/// The highest value kept, hundredths of a mg/dL; one more marks it as present.
const TOP: u32 = 65_534;

/// Sums over the pairs.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(super) struct Differences {
    by_lag: [Sums; 4],
    /// Sum of |difference| over 24 hours, hundredths of a mg/dL.
    day_apart: u64,
}

impl Differences {
    fn push(&mut self, lag: usize, difference: i32) {
        if let Some(sums) = self.by_lag.get_mut(lag) {
            sums.push(difference);
        }
        if lag == 3 {
            self.day_apart = self.day_apart.saturating_add(u64::from(difference.unsigned_abs()));
        }
    }

    fn remove(&mut self, lag: usize, difference: i32) {
        if let Some(sums) = self.by_lag.get_mut(lag) {
            sums.remove(difference);
        }
        if lag == 3 {
            self.day_apart = self.day_apart.saturating_sub(u64::from(difference.unsigned_abs()));
        }
    }

    pub(super) fn add(&mut self, other: &Self) {
        for (mine, theirs) in self.by_lag.iter_mut().zip(&other.by_lag) {
            mine.add(theirs);
        }
        self.day_apart = self.day_apart.saturating_add(other.day_apart);
    }

    /// CONGA over 1, 2, 4 and 24 hours.
    pub(super) fn conga(&self) -> [Option<f32>; 4] {
        self.by_lag.each_ref().map(Sums::sd)
    }

    pub(super) fn modd(&self) -> Option<f32> {
        let [.., day] = &self.by_lag;
        (day.n > 0).then(|| self.day_apart as f32 / day.n as f32 / 100.0)
    }
}

impl Coded for Differences {
    fn code(&mut self, codec: &mut Codec<'_>) {
        let Self { by_lag, day_apart } = self;
        by_lag.iter_mut().for_each(|sums| sums.code(codec));
        codec.long(day_apart);
    }
}

/// The sums, and the first and the last day of values, from which a joined record finds its pairs across the join.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Lagged {
    pub(super) sums: Differences,
    /// First and last slot that hold a value.
    slots: Option<(u32, u32)>,
    /// Values from the first slot on; 0 is none.
    head: [u16; HEAD as usize],
    /// Values of the last day, by slot number modulo a day.
    tail: [u16; DAY as usize],
}

impl Default for Lagged {
    fn default() -> Self {
        Self { sums: Differences::default(), slots: None, head: [0; HEAD as usize], tail: [0; DAY as usize] }
    }
}

/// A stored value, `None` where there is none.
fn value(stored: u16) -> Option<i32> {
    stored.checked_sub(1).map(i32::from)
}

fn place(slot: u32) -> usize {
    slot.rem_euclid(DAY) as usize
}

impl Lagged {
    pub(super) fn push(&mut self, seconds: u32, hundredths: u32) {
        self.put(seconds.div_euclid(SLOT_S), hundredths.min(TOP).saturating_add(1) as u16);
    }

    fn tail(&self, slot: u32) -> Option<i32> {
        let (_, last) = self.slots?;
        if slot > last || last.saturating_sub(slot) >= DAY {
            return None;
        }
        self.tail.get(place(slot)).copied().and_then(value)
    }

    fn head(&self, slot: u32) -> Option<i32> {
        let (first, _) = self.slots?;
        let offset = slot.checked_sub(first)?;
        self.head.get(offset as usize).copied().and_then(value)
    }

    /// A value after all others; of a slot already filled nothing changes.
    fn put(&mut self, slot: u32, stored: u16) {
        let Some((first, last)) = self.slots else {
            self.place(slot, slot, slot, stored);
            return;
        };
        if slot <= last {
            return;
        }
        for (i, lag) in LAGS.into_iter().enumerate() {
            let earlier = slot.checked_sub(lag).and_then(|partner| self.tail(partner));
            if let (Some(earlier), Some(now)) = (earlier, value(stored)) {
                self.sums.push(i, now.saturating_sub(earlier));
            }
        }
        self.place(first, last, slot, stored);
    }

    /// Stores without looking for pairs.
    fn place(&mut self, first: u32, last: u32, slot: u32, stored: u16) {
        for skipped in last..=slot.min(last.saturating_add(DAY)) {
            if skipped > last
                && let Some(cell) = self.tail.get_mut(place(skipped))
            {
                *cell = 0;
            }
        }
        if let Some(cell) = self.tail.get_mut(place(slot)) {
            *cell = stored;
        }
        if let Some(cell) = self.head.get_mut(slot.saturating_sub(first) as usize) {
            *cell = stored;
        }
        self.slots = Some((first, slot));
    }

    /// Adds the values that follow.
    pub(super) fn append(&mut self, later: &Self) {
        let (Some((first, last)), Some((later_first, later_last))) = (self.slots, later.slots) else {
            if self.slots.is_none() {
                self.clone_from(later);
            }
            return;
        };
        self.sums.add(&later.sums);
        // Both hold a value for the slot in which they meet: the earlier one counts, so the pairs of the later go.
        if later_first <= last
            && let Some(dropped) = later.head(later_first)
        {
            for (i, lag) in LAGS.into_iter().enumerate() {
                if let Some(now) = later.head(later_first.saturating_add(lag)) {
                    self.sums.remove(i, now.saturating_sub(dropped));
                }
            }
        }
        // Pairs across the join; `self.tail` still ends at `last`.
        for slot in later_first..later_first.saturating_add(HEAD) {
            let Some(now) = later.head(slot).filter(|_| slot > last) else { continue };
            for (i, lag) in LAGS.into_iter().enumerate() {
                if let Some(earlier) = slot.checked_sub(lag).and_then(|partner| self.tail(partner)) {
                    self.sums.push(i, now.saturating_sub(earlier));
                }
            }
        }
        // Then the values themselves: what `later` knows of its first day, then of its last.
        let (head, tail) = (&later.head, &later.tail);
        for (slot, &stored) in (later_first..).zip(head) {
            let known = self.slots.map_or(last, |(_, newest)| newest);
            if stored != 0 && slot > known {
                self.place(first, known, slot, stored);
            }
        }
        for slot in later_last.saturating_sub(DAY.saturating_sub(1))..=later_last {
            let known = self.slots.map_or(last, |(_, newest)| newest);
            let stored = tail.get(place(slot)).copied().unwrap_or(0);
            if stored != 0 && slot > known {
                self.place(first, known, slot, stored);
            }
        }
    }
}

#[cfg(test)]
mod tests {
    extern crate std;
    use super::*;
    use proptest::prelude::*;
    use std::vec::Vec;

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(if cfg!(miri) { 2 } else { 64 }))]
        #[test]
        fn pieces_join_to_the_whole(
            steps in prop::collection::vec((prop_oneof![20 => 60_u32..400, 1 => 3_000_u32..200_000], 4_000_u32..40_000), 1..900),
            cuts in (0_usize..900, 0_usize..900)
        ) {
            let mut at = 86_400_000;
            let readings: Vec<_> = steps.iter().map(|&(step, v)| { at += step; (at, v) }).collect();
            let run = |part: &[(u32, u32)]| {
                let mut lagged = Lagged::default();
                part.iter().for_each(|&(at, v)| lagged.push(at, v));
                lagged
            };
            let (a, b) = (cuts.0.min(readings.len()), cuts.1.min(readings.len()));
            let (a, b) = (a.min(b), a.max(b));
            let mut right = run(&readings[a..b]);
            right.append(&run(&readings[b..]));
            let mut joined = run(&readings[..a]);
            joined.append(&right);
            prop_assert_eq!(joined, run(&readings));
        }
    }
}
