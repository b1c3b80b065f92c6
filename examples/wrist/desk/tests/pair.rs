//! Two sensors worn at once, from frames to what is shown and said. All invented.

use glidepath::alarm::{AlarmPlan, AlarmSettings, Kind};
use glidepath::snapshot::{self, SETTINGS_BYTES};
mod chip;

use glidepath::gatt::{CgmMeasurement, CurrentTime, DateTime, GlucoseMeasurement, SessionStart, Sfloat};
use glidepath::gatt::{Concentration, Sample, SampleLocation, SampleType};
use glidepath::{Agreement, Glucose, Settings, Side, Span};
use wrist::app::{App, PAIR_KEPT, PAIR_READINGS, PairApp, SNOOZE};
use wrist::button::Press;
use wrist::face::Unit;
use wrist::link::{Frame, LinkError, SECOND_SENSOR, stuffed_settings};
use wrist::screen::Page;
use wrist::store::{Store, pair_buffer};
use wrist_desk::stream::{date_time, session, session_at};
use wrist_desk::{Display, blessing, check, golden};

/// Both sessions began at one time, and the first reading comes a day later: no sensor is in its first day.
const FIRST_MIN: u32 = 1445;

fn of(side: Side, frame: &Frame) -> Vec<u8> {
    match side {
        Side::First => frame.stuffed().to_vec(),
        Side::Second => frame.stuffed_of_second().to_vec(),
    }
}

fn read(side: Side, minute: u32, mg_dl: f32) -> Vec<u8> {
    of(side, &Frame::Measurement(CgmMeasurement::new(Sfloat::nearest(mg_dl), minute as u16)))
}

fn told_time(minute: u32) -> Frame {
    Frame::Time(CurrentTime::new(date_time(session_at().plus(Span::from_mins(minute as i32)))))
}

fn stick(at: DateTime, mg_dl: f32) -> Frame {
    let sample = Sample {
        concentration: Concentration::KgPerL(Sfloat::nearest(mg_dl * 1e-5)),
        kind: SampleType::CapillaryWholeBlood,
        location: SampleLocation::Finger,
    };
    Frame::Meter(GlucoseMeasurement::new(1, at, sample))
}

/// Somebody who wears two sensors, lived by the minute.
struct Wearer {
    app: PairApp,
    minute: u32,
    ms: u32,
}

impl Wearer {
    fn new() -> Self {
        let mut wearer = Self { app: PairApp::new(Settings::default()).unwrap(), minute: FIRST_MIN, ms: 0 };
        wearer.app.battery(80);
        wearer.app.tick(0, false);
        wearer.send(&told_time(FIRST_MIN).stuffed());
        for side in Side::BOTH {
            wearer.send(&of(side, &Frame::Start(SessionStart::new(session()))));
        }
        wearer
    }

    fn send(&mut self, bytes: &[u8]) -> Option<Result<Frame, LinkError>> {
        let outcomes: Vec<_> = bytes.iter().filter_map(|byte| self.app.byte(*byte)).collect();
        self.app.tick(self.ms, false);
        outcomes.last().copied()
    }

    fn minutes(&mut self, minutes: u32) {
        for _ in 0..minutes {
            self.minute += 1;
            self.ms += 60_000;
            self.app.tick(self.ms, false);
        }
    }

    /// Five minutes, and what each reads at their end, if it does.
    fn five(&mut self, first: Option<f32>, second: Option<f32>) {
        self.minutes(5);
        for (side, value) in Side::BOTH.into_iter().zip([first, second]) {
            if let Some(mg_dl) = value {
                self.send(&read(side, self.minute, mg_dl));
            }
        }
    }

    fn shown(&self) -> f32 {
        self.app.face().figure().unwrap().glucose.mg_dl()
    }

    fn rings(&self) -> Option<Kind> {
        self.app.face().alert.map(|ring| ring.kind)
    }
}

/// An hour of both, the second a little lower; a wave, so that neither stands still.
fn hour(wearer: &mut Wearer) {
    for k in 0..12 {
        let wave = 118.0 + 6.0 * (k as f32 * 0.9).sin();
        wearer.five(Some(wave + 4.0), Some(wave - 4.0));
    }
}

#[test]
fn two_that_agree_are_one_value_between_them_and_no_words() {
    let mut wearer = Wearer::new();
    hour(&mut wearer);
    let face = wearer.app.face();
    assert_eq!(wearer.app.agreement(), Some(Agreement::Together));
    assert_eq!(face.pair, "");
    let [first, second] = Side::BOTH.map(|side| wearer.app.monitor().history(side));
    assert_eq!((first.len(), second.len()), (12, 12));
    let (high, low) = (first.newest().unwrap().glucose(), second.newest().unwrap().glucose());
    assert!(low.mg_dl() < wearer.shown() && wearer.shown() < high.mg_dl(), "{}", wearer.shown());
    assert_eq!((wearer.app.counts().dropped, wearer.app.counts().kept), (0, 24));
}

#[test]
fn a_sensor_that_is_silent_is_told_and_heard_again() {
    for silent in Side::BOTH {
        let mut wearer = Wearer::new();
        hour(&mut wearer);
        for _ in 0..5 {
            let reads = |side| (side != silent).then_some(118.0);
            wearer.five(reads(Side::First), reads(Side::Second));
        }
        assert_eq!(wearer.app.agreement(), Some(Agreement::Only(silent.other())));
        let face = wearer.app.face();
        assert_eq!(face.pair, ["only 2nd reads", "only 1st reads"][silent as usize]);
        // the readings drawn are those of the one that reads, up to now
        let newest = face.history.newest().unwrap();
        assert_eq!((newest.glucose().mg_dl(), face.at), (118.0, Some(newest.at())));
        assert!(wearer.rings().is_none(), "one of two that is silent is no alarm");
        wearer.minutes(2);
        let face = wearer.app.face();
        assert_eq!(face.at, Some(newest.at().plus(Span::from_mins(2))), "the strip goes on");
        // a fingerstick is taken in by the one that reads
        let at = date_time(session_at().plus(Span::from_mins(wearer.minute as i32)));
        wearer.send(&stick(at, 119.0).stuffed());
        let face = wearer.app.face();
        assert_ne!(face.note, "stick: no");
        assert!(wearer.app.monitor().calibration(silent).counts().0 == 0);
        assert!(wrist::words::sentence(&face).contains(face.pair));
        wearer.five(Some(120.0), Some(114.0));
        assert_eq!(wearer.app.face().pair, "");
        // both: an alarm, and nothing of two
        wearer.minutes(30);
        assert_eq!(wearer.app.agreement(), Some(Agreement::Neither));
        assert_eq!((wearer.app.face().pair, wearer.rings()), ("", Some(Kind::NoData)));
        assert!(wearer.app.face().current().is_none());
    }
}

/// One falls far below the other, whatever the other reads: the lower one's low rings, and is shown.
#[test]
fn the_lower_one_rings() {
    for lower in Side::BOTH {
        let mut wearer = Wearer::new();
        hour(&mut wearer);
        let mut rung = false;
        for k in 0..8 {
            let low = 110.0 - 8.0 * k as f32;
            let value = |side| Some(if side == lower { low } else { 118.0 });
            wearer.five(value(Side::First), value(Side::Second));
            if low <= 70.0 && !rung {
                rung = true;
                let face = wearer.app.face();
                assert_eq!(wearer.rings(), Some(Kind::Low), "{low}");
                assert!((wearer.shown() - low).abs() < 1.0, "{low}: {}", wearer.shown());
                assert!(face.figure().unwrap().doubted, "the other denies it");
                assert!(wrist::words::sentence(&face).starts_with("Alarm: "));
            }
        }
        assert!(rung);
        let told = wearer.app.agreement().unwrap();
        assert!(matches!(told, Agreement::Apart | Agreement::Suspect(_)), "{told:?}");
        assert!(["sensors differ", "1st sensor off", "2nd sensor off"].contains(&wearer.app.face().pair));
        // seen and silenced as any alarm
        assert!(wearer.rings().is_some());
        wearer.app.press(Press::Long);
        wearer.app.tick(wearer.ms, false);
        assert_eq!(wearer.rings(), None);
        wearer.minutes(SNOOZE.secs().unsigned_abs() / 60 + 5);
        assert!(wearer.rings().is_some());
    }
}

/// A wrist of one sensor takes nothing of a second; one of two takes a meter's result from the line alone.
#[test]
fn no_reading_is_taken_for_another_sensors() {
    let mut app = App::new(Settings::default()).unwrap();
    app.tick(0, false);
    let mut send = |bytes: &[u8]| bytes.iter().filter_map(|byte| app.byte(*byte)).last();
    assert!(send(&told_time(FIRST_MIN).stuffed()).unwrap().is_ok());
    assert!(send(&Frame::Start(SessionStart::new(session())).stuffed()).unwrap().is_ok());
    let unknown = Some(Err(LinkError::Unknown(SECOND_SENSOR)));
    assert_eq!(send(&read(Side::Second, FIRST_MIN, 52.0)), unknown);
    assert!(send(&read(Side::First, FIRST_MIN, 118.0)).unwrap().is_ok());
    assert_eq!((app.counts().kept, app.monitor().history().len(), app.agreement()), (1, 1, None));
    assert_eq!((app.face().pair, app.face().alert.is_none()), ("", true));

    let mut wearer = Wearer::new();
    wearer.five(Some(118.0), Some(112.0));
    let at = date_time(session_at().plus(Span::from_mins(wearer.minute as i32)));
    let stick = stick(at, 115.0);
    for frame in [stick, told_time(FIRST_MIN), Frame::WhichSettings] {
        assert_eq!(wearer.send(&of(Side::Second, &frame)), unknown, "{frame:?}");
    }
    let counts = |wearer: &Wearer| Side::BOTH.map(|side| wearer.app.monitor().calibration(side).counts());
    assert_eq!(counts(&wearer), [(0, 0); 2]);
    assert_eq!(wearer.send(&stick.stuffed()), Some(Ok(stick)));
    assert_eq!(counts(&wearer), [(1, 0); 2], "it is for both");
    assert_eq!(wearer.app.face().note, "", "taken in");
    // damaged anywhere, it is nobody's
    let good = read(Side::Second, wearer.minute + 5, 52.0);
    for place in 0..good.len() - 1 {
        let mut bad = good.clone();
        bad[place] ^= 0x11;
        let kept = wearer.app.counts().kept;
        wearer.send(&bad);
        wearer.send(&[0]);
        assert_eq!(wearer.app.counts().kept, kept, "byte {place}");
    }
}

/// A new sensor on one side is no new one on the other.
#[test]
fn each_has_its_own_session() {
    let mut wearer = Wearer::new();
    hour(&mut wearer);
    let later = date_time(session_at().plus(Span::from_mins(wearer.minute as i32)));
    wearer.send(&of(Side::Second, &Frame::Start(SessionStart::new(later))));
    let [first, second] = Side::BOTH.map(|side| wearer.app.monitor().wear(side).unwrap());
    assert!(
        first.worn() > Span::from_hours(24) && second.worn() < Span::from_mins(2),
        "{first:?} {second:?}"
    );
    wearer.minutes(1);
    assert_eq!(wearer.app.face().pair, "only 1st reads");
    assert_eq!(wearer.app.session_start(), Some(session_at()));
    // minutes count from each one's own start
    wearer.minutes(64);
    wearer.send(&read(Side::First, wearer.minute, 121.0));
    wearer.send(&read(Side::Second, 65, 115.0));
    let [first, second] = Side::BOTH.map(|side| wearer.app.monitor().history(side).newest().unwrap());
    assert!(second.at().since(first.at()).secs().abs() < 60 && second.glucose().mg_dl() == 115.0);
    // after a power cut too
    let mut kept = [0; PAIR_KEPT];
    let length = wearer.app.save(&mut kept).unwrap();
    let mut after = Wearer { app: PairApp::new(Settings::default()).unwrap(), minute: wearer.minute, ms: 0 };
    after.app.restore(&kept[..length]).unwrap();
    after.app.tick(0, false);
    after.minutes(5);
    after.send(&read(Side::First, after.minute, 122.0));
    after.send(&read(Side::Second, 70, 116.0));
    let newest = |side| after.app.monitor().history(side).newest().unwrap();
    let (first, second) = (newest(Side::First), newest(Side::Second));
    assert!(second.at().since(first.at()).secs().abs() < 60 && second.glucose().mg_dl() == 116.0);
    assert_eq!(after.app.monitor().wear(Side::Second).unwrap().worn().secs() / 60, 70);
}

/// It goes on with both, and nothing is present before the next reading; with all that fits in a sector of the chip.
#[test]
fn after_a_power_cut_it_goes_on_with_both() {
    let mut wearer = Wearer::new();
    for _ in 0..13 {
        hour(&mut wearer);
    }
    for _ in 0..5 {
        wearer.five(None, Some(64.0));
    }
    assert_eq!(wearer.rings(), Some(Kind::Low));
    wearer.app.press(Press::Short);
    wearer.app.press(Press::Double);
    let mut store = Store::open(chip::Chip::fresh(), 0..chip::SIZE, &mut pair_buffer()).unwrap();
    let mut state = [0; PAIR_KEPT];
    let length = wearer.app.save(&mut state).unwrap();
    assert!(length > 3000, "{length}: all that is kept of both");
    assert!(store.keep(&state[..length], &mut pair_buffer()));
    let mut room = pair_buffer();
    let kept = store.newest(&mut room).unwrap();
    assert_eq!(kept, &state[..length]);
    let mut after = Wearer { app: PairApp::new(Settings::default()).unwrap(), minute: wearer.minute, ms: 0 };
    for cut in 0..length {
        assert!(after.app.restore(&kept[..cut]).is_err(), "{cut}");
        assert_eq!((after.app.session_start(), after.app.face().unit), (None, Unit::MgDl));
    }
    after.app.restore(kept).unwrap();
    after.app.tick(0, false);
    let face = after.app.face();
    assert_eq!((face.unit, face.now, face.at, face.pair), (Unit::MmolL, None, None, ""));
    assert_eq!(Side::BOTH.map(|side| after.app.monitor().history(side).len()), [PAIR_READINGS; 2]);
    assert!(after.rings().is_none(), "seen before the power failed");
    after.five(None, Some(104.0));
    assert_eq!(after.app.face().pair, "only 2nd reads");
    after.five(Some(104.0), Some(104.0));
    let worn = Side::BOTH.map(|side| after.app.monitor().wear(side).unwrap().worn());
    assert!(worn.iter().all(|worn| *worn > Span::from_hours(24)), "{worn:?}");
    // silence rings as ever
    after.minutes(31);
    assert_eq!(after.rings(), Some(Kind::NoData));
    // and a state of one sensor is none of two
    let mut one = App::new(Settings::default()).unwrap();
    assert!(one.restore(&state[..length]).is_err());
}

/// Other settings over the line, kept and in force for both; what was learned and read stays.
#[test]
fn settings_are_of_both() {
    let mut wearer = Wearer::new();
    hour(&mut wearer);
    let mut settings = Settings::default();
    settings.model = settings.model.with_lag(Span::from_mins(8)).unwrap();
    let mut alarms = AlarmSettings::default();
    alarms.low.limit = Glucose::from_mg_dl(90.0).unwrap();
    settings.alarms = AlarmPlan::new(alarms).unwrap();
    let mut message = [0; SETTINGS_BYTES];
    let length = snapshot::save_settings(settings, &mut message).unwrap();
    let outcome = wearer.send(&stuffed_settings(&message[..length]));
    assert_eq!(outcome, Some(Ok(Frame::Settings)));
    let mut store = Store::open(chip::Chip::fresh(), 0..chip::SIZE, &mut pair_buffer()).unwrap();
    let told =
        wrist::settings::keep(&mut wearer.app, Some(&mut store), &mut [0; PAIR_KEPT], &mut pair_buffer());
    assert!(told.unwrap().ends_with(" kept."));
    assert_eq!(Side::BOTH.map(|side| wearer.app.monitor().history(side).len()), [12; 2]);
    assert_eq!(*wearer.app.monitor().alarms().plan(), settings.alarms);
    wearer.five(Some(96.0), Some(88.0));
    wearer.five(Some(95.0), Some(87.0));
    assert_eq!(wearer.rings(), Some(Kind::Low), "by the lower one and the new limit");
}

/// What the Pico's image of two sensors goes through too: the minute, and the frames.
#[test]
fn the_story_of_the_pico() {
    let mut wearer = Wearer::new();
    let mut records = Vec::new();
    let mut feed = |wearer: &mut Wearer, bytes: Vec<u8>| {
        records.extend(((wearer.minute - FIRST_MIN) as u16).to_le_bytes());
        records.push(bytes.len() as u8);
        records.extend(&bytes);
        wearer.send(&bytes);
    };
    feed(&mut wearer, told_time(FIRST_MIN).stuffed().to_vec());
    for side in Side::BOTH {
        feed(&mut wearer, of(side, &Frame::Start(SessionStart::new(session()))));
    }
    for k in 0..8 {
        wearer.minutes(5);
        if k < 3 {
            let bytes = read(Side::First, wearer.minute, 104.0);
            feed(&mut wearer, bytes);
        }
        let bytes = read(Side::Second, wearer.minute, 104.0);
        feed(&mut wearer, bytes);
    }
    assert_eq!(wearer.app.agreement(), Some(Agreement::Only(Side::Second)));
    let path = golden().join("pair.frames");
    if blessing() {
        std::fs::write(&path, &records).unwrap();
    }
    assert!(records == std::fs::read(path).unwrap(), "WRIST_BLESS=1 takes its new story");
    wearer.app.battery(80);
    assert_eq!(check(&Display::Bit.draw(&wearer.app.face(), Page::Now), "pair-story-bit"), Ok(()));
}
