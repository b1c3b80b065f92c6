//! That what C asks for is what the library is asked for: each option, flag and unit that a day of readings does not show.

use core::ffi::c_void;
use core::mem::MaybeUninit;
use core::ptr::{from_ref, null, null_mut};
use glidepath::gatt::{CgmMeasurement, CgmStatus, E2eCrc, OctetOrder, SessionStart, Sfloat};
use glidepath_c::code::*;
use glidepath_c::direction::*;
use glidepath_c::gatt::*;
use glidepath_c::memory::Slot;
use glidepath_c::monitor::*;
use glidepath_c::number::*;
use glidepath_c::review::*;
use glidepath_c::settings::*;
use glidepath_c::snapshot::*;
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

fn started(settings: &gp_settings) -> Memory<gp_monitor_24> {
    let mut memory = Memory::new();
    // SAFETY: the contract of the crate
    let code = unsafe {
        gp_monitor_init_with(memory.at(), Memory::<gp_monitor_24>::SIZE, 24, from_ref(settings), null_mut())
    };
    assert_eq!(code, GP_OK);
    memory
}

fn pushed(monitor: &mut Memory<gp_monitor_24>, at_s: u32, mg_dl: f32, status: u8) -> gp_view {
    // SAFETY: the contract of the crate
    written(|view, size| unsafe { gp_monitor_push(monitor.at(), at_s, mg_dl, status, view, size) })
}

fn kept(monitor: &mut Memory<gp_monitor_24>) -> usize {
    let mut readings = [gp_reading::default(); 24];
    let mut count = 0;
    // SAFETY: the contract of the crate
    let code = unsafe { gp_monitor_history(monitor.at(), readings.as_mut_ptr(), 24, &mut count) };
    assert_eq!(code, GP_OK);
    count
}

#[test]
fn beyond_the_sensors_range_the_bound_is_told() {
    for (status, mg_dl, bound, next) in [
        (GP_STATUS_ABOVE_RANGE, 400.0, GP_BOUND_AT_LEAST, 390.0),
        (GP_STATUS_BELOW_RANGE, 40.0, GP_BOUND_AT_MOST, 48.0),
    ] {
        let mut monitor = started(&defaults());
        let view = pushed(&mut monitor, 300, mg_dl, status);
        assert_eq!(view.has & GP_HAS_BOUND, GP_HAS_BOUND);
        assert_eq!((view.bound, view.bound_mg_dl, view.shown_bound), (bound, mg_dl, bound));
        assert_eq!(pushed(&mut monitor, 600, next, GP_STATUS_NORMAL).has & GP_HAS_BOUND, 0);
    }
}

#[test]
fn a_restart_forgets_and_a_power_cut_shows_nothing() {
    let mut monitor = started(&defaults());
    for i in 1..5 {
        assert_eq!(pushed(&mut monitor, 300 * i, 120.0, 0).has & GP_HAS_SHOWN, GP_HAS_SHOWN);
    }
    // SAFETY: the contract of the crate
    unsafe {
        assert_eq!(gp_monitor_power_returned(monitor.at()), GP_OK);
        let view = written(|view, size| gp_monitor_tick_without_clock(monitor.at(), view, size));
        assert_eq!((view.has & (GP_HAS_SHOWN | GP_HAS_AGE), kept(&mut monitor)), (0, 4));
        assert_eq!(gp_monitor_restart(monitor.at()), GP_OK);
        assert_eq!(kept(&mut monitor), 0);
    }
}

#[test]
fn a_snooze_is_of_the_alarm_asked_for() {
    let mut monitor = started(&defaults());
    for i in 0..8 {
        pushed(&mut monitor, 300 * i, 320.0, 0);
    }
    let mut granted = 0;
    // SAFETY: the contract of the crate
    unsafe {
        assert_eq!(gp_monitor_snooze(monitor.at(), GP_ALARM_HIGH, 3600, &mut granted), GP_OK);
    }
    assert_eq!(granted, 3600);
    let high = pushed(&mut monitor, 2400, 320.0, 0).alarms[usize::from(GP_ALARM_HIGH)];
    assert_eq!((high.holds, high.acknowledged), (1, 1));
}

#[test]
fn limits_as_shipped_are_those_of_the_settings_as_shipped() {
    let settings = defaults();
    for alarm in 0..GP_ALARMS {
        // SAFETY: the contract of the crate
        let limits = written::<gp_limits>(|limits, size| unsafe { gp_alarm_limits(alarm, limits, size) });
        assert_eq!(limits.as_shipped, settings.alarms[0].rules[usize::from(alarm)].limit, "{alarm}");
        assert!(limits.least <= limits.as_shipped && limits.as_shipped <= limits.greatest, "{alarm}");
    }
}

#[test]
fn settings_of_the_monitor_outlive_a_snapshot_of_other_settings() {
    let mut careful = defaults();
    careful.alarms[0].rules[usize::from(GP_ALARM_LOW)].limit = 90.0;
    let (mut shipped, mut other) = (started(&defaults()), started(&careful));
    pushed(&mut shipped, 300, 120.0, 0);
    let (mut bytes, mut length) = (vec![0; gp_snapshot_bytes_needed(24)], 0);
    // SAFETY: the contract of the crate
    unsafe {
        assert_eq!(gp_monitor_save(shipped.at(), bytes.as_mut_ptr(), bytes.len(), &mut length), GP_OK);
        assert_eq!(gp_monitor_restore(other.at(), bytes.as_ptr(), length), GP_OK);
    }
    for i in 2..6 {
        let lows = [&mut shipped, &mut other]
            .map(|monitor| pushed(monitor, 300 * i, 84.0, 0).alarms[usize::from(GP_ALARM_LOW)].holds);
        if i == 5 {
            assert_eq!(lows, [0, 1]);
        }
    }
}

#[test]
fn every_slot_of_the_day_counts() {
    let mut settings = defaults();
    settings.profiles = 2;
    settings.alarms[1].rules[usize::from(GP_ALARM_LOW)].limit = 80.0;
    settings.slots = 2;
    settings.slot[0] = gp_slot { days: 0x7f, profile: 0, from_min: 60, to_min: 120 };
    settings.slot[1] = gp_slot { days: 0x20, profile: 1, from_min: 600, to_min: 660 }; // Saturdays
    let mut plan = glidepath::alarm::AlarmPlan::default();
    assert_eq!(to_plan(&settings, &mut plan), Ok(()));
    let at = |weekday, minute| {
        let local = glidepath::LocalTime::new(weekday, minute).unwrap();
        *plan.settings_at(Some(local)) == glidepath::alarm::AlarmSettings::default()
    };
    let saturday = (0..7).filter(|day| !at(*day, 630)).collect::<Vec<_>>();
    assert_eq!(saturday.len(), 1); // one day, and only in its hour
    assert!(at(saturday[0], 599) && at(saturday[0], 660));
}

#[test]
fn the_bands_given_are_the_bands_used() {
    let bands = gp_bands { moderate: 5.0, fast: 8.0, margin: 0.1, widest_sd: 2.0, missing_costs: 2.0 };
    for (bands, words) in [(null(), GP_TREND_FALLING_FAST), (from_ref(&bands), GP_TREND_STEADY)] {
        let (mut direction, mut sign, mut trend) =
            (Memory::<gp_direction>::new(), Memory::<gp_trend_sign>::new(), 0);
        // SAFETY: the contract of the crate
        unsafe {
            assert_eq!(gp_direction_init(direction.at(), Memory::<gp_direction>::SIZE, bands), GP_OK);
            for i in 0..8 {
                let mg_dl = 260.0 - 22.0 * i as f32;
                assert_eq!(gp_direction_reading(direction.at(), 300 * i, mg_dl, 1), GP_OK);
            }
            let now = written(|view, size| gp_direction_now(direction.at(), 2100, view, size));
            assert_eq!(now.trend, words);
            assert_eq!(gp_trend_sign_init(sign.at(), Memory::<gp_trend_sign>::SIZE, bands), GP_OK);
            assert_eq!(gp_trend_sign_step(sign.at(), -4.0, 0.2, &mut trend), GP_OK);
            assert_eq!(trend, words);
        }
    }
}

fn cgm(bytes: &[u8], order: u8, crc: u8) -> Result<(gp_cgm, usize), gp_code> {
    let (mut cgm, mut used) = (MaybeUninit::uninit(), 0);
    let sensor = gp_cgm_sensor {
        session_start_s: 1000,
        least_mg_dl: 40.0,
        greatest_mg_dl: 400.0,
        crc,
        order,
        reserved: [0; 2],
    };
    let size = size_of::<gp_cgm>();
    // SAFETY: the contract of the crate; a done call has written its result
    unsafe {
        match gp_cgm_decode(bytes.as_ptr(), bytes.len(), &sensor, cgm.as_mut_ptr(), size, &mut used) {
            GP_OK => Ok((cgm.assume_init(), used)),
            code => Err(code),
        }
    }
}

#[test]
fn octets_are_read_in_the_order_asked_for() {
    let bytes = [9, 0xE0, 0x68, 0x00, 5, 0, 0x01, 0x02, 0x08];
    let orders = [OctetOrder::Unsettled, OctetOrder::StatusFirst, OctetOrder::WarningFirst];
    for (number, order) in (0..).zip(orders) {
        let record = CgmMeasurement::decode(&bytes, E2eCrc::Absent).unwrap().in_octet_order(order);
        let [a, b, c] = record.annunciation().octets();
        let (flat, used) = cgm(&bytes, number, 0).unwrap();
        assert_eq!((flat.annunciation, used), (u32::from_le_bytes([a, b, c, 0]), 9));
        assert_eq!(flat.order_in_doubt, u8::from(record.order_in_doubt()));
    }
    assert_ne!(cgm(&bytes, 1, 0).unwrap().0.annunciation, cgm(&bytes, 2, 0).unwrap().0.annunciation);
}

#[test]
fn a_checksum_is_asked_for_where_the_sensor_has_one() {
    let sealed = CgmMeasurement::new(Sfloat::nearest(104.0), 10).encode(E2eCrc::Present);
    let (flat, _) = cgm(sealed.as_bytes(), 0, 1).unwrap();
    assert_eq!((flat.mg_dl, flat.at_s), (104.0, 1600));
    assert_eq!(cgm(sealed.as_bytes(), 0, 0), Err(GP_ERROR_PAYLOAD_SIZE));
    let mut bad = sealed.as_bytes().to_vec();
    bad[2] ^= 1;
    assert_eq!(cgm(&bad, 0, 1), Err(GP_ERROR_PAYLOAD_CRC));
    let plain = CgmMeasurement::new(Sfloat::nearest(104.0), 10).encode(E2eCrc::Absent);
    assert!(cgm(plain.as_bytes(), 0, 1).is_err());
    // the same of the other two
    let status = CgmStatus::decode(&[10, 0, 8, 0, 0], E2eCrc::Absent).unwrap().encode(E2eCrc::Present);
    let start = SessionStart::decode(&[0xe7, 0x07, 11, 14, 22, 13, 20, 4, 0], E2eCrc::Absent).unwrap();
    let start = start.encode(E2eCrc::Present);
    let (status, start) = (status.as_bytes(), start.as_bytes());
    // SAFETY: the contract of the crate
    unsafe {
        let told: gp_cgm_status =
            written(|to, size| gp_cgm_status_decode(status.as_ptr(), status.len(), 1, to, size));
        assert_eq!((told.offset_min, told.annunciation), (10, 8));
        let told: gp_session_start =
            written(|to, size| gp_session_start_decode(start.as_ptr(), start.len(), 1, to, size));
        assert_eq!(told.has, GP_SESSION_HAS_UTC | GP_SESSION_HAS_OFFSET);
        let (mut told, size) = (MaybeUninit::<gp_cgm_status>::uninit(), size_of::<gp_cgm_status>());
        let long = gp_cgm_status_decode(status.as_ptr(), status.len(), 0, told.as_mut_ptr(), size);
        assert_eq!(long, GP_ERROR_PAYLOAD_LONG);
    }
}

#[test]
fn a_meters_status_and_context_arrive() {
    let bytes = [0x18, 0x07, 0x00, 0xe7, 0x07, 11, 14, 22, 13, 20, 0x01, 0x02];
    // SAFETY: the contract of the crate
    let meter: gp_meter =
        written(|to, size| unsafe { gp_meter_decode(bytes.as_ptr(), bytes.len(), to, size) });
    assert_eq!((meter.has, meter.sequence), (GP_METER_HAS_TIME | GP_METER_HAS_STATUS, 7));
    assert_eq!((meter.status, meter.context_follows), (0x0201, 1));
}

#[test]
fn a_review_in_mmol_l_holds_readings_against_limits_in_mmol_l() {
    // 250.3 mg/dL is over 250; as mmol/L it is 13.89, not over 13.9
    for (unit, above) in [(GP_UNIT_MG_DL, 100.0), (GP_UNIT_MMOL_L, 0.0)] {
        let mut review = Memory::<gp_review>::new();
        // SAFETY: the contract of the crate
        unsafe {
            assert_eq!(gp_review_init(review.at(), Memory::<gp_review>::SIZE, 300, unit), GP_OK);
            for at in [0, 300, 600] {
                assert_eq!(gp_review_push(review.at(), at, 250.3, 0, at), GP_OK);
            }
            let summary: gp_summary = written(|to, size| gp_review_summary(review.at(), to, size));
            assert_eq!(summary.by_readings.above_250, above);
        }
    }
}
