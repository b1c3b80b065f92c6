//! A fingerstick meter.

use super::{Random, Truth};
use crate::error::{Error, in_range};
use crate::math;
use crate::reading::Fingerstick;
use crate::units::Glucose;

/// How far off a meter is: a normal error whose standard deviation is the larger of a fixed one and a share
/// of the value.
///
/// # Source
/// ISO 15197:2013 asks for 95 % of results within 15 mg/dL (under 100) or 15 %: a standard deviation of
/// 7.65 at the limit. A good meter is well inside: 5 mg/dL or 6 % (common practice, no source).
///
/// # Examples
/// ```
/// use glidepath::simulate::MeterModel;
/// let at_the_limit = MeterModel::new(7.65, 7.65)?; // just meets ISO 15197:2013
/// # let _ = at_the_limit;
/// # Ok::<(), glidepath::Error>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
pub struct MeterModel {
    floor: f32,
    share: f32,
}

impl MeterModel {
    /// 5 mg/dL or 6 %.
    pub const USUAL: Self = Self { floor: 5.0, share: 0.06 };

    /// A meter without error.
    pub const PERFECT: Self = Self { floor: 0.0, share: 0.0 };

    /// A standard deviation of `floor_mg_dl` (0 to 100) or `percent` of the value (0 to 50).
    ///
    /// # Errors
    /// When either is outside its range.
    pub const fn new(floor_mg_dl: f32, percent: f32) -> Result<Self, Error> {
        match (in_range("floor_mg_dl", floor_mg_dl, 0.0, 100.0), in_range("percent", percent, 0.0, 50.0)) {
            (Ok(floor), Ok(percent)) => Ok(Self { floor, share: percent / 100.0 }),
            (Err(error), _) | (_, Err(error)) => Err(error),
        }
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
        let sd = self.model.floor.max(self.model.share * plasma);
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
