//! Each event against each stage's memory: what it changes, and what it must not.

use super::super::chain::{NO_NEWS_WEIGHT, Newest, doubted};
use super::*;
use crate::estimator::Trust;
use crate::quality::Reasons;
use crate::snapshot::{bytes_needed, restore, save};
use std::boxed::Box;
use std::format;
use std::string::String;

/// What each part remembers, as text.
fn memory(monitor: &Monitor<24>) -> [(&'static str, String); 9] {
    let Monitor { history, core } = monitor;
    [
        ("history", format!("{:?}", history.view().iter().collect::<Vec<_>>())),
        ("quality", format!("{:?}", core.chain.quality)),
        ("calibration", format!("{:?}", core.chain.calibration)),
        ("estimator", format!("{:?}", core.chain.estimator)),
        ("sign", format!("{:?}", core.sign)),
        ("forecast", format!("{:?}", core.chain.forecast)),
        ("alarms", format!("{:?}", core.alarms)),
        ("newest", format!("{:?}", core.chain.newest)),
        ("unbelieved", format!("{:?}", core.chain.unbelieved)),
    ]
}

/// What is answered does not matter here.
fn told<T>(_: T) {}

/// The parts that an event changes.
fn changed(before: &Monitor<24>, event: impl Fn(&mut Monitor<24>)) -> Vec<&'static str> {
    let mut after = before.clone();
    event(&mut after);
    let pairs = memory(before).into_iter().zip(memory(&after));
    pairs.filter(|(before, after)| before.1 != after.1).map(|(before, _)| before.0).collect()
}

const LAST: u32 = 300_000 + 23 * 300;

/// Two hours that fall from 160 to 91, a fingerstick in them, a low that rang and was acknowledged before; then a gap in
/// the history, and the wall told.
fn lived() -> Monitor<24> {
    let mut monitor = fresh();
    monitor.sensor_started(Instant::from_secs(100_000));
    for k in (0..24).filter(|k| *k != 10) {
        let _ = monitor.push(&reading(300_000 + k * 300, 160.0 - 3.0 * k as f32 + (k % 2) as f32));
        if k == 8 {
            let at = Instant::from_secs(300_000 + k * 300 + 60);
            let _ = monitor.fingerstick(&Fingerstick::new(at, Glucose::clamped(150.0)));
        }
    }
    let _ = monitor.tick(Instant::from_secs(LAST));
    monitor
}

fn next(mg_dl: f32) -> Reading {
    reading(LAST + 300, mg_dl)
}

#[test]
fn each_event_changes_what_it_should_and_nothing_else() {
    let before = lived();
    let stick = |after: i32, mg_dl| {
        Fingerstick::new(Instant::from_secs(LAST).plus(Span::from_secs(after)), Glucose::clamped(mg_dl))
    };
    let push = |reading: Reading| move |monitor: &mut Monitor<24>| told(monitor.push(&reading));
    type Event<'a> = Box<dyn Fn(&mut Monitor<24>) + 'a>;
    let all_by_reading = &["history", "quality", "estimator", "forecast", "alarms", "newest"][..];
    let stories: [(&str, Event<'_>, &[&str]); 17] = [
        ("a reading that is accepted", Box::new(push(next(89.0))), all_by_reading),
        (
            "one that leaps",
            Box::new(push(next(260.0))),
            &["history", "quality", "estimator", "forecast", "alarms", "unbelieved"],
        ),
        ("one that comes late", Box::new(push(reading(300_000 + 3000, 130.0))), &["history"]),
        ("one that is there already", Box::new(push(reading(LAST, 92.0))), &[]),
        ("one whose time cannot be", Box::new(push(reading(LAST - 600, 300.0))), &[]),
        ("no glucose a sensor can read", Box::new(push(next(3.0))), &["quality", "alarms"]),
        ("a fault", Box::new(push(next(90.0).with_status(Status::Fault))), &["quality", "alarms"]),
        (
            "the sensor's word that it warms up",
            Box::new(push(next(90.0).with_status(Status::WarmUp))),
            &["history", "quality", "alarms", "unbelieved"],
        ),
        (
            "a new sensor",
            Box::new(|monitor| monitor.sensor_started(Instant::from_secs(LAST + 60))),
            &["quality", "calibration", "estimator", "sign", "forecast", "alarms", "newest"],
        ),
        (
            "a fingerstick that is used",
            Box::new(move |monitor| told(monitor.fingerstick(&stick(-60, 110.0)))),
            &["quality", "calibration", "estimator"],
        ),
        ("one of the future", Box::new(move |monitor| told(monitor.fingerstick(&stick(900, 110.0)))), &[]),
        ("one too old", Box::new(move |monitor| told(monitor.fingerstick(&stick(-1200, 110.0)))), &[]),
        ("a tick", Box::new(|monitor| told(monitor.tick(Instant::from_secs(LAST + 60)))), &["alarms"]),
        ("a tick of no known time", Box::new(|monitor| told(monitor.tick(None))), &[]),
        ("a tick set back", Box::new(|monitor| told(monitor.tick(Instant::from_secs(60)))), &[]),
        ("the power back", Box::new(|monitor| monitor.power_returned()), &["sign", "alarms"]),
        (
            "a restart",
            Box::new(|monitor| monitor.restart()),
            &["history", "quality", "calibration", "estimator", "sign", "forecast", "alarms", "newest"],
        ),
    ];
    for (what, event, want) in stories {
        assert_eq!(changed(&before, &event), want, "{what}");
        // and what it leaves is kept over a power cut
        let mut after = before.clone();
        event(&mut after);
        let mut other = fresh();
        restore(&mut other, &saved(&after)).expect(what);
        after.power_returned();
        assert_eq!(saved(&other), saved(&after), "{what}");
    }
}

fn saved(monitor: &Monitor<24>) -> Vec<u8> {
    let mut buffer = [0; bytes_needed(24)];
    let length = save(&mut monitor.clone(), &mut buffer).unwrap();
    buffer[..length].to_vec()
}

/// A low ahead that rang and went is not new again within the hour, though power was cut between.
#[test]
fn a_rest_outlasts_a_power_cut() {
    let course = |k: u32| match k {
        0..23 => 150.0 - 3.4 * k as f32,
        23..28 => 75.0 + 12.0 * (k - 23) as f32,
        _ => (126.0 - 12.0 * (k - 28) as f32).max(72.0),
    };
    let rings = |cut: Option<u32>| {
        let (mut monitor, mut rung) = (fresh(), Vec::new());
        for k in 0..36 {
            let view = monitor.push(&reading(300_000 + k * 300, course(k)));
            if view.rings().iter().any(|ring| ring.kind == Kind::LowAhead) {
                rung.push(k);
            }
            if cut == Some(k) {
                let mut other = fresh();
                restore(&mut other, &saved(&monitor)).unwrap();
                monitor = other;
            }
        }
        rung
    };
    let steady = rings(None);
    assert_eq!(steady, [22, 34]);
    for cut in 0..36 {
        assert_eq!(rings(Some(cut)), steady, "{cut}");
    }
}

/// What a stage keeps is what a fresh one would not know.
#[test]
fn a_new_sensor_begins_with_the_factorys_calibration_and_no_past() {
    let mut monitor = lived();
    monitor.sensor_started(Instant::from_secs(LAST));
    let fresh = fresh();
    assert_eq!(monitor.calibration().counts(), (0, 0));
    let now = Instant::from_secs(LAST);
    assert_eq!(monitor.calibration().gain_and_offset(now), fresh.calibration().gain_and_offset(now));
    assert!(monitor.estimator().estimate(now).is_none() && monitor.smoothed().next().is_none());
    let view = monitor.tick(now);
    assert!(
        view.newest().is_none()
            && view.shown().is_none()
            && !view.is_monitoring()
            && view.trend() == Trend::NotKnown
    );
    assert!(view.reasons().contains(Reason::WarmUp));
    assert_eq!(monitor.wear().map(|wear| wear.worn()), Some(Span::ZERO));
    // warm-up ends with the hour, and readings are taken from then on
    for (minute, verdict) in [(5, Verdict::WarmUp), (59, Verdict::WarmUp), (60, Verdict::Accepted)] {
        assert_eq!(monitor.push(&reading(LAST + minute * 60, 130.0)).verdict(), Some(verdict));
    }
}

#[test]
fn a_clock_that_was_set_moves_the_history_and_restarts_nothing() {
    let mut monitor = lived();
    for minute in 1..=20_u32 {
        let _ = monitor.tick(Instant::from_secs(LAST + minute * 60 - 7200));
        if minute % 5 == 0 {
            let view = monitor.push(&reading(LAST + minute * 60 - 7200, 95.0 + minute as f32 / 5.0));
            let want = [Verdict::BadTime, Verdict::BadTime, Verdict::ClockSet, Verdict::Accepted];
            assert_eq!(view.verdict(), Some(want[minute as usize / 5 - 1]));
            if minute == 15 {
                assert_eq!(view.at(), Instant::from_secs(LAST + 900 - 7200));
                assert_eq!(view.newest().map(|newest| newest.0), Some(view.at()));
                assert_eq!(view.estimate().map(|estimate| estimate.at()), Some(view.at()));
            }
        }
    }
    let newest: Vec<u32> =
        monitor.history().iter().rev().take(2).map(|r| r.at().secs() + 7200 - LAST).collect();
    assert_eq!(newest, [1200, 900]);
    // to the minute: how long the first tick back took is not known
    let moved = monitor.history().iter().any(|reading| reading.at().secs().abs_diff(LAST - 7200) <= 60);
    assert!(moved);
    assert_eq!(monitor.calibration().counts().0, 1, "the calibration is kept");
    assert_eq!(monitor.smoothed().last().map(|point| point.at().secs()), Some(LAST + 1200 - 7200));
}

#[test]
fn a_bad_time_is_not_answered_for_and_its_very_low_value_is_heard_once() {
    let mut monitor = lived();
    let before = monitor.tick(Instant::from_secs(LAST + 60));
    let view = monitor.push(&reading(LAST - 600, 45.0));
    assert_eq!(
        (view.verdict(), view.at(), view.newest()),
        (Some(Verdict::BadTime), before.at(), before.newest())
    );
    let ring = view.rings().first().copied().unwrap();
    assert_eq!((ring.kind, ring.trigger.glucose().map(Glucose::whole_mg_dl)), (Kind::Floor, Some(45)));
    assert!(!monitor.tick(Instant::from_secs(LAST + 120)).alarms().kinds().contains(Kind::Floor));
    // what says nothing of glucose is not heard
    for status in [Status::Fault, Status::WarmUp, Status::AboveRange] {
        let view = lived().push(&reading(LAST - 600, 45.0).with_status(status));
        assert!(view.rings().is_empty(), "{status:?}");
    }
    let view = lived().push(&reading(LAST - 600, 70.0).with_status(Status::BelowRange));
    assert_eq!(view.rings().first().map(|ring| ring.kind), Some(Kind::Floor));
}

#[test]
fn a_reading_of_the_future_is_shown_and_kept_as_of_now() {
    let mut monitor = lived();
    for minute in 1..=5 {
        let _ = monitor.tick(Instant::from_secs(LAST + minute * 60));
    }
    let view = monitor.push(&reading(LAST + 300 + 6 * 3600, 89.0));
    assert_eq!(view.verdict(), Some(Verdict::Accepted));
    assert_eq!((view.age(), view.at()), (Some(Span::ZERO), Instant::from_secs(LAST + 300)));
    assert_eq!(monitor.history().newest().map(|newest| newest.at()), Some(view.at()));
}

#[test]
fn after_the_power_was_away_nothing_is_present_until_a_reading_comes() {
    let mut monitor = lived();
    monitor.power_returned();
    for minute in 0..40_u32 {
        monitor.set_uptime(minute * 60);
        let view = monitor.tick(None);
        assert!(
            view.shown().is_none()
                && view.age().is_none()
                && view.estimate().is_none()
                && !view.is_monitoring()
        );
        assert!(view.newest().is_some(), "what was, and not when");
        assert_eq!(view.rings().iter().any(|ring| ring.kind == Kind::NoData), minute == 20);
    }
    let at = Instant::from_secs(LAST).plus(Span::from_mins(40));
    let refused = monitor.fingerstick(&Fingerstick::new(at, Glucose::clamped(100.0)));
    assert_eq!(refused, FingerstickOutcome::Refused { why: Refusal::NoReading, expected: None });
    let view = monitor.push(&reading(LAST + 2400, 90.0));
    assert_eq!((view.age(), view.verdict()), (Some(Span::ZERO), Some(Verdict::Accepted)));
}

#[test]
fn what_is_shown_is_the_sensors_word_where_it_is_doubted() {
    let shown = |view: View| view.shown().map(|shown| (shown.glucose.whole_mg_dl(), shown.doubted));
    let mut monitor = lived();
    // a leap is shown as what the sensor says, marked
    assert_eq!(shown(monitor.push(&next(260.0))), Some((260, true)));
    // the end of the range is shown as that
    let view = lived().push(&next(40.0).with_status(Status::BelowRange));
    assert!(matches!(view.bound(), Some(Bound::AtMost(end)) if end.whole_mg_dl() == 40));
    assert!(matches!(view.shown(), Some(Shown { bound: Some(Bound::AtMost(_)), .. })));
    assert_eq!(view.rings().first().map(|ring| ring.kind), Some(Kind::Floor));
    let view = lived().push(&next(400.0).with_status(Status::AboveRange));
    assert!(matches!(view.bound(), Some(Bound::AtLeast(_)) | None));
    // and a value too old is not shown at all
    let mut monitor = lived();
    assert!(monitor.tick(Instant::from_secs(LAST + 20 * 60 - 1)).shown().is_some());
    assert!(monitor.tick(Instant::from_secs(LAST + 20 * 60)).shown().is_none());
}

#[test]
fn a_fingerstick_is_paired_within_a_quarter_of_an_hour_and_not_of_the_future() {
    for (after, used) in [(-901, false), (-900, true), (0, true), (120, true), (121, false)] {
        let mut monitor = lived();
        let at = Instant::from_secs(LAST).plus(Span::from_secs(after));
        let outcome = monitor.fingerstick(&Fingerstick::new(at, Glucose::clamped(100.0)));
        assert_eq!(matches!(outcome, FingerstickOutcome::Used { .. }), used, "{after}");
    }
    // a reading of a quarter of an hour ago is the last that one is held against
    for (minutes, used) in [(15, true), (16, false)] {
        let mut monitor = lived();
        let now = Instant::from_secs(LAST + minutes * 60);
        let _ = monitor.tick(now);
        let outcome = monitor.fingerstick(&Fingerstick::new(now, Glucose::clamped(100.0)));
        assert_eq!(matches!(outcome, FingerstickOutcome::Used { .. }), used, "{minutes}");
    }
}

#[test]
fn the_monitor_begins_anew_where_its_count_ends() {
    let mut monitor = fresh();
    let mut leaps = 0_u32;
    while !monitor.timeline().is_at_end() {
        let wall = if leaps.is_multiple_of(2) { 0 } else { u32::MAX };
        monitor.core.chain.timeline.tick(Some(Instant::from_secs(wall)));
        leaps += 1;
    }
    let view = monitor.push(&reading(300_000, 50.0));
    assert!(!monitor.timeline().is_at_end() && view.verdict() == Some(Verdict::Accepted));
    assert_eq!(view.rings().first().map(|ring| ring.kind), Some(Kind::Floor));
}

#[test]
fn a_view_tells_what_the_parts_answer() {
    let mut monitor = fresh();
    for k in 0..24_u32 {
        let _ = monitor.push(&reading(300_000 + k * 300, 348.0 - 12.0 * k as f32));
    }
    let now = Instant::from_secs(LAST);
    let view = monitor.tick(now);
    let (forecast, low) = (monitor.forecast(), Glucose::clamped(70.0));
    assert_eq!(view.direction(), forecast.direction(now));
    assert!(view.direction().unwrap().rate().mg_dl_per_min() < -1.0);
    assert!(matches!(view.trend(), Trend::Falling(_)));
    for (minutes, told) in [
        (15, view.predicted_15min()),
        (30, view.predicted_30min()),
        (45, view.predicted(Span::from_mins(45))),
        (60, view.predicted_60min()),
    ] {
        assert!(told.is_some());
        assert_eq!(told, forecast.at(now, Span::from_mins(minutes)), "{minutes}");
    }
    let half_an_hour = Span::from_mins(30);
    assert_eq!(view.low_probability(), forecast.low_probability(now, low, half_an_hour));
    assert!((0.01..1.0).contains(&view.low_probability().unwrap()));
    assert_eq!(view.low_ahead_signal(), forecast.low_ahead(now));
    assert!((0.01..1.0).contains(&view.low_ahead_signal().unwrap()));
    assert_eq!(view.minutes_to_low(), forecast.minutes_to_fall(now, low, Span::from_hours(1)));
    assert!(view.minutes_to_low().unwrap() > 1.0);
    let glucose = view.estimate().unwrap().glucose();
    assert_eq!(view.calibration_sd(), Some(monitor.calibration().sd(now, glucose)));
    assert!(view.calibration_sd().unwrap() > 1.0);
    assert!(view.is_monitoring());
}

/// The end of the sensor's range is no news where glucose was expected beyond it, and a reading like others elsewhere.
#[test]
fn each_reading_counts_for_what_it_tells() {
    let less = Trust::Reduced(1.0 / NO_NEWS_WEIGHT);
    for (level, value, status, trust) in [
        (45.0, 41.0, Status::BelowRange, Trust::Full),
        (45.0, 49.0, Status::BelowRange, less),
        (45.0, 49.0, Status::Normal, Trust::Full),
        (395.0, 401.0, Status::AboveRange, Trust::Full),
        (395.0, 390.0, Status::AboveRange, less),
        (395.0, 390.0, Status::Normal, Trust::Full),
        (110.0, 113.0, Status::Doubtful, Trust::Reduced(4.0)),
        (110.0, 300.0, Status::Normal, Trust::None),
    ] {
        let mut monitor = fresh();
        steady(&mut monitor, 300_000, 24, level);
        let pushed = next(value).with_status(status);
        let mut apart = monitor.estimator().clone();
        let expected = apart.predict(pushed.at(), monitor.calibration().apply_reading(&pushed)).unwrap();
        let _ = apart.update(&expected, trust);
        let _ = monitor.push(&pushed);
        assert_eq!(format!("{:?}", monitor.estimator()), format!("{apart:?}"), "{value} {status:?}");
    }
}

#[test]
fn a_doubted_value_is_the_sensors_and_a_very_low_one_is_not_lifted() {
    let told = |sensor, calibrated, reasons| {
        let (sensor, calibrated) = (Glucose::clamped(sensor), Glucose::clamped(calibrated));
        let newest = Newest { at: Instant::from_secs(0), sensor, calibrated, status: Status::Normal };
        doubted(newest, None, reasons).map(Glucose::whole_mg_dl)
    };
    for (sensor, calibrated, want) in [
        (55.0, 56.0, Some(55)),
        (50.0, 56.0, Some(50)),
        (50.0, 55.0, None),
        (55.0, 50.0, None),
        (56.0, 60.0, None),
    ] {
        assert_eq!(told(sensor, calibrated, Reasons::default()), want, "{sensor} as {calibrated}");
    }
    // a level of half an hour that loses a quarter: pressure; the value of before counts as nothing
    let mut monitor = fresh();
    steady(&mut monitor, 300_000, 24, 90.0);
    let shown = |view: &View| view.shown().map(|shown| (shown.glucose.whole_mg_dl(), shown.doubted));
    let view = monitor.push(&next(66.0));
    assert!(
        view.reasons().contains(Reason::Pressure)
            && !view.reasons().are_disqualifying()
            && !view.is_monitoring()
    );
    assert_eq!(shown(&view), Some((66, true)));
    // the low alarm waits for as long as it is set to, and no longer
    let low = |view: &View| view.rings().iter().any(|ring| ring.kind == Kind::Low);
    assert!(!low(&view));
    let waits = (1..60).find(|minute| {
        let tick = monitor.tick(Instant::from_secs(LAST + 300 + minute * 60));
        let rings = low(&tick);
        let fifth = minute % 5 == 0;
        rings || fifth && low(&monitor.push(&reading(LAST + 300 + minute * 60, 66.0 - (minute % 2) as f32)))
    });
    assert_eq!(waits, Some(20));
    // and one at the floor does not wait
    let mut monitor = fresh();
    steady(&mut monitor, 300_000, 24, 72.0);
    let view = monitor.push(&next(54.0));
    assert!(view.reasons().contains(Reason::Pressure));
    assert_eq!(view.rings().first().map(|ring| ring.kind), Some(Kind::Floor));
    // a sensor that stands still
    let mut monitor = fresh();
    let views: Vec<_> = (0..24).map(|k| monitor.push(&reading(300_000 + k * 300, 104.0))).collect();
    let view = views.last().unwrap();
    assert!(view.reasons().contains(Reason::Stuck) && !view.reasons().contains(Reason::Pressure));
    assert_eq!(shown(view), Some((104, true)));
}

#[test]
fn after_a_restart_nothing_is_known_of_before() {
    let mut monitor = lived();
    monitor.restart();
    assert!(monitor.history().is_empty());
    let view = monitor.tick(Instant::from_secs(LAST + 60));
    assert!(view.newest().is_none() && view.shown().is_none() && view.age().is_none());
    assert!(view.estimate().is_none() && view.predicted_30min().is_none() && !view.is_monitoring());
    assert_eq!((view.trend(), monitor.calibration().counts()), (Trend::NotKnown, (0, 0)));
    // and the first reading counts as a first one, whatever came before
    let view = monitor.push(&next(200.0));
    assert_eq!((view.verdict(), monitor.history().len()), (Some(Verdict::Accepted), 1));
}

/// Where the end of the range is exactly what was expected it counts in full.
#[test]
fn an_end_of_the_range_that_was_expected_counts_in_full() {
    for (value, status) in [(45.0, Status::BelowRange), (400.0, Status::AboveRange)] {
        let mut monitor = fresh();
        let _ = monitor.push(&reading(LAST, value));
        let mut apart = monitor.estimator().clone();
        let expected = apart.predict(Instant::from_secs(LAST + 300), Glucose::clamped(value)).unwrap();
        assert_eq!(expected.innovation(), Some(0.0));
        let _ = apart.update(&expected, Trust::Full);
        let _ = monitor.push(&next(value).with_status(status));
        assert_eq!(format!("{:?}", monitor.estimator()), format!("{apart:?}"), "{status:?}");
    }
}

/// The first minute from `from` on at which silence rings, told every minute and given `pushed` every five.
fn silence_rings(monitor: &mut Monitor<24>, from: u32, pushed: Option<Status>) -> Option<u32> {
    (0..120).find(|minute| {
        let at = from + minute * 60;
        let mut view = monitor.tick(Instant::from_secs(at));
        if let Some(status) = pushed.filter(|_| minute % 5 == 4) {
            view = monitor.push(&reading(at, 90.0).with_status(status));
        }
        view.rings().iter().any(|ring| ring.kind == Kind::NoData)
    })
}

#[test]
fn a_sensor_that_warms_up_owes_no_readings_and_another_does() {
    assert_eq!(silence_rings(&mut fresh(), LAST, None), Some(20));
    assert_eq!(silence_rings(&mut lived(), LAST, None), Some(20));
    let mut started = lived();
    started.sensor_started(Instant::from_secs(LAST));
    assert_eq!(silence_rings(&mut started, LAST, None), Some(60));
    // its own word, for as long as it holds
    assert_eq!(silence_rings(&mut lived(), LAST, Some(Status::WarmUp)), None);
    assert_eq!(silence_rings(&mut lived(), LAST, Some(Status::Fault)), Some(20));
}

#[test]
fn the_zone_says_which_settings_hold() {
    let day = crate::alarm::AlarmSettings::default();
    let mut plan = AlarmPlan::new(day).unwrap();
    let low = crate::alarm::Rule { limit: Glucose::clamped(80.0), ..day.low };
    let night = plan.add_profile(crate::alarm::AlarmSettings { low, ..day }).unwrap();
    let days = crate::alarm::Weekdays::ALL;
    plan.add_slot(crate::alarm::Slot { days, from: 22 * 60, to: 6 * 60, profile: night }).unwrap();
    // readings from 11:20 UTC on
    for (offset, rings) in [(None, false), (Some(Span::ZERO), false), (Some(Span::from_hours(11)), true)] {
        let mut monitor = fresh();
        monitor.set_alarm_plan(plan);
        monitor.set_utc_offset(offset);
        steady(&mut monitor, 300_000, 3, 76.0);
        assert_eq!(monitor.alarms().active().contains(Kind::Low), rings, "{offset:?}");
    }
}

#[test]
fn what_a_person_does_reaches_the_alarms() {
    let mut monitor = fresh();
    steady(&mut monitor, 300_000, 2, 66.0);
    assert!(monitor.alarms().unacknowledged().contains(Kind::Low));
    let mut snoozed = monitor.clone();
    monitor.acknowledge();
    assert!(
        monitor.alarms().active().contains(Kind::Low)
            && !monitor.alarms().unacknowledged().contains(Kind::Low)
    );
    // half an hour from its ring five minutes ago
    assert_eq!(snoozed.snooze(Kind::Low, Span::from_hours(2)), Span::from_mins(25));
    assert!(!snoozed.alarms().unacknowledged().contains(Kind::Low));
}

#[test]
fn a_late_one_that_is_kept_already_is_told_so() {
    let again = reading(300_000 + 20 * 300, 100.0);
    let mut monitor = lived();
    assert_eq!(monitor.push(&again).verdict(), Some(Verdict::Duplicate));
    let missed = reading(300_000 + 10 * 300, 130.0);
    assert_eq!(monitor.push(&missed).verdict(), Some(Verdict::Late));
    assert_eq!(monitor.push(&missed).verdict(), Some(Verdict::Duplicate));
}
