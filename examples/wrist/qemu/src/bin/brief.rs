//! What `silent` does with the trend and the low ahead alone: what the linker keeps is the middle level.

#![no_std]
#![no_main]

use core::mem::MaybeUninit;
use core::ptr::{addr_of, addr_of_mut, read_volatile, write_volatile};
use glidepath::{Glucose, Instant, Reading, TrendMonitor, TrendView};

static mut INPUT: (u32, f32) = (0, 0.0);
static mut OUTPUT: MaybeUninit<TrendView> = MaybeUninit::uninit(); // of no weight in flash
/// All the memory that it keeps. Its size is read from the image.
#[unsafe(no_mangle)]
static mut MONITOR: MaybeUninit<TrendMonitor> = MaybeUninit::uninit();

#[cfg_attr(target_arch = "arm", cortex_m_rt::entry)]
#[cfg_attr(target_arch = "riscv32", riscv_rt::entry)]
fn main() -> ! {
    // SAFETY: nothing else runs, and this is the only reference
    let monitor = unsafe { (*addr_of_mut!(MONITOR)).write(TrendMonitor::default()) };
    loop {
        // SAFETY: nothing else runs; volatile, so that the compiler knows neither value nor use
        let (at, mg_dl) = unsafe { read_volatile(addr_of!(INPUT)) };
        let view = match Glucose::from_mg_dl(mg_dl) {
            Ok(glucose) => monitor.push(&Reading::new(Instant::from_secs(at), glucose)),
            Err(_) => monitor.tick(Instant::from_secs(at)),
        };
        // SAFETY: as above
        unsafe { write_volatile(addr_of_mut!(OUTPUT), MaybeUninit::new(view)) };
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
