//! A sensor against references, and those of many people together.

use std::collections::BTreeMap;

use glidepath::accuracy::{AgreementRates, CutoffBy, Pair};
use glidepath::{Glucose, Instant, Span};
use glidepath_host::compare::figures::{Figures, Point};
use glidepath_host::compare::input::Worn;
use glidepath_host::compare::{Alone, judge};
use glidepath_host::table::Fingersticks;
use pyo3::prelude::*;
use pyo3::types::{PyBytes, PyDict};
use serde_json::{Value, json};

use crate::input::{TableColumns, with_sticks};
use crate::output::{Columns, object};
use crate::progress::without_lock;
use crate::refused;

#[pyfunction]
#[expect(clippy::too_many_arguments, reason = "the flags of the desk tool")]
pub fn accuracy<'py>(
    py: Python<'py>,
    trace: TableColumns<'py>,
    reference: Option<TableColumns<'py>>,
    person: String,
    skip_hours: f32,
    window_min: Option<f32>,
    interpolate: bool,
    cut_mg_dl: f32,
    progress: Option<Bound<'py, PyAny>>,
) -> PyResult<(Bound<'py, PyAny>, Bound<'py, PyDict>, AccuracyRecord)> {
    for (name, value, most) in [
        ("skip_hours", Some(skip_hours), 2160.0),
        ("window_min", window_min, 60.0),
        ("cut_mg_dl", Some(cut_mg_dl), 400.0),
    ] {
        if let Some(value) = value.filter(|value| !(0.0..=most).contains(value)) {
            return Err(refused(format!("{name}: found {value}, expected 0 to {most}")));
        }
    }
    let (trace, reference) = (trace.read()?, reference.map(TableColumns::read).transpose()?);
    let (report, points, clock) = without_lock(py, progress, || {
        let (trace, Fingersticks { values, .. }) = with_sticks(trace, reference)?;
        if values.is_empty() {
            return Err(refused("no references, expected some to judge the sensor by"));
        }
        let interval = i32::try_from(trace.interval_s.unwrap_or(300).clamp(30, 3600)).unwrap_or(300);
        let worn = Worn::new(person.clone(), trace.readings, Span::from_secs(interval), trace.clock);
        let how = Alone { skip_hours, window_min, interpolate, cut_mg_dl };
        let (report, notes) = judge(&worn, &values, how).map_err(refused)?;
        let mut value = serde_json::to_value(&report).map_err(refused)?;
        if let Some(map) = value.as_object_mut() {
            map.insert("notes".into(), json!(notes));
        }
        Ok((value, report.points, worn.clock))
    })?;
    let pairs = Columns::new(py);
    pairs.times(&clock, points.iter().map(|point| i64::from(point.pair.at().secs())))?;
    pairs.add("sensor_mg_dl", points.iter().map(|point| point.pair.sensor().mg_dl()))?;
    pairs.add("reference_mg_dl", points.iter().map(|point| point.pair.reference().mg_dl()))?;
    pairs.add("hours_worn", points.iter().map(|point| point.age_s as f32 / 3600.0))?;
    let rate = |point: &Point| point.rate.map_or(f32::NAN, |rate| rate.mg_dl_per_min());
    pairs.add("sensor_rate_mg_dl_min", points.iter().map(rate))?;
    let kept = points.iter().map(|point| Kept { day: point.day, pair: point.pair }).collect();
    let record = AccuracyRecord { people: BTreeMap::from([(person, kept)]) };
    Ok((object(py, &report)?, pairs.finish(), record))
}

/// A pair and its day.
#[derive(Clone, Copy, PartialEq)]
struct Kept {
    day: i64,
    pair: Pair,
}

impl Kept {
    /// As a point of which nothing else is known.
    fn point(self, day: i64) -> Point {
        Point { pair: self.pair, age_s: 0, left_s: 0, day, of_day_s: 0, rate: None }
    }
}

/// With so many people each of them counts as one draw.
const ENOUGH_PEOPLE: usize = 4;
const MAGIC: [u8; 6] = *b"GPAR\x01\x00";

#[pyclass(module = "glidepath", frozen, eq)]
#[derive(Clone, PartialEq)]
pub struct AccuracyRecord {
    people: BTreeMap<String, Vec<Kept>>,
}

impl AccuracyRecord {
    fn take(&mut self, other: &Self) -> PyResult<()> {
        for (person, pairs) in &other.people {
            match self.people.get(person) {
                Some(known) if known != pairs => {
                    return Err(refused(format!(
                        "{person:?} has other pairs in another record, expected each person's pairs in one"
                    )));
                }
                Some(_) => {}
                None => drop(self.people.insert(person.clone(), pairs.clone())),
            }
        }
        Ok(())
    }

    fn bytes(&self) -> Vec<u8> {
        let mut bytes = MAGIC.to_vec();
        for (person, pairs) in &self.people {
            bytes.extend((person.len() as u32).to_le_bytes());
            bytes.extend(person.as_bytes());
            bytes.extend((pairs.len() as u32).to_le_bytes());
            for Kept { day, pair } in pairs {
                bytes.extend((*day as i32).to_le_bytes());
                bytes.extend(pair.at().secs().to_le_bytes());
                bytes.extend(pair.sensor().mg_dl().to_le_bytes());
                bytes.extend(pair.reference().mg_dl().to_le_bytes());
            }
        }
        bytes
    }

    fn read(bytes: &[u8]) -> Option<Self> {
        let mut rest = bytes.strip_prefix(&MAGIC)?;
        let mut people = BTreeMap::new();
        while !rest.is_empty() {
            let length = usize::try_from(u32::from_le_bytes(take(&mut rest)?)).ok()?;
            let (name, after) = rest.split_at_checked(length)?;
            rest = after;
            let name = std::str::from_utf8(name).ok()?.to_owned();
            let count = u32::from_le_bytes(take(&mut rest)?);
            let mut pairs = Vec::new();
            for _ in 0..count {
                let day = i64::from(i32::from_le_bytes(take(&mut rest)?));
                let at = Instant::from_secs(u32::from_le_bytes(take(&mut rest)?));
                let sensor = Glucose::from_mg_dl(f32::from_le_bytes(take(&mut rest)?)).ok()?;
                let reference = Glucose::from_mg_dl(f32::from_le_bytes(take(&mut rest)?)).ok()?;
                pairs.push(Kept { day, pair: Pair::new(at, sensor, reference).ok()? });
            }
            if people.last_key_value().is_some_and(|(last, _)| *last >= name) {
                return None; // in order and each once, so that equal records have equal bytes
            }
            people.insert(name, pairs);
        }
        Some(Self { people })
    }
}

fn take<const N: usize>(rest: &mut &[u8]) -> Option<[u8; N]> {
    let (first, after) = rest.split_first_chunk()?;
    *rest = after;
    Some(*first)
}

fn agreement(cut_mg_dl: f32) -> PyResult<AgreementRates> {
    AgreementRates::new(cut_mg_dl, CutoffBy::Reference)
        .map_err(|_| refused(format!("cut_mg_dl: found {cut_mg_dl}, expected 0 to 400")))
}

#[pymethods]
impl AccuracyRecord {
    #[new]
    fn new() -> Self {
        Self { people: BTreeMap::new() }
    }

    #[getter]
    fn people(&self) -> Vec<&str> {
        self.people.keys().map(String::as_str).collect()
    }

    #[getter]
    fn pairs(&self) -> usize {
        self.people.values().map(Vec::len).sum()
    }

    /// The figures of all pairs, worked out person by person in the order of their names.
    #[pyo3(signature = (cut_mg_dl=100.0))]
    fn figures<'py>(&self, py: Python<'py>, cut_mg_dl: f32) -> PyResult<Bound<'py, PyAny>> {
        let method = agreement(cut_mg_dl)?;
        let by_people = self.people.len() >= ENOUGH_PEOPLE;
        let value = py.detach(|| {
            let points: Vec<Point> = (0_i64..)
                .zip(self.people.values())
                .flat_map(|(person, pairs)| {
                    let own = move |day: i64| if by_people { person } else { (person << 32) + day };
                    pairs.iter().map(move |kept| kept.point(own(kept.day)))
                })
                .collect();
            serde_json::to_value(Figures::of(points.iter(), method))
        });
        let mut value = value.map_err(refused)?;
        if let (true, Some(map)) = (by_people, value.as_object_mut()) {
            map.insert("interval_basis".into(), json!("people"));
        }
        if let Some(map) = value.as_object_mut() {
            map.insert("people".into(), Value::from(self.people.len()));
        }
        object(py, &value)
    }

    /// The figures of each person, in the order of their names.
    #[pyo3(signature = (cut_mg_dl=100.0))]
    fn by_person<'py>(&self, py: Python<'py>, cut_mg_dl: f32) -> PyResult<Bound<'py, PyAny>> {
        let method = agreement(cut_mg_dl)?;
        let rows: Vec<Value> = self
            .people
            .iter()
            .map(|(person, pairs)| {
                let points: Vec<Point> = pairs.iter().map(|kept| kept.point(kept.day)).collect();
                let mut value = serde_json::to_value(Figures::of(points.iter(), method)).map_err(refused)?;
                if let Some(map) = value.as_object_mut() {
                    map.insert("person".into(), json!(person));
                }
                Ok(value)
            })
            .collect::<PyResult<_>>()?;
        object(py, &rows)
    }

    #[staticmethod]
    fn merged(records: Vec<Bound<'_, Self>>) -> PyResult<Self> {
        let mut all = Self::new();
        records.iter().try_for_each(|record| all.take(record.get()))?;
        Ok(all)
    }

    fn __add__(&self, other: &Bound<'_, Self>) -> PyResult<Self> {
        let mut all = self.clone();
        all.take(other.get())?;
        Ok(all)
    }

    fn to_bytes<'py>(&self, py: Python<'py>) -> Bound<'py, PyBytes> {
        PyBytes::new(py, &self.bytes())
    }

    #[staticmethod]
    fn from_bytes(bytes: &[u8]) -> PyResult<Self> {
        Self::read(bytes).ok_or_else(|| {
            refused("bytes: found no accuracy record of this version, or not the whole of one")
        })
    }

    fn __reduce__<'py>(slf: &Bound<'py, Self>) -> PyResult<(Bound<'py, PyAny>, (Bound<'py, PyBytes>,))> {
        Ok((slf.get_type().getattr("from_bytes")?, (PyBytes::new(slf.py(), &slf.get().bytes()),)))
    }

    fn __repr__(&self) -> String {
        format!("<AccuracyRecord: {} people, {} pairs>", self.people.len(), self.pairs())
    }
}
