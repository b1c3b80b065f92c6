//! Weeks at a glance, and those of many people added up.

use glidepath::review::{Exact, Pool};
use glidepath_host::review::figures::{Figures, Report, quarters};
use glidepath_host::review::record::Record;
use pyo3::prelude::*;
use pyo3::types::PyBytes;

use crate::input::TableColumns;
use crate::output::object;
use crate::progress::without_lock;
use crate::refused;

#[pyfunction]
pub fn review<'py>(
    py: Python<'py>,
    trace: TableColumns<'py>,
    progress: Option<Bound<'py, PyAny>>,
) -> PyResult<(Bound<'py, PyAny>, ReviewRecord)> {
    let read = trace.read()?;
    let (report, record) = without_lock(py, progress, || {
        let record = read.trace().and_then(|trace| Record::of(String::new(), trace)).map_err(refused)?;
        let report = serde_json::to_value(Report::of(&record, None)).map_err(refused)?;
        let mut pool = Box::<Pool<Exact>>::default();
        pool.add(&record.review);
        Ok((report, ReviewRecord { pool }))
    })?;
    Ok((object(py, &report)?, record))
}

#[pyclass(module = "glidepath", frozen, eq)]
#[derive(Clone, PartialEq)]
pub struct ReviewRecord {
    pool: Box<Pool<Exact>>,
}

impl ReviewRecord {
    fn bytes(&self) -> PyResult<Vec<u8>> {
        let mut room = vec![0; Pool::<Exact>::SAVED_BYTES];
        let length = self.pool.clone().save(&mut room).map_err(refused)?;
        room.truncate(length);
        Ok(room)
    }
}

#[pymethods]
impl ReviewRecord {
    #[new]
    fn new() -> Self {
        Self { pool: Box::default() }
    }

    #[getter]
    fn records(&self) -> u32 {
        self.pool.records()
    }

    /// The figures of a summary, with the time of episodes as wide as it is kept here.
    fn figures<'py>(&self, py: Python<'py>) -> PyResult<Bound<'py, PyAny>> {
        let mut figures =
            py.detach(|| serde_json::to_value(Figures::of(&self.pool.summary()))).map_err(refused)?;
        let minutes = self.pool.episode_seconds().map(|seconds| seconds as f64 / 60.0);
        let totals = figures.get_mut("episode_totals").and_then(|totals| totals.as_array_mut());
        for (total, minutes) in totals.into_iter().flatten().zip(minutes) {
            if let Some(place) = total.get_mut("minutes") {
                *place = minutes.into();
            }
        }
        object(py, &figures)
    }

    fn day_profile<'py>(&self, py: Python<'py>) -> PyResult<Bound<'py, PyAny>> {
        object(py, &quarters(self.pool.grid()))
    }

    #[staticmethod]
    fn merged(py: Python<'_>, records: Vec<Bound<'_, Self>>) -> Self {
        let pools: Vec<&Pool<Exact>> = records.iter().map(|record| &*record.get().pool).collect();
        py.detach(|| {
            let mut pool = Box::<Pool<Exact>>::default();
            pools.into_iter().for_each(|other| pool.merge(other));
            Self { pool }
        })
    }

    fn __add__(&self, other: &Bound<'_, Self>) -> Self {
        let mut pool = self.pool.clone();
        pool.merge(&other.get().pool);
        Self { pool }
    }

    fn to_bytes<'py>(&self, py: Python<'py>) -> PyResult<Bound<'py, PyBytes>> {
        Ok(PyBytes::new(py, &self.bytes()?))
    }

    #[staticmethod]
    fn from_bytes(bytes: &[u8]) -> PyResult<Self> {
        let mut pool = Box::<Pool<Exact>>::default();
        pool.load(bytes)
            .map_err(|_| refused("bytes: found no review record of this version, or not the whole of one"))?;
        Ok(Self { pool })
    }

    fn __reduce__<'py>(slf: &Bound<'py, Self>) -> PyResult<(Bound<'py, PyAny>, (Bound<'py, PyBytes>,))> {
        let bytes = PyBytes::new(slf.py(), &slf.get().bytes()?);
        Ok((slf.get_type().getattr("from_bytes")?, (bytes,)))
    }

    fn __repr__(&self) -> String {
        let readings = self.pool.summary().readings;
        format!("<ReviewRecord: {} records, {readings} readings>", self.pool.records())
    }
}
