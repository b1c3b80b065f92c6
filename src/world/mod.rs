//! Simulated people and sensors, seeded and reproducible.

pub mod simulate;
