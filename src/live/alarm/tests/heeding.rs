//! What a person does about an alarm, and what they are told.

use super::*;

/// The default low rule, the others off.
fn low_only() -> AlarmSettings {
    let mut settings = AlarmSettings::default();
    for kind in Kind::ALL.into_iter().filter(|kind| *kind != Kind::Low) {
        change(&mut settings, kind, |rule| rule.on = false);
    }
    settings
}

#[test]
fn what_holds_is_unacknowledged_until_acknowledged_or_snoozed() {
    let mut alarms = alarms(everything());
    assert!(alarms.active().is_empty() && alarms.unacknowledged().is_empty());
    let situation = at(0, 260.0, 3.5);
    let _ = alarms.update(&situation);
    assert!(alarms.active().iter().eq([Kind::High, Kind::SteepRise]));
    assert_eq!(alarms.unacknowledged(), alarms.active());
    assert!(!alarms.active().is_empty() && !alarms.active().contains(Kind::Low));
    alarms.acknowledge(Kind::High);
    assert!(alarms.unacknowledged().iter().eq([Kind::SteepRise]));
    alarms.snooze(Kind::SteepRise, Span::from_mins(10));
    assert!(alarms.unacknowledged().is_empty() && alarms.active().iter().count() == 2);
}

#[test]
fn one_press_acknowledges_all() {
    let mut alarms = alarms(everything());
    let _ = alarms.update(&at(0, 260.0, 3.5));
    alarms.acknowledge_all();
    assert!(alarms.unacknowledged().is_empty() && !alarms.active().is_empty());
    assert!((1..45).all(|when| alarms.update(&at(when, 260.0, 3.5)).rings().is_empty()));
    assert_eq!(alarms.update(&at(45, 260.0, 3.5)).rings().iter().count(), 2);
}

#[test]
fn a_snooze_outlasts_an_end_and_its_own_end_forgets_nothing() {
    let mut alarms = alarms(low_only());
    assert_eq!(kinds(&alarms.update(&at(0, 65.0, 0.0))), [(Kind::Low, Cause::New)]);
    assert_eq!(alarms.snooze(Kind::Low, Span::from_hours(1)), LOW_QUIET);
    assert!(alarms.update(&at(5, 90.0, 0.0)).rings().is_empty()); // over, and armed anew
    assert!((10..30).step_by(5).all(|when| alarms.update(&at(when, 65.0, 0.0)).rings().is_empty()));
    assert_eq!(kinds(&alarms.update(&at(30, 65.0, 0.0))), [(Kind::Low, Cause::New)]);
}

#[test]
fn ten_under_where_notice_was_taken_rings_anew_and_nine_do_not() {
    for acknowledged in [true, false] {
        for (start, kind) in [(54.0, Kind::Floor), (69.0, Kind::Low)] {
            let mut alarms = alarms(AlarmSettings::default());
            assert_eq!(kinds(&alarms.update(&at(0, start, 0.0))), [(kind, Cause::New)]);
            if acknowledged {
                alarms.acknowledge_all();
            } else {
                alarms.snooze(Kind::Floor, FLOOR_QUIET);
                alarms.snooze(Kind::Low, LOW_QUIET);
            }
            assert_eq!(kinds(&alarms.update(&at(5, start - 9.9, 0.0))), []);
            let standing = alarms.update(&at(10, start - 10.0, 0.0));
            assert_eq!(kinds(&standing), [(kind, Cause::Worse)]);
            assert_eq!(
                standing.rings().first().unwrap().trigger,
                Trigger::Sensor(Glucose::clamped(start - 10.0))
            );
            // and once only, until it repeats
            assert_eq!(kinds(&alarms.update(&at(11, start - 10.0, 0.0))), []);
        }
    }
}

#[test]
fn who_snoozes_before_a_low_hears_of_a_deep_one() {
    let mut alarms = alarms(low_only());
    let _ = alarms.update(&at(0, 90.0, 0.0));
    alarms.snooze(Kind::Low, LOW_QUIET);
    assert!(alarms.update(&at(10, 65.0, 0.0)).rings().is_empty());
    assert_eq!(kinds(&alarms.update(&at(15, 60.0, 0.0))), [(Kind::Low, Cause::New)]);
}

#[test]
fn only_a_floor_that_sounds_rings_for_low() {
    let default = AlarmSettings::default;
    // within its hysteresis it does not
    let mut alarms = alarms(default());
    assert_eq!(kinds(&alarms.update(&at(0, 55.0, 0.0))), [(Kind::Floor, Cause::New)]);
    let rung: Vec<u32> =
        (1..60).filter(|when| !alarms.update(&at(*when, 57.0, 0.0)).rings().is_empty()).collect();
    assert_eq!(rung, [15, 30, 45]);
    // nor acknowledged alone, nor snoozed alone
    for snoozed in [false, true] {
        let mut alarms = self::alarms(default());
        let _ = alarms.update(&at(0, 55.0, 0.0));
        if snoozed {
            alarms.snooze(Kind::Floor, FLOOR_QUIET);
        } else {
            alarms.acknowledge(Kind::Floor);
        }
        let rung = kinds(&alarms.update(&at(15, 55.0, 0.0)));
        assert_eq!(rung, [(Kind::Low, Cause::Escalated)], "{snoozed}");
    }
}

#[test]
fn priority_does_not_fall_while_glucose_does() {
    let standard = AlarmSettings::default();
    let ahead = Rule { priority: Priority::High, ..standard.low_ahead };
    let low = Rule { priority: Priority::Low, ..standard.low };
    // of several that warned of it the most urgent one counts
    let fall = Rule { on: true, delay: Span::ZERO, priority: Priority::Low, ..standard.steep_fall };
    let mut alarms = alarms(AlarmSettings { low_ahead: ahead, low, steep_fall: fall, ..standard });
    let first = |standing: ActiveAlarms| standing.rings().first().map(|ring| (ring.kind, ring.priority));
    let fell = alarms.update(&at(0, 95.0, -4.0).with_low_ahead(0.2));
    assert_eq!(first(fell), Some((Kind::SteepFall, Priority::Low)));
    let ring = first(alarms.update(&at(5, 85.0, -4.0).with_low_ahead(0.9)));
    assert_eq!(ring, Some((Kind::LowAhead, Priority::High)));
    let ring = first(alarms.update(&at(10, 69.0, -4.0).with_low_ahead(0.9)));
    assert_eq!(ring, Some((Kind::Low, Priority::High)));
    alarms.acknowledge_all();
    let ring = first(alarms.update(&at(15, 58.0, -4.0).with_low_ahead(0.9)));
    assert_eq!(ring, Some((Kind::Low, Priority::High)), "worse");
    // armed anew it speaks for itself
    let _ = alarms.update(&at(20, 120.0, 1.0).with_low_ahead(0.0));
    let ring = first(alarms.update(&at(40, 69.0, 0.0).with_low_ahead(0.0)));
    assert_eq!(ring, Some((Kind::Low, Priority::Low)));
}

#[test]
fn every_priority_is_as_stated() {
    use Priority::{High, Low, Medium};
    let want = [High, Medium, Medium, Low, Medium, Low, Low, Low, Low];
    assert_eq!(Kind::ALL.map(|kind| AlarmSettings::default().rule(kind).priority), want);
}

#[test]
fn no_calibration_and_no_estimate_hides_a_very_low_reading() {
    let high = Glucose::clamped(120.0);
    let base = at(0, 120.0, 0.0).with_plasma(high, Rate::clamped(0.0));
    let very_low = Glucose::clamped(54.0);
    for (situation, trigger) in [
        (base.with_uncalibrated(very_low), Some(Trigger::Uncalibrated(very_low))),
        (base.with_below_range(Glucose::clamped(60.0)), Some(Trigger::BelowRange(Glucose::clamped(60.0)))),
        (base.with_unplaced(very_low), Some(Trigger::Unplaced(very_low))),
        (base.with_uncalibrated(Glucose::clamped(56.0)), None),
        (base.with_unplaced(Glucose::clamped(56.0)), None),
        (base.with_unbelieved(very_low), None),
    ] {
        for doubt in [Doubt::None, Doubt::Pressure, Doubt::Disbelieved] {
            let standing = alarms(AlarmSettings::default()).update(&situation.with_doubt(doubt));
            let floor = standing.rings().iter().find(|ring| ring.kind == Kind::Floor);
            assert_eq!(floor.map(|ring| ring.trigger), trigger);
        }
    }
    // one that cannot be placed is heard while nothing else is known, and only then
    let mut alarms = alarms(AlarmSettings::default());
    let blind = Situation::at(minute(0));
    assert_eq!(kinds(&alarms.update(&blind.with_unplaced(very_low))), [(Kind::Floor, Cause::New)]);
    assert!(!alarms.update(&blind.with_unplaced(high)).kinds().contains(Kind::Low));
}

#[test]
fn an_estimate_in_doubt_rings_nothing() {
    for (doubt, rings) in [(Doubt::None, true), (Doubt::Pressure, false), (Doubt::Disbelieved, false)] {
        let situation =
            at(0, 120.0, 0.0).with_plasma(Glucose::clamped(54.0), Rate::clamped(0.0)).with_doubt(doubt);
        assert_eq!(alarms(low_only()).update(&situation).kinds().contains(Kind::Floor), rings);
    }
}

#[test]
fn what_is_very_low_and_not_believed_is_a_doubt_worth_an_alarm() {
    for (mg_dl, doubt) in [(55.0, true), (56.0, false)] {
        let mut alarms = alarms(AlarmSettings::default());
        let rang = (0..20).find(|when| {
            let situation = Situation::at(minute(*when)).with_doubt(Doubt::WarmUp);
            let standing = alarms.update(&situation.with_unbelieved(Glucose::clamped(mg_dl)));
            standing.rings().iter().any(|ring| ring.kind == Kind::Doubt)
        });
        assert_eq!(rang, doubt.then_some(10));
    }
}

#[test]
fn what_begins_anew() {
    for (reset, holds) in [(Reset::NewSensor, true), (Reset::PowerReturned, true), (Reset::Everything, false)]
    {
        let mut alarms = alarms(AlarmSettings::default());
        let _ = alarms.update(&at(0, 65.0, 0.0));
        alarms.reset(reset, minute(100));
        assert_eq!(alarms.active().contains(Kind::Low), holds, "{reset:?}");
        // blind: silence is counted from the reset
        let rang = (100..130).find(|when| {
            alarms.update(&Situation::at(minute(*when))).rings().iter().any(|ring| ring.kind == Kind::NoData)
        });
        assert_eq!(rang, Some(120), "{reset:?}");
        assert!(!alarms.is_monitoring());
    }
}

#[test]
fn the_most_urgent_is_one_that_nobody_acknowledged() {
    let mut alarms = alarms(everything());
    let _ = alarms.update(&at(0, 260.0, 3.5));
    let most_urgent = |alarms: &mut Alarms| {
        alarms.update(&at(0, 260.0, 3.5)).most_urgent().map(|held| (held.ring.kind, held.rings))
    };
    assert_eq!(most_urgent(&mut alarms), Some((Kind::High, false)));
    alarms.acknowledge(Kind::High);
    assert_eq!(most_urgent(&mut alarms), Some((Kind::SteepRise, false)));
    assert!(alarms.update(&at(0, 260.0, 3.5)).unacknowledged().iter().eq([Kind::SteepRise]));
    alarms.acknowledge(Kind::SteepRise);
    assert_eq!(most_urgent(&mut alarms), None);
}

#[test]
fn nobody_can_acknowledge_what_never_rang() {
    let mut alarms = alarms(low_only());
    assert_eq!(alarms.snooze(Kind::Low, Span::from_mins(10)), Span::ZERO, "before anything was told");
    let _ = alarms.update(&at(0, 120.0, 0.0));
    alarms.snooze(Kind::Low, Span::from_mins(10));
    assert!(alarms.update(&at(0, 65.0, 0.0)).rings().is_empty());
    alarms.acknowledge(Kind::Low);
    alarms.acknowledge(Kind::High); // does not hold
    assert_eq!(kinds(&alarms.update(&at(10, 65.0, 0.0))), [(Kind::Low, Cause::New)]);
}

#[test]
fn a_silence_that_runs_out_rings_even_where_nothing_repeats() {
    let mut alarms = alarms(AlarmSettings::default());
    let ahead = |when| at(when, 90.0, -1.0).with_low_ahead(0.6);
    assert_eq!(kinds(&alarms.update(&ahead(0))), []);
    assert_eq!(kinds(&alarms.update(&ahead(4))), [(Kind::LowAhead, Cause::New)]);
    alarms.acknowledge(Kind::LowAhead);
    assert!((5..64).all(|when| alarms.update(&ahead(when)).rings().is_empty()));
    assert_eq!(kinds(&alarms.update(&ahead(64))), [(Kind::LowAhead, Cause::Repeated)]);
    assert!((65..180).all(|when| alarms.update(&ahead(when)).rings().is_empty()), "once");
}

#[test]
fn a_low_ahead_needs_a_second_reading_or_twice_its_delay() {
    let rule = AlarmSettings::default().low_ahead;
    assert_eq!((rule.limit.get(), rule.hysteresis.get(), rule.delay.secs()), (0.36, 0.22, 240));
    let heard = |story: &[(u32, u32, f32)]| {
        let mut alarms = alarms(AlarmSettings::default());
        let mut rung = story.iter().filter(|(when, measured, probability)| {
            let situation = at(*measured, 90.0, -1.0).with_low_ahead(*probability);
            !alarms.update(&Situation { now: minute(*when), ..situation }).rings().is_empty()
        });
        rung.next().map(|(when, ..)| *when)
    };
    // one reading alone, and minutes that bring none
    assert_eq!(heard(&[(0, 0, 0.02), (5, 5, 0.6), (9, 5, 0.6), (10, 10, 0.1)]), None);
    // the one before was within the hysteresis, or short of it
    assert_eq!(heard(&[(0, 0, 0.17), (5, 5, 0.36)]), Some(5));
    assert_eq!(heard(&[(0, 0, 0.13), (5, 5, 0.36), (10, 10, 0.36)]), Some(10));
    // a sensor that reads every 15 minutes
    assert_eq!(heard(&[(0, 0, 0.02), (15, 15, 0.6), (22, 15, 0.6), (23, 15, 0.6)]), Some(23));
}

#[test]
fn a_gap_in_what_is_known_starts_the_delay_over() {
    let mut alarms = alarms(AlarmSettings::default());
    let mut tell = |situation: Situation| kinds(&alarms.update(&situation));
    assert_eq!(tell(at(0, 260.0, 0.0)), []);
    assert_eq!(tell(Situation::at(minute(10))), []);
    assert_eq!(tell(at(31, 260.0, 0.0)), []); // 31 minutes after the first, 0 after the gap
    assert_eq!(tell(at(60, 260.0, 0.0)), []);
    assert_eq!(tell(at(61, 260.0, 0.0)), [(Kind::High, Cause::New)]);
}

#[test]
fn stale_values_ring_nothing_new_but_what_needs_no_value_rings() {
    let mut alarms = alarms(everything());
    let stale = Situation { now: minute(25), ..at(0, 60.0, -4.0) };
    let told = stale.with_low_ahead(0.9).with_wear_left(Span::from_hours(1));
    assert_eq!(kinds(&alarms.update(&told)), [(Kind::NoData, Cause::New), (Kind::WearEnd, Cause::New)]);
    assert!(!alarms.active().contains(Kind::Low));
}

#[test]
fn the_lower_of_sensor_and_estimate_is_believed() {
    for (sensor, estimate, rings) in [(120.0, 54.0, true), (54.0, 120.0, true), (120.0, 120.0, false)] {
        let situation = Situation::at(minute(0))
            .with_sensor(minute(0), Glucose::clamped(sensor))
            .with_plasma(Glucose::clamped(estimate), Rate::clamped(0.0));
        let rung = alarms(low_only()).update(&situation).rings().iter().any(|ring| ring.kind == Kind::Floor);
        assert_eq!(rung, rings, "{sensor} and {estimate}");
    }
}

#[test]
fn other_settings_hold_from_the_next_update() {
    let mut alarms = alarms(low_only());
    assert!(alarms.update(&at(0, 78.0, 0.0)).rings().is_empty());
    let standard = low_only();
    let higher = AlarmSettings { low: Rule { limit: mg_dl(80.0), ..standard.low }, ..standard };
    alarms.set_plan(AlarmPlan::new(higher).unwrap());
    assert_eq!(kinds(&alarms.update(&at(5, 78.0, 0.0))), [(Kind::Low, Cause::New)]);
}

#[test]
fn what_moves_back_by_itself_does_not_ring_again_and_a_low_does() {
    type Told = fn(u32, f32) -> Situation;
    let stories: [(Kind, Told, f32); 3] = [
        (Kind::High, |when, rate| at(when, 260.0, rate), -1.0),
        (Kind::LowAhead, |when, rate| at(when, 90.0, rate).with_low_ahead(0.6), 1.0),
        (Kind::Low, |when, rate| at(when, 60.0, rate), 2.0),
    ];
    for (kind, told, back) in stories {
        let mut alarms = alarms(everything());
        let mut rings = |when, rate| alarms.update(&told(when, rate)).rings().iter().any(|r| r.kind == kind);
        assert!(rings(0, back), "{kind:?} for the first time");
        let again = (1..90).find(|when| rings(*when, back));
        assert_eq!(again, (kind == Kind::Low).then_some(20), "{kind:?}");
        if kind != Kind::Low {
            assert!(rings(90, 0.9 * back), "{kind:?} slower than that");
        }
    }
    // what is stale moves nowhere
    let mut alarms = alarms(everything());
    let falls = at(0, 260.0, -1.0);
    assert_eq!(kinds(&alarms.update(&falls)), [(Kind::High, Cause::New)]);
    let stale = alarms.update(&Situation { now: minute(25), ..falls });
    assert!(stale.rings().iter().any(|ring| ring.kind == Kind::High));
}

#[test]
fn notice_taken_twice_is_of_the_first_depth() {
    let standard = low_only();
    let mut alarms = alarms(AlarmSettings { low: Rule { limit: mg_dl(100.0), ..standard.low }, ..standard });
    assert_eq!(kinds(&alarms.update(&at(0, 95.0, 0.0))), [(Kind::Low, Cause::New)]);
    alarms.acknowledge(Kind::Low);
    assert_eq!(kinds(&alarms.update(&at(5, 88.0, 0.0))), []);
    alarms.acknowledge(Kind::Low);
    assert_eq!(kinds(&alarms.update(&at(6, 85.0, 0.0))), [(Kind::Low, Cause::Worse)]);
}

#[test]
fn a_snooze_keeps_its_depth_while_glucose_is_up() {
    let mut alarms = alarms(low_only());
    assert_eq!(kinds(&alarms.update(&at(0, 69.0, 0.0))), [(Kind::Low, Cause::New)]);
    alarms.snooze(Kind::Low, LOW_QUIET);
    assert!(alarms.update(&at(5, 90.0, 0.0)).kinds().is_empty());
    assert_eq!(kinds(&alarms.update(&at(10, 60.0, 0.0))), []);
    assert_eq!(kinds(&alarms.update(&at(11, 59.0, 0.0))), [(Kind::Low, Cause::New)]);
}

#[test]
fn what_holds_is_found_by_its_kind() {
    let standing = alarms(everything()).update(&at(0, 260.0, 3.5));
    for kind in Kind::ALL {
        let held = standing.get(kind).map(|held| held.ring.kind);
        assert_eq!(held, matches!(kind, Kind::High | Kind::SteepRise).then_some(kind));
    }
}

#[test]
fn doubts_units_and_triggers_have_fixed_names() {
    let doubts = [Doubt::None, Doubt::Pressure, Doubt::Disbelieved, Doubt::WarmUp];
    assert_eq!(doubts.map(Doubt::name), ["none", "pressure", "disbelieved", "warm_up"]);
    let units = Kind::ALL.map(|kind| kind.info().unit.name());
    let (glucose, rate) = ("mg/dL", "mg/dL/min");
    assert_eq!(units, [glucose, glucose, "probability", rate, "min", glucose, rate, "", "min"]);
    let at = Glucose::clamped(50.0);
    for (trigger, name, value) in [
        (Trigger::Sensor(at), "sensor", true),
        (Trigger::Uncalibrated(at), "uncalibrated", true),
        (Trigger::BelowRange(at), "below_range", true),
        (Trigger::Estimate(at), "estimate", true),
        (Trigger::Unplaced(at), "unplaced", true),
        (Trigger::Probability(0.5), "probability", false),
        (Trigger::Rate(Rate::clamped(1.0)), "rate", false),
        (Trigger::Silence(Span::ZERO), "silence", false),
        (Trigger::WearLeft(Span::ZERO), "wear_left", false),
        (Trigger::Doubt, "doubt", false),
        (Trigger::Unknown, "unknown", false),
    ] {
        assert_eq!((trigger.name(), trigger.glucose()), (name, value.then_some(at)));
    }
}

#[test]
fn priorities_and_causes_have_fixed_names() {
    assert!(Kind::Doubt.message().contains("fingerstick"));
    // the words of IEC 60601-1-8
    let priorities = [Priority::Low, Priority::Medium, Priority::High];
    assert_eq!(priorities.map(Priority::name), ["low", "medium", "high"]);
    let causes = [Cause::New, Cause::Repeated, Cause::Escalated, Cause::Worse];
    assert_eq!(causes.map(Cause::name), ["new", "repeated", "escalated", "worse"]);
}

#[test]
fn a_low_acknowledged_between_rings_of_the_floor_is_silent_for_thirty_minutes_from_the_last_of_them() {
    for pressed in 0..12 {
        let mut alarms = alarms(AlarmSettings::default());
        let mut last = 0;
        for when in 0..=pressed {
            if !alarms.update(&at(when, 54.0, 0.0)).rings().is_empty() {
                last = when;
            }
        }
        alarms.acknowledge_all();
        // up from the floor, and low still
        let next = (pressed + 1..60).find(|when| !alarms.update(&at(*when, 57.0, 0.0)).rings().is_empty());
        assert_eq!(next, Some(last + 30), "pressed at {pressed}");
    }
}

#[test]
fn silence_and_what_was_switched_off_are_new_each_time() {
    let mut alarms = alarms(AlarmSettings::default());
    let mut silent = |now: u32, measured: u32| {
        kinds(&alarms.update(&Situation { now: minute(now), ..at(measured, 120.0, 0.0) }))
    };
    assert_eq!(silent(20, 0), [(Kind::NoData, Cause::New)]);
    assert_eq!(silent(21, 21), []);
    assert_eq!(silent(41, 21), [(Kind::NoData, Cause::New)], "within its quiet");

    let on = everything();
    let mut off = on;
    off.high.on = false;
    let mut alarms = self::alarms(on);
    let mut high = |when: u32, settings| {
        alarms.set_plan(AlarmPlan::new(settings).unwrap());
        kinds(&alarms.update(&at(when, 260.0, 0.0)))
    };
    assert_eq!(high(0, on), [(Kind::High, Cause::New)]);
    assert_eq!(high(1, off), []);
    assert_eq!(high(2, on), [(Kind::High, Cause::New)]);
}
