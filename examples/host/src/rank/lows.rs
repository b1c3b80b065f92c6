//! Were lows foretold? Events, not readings.
//!
//! A low: plasma glucose under 70 mg/dL for 15 minutes or more, over when it has been at 70 or above for 15
//! (the consensus' definition of a level 1 event, T. Battelino et al., Diabetes Care 42:1593, 2019). An alarm begins
//! when the method's index falls under its limit, and can begin again once the index has been 8 mg/dL above it.
//! A low counts as caught when an alarm began in the hour before it, and ten minutes ahead when one did at least
//! ten minutes before. The lead is from the first such alarm to the low, negative for the first alarm during it.
//! An alarm is false when glucose is not under 70 mg/dL at
//! any time in the hour after it, not even briefly.

/// How far above its limit the index re-arms, mg/dL.
const HYSTERESIS: f32 = 8.0;
/// How long before a low an alarm still belongs to it, minutes.
const WINDOW: i64 = 60;
/// How long it takes to be an event, minutes.
const LASTING: usize = 15;
pub const LEVEL: f32 = 70.0;

/// The lows of a minute-by-minute truth: first minute, and first minute after.
pub fn events(plasma: &[f32]) -> Vec<(i64, i64)> {
    let mut events = Vec::new();
    let (mut begun, mut run) = (None, 0);
    for (minute, value) in plasma.iter().enumerate() {
        let low = *value < LEVEL;
        // towards the other state: a low if there is none, its end if there is one
        run = if low == begun.is_some() || value.is_nan() { 0 } else { run + 1 };
        if run == LASTING {
            let first = (minute + 1 - LASTING) as i64;
            match begun.take() {
                None => begun = Some(first),
                Some(start) => events.push((start, first)),
            }
            run = 0;
        }
    }
    events
}

/// What a method's index was, minute by minute of its readings, and the truth it is held against.
pub struct Watch {
    pub index: Vec<(i64, f32)>,
    pub events: Vec<(i64, i64)>,
    /// For each minute, how many minutes until glucose is next under 70 mg/dL.
    pub until_low: Vec<u16>,
    pub days: f64,
}

/// How long until the truth is next low, minute by minute.
pub fn until_low(plasma: &[f32]) -> Vec<u16> {
    let mut until = vec![u16::MAX; plasma.len()];
    let mut next = u16::MAX;
    for (value, until) in plasma.iter().zip(&mut until).rev() {
        next = if *value < LEVEL { 0 } else { next.saturating_add(1) };
        *until = next;
    }
    until
}

/// How alarms at one limit did.
#[derive(Clone, Debug, Default)]
pub struct Outcome {
    pub lows: usize,
    pub caught: usize,
    pub caught_10: usize,
    pub false_alarms: usize,
    pub days: f64,
    /// Minutes from alarm to low; minus infinity for a low without one.
    leads: Vec<f64>,
}

impl Outcome {
    pub fn false_per_day(&self) -> f64 {
        self.false_alarms as f64 / self.days.max(1e-9)
    }

    pub fn share(&self, caught: usize) -> Option<f64> {
        (self.lows > 0).then(|| caught as f64 / self.lows as f64)
    }

    /// The median over all lows; none when half of them or more went without an alarm.
    pub fn median_lead(&self) -> Option<f64> {
        let mut leads = self.leads.clone();
        leads.sort_by(f64::total_cmp);
        leads.get(leads.len() / 2).copied().filter(|lead| lead.is_finite())
    }
}

/// Alarms at `limit` over all watches.
pub fn judge(watches: &[Watch], limit: f32) -> Outcome {
    let mut outcome = Outcome::default();
    for watch in watches {
        outcome.days += watch.days;
        outcome.lows += watch.events.len();
        let alarms = alarms(&watch.index, limit);
        for &(start, end) in &watch.events {
            let before = alarms.iter().find(|alarm| (start - WINDOW..=start).contains(*alarm));
            let during = || alarms.iter().find(|alarm| (start..end).contains(*alarm));
            if let Some(alarm) = before {
                outcome.caught += 1;
                outcome.caught_10 += usize::from(start - alarm >= 10);
            }
            outcome
                .leads
                .push(before.or_else(during).map_or(f64::NEG_INFINITY, |alarm| (start - alarm) as f64));
        }
        outcome.false_alarms += alarms
            .iter()
            .filter(|&&alarm| {
                let until = usize::try_from(alarm).ok().and_then(|minute| watch.until_low.get(minute));
                until.is_none_or(|until| i64::from(*until) > WINDOW)
            })
            .count();
    }
    outcome
}

/// The minutes at which alarms begin.
fn alarms(index: &[(i64, f32)], limit: f32) -> Vec<i64> {
    let mut armed = true;
    let mut alarms = Vec::new();
    for &(minute, value) in index {
        if armed && value < limit {
            alarms.push(minute);
            armed = false;
        } else if value > limit + HYSTERESIS {
            armed = true;
        }
    }
    alarms
}

/// The highest limit with no more than `per_day` false alarms, and how it did.
pub fn at_rate(watches: &[Watch], per_day: f64) -> (f32, Outcome) {
    // false alarms grow with the limit, but for small steps back: look from below
    let mut found = (-200.0, judge(watches, -200.0));
    let mut step = 16.0;
    while step > 0.2 {
        loop {
            let limit = found.0 + step;
            let outcome = judge(watches, limit);
            if limit > 300.0 || outcome.false_per_day() > per_day {
                break;
            }
            found = (limit, outcome);
        }
        step *= 0.5;
    }
    found
}

/// What alarms at each of many limits cost and do: false alarms a day, and the share of lows foretold ten minutes ahead.
pub fn by_limit(watches: &[Watch]) -> Vec<(f64, f64)> {
    let limits = (0..=1000).map(|n| -200.0 + 0.5 * n as f32);
    let outcomes = limits.map(|limit| judge(watches, limit));
    outcomes
        .filter_map(|outcome| Some((outcome.false_per_day(), outcome.share(outcome.caught_10)?)))
        .collect()
}

#[cfg(test)]
mod tests {
    use super::super::head::rising;
    use super::*;

    /// 100 but for 60 in the given stretches.
    fn plasma(lows: &[(usize, usize)]) -> Vec<f32> {
        (0..1000)
            .map(|m| if lows.iter().any(|(a, b)| (*a..*b).contains(&m)) { 60.0 } else { 100.0 })
            .collect()
    }

    #[test]
    fn events_last_a_quarter_of_an_hour() {
        assert_eq!(events(&plasma(&[(100, 114)])), []);
        assert_eq!(events(&plasma(&[(100, 115)])), [(100, 115)]);
        // a break of fourteen minutes does not end it
        assert_eq!(events(&plasma(&[(100, 120), (134, 140)])), [(100, 140)]);
        assert_eq!(events(&plasma(&[(100, 120), (135, 150)])), [(100, 120), (135, 150)]);
    }

    #[test]
    fn alarms_are_early_late_false_or_missing() {
        let watch = |alarm_minutes: &[i64], lows: &[(usize, usize)]| Watch {
            index: (0..1000).map(|m| (m, if alarm_minutes.contains(&m) { 50.0 } else { 90.0 })).collect(),
            events: events(&plasma(lows)),
            until_low: until_low(&plasma(lows)),
            days: 0.5,
        };
        let lows = [(200, 230), (400, 430), (600, 630), (800, 830)];
        let outcome = judge(&[watch(&[100, 170, 391, 610], &lows)], 70.0);
        assert_eq!((outcome.lows, outcome.caught, outcome.caught_10), (4, 2, 1));
        assert_eq!(outcome.false_alarms, 1);
        assert_eq!(outcome.false_per_day(), 2.0);
        assert_eq!(outcome.leads, [30.0, 9.0, -10.0, f64::NEG_INFINITY]);
        assert_eq!(outcome.median_lead(), Some(9.0));
    }

    #[test]
    fn more_false_alarms_never_show_fewer_lows() {
        let mut seed = 7_u32;
        let mut random = || {
            seed = seed.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            (seed >> 24) as f32
        };
        let plasma = plasma(&[(200, 230), (400, 430), (600, 630), (800, 830)]);
        let index = (0..1000).map(|m| (m, 40.0 + random() * 0.3)).collect();
        let watch =
            Watch { index, events: events(&plasma), until_low: until_low(&plasma), days: 1000.0 / 1440.0 };
        let points = rising(by_limit(&[watch]), 100.0);
        assert!(points.len() > 2, "{points:?}");
        assert!(points.windows(2).all(|pair| pair[0].0 < pair[1].0 && pair[0].1 <= pair[1].1), "{points:?}");
        assert_eq!(points.last().map(|last| last.0), Some(100.0));
    }

    #[test]
    fn the_index_must_rise_well_above_before_the_next_alarm() {
        let index: Vec<(i64, f32)> = [80.0, 69.0, 77.0, 69.0, 78.5, 69.0]
            .into_iter()
            .enumerate()
            .map(|(i, v)| (i as i64, v))
            .collect();
        assert_eq!(alarms(&index, 70.0), [1, 5]);
    }

    #[test]
    fn the_limit_is_as_high_as_the_rate_allows() {
        let watch = Watch {
            index: (0..1000)
                .map(|m| (m * 20, if m % 2 == 0 { 150.0 } else { 60.0 + m as f32 / 20.0 }))
                .collect(),
            events: Vec::new(),
            until_low: Vec::new(),
            days: 10.0,
        };
        let (limit, outcome) = at_rate(&[watch], 5.0);
        assert!(outcome.false_alarms <= 50 && outcome.false_alarms >= 45, "{limit} {outcome:?}");
        assert!((limit - 65.0).abs() < 0.5, "{limit}");
    }
}
