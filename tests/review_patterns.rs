//! How often the rule for patterns of the day finds one where there is none, and where there is one. A measurement of
//! ours on simulated people, no outside source. The full measurement:
//!
//!     cargo test --release --test review_patterns -- --ignored --nocapture

use glidepath::review::{Config, DayTime, Pattern, PatternKind, Review, WINDOW_MINUTES};
use glidepath::simulate::{GaussianWorld, GaussianWorldConfig, Person, PersonConfig, Random};
use glidepath::{Glucose, Instant, Reading, Span};

/// Readings every five minutes.
fn person(seed: u64, days: u32) -> Vec<f32> {
    let mut person = Person::new(seed, PersonConfig::DEFAULT);
    (0..288 * days).map(|_| person.step(Span::from_mins(5)).plasma().mg_dl().round()).collect()
}

fn gaussian(seed: u64, days: u32) -> Vec<f32> {
    let config = GaussianWorldConfig::new(150.0, 45.0, 35.0, 120.0).unwrap();
    let mut world = GaussianWorld::new(seed, config);
    (0..288 * days).map(|_| world.step(Span::from_mins(5)).plasma().mg_dl().round().max(39.0)).collect()
}

/// Each day turned round by a length of its own, so that no time of day differs from another.
fn turned(values: &[f32], seed: u64) -> Vec<f32> {
    let mut random = Random::new(seed, 99);
    let mut out = Vec::with_capacity(values.len());
    for day in values.chunks(288) {
        let by = (random.uniform() * 288.0) as usize % 288;
        out.extend_from_slice(&day[by..]);
        out.extend_from_slice(&day[..by]);
    }
    out
}

fn patterns(values: &[f32]) -> Vec<Pattern> {
    let mut review = Review::new(Config::default());
    for (i, &value) in (0..).zip(values) {
        let at = Instant::from_secs(300 * i);
        let _ = review
            .push(&Reading::new(at, Glucose::from_mg_dl(value).unwrap()), DayTime::from_secs(at.secs()));
    }
    review.patterns().into_iter().flatten().collect()
}

/// Percent of `people` with a pattern, and with one of a low.
fn share(people: u64, values: impl Fn(u64) -> Vec<f32>) -> (f32, f32) {
    let (mut any, mut low) = (0, 0);
    for seed in 0..people {
        let found = patterns(&values(seed));
        any += u64::from(!found.is_empty());
        low += u64::from(found.iter().any(|p| p.kind.is_low()));
    }
    (100.0 * any as f32 / people as f32, 100.0 * low as f32 / people as f32)
}

/// The same days with a low planted from about three in the morning on `nights` of the nights.
fn planted(mut values: Vec<f32>, nights: usize) -> Vec<f32> {
    for (night, day) in values.chunks_mut(288).enumerate() {
        if night % 14 < nights {
            let from = 34 + night % 5;
            day[from..from + 8].iter_mut().for_each(|v| *v = v.min(62.0));
        }
    }
    values
}

#[test]
fn a_planted_night_low_is_found_and_named() {
    let found = patterns(&planted(gaussian(1, 14), 8));
    let first = found.first().expect("a pattern");
    assert_eq!(first.kind, PatternKind::Below70);
    assert!((60..=180).contains(&first.start_minute), "{first:?}");
    assert!(first.days_held >= 8 && first.days_seen == 14);
    // windows on one side do not overlap
    for (i, a) in found.iter().enumerate() {
        for b in &found[i + 1..] {
            let apart = a.start_minute.abs_diff(b.start_minute) >= WINDOW_MINUTES;
            assert!(apart || a.kind.is_low() != b.kind.is_low(), "{a:?} {b:?}");
        }
    }
}

#[test]
#[ignore = "some minutes of simulated people"]
fn false_alarms_and_power() {
    for (days, people) in [(14, 2000), (28, 1000), (90, 300)] {
        let none = share(people, |seed| turned(&person(seed, days), seed));
        let world = share(people, |seed| gaussian(seed, days));
        let routine = share(200, |seed| person(seed, days));
        println!(
            "{days} days: {:.1} % ({:.1} % of lows) of people without a pattern, {:.1} % ({:.1} %) of a world without a clock, \
             {:.1} % of people with a routine show one",
            none.0, none.1, world.0, world.1, routine.0
        );
    }
    for nights in 3..=8 {
        let (_, low) = share(200, |seed| planted(turned(&person(seed, 14), seed), nights));
        println!("a low on {nights} of 14 nights at about the same time is found in {low:.0} %");
    }
}
