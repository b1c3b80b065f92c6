//! The whole application: bytes, time and a button in; a face, a motor and words out.

use crate::button::{Button, Press};
use crate::clock::Clock;
use crate::face::{Alert, Bound, Expected, Face, Now, STALE, Trust, Unit};
use crate::link::{Frame, LinkError, Receiver};
use crate::pulses::{self, Motor};
use crate::screen::Page;
use crate::words::{Sentence, sentence};
use glidepath::alarm::{Kind, Priority};
use glidepath::quality::{Grade, Reason, Verdict};
use glidepath::snapshot::{self, SnapshotError};
use glidepath::trend::Trend;
use glidepath::{Error, Fingerstick, Glucose, Instant, Monitor, Reading, Settings, Span, Status, View};

/// A day of readings every five minutes.
pub const READINGS: usize = 288;
/// How long a long press silences what rings; the floor's own limit is kept by the library.
pub const SNOOZE: Span = Span::from_mins(15);
/// The monitor is asked at least this often, so that silence is noticed.
const ASK_S: i32 = 60;
/// Another start further off than this is another session.
const SAME_SESSION: Span = Span::from_mins(2);
/// Frames tell the wearer's own time, and all times here are that.
const LOCAL: Option<Span> = Some(Span::ZERO);
/// What is kept before the monitor's snapshot: flags, the session's start, the alarms' priorities.
const HEADER: usize = 1 + 4 + Kind::ALL.len();
/// Bytes that [`App::save`] never exceeds.
pub const KEPT: usize = HEADER + snapshot::room(READINGS);
/// The flags of the header.
const HAS_START: u8 = 1;
const MMOL_L: u8 = 2;

/// What became of all frames.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Counts {
    /// Frames understood.
    pub frames: u32,
    /// Frames dropped: framing, checksum, payload.
    pub dropped: u32,
    /// Readings kept, late ones included.
    pub kept: u32,
    /// Readings that were there already.
    pub repeated: u32,
    /// Readings refused by their verdict.
    pub refused: u32,
    /// Measurements that came before any session start, or without a value.
    pub without_place: u32,
}

/// What the board is to do now.
#[derive(Clone, Debug, Default)]
pub struct Wants {
    /// The picture has changed.
    pub redraw: bool,
    /// The motor is to turn.
    pub motor: bool,
    /// The state is worth keeping.
    pub save: bool,
    /// To be said.
    pub say: Option<Sentence>,
    /// Call again soon (within 10 ms): a press or a pattern is under way. Otherwise a second will do.
    pub soon: bool,
}

/// The application. `range` is the sensor's own.
#[derive(Clone, Debug)]
pub struct App {
    monitor: Monitor<READINGS>,
    session_start: Option<Instant>,
    unit: Unit,
    view: Option<View>,
    receiver: Receiver,
    clock: Clock,
    button: Button,
    motor: Motor,
    /// Whether the motor plays an alarm.
    ringing: bool,
    page: Page,
    asked: Option<Instant>,
    priorities: [Priority; Kind::ALL.len()],
    battery_percent: Option<u8>,
    shown_minute: Option<u32>,
    counts: Counts,
    wants: Wants,
}

impl App {
    /// With nothing known.
    ///
    /// # Errors
    /// Names the setting that is out of its range.
    pub fn new(settings: Settings) -> Result<Self, Error> {
        let mut monitor = Monitor::new(settings)?;
        monitor.set_utc_offset(LOCAL); // for settings by time of day
        Ok(Self {
            monitor,
            session_start: None,
            unit: Unit::default(),
            view: None,
            receiver: Receiver::new(),
            clock: Clock::new(),
            button: Button::new(),
            motor: Motor::new(),
            ringing: false,
            page: Page::default(),
            asked: None,
            priorities: [Priority::Medium; Kind::ALL.len()],
            battery_percent: None,
            shown_minute: None,
            counts: Counts::default(),
            wants: Wants { redraw: true, ..Wants::default() },
        })
    }

    /// Writes what must outlive a power cut to the front of `buffer`; gives the number of bytes.
    ///
    /// # Errors
    /// When `buffer` is smaller than [`KEPT`] and the state does not fit.
    pub fn save(&self, buffer: &mut [u8]) -> Result<usize, SnapshotError> {
        let (header, rest) = buffer.split_first_chunk_mut::<HEADER>().ok_or(SnapshotError::Room)?;
        let [flags, start @ ..] = header;
        *flags = if self.session_start.is_some() { HAS_START } else { 0 };
        *flags |= if self.unit == Unit::MmolL { MMOL_L } else { 0 };
        let seconds = self.session_start.map_or(0, Instant::secs).to_le_bytes();
        let fields = seconds.into_iter().chain(self.priorities.map(|priority| priority as u8));
        start.iter_mut().zip(fields).for_each(|(to, from)| *to = from);
        Ok(HEADER + snapshot::save(&self.monitor, rest)?)
    }

    /// Goes on from what [`save`](Self::save) wrote. Nothing is shown as present before the time is known again.
    ///
    /// # Errors
    /// When `kept` is not a whole state of this version; nothing has changed then.
    pub fn restore(&mut self, kept: &[u8]) -> Result<(), SnapshotError> {
        let (header, rest) = kept.split_first_chunk::<HEADER>().ok_or(SnapshotError::Incomplete)?;
        self.monitor = snapshot::load(rest)?;
        self.monitor.set_utc_offset(LOCAL);
        let [flags, a, b, c, d, priorities @ ..] = header;
        let start = Instant::from_secs(u32::from_le_bytes([*a, *b, *c, *d]));
        self.session_start = (flags & HAS_START != 0).then_some(start);
        self.unit = if flags & MMOL_L == 0 { Unit::MgDl } else { Unit::MmolL };
        self.priorities = priorities.map(|byte| match byte {
            0 => Priority::Low,
            1 => Priority::Medium,
            _ => Priority::High,
        });
        (self.view, self.asked, self.clock) = (None, None, Clock::new());
        self.wants.redraw = true;
        Ok(())
    }

    /// Takes a byte of the serial line; at the end of a frame, what it was.
    pub fn byte(&mut self, byte: u8) -> Option<Result<Frame, LinkError>> {
        let outcome = self.receiver.byte(byte)?;
        match &outcome {
            Ok(frame) => {
                self.counts.frames += 1;
                self.frame(frame);
            }
            Err(_) => self.counts.dropped += 1,
        }
        Some(outcome)
    }

    fn frame(&mut self, frame: &Frame) {
        match frame {
            Frame::Time(time) => {
                if let Some(at) = time.date_time().instant() {
                    self.time(at);
                }
            }
            Frame::Start(start) => {
                if let Some(at) = start.local().instant() {
                    let same = |known: Instant| at.since(known).secs().abs() <= SAME_SESSION.secs();
                    if !self.session_start.is_some_and(same) {
                        self.monitor.sensor_started(at);
                        self.wants.save = true;
                    }
                    self.session_start = Some(at);
                }
            }
            Frame::Measurement(record) => {
                let reading = self.session_start.and_then(|start| record.reading(start, range()));
                match reading {
                    Some(reading) => self.reading(&reading),
                    None => self.counts.without_place += 1,
                }
            }
            Frame::Meter(measurement) => {
                if let Some(stick) = measurement.fingerstick() {
                    self.fingerstick(&stick);
                }
            }
            Frame::Status(_) => {}
        }
    }

    /// Takes the time.
    pub fn time(&mut self, at: Instant) {
        self.clock.told(at);
        self.wants.redraw = true;
    }

    /// Takes a meter's result.
    pub fn fingerstick(&mut self, stick: &Fingerstick) {
        let _ = self.monitor.fingerstick(stick);
        self.wants.save = true;
        self.asked = None;
    }

    /// Takes a sensor's reading.
    pub fn reading(&mut self, reading: &Reading) {
        let view = self.monitor.push(reading);
        match view.verdict() {
            Some(Verdict::Duplicate) => self.counts.repeated += 1,
            Some(verdict) if verdict.is_kept() => {
                self.counts.kept += 1;
                self.wants.save = true;
                if verdict.is_admitted() || verdict == Verdict::WarmUp {
                    self.clock.reading(reading.at());
                }
            }
            _ => self.counts.refused += 1,
        }
        self.answered(view);
        self.asked = None; // and the present moment is asked for when the line is quiet
    }

    /// Asks the monitor for the present moment.
    fn ask(&mut self) {
        if let Some(now) = self.clock.now() {
            self.asked = Some(now);
            let view = self.monitor.tick(now);
            self.answered(view);
        }
    }

    fn answered(&mut self, view: View) {
        for ring in view.rings().iter() {
            if let Some(priority) = self.priorities.get_mut(ring.kind as usize) {
                *priority = ring.priority;
            }
        }
        if let Some(ring) = view.rings().first() {
            self.motor.play(pulses::alarm(ring.priority), self.clock.ms());
            self.ringing = true;
            self.page = Page::Now;
            self.wants.save = true;
            self.view = Some(view);
            self.wants.say = Some(sentence(&self.face()));
        }
        self.view = Some(view);
        self.wants.redraw = true;
        if self.ringing && self.monitor.alarms().unheeded().is_empty() {
            self.silence();
        }
    }

    fn silence(&mut self) {
        self.motor.stop();
        self.ringing = false;
    }

    /// To be called whenever a second has passed, a byte or the button has changed something, or
    /// [`Wants::soon`] asked for it. Returns what to do and forgets it.
    pub fn tick(&mut self, now_ms: u32, button_down: bool) -> Wants {
        self.clock.run(now_ms);
        if let Some(press) = self.button.update(button_down, now_ms) {
            self.pressed(press, now_ms);
        }
        if let (Some(now), asked) = (self.clock.now(), self.asked)
            && asked.is_none_or(|asked| now.since(asked).secs() >= ASK_S)
        {
            self.ask();
        }
        let minute = self.face().age_min();
        if minute != self.shown_minute {
            self.shown_minute = minute;
            self.wants.redraw = true;
        }
        let motor = self.motor.update(now_ms);
        let soon = self.button.is_busy() || self.motor.is_busy();
        Wants { motor, soon, ..core::mem::take(&mut self.wants) }
    }

    fn pressed(&mut self, press: Press, now_ms: u32) {
        self.wants.redraw = true;
        let alarms = self.monitor.alarms().unheeded();
        match press {
            Press::Short if !alarms.is_empty() => {
                self.monitor.acknowledge();
                self.silence();
                self.wants.save = true;
            }
            Press::Long if !alarms.is_empty() => {
                for kind in alarms.iter() {
                    let _ = self.monitor.snooze(kind, SNOOZE);
                }
                self.silence();
                self.wants.save = true;
            }
            Press::Short => {
                self.page = match self.page {
                    Page::Now => Page::Past,
                    Page::Past => Page::Now,
                };
            }
            Press::Double => {
                self.unit = match self.unit {
                    Unit::MgDl => Unit::MmolL,
                    Unit::MmolL => Unit::MgDl,
                };
                self.wants.save = true;
            }
            Press::Long => {
                let (pattern, words) = (pulses::value(&self.face()), sentence(&self.face()));
                self.motor.play(pattern, now_ms);
                self.ringing = false;
                self.wants.say = Some(words);
            }
        }
    }

    /// Shows and tells values in `unit`.
    pub fn show_in(&mut self, unit: Unit) {
        self.wants.redraw |= self.unit != unit;
        self.unit = unit;
    }

    /// For those whose times are not the wearer's own: how far the wearer's clock is ahead of them.
    pub fn wearer_ahead(&mut self, offset: Span) {
        self.monitor.set_utc_offset(Some(offset));
    }

    /// The board measured its battery.
    pub fn battery(&mut self, percent: u8) {
        self.wants.redraw |= self.battery_percent != Some(percent);
        self.battery_percent = Some(percent);
    }

    /// What there is to show.
    #[must_use]
    pub fn face(&self) -> Face<'_> {
        let view = self.view.as_ref();
        let unheeded = self.monitor.alarms().unheeded();
        let alerts = unheeded.iter().map(|kind| {
            let priority = self.priorities.get(kind as usize).copied().unwrap_or(Priority::Medium);
            Alert { kind, priority }
        });
        Face {
            clock: self.clock.now(),
            now: view.and_then(|view| self.present(view)),
            history: self.monitor.history(),
            trust: view.map_or(Trust::Fair, |view| match view.grade() {
                Grade::Unusable => Trust::None,
                Grade::Poor => Trust::Poor,
                Grade::Fair => Trust::Fair,
                Grade::Good => Trust::Good,
            }),
            note: view.and_then(|view| view.reasons().iter().min_by_key(mild)).map_or("", note),
            battery_percent: self.battery_percent,
            alert: alerts.min_by_key(|alert| (core::cmp::Reverse(alert.priority), alert.kind)),
            unit: self.unit,
        }
    }

    fn present(&self, view: &View) -> Option<Now> {
        let (at, sensor) = view.newest()?;
        let newest = self.monitor.history().newest().filter(|reading| reading.at() == at);
        let bound = match newest.map(|reading| reading.status()) {
            Some(Status::BelowRange) => Some(Bound::AtMost),
            Some(Status::AboveRange) => Some(Bound::AtLeast),
            _ => None,
        };
        // of a value that is past, what the sensor said; not where it might have gone since
        let young = self.clock.now().is_none_or(|now| now.since(at) < STALE);
        let estimate = view.estimate().filter(|_| young);
        let forecast = self.monitor.forecast();
        let rate_known = view.trend() != Trend::NotKnown && bound.is_none();
        Some(Now {
            at,
            glucose: match (bound, estimate) {
                (None, Some(estimate)) => estimate.glucose(),
                _ => sensor,
            },
            bound,
            rate: view.direction().filter(|_| young && rate_known).map(|d| (d.rate(), d.sd())),
            soon: estimate.filter(|_| bound.is_none()).and_then(|_| {
                let at = |minutes| {
                    let ahead = forecast.at(view.at(), Span::from_mins(minutes))?;
                    Some(Expected { glucose: ahead.glucose(), sd_mg_dl: ahead.sd() })
                };
                Some([at(20)?, at(40)?, at(60)?])
            }),
            low_in_min: view
                .minutes_to_low()
                .filter(|minutes| rate_known && *minutes > 0.0)
                .map(|minutes| (minutes + 0.5) as u16),
        })
    }

    /// The page shown.
    #[must_use]
    pub const fn page(&self) -> Page {
        self.page
    }

    /// What became of all frames.
    #[must_use]
    pub const fn counts(&self) -> Counts {
        self.counts
    }

    /// The newest answers.
    #[must_use]
    pub const fn view(&self) -> Option<&View> {
        self.view.as_ref()
    }

    /// The monitor.
    #[must_use]
    pub const fn monitor(&self) -> &Monitor<READINGS> {
        &self.monitor
    }
}

/// What a record gets that says only "below" or "above": the usual range of sensors.
#[must_use]
pub fn range() -> core::ops::RangeInclusive<Glucose> {
    const fn mg_dl(value: f32) -> Glucose {
        match Glucose::from_mg_dl(value) {
            Ok(glucose) => glucose,
            Err(_) => panic!("refused when compiled"),
        }
    }
    let (low, high) = const { (mg_dl(40.0), mg_dl(400.0)) };
    low..=high
}

/// Reasons that are told only when there is no graver one.
fn mild(reason: &Reason) -> bool {
    matches!(reason, Reason::FirstDay | Reason::PastEnd | Reason::Gap)
}

/// At most ten letters.
const fn note(reason: Reason) -> &'static str {
    match reason {
        Reason::WarmUp => "warming up",
        Reason::FirstDay => "first day",
        Reason::PastEnd => "past end",
        Reason::Noise => "noisy",
        Reason::Jump => "jumped",
        Reason::Stuck => "stuck",
        Reason::Gap => "gaps",
        Reason::Pressure => "pressed?",
        Reason::Fingersticks => "check it",
        Reason::Drift => "drifts",
        Reason::SecondSensor => "differs",
        Reason::OwnWord => "in doubt",
    }
}
