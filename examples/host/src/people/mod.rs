//! Recorded people, by set; what their lows were, two sensors of theirs lived through, and least squares over them. `fit`,
//! `rank` and `pairs` stand on this.

pub(crate) mod least;
pub(crate) mod lows;
pub(crate) mod two;

use std::fs;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicU64, Ordering};

use glidepath::{Fingerstick, Reading};
use glidepath_replay::WallClock as _;
use rayon::prelude::*;

use crate::args::InputArgs;
use crate::failure::{Failure, Unreadable};
use crate::progress::Progress;
use crate::table::{self, Clock};

/// People recorded in one study.
#[derive(Clone)]
pub struct Set {
    pub(crate) name: String,
    pub(crate) people: Vec<Person>,
}

impl Set {
    /// Some people by a name.
    pub fn new(name: &str, people: Vec<Person>) -> Self {
        Self { name: name.to_owned(), people }
    }
}

/// One trace: a person with one sensor.
#[derive(Clone)]
pub struct Person {
    /// The set's name.
    pub(crate) set: String,
    /// The file's name.
    pub(crate) name: String,
    /// In order of time.
    pub(crate) readings: Vec<Reading>,
    /// Fingersticks or a laboratory's values, if the file has them.
    pub(crate) references: Vec<Fingerstick>,
    pub(crate) clock: Clock,
}

impl Person {
    /// A trace by its name: readings, and fingersticks or a laboratory's values beside them if there are any, both brought into
    /// order of time. Hours are those of the readings' own times.
    pub fn new(name: &str, mut readings: Vec<Reading>, mut references: Vec<Fingerstick>) -> Self {
        readings.sort_by_key(Reading::at);
        readings.dedup_by_key(|reading| reading.at());
        references.sort_by_key(Fingerstick::at);
        Self { set: String::new(), name: name.to_owned(), readings, references, clock: Clock::default() }
    }

    /// Whose trace it is: several of one person differ in what follows the first underscore.
    pub(crate) fn owner(&self) -> &str {
        self.name.split('_').next().unwrap_or(&self.name)
    }

    /// Days of the trace that readings cover: a silence counts for a quarter of an hour at most.
    pub(crate) fn days(&self) -> f64 {
        let steps = self.readings.windows(2).map(|pair| f64::from(pair[1].at().since(pair[0].at()).secs()));
        steps.map(|step| step.min(900.0)).sum::<f64>() / 86_400.0
    }

    /// Whether it is between midnight and six on the wearer's clock.
    pub(crate) fn in_small_hours(&self, reading: &Reading) -> bool {
        self.clock.hour(reading.at().secs().into()) < 6
    }

    /// Whether what rings at a moment, in seconds, rings by night, as [`Clock::night`] has it.
    pub(crate) fn rings_by_night(&self, at: u32) -> bool {
        self.clock.night(at.into()).is_some()
    }

    /// Seconds the person's clock is ahead of the readings' times, as the trace begins.
    pub(crate) fn lead(&self) -> i32 {
        let first = self.readings.first().map_or(0, |reading| i64::from(reading.at().secs()));
        i32::try_from(self.clock.lead(first)).unwrap_or(0)
    }

    /// The references with the newest reading before each, at most a quarter of an hour old, and not in the first 25
    /// minutes: the reading's place, and the reference in mg/dL.
    pub(crate) fn pairs(&self) -> impl Iterator<Item = (usize, f64)> {
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
    pub(crate) fn has_laboratory(&self) -> bool {
        let mut steps: Vec<i32> =
            self.references.windows(2).map(|pair| pair[1].at().since(pair[0].at()).secs()).collect();
        steps.sort_unstable();
        steps.get(steps.len() / 2).is_some_and(|step| *step <= 30 * 60)
    }

    /// Glucose at a moment, in a straight line between readings up to 17 minutes apart.
    pub(crate) fn between(&self, at: i64) -> Option<f64> {
        let secs = |n: usize| i64::from(self.readings[n].at().secs());
        let level = |n: usize| f64::from(self.readings[n].glucose().mg_dl());
        let after = self.readings.partition_point(|reading| i64::from(reading.at().secs()) < at);
        if after < self.readings.len() && secs(after) == at {
            return Some(level(after));
        }
        let before = after.checked_sub(1).filter(|_| after < self.readings.len())?;
        let step = secs(after) - secs(before);
        let part = (at - secs(before)) as f64 / step as f64;
        (step <= 1020).then(|| level(before) + part * (level(after) - level(before)))
    }

    /// The actual rate at reading `n`, mg/dL/min: the straight line through the sensor from 2 min before to 18 min after,
    /// as what is under the skin lags.
    pub(crate) fn actual_rate(&self, n: usize) -> Option<f64> {
        let now = i64::from(self.readings[n].at().secs());
        Some((self.between(now + 1080)? - self.between(now - 120)?) / 20.0)
    }

    /// The reading nearest to `secs` after reading `n`, if one lies within 2.5 minutes of it.
    pub(crate) fn later(&self, n: usize, secs: u32) -> Option<f32> {
        let want = self.readings[n].at().secs().checked_add(secs)?;
        let off = |reading: &&Reading| reading.at().secs().abs_diff(want);
        let after = self.readings[n..].partition_point(|reading| reading.at().secs() < want) + n;
        let near = [self.readings.get(after.wrapping_sub(1)), self.readings.get(after)];
        let nearest = near.into_iter().flatten().min_by_key(off)?;
        (off(&nearest) <= 150).then(|| nearest.glucose().mg_dl())
    }

    /// Whether a reading under 70 mg/dL comes within `secs` after reading `n`; not known with too few readings.
    pub(crate) fn low_within(&self, n: usize, secs: u32) -> Option<bool> {
        let end = self.readings[n].at().secs().checked_add(secs)?;
        let rest = &self.readings[n + 1..];
        let within = &rest[..rest.partition_point(|reading| reading.at().secs() <= end)];
        let enough = within.last().is_some_and(|last| end - last.at().secs() <= 450);
        let low = within.iter().any(|reading| reading.glucose().mg_dl() < 70.0);
        (low || enough).then_some(low)
    }
}

/// The people of all sets.
pub(crate) fn everyone(sets: &[Set]) -> Vec<&Person> {
    sets.iter().flat_map(|set| &set.people).collect()
}

/// The people in `folders`, as the command line reads them: a folder with CSV tables is a set, and so is each folder with
/// tables within it. A column `reference_mg_dl` holds fingersticks or a laboratory's values.
///
/// # Errors
/// When a folder cannot be read or holds nothing that can. Tables that cannot be read among others that can are told on
/// standard error and left out.
pub fn read(folders: &[PathBuf]) -> Result<Vec<Set>, Failure> {
    sets(folders, &InputArgs::default())
}

/// The sets under `folders`: a folder with traces is one, and so is each folder with traces within it.
pub(crate) fn sets(folders: &[PathBuf], input: &InputArgs) -> Result<Vec<Set>, Failure> {
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
    let progress = Progress::new("reading traces", found.iter().map(|(_, traces)| traces.len() as u64).sum());
    let read = AtomicU64::new(0);
    let mut unreadable = Unreadable::default();
    let all = found.iter().map(|(_, traces)| traces.len()).sum();
    let sets = found
        .into_iter()
        .map(|(folder, traces)| {
            let name = name(&folder);
            let one = |path: &PathBuf| {
                let person = person(&name, path, input);
                progress.at(read.fetch_add(1, Ordering::Relaxed) + 1);
                person
            };
            let people: Vec<Result<Person, Failure>> = traces.par_iter().map(one).collect();
            let people = people.into_iter().filter_map(|person| unreadable.keep(person)).collect();
            Set { name: name.clone(), people }
        })
        .filter(|set: &Set| !set.people.is_empty())
        .collect();
    drop(progress);
    unreadable.finish(all)?;
    Ok(sets)
}

fn person(set: &str, path: &Path, input: &InputArgs) -> Result<Person, Failure> {
    let trace = table::read_trace(path, input, &[])?;
    Ok(Person {
        set: set.to_owned(),
        name: name(path),
        readings: trace.readings,
        references: trace.fingersticks,
        clock: trace.clock,
    })
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

#[cfg(test)]
mod tests {
    use super::*;
    use glidepath::{Glucose, Instant};

    #[test]
    fn a_person_made_of_readings_is_in_order_of_time_and_has_none_twice() {
        let glucose = Glucose::from_mg_dl(100.0).unwrap();
        let at = |minute: u32| Instant::from_secs(60 * minute);
        let readings = [10, 0, 5, 10].map(|minute| Reading::new(at(minute), glucose));
        let references = [9, 3].map(|minute| Fingerstick::new(at(minute), glucose));
        let person = Person::new("one", readings.to_vec(), references.to_vec());
        let minutes: Vec<u32> = person.readings.iter().map(|reading| reading.at().secs() / 60).collect();
        assert_eq!(minutes, [0, 5, 10]);
        assert!(person.references[0].at() < person.references[1].at());
    }

    /// What both need is here, below both of them.
    #[test]
    fn rank_and_fit_do_not_know_each_other() {
        let source = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
        for (room, others) in [("people", &["fit", "rank"][..]), ("fit", &["rank"]), ("rank", &["fit"])] {
            let (mut folders, mut files) = (vec![source.join(room)], 0);
            while let Some(folder) = folders.pop() {
                for path in inside(&folder).unwrap() {
                    if path.is_dir() {
                        folders.push(path);
                        continue;
                    }
                    let text = fs::read_to_string(&path).unwrap();
                    let named = others.iter().find(|other| text.contains(&["crate::", other, "::"].concat()));
                    assert!(named.is_none(), "{} knows {}", path.display(), named.unwrap());
                    files += 1;
                }
            }
            assert!(files > 2, "{room}");
        }
    }
}
