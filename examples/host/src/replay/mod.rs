//! `replay`: a recorded trace, reading by reading.

use std::path::PathBuf;

use crate::args::{InputArgs, OutputArgs};
use crate::failure::Failure;
use crate::table;

/// Replay a recorded trace, reading by reading, as the wrist would have lived it
#[derive(clap::Args, Debug)]
pub struct Args {
    /// The trace: a CSV table with a header row, a time and a glucose column
    trace: PathBuf,

    /// Fingersticks: a CSV table with a time and reference_mg_dl or glucose_mg_dl (or the same in mmol_l)
    #[arg(long, value_name = "FILE")]
    fingersticks: Option<PathBuf>,

    #[command(flatten)]
    input: InputArgs,

    #[command(flatten)]
    output: OutputArgs,
}

pub fn run(args: &Args) -> Result<(), Failure> {
    let trace = table::read_trace(&args.trace, &args.input, &["plasma_mg_dl"])?;
    if let Some(path) = &args.fingersticks {
        table::read_fingersticks(path, &args.input)?;
    }
    println!("{}", serde_json::to_string_pretty(&trace.counts).unwrap_or_default());
    Ok(())
}
