//! `pairs`: what two sensors worn at once bring over one, on simulated people and on recorded pairs.

mod failing;
mod recorded;
mod simulated;

use std::path::PathBuf;

use glidepath::View;
use glidepath::alarm::{Kind, MAX_VALUE_AGE};
use serde::Serialize;

use crate::args::InputArgs;
use crate::failure::Failure;
use crate::output::say;
use crate::sheet::CAUTION;
use recorded::Recorded;
use simulated::{Sensors, Simulated};

/// Judge the monitor of two sensors worn at once: against one sensor, and with one failing in each of eight ways
///
/// Without a folder the people and both of their sensors are simulated, and the second or the first one fails in turn. With
/// a folder of recorded pairs (NAME.csv and NAME_b.csv) each sensor's next half hour is foretold by the pair and by that
/// sensor's own monitor.
#[derive(clap::Args, Debug)]
#[command(after_help = CAUTION)]
pub struct Args {
    /// A folder of recorded pairs: NAME.csv and NAME_b.csv
    folder: Option<PathBuf>,

    /// How many simulated people
    #[arg(long, value_name = "N", default_value_t = 30, value_parser = clap::value_parser!(u32).range(1..=10_000))]
    people: u32,

    /// Fingersticks a day
    #[arg(long, value_name = "N", default_value_t = 2, value_parser = clap::value_parser!(u32).range(0..=12))]
    fingersticks: u32,

    /// Print the results as JSON on standard output, and nothing else there
    #[arg(long)]
    json: bool,

    #[command(flatten)]
    input: InputArgs,
}

#[derive(Serialize)]
#[serde(untagged)]
enum Judged {
    Recorded(Recorded),
    Simulated(Vec<World>),
}

/// One kind of sensors and fingersticks.
#[derive(Serialize)]
struct World {
    sensors: &'static str,
    fingersticks_per_day: u32,
    ways: Vec<Simulated>,
}

/// Whether the pair holds a low that a sensor's own monitor holds by a fresh reading of 70 mg/dL or less; `None` where that
/// holds none.
fn hears(own: &View, pair: &View) -> Option<bool> {
    let holds = |view: &View| [Kind::Low, Kind::Floor].iter().any(|kind| view.alarms().get(*kind).is_some());
    let low = own.newest().is_some_and(|(_, glucose)| glucose.mg_dl() <= 70.0);
    let fresh = own.age().is_some_and(|age| age < MAX_VALUE_AGE);
    (low && fresh && holds(own)).then(|| holds(pair))
}

pub fn run(args: &Args) -> Result<(), Failure> {
    let judged = match &args.folder {
        Some(folder) => Judged::Recorded(recorded::judge(folder, &args.input)?),
        None => {
            let worlds = [(Sensors::Steady, 0), (Sensors::Wandering, args.fingersticks)];
            let world = |(sensors, sticks): (Sensors, u32)| {
                let ways = simulated::judge(args.people, sensors, sticks)?;
                Ok(World { sensors: sensors.name(), fingersticks_per_day: sticks, ways })
            };
            Judged::Simulated(worlds.into_iter().map(world).collect::<Result<_, Failure>>()?)
        }
    };
    if args.json {
        let json = serde_json::to_string_pretty(&judged);
        say(&json.map_err(|error| Failure::new(format!("the results as JSON: {error}")))?);
        return Ok(());
    }
    match &judged {
        Judged::Recorded(recorded) => recorded.in_words().iter().for_each(|line| say(line)),
        Judged::Simulated(worlds) => {
            for world in worlds {
                say(&format!(
                    "\n{} sensors, {} fingersticks a day, {} simulated people of 3 days\n",
                    world.sensors, world.fingersticks_per_day, args.people
                ));
                simulated::table(&world.ways).iter().for_each(|line| say(line));
            }
            say(simulated::EXPLAINED);
        }
    }
    say(CAUTION);
    Ok(())
}
