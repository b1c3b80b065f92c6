//! How often alarms would have rung, how many were true, and how much warning they gave.
//!
//! One alarm is a first ring ([`Cause::New`]). An alarm of the low family is **true** when a low (under 70 mg/dL for 15
//! minutes or more, by the sensor's own readings) holds then or begins within the hour after it; one of the high family
//! likewise with a high (over 180). A low is **warned** of when an alarm of its family rang in the hour before it began,
//! and after the low before it ended.

use alloc::vec::Vec;

use glidepath::alarm::{Cause, Kind, Ring};
use glidepath::review::{Config, EpisodeRule, Episodes};
use glidepath::{Instant, Reading, Span};

use crate::sorted::sorted;
use crate::table::Clock;

/// Within which a low must follow.
const WINDOW: Span = Span::from_mins(60);
const DAY: i64 = 86_400;

/// What one set of settings would have done.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Score {
    /// The time that the believed readings cover, days.
    pub days: f64,
    /// Nights with readings, and those in which anything rang.
    pub nights: u32,
    pub nights_woken: u32,
    /// All rings, repeats included, and those of them at night.
    pub rings: u32,
    pub night_rings: u32,
    pub alarms: u32,
    pub lows: u32,
    pub lows_warned: u32,
    pub lows_warned_10_min: u32,
    pub median_warning_min: Option<f64>,
    pub kinds: [KindScore; Kind::COUNT],
}

/// The same for one kind.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct KindScore {
    pub alarms: u32,
    pub rings: u32,
    /// `None` for kinds that no glucose can prove.
    pub true_alarms: Option<u32>,
}

type Stretch = (Instant, Instant);

/// The episodes that prove an alarm, if any can.
fn about(kind: Kind) -> Option<EpisodeRule> {
    match kind {
        Kind::High | Kind::SteepRise => Some(EpisodeRule::HIGH_180),
        _ if kind.about().of_lows => Some(EpisodeRule::LOW_70),
        _ => None,
    }
}

/// Scores rings against the believed readings they rang by, both in order of time.
pub fn score(readings: &[Reading], rings: &[Ring], interval_s: u32, clock: &Clock) -> Score {
    let lows = episodes(readings, EpisodeRule::LOW_70, interval_s);
    let highs = episodes(readings, EpisodeRule::HIGH_180, interval_s);
    let mut kinds = [KindScore::default(); Kind::COUNT];
    for (kind, score) in Kind::ALL.into_iter().zip(&mut kinds) {
        let stretches = about(kind).map(|rule| if rule.is_low() { &lows } else { &highs });
        score.true_alarms = stretches.map(|_| 0);
        for ring in rings.iter().filter(|ring| ring.kind == kind) {
            score.rings += 1;
            if ring.cause == Cause::New {
                score.alarms += 1;
                let proven = stretches.is_some_and(|stretches| followed(stretches, ring.at));
                score.true_alarms = score.true_alarms.map(|n| n + u32::from(proven));
            }
        }
    }
    let ends = core::iter::once(Instant::from_secs(0)).chain(lows.iter().map(|(_, end)| *end));
    let warnings: Vec<i64> =
        lows.iter().zip(ends).filter_map(|(low, end)| warning(rings, low, end)).collect();
    let warned_by = |seconds: i64| warnings.iter().filter(|warning| **warning >= seconds).count() as u32;
    Score {
        days: days(readings, interval_s),
        nights: nights(readings.iter().map(Reading::at), clock),
        nights_woken: nights(rings.iter().map(|ring| ring.at), clock),
        rings: rings.len() as u32,
        night_rings: rings.iter().filter(|ring| night(clock, ring.at).is_some()).count() as u32,
        alarms: kinds.iter().map(|kind| kind.alarms).sum(),
        lows: lows.len() as u32,
        lows_warned: warned_by(1),
        lows_warned_10_min: warned_by(600),
        median_warning_min: median(&warnings),
        kinds,
    }
}

/// The time that readings cover, two lost ones bridged, days.
fn days(readings: &[Reading], interval_s: u32) -> f64 {
    if readings.is_empty() {
        return 0.0;
    }
    let longest = f64::from(interval_s) * 3.5;
    let steps = readings.windows(2).map(|pair| f64::from(pair[1].at().since(pair[0].at()).secs()));
    (steps.map(|step| step.min(longest)).sum::<f64>() + f64::from(interval_s)) / 86_400.0
}

fn episodes(readings: &[Reading], rule: EpisodeRule, interval_s: u32) -> Vec<Stretch> {
    let interval = Span::from_secs(i32::try_from(interval_s.clamp(10, 3600)).unwrap_or(300));
    let mut episodes = Episodes::new(rule, Config::new(interval).unwrap_or_default());
    let mut found: Vec<_> =
        readings.iter().filter_map(|reading| episodes.push(reading.at(), reading.glucose())).collect();
    found.extend(episodes.finish());
    found.into_iter().map(|episode| (episode.start, episode.end)).collect()
}

/// Whether an episode holds at `at` or begins within the window after it.
fn followed(stretches: &[Stretch], at: Instant) -> bool {
    let next = stretches.partition_point(|(_, end)| *end < at);
    stretches.get(next).is_some_and(|(start, _)| *start <= at.plus(WINDOW))
}

/// The seconds from the first ring about a low to its beginning: at most a window before, and after the low before it
/// ended.
fn warning(rings: &[Ring], (start, end): &Stretch, previous_end: Instant) -> Option<i64> {
    let earliest = start.plus(Span::from_secs(-WINDOW.secs())).max(previous_end);
    let mut about_it = rings.iter().filter(|ring| ring.at >= earliest && ring.at <= *end);
    let first = about_it.find(|ring| ring.kind.about().of_lows)?;
    Some(start.since(first.at).secs().into())
}

/// The night that holds a moment, from 22:00 to 07:00; it belongs to the day it ends on.
fn night(clock: &Clock, at: Instant) -> Option<i64> {
    let wall = clock.wall(at.secs().into());
    let hour = wall.rem_euclid(DAY) / 3600;
    (!(7..22).contains(&hour)).then(|| (wall + 7200).div_euclid(DAY))
}

fn nights(moments: impl Iterator<Item = Instant>, clock: &Clock) -> u32 {
    let mut nights = sorted(moments.filter_map(|at| night(clock, at)));
    nights.dedup();
    nights.len() as u32
}

/// The middle of some spans of seconds, minutes.
fn median(seconds: &[i64]) -> Option<f64> {
    let seconds = sorted(seconds.iter().copied());
    let (low, high) = (seconds.get(seconds.len().checked_sub(1)? / 2)?, seconds.get(seconds.len() / 2)?);
    Some(f64::midpoint(*low as f64 / 60.0, *high as f64 / 60.0))
}

#[cfg(test)]
mod tests {
    use super::*;
    use glidepath::Glucose;
    use glidepath::alarm::{Grounds, Priority};

    fn at(minute: u32) -> Instant {
        Instant::from_secs(minute * 60)
    }

    fn ring(minute: u32, kind: Kind, cause: Cause) -> Ring {
        Ring::new(kind, Priority::Low, cause, Grounds::Unknown, at(minute))
    }

    /// Ten hours at 120 mg/dL with lows from minute 100 to 130 and from 580 on, and a high from 300 to 340.
    fn readings() -> Vec<Reading> {
        let value = |m: u32| match m {
            100..130 | 580.. => 60.0,
            300..340 => 200.0,
            _ => 120.0,
        };
        (0..600).step_by(5).map(|m| Reading::new(at(m), Glucose::from_mg_dl(value(m)).unwrap())).collect()
    }

    #[test]
    fn counts_are_as_counted_by_hand() {
        let rings = [
            ring(20, Kind::LowAhead, Cause::New), // 80 minutes before: false
            ring(75, Kind::LowAhead, Cause::New), // 25 before
            ring(100, Kind::Low, Cause::New),
            ring(115, Kind::Low, Cause::Still),
            ring(239, Kind::High, Cause::New), // 61 before: false
            ring(240, Kind::High, Cause::New),
            ring(400, Kind::NoData, Cause::New),
            ring(421, Kind::NoData, Cause::New), // after seven
            ring(585, Kind::Low, Cause::New),    // after it began
        ];
        let score = score(&readings(), &rings, 300, &Clock::default());
        let of = |kind: Kind| score.kinds[kind as usize];
        assert_eq!(of(Kind::LowAhead), KindScore { alarms: 2, rings: 2, true_alarms: Some(1) });
        assert_eq!(of(Kind::Low), KindScore { alarms: 2, rings: 3, true_alarms: Some(2) });
        assert_eq!(of(Kind::High), KindScore { alarms: 2, rings: 2, true_alarms: Some(1) });
        assert_eq!(of(Kind::NoData), KindScore { alarms: 2, rings: 2, true_alarms: None });
        assert_eq!((score.lows, score.lows_warned, score.lows_warned_10_min), (2, 1, 1));
        assert_eq!(score.median_warning_min, Some(10.0)); // of 25 and -5
        assert_eq!((score.rings, score.alarms, score.night_rings), (9, 8, 7));
        assert_eq!((score.nights, score.nights_woken), (1, 1));
        assert!((score.days - 600.0 / 1440.0).abs() < 1e-9);
    }

    #[test]
    fn nights_end_at_seven_and_begin_at_ten() {
        let clock = Clock::default();
        let night_of = |minute: u32| night(&clock, at(minute));
        assert_eq!(
            [0, 419, 420, 1319, 1320, 1440].map(night_of),
            [Some(0), Some(0), None, None, Some(1), Some(1)]
        );
    }

    #[test]
    fn a_warning_of_exactly_an_hour_or_of_nothing() {
        let low = (at(100), at(130));
        let after = |end, minute| warning(&[ring(minute, Kind::LowAhead, Cause::New)], &low, at(end));
        let one = |minute| after(0, minute);
        assert_eq!((after(60, 59), after(60, 60)), (None, Some(2400)), "the low before has its own");
        assert_eq!((one(39), one(40), one(130), one(131)), (None, Some(3600), Some(-1800), None));
        assert_eq!(warning(&[ring(90, Kind::High, Cause::New)], &low, at(0)), None);
        let ends = score(&readings(), &[ring(90, Kind::Low, Cause::New)], 300, &clock());
        assert_eq!((ends.lows_warned, ends.lows_warned_10_min), (1, 1));
        let late = score(&readings(), &[ring(100, Kind::Low, Cause::New)], 300, &clock());
        assert_eq!((late.lows_warned, late.lows_warned_10_min), (0, 0));
        assert_eq!(score(&[], &[], 300, &clock()).days, 0.0);
    }

    fn clock() -> Clock {
        Clock::default()
    }
}
