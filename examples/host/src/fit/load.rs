//! Recorded people, by set.

use std::fs;
use std::path::{Path, PathBuf};

use glidepath::Reading;
use rayon::prelude::*;

use crate::args::InputArgs;
use crate::failure::Failure;
use crate::table::{self, Clock};

/// People recorded in one study.
#[derive(Clone)]
pub struct Set {
    pub name: String,
    pub people: Vec<Person>,
}

/// One trace.
#[derive(Clone)]
pub struct Person {
    pub name: String,
    /// In order of time.
    pub readings: Vec<Reading>,
    pub clock: Clock,
}

impl Person {
    /// Minutes of the trace that readings cover: a silence counts for a quarter of an hour at most.
    pub fn days(&self) -> f64 {
        let steps = self.readings.windows(2).map(|pair| f64::from(pair[1].at().since(pair[0].at()).secs()));
        steps.map(|step| step.min(900.0)).sum::<f64>() / 86_400.0
    }

    /// Whether it is between midnight and six on the wearer's clock.
    pub fn is_night(&self, reading: &Reading) -> bool {
        self.clock.wall(reading.at().secs().into()).rem_euclid(86_400) < 6 * 3600
    }

    /// The reading nearest to `secs` after reading `n`, if one lies within 2.5 minutes of it.
    pub fn later(&self, n: usize, secs: u32) -> Option<f32> {
        let want = self.readings[n].at().secs().checked_add(secs)?;
        let off = |reading: &&Reading| reading.at().secs().abs_diff(want);
        let after = self.readings[n..].partition_point(|reading| reading.at().secs() < want) + n;
        let near = [self.readings.get(after.wrapping_sub(1)), self.readings.get(after)];
        let nearest = near.into_iter().flatten().min_by_key(off)?;
        (off(&nearest) <= 150).then(|| nearest.glucose().mg_dl())
    }

    /// Whether a reading under 70 mg/dL comes within `secs` after reading `n`; not known with too few readings.
    pub fn low_within(&self, n: usize, secs: u32) -> Option<bool> {
        let end = self.readings[n].at().secs().checked_add(secs)?;
        let rest = &self.readings[n + 1..];
        let within = &rest[..rest.partition_point(|reading| reading.at().secs() <= end)];
        let enough = within.last().is_some_and(|last| end - last.at().secs() <= 450);
        let low = within.iter().any(|reading| reading.glucose().mg_dl() < 70.0);
        (low || enough).then_some(low)
    }
}

/// The sets under `folders`: a folder with traces is one, and so is each folder with traces within it.
pub fn sets(folders: &[PathBuf], input: &InputArgs) -> Result<Vec<Set>, Failure> {
    let mut found = Vec::new();
    for folder in folders {
        for set in
            std::iter::once(folder.clone()).chain(inside(folder)?.into_iter().filter(|path| path.is_dir()))
        {
            let traces: Vec<PathBuf> = inside(&set)?
                .into_iter()
                .filter(|path| path.extension().is_some_and(|e| e == "csv"))
                .collect();
            if !traces.is_empty() {
                found.push((set, traces));
            }
        }
    }
    if found.is_empty() {
        return Err(Failure::new("no traces there, expected folders with CSV files"));
    }
    found
        .into_iter()
        .map(|(folder, traces)| {
            let people = traces.par_iter().map(|path| person(path, input)).collect::<Result<_, _>>()?;
            Ok(Set { name: name(&folder), people })
        })
        .collect()
}

fn person(path: &Path, input: &InputArgs) -> Result<Person, Failure> {
    let trace = table::read_trace(path, input, &[])?;
    Ok(Person { name: name(path), readings: trace.readings, clock: trace.clock })
}

fn name(path: &Path) -> String {
    path.file_stem().unwrap_or_default().to_string_lossy().into_owned()
}

/// What is in a folder, by name.
fn inside(folder: &Path) -> Result<Vec<PathBuf>, Failure> {
    let failed = |error| Failure::file(folder, format!("{error}, expected a folder with traces"));
    let entries = fs::read_dir(folder).map_err(failed)?;
    let mut paths: Vec<PathBuf> =
        entries.map(|entry| entry.map(|e| e.path())).collect::<Result<_, _>>().map_err(failed)?;
    paths.sort();
    Ok(paths)
}
