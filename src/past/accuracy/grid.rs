//! Zones of an error grid and their counts.

/// A zone of an error grid, from harmless to dangerous.
///
/// Features: `serde` gives `Serialize` and `Deserialize`, `defmt` gives `Format`.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub enum Zone {
    /// No effect on what one would do.
    A,
    /// Little or no effect on the outcome.
    B,
    /// Likely to affect the outcome.
    C,
    /// A significant medical risk.
    D,
    /// Dangerous.
    E,
}

impl Zone {
    /// All zones, harmless first.
    pub const ALL: [Self; 5] = [Self::A, Self::B, Self::C, Self::D, Self::E];

    /// The zone's letter.
    #[must_use]
    pub const fn letter(self) -> char {
        match self {
            Self::A => 'A',
            Self::B => 'B',
            Self::C => 'C',
            Self::D => 'D',
            Self::E => 'E',
        }
    }
}

/// How many pairs fell in each zone. 20 bytes.
///
/// Feature `defmt` gives `Format`.
///
/// # Examples
/// ```
/// use glidepath::accuracy::{Zone, ZoneCounts, clarke};
/// use glidepath::Glucose;
/// let mg_dl = Glucose::from_mg_dl;
/// let mut counts = ZoneCounts::new();
/// counts.push(clarke(mg_dl(100.0)?, mg_dl(110.0)?));
/// assert_eq!((counts.count(Zone::A), counts.total()), (1, 1));
/// # Ok::<(), glidepath::Error>(())
/// ```
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct ZoneCounts {
    counts: [u32; 5],
}

impl ZoneCounts {
    /// No pairs yet.
    #[must_use]
    pub const fn new() -> Self {
        Self { counts: [0; 5] }
    }

    /// Counts one pair.
    pub fn push(&mut self, zone: Zone) {
        if let Some(count) = self.counts.get_mut(zone as usize) {
            *count = count.saturating_add(1);
        }
    }

    /// How many in one zone.
    #[must_use]
    pub fn count(&self, zone: Zone) -> u32 {
        self.counts.get(zone as usize).copied().unwrap_or(0)
    }

    /// How many in all.
    #[must_use]
    pub fn total(&self) -> u32 {
        self.counts.iter().fold(0, |sum, count| sum.saturating_add(*count))
    }

    /// The share of one zone, percent.
    #[must_use]
    pub fn percent(&self, zone: Zone) -> Option<f32> {
        let total = self.total();
        (total > 0).then(|| 100.0 * self.count(zone) as f32 / total as f32)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn shares_are_of_all_pairs() {
        let mut zones = ZoneCounts::new();
        assert_eq!(zones.percent(Zone::A), None);
        for zone in [Zone::A, Zone::A, Zone::A, Zone::B, Zone::D] {
            zones.push(zone);
        }
        assert_eq!(
            [Zone::A, Zone::B, Zone::C].map(|zone| zones.percent(zone)),
            [Some(60.0), Some(20.0), Some(0.0)]
        );
    }
}
