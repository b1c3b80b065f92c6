//! Recorded pairs: each sensor's next half hour, by the pair and by that sensor's own monitor.

use std::path::{Path, PathBuf};

use glidepath::{Instant, PairView, Side, View};
use rayon::prelude::*;
use serde::Serialize;

use super::hears;
use crate::args::InputArgs;
use crate::failure::Failure;
use crate::people::Person;
use crate::people::two::{self, AHEAD, BRIDGED, SECOND};
use crate::table;

/// What came of a folder of pairs.
#[derive(Debug, Serialize)]
pub struct Recorded {
    people: Vec<One>,
    sides: [Foretold; 2],
    low_minutes: u32,
    low_minutes_unheard: u32,
    days: f64,
    named_percent: [f64; 2],
}

#[derive(Debug, Serialize)]
struct One {
    name: String,
    over_own: [f64; 2],
}

/// All of one side together.
#[derive(Debug, Serialize)]
struct Foretold {
    forecasts: f64,
    rmse_mg_dl: f64,
    own_rmse_mg_dl: f64,
    over_own: f64,
    inside_percent: f64,
}

#[derive(Clone, Copy, Default)]
struct Tally {
    pair: f64,
    own: f64,
    n: f64,
    inside: f64,
}

impl Tally {
    fn over(self) -> f64 {
        (self.pair / self.own.max(1e-9)).sqrt()
    }
}

struct Lived {
    name: String,
    tallies: [Tally; 2],
    lows: u32,
    unheard: u32,
    days: f64,
    readings: u32,
    named: [u32; 2],
}

/// Judges each pair of a folder.
pub fn judge(folder: &Path, input: &InputArgs) -> Result<Recorded, Failure> {
    let failure = |error: std::io::Error| Failure::new(format!("{}: {error}", folder.display()));
    let mut pairs: Vec<(PathBuf, PathBuf)> = Vec::new();
    for entry in std::fs::read_dir(folder).map_err(failure)? {
        let second = entry.map_err(failure)?.path();
        let name = second.file_name().unwrap_or_default().to_string_lossy().into_owned();
        if let Some(stem) = name.strip_suffix(".csv").and_then(|name| name.strip_suffix(SECOND)) {
            pairs.push((folder.join(format!("{stem}.csv")), second));
        }
    }
    pairs.sort();
    if pairs.is_empty() {
        return Err(Failure::new(format!(
            "{}: no pair found, expected files NAME.csv and NAME{SECOND}.csv",
            folder.display()
        )));
    }
    let lived: Result<Vec<Lived>, Failure> = pairs.par_iter().map(|pair| live(pair, input)).collect();
    let lived = lived?;
    let sides = [0, 1].map(|side| {
        let all = lived.iter().map(|one| one.tallies[side]).fold(Tally::default(), |a, b| Tally {
            pair: a.pair + b.pair,
            own: a.own + b.own,
            n: a.n + b.n,
            inside: a.inside + b.inside,
        });
        let n = all.n.max(1.0);
        Foretold {
            forecasts: all.n,
            rmse_mg_dl: (all.pair / n).sqrt(),
            own_rmse_mg_dl: (all.own / n).sqrt(),
            over_own: all.over(),
            inside_percent: 100.0 * all.inside / n,
        }
    });
    let readings = f64::from(lived.iter().map(|one| one.readings).sum::<u32>().max(1));
    let named = |side: usize| f64::from(lived.iter().map(|one| one.named[side]).sum::<u32>());
    Ok(Recorded {
        sides,
        named_percent: [0, 1].map(|side| 100.0 * named(side) / readings),
        low_minutes: lived.iter().map(|one| one.lows).sum(),
        low_minutes_unheard: lived.iter().map(|one| one.unheard).sum(),
        days: lived.iter().map(|one| one.days).sum(),
        people: lived
            .into_iter()
            .map(|one| One { name: one.name, over_own: one.tallies.map(Tally::over) })
            .collect(),
    })
}

fn live((first, second): &(PathBuf, PathBuf), input: &InputArgs) -> Result<Lived, Failure> {
    let name = first.file_stem().unwrap_or_default().to_string_lossy().into_owned();
    let worn = |file| -> Result<Person, Failure> {
        Ok(Person::new(&name, table::read_trace(file, input, &[])?.readings, Vec::new()))
    };
    let sensors = [worn(first)?, worn(second)?];
    let mut lived = Lived {
        name,
        tallies: [Tally::default(); 2],
        lows: 0,
        unheard: 0,
        days: 0.0,
        readings: 0,
        named: [0; 2],
    };
    lived.days = two::live(sensors.each_ref().map(|sensor| &sensor.readings[..]), |minute| {
        minute.own.iter().for_each(|own| lived.listen(own, minute.pair.fused()));
        if minute.read {
            lived.readings += 1;
            if let Some(side) = minute.pair.agreement().suspect() {
                lived.named[side as usize] += 1;
            }
            lived.foretell(&minute.pair, &minute.own, &sensors, minute.now);
        }
    });
    Ok(lived)
}

impl Lived {
    /// Whether the pair holds the lows that a sensor's own monitor holds.
    fn listen(&mut self, own: &View, pair: &View) {
        if let Some(hears) = hears(own, pair) {
            self.lows += 1;
            self.unheard += u32::from(!hears);
        }
    }

    /// Each sensor's value in half an hour, as both foretell it.
    fn foretell(&mut self, pair: &PairView, own: &[View; 2], sensors: &[Person; 2], now: Instant) {
        for side in Side::BOTH {
            let (view, own, sensor) = (pair.side(side), &own[side as usize], &sensors[side as usize]);
            let fresh = view.age.is_some_and(|age| age < BRIDGED);
            if let (true, Some(led), Some(alone), Some(then)) = (
                fresh,
                view.predicted(AHEAD),
                own.predicted_30min(),
                sensor.between(now.plus(AHEAD).secs().into()),
            ) {
                let off = then - f64::from(led.glucose().mg_dl());
                let tally = &mut self.tallies[side as usize];
                tally.n += 1.0;
                tally.pair += off.powi(2);
                tally.own += (then - f64::from(alone.glucose().mg_dl())).powi(2);
                tally.inside += f64::from(u8::from(off.abs() <= led.half_width_95().into()));
            }
        }
    }
}

impl Recorded {
    /// A line each.
    pub fn in_words(&self) -> Vec<String> {
        let mut lines = vec![
            "pair                  first  second   (30 min ahead, over that sensor's own monitor)".to_owned(),
            "--------------------  -----  ------".to_owned(),
        ];
        lines.extend(
            self.people
                .iter()
                .map(|one| format!("{:20}  {:.3}   {:.3}", one.name, one.over_own[0], one.over_own[1])),
        );
        for (name, side) in ["first", "second"].iter().zip(&self.sides) {
            lines.push(format!(
                "All, {name}: {:.0} forecasts, {:.2} mg/dL against {:.2} alone ({:.3}); the 95 % interval holds {:.1} %.",
                side.forecasts, side.rmse_mg_dl, side.own_rmse_mg_dl, side.over_own, side.inside_percent
            ));
        }
        lines.push(format!(
            "In {:.0} days either sensor's own monitor held a low by a fresh reading in {} minutes; the pair held none in {} of \
             them.",
            self.days, self.low_minutes, self.low_minutes_unheard
        ));
        let [first, second] = self.named_percent;
        lines.push(format!(
            "The first was held to err in {first:.1} % of the minutes with a reading, the second in {second:.1} %."
        ));
        lines
    }
}
