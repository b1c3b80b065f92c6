//! People, sensors and meters that do not exist, for trying algorithms where the truth is known.
//!
//! Everything here is invented: a [`Person`] by a published model of type 1 diabetes, wearing a [`Sensor`] by
//! published models of sensor error, pricking a finger for a [`Meter`] now and then. The same seed gives the
//! same numbers, bit for bit, on every target. [`GaussianWorld`] stands in for the person where the best
//! possible estimate can be computed exactly.
//!
//! No figure obtained from simulated people says how a real sensor behaves on a real person.
//!
//! # Examples
//! Ten minutes of a day, read every five:
//! ```
//! use glidepath::Span;
//! use glidepath::simulate::{Person, PersonConfig, Sensor, SensorModel};
//! let mut person = Person::new(1, PersonConfig::DEFAULT);
//! let mut sensor = Sensor::new(1, SensorModel::CORRELATED);
//! for minute in 1..=10 {
//!     let truth = person.step(Span::from_mins(1));
//!     sensor.follow(&truth);
//!     if minute % 5 == 0 {
//!         let reading = sensor.read().expect("this model loses no readings").reading();
//!         assert!((reading.glucose().mg_dl() - truth.plasma().mg_dl()).abs() < 60.0);
//!     }
//! }
//! ```

mod body;
#[cfg(feature = "serde")]
mod file;
mod gaussian;
mod meter;
mod noise;
mod person;
mod random;
mod routine;
mod sensor;

pub use gaussian::{GaussianWorld, GaussianWorldConfig};
pub use meter::{Meter, MeterModel};
pub use person::{Person, PersonConfig};
pub use random::Random;
pub use sensor::{Disturbance, Faults, Sensor, SensorModel, SimulatedReading};

use crate::units::{Glucose, Instant, Rate};

/// What is really in the blood at a moment. 12 bytes.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Truth {
    at: Instant,
    plasma: Glucose,
    rate: Rate,
}

impl Truth {
    /// A truth of one's own making, to drive a [`Sensor`] or [`Meter`] with.
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
fn minute_of_day(at: Instant) -> f32 {
    (at.secs() % 86_400) as f32 / 60.0
}
