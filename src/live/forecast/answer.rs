//! What a forecast says: a value at a horizon, and a direction, each with how sure it is.

use crate::error::{Error, in_range};
use crate::math;
use crate::math::Bounded as _;
use crate::units::{Glucose, Rate};

/// The standard deviation of a logistic distribution for each unit of its quartile: π/(√3 ln 3).
const SD_OF_QUARTILE: f32 = 1.650_987;
/// The logistic distribution's scale for each unit of its standard deviation: √3/π.
const SCALE_OF_SD: f32 = 0.551_328_9;
/// The normal deviate of 97.5 %.
const TAIL_DEVIATE: f32 = 1.959_964;

/// What the sensor will read at a horizon. 12 bytes.
///
/// The errors have longer tails than a normal distribution: no one standard deviation gives both the interval
/// that holds one half and that which holds 95 %. [`half_width_50`](Self::half_width_50) and
/// [`half_width_95`](Self::half_width_95) are tracked apart and give each; [`sd`](Self::sd) comes near both.
///
/// Features: `serde` gives `Serialize`, `defmt` gives `Format`.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
pub struct Predicted {
    pub(super) glucose: Glucose,
    #[cfg_attr(feature = "serde", serde(rename = "half_width_50"))]
    pub(super) half: f32,
    #[cfg_attr(feature = "serde", serde(rename = "half_width_95"))]
    pub(super) tail: f32,
}

impl Predicted {
    /// The expected value.
    #[must_use]
    pub const fn glucose(&self) -> Glucose {
        self.glucose
    }

    /// Its standard deviation, mg/dL: 1.96 of them hold some 94.5 %, 0.674 of them some 55 %.
    #[must_use]
    pub const fn sd(&self) -> f32 {
        sd(self.half, self.tail)
    }

    /// Half the width of the interval about the expected value that holds one half of what comes, mg/dL.
    #[must_use]
    pub const fn half_width_50(&self) -> f32 {
        self.half
    }

    /// Half the width of the interval that holds 95 % of what comes, mg/dL.
    #[must_use]
    pub const fn half_width_95(&self) -> f32 {
        self.tail
    }
}

/// Between the deviation that a logistic distribution has for its quartile and a normal one for its tails.
pub(super) const fn sd(half: f32, tail: f32) -> f32 {
    0.4 * SD_OF_QUARTILE * half + 0.6 * tail / TAIL_DEVIATE
}

/// The rate to expect on the whole over 20 minutes, and how sure it is. 8 bytes.
///
/// It is that of the sensor from 2 minutes before to 18 minutes after the moment, as the fluid trails the blood by
/// about 2 minutes. Below 100 mg/dL a fall of 1 mg/dL/min or more that goes on is told to go on by 0.6 of it at
/// least: that people then eat is what commonly stops it, and not to be counted on.
///
/// Features: `serde` gives `Serialize` and `Deserialize`, `defmt` gives `Format`.
///
/// # Examples
/// ```
/// use glidepath::forecast::Direction;
/// use glidepath::{Rate, trend::TrendSign};
/// let direction = Direction::new(Rate::from_mg_dl_per_min(-1.6)?, 0.7)?;
/// let steady = direction.probability_below(Rate::from_mg_dl_per_min(1.0)?)
///     - direction.probability_below(Rate::from_mg_dl_per_min(-1.0)?);
/// assert!((steady - 0.173).abs() < 0.001); // logistic, of this standard deviation
/// let trend = TrendSign::default().step(Some(direction.rate()), direction.sd());
/// assert_eq!(trend.words(), "falling");
/// # Ok::<(), glidepath::Error>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "serde", serde(try_from = "AsWritten"))]
pub struct Direction {
    pub(super) rate: Rate,
    pub(super) sd: f32,
}

/// A [`Direction`] as written: read back through its gate.
#[cfg(feature = "serde")]
#[derive(serde::Deserialize)]
#[serde(deny_unknown_fields)]
struct AsWritten {
    rate: Rate,
    sd: f32,
}

#[cfg(feature = "serde")]
impl TryFrom<AsWritten> for Direction {
    type Error = Error;
    fn try_from(written: AsWritten) -> Result<Self, Error> {
        Self::new(written.rate, written.sd)
    }
}

impl Direction {
    /// From a rate and its standard deviation, 0.001 to 50 mg/dL/min.
    ///
    /// # Errors
    /// When the standard deviation is out of range.
    pub const fn new(rate: Rate, sd: f32) -> Result<Self, Error> {
        match in_range("sd", sd, 0.001, 50.0) {
            Ok(sd) => Ok(Self { rate, sd }),
            Err(error) => Err(error),
        }
    }

    /// The expected rate.
    #[must_use]
    pub const fn rate(&self) -> Rate {
        self.rate
    }

    /// Its standard deviation, mg/dL/min.
    #[must_use]
    pub const fn sd(&self) -> f32 {
        self.sd
    }

    /// The probability that the rate will be under `rate`, 0 to 1.
    #[must_use]
    pub fn probability_below(&self, rate: Rate) -> f32 {
        let above = rate.mg_dl_per_min() - self.rate.mg_dl_per_min();
        math::logistic(above / (SCALE_OF_SD * self.sd).at_least(1e-4))
    }
}
