//! Why a sensor is trusted less, and how far it is trusted then.

/// Why the sensor is trusted less.
///
/// Features: `serde` gives `Serialize` and `Deserialize`, `defmt` gives `Format`.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize), serde(rename_all = "snake_case"))]
#[repr(u8)]
#[non_exhaustive]
pub enum Reason {
    /// It warms up.
    WarmUp = 0,
    /// It is in its first day.
    FirstDay = 1,
    /// It is past its planned end.
    PastEnd = 2,
    /// Its noise is well above the expected.
    Noise = 3,
    /// Its last value jumped.
    Jump = 4,
    /// Its values do not move.
    Stuck = 5,
    /// Readings were missed in the last hour.
    Gap = 6,
    /// It is suspected to be pressed on.
    Pressure = 7,
    /// Fingersticks disagree with it.
    Fingersticks = 8,
    /// Fingersticks lie to one side of it: it drifts.
    Drift = 9,
    /// A second sensor disagrees with it.
    SecondSensor = 10,
    /// The sensor itself reports doubt or a fault.
    SensorStatus = 11,
}

/// In words: `fingersticks disagree`.
impl core::fmt::Display for Reason {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        f.pad(match self {
            Self::WarmUp => "the sensor warms up",
            Self::FirstDay => "the sensor's first day",
            Self::PastEnd => "past its planned end",
            Self::Noise => "noisy",
            Self::Jump => "the last value jumped",
            Self::Stuck => "the value does not move",
            Self::Gap => "readings were missed",
            Self::Pressure => "the sensor may be pressed on",
            Self::Fingersticks => "fingersticks disagree",
            Self::Drift => "fingersticks say that it drifts",
            Self::SecondSensor => "a second sensor disagrees",
            Self::SensorStatus => "the sensor doubts itself",
        })
    }
}

impl Reason {
    /// A fixed name for files and logs.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::WarmUp => "warm_up",
            Self::FirstDay => "first_day",
            Self::PastEnd => "past_end",
            Self::Noise => "noise",
            Self::Jump => "jump",
            Self::Stuck => "stuck",
            Self::Gap => "gap",
            Self::Pressure => "pressure",
            Self::Fingersticks => "fingersticks",
            Self::Drift => "drift",
            Self::SecondSensor => "second_sensor",
            Self::SensorStatus => "sensor_status",
        }
    }

    /// All of them.
    pub const ALL: [Self; 12] = [
        Self::WarmUp,
        Self::FirstDay,
        Self::PastEnd,
        Self::Noise,
        Self::Jump,
        Self::Stuck,
        Self::Gap,
        Self::Pressure,
        Self::Fingersticks,
        Self::Drift,
        Self::SecondSensor,
        Self::SensorStatus,
    ];

    /// The best grade this reason leaves.
    const fn leaves(self) -> Grade {
        match self {
            Self::FirstDay | Self::PastEnd | Self::Gap | Self::Noise | Self::Drift => Grade::Fair,
            Self::Jump | Self::Pressure | Self::Fingersticks | Self::SecondSensor | Self::SensorStatus => {
                Grade::Poor
            }
            Self::WarmUp | Self::Stuck => Grade::Unusable,
        }
    }
}

/// A set of [`Reason`]s. 2 bytes.
///
/// In a file (feature `serde`) they are a list of their names.
///
/// Features: `serde` gives `Serialize` and `Deserialize`, `defmt` gives `Format`.
///
/// # Examples
/// ```
/// use glidepath::quality::{Grade, Reason, Reasons};
/// /// What to write beside the value.
/// fn note(reasons: Reasons) -> &'static str {
///     match reasons.grade() {
///         Grade::Good => "",
///         _ if reasons.contains(Reason::Pressure) => "pressed on?",
///         Grade::Fair => "with reserve",
///         Grade::Poor => "check with a fingerstick",
///         Grade::Unusable => "not to be used",
///     }
/// }
/// assert_eq!(note(Reasons::default()), "");
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Default)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Reasons(u16);

impl Reasons {
    pub(super) const fn set(&mut self, reason: Reason, holds: bool) {
        if holds {
            self.0 |= 1 << (reason as u16);
        }
    }

    /// Whether `reason` is among them.
    #[must_use]
    pub const fn contains(self, reason: Reason) -> bool {
        self.0 & (1 << (reason as u16)) != 0
    }

    /// Those that are among both.
    pub(crate) const fn shared(self, other: Self) -> Self {
        Self(self.0 & other.0)
    }

    /// The same and `reason`.
    pub(crate) const fn with(mut self, reason: Reason) -> Self {
        self.set(reason, true);
        self
    }

    /// Whether there is none.
    #[must_use]
    pub const fn is_empty(self) -> bool {
        self.0 == 0
    }

    /// Each of them.
    pub fn iter(self) -> impl Iterator<Item = Reason> {
        Reason::ALL.into_iter().filter(move |reason| self.contains(*reason))
    }

    /// Whether they say that the sensor's values are not to be believed: stuck, or at odds with fingersticks or
    /// a second sensor.
    #[must_use]
    pub const fn are_disqualifying(self) -> bool {
        self.contains(Reason::Stuck)
            || self.contains(Reason::Fingersticks)
            || self.contains(Reason::SecondSensor)
    }

    /// The best grade that they leave together: the worst one by one.
    #[must_use]
    pub fn grade(self) -> Grade {
        self.iter().map(Reason::leaves).min().unwrap_or(Grade::Good)
    }
}

#[cfg(feature = "serde")]
impl serde::Serialize for Reasons {
    fn serialize<S: serde::Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        to.collect_seq(self.iter())
    }
}

#[cfg(feature = "serde")]
impl<'de> serde::Deserialize<'de> for Reasons {
    fn deserialize<D: serde::Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
        struct Names;
        impl<'de> serde::de::Visitor<'de> for Names {
            type Value = Reasons;

            fn expecting(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
                f.write_str("a list of reasons")
            }

            fn visit_seq<A: serde::de::SeqAccess<'de>>(self, mut seq: A) -> Result<Reasons, A::Error> {
                let mut reasons = Reasons::default();
                while let Some(reason) = seq.next_element()? {
                    reasons.set(reason, true);
                }
                Ok(reasons)
            }
        }
        from.deserialize_seq(Names)
    }
}

/// How far the sensor is to be trusted now, worst first.
///
/// Features: `serde` gives `Serialize` and `Deserialize`, `defmt` gives `Format`.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize), serde(rename_all = "snake_case"))]
pub enum Grade {
    /// Not at all: it warms up or does not move.
    Unusable,
    /// Confirm with a fingerstick before relying on it.
    Poor,
    /// With reserve.
    Fair,
    /// Nothing against it.
    Good,
}

/// In words: `fair`.
impl core::fmt::Display for Grade {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        f.pad(self.name())
    }
}

impl Grade {
    /// A fixed name for files and logs.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Unusable => "unusable",
            Self::Poor => "poor",
            Self::Fair => "fair",
            Self::Good => "good",
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_worst_reason_sets_the_grade() {
        let mut reasons = Reasons::default();
        assert_eq!(reasons.grade(), Grade::Good);
        for (reason, grade) in
            [(Reason::Noise, Grade::Fair), (Reason::Pressure, Grade::Poor), (Reason::Stuck, Grade::Unusable)]
        {
            reasons.set(reason, true);
            assert_eq!(reasons.grade(), grade);
        }
        reasons.set(Reason::Gap, false);
        assert!(!reasons.contains(Reason::Gap));
        assert_eq!(reasons.iter().count(), 3);
    }

    #[test]
    fn every_reason_has_its_own_bit_and_its_place_in_the_list() {
        for (place, reason) in Reason::ALL.into_iter().enumerate() {
            assert_eq!(reason as usize, place);
        }
    }

    #[test]
    fn each_reason_has_its_name_its_grade_and_says_whether_to_believe() {
        for (reason, name, grade, disbelieve) in [
            (Reason::WarmUp, "warm_up", Grade::Unusable, false),
            (Reason::FirstDay, "first_day", Grade::Fair, false),
            (Reason::PastEnd, "past_end", Grade::Fair, false),
            (Reason::Noise, "noise", Grade::Fair, false),
            (Reason::Jump, "jump", Grade::Poor, false),
            (Reason::Stuck, "stuck", Grade::Unusable, true),
            (Reason::Gap, "gap", Grade::Fair, false),
            (Reason::Pressure, "pressure", Grade::Poor, false),
            (Reason::Fingersticks, "fingersticks", Grade::Poor, true),
            (Reason::Drift, "drift", Grade::Fair, false),
            (Reason::SecondSensor, "second_sensor", Grade::Poor, true),
            (Reason::SensorStatus, "sensor_status", Grade::Poor, false),
        ] {
            let mut reasons = Reasons::default();
            assert!(reasons.is_empty() && !reasons.are_disqualifying());
            reasons.set(reason, true);
            assert!(!reasons.is_empty() && reasons.iter().eq([reason]));
            assert_eq!(
                (reason.name(), reasons.grade(), reasons.are_disqualifying()),
                (name, grade, disbelieve)
            );
        }
        let names = [Grade::Unusable, Grade::Poor, Grade::Fair, Grade::Good].map(Grade::name);
        assert_eq!(names, ["unusable", "poor", "fair", "good"]);
    }
}
