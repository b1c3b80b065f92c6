//! What a sensor costs a day, with parts that wear out at different times.

use crate::error::{Error, in_range};

/// A part that is bought again and again: a sensor every two weeks, a transmitter every three months.
///
/// Feature `defmt` gives `Format`.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct CostPart {
    price: f32,
    days: f32,
}

impl CostPart {
    /// A part that costs `price`, in any currency, and lasts `days`.
    ///
    /// # Errors
    /// When the price is not within 0 to 10⁶ or the days are not within 0.04 (an hour) to 36,500.
    pub fn new(price: f32, days: f32) -> Result<Self, Error> {
        Ok(Self { price: in_range("price", price, 0.0, 1e6)?, days: in_range("days", days, 0.04, 36_500.0)? })
    }
}

/// The cost of a day with all of `parts` in use; `None` without parts.
///
/// # Examples
/// ```
/// use glidepath::accuracy::{CostPart, cost_per_day};
/// let parts = [CostPart::new(42.0, 14.0)?, CostPart::new(90.0, 90.0)?];
/// assert_eq!(cost_per_day(&parts), Some(4.0)); // 3 for the sensor, 1 for the transmitter
/// assert!(CostPart::new(42.0, 0.0).is_err());
/// # Ok::<(), glidepath::Error>(())
/// ```
#[must_use]
pub fn cost_per_day(parts: &[CostPart]) -> Option<f32> {
    (!parts.is_empty()).then(|| parts.iter().map(|part| part.price / part.days).sum())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn parts_add_up_by_the_day() {
        // 56 over 14 days and 90 over 60
        let parts = [CostPart::new(56.0, 14.0).unwrap(), CostPart::new(90.0, 60.0).unwrap()];
        assert_eq!(cost_per_day(&parts), Some(5.5));
        assert_eq!(cost_per_day(&[]), None);
    }
}
