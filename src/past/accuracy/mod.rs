//! Which sensor to believe: a sensor against fingersticks, and two sensors side by side.
//!
//! Everything here looks back. What can stream does, in fixed memory; what needs all pairs takes a slice and
//! says so. A home sample shows how a sensor does on its wearer; it decides nothing about a product.
//!
//! | question | here |
//! | --- | --- |
//! | which values belong together | [`Pairing`] |
//! | how far off | [`PointAccuracy`], [`median`], [`LimitsOfAgreement`], [`AgreementRates`] |
//! | how sure of that | [`bias_interval`], [`mard_interval`], [`cluster_interval`], [`Tally`], [`cluster_lower_percent`] |
//! | does it matter | [`clarke`], [`Parkes`], [`Concurrence`] |
//! | is the direction right | [`RateAgreement`] |
//! | did the alerts come | [`AlertRule`] |
//! | what a rule asks for | [`IcgmCriteria`], [`Iso15197`] |
//! | is it getting worse | [`drift_interval`] |
//! | how late | [`LagScan`], [`DisplayedAge`] |
//! | was it there | [`MissingData`] |
//! | which of two | [`SensorDisagreements`], [`cost_per_day`] |
//!
//! # Examples
//! A sensor against a day's fingersticks:
//! ```
//! use glidepath::accuracy::{Method, Paired, Pairing, PointAccuracy, ZoneCounts, clarke};
//! use glidepath::{Fingerstick, Glucose, Instant, Reading, Span};
//!
//! let mg_dl = Glucose::from_mg_dl;
//! let readings = [
//!     Reading::new(Instant::from_secs(0), mg_dl(100.0)?),
//!     Reading::new(Instant::from_secs(300), mg_dl(110.0)?),
//! ];
//! let fingersticks = [Fingerstick::new(Instant::from_secs(250), mg_dl(100.0)?)];
//!
//! let (mut accuracy, mut zones, mut unpaired) = (PointAccuracy::new(), ZoneCounts::new(), 0);
//! for paired in Pairing::new(Method::Nearest, Span::from_mins(5))?.pairs(&readings, &fingersticks) {
//!     match paired {
//!         Paired::Pair(pair) => {
//!             accuracy.push(&pair);
//!             zones.push(clarke(pair.reference(), pair.sensor()));
//!         }
//!         Paired::Unpaired(..) => unpaired += 1,
//!     }
//! }
//! assert_eq!(accuracy.mard_percent(), Some(10.0));
//! assert_eq!(unpaired, 0);
//! # Ok::<(), glidepath::Error>(())
//! ```

mod agreement;
mod alerts;
mod beta;
mod clarke;
mod concurrence;
mod cost;
mod disputes;
mod drift;
mod grid;
mod interval;
mod iso_15197;
mod lag;
mod limits;
mod missing;
mod number_age;
mod pair;
mod pairing;
mod parkes;
mod point;
mod rates;
mod regulation;
mod tally;

pub use agreement::{AgreementRates, AgreementRule, CutoffBy};
pub use alerts::{AlertRates, AlertRule, AlertSide};
pub use clarke::clarke;
pub use concurrence::Concurrence;
pub use cost::{CostPart, cost_per_day};
pub use disputes::SensorDisagreements;
pub use drift::drift_interval;
pub use grid::{Zone, ZoneCounts};
pub use interval::{ConfidenceInterval, cluster_interval};
pub use iso_15197::Iso15197;
pub use lag::{LagScan, lag_interval, local_line};
pub use limits::LimitsOfAgreement;
pub use missing::{MissingData, MissingSummary, Period};
pub use number_age::DisplayedAge;
pub use pair::Pair;
pub use pairing::{Method, Paired, Pairing, Pairs, Unpaired};
pub use parkes::Parkes;
pub use point::{PointAccuracy, bias_interval, mard_interval, median};
pub use rates::RateAgreement;
pub use regulation::{Compliance, Criterion, IcgmCriteria, Requirement};
pub use tally::{Tally, cluster_lower_percent};

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn sizes_are_as_documented() {
        assert_eq!(size_of::<Pair>(), 12);
        assert_eq!(size_of::<ConfidenceInterval>(), 16);
        assert_eq!(size_of::<Tally>(), 8);
        assert_eq!(size_of::<PointAccuracy>(), 80);
        assert_eq!(size_of::<AgreementRates>(), 40);
        assert_eq!(size_of::<ZoneCounts>(), 20);
        assert_eq!(size_of::<Concurrence>(), 484);
        assert_eq!(size_of::<RateAgreement>(), 180);
        assert_eq!(size_of::<IcgmCriteria>(), 104);
        assert_eq!(size_of::<Iso15197>(), 28);
        assert_eq!(size_of::<DisplayedAge>(), 268);
        assert_eq!(size_of::<MissingData>(), 156);
        assert_eq!(size_of::<MissingSummary>(), 20);
        assert_eq!(size_of::<LagScan>(), 1224);
        assert_eq!(size_of::<SensorDisagreements>(), 20);
    }
}
