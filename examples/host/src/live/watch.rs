//! The wrist's application on the desk: what comes in goes to it as a board would bring it, and time passes for it as on
//! a board, by a steady count and a look every second.
//!
//! What lies in the past when the program starts (the rows a file has already, the first burst of a pipe) is lived
//! through at once, the count going by the stamps, and nothing sounds. Then the present begins: the count is the
//! machine's, and what still holds sounds.

use glidepath::alarm::{Cause, Kind, Ring};
use glidepath::snapshot::SnapshotError;
use glidepath::{Instant, Settings, Side, Span};
use wrist::app::Wrist;
use wrist::button::Press;
use wrist::face::{Face, Unit};
use wrist::link::{Frame, LinkError, Receiver, SECOND_SENSOR};

use super::sensors::Sensors;
use crate::failure::Failure;
use crate::played;
use crate::table::Taken;

/// A stamp this far ahead of the present is no way to go by; see [`glidepath::timeline`].
const AHEAD_S: i64 = 600;
/// In the past the application looks at its clock this often …
const TICK_S: i64 = 60;
/// … but a silence longer than this is stepped over by days.
const LONGEST_SILENCE_S: i64 = 86_400;
/// A row further behind than this tells nothing of the present; see [`glidepath::timeline`].
const OLD_S: i64 = 86_400;
/// Such a row waits so long: if another follows they are of the past, if none does the sender's clock is off.
const HELD_MS: u64 = 10_000;
/// Rows this close to one that is kept are the same reading.
const SAME_S: i32 = 150;
/// The clock on the wall is told anew when it is off by more than this.
const OFF_S: i64 = 2;

/// What became of what came in.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, serde::Serialize)]
pub struct Counts {
    /// Readings that are kept.
    pub readings: u64,
    /// Readings that were there already.
    pub repeated: u64,
    /// Readings that were refused.
    pub refused: u64,
    /// Rows or frames that could not be read.
    pub broken: u64,
    /// Rows without a value.
    pub blank: u64,
    /// Rows of days gone by, in the middle of the present.
    pub too_old: u64,
}

/// What happened.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum News {
    /// A reading or a fingerstick was taken in.
    Taken,
    /// An alarm rang.
    Rang(Ring),
    /// Settings came as a frame. Nobody keeps them here, and so they do not come into force.
    Settings,
}

/// The present by two clocks.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Present {
    /// A count of milliseconds that only grows.
    pub ms: u64,
    /// By the clock that stamps: seconds since 1970.
    pub stamp: i64,
    /// How far the wearer's clock is ahead of that, seconds.
    pub lead: i64,
}

/// What one sensor's input tells besides readings.
#[derive(Default)]
struct Sender {
    receiver: Receiver,
    /// When its session began, as last told in what may not have been taken in yet.
    start: Option<Instant>,
    /// Its first row's stamp.
    first: Option<Instant>,
    held: Option<(Taken, u64)>,
    burst: bool,
}

/// A frame that has come, with its end.
#[derive(Debug)]
pub struct Framed {
    /// As the application takes it.
    bytes: Vec<u8>,
    /// When what it tells was, by the clock that stamps.
    pub stamp: Option<i64>,
    /// Whether it brings a value.
    measured: bool,
}

/// The application and its time.
pub struct Watch<M: Sensors> {
    app: Wrist<M>,
    settings: Settings,
    senders: [Sender; 2],
    /// The application's milliseconds, which wrap.
    ms: u32,
    /// The machine's when they were last passed on.
    passed_ms: u64,
    /// Whether the count goes by stamps already: it does not before the first of them.
    by_stamps: bool,
    /// Whether something of the past was lived through.
    lived: bool,
    /// Whether the present has begun.
    live: bool,
    /// What the clock on the wall was last told as, and the machine's count then.
    told: Option<(i64, u64)>,
    lead: i64,
    rang: [Option<(Instant, Cause)>; Kind::COUNT],
    news: Vec<News>,
    counts: Counts,
}

impl<M: Sensors> Watch<M> {
    /// Nothing known yet.
    ///
    /// # Errors
    /// Names the setting that is out of its range.
    pub fn new(settings: Settings, ms: u64) -> Result<Self, Failure> {
        let app = Wrist::new(settings);
        Ok(Self {
            app: app.map_err(|error| Failure::new(format!("the monitor's settings: {error}")))?,
            settings,
            senders: Default::default(),
            ms: 0,
            passed_ms: ms,
            by_stamps: false,
            lived: false,
            live: false,
            told: None,
            lead: 0,
            rang: [None; Kind::COUNT],
            news: Vec::new(),
            counts: Counts::default(),
        })
    }

    /// Goes on from a state that was kept.
    ///
    /// # Errors
    /// When it is none of this version.
    pub fn restore(&mut self, kept: &[u8]) -> Result<(), SnapshotError> {
        self.app.restore(kept)?;
        self.by_stamps = M::SIDES.iter().any(|side| self.has_read(*side));
        Ok(())
    }

    /// Whether readings of a sensor are kept.
    pub fn has_read(&self, side: Side) -> bool {
        !self.app.monitor().kept(side).is_empty()
    }

    /// The stamp of each sensor's first row, if it sent one: what tells which was put on later.
    pub fn first_rows(&self) -> [Option<u32>; 2] {
        self.senders.each_ref().map(|sender| sender.first.map(Instant::secs))
    }

    /// Those of a run before.
    pub fn set_first_rows(&mut self, firsts: [Option<u32>; 2]) {
        for (sender, first) in self.senders.iter_mut().zip(firsts) {
            sender.first = first.map(Instant::from_secs);
        }
    }

    /// All that must outlive this program, as the wrist keeps it.
    ///
    /// # Errors
    /// Never: the room is that of the largest state.
    pub fn save(&mut self) -> Result<Vec<u8>, SnapshotError> {
        let mut buffer = vec![0; M::KEPT];
        let length = self.app.save(&mut buffer)?;
        buffer.truncate(length);
        Ok(buffer)
    }

    /// The application.
    pub fn app(&self) -> &Wrist<M> {
        &self.app
    }

    /// What there is to show.
    pub fn face(&self) -> Face<'_> {
        self.app.face()
    }

    /// What became of what came in.
    pub fn counts(&self) -> Counts {
        let of = self.app.counts();
        Counts {
            readings: of.kept.into(),
            repeated: self.counts.repeated + u64::from(of.repeated),
            refused: u64::from(of.refused),
            ..self.counts
        }
    }

    /// Whether the present has begun.
    pub fn is_live(&self) -> bool {
        self.live
    }

    /// What has happened since this was last asked; whether it happens in the present goes with it.
    pub fn news(&mut self) -> Vec<News> {
        std::mem::take(&mut self.news)
    }

    /// Shows values in `unit`.
    pub fn show_in(&mut self, unit: Unit) {
        self.app.show_in(unit);
    }

    /// Lines that could not be read, and rows without a value.
    pub fn not_read(&mut self, broken: usize, blank: u64) {
        self.counts.broken += broken as u64;
        self.counts.blank += blank;
    }

    /// Time goes on.
    pub fn run(&mut self, present: Present) {
        // the application's count wraps after 49 days, and is told in steps that do not
        let passed = present.ms.saturating_sub(self.passed_ms);
        self.passed_ms = present.ms;
        self.pass_ms(passed);
        if !self.live {
            self.ahead(present.lead);
            return;
        }
        self.tell(present);
        for side in M::SIDES {
            let sender = &mut self.senders[*side as usize];
            if let Some((taken, since)) = sender.held
                && present.ms.saturating_sub(since) >= HELD_MS
            {
                sender.held = None;
                if !std::mem::take(&mut sender.burst) {
                    self.take(*side, &taken);
                }
            }
        }
    }

    /// Tells the clock on the wall, when it is off or was set.
    fn tell(&mut self, present: Present) {
        let expected = self.told.map(|(stamp, ms)| stamp + (present.ms.saturating_sub(ms) / 1000) as i64);
        if expected.is_some_and(|expected| (expected - present.stamp).abs() <= OFF_S)
            && self.lead == present.lead
        {
            return;
        }
        self.told = Some((present.stamp, present.ms));
        self.ahead(present.lead);
        self.wall(present.stamp);
    }

    fn ahead(&mut self, lead: i64) {
        self.lead = lead;
        self.app.wearer_ahead(Span::from_secs(i32::try_from(lead).unwrap_or(0)));
    }

    fn wall(&mut self, stamp: i64) {
        if let Some(at) = instant(stamp) {
            self.app.time(at);
            self.heard();
        }
    }

    /// Lets time pass for the application.
    fn pass_ms(&mut self, ms: u64) {
        const LONGEST: u64 = 86_400_000;
        let mut left = ms;
        loop {
            let step = left.min(LONGEST);
            self.ms = self.ms.wrapping_add(step as u32);
            self.app.tick(self.ms, false);
            self.heard();
            left -= step;
            if left == 0 {
                return;
            }
        }
    }

    /// Lives through the past up to `until`. Where the count stands the monitor tells, by the clock that stamps: so what
    /// comes late after a restart does not make time pass twice.
    fn pass(&mut self, until: i64) {
        let begin = i64::from(self.app.monitor().stands().secs());
        let mut at = begin;
        while at < until {
            let step = if at - begin < LONGEST_SILENCE_S { TICK_S } else { LONGEST_SILENCE_S };
            let step = step.min(until - at);
            at += step;
            self.pass_ms(step.unsigned_abs() * 1000);
        }
    }

    /// In the past: time is as far as this stamp, unless that cannot be.
    fn past(&mut self, stamp: i64, present: Present) {
        if self.by_stamps && stamp <= present.stamp + AHEAD_S {
            self.pass(stamp.min(present.stamp));
        }
    }

    /// The past is lived through: the present begins, and what holds rings.
    pub fn begin(&mut self, present: Present) {
        if self.live {
            return;
        }
        if self.lived {
            self.pass(present.stamp);
        }
        self.live = true;
        self.passed_ms = present.ms;
        self.news.clear();
        self.told = None;
        self.tell(present);
        let most_urgent = self.app.face().alert;
        let said = |news: &News| matches!((news, most_urgent), (News::Rang(ring), Some(alert)) if ring.kind == alert.kind);
        if let Some(alert) = most_urgent.filter(|_| !self.news.iter().any(said)) {
            self.news.push(News::Rang(alert));
        }
    }

    /// Takes a row of a sensor's table. Of a file that is read anew, `again`, what is known already is left out.
    pub fn row(&mut self, side: Side, taken: &Taken, again: bool, present: Present) {
        let stamp = i64::from(taken.at.secs());
        if again && self.is_known(side, taken.at) {
            self.counts.repeated += 1;
            return;
        }
        if !self.live {
            self.past(stamp, present);
            if self.is_put_on_later(side, taken.at) {
                // when that was can only be told of a time that is known
                self.begin_past(stamp, present);
            }
            self.take(side, taken);
            self.begin_past(stamp, present);
            return;
        }
        if stamp < present.stamp - OLD_S {
            let sender = &mut self.senders[side as usize];
            if let Some((_, since)) = sender.held.replace((*taken, present.ms)) {
                let close = present.ms.saturating_sub(since) < HELD_MS;
                self.counts.too_old += 1 + u64::from(!sender.burst);
                sender.burst |= close;
            }
            return;
        }
        self.take(side, taken);
    }

    /// After the first stamp of the past: time goes by it, and the clock on the wall shows it.
    fn begin_past(&mut self, stamp: i64, present: Present) {
        if !self.lived && stamp <= present.stamp + AHEAD_S {
            (self.by_stamps, self.lived) = (true, true);
            self.wall(stamp);
        }
    }

    /// Whether a row of a file that is read anew is known, or too old to be.
    fn is_known(&self, side: Side, at: Instant) -> bool {
        let history = self.app.monitor().kept(side);
        let (Some(oldest), Some(newest)) = (history.oldest(), history.newest()) else { return false };
        let near = |kept: Instant| kept.since(at).secs().abs() < SAME_S;
        at <= newest.at()
            && (at < oldest.at().plus(Span::from_secs(SAME_S)) && history.len() >= M::READINGS
                || newest.at().since(at) > Span::from_hours(24)
                || history.iter().any(|kept| near(kept.at())))
    }

    fn take(&mut self, side: Side, taken: &Taken) {
        if let Some(reading) = &taken.reading {
            self.first_row(side, reading.at());
            self.app.reading_of(side, reading);
            self.heard();
        }
        if let Some(stick) = &taken.stick {
            self.app.fingerstick(stick);
            self.heard();
        }
        self.news.push(News::Taken);
    }

    /// Whether this is the first row of a sensor, long after the other's: it was put on while the other is worn, as in a
    /// replay. No table tells it.
    fn is_put_on_later(&self, side: Side, at: Instant) -> bool {
        let [own, other] = [side, side.other()].map(|side| self.senders[side as usize].first);
        own.is_none() && other.is_some_and(|other| at.since(other) >= played::PUT_ON_LATER)
    }

    /// Notes a sensor's first row.
    fn first_row(&mut self, side: Side, at: Instant) {
        if M::SIDES.len() < 2 {
            return;
        }
        let later = self.is_put_on_later(side, at);
        self.senders[side as usize].first.get_or_insert(at);
        if later {
            self.app.sensor_started(side, played::start(at, &self.settings));
            self.heard();
        }
    }

    /// Reads a frame with its end that came from a sensor's input, byte by byte as the wrist does.
    pub fn framed(&mut self, side: Side, bytes: &[u8]) -> Framed {
        let mut told = None;
        for byte in bytes {
            let receiver = &mut self.senders[side as usize].receiver;
            let Some(mut outcome) = receiver.byte(*byte) else { continue };
            let mut of = side;
            // a line that carries both sensors
            if M::SIDES.len() > 1 && outcome == Err(LinkError::Unknown(SECOND_SENSOR)) {
                (of, outcome) = (Side::Second, receiver.of_second());
            }
            match outcome {
                Ok(frame) => told = Some((of, frame)),
                Err(_) => self.counts.broken += 1,
            }
        }
        let Some((of, frame)) = told else {
            return Framed { bytes: bytes.into(), stamp: None, measured: false };
        };
        let stamp = self.stamp_of(of, &frame);
        let own = matches!(frame, Frame::Measurement(_) | Frame::Status(_) | Frame::Start(_));
        match frame {
            Frame::Settings => self.news.push(News::Settings),
            Frame::Start(start) => self.senders[of as usize].start = start.local().instant(),
            _ => {}
        }
        let bytes = if own && of == Side::Second { frame.stuffed_of_second().to_vec() } else { bytes.into() };
        Framed { bytes, stamp, measured: matches!(frame, Frame::Measurement(_) | Frame::Meter(_)) }
    }

    /// Takes a frame.
    pub fn frame(&mut self, framed: &Framed, present: Present) {
        let stamp = framed.stamp.filter(|_| !self.live);
        if let Some(stamp) = stamp {
            self.past(stamp, present);
        }
        for byte in &framed.bytes {
            self.app.byte(*byte);
        }
        self.heard();
        if let Some(stamp) = stamp {
            self.begin_past(stamp, present);
        }
        if framed.measured {
            self.news.push(News::Taken);
        }
    }

    /// When what a frame tells was.
    fn stamp_of(&self, side: Side, frame: &Frame) -> Option<i64> {
        let at = match frame {
            Frame::Time(time) => time.date_time().instant(),
            Frame::Measurement(record) => {
                let start = self.senders[side as usize].start.or_else(|| self.app.session_start_of(side))?;
                record.reading(start, wrist::app::range()).map(|reading| reading.at())
            }
            Frame::Start(_) | Frame::Meter(_) | Frame::Status(_) | Frame::WhichSettings | Frame::Settings => {
                None
            }
        };
        at.map(|at| i64::from(at.secs()))
    }

    /// A sensor's line was cut: what was under way is none.
    pub fn cut(&mut self, side: Side) {
        self.senders[side as usize].receiver = Receiver::new();
        if self.app.byte(0).is_some() {
            self.counts.broken += 1;
        }
    }

    /// A person takes notice; whether there was anything to take notice of.
    pub fn heed(&mut self, press: Press) -> bool {
        let any = self.app.view().is_some_and(|view| !view.alarms().unacknowledged().is_empty());
        if any {
            self.app.press(press);
            self.heard();
        }
        any
    }

    /// Notes what rings, each ring once.
    fn heard(&mut self) {
        let Some(view) = self.app.view() else { return };
        for ring in view.rings().iter() {
            if let Some(before) = self.rang.get_mut(ring.kind as usize)
                && before.replace((ring.at, ring.cause)) != Some((ring.at, ring.cause))
            {
                self.news.push(News::Rang(*ring));
            }
        }
    }
}

fn instant(stamp: i64) -> Option<Instant> {
    u32::try_from(stamp).ok().map(Instant::from_secs)
}

#[cfg(test)]
mod tests {
    use super::*;
    use glidepath::{Glucose, Monitor, PairMonitor, Reading};
    use wrist::app::{PAIR_READINGS, READINGS};

    type One = Watch<Monitor<READINGS>>;
    type Two = Watch<PairMonitor<PAIR_READINGS>>;

    const T0: i64 = 1_800_000_000;

    fn row(stamp: i64, mg_dl: f32) -> Taken {
        let at = instant(stamp).unwrap();
        let reading = Some(Reading::new(at, Glucose::from_mg_dl(mg_dl).unwrap()));
        Taken { at, reading, stick: None }
    }

    /// Present `minute` minutes after T0.
    fn at(minute: i64) -> Present {
        Present { ms: minute.unsigned_abs() * 60_000, stamp: T0 + minute * 60, lead: 0 }
    }

    fn rings<M: Sensors>(watch: &mut Watch<M>) -> Vec<Kind> {
        let news = watch.news().into_iter();
        news.filter_map(|news| if let News::Rang(ring) = news { Some(ring.kind) } else { None }).collect()
    }

    /// Minute by minute from `from` to `to`, a reading every five if there is a value: what rang, and when.
    fn live<M: Sensors>(
        watch: &mut Watch<M>,
        from: i64,
        to: i64,
        value: impl Fn(i64) -> Option<f32>,
    ) -> Vec<(i64, Kind)> {
        let mut rang = Vec::new();
        for minute in from..to {
            for second in 0..60 {
                let mut present = at(minute);
                (present.ms, present.stamp) = (present.ms + second * 1000, present.stamp + second as i64);
                watch.run(present);
            }
            if let Some(value) = value(minute).filter(|_| minute % 5 == 0) {
                watch.row(Side::First, &row(T0 + minute * 60, value), false, at(minute));
            }
            rang.extend(rings(watch).into_iter().map(|kind| (minute, kind)));
        }
        rang
    }

    #[test]
    fn the_past_is_silent_and_what_still_holds_rings_when_the_present_begins() {
        let mut watch = One::new(Settings::default(), 0).unwrap();
        for n in -40..=0 {
            let value = if n >= -3 { 62.0 } else { 120.0 };
            watch.row(Side::First, &row(T0 + n * 300, value), false, at(0));
        }
        watch.begin(at(0));
        assert_eq!(rings(&mut watch), [Kind::Low]);
        assert_eq!(watch.counts().readings, 41);
        assert_eq!(watch.face().figure().unwrap().glucose.whole_mg_dl(), 62);
        // acknowledged it is silent for its quiet time, and rings again then
        assert!(watch.heed(Press::Short));
        let rang = live(&mut watch, 0, 40, |_| Some(62.0));
        assert!(rang.iter().all(|(minute, _)| *minute >= 15) && !rang.is_empty(), "{rang:?}");
    }

    #[test]
    fn silence_rings_and_shows_no_value() {
        let mut watch = One::new(Settings::default(), 0).unwrap();
        watch.row(Side::First, &row(T0, 110.0), false, at(0));
        watch.begin(at(0));
        let rang = live(&mut watch, 1, 60, |_| None);
        assert_eq!(rang.first().map(|(minute, kind)| (*minute, *kind)), Some((20, Kind::NoData)));
        assert!(watch.face().current().is_none());
        // never a reading at all: the same
        let mut blind = One::new(Settings::default(), 0).unwrap();
        blind.begin(at(0));
        let rang = live(&mut blind, 1, 30, |_| None);
        assert_eq!(rang.first().map(|(_, kind)| *kind), Some(Kind::NoData));
    }

    #[test]
    fn old_rows_are_never_the_present() {
        // weeks that end two days ago
        let mut watch = One::new(Settings::default(), 0).unwrap();
        for n in 0..600 {
            watch.row(Side::First, &row(T0 - 4 * 86_400 + n * 300, 45.0), false, at(0));
        }
        watch.begin(at(0));
        assert!(watch.face().current().is_none());
        // a burst of them in the middle of the present
        let mut watch = One::new(Settings::default(), 0).unwrap();
        watch.begin(at(0));
        live(&mut watch, 0, 6, |_| Some(130.0));
        for n in 0..50 {
            watch.row(Side::First, &row(T0 - 4 * 86_400 + n * 300, 45.0), false, at(6));
        }
        let rang = live(&mut watch, 6, 16, |_| Some(130.0));
        assert!(rang.is_empty(), "{rang:?}");
        assert_eq!(watch.counts().too_old, 50);
        assert!((watch.face().current().unwrap().glucose.mg_dl() - 130.0).abs() < 5.0);
        // one sender whose clock is two days behind is heard
        let mut watch = One::new(Settings::default(), 0).unwrap();
        watch.begin(at(0));
        let mut rang = Vec::new();
        for minute in (0..40).step_by(5) {
            rang.extend(live(&mut watch, minute, minute + 5, |_| None));
            watch.row(Side::First, &row(T0 + minute * 60 - 2 * 86_400, 45.0), false, at(minute + 4));
        }
        let first = rang.iter().find(|(_, kind)| *kind == Kind::Floor).map(|(minute, _)| *minute);
        assert!(first.is_some_and(|minute| minute <= 20), "{rang:?}");
    }

    #[test]
    fn of_a_file_read_anew_only_what_is_new_is_taken() {
        let mut watch = One::new(Settings::default(), 0).unwrap();
        let rows: Vec<Taken> = (-30..0).map(|n| row(T0 + n * 300, 120.0 + n as f32)).collect();
        rows.iter()
            .filter(|row| i64::from(row.at.secs()) != T0 - 3000)
            .for_each(|row| watch.row(Side::First, row, false, at(0)));
        watch.begin(at(0));
        assert_eq!(watch.counts().readings, 29);
        // moved by a minute, other values: the same readings; one was missing, one is new
        for row_ in &rows {
            let moved = row(i64::from(row_.at.secs()) - 60, 45.0);
            watch.row(
                Side::First,
                if i64::from(row_.at.secs()) == T0 - 3000 { row_ } else { &moved },
                true,
                at(0),
            );
        }
        watch.row(Side::First, &row(T0, 119.0), true, at(0));
        assert_eq!(watch.counts().readings, 31, "{:?}", watch.counts());
        assert!(!rings(&mut watch).contains(&Kind::Floor));
    }

    #[test]
    fn a_clock_that_is_set_is_taken_and_one_that_runs_a_little_off_is_not() {
        let mut watch = One::new(Settings::default(), 0).unwrap();
        watch.begin(at(0));
        let wall = |watch: &One| {
            let timeline = watch.app().monitor().timeline();
            i64::from(timeline.wall_of(timeline.now()).unwrap().secs())
        };
        let mut ms = 0;
        let mut run = |watch: &mut One, off: i64| {
            for _ in 0..90 {
                ms += 1000;
                watch.run(Present { ms, stamp: T0 + ms as i64 / 1000 + off, lead: 0 });
            }
            (wall(watch) - T0 - ms as i64 / 1000, watch.told.unwrap().1)
        };
        let (off, told) = run(&mut watch, 0);
        assert!(off.abs() <= OFF_S, "{off}");
        // two seconds are not worth telling
        assert_eq!(run(&mut watch, 2), (off, told));
        // set forward by two hours, and back again by one
        for set in [7200, 3600] {
            let (off, told_then) = run(&mut watch, set);
            assert!((off - set).abs() <= OFF_S && told_then > told, "{off} after {set}");
        }
    }

    #[test]
    fn after_a_restore_time_passes_by_the_first_stamp_that_comes() {
        let mut before = One::new(Settings::default(), 0).unwrap();
        for n in -40..=0 {
            before.row(Side::First, &row(T0 + n * 300, 120.0), false, at(0));
        }
        before.begin(at(0));
        let mut after = One::new(Settings::default(), 0).unwrap();
        after.restore(&before.save().unwrap()).unwrap();
        // three hours later the next reading is 25 minutes old: it is past, and silence rings
        let present = |minute: i64| Present { ms: 0, ..at(minute) };
        after.row(Side::First, &row(T0 + 155 * 60, 110.0), false, present(180));
        let count = |watch: &One| watch.app().monitor().timeline().now();
        assert_eq!(count(&after).since(count(&before)).secs() / 60, 155);
        after.begin(present(180));
        assert_eq!(after.face().age.map(|age| age.secs() / 60), Some(25));
        assert!(after.face().current().is_none());
        assert_eq!(rings(&mut after), [Kind::NoData]);
        // so do weeks, after which a stamp alone would be too far ahead to be believed
        for days in [1, 60] {
            let mut after = One::new(Settings::default(), 0).unwrap();
            after.restore(&before.save().unwrap()).unwrap();
            after.row(Side::First, &row(T0 + days * 86_400, 110.0), false, present(days * 1440 + 1));
            after.begin(present(days * 1440 + 1));
            assert_eq!((after.counts().readings, after.counts().refused), (1, 0), "{days}");
            assert_eq!(after.face().age, Some(Span::from_mins(1)), "{days}");
        }
        // with nothing kept there is nothing to go by
        let mut empty = One::new(Settings::default(), 0).unwrap();
        let mut blind = One::new(Settings::default(), 0).unwrap();
        empty.restore(&blind.save().unwrap()).unwrap();
        empty.row(Side::First, &row(T0, 110.0), false, at(1));
        assert_eq!(count(&empty), count(&blind));
    }

    /// A session that began at T0, and a reading so many minutes after that.
    fn frames(minute: u16, mg_dl: f32) -> [Vec<u8>; 2] {
        use glidepath::gatt::{CgmMeasurement, DateTime, SessionStart, Sfloat};
        // T0 is 2027-01-15 08:00:00
        let start = SessionStart::new(DateTime::new((2027, 1, 15), (8, 0, 0)).unwrap());
        let measured = CgmMeasurement::new(Sfloat::nearest(mg_dl), minute);
        [Frame::Start(start), Frame::Measurement(measured)].map(|frame| frame.stuffed().to_vec())
    }

    fn frame(watch: &mut One, bytes: &[u8], present: Present) {
        let framed = watch.framed(Side::First, bytes);
        watch.frame(&framed, present);
    }

    #[test]
    fn a_line_cut_in_the_middle_of_a_frame_loses_that_frame_alone() {
        let mut watch = One::new(Settings::default(), 0).unwrap();
        watch.begin(at(301));
        let [start, half] = frames(301, 200.0);
        frame(&mut watch, &start, at(301));
        watch.cut(Side::First);
        assert_eq!(watch.counts().broken, 0, "nothing was under way");
        frame(&mut watch, &half[..half.len() / 2], at(301));
        watch.cut(Side::First);
        assert_eq!((watch.counts().broken, watch.counts().readings), (1, 0));
        watch.run(at(302));
        watch.news();
        frame(&mut watch, &frames(302, 110.0)[1], at(302));
        assert_eq!((watch.counts().broken, watch.counts().readings), (1, 1));
        assert!(watch.news().contains(&News::Taken));
        assert_eq!(watch.face().figure().unwrap().glucose.whole_mg_dl(), 110);
    }

    #[test]
    fn frames_of_the_past_may_come_newest_first() {
        let mut watch = One::new(Settings::default(), 0).unwrap();
        frame(&mut watch, &frames(0, 0.0)[0], at(200));
        for minute in (0..=200).rev().step_by(5) {
            frame(&mut watch, &frames(minute, 100.0 + f32::from(minute) / 10.0)[1], at(200));
        }
        watch.begin(at(200));
        assert_eq!(rings(&mut watch), []);
        assert_eq!(watch.counts().readings, 41, "{:?}", watch.counts());
        assert_eq!(watch.face().age.map(|age| age.secs() / 60), Some(0));
        assert_eq!(watch.face().figure().unwrap().glucose.whole_mg_dl(), 120);
        let kept: Vec<u32> =
            watch.app().monitor().history().iter().map(|reading| reading.at().secs()).collect();
        assert!(kept.windows(2).all(|pair| pair[1] - pair[0] == 300), "{kept:?}");
    }

    /// How much a value differs from row to row: one that does not is stuck.
    fn moves(n: i64) -> f32 {
        [0.0, 2.0, 3.0, 1.0][n.rem_euclid(4) as usize]
    }

    /// A row of both sensors every five minutes up to now, the second a minute after the first.
    fn of_two(values: impl Fn(i64) -> [Option<f32>; 2], from: i64) -> Two {
        let mut watch = Two::new(Settings::default(), 0).unwrap();
        for n in from..=0 {
            let [first, second] = values(n);
            for (side, value, later) in [(Side::First, first, -60), (Side::Second, second, 0)] {
                if let Some(value) = value {
                    watch.row(side, &row(T0 + n * 300 + later, value), false, at(0));
                }
            }
        }
        watch
    }

    #[test]
    fn of_two_sensors_the_lower_one_rings_and_silence_is_that_of_both() {
        let mut watch = of_two(|n| [Some(120.0), Some(if n >= -3 { 62.0 } else { 116.0 })], -40);
        watch.begin(at(0));
        assert_eq!(rings(&mut watch), [Kind::Low]);
        assert_eq!(watch.counts().readings, 82);
        assert_eq!(watch.face().figure().unwrap().glucose.whole_mg_dl(), 62);
        // the first falls silent, later the second too
        let mut watch = of_two(|n| [Some(120.0 + moves(n)), Some(116.0 + moves(n))], -40);
        watch.begin(at(0));
        let mut rang = Vec::new();
        for minute in 1..80 {
            rang.extend(live(&mut watch, minute, minute + 1, |_| None));
            if minute % 5 == 0 && minute <= 40 {
                let value = 116.0 + moves(minute / 5);
                watch.row(Side::Second, &row(T0 + minute * 60, value), false, at(minute));
                rang.extend(rings(&mut watch).into_iter().map(|kind| (minute, kind)));
            }
            if minute == 40 {
                assert_eq!(watch.face().pair, "only 2nd reads");
            }
        }
        assert_eq!(rang.first(), Some(&(60, Kind::NoData)), "{rang:?}");
    }

    #[test]
    fn a_sensor_put_on_later_is_in_its_first_day_and_one_from_the_start_is_not() {
        use glidepath::quality::Reason;
        let first_day = |begins: i64| {
            let watch = of_two(|n| [Some(120.0), (n >= begins).then_some(116.0)], -100);
            let [first, second] = PairMonitor::<PAIR_READINGS>::each(watch.app().answers().unwrap()).unwrap();
            [first, second].map(|one| one.reasons.contains(Reason::FirstDay))
        };
        // six hours are 72 readings, and the second comes a minute after the first
        assert_eq!(first_day(-28), [false, true]);
        assert_eq!(first_day(-29), [false, false]);
        assert_eq!(first_day(-100), [false, false]);
        // at six hours sharp
        let mut sharp = Two::new(Settings::default(), 0).unwrap();
        sharp.row(Side::First, &row(T0 - 21_600, 120.0), false, at(0));
        sharp.row(Side::Second, &row(T0, 116.0), false, at(0));
        let [_, second] = PairMonitor::<PAIR_READINGS>::each(sharp.app().answers().unwrap()).unwrap();
        assert!(second.reasons.contains(Reason::FirstDay));
        // in the present likewise: it is in its first day, its warm-up is over
        let mut now = of_two(|_| [Some(120.0), None], -100);
        now.begin(at(0));
        now.row(Side::Second, &row(T0, 116.0), false, at(0));
        let [_, second] = PairMonitor::<PAIR_READINGS>::each(now.app().answers().unwrap()).unwrap();
        assert!(second.reasons.contains(Reason::FirstDay) && second.weight > 0.0, "{second:?}");
        // what was its first row is kept
        let before = of_two(|n| [Some(120.0), (n >= -20).then_some(116.0)], -100);
        assert_eq!(before.first_rows(), [T0 - 30_060, T0 - 6000].map(|at| u32::try_from(at).ok()));
        let mut after = Two::new(Settings::default(), 0).unwrap();
        after.set_first_rows(before.first_rows());
        assert_eq!(after.first_rows(), before.first_rows());
    }

    #[test]
    fn what_is_known_of_a_file_read_anew_is_known_of_that_sensor_alone() {
        let mut watch = of_two(|n| [Some(120.0), (n < -10).then_some(116.0)], -40);
        watch.begin(at(0));
        for n in -40..=0 {
            watch.row(Side::Second, &row(T0 + n * 300, 116.0), true, at(0));
        }
        assert_eq!((watch.counts().readings, watch.counts().repeated), (41 + 41, 30), "{:?}", watch.counts());
        assert_eq!(watch.app().monitor().kept(Side::Second).len(), 41);
        assert_eq!(watch.app().monitor().kept(Side::First).len(), 41);
    }

    #[test]
    fn after_a_restore_time_passes_for_both_whichever_reads_first() {
        // the first one reads to the end, ends early, or never reads
        for first_ends in [1, -20, -100] {
            let mut before = of_two(|n| [(n < first_ends).then_some(120.0), Some(116.0)], -40);
            before.begin(at(0));
            let kept = before.save().unwrap();
            for side in Side::BOTH {
                let mut after = Two::new(Settings::default(), 0).unwrap();
                after.restore(&kept).unwrap();
                assert!(after.face().current().is_none());
                let present = |minute: i64| Present { ms: 0, ..at(minute) };
                after.row(side, &row(T0 + 155 * 60, 110.0), false, present(180));
                let passed = i64::from(after.app().monitor().stands().secs()) - T0;
                assert_eq!(passed / 60, 155, "{side:?}");
                after.begin(present(180));
                assert_eq!(after.face().age.map(|age| age.secs() / 60), Some(25), "{side:?}");
                assert_eq!(rings(&mut after), [Kind::NoData]);
            }
        }
    }

    #[test]
    fn what_came_after_the_last_reading_does_not_pass_twice_after_a_restore() {
        let mut before = of_two(|n| [Some(120.0 + moves(n)), Some(116.0 + moves(n))], -40);
        before.begin(at(0));
        let rang = live(&mut before, 1, 31, |_| None);
        assert_eq!(rang.first().map(|(_, kind)| *kind), Some(Kind::NoData));
        let mut after = Two::new(Settings::default(), 0).unwrap();
        after.restore(&before.save().unwrap()).unwrap();
        let present = Present { ms: 0, ..at(180) };
        after.row(Side::Second, &row(T0 + 155 * 60, 110.0), false, present);
        after.begin(present);
        assert_eq!(after.face().age.map(|age| age.secs() / 60), Some(25));
    }

    #[test]
    fn one_that_never_read_beside_one_that_is_new_tells_no_time() {
        let mut before = of_two(|_| [None, Some(116.0)], -40);
        before.begin(at(0));
        before.app.sensor_started(Side::Second, instant(T0).unwrap());
        let mut after = Two::new(Settings::default(), 0).unwrap();
        after.restore(&before.save().unwrap()).unwrap();
        let stands = i64::from(after.app().monitor().stands().secs());
        assert!((T0 - 300..=T0 + 60).contains(&stands), "{}", stands - T0);
    }

    #[test]
    fn frames_go_to_the_sensor_whose_input_brings_them() {
        let mut watch = Two::new(Settings::default(), 0).unwrap();
        watch.begin(at(301));
        let mut send = |side, bytes: &[u8]| {
            let framed = watch.framed(side, bytes);
            watch.frame(&framed, at(301));
        };
        for frame in frames(301, 130.0) {
            send(Side::First, &frame);
        }
        for frame in frames(300, 126.0) {
            send(Side::Second, &frame);
        }
        // a line that carries both says which by itself
        use glidepath::gatt::{CgmMeasurement, Sfloat};
        let measured = Frame::Measurement(CgmMeasurement::new(Sfloat::nearest(125.0), 301));
        send(Side::First, &measured.stuffed_of_second());
        let mut damaged = measured.stuffed();
        damaged[3] ^= 0x10;
        send(Side::Second, &damaged);
        assert_eq!((watch.counts().readings, watch.counts().broken), (3, 1));
        let kept = Side::BOTH.map(|side| {
            let history = watch.app().monitor().kept(side);
            history.iter().map(|reading| reading.glucose().whole_mg_dl()).collect::<Vec<_>>()
        });
        assert_eq!(kept, [vec![130], vec![126, 125]]);
        let starts = Side::BOTH.map(|side| watch.app().session_start_of(side));
        assert_eq!(starts, [instant(T0); 2]);
    }
}
