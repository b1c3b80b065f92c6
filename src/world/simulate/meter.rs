//! A fingerstick meter.

use super::random::Random;
use super::truth::Truth;
use crate::error::{Error, in_range};
use crate::math;
use crate::reading::{Fingerstick, METER_LEAST_SD, METER_PERCENT};
use crate::units::Glucose;

/// How far off a meter is: a normal error whose standard deviation is the larger of a fixed one and a share
/// of the value.
///
/// # Source
/// ISO 15197:2013 asks for 95 % of results within 15 mg/dL (under 100) or 15 %: a standard deviation of
/// 7.65 at the limit. A good meter is well inside: 5 mg/dL or 6 % (common practice, no source).
///
/// In a file (feature `serde`) it is a table of `floor_mg_dl` and `percent`; a key left out is the usual meter's.
///
/// # Examples
/// ```
/// use glidepath::simulate::MeterModel;
/// let at_the_limit = MeterModel::new(7.65, 7.65)?; // just meets ISO 15197:2013
/// # let _ = at_the_limit;
/// # Ok::<(), glidepath::Error>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct MeterModel {
    pub(super) floor_mg_dl: f32,
    pub(super) percent: f32,
}

impl MeterModel {
    /// 5 mg/dL or 6 %, as [`Fingerstick::meter_sd`] takes meters to be.
    pub const USUAL: Self = Self { floor_mg_dl: METER_LEAST_SD, percent: METER_PERCENT };

    /// A meter without error.
    pub const PERFECT: Self = Self { floor_mg_dl: 0.0, percent: 0.0 };

    /// A standard deviation of `floor_mg_dl` (0 to 100) or `percent` of the value (0 to 50).
    ///
    /// # Errors
    /// When either is outside its range.
    pub const fn new(floor_mg_dl: f32, percent: f32) -> Result<Self, Error> {
        match (in_range("floor_mg_dl", floor_mg_dl, 0.0, 100.0), in_range("percent", percent, 0.0, 50.0)) {
            (Ok(floor_mg_dl), Ok(percent)) => Ok(Self { floor_mg_dl, percent }),
            (Err(error), _) | (_, Err(error)) => Err(error),
        }
    }
}

impl Default for MeterModel {
    fn default() -> Self {
        Self::USUAL
    }
}

/// A meter with its own stream of errors. About 32 bytes.
///
/// # Examples
/// ```
/// use glidepath::simulate::{Meter, MeterModel, Truth};
/// use glidepath::{Glucose, Instant, Rate};
/// let truth = Truth::new(Instant::from_secs(0), Glucose::from_mg_dl(100.0)?, Rate::from_mg_dl_per_min(0.0)?);
/// let fingerstick = Meter::new(1, MeterModel::PERFECT).measure(&truth);
/// assert_eq!(fingerstick.glucose(), truth.plasma());
/// # Ok::<(), glidepath::Error>(())
/// ```
#[derive(Clone, Debug)]
pub struct Meter {
    model: MeterModel,
    random: Random,
}

impl Meter {
    /// The meter of `seed`.
    #[must_use]
    pub const fn new(seed: u64, model: MeterModel) -> Self {
        Self { model, random: Random::new(seed, 30) }
    }

    /// A fingerstick, in whole mg/dL from 20 to 600.
    pub fn measure(&mut self, truth: &Truth) -> Fingerstick {
        let plasma = truth.plasma().mg_dl();
        let sd = self.model.floor_mg_dl.max(self.model.percent / 100.0 * plasma);
        let shown = math::round(plasma + sd * self.random.normal()).clamp(20.0, 600.0);
        Fingerstick::new(truth.at(), Glucose::clamped(shown))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::units::{Instant, Rate};

    #[test]
    fn errors_have_the_stated_spread() {
        let mut meter = Meter::new(2, MeterModel::USUAL);
        for (plasma, sd) in [(60.0, 5.0), (200.0, 12.0)] {
            let truth = Truth::new(Instant::from_secs(0), Glucose::clamped(plasma), Rate::clamped(0.0));
            let n = if cfg!(miri) { 100_u16 } else { 10_000 };
            let squares: f32 = (0..n)
                .map(|_| meter.measure(&truth).glucose().mg_dl() - plasma)
                .map(|error| error * error)
                .sum();
            if !cfg!(miri) {
                assert!((math::sqrt(squares / f32::from(n)) / sd - 1.0).abs() < 0.03);
            }
        }
    }
}
