//! The wrist application, without a board: frames in; pictures, vibration and words out.
//!
//! Not a medical device. See the README for the caution that goes with every value shown.

#![no_std]
#![forbid(unsafe_code)]

#[cfg(test)]
extern crate std;

pub mod app;
pub mod button;
pub mod clock;
pub mod columns;
pub mod face;
pub mod link;
pub mod pulses;
pub mod screen;
pub mod session;
pub mod settings;
pub mod store;
mod text;
pub mod words;
pub mod worn;
