//! Variability of a reproducible trace of three days, worked out once in plain arithmetic over the whole array (Python,
//! standard library) and compared with the streaming form.
//!
//! The family of standard deviations: Rodbard (2009), Diabetes Technol Ther 11:551, doi:10.1089/dia.2008.0132. MAGE:
//! Service et al. (1970), Diabetes 19:644. MODD: Molnar et al. (1972), Diabetologia 8:342. CONGA: McDonnell et al. (2005),
//! Diabetes Technol Ther 7:253. J-index and MAG: as in Hill et al. (2011), PMC3160264. M-value: Schlichtkrull et al.
//! (1965). GVP: Peyser et al. (2018), doi:10.1089/dia.2017.0187.
#![cfg(not(feature = "micromath"))] // coarser logarithms
#![allow(clippy::excessive_precision)] // as computed

mod three_days;
use glidepath::MG_DL_PER_MMOL_L;
use glidepath::review::{Compact, Config, Exact, Unit};
use three_days::{close, review, values};

fn floats(values: &[i32]) -> impl Iterator<Item = f32> + '_ {
    values.iter().map(|&v| v as f32)
}

#[test]
fn three_days_in_mg_dl() {
    let values = values();
    assert_eq!(values.iter().sum::<i32>(), 139_833);
    assert_eq!(values.iter().map(|v| v * v).sum::<i32>(), 25_661_169);
    let s = review::<Exact>(floats(&values), 5, Config::default()).summary();
    assert_eq!((s.readings, s.whole_days), (864, 3));
    close(s.days, 3.0);
    close(s.active_percent, 100.0);
    close(s.mean_mg_dl, 161.843_75);
    close(s.sd_mg_dl, 59.254_463);
    close(s.cv_percent, 36.612_142);
    close(s.gmi_percent, 7.181_303);
    close(s.ea1c_percent, 7.266_333);
    let ranges = s.by_readings.unwrap();
    assert_eq!(s.by_readings, s.by_time);
    close(ranges.below_54, 0.925_926);
    close(ranges.from_54_to_69, 3.819_444);
    close(ranges.from_70_to_180, 54.166_667);
    close(ranges.from_70_to_140, 34.027_778);
    close(ranges.from_181_to_250, 34.606_481);
    close(ranges.above_250, 6.481_481);
    close(s.gri, 50.0);
    close(s.lbgi, 1.147_498);
    close(s.hbgi, 7.675_304);
    close(s.conga_1h, 60.201_474);
    close(s.conga_2h, 101.023_712);
    close(s.conga_4h, 99.857_058);
    close(s.conga_24h, 21.566_555);
    close(s.modd_mg_dl, 19.803_819);
    close(s.j_index, 48.884_420);
    close(s.m_value, 10.916_054);
    close(s.sd_within_day, 58.466_651);
    close(s.sd_between_day_means, 12.272_561);
    close(s.sd_by_clock, 13.062_837);
    let about_100 = Config::default().with_m_ideal(100.0).unwrap();
    close(review::<Compact>(floats(&values), 5, about_100).summary().m_value, 20.337_255);
}

#[test]
fn the_first_day() {
    let values = values();
    let s = review::<Compact>(floats(&values[..288]), 5, Config::default()).summary();
    close(s.sd_mg_dl, 58.241_038);
    close(s.mage_rises_mg_dl, 207.5);
    close(s.mage_falls_mg_dl, 203.5);
    close(s.mage_mg_dl, 205.5);
    close(s.gvp_percent, 100.790_104);
    close(s.mag_mg_dl_h, 97.003_484);
}

#[test]
fn part_of_a_day_is_no_day() {
    // three days and the first 201 readings of another: under 70 % of 288
    let values = values();
    let more: Vec<i32> = values.iter().chain(&values[..201]).copied().collect();
    let s = review::<Compact>(floats(&more), 5, Config::default()).summary();
    assert_eq!(s.whole_days, 3);
    close(s.sd_within_day, 58.466_651);
    let more: Vec<i32> = values.iter().chain(&values[..202]).copied().collect();
    assert_eq!(review::<Compact>(floats(&more), 5, Config::default()).summary().whole_days, 4);
}

#[test]
fn three_days_that_arrived_in_mmol_l() {
    // the same numbers, converted with two decimals as many exports print them: whole mg/dL survive that
    let mmol_l: Vec<f32> = values()
        .iter()
        .map(|&v| (v as f32 / MG_DL_PER_MMOL_L * 100.0).round() / 100.0 * MG_DL_PER_MMOL_L)
        .collect();
    let s = review::<Exact>(mmol_l.iter().copied(), 5, Config::default().with_unit(Unit::MmolL)).summary();
    for (got, want) in [
        (s.mean_mg_dl, 161.843_75),
        (s.sd_mg_dl, 59.254_463),
        (s.hbgi, 7.675_304),
        (s.modd_mg_dl, 19.803_819),
        (s.conga_1h, 60.201_474),
        (s.j_index, 48.884_420),
        (s.m_value, 10.916_054),
        (s.sd_by_clock, 13.062_837),
    ] {
        let got = got.unwrap();
        assert!((got / want - 1.0).abs() < 1e-3, "{got} against {want}"); // the rounding of the input
    }
    // counts by the limits in mmol/L, worked out in the same plain way from the rounded values
    let share = |keep: fn(f32) -> bool| {
        let kept = mmol_l.iter().filter(|&&v| keep((v / MG_DL_PER_MMOL_L * 100.0).round() / 100.0)).count();
        100.0 * kept as f32 / 864.0
    };
    let ranges = s.by_readings.unwrap();
    close(ranges.below_54, share(|v| v < 3.0));
    close(ranges.from_54_to_69, share(|v| (3.0..3.9).contains(&v)));
    close(ranges.from_70_to_180, share(|v| (3.9..=10.0).contains(&v)));
    close(ranges.above_250, share(|v| v > 13.9));
}

#[test]
fn swings_of_a_short_block() {
    let block = [100, 120, 180, 150, 90, 140, 200, 150, 95, 105, 98, 130, 160, 120, 85];
    let s =
        review::<Compact>(floats(&block), 60, Config::new(glidepath::Span::from_hours(1)).unwrap()).summary();
    close(s.sd_mg_dl, 34.589_842);
    // extremes 100 180 90 200 95 160 85; the wiggle 95, 105, 98 is under one SD
    close(s.mage_rises_mg_dl, 85.0);
    close(s.mage_falls_mg_dl, 90.0);
    close(s.mage_mg_dl, 87.5);
}

#[test]
fn what_is_known_without_arithmetic() {
    let four = review::<Compact>([100.0, 140.0, 180.0, 140.0], 5, Config::default()).summary();
    close(four.cv_percent, 23.328_474);
    let flat = review::<Compact>([120.0; 10], 5, Config::default()).summary();
    assert_eq!((flat.gvp_percent, flat.mag_mg_dl_h, flat.mage_mg_dl), (Some(0.0), Some(0.0), None));
    let ramp = review::<Compact>((0..10).map(|i| 100.0 + 5.0 * i as f32), 5, Config::default()).summary();
    close(ramp.gvp_percent, 41.421_356); // 100 (√2 − 1) at 1 mg/dL/min
    for value in [240.0, 60.0] {
        close(review::<Compact>([value], 5, Config::default()).summary().m_value, 27.279_055);
    }
    let nothing = review::<Compact>([], 5, Config::default()).summary();
    assert_eq!(
        (nothing.mean_mg_dl, nothing.by_time, nothing.active_percent, nothing.lbgi),
        (None, None, None, None)
    );
}
