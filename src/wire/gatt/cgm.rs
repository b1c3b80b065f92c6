//! CGM Measurement: one record of a continuous sensor.

use super::annunciation::{Annunciation, OctetOrder};
use super::crc::E2eCrc;
use super::sfloat::{Sfloat, SfloatValue};
use super::wire::{DecodeError, Fields, Payload, flags};
use crate::reading::{Reading, Status};
use crate::units::{Glucose, Instant, Span};
use core::ops::RangeInclusive;

const TREND: u8 = 1;
const QUALITY: u8 = 1 << 1;
const RESERVED: u8 = 0b0001_1100;
const WARNING_OCTET: u8 = 1 << 5;
const CALIBRATION_OCTET: u8 = 1 << 6;
const STATUS_OCTET: u8 = 1 << 7;
const OCTETS: u8 = 0b1110_0000;

/// Size, flags, concentration and time offset.
const SHORTEST: u8 = 6;

/// One CGM Measurement record. 20 bytes.
///
/// Fields in order: size, flags, concentration (SFLOAT, mg/dL), minutes since the session's start, up to three
/// annunciation octets, trend (SFLOAT, mg/dL per minute), quality (SFLOAT, percent), E2E-CRC. The order of the
/// annunciation octets is not settled: see [`OctetOrder`].
///
/// Feature `defmt` gives `Format`.
///
/// # Source
/// Bluetooth SIG GATT Specification Supplement, CGM Measurement. From memory.
///
/// # Examples
/// ```
/// use glidepath::{Glucose, Instant, gatt::{CgmMeasurement, E2eCrc}};
/// // size 6, no flags, 104 mg/dL, 5 minutes into the session
/// let record = CgmMeasurement::decode(&[6, 0, 0x68, 0x00, 5, 0], E2eCrc::Absent)?;
/// let range = Glucose::from_mg_dl(40.0)?..=Glucose::from_mg_dl(400.0)?;
/// let reading = record.reading(Instant::from_secs(1_000), range).expect("a value");
/// assert_eq!((reading.at().secs(), reading.glucose().whole_mg_dl()), (1_300, 104));
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct CgmMeasurement {
    glucose_mg_dl: Sfloat,
    offset_min: u16,
    /// Which octets are sent, by their flag.
    octets: u8,
    order: OctetOrder,
    /// Read status first, whatever the order.
    annunciation: Annunciation,
    trend_mg_dl_per_min: Option<Sfloat>,
    quality_percent: Option<Sfloat>,
}

impl CgmMeasurement {
    /// A record with a concentration in mg/dL and minutes since the session's start.
    #[must_use]
    pub const fn new(glucose_mg_dl: Sfloat, offset_min: u16) -> Self {
        Self {
            glucose_mg_dl,
            offset_min,
            octets: 0,
            order: OctetOrder::Unsettled,
            annunciation: Annunciation::from_octets([0; 3]),
            trend_mg_dl_per_min: None,
            quality_percent: None,
        }
    }

    /// The same bytes, with the annunciation octets read in `order`. A record to be sent is given its order
    /// before its annunciation.
    #[must_use]
    pub const fn in_octet_order(self, order: OctetOrder) -> Self {
        Self { order, ..self }
    }

    /// With an annunciation, its octets in the record's order, status first as long as that is
    /// [`OctetOrder::Unsettled`]; octets that announce nothing are not sent.
    #[must_use]
    pub const fn with_annunciation(self, annunciation: Annunciation) -> Self {
        let [status, calibration, warning] = annunciation.octets();
        let octets = flags(&[
            (status != 0, STATUS_OCTET),
            (calibration != 0, CALIBRATION_OCTET),
            (warning != 0, WARNING_OCTET),
        ]);
        let annunciation = match self.order {
            OctetOrder::Unsettled | OctetOrder::StatusFirst => annunciation,
            OctetOrder::WarningFirst => reversed(octets, annunciation),
        };
        Self { annunciation, octets, ..self }
    }

    /// With the sensor's own rate of change, mg/dL per minute.
    #[must_use]
    pub const fn with_trend(self, mg_dl_per_min: Sfloat) -> Self {
        Self { trend_mg_dl_per_min: Some(mg_dl_per_min), ..self }
    }

    /// With the sensor's own quality, percent.
    #[must_use]
    pub const fn with_quality(self, percent: Sfloat) -> Self {
        Self { quality_percent: Some(percent), ..self }
    }

    /// The only record of a payload.
    ///
    /// # Errors
    /// As [`CgmMeasurement::decode_first`], and when bytes are left over.
    pub fn decode(bytes: &[u8], crc: E2eCrc) -> Result<Self, DecodeError> {
        let (record, rest) = Self::decode_first(bytes, crc)?;
        if rest.is_empty() { Ok(record) } else { Err(DecodeError::TooLong) }
    }

    /// The first record of a payload, and the rest of it: a notification may carry several.
    ///
    /// # Errors
    /// A payload shorter than its size field, a size other than the flags ask for, a reserved flag, a wrong
    /// checksum.
    pub fn decode_first(bytes: &[u8], crc: E2eCrc) -> Result<(Self, &[u8]), DecodeError> {
        let size = *bytes.first().ok_or(DecodeError::TooShort)?;
        let (record, rest) = bytes.split_at_checked(usize::from(size)).ok_or(DecodeError::TooShort)?;
        if size < SHORTEST.saturating_add(crc.len()) {
            return Err(DecodeError::Size);
        }
        let mut fields = Fields(crc.strip(record)?);
        let [_, flags] = fields.array()?;
        if flags & RESERVED != 0 {
            return Err(DecodeError::ReservedFlag);
        }
        let record = Self::take(flags, &mut fields).map_err(|_| DecodeError::Size)?;
        fields.end().map_err(|_| DecodeError::Size)?;
        Ok((record, rest))
    }

    fn take(flags: u8, fields: &mut Fields<'_>) -> Result<Self, DecodeError> {
        let (glucose_mg_dl, offset_min) = (fields.sfloat()?, fields.u16()?);
        let mut octet = |bit| fields.optional(flags & bit != 0, Fields::u8).map(Option::unwrap_or_default);
        let octets = [octet(STATUS_OCTET)?, octet(CALIBRATION_OCTET)?, octet(WARNING_OCTET)?];
        Ok(Self {
            glucose_mg_dl,
            offset_min,
            order: OctetOrder::Unsettled,
            octets: flags & OCTETS,
            annunciation: Annunciation::from_octets(octets),
            trend_mg_dl_per_min: fields.optional(flags & TREND != 0, Fields::sfloat)?,
            quality_percent: fields.optional(flags & QUALITY != 0, Fields::sfloat)?,
        })
    }

    /// To bytes; size and flags follow from what the record holds.
    #[must_use]
    pub fn encode(&self, crc: E2eCrc) -> Payload {
        let optional = |field: Option<Sfloat>| if field.is_some() { 2_u32 } else { 0 };
        let extra = self
            .octets
            .count_ones()
            .saturating_add(optional(self.trend_mg_dl_per_min))
            .saturating_add(optional(self.quality_percent));
        let mut payload = Payload::new();
        // at most 15
        payload.put_u8(u8::try_from(extra).unwrap_or(0).saturating_add(SHORTEST).saturating_add(crc.len()));
        let fields =
            flags(&[(self.trend_mg_dl_per_min.is_some(), TREND), (self.quality_percent.is_some(), QUALITY)]);
        payload.put_u8(self.octets | fields);
        payload.put_sfloat(self.glucose_mg_dl);
        payload.put_u16(self.offset_min);
        let octets = self.annunciation.octets();
        for (bit, octet) in [STATUS_OCTET, CALIBRATION_OCTET, WARNING_OCTET].into_iter().zip(octets) {
            if self.octets & bit != 0 {
                payload.put_u8(octet);
            }
        }
        for field in [self.trend_mg_dl_per_min, self.quality_percent].into_iter().flatten() {
            payload.put_sfloat(field);
        }
        crc.append(&mut payload);
        payload
    }

    /// The concentration as sent, mg/dL.
    #[must_use]
    pub const fn glucose_mg_dl(&self) -> Sfloat {
        self.glucose_mg_dl
    }

    /// Minutes since the session's start.
    #[must_use]
    pub const fn offset_min(&self) -> u16 {
        self.offset_min
    }

    /// What the sensor announces, in the record's order, status first as long as that is
    /// [`OctetOrder::Unsettled`]; octets not sent announce nothing.
    #[must_use]
    pub const fn annunciation(&self) -> Annunciation {
        let [first, _] = self.meanings();
        first
    }

    /// Whether the order of the octets is not settled and the two orders disagree about a fault, so that
    /// [`reading`](Self::reading) is doubtful. To be counted: a sensor that brings this often needs its order
    /// chosen.
    #[must_use]
    pub const fn order_in_doubt(&self) -> bool {
        let [first, second] = self.meanings();
        first.is_fault() != second.is_fault()
    }

    /// What the octets may mean; twice the same once the order is chosen.
    const fn meanings(&self) -> [Annunciation; 2] {
        let (status_first, warning_first) = (self.annunciation, reversed(self.octets, self.annunciation));
        match self.order {
            OctetOrder::Unsettled => [status_first, warning_first],
            OctetOrder::StatusFirst => [status_first; 2],
            OctetOrder::WarningFirst => [warning_first; 2],
        }
    }

    /// The sensor's own rate of change, mg/dL per minute.
    #[must_use]
    pub const fn trend_mg_dl_per_min(&self) -> Option<Sfloat> {
        self.trend_mg_dl_per_min
    }

    /// The sensor's own quality, percent.
    #[must_use]
    pub const fn quality_percent(&self) -> Option<Sfloat> {
        self.quality_percent
    }

    /// The record as a reading, for a session that began at `session_start`.
    ///
    /// `range` is the sensor's own: a record that says only "below" or "above" what the device can express
    /// gets the range's end, with that status. Doubtful when [`order_in_doubt`](Self::order_in_doubt);
    /// otherwise the graver of what an unsettled order may mean. Nothing when the record holds no value (NaN,
    /// not at this resolution, reserved) or one that is no concentration.
    #[must_use]
    pub fn reading(&self, session_start: Instant, range: RangeInclusive<Glucose>) -> Option<Reading> {
        let [first, second] = self.meanings();
        let either = first.with(second);
        let (glucose, status) = match self.glucose_mg_dl.value() {
            SfloatValue::Number(mg_dl) => (Glucose::from_mg_dl(mg_dl).ok()?, either.status()),
            SfloatValue::NegativeInfinity => (*range.start(), Status::BelowRange),
            SfloatValue::PositiveInfinity => (*range.end(), Status::AboveRange),
            _ => return None,
        };
        let status = if self.order_in_doubt() {
            Status::Doubtful
        } else if either.is_fault() {
            Status::Fault
        } else {
            status
        };
        let at = session_start.plus(Span::from_mins(i32::from(self.offset_min)));
        Some(Reading::new(at, glucose).with_status(status))
    }
}

/// What octets mean in one order when `meaning` is what they mean in the other.
const fn reversed(sent: u8, meaning: Annunciation) -> Annunciation {
    let [status, calibration, warning] = meaning.octets();
    let sent = (sent & STATUS_OCTET != 0, sent & CALIBRATION_OCTET != 0, sent & WARNING_OCTET != 0);
    Annunciation::from_octets(match sent {
        (true, true, false) => [calibration, status, warning],
        (false, true, true) => [status, warning, calibration],
        (true, _, true) => [warning, calibration, status],
        _ => return meaning,
    })
}

#[cfg(test)]
mod tests {
    extern crate std;
    use super::*;
    use proptest::prelude::*;
    use std::vec::Vec;

    const FULL: [u8; 13] = [
        13,   // size
        0xE3, // trend, quality, all three octets
        0x68, 0x00, // 104
        0x2C, 0x01, // 300 min
        0x02, 0x04, 0x10, // battery low; calibration recommended; falls fast
        0xEC, 0xFF, // −20 × 10⁻¹ = −2.0 mg/dL/min
        0x5F, 0x00, // 95 %
    ];

    fn range() -> RangeInclusive<Glucose> {
        Glucose::clamped(40.0)..=Glucose::clamped(400.0)
    }

    #[test]
    fn a_full_record_by_hand() {
        let record = CgmMeasurement::decode(&FULL, E2eCrc::Absent).unwrap();
        assert_eq!(record.glucose_mg_dl().number(), Some(104.0));
        assert_eq!(record.offset_min(), 300);
        assert_eq!(record.trend_mg_dl_per_min().and_then(Sfloat::number), Some(-2.0));
        assert_eq!(record.quality_percent().and_then(Sfloat::number), Some(95.0));
        let announced = Annunciation::BATTERY_LOW
            .with(Annunciation::CALIBRATION_RECOMMENDED)
            .with(Annunciation::RATE_OF_DECREASE);
        assert_eq!(record.annunciation(), announced);
        assert_eq!(record.encode(E2eCrc::Absent).as_bytes(), FULL);
    }

    #[test]
    fn a_full_record_is_built_to_the_same_bytes() {
        let built = CgmMeasurement::new(Sfloat::nearest(104.0), 300)
            .with_annunciation(Annunciation::from_octets([0x02, 0x04, 0x10]))
            .with_trend(Sfloat::from_bits(0xFFEC))
            .with_quality(Sfloat::nearest(95.0));
        assert_eq!(built.encode(E2eCrc::Absent).as_bytes(), FULL);
    }

    #[test]
    fn one_octet_alone_keeps_its_meaning() {
        // the calibration octet only: 0x20 is "too cold"
        let bytes = [7, 0x40, 0x68, 0, 1, 0, 0x20];
        let record = CgmMeasurement::decode(&bytes, E2eCrc::Absent).unwrap();
        assert_eq!(record.annunciation(), Annunciation::TEMPERATURE_LOW);
        assert_eq!(record.reading(Instant::from_secs(0), range()).unwrap().status(), Status::Doubtful);
    }

    #[test]
    fn two_records_in_one_payload() {
        let both = [6, 0, 0x68, 0, 5, 0, 6, 0, 0x69, 0, 10, 0];
        let (first, rest) = CgmMeasurement::decode_first(&both, E2eCrc::Absent).unwrap();
        let second = CgmMeasurement::decode(rest, E2eCrc::Absent).unwrap();
        assert_eq!((first.offset_min(), second.offset_min()), (5, 10));
        assert_eq!(CgmMeasurement::decode(&both, E2eCrc::Absent), Err(DecodeError::TooLong));
    }

    #[test]
    fn malformed_records_are_typed_errors() {
        let decode = |bytes: &[u8]| CgmMeasurement::decode(bytes, E2eCrc::Absent);
        assert_eq!(decode(&[]), Err(DecodeError::TooShort));
        assert_eq!(decode(&[6, 0, 0x68, 0, 5]), Err(DecodeError::TooShort));
        assert_eq!(decode(&[5, 0, 0x68, 0, 5]), Err(DecodeError::Size));
        assert_eq!(decode(&[0]), Err(DecodeError::Size));
        assert_eq!(decode(&[7, 0, 0x68, 0, 5, 0, 0]), Err(DecodeError::Size)); // size without a flag for it
        assert_eq!(decode(&[6, 1, 0x68, 0, 5, 0]), Err(DecodeError::Size)); // flag without room for it
        for bit in 2..=4 {
            assert_eq!(decode(&[6, 1 << bit, 0x68, 0, 5, 0]), Err(DecodeError::ReservedFlag));
        }
        let mut sealed = CgmMeasurement::new(Sfloat::nearest(104.0), 5).encode(E2eCrc::Present);
        assert_eq!(sealed.as_bytes().first(), Some(&8));
        assert!(CgmMeasurement::decode(sealed.as_bytes(), E2eCrc::Present).is_ok());
        assert_eq!(CgmMeasurement::decode(sealed.as_bytes(), E2eCrc::Absent), Err(DecodeError::Size));
        sealed.put_u8(0);
        assert_eq!(CgmMeasurement::decode(sealed.as_bytes(), E2eCrc::Present), Err(DecodeError::TooLong));
        let bad = [8, 0, 0x68, 0, 5, 0, 0, 0];
        assert_eq!(CgmMeasurement::decode(&bad, E2eCrc::Present), Err(DecodeError::Crc));
        assert_eq!(CgmMeasurement::decode(&FULL[..6], E2eCrc::Present), Err(DecodeError::TooShort));
        assert_eq!(decode(&[1, 0, 0, 0, 0, 0, 0]), Err(DecodeError::Size));
    }

    #[test]
    fn out_of_range_and_missing_values_are_told_apart() {
        let reading = |glucose, annunciation| {
            CgmMeasurement::new(glucose, 1)
                .with_annunciation(annunciation)
                .reading(Instant::from_secs(40), range())
                .map(|r| (r.at().secs(), r.glucose().whole_mg_dl(), r.status()))
        };
        let quiet = Annunciation::default();
        assert_eq!(reading(Sfloat::NEGATIVE_INFINITY, quiet), Some((100, 40, Status::BelowRange)));
        assert_eq!(reading(Sfloat::POSITIVE_INFINITY, quiet), Some((100, 400, Status::AboveRange)));
        assert_eq!(
            reading(Sfloat::NEGATIVE_INFINITY, Annunciation::MALFUNCTION),
            Some((100, 40, Status::Fault))
        );
        for nothing in [Sfloat::NAN, Sfloat::NRES, Sfloat::from_bits(0x0801), Sfloat::nearest(-1.0)] {
            assert_eq!(reading(nothing, quiet), None);
        }
    }

    /// A record of 104 mg/dL with these octets behind the flags of `mask`.
    fn with_octets(mask: u8, octets: &[u8]) -> CgmMeasurement {
        let size = SHORTEST + octets.len() as u8;
        let bytes: Vec<u8> = [size, mask, 0x68, 0, 5, 0].into_iter().chain(octets.iter().copied()).collect();
        let record = CgmMeasurement::decode(&bytes, E2eCrc::Absent).unwrap();
        assert_eq!(record.encode(E2eCrc::Absent).as_bytes(), bytes);
        record
    }

    fn status(record: CgmMeasurement) -> Status {
        record.reading(Instant::from_secs(0), range()).unwrap().status()
    }

    #[test]
    fn each_order_gives_each_octet_its_place() {
        const S: u8 = STATUS_OCTET;
        const C: u8 = CALIBRATION_OCTET;
        const W: u8 = WARNING_OCTET;
        // flags, octets as sent, then status, calibration and warning in either order
        for (mask, sent, status_first, warning_first) in [
            (S, &[1][..], [1, 0, 0], [1, 0, 0]),
            (C, &[1], [0, 1, 0], [0, 1, 0]),
            (W, &[1], [0, 0, 1], [0, 0, 1]),
            (S | C, &[1, 2], [1, 2, 0], [2, 1, 0]),
            (S | W, &[1, 2], [1, 0, 2], [2, 0, 1]),
            (C | W, &[1, 2], [0, 1, 2], [0, 2, 1]),
            (S | C | W, &[1, 2, 3], [1, 2, 3], [3, 2, 1]),
        ] {
            let record = with_octets(mask, sent);
            for (order, octets) in [
                (OctetOrder::Unsettled, status_first),
                (OctetOrder::StatusFirst, status_first),
                (OctetOrder::WarningFirst, warning_first),
            ] {
                assert_eq!(
                    record.in_octet_order(order).annunciation().octets(),
                    octets,
                    "{mask:#x} {order:?}"
                );
                let built = CgmMeasurement::new(record.glucose_mg_dl(), 5)
                    .in_octet_order(order)
                    .with_annunciation(Annunciation::from_octets(octets));
                assert_eq!(built, record.in_octet_order(order));
            }
        }
    }

    /// Faults are the bits 0, 2, 3 and 5 of the status octet, which is the first sent or the last.
    #[test]
    #[cfg_attr(miri, ignore = "too slow")]
    fn a_fault_of_one_order_alone_makes_a_reading_doubtful() {
        const FAULTS: u8 = 0b10_1101;
        let mut doubtful = 0;
        for first in 0..=255_u8 {
            for last in 0..=255_u8 {
                for (mask, octets) in [
                    (STATUS_OCTET | CALIBRATION_OCTET, &[first, last][..]),
                    (STATUS_OCTET | WARNING_OCTET, &[first, last]),
                    (STATUS_OCTET | CALIBRATION_OCTET | WARNING_OCTET, &[first, 0xFF, last]),
                ] {
                    let record = with_octets(mask, octets);
                    let (one, other) = (first & FAULTS != 0, last & FAULTS != 0);
                    assert_eq!(record.order_in_doubt(), one != other, "{octets:?}");
                    match (one, other) {
                        (true, true) => assert_eq!(status(record), Status::Fault),
                        (false, false) => assert!(status(record) != Status::Fault),
                        _ => assert_eq!(status(record), Status::Doubtful),
                    }
                    doubtful += u32::from(record.order_in_doubt());
                    for (order, fault) in [(OctetOrder::StatusFirst, one), (OctetOrder::WarningFirst, other)]
                    {
                        let chosen = record.in_octet_order(order);
                        assert!(!chosen.order_in_doubt());
                        assert_eq!(status(chosen), chosen.annunciation().status());
                        assert_eq!(status(chosen) == Status::Fault, fault);
                    }
                }
                // without a status octet there is no fault to disagree about
                assert!(!with_octets(CALIBRATION_OCTET | WARNING_OCTET, &[first, last]).order_in_doubt());
            }
        }
        // 4 bits of 8 are faults: 16 of 256 octets have none
        assert_eq!(doubtful, 3 * 2 * 16 * 240);
    }

    #[test]
    fn short_of_a_fault_the_graver_meaning_holds() {
        // under the device's range if the warning octet comes first; a reserved status bit otherwise
        let low = with_octets(STATUS_OCTET | WARNING_OCTET, &[0x40, 0x02]);
        assert_eq!((low.order_in_doubt(), status(low)), (false, Status::BelowRange));
        assert_eq!(status(low.in_octet_order(OctetOrder::StatusFirst)), Status::Normal);
        // too warm if the calibration octet comes first, an alert of the device's otherwise
        let warm = with_octets(STATUS_OCTET | CALIBRATION_OCTET, &[0x10, 0x02]);
        assert_eq!(status(warm), Status::Doubtful);
        assert_eq!(status(warm.in_octet_order(OctetOrder::StatusFirst)), Status::Normal);
    }

    #[test]
    fn a_value_past_the_range_is_doubtful_too() {
        let reading = |glucose, first, last| {
            let octets = Annunciation::from_octets([first, 0, last]);
            let record = CgmMeasurement::new(glucose, 1).with_annunciation(octets);
            let reading = record.reading(Instant::from_secs(0), range()).unwrap();
            (reading.glucose().whole_mg_dl(), reading.status())
        };
        assert_eq!(reading(Sfloat::NEGATIVE_INFINITY, 0x02, 0x01), (40, Status::Doubtful));
        assert_eq!(reading(Sfloat::POSITIVE_INFINITY, 0x02, 0x01), (400, Status::Doubtful));
        assert_eq!(reading(Sfloat::NEGATIVE_INFINITY, 0x08, 0x01), (40, Status::Fault));
        assert_eq!(reading(Sfloat::NEGATIVE_INFINITY, 0x02, 0x02), (40, Status::BelowRange));
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(if cfg!(miri) { 8 } else { 512 }))]
        #[test]
        fn what_decodes_encodes_to_the_same_bytes(
            flags in any::<u8>(), body in prop::collection::vec(any::<u8>(), 0..16), sealed in any::<bool>(),
        ) {
            let crc = if sealed { E2eCrc::Present } else { E2eCrc::Absent };
            let mut bytes: Vec<u8> = [body.len() as u8 + 2 + crc.len(), flags & !RESERVED].into_iter().chain(body).collect();
            if sealed {
                let sum = super::super::crc16(&bytes);
                bytes.extend(sum.to_le_bytes());
            }
            if let Ok(record) = CgmMeasurement::decode(&bytes, crc) {
                let again = record.encode(crc);
                prop_assert_eq!(again.as_bytes(), bytes);
            }
        }

        #[test]
        fn what_encodes_decodes_to_the_same_record(
            (glucose, offset, octets) in any::<(u16, u16, [u8; 3])>(),
            (trend, quality, sealed) in any::<(Option<u16>, Option<u16>, bool)>(),
            order in prop::sample::select(&[
                OctetOrder::Unsettled, OctetOrder::StatusFirst, OctetOrder::WarningFirst,
            ][..]),
        ) {
            let crc = if sealed { E2eCrc::Present } else { E2eCrc::Absent };
            let mut record = CgmMeasurement::new(Sfloat::from_bits(glucose), offset)
                .in_octet_order(order)
                .with_annunciation(Annunciation::from_octets(octets));
            record.trend_mg_dl_per_min = trend.map(Sfloat::from_bits);
            record.quality_percent = quality.map(Sfloat::from_bits);
            let decoded = CgmMeasurement::decode(record.encode(crc).as_bytes(), crc).unwrap();
            prop_assert_eq!(decoded.in_octet_order(order), record);
            prop_assert_eq!(record.annunciation().octets(), octets);
        }

        #[test]
        fn any_bytes_are_refused_or_understood(bytes in prop::collection::vec(any::<u8>(), 0..24)) {
            for crc in [E2eCrc::Absent, E2eCrc::Present] {
                let _ = CgmMeasurement::decode_first(&bytes, crc);
            }
        }
    }
}
