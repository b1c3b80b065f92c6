//! Gain and offset of a sensor from fingersticks, used where they bring the sensor nearer to them.
//!
//! [`Calibration`] is the one the monitor uses: a two-state Bayesian estimate that learns how far a person's
//! fingersticks scatter, that corrects only while that has a [benefit](Benefit), that drifts back to the factory's
//! calibration when there are no fingersticks, that gives its own uncertainty, and that limits how far
//! few fingersticks can raise a [low](Calibration::max_corrected). [`Line`] is a plain slope and offset, by least squares or
//! Deming's regression.

mod bayes;
mod drift;
mod evidence;
mod line;
mod low;
mod point;

pub use bayes::Calibration;
pub use drift::Drift;
pub use evidence::Benefit;
pub use line::{Line, LineFit, LineRefusal, MAX_LINE_PAIRS};
pub use point::{CalibrationPoint, PointOutcome};
