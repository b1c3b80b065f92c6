//! What is really in the blood.

use crate::units::{Glucose, Instant, Rate};

/// What is really in the blood at a moment. 12 bytes.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Truth {
    at: Instant,
    plasma: Glucose,
    rate: Rate,
}

impl Truth {
    /// A truth made by hand, as input of a [`Sensor`](super::Sensor) or [`Meter`](super::Meter) with.
    #[must_use]
    pub const fn new(at: Instant, plasma: Glucose, rate: Rate) -> Self {
        Self { at, plasma, rate }
    }

    /// When.
    #[must_use]
    pub const fn at(&self) -> Instant {
        self.at
    }

    /// Plasma glucose.
    #[must_use]
    pub const fn plasma(&self) -> Glucose {
        self.plasma
    }

    /// Its rate of change at that moment.
    #[must_use]
    pub const fn rate(&self) -> Rate {
        self.rate
    }
}

/// Minutes since midnight, if the epoch began at one.
pub(super) fn minute_of_day(at: Instant) -> f32 {
    (at.secs() % 86_400) as f32 / 60.0
}
