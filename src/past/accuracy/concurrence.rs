//! Concurrence by value band: which band the sensor shows when the reference is in another.

use super::pair::Pair;
use crate::units::Glucose;

/// A table of sensor bands (rows) against reference bands (columns). 484 bytes.
///
/// Bands in whole mg/dL: under 40, 40–60, 61–80, 81–120, 121–160, 161–200, 201–250, 251–300, 301–350,
/// 351–400, over 400. Values are rounded to whole mg/dL first.
///
/// Source: the bands of CLSI POCT05, 2nd ed. (2020), from memory.
///
/// # Examples
/// ```
/// use glidepath::accuracy::{Concurrence, Pair};
/// use glidepath::{Glucose, Instant};
/// let mg_dl = Glucose::from_mg_dl;
/// let mut table = Concurrence::new();
/// table.push(&Pair::new(Instant::from_secs(0), mg_dl(75.0)?, mg_dl(62.0)?)?);
/// table.push(&Pair::new(Instant::from_secs(900), mg_dl(75.0)?, mg_dl(90.0)?)?);
/// assert_eq!((table.count(2, 2), table.count(2, 3)), (1, 1)); // both rows say 61–80
/// # Ok::<(), glidepath::Error>(())
/// ```
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Concurrence {
    counts: [[u32; Self::BANDS]; Self::BANDS],
}

impl Concurrence {
    /// How many bands there are.
    pub const BANDS: usize = 11;

    /// The highest whole mg/dL of each band but the last, which has no end.
    pub const UPPER_MG_DL: [u16; Self::BANDS - 1] = [39, 60, 80, 120, 160, 200, 250, 300, 350, 400];

    /// No pairs yet.
    #[must_use]
    pub fn new() -> Self {
        Self::default()
    }

    /// The band of a value, 0 to 10.
    #[must_use]
    pub fn band(glucose: Glucose) -> usize {
        Self::UPPER_MG_DL.partition_point(|upper| *upper < glucose.whole_mg_dl())
    }

    /// Counts one pair.
    pub fn push(&mut self, pair: &Pair) {
        let row = self.counts.get_mut(Self::band(pair.sensor()));
        if let Some(count) = row.and_then(|row| row.get_mut(Self::band(pair.reference()))) {
            *count = count.saturating_add(1);
        }
    }

    /// How many pairs have the sensor in band `sensor` and the reference in band `reference`; 0 for bands
    /// there are not.
    #[must_use]
    pub fn count(&self, sensor: usize, reference: usize) -> u32 {
        self.counts.get(sensor).and_then(|row| row.get(reference)).copied().unwrap_or(0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_value_has_its_band() {
        let edges =
            [(39.4, 0), (39.5, 1), (60.4, 1), (60.5, 2), (120.0, 3), (121.0, 4), (400.0, 9), (401.0, 10)];
        for (value, band) in edges {
            assert_eq!(Concurrence::band(Glucose::clamped(value)), band, "{value}");
        }
        assert_eq!(Concurrence::new().count(11, 0), 0);
    }

    #[test]
    fn each_pair_is_counted_in_its_row_and_column() {
        use crate::units::Instant;
        let mut table = Concurrence::new();
        let pair = |sensor, reference| {
            Pair::new(Instant::from_secs(0), Glucose::clamped(sensor), Glucose::clamped(reference)).unwrap()
        };
        for (sensor, reference) in [(75.0, 62.0), (78.0, 70.0), (75.0, 90.0), (401.0, 39.0)] {
            table.push(&pair(sensor, reference));
        }
        assert_eq!(
            (table.count(2, 2), table.count(2, 3), table.count(3, 2), table.count(10, 0)),
            (2, 1, 0, 1)
        );
    }
}
