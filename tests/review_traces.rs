//! The streaming figures against a plain computation over whole arrays with numpy and scipy, on open traces.
//!
//! What was computed, and by which command, is in `review_traces.py`; its results are in `review_traces.csv`. The traces
//! themselves are read from the folder that `GLIDEPATH_TRACES` names: azt1d (Khamesian et al. 2025,
//! 10.17632/gk9m674wcx.1), bigideas (Cho et al. 2023, 10.13026/zthx-5212), brist1d (James et al. 2025,
//! 10.5523/bris.33z5jc8fa6tob21ptrugzqog08), hall2018 (Hall et al. 2018, PLoS Biol 16:e2005143), ogtt_venous (Metwally et
//! al. 2024, 10.1038/s41551-024-01311-6), physiocgm (Quamer et al. 2025, 10.6084/m9.figshare.28136294).

use glidepath::review::{BINS, Config, DayTime, Exact, Grid, Pushed, Review, Summary};
use glidepath::{Glucose, Instant, Reading, Span};
use std::{collections::BTreeMap, fs, path::Path};

/// Seconds since 1970 of `2024-01-13T00:03:00`. Days by Hinnant's civil calendar formula.
fn seconds(stamp: &str) -> i64 {
    let part = |from: usize, to: usize| stamp[from..to].parse::<i64>().unwrap();
    let (year, month, day) = (part(0, 4), part(5, 7), part(8, 10));
    let year = if month <= 2 { year - 1 } else { year };
    let (era, of_era) = (year.div_euclid(400), year.rem_euclid(400));
    let of_year = (153 * ((month + 9) % 12) + 2) / 5 + day - 1;
    let days = era * 146_097 + of_era * 365 + of_era / 4 - of_era / 100 + of_year - 719_468;
    days * 86_400 + part(11, 13) * 3600 + part(14, 16) * 60 + part(17, 19)
}

fn review(path: &Path, interval: Span) -> Box<Review<Exact>> {
    let mut rows = BTreeMap::new();
    for line in fs::read_to_string(path).unwrap().lines().skip(1) {
        let mut cells = line.split(',');
        let (stamp, value) = (cells.next().unwrap().trim(), cells.next().unwrap().trim());
        let value = match value.to_uppercase().as_str() {
            "" => continue,
            "LOW" => 39.0,
            "HIGH" => 401.0,
            number => number.parse::<f32>().unwrap(),
        };
        rows.entry(seconds(stamp)).or_insert(value);
    }
    let mut review = Box::new(Review::with_grid(Config::new(interval).unwrap()));
    for (at, value) in rows {
        let at = Instant::from_secs(at as u32);
        let reading = Reading::new(at, Glucose::from_mg_dl(value).unwrap());
        assert_eq!(review.push(&reading, DayTime::from_secs(at.secs())), Pushed::Counted);
    }
    review
}

fn figure(name: &str, s: &Summary, review: &Review<Exact>) -> Option<f32> {
    let (count, time) = (s.by_readings?, s.by_time?);
    let episodes = |i: usize| s.episodes[i];
    let percentile = |share: f32| {
        let bins: Vec<f32> = (0..BINS).filter_map(|bin| review.grid().percentile(bin, share)).collect();
        Some(bins.iter().sum::<f32>() / bins.len() as f32)
    };
    match name {
        "readings" => Some(s.readings as f32),
        "mean" => s.mean_mg_dl,
        "sd" => s.sd_mg_dl,
        "cv" => s.cv_percent,
        "j_index" => s.j_index,
        "below_54" => Some(count.below_54),
        "below_54_time" => Some(time.below_54),
        "from_54_to_69" => Some(count.from_54_to_69),
        "from_54_to_69_time" => Some(time.from_54_to_69),
        "from_70_to_180" => Some(count.from_70_to_180),
        "from_70_to_180_time" => Some(time.from_70_to_180),
        "from_181_to_250" => Some(count.from_181_to_250),
        "from_181_to_250_time" => Some(time.from_181_to_250),
        "above_250" => Some(count.above_250),
        "above_250_time" => Some(time.above_250),
        "from_70_to_140" => Some(count.from_70_to_140),
        "from_70_to_140_time" => Some(time.from_70_to_140),
        "days" => Some(s.days),
        "active" => s.active_percent,
        "lbgi" => s.lbgi,
        "hbgi" => s.hbgi,
        "m_value" => s.m_value,
        "gvp" => s.gvp_percent,
        "mag" => s.mag_mg_dl_h,
        "conga_1h" => s.conga_1h,
        "conga_2h" => s.conga_2h,
        "conga_4h" => s.conga_4h,
        "conga_24h" => s.conga_24h,
        "modd" => s.modd_mg_dl,
        "mage" => s.mage_mg_dl,
        "sd_within_day" => s.sd_within_day,
        "sd_between_day_means" => s.sd_between_day_means,
        "sd_by_clock" => s.sd_by_clock,
        "low_70" => Some(episodes(0).count as f32),
        "low_70_s" => Some(episodes(0).seconds as f32),
        "low_54" => Some(episodes(1).count as f32),
        "low_54_s" => Some(episodes(1).seconds as f32),
        "long_low" => Some(episodes(2).count as f32),
        "long_low_s" => Some(episodes(2).seconds as f32),
        "high_180" => Some(episodes(3).count as f32),
        "high_180_s" => Some(episodes(3).seconds as f32),
        "high_250" => Some(episodes(4).count as f32),
        "high_250_s" => Some(episodes(4).seconds as f32),
        "long_high" => Some(episodes(5).count as f32),
        "long_high_s" => Some(episodes(5).seconds as f32),
        "p05" => percentile(0.05),
        "p25" => percentile(0.25),
        "p50" => percentile(0.5),
        "p75" => percentile(0.75),
        "p95" => percentile(0.95),
        other => panic!("no such figure: {other}"),
    }
}

#[test]
fn streaming_equals_whole_arrays_on_open_traces() {
    let Ok(folder) = std::env::var("GLIDEPATH_TRACES") else {
        println!("skipped: GLIDEPATH_TRACES does not name a folder with the open traces");
        return;
    };
    let mut lines = include_str!("review_traces.csv").lines();
    let names: Vec<&str> = lines.next().unwrap().split(',').collect();
    let (mut compared, mut worst) = (0, (0.0_f32, String::new()));
    for line in lines {
        let cells: Vec<&str> = line.split(',').collect();
        let path = Path::new(&folder).join(cells[0]);
        let review = review(&path, Span::from_secs(cells[1].parse().unwrap()));
        let summary = review.summary();
        for (name, cell) in names.iter().zip(&cells).skip(2) {
            let got = figure(name, &summary, &review);
            let Ok(want) = cell.parse::<f32>() else {
                assert_eq!(got, None, "{} {name}", cells[0]);
                continue;
            };
            let got = got.unwrap_or_else(|| panic!("{} {name}: nothing against {want}", cells[0]));
            let off = if want == 0.0 { got.abs() } else { (got / want - 1.0).abs() };
            assert!(off <= 1e-5, "{} {name}: {got} against {want}", cells[0]);
            compared += 1;
            if off > worst.0 {
                worst = (off, format!("{} {name}", cells[0]));
            }
        }
    }
    println!("{compared} figures agree; the furthest apart by {:e} ({})", worst.0, worst.1);
    assert!(compared > 1000);
}
