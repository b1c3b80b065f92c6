//! Each answer of the two as one against those of each sensor's own monitor.

use super::*;
use crate::alarm::{AlarmSettings, Trigger};
use crate::monitor::Monitor;

/// The pair, and a monitor of each sensor by itself that hears the same.
struct Three {
    two: Pair,
    own: [Monitor<24>; 2],
    minute: u32,
}

impl Three {
    fn new() -> Self {
        Self { two: pair(), own: [single(), single()], minute: 0 }
    }

    /// One minute: the first may read each five, the second two minutes later.
    fn live(&mut self, value: impl Fn(Side, u32) -> Option<f32>) -> (PairView, [View; 2]) {
        let minute = self.minute;
        self.minute += 1;
        self.two.set_uptime(minute * 60);
        self.own.iter_mut().for_each(|own| own.set_uptime(minute * 60));
        let mut view = self.two.tick(at(minute));
        let [first, second] = &mut self.own;
        let mut views = [first.tick(at(minute)), second.tick(at(minute))];
        for side in Side::BOTH {
            if minute % 5 == 2 * side as u32
                && let Some(mg_dl) = value(side, minute)
            {
                view = self.two.push(side, &reading(minute, mg_dl));
                *side.of_mut(&mut views) = side.of_mut(&mut self.own).push(&reading(minute, mg_dl));
            }
        }
        (view, views)
    }
}

#[track_caller]
fn near(one: f32, other: f32, within: f32, what: &str) {
    assert!((one - other).abs() <= within, "{what}: {one} for {other}");
}

/// Whether both agree and nothing is held against either.
fn is_clean(view: &PairView) -> bool {
    view.agreement() == Agreement::Together
        && Side::BOTH.iter().all(|side| view.side(*side).reasons.is_empty())
}

/// Glucose that falls to 82 and rises again, every five hours; the first one reads it by 24 higher, and ten minutes later.
fn waves(side: Side, minute: u32) -> Option<f32> {
    let (late, more) = if side == Side::First { (10, 24.0) } else { (0, 0.0) };
    let along = ((minute + 300 - late) % 300) as f32 - 150.0;
    Some(135.0 - 53.0 * math::exp(-along * along / 2500.0) + more + 0.4 * wobble(side, minute))
}

#[test]
fn what_two_say_is_each_ones_answer_by_its_weight() {
    let mut three = Three::new();
    let (mut moves, mut lows, mut checked) = (0, 0, 0);
    for minute in 0..1500 {
        let (view, [first, second]) = three.live(waves);
        if minute < 600 || !is_clean(&view) {
            continue;
        }
        let fused = view.fused();
        let [one, two] = Side::BOTH.map(|side| view.side(side));
        near(one.weight + two.weight, 1.0, 1e-5, "weights");
        let mix = |first: f32, second: f32| one.weight * first + two.weight * second;
        let (now, own) = (fused.estimate().unwrap(), [first.estimate().unwrap(), second.estimate().unwrap()]);
        let each = |of: fn(&Estimate) -> f32| mix(of(&own[0]), of(&own[1]));
        near(now.rate().mg_dl_per_min(), each(|e| e.rate().mg_dl_per_min()), 1e-3, "rate");
        near(now.slow_rate().mg_dl_per_min(), each(|e| e.slow_rate().mg_dl_per_min()), 1e-3, "slow rate");
        near(now.interstitial_difference(), each(Estimate::interstitial_difference), 1e-2, "behind");
        near(now.moving_probability(), each(Estimate::moving_probability), 1e-3, "moving");
        near(now.rate_sd(), each(Estimate::rate_sd), 1e-3, "deviation of the rate");
        let [o1, o2] = [one.offset, two.offset];
        let glucose = mix(own[0].glucose().mg_dl() - o1, own[1].glucose().mg_dl() - o2);
        near(now.glucose().mg_dl(), glucose, 1e-2, "glucose");
        if let (Some(a), Some(b)) = (first.direction(), second.direction()) {
            let direction = fused.direction().unwrap();
            let rate = mix(a.rate().mg_dl_per_min(), b.rate().mg_dl_per_min());
            near(direction.rate().mg_dl_per_min(), rate, 1e-3, "direction");
            near(direction.sd(), mix(a.sd(), b.sd()), 1e-3, "its deviation");
            moves += u32::from((a.rate().mg_dl_per_min() - b.rate().mg_dl_per_min()).abs() > 0.3);
        }
        let (a, b) = (first.low_probability().unwrap(), second.low_probability().unwrap());
        near(fused.low_probability().unwrap(), mix(a, b), 1e-4, "low");
        assert_eq!(fused.low_ahead_signal(), fused.low_probability());
        lows += u32::from((a - b).abs() > 0.05);
        for minutes in [5, 15, 30, 60, 120] {
            let at = |course: Option<crate::forecast::Predicted>| course.unwrap().glucose().mg_dl();
            let span = Span::from_mins(minutes);
            let told = mix(at(one.predicted(span)) - o1, at(two.predicted(span)) - o2);
            near(at(fused.predicted(span)), told, 2e-2, "ahead");
        }
        checked += 1;
    }
    assert!(checked > 500 && moves > 50 && lows > 20, "{checked} {moves} {lows}");
}

#[test]
fn what_the_other_tells_of_each_ones_future_is_as_stated() {
    let mut three = Three::new();
    let (mut checked, mut most) = (0, 0.0_f32);
    for minute in 0..1500 {
        let (view, _) = three.live(waves);
        if minute < 600 || minute % 5 != 4 || !is_clean(&view) {
            continue;
        }
        let now = three.two.core.now();
        let own = three.own.each_ref().map(|own| own.forecast().course(own.timeline().now()).unwrap());
        let soon = own.each_ref().map(|course| course.rebased().soon());
        for (side, other) in [(0, 1), (1, 0)] {
            let offsets = three.two.core.fusion.offsets();
            let gap = (soon[other][0] - offsets[other]) - (soon[side][0] - offsets[side]);
            let further = |k: usize| (soon[other][k] - soon[other][0]) - (soon[side][k] - soon[side][0]);
            let beside = Beside { gap, quarter: further(1), half: further(2) };
            let more = three.two.core.leads[side].more(beside);
            for (minutes, more) in [(15, more[0]), (30, more[1]), (60, more[2]), (120, more[3])] {
                let span = Span::from_mins(minutes);
                let led = view.side(Side::BOTH[side]).predicted(span).unwrap().glucose().mg_dl();
                near(led, own[side].rebased().at(span).glucose().mg_dl() + more, 2e-2, "led");
                most = most.max(more.abs());
            }
        }
        assert!(now > at(0));
        checked += 1;
    }
    assert!(checked > 100 && most > 4.0, "{checked} {most}");
    // each has learned from its own outcomes
    assert!(three.two.core.leads.iter().all(|lead| *lead != Lead::new()));
    assert_ne!(three.two.core.leads[0], three.two.core.leads[1]);
}

#[test]
fn one_in_doubt_tells_nothing_of_a_low_and_leads_nobody() {
    for stuck in Side::BOTH {
        let mut three = Three::new();
        let good = stuck.other();
        let mut checked = 0;
        for minute in 0..1500 {
            let (view, own) = three.live(|side, minute| {
                if side == stuck && minute > 1000 {
                    Some(118.0)
                } else {
                    waves(side, minute).map(|v| v - if side == Side::First { 34.0 } else { 10.0 })
                }
            });
            if minute > 1100 {
                assert!(view.side(stuck).reasons.contains(Reason::Stuck));
                assert_eq!(view.fused().low_probability(), good.of(&own).low_probability(), "{minute}");
                for side in Side::BOTH {
                    let ahead = |p: Option<crate::forecast::Predicted>| p.unwrap().glucose().mg_dl();
                    let led = ahead(view.side(side).predicted(Span::from_mins(30)));
                    near(led, ahead(side.of(&own).predicted_30min()), 1e-2, "not led");
                }
                checked += u32::from(view.fused().low_probability().is_some_and(|low| low > 0.05));
            }
        }
        assert!(checked > 20, "{checked}");
    }
}

#[test]
fn under_70_a_low_is_there_and_at_70_it_is_ahead() {
    for (mg_dl, there) in [(69.9, true), (70.0, false), (70.1, false)] {
        for low in Side::BOTH {
            let mut two = pair();
            let value =
                |side, m| Some(if side == low { mg_dl } else { 100.0 } + if m < 60 { 30.0 } else { 0.0 });
            let view = run(&mut two, 0..90, value, |_, _| {});
            let signal = view.fused().low_ahead_signal().unwrap();
            assert_eq!(signal == 1.0, there, "{mg_dl}: {signal}");
            assert!(view.fused().low_probability().unwrap() < 1.0);
        }
    }
}

#[test]
fn moments_are_told_by_the_clock_of_the_one_that_read_last_and_of_equals_by_the_firsts() {
    let mut two = pair();
    let late = |minute: u32| Instant::from_secs(500 + minute * 60);
    let mut push = |side, minute: u32, mg_dl: f32| {
        two.set_uptime(minute * 60);
        let stamp = if side == Side::First { at(minute) } else { late(minute) };
        let view = two.push(side, &Reading::new(stamp, Glucose::clamped(mg_dl)));
        let (newest, value) = view.fused().newest().unwrap();
        let by_first = view.fused().at() >= at(0);
        assert_eq!(by_first, newest >= at(0));
        assert_eq!(view.fused().estimate().unwrap().at(), view.fused().at());
        (by_first, value.whole_mg_dl())
    };
    for k in 0..12 {
        let _ = push(Side::First, 5 * k, 120.0);
        let _ = push(Side::Second, 5 * k + 2, 110.0);
    }
    assert_eq!(push(Side::First, 60, 121.0), (true, 121));
    assert_eq!(push(Side::Second, 62, 111.0), (false, 111));
    assert_eq!(push(Side::Second, 65, 112.0), (false, 112));
    assert_eq!(push(Side::First, 65, 122.0), (true, 122));
    assert_eq!(push(Side::First, 70, 121.0), (true, 121));
    assert_eq!(push(Side::Second, 70, 111.0), (true, 121));
}

/// What rings first by these settings, two that have read such values for an hour, the first one taken to read so much too high.
fn rung(
    first: f32,
    second: Option<f32>,
    offset: f32,
    change: fn(&mut AlarmSettings),
) -> Option<(Kind, Trigger)> {
    let mut settings = AlarmSettings::default();
    change(&mut settings);
    settings.low_ahead.on = false;
    let settings = Settings::default().with_alarms(AlarmPlan::new(settings).unwrap());
    let mut two = Pair::new(settings, settings).unwrap();
    two.core.fusion = two.core.fusion.off_by([offset, 0.0]);
    let mut rung = None;
    let value = |side, m| match side {
        Side::First => Some(first + (m / 5 % 2) as f32 * 0.4),
        Side::Second => second.map(|v| v + (m / 5 % 2) as f32 * 0.4),
    };
    let _ = run(&mut two, 0..6, value, |_, view| {
        rung = rung.or(view.fused().rings().first().map(|ring| (ring.kind, ring.trigger)));
    });
    rung
}

#[test]
fn highs_go_by_both_and_by_the_lower_one_where_that_is_under_120() {
    let high = |settings: &mut AlarmSettings| {
        settings.high.limit = Glucose::clamped(130.0);
        settings.high.hysteresis = Glucose::clamped(0.0);
        settings.high.delay = Span::ZERO;
    };
    // the first one alone rings at once: begin with the second, away
    let two = |first, second| {
        let mut settings = AlarmSettings::default();
        high(&mut settings);
        let settings = Settings::default().with_alarms(AlarmPlan::new(settings).unwrap());
        let mut two = Pair::new(settings, settings).unwrap();
        let _ = two.push(Side::Second, &reading(0, second));
        let view = two.push(Side::First, &reading(0, first));
        view.fused().rings().iter().find(|ring| ring.kind == Kind::High).map(|ring| ring.trigger)
    };
    assert_eq!(two(200.0, 115.0), None);
    match two(200.0, 125.0) {
        Some(Trigger::Sensor(both)) => assert!((150.0..180.0).contains(&both.mg_dl()), "{both}"),
        other => panic!("{other:?}"),
    }
    assert_eq!(two(128.0, 126.0), None);
    // the estimate's own word under 120 is no high
    let at_120 = |settings: &mut AlarmSettings| {
        settings.high.limit = Glucose::clamped(120.0);
        settings.high.hysteresis = Glucose::clamped(0.0);
        settings.high.delay = Span::ZERO;
    };
    assert!(
        matches!(rung(126.0, None, 0.0, at_120), Some((Kind::High, Trigger::Sensor(g))) if g.mg_dl() > 125.0)
    );
    assert!(
        matches!(rung(126.0, None, 30.0, at_120), Some((Kind::High, Trigger::Sensor(g))) if g.mg_dl() == 120.0)
    );
}

#[test]
fn a_fingerstick_that_moves_a_calibration_moves_its_offset_as_much() {
    let mut two = pair();
    let apart = |side, m| healthy(side, m).map(|v| if side == Side::First { v + 45.0 } else { v });
    let _ = run(&mut two, 0..300, apart, |_, _| {});
    let mut most = 0.0_f32;
    for k in 0..12 {
        let from = 300 + 240 * k;
        let _ = run(&mut two, from..from + 240, apart, |_, _| {});
        let minute = from + 239;
        let stick = Fingerstick::new(at(minute), Glucose::clamped(person(minute)));
        let before = two.core.chains.each_ref().map(|chain| chain.newest.unwrap().calibrated.mg_dl());
        let parts = says::say(&two.core.chains, two.core.now()).map(|one| one.part);
        let mut fusion = two.core.fusion;
        fusion.fingerstick(&parts, [0.0; 2], stick.glucose().mg_dl(), stick.meter_sd());
        let leads = two.core.leads;
        assert!(two.fingerstick(&stick).iter().all(FingerstickOutcome::is_used));
        let after = two.core.chains.each_ref().map(|chain| chain.newest.unwrap().calibrated.mg_dl());
        let moved = [after[0] - before[0], after[1] - before[1]];
        for (side, moved) in moved.into_iter().enumerate() {
            near(two.core.fusion.offsets()[side], fusion.offsets()[side] + moved, 1e-2, "offset");
            let mut lead = leads[side];
            lead.shift(moved);
            assert_eq!(two.core.leads[side], lead);
            most = most.max(moved.abs());
        }
    }
    assert!(most > 2.0, "{most}");
}

#[test]
fn what_a_person_does_reaches_both() {
    let low = || {
        let mut two = pair();
        let view = run(&mut two, 0..60, |_, m| Some(64.0 + (m % 3) as f32), |_, _| {});
        assert!(view.fused().alarms().get(Kind::Low).is_some_and(|held| !held.acknowledged));
        two
    };
    let held =
        |two: &mut Pair| two.tick(at(60)).fused().alarms().get(Kind::Low).map(|held| held.acknowledged);
    let mut two = low();
    two.acknowledge();
    assert_eq!(held(&mut two), Some(true));
    let mut two = low();
    assert!(two.snooze(Kind::Low, Span::from_hours(2)) > Span::from_mins(5));
    assert_eq!(held(&mut two), Some(true));
    assert_eq!(two.snooze(Kind::High, Span::from_hours(2)), Span::from_hours(2));
    // other settings
    let mut two = low();
    let mut settings = AlarmSettings::default();
    settings.low.limit = Glucose::clamped(57.0);
    settings.low.hysteresis = Glucose::clamped(1.0);
    two.set_alarm_plan(AlarmPlan::new(settings).unwrap());
    assert_eq!(
        (held(&mut two), two.alarms().plan().settings_at(None).low.limit),
        (None, Glucose::clamped(57.0))
    );
    // how long each has been worn
    two.sensor_started(Side::Second, at(60));
    let _ = run(&mut two, 60..90, healthy, |_, _| {});
    assert_eq!(two.wear(Side::First), None);
    assert_eq!(two.wear(Side::Second).map(|wear| wear.worn()), Some(Span::from_mins(30)));
    // a restart
    two.restart();
    assert!(Side::BOTH.iter().all(|side| two.history(*side).is_empty() && two.wear(*side).is_none()));
    let view = two.tick(at(90));
    assert!(
        view.fused().newest().is_none() && Side::BOTH.iter().all(|side| view.side(*side).newest.is_none())
    );
    assert!(view.fused().alarms().get(Kind::Low).is_none());
}

#[test]
fn the_zone_says_which_settings_hold_for_both() {
    let day = AlarmSettings::default();
    let mut plan = AlarmPlan::new(day).unwrap();
    let mut night = day;
    night.low.limit = Glucose::clamped(80.0);
    let profile = plan.add_profile(night).unwrap();
    let days = crate::alarm::Weekdays::ALL;
    plan.add_slot(crate::alarm::Slot { days, from: 22 * 60, to: 6 * 60, profile }).unwrap();
    // DAY is 01:46 UTC
    for (offset, rings) in [(None, false), (Some(Span::ZERO), true), (Some(Span::from_hours(11)), false)] {
        let mut two = pair();
        two.set_alarm_plan(plan);
        two.set_utc_offset(offset);
        let _ = run(&mut two, 0..30, |_, m| Some(76.0 + (m % 3) as f32), |_, _| {});
        assert_eq!(two.alarms().active().contains(Kind::Low), rings, "{offset:?}");
    }
}

/// What fingersticks would make of a low, held at the most that they may: the cut is doubt.
#[test]
fn an_estimate_that_is_held_down_is_as_unsure_as_it_is_held() {
    let mut two = pair();
    let low = |side, m| Some(74.0 + 0.3 * wobble(side, m));
    let _ = run(&mut two, 0..600, low, |_, _| {});
    let mut most = 0.0_f32;
    for k in 0..3 {
        let _ = two.fingerstick(&Fingerstick::new(at(599 + 60 * k), Glucose::clamped(115.0)));
        let view = run(&mut two, 600 + 60 * k..660 + 60 * k, low, |_, _| {});
        let parts = says::say(&two.core.chains, two.core.now()).map(|one| one.part);
        let fused = two.core.fusion.fused(&parts).unwrap();
        let estimate = view.fused().estimate().unwrap();
        let cut = fused.glucose - estimate.glucose().mg_dl();
        let held = two
            .core
            .chains
            .each_ref()
            .map(|chain| chain.calibration.max_corrected(chain.newest.unwrap().sensor).mg_dl());
        near(estimate.glucose().mg_dl(), fused.glucose.min(held[0].max(held[1])), 1e-3, "the higher of both");
        near(estimate.glucose_sd() / math::sqrt(fused.variance + cut * cut), 1.0, 1e-4, "its deviation");
        near(
            view.fused().calibration_sd().unwrap() / math::sqrt(fused.offset_variance),
            1.0,
            1e-4,
            "offsets",
        );
        most = most.max(cut);
    }
    assert!(most > 3.0, "{most}");
}

/// What one that is gone read last, and was not believed, is not shown beside what another reads in doubt.
#[test]
fn a_leap_of_one_that_is_gone_is_not_shown() {
    let mut two = pair();
    let _ = run(&mut two, 0..300, healthy, |_, _| {});
    let view = run(&mut two, 300..302, |side, _| (side == Side::First).then_some(45.0), |_, _| {});
    assert_eq!(
        view.side(Side::First).newest.map(|newest| newest.1.mg_dl() > 100.0),
        Some(true),
        "not believed"
    );
    let view = run(&mut two, 302..420, |side, _| (side == Side::Second).then_some(104.0), |_, _| {});
    assert!(view.side(Side::Second).reasons.contains(Reason::Stuck));
    let shown = view.fused().shown().unwrap();
    assert_eq!((shown.glucose.whole_mg_dl(), shown.doubted), (104, true));
}

/// A sensor's own word is heard, whatever number it puts to it.
#[test]
fn below_range_rings_the_floor_at_any_end() {
    for side in Side::BOTH {
        let mut two = pair();
        let _ = run(&mut two, 0..60, healthy, |_, _| {});
        let view = two.push(side, &reading(60, 70.0).with_status(Status::BelowRange));
        let ring = view.fused().rings().first().copied().unwrap();
        assert_eq!((ring.kind, ring.trigger), (Kind::Floor, Trigger::BelowRange(Glucose::clamped(70.0))));
    }
}

/// Silence is counted from the start of the only sensor, as of a power cut.
#[test]
fn a_new_sensor_alone_owes_its_first_reading_20_minutes_after_its_warm_up_or_start() {
    let quality = QualityConfig::default().with_warm_up(Span::from_mins(5));
    let settings = Settings::default().with_quality(quality);
    for side in Side::BOTH {
        let mut two = Pair::new(settings, settings).unwrap();
        let _ = run(&mut two, 0..300, |one, m| healthy(one, m).filter(|_| one == side), |_, _| {});
        two.sensor_started(side, at(300));
        let mut rang = None;
        let _ = run(
            &mut two,
            300..330,
            |_, _| None,
            |minute, view| {
                rang = rang.or(rings(view, Kind::NoData).then_some(minute));
            },
        );
        assert!(rang.is_some_and(|minute| (319..=321).contains(&minute)), "{rang:?}");
    }
}

/// What has rung when these are over, with what triggered it.
fn heard(
    two: &mut Pair,
    minutes: core::ops::Range<u32>,
    value: impl Fn(Side, u32) -> Option<f32>,
) -> Vec<(Kind, Trigger)> {
    let mut heard = Vec::new();
    let _ = run(two, minutes, value, |_, view| {
        heard.extend(view.fused().rings().iter().map(|ring| (ring.kind, ring.trigger)));
    });
    heard
}

#[test]
fn each_thing_that_is_known_reaches_the_alarms() {
    let lived = || {
        let mut two = pair();
        let _ = run(&mut two, 0..300, healthy, |_, _| {});
        two
    };
    let first = |view: &PairView| view.fused().rings().first().map(|ring| (ring.kind, ring.trigger));
    // a reading whose time cannot be
    let mut two = lived();
    let view = two.push(Side::First, &reading(290, 45.0));
    assert_eq!(first(&view), Some((Kind::Floor, Trigger::Unplaced(Glucose::clamped(45.0)))));
    // one that calibration lifts
    let mut two = lived();
    if let Some(newest) = &mut two.core.chains[0].newest {
        (newest.sensor, newest.calibrated) = (Glucose::clamped(50.0), Glucose::clamped(75.0));
    }
    let view = two.tick(at(300));
    assert_eq!(first(&view), Some((Kind::Floor, Trigger::Uncalibrated(Glucose::clamped(50.0)))));
    // one that is not believed, for ten minutes
    let mut two = lived();
    let rung = heard(&mut two, 300..316, |side, m| {
        if side == Side::First { (m == 300).then_some(45.0) } else { healthy(side, m) }
    });
    assert_eq!(rung, [(Kind::Doubt, Trigger::Doubt)]);
    // one that stands still, alone
    let mut two = lived();
    let rung = heard(&mut two, 300..400, |side, _| (side == Side::First).then_some(118.0));
    assert!(rung.contains(&(Kind::Doubt, Trigger::Doubt)), "{rung:?}");
    // what is ahead
    let mut two = lived();
    let rung = heard(&mut two, 300..330, |_, m| Some(118.0 - 1.6 * (m - 300) as f32).filter(|v| *v > 74.0));
    assert!(matches!(rung.first(), Some((Kind::LowAhead, Trigger::Probability(_)))), "{rung:?}");
    // rate and estimate
    let mut settings = AlarmSettings::default();
    (settings.steep_fall.on, settings.low_ahead.on) = (true, false);
    settings.steep_fall.limit = Rate::clamped(1.0);
    let mut two = lived();
    two.set_alarm_plan(AlarmPlan::new(settings).unwrap());
    let fall = |_, m| Some(118.0 - 2.0 * (m - 300) as f32).filter(|v| *v > 72.0);
    let rung = heard(&mut two, 300..330, fall);
    assert!(
        rung.iter().any(|(kind, by)| *kind == Kind::SteepFall && matches!(by, Trigger::Rate(_))),
        "{rung:?}"
    );
    assert!(
        rung.iter().any(|(kind, by)| *kind == Kind::Low && matches!(by, Trigger::Estimate(_))),
        "{rung:?}"
    );
}

#[test]
fn what_is_not_sure_by_the_other_says_so_and_nothing_else_does() {
    let reasons = |two: &mut Pair, minutes, value: fn(Side, u32) -> Option<f32>| {
        let view = run(two, minutes, value, |_, _| {});
        (view.fused().is_monitoring(), view.fused().reasons().iter().collect::<Vec<_>>())
    };
    let mut two = pair();
    assert_eq!(reasons(&mut two, 0..300, healthy), (true, Vec::new()));
    // one falls and the other does not: at first they are no further apart than is usual
    let view = run(
        &mut two,
        300..336,
        |side, m| {
            healthy(side, m).map(|v| if side == Side::First { 118.0 - 1.5 * (m - 300) as f32 } else { v })
        },
        |_, view| {
            let low = view.side(Side::First).newest.is_some_and(|(_, newest)| newest <= LOW);
            if low && view.agreement() == Agreement::Together {
                assert!(
                    view.fused().reasons().iter().eq([Reason::SecondSensor]) && !view.fused().is_monitoring()
                );
            }
        },
    );
    assert!(!view.fused().is_monitoring() && view.fused().reasons().contains(Reason::SecondSensor));
    // nothing reads, and nobody knows why
    let mut two = pair();
    let _ = run(&mut two, 0..300, healthy, |_, _| {});
    two.power_returned();
    let view = two.tick(at(301));
    assert!(
        !view.fused().is_monitoring() && view.fused().reasons().is_empty(),
        "{:?}",
        view.fused().reasons()
    );
    // one alone that leaps says that, and not that there is another
    let alone = |side, m| {
        healthy(side, m).filter(|_| side == Side::First).map(|v| if m == 300 { v + 150.0 } else { v })
    };
    let mut two = pair();
    let _ = run(&mut two, 0..301, alone, |_, _| {});
    let view = two.tick(at(301));
    assert!(
        !view.fused().is_monitoring() && view.fused().reasons().iter().eq([Reason::Jump]),
        "{:?}",
        view.fused().reasons()
    );
}

#[test]
fn one_known_to_be_off_is_not_sure_alone_and_the_good_one_is() {
    for left in Side::BOTH {
        let mut two = pair();
        let leap =
            |side, m| healthy(side, m).map(|v| if side == Side::Second && m >= 1440 { v + 80.0 } else { v });
        let view = run(&mut two, 0..1500, leap, |_, _| {});
        assert_eq!(view.agreement(), Agreement::Suspect(Side::Second));
        let view = run(&mut two, 1500..1530, |side, m| leap(side, m).filter(|_| side == left), |_, _| {});
        assert_eq!(view.agreement(), Agreement::Only(left));
        let good = left == Side::First;
        assert_eq!(view.fused().is_monitoring(), good);
        assert_eq!(view.fused().shown().map(|shown| shown.doubted), Some(!good));
        assert_eq!(view.fused().reasons().contains(Reason::SecondSensor), !good);
    }
}
