//! The version, and what functions return.

use crate::text::c_text;
use core::ffi::c_char;
use glidepath::gatt::DecodeError;
use glidepath::snapshot::SnapshotError;
use glidepath::{Error, ErrorKind};

/// Changes with any size, offset, number or meaning in the header.
pub const GP_VERSION: u32 = 1;

pub type gp_code = i32;

pub const GP_OK: gp_code = 0;
pub const GP_ERROR_NULL: gp_code = 1;
pub const GP_ERROR_SIZE: gp_code = 2;
pub const GP_ERROR_ALIGNMENT: gp_code = 3;
pub const GP_ERROR_VERSION: gp_code = 4;
pub const GP_ERROR_NOT_READY: gp_code = 5;
pub const GP_ERROR_NOT_FINITE: gp_code = 6;
pub const GP_ERROR_OUT_OF_RANGE: gp_code = 7;
pub const GP_ERROR_INCONSISTENT: gp_code = 8;
pub const GP_ERROR_NUMBER: gp_code = 9;
pub const GP_ERROR_BUFFER_TOO_SMALL: gp_code = 10;
pub const GP_ERROR_SNAPSHOT_INCOMPLETE: gp_code = 11;
pub const GP_ERROR_SNAPSHOT_VERSION: gp_code = 12;
pub const GP_ERROR_SNAPSHOT_CHECKSUM: gp_code = 13;
pub const GP_ERROR_SNAPSHOT_STATE: gp_code = 14;
pub const GP_ERROR_PAYLOAD_SHORT: gp_code = 15;
pub const GP_ERROR_PAYLOAD_LONG: gp_code = 16;
pub const GP_ERROR_PAYLOAD_SIZE: gp_code = 17;
pub const GP_ERROR_PAYLOAD_FLAG: gp_code = 18;
pub const GP_ERROR_PAYLOAD_VALUE: gp_code = 19;
pub const GP_ERROR_PAYLOAD_DATE: gp_code = 20;
pub const GP_ERROR_PAYLOAD_CRC: gp_code = 21;
pub const GP_ERROR_NOT_LATER: gp_code = 22;
pub const GP_ERROR_FAULT: gp_code = 23;
pub const GP_ERROR_NO_PAIR: gp_code = 24;
pub const GP_ERROR_OTHER: gp_code = 25;

/// What a function gives that got this far.
pub fn code(done: Result<(), gp_code>) -> gp_code {
    match done {
        Ok(()) => GP_OK,
        Err(code) => code,
    }
}

pub fn of_error(error: Error) -> gp_code {
    match error.kind() {
        ErrorKind::NotFinite => GP_ERROR_NOT_FINITE,
        ErrorKind::OutOfRange => GP_ERROR_OUT_OF_RANGE,
        ErrorKind::Inconsistent => GP_ERROR_INCONSISTENT,
        _ => GP_ERROR_OTHER,
    }
}

pub fn of_snapshot(error: SnapshotError) -> gp_code {
    match error {
        SnapshotError::BufferTooSmall => GP_ERROR_BUFFER_TOO_SMALL,
        SnapshotError::Incomplete => GP_ERROR_SNAPSHOT_INCOMPLETE,
        SnapshotError::Version(_) => GP_ERROR_SNAPSHOT_VERSION,
        SnapshotError::Checksum => GP_ERROR_SNAPSHOT_CHECKSUM,
        SnapshotError::State => GP_ERROR_SNAPSHOT_STATE,
        _ => GP_ERROR_OTHER,
    }
}

pub fn of_payload(error: DecodeError) -> gp_code {
    match error {
        DecodeError::TooShort => GP_ERROR_PAYLOAD_SHORT,
        DecodeError::TooLong => GP_ERROR_PAYLOAD_LONG,
        DecodeError::Size => GP_ERROR_PAYLOAD_SIZE,
        DecodeError::ReservedFlag => GP_ERROR_PAYLOAD_FLAG,
        DecodeError::ReservedValue(_) => GP_ERROR_PAYLOAD_VALUE,
        DecodeError::DateTime => GP_ERROR_PAYLOAD_DATE,
        DecodeError::Crc => GP_ERROR_PAYLOAD_CRC,
        #[allow(unreachable_patterns, reason = "the library may name more")]
        _ => GP_ERROR_OTHER,
    }
}

#[unsafe(no_mangle)]
pub extern "C" fn gp_version() -> u32 {
    GP_VERSION
}

/// The sizes of what both sides lay out, folded into one word; `GP_LAYOUT` in the header is the same sum.
const LAYOUT: u32 = {
    use crate::{
        accuracy::*, brief::*, direction::*, gatt::*, monitor::*, pair::*, review::*, settings::*, view::*,
    };
    let sizes = [
        size_of::<gp_view>(),
        size_of::<gp_settings>(),
        size_of::<gp_fingerstick>(),
        size_of::<gp_direction_view>(),
        size_of::<gp_trend_view>(),
        size_of::<gp_cgm>(),
        size_of::<gp_meter>(),
        size_of::<gp_summary>(),
        size_of::<gp_agreement>(),
        size_of::<gp_reading>(),
        size_of::<gp_wear>(),
        size_of::<gp_pair_view>(),
        size_of::<usize>(),
    ];
    let (mut sum, mut i) = (0_u32, 0);
    while i < sizes.len() {
        #[expect(clippy::indexing_slicing, clippy::cast_possible_truncation, reason = "at build time")]
        let size = sizes[i] as u32;
        sum = sum.wrapping_mul(31).wrapping_add(size);
        i = i.wrapping_add(1);
    }
    sum
};

#[unsafe(no_mangle)]
pub extern "C" fn gp_check(version: u32, layout: u32) -> gp_code {
    if version != GP_VERSION {
        GP_ERROR_VERSION
    } else if layout != LAYOUT {
        GP_ERROR_SIZE
    } else {
        GP_OK
    }
}

#[unsafe(no_mangle)]
pub extern "C" fn gp_code_text(code: gp_code) -> *const c_char {
    match code {
        GP_OK => c_text!("done"),
        GP_ERROR_NULL => c_text!("a pointer is null"),
        GP_ERROR_SIZE => c_text!("a size is not that of the type, or memory is too small"),
        GP_ERROR_ALIGNMENT => c_text!("memory is not aligned for its type"),
        GP_ERROR_VERSION => c_text!("header and library are of different versions"),
        GP_ERROR_NOT_READY => c_text!("not initialised, or another kind of object"),
        GP_ERROR_NOT_FINITE => c_text!("not a finite number"),
        GP_ERROR_OUT_OF_RANGE => c_text!("out of range"),
        GP_ERROR_INCONSISTENT => c_text!("at odds with another setting"),
        GP_ERROR_NUMBER => c_text!("a number that this enumeration does not have"),
        GP_ERROR_BUFFER_TOO_SMALL => c_text!("the buffer is too small"),
        GP_ERROR_SNAPSHOT_INCOMPLETE => c_text!("not a whole snapshot"),
        GP_ERROR_SNAPSHOT_VERSION => c_text!("a snapshot of another version"),
        GP_ERROR_SNAPSHOT_CHECKSUM => c_text!("a damaged snapshot"),
        GP_ERROR_SNAPSHOT_STATE => c_text!("a snapshot of something else"),
        GP_ERROR_PAYLOAD_SHORT => c_text!("the payload is too short"),
        GP_ERROR_PAYLOAD_LONG => c_text!("bytes are left over"),
        GP_ERROR_PAYLOAD_SIZE => c_text!("the payload's size field is wrong"),
        GP_ERROR_PAYLOAD_FLAG => c_text!("the payload has a reserved flag"),
        GP_ERROR_PAYLOAD_VALUE => c_text!("the payload has a reserved value"),
        GP_ERROR_PAYLOAD_DATE => c_text!("the payload has an impossible date or time"),
        GP_ERROR_PAYLOAD_CRC => c_text!("the payload's checksum does not fit"),
        GP_ERROR_NOT_LATER => c_text!("not later than the one before"),
        GP_ERROR_FAULT => c_text!("the sensor reports a fault: the value means nothing"),
        GP_ERROR_NO_PAIR => c_text!("no usable reading near enough"),
        GP_ERROR_OTHER => c_text!("another fault, which this version does not name"),
        _ => c_text!("no code of this library"),
    }
}
