//! The 128 × 64 pictures, the same on every display: one bit or sixteen greys.
//!
//! | rows | what |
//! | --- | --- |
//! | 0–8 | minutes since the reading; unit, or minutes to a low; trust and battery |
//! | 11–45 | glucose, and the needle for its rate |
//! | 46–63 | the last three hours, and the hour to come as a band |

mod digits;
mod needle;
mod shade;
mod strip;

pub use shade::{Level, Shade};

use crate::face::{Bound, Face, Now, Trust, Unit, in_unit};
use crate::text::{push, push_number, push_value};
use crate::words::{beside, push_age, unit_name};
use embedded_graphics::mono_font::{MonoFont, MonoTextStyle, ascii};
use embedded_graphics::prelude::*;
use embedded_graphics::primitives::{PrimitiveStyle, Rectangle};
use embedded_graphics::text::{Alignment, Baseline, Text, TextStyleBuilder};
use glidepath::alarm::{Priority, Ring};
use heapless::String;

// in most small fonts the point looks like a plus, "3+9"; in the smallest without that, an m like an n
const PLAIN: &MonoFont<'_> = &ascii::FONT_6X12;
const SMALL: &MonoFont<'_> = &ascii::FONT_5X8;
const SMALL_FIGURES: &MonoFont<'_> = &ascii::FONT_5X7;

/// The picture's size.
pub const SIZE: Size = Size::new(128, 64);

/// What the display shows.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub enum Page {
    /// The present.
    #[default]
    Now,
    /// The last twelve hours.
    Past,
}

/// Draws `face` on a display of [`SIZE`]. An alarm takes the display whatever the page.
///
/// # Errors
/// The display's own.
pub fn draw<D>(face: &Face<'_>, page: Page, display: &mut D) -> Result<(), D::Error>
where
    D: DrawTarget<Color: Shade>,
{
    display.clear(D::Color::solid(Level::Paper))?;
    match (face.alert, page) {
        (Some(ring), _) => alarm(face, &ring, display),
        (None, Page::Now) => {
            top(face, page, display)?;
            value(face, Point::new(0, 11), display)?;
            // beyond the sensor's range no rate is known, and the value may need the room
            if let Some(now) = face.current().filter(|now| now.bound.is_none()) {
                if now.doubted {
                    // nor is it while the value is doubted: why, in the needle's place
                    let at = Point::new(127, 24);
                    words(face.note, at, Alignment::Right, SMALL, Level::Ink, display)?;
                } else {
                    needle::draw(now.rate, Point::new(92, 28), display)?;
                }
            }
            strip::draw(face, &strip::NOW, display)
        }
        (None, Page::Past) => {
            top(face, page, display)?;
            strip::draw(face, &strip::PAST, display)
        }
    }
}

fn words<D>(
    text: &str,
    at: Point,
    alignment: Alignment,
    font: &MonoFont<'_>,
    level: Level,
    display: &mut D,
) -> Result<(), D::Error>
where
    D: DrawTarget<Color: Shade>,
{
    let style = TextStyleBuilder::new().alignment(alignment).baseline(Baseline::Top).build();
    Text::with_text_style(text, at, MonoTextStyle::new(font, D::Color::solid(level)), style).draw(display)?;
    Ok(())
}

fn fill<D>(area: Rectangle, level: Level, display: &mut D) -> Result<(), D::Error>
where
    D: DrawTarget<Color: Shade>,
{
    area.into_styled(PrimitiveStyle::with_fill(D::Color::solid(level))).draw(display)
}

fn top<D>(face: &Face<'_>, page: Page, display: &mut D) -> Result<(), D::Error>
where
    D: DrawTarget<Color: Shade>,
{
    let mut age = String::<12>::new();
    match face.age_min() {
        None => push(&mut age, "age?"),
        Some(minutes) => push_age(&mut age, minutes),
    }
    let age = if face.last.is_none() { "wait" } else { age.as_str() };
    words(age, Point::new(0, -2), Alignment::Left, PLAIN, Level::Ink, display)?;

    let mut middle = String::<16>::new();
    let mut at = Point::new(40, 1);
    match face.current() {
        Some(now) if page == Page::Past => {
            let figures = figures(&now, face.unit);
            words(&figures, at + Point::new(0, 1), Alignment::Left, SMALL_FIGURES, Level::Soft, display)?;
            at.x += 5 * figures.len() as i32 + 3;
            push(&mut middle, if now.doubted { "doubted" } else { unit_name(face.unit) });
        }
        Some(Now { doubted: true, .. }) => push(&mut middle, "doubted"),
        Some(Now { low_in_min: Some(minutes), .. }) => {
            push(&mut middle, "low in ");
            push_number(&mut middle, minutes.into());
            push(&mut middle, "m");
        }
        _ if !face.note.is_empty() => push(&mut middle, face.note),
        _ => push(&mut middle, unit_name(face.unit)),
    }
    words(&middle, at, Alignment::Left, SMALL, Level::Soft, display)?;

    // trust: three rising bars, hollow where it is missing
    for (step, needed) in [Trust::Poor, Trust::Fair, Trust::Good].into_iter().enumerate() {
        let step = step as i32;
        let height = 3 + 2 * step;
        let bar = Rectangle::new(Point::new(98 + 4 * step, 8 - height), Size::new(3, height.unsigned_abs()));
        if face.trust >= needed {
            fill(bar, Level::Ink, display)?;
        } else {
            fill(Rectangle::new(Point::new(98 + 4 * step, 7), Size::new(3, 1)), Level::Ink, display)?;
        }
    }
    if let Some(percent) = face.battery_percent {
        let case = Rectangle::new(Point::new(112, 1), Size::new(14, 7));
        case.into_styled(PrimitiveStyle::with_stroke(D::Color::solid(Level::Ink), 1)).draw(display)?;
        fill(Rectangle::new(Point::new(126, 3), Size::new(1, 3)), Level::Ink, display)?;
        let charge = u32::from(percent.min(100)) * 10 / 100;
        fill(Rectangle::new(Point::new(114, 3), Size::new(charge, 3)), Level::Ink, display)?;
    }
    Ok(())
}

/// The value in large digits while it is the present one, hollow while it is doubted; else three strokes, and the last
/// value in small print with the words that it is past.
fn value<D>(face: &Face<'_>, at: Point, display: &mut D) -> Result<(), D::Error>
where
    D: DrawTarget<Color: Shade>,
{
    let Some(now) = face.current() else {
        digits::draw("---", at + Point::new(0, -6), digits::LARGE, digits::Form::Full, Level::Ink, display)?;
        let mut past = String::<24>::new();
        match face.last {
            None => push(&mut past, "no reading yet"),
            Some(glucose) => {
                push(&mut past, "was ");
                push_value(&mut past, in_unit(glucose, face.unit));
                push(&mut past, if face.age.is_some() { ", too old" } else { ", when?" });
            }
        }
        return words(&past, at + Point::new(0, 23), Alignment::Left, PLAIN, Level::Ink, display);
    };
    digits::draw(&figures(&now, face.unit), at, digits::LARGE, form(&now), Level::Ink, display)
}

/// What is doubted is hollow.
const fn form(now: &Now) -> digits::Form {
    if now.doubted { digits::Form::Hollow } else { digits::Form::Full }
}

fn figures(now: &Now, unit: Unit) -> String<8> {
    let mut text = String::new();
    match now.bound {
        Some(Bound::AtMost) => push(&mut text, "<"),
        Some(Bound::AtLeast) => push(&mut text, ">"),
        None => {}
    }
    push_value(&mut text, in_unit(now.glucose, unit));
    text
}

/// Light on dark turned round: an alarm looks like nothing else.
fn alarm<D>(face: &Face<'_>, ring: &Ring, display: &mut D) -> Result<(), D::Error>
where
    D: DrawTarget<Color: Shade>,
{
    fill(Rectangle::new(Point::zero(), SIZE), Level::Ink, display)?;
    fill(Rectangle::new(Point::new(2, 2), Size::new(124, 18)), Level::Paper, display)?;
    let large = &ascii::FONT_9X18_BOLD;
    words(ring.kind.about().title, Point::new(4, 2), Alignment::Left, large, Level::Ink, display)?;
    words(marks(ring.priority), Point::new(124, 2), Alignment::Right, large, Level::Ink, display)?;

    let at = Point::new(4, 23);
    let now = face.figure();
    let (figures, form) = match &now {
        Some(now) => (figures(now, face.unit), form(now)),
        None => {
            let mut none = String::new();
            push(&mut none, "---");
            (none, digits::Form::Full)
        }
    };
    digits::draw(&figures, at, digits::MEDIUM, form, Level::Paper, display)?;
    let font = if now.is_some_and(|now| now.bound.is_some()) { SMALL } else { PLAIN };
    for (row, line) in (0..).zip(&beside(face, ring, now.as_ref())) {
        let at = Point::new(125, 20 + 10 * row);
        words(line, at, Alignment::Right, font, Level::Paper, display)?;
    }
    words("press: seen", Point::new(4, 55), Alignment::Left, SMALL, Level::Paper, display)?;
    words("hold: later", Point::new(124, 55), Alignment::Right, SMALL, Level::Paper, display)
}

/// The marks of IEC 60601-1-8 for its priorities.
const fn marks(priority: Priority) -> &'static str {
    match priority {
        Priority::High => "!!!",
        Priority::Medium => "!!",
        Priority::Low => "!",
    }
}
