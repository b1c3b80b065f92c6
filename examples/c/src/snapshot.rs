//! The monitor's state to bytes and back.

use crate::code::*;
use crate::memory::*;
use crate::monitor::{attempt, with_monitor};
use core::ffi::c_void;
use glidepath::{Monitor, snapshot};

#[unsafe(no_mangle)]
pub extern "C" fn gp_snapshot_bytes_needed(readings: u32) -> usize {
    usize::try_from(readings).map_or(usize::MAX, snapshot::bytes_needed)
}

#[unsafe(no_mangle)]
pub unsafe extern "C" fn gp_monitor_save(
    monitor: *mut c_void,
    bytes: *mut u8,
    room: usize,
    written: *mut usize,
) -> gp_code {
    // SAFETY: the contract of this crate
    attempt(|| unsafe {
        let to = number(written)?;
        let _ = crate::memory::room(bytes, room)?;
        with_monitor!(monitor, |monitor| _ = monitor); // refused before the buffer is touched
        let buffer = cleared(bytes, room)?;
        let done = with_monitor!(monitor, |monitor| snapshot::save(monitor, buffer));
        to.write(done.map_err(of_snapshot)?);
        Ok(())
    })
}

#[unsafe(no_mangle)]
pub unsafe extern "C" fn gp_monitor_restore(
    monitor: *mut c_void,
    bytes: *const u8,
    length: usize,
) -> gp_code {
    // SAFETY: the contract of this crate
    attempt(|| unsafe {
        let bytes = items(bytes, length)?;
        with_monitor!(monitor, |monitor| snapshot::restore(monitor, bytes)).map_err(of_snapshot)
    })
}
