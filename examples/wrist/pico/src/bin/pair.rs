//! The wrist of two sensors worn at once.

#![no_std]
#![no_main]

use glidepath::PairMonitor;
use wrist::app::READINGS;

#[rp2040_hal::entry]
fn main() -> ! {
    wrist_pico::board::run::<PairMonitor<READINGS>>()
}
