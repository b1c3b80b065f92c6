//! The face called as C calls it, through pointers into memory of the caller's: for Miri, which sees every step beyond,
//! every misaligned access, every value that was never written.

use core::ffi::c_void;
use core::mem::MaybeUninit;
use core::ptr::{from_mut, from_ref, null, null_mut};
use glidepath_c::accuracy::*;
use glidepath_c::code::*;
use glidepath_c::direction::*;
use glidepath_c::gatt::*;
use glidepath_c::memory::Slot;
use glidepath_c::monitor::*;
use glidepath_c::number::*;
use glidepath_c::pair::*;
use glidepath_c::review::*;
use glidepath_c::settings::*;
use glidepath_c::snapshot::*;
use glidepath_c::view::*;

/// Memory as C has it: zeroed, as large as the object.
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

fn view() -> MaybeUninit<gp_view> {
    MaybeUninit::uninit()
}
const VIEW: usize = size_of::<gp_view>();

#[test]
fn a_monitor_from_reading_to_snapshot() {
    let mut memory = Memory::<gp_monitor_24>::new();
    let (mut view, mut written, mut kept) = (view(), 0, 0);
    // SAFETY: the contract of the crate
    unsafe {
        assert_eq!(gp_monitor_push(memory.at(), 0, 100.0, 0, view.as_mut_ptr(), VIEW), GP_ERROR_NOT_READY);
        let (size, settings) = (Memory::<gp_monitor_24>::SIZE, defaults());
        assert_eq!(gp_monitor_init(memory.at(), size - 1, 24), GP_ERROR_SIZE);
        assert_eq!(gp_monitor_init_with(memory.at(), size, 24, from_ref(&settings), null_mut()), GP_OK);
        for i in 0..8 {
            let value = 130.0 - 9.0 * i as f32;
            assert_eq!(gp_monitor_set_uptime(memory.at(), 300 * i), GP_OK);
            assert_eq!(gp_monitor_push(memory.at(), 300 * i, value, 0, view.as_mut_ptr(), VIEW), GP_OK);
        }
        let seen = view.assume_init();
        assert_eq!(seen.verdict, GP_VERDICT_ACCEPTED);
        assert_eq!(seen.alarms[usize::from(GP_ALARM_LOW)].rings, 1);
        assert_eq!(seen.rings_first, GP_ALARM_LOW);
        let mut outcome = MaybeUninit::<gp_fingerstick>::uninit();
        let stick = size_of::<gp_fingerstick>();
        assert_eq!(gp_monitor_fingerstick(memory.at(), 2110, 66.0, outcome.as_mut_ptr(), stick), GP_OK);
        assert_eq!(outcome.assume_init().outcome, GP_FINGERSTICK_USED);
        let mut granted = 0;
        assert_eq!(gp_monitor_snooze(memory.at(), GP_ALARM_LOW, 7200, &mut granted), GP_OK);
        assert_eq!(granted, 1800);
        assert_eq!(gp_monitor_acknowledge(memory.at()), GP_OK);
        let mut readings = [const { MaybeUninit::<gp_reading>::uninit() }; 3];
        let places = readings.as_mut_ptr().cast();
        assert_eq!(gp_monitor_history(memory.at(), places, 3, &mut written), GP_OK);
        assert_eq!((written, readings[2].assume_init().at_s), (3, 2100));

        let mut bytes = vec![MaybeUninit::<u8>::uninit(); gp_snapshot_bytes_needed(24)];
        let buffer = bytes.as_mut_ptr().cast();
        assert_eq!(gp_monitor_save(memory.at(), buffer, 20, &mut written), GP_ERROR_BUFFER_TOO_SMALL);
        assert_eq!(gp_monitor_save(memory.at(), buffer, bytes.len(), &mut written), GP_OK);
        let mut other = Memory::<gp_monitor_96>::new();
        let size = Memory::<gp_monitor_96>::SIZE;
        assert_eq!(gp_monitor_restore(other.at(), buffer, written), GP_ERROR_NOT_READY);
        assert_eq!(gp_monitor_init(other.at(), size, 96), GP_OK);
        assert_eq!(gp_monitor_restore(other.at(), buffer, written - 1), GP_ERROR_SNAPSHOT_INCOMPLETE);
        assert_eq!(gp_monitor_history(other.at(), places, 3, &mut kept), GP_OK);
        assert_eq!(kept, 0);
        assert_eq!(gp_monitor_restore(other.at(), buffer, written), GP_OK);
        assert_eq!(gp_monitor_history(other.at(), places, 3, &mut kept), GP_OK);
        assert_eq!((kept, readings[2].assume_init().at_s), (3, 2100));
        assert_eq!(gp_monitor_tick_without_clock(other.at(), view.as_mut_ptr(), VIEW), GP_OK);
        assert_eq!(view.assume_init().has & GP_HAS_SHOWN, 0);
        let mut wear = MaybeUninit::uninit();
        assert_eq!(gp_monitor_wear(other.at(), wear.as_mut_ptr(), size_of::<gp_wear>()), GP_OK);
        let mut calibration = MaybeUninit::uninit();
        let room = size_of::<gp_calibration>();
        assert_eq!(gp_monitor_calibration(other.at(), calibration.as_mut_ptr(), room), GP_OK);
        assert_eq!(gp_monitor_set_alarms(other.at(), &settings, null_mut()), GP_OK);
        assert_eq!(gp_monitor_set_utc_offset(other.at(), -3600), GP_OK);
        assert_eq!(gp_monitor_clear_utc_offset(other.at()), GP_OK);
        assert_eq!(gp_monitor_sensor_started(other.at(), 2400), GP_OK);
        assert_eq!(gp_monitor_power_returned(other.at()), GP_OK);
        assert_eq!(gp_monitor_restart(other.at()), GP_OK);
    }
}

#[test]
fn a_pair_from_reading_to_restart() {
    let mut memory = Memory::<gp_pair_24>::new();
    let (size, settings) = (Memory::<gp_pair_24>::SIZE, defaults());
    let (mut view, mut written, mut granted) = (MaybeUninit::<gp_pair_view>::uninit(), 0, 0);
    let (at, room) = (view.as_mut_ptr(), size_of::<gp_pair_view>());
    // SAFETY: the contract of the crate
    unsafe {
        assert_eq!(gp_pair_push(memory.at(), 0, 0, 100.0, 0, at, room), GP_ERROR_NOT_READY);
        assert_eq!(gp_pair_init(memory.at(), size - 1, 24), GP_ERROR_SIZE);
        assert_eq!(gp_pair_init(memory.at(), size, 24), GP_OK);
        let two = (from_ref(&settings), from_ref(&settings));
        assert_eq!(gp_pair_init_with(memory.at(), size, 24, two.0, null(), null_mut()), GP_ERROR_NULL);
        assert_eq!(gp_pair_init_with(memory.at(), size, 24, two.0, two.1, null_mut()), GP_OK);
        for i in 0..8 {
            let value = 131.0 - 9.0 * i as f32;
            assert_eq!(gp_pair_set_uptime(memory.at(), 300 * i), GP_OK);
            assert_eq!(gp_pair_push(memory.at(), GP_SIDE_FIRST, 300 * i, value + 8.0, 0, at, room), GP_OK);
            assert_eq!(gp_pair_push(memory.at(), GP_SIDE_SECOND, 300 * i, value, 0, at, room), GP_OK);
        }
        let seen = view.assume_init();
        assert_eq!((seen.agreement, seen.fused.verdict), (GP_PAIR_TOGETHER, GP_VERDICT_ACCEPTED));
        let [first, second] = seen.sides;
        assert_eq!((first.newest_mg_dl, second.newest_mg_dl), (76.0, 68.0));
        assert_eq!(seen.fused.rings_first, GP_ALARM_LOW); // by the lower one
        assert!((first.weight + second.weight - 1.0).abs() < 1e-6);
        assert_eq!(gp_pair_snooze(memory.at(), GP_ALARM_LOW, 7200, &mut granted), GP_OK);
        assert_eq!(granted, 1800);
        let mut outcomes = MaybeUninit::<[gp_fingerstick; 2]>::uninit();
        let to = outcomes.as_mut_ptr().cast();
        assert_eq!(
            gp_pair_fingerstick(memory.at(), 2110, 70.0, to, size_of::<gp_fingerstick>()),
            GP_ERROR_SIZE
        );
        assert_eq!(gp_pair_fingerstick(memory.at(), 2110, 70.0, to, 2 * size_of::<gp_fingerstick>()), GP_OK);
        let [first, second] = outcomes.assume_init();
        assert_eq!((first.outcome, second.outcome), (GP_FINGERSTICK_USED, GP_FINGERSTICK_USED));
        assert!(first.expected_mg_dl > second.expected_mg_dl);
        assert_eq!(gp_pair_acknowledge(memory.at()), GP_OK);
        assert_eq!(gp_pair_set_alarms(memory.at(), &settings, null_mut()), GP_OK);
        assert_eq!(gp_pair_set_utc_offset(memory.at(), -3600), GP_OK);
        assert_eq!(gp_pair_clear_utc_offset(memory.at()), GP_OK);
        let mut readings = [const { MaybeUninit::<gp_reading>::uninit() }; 3];
        let places = readings.as_mut_ptr().cast();
        assert_eq!(gp_pair_history(memory.at(), GP_SIDE_FIRST, places, 3, &mut written), GP_OK);
        assert_eq!((written, readings[2].assume_init().mg_dl), (3, 76.0));
        assert_eq!(gp_pair_history(memory.at(), GP_SIDE_SECOND, places, 3, &mut written), GP_OK);
        assert_eq!((written, readings[2].assume_init().mg_dl), (3, 68.0));
        let mut bytes = vec![MaybeUninit::<u8>::uninit(); gp_pair_snapshot_bytes_needed(24)];
        let buffer = bytes.as_mut_ptr().cast();
        assert_eq!(gp_pair_save(memory.at(), buffer, 20, &mut written), GP_ERROR_BUFFER_TOO_SMALL);
        assert_eq!(gp_pair_save(memory.at(), buffer, bytes.len(), &mut written), GP_OK);
        let (mut other, length) = (Memory::<gp_pair_96>::new(), written);
        assert_eq!(gp_pair_restore(other.at(), buffer, length), GP_ERROR_NOT_READY);
        assert_eq!(gp_pair_init(other.at(), Memory::<gp_pair_96>::SIZE, 96), GP_OK);
        assert_eq!(gp_pair_restore(other.at(), buffer, length - 1), GP_ERROR_SNAPSHOT_INCOMPLETE);
        assert_eq!(gp_pair_restore(other.at(), buffer, length), GP_OK);
        assert_eq!(gp_pair_history(other.at(), GP_SIDE_SECOND, places, 3, &mut written), GP_OK);
        assert_eq!((written, readings[2].assume_init().mg_dl), (3, 68.0));
        assert_eq!(gp_pair_tick_without_clock(other.at(), at, room), GP_OK);
        assert_eq!(view.assume_init().fused.has & GP_HAS_SHOWN, 0);
        assert_eq!(gp_pair_sensor_started(memory.at(), GP_SIDE_SECOND, 2100), GP_OK);
        let mut wear = [const { MaybeUninit::<gp_wear>::uninit() }; 2];
        for (side, wear) in (0..).zip(&mut wear) {
            assert_eq!(gp_pair_wear(memory.at(), side, wear.as_mut_ptr(), size_of::<gp_wear>()), GP_OK);
        }
        assert_eq!(wear.map(|wear| wear.assume_init().known), [0, 1]);
        assert_eq!(gp_pair_tick(memory.at(), 2160, at, room), GP_OK);
        assert_eq!(view.assume_init().agreement, GP_PAIR_ONLY_FIRST);
        assert_eq!(gp_pair_power_returned(memory.at()), GP_OK);
        assert_eq!(gp_pair_tick_without_clock(memory.at(), at, room), GP_OK);
        let seen = view.assume_init();
        assert_eq!((seen.agreement, seen.fused.has & GP_HAS_SHOWN), (GP_PAIR_NEITHER, 0));
        assert_eq!(seen.sides.map(|side| side.has & GP_HAS_AGE), [0, 0]);
        assert_eq!(gp_pair_restart(memory.at()), GP_OK);
        assert_eq!(gp_pair_history(memory.at(), GP_SIDE_FIRST, places, 3, &mut written), GP_OK);
        assert_eq!(written, 0);
    }
}

#[test]
fn wrong_pointers_are_refused() {
    let mut memory = Memory::<gp_monitor_24>::new();
    let mut view = view();
    let at = view.as_mut_ptr();
    // SAFETY: the contract of the crate
    unsafe {
        assert_eq!(gp_monitor_init(memory.at(), Memory::<gp_monitor_24>::SIZE, 24), GP_OK);
        let odd = memory.at().cast::<u8>().add(1).cast();
        assert_eq!(gp_monitor_tick(odd, 0, at, VIEW), GP_ERROR_ALIGNMENT);
        assert_eq!(gp_monitor_tick(null_mut(), 0, at, VIEW), GP_ERROR_NULL);
        assert_eq!(gp_monitor_tick(memory.at(), 0, at.cast::<u8>().add(1).cast(), VIEW), GP_ERROR_ALIGNMENT);
        assert_eq!(gp_monitor_tick(memory.at(), 0, null_mut(), VIEW), GP_ERROR_NULL);
        assert_eq!(gp_monitor_tick(memory.at(), 0, at, VIEW + 1), GP_ERROR_SIZE);
        let mut fault = gp_fault { parameter: [1; 24] };
        let first_words = [GP_VERSION, 8]; // no more memory than these two
        let short = from_ref(&first_words).cast();
        assert_eq!(gp_settings_check(short, from_mut(&mut fault)), GP_ERROR_SIZE);
        assert_eq!(fault.parameter, [1; 24]);
        let mut settings = defaults();
        settings.quality.pressure_share = f32::NAN;
        assert_eq!(gp_settings_check(&settings, from_mut(&mut fault)), GP_ERROR_NOT_FINITE);
        let name: Vec<u8> = fault.parameter.iter().map(|c| c.to_ne_bytes()[0]).collect();
        assert!(name.starts_with(b"pressure_share\0"));
    }
}

#[test]
fn direction_payloads_review_and_accuracy() {
    // SAFETY: the contract of the crate
    unsafe {
        let mut direction = Memory::<gp_direction>::new();
        let size = Memory::<gp_direction>::SIZE;
        assert_eq!(gp_direction_init(direction.at(), size, null()), GP_OK);
        for i in 0..6 {
            assert_eq!(gp_direction_reading(direction.at(), 300 * i, 150.0 - 12.0 * i as f32, 1), GP_OK);
        }
        let mut now = MaybeUninit::<gp_direction_view>::uninit();
        let size = size_of::<gp_direction_view>();
        assert_eq!(gp_direction_now(direction.at(), 1500, now.as_mut_ptr(), size), GP_OK);
        assert_eq!(now.assume_init().trend, GP_TREND_FALLING);
        let (mut sign, mut trend) = (Memory::<gp_trend_sign>::new(), 0);
        assert_eq!(gp_trend_sign_init(sign.at(), Memory::<gp_trend_sign>::SIZE, null()), GP_OK);
        assert_eq!(gp_trend_sign_step(sign.at(), 2.5, 0.0, &mut trend), GP_OK);
        assert_eq!(trend, GP_TREND_RISING_FAST);

        let sensor = gp_cgm_sensor {
            session_start_s: 1000,
            least_mg_dl: 40.0,
            greatest_mg_dl: 400.0,
            crc: 0,
            order: 0,
            reserved: [0; 2],
        };
        let bytes = [6, 0, 0x68, 0, 10, 0, 6];
        let (mut cgm, mut used) = (MaybeUninit::<gp_cgm>::uninit(), 0);
        let size = size_of::<gp_cgm>();
        assert_eq!(gp_cgm_decode(bytes.as_ptr(), 7, &sensor, cgm.as_mut_ptr(), size, &mut used), GP_OK);
        let cgm = cgm.assume_init();
        assert_eq!((cgm.at_s, cgm.mg_dl, cgm.status, used), (1600, 104.0, GP_STATUS_NORMAL, 6));
        let mut meter = MaybeUninit::uninit();
        let size = size_of::<gp_meter>();
        assert_eq!(gp_meter_decode(bytes.as_ptr(), 7, meter.as_mut_ptr(), size), GP_ERROR_PAYLOAD_SHORT);

        let mut review = Memory::<gp_review>::new();
        assert_eq!(gp_review_init(review.at(), Memory::<gp_review>::SIZE, 300, GP_UNIT_MG_DL), GP_OK);
        for i in 0..5_u16 {
            let at = 300 * u32::from(i);
            assert_eq!(gp_review_push(review.at(), at, 100.0 + 30.0 * f32::from(i), 0, at), GP_OK);
        }
        let mut summary = MaybeUninit::<gp_summary>::uninit();
        assert_eq!(gp_review_summary(review.at(), summary.as_mut_ptr(), size_of::<gp_summary>()), GP_OK);
        let summary = summary.assume_init();
        assert_eq!((summary.mean_mg_dl, summary.by_readings.from_70_to_180), (160.0, 60.0));

        let mut accuracy = Memory::<gp_accuracy>::new();
        assert_eq!(gp_accuracy_init(accuracy.at(), Memory::<gp_accuracy>::SIZE), GP_OK);
        let readings = [0, 300].map(|at_s| gp_reading { at_s, mg_dl: 110.0, ..gp_reading::default() });
        let near = readings.as_ptr();
        assert_eq!(gp_accuracy_fingerstick(accuracy.at(), near, 2, 200, 100.0, 120), GP_OK);
        assert_eq!(gp_accuracy_fingerstick(accuracy.at(), near, 2, 900, 100.0, 120), GP_ERROR_NO_PAIR);
        assert_eq!(gp_accuracy_push(accuracy.at(), 120.0, 100.0), GP_OK);
        let mut agreement = MaybeUninit::<gp_agreement>::uninit();
        let size = size_of::<gp_agreement>();
        assert_eq!(gp_accuracy_result(accuracy.at(), agreement.as_mut_ptr(), size), GP_OK);
        let agreement = agreement.assume_init();
        assert_eq!((agreement.pairs, agreement.mard_percent), (2, 15.0));
    }
}
