//! What the images for the Pico share: how it boots, and what it does when it must not go on.

#![no_std]

#[cfg(target_os = "none")]
pub mod board;
#[cfg(target_os = "none")]
pub mod flash;

/// The second stage of the boot, for the flash chip of the Pico.
#[unsafe(link_section = ".boot2")]
#[unsafe(no_mangle)]
#[used]
pub static BOOT2_FIRMWARE: [u8; 256] = rp2040_boot2::BOOT_LOADER_W25Q080;

/// The crystal's frequency, and the processor's: no PLL runs, which saves most of the current.
pub const CRYSTAL_HZ: u32 = 12_000_000;

/// A program that cannot go on waits for the watchdog.
#[cfg(target_os = "none")]
#[panic_handler]
fn panic(_: &core::panic::PanicInfo<'_>) -> ! {
    loop {
        cortex_m::asm::nop();
    }
}
