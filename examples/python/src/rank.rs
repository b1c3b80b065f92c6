//! Methods written in Python, ranked beside ours.

use std::sync::{Arc, Mutex};

use glidepath::Reading;
use glidepath_host::people::{Person, Set};
use glidepath_host::rank::{self, Entry, HORIZONS, Invented, Method, Outlook};
use glidepath_host::simulate::WorldArgs;
use pyo3::prelude::*;
use pyo3::types::PyDict;
use serde_json::{Value, json};

use crate::input::TableColumns;
use crate::output::object;
use crate::progress::without_lock;
use crate::refused;

/// The first thing that went wrong in a method.
type Fault = Arc<Mutex<Option<PyErr>>>;

/// A method that Python steps.
struct Stepped {
    /// What takes a reading; nothing once something went wrong.
    step: Option<Py<PyAny>>,
    alarm_min: f32,
    fault: Fault,
}

impl Stepped {
    fn new(fresh: &Py<PyAny>, alarm_min: f32, fault: Fault) -> Self {
        let made = Python::attach(|py| fresh.call0(py));
        let mut stepped = Self { step: None, alarm_min, fault };
        stepped.step = stepped.kept(made);
        stepped
    }

    fn kept<T>(&mut self, done: PyResult<T>) -> Option<T> {
        done.map_err(|error| {
            self.step = None;
            if let Ok(mut first) = self.fault.lock() {
                first.get_or_insert(error);
            }
        })
        .ok()
    }

    fn said(&self, reading: &Reading) -> PyResult<Option<Outlook>> {
        let Some(step) = &self.step else { return Ok(None) };
        Python::attach(|py| {
            let said = step.bind(py).call1((reading.at().secs(), reading.glucose().mg_dl()))?;
            outlook(&said, self.alarm_min).map(Some)
        })
    }
}

impl Method for Stepped {
    fn step(&mut self, reading: &Reading) -> Outlook {
        let said = self.said(reading);
        let held = Outlook::held(reading.glucose().mg_dl(), 0.0);
        self.kept(said).flatten().unwrap_or(held)
    }
}

/// What a method said: a level; a level and its rate; or a mapping of both and more.
fn outlook(said: &Bound<'_, PyAny>, alarm_min: f32) -> PyResult<Outlook> {
    if let Ok(now) = said.extract::<f32>() {
        return finite(Outlook::held(now, 0.0));
    }
    if let Ok((now, rate)) = said.extract::<(f32, f32)>() {
        return finite(Outlook::line(now, rate, alarm_min));
    }
    let expected = "expected a level in mg/dL, a level and its rate, or a dictionary with \"now\"";
    let map = said.cast::<PyDict>().map_err(|_| refused(format!("a method: found {said}, {expected}")))?;
    let number = |name: &str| -> PyResult<Option<f32>> {
        map.get_item(name)?.filter(|value| !value.is_none()).map(|value| value.extract()).transpose()
    };
    for key in map.keys() {
        let key: String = key.extract()?;
        if !KEYS.contains(&key.as_str()) {
            return Err(refused(format!(
                "a method: found the key {key:?}, expected some of {}",
                KEYS.join(", ")
            )));
        }
    }
    let now = number("now")?.ok_or_else(|| refused(format!("a method: found no \"now\", {expected}")))?;
    let rate = number("rate")?;
    let mut outlook = match rate {
        Some(rate) => Outlook::line(now, rate, alarm_min),
        None => Outlook::held(now, 0.0),
    };
    if let Some(ahead) = map.get_item("ahead")? {
        outlook.ahead = ahead.extract().map_err(|_| {
            let horizons = HORIZONS.map(|minutes| format!("{minutes:.0}")).join(", ");
            refused(format!("a method: \"ahead\": found {ahead}, expected mg/dL in {horizons} min"))
        })?;
        outlook.low_index = outlook.ahead[1];
    }
    outlook.now_sd = number("now_sd")?;
    outlook.ahead_30_sd = number("ahead_30_sd")?;
    outlook.direction = number("direction")?.unwrap_or(outlook.direction);
    outlook.low_index = number("low_index")?.unwrap_or(outlook.low_index);
    outlook.low_probability = number("low_probability")?;
    finite(outlook)
}

const KEYS: [&str; 8] =
    ["now", "rate", "ahead", "now_sd", "ahead_30_sd", "direction", "low_index", "low_probability"];

/// Numbers that are none would spoil the figures of all.
fn finite(outlook: Outlook) -> PyResult<Outlook> {
    let known = [outlook.now, outlook.rate, outlook.direction, outlook.low_index];
    let perhaps = [outlook.now_sd, outlook.ahead_30_sd, outlook.low_probability];
    let mut all = known.into_iter().chain(outlook.ahead).chain(perhaps.into_iter().flatten());
    let sound = all.all(f32::is_finite) && outlook.low_probability.is_none_or(|p| (0.0..=1.0).contains(&p));
    sound.then_some(outlook).ok_or_else(|| {
        refused("a method: found a number that is none, or a probability that is not from 0 to 1")
    })
}

fn entries(own: Vec<(String, Py<PyAny>, f32, f32)>, fault: &Fault) -> Vec<Entry> {
    own.into_iter()
        .map(|(name, fresh, alarm_at, alarm_min)| {
            let fault = fault.clone();
            Entry::new(&name, alarm_at, move || Stepped::new(&fresh, alarm_min, fault.clone()))
        })
        .collect()
}

/// What a method raised is raised.
fn sound<T>(done: PyResult<T>, fault: &Fault) -> PyResult<T> {
    let raised = fault.lock().ok().and_then(|mut first| first.take());
    raised.map_or(done, Err)
}

fn curve(points: &[(f64, f64)]) -> Value {
    json!({
        "false_alarms_per_day": points.iter().map(|(cost, _)| *cost).collect::<Vec<_>>(),
        "warned_10min_ahead": points.iter().map(|(_, share)| *share).collect::<Vec<_>>(),
    })
}

/// Ranks on simulated people.
#[pyfunction]
#[expect(clippy::too_many_arguments, reason = "the flags of the desk tool")]
pub fn rank_invented<'py>(
    py: Python<'py>,
    own: Vec<(String, Py<PyAny>, f32, f32)>,
    people: u32,
    days: u32,
    interval_min: u32,
    first_seed: u64,
    life: &str,
    sensor: &str,
    noise_scale: f32,
    faults: bool,
    only: Vec<String>,
    progress: Option<Bound<'py, PyAny>>,
) -> PyResult<Bound<'py, PyAny>> {
    for (name, value, most) in
        [("people", people, 10_000), ("days", days, 90), ("interval_min", interval_min, 15)]
    {
        if !(1..=most).contains(&value) {
            return Err(refused(format!("{name}: found {value}, expected 1 to {most}")));
        }
    }
    let world = WorldArgs::named(life, sensor, noise_scale, faults).map_err(refused)?;
    let on = Invented { people, days, interval: interval_min, first_seed, world, only };
    let fault = Fault::default();
    let done = without_lock(py, progress, || {
        let ranking = rank::on_invented(on, entries(own, &fault)).map_err(refused)?;
        let rows = serde_json::to_value(rank::rows(&ranking)).map_err(refused)?;
        let detail = ranking.tallies.iter().zip(&ranking.methods).map(|(tally, entry)| {
            let bins = tally.score.bins.iter().filter(|bin| bin.n > 0.0);
            let bins = bins.map(|bin| json!([bin.stated / bin.n, bin.true_ / bin.n, bin.n]));
            let bins: Vec<Value> = bins.collect();
            json!({"method": entry.name(), "bins": bins, "curve": curve(&rank::by_limit(&tally.watches))})
        });
        let detail: Vec<Value> = detail.collect();
        Ok(json!({"on": ranking.on, "rows": rows, "detail": detail}))
    });
    object(py, &sound(done, &fault)?)
}

/// Ranks on recorded traces, all of them one set.
#[pyfunction]
pub fn rank_recorded<'py>(
    py: Python<'py>,
    own: Vec<(String, Py<PyAny>, f32, f32)>,
    traces: Vec<(String, TableColumns<'py>)>,
    progress: Option<Bound<'py, PyAny>>,
) -> PyResult<Bound<'py, PyAny>> {
    let traces: Vec<_> =
        traces.into_iter().map(|(name, trace)| Ok((name, trace.read()?))).collect::<PyResult<_>>()?;
    let fault = Fault::default();
    let done = without_lock(py, progress, || {
        let people = traces.into_iter().map(|(name, read)| {
            let trace = read.trace().map_err(|error| refused(format!("{name}: {error}")))?;
            Ok(Person::new(&name, trace.readings, trace.fingersticks))
        });
        let set = Set::new("traces", people.collect::<PyResult<_>>()?);
        let ranked = rank::on(&[set], &rank::beside(entries(own, &fault))).map_err(refused)?;
        let all = ranked.all().ok_or_else(|| refused("no traces, expected some"))?;
        let detail = all.methods.iter().map(|row| json!({"method": row.method, "curve": curve(&row.curve)}));
        let detail: Vec<Value> = detail.collect();
        let set = serde_json::to_value(all).map_err(refused)?;
        Ok(json!({"on": ranked.on, "set": set, "detail": detail}))
    });
    object(py, &sound(done, &fault)?)
}
