extern crate std;
use super::*;
use crate::reading::{Reading, Status};
use crate::units::Glucose;
use crate::units::Instant;
use std::boxed::Box;
use std::vec::Vec;

fn reading(minute: u32, mg_dl: f32) -> Reading {
    Reading::new(Instant::from_secs(minute * 60), Glucose::clamped(mg_dl))
}

fn push<G: Grid>(review: &mut Review<G>, reading: &Reading) {
    assert_eq!(review.push(reading, DayTime::from_secs(reading.at().secs())), Pushed::Counted);
}

#[test]
fn readings_beyond_the_sensors_range_are_counted_apart() {
    let config = Config::new(crate::Span::from_mins(15)).unwrap();
    let mut review = Review::new(config);
    assert_eq!((review.config(), review.span()), (config, None));
    for (minute, status) in [
        (10, Status::BelowRange),
        (25, Status::BelowRange),
        (40, Status::AboveRange),
        (55, Status::Normal),
        (70, Status::Doubtful),
    ] {
        push(&mut review, &reading(minute, 100.0).with_status(status));
    }
    let summary = review.summary();
    assert_eq!((summary.readings, summary.below_sensor_range, summary.above_sensor_range), (5, 2, 1));
    assert_eq!(review.span(), Some((Instant::from_secs(600), Instant::from_secs(4200))));
}

#[test]
#[cfg_attr(miri, ignore = "too slow")]
fn what_needs_two_of_something_or_a_mean_is_nothing_without() {
    let mut review = Review::new(Config::default());
    push(&mut review, &reading(0, 0.0));
    assert_eq!((review.summary().mean_mg_dl, review.summary().sd_mg_dl), (Some(0.0), None));
    push(&mut review, &reading(5, 0.0));
    assert_eq!((review.summary().sd_mg_dl, review.summary().cv_percent), (Some(0.0), None));
    // one whole day has no spread between days
    let mut review = Review::new(Config::default());
    (0..288).for_each(|i| push(&mut review, &reading(5 * i, 120.0)));
    assert_eq!((review.summary().whole_days, review.summary().sd_between_day_means), (1, None));
}

#[test]
fn ranges_add_up_by_hand() {
    let mut review = Review::new(Config::default());
    // of 20: 1 under 54, 2 to 62, 3 to 69, 6 to 140, 4 to 180, 3 to 250, 1 over
    let counts = [(50.0, 1), (60.0, 2), (65.0, 3), (100.0, 6), (150.0, 4), (200.0, 3), (260.0, 1)];
    let values: Vec<f32> = counts.iter().flat_map(|&(value, n)| std::iter::repeat_n(value, n)).collect();
    (0..).zip(values).for_each(|(i, value)| push(&mut review, &reading(5 * i, value)));
    let ranges = review.summary().by_readings.unwrap();
    let got = [
        ranges.below_54,
        ranges.from_54_to_69,
        ranges.from_70_to_180,
        ranges.from_181_to_250,
        ranges.above_250,
        ranges.from_70_to_140,
        ranges.from_63_to_140,
        ranges.below_63,
        ranges.above_140,
    ];
    assert_eq!(got, [5.0, 25.0, 50.0, 15.0, 5.0, 30.0, 45.0, 15.0, 40.0]);
}

#[test]
#[cfg_attr(miri, ignore = "too slow")]
fn a_pool_adds_records_grids_and_their_number() {
    let record = |mg_dl| {
        let mut review = Box::new(Review::<Exact>::with_grid(Config::default()));
        push(&mut review, &reading(0, mg_dl));
        review
    };
    let mut pool = Box::<Pool<Exact>>::default();
    assert_eq!((pool.records(), pool.grid().sd_by_clock()), (0, None));
    [100.0, 110.0, 120.0].into_iter().for_each(|mg_dl| pool.add(&record(mg_dl)));
    assert_eq!((pool.records(), pool.grid().values(0)), (3, 3));
    assert_eq!(pool.grid().percentile(0, 0.5), Some(110.0));
    assert_eq!(pool.grid().sd_by_clock(), Some(10.0));
}

/// Ten days with a reading every half hour, `odd` for one and `base` for the others.
fn ten_days(base: f32, odd: &[(u32, f32)]) -> Review {
    let mut review = Review::new(Config::new(crate::Span::from_mins(30)).unwrap());
    for half_hour in 0..480_u32 {
        let of_day = half_hour % 48 * 30;
        let value = odd.iter().find(|(minute, _)| *minute == of_day).map_or(base, |(_, value)| *value);
        push(&mut review, &reading(30 * half_hour, value));
    }
    review
}

#[test]
#[cfg_attr(miri, ignore = "too slow")]
fn each_mark_is_held_beyond_its_own_limit() {
    const THREE: u32 = 15 * 60;
    for (base, odd, mark) in [
        (100.0, 69.9, Some(PatternKind::Below70)),
        (100.0, 70.0, None),
        (60.0, 53.9, Some(PatternKind::Below54)),
        (60.0, 54.0, None),
        (100.0, 180.1, Some(PatternKind::Above180)),
        (100.0, 180.0, None),
        (200.0, 250.1, Some(PatternKind::Above250)),
        (200.0, 250.0, None),
    ] {
        let [first, second, third] = ten_days(base, &[(THREE, odd)]).patterns();
        assert_eq!(first.map(|pattern| pattern.kind), mark, "{odd}");
        assert!(second.is_none() && third.is_none(), "windows that overlap say it once");
        if let Some(pattern) = first {
            assert_eq!((pattern.start_minute, pattern.days_seen, pattern.days_held), (14 * 60, 10, 10));
            assert_eq!(pattern.kind.is_low(), odd < 100.0);
        }
    }
}

#[test]
#[cfg_attr(miri, ignore = "too slow")]
fn a_low_and_a_high_side_by_side_are_two_patterns() {
    let marks = |odd: &[(u32, f32)]| ten_days(100.0, odd).patterns().map(|found| found.map(|p| p.kind));
    assert_eq!(
        marks(&[(180, 60.0), (210, 200.0)]),
        [Some(PatternKind::Below70), Some(PatternKind::Above180), None]
    );
    assert_eq!(
        marks(&[(180, 60.0), (900, 60.0)]),
        [Some(PatternKind::Below70), Some(PatternKind::Below70), None]
    );
}

#[test]
fn a_pattern_needs_seven_days_of_which_three_hold_it() {
    for (days, held, found) in [(7, 3, true), (7, 2, false), (6, 6, false)] {
        let mut review = Review::new(Config::new(crate::Span::from_mins(30)).unwrap());
        for half_hour in 0..48 * days {
            let low = half_hour % 48 == 30 && half_hour < 48 * held;
            push(&mut review, &reading(30 * half_hour, if low { 60.0 } else { 100.0 }));
        }
        let [first, ..] = review.patterns();
        assert_eq!(first.is_some(), found, "{held} of {days}");
        if let Some(pattern) = first {
            // two windows of 23 hold it: 6 of 161, and scipy.stats.binom.sf(2, 7, 6 / 161)
            assert!((pattern.usual_percent - 3.726_708).abs() < 1e-4);
            assert!((pattern.p_value / 0.001_617_865 - 1.0).abs() < 1e-3, "{}", pattern.p_value);
        }
    }
}
