//! The one error of every constructor: which parameter, and what was wrong with it.

use core::fmt;

/// What was wrong with a parameter.
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

/// A refused parameter. Three words of memory; no text is built.
///
/// # Examples
/// ```
/// use glidepath::{ErrorKind, Glucose};
/// let refused = Glucose::from_mg_dl(f32::NAN).unwrap_err();
/// assert_eq!(refused.kind(), ErrorKind::NotFinite);
/// assert_eq!(refused.parameter(), "glucose");
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Error {
    parameter: &'static str,
    kind: ErrorKind,
}

impl Error {
    /// An error that names `parameter`.
    #[must_use]
    pub const fn new(parameter: &'static str, kind: ErrorKind) -> Self {
        Self { parameter, kind }
    }

    /// The refused parameter's name, as in the documentation of what refused it.
    #[must_use]
    pub const fn parameter(&self) -> &'static str {
        self.parameter
    }

    /// What was wrong.
    #[must_use]
    pub const fn kind(&self) -> ErrorKind {
        self.kind
    }
}

impl fmt::Display for Error {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.parameter)?;
        f.write_str(match self.kind {
            ErrorKind::NotFinite => ": not a finite number",
            ErrorKind::OutOfRange => ": out of range",
            ErrorKind::Inconsistent => ": at odds with another setting",
        })
    }
}

impl core::error::Error for Error {}

/// `value` if it is finite and in `low..=high`, else an error that names `parameter`.
///
/// The shared gate of every validated constructor.
pub(crate) const fn in_range(parameter: &'static str, value: f32, low: f32, high: f32) -> Result<f32, Error> {
    if !value.is_finite() {
        Err(Error::new(parameter, ErrorKind::NotFinite))
    } else if value < low || value > high {
        Err(Error::new(parameter, ErrorKind::OutOfRange))
    } else {
        Ok(value)
    }
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
