//! How well a table does on people it was not fitted to.

use glidepath::Glucose;
use glidepath::Rate;
use glidepath::forecast::fitting::{EDGES, Table};
use glidepath::forecast::{Direction, Predicted};
use glidepath::trend::{Bands, Pace, Trend, TrendSign};

use super::{minutes, outlook, walk};
use crate::people::Person;
use crate::people::least::{CRIED, flagged};
use crate::people::lows::{self, Outcome, Signal};

/// What was foreseen at each reading of a person.
pub struct Lived<'a> {
    person: &'a Person,
    moments: Vec<Moment>,
}

struct Moment {
    ahead: [Option<Predicted>; 3],
    low: f32,
    signal: f32,
    direction: Option<Direction>,
}

/// The horizons judged, minutes.
const JUDGED: [i32; 3] = [15, 30, 60];
/// Costs of missing a band, in those of a false one, that are tried.
const COSTS: [f32; 5] = [0.5, 1.0, 1.5, 2.0, 3.0];

pub fn live<'a>(person: &'a Person, table: &Table) -> Lived<'a> {
    let low = Glucose::from_mg_dl(70.0).expect("a concentration");
    let mut moments = Vec::with_capacity(person.readings.len());
    walk(person, table, true, |n, learner| {
        let (now, ahead) = (person.readings[n].at(), outlook(table, learner));
        moments.push(Moment {
            ahead: JUDGED.map(|horizon| ahead.at(now, minutes(horizon))),
            low: ahead.low_probability(now, low, minutes(30)).unwrap_or(f32::NAN),
            signal: ahead.low_ahead(now).unwrap_or(f32::NAN),
            direction: ahead.direction(now),
        });
    });
    Lived { person, moments }
}

pub fn figures(sets: &[(&str, Vec<Lived<'_>>)]) -> Vec<String> {
    let everyone: Vec<&Lived<'_>> = sets.iter().flat_map(|(_, people)| people).collect();
    let mut lines = vec!["\nEach set judged by what was fitted to the others.".to_owned()];
    lines.extend(errors(sets));
    lines.extend(coverage(&everyone));
    lines.extend(probability(&everyone));
    lines.extend(alarms(&everyone));
    lines.extend(directions(&everyone));
    lines
}

/// Moments whose later reading is known: the reading, what was foreseen, and what came.
fn outcomes<'a>(
    people: &'a [&'a Lived<'a>],
    horizon: usize,
) -> impl Iterator<Item = (&'a Person, usize, Predicted, f64)> + 'a {
    people.iter().flat_map(move |lived| {
        lived.moments.iter().enumerate().filter_map(move |(n, moment)| {
            let came = lived.person.later(n, JUDGED[horizon] as u32 * 60)?;
            Some((lived.person, n, moment.ahead[horizon]?, f64::from(came)))
        })
    })
}

fn level(person: &Person, n: usize) -> f64 {
    f64::from(person.readings[n].glucose().mg_dl())
}

fn errors(sets: &[(&str, Vec<Lived<'_>>)]) -> Vec<String> {
    let mut lines = vec!["\nRMSE ahead over that of holding the reading, and RMSE, mg/dL:".to_owned()];
    let everyone: Vec<&Lived<'_>> = sets.iter().flat_map(|(_, people)| people).collect();
    let of = |people: &[&Lived<'_>]| {
        let each = (0..JUDGED.len()).map(|horizon| {
            let (mut ours, mut held, mut count) = (0.0, 0.0, 0.0);
            for (person, n, foreseen, came) in outcomes(people, horizon) {
                ours += (came - f64::from(foreseen.glucose().mg_dl())).powi(2);
                held += (came - level(person, n)).powi(2);
                count += 1.0;
            }
            format!("{} min {:.4} ({:.2})", JUDGED[horizon], (ours / held).sqrt(), (ours / count).sqrt())
        });
        each.collect::<Vec<_>>().join(", ")
    };
    for (name, people) in sets {
        lines.push(format!("  {name}: {}", of(&people.iter().collect::<Vec<_>>())));
    }
    lines.push(format!("  all: {}", of(&everyone)));
    lines
}

fn coverage(people: &[&Lived<'_>]) -> Vec<String> {
    let mut lines =
        vec!["\nWhat the intervals held, %: of 95 / of 50; 1.96 / 0.674 standard deviations:".to_owned()];
    for (horizon, minutes) in JUDGED.into_iter().enumerate() {
        let held: Vec<([bool; 4], f64, bool)> = outcomes(people, horizon)
            .map(|(person, n, foreseen, came)| {
                let off = (came - f64::from(foreseen.glucose().mg_dl())).abs();
                let within = [
                    foreseen.half_width_95(),
                    foreseen.half_width_50(),
                    1.959_964 * foreseen.sd(),
                    0.674_49 * foreseen.sd(),
                ]
                .map(|width| off <= f64::from(width));
                (within, level(person, n), person.in_small_hours(&person.readings[n]))
            })
            .collect();
        let share = |of: &dyn Fn(f64, bool) -> bool| {
            let chosen: Vec<&[bool; 4]> = held.iter().filter(|h| of(h.1, h.2)).map(|h| &h.0).collect();
            let part =
                |k: usize| 100.0 * chosen.iter().filter(|h| h[k]).count() as f64 / chosen.len().max(1) as f64;
            format!("{:.1} / {:.1}; {:.1} / {:.1}", part(0), part(1), part(2), part(3))
        };
        lines.push(format!("  {minutes} min: {}", share(&|_, _| true)));
        lines.push(format!("    night {}; day {}", share(&|_, night| night), share(&|_, night| !night)));
        for band in 0..=EDGES.len() {
            let from = band.checked_sub(1).map_or(0.0, |below| f64::from(EDGES[below]));
            let until = EDGES.get(band).map_or(f64::INFINITY, |edge| f64::from(*edge));
            lines.push(format!("    from {from}: {}", share(&|level, _| level >= from && level < until)));
        }
    }
    lines
}

fn probability(people: &[&Lived<'_>]) -> Vec<String> {
    let mut lines = Vec::new();
    for (there, name) in [(false, "not yet low"), (true, "already low")] {
        let said: Vec<(f64, f64)> = people
            .iter()
            .flat_map(|lived| {
                lived.moments.iter().enumerate().filter_map(move |(n, moment)| {
                    let low = lived.person.low_within(n, 1800)?;
                    let there_now = level(lived.person, n) < 70.0;
                    (there_now == there && moment.low.is_finite())
                        .then_some((f64::from(moment.low), f64::from(u8::from(low))))
                })
            })
            .collect();
        let count = said.len().max(1) as f64;
        let usual = said.iter().map(|(_, came)| came).sum::<f64>() / count;
        let score = said.iter().map(|(p, came)| (p - came).powi(2)).sum::<f64>() / count;
        lines.push(format!(
            "\nProbability of under 70 mg/dL within 30 min, {name}: Brier skill {:.4}; said, came (moments):",
            1.0 - score / (usual * (1.0 - usual)).max(1e-9)
        ));
        for tenth in 0..10 {
            let within: Vec<&(f64, f64)> =
                said.iter().filter(|(p, _)| (*p * 10.0).floor().min(9.0) == f64::from(tenth)).collect();
            if !within.is_empty() {
                let mean = |of: fn(&(f64, f64)) -> f64| {
                    within.iter().map(|x| of(x)).sum::<f64>() / within.len() as f64
                };
                lines.push(format!("  {:.3} {:.3} ({})", mean(|x| x.0), mean(|x| x.1), within.len()));
            }
        }
    }
    lines
}

fn alarms(people: &[&Lived<'_>]) -> Vec<String> {
    let limits: Vec<f32> = (2..100).map(|percent| percent as f32 / 100.0).collect();
    let each: Vec<Vec<Outcome>> = people
        .iter()
        .map(|lived| {
            let values = lived.moments.iter().map(|moment| moment.signal).collect();
            lows::outcomes(&Signal { person: lived.person, values }, &limits)
        })
        .collect();
    let pooled: Vec<Outcome> = (0..limits.len())
        .map(|n| each.iter().map(|outcomes| outcomes[n]).fold(Outcome::default(), Outcome::and))
        .collect();
    let all = pooled[0];
    let mut lines = vec![format!("\nThe low-ahead signal; {} lows in {:.0} days:", all.lows, all.days)];
    for rate in lows::RATES {
        if let Some((warned, caught)) = lows::at_rate(&pooled, rate) {
            lines.push(format!(
                "  at {rate} false a day: warned 10 min ahead {warned:.3}, caught {caught:.3}"
            ));
        }
    }
    lines.push(
        "  limit: false a day, warned, caught; false a week of a person, 10th, 50th, 90th of 100:".into(),
    );
    for (n, limit) in limits.iter().enumerate().filter(|(n, _)| (n + 2) % 5 == 0 && *n < 70) {
        let mut weekly: Vec<f64> = each.iter().map(|outcomes| 7.0 * outcomes[n].false_per_day()).collect();
        let [low, middle, high] = [0.1, 0.5, 0.9].map(|share| super::quantile(&mut weekly, share));
        let outcome = pooled[n];
        lines.push(format!(
            "  {limit:.2}: {:.2}, {:.3}, {:.3}; {low:.1}, {middle:.1}, {high:.1}",
            outcome.false_per_day(),
            outcome.warned_share(),
            outcome.caught_share()
        ));
    }
    lines
}

fn directions(people: &[&Lived<'_>]) -> Vec<String> {
    let mut lines =
        vec!["\nDirection; the truth from 2 min before to 18 after (and the next 20 min):".to_owned()];
    lines.extend([(-120, 1080), (0, 1200)].map(|window| rates(people, window)));
    lines.push(bands(people));
    lines.push("  the sign, by what missing a band costs in false ones: of falls by 2 or more called falling, fast; \
                of steady ones called falling; rises alike:".into());
    lines.extend(COSTS.map(|times| sign(people, times)));
    lines
}

/// The true rate over a stretch around each moment, and the direction said then.
fn truths(people: &[&Lived<'_>], (from, to): (i64, i64)) -> Vec<(f64, Direction)> {
    let one = |lived: &Lived<'_>, n: usize, moment: &Moment| {
        let now = i64::from(lived.person.readings[n].at().secs());
        let came = lived.person.between(now + to)? - lived.person.between(now + from)?;
        Some((60.0 * came / (to - from) as f64, moment.direction?))
    };
    people
        .iter()
        .flat_map(|lived| lived.moments.iter().enumerate().filter_map(|(n, moment)| one(lived, n, moment)))
        .collect()
}

/// How far the rates said are off, and how many fast falls they flag.
fn rates(people: &[&Lived<'_>], window: (i64, i64)) -> String {
    let all = truths(people, window);
    let rate = |direction: &Direction| f64::from(direction.rate().mg_dl_per_min());
    let square: f64 = all.iter().map(|(truth, said)| (truth - rate(said)).powi(2)).sum();
    let mut steady: Vec<f64> =
        all.iter().filter(|(truth, _)| truth.abs() < 1.0).map(|(_, said)| rate(said)).collect();
    let fast: Vec<f64> = all.iter().filter(|(truth, _)| *truth <= -2.0).map(|(_, said)| rate(said)).collect();
    let mut line = format!("  RMSE {:.3} mg/dL/min", (square / all.len().max(1) as f64).sqrt());
    for cried in CRIED {
        line += &format!(
            "; of falls by 2 or more {:.3} flagged with {:.1} % of steady ones",
            flagged(&mut steady, &fast, cried),
            100.0 * cried
        );
    }
    line
}

/// How likely the bands were said to be, and how often they came.
fn bands(people: &[&Lived<'_>]) -> String {
    let edges = [-2.0, -1.0, 1.0, 2.0];
    let all = truths(people, (-120, 1080));
    let share = |of: &dyn Fn(f64, &Direction) -> f64| {
        all.iter().map(|(truth, said)| of(*truth, said)).sum::<f64>() / all.len().max(1) as f64
    };
    let under = edges.map(|edge| {
        let rate = Rate::from_mg_dl_per_min(edge as f32).expect("a rate");
        let said = share(&|_, said| f64::from(said.probability_below(rate)));
        let came = share(&|truth, _| f64::from(u8::from(truth < edge)));
        format!("under {edge}: {said:.4} {came:.4}")
    });
    format!("  said, came {}", under.join("; "))
}

/// What the trend sign calls falls, steady stretches and rises when missing a band costs so many false ones.
fn sign(people: &[&Lived<'_>], times: f32) -> String {
    let bands = Bands::default().with_missing_costing(times).expect("in range");
    let mut counts = [[0.0_f64; 3]; 5];
    for lived in people {
        let mut sign = TrendSign::new(bands);
        for (n, moment) in lived.moments.iter().enumerate() {
            let (rate, sd) = moment.direction.map_or((None, 0.0), |d| (Some(d.rate()), d.sd()));
            let trend = sign.step(rate, sd);
            let now = i64::from(lived.person.readings[n].at().secs());
            let Some((from, to)) = lived.person.between(now - 120).zip(lived.person.between(now + 1080))
            else {
                continue;
            };
            let truth = (to - from) / 20.0;
            let class = match truth {
                ..=-2.0 => 0,
                2.0.. => 4,
                -1.0..=1.0 => 2,
                _ => continue,
            };
            counts[class][0] += 1.0;
            let (falls, rises) = (matches!(trend, Trend::Falling(_)), matches!(trend, Trend::Rising(_)));
            let fast = matches!(trend, Trend::Falling(Pace::Fast) | Trend::Rising(Pace::Fast));
            let (first, second) = match class {
                0 => (falls, falls && fast),
                4 => (rises, rises && fast),
                _ => (falls, rises),
            };
            counts[class][1] += f64::from(u8::from(first));
            counts[class][2] += f64::from(u8::from(second));
        }
    }
    let part = |class: usize, k: usize| counts[class][k] / counts[class][0].max(1.0);
    format!(
        "  {times}: {:.3}, {:.3}; {:.3}; rises {:.3}, {:.3}; {:.3}",
        part(0, 1),
        part(0, 2),
        part(2, 1),
        part(4, 1),
        part(4, 2),
        part(2, 2)
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use glidepath::{Instant, Reading};

    /// What is held against what: the rate from 2 min before to 18 after, or of the next 20, worked out by hand from
    /// readings every five minutes.
    #[test]
    fn directions_are_held_against_the_stretch_that_is_told() {
        let level = |n: usize| {
            let (k, phase) = (n as f64, (n / 40) as f64);
            (160.0 + 70.0 * (k / 7.0 + phase).sin() + 25.0 * (k / 2.3).sin()) as f32
        };
        let readings: Vec<Reading> = (0..400)
            .map(|n| {
                let at = Instant::from_secs(300 * n as u32);
                Reading::new(at, Glucose::from_mg_dl(level(n)).unwrap())
            })
            .collect();
        let values: Vec<f64> = readings.iter().map(|reading| f64::from(reading.glucose().mg_dl())).collect();
        let person = Person::new("p", readings, Vec::new());
        let lived = live(&person, &Table::PEOPLE);
        let part = |n: usize, part: f64| values[n] + part * (values[n + 1] - values[n]);
        // moments that say a direction and whose stretch is known, with the stretch's rate
        let known = |rate: &dyn Fn(usize) -> f64| -> Vec<(usize, f64, Direction)> {
            let moments = lived.moments.iter().enumerate().skip(1).take(values.len() - 6);
            moments.filter_map(|(n, moment)| Some((n, rate(n), moment.direction?))).collect()
        };
        let around = known(&|n| (part(n + 3, 0.6) - part(n - 1, 0.6)) / 20.0);
        let next = known(&|n| (values[n + 4] - values[n]) / 20.0);
        let said = |direction: &Direction| f64::from(direction.rate().mg_dl_per_min());
        let rmse = |all: &[(usize, f64, Direction)]| {
            let squares: f64 = all.iter().map(|(_, truth, it)| (truth - said(it)).powi(2)).sum();
            (squares / all.len() as f64).sqrt()
        };
        let lines = directions(&[&lived]);
        let printed = |line: &str, mark: &str| -> f64 {
            let rest = line.split_once(mark).unwrap_or_else(|| panic!("{mark} in {line}")).1;
            rest.split(&[' ', ';', ','][..]).find(|word| !word.is_empty()).unwrap().parse().unwrap()
        };
        assert!(around.len() > 300 && (rmse(&around) - rmse(&next)).abs() > 0.05, "they tell it apart");
        for (line, all) in [(&lines[1], &around), (&lines[2], &next)] {
            let (printed, expected) = (printed(line, "RMSE "), rmse(all));
            assert!((printed - expected).abs() < 0.01, "{line}: {expected}");
        }
        // of all moments' stretches so many are under an edge
        for edge in [-2.0, -1.0, 1.0, 2.0] {
            let under =
                around.iter().filter(|(_, truth, _)| *truth < edge).count() as f64 / around.len() as f64;
            let mark = format!("under {edge}: ");
            let came = lines[3].split_once(&mark).unwrap().1.split([' ', ';']).nth(1).unwrap();
            assert!((came.parse::<f64>().unwrap() - under).abs() < 0.01, "{}: {under}", lines[3]);
        }
        // the sign: of falls by 2 or more the share called falling, of steady stretches too
        let mut sign = TrendSign::new(Bands::default().with_missing_costing(1.0).unwrap());
        let signs: Vec<bool> = lived
            .moments
            .iter()
            .map(|moment| {
                let (rate, sd) = moment.direction.map_or((None, 0.0), |it| (Some(it.rate()), it.sd()));
                matches!(sign.step(rate, sd), Trend::Falling(_))
            })
            .collect();
        let share = |of: &dyn Fn(f64) -> bool| {
            let of: Vec<bool> = around.iter().filter(|it| of(it.1)).map(|it| signs[it.0]).collect();
            of.iter().filter(|falling| **falling).count() as f64 / of.len() as f64
        };
        let line = lines.iter().find(|line| line.starts_with("  1: ")).unwrap();
        let (falls, steady) = (share(&|rate| rate <= -2.0), share(&|rate| rate.abs() <= 1.0));
        assert!((printed(line, "  1: ") - falls).abs() < 0.02, "{line}: {falls}");
        let told: f64 = line.split("; ").nth(1).unwrap().parse().unwrap();
        assert!((told - steady).abs() < 0.02 && falls > steady, "{line}: {steady}");
    }
}
