//! What the `serde` feature is for: settings, configurations and values in a file that a person can read, checked on
//! the way in; answers as they are written.
#![cfg(feature = "serde")]

mod answers;
mod hostile;
mod people;
mod settings;
mod values;
