//! What comes in: a sensor's reading, a fingerstick.

use crate::math;
use crate::units::{Glucose, Instant};

/// The standard deviation of a meter's error: percent of the value, and mg/dL at least.
pub(crate) const METER_PERCENT: f32 = 6.0;
pub(crate) const METER_LEAST_SD: f32 = 5.0;

/// What the sensor said about its own reading.
///
/// Features: `serde` gives `Serialize` and `Deserialize`, `defmt` gives `Format`.
///
/// # Examples
/// ```
/// use glidepath::{Glucose, Instant, Reading, Status};
/// // the sensor sent "below 40" instead of a number
/// let low = Reading::new(Instant::from_secs(300), Glucose::from_mg_dl(40.0)?).with_status(Status::BelowRange);
/// assert_eq!(low.status(), Status::BelowRange);
/// # Ok::<(), glidepath::Error>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Default)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize), serde(rename_all = "snake_case"))]
#[repr(u8)]
pub enum Status {
    /// An ordinary reading.
    #[default]
    Normal = 0,
    /// Under the sensor's range: the value is the range's lower end or less.
    BelowRange = 1,
    /// Over the sensor's range: the value is the range's upper end or more.
    AboveRange = 2,
    /// Read while the sensor warms up.
    WarmUp = 3,
    /// The sensor itself doubts the value.
    Doubtful = 4,
    /// The sensor reports a fault; the value means nothing.
    Fault = 5,
}

impl Status {
    /// All of them.
    pub(crate) const ALL: [Self; 6] =
        [Self::Normal, Self::BelowRange, Self::AboveRange, Self::WarmUp, Self::Doubtful, Self::Fault];

    /// A fixed name for files and logs.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Normal => "normal",
            Self::BelowRange => "below_range",
            Self::AboveRange => "above_range",
            Self::WarmUp => "warm_up",
            Self::Doubtful => "doubtful",
            Self::Fault => "fault",
        }
    }

    /// From its number in [`Status`]; other numbers count as a fault.
    pub(crate) const fn from_bits(bits: u8) -> Self {
        match bits {
            0 => Self::Normal,
            1 => Self::BelowRange,
            2 => Self::AboveRange,
            3 => Self::WarmUp,
            4 => Self::Doubtful,
            _ => Self::Fault,
        }
    }
}

/// One reading of a sensor: its time, its glucose, and the status that the sensor reports with it. 12 bytes.
///
/// Features: `serde` gives `Serialize` and `Deserialize`, `defmt` gives `Format`.
///
/// # Examples
/// ```
/// use glidepath::{Glucose, Instant, Reading};
/// let reading = Reading::new(Instant::from_secs(300), Glucose::from_mg_dl(104.0)?);
/// assert_eq!(reading.glucose().whole_mg_dl(), 104);
/// # Ok::<(), glidepath::Error>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Reading {
    at: Instant,
    glucose: Glucose,
    status: Status,
}

impl Reading {
    /// An ordinary reading.
    #[must_use]
    pub const fn new(at: Instant, glucose: Glucose) -> Self {
        Self { at, glucose, status: Status::Normal }
    }

    /// The same reading with the sensor's word on it.
    #[must_use]
    pub const fn with_status(self, status: Status) -> Self {
        Self { status, ..self }
    }

    /// When it was measured.
    #[must_use]
    pub const fn at(&self) -> Instant {
        self.at
    }

    /// The sensor's value.
    #[must_use]
    pub const fn glucose(&self) -> Glucose {
        self.glucose
    }

    /// The status that the sensor reports with it.
    #[must_use]
    pub const fn status(&self) -> Status {
        self.status
    }
}

/// A fingerstick: capillary blood glucose by a meter. 8 bytes.
///
/// Features: `serde` gives `Serialize` and `Deserialize`, `defmt` gives `Format`.
///
/// # Examples
/// ```
/// use glidepath::{Fingerstick, Glucose, Instant};
/// let stick = Fingerstick::new(Instant::from_secs(600), Glucose::from_mmol_l(5.4)?);
/// assert_eq!(stick.glucose().whole_mg_dl(), 97);
/// # Ok::<(), glidepath::Error>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Fingerstick {
    at: Instant,
    glucose: Glucose,
}

impl Fingerstick {
    /// A meter's value and when the blood was taken.
    #[must_use]
    pub const fn new(at: Instant, glucose: Glucose) -> Self {
        Self { at, glucose }
    }

    /// When the blood was taken.
    #[must_use]
    pub const fn at(&self) -> Instant {
        self.at
    }

    /// The meter's value.
    #[must_use]
    pub const fn glucose(&self) -> Glucose {
        self.glucose
    }

    /// The standard deviation taken for the meter's error at this value: 6 %, and at least 5 mg/dL.
    ///
    /// ISO 15197:2013 asks that 95 % of results lie within 15 mg/dL of a laboratory's under 100 mg/dL and within
    /// 15 % above, which a standard deviation of 7.6 % just meets; that meters commonly scatter by 4 to 6 % is
    /// common practice, no source.
    #[must_use]
    pub const fn meter_sd(&self) -> f32 {
        math::at_least(METER_PERCENT / 100.0 * self.glucose.mg_dl(), METER_LEAST_SD)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_meter_errs_by_six_percent_and_at_least_five() {
        for (mg_dl, sd) in [(0.0, 5.0), (83.0, 5.0), (100.0, 6.0), (250.0, 15.0)] {
            let stick = Fingerstick::new(Instant::from_secs(0), Glucose::clamped(mg_dl));
            assert!((stick.meter_sd() - sd).abs() < 1e-5, "{mg_dl}");
        }
    }

    #[test]
    fn status_survives_its_number() {
        for status in Status::ALL {
            assert_eq!(Status::from_bits(status as u8), status);
        }
        assert_eq!(Status::from_bits(7), Status::Fault);
    }
}
