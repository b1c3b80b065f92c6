//! Values in a file: numbers, or texts with their unit.

use super::glucose::{Glucose, MG_DL_PER_MMOL_L, Rate};
use super::time::Span;
use crate::error::{Error, ErrorKind};
use crate::math;
use crate::written::{Written, read, read_whole};
use serde::de::{Deserialize, Deserializer};

impl Written for Glucose {
    const EXPECTED: &'static str = "mg/dL, or a text such as \"3.9 mmol/L\"";

    fn from_number(number: f32) -> Result<Self, Error> {
        Self::from_mg_dl(number)
    }

    fn from_unit(number: f32, unit: &str) -> Option<Result<Self, Error>> {
        match unit {
            "mg/dL" => Some(Self::from_mg_dl(number)),
            "mmol/L" => Some(Self::from_mmol_l(number)),
            _ => None,
        }
    }
}

impl Written for Rate {
    const EXPECTED: &'static str = "mg/dL per minute, or a text such as \"0.1 mmol/L/min\"";

    fn from_number(number: f32) -> Result<Self, Error> {
        Self::from_mg_dl_per_min(number)
    }

    fn from_unit(number: f32, unit: &str) -> Option<Result<Self, Error>> {
        match unit {
            "mg/dL/min" => Some(Self::from_mg_dl_per_min(number)),
            "mmol/L/min" => Some(Self::from_mg_dl_per_min(number * MG_DL_PER_MMOL_L)),
            _ => None,
        }
    }
}

impl Written for Span {
    const EXPECTED: &'static str = "whole seconds, or a text such as \"15 min\"";

    #[expect(clippy::cast_possible_truncation, reason = "held against the range")]
    fn from_number(seconds: f32) -> Result<Self, Error> {
        let whole = math::round(seconds);
        if !seconds.is_finite() {
            Err(Error::new("span", ErrorKind::NotFinite))
        } else if whole != seconds || whole.abs() > 2e9 {
            Err(Error::new("span", ErrorKind::OutOfRange))
        } else {
            Ok(Self::from_secs(whole as i32))
        }
    }

    fn from_whole(seconds: i64) -> Result<Self, Error> {
        i32::try_from(seconds).map(Self::from_secs).map_err(|_| Error::new("span", ErrorKind::OutOfRange))
    }

    fn from_unit(number: f32, unit: &str) -> Option<Result<Self, Error>> {
        let seconds = match unit {
            "s" => 1.0,
            "min" => 60.0,
            "h" => 3600.0,
            "d" => 86_400.0,
            _ => return None,
        };
        Some(Self::from_number(number * seconds))
    }
}

impl<'de> Deserialize<'de> for Glucose {
    fn deserialize<D: Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
        read(from)
    }
}

impl<'de> Deserialize<'de> for Rate {
    fn deserialize<D: Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
        read(from)
    }
}

impl<'de> Deserialize<'de> for Span {
    fn deserialize<D: Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
        read_whole(from)
    }
}
