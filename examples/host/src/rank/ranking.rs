//! What is ranked and on what: simulated people, or traces with the truth in a column.

use glidepath::simulate::{GaussianWorldConfig, SensorModel};

use super::command::{Args, wanted};
use super::method::{self, Entry};
use super::series::{self, Series, Setting};
use super::tally::{self, Tally};
use super::{FIRST_TEST_SEED, bound, linear, ours, sticks};
use crate::failure::{Failure, Unreadable};
use crate::simulate::WorldArgs;
use crate::table::{self, Unit};

/// Columns with the truth in recorded traces.
const TRUTH: [&str; 3] = [table::TRUTH, table::REFERENCE, table::TRUE_RATE];

/// What is ranked and on what.
pub struct Ranking {
    /// On whom, in two words, and with all that there is to it.
    pub who: &'static str,
    pub on: String,
    pub methods: Vec<Entry>,
    /// One for each method.
    pub tallies: Vec<Tally>,
    /// On the Gaussian world, with the best that is possible there.
    pub gaussian: Option<(Vec<Tally>, bound::Bound)>,
    /// Fingersticks a day and a tally for each method.
    pub calibrated: Vec<(u32, Vec<Tally>)>,
    /// Nanoseconds a reading.
    pub costs: Vec<f64>,
    /// A series to show a day of.
    pub example: Option<Series>,
    /// The first trace's.
    pub unit: Unit,
}

/// Which simulated people are ranked on, as the command line says it.
#[derive(Clone, Debug)]
pub struct Invented {
    /// 1 to 10,000.
    pub people: u32,
    /// For each, 1 to 90; the first half day lets methods settle and is not scored.
    pub days: u32,
    /// Minutes between readings, 1 to 15.
    pub interval: u32,
    /// Of the first person; the library's methods were tuned on those under 1,000,000.
    pub first_seed: u64,
    pub world: WorldArgs,
    /// Only methods whose name has one of these in it; all when there are none.
    pub only: Vec<String>,
}

/// Ranks the usual methods, ours and `own` ones on simulated people.
///
/// # Errors
/// When the world cannot be, or no method has a name that was asked for.
pub fn on_invented(on: Invented, own: Vec<Entry>) -> Result<Ranking, Failure> {
    simulated(&Args::of(on), method::owned(own))
}

/// Ranks on simulated people.
pub fn simulated(args: &Args, own: Vec<Entry>) -> Result<Ranking, Failure> {
    let sensor = args.world.sensor()?;
    let setting = Setting {
        person: args.world.person(),
        sensor,
        days: args.days,
        interval: args.interval,
        fingersticks_per_day: 0,
    };
    let methods = of_simulated(args, &setting, own)?;
    let seed = |n: usize| args.first_seed.wrapping_add(n as u64);
    let people = args.people as usize;
    let tallies =
        tally::tally("Ranking on simulated people", &methods, people, |n| series::person(seed(n), &setting));
    let worlds = people.min(60);
    let gaussian = tally::tally("Ranking on the Gaussian world", &methods, worlds, |n| {
        series::gaussian(seed(n), &setting)
    });
    let lag = f64::from(series::GAUSSIAN_LAG);
    let bound = bound::bound(&GaussianWorldConfig::DEFAULT, &sensor, lag, f64::from(args.interval));
    let drifting = Setting { sensor: sensor.with_drift(true), ..setting };
    let with_fingersticks = |per_day| {
        let setting = Setting { fingersticks_per_day: per_day, ..drifting };
        let make = |n| series::person(seed(n), &setting);
        (per_day, tally::tally("Ranking with fingersticks", &methods, people, make))
    };
    let rates: &[u32] = if args.fingersticks.is_empty() { &[] } else { &[0] };
    let calibrated = rates.iter().chain(&args.fingersticks).map(|rate| with_fingersticks(*rate)).collect();
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

/// Ranks on traces, one by one.
pub fn recorded(args: &Args, own: Vec<Entry>) -> Result<Ranking, Failure> {
    let methods = wanted(all(&args.world.sensor()?, own), &args.only)?;
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

/// Every method there is for simulated people, and the yardstick, fitted on people of the tuning seeds.
fn of_simulated(args: &Args, setting: &Setting, own: Vec<Entry>) -> Result<Vec<Entry>, Failure> {
    let mut all = all(&setting.sensor, own);
    if !args.fingersticks.is_empty() {
        all.extend(sticks::usual());
    }
    let mut methods = wanted(all, &args.only)?;
    let tuning = tally::simulate("Fitting the best linear filter", (args.people as usize).min(60), |n| {
        series::person(FIRST_TEST_SEED / 2 + n as u64, setting)
    });
    let yardstick = linear::best_linear(&tuning, args.interval);
    if args.only.is_empty() || args.only.iter().any(|text| yardstick.name.contains(text.as_str())) {
        methods.push(yardstick);
    }
    Ok(methods)
}

/// Every method there is where the sensor's noise is known.
fn all(sensor: &SensorModel, own: Vec<Entry>) -> Vec<Entry> {
    let mut all = method::usual();
    all.extend(ours::ours(sensor));
    all.extend(own);
    all
}
