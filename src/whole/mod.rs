//! The monitor, which alone knows more than one stage, and its state as bytes.

pub mod monitor;
#[cfg(feature = "snapshot")]
pub mod snapshot;
