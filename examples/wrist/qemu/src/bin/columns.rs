//! Replays the day and prints the digest of each reading's answers.

#![no_std]
#![no_main]

use semihosting::{println, process::exit};

#[cfg_attr(target_arch = "arm", cortex_m_rt::entry)]
#[cfg_attr(target_arch = "riscv32", riscv_rt::entry)]
fn main() -> ! {
    wrist::columns::replay(wrist_qemu::DAY, |minute, digest| println!("{minute} {digest:08x}"));
    exit(0)
}
