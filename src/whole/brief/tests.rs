extern crate std;
use super::*;
use crate::Settings;
use crate::monitor::Monitor;
use std::vec::Vec;

fn reading(secs: u32, mg_dl: f32) -> Reading {
    Reading::new(Instant::from_secs(secs), Glucose::clamped(mg_dl))
}

const START: u32 = 1_000_000;

/// An hour and a half of 120 mg/dL, ticked each minute.
fn calm() -> TrendMonitor {
    let mut monitor = TrendMonitor::default();
    for minute in 0..90 {
        let _ = monitor.tick(Instant::from_secs(START + 60 * minute));
        if minute % 5 == 0 {
            let view = monitor.push(&reading(START + 60 * minute, 120.0));
            assert_eq!((view.warning(), view.is_monitoring()), (None, true));
        }
    }
    monitor
}

/// As the whole monitor answers while nothing is odd: the parts are the same.
#[test]
fn trend_and_low_ahead_are_those_of_the_monitor() {
    let mut brief = TrendMonitor::default();
    let people = Settings { forecast: ForecastConfig::population(), ..Settings::default() };
    let mut whole = Monitor::<288>::new(people).unwrap();
    let (mut trends, mut low) = (Vec::new(), 0);
    for k in 0..280_u32 {
        let x = k as f32;
        let value = 118.0 + 45.0 * (x / 5.0).sin() + 2.0 * (x * 1.3).sin();
        let at = reading(START + 300 * k, value);
        let (ours, theirs) = (brief.push(&at), whole.push(&at));
        assert_eq!(ours.trend(), theirs.trend(), "{k}");
        assert_eq!(ours.low_ahead().map(Probability::get), theirs.low_ahead_signal(), "{k}");
        let ahead = ours.warning() == Some(Kind::LowAhead);
        let lower = |kind| theirs.alarms().get(kind).is_some() || ours.warning() == Some(kind);
        if !lower(Kind::Floor) && !lower(Kind::Low) {
            assert_eq!(ahead, theirs.alarms().get(Kind::LowAhead).is_some(), "{k}");
        }
        low += u32::from(ahead);
        trends.push(ours.trend());
    }
    trends.sort_by_key(|trend| trend.words());
    trends.dedup();
    assert!(trends.len() >= 4 && low > 5, "{trends:?} {low}");
}

#[test]
fn limits_hold_and_the_worst_comes_first() {
    for (mg_dl, status, warning) in [
        (120.0, Status::Normal, None),
        (70.1, Status::Normal, Some(Kind::LowAhead)),
        (70.0, Status::Normal, Some(Kind::Low)),
        (55.1, Status::Normal, Some(Kind::Low)),
        (55.0, Status::Normal, Some(Kind::Floor)),
        (60.0, Status::BelowRange, Some(Kind::Floor)),
        (60.0, Status::Doubtful, Some(Kind::Low)),
        (45.0, Status::WarmUp, Some(Kind::Floor)),
        (45.0, Status::Fault, None),
        (400.0, Status::AboveRange, None),
    ] {
        let view = calm().push(&reading(START + 90 * 60, mg_dl).with_status(status));
        let warned = if warning == Some(Kind::LowAhead) && view.warning().is_none() { None } else { warning };
        assert_eq!(view.warning(), warned, "{mg_dl} {status:?}");
        let steady = matches!(status, Status::Normal | Status::Fault);
        assert_eq!(view.is_monitoring(), steady, "{mg_dl} {status:?}");
        if matches!(warning, Some(Kind::Floor | Kind::Low)) {
            let lowest = if status == Status::BelowRange { 55.0 } else { mg_dl };
            assert_eq!(view.trigger().unwrap().mg_dl(), lowest);
            assert_eq!(view.shown().unwrap().doubted, matches!(status, Status::Doubtful | Status::WarmUp));
        }
    }
}

#[test]
fn a_value_is_present_for_twenty_minutes_and_a_low_warns_until_another_reading() {
    let mut monitor = calm();
    let at = START + 90 * 60;
    let view = monitor.push(&reading(at, 52.0));
    assert_eq!(view.shown().unwrap().age, Span::ZERO);
    for minute in 1..300 {
        let view = monitor.tick(Instant::from_secs(at + 60 * minute));
        assert_eq!(view.shown().is_some(), minute < 20, "{minute}");
        assert_eq!((view.is_monitoring(), view.warning()), (minute < 20, Some(Kind::Floor)), "{minute}");
        assert_eq!(view.trigger().unwrap().mg_dl(), 52.0);
    }
    let view = monitor.push(&reading(at + 300 * 60, 130.0));
    assert_eq!((view.warning(), view.is_monitoring(), view.trend()), (None, true, Trend::NotKnown));
}

#[test]
fn silence_is_told_after_twenty_minutes_also_since_power_on() {
    let mut monitor = TrendMonitor::default();
    for minute in 0..60 {
        monitor.set_uptime(minute * 60);
        let view = monitor.tick(None);
        assert_eq!(view.warning(), (minute >= 20).then_some(Kind::NoData), "{minute}");
        assert!(!view.is_monitoring() && view.trigger().is_none());
    }
    let mut monitor = calm();
    let last = START + 85 * 60;
    for minute in 5..60 {
        let view = monitor.tick(Instant::from_secs(last + 60 * minute));
        assert_eq!(view.warning(), (minute >= 20).then_some(Kind::NoData), "{minute}");
    }
}

#[test]
fn after_a_power_cut_nothing_is_present_and_a_low_stays_one() {
    for (mg_dl, warning) in [(120.0, None), (50.0, Some(Kind::Floor))] {
        let mut monitor = calm();
        let _ = monitor.push(&reading(START + 90 * 60, mg_dl));
        monitor.power_returned();
        for minute in 0..40 {
            monitor.set_uptime(60 * minute);
            let view = monitor.tick(None);
            let silent = (minute >= 20).then_some(Kind::NoData);
            assert_eq!((view.shown(), view.is_monitoring()), (None, false));
            assert_eq!((view.trend(), view.low_ahead()), (Trend::NotKnown, None));
            assert_eq!(view.warning(), warning.or(silent), "{minute}");
        }
        monitor.set_uptime(60 * 41);
        assert!(monitor.push(&reading(START + 10 * 3600, 110.0)).is_monitoring());
    }
}

/// The clock that stamps and tells the wall's time is set, then glucose falls to 45: heard within 20 minutes, and at each
/// reading after.
#[test]
fn a_clock_that_is_set_hides_no_low() {
    for set_by in [-2, -9, -23, -25, -48, 1, 6, 23, 72_i32] {
        let mut monitor = calm();
        let base = START.wrapping_add_signed(3600 * set_by) + 90 * 60;
        let mut heard = None;
        for minute in 0..120_u32 {
            let _ = monitor.tick(Instant::from_secs(base + 60 * minute));
            if minute % 5 == 0 {
                let view = monitor.push(&reading(base + 60 * minute, 45.0));
                if view.warning() == Some(Kind::Floor) {
                    heard = heard.or(Some(minute));
                } else {
                    assert_eq!(heard, None, "{set_by} h: not heard at {minute}");
                }
            }
        }
        assert!(heard.is_some_and(|minute| minute <= 15), "{set_by} h: {heard:?}");
        assert!(monitor.push(&reading(base + 7260, 120.0)).is_monitoring(), "{set_by} h");
    }
}

#[test]
fn one_stamp_far_ahead_hides_no_low() {
    for hours in [1, 6, 23] {
        let mut monitor = calm();
        let _ = monitor.push(&reading(START + 90 * 60 + 3600 * hours, 120.0));
        for minute in (95..300).step_by(5) {
            for tick in 0..5 {
                let _ = monitor.tick(Instant::from_secs(START + 60 * (minute + tick - 5)));
            }
            let view = monitor.push(&reading(START + 60 * minute, 40.0));
            assert_eq!(view.warning(), Some(Kind::Floor), "{hours} h ahead, minute {minute}");
            assert_eq!(view.trigger().unwrap().mg_dl(), 40.0);
        }
    }
}

/// A reading stamped before the newest may be late, or its clock set back: its time cannot be told. What it says of a low counts, and goes before the newest
/// value; of what is high nothing counts.
#[test]
fn a_reading_of_no_known_time_speaks_only_of_lows() {
    for (mg_dl, status, shown, warning) in [
        (60.0, Status::BelowRange, 55.0, Some(Kind::Floor)),
        (60.0, Status::Normal, 60.0, Some(Kind::Low)),
        (130.0, Status::Normal, 120.0, None),
        (400.0, Status::AboveRange, 120.0, None),
    ] {
        let mut monitor = calm();
        let view = monitor.push(&reading(START + 3600, mg_dl).with_status(status));
        let apart = status != Status::AboveRange;
        let now = view.shown().unwrap();
        assert_eq!((now.glucose.mg_dl(), now.doubted), (shown, apart), "{mg_dl}");
        assert_eq!((view.warning(), view.is_monitoring()), (warning, !apart), "{mg_dl}");
    }
}

/// Nobody ticks, and the sensor's clock goes back: what it says from then on is heard within 20 minutes.
#[test]
fn stamps_that_go_back_hide_no_low_without_a_tick() {
    for back_s in [7, 60, 301, 1500, 7200, 90_000] {
        let mut monitor = TrendMonitor::default();
        for k in 0..18 {
            let _ = monitor.push(&reading(START + 300 * k, 120.0));
        }
        let base = START + 300 * 18 - back_s;
        let first =
            (0..12).find(|k| monitor.push(&reading(base + 300 * k, 45.0)).warning() == Some(Kind::Floor));
        assert!(first.is_some_and(|k| k <= 4), "{back_s} s back: {first:?}");
        let base = base + 300 * 12;
        let seen = (0..12).find(|k| monitor.push(&reading(base + 300 * k, 110.0)).is_monitoring());
        std::println!("{back_s} s back: low at {first:?}, sees at {seen:?}");
        assert!(seen.is_some_and(|k| k <= 4), "{back_s} s back: {seen:?}");
    }
}

/// Both on a machine whose words have 32 bits and here: nothing in it depends on that.
#[test]
fn is_as_large_as_documented() {
    assert_eq!(size_of::<TrendMonitor>(), 520);
}

/// The rule of the monitor's alarm, number by number: limit 0.36, hysteresis 0.22, delay 4 min.
#[test]
fn a_low_ahead_is_borne_out_by_a_second_reading() {
    let at = |minute: u32| Instant::from_secs(60 * minute);
    let mins = Span::from_mins;
    let run = |steps: &[(u32, i32, Option<f32>, bool)]| {
        steps.iter().fold(Ahead::No, |ahead, (minute, silence, probability, low)| {
            ahead.step(at(*minute), mins(*silence), probability.map(Probability::clamped), *low)
        })
    };
    for (what, steps, want) in [
        ("once over the limit", &[(10, 0, Some(0.9), false)][..], Ahead::Near(at(10))),
        ("twice", &[(10, 0, Some(0.9), false), (15, 0, Some(0.36), false)], Ahead::Holds),
        ("near, then over", &[(10, 0, Some(0.15), false), (15, 0, Some(0.37), false)], Ahead::Holds),
        ("near twice", &[(10, 0, Some(0.35), false), (15, 0, Some(0.359), false)], Ahead::Near(at(10))),
        ("far, then over", &[(10, 0, Some(0.13), false), (15, 0, Some(0.9), false)], Ahead::Near(at(15))),
        ("too soon", &[(10, 0, Some(0.9), false), (13, 0, Some(0.9), false)], Ahead::Near(at(10))),
        ("four minutes", &[(10, 0, Some(0.9), false), (14, 0, Some(0.9), false)], Ahead::Holds),
        ("silent by half", &[(10, 0, Some(0.9), false), (17, 7, Some(0.9), false)], Ahead::Near(at(10))),
        ("silent twice as long", &[(10, 0, Some(0.9), false), (18, 8, Some(0.9), false)], Ahead::Holds),
        ("while it is low", &[(10, 0, Some(1.0), true), (15, 0, Some(1.0), true)], Ahead::Near(at(10))),
        ("not known between", &[(10, 0, Some(0.9), false), (12, 2, None, false)], Ahead::No),
    ] {
        assert_eq!(run(steps), want, "{what}");
    }
    let holds = [(10, 0, Some(0.9), false), (15, 0, Some(0.9), false)];
    for (what, then, want) in [
        ("within the hysteresis", (20, 0, Some(0.15), false), Ahead::Holds),
        ("beyond it", (20, 0, Some(0.13), false), Ahead::No),
        ("not known", (20, 0, None, false), Ahead::Holds),
        ("low", (20, 0, Some(1.0), true), Ahead::Holds),
    ] {
        assert_eq!(run(&[holds[0], holds[1], then]), want, "{what}");
    }
}

#[test]
fn the_first_reading_over_the_limit_does_not_warn_and_the_second_does() {
    let limit = AlarmSettings::default().low_ahead.limit;
    let mut monitor = calm();
    let first = monitor.push(&reading(START + 90 * 60, 84.0));
    assert!(first.low_ahead() > Some(limit), "{:?}", first.low_ahead());
    assert_eq!(first.warning(), None);
    for minute in 91..95 {
        assert_eq!(monitor.tick(Instant::from_secs(START + 60 * minute)).warning(), None, "{minute}");
    }
    assert_eq!(monitor.push(&reading(START + 95 * 60, 81.0)).warning(), Some(Kind::LowAhead));
    // from twenty minutes on it is the silence that is told of
    for minute in 96..130 {
        let want = if minute < 115 { Kind::LowAhead } else { Kind::NoData };
        assert_eq!(monitor.tick(Instant::from_secs(START + 60 * minute)).warning(), Some(want), "{minute}");
    }
}

/// What was near the limit before twenty minutes of silence bears nothing out after it.
#[test]
fn what_lies_before_a_silence_bears_nothing_out() {
    let rule = AlarmSettings::default().low_ahead;
    let mut monitor = calm();
    let near = monitor.push(&reading(START + 90 * 60, 103.0)).low_ahead().unwrap();
    assert!(near.get() > rule.limit.get() - rule.hysteresis.get() && near < rule.limit, "{near:?}");
    for minute in 91..114 {
        let _ = monitor.tick(Instant::from_secs(START + 60 * minute));
    }
    let after = monitor.push(&reading(START + 114 * 60, 72.0));
    assert!(after.low_ahead() > Some(rule.limit), "{:?}", after.low_ahead());
    assert_eq!(after.warning(), None);
}

#[test]
fn the_first_reading_of_all_bears_nothing_out() {
    let mut monitor = TrendMonitor::default();
    monitor.set_uptime(3600);
    let view = monitor.push(&reading(START, 72.0));
    assert!(view.low_ahead() > Some(AlarmSettings::default().low_ahead.limit), "{:?}", view.low_ahead());
    assert_eq!(view.warning(), None);
}
