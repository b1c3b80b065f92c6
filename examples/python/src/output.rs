//! Answers as Python takes them.

use glidepath_host::table::Clock;
use numpy::{IntoPyArray, PyArray1};
use pyo3::IntoPyObjectExt;
use pyo3::prelude::*;
use pyo3::types::{PyDict, PyList};
use serde_json::Value;

use crate::refused;

/// A value that serialises, as dictionaries, lists and numbers.
pub fn object<'py>(py: Python<'py>, value: &impl serde::Serialize) -> PyResult<Bound<'py, PyAny>> {
    plain(py, &serde_json::to_value(value).map_err(refused)?)
}

fn plain<'py>(py: Python<'py>, value: &Value) -> PyResult<Bound<'py, PyAny>> {
    match value {
        Value::Null => Ok(py.None().into_bound(py)),
        Value::Bool(flag) => flag.into_bound_py_any(py),
        Value::Number(number) => match (number.as_i64(), number.as_u64(), number.as_f64()) {
            (Some(whole), ..) => whole.into_bound_py_any(py),
            (None, Some(whole), _) => whole.into_bound_py_any(py),
            (None, None, other) => other.into_bound_py_any(py),
        },
        Value::String(text) => text.into_bound_py_any(py),
        Value::Array(items) => {
            let list = PyList::empty(py);
            for item in items {
                list.append(plain(py, item)?)?;
            }
            Ok(list.into_any())
        }
        Value::Object(entries) => {
            let dict = PyDict::new(py);
            for (key, item) in entries {
                dict.set_item(key, plain(py, item)?)?;
            }
            Ok(dict.into_any())
        }
    }
}

/// Columns of one length, by name.
pub struct Columns<'py>(Bound<'py, PyDict>);

impl<'py> Columns<'py> {
    pub fn new(py: Python<'py>) -> Self {
        Self(PyDict::new(py))
    }

    pub fn add<T: numpy::Element>(&self, name: &str, values: impl IntoIterator<Item = T>) -> PyResult<()> {
        let values: Vec<T> = values.into_iter().collect();
        let array: Bound<'py, PyArray1<T>> = values.into_pyarray(self.0.py());
        self.0.set_item(name, array)
    }

    /// The wearer's clock, and UTC where it is known, in seconds since 1970.
    pub fn times(&self, clock: &Clock, at: impl Iterator<Item = i64> + Clone) -> PyResult<()> {
        self.add("time", at.clone().map(|at| clock.wall(at)))?;
        if clock.names_zone() {
            self.add("time_utc", at)?;
        }
        Ok(())
    }

    pub fn finish(self) -> Bound<'py, PyDict> {
        self.0
    }
}
