//! Settings as C has them, and to the library's. The only place that knows the library's settings.

use crate::code::*;
use crate::memory::{aligned_ref, number, result};
use crate::number::*;
use core::ffi::c_char;
use glidepath::alarm::{AlarmPlan, AlarmSettings, Kind, Limit, LimitUnit, Rule, Slot, Weekdays};
use glidepath::calibration::Drift;
use glidepath::estimator::Model;
use glidepath::forecast::ForecastConfig;
use glidepath::quality::QualityConfig;
use glidepath::trend::Bands;
use glidepath::{Error, Rate, Settings, Span};

pub const GP_MODEL_PEOPLE: u8 = 0;
pub const GP_MODEL_PLAIN: u8 = 1;
pub const GP_PROFILES: u8 = 4;
pub const GP_SLOTS: u8 = 8;

#[repr(C)]
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct gp_model {
    pub lag_min: f32,
    pub rate_time_min: f32,
    pub process_noise: f32,
    pub coloured_sd: f32,
    pub coloured_time_min: f32,
    pub white_sd: f32,
    pub kind: u8,
    pub reserved: [u8; 3],
}

#[repr(C)]
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct gp_drift {
    pub gain_sd: f32,
    pub gain_time_min: f32,
    pub offset_sd: f32,
    pub offset_time_min: f32,
    pub scatter: f32,
    pub caution: f32,
}

#[repr(C)]
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct gp_bands {
    pub moderate: f32,
    pub fast: f32,
    pub margin: f32,
    pub widest_sd: f32,
    pub missing_costs: f32,
}

#[repr(C)]
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct gp_quality {
    pub least_mg_dl: f32,
    pub greatest_mg_dl: f32,
    pub jump_sd: f32,
    pub pressure_share: f32,
    pub noisy_scale: f32,
    pub gap_s: i32,
    pub pressure_hold_s: i32,
    pub stuck_span_s: i32,
    pub warm_up_s: i32,
    pub first_day_s: i32,
    pub wear_s: i32,
    pub night_from_min: u16,
    pub night_to_min: u16,
    pub stuck_readings: u8,
    pub reserved: [u8; 3],
}

#[repr(C)]
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct gp_rule {
    pub limit: f32,
    pub hysteresis: f32,
    pub delay_s: i32,
    pub repeat_s: i32,
    pub quiet_s: i32,
    pub escalate_s: i32,
    pub on: u8,
    pub priority: u8,
    pub reserved: [u8; 2],
}

#[repr(C)]
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct gp_alarm_settings {
    pub rules: [gp_rule; GP_ALARMS as usize],
    pub recovering: f32,
    pub pressure_hold_s: i32,
}

#[repr(C)]
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct gp_slot {
    pub days: u8,
    pub profile: u8,
    pub from_min: u16,
    pub to_min: u16,
}

#[repr(C)]
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct gp_settings {
    pub version: u32,
    pub size: u32,
    pub model: gp_model,
    pub drift: gp_drift,
    pub bands: gp_bands,
    pub quality: gp_quality,
    pub personal: u8,
    pub profiles: u8,
    pub slots: u8,
    pub reserved: u8,
    pub alarms: [gp_alarm_settings; GP_PROFILES as usize],
    pub slot: [gp_slot; GP_SLOTS as usize],
}

#[repr(C)]
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct gp_fault {
    pub parameter: [c_char; 24],
}

#[repr(C)]
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct gp_limits {
    pub least: f32,
    pub greatest: f32,
    pub as_shipped: f32,
}

/// The library's own defaults, which it does not show one by one; a test holds them against it.
const MODEL: gp_model = gp_model {
    lag_min: 0.5,
    rate_time_min: 15.0,
    process_noise: 0.1,
    coloured_sd: 5.0,
    coloured_time_min: 25.0,
    white_sd: 1.6,
    kind: GP_MODEL_PEOPLE,
    reserved: [0; 3],
};
const DRIFT: gp_drift = gp_drift {
    gain_sd: 0.12,
    gain_time_min: 20_000.0,
    offset_sd: 20.0,
    offset_time_min: 5_000.0,
    scatter: 0.12,
    caution: 1.0,
};
const BANDS: gp_bands =
    gp_bands { moderate: 1.0, fast: 2.0, margin: 0.1, widest_sd: 2.0, missing_costs: 2.0 };

fn of_quality(quality: &QualityConfig) -> gp_quality {
    gp_quality {
        least_mg_dl: quality.least_mg_dl,
        greatest_mg_dl: quality.greatest_mg_dl,
        jump_sd: quality.jump_sd,
        pressure_share: quality.pressure_share,
        noisy_scale: quality.noisy_scale,
        gap_s: quality.gap.secs(),
        pressure_hold_s: quality.pressure_hold.secs(),
        stuck_span_s: quality.stuck_span.secs(),
        warm_up_s: quality.warm_up.secs(),
        first_day_s: quality.first_day.secs(),
        wear_s: quality.wear.secs(),
        night_from_min: quality.night_from,
        night_to_min: quality.night_to,
        stuck_readings: quality.stuck_readings,
        reserved: [0; 3],
    }
}

fn to_quality(quality: &gp_quality) -> QualityConfig {
    let mut config = QualityConfig::default();
    config.least_mg_dl = quality.least_mg_dl;
    config.greatest_mg_dl = quality.greatest_mg_dl;
    config.gap = Span::from_secs(quality.gap_s);
    config.jump_sd = quality.jump_sd;
    config.pressure_share = quality.pressure_share;
    config.pressure_hold = Span::from_secs(quality.pressure_hold_s);
    config.night_from = quality.night_from_min;
    config.night_to = quality.night_to_min;
    config.stuck_readings = quality.stuck_readings;
    config.stuck_span = Span::from_secs(quality.stuck_span_s);
    config.noisy_scale = quality.noisy_scale;
    config.warm_up = Span::from_secs(quality.warm_up_s);
    config.first_day = Span::from_secs(quality.first_day_s);
    config.wear = Span::from_secs(quality.wear_s);
    config
}

fn of_rule(rule: &Rule<Limit>) -> gp_rule {
    gp_rule {
        limit: rule.limit.number(),
        hysteresis: rule.hysteresis.number(),
        delay_s: rule.delay.secs(),
        repeat_s: rule.repeat.secs(),
        quiet_s: rule.quiet.secs(),
        escalate_s: rule.escalate.secs(),
        on: rule.on.into(),
        priority: of_priority(rule.priority),
        reserved: [0; 2],
    }
}

/// A refused setting: the code, and the parameter's name.
type Refused = (gp_code, &'static str);

fn to_rule(rule: &gp_rule, kind: Kind) -> Result<Rule<Limit>, Refused> {
    let name = kind.name();
    if !rule.limit.is_finite() || !rule.hysteresis.is_finite() {
        return Err((GP_ERROR_NOT_FINITE, name));
    }
    let unit = kind.info().unit;
    if unit == LimitUnit::None && (rule.limit, rule.hysteresis) != (0.0, 0.0) {
        return Err((GP_ERROR_OUT_OF_RANGE, name));
    }
    let limit = |number| unit.limit(number).map_err(|error| (of_error(error), name));
    let mut built = AlarmSettings::default().rule(kind);
    built.on = flag(rule.on).map_err(|code| (code, name))?;
    (built.limit, built.hysteresis) = (limit(rule.limit)?, limit(rule.hysteresis)?);
    (built.delay, built.repeat) = (Span::from_secs(rule.delay_s), Span::from_secs(rule.repeat_s));
    (built.quiet, built.escalate) = (Span::from_secs(rule.quiet_s), Span::from_secs(rule.escalate_s));
    built.priority = priority(rule.priority).map_err(|code| (code, name))?;
    Ok(built)
}

fn of_alarms(alarms: &AlarmSettings) -> gp_alarm_settings {
    gp_alarm_settings {
        rules: Kind::ALL.map(|kind| of_rule(&alarms.rule(kind))),
        recovering: alarms.recovering.mg_dl_per_min(),
        pressure_hold_s: alarms.pressure_hold.secs(),
    }
}

fn to_alarms(alarms: &gp_alarm_settings) -> Result<AlarmSettings, Refused> {
    let mut built = AlarmSettings::default();
    built.recovering =
        Rate::from_mg_dl_per_min(alarms.recovering).map_err(|error| (of_error(error), "recovering"))?;
    built.pressure_hold = Span::from_secs(alarms.pressure_hold_s);
    for (rule, kind) in alarms.rules.iter().zip(Kind::ALL) {
        let rule = to_rule(rule, kind)?;
        if rule != built.rule(kind) && built.set_rule(kind, rule).is_err() {
            return Err((GP_ERROR_OUT_OF_RANGE, kind.name())); // nobody can change the floor
        }
    }
    Ok(built)
}

/// 0 or 1.
pub fn flag(number: u8) -> Result<bool, gp_code> {
    match number {
        0 => Ok(false),
        1 => Ok(true),
        _ => Err(GP_ERROR_NUMBER),
    }
}

fn refused(error: Error) -> Refused {
    (of_error(error), if error.section().is_empty() { error.parameter() } else { error.section() })
}

/// A span from minutes, to the second.
fn minutes(name: &'static str, number: f32) -> Result<Span, Refused> {
    match LimitUnit::Minutes.limit(number) {
        Ok(Limit::Span(span)) => Ok(span),
        Ok(_) => Err((GP_ERROR_OTHER, name)),
        Err(error) => Err((of_error(error), name)),
    }
}

fn to_model(model: &gp_model) -> Result<Model, Refused> {
    let gp_model {
        lag_min,
        rate_time_min,
        process_noise,
        coloured_sd,
        coloured_time_min,
        white_sd,
        kind,
        ..
    } = *model;
    let start = match kind {
        GP_MODEL_PLAIN => Model::linear(),
        GP_MODEL_PEOPLE => Model::default(),
        _ => return Err((GP_ERROR_NUMBER, "kind")),
    };
    let (lag, rate_time) = (minutes("lag_min", lag_min)?, minutes("rate_time_min", rate_time_min)?);
    let coloured_time = minutes("coloured_time_min", coloured_time_min)?;
    // the longest first: lag and rate time are held against each other
    start
        .with_rate_time(Span::from_mins(1000))
        .and_then(|model| model.with_lag(lag)?.with_rate_time(rate_time))
        .and_then(|model| model.with_process_noise(process_noise)?.with_coloured(coloured_sd, coloured_time))
        .and_then(|model| model.with_white_sd(white_sd))
        .map_err(refused)
}

fn to_drift(drift: &gp_drift) -> Result<Drift, Refused> {
    let gain_time = minutes("gain_time_min", drift.gain_time_min)?;
    let offset_time = minutes("offset_time_min", drift.offset_time_min)?;
    Drift::default()
        .with_gain(drift.gain_sd, gain_time)
        .and_then(|built| built.with_offset(drift.offset_sd, offset_time))
        .and_then(|built| built.with_scatter(drift.scatter)?.with_required_benefit(drift.caution))
        .map_err(refused)
}

fn to_bands(bands: &gp_bands) -> Result<Bands, Error> {
    let rate = Rate::from_mg_dl_per_min;
    let built = Bands::new(rate(bands.moderate)?, rate(bands.fast)?, bands.margin, bands.widest_sd)?;
    if bands.missing_costs == BANDS.missing_costs {
        Ok(built) // the library's own logarithm of it
    } else {
        built.with_missing_costing(bands.missing_costs)
    }
}

// each of these gives its stack back before the next: settings are large beside a small processor's memory

#[inline(never)]
fn base_plan(alarms: &gp_alarm_settings, plan: &mut AlarmPlan) -> Result<(), Refused> {
    *plan = AlarmPlan::new(to_alarms(alarms)?).map_err(refused)?;
    Ok(())
}

#[inline(never)]
fn other_profile(alarms: &gp_alarm_settings, plan: &mut AlarmPlan) -> Result<(), Refused> {
    plan.add_profile(to_alarms(alarms)?).map_err(refused)?;
    Ok(())
}

fn add_slot(slot: &gp_slot, plan: &mut AlarmPlan) -> Result<(), Refused> {
    if slot.days > 0x7f {
        return Err((GP_ERROR_OUT_OF_RANGE, "days"));
    }
    let days = (0..7)
        .filter(|day| slot.days & 1_u8.wrapping_shl((*day).into()) != 0)
        .fold(Weekdays::NONE, Weekdays::with);
    plan.add_slot(Slot { days, from: slot.from_min, to: slot.to_min, profile: slot.profile }).map_err(refused)
}

/// The alarm plan alone.
#[inline(never)]
pub fn to_plan(settings: &gp_settings, plan: &mut AlarmPlan) -> Result<(), Refused> {
    if !(1..=GP_PROFILES).contains(&settings.profiles) {
        return Err((GP_ERROR_OUT_OF_RANGE, "profiles"));
    }
    let (Some(slots), Some([base, others @ ..])) =
        (settings.slot.get(..settings.slots.into()), settings.alarms.get(..settings.profiles.into()))
    else {
        return Err((GP_ERROR_OUT_OF_RANGE, "slots"));
    };
    base_plan(base, plan)?;
    others.iter().try_for_each(|alarms| other_profile(alarms, plan))?;
    slots.iter().try_for_each(|slot| add_slot(slot, plan))
}

#[inline(never)]
fn all_but_the_plan(settings: &gp_settings, built: &mut Settings) -> Result<(), Refused> {
    if !flag(settings.personal).map_err(|code| (code, "personal"))? {
        built.forecast = ForecastConfig::population();
    }
    built.model = to_model(&settings.model)?;
    built.drift = to_drift(&settings.drift)?;
    built.bands = to_bands(&settings.bands).map_err(refused)?;
    built.quality = to_quality(&settings.quality);
    Ok(())
}

/// Checked settings, in place of `built`, which are as shipped; refused with the parameter's name.
pub fn to_settings(settings: &gp_settings, built: &mut Settings) -> Result<(), Refused> {
    all_but_the_plan(settings, built)?;
    to_plan(settings, &mut built.alarms)
}

/// As shipped.
#[must_use]
pub fn defaults() -> gp_settings {
    gp_settings {
        version: GP_VERSION,
        #[expect(clippy::cast_possible_truncation, reason = "some KB")]
        size: size_of::<gp_settings>() as u32,
        model: MODEL,
        drift: DRIFT,
        bands: BANDS,
        quality: of_quality(&QualityConfig::default()),
        personal: 1,
        profiles: 1,
        slots: 0,
        reserved: 0,
        alarms: [of_alarms(&AlarmSettings::default()); GP_PROFILES as usize],
        slot: [gp_slot::default(); GP_SLOTS as usize],
    }
}

/// The caller's settings, if they are of this version.
///
/// # Safety
/// `settings` is null or points to at least their first two words.
pub unsafe fn read<'a>(settings: *const gp_settings) -> Result<&'a gp_settings, gp_code> {
    // SAFETY: version and size lie first; the rest is touched only if both are right
    unsafe {
        let settings = aligned_ref(settings)?;
        if (&raw const (*settings).version).read() != GP_VERSION {
            return Err(GP_ERROR_VERSION);
        }
        if usize::try_from((&raw const (*settings).size).read()) != Ok(size_of::<gp_settings>()) {
            return Err(GP_ERROR_SIZE);
        }
        Ok(&*settings)
    }
}

/// Names the parameter, if the caller wants to know.
///
/// # Safety
/// `fault` is null or the caller's.
pub unsafe fn tell(fault: *mut gp_fault, parameter: &str) {
    if fault.is_null() || !fault.is_aligned() {
        return;
    }
    let mut name = gp_fault { parameter: [0; 24] };
    let last = name.parameter.len().saturating_sub(1);
    for (to, from) in name.parameter.iter_mut().take(last).zip(parameter.bytes()) {
        *to = c_char::from_ne_bytes([from]);
    }
    // SAFETY: not null, aligned, the caller's
    unsafe { fault.write(name) };
}

#[unsafe(no_mangle)]
pub unsafe extern "C" fn gp_settings_default(settings: *mut gp_settings, size: usize) -> gp_code {
    // SAFETY: the contract of this crate
    code(result(settings, size).map(|to| unsafe { to.write(defaults()) }))
}

#[unsafe(no_mangle)]
pub unsafe extern "C" fn gp_settings_check(settings: *const gp_settings, fault: *mut gp_fault) -> gp_code {
    // SAFETY: the contract of this crate
    unsafe {
        code(read(settings).and_then(|settings| {
            let mut built = Settings::default();
            let checked = to_settings(settings, &mut built)
                .and_then(|()| glidepath::quality::Quality::new(built.quality).map_err(refused).map(drop));
            checked.map_err(|(code, parameter)| {
                tell(fault, parameter);
                code
            })
        }))
    }
}

#[unsafe(no_mangle)]
pub unsafe extern "C" fn gp_alarm_limits(alarm: u8, limits: *mut gp_limits, size: usize) -> gp_code {
    let known = result(limits, size).and_then(|to| {
        let about = kind(alarm)?.info();
        let (least, greatest) = about.limits;
        let as_shipped = AlarmSettings::default().rule(kind(alarm)?).limit.number();
        Ok((to, gp_limits { least, greatest, as_shipped }))
    });
    // SAFETY: the contract of this crate
    code(known.map(|(to, limits)| unsafe { to.write(limits) }))
}

/// The caller's bands, if there are any.
///
/// # Safety
/// `bands` is null or the caller's.
pub unsafe fn given_bands<'a>(bands: *const gp_bands) -> Result<Option<&'a gp_bands>, gp_code> {
    if bands.is_null() {
        return Ok(None);
    }
    // SAFETY: not null, aligned, the caller's
    Ok(Some(unsafe { &*aligned_ref(bands)? }))
}

/// The rate's classes alone need no more than these.
pub fn bands_or_default(bands: Option<&gp_bands>) -> Result<Bands, gp_code> {
    bands.map_or_else(|| Ok(Bands::default()), |bands| to_bands(bands).map_err(of_error))
}

#[unsafe(no_mangle)]
pub unsafe extern "C" fn gp_bands_default(bands: *mut gp_bands) -> gp_code {
    // SAFETY: the contract of this crate
    code(number(bands).map(|to| unsafe { to.write(BANDS) }))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn as_shipped_is_the_librarys_own() {
        let mut built = Settings::default().with_model(Model::linear());
        assert_eq!(to_settings(&defaults(), &mut built), Ok(()));
        assert_eq!(built, Settings::default());
    }

    #[test]
    fn each_profile_and_slot_arrives() {
        let mut settings = defaults();
        settings.profiles = 2;
        settings.alarms[1].rules[GP_ALARM_LOW as usize].limit = 80.0;
        settings.slots = 1;
        settings.slot[0] = gp_slot { days: 0x7f, profile: 1, from_min: 22 * 60, to_min: 7 * 60 };
        let mut plan = AlarmPlan::default();
        assert_eq!(to_plan(&settings, &mut plan), Ok(()));
        let night = glidepath::LocalTime::new(6, 23 * 60).unwrap();
        let day = glidepath::LocalTime::new(6, 12 * 60).unwrap();
        assert_eq!(of_alarms(plan.settings_at(Some(night))), settings.alarms[1]);
        assert_eq!(of_alarms(plan.settings_at(Some(day))), settings.alarms[0]);
    }
}
