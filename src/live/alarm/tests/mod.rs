extern crate std;
use super::*;
use crate::local::LocalTime;
use crate::units::{Glucose, Probability, Rate};
use proptest::prelude::*;
use std::vec::Vec;

mod heeding;
mod kept;
mod reaching;

fn kinds(standing: &ActiveAlarms) -> Vec<(Kind, Cause)> {
    standing.rings().iter().map(|ring| (ring.kind, ring.cause)).collect()
}

fn alarms(settings: AlarmSettings) -> Alarms {
    Alarms::new(AlarmPlan::new(settings).unwrap())
}

fn minute(minute: u32) -> Instant {
    Instant::from_secs(minute * 60)
}

/// A fresh reading with the estimate equal to it.
fn at(when: u32, mg_dl: f32, rate: f32) -> Situation {
    Situation::at(minute(when))
        .with_sensor(minute(when), Glucose::clamped(mg_dl))
        .with_plasma(Glucose::clamped(mg_dl), Rate::clamped(rate))
}

/// All rules on, with round numbers that no two share.
fn everything() -> AlarmSettings {
    let standard = AlarmSettings::default();
    fn rule<L>(rule: Rule<L>) -> Rule<L> {
        Rule {
            on: true,
            delay: Span::ZERO,
            repeat: Span::from_mins(30),
            quiet: Span::from_mins(45),
            escalate: Span::from_mins(20),
            ..rule
        }
    }
    AlarmSettings {
        low: Rule { quiet: LOW_QUIET, ..rule(standard.low) },
        low_ahead: rule(standard.low_ahead),
        steep_fall: rule(standard.steep_fall),
        no_data: rule(standard.no_data),
        high: rule(standard.high),
        steep_rise: rule(standard.steep_rise),
        doubt: rule(standard.doubt),
        wear_end: rule(standard.wear_end),
        ..standard
    }
}

/// Changes the rule of `kind`; whether it has one to be changed.
fn change(settings: &mut AlarmSettings, kind: Kind, change: impl FnOnce(&mut Rule<Limit>)) -> bool {
    let mut rule = settings.rule(kind);
    change(&mut rule);
    settings.set_rule(kind, rule).is_ok()
}

fn mg_dl(value: f32) -> Glucose {
    Glucose::from_mg_dl(value).unwrap()
}

/// `situation` with `kind` exactly at its limit (0), `beyond` further, or short of it when negative.
fn put(situation: Situation, kind: Kind, beyond: f32) -> Situation {
    let limit = everything().bare(kind).limit;
    match kind {
        Kind::Floor | Kind::Low => {
            let glucose = Glucose::clamped(limit - beyond);
            Situation { plasma: Some(glucose), ..situation.with_sensor(situation.now, glucose) }
        }
        Kind::LowAhead => situation.with_low_ahead(limit + beyond),
        Kind::SteepFall => Situation { rate: Some(Rate::clamped(-limit - beyond)), ..situation },
        Kind::SteepRise => Situation { rate: Some(Rate::clamped(limit + beyond)), ..situation },
        Kind::High => situation.with_sensor(situation.now, Glucose::clamped(limit + beyond)),
        Kind::NoData => {
            let secs = (limit + beyond) * 60.0;
            let (_, glucose) = situation.reading.unwrap();
            situation.with_sensor(situation.now.plus(Span::from_secs(-(secs as i32))), glucose)
        }
        Kind::Doubt => situation.with_doubt(if beyond >= 0.0 { Doubt::Disbelieved } else { Doubt::None }),
        Kind::WearEnd => situation.with_wear_left(Span::from_secs(((limit - beyond) * 60.0) as i32)),
    }
}

/// The smallest step that counts, in each rule's unit.
fn short_of(kind: Kind) -> f32 {
    let rule = everything().bare(kind);
    -rule.hysteresis - if kind == Kind::LowAhead { 0.01 } else { 0.1 }
}

const WELL: (f32, f32) = (120.0, 0.0);

fn well(when: u32) -> Situation {
    at(when, WELL.0, WELL.1)
}

#[test]
fn each_rule_rings_at_its_limit_and_not_short_of_it() {
    for kind in Kind::ALL {
        let rings = alarms(everything()).update(&put(well(1000), kind, -0.05));
        assert_eq!(kinds(&rings).iter().find(|(rung, _)| *rung == kind), None, "{kind:?}");
        let rings = alarms(everything()).update(&put(well(1000), kind, 0.0));
        assert_eq!(kinds(&rings), [(kind, Cause::New)]);
        assert_eq!(rings.rings().first().unwrap().priority, everything().rule(kind).priority);
    }
}

#[test]
fn each_rule_can_be_off_but_the_floor() {
    for kind in Kind::ALL {
        let mut settings = everything();
        if change(&mut settings, kind, |rule| rule.on = false) {
            assert!(alarms(settings).update(&put(well(1000), kind, 0.0)).rings().is_empty(), "{kind:?}");
        }
    }
    let all_off = Kind::ALL.into_iter().fold(everything(), |mut settings, kind| {
        change(&mut settings, kind, |rule| rule.on = false);
        settings
    });
    assert_eq!(kinds(&alarms(all_off).update(&at(0, 55.0, 0.0))), [(Kind::Floor, Cause::New)]);
}

fn longest_snooze(kind: Kind) -> Span {
    if matches!(kind, Kind::Floor | Kind::Low) { Span::from_mins(30) } else { Span::from_hours(8) }
}

/// Minutes at which `kind` rings when it holds for three hours, told every minute.
fn rung(settings: AlarmSettings, kind: Kind, mut act: impl FnMut(&mut Alarms, u32)) -> Vec<(u32, Cause)> {
    let mut alarms = alarms(settings);
    let mut rung = Vec::new();
    for when in 0..180 {
        // no data: the reading stays where it was
        let situation = put(well(1000 + if kind == Kind::NoData { 0 } else { when }), kind, 0.0);
        let situation = Situation { now: minute(1000 + when), ..situation };
        rung.extend(
            kinds(&alarms.update(&situation))
                .into_iter()
                .filter(|rung| rung.0 == kind)
                .map(|rung| (when, rung.1)),
        );
        act(&mut alarms, when);
    }
    rung
}

#[test]
#[cfg_attr(miri, ignore = "too slow")]
fn each_rule_waits_repeats_escalates_and_falls_silent() {
    use Cause::{Escalated, New, Repeated};
    for kind in Kind::ALL {
        let floor = kind == Kind::Floor;
        let mut settings = everything();
        let got = rung(settings, kind, |_, _| ());
        if floor {
            assert!(got.iter().map(|r| r.0).eq((0..180).step_by(5)), "every 5 minutes");
        } else {
            let want = [
                (0, New),
                (20, Escalated),
                (50, Repeated),
                (80, Repeated),
                (110, Repeated),
                (140, Repeated),
                (170, Repeated),
            ];
            assert_eq!(got, want, "{kind:?}");
        }
        // acknowledged at once: silent for its quiet
        let got = rung(settings, kind, |alarms, when| {
            if when == 0 {
                alarms.acknowledge(kind)
            }
        });
        let quiet = if matches!(kind, Kind::Floor | Kind::Low) { 30 } else { 45 };
        assert_eq!(got[..2], [(0, New), (quiet, Repeated)], "{kind:?}");
        // snoozed for longer than is allowed
        let got = rung(settings, kind, |alarms, when| {
            if when == 0 {
                let granted = alarms.snooze(kind, Span::from_hours(100));
                assert_eq!(granted, longest_snooze(kind));
            }
            if when == 60 {
                alarms.snooze(kind, Span::ZERO);
            }
        });
        assert_eq!(got[1].0, if matches!(kind, Kind::Floor | Kind::Low) { 30 } else { 61 }, "{kind:?}");
        // a delay counts from the first moment at the limit
        if change(&mut settings, kind, |rule| rule.delay = Span::from_mins(7)) {
            assert_eq!(rung(settings, kind, |_, _| ())[0], (7, New), "{kind:?}");
        }
    }
}

#[test]
fn each_rule_is_armed_anew_beyond_its_hysteresis_only() {
    for kind in Kind::ALL.into_iter().filter(|kind| !matches!(kind, Kind::NoData)) {
        let mut alarms = alarms(everything());
        let mut tell = |when: u32, beyond| kinds(&alarms.update(&put(well(1000 + when), kind, beyond)));
        assert_eq!(tell(0, 0.0), [(kind, Cause::New)]);
        if everything().bare(kind).hysteresis > 0.0 {
            tell(1, -0.1);
            let again: Vec<_> = tell(2, 0.0).into_iter().filter(|rung| rung.0 == kind).collect();
            assert_eq!(again, [], "{kind:?} within its hysteresis");
        }
        tell(3, short_of(kind));
        let mut own =
            |when, beyond| tell(when, beyond).into_iter().filter(|rung| rung.0 == kind).collect::<Vec<_>>();
        // what speaks of a value, but is no low, is not new again within its quiet of its last ring
        if kind > Kind::Low && kind.info().needs_value {
            assert_eq!(own(4, 0.0), [], "{kind:?} within its quiet");
            assert_eq!(own(40, 0.0), [], "{kind:?} within its quiet");
            own(44, short_of(kind));
            assert_eq!(own(45, 0.0), [(kind, Cause::Repeated)], "{kind:?} after its quiet");
            own(90, short_of(kind));
            assert_eq!(own(91, 0.0), [(kind, Cause::New)], "{kind:?} armed anew");
        } else {
            assert_eq!(own(4, 0.0), [(kind, Cause::New)], "{kind:?} armed anew");
        }
    }
}

#[test]
fn every_pair_of_rules_at_once() {
    for one in Kind::ALL {
        for other in Kind::ALL.into_iter().filter(|other| *other > one) {
            let low = matches!(one, Kind::Floor | Kind::Low);
            if (one, other) == (Kind::SteepFall, Kind::SteepRise) || low && other == Kind::High {
                continue; // cannot be
            }
            let mut alarms = alarms(everything());
            let both = if one == Kind::NoData || other == Kind::NoData {
                // the value rang while it was fresh, and goes on holding
                let value = if one == Kind::NoData { other } else { one };
                let mut both = kinds(&alarms.update(&put(well(1000), value, 0.0)));
                let later = Situation { now: minute(1020), ..put(well(1000), value, 0.0) };
                both.extend(kinds(&alarms.update(&later)));
                assert!(alarms.active().contains(value) && alarms.active().contains(Kind::NoData));
                assert!(!alarms.is_monitoring());
                both
            } else {
                let at_low = put(put(well(1000), other, 0.0), one, 0.0);
                kinds(&alarms.update(&at_low))
            };
            let names: Vec<Kind> =
                both.iter().map(|rung| rung.0).filter(|k| [one, other].contains(k)).collect();
            let falls = |kind| matches!(kind, Kind::Low | Kind::LowAhead | Kind::SteepFall);
            let covers = matches!(one, Kind::Floor | Kind::Low) && falls(other);
            let waits = other == Kind::Doubt && falls(one) && one != Kind::Low
                || (one, other) == (Kind::SteepRise, Kind::Doubt);
            let want: &[Kind] = match () {
                () if covers => &[one],
                () if waits => &[other],
                () => &[one, other],
            };
            let mut sorted = names.clone();
            sorted.sort();
            sorted.dedup();
            assert_eq!(sorted, want, "{one:?} and {other:?}");
        }
    }
}

#[test]
fn a_low_rings_until_somebody_takes_notice_or_it_ends() {
    let mut alarms = alarms(AlarmSettings::default());
    type Rung = (Kind, Cause);
    let story: [(u32, f32, f32, &[Rung]); 9] = [
        (0, 75.0, -1.0, &[]),
        (5, 70.0, -1.0, &[(Kind::Low, Cause::New)]),
        (10, 66.0, -0.5, &[]),
        (20, 64.0, 0.0, &[(Kind::Low, Cause::Escalated)]),
        (35, 64.0, 1.2, &[(Kind::Low, Cause::Repeated)]), // rising, and low still
        (40, 64.0, 0.2, &[]),
        (45, 72.0, 0.0, &[]), // within the hysteresis
        (50, 70.0, 0.0, &[(Kind::Low, Cause::Repeated)]),
        (55, 76.0, 0.0, &[]),
    ];
    for (minute, mg_dl, rate, rings) in story {
        assert_eq!(kinds(&alarms.update(&at(minute, mg_dl, rate))), rings, "at {minute}");
    }
    assert!(alarms.active().is_empty());
}

#[test]
fn pressure_delays_the_low_alarm_as_stated_and_never_the_floor() {
    for hold in [0, 10, 20, 30] {
        let settings = AlarmSettings { pressure_hold: Span::from_mins(hold), ..AlarmSettings::default() };
        let mut alarms = alarms(settings);
        let rung = (0..60).step_by(5).find(|when| {
            let doubtful = at(*when, 65.0, -2.0).with_low_ahead(0.9).with_doubt(Doubt::Pressure);
            !alarms.update(&doubtful).rings().is_empty()
        });
        assert_eq!(rung, Some(hold as u32));
        let rings = self::alarms(settings).update(&at(0, 55.0, -2.0).with_doubt(Doubt::Pressure));
        assert_eq!(kinds(&rings), [(Kind::Floor, Cause::New)]);
    }
}

#[test]
fn a_suspicion_that_ends_without_a_rebound_rings_at_once() {
    let mut alarms = alarms(AlarmSettings::default());
    assert!(alarms.update(&at(0, 65.0, -2.0).with_doubt(Doubt::Pressure)).rings().is_empty());
    assert_eq!(kinds(&alarms.update(&at(5, 65.0, 0.0))), [(Kind::Low, Cause::New)]);
}

#[test]
fn silence_from_the_sensor_is_never_taken_for_well() {
    let mut alarms = alarms(AlarmSettings::default());
    let low = at(0, 68.0, 0.0);
    assert_eq!(kinds(&alarms.update(&low)), [(Kind::Low, Cause::New)]);
    assert!(alarms.is_monitoring());
    for when in 1..120 {
        let rings = alarms.update(&Situation { now: minute(when), ..low });
        let no_data = rings.rings().iter().any(|ring| ring.kind == Kind::NoData);
        assert_eq!(no_data, matches!(when, 20 | 50 | 80 | 110));
        assert_eq!(alarms.is_monitoring(), when < 20);
        assert!(alarms.active().contains(Kind::Low), "at {when}");
    }
    // nothing ever came: the same
    let mut alarms = self::alarms(AlarmSettings::default());
    let rung: Vec<u32> =
        (0..60).filter(|w| !alarms.update(&Situation::at(minute(*w))).rings().is_empty()).collect();
    assert_eq!(rung, [20, 50]);
    // but while the sensor warms up none are due
    let mut alarms = self::alarms(AlarmSettings::default());
    let rung = (0..60)
        .any(|w| !alarms.update(&Situation::at(minute(w)).with_doubt(Doubt::WarmUp)).rings().is_empty());
    assert!(!rung && !alarms.is_monitoring());
}

#[test]
fn another_profile_takes_over_without_ringing_what_holds_again() {
    let day = AlarmSettings::default();
    let mut plan = AlarmPlan::new(day).unwrap();
    let night = AlarmSettings { low: Rule { limit: mg_dl(80.0), ..day.low }, ..day };
    let night = plan.add_profile(night).unwrap();
    plan.add_slot(Slot { days: Weekdays::ALL, from: 22 * 60, to: 6 * 60, profile: night }).unwrap();
    let mut alarms = Alarms::new(plan);
    let mut tell = |when: u32, mg_dl| {
        let local = LocalTime::new(0, (when % 1440) as u16).unwrap();
        kinds(&alarms.update(&at(when, mg_dl, 0.0).with_local(local)))
    };
    assert_eq!(tell(21 * 60 + 55, 78.0), []);
    assert_eq!(tell(22 * 60, 78.0), [(Kind::Low, Cause::New)]);
    assert_eq!(tell(22 * 60 + 5, 78.0), []);
}

#[test]
fn settings_are_refused_by_the_name_of_the_alarm() {
    let standard = AlarmSettings::default();
    let (mins, hours) = (Span::from_mins, Span::from_hours);
    let low = |change: fn(&mut Rule<Glucose>)| {
        let mut settings = standard;
        change(&mut settings.low);
        settings
    };
    let (share, rate) = (Probability::clamped, Rate::clamped);
    for (settings, whole, parameter) in [
        (low(|rule| rule.limit = mg_dl(55.9)), "low", "limit"),
        (low(|rule| rule.limit = mg_dl(120.1)), "low", "limit"),
        (low(|rule| rule.hysteresis = mg_dl(60.1)), "low", "hysteresis"),
        (low(|rule| rule.repeat = Span::from_secs(-1)), "low", "repeat"),
        (low(|rule| rule.repeat = Span::ZERO), "low", "repeat"),
        (low(|rule| rule.repeat = Span::from_mins(31)), "low", "repeat"),
        (low(|rule| rule.delay = Span::from_mins(31)), "low", "delay"),
        (low(|rule| rule.quiet = Span::from_mins(31)), "low", "quiet"),
        (low(|rule| rule.escalate = Span::from_hours(25)), "low", "escalate"),
        (
            AlarmSettings { low_ahead: Rule { limit: share(1.0), ..standard.low_ahead }, ..standard },
            "low_ahead",
            "limit",
        ),
        (
            AlarmSettings { low_ahead: Rule { hysteresis: share(0.6), ..standard.low_ahead }, ..standard },
            "low_ahead",
            "hysteresis",
        ),
        (
            AlarmSettings { steep_fall: Rule { limit: rate(-3.0), ..standard.steep_fall }, ..standard },
            "steep_fall",
            "limit",
        ),
        (AlarmSettings { high: Rule { delay: hours(25), ..standard.high }, ..standard }, "high", "delay"),
        (
            AlarmSettings { no_data: Rule { limit: mins(4), ..standard.no_data }, ..standard },
            "no_data",
            "limit",
        ),
        (
            AlarmSettings { wear_end: Rule { limit: hours(73), ..standard.wear_end }, ..standard },
            "wear_end",
            "limit",
        ),
        (AlarmSettings { recovering: rate(0.1), ..standard }, "", "recovering"),
        (AlarmSettings { pressure_hold: mins(31), ..standard }, "", "pressure_hold"),
        (
            AlarmSettings {
                low: Rule { limit: mg_dl(110.0), ..standard.low },
                high: Rule { limit: mg_dl(125.0), ..standard.high },
                ..standard
            },
            "high",
            "limit",
        ),
    ] {
        let refused = settings.checked().unwrap_err();
        assert_eq!((refused.section(), refused.parameter()), (whole, parameter));
    }
    assert!(low(|rule| (rule.on, rule.delay) = (false, Span::from_hours(2))).checked().is_ok());
}

#[test]
fn limits_are_made_by_their_unit() {
    for kind in Kind::ALL {
        let about = kind.info();
        let made = about.unit.limit(about.limits.1).unwrap();
        assert!((made.number() - about.limits.1).abs() < 1e-5);
        assert!(matches!(made, Limit::None) || about.unit.limit(f32::NAN).is_err());
    }
    assert!(LimitUnit::Probability.limit(1.1).is_err() && LimitUnit::Minutes.limit(1e7).is_err());
}

/// What a person and the world may do between two readings.
#[derive(Clone, Copy, Debug)]
enum Act {
    Nothing,
    Acknowledge(usize),
    AcknowledgeAll,
    Snooze(usize, i32),
}

fn act() -> impl Strategy<Value = Act> {
    prop_oneof![
        6 => Just(Act::Nothing),
        1 => (0..9_usize).prop_map(Act::Acknowledge),
        1 => Just(Act::AcknowledgeAll),
        1 => (0..9_usize, -10..1000_i32).prop_map(|(kind, minutes)| Act::Snooze(kind, minutes)),
    ]
}

fn perform(alarms: &mut Alarms, act: Act) {
    match act {
        Act::Nothing => {}
        Act::Acknowledge(kind) => alarms.acknowledge(Kind::ALL[kind]),
        Act::AcknowledgeAll => alarms.acknowledge_all(),
        Act::Snooze(kind, minutes) => {
            alarms.snooze(Kind::ALL[kind], Span::from_mins(minutes));
        }
    }
}

fn doubt() -> impl Strategy<Value = Doubt> {
    prop_oneof![
        5 => Just(Doubt::None),
        2 => Just(Doubt::Pressure),
        1 => Just(Doubt::Disbelieved),
        1 => Just(Doubt::WarmUp),
    ]
}

/// One step of a random trace: minutes since the last, value, rate, doubt.
fn step() -> impl Strategy<Value = (u32, f32, f32, Doubt)> {
    (1..30_u32, 40.0..130.0_f32, -4.0..4.0_f32, doubt())
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(if cfg!(miri) { 4 } else { 256 }))]

    #[test]
    #[cfg_attr(miri, ignore = "too slow")]
    fn the_floor_rings_within_one_reading_unless_a_person_silenced_it(
        trace in prop::collection::vec((step(), act()), 1..60),
    ) {
        let mut alarms = alarms(everything());
        let mut now = 0;
        // the last time the floor rang or a person silenced it
        let mut told: Option<u32> = None;
        for ((gap, mg_dl, rate, doubt), act) in trace {
            now += gap;
            let standing =
                alarms.update(&at(now, mg_dl, rate).with_low_ahead(0.5 - rate / 8.0).with_doubt(doubt));
            let rang = standing.rings().iter().any(|ring| ring.kind == Kind::Floor);
            prop_assert!(!rang || mg_dl <= 55.0);
            if mg_dl > 60.0 {
                told = told.filter(|_| alarms.state.watches[0].is_silenced());
            }
            if rang {
                told = Some(now);
            }
            if mg_dl <= 55.0 {
                prop_assert!(told.is_some(), "nobody was told of {mg_dl}");
                prop_assert!(alarms.active().contains(Kind::Floor));
                let silent = now - told.unwrap_or(0);
                prop_assert!(silent < 30 + gap, "silent for {silent} min");
            }
            perform(&mut alarms, act);
            match act {
                Act::Snooze(0, minutes) if minutes > 0 => told = Some(now),
                Act::Snooze(0, _) if mg_dl > 60.0 => told = None,
                Act::Acknowledge(0) | Act::AcknowledgeAll if told.is_some() && mg_dl <= 60.0 => told = Some(now),
                _ => {}
            }
        }
    }

    /// Whatever a person does, and however low ahead, fall and doubt stand.
    #[test]
    #[cfg_attr(miri, ignore = "too slow")]
    fn no_low_is_silent_for_longer_than_half_an_hour(
        trace in prop::collection::vec((1..6_u32, 30.0..90.0_f32, -4.0..4.0_f32, doubt(), act()), 1..120),
    ) {
        let mut alarms = alarms(AlarmSettings::default());
        let (mut now, mut told) = (0, 0);
        for (gap, mg_dl, rate, doubt, act) in trace {
            now += gap;
            let standing =
                alarms.update(&at(now, mg_dl, rate).with_low_ahead(0.5 - rate / 8.0).with_doubt(doubt));
            let rung = standing.rings().iter().filter(|ring| ring.kind <= Kind::Low).count();
            if mg_dl > 70.0 || rung > 0 {
                told = now;
            }
            prop_assert!(now - told < 30 + gap, "silent for {} min at {mg_dl}", now - told);
            prop_assert!(standing.rings().iter().all(|ring| ring.trigger.glucose().is_none_or(|g| g.mg_dl() == mg_dl)));
            perform(&mut alarms, act);
        }
    }

    #[test]
    fn a_snooze_never_outlives_its_limit(kind in 0..9_usize, minutes in -100..100_000_i32, before in 0..3_u32) {
        let kind = Kind::ALL[kind];
        let mut alarms = alarms(everything());
        let hold = |when| put(well(1000 + when), kind, 0.0);
        for when in 0..before {
            let _ = alarms.update(&hold(when));
        }
        let granted = alarms.snooze(kind, Span::from_mins(minutes));
        // it rang at the first moment, and what holds is silent for no longer than its longest after that
        let since = Span::from_mins(before.saturating_sub(1) as i32).secs();
        let longest = if before == 0 { 0 } else { longest_snooze(kind).secs() - since };
        let longest = Span::from_secs(longest);
        prop_assert_eq!(granted, Span::from_mins(minutes).max(Span::ZERO).min(longest));
        let end = before.saturating_sub(1) + (granted.secs() / 60) as u32;
        if granted > Span::ZERO && before > 0 {
            prop_assert!(alarms.update(&hold(end - 1)).rings().iter().all(|ring| ring.kind != kind));
            prop_assert!(alarms.update(&hold(end)).rings().iter().any(|ring| ring.kind == kind), "{kind:?} at {end}");
        }
    }

    #[test]
    fn no_alarm_chatters_within_its_hysteresis(
        kind in 0..9_usize,
        shares in prop::collection::vec(-0.99..1.0_f32, 1..80),
    ) {
        let kind = Kind::ALL[kind];
        let mut settings = everything();
        change(&mut settings, kind, |rule| (rule.repeat, rule.escalate) = (LOW_QUIET, Span::ZERO));
        prop_assume!(kind != Kind::NoData && kind != Kind::Floor && kind != Kind::Doubt && kind != Kind::WearEnd);
        let hysteresis = settings.bare(kind).hysteresis;
        let mut alarms = alarms(settings);
        let rung: usize = (0..).zip(&shares).map(|(when, share)| {
            let situation = put(well(1000 + 3 * when), kind, share * hysteresis);
            kinds(&alarms.update(&situation)).into_iter().filter(|rung| *rung == (kind, Cause::New)).count()
        }).sum();
        prop_assert!(rung <= 1, "{kind:?} rang {rung} times");
        prop_assert_eq!(rung == 1, shares.iter().any(|share| *share >= 0.0));
    }

    #[test]
    #[cfg_attr(miri, ignore = "too slow")]
    fn a_moment_told_again_rings_nothing_again(
        trace in prop::collection::vec((step(), 0..3_usize), 1..60),
    ) {
        let mut alarms = alarms(everything());
        let mut now = 100_000;
        for ((gap, mg_dl, rate, doubt), repeats) in trace {
            now += gap;
            let situation = at(now, mg_dl, rate).with_low_ahead(0.5 - rate / 8.0).with_doubt(doubt);
            let _ = alarms.update(&situation);
            for _ in 0..repeats {
                prop_assert!(alarms.update(&situation).rings().is_empty());
                // nor does an earlier one, which a count never tells
                let earlier = Situation { now: minute(now - gap), ..situation };
                prop_assert!(alarms.update(&earlier).rings().is_empty());
            }
        }
    }

    #[test]
    #[cfg_attr(miri, ignore = "too slow")]
    fn whatever_is_told_the_alarms_answer(
        steps in prop::collection::vec((any::<u32>(), any::<u32>(), any::<f32>(), any::<f32>(), any::<f32>()), 1..40),
        act in act(),
    ) {
        let mut alarms = alarms(everything());
        for (now, measured, mg_dl, rate, index) in steps {
            let situation = Situation::at(Instant::from_secs(now))
                .with_sensor(Instant::from_secs(measured), Glucose::clamped(mg_dl))
                .with_plasma(Glucose::clamped(mg_dl), Rate::clamped(rate))
                .with_low_ahead(index);
            let standing = alarms.update(&situation);
            prop_assert_eq!(standing.rings().is_empty(), standing.rings().first().is_none());
            prop_assert_eq!(standing.kinds(), alarms.active());
            prop_assert_eq!(standing.unacknowledged(), alarms.unacknowledged());
            perform(&mut alarms, act);
        }
    }
}
