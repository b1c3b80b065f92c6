//! Four levels on any display: greys where there are some, dot patterns where there are not.

use embedded_graphics::pixelcolor::{BinaryColor, Gray4, Gray8};
use embedded_graphics::prelude::*;

/// How strongly something is drawn.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Level {
    /// The background.
    Paper,
    /// A quarter.
    Faint,
    /// A half.
    Soft,
    /// Full.
    Ink,
}

/// A colour that can show a [`Level`].
pub trait Shade: PixelColor {
    /// For lines and letters.
    fn solid(level: Level) -> Self;

    /// For areas, by the place of the pixel.
    fn pattern(level: Level, _at: Point) -> Self {
        Self::solid(level)
    }
}

impl Shade for BinaryColor {
    fn solid(level: Level) -> Self {
        if level == Level::Paper { Self::Off } else { Self::On }
    }

    fn pattern(level: Level, at: Point) -> Self {
        let on = match level {
            Level::Paper => false,
            Level::Faint => at.x & 1 == 0 && at.y & 1 == 0,
            Level::Soft => (at.x + at.y) & 1 == 0,
            Level::Ink => true,
        };
        if on { Self::On } else { Self::Off }
    }
}

impl Shade for Gray4 {
    fn solid(level: Level) -> Self {
        Self::new(match level {
            Level::Paper => 0,
            Level::Faint => 4,
            Level::Soft => 9,
            Level::Ink => 15,
        })
    }
}

impl Shade for Gray8 {
    fn solid(level: Level) -> Self {
        Self::new(Gray4::solid(level).luma() * 17)
    }
}
