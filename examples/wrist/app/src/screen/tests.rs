//! What can be read, and what cannot be misread, on each display.

use super::*;
use crate::app::pair;
use crate::face::{STALE, Unheard};
use embedded_graphics::pixelcolor::{BinaryColor, Rgb565};
use glidepath::alarm::{Cause, Trigger};
use glidepath::quality::Reason;
use glidepath::{Agreement, Glucose, History, HistoryView, Instant, Rate, Reading, Side, Span};
use std::collections::HashSet;
use std::format;
use std::string::String as Text;

type Ink = HashSet<(i32, i32)>;

/// Collects what is drawn, wherever it is.
#[derive(Default)]
struct Canvas(Ink);

impl Dimensions for Canvas {
    fn bounding_box(&self) -> Rectangle {
        Rectangle::new(Point::new(-500, -500), Size::new(1000, 1000))
    }
}

impl DrawTarget for Canvas {
    type Color = BinaryColor;
    type Error = core::convert::Infallible;

    fn draw_iter<I: IntoIterator<Item = Pixel<BinaryColor>>>(
        &mut self,
        pixels: I,
    ) -> Result<(), Self::Error> {
        for Pixel(at, color) in pixels {
            if color.is_on() {
                self.0.insert((at.x, at.y));
            } else {
                self.0.remove(&(at.x, at.y));
            }
        }
        Ok(())
    }
}

fn ink(text: &str, shape: &Shape, form: Form) -> Ink {
    let mut canvas = Canvas::default();
    let Ok(()) = strokes::draw(text, Point::zero(), shape, form, (Level::Ink, Level::Paper), &mut canvas);
    canvas.0
}

/// Pixels that differ, however one is moved against the other by a pixel.
fn gap(a: &Ink, b: &Ink) -> usize {
    let moves = (-1..=1).flat_map(|x| (-1..=1).map(move |y| (x, y)));
    moves
        .map(|(x, y)| {
            let moved: Ink = b.iter().map(|at| (at.0 + x, at.1 + y)).collect();
            a.symmetric_difference(&moved).count()
        })
        .min()
        .unwrap()
}

/// Every pair of figures.
fn pairs() -> impl Iterator<Item = (char, char)> {
    ('0'..='9').flat_map(|a| ('0'..a).map(move |b| (a, b)))
}

/// Half of a figure's ink between those that are likest in most hands, a third between any two.
#[test]
fn no_figure_is_taken_for_another() {
    for layout in Layout::ALL {
        for shape in [layout.digits.2, layout.alarm.digits.2, layout.matter.2, layout.alarm.title.2] {
            let drawn = |digit: char, form| ink(&Text::from(digit), &shape, form);
            let mean = ('0'..='9').map(|digit| drawn(digit, Form::Solid).len()).sum::<usize>() / 10;
            for (a, b) in pairs() {
                let least = if (a, b) == ('8', '3') { mean / 2 } else { mean / 3 };
                let between = gap(&drawn(a, Form::Solid), &drawn(b, Form::Solid));
                assert!(between >= least, "{a} and {b}: {between} of {mean} pixels, {shape:?}");
                // and whatever the forms are
                for form in [Form::Hatched, Form::Hollow] {
                    let between = gap(&drawn(a, form), &drawn(b, form));
                    assert!(between >= mean / 5, "{a} and {b}, {form:?}: {between} of {mean}, {shape:?}");
                }
            }
        }
    }
}

/// What is in small print is bitmaps of others: no two figures of the digits' size, but never alike.
#[test]
fn no_figure_in_small_print_is_taken_for_another() {
    for (font, least) in [(WIDE.plain, 6), (WIDE.small, 2), (SQUARE.plain, 9)] {
        let drawn = |digit: char| {
            let mut canvas = Canvas::default();
            let at = Point::zero();
            let Ok(()) = words(&Text::from(digit), at, Alignment::Left, font, Level::Ink, &mut canvas);
            canvas.0
        };
        for (a, b) in pairs() {
            let between = drawn(a).symmetric_difference(&drawn(b)).count();
            assert!(between >= least, "{a} and {b}: {between}, {:?}", font.character_size);
        }
    }
}

/// A decimal point is a dot on the line that figures stand on; in the small font it is as high as a plus is.
#[test]
fn a_point_is_no_plus() {
    for (font, good) in [(WIDE.plain, true), (SLIM.plain, true), (SQUARE.plain, true), (WIDE.small, false)] {
        let rows = |text: &str| {
            let mut canvas = Canvas::default();
            let style = MonoTextStyle::new(font, BinaryColor::On);
            let Ok(_) =
                embedded_graphics::text::Text::with_baseline(text, Point::zero(), style, Baseline::Top)
                    .draw(&mut canvas);
            let rows = canvas.0.iter().map(|(_, y)| *y);
            (rows.clone().min().unwrap(), rows.max().unwrap())
        };
        let ((top, low), (_, line)) = (rows("."), rows("8"));
        let dot = low == line && low - top < font.character_size.height as i32 / 5;
        assert_eq!(dot, good, "{top} to {low} of {line}");
    }
}

/// The words of the twelve hours' limits, and nothing of the trace through them.
#[test]
fn no_reading_runs_through_a_limit() {
    for layout in [&WIDE, &SQUARE] {
        let frame = &layout.past;
        let font = frame.labels.unwrap();
        let widest = 3 * font.character_size.width as i32 - 1; // "180", "3.9"
        let mut history = History::<288>::new();
        for minute in (0..1440).step_by(5) {
            let glucose = Glucose::from_mg_dl(if minute % 2 == 0 { 80.0 } else { 190.0 }).unwrap();
            let _ = history.insert(&Reading::new(Instant::from_secs(1_800_000_000 + minute * 60), glucose));
        }
        for unit in [Unit::MgDl, Unit::MmolL] {
            let with = |history: &History<288>| {
                let at = Some(Instant::from_secs(1_800_000_000 + 86_400));
                let mut canvas = Canvas::default();
                let Ok(()) = strip::draw(&Face { at, unit, ..face(history.view()) }, frame, &mut canvas);
                canvas.0
            };
            let (full, empty) = (with(&history), with(&History::new()));
            let left = |ink: &Ink| ink.iter().filter(|(x, _)| *x <= frame.left + widest).count();
            assert_eq!(left(&full), left(&empty));
            assert!(full.len() > empty.len() + 100);
        }
    }
}

/// Solid, hatched, hollow: less ink each time, all within the same outline.
#[test]
fn the_less_is_certain_the_less_ink() {
    for layout in Layout::ALL {
        for (at, right, shape) in [&layout.digits, &layout.alarm.digits] {
            for text in ["104", "8.9", "12.3", "<40", ">400", ">22.2"] {
                let drawn = |form| {
                    let mut canvas = Canvas::default();
                    let place = (*at, *right, *shape);
                    let Ok(()) = figures_in(text, &place, form, (Level::Ink, Level::Paper), &mut canvas);
                    canvas.0
                };
                let (solid, hatched, hollow) =
                    (drawn(Form::Solid), drawn(Form::Hatched), drawn(Form::Hollow));
                assert!(hatched.is_subset(&solid) && hollow.is_subset(&hatched));
                let share = |ink: &Ink| ink.len() * 100 / solid.len();
                let (hatched, hollow) = (share(&hatched), share(&hollow));
                assert!(hatched <= 95 && hollow + 5 <= hatched, "{text}: {hatched} %, {hollow} %, {shape:?}");
                let end = solid.iter().map(|(x, _)| *x).max().unwrap();
                assert!(end <= *right && end < layout.size.width as i32, "{text} ends at {end}, {shape:?}");
            }
        }
    }
}

fn ring(kind: Kind, priority: Priority) -> Ring {
    Ring::new(kind, priority, Cause::New, Trigger::Doubt, Instant::from_secs(0))
}

fn now() -> Now {
    let glucose = Glucose::from_mg_dl(104.0).unwrap();
    Now { glucose, bound: None, doubted: false, rate: None, soon: None, low_in_min: None }
}

/// What a line in capitals covers, with its unit.
fn covered(line: &Line, (at, right, shape): (Point, i32, Shape), font: &'static MonoFont<'static>) -> Ink {
    let mut canvas = Canvas::default();
    let levels = (Level::Ink, Level::Paper);
    let Ok(()) = capitals(line, at, right, &shape, font, levels, &mut canvas);
    canvas.0
}

/// Minutes of arc at 60 cm, by the pixels of common displays; and at least a quarter of 64 rows.
#[test]
fn what_matters_is_high_enough_and_fits() {
    for (layout, pixel_mm) in [(&WIDE, 0.17), (&SLIM, 0.175), (&SQUARE, 0.115)] {
        let arc = |pixels: i32| (f64::from(pixels) * pixel_mm / 600.0).atan().to_degrees() * 60.0;
        let heights = [layout.digits.2, layout.alarm.digits.2, layout.matter.2, layout.alarm.title.2];
        for shape in heights {
            assert!(shape.height >= 16 && arc(shape.height) >= 20.0, "{shape:?}: {}", arc(shape.height));
        }
        let matters = [
            Matter::Nothing,
            Matter::Undated,
            Matter::TooOld,
            Matter::Doubted,
            Matter::VeryLow { doubted: true },
            Matter::Low { doubted: true },
            Matter::LowIn(1),
            Matter::LowIn(48),
            Matter::LowIn(60),
        ];
        let unheard = UNHEARD.iter().filter(|it| it.title().is_some()).map(|it| Matter::Unheard(*it));
        let matters = matters.into_iter().chain(unheard);
        for matter in matters {
            let (at, right, shape) = layout.matter;
            let ink = covered(&Line::of(&matter), layout.matter, layout.small);
            assert!(
                ink.iter().all(|(x, y)| (at.x..=right).contains(x)
                    && *x < layout.size.width as i32
                    && (at.y..at.y + shape.height).contains(y)),
                "{matter:?} on {:?}",
                layout.size
            );
        }
        for priority in [Priority::High, Priority::Medium, Priority::Low] {
            let (at, right, shape) = layout.alarm.title;
            let end = if layout.alarm.marks_with_title {
                right - shape.across(marks(priority)) - 2 * shape.stroke
            } else {
                right
            };
            let titles = Kind::ALL.map(|kind| Line::title(&ring(kind, priority), None));
            let soon = [1, 48, 60].map(|minutes| Now { low_in_min: Some(minutes), ..now() });
            let soon = soon.iter().map(|now| Line::title(&ring(Kind::LowAhead, priority), Some(now)));
            for line in titles.into_iter().chain(soon) {
                let ink = covered(&line, (at, end, shape), layout.small);
                assert!(
                    ink.iter()
                        .all(|(x, y)| (at.x..=end).contains(x) && (at.y..at.y + shape.height).contains(y)),
                    "{} {priority:?} on {:?}",
                    line.text,
                    layout.size
                );
            }
        }
    }
}

/// A letter without strokes would be a hole in a word.
#[test]
fn every_letter_of_a_title_has_strokes() {
    let titles = Kind::ALL.map(|kind| Text::from(kind.info().title));
    let unheard = UNHEARD.iter().filter_map(|it| it.title());
    let own = ["WAITING", "NO VALUE", "TOO OLD", "DOUBTED", "VERY LOW?", "LOW IN 0123456789", "<>-!"];
    for letter in titles
        .iter()
        .map(Text::as_str)
        .chain(own)
        .chain(unheard)
        .flat_map(str::chars)
        .filter(|letter| *letter != ' ')
    {
        assert!(ink(&Text::from(letter), &WIDE.matter.2, Form::Solid).len() > 10, "{letter}");
    }
}

/// Relative luminance (WCAG 2.2).
fn luminance(level: Level) -> f64 {
    let colour = Rgb565::solid(level);
    let part = |value: u8, most: f64| {
        let share = f64::from(value) / most;
        if share <= 0.04045 { share / 12.92 } else { ((share + 0.055) / 1.055).powf(2.4) }
    };
    0.2126 * part(colour.r(), 31.0) + 0.7152 * part(colour.g(), 63.0) + 0.0722 * part(colour.b(), 31.0)
}

/// How light two colours are against each other (WCAG 2.2: 4.5 for text, 3 for large text).
fn contrast(a: Level, b: Level) -> f64 {
    let (a, b) = (luminance(a) + 0.05, luminance(b) + 0.05);
    (a / b).max(b / a)
}

#[test]
fn colours_differ_for_eyes_that_see_none() {
    const ALARMS: [Level; 3] =
        [Level::Alarm(Priority::High), Level::Alarm(Priority::Medium), Level::Alarm(Priority::Low)];
    for level in ALARMS.into_iter().chain([Level::Low, Level::High, Level::Ink, Level::Soft]) {
        assert!(contrast(level, Level::Paper) >= 4.5, "{level:?}: {}", contrast(level, Level::Paper));
    }
    for (a, b) in [(0, 1), (0, 2), (1, 2)] {
        let between = contrast(ALARMS[a], ALARMS[b]);
        assert!(between >= 1.5, "{:?} and {:?}: {between}", ALARMS[a], ALARMS[b]);
    }
    for (a, b) in [(Level::Low, Level::High), (Level::Low, Level::Ink), (Level::High, Level::Ink)] {
        assert!(contrast(a, b) >= 1.5, "{a:?} and {b:?}: {}", contrast(a, b));
    }
}

/// No second way to say what the digits' form says.
#[test]
fn the_form_follows_trust_and_doubt() {
    let doubted = Now { doubted: true, ..now() };
    for trust in [Trust::None, Trust::Poor, Trust::Fair, Trust::Good] {
        assert_eq!(form(&doubted, trust), Form::Hollow);
    }
    let forms = [Trust::None, Trust::Poor, Trust::Fair, Trust::Good].map(|trust| form(&now(), trust));
    assert_eq!(forms, [Form::Hollow, Form::Hatched, Form::Solid, Form::Solid]);
}

fn face(history: HistoryView<'_>) -> Face<'_> {
    Face {
        at: None,
        age: Some(Span::from_mins(4)),
        last: Some(now().glucose),
        now: Some(now()),
        history,
        trust: Trust::Good,
        note: "",
        pair: "",
        unheard: None,
        battery_percent: None,
        alert: None,
        unit: Unit::MgDl,
    }
}

/// Between the longest age of a present value and the battery, with a gap on both sides; and on no other words.
#[test]
fn what_is_told_of_two_sensors_has_its_room() {
    use Agreement::{Apart, Neither, Only, Suspect, Together};
    let (told, none) =
        ([Apart, Suspect(Side::First), Suspect(Side::Second), Only(Side::First), Only(Side::Second)], "");
    let words = told.map(|agreement| pair(agreement, None));
    assert_eq!(words.iter().collect::<HashSet<_>>().len(), 5);
    assert_eq!([Neither, Together].map(|agreement| pair(agreement, None)), [none; 2]);
    // that one reads alone stands aside for what is graver of that one; that they disagree for nothing
    let with = |reason| told.map(|agreement| pair(agreement, Some(reason)));
    assert_eq!(with(Reason::FirstDay), words);
    assert_eq!(with(Reason::Pressure), [words[0], words[1], words[2], none, none]);
    let history = History::<1>::new();
    for layout in Layout::ALL {
        let drawn = |face: &Face<'_>| {
            let mut canvas = Canvas::default();
            let Ok(()) = top(face, Page::Now, layout, &mut canvas);
            canvas.0
        };
        let old = Face { age: Some(Span::from_secs(STALE.secs() - 1)), ..face(history.view()) };
        let alone = drawn(&Face { pair: "              ", battery_percent: Some(80), ..old });
        let right = |ink: &Ink, end: i32| ink.iter().map(|(x, _)| *x).filter(|x| *x < end).max().unwrap();
        for pair in words {
            let shown = drawn(&Face { pair, battery_percent: Some(80), note: "noisy", ..old });
            assert!(alone.is_subset(&shown), "{pair}");
            let ink: Ink = shown.difference(&alone).copied().collect();
            let (from, to) =
                (ink.iter().map(|(x, _)| *x).min().unwrap(), ink.iter().map(|(x, _)| *x).max().unwrap());
            let age = right(&alone, from);
            assert!(from >= age + 3 && to + 2 < layout.battery.top_left.x, "{pair}: {age}, {from} to {to}");
            let below = ink.iter().map(|(_, y)| *y).max().unwrap();
            assert!(below < layout.digits.0.y, "{pair}: down to {below}");
            // of a value that is not the present one nothing is told so
            let stale = Face { age: Some(STALE), ..old };
            assert_eq!(drawn(&Face { pair, ..stale }), drawn(&stale));
        }
    }
}

/// On an alarm's screen and over the twelve hours too: on no other words, and with a gap around.
#[test]
fn what_is_told_of_two_sensors_has_its_room_elsewhere() {
    let mut history = History::<8>::new();
    for i in 0..8 {
        let _ = history.insert(&Reading::new(Instant::from_secs(10_000 + i * 300), now().glucose));
    }
    let fast = Some((Rate::from_mg_dl_per_min(-2.4).unwrap(), 0.4));
    let at = |mg_dl| Now { glucose: Glucose::from_mg_dl(mg_dl).unwrap(), rate: fast, ..now() };
    let ring =
        |kind, trigger| Some(Ring::new(kind, Priority::High, Cause::New, trigger, Instant::from_secs(0)));
    let rings = [
        (None, at(308.0)),
        (ring(Kind::Low, Trigger::Estimate(at(62.0).glucose)), at(62.0)),
        (ring(Kind::High, Trigger::Estimate(at(308.0).glucose)), at(308.0)),
        (ring(Kind::Floor, Trigger::Sensor(at(48.0).glucose)), at(48.0)),
        (ring(Kind::Floor, Trigger::Uncalibrated(at(48.0).glucose)), at(48.0)),
        (ring(Kind::LowAhead, Trigger::Probability(0.43)), Now { low_in_min: Some(14), ..at(83.0) }),
        (ring(Kind::WearEnd, Trigger::WearLeft(Span::from_mins(60 * 12))), at(108.0)),
        (ring(Kind::Doubt, Trigger::Doubt), Now { doubted: true, rate: None, ..at(104.0) }),
    ];
    for layout in Layout::ALL {
        for (alert, now) in rings {
            let shown = |pair| {
                let note = if now.doubted { "warming up" } else { "" };
                let face = Face {
                    at: Some(Instant::from_secs(12_300)),
                    now: Some(now),
                    alert,
                    unit: Unit::MmolL,
                    pair,
                    note,
                    ..face(history.view())
                };
                let mut canvas = Canvas::default();
                let Ok(()) = draw_on(&face, Page::Past, layout, &mut canvas);
                canvas.0
            };
            let blank = shown("              ");
            for pair in
                ["sensors differ", "1st sensor off", "2nd sensor off", "only 1st reads", "only 2nd reads"]
            {
                let changed: Ink = blank.symmetric_difference(&shown(pair)).copied().collect();
                let (xs, ys) = (changed.iter().map(|it| it.0), changed.iter().map(|it| it.1));
                let (left, right) = (xs.clone().min().unwrap(), xs.max().unwrap());
                let (top, bottom) = (ys.clone().min().unwrap(), ys.max().unwrap());
                let place = format!("{pair}, {alert:?}, {left} to {right}, {top} to {bottom}");
                let Size { width, height } = layout.size;
                assert!(left >= 0 && top >= 0 && right < width as i32 && bottom < height as i32, "{place}");
                // the ground all around, inside the display
                let (columns, rows) = (
                    (left - 1).max(1)..=(right + 1).min(width as i32 - 2),
                    (top - 1)..=(bottom + 1).min(height as i32 - 2),
                );
                let ground = |x, y| blank.contains(&(x, y)) == alert.is_some();
                for x in columns {
                    assert!(rows.clone().all(|y| ground(x, y)), "{place}: at {x}");
                }
            }
        }
    }
}

const UNHEARD: [Unheard; 6] = [
    Unheard::NoSensor,
    Unheard::PairingOpen,
    Unheard::PairingFailed,
    Unheard::NoDigits,
    Unheard::KeyLost,
    Unheard::Another,
];

/// Why no sensor is listened to, and what to do: on no other words, and with a gap around, on every display; the strokes for no
/// value, the last value and the battery stay as they are.
#[test]
fn why_no_sensor_is_listened_to_has_its_room() {
    let history = History::<1>::new();
    let empty = Face { now: None, battery_percent: Some(80), ..face(history.view()) };
    let begun = Face { age: None, last: None, ..empty };
    let old = Face { age: Some(Span::from_mins(99)), unit: Unit::MmolL, ..empty };
    for layout in Layout::ALL {
        let drawn = |face: &Face<'_>, page| {
            let mut canvas = Canvas::default();
            let Ok(()) = draw_on(face, page, layout, &mut canvas);
            canvas.0
        };
        let within = |ink: &Ink, area: Rectangle| -> Ink {
            ink.iter().filter(|(x, y)| area.contains(Point::new(*x, *y))).copied().collect()
        };
        for (face, page) in [(begun, Page::Now), (old, Page::Now), (old, Page::Past)] {
            let none = drawn(&face, page);
            let mut all = HashSet::new();
            for unheard in UNHEARD {
                let shown = drawn(&Face { unheard: Some(unheard), ..face }, page);
                let place = format!("{unheard:?} on {:?}, {page:?}", layout.size);
                let Size { width, height } = layout.size;
                let screen = Rectangle::new(Point::zero(), layout.size);
                assert!(within(&shown, screen) == shown, "{place}: beyond {width} x {height}");
                for area in [layout.strokes_area(), layout.battery] {
                    let seen = |ink| if page == Page::Now { within(ink, area) } else { Ink::new() };
                    assert!(seen(&shown) == seen(&none), "{place}: {area:?}");
                }
                if page == Page::Past {
                    // only what is told of the sensor, behind the age
                    let changed: Ink = none.symmetric_difference(&shown).copied().collect();
                    let beside = layout.pair.0.x.min(layout.middle.x);
                    assert!(
                        changed.iter().all(|(x, y)| *x >= beside && *y < layout.past.top),
                        "{place}: over the age or the strip"
                    );
                }
                all.insert(shown.into_iter().collect::<std::collections::BTreeSet<_>>());
            }
            // each has its own words, but over the twelve hours, where the last value stands on the least display
            let least = if page == Page::Now { UNHEARD.len() } else { 1 };
            assert!(all.len() >= least, "{} on {:?}, {page:?}", all.len(), layout.size);
            assert!(page == Page::Past || !all.contains(&none.into_iter().collect()), "{:?}", layout.size);
        }
        // what to do never touches what else is there
        if let ToDo::Right(at, step) = layout.to_do {
            let font = layout.pair.1.character_size;
            let longest = UNHEARD.iter().filter_map(|it| it.to_do()).flatten().map(|it| it.len()).max();
            let left = at.x - font.width as i32 * longest.unwrap() as i32;
            let strokes = layout.strokes_area();
            let beside = if at.y < strokes.top_left.y + strokes.size.height as i32 {
                layout.digits.0.x + layout.digits.2.across("---")
            } else {
                layout.was.unwrap().x + layout.plain.character_size.width as i32 * "was 10.4".len() as i32
            };
            assert!(left > beside + 1, "{:?}: {left}, {beside}", layout.size);
            assert!(step >= font.height as i32 && at.y + 2 * step <= layout.matter.0.y, "{:?}", layout.size);
            if let Some(was) = layout.was.filter(|was| was.y > at.y) {
                assert!(at.y + 2 * step <= was.y, "{:?}", layout.size);
            }
        }
    }
}

/// It is told where no value is present, and never takes a present value's place.
#[test]
fn why_no_sensor_is_listened_to_matters_without_a_value() {
    let history = History::<1>::new();
    for unheard in UNHEARD {
        let with = |face| Face { unheard: Some(unheard), ..face };
        let face = with(face(history.view()));
        assert_eq!(face.matter(), None, "a value is present: {unheard:?}");
        let of = |other| if unheard.title().is_some() { Matter::Unheard(unheard) } else { other };
        assert_eq!(Face { age: Some(STALE), ..face }.matter(), Some(of(Matter::TooOld)));
        assert_eq!(Face { age: None, now: None, ..face }.matter(), Some(of(Matter::Undated)));
        assert_eq!(Face { age: None, last: None, now: None, ..face }.matter(), Some(of(Matter::Nothing)));
        // a note of the sensor's own comes first while its value is present
        let about = unheard.about();
        assert!(about.note.len() <= 14 && about.short.len() <= 10, "{unheard:?}");
        assert!(unheard.title().is_none_or(|title| title.len() <= 10), "{unheard:?}");
    }
    // pairing that is open, and another's sensor, are in nobody's way
    assert_eq!(UNHEARD.map(|it| it.title().is_some()), [true, false, true, true, true, false]);
    let holds = UNHEARD.map(|it| it.to_do().map(|[first, _]| Text::from(first.as_str())));
    let wanted = ["hold 3 s", "", "hold 3 s", "hold 12 s", "hold 6 s", "new? 3 s"];
    assert_eq!(holds.map(Option::unwrap_or_default), wanted);
}

/// No charge fills more than the battery's case.
#[test]
fn a_battery_is_full_at_most() {
    let history = History::<1>::new();
    for layout in Layout::ALL {
        let drawn = |percent| {
            let mut canvas = Canvas::default();
            let face = Face { battery_percent: Some(percent), ..face(history.view()) };
            let Ok(()) = battery(&face, layout, &mut canvas);
            canvas.0
        };
        let [empty, half, full] = [0, 50, 100].map(drawn);
        assert!(
            drawn(255) == full && full.len() > half.len() && half.len() > empty.len(),
            "{:?}",
            layout.size
        );
        let Size { width, height } = layout.battery.size;
        let inside = (width - 4) as usize * (height - 4) as usize;
        assert_eq!([half.len() - empty.len(), full.len() - empty.len()], [inside / 2, inside]);
    }
}

/// The bins of CLSI POCT05 at 1 and 2 mg/dL a minute, an age of a hundred minutes, a chance rounded to the nearest.
#[test]
fn words_change_at_their_limits() {
    for (rate, word) in [
        (-2.0, "falls fast"),
        (-1.9, "falls"),
        (-1.0, "falls"),
        (-0.9, "steady"),
        (0.9, "steady"),
        (1.0, "rises"),
        (1.9, "rises"),
        (2.0, "rises fast"),
    ] {
        assert_eq!(crate::words::pace(Rate::from_mg_dl_per_min(rate).unwrap()), word, "{rate}");
    }
    for (minutes, age) in [(0, "0 min"), (99, "99 min"), (100, "1 h"), (120, "2 h")] {
        let mut text = String::<12>::new();
        push_age(&mut text, minutes);
        assert_eq!(text, age);
    }
    assert_eq!([0.004, 0.005, 0.994, 2.0].map(crate::words::percent), [0, 1, 99, 100]);
}

/// A floor that holds on tells that it was lower only while the value is over it; wear has ended at its end.
#[test]
fn what_a_ring_goes_by_changes_at_its_limits() {
    let history = History::<1>::new();
    let lines = |kind, trigger, mg_dl: f32| {
        let ring = Ring::new(kind, Priority::High, Cause::New, trigger, Instant::from_secs(0));
        let now = Now { glucose: Glucose::from_mg_dl(mg_dl).unwrap(), ..now() };
        let [first, second, _] = beside(&face(history.view()), &ring, Some(&now));
        (Text::from(first.as_str()), Text::from(second.as_str()))
    };
    let floor = |mg_dl| lines(Kind::Floor, Trigger::Sensor(now().glucose), mg_dl).1;
    assert_eq!([55.0, 55.1].map(floor), ["", "was lower"]);
    let wear = |secs| lines(Kind::WearEnd, Trigger::WearLeft(Span::from_secs(secs)), 104.0);
    assert_eq!(wear(0).0, "past end");
    assert_eq!(wear(3600), ("ends in".into(), "1 h".into()));
}

/// What a sensor can say is told as it is; only under that it is a bound.
#[test]
fn the_end_of_the_sensors_range_is_a_value() {
    let history = History::<1>::new();
    let shown = |mg_dl: f32| {
        let glucose = Glucose::from_mg_dl(mg_dl).unwrap();
        let now = Face { now: Some(Now { glucose, ..now() }), ..face(history.view()) }.current().unwrap();
        (now.glucose.whole_mg_dl(), now.bound)
    };
    assert_eq!([39.9, 40.0].map(shown), [(40, Some(Bound::AtMost)), (40, None)]);
}

/// The limits themselves are in range (Battelino et al. 2019: 70 to 180 mg/dL, both included).
#[test]
fn the_range_ends_behind_its_limits() {
    let levels = [69.9, 70.0, 180.0, 180.1].map(|mg_dl| strip::level(Glucose::from_mg_dl(mg_dl).unwrap()));
    assert_eq!(levels, [Level::Low, Level::Ink, Level::Ink, Level::High]);
}

/// Readings stay where they are for a whole minute of the clock, and move on with the hours.
#[test]
fn a_second_moves_nothing() {
    let mut history = History::<40>::new();
    for i in 0..40 {
        let _ = history.insert(&Reading::new(Instant::from_secs(1_800_000_000 + i * 300), now().glucose));
    }
    for layout in Layout::ALL {
        let at = |secs: u32| {
            let at = Some(Instant::from_secs(1_800_000_000 + 40 * 300 + secs));
            let mut canvas = Canvas::default();
            let Ok(()) = strip::draw(&Face { at, ..face(history.view()) }, &layout.past, &mut canvas);
            canvas.0
        };
        let begun = at(0);
        assert!((1..60).all(|secs| at(secs) == begun), "{:?}", layout.size);
        assert!(at(3600) != begun, "{:?}", layout.size);
    }
}

#[test]
fn what_matters_most() {
    let history = History::<1>::new();
    let face = face(history.view());
    let at = |mg_dl: f32| Now { glucose: Glucose::from_mg_dl(mg_dl).unwrap(), ..now() };
    let matter = |now: Now| Face { now: Some(now), ..face }.matter();
    assert_eq!(face.matter(), None);
    assert_eq!(matter(at(70.0)), None);
    assert_eq!(matter(at(69.9)), Some(Matter::Low { doubted: false }));
    assert_eq!(matter(at(55.1)), Some(Matter::Low { doubted: false }));
    assert_eq!(matter(Now { doubted: true, ..at(55.0) }), Some(Matter::VeryLow { doubted: true }));
    assert_eq!(
        matter(Now { bound: Some(Bound::AtMost), ..at(40.0) }),
        Some(Matter::VeryLow { doubted: false })
    );
    assert_eq!(matter(Now { doubted: true, ..now() }), Some(Matter::Doubted));
    assert_eq!(matter(Now { low_in_min: Some(14), ..now() }), Some(Matter::LowIn(14)));
    assert_eq!(matter(Now { low_in_min: Some(14), ..at(60.0) }), Some(Matter::Low { doubted: false }));
    assert_eq!(matter(Now { bound: Some(Bound::AtLeast), ..at(400.0) }), None);
    assert_eq!(Face { age: Some(STALE), ..face }.matter(), Some(Matter::TooOld));
    assert_eq!(Face { age: None, now: None, ..face }.matter(), Some(Matter::Undated));
    assert_eq!(Face { age: None, last: None, now: None, ..face }.matter(), Some(Matter::Nothing));
}
