//! A ring: which alarm, how urgent, why now, and the value that caused it.

use super::kind::{Kind, Kinds};
use crate::units::{Glucose, Instant, Rate, Span};

/// How urgent an alarm is: the words of IEC 60601-1-8 for alarm conditions.
///
/// The standard leaves to a risk analysis which condition gets which priority.
///
/// Features: `serde` gives `Serialize` and `Deserialize`, `defmt` gives `Format`.
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

/// In words: `medium`.
impl core::fmt::Display for Priority {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        f.pad(self.name())
    }
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

/// Why an alarm rings now.
///
/// Features: `serde` gives `Serialize` and `Deserialize`, `defmt` gives `Format`.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize), serde(rename_all = "snake_case"))]
pub enum Cause {
    /// Its condition has come true and lasted its delay.
    New,
    /// It still holds after the repeat interval, or after an acknowledgement or a snooze ran out.
    Repeated,
    /// Nobody acknowledged it within [`escalate`](super::Rule::escalate): it rings one priority higher.
    Escalated,
    /// Glucose fell on since it was acknowledged or snoozed.
    Worse,
}

impl Cause {
    /// A fixed name for files and logs.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::New => "new",
            Self::Repeated => "repeated",
            Self::Escalated => "escalated",
            Self::Worse => "worse",
        }
    }
}

/// What triggered an alarm, with its value.
///
/// Features: `serde` gives `Serialize` and `Deserialize`, `defmt` gives `Format`.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize), serde(rename_all = "snake_case"))]
pub enum Trigger {
    /// The newest believed reading, calibrated.
    Sensor(Glucose),
    /// The newest reading as the sensor gave it: it is lower than its calibrated value, and very low.
    Uncalibrated(Glucose),
    /// The sensor's report that glucose is under its range, which ends there.
    BelowRange(Glucose),
    /// The estimate of blood glucose.
    Estimate(Glucose),
    /// A reading whose time is unknown; see [`timeline`](crate::timeline).
    Unplaced(Glucose),
    /// The probability of a low.
    Probability(f32),
    /// The rate of change.
    Rate(Rate),
    /// How long no reading has come.
    Silence(Span),
    /// How long the sensor has to its planned end; negative past it.
    WearLeft(Span),
    /// A doubt about the sensor; see the reasons of [`View`](crate::View::reasons).
    Doubt,
    /// The value is not known now: what held goes on holding.
    Unknown,
}

impl Trigger {
    /// The glucose that caused it, if one did.
    #[must_use]
    pub const fn glucose(self) -> Option<Glucose> {
        match self {
            Self::Sensor(glucose)
            | Self::Uncalibrated(glucose)
            | Self::BelowRange(glucose)
            | Self::Estimate(glucose)
            | Self::Unplaced(glucose) => Some(glucose),
            Self::Probability(_)
            | Self::Rate(_)
            | Self::Silence(_)
            | Self::WearLeft(_)
            | Self::Doubt
            | Self::Unknown => None,
        }
    }

    /// A fixed name for files and logs.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Sensor(_) => "sensor",
            Self::Uncalibrated(_) => "uncalibrated",
            Self::BelowRange(_) => "below_range",
            Self::Estimate(_) => "estimate",
            Self::Unplaced(_) => "unplaced",
            Self::Probability(_) => "probability",
            Self::Rate(_) => "rate",
            Self::Silence(_) => "silence",
            Self::WearLeft(_) => "wear_left",
            Self::Doubt => "doubt",
            Self::Unknown => "unknown",
        }
    }
}

/// One ring of an alarm: which, how urgent, and why. 16 bytes.
///
/// Features: `serde` gives `Serialize` and `Deserialize`, `defmt` gives `Format`.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[non_exhaustive]
pub struct Ring {
    /// Which alarm.
    pub kind: Kind,
    /// How urgent, escalation included.
    pub priority: Priority,
    /// Why it rings now.
    pub cause: Cause,
    /// The value that triggered it.
    pub trigger: Trigger,
    /// When it rang, by the caller's clock.
    pub at: Instant,
}

impl Ring {
    /// A ring made by hand, to try the display or sounder that will get it.
    #[must_use]
    pub const fn new(kind: Kind, priority: Priority, cause: Cause, trigger: Trigger, at: Instant) -> Self {
        Self { kind, priority, cause, trigger, at }
    }
}

/// An alarm whose condition holds: its newest ring, whether it rings now, and whether it is acknowledged.
///
/// Features: `serde` gives `Serialize`, `defmt` gives `Format`.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
#[non_exhaustive]
pub struct ActiveAlarm {
    /// How it last rang; while another alarm rings for it, how that would have been. Its
    /// [`trigger`](Ring::trigger) is the present one.
    pub ring: Ring,
    /// Whether it rings at this moment.
    pub rings: bool,
    /// Whether it is acknowledged or snoozed.
    pub acknowledged: bool,
}

/// The active alarms at one update: at most one of each kind.
///
/// Features: `serde` gives `Serialize`, `defmt` gives `Format`.
///
/// # Examples
/// ```
/// use glidepath::alarm::{ActiveAlarms, Burst};
/// /// What to sound, if anything.
/// fn sound(standing: &ActiveAlarms) -> Option<(&'static str, &'static Burst)> {
///     standing.rings().first().map(|ring| (ring.kind.message(), Burst::of(ring.priority)))
/// }
/// assert!(sound(&ActiveAlarms::default()).is_none());
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Default)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[must_use]
pub struct ActiveAlarms(pub(super) [Option<ActiveAlarm>; Kind::COUNT]);

/// A list of the active alarms.
#[cfg(feature = "serde")]
impl serde::Serialize for ActiveAlarms {
    fn serialize<S: serde::Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        to.collect_seq(self.iter())
    }
}

impl ActiveAlarms {
    /// Each active alarm, in the order of [`Kind::ALL`].
    pub fn iter(&self) -> impl Iterator<Item = &ActiveAlarm> {
        self.0.iter().flatten()
    }

    /// The alarm of a kind, if it is active.
    #[must_use]
    pub fn get(&self, kind: Kind) -> Option<&ActiveAlarm> {
        self.0.get(kind as usize)?.as_ref()
    }

    /// What rings at this moment.
    pub const fn rings(&self) -> Rings<'_> {
        Rings(self)
    }

    /// The one to show when only one can be: of those neither acknowledged nor snoozed the highest priority, then
    /// the first in the order of [`Kind::ALL`].
    #[must_use]
    pub fn most_urgent(&self) -> Option<&ActiveAlarm> {
        self.iter()
            .filter(|held| !held.acknowledged)
            .min_by_key(|held| (core::cmp::Reverse(held.ring.priority), held.ring.kind))
    }

    /// The same with its times as another clock shows them.
    pub(crate) fn by_clock(mut self, clock: impl Fn(Instant) -> Instant) -> Self {
        self.0.iter_mut().flatten().for_each(|held| held.ring.at = clock(held.ring.at));
        self
    }

    /// The kinds of all active alarms.
    #[must_use]
    pub fn kinds(&self) -> Kinds {
        Kinds::of(self.iter().map(|held| held.ring.kind))
    }

    /// The kinds of those that are neither acknowledged nor snoozed.
    #[must_use]
    pub fn unacknowledged(&self) -> Kinds {
        Kinds::of(self.iter().filter(|held| !held.acknowledged).map(|held| held.ring.kind))
    }
}

/// What rings at one update: at most one ring for each kind.
#[derive(Clone, Copy, Debug, PartialEq)]
#[must_use]
pub struct Rings<'a>(&'a ActiveAlarms);

impl<'a> Rings<'a> {
    /// Each ring, in the order of [`Kind::ALL`].
    pub fn iter(self) -> impl Iterator<Item = &'a Ring> {
        self.0.iter().filter(|held| held.rings).map(|held| &held.ring)
    }

    /// Whether nothing rings.
    #[must_use]
    pub fn is_empty(self) -> bool {
        self.iter().next().is_none()
    }

    /// The one to sound when only one can: the highest priority, then the first in the order of [`Kind::ALL`].
    #[must_use]
    pub fn first(self) -> Option<&'a Ring> {
        self.iter().min_by_key(|ring| (core::cmp::Reverse(ring.priority), ring.kind))
    }
}
