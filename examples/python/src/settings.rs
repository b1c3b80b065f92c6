//! The monitor's settings, by the one settings file.

use glidepath_host::settings;
use pyo3::prelude::*;

use crate::{output, refused};

/// Checked settings of a monitor.
#[pyclass(module = "glidepath", frozen, eq, from_py_object)]
#[derive(Clone)]
pub struct Settings {
    pub table: toml::Table,
    pub values: glidepath::Settings,
}

/// By what they set, however it is written.
impl PartialEq for Settings {
    fn eq(&self, other: &Self) -> bool {
        self.values == other.values
    }
}

#[pymethods]
impl Settings {
    #[new]
    #[pyo3(signature = (toml=""))]
    fn new(toml: &str) -> PyResult<Self> {
        let table: toml::Table =
            toml.trim_start_matches('\u{feff}').parse().map_err(|error: toml::de::Error| {
                let before = error.span().and_then(|span| toml.get(..span.start)).unwrap_or_default();
                let line = before.matches('\n').count() + 1;
                refused(format!("settings, line {line}: {}", error.message().trim()))
            })?;
        let values = settings::load(&table).map_err(|what| refused(format!("settings: {what}")))?;
        Ok(Self { table, values })
    }

    #[staticmethod]
    const fn template() -> &'static str {
        settings::TEMPLATE
    }

    fn to_toml(&self) -> PyResult<String> {
        settings::text(&self.values).map_err(refused)
    }

    fn to_dict<'py>(&self, py: Python<'py>) -> PyResult<Bound<'py, PyAny>> {
        output::object(py, &self.values)
    }

    fn __repr__(&self) -> String {
        let mut leaves = String::new();
        if let Ok(text) = toml::to_string(&self.table) {
            leaves = text.trim_end().replace('\n', "; ");
        }
        format!("Settings({leaves:?})")
    }

    fn __reduce__<'py>(slf: &Bound<'py, Self>) -> PyResult<(Bound<'py, PyAny>, (String,))> {
        let text = toml::to_string(&slf.get().table).map_err(refused)?;
        Ok((slf.get_type().into_any(), (text,)))
    }
}
