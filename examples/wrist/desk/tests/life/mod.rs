//! A wearer: the application fed by frames as time truly passes, and what its rendered screen shows, read back from the
//! pixels.
#![allow(dead_code, reason = "each test uses its own part")]

#[path = "../chip/mod.rs"]
pub mod chip;

mod seen;

use chip::Chip;
use embedded_graphics::prelude::Point;
use glidepath::alarm::{Cause, Kind, Priority, Ring, Trigger};
use glidepath::gatt::{
    Annunciation, CgmMeasurement, Concentration, CurrentTime, DateTime, GlucoseMeasurement, Sample,
    SampleLocation, SampleType, SessionStart, Sfloat,
};
use glidepath::{Glucose, History, Instant, Settings, Span, Status};
use std::collections::HashMap;
use std::ops::RangeInclusive;
use std::sync::LazyLock;
use wrist::app::{App, KEPT};
use wrist::face::{Bound, Face, Matter, Now, Trust, Unit};
use wrist::link::Frame;
use wrist::settings;
use wrist::store::{Store, buffer};

use seen::Glance;
use wrist_desk::Display;

/// What the digits of a screen say.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Screen {
    /// Three strokes.
    Strokes { alarm: bool },
    /// A number; hollow if it is doubted.
    Number { mg_dl: u16, doubted: bool, alarm: bool },
    /// At most so much.
    AtMost { mg_dl: u16, alarm: bool },
}

impl Screen {
    pub fn is_a_number(self) -> bool {
        !matches!(self, Self::Strokes { .. })
    }
}

/// What the pixels of one display mean.
struct Reader {
    display: Display,
    digits: HashMap<u64, Screen>,
    capitals: HashMap<u64, String>,
    strokes: u64,
}

/// The displays that are read, all of them at each look.
static READERS: LazyLock<[Reader; 3]> =
    LazyLock::new(|| [Display::Bit, Display::Slim, Display::Colour].map(Reader::new));

fn is_alarm(picture: &Glance) -> bool {
    picture.is_lit(Point::zero())
}

/// Minutes until a low that a screen may tell.
const SOON: RangeInclusive<u16> = 1..=60;

/// The present value to be drawn, and its alarm.
fn face<'a>(history: &'a History<1>, now: Option<Now>, alert: Option<Ring>) -> Face<'a> {
    Face {
        at: None,
        age: Some(Span::ZERO),
        last: None,
        now,
        history: history.view(),
        trust: Trust::Good,
        note: "",
        pair: "",
        unheard: None,
        battery_percent: None,
        alert,
        unit: Unit::MgDl,
    }
}

fn ring(kind: Kind, priority: Priority, trigger: Trigger) -> Ring {
    Ring::new(kind, priority, Cause::New, trigger, Instant::from_secs(0))
}

fn value(mg_dl: f32) -> Now {
    let glucose = Glucose::from_mg_dl(mg_dl).unwrap();
    Now { glucose, bound: None, doubted: false, rate: None, soon: None, low_in_min: None }
}

/// What stands in capitals when `face` is shown.
pub fn capitals(face: &Face<'_>) -> Option<String> {
    let soon = |minutes: u16| format!("LOW IN {minutes}");
    if let Some(ring) = face.alert {
        let minutes = face.figure().and_then(|now| now.low_in_min).filter(|_| ring.kind == Kind::LowAhead);
        return Some(minutes.map_or(ring.kind.info().title.to_owned(), soon));
    }
    Some(match face.matter()? {
        Matter::Unheard(unheard) => unheard.title().unwrap().into(),
        Matter::Nothing => "WAITING".into(),
        Matter::Undated => "NO VALUE".into(),
        Matter::TooOld => "TOO OLD".into(),
        Matter::Doubted => "DOUBTED".into(),
        Matter::LowIn(minutes) => soon(minutes),
        Matter::VeryLow { doubted } => if doubted { "VERY LOW?" } else { "VERY LOW" }.into(),
        Matter::Low { doubted } => if doubted { "LOW?" } else { "LOW" }.into(),
    })
}

impl Reader {
    /// Learns every number and every line in capitals as the display draws them; no two may look alike.
    fn new(display: Display) -> Self {
        let layout = display.layout();
        let (mut digits, mut lines) = (HashMap::new(), HashMap::<u64, String>::new());
        let (history, mut looks) = (History::<1>::new(), 0);
        let mut learn = |face: &Face<'_>, screen: Option<Screen>| {
            let picture = Glance::at(display, face);
            looks += 1;
            // now and then each pixel is held against the display's own
            assert!(looks % 61 != 0 || picture.is_like_the_picture(display, face), "{display:?}");
            let alarm = face.alert.is_some();
            assert_eq!(is_alarm(&picture), alarm);
            if let Some(screen) = screen {
                let before = digits.insert(picture.part(layout.figures_area(alarm)), screen);
                assert!(
                    before.is_none() || before == Some(screen),
                    "{before:?} looks like {screen:?}, {display:?}"
                );
            }
            if let Some(line) = capitals(face) {
                let seen = picture.part(layout.capitals_area(alarm));
                let before = lines.insert(seen, line.clone());
                assert!(before.is_none_or(|before| before == line), "{line} looks like another, {display:?}");
            }
        };
        let doubt = ring(Kind::Doubt, Priority::Low, Trigger::Doubt);
        for alert in [None, Some(doubt)] {
            let alarm = alert.is_some();
            for mg_dl in 1..=500_u16 {
                for (doubted, trust) in [(false, Trust::Good), (false, Trust::Poor), (true, Trust::Good)] {
                    let now = Now { doubted, ..value(mg_dl.into()) };
                    if mg_dl >= 40 {
                        let face = Face { trust, ..face(&history, Some(now), alert) };
                        learn(&face, Some(Screen::Number { mg_dl, doubted, alarm }));
                    }
                    if mg_dl < 100 {
                        let now = Now { bound: Some(Bound::AtMost), ..now };
                        let face = Face { trust, ..face(&history, Some(now), alert) };
                        learn(&face, Some(Screen::AtMost { mg_dl, alarm }));
                    }
                }
            }
        }
        let strokes = Some(Screen::Strokes { alarm: true });
        for priority in [Priority::High, Priority::Medium, Priority::Low] {
            for kind in Kind::ALL {
                learn(&face(&history, None, Some(ring(kind, priority, Trigger::Unknown))), strokes);
            }
            for minutes in SOON {
                let now = Now { low_in_min: Some(minutes), ..value(104.0) };
                let alert = ring(Kind::LowAhead, priority, Trigger::Probability(0.4));
                learn(&face(&history, Some(now), Some(alert)), None);
            }
        }
        for minutes in SOON {
            learn(&face(&history, Some(Now { low_in_min: Some(minutes), ..value(104.0) }), None), None);
        }
        let blind = face(&history, None, None);
        let last = Some(value(104.0).glucose);
        for face in [Face { last, ..blind }, Face { last, age: None, ..blind }, blind] {
            learn(&face, None);
        }
        let strokes = Glance::at(display, &blind).part(layout.strokes_area());
        Self { display, digits, capitals: lines, strokes }
    }

    /// The number, and the line in capitals.
    fn read(&self, face: &Face<'_>) -> (Screen, Option<&String>) {
        let (picture, layout) = (Glance::at(self.display, face), self.display.layout());
        let alarm = is_alarm(&picture);
        let line = self.capitals.get(&picture.part(layout.capitals_area(alarm)));
        if !alarm && picture.part(layout.strokes_area()) == self.strokes {
            return (Screen::Strokes { alarm }, line);
        }
        let seen = self.digits.get(&picture.part(layout.figures_area(alarm)));
        let seen = *seen.unwrap_or_else(|| panic!("not a number of {:?}: {:?}", self.display, face.figure()));
        (seen, line)
    }
}

/// The wearer and the sender.
pub struct Wearer {
    pub app: App,
    /// Minutes and seconds since it all began, as time truly passes.
    pub minute: u32,
    pub seconds: u32,
    /// The board's milliseconds.
    ms: u32,
    hour: i32,
    /// Minute of each ring, and which.
    pub rang: Vec<(u32, Kind)>,
    pub said: Vec<String>,
    pub last_sent: f32,
    cut: u16,
    /// Where settings are kept.
    pub chip: Store<Chip>,
    built: Settings,
}

/// A Monday in November; the session began three days before.
const DAY: u8 = 9;
const SESSION_MIN: i32 = 3 * 1440;

/// The date and time so many minutes after the session's start by a right clock.
fn date_time(minutes: i32, hour: i32) -> Option<DateTime> {
    let minute = minutes + i32::from(DAY - 3) * 1440 + hour * 60;
    let day = u8::try_from(minute / 1440).ok()?;
    DateTime::new((2026, 11, day), ((minute / 60 % 24) as u8, (minute % 60) as u8, 0)).ok()
}

impl Wearer {
    /// Switched on at this hour, with nothing told.
    pub fn new(hour: i32) -> Self {
        Self::with(hour, Settings::default())
    }

    pub fn with(hour: i32, settings: Settings) -> Self {
        let mut app = App::new(settings).unwrap();
        app.tick(0, false);
        Self {
            app,
            minute: 0,
            seconds: 0,
            ms: 0,
            hour,
            rang: Vec::new(),
            said: Vec::new(),
            last_sent: 0.0,
            cut: 0,
            chip: Store::open(Chip::fresh(), 0..chip::SIZE, &mut buffer()).unwrap(),
            built: settings,
        }
    }

    fn session_minute(&self) -> i32 {
        SESSION_MIN + self.minute as i32
    }

    pub fn frame(&mut self, frame: &Frame) {
        let bytes = frame.stuffed();
        self.bytes(&bytes);
    }

    /// Bytes on the line.
    pub fn bytes(&mut self, bytes: &[u8]) {
        for byte in bytes {
            if self.app.byte(*byte).is_some() {
                self.heard();
            }
        }
        self.tick(false);
    }

    /// The time, so many minutes ahead of the true one.
    pub fn tell_time(&mut self, ahead: i32) {
        if let Some(time) = date_time(self.session_minute() + ahead, self.hour) {
            self.frame(&Frame::Time(CurrentTime::new(time)));
        }
    }

    /// The session's start, so many minutes ahead of the true one.
    pub fn tell_start(&mut self, ahead: i32) {
        if let Some(start) = date_time(ahead, self.hour) {
            self.frame(&Frame::Start(SessionStart::new(start)));
        }
    }

    /// Time and session, both right.
    pub fn open(&mut self) {
        self.tell_time(0);
        self.tell_start(0);
    }

    /// A reading whose stamp is so many minutes ahead.
    pub fn send_at(&mut self, ahead: i32, mg_dl: f32, status: Status) {
        let said = match status {
            Status::BelowRange => Annunciation::BELOW_DEVICE_RANGE,
            Status::AboveRange => Annunciation::ABOVE_DEVICE_RANGE,
            Status::WarmUp | Status::Doubtful => Annunciation::CALIBRATION_REQUIRED,
            Status::Fault => Annunciation::MALFUNCTION,
            Status::Normal => Annunciation::default(),
        };
        let value = Sfloat::nearest((mg_dl * 10.0).round() / 10.0);
        let minute = (self.session_minute() + ahead) as u16;
        self.last_sent = mg_dl;
        self.frame(&Frame::Measurement(CgmMeasurement::new(value, minute).with_annunciation(said)));
    }

    /// A meter's result, stamped so many minutes ahead.
    pub fn stick(&mut self, ahead: i32, mg_dl: f32) {
        let Some(at) = date_time(self.session_minute() + ahead, self.hour) else { return };
        let sample = Sample {
            concentration: Concentration::KgPerL(Sfloat::nearest(mg_dl.round() * 1e-5)),
            kind: SampleType::CapillaryWholeBlood,
            location: SampleLocation::Finger,
        };
        self.frame(&Frame::Meter(GlucoseMeasurement::new(1, at, sample)));
    }

    fn heard(&mut self) {
        if let Some(view) = self.app.view() {
            self.rang.extend(view.rings().iter().map(|ring| (self.minute, ring.kind)));
        }
    }

    fn tick(&mut self, down: bool) {
        let asked = self.app.view().map(|view| view.rings().is_empty());
        let wants = self.app.tick(self.ms, down);
        if wants.settings {
            let told = settings::keep(&mut self.app, Some(&mut self.chip), &mut [0; KEPT], &mut buffer());
            self.said.extend(told.map(|told| told.as_str().to_owned()));
        }
        if let Some(said) = wants.say {
            // a ring of a moment without a reading
            if asked != Some(false) {
                self.heard();
            }
            self.said.push(said.as_str().to_owned());
        }
    }

    /// A second passes.
    pub fn second(&mut self) {
        self.seconds += 1;
        self.ms = self.ms.wrapping_add(1000);
        self.tick(false);
    }

    /// So many minutes; at every fifth the sensor may give a value, told the minutes of this stretch.
    pub fn live(&mut self, minutes: u32, mut value: impl FnMut(u32) -> Option<f32>) {
        let start = self.minute;
        self.live_with(minutes, |wearer| {
            let passed = wearer.minute - start;
            if passed.is_multiple_of(5) { value(passed) } else { None }
        });
    }

    /// So many minutes; the sensor may give a value at each.
    pub fn live_with(&mut self, minutes: u32, mut each: impl FnMut(&mut Self) -> Option<f32>) {
        for _ in 0..minutes {
            self.pass_a_minute();
            if let Some(mg_dl) = each(self) {
                self.send_at(0, mg_dl, Status::Normal);
            }
        }
    }

    pub fn pass_a_minute(&mut self) {
        self.minute += 1;
        self.seconds += 60;
        self.ms = self.ms.wrapping_add(60_000);
        self.tick(false);
    }

    pub fn live_status(&mut self, minutes: u32, status: Status, mg_dl: f32) {
        for _ in 0..minutes {
            self.pass_a_minute();
            if self.minute.is_multiple_of(5) {
                self.send_at(0, mg_dl, status);
            }
        }
    }

    /// The button is held down for so many milliseconds, and let go.
    pub fn press(&mut self, ms: u32) {
        for step in 0..(ms + 500) / 10 {
            self.ms = self.ms.wrapping_add(10);
            self.tick(step * 10 < ms);
        }
    }

    /// The power fails and comes back: what was kept, and nothing else, goes on.
    pub fn cut_power(&mut self) {
        let mut kept = [0; KEPT];
        let length = self.app.save(&mut kept).unwrap();
        let (app, told) = settings::begin(self.built, Some(&mut self.chip), &mut buffer()).unwrap();
        assert_eq!(told, None);
        self.app = app;
        self.app.restore(&kept[..length]).unwrap();
        (self.ms, self.cut) = (0, self.cut + 1);
        self.tick(false);
    }

    /// What the rendered screens show, read from their pixels: all of them the same, and in capitals what rings, or
    /// what matters most.
    pub fn screen(&self) -> Screen {
        let face = self.app.face();
        let wanted = capitals(&face);
        let screens = READERS.each_ref().map(|reader| {
            let (screen, line) = reader.read(&face);
            assert_eq!(line, wanted.as_ref(), "{:?} in capitals", reader.display);
            screen
        });
        assert!(screens.iter().all(|screen| *screen == screens[0]), "{screens:?}");
        screens[0]
    }

    /// Whether one of these asks for attention.
    pub fn rings(&self, kinds: &[Kind]) -> bool {
        self.app.face().alert.is_some_and(|ring| kinds.contains(&ring.kind))
    }

    /// Minutes from `since` to the first ring of one of `kinds`.
    pub fn first(&self, since: u32, kinds: &[Kind]) -> Option<u32> {
        self.rang.iter().find(|(minute, kind)| *minute >= since && kinds.contains(kind)).map(|r| r.0 - since)
    }

    /// The longest silence from `since` on, of all `kinds` together, minutes.
    pub fn longest(&self, since: u32, kinds: &[Kind]) -> u32 {
        let rings = self.rang.iter().filter(|(minute, kind)| *minute >= since && kinds.contains(kind));
        let mut times: Vec<_> = core::iter::once(since).chain(rings.map(|r| r.0)).collect();
        times.push(self.minute);
        times.windows(2).map(|pair| pair[1] - pair[0]).max().unwrap()
    }

    /// Readings that were not kept.
    pub fn refused(&self) -> u8 {
        self.app.counts().refused as u8
    }
}
