//! What can ring: one table says everything about a kind of alarm.

use super::settings::Limit;
use crate::error::{Error, in_range};
use crate::math;
use crate::units::{FLOOR_MG_DL, Glucose, Probability, Rate, Span};

/// The alarms, most telling first.
///
/// Features: `serde` gives `Serialize` and `Deserialize`, `defmt` gives `Format`.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize), serde(rename_all = "snake_case"))]
#[repr(u8)]
pub enum Kind {
    /// Glucose is at or under [`FLOOR_MG_DL`](super::FLOOR_MG_DL). It cannot be off.
    Floor = 0,
    /// Glucose is at or under the low limit.
    Low = 1,
    /// A low is ahead: it is as likely as the limit or likelier.
    LowAhead = 2,
    /// Glucose falls at the limit or faster.
    SteepFall = 3,
    /// Nothing new from the sensor for longer than the limit, or nothing at all since power-on.
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

/// What the limit of a [`Rule`](crate::alarm::Rule) counts.
///
/// Feature `defmt` gives `Format`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub enum LimitUnit {
    /// mg/dL.
    Glucose,
    /// mg/dL per minute, without sign.
    Rate,
    /// A probability, 0 to 1.
    Probability,
    /// Minutes.
    Minutes,
    /// Nothing: there is no limit.
    None,
}

impl LimitUnit {
    /// In words, for files and help.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Glucose => "mg/dL",
            Self::Rate => "mg/dL/min",
            Self::Probability => "probability",
            Self::Minutes => "min",
            Self::None => "",
        }
    }

    /// The limit that a number in this unit stands for.
    ///
    /// # Errors
    /// When the number is none, or cannot be one of these at all (a probability above 1, minutes beyond 1,000,000).
    #[expect(clippy::cast_possible_truncation, reason = "in range")]
    pub fn limit(self, number: f32) -> Result<Limit, Error> {
        Ok(match self {
            Self::Glucose => Limit::Glucose(Glucose::from_mg_dl(number)?),
            Self::Rate => Limit::Rate(Rate::from_mg_dl_per_min(number)?),
            Self::Probability => Limit::Probability(Probability::new(number)?),
            Self::Minutes => {
                let minutes = in_range("limit", number, -1e6, 1e6)?;
                Limit::Span(Span::from_secs(math::round(minutes * 60.0) as i32))
            }
            Self::None => Limit::None,
        })
    }
}

/// Names, words and limits of a kind of alarm.
#[derive(Clone, Copy, Debug)]
#[non_exhaustive]
pub struct KindInfo {
    /// A fixed name for files, logs and settings.
    pub name: &'static str,
    /// What it says, in words for a person.
    pub message: &'static str,
    /// The same in at most ten capital letters, for a small display.
    pub title: &'static str,
    /// The same to be spoken after the word "alarm".
    pub spoken: &'static str,
    /// The unit of its limit.
    pub unit: LimitUnit,
    /// The least and the greatest limit, in that unit.
    pub limits: (f32, f32),
    /// Whether it decides by a glucose value, which can be stale.
    pub needs_value: bool,
    /// Whether it warns of a low: of these, one rings for all, and none has a lower priority than a milder one has rung at.
    pub warns_of_low: bool,
}

/// What it says to a person: `glucose is low`.
impl core::fmt::Display for Kind {
    fn fmt(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        f.pad(self.message())
    }
}

impl Kind {
    /// All of them. Of two with the same priority the earlier one is shown and sounded.
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

    /// How many there are.
    pub const COUNT: usize = Self::ALL.len();

    /// Its names, words and limits.
    #[must_use]
    pub const fn info(self) -> &'static KindInfo {
        match self {
            Self::Floor => &KindInfo {
                name: "floor",
                message: "glucose is very low",
                title: "VERY LOW",
                spoken: "very low",
                unit: LimitUnit::Glucose,
                limits: (FLOOR_MG_DL, FLOOR_MG_DL),
                needs_value: true,
                warns_of_low: true,
            },
            Self::Low => &KindInfo {
                name: "low",
                message: "glucose is low",
                title: "LOW",
                spoken: "low",
                unit: LimitUnit::Glucose,
                limits: (56.0, 120.0),
                needs_value: true,
                warns_of_low: true,
            },
            Self::LowAhead => &KindInfo {
                name: "low_ahead",
                message: "a low is ahead",
                title: "LOW AHEAD",
                spoken: "low ahead",
                unit: LimitUnit::Probability,
                limits: (0.05, 0.95),
                needs_value: true,
                warns_of_low: true,
            },
            Self::SteepFall => &KindInfo {
                name: "steep_fall",
                message: "glucose falls fast",
                title: "FALLS FAST",
                spoken: "falls fast",
                unit: LimitUnit::Rate,
                limits: (0.5, 10.0),
                needs_value: true,
                warns_of_low: true,
            },
            Self::NoData => &KindInfo {
                name: "no_data",
                message: "no readings",
                title: "NO READING",
                spoken: "no readings",
                unit: LimitUnit::Minutes,
                limits: (5.0, 240.0),
                needs_value: false,
                warns_of_low: false,
            },
            Self::High => &KindInfo {
                name: "high",
                message: "glucose is high",
                title: "HIGH",
                spoken: "high",
                unit: LimitUnit::Glucose,
                limits: (120.0, 400.0),
                needs_value: true,
                warns_of_low: false,
            },
            Self::SteepRise => &KindInfo {
                name: "steep_rise",
                message: "glucose rises fast",
                title: "RISES FAST",
                spoken: "rises fast",
                unit: LimitUnit::Rate,
                limits: (0.5, 10.0),
                needs_value: true,
                warns_of_low: false,
            },
            Self::Doubt => &KindInfo {
                name: "doubt",
                message: "do not rely on the sensor: check with a fingerstick",
                title: "CHECK IT",
                spoken: "check the sensor with a fingerstick",
                unit: LimitUnit::None,
                limits: (0.0, 0.0),
                needs_value: false,
                warns_of_low: false,
            },
            Self::WearEnd => &KindInfo {
                name: "wear_end",
                message: "the sensor's planned end is near",
                title: "ENDS SOON",
                spoken: "the sensor ends soon",
                unit: LimitUnit::Minutes,
                limits: (0.0, 4320.0),
                needs_value: false,
                warns_of_low: false,
            },
        }
    }

    /// A fixed name for files and logs.
    #[must_use]
    pub const fn name(self) -> &'static str {
        self.info().name
    }

    /// What it says, in words for a person.
    #[must_use]
    pub const fn message(self) -> &'static str {
        self.info().message
    }

    /// Those that need a value and those that warn of a low, worked out beforehand: who asks [`info`](Self::info) at run time
    /// links all its words.
    const SETS: (Kinds, Kinds) = {
        let (mut needs_value, mut warns_of_low, mut kinds) = (Kinds(0), Kinds(0), Self::ALL.as_slice());
        while let [kind, rest @ ..] = kinds {
            let info = kind.info();
            if info.needs_value {
                needs_value.0 |= kind.bit();
            }
            if info.warns_of_low {
                warns_of_low.0 |= kind.bit();
            }
            kinds = rest;
        }
        (needs_value, warns_of_low)
    };

    /// As in its information.
    pub(super) const fn needs_value(self) -> bool {
        Self::SETS.0.contains(self)
    }

    /// As in its information.
    pub(super) const fn warns_of_low(self) -> bool {
        Self::SETS.1.contains(self)
    }

    pub(super) const fn bit(self) -> u16 {
        1 << (self as u16)
    }
}

/// A set of alarms. 2 bytes.
///
/// Feature `defmt` gives `Format`.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Kinds(pub(super) u16);

const _: () = assert!(Kind::COUNT <= 16, "kinds are kept as bits of 16");

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

    pub(super) fn of(kinds: impl Iterator<Item = Kind>) -> Self {
        Self(kinds.fold(0, |set, kind| set | kind.bit()))
    }
}

#[cfg(test)]
mod tests {
    use super::super::settings::AlarmSettings;
    use super::*;

    #[test]
    fn every_kind_has_its_own_place_name_and_words() {
        for (place, kind) in Kind::ALL.into_iter().enumerate() {
            assert_eq!(kind as usize, place);
            let about = kind.info();
            assert!(about.title.len() <= 10 && !about.message.is_empty() && !about.spoken.is_empty());
            let rule = AlarmSettings::default().rule(kind);
            let limit = rule.limit.number();
            assert!(limit >= about.limits.0 && limit <= about.limits.1);
            let unit = match rule.limit {
                Limit::Glucose(_) => LimitUnit::Glucose,
                Limit::Rate(_) => LimitUnit::Rate,
                Limit::Probability(_) => LimitUnit::Probability,
                Limit::Span(_) => LimitUnit::Minutes,
                Limit::None => LimitUnit::None,
            };
            assert_eq!(unit, about.unit);
            assert_eq!(Kind::ALL.iter().filter(|other| other.name() == kind.name()).count(), 1);
        }
    }

    #[test]
    fn every_rule_is_changed_in_its_own_place() {
        for kind in Kind::ALL {
            let mut settings = AlarmSettings::default();
            let mut rule = settings.rule(kind);
            rule.on = !rule.on;
            if settings.set_rule(kind, rule).is_err() {
                assert_eq!((kind, settings), (Kind::Floor, AlarmSettings::default()));
                continue;
            }
            assert_eq!(settings.rule(kind), rule);
            rule.limit = Limit::Rate(crate::units::Rate::clamped(1.0));
            assert_eq!(
                settings.set_rule(kind, rule).is_ok(),
                matches!(kind, Kind::SteepFall | Kind::SteepRise)
            );
            for other in Kind::ALL {
                let same = settings.rule(other) == AlarmSettings::default().rule(other);
                assert_eq!(same, other != kind, "{kind:?} {other:?}");
            }
        }
    }
}
