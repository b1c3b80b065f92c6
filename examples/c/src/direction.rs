//! Direction and a low ahead from readings alone, and the trend of any rate: less than half a kilobyte.

use crate::code::*;
use crate::memory::*;
use crate::monitor::{attempt, glucose};
use crate::number::*;
use crate::settings::{bands_or_default, given_bands, gp_bands};
use crate::view::*;
use core::ffi::c_void;
use glidepath::forecast::Forecast;
use glidepath::trend::TrendSign;
use glidepath::{Glucose, Instant, Rate, Span};

/// Where glucose goes, from readings alone.
pub struct Heading {
    forecast: Forecast,
    sign: TrendSign,
}

pub type gp_direction = Heading;
pub type gp_trend_sign = TrendSign;

impl Object for Heading {
    const KIND: u32 = u32::from_le_bytes(*b"head");
}

impl Object for TrendSign {
    const KIND: u32 = u32::from_le_bytes(*b"sign");
}

#[repr(C)]
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct gp_direction_view {
    pub has: u32,
    pub trend: u8,
    pub reserved: [u8; 3],
    pub direction_mg_dl_min: f32,
    pub direction_sd_mg_dl_min: f32,
    pub in_30_min: gp_predicted,
    pub low_probability: f32,
    pub low_ahead: f32,
    pub minutes_to_low: f32,
}

#[unsafe(no_mangle)]
pub unsafe extern "C" fn gp_direction_init(
    memory: *mut c_void,
    size: usize,
    sign_bands: *const gp_bands,
) -> gp_code {
    // SAFETY: the contract of this crate
    attempt(|| unsafe {
        let slot = place::<Heading>(memory, size)?;
        let sign = TrendSign::new(bands_or_default(given_bands(sign_bands)?)?);
        put(slot, Heading { forecast: Forecast::default(), sign });
        Ok(())
    })
}

#[unsafe(no_mangle)]
pub unsafe extern "C" fn gp_direction_reading(
    direction: *mut c_void,
    at_s: u32,
    mg_dl: f32,
    believed: u8,
) -> gp_code {
    // SAFETY: the contract of this crate
    attempt(|| unsafe {
        let glucose = glucose(mg_dl)?;
        let believed = crate::settings::flag(believed)?;
        object::<Heading>(direction)?.forecast.reading(Instant::from_secs(at_s), glucose, believed);
        Ok(())
    })
}

#[unsafe(no_mangle)]
pub unsafe extern "C" fn gp_direction_now(
    direction: *mut c_void,
    now_s: u32,
    view: *mut gp_direction_view,
    view_size: usize,
) -> gp_code {
    // SAFETY: the contract of this crate
    attempt(|| unsafe {
        let to = result(view, view_size)?;
        let Heading { forecast, sign } = object::<Heading>(direction)?;
        to.write(now(forecast, sign, Instant::from_secs(now_s)));
        Ok(())
    })
}

/// What a low is, mg/dL: as in the monitor's answers.
const LOW_MG_DL: f32 = 70.0;

fn now(forecast: &Forecast, sign: &mut TrendSign, now: Instant) -> gp_direction_view {
    let mut bits = 0;
    let has = &mut bits;
    let half_hour = Span::from_mins(30);
    let low = Glucose::from_mg_dl(LOW_MG_DL).ok();
    let direction = forecast.direction(now);
    let (direction_mg_dl_min, direction_sd_mg_dl_min) = known(has, GP_HAS_DIRECTION, direction, of_direction);
    let flat = gp_direction_view {
        has: 0,
        trend: of_trend(sign.step(direction.map(|direction| direction.rate()), direction_sd_mg_dl_min)),
        reserved: [0; 3],
        direction_mg_dl_min,
        direction_sd_mg_dl_min,
        in_30_min: known(has, GP_HAS_PREDICTED, forecast.at(now, half_hour), of_predicted),
        low_probability: known(
            has,
            GP_HAS_LOW_PROBABILITY,
            low.and_then(|low| forecast.low_probability(now, low, half_hour)),
            |p| p,
        ),
        low_ahead: known(has, GP_HAS_LOW_AHEAD, forecast.low_ahead(now), |p| p),
        minutes_to_low: known(
            has,
            GP_HAS_MINUTES_TO_LOW,
            low.and_then(|low| forecast.minutes_to_fall(now, low, Span::from_hours(1))),
            |minutes| minutes,
        ),
    };
    gp_direction_view { has: bits, ..flat }
}

#[unsafe(no_mangle)]
pub unsafe extern "C" fn gp_trend_sign_init(
    memory: *mut c_void,
    size: usize,
    sign_bands: *const gp_bands,
) -> gp_code {
    // SAFETY: the contract of this crate
    attempt(|| unsafe {
        let slot = place::<TrendSign>(memory, size)?;
        put(slot, TrendSign::new(bands_or_default(given_bands(sign_bands)?)?));
        Ok(())
    })
}

#[unsafe(no_mangle)]
pub unsafe extern "C" fn gp_trend_sign_step(
    sign: *mut c_void,
    rate_mg_dl_min: f32,
    sd_mg_dl_min: f32,
    trend: *mut u8,
) -> gp_code {
    // SAFETY: the contract of this crate
    attempt(|| unsafe {
        let to = number(trend)?;
        let rate = Rate::from_mg_dl_per_min(rate_mg_dl_min).map_err(of_error)?;
        if !sd_mg_dl_min.is_finite() {
            return Err(GP_ERROR_NOT_FINITE);
        }
        if sd_mg_dl_min < 0.0 {
            return Err(GP_ERROR_OUT_OF_RANGE);
        }
        to.write(of_trend(object::<TrendSign>(sign)?.step(Some(rate), sd_mg_dl_min)));
        Ok(())
    })
}
