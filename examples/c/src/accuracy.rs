//! A sensor against fingersticks: mean absolute relative difference and agreement rates.

use crate::code::*;
use crate::memory::*;
use crate::monitor::{attempt, glucose, gp_reading};
use crate::number::status;
use crate::view::known;
use core::ffi::c_void;
use glidepath::accuracy::{AgreementRates, CutoffBy, Method, Pair, Paired, Pairing, PointAccuracy};
use glidepath::{Fingerstick, Glucose, Instant, Reading, Span};

pub const GP_AGREEMENT_HAS_MARD: u32 = 1;
pub const GP_AGREEMENT_HAS_SD: u32 = 1 << 1;

/// How far off, and how often within limits.
pub struct Accuracy {
    point: PointAccuracy,
    agreement: AgreementRates,
}

pub type gp_accuracy = Accuracy;

impl Object for Accuracy {
    const KIND: u32 = u32::from_le_bytes(*b"accu");
}

#[repr(C)]
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct gp_agreement {
    pub has: u32,
    pub pairs: u32,
    pub mard_percent: f32,
    pub bias_mg_dl: f32,
    pub mad_mg_dl: f32,
    pub rmse_mg_dl: f32,
    pub sd_mg_dl: f32,
    pub within_15_15_percent: f32,
    pub within_20_20_percent: f32,
    pub within_30_30_percent: f32,
    pub within_40_40_percent: f32,
}

/// Agreement rates switch from mg/dL to percent here: the reference at 100 mg/dL, as in most publications.
const CUT_MG_DL: f32 = 100.0;

#[unsafe(no_mangle)]
pub unsafe extern "C" fn gp_accuracy_init(memory: *mut c_void, size: usize) -> gp_code {
    // SAFETY: the contract of this crate
    attempt(|| unsafe {
        let slot = place::<Accuracy>(memory, size)?;
        let agreement = AgreementRates::new(CUT_MG_DL, CutoffBy::Reference).map_err(of_error)?;
        put(slot, Accuracy { point: PointAccuracy::new(), agreement });
        Ok(())
    })
}

fn count(accuracy: &mut Accuracy, pair: &Pair) {
    accuracy.point.push(pair);
    accuracy.agreement.push(pair);
}

#[unsafe(no_mangle)]
pub unsafe extern "C" fn gp_accuracy_push(
    accuracy: *mut c_void,
    sensor_mg_dl: f32,
    reference_mg_dl: f32,
) -> gp_code {
    // SAFETY: the contract of this crate
    attempt(|| unsafe {
        let pair = Pair::new(Instant::from_secs(0), glucose(sensor_mg_dl)?, glucose(reference_mg_dl)?)
            .map_err(of_error)?;
        count(object::<Accuracy>(accuracy)?, &pair);
        Ok(())
    })
}

#[unsafe(no_mangle)]
pub unsafe extern "C" fn gp_accuracy_fingerstick(
    accuracy: *mut c_void,
    readings: *const gp_reading,
    readings_count: usize,
    at_s: u32,
    mg_dl: f32,
    window_s: i32,
) -> gp_code {
    // SAFETY: the contract of this crate
    attempt(|| unsafe {
        let accuracy = object::<Accuracy>(accuracy)?;
        let readings = items(readings, readings_count)?;
        let stick = Fingerstick::new(Instant::from_secs(at_s), glucose(mg_dl)?);
        let pairing = Pairing::new(Method::Nearest, Span::from_secs(window_s)).map_err(of_error)?;
        // of readings in order of time only the two around it can be the nearest
        let after = readings.partition_point(|reading| reading.at_s < at_s);
        let around = readings.iter().skip(after.saturating_sub(1)).take(2);
        let none = Reading::new(Instant::from_secs(0), Glucose::from_mg_dl(0.0).map_err(of_error)?);
        let (mut near, mut found) = ([none; 2], 0_usize);
        for (place, reading) in near.iter_mut().zip(around) {
            *place = Reading::new(Instant::from_secs(reading.at_s), glucose(reading.mg_dl)?)
                .with_status(status(reading.status)?);
            found = found.saturating_add(1);
        }
        let sticks = [stick];
        match pairing.pairs(near.get(..found).unwrap_or_default(), &sticks).next() {
            Some(Paired::Pair(pair)) => {
                count(accuracy, &pair);
                Ok(())
            }
            _ => Err(GP_ERROR_NO_PAIR),
        }
    })
}

#[unsafe(no_mangle)]
pub unsafe extern "C" fn gp_accuracy_result(
    accuracy: *mut c_void,
    agreement: *mut gp_agreement,
    size: usize,
) -> gp_code {
    // SAFETY: the contract of this crate
    attempt(|| unsafe {
        let to = result(agreement, size)?;
        let Accuracy { point, agreement } = object::<Accuracy>(accuracy)?;
        let mut bits = 0;
        let has = &mut bits;
        let flat = gp_agreement {
            has: 0,
            pairs: point.pairs(),
            mard_percent: known(has, GP_AGREEMENT_HAS_MARD, point.mard_percent(), |x| x),
            bias_mg_dl: point.bias_mg_dl().unwrap_or(0.0),
            mad_mg_dl: point.mad_mg_dl().unwrap_or(0.0),
            rmse_mg_dl: point.rmse_mg_dl().unwrap_or(0.0),
            sd_mg_dl: known(has, GP_AGREEMENT_HAS_SD, point.sd_mg_dl(), |x| x),
            within_15_15_percent: agreement.within_15_15().percent().unwrap_or(0.0),
            within_20_20_percent: agreement.within_20_20().percent().unwrap_or(0.0),
            within_30_30_percent: agreement.within_30_30().percent().unwrap_or(0.0),
            within_40_40_percent: agreement.within_40_40().percent().unwrap_or(0.0),
        };
        to.write(gp_agreement { has: bits, ..flat });
        Ok(())
    })
}
