//! The monitors, which alone know more than one stage, and its state as bytes.

pub mod brief;
pub mod monitor;
pub mod pair;
pub mod snapshot;
