//! `simulate`: a trace with the truth beside it, of somebody who does not exist.

mod model;

use std::fmt::Write as _;
use std::path::PathBuf;

use clap::ValueEnum;
use glidepath::simulate::{Disturbance, Meter, MeterModel, Person, Sensor};
use glidepath::{Fingerstick, Instant, Span};
use serde::Serialize;

pub use model::WorldArgs;

use crate::failure::Failure;
use crate::output::{self, Outputs};
use crate::table::Clock;

/// Invent a trace: a simulated person with type 1 diabetes, a sensor, and the truth beside it
///
/// Writes a table with the columns time, glucose_mg_dl (what the sensor shows), plasma_mg_dl and rate_mg_dl_min
/// (what is true). Without --out-trace it goes to standard output. The same seed gives the same table on every
/// machine. Invented data: no person, sensor or meter behaves exactly so, and nothing here is for treatment
/// decisions.
#[derive(clap::Args, Debug, Default)]
pub struct Args {
    /// Which person, sensor and meter: any whole number
    #[arg(long, value_name = "N", default_value_t = 1)]
    pub seed: u64,

    /// Which sensor, if another than the seed's: a second one on the same person
    #[arg(long, value_name = "N")]
    pub sensor_seed: Option<u64>,

    /// How many days
    #[arg(long, value_name = "D", default_value_t = 14, value_parser = clap::value_parser!(u32).range(1..=3650))]
    pub days: u32,

    /// Minutes between readings
    #[arg(long, value_name = "MIN", default_value_t = 5, value_parser = clap::value_parser!(u32).range(1..=60))]
    pub interval: u32,

    #[command(flatten)]
    pub world: WorldArgs,

    /// Fingersticks a day, spread over the waking hours
    #[arg(long, value_name = "N", default_value_t = 2, value_parser = clap::value_parser!(u32).range(0..=24))]
    pub fingersticks_per_day: u32,

    /// Write the trace (CSV) to this file
    #[arg(long, value_name = "FILE")]
    pub out_trace: Option<PathBuf>,

    /// Write the fingersticks (CSV: time, reference_mg_dl) to this file
    #[arg(long, value_name = "FILE")]
    pub out_fingersticks: Option<PathBuf>,

    /// Print a summary as JSON on standard output, and nothing else there
    #[arg(long)]
    pub json: bool,
}

/// Midnight, 5 January 2026, a Monday; invented like everything else.
const FIRST_MIDNIGHT: u32 = 1_767_571_200;

/// What an invented trace is like.
#[derive(Debug, Default, Serialize)]
pub struct Summary {
    seed: u64,
    days: u32,
    interval_s: u32,
    readings: u64,
    missing: u64,
    spikes: u64,
    under_pressure: u64,
    fingersticks: u64,
    lag_min: f32,
    mean_plasma_mg_dl: f64,
    below_70_percent: f64,
    above_180_percent: f64,
    /// Root mean square of sensor less plasma.
    error_mg_dl: f64,
}

/// An invented trace, and what is true of it.
#[derive(Debug, Default)]
pub struct Invented {
    pub rows: Vec<Row>,
    pub fingersticks: Vec<Fingerstick>,
    pub summary: Summary,
}

/// A reading and the truth beside it.
#[derive(Clone, Copy, Debug)]
pub struct Row {
    pub at: Instant,
    /// What the sensor shows, whole mg/dL.
    pub shown: u16,
    pub plasma: f32,
    pub rate: f32,
}

impl Invented {
    fn trace_csv(&self) -> String {
        let clock = Clock::default();
        let mut csv = String::from("time,glucose_mg_dl,plasma_mg_dl,rate_mg_dl_min\n");
        for Row { at, shown, plasma, rate } in &self.rows {
            let (time, plasma) = (clock.iso(at.secs().into()), f64::from(*plasma));
            let _ = writeln!(csv, "{time},{shown},{plasma:.1},{rate:.3}");
        }
        csv
    }

    fn fingersticks_csv(&self) -> String {
        let clock = Clock::default();
        let mut csv = String::from("time,reference_mg_dl\n");
        for stick in &self.fingersticks {
            let (time, value) = (clock.iso(stick.at().secs().into()), stick.glucose().whole_mg_dl());
            let _ = writeln!(csv, "{time},{value}");
        }
        csv
    }
}

pub fn run(args: &Args) -> Result<(), Failure> {
    let invented = invent(args)?;
    let mut outputs = Outputs::default();
    if let Some(path) = &args.out_trace {
        outputs.add(path.clone(), invented.trace_csv());
    }
    if let Some(path) = &args.out_fingersticks {
        outputs.add(path.clone(), invented.fingersticks_csv());
    }
    outputs.write()?;
    if args.json {
        output::say(&serde_json::to_string_pretty(&invented.summary).unwrap_or_default());
    } else if args.out_trace.is_none() {
        output::print(&invented.trace_csv());
    } else {
        output::say(&tell(args, &invented.summary));
    }
    Ok(())
}

fn tell(args: &Args, summary: &Summary) -> String {
    format!(
        "Invented {} readings of a {} sensor and {} fingersticks over {} days (seed {}).\n\
         Mean {:.0} mg/dL, {:.1} % below 70, {:.1} % above 180; the sensor errs by {:.1} mg/dL (root mean square).\n\
         No real person, sensor or meter is meant; not for treatment decisions.",
        summary.readings,
        args.world.sensor.to_possible_value().map_or_else(String::new, |value| value.get_name().to_owned()),
        summary.fingersticks,
        summary.days,
        summary.seed,
        summary.mean_plasma_mg_dl,
        summary.below_70_percent,
        summary.above_180_percent,
        summary.error_mg_dl,
    )
}

/// Invents a trace.
///
/// # Errors
/// When the noise scale is out of range.
pub fn invent(args: &Args) -> Result<Invented, Failure> {
    let start = Instant::from_secs(FIRST_MIDNIGHT);
    let mut person = Person::new(args.seed, args.world.person().with_start(start));
    let mut sensor = Sensor::new(args.sensor_seed.unwrap_or(args.seed), args.world.sensor()?);
    let mut meter = Meter::new(args.seed, MeterModel::USUAL);
    let (mut rows, mut fingersticks) = (Vec::new(), Vec::new());
    let mut summary = Summary {
        seed: args.seed,
        days: args.days,
        interval_s: args.interval * 60,
        lag_min: sensor.lag_min(),
        ..Summary::default()
    };
    let (mut squares, mut sum, mut below, mut above) = (0.0, 0.0, 0.0, 0.0);
    sensor.follow(&person.truth());
    for minute in 0..args.days * 1440 {
        let truth = person.truth();
        sensor.follow(&truth);
        let plasma = f64::from(truth.plasma().mg_dl());
        sum += plasma;
        below += f64::from(u8::from(plasma < 70.0));
        above += f64::from(u8::from(plasma > 180.0));
        if pricks(minute, args.fingersticks_per_day) {
            fingersticks.push(meter.measure(&truth));
            summary.fingersticks += 1;
        }
        if minute % args.interval == 0 {
            if let Some(sample) = sensor.read() {
                let shown = sample.reading().glucose().whole_mg_dl();
                let (plasma, rate) = (truth.plasma().mg_dl(), truth.rate().mg_dl_per_min());
                rows.push(Row { at: truth.at(), shown, plasma, rate });
                summary.readings += 1;
                squares += (f64::from(shown) - f64::from(plasma)).powi(2);
                match sample.disturbance() {
                    Disturbance::Spike => summary.spikes += 1,
                    Disturbance::Pressure => summary.under_pressure += 1,
                    _ => {}
                }
            } else {
                summary.missing += 1;
            }
        }
        person.step(Span::from_mins(1));
    }
    let minutes = f64::from(args.days * 1440);
    summary.mean_plasma_mg_dl = sum / minutes;
    summary.below_70_percent = 100.0 * below / minutes;
    summary.above_180_percent = 100.0 * above / minutes;
    summary.error_mg_dl = (squares / (summary.readings.max(1) as f64)).sqrt();
    Ok(Invented { rows, fingersticks, summary })
}

/// Whether a finger is pricked in this minute: `per_day` times, when people do (before meals and at bedtime), not
/// at the same minute every day.
pub fn pricks(minute: u32, per_day: u32) -> bool {
    let (day, of_day) = (minute / 1440, minute % 1440);
    let hour = |n: u32| match per_day {
        1..=3 => [405, 1080, 720][n as usize],
        4 => [405, 720, 1080, 1320][n as usize],
        _ => 420 + n * 900 / (per_day - 1),
    };
    (0..per_day).any(|n| of_day == hour(n) + day * 13 % 20)
}

#[cfg(test)]
mod tests {
    use super::*;
    use clap::Parser;

    #[derive(Parser)]
    struct Line {
        #[command(flatten)]
        args: Args,
    }

    fn args(line: &str) -> Args {
        Line::try_parse_from(std::iter::once("simulate").chain(line.split_whitespace())).unwrap().args
    }

    #[test]
    fn a_day_has_its_readings_and_a_seed_its_numbers() {
        let one = invent(&args("--seed 7 --days 2 --interval 5 --sensor white")).unwrap();
        assert_eq!(one.summary.readings, 576);
        assert_eq!(one.summary.fingersticks, 4);
        let csv = one.trace_csv();
        let lines: Vec<&str> = csv.lines().collect();
        assert_eq!(lines.len(), 577);
        assert!(lines[1].starts_with("2026-01-05T00:00:00,"));
        assert!(lines[576].starts_with("2026-01-06T23:55:00,"));
        assert!((one.summary.error_mg_dl - 8.0).abs() < 2.5);
        let again = invent(&args("--seed 7 --days 2 --interval 5 --sensor white")).unwrap();
        assert_eq!(csv, again.trace_csv());
        let other = invent(&args("--seed 8 --days 2 --interval 5 --sensor white")).unwrap();
        assert_ne!(csv, other.trace_csv());
    }

    #[test]
    fn the_person_is_the_same_whatever_the_sensor_and_interval() {
        let plasma = |line: &str| -> Vec<String> {
            let invented = invent(&args(line)).unwrap();
            invented.trace_csv().lines().skip(1).map(|l| l.split(',').nth(2).unwrap().to_owned()).collect()
        };
        let every = plasma("--seed 3 --days 1 --interval 1 --sensor white");
        let fifth = plasma("--seed 3 --days 1 --interval 5 --sensor early");
        assert_eq!(every.iter().step_by(5).cloned().collect::<Vec<_>>(), fifth);
    }

    #[test]
    fn fingersticks_are_as_many_as_asked() {
        for per_day in [0, 1, 2, 4, 7, 24] {
            let count = (0..5 * 1440).filter(|&minute| pricks(minute, per_day)).count();
            assert_eq!(count as u32, 5 * per_day, "{per_day}");
        }
    }
}
