//! Prints how much stack a reading takes of the monitor of two sensors.

#![no_std]
#![no_main]

use core::hint::black_box;
use core::mem::MaybeUninit;
use core::ptr::addr_of_mut;
use glidepath::{Fingerstick, Glucose, Instant, PairMonitor, Reading, Settings, Side};
use semihosting::{println, process::exit};
use wrist_qemu::depth;

static mut MONITOR: MaybeUninit<PairMonitor<288>> = MaybeUninit::uninit();

/// A monitor in its place; what its making takes of the stack is given back.
#[inline(never)]
fn fresh() -> Option<&'static mut PairMonitor<288>> {
    let monitor = PairMonitor::new(Settings::default(), Settings::default()).ok()?;
    // SAFETY: called once
    Some(unsafe { (*addr_of_mut!(MONITOR)).write(monitor) })
}

#[cfg_attr(target_arch = "arm", cortex_m_rt::entry)]
#[cfg_attr(target_arch = "riscv32", riscv_rt::entry)]
fn main() -> ! {
    let Some(monitor) = fresh() else { exit(1) };
    let (mut push, mut stick) = (0, 0);
    for k in 0..300_u16 {
        let at = Instant::from_secs(300 * u32::from(k));
        let wave = f32::from(k % 40);
        // they come apart and together again
        let other = if k % 80 < 40 { 145.0 - wave } else { 90.0 - 0.5 * wave };
        for (side, mg_dl) in [(Side::First, 150.0 - wave), (Side::Second, other)] {
            let Ok(glucose) = Glucose::from_mg_dl(mg_dl) else { exit(1) };
            let reading = Reading::new(at, glucose);
            push = push.max(depth(&mut || _ = black_box(monitor.push(side, black_box(&reading)))));
        }
        if k % 60 == 30 {
            let Ok(glucose) = Glucose::from_mg_dl(120.0) else { exit(1) };
            let measured = Fingerstick::new(at, glucose);
            stick = stick.max(depth(&mut || _ = black_box(monitor.fingerstick(black_box(&measured)))));
        }
    }
    println!("push {push}");
    println!("fingerstick {stick}");
    exit(0)
}
