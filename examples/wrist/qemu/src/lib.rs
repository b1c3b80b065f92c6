//! What the images share.

#![no_std]

/// The day of frames, as every machine replays it.
pub static DAY: &[u8] = include_bytes!("../../golden/day.frames");
