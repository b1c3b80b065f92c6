//! Recorded people, as they are fitted on: a folder for each set, a file for each person.

use std::path::{Path, PathBuf};

use glidepath::{Fingerstick, Reading};

use crate::args::InputArgs;
use crate::failure::Failure;
use crate::table::{read_fingersticks_beside, read_trace};

/// The column of blood glucose beside a trace.
const REFERENCE: &str = "reference_mg_dl";

/// One person with one sensor.
pub struct Person {
    /// The folder's name.
    pub set: String,
    /// The file's name.
    pub name: String,
    /// Readings in order of time, by the person's own clock.
    pub readings: Vec<Reading>,
    /// Fingersticks or a laboratory's values, if the file has them.
    pub references: Vec<Fingerstick>,
    /// Seconds the person's clock is ahead of the readings' times.
    pub lead: i32,
}

impl Person {
    /// The references with the newest reading before each, at most a quarter of an hour old, and not in the first 25
    /// minutes: the reading's place, and the reference in mg/dL.
    pub fn pairs(&self) -> impl Iterator<Item = (usize, f64)> {
        let begin = self.readings.first().map_or(0, |first| first.at().secs());
        self.references.iter().filter_map(move |reference| {
            let place = self.readings.partition_point(|reading| reading.at() <= reference.at());
            let newest = self.readings.get(place.checked_sub(1)?)?;
            let settled = reference.at().secs() >= begin.saturating_add(25 * 60);
            let fresh = reference.at().since(newest.at()).secs() <= 15 * 60;
            (settled && fresh).then(|| (place - 1, f64::from(reference.glucose().mg_dl())))
        })
    }

    /// Whether the references are a laboratory's: every half hour or oftener.
    pub fn has_laboratory(&self) -> bool {
        let mut steps: Vec<i32> =
            self.references.windows(2).map(|pair| pair[1].at().since(pair[0].at()).secs()).collect();
        steps.sort_unstable();
        steps.get(steps.len() / 2).is_some_and(|step| *step <= 30 * 60)
    }
}

/// Every file of each folder; a folder of folders is taken as one set for each.
///
/// # Errors
/// When a folder cannot be read, or a file is no table of readings.
pub fn load(folders: &[PathBuf]) -> Result<Vec<Person>, Failure> {
    let mut people = Vec::new();
    for folder in folders {
        let entries = sorted(folder)?;
        let (inner, files): (Vec<PathBuf>, Vec<PathBuf>) =
            entries.into_iter().partition(|path| path.is_dir());
        people.append(&mut load(&inner)?);
        let set = folder.file_name().map_or_else(String::new, |name| name.to_string_lossy().into_owned());
        for file in files.iter().filter(|file| file.extension().is_some_and(|end| end == "csv")) {
            people.push(person(&set, file)?);
        }
    }
    Ok(people)
}

fn sorted(folder: &Path) -> Result<Vec<PathBuf>, Failure> {
    let failed = |error: std::io::Error| Failure::new(format!("{}: {error}", folder.display()));
    let entries: Result<Vec<PathBuf>, std::io::Error> =
        std::fs::read_dir(folder).map_err(failed)?.map(|entry| entry.map(|entry| entry.path())).collect();
    let mut entries = entries.map_err(failed)?;
    entries.sort();
    Ok(entries)
}

fn person(set: &str, file: &Path) -> Result<Person, Failure> {
    let plain = InputArgs::default();
    let trace = read_trace(file, &plain, &[REFERENCE])?;
    let references = if trace.column(REFERENCE).is_some() {
        read_fingersticks_beside(file, &plain, &trace.clock)?.values
    } else {
        Vec::new()
    };
    let first = trace.readings.first().map_or(0, |reading| i64::from(reading.at().secs()));
    Ok(Person {
        set: set.to_owned(),
        name: file.file_stem().map_or_else(String::new, |name| name.to_string_lossy().into_owned()),
        readings: trace.readings,
        references,
        lead: i32::try_from(trace.clock.lead(first)).unwrap_or(0),
    })
}
