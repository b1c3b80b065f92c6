//! The hot path alone: readings and fingersticks from nowhere through a monitor.

#![no_std]
#![no_main]

use core::ptr::{addr_of, addr_of_mut, read_volatile, write_volatile};
use glidepath::{Fingerstick, Glucose, Instant, Monitor, Reading, Settings, View};

static mut INPUT: (u32, f32) = (0, 0.0);
static mut OUTPUT: Option<View> = None;

#[cfg_attr(target_arch = "arm", cortex_m_rt::entry)]
#[cfg_attr(target_arch = "riscv32", riscv_rt::entry)]
fn main() -> ! {
    let Ok(mut monitor) = Monitor::<288>::new(Settings::default()) else { loop {} };
    loop {
        // SAFETY: nothing else runs; volatile, so that the compiler knows neither value nor use
        let (at, mg_dl) = unsafe { read_volatile(addr_of!(INPUT)) };
        let at = Instant::from_secs(at);
        let view = match Glucose::from_mg_dl(mg_dl) {
            Ok(glucose) if mg_dl > 1.0 => monitor.push(&Reading::new(at, glucose)),
            Ok(glucose) => {
                let _ = monitor.fingerstick(&Fingerstick::new(at, glucose));
                continue;
            }
            Err(_) => monitor.tick(at),
        };
        // SAFETY: as above
        unsafe { write_volatile(addr_of_mut!(OUTPUT), Some(view)) };
    }
}

#[panic_handler]
fn panic(_: &core::panic::PanicInfo<'_>) -> ! {
    loop {}
}
