//! Weeks at a glance: ranges, variability, risk, episodes and the pattern of the day, streaming and in fixed memory.
//!
//! [`Review`] takes readings one by one. Two of them that follow each other join with [`Review::append`] to exactly the
//! one of the joined readings, wherever the cut was: it keeps what is still open at its first and last reading. Records
//! that do not follow each other, of several people say, add up in a [`Pool`], in any order, here or on several machines. All
//! sums are whole numbers, so that no order of adding changes a bit.
//!
//! Nothing here is a treatment decision: confirm with a fingerstick when symptoms and reading disagree, and follow your
//! care team.
//!
//! # Examples
//! ```
//! use glidepath::{Glucose, Instant, Reading, review::{Config, DayTime, Review}};
//! let mut review = Review::new(Config::default());
//! for i in 0..288 {
//!     let at = Instant::from_secs(300 * i);
//!     let glucose = Glucose::from_mg_dl(if i < 144 { 100.0 } else { 200.0 })?;
//!     let _ = review.push(&Reading::new(at, glucose), DayTime::from_secs(at.secs()));
//! }
//! let summary = review.summary();
//! assert_eq!(summary.mean_mg_dl, Some(150.0));
//! assert_eq!(summary.by_time.map(|r| r.from_70_to_180), Some(50.0));
//! assert!(!summary.suffices()); // one day is not fourteen
//! # Ok::<(), glidepath::Error>(())
//! ```

mod config;
mod days;
mod episodes;
mod formula;
mod lagged;
mod path;
mod pattern;
mod pool;
mod profile;
mod ranges;
mod record;
mod risk;
mod sparse;
mod spells;
mod summary;
mod sums;
mod swings;

pub use config::{Config, Counting, DayTime, Threshold, Unit};
pub use episodes::{Episode, EpisodeRule, Episodes};
pub use formula::{ea1c_percent, gmi_mmol_mol, gmi_percent, gri, gri_zone, j_index};
pub use pattern::{DAYS_HELD, DAYS_SEEN, MAX_P_VALUE, Pattern, PatternKind, WINDOW_MINUTES};
pub use pool::Pool;
pub use profile::{BIN_MINUTES, BINS, Compact, Exact, Grid};
pub use ranges::Ranges;
pub use record::{Pushed, Review};
pub use risk::glucose_risk;
pub use spells::EpisodeTotal;
pub use summary::Summary;

#[cfg(test)]
mod tests;
