//! How long a sensor has been worn, and what it gave.

use crate::codec::{Codec, Coded};
use crate::units::{Instant, Span};

/// What is counted of a sensor. 20 bytes.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub(super) struct Count {
    pub started: Option<Instant>,
    pub readings: u32,
    pub errors: u32,
    pub lost_secs: u32,
}

/// A sensor's wear at a moment. 24 bytes.
///
/// Feature `defmt` gives `Format`.
///
/// # Examples
/// ```
/// use glidepath::{Glucose, Instant, Reading, Span, quality::{Evidence, Quality, QualityConfig}};
/// let mut config = QualityConfig::default();
/// config.wear = Span::from_hours(240);
/// let mut quality = Quality::new(config)?;
/// quality.sensor_started(Instant::from_secs(0));
/// let now = Instant::from_secs(50 * 3600);
/// let _ = quality.assess(&Reading::new(now, Glucose::from_mg_dl(120.0)?), &Evidence::default());
/// let wear = quality.wear(now).expect("the start is known");
/// assert_eq!((wear.day(), wear.left()), (3, Span::from_hours(190)));
/// assert_eq!(wear.planned_cost_per_day(50.0), Some(5.0));
/// # Ok::<(), glidepath::Error>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Wear {
    pub(super) worn: Span,
    pub(super) planned: Span,
    pub(super) warm_up_left: Span,
    pub(super) readings: u32,
    pub(super) errors: u32,
    pub(super) lost: Span,
}

impl Wear {
    /// How long it has been worn.
    #[must_use]
    pub const fn worn(&self) -> Span {
        self.worn
    }

    /// The day of wear: 1 for the first 24 hours.
    #[must_use]
    #[expect(clippy::integer_division, reason = "whole days are meant")]
    pub const fn day(&self) -> u32 {
        (self.worn.secs().unsigned_abs() / 86_400).saturating_add(1)
    }

    /// How long it is to go to the planned end; negative past it.
    #[must_use]
    pub const fn left(&self) -> Span {
        Span::from_secs(self.planned.secs().saturating_sub(self.worn.secs()))
    }

    /// How much of the warm-up is to come.
    #[must_use]
    pub const fn warm_up_left(&self) -> Span {
        self.warm_up_left
    }

    /// Readings it gave that could be used.
    #[must_use]
    pub const fn readings(&self) -> u32 {
        self.readings
    }

    /// Faults it reported, and values that no sensor can read.
    #[must_use]
    pub const fn errors(&self) -> u32 {
        self.errors
    }

    /// Time lost: the sum of the silences longer than [`gap`](super::QualityConfig::gap).
    #[must_use]
    pub const fn lost(&self) -> Span {
        self.lost
    }

    /// What a day of readings costs if it lasts to its planned end and loses no more time; the unit is that
    /// of `price`. `None` when nothing would be left, or for a price that is not finite.
    #[must_use]
    pub fn planned_cost_per_day(&self, price: f32) -> Option<f32> {
        cost(price, self.planned, self.lost)
    }

    /// What a day of readings has cost if it ends now; the unit is that of `price`. `None` as above.
    #[must_use]
    pub fn cost_per_day(&self, price: f32) -> Option<f32> {
        cost(price, self.worn, self.lost)
    }
}

fn cost(price: f32, worn: Span, lost: Span) -> Option<f32> {
    let days = Span::from_secs(worn.secs().saturating_sub(lost.secs())).mins() / 1440.0;
    (days > 0.0).then_some(price / days).filter(|cost| cost.is_finite())
}

impl Coded for Count {
    fn code(&mut self, codec: &mut Codec<'_>) {
        let Self { started, readings, errors, lost_secs } = self;
        started.code(codec);
        for number in [readings, errors, lost_secs] {
            codec.word(number);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn time_lost_makes_a_day_dearer_and_no_time_has_no_price() {
        let wear = Wear {
            worn: Span::from_hours(96),
            planned: Span::from_hours(240),
            warm_up_left: Span::ZERO,
            readings: 1000,
            errors: 3,
            lost: Span::from_hours(48),
        };
        assert_eq!(wear.day(), 5);
        assert_eq!(wear.planned_cost_per_day(40.0), Some(5.0));
        assert_eq!(wear.cost_per_day(40.0), Some(20.0));
        assert_eq!(Wear { lost: Span::from_hours(96), ..wear }.cost_per_day(40.0), None);
        assert_eq!(wear.cost_per_day(f32::NAN), None);
    }
}
