//! The monitor, as the wrist runs it.

use glidepath::alarm::{ActiveAlarm, Kind};
use glidepath::forecast::Predicted;
use glidepath::{Bound as End, Fingerstick, Glucose, Instant, Reading, Span, Status, snapshot};
use glidepath_host::played;
use pyo3::prelude::*;
use pyo3::types::PyBytes;

use crate::refused;
use crate::settings::Settings;

/// Readings kept: a day of them, one every five minutes, as on the wrist.
const READINGS: usize = 288;
type Inner = glidepath::Monitor<READINGS>;

/// A moment as the caller writes moments: `stamp` makes one of seconds since 1970.
fn moment<'py>(py: Python<'py>, stamp: &Py<PyAny>, at: Instant) -> PyResult<Bound<'py, PyAny>> {
    stamp.bind(py).call1((at.secs(),))
}

fn seconds(seconds: i64) -> PyResult<Instant> {
    let whole = u32::try_from(seconds).map_err(|_| {
        refused(format!("time: found {seconds} s since 1970, expected a time from 1970 to 2105"))
    })?;
    Ok(Instant::from_secs(whole))
}

fn glucose(mg_dl: f64) -> PyResult<Glucose> {
    Glucose::from_mg_dl(mg_dl as f32)
        .map_err(|_| refused(format!("mg_dl: found {mg_dl}, expected 0 to {} mg/dL", Glucose::MAX_MG_DL)))
}

const STATUSES: [Status; 6] =
    [Status::Normal, Status::BelowRange, Status::AboveRange, Status::WarmUp, Status::Doubtful, Status::Fault];

fn named<T: Copy>(what: &str, name: &str, all: &[T], of: impl Fn(T) -> &'static str) -> PyResult<T> {
    all.iter().copied().find(|one| of(*one) == name).ok_or_else(|| {
        let names: Vec<&str> = all.iter().map(|one| of(*one)).collect();
        refused(format!("{what}: found {name:?}, expected one of {}", names.join(", ")))
    })
}

fn kind(name: &str) -> PyResult<Kind> {
    named("kind", name, &Kind::ALL, Kind::name)
}

#[pyclass(module = "glidepath._native")]
pub struct Monitor {
    inner: Box<Inner>,
    settings: Settings,
}

#[pymethods]
impl Monitor {
    #[new]
    fn new(settings: Settings) -> PyResult<Self> {
        let inner = Inner::new(settings.values).map_err(|what| refused(format!("settings: {what}")))?;
        Ok(Self { inner: Box::new(inner), settings })
    }

    fn push(&mut self, at: i64, mg_dl: f64, status: &str, stamp: Py<PyAny>) -> PyResult<View> {
        let status = named("status", status, &STATUSES, Status::name)?;
        let reading = Reading::new(seconds(at)?, glucose(mg_dl)?).with_status(status);
        Ok(View { inner: self.inner.push(&reading), stamp })
    }

    fn tick(&mut self, at: Option<i64>, stamp: Py<PyAny>) -> PyResult<View> {
        let at = at.map(seconds).transpose()?;
        Ok(View { inner: self.inner.tick(at), stamp })
    }

    fn fingerstick(&mut self, at: i64, mg_dl: f64) -> PyResult<Outcome> {
        let outcome = self.inner.fingerstick(&Fingerstick::new(seconds(at)?, glucose(mg_dl)?));
        let expected = outcome.expected();
        Ok(Outcome {
            used: outcome.is_used(),
            words: outcome.words(),
            expected_mg_dl: expected.map(|expected| expected.glucose.mg_dl()),
            expected_sd_mg_dl: expected.map(|expected| expected.sd),
        })
    }

    fn set_uptime(&mut self, uptime_s: u32) {
        self.inner.set_uptime(uptime_s);
    }

    fn set_utc_offset(&mut self, offset_s: Option<i32>) {
        self.inner.set_utc_offset(offset_s.map(Span::from_secs));
    }

    fn acknowledge(&mut self) {
        self.inner.acknowledge();
    }

    fn snooze(&mut self, kind_name: &str, minutes: i32) -> PyResult<f32> {
        Ok(self.inner.snooze(kind(kind_name)?, Span::from_mins(minutes)).mins())
    }

    fn sensor_started(&mut self, at: i64) -> PyResult<()> {
        self.inner.sensor_started(seconds(at)?);
        Ok(())
    }

    fn restart(&mut self) {
        self.inner.restart();
    }

    fn gain_and_offset(&self) -> (f32, f32) {
        self.inner.gain_and_offset()
    }

    fn noise_mg_dl(&self) -> f32 {
        self.inner.estimator().noise_sd()
    }

    /// The readings kept, oldest first: seconds since 1970, mg/dL, what the sensor said of each.
    fn history(&self) -> Vec<(u32, f32, &'static str)> {
        let all = self.inner.history();
        all.iter().map(|r| (r.at().secs(), r.glucose().mg_dl(), r.status().name())).collect()
    }

    fn state<'py>(&mut self, py: Python<'py>) -> PyResult<Bound<'py, PyBytes>> {
        let mut room = [0; snapshot::bytes_needed(READINGS)];
        let length = snapshot::save(&mut self.inner, &mut room).map_err(refused)?;
        Ok(PyBytes::new(py, room.get(..length).unwrap_or_default()))
    }

    fn restore(&mut self, state: &[u8]) -> PyResult<()> {
        snapshot::restore(&mut self.inner, state).map_err(|what| refused(format!("state: {what}")))
    }

    fn settings(&self) -> Settings {
        self.settings.clone()
    }
}

#[pyclass(module = "glidepath", frozen)]
pub struct View {
    inner: glidepath::View,
    stamp: Py<PyAny>,
}

impl View {
    fn ring(&self, py: Python<'_>, held: &ActiveAlarm) -> PyResult<Ring> {
        let ring = held.ring;
        Ok(Ring {
            kind: ring.kind.name(),
            message: ring.kind.message(),
            priority: ring.priority.name(),
            cause: ring.cause.name(),
            by: ring.trigger.name(),
            glucose_mg_dl: ring.trigger.glucose().map(Glucose::mg_dl),
            rings: held.rings,
            acknowledged: held.acknowledged,
            at: moment(py, &self.stamp, ring.at)?.unbind(),
        })
    }
}

fn mg_dl(predicted: Option<Predicted>) -> Option<f32> {
    predicted.map(|predicted| predicted.glucose().mg_dl())
}

#[pymethods]
impl View {
    #[getter]
    fn at<'py>(&self, py: Python<'py>) -> PyResult<Bound<'py, PyAny>> {
        moment(py, &self.stamp, self.inner.at())
    }

    #[getter]
    fn verdict(&self) -> Option<&'static str> {
        self.inner.verdict().map(|verdict| verdict.name())
    }

    #[getter]
    fn shown_mg_dl(&self) -> Option<f32> {
        self.inner.shown().map(|shown| shown.glucose.mg_dl())
    }

    #[getter]
    fn shown_bound(&self) -> Option<&'static str> {
        self.inner.shown().and_then(|shown| shown.bound).map(|bound| match bound {
            End::AtMost(_) => "at most",
            End::AtLeast(_) => "at least",
        })
    }

    #[getter]
    fn shown_doubted(&self) -> bool {
        self.inner.shown().is_some_and(|shown| shown.doubted)
    }

    #[getter]
    fn age_s(&self) -> Option<i32> {
        self.inner.age().map(Span::secs)
    }

    #[getter]
    fn plasma_mg_dl(&self) -> Option<f32> {
        self.inner.estimate().map(|estimate| estimate.glucose().mg_dl())
    }

    #[getter]
    fn plasma_sd_mg_dl(&self) -> Option<f32> {
        let open = self.inner.calibration_sd()?;
        self.inner.estimate().map(|estimate| played::both(estimate.glucose_sd(), open))
    }

    #[getter]
    fn rate_mg_dl_min(&self) -> Option<f32> {
        self.inner.estimate().map(|estimate| estimate.rate().mg_dl_per_min())
    }

    #[getter]
    fn rate_sd_mg_dl_min(&self) -> Option<f32> {
        self.inner.estimate().map(|estimate| estimate.rate_sd())
    }

    #[getter]
    fn direction_mg_dl_min(&self) -> Option<f32> {
        self.inner.direction().map(|direction| direction.rate().mg_dl_per_min())
    }

    #[getter]
    fn trend(&self) -> &'static str {
        self.inner.trend().words()
    }

    #[getter]
    fn predicted_15min_mg_dl(&self) -> Option<f32> {
        mg_dl(self.inner.predicted_15min())
    }

    #[getter]
    fn predicted_30min_mg_dl(&self) -> Option<f32> {
        mg_dl(self.inner.predicted_30min())
    }

    #[getter]
    fn predicted_60min_mg_dl(&self) -> Option<f32> {
        mg_dl(self.inner.predicted_60min())
    }

    fn predicted(&self, minutes: f64) -> PyResult<Option<(f32, f32)>> {
        if !(5.0..=120.0).contains(&minutes) {
            return Err(refused(format!("minutes: found {minutes}, expected 5 to 120")));
        }
        let predicted = self.inner.predicted(Span::from_secs((minutes * 60.0).round() as i32));
        Ok(predicted.map(|predicted| (predicted.glucose().mg_dl(), predicted.sd())))
    }

    #[getter]
    fn low_probability_30min(&self) -> Option<f32> {
        self.inner.low_probability()
    }

    #[getter]
    fn low_ahead_signal(&self) -> Option<f32> {
        self.inner.low_ahead_signal()
    }

    #[getter]
    fn minutes_to_low(&self) -> Option<f32> {
        self.inner.minutes_to_low()
    }

    #[getter]
    fn grade(&self) -> &'static str {
        self.inner.grade().name()
    }

    #[getter]
    fn reasons(&self) -> Vec<&'static str> {
        self.inner.reasons().iter().map(|reason| reason.name()).collect()
    }

    #[getter]
    fn is_monitoring(&self) -> bool {
        self.inner.is_monitoring()
    }

    #[getter]
    fn rings(&self, py: Python<'_>) -> PyResult<Vec<Ring>> {
        let rings = self.inner.alarms().iter().filter(|held| held.rings);
        rings.map(|held| self.ring(py, held)).collect()
    }

    #[getter]
    fn alarms(&self, py: Python<'_>) -> PyResult<Vec<Ring>> {
        self.inner.alarms().iter().map(|held| self.ring(py, held)).collect()
    }

    fn __repr__(&self) -> String {
        match self.inner.shown() {
            Some(shown) => format!("<View: {shown}, {}>", self.inner.trend().words()),
            None => "<View: nothing is shown as present>".into(),
        }
    }
}

#[pyclass(module = "glidepath", frozen, get_all)]
pub struct Ring {
    kind: &'static str,
    message: &'static str,
    priority: &'static str,
    cause: &'static str,
    by: &'static str,
    glucose_mg_dl: Option<f32>,
    rings: bool,
    acknowledged: bool,
    at: Py<PyAny>,
}

#[pymethods]
impl Ring {
    fn __repr__(&self) -> String {
        format!("<Ring: {}, {} priority>", self.message, self.priority)
    }
}

#[pyclass(module = "glidepath", frozen, get_all)]
pub struct Outcome {
    used: bool,
    words: &'static str,
    expected_mg_dl: Option<f32>,
    expected_sd_mg_dl: Option<f32>,
}

#[pymethods]
impl Outcome {
    fn __repr__(&self) -> String {
        format!("<Outcome: {}>", self.words)
    }
}
