//! The monitor, which alone knows more than one stage, and its state as bytes.

pub mod monitor;
pub mod snapshot;
