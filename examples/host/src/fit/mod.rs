//! `fit`: the numbers of the library from recorded people, and how well they do on people they were not fitted to.
//!
//! A group of numbers is a file here and a row of [`GROUPS`]: a function of the sets that gives the source as the
//! library holds it and figures with each set left out in turn.

mod alarms;
mod calibration;
mod now;
mod pair;
mod pressure;
mod soon;
#[cfg(test)]
mod tests;

use std::path::PathBuf;

use crate::args::InputArgs;
use crate::failure::Failure;
use crate::output::say;
use crate::people::{self, Set};
use crate::sheet::CAUTION;

/// Fit the numbers of the library to recorded people
///
/// Each folder is a set (people recorded in one study), or holds a folder for each set. A set holds traces: CSV tables
/// with a time and a glucose column, as `replay` reads them. A column reference_mg_dl holds fingersticks, or a
/// laboratory's values, beside the sensor; rows without one are left blank. Traces of one person, such as several
/// sensors, differ in what follows the first underscore of the file's name.
///
/// Prints who they were fitted to; then for each group the file and lines of the library's source that hold its numbers;
/// then how well such numbers do on people they were not fitted to: each set judged by what was fitted to the others.
/// Nothing is changed: numbers are taken over by hand.
#[derive(clap::Args, Debug)]
#[command(after_help = format!("{GROUPS_HELP}\n\n{CAUTION}"))]
pub struct Args {
    /// Folders with traces
    #[arg(required = true, value_name = "FOLDER")]
    folders: Vec<PathBuf>,

    /// Only these groups of numbers, listed below [default: all that these people have the data for]
    #[arg(long, value_name = "GROUP,...", value_delimiter = ',')]
    only: Vec<String>,

    #[command(flatten)]
    input: InputArgs,
}

const GROUPS_HELP: &str = "\
Groups:
  soon         the forecast: what the sensor will read, how far off that may be, the probability of a low. Needs
               readings alone, a thousand or more; the truth is a later reading within 2.5 minutes of the horizon
  now          the estimate: how lag is undone and what stays open, judged by reference_mg_dl
  alarms       fits nothing: what all low rules together ring by each limit of low ahead, with each set left out, the
               other alarms as shipped, and a limit that follows how many false alarms a person accepts
  pressure     when pressure on the sensor is suspected, judged by what came of it in the nights. Needs readings
               every five minutes, over a day and more
  pair         two sensors at once: what one tells of the other's next half hour, each person left out in turn, by
               traces NAME and NAME_b of one set; and how rare low glucose is, by the readings of all
  measure      fits nothing: how often the monitor as it stands says absurd things, and what is shown after doubt
  calibration  what fingersticks may correct, judged on every second one. Needs fingersticks in reference_mg_dl

Examples:
  glidepath fit traces --only soon
  glidepath fit study-a study-b --only now,calibration";

/// What a fit yields.
pub struct Fitted {
    /// The files that hold the numbers, from the top of the repository, and what they are to hold.
    pub sources: Vec<(&'static str, String)>,
    /// Figures with each set left out in turn; one for each line.
    pub figures: Vec<String>,
}

/// Why a group that needs references cannot be fitted.
const NO_REFERENCES: &str = "no blood glucose beside these traces, expected it in a column reference_mg_dl";

/// A group of numbers that are fitted together.
struct Group {
    name: &'static str,
    fit: fn(&[Set]) -> Result<Fitted, Failure>,
}

const GROUPS: &[Group] = &[
    Group { name: "soon", fit: soon::fit },
    Group { name: "now", fit: now::fit },
    Group { name: "alarms", fit: alarms::measure },
    Group { name: "pressure", fit: pressure::fit },
    Group { name: "pair", fit: pair::fit },
    Group { name: "measure", fit: now::measure },
    Group { name: "calibration", fit: calibration::fit },
];

/// Loads, fits, prints.
pub fn run(args: &Args) -> Result<(), Failure> {
    if let Some(unknown) = args.only.iter().find(|only| GROUPS.iter().all(|group| group.name != **only)) {
        let names: Vec<&str> = GROUPS.iter().map(|group| group.name).collect();
        return Err(Failure::new(format!("no group {unknown:?}, expected one of {}", names.join(", "))));
    }
    let sets = people::sets(&args.folders, &args.input)?;
    let asked = |group: &Group| args.only.is_empty() || args.only.iter().any(|only| only == group.name);
    let (mut fitted, mut failed) = (Vec::new(), Vec::new());
    for group in GROUPS.iter().filter(|group| asked(group)) {
        match (group.fit)(&sets) {
            Ok(yielded) => fitted.push((group, yielded)),
            Err(failure) if args.only.is_empty() => failed.push((group, failure)),
            Err(failure) => return Err(failure),
        }
    }
    if fitted.iter().all(|(_, yielded)| yielded.sources.is_empty())
        && let Some((_, failure)) = failed.first()
    {
        return Err(failure.clone());
    }
    for set in &sets {
        let names: Vec<&str> = set.people.iter().map(|person| person.name.as_str()).collect();
        say(&format!("{}: {}", set.name, names.join(", ")));
    }
    for (group, yielded) in &fitted {
        say(&format!("\n{}", group.name));
        for (file, source) in &yielded.sources {
            say(&format!("\n{file}:\n\n{source}"));
        }
        yielded.figures.iter().for_each(|line| say(line));
    }
    for (group, failure) in &failed {
        say(&format!("\n{}: not fitted: {failure}", group.name));
    }
    Ok(())
}
