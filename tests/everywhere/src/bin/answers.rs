//! Prints the hashes as `desk` does, and the deepest stack of each part.

#![no_std]
#![no_main]

use core::hint::black_box;
use everywhere::{Event, Stream};
use glidepath::{Monitor, Reading, Settings};
use semihosting::{println, process::exit};

/// Emulators are slow.
const EVENTS: usize = 100;

/// How much of the stack is painted, bytes.
const PAINTED: usize = 3 * 1024 * 1024;
const PAINT: u32 = 0xA5C3_5A3C;

#[cfg_attr(target_arch = "arm", cortex_m_rt::entry)]
#[cfg_attr(target_arch = "riscv32", riscv_rt::entry)]
fn main() -> ! {
    if let Ok(mut monitor) = Monitor::<288>::new(Settings::default()) {
        let top = paint();
        for event in Stream::new(black_box(1)).take(EVENTS) {
            if let Event::Reading(reading) = event {
                push(&mut monitor, &reading);
            }
        }
        println!("stack a push (monitor of {} bytes) {}", size_of_val(&monitor), top - deepest(top));
    }
    for (name, part) in everywhere::parts() {
        let top = paint();
        let hash = black_box(part)(EVENTS);
        let deepest = top - deepest(top);
        println!("{name} {:08x} {}", hash.value, hash.not_finite);
        println!("stack {name} {deepest}");
    }
    exit(0)
}

#[inline(never)]
fn push(monitor: &mut Monitor<288>, reading: &Reading) {
    let _ = black_box(monitor.push(black_box(reading)));
}

/// Paints what lies under the stack; gives where the paint ends.
#[inline(never)]
fn paint() -> usize {
    let here = 0_u32;
    let top = (core::ptr::from_ref(black_box(&here)) as usize - 128) & !3;
    for place in (top - PAINTED..top).step_by(4) {
        // SAFETY: the board has megabytes under its stack, and nothing but the stack uses them
        unsafe { core::ptr::write_volatile(place as *mut u32, PAINT) };
    }
    top
}

/// The lowest place where the paint is gone.
#[inline(never)]
fn deepest(top: usize) -> usize {
    (top - PAINTED..top)
        .step_by(4)
        // SAFETY: as above
        .find(|place| unsafe { core::ptr::read_volatile(*place as *const u32) } != PAINT)
        .unwrap_or(top)
}
