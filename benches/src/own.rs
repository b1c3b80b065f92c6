//! The library through its public face.

use crate::Answer;
use glidepath::estimator::{Estimator, Model};
use glidepath::forecast::Forecast;
use glidepath::gatt::{CgmMeasurement, E2eCrc, Sfloat};
use glidepath::review::{DayTime, Review};
use glidepath::smoothing::{
    Exponential, Holt, Level, MovingAverage, MovingMedian, SavitzkyGolay, TwoStateKalman,
};
use glidepath::{Glucose, History, Instant, Monitor, Reading, Settings, Span};

fn readings(measured: &[f32]) -> impl Iterator<Item = Reading> {
    (0_u32..).zip(measured).map(|(k, y)| {
        Reading::new(Instant::from_secs(1_790_000_000 + 300 * k), Glucose::from_mg_dl(*y).expect("in range"))
    })
}

fn observe(model: Model, measured: &[f32]) -> Answer {
    let mut estimator = Estimator::new(model);
    let mut last = None;
    for reading in readings(measured) {
        let _ = estimator.observe(&reading);
        last = estimator.estimate(reading.at());
    }
    last.map_or(vec![], |e| vec![e.glucose().mg_dl(), e.rate().mg_dl_per_min()])
}

pub fn one_motion(measured: &[f32]) -> Answer {
    observe(Model::linear(), measured)
}

pub fn people(measured: &[f32]) -> Answer {
    observe(Model::default(), measured)
}

pub fn push(measured: &[f32]) -> Answer {
    let mut monitor = Monitor::<288>::new(Settings::default()).expect("defaults");
    let mut last = 0.0;
    for reading in readings(measured) {
        last = monitor.push(&reading).low_probability().unwrap_or_default();
    }
    vec![last]
}

pub fn forecast(measured: &[f32]) -> Answer {
    let mut forecast = Forecast::default();
    let low = Glucose::from_mg_dl(70.0).expect("in range");
    let half_hour = Span::from_mins(30);
    let sum = readings(measured).fold(0.0, |sum, reading| {
        let now = reading.at();
        forecast.reading(now, reading.glucose(), true);
        let minutes = forecast.minutes_to_fall(now, low, half_hour).unwrap_or_default();
        sum + forecast.at(now, half_hour).map_or(0.0, |p| p.sd())
            + forecast.low_probability(now, low, half_hour).unwrap_or_default()
            + minutes
    });
    vec![sum]
}

fn smooth(measured: &[f32], mut step: impl FnMut(Instant, Glucose) -> Level) -> Answer {
    vec![readings(measured).fold(0.0, |_, r| step(r.at(), r.glucose()).glucose().mg_dl())]
}

pub fn exponential(measured: &[f32]) -> Answer {
    let mut smoother = Exponential::new(10.0).expect("in range");
    smooth(measured, |at, glucose| smoother.step(at, glucose))
}

pub fn holt(measured: &[f32]) -> Answer {
    let mut smoother = Holt::new(10.0, 20.0).expect("in range");
    smooth(measured, |at, glucose| smoother.step(at, glucose))
}

pub fn average(measured: &[f32]) -> Answer {
    let mut smoother = MovingAverage::<12>::new(25.0).expect("in range");
    smooth(measured, |at, glucose| smoother.step(at, glucose))
}

pub fn median(measured: &[f32]) -> Answer {
    let mut smoother = MovingMedian::<12>::new(25.0).expect("in range");
    smooth(measured, |at, glucose| smoother.step(at, glucose))
}

pub fn savitzky_golay(measured: &[f32]) -> Answer {
    let mut smoother = SavitzkyGolay::<12>::new(40.0, 2).expect("in range");
    smooth(measured, |at, glucose| smoother.step(at, glucose))
}

pub fn two_states(measured: &[f32]) -> Answer {
    let mut smoother = TwoStateKalman::new(0.02, 6.0, None).expect("in range");
    smooth(measured, |at, glucose| smoother.step(at, glucose))
}

pub fn history(measured: &[f32]) -> Answer {
    let mut history = History::<288>::new();
    readings(measured).for_each(|reading| _ = history.insert(&reading));
    vec![history.view().len() as f32]
}

pub fn decode(measured: &[f32]) -> Answer {
    let payload = CgmMeasurement::new(Sfloat::nearest(123.0), 77)
        .with_trend(Sfloat::nearest(1.2))
        .encode(E2eCrc::Present);
    let good = measured.iter().filter(|_| {
        let bytes = core::hint::black_box(payload.as_bytes());
        CgmMeasurement::decode(bytes, E2eCrc::Present).is_ok()
    });
    vec![good.count() as f32]
}

pub fn review(measured: &[f32]) -> Answer {
    let mut review = Review::new(Default::default());
    for reading in readings(measured) {
        let _ = review.push(&reading, DayTime::from_secs(reading.at().secs()));
    }
    vec![review.summary().mean_mg_dl.unwrap_or_default()]
}
