//! The verdict on a reading, and the assessment around it.

use super::reasons::{Grade, Reason, Reasons};

/// The verdict on one reading. The table in the [module's documentation](super) says what each does.
///
/// Features: `serde` gives `Serialize` and `Deserialize`, `defmt` gives `Format`.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize), serde(rename_all = "snake_case"))]
#[must_use]
#[non_exhaustive]
pub enum Verdict {
    /// Nothing against it.
    Accepted,
    /// Older than the newest: to be kept in the history, too late for the estimate.
    Late,
    /// As old as the newest.
    Duplicate,
    /// Its time cannot be right, and when it was measured is unknown; see [`timeline`](crate::timeline).
    BadTime,
    /// Nothing against it; it is the third in a row to show that the clock that stamps readings was set.
    ClockSet,
    /// Not a glucose value that a sensor can read.
    OutOfRange,
    /// Read while the sensor warms up.
    WarmUp,
    /// The sensor reports a fault.
    Fault,
    /// Too far from what was expected, and the first such in a row.
    Jump,
    /// One of a run of equal values longer than noise allows.
    Stuck,
    /// Suspected to read low because the sensor is pressed on.
    Pressure,
}

/// In words: `the sensor warms up`.
impl core::fmt::Display for Verdict {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        f.pad(match self {
            Self::Accepted => "accepted",
            Self::Late => "too late for the estimate",
            Self::Duplicate => "known already",
            Self::BadTime => "its time cannot be right",
            Self::ClockSet => "accepted; the clock was set",
            Self::OutOfRange => "no glucose a sensor can read",
            Self::WarmUp => "the sensor warms up",
            Self::Fault => "the sensor reports a fault",
            Self::Jump => "far from what was expected",
            Self::Stuck => "the value does not move",
            Self::Pressure => "the sensor may be pressed on",
        })
    }
}

impl Verdict {
    /// A fixed name for files and logs.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Accepted => "accepted",
            Self::Late => "late",
            Self::Duplicate => "duplicate",
            Self::BadTime => "bad_time",
            Self::ClockSet => "clock_set",
            Self::OutOfRange => "out_of_range",
            Self::WarmUp => "warm_up",
            Self::Fault => "fault",
            Self::Jump => "jump",
            Self::Stuck => "stuck",
            Self::Pressure => "pressure",
        }
    }

    /// Whether the estimate may take it in, by its [weight](super::Assessment::weight).
    #[must_use]
    pub const fn is_admitted(self) -> bool {
        matches!(self, Self::Accepted | Self::ClockSet | Self::Jump | Self::Stuck | Self::Pressure)
    }

    /// Whether it belongs in the history.
    #[must_use]
    pub const fn is_kept(self) -> bool {
        self.is_admitted() || matches!(self, Self::Late | Self::WarmUp)
    }

    /// Whether its value may ring the alarms: all that is admitted, but for a jump not yet confirmed.
    #[must_use]
    pub const fn is_believed(self) -> bool {
        self.is_admitted() && !matches!(self, Self::Jump)
    }
}

/// All that is said of one reading. 8 bytes.
///
/// Feature `defmt` gives `Format`.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[must_use]
pub struct Assessment {
    pub(super) verdict: Verdict,
    pub(super) weight: f32,
    pub(super) reasons: Reasons,
}

impl Assessment {
    /// The verdict on the reading.
    pub const fn verdict(&self) -> Verdict {
        self.verdict
    }

    /// How much the estimate shall take it in, 0 to 1: its noise variance is to be divided by this, and at 0
    /// it is not to be used.
    #[must_use]
    pub const fn weight(&self) -> f32 {
        self.weight
    }

    /// Whether pressure on the sensor is suspected.
    #[must_use]
    pub const fn pressure_suspected(&self) -> bool {
        self.reasons.contains(Reason::Pressure)
    }

    /// Why the sensor is trusted less.
    #[must_use]
    pub const fn reasons(&self) -> Reasons {
        self.reasons
    }

    /// How far the sensor is trusted.
    #[must_use]
    pub fn grade(&self) -> Grade {
        self.reasons.grade()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_verdict_has_its_name_and_does_what_the_table_says() {
        for (verdict, name, admitted, kept, believed) in [
            (Verdict::Accepted, "accepted", true, true, true),
            (Verdict::Late, "late", false, true, false),
            (Verdict::Duplicate, "duplicate", false, false, false),
            (Verdict::BadTime, "bad_time", false, false, false),
            (Verdict::ClockSet, "clock_set", true, true, true),
            (Verdict::OutOfRange, "out_of_range", false, false, false),
            (Verdict::WarmUp, "warm_up", false, true, false),
            (Verdict::Fault, "fault", false, false, false),
            (Verdict::Jump, "jump", true, true, false),
            (Verdict::Stuck, "stuck", true, true, true),
            (Verdict::Pressure, "pressure", true, true, true),
        ] {
            assert_eq!(verdict.name(), name);
            let does = (verdict.is_admitted(), verdict.is_kept(), verdict.is_believed());
            assert_eq!(does, (admitted, kept, believed), "{name}");
        }
    }
}
