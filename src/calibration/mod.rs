//! Gain and offset of a sensor from fingersticks.
//!
//! [`Calibration`] is the one the monitor uses: a two-state Bayesian estimate that no fingerstick can upset,
//! that drifts back to the factory's calibration when there are none, and that knows how sure it is.
//! [`Line`] is the plain slope and offset, by least squares or Deming's regression, for who wants that.

mod bayes;
mod line;

pub use bayes::{Applied, Calibration, Drift, Pair};
pub use line::{Line, LineFit, LineRefusal, MAX_LINE_PAIRS};
