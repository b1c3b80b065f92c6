//! The wrist's application on the desk: what comes in goes to it as a board would bring it, and time passes for it as on
//! a board, by a steady count and a look every second.
//!
//! What lies in the past when the program starts (the rows a file has already, the first burst of a pipe) is lived
//! through at once, the count going by the stamps, and nothing sounds. Then the present begins: the count is the
//! machine's, and what still holds sounds.

use glidepath::alarm::{Cause, Kind, Ring};
use glidepath::snapshot::SnapshotError;
use glidepath::{Instant, Settings, Span};
use wrist::app::App;
use wrist::button::Press;
use wrist::face::{Face, Unit};
use wrist::link::{Frame, Receiver};

use crate::failure::Failure;
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

/// The application and its time.
pub struct Watch {
    app: App,
    receiver: Receiver,
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
    held: Option<(Taken, u64)>,
    burst: bool,
    counts: Counts,
}

impl Watch {
    /// Nothing known yet.
    ///
    /// # Errors
    /// Names the setting that is out of its range.
    pub fn new(settings: Settings, ms: u64) -> Result<Self, Failure> {
        let app = App::new(settings);
        Ok(Self {
            app: app.map_err(|error| Failure::new(format!("the monitor's settings: {error}")))?,
            receiver: Receiver::new(),
            ms: 0,
            passed_ms: ms,
            by_stamps: false,
            lived: false,
            live: false,
            told: None,
            lead: 0,
            rang: [None; Kind::COUNT],
            news: Vec::new(),
            held: None,
            burst: false,
            counts: Counts::default(),
        })
    }

    /// Goes on from a state that was kept.
    ///
    /// # Errors
    /// When it is none of this version.
    pub fn restore(&mut self, kept: &[u8]) -> Result<(), SnapshotError> {
        self.app.restore(kept)?;
        self.by_stamps = !self.app.monitor().history().is_empty();
        Ok(())
    }

    /// All that must outlive this program, as the wrist keeps it.
    ///
    /// # Errors
    /// Never: the room is that of the largest state.
    pub fn save(&mut self) -> Result<Vec<u8>, SnapshotError> {
        let mut buffer = vec![0; wrist::app::KEPT];
        let length = self.app.save(&mut buffer)?;
        buffer.truncate(length);
        Ok(buffer)
    }

    /// The application.
    pub fn app(&self) -> &App {
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
        if let Some((taken, since)) = self.held
            && present.ms.saturating_sub(since) >= HELD_MS
        {
            self.held = None;
            if !std::mem::take(&mut self.burst) {
                self.take(&taken);
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
        let timeline = self.app.monitor().timeline();
        let begin = i64::from(timeline.stamp_of(timeline.now()).secs());
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

    /// Takes a row of a table. Of a file that is read anew, `again`, what is known already is left out.
    pub fn row(&mut self, taken: &Taken, again: bool, present: Present) {
        let stamp = i64::from(taken.at.secs());
        if again && self.is_known(taken.at) {
            self.counts.repeated += 1;
            return;
        }
        if !self.live {
            self.past(stamp, present);
            self.take(taken);
            self.begin_past(stamp, present);
            return;
        }
        if stamp < present.stamp - OLD_S {
            if let Some((_, since)) = self.held.replace((*taken, present.ms)) {
                let close = present.ms.saturating_sub(since) < HELD_MS;
                self.counts.too_old += 1 + u64::from(!self.burst);
                self.burst |= close;
            }
            return;
        }
        self.take(taken);
    }

    /// After the first stamp of the past: time goes by it, and the clock on the wall shows it.
    fn begin_past(&mut self, stamp: i64, present: Present) {
        if !self.lived && stamp <= present.stamp + AHEAD_S {
            (self.by_stamps, self.lived) = (true, true);
            self.wall(stamp);
        }
    }

    /// Whether a row of a file that is read anew is known, or too old to be.
    fn is_known(&self, at: Instant) -> bool {
        let history = self.app.monitor().history();
        let (Some(oldest), Some(newest)) = (history.oldest(), history.newest()) else { return false };
        let near = |kept: Instant| kept.since(at).secs().abs() < SAME_S;
        at <= newest.at()
            && (at < oldest.at().plus(Span::from_secs(SAME_S)) && history.len() >= wrist::app::READINGS
                || newest.at().since(at) > Span::from_hours(24)
                || history.iter().any(|kept| near(kept.at())))
    }

    fn take(&mut self, taken: &Taken) {
        if let Some(reading) = &taken.reading {
            self.app.reading(reading);
            self.heard();
        }
        if let Some(stick) = &taken.stick {
            self.app.fingerstick(stick);
            self.heard();
        }
        self.news.push(News::Taken);
    }

    /// Takes a frame with its end, byte by byte as the wrist does.
    pub fn frame(&mut self, bytes: &[u8], present: Present) {
        let (mut stamp, mut measured) = (None, false);
        for byte in bytes {
            match self.receiver.byte(*byte) {
                Some(Ok(frame)) => {
                    stamp = self.stamp_of(&frame);
                    measured = matches!(frame, Frame::Measurement(_) | Frame::Meter(_));
                    if frame == Frame::Settings {
                        self.news.push(News::Settings);
                    }
                }
                Some(Err(_)) => self.counts.broken += 1,
                None => {}
            }
        }
        if let Some(stamp) = stamp.filter(|_| !self.live) {
            self.past(stamp, present);
        }
        for byte in bytes {
            self.app.byte(*byte);
        }
        self.heard();
        if let Some(stamp) = stamp.filter(|_| !self.live) {
            self.begin_past(stamp, present);
        }
        if measured {
            self.news.push(News::Taken);
        }
    }

    /// When what a frame tells was.
    fn stamp_of(&self, frame: &Frame) -> Option<i64> {
        let at = match frame {
            Frame::Time(time) => time.date_time().instant(),
            Frame::Measurement(record) => {
                let reading = record.reading(self.app.session_start()?, wrist::app::range());
                reading.map(|reading| reading.at())
            }
            Frame::Start(_) | Frame::Meter(_) | Frame::Status(_) | Frame::WhichSettings | Frame::Settings => {
                None
            }
        };
        at.map(|at| i64::from(at.secs()))
    }

    /// The line was cut: what was under way is none.
    pub fn cut(&mut self) {
        self.receiver = Receiver::new();
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
    use glidepath::{Glucose, Reading};

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

    fn rings(watch: &mut Watch) -> Vec<Kind> {
        let news = watch.news().into_iter();
        news.filter_map(|news| if let News::Rang(ring) = news { Some(ring.kind) } else { None }).collect()
    }

    /// Minute by minute from `from` to `to`, a reading every five if there is a value: what rang, and when.
    fn live(watch: &mut Watch, from: i64, to: i64, value: impl Fn(i64) -> Option<f32>) -> Vec<(i64, Kind)> {
        let mut rang = Vec::new();
        for minute in from..to {
            for second in 0..60 {
                let mut present = at(minute);
                (present.ms, present.stamp) = (present.ms + second * 1000, present.stamp + second as i64);
                watch.run(present);
            }
            if let Some(value) = value(minute).filter(|_| minute % 5 == 0) {
                watch.row(&row(T0 + minute * 60, value), false, at(minute));
            }
            rang.extend(rings(watch).into_iter().map(|kind| (minute, kind)));
        }
        rang
    }

    #[test]
    fn the_past_is_silent_and_what_still_holds_rings_when_the_present_begins() {
        let mut watch = Watch::new(Settings::default(), 0).unwrap();
        for n in -40..=0 {
            let value = if n >= -3 { 62.0 } else { 120.0 };
            watch.row(&row(T0 + n * 300, value), false, at(0));
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
        let mut watch = Watch::new(Settings::default(), 0).unwrap();
        watch.row(&row(T0, 110.0), false, at(0));
        watch.begin(at(0));
        let rang = live(&mut watch, 1, 60, |_| None);
        assert_eq!(rang.first().map(|(minute, kind)| (*minute, *kind)), Some((20, Kind::NoData)));
        assert!(watch.face().current().is_none());
        // never a reading at all: the same
        let mut blind = Watch::new(Settings::default(), 0).unwrap();
        blind.begin(at(0));
        let rang = live(&mut blind, 1, 30, |_| None);
        assert_eq!(rang.first().map(|(_, kind)| *kind), Some(Kind::NoData));
    }

    #[test]
    fn old_rows_are_never_the_present() {
        // weeks that end two days ago
        let mut watch = Watch::new(Settings::default(), 0).unwrap();
        for n in 0..600 {
            watch.row(&row(T0 - 4 * 86_400 + n * 300, 45.0), false, at(0));
        }
        watch.begin(at(0));
        assert!(watch.face().current().is_none());
        // a burst of them in the middle of the present
        let mut watch = Watch::new(Settings::default(), 0).unwrap();
        watch.begin(at(0));
        live(&mut watch, 0, 6, |_| Some(130.0));
        for n in 0..50 {
            watch.row(&row(T0 - 4 * 86_400 + n * 300, 45.0), false, at(6));
        }
        let rang = live(&mut watch, 6, 16, |_| Some(130.0));
        assert!(rang.is_empty(), "{rang:?}");
        assert_eq!(watch.counts().too_old, 50);
        assert!((watch.face().current().unwrap().glucose.mg_dl() - 130.0).abs() < 5.0);
        // one sender whose clock is two days behind is heard
        let mut watch = Watch::new(Settings::default(), 0).unwrap();
        watch.begin(at(0));
        let mut rang = Vec::new();
        for minute in (0..40).step_by(5) {
            rang.extend(live(&mut watch, minute, minute + 5, |_| None));
            watch.row(&row(T0 + minute * 60 - 2 * 86_400, 45.0), false, at(minute + 4));
        }
        let first = rang.iter().find(|(_, kind)| *kind == Kind::Floor).map(|(minute, _)| *minute);
        assert!(first.is_some_and(|minute| minute <= 20), "{rang:?}");
    }

    #[test]
    fn of_a_file_read_anew_only_what_is_new_is_taken() {
        let mut watch = Watch::new(Settings::default(), 0).unwrap();
        let rows: Vec<Taken> = (-30..0).map(|n| row(T0 + n * 300, 120.0 + n as f32)).collect();
        rows.iter()
            .filter(|row| i64::from(row.at.secs()) != T0 - 3000)
            .for_each(|row| watch.row(row, false, at(0)));
        watch.begin(at(0));
        assert_eq!(watch.counts().readings, 29);
        // moved by a minute, other values: the same readings; one was missing, one is new
        for row_ in &rows {
            let moved = row(i64::from(row_.at.secs()) - 60, 45.0);
            watch.row(if i64::from(row_.at.secs()) == T0 - 3000 { row_ } else { &moved }, true, at(0));
        }
        watch.row(&row(T0, 119.0), true, at(0));
        assert_eq!(watch.counts().readings, 31, "{:?}", watch.counts());
        assert!(!rings(&mut watch).contains(&Kind::Floor));
    }

    #[test]
    fn a_clock_that_is_set_is_taken_and_one_that_runs_a_little_off_is_not() {
        let mut watch = Watch::new(Settings::default(), 0).unwrap();
        watch.begin(at(0));
        let wall = |watch: &Watch| {
            let timeline = watch.app().monitor().timeline();
            i64::from(timeline.wall_of(timeline.now()).unwrap().secs())
        };
        let mut ms = 0;
        let mut run = |watch: &mut Watch, off: i64| {
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
        let mut before = Watch::new(Settings::default(), 0).unwrap();
        for n in -40..=0 {
            before.row(&row(T0 + n * 300, 120.0), false, at(0));
        }
        before.begin(at(0));
        let mut after = Watch::new(Settings::default(), 0).unwrap();
        after.restore(&before.save().unwrap()).unwrap();
        // three hours later the next reading is 25 minutes old: it is past, and silence rings
        let present = |minute: i64| Present { ms: 0, ..at(minute) };
        after.row(&row(T0 + 155 * 60, 110.0), false, present(180));
        let count = |watch: &Watch| watch.app().monitor().timeline().now();
        assert_eq!(count(&after).since(count(&before)).secs() / 60, 155);
        after.begin(present(180));
        assert_eq!(after.face().age.map(|age| age.secs() / 60), Some(25));
        assert!(after.face().current().is_none());
        assert_eq!(rings(&mut after), [Kind::NoData]);
        // so do weeks, after which a stamp alone would be too far ahead to be believed
        for days in [1, 60] {
            let mut after = Watch::new(Settings::default(), 0).unwrap();
            after.restore(&before.save().unwrap()).unwrap();
            after.row(&row(T0 + days * 86_400, 110.0), false, present(days * 1440 + 1));
            after.begin(present(days * 1440 + 1));
            assert_eq!((after.counts().readings, after.counts().refused), (1, 0), "{days}");
            assert_eq!(after.face().age, Some(Span::from_mins(1)), "{days}");
        }
        // with nothing kept there is nothing to go by
        let mut empty = Watch::new(Settings::default(), 0).unwrap();
        let mut blind = Watch::new(Settings::default(), 0).unwrap();
        empty.restore(&blind.save().unwrap()).unwrap();
        empty.row(&row(T0, 110.0), false, at(1));
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

    #[test]
    fn a_line_cut_in_the_middle_of_a_frame_loses_that_frame_alone() {
        let mut watch = Watch::new(Settings::default(), 0).unwrap();
        watch.begin(at(301));
        let [start, half] = frames(301, 200.0);
        watch.frame(&start, at(301));
        watch.cut();
        assert_eq!(watch.counts().broken, 0, "nothing was under way");
        watch.frame(&half[..half.len() / 2], at(301));
        watch.cut();
        assert_eq!((watch.counts().broken, watch.counts().readings), (1, 0));
        watch.run(at(302));
        watch.news();
        watch.frame(&frames(302, 110.0)[1], at(302));
        assert_eq!((watch.counts().broken, watch.counts().readings), (1, 1));
        assert!(watch.news().contains(&News::Taken));
        assert_eq!(watch.face().figure().unwrap().glucose.whole_mg_dl(), 110);
    }

    #[test]
    fn frames_of_the_past_may_come_newest_first() {
        let mut watch = Watch::new(Settings::default(), 0).unwrap();
        watch.frame(&frames(0, 0.0)[0], at(200));
        for minute in (0..=200).rev().step_by(5) {
            watch.frame(&frames(minute, 100.0 + f32::from(minute) / 10.0)[1], at(200));
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
}
