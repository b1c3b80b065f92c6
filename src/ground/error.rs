//! The one error of every constructor: which parameter, and what was wrong with it.

use core::fmt;

/// What was wrong with a parameter.
///
/// Feature `defmt` gives `Format`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub enum ErrorKind {
    /// Not a number, or infinite.
    NotFinite,
    /// Outside the range its documentation states.
    OutOfRange,
    /// In range alone, but at odds with another parameter (say a low limit above the high one).
    Inconsistent,
}

/// A refused parameter: its name, what was wrong, and where there is a range, the value and the range. No text is built.
///
/// Two are equal when they refuse the same parameter for the same reason.
///
/// Feature `defmt` gives `Format`.
///
/// # Examples
/// ```
/// use glidepath::{ErrorKind, Glucose};
/// let refused = Glucose::from_mg_dl(f32::NAN).unwrap_err();
/// assert_eq!((refused.parameter(), refused.kind()), ("glucose", ErrorKind::NotFinite));
/// let refused = Glucose::from_mg_dl(-1.0).unwrap_err();
/// assert_eq!((refused.value(), refused.range()), (Some(-1.0), Some((0.0, 2000.0))));
/// assert_eq!(refused.to_string(), "glucose: -1 is outside 0 to 2000");
/// ```
#[derive(Clone, Copy, Debug)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Error {
    /// What the parameter is of, such as an alarm's rule; empty where the parameter says it all.
    whole: &'static str,
    parameter: &'static str,
    kind: ErrorKind,
    value: f32,
    /// The least is above the greatest where there is no range.
    least: f32,
    greatest: f32,
}

impl PartialEq for Error {
    fn eq(&self, other: &Self) -> bool {
        (self.whole, self.parameter, self.kind) == (other.whole, other.parameter, other.kind)
    }
}

impl Eq for Error {}

impl Error {
    /// An error that names `parameter`.
    #[must_use]
    pub const fn new(parameter: &'static str, kind: ErrorKind) -> Self {
        Self { whole: "", parameter, kind, value: 0.0, least: 1.0, greatest: 0.0 }
    }

    /// Of a value that is no number, or outside its range.
    pub(crate) const fn outside(parameter: &'static str, value: f32, least: f32, greatest: f32) -> Self {
        let kind = if value.is_finite() { ErrorKind::OutOfRange } else { ErrorKind::NotFinite };
        Self { whole: "", parameter, kind, value, least, greatest }
    }

    /// The same error, of a parameter that belongs to `whole`.
    pub(crate) const fn of(self, whole: &'static str) -> Self {
        Self { whole, ..self }
    }

    /// The refused parameter's name, as in the documentation of what refused it.
    #[must_use]
    pub const fn parameter(&self) -> &'static str {
        self.parameter
    }

    /// What the parameter is of, where its name alone does not tell: `low` of `low.limit`. Else empty.
    #[must_use]
    pub const fn section(&self) -> &'static str {
        self.whole
    }

    /// What was wrong.
    #[must_use]
    pub const fn kind(&self) -> ErrorKind {
        self.kind
    }

    /// The refused value, in the unit of its documentation (seconds of a span), where it was held against a range.
    #[must_use]
    pub const fn value(&self) -> Option<f32> {
        if self.least <= self.greatest { Some(self.value) } else { None }
    }

    /// The least and the greatest that would have been taken, in the same unit.
    #[must_use]
    pub const fn range(&self) -> Option<(f32, f32)> {
        if self.least <= self.greatest { Some((self.least, self.greatest)) } else { None }
    }
}

impl fmt::Display for Error {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.whole)?;
        f.write_str(if self.whole.is_empty() { "" } else { "." })?;
        f.write_str(self.parameter)?;
        match (self.kind, self.range()) {
            (ErrorKind::NotFinite, _) => f.write_str(": not a finite number"),
            // firmware, which prints no error, does not link this: nothing else in the library writes a float
            (ErrorKind::OutOfRange, Some((least, greatest))) => {
                write!(f, ": {} is outside {least} to {greatest}", self.value)
            }
            (ErrorKind::OutOfRange, None) => f.write_str(": out of range"),
            (ErrorKind::Inconsistent, _) => f.write_str(": at odds with another setting"),
        }
    }
}

impl core::error::Error for Error {}

/// `value` if it is finite and in `low..=high`, else an error that names `parameter`.
///
/// The shared gate of every validated constructor.
pub(crate) const fn in_range(parameter: &'static str, value: f32, low: f32, high: f32) -> Result<f32, Error> {
    if value >= low && value <= high { Ok(value) } else { Err(Error::outside(parameter, value, low, high)) }
}

#[cfg(test)]
mod tests {
    extern crate std;
    use super::*;
    use std::string::ToString;

    #[test]
    fn the_gate_is_inclusive_and_names_the_parameter() {
        assert_eq!(in_range("x", 1.0, 1.0, 2.0), Ok(1.0));
        assert_eq!(in_range("x", 2.0, 1.0, 2.0), Ok(2.0));
        assert_eq!(in_range("x", 2.1, 1.0, 2.0), Err(Error::new("x", ErrorKind::OutOfRange)));
        assert_eq!(in_range("x", f32::INFINITY, 1.0, 2.0), Err(Error::new("x", ErrorKind::NotFinite)));
        assert_eq!(
            Error::new("low", ErrorKind::Inconsistent).to_string(),
            "low: at odds with another setting"
        );
    }
}
