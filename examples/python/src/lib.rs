//! The Python face of glidepath: arrays in, arrays out. Everything that decides is in `glidepath` and in the desk tool's
//! library; here are only the ways in and out. What a user sees is in `python/glidepath`.

mod accuracy;
mod input;
mod monitor;
mod output;
mod progress;
mod rank;
mod replay;
mod review;
mod settings;
mod simulate;
mod smooth;

use pyo3::prelude::*;

pyo3::create_exception!(
    glidepath,
    InputError,
    pyo3::exceptions::PyValueError,
    "What was given is no table of readings, no settings, or out of its range. The text names the place (a row counts \
     from 0), what was found there and what was expected."
);

/// A failure as a Python exception.
fn refused(what: impl std::fmt::Display) -> PyErr {
    InputError::new_err(what.to_string())
}

#[pymodule]
fn _native(module: &Bound<'_, PyModule>) -> PyResult<()> {
    module.add("InputError", module.py().get_type::<InputError>())?;
    module.add("__version__", env!("CARGO_PKG_VERSION"))?;
    module.add("CAUTION", glidepath_host::sheet::CAUTION)?;
    module.add_class::<settings::Settings>()?;
    module.add_class::<monitor::Monitor>()?;
    module.add_class::<monitor::View>()?;
    module.add_class::<monitor::Ring>()?;
    module.add_class::<monitor::Outcome>()?;
    module.add_function(wrap_pyfunction!(input::columns, module)?)?;
    module.add_function(wrap_pyfunction!(replay::replay, module)?)?;
    module.add_function(wrap_pyfunction!(replay::demo, module)?)?;
    module.add_class::<review::ReviewRecord>()?;
    module.add_class::<accuracy::AccuracyRecord>()?;
    module.add_function(wrap_pyfunction!(review::review, module)?)?;
    module.add_function(wrap_pyfunction!(accuracy::accuracy, module)?)?;
    module.add_function(wrap_pyfunction!(simulate::simulate, module)?)?;
    module.add_function(wrap_pyfunction!(smooth::smooth, module)?)?;
    module.add_function(wrap_pyfunction!(rank::rank_invented, module)?)?;
    module.add_function(wrap_pyfunction!(rank::rank_recorded, module)?)?;
    Ok(())
}
