//! Bluetooth payloads: encoded, decoded, and any bytes at all.

use crate::{Hash, mg_dl};
use core::hint::black_box;
use glidepath::Instant;
use glidepath::gatt::{
    Annunciation, Carbohydrate, CgmMeasurement, CgmStatus, Concentration, CurrentTime, DateTime, E2eCrc,
    Exercise, GlucoseContext, GlucoseMeasurement, Health, Meal, OctetOrder, Payload, Sample, SampleLocation,
    SampleType, SessionStart, Sfloat, SfloatValue, Tester, crc16,
};
use glidepath::simulate::Random;

pub fn gatt(events: usize) -> Hash {
    let mut hash = Hash::new();
    let mut random = Random::new(black_box(5), 1);
    for _ in 0..events {
        let mut bytes = [0_u8; 20];
        bytes.iter_mut().for_each(|byte| *byte = random.bits() as u8);
        let length = (random.bits() % 21) as usize;
        decode(&mut hash, bytes.get(..length).unwrap_or_default());
        let payloads = encode(&mut hash, &mut random);
        for payload in payloads.iter().flatten() {
            hash.put(crc16(payload.as_bytes()));
            payload.as_ref().iter().for_each(|byte| hash.put(*byte));
            // one wrong bit as a radio might give it
            let mut bytes = [0_u8; 20];
            bytes.iter_mut().zip(payload.as_bytes()).for_each(|(to, from)| *to = *from);
            let length = payload.as_bytes().len();
            decode(&mut hash, bytes.get(..length).unwrap_or_default());
            if let Some(byte) = bytes.get_mut((random.bits() % 20) as usize) {
                *byte ^= 1 << (random.bits() % 8);
            }
            decode(&mut hash, bytes.get(..length).unwrap_or_default());
        }
    }
    hash
}

fn encode(hash: &mut Hash, random: &mut Random) -> [Option<Payload>; 7] {
    let number = Sfloat::nearest(random.between(-1e9, 1e9));
    let glucose = Sfloat::nearest(random.between(0.0, 600.0));
    let word = random.bits();
    let octets = Annunciation::from_octets([word as u8, (word >> 8) as u8, (word >> 16) as u8]);
    let said = octets.with(Annunciation::BATTERY_LOW);
    hash.put((number.bits(), number.number(), said.contains(Annunciation::MALFUNCTION)));
    hash.put((said.status() as u8, said.octets().iter().copied().map(u32::from).sum::<u32>()));
    let date = ((word % 3000) as u16, (word >> 8) as u8 % 14, (word >> 16) as u8 % 33);
    let date_time =
        DateTime::new(date, ((word >> 3) as u8 % 26, (word >> 9) as u8 % 62, (word >> 15) as u8 % 62));
    hash.put(date_time.map(|d| d.instant()));
    let date_time = date_time.ok();
    let crc = if word & 1 == 0 { E2eCrc::Absent } else { E2eCrc::Present };
    let mut measurement = CgmMeasurement::new(glucose, word as u16).with_annunciation(said);
    if word & 2 == 0 {
        measurement = measurement.with_trend(number).with_quality(Sfloat::nearest(50.0));
    }
    let concentration = if word & 4 == 0 {
        Concentration::KgPerL(number)
    } else {
        Concentration::MolPerL(Sfloat::nearest(0.005))
    };
    let sample =
        Sample { concentration, kind: SampleType::CapillaryPlasma, location: SampleLocation::Finger };
    let context = GlucoseContext {
        sequence: word as u16,
        carbohydrate: Some(Carbohydrate { id: 3, kg: Sfloat::nearest(0.04) }),
        meal: Some(Meal::Fasting),
        tester_health: Some((Tester::Oneself, Health::NoIssues)),
        exercise: (word & 8 == 0).then_some(Exercise { duration_s: 600, intensity_percent: 40 }),
    };
    [
        Some(measurement.encode(crc)),
        Some(CgmStatus::new(word as u16, said).encode(crc)),
        Some(context.encode()),
        date_time.map(|d| GlucoseMeasurement::new(word as u16, d, sample).encode()),
        date_time.map(|d| CurrentTime::new(d).encode()),
        date_time.map(|d| SessionStart::new(d).encode(crc)),
        None,
    ]
}

fn decode(hash: &mut Hash, bytes: &[u8]) {
    for crc in [E2eCrc::Absent, E2eCrc::Present] {
        let measured = CgmMeasurement::decode(bytes, crc);
        if let Ok(m) = measured.as_ref() {
            hash.put((m.glucose_mg_dl().bits(), m.offset_min(), m.annunciation().status() as u8));
            let other = m.in_octet_order(OctetOrder::WarningFirst);
            hash.put((m.order_in_doubt(), other.annunciation().status() as u8));
            hash.put((m.trend_mg_dl_per_min().map(Sfloat::bits), m.quality_percent().map(Sfloat::bits)));
            let range = mg_dl(40.0)..=mg_dl(400.0);
            let reading = m.reading(Instant::from_secs(1_790_000_000), range);
            hash.put(reading.map(|r| (r.at(), r.glucose(), r.status() as u8)));
            hash.put(match m.glucose_mg_dl().value() {
                SfloatValue::Number(number) => Some(number),
                _ => None,
            });
        }
        hash.put(measured.is_ok());
        hash.put(CgmMeasurement::decode_first(bytes, crc).map(|(_, rest)| rest.len()).map_err(|_| 0_u8));
        hash.put(
            CgmStatus::decode(bytes, crc).map(|s| (s.offset_min(), s.annunciation().status() as u8)).ok(),
        );
        let start = SessionStart::decode(bytes, crc);
        hash.put(start.ok().map(|s| (s.local().instant(), s.offset(), s.utc())));
    }
    if let Ok(m) = GlucoseMeasurement::decode(bytes) {
        hash.put((m.sequence(), m.sample().map(|s| s.concentration.glucose()), m.status()));
        hash.put((m.context_follows(), m.at(), m.fingerstick().map(|f| (f.at(), f.glucose()))));
    }
    if let Ok(context) = GlucoseContext::decode(bytes) {
        hash.put((context.sequence, context.meal.map(|m| m as u8)));
    }
    if let Ok(time) = CurrentTime::decode(bytes) {
        hash.put((time.date_time().date(), time.date_time().time(), time.day_of_week()));
        hash.put((time.fractions_256(), time.adjust_reason()));
    }
    if let [a, b, ..] = bytes {
        hash.put(Sfloat::from_bits(u16::from_le_bytes([*a, *b])).number());
    }
}
