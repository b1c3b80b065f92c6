//! Agreement of rates of change between sensor and reference.

use super::pair::Pair;
use super::tally::Tally;
use crate::moments::Moments;
use crate::units::{Rate, Span};

/// How far apart two successive pairs may be to give a rate. References are meant to be about 15 min apart;
/// pairs over 30 min apart give none (CLSI POCT05, 2nd ed., as two labels state it). Under 8 min the
/// reference's own error drowns the rate (ours).
const APART: core::ops::RangeInclusive<i32> = 8 * 60..=30 * 60;

/// A table of sensor rate bins (rows) against reference rate bins (columns), each rate the difference of
/// successive pairs over their time apart. 180 bytes, streaming.
///
/// Bins in mg/dL per minute: under −2, −2 to −1, −1 to 0, 0 to 1, 1 to 2, over 2. A lower edge belongs to its
/// bin; 2 itself belongs to the bin below it (ours: printed tables leave ties open).
///
/// Source: the bins of CLSI POCT05, 2nd ed. (2020).
///
/// # Examples
/// ```
/// use glidepath::accuracy::{Pair, RateAgreement};
/// use glidepath::{Glucose, Instant};
/// let mg_dl = Glucose::from_mg_dl;
/// let mut rates = RateAgreement::new();
/// rates.push(&Pair::new(Instant::from_secs(0), mg_dl(98.0)?, mg_dl(100.0)?)?);
/// let (sensor, reference) =
///     rates.push(&Pair::new(Instant::from_secs(900), mg_dl(128.0)?, mg_dl(145.0)?)?).expect("15 min apart");
/// assert_eq!((sensor.mg_dl_per_min(), reference.mg_dl_per_min()), (2.0, 3.0));
/// assert_eq!(rates.count(4, 5), 1); // the sensor says 1 to 2, the reference over 2
/// # Ok::<(), glidepath::Error>(())
/// ```
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct RateAgreement {
    counts: [[u32; Self::BINS]; Self::BINS],
    error: Moments,
    last: Option<Pair>,
}

impl RateAgreement {
    /// How many bins there are.
    pub const BINS: usize = 6;

    /// Nothing yet.
    #[must_use]
    pub fn new() -> Self {
        Self::default()
    }

    /// The bin of a rate, 0 to 5.
    #[must_use]
    pub fn bin(rate: Rate) -> usize {
        match rate.mg_dl_per_min() {
            x if x < -2.0 => 0,
            x if x < -1.0 => 1,
            x if x < 0.0 => 2,
            x if x < 1.0 => 3,
            x if x <= 2.0 => 4,
            _ => 5,
        }
    }

    /// Takes the next pair in order of time; gives the rates of sensor and reference since the one before,
    /// when they are 8 to 30 min apart. A nearer one is passed over.
    pub fn push(&mut self, pair: &Pair) -> Option<(Rate, Rate)> {
        let Some(last) = self.last else {
            self.last = Some(*pair);
            return None;
        };
        let apart: Span = pair.at().since(last.at());
        if apart.secs() < *APART.start() {
            return None;
        }
        self.last = Some(*pair);
        if apart.secs() > *APART.end() {
            return None;
        }
        let rate = |now: f32, before: f32| Rate::clamped((now - before) / apart.mins());
        let sensor = rate(pair.sensor().mg_dl(), last.sensor().mg_dl());
        let reference = rate(pair.reference().mg_dl(), last.reference().mg_dl());
        self.push_rates(sensor, reference);
        Some((sensor, reference))
    }

    /// Counts a pair of rates from elsewhere, say the device's own rate.
    pub fn push_rates(&mut self, sensor: Rate, reference: Rate) {
        let row = self.counts.get_mut(Self::bin(sensor));
        if let Some(count) = row.and_then(|row| row.get_mut(Self::bin(reference))) {
            *count = count.saturating_add(1);
            self.error.push((sensor.mg_dl_per_min() - reference.mg_dl_per_min()).abs());
        }
    }

    /// How many pairs of rates have the sensor in bin `sensor` and the reference in bin `reference`; 0 for
    /// bins there are not.
    #[must_use]
    pub fn count(&self, sensor: usize, reference: usize) -> u32 {
        self.counts.get(sensor).and_then(|row| row.get(reference)).copied().unwrap_or(0)
    }

    /// How often both are in the same bin.
    #[must_use]
    pub fn same_bin(&self) -> Tally {
        self.at_most_apart(0)
    }

    /// How often they are at most one bin apart.
    #[must_use]
    pub fn within_one_bin(&self) -> Tally {
        self.at_most_apart(1)
    }

    /// The mean absolute difference of the rates, mg/dL per minute.
    #[must_use]
    pub fn mean_error_mg_dl_per_min(&self) -> Option<f32> {
        self.error.mean()
    }

    fn at_most_apart(&self, bins: usize) -> Tally {
        let (mut hits, mut trials) = (0_u32, 0_u32);
        for (row, counts) in self.counts.iter().enumerate() {
            for (column, count) in counts.iter().enumerate() {
                trials = trials.saturating_add(*count);
                if row.abs_diff(column) <= bins {
                    hits = hits.saturating_add(*count);
                }
            }
        }
        Tally::new(hits, trials).unwrap_or_default()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::{Glucose, Instant};

    #[test]
    fn a_repeat_within_minutes_is_passed_over() {
        let pair = |minutes: u32, value| {
            let glucose = Glucose::clamped(value);
            Pair::new(Instant::from_secs(minutes * 60), glucose, glucose).unwrap()
        };
        let mut rates = RateAgreement::new();
        assert!(rates.push(&pair(0, 100.0)).is_none());
        assert!(rates.push(&pair(2, 160.0)).is_none());
        let (sensor, _) = rates.push(&pair(10, 120.0)).unwrap();
        assert_eq!(sensor.mg_dl_per_min(), 2.0); // from the first
        assert!(rates.push(&pair(50, 120.0)).is_none());
        assert!(rates.push(&pair(65, 120.0)).is_some());
        assert_eq!(rates.same_bin(), Tally::new(2, 2).unwrap());
    }

    #[test]
    fn a_lower_edge_belongs_to_its_bin() {
        for (rate, bin) in
            [(-2.01, 0), (-2.0, 1), (-1.01, 1), (-1.0, 2), (0.0, 3), (0.99, 3), (1.0, 4), (2.0, 4), (2.01, 5)]
        {
            assert_eq!(RateAgreement::bin(Rate::clamped(rate)), bin, "{rate}");
        }
    }

    #[test]
    fn pairs_8_to_30_minutes_apart_give_a_rate() {
        let pair = |seconds| {
            let glucose = Glucose::clamped(100.0);
            Pair::new(Instant::from_secs(seconds), glucose, glucose).unwrap()
        };
        for (seconds, given) in [(479, false), (480, true), (1800, true), (1801, false)] {
            let mut rates = RateAgreement::new();
            assert!(rates.push(&pair(0)).is_none());
            assert_eq!(rates.push(&pair(seconds)).is_some(), given, "{seconds}");
        }
    }
}
