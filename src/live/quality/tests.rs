extern crate std;
use super::*;
use crate::units::Glucose;

fn reading(minute: u32, mg_dl: f32) -> Reading {
    Reading::new(Instant::from_secs(minute * 60), Glucose::clamped(mg_dl))
}

fn told(z: f32) -> Evidence {
    Evidence { z: Some(z), local: LocalTime::new(0, 180).ok(), ..Evidence::default() }
}

fn quality() -> Quality {
    Quality::new(QualityConfig::default()).unwrap()
}

#[test]
fn a_lone_jump_is_not_taken_in_and_a_second_one_is() {
    let mut quality = quality();
    let zs =
        [(0.1, Verdict::Accepted), (9.5, Verdict::Jump), (9.5, Verdict::Accepted), (0.2, Verdict::Accepted)];
    for (i, (z, verdict)) in (0..).zip(zs) {
        let assessed = quality.assess(&reading(5 * i, 100.0 + z), &told(z));
        assert_eq!(assessed.verdict(), verdict);
        assert_eq!(assessed.weight(), if verdict == Verdict::Jump { 0.0 } else { 1.0 });
    }
}

fn verdicts(hour: Option<u16>, values: &[f32], zs: &[f32]) -> std::vec::Vec<Verdict> {
    let mut quality = quality();
    let evidence = |z| Evidence {
        z: Some(z),
        local: hour.and_then(|h| LocalTime::new(0, h * 60).ok()),
        noise_scale: None,
    };
    let mut tell = |i: u32, value, z| quality.assess(&reading(5 * i, value), &evidence(z)).verdict();
    for i in 0..60 {
        let _ = tell(i, 110.0 + (i % 3) as f32, 0.0);
    }
    (60..)
        .zip(values.iter().zip(zs.iter().chain(core::iter::repeat(&0.0))))
        .map(|(i, (v, z))| tell(i, *v, *z))
        .collect()
}

#[test]
fn pressure_is_suspected_at_night_until_a_rebound_or_for_twenty_minutes() {
    use Verdict::{Accepted, Jump, Pressure};
    let night = Some(3);
    // on it, and off it again
    assert_eq!(
        verdicts(night, &[92.0, 78.0, 72.0, 96.0, 108.0], &[]),
        [Pressure, Pressure, Pressure, Accepted, Accepted]
    );
    // it never comes back: told late, and not held up again
    let low = verdicts(night, &[92.0, 74.0, 70.0, 66.0, 62.0, 60.0, 58.0, 50.0, 44.0], &[]);
    assert_eq!(low.iter().filter(|v| **v == Pressure).count(), 4, "{low:?}");
    assert_eq!(low[4..], [Accepted; 5]);
    // by day it is a fall; at an unknown hour it takes more: 0.12 and 0.17 of 111
    assert_eq!(verdicts(Some(12), &[92.0, 74.0, 66.0], &[]), [Accepted; 3]);
    assert_eq!(verdicts(night, &[97.6], &[]), [Pressure]);
    assert_eq!(verdicts(night, &[97.8], &[]), [Accepted]);
    assert_eq!(verdicts(None, &[92.1], &[]), [Pressure]);
    assert_eq!(verdicts(None, &[92.2], &[]), [Accepted]);
    // a lone wild reading is a jump, whichever way
    assert_eq!(verdicts(night, &[60.0, 111.0, 110.0], &[-9.5]), [Jump, Accepted, Accepted]);
    assert_eq!(verdicts(night, &[60.0, 58.0, 57.0], &[-9.5, -9.5]), [Jump, Accepted, Accepted]);
    // low and normal by turns: the second low one is believed
    assert_eq!(
        verdicts(Some(12), &[45.0, 110.0, 45.0, 110.0], &[-9.5, 0.0, -9.5, 9.5]),
        [Jump, Accepted, Accepted, Jump]
    );
    // not when the first was long ago
    let mut values = std::vec![45.0];
    values.extend([110.0; 4]);
    values.push(45.0);
    assert_eq!(verdicts(Some(12), &values, &[-9.5, 0.0, 0.0, 0.0, 0.0, -9.5])[5], Jump);
}

#[test]
fn equal_readings_are_stuck_unless_at_the_end_of_the_range() {
    let (mut stuck, mut clipped) = (quality(), quality());
    for i in 0..8 {
        let verdict = stuck.assess(&reading(5 * i, 100.2), &told(0.0)).verdict();
        assert_eq!(verdict == Verdict::Stuck, i >= 5, "{i}");
        let low = reading(5 * i, 39.0).with_status(Status::BelowRange);
        assert_eq!(clipped.assess(&low, &told(0.0)).verdict(), Verdict::Accepted);
    }
    assert_eq!(stuck.grade(Instant::from_secs(2100)), Grade::Unusable);
}

#[test]
fn the_sensors_own_word_of_warming_up_ends_by_itself() {
    let mut quality = quality();
    let warming = |minute| reading(minute, 45.0).with_status(Status::WarmUp);
    for minute in (0..240).step_by(5) {
        let verdict = quality.assess(&warming(minute), &told(0.0)).verdict();
        assert_eq!(verdict == Verdict::WarmUp, minute < 120, "{minute}");
        let now = Instant::from_secs(minute * 60);
        assert_eq!(quality.reasons(now).contains(Reason::WarmUp), minute < 120, "{minute}");
    }
}

#[test]
fn a_word_of_warming_up_holds_twenty_minutes_after_it_was_last_heard() {
    let mut quality = quality();
    let _ = quality.assess(&reading(0, 45.0).with_status(Status::WarmUp), &told(0.0));
    for (minute, holds) in [(0, true), (19, true), (20, false)] {
        let now = Instant::from_secs(minute * 60);
        assert_eq!(quality.reasons(now).contains(Reason::WarmUp), holds, "{minute}");
    }
    let _ = quality.assess(&reading(5, 100.0), &told(0.0));
    assert!(!quality.reasons(Instant::from_secs(300)).contains(Reason::WarmUp));
}

#[test]
fn what_begins_anew_forgets_what_it_says_and_keeps_the_rest() {
    let mut before = quality();
    before.sensor_started(Instant::from_secs(0));
    for i in 0..30 {
        let evidence = Evidence { noise_scale: Some(3.0), ..told(0.0) };
        let _ = before.assess(&reading(100 + 5 * i, 100.2), &evidence);
    }
    before.fingerstick(Instant::from_secs(14_700), 5.0);
    let now = Instant::from_secs(14_760);
    let has = |quality: &Quality, reason| quality.reasons(now).contains(reason);
    for (reset, stuck, fingersticks, noise, wear) in [
        (Reset::PowerReturned, true, true, true, true),
        (Reset::NewSensor, false, false, false, false),
        (Reset::Everything, false, false, false, false),
    ] {
        let mut quality = before.clone();
        assert!(has(&quality, Reason::Stuck));
        quality.reset(reset);
        assert_eq!(has(&quality, Reason::Stuck), stuck, "{reset:?}");
        assert_eq!(has(&quality, Reason::Fingersticks), fingersticks, "{reset:?}");
        assert_eq!(has(&quality, Reason::Noise), noise, "{reset:?}");
        assert_eq!(quality.wear(now).is_some(), wear, "{reset:?}");
        let again = quality.admit(&reading(100 + 5 * 29, 100.2));
        assert_eq!(again == Verdict::Duplicate, reset != Reset::Everything);
    }
}

fn at(minute: u32) -> Instant {
    Instant::from_secs(minute * 60)
}

#[test]
fn what_no_sensor_can_mean_is_out_of_range_unless_the_sensor_says_that_it_is_beyond() {
    let config = QualityConfig { least_mg_dl: 30.0, greatest_mg_dl: 400.0, ..QualityConfig::default() };
    let quality = Quality::new(config).unwrap();
    for (value, verdict) in [
        (29.9, Verdict::OutOfRange),
        (30.0, Verdict::Accepted),
        (400.0, Verdict::Accepted),
        (400.1, Verdict::OutOfRange),
    ] {
        assert_eq!(quality.admit(&reading(0, value)), verdict, "{value}");
        let doubtful = reading(0, value).with_status(Status::Doubtful);
        assert_eq!(quality.admit(&doubtful), verdict, "{value}");
    }
    assert_eq!(quality.admit(&reading(0, 29.0).with_status(Status::BelowRange)), Verdict::Accepted);
    assert_eq!(quality.admit(&reading(0, 401.0).with_status(Status::AboveRange)), Verdict::Accepted);
}

#[test]
fn surprise_is_a_mean_square_that_follows_by_a_twelfth_and_of_which_one_reading_is_nine_at_most() {
    // by hand: 1 + (0.25 - 1) / 12, 1 + (9 - 1) / 12, 1 + (4 - 1) / 12
    for (z, want) in [(0.5, 0.9375), (-5.0, 1.666_667), (2.0, 1.25), (f32::NAN, 1.0)] {
        let mut quality = quality();
        let _ = quality.assess(&reading(0, 100.0), &told(z));
        assert!((quality.mean_square_z() - want).abs() < 1e-5, "{z}: {}", quality.mean_square_z());
    }
}

#[test]
fn what_is_refused_does_not_move_the_newest_and_a_warm_up_reading_does() {
    let mut quality = quality();
    let _ = quality.assess(&reading(0, 100.0), &told(0.0));
    let fault = quality.assess(&reading(10, 100.0).with_status(Status::Fault), &told(0.0));
    assert_eq!((fault.verdict(), fault.weight()), (Verdict::Fault, 0.0));
    assert_eq!(quality.assess(&reading(10, 700.0), &told(0.0)).verdict(), Verdict::OutOfRange);
    assert_eq!(quality.assess(&reading(5, 101.0), &told(0.0)).verdict(), Verdict::Accepted);
    let warming = reading(10, 100.0).with_status(Status::WarmUp);
    assert_eq!(quality.assess(&warming, &told(0.0)).verdict(), Verdict::WarmUp);
    assert_eq!(quality.admit(&reading(10, 100.0)), Verdict::Duplicate);
}

#[test]
fn a_gap_is_longer_than_twenty_minutes_is_lost_time_and_counts_for_an_hour() {
    let mut quality = quality();
    quality.sensor_started(at(0));
    let lost = |quality: &Quality, minute| quality.wear(at(minute)).unwrap().lost();
    let gap = |quality: &Quality, secs| quality.reasons(Instant::from_secs(secs)).contains(Reason::Gap);
    for minute in [60, 80] {
        let _ = quality.assess(&reading(minute, 100.0), &told(0.0));
    }
    // while it lasts
    assert!(!gap(&quality, 100 * 60) && gap(&quality, 100 * 60 + 1));
    assert_eq!(lost(&quality, 101), Span::ZERO);
    let _ = quality.assess(&reading(105, 100.0), &told(0.0));
    assert_eq!(lost(&quality, 105), Span::from_mins(25));
    // and after it
    for minute in [125, 145, 160] {
        let _ = quality.assess(&reading(minute, 100.0), &told(0.0));
        assert_eq!(lost(&quality, minute), Span::from_mins(25));
    }
    assert!(gap(&quality, 105 * 60) && gap(&quality, 165 * 60 - 1) && !gap(&quality, 165 * 60));
}

#[test]
fn a_sensor_warms_up_then_has_its_first_day_and_then_its_end() {
    let mut worn = quality();
    let hour = 3600;
    worn.sensor_started(Instant::from_secs(0));
    for (secs, reason) in [
        (0, Some(Reason::WarmUp)),
        (hour - 1, Some(Reason::WarmUp)),
        (hour, Some(Reason::FirstDay)),
        (24 * hour - 1, Some(Reason::FirstDay)),
        (24 * hour, None),
        (240 * hour - 1, None),
        (240 * hour, Some(Reason::PastEnd)),
        (300 * hour, Some(Reason::PastEnd)),
    ] {
        let now = Instant::from_secs(secs);
        let reasons = worn.reasons(now);
        assert!(reasons.iter().eq(reason), "{secs} s: {reasons:?}");
        let warms_up = reason == Some(Reason::WarmUp);
        let verdict = if warms_up { Verdict::WarmUp } else { Verdict::Accepted };
        assert_eq!(worn.admit(&Reading::new(now, Glucose::clamped(100.0))), verdict);
    }
    // whose start nobody knows has none of them
    assert!(quality().reasons(at(30)).is_empty());
}

#[test]
fn wear_tells_what_was_given_lost_and_refused() {
    let mut quality = quality();
    assert_eq!(quality.wear(at(30)), None);
    quality.sensor_started(at(0));
    for (minute, status) in [
        (20, Status::Normal), // it warms up: not counted
        (60, Status::Normal),
        (65, Status::Fault),
        (70, Status::Normal),
        (75, Status::Fault),
        (80, Status::Doubtful),
    ] {
        let _ = quality.assess(&reading(minute, 100.0 + minute as f32).with_status(status), &told(0.0));
    }
    let _ = quality.assess(&reading(85, 700.0), &told(0.0));
    let wear = quality.wear(at(90)).unwrap();
    assert_eq!((wear.readings(), wear.errors()), (3, 3));
    assert_eq!((wear.worn(), wear.lost()), (Span::from_mins(90), Span::from_mins(40)));
    assert_eq!((wear.left(), wear.warm_up_left()), (Span::from_mins(240 * 60 - 90), Span::ZERO));
    assert_eq!(quality.wear(at(20)).unwrap().warm_up_left(), Span::from_mins(40));
    assert_eq!(quality.wear(at(241 * 60)).unwrap().left(), Span::from_hours(-1));
}

#[test]
fn the_weight_goes_with_the_verdict_and_the_sensors_own_doubt() {
    let mut doubted = quality();
    let doubtful = doubted.assess(&reading(0, 100.0).with_status(Status::Doubtful), &told(0.0));
    assert_eq!((doubtful.verdict(), doubtful.weight()), (Verdict::Accepted, DOUBTFUL_WEIGHT));
    assert!(doubtful.reasons().iter().eq([Reason::SensorStatus]) && doubtful.grade() == Grade::Poor);
    let plain = doubted.assess(&reading(5, 104.0), &told(0.0));
    assert_eq!((plain.weight(), plain.reasons()), (1.0, Reasons::default()));
    let mut stuck = quality();
    let weights: std::vec::Vec<f32> =
        (0..8).map(|i| stuck.assess(&reading(5 * i, 100.0), &told(0.0)).weight()).collect();
    assert_eq!(weights, [1.0, 1.0, 1.0, 1.0, 1.0, STUCK_WEIGHT, STUCK_WEIGHT, STUCK_WEIGHT]);
}

#[test]
fn stuck_takes_both_the_count_and_the_time() {
    // six equal values within five minutes are not yet stuck
    let mut quality = quality();
    for minute in 0..30 {
        let assessed = quality.assess(&reading(minute, 100.0), &told(0.0));
        assert_eq!(assessed.verdict() == Verdict::Stuck, minute >= 25, "{minute}");
        assert_eq!(assessed.reasons().contains(Reason::Stuck), minute >= 25, "{minute}");
    }
    // nor are two of them an hour apart
    let mut quality = self::quality();
    for minute in [0, 60] {
        let assessed = quality.assess(&reading(minute, 100.0), &told(0.0));
        assert!(assessed.verdict() == Verdict::Accepted && !assessed.reasons().contains(Reason::Stuck));
    }
}

#[test]
fn a_jump_is_beyond_its_limit_and_not_at_it() {
    for (z, verdict) in [(9.0, Verdict::Accepted), (9.01, Verdict::Jump), (-9.0, Verdict::Accepted)] {
        assert_eq!(quality().assess(&reading(0, 100.0), &told(z)).verdict(), verdict, "{z}");
    }
}

#[test]
fn a_second_sensor_and_fingersticks_are_heard_and_what_is_not_a_number_is_not() {
    let mut quality = quality();
    for minute in [0, 5, 10, 15] {
        quality.second_sensor(at(minute), 3.5);
    }
    assert!(quality.reasons(at(15)).iter().eq([Reason::SecondSensor]));
    assert!(quality.reasons(at(15)).are_disqualifying() && quality.grade(at(15)) == Grade::Poor);
    quality.second_sensor(at(20), f32::NAN);
    assert!(quality.reasons(at(20)).contains(Reason::SecondSensor));
    quality.second_sensor(at(20), 0.0);
    quality.fingerstick(at(20), f32::INFINITY);
    assert!(quality.reasons(at(20)).is_empty());
}

#[test]
fn the_sensors_pressure_is_told_with_the_reading() {
    let mut quality = quality();
    for i in 0..6 {
        assert!(!quality.assess(&reading(5 * i, 110.0), &told(0.0)).pressure_suspected());
    }
    let pressed = quality.assess(&reading(30, 85.0), &told(0.0));
    assert_eq!((pressed.verdict(), pressed.weight()), (Verdict::Pressure, 0.0));
    assert!(pressed.pressure_suspected() && pressed.reasons().contains(Reason::Pressure));
}
