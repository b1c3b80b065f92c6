//! `replay`: a recorded trace, reading by reading, as the wrist would have lived it.

pub mod demo;
pub mod report;
mod sheet;
mod truth;
mod wrist;

use std::path::PathBuf;

use glidepath::Instant;
use glidepath::alarm::Ring;
use glidepath_replay::score::LONGEST_STEP;

use crate::args::{InputArgs, OutputArgs};
use crate::failure::Failure;
use crate::output::{Outputs, say};
use crate::played::lows::Low;
use crate::played::written::{self, Digits};
use crate::played::{Detail, Pricked, Sample, Traces};
use crate::rehearsal::{self, Rehearsal, score};
use crate::sheet::CAUTION;
use crate::table::{self, Clock, Counts, Fingersticks, Trace, Unit};
use report::{Report, Truth};

/// Replay a recorded trace, reading by reading, as the wrist would have lived it
///
/// The table has a header row, a time (RFC 3339, ISO 8601, a date as spreadsheets write it, or seconds or
/// milliseconds since 1970; date and time may stand in two columns) and a glucose column (glucose_mg_dl,
/// glucose_mmol_l or the like). Lines before the header, rows out of order, repeats, clock changes, LOW and HIGH,
/// blanks, UTF-16, a byte-order mark and CRLF are handled, counted and reported. A column reference_mg_dl is taken as
/// fingersticks. A column plasma_mg_dl with the true blood glucose, as `simulate` writes, is compared with the
/// estimate.
///
/// Alarms are replayed with their default settings or those of `--settings`, each acknowledged when it rings: one
/// that goes on rings again after its quiet time. A silence is lived through for a day at most.
#[derive(clap::Args, Debug, Default)]
#[command(after_help = CAUTION)]
pub struct Args {
    /// The trace: a table (CSV) with a header row, - for standard input [default: the embedded demo]
    trace: Option<PathBuf>,

    /// Fingersticks: a table (CSV) with a time and reference_mg_dl or glucose_mg_dl (or the same in mmol_l) [default:
    /// the trace's own column reference_mg_dl]
    #[arg(long, value_name = "FILE", requires = "trace")]
    fingersticks: Option<PathBuf>,

    /// A second sensor worn at the same time: a table (CSV) of the same form
    ///
    /// The two are played through the monitor of two sensors: one blood glucose, each sensor by what it has earned. A low is
    /// one that either sensor reads, for alarms go by the lower; a high is one of both as they weigh; a gap is one in which
    /// neither reads. One whose first reading comes six hours or more after the other's was put on later: its first day
    /// counts as such.
    #[arg(long, value_name = "FILE", requires = "trace")]
    second: Option<PathBuf>,

    /// Write what was known after each reading as CSV
    #[arg(long, value_name = "FILE", help_heading = "Output")]
    samples: Option<PathBuf>,

    /// Write that CSV's numbers with all their digits: reading them back gives the same bits
    #[arg(long, help_heading = "Output")]
    all_digits: bool,

    /// Draw the wrist display, of two sensors that of the wrist with two, into this folder: a PNG for each reading, one every few minutes of silence, and all of
    /// them as one animated PNG
    #[arg(long, value_name = "DIR", help_heading = "Output")]
    wrist: Option<PathBuf>,

    #[command(flatten)]
    alarms: rehearsal::AlarmArgs,

    #[command(flatten)]
    output: OutputArgs,

    #[command(flatten)]
    input: InputArgs,
}

/// Where the demo's sheet goes when no folder is named.
const DEMO_FOLDER: &str = "glidepath-out";
/// What a reader of the demo's results must know first.
const DEMO: &str = "This is an invented demo: the person, the sensor and the meter are simulated. Lunch and dinner are \
    misjudged, the sensor begins badly, is out of reach on the second afternoon and slept on in the third night, and \
    on the third afternoon there is exercise.";

/// Everything a replay yields.
pub struct Replay {
    name: String,
    /// What a reader must know first.
    about: Option<&'static str>,
    pub samples: Vec<Sample>,
    pub alarms: Vec<Ring>,
    pub pricked: Vec<Pricked>,
    /// Fingerstick rows that were no fingersticks of their own (repeats and the like).
    sticks_not_read: u64,
    /// Stretches without readings, of two sensors without any of either: from the last before to the first after.
    gaps: Vec<(Instant, Instant)>,
    lows: Vec<Low>,
    deep_lows: Vec<Low>,
    /// Learned; not a number when not known.
    noise_sd: f32,
    gain: f32,
    offset: f32,
    pub clock: Clock,
    interval_s: Option<u32>,
    /// The longest step that still belongs together, seconds.
    longest: f64,
    counts: Counts,
    /// The file's.
    unit: Unit,
    /// The estimate and the sensor against the truth, where that is known.
    against: Option<Truth>,
    rehearsal: Rehearsal,
    /// Whether the alarm settings were asked about.
    rehearsed: bool,
    /// The second sensor's readings, when two are worn.
    second: Option<usize>,
}

impl Replay {
    /// Replays a trace with its fingersticks; all answers are kept.
    pub fn of(
        name: String,
        trace: Trace,
        sticks: &Fingersticks,
        plan: &rehearsal::Plan,
    ) -> Result<Self, Failure> {
        Self::of_worn(name, trace, None, sticks, plan, Detail::Answers)
    }

    /// The same with a second sensor worn at once, if there is one, and so much kept of each reading.
    pub fn of_worn(
        name: String,
        trace: Trace,
        second: Option<&Trace>,
        sticks: &Fingersticks,
        plan: &rehearsal::Plan,
        detail: Detail,
    ) -> Result<Self, Failure> {
        let traces = Traces { first: &trace, second, sticks: &sticks.values };
        let played = traces.play(plan.settings, detail)?;
        let (score, lows, deep_lows) = score::of(&traces, &played, plan.window());
        let rehearsal = plan.rehearse(score, &traces)?;
        let longest = f64::from(traces.interval_s()) * LONGEST_STEP;
        // of two sensors none while either reads
        let gaps = played.said.samples.windows(2).map(|pair| (pair[0].reading.at(), pair[1].reading.at()));
        let gaps = gaps.filter(|(from, to)| f64::from(to.since(*from).secs()) > longest).collect();
        let against = against(&played.said.samples, longest);
        Ok(Self {
            name,
            about: None,
            lows,
            deep_lows,
            samples: played.said.samples,
            alarms: played.said.rings,
            pricked: played.said.pricked,
            sticks_not_read: sticks.counts.exact_repeats + sticks.counts.conflicting_stamps,
            gaps,
            noise_sd: played.noise_sd,
            gain: played.gain,
            offset: played.offset,
            clock: trace.clock,
            interval_s: trace.interval_s,
            longest,
            counts: trace.counts,
            unit: trace.unit,
            against,
            rehearsal,
            rehearsed: plan.is_asked(),
            second: second.map(|second| second.readings.len()),
        })
    }

    /// The wearer's clock at an instant, seconds since 1970.
    fn wall(&self, at: Instant) -> i64 {
        self.clock.wall(at.secs().into())
    }

    /// A moment on the wearer's clock, for a person.
    fn time(&self, at: Instant) -> String {
        let wall = self.wall(at);
        let minute = wall.rem_euclid(86_400) / 60;
        let day = table::date(wall.div_euclid(86_400)).strftime("%a %-d %b %Y");
        format!("{day} {:02}:{:02}", minute / 60, minute % 60)
    }
}

/// Compares the estimate and the sensor with the truth, where the truth and the estimate are known: neither is to
/// have the easier moments.
fn against(samples: &[Sample], longest_step: f64) -> Option<Truth> {
    let series = |value: fn(&Sample) -> f32| -> Vec<(f64, f64)> {
        let known = samples.iter().filter(|s| s.truth.is_finite() && s.plasma.is_finite());
        known.map(|s| (f64::from(s.reading.at().secs()), f64::from(value(s)))).collect()
    };
    let truth = series(|s| s.truth);
    Some(Truth {
        plasma: truth::against(&truth, &series(|s| s.plasma), longest_step)?,
        sensor: truth::against(&truth, &series(|s| s.reading.glucose().mg_dl()), longest_step)?,
    })
}

/// Replays the trace that the arguments name, or the embedded demo.
pub fn run(args: &Args) -> Result<(), Failure> {
    let plan = rehearsal::Plan::of(&args.alarms)?;
    let inputs = [args.trace.as_deref(), args.fingersticks.as_deref(), args.second.as_deref(), plan.file()];
    let mut outputs = Outputs::beside(inputs.into_iter().flatten());
    let folder = args.output.out.as_deref();
    let replay = match &args.trace {
        Some(path) => {
            let trace = table::read_trace(path, &args.input, &[table::TRUTH])?;
            let sticks = match &args.fingersticks {
                Some(path) => table::read_fingersticks_beside(path, &args.input, &trace.clock)?,
                None => Fingersticks { values: trace.fingersticks.clone(), ..Fingersticks::default() },
            };
            let second = args.second.as_deref();
            let second = second.map(|path| table::read_trace(path, &args.input, &[])).transpose()?;
            let traces = Traces { first: &trace, second: second.as_ref(), sticks: &sticks.values };
            wrist::draw(args, &traces, plan.settings, &mut outputs)?;
            let name = path.file_name().unwrap_or_default().to_string_lossy().into_owned();
            let shown = args.samples.is_some() || folder.is_some();
            let detail = if shown { Detail::Answers } else { Detail::Verdicts };
            Replay::of_worn(name, trace, second.as_ref(), &sticks, &plan, detail)?
        }
        None => {
            let (trace, sticks) =
                demo::generate().map_err(|error| Failure::new(format!("the demo: {error}")))?;
            if let Some(folder) = folder {
                outputs.add(folder.join("trace.csv"), demo::trace_csv(&trace));
                outputs.add(folder.join("fingersticks.csv"), demo::fingersticks_csv(&sticks));
            }
            let traces = Traces { first: &trace, second: None, sticks: &sticks.values };
            wrist::draw(args, &traces, plan.settings, &mut outputs)?;
            Replay { about: Some(DEMO), ..Replay::of("the embedded demo".into(), trace, &sticks, &plan)? }
        }
    };
    finish(&replay, args, outputs)
}

/// What happens without arguments: the demo, its sheet in a folder of its own.
pub fn demo() -> Result<(), Failure> {
    let out = Some(PathBuf::from(DEMO_FOLDER));
    run(&Args { output: OutputArgs { out, ..OutputArgs::default() }, ..Args::default() })?;
    say("A trace of your own: glidepath replay TRACE.csv --out FOLDER (trace.csv there shows the form)");
    Ok(())
}

/// Writes and prints the results.
fn finish<'a>(replay: &'a Replay, args: &Args, mut outputs: Outputs<'a>) -> Result<(), Failure> {
    let output = &args.output;
    let folder = output.out.as_deref();
    let unit = output.unit_or(replay.unit);
    let report = Report::of(replay);
    let digits = if args.all_digits { Digits::All } else { Digits::Telling };
    let write_samples =
        move |out: &mut dyn std::io::Write| written::write_csv(&replay.samples, &replay.clock, digits, out);
    if let Some(path) = &args.samples {
        outputs.add_with(path.clone(), write_samples);
    }
    let sheet = folder.map(|folder| folder.join("replay.html"));
    if let (Some(folder), Some(sheet)) = (folder, &sheet) {
        let (html, charts) = sheet::draw(replay, &report, unit);
        outputs.add(sheet.clone(), html);
        for chart in charts {
            outputs.add(folder.join("drawings").join(format!("{}.svg", chart.id())), chart.alone());
        }
        let samples = folder.join("samples.csv");
        if args.samples.as_ref() != Some(&samples) {
            outputs.add_with(samples, write_samples);
        }
        outputs.add(folder.join("alarms.csv"), report.alarms_csv());
    }
    outputs.write()?;
    if output.json {
        let json = serde_json::to_string_pretty(&report);
        say(&json.map_err(|error| Failure::new(format!("the results as JSON: {error}")))?);
        return Ok(());
    }
    for thought in report::in_words(replay, &report, unit) {
        say(&thought);
    }
    for line in report::alarm_lines(replay, unit) {
        say(&line);
    }
    say(CAUTION);
    if let Some(sheet) = sheet {
        say(&format!("\nThe sheet: {}", sheet.display()));
    }
    if let Some(folder) = &args.wrist {
        say(&format!("\nThe wrist's display, as it moves: {}", folder.join("wrist.png").display()));
    }
    Ok(())
}
