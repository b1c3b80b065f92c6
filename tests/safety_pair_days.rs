//! Never calmly wrong with two sensors worn for days, where what was learned before the bad day decides: replaced sensors,
//! fingersticks in the midst of a fault, what is shown beside a sensor known to be off. Each case is invented; glucose in mg/dL,
//! each sensor gives a reading every 5 min, the second two minutes after the first, and a tick comes every minute.

use glidepath::alarm::Kind;
use glidepath::quality::Reason;
use glidepath::{
    Agreement, Fingerstick, FingerstickOutcome, Glucose, Instant, Monitor, PairMonitor, PairView, Reading,
    Settings, Shown, Side, Span, View,
};

const ROOM: usize = 36;
const DAY: u32 = 1440;
const LOWS: [Kind; 2] = [Kind::Floor, Kind::Low];

fn at(minute: u32) -> Instant {
    Instant::from_secs(1_800_000_000 + 60 * minute)
}

fn glucose(mg_dl: f32) -> Glucose {
    Glucose::from_mg_dl(mg_dl).unwrap()
}

/// Two sensors by someone's bed, and the monitor that each would have by itself.
struct Worn {
    pair: PairMonitor<ROOM>,
    own: [Monitor<ROOM>; 2],
    minute: u32,
}

impl Worn {
    fn new() -> Self {
        let settings = Settings::default();
        let own = Side::BOTH.map(|_| Monitor::new(settings).unwrap());
        Self { pair: PairMonitor::new(settings, settings).unwrap(), own, minute: 0 }
    }

    /// Lives until `end`; what each side reads at a minute, if it reads.
    fn until(
        &mut self,
        end: u32,
        reads: impl Fn(Side, u32) -> Option<f32>,
        mut look: impl FnMut(u32, &PairView, &[View; 2]),
    ) {
        for minute in self.minute..end {
            let mut view = self.pair.tick(at(minute));
            let mut own = self.own.each_mut().map(|monitor| monitor.tick(at(minute)));
            for side in Side::BOTH {
                if minute % 5 == 2 * side as u32
                    && let Some(mg_dl) = reads(side, minute)
                {
                    let reading = Reading::new(at(minute), glucose(mg_dl.round()));
                    view = self.pair.push(side, &reading);
                    own[side as usize] = self.own[side as usize].push(&reading);
                }
            }
            look(minute, &view, &own);
        }
        self.minute = end;
    }

    fn fingerstick(&mut self, mg_dl: f32) -> [FingerstickOutcome; 2] {
        let stick = Fingerstick::new(at(self.minute - 1), glucose(mg_dl));
        for own in &mut self.own {
            let _ = own.fingerstick(&stick);
        }
        self.pair.fingerstick(&stick)
    }
}

/// What is shown, mg/dL, where nothing says that it is in doubt.
fn sure(view: &View) -> Option<f32> {
    let shown = view.shown().filter(|shown| !shown.doubted && view.is_monitoring());
    shown.map(|shown| shown.glucose.mg_dl())
}

fn holds(view: &View, kinds: &[Kind]) -> bool {
    kinds.iter().any(|kind| view.alarms().get(*kind).is_some())
}

fn quiet(minute: u32) -> f32 {
    120.0 + (minute / 5 % 3) as f32
}

/// A quiet day and two hours, in which the bad one reads 80 more from the end of the day on.
fn known_off(bad: Side) -> Worn {
    let mut worn = Worn::new();
    let mut last = None;
    worn.until(
        DAY + 120,
        |side, minute| Some(quiet(minute) + if side == bad && minute >= DAY { 80.0 } else { 0.0 }),
        |_, view, _| last = Some(view.agreement()),
    );
    assert_eq!(last, Some(Agreement::Suspect(bad)));
    worn
}

#[test]
fn one_known_to_be_off_is_not_sure_while_the_other_is_replaced() {
    for bad in Side::BOTH {
        let mut worn = known_off(bad);
        let begins = worn.minute;
        worn.pair.sensor_started(bad.other(), at(begins));
        let mut rang = false;
        // the person falls to 48; nobody but the bad one reads
        let falls = |minute: u32| (120.0 - (minute - begins) as f32).max(48.0);
        worn.until(
            begins + 110,
            |side, minute| (side == bad).then(|| falls(minute) + 80.0),
            |minute, view, _| {
                assert_eq!(sure(view.fused()), None, "{minute}");
                rang |= holds(view.fused(), &[Kind::Doubt]);
            },
        );
        assert!(rang, "{bad}: that it is in doubt is an alarm");
        // the new one reads well, in its first day: it is not the one that errs
        worn.until(
            begins + 300,
            |side, _| Some(if side == bad { 146.0 } else { 72.0 }),
            |minute, view, _| assert_ne!(view.agreement(), Agreement::Suspect(bad.other()), "{minute}"),
        );
    }
}

#[test]
fn where_either_may_err_the_one_left_is_not_sure_while_the_other_is_replaced() {
    for replaced in Side::BOTH {
        let mut worn = Worn::new();
        // they come apart slowly, and nothing tells which is wrong
        let apart = |minute: u32| 0.25 * minute.saturating_sub(DAY).min(240) as f32;
        let mut last = None;
        worn.until(
            DAY + 240,
            |side, minute| Some(quiet(minute) + if side == Side::Second { apart(minute) } else { 0.0 }),
            |_, view, _| last = Some(view.agreement()),
        );
        assert_eq!(last, Some(Agreement::Apart));
        let begins = worn.minute;
        worn.pair.sensor_started(replaced, at(begins));
        let left = |side, minute| if side == replaced { None } else { Some(quiet(minute)) };
        worn.until(begins + 100, left, |minute, view, _| assert_eq!(sure(view.fused()), None, "{minute}"));
        // and once the bad one is gone that is over
        let mut worn = known_off(replaced);
        let begins = worn.minute;
        worn.pair.sensor_started(replaced, at(begins));
        worn.until(begins + 100, left, |minute, view, _| assert!(sure(view.fused()).is_some(), "{minute}"));
    }
}

#[test]
fn a_low_of_the_one_that_is_replaced_leaves_the_other_in_doubt() {
    for replaced in Side::BOTH {
        let mut worn = Worn::new();
        // both fall to 80 in the last hour; it reads 66 at last
        let reads = |side, minute: u32| {
            let fell = 80.0 + 0.7 * (DAY + 7).saturating_sub(minute).min(60) as f32;
            let more = if side == replaced { -14.0 } else { 0.0 };
            Some(fell + more + (minute / 5 % 3) as f32)
        };
        worn.until(DAY + 7, reads, |_, _, _| {});
        let begins = worn.minute;
        worn.pair.sensor_started(replaced, at(begins));
        let left = |side, minute| if side == replaced { None } else { reads(side, minute) };
        worn.until(begins + 100, left, |minute, view, _| assert_eq!(sure(view.fused()), None, "{minute}"));
        // a fingerstick clears it
        assert!(worn.fingerstick(81.0)[replaced.other() as usize].is_used());
        worn.until(begins + 110, left, |minute, view, _| assert!(sure(view.fused()).is_some(), "{minute}"));
    }
}

#[test]
fn a_low_that_what_was_learned_of_one_would_hide_is_shown_with_its_reason() {
    for lower in Side::BOTH {
        let mut worn = Worn::new();
        // for two days it reads 30 less than the other, which then ends; an hour later it reads a low
        let reads = |side, minute: u32| match side == lower {
            true => Some(quiet(minute) - 30.0 - 0.3 * minute.saturating_sub(2 * DAY + 60).min(80) as f32),
            false => (minute < 2 * DAY).then(|| quiet(minute)),
        };
        worn.until(2 * DAY + 130, reads, |_, _, _| {});
        let mut lows = 0;
        worn.until(2 * DAY + 180, reads, |minute, view, _| {
            let fused = view.fused();
            if fused.newest().is_some_and(|(_, read)| read.mg_dl() <= 70.0) {
                lows += 1;
                let shown = fused.shown().unwrap();
                assert!(fused.estimate().unwrap().glucose().mg_dl() > 70.0, "{minute}: what is tested");
                assert!(shown.doubted && shown.glucose.mg_dl() <= 70.0, "{minute}: {shown}");
                assert!(fused.reasons().contains(Reason::SecondSensor), "{minute}: {:?}", fused.reasons());
                assert!(holds(fused, &LOWS), "{minute}");
            }
        });
        assert!(lows > 20, "{lows}");
    }
}

#[test]
fn the_floor_of_one_in_doubt_rings_while_the_other_is_low_too() {
    for stuck in Side::BOTH {
        let mut worn = Worn::new();
        // both fall; one, which reads 13 % high and is calibrated, stands at 51 from then on, the other moves about 62
        let truth = |minute: u32| 110.0 - 0.8 * minute.saturating_sub(DAY) as f32;
        let reads = |side, minute: u32| {
            let moves = (minute / 5 % 3) as f32;
            Some(if side == stuck {
                if truth(minute) > 51.0 { 1.13 * (truth(minute) + moves) } else { 59.0 }
            } else {
                truth(minute).max(60.0) + moves
            })
        };
        for minute in (300..DAY).step_by(150) {
            worn.until(minute, reads, |_, _, _| {});
            assert!(worn.fingerstick(111.0)[stuck as usize].is_used());
        }
        let (mut held, mut named) = ([0, 0], false);
        worn.until(DAY + 400, reads, |minute, view, own| {
            if minute > DAY + 80 {
                let own = &own[stuck as usize];
                named |= view.side(stuck).reasons.contains(Reason::Stuck);
                held[0] += u32::from(holds(own, &[Kind::Floor]));
                held[1] += u32::from(holds(view.fused(), &[Kind::Floor]));
            }
        });
        assert!(named && held[0] > 300, "{held:?}");
        assert_eq!(held[0], held[1], "{stuck}");
    }
}

#[test]
fn three_wrong_fingersticks_alike_hide_a_low_no_longer_than_one() {
    for right in Side::BOTH {
        let mut longest = Vec::new();
        for sticks in [1, 3] {
            let mut worn = Worn::new();
            let reads = |side, minute: u32| {
                let low = (quiet(minute) - minute.saturating_sub(DAY) as f32).max(61.0);
                Some(if side == right {
                    low
                } else {
                    quiet(minute) + 8.0 * f32::from(u8::from(minute >= DAY))
                })
            };
            let (mut silent, mut most) = (0, 0);
            for k in 0..8 {
                worn.until(DAY + 85 + 25 * k, reads, |minute, view, _| {
                    silent = if minute < DAY + 80 || holds(view.fused(), &LOWS) { 0 } else { silent + 1 };
                    most = most.max(silent);
                });
                if k < sticks {
                    let used = worn.fingerstick(140.0);
                    assert!(used.iter().all(FingerstickOutcome::is_used));
                }
            }
            longest.push(most);
        }
        assert!(longest[0] > 0 && longest[1] <= 30, "{longest:?}");
    }
}

/// The sides that are worn read `off` more for the first hour of the second day, in which three fingersticks tell the truth; the
/// greatest miss of what is shown as sure from an hour later until the end of the third, and whether a low was held.
fn after_a_bad_hour(worn_sides: &[Side], off: f32) -> (f32, bool) {
    let mut worn = Worn::new();
    let truth = |minute: u32| 110.0 + 22.0 * (minute as f32 / 60.0).sin();
    let bad = DAY..DAY + 60;
    let reads = |side: Side, minute: u32| {
        let more = if bad.contains(&minute) { off } else { 0.0 };
        worn_sides.contains(&side).then(|| truth(minute) + more)
    };
    for minute in [DAY + 30, DAY + 40, DAY + 50] {
        worn.until(minute, reads, |_, _, _| {});
        let used = worn.fingerstick(truth(minute - 1));
        assert!(used.iter().any(FingerstickOutcome::is_used));
    }
    let (mut most, mut low) = (0.0_f32, false);
    worn.until(3 * DAY, reads, |minute, view, _| {
        if minute > DAY + 120 {
            let miss = sure(view.fused()).map_or(0.0, |shown| shown - truth(minute));
            most = if miss.abs() > most.abs() { miss } else { most };
            low |= holds(view.fused(), &LOWS);
        }
    });
    (most, low)
}

#[test]
fn what_fingersticks_say_in_a_bad_hour_does_not_stay_for_days() {
    for off in [-50.0, 60.0, 100.0] {
        for one in Side::BOTH {
            let (miss, low) = after_a_bad_hour(&[one], off);
            assert!(miss.abs() < 8.0 && !low, "{one} alone, {off}: {miss}");
        }
        let (miss, low) = after_a_bad_hour(&Side::BOTH, off);
        assert!(miss.abs() < 16.0 && !low, "both, {off}: {miss}");
    }
}

#[test]
fn with_one_sensor_fingersticks_do_what_they_do_to_its_own_monitor() {
    for one in Side::BOTH {
        let mut worn = Worn::new();
        let reads = |side, minute: u32| (side == one).then(|| 140.0 + 40.0 * (minute as f32 / 90.0).sin());
        for day in 0..4 {
            for hour in [8, 13, 19] {
                let minute = day * DAY + hour * 60;
                worn.until(minute, reads, |_, _, _| {});
                let _ = worn.fingerstick(0.85 * reads(one, minute - 1).unwrap());
            }
            worn.until((day + 1) * DAY, reads, |minute, view, own| {
                let of = |view: &View| view.shown().map(|shown: Shown| shown.glucose.mg_dl());
                assert_eq!(of(view.fused()), of(&own[one as usize]), "{one} {minute}");
            });
        }
    }
}

#[test]
fn a_fingerstick_that_one_could_not_take_does_not_clear_it() {
    for bad in Side::BOTH {
        let mut worn = known_off(bad);
        let begins = worn.minute;
        // its last reading is 17 minutes old at the fingerstick: too old for that, and still the present one
        let reads = |side, minute: u32| match side == bad {
            true => (minute > begins + 17).then(|| quiet(minute) + 80.0),
            false => Some(quiet(minute)),
        };
        worn.until(begins + 16, reads, |_, _, _| {});
        let used = worn.fingerstick(121.0);
        assert_eq!(used.map(|used| used.is_used()), Side::BOTH.map(|side| side != bad));
        worn.until(begins + 120, reads, |minute, view, _| {
            let shown = sure(view.fused()).unwrap_or(120.0);
            assert!((shown - 120.0).abs() < 12.0, "{bad} {minute}: {shown} {:?}", view.agreement());
        });
    }
}

#[test]
fn what_is_shown_beside_one_that_is_off_is_as_old_as_the_other() {
    for bad in Side::BOTH {
        let mut worn = known_off(bad);
        let begins = worn.minute;
        let mut oldest = Span::ZERO;
        worn.until(
            begins + 40,
            |side, minute| (side == bad).then(|| quiet(minute) + 80.0),
            |_, view, _| {
                if view.agreement() == Agreement::Suspect(bad) {
                    let shown = view.fused().shown().unwrap();
                    let age = view.side(bad.other()).age.unwrap();
                    assert_eq!((Some(shown.age), view.fused().age()), (Some(age), Some(age)));
                    assert!((shown.glucose.mg_dl() - 121.0).abs() < 12.0);
                    oldest = oldest.max(age);
                }
            },
        );
        assert!(oldest > Span::from_mins(15), "{oldest:?}");
    }
}

#[test]
fn the_one_that_is_named_weighs_less_than_the_other() {
    for bad in Side::BOTH {
        let mut worn = known_off(bad);
        let begins = worn.minute;
        // the other one is replaced, and its first day speaks against it
        worn.pair.sensor_started(bad.other(), at(begins));
        let mut named = 0;
        let reads = |side, minute: u32| {
            (side == bad || minute > begins + 65)
                .then(|| quiet(minute) + if side == bad { 110.0 } else { 0.0 })
        };
        worn.until(begins + 200, reads, |minute, view, _| {
            if view.agreement() == Agreement::Suspect(bad) && minute > begins + 70 {
                named += 1;
                assert!(view.side(bad).weight < 0.5, "{bad} {minute}: {}", view.side(bad).weight);
            }
        });
        assert!(named > 30, "{named}");
    }
}
