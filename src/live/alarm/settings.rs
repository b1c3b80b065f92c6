//! One person's settings of every alarm, and their ranges.

use super::kind::{Kind, LimitUnit};
use super::ring::Priority;
use crate::error::{Error, ErrorKind, in_range};
use crate::units::{FLOOR_MG_DL, Glucose, Probability, Rate, Span};

/// The longest snooze of the floor, and how long an acknowledgement silences it.
pub const FLOOR_QUIET: Span = Span::from_mins(30);
/// The longest snooze of the low alarm, and the longest that its settings may make it wait, pause or be quiet.
pub const LOW_QUIET: Span = Span::from_mins(30);
/// The longest snooze of any other alarm.
pub const LONGEST_SNOOZE: Span = Span::from_hours(8);

/// The limit of an alarm of any kind: what it is depends on the kind.
///
/// Feature `defmt` gives `Format`.
///
/// # Examples
/// ```
/// use glidepath::alarm::{AlarmSettings, Kind, Limit};
/// let settings = AlarmSettings::default();
/// assert_eq!(settings.rule(Kind::Low).limit, Limit::Glucose(settings.low.limit));
/// assert_eq!(settings.rule(Kind::NoData).limit.number(), 20.0); // minutes
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub enum Limit {
    /// Of low, high and the floor.
    Glucose(Glucose),
    /// Of a steep fall or rise, without sign.
    Rate(Rate),
    /// Of a low ahead.
    Probability(Probability),
    /// Of silence, and of what is left to the sensor's planned end.
    Span(Span),
    /// A doubt has no limit.
    None,
}

impl Limit {
    /// In the unit that [`KindInfo::unit`](super::KindInfo::unit) names; 0 where there is none.
    #[must_use]
    pub const fn number(self) -> f32 {
        match self {
            Self::Glucose(glucose) => glucose.mg_dl(),
            Self::Rate(rate) => rate.mg_dl_per_min(),
            Self::Probability(probability) => probability.get(),
            Self::Span(span) => span.mins(),
            Self::None => 0.0,
        }
    }
}

/// How one alarm behaves. `L` is what its limit is: [`Glucose`], [`Rate`], [`Probability`], [`Span`], nothing (`()`), or
/// [`Limit`] where the kind is chosen at run time. To make one, take a default's
/// ([`AlarmSettings::rule`]) and change what is to be otherwise.
///
/// | kind | `limit` and `hysteresis` | range of `limit` | most of `hysteresis` |
/// | --- | --- | --- | --- |
/// | low | [`Glucose`] | 56 to 120 mg/dL | 60 |
/// | high | [`Glucose`] | 120 to 400 mg/dL | 60 |
/// | low ahead | [`Probability`] of a low | 0.05 to 0.95 | 0.5 |
/// | steep fall, steep rise | [`Rate`], without sign | 0.5 to 10 mg/dL per minute | 60 |
/// | no data | [`Span`] | 5 to 240 min | 60 |
/// | doubt | nothing | | |
/// | wear end | [`Span`] that is left | 0 to 72 h | 60 min |
///
/// The other spans are 0 to 24 h. While it is on, the low alarm's
/// delay and quiet are 30 min at most, and its repeat 1 to 30 min: no settings make a low silent for longer.
///
/// Feature `defmt` gives `Format`.
///
/// # Examples
/// ```
/// use glidepath::alarm::{AlarmSettings, Priority};
/// use glidepath::{Glucose, Span};
/// let mut settings = AlarmSettings::default();
/// settings.high.limit = Glucose::from_mmol_l(16.7)?;
/// (settings.high.delay, settings.high.priority) = (Span::from_mins(45), Priority::Low);
/// assert!(settings.checked().is_ok());
/// settings.high.limit = Glucose::from_mg_dl(900.0)?;
/// let refused = settings.checked().unwrap_err();
/// assert_eq!((refused.section(), refused.parameter(), refused.range()), ("high", "limit", Some((120.0, 400.0))));
/// # Ok::<(), glidepath::Error>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub struct Rule<L> {
    /// Whether it rings at all.
    pub on: bool,
    /// It holds at or beyond this.
    pub limit: L,
    /// It is armed anew when further than this on the good side of the limit.
    pub hysteresis: L,
    /// It must be at the limit, or within the hysteresis, this long before it rings.
    pub delay: Span,
    /// It rings again this long after the last ring while it holds unacknowledged; zero: only once.
    pub repeat: Span,
    /// An acknowledgement silences it until this long after its last ring while it holds. Rules of a value other than
    /// floor and low are not new again sooner.
    pub quiet: Span,
    /// Unacknowledged this long after its first ring, it rings one priority higher; zero: never.
    pub escalate: Span,
    /// How urgent it is.
    pub priority: Priority,
}

/// The range of the pace at which a value recovers, mg/dL per minute.
pub(super) const RECOVERING: (f32, f32) = (0.2, 5.0);

const OFF: Span = Span::ZERO;

pub(super) const FLOOR: Rule<Glucose> = Rule {
    on: true,
    limit: Glucose::clamped(FLOOR_MG_DL),
    hysteresis: Glucose::clamped(5.0),
    delay: OFF,
    repeat: Span::from_mins(5),
    quiet: FLOOR_QUIET,
    escalate: OFF,
    priority: Priority::High,
};
const LOW: Rule<Glucose> = Rule {
    on: true,
    limit: Glucose::clamped(70.0),
    hysteresis: Glucose::clamped(5.0),
    delay: OFF,
    repeat: Span::from_mins(15),
    quiet: Span::from_mins(30),
    escalate: Span::from_mins(15),
    priority: Priority::Medium,
};
pub(super) const LOW_AHEAD: Rule<Probability> = Rule {
    on: true,
    limit: Probability::clamped(0.36),
    hysteresis: Probability::clamped(0.22),
    delay: Span::from_mins(4),
    repeat: OFF,
    quiet: Span::from_hours(1),
    escalate: OFF,
    priority: Priority::Medium,
};
const STEEP: Rule<Rate> = Rule {
    on: false,
    limit: Rate::clamped(3.0),
    hysteresis: Rate::clamped(0.5),
    delay: OFF,
    repeat: OFF,
    quiet: Span::from_mins(30),
    escalate: OFF,
    priority: Priority::Low,
};
const NO_DATA: Rule<Span> = Rule {
    on: true,
    limit: Span::from_mins(20),
    hysteresis: OFF,
    delay: OFF,
    repeat: Span::from_mins(30),
    quiet: Span::from_hours(2),
    escalate: OFF,
    priority: Priority::Medium,
};
const HIGH: Rule<Glucose> = Rule {
    on: true,
    limit: Glucose::clamped(250.0),
    hysteresis: Glucose::clamped(15.0),
    delay: Span::from_mins(30),
    repeat: Span::from_hours(1),
    quiet: Span::from_hours(3),
    escalate: OFF,
    priority: Priority::Low,
};
const DOUBT: Rule<()> = Rule {
    on: true,
    limit: (),
    hysteresis: (),
    delay: Span::from_mins(10),
    repeat: Span::from_hours(1),
    quiet: Span::from_hours(2),
    escalate: OFF,
    priority: Priority::Low,
};
const WEAR_END: Rule<Span> = Rule {
    on: true,
    limit: Span::from_hours(12),
    hysteresis: OFF,
    delay: OFF,
    repeat: OFF,
    quiet: Span::from_hours(12),
    escalate: OFF,
    priority: Priority::Low,
};

impl<L: Copy> Rule<L> {
    /// The same rule with limits of another type.
    pub(super) fn map<M>(&self, change: impl Fn(L) -> M) -> Rule<M> {
        self.with(change(self.limit), change(self.hysteresis))
    }

    /// The same rule with this limit and hysteresis.
    fn with<M>(&self, limit: M, hysteresis: M) -> Rule<M> {
        let Self { on, delay, repeat, quiet, escalate, priority, .. } = *self;
        Rule { on, limit, hysteresis, delay, repeat, quiet, escalate, priority }
    }
}

impl Rule<f32> {
    /// Whether all is in range for `kind`; else an error that names the field.
    pub(super) fn checked(&self, kind: Kind) -> Result<(), Error> {
        let about = kind.info();
        let (least, greatest) = about.limits;
        in_range("limit", self.limit, least, greatest)?;
        let widest = match about.unit {
            LimitUnit::None => 0.0,
            LimitUnit::Probability => 0.5,
            LimitUnit::Glucose | LimitUnit::Rate | LimitUnit::Minutes => 60.0,
        };
        in_range("hysteresis", self.hysteresis, 0.0, widest)?;
        let day = Span::from_hours(24);
        let (shortest, longest) =
            if kind == Kind::Low && self.on { (Span::from_mins(1), LOW_QUIET) } else { (OFF, day) };
        self.delay.within("delay", OFF, longest)?;
        self.repeat.within("repeat", shortest, longest)?;
        self.quiet.within("quiet", OFF, longest)?;
        self.escalate.within("escalate", OFF, day)?;
        Ok(())
    }
}

/// The settings of all alarms but the floor, which has none. 224 bytes.
///
/// The defaults are for a person who wants few alarms, each worth waking for; they are ours and no advice.
///
/// Features: `serde` gives `Serialize` and `Deserialize`, `defmt` gives `Format`.
///
/// # Examples
/// ```
/// use glidepath::Glucose;
/// use glidepath::alarm::AlarmSettings;
/// let mut settings = AlarmSettings::default();
/// settings.low.limit = Glucose::from_mg_dl(80.0)?;
/// assert!(settings.checked().is_ok());
/// # Ok::<(), glidepath::Error>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub struct AlarmSettings {
    /// Glucose at or under the limit.
    pub low: Rule<Glucose>,
    /// The probability of a low at or over the limit.
    pub low_ahead: Rule<Probability>,
    /// Falling at the limit or faster.
    pub steep_fall: Rule<Rate>,
    /// Silent for the limit or longer.
    pub no_data: Rule<Span>,
    /// Glucose at or over the limit.
    pub high: Rule<Glucose>,
    /// Rising at the limit or faster.
    pub steep_rise: Rule<Rate>,
    /// The sensor is not to be believed.
    pub doubt: Rule<()>,
    /// The planned end is as near as the limit or nearer.
    pub wear_end: Rule<Span>,
    /// An alarm whose value moves back this fast (0.2 to 5 mg/dL per minute) does not repeat; floor and low
    /// do. Default 1.
    pub recovering: Rate,
    /// How much longer the low alarm waits while pressure on the sensor is suspected (0 to 30 min).
    /// Default 20 min. It never holds back the floor.
    pub pressure_hold: Span,
}

impl Default for AlarmSettings {
    fn default() -> Self {
        const STANDARD: AlarmSettings = AlarmSettings {
            low: LOW,
            low_ahead: LOW_AHEAD,
            steep_fall: STEEP,
            no_data: NO_DATA,
            high: HIGH,
            steep_rise: STEEP,
            doubt: DOUBT,
            wear_end: WEAR_END,
            recovering: Rate::clamped(1.0),
            pressure_hold: Span::from_mins(20),
        };
        STANDARD
    }
}

impl AlarmSettings {
    /// The settings, if all are within their ranges.
    ///
    /// # Errors
    /// Names the field, and its alarm ([`Error::section`]). The high limit must clear the low one by more than
    /// both hystereses, or the two would keep each other active.
    pub fn checked(self) -> Result<Self, Error> {
        for kind in Kind::ALL {
            self.bare(kind).checked(kind).map_err(|error| error.of(kind.name()))?;
        }
        in_range("recovering", self.recovering.mg_dl_per_min(), RECOVERING.0, RECOVERING.1)?;
        self.pressure_hold.within("pressure_hold", OFF, Span::from_mins(30))?;
        let (low, high) = (self.bare(Kind::Low), self.bare(Kind::High));
        if low.limit + low.hysteresis >= high.limit - high.hysteresis {
            return Err(Error::new("limit", ErrorKind::Inconsistent).of("high"));
        }
        Ok(self)
    }

    /// The rule of `kind`; the floor's is fixed.
    #[must_use]
    pub fn rule(&self, kind: Kind) -> Rule<Limit> {
        match kind {
            Kind::Floor => FLOOR.map(Limit::Glucose),
            Kind::Low => self.low.map(Limit::Glucose),
            Kind::LowAhead => self.low_ahead.map(Limit::Probability),
            Kind::SteepFall => self.steep_fall.map(Limit::Rate),
            Kind::NoData => self.no_data.map(Limit::Span),
            Kind::High => self.high.map(Limit::Glucose),
            Kind::SteepRise => self.steep_rise.map(Limit::Rate),
            Kind::Doubt => self.doubt.map(|()| Limit::None),
            Kind::WearEnd => self.wear_end.map(Limit::Span),
        }
    }

    /// Another rule for `kind`. Whether its numbers are in range is found by [`checked`](Self::checked).
    ///
    /// # Errors
    /// When the limit or the hysteresis is not what this kind's is, and for the floor, whose rule is fixed: nothing changed.
    pub fn set_rule(&mut self, kind: Kind, rule: Rule<Limit>) -> Result<(), Error> {
        match (kind, rule.limit, rule.hysteresis) {
            (Kind::Low, Limit::Glucose(limit), Limit::Glucose(wide)) => self.low = rule.with(limit, wide),
            (Kind::High, Limit::Glucose(limit), Limit::Glucose(wide)) => self.high = rule.with(limit, wide),
            (Kind::LowAhead, Limit::Probability(limit), Limit::Probability(wide)) => {
                self.low_ahead = rule.with(limit, wide);
            }
            (Kind::SteepFall, Limit::Rate(limit), Limit::Rate(wide)) => {
                self.steep_fall = rule.with(limit, wide);
            }
            (Kind::SteepRise, Limit::Rate(limit), Limit::Rate(wide)) => {
                self.steep_rise = rule.with(limit, wide);
            }
            (Kind::NoData, Limit::Span(limit), Limit::Span(wide)) => self.no_data = rule.with(limit, wide),
            (Kind::WearEnd, Limit::Span(limit), Limit::Span(wide)) => self.wear_end = rule.with(limit, wide),
            (Kind::Doubt, Limit::None, Limit::None) => self.doubt = rule.with((), ()),
            _ => return Err(Error::new("limit", ErrorKind::Inconsistent).of(kind.name())),
        }
        Ok(())
    }

    /// The rule of `kind` with bare numbers, spans in minutes: what every alarm is judged by alike.
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    #[cfg_attr(not(target_pointer_width = "32"), inline(always))]
    pub(super) fn bare(&self, kind: Kind) -> Rule<f32> {
        match kind {
            Kind::Floor => FLOOR.map(Glucose::mg_dl),
            Kind::Low => self.low.map(Glucose::mg_dl),
            Kind::LowAhead => self.low_ahead.map(Probability::get),
            Kind::SteepFall => self.steep_fall.map(Rate::mg_dl_per_min),
            Kind::NoData => self.no_data.map(Span::mins),
            Kind::High => self.high.map(Glucose::mg_dl),
            Kind::SteepRise => self.steep_rise.map(Rate::mg_dl_per_min),
            Kind::Doubt => self.doubt.map(|()| 0.0),
            Kind::WearEnd => self.wear_end.map(Span::mins),
        }
    }
}
