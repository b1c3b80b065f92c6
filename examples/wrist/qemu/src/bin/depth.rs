//! Prints how much stack the library's calls take.

#![no_std]
#![no_main]

use core::hint::black_box;
use core::mem::MaybeUninit;
use core::ptr::addr_of_mut;
use glidepath::{Glucose, Instant, Monitor, Reading, Settings, snapshot};
use semihosting::{println, process::exit};
use wrist_qemu::depth;

static mut MONITOR: MaybeUninit<Monitor<288>> = MaybeUninit::uninit();
static mut SNAPSHOT: [u8; snapshot::bytes_needed(288)] = [0; snapshot::bytes_needed(288)];

/// A monitor in its place; what its making takes of the stack is given back.
#[inline(never)]
fn fresh() -> Option<&'static mut Monitor<288>> {
    let monitor = Monitor::new(Settings::default()).ok()?;
    // SAFETY: called once
    Some(unsafe { (*addr_of_mut!(MONITOR)).write(monitor) })
}

#[cfg_attr(target_arch = "arm", cortex_m_rt::entry)]
#[cfg_attr(target_arch = "riscv32", riscv_rt::entry)]
fn main() -> ! {
    let Some(monitor) = fresh() else { exit(1) };
    // SAFETY: this is the only reference
    let bytes = unsafe { &mut *addr_of_mut!(SNAPSHOT) };
    let mut push = 0;
    for k in 0..300_u16 {
        let Ok(glucose) = Glucose::from_mg_dl(150.0 - f32::from(k % 40)) else { exit(1) };
        let reading = Reading::new(Instant::from_secs(300 * u32::from(k)), glucose);
        push = push.max(depth(&mut || _ = black_box(monitor.push(black_box(&reading)))));
    }
    println!("push {push}");
    let mut saved = Err(snapshot::SnapshotError::BufferTooSmall);
    println!("save {}", depth(&mut || saved = black_box(snapshot::save(monitor, bytes))));
    let Ok(length) = saved else { exit(1) };
    let mut restored = Ok(());
    let taken = depth(&mut || {
        restored = black_box(snapshot::restore(monitor, black_box(bytes.get(..length).unwrap_or_default())))
    });
    println!("restore {taken}");
    exit(i32::from(restored.is_err()))
}
