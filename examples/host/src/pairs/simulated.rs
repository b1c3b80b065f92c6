//! Simulated people wearing two sensors, one of which may fail.

use glidepath::simulate::{Faults, Meter, MeterModel, Person, PersonConfig, Random, Sensor, SensorModel};
use glidepath::{Agreement, Monitor, PairMonitor, Reading, Settings, Side, Span, View};
use rayon::prelude::*;
use serde::Serialize;

use super::failing::{Failing, Way};
use super::hears;
use crate::failure::Failure;

/// What the columns mean.
pub const EXPLAINED: &str = "\n\
    rmse: the pair's estimate against the truth, mg/dL, while the sensor fails (all but the first 12 hours when none does).\n\
    over one: over that of one sensor's own monitor, the healthy one's; over the one that did better for this person when none \
    fails, and below the table over the one that did better over all of them.\n\
    inside: how often the truth lies in the whole 95 % interval.\n\
    named: people whose failing sensor was named within an hour of being off by 25 mg/dL and 20 %, of those where it was; \
    wrongly: those where the healthy one was.\n\
    unheard: minutes in which the healthy sensor's own monitor held a low by a reading of 70 mg/dL or less and the pair held none.\n";

/// Days lived.
const DAYS: u32 = 3;
/// Nothing is judged before so many minutes.
const SETTLES: u32 = 720;
/// The first of the seeds; none of them served to choose a constant or a form.
const FIRST_SEED: u64 = 9_000_000;

/// What both sensors are like.
#[derive(Clone, Copy, Debug)]
pub enum Sensors {
    /// Gain 1, offset 0.
    Steady,
    /// Gain and offset off by what is usual, and wandering.
    Wandering,
}

impl Sensors {
    pub const fn name(self) -> &'static str {
        match self {
            Self::Steady => "steady",
            Self::Wandering => "wandering",
        }
    }
}

/// What came of one way of failing.
#[derive(Debug, Serialize)]
pub struct Simulated {
    way: &'static str,
    rmse_mg_dl: f64,
    over_one: f64,
    /// When none fails: over the sensor that did better over all people.
    #[serde(skip_serializing_if = "Option::is_none")]
    over_better_of_all: Option<f64>,
    inside_percent: f64,
    people_off: u32,
    named_within_hour: u32,
    named_wrongly: u32,
    low_minutes: u32,
    low_minutes_unheard: u32,
}

#[derive(Default)]
struct Tally {
    pair: f64,
    better: f64,
    one: [f64; 2],
    n: f64,
    inside: f64,
    off: u32,
    named: u32,
    wrongly: u32,
    lows: u32,
    unheard: u32,
}

impl Tally {
    fn and(mut self, other: &Self) -> Self {
        let Self { pair, better, one: [first, second], n, inside, off, named, wrongly, lows, unheard } =
            other;
        self.pair += pair;
        self.better += better;
        self.one[0] += first;
        self.one[1] += second;
        self.n += n;
        self.inside += inside;
        self.off += off;
        self.named += named;
        self.wrongly += wrongly;
        self.lows += lows;
        self.unheard += unheard;
        self
    }
}

/// Each way of failing, on so many people.
pub fn judge(people: u32, sensors: Sensors, sticks: u32) -> Result<Vec<Simulated>, Failure> {
    Way::ALL
        .into_iter()
        .map(|way| {
            let tallies: Result<Vec<Tally>, Failure> = (0..u64::from(people))
                .into_par_iter()
                .map(|k| {
                    let world = World::new(FIRST_SEED + k, way, sensors, sticks);
                    Ok(world.map_err(|error| Failure::new(format!("the settings: {error}")))?.live())
                })
                .collect();
            let all = tallies?.iter().fold(Tally::default(), Tally::and);
            let root = |over: f64| (all.pair / over.max(1e-9)).sqrt();
            Ok(Simulated {
                way: way.name(),
                rmse_mg_dl: (all.pair / all.n.max(1.0)).sqrt(),
                over_one: root(all.better),
                over_better_of_all: (way == Way::None).then(|| root(all.one[0].min(all.one[1]))),
                inside_percent: 100.0 * all.inside / all.n.max(1.0),
                people_off: all.off,
                named_within_hour: all.named,
                named_wrongly: all.wrongly,
                low_minutes: all.lows,
                low_minutes_unheard: all.unheard,
            })
        })
        .collect()
}

/// The results, a line each.
pub fn table(ways: &[Simulated]) -> Vec<String> {
    let mut lines = vec![
        "failing      rmse  over one  inside  named  wrongly  low min  unheard".to_owned(),
        "---------  ------  --------  ------  -----  -------  -------  -------".to_owned(),
    ];
    lines.extend(ways.iter().map(|way| {
        let named = format!("{}/{}", way.named_within_hour, way.people_off);
        format!(
            "{:9}  {:6.2}  {:8.3}  {:5.1}%  {:>5}  {:7}  {:7}  {:7}",
            way.way,
            way.rmse_mg_dl,
            way.over_one,
            way.inside_percent,
            named,
            way.named_wrongly,
            way.low_minutes,
            way.low_minutes_unheard
        )
    }));
    lines.extend(ways.iter().filter_map(|way| {
        let over = way.over_better_of_all?;
        Some(format!("\n{}: {over:.3} over the sensor that did better over all people", way.way))
    }));
    lines
}

/// A person, two sensors, and the monitors that watch.
struct World {
    way: Way,
    failing: Failing,
    side: Side,
    begins: u32,
    person: Person,
    sensors: [Sensor; 2],
    meter: Meter,
    sticks: u32,
    pair: PairMonitor<24>,
    own: [Monitor<24>; 2],
    tally: Tally,
    /// Since when the failing one has been off, and whether it was named since.
    off_since: Option<u32>,
    named: bool,
    wrongly: bool,
}

impl World {
    fn new(seed: u64, way: Way, sensors: Sensors, sticks: u32) -> Result<Self, glidepath::Error> {
        let wanders = matches!(sensors, Sensors::Wandering);
        let model = SensorModel::LIFELIKE.with_drift(wanders).with_faults(Faults::NONE);
        let mut random = Random::new(seed, 99);
        let begins = 1440 + SETTLES + (random.uniform() * 720.0) as u32;
        let own = || Monitor::new(Settings::default());
        Ok(Self {
            way,
            failing: Failing::new(way, random),
            side: if seed.is_multiple_of(2) { Side::Second } else { Side::First },
            begins,
            person: Person::new(seed, PersonConfig::LIFELIKE),
            sensors: [Sensor::new(2 * seed, model), Sensor::new(2 * seed + 1, model)],
            meter: Meter::new(seed, MeterModel::USUAL),
            sticks,
            pair: PairMonitor::new(Settings::default(), Settings::default())?,
            own: [own()?, own()?],
            tally: Tally::default(),
            off_since: None,
            named: false,
            wrongly: false,
        })
    }

    fn live(mut self) -> Tally {
        for minute in 1..=DAYS * 1440 {
            self.minute(minute);
        }
        let mut tally = self.tally;
        tally.better = match self.way {
            Way::None => tally.one[0].min(tally.one[1]),
            _ => tally.one[self.side.other() as usize],
        };
        tally.off = u32::from(self.off_since.is_some());
        tally.named = u32::from(self.named);
        tally.wrongly = u32::from(self.wrongly);
        tally
    }

    fn is_failing(&self, minute: u32) -> bool {
        (self.begins..self.begins + self.way.lasts()).contains(&minute)
    }

    fn minute(&mut self, minute: u32) {
        let truth = self.person.step(Span::from_mins(1));
        let at = truth.at();
        self.sensors.iter_mut().for_each(|sensor| sensor.follow(&truth));
        if self.way == Way::FirstDay && minute == self.begins {
            let inserted = at.plus(Span::from_mins(-60)); // its warm-up is over
            self.pair.sensor_started(self.side, inserted);
            self.own[self.side as usize].sensor_started(inserted);
        }
        let mut view = self.pair.tick(at);
        let mut own = self.own.each_mut().map(|monitor| monitor.tick(at));
        for side in Side::BOTH {
            // every five minutes, the second two minutes after the first
            if minute % 5 == 2 * side as u32
                && let Some(reading) = self.read(side, minute)
            {
                view = self.pair.push(side, &reading);
                own[side as usize] = self.own[side as usize].push(&reading);
            }
        }
        if self.sticks > 0 && minute % (1440 / self.sticks) == 200 {
            let stick = self.meter.measure(&truth);
            let _ = self.pair.fingerstick(&stick);
            for monitor in &mut self.own {
                let _ = monitor.fingerstick(&stick);
            }
        }
        self.listen(view.fused(), &own[self.side.other() as usize]);
        if let Some(since) = self.off_since.filter(|_| self.is_failing(minute))
            && let Agreement::Suspect(side) = view.agreement()
        {
            self.named |= side == self.side && minute <= since + 60;
            self.wrongly |= side != self.side;
        }
        let judged = if self.way == Way::None { minute > SETTLES } else { self.is_failing(minute) };
        if judged && minute % 5 == 2 {
            self.judge(view.fused(), &own, truth.plasma().mg_dl());
        }
    }

    fn read(&mut self, side: Side, minute: u32) -> Option<Reading> {
        let reading = self.sensors[side as usize].read()?.reading();
        if side != self.side || !self.is_failing(minute) {
            return Some(reading);
        }
        let wrong = self.failing.reading(&reading, (minute - self.begins) as f32);
        let value = reading.glucose().mg_dl();
        if (wrong.glucose().mg_dl() - value).abs() > (0.2 * value).max(25.0) {
            self.off_since.get_or_insert(minute);
        }
        Some(wrong)
    }

    /// Whether the pair holds the lows that the healthy sensor's own monitor holds.
    fn listen(&mut self, pair: &View, own: &View) {
        if let Some(hears) = hears(own, pair) {
            self.tally.lows += 1;
            self.tally.unheard += u32::from(!hears);
        }
    }

    fn judge(&mut self, pair: &View, own: &[View; 2], truth: f32) {
        let [first, second] = own.each_ref().map(View::estimate);
        let (Some(fused), Some(first), Some(second)) = (pair.estimate(), first, second) else { return };
        let square = |glucose: glidepath::Glucose| f64::from(glucose.mg_dl() - truth).powi(2);
        let tally = &mut self.tally;
        tally.n += 1.0;
        tally.pair += square(fused.glucose());
        tally.one[0] += square(first.glucose());
        tally.one[1] += square(second.glucose());
        let sd = crate::played::both(fused.glucose_sd(), pair.calibration_sd().unwrap_or(0.0));
        tally.inside += f64::from(u8::from((fused.glucose().mg_dl() - truth).abs() < 1.96 * sd));
    }
}
