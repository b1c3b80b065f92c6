//! Ways in which a sensor fails. Invented.

use glidepath::simulate::Random;
use glidepath::{Glucose, Reading, Status};

/// What is wrong with one of the two sensors.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Way {
    /// Nothing.
    None,
    /// Pressure takes 40 % off for 75 minutes.
    Pressure,
    /// The value stands still for six hours.
    Stuck,
    /// 60 mg/dL more from one reading to the next.
    LeapUp,
    /// 45 mg/dL less.
    LeapDown,
    /// 25 mg/dL of noise on top.
    Restless,
    /// 4 % less each hour.
    Drift,
    /// A new sensor that reads 35 % low at first, recovers over some hours, and is noisy.
    FirstDay,
    /// It follows with 40 minutes more of delay.
    Slow,
}

/// The end of a sensor's range, mg/dL (common practice, no source).
const RANGE: (f32, f32) = (40.0, 400.0);

impl Way {
    pub const ALL: [Self; 9] = [
        Self::None,
        Self::Pressure,
        Self::Stuck,
        Self::LeapUp,
        Self::LeapDown,
        Self::Restless,
        Self::Drift,
        Self::FirstDay,
        Self::Slow,
    ];

    pub const fn name(self) -> &'static str {
        match self {
            Self::None => "none",
            Self::Pressure => "pressure",
            Self::Stuck => "stuck",
            Self::LeapUp => "leap up",
            Self::LeapDown => "leap down",
            Self::Restless => "restless",
            Self::Drift => "drift",
            Self::FirstDay => "first day",
            Self::Slow => "slow",
        }
    }

    /// For how many minutes.
    pub const fn lasts(self) -> u32 {
        match self {
            Self::None => 0,
            Self::Pressure => 75,
            Self::Stuck => 360,
            _ => 720,
        }
    }
}

/// A sensor while it fails.
#[derive(Clone, Debug)]
pub struct Failing {
    way: Way,
    random: Random,
    /// The value that it holds, or trails with.
    held: Option<f32>,
}

impl Failing {
    pub const fn new(way: Way, random: Random) -> Self {
        Self { way, random, held: None }
    }

    /// What it reads instead, so many minutes after it began to fail.
    pub fn reading(&mut self, reading: &Reading, minutes: f32) -> Reading {
        let value = reading.glucose().mg_dl();
        let wrong = match self.way {
            Way::None => value,
            Way::Pressure => value * (1.0 - 0.4 * (1.0 - (-minutes / 5.0).exp())),
            Way::Stuck => *self.held.get_or_insert(value),
            Way::LeapUp => value + 60.0,
            Way::LeapDown => value - 45.0,
            Way::Restless => value + 25.0 * self.random.normal(),
            Way::Drift => value * (1.0 - 0.04 * minutes / 60.0).max(0.55),
            Way::FirstDay => value * (1.0 - 0.35 * (-minutes / 360.0).exp()) + 8.0 * self.random.normal(),
            Way::Slow => {
                let trails = self.held.get_or_insert(value);
                *trails += (value - *trails) * (1.0 - (-5.0_f32 / 40.0).exp());
                *trails
            }
        };
        let shown = wrong.round().clamp(RANGE.0, RANGE.1);
        let status = if wrong < RANGE.0 {
            Status::BelowRange
        } else if wrong > RANGE.1 {
            Status::AboveRange
        } else {
            Status::Normal
        };
        let glucose = Glucose::from_mg_dl(shown).unwrap_or(reading.glucose());
        Reading::new(reading.at(), glucose).with_status(status)
    }
}
