//! A collector for the Bluetooth SIG's Continuous Glucose Monitoring (0x181F) and Glucose (0x1808) services, without a
//! radio: bytes in, bytes and frames out. Whoever has a radio carries them.
//!
//! | module | decides |
//! | --- | --- |
//! | [`advert`] | which service an advertisement offers |
//! | [`trust`] | whose sensor is listened to, and what pairing it takes |
//! | [`ledger`] | which records are held, which are still owed: by their own numbers, never by what a sensor says it sent |
//! | [`control`] | the bytes of the two control points, of features and run time |
//! | [`collector`] | what to read, write and ask for next on a connection |
//! | [`exchange`] | settings from a phone or a desk, in parts, and back |
//! | [`kept`] | what outlives a restart, as bytes |
//!
//! All of it is total: any bytes at any time are understood, or refused and counted. No allocation.
//!
//! Not a medical device. See the README for the caution that goes with every value.
//!
//! Source of procedures and numbers, from memory unless said otherwise: Bluetooth SIG, Continuous Glucose Monitoring
//! Service 1.0.2, Glucose Service 1.0.1, GATT Specification Supplement, Assigned Numbers.

#![no_std]
#![forbid(unsafe_code)]
#![deny(missing_docs)]
#![cfg_attr(
    not(test),
    deny(
        clippy::indexing_slicing,
        clippy::unwrap_used,
        clippy::expect_used,
        clippy::panic,
        clippy::arithmetic_side_effects
    )
)]

#[cfg(test)]
extern crate std;

pub mod advert;
pub mod collector;
pub mod control;
pub mod exchange;
pub mod kept;
pub mod ledger;
pub mod trust;
