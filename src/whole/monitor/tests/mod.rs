extern crate std;
use super::*;
use crate::quality::{Reason, Verdict};
use crate::reading::Status;
use crate::trend::Trend;
use crate::units::Glucose;
use proptest::prelude::*;
use std::vec::Vec;

fn reading(second: u32, mg_dl: f32) -> Reading {
    Reading::new(Instant::from_secs(second), Glucose::clamped(mg_dl))
}

fn fresh() -> Monitor<24> {
    Monitor::new(Settings::default()).unwrap()
}

fn steady(monitor: &mut Monitor<24>, from: u32, n: u32, mg_dl: f32) {
    for k in 0..n {
        let _ = monitor.push(&reading(from + k * 300, mg_dl + (k % 3) as f32));
    }
}

#[test]
fn a_refused_reading_changes_neither_estimate_nor_history() {
    let mut monitor = fresh();
    steady(&mut monitor, 300_000, 10, 110.0);
    let last = 300_000 + 9 * 300;
    let before = monitor.clone().tick(Instant::from_secs(last + 300));
    let kept: Vec<_> = monitor.history().iter().collect();
    for (bad, verdict) in [
        (reading(last, 110.0), Verdict::Duplicate),
        (reading(last, 300.0), Verdict::BadTime),
        (reading(last + 300, 5.0), Verdict::OutOfRange),
        (reading(0, 100.0), Verdict::BadTime),
        (reading(last + 300, 100.0).with_status(Status::Fault), Verdict::Fault),
    ] {
        assert_eq!(monitor.push(&bad).verdict(), Some(verdict));
    }
    let after = monitor.tick(Instant::from_secs(last + 300));
    assert_eq!((before.estimate(), before.newest()), (after.estimate(), after.newest()));
    assert_eq!(kept, monitor.history().iter().collect::<Vec<_>>());
}

#[test]
fn a_late_reading_goes_to_the_history_only() {
    let mut monitor = fresh();
    steady(&mut monitor, 299_000, 2, 110.0);
    steady(&mut monitor, 301_500, 5, 110.0);
    let before = monitor.tick(Instant::from_secs(302_700)).estimate();
    let view = monitor.push(&reading(300_000, 250.0));
    assert_eq!(view.verdict(), Some(Verdict::Late));
    assert_eq!(view.estimate(), before);
    assert_eq!(monitor.history().len(), 8);
}

#[test]
fn the_floor_rings_at_the_first_believed_reading_under_it() {
    let mut monitor = fresh();
    let mut rang = None;
    for k in 0..30_u32 {
        let value = 140.0 - 4.0 * k as f32;
        let view = monitor.push(&reading(k * 300, value));
        if view.rings().iter().any(|r| r.kind == Kind::Floor) {
            rang = rang.or(Some(value));
        }
    }
    assert!(rang.is_some_and(|value| value >= 52.0), "{rang:?}");
}

#[test]
fn the_end_of_the_range_is_no_rise() {
    let mut monitor = fresh();
    for k in 0..12_u32 {
        let _ = monitor.push(&reading(k * 300, 100.0 - 5.0 * k as f32));
    }
    let mut lowest = 1000.0_f32;
    for k in 12..18_u32 {
        let view = monitor.push(&reading(k * 300, 39.0).with_status(Status::BelowRange));
        lowest = lowest.min(view.estimate().unwrap().glucose().mg_dl());
    }
    assert!(lowest < 40.0, "{lowest}");
}

#[test]
#[cfg_attr(miri, ignore = "too slow")]
fn fingersticks_bring_a_sensor_that_reads_high_down() {
    let mut monitor = fresh();
    let stick =
        |hour: u32, mg_dl| Fingerstick::new(Instant::from_secs(hour * 3600 + 60), Glucose::clamped(mg_dl));
    assert_eq!(
        monitor.fingerstick(&stick(0, 100.0)),
        FingerstickOutcome::Refused { why: Refusal::NoReading, expected: None }
    );
    for hour in 0..48_u32 {
        steady(&mut monitor, hour * 3600, 12, 125.0);
        if hour % 8 == 7 {
            let outcome = monitor.fingerstick(&Fingerstick::new(
                Instant::from_secs(hour * 3600 + 3300 + 60),
                Glucose::clamped(100.0),
            ));
            assert!(matches!(outcome, FingerstickOutcome::Used { fused: true, .. }), "{outcome:?}");
        }
    }
    let now = monitor.tick(Instant::from_secs(48 * 3600 - 300)).estimate().unwrap();
    assert!((now.glucose().mg_dl() - 100.0).abs() < 8.0, "{:?}", now.glucose());
}

#[test]
fn silence_is_told() {
    let mut monitor = fresh();
    steady(&mut monitor, 0, 10, 110.0);
    let mut rang = false;
    for minute in 0..90_u32 {
        let view = monitor.tick(Instant::from_secs(2700 + minute * 60));
        rang |= view.rings().iter().any(|r| r.kind == Kind::NoData);
        if minute > 60 {
            assert!(view.estimate().is_none() && view.trend() == Trend::NotKnown && !view.is_monitoring());
        }
    }
    assert!(rang);
}

fn stick_at(second: u32, mg_dl: f32) -> Fingerstick {
    Fingerstick::new(Instant::from_secs(second), Glucose::clamped(mg_dl))
}

#[test]
fn a_fingerstick_ahead_of_now_or_too_old_is_refused_and_says_so() {
    let mut monitor = fresh();
    steady(&mut monitor, 300_000, 10, 110.0);
    let last = 300_000 + 9 * 300;
    let before = (*monitor.calibration(), monitor.estimator().estimate(Instant::from_secs(last)));
    for (second, why) in [
        (last + 121, Refusal::Ahead),
        (last + 900, Refusal::Ahead),
        (u32::MAX, Refusal::Ahead),
        (last - 901, Refusal::TooOld),
        (0, Refusal::TooOld),
    ] {
        let outcome = monitor.fingerstick(&stick_at(second, 150.0));
        assert_eq!(outcome, FingerstickOutcome::Refused { why, expected: None }, "{second}");
        assert!(!outcome.is_used() && outcome.words().starts_with("not used: "));
    }
    let after = (*monitor.calibration(), monitor.estimator().estimate(Instant::from_secs(last)));
    assert_eq!(before, after);
    // time that passes without readings counts
    let _ = monitor.tick(Instant::from_secs(last + 600));
    assert_eq!(monitor.fingerstick(&stick_at(last + 721, 110.0)).words(), Refusal::Ahead.words());
    assert_eq!(monitor.fingerstick(&stick_at(last - 301, 110.0)).words(), Refusal::TooOld.words());
    let _ = monitor.tick(Instant::from_secs(last + 720));
    assert!(monitor.fingerstick(&stick_at(last + 720, 110.0)).is_used());
    let _ = monitor.tick(Instant::from_secs(last + 1500));
    assert_eq!(monitor.fingerstick(&stick_at(last + 901, 110.0)).words(), Refusal::NoReading.words());
    // and what the calibration refuses comes with what was expected
    let outcome = monitor.fingerstick(&stick_at(last + 700, 110.0));
    assert_eq!(outcome.words(), Refusal::OutOfOrder.words());
    assert!(outcome.expected().is_some());
    let outcome = monitor.fingerstick(&stick_at(last + 730, 700.0));
    assert_eq!(outcome.words(), Refusal::OutOfRange.words());
    assert_eq!(monitor.calibration().counts(), (1, 2));
}

#[test]
fn a_fingerstick_tells_what_was_expected_of_it() {
    let mut monitor = fresh();
    steady(&mut monitor, 300_000, 40, 110.0);
    let last = 300_000 + 39 * 300;
    let estimate = monitor.estimator().estimate(Instant::from_secs(last)).unwrap();
    let calibration = monitor.calibration().sd(Instant::from_secs(last), estimate.glucose());
    let stick = stick_at(last, 150.0);
    let outcome = monitor.fingerstick(&stick);
    let expected = outcome.expected().unwrap();
    assert_eq!(expected.glucose, estimate.glucose());
    // own and calibration, then the meter's 9 mg/dL
    let whole = (estimate.glucose_sd().powi(2) + calibration.powi(2)).sqrt();
    assert!((expected.sd - whole).abs() < 1e-4);
    let z = (150.0 - estimate.glucose().mg_dl()) / (whole * whole + 81.0).sqrt();
    assert!((expected.deviations(&stick) - z).abs() < 1e-4);
    assert_eq!(outcome.words(), "taken in");
    // such a one is no doubt about a sensor that no fingerstick was compared with before
    assert!(z < 2.0 && !monitor.tick(Instant::from_secs(last)).reasons().contains(Reason::Fingersticks));
}

#[test]
fn a_fingerstick_shifts_the_estimate_with_the_calibration_and_tells_quality() {
    let mut monitor = fresh();
    for hour in 0..24_u32 {
        steady(&mut monitor, hour * 3600, 12, 130.0);
        if hour % 6 == 5 {
            let stick = stick_at(hour * 3600 + 3360, 95.0);
            let _ = monitor.tick(stick.at());
            let newest = monitor.core.chain.newest.unwrap();
            let shown = |monitor: &Monitor<24>| monitor.calibration().apply(newest.at, newest.sensor).mg_dl();
            let (before, mut apart) = (shown(&monitor), monitor.estimator().clone());
            let mut soon = *monitor.forecast();
            assert!(monitor.fingerstick(&stick).is_used());
            let after = shown(&monitor);
            apart.shift(after - before);
            soon.shift(after - before);
            assert_eq!(*monitor.forecast(), soon);
            let _ = apart.fingerstick(&stick);
            assert_eq!(monitor.estimator().estimate(stick.at()), apart.estimate(stick.at()));
            assert_eq!(monitor.core.chain.newest.unwrap().calibrated.mg_dl(), after);
            // the first is no evidence yet, the others are
            assert_eq!(hour > 5, before - after > 1.0, "{before} {after}");
        }
    }
    // far off: the sensor is doubted until one agrees
    let now = Instant::from_secs(23 * 3600 + 3480);
    let doubted = |monitor: &mut Monitor<24>| monitor.tick(now).reasons().contains(Reason::Fingersticks);
    assert!(!doubted(&mut monitor));
    let _ = monitor.fingerstick(&stick_at(now.secs(), 400.0));
    assert!(doubted(&mut monitor));
}

#[test]
fn a_sensors_own_below_its_range_is_not_corrected_upward() {
    let mut monitor = fresh();
    for hour in 0..48_u32 {
        steady(&mut monitor, hour * 3600, 12, 110.0);
        if hour % 6 == 5 {
            assert!(monitor.fingerstick(&stick_at(hour * 3600 + 3360, 145.0)).is_used());
        }
    }
    let value = |monitor: &Monitor<24>| monitor.core.chain.newest.unwrap().calibrated.mg_dl();
    let _ = monitor.push(&reading(48 * 3600, 100.0));
    assert!(value(&monitor) > 110.0, "{}", value(&monitor));
    let _ = monitor.push(&reading(48 * 3600 + 300, 98.0).with_status(Status::BelowRange));
    assert_eq!(value(&monitor), 98.0);
}

#[test]
fn a_fingerstick_that_says_what_the_sensor_says_is_held_by_nothing() {
    for (mg_dl, held) in [(48.0, false), (48.1, true)] {
        let mut monitor = fresh();
        for k in 0..12_u32 {
            let _ = monitor.push(&reading(300_000 + k * 300, 59.0 - k as f32));
        }
        let outcome = monitor.fingerstick(&stick_at(300_000 + 3300, mg_dl));
        assert_eq!(outcome.words() != "taken in", held, "{outcome:?}");
        assert!(matches!(outcome, FingerstickOutcome::Used { held: told, .. } if told == held));
    }
}

/// One wrong fingerstick at a true 48, and three alike at a sensor that says 'below its range'.
#[test]
fn wrong_fingersticks_do_not_raise_a_low() {
    for (value, status, sticks) in [(48.0, Status::Normal, 1), (39.0, Status::BelowRange, 3)] {
        let mut monitor = fresh();
        for k in 0..24_u32 {
            let _ = monitor.push(&reading(k * 300, 150.0 - (150.0 - value) * k as f32 / 23.0));
        }
        let mut rang = false;
        let mut highest = 0.0_f32;
        for k in 24..200_u32 {
            let view = monitor.push(&reading(k * 300, value).with_status(status));
            if (k - 24) % 40 == 10 && (k - 24) / 40 < sticks {
                let outcome = monitor.fingerstick(&stick_at(k * 300 + 60, 150.0));
                assert!(matches!(outcome, FingerstickOutcome::Used { held: true, .. }), "{outcome:?}");
                assert!(outcome.words().ends_with("measure again"));
            }
            let now = monitor.tick(Instant::from_secs(k * 300 + 120));
            let shown = now.estimate().unwrap().glucose().mg_dl();
            if k > 30 {
                highest = highest.max(shown);
                assert!(now.newest().unwrap().1.mg_dl() <= value);
                assert!(now.alarms().kinds().contains(Kind::Floor), "{shown} at {k}");
            }
            rang |= view.rings().iter().chain(now.rings().iter()).any(|r| r.kind == Kind::Floor);
        }
        assert!(rang && highest <= 55.0, "{highest}");
    }
}

#[test]
fn readings_and_calibration_begin_anew_with_a_sensor_but_not_with_a_gap() {
    let mut monitor = fresh();
    for hour in 0..24_u32 {
        steady(&mut monitor, hour * 3600, 12, 125.0);
        if hour % 6 == 5 {
            assert!(monitor.fingerstick(&stick_at(hour * 3600 + 3360, 100.0)).is_used());
        }
    }
    assert!(monitor.calibration().is_correcting());
    let now = Instant::from_secs(24 * 3600);
    let shown = monitor.calibration().apply(now, Glucose::clamped(125.0));
    assert!(shown.mg_dl() < 115.0);
    let _ = monitor.tick(now);
    let (gain, offset) = monitor.gain_and_offset();
    assert_eq!((gain, offset), monitor.calibration().gain_and_offset(now));
    assert!(((125.0 - offset) / gain - shown.mg_dl()).abs() < 0.01, "the sensor's value is made so");
    // a gap of a day keeps what was learned
    steady(&mut monitor, 48 * 3600, 12, 125.0);
    assert!(monitor.calibration().is_correcting());
    monitor.sensor_started(Instant::from_secs(50 * 3600));
    assert_eq!(monitor.calibration().counts(), (0, 0));
    assert!(!monitor.calibration().is_correcting());
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(if cfg!(miri) { 2 } else { 64 }))]
    #[test]
    #[cfg_attr(miri, ignore = "too slow")]
    fn answers_stay_finite_and_in_range_whatever_comes(
        events in prop::collection::vec((0_u8..8, -400_i32..4000, 0.0_f32..700.0), 1..120)
    ) {
        let mut monitor = fresh();
        let mut now = Instant::from_secs(1_000_000);
        for (what, span, mg_dl) in events {
            now = now.plus(Span::from_secs(span));
            let glucose = Glucose::clamped(mg_dl);
            let view = match what {
                0 => { let _ = monitor.fingerstick(&Fingerstick::new(now, glucose)); monitor.tick(now) }
                1 => monitor.tick(now),
                2 => monitor.push(&Reading::new(now, glucose).with_status(Status::BelowRange)),
                3 => monitor.push(&Reading::new(now, glucose).with_status(Status::AboveRange)),
                _ => monitor.push(&Reading::new(now, glucose)),
            };
            if let Some(e) = view.estimate() {
                prop_assert!(e.glucose_sd().is_finite() && e.glucose_sd() > 0.0 && e.rate_sd().is_finite());
            }
            if let Some(p) = view.low_probability() {
                prop_assert!((0.0..=1.0).contains(&p));
            }
            let times: Vec<_> = monitor.history().iter().map(|r| r.at()).collect();
            prop_assert!(times.windows(2).all(|w| w[0] < w[1]));
        }
    }
}

mod story;
