//! The hard stream: a simulated person and sensor of the library, made worse. Invented.

use crate::mg_dl;
use glidepath::simulate::{
    Faults, Meter, MeterModel, Person, PersonConfig, Random, Sensor, SensorModel, Truth,
};
use glidepath::{Fingerstick, Glucose, Instant, Reading, Span, Status};

/// What happens next.
#[derive(Clone, Copy, Debug)]
pub enum Event {
    Reading(Reading),
    Fingerstick(Fingerstick),
    Tick(Instant),
    SensorStarted(Instant),
    Snooze(u32, Span),
    Acknowledge,
    Offset(Option<Span>),
    /// The device's own count of seconds.
    Uptime(u32),
    PowerReturned,
    Restart,
}

/// Events without end. A hundred are some seven hours.
#[derive(Debug)]
pub struct Stream {
    person: Person,
    sensor: Sensor,
    meter: Meter,
    random: Random,
    spacing: Span,
}

impl Stream {
    pub fn new(seed: u32) -> Self {
        let seed = u64::from(seed);
        let person = PersonConfig::default().with_start(Instant::from_secs(1_790_000_000));
        Self {
            person: Person::new(seed, person),
            sensor: Sensor::new(seed, SensorModel::DRIFTING.with_faults(Faults::USUAL)),
            meter: Meter::new(seed, MeterModel::USUAL),
            random: Random::new(seed, 99),
            spacing: Span::from_mins(5),
        }
    }

    /// The truth at this moment.
    pub fn truth(&self) -> Truth {
        self.person.truth()
    }

    fn any_glucose(&mut self) -> Glucose {
        let glucose = match self.random.bits() % 8 {
            0 => 0.0,
            1 => Glucose::MAX_MG_DL,
            2 => f32::MIN_POSITIVE,
            3 => self.random.between(0.0, 2000.0),
            _ => self.random.between(20.0, 500.0),
        };
        mg_dl(glucose)
    }

    fn any_instant(&mut self) -> Instant {
        let now = self.person.truth().at();
        match self.random.bits() % 8 {
            0 => Instant::from_secs(self.random.bits()),
            1 => Instant::from_secs(0),
            2 => Instant::from_secs(u32::MAX),
            3 => now.plus(Span::from_hours(8)),
            4 => now.plus(Span::from_mins(-12)),
            _ => now.plus(Span::from_secs((self.random.bits() % 1200) as i32 - 600)),
        }
    }

    fn any_status(&mut self) -> Status {
        match self.random.bits() % 6 {
            0 => Status::BelowRange,
            1 => Status::AboveRange,
            2 => Status::WarmUp,
            3 => Status::Doubtful,
            4 => Status::Fault,
            _ => Status::Normal,
        }
    }
}

impl Iterator for Stream {
    type Item = Event;

    fn next(&mut self) -> Option<Event> {
        let kind = self.random.bits() % 64;
        let now = self.person.truth().at();
        Some(match kind {
            0 => Event::Fingerstick(self.meter.measure(&self.person.truth())),
            1 => Event::Fingerstick(Fingerstick::new(self.any_instant(), self.any_glucose())),
            2 => Event::Tick(self.any_instant()),
            3 | 4 => Event::Tick(now.plus(Span::from_mins(20))),
            5 => Event::Snooze(self.random.bits(), Span::from_mins((self.random.bits() % 1000) as i32 - 50)),
            6 => Event::Acknowledge,
            7 => Event::Reading(
                Reading::new(self.any_instant(), self.any_glucose()).with_status(self.any_status()),
            ),
            8 => {
                self.spacing = Span::from_secs(match self.random.bits() % 6 {
                    0 => 1,
                    1 => 60,
                    2 => 900,
                    3 => 3 * 3600,
                    _ => 300,
                });
                Event::Tick(now)
            }
            9 if self.random.bits().is_multiple_of(32) => Event::SensorStarted(now),
            9 if self.random.bits().is_multiple_of(16) => Event::PowerReturned,
            9 if self.random.bits().is_multiple_of(32) => Event::Restart,
            9 if self.random.bits().is_multiple_of(4) => {
                Event::Uptime(now.secs().wrapping_sub(1_789_000_000))
            }
            10 => Event::Offset(if self.random.bits().is_multiple_of(2) {
                None
            } else {
                Some(Span::from_hours(1))
            }),
            _ => {
                let truth = self.person.step(self.spacing);
                self.sensor.follow(&truth);
                match self.sensor.read() {
                    Some(sample) => Event::Reading(sample.reading()),
                    None => Event::Tick(truth.at()),
                }
            }
        })
    }
}
