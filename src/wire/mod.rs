//! Payloads of the open standards.

pub mod gatt;
