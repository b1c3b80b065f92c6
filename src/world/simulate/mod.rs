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
mod model;
mod noise;
mod person;
mod random;
mod routine;
mod sensor;
mod truth;

pub use gaussian::{GaussianWorld, GaussianWorldConfig};
pub use meter::{Meter, MeterModel};
pub use model::{Faults, SensorModel};
pub use person::{Person, PersonConfig};
pub use random::Random;
pub use sensor::{Disturbance, Sensor, SimulatedReading};
pub use truth::Truth;
