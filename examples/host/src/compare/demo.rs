//! Two sensors worn for two weeks by somebody who does not exist: all invented, with the truth known.

use glidepath::accuracy::LagScan;
use glidepath::simulate::{
    Faults, Meter, MeterModel, Person, PersonConfig, Random, Sensor, SensorModel, Truth,
};
use glidepath::{Fingerstick, Glucose, Instant, Reading, Span, Status};

use super::input::{Study, Worn};
use crate::table::Clock;

pub const SEED: u64 = 17;
pub const DAYS: u32 = 14;

/// Fingersticks a day, at random waking times.
const STICKS: u32 = 6;
/// Waking hours, minutes of the day.
const WAKING: std::ops::Range<u32> = 7 * 60..23 * 60;
/// Midnight, 5 January 2026, a Monday.
const FIRST_MIDNIGHT: u32 = 1_767_571_200;

/// What is true of a sensor over the waking hours.
#[derive(Clone, Copy, Debug)]
#[cfg_attr(not(test), expect(dead_code, reason = "tests hold the results against it"))]
pub struct Known {
    pub bias_mg_dl: f32,
    /// Against a meter that errs as the demo's does.
    pub mard_percent: f32,
    /// The shift that brings what is under the skin nearest to blood: a little under the time constant of the
    /// first-order lag, as that delays what is quick less.
    pub lag_min: f32,
}

/// The invented study and what is true of its sensors.
#[cfg_attr(not(test), expect(dead_code, reason = "tests hold the results against the truth"))]
pub struct Invented {
    pub study: Study,
    pub known: [Known; 2],
    /// How far the first is behind the second, without any error.
    pub lag_between_min: f32,
}

/// A sensor under way.
struct Making {
    sensor: Sensor,
    offset: f32,
    readings: Vec<Reading>,
    /// What is under the skin, without any error.
    under_skin: Vec<Reading>,
    interval: u32,
    differences: f64,
    relative: f64,
    count: u32,
}

impl Making {
    fn new(seed: u64, model: SensorModel, offset: f32, interval: u32) -> Self {
        let sensor = Sensor::new(seed, model);
        let (readings, under_skin) = (Vec::new(), Vec::new());
        Self { sensor, offset, readings, under_skin, interval, differences: 0.0, relative: 0.0, count: 0 }
    }

    /// The sensor a minute on; `checked` is what a meter shows, mg/dL, and what is shown counts over waking hours.
    fn follow(&mut self, truth: &Truth, minute: u32, checked: f32) {
        self.sensor.follow(truth);
        if !minute.is_multiple_of(self.interval) {
            return;
        }
        self.under_skin.push(Reading::new(truth.at(), self.sensor.interstitial()));
        let Some(sample) = self.sensor.read() else { return };
        let reading = sample.reading();
        if reading.status() != Status::Normal {
            self.readings.push(reading);
            return;
        }
        let shown = reading.glucose().mg_dl() + self.offset;
        let Ok(glucose) = Glucose::from_mg_dl(shown.max(0.0)) else { return };
        self.readings.push(Reading::new(reading.at(), glucose));
        if WAKING.contains(&(minute % 1440)) {
            self.differences += f64::from(shown - truth.plasma().mg_dl());
            self.relative += f64::from(100.0 * (shown - checked).abs() / checked);
            self.count += 1;
        }
    }

    fn worn(self, name: &str) -> Worn {
        let interval = Span::from_mins(self.interval.cast_signed());
        Worn::new(name.to_owned(), self.readings, interval, Clock::default())
    }

    fn known(&self, blood: &[Reading]) -> Known {
        let count = f64::from(self.count.max(1));
        Known {
            bias_mg_dl: (self.differences / count) as f32,
            mard_percent: (self.relative / count) as f32,
            lag_min: shift(&self.under_skin, blood),
        }
    }
}

/// The shift of least spread between two traces without error, minutes.
fn shift(late: &[Reading], early: &[Reading]) -> f32 {
    let Ok(mut scan) = LagScan::new(Span::from_mins(8)) else { return 0.0 };
    for reading in early.iter().step_by(7) {
        scan.push(late, reading.at(), reading.glucose());
    }
    scan.lag_min().unwrap_or(0.0)
}

/// Invents a study of `days` days.
pub fn invent(seed: u64, days: u32) -> Invented {
    let start = Instant::from_secs(FIRST_MIDNIGHT);
    let mut person = Person::new(seed, PersonConfig::DEFAULT.with_start(start));
    let usual = MeterModel::USUAL;
    let (mut meter, mut every_minute) = (Meter::new(seed, usual), Meter::new(seed ^ 0xabcd, usual));
    let mut random = Random::new(seed, 77);
    let steady = SensorModel::CORRELATED.with_faults(Faults::new(0.3, 0.002, 0.1).unwrap_or(Faults::NONE));
    let restless = SensorModel::DRIFTING.with_faults(Faults::new(2.0, 0.004, 0.3).unwrap_or(Faults::NONE));
    let mut makings = [
        Making::new(seed, steady.with_lag_min(6.0).unwrap_or(steady), 3.0, 5),
        Making::new(seed ^ 0x5eed, restless.with_lag_min(11.0).unwrap_or(restless), -4.0, 5),
    ];
    let mut fingersticks: Vec<Fingerstick> = Vec::new();
    let (mut due, mut blood) = (Vec::new(), Vec::new());
    for minute in 0..days * 1440 {
        let of_day = minute % 1440;
        if of_day == 0 {
            let apart = WAKING.len() as u32 / STICKS;
            let place = |n| WAKING.start + n * apart + random.between(0.0, apart as f32) as u32;
            due = (0..STICKS).map(place).collect();
        }
        let truth = person.truth();
        if due.contains(&of_day) {
            fingersticks.push(meter.measure(&truth));
        }
        if minute % 5 == 0 {
            blood.push(Reading::new(truth.at(), truth.plasma()));
        }
        let checked = every_minute.measure(&truth).glucose().mg_dl();
        for making in &mut makings {
            making.follow(&truth, minute, checked);
        }
        person.step(Span::from_mins(1));
    }
    let known = [makings[0].known(&blood), makings[1].known(&blood)];
    let lag_between_min = shift(&makings[0].under_skin, &makings[1].under_skin);
    let sensors = makings.into_iter().zip(["alder", "birch"]).map(|(making, name)| making.worn(name));
    let study = Study {
        sensors: sensors.collect(),
        reference: Some(fingersticks),
        meter: None,
        notes: vec![format!(
            "Invented: a person who does not exist wears two sensors that do not exist for {days} days and pricks a \
             finger {STICKS} times a day. No real sensor is meant."
        )],
        invented: true,
        unit: crate::table::Unit::MgDl,
    };
    Invented { study, known, lag_between_min }
}
