extern crate std;
use super::*;
use crate::units::Glucose;
use proptest::prelude::*;
use std::vec::Vec;

const BASE: u32 = 1_800_000_000;

/// Minutes after [`BASE`].
fn at(minute: i32) -> Instant {
    Instant::from_secs(BASE).plus(Span::from_mins(minute))
}

fn reading(minute: i32, mg_dl: f32) -> Reading {
    Reading::new(at(minute), Glucose::clamped(mg_dl))
}

/// Readings every five minutes until `minute`, ticks every minute.
fn ticked(minute: i32) -> Timeline {
    let mut timeline = Timeline::new();
    for now in 0..=minute {
        timeline.tick(Some(at(now)));
        if now % 5 == 0 {
            assert_eq!(timeline.place(&reading(now, 100.0), false), Placed::AsStamped(at(now)));
        }
    }
    timeline
}

/// The same without ticks.
fn pushed(minute: i32) -> Timeline {
    let mut timeline = Timeline::new();
    for now in (0..=minute).step_by(5) {
        assert_eq!(timeline.place(&reading(now, 100.0), false), Placed::AsStamped(at(now)));
    }
    timeline
}

/// What becomes of readings every five minutes from minute 65 on whose stamps are off by `off`, told with ticks that are
/// off by `off_ticks`, and denied or not.
fn off_by(mut timeline: Timeline, off: i32, off_ticks: Option<i32>, denied: bool) -> Vec<Placed> {
    let mut placed = Vec::new();
    for now in 61..=80 {
        if let Some(off) = off_ticks {
            timeline.tick(Some(at(now + off)));
        }
        if now % 5 == 0 {
            placed.push(timeline.place(&reading(now + off, 100.0 + now as f32), denied));
        }
    }
    placed
}

#[test]
fn the_count_is_the_stamps_until_a_clock_is_set() {
    assert_eq!(ticked(60).now(), at(60));
    assert_eq!(pushed(60).now(), at(60));
    let placed = off_by(ticked(60), 0, Some(0), false);
    assert_eq!(placed, [65, 70, 75, 80].map(|minute| Placed::AsStamped(at(minute))));
}

#[test]
fn a_clock_set_back_is_recognised_at_the_third_reading() {
    for off in [-60 * 24 * 400, -25 * 60, -120, -40] {
        let moved = Span::from_mins(off);
        let want =
            [Placed::Unknown, Placed::Unknown, Placed::ClockSet(at(75), moved), Placed::AsStamped(at(80))];
        assert_eq!(off_by(ticked(60), off, Some(off), true), want, "{off} min, ticks too");
        assert_eq!(off_by(ticked(60), off, Some(0), true), want, "{off} min, stamps alone");
        // without ticks, time passes as the stamps that agree say
        assert_eq!(off_by(pushed(60), off, None, true), want, "{off} min, no ticks");
    }
}

#[test]
fn a_clock_set_forward_does_not_make_readings_of_the_future() {
    for off in [60, 120, 60 * 24 * 90] {
        let moved = Span::from_mins(off);
        let arrived = |minute| Placed::OnArrival(at(minute));
        let want = [arrived(65), arrived(70), Placed::ClockSet(at(75), moved), Placed::AsStamped(at(80))];
        assert_eq!(off_by(ticked(60), off, Some(0), false), want, "{off} min");
    }
    // when the ticks leap too, so much time may have passed: values are old until the next reading
    let leapt = off_by(ticked(60), 120, Some(120), false);
    assert_eq!(leapt, [185, 190, 195, 200].map(|minute| Placed::AsStamped(at(minute))));
}

#[test]
fn one_stamp_of_the_future_changes_nothing_for_the_next() {
    let mut timeline = ticked(60);
    for now in 61..=65 {
        timeline.tick(Some(at(now)));
    }
    assert_eq!(timeline.place(&reading(65 + 360, 100.0), false), Placed::OnArrival(at(65)));
    // and another at the same moment is nowhere
    assert_eq!(timeline.place(&reading(66 + 360, 100.0), false), Placed::Unknown);
    for now in 66..=70 {
        timeline.tick(Some(at(now)));
    }
    assert_eq!(timeline.now(), at(70));
    assert_eq!(timeline.place(&reading(70, 100.0), false), Placed::AsStamped(at(70)));
}

#[test]
fn readings_that_were_missed_fill_their_gap_and_set_no_clock() {
    // one a minute while time passes, and in a burst
    for pace in [1, 0] {
        let mut timeline = ticked(60);
        for (n, missed) in (-120..-60).step_by(5).enumerate() {
            timeline.tick(Some(at(60 + pace * n as i32)));
            assert_eq!(timeline.place(&reading(missed, 90.0), false), Placed::AsStamped(at(missed)));
        }
    }
    let mut timeline = pushed(60);
    for missed in (-120..-60).step_by(5) {
        assert_eq!(timeline.place(&reading(missed, 90.0), false), Placed::AsStamped(at(missed)));
    }
    // too far behind to tell anything
    assert_eq!(timeline.place(&reading(60 - 24 * 60 - 1, 90.0), false), Placed::Unknown);
}

#[test]
fn a_sensor_that_is_always_late_is_believed_up_to_a_quarter_of_an_hour() {
    for (late, honest) in [(14, true), (15, true), (40, false)] {
        let mut timeline = ticked(60);
        let mut placed = Vec::new();
        for now in 61..=60 + 4 * 5 + late {
            timeline.tick(Some(at(now)));
            if (now - late) % 5 == 0 && now - late > 60 {
                placed.push(timeline.place(&reading(now - late, 100.0), false));
            }
        }
        let then = |minute| Placed::AsStamped(at(minute));
        let want = if honest {
            [then(65), then(70), then(75), then(80)]
        } else {
            let (third, moved) = (75 + late, Span::from_mins(-late));
            [then(65), then(70), Placed::ClockSet(at(third), moved), then(80 + late)]
        };
        assert_eq!(placed, want, "{late} min late");
    }
}

#[test]
fn a_dead_clock_is_seen_by_values_that_change() {
    let mut timeline = ticked(60);
    let mut placed = Vec::new();
    for now in 61..=90 {
        timeline.tick(Some(at(now)));
        if now % 5 == 0 {
            let stands = Reading::new(at(30), Glucose::clamped(now as f32));
            placed.push(timeline.place(&stands, true));
        }
    }
    assert_eq!(placed[..2], [Placed::Unknown; 2]);
    for (n, placed) in placed[2..].iter().enumerate() {
        assert!(matches!(placed, Placed::ClockSet(now, _) if *now == at(75 + 5 * n as i32)), "{placed:?}");
    }
    // the same value again and again may be the same reading sent again
    let mut timeline = ticked(60);
    for now in 61..=90 {
        timeline.tick(Some(at(now)));
        assert_eq!(timeline.place(&reading(30, 77.0), true), Placed::Unknown);
    }
}

#[test]
fn stamps_that_are_off_by_something_else_each_time_set_no_clock() {
    let mut timeline = ticked(60);
    for (now, off) in (61..=120).zip([-300, -700, -200, -900, -100, -400].into_iter().cycle()) {
        timeline.tick(Some(at(now)));
        assert_eq!(timeline.place(&reading(now + off, 100.0), true), Placed::Unknown, "{now}");
    }
}

#[test]
fn the_devices_own_count_goes_before_every_clock() {
    let mut timeline = Timeline::new();
    timeline.set_uptime(1000);
    assert_eq!(timeline.place(&reading(0, 100.0), false), Placed::AsStamped(timeline.now()));
    let start = timeline.now();
    for minute in 1..=60 {
        timeline.set_uptime(1000 + 60 * minute);
        timeline.tick(Some(at(if minute % 2 == 0 { -9000 } else { 9000 })));
        let since = timeline.now().since(start);
        assert_eq!(since, Span::from_mins(minute as i32));
        if minute % 5 == 0 {
            // a little ahead of the count is now
            let early = Reading::new(at(minute as i32).plus(Span::from_secs(40)), Glucose::clamped(100.0));
            assert!(
                matches!(timeline.place(&early, false), Placed::AsStamped(at) if timeline.now().since(at).secs() < 60)
            );
            assert_eq!(timeline.now().since(start), Span::from_mins(minute as i32));
        }
    }
    // it wraps, and starts anew with the device
    let mut timeline = Timeline::new();
    timeline.set_uptime(u32::MAX - 9);
    let start = timeline.now();
    timeline.set_uptime(50);
    assert_eq!(timeline.now().since(start).secs(), 60);
    timeline.set_uptime(3);
    assert_eq!(timeline.now().since(start).secs(), 60);
    timeline.set_uptime(13);
    assert_eq!(timeline.now().since(start).secs(), 70);
}

#[test]
fn a_tick_moves_the_count_by_a_day_at_most_and_back_by_nothing() {
    let mut timeline = ticked(60);
    timeline.tick(Some(Instant::from_secs(u32::MAX)));
    assert_eq!(timeline.now(), at(60 + 24 * 60));
    timeline.tick(Some(at(61)));
    // set back: about as much has passed as between two others, two minutes at most
    assert_eq!(timeline.now(), at(62 + 24 * 60));
    timeline.tick(Some(at(62)));
    assert_eq!(timeline.now(), at(63 + 24 * 60));
    timeline.tick(None);
    assert_eq!(timeline.now(), at(63 + 24 * 60));
}

#[test]
fn after_a_leap_of_the_wall_a_stamp_heard_since_says_how_much_has_passed() {
    // the sensor's stamp arrives before the first tick of three days
    let three_days = 3 * 24 * 60;
    let mut timeline = pushed(60);
    timeline.tick(Some(at(60)));
    assert_eq!(
        timeline.place(&reading(60 + three_days, 100.0), false),
        Placed::AsStamped(at(60 + three_days))
    );
    timeline.tick(Some(at(61 + three_days)));
    assert_eq!(timeline.now(), at(61 + three_days));
    // where ticks told the time it cannot be right, and says nothing of how much has passed
    let mut timeline = ticked(60);
    assert_eq!(timeline.place(&reading(60 + three_days, 100.0), false), Placed::Unknown);
    timeline.tick(Some(at(61 + three_days)));
    assert_eq!(timeline.now(), at(60 + 24 * 60));
    let next = timeline.place(&reading(65 + three_days, 100.0), false);
    assert_eq!(next, Placed::OnArrival(at(60 + 24 * 60)));
    // and at the first tick of all
    let mut timeline = pushed(60);
    timeline.tick(Some(at(64)));
    assert_eq!(timeline.now(), at(64));
    // a wall that is behind the stamps moves nothing
    let mut timeline = pushed(60);
    timeline.tick(Some(at(-300)));
    assert_eq!(timeline.now(), at(60));
    timeline.tick(Some(at(-299)));
    assert_eq!(timeline.now(), at(61));
}

#[test]
fn a_first_reading_is_as_old_as_the_wall_says() {
    for (before, want) in [(0, 100), (40, 60), (-5, 105)] {
        let mut timeline = Timeline::new();
        timeline.tick(Some(at(100)));
        assert_eq!(
            timeline.place(&reading(100 - before, 100.0), false),
            Placed::AsStamped(at(want)),
            "{before}"
        );
    }
    let mut timeline = Timeline::new();
    timeline.tick(Some(at(99)));
    timeline.tick(Some(at(100)));
    assert_eq!(timeline.place(&reading(400, 100.0), false), Placed::OnArrival(at(100)));
}

#[test]
fn a_slow_sensors_clock_does_not_make_its_readings_older_and_older() {
    let mut timeline = ticked(0);
    let mut worst = 0;
    for now in 1..=24 * 60 {
        timeline.tick(Some(at(now)));
        if now % 5 == 0 {
            // five minutes a day too slow
            let stamp = at(now).plus(Span::from_secs(-(now * 300 / 1440)));
            let Placed::AsStamped(placed) =
                timeline.place(&Reading::new(stamp, Glucose::clamped(100.0)), false)
            else {
                panic!("{now}");
            };
            worst = worst.max(timeline.now().since(placed).secs());
        }
    }
    assert!((10..60).contains(&worst), "{worst} s");
}

#[test]
fn the_power_away_leaves_no_age_known_until_a_reading_comes() {
    let mut timeline = ticked(60);
    timeline.resume();
    assert!(timeline.is_resumed());
    timeline.set_uptime(5);
    timeline.set_uptime(65);
    assert_eq!(timeline.now(), at(61));
    // three hours later by its stamp: time has passed
    assert_eq!(timeline.place(&reading(240, 100.0), false), Placed::AsStamped(at(240)));
    assert!(!timeline.is_resumed() && timeline.now() == at(240));
    // the same with a clock three hours early: nobody knows how long it was, so long enough
    let mut timeline = ticked(60);
    timeline.resume();
    let mut placed = Vec::new();
    for minute in 0..=15_u32 {
        timeline.set_uptime(60 * minute);
        if minute % 5 == 0 {
            placed.push(timeline.place(&reading(-120 + minute as i32, 50.0 + minute as f32), true));
        }
    }
    assert_eq!(placed[..2], [Placed::Unknown; 2]);
    assert!(matches!(placed[2], Placed::ClockSet(now, _) if now >= at(70 + 24 * 60)), "{placed:?}");
    assert!(!timeline.is_resumed());
}

#[test]
fn what_is_not_a_reading_is_placed_by_the_wall() {
    // stamps five hours behind the wall
    let mut timeline = Timeline::new();
    timeline.tick(Some(at(0)));
    for now in 1..=30 {
        timeline.tick(Some(at(now)));
        if now % 5 == 0 {
            let _ = timeline.place(&reading(now - 300, 100.0), false);
        }
    }
    let now = timeline.now();
    assert_eq!(timeline.count_of(at(20)), now.plus(Span::from_mins(-10)));
    assert_eq!(timeline.stamp_of(now), at(-270));
    assert_eq!(timeline.wall_of(now), Some(at(30)));
    assert_eq!(timeline.start_of(at(-600)), now.plus(Span::from_mins(-630)));
    assert_eq!(timeline.start_of(at(600)), now, "not in the future");
    let mut fresh = Timeline::new();
    assert_eq!(fresh.start_of(at(0)), at(0));
    assert_eq!(fresh.place(&reading(90, 100.0), false), Placed::AsStamped(at(90)));
}

#[test]
#[cfg_attr(miri, ignore = "too slow")]
fn the_count_has_room_whatever_it_starts_with_and_says_when_it_ends() {
    let mut timeline = Timeline::new();
    timeline.tick(Some(Instant::from_secs(u32::MAX)));
    // 2^31, so that 68 years are left
    assert!(timeline.now().secs() == 2_147_483_648 && !timeline.is_at_end());
    let mut leaps = 0_u32;
    while !timeline.is_at_end() {
        timeline.tick(Some(Instant::from_secs(if leaps.is_multiple_of(2) { 0 } else { u32::MAX })));
        leaps += 1;
    }
    assert!(leaps > 40_000, "{leaps}");
    // and there is room to go on for two years
    assert!(u32::MAX - timeline.now().secs() > 2 * 365 * 86_400);
}

#[test]
fn a_clock_that_stands_for_a_moment_moves_nothing() {
    let mut timeline = ticked(60);
    timeline.tick(Some(at(60)));
    assert_eq!(timeline.now(), at(60));
    // and is not what passes between two ticks when it is set back next
    timeline.tick(Some(at(10)));
    assert_eq!(timeline.now(), at(61));
    // nor does the device's own count told twice in a second, and then nothing else does
    let mut timeline = Timeline::new();
    timeline.set_uptime(1000);
    let _ = timeline.place(&reading(0, 100.0), false);
    let start = timeline.now();
    timeline.set_uptime(1000);
    assert_eq!(timeline.place(&reading(60, 100.0), false), Placed::Unknown);
    assert_eq!(timeline.now(), start);
}

#[test]
fn a_leap_of_the_wall_is_more_than_ten_minutes() {
    // the sensor's clock is five minutes before the wall's
    for (secs, want) in [(600, 15 * 60), (601, 601)] {
        let mut timeline = Timeline::new();
        let _ = timeline.place(&reading(5, 100.0), false);
        timeline.tick(Some(at(0)));
        assert_eq!(timeline.place(&reading(8, 100.0), false), Placed::AsStamped(at(8)));
        timeline.tick(Some(at(0).plus(Span::from_secs(secs))));
        assert_eq!(timeline.now(), at(0).plus(Span::from_secs(want)), "{secs} s");
    }
}

#[test]
fn the_newest_reading_sent_again_tells_nothing_new() {
    let mut timeline = ticked(60);
    assert_eq!(timeline.place(&reading(60, 100.0), true), Placed::Unknown);
    // nor after the power was away: its age stays unknown
    timeline.resume();
    assert_eq!(timeline.place(&reading(60, 100.0), false), Placed::AsStamped(at(60)));
    assert!(timeline.is_resumed());
}

#[test]
fn after_the_power_was_away_it_is_as_one_that_is_read_back() {
    // of two on one count
    let mut timeline = ticked(60);
    timeline.keep_up(&ticked(61));
    timeline.tick(Some(at(62)));
    let mut room = [0; 64];
    timeline.code(&mut Codec::saving(&mut room));
    let mut back = Timeline::new();
    back.code(&mut Codec::loading(&room));
    assert_ne!(back, timeline);
    timeline.resume();
    assert_eq!(back, timeline);
}

#[test]
fn the_limits_of_a_stamp_are_within_it() {
    let after = |minute, secs| Reading::new(at(minute).plus(Span::from_secs(secs)), Glucose::clamped(100.0));
    // ahead of a count that ticks
    for (secs, want) in [(0, Placed::AsStamped(at(71))), (1, Placed::OnArrival(at(61)))] {
        let mut timeline = ticked(60);
        timeline.tick(Some(at(61)));
        assert_eq!(timeline.place(&after(71, secs), false), want);
    }
    // and of one that stamps alone move: a sensor's silence
    let silence = 35 * 24 * 60;
    assert_eq!(pushed(60).place(&after(60 + silence, 0), false), Placed::AsStamped(at(60 + silence)));
    assert_eq!(pushed(60).place(&after(60 + silence, 1), false), Placed::Unknown);
    assert_eq!(pushed(60).place(&after(60 + 2 * silence, 0), false), Placed::Unknown);
    // behind it, newer than all others
    let mut late = ticked(60);
    let day = 24 * 60;
    for now in 61..=60 + day + 120 {
        late.tick(Some(at(now)));
    }
    let mut later = late;
    assert_eq!(late.place(&after(60 + 120, 0), false), Placed::AsStamped(at(60 + 120)));
    assert_eq!(later.place(&after(60 + 120, -1), false), Placed::OnArrival(at(60 + day + 120)));
    // and older
    assert_eq!(pushed(60).place(&after(60 - day, 0), false), Placed::AsStamped(at(60 - day)));
    assert_eq!(pushed(60).place(&after(60 - day, -1), false), Placed::Unknown);
}

#[test]
fn a_stray_sent_again_is_no_vote_and_takes_none_away() {
    let mut timeline = ticked(60);
    let mut placed = Vec::new();
    for now in 61..=75 {
        timeline.tick(Some(at(now)));
        if [65, 70, 75].contains(&now) {
            placed.push(timeline.place(&reading(now - 120, now as f32), true));
        }
        if now == 71 {
            placed.push(timeline.place(&reading(70 - 120, 70.0), true));
        }
    }
    let set = Placed::ClockSet(at(75), Span::from_mins(-120));
    assert_eq!(placed, [Placed::Unknown, Placed::Unknown, Placed::Unknown, set]);
}

#[test]
fn strays_less_than_half_a_minute_apart_are_a_burst_and_set_no_clock() {
    for (apart, recognised) in [(30, true), (29, false)] {
        let mut timeline = ticked(60);
        let mut last = Placed::Unknown;
        for n in 1..=3 {
            let now = at(60).plus(Span::from_secs(n * apart));
            timeline.tick(Some(now));
            let stamp = now.plus(Span::from_mins(-120));
            last = timeline.place(&Reading::new(stamp, Glucose::clamped(100.0 + n as f32)), true);
        }
        assert_eq!(matches!(last, Placed::ClockSet(..)), recognised, "{apart} s: {last:?}");
    }
}

#[test]
fn a_burst_of_strays_sets_no_clock_where_anything_counts() {
    let burst = |mut timeline: Timeline, apart: i32| {
        let place = |n: i32| timeline.place(&reading(30 + n * apart, 100.0 + n as f32), true);
        (0..5).map(place).any(|placed| placed != Placed::Unknown)
    };
    let mut running = Timeline::new();
    for minute in 0..=60 {
        running.set_uptime(60 * minute);
        if minute % 5 == 0 {
            let _ = running.place(&reading(minute as i32, 100.0), false);
        }
    }
    assert!(!burst(running, 5), "the device's own count");
    assert!(!burst(ticked(60), 5), "the clock on the wall");
    // where nothing does, time passes as stamps say, unless they stand
    assert!(burst(pushed(60), 5) && !burst(pushed(60), 0));
}

#[test]
fn one_tick_now_and_then_does_not_keep_readings_from_moving_the_count() {
    let mut timeline = Timeline::new();
    for minute in (0..600).step_by(15) {
        if minute % 60 == 0 {
            timeline.tick(Some(at(minute)));
        }
        assert_eq!(timeline.place(&reading(minute, 100.0), false), Placed::AsStamped(at(minute)), "{minute}");
    }
    // nor do ticks that were many, and ended
    let mut timeline = ticked(60);
    let placed: Vec<_> =
        (75..200).step_by(15).map(|minute| timeline.place(&reading(minute, 100.0), false)).collect();
    assert_eq!(placed.last(), Some(&Placed::AsStamped(at(195))), "{placed:?}");
}

#[test]
fn time_passes_on_after_a_stamp_has_moved_the_count_far() {
    // no ticks yet to tell that it cannot be
    let mut timeline = Timeline::new();
    timeline.tick(Some(at(0)));
    assert_eq!(timeline.place(&reading(0, 100.0), false), Placed::AsStamped(at(0)));
    assert_eq!(timeline.place(&reading(360, 100.0), false), Placed::AsStamped(at(360)));
    for minute in 1..=30 {
        timeline.tick(Some(at(minute)));
        // but for the first tick, which tells where the wall stands now
        assert_eq!(timeline.now(), at(359 + minute), "a value must get older");
    }
    // nor in a burst beside ticks
    let mut timeline = ticked(60);
    for stamp in [61, 62, 63, 64, 400, 401] {
        let _ = timeline.place(&reading(stamp, 100.0), false);
    }
    let before = timeline.now();
    for minute in 65..=95 {
        timeline.tick(Some(at(minute)));
    }
    assert!(timeline.now().since(before).mins() >= 29.0);
    // and a device that counts is moved by nothing else
    let mut timeline = Timeline::new();
    timeline.set_uptime(0);
    let start = timeline.now();
    for stamp in [0, 1, 300, 600] {
        let _ = timeline.place(&reading(stamp, 100.0), false);
    }
    timeline.set_uptime(60);
    assert_eq!(timeline.now().since(start).secs(), 60);
}

/// Something that is told: seconds on, how far a stamp is off, what it is.
fn events() -> impl Strategy<Value = Vec<(u8, u32, i32, bool)>> {
    let off = prop_oneof![4 => Just(0), 2 => -4000..4000_i32, 1 => any::<i32>()];
    prop::collection::vec((0..6_u8, 0..2000_u32, off, any::<bool>()), 1..if cfg!(miri) { 9 } else { 120 })
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(if cfg!(miri) { 4 } else { 256 }))]
    #[test]
    fn the_count_only_grows_and_no_reading_is_of_the_future(events in events(), start in any::<u32>()) {
        let mut timeline = Timeline::new();
        let (mut now, mut uptime) = (Instant::from_secs(start), 0_u32);
        let mut before = None;
        for (what, passed, off, denied) in events {
            now = now.plus(Span::from_secs(passed.cast_signed()));
            uptime = uptime.wrapping_add(passed);
            let stamp = now.plus(Span::from_secs(off));
            match what {
                0 => timeline.tick(Some(stamp)),
                1 => timeline.tick(None),
                2 => timeline.set_uptime(uptime),
                3 if denied => timeline.resume(),
                _ => {
                    let placed = timeline.place(&Reading::new(stamp, Glucose::clamped(off as f32)), denied);
                    let (Placed::AsStamped(at) | Placed::OnArrival(at) | Placed::ClockSet(at, _)) = placed else { continue };
                    prop_assert!(at <= timeline.now());
                }
            }
            prop_assert!(before.is_none_or(|before| timeline.now() >= before));
            before = Some(timeline.now());
        }
    }
}

#[test]
fn on_one_count_for_two_ticks_tell_the_time_while_they_come_and_stamps_after() {
    let (mut one, mut other) = (Timeline::new(), Timeline::new());
    for minute in 0..30 {
        for ticks in [true, false] {
            // a reading of each after every tick, which is as often as ticks come; none after the tenth
            for timeline in [&mut one, &mut other] {
                match (ticks, minute < 10) {
                    (true, true) => timeline.tick(Some(at(minute))),
                    (true, false) => {}
                    (false, _) => drop(timeline.place(&reading(minute, 120.0), false)),
                }
            }
            one.keep_up(&other);
            other.keep_up(&one);
        }
        assert_eq!([one.is_told(), other.is_told()], [(2..12).contains(&minute); 2], "{minute}");
    }
}
