//! Every screen against its golden picture, in one bit and in greys. The data are invented.

use glidepath::alarm::{Cause, Kind, Priority, Ring, Trigger};
use glidepath::{Glucose, History, Instant, Rate, Reading, Span};
use wrist::face::{Bound, Expected, Face, Now, Trust, Unheard, Unit};
use wrist::screen::Page;
use wrist_desk::{Display, check};

const CLOCK: u32 = 1_800_000_000;

fn glucose(mg_dl: f32) -> Glucose {
    Glucose::from_mg_dl(mg_dl).unwrap()
}

/// Twelve hours with a meal and a fall at their end.
fn history() -> History<288> {
    let mut history = History::new();
    for i in 0..144 {
        let x = i as f32 / 144.0;
        let meal = 120.0 * (-(x - 0.55_f32).powi(2) / 0.01).exp();
        let wave = 12.0 * (x * 31.0).sin();
        let mg_dl = 108.0 + meal + wave - 70.0 * (x - 0.8).max(0.0);
        let at = Instant::from_secs(CLOCK - 240 - (143 - i) * 300);
        let _ = history.insert(&Reading::new(at, glucose(mg_dl)));
    }
    history
}

fn now() -> Now {
    let expected = |mg_dl, sd_mg_dl| Expected { glucose: glucose(mg_dl), sd_mg_dl };
    Now {
        glucose: glucose(104.0),
        bound: None,
        doubted: false,
        rate: Some((Rate::from_mg_dl_per_min(-1.2).unwrap(), 0.4)),
        soon: Some([expected(84.0, 9.0), expected(76.0, 18.0), expected(72.0, 28.0)]),
        low_in_min: None,
    }
}

fn ring(kind: Kind, priority: Priority, trigger: Trigger) -> Option<Ring> {
    Some(Ring::new(kind, priority, Cause::New, trigger, Instant::from_secs(CLOCK)))
}

/// So many seconds later, and nothing new.
fn later(face: &mut Face<'_>, seconds: u32) {
    face.at = Some(Instant::from_secs(CLOCK + seconds));
    face.age = Some(Span::from_secs(240 + seconds as i32));
}

fn scene(name: &str, change: impl Fn(&mut Face<'_>), page: Page) {
    let history = history();
    let mut face = Face {
        at: Some(Instant::from_secs(CLOCK)),
        age: Some(Span::from_mins(4)),
        last: Some(glucose(104.0)),
        now: Some(now()),
        history: history.view(),
        trust: Trust::Good,
        note: "",
        pair: "",
        unheard: None,
        battery_percent: Some(80),
        alert: None,
        unit: Unit::MgDl,
    };
    change(&mut face);
    let drawn = Display::ALL
        .map(|display| check(&display.draw(&face, page), &format!("{name}-{}", display.name())).err());
    assert_eq!(drawn, [const { None }; 4]);
}

#[test]
fn falling() {
    scene("falling", |_| {}, Page::Now);
}

#[test]
fn steady_in_mmol() {
    let change = |face: &mut Face<'_>| {
        face.unit = Unit::MmolL;
        face.now = Some(Now {
            glucose: glucose(221.6),
            rate: Some((Rate::from_mg_dl_per_min(0.1).unwrap(), 0.2)),
            soon: None,
            ..now()
        });
    };
    scene("steady-mmol", change, Page::Now);
}

#[test]
fn rising_with_a_doubtful_rate() {
    let change = |face: &mut Face<'_>| {
        face.trust = Trust::Poor;
        face.note = "noisy";
        face.battery_percent = Some(10);
        face.now = Some(Now {
            glucose: glucose(187.0),
            rate: Some((Rate::from_mg_dl_per_min(2.2).unwrap(), 1.5)),
            ..now()
        });
    };
    scene("rising-doubtful", change, Page::Now);
}

#[test]
fn low_ahead() {
    let change = |face: &mut Face<'_>| {
        face.now = Some(Now { glucose: glucose(83.0), low_in_min: Some(14), ..now() });
        face.alert = ring(Kind::LowAhead, Priority::Medium, Trigger::Probability(0.43));
    };
    scene("alarm-low-ahead", change, Page::Now);
}

#[test]
fn very_low_escalated() {
    let change = |face: &mut Face<'_>| {
        face.now = Some(Now { glucose: glucose(57.0), ..now() }); // the estimate is not what rings
        face.alert = ring(Kind::Floor, Priority::High, Trigger::Sensor(glucose(48.0)));
    };
    scene("alarm-very-low", change, Page::Past);
}

#[test]
fn alarm_without_a_value() {
    let change = |face: &mut Face<'_>| {
        later(face, 1800);
        face.alert = ring(Kind::NoData, Priority::Medium, Trigger::Silence(Span::from_mins(34)));
    };
    scene("alarm-no-readings", change, Page::Now);
}

#[test]
fn stale() {
    scene("stale", |face| later(face, 1200), Page::Now);
}

/// What the sensor says, hollow and with a word, and no needle.
fn doubted(mg_dl: f32) -> Option<Now> {
    Some(Now { glucose: glucose(mg_dl), doubted: true, rate: None, soon: None, ..now() })
}

#[test]
fn a_value_that_is_doubted() {
    let change = |face: &mut Face<'_>| {
        (face.trust, face.note, face.now) = (Trust::Poor, "pressed?", doubted(55.0));
    };
    scene("doubted", change, Page::Now);
    scene("doubted-past", change, Page::Past);
    let change = |face: &mut Face<'_>| {
        (face.trust, face.note, face.now) = (Trust::None, "check it", doubted(168.0));
    };
    scene("doubted-not-trusted", change, Page::Now);
    let change = |face: &mut Face<'_>| {
        (face.trust, face.note, face.now) = (Trust::Poor, "in doubt", doubted(86.0));
        face.unit = Unit::MmolL;
    };
    scene("doubted-mmol", change, Page::Now);
    let change = |face: &mut Face<'_>| {
        face.note = "in doubt";
        face.now = doubted(40.0).map(|now| Now { bound: Some(Bound::AtMost), ..now });
    };
    scene("doubted-below-range", change, Page::Now);
}

#[test]
fn alarms_by_a_value_that_is_doubted() {
    let change = |face: &mut Face<'_>| {
        (face.trust, face.note, face.now) = (Trust::Poor, "pressed?", doubted(55.0));
        face.alert = ring(Kind::Floor, Priority::High, Trigger::Sensor(glucose(55.0)));
    };
    scene("alarm-doubted", change, Page::Now);
    let change = |face: &mut Face<'_>| {
        (face.trust, face.note, face.now) = (Trust::None, "stuck", doubted(104.0));
        face.alert = ring(Kind::Doubt, Priority::Low, Trigger::Doubt);
    };
    scene("alarm-check", change, Page::Now);
    // nobody can tell when it was measured; what was known before is old
    let change = |face: &mut Face<'_>| {
        later(face, 1800);
        face.note = "what time?";
        face.alert = ring(Kind::Floor, Priority::High, Trigger::Unplaced(glucose(45.0)));
    };
    scene("alarm-unplaced", change, Page::Now);
    let change = |face: &mut Face<'_>| {
        face.now = doubted(22.2 * 18.0156).map(|now| Now { bound: Some(Bound::AtLeast), ..now });
        face.unit = Unit::MmolL;
        face.alert = ring(Kind::High, Priority::Low, Trigger::Sensor(glucose(400.0)));
    };
    scene("alarm-doubted-above-range-mmol", change, Page::Now);
}

#[test]
fn alarms_by_other_values_than_the_present_one() {
    let change = |face: &mut Face<'_>| {
        face.alert = ring(Kind::Floor, Priority::High, Trigger::Uncalibrated(glucose(49.0)));
    };
    scene("alarm-as-read", change, Page::Now);
    let change = |face: &mut Face<'_>| {
        later(face, 600);
        face.alert = ring(Kind::Low, Priority::Medium, Trigger::Sensor(glucose(63.0)));
    };
    scene("alarm-low-was", change, Page::Now);
    let change = |face: &mut Face<'_>| {
        later(face, 1800);
        face.alert = ring(Kind::Floor, Priority::High, Trigger::Unknown);
    };
    scene("alarm-very-low-unknown", change, Page::Now);
    let change = |face: &mut Face<'_>| {
        face.alert = ring(Kind::WearEnd, Priority::Low, Trigger::WearLeft(Span::from_hours(11)));
    };
    scene("alarm-ends-soon", change, Page::Now);
    // blind since it was switched on
    let change = |face: &mut Face<'_>| {
        (face.at, face.age, face.last, face.now) = (None, None, None, None);
        face.alert = ring(Kind::NoData, Priority::Medium, Trigger::Silence(Span::from_mins(20)));
    };
    scene("alarm-blind", change, Page::Now);
    // after a power cut
    scene("power-back", |face| (face.at, face.age, face.now) = (None, None, None), Page::Now);
    let change = |face: &mut Face<'_>| {
        let low = Now { glucose: glucose(40.0), bound: Some(Bound::AtMost), rate: None, soon: None, ..now() };
        face.now = Some(low);
        face.alert = ring(Kind::Floor, Priority::High, Trigger::BelowRange(glucose(40.0)));
    };
    scene("alarm-below-range", change, Page::Now);
}

#[test]
fn below_the_sensors_range() {
    let change = |face: &mut Face<'_>| {
        let low = Now { glucose: glucose(40.0), bound: Some(Bound::AtMost), rate: None, soon: None, ..now() };
        face.now = Some(low);
    };
    scene("below-range", change, Page::Now);
}

#[test]
fn above_the_sensors_range_in_mmol() {
    let change = |face: &mut Face<'_>| {
        face.unit = Unit::MmolL;
        let high =
            Now { glucose: glucose(400.0), bound: Some(Bound::AtLeast), rate: None, soon: None, ..now() };
        face.now = Some(high);
    };
    scene("above-range-mmol", change, Page::Now);
    let rings = |face: &mut Face<'_>| {
        change(face);
        face.alert = ring(Kind::High, Priority::Low, Trigger::Sensor(glucose(400.0)));
    };
    scene("alarm-above-range-mmol", rings, Page::Now);
}

#[test]
fn rises_fast_in_mmol() {
    let change = |face: &mut Face<'_>| {
        face.unit = Unit::MmolL;
        let rate = Some((Rate::from_mg_dl_per_min(2.8).unwrap(), 0.4));
        face.now = Some(Now { glucose: glucose(367.0), rate, ..now() });
        face.alert =
            ring(Kind::SteepRise, Priority::High, Trigger::Rate(Rate::from_mg_dl_per_min(2.8).unwrap()));
    };
    scene("alarm-rises-fast-mmol", change, Page::Now);
}

#[test]
fn low_ahead_from_high_up() {
    let change = |face: &mut Face<'_>| {
        face.trust = Trust::Fair;
        let rate = Some((Rate::from_mg_dl_per_min(-3.2).unwrap(), 0.5));
        face.now = Some(Now { glucose: glucose(148.0), rate, low_in_min: Some(24), ..now() });
    };
    scene("low-in-sight", change, Page::Now);
    let rings = |face: &mut Face<'_>| {
        change(face);
        face.alert = ring(Kind::LowAhead, Priority::High, Trigger::Probability(0.61));
    };
    scene("alarm-low-ahead-early", rings, Page::Now);
}

#[test]
fn stale_in_mmol_after_hours() {
    let change = |face: &mut Face<'_>| {
        face.unit = Unit::MmolL;
        face.note = "warming up";
        later(face, 8400);
    };
    scene("stale-mmol", change, Page::Now);
    // as of one sensor
    let change = |face: &mut Face<'_>| {
        change(face);
        face.pair = "only 1st reads";
    };
    scene("stale-past", change, Page::Past);
}

/// Two sensors, by the value of both.
#[test]
fn two_sensors() {
    for (name, pair) in [
        ("pair-apart", "sensors differ"),
        ("pair-first-off", "1st sensor off"),
        ("pair-second-off", "2nd sensor off"),
        ("pair-only-first", "only 1st reads"),
        ("pair-only-second", "only 2nd reads"),
    ] {
        scene(name, |face| face.pair = pair, Page::Now);
    }
    // together: nothing is told of it, in the picture of one sensor
    scene("falling", |face| face.pair = "", Page::Now);
    // graver things of both stand aside for it; the digits still tell them
    let change = |face: &mut Face<'_>| {
        (face.trust, face.note, face.pair) = (Trust::Poor, "noisy", "sensors differ");
        face.unit = Unit::MmolL;
        later(face, 300);
        face.now = Some(Now { rate: None, soon: None, ..now() });
    };
    scene("pair-apart-noisy-mmol", change, Page::Now);
    // the lower one alone tells a low: what it says, doubted
    let low = |face: &mut Face<'_>| {
        (face.trust, face.note, face.now) = (Trust::Fair, "differs", doubted(64.0));
        face.pair = "sensors differ";
    };
    scene("pair-low-by-one", low, Page::Now);
    scene("pair-low-by-one-past", low, Page::Past);
    let rings = |face: &mut Face<'_>| {
        low(face);
        face.alert = ring(Kind::Low, Priority::Medium, Trigger::Sensor(glucose(64.0)));
    };
    scene("alarm-pair-low-by-one", rings, Page::Now);
    // which one is believed, beside the longest that else is told
    let falls = |face: &mut Face<'_>| {
        (face.unit, face.pair) = (Unit::MmolL, "1st sensor off");
        let rate = Rate::from_mg_dl_per_min(-2.4).unwrap();
        face.now = Some(Now { glucose: glucose(62.0), rate: Some((rate, 0.4)), ..now() });
        face.alert = ring(Kind::Low, Priority::High, Trigger::Estimate(glucose(62.0)));
    };
    scene("alarm-pair-first-off-mmol", falls, Page::Now);
    scene(
        "pair-first-off-mmol-past",
        |face| (face.unit, face.pair) = (Unit::MmolL, "1st sensor off"),
        Page::Past,
    );
    let ahead = |face: &mut Face<'_>| {
        face.pair = "only 2nd reads";
        face.now = Some(Now { glucose: glucose(83.0), low_in_min: Some(14), ..now() });
        face.alert = ring(Kind::LowAhead, Priority::Medium, Trigger::Probability(0.43));
    };
    scene("alarm-pair-only-second", ahead, Page::Now);
    // of no value nothing is told so
    let silent = |face: &mut Face<'_>| {
        later(face, 1800);
        face.pair = "only 1st reads";
        face.alert = ring(Kind::NoData, Priority::Medium, Trigger::Silence(Span::from_mins(34)));
    };
    scene("alarm-no-readings", silent, Page::Now);
    // what is too old is told as of one sensor
    let change = |face: &mut Face<'_>| {
        later(face, 1200);
        face.pair = "only 1st reads";
    };
    scene("stale", change, Page::Now);
}

/// As it is switched on for the first time.
fn begun(face: &mut Face<'_>) {
    (face.at, face.age, face.last, face.now) = (None, None, None, None);
    face.trust = Trust::Fair;
    face.battery_percent = None;
}

#[test]
fn nothing_yet() {
    scene("nothing-yet", begun, Page::Now);
}

/// No sensor is listened to by radio: why, and what to do. The radio's scenarios come to the same pictures.
#[test]
fn no_sensor_is_listened_to() {
    for (name, why) in [
        ("unheard-no-sensor", Unheard::NoSensor),
        ("unheard-pairing-open", Unheard::PairingOpen),
        ("unheard-pairing-failed", Unheard::PairingFailed),
        ("unheard-no-digits", Unheard::NoDigits),
        ("unheard-key-lost", Unheard::KeyLost),
        ("unheard-another", Unheard::Another),
    ] {
        let change = |face: &mut Face<'_>| {
            begun(face);
            face.unheard = Some(why);
        };
        scene(name, change, Page::Now);
    }
    // there were values, and the last one is shown for what it is
    let after = |why| {
        move |face: &mut Face<'_>| {
            later(face, 1200);
            face.unit = Unit::MmolL;
            face.unheard = Some(why);
        }
    };
    scene("unheard-key-lost-after-mmol", after(Unheard::KeyLost), Page::Now);
    scene("unheard-another-after-mmol", after(Unheard::Another), Page::Now);
    let rings = |face: &mut Face<'_>| {
        after(Unheard::KeyLost)(face);
        face.alert = ring(Kind::NoData, Priority::Medium, Trigger::Silence(Span::from_mins(24)));
    };
    scene("alarm-no-readings-key-lost", rings, Page::Now);
    // a value is present still: it keeps its place
    scene("unheard-key-lost-still", |face| face.unheard = Some(Unheard::KeyLost), Page::Now);
}

#[test]
fn past() {
    scene("past", |_| {}, Page::Past);
}
