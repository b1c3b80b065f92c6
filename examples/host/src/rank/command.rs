//! The command line of `rank`.

use std::path::PathBuf;

use serde::Serialize;

use super::likeness::{self, Likeness};
use super::method::{self, Entry};
use super::ranking;
use super::recorded::{self, Ranked};
use super::{FIRST_TEST_SEED, report, sheet};
use crate::args::{InputArgs, OutputArgs};
use crate::failure::Failure;
use crate::output::{self, Outputs};
use crate::people;
use crate::sheet::{CAUTION, Chart};
use crate::simulate::WorldArgs;
use crate::table::Unit;

/// Rank methods: how near each comes to the truth, and to the best that is possible
///
/// Without traces, on simulated people (invented) whose truth is known: see `simulate`. With traces, on those: the
/// column plasma_mg_dl (or reference_mg_dl) is the truth, and without it the sensor's own later readings are, which can only judge
/// predictions and alarms. With folders, on the recorded people in them, set by set: a folder of traces is a set, and so
/// is each folder with traces within it; see `fit` for their form. Figures from simulated people compare methods; they do not say how a real sensor does
/// on a real person.
#[derive(clap::Args, Debug)]
#[command(after_help = CAUTION)]
pub struct Args {
    /// Recorded traces (CSV tables) instead of simulated people; or folders of them
    #[arg(value_name = "TRACE")]
    pub(super) traces: Vec<PathBuf>,

    /// How many simulated people
    #[arg(long, value_name = "N", default_value_t = 100, value_parser = clap::value_parser!(u32).range(1..=10_000))]
    pub(super) people: u32,

    /// Days for each; the first half day lets methods settle and is not scored
    #[arg(long, value_name = "D", default_value_t = 14, value_parser = clap::value_parser!(u32).range(1..=90))]
    pub(super) days: u32,

    /// Minutes between readings
    #[arg(long, value_name = "MIN", default_value_t = 5, value_parser = clap::value_parser!(u32).range(1..=15))]
    pub(super) interval: u32,

    /// The seed of the first person; others follow. Seeds under 1000000 are for tuning, those from there on for
    /// testing
    #[arg(long, value_name = "SEED", default_value_t = FIRST_TEST_SEED)]
    pub(super) first_seed: u64,

    /// Also give the methods so many fingersticks a day, on drifting sensors: a list such as 1,2,4
    #[arg(long, value_name = "LIST", value_delimiter = ',', value_parser = clap::value_parser!(u32).range(1..=24))]
    pub(super) fingersticks: Vec<u32>,

    /// Only methods whose name has this in it; may be repeated
    #[arg(long, value_name = "TEXT")]
    pub(super) only: Vec<String>,

    #[command(flatten)]
    pub(super) world: WorldArgs,

    #[command(flatten)]
    pub(super) input: InputArgs,

    #[command(flatten)]
    output: OutputArgs,
}

impl Args {
    /// What asks for simulated people alone.
    pub(super) fn of(on: ranking::Invented) -> Self {
        let ranking::Invented { people, days, interval, first_seed, world, only } = on;
        let (input, output) = (InputArgs::default(), OutputArgs::default());
        let (traces, fingersticks) = (Vec::new(), Vec::new());
        Self { traces, people, days, interval, first_seed, fingersticks, only, world, input, output }
    }
}

/// Ranks what the command line asks for, with the caller's `own` methods among the others.
pub fn run(args: &Args, own: Vec<Entry>) -> Result<(), Failure> {
    let own = method::owned(own);
    match args.traces.iter().filter(|path| path.is_dir()).count() {
        0 => {}
        folders if folders == args.traces.len() => return on_people(args, own),
        _ => return Err(Failure::new("traces and folders together, expected either of them")),
    }
    let ranking =
        if args.traces.is_empty() { ranking::simulated(args, own)? } else { ranking::recorded(args, own)? };
    let rows = report::rows(&ranking);
    let unit = args.output.unit_or(ranking.unit);
    let mut outputs = Outputs::beside(&args.traces);
    if let Some(folder) = &args.output.out {
        drawn(&mut outputs, args, sheet::draw(&ranking, &rows, unit));
        outputs.add(folder.join("rank.csv"), report::csv(&ranking, &rows));
    }
    outputs.write()?;
    print(args, &rows, || report::tables(&ranking, &rows, unit));
    Ok(())
}

/// What is ranked on recorded people, and what simulated ones beside them are like.
#[derive(Serialize)]
struct Report {
    #[serde(flatten)]
    ranked: Ranked,
    /// Of each set, of all, and of simulated people.
    likeness: Vec<Likeness>,
}

/// Ranks on recorded people.
fn on_people(args: &Args, own: Vec<Entry>) -> Result<(), Failure> {
    let methods = wanted(method::beside(own), &args.only)?;
    let sets = people::sets(&args.traces, &args.input)?;
    let ranked = recorded::on(&sets, &methods)?;
    let report = Report { ranked, likeness: likeness::beside(&sets, args.people, args.days) };
    let unit = args.output.unit_or(Unit::MgDl);
    let mut outputs = Outputs::default();
    if args.output.out.is_some() {
        drawn(&mut outputs, args, recorded::sheet::draw(&report.ranked, &report.likeness, &methods, unit));
    }
    outputs.write()?;
    print(args, &report, || {
        let likeness = recorded::tables::as_text(&likeness::table(&report.likeness, unit));
        format!("{}{likeness}\n{CAUTION}\n", report.ranked.text(unit))
    });
    Ok(())
}

/// The sheet and its drawings, where they were asked for.
fn drawn(outputs: &mut Outputs<'_>, args: &Args, (html, charts): (String, Vec<Chart>)) {
    let Some(folder) = &args.output.out else { return };
    outputs.add(folder.join("rank.html"), html);
    for chart in charts {
        outputs.add(folder.join("drawings").join(format!("{}.svg", chart.id())), chart.alone());
    }
}

/// Prints the figures: as JSON, or as text with where the sheet is.
fn print(args: &Args, figures: &impl Serialize, text: impl FnOnce() -> String) {
    if args.output.json {
        output::print(&(serde_json::to_string_pretty(figures).unwrap_or_default() + "\n"));
        return;
    }
    let sheet = args.output.out.as_ref().map(|folder| folder.join("rank.html"));
    let sheet = sheet.map_or_else(String::new, |sheet| format!("\nThe sheet: {}\n", sheet.display()));
    output::print(&(text() + &sheet));
}

/// Those of the methods whose names were asked for.
pub(super) fn wanted(methods: Vec<Entry>, only: &[String]) -> Result<Vec<Entry>, Failure> {
    if only.is_empty() {
        return Ok(methods);
    }
    let names: Vec<String> = methods.iter().map(|entry| entry.name.clone()).collect();
    let methods: Vec<Entry> = methods
        .into_iter()
        .filter(|entry| only.iter().any(|text| entry.name.contains(text.as_str())))
        .collect();
    if methods.is_empty() {
        return Err(Failure::new(format!(
            "--only: no method has that in its name; there are: {}",
            names.join("; ")
        )));
    }
    Ok(methods)
}
