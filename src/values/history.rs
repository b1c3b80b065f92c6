//! The last readings, oldest to newest, in fixed memory.
//!
//! [`History`] owns its room; [`HistoryView`] borrows it without the capacity in its type, and is what
//! everything else takes.

use crate::codec::{Codec, Coded};
use crate::math;
use crate::math::Bounded as _;
use crate::reading::{Reading, Status};
use crate::units::{Glucose, Instant, Span};
use heapless::deque::{Deque, DequeView};

/// Six bytes a reading: 13 bits of tenths of a mg/dL and 3 bits of status, and the time as two halves, so
/// that no padding is needed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct Packed {
    time: [u16; 2],
    value: u16,
}

/// The highest value kept, tenths of a mg/dL: 13 bits.
const MAX_TENTHS: f32 = 8191.0;

impl Packed {
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "bounded")]
    fn new(reading: &Reading) -> Self {
        let tenths = math::round(reading.glucose().mg_dl() * 10.0).at_most(MAX_TENTHS) as u16;
        Self { time: Self::time(reading.at()), value: (tenths << 3) | (reading.status() as u16) }
    }

    #[expect(clippy::cast_possible_truncation, reason = "halves of a word")]
    const fn time(at: Instant) -> [u16; 2] {
        let seconds = at.secs();
        [(seconds >> 16) as u16, seconds as u16]
    }

    fn at(self) -> Instant {
        let [high, low] = self.time;
        Instant::from_secs((u32::from(high) << 16) | u32::from(low))
    }

    fn reading(self) -> Reading {
        Reading::new(self.at(), Glucose::clamped(f32::from(self.value >> 3) / 10.0))
            .with_status(Status::from_bits((self.value & 7) as u8))
    }
}

/// What became of a reading given to [`History::insert`].
///
/// Feature `defmt` gives `Format`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[must_use]
#[non_exhaustive]
pub enum Inserted {
    /// Kept as the newest.
    Newest,
    /// A late one, kept where it belongs in time.
    Between,
    /// Refused: there is one of the same second already.
    Duplicate,
    /// Refused: older than the oldest of a full history.
    TooOld,
}

/// The last `N` readings, oldest to newest. A full one forgets the oldest.
///
/// # Memory
/// 6 bytes a reading and two words. A day of readings every five minutes, `History<288>`, takes 1,736 bytes on
/// a 32-bit processor. Values are kept to a tenth of a mg/dL and end at 819.1.
///
/// # Examples
/// ```
/// use glidepath::{Glucose, History, Inserted, Instant, Reading};
/// let mut history = History::<288>::new();
/// let at = |s, mg_dl| Ok::<_, glidepath::Error>(Reading::new(Instant::from_secs(s), Glucose::from_mg_dl(mg_dl)?));
/// assert_eq!(history.insert(&at(600, 110.0)?), Inserted::Newest);
/// assert_eq!(history.insert(&at(300, 105.0)?), Inserted::Between); // delivered late
/// let times: Vec<u32> = history.view().iter().map(|r| r.at().secs()).collect();
/// assert_eq!(times, [300, 600]);
/// # Ok::<(), glidepath::Error>(())
/// ```
#[derive(Clone, Debug)]
pub struct History<const N: usize> {
    ring: Deque<Packed, N>,
}

impl<const N: usize> Default for History<N> {
    fn default() -> Self {
        Self::new()
    }
}

impl<const N: usize> History<N> {
    /// An empty history. A capacity of zero does not compile.
    #[must_use]
    pub const fn new() -> Self {
        const { assert!(N > 0, "a history holds at least one reading") };
        Self { ring: Deque::new() }
    }

    /// Keeps `reading` where it belongs in time, or says why not; a refused one changes nothing.
    ///
    /// Takes a constant time for readings in order, and a step for each reading kept for late ones.
    pub fn insert(&mut self, reading: &Reading) -> Inserted {
        insert(self.ring.as_mut_view(), Packed::new(reading))
    }

    /// The borrowed view that algorithms take.
    #[must_use]
    pub fn view(&self) -> HistoryView<'_> {
        HistoryView { ring: self.ring.as_view() }
    }

    /// Moves all stamps by `span`: the clock that stamps was set. Readings that would leave the epoch are forgotten.
    pub fn shift(&mut self, span: Span) {
        shift(self.ring.as_mut_view(), span);
    }

    /// Forgets everything.
    pub fn clear(&mut self) {
        self.ring.clear();
    }
}

#[cfg_attr(target_pointer_width = "32", inline(never))]
fn insert(ring: &mut DequeView<Packed>, packed: Packed) -> Inserted {
    let at = packed.at();
    let newest = ring.back().is_none_or(|newest| newest.at() < at);
    if !newest && ring.iter().any(|kept| kept.at() == at) {
        return Inserted::Duplicate;
    }
    if ring.is_full() {
        if !newest && ring.front().is_none_or(|oldest| at < oldest.at()) {
            return Inserted::TooOld;
        }
        let _ = ring.pop_front();
    }
    let mut carried = packed;
    if !newest {
        // each newer one moves up by one place
        for kept in ring.iter_mut() {
            if kept.at() > carried.at() {
                carried = core::mem::replace(kept, carried);
            }
        }
    }
    let _ = ring.push_back(carried);
    if newest { Inserted::Newest } else { Inserted::Between }
}

/// Moves all stamps by `span`; what would leave the epoch is forgotten.
fn shift(ring: &mut DequeView<Packed>, span: Span) {
    for _ in 0..ring.iter().len() {
        let Some(kept) = ring.pop_front() else { return };
        if let Some(at) = kept.at().checked_plus(span) {
            let _ = ring.push_back(Packed { time: Packed::time(at), ..kept });
        }
    }
}

/// A borrowed history of any capacity.
///
/// # Memory
/// Two words, to be copied at will.
///
/// # Examples
/// ```
/// use glidepath::{Glucose, History, HistoryView, Instant, Reading};
/// /// The highest of the last hour, whatever the history's capacity.
/// fn highest(history: HistoryView<'_>) -> Option<Glucose> {
///     let from = Instant::from_secs(history.newest()?.at().secs().saturating_sub(3600));
///     history.since(from).map(|reading| reading.glucose()).max_by(|a, b| a.mg_dl().total_cmp(&b.mg_dl()))
/// }
/// let mut history = History::<24>::new();
/// for (minute, mg_dl) in [(0, 200.0), (60, 120.0), (65, 126.0), (90, 118.0)] {
///     let _ = history.insert(&Reading::new(Instant::from_secs(60 * minute), Glucose::from_mg_dl(mg_dl)?));
/// }
/// assert_eq!(highest(history.view()).map(|glucose| glucose.whole_mg_dl()), Some(126));
/// # Ok::<(), glidepath::Error>(())
/// ```
#[derive(Clone, Copy, Debug)]
pub struct HistoryView<'a> {
    ring: &'a DequeView<Packed>,
}

impl<'a> HistoryView<'a> {
    /// How many readings are kept.
    #[must_use]
    pub fn len(&self) -> usize {
        self.ring.iter().len()
    }

    /// Whether there are none.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.ring.is_empty()
    }

    /// The newest reading.
    #[must_use]
    pub fn newest(&self) -> Option<Reading> {
        self.ring.back().map(|kept| kept.reading())
    }

    /// The oldest reading.
    #[must_use]
    pub fn oldest(&self) -> Option<Reading> {
        self.ring.front().map(|kept| kept.reading())
    }

    /// Whether `reading`, older than the newest, cannot be one that was missed: another value is known within
    /// `within` of it, or a full history begins after it.
    #[must_use]
    pub fn contradicts(&self, reading: &Reading, within: Span) -> bool {
        let value = reading.glucose().whole_mg_dl();
        let denies = |kept: &Packed| {
            let kept = kept.reading();
            let near = kept.at().since(reading.at()).secs().unsigned_abs() <= within.secs().unsigned_abs();
            near && kept.glucose().whole_mg_dl() != value
        };
        let past = self.ring.is_full() && self.oldest().is_some_and(|oldest| reading.at() < oldest.at());
        past || self.ring.iter().any(denies)
    }

    /// All readings, oldest to newest; reverse it for newest first.
    #[must_use]
    pub fn iter(&self) -> impl DoubleEndedIterator<Item = Reading> + Clone + use<'a> {
        let (older, newer) = self.ring.as_slices();
        older.iter().chain(newer).map(|kept| kept.reading())
    }

    /// The readings at or after `from`, oldest to newest.
    ///
    /// # Examples
    /// ```
    /// use glidepath::{Glucose, History, Instant, Reading};
    /// let mut history = History::<24>::new();
    /// for k in 0..12_u32 {
    ///     let _ = history.insert(&Reading::new(Instant::from_secs(300 * k), Glucose::from_mg_dl(110.0)?));
    /// }
    /// let last_quarter_hour = history.view().since(Instant::from_secs(300 * 11 - 900));
    /// assert_eq!(last_quarter_hour.count(), 4);
    /// # Ok::<(), glidepath::Error>(())
    /// ```
    #[must_use]
    pub fn since(&self, from: Instant) -> impl DoubleEndedIterator<Item = Reading> + Clone + use<'a> {
        let (older, newer) = self.ring.as_slices();
        let late = |part: &'a [Packed]| {
            part.get(part.partition_point(|kept| kept.at() < from)..).unwrap_or_default()
        };
        late(older).iter().chain(late(newer)).map(|kept| kept.reading())
    }
}

/// Six bytes a reading, oldest to newest. A smaller history keeps the newest ones.
impl<const N: usize> Coded for History<N> {
    fn code(&mut self, codec: &mut Codec<'_>) {
        let Self { ring } = self;
        code(ring.as_mut_view(), codec);
    }
}

#[inline(never)]
fn code(ring: &mut DequeView<Packed>, codec: &mut Codec<'_>) {
    let mut count = u32::try_from(ring.iter().len()).unwrap_or(u32::MAX); // never so many
    count = codec.word(&mut count);
    if codec.saves() {
        for Packed { time: [high, low], value } in ring.iter_mut() {
            for half in [high, low, value] {
                codec.half(half);
            }
        }
        return;
    }
    if codec.loads() {
        ring.clear();
    }
    let mut before = None;
    for _ in 0..count {
        let kept = Packed { time: [codec.half(&mut 0), codec.half(&mut 0)], value: codec.half(&mut 0) };
        let status = (kept.value & 7) as u8;
        codec.demand(before < Some(kept.at()) && Status::from_bits(status) as u8 == status);
        if codec.end().is_none() {
            return;
        }
        before = Some(kept.at());
        if codec.loads() {
            let _ = insert(ring, kept);
        }
    }
}

#[cfg(test)]
mod tests {
    extern crate std;
    use super::*;
    use proptest::prelude::*;
    use std::collections::BTreeMap;
    use std::vec::Vec;

    fn reading(seconds: u32, mg_dl: f32) -> Reading {
        Reading::new(Instant::from_secs(seconds), Glucose::clamped(mg_dl))
    }

    #[test]
    fn a_day_at_five_minutes_fits() {
        assert!(size_of::<History<288>>() <= 2304);
    }

    #[test]
    fn a_full_history_forgets_the_oldest_and_refuses_older_ones() {
        let mut history = History::<3>::new();
        for t in [10, 20, 30] {
            assert_eq!(history.insert(&reading(t, 100.0)), Inserted::Newest);
        }
        assert_eq!(history.insert(&reading(5, 1.0)), Inserted::TooOld);
        assert_eq!(history.insert(&reading(20, 1.0)), Inserted::Duplicate);
        assert_eq!(history.insert(&reading(25, 2.0)), Inserted::Between);
        let times: Vec<_> = history.view().iter().map(|r| r.at().secs()).collect();
        assert_eq!(times, [20, 25, 30]);
        let recent: Vec<_> = history.view().since(Instant::from_secs(25)).map(|r| r.at().secs()).collect();
        assert_eq!(recent, [25, 30]);
    }

    fn times<const N: usize>(history: &History<N>) -> Vec<u32> {
        history.view().iter().map(|r| r.at().secs()).collect()
    }

    #[test]
    fn a_clock_that_was_set_moves_all_and_what_leaves_the_epoch_is_forgotten() {
        let mut history = History::<4>::new();
        for t in [10, 20, 30, 40, 50] {
            let _ = history.insert(&reading(t, 100.0)); // the ring has wrapped
        }
        for (span, want) in
            [(5, &[25, 35, 45, 55][..]), (-30, &[5, 15, 25]), (-15, &[0, 10]), (0, &[0, 10]), (-11, &[])]
        {
            history.shift(Span::from_secs(span));
            assert_eq!(times(&history), want);
        }
        for t in [u32::MAX - 9, u32::MAX - 5, u32::MAX] {
            let _ = history.insert(&reading(t, 100.0));
        }
        history.shift(Span::from_secs(5));
        assert_eq!(times(&history), [u32::MAX - 4, u32::MAX]);
    }

    /// The late readings are those of a filter over all of them, wherever the ring wraps.
    #[test]
    fn since_gives_what_is_not_older() {
        let mut history = History::<5>::new();
        for t in 0..23 {
            let _ = history.insert(&reading(t, 100.0));
            for from in 0..25 {
                let late: Vec<_> =
                    history.view().since(Instant::from_secs(from)).map(|r| r.at().secs()).collect();
                let all = times(&history);
                assert_eq!(late, all.into_iter().filter(|at| *at >= from).collect::<Vec<_>>());
            }
        }
    }

    #[test]
    fn counts_and_forgets() {
        let mut history = History::<3>::new();
        assert!(history.view().is_empty());
        assert_eq!((history.view().len(), history.view().newest(), history.view().oldest()), (0, None, None));
        for t in [10, 20, 30, 40] {
            let _ = history.insert(&reading(t, 100.0));
        }
        assert!(!history.view().is_empty());
        assert_eq!(history.view().len(), 3);
        let ends = [history.view().oldest(), history.view().newest()];
        assert_eq!(ends.map(|r| r.unwrap().at().secs()), [20, 40]);
        history.clear();
        assert!(history.view().is_empty());
        assert_eq!(history.insert(&reading(5, 100.0)), Inserted::Newest);
        assert_eq!(times(&history), [5]);
    }

    #[test]
    fn values_end_at_their_highest_and_leave_the_status_alone() {
        let mut history = History::<1>::new();
        let _ = history.insert(&reading(7, 900.0).with_status(Status::Doubtful));
        let kept = history.view().newest().unwrap();
        assert_eq!((kept.glucose().mg_dl(), kept.status()), (819.1, Status::Doubtful));
    }

    #[test]
    fn every_status_and_every_bit_of_the_time_survive() {
        for status in Status::ALL {
            for bit in 0..32 {
                let mut history = History::<1>::new();
                let given = reading(1 << bit, 123.4).with_status(status);
                let _ = history.insert(&given);
                assert_eq!(history.view().newest(), Some(given));
            }
        }
    }

    #[test]
    fn stored_readings_come_back_and_others_are_refused() {
        let mut history = History::<5>::new();
        for t in 0..5 {
            let _ = history.insert(&reading(0x0102_0304 + t, 80.1 + t as f32).with_status(Status::Doubtful));
        }
        let mut room = [0; 34];
        let mut codec = Codec::saving(&mut room);
        history.code(&mut codec);
        assert_eq!(codec.end(), Some(34));
        // 2 · 256 + 1, 4 · 256 + 3, then 801 tenths and status 4 in 16 bits: 6412
        assert_eq!(room[..10], [5, 0, 0, 0, 2, 1, 4, 3, 12, 25]);
        let mut same = History::<5>::new();
        let _ = same.insert(&reading(7, 100.0)); // forgotten
        same.code(&mut Codec::loading(&room));
        assert!(same.view().iter().eq(history.view().iter()));
        let mut newest = History::<2>::new();
        newest.code(&mut Codec::loading(&room));
        assert!(newest.view().iter().eq(history.view().iter().skip(3)));
        let refused = |place: usize, byte: u8| {
            let mut bytes = room;
            bytes[place] = byte;
            let mut codec = Codec::checking(&bytes);
            same.clone().code(&mut codec);
            codec.end().is_none()
        };
        // the second as old as the first, no status, and more than there are
        assert!(refused(12, 4) && refused(8, 14) && refused(0, 6) && refused(3, 255));
        assert!(!refused(8, 13));
    }

    #[test]
    fn status_and_a_tenth_survive() {
        let mut history = History::<1>::new();
        let given = reading(u32::MAX, 123.4).with_status(Status::AboveRange);
        let _ = history.insert(&given);
        let kept = history.view().newest().unwrap();
        assert_eq!((kept.at(), kept.status()), (given.at(), given.status()));
        assert!((kept.glucose().mg_dl() - 123.4).abs() < 1e-4);
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(if cfg!(miri) { 4 } else { 256 }))]
        #[test]
        fn behaves_as_a_sorted_map_that_drops_its_oldest(times in prop::collection::vec(0_u32..60, 0..80)) {
            let mut history = History::<7>::new();
            let mut model = BTreeMap::new();
            for (i, t) in times.into_iter().enumerate() {
                let value = (i % 500) as f32;
                let oldest = model.keys().next().copied();
                let outcome = history.insert(&reading(t, value));
                if model.contains_key(&t) {
                    prop_assert_eq!(outcome, Inserted::Duplicate);
                } else if model.len() == 7 && oldest.is_some_and(|o| t < o) {
                    prop_assert_eq!(outcome, Inserted::TooOld);
                } else {
                    if model.len() == 7 {
                        model.pop_first();
                    }
                    model.insert(t, value);
                }
                let kept: Vec<_> = history.view().iter().map(|r| (r.at().secs(), r.glucose().mg_dl())).collect();
                prop_assert_eq!(kept, model.iter().map(|(k, v)| (*k, *v)).collect::<Vec<_>>());
            }
        }
    }
}
