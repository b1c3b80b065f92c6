//! The trend monitor and the monitor of two sensors, call by call beside the library's own. Not under Miri, which takes minutes
//! for it: what it is to see is in `face.rs`.
#![cfg(not(miri))]

use core::ffi::c_void;
use core::mem::MaybeUninit;
use core::ptr::{from_ref, null, null_mut};
use glidepath::alarm::{AlarmPlan, AlarmSettings, Kind};
use glidepath::quality::QualityConfig;
use glidepath::trend::Bands;
use glidepath::{
    Fingerstick, Glucose, Instant, PairMonitor, PairView, Rate, Reading, Settings, Side, Span, Status,
    TrendMonitor, TrendView,
};
use glidepath_c::brief::*;
use glidepath_c::code::*;
use glidepath_c::direction::gp_direction_reading;
use glidepath_c::memory::Slot;
use glidepath_c::monitor::{gp_fingerstick, gp_wear};
use glidepath_c::number::*;
use glidepath_c::pair::*;
use glidepath_c::settings::*;
use glidepath_c::view::*;

struct Memory<T>(Box<MaybeUninit<Slot<T>>>);

impl<T> Memory<T> {
    fn new() -> Self {
        Self(Box::new(MaybeUninit::zeroed()))
    }
    fn at(&mut self) -> *mut c_void {
        self.0.as_mut_ptr().cast()
    }
    const SIZE: usize = size_of::<Slot<T>>();
}

/// What a function writes that takes where to, and the size.
fn written<T>(call: impl FnOnce(*mut T, usize) -> gp_code) -> T {
    let mut to = MaybeUninit::uninit();
    assert_eq!(call(to.as_mut_ptr(), size_of::<T>()), GP_OK);
    // SAFETY: a done call has written its result
    unsafe { to.assume_init() }
}

fn mg_dl(value: f32) -> Glucose {
    Glucose::from_mg_dl(value).unwrap()
}

fn reading(at_s: u32, value: f32, status: Status) -> Reading {
    Reading::new(Instant::from_secs(at_s), mg_dl(value)).with_status(status)
}

fn same_trend(flat: &gp_trend_view, view: &TrendView, what: &str) {
    let shown = view.shown();
    assert_eq!(flat.has & GP_HAS_SHOWN != 0, shown.is_some(), "{what}");
    if let Some(shown) = shown {
        assert_eq!((flat.shown_mg_dl, flat.shown_age_s), (shown.glucose.mg_dl(), shown.age.secs()), "{what}");
        let (whole, tenths) = (shown.glucose.whole_mg_dl(), shown.glucose.tenths_mmol_l());
        assert_eq!((flat.shown_whole_mg_dl, flat.shown_tenths_mmol_l), (whole, tenths), "{what}");
        assert_eq!((flat.shown_bound != 0, flat.shown_doubted != 0), (shown.bound.is_some(), shown.doubted));
    }
    assert_eq!((flat.monitoring != 0, flat.trend), (view.is_monitoring(), of_trend(view.trend())), "{what}");
    assert_eq!(flat.warning, view.warning().map_or(GP_ALARM_NONE, of_kind), "{what}");
    let low = view.low_ahead().map(|low| low.get());
    assert_eq!((flat.has & GP_HAS_LOW_AHEAD != 0).then_some(flat.low_ahead), low, "{what}");
    let trigger = view.trigger().map(|glucose| glucose.mg_dl());
    assert_eq!((flat.has & GP_HAS_TRIGGER != 0).then_some(flat.trigger_mg_dl), trigger, "{what}");
}

/// A fall to a low and below the range, a sensor in doubt, silence, a power cut; with a clock, without one, and by other bands.
#[test]
fn a_trend_monitor_gives_what_the_librarys_does() {
    let wide = gp_bands { moderate: 4.0, fast: 8.0, margin: 0.1, widest_sd: 2.0, missing_costs: 2.0 };
    let rate = |rate| Rate::from_mg_dl_per_min(rate).unwrap();
    let bands = Bands::new(rate(4.0), rate(8.0), 0.1, 2.0).unwrap();
    let mut seen = Vec::new();
    for (bands, mut own) in [(null(), TrendMonitor::default()), (from_ref(&wide), TrendMonitor::new(bands))] {
        let mut memory = Memory::<gp_trend_monitor>::new();
        // SAFETY: the contract of the crate
        unsafe {
            assert_eq!(gp_trend_monitor_init(memory.at(), Memory::<gp_trend_monitor>::SIZE, bands), GP_OK);
            let view = written(|to, size| gp_trend_monitor_tick_without_clock(memory.at(), to, size));
            same_trend(&view, &own.tick(None), "nothing yet");
            for k in 0..40_u32 {
                let (at, fall) = (1_000_000 + 300 * k, 180.0 - 9.0 * k.min(15) as f32);
                let status = match k {
                    14..=16 => Status::BelowRange,
                    20 => Status::Doubtful,
                    30 => Status::Fault,
                    _ => Status::Normal,
                };
                if k < 25 {
                    assert_eq!(gp_trend_monitor_set_uptime(memory.at(), 300 * k), GP_OK);
                    own.set_uptime(300 * k);
                }
                let view = written(|to, size| {
                    gp_trend_monitor_push(memory.at(), at, fall, of_status(status), to, size)
                });
                same_trend(&view, &own.push(&reading(at, fall, status)), &format!("push {k}"));
                if k % 3 == 1 {
                    let view = written(|to, size| gp_trend_monitor_tick(memory.at(), at + 100, to, size));
                    same_trend(&view, &own.tick(Instant::from_secs(at + 100)), &format!("tick {k}"));
                }
                seen.push(view);
                if k == 24 {
                    // the board's own count alone tells how old it is
                    for late in [600, 1500] {
                        assert_eq!(gp_trend_monitor_set_uptime(memory.at(), 300 * k + late), GP_OK);
                        own.set_uptime(300 * k + late);
                        let view =
                            written(|to, size| gp_trend_monitor_tick_without_clock(memory.at(), to, size));
                        same_trend(&view, &own.tick(None), &format!("{late} s of silence"));
                        assert_eq!(view.has & GP_HAS_SHOWN != 0, late < 1200);
                    }
                }
            }
            // silence by the clock on the wall
            let view = written(|to, size| gp_trend_monitor_tick(memory.at(), 1_014_000, to, size));
            same_trend(&view, &own.tick(Instant::from_secs(1_014_000)), "silence");
            assert_eq!(gp_trend_monitor_power_returned(memory.at()), GP_OK);
            own.power_returned();
            let view = written(|to, size| gp_trend_monitor_tick_without_clock(memory.at(), to, size));
            same_trend(&view, &own.tick(None), "after a power cut");
            // another kind of object
            assert_eq!(gp_direction_reading(memory.at(), 0, 100.0, 1), GP_ERROR_NOT_READY);
        }
    }
    // that much there was to be told
    let warned = |warning| seen.iter().any(|view| view.warning == warning);
    assert!(warned(GP_ALARM_NONE) && warned(GP_ALARM_LOW_AHEAD) && warned(GP_ALARM_FLOOR));
    assert!(seen.iter().any(|view| view.shown_bound == GP_BOUND_AT_MOST && view.shown_doubted == 0));
    assert!(seen.iter().any(|view| view.shown_doubted == 1 && view.shown_bound == GP_BOUND_NONE));
    assert!(seen.iter().any(|view| view.low_ahead > 0.6) && seen.iter().any(|view| view.monitoring == 0));
    assert_ne!(seen[5].trend, seen[45].trend, "by the bands given");
    // a power cut is told: nothing is present though no time has passed
    let (mut memory, mut own) = (Memory::<gp_trend_monitor>::new(), TrendMonitor::default());
    // SAFETY: the contract of the crate
    unsafe {
        assert_eq!(gp_trend_monitor_init(memory.at(), Memory::<gp_trend_monitor>::SIZE, null()), GP_OK);
        let _: gp_trend_view =
            written(|to, size| gp_trend_monitor_push(memory.at(), 300, 110.0, GP_STATUS_NORMAL, to, size));
        let _ = own.push(&reading(300, 110.0, Status::Normal));
        for (minutes, warning) in [(10, GP_ALARM_NONE), (25, GP_ALARM_NO_DATA)] {
            let at = 300 + 60 * minutes;
            let view = written(|to, size| gp_trend_monitor_tick(memory.at(), at, to, size));
            same_trend(&view, &own.tick(Instant::from_secs(at)), "by the clock on the wall");
            assert_eq!(view.warning, warning);
        }
        let _: gp_trend_view =
            written(|to, size| gp_trend_monitor_push(memory.at(), 2100, 110.0, GP_STATUS_NORMAL, to, size));
        let _ = own.push(&reading(2100, 110.0, Status::Normal));
        assert_eq!(gp_trend_monitor_power_returned(memory.at()), GP_OK);
        own.power_returned();
        let view = written(|to, size| gp_trend_monitor_tick_without_clock(memory.at(), to, size));
        same_trend(&view, &own.tick(None), "power");
        assert_eq!(view.has & GP_HAS_SHOWN, 0);
    }
}

fn same_pair(flat: &gp_pair_view, view: &PairView, what: &str) {
    assert_eq!(flat.fused, of_view(view.fused()), "{what}");
    assert_eq!(flat.agreement, of_agreement(view.agreement()), "{what}");
    for (flat, side) in flat.sides.iter().zip(Side::BOTH) {
        let one = view.side(side);
        let newest = (flat.has & GP_HAS_NEWEST != 0).then_some((flat.newest_at_s, flat.newest_mg_dl));
        assert_eq!(newest, one.newest.map(|(at, glucose)| (at.secs(), glucose.mg_dl())), "{what} {side}");
        assert_eq!((flat.has & GP_HAS_AGE != 0).then_some(flat.age_s), one.age.map(|age| age.secs()));
        assert_eq!((flat.weight, flat.offset_mg_dl), (one.weight, one.offset), "{what} {side}");
        assert_eq!((flat.reasons, flat.grade), (of_reasons(one.reasons), of_grade(one.reasons.grade())));
        for (flat_at, minutes) in [(flat.in_15_min, 15), (flat.in_30_min, 30), (flat.in_60_min, 60)] {
            let ahead = one.predicted(Span::from_mins(minutes)).map(of_predicted);
            assert_eq!(
                (flat.has & GP_HAS_PREDICTED != 0).then_some(flat_at),
                ahead,
                "{what} {side} {minutes}"
            );
        }
    }
}

/// Two sensors by different settings through a night: agreement, one that falls and is noisy, lows by the limit of the time of
/// day, snooze, fingersticks, other alarms, a power cut.
#[test]
fn a_pair_gives_what_the_librarys_does() {
    let (mut one, mut other) = (defaults(), defaults());
    one.profiles = 2;
    one.alarms[1].rules[usize::from(GP_ALARM_LOW)].limit = 95.0;
    one.slots = 1;
    one.slot[0] = gp_slot { days: 0x7f, profile: 1, from_min: 23 * 60, to_min: 4 * 60 };
    other.quality.noisy_scale = 1.0;
    let mut plan = AlarmPlan::default();
    assert_eq!(to_plan(&one, &mut plan), Ok(()));
    let first = Settings::default().with_alarms(plan);
    let mut quality = QualityConfig::default();
    quality.noisy_scale = 1.0;
    let second = Settings::default().with_quality(quality);
    let mut own = PairMonitor::<24>::new(first, second).unwrap();
    let mut memory = Memory::<gp_pair_24>::new();
    let (mut agreements, mut graded, mut lows) = (Vec::new(), false, Vec::new());
    // SAFETY: the contract of the crate
    unsafe {
        let (size, two) = (Memory::<gp_pair_24>::SIZE, (from_ref(&one), from_ref(&other)));
        assert_eq!(gp_pair_init_with(memory.at(), size, 24, two.0, two.1, null_mut()), GP_OK);
        // 20:00 UTC, and three hours later where it is worn
        let start = 1_700_000_000 - 1_700_000_000 % 86_400 + 20 * 3600;
        assert_eq!(gp_pair_set_utc_offset(memory.at(), 10_800), GP_OK);
        own.set_utc_offset(Some(Span::from_secs(10_800)));
        for k in 0..60_u32 {
            let at = start + 300 * k;
            let wave = 120.0 + 10.0 * (k as f32 * 0.7).sin();
            let falls = if (20..40).contains(&k) { wave - 3.0 * (k - 19) as f32 } else { wave - 6.0 };
            let noisy = falls + if k % 2 == 0 { 8.0 } else { -8.0 };
            for (side, value, later) in [(Side::First, wave, 0), (Side::Second, noisy, 40)] {
                if side == Side::First && k > 50 {
                    continue;
                }
                // now and then nobody tells the board's own seconds
                if k % 5 != 0 {
                    assert_eq!(gp_pair_set_uptime(memory.at(), 310 * k + later), GP_OK);
                    own.set_uptime(310 * k + later);
                }
                let number = u8::from(side == Side::Second);
                let view = written(|to, size| {
                    gp_pair_push(memory.at(), number, at + later, value, GP_STATUS_NORMAL, to, size)
                });
                let wanted = own.push(side, &reading(at + later, value, Status::Normal));
                same_pair(&view, &wanted, &format!("push {k}"));
                agreements.push(view.agreement);
                graded |=
                    view.sides[1].grade < GP_GRADE_GOOD && view.sides[1].reasons != view.sides[0].reasons;
                lows.push(view.fused.alarms[usize::from(GP_ALARM_LOW)]);
            }
            if k % 4 == 2 {
                let view = written(|to, size| gp_pair_tick(memory.at(), at + 200, to, size));
                same_pair(&view, &own.tick(Instant::from_secs(at + 200)), &format!("tick {k}"));
            }
            if k % 16 == 10 {
                let stick = Fingerstick::new(Instant::from_secs(at + 50), mg_dl(wave + 4.0));
                let flat: [gp_fingerstick; 2] = written(|to: *mut [gp_fingerstick; 2], size| {
                    gp_pair_fingerstick(memory.at(), at + 50, wave + 4.0, to.cast(), size)
                });
                for (flat, outcome) in flat.iter().zip(own.fingerstick(&stick)) {
                    assert_eq!(flat.outcome, of_outcome(&outcome));
                    let expected = outcome.expected().map(|expected| expected.glucose.mg_dl());
                    assert_eq!((flat.has_expected != 0).then_some(flat.expected_mg_dl), expected);
                }
            }
            if k == 12 || k == 34 {
                assert_eq!(gp_pair_acknowledge(memory.at()), GP_OK);
                own.acknowledge();
            }
            if k == 30 {
                let mut granted = 0;
                assert_eq!(gp_pair_snooze(memory.at(), GP_ALARM_LOW, 1000, &mut granted), GP_OK);
                assert_eq!(granted, own.snooze(Kind::Low, Span::from_secs(1000)).secs());
            }
            if k == 36 {
                assert_eq!(gp_pair_clear_utc_offset(memory.at()), GP_OK);
                own.set_utc_offset(None);
            }
            if k == 48 {
                let mut careful = defaults();
                careful.alarms[0].rules[usize::from(GP_ALARM_LOW)].limit = 99.0;
                assert_eq!(gp_pair_set_alarms(memory.at(), &careful, null_mut()), GP_OK);
                let mut alarms = AlarmSettings::default();
                alarms.low.limit = mg_dl(99.0);
                own.set_alarm_plan(AlarmPlan::new(alarms).unwrap());
            }
            if k == 54 {
                assert_eq!(gp_pair_power_returned(memory.at()), GP_OK);
                own.power_returned();
                let view = written(|to, size| gp_pair_tick_without_clock(memory.at(), to, size));
                same_pair(&view, &own.tick(None), "power");
            }
        }
        // silence: by the board's own seconds, and by the clock on the wall
        assert_eq!(gp_pair_set_uptime(memory.at(), 310 * 59 + 40 + 700), GP_OK);
        own.set_uptime(310 * 59 + 40 + 700);
        let view = written(|to, size| gp_pair_tick_without_clock(memory.at(), to, size));
        same_pair(&view, &own.tick(None), "silence");
        assert!(view.sides[1].age_s >= 700, "{}", view.sides[1].age_s);
        for (number, side) in (0..).zip(Side::BOTH) {
            let wear: gp_wear = written(|to, size| gp_pair_wear(memory.at(), number, to, size));
            assert_eq!(
                (wear.known != 0).then_some(wear.worn_s),
                own.wear(side).map(|wear| wear.worn().secs())
            );
        }
    }
    // that much there was to be told
    assert!(agreements.contains(&GP_PAIR_TOGETHER) && graded);
    assert!(
        [GP_PAIR_APART, GP_PAIR_FIRST_SUSPECT, GP_PAIR_SECOND_SUSPECT]
            .iter()
            .any(|told| agreements.contains(told))
    );
    assert!(lows.iter().any(|low| low.holds == 1 && low.acknowledged == 0));
    assert!(lows.iter().any(|low| low.holds == 1 && low.acknowledged == 1));
    // without a count of its own, a clock on the wall tells how old it is, and no clock does not
    let mut memory = Memory::<gp_pair_24>::new();
    // SAFETY: the contract of the crate
    unsafe {
        assert_eq!(gp_pair_init(memory.at(), Memory::<gp_pair_24>::SIZE, 24), GP_OK);
        let _: gp_pair_view =
            written(|to, size| gp_pair_push(memory.at(), GP_SIDE_FIRST, 1_000_000, 110.0, 0, to, size));
        let age = |view: gp_pair_view| view.sides[0].age_s;
        assert_eq!(age(written(|to, size| gp_pair_tick_without_clock(memory.at(), to, size))), 0);
        assert_eq!(age(written(|to, size| gp_pair_tick(memory.at(), 1_000_600, to, size))), 600);
    }
}
