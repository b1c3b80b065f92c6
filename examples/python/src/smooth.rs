//! The smoothers in common use, over a whole trace.

use std::collections::BTreeMap;

use glidepath::estimator::{Estimator, Model, Trust};
use glidepath::smoothing::{
    Exponential, Holt, Level, MovingAverage, MovingMedian, SavitzkyGolay, TwoStateKalman,
};
use glidepath::{Error, Glucose, Rate, Reading};
use pyo3::prelude::*;
use pyo3::types::PyDict;

use crate::input::TableColumns;
use crate::output::Columns;
use crate::refused;

/// Room for six hours of readings a minute apart.
const ROOM: usize = 361;

/// Level, rate and the level's standard deviation; not a number where the method has none.
type Said = (f32, f32, f32);
type Step = Box<dyn FnMut(&Reading) -> Said + Send>;

fn level(mut step: impl FnMut(&Reading) -> Level + Send + 'static) -> Step {
    Box::new(move |reading| {
        let level = step(reading);
        (level.glucose().mg_dl(), level.rate().map_or(f32::NAN, Rate::mg_dl_per_min), f32::NAN)
    })
}

/// The plain filter, its noise as given: every reading counts in full, and nothing is learned.
fn four_states() -> Step {
    let mut estimator = Estimator::new(Model::linear());
    Box::new(move |reading| {
        if let Some(expectation) = estimator.predict(reading.at(), reading.glucose()) {
            let _ = estimator.update(&expectation, Trust::Reduced(1.0));
        }
        estimator.estimate(reading.at()).map_or((f32::NAN, f32::NAN, f32::NAN), |estimate| {
            (estimate.glucose().mg_dl(), estimate.rate().mg_dl_per_min(), estimate.glucose_sd())
        })
    })
}

/// The parameters of a method, with what they are unless given.
struct Parameters(BTreeMap<String, f64>);

impl Parameters {
    fn take(&mut self, name: &str, usual: f32) -> f32 {
        self.0.remove(name).map_or(usual, |value| value as f32)
    }
}

const METHODS: &str =
    "moving_average, moving_median, exponential, holt, savitzky_golay, two_state_kalman, four_state_kalman";

fn step(method: &str, parameters: &mut Parameters) -> PyResult<Step> {
    let bad = |error: Error| refused(format!("{method}: {error}"));
    Ok(match method {
        "moving_average" => {
            let mut own = MovingAverage::<ROOM>::new(parameters.take("window_min", 15.0)).map_err(bad)?;
            level(move |reading| own.step(reading.at(), reading.glucose()))
        }
        "moving_median" => {
            let mut own = MovingMedian::<ROOM>::new(parameters.take("window_min", 15.0)).map_err(bad)?;
            level(move |reading| own.step(reading.at(), reading.glucose()))
        }
        "exponential" => {
            let mut own = Exponential::new(parameters.take("time_constant_min", 7.2)).map_err(bad)?;
            level(move |reading| own.step(reading.at(), reading.glucose()))
        }
        "holt" => {
            let (level_min, slope_min) =
                (parameters.take("level_min", 4.0), parameters.take("slope_min", 20.0));
            let mut own = Holt::new(level_min, slope_min).map_err(bad)?;
            level(move |reading| own.step(reading.at(), reading.glucose()))
        }
        "savitzky_golay" => {
            let (window, order) = (parameters.take("window_min", 20.0), parameters.take("order", 1.0));
            let mut own = SavitzkyGolay::<ROOM>::new(window, order as u8).map_err(bad)?;
            level(move |reading| own.step(reading.at(), reading.glucose()))
        }
        "two_state_kalman" => {
            let (intensity, noise) = (parameters.take("intensity", 0.05), parameters.take("noise_sd", 5.0));
            let damping = parameters.0.remove("damping_min").map(|minutes| minutes as f32);
            let mut own = TwoStateKalman::new(intensity, noise, damping).map_err(bad)?;
            level(move |reading| own.step(reading.at(), reading.glucose()))
        }
        "four_state_kalman" => four_states(),
        _ => return Err(refused(format!("method: found {method:?}, expected one of {METHODS}"))),
    })
}

#[pyfunction]
pub fn smooth<'py>(
    py: Python<'py>,
    trace: TableColumns<'py>,
    method: &str,
    parameters: BTreeMap<String, f64>,
) -> PyResult<Bound<'py, PyDict>> {
    let mut parameters = Parameters(parameters);
    let mut step = step(method, &mut parameters)?;
    if let Some(name) = parameters.0.keys().next() {
        return Err(refused(format!("{method}: has no parameter {name}")));
    }
    let read = trace.read()?;
    let (trace, said) = py.detach(|| {
        let trace = read.trace().map_err(refused)?;
        let said: Vec<Said> = trace.readings.iter().map(&mut step).collect();
        Ok::<_, PyErr>((trace, said))
    })?;
    let columns = Columns::new(py);
    columns.times(&trace.clock, trace.readings.iter().map(|reading| i64::from(reading.at().secs())))?;
    columns.add("sensor_mg_dl", trace.readings.iter().map(Reading::glucose).map(Glucose::mg_dl))?;
    columns.add("level_mg_dl", said.iter().map(|said| said.0))?;
    columns.add("rate_mg_dl_min", said.iter().map(|said| said.1))?;
    columns.add("level_sd_mg_dl", said.iter().map(|said| said.2))?;
    Ok(columns.finish())
}
