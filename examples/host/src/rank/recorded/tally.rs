//! What one method said on one person, as sums that add up over people.

use super::{Ahead, Flagged, Now, Row, Warning};
use crate::people::Person;
use crate::people::least::{CRIED, flagged};
use crate::people::lows::{self, Outcome, RATES, Signal};
use crate::rank::HORIZONS;
use crate::rank::method::Outlook;
use glidepath::trend::{Pace, Trend};

/// Where the horizons judged stand in [`HORIZONS`].
const JUDGED: [usize; 3] = [0, 1, 3];
/// The low index is compared with these limits, mg/dL.
const LIMITS: std::ops::Range<i32> = -160..200;
/// Bands of the actual rate, and of the sign: falling fast, falling, steady, rising, rising fast.
const BANDS: usize = 5;
/// Nobody can tell the sign.
const UNKNOWN: usize = BANDS;

/// Sums of one method.
#[derive(Clone, Default)]
pub struct Tally {
    /// Squares of what it says now less the reference, of the newest reading less the reference, each less its mean over the
    /// trace; and how many.
    now: [f64; 3],
    /// Squares of its errors and of holding, and how many; then what its intervals held, and how many.
    ahead: [[f64; 6]; JUDGED.len()],
    /// Squares of what was said less what came, what came, how many.
    brier: [f64; 3],
    pub outcomes: Vec<Outcome>,
    /// Rates said while the actual one was steady, and while it fell by 2 or more.
    steady: Vec<f64>,
    fast: Vec<f64>,
    signs: [[f64; BANDS + 1]; BANDS],
}

impl Tally {
    pub fn of(person: &Person, outlooks: &[Outlook]) -> Self {
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

    pub fn add(&mut self, other: &Self) {
        add(std::slice::from_mut(&mut self.now), &[other.now]);
        add(&mut self.ahead, &other.ahead);
        add(std::slice::from_mut(&mut self.brier), &[other.brier]);
        self.outcomes.resize(other.outcomes.len().max(self.outcomes.len()), Outcome::default());
        self.outcomes.iter_mut().zip(&other.outcomes).for_each(|(sum, more)| *sum = sum.and(*more));
        self.steady.extend(&other.steady);
        self.fast.extend(&other.fast);
        add(&mut self.signs, &other.signs);
    }

    pub fn row(mut self, method: &str) -> Row {
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
pub fn add<const N: usize>(sums: &mut [[f64; N]], more: &[[f64; N]]) {
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
