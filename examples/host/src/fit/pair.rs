//! What two sensors worn at once begin with: how much of what one tells is added to the other's forecast, and how much
//! narrower that makes its interval. People are left out one by one: so few wear two sensors that a set left out would
//! leave none.

mod rare;

use glidepath::alarm::MAX_VALUE_AGE;
use glidepath::quality::Reason;
use glidepath::{Agreement, Side, SideView, Span};
use rayon::prelude::*;

use super::Fitted;
use crate::failure::Failure;
use crate::people::least::{dot, quantile, squares};
use crate::people::two::{self, AHEAD, BRIDGED, Minute};
use crate::people::{Person, Set};

/// As the library holds them: a test holds the two together.
const WEIGHTS: [f64; 2] = [0.18, 0.35];

/// The share that an interval is to hold.
const WITHIN: f64 = 0.95;

/// A sensor's forecast and what came of it, mg/dL.
#[derive(Clone, Copy)]
struct Moment {
    /// How far the other stands above this one and how much further it is expected to move, where that is added.
    beside: Option<[f64; 2]>,
    /// By how much the outcome lies above its own monitor's forecast, and above that of the pair as shipped.
    own: f64,
    pair: f64,
    /// Half of its own monitor's interval, and whether that of the pair as shipped held the outcome.
    half: f64,
    held: bool,
}

impl Moment {
    /// By how much the outcome lies above the forecast with such weights.
    fn off(&self, weights: &[f64; 2]) -> f64 {
        self.own - self.beside.map_or(0.0, |beside| dot(&beside, weights))
    }

    /// Whether its own interval, so many times as wide about the pair's forecast, holds the outcome.
    fn holds(&self, factor: f64) -> bool {
        self.pair.abs() <= factor * self.half
    }
}

/// The moments of a person's two sensors.
type Lived = [Vec<Moment>; 2];

/// Fits to all, and judges with each person left out in turn.
pub fn fit(sets: &[Set]) -> Result<Fitted, Failure> {
    let mut fitted = rare::fit(sets)?;
    let lived: Vec<Lived> = two::pairs(sets).par_iter().map(live).collect();
    let people: Vec<&Lived> = lived.iter().filter(|lived| added(lived).next().is_some()).collect();
    if people.is_empty() {
        let none =
            "Nobody wore two sensors at once (traces NAME and NAME_b): nothing tells how they forecast.";
        fitted.figures.push(none.into());
        return Ok(fitted);
    }
    let ([gap, further], factor) = (weights(&people), factor(&people));
    fitted.sources.extend([
        ("src/whole/pair/lead.rs", held_weights([gap, further])),
        ("src/whole/pair/mod.rs", held_factor(factor)),
    ]);
    fitted.figures.extend(figures(&people));
    Ok(fitted)
}

/// How the library holds the weights, and the factor.
fn held_weights([gap, further]: [f64; 2]) -> String {
    format!("const WEIGHTS: [f32; 2] = [{gap:.2}, {further:.2}];\n")
}

fn held_factor(factor: f64) -> String {
    format!("const NARROWER: f32 = {factor:.2};\n")
}

fn live(people: &[&Person; 2]) -> Lived {
    let mut lived = [Vec::new(), Vec::new()];
    two::live(people.map(|person| &person.readings[..]), |minute| {
        let beside = if minute.read { beside(minute) } else { return };
        for side in Side::BOTH {
            let (own, pair) = (&minute.own[side as usize], minute.pair.side(side));
            let then = people[side as usize].between(minute.now.plus(AHEAD).secs().into());
            if let (Some(own), Some(led), Some(then)) = (own.predicted(AHEAD), pair.predicted(AHEAD), then)
                && pair.age.is_some_and(|age| age < BRIDGED)
            {
                let off = then - f64::from(led.glucose().mg_dl());
                let beside = beside.filter(|_| minute.pair.agreement() != Agreement::Suspect(side.other()));
                lived[side as usize].push(Moment {
                    beside: beside
                        .map(|beside| if side == Side::First { beside } else { beside.map(|x| -x) }),
                    own: then - f64::from(own.glucose().mg_dl()),
                    pair: off,
                    half: own.half_width_95().into(),
                    held: off.abs() <= led.half_width_95().into(),
                });
            }
        }
    });
    lived
}

/// How the second sensor stands beside the first, as the pair has it, while nothing is held against either. The library
/// takes a third of the way to 15 min for the present. Told from outside is the forecast 5 min ahead: a little beside
/// that where a sensor read some minutes ago.
fn beside(minute: &Minute) -> Option<[f64; 2]> {
    let clean = |side: &SideView| {
        side.age.is_some_and(|age| age < MAX_VALUE_AGE)
            && !side.reasons.are_disqualifying()
            && !side.reasons.contains(Reason::Pressure)
    };
    let apart = |minutes: i32| {
        let [own, other] = minute.own.each_ref().map(|view| view.predicted(Span::from_mins(minutes)));
        Some(f64::from(other?.glucose().mg_dl() - own?.glucose().mg_dl()))
    };
    let [first, second] = Side::BOTH.map(|side| minute.pair.side(side));
    let (from, half) = (apart(5)?, apart(30)?);
    let gap = from - f64::from(second.offset) + f64::from(first.offset);
    (clean(first) && clean(second)).then_some([gap, half - from])
}

/// The moments of both sensors at which what the other tells is added.
fn added(lived: &Lived) -> impl Iterator<Item = (&Moment, [f64; 2])> {
    lived.iter().flatten().filter_map(|moment| Some((moment, moment.beside?)))
}

/// The weights of least squared error, of both sensors together: what is judged is that error, so none is clipped.
fn weights(people: &[&Lived]) -> [f64; 2] {
    let rows = |lived: &&Lived| added(lived).map(|(moment, beside)| (beside, moment.own)).collect();
    squares(&people.iter().map(rows).collect::<Vec<_>>())
}

/// How many times as wide as its own a sensor's interval must be about the pair's forecast to hold enough.
fn factor(people: &[&Lived]) -> f64 {
    let off = |lived| added(lived).map(|(moment, _)| moment.pair.abs() / moment.half);
    quantile(&mut people.iter().copied().flat_map(off).collect::<Vec<_>>(), WITHIN)
}

/// A value for each person, fitted to the others.
fn left_out<T>(people: &[&Lived], fit: impl Fn(&[&Lived]) -> T) -> Vec<T> {
    let without = |n: usize| [&people[..n], &people[n + 1..]].concat();
    (0..people.len()).map(|n| fit(&without(n))).collect()
}

fn figures(people: &[&Lived]) -> Vec<String> {
    if people.len() < 2 {
        return vec!["One person alone wore two sensors: nobody is left out to judge by.".into()];
    }
    let (weights, factors) = (left_out(people, weights), left_out(people, factor));
    let range = |values: &mut dyn Iterator<Item = f64>| {
        let (least, most) = values.fold((f64::INFINITY, f64::NEG_INFINITY), |(least, most), value| {
            (least.min(value), most.max(value))
        });
        format!("{least:.3} to {most:.3}")
    };
    let each = |n: usize| range(&mut weights.iter().map(|weights| weights[n]));
    let mut lines = vec![
        format!("{} people with two sensors, each judged by what was fitted to the others:", people.len()),
        format!("  WEIGHTS without one person: {}, {}", each(0), each(1)),
        format!("  NARROWER without one person: {}", range(&mut factors.iter().copied())),
        "  over own: the error 30 min ahead over that of the sensor's own monitor, with the weights of the others, with those".into(),
        "  shipped, kept, and as shipped and learned on. held: what the interval about the last holds where the other sensor".into(),
        "  counts, %, by NARROWER of the others, as shipped, and as wide as the sensor's own".into(),
        "  sensor  forecasts  over own: others  shipped  learned  held: others  shipped    own".into(),
    ];
    for side in Side::BOTH {
        let all = || {
            people.iter().enumerate().flat_map(|(n, lived)| lived[side as usize].iter().map(move |m| (n, m)))
        };
        let sum = |off: &dyn Fn(usize, &Moment) -> f64| {
            all().map(|(n, moment)| off(n, moment).powi(2)).sum::<f64>()
        };
        let own = sum(&|_, moment| moment.own);
        let over = |off: &dyn Fn(usize, &Moment) -> f64| (sum(off) / own).sqrt();
        let held = |held: &dyn Fn(usize, &Moment) -> bool| {
            let (mut count, mut sum) = (0.0, 0.0);
            for (n, moment) in all().filter(|(_, moment)| moment.beside.is_some()) {
                count += 1.0;
                sum += f64::from(u8::from(held(n, moment)));
            }
            100.0 * sum / count
        };
        lines.push(format!(
            "  {side:6}  {:9}  {:16.3}  {:7.3}  {:7.3}  {:12.1}  {:7.1}  {:5.1}",
            all().count(),
            over(&|n, moment| moment.off(&weights[n])),
            over(&|_, moment| moment.off(&WEIGHTS)),
            over(&|_, moment| moment.pair),
            held(&|n, moment| moment.holds(factors[n])),
            held(&|_, moment| moment.held),
            held(&|_, moment| moment.holds(1.0)),
        ));
    }
    lines
}

#[cfg(test)]
mod tests {
    use super::*;
    use glidepath::{Glucose, Instant, Reading};

    /// 200 moments a side whose outcome lies above the sensor's own forecast as the weights say, and above that of the
    /// pair by half as much, of which 75 % held: 190 within 0.95 of their own interval and all within it. Besides them
    /// 50 at which nothing is added.
    fn made(weights: [f64; 2]) -> Lived {
        let moment = |k: u32| {
            let beside = [f64::from(k % 7) + 1.0, f64::from(k % 5) + 1.0];
            let own = dot(&beside, &weights);
            let half = 0.5 * own / (f64::from(k + 1) / 200.0);
            Moment { beside: Some(beside), own, pair: 0.5 * own, half, held: !k.is_multiple_of(4) }
        };
        let nothing = Moment { beside: None, own: 0.0, pair: 0.0, half: 1.0, held: false };
        [(); 2].map(|()| (0..200).map(moment).chain([nothing; 50]).collect())
    }

    #[test]
    fn the_numbers_that_made_the_moments_are_found_and_judged() {
        let made = made([0.3, 0.1]);
        let people = [&made, &made];
        for (found, want) in weights(&people).into_iter().zip([0.3, 0.1]) {
            assert!((found - want).abs() < 1e-4, "{found} {want}");
        }
        assert!((factor(&people) - 0.95).abs() < 0.006, "{}", factor(&people));
        let lines = figures(&people);
        for (line, side) in lines[lines.len() - 2..].iter().zip(["first", "second"]) {
            let mut cells: Vec<&str> = line.split_whitespace().collect();
            // the weights as shipped: of 0.3 and 0.1 they leave 0.12 and -0.25
            let shipped: f64 = cells.remove(3).parse().unwrap();
            assert!((0.2..0.8).contains(&shipped), "{line}");
            assert_eq!(cells, [side, "500", "0.000", "0.500", "95.0", "75.0", "100.0"]);
        }
        assert!(figures(&[&made])[0].contains("nobody is left out"));
    }

    #[test]
    fn each_is_judged_by_what_was_fitted_to_the_others() {
        let (one, other) = (made([0.5, 0.0]), made([0.0, 0.5]));
        let folds = left_out(&[&one, &other, &other], weights);
        for (fold, want) in folds[0].into_iter().zip([0.0, 0.5]) {
            assert!((fold - want).abs() < 1e-4, "{folds:?}");
        }
        assert_eq!(folds[1], folds[2]);
        assert!(folds[1].iter().all(|weight| (0.1..0.4).contains(weight)), "{folds:?}");
    }

    /// Until the first outcome is read, the library's forecasts for two are the sensors' own and what is worked out here,
    /// with the weights that it begins with.
    #[test]
    fn what_is_added_is_what_the_library_adds() {
        let person = |ahead: f64, from: u32| {
            let reading = |k: u32| {
                let minute = f64::from(from + 5 * k);
                let mg_dl = 140.0 + 40.0 * ((minute + ahead) / 25.0).sin();
                let at = Instant::from_secs(60 * (1000 + from + 5 * k));
                Reading::new(at, Glucose::from_mg_dl(mg_dl as f32).unwrap())
            };
            Person::new("p", (0..12).map(reading).collect(), Vec::new())
        };
        let lived = live(&[&person(0.0, 0), &person(6.0, 2)]);
        for (moment, beside) in added(&lived) {
            let told = moment.own - dot(&beside, &WEIGHTS);
            assert!((told - moment.pair).abs() < 0.1, "{told} {}", moment.pair);
        }
        let largest = added(&lived).map(|(_, beside)| dot(&beside, &WEIGHTS).abs()).fold(0.0, f64::max);
        assert!(added(&lived).count() >= 10 && largest > 2.0, "{} {largest}", added(&lived).count());
    }

    #[test]
    fn what_is_shipped_is_what_the_library_holds() {
        assert!(include_str!("../../../../src/whole/pair/lead.rs").contains(&held_weights(WEIGHTS)));
    }
}
