extern crate std;
use super::*;
use crate::trend::Trend;
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
    let before = monitor.tick(Instant::from_secs(last));
    let kept: Vec<_> = monitor.history().iter().collect();
    for (bad, verdict) in [
        (reading(last, 300.0), Verdict::Duplicate),
        (reading(last + 300, 5.0), Verdict::OutOfRange),
        (reading(0, 100.0), Verdict::BadTime),
        (reading(last + 300, 100.0).with_status(Status::Fault), Verdict::Fault),
    ] {
        assert_eq!(monitor.push(&bad).verdict(), Some(verdict));
    }
    let after = monitor.tick(Instant::from_secs(last));
    assert_eq!((before.estimate(), before.newest()), (after.estimate(), after.newest()));
    assert_eq!(kept, monitor.history().iter().collect::<Vec<_>>());
}

#[test]
fn a_late_reading_goes_to_the_history_only() {
    let mut monitor = fresh();
    steady(&mut monitor, 300_000, 10, 110.0);
    let before = monitor.tick(Instant::from_secs(302_700)).estimate();
    let view = monitor.push(&reading(301_000, 250.0));
    assert_eq!(view.verdict(), Some(Verdict::Late));
    assert_eq!(view.estimate(), before);
    assert_eq!(monitor.history().len(), 11);
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
    assert_eq!(monitor.fingerstick(&stick(0, 100.0)), FingerstickOutcome::NoReading);
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
            assert!(view.estimate().is_none() && view.trend() == Trend::NotKnown && !view.sees());
        }
    }
    assert!(rang);
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
            prop_assert!(view.low_ahead_signal().is_none_or(f32::is_finite));
            let times: Vec<_> = monitor.history().iter().map(|r| r.at()).collect();
            prop_assert!(times.windows(2).all(|w| w[0] < w[1]));
        }
    }
}
