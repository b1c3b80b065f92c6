//! Time in range and what goes with it, from weeks of readings in fixed memory.

use crate::code::*;
use crate::memory::*;
use crate::monitor::{attempt, glucose};
use crate::number::status;
use crate::view::known;
use core::ffi::c_void;
use glidepath::review::{Compact, Config, DayTime, Pushed, Ranges, Review, Unit};
use glidepath::{Instant, Reading, Span};

pub const GP_UNIT_MG_DL: u8 = 0;
pub const GP_UNIT_MMOL_L: u8 = 1;
pub const GP_SUMMARY_HAS_MEAN: u32 = 1;
pub const GP_SUMMARY_HAS_SD: u32 = 1 << 1;
pub const GP_SUMMARY_HAS_CV: u32 = 1 << 2;
pub const GP_SUMMARY_HAS_GMI: u32 = 1 << 3;
pub const GP_SUMMARY_HAS_BY_TIME: u32 = 1 << 4;
pub const GP_SUMMARY_HAS_BY_READINGS: u32 = 1 << 5;
pub const GP_SUMMARY_HAS_ACTIVE: u32 = 1 << 6;
pub const GP_SUMMARY_HAS_GRI: u32 = 1 << 7;

pub type gp_review = Review<Compact>;

impl Object for Review<Compact> {
    const KIND: u32 = u32::from_le_bytes(*b"revi");
}

#[repr(C)]
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct gp_ranges {
    pub below_54: f32,
    pub from_54_to_69: f32,
    pub from_70_to_180: f32,
    pub from_181_to_250: f32,
    pub above_250: f32,
}

#[repr(C)]
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct gp_summary {
    pub has: u32,
    pub readings: u32,
    pub whole_days: u32,
    pub days: f32,
    pub active_percent: f32,
    pub mean_mg_dl: f32,
    pub sd_mg_dl: f32,
    pub cv_percent: f32,
    pub gmi_percent: f32,
    pub gri: f32,
    pub by_time: gp_ranges,
    pub by_readings: gp_ranges,
    pub suffices: u8,
    pub reserved: [u8; 3],
}

fn of_ranges(ranges: Ranges) -> gp_ranges {
    gp_ranges {
        below_54: ranges.below_54,
        from_54_to_69: ranges.from_54_to_69,
        from_70_to_180: ranges.from_70_to_180,
        from_181_to_250: ranges.from_181_to_250,
        above_250: ranges.above_250,
    }
}

#[unsafe(no_mangle)]
pub unsafe extern "C" fn gp_review_init(
    memory: *mut c_void,
    size: usize,
    interval_s: i32,
    unit: u8,
) -> gp_code {
    // SAFETY: the contract of this crate
    attempt(|| unsafe {
        let slot = place::<gp_review>(memory, size)?;
        let unit = match unit {
            GP_UNIT_MG_DL => Unit::MgDl,
            GP_UNIT_MMOL_L => Unit::MmolL,
            _ => return Err(GP_ERROR_NUMBER),
        };
        let config = Config::new(Span::from_secs(interval_s)).map_err(of_error)?.with_unit(unit);
        put(slot, Review::new(config));
        Ok(())
    })
}

#[unsafe(no_mangle)]
pub unsafe extern "C" fn gp_review_push(
    review: *mut c_void,
    at_s: u32,
    mg_dl: f32,
    reading_status: u8,
    local_s: u32,
) -> gp_code {
    // SAFETY: the contract of this crate
    attempt(|| unsafe {
        let reading =
            Reading::new(Instant::from_secs(at_s), glucose(mg_dl)?).with_status(status(reading_status)?);
        match object::<gp_review>(review)?.push(&reading, DayTime::from_secs(local_s)) {
            Pushed::Counted => Ok(()),
            Pushed::NotLater => Err(GP_ERROR_NOT_LATER),
            _ => Err(GP_ERROR_FAULT), // or what a later library refuses for
        }
    })
}

#[unsafe(no_mangle)]
pub unsafe extern "C" fn gp_review_summary(
    review: *mut c_void,
    summary: *mut gp_summary,
    size: usize,
) -> gp_code {
    // SAFETY: the contract of this crate
    attempt(|| unsafe {
        let to = result(summary, size)?;
        let summary = object::<gp_review>(review)?.summary();
        let mut bits = 0;
        let has = &mut bits;
        let flat = gp_summary {
            has: 0,
            readings: summary.readings,
            whole_days: summary.whole_days,
            days: summary.days,
            active_percent: known(has, GP_SUMMARY_HAS_ACTIVE, summary.active_percent, |x| x),
            mean_mg_dl: known(has, GP_SUMMARY_HAS_MEAN, summary.mean_mg_dl, |x| x),
            sd_mg_dl: known(has, GP_SUMMARY_HAS_SD, summary.sd_mg_dl, |x| x),
            cv_percent: known(has, GP_SUMMARY_HAS_CV, summary.cv_percent, |x| x),
            gmi_percent: known(has, GP_SUMMARY_HAS_GMI, summary.gmi_percent, |x| x),
            gri: known(has, GP_SUMMARY_HAS_GRI, summary.gri, |x| x),
            by_time: known(has, GP_SUMMARY_HAS_BY_TIME, summary.by_time, of_ranges),
            by_readings: known(has, GP_SUMMARY_HAS_BY_READINGS, summary.by_readings, of_ranges),
            suffices: summary.suffices().into(),
            reserved: [0; 3],
        };
        to.write(gp_summary { has: bits, ..flat });
        Ok(())
    })
}
