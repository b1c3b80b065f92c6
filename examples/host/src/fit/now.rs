//! The estimate of now: the constants of the filter, of the correction towards blood and of what stays open, chosen by
//! laboratory blood and fingersticks; and how the monitor as it stands does on the same people.

use std::fmt::Write;

use glidepath::estimator::{Estimator, Model};
use glidepath::quality::Verdict;
use glidepath::{Monitor, Settings, Span};
use rayon::prelude::*;

use super::{Fitted, NO_REFERENCES};
use crate::failure::Failure;
use crate::median::median;
use crate::people::{Person, Set, everyone};

/// What prediction fixes, and what is given: the rate's time, the coloured error and the white one.
const FILTER: (f32, f32, f32, f32) = (15.0, 5.0, 25.0, 1.6);
/// What is tried. Slower drives, smaller differences and more minutes do better here (17.2 for 17.7) and worse on people left
/// out (18.0 for 17.7).
const LAGS: [f32; 3] = [0.5, 2.0, 8.0];
const PROCESS_NOISES: [f32; 4] = [0.1, 0.2, 0.4, 0.6];
const FROM: [f64; 4] = [0.4, 0.6, 0.8, 1.0];
const MINUTES: [f64; 5] = [0.0, 12.0, 16.0, 20.0, 24.0];
/// The bounds of the correction are given, not fitted: they are for safety.
const MOST: f64 = 20.0;
const SHARE: f64 = 0.25;
/// The shares of the value that may stay open; the widest where none holds enough.
const OPEN_SHARES: [f64; 5] = [0.0, 0.02, 0.05, 0.08, 0.1];
/// How much a mean absolute relative difference above the last reading's costs.
const WORSE: f64 = 20.0;

/// A cost this share over the least is hardly more.
const HARDLY: f64 = 0.02;

/// A choice of constants.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Choice {
    lag: f32,
    process_noise: f32,
    from: f64,
    minutes: f64,
}

/// A reference with what was known when it was taken.
struct Moment {
    blood: f64,
    reading: f64,
    glucose: f64,
    variance: f64,
    rate: f64,
    bend: f64,
}

impl Moment {
    fn told(&self, choice: &Choice) -> f64 {
        let most = (SHARE * (self.glucose - 40.0)).clamp(0.0, MOST);
        let size = (choice.minutes * (self.bend.abs() - choice.from).max(0.0)).min(most);
        self.glucose + size.copysign(self.bend)
    }
}

/// One person under one filter.
struct Followed<'a> {
    person: &'a Person,
    laboratory: bool,
    moments: Vec<Moment>,
}

fn follow<'a>(person: &'a Person, lag: f32, process_noise: f32) -> Followed<'a> {
    let (time, coloured, coloured_time, white) = FILTER;
    let span = |minutes: f32| Span::from_secs((minutes * 60.0).round() as i32);
    let filter = || {
        let model = Model::linear().with_rate_time(span(time.max(35.0)))?.with_lag(span(lag))?;
        let model = model.with_rate_time(span(time))?.with_process_noise(process_noise)?;
        model.with_coloured(coloured, span(coloured_time))?.with_white_sd(white)
    };
    let model = filter().expect("in range");
    let mut estimator = Estimator::new(model);
    let mut pairs = person.pairs().peekable();
    let mut moments = Vec::new();
    for (place, reading) in person.readings.iter().enumerate() {
        let _ = estimator.observe(reading);
        while let Some((_, blood)) = pairs.next_if(|(at, _)| *at == place) {
            let Some(now) = estimator.estimate(reading.at()) else { continue };
            let rate = f64::from(now.rate().mg_dl_per_min());
            moments.push(Moment {
                blood,
                reading: f64::from(reading.glucose().mg_dl()),
                glucose: f64::from(now.glucose().mg_dl()),
                variance: f64::from(now.glucose_sd()).powi(2),
                rate,
                bend: rate - f64::from(now.slow_rate().mg_dl_per_min()),
            });
        }
    }
    Followed { person, laboratory: person.has_laboratory(), moments }
}

/// The standard deviation of the errors, a person's mean error taken off.
fn spread(errors: &[f64]) -> f64 {
    let n = errors.len() as f64;
    let mean = errors.iter().sum::<f64>() / n;
    (errors.iter().map(|e| (e - mean).powi(2)).sum::<f64>() / (n - 1.0)).sqrt()
}

/// The median; not a number of nothing.
pub fn middle(values: Vec<f64>) -> f64 {
    median(values).unwrap_or(f64::NAN)
}

/// The people with a laboratory: the median of their spreads over that of the last reading's; each set with
/// fingersticks: the mean absolute relative difference over the last reading's.
#[derive(Default)]
struct Score {
    laboratory: Option<(f64, f64)>,
    sticks: Vec<(String, usize, f64, f64)>,
}

impl Score {
    fn of<'a>(people: impl Iterator<Item = &'a Followed<'a>>, choice: &Choice) -> Self {
        let mut sticks: Vec<(String, usize, f64, f64)> = Vec::new();
        let (mut ours, mut last) = (Vec::new(), Vec::new());
        for one in people.filter(|one| one.moments.len() > 1) {
            if one.laboratory {
                let errors = |of: &dyn Fn(&Moment) -> f64| {
                    spread(&one.moments.iter().map(|m| of(m) - m.blood).collect::<Vec<_>>())
                };
                ours.push(errors(&|m| m.told(choice)));
                last.push(errors(&|m| m.reading));
                continue;
            }
            let set = &one.person.set;
            if sticks.last().is_none_or(|(name, ..)| name != set) {
                sticks.push((set.clone(), 0, 0.0, 0.0));
            }
            if let Some((_, n, ours, last)) = sticks.last_mut() {
                for m in &one.moments {
                    *n += 1;
                    *ours += (m.told(choice) - m.blood).abs() / m.blood;
                    *last += (m.reading - m.blood).abs() / m.blood;
                }
            }
        }
        let laboratory = (!ours.is_empty()).then(|| (middle(ours), middle(last)));
        Self { laboratory, sticks }
    }

    fn cost(&self) -> f64 {
        let laboratory = self.laboratory.map_or(0.0, |(ours, last)| ours / last);
        self.sticks.iter().map(|(_, _, ours, last)| WORSE * (ours / last - 1.0).max(0.0)).sum::<f64>()
            + laboratory
    }

    fn words(&self) -> String {
        let mut words = self.laboratory.map_or_else(String::new, |(ours, last)| {
            format!("laboratory blood: sd {ours:.1} mg/dL, last reading {last:.1}")
        });
        for (set, n, ours, last) in &self.sticks {
            let (ours, last) = (100.0 * ours / *n as f64, 100.0 * last / *n as f64);
            let _ = write!(words, "; {set}: MARD {ours:.2} %, last reading {last:.2} ({n})");
        }
        words.trim_start_matches("; ").to_owned()
    }
}

/// All people under each filter of the grid.
type Grid<'a> = Vec<((f32, f32), Vec<Followed<'a>>)>;

/// The choice that costs least; of those that cost hardly more one with the least process noise, which moves the estimate least: so
/// few people do not tell such choices apart. Source of the rule, with the standard error in the place of [`HARDLY`]: Breiman
/// et al. (1984), *Classification and Regression Trees*, section 3.4.3.
fn best(grid: &Grid<'_>, keep: impl Fn(&Person) -> bool + Sync) -> Choice {
    let each = grid.iter().flat_map(|((lag, process_noise), people)| {
        let minutes = |from: &f64| MINUTES.map(|minutes| (*from, minutes));
        let kept: Vec<_> = people.iter().filter(|one| keep(one.person)).collect();
        FROM.iter().flat_map(minutes).map(move |(from, minutes)| {
            let choice = Choice { lag: *lag, process_noise: *process_noise, from, minutes };
            (Score::of(kept.iter().copied(), &choice).cost(), choice)
        })
    });
    let each: Vec<(f64, Choice)> = each.collect();
    let least = each.iter().map(|(cost, _)| *cost).fold(f64::INFINITY, f64::min);
    let near = each.iter().filter(|(cost, _)| *cost <= least * (1.0 + HARDLY));
    let slowest = near.min_by(|(a, of_a), (b, of_b)| {
        of_a.process_noise.total_cmp(&of_b.process_noise).then(a.total_cmp(b))
    });
    slowest.map_or(Choice { lag: 0.5, process_noise: 0.4, from: 0.6, minutes: 20.0 }, |(_, choice)| *choice)
}

/// What the calibration leaves open before it has learned, as a share of glucose: its scatter, as `Drift` begins with.
const SCATTER: f64 = 0.12;

/// How often 95 % intervals hold the odd references, earlier ones giving the offset, for a share of the value that
/// stays open: for each set.
fn coverage<'a>(
    people: impl Iterator<Item = &'a Followed<'a>>,
    choice: &Choice,
    open: (f64, f64),
) -> Vec<(String, f64, f64)> {
    let mut sets: Vec<(String, f64, f64)> = Vec::new();
    for one in people {
        if sets.last().is_none_or(|(name, ..)| *name != one.person.set) {
            sets.push((one.person.set.clone(), 0.0, 0.0));
        }
        let Some((_, held, n)) = sets.last_mut() else { continue };
        let mut sum = 0.0;
        for (k, m) in one.moments.iter().enumerate() {
            let error = m.blood - m.told(choice);
            if k % 2 == 1 {
                let variance =
                    m.variance + (open.0.hypot(SCATTER) * m.glucose).powi(2) + (open.1 * m.rate).powi(2);
                let offset = sum / (k as f64 + 2.0);
                *n += 1.0;
                *held += f64::from(u8::from((error - offset).abs() < 1.96 * variance.sqrt()));
            }
            sum += error;
        }
    }
    sets
}

/// The people as one choice's filter follows them.
fn under<'a>(grid: &'a Grid<'a>, choice: &Choice) -> Option<&'a [Followed<'a>]> {
    grid.iter().find(|(f, _)| *f == (choice.lag, choice.process_noise)).map(|(_, p)| p.as_slice())
}

/// Chooses the constants and says how they do: on all, leaving out each set, and each person with a laboratory.
pub fn fit(sets: &[Set]) -> Result<Fitted, Failure> {
    let people = everyone(sets);
    let referred: Vec<&Person> = people.into_iter().filter(|person| !person.references.is_empty()).collect();
    if referred.is_empty() {
        return Err(Failure::new(NO_REFERENCES));
    }
    let filters: Vec<(f32, f32)> =
        LAGS.iter().flat_map(|lag| PROCESS_NOISES.map(|process_noise| (*lag, process_noise))).collect();
    let grid: Grid<'_> = filters
        .par_iter()
        .map(|filter| (*filter, referred.iter().map(|person| follow(person, filter.0, filter.1)).collect()))
        .collect();
    let choice = best(&grid, |_| true);
    let followed = under(&grid, &choice).unwrap_or_default();
    let model = format!(
        "            lag_min: {:.1},\n            process_noise: {:.1},\n",
        choice.lag, choice.process_noise
    );
    let mut text = String::new();
    let _ = writeln!(text, "Now, fitted to {} people with references:", referred.len());
    let _ = writeln!(text, "  {}", Score::of(followed.iter(), &choice).words());
    let mut sets: Vec<&str> = referred.iter().map(|person| person.set.as_str()).collect();
    sets.dedup();
    for set in sets {
        let other = best(&grid, |person| person.set != set);
        let judged = under(&grid, &other).unwrap_or_default().iter().filter(|one| one.person.set == set);
        let _ = writeln!(text, "  without {set} {other:?}: {}", Score::of(judged, &other).words());
    }
    let _ = writeln!(text, "{}", laboratory_left_out(&grid, &referred));
    let (share, tried) = open_share(followed, &choice);
    for line in tried {
        let _ = writeln!(text, "{line}");
    }
    let told = format!(
        "const CURVE_MIN: f32 = {:.1};\nconst CURVE_FROM: f32 = {:.1};\nconst OPEN_SHARE: f32 = {share:.2};\n",
        choice.minutes, choice.from
    );
    Ok(Fitted {
        sources: vec![("src/live/estimator/model.rs", model), ("src/live/estimator/now.rs", told)],
        figures: text.lines().map(str::to_owned).collect(),
    })
}

/// Each person with a laboratory judged by what was fitted to the others.
fn laboratory_left_out(grid: &Grid<'_>, referred: &[&Person]) -> String {
    let spreads: Vec<(f64, f64)> = referred
        .par_iter()
        .filter(|person| person.has_laboratory())
        .filter_map(|out| {
            let other = best(grid, |person| !std::ptr::eq(person, *out));
            let judged = under(grid, &other)?.iter().filter(|one| std::ptr::eq(one.person, *out));
            Score::of(judged, &other).laboratory
        })
        .collect();
    let nearer = spreads.iter().filter(|(ours, last)| ours < last).count();
    let (ours, last) = spreads.iter().copied().unzip();
    format!(
        "  each person with a laboratory left out: sd {:.1}, last reading {:.1}, nearer in {nearer} of {}",
        middle(ours),
        middle(last),
        spreads.len()
    )
}

/// Tries shares that stay open: the first whose intervals hold enough in each set, and how often each holds.
fn open_share(followed: &[Followed<'_>], choice: &Choice) -> (f64, Vec<String>) {
    let (mut chosen, mut lines) = (None, Vec::new());
    for share in OPEN_SHARES {
        let sets = coverage(followed.iter(), choice, (share, 6.0));
        let enough = sets.iter().filter(|(_, _, n)| *n >= 100.0).all(|(_, held, n)| held / n >= 0.925);
        if enough && chosen.is_none() {
            chosen = Some(share);
        }
        let words: Vec<String> =
            sets.iter().map(|(set, held, n)| format!("{set} {:.1} % of {n}", 100.0 * held / n)).collect();
        lines.push(format!("  OPEN_SHARE {share:.2}: 95 % holds {}", words.join(", ")));
    }
    (chosen.unwrap_or(OPEN_SHARES[OPEN_SHARES.len() - 1]), lines)
}

/// How the monitor as it stands does.
#[derive(Clone, Copy, Debug, Default)]
struct Doing {
    weeks: f64,
    far: f64,
    low: f64,
    doubted: f64,
    shown: f64,
    held: f64,
}

impl Doing {
    fn and(self, other: Self) -> Self {
        Self {
            weeks: self.weeks + other.weeks,
            far: self.far + other.far,
            low: self.low + other.low,
            doubted: self.doubted + other.doubted,
            shown: self.shown + other.shown,
            held: self.held + other.held,
        }
    }

    fn row(&self, name: &str) -> String {
        let rms = |sum: f64| (sum / self.doubted).sqrt();
        format!(
            "  {name:<12} {:>7.1} {:>9.3} {:>9.3} {:>8} {:>7.1} {:>7.1}",
            self.weeks,
            self.far / self.weeks,
            self.low / self.weeks,
            self.doubted,
            rms(self.shown),
            rms(self.held)
        )
    }
}

/// Plays one person through the monitor as shipped.
fn play(person: &Person) -> Doing {
    let mut monitor = Monitor::<1>::new(Settings::default()).expect("defaults are sound");
    monitor.set_utc_offset(Some(Span::from_secs(person.lead())));
    let mut doing = Doing::default();
    let value = |place: usize| person.readings.get(place).map(|r| (r.at(), f64::from(r.glucose().mg_dl())));
    for (place, reading) in person.readings.iter().enumerate() {
        let view = monitor.push(reading);
        let glucose = f64::from(reading.glucose().mg_dl());
        let before = [place.checked_sub(1).and_then(value), place.checked_sub(2).and_then(value)];
        if let [Some(first), _] = before {
            doing.weeks += f64::from(reading.at().since(first.0).secs().min(900)) / 604_800.0;
        }
        let Some(told) = view.estimate().map(|e| f64::from(e.glucose().mg_dl())) else { continue };
        if let [Some((_, b)), Some((then, a))] = before
            && reading.at().since(then).secs() <= 900
        {
            let (least, most) = (glucose.min(a).min(b), glucose.max(a).max(b));
            let steady = most - least < 10.0 && least > 45.0;
            doing.far += f64::from(u8::from(steady && (told - glucose).abs() > 40.0));
        }
        doing.low += f64::from(u8::from(told < 35.0 && glucose > 40.0));
        if matches!(view.verdict(), Some(Verdict::Jump | Verdict::Pressure)) {
            let later = person.readings.iter().skip(place).find(|r| r.at().since(reading.at()).secs() >= 750);
            if let Some(later) = later.filter(|r| r.at().since(reading.at()).secs() <= 1050) {
                let then = f64::from(later.glucose().mg_dl());
                doing.doubted += 1.0;
                doing.shown += (told - then).powi(2);
                doing.held += (glucose - then).powi(2);
            }
        }
    }
    doing
}

/// The table of absurd moments and of doubted readings, set by set.
pub fn measure(sets: &[Set]) -> Result<Fitted, Failure> {
    let people = everyone(sets);
    let played: Vec<Doing> = people.par_iter().map(|person| play(person)).collect();
    let mut text = String::from(
        "the monitor as it stands; far: more than 40 mg/dL from a steady sensor; under 35: while the sensor is not; 15 min: \
         the root mean square of what is shown at a jump or suspected pressure, and of the reading itself, less the \
         reading 15 min later\n  set            weeks  far/week  <35/week  doubted  15 min    held\n",
    );
    let mut rows: Vec<(&str, Doing)> = Vec::new();
    for (person, doing) in people.iter().zip(&played) {
        match rows.last_mut().filter(|(set, _)| *set == person.set) {
            Some((_, sum)) => *sum = sum.and(*doing),
            None => rows.push((&person.set, *doing)),
        }
    }
    for (set, doing) in &rows {
        let _ = writeln!(text, "{}", doing.row(set));
    }
    let all = rows.iter().fold(Doing::default(), |sum, (_, doing)| sum.and(*doing));
    let _ = writeln!(text, "{}", all.row("all"));
    Ok(Fitted { sources: Vec::new(), figures: text.lines().map(str::to_owned).collect() })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// What stays open is printed for each set, by how many there are, and the first share that is enough for all is chosen.
    #[test]
    fn the_open_share_is_the_first_that_holds_enough_in_each_set() {
        let person = |set: &str| {
            let mut person = Person::new("p", Vec::new(), Vec::new());
            person.set = set.to_owned();
            person
        };
        let people = ["a", "b", "c"].map(person);
        let choice = Choice { lag: 0.5, process_noise: 0.4, from: 0.6, minutes: 0.0 };
        // two references each, of which the second is judged; the first is right, so that no offset comes of it
        let followed = |set: usize, off: f64| {
            let moment = |off: f64| Moment {
                blood: 100.0 + off,
                reading: 0.0,
                glucose: 100.0,
                variance: 0.0,
                rate: 0.0,
                bend: 0.0,
            };
            Followed { person: &people[set], laboratory: false, moments: vec![moment(0.0), moment(off)] }
        };
        let many = |set: usize, right: usize, wrong: usize, off: f64| {
            let offs = std::iter::repeat_n(0.0, right).chain(std::iter::repeat_n(off, wrong));
            offs.map(|off| followed(set, off)).collect::<Vec<_>>()
        };
        // of 100 mg/dL 1.96 times 12.17 are held by a share of 0.02, 13.0 by 0.05, 14.4 by 0.08 and 15.6 by 0.1
        let first = many(0, 90, 10, 24.5);
        let few = many(1, 0, 50, -90.0);
        let last = many(2, 92, 8, -27.0);
        let all: Vec<Followed<'_>> = first.into_iter().chain(few).chain(last).collect();
        let (share, lines) = open_share(&all, &choice);
        assert_eq!(share, 0.08, "{lines:?}");
        let expected = [("0.00", "90.0", "92.0"), ("0.02", "90.0", "92.0"), ("0.05", "100.0", "92.0")];
        let expected = expected.into_iter().chain([("0.08", "100.0", "100.0"), ("0.10", "100.0", "100.0")]);
        let expected: Vec<String> = expected
            .map(|(share, a, c)| {
                format!("  OPEN_SHARE {share}: 95 % holds a {a} % of 100, b 0.0 % of 50, c {c} % of 100")
            })
            .collect();
        assert_eq!(lines, expected);
        // where none is enough it is the widest; without the last set a narrower one does
        assert_eq!(open_share(&many(0, 50, 50, 90.0), &choice).0, 0.1);
        assert_eq!(open_share(&all[..150], &choice).0, 0.05);
        // 92.5 of 100 are enough
        assert_eq!(open_share(&many(0, 185, 15, 90.0), &choice).0, 0.0);
        // a rate counts, and what the filter does not know
        let (mut fast, mut vague) = (many(0, 50, 50, 26.0), many(0, 50, 50, 26.0));
        fast.iter_mut().for_each(|one| one.moments[1].rate = -1.0);
        vague.iter_mut().for_each(|one| one.moments[1].variance = 36.0);
        assert_eq!([&fast, &vague].map(|all| open_share(all, &choice).0), [0.0; 2]);
    }
}
