//! The demo stream: a day of frames as they come over the serial line. Invented: a simulated person and a
//! simulated sensor of the library, and a meter.

use glidepath::gatt::{
    Annunciation, CgmMeasurement, Concentration, CurrentTime, DateTime, GlucoseMeasurement, Sample,
    SampleLocation, SampleType, SessionStart, Sfloat,
};
use glidepath::simulate::{Meter, MeterModel, Person, PersonConfig, Sensor, SensorModel};
use glidepath::{Instant, Reading, Span, Status};
use wrist::link::Frame;

/// The seed of the day in the golden files: quiet until an alarm of a low ahead, and a low then.
pub const SEED: u64 = 36;

/// When the sensor's session began.
pub fn session() -> DateTime {
    DateTime::new((2026, 11, 2), (6, 0, 0)).unwrap()
}

/// The session's start in seconds.
pub fn session_at() -> Instant {
    session().instant().unwrap()
}

/// A reading as the sensor would send it.
pub fn measurement(reading: &Reading) -> Frame {
    let minutes = reading.at().since(session_at()).secs() / 60;
    let value = Sfloat::nearest((reading.glucose().mg_dl() * 10.0).round() / 10.0);
    let said = match reading.status() {
        Status::Normal => Annunciation::default(),
        Status::BelowRange => Annunciation::BELOW_DEVICE_RANGE,
        Status::AboveRange => Annunciation::ABOVE_DEVICE_RANGE,
        Status::WarmUp | Status::Doubtful => Annunciation::CALIBRATION_REQUIRED,
        Status::Fault => Annunciation::MALFUNCTION,
    };
    Frame::Measurement(CgmMeasurement::new(value, minutes as u16).with_annunciation(said))
}

/// A date and time of the session's clock.
pub fn date_time(at: Instant) -> DateTime {
    let (start, minutes) = (session(), at.since(session_at()).secs() / 60);
    let (year, month, day) = start.date();
    let minute = 6 * 60 + minutes;
    DateTime::new(
        (year, month, day + (minute / 1440) as u8),
        ((minute / 60 % 24) as u8, (minute % 60) as u8, 0),
    )
    .unwrap()
}

/// What happens in `days` of a session, every five minutes from its third day's morning on: what was read,
/// and at times what a meter said.
pub fn day(seed: u64, days: u32) -> Vec<(Instant, Vec<Frame>)> {
    let person = PersonConfig::default().with_start(session_at());
    let (mut person, mut sensor) = (Person::new(seed, person), Sensor::new(seed, SensorModel::DRIFTING));
    let mut meter = Meter::new(seed, MeterModel::new(5.0, 5.0).unwrap());
    let mut events = Vec::new();
    for minute in 1..=days * 1440 + 1440 {
        let truth = person.step(Span::from_mins(1));
        sensor.follow(&truth);
        if minute % 5 != 0 {
            continue;
        }
        let sample = sensor.read();
        if minute <= 1440 {
            continue; // the sensor's first day
        }
        let mut frames = Vec::new();
        if minute % 240 == 0 {
            let stick = meter.measure(&truth);
            let sample = Sample {
                concentration: Concentration::KgPerL(Sfloat::nearest(stick.glucose().mg_dl().round() * 1e-5)),
                kind: SampleType::CapillaryWholeBlood,
                location: SampleLocation::Finger,
            };
            frames.push(Frame::Meter(GlucoseMeasurement::new(minute as u16, date_time(truth.at()), sample)));
        }
        frames.extend(sample.map(|sample| measurement(&sample.reading())));
        events.push((truth.at(), frames));
    }
    events
}

/// The frames that begin every session: the time, and when the sensor was started.
pub fn opening(at: Instant) -> [Frame; 2] {
    [Frame::Time(CurrentTime::new(date_time(at))), Frame::Start(SessionStart::new(session()))]
}

/// The stream as a file: records of minute (2 bytes, little endian, from the first), length (1 byte), bytes.
pub fn file(seed: u64, days: u32) -> Vec<u8> {
    let events = day(seed, days);
    let begin = events[0].0;
    let mut file = Vec::new();
    let mut record = |at: Instant, frame: &Frame| {
        let minute = at.since(begin).secs() / 60;
        let bytes = frame.stuffed();
        file.extend((minute as u16).to_le_bytes());
        file.push(bytes.len() as u8);
        file.extend(bytes);
    };
    opening(begin).iter().for_each(|frame| record(begin, frame));
    for (at, frames) in &events {
        frames.iter().for_each(|frame| record(*at, frame));
    }
    file
}

/// The minute of a stream's first alarm.
pub fn first_alarm(stream: &[u8]) -> Option<u16> {
    let mut app = wrist::app::App::new(glidepath::Settings::default()).ok()?;
    wrist::columns::Records(stream).find_map(|(minute, bytes)| {
        let rings =
            |byte: &u8| app.byte(*byte).is_some() && app.view().is_some_and(|v| !v.rings().is_empty());
        let rung = bytes.iter().any(rings);
        app.tick(0, false);
        rung.then_some(minute)
    })
}
