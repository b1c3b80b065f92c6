//! The invented study, whose truth is known, comes out within its stated intervals.

use clap::Parser;
use rayon::prelude::*;

use super::{Args, demo, report};

#[derive(Parser)]
struct Line {
    #[command(flatten)]
    args: Args,
}

/// What the invented study comes to.
pub(super) fn told() -> report::Report {
    let args = Line::try_parse_from(["compare"]).unwrap().args;
    report::report(&demo::invent(demo::SEED, demo::DAYS).study, &args, None).unwrap()
}

/// Two hundred people take 20 seconds when optimised, sixteen 10 when not.
const SEEDS: usize = if cfg!(debug_assertions) { 16 } else { 200 };
const FIGURES: [&str; 7] =
    ["first bias", "first MARD", "first lag", "second bias", "second MARD", "second lag", "lag between"];

#[test]
fn bias_lag_and_mard_lie_within_their_intervals_of_the_truth() {
    let args = Line::try_parse_from(["compare"]).unwrap().args;
    // for each of FIGURES whether its interval misses the truth; none where it is withheld
    let misses: Vec<[Option<bool>; 7]> = (0..SEEDS as u64)
        .into_par_iter()
        .map(|seed| {
            let demo::Invented { study, known, lag_between_min } = demo::invent(seed, demo::DAYS);
            let report = report::report(&study, &args, None).unwrap();
            let miss =
                |ends: Option<[f32; 2]>, truth: f32| ends.map(|[low, high]| truth < low || truth > high);
            let mut misses = [None; 7];
            for (n, (sensor, known)) in report.sensors.0.iter().zip(known).enumerate() {
                misses[3 * n] = miss(sensor.figures.bias_interval_mg_dl, known.bias_mg_dl);
                misses[3 * n + 1] = miss(sensor.figures.mard_interval_percent, known.mard_percent);
                misses[3 * n + 2] = miss(sensor.lag.lag_interval_min, known.lag_min);
            }
            let between = report.between.unwrap();
            misses[6] = miss(between.lag_interval_min, lag_between_min);
            // of the mean of the two, so near the mean difference over the mean level
            let means = between.first_same_minutes.mean_mg_dl.zip(between.second_same_minutes.mean_mg_dl);
            let rough = means.zip(between.mean_abs_diff_mg_dl).map(|((a, b), off)| 200.0 * off / (a + b));
            let relative = between.mean_abs_relative_diff_percent.unwrap() / rough.unwrap();
            assert!((0.8..1.6).contains(&relative), "{relative}");
            misses
        })
        .collect();
    for (n, name) in FIGURES.into_iter().enumerate() {
        let given: Vec<bool> = misses.iter().filter_map(|person| person[n]).collect();
        let missed = given.iter().filter(|missed| **missed).count();
        let told = format!("{name}: given {} of {SEEDS}, missed {missed}", given.len());
        eprintln!("{told}");
        // 95 %: one in twenty
        assert!(missed <= given.len().div_ceil(20), "{told}");
        // 84 fingersticks do not always tell a sensor's lag, which is withheld then; everything else they do tell
        let fewest = if matches!(name, "first lag" | "second lag") { SEEDS * 3 / 4 } else { SEEDS };
        assert!(given.len() >= fewest, "{told}");
    }
}
