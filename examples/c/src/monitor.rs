//! The monitor, in each of its capacities.

use crate::code::*;
use crate::memory::*;
use crate::number::*;
use crate::settings::{gp_fault, gp_settings, read, tell, to_plan, to_settings};
use crate::view::*;
use core::ffi::c_void;
use core::mem::MaybeUninit;
use glidepath::alarm::AlarmPlan;
use glidepath::quality::Wear;
use glidepath::{
    Error, Fingerstick, FingerstickOutcome, Glucose, HistoryView, Instant, Monitor, Reading, Settings, Span,
};

pub type gp_monitor_24 = Monitor<24>;
pub type gp_monitor_96 = Monitor<96>;
pub type gp_monitor_288 = Monitor<288>;
pub type gp_monitor_1440 = Monitor<1440>;

impl<const N: usize> Object for Monitor<N> {
    const KIND: u32 = u32::from_le_bytes(*b"moni");
    #[expect(clippy::cast_possible_truncation, reason = "at most 1440")]
    const READINGS: u32 = N as u32;
}

#[repr(C)]
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct gp_reading {
    pub at_s: u32,
    pub mg_dl: f32,
    pub status: u8,
    pub reserved: [u8; 3],
}

#[repr(C)]
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct gp_fingerstick {
    pub has_expected: u8,
    pub outcome: u8,
    pub fused: u8,
    pub reserved: u8,
    pub expected_mg_dl: f32,
    pub expected_sd_mg_dl: f32,
    pub deviations: f32,
}

#[repr(C)]
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct gp_wear {
    pub worn_s: i32,
    pub left_s: i32,
    pub warm_up_left_s: i32,
    pub lost_s: i32,
    pub readings: u32,
    pub errors: u32,
    pub day: u32,
    pub known: u8,
    pub reserved: [u8; 3],
}

#[repr(C)]
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct gp_calibration {
    pub gain: f32,
    pub offset_mg_dl: f32,
    pub used: u16,
    pub refused: u16,
}

/// Does something with the object in `memory` of a type that has capacities, whatever its own is.
macro_rules! with_capacity {
    ($type:ident, $memory:expr, |$object:ident| $do:expr) => {{
        let memory = $memory;
        match readings_of(memory)? {
            24 => {
                let $object = object::<$type<24>>(memory)?;
                $do
            }
            96 => {
                let $object = object::<$type<96>>(memory)?;
                $do
            }
            288 => {
                let $object = object::<$type<288>>(memory)?;
                $do
            }
            1440 => {
                let $object = object::<$type<1440>>(memory)?;
                $do
            }
            _ => return Err(GP_ERROR_NOT_READY),
        }
    }};
}
pub(crate) use with_capacity;

/// Does something with the monitor in `memory`, whatever its capacity.
macro_rules! with_monitor {
    ($memory:expr, |$monitor:ident| $do:expr) => {
        $crate::monitor::with_capacity!(Monitor, $memory, |$monitor| $do)
    };
}
pub(crate) use with_monitor;

/// Does something for a capacity.
macro_rules! for_capacity {
    ($readings:expr, $do:ident($($argument:expr),*)) => {
        match $readings {
            24 => $do::<24>($($argument),*),
            96 => $do::<96>($($argument),*),
            288 => $do::<288>($($argument),*),
            1440 => $do::<1440>($($argument),*),
            _ => Err(GP_ERROR_NUMBER),
        }
    };
}
pub(crate) use for_capacity;

/// Runs what may fail on the way.
pub fn attempt(act: impl FnOnce() -> Result<(), gp_code>) -> gp_code {
    code(act())
}

pub fn glucose(mg_dl: f32) -> Result<Glucose, gp_code> {
    Glucose::from_mg_dl(mg_dl).map_err(of_error)
}

#[inline(never)] // the stack of the settings' conversion is given back before
unsafe fn create<const N: usize>(slot: *mut Slot<Monitor<N>>, settings: &Settings) -> Result<(), Error> {
    // SAFETY: the contract of this crate
    unsafe { put(slot, Monitor::<N>::new(*settings)?) };
    Ok(())
}

// Two functions, so that who takes the settings as shipped does not link what converts others.

#[inline(never)] // its own stack, and not that of all capacities
unsafe fn build<const N: usize>(memory: *mut c_void, size: usize) -> Result<(), gp_code> {
    // SAFETY: the contract of this crate
    unsafe {
        let slot = place::<Monitor<N>>(memory, size)?;
        create(slot, &Settings::default()).map_err(of_error)
    }
}

#[unsafe(no_mangle)]
pub unsafe extern "C" fn gp_monitor_init(memory: *mut c_void, size: usize, readings: u32) -> gp_code {
    // SAFETY: the contract of this crate
    attempt(|| unsafe { for_capacity!(readings, build(memory, size)) })
}

#[inline(never)] // as above
unsafe fn build_with<const N: usize>(
    memory: *mut c_void,
    size: usize,
    settings: *const gp_settings,
    fault: *mut gp_fault,
) -> Result<(), gp_code> {
    // SAFETY: the contract of this crate
    unsafe {
        let slot = place::<Monitor<N>>(memory, size)?;
        let mut built = Settings::default();
        to_settings(read(settings)?, &mut built).map_err(|(code, parameter)| {
            tell(fault, parameter);
            code
        })?;
        create(slot, &built).map_err(|error| {
            tell(fault, error.parameter());
            of_error(error)
        })
    }
}

#[unsafe(no_mangle)]
pub unsafe extern "C" fn gp_monitor_init_with(
    memory: *mut c_void,
    size: usize,
    readings: u32,
    settings: *const gp_settings,
    fault: *mut gp_fault,
) -> gp_code {
    // SAFETY: the contract of this crate
    attempt(|| unsafe { for_capacity!(readings, build_with(memory, size, settings, fault)) })
}

#[unsafe(no_mangle)]
pub unsafe extern "C" fn gp_monitor_push(
    monitor: *mut c_void,
    at_s: u32,
    mg_dl: f32,
    reading_status: u8,
    view: *mut gp_view,
    view_size: usize,
) -> gp_code {
    // SAFETY: the contract of this crate
    attempt(|| unsafe {
        let to = result(view, view_size)?;
        let reading =
            Reading::new(Instant::from_secs(at_s), glucose(mg_dl)?).with_status(status(reading_status)?);
        let view = with_monitor!(monitor, |monitor| monitor.push(&reading));
        to.write(of_view(&view));
        Ok(())
    })
}

unsafe fn tick(
    monitor: *mut c_void,
    now: Option<Instant>,
    view: *mut gp_view,
    view_size: usize,
) -> Result<(), gp_code> {
    // SAFETY: the contract of this crate
    unsafe {
        let to = result(view, view_size)?;
        let view = with_monitor!(monitor, |monitor| monitor.tick(now));
        to.write(of_view(&view));
        Ok(())
    }
}

#[unsafe(no_mangle)]
pub unsafe extern "C" fn gp_monitor_tick(
    monitor: *mut c_void,
    now_s: u32,
    view: *mut gp_view,
    view_size: usize,
) -> gp_code {
    // SAFETY: the contract of this crate
    code(unsafe { tick(monitor, Some(Instant::from_secs(now_s)), view, view_size) })
}

#[unsafe(no_mangle)]
pub unsafe extern "C" fn gp_monitor_tick_without_clock(
    monitor: *mut c_void,
    view: *mut gp_view,
    view_size: usize,
) -> gp_code {
    // SAFETY: the contract of this crate
    code(unsafe { tick(monitor, None, view, view_size) })
}

#[unsafe(no_mangle)]
pub unsafe extern "C" fn gp_monitor_set_uptime(monitor: *mut c_void, uptime_s: u32) -> gp_code {
    // SAFETY: the contract of this crate
    attempt(|| unsafe {
        with_monitor!(monitor, |monitor| monitor.set_uptime(uptime_s));
        Ok(())
    })
}

pub fn of_stick(outcome: &FingerstickOutcome, stick: &Fingerstick) -> gp_fingerstick {
    let mut flat = gp_fingerstick {
        outcome: of_outcome(outcome),
        fused: matches!(outcome, FingerstickOutcome::Used { fused: true, .. }).into(),
        ..gp_fingerstick::default()
    };
    if let Some(expected) = outcome.expected() {
        flat.has_expected = 1;
        flat.expected_mg_dl = expected.glucose.mg_dl();
        flat.expected_sd_mg_dl = expected.sd;
        flat.deviations = expected.deviations(stick);
    }
    flat
}

#[unsafe(no_mangle)]
pub unsafe extern "C" fn gp_monitor_fingerstick(
    monitor: *mut c_void,
    at_s: u32,
    mg_dl: f32,
    outcome: *mut gp_fingerstick,
    outcome_size: usize,
) -> gp_code {
    // SAFETY: the contract of this crate
    attempt(|| unsafe {
        let to = result(outcome, outcome_size)?;
        let stick = Fingerstick::new(Instant::from_secs(at_s), glucose(mg_dl)?);
        let outcome = with_monitor!(monitor, |monitor| monitor.fingerstick(&stick));
        to.write(of_stick(&outcome, &stick));
        Ok(())
    })
}

#[unsafe(no_mangle)]
pub unsafe extern "C" fn gp_monitor_sensor_started(monitor: *mut c_void, at_s: u32) -> gp_code {
    // SAFETY: the contract of this crate
    attempt(|| unsafe {
        with_monitor!(monitor, |monitor| monitor.sensor_started(Instant::from_secs(at_s)));
        Ok(())
    })
}

#[unsafe(no_mangle)]
pub unsafe extern "C" fn gp_monitor_power_returned(monitor: *mut c_void) -> gp_code {
    // SAFETY: the contract of this crate
    attempt(|| unsafe {
        with_monitor!(monitor, |monitor| monitor.power_returned());
        Ok(())
    })
}

#[unsafe(no_mangle)]
pub unsafe extern "C" fn gp_monitor_restart(monitor: *mut c_void) -> gp_code {
    // SAFETY: the contract of this crate
    attempt(|| unsafe {
        with_monitor!(monitor, |monitor| monitor.restart());
        Ok(())
    })
}

/// A day either way: no zone lies further.
const FURTHEST_ZONE_S: i32 = 86_400;

pub fn zone(offset_s: i32) -> Result<Span, gp_code> {
    if (-FURTHEST_ZONE_S..=FURTHEST_ZONE_S).contains(&offset_s) {
        Ok(Span::from_secs(offset_s))
    } else {
        Err(GP_ERROR_OUT_OF_RANGE)
    }
}

#[unsafe(no_mangle)]
pub unsafe extern "C" fn gp_monitor_set_utc_offset(monitor: *mut c_void, offset_s: i32) -> gp_code {
    // SAFETY: the contract of this crate
    attempt(|| unsafe {
        let offset = zone(offset_s)?;
        with_monitor!(monitor, |monitor| monitor.set_utc_offset(Some(offset)));
        Ok(())
    })
}

#[unsafe(no_mangle)]
pub unsafe extern "C" fn gp_monitor_clear_utc_offset(monitor: *mut c_void) -> gp_code {
    // SAFETY: the contract of this crate
    attempt(|| unsafe {
        with_monitor!(monitor, |monitor| monitor.set_utc_offset(None));
        Ok(())
    })
}

#[unsafe(no_mangle)]
pub unsafe extern "C" fn gp_monitor_acknowledge(monitor: *mut c_void) -> gp_code {
    // SAFETY: the contract of this crate
    attempt(|| unsafe {
        with_monitor!(monitor, |monitor| monitor.acknowledge());
        Ok(())
    })
}

#[unsafe(no_mangle)]
pub unsafe extern "C" fn gp_monitor_snooze(
    monitor: *mut c_void,
    alarm: u8,
    span_s: i32,
    granted_s: *mut i32,
) -> gp_code {
    // SAFETY: the contract of this crate
    attempt(|| unsafe {
        let to = number(granted_s)?;
        let alarm = kind(alarm)?;
        let granted = with_monitor!(monitor, |monitor| monitor.snooze(alarm, Span::from_secs(span_s)));
        to.write(granted.secs());
        Ok(())
    })
}

#[unsafe(no_mangle)]
pub unsafe extern "C" fn gp_monitor_set_alarms(
    monitor: *mut c_void,
    settings: *const gp_settings,
    fault: *mut gp_fault,
) -> gp_code {
    // SAFETY: the contract of this crate
    attempt(|| unsafe {
        let mut plan = AlarmPlan::default();
        to_plan(read(settings)?, &mut plan).map_err(|(code, parameter)| {
            tell(fault, parameter);
            code
        })?;
        with_monitor!(monitor, |monitor| monitor.set_alarm_plan(plan));
        Ok(())
    })
}

/// The newest readings, as many as there are places, oldest first; how many.
pub fn write_history(history: &HistoryView<'_>, places: &mut [MaybeUninit<gp_reading>]) -> usize {
    let skipped = history.len().saturating_sub(places.len());
    let mut done = 0_usize;
    for (place, reading) in places.iter_mut().zip(history.iter().skip(skipped)) {
        place.write(gp_reading {
            at_s: reading.at().secs(),
            mg_dl: reading.glucose().mg_dl(),
            status: of_status(reading.status()),
            reserved: [0; 3],
        });
        done = done.saturating_add(1);
    }
    done
}

#[unsafe(no_mangle)]
pub unsafe extern "C" fn gp_monitor_history(
    monitor: *mut c_void,
    readings: *mut gp_reading,
    count: usize,
    written: *mut usize,
) -> gp_code {
    // SAFETY: the contract of this crate
    attempt(|| unsafe {
        let to = number(written)?;
        let places = room(readings, count)?;
        let history = with_monitor!(monitor, |monitor| monitor.history());
        to.write(write_history(&history, places));
        Ok(())
    })
}

pub fn of_wear(wear: Option<Wear>) -> gp_wear {
    wear.map_or_else(gp_wear::default, |wear| gp_wear {
        worn_s: wear.worn().secs(),
        left_s: wear.left().secs(),
        warm_up_left_s: wear.warm_up_left().secs(),
        lost_s: wear.lost().secs(),
        readings: wear.readings(),
        errors: wear.errors(),
        day: wear.day(),
        known: 1,
        reserved: [0; 3],
    })
}

#[unsafe(no_mangle)]
pub unsafe extern "C" fn gp_monitor_wear(monitor: *mut c_void, wear: *mut gp_wear, size: usize) -> gp_code {
    // SAFETY: the contract of this crate
    attempt(|| unsafe {
        let to = result(wear, size)?;
        to.write(of_wear(with_monitor!(monitor, |monitor| monitor.wear())));
        Ok(())
    })
}

#[unsafe(no_mangle)]
pub unsafe extern "C" fn gp_monitor_calibration(
    monitor: *mut c_void,
    calibration: *mut gp_calibration,
    size: usize,
) -> gp_code {
    // SAFETY: the contract of this crate
    attempt(|| unsafe {
        let to = result(calibration, size)?;
        let (gain, offset_mg_dl, (used, refused)) = with_monitor!(monitor, |monitor| {
            let (gain, offset) = monitor.gain_and_offset();
            (gain, offset, monitor.calibration().counts())
        });
        to.write(gp_calibration { gain, offset_mg_dl, used, refused });
        Ok(())
    })
}
