//! Looking back: one sensor against fingersticks, and weeks at a glance.

pub mod accuracy;
pub mod review;
