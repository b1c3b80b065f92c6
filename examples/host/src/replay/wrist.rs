//! What the wrist's display shows through a trace, drawn by the wrist's own code.

use std::io::{self, Write};
use std::rc::Rc;

use embedded_graphics::framebuffer::{Framebuffer, buffer_size};
use embedded_graphics::image::GetPixel;
use embedded_graphics::pixelcolor::BinaryColor;
use embedded_graphics::pixelcolor::raw::{LittleEndian, RawU1};
use embedded_graphics::prelude::Point;
use glidepath::{Instant, Settings, Span};
use glidepath_replay::WallClock as _;
use wrist::app::{App, PairApp, Wrist};
use wrist::screen;
use wrist::worn::Worn;

use super::Args;
use crate::failure::Failure;
use crate::output::Outputs;
use crate::played::{self, Next, Traces};
use crate::table::{self, Clock, Unit};

const WIDTH: usize = screen::SIZE.width as usize;
const HEIGHT: usize = screen::SIZE.height as usize;
/// Each of the display's pixels is so many wide and high, or nobody could read it on a desk.
const SCALE: usize = 4;
/// Pictures a second when they move.
const PACE: u16 = 10;
/// The wrist looks at its clock this often when nothing arrives …
const TICK: Span = Span::from_mins(1);
/// … and a silence longer than this is stepped over.
const LONGEST_SILENCE: Span = Span::from_hours(24);
const DAY: Span = Span::from_hours(24);
/// A short press of the button: after so many milliseconds it is down or up. Two of them take less than a second, so that
/// the wrist's own count of seconds stays the trace's.
const PRESS: [(u32, bool); 3] = [(0, true), (30, false), (310, false)];

type Display = Framebuffer<
    BinaryColor,
    RawU1,
    LittleEndian,
    WIDTH,
    HEIGHT,
    { buffer_size::<BinaryColor>(WIDTH, HEIGHT) },
>;

/// The display at a moment.
struct Frame {
    at: Instant,
    display: Rc<Display>,
    /// What its digits say, mg/dL; none when there are none.
    #[cfg(test)]
    shown: Option<f32>,
    /// What it says of two sensors.
    #[cfg(test)]
    pair: &'static str,
}

/// Adds the pictures that `args` ask for to what is to be written.
pub fn draw<'a>(
    args: &Args,
    traces: &Traces<'_>,
    settings: Settings,
    outputs: &mut Outputs<'a>,
) -> Result<(), Failure> {
    let Some(folder) = &args.wrist else { return Ok(()) };
    let trace = traces.first;
    let frames = live(traces, settings, args.output.unit_or(trace.unit))?;
    for (n, frame) in frames.iter().enumerate() {
        let name = format!("{:05}_{}.png", n + 1, stamp(&trace.clock, frame.at));
        let display = Rc::clone(&frame.display);
        outputs.add_with(folder.join(name), move |out| write_png(std::slice::from_ref(&display), out));
    }
    let all: Vec<_> = frames.into_iter().map(|frame| frame.display).collect();
    outputs.add_with(folder.join("wrist.png"), move |out| write_png(&all, out));
    Ok(())
}

/// The wearer's date and time, for a file's name.
fn stamp(clock: &Clock, at: Instant) -> String {
    let wall = clock.wall(at.secs().into());
    let minute = wall.rem_euclid(86_400) / 60;
    format!("{}_{:02}-{:02}", table::date(wall.div_euclid(86_400)), minute / 60, minute % 60)
}

/// Lives through traces, of two sensors as a wrist of two; whatever rings is seen, and acknowledged by the button.
fn live(traces: &Traces<'_>, settings: Settings, unit: Unit) -> Result<Vec<Frame>, Failure> {
    let refused = |error| Failure::new(format!("the monitor's settings: {error}"));
    if traces.second.is_some() {
        return Ok(lived(PairApp::new(settings).map_err(refused)?, traces, &settings, unit));
    }
    Ok(lived(App::new(settings).map_err(refused)?, traces, &settings, unit))
}

fn lived<M: Worn>(app: Wrist<M>, traces: &Traces<'_>, settings: &Settings, unit: Unit) -> Vec<Frame> {
    let is_reading = |next: &Next<'_>| matches!(next, Next::Reading(..));
    let Some(Next::Reading(_, first, _)) = traces.each().find(is_reading) else { return Vec::new() };
    let silence = traces.interval_s().clamp(300, 86_400).cast_signed() + TICK.secs();
    let mut wearer = Wearer {
        app,
        now: first.at(),
        ms: 0,
        pressed_ms: 0,
        frames: Vec::with_capacity(traces.readings()),
        silence: Span::from_secs(silence),
    };
    wearer.app.show_in(match unit {
        Unit::MgDl => wrist::face::Unit::MgDl,
        Unit::MmolL => wrist::face::Unit::MmolL,
    });
    wearer.app.time(first.at());
    let mut left = traces.readings();
    for next in traces.each() {
        if left == 0 {
            break; // what comes after the last reading is in no picture
        }
        match next {
            Next::Stick(stick) => {
                wearer.pass(stick.at());
                wearer.app.fingerstick(stick);
            }
            Next::Began(side, at) => {
                wearer.pass(at);
                wearer.app.sensor_started(side, played::start(at, settings));
            }
            Next::Reading(side, reading, _) => {
                left -= 1;
                wearer.pass(reading.at());
                let offset = traces.first.clock.lead(reading.at().secs().into());
                wearer.app.wearer_ahead(Span::from_secs(i32::try_from(offset).unwrap_or(0)));
                wearer.app.reading_of(side, reading);
                wearer.app.time(reading.at());
                wearer.app.tick(wearer.ms, false);
                wearer.look();
            }
        }
    }
    wearer.frames
}

struct Wearer<M: Worn> {
    app: Wrist<M>,
    now: Instant,
    /// The board's milliseconds: they wrap, and never go back.
    ms: u32,
    /// How far presses have put it ahead of the trace's time.
    pressed_ms: u32,
    frames: Vec<Frame>,
    /// A picture is taken at least this often.
    silence: Span,
}

impl<M: Worn> Wearer<M> {
    /// Lets time pass up to `until`.
    fn pass(&mut self, until: Instant) {
        let begin = self.now;
        while self.now < until {
            let tick = if self.now < begin.plus(LONGEST_SILENCE) { TICK } else { DAY };
            let step = until.since(self.now).min(tick);
            self.now = self.now.plus(step);
            let ms = step.secs().unsigned_abs() * 1000;
            let pressed = ms.min(self.pressed_ms);
            self.pressed_ms -= pressed;
            self.ms = self.ms.wrapping_add(ms - pressed);
            let rings = self.app.tick(self.ms, false).say.is_some();
            let looked = self.frames.last().map_or(begin, |frame| frame.at);
            if self.now < until && (rings || self.now.since(looked) >= self.silence) {
                self.look();
            }
        }
    }

    /// Takes a picture, and presses the button if an alarm asks for it.
    fn look(&mut self) {
        let mut display = Display::new();
        let Ok(()) = screen::draw(&self.app.face(), self.app.page(), &mut display);
        self.frames.push(Frame {
            at: self.now,
            display: Rc::new(display),
            #[cfg(test)]
            shown: self.app.face().current().map(|now| now.glucose.mg_dl()),
            #[cfg(test)]
            pair: self.app.face().pair,
        });
        if self.app.face().alert.is_some() {
            for (ms, down) in PRESS {
                self.ms = self.ms.wrapping_add(ms);
                self.pressed_ms += ms;
                self.app.tick(self.ms, down);
            }
        }
    }
}

/// Each row several times, eight pixels a byte, the first one highest.
fn enlarged(display: &Display) -> Vec<u8> {
    let mut rows = Vec::with_capacity(WIDTH * SCALE / 8 * HEIGHT * SCALE);
    for y in 0..HEIGHT {
        let on = |x: usize| display.pixel(Point::new(x as i32, y as i32)).is_some_and(BinaryColor::is_on);
        let byte = |b: usize| (0..8).fold(0, |byte, bit| byte << 1 | u8::from(on((8 * b + bit) / SCALE)));
        let row: Vec<u8> = (0..WIDTH * SCALE / 8).map(byte).collect();
        (0..SCALE).for_each(|_| rows.extend(&row));
    }
    rows
}

/// One picture, or several that move (PNG, third edition, W3C 2025).
fn write_png(frames: &[Rc<Display>], out: &mut dyn Write) -> io::Result<()> {
    let mut encoder = png::Encoder::new(out, (WIDTH * SCALE) as u32, (HEIGHT * SCALE) as u32);
    encoder.set_color(png::ColorType::Grayscale);
    encoder.set_depth(png::BitDepth::One);
    if frames.len() > 1 {
        encoder.set_animated(u32::try_from(frames.len()).unwrap_or(u32::MAX), 0)?;
        encoder.set_frame_delay(1, PACE)?;
    }
    let mut writer = encoder.write_header()?;
    frames.iter().try_for_each(|display| writer.write_image_data(&enlarged(display)))?;
    Ok(writer.finish()?)
}

#[cfg(test)]
mod tests {
    use super::super::demo;
    use super::*;
    use crate::played::Detail;
    use crate::table::Trace;
    use glidepath::{Glucose, Reading};

    /// Compares each picture's digits with what the monitor of the desk said; how many were there, and how many not.
    fn compared(traces: &Traces<'_>) -> [u32; 3] {
        let settings = Settings::default();
        let played = traces.play(settings, Detail::Answers).unwrap();
        let frames = live(traces, settings, Unit::MgDl).unwrap();
        let mut frames = frames.iter().peekable();
        let (mut compared, mut without, mut between) = (0, 0, 0);
        for sample in &played.said.samples {
            let mut frame = frames.next().unwrap();
            while frame.at < sample.reading.at() {
                between += 1;
                frame = frames.next().unwrap();
            }
            assert_eq!(frame.at, sample.reading.at());
            match frame.shown {
                Some(shown) => {
                    let known = sample.answers.as_ref().unwrap().shown.map(|now| now.glucose.mg_dl());
                    assert_eq!(Some(shown), known, "{:?}", sample.reading);
                    compared += 1;
                }
                None => without += 1,
            }
        }
        assert!(frames.next().is_none());
        [compared, without, between]
    }

    #[test]
    fn the_digits_are_those_of_the_samples() {
        let (trace, sticks) = demo::generate().unwrap();
        let one = Traces { first: &trace, second: None, sticks: &sticks.values };
        let [compared, without, between] = compared(&one);
        assert!(compared > 500 && between > 5, "{compared} compared, {without} without, {between} between");
    }

    /// The demo's sensor, and one put on a day later that reads less, two minutes after it.
    fn two() -> (Trace, Trace, Vec<glidepath::Fingerstick>) {
        let (trace, sticks) = demo::generate().unwrap();
        let less = |reading: &Reading| {
            let at = reading.at().plus(Span::from_mins(2));
            // never so low that the wrist shows that reading in the estimate's place
            let value = (reading.glucose().mg_dl() - 25.0).max(57.0);
            Reading::new(at, Glucose::from_mg_dl(value).unwrap())
        };
        let readings = trace.readings.iter().skip(288).map(less).collect();
        let second = Trace { readings, ..Trace::default() };
        (trace, second, sticks.values)
    }

    #[test]
    fn of_two_sensors_they_are_those_of_the_samples_too() {
        let (trace, second, sticks) = two();
        let both = Traces { first: &trace, second: Some(&second), sticks: &sticks };
        let [compared, without, between] = compared(&both);
        assert!(compared > 1000 && between > 5, "{compared} compared, {without} without, {between} between");
        let frames = live(&both, Settings::default(), Unit::MgDl).unwrap();
        let told = |word: &str| frames.iter().filter(|frame| frame.pair == word).count();
        assert!(told("only 1st reads") > 250 && told("") > 250, "{}, {}", told("only 1st reads"), told(""));
        // put on later: it warms up, and its first day counts as one
        let alone = Traces { first: &trace, second: None, sticks: &sticks };
        let one = live(&alone, Settings::default(), Unit::MgDl).unwrap();
        let at = second.readings[12].at();
        let shown = |frames: &[Frame]| {
            frames.iter().rfind(|frame| frame.at <= at).and_then(|frame| frame.shown).unwrap()
        };
        assert!(shown(&one) - shown(&frames) < 8.0, "{} {}", shown(&one), shown(&frames));
    }
}
