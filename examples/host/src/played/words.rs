//! What rang, in words for a person.

use glidepath::Glucose;
use glidepath::alarm::{Cause, Trigger};

use crate::table::Unit;

/// Why an alarm rang, for a person.
pub fn cause_words(cause: Cause) -> &'static str {
    match cause {
        Cause::New => "it began",
        Cause::Repeated => "it went on",
        Cause::Escalated => "nobody had acknowledged it",
        Cause::Worse => "it became worse",
    }
}

/// What an alarm went by, for a person: the value that caused it.
pub fn trigger_words(trigger: Trigger, unit: Unit) -> String {
    let shown = |glucose: Glucose| unit.with_name(glucose.mg_dl());
    match trigger {
        Trigger::Sensor(glucose) => format!("the sensor's reading of {}", shown(glucose)),
        Trigger::Uncalibrated(glucose) => {
            format!("the sensor's reading of {}, not calibrated", shown(glucose))
        }
        Trigger::BelowRange(end) => format!("the sensor's word that it is under {}", shown(end)),
        Trigger::Estimate(glucose) => format!("the estimate of {}", shown(glucose)),
        Trigger::Unplaced(glucose) => format!("a reading of {} whose time cannot be told", shown(glucose)),
        Trigger::Probability(chance) => format!("a chance of {:.0} % of a low", 100.0 * chance),
        Trigger::Rate(rate) => {
            let rate = rate.mg_dl_per_min();
            let (way, size) = (if rate < 0.0 { "fall" } else { "rise" }, f64::from(rate.abs()));
            format!("a {way} of {} a minute", precise(unit, size))
        }
        Trigger::Silence(span) => format!("{} without a reading", minutes(span.mins())),
        Trigger::WearLeft(span) if span.secs() < 0 => {
            format!("{} past the sensor's planned end", minutes(-span.mins()))
        }
        Trigger::WearLeft(span) => format!("{} to the sensor's planned end", minutes(span.mins())),
        Trigger::Doubt => "a doubt about the sensor".into(),
        Trigger::Unknown => "a value that was known before and is not now".into(),
    }
}

/// A time span as people say it.
pub fn minutes(minutes: f32) -> String {
    match minutes {
        ..90.0 => format!("{minutes:.0} min"),
        ..2880.0 => format!("{:.1} h", minutes / 60.0),
        _ => format!("{:.0} days", minutes / 1440.0),
    }
}

/// An amount of glucose to a tenth of what is usual.
pub fn precise(unit: Unit, mg_dl: f64) -> String {
    match unit {
        Unit::MgDl => format!("{mg_dl:.1} mg/dL"),
        Unit::MmolL => format!("{:.2} mmol/L", mg_dl / f64::from(glidepath::MG_DL_PER_MMOL_L)),
    }
}
