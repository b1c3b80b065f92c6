//! What a person does about an alarm, and what they are told.

use super::*;

/// The default low rule, the others off.
fn low_only() -> AlarmSettings {
    let mut settings = AlarmSettings::default();
    for kind in Kind::ALL.into_iter().filter(|kind| *kind != Kind::Low) {
        if let Some(rule) = rule_mut(&mut settings, kind) {
            rule.on = false;
        }
    }
    settings
}

#[test]
fn what_holds_is_unheeded_until_acknowledged_or_snoozed() {
    let mut alarms = alarms(everything());
    assert!(alarms.active().is_empty() && alarms.unheeded().is_empty());
    let situation = at(0, 260.0, 3.5);
    let _ = alarms.update(&situation);
    assert!(alarms.active().iter().eq([Kind::High, Kind::SteepRise]));
    assert_eq!(alarms.unheeded(), alarms.active());
    assert!(!alarms.active().is_empty() && !alarms.active().contains(Kind::Low));
    alarms.acknowledge(Kind::High);
    assert!(alarms.unheeded().iter().eq([Kind::SteepRise]));
    alarms.snooze(Kind::SteepRise, Span::from_mins(10));
    assert!(alarms.unheeded().is_empty() && alarms.active().iter().count() == 2);
}

#[test]
fn one_press_acknowledges_all() {
    let mut alarms = alarms(everything());
    let _ = alarms.update(&at(0, 260.0, 3.5));
    alarms.acknowledge_all();
    assert!(alarms.unheeded().is_empty() && !alarms.active().is_empty());
    assert!((1..45).all(|when| alarms.update(&at(when, 260.0, 3.5)).is_empty()));
    assert_eq!(alarms.update(&at(45, 260.0, 3.5)).iter().count(), 2);
}

#[test]
fn a_snooze_lasts_whatever_happens_and_its_end_forgets_nothing() {
    let mut alarms = alarms(low_only());
    assert_eq!(kinds(&alarms.update(&at(0, 65.0, 0.0))), [(Kind::Low, Cause::New)]);
    alarms.snooze(Kind::Low, Span::from_hours(1));
    assert!(alarms.update(&at(10, 90.0, 0.0)).is_empty()); // over, and armed anew
    assert!((20..60).step_by(5).all(|when| alarms.update(&at(when, 65.0, 0.0)).is_empty()));
    assert_eq!(kinds(&alarms.update(&at(60, 65.0, 0.0))), [(Kind::Low, Cause::New)]);
}

#[test]
fn nobody_can_acknowledge_what_never_rang() {
    let mut alarms = alarms(low_only());
    alarms.snooze(Kind::Low, Span::from_mins(10));
    assert!(alarms.update(&at(0, 65.0, 0.0)).is_empty());
    alarms.acknowledge(Kind::Low);
    alarms.acknowledge(Kind::High); // does not hold
    assert_eq!(kinds(&alarms.update(&at(10, 65.0, 0.0))), [(Kind::Low, Cause::New)]);
}

#[test]
fn a_silence_that_runs_out_rings_even_where_nothing_repeats() {
    let mut alarms = alarms(AlarmSettings::default());
    let ahead = |when| at(when, 90.0, -1.0).with_low_ahead(0.4);
    assert_eq!(kinds(&alarms.update(&ahead(0))), [(Kind::LowAhead, Cause::New)]);
    alarms.acknowledge(Kind::LowAhead);
    assert!((1..30).all(|when| alarms.update(&ahead(when)).is_empty()));
    assert_eq!(kinds(&alarms.update(&ahead(30))), [(Kind::LowAhead, Cause::Still)]);
    assert!((31..90).all(|when| alarms.update(&ahead(when)).is_empty()), "once");
}

#[test]
fn a_gap_in_what_is_known_starts_the_delay_over() {
    let mut alarms = alarms(AlarmSettings::default());
    let mut tell = |situation: Situation| kinds(&alarms.update(&situation));
    assert_eq!(tell(at(0, 260.0, 0.0)), []);
    assert_eq!(tell(Situation::at(minute(10))), []);
    assert_eq!(tell(at(16, 260.0, 0.0)), []); // 16 minutes after the first, 0 after the gap
    assert_eq!(tell(at(30, 260.0, 0.0)), []);
    assert_eq!(tell(at(31, 260.0, 0.0)), [(Kind::High, Cause::New)]);
}

#[test]
fn stale_values_ring_nothing_new_but_what_needs_no_value_rings() {
    let mut alarms = alarms(everything());
    let stale = Situation { now: minute(25), ..at(0, 60.0, -4.0) };
    let told = stale.with_low_ahead(1.0).with_wear_left(Span::from_hours(1));
    assert_eq!(kinds(&alarms.update(&told)), [(Kind::NoData, Cause::New), (Kind::WearEnd, Cause::New)]);
    assert!(!alarms.active().contains(Kind::Low));
}

#[test]
fn the_lower_of_sensor_and_estimate_is_believed() {
    for (sensor, estimate, rings) in [(120.0, 54.0, true), (54.0, 120.0, true), (120.0, 120.0, false)] {
        let situation = Situation::at(minute(0))
            .with_sensor(minute(0), Glucose::clamped(sensor))
            .with_plasma(Glucose::clamped(estimate), Rate::clamped(0.0));
        let rung = alarms(low_only()).update(&situation).iter().any(|ring| ring.kind == Kind::Floor);
        assert_eq!(rung, rings, "{sensor} and {estimate}");
    }
}

#[test]
fn other_settings_hold_from_the_next_update() {
    let mut alarms = alarms(low_only());
    assert!(alarms.update(&at(0, 78.0, 0.0)).is_empty());
    let standard = low_only();
    let higher = AlarmSettings { low: Rule { limit: 80.0, ..standard.low }, ..standard };
    alarms.set_plan(AlarmPlan::new(higher).unwrap());
    assert_eq!(kinds(&alarms.update(&at(5, 78.0, 0.0))), [(Kind::Low, Cause::New)]);
}

#[test]
fn every_alarm_has_words_of_its_own() {
    let all = |words: fn(Kind) -> &'static str| {
        let mut seen: Vec<_> = Kind::ALL.into_iter().map(words).filter(|words| !words.is_empty()).collect();
        seen.sort();
        seen.dedup();
        seen.len()
    };
    assert_eq!((all(Kind::name), all(Kind::message)), (9, 9));
    assert!(Kind::Doubt.message().contains("fingerstick"));
    // the words of IEC 60601-1-8
    let priorities = [Priority::Low, Priority::Medium, Priority::High];
    assert_eq!(priorities.map(Priority::name), ["low", "medium", "high"]);
}
