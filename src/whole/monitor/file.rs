//! The answers as they are written: each by the name of the method that gives it.

use super::view::{Bound, Shown, View};
use crate::alarm::ActiveAlarms;
use crate::estimate::Estimate;
use crate::forecast::{Direction, Predicted};
use crate::quality::{Grade, Reasons, Verdict};
use crate::trend::Trend;
use crate::units::{Glucose, Instant, Span};
use serde::ser::{Serialize, Serializer};

/// The newest believed reading.
#[derive(Clone, Copy, serde::Serialize)]
pub(crate) struct NewestWritten {
    at: Instant,
    glucose: Glucose,
}

impl NewestWritten {
    pub(crate) fn of(newest: Option<(Instant, Glucose)>) -> Option<Self> {
        newest.map(|(at, glucose)| Self { at, glucose })
    }
}

#[derive(serde::Serialize)]
#[serde(rename = "View")]
struct Answers<'a> {
    at: Instant,
    verdict: Option<Verdict>,
    shown: Option<Shown>,
    estimate: Option<Estimate>,
    calibration_sd: Option<f32>,
    direction: Option<Direction>,
    trend: Trend,
    predicted_15min: Option<Predicted>,
    predicted_30min: Option<Predicted>,
    predicted_60min: Option<Predicted>,
    low_ahead_signal: Option<f32>,
    low_probability: Option<f32>,
    minutes_to_low: Option<f32>,
    newest: Option<NewestWritten>,
    age: Option<Span>,
    bound: Option<Bound>,
    grade: Grade,
    reasons: Reasons,
    alarms: &'a ActiveAlarms,
    monitoring: bool,
}

impl Serialize for View {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        Answers {
            at: self.at(),
            verdict: self.verdict(),
            shown: self.shown(),
            estimate: self.estimate(),
            calibration_sd: self.calibration_sd(),
            direction: self.direction(),
            trend: self.trend(),
            predicted_15min: self.predicted_15min(),
            predicted_30min: self.predicted_30min(),
            predicted_60min: self.predicted_60min(),
            low_ahead_signal: self.low_ahead_signal(),
            low_probability: self.low_probability(),
            minutes_to_low: self.minutes_to_low(),
            newest: NewestWritten::of(self.newest()),
            age: self.age(),
            bound: self.bound(),
            grade: self.grade(),
            reasons: self.reasons(),
            alarms: self.alarms(),
            monitoring: self.is_monitoring(),
        }
        .serialize(to)
    }
}
