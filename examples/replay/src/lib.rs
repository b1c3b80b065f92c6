//! A recorded trace lived through as on the wrist, and what its alarms were worth.
//!
//! [`walk`] tells the monitor the time, asks it once a minute between readings and acknowledges what rings; [`heard`] says by
//! which readings lows and highs are counted; [`lows`] finds the lows and what warned of them; [`score`] counts true alarms,
//! false ones and nights. The desk tool and the page both run this code. It needs no `std`: in the page its panic messages and sorts would take much of the room.
#![no_std]

extern crate alloc;

mod clock;
pub mod heard;
pub mod lows;
pub mod score;
pub mod sorted;
pub mod walk;

pub use clock::WallClock;
