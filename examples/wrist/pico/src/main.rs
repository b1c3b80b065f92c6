//! The wrist of one sensor.

#![no_std]
#![no_main]

use cortex_m::singleton;
use glidepath::Monitor;
use wrist::app::{KEPT, READINGS};
use wrist::store;
use wrist_pico::board;

#[rp2040_hal::entry]
fn main() -> ! {
    let (state, buffer) =
        (singleton!(: [u8; KEPT] = [0; KEPT]), singleton!(: store::Buffer = store::buffer()));
    let (Some(state), Some(buffer)) = (state, buffer) else { board::halt() };
    board::run::<Monitor<READINGS>>(state, buffer)
}
