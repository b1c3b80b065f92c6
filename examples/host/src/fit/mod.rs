//! Fits the constants of the library on recorded people, and prints them as the source holds them.

mod now;
mod people;
mod pressure;

use std::path::PathBuf;

use clap::ValueEnum;

use crate::failure::Failure;
use crate::output::print;

/// Fits the library's constants on recorded people
///
/// Prints each constant as the source holds it, and how it does on people it was not fitted on.
#[derive(clap::Args)]
pub struct Args {
    /// What to fit
    #[arg(value_name = "WHAT")]
    what: What,

    /// A folder of traces for each set of people, or a folder of such folders; blood glucose beside the readings is
    /// taken from a column reference_mg_dl
    #[arg(value_name = "FOLDER", required = true)]
    folders: Vec<PathBuf>,
}

/// A group of constants.
#[derive(Clone, Copy, Debug, ValueEnum)]
enum What {
    /// The estimate of now: filter, correction towards blood, what stays open
    Now,
    /// The suspicion of pressure on the sensor
    Pressure,
    /// Nothing: how the monitor as it stands does, in doubt and beside it
    Measure,
}

pub fn run(args: &Args) -> Result<(), Failure> {
    let people = people::load(&args.folders)?;
    let text = match args.what {
        What::Now => now::fit(&people),
        What::Pressure => pressure::fit(&people),
        What::Measure => now::measure(&people),
    };
    print(&text);
    Ok(())
}
