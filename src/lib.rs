//! Glucose signal processing for small hardware. From the readings of a continuous glucose sensor it estimates blood glucose
//! **now** with its uncertainty, its **direction**, and how **soon** it will be low; it judges whether to **trust** the sensor, and
//! decides when to **wake** somebody. `no_std`, no allocation, fixed memory, no panics, and the same bits on every target.
//!
//! **Not a medical device.** Not for treatment decisions. Confirm with a fingerstick when symptoms and reading disagree, and
//! follow your care team and local rules.
//!
//! # The shortest example
//! Trend and lows, in three calls, 520 bytes and 13 kB of flash on a Cortex-M0+:
//! ```
//! use glidepath::{Glucose, Instant, Reading, Span, TrendMonitor};
//! let mut monitor = TrendMonitor::default();
//! let at = Instant::from_secs(300); // by the sensor's clock
//! let view = monitor.push(&Reading::new(at, Glucose::from_mg_dl(118.0)?)); // for each reading
//! if let Some(now) = view.shown() {
//!     let _ = (now.glucose.whole_mg_dl(), view.trend().words()); // to be shown
//! }
//! let _ = view.warning(); // a low, one ahead, or no readings: sound it as long as it is there
//! let later = monitor.tick(at.plus(Span::from_mins(21))); // once a minute between
//! assert!(later.shown().is_none()); // an old value is not the present one
//! # Ok::<(), glidepath::Error>(())
//! ```
//! [`Monitor`] does all of it: it also judges readings, estimates blood glucose, adapts its forecast to the person, calibrates by
//! fingersticks, and has alarms with settings. [`PairMonitor`] does the same for two sensors worn at once.
//!
//! # The modules
//! | for | use |
//! | --- | --- |
//! | one sensor, all answers | [`Monitor`], its [`Settings`] and its [`View`]; to keep its state over a power cut: [`snapshot`] |
//! | two sensors | [`PairMonitor`], [`PairView`] |
//! | trend and lows alone | [`TrendMonitor`], [`TrendView`] |
//! | values | [`Glucose`], [`Rate`], [`Span`], [`Instant`], [`Probability`], [`Reading`], [`Fingerstick`], [`History`] |
//! | time from clocks that may be wrong | [`timeline`] |
//! | the parts of the monitor, each usable alone | [`quality`], [`calibration`], [`estimator`], [`trend`], [`forecast`], [`alarm`] |
//! | plain methods, alone or for comparison | [`smoothing`], [`rate`] |
//! | looking back over weeks | [`review`] |
//! | a sensor held against fingersticks or another sensor | [`accuracy`] |
//! | payloads of the Bluetooth glucose services | [`gatt`] |
//! | invented people and sensors whose truth is known | [`simulate`] |
//!
//! # The guide
//! Six chapters to be read in this order: [the sensor](guide::chapter_1_sensor), [the stages](guide::chapter_2_stages),
//! [settings](guide::chapter_3_settings), [uncertainty](guide::chapter_4_uncertainty), [time and clocks](guide::chapter_5_time),
//! [how good it is](guide::chapter_6_how_good). Then [recipes](guide) to copy: [a trend needle](guide::recipe_trend_needle), [a bedside
//! light](guide::recipe_bedside_light), [two sensors compared](guide::recipe_two_sensors), [a handover between
//! sensors](guide::recipe_handover), [a smoother of your own](guide::recipe_own_smoother), [a power cut](guide::recipe_power_cut), [a week's
//! review](guide::recipe_week_review).
//!
//! # Features
//! All are off by default, and each only adds. The documentation of each type names the features that give it traits.
//!
//! | feature | what it gates |
//! | --- | --- |
//! | `serde` | `Serialize` and `Deserialize` of values, [`Settings`] and the configurations of [`simulate`], read through their constructors; `Serialize` of [`View`], [`PairView`] and [`TrendView`] |
//! | `defmt` | `defmt::Format` of values, settings, verdicts and answers |
//! | `micromath` | no item: faster, coarser `exp` and `ln` for parts without floating point in hardware; results then differ from those of other targets |
//!
//! # The desk tool
//! In the repository, `cargo run --release` builds a program that replays recorded traces through the code of this library,
//! compares sensors, reviews weeks and follows readings as they come. What it does, and the firmware, the C and the Python face,
//! is in the repository's `README.md`; how the library is built and what it was measured at is in [`developers`].
#![no_std]
#![cfg_attr(docsrs, feature(doc_cfg))] // marks what a feature gates
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

/// The README's examples are tests.
#[cfg(doctest)]
#[doc = include_str!("../README.md")]
struct Readme;

/// How to work on this crate: layers, words, numbers, decisions, commands.
#[cfg(doc)]
#[doc = include_str!("../DEVELOPERS.md")]
pub mod developers {}
