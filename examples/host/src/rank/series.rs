//! What methods are ranked on: readings with the truth beside them.

use glidepath::simulate::{
    Faults, GaussianWorld, GaussianWorldConfig, Meter, MeterModel, Person, PersonConfig, Sensor, SensorModel,
    Truth,
};
use glidepath::{Fingerstick, Glucose, Reading, Span};

use super::lows;
use crate::simulate::pricks;
use crate::table::{self, Trace};

/// Readings of one sensor, and the truth once a minute.
pub struct Series {
    pub readings: Vec<Reading>,
    pub fingersticks: Vec<Fingerstick>,
    /// When the first minute is, seconds.
    start: u32,
    /// Plasma glucose, mg/dL, and its rate, each minute; not a number where it is not known.
    pub plasma: Vec<f32>,
    rate: Vec<f32>,
    /// What the sensor showed, each minute; not a number where it showed nothing.
    shown: Vec<f32>,
    /// The truth is the sensor's own reading: good only for what lies ahead.
    pub truth_is_sensor: bool,
    /// Values beyond [`RANGE`] are scored too.
    pub unlimited: bool,
}

/// What a sensor may show, mg/dL: beyond it nothing is scored.
pub const RANGE: (f32, f32) = (40.0, 400.0);
/// A method has half a day to settle before it is scored, minutes.
const SETTLING: i64 = 720;
/// Truth is drawn in a straight line between rows at most so far apart, minutes.
const LONGEST_STEP: usize = 16;

impl Series {
    /// Readings and the truth, a value a minute from `start`.
    pub fn known(readings: Vec<Reading>, start: u32, plasma: Vec<f32>, rate: Vec<f32>) -> Self {
        let mut series = Self {
            shown: vec![f32::NAN; plasma.len()],
            readings,
            fingersticks: Vec::new(),
            start,
            plasma,
            rate,
            truth_is_sensor: false,
            unlimited: false,
        };
        for reading in &series.readings {
            let minute = usize::try_from(series.minute(reading)).ok();
            if let Some(shown) = minute.and_then(|minute| series.shown.get_mut(minute)) {
                *shown = reading.glucose().mg_dl();
            }
        }
        series
    }

    /// A recorded trace: its column of plasma or reference glucose is the truth, or else the sensor itself.
    pub fn recorded(trace: &Trace) -> Option<Self> {
        let (first, last) = (trace.readings.first()?, trace.readings.last()?);
        let start = first.at().secs();
        let minutes = (last.at().secs() - start).div_ceil(60) as usize + 1;
        let known = |name| trace.column(name).filter(|values| values.iter().any(|v| v.is_finite()));
        let plasma = known(table::TRUTH).or_else(|| known(table::REFERENCE));
        let own: Vec<f32> = trace.readings.iter().map(|reading| reading.glucose().mg_dl()).collect();
        let truth = minute_by_minute(trace, plasma.unwrap_or(&own), minutes);
        let rate = match trace.column(table::TRUE_RATE) {
            Some(rate) => minute_by_minute(trace, rate, minutes),
            None => slopes(&truth),
        };
        let mut series = Self::known(trace.readings.clone(), start, truth, rate);
        series.truth_is_sensor = plasma.is_none();
        Some(series)
    }

    /// The truth `minutes` after `reading`.
    pub fn plasma_at(&self, reading: &Reading, minutes: i64) -> Option<f32> {
        self.get(&self.plasma, reading, minutes)
    }

    /// The true rate at `reading`.
    pub fn rate_at(&self, reading: &Reading) -> Option<f32> {
        self.get(&self.rate, reading, 0)
    }

    /// What the sensor showed `minutes` after `reading`.
    pub fn shown_at(&self, reading: &Reading, minutes: i64) -> Option<f32> {
        self.get(&self.shown, reading, minutes)
    }

    /// Whether plasma glucose is low at some time from `reading` to 30 minutes after it; only where the sensor itself
    /// does not read low, for there nothing is left to foretell.
    pub fn low_within_30(&self, reading: &Reading) -> Option<bool> {
        if reading.glucose().mg_dl() < lows::LEVEL {
            return None;
        }
        let mut low = false;
        for minutes in 0..=30 {
            low |= self.plasma_at(reading, minutes)? < lows::LEVEL;
        }
        Some(low)
    }

    /// Whether methods have settled by `reading`.
    pub fn scored(&self, reading: &Reading) -> bool {
        self.minute(reading) >= SETTLING.min(self.plasma.len() as i64 / 2)
    }

    /// The minute of `reading`.
    pub fn minute(&self, reading: &Reading) -> i64 {
        (i64::from(reading.at().secs()) - i64::from(self.start) + 30).div_euclid(60)
    }

    fn get(&self, values: &[f32], reading: &Reading, minutes: i64) -> Option<f32> {
        let index = usize::try_from(self.minute(reading) + minutes).ok()?;
        values.get(index).copied().filter(|value| !value.is_nan())
    }

    /// How the low index of a method did: what it was at each scored reading, and the lows there were.
    pub fn watch(&self, index: impl Iterator<Item = f32>) -> lows::Watch {
        let index: Vec<(i64, f32)> = self
            .readings
            .iter()
            .zip(index)
            .filter(|(reading, _)| self.scored(reading))
            .map(|(reading, index)| (self.minute(reading), index))
            .collect();
        let first = index.first().map_or(0, |(minute, _)| *minute);
        let events = lows::events(&self.plasma).into_iter().filter(|(start, _)| *start >= first).collect();
        let known = self.plasma.iter().skip(first as usize).filter(|value| !value.is_nan()).count();
        lows::Watch { index, events, until_low: lows::until_low(&self.plasma), days: known as f64 / 1440.0 }
    }
}

fn minute_by_minute(trace: &Trace, values: &[f32], minutes: usize) -> Vec<f32> {
    let mut grid = vec![f32::NAN; minutes];
    let Some(start) = trace.readings.first().map(|reading| reading.at().secs()) else { return grid };
    let mut before: Option<(usize, f32)> = None;
    for (reading, value) in trace.readings.iter().zip(values) {
        let minute = ((reading.at().secs() - start + 30) / 60) as usize;
        if !value.is_finite() || minute >= minutes {
            continue;
        }
        grid[minute] = *value;
        if let Some((from, was)) = before
            && minute - from <= LONGEST_STEP
        {
            for (n, between) in grid[from..minute].iter_mut().enumerate().skip(1) {
                *between = was + (value - was) * n as f32 / (minute - from) as f32;
            }
        }
        before = Some((minute, *value));
    }
    grid
}

/// Slopes over ten minutes around each.
fn slopes(grid: &[f32]) -> Vec<f32> {
    let at = |m: usize| grid.get(m).copied().unwrap_or(f32::NAN);
    (0..grid.len()).map(|m| if m < 5 { f32::NAN } else { (at(m + 5) - at(m - 5)) / 10.0 }).collect()
}

/// How people are simulated.
#[derive(Clone, Copy, Debug)]
pub struct Setting {
    pub person: PersonConfig,
    pub sensor: SensorModel,
    pub days: u32,
    /// Minutes between readings.
    pub interval: u32,
    pub fingersticks_per_day: u32,
}

/// A person who does not exist, by seed.
pub fn person(seed: u64, setting: &Setting) -> Series {
    let mut person = Person::new(seed, setting.person);
    record(seed, setting, setting.sensor, |span| person.step(span))
}

/// A Gaussian glucose, by seed; all its sensors have one lag and no limits.
pub fn gaussian(seed: u64, setting: &Setting) -> Series {
    let mut world = GaussianWorld::new(seed, GaussianWorldConfig::DEFAULT);
    let mut series = record(seed, setting, gaussian_sensor(&setting.sensor), |span| world.step(span));
    series.unlimited = true;
    series
}

/// Lag in the Gaussian world, minutes.
pub const GAUSSIAN_LAG: f32 = 8.0;

fn gaussian_sensor(sensor: &SensorModel) -> SensorModel {
    let limit = |mg_dl| Glucose::from_mg_dl(mg_dl).expect("in range");
    sensor
        .with_faults(Faults::NONE)
        .with_drift(false)
        .with_smoothing_min(0.0)
        .expect("in range")
        .with_lag_min(GAUSSIAN_LAG)
        .and_then(|model| model.with_range(limit(0.0), limit(2000.0)))
        .expect("in range")
}

fn record(seed: u64, setting: &Setting, model: SensorModel, mut step: impl FnMut(Span) -> Truth) -> Series {
    let mut sensor = Sensor::new(seed, model);
    let mut meter = Meter::new(seed, MeterModel::USUAL);
    let minutes = setting.days * 1440;
    let (mut readings, mut fingersticks) = (Vec::new(), Vec::new());
    let (mut plasma, mut rate) = (Vec::new(), Vec::new());
    for minute in 1..=minutes {
        let truth = step(Span::from_mins(1));
        sensor.follow(&truth);
        plasma.push(truth.plasma().mg_dl());
        rate.push(truth.rate().mg_dl_per_min());
        if minute % setting.interval == 0
            && let Some(sample) = sensor.read()
        {
            readings.push(sample.reading());
        }
        if pricks(minute, setting.fingersticks_per_day) {
            fingersticks.push(meter.measure(&truth));
        }
    }
    let mut series = Series::known(readings, 60, plasma, rate);
    series.fingersticks = fingersticks;
    series
}
