//! Who was right when two sensors disagreed.

use super::tally::Tally;
use crate::error::{Error, in_range};
use crate::units::Glucose;

/// Counts, over references taken while two sensors were apart, which of the two was nearer. 20 bytes.
///
/// Two sensors disagree when they are more than x mg/dL apart at a reference under 100, or more than x percent
/// of it at or above.
///
/// Feature `defmt` gives `Format`.
///
/// # Examples
/// ```
/// use glidepath::accuracy::SensorDisagreements;
/// use glidepath::Glucose;
/// let mg_dl = Glucose::from_mg_dl;
/// let mut disputes = SensorDisagreements::new(20.0)?;
/// disputes.push(mg_dl(150.0)?, mg_dl(110.0)?, mg_dl(145.0)?);
/// disputes.push(mg_dl(100.0)?, mg_dl(105.0)?, mg_dl(140.0)?); // of one mind, though both wrong
/// assert_eq!((disputes.first_nearer().hits(), disputes.first_nearer().trials()), (1, 1));
/// # Ok::<(), glidepath::Error>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct SensorDisagreements {
    apart: f32,
    checked: u32,
    nearer: Tally,
    even: u32,
}

impl SensorDisagreements {
    /// Sensors disagree when more than `apart` mg/dL or percent from each other.
    ///
    /// # Errors
    /// When not within 1 to 100.
    pub fn new(apart: f32) -> Result<Self, Error> {
        let apart = in_range("apart", apart, 1.0, 100.0)?;
        Ok(Self { apart, checked: 0, nearer: Tally::default(), even: 0 })
    }

    /// Takes both sensors' values at a reference; says whether they disagreed.
    pub fn push(&mut self, first: Glucose, second: Glucose, reference: Glucose) -> bool {
        self.checked = self.checked.saturating_add(1);
        let (first, second, reference) = (first.mg_dl(), second.mg_dl(), reference.mg_dl());
        let limit = if reference < 100.0 { self.apart } else { self.apart * reference / 100.0 };
        let disagree = (first - second).abs() > limit;
        if disagree {
            let (a, b) = ((first - reference).abs(), (second - reference).abs());
            if a == b {
                self.even = self.even.saturating_add(1);
            } else {
                self.nearer.push(a < b);
            }
        }
        disagree
    }

    /// How many references were looked at.
    #[must_use]
    pub const fn references(&self) -> u32 {
        self.checked
    }

    /// How often the first sensor was nearer, of the disagreements with a winner.
    #[must_use]
    pub const fn first_nearer(&self) -> Tally {
        self.nearer
    }

    /// Disagreements in which both were equally far off.
    #[must_use]
    pub const fn ties(&self) -> u32 {
        self.even
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn who_was_nearer_counts_only_where_they_disagree() {
        let mut disputes = SensorDisagreements::new(20.0).unwrap();
        let mut push = |first, second, reference| {
            let glucose = [first, second, reference].map(Glucose::clamped);
            disputes.push(glucose[0], glucose[1], glucose[2])
        };
        assert!(!push(99.0, 79.0, 90.0)); // 20 mg/dL apart is not more than 20
        assert!(push(99.5, 79.0, 90.0)); // under 100 by mg/dL; the first is nearer
        assert!(!push(100.0, 80.0, 100.0)); // from 100 on by percent
        assert!(!push(180.0, 220.0, 200.0)); // 40 is 20 % of 200
        assert!(push(179.0, 220.0, 200.0)); // the second is nearer
        assert!(push(221.0, 180.0, 200.0)); // again the second
        assert!(push(120.0, 180.0, 150.0)); // both 30 off
        assert!(push(180.0, 120.0, 150.0));
        assert_eq!((disputes.references(), disputes.ties()), (8, 2));
        assert_eq!(disputes.first_nearer(), Tally::new(1, 3).unwrap());
    }
}
