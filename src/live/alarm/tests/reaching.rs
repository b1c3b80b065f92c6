//! Where a rule stands to its limit, and by which value it rings.

use super::*;

#[test]
fn each_rule_tells_the_value_that_it_rings_by() {
    let sensor = |value| Trigger::Sensor(Glucose::clamped(value));
    for (kind, beyond, want) in [
        (Kind::Floor, 5.0, sensor(50.0)),
        (Kind::Low, 5.0, sensor(65.0)),
        (Kind::LowAhead, 0.14, Trigger::Probability(0.5)),
        (Kind::SteepFall, 1.0, Trigger::Rate(Rate::clamped(-4.0))),
        (Kind::SteepRise, 1.0, Trigger::Rate(Rate::clamped(4.0))),
        (Kind::NoData, 10.0, Trigger::Silence(Span::from_mins(30))),
        (Kind::High, 20.0, sensor(270.0)), // the estimate stays at 120
        (Kind::Doubt, 0.0, Trigger::Doubt),
        (Kind::WearEnd, 60.0, Trigger::WearLeft(Span::from_hours(11))),
    ] {
        let standing = alarms(everything()).update(&put(well(1000), kind, beyond));
        assert_eq!(standing.get(kind).map(|active| active.ring.trigger), Some(want), "{kind:?}");
    }
}

#[test]
fn what_holds_and_is_not_known_any_more_says_so() {
    let mut alarms = alarms(everything());
    let low = at(0, 60.0, 0.0);
    assert_eq!(alarms.update(&low).get(Kind::Low).unwrap().ring.trigger, Trigger::Sensor(mg_dl(60.0)));
    let later = Situation { now: minute(25), ..low };
    assert_eq!(alarms.update(&later).get(Kind::Low).unwrap().ring.trigger, Trigger::Unknown);
}

#[test]
fn just_at_the_hysteresis_a_rule_is_not_armed_anew() {
    for (value, rings) in [(75.0, false), (75.1, true)] {
        let mut alarms = alarms(everything());
        let mut low =
            |when, value| kinds(&alarms.update(&at(when, value, 0.0))).contains(&(Kind::Low, Cause::New));
        let told: Vec<bool> =
            [(0, 65.0), (5, value), (10, 65.0)].map(|(when, value)| low(when, value)).into();
        assert_eq!(told, [true, false, rings], "{value}");
    }
}

#[test]
fn a_reading_without_a_time_counts_only_if_it_is_very_low() {
    for (value, rung) in [(56.0, false), (55.0, true)] {
        let standing = alarms(everything()).update(&well(0).with_unplaced(mg_dl(value)));
        assert_eq!(kinds(&standing).contains(&(Kind::Floor, Cause::New)), rung, "{value}");
        assert_eq!(standing.get(Kind::Low).is_some(), rung, "{value}");
    }
}

#[test]
fn a_delay_begun_before_a_clear_value_does_not_count() {
    let mut alarms = alarms(AlarmSettings::default()); // a high rings after 30 min
    let high =
        |(when, value)| kinds(&alarms.update(&at(when, value, 0.0))).contains(&(Kind::High, Cause::New));
    let told = [(0, 260.0), (10, 200.0), (20, 260.0), (30, 260.0), (45, 260.0), (50, 260.0)].map(high);
    assert_eq!(told, [false, false, false, false, false, true]);
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(if cfg!(miri) { 4 } else { 256 }))]

    #[test]
    #[cfg_attr(miri, ignore = "too slow")]
    fn what_is_passed_over_while_it_is_clear_has_nothing_to_forget(
        steps in prop::collection::vec((step(), act()), 1..60),
        rest in 0..200_i32,
    ) {
        let mut alarms = alarms(everything());
        let mut now = 0;
        for ((minutes, mg_dl, rate, doubt), act) in steps {
            now += minutes;
            let _ = alarms.update(&at(now, mg_dl, rate).with_doubt(doubt));
            perform(&mut alarms, act);
            for watch in alarms.state.watches.iter().filter(|watch| watch.is_fresh()) {
                // as the next step that is not clear finds it
                let mut kept = *watch;
                kept.end_snooze(minute(now));
                let mut cleared = kept;
                cleared.clear(minute(now), Span::from_mins(rest));
                prop_assert_eq!(kept.without_time_to_escalate(), cleared.without_time_to_escalate());
            }
        }
    }
}

#[test]
fn two_sensors_apart_are_a_doubt_and_no_sight() {
    let mut alarms = alarms(AlarmSettings::default());
    assert!(alarms.update(&at(0, 110.0, 0.0)).kinds().is_empty() && alarms.is_monitoring());
    let _ = alarms.update(&at(5, 110.0, 0.0).with_sensors_apart(true));
    assert!(!alarms.is_monitoring());
    let standing = alarms.update(&at(125, 110.0, 0.0).with_sensors_apart(true));
    assert!(standing.kinds().contains(Kind::Doubt) && !alarms.is_monitoring());
    let standing = alarms.update(&at(130, 110.0, 0.0).with_sensors_apart(false));
    assert!(standing.kinds().is_empty() && alarms.is_monitoring());
}
