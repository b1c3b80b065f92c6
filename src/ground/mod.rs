//! Numbers and errors: what everything else is written in.

pub mod codec;
pub mod error;
pub mod local;
#[allow(dead_code, reason = "each stage uses its part")]
pub mod math;
#[allow(dead_code, reason = "each stage uses its part")]
pub mod moments;
pub mod units;
#[cfg(feature = "serde")]
pub mod written;
