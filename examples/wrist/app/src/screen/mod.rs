//! The pictures, drawn by one code on every display: one bit, greys or colours.
//!
//! What is certain is told by the digits' own ink: solid, hatched with care, hollow while doubted, three strokes when there is
//! no present value. It cannot be overlooked, nor read apart from the number, and it says nothing else.

mod layout;
mod needle;
mod shade;
mod strip;
mod strokes;

pub use layout::{Layout, SLIM, SQUARE, WIDE};
pub use shade::{Level, Shade};
pub use strokes::Form;

use crate::face::{Bound, Face, Matter, Now, Trust, Unit, in_unit};
use crate::text::{push, push_number, push_value};
use crate::words::{beside, push_age, unit_name};
use embedded_graphics::mono_font::{MonoFont, MonoTextStyle};
use embedded_graphics::prelude::*;
use embedded_graphics::primitives::Rectangle;
use embedded_graphics::text::{Alignment, Baseline, Text, TextStyleBuilder};
use glidepath::alarm::{Kind, Priority, Ring};
use heapless::String;
use layout::{Lines, PairPlace, ToDo};
use strokes::Shape;

#[cfg(test)]
mod tests;

/// The size of [`WIDE`], the Pico's display.
pub const SIZE: Size = WIDE.size;

/// What the display shows.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub enum Page {
    /// The present.
    #[default]
    Now,
    /// The last twelve hours.
    Past,
}

/// Draws `face` on a display of 128 × 64. An alarm takes the display whatever the page.
///
/// # Errors
/// The display's own.
pub fn draw<D>(face: &Face<'_>, page: Page, display: &mut D) -> Result<(), D::Error>
where
    D: DrawTarget<Color: Shade>,
{
    draw_on(face, page, &WIDE, display)
}

/// Draws `face` on a display of this [`Layout`]. An alarm takes the display whatever the page.
///
/// # Errors
/// The display's own.
pub fn draw_on<D>(face: &Face<'_>, page: Page, layout: &Layout, display: &mut D) -> Result<(), D::Error>
where
    D: DrawTarget<Color: Shade>,
{
    display.clear(D::Color::solid(Level::Paper))?;
    if let Some(ring) = face.alert {
        return alarm(face, &ring, layout, display);
    }
    top(face, page, layout, display)?;
    if page == Page::Past {
        return past(face, layout, display);
    }
    value(face, layout, display)?;
    let matter = face.matter();
    // beyond the sensor's range no rate is known, and the value may need the room; nor is it while the value is doubted
    if let Some(now) = face.current().filter(|now| now.bound.is_none() && !now.doubted)
        && (layout.needle_stays || matter.is_none())
    {
        let (at, length) = layout.needle;
        needle::draw(now.rate, at, length, display)?;
    }
    if let Some(matter) = matter {
        let (at, right, shape) = layout.matter;
        let line = Line::of(&matter);
        let level = if line.low { Level::Low } else { Level::Ink };
        capitals(&line, at, right, &shape, layout.small, (level, Level::Paper), display)?;
        if !layout.strip_stays {
            return Ok(());
        }
    }
    strip::draw(face, &layout.strip, display)
}

/// The last twelve hours, and over them how two sensors go together.
fn past<D>(face: &Face<'_>, layout: &Layout, display: &mut D) -> Result<(), D::Error>
where
    D: DrawTarget<Color: Shade>,
{
    if face.pair.is_empty() || face.current().is_none() {
        return strip::draw(face, &layout.past, display);
    }
    let ((row, top), (_, font)) = (layout.past_pair, layout.pair);
    words(face.pair, Point::new(layout.past.left, row), Alignment::Left, font, Level::Ink, display)?;
    strip::draw(face, &strip::Frame { top, ..layout.past }, display)
}

/// A line in capitals, and a unit in small print behind it.
struct Line {
    text: String<12>,
    unit: &'static str,
    low: bool,
}

impl Line {
    fn new(text: &str) -> Self {
        let mut line = Self { text: String::new(), unit: "", low: false };
        push(&mut line.text, text);
        line
    }

    fn low_in(minutes: u16) -> Self {
        let mut line = Self { unit: "min", low: true, ..Self::new("LOW IN ") };
        push_number(&mut line.text, minutes.into());
        line
    }

    fn of(matter: &Matter) -> Self {
        match matter {
            Matter::Nothing => Self::new("WAITING"),
            Matter::Undated => Self::new("NO VALUE"),
            Matter::TooOld => Self::new("TOO OLD"),
            Matter::Unheard(unheard) => Self::new(unheard.title().unwrap_or_default()),
            Matter::Doubted => Self::new("DOUBTED"),
            Matter::LowIn(minutes) => Self::low_in(*minutes),
            Matter::VeryLow { doubted } | Matter::Low { doubted } => {
                let very = matches!(matter, Matter::VeryLow { .. });
                let mut line = Self::new(if very { "VERY LOW" } else { "LOW" });
                push(&mut line.text, if *doubted { "?" } else { "" });
                Self { low: true, ..line }
            }
        }
    }

    /// An alarm's.
    fn title(ring: &Ring, now: Option<&Now>) -> Self {
        match now.and_then(|now| now.low_in_min) {
            Some(minutes) if ring.kind == Kind::LowAhead => Self::low_in(minutes),
            _ => Self::new(ring.kind.info().title),
        }
    }

    fn across(&self, shape: &Shape, font: &MonoFont<'_>) -> i32 {
        let unit = font.character_size.width as i32 * self.unit.len() as i32;
        shape.across(&self.text) + if unit > 0 { unit + shape.gap } else { 0 }
    }
}

/// Draws a line in capitals, as broad as it may be in its room.
fn capitals<D>(
    line: &Line,
    at: Point,
    right: i32,
    shape: &Shape,
    font: &'static MonoFont<'static>,
    levels: (Level, Level),
    display: &mut D,
) -> Result<(), D::Error>
where
    D: DrawTarget<Color: Shade>,
{
    let shape = broadest(line, right - at.x, shape, font);
    strokes::draw(&line.text, at, &shape, Form::Solid, levels, display)?;
    let foot = shape.height - 1 - font.baseline as i32;
    let end = at + Point::new(shape.across(&line.text) + shape.gap, foot);
    words(line.unit, end, Alignment::Left, font, levels.0, display)
}

/// Letters at most half as broad as they are high, and as narrow as `line` needs in its room.
fn broadest(line: &Line, room: i32, shape: &Shape, font: &MonoFont<'_>) -> Shape {
    let mut fits = Shape { width: shape.height / 2, ..*shape };
    while fits.width > NARROWEST && line.across(&fits, font) > room {
        fits.width -= 1;
    }
    Shape { stroke: fits.stroke.max(fits.width / 3), ..fits }
}

/// Below this, letters of two pixels' strokes run together.
const NARROWEST: i32 = 6;

/// Draws the figures of a value, narrower where there are many.
fn figures_in<D>(
    text: &str,
    (at, right, shape): &(Point, i32, Shape),
    form: Form,
    levels: (Level, Level),
    display: &mut D,
) -> Result<(), D::Error>
where
    D: DrawTarget<Color: Shade>,
{
    let mut shape = *shape;
    while shape.across(text) > right - at.x && shape.width > NARROWEST {
        shape.width -= 1;
        shape.stroke = shape.stroke.min(shape.width / 3).max(3); // less has no room for a form
    }
    strokes::draw(text, *at, &shape, form, levels, display)
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
    debug_assert!(font.character_size.width > 5 || !text.contains('.'), "a point like a plus: {text}");
    let style = TextStyleBuilder::new().alignment(alignment).baseline(Baseline::Top).build();
    Text::with_text_style(text, at, MonoTextStyle::new(font, D::Color::solid(level)), style).draw(display)?;
    Ok(())
}

fn fill<D>(area: Rectangle, level: Level, display: &mut D) -> Result<(), D::Error>
where
    D: DrawTarget<Color: Shade>,
{
    display.fill_solid(&area, D::Color::solid(level))
}

fn top<D>(face: &Face<'_>, page: Page, layout: &Layout, display: &mut D) -> Result<(), D::Error>
where
    D: DrawTarget<Color: Shade>,
{
    if let (Some(lines), ToDo::Row(at)) = (to_do(face, page), layout.to_do) {
        let mut row = String::<24>::new();
        push(&mut row, &lines[0]);
        push(&mut row, " ");
        push(&mut row, &lines[1]);
        words(&row, at, Alignment::Left, layout.small, Level::Ink, display)?;
        return battery(face, layout, display);
    }
    let mut age = String::<12>::new();
    match face.age_min() {
        None => push(&mut age, "age?"),
        Some(minutes) => push_age(&mut age, minutes),
    }
    let age = if face.last.is_none() { "wait" } else { age.as_str() };
    words(age, layout.age, Alignment::Left, layout.plain, Level::Ink, display)?;

    let unheard = face.unheard.map(|unheard| unheard.about().note);
    let mut middle = String::<16>::new();
    let (mut at, mut font, mut level) = (layout.middle, layout.small, Level::Soft);
    match face.current() {
        Some(now) if page == Page::Past => {
            let (figures, font) = (figures(&now, face.unit), layout.plain);
            let over = Point::new(at.x, layout.age.y);
            words(&figures, over, Alignment::Left, font, Level::Ink, display)?;
            at.x += font.character_size.width as i32 * figures.len() as i32 + 3;
            push(&mut middle, if now.doubted { "doubted" } else { unit_name(face.unit) });
        }
        // whatever else is to be told of the sensors
        Some(_) if !face.pair.is_empty() => {
            push(&mut middle, face.pair);
            ((at, font), level) = (layout.pair, Level::Ink);
        }
        None if layout.was.is_none() && (unheard.is_none() || page == Page::Past) => {
            was(face, &mut middle);
            (at.y, font) = (layout.age.y, layout.plain);
        }
        // why is told beside the digits
        Some(now) if now.doubted && layout.why.is_some() => push(&mut middle, unit_name(face.unit)),
        now if !face.note.is_empty() && (now.is_some() || unheard.is_none()) => push(&mut middle, face.note),
        _ => match unheard {
            Some(note) => {
                push(&mut middle, note);
                ((at, font), level) = (layout.pair, Level::Ink);
            }
            None => push(&mut middle, unit_name(face.unit)),
        },
    }
    words(&middle, at, Alignment::Left, font, level, display)?;
    battery(face, layout, display)
}

/// What to do about no sensor being listened to, where no value is present.
fn to_do(face: &Face<'_>, page: Page) -> Option<[String<12>; 2]> {
    let unheard = face.unheard.filter(|_| page == Page::Now && face.current().is_none())?;
    unheard.to_do()
}

fn battery<D>(face: &Face<'_>, layout: &Layout, display: &mut D) -> Result<(), D::Error>
where
    D: DrawTarget<Color: Shade>,
{
    let Some(percent) = face.battery_percent else { return Ok(()) };
    let case = layout.battery;
    let (Size { width, height }, corner) = (case.size, case.top_left);
    fill(case, Level::Ink, display)?;
    let hollow = Rectangle::new(corner + Point::new_equal(1), Size::new(width - 2, height - 2));
    fill(hollow, Level::Paper, display)?;
    let pole =
        Rectangle::new(corner + Point::new(width as i32, height as i32 / 2 - 1), Size::new(1, height / 2));
    fill(pole, Level::Ink, display)?;
    let charge = u32::from(percent.min(100)) * (width - 4) / 100;
    fill(Rectangle::new(corner + Point::new(2, 2), Size::new(charge, height - 4)), Level::Ink, display)
}

/// What was last known.
fn was(face: &Face<'_>, text: &mut String<16>) {
    match face.last {
        None => push(text, face.note),
        Some(glucose) => {
            push(text, "was ");
            push_value(text, in_unit(glucose, face.unit));
        }
    }
}

/// The value in large digits while it is the present one, in the form of its certainty; else three strokes, and the
/// last value in small print with the words that it is past.
fn value<D>(face: &Face<'_>, layout: &Layout, display: &mut D) -> Result<(), D::Error>
where
    D: DrawTarget<Color: Shade>,
{
    let Some(now) = face.current() else {
        let (at, right, shape) = layout.digits;
        // above the small print
        let lift = if layout.was.is_some() { shape.height / 4 } else { 0 };
        let place = (at - Point::new(0, lift), right, shape);
        figures_in("---", &place, Form::Solid, (Level::Ink, Level::Paper), display)?;
        if let (Some(lines), ToDo::Right(at, step)) = (to_do(face, Page::Now), layout.to_do) {
            for (row, line) in (0..).zip(&lines) {
                let at = at + Point::new(0, step * row);
                words(line, at, Alignment::Right, layout.pair.1, Level::Ink, display)?;
            }
        }
        let Some(at) = layout.was else { return Ok(()) };
        let mut past = String::new();
        was(face, &mut past);
        return words(&past, at, Alignment::Left, layout.plain, Level::Ink, display);
    };
    let levels = (strip::level(now.glucose), Level::Paper);
    let figures = figures(&now, face.unit);
    figures_in(&figures, &layout.digits, form(&now, face.trust), levels, display)?;
    let Some(at) = layout.why.filter(|_| now.doubted) else { return Ok(()) };
    let plain = layout.plain.character_size.width as usize * face.note.len();
    let room = at.x - layout.digits.2.across(&figures);
    let font = if plain as i32 + 4 <= room { layout.plain } else { layout.small };
    words(face.note, at, Alignment::Right, font, Level::Ink, display)
}

/// How certain a value is, as the form of its digits.
#[must_use]
pub const fn form(now: &Now, trust: Trust) -> Form {
    match trust {
        _ if now.doubted => Form::Hollow,
        Trust::None => Form::Hollow,
        Trust::Poor => Form::Hatched,
        Trust::Fair | Trust::Good => Form::Solid,
    }
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
fn alarm<D>(face: &Face<'_>, ring: &Ring, layout: &Layout, display: &mut D) -> Result<(), D::Error>
where
    D: DrawTarget<Color: Shade>,
{
    let (places, ground) = (&layout.alarm, Level::Alarm(ring.priority));
    fill(Rectangle::new(Point::zero(), layout.size), ground, display)?;
    let on_title = match places.band {
        Some(band) => {
            fill(band, Level::Paper, display)?;
            (ground, Level::Paper)
        }
        None => (Level::Paper, ground),
    };
    let now = face.figure();
    let (at, mut right, shape) = places.title;
    if places.marks_with_title {
        let marks = marks(ring.priority);
        let left = right - shape.across(marks);
        strokes::draw(marks, Point::new(left, at.y), &shape, Form::Solid, on_title, display)?;
        right = left - 2 * shape.stroke;
    }
    capitals(&Line::title(ring, now.as_ref()), at, right, &shape, layout.small, on_title, display)?;

    let (figures, form) = match &now {
        Some(now) => (figures(now, face.unit), form(now, face.trust)),
        None => {
            let mut none = String::new();
            push(&mut none, "---");
            (none, Form::Solid)
        }
    };
    figures_in(&figures, &places.digits, form, (Level::Paper, ground), display)?;
    let wide = now.is_some_and(|now| now.bound.is_some());
    let lines = beside(face, ring, now.as_ref());
    // whatever else is to be told of a value
    let pair = if now.is_some() { face.pair } else { "" };
    match places.lines {
        Lines::Right(at, step) => {
            let font = if wide { layout.small } else { layout.plain };
            for (row, line) in (0..).zip(&lines) {
                let at = at + Point::new(0, step * row);
                words(line, at, Alignment::Right, font, Level::Paper, display)?;
            }
        }
        Lines::Left(at, step) => {
            for (row, line) in (0..).zip(&lines) {
                let at = at + Point::new(0, step * row);
                words(line, at, Alignment::Left, layout.plain, Level::Paper, display)?;
            }
        }
        Lines::Row(at) => {
            let mut row = String::<48>::new();
            push(&mut row, marks(ring.priority));
            if !pair.is_empty() {
                for word in [unit_name(face.unit), pair] {
                    push(&mut row, " ");
                    push(&mut row, word);
                }
            }
            // the form of the digits says it
            let lines = if pair.is_empty() { &lines[..] } else { &[] };
            for line in lines.iter().filter(|line| !line.is_empty() && line.as_str() != "doubted") {
                push(&mut row, " ");
                push(&mut row, line.trim());
            }
            let plain = layout.plain.character_size.width * row.len() as u32 <= layout.size.width;
            let (at, font) = if plain { (at, layout.plain) } else { (at + Point::new(0, 2), layout.small) };
            words(&row, at, Alignment::Left, font, Level::Paper, display)?;
        }
    }
    let (pair_font, small) = (layout.pair.1, layout.small);
    let Some((left, right)) = places.button else { return Ok(()) };
    match places.pair {
        PairPlace::Foot if !pair.is_empty() => {
            return words(pair, left, Alignment::Left, pair_font, Level::Paper, display);
        }
        PairPlace::Beside(at) => words(pair, at, Alignment::Right, pair_font, Level::Paper, display)?,
        PairPlace::Foot | PairPlace::Row => {}
    }
    words("press: seen", left, Alignment::Left, small, Level::Paper, display)?;
    words("hold: later", right, Alignment::Right, small, Level::Paper, display)
}

/// The marks of IEC 60601-1-8 for its priorities.
const fn marks(priority: Priority) -> &'static str {
    match priority {
        Priority::High => "!!!",
        Priority::Medium => "!!",
        Priority::Low => "!",
    }
}
