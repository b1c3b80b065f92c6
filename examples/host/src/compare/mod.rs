//! `compare`: sensors against fingersticks, and against each other.

mod amounts;
mod between;
mod charts;
mod demo;
#[cfg(test)]
mod demo_tests;
pub mod figures;
mod grids;
mod groups;
mod headings;
pub mod input;
mod judged;
mod presence;
pub mod report;
mod sheet;
mod tables;
mod text;
mod weighing;
mod words;

use std::path::{Path, PathBuf};

use glidepath::Fingerstick;

use crate::args::{InputArgs, OutputArgs};
use crate::failure::Failure;
use crate::output::{self, Outputs};

/// Compare sensors with fingersticks, and with each other
///
/// How far off each sensor is and how sure that is, on the first day and later, in what range, at what speed; how
/// late and how old its numbers are; what was missing when it mattered; what it costs; and which of two to believe.
/// Without --sensor it runs on an invented person who wore two invented sensors for two weeks.
///
/// Not a medical device, and not for treatment decisions: confirm with a fingerstick when symptoms and reading
/// disagree, and follow your care team and local rules. What a sensor does on one person decides nothing about the
/// product.
#[derive(clap::Args, Debug, Default)]
pub struct Args {
    /// A sensor: a name of your choice and its trace, such as left=left.csv; may be repeated
    #[arg(long = "sensor", value_name = "NAME=FILE", value_parser = input::named)]
    sensors: Vec<(String, String)>,

    /// The fingersticks (or a laboratory's values) to judge by: a table with a time and reference_mg_dl or
    /// glucose_mg_dl (or the same in mmol_l)
    #[arg(long, value_name = "FILE")]
    reference: Option<PathBuf>,

    /// A second meter, judged against the reference by ISO 15197
    #[arg(long, value_name = "FILE")]
    meter: Option<PathBuf>,

    /// Leave the first hours of each sensor out of its overall figures
    #[arg(long, value_name = "H", default_value_t = 0.0, value_parser = input::hours)]
    skip_hours: f32,

    /// How long the first day is that is shown apart
    #[arg(long, value_name = "H", default_value_t = 24.0, value_parser = input::hours)]
    first_day_hours: f32,

    /// When a sensor of that name was put on; may be repeated for the ones after it [default: its first reading]
    #[arg(long = "start", value_name = "NAME=TIME", value_parser = input::named)]
    starts: Vec<(String, String)>,

    /// What a part costs and how long it lasts, such as left=42/14; repeat it for parts that last longer
    #[arg(long = "cost", value_name = "NAME=PRICE/DAYS", value_parser = input::named)]
    costs: Vec<(String, String)>,

    /// How long a reading is under way from the sensor to the screen
    #[arg(long = "delivery", value_name = "NAME=MIN", value_parser = input::named)]
    deliveries: Vec<(String, String)>,

    /// Pair a reference with the reading this much later, for a sensor known to run behind
    #[arg(long = "correct-lag", value_name = "NAME=MIN", value_parser = input::named)]
    lags: Vec<(String, String)>,

    /// How far a reading may be from its reference [default: 5, or half the sensor's interval if that is more]
    #[arg(long, value_name = "MIN", value_parser = input::minutes, help_heading = "Method")]
    window: Option<f32>,

    /// Pair with the line between two readings instead of the nearest one
    #[arg(long, help_heading = "Method")]
    interpolate: bool,

    /// Under this many mg/dL agreement is counted in mg/dL, else in percent
    #[arg(long, value_name = "MG_DL", default_value_t = 100.0, help_heading = "Method")]
    cut: f32,

    /// Which value the cut goes by
    #[arg(long, value_name = "WHICH", default_value = "reference", help_heading = "Method")]
    switch: judged::SwitchName,

    /// Which bound the criteria of the rule are judged by
    #[arg(long, value_name = "BOUND", default_value = "exact", help_heading = "Method")]
    bound: judged::Bound,

    /// Your weighing (TOML): criteria, their weights, and marks for what cannot be measured
    #[arg(long, value_name = "FILE")]
    weighing: Option<PathBuf>,

    /// Print a weighing to fill in, and stop
    #[arg(long)]
    weighing_template: bool,

    #[command(flatten)]
    input: InputArgs,

    #[command(flatten)]
    output: OutputArgs,
}

pub fn run(args: &Args) -> Result<(), Failure> {
    if args.weighing_template {
        output::print(weighing::TEMPLATE);
        return Ok(());
    }
    let weighing = args.weighing.as_deref().map(weighing::Weighing::read).transpose()?;
    let study = study(args)?;
    let mut report = report::report(&study, args, weighing.as_ref())?;
    let unit = args.output.unit_or(study.unit);
    report.verdict = words::verdict(&report, unit);
    let sensors = args.sensors.iter().map(|(_, file)| Path::new(file));
    let others = [&args.reference, &args.meter, &args.weighing].into_iter().flatten().map(PathBuf::as_path);
    let mut outputs = Outputs::beside(sensors.chain(others));
    let place = args.output.out.as_deref().map(|folder| folder.join("compare.html"));
    if let (Some(folder), Some(place)) = (args.output.out.as_deref(), &place) {
        let (html, charts) = sheet::draw(&report, &study, unit);
        outputs.add(place.clone(), html);
        for chart in charts {
            outputs.add(folder.join("drawings").join(format!("{}.svg", chart.id())), chart.alone());
        }
        outputs.add(folder.join("pairs.csv"), sheet::pairs_csv(&report, &study));
        outputs.add(folder.join("figures.csv"), sheet::figures_csv(&report, unit));
    }
    outputs.write()?;
    let said = if args.output.json {
        serde_json::to_string_pretty(&report).map_err(|error| Failure::new(error.to_string()))? + "\n"
    } else {
        let place = place.map_or_else(String::new, |place| format!("\nThe sheet: {}\n", place.display()));
        text::write(&report, unit) + &place
    };
    output::print(&said);
    Ok(())
}

/// How one sensor is judged by references where nothing else is compared.
#[derive(Clone, Copy, Debug)]
pub struct Alone {
    /// Hours at the beginning that are left out of the overall figures.
    pub skip_hours: f32,
    /// How far a reading may be from its reference, minutes.
    pub window_min: Option<f32>,
    /// By the line between two readings instead of the nearest.
    pub interpolate: bool,
    /// Agreement is counted in mg/dL under this many, else in percent.
    pub cut_mg_dl: f32,
}

/// Judges one sensor; what looks wrong is said beside.
///
/// # Errors
/// When a setting is out of its range.
pub fn judge(
    worn: &input::Worn,
    references: &[Fingerstick],
    how: Alone,
) -> Result<(report::SensorReport, Vec<String>), Failure> {
    let args = Args {
        skip_hours: how.skip_hours,
        first_day_hours: 24.0,
        window: how.window_min,
        interpolate: how.interpolate,
        cut: how.cut_mg_dl,
        ..Args::default()
    };
    let mut notes = Vec::new();
    let report = report::one(worn, references, &args, &mut notes)?;
    Ok((report, notes))
}

/// Reads everything that `args` names, or invents it.
fn study(args: &Args) -> Result<input::Study, Failure> {
    let mut study = if args.sensors.is_empty() {
        if args.reference.is_some() {
            return Err(Failure::new(
                "--reference: there is no sensor to judge, expected --sensor NAME=FILE",
            ));
        }
        demo::invent(demo::SEED, demo::DAYS).study
    } else {
        input::read(args)?
    };
    input::settings(&mut study, args)?;
    Ok(study)
}
