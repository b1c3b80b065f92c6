//! What `silent` does, and its state saved and restored: what this image is larger by is what that costs.

#![no_std]
#![no_main]

use core::mem::MaybeUninit;
use core::ptr::{addr_of, addr_of_mut, read_volatile, write_volatile};
use glidepath::{Glucose, Instant, Monitor, Reading, Settings, View, snapshot};

static mut INPUT: (u32, f32, usize) = (0, 0.0, 0);
static mut OUTPUT: MaybeUninit<View> = MaybeUninit::uninit();
static mut MONITOR: MaybeUninit<Monitor<288>> = MaybeUninit::uninit();
/// Where the state lies.
#[unsafe(no_mangle)]
static mut SNAPSHOT: [u8; snapshot::bytes_needed(288)] = [0; snapshot::bytes_needed(288)];

#[cfg_attr(target_arch = "arm", cortex_m_rt::entry)]
#[cfg_attr(target_arch = "riscv32", riscv_rt::entry)]
fn main() -> ! {
    let Ok(monitor) = Monitor::new(Settings::default()) else { halt() };
    // SAFETY: nothing else runs, and these are the only references
    let (monitor, bytes) = unsafe { ((*addr_of_mut!(MONITOR)).write(monitor), &mut *addr_of_mut!(SNAPSHOT)) };
    loop {
        // SAFETY: nothing else runs; volatile, so that the compiler knows neither value nor use
        let (at, mg_dl, length) = unsafe { read_volatile(addr_of!(INPUT)) };
        if let Ok(glucose) = Glucose::from_mg_dl(mg_dl) {
            let view = monitor.push(&Reading::new(Instant::from_secs(at), glucose));
            // SAFETY: as above
            unsafe { write_volatile(addr_of_mut!(OUTPUT), MaybeUninit::new(view)) };
        }
        let _ = snapshot::restore(monitor, bytes.get(..length).unwrap_or_default());
        let _ = snapshot::save(monitor, bytes);
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
