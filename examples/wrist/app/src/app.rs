//! The whole application: bytes, time and a button in; a face, a motor and words out.
//!
//! What is shown and said is what the monitor's newest [`View`] answers; nothing of it is worked out here a second time.

use crate::button::{Button, Press};
use crate::clock::Clock;
use crate::face::{Bound, Expected, Face, Now, STALE, Trust, Unheard, Unit};
use crate::link::{Frame, LinkError, Receiver, SECOND_SENSOR};
use crate::pulses::{self, Motor};
use crate::screen::Page;
use crate::session::Session;
use crate::settings::{self, Numbered};
use crate::words::{self, Sentence, sentence};
use crate::worn::{Sessions, Worn};
use glidepath::quality::{Grade, Reason, Verdict};
use glidepath::snapshot::{self, SnapshotError};
use glidepath::trend::Trend;
use glidepath::{
    Agreement, Error, Fingerstick, Glucose, Instant, Monitor, PairMonitor, Reading, Settings, Side, Span,
    View,
};

/// A day of readings every five minutes.
pub const READINGS: usize = 288;
/// Twelve hours of each of two sensors: what a page shows, and a sector of the flash chip holds.
pub const PAIR_READINGS: usize = 144;
/// How long a long press silences what rings; the floor's own limit is kept by the library.
pub const SNOOZE: Span = Span::from_mins(15);
/// The monitor is asked at least this often, so that silence is noticed.
const ASK_S: u32 = 60;
/// Frames tell the wearer's own time, and all times here are that.
const LOCAL: Option<Span> = Some(Span::ZERO);
/// What is kept of each session before the monitor's snapshot: flags, its start.
const HEADER: usize = 1 + 4;
/// Bytes that [`App`]'s [`save`](Wrist::save) never exceeds.
pub const KEPT: usize = HEADER + snapshot::bytes_needed(READINGS);
/// Bytes that [`PairApp`]'s never exceeds.
pub const PAIR_KEPT: usize = 2 * HEADER + snapshot::pair_bytes_needed(PAIR_READINGS);
/// A believed reading at or under this (level 1, Battelino et al. 2019) is low …
const LOW: Glucose = const { mg_dl(70.0) };
/// … and what stands this far over it, mg/dL, is not shown in its place.
const FAR_MG_DL: f32 = 15.0;
/// The flags of the header.
const HAS_START: u8 = 1;
const MMOL_L: u8 = 2;
const UNTOLD: u8 = 4;

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
    /// Settings came that are to be kept: see [`settings::keep`].
    pub settings: bool,
    /// To be said.
    pub say: Option<Sentence>,
    /// Call again soon (within 10 ms): a press or a pattern is under way. Otherwise a second will do.
    pub soon: bool,
}

/// The application of one sensor.
pub type App = Wrist<Monitor<READINGS>>;
/// The application of two sensors worn at once.
pub type PairApp = Wrist<PairMonitor<PAIR_READINGS>>;

/// The application.
#[derive(Clone, Debug)]
pub struct Wrist<M: Worn> {
    monitor: M,
    /// What the monitor was made with.
    settings: Numbered,
    /// What came and is not in force yet.
    new_settings: Option<Numbered>,
    sessions: M::Sessions,
    unit: Unit,
    answers: Option<M::Answers>,
    receiver: Receiver,
    clock: Clock,
    button: Button,
    motor: Motor,
    /// Whether the motor plays an alarm.
    ringing: bool,
    page: Page,
    /// The monitor is to be asked at this second of the board's.
    ask_at_s: Option<u32>,
    /// Whether the newest reading came with a time that cannot be right: what is shown is not the newest.
    unplaced: bool,
    /// Whether a fingerstick was refused since the newest reading.
    refused: bool,
    unheard: Option<Unheard>,
    battery_percent: Option<u8>,
    counts: Counts,
    wants: Wants,
}

impl<M: Worn> Wrist<M> {
    /// With nothing known.
    ///
    /// # Errors
    /// Names the setting that is out of its range.
    pub fn new(settings: Settings) -> Result<Self, Error> {
        let (mut monitor, clock) = (M::made(settings)?, Clock::new());
        monitor.set_utc_offset(LOCAL); // for settings by time of day
        monitor.set_uptime(clock.uptime_s());
        Ok(Self {
            monitor,
            settings: Numbered { settings, number: None },
            new_settings: None,
            sessions: M::Sessions::NONE,
            unit: Unit::default(),
            answers: None,
            receiver: Receiver::new(),
            clock,
            button: Button::new(),
            motor: Motor::new(),
            ringing: false,
            page: Page::default(),
            ask_at_s: None,
            unplaced: false,
            refused: false,
            unheard: None,
            battery_percent: None,
            counts: Counts::default(),
            wants: Wants { redraw: true, ..Wants::default() },
        })
    }

    /// Writes what must outlive a power cut to the front of `buffer`; gives the number of bytes.
    ///
    /// # Errors
    /// When `buffer` is smaller than [`KEPT`] or [`PAIR_KEPT`] and the state does not fit.
    pub fn save(&mut self, buffer: &mut [u8]) -> Result<usize, SnapshotError> {
        let (mut rest, mut length) = (buffer, 0);
        for side in M::SIDES {
            let session = self.sessions.of(*side);
            let (header, behind) =
                rest.split_first_chunk_mut::<HEADER>().ok_or(SnapshotError::BufferTooSmall)?;
            let [flags, start @ ..] = header;
            let flag = |set, flag| if set { flag } else { 0 };
            *flags = flag(session.start().is_some(), HAS_START)
                | flag(self.unit == Unit::MmolL, MMOL_L)
                | flag(session.is_untold(), UNTOLD);
            *start = session.start().map_or(0, Instant::secs).to_le_bytes();
            (rest, length) = (behind, length + HEADER);
        }
        Ok(length + self.monitor.save(rest)?)
    }

    /// Goes on from what [`save`](Self::save) wrote. Nobody knows how long the power was away: nothing is shown as
    /// present before the next reading.
    ///
    /// # Errors
    /// When `kept` is not a whole state of this version; nothing has changed then.
    pub fn restore(&mut self, kept: &[u8]) -> Result<(), SnapshotError> {
        let (mut rest, mut sessions, mut unit) = (kept, M::Sessions::NONE, Unit::MgDl);
        for side in M::SIDES {
            let (header, behind) = rest.split_first_chunk::<HEADER>().ok_or(SnapshotError::Incomplete)?;
            let [flags, start @ ..] = header;
            let start = Instant::from_secs(u32::from_le_bytes(*start));
            *sessions.of_mut(*side) =
                Session::kept((flags & HAS_START != 0).then_some(start), flags & UNTOLD != 0);
            unit = if flags & MMOL_L == 0 { Unit::MgDl } else { Unit::MmolL };
            rest = behind;
        }
        self.monitor.restore(rest)?;
        self.monitor.set_utc_offset(LOCAL);
        self.monitor.set_uptime(self.clock.uptime_s());
        (self.sessions, self.unit) = (sessions, unit);
        (self.answers, self.ask_at_s) = (None, None);
        self.wants.redraw = true;
        Ok(())
    }

    /// Takes a byte of the serial line; at the end of a frame, what it was.
    pub fn byte(&mut self, byte: u8) -> Option<Result<Frame, LinkError>> {
        let (mut side, mut outcome) = (Side::First, self.receiver.byte(byte)?);
        if M::SIDES.contains(&Side::Second) && outcome == Err(LinkError::Unknown(SECOND_SENSOR)) {
            (side, outcome) = (Side::Second, self.receiver.of_second());
        }
        match &outcome {
            Ok(frame) => {
                self.counts.frames += 1;
                self.frame(side, frame);
            }
            Err(_) => self.counts.dropped += 1,
        }
        Some(outcome)
    }

    fn frame(&mut self, side: Side, frame: &Frame) {
        match frame {
            Frame::Time(time) => {
                if let Some(at) = time.date_time().instant() {
                    self.time(at);
                }
            }
            Frame::Start(start) => {
                if let Some(at) = start.local().instant() {
                    let (news, new_sensor) = self.sessions.of_mut(side).told(at, self.clock.wall());
                    if new_sensor {
                        self.monitor.sensor_started(side, at);
                    }
                    self.wants.save |= news;
                }
            }
            Frame::Measurement(record) => {
                let start = self.sessions.of(side).start();
                match start.and_then(|start| Some((start, record.reading(start, range())?))) {
                    Some((start, reading)) => {
                        let session = self.sessions.of_mut(side);
                        if session.measured(record.offset_min(), self.clock.uptime_s()) {
                            if self.clock.wall().is_none() {
                                // the sensor's time tells how long ago it was started
                                let _ = self.monitor.tick(Some(reading.at()));
                            }
                            self.monitor.sensor_started(side, start);
                        }
                        self.reading_of(side, &reading);
                    }
                    None => self.counts.without_place += 1,
                }
            }
            Frame::Meter(measurement) => {
                if let Some(stick) = measurement.fingerstick() {
                    self.fingerstick(&stick);
                }
            }
            Frame::Status(_) => {}
            Frame::WhichSettings => {
                let what = if self.settings.number.is_some() { "hold." } else { "hold as built." };
                self.wants.say = Some(words::of_settings(self.settings.number, what));
            }
            Frame::Settings => {
                let message = self.receiver.settings();
                match settings::read(message) {
                    Ok(new) => (self.new_settings, self.wants.settings) = (Some(new), true),
                    Err(why) => {
                        self.wants.say = Some(words::refused_settings(settings::number(message), &why));
                    }
                }
            }
        }
    }

    /// The settings that came and are not in force yet; they are forgotten here.
    pub(crate) const fn new_settings(&mut self) -> Option<Numbered> {
        self.new_settings.take()
    }

    pub(crate) const fn set_number(&mut self, number: Option<u32>) {
        self.settings.number = number;
    }

    /// A monitor with other settings that goes on from this one; none within where other alarms are all that changes, and
    /// none at all where it cannot be made. `room` is for a moment.
    pub(crate) fn prepared(&mut self, settings: &Settings, room: &mut [u8]) -> Option<Option<M>> {
        if *settings == self.settings.settings.with_alarms(settings.alarms) {
            return Some(None);
        }
        let mut monitor = M::made(*settings).ok()?;
        let length = self.monitor.save(room).ok()?;
        monitor.restore(room.get(..length)?).ok()?;
        Some(Some(monitor))
    }

    /// Goes on by settings that are kept. Other alarms ring from this moment on; with anything else changed nothing is shown
    /// as present before the next reading, as after a power cut.
    pub(crate) fn adopt(&mut self, new: Numbered, prepared: Option<M>) {
        match prepared {
            None => self.monitor.set_alarm_plan(new.settings.alarms),
            Some(monitor) => {
                self.monitor = monitor;
                self.monitor.set_utc_offset(LOCAL);
                self.monitor.set_uptime(self.clock.uptime_s());
            }
        }
        self.settings = new;
        self.ask();
    }

    /// Takes what the clock on the wall shows.
    pub fn time(&mut self, wall: Instant) {
        self.clock.told(wall);
        self.ask();
    }

    /// Takes a meter's result.
    pub fn fingerstick(&mut self, stick: &Fingerstick) {
        self.refused = !self.monitor.fingerstick(stick);
        self.wants.save = true;
        self.ask();
        if self.refused {
            self.wants.say.get_or_insert_with(words::refused);
        }
    }

    /// Takes a reading of the sensor, of the first one if there are two.
    pub fn reading(&mut self, reading: &Reading) {
        self.reading_of(Side::First, reading);
    }

    /// Takes a reading of one sensor.
    pub fn reading_of(&mut self, side: Side, reading: &Reading) {
        let answers = self.monitor.push(side, reading);
        match M::view(&answers).verdict() {
            Some(Verdict::Duplicate) => self.counts.repeated += 1,
            Some(verdict) if verdict.is_kept() => {
                self.counts.kept += 1;
                self.wants.save = true;
                if verdict != Verdict::Late {
                    (self.unplaced, self.refused) = (false, false);
                }
            }
            verdict => {
                self.counts.refused += 1;
                self.unplaced |= verdict == Some(Verdict::BadTime);
            }
        }
        self.answered(answers);
    }

    /// Of those that are told of a new sensor otherwise than by a frame.
    pub fn sensor_started(&mut self, side: Side, at: Instant) {
        self.monitor.sensor_started(side, at);
        self.ask();
    }

    /// Asks the monitor for the present moment, whether anybody has told the time or not.
    fn ask(&mut self) {
        let answers = self.monitor.tick(self.clock.wall());
        self.answered(answers);
    }

    fn answered(&mut self, answers: M::Answers) {
        let view = M::view(&answers);
        let rings = !view.rings().is_empty();
        // a value that is to be taken away before the next minute is up
        let left = view.age().map_or(0, |age| (STALE.secs() - age.secs()).max(0).unsigned_abs());
        let wait = if left > 0 { left.min(ASK_S) } else { ASK_S };
        self.ask_at_s = Some(self.clock.uptime_s().wrapping_add(wait));
        self.answers = Some(answers);
        self.wants.redraw = true;
        // what is shown, said and felt is of one alarm: the most_urgent of those that hold
        match self.face().alert {
            Some(alert) if rings => {
                self.motor.play(pulses::alarm(alert.priority), self.clock.ms());
                self.ringing = true;
                self.page = Page::Now;
                self.wants.save = true;
                self.wants.say = Some(sentence(&self.face()));
            }
            None if self.ringing => self.silence(),
            _ => {}
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
        self.monitor.set_uptime(self.clock.uptime_s());
        if let Some(press) = self.button.update(button_down, now_ms) {
            self.press(press);
        }
        let due = |at: u32| self.clock.uptime_s().wrapping_sub(at) < u32::MAX / 2;
        if self.ask_at_s.is_none_or(due) {
            self.ask();
        }
        let motor = self.motor.update(now_ms);
        let soon = self.button.is_busy() || self.motor.is_busy();
        Wants { motor, soon, ..core::mem::take(&mut self.wants) }
    }

    /// Takes a press of a button that is not this board's own, such as a key's; [`tick`](Self::tick) takes those that are.
    pub fn press(&mut self, press: Press) {
        self.wants.redraw = true;
        let alarms = self.view().map(|view| view.alarms().unacknowledged()).unwrap_or_default();
        match press {
            Press::Short | Press::Long if !alarms.is_empty() => {
                if press == Press::Short {
                    self.monitor.acknowledge();
                } else {
                    for kind in alarms.iter() {
                        self.monitor.snooze(kind, SNOOZE);
                    }
                }
                self.silence();
                self.wants.save = true;
                self.ask();
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
                self.motor.play(pattern, self.clock.ms());
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

    /// Of a board with a radio: why no sensor is listened to.
    pub fn unheard(&mut self, why: Option<Unheard>) {
        self.wants.redraw |= self.unheard != why;
        self.unheard = why;
    }

    /// What there is to show.
    #[must_use]
    pub fn face(&self) -> Face<'_> {
        let view = self.view();
        let age = view.and_then(View::age);
        let (history, at) = self.monitor.history(self.answers.as_ref());
        let agreement = self.answers.as_ref().and_then(M::agreement);
        let reason = view.and_then(|view| view.reasons().iter().min_by_key(mild));
        Face {
            at: at.filter(|_| age.is_some()),
            age,
            last: view.and_then(View::newest).map(|(_, glucose)| glucose),
            now: view.and_then(|view| self.present(view)),
            history,
            trust: view.map_or(Trust::Fair, |view| match view.grade() {
                Grade::Unusable => Trust::None,
                Grade::Poor => Trust::Poor,
                Grade::Fair => Trust::Fair,
                Grade::Good => Trust::Good,
            }),
            note: match reason {
                _ if self.unplaced => "what time?",
                _ if self.refused => "stick: no",
                reason => reason.map_or("", note),
            },
            pair: agreement.map_or("", |agreement| pair(agreement, reason)),
            unheard: self.unheard,
            battery_percent: self.battery_percent,
            alert: view.and_then(|view| view.alarms().most_urgent()).map(|held| held.ring),
            unit: self.unit,
        }
    }

    fn present(&self, view: &View) -> Option<Now> {
        let mut shown = view.shown()?;
        // whatever was made of it, a low reading is not shown as much more than it says
        if let Some((_, read)) = view.newest().filter(|(_, read)| shown.bound.is_none() && *read <= LOW)
            && shown.glucose.mg_dl() > read.mg_dl() + FAR_MG_DL
        {
            (shown.glucose, shown.doubted) = (read, true);
        }
        let doubted = shown.doubted || self.unplaced || view.grade() == Grade::Unusable;
        let bound = shown.bound.map(|bound| match bound {
            glidepath::Bound::AtMost(_) => Bound::AtMost,
            glidepath::Bound::AtLeast(_) => Bound::AtLeast,
        });
        let sure = !doubted && bound.is_none();
        let rate = view
            .direction()
            .filter(|_| sure && view.trend() != Trend::NotKnown)
            .map(|direction| (direction.rate(), direction.sd()));
        Some(Now {
            glucose: shown.glucose,
            bound,
            doubted,
            rate,
            soon: view.direction().filter(|_| sure).and_then(|_| {
                let at = |minutes| {
                    let ahead = view.predicted(Span::from_mins(minutes))?;
                    Some(Expected { glucose: ahead.glucose(), sd_mg_dl: ahead.sd() })
                };
                Some([at(20)?, at(40)?, at(60)?])
            }),
            low_in_min: view
                .minutes_to_low()
                .filter(|minutes| rate.is_some() && *minutes > 0.0)
                .map(|minutes| ((minutes + 0.5) as u16).max(1)),
        })
    }

    /// When the session of the sensor, of the first one if there are two, began, as last told.
    #[must_use]
    pub fn session_start(&self) -> Option<Instant> {
        self.sessions.of(Side::First).start()
    }

    /// The same of one of two sensors.
    #[must_use]
    pub fn session_start_of(&self, side: Side) -> Option<Instant> {
        self.sessions.of(side).start()
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
    pub fn view(&self) -> Option<&View> {
        self.answers.as_ref().map(M::view)
    }

    /// The newest answers, of two sensors with what each says by itself.
    #[must_use]
    pub const fn answers(&self) -> Option<&M::Answers> {
        self.answers.as_ref()
    }

    /// How two sensors go together; none of one.
    #[must_use]
    pub fn agreement(&self) -> Option<Agreement> {
        self.answers.as_ref().and_then(M::agreement)
    }

    /// The settings in force.
    #[must_use]
    pub const fn settings(&self) -> &Numbered {
        &self.settings
    }

    /// The monitor.
    #[must_use]
    pub const fn monitor(&self) -> &M {
        &self.monitor
    }
}

const fn mg_dl(value: f32) -> Glucose {
    match Glucose::from_mg_dl(value) {
        Ok(glucose) => glucose,
        Err(_) => panic!("refused when compiled"),
    }
}

/// What a record gets that says only "below" or "above": the usual range of sensors.
#[must_use]
pub fn range() -> core::ops::RangeInclusive<Glucose> {
    let (low, high) = const { (mg_dl(40.0), mg_dl(400.0)) };
    low..=high
}

/// Reasons that are told only when there is no graver one.
fn mild(reason: &Reason) -> bool {
    matches!(reason, Reason::FirstDay | Reason::PastEnd | Reason::Gap)
}

/// What is to be told of two sensors, in at most 14 letters: that they disagree, which one is off or reads alone; the last where
/// nothing graver is to be told of that one.
pub(crate) fn pair(agreement: Agreement, reason: Option<Reason>) -> &'static str {
    match agreement {
        Agreement::Neither | Agreement::Together => "",
        Agreement::Only(_) if reason.is_some_and(|reason| !mild(&reason)) => "",
        Agreement::Only(Side::First) => "only 1st reads",
        Agreement::Only(Side::Second) => "only 2nd reads",
        Agreement::Suspect(Side::First) => "1st sensor off",
        Agreement::Suspect(Side::Second) => "2nd sensor off",
        _ => "sensors differ", // and what a later library adds
    }
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
        _ => "in doubt", // its own word, and what a later library adds
    }
}
