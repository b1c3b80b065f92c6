//! How rare low glucose is: below `COMMON` the logarithm of how often a reading comes falls as half the square of how many
//! times `SPREAD` it lies below.

use std::ops::RangeInclusive;

use super::super::Fitted;
use crate::failure::Failure;
use crate::people::{Person, Set, everyone};

/// Bins of readings, mg/dL: the middle of the first, how wide each is, and how many there are, up to 200.
const FIRST: f64 = 45.0;
const WIDTH: f64 = 10.0;
const BINS: usize = 16;
/// Sets left out are judged by the bins with these middles: those of lows, and what is common beside them.
const JUDGED: RangeInclusive<usize> = bin(55.0)..=bin(125.0);
/// Steps of the search, mg/dL: the error hardly changes within them.
const COMMONS: RangeInclusive<u32> = 18..=36;
const COMMON_STEP: f64 = 5.0;
const SPREADS: RangeInclusive<u32> = 10..=60;

/// `COMMON` and `SPREAD`, mg/dL.
type Constants = (f64, f64);

/// As the library holds them: a test holds the two together.
const SHIPPED: Constants = (125.0, 30.0);

const fn bin(mg_dl: f64) -> usize {
    ((mg_dl - FIRST + 0.5 * WIDTH) / WIDTH) as usize
}

fn middle(bin: usize) -> f64 {
    FIRST + WIDTH * bin as f64
}

/// How the library holds them.
fn held((common, spread): Constants) -> String {
    format!("const COMMON: f32 = {common:.1};\nconst SPREAD: f32 = {spread:.1};\n")
}

/// By how much a reading in each bin is rarer than in the fullest one, as the natural logarithm, and which that is. Every
/// trace weighs the same. `None` without readings.
fn rarity<'a>(people: impl Iterator<Item = &'a Person>) -> Option<([f64; BINS], usize)> {
    let mut often = [0.0; BINS];
    for person in people {
        let weight = 1.0 / person.readings.len() as f64;
        for reading in &person.readings {
            let mg_dl = f64::from(reading.glucose().mg_dl());
            if let Some(often) = often.get_mut(bin(mg_dl)).filter(|_| mg_dl >= FIRST - 0.5 * WIDTH) {
                *often += weight;
            }
        }
    }
    let fullest = (0..BINS).max_by(|a, b| often[*a].total_cmp(&often[*b]))?;
    let most = often[fullest];
    (most > 0.0).then(|| (often.map(|often| (most / often).ln()), fullest))
}

/// How far off the constants are on average, by those of the bins that have readings: each weighs the same, and none can
/// pull far. `None` without any.
fn off((common, spread): Constants, rarity: &[f64; BINS], bins: RangeInclusive<usize>) -> Option<f64> {
    let bins = bins.filter(|bin| rarity[*bin].is_finite());
    let offs = bins.map(|bin| {
        let below = (common - middle(bin)).max(0.0) / spread;
        (rarity[bin] - 0.5 * below * below).abs()
    });
    let (sum, count) = offs.fold((0.0, 0.0), |(sum, count), off| (sum + off, count + 1.0));
    (count > 0.0).then_some(sum / count)
}

/// The constants that are least off up to the fullest bin. `None` with fewer than four bins to tell them by.
fn best((rarity, fullest): ([f64; BINS], usize)) -> Option<Constants> {
    if rarity[..=fullest].iter().filter(|rarity| rarity.is_finite()).count() < 4 {
        return None;
    }
    let constants = COMMONS
        .flat_map(|common| SPREADS.map(move |spread| (f64::from(common) * COMMON_STEP, f64::from(spread))));
    let offs = constants.filter_map(|constants| Some((constants, off(constants, &rarity, 0..=fullest)?)));
    offs.min_by(|(_, one), (_, other)| one.total_cmp(other)).map(|(constants, _)| constants)
}

/// Fits to all, and judges with each set left out in turn.
pub fn fit(sets: &[Set]) -> Result<Fitted, Failure> {
    let people = everyone(sets);
    let all = rarity(people.iter().copied())
        .filter(|_| people.iter().map(|person| person.readings.len()).sum::<usize>() >= 1000);
    let (all, constants) = all.and_then(|all| Some((all.0, best(all)?))).ok_or_else(|| {
        Failure::new("too few readings to tell how rare lows are, expected a thousand, some of them below the commonest")
    })?;
    let told = all.iter().enumerate().take_while(|(bin, _)| bin <= JUDGED.end());
    let told: Vec<String> = told.map(|(bin, rarity)| format!("{:.0} {rarity:.2}", middle(bin))).collect();
    let mut figures = vec![
        format!(
            "how rare lows are, by {} traces that weigh the same; \"off by\" is the mean error of the natural logarithm:",
            people.len()
        ),
        format!("  mg/dL, and how much rarer than the commonest: {}", told.join(", ")),
    ];
    for set in sets.iter().filter(|_| sets.len() > 1) {
        let others = sets.iter().filter(|other| other.name != set.name).flat_map(|set| &set.people);
        let (Some(fitted), Some((own, _))) = (rarity(others).and_then(best), rarity(set.people.iter()))
        else {
            figures.push(format!("  without {}: too few readings", set.name));
            continue;
        };
        let words =
            |constants| off(constants, &own, JUDGED).map_or("unknown".into(), |off| format!("{off:.2}"));
        figures.push(format!(
            "  without {}: {:.0}, {:.0}; off by {} on it, as shipped by {}",
            set.name,
            fitted.0,
            fitted.1,
            words(fitted),
            words(SHIPPED)
        ));
    }
    Ok(Fitted { sources: vec![("src/whole/pair/rare.rs", held(constants))], figures })
}

#[cfg(test)]
mod tests {
    use super::*;
    use glidepath::{Glucose, Instant, Reading};

    /// A trace of so many readings of each value.
    fn person(values: impl Iterator<Item = (f64, usize)>) -> Person {
        let values = values.flat_map(|(mg_dl, count)| std::iter::repeat_n(mg_dl as f32, count));
        let reading = |(k, mg_dl): (usize, f32)| {
            Reading::new(Instant::from_secs(300 * k as u32), Glucose::from_mg_dl(mg_dl).unwrap())
        };
        Person::new("p", values.enumerate().map(reading).collect(), Vec::new())
    }

    /// Readings that are the rarer the lower they are, as stated.
    fn made((common, spread): Constants, most: f64) -> Person {
        person((0..BINS).map(middle).map(|mg_dl| {
            let below = (common - mg_dl).max(0.0) / spread;
            let above = (mg_dl - common).max(0.0) / 90.0;
            (mg_dl, (most * (-0.5 * (below * below + above * above)).exp()).round() as usize)
        }))
    }

    #[test]
    fn the_constants_of_made_up_readings_are_found() {
        for constants in [SHIPPED, (145.0, 42.0), (105.0, 21.0)] {
            let made = made(constants, 20_000.0);
            assert_eq!(rarity([&made].into_iter()).and_then(best), Some(constants));
        }
    }

    #[test]
    fn rarity_is_by_trace_and_by_bin() {
        // of the one 0.1, 0.1 and 0.8, of the other 0.25 in the last; what is below 40 or from 200 up lies in no bin
        let one = person([(55.0, 10), (60.0, 10), (129.9, 80)].into_iter());
        let other = person([(39.0, 500), (120.0, 500), (300.0, 1000)].into_iter());
        let (rarity, fullest) = rarity([&one, &other].into_iter()).unwrap();
        assert_eq!(middle(fullest), 125.0);
        for (mg_dl, want) in [(55.0, 1.05 / 0.1), (65.0, 1.05 / 0.1), (125.0, 1.0_f64)] {
            assert!((rarity[bin(mg_dl)] - want.ln()).abs() < 1e-9, "{mg_dl}");
        }
        assert_eq!(rarity.iter().filter(|rarity| rarity.is_finite()).count(), 3);
        assert_eq!(super::rarity(std::iter::empty()), None);
        // too few bins to tell anything by
        assert_eq!(best((rarity, fullest)), None);
    }

    #[test]
    fn each_set_is_judged_by_the_others_and_what_it_is_off_by_is_their_mean_error() {
        let (high, low) = ((145.0, 42.0), (105.0, 21.0));
        let sets = [("a", high), ("b", low)]
            .map(|(name, constants)| Set::new(name, vec![made(constants, 20_000.0)]));
        let fitted = fit(&sets).unwrap();
        let text = fitted.figures.join("\n");
        assert!(
            text.contains("\n  without a: 105, 21; off by ")
                && text.contains("\n  without b: 145, 42; off by "),
            "{text}"
        );
        // worked by hand: 0.1 too much at 115, which counts for itself and for 125, where both have nothing
        let mut rarity = [f64::INFINITY; BINS];
        (rarity[bin(115.0)], rarity[bin(125.0)]) = (0.5 / 9.0 + 0.1, 0.0);
        assert!((off(SHIPPED, &rarity, JUDGED).unwrap() - 0.05).abs() < 1e-9);
        assert_eq!(off(SHIPPED, &rarity, 0..=2), None);
    }

    #[test]
    fn what_is_shipped_is_what_the_library_holds() {
        assert!(held(SHIPPED).lines().all(|line| {
            include_str!("../../../../../src/whole/pair/rare.rs").lines().any(|held| held == line)
        }));
    }

    #[test]
    fn too_few_readings_are_refused() {
        let set = |most| [Set::new("a", vec![made(SHIPPED, most)])];
        assert!(fit(&set(1000.0)).is_ok());
        assert!(fit(&set(50.0)).is_err());
        assert!(fit(&[Set::new("a", vec![person([(100.0, 2000)].into_iter())])]).is_err());
    }
}
