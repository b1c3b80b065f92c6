//! What is summed day by day: spread within and between days, and which hours of which days held lows and highs.

use super::sums::Sums;
use crate::codec::{Codec, Coded};
use crate::math;

/// Two-hour windows, one starting at each full hour, none across midnight.
pub(super) const WINDOWS: usize = 23;
/// A day counts for the spread when its readings cover this much of it, seconds: 70 %.
const ENOUGH_S: u64 = 60_480;
/// Parts of a mg/dL in which a day's mean and SD are summed. Squares may wrap: what is wanted of them does not.
const FINE: f32 = 102_400.0;

/// One local day.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Day {
    number: u32,
    values: Sums,
    /// Half hours with a reading, one bit each; under 70, under 54, over 180, over 250 mg/dL.
    seen: u64,
    marks: [u64; 4],
}

impl Day {
    fn join(&mut self, other: &Self) {
        self.values.add(&other.values);
        self.seen |= other.seen;
        for (mine, theirs) in self.marks.iter_mut().zip(other.marks) {
            *mine |= theirs;
        }
    }
}

/// Days on which a window was observed and on which it held each mark.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(super) struct Window {
    pub(super) seen: u16,
    pub(super) marks: [u16; 4],
}

/// Sums over whole days.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(super) struct DaySums {
    days: u32,
    sd: u64,
    mean: u64,
    mean_square: u64,
    pub(super) windows: [Window; WINDOWS],
}

#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "under 2000 mg/dL")]
fn fine(mg_dl: f32) -> u64 {
    math::round(mg_dl * FINE) as u64
}

impl Coded for Window {
    fn code(&mut self, codec: &mut Codec<'_>) {
        let Self { seen, marks } = self;
        codec.half(seen);
        marks.iter_mut().for_each(|mark| {
            codec.half(mark);
        });
    }
}

impl Coded for DaySums {
    fn code(&mut self, codec: &mut Codec<'_>) {
        let Self { days, sd, mean, mean_square, windows } = self;
        codec.word(days);
        [sd, mean, mean_square].into_iter().for_each(|sum| sum.code(codec));
        windows.iter_mut().for_each(|window| window.code(codec));
    }
}

impl DaySums {
    fn close(&mut self, day: &Day, interval_s: u32) {
        for (start, window) in (0_u32..).step_by(2).zip(&mut self.windows) {
            let mask = 0b1111_u64.wrapping_shl(start);
            if day.seen & mask != mask {
                continue;
            }
            window.seen = window.seen.saturating_add(1);
            for (count, mark) in window.marks.iter_mut().zip(day.marks) {
                *count = count.saturating_add(u16::from(mark & mask != 0));
            }
        }
        let covered = u64::from(day.values.n).saturating_mul(u64::from(interval_s));
        if let (true, Some(mean), Some(sd)) = (covered >= ENOUGH_S, day.values.mean(), day.values.sd()) {
            let mean = fine(mean);
            self.days = self.days.saturating_add(1);
            self.sd = self.sd.saturating_add(fine(sd));
            self.mean = self.mean.saturating_add(mean);
            self.mean_square = self.mean_square.wrapping_add(mean.wrapping_mul(mean));
        }
    }

    pub(super) fn add(&mut self, other: &Self) {
        self.days = self.days.saturating_add(other.days);
        self.sd = self.sd.saturating_add(other.sd);
        self.mean = self.mean.saturating_add(other.mean);
        self.mean_square = self.mean_square.wrapping_add(other.mean_square);
        for (mine, theirs) in self.windows.iter_mut().zip(&other.windows) {
            mine.seen = mine.seen.saturating_add(theirs.seen);
            for (count, more) in mine.marks.iter_mut().zip(theirs.marks) {
                *count = count.saturating_add(more);
            }
        }
    }

    /// Sum of the squared means in parts, of one record: it fits.
    pub(super) fn mean_square(&self) -> u128 {
        u128::from(self.mean_square)
    }

    /// As [`DaySums::sd_of_means`], with the sum of squares of many records.
    pub(super) fn sd_of_means_of_many(&self, mean_square: u128) -> Option<f32> {
        let less = self.days.checked_sub(1).filter(|&less| less > 0)?;
        let (days, mean) = (u128::from(self.days), u128::from(self.mean));
        let centre = mean.checked_div(days)?;
        let rest = mean.saturating_sub(centre.saturating_mul(days)) as f32;
        let twice = mean.saturating_mul(2).saturating_sub(days.saturating_mul(centre));
        let moved = mean_square.saturating_sub(centre.saturating_mul(twice));
        Some(math::sqrt((moved as f32 - rest * rest / days as f32) / less as f32) / FINE)
    }

    /// Days with enough readings.
    pub(super) fn whole_days(&self) -> u32 {
        self.days
    }

    /// Mean of the daily standard deviations, mg/dL.
    pub(super) fn sd_within(&self) -> Option<f32> {
        (self.days > 0).then(|| self.sd as f32 / FINE / self.days as f32)
    }

    /// Standard deviation of the daily means, mg/dL.
    pub(super) fn sd_of_means(&self) -> Option<f32> {
        let less = self.days.checked_sub(1).filter(|&less| less > 0)?;
        let days = u64::from(self.days);
        let centre = self.mean.checked_div(days)?;
        let rest = self.mean.wrapping_sub(centre.wrapping_mul(days)) as f32;
        let moved = self.mean_square.wrapping_sub(
            centre.wrapping_mul(self.mean.wrapping_mul(2).wrapping_sub(days.wrapping_mul(centre))),
        );
        Some(math::sqrt((moved as f32 - rest * rest / days as f32) / less as f32) / FINE)
    }
}

/// The sums, with the first and the last day still open.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub(super) struct Days {
    closed: DaySums,
    first: Option<Day>,
    last: Option<Day>,
}

impl Days {
    pub(super) fn push(&mut self, number: u32, minute: u16, hundredths: u32, class: u8, interval_s: u32) {
        let mut values = Sums::default();
        values.push(hundredths.cast_signed());
        let bit = 1_u64.wrapping_shl(u32::from(minute).div_euclid(30));
        let marks = [class < 3, class == 0, class > 4, class > 5].map(|held| if held { bit } else { 0 });
        self.add_day(&Day { number, values, seen: bit, marks }, interval_s);
    }

    /// A later day, or more of the last one.
    fn add_day(&mut self, day: &Day, interval_s: u32) {
        match (&mut self.first, &mut self.last) {
            (None, _) => self.first = Some(*day),
            (Some(first), None) if first.number == day.number => first.join(day),
            (Some(_), Some(last)) if last.number == day.number => last.join(day),
            (Some(_), last) => {
                if let Some(done) = last.replace(*day) {
                    self.closed.close(&done, interval_s);
                }
            }
        }
    }

    pub(super) fn append(&mut self, later: &Self, interval_s: u32) {
        self.closed.add(&later.closed);
        for day in [later.first, later.last].into_iter().flatten() {
            self.add_day(&day, interval_s);
        }
    }

    /// All days, as if the record ended here.
    pub(super) fn sums(&self, interval_s: u32) -> DaySums {
        let mut sums = self.closed;
        for day in [self.first, self.last].into_iter().flatten() {
            sums.close(&day, interval_s);
        }
        sums
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn daily_means_that_hardly_differ_keep_their_spread() {
        // means 10, 10 and 11 in the parts they are summed in: the standard deviation of that is 1/sqrt 3
        let sums = DaySums { days: 3, mean: 31, mean_square: 321, ..DaySums::default() };
        assert!((sums.sd_of_means().unwrap() * FINE - 0.577_350_3).abs() < 1e-5);
        let one = DaySums { days: 1, mean: 10, mean_square: 100, ..DaySums::default() };
        assert_eq!(one.sd_of_means(), None);
    }
}
