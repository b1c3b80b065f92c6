//! What the images share.

#![no_std]

/// The day of frames, as every machine replays it.
pub static DAY: &[u8] = include_bytes!("../../golden/day.frames");

use core::ptr::{addr_of, read_volatile, write_volatile};

/// What the stack is filled with before a call.
const PAINT: u32 = 0xA5C3_5A3C;
/// How far down, bytes.
const DEEPEST: usize = 6144;
/// Not to be painted: of this function itself.
const OWN: usize = 128;

/// The bytes of stack that `call` takes, this function's own few among them.
#[inline(never)]
pub fn depth(call: &mut dyn FnMut()) -> usize {
    let here = 0_u32;
    let top = addr_of!(here) as usize;
    let words = || (top - DEEPEST..top - OWN).step_by(4);
    // SAFETY: free stack of this program, under all frames in use
    words().for_each(|word| unsafe { write_volatile(word as *mut u32, PAINT) });
    call();
    // SAFETY: as above
    let used = words().find(|word| unsafe { read_volatile(*word as *const u32) } != PAINT);
    top - used.unwrap_or(top - OWN)
}
