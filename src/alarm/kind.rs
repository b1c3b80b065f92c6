//! What can ring, how urgent it is, and the ring itself.

use crate::units::Instant;

/// The alarms, most telling first.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize), serde(rename_all = "snake_case"))]
#[repr(u8)]
pub enum Kind {
    /// Glucose is at or under [`FLOOR_MG_DL`](super::FLOOR_MG_DL). It cannot be off.
    Floor = 0,
    /// Glucose is at or under the low limit.
    Low = 1,
    /// A low is ahead: the low-ahead signal is at or over its limit.
    LowAhead = 2,
    /// Glucose falls at the limit or faster.
    SteepFall = 3,
    /// Nothing new from the sensor for longer than the limit.
    NoData = 4,
    /// Glucose is at or over the high limit.
    High = 5,
    /// Glucose rises at the limit or faster.
    SteepRise = 6,
    /// The sensor is not to be believed.
    Doubt = 7,
    /// The sensor's planned end is near.
    WearEnd = 8,
}

impl Kind {
    /// All of them, most telling first.
    pub const ALL: [Self; 9] = [
        Self::Floor,
        Self::Low,
        Self::LowAhead,
        Self::SteepFall,
        Self::NoData,
        Self::High,
        Self::SteepRise,
        Self::Doubt,
        Self::WearEnd,
    ];

    /// A fixed name for files and logs.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Floor => "floor",
            Self::Low => "low",
            Self::LowAhead => "low_ahead",
            Self::SteepFall => "steep_fall",
            Self::NoData => "no_data",
            Self::High => "high",
            Self::SteepRise => "steep_rise",
            Self::Doubt => "doubt",
            Self::WearEnd => "wear_end",
        }
    }

    /// What it says, in words for a person.
    #[must_use]
    pub const fn message(self) -> &'static str {
        match self {
            Self::Floor => "glucose is very low",
            Self::Low => "glucose is low",
            Self::LowAhead => "a low is ahead",
            Self::SteepFall => "glucose falls fast",
            Self::NoData => "no readings",
            Self::High => "glucose is high",
            Self::SteepRise => "glucose rises fast",
            Self::Doubt => "do not rely on the sensor: check with a fingerstick",
            Self::WearEnd => "the sensor's planned end is near",
        }
    }

    /// Whether it decides by a glucose value, which can be stale.
    pub(super) const fn is_by_value(self) -> bool {
        !matches!(self, Self::NoData | Self::Doubt | Self::WearEnd)
    }

    pub(super) const fn bit(self) -> u16 {
        1 << (self as u16)
    }
}

/// How urgent an alarm is: the words of IEC 60601-1-8 for alarm conditions.
///
/// The standard leaves to a risk analysis which condition gets which priority.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize), serde(rename_all = "snake_case"))]
pub enum Priority {
    /// Awareness is asked for.
    Low,
    /// A prompt response is asked for.
    Medium,
    /// An immediate response is asked for.
    High,
}

impl Priority {
    /// One step more urgent; high stays high.
    #[must_use]
    pub const fn raised(self) -> Self {
        match self {
            Self::Low => Self::Medium,
            Self::Medium | Self::High => Self::High,
        }
    }

    /// A fixed name for files and logs.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Low => "low",
            Self::Medium => "medium",
            Self::High => "high",
        }
    }
}

/// Why an alarm rings.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize), serde(rename_all = "snake_case"))]
pub enum Cause {
    /// Its condition has come true and lasted its delay.
    New,
    /// It still holds after the repeat interval, or after an acknowledgement or a snooze ran out.
    Still,
    /// Nobody acknowledged it: it rings one priority higher.
    Unheeded,
}

/// One ring. 8 bytes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Ring {
    /// Which alarm.
    pub kind: Kind,
    /// How urgent, escalation included.
    pub priority: Priority,
    /// Why now.
    pub cause: Cause,
    /// When, by the caller's clock.
    pub at: Instant,
}

/// What rings at one update: at most one ring for each of the nine kinds.
///
/// # Examples
/// ```
/// use glidepath::alarm::{Pattern, Rings};
/// /// What to sound, if anything.
/// fn sound(rings: &Rings) -> Option<(&'static str, &'static Pattern)> {
///     rings.first().map(|ring| (ring.kind.message(), Pattern::of(ring.priority)))
/// }
/// assert!(sound(&Rings::default()).is_none());
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
#[must_use]
pub struct Rings(pub(super) [Option<Ring>; 9]);

impl Rings {
    /// Each ring, most telling kind first.
    pub fn iter(&self) -> impl Iterator<Item = &Ring> {
        self.0.iter().flatten()
    }

    /// Whether nothing rings.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.iter().next().is_none()
    }

    /// The one to sound when only one can: the highest priority, then the most telling kind.
    #[must_use]
    pub fn first(&self) -> Option<&Ring> {
        self.iter().min_by_key(|ring| (core::cmp::Reverse(ring.priority), ring.kind))
    }
}

/// A set of alarms. 2 bytes.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Kinds(pub(super) u16);

impl Kinds {
    /// Whether `kind` is among them.
    #[must_use]
    pub const fn contains(self, kind: Kind) -> bool {
        self.0 & kind.bit() != 0
    }

    /// Whether there is none.
    #[must_use]
    pub const fn is_empty(self) -> bool {
        self.0 == 0
    }

    /// Each of them, most telling first.
    pub fn iter(self) -> impl Iterator<Item = Kind> {
        Kind::ALL.into_iter().filter(move |kind| self.contains(*kind))
    }
}
