//! The answers, flat: what is not known is 0, and its bit in `has` is not set.

use crate::number::*;
use glidepath::alarm::ActiveAlarm;
use glidepath::forecast::{Direction, Predicted};
use glidepath::{Bound, Shown, View};

pub const GP_HAS_SHOWN: u32 = 1;
pub const GP_HAS_ESTIMATE: u32 = 1 << 1;
pub const GP_HAS_DIRECTION: u32 = 1 << 2;
pub const GP_HAS_PREDICTED: u32 = 1 << 3;
pub const GP_HAS_LOW_PROBABILITY: u32 = 1 << 4;
pub const GP_HAS_LOW_AHEAD: u32 = 1 << 5;
pub const GP_HAS_MINUTES_TO_LOW: u32 = 1 << 6;
pub const GP_HAS_CALIBRATION_SD: u32 = 1 << 7;
pub const GP_HAS_NEWEST: u32 = 1 << 8;
pub const GP_HAS_AGE: u32 = 1 << 9;
pub const GP_HAS_BOUND: u32 = 1 << 10;
pub const GP_HAS_TRIGGER: u32 = 1 << 11;

#[repr(C)]
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct gp_predicted {
    pub mg_dl: f32,
    pub sd_mg_dl: f32,
    pub half_width_50_mg_dl: f32,
    pub half_width_95_mg_dl: f32,
}

#[repr(C)]
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct gp_alarm {
    pub at_s: u32,
    pub value: f32,
    pub holds: u8,
    pub rings: u8,
    pub acknowledged: u8,
    pub priority: u8,
    pub cause: u8,
    pub trigger: u8,
    pub reserved: [u8; 2],
}

#[repr(C)]
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct gp_view {
    pub has: u32,
    pub at_s: u32,
    pub shown_mg_dl: f32,
    pub shown_age_s: i32,
    pub shown_whole_mg_dl: u16,
    pub shown_tenths_mmol_l: u16,
    pub shown_bound: u8,
    pub shown_doubted: u8,
    pub monitoring: u8,
    pub verdict: u8,
    pub trend: u8,
    pub grade: u8,
    pub reasons: u16,
    pub bound: u8,
    pub estimate_doubted: u8,
    pub most_urgent: u8,
    pub rings_first: u8,
    pub bound_mg_dl: f32,
    pub glucose_mg_dl: f32,
    pub glucose_sd_mg_dl: f32,
    pub rate_mg_dl_min: f32,
    pub rate_sd_mg_dl_min: f32,
    pub calibration_sd_mg_dl: f32,
    pub direction_mg_dl_min: f32,
    pub direction_sd_mg_dl_min: f32,
    pub in_15_min: gp_predicted,
    pub in_30_min: gp_predicted,
    pub in_60_min: gp_predicted,
    pub low_probability: f32,
    pub low_ahead: f32,
    pub minutes_to_low: f32,
    pub newest_at_s: u32,
    pub newest_mg_dl: f32,
    pub age_s: i32,
    pub alarms: [gp_alarm; GP_ALARMS as usize],
}

/// Marks what is known and gives it, or a default.
pub fn known<T, R: Default>(has: &mut u32, bit: u32, value: Option<T>, give: impl FnOnce(T) -> R) -> R {
    value.map_or_else(R::default, |value| {
        *has |= bit;
        give(value)
    })
}

pub fn of_predicted(predicted: Predicted) -> gp_predicted {
    gp_predicted {
        mg_dl: predicted.glucose().mg_dl(),
        sd_mg_dl: predicted.sd(),
        half_width_50_mg_dl: predicted.half_width_50(),
        half_width_95_mg_dl: predicted.half_width_95(),
    }
}

pub fn of_direction(direction: Direction) -> (f32, f32) {
    (direction.rate().mg_dl_per_min(), direction.sd())
}

const fn of_bound(bound: Option<Bound>) -> (u8, f32) {
    match bound {
        None => (GP_BOUND_NONE, 0.0),
        Some(Bound::AtMost(glucose)) => (GP_BOUND_AT_MOST, glucose.mg_dl()),
        Some(Bound::AtLeast(glucose)) => (GP_BOUND_AT_LEAST, glucose.mg_dl()),
    }
}

/// The value and its age, as it is displayed, its bound and whether it is doubted.
pub fn of_shown(shown: Shown) -> (f32, i32, (u16, u16), (u8, u8)) {
    (
        shown.glucose.mg_dl(),
        shown.age.secs(),
        (shown.glucose.whole_mg_dl(), shown.glucose.tenths_mmol_l()),
        (of_bound(shown.bound).0, shown.doubted.into()),
    )
}

fn of_held(held: &ActiveAlarm) -> gp_alarm {
    let (trigger, value) = of_trigger(held.ring.trigger);
    gp_alarm {
        at_s: held.ring.at.secs(),
        value,
        holds: 1,
        rings: held.rings.into(),
        acknowledged: held.acknowledged.into(),
        priority: of_priority(held.ring.priority),
        cause: of_cause(held.ring.cause),
        trigger,
        reserved: [0; 2],
    }
}

#[inline(never)] // one copy, whatever the capacity
pub fn of_view(view: &View) -> gp_view {
    let mut bits = 0;
    let has = &mut bits;
    let (shown_mg_dl, shown_age_s, (shown_whole_mg_dl, shown_tenths_mmol_l), (shown_bound, shown_doubted)) =
        known(has, GP_HAS_SHOWN, view.shown(), of_shown);
    let (glucose_mg_dl, glucose_sd_mg_dl, rate_mg_dl_min, rate_sd_mg_dl_min, estimate_doubted) =
        known(has, GP_HAS_ESTIMATE, view.estimate(), |estimate| {
            (
                estimate.glucose().mg_dl(),
                estimate.glucose_sd(),
                estimate.rate().mg_dl_per_min(),
                estimate.rate_sd(),
                u8::from(estimate.is_doubted()),
            )
        });
    let (direction_mg_dl_min, direction_sd_mg_dl_min) =
        known(has, GP_HAS_DIRECTION, view.direction(), of_direction);
    let (bound, bound_mg_dl) = of_bound(view.bound());
    let (newest_at_s, newest_mg_dl) =
        known(has, GP_HAS_NEWEST, view.newest(), |(at, glucose)| (at.secs(), glucose.mg_dl()));
    let mut alarms = [gp_alarm::default(); GP_ALARMS as usize];
    for held in view.alarms().iter() {
        if let Some(place) = alarms.get_mut(usize::from(of_kind(held.ring.kind))) {
            *place = of_held(held);
        }
    }
    let flat = gp_view {
        has: 0,
        at_s: view.at().secs(),
        shown_mg_dl,
        shown_age_s,
        shown_whole_mg_dl,
        shown_tenths_mmol_l,
        shown_bound,
        shown_doubted,
        monitoring: view.is_monitoring().into(),
        verdict: of_verdict(view.verdict()),
        trend: of_trend(view.trend()),
        grade: of_grade(view.grade()),
        reasons: of_reasons(view.reasons()),
        bound,
        estimate_doubted,
        most_urgent: view.alarms().most_urgent().map_or(GP_ALARM_NONE, |held| of_kind(held.ring.kind)),
        rings_first: view.rings().first().map_or(GP_ALARM_NONE, |ring| of_kind(ring.kind)),
        bound_mg_dl,
        glucose_mg_dl,
        glucose_sd_mg_dl,
        rate_mg_dl_min,
        rate_sd_mg_dl_min,
        calibration_sd_mg_dl: known(has, GP_HAS_CALIBRATION_SD, view.calibration_sd(), |sd| sd),
        direction_mg_dl_min,
        direction_sd_mg_dl_min,
        in_15_min: known(has, GP_HAS_PREDICTED, view.predicted_15min(), of_predicted),
        in_30_min: known(has, GP_HAS_PREDICTED, view.predicted_30min(), of_predicted),
        in_60_min: known(has, GP_HAS_PREDICTED, view.predicted_60min(), of_predicted),
        low_probability: known(has, GP_HAS_LOW_PROBABILITY, view.low_probability(), |p| p),
        low_ahead: known(has, GP_HAS_LOW_AHEAD, view.low_ahead_signal(), |p| p),
        minutes_to_low: known(has, GP_HAS_MINUTES_TO_LOW, view.minutes_to_low(), |minutes| minutes),
        newest_at_s,
        newest_mg_dl,
        age_s: known(has, GP_HAS_AGE, view.age(), |age| age.secs()),
        alarms,
    };
    if bound != GP_BOUND_NONE {
        bits |= GP_HAS_BOUND;
    }
    gp_view { has: bits, ..flat }
}
