//! What a smoother says.

use crate::units::{Glucose, Rate};

/// What a smoother makes of the readings so far. 12 bytes.
///
/// # Examples
/// ```
/// use glidepath::smoothing::{Exponential, Holt};
/// use glidepath::{Glucose, Instant};
/// let (at, glucose) = (Instant::from_secs(0), Glucose::from_mg_dl(100.0)?);
/// assert_eq!(Exponential::new(7.2)?.step(at, glucose).rate(), None); // this method says none
/// assert_eq!(Holt::new(7.0, 20.0)?.step(at, glucose).glucose(), glucose);
/// # Ok::<(), glidepath::Error>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Level {
    pub(super) glucose: Glucose,
    pub(super) rate: Option<Rate>,
}

impl Level {
    /// The smoothed glucose at the newest reading.
    #[must_use]
    pub const fn glucose(&self) -> Glucose {
        self.glucose
    }

    /// Its rate of change, where the method has one.
    #[must_use]
    pub const fn rate(&self) -> Option<Rate> {
        self.rate
    }
}
