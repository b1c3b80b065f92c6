//! The trend: a direction with a pace, from the rate of change, or "not known".
//!
//! Bands: steady within ±1 mg/dL/min, moderate from 1 to 2, fast beyond 2 (the bins of CLSI POCT05, 2nd ed.
//! 2020). Which one is named follows from what errors cost: a band further out is named as soon as the probability
//! of being there makes missing it dearer than naming it wrongly. With costs `m` and `w` that is a probability of `w/(m +
//! w)`; for a rate whose error is logistic, the edge is met early by `s·√3/π·ln(m/w)`, `s` its standard
//! deviation. A change of band needs the edge to be passed by a margin, so that the sign does not flicker.
//!
//! On people the rate to go by is the one to expect over the next 20 minutes
//! ([`forecast`](crate::forecast)), not that of the past: a rate that was seldom goes on.
//!
//! Sources: the decision by costs, textbook (Bayes risk); the logistic distribution, textbook.

use crate::codec::{Codec, Coded};
use crate::error::{Error, ErrorKind, in_range};
use crate::math;
use crate::timeline::Reset;
use crate::units::Rate;

/// A logistic distribution's scale for each unit of its standard deviation: √3/π.
const LOGISTIC_SCALE: f32 = 0.551_328_9;

/// How fast glucose moves. Defaults: moderate 1 to 2, fast over 2 mg/dL/min.
///
/// Features: `serde` gives `Serialize` and `Deserialize`, `defmt` gives `Format`.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize), serde(rename_all = "snake_case"))]
pub enum Pace {
    /// Between the steady band and the fast one.
    Moderate,
    /// Beyond the fast edge.
    Fast,
}

/// Where glucose is going.
///
/// Features: `serde` gives `Serialize` and `Deserialize`, `defmt` gives `Format`.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Default)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize), serde(rename_all = "snake_case"))]
pub enum Trend {
    /// No fresh data, or a rate too uncertain to say.
    #[default]
    NotKnown,
    /// Going down.
    Falling(Pace),
    /// Within the steady band.
    Steady,
    /// Going up.
    Rising(Pace),
}

/// In words: `falling fast`.
impl core::fmt::Display for Trend {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        f.pad(self.words())
    }
}

impl Trend {
    /// In plain words: `falling fast`, `falling`, `steady`, `rising`, `rising fast`, `not known`.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::NotKnown => "not known",
            Self::Falling(Pace::Fast) => "falling fast",
            Self::Falling(Pace::Moderate) => "falling",
            Self::Steady => "steady",
            Self::Rising(Pace::Moderate) => "rising",
            Self::Rising(Pace::Fast) => "rising fast",
        }
    }
}

/// The edges of the bands, and what errors cost. 20 bytes.
///
/// Features: `serde` gives `Serialize` and `Deserialize`, `defmt` gives `Format`.
///
/// # Examples
/// ```
/// use glidepath::{Rate, trend::{Bands, TrendSign}};
/// let rate = Rate::from_mg_dl_per_min;
/// let mut sign = TrendSign::new(Bands::new(rate(0.5)?, rate(1.5)?, 0.1, 1.0)?); // to learn of changes sooner
/// assert_eq!(sign.step(Some(rate(0.7)?), 0.3).words(), "rising");
/// assert_eq!(sign.step(Some(rate(0.7)?), 1.2).words(), "not known"); // too vague
/// # Ok::<(), glidepath::Error>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "serde", serde(try_from = "Parts", into = "Parts"))]
pub struct Bands {
    moderate: f32,
    fast: f32,
    margin: f32,
    widest_sd: f32,
    /// m/w.
    missing_costs: f32,
}

/// [`Bands`] as written in a file: read back through their gates.
#[cfg(feature = "serde")]
#[derive(serde::Serialize, serde::Deserialize)]
#[serde(default, deny_unknown_fields, rename = "Bands")]
struct Parts {
    moderate: Rate,
    fast: Rate,
    margin: Rate,
    widest_sd: Rate,
    missing_costs: f32,
}

#[cfg(feature = "serde")]
impl Default for Parts {
    fn default() -> Self {
        Bands::default().into()
    }
}

#[cfg(feature = "serde")]
impl TryFrom<Parts> for Bands {
    type Error = Error;
    fn try_from(written: Parts) -> Result<Self, Error> {
        let Parts { moderate, fast, margin, widest_sd, missing_costs } = written;
        Self::new(moderate, fast, margin.mg_dl_per_min(), widest_sd.mg_dl_per_min())?
            .with_missing_costing(missing_costs)
    }
}

#[cfg(feature = "serde")]
impl From<Bands> for Parts {
    fn from(bands: Bands) -> Self {
        Self {
            moderate: Rate::clamped(bands.moderate),
            fast: Rate::clamped(bands.fast),
            margin: Rate::clamped(bands.margin),
            widest_sd: Rate::clamped(bands.widest_sd),
            missing_costs: bands.missing_costs,
        }
    }
}

impl Default for Bands {
    /// Edges at 1 and 2 mg/dL/min, a margin of 0.1, not known above a standard deviation of 2; missing a band
    /// further out costs 2 times as much as a false one.
    fn default() -> Self {
        Self { moderate: 1.0, fast: 2.0, margin: 0.1, widest_sd: 2.0, missing_costs: 2.0 }
    }
}

impl Bands {
    /// Bands from their edges, all mg/dL/min: `moderate` 0.1 to 10, `fast` above it and up to 10, `margin`
    /// 0 to half of `moderate`, `widest_sd` 0.1 to 10.
    ///
    /// # Errors
    /// Names the parameter that is out of range or at odds with another.
    pub fn new(moderate: Rate, fast: Rate, margin: f32, widest_sd: f32) -> Result<Self, Error> {
        let (moderate, fast) = (moderate.mg_dl_per_min(), fast.mg_dl_per_min());
        Self { moderate, fast, margin, widest_sd, ..Self::default() }.checked()
    }

    /// The same, where missing a band further out costs `times` as much as naming one that is not reached, 0.05 to 20; 1
    /// goes by the rate alone.
    ///
    /// # Errors
    /// When `times` is out of range.
    pub fn with_missing_costing(self, times: f32) -> Result<Self, Error> {
        Self { missing_costs: times, ..self }.checked()
    }

    /// Up to this rate, in either direction, it is steady.
    #[must_use]
    pub const fn moderate(&self) -> Rate {
        Rate::clamped(self.moderate)
    }

    /// From this rate on it is fast.
    #[must_use]
    pub const fn fast(&self) -> Rate {
        Rate::clamped(self.fast)
    }

    /// How far beyond an edge the rate must be for the trend to leave its band, mg/dL/min.
    #[must_use]
    pub const fn margin(&self) -> f32 {
        self.margin
    }

    /// Above this standard deviation of the rate the trend is not known, mg/dL/min.
    #[must_use]
    pub const fn widest_sd(&self) -> f32 {
        self.widest_sd
    }

    /// How many times as much it costs to miss a band further out as to name one that is not reached.
    #[must_use]
    pub const fn missing_costs(&self) -> f32 {
        self.missing_costs
    }

    fn checked(self) -> Result<Self, Error> {
        in_range("moderate", self.moderate, 0.1, 10.0)?;
        in_range("fast", self.fast, 0.1, 10.0)?;
        if self.fast <= self.moderate {
            return Err(Error::new("fast", ErrorKind::Inconsistent));
        }
        in_range("margin", self.margin, 0.0, self.moderate / 2.0)?;
        in_range("widest_sd", self.widest_sd, 0.1, 10.0)?;
        in_range("missing_costs", self.missing_costs, 0.05, 20.0)?;
        Ok(self)
    }
}

/// Names the trend of a rate, remembering the last so as not to flicker. 24 bytes.
///
/// Feature `defmt` gives `Format`.
///
/// # Examples
/// A trend sign for existing firmware, three lines:
/// ```
/// use glidepath::{Rate, trend::{Pace, Trend, TrendSign}};
/// let mut sign = TrendSign::default();
/// let trend = sign.step(Some(Rate::from_mg_dl_per_min(-1.6)?), 0.5);
/// assert_eq!(trend, Trend::Falling(Pace::Moderate));
/// # Ok::<(), glidepath::Error>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Default)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct TrendSign {
    bands: Bands,
    last: Trend,
}

impl TrendSign {
    /// A sign with these bands, not known yet.
    #[must_use]
    pub const fn new(bands: Bands) -> Self {
        Self { bands, last: Trend::NotKnown }
    }

    /// Starts anew, whatever the cause: the last trend is forgotten.
    pub fn reset(&mut self, _: Reset) {
        self.last = Trend::NotKnown;
    }

    /// The trend of `rate`, whose standard deviation is `sd` (mg/dL/min; 0 if it has none). No rate, or a
    /// standard deviation too wide, negative or not a number: not known.
    ///
    /// # Examples
    /// ```
    /// use glidepath::{Rate, trend::{Trend, TrendSign}};
    /// let mut sign = TrendSign::default();
    /// let falling = Rate::from_mg_dl_per_min(-1.6)?;
    /// assert_eq!(sign.step(Some(falling), 0.3).words(), "falling");
    /// assert_eq!(sign.step(Some(falling), 2.5), Trend::NotKnown); // too uncertain
    /// assert_eq!(sign.step(None, 0.0), Trend::NotKnown);
    /// # Ok::<(), glidepath::Error>(())
    /// ```
    pub fn step(&mut self, rate: Option<Rate>, sd: f32) -> Trend {
        self.last = match rate {
            Some(rate) if sd >= 0.0 && sd <= self.bands.widest_sd => {
                let lean = math::ln(self.bands.missing_costs);
                self.class(rate.mg_dl_per_min(), LOGISTIC_SCALE * sd * lean)
            }
            _ => Trend::NotKnown,
        };
        self.last
    }

    /// Its bands.
    #[must_use]
    pub const fn bands(&self) -> &Bands {
        &self.bands
    }

    /// The trend as last named.
    #[must_use]
    pub const fn last(&self) -> Trend {
        self.last
    }

    /// The new band of a rate: an edge further out must be passed by the margin, and likewise on the way back.
    fn class(&self, rate: f32, early: f32) -> Trend {
        let (bands, falls, was) = (&self.bands, rate < 0.0, signed_band(self.last));
        let was = if falls { was.wrapping_neg() } else { was };
        let passed = |edge: f32, step: i8| {
            let margin = match self.last {
                Trend::NotKnown => 0.0,
                _ if was >= step => -bands.margin,
                _ => bands.margin,
            };
            rate != 0.0 && rate.abs() + early > edge + margin
        };
        let pace = if passed(bands.fast, 2) {
            Pace::Fast
        } else if passed(bands.moderate, 1) {
            Pace::Moderate
        } else {
            return Trend::Steady;
        };
        if falls { Trend::Falling(pace) } else { Trend::Rising(pace) }
    }
}

impl Coded for Bands {
    fn code(&mut self, codec: &mut Codec<'_>) {
        let mut bands = *self;
        let Self { moderate, fast, margin, widest_sd, missing_costs } = &mut bands;
        for number in [moderate, fast, margin, widest_sd, missing_costs] {
            *number = codec.any_number(*number);
        }
        codec.gate(self, bands.checked());
    }
}

impl Coded for TrendSign {
    fn code(&mut self, codec: &mut Codec<'_>) {
        let Self { bands: _, last } = self;
        let all = [
            Trend::NotKnown,
            Trend::Falling(Pace::Fast),
            Trend::Falling(Pace::Moderate),
            Trend::Steady,
            Trend::Rising(Pace::Moderate),
            Trend::Rising(Pace::Fast),
        ];
        codec.one_of(last, &all);
    }
}

const fn signed_band(trend: Trend) -> i8 {
    match trend {
        Trend::Falling(Pace::Fast) => -2,
        Trend::Falling(Pace::Moderate) => -1,
        Trend::NotKnown | Trend::Steady => 0,
        Trend::Rising(Pace::Moderate) => 1,
        Trend::Rising(Pace::Fast) => 2,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn step(sign: &mut TrendSign, rate: f32) -> Trend {
        sign.step(Some(Rate::clamped(rate)), 0.0)
    }

    #[test]
    fn the_first_rate_is_classed_by_the_plain_edges() {
        for (rate, want) in [
            (0.0, "steady"),
            (1.0, "steady"),
            (-1.0, "steady"),
            (1.01, "rising"),
            (-1.5, "falling"),
            (2.0, "rising"),
            (-2.0, "falling"),
            (2.01, "rising fast"),
            (-9.0, "falling fast"),
        ] {
            assert_eq!(step(&mut TrendSign::default(), rate).words(), want, "{rate}");
        }
    }

    #[test]
    fn a_rate_near_an_edge_does_not_flicker() {
        let bands = Bands::new(Rate::clamped(1.0), Rate::clamped(2.0), 0.3, 2.0).unwrap();
        let mut sign = TrendSign::new(bands);
        for (rate, want) in [
            (0.9, "steady"),
            (1.2, "steady"),
            (1.31, "rising"),
            (0.8, "rising"),
            (0.69, "steady"),
            (2.5, "rising fast"),
            (1.8, "rising fast"),
            (1.69, "rising"),
            (-1.8, "falling"),
            (-2.2, "falling"),
            (-2.31, "falling fast"),
            (-1.8, "falling fast"),
            (-1.69, "falling"),
            (-0.8, "falling"),
            (-0.69, "steady"),
            (-1.2, "steady"),
            (2.31, "rising fast"),
        ] {
            assert_eq!(step(&mut sign, rate).words(), want, "{rate}");
        }
    }

    #[test]
    fn stale_or_vague_is_not_known() {
        let mut sign = TrendSign::default();
        assert_ne!(step(&mut sign, 3.0), Trend::NotKnown);
        assert_eq!(sign.step(None, 0.1), Trend::NotKnown);
        assert_eq!(sign.step(Some(Rate::clamped(3.0)), 2.1), Trend::NotKnown);
        assert_eq!(sign.step(Some(Rate::clamped(3.0)), f32::NAN), Trend::NotKnown);
    }

    #[test]
    fn bands_are_gated() {
        let rate = Rate::clamped;
        assert_eq!(Bands::new(rate(2.0), rate(1.0), 0.1, 1.0).unwrap_err().kind(), ErrorKind::Inconsistent);
        assert_eq!(Bands::new(rate(1.0), rate(2.0), 0.6, 1.0).unwrap_err().parameter(), "margin");
        let bands = Bands::new(rate(1.0), rate(3.0), 0.5, 1.5).unwrap().with_missing_costing(4.0).unwrap();
        assert_eq!((bands.moderate(), bands.fast()), (rate(1.0), rate(3.0)));
        assert_eq!((bands.margin(), bands.widest_sd(), bands.missing_costs()), (0.5, 1.5, 4.0));
    }
}
