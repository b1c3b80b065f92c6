//! Never calmly wrong: a wearer who is low, or a wrist that is blind, while clocks, sessions, fingersticks, the sensor or
//! the power are wrong; through frames, and by what the rendered screen shows. Each case is invented; glucose in mg/dL, a
//! reading every five minutes.

mod life;

use glidepath::alarm::Kind;
use glidepath::{Span, Status};
use life::{Screen, Wearer};

const LOWS: &[Kind] = &[Kind::Floor, Kind::Low];

/// A quiet evening of so many minutes at about 120, from an hour of the day on.
fn quiet(hour: i32, minutes: u32) -> Wearer {
    let mut wearer = Wearer::new(hour);
    wearer.open();
    wearer.live(minutes, |minute| Some(119.0 + (minute / 5 % 3) as f32));
    wearer
}

/// Falls from 118 by 6 every five minutes down to 45: at or under 55 after an hour.
fn falls(minute: u32) -> Option<f32> {
    Some((118.0 - 1.2 * minute as f32).max(45.0) + (minute / 5 % 2) as f32 * 0.4)
}

#[test]
fn the_power_is_cut_a_wrong_time_is_told_and_the_sensor_is_silent() {
    let mut wearer = quiet(20, 180);
    wearer.cut_power();
    wearer.tell_time(-180);
    let start = wearer.minute;
    wearer.live_with(300, |wearer| {
        assert!(!wearer.screen().is_a_number(), "minute {}", wearer.minute - start);
        assert!(!wearer.app.view().unwrap().is_monitoring());
        None
    });
    let first = wearer.first(start, &[Kind::NoData]);
    assert!(first.is_some_and(|minutes| minutes <= 20), "{first:?}");
    assert!(wearer.longest(start, &[Kind::NoData]) <= 31);
    assert!(wearer.said.iter().all(|said| said.contains("No present value")), "{:?}", wearer.said);
}

#[test]
fn the_power_is_cut_and_no_time_is_told() {
    let mut wearer = quiet(20, 180);
    wearer.cut_power();
    let start = wearer.minute;
    wearer.live(120, |_| None);
    assert!(wearer.first(start, &[Kind::NoData]).is_some_and(|minutes| minutes <= 20));
    assert!(!wearer.screen().is_a_number());
    // a reading, and it is present again; no session need be told anew, nor any time
    wearer.live(5, |_| Some(61.0));
    assert!(matches!(wearer.screen(), Screen::Number { mg_dl: 55..=61, doubted: false, alarm: true }));
    assert!(wearer.rings(LOWS));
}

#[test]
fn nothing_is_ever_told() {
    let mut wearer = Wearer::new(20);
    wearer.live(360, |_| None);
    assert!(wearer.first(0, &[Kind::NoData]).is_some_and(|minutes| minutes <= 20));
    assert!(wearer.longest(0, &[Kind::NoData]) <= 31);
    assert!(!wearer.screen().is_a_number());
    assert_eq!(wearer.said[0], "Alarm: no readings. No present value, silent for 20 minutes.");
}

#[test]
fn a_session_without_a_time_still_warns() {
    let mut wearer = Wearer::new(20);
    wearer.tell_start(0);
    wearer.live(120, |_| None);
    assert!(wearer.first(0, &[Kind::NoData]).is_some_and(|minutes| minutes <= 20));
    let start = wearer.minute;
    wearer.live(120, falls);
    assert!(wearer.first(start, &[Kind::Floor]).is_some_and(|minutes| minutes <= 65));
}

#[test]
fn a_sensor_told_of_before_a_power_cut_is_known_after_it() {
    let mut wearer = Wearer::new(20);
    wearer.open();
    wearer.cut_power();
    wearer.live(5, |_| Some(119.0));
    let wear = wearer.app.monitor().wear().expect("its start was told");
    assert!((4310.0..4340.0).contains(&wear.worn().mins()), "{wear:?}");
}

#[test]
fn the_session_start_is_five_hours_ahead_and_corrected_later() {
    for told_time in [true, false] {
        let mut wearer = Wearer::new(14);
        if told_time {
            wearer.tell_time(0);
        }
        wearer.tell_start(300);
        wearer.live(180, |minute| Some(119.0 + (minute / 5 % 3) as f32));
        wearer.tell_start(0);
        let start = wearer.minute;
        wearer.live(180, falls);
        let (low, floor) = (wearer.first(start, LOWS), wearer.first(start, &[Kind::Floor]));
        assert!(low.is_some_and(|minutes| minutes <= 55), "{told_time}: {low:?}");
        assert!(floor.is_some_and(|minutes| minutes <= 65), "{told_time}: {floor:?}");
        assert!(wearer.longest(start + 65, LOWS) <= 6);
        assert!(matches!(wearer.screen(), Screen::Number { mg_dl: 40..=55, .. }), "{:?}", wearer.screen());
        // one sensor all the while: what it taught is kept
        assert_eq!(wearer.app.monitor().history().len(), 72 - usize::from(wearer.refused()));
    }
}

#[test]
fn daylight_saving_ends_at_a_fall() {
    let mut wearer = quiet(1, 120);
    wearer.tell_time(-60);
    wearer.tell_start(-60);
    let start = wearer.minute;
    wearer.live(180, falls);
    let floor = wearer.first(start, &[Kind::Floor]);
    assert!(floor.is_some_and(|minutes| minutes <= 65), "{floor:?}");
    assert!(wearer.longest(start + 65, LOWS) <= 6);
    assert!(matches!(wearer.screen(), Screen::Number { mg_dl: 40..=55, .. }), "{:?}", wearer.screen());
}

#[test]
fn a_true_fall_at_night_under_suspicion_of_pressure() {
    let mut wearer = quiet(0, 180);
    wearer.live(60, |minute| Some(92.0 - (minute / 5 % 3) as f32 * 0.7));
    let (start, mut suspected) = (wearer.minute, 0);
    let mut values = [79.0, 66.0, 55.0, 42.0].into_iter();
    wearer.live_with(60, |wearer| {
        let sensor = wearer.last_sent;
        if let Screen::Number { mg_dl, doubted, .. } = wearer.screen() {
            // the estimate runs ahead of a fall; it is never calmer than the sensor
            assert!(doubted || f32::from(mg_dl) <= sensor + 15.0, "{mg_dl} beside {sensor}");
            suspected += u32::from(doubted);
        }
        if wearer.minute.is_multiple_of(5) { values.next().or(Some(42.0)) } else { None }
    });
    assert!(suspected > 10, "doubted in {suspected} minutes");
    let floor = wearer.first(start, &[Kind::Floor]);
    assert!(floor.is_some_and(|minutes| minutes <= 15), "{floor:?}");
    assert!(wearer.said.iter().any(|said| said.contains("very low")), "{:?}", wearer.said);
    assert!(matches!(wearer.screen(), Screen::Number { mg_dl: 40..=46, .. }), "{:?}", wearer.screen());
}

#[test]
fn very_low_never_stands_beside_another_number() {
    let mut wearer = quiet(0, 180);
    // the sensor falls off a cliff and comes back a little, as pressure and lows do
    let mut values = [93.0, 47.0, 41.0, 39.0, 47.0, 55.0, 48.0, 44.0].into_iter().cycle();
    wearer.live_with(240, |wearer| {
        if let (Some(alert), Screen::Number { mg_dl, alarm: true, .. }) =
            (wearer.app.face().alert, wearer.screen())
            && let Some(glucose) = alert.trigger.glucose()
        {
            assert_eq!(mg_dl, glucose.whole_mg_dl(), "{alert:?}");
            assert!(alert.kind != Kind::Floor || mg_dl <= 55);
        }
        if wearer.minute.is_multiple_of(5) { values.next() } else { None }
    });
    assert!(wearer.rang.iter().filter(|(_, kind)| *kind == Kind::Floor).count() > 10);
    for said in &wearer.said {
        let spoken = said.strip_prefix("Alarm: very low. ");
        let Some(number) = spoken.and_then(|spoken| spoken.split(" milligrams").next()) else { continue };
        let number = number.rsplit(' ').next().and_then(|word| word.parse::<u32>().ok());
        assert!(number.is_none_or(|mg_dl| mg_dl <= 55), "{said}");
    }
}

#[test]
fn below_its_range_the_sensor_outvotes_three_wrong_sticks() {
    let mut wearer = quiet(20, 120);
    wearer.live(60, |minute| Some((118.0 - 1.2 * minute as f32).max(60.0)));
    for _ in 0..3 {
        wearer.live(10, |_| Some(60.0));
        wearer.stick(0, 150.0);
    }
    let start = wearer.minute;
    wearer.live_status(240, Status::BelowRange, 39.0);
    assert!(wearer.first(start, &[Kind::Floor]).is_some_and(|minutes| minutes <= 6));
    assert_eq!(wearer.screen(), Screen::AtMost { mg_dl: 39, alarm: true });
}

#[test]
fn a_wrong_stick_at_a_low() {
    for stick in [75.0, 80.0, 85.0, 90.0, 100.0, 130.0] {
        let mut wearer = quiet(20, 120);
        wearer.live(90, |minute| Some((118.0 - 1.2 * minute as f32).max(58.0) + (minute % 3) as f32 * 0.3));
        wearer.press(100);
        wearer.stick(0, stick);
        wearer.live_with(30, |wearer| {
            let (_, read) = wearer.app.view().unwrap().newest().unwrap();
            if let Screen::Number { mg_dl, doubted: false, .. } = wearer.screen()
                && read.mg_dl() <= 70.0
            {
                assert!(f32::from(mg_dl) <= read.mg_dl() + 15.5, "{mg_dl} beside {read:?}, stick {stick}");
            }
            wearer.minute.is_multiple_of(5).then_some(58.0 + (wearer.minute % 3) as f32 * 0.3)
        });
    }
}

#[test]
fn one_long_press_at_a_low() {
    let mut wearer = quiet(20, 120);
    wearer.live(90, |minute| Some((118.0 - 1.2 * minute as f32).max(57.0)));
    assert!(wearer.rings(LOWS));
    wearer.press(1000);
    assert!(wearer.app.face().alert.is_none());
    let start = wearer.minute;
    wearer.live(240, |_| Some(57.0));
    let longest = wearer.longest(start, LOWS);
    assert!(longest <= 31, "silent for {longest} min");
    // further down it rings anew at once, whatever was pressed
    wearer.press(1000);
    let start = wearer.minute;
    wearer.live(15, |_| Some(45.0));
    let first = wearer.first(start, LOWS);
    assert!(first.is_some_and(|minutes| minutes <= 6), "{first:?}");
    // seen by a short press, and further down again
    wearer.press(100);
    let start = wearer.minute;
    wearer.live(15, |_| Some(34.0));
    let first = wearer.first(start, LOWS);
    assert!(first.is_some_and(|minutes| minutes <= 6), "{first:?}");
}

#[test]
fn one_reading_is_stamped_in_the_future() {
    let mut wearer = quiet(20, 120);
    wearer.send_at(6 * 60, 119.0, Status::Normal);
    let start = wearer.minute;
    wearer.live(180, falls);
    let floor = wearer.first(start, &[Kind::Floor]);
    assert!(floor.is_some_and(|minutes| minutes <= 65), "{floor:?}");
}

#[test]
fn a_low_reading_whose_time_cannot_be_told_is_shown_as_doubted() {
    let mut wearer = quiet(20, 120);
    // another value for a time long since told
    wearer.send_at(-30, 45.0, Status::Normal);
    assert_eq!(wearer.screen(), Screen::Number { mg_dl: 45, doubted: true, alarm: true });
    let start = wearer.minute;
    wearer.live(3, |_| None);
    // it was no news of now; but nor is what is known beyond doubt
    assert!(matches!(wearer.screen(), Screen::Number { mg_dl: 115..=125, doubted: true, alarm: false }));
    wearer.live(5, |_| Some(119.0));
    assert!(matches!(wearer.screen(), Screen::Number { mg_dl: 115..=125, doubted: false, .. }));
    assert_eq!(wearer.first(start + 1, LOWS), None);
}

#[test]
fn a_stick_that_is_refused_is_told() {
    let mut wearer = quiet(20, 120);
    wearer.stick(15, 75.0);
    assert_eq!(wearer.said.last().map(String::as_str), Some("The fingerstick was not taken in."));
    assert_eq!(wearer.app.face().note, "stick: no");
    wearer.live(5, |_| Some(119.0));
    assert_ne!(wearer.app.face().note, "stick: no");
    wearer.stick(0, 118.0);
    assert_ne!(wearer.app.face().note, "stick: no");
}

#[test]
fn a_value_is_not_shown_as_present_for_longer_than_eleven_minutes() {
    let mut wearer = quiet(20, 60);
    let start = wearer.seconds;
    let mut last = 0;
    for _ in 0..1200 {
        wearer.second();
        if wearer.screen().is_a_number() {
            last = wearer.seconds - start;
        }
    }
    assert!((600..=660).contains(&last), "{last} s");
    assert_eq!(
        wearer.app.view().and_then(|view| view.age()).map(Span::secs).map(|age| age >= 1140),
        Some(true)
    );
}
