//! Readings and time in ranges.

use super::config::{Threshold, Unit};
use crate::codec::{Codec, Coded};

/// The edges between the seven classes; `true` where the limit itself belongs to the class below.
const EDGES: [(Threshold, bool); 6] = [
    (Threshold::L54, false),
    (Threshold::L63, false),
    (Threshold::L70, false),
    (Threshold::L140, true),
    (Threshold::L180, true),
    (Threshold::L250, true),
];

/// The class of a value in hundredths of `unit`: 0 is under 54 mg/dL, 6 over 250.
pub(super) fn class(hundredths: u32, unit: Unit) -> u8 {
    let mut class = 0_u8;
    for (limit, inclusive) in EDGES {
        let limit = limit.hundredths(unit);
        if hundredths > limit || (hundredths == limit && !inclusive) {
            class = class.saturating_add(1);
        }
    }
    class
}

/// Shares of readings or of time in the consensus ranges, percent.
///
/// The inequalities hold for real-valued data: 70 and 180 mg/dL both belong to the target range, 54 to level 1 low,
/// 250 to level 1 high.
///
/// Source: Battelino et al. (2019), Diabetes Care 42:1593, doi:10.2337/dci19-0028; the tight range is met in print
/// without a consensus target.
///
/// Feature `defmt` gives `Format`.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub struct Ranges {
    /// Under 54 mg/dL (3.0 mmol/L): level 2 low.
    pub below_54: f32,
    /// 54 to under 70 mg/dL (3.0 to under 3.9): level 1 low.
    pub from_54_to_69: f32,
    /// 70 to 180 mg/dL (3.9 to 10.0): the target range.
    pub from_70_to_180: f32,
    /// Over 180 to 250 mg/dL (10.0 to 13.9): level 1 high.
    pub from_181_to_250: f32,
    /// Over 250 mg/dL (13.9 mmol/L): level 2 high.
    pub above_250: f32,
    /// 70 to 140 mg/dL (3.9 to 7.8): the tight range.
    pub from_70_to_140: f32,
    /// 63 to 140 mg/dL (3.5 to 7.8): the target range in pregnancy.
    pub from_63_to_140: f32,
    /// Under 63 mg/dL (3.5 mmol/L).
    pub below_63: f32,
    /// Over 140 mg/dL (7.8 mmol/L).
    pub above_140: f32,
}

impl Ranges {
    /// Under 70 mg/dL (3.9 mmol/L): both levels of low.
    #[must_use]
    pub fn below_70(&self) -> f32 {
        self.below_54 + self.from_54_to_69
    }

    /// Over 180 mg/dL (10.0 mmol/L): both levels of high.
    #[must_use]
    pub fn above_180(&self) -> f32 {
        self.from_181_to_250 + self.above_250
    }
}

/// Readings and seconds by class.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(super) struct Tally {
    readings: [u32; 7],
    seconds: [u64; 7],
}

impl Tally {
    pub(super) fn count(&mut self, class: u8) {
        if let Some(cell) = self.readings.get_mut(usize::from(class)) {
            *cell = cell.saturating_add(1);
        }
    }

    pub(super) fn cover(&mut self, class: u8, seconds: u32) {
        if let Some(cell) = self.seconds.get_mut(usize::from(class)) {
            *cell = cell.saturating_add(u64::from(seconds));
        }
    }

    pub(super) fn add(&mut self, other: &Self) {
        for (mine, theirs) in self.readings.iter_mut().zip(other.readings) {
            *mine = mine.saturating_add(theirs);
        }
        for (mine, theirs) in self.seconds.iter_mut().zip(other.seconds) {
            *mine = mine.saturating_add(theirs);
        }
    }

    /// All the time covered, seconds.
    pub(super) fn covered(&self) -> u64 {
        self.seconds.iter().fold(0, |sum, &part| sum.saturating_add(part))
    }

    pub(super) fn by_readings(&self) -> Option<Ranges> {
        shares(self.readings.map(|count| count as f32))
    }

    pub(super) fn by_time(&self) -> Option<Ranges> {
        shares(self.seconds.map(|seconds| seconds as f32))
    }
}

impl Coded for Tally {
    fn code(&mut self, codec: &mut Codec<'_>) {
        let Self { readings, seconds } = self;
        readings.iter_mut().for_each(|count| count.code(codec));
        seconds.iter_mut().for_each(|part| part.code(codec));
    }
}

fn shares(parts: [f32; 7]) -> Option<Ranges> {
    let total: f32 = parts.iter().sum();
    if total <= 0.0 {
        return None;
    }
    let [a, b, c, d, e, f, g] = parts.map(|part| 100.0 * part / total);
    Some(Ranges {
        below_54: a,
        from_54_to_69: b + c,
        from_70_to_180: d + e,
        from_181_to_250: f,
        above_250: g,
        from_70_to_140: d,
        from_63_to_140: c + d,
        below_63: a + b,
        above_140: e + f + g,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_limit_is_a_printed_pair() {
        let printed = EDGES.map(|(limit, _)| (limit.mg_dl(), limit.tenths_mmol_l()));
        assert_eq!(printed, [(54, 30), (63, 35), (70, 39), (140, 78), (180, 100), (250, 139)]);
    }

    #[test]
    fn the_limits_themselves_belong_where_the_consensus_puts_them() {
        let mg_dl = [5399, 5400, 6999, 7000, 14_000, 14_001, 18_000, 18_001, 25_000, 25_001];
        assert_eq!(mg_dl.map(|v| class(v, Unit::MgDl)), [0, 1, 2, 3, 3, 4, 4, 5, 5, 6]);
        let mmol_l = [299, 300, 389, 390, 780, 781, 1000, 1001, 1390, 1391];
        assert_eq!(mmol_l.map(|v| class(v, Unit::MmolL)), [0, 1, 2, 3, 3, 4, 4, 5, 5, 6]);
    }
}
