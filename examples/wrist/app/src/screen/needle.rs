//! The needle: its angle is the rate, the width of its fan is how far the rate is known.
//!
//! Level is steady. Each mg/dL per minute tilts it by 22.5°, up for rising; at 4 it stands upright and stays.
//! The fan reaches one standard deviation to each side. Without a rate there is only the empty scale.

use super::shade::{Level, Shade};
use super::strokes;
use embedded_graphics::prelude::*;
use embedded_graphics::primitives::Line;
use glidepath::Rate;

/// Degrees for one mg/dL per minute.
const DEGREES: f32 = 22.5;

/// Sines of 0° to 90° in steps of 3°, in 1/1024.
const SINES: [i32; 31] = [
    0, 54, 107, 160, 213, 265, 316, 367, 416, 465, 512, 558, 602, 644, 685, 724, 761, 796, 828, 859, 887,
    912, 935, 956, 974, 989, 1002, 1011, 1018, 1023, 1024,
];

/// The sine of whole degrees within ±90, in 1/1024, between table entries by proportion.
fn sine(degrees: i32) -> i32 {
    let whole = degrees.abs().min(90);
    let entry = |i: i32| SINES.get(i.unsigned_abs() as usize).copied().unwrap_or(1024);
    let (step, rest) = (whole / 3, whole % 3);
    let sine = entry(step) + (entry(step + 1) - entry(step)) * rest / 3;
    if degrees < 0 { -sine } else { sine }
}

fn tip(degrees: i32, length: i32) -> Point {
    let across = sine(90 - degrees.abs());
    Point::new((across * length + 512) >> 10, -((sine(degrees) * length + 512) >> 10))
}

fn degrees(rate: f32) -> i32 {
    (rate * DEGREES).clamp(-90.0, 90.0) as i32
}

/// Draws scale, fan and needle around the pivot at `at`, to its right; the needle is `length` pixels long.
pub fn draw<D>(rate: Option<(Rate, f32)>, at: Point, length: i32, display: &mut D) -> Result<(), D::Error>
where
    D: DrawTarget<Color: Shade>,
{
    let ink = D::Color::solid(Level::Ink);
    // upright leaves the picture's rows: the scale is an ellipse of rows
    let on_scale = |degrees: i32, length: i32| {
        let point = tip(degrees, length);
        at + Point::new(point.x, point.y * 3 / 4)
    };
    let thin = 1 + length / 30;
    for tick in [-45, 0, 45] {
        strokes::line(on_scale(tick, length + 1), on_scale(tick, length + 3), thin, ink, display)?;
    }
    let pivot = length / 4;
    let Some((rate, sd)) = rate else {
        // a ring: there is a pivot, and no needle
        strokes::line(at, at, pivot, ink, display)?;
        return strokes::line(at, at, pivot - 2 * thin, D::Color::solid(Level::Paper), display);
    };
    let rate = rate.mg_dl_per_min();
    let (low, high) = (degrees(rate - sd), degrees(rate + sd));
    // an edge as a direction, with rows drawn out again so that the fan's end is an arc
    let (lower, upper) = (tip(low, 1024), tip(high, 1024));
    let cross = |a: Point, b: Point| a.x * b.y - a.y * b.x;
    let reach = length - 2;
    display.draw_iter((-reach..=reach).flat_map(|y| {
        (0..=reach).filter_map(move |x| {
            let place = Point::new(x, y);
            let within = cross(upper, place) >= 0 && cross(place, lower) >= 0;
            let near = x * x + y * y <= reach * reach;
            let pixel = at + Point::new(x, y * 3 / 4);
            (within && near).then(|| Pixel(pixel, D::Color::pattern(Level::Faint, pixel)))
        })
    }))?;
    for edge in [low, high] {
        let line = Line::new(at, on_scale(edge, reach)).points();
        display.draw_iter(line.map(|p| Pixel(p, D::Color::pattern(Level::Soft, p))))?;
    }
    strokes::line(at, on_scale(degrees(rate), length - thin), 3 * thin, ink, display)?;
    strokes::line(at, at, pivot, ink, display)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_angle_follows_the_rate() {
        assert_eq!((degrees(0.0), degrees(2.0), degrees(-2.0), degrees(9.0)), (0, 45, -45, 90));
        for angle in -90..=90_i32 {
            let want = (f64::from(angle).to_radians().sin() * 1024.0).round() as i32;
            assert!((sine(angle) - want).abs() <= 1, "{angle}");
        }
        assert_eq!(tip(90, 24), Point::new(0, -24));
        assert_eq!(tip(0, 24), Point::new(24, 0));
    }
}
