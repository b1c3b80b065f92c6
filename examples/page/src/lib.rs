//! What the page runs. A table is read, replayed through the library's monitor, rehearsed and reviewed; the browser is
//! given plain numbers and words.
//!
//! The desk tool does more and reads more; what both do comes out alike, which `tests/numbers.mjs` checks. In the page
//! there is no `std`: its panic messages and sorts would take a third of the page.
#![cfg_attr(target_arch = "wasm32", no_std)]

extern crate alloc;

pub mod alarms;
#[cfg(target_arch = "wasm32")]
mod exports;
pub mod face;
pub mod table;
pub mod weeks;
