//! Large figures drawn with a broad stroke: legible at arm's length, and any size from one table.

use super::shade::{Level, Shade};
use embedded_graphics::prelude::*;
use embedded_graphics::primitives::{Line, PrimitiveStyle, Rectangle};

/// Width, height and stroke of a figure in pixels.
#[derive(Clone, Copy, Debug)]
pub struct Shape {
    width: i32,
    height: i32,
    stroke: i32,
}

/// Three figures and a point in 78 × 34 pixels.
pub const LARGE: Shape = Shape { width: 20, height: 34, stroke: 5 };
/// For the alarm screen.
pub const MEDIUM: Shape = Shape { width: 17, height: 28, stroke: 4 };

/// How the strokes are filled.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Form {
    /// A value that is believed.
    Full,
    /// Only its outline: a value that is doubted.
    Hollow,
}

/// Strokes on a grid of 4 × 8; a pair of equal points is a dot.
type Strokes = &'static [&'static [(i32, i32)]];

fn strokes(figure: char) -> Strokes {
    match figure {
        '0' => &[&[(1, 0), (3, 0), (4, 1), (4, 7), (3, 8), (1, 8), (0, 7), (0, 1), (1, 0)]],
        '1' => &[&[(0, 2), (2, 0), (2, 8)], &[(0, 8), (4, 8)]],
        '2' => &[&[(0, 1), (1, 0), (3, 0), (4, 1), (4, 3), (0, 7), (0, 8), (4, 8)]],
        '3' => &[
            &[(0, 1), (1, 0), (3, 0), (4, 1), (4, 3), (3, 4), (1, 4)],
            &[(3, 4), (4, 5), (4, 7), (3, 8), (1, 8), (0, 7)],
        ],
        '4' => &[&[(3, 8), (3, 0), (0, 5), (0, 6), (4, 6)]],
        '5' => &[&[(4, 0), (0, 0), (0, 3), (3, 3), (4, 4), (4, 7), (3, 8), (1, 8), (0, 7)]],
        '6' => &[&[(4, 1), (3, 0), (1, 0), (0, 1), (0, 7), (1, 8), (3, 8), (4, 7), (4, 5), (3, 4), (0, 4)]],
        '7' => &[&[(0, 0), (4, 0), (4, 1), (1, 6), (1, 8)]],
        '8' => &[
            &[(1, 4), (0, 3), (0, 1), (1, 0), (3, 0), (4, 1), (4, 3), (3, 4), (1, 4)],
            &[(1, 4), (0, 5), (0, 7), (1, 8), (3, 8), (4, 7), (4, 5), (3, 4)],
        ],
        '9' => &[&[(0, 7), (1, 8), (3, 8), (4, 7), (4, 1), (3, 0), (1, 0), (0, 1), (0, 3), (1, 4), (4, 4)]],
        '<' => &[&[(4, 1), (0, 4), (4, 7)]],
        '>' => &[&[(0, 1), (4, 4), (0, 7)]],
        '-' => &[&[(0, 4), (4, 4)]],
        _ => &[],
    }
}

/// Draws `text` (digits, point, `<`, `>`, `-`) with its upper left corner at `at`.
pub fn draw<D>(
    text: &str,
    at: Point,
    shape: Shape,
    form: Form,
    level: Level,
    display: &mut D,
) -> Result<(), D::Error>
where
    D: DrawTarget<Color: Shade>,
{
    broad(text, at, shape, shape.stroke, level, display)?;
    if form == Form::Hollow {
        let inside = if level == Level::Paper { Level::Ink } else { Level::Paper };
        broad(text, at, shape, shape.stroke - 2, inside, display)?;
    }
    Ok(())
}

/// With a stroke of `width`, in the middle of the shape's own.
fn broad<D>(
    text: &str,
    at: Point,
    shape: Shape,
    width: i32,
    level: Level,
    display: &mut D,
) -> Result<(), D::Error>
where
    D: DrawTarget<Color: Shade>,
{
    let style = PrimitiveStyle::with_stroke(D::Color::solid(level), width.unsigned_abs());
    let fill = PrimitiveStyle::with_fill(D::Color::solid(level));
    let (half, within) = (shape.stroke / 2, (shape.stroke - width) / 2);
    let mut left = at.x;
    for figure in text.chars() {
        if figure == '.' {
            let corner = Point::new(left + within, at.y + shape.height - shape.stroke + within);
            Rectangle::new(corner, Size::new_equal(width.unsigned_abs())).into_styled(fill).draw(display)?;
            left += shape.stroke + 3;
            continue;
        }
        let place = |(x, y): (i32, i32)| {
            let (width, height) = (shape.width - shape.stroke, shape.height - shape.stroke);
            Point::new(left + half + (x * width + 2) / 4, at.y + half + (y * height + 4) / 8)
        };
        for stroke in strokes(figure) {
            for pair in stroke.windows(2) {
                if let [from, to] = pair {
                    Line::new(place(*from), place(*to)).into_styled(style).draw(display)?;
                }
            }
            // joins and ends, rounded at the corners
            for point in *stroke {
                let size = width.unsigned_abs();
                let corner = place(*point) - Point::new(half, half) + Point::new_equal(within);
                let cut = size.saturating_sub(2);
                Rectangle::new(corner + Point::new(1, 0), Size::new(cut, size))
                    .into_styled(fill)
                    .draw(display)?;
                Rectangle::new(corner + Point::new(0, 1), Size::new(size, cut))
                    .into_styled(fill)
                    .draw(display)?;
            }
        }
        left += shape.width + 3;
    }
    Ok(())
}
