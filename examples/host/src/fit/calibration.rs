//! The calibration's constants from fingersticks beside recorded sensors, and what they are worth on people left
//! out.
//!
//! Of each trace every second fingerstick is judged, with only the earlier ones of the others told to the
//! calibration. Besides the people as recorded, the search is judged on a world in which nothing is to be gained:
//! short traces whose sensors have no lasting difference and wide, shuffled errors, drawn from the people's own.

use std::fmt::Write as _;

use glidepath::calibration::{Calibration, CalibrationPoint, Drift};
use glidepath::simulate::Random;
use glidepath::{Fingerstick, Glucose, Monitor, Reading, Settings, Span};

use super::{Fitted, NO_REFERENCES};
use crate::failure::Failure;
use crate::people::{Person, Set, everyone};

/// A fingerstick is compared with a reading at most this old.
const PAIRED_WITHIN_S: i32 = 15 * 60;

/// What a sensor errs by itself, mg/dL, and how far glucose under the skin is behind at rest and for each mg/dL a
/// minute, when no filter tells: as the monitor's filter commonly finds them.
const SENSOR_SD: f32 = 5.0;
const BEHIND_SD: (f32, f32) = (2.0, 5.0);

/// The world without anything to gain: errors so many times as wide, and so many fingersticks a trace.
const WIDENED: f32 = 1.75;
const SHORT: usize = 12;
const SHUFFLES: usize = 4;
const SEED: u64 = 20_240_506;

/// People are left out in so many groups.
const FOLDS: usize = 5;

/// In the order of [`Constants`]. Coarse, by a factor of one and a half or two: the error hardly changes within a step,
/// so that finer ones would be fitted to chance. The caution is no fit but a choice, shown beside others in the
/// report: no single fingerstick can turn corrections on, as there is nothing yet that it could bear out.
const NAMES: [&str; 6] = ["gain_sd", "gain_time_min", "offset_sd", "offset_time_min", "scatter", "caution"];
const GRIDS: [&[f32]; 6] = [
    &[0.05, 0.08, 0.12, 0.18],
    &[5_000.0, 10_000.0, 20_000.0, 40_000.0],
    &[6.0, 9.0, 13.0, 20.0, 30.0],
    &[2_500.0, 5_000.0, 10_000.0, 20_000.0],
    &[0.08, 0.12, 0.18],
    &[1.0],
];

const CAUTIONS: [f32; 5] = [0.5, 1.0, 1.5, 2.0, 3.0];

/// How much a coverage off 94 to 96 % on the recorded people costs, and a set made worse beside one made better.
const COVERAGE_COST: f64 = 0.5;
const HARM_COST: f64 = 4.0;

/// Costs within this are alike: some 0.02 points of the mean relative difference.
const ALIKE: f64 = 0.001;
/// Glucose at which what is supposed of gain, offset and scatter is added up, mg/dL.
const TYPICAL: f32 = 150.0;

type Constants = [f32; 6];

fn drift(constants: &Constants) -> Option<Drift> {
    let [gain, gain_time, offset, offset_time, scatter, caution] = *constants;
    let span = |minutes: f32| Span::from_secs((minutes * 60.0).round() as i32);
    Drift::default()
        .with_gain(gain, span(gain_time))
        .ok()?
        .with_offset(offset, span(offset_time))
        .ok()?
        .with_scatter(scatter)
        .ok()?
        .with_required_benefit(caution)
        .ok()
}

/// A trace as pairs.
struct Pairs {
    set: usize,
    fold: usize,
    pairs: Vec<CalibrationPoint>,
}

/// What fingersticks say of a method.
#[derive(Clone, Copy, Default)]
struct Judged {
    sticks: f64,
    raw: f64,
    shown: f64,
    held: f64,
}

impl Judged {
    fn add(&mut self, reference: f32, raw: f32, shown: f32, sd: f32) {
        self.sticks += 1.0;
        self.raw += f64::from((raw - reference).abs() / reference);
        self.shown += f64::from((shown - reference).abs() / reference);
        self.held += f64::from(u8::from((shown - reference).abs() <= 1.96 * sd));
    }

    fn merge(&mut self, other: &Self) {
        self.sticks += other.sticks;
        self.raw += other.raw;
        self.shown += other.shown;
        self.held += other.held;
    }

    fn row(&self) -> String {
        let percent = |sum: f64| 100.0 * sum / self.sticks.max(1.0);
        format!(
            "{:>6} {:>8.2} {:>8.2} {:>8.1}",
            self.sticks,
            percent(self.raw),
            percent(self.shown),
            percent(self.held)
        )
    }
}

/// The constants, and figures with people and sets left out. A laboratory's values are no fingersticks: where they are,
/// the calibration has nothing to follow.
pub fn fit(sets: &[Set]) -> Result<Fitted, Failure> {
    let traces: Vec<&Person> = everyone(sets)
        .into_iter()
        .filter(|person| !person.references.is_empty() && !person.has_laboratory())
        .collect();
    if traces.is_empty() {
        return Err(Failure::new(NO_REFERENCES));
    }
    let world = World::of(&traces);
    let all = world.search(|_| true);
    let source: String = NAMES
        .iter()
        .zip(all)
        .map(|(name, value)| format!("            {name}: {},\n", held(value)))
        .collect();
    let mut out = String::new();
    let _ = writeln!(
        out,
        "people: {}",
        world.people.iter().map(|(set, p)| format!("{set}/{p}")).collect::<Vec<_>>().join(" ")
    );
    world.by_caution(&mut out);
    let _ = writeln!(out);
    world.people_left_out(&mut out);
    world.sets_left_out(&mut out);
    world.as_shipped(&mut out, &traces);
    Ok(Fitted {
        sources: vec![("src/live/calibration/drift.rs", source)],
        figures: out.lines().map(str::to_owned).collect(),
    })
}

/// Everything judged: the people as recorded, and the world without anything to gain.
struct World<'a> {
    sets: Vec<&'a str>,
    people: Vec<(&'a str, &'a str)>,
    recorded: Vec<Pairs>,
    nothing: Vec<Pairs>,
}

impl<'a> World<'a> {
    fn of(traces: &[&'a Person]) -> Self {
        let mut sets: Vec<&str> = traces.iter().map(|trace| trace.set.as_str()).collect();
        sets.sort_unstable();
        sets.dedup();
        let mut people: Vec<(&str, &str)> =
            traces.iter().map(|trace| (trace.set.as_str(), trace.owner())).collect();
        people.sort_unstable();
        people.dedup();
        let recorded: Vec<Pairs> = traces
            .iter()
            .map(|trace| Pairs {
                set: sets.iter().position(|set| *set == trace.set).unwrap_or(0),
                fold: people.iter().position(|p| *p == (trace.set.as_str(), trace.owner())).unwrap_or(0)
                    % FOLDS,
                pairs: pairs(trace),
            })
            .collect();
        let nothing = nothing_to_gain(&recorded, sets.len());
        Self { sets, people, recorded, nothing }
    }

    fn search(&self, kept: impl Fn(&Pairs) -> bool) -> Constants {
        search(&self.recorded, &self.nothing, self.sets.len(), kept)
    }

    /// Every caution, the rest as shipped.
    fn by_caution(&self, out: &mut String) {
        let _ = writeln!(
            out,
            "\nby caution, the rest as shipped: shown %, set by set and where there is nothing to gain:"
        );
        for caution in CAUTIONS {
            let Ok(drift) = Drift::default().with_required_benefit(caution) else { continue };
            let judged = judged_with(&self.recorded, &self.nothing, self.sets.len(), drift, |_| true);
            let shown = judged.iter().map(|j| format!("{:8.2}", 100.0 * j.shown / j.sticks.max(1.0)));
            let _ = writeln!(out, "  {caution:<4} {}", shown.collect::<String>());
        }
    }

    fn people_left_out(&self, out: &mut String) {
        heading(out, "people left out, a fifth at a time:");
        let count = self.sets.len();
        let mut total = vec![Judged::default(); count + 1];
        for fold in 0..FOLDS {
            let constants = self.search(|trace| trace.fold != fold);
            let _ = writeln!(out, "  without group {fold}: {constants:?}");
            let judged = judge(&self.recorded, &self.nothing, count, &constants, |trace| trace.fold == fold);
            total.iter_mut().zip(judged).for_each(|(total, judged)| total.merge(&judged));
        }
        table(out, &self.sets, &total);
    }

    fn sets_left_out(&self, out: &mut String) {
        heading(out, "sets left out, one at a time:");
        let count = self.sets.len();
        let mut total = vec![Judged::default(); count];
        for (set, name) in self.sets.iter().enumerate() {
            let others: Vec<Pairs> = self
                .recorded
                .iter()
                .filter(|trace| trace.set != set)
                .map(|trace| Pairs { pairs: trace.pairs.clone(), ..*trace })
                .collect();
            let nothing = nothing_to_gain(&others, count);
            let constants = search(&others, &nothing, count, |_| true);
            let _ = writeln!(out, "  without {name}: {constants:?}");
            let judged = judge(&self.recorded, &[], count, &constants, |trace| trace.set == set);
            total.iter_mut().zip(judged).for_each(|(total, judged)| total.merge(&judged));
        }
        table(out, &self.sets, &total);
    }

    /// What the library ships: the calibrated reading alone, and the monitor's value.
    fn as_shipped(&self, out: &mut String, traces: &[&Person]) {
        let count = self.sets.len();
        heading(out, "as shipped, the calibrated reading:");
        table(
            out,
            &self.sets,
            &judged_with(&self.recorded, &self.nothing, count, Drift::default(), |_| true),
        );
        heading(out, "as shipped, the monitor's value:");
        let mut monitored = vec![Judged::default(); count];
        for (trace, Pairs { set, .. }) in traces.iter().zip(&self.recorded) {
            if let Some(total) = monitored.get_mut(*set) {
                total.merge(&monitor(trace));
            }
        }
        table(out, &self.sets, &monitored);
    }
}

fn heading(out: &mut String, name: &str) {
    let _ = writeln!(out, "{name:<34} {:>6} {:>8} {:>8} {:>8}", "sticks", "raw %", "shown %", "held %");
}

/// A number as the source writes it: thousands set apart.
fn held(value: f32) -> String {
    let text = format!("{value:?}");
    match text.split_once('.') {
        Some((whole, part)) if whole.len() > 3 => {
            let (high, low) = whole.split_at(whole.len() - 3);
            format!("{high}_{low}.{part}")
        }
        _ => text,
    }
}

fn table(out: &mut String, sets: &[&str], judged: &[Judged]) {
    let names = sets.iter().copied().chain(["nothing to gain"]);
    for (name, judged) in names.zip(judged) {
        let _ = writeln!(out, "  {name:<32} {}", judged.row());
    }
}

/// The pairs of a trace: each fingerstick with the newest reading before it.
fn pairs(trace: &Person) -> Vec<CalibrationPoint> {
    let mut pairs = Vec::new();
    for stick in &trace.references {
        let known = trace.readings.partition_point(|reading| reading.at() <= stick.at());
        let Some(newest) = known.checked_sub(1).and_then(|n| trace.readings.get(n)) else { continue };
        if stick.at().since(newest.at()).secs() > PAIRED_WITHIN_S {
            continue;
        }
        let before = trace
            .readings
            .iter()
            .take(known)
            .rev()
            .find(|reading| newest.at().since(reading.at()).secs() >= 14 * 60);
        let slope = before.map_or(0.0, |before| {
            let minutes = newest.at().since(before.at()).mins();
            if minutes > 31.0 { 0.0 } else { (newest.glucose().mg_dl() - before.glucose().mg_dl()) / minutes }
        });
        pairs.push(CalibrationPoint {
            at: stick.at(),
            reference: stick.glucose(),
            sensor: newest.glucose(),
            difference: 0.0,
            difference_sd: BEHIND_SD.0 + BEHIND_SD.1 * slope.abs(),
            sensor_sd: SENSOR_SD,
        });
    }
    pairs
}

/// Short traces of the same references whose sensors have no lasting difference.
fn nothing_to_gain(recorded: &[Pairs], set: usize) -> Vec<Pairs> {
    let log_ratio =
        |pair: &CalibrationPoint| (pair.sensor.mg_dl() / pair.reference.mg_dl().max(20.0)).max(0.05).ln();
    let mut pool = Vec::new();
    for trace in recorded {
        let mut ratios: Vec<f32> = trace.pairs.iter().map(log_ratio).collect();
        ratios.sort_unstable_by(f32::total_cmp);
        let middle = ratios.get(ratios.len() / 2).copied().unwrap_or(0.0);
        pool.extend(ratios.iter().map(|ratio| ratio - middle));
    }
    let mut random = Random::new(SEED, 0);
    let mut made = Vec::new();
    for _ in 0..SHUFFLES {
        for trace in recorded {
            for chunk in trace.pairs.chunks_exact(SHORT) {
                let pairs = chunk
                    .iter()
                    .map(|pair| {
                        let index = (random.uniform() * pool.len() as f32) as usize;
                        let error = pool.get(index.min(pool.len() - 1)).copied().unwrap_or(0.0);
                        let sensor = (pair.reference.mg_dl() * (WIDENED * error).exp()).clamp(40.0, 400.0);
                        CalibrationPoint {
                            sensor: Glucose::from_mg_dl(sensor).unwrap_or(pair.sensor),
                            ..*pair
                        }
                    })
                    .collect();
                made.push(Pairs { set, fold: trace.fold, pairs });
            }
        }
    }
    made
}

/// Every second fingerstick judged, the others told.
fn judge_one(trace: &Pairs, drift: Drift) -> Judged {
    let mut calibration = Calibration::new(drift);
    let mut judged = Judged::default();
    for (n, pair) in trace.pairs.iter().enumerate() {
        if n % 2 == 0 {
            let _ = calibration.add(pair);
            continue;
        }
        let shown = calibration.apply(pair.at, pair.sensor);
        let own = pair.sensor_sd.hypot(pair.difference_sd);
        let meter = Fingerstick::new(pair.at, pair.reference).meter_sd();
        let sd = calibration.total_sd(pair.at, shown, own).hypot(meter);
        judged.add(pair.reference.mg_dl(), pair.sensor.mg_dl(), shown.mg_dl(), sd);
    }
    judged
}

/// Set by set, then the world without anything to gain.
fn judged_with(
    recorded: &[Pairs],
    nothing: &[Pairs],
    sets: usize,
    drift: Drift,
    kept: impl Fn(&Pairs) -> bool,
) -> Vec<Judged> {
    let mut judged = vec![Judged::default(); sets + 1];
    for trace in recorded.iter().chain(nothing).filter(|trace| kept(trace)) {
        if let Some(total) = judged.get_mut(trace.set) {
            total.merge(&judge_one(trace, drift));
        }
    }
    judged
}

fn judge(
    recorded: &[Pairs],
    nothing: &[Pairs],
    sets: usize,
    constants: &Constants,
    kept: impl Fn(&Pairs) -> bool,
) -> Vec<Judged> {
    drift(constants).map_or_else(Vec::new, |drift| judged_with(recorded, nothing, sets, drift, kept))
}

/// What is made small: errors beside the raw sensor's, each set counting alike; what is made worse counts for
/// more, and so does a coverage of the recorded people (all but the last) off 94 to 96 %.
fn cost(judged: &[Judged]) -> f64 {
    let mut recorded = Judged::default();
    let (mut sum, mut sets) = (0.0, 0.0);
    for (n, set) in judged.iter().enumerate().filter(|(_, set)| set.sticks > 0.0) {
        if n + 1 < judged.len() {
            recorded.merge(set);
        }
        let ratio = set.shown / set.raw.max(1e-9);
        sum += ratio + HARM_COST * (ratio - 1.0).max(0.0);
        sets += 1.0;
    }
    let coverage = recorded.held / recorded.sticks.max(1.0);
    sum / f64::max(sets, 1.0) + COVERAGE_COST * ((coverage - 0.95).abs() - 0.01).max(0.0)
}

/// Of all that the grids hold, what costs least on the traces kept; of those that cost about as little, what supposes
/// the least of a sensor at the start (the simplest within the error of the comparison, as in Breiman et al. 1984,
/// *Classification and Regression Trees*, the one-standard-error rule; from memory).
fn search(recorded: &[Pairs], nothing: &[Pairs], sets: usize, kept: impl Fn(&Pairs) -> bool) -> Constants {
    let count = GRIDS.iter().map(|grid| grid.len()).product();
    let tried: Vec<(f64, Constants)> = (0..count)
        .map(|n| {
            let mut left: usize = n;
            let constants = GRIDS.map(|grid| {
                let value = grid.get(left % grid.len()).copied().unwrap_or_default();
                left /= grid.len();
                value
            });
            (cost(&judge(recorded, nothing, sets, &constants, &kept)), constants)
        })
        .collect();
    let least = tried.iter().map(|(cost, _)| *cost).fold(f64::INFINITY, f64::min);
    let supposed = |[gain, _, offset, _, scatter, _]: &Constants| {
        (TYPICAL * gain).hypot(*offset).hypot(TYPICAL * scatter)
    };
    tried
        .iter()
        .filter(|(cost, _)| *cost <= least + ALIKE)
        .min_by(|(_, a), (_, b)| supposed(a).total_cmp(&supposed(b)))
        .map_or_else(Constants::default, |(_, constants)| *constants)
}

/// The same judgement of the whole monitor.
fn monitor(trace: &Person) -> Judged {
    let mut judged = Judged::default();
    let Ok(mut monitor) = Monitor::<1>::new(Settings::default()) else { return judged };
    let mut newest: Option<Reading> = None;
    let mut sticks = trace.references.iter().peekable();
    let mut n = 0;
    for reading in &trace.readings {
        while let Some(stick) = sticks.next_if(|stick| stick.at() < reading.at()) {
            let Some(raw) = newest.filter(|r| stick.at().since(r.at()).secs() <= PAIRED_WITHIN_S) else {
                continue;
            };
            n += 1;
            monitor.set_uptime(stick.at().secs());
            let view = monitor.tick(stick.at());
            if n % 2 == 1 {
                let _ = monitor.fingerstick(stick);
            } else if let Some(now) = view.estimate() {
                let shown = now.glucose();
                let sd = monitor
                    .calibration()
                    .total_sd(stick.at(), shown, now.glucose_sd())
                    .hypot(stick.meter_sd());
                judged.add(stick.glucose().mg_dl(), raw.glucose().mg_dl(), shown.mg_dl(), sd);
            }
        }
        monitor.set_uptime(reading.at().secs());
        let _ = monitor.push(reading);
        newest = Some(*reading);
    }
    judged
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::table::Clock;
    use glidepath::Instant;

    /// Invented: sensors that read a third low, with a fingerstick every six hours, and sensors that read right.
    fn invented() -> Vec<Set> {
        let mut random = Random::new(7, 0);
        let mut made = Vec::new();
        for (set, gain) in [("low", 0.7), ("right", 1.0)] {
            let mut people = Vec::new();
            for person in 0..6 {
                let (mut readings, mut references) = (Vec::new(), Vec::new());
                for k in 0..1_920_u32 {
                    let at = Instant::from_secs(k * 900);
                    let truth = 160.0 + 50.0 * (k as f32 / 30.0).sin();
                    let value = gain * truth * (1.0 + 0.08 * random.normal());
                    readings.push(Reading::new(at, Glucose::from_mg_dl(value).unwrap()));
                    if k % 24 == 20 {
                        let meter = truth * (1.0 + 0.05 * random.normal());
                        references.push(Fingerstick::new(at, Glucose::from_mg_dl(meter).unwrap()));
                    }
                }
                let (set, name) = (set.into(), format!("p{person}"));
                people.push(Person { set, name, readings, references, clock: Clock::default() });
            }
            made.push(Set { name: set.into(), people });
        }
        made
    }

    #[test]
    fn corrections_pay_where_there_is_something_to_correct_and_nowhere_else() {
        let traces = invented();
        let judged: Vec<Judged> = traces
            .iter()
            .map(|set| {
                let mut total = Judged::default();
                for trace in &set.people {
                    let pairs = Pairs { set: 0, fold: 0, pairs: pairs(trace) };
                    total.merge(&judge_one(&pairs, Drift::default()));
                }
                total
            })
            .collect();
        let [low, right] = judged[..] else { panic!("two sets") };
        assert!(low.sticks > 200.0 && low.shown < 0.45 * low.raw, "{} {}", low.shown, low.raw);
        assert!(right.shown < 1.03 * right.raw, "{} {}", right.shown, right.raw);
        for set in [low, right] {
            assert!(set.held / set.sticks > 0.93, "{}", set.held / set.sticks);
        }
    }

    #[test]
    fn the_fit_gives_constants_as_the_source_holds_them() {
        let traces = invented();
        let Fitted { sources, figures } = fit(&traces).unwrap();
        let [(_, source)] = &sources[..] else { panic!("one source") };
        assert_eq!(source.lines().count(), NAMES.len());
        for name in NAMES {
            let line = source.lines().find(|line| line.trim_start().starts_with(name)).expect(name);
            let value: f32 =
                line.split(": ").nth(1).unwrap().trim_end_matches(',').replace('_', "").parse().unwrap();
            let grid = GRIDS[NAMES.iter().position(|n| *n == name).unwrap()];
            assert!(grid.contains(&value), "{line}");
        }
        let holds = |text| figures.iter().any(|line| line.contains(text));
        assert!(holds("nothing to gain") && holds("low/p0") && holds("without right"));
    }

    /// Each group is judged by constants that were found without it, once, and counted with its set.
    #[test]
    fn who_is_left_out_is_judged_by_the_others() {
        let mut random = Random::new(11, 0);
        let mut traces = Vec::new();
        // the first reads by half, in a way that only it does: without it nothing need be corrected
        for (person, gain) in [0.5, 1.0, 1.0, 1.0, 1.0, 1.0].into_iter().enumerate() {
            let (mut readings, mut references) = (Vec::new(), Vec::new());
            for k in 0..40_u32 {
                let at = Instant::from_secs(k * 21_600);
                let truth = 160.0 + 50.0 * (k as f32 / 3.0).sin();
                let value = gain * truth * (1.0 + 0.05 * random.normal());
                readings.push(Reading::new(at, Glucose::from_mg_dl(value).unwrap()));
                references.push(Fingerstick::new(at, Glucose::from_mg_dl(truth).unwrap()));
            }
            let (set, name) = (if person < 3 { "first" } else { "second" }.into(), format!("p{person}"));
            traces.push(Person { set, name, readings, references, clock: Clock::default() });
        }
        let world = World::of(&traces.iter().collect::<Vec<_>>());
        let mut out = String::new();
        world.people_left_out(&mut out);
        let mut expected = Vec::new();
        let mut total = [Judged::default(); 3];
        // the sixth person is in the first one's group
        for group in [&[0, 5][..], &[1], &[2], &[3], &[4]] {
            let fold = world.recorded[group[0]].fold;
            let without = |all: &[Pairs], out: &dyn Fn(usize) -> bool| -> Vec<Pairs> {
                let kept = all.iter().enumerate().filter(|(n, _)| !out(*n)).map(|(_, trace)| trace);
                kept.map(|trace| Pairs { pairs: trace.pairs.clone(), ..*trace }).collect()
            };
            let others = without(&world.recorded, &|n| group.contains(&n));
            let nothing = without(&world.nothing, &|n| world.nothing[n].fold == fold);
            let constants = search(&others, &nothing, 2, |_| true);
            expected.push(format!("  without group {}: {constants:?}", expected.len()));
            let drift = drift(&constants).unwrap();
            for n in group {
                total[world.recorded[*n].set].merge(&judge_one(&world.recorded[*n], drift));
            }
            for trace in world.nothing.iter().filter(|trace| trace.fold == fold) {
                total[2].merge(&judge_one(trace, drift));
            }
        }
        assert_ne!(expected[0].split_once(": "), expected[1].split_once(": "), "it makes no difference");
        let all = format!("{:?}", world.search(|_| true));
        assert!(!expected[0].ends_with(&all), "the first one makes no difference");
        for (name, judged) in ["first", "second", "nothing to gain"].into_iter().zip(total) {
            expected.push(format!("  {name:<32} {}", judged.row()));
        }
        assert_eq!(out.lines().skip(1).collect::<Vec<_>>(), expected);
        assert_eq!(total[0].sticks + total[1].sticks, 6.0 * 20.0, "each once");
    }

    #[test]
    fn the_monitor_answers_at_every_second_fingerstick() {
        for set in invented() {
            for trace in &set.people {
                assert_eq!(monitor(trace).sticks, (trace.references.len() / 2) as f64, "{}", trace.name);
            }
        }
    }

    #[test]
    fn what_is_made_worse_costs_more_than_what_is_made_better_gains() {
        let set = |shown| Judged { sticks: 100.0, raw: 10.0, shown, held: 95.0 };
        assert!(cost(&[set(9.0), set(11.0)]) > cost(&[set(10.0), set(10.0)]));
        assert!(cost(&[set(9.0), set(10.0)]) < cost(&[set(10.0), set(10.0)]));
        let held = |held| cost(&[Judged { held, ..set(10.0) }, set(10.0)]);
        assert!(held(80.0) > held(94.5) && held(99.0) > held(95.5));
        // of the invented world only the errors count
        assert_eq!(cost(&[set(10.0), Judged { held: 80.0, ..set(10.0) }]), cost(&[set(10.0), set(10.0)]));
    }
}
