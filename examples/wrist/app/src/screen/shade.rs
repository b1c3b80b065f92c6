//! What a pixel means, on any display: dot patterns, greys, or colours.

use embedded_graphics::pixelcolor::{BinaryColor, Gray4, Gray8, Rgb565};
use embedded_graphics::prelude::*;
use glidepath::alarm::Priority;

/// How strongly something is drawn, and what it means. Where there is no colour all that mean something are full.
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
    /// Full, of a low value.
    Low,
    /// Full, of a high value.
    High,
    /// The ground of an alarm.
    Alarm(Priority),
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
            _ => true,
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
            _ => 15,
        })
    }
}

impl Shade for Gray8 {
    fn solid(level: Level) -> Self {
        Self::new(Gray4::solid(level).luma() * 17)
    }
}

/// Colours by Okabe and Ito 2008 (from memory), which colour-blind people tell apart; no two that stand for different
/// things are as light as each other, so that they differ without any colour too.
impl Shade for Rgb565 {
    fn solid(level: Level) -> Self {
        let (red, green, blue) = match level {
            Level::Paper => (0, 0, 0),
            Level::Faint => (70, 70, 70),
            Level::Soft => (150, 150, 150),
            Level::Ink => (255, 255, 255),
            // vermillion, sky blue, yellow
            Level::Low | Level::Alarm(Priority::High) => (213, 94, 0),
            Level::High | Level::Alarm(Priority::Low) => (86, 180, 233),
            Level::Alarm(Priority::Medium) => (240, 228, 66),
        };
        Self::new(red >> 3, green >> 2, blue >> 3)
    }
}
