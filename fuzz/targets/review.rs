//! The review of any readings: figures in range, and two halves appended are the whole.
#![no_main]

use arbitrary::Arbitrary;
use glidepath::review::{Config, Counting, DayTime, Pool, Review, Summary, Unit};
use glidepath::{Glucose, Instant, Reading, Span, Status};
use libfuzzer_sys::fuzz_target;

#[derive(Arbitrary, Debug)]
struct Input {
    interval: u16,
    mmol_l: bool,
    stamped: bool,
    readings: Vec<(u16, u16, u8)>,
    cut: u8,
}

fuzz_target!(|input: Input| {
    let Ok(config) = Config::new(Span::from_secs(i32::from(input.interval))) else { return };
    let config = config
        .with_unit(if input.mmol_l { Unit::MmolL } else { Unit::MgDl })
        .with_counting(if input.stamped { Counting::Stamped } else { Counting::Covered });
    let (mut whole, mut first, mut second) = (Review::new(config), Review::new(config), Review::new(config));
    let cut = input.readings.len() * usize::from(input.cut) / 256;
    let mut at = Instant::from_secs(1_790_000_000);
    for (k, (seconds, tenths, status)) in input.readings.iter().enumerate() {
        at = at.plus(Span::from_secs(i32::from(*seconds)));
        let status =
            [Status::Normal, Status::BelowRange, Status::AboveRange, Status::Fault][usize::from(status % 4)];
        let glucose = Glucose::from_mg_dl(f32::from(tenths % 20_000) / 10.0).expect("in range");
        let reading = Reading::new(at, glucose).with_status(status);
        let local = DayTime::from_secs(at.secs());
        let pushed = whole.push(&reading, local);
        let part = if k < cut { &mut first } else { &mut second };
        // a repeat of the first half's last moment is refused in the whole only
        if pushed != glidepath::review::Pushed::NotLater {
            let _ = part.push(&reading, local);
        }
    }
    let summary = whole.summary();
    sound(&summary);
    let _ = whole.patterns();
    let mut pool = Pool::default();
    pool.add(&first);
    pool.add(&second);
    sound(&pool.summary());
    if first.append(&second).is_ok() {
        assert_eq!(first.summary(), summary, "appended at {cut}");
    }
});

fn sound(s: &Summary) {
    for percent in [s.active_percent].into_iter().flatten() {
        assert!(percent >= 0.0, "{percent} %");
    }
    for ranges in [s.by_readings, s.by_time].into_iter().flatten() {
        let all = [
            ranges.below_54,
            ranges.from_54_to_69,
            ranges.from_70_to_180,
            ranges.from_181_to_250,
            ranges.above_250,
        ];
        assert!(all.iter().all(|percent| (0.0..=100.001).contains(percent)), "{all:?}");
        assert!((all.iter().sum::<f32>() - 100.0).abs() < 0.01, "{all:?}");
    }
    let figures = [
        s.mean_mg_dl,
        s.sd_mg_dl,
        s.cv_percent,
        s.gri,
        s.lbgi,
        s.hbgi,
        s.m_value,
        s.mage_mg_dl,
        s.modd_mg_dl,
        s.conga_1h,
        s.conga_24h,
        s.gvp_percent,
        s.mag_mg_dl_h,
        s.sd_within_day,
        s.sd_between_day_means,
    ];
    for figure in figures.into_iter().flatten() {
        assert!(figure.is_finite() && figure >= -1e-3, "{figure} in {s:?}");
    }
}
