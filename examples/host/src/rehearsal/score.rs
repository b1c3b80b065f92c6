//! How often alarms would have rung, how many were true, and how much warning they gave.
//!
//! One alarm is a first ring ([`Cause::New`]). An alarm of the low family is **true** when a low (below 70 mg/dL
//! for 15 minutes or more, by the sensor's own readings) holds then or begins within the window after it; one of
//! the high family likewise with a high (above 180 mg/dL for 15 minutes or more). The **warning** of a low is
//! counted by [`lows`]. Nobody can say from a trace alone which readings were wrong: a false
//! reading makes its alarm look true.

use std::collections::BTreeSet;

use glidepath::alarm::{Cause, Kind};
use glidepath::review::EpisodeRule;
use glidepath::{Instant, Reading, Span};
use serde::Serialize;

use crate::median::median;
use crate::played::lows;
use crate::played::sample::Rang;
use crate::table::Clock;

/// What one set of settings would have done.
#[derive(Clone, Debug, Serialize)]
pub struct Score {
    /// Minutes within which a low must follow.
    pub window_min: u32,
    /// Days with readings: the time they cover.
    pub days: f64,
    /// Nights with readings, from 22:00 to 07:00 on the wearer's clock.
    pub nights: u64,
    /// Nights in which anything rang.
    pub nights_woken: u64,
    pub lows: u64,
    /// Lows about which an alarm rang before they began, and ten minutes or more before.
    pub lows_warned: u64,
    pub lows_warned_10_min: u64,
    /// Half of the lows with any alarm had this much warning, or more.
    pub median_warning_min: Option<f64>,
    pub alarms_per_day: Option<f64>,
    pub kinds: Vec<KindScore>,
}

/// The same for one kind.
#[derive(Clone, Debug, Serialize)]
pub struct KindScore {
    pub kind: &'static str,
    /// Alarms: first rings.
    pub alarms: u64,
    /// All rings, repeats included.
    pub rings: u64,
    pub alarms_per_day: Option<f64>,
    /// Null for kinds that no glucose can prove.
    pub true_alarms: Option<u64>,
    pub false_alarms: Option<u64>,
    pub false_per_day: Option<f64>,
    /// Over the true alarms of the low family.
    pub median_warning_min: Option<f64>,
    /// Rings by hour of the wearer's day.
    pub by_hour: [u32; 24],
}

/// A stretch of time.
type Stretch = (Instant, Instant);

/// Scores alarms against the believed readings they rang by, both in order of time.
pub fn score(readings: &[Reading], alarms: &[Rang], interval_s: u32, clock: &Clock, window: Span) -> Score {
    let lows = lows::find(readings, EpisodeRule::LOW_70, interval_s, alarms, window);
    let low: Vec<Stretch> = lows.iter().map(|low| (low.start, low.end)).collect();
    let high = stretches(readings, EpisodeRule::HIGH_180, interval_s);
    let longest = f64::from(interval_s) * 3.5;
    let steps = readings.windows(2).map(|pair| f64::from(pair[1].at().since(pair[0].at()).secs()));
    let days = (steps.map(|step| step.min(longest)).sum::<f64>() + f64::from(interval_s)) / 86_400.0;
    let days = if readings.is_empty() { 0.0 } else { days };
    let a_day = |n: u64| (days > 0.0).then(|| round(n as f64 / days, 3));
    let kinds = Kind::ALL
        .into_iter()
        .map(|kind| {
            let rings: Vec<&Rang> = alarms.iter().filter(|rang| rang.kind == kind).collect();
            let first: Vec<Instant> =
                rings.iter().filter(|rang| rang.cause == Cause::New).map(|rang| rang.at).collect();
            let of_lows = kind.about().of_lows;
            let stretches = match kind {
                Kind::High | Kind::SteepRise => Some(&high),
                _ => Some(&low).filter(|_| of_lows),
            };
            let true_alarms = stretches.map(|stretches| {
                first.iter().filter(|at| followed(stretches, **at, window).is_some()).count() as u64
            });
            let false_alarms = true_alarms.map(|n| first.len() as u64 - n);
            let until_low = |at: &Instant| Some(minutes(*at, followed(&low, *at, window)?.0));
            let about_lows = first.iter().filter(|_| of_lows);
            let warnings = about_lows.filter_map(until_low).collect();
            let mut by_hour = [0; 24];
            for rang in &rings {
                by_hour[clock.hour(rang.at.secs().into()) as usize] += 1;
            }
            KindScore {
                kind: kind.name(),
                alarms: first.len() as u64,
                rings: rings.len() as u64,
                alarms_per_day: a_day(first.len() as u64),
                true_alarms,
                false_alarms,
                false_per_day: false_alarms.and_then(a_day),
                median_warning_min: median(warnings).map(|minutes| round(minutes, 1)),
                by_hour,
            }
        })
        .collect();
    let warned = lows::warned(&lows);
    let warnings = lows.iter().filter_map(|low| low.warned_min().map(f64::from)).collect();
    let all = alarms.iter().filter(|rang| rang.cause == Cause::New).count() as u64;
    Score {
        window_min: (window.secs() / 60).unsigned_abs(),
        days: round(days, 2),
        nights: nights(readings.iter().map(Reading::at), clock),
        nights_woken: nights(alarms.iter().map(|rang| rang.at), clock),
        lows: lows.len() as u64,
        lows_warned: warned.before,
        lows_warned_10_min: warned.ten_min_before,
        median_warning_min: median(warnings).map(|minutes| round(minutes, 1)),
        alarms_per_day: a_day(all),
        kinds,
    }
}

impl Score {
    /// The score of a kind, by its fixed name.
    pub fn kind(&self, name: &str) -> Option<&KindScore> {
        self.kinds.iter().find(|kind| kind.kind == name)
    }

    /// Alarms of the low family that no low followed, a day.
    pub fn false_low_per_day(&self) -> f64 {
        let names = [Kind::Floor, Kind::Low, Kind::LowAhead, Kind::SteepFall].map(Kind::name);
        names.into_iter().filter_map(|name| self.kind(name)?.false_per_day).sum()
    }
}

/// From when to when each episode of a kind lasted.
fn stretches(readings: &[Reading], rule: EpisodeRule, interval_s: u32) -> Vec<Stretch> {
    lows::episodes(readings, rule, interval_s).iter().map(|episode| (episode.start, episode.end)).collect()
}

/// The episode that holds at `at` or begins within `window` after it.
fn followed(stretches: &[Stretch], at: Instant, window: Span) -> Option<&Stretch> {
    let next = stretches.partition_point(|(_, end)| *end < at);
    stretches.get(next).filter(|(start, _)| *start <= at.plus(window))
}

fn minutes(from: Instant, to: Instant) -> f64 {
    f64::from(to.since(from).secs()) / 60.0
}

/// How many nights hold one of `moments`.
fn nights(moments: impl Iterator<Item = Instant>, clock: &Clock) -> u64 {
    moments.filter_map(|at| clock.night(at.secs().into())).collect::<BTreeSet<_>>().len() as u64
}

fn round(value: f64, digits: i32) -> f64 {
    let power = 10f64.powi(digits);
    (value * power).round() / power
}

#[cfg(test)]
mod tests {
    use super::*;
    use glidepath::Glucose;
    use glidepath::alarm::{Grounds, Priority};

    fn at(minute: u32) -> Instant {
        Instant::from_secs(minute * 60)
    }

    /// Ten hours at 120 mg/dL with a low from minute 100 to 130 and one at the end.
    fn trace() -> Vec<Reading> {
        let low = |m: &u32| (100..130).contains(m) || *m >= 580;
        let value = |m: u32| if low(&m) { 60.0 } else { 120.0 };
        (0..600).step_by(5).map(|m| Reading::new(at(m), Glucose::from_mg_dl(value(m)).unwrap())).collect()
    }

    fn rang(minute: u32, kind: Kind, cause: Cause) -> Rang {
        Rang { at: at(minute), kind, priority: Priority::Medium, cause, grounds: Grounds::Unknown }
    }

    #[test]
    fn true_false_and_warning_are_as_counted_by_hand() {
        let alarms = [
            rang(20, Kind::LowAhead, Cause::New), // 80 minutes before: false
            rang(75, Kind::LowAhead, Cause::New), // 25 minutes before
            rang(100, Kind::Low, Cause::New),
            rang(115, Kind::Low, Cause::Still),
            rang(300, Kind::NoData, Cause::New),
            rang(590, Kind::Low, Cause::New), // ten minutes late
        ];
        let score = score(&trace(), &alarms, 300, &Clock::default(), Span::from_mins(60));
        assert_eq!((score.lows, score.lows_warned, score.lows_warned_10_min), (2, 1, 1));
        assert_eq!(score.median_warning_min, Some(7.5)); // of 25 and −10
        let ahead = score.kind("low_ahead").unwrap();
        assert_eq!((ahead.alarms, ahead.true_alarms, ahead.false_alarms), (2, Some(1), Some(1)));
        assert_eq!(ahead.median_warning_min, Some(25.0));
        assert_eq!(ahead.false_per_day, Some(2.4)); // one in ten hours
        let low = score.kind("low").unwrap();
        assert_eq!((low.alarms, low.rings, low.false_alarms), (2, 3, Some(0)));
        assert_eq!((low.by_hour[1], low.by_hour[9]), (2, 1));
        let silent = score.kind("no_data").unwrap();
        assert_eq!((silent.alarms, silent.true_alarms, silent.false_per_day), (1, None, None));
        assert_eq!((score.nights, score.nights_woken), (1, 1));
        assert!((score.days - 0.42).abs() < 0.01);
    }

    #[test]
    fn nothing_yields_nothing_and_no_rate() {
        let score = score(&[], &[], 300, &Clock::default(), Span::from_mins(60));
        assert_eq!((score.days, score.alarms_per_day, score.median_warning_min), (0.0, None, None));
        assert_eq!(score.nights, 0);
    }
}
