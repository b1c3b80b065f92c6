//! Who is told how far long work is.

use std::sync::{Arc, Mutex};

use glidepath_host::progress::{Watcher, watched};
use pyo3::prelude::*;

/// Does `work` without the interpreter's lock. `progress` is nothing, true for a bar on the terminal, or called with what
/// is done, the step it is at and how many there are; what it raises is raised at the end of the work.
pub fn without_lock<T: Send>(
    py: Python<'_>,
    progress: Option<Bound<'_, PyAny>>,
    work: impl FnOnce() -> PyResult<T> + Send,
) -> PyResult<T> {
    let raised = Arc::new(Mutex::new(None));
    let watcher = match progress {
        None => Watcher::Nobody,
        Some(one) if one.is_none() || one.extract::<bool>().is_ok_and(|bar| !bar) => Watcher::Nobody,
        Some(one) if one.extract::<bool>().is_ok() => Watcher::Terminal,
        Some(one) => {
            let (call, raised) = (one.unbind(), raised.clone());
            Watcher::Caller(Arc::new(move |what, at, of| {
                let done = Python::attach(|py| call.call1(py, (what, at, of)).map(|_| ()));
                if let (Err(error), Ok(mut first)) = (done, raised.lock()) {
                    first.get_or_insert(error);
                }
            }))
        }
    };
    let done = py.detach(|| watched(watcher, work));
    let raised = raised.lock().ok().and_then(|mut first| first.take());
    raised.map_or(done, Err)
}
