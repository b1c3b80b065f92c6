//! Figures and capitals of broad strokes, at any size from one table.
//!
//! No figure is another one with a part added: the 3 has a flat top and a slope, the 8 crosses itself in its middle, the 6
//! and the 9 have a slope in place of an arm, the 5 a flat foot. A 3 does not turn into an 8, nor a 0, when a few pixels are lost
//! or eyes are tired. Open forms are what DIN 1450 (2013) asks of figures that must not be taken for each other (from memory).

use super::shade::{Level, Shade};
use embedded_graphics::prelude::*;

/// A letter's width, height, stroke, and the gap to the next, in pixels.
#[derive(Clone, Copy, Debug)]
pub struct Shape {
    pub width: i32,
    pub height: i32,
    pub stroke: i32,
    pub gap: i32,
}

/// How the strokes are filled: the less is certain, the less ink.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Form {
    /// As sure as sensors go.
    Solid,
    /// With care: every other slanted line is left out, within a closed outline.
    Hatched,
    /// Doubted: only the outline.
    Hollow,
}

/// Points on a grid of 4 × 8, column and row in a byte's halves; `UP` lifts the pen.
const UP: u8 = 0xFF;

const fn points(letter: char) -> &'static [u8] {
    match letter {
        '0' | 'O' => &[0x10, 0x30, 0x41, 0x47, 0x38, 0x18, 0x07, 0x01, 0x10],
        '1' => &[0x02, 0x20, 0x28, UP, 0x08, 0x48],
        '2' => &[0x01, 0x10, 0x30, 0x41, 0x43, 0x07, 0x08, 0x48],
        '3' => &[0x00, 0x40, 0x24, 0x34, 0x45, 0x47, 0x38, 0x18, 0x07],
        '4' => &[0x38, 0x30, 0x05, 0x06, 0x46],
        '5' => &[0x40, 0x00, 0x03, 0x23, 0x44, 0x46, 0x28, 0x08],
        '6' => &[0x30, 0x04, 0x07, 0x18, 0x38, 0x47, 0x45, 0x34, 0x04],
        '7' => &[0x00, 0x40, 0x41, 0x16, 0x18],
        '8' => &[0x10, 0x30, 0x41, 0x42, 0x06, 0x07, 0x18, 0x38, 0x47, 0x46, 0x02, 0x01, 0x10],
        '9' => &[0x18, 0x44, 0x41, 0x30, 0x10, 0x01, 0x03, 0x14, 0x44],
        '<' => &[0x41, 0x04, 0x47],
        '>' => &[0x01, 0x44, 0x07],
        '-' => &[0x04, 0x44],
        'A' => &[0x08, 0x02, 0x20, 0x42, 0x48, UP, 0x05, 0x45],
        'B' => &[0x00, 0x30, 0x41, 0x43, 0x34, 0x45, 0x47, 0x38, 0x08, 0x00, UP, 0x04, 0x34],
        'C' => &[0x41, 0x30, 0x10, 0x01, 0x07, 0x18, 0x38, 0x47],
        'D' => &[0x00, 0x20, 0x42, 0x46, 0x28, 0x08, 0x00],
        'E' => &[0x40, 0x00, 0x08, 0x48, UP, 0x04, 0x34],
        'F' => &[0x40, 0x00, 0x08, UP, 0x04, 0x34],
        'G' => &[0x41, 0x30, 0x10, 0x01, 0x07, 0x18, 0x38, 0x47, 0x45, 0x25],
        'H' => &[0x00, 0x08, UP, 0x40, 0x48, UP, 0x04, 0x44],
        'I' | '!' => &[0x00, 0x08],
        'K' => &[0x00, 0x08, UP, 0x40, 0x04, 0x48],
        'L' => &[0x00, 0x08, 0x48],
        'M' => &[0x08, 0x00, 0x24, 0x40, 0x48],
        'N' => &[0x08, 0x00, 0x48, 0x40],
        'P' => &[0x08, 0x00, 0x30, 0x41, 0x43, 0x34, 0x04],
        'R' => &[0x08, 0x00, 0x30, 0x41, 0x43, 0x34, 0x04, UP, 0x24, 0x48],
        'S' => &[0x41, 0x30, 0x10, 0x01, 0x03, 0x14, 0x34, 0x45, 0x47, 0x38, 0x18, 0x07],
        'T' => &[0x00, 0x40, UP, 0x20, 0x28],
        'U' => &[0x00, 0x07, 0x18, 0x38, 0x47, 0x40],
        'V' => &[0x00, 0x02, 0x28, 0x42, 0x40],
        'W' => &[0x00, 0x08, 0x24, 0x48, 0x40],
        'X' => &[0x00, 0x48, UP, 0x40, 0x08],
        'Y' => &[0x00, 0x24, 0x40, UP, 0x24, 0x28],
        '?' => &[0x01, 0x10, 0x30, 0x41, 0x43, 0x25, 0x26],
        _ => &[],
    }
}

impl Shape {
    const fn advance(&self, letter: char) -> i32 {
        self.gap
            + match letter {
                '.' | 'I' | '!' => self.stroke,
                'M' | 'W' => self.width * 5 / 4,
                ' ' => self.width / 3,
                _ => self.width,
            }
    }

    /// How wide `text` is.
    #[must_use]
    pub fn across(&self, text: &str) -> i32 {
        text.chars().map(|letter| self.advance(letter)).sum::<i32>() - self.gap
    }
}

/// A stretch of a stroke in half pixels, so that strokes of even and odd width both begin and end at whole pixels.
#[derive(Clone, Copy)]
struct Stretch {
    from: Point,
    to: Point,
}

impl Stretch {
    /// Whether the middle of the pixel lies nearer than half of `stroke`.
    fn covers(&self, pixel: Point, stroke: i32) -> bool {
        let at = pixel + pixel + Point::new_equal(1) - self.from;
        let along = self.to - self.from;
        let dot = |a: Point, b: Point| a.x * b.x + a.y * b.y;
        let (length, part) = (dot(along, along), dot(at, along));
        let limit = stroke * stroke;
        if part <= 0 {
            return dot(at, at) < limit;
        }
        if part >= length {
            return dot(at - along, at - along) < limit;
        }
        let across = (at.x * along.y - at.y * along.x).abs();
        across < 40_000 && across * across < limit * length
    }

    fn draw<D>(&self, stroke: i32, ink: Ink<D::Color>, display: &mut D) -> Result<(), D::Error>
    where
        D: DrawTarget,
    {
        let (low, high) = (self.from.component_min(self.to), self.from.component_max(self.to));
        let (left, right) = ((low.x - stroke) / 2, (high.x + stroke) / 2);
        display.draw_iter(((low.y - stroke) / 2..=(high.y + stroke) / 2).flat_map(|y| {
            (left..=right).filter_map(move |x| {
                let at = Point::new(x, y);
                if self.covers(at, stroke) { ink.pixel(at) } else { None }
            })
        }))
    }
}

/// A straight stroke between the middles of two pixels.
pub fn line<D>(from: Point, to: Point, stroke: i32, color: D::Color, display: &mut D) -> Result<(), D::Error>
where
    D: DrawTarget,
{
    let middle = |point: Point| point + point + Point::new_equal(1);
    Stretch { from: middle(from), to: middle(to) }.draw(stroke, Ink { color, period: 0 }, display)
}

/// Draws `text` with its upper left corner at `at`, in `level` on `ground`.
pub fn draw<D>(
    text: &str,
    at: Point,
    shape: &Shape,
    form: Form,
    (level, ground): (Level, Level),
    display: &mut D,
) -> Result<(), D::Error>
where
    D: DrawTarget<Color: Shade>,
{
    let (ink, paper) = (D::Color::solid(level), D::Color::solid(ground));
    let inside = shape.stroke / 5 + 1;
    // lines as broad as the outline, and as far apart
    let period = if form == Form::Hatched { 2 * inside } else { 0 };
    let passes = [(0, Ink { color: ink, period: 0 }), (inside, Ink { color: paper, period })];
    let count = if form == Form::Solid { 1 } else { 2 };
    passes.into_iter().take(count).try_for_each(|(inside, ink)| pass(text, at, shape, inside, ink, display))
}

/// What a stroke is filled with: all of it, or slanted lines so many pixels broad and as far apart.
#[derive(Clone, Copy)]
struct Ink<C> {
    color: C,
    period: i32,
}

impl<C: PixelColor> Ink<C> {
    fn pixel(self, at: Point) -> Option<Pixel<C>> {
        let left_out = self.period > 0 && (at.x + at.y).rem_euclid(2 * self.period) >= self.period;
        (!left_out).then_some(Pixel(at, self.color))
    }
}

/// Every stroke, narrower by `inside` on each side.
fn pass<D>(
    text: &str,
    at: Point,
    shape: &Shape,
    inside: i32,
    ink: Ink<D::Color>,
    display: &mut D,
) -> Result<(), D::Error>
where
    D: DrawTarget,
{
    let stroke = shape.stroke - 2 * inside;
    let mut left = at.x;
    for letter in text.chars() {
        let advance = shape.advance(letter);
        let width = advance - shape.gap;
        let corner = Point::new(2 * left + shape.stroke, 2 * at.y + shape.stroke);
        let place = |point: u8| {
            let (x, y) = (i32::from(point >> 4), i32::from(point & 15));
            let (across, down) = (width - shape.stroke, shape.height - shape.stroke);
            corner + Point::new(2 * ((x * across + 2) / 4), 2 * ((y * down + 4) / 8))
        };
        // a point at the foot: square, to be as much as it can
        if matches!(letter, '.' | '!' | '?') {
            let middle = if letter == '?' { width / 2 - shape.stroke / 2 } else { 0 };
            let from =
                Point::new(left + middle, at.y + shape.height - shape.stroke) + Point::new_equal(inside);
            let square = (0..stroke).flat_map(|y| (0..stroke).map(move |x| from + Point::new(x, y)));
            display.draw_iter(square.filter_map(|at| ink.pixel(at)))?;
        }
        let mut pen = None;
        for point in points(letter) {
            let next = (*point != UP).then(|| place(*point));
            if let (Some(from), Some(mut to)) = (pen, next) {
                if letter == '!' {
                    to.y -= 4 * shape.stroke; // clear of its point
                }
                Stretch { from, to }.draw(stroke, ink, display)?;
            }
            pen = next;
        }
        left += advance;
    }
    Ok(())
}
