//! A day of frames: the columns every machine must give, and the application's pictures at some minutes.

use glidepath::Settings;
use std::fmt::Write;
use wrist::app::App;
use wrist::columns::{Records, replay};
use wrist_desk::stream::first_alarm;
use wrist_desk::{Display, blessing, check, golden};

fn stream() -> Vec<u8> {
    std::fs::read(golden().join("day.frames")).unwrap()
}

#[test]
fn the_day_is_the_simulated_one() {
    let simulated = wrist_desk::stream::file(wrist_desk::stream::SEED, 1);
    if blessing() {
        std::fs::write(golden().join("day.frames"), &simulated).unwrap();
    }
    assert!(simulated == stream(), "the simulator has changed: WRIST_BLESS=1 takes its new day");
}

#[test]
fn columns_are_the_golden_ones() {
    let mut text = String::new();
    replay(&stream(), |minute, digest| writeln!(text, "{minute} {digest:08x}").unwrap());
    assert!(text.lines().count() > 200);
    golden_text("day.columns", &text);
}

/// Holds `text` against a golden file and tells the first line that differs.
fn golden_text(name: &str, text: &str) {
    let path = golden().join(name);
    if blessing() {
        std::fs::write(&path, text).unwrap();
    }
    let golden = std::fs::read_to_string(path).unwrap();
    let differing = text.lines().zip(golden.lines()).find(|(got, wanted)| got != wanted);
    assert_eq!(differing, None, "(got, golden {name})");
    assert_eq!(text.len(), golden.len());
}

/// The application with the day so far, as it is at `minute`.
struct Story {
    app: App,
    stream: Vec<u8>,
    next: usize,
    ms: u32,
}

impl Story {
    fn new() -> Self {
        let mut app = App::new(Settings::default()).unwrap();
        app.battery(80);
        let mut story = Self { app, stream: stream(), next: 0, ms: 0 };
        story.run(1000, false); // the board is on before the first frame comes, here as in the emulators
        story.feed(0);
        story
    }

    /// All frames up to `minute`, each when it is due.
    fn live(&mut self, minute: u16) {
        while u32::from(minute) * 60_000 > self.ms {
            let next = (self.ms / 60_000 + 1) * 60_000;
            self.run(next - self.ms, false);
            self.feed((next / 60_000) as u16);
        }
        self.feed(minute);
    }

    /// What is due at `minute`.
    fn feed(&mut self, minute: u16) {
        for (_, bytes) in Records(&self.stream).skip(self.next).take_while(|(due, _)| *due <= minute) {
            self.next += 1;
            bytes.iter().for_each(|byte| _ = self.app.byte(*byte));
            self.app.tick(self.ms, false);
        }
    }

    fn run(&mut self, ms: u32, down: bool) {
        for _ in 0..ms / 10 {
            self.ms += 10;
            self.app.tick(self.ms, down);
        }
    }

    /// Down for `ms`, then long enough for the press to be told.
    fn press(&mut self, ms: u32) {
        self.run(ms, true);
        self.run(500, false);
    }

    fn check(&self, name: &str) {
        for display in [Display::Bit, Display::Grey] {
            let picture = display.draw(&self.app.face(), self.app.page());
            assert_eq!(check(&picture, &format!("{name}-{}", display.name())), Ok(()));
        }
    }
}

/// The story that the Pico's image goes through too. `day.story` tells it the minute of the alarm, and the sentence
/// and the turns of the motor (ms) to expect.
#[test]
fn pictures_through_the_day() {
    let mut story = Story::new();
    let alarm = first_alarm(&story.stream).unwrap();
    story.live(60);
    story.check("day-hour");
    story.live(alarm - 20);
    story.check("day-quiet");
    story.live(alarm);
    story.check("day-alarm");
    assert!(story.app.face().alert.is_some());
    story.press(100);
    assert!(story.app.face().alert.is_none());
    story.check("day-seen");
    story.run(4000, false);
    story.press(100);
    story.check("day-past");
    story.run(100, true);
    story.run(100, false);
    story.press(100);
    story.check("day-past-mmol");
    story.press(100);
    story.check("day-mmol");
    let said = wrist::words::sentence(&story.app.face());
    let turns: Vec<_> =
        wrist::pulses::value(&story.app.face()).iter().step_by(2).map(u16::to_string).collect();
    golden_text("day.story", &format!("{alarm}\n{said}\n{}\n", turns.join(" ")));
    story.live(alarm + 60);
    story.check("day-later");
    assert_eq!((story.app.counts().dropped, story.app.counts().without_place), (0, 0));
}

/// What the Pico shows after a power cut between these two readings.
#[test]
fn one_reading_later() {
    let mut story = Story::new();
    let alarm = first_alarm(&story.stream).unwrap();
    story.live(alarm / 5 * 5 + 5);
    story.check("day-next");
}

/// The line falls silent: the value is shown as present for eleven minutes and no longer.
#[test]
fn growing_old() {
    let mut story = Story::new();
    story.live(60);
    story.run(630_000, false);
    story.check("day-old");
    story.run(60_000, false);
    story.check("day-stale");
}

/// What the README sends to a new board is a number on its screen, and so is the next one.
#[test]
fn a_reading_of_this_moment_is_shown() {
    let mut app = App::new(Settings::default()).unwrap();
    for (minutes, mg_dl) in [(29_412_345, 104.0), (29_412_350, 112.0)] {
        let _ = app.tick((minutes as u32 - 29_412_345) * 60_000, false);
        app.byte(0x55); // noise of a line that is plugged in
        for byte in wrist_desk::stream::reading(minutes, mg_dl).unwrap() {
            let _ = app.byte(byte);
        }
        let face = app.face();
        assert_eq!((face.last.unwrap().mg_dl(), face.age), (mg_dl, Some(glidepath::Span::ZERO)));
        assert!(face.current().is_some());
    }
    assert_eq!(app.counts().kept, 2);
    assert!([39.0, 401.0, f32::NAN].iter().all(|mg_dl| wrist_desk::stream::reading(0, *mg_dl).is_none()));
}
