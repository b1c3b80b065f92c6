//! Tables as Python hands them over.

use glidepath_host::Failure;
use glidepath_host::args::InputArgs;
use glidepath_host::table::memory::{self, Amounts, Places, Table, Times};
use glidepath_host::table::{self, Clock, Fingersticks, Trace, Unit};
use numpy::PyReadonlyArray1;
use pyo3::prelude::*;

use crate::refused;

/// A blank among seconds: what numpy's "not a time" is as a number.
const BLANK: i64 = i64::MIN;

/// A column of times: on which clock, and seconds since 1970 or text.
#[derive(FromPyObject)]
pub enum TimeColumn<'py> {
    Seconds(String, PyReadonlyArray1<'py, i64>),
    Text(Vec<String>),
}

/// A column of concentrations.
#[derive(FromPyObject)]
pub enum AmountColumn<'py> {
    Numbers(PyReadonlyArray1<'py, f64>),
    Text(Vec<String>),
}

/// A table of readings or of fingersticks.
#[derive(FromPyObject)]
#[pyo3(from_item_all)]
pub struct TableColumns<'py> {
    time_name: String,
    time: TimeColumn<'py>,
    date: Option<Vec<String>>,
    glucose_name: String,
    glucose: AmountColumn<'py>,
    extras: Vec<(String, String, PyReadonlyArray1<'py, f64>)>,
    unit: Option<String>,
    zone: Option<String>,
    date_format: Option<String>,
}

/// How a table is read, without the interpreter.
pub struct Read {
    table: Table,
    args: InputArgs,
}

impl TableColumns<'_> {
    /// Takes over what it holds, so that the interpreter is not needed any more.
    pub fn read(self) -> PyResult<Read> {
        let seconds = |times: &PyReadonlyArray1<'_, i64>| -> Vec<Option<i64>> {
            times.as_array().iter().map(|at| Some(*at).filter(|at| *at != BLANK)).collect()
        };
        let time = match self.time {
            TimeColumn::Seconds(clock, times) if clock == "utc" => Times::Utc(seconds(&times)),
            TimeColumn::Seconds(_, times) => Times::Wall(seconds(&times)),
            TimeColumn::Text(times) => Times::Text(times),
        };
        let glucose = match self.glucose {
            AmountColumn::Numbers(values) => Amounts::Numbers(narrow(&values)),
            AmountColumn::Text(cells) => Amounts::Text(cells),
        };
        let unit = self.unit.as_deref().map(unit).transpose()?;
        let mut extras = Vec::new();
        for (known, name, values) in &self.extras {
            let known = memory::EXTRAS.into_iter().find(|extra| extra == known);
            extras.extend(known.map(|known| (known, name.clone(), narrow(values))));
        }
        let zone = self.zone.as_deref().map(|text| {
            let expected = "expected a time zone such as Europe/Vienna, UTC or +02:00";
            table::zone(text).ok_or_else(|| refused(format!("zone: found {text:?}, {expected}")))
        });
        let date_format = self.date_format.as_deref().map(|text| {
            text.parse().map_err(|expected| refused(format!("date_format: found {text:?}, {expected}")))
        });
        Ok(Read {
            table: Table {
                time_name: self.time_name,
                time,
                date: self.date,
                glucose_name: self.glucose_name,
                glucose,
                unit,
                extras,
            },
            args: InputArgs {
                zone: zone.transpose()?,
                date_format: date_format.transpose()?,
                ..InputArgs::default()
            },
        })
    }
}

impl Read {
    pub fn trace(self) -> Result<Trace, Failure> {
        self.table.trace(&self.args)
    }

    pub fn fingersticks(self, clock: Option<&Clock>) -> PyResult<Fingersticks> {
        self.table.fingersticks(&self.args, clock).map_err(refused)
    }
}

/// A trace with its fingersticks: those given, or else the trace's own column.
pub fn with_sticks(trace: Read, sticks: Option<Read>) -> PyResult<(Trace, Fingersticks)> {
    let trace = trace.trace().map_err(refused)?;
    let sticks = match sticks {
        Some(sticks) => sticks.fingersticks(Some(&trace.clock))?,
        None => Fingersticks { values: trace.fingersticks.clone(), ..Fingersticks::default() },
    };
    Ok((trace, sticks))
}

/// To the library's numbers, which have half the digits.
fn narrow(values: &PyReadonlyArray1<'_, f64>) -> Vec<f32> {
    values.as_array().iter().map(|value| *value as f32).collect()
}

/// A unit by its name.
pub fn unit(text: &str) -> PyResult<Unit> {
    [Unit::MgDl, Unit::MmolL]
        .into_iter()
        .find(|unit| unit.name() == text)
        .ok_or_else(|| refused(format!("unit: found {text:?}, expected mg/dL or mmol/L")))
}

/// The places of a table's columns by their names: time, date beside it, glucose, and the further ones with the name
/// they are known by.
#[pyfunction]
#[pyo3(signature = (names, fingersticks, time_column=None, date_column=None, glucose_column=None))]
#[expect(clippy::type_complexity, reason = "a tuple is what Python unpacks")]
pub fn columns(
    names: Vec<String>,
    fingersticks: bool,
    time_column: Option<String>,
    date_column: Option<String>,
    glucose_column: Option<String>,
) -> PyResult<(usize, Option<usize>, usize, Vec<(&'static str, usize)>)> {
    let args = InputArgs { time_column, date_column, glucose_column, ..InputArgs::default() };
    let Places { time, date, glucose, extras } =
        memory::places(&names, &args, fingersticks).map_err(refused)?;
    Ok((time, date, glucose, extras))
}
