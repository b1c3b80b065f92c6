//! The stages that answer reading by reading. None knows another: what they exchange is of the rooms below.

pub mod alarm;
pub mod calibration;
pub mod estimator;
pub mod forecast;
pub mod quality;
pub mod rate;
pub mod smoothing;
pub mod trend;
