//! Trend sign and low ahead with age, clock and floor minded: the middle way between a direction and a monitor.

use crate::code::*;
use crate::memory::*;
use crate::monitor::{attempt, glucose};
use crate::number::*;
use crate::settings::{bands_or_default, given_bands, gp_bands};
use crate::view::*;
use core::ffi::c_void;
use glidepath::{Instant, Reading, TrendMonitor, TrendView};

pub type gp_trend_monitor = TrendMonitor;

impl Object for TrendMonitor {
    const KIND: u32 = u32::from_le_bytes(*b"tmon");
}

#[repr(C)]
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct gp_trend_view {
    pub has: u32,
    pub shown_mg_dl: f32,
    pub shown_age_s: i32,
    pub shown_whole_mg_dl: u16,
    pub shown_tenths_mmol_l: u16,
    pub shown_bound: u8,
    pub shown_doubted: u8,
    pub monitoring: u8,
    pub trend: u8,
    pub warning: u8,
    pub reserved: [u8; 3],
    pub low_ahead: f32,
    pub trigger_mg_dl: f32,
}

fn of_trend_view(view: &TrendView) -> gp_trend_view {
    let mut bits = 0;
    let has = &mut bits;
    let (shown_mg_dl, shown_age_s, (shown_whole_mg_dl, shown_tenths_mmol_l), (shown_bound, shown_doubted)) =
        known(has, GP_HAS_SHOWN, view.shown(), of_shown);
    let flat = gp_trend_view {
        has: 0,
        shown_mg_dl,
        shown_age_s,
        shown_whole_mg_dl,
        shown_tenths_mmol_l,
        shown_bound,
        shown_doubted,
        monitoring: view.is_monitoring().into(),
        trend: of_trend(view.trend()),
        warning: view.warning().map_or(GP_ALARM_NONE, of_kind),
        reserved: [0; 3],
        low_ahead: known(has, GP_HAS_LOW_AHEAD, view.low_ahead(), |probability| probability.get()),
        trigger_mg_dl: known(has, GP_HAS_TRIGGER, view.trigger(), |glucose| glucose.mg_dl()),
    };
    gp_trend_view { has: bits, ..flat }
}

#[unsafe(no_mangle)]
pub unsafe extern "C" fn gp_trend_monitor_init(
    memory: *mut c_void,
    size: usize,
    bands: *const gp_bands,
) -> gp_code {
    // SAFETY: the contract of this crate
    attempt(|| unsafe {
        let slot = place::<TrendMonitor>(memory, size)?;
        put(slot, TrendMonitor::new(bands_or_default(given_bands(bands)?)?));
        Ok(())
    })
}

#[unsafe(no_mangle)]
pub unsafe extern "C" fn gp_trend_monitor_set_uptime(monitor: *mut c_void, uptime_s: u32) -> gp_code {
    // SAFETY: the contract of this crate
    attempt(|| unsafe {
        object::<TrendMonitor>(monitor)?.set_uptime(uptime_s);
        Ok(())
    })
}

#[unsafe(no_mangle)]
pub unsafe extern "C" fn gp_trend_monitor_push(
    monitor: *mut c_void,
    at_s: u32,
    mg_dl: f32,
    reading_status: u8,
    view: *mut gp_trend_view,
    view_size: usize,
) -> gp_code {
    // SAFETY: the contract of this crate
    attempt(|| unsafe {
        let to = result(view, view_size)?;
        let reading =
            Reading::new(Instant::from_secs(at_s), glucose(mg_dl)?).with_status(status(reading_status)?);
        to.write(of_trend_view(&object::<TrendMonitor>(monitor)?.push(&reading)));
        Ok(())
    })
}

unsafe fn tick(
    monitor: *mut c_void,
    now: Option<Instant>,
    view: *mut gp_trend_view,
    view_size: usize,
) -> Result<(), gp_code> {
    // SAFETY: the contract of this crate
    unsafe {
        let to = result(view, view_size)?;
        to.write(of_trend_view(&object::<TrendMonitor>(monitor)?.tick(now)));
        Ok(())
    }
}

#[unsafe(no_mangle)]
pub unsafe extern "C" fn gp_trend_monitor_tick(
    monitor: *mut c_void,
    now_s: u32,
    view: *mut gp_trend_view,
    view_size: usize,
) -> gp_code {
    // SAFETY: the contract of this crate
    code(unsafe { tick(monitor, Some(Instant::from_secs(now_s)), view, view_size) })
}

#[unsafe(no_mangle)]
pub unsafe extern "C" fn gp_trend_monitor_tick_without_clock(
    monitor: *mut c_void,
    view: *mut gp_trend_view,
    view_size: usize,
) -> gp_code {
    // SAFETY: the contract of this crate
    code(unsafe { tick(monitor, None, view, view_size) })
}

#[unsafe(no_mangle)]
pub unsafe extern "C" fn gp_trend_monitor_power_returned(monitor: *mut c_void) -> gp_code {
    // SAFETY: the contract of this crate
    attempt(|| unsafe {
        object::<TrendMonitor>(monitor)?.power_returned();
        Ok(())
    })
}
