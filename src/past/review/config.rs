//! Settings of a review, limits in both units, and the local clock.

use crate::error::{Error, ErrorKind, in_range};
use crate::math;
use crate::units::{Glucose, Span};

/// The unit in which the readings arrived; limits are compared in it.
///
/// The consensus limits are tabulated pairs (70 mg/dL and 3.9 mmol/L): converting one by the molar mass moves the
/// edge, since 3.9 mmol/L is 70.26 mg/dL.
///
/// Features: `serde` gives `Serialize` and `Deserialize`, `defmt` gives `Format`.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Default)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub enum Unit {
    /// Milligrams per decilitre, compared to the hundredth.
    #[default]
    MgDl,
    /// Millimoles per litre, compared to the hundredth.
    MmolL,
}

/// One limit as the consensus tables print it, in both units.
///
/// Feature `defmt` gives `Format`.
///
/// # Examples
/// ```
/// use glidepath::review::Threshold;
/// assert_eq!((Threshold::L70.mg_dl(), Threshold::L70.tenths_mmol_l()), (70, 39)); // a pair, not a conversion
/// let own = Threshold::new(80, 44);
/// # let _ = own;
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Threshold {
    mg_dl: u16,
    tenths_mmol_l: u16,
}

impl Threshold {
    /// 54 mg/dL, 3.0 mmol/L: under it is level 2 hypoglycaemia.
    pub const L54: Self = Self::new(54, 30);
    /// 63 mg/dL, 3.5 mmol/L: the lower end of the target in pregnancy.
    pub const L63: Self = Self::new(63, 35);
    /// 70 mg/dL, 3.9 mmol/L: the lower end of the target, inclusive.
    pub const L70: Self = Self::new(70, 39);
    /// 140 mg/dL, 7.8 mmol/L: the upper end of the tight range and of the target in pregnancy, inclusive.
    pub const L140: Self = Self::new(140, 78);
    /// 180 mg/dL, 10.0 mmol/L: the upper end of the target, inclusive.
    pub const L180: Self = Self::new(180, 100);
    /// 250 mg/dL, 13.9 mmol/L: over it is level 2 hyperglycaemia.
    pub const L250: Self = Self::new(250, 139);

    /// A pair of your own: whole mg/dL and tenths of a mmol/L.
    #[must_use]
    pub const fn new(mg_dl: u16, tenths_mmol_l: u16) -> Self {
        Self { mg_dl, tenths_mmol_l }
    }

    /// In whole mg/dL.
    #[must_use]
    pub const fn mg_dl(self) -> u16 {
        self.mg_dl
    }

    /// In tenths of a mmol/L.
    #[must_use]
    pub const fn tenths_mmol_l(self) -> u16 {
        self.tenths_mmol_l
    }

    /// In hundredths of `unit`.
    pub(super) const fn hundredths(self, unit: Unit) -> u32 {
        match unit {
            Unit::MgDl => (self.mg_dl as u32).saturating_mul(100),
            Unit::MmolL => (self.tenths_mmol_l as u32).saturating_mul(10),
        }
    }
}

/// `glucose` in whole hundredths of `unit`.
#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "0 to 200,000")]
pub(super) fn hundredths(glucose: Glucose, unit: Unit) -> u32 {
    math::round(match unit {
        Unit::MgDl => glucose.mg_dl() * 100.0,
        Unit::MmolL => glucose.mmol_l() * 100.0,
    }) as u32
}

/// How long a run of readings lasts.
///
/// Features: `serde` gives `Serialize` and `Deserialize`, `defmt` gives `Format`.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Default)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub enum Counting {
    /// Each reading covers one interval: three readings five minutes apart last 15 minutes.
    #[default]
    Covered,
    /// From the first time stamp to the last: three readings five minutes apart last 10 minutes.
    Stamped,
}

/// Settings of a review. `Copy`, and may sit in flash.
///
/// Feature `defmt` gives `Format`.
///
/// # Examples
/// ```
/// use glidepath::{Span, review::{Config, Unit}};
/// let config = Config::new(Span::from_mins(15))?.with_unit(Unit::MmolL);
/// assert_eq!(config.interval(), Span::from_mins(15));
/// # Ok::<(), glidepath::Error>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Config {
    interval_s: u16,
    unit: Unit,
    counting: Counting,
    m_ideal_mg_dl: f32,
}

impl Default for Config {
    /// A reading every five minutes, in mg/dL, runs counted by what they cover, M-value about 120 mg/dL.
    fn default() -> Self {
        Self { interval_s: 300, unit: Unit::MgDl, counting: Counting::Covered, m_ideal_mg_dl: 120.0 }
    }
}

impl Config {
    /// For a sensor that reads every `interval`.
    ///
    /// # Errors
    /// When the interval is not 10 seconds to 1 hour.
    pub const fn new(interval: Span) -> Result<Self, Error> {
        match interval.secs() {
            #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "10 to 3600")]
            seconds @ 10..=3600 => Ok(Self {
                interval_s: seconds as u16,
                unit: Unit::MgDl,
                counting: Counting::Covered,
                m_ideal_mg_dl: 120.0,
            }),
            _ => Err(Error::new("interval", ErrorKind::OutOfRange)),
        }
    }

    /// The same with the unit the readings arrive in.
    #[must_use]
    pub const fn with_unit(self, unit: Unit) -> Self {
        Self { unit, ..self }
    }

    /// The same with the rule by which runs of readings are counted.
    #[must_use]
    pub const fn with_counting(self, counting: Counting) -> Self {
        Self { counting, ..self }
    }

    /// The same with the glucose at which the M-value is zero: 100, 120 and 131 mg/dL are met in print.
    ///
    /// # Errors
    /// When not finite or outside 50 to 200 mg/dL.
    pub const fn with_m_ideal(self, mg_dl: f32) -> Result<Self, Error> {
        match in_range("m_ideal", mg_dl, 50.0, 200.0) {
            Ok(m_ideal_mg_dl) => Ok(Self { m_ideal_mg_dl, ..self }),
            Err(error) => Err(error),
        }
    }

    /// The sensor's interval.
    #[must_use]
    pub const fn interval(&self) -> Span {
        Span::from_secs(self.interval_s as i32)
    }

    /// The unit in which limits are compared.
    #[must_use]
    pub const fn unit(&self) -> Unit {
        self.unit
    }

    /// How runs of readings are counted.
    #[must_use]
    pub const fn counting(&self) -> Counting {
        self.counting
    }

    /// The glucose at which the M-value is zero, mg/dL.
    #[must_use]
    pub const fn m_ideal_mg_dl(&self) -> f32 {
        self.m_ideal_mg_dl
    }

    /// The longest step between two readings that still belong together: three and a half intervals, so that two
    /// lost readings are bridged.
    #[must_use]
    pub const fn gap(&self) -> Span {
        Span::from_secs((self.interval_s as i32).saturating_mul(7) >> 1)
    }

    /// The time a reading stands for when the next comes `step` seconds later (`None`: no next one): that step up to
    /// one and a half intervals, else one interval.
    pub(super) const fn covered(&self, step: Option<u32>) -> u32 {
        let interval = self.interval_s as u32;
        match step {
            Some(step) if step <= interval.saturating_mul(3) >> 1 => step,
            _ => interval,
        }
    }

    /// Whether readings `step` seconds apart belong together.
    pub(super) const fn joins(&self, step: u32) -> bool {
        step <= self.gap().secs().cast_unsigned()
    }

    pub(super) const fn interval_s(&self) -> u32 {
        self.interval_s as u32
    }
}

/// When a reading was taken on the wearer's own clock: the day by a running number, and the minute of that day.
///
/// The caller turns universal time into local time, with its clock changes; a repeated or a skipped hour is then
/// simply a day with more or fewer readings in it.
///
/// Feature `defmt` gives `Format`.
///
/// # Examples
/// ```
/// use glidepath::{Instant, Span, review::DayTime};
/// // Unix time and a zone two hours east
/// let at = Instant::from_secs(1_710_052_200).plus(Span::from_hours(2)); // 2024-03-10T06:30Z
/// let local = DayTime::from_secs(at.secs());
/// assert_eq!(local.minute(), 8 * 60 + 30);
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct DayTime {
    day: u32,
    minute: u16,
}

impl DayTime {
    /// From a day's number (any running count) and the minute of the day.
    ///
    /// # Errors
    /// When the minute is not 0 to 1439.
    pub const fn new(day: u32, minute: u16) -> Result<Self, Error> {
        if minute < 1440 {
            Ok(Self { day, minute })
        } else {
            Err(Error::new("minute", ErrorKind::OutOfRange))
        }
    }

    /// For a clock that never changes: `seconds` since a midnight.
    #[must_use]
    #[expect(clippy::cast_possible_truncation, reason = "a remainder under 1440")]
    pub const fn from_secs(seconds: u32) -> Self {
        Self { day: seconds.div_euclid(86_400), minute: seconds.rem_euclid(86_400).div_euclid(60) as u16 }
    }

    /// The day's number.
    #[must_use]
    pub const fn day(self) -> u32 {
        self.day
    }

    /// Minutes since midnight.
    #[must_use]
    pub const fn minute(self) -> u16 {
        self.minute
    }
}
