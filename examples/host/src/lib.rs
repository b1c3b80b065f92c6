//! The desk tool: recorded glucose traces through the same code that runs on the wrist. The program is [`run`]; to rank a
//! method of your own beside those of the library is [`rank`].

#![warn(clippy::too_many_lines)]

pub mod args;
pub mod compare;
pub mod failure;
mod fit;
mod fixed;
mod live;
mod median;
mod output;
mod pairs;
pub mod people;
pub mod played;
pub mod progress;
pub mod rank;
pub mod rehearsal;
pub mod replay;
pub mod review;
pub mod settings;
pub mod sheet;
pub mod simulate;
pub mod table;

use std::process::ExitCode;

use clap::{Parser, Subcommand};

pub use failure::Failure;

/// Works on recorded traces of glucose sensors with the code that runs on the wrist.
///
/// Not a medical device, and not for treatment decisions: confirm with a fingerstick when symptoms and reading
/// disagree, and follow your care team and local rules.
#[derive(Parser)]
#[command(name = "glidepath", version, max_term_width = 100)]
struct Cli {
    #[command(subcommand)]
    command: Option<Command>,
}

// one variant for each subcommand; its arguments and its `run` live in the module of its name
#[derive(Subcommand)]
enum Command {
    Compare(compare::Args),
    Fit(fit::Args),
    Live(live::Args),
    Pairs(pairs::Args),
    Replay(replay::Args),
    Review(review::Args),
    Settings(settings::Args),
    Simulate(simulate::Args),
    Rank(rank::Args),
}

impl Command {
    fn run(&self) -> Result<(), Failure> {
        match self {
            Self::Compare(args) => compare::run(args),
            Self::Fit(args) => fit::run(args),
            Self::Live(args) => live::run(args),
            Self::Pairs(args) => pairs::run(args),
            Self::Replay(args) => replay::run(args),
            Self::Review(args) => review::run(args),
            Self::Settings(args) => settings::run(args),
            Self::Simulate(args) => simulate::run(args),
            Self::Rank(args) => rank::run(args, Vec::new()),
        }
    }
}

/// Does what the command line asks; the code to end with.
pub fn run() -> ExitCode {
    let done = match Cli::parse().command {
        Some(command) => command.run(),
        None => replay::demo(),
    };
    ended(done)
}

/// The code to end with; what went wrong is told.
fn ended(done: Result<(), Failure>) -> ExitCode {
    match done.and_then(|()| output::all_said()) {
        Ok(()) => ExitCode::SUCCESS,
        Err(failure) => {
            eprintln!("glidepath: {failure}");
            ExitCode::from(2)
        }
    }
}
