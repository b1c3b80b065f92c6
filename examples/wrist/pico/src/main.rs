//! The wrist of one sensor.

#![no_std]
#![no_main]

use glidepath::Monitor;
use wrist::app::READINGS;

#[rp2040_hal::entry]
fn main() -> ! {
    wrist_pico::board::run::<Monitor<READINGS>>()
}
