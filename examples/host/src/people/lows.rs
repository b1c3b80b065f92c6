//! Lows, and what an alarm by a signal would have done about them.

use super::Person;

/// What an alarm compares with its limit, at each reading of a person; not a number where it says nothing.
pub struct Signal<'a> {
    pub person: &'a Person,
    pub values: Vec<f32>,
}

/// How alarms at one limit did.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Outcome {
    pub lows: u32,
    /// At or over the limit at some moment from 60 to 10 minutes before.
    pub warned: u32,
    /// From 60 minutes before to the first reading.
    pub caught: u32,
    /// Crossings with no reading under 70 mg/dL at the time or in the hour after.
    pub false_alarms: u32,
    pub days: f64,
}

impl Outcome {
    pub fn false_per_day(&self) -> f64 {
        f64::from(self.false_alarms) / self.days.max(1e-9)
    }

    fn share(&self, count: u32) -> f64 {
        f64::from(count) / f64::from(self.lows.max(1))
    }

    pub fn warned_share(&self) -> f64 {
        self.share(self.warned)
    }

    pub fn caught_share(&self) -> f64 {
        self.share(self.caught)
    }

    pub fn and(self, other: Self) -> Self {
        Self {
            lows: self.lows + other.lows,
            warned: self.warned + other.warned,
            caught: self.caught + other.caught,
            false_alarms: self.false_alarms + other.false_alarms,
            days: self.days + other.days,
        }
    }
}

/// False alarms a day at which warnings are compared.
pub const RATES: [f64; 3] = [0.3, 0.6, 1.0];

/// An alarm is armed anew, and a low is a new one, after so long without.
const QUIET_S: u32 = 1800;
const HOUR_S: u32 = 3600;
const AHEAD_S: u32 = 600;

/// Of alarms at each of `limits`.
pub fn outcomes(signal: &Signal<'_>, limits: &[f32]) -> Vec<Outcome> {
    let readings = &signal.person.readings;
    let at = |n: usize| readings[n].at().secs();
    let low: Vec<u32> =
        (0..readings.len()).filter(|n| readings[*n].glucose().mg_dl() < 70.0).map(at).collect();
    let mut starts: Vec<u32> = Vec::new();
    for (k, time) in low.iter().enumerate() {
        if k == 0 || time - low[k - 1] > QUIET_S {
            starts.push(*time);
        }
    }
    let greatest = |from: u32, until: u32| {
        let begin = readings.partition_point(|reading| reading.at().secs() < from);
        let end = readings.partition_point(|reading| reading.at().secs() <= until);
        signal.values[begin..end].iter().copied().filter(|value| value.is_finite()).fold(f32::MIN, f32::max)
    };
    let before: Vec<(f32, f32)> = starts
        .iter()
        .map(|start| {
            let hour = start.saturating_sub(HOUR_S);
            (greatest(hour, start.saturating_sub(AHEAD_S)), greatest(hour, *start))
        })
        .collect();
    let followed: Vec<bool> = (0..readings.len())
        .map(|n| {
            low.get(low.partition_point(|time| *time < at(n))).is_some_and(|time| time - at(n) <= HOUR_S)
        })
        .collect();
    let days = signal.person.days();
    let one = |limit: &f32| {
        let (mut last, mut false_alarms) = (None, 0);
        for (n, value) in signal.values.iter().enumerate().filter(|(_, value)| **value >= *limit) {
            let _ = value;
            if last.is_none_or(|last| at(n) - last > QUIET_S) && !followed[n] {
                false_alarms += 1;
            }
            last = Some(at(n));
        }
        let count = |of: fn(&(f32, f32)) -> f32| before.iter().filter(|b| of(b) >= *limit).count() as u32;
        Outcome {
            lows: starts.len() as u32,
            warned: count(|b| b.0),
            caught: count(|b| b.1),
            false_alarms,
            days,
        }
    };
    limits.iter().map(one).collect()
}

/// Shares warned and caught at so many false alarms a day, between the limits on either side; `pooled` is in order of the
/// limit. The strictest side is where the least is caught; an alarm that is always on has no false ones and is never got
/// to, as limits are loosened until there are as many as asked for.
pub fn at_rate(pooled: &[Outcome], per_day: f64) -> Option<(f64, f64)> {
    let order = loosened(pooled);
    let after = order.iter().position(|outcome| outcome.false_per_day() >= per_day)?;
    let (low, high) = (order.get(after.checked_sub(1)?)?, order.get(after)?);
    let part = (per_day - low.false_per_day()) / (high.false_per_day() - low.false_per_day()).max(1e-9);
    let mix = |of: fn(&Outcome) -> f64| of(low) + part * (of(high) - of(low));
    Some((mix(Outcome::warned_share), mix(Outcome::caught_share)))
}

/// The outcomes from the strictest limit on.
fn loosened(pooled: &[Outcome]) -> Vec<&Outcome> {
    let heard = |outcome: Option<&Outcome>| outcome.map(|outcome| outcome.warned + outcome.caught);
    let mut order: Vec<&Outcome> = pooled.iter().collect();
    if heard(pooled.first()) > heard(pooled.last()) {
        order.reverse();
    }
    order
}

/// False alarms a day and the share warned of, from the strictest limit on; `pooled` as in [`at_rate`]. It ends where looser
/// limits give fewer false alarms, for there the alarm is nearly always on.
pub fn curve(pooled: &[Outcome]) -> Vec<(f64, f64)> {
    let order = loosened(pooled);
    let most = order.iter().map(|outcome| outcome.false_alarms).max().unwrap_or(0);
    let end = order.iter().position(|outcome| outcome.false_alarms == most).map_or(0, |place| place + 1);
    let told = order[..end].iter().filter(|outcome| outcome.lows > 0);
    told.map(|outcome| (outcome.false_per_day(), outcome.warned_share())).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_alarm_that_is_always_on_is_not_taken_for_one_without_false_alarms() {
        let at = |warned, false_alarms| Outcome { lows: 10, warned, caught: 10, false_alarms, days: 10.0 };
        let mut pooled = [at(0, 0), at(2, 2), at(6, 6), at(9, 20), at(10, 1)];
        let (warned, caught) = at_rate(&pooled, 0.4).unwrap();
        assert!((warned - 0.4).abs() < 1e-9 && (caught - 1.0).abs() < 1e-9);
        pooled.reverse();
        assert!((at_rate(&pooled, 0.4).unwrap().0 - 0.4).abs() < 1e-9);
        assert_eq!(at_rate(&pooled, 3.0), None);
        let rising = [(0.0, 0.0), (0.2, 0.2), (0.6, 0.6), (2.0, 0.9)];
        assert_eq!(curve(&pooled), rising);
        pooled.reverse();
        assert_eq!(curve(&pooled), rising);
        assert_eq!(curve(&[Outcome { days: 1.0, ..Outcome::default() }]), [], "no lows");
    }
}
