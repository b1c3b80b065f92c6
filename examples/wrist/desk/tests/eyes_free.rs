//! The face in words and for fingers.

use glidepath::alarm::{Cause, Kind, Priority, Ring, Trigger};
use glidepath::{Glucose, History, Instant, Rate, Span};
use wrist::face::{Bound, Face, Now, Trust, Unheard, Unit};
use wrist::pulses::{self, Motor};
use wrist::words::{Sentence, sentence};

const CLOCK: u32 = 1_800_000_000;

fn glucose(mg_dl: f32) -> Glucose {
    Glucose::from_mg_dl(mg_dl).unwrap()
}

fn ring(kind: Kind, priority: Priority, trigger: Trigger) -> Option<Ring> {
    Some(Ring::new(kind, priority, Cause::New, trigger, Instant::from_secs(CLOCK)))
}

fn now(mg_dl: f32, rate: f32) -> Now {
    Now {
        glucose: glucose(mg_dl),
        bound: None,
        doubted: false,
        rate: Some((Rate::from_mg_dl_per_min(rate).unwrap(), 0.4)),
        soon: None,
        low_in_min: None,
    }
}

/// What is said, and how long the motor turns each time.
fn told(now: Option<Now>, change: impl Fn(&mut Face<'_>)) -> (String, Vec<u16>) {
    let history = History::<1>::new();
    let mut face = Face {
        at: Some(Instant::from_secs(CLOCK)),
        age: Some(Span::from_mins(4)),
        last: now.map(|now| now.glucose),
        now,
        history: history.view(),
        trust: Trust::Good,
        note: "",
        pair: "",
        unheard: None,
        battery_percent: None,
        alert: None,
        unit: Unit::MgDl,
    };
    change(&mut face);
    let turns = pulses::value(&face).iter().copied().step_by(2).collect();
    (sentence(&face).as_str().to_owned(), turns)
}

const SILENT_VALUE: [u16; 1] = [1500];

#[test]
fn a_present_value() {
    let (said, turns) = told(Some(now(104.0, 0.1)), |_| {});
    assert_eq!(said, "104 milligrams, steady, 4 minutes ago.");
    assert_eq!(turns, [400]);
    let (said, turns) = told(Some(Now { low_in_min: Some(14), ..now(83.0, -1.2) }), |_| {});
    assert_eq!(said, "83 milligrams, falls, 4 minutes ago, low in about 14 minutes.");
    assert_eq!(turns, [120, 120, 120, 120, 120, 120, 120, 120, 60, 60, 60, 60]);
    let (said, turns) = told(Some(now(221.6, 2.4)), |face| face.unit = Unit::MmolL);
    assert_eq!(said, "12.3 millimoles, rises fast, 4 minutes ago.");
    let twelve = [400; 12].into_iter().chain([120; 3]).chain([60; 2]);
    assert_eq!(turns, twelve.collect::<Vec<u16>>());
    let (said, turns) = told(Some(Now { bound: Some(Bound::AtMost), rate: None, ..now(40.0, 0.0) }), |_| {});
    assert_eq!(said, "At most 40 milligrams, 4 minutes ago.");
    assert_eq!(turns, [120; 4]);
}

#[test]
fn never_a_value_that_is_not_present() {
    let (said, turns) = told(None, |face| face.age = None);
    assert_eq!(said, "No present value.");
    assert_eq!(turns, SILENT_VALUE);
    let (said, turns) = told(Some(now(104.0, 0.1)), |face| face.age = Some(Span::from_mins(11)));
    assert_eq!(said, "No present value, last one 11 minutes ago.");
    assert_eq!(turns, SILENT_VALUE);
    // after a power cut no value's age is known
    let (said, turns) = told(Some(now(104.0, 0.1)), |face| face.age = None);
    assert_eq!(said, "No present value.");
    assert_eq!(turns, SILENT_VALUE);
}

#[test]
fn a_doubted_value_is_told_as_one() {
    let doubted = Now { doubted: true, rate: None, ..now(55.0, 0.0) };
    let (said, turns) = told(Some(doubted), |face| face.note = "pressed?");
    assert_eq!(said, "Doubted, pressed: 55 milligrams, 4 minutes ago.");
    assert_eq!(turns, [1500, 120, 120, 120, 120, 120]);
}

#[test]
fn an_alarm_tells_the_value_that_caused_it() {
    let say = |trigger, change: fn(&mut Face<'_>)| {
        told(Some(now(104.0, -1.2)), |face| {
            face.alert = ring(Kind::Floor, Priority::High, trigger);
            change(face);
        })
        .0
    };
    let same = |_: &mut Face<'_>| {};
    for (trigger, said) in [
        (Trigger::Sensor(glucose(48.0)), "48 milligrams, falls, 4 minutes ago."),
        (Trigger::Estimate(glucose(49.0)), "49 milligrams, falls, 4 minutes ago."),
        (Trigger::Uncalibrated(glucose(50.0)), "50 milligrams as the sensor read it, falls, 4 minutes ago."),
        (Trigger::BelowRange(glucose(40.0)), "At most 40 milligrams, 4 minutes ago."),
        (Trigger::Unplaced(glucose(45.0)), "Doubted, 45 milligrams, measured nobody knows when."),
        (Trigger::Silence(Span::from_mins(25)), "No present value, silent for 25 minutes."),
        (Trigger::Silence(Span::from_mins(119)), "No present value, silent for 119 minutes."),
        (Trigger::Silence(Span::from_mins(179)), "No present value, silent for 2 hours."),
        (Trigger::Silence(Span::from_hours(49)), "No present value, silent for 2 days."),
        (Trigger::Probability(0.43), "104 milligrams, falls, 4 minutes ago, chance of a low 43 percent."),
        (
            Trigger::WearLeft(Span::from_hours(11)),
            "104 milligrams, falls, 4 minutes ago, it ends in 11 hours.",
        ),
        (
            Trigger::WearLeft(Span::from_mins(61)),
            "104 milligrams, falls, 4 minutes ago, it ends in 61 minutes.",
        ),
        (Trigger::Unknown, "No present value, last one 4 minutes ago."),
    ] {
        assert_eq!(say(trigger, same), format!("Alarm: very low. {said}"), "{trigger:?}");
    }
    // not young enough for the present one, and still what it rings by
    let said = say(Trigger::Sensor(glucose(48.0)), |face| face.age = Some(Span::from_mins(15)));
    assert_eq!(said, "Alarm: very low. No present value, last one 48 milligrams, 15 minutes ago.");
    // doubted, and still at most that
    let said = say(Trigger::BelowRange(glucose(40.0)), |face| {
        face.now = face.now.map(|now| Now { doubted: true, ..now });
    });
    assert_eq!(said, "Alarm: very low. Doubted, at most 40 milligrams, 4 minutes ago.");
    // what is known of one whose time is not: it has just come
    let said = say(Trigger::Unplaced(glucose(45.0)), |face| face.age = None);
    assert_eq!(said, "Alarm: very low. Doubted, 45 milligrams, measured nobody knows when.");
}

/// Why no sensor is listened to is said where no value is, and what to do.
#[test]
fn why_no_sensor_is_listened_to_is_said() {
    let say =
        |unheard, age| told(Some(now(104.0, 0.1)), |face| (face.unheard, face.age) = (Some(unheard), age)).0;
    for (unheard, said) in [
        (Unheard::NoSensor, "no sensor is paired: hold the button 3 seconds at power-on"),
        (Unheard::PairingOpen, "pairing is open"),
        (
            Unheard::PairingFailed,
            "the sensor was refused, pairing failed: hold the button 3 seconds at power-on",
        ),
        (
            Unheard::NoDigits,
            "the sensor was refused, it has no digits to compare: hold the button 12 seconds at power-on",
        ),
        (Unheard::KeyLost, "the sensor was refused, its key is lost: hold the button 6 seconds at power-on"),
        (Unheard::Another, "another sensor is near, if it is new: hold the button 3 seconds at power-on"),
    ] {
        assert_eq!(say(unheard, None), format!("No present value, {said}."));
        let old = say(unheard, Some(Span::from_mins(11)));
        assert_eq!(old, format!("No present value, last one 11 minutes ago, {said}."));
        // a value that is present is told as ever
        assert_eq!(say(unheard, Some(Span::from_mins(4))), "104 milligrams, steady, 4 minutes ago.");
        // with an alarm as well
        let alarm = told(None, |face| {
            face.unheard = Some(unheard);
            face.alert = ring(Kind::NoData, Priority::Medium, Trigger::Silence(Span::from_hours(47)));
        });
        assert!(alarm.0.ends_with(&format!("silent for 47 hours, {said}.")), "{}", alarm.0);
    }
}

#[test]
fn every_alarm_fits_into_a_sentence() {
    let long = Span::from_secs(i32::MAX);
    for kind in Kind::ALL {
        for trigger in [
            Trigger::Uncalibrated(glucose(999.0)),
            Trigger::Probability(1.0),
            Trigger::WearLeft(long),
            Trigger::Silence(long),
            Trigger::Unplaced(glucose(999.0)),
        ] {
            for doubted in [false, true] {
                let longest = Now { low_in_min: Some(u16::MAX), doubted, ..now(999.0, -9.0) };
                let (said, _) = told(Some(longest), |face| {
                    face.alert = ring(kind, Priority::High, trigger);
                    face.note = "warming up";
                });
                assert!(said.starts_with("Alarm: ") && said.ends_with('.'), "{said}");
                assert!(said.len() < Sentence::new().capacity(), "{said}");
            }
        }
    }
}

#[test]
fn the_motor_plays_what_the_pattern_says() {
    let pattern = pulses::alarm(Priority::High);
    assert_eq!(pattern.len(), 20, "ten pulses");
    let start = u32::MAX - 700; // across the wrap of the milliseconds
    let mut motor = Motor::new();
    motor.play(pattern.clone(), start);
    let total: u32 = pattern.iter().map(|ms| u32::from(*ms)).sum();
    let on: u32 = pattern.iter().step_by(2).map(|ms| u32::from(*ms)).sum();
    let turned = (0..total + 1000).filter(|ms| motor.update(start.wrapping_add(*ms))).count();
    assert_eq!(turned, on as usize);
    assert!(!motor.is_busy());
}
