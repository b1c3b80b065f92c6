//! The monitor of two sensors worn at once, in each of its capacities.

use crate::code::*;
use crate::memory::*;
use crate::monitor::{
    attempt, for_capacity, glucose, gp_fingerstick, gp_reading, gp_wear, of_stick, of_wear, with_capacity,
    write_history, zone,
};
use crate::number::*;
use crate::settings::{gp_fault, gp_settings, read, tell, to_plan, to_settings};
use crate::view::*;
use core::ffi::c_void;
use glidepath::alarm::AlarmPlan;
use glidepath::snapshot;
use glidepath::{
    Error, Fingerstick, Instant, PairMonitor, PairView, Reading, Settings, Side, SideView, Span,
};

pub type gp_pair_24 = PairMonitor<24>;
pub type gp_pair_96 = PairMonitor<96>;
pub type gp_pair_288 = PairMonitor<288>;
pub type gp_pair_1440 = PairMonitor<1440>;

impl<const N: usize> Object for PairMonitor<N> {
    const KIND: u32 = u32::from_le_bytes(*b"pair");
    #[expect(clippy::cast_possible_truncation, reason = "at most 1440")]
    const READINGS: u32 = N as u32;
}

#[repr(C)]
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct gp_side_view {
    pub has: u32,
    pub newest_at_s: u32,
    pub newest_mg_dl: f32,
    pub age_s: i32,
    pub weight: f32,
    pub offset_mg_dl: f32,
    pub in_15_min: gp_predicted,
    pub in_30_min: gp_predicted,
    pub in_60_min: gp_predicted,
    pub reasons: u16,
    pub grade: u8,
    pub reserved: u8,
}

#[repr(C)]
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct gp_pair_view {
    pub fused: gp_view,
    pub sides: [gp_side_view; GP_SIDES as usize],
    pub agreement: u8,
    pub reserved: [u8; 3],
}

fn of_side_view(view: &SideView) -> gp_side_view {
    let mut bits = 0;
    let has = &mut bits;
    let predicted = |minutes| view.predicted(Span::from_mins(minutes));
    let (newest_at_s, newest_mg_dl) =
        known(has, GP_HAS_NEWEST, view.newest, |(at, glucose)| (at.secs(), glucose.mg_dl()));
    let flat = gp_side_view {
        has: 0,
        newest_at_s,
        newest_mg_dl,
        age_s: known(has, GP_HAS_AGE, view.age, |age| age.secs()),
        weight: view.weight,
        offset_mg_dl: view.offset,
        in_15_min: known(has, GP_HAS_PREDICTED, predicted(15), of_predicted),
        in_30_min: known(has, GP_HAS_PREDICTED, predicted(30), of_predicted),
        in_60_min: known(has, GP_HAS_PREDICTED, predicted(60), of_predicted),
        reasons: of_reasons(view.reasons),
        grade: of_grade(view.reasons.grade()),
        reserved: 0,
    };
    gp_side_view { has: bits, ..flat }
}

#[inline(never)] // one copy, whatever the capacity
fn of_pair_view(view: &PairView) -> gp_pair_view {
    gp_pair_view {
        fused: of_view(view.fused()),
        sides: Side::BOTH.map(|side| of_side_view(view.side(side))),
        agreement: of_agreement(view.agreement()),
        reserved: [0; 3],
    }
}

/// Does something with the pair in `memory`, whatever its capacity.
macro_rules! with_pair {
    ($memory:expr, |$pair:ident| $do:expr) => {
        with_capacity!(PairMonitor, $memory, |$pair| $do)
    };
}

#[inline(never)] // the stack of the settings' conversion is given back before
unsafe fn create<const N: usize>(
    slot: *mut Slot<PairMonitor<N>>,
    first: &Settings,
    second: &Settings,
) -> Result<(), Error> {
    // SAFETY: the contract of this crate
    unsafe { put(slot, PairMonitor::<N>::new(*first, *second)?) };
    Ok(())
}

#[inline(never)] // its own stack, and not that of all capacities
unsafe fn build<const N: usize>(memory: *mut c_void, size: usize) -> Result<(), gp_code> {
    // SAFETY: the contract of this crate
    unsafe {
        let slot = place::<PairMonitor<N>>(memory, size)?;
        create(slot, &Settings::default(), &Settings::default()).map_err(of_error)
    }
}

#[unsafe(no_mangle)]
pub unsafe extern "C" fn gp_pair_init(memory: *mut c_void, size: usize, readings: u32) -> gp_code {
    // SAFETY: the contract of this crate
    attempt(|| unsafe { for_capacity!(readings, build(memory, size)) })
}

#[inline(never)] // as above
unsafe fn build_with<const N: usize>(
    memory: *mut c_void,
    size: usize,
    settings: [*const gp_settings; 2],
    fault: *mut gp_fault,
) -> Result<(), gp_code> {
    // SAFETY: the contract of this crate
    unsafe {
        let slot = place::<PairMonitor<N>>(memory, size)?;
        let [first, second] = settings;
        let given = [read(first)?, read(second)?];
        let mut built = [Settings::default(), Settings::default()];
        for (given, built) in given.into_iter().zip(&mut built) {
            to_settings(given, built).map_err(|(code, parameter)| {
                tell(fault, parameter);
                code
            })?;
        }
        let [first, second] = &built;
        create(slot, first, second).map_err(|error| {
            tell(fault, error.parameter());
            of_error(error)
        })
    }
}

#[unsafe(no_mangle)]
pub unsafe extern "C" fn gp_pair_init_with(
    memory: *mut c_void,
    size: usize,
    readings: u32,
    first: *const gp_settings,
    second: *const gp_settings,
    fault: *mut gp_fault,
) -> gp_code {
    // SAFETY: the contract of this crate
    attempt(|| unsafe { for_capacity!(readings, build_with(memory, size, [first, second], fault)) })
}

#[unsafe(no_mangle)]
pub unsafe extern "C" fn gp_pair_push(
    pair: *mut c_void,
    which: u8,
    at_s: u32,
    mg_dl: f32,
    reading_status: u8,
    view: *mut gp_pair_view,
    view_size: usize,
) -> gp_code {
    // SAFETY: the contract of this crate
    attempt(|| unsafe {
        let to = result(view, view_size)?;
        let side = side(which)?;
        let reading =
            Reading::new(Instant::from_secs(at_s), glucose(mg_dl)?).with_status(status(reading_status)?);
        let view = with_pair!(pair, |pair| pair.push(side, &reading));
        to.write(of_pair_view(&view));
        Ok(())
    })
}

unsafe fn tick(
    pair: *mut c_void,
    now: Option<Instant>,
    view: *mut gp_pair_view,
    view_size: usize,
) -> Result<(), gp_code> {
    // SAFETY: the contract of this crate
    unsafe {
        let to = result(view, view_size)?;
        let view = with_pair!(pair, |pair| pair.tick(now));
        to.write(of_pair_view(&view));
        Ok(())
    }
}

#[unsafe(no_mangle)]
pub unsafe extern "C" fn gp_pair_tick(
    pair: *mut c_void,
    now_s: u32,
    view: *mut gp_pair_view,
    view_size: usize,
) -> gp_code {
    // SAFETY: the contract of this crate
    code(unsafe { tick(pair, Some(Instant::from_secs(now_s)), view, view_size) })
}

#[unsafe(no_mangle)]
pub unsafe extern "C" fn gp_pair_tick_without_clock(
    pair: *mut c_void,
    view: *mut gp_pair_view,
    view_size: usize,
) -> gp_code {
    // SAFETY: the contract of this crate
    code(unsafe { tick(pair, None, view, view_size) })
}

#[unsafe(no_mangle)]
pub unsafe extern "C" fn gp_pair_set_uptime(pair: *mut c_void, uptime_s: u32) -> gp_code {
    // SAFETY: the contract of this crate
    attempt(|| unsafe {
        with_pair!(pair, |pair| pair.set_uptime(uptime_s));
        Ok(())
    })
}

#[unsafe(no_mangle)]
pub unsafe extern "C" fn gp_pair_fingerstick(
    pair: *mut c_void,
    at_s: u32,
    mg_dl: f32,
    outcomes: *mut gp_fingerstick,
    outcomes_size: usize,
) -> gp_code {
    // SAFETY: the contract of this crate
    attempt(|| unsafe {
        let to = result(outcomes.cast::<[gp_fingerstick; GP_SIDES as usize]>(), outcomes_size)?;
        let stick = Fingerstick::new(Instant::from_secs(at_s), glucose(mg_dl)?);
        let outcomes = with_pair!(pair, |pair| pair.fingerstick(&stick));
        to.write(outcomes.map(|outcome| of_stick(&outcome, &stick)));
        Ok(())
    })
}

#[unsafe(no_mangle)]
pub unsafe extern "C" fn gp_pair_sensor_started(pair: *mut c_void, which: u8, at_s: u32) -> gp_code {
    // SAFETY: the contract of this crate
    attempt(|| unsafe {
        let side = side(which)?;
        with_pair!(pair, |pair| pair.sensor_started(side, Instant::from_secs(at_s)));
        Ok(())
    })
}

#[unsafe(no_mangle)]
pub unsafe extern "C" fn gp_pair_power_returned(pair: *mut c_void) -> gp_code {
    // SAFETY: the contract of this crate
    attempt(|| unsafe {
        with_pair!(pair, |pair| pair.power_returned());
        Ok(())
    })
}

#[unsafe(no_mangle)]
pub unsafe extern "C" fn gp_pair_restart(pair: *mut c_void) -> gp_code {
    // SAFETY: the contract of this crate
    attempt(|| unsafe {
        with_pair!(pair, |pair| pair.restart());
        Ok(())
    })
}

#[unsafe(no_mangle)]
pub unsafe extern "C" fn gp_pair_set_utc_offset(pair: *mut c_void, offset_s: i32) -> gp_code {
    // SAFETY: the contract of this crate
    attempt(|| unsafe {
        let offset = zone(offset_s)?;
        with_pair!(pair, |pair| pair.set_utc_offset(Some(offset)));
        Ok(())
    })
}

#[unsafe(no_mangle)]
pub unsafe extern "C" fn gp_pair_clear_utc_offset(pair: *mut c_void) -> gp_code {
    // SAFETY: the contract of this crate
    attempt(|| unsafe {
        with_pair!(pair, |pair| pair.set_utc_offset(None));
        Ok(())
    })
}

#[unsafe(no_mangle)]
pub unsafe extern "C" fn gp_pair_acknowledge(pair: *mut c_void) -> gp_code {
    // SAFETY: the contract of this crate
    attempt(|| unsafe {
        with_pair!(pair, |pair| pair.acknowledge());
        Ok(())
    })
}

#[unsafe(no_mangle)]
pub unsafe extern "C" fn gp_pair_snooze(
    pair: *mut c_void,
    alarm: u8,
    span_s: i32,
    granted_s: *mut i32,
) -> gp_code {
    // SAFETY: the contract of this crate
    attempt(|| unsafe {
        let to = number(granted_s)?;
        let alarm = kind(alarm)?;
        let granted = with_pair!(pair, |pair| pair.snooze(alarm, Span::from_secs(span_s)));
        to.write(granted.secs());
        Ok(())
    })
}

#[unsafe(no_mangle)]
pub unsafe extern "C" fn gp_pair_set_alarms(
    pair: *mut c_void,
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
        with_pair!(pair, |pair| pair.set_alarm_plan(plan));
        Ok(())
    })
}

#[unsafe(no_mangle)]
pub unsafe extern "C" fn gp_pair_history(
    pair: *mut c_void,
    which: u8,
    readings: *mut gp_reading,
    count: usize,
    written: *mut usize,
) -> gp_code {
    // SAFETY: the contract of this crate
    attempt(|| unsafe {
        let to = number(written)?;
        let side = side(which)?;
        let places = room(readings, count)?;
        let history = with_pair!(pair, |pair| pair.history(side));
        to.write(write_history(&history, places));
        Ok(())
    })
}

#[unsafe(no_mangle)]
pub unsafe extern "C" fn gp_pair_wear(
    pair: *mut c_void,
    which: u8,
    wear: *mut gp_wear,
    size: usize,
) -> gp_code {
    // SAFETY: the contract of this crate
    attempt(|| unsafe {
        let to = result(wear, size)?;
        let side = side(which)?;
        to.write(of_wear(with_pair!(pair, |pair| pair.wear(side))));
        Ok(())
    })
}

#[unsafe(no_mangle)]
pub extern "C" fn gp_pair_snapshot_bytes_needed(readings: u32) -> usize {
    usize::try_from(readings).map_or(usize::MAX, snapshot::pair_bytes_needed)
}

#[unsafe(no_mangle)]
pub unsafe extern "C" fn gp_pair_save(
    pair: *mut c_void,
    bytes: *mut u8,
    room: usize,
    written: *mut usize,
) -> gp_code {
    // SAFETY: the contract of this crate
    attempt(|| unsafe {
        let to = number(written)?;
        let _ = crate::memory::room(bytes, room)?;
        with_pair!(pair, |pair| _ = pair); // refused before the buffer is touched
        let buffer = cleared(bytes, room)?;
        let done = with_pair!(pair, |pair| snapshot::save_pair(pair, buffer));
        to.write(done.map_err(of_snapshot)?);
        Ok(())
    })
}

#[unsafe(no_mangle)]
pub unsafe extern "C" fn gp_pair_restore(pair: *mut c_void, bytes: *const u8, length: usize) -> gp_code {
    // SAFETY: the contract of this crate
    attempt(|| unsafe {
        let bytes = items(bytes, length)?;
        with_pair!(pair, |pair| snapshot::restore_pair(pair, bytes)).map_err(of_snapshot)
    })
}
