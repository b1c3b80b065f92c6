//! The demo stream: a day of frames as they come over the serial line. Invented: a simulated person and a
//! simulated sensor of the library, and a meter.

use glidepath::gatt::{
    Annunciation, CgmMeasurement, Concentration, CurrentTime, DateTime, GlucoseMeasurement, Sample,
    SampleLocation, SampleType, SessionStart, Sfloat,
};
use glidepath::simulate::{Meter, MeterModel, Person, PersonConfig, Sensor, SensorModel};
use glidepath::{Glucose, Instant, Reading, Span, Status};
use wrist::app::range;
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

/// The bytes on the line for one reading, with what begins a session. Told by an invented clock, whose minutes go on with the
/// given ones for a week. None when no sensor tells so much.
pub fn reading(minutes: u64, mg_dl: f32) -> Option<Vec<u8>> {
    let glucose = Glucose::from_mg_dl(mg_dl).ok().filter(|glucose| range().contains(glucose))?;
    let at = session_at().plus(Span::from_mins(2880 + (minutes % 10_080) as i32));
    let frames = opening(at).into_iter().chain([measurement(&Reading::new(at, glucose))]);
    // an end first: what came before on the line is no part of it
    Some([0].into_iter().chain(frames.flat_map(|frame| frame.stuffed())).collect())
}

/// The stream as a file: records of minute (2 bytes, little endian, from the first), length (1 byte), bytes.
pub fn file(seed: u64, days: u32) -> Vec<u8> {
    let events = day(seed, days);
    let begin = events[0].0;
    let minute = |at: Instant| (at.since(begin).secs() / 60) as u16;
    let opening = opening(begin).map(|frame| (0, frame.stuffed().to_vec()));
    let frames = events
        .iter()
        .flat_map(|(at, frames)| frames.iter().map(|frame| (minute(*at), frame.stuffed().to_vec())));
    records(&opening.into_iter().chain(frames).collect::<Vec<_>>())
}

/// A line as lines are: what is on it at which minute, and which readings were sent whole at least once.
pub struct Week {
    /// Minute from the first, and bytes.
    pub line: Vec<(u16, Vec<u8>)>,
    /// Each reading that came through, and the minute by which it had come.
    pub sent: Vec<(Reading, u16)>,
    /// Readings never sent, or sent only damaged.
    pub lost: usize,
    /// Readings sent late, behind newer ones.
    pub late: usize,
    /// Damaged frames.
    pub damaged: usize,
    /// Frames sent a second time.
    pub repeated: usize,
}

impl Week {
    /// Its beginning, before that minute; the counts stay the week's.
    #[must_use]
    pub fn until(mut self, minute: u16) -> Self {
        self.line.retain(|(due, _)| *due < minute);
        self.sent.retain(|(_, by)| *by < minute);
        self
    }
}

/// Seven days of a session with readings that are damaged, repeated, late and missing, and garbage between them.
/// The shares are invented; they are far worse than a wire's.
pub fn week(seed: u64) -> Week {
    let events = day(seed, 7);
    let begin = events[0].0;
    let mut random = seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) | 1;
    // xorshift64 (Marsaglia 2003)
    let mut below = |n: u64| {
        random ^= random << 13;
        random ^= random >> 7;
        random ^= random << 17;
        random % n
    };
    let mut week = Week { line: Vec::new(), sent: Vec::new(), lost: 0, late: 0, damaged: 0, repeated: 0 };
    let mut waiting: Vec<(u16, Reading, Vec<u8>)> = Vec::new();
    for (at, frames) in &events {
        let minute = (at.since(begin).secs() / 60) as u16;
        let line = &mut week.line;
        if minute.is_multiple_of(60) {
            line.extend(opening(*at).iter().map(|frame| (minute, frame.stuffed().to_vec())));
        }
        for frame in frames {
            let bytes = frame.stuffed().to_vec();
            let reading = match frame {
                Frame::Measurement(record) => record.reading(session_at(), wrist::app::range()),
                _ => None,
            };
            let Some(reading) = reading else {
                line.push((minute, bytes));
                continue;
            };
            match below(100) {
                0..3 => week.lost += 1,
                3..8 => {
                    let mut damaged = bytes.clone();
                    let place = below(damaged.len() as u64 - 1) as usize;
                    // not into an end: that would make two frames of one
                    damaged[place] = damaged[place] % 255 + 1;
                    line.push((minute, damaged));
                    week.damaged += 1;
                    if below(2) == 0 {
                        week.lost += 1;
                    } else {
                        line.push((minute, bytes));
                        week.sent.push((reading, minute));
                    }
                }
                8..13 => {
                    line.extend([(minute, bytes.clone()), (minute, bytes)]);
                    week.repeated += 1;
                    week.sent.push((reading, minute));
                }
                13..17 => {
                    let later = minute + 5 * (1 + below(8) as u16);
                    waiting.push((later, reading, bytes));
                    week.late += 1;
                }
                17..20 => {
                    let noise = (0..1 + below(100)).map(|_| below(256) as u8).chain([0]).collect();
                    line.extend([(minute, noise), (minute, bytes)]);
                    week.sent.push((reading, minute));
                }
                _ => {
                    line.push((minute, bytes));
                    week.sent.push((reading, minute));
                }
            }
        }
        // what waited comes behind the newer one
        let (due, rest): (Vec<_>, Vec<_>) = waiting.into_iter().partition(|(later, ..)| *later <= minute);
        waiting = rest;
        for (_, reading, bytes) in due {
            line.push((minute, bytes));
            week.sent.push((reading, minute));
        }
    }
    week.lost += waiting.len();
    week
}

/// Records of minute (2 bytes, little endian), length (1 byte), bytes.
pub fn records(line: &[(u16, Vec<u8>)]) -> Vec<u8> {
    let mut file = Vec::new();
    for (minute, bytes) in line {
        file.extend(minute.to_le_bytes());
        file.push(bytes.len() as u8);
        file.extend(bytes);
    }
    file
}

/// The application after it has lived through a stream, minute by minute, and `after_ms` more.
pub fn heard(stream: &[u8], after_ms: u32) -> Result<wrist::app::App, glidepath::Error> {
    let mut app = wrist::app::App::new(glidepath::Settings::default())?;
    app.battery(80);
    app.tick(ON_MS, false);
    let mut now = 0;
    for (minute, bytes) in wrist::columns::Records(stream) {
        while pass(&mut app, &mut now, minute) {}
        bytes.iter().for_each(|byte| _ = app.byte(*byte));
        app.tick(ms(minute), false);
    }
    app.tick(ms(now) + after_ms, false);
    Ok(app)
}

/// The board is on before the first frame comes.
const ON_MS: u32 = 1000;

fn ms(minute: u16) -> u32 {
    (u32::from(minute) * 60_000).max(ON_MS)
}

/// Lets time pass up to `until`, or to the first ring.
fn pass(app: &mut wrist::app::App, now: &mut u16, until: u16) -> bool {
    while *now < until {
        *now += 1;
        if app.tick(ms(*now), false).say.is_some() {
            return true;
        }
    }
    false
}

/// The minute of a stream's first alarm.
pub fn first_alarm(stream: &[u8]) -> Option<u16> {
    let mut app = wrist::app::App::new(glidepath::Settings::default()).ok()?;
    let mut now = 0;
    wrist::columns::Records(stream).find_map(|(minute, bytes)| {
        if pass(&mut app, &mut now, minute) {
            return Some(now);
        }
        bytes.iter().for_each(|byte| _ = app.byte(*byte));
        app.tick(ms(minute), false).say.map(|_| minute)
    })
}
