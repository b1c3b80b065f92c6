//! `rank`: every method on the same readings, against the truth.

mod bound;
mod head;
mod likeness;
pub mod linear;
mod lows;
mod method;
mod ours;
mod own;
mod people;
mod recorded_sheet;
mod report;
mod score;
mod series;
mod sheet;
mod sticks;
mod tally;

use std::path::PathBuf;

use crate::args::{InputArgs, OutputArgs};
use crate::failure::{Failure, Unreadable};
use crate::output::{self, Outputs};
use crate::sheet::CAUTION;
use crate::simulate::WorldArgs;
use crate::table::{self, Unit};

use glidepath::simulate::{GaussianWorldConfig, SensorModel};
use method::Entry;
use series::{Series, Setting};
use tally::Tally;

/// How far ahead predictions are scored, minutes.
pub const HORIZONS: [f32; 4] = [15.0, 30.0, 45.0, 60.0];

/// The first seed of the people that methods are tested on. Whatever is tuned is tuned on people of smaller seeds.
const FIRST_TEST_SEED: u64 = 1_000_000;

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
    traces: Vec<PathBuf>,

    /// How many simulated people
    #[arg(long, value_name = "N", default_value_t = 100, value_parser = clap::value_parser!(u32).range(1..=10_000))]
    people: u32,

    /// Days for each; the first half day lets methods settle and is not scored
    #[arg(long, value_name = "D", default_value_t = 14, value_parser = clap::value_parser!(u32).range(1..=90))]
    days: u32,

    /// Minutes between readings
    #[arg(long, value_name = "MIN", default_value_t = 5, value_parser = clap::value_parser!(u32).range(1..=15))]
    interval: u32,

    /// The seed of the first person; others follow. Seeds under 1000000 are for tuning, those from there on for
    /// testing
    #[arg(long, value_name = "SEED", default_value_t = FIRST_TEST_SEED)]
    first_seed: u64,

    /// Also give the methods so many fingersticks a day, on drifting sensors: a list such as 1,2,4
    #[arg(long, value_name = "LIST", value_delimiter = ',', value_parser = clap::value_parser!(u32).range(1..=24))]
    fingersticks: Vec<u32>,

    /// Only methods whose name has this in it; may be repeated
    #[arg(long, value_name = "TEXT")]
    only: Vec<String>,

    #[command(flatten)]
    world: WorldArgs,

    #[command(flatten)]
    input: InputArgs,

    #[command(flatten)]
    output: OutputArgs,
}

/// Columns with the truth in recorded traces.
const TRUTH: [&str; 3] = ["plasma_mg_dl", "reference_mg_dl", "rate_mg_dl_min"];

/// What is ranked and on what.
struct Ranking {
    /// On whom, in two words, and with all that there is to it.
    who: &'static str,
    on: String,
    methods: Vec<Entry>,
    /// One for each method.
    tallies: Vec<Tally>,
    /// On the Gaussian world, with the best that is possible there.
    gaussian: Option<(Vec<Tally>, bound::Bound)>,
    /// Fingersticks a day and a tally for each method.
    calibrated: Vec<(u32, Vec<Tally>)>,
    /// Nanoseconds a reading.
    costs: Vec<f64>,
    /// A series to show a day of.
    example: Option<Series>,
    /// The first trace's.
    unit: Unit,
}

pub fn run(args: &Args) -> Result<(), Failure> {
    match args.traces.iter().filter(|path| path.is_dir()).count() {
        0 => {}
        folders if folders == args.traces.len() => return on_people(args),
        _ => return Err(Failure::new("traces and folders together, expected either of them")),
    }
    let ranking = if args.traces.is_empty() { simulated(args)? } else { recorded(args)? };
    let rows = report::rows(&ranking);
    let unit = args.output.unit_or(ranking.unit);
    let mut outputs = Outputs::beside(&args.traces);
    let sheet = args.output.out.as_ref().map(|folder| folder.join("rank.html"));
    if let (Some(folder), Some(sheet)) = (&args.output.out, &sheet) {
        let (html, charts) = sheet::draw(&ranking, &rows, unit);
        outputs.add(sheet.clone(), html);
        for chart in charts {
            outputs.add(folder.join("drawings").join(format!("{}.svg", chart.id())), chart.alone());
        }
        outputs.add(folder.join("rank.csv"), report::csv(&ranking, &rows));
    }
    outputs.write()?;
    let text = if args.output.json {
        serde_json::to_string_pretty(&rows).unwrap_or_default() + "\n"
    } else {
        let sheet = sheet.map_or_else(String::new, |sheet| format!("\nThe sheet: {}\n", sheet.display()));
        report::tables(&ranking, &rows, unit) + &sheet
    };
    output::print(&text);
    Ok(())
}

/// Ranks on recorded people.
fn on_people(args: &Args) -> Result<(), Failure> {
    let mut methods = method::usual();
    methods.extend(ours::shipped());
    methods.extend(own::own());
    let methods = wanted(methods, &args.only)?;
    let report = people::rank(args, &methods)?;
    let unit = args.output.unit_or(Unit::MgDl);
    let sheet = args.output.out.as_ref().map(|folder| folder.join("rank.html"));
    if let (Some(folder), Some(sheet)) = (&args.output.out, &sheet) {
        let (html, charts) = recorded_sheet::draw(&report, &methods, unit);
        let mut outputs = Outputs::default();
        outputs.add(sheet.clone(), html);
        for chart in charts {
            outputs.add(folder.join("drawings").join(format!("{}.svg", chart.id())), chart.alone());
        }
        outputs.write()?;
    }
    if args.output.json {
        output::print(&(serde_json::to_string_pretty(&report).unwrap_or_default() + "\n"));
        return Ok(());
    }
    let mut text = format!("On {}.\n", report.on);
    for set in &report.sets {
        people::tables(set, unit).iter().for_each(|table| text += &people::as_text(table));
    }
    text += &people::as_text(&likeness::table(&report.likeness, unit));
    text += &format!("\n{CAUTION}\n");
    if let Some(sheet) = sheet {
        text += &format!("\nThe sheet: {}\n", sheet.display());
    }
    output::print(&text);
    Ok(())
}

fn simulated(args: &Args) -> Result<Ranking, Failure> {
    let sensor = args.world.sensor()?;
    let setting = Setting {
        person: args.world.person(),
        sensor,
        days: args.days,
        interval: args.interval,
        fingersticks_per_day: 0,
    };
    let mut all = all(&sensor);
    if !args.fingersticks.is_empty() {
        all.extend(sticks::usual());
    }
    let mut methods = wanted(all, &args.only)?;
    let seed = |n: usize| args.first_seed.wrapping_add(n as u64);
    let people = args.people as usize;

    // the yardstick is fitted on people of the tuning seeds
    let tuning = tally::simulate("Fitting the best linear filter", people.min(60), |n| {
        series::person(FIRST_TEST_SEED / 2 + n as u64, &setting)
    });
    let yardstick = linear::best_linear(&tuning, args.interval);
    drop(tuning);
    if args.only.is_empty() || args.only.iter().any(|text| yardstick.name.contains(text.as_str())) {
        methods.push(yardstick);
    }

    let tallies =
        tally::tally("Ranking on simulated people", &methods, people, |n| series::person(seed(n), &setting));
    let worlds = people.min(60);
    let gaussian = tally::tally("Ranking on the Gaussian world", &methods, worlds, |n| {
        series::gaussian(seed(n), &setting)
    });
    let config = GaussianWorldConfig::DEFAULT;
    let lag = f64::from(series::GAUSSIAN_LAG);
    let bound = bound::bound(&config, &sensor, lag, f64::from(args.interval));
    let mut calibrated = Vec::new();
    if !args.fingersticks.is_empty() {
        for per_day in std::iter::once(0).chain(args.fingersticks.iter().copied()) {
            let setting =
                Setting { sensor: sensor.with_drift(true), fingersticks_per_day: per_day, ..setting };
            let tallies = tally::tally("Ranking with fingersticks", &methods, people, |n| {
                series::person(seed(n), &setting)
            });
            calibrated.push((per_day, tallies));
        }
    }
    let example = series::person(seed(0), &setting);
    let costs = tally::costs(&methods, &example);
    Ok(Ranking {
        who: "simulated people (invented)",
        on: format!(
            "{people} simulated {} (invented; seeds from {}), {} days each, a reading every {} min",
            if people == 1 { "person" } else { "people" },
            args.first_seed,
            args.days,
            args.interval
        ),
        methods,
        tallies,
        gaussian: Some((gaussian, bound)),
        calibrated,
        costs,
        example: Some(example),
        unit: Unit::MgDl,
    })
}

fn recorded(args: &Args) -> Result<Ranking, Failure> {
    let methods = wanted(all(&args.world.sensor()?), &args.only)?;
    let mut series = Vec::new();
    let mut unit = None;
    let mut unreadable = Unreadable::default();
    for path in &args.traces {
        let one = table::read_trace(path, &args.input, &TRUTH).and_then(|trace| {
            unit.get_or_insert(trace.unit);
            Series::recorded(&trace)
                .ok_or_else(|| Failure::file(path, "holds no readings, expected some to rank methods on"))
        });
        series.extend(unreadable.keep(one));
    }
    unreadable.finish(args.traces.len())?;
    let unit = unit.unwrap_or_default();
    let known = series.iter().filter(|one| !one.truth_is_sensor).count();
    let tallies = tally::over("Ranking on traces", &methods, &series);
    let costs = series.first().map_or_else(Vec::new, |one| tally::costs(&methods, one));
    Ok(Ranking {
        who: "traces",
        on: format!(
            "{} traces, {known} of them with plasma glucose; for the others the sensor's later readings are the truth",
            series.len()
        ),
        methods,
        tallies,
        gaussian: None,
        calibrated: Vec::new(),
        costs,
        example: series.into_iter().next(),
        unit,
    })
}

/// Every method there is.
fn all(sensor: &SensorModel) -> Vec<Entry> {
    let mut all = method::usual();
    all.extend(ours::ours(sensor));
    all.extend(own::own());
    all
}

/// Those of the methods whose names were asked for.
fn wanted(methods: Vec<Entry>, only: &[String]) -> Result<Vec<Entry>, Failure> {
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
