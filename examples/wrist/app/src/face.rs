//! What there is to show, in ground-floor values; no screen, no board.

use crate::app::range;
use glidepath::alarm::{FLOOR_MG_DL, Ring, Trigger};
use glidepath::{Glucose, HistoryView, Instant, Rate, Span};

/// The range 70 to 180 mg/dL (Battelino et al. 2019); under it is low (level 1), over it high.
pub const RANGE_MG_DL: [f32; 2] = [70.0, 180.0];

/// The unit shown.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Default)]
pub enum Unit {
    /// mg/dL.
    #[default]
    MgDl,
    /// mmol/L.
    MmolL,
}

/// A value with its standard deviation.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Expected {
    /// How much.
    pub glucose: Glucose,
    /// Its standard deviation, mg/dL.
    pub sd_mg_dl: f32,
}

/// Beyond the sensor's range, only the range's end is known.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Bound {
    /// The end or less.
    AtMost,
    /// The end or more.
    AtLeast,
}

/// A value to show large.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Now {
    /// How much.
    pub glucose: Glucose,
    /// Set when only a bound is known.
    pub bound: Option<Bound>,
    /// Whether it is doubted: it then has a form of its own.
    pub doubted: bool,
    /// Rate of change with its standard deviation in mg/dL per minute; none when not known.
    pub rate: Option<(Rate, f32)>,
    /// Expected 20, 40 and 60 minutes from now.
    pub soon: Option<[Expected; 3]>,
    /// Minutes until a low is expected.
    pub low_in_min: Option<u16>,
}

impl Now {
    /// No sensor can tell how far under its range glucose is, and no estimate can.
    fn bounded(self) -> Self {
        let end = *range().start();
        if self.bound.is_none() && self.glucose < end {
            return Self { glucose: end, bound: Some(Bound::AtMost), rate: None, soon: None, ..self };
        }
        self
    }
}

/// How far the sensor is trusted.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Trust {
    /// Not at all.
    None,
    /// A little.
    Poor,
    /// With care.
    Fair,
    /// As sensors go.
    Good,
}

/// What matters most while no alarm asks for attention, for who wakes at night: one thing, to be read at a glance.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Matter {
    /// No reading has come yet.
    Nothing,
    /// A value is there, and nobody knows how old it is.
    Undated,
    /// The newest value is too old to be the present one.
    TooOld,
    /// No value is present, and this is in the way of the next one.
    Unheard(Unheard),
    /// At or under the floor that no setting moves.
    VeryLow {
        /// Whether the value is doubted.
        doubted: bool,
    },
    /// Under the range.
    Low {
        /// Whether the value is doubted.
        doubted: bool,
    },
    /// The value is doubted.
    Doubted,
    /// Minutes until a low is expected.
    LowIn(u16),
}

/// Why no sensor is listened to by radio, and so what the wearer can do about it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Unheard {
    /// None has been paired.
    NoSensor,
    /// The wearer asked for pairing, and it is open.
    PairingOpen,
    /// Pairing came to nothing: other digits, a no, or no answer.
    PairingFailed,
    /// It was to be paired with digits, and has none to compare.
    NoDigits,
    /// Who bears the paired sensor's address has not its key: the sensor has lost it, or it is another.
    KeyLost,
    /// A sensor that is not the paired one is near.
    Another,
}

/// Everything a screen, a voice or a vibration motor needs.
#[derive(Clone, Copy, Debug)]
pub struct Face<'a> {
    /// The present moment by the clock that stamps `history`; none while nobody knows how old that is.
    pub at: Option<Instant>,
    /// How long ago the newest believed reading was measured; none while nobody knows.
    pub age: Option<Span>,
    /// What the newest believed reading said.
    pub last: Option<Glucose>,
    /// The value to show as the present one.
    pub now: Option<Now>,
    /// The readings behind it.
    pub history: HistoryView<'a>,
    /// Trust in the sensor.
    pub trust: Trust,
    /// One or two words on the sensor, or nothing.
    pub note: &'static str,
    /// Of two sensors: that they disagree, which one is off or reads alone, or nothing.
    pub pair: &'static str,
    /// Why no sensor is listened to by radio; none when one is, or nothing is known to be in its way.
    pub unheard: Option<Unheard>,
    /// The battery's charge.
    pub battery_percent: Option<u8>,
    /// The alarm that asks for attention: its title, marks, words and number are all of this one ring.
    pub alert: Option<Ring>,
    /// The unit shown.
    pub unit: Unit,
}

/// A value older than this is not shown as the present one: two readings of a five-minute sensor missed.
pub const STALE: Span = Span::from_mins(11);

impl Face<'_> {
    /// The age of the newest believed reading in whole minutes.
    #[must_use]
    pub fn age_min(&self) -> Option<u32> {
        self.age.map(whole_minutes)
    }

    /// Whether it is young enough to be taken for the present one.
    fn is_young(&self) -> bool {
        self.age.is_some_and(|age| age < STALE)
    }

    /// The present value, only while it may be taken for that.
    #[must_use]
    pub fn current(&self) -> Option<Now> {
        self.now.filter(|_| self.is_young()).map(Now::bounded)
    }

    /// What matters most beside the value, if anything does; while an alarm asks for attention that is the alarm.
    #[must_use]
    pub fn matter(&self) -> Option<Matter> {
        let Some(now) = self.current() else {
            return Some(match (self.unheard, self.last, self.age) {
                // that another is near, or pairing open, is in nobody's way
                (Some(unheard), ..) if unheard.title().is_some() => Matter::Unheard(unheard),
                (_, None, _) => Matter::Nothing,
                (.., None) => Matter::Undated,
                _ => Matter::TooOld,
            });
        };
        let doubted = now.doubted;
        match (now.glucose.mg_dl(), now.bound, now.low_in_min) {
            (_, Some(Bound::AtLeast), _) => doubted.then_some(Matter::Doubted),
            (value, ..) if value <= FLOOR_MG_DL => Some(Matter::VeryLow { doubted }),
            (value, ..) if value < RANGE_MG_DL[0] => Some(Matter::Low { doubted }),
            _ if doubted => Some(Matter::Doubted),
            (.., minutes) => minutes.map(Matter::LowIn),
        }
    }

    /// What is shown large and said: while an alarm asks for attention the value that caused it, or, if no glucose
    /// did, the present one beside it; else the present one. None: no value may be taken for the present one.
    #[must_use]
    pub fn figure(&self) -> Option<Now> {
        self.unbounded().map(Now::bounded)
    }

    fn unbounded(&self) -> Option<Now> {
        let Some(ring) = self.alert else { return self.now.filter(|_| self.is_young()) };
        let alone =
            |glucose| Now { glucose, bound: None, doubted: false, rate: None, soon: None, low_in_min: None };
        match ring.trigger {
            Trigger::Silence(_) | Trigger::Unknown => None,
            // it has just come, and nobody can tell when it was measured
            Trigger::Unplaced(glucose) => Some(Now { doubted: true, ..alone(glucose) }),
            _ if !self.is_young() => None,
            Trigger::BelowRange(end) => Some(Now {
                bound: Some(Bound::AtMost),
                doubted: self.now.is_some_and(|now| now.doubted),
                ..alone(end)
            }),
            Trigger::Sensor(glucose) | Trigger::Uncalibrated(glucose) | Trigger::Estimate(glucose) => {
                // at an end of the sensor's range only that end is known, whatever was worked out from it
                Some(match self.now {
                    Some(now) if now.bound.is_some() => now,
                    Some(now) => Now { glucose, ..now },
                    None => alone(glucose),
                })
            }
            Trigger::Probability(_) | Trigger::Rate(_) | Trigger::WearLeft(_) | Trigger::Doubt => self.now,
        }
    }
}

/// A span in whole minutes; none of it is negative.
#[must_use]
pub fn whole_minutes(span: Span) -> u32 {
    span.secs().max(0).unsigned_abs() / 60
}

/// A value in the unit shown, as whole number and tenth.
#[must_use]
pub fn in_unit(glucose: Glucose, unit: Unit) -> (u16, Option<u16>) {
    match unit {
        Unit::MgDl => (glucose.whole_mg_dl(), None),
        Unit::MmolL => {
            let tenths = glucose.tenths_mmol_l();
            (tenths / 10, Some(tenths % 10))
        }
    }
}
