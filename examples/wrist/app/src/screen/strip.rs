//! Readings against time: the last hours as dots, the hour to come as a band.

use super::shade::{Level, Shade};
use super::{fill, words};
use crate::face::{Expected, Face, RANGE_MG_DL, in_unit};
use crate::text::push_value;
use embedded_graphics::mono_font::MonoFont;
use embedded_graphics::prelude::*;
use embedded_graphics::primitives::Rectangle;
use embedded_graphics::text::Alignment;
use glidepath::{Glucose, Instant};
use heapless::String;

/// A strip's place and scales, in pixels.
#[derive(Clone, Copy, Debug)]
pub struct Frame {
    pub left: i32,
    pub right: i32,
    pub top: i32,
    pub bottom: i32,
    /// The column of the present.
    pub now: i32,
    pub seconds_per_column: i32,
    pub top_mg_dl: f32,
    /// Half a reading's dot.
    pub dot: i32,
    /// The last [`PAGE_HOURS`], and hours and limits written in this font; else as many hours as there is room for.
    pub labels: Option<&'static MonoFont<'static>>,
}

const BOTTOM_MG_DL: f32 = 40.0;
/// Left of these hours the limits stand, where no reading runs through them.
const PAGE_HOURS: i32 = 12;

impl Frame {
    fn row(&self, mg_dl: f32) -> i32 {
        let share = ((mg_dl - BOTTOM_MG_DL) / (self.top_mg_dl - BOTTOM_MG_DL)).clamp(0.0, 1.0);
        self.bottom - (share * (self.bottom - self.top) as f32 + 0.5) as i32
    }

    fn column(&self, at: Instant, clock: Instant) -> i32 {
        // by the clock's whole minute: a second more or less moves nothing
        let minute = Instant::from_secs(clock.secs() / 60 * 60);
        let seconds = at.since(minute).secs().clamp(-200_000, 0);
        self.now + (seconds + self.seconds_per_column / 2).div_euclid(self.seconds_per_column)
    }

    /// The column so many hours ago.
    const fn hours_ago(&self, hours: i32) -> i32 {
        self.now - hours * 3600 / self.seconds_per_column
    }

    /// Where readings begin; beside labels a dot's width later, so that they do not touch.
    const fn first(&self) -> i32 {
        if self.labels.is_some() { self.hours_ago(PAGE_HOURS) + self.dot } else { self.left }
    }
}

/// What a value's dots and digits mean, by the limits of the range.
pub fn level(glucose: Glucose) -> Level {
    let [low, high] = RANGE_MG_DL;
    match glucose.mg_dl() {
        value if value < low => Level::Low,
        value if value > high => Level::High,
        _ => Level::Ink,
    }
}

/// Draws the strip.
pub fn draw<D>(face: &Face<'_>, frame: &Frame, display: &mut D) -> Result<(), D::Error>
where
    D: DrawTarget<Color: Shade>,
{
    let ink = D::Color::solid(Level::Ink);
    for limit in RANGE_MG_DL {
        let row = frame.row(limit);
        display.draw_iter(
            (frame.left..=frame.right)
                .step_by(4)
                .map(|x| Pixel(Point::new(x, row), D::Color::solid(Level::Soft))),
        )?;
    }
    // else nobody knows how old the readings are
    let Some(clock) = face.at else { return Ok(()) };
    if let Some(now) = face.current().filter(|_| frame.now < frame.right) {
        if let Some(soon) = now.soon {
            band(frame, now.glucose, &soon, display)?;
        }
        let column = (frame.top..=frame.bottom).step_by(2).map(|y| Pixel(Point::new(frame.now, y), ink));
        display.draw_iter(column)?;
    }
    for reading in face.history.iter() {
        let (x, y) = (frame.column(reading.at(), clock), frame.row(reading.glucose().mg_dl()));
        if (frame.first()..=frame.now).contains(&x) {
            let dot = Rectangle::new(
                Point::new(x, y) - Point::new_equal(frame.dot),
                Size::new_equal(2 * frame.dot.unsigned_abs()),
            );
            fill(dot, level(reading.glucose()), display)?;
        }
    }
    if let Some(font) = frame.labels {
        let height = font.character_size.height as i32;
        for limit in RANGE_MG_DL {
            let mut text = String::<8>::new();
            if let Ok(glucose) = Glucose::from_mg_dl(limit) {
                push_value(&mut text, in_unit(glucose, face.unit));
            }
            let text = text.trim_end_matches(".0"); // "10.0" is too long
            let at = Point::new(frame.left, frame.row(limit) - height + 1);
            words(text, at, Alignment::Left, font, Level::Soft, display)?;
        }
        for (hours, label) in [(3, "3 h"), (6, "6 h"), (9, "9 h")] {
            let x = frame.hours_ago(hours);
            let column = (frame.top + height + 1..=frame.bottom).step_by(6);
            let soft = D::Color::solid(Level::Soft);
            display.draw_iter(column.map(|y| Pixel(Point::new(x, y), soft)))?;
            let at = Point::new(x, frame.top);
            words(label, at, Alignment::Center, font, Level::Soft, display)?;
        }
    }
    Ok(())
}

/// One standard deviation to each side of what is expected, straight between the given minutes.
fn band<D>(frame: &Frame, from: Glucose, soon: &[Expected; 3], display: &mut D) -> Result<(), D::Error>
where
    D: DrawTarget<Color: Shade>,
{
    let columns = 1200 / frame.seconds_per_column;
    let mut left = Expected { glucose: from, sd_mg_dl: 0.0 };
    let mut x = frame.now;
    for right in soon {
        for step in 1..=columns {
            let share = step as f32 / columns as f32;
            let between = |a: f32, b: f32| a + (b - a) * share;
            let mean = between(left.glucose.mg_dl(), right.glucose.mg_dl());
            let sd = between(left.sd_mg_dl, right.sd_mg_dl);
            x += 1;
            if (frame.now + 1..=frame.right).contains(&x) {
                let rows = frame.row(mean + sd)..=frame.row(mean - sd);
                let pixels = rows.map(|y| {
                    let at = Point::new(x, y);
                    Pixel(at, D::Color::pattern(Level::Soft, at))
                });
                display.draw_iter(pixels)?;
            }
        }
        left = *right;
    }
    Ok(())
}
