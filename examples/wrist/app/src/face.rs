//! What there is to show, in ground-floor values; no screen, no board.

use glidepath::alarm::{Kind, Priority};
use glidepath::{Glucose, HistoryView, Instant, Rate, Span};

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

/// The newest estimate.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Now {
    /// When it was measured.
    pub at: Instant,
    /// Glucose in blood, as estimated for the present moment.
    pub glucose: Glucose,
    /// Set when only a bound is known.
    pub bound: Option<Bound>,
    /// Rate of change with its standard deviation in mg/dL per minute; none when not known.
    pub rate: Option<(Rate, f32)>,
    /// Expected 20, 40 and 60 minutes from now.
    pub soon: Option<[Expected; 3]>,
    /// Minutes until a low is expected.
    pub low_in_min: Option<u16>,
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

/// An alarm that holds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Alert {
    /// Which.
    pub kind: Kind,
    /// How urgent.
    pub priority: Priority,
}

/// Everything a screen, a voice or a vibration motor needs.
#[derive(Clone, Copy, Debug)]
pub struct Face<'a> {
    /// The time; none before the clock is set.
    pub clock: Option<Instant>,
    /// The newest estimate.
    pub now: Option<Now>,
    /// The readings behind it.
    pub history: HistoryView<'a>,
    /// Trust in the sensor.
    pub trust: Trust,
    /// One or two words on the sensor, or nothing.
    pub note: &'static str,
    /// The battery's charge.
    pub battery_percent: Option<u8>,
    /// The alarm that asks for attention.
    pub alert: Option<Alert>,
    /// The unit shown.
    pub unit: Unit,
}

/// A value older than this is not shown as the present one: two readings of a five-minute sensor missed.
pub const STALE: Span = Span::from_mins(11);

impl Face<'_> {
    /// The age of the newest estimate in whole minutes; none without a reading or a clock.
    #[must_use]
    pub fn age_min(&self) -> Option<u32> {
        let age = self.clock?.since(self.now?.at).secs();
        (age >= -STALE.secs()).then_some(age.max(0).unsigned_abs() / 60)
    }

    /// The newest estimate, only while it may be taken for the present one.
    #[must_use]
    pub fn current(&self) -> Option<Now> {
        let age = self.age_min()?;
        if age < STALE.secs().unsigned_abs() / 60 && self.trust > Trust::None { self.now } else { None }
    }
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
