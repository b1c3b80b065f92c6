//! `fit`: the numbers of the library from recorded people, and how well they do on people they were not fitted to.
//!
//! A group of numbers is a file here and a row of [`GROUPS`]: a function of the sets that gives the source as the
//! library holds it and figures with each set left out in turn.

mod least;
mod load;
mod lows;
mod now;
mod people;
mod pressure;
mod soon;
#[cfg(test)]
mod tests;

use std::path::PathBuf;

use crate::args::InputArgs;
use crate::failure::Failure;
use crate::output::say;
use crate::sheet::CAUTION;
pub use load::{Person, Set};

/// Fit the numbers of the library to recorded people
///
/// Each folder is a set, or holds a folder for each set; a set holds traces (CSV), each of one person. Prints the
/// numbers as the library's source holds them, who they were fitted to, and how well they do on each set when they
/// are fitted to the others. The truth is a later reading of the same sensor, within 2.5 minutes of the horizon.
#[derive(clap::Args, Debug)]
#[command(after_help = CAUTION)]
pub struct Args {
    /// Folders with traces
    #[arg(required = true)]
    folders: Vec<PathBuf>,

    /// Only these groups of numbers
    #[arg(long, value_name = "GROUP,...", value_delimiter = ',')]
    only: Vec<String>,

    #[command(flatten)]
    input: InputArgs,
}

/// What a fit yields.
pub struct Fitted {
    /// The file that holds the numbers, from the top of the repository, and what it is to hold.
    pub file: &'static str,
    pub source: String,
    /// Figures with each set left out in turn; one for each line.
    pub figures: Vec<String>,
}

/// A group of numbers that are fitted together.
struct Group {
    name: &'static str,
    fit: Fit,
}

/// What a group is fitted to.
enum Fit {
    /// Readings alone.
    Readings(fn(&[Set]) -> Result<Fitted, Failure>),
    /// Readings with blood glucose beside them, from a column `reference_mg_dl`.
    Blood(fn(&[people::Person]) -> String),
}

const GROUPS: &[Group] = &[
    Group { name: "soon", fit: Fit::Readings(soon::fit) },
    Group { name: "now", fit: Fit::Blood(now::fit) },
    Group { name: "pressure", fit: Fit::Blood(pressure::fit) },
    Group { name: "measure", fit: Fit::Blood(now::measure) },
];

/// Loads, fits, prints.
pub fn run(args: &Args) -> Result<(), Failure> {
    if let Some(unknown) = args.only.iter().find(|only| GROUPS.iter().all(|group| group.name != **only)) {
        let names: Vec<&str> = GROUPS.iter().map(|group| group.name).collect();
        return Err(Failure::new(format!("no group {unknown:?}, expected one of {}", names.join(", "))));
    }
    let sets = load::sets(&args.folders, &args.input)?;
    for set in &sets {
        let names: Vec<&str> = set.people.iter().map(|person| person.name.as_str()).collect();
        say(&format!("{}: {}", set.name, names.join(", ")));
    }
    for group in
        GROUPS.iter().filter(|group| args.only.is_empty() || args.only.iter().any(|o| o == group.name))
    {
        match group.fit {
            Fit::Readings(fit) => {
                let fitted = fit(&sets)?;
                say(&format!("\n{}:\n\n{}", fitted.file, fitted.source));
                fitted.figures.iter().for_each(|line| say(line));
            }
            Fit::Blood(fit) => say(&format!("\n{}", fit(&people::load(&args.folders)?))),
        }
    }
    Ok(())
}
