//! What `silent` does with two sensors worn at once: what the linker keeps is the library.

#![no_std]
#![no_main]

use core::mem::MaybeUninit;
use core::ptr::{addr_of, addr_of_mut, read_volatile, write_volatile};
use glidepath::{Glucose, Instant, PairMonitor, PairView, Reading, Settings, Side};

static mut INPUT: (bool, u32, f32) = (false, 0, 0.0);
static mut OUTPUT: MaybeUninit<PairView> = MaybeUninit::uninit(); // of no weight in flash
/// All the memory that the library keeps: a day of readings and everything else. Its size is read from the image.
#[unsafe(no_mangle)]
static mut MONITOR: MaybeUninit<PairMonitor<288>> = MaybeUninit::uninit();

#[cfg_attr(target_arch = "arm", cortex_m_rt::entry)]
#[cfg_attr(target_arch = "riscv32", riscv_rt::entry)]
fn main() -> ! {
    let Ok(monitor) = PairMonitor::new(Settings::default(), Settings::default()) else { halt() };
    // SAFETY: nothing else runs, and this is the only reference
    let monitor = unsafe { (*addr_of_mut!(MONITOR)).write(monitor) };
    loop {
        // SAFETY: nothing else runs; volatile, so that the compiler knows neither value nor use
        let (second, at, mg_dl) = unsafe { read_volatile(addr_of!(INPUT)) };
        let side = if second { Side::Second } else { Side::First };
        if let Ok(glucose) = Glucose::from_mg_dl(mg_dl) {
            let view = monitor.push(side, &Reading::new(Instant::from_secs(at), glucose));
            // SAFETY: as above
            unsafe { write_volatile(addr_of_mut!(OUTPUT), MaybeUninit::new(view)) };
        }
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
