//! Gain and offset of a sensor from fingersticks, where they pay.
//!
//! [`Calibration`] is the one the monitor uses: a two-state Bayesian estimate that learns how far a person's
//! fingersticks scatter, that corrects only while corrections [pay](Benefit), that drifts back to the factory's
//! calibration when there are no fingersticks, that knows how sure it is, and that no few fingersticks can
//! raise a [low](Calibration::max_corrected) by. [`Line`] is the plain slope and offset, by least squares or Deming's
//! regression, for who wants that.

mod bayes;
mod evidence;
mod line;
mod low;

pub use bayes::{Calibration, CalibrationPoint, Drift, PointOutcome};
pub use evidence::Benefit;
pub use line::{Line, LineFit, LineRefusal, MAX_LINE_PAIRS};
