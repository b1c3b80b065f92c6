//! `rank` on recorded people: every method on each of them, set by set and pooled.
//!
//! The truth is what the same sensor reads later, so that nothing is said of now. Errors ahead are over those of holding
//! the reading, at the same moments. Warnings, false alarms and actual rates are as `fit` counts them. Rings are those of
//! the monitor as shipped, played minute by minute, each acknowledged when it rings.

use std::sync::atomic::{AtomicU64, Ordering};

use glidepath::Settings;
use glidepath::alarm::{Cause, Kind};
use glidepath::trend::{Pace, Trend};
use rayon::prelude::*;
use serde::Serialize;

use super::Args;
use super::HORIZONS;
use super::likeness::{self, Likeness};
use super::method::{Entry, Outlook};
use crate::failure::Failure;
use crate::fit::least::{CRIED, flagged};
use crate::fit::lows::{self, Outcome, RATES, Signal};
use crate::fit::{Person, load};
use crate::played;
use crate::progress::Progress;
use crate::table::{Trace, Unit};

/// Where the horizons judged stand in [`HORIZONS`].
const JUDGED: [usize; 3] = [0, 1, 3];
/// The low index is compared with these limits, mg/dL.
const LIMITS: std::ops::Range<i32> = -160..200;
/// Bands of the actual rate, and of the sign: falling fast, falling, steady, rising, rising fast.
const BANDS: usize = 5;
/// Nobody can tell the sign.
const UNKNOWN: usize = BANDS;
const HOUR_S: u32 = 3600;
/// What all sets together are called.
pub const ALL: &str = "all";

/// The figures of all sets and of all people together.
#[derive(Serialize)]
pub struct Report {
    /// In words.
    pub on: String,
    /// The last is of all people.
    pub sets: Vec<SetReport>,
    /// What the traces are like: of each set, of all, and of simulated people.
    pub likeness: Vec<Likeness>,
}

/// The figures of a set.
#[derive(Serialize)]
pub struct SetReport {
    pub set: String,
    pub people: usize,
    pub days: f64,
    pub lows: u32,
    pub methods: Vec<Row>,
    pub rings: Vec<RingRow>,
}

/// A method's figures; what it does not tell is null.
#[derive(Serialize)]
pub struct Row {
    pub method: String,
    /// Against blood glucose beside the traces; null where there is none.
    pub now: Option<Now>,
    pub ahead: Vec<Ahead>,
    /// Of a reading below 70 mg/dL within 30 minutes, where the newest is not.
    pub brier_skill: Option<f64>,
    pub warnings: Vec<Warning>,
    pub direction: Vec<Flagged>,
    /// The shares of each actual band (falling by 2 or more, by 1 to 2, steady, rising) that are said to be in each, the
    /// last of them not known.
    pub signs: Vec<Vec<Option<f64>>>,
    /// False alarms a day and the share of lows warned of ten minutes ahead, over all limits.
    #[serde(skip)]
    pub curve: Vec<(f64, f64)>,
}

/// Off from fingersticks or a laboratory's values, each trace's mean error taken off: what no smoother can mend.
#[derive(Clone, Serialize)]
pub struct Now {
    pub references: u32,
    pub sd_mg_dl: f64,
    pub sd_over_reading: Option<f64>,
}

#[derive(Serialize)]
pub struct Ahead {
    pub minutes: f32,
    pub rmse_mg_dl: Option<f64>,
    pub rmse_over_holding: Option<f64>,
    pub interval_50_holds_percent: Option<f64>,
    pub interval_95_holds_percent: Option<f64>,
}

#[derive(Serialize)]
pub struct Warning {
    pub false_alarms_per_day: f64,
    pub warned_10min_ahead: Option<f64>,
    pub caught: Option<f64>,
}

#[derive(Serialize)]
pub struct Flagged {
    pub steady_flagged_percent: f64,
    pub fast_falls_flagged: Option<f64>,
}

/// How often a kind of alarm rings.
#[derive(Serialize)]
pub struct RingRow {
    pub kind: &'static str,
    pub rings_per_day: f64,
    /// Those from 22:00 to 07:00.
    pub rings_per_night: f64,
    /// Alarms that began, a day.
    pub alarms_per_day: f64,
    /// Of those about lows the share with no reading below 70 mg/dL in the hour after.
    pub without_low_in_an_hour: Option<f64>,
}

/// Sums of one method.
#[derive(Clone, Default)]
struct Tally {
    /// Squares of what it says now less the reference, of the newest reading less the reference, each less its mean over the
    /// trace; and how many.
    now: [f64; 3],
    /// Squares of its errors and of holding, and how many; then what its intervals held, and how many.
    ahead: [[f64; 6]; JUDGED.len()],
    /// Squares of what was said less what came, what came, how many.
    brier: [f64; 3],
    outcomes: Vec<Outcome>,
    /// Rates said while the actual one was steady, and while it fell by 2 or more.
    steady: Vec<f64>,
    fast: Vec<f64>,
    signs: [[f64; BANDS + 1]; BANDS],
}

impl Tally {
    fn of(person: &Person, outlooks: &[Outlook]) -> Self {
        let mut tally = Self { now: off_now(person, outlooks), ..Self::default() };
        for (n, (reading, outlook)) in person.readings.iter().zip(outlooks).enumerate() {
            let now = f64::from(reading.glucose().mg_dl());
            for (sums, horizon) in tally.ahead.iter_mut().zip(JUDGED) {
                let Some(came) = person.later(n, HORIZONS[horizon] as u32 * 60).map(f64::from) else {
                    continue;
                };
                let off = (came - f64::from(outlook.ahead[horizon])).abs();
                let [ours, held, count, half, wide, intervals] = sums;
                *ours += off * off;
                *held += (came - now).powi(2);
                *count += 1.0;
                if let Some([half_width, wide_width]) = outlook.half_widths[horizon] {
                    *half += f64::from(u8::from(off <= f64::from(half_width)));
                    *wide += f64::from(u8::from(off <= f64::from(wide_width)));
                    *intervals += 1.0;
                }
            }
            if let Some(p) = outlook.low_probability.filter(|_| now >= 70.0)
                && let Some(low) = person.low_within(n, 1800)
            {
                let (p, low) = (f64::from(p), f64::from(u8::from(low)));
                tally.brier =
                    [tally.brier[0] + (p - low).powi(2), tally.brier[1] + low, tally.brier[2] + 1.0];
            }
            let Some(actual) = person.actual_rate(n) else { continue };
            let said = f64::from(outlook.direction);
            if actual.abs() < 1.0 {
                tally.steady.push(said);
            } else if actual <= -2.0 {
                tally.fast.push(said);
            }
            tally.signs[band(actual)][outlook.trend.map_or_else(|| band(said), sign)] += 1.0;
        }
        // of lows a greater signal is nearer
        let values = outlooks.iter().map(|outlook| -outlook.low_index).collect();
        let limits: Vec<f32> = LIMITS.map(|limit| -limit as f32).collect();
        tally.outcomes = lows::outcomes(&Signal { person, values }, &limits);
        tally
    }

    fn add(&mut self, other: &Self) {
        add(std::slice::from_mut(&mut self.now), &[other.now]);
        add(&mut self.ahead, &other.ahead);
        add(std::slice::from_mut(&mut self.brier), &[other.brier]);
        self.outcomes.resize(other.outcomes.len().max(self.outcomes.len()), Outcome::default());
        self.outcomes.iter_mut().zip(&other.outcomes).for_each(|(sum, more)| *sum = sum.and(*more));
        self.steady.extend(&other.steady);
        self.fast.extend(&other.fast);
        add(&mut self.signs, &other.signs);
    }

    fn row(mut self, method: &str) -> Row {
        let share = |part: f64, of: f64| (of > 0.0).then(|| part / of);
        let ahead =
            self.ahead.iter().zip(JUDGED).map(|([ours, held, count, half, wide, intervals], horizon)| {
                Ahead {
                    minutes: HORIZONS[horizon],
                    rmse_mg_dl: share(*ours, *count).map(f64::sqrt),
                    rmse_over_holding: share(*ours, *held).map(f64::sqrt),
                    interval_50_holds_percent: share(100.0 * half, *intervals),
                    interval_95_holds_percent: share(100.0 * wide, *intervals),
                }
            });
        let [score, came, count] = self.brier;
        let usual = came / count;
        let warnings = RATES.map(|rate| {
            let shares = lows::at_rate(&self.outcomes, rate);
            Warning {
                false_alarms_per_day: rate,
                warned_10min_ahead: shares.map(|(warned, _)| warned),
                caught: shares.map(|(_, caught)| caught),
            }
        });
        let direction = CRIED.map(|cried| Flagged {
            steady_flagged_percent: 100.0 * cried,
            fast_falls_flagged: (!self.fast.is_empty() && !self.steady.is_empty())
                .then(|| flagged(&mut self.steady, &self.fast, cried)),
        });
        let [off, held, references] = self.now;
        let now = (references > 0.0).then(|| Now {
            references: references as u32,
            sd_mg_dl: (off / references).sqrt(),
            sd_over_reading: share(off, held).map(f64::sqrt),
        });
        Row {
            method: method.to_owned(),
            now,
            curve: lows::curve(&self.outcomes),
            ahead: ahead.collect(),
            brier_skill: (usual > 0.0 && usual < 1.0).then(|| 1.0 - score / count / (usual * (1.0 - usual))),
            warnings: warnings.into(),
            direction: direction.into(),
            signs: self
                .signs
                .iter()
                .map(|row| row.iter().map(|part| share(*part, row.iter().sum())).collect())
                .collect(),
        }
    }
}

/// The first sums of a tally.
fn off_now(person: &Person, outlooks: &[Outlook]) -> [f64; 3] {
    let pairs: Vec<(f64, f64)> = person
        .pairs()
        .map(|(n, blood)| {
            let reading = f64::from(person.readings[n].glucose().mg_dl());
            (f64::from(outlooks[n].now) - blood, reading - blood)
        })
        .collect();
    let count = pairs.len() as f64;
    // of one alone nothing is left once the mean is taken off
    if pairs.len() < 2 {
        return [0.0; 3];
    }
    let squares = |of: fn(&(f64, f64)) -> f64| {
        let mean = pairs.iter().map(of).sum::<f64>() / count;
        pairs.iter().map(|pair| (of(pair) - mean).powi(2)).sum()
    };
    [squares(|pair| pair.0), squares(|pair| pair.1), count]
}

/// Adds sums to sums, each to its own.
fn add<const N: usize>(sums: &mut [[f64; N]], more: &[[f64; N]]) {
    let places = sums.iter_mut().flatten().zip(more.iter().flatten());
    places.for_each(|(sum, more)| *sum += more);
}

/// The band of a rate.
fn band(rate: f64) -> usize {
    match rate {
        ..=-2.0 => 0,
        ..=-1.0 => 1,
        2.0.. => 4,
        1.0.. => 3,
        _ => 2,
    }
}

fn sign(trend: Trend) -> usize {
    match trend {
        Trend::Falling(Pace::Fast) => 0,
        Trend::Falling(Pace::Moderate) => 1,
        Trend::Steady => 2,
        Trend::Rising(Pace::Moderate) => 3,
        Trend::Rising(Pace::Fast) => 4,
        Trend::NotKnown => UNKNOWN,
    }
}

/// How often each kind rang: all rings, those of the night, alarms that began, those of them without a low after.
#[derive(Clone, Copy, Default)]
struct Rung([[f64; 4]; Kind::COUNT]);

impl Rung {
    fn of(person: &Person) -> Result<Self, Failure> {
        let trace =
            Trace { readings: person.readings.clone(), clock: person.clock.clone(), ..Trace::default() };
        let played = played::play(&trace, &[], Settings::default())?;
        let mut rung = Self::default();
        for rang in &played.alarms {
            let [rings, nightly, begun, without] = &mut rung.0[rang.kind as usize];
            *rings += 1.0;
            *nightly += f64::from(u8::from(person.rings_by_night(rang.at.secs())));
            if rang.cause == Cause::New {
                *begun += 1.0;
                let from = person.readings.partition_point(|reading| reading.at() < rang.at);
                let mut hour_after = person.readings[from.saturating_sub(1)..]
                    .iter()
                    .take_while(|reading| reading.at().secs() <= rang.at.secs().saturating_add(HOUR_S));
                *without += f64::from(u8::from(!hour_after.any(|reading| reading.glucose().mg_dl() < 70.0)));
            }
        }
        Ok(rung)
    }

    fn add(&mut self, other: &Self) {
        add(&mut self.0, &other.0);
    }

    fn rows(&self, days: f64) -> Vec<RingRow> {
        let a_day = |count: f64| count / days.max(1e-9);
        let kinds = Kind::ALL.into_iter().zip(self.0).filter(|(_, [rings, ..])| *rings > 0.0);
        kinds
            .map(|(kind, [rings, nightly, begun, without])| RingRow {
                kind: kind.name(),
                rings_per_day: a_day(rings),
                rings_per_night: a_day(nightly),
                alarms_per_day: a_day(begun),
                without_low_in_an_hour: (kind.about().of_lows && begun > 0.0).then(|| without / begun),
            })
            .collect()
    }
}

/// The sums of some people, a tally for each method.
#[derive(Clone, Default)]
struct Sums {
    people: usize,
    days: f64,
    tallies: Vec<Tally>,
    rung: Rung,
}

impl Sums {
    fn of(person: &Person, methods: &[Entry]) -> Result<Self, Failure> {
        let one = |entry: &Entry| {
            let mut method = (entry.new)();
            let outlooks: Vec<Outlook> = person.readings.iter().map(|reading| method.step(reading)).collect();
            Tally::of(person, &outlooks)
        };
        Ok(Self {
            people: 1,
            days: person.days(),
            tallies: methods.iter().map(one).collect(),
            rung: Rung::of(person)?,
        })
    }

    fn add(&mut self, other: &Self) {
        self.people += other.people;
        self.days += other.days;
        self.tallies.resize(other.tallies.len().max(self.tallies.len()), Tally::default());
        self.tallies.iter_mut().zip(&other.tallies).for_each(|(sum, more)| sum.add(more));
        self.rung.add(&other.rung);
    }

    fn report(self, set: &str, methods: &[Entry]) -> SetReport {
        let lows = self.tallies.first().and_then(|tally| tally.outcomes.first()).map_or(0, |o| o.lows);
        SetReport {
            set: set.to_owned(),
            people: self.people,
            days: self.days,
            lows,
            methods: self.tallies.into_iter().zip(methods).map(|(tally, e)| tally.row(&e.name)).collect(),
            rings: self.rung.rows(self.days),
        }
    }
}

/// Ranks `methods` on the people in the folders.
pub fn rank(args: &Args, methods: &[Entry]) -> Result<Report, Failure> {
    let sets = load::sets(&args.traces, &args.input)?;
    let people: usize = sets.iter().map(|set| set.people.len()).sum();
    let progress = Progress::new("ranking on recorded people", people as u64);
    let done = AtomicU64::new(0);
    let (mut all, mut reports) = (Sums::default(), Vec::new());
    for set in &sets {
        let each = set.people.par_iter().map(|person| {
            let sums = Sums::of(person, methods);
            progress.at(done.fetch_add(1, Ordering::Relaxed) + 1);
            sums
        });
        // added in order, so that the figures are the same every time
        let each: Vec<Sums> = each.collect::<Result<_, _>>()?;
        let mut sums = Sums::default();
        each.iter().for_each(|one| sums.add(one));
        all.add(&sums);
        reports.push(sums.report(&set.name, methods));
    }
    let on = format!(
        "{people} recorded traces of {}, {:.0} days; the truth is what the same sensor reads later",
        crate::table::count(sets.len() as u64, "set"),
        all.days
    );
    reports.push(all.report(ALL, methods));
    Ok(Report { on, sets: reports, likeness: likeness::beside(&sets, args.people, args.days) })
}

/// A table: caption, heads, rows.
pub type Table = (String, Vec<String>, Vec<Vec<String>>);

fn shown(value: Option<f64>, digits: usize) -> String {
    value.map_or_else(|| "-".into(), |value| format!("{value:.digits$}"))
}

/// The tables of a set.
pub fn tables(set: &SetReport, unit: Unit) -> Vec<Table> {
    let words = |words: &[&str]| words.iter().map(|word| (*word).to_owned()).collect::<Vec<_>>();
    let mut head = words(&["method", "now", "15 min", "30 min", "60 min", "Brier skill"]);
    head.extend(RATES.iter().map(|rate| format!("warned/caught at {rate}")));
    head.extend(CRIED.iter().map(|cried| format!("falls at {:.1} %", 100.0 * cried)));
    let rows = set.methods.iter().map(|row| {
        let now = shown(row.now.as_ref().and_then(|now| now.sd_over_reading), 3);
        let mut cells = vec![row.method.clone(), now];
        cells.extend(row.ahead.iter().map(|ahead| shown(ahead.rmse_over_holding, 3)));
        cells.push(shown(row.brier_skill, 3));
        let pair = |w: &Warning| format!("{}/{}", shown(w.warned_10min_ahead, 2), shown(w.caught, 2));
        cells.extend(row.warnings.iter().map(pair));
        cells.extend(row.direction.iter().map(|flagged| shown(flagged.fast_falls_flagged, 3)));
        cells
    });
    let caption = format!(
        "{}: {}, {:.0} days, {} lows. Error over that of the newest reading: now, against fingersticks or a laboratory's values \
         with each trace's mean error taken off, and ahead (root mean square); Brier skill of a low within 30 min; lows warned of 10 min ahead / caught at so many false alarms a day; fast falls flagged when so many \
         steady moments are",
        set.set,
        crate::table::count(set.people as u64, "trace"),
        set.days,
        set.lows
    );
    let mut tables = vec![(caption, head, rows.collect())];

    let telling =
        set.methods.iter().filter(|row| row.ahead.iter().any(|a| a.interval_95_holds_percent.is_some()));
    let rows: Vec<Vec<String>> = telling
        .map(|row| {
            let pair = |ahead: &Ahead| {
                let [half, wide] = [ahead.interval_50_holds_percent, ahead.interval_95_holds_percent];
                format!("{} / {}", shown(half, 1), shown(wide, 1))
            };
            std::iter::once(row.method.clone()).chain(row.ahead.iter().map(pair)).collect()
        })
        .collect();
    if !rows.is_empty() {
        let caption = "What the intervals for 50 and 95 % held, %".to_owned();
        tables.push((caption, words(&["method", "15 min", "30 min", "60 min"]), rows));
    }

    let names = ["falling fast", "falling", "steady", "rising", "rising fast"];
    let mut rows = Vec::new();
    for row in &set.methods {
        for (name, shares) in names.iter().zip(&row.signs) {
            let mut cells = vec![row.method.clone(), (*name).to_owned()];
            cells.extend(shares.iter().map(|share| shown(share.map(|share| 100.0 * share), 1)));
            rows.push(cells);
        }
    }
    let caption = format!(
        "The sign said, % of the moments whose actual rate is in each band (edges at {}/min)",
        unit.either("1 and 2", "0.06 and 0.11")
    );
    let mut head = words(&["method", "actually"]);
    head.extend(words(&names));
    head.push("not known".into());
    tables.push((caption, head, rows));

    let rows = set.rings.iter().map(|ring| {
        vec![
            ring.kind.replace('_', " "),
            format!("{:.2}", ring.rings_per_day),
            format!("{:.2}", ring.rings_per_night),
            format!("{:.2}", ring.alarms_per_day),
            shown(ring.without_low_in_an_hour.map(|share| 100.0 * share), 0),
        ]
    });
    let caption = "Rings of the monitor as shipped, each acknowledged; a night is 22:00 to 07:00";
    let head =
        words(&["kind", "rings a day", "rings a night", "alarms a day", "without a low in the hour, %"]);
    tables.push((caption.to_owned(), head, rows.collect()));
    tables
}

/// A table as text, its columns under one another.
pub fn as_text((caption, head, rows): &Table) -> String {
    let width = |n: usize| {
        std::iter::once(head).chain(rows).filter_map(|row| row.get(n)).map(|c| c.chars().count()).max()
    };
    let widths: Vec<usize> = (0..head.len()).map(|n| width(n).unwrap_or(0)).collect();
    let mut text = format!("\n{caption}\n");
    for row in std::iter::once(head).chain(rows) {
        let cells = row.iter().zip(&widths).enumerate();
        let cells =
            cells.map(|(n, (cell, w))| if n == 0 { format!("{cell:w$}") } else { format!("{cell:>w$}") });
        text += &(cells.collect::<Vec<_>>().join("  ") + "\n");
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;
    use glidepath::{Fingerstick, Glucose, Instant, Reading};

    #[test]
    fn a_sensor_that_is_off_by_as_much_everywhere_is_not_the_smoothers_fault() {
        let glucose = |mg_dl| Glucose::from_mg_dl(mg_dl).unwrap();
        let at = |n: u32| Instant::from_secs(300 * n);
        let level = |n: u32| 120.0 + (n % 5) as f32;
        let mut person = Person {
            set: String::new(),
            name: String::new(),
            readings: (0..60).map(|n| Reading::new(at(n), glucose(level(n)))).collect(),
            references: (10..60).map(|n| Fingerstick::new(at(n), glucose(level(n) - 30.0))).collect(),
            clock: crate::table::Clock::default(),
        };
        let outlooks = |off: f32| {
            (0..60).map(|n| Outlook::held(level(n) + off * (n % 2) as f32, 0.0)).collect::<Vec<_>>()
        };
        assert_eq!(off_now(&person, &outlooks(0.0)), [0.0, 0.0, 50.0]);
        // half of them off by eight more: four from their mean
        let [ours, held, count] = off_now(&person, &outlooks(8.0));
        assert!((ours - 50.0 * 16.0).abs() < 1e-3 && held == 0.0 && count == 50.0, "{ours}");
        // one alone tells nothing
        person.references.truncate(1);
        assert_eq!(off_now(&person, &outlooks(8.0)), [0.0; 3]);
    }
}
