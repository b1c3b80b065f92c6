//! `review`: weeks at a glance.

mod between;
mod fhir;
pub mod figures;
pub mod record;
mod sheet;
mod words;

use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicU64, Ordering};

use glidepath::review::{Exact, Pool};
use rayon::prelude::*;

use crate::args::{InputArgs, OutputArgs};
use crate::failure::{Failure, Unreadable};
use crate::output::{self, Outputs};
use crate::progress::Progress;
use crate::sheet::CAUTION;
use crate::table::{self, Unit};
use between::Period;
use figures::{Figures, Line, Report, Several};
use record::Record;

/// Review weeks of readings: ranges, variability, risk, episodes, and the pattern of the day
///
/// Of one trace everything is told; --out adds a sheet of one printed page (A4) for the care team. Of several traces
/// there is a line for each and one for all together, read in parallel. Limits are compared in the unit a trace comes
/// in: 70 mg/dL and 3.9 mmol/L are a pair of the consensus tables, not a conversion.
#[derive(clap::Args, Debug)]
#[command(after_help = CAUTION)]
pub struct Args {
    /// The traces: CSV tables with a header row, a time and a glucose column
    #[arg(required = true, value_name = "TRACE")]
    traces: Vec<PathBuf>,

    /// Compare these days, both included, such as 2026-02-02..2026-02-15, …
    #[arg(long, value_name = "FROM..TO", value_parser = between::period, requires = "against")]
    between: Option<Period>,

    /// … with these
    #[arg(long, value_name = "FROM..TO", value_parser = between::period, requires = "between")]
    against: Option<Period>,

    /// Write the figures as an HL7 FHIR R4 Bundle of Observations (JSON)
    #[arg(long, value_name = "FILE", help_heading = "Output")]
    fhir: Option<PathBuf>,

    #[command(flatten)]
    output: OutputArgs,

    #[command(flatten)]
    input: InputArgs,
}

pub fn run(args: &Args) -> Result<(), Failure> {
    match args.traces.as_slice() {
        [path] => one(path, args),
        several => {
            if args.between.is_some() || args.fhir.is_some() || args.output.out.is_some() {
                return Err(Failure::new("--between, --fhir and --out are for one trace, found several"));
            }
            many(several, args)
        }
    }
}

fn read(path: &Path, args: &Args) -> Result<Record, Failure> {
    let trace = table::read_trace(path, &args.input, &[])?;
    let name = path.file_name().unwrap_or_default().to_string_lossy().into_owned();
    Record::of(name, trace)
}

fn one(path: &Path, args: &Args) -> Result<(), Failure> {
    let record = read(path, args)?;
    let unit = args.output.unit_or(record.unit);
    let comparison = match (args.between, args.against) {
        (Some(between), Some(against)) => Some(between::compare(&record, between, against)?),
        _ => None,
    };
    let mut outputs = Outputs::beside([path]);
    if let Some(file) = &args.fhir {
        outputs.add(file.clone(), json(&fhir::bundle(&record))?);
    }
    let sheet = args.output.out.as_ref().map(|folder| folder.join("review.html"));
    if let (Some(folder), Some(sheet)) = (&args.output.out, &sheet) {
        let (html, charts) = sheet::draw(&record, comparison.as_ref(), unit);
        outputs.add(sheet.clone(), html);
        for chart in charts {
            outputs.add(folder.join("drawings").join(format!("{}.svg", chart.id())), chart.alone());
        }
        outputs.add(folder.join("day_profile.csv"), profile_csv(&record));
        outputs.add(folder.join("episodes.csv"), episodes_csv(&record));
    }
    outputs.write()?;
    if args.output.json {
        output::say(&json(&Report::of(&record, comparison.as_ref()))?);
        return Ok(());
    }
    for thought in words::thoughts(&record, unit) {
        output::say(&thought);
    }
    for thought in comparison.iter().flat_map(|comparison| between::thoughts(comparison, unit)) {
        output::say(&thought);
    }
    output::say(CAUTION);
    if let Some(sheet) = sheet {
        output::say(&format!("\nThe sheet: {}", sheet.display()));
    }
    Ok(())
}

fn many(paths: &[PathBuf], args: &Args) -> Result<(), Failure> {
    let progress = Progress::new("reviewing", paths.len() as u64);
    let done = AtomicU64::new(0);
    let read = |path: &PathBuf| {
        let record = read(path, args);
        progress.at(done.fetch_add(1, Ordering::Relaxed));
        record
    };
    // each thread adds up its own share; the sums do not depend on the order
    let (mut lines, pool) = paths
        .par_iter()
        .enumerate()
        .fold(
            || (Vec::new(), Box::<Pool<Exact>>::default()),
            |(mut lines, mut pool), (place, path)| {
                let record = read(path).inspect(|record| pool.add(&record.review));
                lines.push((place, record.map(Reviewed::of)));
                (lines, pool)
            },
        )
        .reduce(
            || (Vec::new(), Box::default()),
            |(mut lines, mut pool), (more, other)| {
                lines.extend(more);
                pool.merge(&other);
                (lines, pool)
            },
        );
    drop(progress);
    lines.sort_by_key(|(place, _)| *place);
    let mut unreadable = Unreadable::default();
    let reviewed: Vec<Reviewed> =
        lines.into_iter().filter_map(|(_, reviewed)| unreadable.keep(reviewed)).collect();
    let unreadable = unreadable.finish(paths.len())?;
    let unit = args.output.unit_or(reviewed.first().map_or(Unit::MgDl, |first| first.unit));
    let summary = pool.summary();
    if args.output.json {
        let records = reviewed.iter().map(Reviewed::line).collect();
        output::say(&json(&Several { records, pool: Figures::of(&summary), unreadable })?);
        return Ok(());
    }
    for reviewed in &reviewed {
        output::say(&words::line(&reviewed.name, &reviewed.summary, unit));
    }
    output::say(&words::line(&format!("All {} together", reviewed.len()), &summary, unit));
    if unreadable > 0 {
        output::say(&format!("{unreadable} of {} files could not be read and are left out.", paths.len()));
    }
    output::say(CAUTION);
    Ok(())
}

/// What a line needs of a record; its readings are let go of.
struct Reviewed {
    name: String,
    unit: Unit,
    interval_s: u32,
    summary: glidepath::review::Summary,
}

impl Reviewed {
    fn of(record: Record) -> Self {
        let Record { name, unit, interval_s, summary, .. } = record;
        Self { name, unit, interval_s, summary }
    }

    fn line(&self) -> Line<'_> {
        Line::of(&self.name, self.unit, self.interval_s, &self.summary)
    }
}

fn json(value: &impl serde::Serialize) -> Result<String, Failure> {
    serde_json::to_string_pretty(value).map_err(|error| Failure::new(format!("the results as JSON: {error}")))
}

fn profile_csv(record: &Record) -> String {
    let cell = |value: Option<f32>| value.map_or_else(String::new, |v| format!("{v:.1}"));
    let mut csv = String::from("minute,p05_mg_dl,p25_mg_dl,p50_mg_dl,p75_mg_dl,p95_mg_dl,values\n");
    for q in figures::quarters(record.review.grid()) {
        let [a, b, c, d, e] = [q.p05, q.p25, q.p50, q.p75, q.p95].map(cell);
        csv += &format!("{},{a},{b},{c},{d},{e},{}\n", q.minute, q.n);
    }
    csv
}

fn episodes_csv(record: &Record) -> String {
    let iso = |at: glidepath::Instant| record.clock.iso(at.secs().into());
    let mut csv = String::from("kind,start,end,minutes,extreme_mg_dl\n");
    for e in record.episodes() {
        let (start, end) = (iso(e.start), iso(e.end));
        csv += &format!("{},{start},{end},{:.1},{:.1}\n", e.kind, e.minutes(), e.extreme_mg_dl);
    }
    csv
}
