//! What the application asks of a monitor, of one sensor or of two.

use crate::app::{PAIR_READINGS, READINGS};
use crate::session::Session;
use core::fmt::Debug;
use glidepath::alarm::{AlarmPlan, Kind};
use glidepath::snapshot::{self, SnapshotError};
use glidepath::{
    Agreement, Error, Fingerstick, HistoryView, Instant, Monitor, PairMonitor, PairView, Reading, Settings,
    Side, Span, View,
};

/// A monitor of all that is worn. One sensor is the first.
pub trait Worn: Debug + Clone + Sized {
    /// What it answers.
    type Answers: Copy + Debug;
    /// A session for each sensor.
    type Sessions: Sessions;
    /// The sensors.
    const SIDES: &'static [Side];

    /// One that knows nothing yet.
    ///
    /// # Errors
    /// Names the setting that is out of its range.
    fn made(settings: Settings) -> Result<Self, Error>;
    /// The board's own count of seconds.
    fn set_uptime(&mut self, uptime_s: u32);
    /// Answers without a reading.
    fn tick(&mut self, now: Option<Instant>) -> Self::Answers;
    /// Takes in a reading.
    fn push(&mut self, side: Side, reading: &Reading) -> Self::Answers;
    /// Takes in a fingerstick; whether any sensor's calibration used it.
    fn fingerstick(&mut self, stick: &Fingerstick) -> bool;
    /// A new sensor was started.
    fn sensor_started(&mut self, side: Side, at: Instant);
    /// The zone's offset.
    fn set_utc_offset(&mut self, offset: Option<Span>);
    /// Other alarms.
    fn set_alarm_plan(&mut self, plan: AlarmPlan);
    /// All alarms that hold are seen.
    fn acknowledge(&mut self);
    /// One kind is silenced.
    fn snooze(&mut self, kind: Kind, span: Span);
    /// Its state as bytes; how many.
    ///
    /// # Errors
    /// When there is no room.
    fn save(&mut self, buffer: &mut [u8]) -> Result<usize, SnapshotError>;
    /// Back from what [`save`](Self::save) wrote; nothing is present before the next reading.
    ///
    /// # Errors
    /// When it is not a whole state of this version; nothing has changed then.
    fn restore(&mut self, bytes: &[u8]) -> Result<(), SnapshotError>;
    /// What is said as one.
    fn view(answers: &Self::Answers) -> &View;
    /// How two sensors go together; none of one.
    fn agreement(answers: &Self::Answers) -> Option<Agreement>;
    /// The readings to draw, of the sensor that weighs more, and now by the clock that stamps them.
    fn history(&self, answers: Option<&Self::Answers>) -> (HistoryView<'_>, Option<Instant>);
}

/// The sessions of what is worn.
pub trait Sessions: Copy + Debug {
    /// None yet.
    const NONE: Self;
    /// One sensor's.
    fn of(&self, side: Side) -> &Session;
    /// The same, to be changed.
    fn of_mut(&mut self, side: Side) -> &mut Session;
}

impl Sessions for Session {
    const NONE: Self = Self::new();

    fn of(&self, _: Side) -> &Session {
        self
    }

    fn of_mut(&mut self, _: Side) -> &mut Session {
        self
    }
}

impl Sessions for (Session, Session) {
    const NONE: Self = (Session::new(), Session::new());

    fn of(&self, side: Side) -> &Session {
        match side {
            Side::First => &self.0,
            Side::Second => &self.1,
        }
    }

    fn of_mut(&mut self, side: Side) -> &mut Session {
        match side {
            Side::First => &mut self.0,
            Side::Second => &mut self.1,
        }
    }
}

impl Worn for Monitor<READINGS> {
    type Answers = View;
    type Sessions = Session;
    const SIDES: &'static [Side] = &[Side::First];

    fn made(settings: Settings) -> Result<Self, Error> {
        Self::new(settings)
    }

    fn set_uptime(&mut self, uptime_s: u32) {
        Self::set_uptime(self, uptime_s);
    }

    fn tick(&mut self, now: Option<Instant>) -> View {
        Self::tick(self, now)
    }

    fn push(&mut self, _: Side, reading: &Reading) -> View {
        Self::push(self, reading)
    }

    fn fingerstick(&mut self, stick: &Fingerstick) -> bool {
        Self::fingerstick(self, stick).is_used()
    }

    fn sensor_started(&mut self, _: Side, at: Instant) {
        Self::sensor_started(self, at);
    }

    fn set_utc_offset(&mut self, offset: Option<Span>) {
        Self::set_utc_offset(self, offset);
    }

    fn set_alarm_plan(&mut self, plan: AlarmPlan) {
        Self::set_alarm_plan(self, plan);
    }

    fn acknowledge(&mut self) {
        Self::acknowledge(self);
    }

    fn snooze(&mut self, kind: Kind, span: Span) {
        let _ = Self::snooze(self, kind, span);
    }

    fn save(&mut self, buffer: &mut [u8]) -> Result<usize, SnapshotError> {
        snapshot::save(self, buffer)
    }

    fn restore(&mut self, bytes: &[u8]) -> Result<(), SnapshotError> {
        snapshot::restore(self, bytes)
    }

    fn view(answers: &View) -> &View {
        answers
    }

    fn agreement(_: &View) -> Option<Agreement> {
        None
    }

    fn history(&self, answers: Option<&View>) -> (HistoryView<'_>, Option<Instant>) {
        (Self::history(self), answers.map(View::at))
    }
}

/// Both sensors go by the same settings.
impl Worn for PairMonitor<PAIR_READINGS> {
    type Answers = PairView;
    type Sessions = (Session, Session);
    const SIDES: &'static [Side] = &Side::BOTH;

    fn made(settings: Settings) -> Result<Self, Error> {
        Self::new(settings, settings)
    }

    fn set_uptime(&mut self, uptime_s: u32) {
        Self::set_uptime(self, uptime_s);
    }

    fn tick(&mut self, now: Option<Instant>) -> PairView {
        Self::tick(self, now)
    }

    fn push(&mut self, side: Side, reading: &Reading) -> PairView {
        Self::push(self, side, reading)
    }

    fn fingerstick(&mut self, stick: &Fingerstick) -> bool {
        Self::fingerstick(self, stick).iter().any(|outcome| outcome.is_used())
    }

    fn sensor_started(&mut self, side: Side, at: Instant) {
        Self::sensor_started(self, side, at);
    }

    fn set_utc_offset(&mut self, offset: Option<Span>) {
        Self::set_utc_offset(self, offset);
    }

    fn set_alarm_plan(&mut self, plan: AlarmPlan) {
        Self::set_alarm_plan(self, plan);
    }

    fn acknowledge(&mut self) {
        Self::acknowledge(self);
    }

    fn snooze(&mut self, kind: Kind, span: Span) {
        let _ = Self::snooze(self, kind, span);
    }

    fn save(&mut self, buffer: &mut [u8]) -> Result<usize, SnapshotError> {
        snapshot::save_pair(self, buffer)
    }

    fn restore(&mut self, bytes: &[u8]) -> Result<(), SnapshotError> {
        snapshot::restore_pair(self, bytes)
    }

    fn view(answers: &PairView) -> &View {
        answers.fused()
    }

    fn agreement(answers: &PairView) -> Option<Agreement> {
        Some(answers.agreement())
    }

    fn history(&self, answers: Option<&PairView>) -> (HistoryView<'_>, Option<Instant>) {
        let Some(answers) = answers else { return (Self::history(self, Side::First), None) };
        let weight = |side| answers.side(side).weight;
        let side = if weight(Side::Second) > weight(Side::First) { Side::Second } else { Side::First };
        let one = answers.side(side);
        let now = one.newest.zip(one.age).map(|((at, _), age)| at.plus(age));
        (Self::history(self, side), now)
    }
}
