extern crate std;
use super::*;
use crate::alarm::Kind;
use crate::quality::{QualityConfig, Reason};
use crate::snapshot;
use crate::{Bound, Status};
use std::vec::Vec;

mod answers;
mod each;

type Pair = PairMonitor<24>;

const DAY: u32 = 1_000_000_000;

fn pair() -> Pair {
    Pair::new(Settings::default(), Settings::default()).unwrap()
}

fn at(minute: u32) -> Instant {
    Instant::from_secs(DAY + minute * 60)
}

fn reading(minute: u32, mg_dl: f32) -> Reading {
    Reading::new(at(minute), Glucose::clamped(mg_dl))
}

/// Minutes from the first to the last: both read every five, the second two minutes later; ticks between.
fn run(
    pair: &mut Pair,
    minutes: core::ops::Range<u32>,
    value: impl Fn(Side, u32) -> Option<f32>,
    mut each: impl FnMut(u32, &PairView),
) -> PairView {
    let mut view = pair.tick(at(minutes.start));
    for minute in minutes {
        pair.set_uptime(minute * 60);
        view = match minute % 5 {
            0 | 2 => {
                let side = if minute % 5 == 0 { Side::First } else { Side::Second };
                match value(side, minute) {
                    Some(mg_dl) => {
                        let status = if mg_dl <= 40.0 { Status::BelowRange } else { Status::Normal };
                        pair.push(side, &reading(minute, mg_dl).with_status(status))
                    }
                    None => pair.tick(at(minute)),
                }
            }
            _ => pair.tick(at(minute)),
        };
        each(minute, &view);
    }
    view
}

/// A person whose glucose goes up and down by 25 about 120 mg/dL in two hours and a half; sensors wobble a little.
fn person(minute: u32) -> f32 {
    120.0 + 25.0 * math::exp(-((minute % 150) as f32 - 75.0) * ((minute % 150) as f32 - 75.0) / 1200.0)
}

fn wobble(side: Side, minute: u32) -> f32 {
    let k = minute.wrapping_mul(2_654_435_761).wrapping_add(side as u32 * 97) >> 28;
    k as f32 * 0.4 - 3.0
}

fn healthy(side: Side, minute: u32) -> Option<f32> {
    Some(person(minute) + wobble(side, minute))
}

fn rings(view: &PairView, kind: Kind) -> bool {
    view.fused().rings().iter().any(|ring| ring.kind == kind)
}

#[test]
fn two_that_agree_share_and_are_surer_than_one() {
    let (mut two, mut one) = (pair(), pair());
    let view = run(&mut two, 0..1440, healthy, |_, _| {});
    let alone = run(&mut one, 0..1440, |side, m| healthy(side, m).filter(|_| side == Side::First), |_, _| {});
    assert_eq!(view.agreement(), Agreement::Together);
    assert_eq!(alone.agreement(), Agreement::Only(Side::First));
    let weight = view.side(Side::First).weight;
    assert!((0.2..=0.8).contains(&weight), "{weight}");
    let sd = |view: &PairView| view.fused().estimate().unwrap().glucose_sd();
    assert!(sd(&view) < 0.95 * sd(&alone), "{} {}", sd(&view), sd(&alone));
    let off = |view: &PairView| (view.fused().estimate().unwrap().glucose().mg_dl() - person(1439)).abs();
    assert!(off(&view) < 8.0 && off(&alone) < 12.0);
    let open = |view: &PairView| view.fused().calibration_sd().unwrap();
    assert!(open(&view) < 0.85 * open(&alone), "{} {}", open(&view), open(&alone));
}

#[test]
fn what_they_differ_by_is_learned_and_shared() {
    let mut two = pair();
    let apart = |side, m| healthy(side, m).map(|v| if side == Side::First { v + 30.0 } else { v });
    let view = run(&mut two, 0..2 * 1440, apart, |_, _| {});
    assert_eq!(view.agreement(), Agreement::Together);
    let (first, second) = (view.side(Side::First).offset, view.side(Side::Second).offset);
    assert!((first - second - 30.0).abs() < 8.0, "{first} {second}");
    // of what they differ by each has its half: their calibrations are as sure
    assert!(first > 8.0 && second < -8.0);
    let now = view.fused().estimate().unwrap().glucose().mg_dl();
    // one that falls silent costs no leap
    let single = run(
        &mut two,
        2 * 1440..2 * 1440 + 60,
        |side, m| apart(side, m).filter(|_| side == Side::Second),
        |_, _| {},
    );
    assert_eq!(single.agreement(), Agreement::Only(Side::Second));
    let later = single.fused().estimate().unwrap().glucose().mg_dl();
    assert!((later - now - (person(2 * 1440 + 59) - person(2 * 1440 - 1))).abs() < 8.0, "{now} {later}");
}

#[test]
fn fingersticks_tell_which_of_two_is_off() {
    let mut two = pair();
    let apart = |side, m| healthy(side, m).map(|v| if side == Side::First { v + 30.0 } else { v });
    let mut view = run(&mut two, 0..480, apart, |_, _| {});
    for k in 1..8 {
        let minute = 480 * k;
        let stick = Fingerstick::new(at(minute - 1), Glucose::clamped(person(minute - 1)));
        assert!(two.fingerstick(&stick).iter().any(FingerstickOutcome::is_used));
        view = run(&mut two, minute..minute + 480, apart, |_, _| {});
    }
    let now = view.fused().estimate().unwrap().glucose().mg_dl();
    assert!((now - person(480 * 8 - 1)).abs() < 8.0, "{now} {}", person(480 * 8 - 1));
}

#[test]
fn a_failing_one_is_named_and_outweighed() {
    type Fault = fn(f32, u32) -> f32;
    let faults: [(&str, Fault); 4] = [
        ("pressure", |v, m| if m < 90 { 0.55 * v } else { v }),
        ("leap up", |v, _| v + 70.0),
        ("leap down", |v, _| v - 60.0),
        ("restless", |v, m| v + if m % 2 == 0 { 35.0 } else { -35.0 }),
    ];
    for (name, fault) in faults {
        for failing in Side::BOTH {
            let mut two = pair();
            let _ = run(&mut two, 0..1440, healthy, |_, _| {});
            let mut named = None;
            let mut far = 0.0_f32;
            let value =
                |side, m: u32| healthy(side, m).map(|v| if side == failing { fault(v, m - 1440) } else { v });
            let _ = run(&mut two, 1440..1530, value, |minute, view| {
                if let Some(side) = view.agreement().suspect() {
                    assert_eq!(side, failing, "{name} at {minute}");
                    named = named.or(Some(minute - 1440));
                    assert!(view.side(failing).weight < 0.3, "{name}");
                }
                if named.is_some_and(|at| minute > 1440 + at + 10) {
                    let now = view.fused().estimate().unwrap().glucose().mg_dl();
                    far = far.max((now - person(minute)).abs());
                }
            });
            assert!(named.is_some_and(|minute| minute <= 30), "{name}: {named:?}");
            assert!(far < 22.0, "{name}: {far}");
        }
    }
}

#[test]
fn a_leap_of_one_that_is_named_is_no_offset_to_learn() {
    let mut two = pair();
    let _ = run(&mut two, 0..1440, healthy, |_, _| {});
    let leap = |side, m| healthy(side, m).map(|v| if side == Side::Second { v + 70.0 } else { v });
    let view = run(&mut two, 1440..1440 + 480, leap, |_, _| {});
    assert_eq!(view.agreement(), Agreement::Suspect(Side::Second));
    assert!(view.side(Side::Second).offset.abs() < 8.0, "{:?}", view.side(Side::Second));
    // well again, it counts again
    let view = run(&mut two, 1920..2100, healthy, |_, _| {});
    assert_eq!(view.agreement(), Agreement::Together);
    assert!(view.side(Side::Second).weight > 0.2, "{:?}", view.side(Side::Second));
}

#[test]
fn both_leaping_together_blames_none() {
    let mut two = pair();
    let _ = run(&mut two, 0..1440, healthy, |_, _| {});
    // the second follows some minutes later
    let meal = |side, m: u32| {
        let since = (m - 1440) as f32 - if side == Side::Second { 5.0 } else { 0.0 };
        healthy(side, m).map(|v| v + (5.0 * since).max(0.0))
    };
    let _ = run(&mut two, 1440..1480, meal, |minute, view| {
        assert_eq!(view.agreement().suspect(), None, "at {minute}");
    });
}

#[test]
fn a_stuck_one_is_named_when_the_other_moves() {
    let mut two = pair();
    let _ = run(&mut two, 0..1440, healthy, |_, _| {});
    let mut named = None;
    let value = |side, m: u32| match side {
        Side::First => Some(122.0),
        Side::Second => healthy(side, m).map(|v| v + (m - 1440) as f32),
    };
    let _ = run(&mut two, 1440..1500, value, |minute, view| {
        assert_ne!(view.agreement(), Agreement::Suspect(Side::Second), "at {minute}");
        named = named.or(view.agreement().suspect().map(|_| minute - 1440));
    });
    assert!(named.is_some_and(|minute| minute <= 50), "{named:?}");
}

#[test]
fn slowly_apart_nothing_tells_which_and_it_says_so() {
    let mut two = pair();
    let _ = run(&mut two, 0..1440, healthy, |_, _| {});
    let before = two.tick(at(1440)).fused().estimate().unwrap().glucose_sd();
    let value = |side, m: u32| {
        healthy(side, m).map(|v| if side == Side::First { v + (m - 1440) as f32 / 6.0 } else { v })
    };
    let mut doubts = false;
    let view = run(&mut two, 1440..1740, value, |_, view| {
        assert_eq!(view.agreement().suspect(), None);
        doubts |= rings(view, Kind::Doubt);
    });
    assert_eq!(view.agreement(), Agreement::Apart);
    assert!(!view.fused().is_monitoring() && doubts);
    assert!(view.fused().reasons().contains(Reason::SecondSensor));
    assert!(view.fused().estimate().unwrap().glucose_sd() > 1.6 * before);
    let weight = view.side(Side::First).weight;
    assert!((0.3..=0.7).contains(&weight), "{weight}");
}

#[test]
fn a_low_of_either_rings_whatever_the_other_reads() {
    for failing in Side::BOTH {
        for high in [110.0, 250.0] {
            let mut two = pair();
            let _ = run(&mut two, 0..1440, |side, m| Some(high + wobble(side, m)), |_, _| {});
            let value = |side, m: u32| {
                let falls = (high - 1.8 * (m - 1440) as f32).max(44.0);
                Some(if side == failing { falls } else { high + wobble(side, m) })
            };
            let (mut low, mut floor, mut under) = (None, None, None);
            let _ = run(&mut two, 1440..1640, value, |minute, view| {
                if value(failing, minute).unwrap() <= 70.0 {
                    under = under.or(Some(minute));
                    let shown = view.fused().shown().unwrap();
                    if under.is_some_and(|at| minute >= at + 6) {
                        assert!(shown.glucose <= LOW && !view.fused().is_monitoring(), "{shown}");
                    }
                }
                low = low.or(rings(view, Kind::Low).then_some(minute));
                floor = floor.or(rings(view, Kind::Floor).then_some(minute));
            });
            assert!(low.unwrap() <= under.unwrap() + 36, "{high} {low:?} {under:?}");
            assert!(floor.is_some(), "{high}");
        }
    }
}

#[test]
fn a_reading_below_range_of_either_rings_the_floor() {
    let mut two = pair();
    let _ = run(&mut two, 0..300, |_, _| Some(150.0), |_, _| {});
    let mut heard = false;
    let value = |side, _| Some(if side == Side::Second { 40.0 } else { 150.0 });
    let view = run(&mut two, 300..320, value, |_, view| heard |= rings(view, Kind::Floor));
    assert!(heard);
    assert_eq!(view.fused().bound(), Some(Bound::AtMost(Glucose::clamped(40.0))));
}

#[test]
fn a_fingerstick_silences_a_low_of_the_sensor_that_it_denies_for_half_an_hour_but_never_the_floor() {
    let mut two = pair();
    let _ = run(&mut two, 0..600, |side, m| Some(120.0 + wobble(side, m)), |_, _| {});
    let value = |side, m| Some(wobble(side, m) + if side == Side::First { 64.0 } else { 120.0 });
    let _ = run(&mut two, 600..640, value, |_, _| {});
    let outcomes = two.fingerstick(&Fingerstick::new(at(639), Glucose::clamped(121.0)));
    assert!(outcomes.iter().all(FingerstickOutcome::is_used));
    let (mut lows, mut later) = (0, 0);
    let _ = run(&mut two, 640..760, value, |minute, view| {
        *(if minute < 667 { &mut lows } else { &mut later }) +=
            u32::from(minute > 645 && rings(view, Kind::Low));
    });
    assert!(lows == 0 && later > 0, "{lows} {later}");
    let mut floor = false;
    let value = |side, m| Some(wobble(side, m) + if side == Side::First { 50.0 } else { 120.0 });
    let _ = run(&mut two, 760..780, value, |_, view| floor |= rings(view, Kind::Floor));
    assert!(floor);
}

#[test]
fn silence_of_one_is_none_and_of_both_is_an_alarm() {
    let mut two = pair();
    let _ = run(&mut two, 0..300, healthy, |_, _| {});
    let mut silent = 0;
    let _ = run(
        &mut two,
        300..400,
        |side, m| healthy(side, m).filter(|_| side == Side::Second),
        |_, view| {
            silent += u32::from(rings(view, Kind::NoData));
            assert!(view.fused().is_monitoring());
        },
    );
    assert_eq!(silent, 0);
    let view = run(&mut two, 400..430, |_, _| None, |_, view| silent += u32::from(rings(view, Kind::NoData)));
    assert!(silent > 0 && view.fused().shown().is_none() && !view.fused().is_monitoring());
    assert_eq!(view.agreement(), Agreement::Neither);
}

#[test]
fn a_new_sensor_begins_beside_the_old_one() {
    let quality = QualityConfig { warm_up: Span::from_mins(60), ..QualityConfig::default() };
    let settings = Settings::default().with_quality(quality);
    let mut two = Pair::new(settings, settings).unwrap();
    let old = |side, m| healthy(side, m).map(|v| if side == Side::First { v + 20.0 } else { v - 20.0 });
    let before = run(&mut two, 0..2 * 1440, old, |_, _| {});
    let kept = before.side(Side::First).offset;
    assert!(kept > 8.0);
    two.sensor_started(Side::Second, at(2 * 1440));
    let mut last = before.fused().estimate().unwrap().glucose().mg_dl();
    // the new one reads 15 % low in its first hours
    let new = |side, m| match side {
        Side::First => old(side, m),
        Side::Second => healthy(side, m).map(|v| 0.85 * v),
    };
    let _ = run(&mut two, 2 * 1440..2 * 1440 + 240, new, |minute, view| {
        let after = minute - 2 * 1440;
        if after < 55 {
            assert_eq!(view.agreement(), Agreement::Only(Side::First), "at {after}");
        }
        if after == 62 {
            let weight = view.side(Side::Second).weight;
            assert!(weight > 0.0 && weight < 0.19, "{weight}"); // in its first day it may be off by more
        }
        let now = view.fused().estimate().unwrap().glucose().mg_dl();
        assert!((now - last).abs() < 18.0, "at {after}: {last:.0} {now:.0}");
        last = now;
        assert!(!rings(view, Kind::NoData) && view.side(Side::Second).weight < 0.5, "at {after}");
    });
    let offset = two.tick(at(2 * 1440 + 240)).side(Side::First).offset;
    assert!(offset > 0.5 * kept, "{offset} of {kept}");
}

#[test]
fn one_that_leads_corrects_the_forecast_of_the_other() {
    // the second reads what the first read 10 minutes before
    let mut two = pair();
    let wave = |m: u32| 130.0 + 50.0 * math::exp(-(((m % 240) as f32 - 120.0) / 45.0).powi_two());
    let value = |side, m: u32| Some(wave(if side == Side::First { m + 240 } else { m + 230 }));
    let (mut own, mut led, mut n) = (0.0, 0.0, 0);
    let mut alone = crate::Monitor::<24>::new(Settings::default()).unwrap();
    for minute in 0..6 * 1440_u32 {
        let view = run(&mut two, minute..minute + 1, value, |_, _| {});
        if minute % 5 == 2 {
            let one = alone.push(&reading(minute, value(Side::Second, minute).unwrap()));
            if minute > 1440 {
                let then = value(Side::Second, minute + 30).unwrap();
                let off = |predicted: Option<crate::forecast::Predicted>| {
                    predicted.unwrap().glucose().mg_dl() - then
                };
                own += off(one.predicted_30min()).powi_two();
                led += off(view.side(Side::Second).predicted(Span::from_mins(30))).powi_two();
                n += 1;
            }
        }
    }
    assert!(n > 1000 && led < 0.8 * own, "{led} {own}");
}

#[test]
fn saved_and_restored_it_goes_on_with_the_same_bits() {
    let mut two = pair();
    let apart = |side, m| healthy(side, m).map(|v| if side == Side::First { v - 45.0 } else { v });
    let _ = run(&mut two, 0..900, healthy, |_, _| {});
    let _ = run(&mut two, 900..960, apart, |_, _| {});
    let mut room = [0; snapshot::pair_bytes_needed(24)];
    let length = snapshot::save_pair(&mut two, &mut room).unwrap();
    let mut other = pair();
    snapshot::restore_pair(&mut other, &room[..length]).unwrap();
    two.power_returned();
    let mut views = Vec::new();
    for monitor in [&mut two, &mut other] {
        let mut seen = Vec::new();
        let _ = run(monitor, 960..1100, apart, |_, view| seen.push(*view));
        views.push(seen);
    }
    assert_eq!(views[0], views[1]);
    assert!(views[0].iter().any(|view| view.agreement().suspect().is_some()));
    for cut in 0..length {
        let mut same = other.clone();
        assert!(snapshot::restore_pair(&mut same, &room[..cut]).is_err());
    }
    let mut single = crate::Monitor::<24>::new(Settings::default()).unwrap();
    assert!(snapshot::restore(&mut single, &room[..length]).is_err());
}

#[test]
fn clocks_of_two_sensors_hours_apart_are_one_count() {
    let mut two = pair();
    for minute in 0..600_u32 {
        two.set_uptime(minute * 60);
        let view = match minute % 5 {
            0 => two.push(Side::First, &reading(minute, 120.0)),
            2 => two.push(
                Side::Second,
                &Reading::new(Instant::from_secs(500 + minute * 60), Glucose::clamped(118.0)),
            ),
            _ => two.tick(None),
        };
        if minute > 60 {
            assert_eq!(view.agreement(), Agreement::Together, "at {minute}");
            for side in Side::BOTH {
                assert!(view.side(side).age.unwrap() <= Span::from_mins(5));
            }
        }
    }
}

trait PowiTwo {
    fn powi_two(self) -> Self;
}

impl PowiTwo for f32 {
    fn powi_two(self) -> Self {
        self * self
    }
}

#[test]
fn after_a_power_cut_what_the_other_read_before_is_of_no_known_age() {
    let mut two = pair();
    let _ = run(&mut two, 0..300, healthy, |_, _| {});
    two.power_returned();
    two.set_uptime(0); // nobody knows how long it was
    assert_eq!(two.tick(at(340)).agreement(), Agreement::Neither);
    let view = two.push(Side::First, &reading(340, 130.0));
    assert_eq!(view.agreement(), Agreement::Only(Side::First));
    assert_eq!((view.side(Side::Second).age, view.side(Side::Second).newest), (None, None));
    // the other one's clock, hours off by now, moves nothing of the first
    for minute in 1..30_u32 {
        two.set_uptime(minute * 60);
        let view = match minute % 5 {
            0 => two.push(Side::First, &reading(340 + minute, 130.0 + (minute % 3) as f32)),
            2 => two.push(Side::Second, &reading(5000 + minute, 128.0 + (minute % 4) as f32)),
            _ => two.tick(None),
        };
        let age = view.side(Side::First).age.unwrap();
        assert!(age <= Span::from_mins(5), "{minute}: {age:?}");
    }
}

fn single() -> crate::Monitor<24> {
    crate::Monitor::new(Settings::default()).unwrap()
}

#[test]
fn the_course_of_both_begins_where_the_estimate_is() {
    let mut two = pair();
    let apart = |side, m| healthy(side, m).map(|v| if side == Side::First { v + 40.0 } else { v });
    let mut checked = 0;
    let _ = run(&mut two, 0..2 * 1440, apart, |minute, view| {
        if minute > 1440 && person(minute) < 121.0 {
            let now = view.fused().estimate().unwrap().glucose().mg_dl();
            let soon = view.fused().predicted(Span::from_mins(5)).unwrap().glucose().mg_dl();
            assert!((now - soon).abs() < 15.0, "at {minute}: {now} {soon}");
            checked += 1;
        }
    });
    assert!(checked > 200);
}

#[test]
fn where_two_tell_an_interval_is_nine_tenths_as_wide_as_one_sensors_own() {
    let (mut two, mut alone) = (pair(), single());
    let (half_hour, mut near) = (Span::from_mins(30), 0);
    for minute in 0..1441 {
        alone.set_uptime(minute * 60);
        let view = run(&mut two, minute..minute + 1, healthy, |_, _| {});
        let own = if minute % 5 == 0 {
            alone.push(&reading(minute, healthy(Side::First, minute).unwrap()))
        } else {
            alone.tick(at(minute))
        };
        if minute > 720 {
            let led = view.side(Side::First).predicted(half_hour).unwrap().half_width_95();
            let own = own.predicted_30min().unwrap().half_width_95();
            near += u32::from((led / own - 0.9).abs() < 0.01);
        }
    }
    assert!(near > 600, "of 720: {near}");
}

#[test]
fn one_that_errs_leads_nobody() {
    let (mut two, mut alone) = (pair(), single());
    let leap =
        |side, m| healthy(side, m).map(|v| if side == Side::Second && m >= 1440 { v + 70.0 } else { v });
    let mut same = 0;
    for minute in 0..1560 {
        alone.set_uptime(minute * 60);
        let view = run(&mut two, minute..minute + 1, leap, |_, _| {});
        if minute % 5 == 0 {
            let own = alone.push(&reading(minute, healthy(Side::First, minute).unwrap()));
            if view.agreement() == Agreement::Suspect(Side::Second) {
                let led = view.side(Side::First).predicted(Span::from_mins(30)).unwrap().glucose().mg_dl();
                let own = own.predicted_30min().unwrap().glucose().mg_dl();
                assert!((led - own).abs() < 0.1, "{led} {own}");
                same += 1;
            }
        } else {
            let _ = alone.tick(at(minute));
        }
    }
    assert!(same > 10);
}

#[test]
fn a_low_is_as_likely_as_the_worse_one_says_though_it_is_named_for_reading_low() {
    let (mut two, mut alone) = (pair(), single());
    let falls = |side, m: u32| {
        let off = m.saturating_sub(1440) as f32 / 3.0;
        healthy(side, m).map(|v| if side == Side::First { v - off } else { v })
    };
    let mut seen = 0;
    for minute in 0..1740 {
        alone.set_uptime(minute * 60);
        let view = run(&mut two, minute..minute + 1, falls, |_, _| {});
        if minute % 5 == 0 {
            let own = alone.push(&reading(minute, falls(Side::First, minute).unwrap())).low_probability();
            if view.agreement() != Agreement::Together {
                let (both, own) = (view.fused().low_probability().unwrap(), own.unwrap());
                assert!(both > own - 0.01, "{both} {own}");
                seen += u32::from(own > 0.2 && view.agreement() == Agreement::Suspect(Side::First));
            }
        } else {
            let _ = alone.tick(at(minute));
        }
    }
    assert!(seen > 0);
}

#[test]
fn when_one_that_is_named_for_reading_low_falls_silent_the_one_left_is_doubted() {
    let mut two = pair();
    let falls = |side, m: u32| {
        let off = m.saturating_sub(1440) as f32 / 4.0;
        healthy(side, m).map(|v| if side == Side::First { v - off } else { v })
    };
    // named, and not low yet: what was low stands by another rule
    let named = (0..1740).find(|minute| {
        let view = run(&mut two, *minute..minute + 1, falls, |_, _| {});
        view.agreement() == Agreement::Suspect(Side::First)
    });
    let named = named.unwrap();
    assert!(falls(Side::First, named).unwrap() > 71.0);
    let left = |side, m| if side == Side::First { None } else { healthy(side, m) };
    let _ = run(&mut two, named + 1..named + 25, left, |_, _| {});
    let _ = run(&mut two, named + 25..named + 100, left, |minute, view| {
        assert_eq!(view.agreement(), Agreement::Only(Side::Second));
        assert!(!view.fused().is_monitoring(), "{minute}: {view:?}");
    });
    let view = run(&mut two, named + 100..named + 160, left, |_, _| {});
    assert!(view.fused().is_monitoring(), "{view:?}");
}

#[test]
fn wrong_fingersticks_raise_no_low_that_both_see() {
    let mut two = pair();
    let low = |side, m| Some(61.0 + 0.3 * wobble(side, m));
    let _ = run(&mut two, 0..300, low, |_, _| {});
    for k in 0..3 {
        let _ = two.fingerstick(&Fingerstick::new(at(299 + 60 * k), Glucose::clamped(160.0)));
        let _ = run(&mut two, 300 + 60 * k..360 + 60 * k, low, |_, view| {
            let shown = view.fused().shown().unwrap();
            assert!(shown.glucose.mg_dl() <= 72.0, "{shown}");
            assert!(view.fused().estimate().unwrap().glucose().mg_dl() <= 72.0);
            assert!(view.fused().alarms().get(Kind::Low).is_some());
        });
    }
}

#[test]
fn the_end_of_one_sensors_wear_is_no_alarm_while_the_other_goes_on() {
    let quality = QualityConfig { wear: Span::from_hours(25), ..QualityConfig::default() };
    let settings = Settings::default().with_quality(quality);
    for second_starts in [0, 1200] {
        let mut two = Pair::new(settings, settings).unwrap();
        let mut rang = 0;
        let _ = run(&mut two, 0..2, healthy, |_, _| {});
        two.sensor_started(Side::First, at(0));
        for (from, to) in [(2, second_starts.max(3)), (second_starts.max(3), 1600)] {
            if from == second_starts.max(3) {
                two.sensor_started(Side::Second, at(from));
            }
            let _ = run(&mut two, from..to, healthy, |_, view| {
                rang += u32::from(view.fused().alarms().get(Kind::WearEnd).is_some())
            });
        }
        // but for the minutes between its warm-up and its first reading
        assert_eq!(rang > 5, second_starts == 0, "{second_starts}: {rang}");
    }
}

#[test]
fn each_agreement_has_its_name_and_its_suspect() {
    let (one, two) = (Side::First, Side::Second);
    for (agreement, name, suspect) in [
        (Agreement::Neither, "neither", None),
        (Agreement::Only(one), "only_first", None),
        (Agreement::Only(two), "only_second", None),
        (Agreement::Together, "together", None),
        (Agreement::Apart, "apart", None),
        (Agreement::Suspect(one), "first_suspect", Some(one)),
        (Agreement::Suspect(two), "second_suspect", Some(two)),
    ] {
        assert_eq!((agreement.name(), agreement.suspect()), (name, suspect));
    }
}
