//! Runs all parts but the last and says nothing: what the linker keeps is the library.

#![no_std]
#![no_main]

use core::ptr::{addr_of_mut, write_volatile};

static mut OUTPUT: u32 = 0;

#[cfg_attr(target_arch = "arm", cortex_m_rt::entry)]
#[cfg_attr(target_arch = "riscv32", riscv_rt::entry)]
fn main() -> ! {
    loop {
        for (_, part) in everywhere::PARTS {
            // SAFETY: nothing else runs; volatile, so that the compiler knows no use
            unsafe { write_volatile(addr_of_mut!(OUTPUT), part(300).value) };
        }
    }
}

#[panic_handler]
fn panic(_: &core::panic::PanicInfo<'_>) -> ! {
    loop {}
}
