//! Where everything stands, for each display.
//!
//! On all of them the digits and the line in capitals are what is to be read at night without glasses, at 60 cm: ISO 9241-303
//! (from memory) recommends 20 to 22 minutes of arc for reading and asks for 16 at least. A pixel of a common 0.96-inch
//! display of 128 × 64 is 0.17 mm wide, of a 0.91-inch one of 128 × 32 0.175 mm, of a 1.54-inch one of 240 × 240 0.115 mm.

use super::strip;
use super::strokes::Shape;
use embedded_graphics::mono_font::{MonoFont, ascii};
use embedded_graphics::prelude::*;
use embedded_graphics::primitives::Rectangle;

// the small one is for words alone: in it the point looks like a plus, "3+9"
const PLAIN: &MonoFont<'_> = &ascii::FONT_6X12;
const SMALL: &MonoFont<'_> = &ascii::FONT_5X8;
const LARGE: &MonoFont<'_> = &ascii::FONT_10X20;

/// The places and sizes on one display.
#[derive(Clone, Copy, Debug)]
pub struct Layout {
    /// The whole display.
    pub size: Size,
    /// For what is read once the eyes are awake, numbers with a point among it.
    pub(super) plain: &'static MonoFont<'static>,
    /// For words.
    pub(super) small: &'static MonoFont<'static>,
    /// Age, what is the matter with the sensor, battery.
    pub(super) age: Point,
    pub(super) middle: Point,
    /// How two sensors go together, in 14 letters between age and battery.
    pub(super) pair: (Point, &'static MonoFont<'static>),
    pub(super) battery: Rectangle,
    /// From its left to its right end: narrower figures when there are many.
    pub(super) digits: (Point, i32, Shape),
    /// Middle and length; left out beside what matters where both have no room.
    pub(super) needle: (Point, i32),
    pub(super) needle_stays: bool,
    pub(super) strip: strip::Frame,
    pub(super) strip_stays: bool,
    pub(super) past: strip::Frame,
    /// The same of two sensors: where the row of their words stands, and where the strip then begins.
    pub(super) past_pair: (i32, i32),
    /// What matters most, in capitals, from its left to its right end; narrower or broader as it fits.
    pub(super) matter: (Point, i32, Shape),
    /// What was last known, under the strokes; none: in the middle of the top.
    pub(super) was: Option<Point>,
    /// Why the value is doubted, ending there; none: in the middle of the top.
    pub(super) why: Option<Point>,
    /// What to do about no sensor being listened to.
    pub(super) to_do: ToDo,
    pub(super) alarm: AlarmPlaces,
}

/// Where it stands what to do.
#[derive(Clone, Copy, Debug)]
pub(super) enum ToDo {
    /// Two lines that end there, the second so many rows under the first.
    Right(Point, i32),
    /// A row, in place of the age.
    Row(Point),
}

/// The places on an alarm's screen.
#[derive(Clone, Copy, Debug)]
pub(super) struct AlarmPlaces {
    /// Turned round again under the title; none: the title stands on the alarm's ground.
    pub band: Option<Rectangle>,
    /// The title, from its left to its right end.
    pub title: (Point, i32, Shape),
    /// The marks stand with the title, or first in the lines.
    pub marks_with_title: bool,
    pub digits: (Point, i32, Shape),
    pub lines: Lines,
    /// What the button does: where on the left, and where its right end is.
    pub button: Option<(Point, Point)>,
    /// How two sensors go together.
    pub pair: PairPlace,
}

/// Where an alarm's screen has room for how two sensors go together.
#[derive(Clone, Copy, Debug)]
pub(super) enum PairPlace {
    /// At the foot, in place of what the button does.
    Foot,
    /// Ending there, where the lines leave room.
    Beside(Point),
    /// Behind the unit, in place of the other lines.
    Row,
}

/// Where the lines stand that tell why it rings.
#[derive(Clone, Copy, Debug)]
pub(super) enum Lines {
    /// Each under the one before, with their right ends there.
    Right(Point, i32),
    /// Each under the one before, with their left ends there.
    Left(Point, i32),
    /// One behind the other.
    Row(Point),
}

const fn area(x: i32, y: i32, width: u32, height: u32) -> Rectangle {
    Rectangle::new(Point::new(x, y), Size::new(width, height))
}

/// 128 × 64, one bit or greys.
pub const WIDE: Layout = Layout {
    size: Size::new(128, 64),
    plain: PLAIN,
    small: SMALL,
    age: Point::new(0, -2),
    middle: Point::new(40, 1),
    pair: (Point::new(38, 1), SMALL),
    battery: area(112, 1, 14, 7),
    digits: (Point::new(0, 10), 127, Shape { width: 20, height: 30, stroke: 5, gap: 3 }),
    needle: (Point::new(94, 25), 20),
    needle_stays: true,
    strip: strip::Frame {
        left: 0,
        right: 127,
        top: 43,
        bottom: 63,
        now: 95,
        seconds_per_column: 113,
        top_mg_dl: 250.0,
        dot: 1,
        labels: None,
    },
    strip_stays: false,
    past: strip::Frame {
        left: 0,
        right: 127,
        top: 10,
        bottom: 63,
        now: 127,
        seconds_per_column: 394,
        top_mg_dl: 300.0,
        dot: 1,
        labels: Some(PLAIN),
    },
    past_pair: (9, 18),
    matter: (Point::new(0, 43), 127, Shape { width: 9, height: 21, stroke: 3, gap: 3 }),
    was: Some(Point::new(0, 29)),
    why: Some(Point::new(127, 22)),
    to_do: ToDo::Right(Point::new(127, 11), 9),
    alarm: AlarmPlaces {
        band: Some(area(1, 1, 126, 23)),
        title: (Point::new(3, 2), 124, Shape { width: 9, height: 21, stroke: 3, gap: 2 }),
        marks_with_title: true,
        digits: (Point::new(3, 26), 97, Shape { width: 18, height: 29, stroke: 5, gap: 3 }),
        lines: Lines::Right(Point::new(126, 24), 10),
        button: Some((Point::new(3, 56), Point::new(125, 56))),
        pair: PairPlace::Foot,
    },
};

/// 128 × 32, one bit or greys.
pub const SLIM: Layout = Layout {
    size: Size::new(128, 32),
    plain: PLAIN,
    small: SMALL,
    age: Point::new(0, -2),
    middle: Point::new(40, 1),
    pair: (Point::new(38, 1), SMALL),
    battery: area(112, 1, 14, 7),
    digits: (Point::new(0, 10), 48, Shape { width: 14, height: 22, stroke: 4, gap: 2 }),
    needle: (Point::new(56, 20), 13),
    needle_stays: false,
    strip: strip::Frame {
        left: 76,
        right: 127,
        top: 10,
        bottom: 31,
        now: 114,
        seconds_per_column: 285,
        top_mg_dl: 250.0,
        dot: 1,
        labels: None,
    },
    strip_stays: false,
    past: strip::Frame {
        left: 0,
        right: 127,
        top: 10,
        bottom: 31,
        now: 127,
        seconds_per_column: 394,
        top_mg_dl: 300.0,
        dot: 1,
        labels: None,
    },
    past_pair: (9, 18),
    matter: (Point::new(51, 12), 127, Shape { width: 6, height: 20, stroke: 2, gap: 2 }),
    was: None,
    why: None,
    to_do: ToDo::Row(Point::new(0, 1)),
    alarm: AlarmPlaces {
        band: None,
        title: (Point::new(51, 11), 127, Shape { width: 6, height: 20, stroke: 2, gap: 2 }),
        marks_with_title: false,
        digits: (Point::new(1, 10), 48, Shape { width: 14, height: 21, stroke: 4, gap: 2 }),
        lines: Lines::Row(Point::new(0, -2)),
        button: None,
        pair: PairPlace::Row,
    },
};

/// 240 × 240, in colours.
pub const SQUARE: Layout = Layout {
    size: Size::new(240, 240),
    plain: LARGE,
    small: LARGE,
    age: Point::new(4, 2),
    middle: Point::new(84, 2),
    pair: (Point::new(76, 5), &ascii::FONT_9X15),
    battery: area(206, 5, 28, 14),
    digits: (Point::new(4, 30), 178, Shape { width: 48, height: 92, stroke: 13, gap: 7 }),
    needle: (Point::new(188, 76), 42),
    needle_stays: true,
    strip: strip::Frame {
        left: 0,
        right: 239,
        top: 178,
        bottom: 237,
        now: 179,
        seconds_per_column: 60,
        top_mg_dl: 250.0,
        dot: 2,
        labels: None,
    },
    strip_stays: true,
    past: strip::Frame {
        left: 0,
        right: 239,
        top: 28,
        bottom: 237,
        now: 238,
        seconds_per_column: 210,
        top_mg_dl: 300.0,
        dot: 2,
        labels: Some(LARGE),
    },
    past_pair: (23, 41),
    matter: (Point::new(4, 131), 235, Shape { width: 18, height: 38, stroke: 6, gap: 4 }),
    was: Some(Point::new(4, 98)),
    why: None,
    to_do: ToDo::Right(Point::new(236, 98), 15),
    alarm: AlarmPlaces {
        band: Some(area(4, 4, 232, 50)),
        title: (Point::new(8, 9), 230, Shape { width: 17, height: 40, stroke: 6, gap: 4 }),
        marks_with_title: true,
        digits: (Point::new(8, 64), 232, Shape { width: 48, height: 92, stroke: 13, gap: 7 }),
        lines: Lines::Left(Point::new(8, 158), 19),
        button: Some((Point::new(8, 217), Point::new(232, 217))),
        pair: PairPlace::Beside(Point::new(236, 161)),
    },
};

impl Layout {
    /// All of them.
    pub const ALL: [&'static Self; 3] = [&WIDE, &SLIM, &SQUARE];

    /// Where three large figures stand, on an alarm's screen or else.
    #[must_use]
    pub fn figures_area(&self, alarm: bool) -> Rectangle {
        let (at, _, shape) = if alarm { self.alarm.digits } else { self.digits };
        let (width, height) = (shape.across("000"), shape.height);
        Rectangle::new(at, Size::new(width.unsigned_abs(), height.unsigned_abs()))
    }

    /// Where the strokes for no present value stand while no alarm holds.
    #[must_use]
    pub fn strokes_area(&self) -> Rectangle {
        let area = self.figures_area(false);
        let height = self.was.map_or(area.size.height, |was| (was.y - area.top_left.y).unsigned_abs());
        Rectangle::new(area.top_left, Size::new(area.size.width, height))
    }

    /// Where the line in capitals stands, on an alarm's screen or else.
    #[must_use]
    pub fn capitals_area(&self, alarm: bool) -> Rectangle {
        let (at, right, shape) = if alarm { self.alarm.title } else { self.matter };
        let width = (right.min(self.size.width as i32) - at.x).unsigned_abs();
        Rectangle::new(at, Size::new(width, shape.height.unsigned_abs()))
    }
}
