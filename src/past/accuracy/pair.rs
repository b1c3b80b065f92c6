//! One sensor value beside one reference value.

use crate::error::{Error, ErrorKind};
use crate::units::{Glucose, Instant};

/// A sensor value and the reference value it is judged by, at the reference's time. 12 bytes.
///
/// Feature `defmt` gives `Format`.
///
/// # Examples
/// ```
/// use glidepath::accuracy::Pair;
/// use glidepath::{Glucose, Instant};
/// let mg_dl = Glucose::from_mg_dl;
/// let pair = Pair::new(Instant::from_secs(0), mg_dl(115.0)?, mg_dl(100.0)?)?;
/// assert_eq!(pair.difference_mg_dl(), 15.0);
/// assert_eq!(pair.relative_difference_percent(), 15.0);
/// # Ok::<(), glidepath::Error>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Pair {
    at: Instant,
    sensor: Glucose,
    reference: Glucose,
}

impl Pair {
    /// A pair at the reference's time.
    ///
    /// # Errors
    /// When the reference is 0: a relative difference would have no meaning.
    pub fn new(at: Instant, sensor: Glucose, reference: Glucose) -> Result<Self, Error> {
        if reference.mg_dl() > 0.0 {
            Ok(Self { at, sensor, reference })
        } else {
            Err(Error::new("reference", ErrorKind::OutOfRange))
        }
    }

    /// The reference's time.
    #[must_use]
    pub const fn at(&self) -> Instant {
        self.at
    }

    /// The sensor's value.
    #[must_use]
    pub const fn sensor(&self) -> Glucose {
        self.sensor
    }

    /// The reference value, above 0.
    #[must_use]
    pub const fn reference(&self) -> Glucose {
        self.reference
    }

    /// Sensor minus reference, mg/dL.
    #[must_use]
    pub const fn difference_mg_dl(&self) -> f32 {
        self.sensor.mg_dl() - self.reference.mg_dl()
    }

    /// Sensor minus reference in percent of the **reference**.
    #[must_use]
    pub const fn relative_difference_percent(&self) -> f32 {
        100.0 * self.difference_mg_dl() / self.reference.mg_dl()
    }

    /// Whether the two lie within `percent` of the reference, the bound included.
    ///
    /// Compared without a division, so that whole numbers fall on the right side of the bound.
    #[must_use]
    pub(crate) fn within_percent(&self, percent: f32) -> bool {
        100.0 * self.difference_mg_dl().abs() <= percent * self.reference.mg_dl()
    }

    /// Whether the two lie within `mg_dl`, the bound included.
    #[must_use]
    pub(crate) fn within_mg_dl(&self, mg_dl: f32) -> bool {
        self.difference_mg_dl().abs() <= mg_dl
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn bounds_belong_inside_and_a_zero_reference_is_refused() {
        let pair = |sensor, reference| {
            Pair::new(Instant::from_secs(0), Glucose::clamped(sensor), Glucose::clamped(reference))
        };
        assert!(pair(120.0, 100.0).unwrap().within_percent(20.0));
        assert!(!pair(120.1, 100.0).unwrap().within_percent(20.0));
        assert!(pair(84.0, 99.0).unwrap().within_mg_dl(15.0));
        assert!(!pair(83.9, 99.0).unwrap().within_mg_dl(15.0));
        assert!(pair(5.0, 0.0).is_err());
    }
}
