//! A display of which only what is not dark is kept, one bit a pixel: to be read back many thousand times.

use embedded_graphics::draw_target::DrawTarget;
use embedded_graphics::geometry::{OriginDimensions, Size};
use embedded_graphics::pixelcolor::{BinaryColor, PixelColor, Rgb565};
use embedded_graphics::prelude::{Pixel, Point, RgbColor};
use embedded_graphics::primitives::{PointsIter, Rectangle};
use std::marker::PhantomData;
use wrist::face::Face;
use wrist::screen::{Page, draw_on};
use wrist_desk::Display;

/// Whether a colour is dark.
pub trait Dark: PixelColor {
    fn is_dark(self) -> bool;
}

impl Dark for BinaryColor {
    fn is_dark(self) -> bool {
        self == Self::Off
    }
}

impl Dark for Rgb565 {
    fn is_dark(self) -> bool {
        self == Self::BLACK
    }
}

/// Words of 64 pixels in a row: enough for 240.
const WORDS: usize = 4;
const ROWS: usize = 240;

/// What is lit.
#[derive(Clone)]
pub struct Lit<C> {
    size: Size,
    rows: [[u64; WORDS]; ROWS],
    colour: PhantomData<C>,
}

/// Bits from the first to before the last, the left one lowest, of the word that begins at `from`.
fn mask(first: u32, last: u32, from: u32) -> u64 {
    let below = |end: u32| match end.saturating_sub(from) {
        64.. => u64::MAX,
        bits => (1 << bits) - 1,
    };
    below(last) & !below(first)
}

impl<C: Dark> Lit<C> {
    const fn new(size: Size) -> Self {
        Self { size, rows: [[0; WORDS]; ROWS], colour: PhantomData }
    }

    /// What stands in an area, as a number: FNV-1a (from memory) by words.
    pub fn part(&self, area: Rectangle) -> u64 {
        let (left, right) = (area.top_left.x as u32, area.top_left.x as u32 + area.size.width);
        let mut hash = 0xCBF2_9CE4_8422_2325_u64;
        for row in &self.rows[area.top_left.y as usize..][..area.size.height as usize] {
            for (word, from) in row.iter().zip((0..).step_by(64)) {
                let seen = word & mask(left, right, from);
                hash = (hash ^ seen).wrapping_mul(0x0000_0100_0000_01B3).rotate_left(29);
            }
        }
        hash
    }

    pub fn is_lit(&self, at: Point) -> bool {
        self.rows[at.y as usize][at.x as usize / 64] >> (at.x % 64) & 1 == 1
    }
}

impl<C: Dark> OriginDimensions for Lit<C> {
    fn size(&self) -> Size {
        self.size
    }
}

impl<C: Dark> DrawTarget for Lit<C> {
    type Color = C;
    type Error = core::convert::Infallible;

    fn draw_iter<I: IntoIterator<Item = Pixel<C>>>(&mut self, pixels: I) -> Result<(), Self::Error> {
        let within = Rectangle::new(Point::zero(), self.size);
        for Pixel(at, colour) in pixels {
            if within.contains(at) {
                let word = &mut self.rows[at.y as usize][at.x as usize / 64];
                let bit = 1 << (at.x % 64);
                *word = if colour.is_dark() { *word & !bit } else { *word | bit };
            }
        }
        Ok(())
    }

    fn fill_solid(&mut self, area: &Rectangle, colour: C) -> Result<(), Self::Error> {
        let area = area.intersection(&Rectangle::new(Point::zero(), self.size));
        let (left, right) = (area.top_left.x as u32, area.top_left.x as u32 + area.size.width);
        for row in &mut self.rows[area.top_left.y as usize..][..area.size.height as usize] {
            for (word, from) in row.iter_mut().zip((0..).step_by(64)) {
                let bits = mask(left, right, from);
                *word = if colour.is_dark() { *word & !bits } else { *word | bits };
            }
        }
        Ok(())
    }
}

/// What two kinds of display have lit.
pub enum Glance {
    Bits(Box<Lit<BinaryColor>>),
    Colours(Box<Lit<Rgb565>>),
}

impl Glance {
    /// Draws a face as it stands on a display.
    pub fn at(display: Display, face: &Face<'_>) -> Self {
        fn drawn<C: Dark + wrist::screen::Shade>(display: Display, face: &Face<'_>) -> Box<Lit<C>> {
            let mut lit = Box::new(Lit::new(display.size()));
            let Ok(()) = draw_on(face, Page::Now, display.layout(), lit.as_mut());
            lit
        }
        match display {
            Display::Colour => Self::Colours(drawn(display, face)),
            _ => Self::Bits(drawn(display, face)),
        }
    }

    pub fn part(&self, area: Rectangle) -> u64 {
        match self {
            Self::Bits(lit) => lit.part(area),
            Self::Colours(lit) => lit.part(area),
        }
    }

    pub fn is_lit(&self, at: Point) -> bool {
        match self {
            Self::Bits(lit) => lit.is_lit(at),
            Self::Colours(lit) => lit.is_lit(at),
        }
    }

    /// Each pixel as the display's own picture has it.
    pub fn is_like_the_picture(&self, display: Display, face: &Face<'_>) -> bool {
        let picture = display.draw(face, Page::Now);
        Rectangle::new(Point::zero(), display.size())
            .points()
            .all(|at| self.is_lit(at) == (picture.pixel(at.x as usize, at.y as usize) != [0; 3]))
    }
}
