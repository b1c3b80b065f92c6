//! Bluetooth SIG glucose payloads, decoded.

use crate::code::*;
use crate::memory::*;
use crate::monitor::{attempt, glucose};
use crate::number::of_status;
use crate::settings::flag;
use glidepath::Instant;
use glidepath::gatt::{CgmMeasurement, CgmStatus, E2eCrc, GlucoseMeasurement, OctetOrder, SessionStart};

pub const GP_ORDER_UNSETTLED: u8 = 0;
pub const GP_ORDER_STATUS_FIRST: u8 = 1;
pub const GP_ORDER_WARNING_FIRST: u8 = 2;
pub const GP_CGM_HAS_READING: u32 = 1;
pub const GP_CGM_HAS_TREND: u32 = 1 << 1;
pub const GP_CGM_HAS_QUALITY: u32 = 1 << 2;
pub const GP_METER_HAS_FINGERSTICK: u32 = 1;
pub const GP_METER_HAS_TIME: u32 = 1 << 1;
pub const GP_METER_HAS_VALUE: u32 = 1 << 2;
pub const GP_METER_HAS_STATUS: u32 = 1 << 3;
pub const GP_SESSION_HAS_UTC: u32 = 1;
pub const GP_SESSION_HAS_OFFSET: u32 = 1 << 1;

#[repr(C)]
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct gp_cgm_sensor {
    pub session_start_s: u32,
    pub least_mg_dl: f32,
    pub greatest_mg_dl: f32,
    pub crc: u8,
    pub order: u8,
    pub reserved: [u8; 2],
}

#[repr(C)]
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct gp_cgm {
    pub has: u32,
    pub at_s: u32,
    pub mg_dl: f32,
    pub trend_mg_dl_min: f32,
    pub quality_percent: f32,
    pub annunciation: u32,
    pub offset_min: u16,
    pub status: u8,
    pub order_in_doubt: u8,
}

#[repr(C)]
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct gp_cgm_status {
    pub annunciation: u32,
    pub offset_min: u16,
    pub status: u8,
    pub reserved: u8,
}

#[repr(C)]
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct gp_session_start {
    pub has: u32,
    pub utc_s: u32,
    pub offset_s: i32,
}

#[repr(C)]
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct gp_meter {
    pub has: u32,
    pub at_s: u32,
    pub mg_dl: f32,
    pub sequence: u16,
    pub status: u16,
    pub sample_type: u8,
    pub sample_location: u8,
    pub context_follows: u8,
    pub reserved: u8,
}

fn crc(number: u8) -> Result<E2eCrc, gp_code> {
    Ok(if flag(number)? { E2eCrc::Present } else { E2eCrc::Absent })
}

fn order(number: u8) -> Result<OctetOrder, gp_code> {
    match number {
        GP_ORDER_UNSETTLED => Ok(OctetOrder::Unsettled),
        GP_ORDER_STATUS_FIRST => Ok(OctetOrder::StatusFirst),
        GP_ORDER_WARNING_FIRST => Ok(OctetOrder::WarningFirst),
        _ => Err(GP_ERROR_NUMBER),
    }
}

fn word([a, b, c]: [u8; 3]) -> u32 {
    u32::from_le_bytes([a, b, c, 0])
}

#[unsafe(no_mangle)]
pub unsafe extern "C" fn gp_cgm_decode(
    bytes: *const u8,
    length: usize,
    sensor: *const gp_cgm_sensor,
    cgm: *mut gp_cgm,
    cgm_size: usize,
    used: *mut usize,
) -> gp_code {
    // SAFETY: the contract of this crate
    attempt(|| unsafe {
        let (to, to_used) = (result(cgm, cgm_size)?, number(used)?);
        let sensor = *aligned_ref(sensor)?;
        let range = glucose(sensor.least_mg_dl)?..=glucose(sensor.greatest_mg_dl)?;
        if sensor.least_mg_dl > sensor.greatest_mg_dl {
            return Err(GP_ERROR_INCONSISTENT);
        }
        let order = order(sensor.order)?;
        let (record, rest) =
            CgmMeasurement::decode_first(items(bytes, length)?, crc(sensor.crc)?).map_err(of_payload)?;
        let record = record.in_octet_order(order);
        let mut flat = gp_cgm {
            annunciation: word(record.annunciation().octets()),
            offset_min: record.offset_min(),
            order_in_doubt: record.order_in_doubt().into(),
            ..gp_cgm::default()
        };
        if let Some(reading) = record.reading(Instant::from_secs(sensor.session_start_s), range) {
            flat.has |= GP_CGM_HAS_READING;
            flat.at_s = reading.at().secs();
            flat.mg_dl = reading.glucose().mg_dl();
            flat.status = of_status(reading.status());
        }
        if let Some(trend) = record.trend_mg_dl_per_min().and_then(|trend| trend.number()) {
            flat.has |= GP_CGM_HAS_TREND;
            flat.trend_mg_dl_min = trend;
        }
        if let Some(quality) = record.quality_percent().and_then(|quality| quality.number()) {
            flat.has |= GP_CGM_HAS_QUALITY;
            flat.quality_percent = quality;
        }
        to.write(flat);
        to_used.write(length.saturating_sub(rest.len()));
        Ok(())
    })
}

#[unsafe(no_mangle)]
pub unsafe extern "C" fn gp_cgm_status_decode(
    bytes: *const u8,
    length: usize,
    checksum: u8,
    cgm_status: *mut gp_cgm_status,
    size: usize,
) -> gp_code {
    // SAFETY: the contract of this crate
    attempt(|| unsafe {
        let to = result(cgm_status, size)?;
        let decoded = CgmStatus::decode(items(bytes, length)?, crc(checksum)?).map_err(of_payload)?;
        to.write(gp_cgm_status {
            annunciation: word(decoded.annunciation().octets()),
            offset_min: decoded.offset_min(),
            status: of_status(decoded.annunciation().status()),
            reserved: 0,
        });
        Ok(())
    })
}

#[unsafe(no_mangle)]
pub unsafe extern "C" fn gp_session_start_decode(
    bytes: *const u8,
    length: usize,
    checksum: u8,
    start: *mut gp_session_start,
    size: usize,
) -> gp_code {
    // SAFETY: the contract of this crate
    attempt(|| unsafe {
        let to = result(start, size)?;
        let decoded = SessionStart::decode(items(bytes, length)?, crc(checksum)?).map_err(of_payload)?;
        let mut flat = gp_session_start::default();
        if let Some(utc) = decoded.utc() {
            flat.has |= GP_SESSION_HAS_UTC;
            flat.utc_s = utc.secs();
        }
        if let Some(offset) = decoded.offset() {
            flat.has |= GP_SESSION_HAS_OFFSET;
            flat.offset_s = offset.secs();
        }
        to.write(flat);
        Ok(())
    })
}

#[unsafe(no_mangle)]
pub unsafe extern "C" fn gp_meter_decode(
    bytes: *const u8,
    length: usize,
    meter: *mut gp_meter,
    size: usize,
) -> gp_code {
    // SAFETY: the contract of this crate
    attempt(|| unsafe {
        let to = result(meter, size)?;
        let decoded = GlucoseMeasurement::decode(items(bytes, length)?).map_err(of_payload)?;
        let mut flat = gp_meter {
            sequence: decoded.sequence(),
            context_follows: decoded.context_follows().into(),
            ..gp_meter::default()
        };
        if decoded.fingerstick().is_some() {
            flat.has |= GP_METER_HAS_FINGERSTICK;
        }
        if let Some(at) = decoded.at() {
            flat.has |= GP_METER_HAS_TIME;
            flat.at_s = at.secs();
        }
        if let Some(sample) = decoded.sample() {
            flat.sample_type = sample.kind as u8;
            flat.sample_location = sample.location as u8;
            if let Some(glucose) = sample.concentration.glucose() {
                flat.has |= GP_METER_HAS_VALUE;
                flat.mg_dl = glucose.mg_dl();
            }
        }
        if let Some(sensor_status) = decoded.status() {
            flat.has |= GP_METER_HAS_STATUS;
            flat.status = sensor_status;
        }
        to.write(flat);
        Ok(())
    })
}
