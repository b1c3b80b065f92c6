//! The numbers of what the library names, and back. They are promised: none is ever given another meaning.

use crate::code::*;
use glidepath::alarm::{Cause, Kind, Priority, Trigger};
use glidepath::calibration::PointOutcome;
use glidepath::quality::{Grade, Reason, Reasons, Verdict};
use glidepath::trend::{Pace, Trend};
use glidepath::{Agreement, FingerstickOutcome, Refusal, Side, Status};

macro_rules! numbers {
    ($($name:ident = $number:literal),+ $(,)?) => { $(pub const $name: u8 = $number;)+ };
}

numbers! {
    GP_STATUS_NORMAL = 0, GP_STATUS_BELOW_RANGE = 1, GP_STATUS_ABOVE_RANGE = 2, GP_STATUS_WARM_UP = 3,
    GP_STATUS_DOUBTFUL = 4, GP_STATUS_FAULT = 5,

    GP_TREND_NOT_KNOWN = 0, GP_TREND_FALLING_FAST = 1, GP_TREND_FALLING = 2, GP_TREND_STEADY = 3,
    GP_TREND_RISING = 4, GP_TREND_RISING_FAST = 5,

    GP_VERDICT_NONE = 0, GP_VERDICT_ACCEPTED = 1, GP_VERDICT_LATE = 2, GP_VERDICT_DUPLICATE = 3,
    GP_VERDICT_BAD_TIME = 4, GP_VERDICT_CLOCK_SET = 5, GP_VERDICT_OUT_OF_RANGE = 6, GP_VERDICT_WARM_UP = 7,
    GP_VERDICT_FAULT = 8, GP_VERDICT_JUMP = 9, GP_VERDICT_STUCK = 10, GP_VERDICT_PRESSURE = 11,

    GP_GRADE_UNUSABLE = 0, GP_GRADE_POOR = 1, GP_GRADE_FAIR = 2, GP_GRADE_GOOD = 3,

    GP_REASON_WARM_UP = 0, GP_REASON_FIRST_DAY = 1, GP_REASON_PAST_END = 2, GP_REASON_NOISE = 3,
    GP_REASON_JUMP = 4, GP_REASON_STUCK = 5, GP_REASON_GAP = 6, GP_REASON_PRESSURE = 7,
    GP_REASON_FINGERSTICKS = 8, GP_REASON_DRIFT = 9, GP_REASON_SECOND_SENSOR = 10, GP_REASON_SENSOR_STATUS = 11,

    GP_ALARM_FLOOR = 0, GP_ALARM_LOW = 1, GP_ALARM_LOW_AHEAD = 2, GP_ALARM_STEEP_FALL = 3, GP_ALARM_NO_DATA = 4,
    GP_ALARM_HIGH = 5, GP_ALARM_STEEP_RISE = 6, GP_ALARM_DOUBT = 7, GP_ALARM_WEAR_END = 8, GP_ALARMS = 9,
    GP_ALARM_NONE = 255,

    GP_PRIORITY_LOW = 0, GP_PRIORITY_MEDIUM = 1, GP_PRIORITY_HIGH = 2,

    GP_CAUSE_NEW = 0, GP_CAUSE_REPEATED = 1, GP_CAUSE_ESCALATED = 2, GP_CAUSE_WORSE = 3,

    GP_TRIGGER_UNKNOWN = 0, GP_TRIGGER_SENSOR = 1, GP_TRIGGER_UNCALIBRATED = 2, GP_TRIGGER_BELOW_RANGE = 3,
    GP_TRIGGER_ESTIMATE = 4, GP_TRIGGER_UNPLACED = 5, GP_TRIGGER_PROBABILITY = 6, GP_TRIGGER_RATE = 7,
    GP_TRIGGER_SILENCE = 8, GP_TRIGGER_WEAR_LEFT = 9, GP_TRIGGER_DOUBT = 10,

    GP_BOUND_NONE = 0, GP_BOUND_AT_MOST = 1, GP_BOUND_AT_LEAST = 2,

    GP_FINGERSTICK_USED = 0, GP_FINGERSTICK_HELD = 1, GP_FINGERSTICK_DOWNWEIGHTED = 2, GP_FINGERSTICK_AHEAD = 3,
    GP_FINGERSTICK_TOO_OLD = 4, GP_FINGERSTICK_NO_READING = 5, GP_FINGERSTICK_OUT_OF_ORDER = 6,
    GP_FINGERSTICK_OUT_OF_RANGE = 7, GP_FINGERSTICK_NOT_A_NUMBER = 8, GP_FINGERSTICK_OTHER = 9,

    GP_SIDE_FIRST = 0, GP_SIDE_SECOND = 1, GP_SIDES = 2,

    GP_PAIR_NEITHER = 0, GP_PAIR_ONLY_FIRST = 1, GP_PAIR_ONLY_SECOND = 2, GP_PAIR_TOGETHER = 3, GP_PAIR_APART = 4,
    GP_PAIR_FIRST_SUSPECT = 5, GP_PAIR_SECOND_SUSPECT = 6,
}

pub fn status(number: u8) -> Result<Status, gp_code> {
    Ok(match number {
        GP_STATUS_NORMAL => Status::Normal,
        GP_STATUS_BELOW_RANGE => Status::BelowRange,
        GP_STATUS_ABOVE_RANGE => Status::AboveRange,
        GP_STATUS_WARM_UP => Status::WarmUp,
        GP_STATUS_DOUBTFUL => Status::Doubtful,
        GP_STATUS_FAULT => Status::Fault,
        _ => return Err(GP_ERROR_NUMBER),
    })
}

pub const fn of_status(status: Status) -> u8 {
    match status {
        Status::Normal => GP_STATUS_NORMAL,
        Status::BelowRange => GP_STATUS_BELOW_RANGE,
        Status::AboveRange => GP_STATUS_ABOVE_RANGE,
        Status::WarmUp => GP_STATUS_WARM_UP,
        Status::Doubtful => GP_STATUS_DOUBTFUL,
        Status::Fault => GP_STATUS_FAULT,
    }
}

pub const fn of_trend(trend: Trend) -> u8 {
    match trend {
        Trend::NotKnown => GP_TREND_NOT_KNOWN,
        Trend::Falling(Pace::Fast) => GP_TREND_FALLING_FAST,
        Trend::Falling(Pace::Moderate) => GP_TREND_FALLING,
        Trend::Steady => GP_TREND_STEADY,
        Trend::Rising(Pace::Moderate) => GP_TREND_RISING,
        Trend::Rising(Pace::Fast) => GP_TREND_RISING_FAST,
    }
}

pub const fn of_verdict(verdict: Option<Verdict>) -> u8 {
    match verdict {
        Some(Verdict::Accepted) => GP_VERDICT_ACCEPTED,
        Some(Verdict::Late) => GP_VERDICT_LATE,
        Some(Verdict::Duplicate) => GP_VERDICT_DUPLICATE,
        Some(Verdict::BadTime) => GP_VERDICT_BAD_TIME,
        Some(Verdict::ClockSet) => GP_VERDICT_CLOCK_SET,
        Some(Verdict::OutOfRange) => GP_VERDICT_OUT_OF_RANGE,
        Some(Verdict::WarmUp) => GP_VERDICT_WARM_UP,
        Some(Verdict::Fault) => GP_VERDICT_FAULT,
        Some(Verdict::Jump) => GP_VERDICT_JUMP,
        Some(Verdict::Stuck) => GP_VERDICT_STUCK,
        Some(Verdict::Pressure) => GP_VERDICT_PRESSURE,
        None | Some(_) => GP_VERDICT_NONE, // of a later library
    }
}

pub const fn of_grade(grade: Grade) -> u8 {
    match grade {
        Grade::Unusable => GP_GRADE_UNUSABLE,
        Grade::Poor => GP_GRADE_POOR,
        Grade::Fair => GP_GRADE_FAIR,
        Grade::Good => GP_GRADE_GOOD,
    }
}

pub const fn of_reason(reason: Reason) -> u8 {
    match reason {
        Reason::WarmUp => GP_REASON_WARM_UP,
        Reason::FirstDay => GP_REASON_FIRST_DAY,
        Reason::PastEnd => GP_REASON_PAST_END,
        Reason::Noise => GP_REASON_NOISE,
        Reason::Jump => GP_REASON_JUMP,
        Reason::Stuck => GP_REASON_STUCK,
        Reason::Gap => GP_REASON_GAP,
        Reason::Pressure => GP_REASON_PRESSURE,
        Reason::Fingersticks => GP_REASON_FINGERSTICKS,
        Reason::Drift => GP_REASON_DRIFT,
        Reason::SecondSensor => GP_REASON_SECOND_SENSOR,
        _ => GP_REASON_SENSOR_STATUS, // and what a later library adds
    }
}

/// A bit for each reason.
pub fn of_reasons(reasons: Reasons) -> u16 {
    reasons.iter().fold(0, |bits, reason| bits | 1_u16.wrapping_shl(of_reason(reason).into()))
}

pub fn kind(number: u8) -> Result<Kind, gp_code> {
    Kind::ALL.into_iter().find(|kind| of_kind(*kind) == number).ok_or(GP_ERROR_NUMBER)
}

pub const fn of_kind(kind: Kind) -> u8 {
    match kind {
        Kind::Floor => GP_ALARM_FLOOR,
        Kind::Low => GP_ALARM_LOW,
        Kind::LowAhead => GP_ALARM_LOW_AHEAD,
        Kind::SteepFall => GP_ALARM_STEEP_FALL,
        Kind::NoData => GP_ALARM_NO_DATA,
        Kind::High => GP_ALARM_HIGH,
        Kind::SteepRise => GP_ALARM_STEEP_RISE,
        Kind::Doubt => GP_ALARM_DOUBT,
        Kind::WearEnd => GP_ALARM_WEAR_END,
    }
}

pub fn side(number: u8) -> Result<Side, gp_code> {
    match number {
        GP_SIDE_FIRST => Ok(Side::First),
        GP_SIDE_SECOND => Ok(Side::Second),
        _ => Err(GP_ERROR_NUMBER),
    }
}

pub const fn of_agreement(agreement: Agreement) -> u8 {
    match agreement {
        Agreement::Neither => GP_PAIR_NEITHER,
        Agreement::Only(Side::First) => GP_PAIR_ONLY_FIRST,
        Agreement::Only(Side::Second) => GP_PAIR_ONLY_SECOND,
        Agreement::Together => GP_PAIR_TOGETHER,
        Agreement::Suspect(Side::First) => GP_PAIR_FIRST_SUSPECT,
        Agreement::Suspect(Side::Second) => GP_PAIR_SECOND_SUSPECT,
        _ => GP_PAIR_APART, // and what a later library adds
    }
}

pub fn priority(number: u8) -> Result<Priority, gp_code> {
    Ok(match number {
        GP_PRIORITY_LOW => Priority::Low,
        GP_PRIORITY_MEDIUM => Priority::Medium,
        GP_PRIORITY_HIGH => Priority::High,
        _ => return Err(GP_ERROR_NUMBER),
    })
}

pub const fn of_priority(priority: Priority) -> u8 {
    match priority {
        Priority::Low => GP_PRIORITY_LOW,
        Priority::Medium => GP_PRIORITY_MEDIUM,
        Priority::High => GP_PRIORITY_HIGH,
    }
}

pub const fn of_cause(cause: Cause) -> u8 {
    match cause {
        Cause::New => GP_CAUSE_NEW,
        Cause::Repeated => GP_CAUSE_REPEATED,
        Cause::Escalated => GP_CAUSE_ESCALATED,
        Cause::Worse => GP_CAUSE_WORSE,
    }
}

/// The number of the trigger, and the value in its unit: mg/dL, probability, mg/dL/min, seconds.
#[expect(clippy::cast_precision_loss, reason = "seconds, exact for 194 days")]
pub const fn of_trigger(trigger: Trigger) -> (u8, f32) {
    match trigger {
        Trigger::Unknown => (GP_TRIGGER_UNKNOWN, 0.0),
        Trigger::Sensor(glucose) => (GP_TRIGGER_SENSOR, glucose.mg_dl()),
        Trigger::Uncalibrated(glucose) => (GP_TRIGGER_UNCALIBRATED, glucose.mg_dl()),
        Trigger::BelowRange(glucose) => (GP_TRIGGER_BELOW_RANGE, glucose.mg_dl()),
        Trigger::Estimate(glucose) => (GP_TRIGGER_ESTIMATE, glucose.mg_dl()),
        Trigger::Unplaced(glucose) => (GP_TRIGGER_UNPLACED, glucose.mg_dl()),
        Trigger::Probability(probability) => (GP_TRIGGER_PROBABILITY, probability),
        Trigger::Rate(rate) => (GP_TRIGGER_RATE, rate.mg_dl_per_min()),
        Trigger::Silence(span) => (GP_TRIGGER_SILENCE, span.secs() as f32),
        Trigger::WearLeft(span) => (GP_TRIGGER_WEAR_LEFT, span.secs() as f32),
        Trigger::Doubt => (GP_TRIGGER_DOUBT, 0.0),
    }
}

pub const fn of_outcome(outcome: &FingerstickOutcome) -> u8 {
    match outcome {
        FingerstickOutcome::Used { held: true, .. } => GP_FINGERSTICK_HELD,
        FingerstickOutcome::Used { calibrated: PointOutcome::Downweighted, .. } => {
            GP_FINGERSTICK_DOWNWEIGHTED
        }
        FingerstickOutcome::Used { .. } => GP_FINGERSTICK_USED,
        FingerstickOutcome::Refused { why, .. } => of_refusal(*why),
    }
}

pub const fn of_refusal(why: Refusal) -> u8 {
    match why {
        Refusal::Ahead => GP_FINGERSTICK_AHEAD,
        Refusal::TooOld => GP_FINGERSTICK_TOO_OLD,
        Refusal::NoReading => GP_FINGERSTICK_NO_READING,
        Refusal::OutOfOrder => GP_FINGERSTICK_OUT_OF_ORDER,
        Refusal::OutOfRange => GP_FINGERSTICK_OUT_OF_RANGE,
        Refusal::NotANumber => GP_FINGERSTICK_NOT_A_NUMBER,
        _ => GP_FINGERSTICK_OTHER,
    }
}
