//! What each of the two says, and what follows of both: case by case.

use super::super::says::{Says, any, bound, doubted, lower, lows, raw, reasons, say};
use super::*;
use crate::alarm::Doubt;
use crate::monitor::Newest;
use crate::quality::Reasons;

/// One with nothing against it that reads `sensor`, calibrated to `calibrated`.
fn one(sensor: f32, calibrated: f32) -> Says {
    let newest = Newest {
        at: at(0),
        sensor: Glucose::clamped(sensor),
        calibrated: Glucose::clamped(calibrated),
        status: Status::Normal,
    };
    Says {
        known: Some(newest),
        present: Some(newest),
        stands: Some(newest),
        unbelieved: None,
        estimate: None,
        reasons: Reasons::default(),
        doubt: Doubt::None,
        clean: true,
        part: None,
        course: None,
        direction: None,
        low: None,
    }
}

fn reads(mg_dl: f32) -> Says {
    one(mg_dl, mg_dl)
}

fn in_doubt(mg_dl: f32, doubt: Doubt) -> Says {
    Says { doubt, clean: false, ..reads(mg_dl) }
}

/// One that denies is held against by fingersticks.
fn off(mg_dl: f32) -> Says {
    Says { reasons: Reasons::default().with(Reason::Fingersticks), ..in_doubt(mg_dl, Doubt::Disbelieved) }
}

fn with_status(mg_dl: f32, status: Status) -> Says {
    let newest = Newest { status, ..reads(mg_dl).present.unwrap() };
    Says { known: Some(newest), present: Some(newest), stands: Some(newest), ..reads(mg_dl) }
}

fn absent() -> Says {
    Says { known: None, present: None, stands: None, clean: false, ..reads(0.0) }
}

/// One that was low when it fell silent.
fn left(mg_dl: f32) -> Says {
    Says { present: None, clean: false, ..reads(mg_dl) }
}

/// One that was not.
fn silent() -> Says {
    Says { stands: None, ..left(120.0) }
}

fn mg_dl(glucose: Option<Glucose>) -> Option<f32> {
    glucose.map(Glucose::mg_dl)
}

/// In either order, which must make no difference.
fn both<T: PartialEq + core::fmt::Debug>(
    first: Says,
    second: Says,
    denied: Option<Side>,
    told: impl Fn(&[Says; 2], Option<Side>) -> T,
) -> T {
    let there = told(&[first, second], denied);
    let back = told(&[second, first], denied.map(Side::other));
    assert_eq!(there, back);
    there
}

#[test]
fn the_rule_for_lows_goes_by_the_lower_and_by_one_in_doubt_where_it_alone_is_low() {
    use Doubt::{Disbelieved, None as No, Pressure, WarmUp};
    let limit = Glucose::clamped(70.0);
    let first = Some(Side::First);
    let warms = Says { doubt: WarmUp, ..absent() };
    for (one, other, denied, want) in [
        (reads(100.0), reads(120.0), None, (Some(100.0), No)),
        (reads(100.0), absent(), None, (Some(100.0), No)),
        (reads(66.0), reads(120.0), None, (Some(66.0), No)),
        // in doubt and low, the other not: it counts, and its doubt
        (in_doubt(66.0, Pressure), reads(120.0), None, (Some(66.0), Pressure)),
        (in_doubt(70.0, Pressure), reads(70.1), None, (Some(70.0), Pressure)),
        (in_doubt(70.1, Pressure), reads(120.0), None, (Some(120.0), No)),
        (in_doubt(60.0, Pressure), reads(70.0), None, (Some(70.0), No)),
        // alone, or both in doubt: the lower one
        (in_doubt(90.0, Disbelieved), absent(), None, (Some(90.0), Disbelieved)),
        (in_doubt(90.0, Disbelieved), in_doubt(66.0, Pressure), None, (Some(66.0), Pressure)),
        // denied by fingersticks beside a good one: not counted but at the floor
        (reads(60.0), reads(120.0), first, (Some(120.0), No)),
        (reads(55.1), reads(120.0), first, (Some(120.0), No)),
        (reads(55.0), reads(120.0), first, (Some(55.0), No)),
        // what is held against it by itself makes no low silent
        (off(60.0), reads(120.0), None, (Some(60.0), Disbelieved)),
        (off(55.0), reads(120.0), None, (Some(55.0), Disbelieved)),
        (reads(120.0), reads(60.0), first, (Some(60.0), No)),
        // nor beside one that is not good
        (reads(60.0), in_doubt(120.0, Pressure), first, (Some(60.0), No)),
        (off(60.0), off(64.0), None, (Some(60.0), Disbelieved)),
        (off(60.0), absent(), None, (Some(60.0), Disbelieved)),
        // neither
        (absent(), absent(), None, (None, No)),
        (absent(), warms, None, (None, WarmUp)),
        (warms, warms, None, (None, WarmUp)),
        // one that read before is missed, but past its end
        (silent(), warms, None, (None, No)),
        (Says { reasons: Reasons::default().with(Reason::PastEnd), ..silent() }, warms, None, (None, WarmUp)),
        // what was low when it fell silent counts beside what is not low
        (left(66.0), reads(120.0), None, (Some(66.0), No)),
        (left(66.0), reads(120.0), first, (Some(120.0), No)),
        (left(66.0), reads(60.0), None, (Some(60.0), No)),
        // nor makes it the floor of one silent that the other is low too
        (off(55.0), reads(60.0), None, (Some(55.0), Disbelieved)),
        (off(50.0), reads(70.0), None, (Some(50.0), Disbelieved)),
        (off(50.0), reads(55.0), None, (Some(55.0), No)),
        (off(56.0), reads(60.0), None, (Some(60.0), No)),
    ] {
        let told = both(one, other, denied, |says, denied| {
            let (lowest, doubt) = lows(says, limit, denied);
            (mg_dl(lowest), doubt)
        });
        assert_eq!(told, want, "{:?} {:?} {denied:?}", one.present, other.present);
    }
}

#[test]
fn the_lower_of_those_that_count_is_told_with_its_doubt() {
    let says = [in_doubt(90.0, Doubt::Pressure), reads(100.0)];
    let told = |says, counts| lower(&says, counts).map(|(newest, doubt)| (newest.calibrated.mg_dl(), doubt));
    assert_eq!(told(says, [true; 2]), Some((90.0, Doubt::Pressure)));
    assert_eq!(told(says, [false, true]), Some((100.0, Doubt::None)));
    assert_eq!(told(says, [false; 2]), None);
    assert_eq!(told([reads(100.0), reads(90.0)], [true; 2]), Some((90.0, Doubt::None)));
    // of equals the first
    assert_eq!(
        told([in_doubt(90.0, Doubt::Pressure), reads(90.0)], [true; 2]),
        Some((90.0, Doubt::Pressure))
    );
    assert!(any(&[absent(), reads(90.0)], |one| one.clean) && any(&[reads(90.0), absent()], |one| one.clean));
    assert!(!any(&[absent(), absent()], |one| one.clean));
}

#[test]
fn the_lowest_sensor_and_the_end_of_its_range_are_told_of_present_ones() {
    let below = |mg_dl| with_status(mg_dl, Status::BelowRange);
    for (first, second, want) in [
        (one(80.0, 100.0), one(90.0, 60.0), (Some(80.0), None)),
        (below(40.0), reads(120.0), (Some(40.0), Some(40.0))),
        (below(40.0), below(38.0), (Some(38.0), Some(38.0))),
        (below(40.0), reads(39.0), (Some(39.0), Some(40.0))),
        (with_status(400.0, Status::AboveRange), reads(120.0), (Some(120.0), None)),
        (below(40.0), absent(), (Some(40.0), Some(40.0))),
        (absent(), absent(), (None, None)),
    ] {
        let told = both(first, second, None, |says, _| {
            let (lowest, below) = raw(says);
            (mg_dl(lowest), mg_dl(below))
        });
        assert_eq!(told, want);
    }
    let old = Says { present: None, stands: None, ..below(40.0) };
    assert_eq!(mg_dl(raw(&[old, reads(120.0)]).0), Some(120.0));
}

#[test]
fn the_end_of_a_range_is_told_where_it_is_all_that_is_known() {
    let (low, high) = (with_status(40.0, Status::BelowRange), with_status(400.0, Status::AboveRange));
    let (at_most, at_least) =
        (Some(Bound::AtMost(Glucose::clamped(40.0))), Some(Bound::AtLeast(Glucose::clamped(400.0))));
    for (first, second, want) in [
        (low, reads(120.0), at_most),
        (low, absent(), at_most),
        (low, high, at_most),
        (high, absent(), at_least),
        (high, high, at_least),
        (high, reads(120.0), None),
        (reads(120.0), reads(130.0), None),
        (absent(), absent(), None),
    ] {
        assert_eq!(both(first, second, None, |says, _| bound(says)), want);
    }
}

#[test]
fn what_is_shown_in_doubt() {
    let now =
        |mg_dl: f32| Some(Estimate::from_filter(at(0), (mg_dl, 0.0, 0.0), (0.0, 0.0), (25.0, 0.0, 0.1)));
    let leapt = |mg_dl: f32, to: f32| Says { unbelieved: Some(Glucose::clamped(to)), ..reads(mg_dl) };
    let first = Some(Side::First);
    for (one, other, estimate, denied, want) in [
        (reads(110.0), reads(120.0), now(115.0), None, None),
        // a low that the estimate would hide
        (reads(66.0), reads(120.0), now(93.0), None, Some(66.0)),
        (reads(70.0), reads(120.0), now(95.0), None, Some(70.0)),
        (reads(70.1), reads(120.0), now(95.0), None, None),
        (reads(66.0), reads(72.0), now(70.0), None, None),
        (reads(66.0), reads(72.0), now(70.1), None, Some(66.0)),
        (reads(66.0), reads(72.0), None, None, None),
        // one that fingersticks deny, the other good; or not
        (reads(66.0), reads(120.0), now(93.0), first, None),
        (reads(66.0), in_doubt(120.0, Doubt::Pressure), now(93.0), first, Some(66.0)),
        (reads(120.0), reads(66.0), now(93.0), first, Some(66.0)),
        // a sensor at the floor is never lifted
        (Says { ..one(55.0, 75.0) }, reads(120.0), now(90.0), None, Some(55.0)),
        (one(55.0, 75.0), reads(120.0), now(90.0), first, Some(55.0)),
        (one(55.1, 75.0), reads(120.0), now(90.0), None, None),
        (one(55.0, 75.0), reads(54.0), now(55.0), None, None),
        (one(55.0, 75.0), reads(54.0), now(55.1), None, Some(54.0)),
        // in doubt without a good one
        (in_doubt(110.0, Doubt::Pressure), absent(), now(110.0), None, Some(110.0)),
        (
            in_doubt(110.0, Doubt::Pressure),
            in_doubt(130.0, Doubt::Disbelieved),
            now(120.0),
            None,
            Some(110.0),
        ),
        (in_doubt(110.0, Doubt::Pressure), reads(130.0), now(130.0), None, None),
        // a leap, where no other says what it is
        (leapt(120.0, 200.0), absent(), now(150.0), None, Some(200.0)),
        (leapt(120.0, 200.0), reads(120.0), now(120.0), None, None),
        (leapt(120.0, 200.0), leapt(120.0, 60.0), now(120.0), None, Some(60.0)),
        (leapt(120.0, 200.0), in_doubt(110.0, Doubt::Pressure), now(115.0), None, Some(200.0)),
        // of a leap and a low that the estimate would hide the lower
        (leapt(66.0, 200.0), absent(), now(93.0), None, Some(66.0)),
        (leapt(66.0, 50.0), absent(), now(93.0), None, Some(50.0)),
        (absent(), absent(), now(120.0), None, None),
    ] {
        let told = both(one, other, denied, |says, denied| {
            mg_dl(doubted(says, estimate, denied, LOW, false).map(|(glucose, _)| glucose))
        });
        assert_eq!(told, want, "{:?} {:?} {denied:?}", one.present, other.present);
    }
    // a low by the rule's own limit; what is left of two that were apart; what was low when it fell silent
    let told = |one, other, limit, open| {
        both(one, other, None, |says, _| {
            mg_dl(doubted(says, now(97.0), None, Glucose::clamped(limit), open).map(|(glucose, _)| glucose))
        })
    };
    assert_eq!(told(reads(85.0), reads(110.0), 90.0, false), Some(85.0));
    assert_eq!(told(reads(85.0), reads(110.0), 84.9, false), None);
    assert_eq!(told(reads(65.0), reads(110.0), 100.0, false), Some(65.0));
    assert_eq!(told(reads(97.0), absent(), 70.0, true), Some(97.0));
    assert_eq!(told(left(60.0), reads(97.0), 70.0, false), Some(97.0));
}

#[test]
fn reasons_are_those_that_hold_for_what_is_shown() {
    let with = |reasons: &[Reason]| reasons.iter().fold(Reasons::default(), |all, reason| all.with(*reason));
    let of = |reasons: &[Reason]| Says { reasons: with(reasons), ..reads(120.0) };
    let says = [of(&[Reason::Noise, Reason::FirstDay]), of(&[Reason::Gap, Reason::Noise])];
    for (agreement, want) in [
        (Agreement::Together, with(&[Reason::Noise])),
        (Agreement::Apart, with(&[Reason::Noise, Reason::SecondSensor])),
        (Agreement::Neither, with(&[Reason::Noise, Reason::FirstDay, Reason::Gap])),
        (Agreement::Only(Side::First), says[0].reasons),
        (Agreement::Only(Side::Second), says[1].reasons),
        (Agreement::Suspect(Side::First), says[1].reasons),
        (Agreement::Suspect(Side::Second), says[0].reasons),
    ] {
        assert_eq!(reasons(&says, agreement), want, "{agreement}");
    }
}

#[test]
fn a_value_of_20_minutes_is_not_present_and_says_nothing_beside_one_that_is() {
    let mut two = pair();
    let _ = run(&mut two, 0..60, healthy, |_, _| {});
    let _ = run(&mut two, 60..100, |side, m| healthy(side, m).filter(|_| side == Side::Second), |_, _| {});
    // the first read at minute 55
    for (minute, present) in [(74, true), (75, false)] {
        let [first, second] =
            say(&two.core.chains, at(0).plus(Span::from_mins(minute)).plus(since_start(&two)));
        assert_eq!((first.present.is_some(), first.clean, first.part.is_some()), (present, present, present));
        assert_eq!((first.estimate.is_some(), first.low.is_some()), (present, present));
        assert!(first.known.is_some() && first.course.is_some(), "and its course is told for half an hour");
        assert!(second.present.is_some() && second.part.is_some());
        assert!(present || first.direction.is_none());
    }
    // with none present what was read last is all there is
    let later = say(&two.core.chains, two.core.now().plus(Span::from_mins(25)));
    assert!(later.iter().all(|one| one.present.is_none()) && later[1].part.is_some());
    assert!(later[1].estimate.is_some() && later[1].low.is_some());
}

/// How far the count is from the clock.
fn since_start(two: &Pair) -> Span {
    two.core.now().since(two.core.chains[0].timeline.stamp_of(two.core.now()))
}

#[test]
fn what_each_brings_is_its_estimate_and_what_speaks_against_it() {
    let mut two = pair();
    two.set_uptime(0);
    let _ = two.tick(at(0));
    two.sensor_started(Side::Second, at(0));
    let value = |side, m| match side {
        Side::First => Some(if m < 800 { 118.0 + 4.0 * wobble(side, m) } else { 118.0 }),
        Side::Second => Some(118.0 + 4.0 * wobble(side, m)),
    };
    let _ = run(&mut two, 0..880, value, |_, _| {});
    let now = two.core.now();
    let says = say(&two.core.chains, now);
    for (side, (one, chain)) in Side::BOTH.into_iter().zip(says.iter().zip(&two.core.chains)) {
        let (part, estimate) = (one.part.unwrap(), one.estimate.unwrap());
        let near = |one: f32, other: f32| assert!((one - other).abs() < 1e-3, "{side}: {one} for {other}");
        near(part.glucose, estimate.glucose().mg_dl());
        near(part.variance, estimate.glucose_sd() * estimate.glucose_sd());
        near(part.rate, estimate.rate().mg_dl_per_min());
        let open = chain.calibration.sd(now, estimate.glucose());
        let noise = 1.5 * math::ln(chain.estimator.noise_scale());
        assert!(noise.abs() > 0.01, "{noise}");
        if side == Side::First {
            assert!(one.reasons.iter().eq([Reason::Stuck]), "{:?}", one.reasons);
            near(part.against, noise + 4.0);
            near(part.calibration_variance / (open * open), 1.0);
            assert_eq!(part.still, 75.0);
        } else {
            assert!(one.reasons.iter().eq([Reason::FirstDay]), "{:?}", one.reasons);
            near(part.against, noise + 2.0);
            near(part.calibration_variance / (open * open), 2.25);
            assert_eq!(part.still, 0.0);
        }
        assert!(!part.ends);
    }
    // at an end of its range
    for (mg_dl, status) in [(39.0, Status::BelowRange), (401.0, Status::AboveRange)] {
        let mut two = pair();
        let view = two.push(Side::First, &reading(0, mg_dl).with_status(status));
        assert!(view.fused().bound().is_some());
        let [first, second] = say(&two.core.chains, two.core.now());
        assert!(first.part.is_some_and(|part| part.ends) && second.part.is_none());
    }
}

#[test]
fn a_low_stands_for_two_hours_and_a_leap_for_20_minutes_after_their_sensor_fell_silent() {
    for (mg_dl, low) in [(60.0, true), (85.0, false)] {
        let mut two = pair();
        let value = |side, _| Some(if side == Side::First { mg_dl } else { 120.0 });
        let _ = run(&mut two, 0..31, value, |_, _| {}); // the first read at minute 30
        let told = |minutes: i32| {
            let now = two.core.now().plus(Span::from_mins(minutes));
            let [first, _] = say(&two.core.chains, now);
            (first.present.is_some(), first.stands.is_some())
        };
        assert_eq!(told(19), (true, true));
        assert_eq!([told(20), told(119), told(120)], [(false, low), (false, low), (false, false)], "{mg_dl}");
    }
    let mut two = pair();
    let _ = run(&mut two, 0..300, healthy, |_, _| {});
    let _ = run(&mut two, 300..301, |_, _| Some(45.0), |_, _| {});
    let leapt = |minutes: i32| {
        let now = two.core.now().plus(Span::from_mins(minutes));
        say(&two.core.chains, now)[0].unbelieved.map(Glucose::mg_dl)
    };
    assert_eq!([leapt(0), leapt(19), leapt(20), leapt(21)], [Some(45.0), Some(45.0), None, None]);
}

#[test]
fn a_newest_reading_is_low_by_its_value_by_the_sensors_or_by_its_word() {
    let low = |says: Says| says.present.is_some_and(|newest| newest.is_low());
    assert_eq!([70.0, 70.1].map(|mg_dl| low(reads(mg_dl))), [true, false]);
    assert_eq!([55.0, 55.1].map(|mg_dl| low(one(mg_dl, 75.0))), [true, false]);
    assert!(low(with_status(90.0, Status::BelowRange)) && !low(with_status(90.0, Status::AboveRange)));
}

#[test]
fn a_reading_is_low_as_calibrated_very_low_as_read_or_by_its_own_word() {
    let low = |one: Says| one.present.unwrap().is_low();
    assert!(low(one(90.0, 70.0)) && !low(one(56.0, 70.1)));
    assert!(low(one(55.0, 90.0)) && low(with_status(80.0, Status::BelowRange)));
}
