//! Glucose, rates and time, each its own type, so that a unit cannot be mistaken.
//!
//! Inside, glucose is mg/dL and rates are mg/dL per minute. Time is whole seconds since an epoch of the
//! caller's choosing. Nothing here formats a float: whole tenths are given for display.

mod display;
mod glucose;
mod probability;
mod time;
#[cfg(feature = "serde")]
mod written;

pub use glucose::{FLOOR_MG_DL, Glucose, MG_DL_PER_MMOL_L, Rate};
pub use probability::Probability;
pub use time::{Instant, Span};

pub(crate) use glucose::{FLOOR, LOW};

#[cfg(test)]
mod tests;
