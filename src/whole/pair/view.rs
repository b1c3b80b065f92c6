//! What two sensors worn together say, as one and each by itself.

use crate::forecast::{Course, Predicted};
use crate::monitor::View;
use crate::quality::Reasons;
use crate::units::{Glucose, Instant, Span};

/// One of two sensors worn together. 1 byte.
///
/// Features: `serde` gives `Serialize` and `Deserialize`, `defmt` gives `Format`.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize), serde(rename_all = "snake_case"))]
pub enum Side {
    /// The one that is called the first.
    First,
    /// The one that is called the second.
    Second,
}

impl Side {
    /// Both.
    pub const BOTH: [Self; 2] = [Self::First, Self::Second];

    /// The other one.
    #[must_use]
    pub const fn other(self) -> Self {
        match self {
            Self::First => Self::Second,
            Self::Second => Self::First,
        }
    }

    /// A fixed name for files and logs.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::First => "first",
            Self::Second => "second",
        }
    }

    /// That of two things which is this one's.
    pub(super) const fn of<T>(self, two: &[T; 2]) -> &T {
        let [first, second] = two;
        match self {
            Self::First => first,
            Self::Second => second,
        }
    }

    /// The same, to be changed.
    pub(super) const fn of_mut<T>(self, two: &mut [T; 2]) -> &mut T {
        let [first, second] = two;
        match self {
            Self::First => first,
            Self::Second => second,
        }
    }
}

/// In words: `first`.
impl core::fmt::Display for Side {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        f.pad(self.name())
    }
}

/// How two sensors go together now. 2 bytes.
///
/// Features: `serde` gives `Serialize`, `defmt` gives `Format`.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub enum Agreement {
    /// Neither has a believed reading of the last 20 minutes.
    Neither,
    /// Only this one has.
    Only(Side),
    /// Both have, and differ by no more than is usual for them.
    Together,
    /// They have differed by more for ten minutes or longer, and nothing shows which is wrong.
    Apart,
    /// They differ by more, and probably this one is wrong.
    Suspect(Side),
}

impl Agreement {
    /// In words.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::Neither => "no sensor reads",
            Self::Only(Side::First) => "only the first sensor reads",
            Self::Only(Side::Second) => "only the second sensor reads",
            Self::Together => "the sensors agree",
            Self::Apart => "the sensors disagree: take a fingerstick",
            Self::Suspect(Side::First) => "the first sensor is off",
            Self::Suspect(Side::Second) => "the second sensor is off",
        }
    }

    /// A fixed name for files and logs.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Neither => "neither",
            Self::Only(Side::First) => "only_first",
            Self::Only(Side::Second) => "only_second",
            Self::Together => "together",
            Self::Apart => "apart",
            Self::Suspect(Side::First) => "first_suspect",
            Self::Suspect(Side::Second) => "second_suspect",
        }
    }

    /// The sensor that is probably wrong, if they differ and one is.
    #[must_use]
    pub const fn suspect(self) -> Option<Side> {
        match self {
            Self::Suspect(side) => Some(side),
            _ => None,
        }
    }
}

/// In words.
impl core::fmt::Display for Agreement {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        f.pad(self.words())
    }
}

/// What one of two sensors says by itself.
///
/// Features: `serde` gives `Serialize`, `defmt` gives `Format`.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub struct SideView {
    /// The newest believed reading: when it was measured, by the clock that stamps this sensor's readings, and its
    /// calibrated value.
    pub newest: Option<(Instant, Glucose)>,
    /// How long ago that was; `None` without one, or when the power was away since.
    pub age: Option<Span>,
    /// Why this sensor is believed less.
    pub reasons: Reasons,
    /// How much of what the two say as one is this sensor's, 0 to 1.
    pub weight: f32,
    /// How far this sensor is taken to read above glucose, calibrated, mg/dL.
    pub offset: f32,
    pub(super) course: Option<Course>,
}

impl SideView {
    /// What this sensor will read in `horizon`, calibrated, by its own past and what the other one tells: 5 minutes to 2
    /// hours; a shorter or longer one is brought there. `None` without a believed reading in the last half hour.
    #[must_use]
    pub fn predicted(&self, horizon: Span) -> Option<Predicted> {
        self.course.map(|course| course.at(horizon))
    }
}

/// The answers of a [`PairMonitor`](super::PairMonitor) at one moment. 536 bytes.
///
/// Written (feature `serde`) it is a table of `fused`, `first`, `second` and `agreement`, the last by its name.
///
/// Features: `serde` gives `Serialize`, `defmt` gives `Format`.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[must_use]
pub struct PairView {
    pub(super) fused: View,
    pub(super) sides: [SideView; 2],
    pub(super) agreement: Agreement,
}

impl PairView {
    /// What the two say as one: all that a display, a voice or an alarm needs, as of one sensor.
    pub const fn fused(&self) -> &View {
        &self.fused
    }

    /// What one of them says by itself.
    #[must_use]
    pub const fn side(&self, side: Side) -> &SideView {
        side.of(&self.sides)
    }

    /// How the two go together.
    #[must_use]
    pub const fn agreement(&self) -> Agreement {
        self.agreement
    }
}
