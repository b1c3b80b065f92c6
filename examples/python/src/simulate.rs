//! Invented traces with the truth beside them.

use glidepath_host::simulate::{Args, WorldArgs, invent};
use pyo3::prelude::*;
use pyo3::types::PyDict;

use crate::output::{Columns, object};
use crate::refused;

#[pyfunction]
#[expect(clippy::too_many_arguments, reason = "the flags of the desk tool")]
pub fn simulate<'py>(
    py: Python<'py>,
    seed: u64,
    days: u32,
    interval_min: u32,
    life: &str,
    sensor: &str,
    noise_scale: f32,
    faults: bool,
    fingersticks_per_day: u32,
) -> PyResult<(Bound<'py, PyDict>, Bound<'py, PyDict>, Bound<'py, PyAny>)> {
    for (name, value, most) in [
        ("days", days, 3650),
        ("interval_min", interval_min, 60),
        ("fingersticks_per_day", fingersticks_per_day, 24),
    ] {
        let least = u32::from(name != "fingersticks_per_day");
        if !(least..=most).contains(&value) {
            return Err(refused(format!("{name}: found {value}, expected {least} to {most}")));
        }
    }
    let world = WorldArgs::named(life, sensor, noise_scale, faults).map_err(refused)?;
    let args = Args { seed, days, interval: interval_min, world, fingersticks_per_day, ..Args::default() };
    let invented = py.detach(|| invent(&args)).map_err(refused)?;
    let trace = Columns::new(py);
    trace.add("time", invented.rows.iter().map(|row| i64::from(row.at.secs())))?;
    trace.add("glucose_mg_dl", invented.rows.iter().map(|row| f32::from(row.shown)))?;
    trace.add("plasma_mg_dl", invented.rows.iter().map(|row| row.plasma))?;
    trace.add("rate_mg_dl_min", invented.rows.iter().map(|row| row.rate))?;
    let sticks = Columns::new(py);
    sticks.add("time", invented.fingersticks.iter().map(|stick| i64::from(stick.at().secs())))?;
    sticks.add(
        "reference_mg_dl",
        invented.fingersticks.iter().map(|stick| f32::from(stick.glucose().whole_mg_dl())),
    )?;
    Ok((trace.finish(), sticks.finish(), object(py, &invented.summary)?))
}
