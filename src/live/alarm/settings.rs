//! One person's settings of every alarm, and their ranges.

use super::kind::{Kind, LimitUnit};
use super::ring::Priority;
use crate::error::{Error, ErrorKind};
use crate::units::{FLOOR_MG_DL, Span};

/// The longest snooze of the floor, and how long an acknowledgement silences it.
pub const FLOOR_QUIET: Span = Span::from_mins(30);
/// The longest snooze of the low alarm, and the longest that its settings may make it wait, pause or be quiet.
pub const LOW_QUIET: Span = Span::from_mins(30);
/// The longest snooze of any other alarm.
pub const LONGEST_SNOOZE: Span = Span::from_hours(8);

/// How one alarm behaves.
///
/// | kind | unit of `limit` and `hysteresis` | range of `limit` |
/// | --- | --- | --- |
/// | low | mg/dL | 56 to 120 |
/// | high | mg/dL | 120 to 400 |
/// | low ahead | probability of a low | 0.05 to 0.95 |
/// | steep fall, steep rise | mg/dL per minute, without sign | 0.5 to 10 |
/// | no data | minutes | 5 to 240 |
/// | doubt | none: 0 | 0 |
/// | wear end | hours left | 0 to 72 |
///
/// `hysteresis` is 0 to 60 (of a probability 0 to 0.5), the spans are 0 to 24 h. While it is on, the low alarm's
/// delay and quiet are 30 min at most, and its repeat 1 to 30 min: no settings make a low silent for longer.
///
/// # Examples
/// ```
/// use glidepath::alarm::{AlarmSettings, Priority, Rule};
/// use glidepath::Span;
/// let high = AlarmSettings::default().high;
/// let patient = Rule { limit: 300.0, delay: Span::from_mins(45), priority: Priority::Low, ..high };
/// assert!(AlarmSettings { high: patient, ..AlarmSettings::default() }.checked().is_ok());
/// let refused = AlarmSettings { high: Rule { limit: 900.0, ..high }, ..AlarmSettings::default() }.checked();
/// assert_eq!(refused.map_err(|error| error.parameter()), Err("high"));
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Rule {
    /// Whether it rings at all.
    pub on: bool,
    /// It holds at or beyond this, in the unit of the table above.
    pub limit: f32,
    /// It is armed anew when further than this on the good side of the limit, in the same unit.
    pub hysteresis: f32,
    /// It must hold this long before it rings.
    pub delay: Span,
    /// It rings again this long after the last ring while it holds unacknowledged; zero: only once.
    pub repeat: Span,
    /// An acknowledgement silences it until this long after its last ring while it holds.
    pub quiet: Span,
    /// Unacknowledged this long after its first ring, it rings one priority higher; zero: never.
    pub escalate: Span,
    /// How urgent it is.
    pub priority: Priority,
}

const OFF: Span = Span::ZERO;

impl Rule {
    pub(super) const FLOOR: Self = Self {
        on: true,
        limit: FLOOR_MG_DL,
        hysteresis: 5.0,
        delay: OFF,
        repeat: Span::from_mins(5),
        quiet: FLOOR_QUIET,
        escalate: OFF,
        priority: Priority::High,
    };
    pub(super) const LOW: Self = Self {
        on: true,
        limit: 70.0,
        hysteresis: 5.0,
        delay: OFF,
        repeat: Span::from_mins(15),
        quiet: Span::from_mins(30),
        escalate: Span::from_mins(15),
        priority: Priority::Medium,
    };
    pub(super) const LOW_AHEAD: Self = Self {
        on: true,
        limit: 0.3,
        hysteresis: 0.1,
        delay: OFF,
        repeat: OFF,
        quiet: Span::from_mins(30),
        escalate: OFF,
        priority: Priority::Medium,
    };
    pub(super) const STEEP: Self = Self {
        on: false,
        limit: 3.0,
        hysteresis: 0.5,
        delay: OFF,
        repeat: OFF,
        quiet: Span::from_mins(30),
        escalate: OFF,
        priority: Priority::Low,
    };
    pub(super) const NO_DATA: Self = Self {
        on: true,
        limit: 20.0,
        hysteresis: 0.0,
        delay: OFF,
        repeat: Span::from_mins(30),
        quiet: Span::from_hours(1),
        escalate: OFF,
        priority: Priority::Medium,
    };
    pub(super) const HIGH: Self = Self {
        on: true,
        limit: 250.0,
        hysteresis: 15.0,
        delay: Span::from_mins(15),
        repeat: Span::from_hours(1),
        quiet: Span::from_hours(2),
        escalate: OFF,
        priority: Priority::Low,
    };
    pub(super) const DOUBT: Self = Self {
        on: true,
        limit: 0.0,
        hysteresis: 0.0,
        delay: Span::from_mins(10),
        repeat: Span::from_hours(1),
        quiet: Span::from_hours(2),
        escalate: OFF,
        priority: Priority::Low,
    };
    pub(super) const WEAR_END: Self = Self {
        on: true,
        limit: 12.0,
        hysteresis: 0.0,
        delay: OFF,
        repeat: OFF,
        quiet: Span::from_hours(12),
        escalate: OFF,
        priority: Priority::Low,
    };

    fn checked(&self, kind: Kind) -> Result<(), Error> {
        let about = kind.about();
        let (least, greatest) = about.limits;
        let widest = if about.unit == LimitUnit::Probability { 0.5 } else { 60.0 };
        let sound = |value: f32, low: f32, high: f32| (low..=high).contains(&value);
        let within = |span: Span, least: Span, most: Span| span >= least && span <= most;
        let day = Span::from_hours(24);
        let spans = if kind == Kind::Low && self.on {
            within(self.delay, OFF, LOW_QUIET)
                && within(self.quiet, OFF, LOW_QUIET)
                && within(self.repeat, Span::from_mins(1), LOW_QUIET)
        } else {
            [self.delay, self.repeat, self.quiet].iter().all(|span| within(*span, OFF, day))
        };
        if sound(self.limit, least, greatest)
            && sound(self.hysteresis, 0.0, widest)
            && spans
            && within(self.escalate, OFF, day)
        {
            Ok(())
        } else {
            Err(Error::new(kind.name(), ErrorKind::OutOfRange))
        }
    }
}

/// The settings of all alarms but the floor, which has none. 232 bytes.
///
/// The defaults are for a person who wants few alarms, each worth waking for; they are ours and no advice.
///
/// # Examples
/// ```
/// use glidepath::alarm::{AlarmSettings, Rule};
/// let standard = AlarmSettings::default();
/// let settings = AlarmSettings { low: Rule { limit: 80.0, ..standard.low }, ..standard };
/// assert!(settings.checked().is_ok());
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct AlarmSettings {
    /// Glucose at or under the limit.
    pub low: Rule,
    /// The probability of a low at or over the limit.
    pub low_ahead: Rule,
    /// Falling at the limit or faster.
    pub steep_fall: Rule,
    /// Silent for the limit or longer.
    pub no_data: Rule,
    /// Glucose at or over the limit.
    pub high: Rule,
    /// Rising at the limit or faster.
    pub steep_rise: Rule,
    /// The sensor is not to be believed.
    pub doubt: Rule,
    /// The planned end is as near as the limit or nearer.
    pub wear_end: Rule,
    /// An alarm whose value moves back this fast, mg/dL per minute (0.2 to 5), does not repeat; floor and low
    /// do. Default 1.
    pub recovering: f32,
    /// How much longer the low alarm waits while pressure on the sensor is suspected (0 to 30 min).
    /// Default 20 min. It never holds back the floor.
    pub pressure_hold: Span,
}

impl Default for AlarmSettings {
    fn default() -> Self {
        const STANDARD: AlarmSettings = AlarmSettings {
            low: Rule::LOW,
            low_ahead: Rule::LOW_AHEAD,
            steep_fall: Rule::STEEP,
            no_data: Rule::NO_DATA,
            high: Rule::HIGH,
            steep_rise: Rule::STEEP,
            doubt: Rule::DOUBT,
            wear_end: Rule::WEAR_END,
            recovering: 1.0,
            pressure_hold: Span::from_mins(20),
        };
        STANDARD
    }
}

impl AlarmSettings {
    /// The settings, if all are within their ranges.
    ///
    /// # Errors
    /// Names the alarm, `recovering` or `pressure_hold`. The high limit must clear the low one by more than
    /// both hystereses, or the two would hold each other awake.
    pub fn checked(self) -> Result<Self, Error> {
        for kind in Kind::ALL {
            self.rule(kind).checked(kind)?;
        }
        crate::error::in_range("recovering", self.recovering, 0.2, 5.0)?;
        if self.pressure_hold < Span::ZERO || self.pressure_hold > Span::from_mins(30) {
            return Err(Error::new("pressure_hold", ErrorKind::OutOfRange));
        }
        if self.low.limit + self.low.hysteresis >= self.high.limit - self.high.hysteresis {
            return Err(Error::new("high", ErrorKind::Inconsistent));
        }
        Ok(self)
    }
}
