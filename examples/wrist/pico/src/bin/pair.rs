//! The wrist of two sensors worn at once.

#![no_std]
#![no_main]

use cortex_m::singleton;
use glidepath::PairMonitor;
use wrist::app::{PAIR_KEPT, PAIR_READINGS};
use wrist::store;
use wrist_pico::board;

#[rp2040_hal::entry]
fn main() -> ! {
    let (state, buffer) = (
        singleton!(: [u8; PAIR_KEPT] = [0; PAIR_KEPT]),
        singleton!(: store::PairBuffer = store::pair_buffer()),
    );
    let (Some(state), Some(buffer)) = (state, buffer) else { board::halt() };
    board::run::<PairMonitor<PAIR_READINGS>>(state, buffer)
}
