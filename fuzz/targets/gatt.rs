//! Any bytes as any Bluetooth payload: refused, or decoded to what encodes and decodes to the same again.
#![no_main]

use glidepath::gatt::{
    CgmMeasurement, CgmStatus, CurrentTime, E2eCrc, GlucoseContext, GlucoseMeasurement, OctetOrder,
    SessionStart, Sfloat,
};
use glidepath::{Glucose, Instant, Status};
use libfuzzer_sys::fuzz_target;

fuzz_target!(|bytes: &[u8]| {
    for crc in [E2eCrc::Absent, E2eCrc::Present] {
        if let Ok(record) = CgmMeasurement::decode(bytes, crc) {
            assert_eq!(CgmMeasurement::decode(record.encode(crc).as_bytes(), crc), Ok(record));
            let range = Glucose::from_mg_dl(40.0).unwrap()..=Glucose::from_mg_dl(400.0).unwrap();
            let at = Instant::from_secs(1_790_000_000);
            let status = |record: CgmMeasurement| record.reading(at, range.clone()).map(|r| r.status());
            if let Some(reading) = record.reading(at, range.clone()) {
                assert!(reading.glucose().mg_dl().is_finite());
                // doubtful exactly where the two orders disagree about a fault
                let orders = [OctetOrder::StatusFirst, OctetOrder::WarningFirst];
                let faults = orders.map(|order| status(record.in_octet_order(order)) == Some(Status::Fault));
                assert_eq!(record.order_in_doubt(), faults[0] != faults[1]);
                assert!(!record.order_in_doubt() || reading.status() == Status::Doubtful);
                assert_eq!(reading.status() == Status::Fault, faults == [true; 2]);
            }
        }
        let mut rest = bytes;
        while let Ok((_, left)) = CgmMeasurement::decode_first(rest, crc) {
            assert!(left.len() < rest.len());
            rest = left;
        }
        if let Ok(status) = CgmStatus::decode(bytes, crc) {
            assert_eq!(CgmStatus::decode(status.encode(crc).as_bytes(), crc), Ok(status));
        }
        if let Ok(start) = SessionStart::decode(bytes, crc) {
            assert_eq!(SessionStart::decode(start.encode(crc).as_bytes(), crc), Ok(start));
            let _ = (start.utc(), start.offset());
        }
    }
    if let Ok(result) = GlucoseMeasurement::decode(bytes) {
        assert_eq!(GlucoseMeasurement::decode(result.encode().as_bytes()), Ok(result));
        assert!(result.fingerstick().is_none_or(|stick| stick.glucose().mg_dl().is_finite()));
    }
    if let Ok(context) = GlucoseContext::decode(bytes) {
        assert_eq!(GlucoseContext::decode(context.encode().as_bytes()), Ok(context));
    }
    if let Ok(time) = CurrentTime::decode(bytes) {
        assert_eq!(CurrentTime::decode(time.encode().as_bytes()), Ok(time));
    }
    for pair in bytes.chunks_exact(2) {
        let given = Sfloat::from_bits(u16::from_le_bytes([pair[0], pair[1]]));
        if let Some(number) = given.number() {
            assert!(number.is_finite());
            let again = Sfloat::nearest(number).number().expect("a number");
            assert!((again - number).abs() <= 1e-6 * number.abs(), "{number} became {again}");
        }
    }
});
