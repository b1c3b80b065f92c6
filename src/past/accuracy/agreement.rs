//! Agreement rates: within x mg/dL of a low value, within x percent of any other.

use super::pair::Pair;
use super::tally::Tally;
use crate::error::{Error, in_range};

/// Which value decides whether a pair is low.
///
/// Feature `defmt` gives `Format`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum CutoffBy {
    /// The reference's, as in ISO 15197 and most publications.
    Reference,
    /// The sensor's, as in 21 CFR 862.1355.
    Sensor,
}

/// An agreement rule "x/x": within x mg/dL when the deciding value is under the cut, else within x percent of
/// the reference; bounds belong inside.
///
/// Publications differ in the cut and in the deciding value, and the same pairs then give other rates: say
/// which with every figure. The default here is 100 mg/dL by the reference.
///
/// Feature `defmt` gives `Format`.
///
/// # Examples
/// ```
/// use glidepath::accuracy::{AgreementRule, Pair, CutoffBy};
/// use glidepath::{Glucose, Instant};
/// let mg_dl = Glucose::from_mg_dl;
/// let pair = Pair::new(Instant::from_secs(0), mg_dl(81.0)?, mg_dl(101.0)?)?;
/// assert!(AgreementRule::new(20.0)?.agrees(&pair)); // 20 of 101 is within 20 %
/// let by_sensor = AgreementRule::new(15.0)?.with_cutoff(100.0, CutoffBy::Sensor)?;
/// assert!(!by_sensor.agrees(&pair));
/// # Ok::<(), glidepath::Error>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct AgreementRule {
    limit: f32,
    cut_mg_dl: f32,
    by: CutoffBy,
}

impl AgreementRule {
    /// The rule `limit`/`limit` with the cut at 100 mg/dL by the reference.
    ///
    /// # Errors
    /// When the limit is not within 1 to 100.
    pub fn new(limit: f32) -> Result<Self, Error> {
        let limit = in_range("limit", limit, 1.0, 100.0)?;
        Ok(Self { limit, cut_mg_dl: 100.0, by: CutoffBy::Reference })
    }

    /// With another cut, 0 to 400 mg/dL, or another deciding value. A cut of 0 leaves percent alone.
    ///
    /// # Errors
    /// When the cut is out of range.
    pub fn with_cutoff(self, cut_mg_dl: f32, by: CutoffBy) -> Result<Self, Error> {
        Ok(Self { cut_mg_dl: in_range("cut", cut_mg_dl, 0.0, 400.0)?, by, ..self })
    }

    /// Whether the pair agrees.
    #[must_use]
    pub fn agrees(&self, pair: &Pair) -> bool {
        let deciding = match self.by {
            CutoffBy::Reference => pair.reference(),
            CutoffBy::Sensor => pair.sensor(),
        };
        if deciding.mg_dl() < self.cut_mg_dl {
            pair.within_mg_dl(self.limit)
        } else {
            pair.within_percent(self.limit)
        }
    }
}

/// The four usual agreement rates, 15/15 to 40/40, with one cut-off. 40 bytes.
///
/// Feature `defmt` gives `Format`.
///
/// # Examples
/// ```
/// use glidepath::accuracy::{AgreementRates, Pair, CutoffBy};
/// use glidepath::{Glucose, Instant};
/// let mg_dl = Glucose::from_mg_dl;
/// let mut agreement = AgreementRates::new(100.0, CutoffBy::Reference)?;
/// agreement.push(&Pair::new(Instant::from_secs(0), mg_dl(120.0)?, mg_dl(100.0)?)?);
/// assert_eq!(agreement.within_15_15().percent(), Some(0.0));
/// assert_eq!(agreement.within_20_20().percent(), Some(100.0));
/// # Ok::<(), glidepath::Error>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct AgreementRates {
    cut_mg_dl: f32,
    by: CutoffBy,
    tallies: [Tally; 4],
}

const LIMITS: [f32; 4] = [15.0, 20.0, 30.0, 40.0];

impl AgreementRates {
    /// No pairs yet.
    ///
    /// # Errors
    /// When the cut is not within 0 to 400 mg/dL.
    pub fn new(cut_mg_dl: f32, by: CutoffBy) -> Result<Self, Error> {
        let cut_mg_dl = in_range("cut", cut_mg_dl, 0.0, 400.0)?;
        Ok(Self { cut_mg_dl, by, tallies: [Tally::default(); 4] })
    }

    /// Counts one pair.
    pub fn push(&mut self, pair: &Pair) {
        for (limit, tally) in LIMITS.into_iter().zip(&mut self.tallies) {
            tally.push(AgreementRule { limit, cut_mg_dl: self.cut_mg_dl, by: self.by }.agrees(pair));
        }
    }

    /// Within 15 mg/dL or 15 %.
    #[must_use]
    pub const fn within_15_15(&self) -> Tally {
        let [tally, ..] = self.tallies;
        tally
    }

    /// Within 20 mg/dL or 20 %.
    #[must_use]
    pub const fn within_20_20(&self) -> Tally {
        let [_, tally, ..] = self.tallies;
        tally
    }

    /// Within 30 mg/dL or 30 %.
    #[must_use]
    pub const fn within_30_30(&self) -> Tally {
        let [_, _, tally, _] = self.tallies;
        tally
    }

    /// Within 40 mg/dL or 40 %.
    #[must_use]
    pub const fn within_40_40(&self) -> Tally {
        let [_, _, _, tally] = self.tallies;
        tally
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::{Glucose, Instant};

    #[test]
    fn a_value_at_the_cut_goes_by_percent() {
        let rule = AgreementRule::new(20.0).unwrap().with_cutoff(70.0, CutoffBy::Reference).unwrap();
        let pair = |sensor, reference| {
            Pair::new(Instant::from_secs(0), Glucose::clamped(sensor), Glucose::clamped(reference)).unwrap()
        };
        assert!(rule.agrees(&pair(89.0, 69.0)));
        assert!(!rule.agrees(&pair(90.0, 70.0)));
        assert!(rule.agrees(&pair(84.0, 70.0)));
    }

    #[test]
    fn unreasonable_settings_are_refused() {
        assert!(AgreementRule::new(0.5).is_err());
        assert!(AgreementRule::new(f32::NAN).is_err());
        assert!(AgreementRule::new(15.0).unwrap().with_cutoff(-1.0, CutoffBy::Sensor).is_err());
        assert!(AgreementRates::new(401.0, CutoffBy::Sensor).is_err());
    }
}
