//! Pushes readings from nowhere through a monitor, saves its state and loads it: what `silent` lacks of it is the
//! codec's.

#![no_std]
#![no_main]

use core::mem::MaybeUninit;
use core::ptr::{addr_of, addr_of_mut, read_volatile, write_volatile};
use glidepath::{Glucose, Instant, Monitor, Reading, Settings, View, snapshot};

static mut INPUT: (u32, f32, usize) = (0, 0.0, 0);
static mut OUTPUT: MaybeUninit<View> = MaybeUninit::uninit();
static mut BUFFER: [u8; snapshot::room(288)] = [0; snapshot::room(288)];
#[unsafe(no_mangle)]
static mut MONITOR: MaybeUninit<Monitor<288>> = MaybeUninit::uninit();

#[cfg_attr(target_arch = "arm", cortex_m_rt::entry)]
#[cfg_attr(target_arch = "riscv32", riscv_rt::entry)]
fn main() -> ! {
    let Ok(monitor) = Monitor::new(Settings::default()) else { halt() };
    // SAFETY: nothing else runs, and this is the only reference
    let monitor = unsafe { (*addr_of_mut!(MONITOR)).write(monitor) };
    let buffer = unsafe { &mut *addr_of_mut!(BUFFER) };
    loop {
        // SAFETY: nothing else runs; volatile, so that the compiler knows neither value nor use
        let (at, mg_dl, length) = unsafe { read_volatile(addr_of!(INPUT)) };
        if let Ok(glucose) = Glucose::from_mg_dl(mg_dl) {
            let view = monitor.push(&Reading::new(Instant::from_secs(at), glucose));
            // SAFETY: as above
            unsafe { write_volatile(addr_of_mut!(OUTPUT), MaybeUninit::new(view)) };
        }
        let _ = snapshot::save(monitor, buffer);
        let _ = snapshot::restore(monitor, buffer.get(..length).unwrap_or_default());
    }
}

#[panic_handler]
fn panic(_: &core::panic::PanicInfo<'_>) -> ! {
    halt()
}

fn halt() -> ! {
    loop {
        core::hint::spin_loop();
    }
}
