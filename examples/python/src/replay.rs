//! A whole trace through the monitor.

use glidepath::Glucose;
use glidepath::alarm::Kind;
use glidepath::quality::Verdict;
use glidepath_host::played::{Answers, Sample};
use glidepath_host::rehearsal::Plan;
use glidepath_host::replay::report::Report;
use glidepath_host::replay::{Replay, demo as embedded};
use glidepath_host::table::Clock;
use pyo3::prelude::*;
use pyo3::types::PyDict;

use crate::input::{TableColumns, with_sticks};
use crate::output::{Columns, object};
use crate::progress::without_lock;
use crate::refused;
use crate::settings::Settings;

/// Replays a trace; gives its samples, what rang, what became of the fingersticks, the report, and the names of alarms.
#[pyfunction]
#[expect(clippy::type_complexity, reason = "a tuple is what Python unpacks")]
pub fn replay<'py>(
    py: Python<'py>,
    trace: TableColumns<'py>,
    sticks: Option<TableColumns<'py>>,
    settings: Settings,
    progress: Option<Bound<'py, PyAny>>,
) -> PyResult<(Bound<'py, PyDict>, Bound<'py, PyDict>, Bound<'py, PyDict>, Bound<'py, PyAny>)> {
    let (trace, sticks) = (trace.read()?, sticks.map(TableColumns::read).transpose()?);
    let (replay, report) = without_lock(py, progress, || {
        let (trace, sticks) = with_sticks(trace, sticks)?;
        let plan = Plan::with(settings.table).map_err(refused)?;
        let replay = Replay::of(String::new(), trace, &sticks, &plan).map_err(refused)?;
        let report = Report::of(&replay);
        Ok((replay, report))
    })?;
    let samples = samples(py, &replay.samples, &replay.clock)?;
    let alarms = Columns::new(py);
    alarms.times(&replay.clock, replay.alarms.iter().map(|rang| rang.at.secs().into()))?;
    let text = |name: &str, of: &dyn Fn(usize) -> &'static str| {
        let all: Vec<&str> = (0..replay.alarms.len()).map(of).collect();
        (name.to_owned(), all)
    };
    let rang = &replay.alarms;
    let words = [
        text("kind", &|n| rang[n].kind.name()),
        text("priority", &|n| rang[n].priority.name()),
        text("cause", &|n| rang[n].cause.name()),
        text("by", &|n| rang[n].trigger.name()),
    ];
    let alarms_glucose = rang.iter().map(|rang| rang.trigger.glucose().map_or(f32::NAN, Glucose::mg_dl));
    alarms.add("glucose_mg_dl", alarms_glucose)?;
    let alarms = alarms.finish();
    for (name, all) in words {
        alarms.set_item(name, all)?;
    }
    alarms.set_item("message", rang.iter().map(|rang| rang.kind.message()).collect::<Vec<_>>())?;
    let pricked = Columns::new(py);
    pricked.times(&replay.clock, replay.pricked.iter().map(|pricked| pricked.stick.at().secs().into()))?;
    pricked.add("reference_mg_dl", replay.pricked.iter().map(|pricked| pricked.stick.glucose().mg_dl()))?;
    pricked.add("expected_mg_dl", replay.pricked.iter().map(|pricked| pricked.expected))?;
    pricked.add("used", replay.pricked.iter().map(|pricked| pricked.used))?;
    let pricked = pricked.finish();
    let refused = replay.pricked.iter().map(|pricked| pricked.refused().unwrap_or(""));
    pricked.set_item("refused", refused.collect::<Vec<_>>())?;
    Ok((samples, alarms, pricked, object(py, &report)?))
}

/// A number of a sample.
type Number = fn(&Sample, &Answers) -> f32;

/// What was known after each reading, by the names of the desk tool's table. Words are given as numbers with the names
/// they stand for.
fn samples<'py>(py: Python<'py>, samples: &[Sample], clock: &Clock) -> PyResult<Bound<'py, PyDict>> {
    let answered = || samples.iter().filter_map(|sample| Some((sample, sample.answers.as_deref()?)));
    let columns = Columns::new(py);
    columns.times(clock, samples.iter().map(|sample| sample.reading.at().secs().into()))?;
    let numbers: [(&str, Number); 17] = [
        ("sensor_mg_dl", |s, _| s.reading.glucose().mg_dl()),
        ("plasma_mg_dl", |s, _| s.plasma),
        ("plasma_sd_mg_dl", |_, a| a.plasma_sd),
        ("rate_mg_dl_min", |_, a| a.rate),
        ("rate_sd_mg_dl_min", |_, a| a.rate_sd),
        ("predicted_30min_mg_dl", |_, a| a.predicted(30).0),
        ("predicted_30min_sd_mg_dl", |_, a| a.predicted(30).1),
        ("low_probability_30min", |_, a| a.low_probability),
        ("minutes_to_low", |_, a| a.minutes_to_low),
        ("predicted_15min_mg_dl", |_, a| a.predicted(15).0),
        ("predicted_15min_sd_mg_dl", |_, a| a.predicted(15).1),
        ("predicted_60min_mg_dl", |_, a| a.predicted(60).0),
        ("predicted_60min_sd_mg_dl", |_, a| a.predicted(60).1),
        ("low_ahead_signal", |_, a| a.low_ahead_signal),
        ("direction_mg_dl_min", |_, a| a.direction),
        ("truth_mg_dl", |s, _| s.truth),
        ("estimate_sd_mg_dl", |_, a| a.own_sd),
    ];
    for (name, of) in numbers {
        columns.add(name, answered().map(|(sample, answers)| of(sample, answers)))?;
    }
    columns.add("alarms", samples.iter().map(|sample| sample.rang))?;
    columns.add("status", samples.iter().map(|sample| sample.reading.status() as u8))?;
    let columns = columns.finish();
    columns.set_item("trend", answered().map(|(_, answers)| answers.trend.words()).collect::<Vec<_>>())?;
    columns.set_item("verdict", samples.iter().map(|sample| sample.verdict.name()).collect::<Vec<_>>())?;
    let doubted =
        samples.iter().map(|sample| !matches!(sample.verdict, Verdict::Accepted | Verdict::ClockSet));
    columns.set_item("doubted", doubted.collect::<Vec<_>>())?;
    columns.set_item("alarm_names", Kind::ALL.map(Kind::name).to_vec())?;
    Ok(columns)
}

/// The embedded demo: its readings with the truth beside them, and its fingersticks; all of it is invented.
#[pyfunction]
pub fn demo(py: Python<'_>) -> PyResult<(Bound<'_, PyDict>, Bound<'_, PyDict>)> {
    let (trace, sticks) = embedded::generate().map_err(refused)?;
    let readings = Columns::new(py);
    readings.times(&trace.clock, trace.readings.iter().map(|reading| reading.at().secs().into()))?;
    readings.add("glucose_mg_dl", trace.readings.iter().map(|reading| reading.glucose().mg_dl()))?;
    for column in &trace.columns {
        readings.add(column.name, column.values.iter().copied())?;
    }
    let fingersticks = Columns::new(py);
    fingersticks.times(&trace.clock, sticks.values.iter().map(|stick| stick.at().secs().into()))?;
    fingersticks.add("reference_mg_dl", sticks.values.iter().map(|stick| stick.glucose().mg_dl()))?;
    Ok((readings.finish(), fingersticks.finish()))
}
