//! The face in words and for fingers.

use glidepath::alarm::{Kind, Priority};
use glidepath::{Glucose, History, Instant, Rate};
use wrist::face::{Alert, Bound, Face, Now, Trust, Unit};
use wrist::pulses::{self, Motor};
use wrist::words::{Sentence, sentence};

const CLOCK: u32 = 1_800_000_000;

fn now(mg_dl: f32, rate: f32) -> Now {
    Now {
        at: Instant::from_secs(CLOCK - 240),
        glucose: Glucose::from_mg_dl(mg_dl).unwrap(),
        bound: None,
        rate: Some((Rate::from_mg_dl_per_min(rate).unwrap(), 0.4)),
        soon: None,
        low_in_min: None,
    }
}

/// What is said, and how long the motor turns each time.
fn told(now: Option<Now>, change: impl Fn(&mut Face<'_>)) -> (String, Vec<u16>) {
    let history = History::<1>::new();
    let mut face = Face {
        clock: Some(Instant::from_secs(CLOCK)),
        now,
        history: history.view(),
        trust: Trust::Good,
        note: "",
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
    let (said, turns) = told(None, |_| {});
    assert_eq!(said, "No present value.");
    assert_eq!(turns, SILENT_VALUE);
    let (said, turns) =
        told(Some(now(104.0, 0.1)), |face| face.clock = Some(Instant::from_secs(CLOCK + 420)));
    assert_eq!(said, "No present value, last one 11 minutes ago.");
    assert_eq!(turns, SILENT_VALUE);
    let (said, turns) = told(Some(now(104.0, 0.1)), |face| face.trust = Trust::None);
    assert_eq!(said, "No trusted value, last one 4 minutes ago.");
    assert_eq!(turns, SILENT_VALUE);
    // after a power cut the time is not known, and so no value's age
    let (said, turns) = told(Some(now(104.0, 0.1)), |face| face.clock = None);
    assert_eq!(said, "No present value.");
    assert_eq!(turns, SILENT_VALUE);
}

#[test]
fn every_alarm_fits_into_a_sentence() {
    for kind in Kind::ALL {
        let longest = Now { low_in_min: Some(u16::MAX), ..now(999.0, -9.0) };
        let (said, _) = told(Some(longest), |face| {
            face.alert = Some(Alert { kind, priority: Priority::High });
        });
        assert!(said.starts_with("Alarm: ") && said.ends_with("minutes."), "{said}");
        assert!(said.len() < Sentence::new().capacity());
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
