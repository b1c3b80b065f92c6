//! The point and rate criteria of the United States rule for integrated sensors.

use super::pair::Pair;
use super::tally::Tally;
use crate::units::Rate;

/// One criterion of 21 CFR 862.1355(b)(1)(v), by its letter there.
///
/// Bins go by the **sensor's** value, percentages are of the reference, and every "exceeds" is strict. The
/// rule is for clinical studies of many people: a home sample decides nothing.
///
/// Source: 21 CFR 862.1355(b)(1)(v)(A)–(K); 87 Fed. Reg. 9237 (2022); the numbers from memory.
///
/// Feature `defmt` gives `Format`.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Criterion {
    /// Under 70: within 15 mg/dL.
    A,
    /// 70 to 180: within 15 %.
    B,
    /// Over 180: within 15 %.
    C,
    /// Under 70: within 40 mg/dL.
    D,
    /// 70 to 180: within 40 %.
    E,
    /// Over 180: within 40 %.
    F,
    /// All values: within 20 %, without any absolute limb.
    G,
    /// Sensor under 70 with a reference over 180.
    H,
    /// Sensor over 180 with a reference under 70.
    I,
    /// Sensor rising over 1 mg/dL/min while the reference falls faster than 2.
    J,
    /// Sensor falling faster than 1 mg/dL/min while the reference rises over 2.
    K,
}

/// What a criterion asks for.
///
/// Feature `defmt` gives `Format`.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Requirement {
    /// The lower one-sided 95 % bound of the rate exceeds this percentage.
    BoundAbove(f32),
    /// It never happens.
    Never,
    /// It happens in at most this percentage.
    AtMost(f32),
}

/// What a sample says of a criterion.
///
/// Feature `defmt` gives `Format`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Compliance {
    /// The sample meets it.
    Met,
    /// The sample does not.
    NotMet,
    /// Even a sample of this size without a single miss would not show it.
    TooFew,
}

impl Criterion {
    /// All, in order.
    pub const ALL: [Self; 11] =
        [Self::A, Self::B, Self::C, Self::D, Self::E, Self::F, Self::G, Self::H, Self::I, Self::J, Self::K];

    /// The letter in the rule.
    #[must_use]
    pub const fn letter(self) -> char {
        match self {
            Self::A => 'A',
            Self::B => 'B',
            Self::C => 'C',
            Self::D => 'D',
            Self::E => 'E',
            Self::F => 'F',
            Self::G => 'G',
            Self::H => 'H',
            Self::I => 'I',
            Self::J => 'J',
            Self::K => 'K',
        }
    }

    /// What it asks for.
    #[must_use]
    pub const fn requirement(self) -> Requirement {
        match self {
            Self::A => Requirement::BoundAbove(85.0),
            Self::B => Requirement::BoundAbove(70.0),
            Self::C => Requirement::BoundAbove(80.0),
            Self::D => Requirement::BoundAbove(98.0),
            Self::E | Self::F => Requirement::BoundAbove(99.0),
            Self::G => Requirement::BoundAbove(87.0),
            Self::H | Self::I => Requirement::Never,
            Self::J | Self::K => Requirement::AtMost(1.0),
        }
    }

    /// The fewest pairs that could show it, all of them hits: the least n with 0.05^(1/n) above the required
    /// rate (the exact bound). 1 where no bound is asked for.
    #[must_use]
    pub const fn min_pairs(self) -> u32 {
        match self {
            Self::A => 19,
            Self::B => 9,
            Self::C => 14,
            Self::D => 149,
            Self::E | Self::F => 299,
            Self::G => 22,
            Self::H | Self::I | Self::J | Self::K => 1,
        }
    }

    /// Whether a pair counts here, and if so whether it is a hit: for A to G a value close enough, for H and I
    /// the forbidden event. `None` where the pair is in another bin, and for the rate criteria.
    #[must_use]
    pub fn judge(self, pair: &Pair) -> Option<bool> {
        let (sensor, reference) = (pair.sensor().mg_dl(), pair.reference().mg_dl());
        let (low, middle, high) = (sensor < 70.0, (70.0..=180.0).contains(&sensor), sensor > 180.0);
        match self {
            Self::A => low.then(|| pair.within_mg_dl(15.0)),
            Self::B => middle.then(|| pair.within_percent(15.0)),
            Self::C => high.then(|| pair.within_percent(15.0)),
            Self::D => low.then(|| pair.within_mg_dl(40.0)),
            Self::E => middle.then(|| pair.within_percent(40.0)),
            Self::F => high.then(|| pair.within_percent(40.0)),
            Self::G => Some(pair.within_percent(20.0)),
            Self::H => low.then_some(reference > 180.0),
            Self::I => high.then_some(reference < 70.0),
            Self::J | Self::K => None,
        }
    }

    /// For J and K, whether a pair of rates is the forbidden event; `None` for the others.
    #[must_use]
    pub fn judge_rates(self, sensor: Rate, reference: Rate) -> Option<bool> {
        let (sensor, reference) = (sensor.mg_dl_per_min(), reference.mg_dl_per_min());
        match self {
            Self::J => Some(sensor > 1.0 && reference < -2.0),
            Self::K => Some(sensor < -1.0 && reference > 2.0),
            _ => None,
        }
    }

    /// What `tally` says, `lower_percent` being the bound one has chosen to use.
    ///
    /// Under [`Criterion::min_pairs`] pairs it says too few, with or without misses.
    #[must_use]
    pub fn verdict(self, tally: &Tally, lower_percent: Option<f32>) -> Compliance {
        let met = match self.requirement() {
            _ if tally.trials() < self.min_pairs() => return Compliance::TooFew,
            Requirement::BoundAbove(required) => lower_percent.is_some_and(|bound| bound > required),
            Requirement::Never => tally.hits() == 0,
            Requirement::AtMost(most) => tally.percent().is_some_and(|percent| percent <= most),
        };
        if met { Compliance::Met } else { Compliance::NotMet }
    }
}

/// The tallies of all criteria, streaming. 104 bytes.
///
/// # Examples
/// ```
/// use glidepath::accuracy::{Criterion, Pair, IcgmCriteria, Compliance};
/// use glidepath::{Glucose, Instant};
/// let mg_dl = Glucose::from_mg_dl;
/// let mut regulation = IcgmCriteria::new();
/// regulation.push(&Pair::new(Instant::from_secs(0), mg_dl(66.0)?, mg_dl(74.0)?)?);
/// let tally = regulation.tally(Criterion::A);
/// assert_eq!((tally.hits(), tally.trials()), (1, 1)); // the sensor's 66 is within 15 mg/dL
/// assert_eq!(Criterion::A.verdict(&tally, tally.exact_lower_percent()), Compliance::TooFew);
/// # Ok::<(), glidepath::Error>(())
/// ```
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct IcgmCriteria {
    tallies: [Tally; 11],
    fast: [Tally; 2],
}

impl IcgmCriteria {
    /// Nothing yet.
    #[must_use]
    pub fn new() -> Self {
        Self::default()
    }

    /// Counts a pair in A to I.
    pub fn push(&mut self, pair: &Pair) {
        for (criterion, tally) in Criterion::ALL.into_iter().zip(&mut self.tallies) {
            if let Some(hit) = criterion.judge(pair) {
                tally.push(hit);
            }
        }
    }

    /// Counts a pair of rates in J and K.
    pub fn push_rates(&mut self, sensor: Rate, reference: Rate) {
        for (criterion, tally) in Criterion::ALL.into_iter().zip(&mut self.tallies) {
            if let Some(hit) = criterion.judge_rates(sensor, reference) {
                tally.push(hit);
            }
        }
        let [falling, rising] = &mut self.fast;
        for (criterion, fast, tally) in [
            (Criterion::J, reference.mg_dl_per_min() < -2.0, falling),
            (Criterion::K, reference.mg_dl_per_min() > 2.0, rising),
        ] {
            if let (true, Some(hit)) = (fast, criterion.judge_rates(sensor, reference)) {
                tally.push(hit);
            }
        }
    }

    /// Hits and trials of a criterion. For J and K among all pairs of rates.
    #[must_use]
    pub fn tally(&self, criterion: Criterion) -> Tally {
        self.tallies.get(criterion as usize).copied().unwrap_or_default()
    }

    /// For J and K, hits among only those pairs whose reference moves that fast: the stricter reading of the
    /// rule, which does not spell out the denominator. `None` for the others.
    #[must_use]
    pub const fn fast_tally(&self, criterion: Criterion) -> Option<Tally> {
        let [falling, rising] = self.fast;
        match criterion {
            Criterion::J => Some(falling),
            Criterion::K => Some(rising),
            _ => None,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn opposite_rates_are_forbidden_beyond_their_edges_only() {
        let judged = |criterion: Criterion, sensor, reference| {
            criterion.judge_rates(Rate::clamped(sensor), Rate::clamped(reference))
        };
        // 21 CFR 862.1355(b)(1)(v)(J) and (K): every "exceeds" is strict
        for (sensor, reference, forbidden) in [
            (1.1, -2.1, true),
            (1.0, -2.1, false),
            (1.1, -2.0, false),
            (2.0, -2.0, false),
            (0.0, -3.0, false),
            (3.0, 0.0, false),
        ] {
            assert_eq!(judged(Criterion::J, sensor, reference), Some(forbidden), "J {sensor} {reference}");
            assert_eq!(judged(Criterion::K, -sensor, -reference), Some(forbidden), "K {sensor} {reference}");
            assert_eq!(judged(Criterion::K, sensor, reference), Some(false));
        }
        assert_eq!(judged(Criterion::A, 3.0, -3.0), None);
    }

    #[test]
    fn a_bound_must_exceed_what_is_required() {
        let tally = Tally::new(95, 100).unwrap();
        for (bound, verdict) in [(85.0, Compliance::NotMet), (85.1, Compliance::Met)] {
            assert_eq!(Criterion::A.verdict(&tally, Some(bound)), verdict);
        }
    }
}
