//! The pattern of the day: percentiles by the time on the wearer's clock, from counts in fixed memory.
//!
//! 96 bins of 15 minutes by 361 whole mg/dL do not fit in 8 KiB, whatever the counter. So there are two grids: a
//! [`Compact`] one for the wrist, whose classes are 5 mg/dL wide where most values lie, and an [`Exact`] one for the
//! desk, with a counter for each mg/dL.

use super::sparse;
use super::sums::Sums;
use crate::codec::{Codec, Coded};
use crate::math;

/// Bins of a day.
pub const BINS: usize = 96;
/// Minutes of a bin.
pub const BIN_MINUTES: u16 = 15;

mod sealed {
    use crate::codec::Codec;

    pub trait Sealed {}

    /// What only this crate can make.
    #[expect(missing_debug_implementations, reason = "it is not to be seen")]
    pub struct Bytes<'a, 'b>(pub(super) &'a mut Codec<'b>);
}

/// A grid to bytes and back.
pub(super) fn code<G: Grid>(grid: &mut G, codec: &mut Codec<'_>) {
    grid.code(&mut sealed::Bytes(codec));
}

/// Counts of values by time of day: [`Compact`] or [`Exact`]. Not to be implemented elsewhere.
///
/// # Examples
/// The median and the middle half at six in the morning:
/// ```
/// use glidepath::review::{BIN_MINUTES, Config, Grid, DayTime, Review};
/// use glidepath::{Glucose, Instant, Reading};
/// let mut review = Review::new(Config::default());
/// for day in 0..14 {
///     let at = Instant::from_secs(86_400 * day + 6 * 3600);
///     let reading = Reading::new(at, Glucose::from_mg_dl(110.0 + day as f32)?);
///     let _ = review.push(&reading, DayTime::from_secs(at.secs()));
/// }
/// let bin = usize::from(6 * 60 / BIN_MINUTES);
/// let [low, median, high] = [0.25, 0.5, 0.75].map(|share| review.grid().percentile(bin, share));
/// assert!(low < median && median < high);
/// # Ok::<(), glidepath::Error>(())
/// ```
pub trait Grid: sealed::Sealed + Clone + Default + core::fmt::Debug {
    /// Number of value classes.
    #[doc(hidden)]
    const CLASSES: usize;

    /// Counts one value at a minute of the day (0 to 1439), in hundredths of a mg/dL.
    #[doc(hidden)]
    fn count(&mut self, minute: u16, hundredths: u32);

    /// Counts of one class.
    #[doc(hidden)]
    fn cell(&self, bin: usize, class: usize) -> u32;

    /// The lowest whole mg/dL of a class and how many it holds.
    #[doc(hidden)]
    fn span(class: usize) -> (u16, u16);

    /// Adds another grid's counts.
    #[doc(hidden)]
    fn add(&mut self, other: &Self);

    /// Mean over the clock's five-minute slots of the standard deviation of the values there, mg/dL; `None` where the
    /// grid does not keep it.
    #[doc(hidden)]
    fn sd_by_clock(&self) -> Option<f32> {
        None
    }

    /// Bytes that its counts never exceed; see [`Pool::save`](super::Pool::save).
    #[doc(hidden)]
    const SAVED_BYTES: usize;

    /// Its counts to bytes and back.
    #[doc(hidden)]
    fn code(&mut self, codec: &mut sealed::Bytes<'_, '_>);

    /// How many values a bin holds.
    #[must_use]
    fn values(&self, bin: usize) -> u32 {
        (0..Self::CLASSES).fold(0, |n, class| n.saturating_add(self.cell(bin, class)))
    }

    /// The value below which a share `p` (0 to 1) of a bin's values lies, mg/dL; bins are numbered from midnight.
    /// `None` for an empty bin.
    ///
    /// Linear interpolation between order statistics at `(n − 1) p` (type 7 of Hyndman and Fan 1996, Am Stat 50:361).
    /// Values are whole mg/dL. In a class of several mg/dL they are taken to lie evenly, so that the result is at most
    /// one class width off: see [`Compact`].
    #[must_use]
    fn percentile(&self, bin: usize, p: f32) -> Option<f32> {
        let n = self.values(bin);
        let place = n.checked_sub(1)? as f32 * if p > 0.0 { p.min(1.0) } else { 0.0 };
        let whole = math::floor(place);
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a whole rank")]
        let rank = whole as u32;
        let low = self.order(bin, rank)?;
        let high = self.order(bin, rank.saturating_add(1)).unwrap_or(low);
        Some(low + (place - whole) * (high - low))
    }

    /// The value with `rank` smaller ones before it.
    #[doc(hidden)]
    fn order(&self, bin: usize, rank: u32) -> Option<f32> {
        let mut before = 0_u32;
        for class in 0..Self::CLASSES {
            let count = self.cell(bin, class);
            let within = rank.saturating_sub(before);
            if within < count {
                let (low, width) = Self::span(class);
                let spread = f32::from(width) * (within as f32 + 0.5) / count as f32 - 0.5;
                return Some(f32::from(low) + if width == 1 { 0.0 } else { spread });
            }
            before = before.saturating_add(count);
        }
        None
    }
}

#[expect(clippy::integer_division, reason = "by a constant")]
fn bin(minute: u16) -> usize {
    usize::from(minute / BIN_MINUTES)
}

#[expect(clippy::integer_division, reason = "by a constant")]
fn whole(hundredths: u32) -> usize {
    (hundredths.saturating_add(50) / 100) as usize
}

/// Classes of 5 mg/dL from 40 to 200, 10 to 300, 25 to 400, and one each below and above; counters of a byte.
///
/// # Memory and error
/// 4,608 bytes. A percentile lies within one class width of the exact one: 5 mg/dL under 200, 10 under 300, 25 under
/// 400. A counter stops at 255, which a class would reach after 85 days of readings every five minutes if it alone held
/// every value of its quarter of an hour; a wider spread lasts longer.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Compact {
    cells: [[u8; 48]; BINS],
}

impl Default for Compact {
    fn default() -> Self {
        Self { cells: [[0; 48]; BINS] }
    }
}

/// Lowest whole mg/dL of the compact classes, and one past the last.
#[expect(clippy::indexing_slicing, reason = "evaluated by the compiler")]
const EDGES: [u16; 49] = {
    let mut edges = [0; 49];
    let mut class = 1;
    let mut low = 40;
    while class < 48 {
        edges[class] = low;
        low += if low < 200 {
            5
        } else if low < 300 {
            10
        } else {
            25
        };
        class += 1;
    }
    edges[48] = 401;
    edges
};

impl sealed::Sealed for Compact {}

impl Grid for Compact {
    const CLASSES: usize = 48;

    fn count(&mut self, minute: u16, hundredths: u32) {
        let value = whole(hundredths);
        let class = EDGES.partition_point(|&edge| usize::from(edge) <= value).saturating_sub(1).min(47);
        if let Some(cell) = self.cells.get_mut(bin(minute)).and_then(|cells| cells.get_mut(class)) {
            *cell = cell.saturating_add(1);
        }
    }

    fn cell(&self, bin: usize, class: usize) -> u32 {
        self.cells.get(bin).and_then(|cells| cells.get(class)).map_or(0, |&count| u32::from(count))
    }

    fn span(class: usize) -> (u16, u16) {
        match (EDGES.get(class), EDGES.get(class.saturating_add(1))) {
            // values under 40 are the sensor's word for "low", and count as 39
            (Some(0), _) => (39, 1),
            (Some(&low), Some(&next)) => (low, next.saturating_sub(low)),
            _ => (400, 1),
        }
    }

    fn add(&mut self, other: &Self) {
        for (mine, theirs) in self.cells.as_flattened_mut().iter_mut().zip(other.cells.as_flattened()) {
            *mine = mine.saturating_add(*theirs);
        }
    }

    const SAVED_BYTES: usize = size_of::<Self>();

    fn code(&mut self, codec: &mut sealed::Bytes<'_, '_>) {
        self.cells.as_flattened_mut().iter_mut().for_each(|cell| {
            codec.0.byte(cell);
        });
    }
}

/// A counter for each whole mg/dL from 0 to 511, and the spread between days by the clock.
///
/// # Memory
/// 203,520 bytes: for a desk.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Exact {
    cells: [[u32; 512]; BINS],
    clock: [Sums; 288],
}

impl Default for Exact {
    fn default() -> Self {
        Self { cells: [[0; 512]; BINS], clock: [Sums::default(); 288] }
    }
}

impl sealed::Sealed for Exact {}

impl Grid for Exact {
    const CLASSES: usize = 512;

    #[expect(clippy::integer_division, reason = "by a constant")]
    fn count(&mut self, minute: u16, hundredths: u32) {
        if let Some(cell) =
            self.cells.get_mut(bin(minute)).and_then(|cells| cells.get_mut(whole(hundredths).min(511)))
        {
            *cell = cell.saturating_add(1);
        }
        if let Some(sums) = self.clock.get_mut(usize::from(minute / 5)) {
            sums.push(hundredths.cast_signed());
        }
    }

    fn cell(&self, bin: usize, class: usize) -> u32 {
        self.cells.get(bin).and_then(|cells| cells.get(class)).copied().unwrap_or(0)
    }

    #[expect(clippy::cast_possible_truncation, reason = "a class under 512")]
    fn span(class: usize) -> (u16, u16) {
        (class as u16, 1)
    }

    fn add(&mut self, other: &Self) {
        for (mine, theirs) in self.cells.as_flattened_mut().iter_mut().zip(other.cells.as_flattened()) {
            *mine = mine.saturating_add(*theirs);
        }
        for (mine, theirs) in self.clock.iter_mut().zip(&other.clock) {
            mine.add(theirs);
        }
    }

    const SAVED_BYTES: usize = BINS * sparse::room::<u32>(512) + 288 * size_of::<Sums>();

    fn code(&mut self, codec: &mut sealed::Bytes<'_, '_>) {
        self.cells.iter_mut().for_each(|cells| sparse::code(codec.0, cells));
        self.clock.iter_mut().for_each(|sums| sums.code(codec.0));
    }

    fn sd_by_clock(&self) -> Option<f32> {
        let (n, sum) = self
            .clock
            .iter()
            .filter_map(Sums::sd)
            .fold((0_u16, 0.0), |(n, sum), sd| (n.saturating_add(1), sum + sd));
        (n > 0).then(|| sum / f32::from(n))
    }
}

#[cfg(test)]
mod tests {
    extern crate std;
    use super::*;
    use proptest::prelude::*;
    use std::boxed::Box;
    use std::vec::Vec;

    #[test]
    fn compact_classes_fill_the_range_without_holes() {
        assert!(EDGES.windows(2).all(|w| w[0] < w[1]));
        let values: Vec<_> = (1..48).map(Compact::span).collect();
        assert!(values.windows(2).all(|w| w[0].0 + w[0].1 == w[1].0));
        assert_eq!((values[0], values[46]), ((40, 5), (400, 1)));
        // 5 wide under 200, 10 under 300, 25 from there
        for edge in [(195, 5), (200, 10), (290, 10), (300, 25)] {
            assert!(values.contains(&edge), "{edge:?}");
        }
    }

    #[test]
    fn values_of_one_class_are_taken_to_lie_evenly() {
        // the class from 40 to 44: one value in its middle, two at a quarter and three quarters of it
        let mut compact = Compact::default();
        assert_eq!((compact.percentile(0, 0.5), compact.sd_by_clock()), (None, None));
        compact.count(0, 4000);
        assert_eq!(compact.percentile(0, 0.5), Some(42.0));
        compact.count(14, 4400);
        assert_eq!([0.0, 0.5, 1.0].map(|p| compact.percentile(0, p)), [Some(40.75), Some(42.0), Some(43.25)]);
        // and under 40 what a sensor calls low counts as 39
        compact.count(15, 2000);
        assert_eq!(compact.percentile(1, 0.5), Some(39.0));
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(if cfg!(miri) { 2 } else { 64 }))]
        #[test]
        fn the_compact_grid_errs_by_less_than_a_class(values in prop::collection::vec(40_u16..=400, 1..60), p in 0.0_f32..=1.0) {
            let (mut compact, mut exact) = (Compact::default(), Box::<Exact>::default());
            for &value in &values {
                compact.count(1439, u32::from(value) * 100);
                exact.count(1439, u32::from(value) * 100);
            }
            let mut sorted = values.clone();
            sorted.sort_unstable();
            let at = (sorted.len() - 1) as f32 * p;
            let (low, next) = (at as usize, (at as usize + 1).min(sorted.len() - 1));
            let want = f32::from(sorted[low]) + (at - at.floor()) * (f32::from(sorted[next]) - f32::from(sorted[low]));
            let got = exact.percentile(95, p).unwrap();
            prop_assert!((got - want).abs() < 1e-3, "{got} {want}");
            let width = match sorted[next] { 0..200 => 5.0, 200..300 => 10.0, _ => 25.0 };
            prop_assert!((compact.percentile(95, p).unwrap() - want).abs() < width);
        }
    }
}
