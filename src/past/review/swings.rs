//! Swings of glucose and their mean height, MAGE, for a threshold known only at the end.
//!
//! MAGE averages the swings that exceed one standard deviation, which a stream knows only when it is over. So every
//! swing is kept by its height: turning points whose inner pair is no larger than either neighbour are taken out and
//! counted (the four-point rule of rainflow counting, ASTM E1049). What is left is short. Taking out a pair of height
//! `p` removes one rise and one fall of `p` from any threshold under `p` and none above, so that the counts give the
//! swings above every threshold exactly.

use super::sparse;
use crate::codec::{Codec, Coded};

/// Heights counted apart, mg/dL. A standard deviation of 256 or more does not occur.
const HEIGHTS: usize = 256;
/// Turning points left open at each end of the record. Real traces need under 30.
const OPEN: usize = 40;

/// Rises or falls by height.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct Heights {
    counts: [u16; HEIGHTS],
    /// Number and sum of those of 256 mg/dL or more.
    over: (u32, u32),
}

impl Heights {
    const NONE: Self = Self { counts: [0; HEIGHTS], over: (0, 0) };

    fn count(&mut self, height: u16) {
        match self.counts.get_mut(usize::from(height)) {
            Some(cell) => *cell = cell.saturating_add(1),
            None => {
                self.over.0 = self.over.0.saturating_add(1);
                self.over.1 = self.over.1.saturating_add(u32::from(height));
            }
        }
    }

    fn add(&mut self, other: &Self) {
        for (mine, theirs) in self.counts.iter_mut().zip(other.counts) {
            *mine = mine.saturating_add(theirs);
        }
        self.over.0 = self.over.0.saturating_add(other.over.0);
        self.over.1 = self.over.1.saturating_add(other.over.1);
    }

    /// Number and sum of the heights above `threshold`, itself under 256.
    fn above(&self, threshold: f32) -> (u32, u32) {
        let mut total = self.over;
        for (height, &count) in (0_u32..).zip(&self.counts) {
            if height as f32 > threshold {
                total.0 = total.0.saturating_add(u32::from(count));
                total.1 = total.1.saturating_add(height.saturating_mul(u32::from(count)));
            }
        }
        total
    }
}

/// Rises and falls counted by height.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Counted {
    rises: Heights,
    falls: Heights,
}

impl Default for Counted {
    fn default() -> Self {
        Self { rises: Heights::NONE, falls: Heights::NONE }
    }
}

impl Coded for Heights {
    fn code(&mut self, codec: &mut Codec<'_>) {
        let Self { counts, over: (n, sum) } = self;
        counts.iter_mut().for_each(|count| {
            codec.half(count);
        });
        codec.word(n);
        codec.word(sum);
    }
}

impl Coded for Counted {
    fn code(&mut self, codec: &mut Codec<'_>) {
        let Self { rises, falls } = self;
        rises.code(codec);
        falls.code(codec);
    }
}

/// The swings of many records by height: of rises and of falls.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct SwingsOfMany([HeightsOfMany; 2]);

#[derive(Clone, Debug, PartialEq, Eq)]
struct HeightsOfMany {
    counts: [u64; HEIGHTS],
    /// As of [`Heights`].
    over: (u64, u64),
}

impl Default for SwingsOfMany {
    fn default() -> Self {
        Self([HeightsOfMany::NONE, HeightsOfMany::NONE])
    }
}

impl HeightsOfMany {
    const NONE: Self = Self { counts: [0; HEIGHTS], over: (0, 0) };

    fn add(&mut self, counts: impl Iterator<Item = u64>, over: (u64, u64)) {
        for (mine, more) in self.counts.iter_mut().zip(counts) {
            *mine = mine.saturating_add(more);
        }
        self.over.0 = self.over.0.saturating_add(over.0);
        self.over.1 = self.over.1.saturating_add(over.1);
    }

    fn above(&self, threshold: f32) -> (u64, u64) {
        let mut total = self.over;
        for (height, &count) in (0_u32..).zip(&self.counts) {
            if height as f32 > threshold {
                total.0 = total.0.saturating_add(count);
                total.1 = total.1.saturating_add(u64::from(height).saturating_mul(count));
            }
        }
        total
    }
}

impl SwingsOfMany {
    pub(super) fn add_one(&mut self, one: &Counted) {
        for (mine, more) in self.0.iter_mut().zip([&one.rises, &one.falls]) {
            let over = (u64::from(more.over.0), u64::from(more.over.1));
            mine.add(more.counts.iter().map(|&count| u64::from(count)), over);
        }
    }

    pub(super) fn add(&mut self, other: &Self) {
        for (mine, more) in self.0.iter_mut().zip(&other.0) {
            mine.add(more.counts.iter().copied(), more.over);
        }
    }

    /// As [`Counted::means`].
    pub(super) fn means(&self, sd: f32) -> [Option<f32>; 3] {
        if sd.is_nan() || sd >= HEIGHTS as f32 {
            return [None; 3];
        }
        let [up, down] = self.0.each_ref().map(|heights| heights.above(sd));
        let all = (up.0.saturating_add(down.0), up.1.saturating_add(down.1));
        [up, down, all].map(|(n, sum)| (n > 0).then(|| sum as f32 / n as f32))
    }
}

impl Coded for SwingsOfMany {
    fn code(&mut self, codec: &mut Codec<'_>) {
        for HeightsOfMany { counts, over: (n, sum) } in &mut self.0 {
            sparse::code(codec, counts);
            codec.long(n);
            codec.long(sum);
        }
    }
}

impl Counted {
    fn swing(&mut self, from: u16, to: u16) {
        if to > from { &mut self.rises } else { &mut self.falls }.count(to.abs_diff(from));
    }

    pub(super) fn add(&mut self, other: &Self) {
        self.rises.add(&other.rises);
        self.falls.add(&other.falls);
    }

    /// Mean height of the swings above `sd`: of rises, of falls, of all.
    pub(super) fn means(&self, sd: f32) -> [Option<f32>; 3] {
        if sd.is_nan() || sd >= HEIGHTS as f32 {
            return [None; 3];
        }
        let (up, down) = (self.rises.above(sd), self.falls.above(sd));
        let all = (up.0.saturating_add(down.0), up.1.saturating_add(down.1));
        [up, down, all].map(|(n, sum)| (n > 0).then(|| sum as f32 / n as f32))
    }
}

/// The turning points of one unbroken stretch that no pair rule has taken out yet.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct Turns {
    points: [u16; OPEN],
    len: u8,
}

impl Turns {
    const NONE: Self = Self { points: [0; OPEN], len: 0 };

    fn back(&self, from_end: u8) -> Option<u16> {
        let place = self.len.checked_sub(from_end)?;
        self.points.get(usize::from(place)).copied()
    }

    fn set_back(&mut self, from_end: u8, value: u16) {
        let place = self.len.saturating_sub(from_end);
        if let Some(point) = self.points.get_mut(usize::from(place)) {
            *point = value;
        }
    }

    fn shorten(&mut self, by: u8) {
        for gone in 1..=by {
            self.set_back(gone, 0); // equal states have equal bytes
        }
        self.len = self.len.saturating_sub(by);
    }

    fn iter(&self) -> impl Iterator<Item = u16> + '_ {
        self.points.iter().copied().take(usize::from(self.len))
    }

    fn push(&mut self, value: u16, counted: &mut Counted) {
        match (self.back(1), self.back(2)) {
            (Some(last), _) if last == value => return,
            // further the same way: the last point was no turn
            (Some(last), Some(before)) if (last > before) == (value > last) => self.set_back(1, value),
            _ => {
                if usize::from(self.len) == OPEN {
                    self.close_first(counted);
                }
                self.len = self.len.saturating_add(1);
                self.set_back(1, value);
            }
        }
        while let (Some(d), Some(c), Some(b), Some(a)) =
            (self.back(1), self.back(2), self.back(3), self.back(4))
        {
            let inner = b.abs_diff(c);
            if inner > a.abs_diff(b) || inner > c.abs_diff(d) {
                break;
            }
            counted.swing(b, c);
            counted.swing(c, b);
            self.set_back(3, d);
            self.shorten(2);
        }
    }

    /// Counts the first swing as it stands and lets go of it.
    fn close_first(&mut self, counted: &mut Counted) {
        let [first, second, ..] = self.points;
        counted.swing(first, second);
        self.points.rotate_left(1);
        self.shorten(1);
    }

    /// Counts all that is left.
    fn close(&self, counted: &mut Counted) {
        for (from, to) in self.iter().zip(self.iter().skip(1)) {
            counted.swing(from, to);
        }
    }

    fn extend(&mut self, later: &Self, counted: &mut Counted) {
        for point in later.iter() {
            self.push(point, counted);
        }
    }
}

/// Swings of a record: the first stretch stays open at both ends, so that an earlier record can be joined on.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Swings {
    closed: Counted,
    first: Turns,
    /// The stretch that is being read, once there has been a gap.
    last: Option<Turns>,
}

impl Default for Swings {
    fn default() -> Self {
        Self { closed: Counted::default(), first: Turns::NONE, last: None }
    }
}

impl Swings {
    /// `value` in whole mg/dL; `joined` unless a gap lies before it.
    pub(super) fn push(&mut self, value: u16, joined: bool) {
        if !joined {
            self.begin();
        }
        self.last.as_mut().unwrap_or(&mut self.first).push(value, &mut self.closed);
    }

    fn begin(&mut self) {
        if let Some(last) = self.last.replace(Turns::NONE) {
            last.close(&mut self.closed);
        }
    }

    /// Adds the swings that follow; `joined` unless a gap lies between.
    pub(super) fn append(&mut self, later: &Self, joined: bool) {
        self.closed.add(&later.closed);
        if !joined {
            self.begin();
        }
        self.last.as_mut().unwrap_or(&mut self.first).extend(&later.first, &mut self.closed);
        if let Some(last) = later.last
            && let Some(before) = self.last.replace(last)
        {
            before.close(&mut self.closed);
        }
    }

    /// All swings, as if the record ended here.
    pub(super) fn counted(&self) -> Counted {
        let mut counted = self.closed;
        self.first.close(&mut counted);
        if let Some(last) = &self.last {
            last.close(&mut counted);
        }
        counted
    }
}

#[cfg(test)]
mod tests {
    extern crate std;
    use super::*;
    use proptest::prelude::*;
    use std::vec::Vec;

    /// The reversal filter as it is usually written: alternate extremes further apart than the threshold.
    fn plain(values: &[u16], threshold: f32) -> Vec<i32> {
        let g: Vec<i32> = values.iter().map(|&v| i32::from(v)).collect();
        let (mut low, mut high) = (g[0], g[0]);
        let (mut rising, mut extremes) = (None, Vec::new());
        for &v in &g[1..] {
            let over = |d: i32| d as f32 > threshold;
            match rising {
                None => {
                    low = low.min(v);
                    high = high.max(v);
                    if over(v - low) {
                        extremes.push(low);
                        (rising, high) = (Some(true), v);
                    } else if over(high - v) {
                        extremes.push(high);
                        (rising, low) = (Some(false), v);
                    }
                }
                Some(true) if v > high => high = v,
                Some(true) if over(high - v) => {
                    extremes.push(high);
                    (rising, low) = (Some(false), v);
                }
                Some(false) if v < low => low = v,
                Some(false) if over(v - low) => {
                    extremes.push(low);
                    (rising, high) = (Some(true), v);
                }
                _ => {}
            }
        }
        match rising {
            Some(true) => extremes.push(high),
            Some(false) => extremes.push(low),
            None => {}
        }
        extremes.windows(2).map(|w| w[1] - w[0]).collect()
    }

    fn swings(values: &[u16]) -> Swings {
        let mut swings = Swings::default();
        values.iter().for_each(|&value| swings.push(value, true));
        swings
    }

    #[test]
    fn a_swing_must_exceed_the_threshold() {
        let counted = swings(&[100, 130, 90]).counted();
        assert_eq!(counted.means(29.9), [Some(30.0), Some(40.0), Some(35.0)]);
        assert_eq!(counted.means(30.0), [None, Some(40.0), Some(40.0)]);
        let wide = swings(&[40, 400]).counted();
        assert_eq!(wide.means(255.0), [Some(360.0), None, Some(360.0)]);
        assert_eq!([wide.means(256.0), wide.means(f32::NAN)], [[None; 3]; 2]);
    }

    #[test]
    fn a_value_that_holds_is_no_turn() {
        assert_eq!(swings(&[100, 100, 120, 120, 120, 90, 90]), swings(&[100, 120, 90]));
    }

    #[test]
    fn no_swing_crosses_a_gap() {
        let mut swings = swings(&[100, 120]);
        swings.push(60, false);
        swings.push(80, true);
        assert_eq!(swings.counted().means(0.0), [Some(20.0), None, Some(20.0)]);
        swings.push(50, false);
        swings.push(40, true);
        assert_eq!(swings.counted().means(0.0), [Some(20.0), Some(10.0), Some(50.0 / 3.0)]);
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(if cfg!(miri) { 4 } else { 512 }))]
        #[test]
        fn counts_give_the_reversal_filter_at_every_threshold(
            values in prop::collection::vec(40_u16..120, 1..60), threshold in 0.0_f32..80.0
        ) {
            let mut swings = Swings::default();
            for &value in &values {
                swings.push(value, true);
            }
            let want = plain(&values, threshold);
            let mean = |keep: fn(&i32) -> bool| {
                let kept: Vec<i32> = want.iter().copied().filter(keep).collect();
                (!kept.is_empty()).then(|| kept.iter().map(|s| s.abs()).sum::<i32>() as f32 / kept.len() as f32)
            };
            let expected = [mean(|s| *s > 0), mean(|s| *s < 0), mean(|_| true)];
            prop_assert_eq!(swings.counted().means(threshold), expected);
        }

        #[test]
        fn pieces_join_to_the_whole(
            values in prop::collection::vec((40_u16..120, prop::bool::weighted(0.95)), 1..80),
            cut in 0_usize..80
        ) {
            let run = |part: &[(u16, bool)]| {
                let mut swings = Swings::default();
                for (i, &(value, joined)) in part.iter().enumerate() {
                    swings.push(value, joined || i == 0);
                }
                swings
            };
            let cut = cut.min(values.len());
            let (left, right) = values.split_at(cut);
            let mut joined = run(left);
            if let Some(&(_, no_gap)) = right.first() {
                joined.append(&run(right), no_gap || left.is_empty());
            }
            prop_assert_eq!(joined, run(&values));
        }
    }

    #[test]
    fn a_full_store_lets_go_of_the_oldest_swing() {
        let mut swings = Swings::default();
        for i in 0..100_u16 {
            // ever wider: no inner pair can be taken out
            swings.push(if i % 2 == 0 { 250 + i } else { 250 - i }, true);
        }
        let total: u32 = swings.counted().rises.counts.iter().map(|&c| u32::from(c)).sum();
        assert_eq!(total, 49);
    }
}
