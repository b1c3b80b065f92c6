//! [guide]: crate::guide
//! [good]: crate::guide::chapter_6_how_good
//! [needle]: crate::guide::recipe_trend_needle
//! [light]: crate::guide::recipe_bedside_light
//! [two]: crate::guide::recipe_two_sensors
//! [handover]: crate::guide::recipe_handover
//! [own]: crate::guide::recipe_own_smoother
//! [cut]: crate::guide::recipe_power_cut
//! [week]: crate::guide::recipe_week_review
//!
// the first definition of a link holds: here the README's lead to pages, elsewhere to files
#![doc = include_str!("../README.md")]
#![doc = "<style>img[src^='examples/']{display:none}</style>"] // no picture is in the package
#![no_std]
#![forbid(unsafe_code)]
#![deny(missing_docs, missing_debug_implementations)]
#![allow(clippy::excessive_precision)] // constants are written as their source prints them
#![allow(clippy::manual_clamp)] // `max` then `min` also brings a NaN into range; `clamp` passes it on
#![cfg_attr(
    not(test),
    deny(
        clippy::indexing_slicing,
        clippy::unwrap_used,
        clippy::expect_used,
        clippy::panic,
        clippy::unreachable,
        clippy::arithmetic_side_effects,
        clippy::integer_division,
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss
    )
)]

// the rooms; `tests/layers.rs` holds which may use which, the lowest first

// numbers and errors
mod ground;
// stages that answer reading by reading; none knows another
mod live;
// looking back
mod past;
// what comes in, the room it is kept in, and what stages hand on
mod values;
// the monitor that composes the stages, and its state as bytes
mod whole;
// payloads of the open standards
mod wire;
// simulated people and sensors
mod world;

// inside the crate, too, a module is named without its room
#[cfg(feature = "serde")]
use ground::written;
use ground::{codec, error, local, math, moments, units};
use values::{estimate, history, reading};
use whole::{brief, monitor, pair};

pub use live::{alarm, calibration, estimator, forecast, quality, rate, smoothing, trend};
pub use past::{accuracy, review};
pub use values::timeline;
pub use whole::snapshot;
pub use wire::gatt;
pub use world::simulate;

pub use brief::{TrendMonitor, TrendView};
pub use error::{Error, ErrorKind};
pub use estimate::Estimate;
pub use history::{History, HistoryView, Inserted};
pub use local::LocalTime;
pub use monitor::{Bound, Expected, FingerstickOutcome, Monitor, Refusal, Settings, Shown, View};
pub use pair::{Agreement, PairMonitor, PairView, Side, SideView};
pub use reading::{Fingerstick, Reading, Status};
pub use units::{Glucose, Instant, MG_DL_PER_MMOL_L, Probability, Rate, Span};

#[cfg(any(doc, doctest))]
pub mod guide;

/// How to work on this crate: layers, words, numbers, decisions, commands.
#[cfg(doc)]
#[doc = include_str!("../DEVELOPERS.md")]
pub mod developers {}
