//! What [`glidepath_replay::score`] counts, as it is written and shown.

use glidepath::Span;
use glidepath::alarm::{Kind, Ring};
use glidepath::review::EpisodeRule;
use glidepath_replay::heard::Heard;
use glidepath_replay::lows::{self, Low};
use glidepath_replay::score as counted;
use serde::Serialize;

use crate::played::{Played, Traces};
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

/// Scores what rang against what was read, with the lows that were found and the deep ones among them.
pub fn of(traces: &Traces<'_>, played: &Played, window: Span) -> (Score, Vec<Low>, Vec<Low>) {
    let (rings, interval) = (&played.said.rings, traces.interval_s());
    let heard = Heard::of(&played.said.samples, interval);
    let (score, lows) = score(&heard, rings, interval, &traces.first.clock, window);
    (score, lows, lows::find(&heard.lower, EpisodeRule::LOW_54, interval, rings, window))
}

/// Scores alarms against the readings they rang by; with the lows that were found.
fn score(heard: &Heard, rings: &[Ring], interval_s: u32, clock: &Clock, window: Span) -> (Score, Vec<Low>) {
    let counted = counted::score(&heard.lower, heard.both(), rings, interval_s, clock, window);
    let a_day = |n: u64| (counted.days > 0.0).then(|| round(n as f64 / counted.days, 3));
    let kinds = Kind::ALL.into_iter().zip(&counted.kinds).map(|(kind, counted)| {
        let alarms = counted.alarms.into();
        let true_alarms = counted.true_alarms.map(u64::from);
        let false_alarms = true_alarms.map(|n| alarms - n);
        KindScore {
            kind: kind.name(),
            alarms,
            rings: counted.rings.into(),
            alarms_per_day: a_day(alarms),
            true_alarms,
            false_alarms,
            false_per_day: false_alarms.and_then(a_day),
            median_warning_min: counted.median_warning_min.map(|minutes| round(minutes, 1)),
            by_hour: counted.by_hour,
        }
    });
    let score = Score {
        window_min: (window.secs() / 60).unsigned_abs(),
        days: round(counted.days, 2),
        nights: counted.nights.into(),
        nights_woken: counted.nights_woken.into(),
        lows: counted.lows.len() as u64,
        lows_warned: counted.lows_warned.into(),
        lows_warned_10_min: counted.lows_warned_10_min.into(),
        median_warning_min: counted.median_warning_min.map(|minutes| round(minutes, 1)),
        alarms_per_day: a_day(counted.alarms.into()),
        kinds: kinds.collect(),
    };
    (score, counted.lows)
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

fn round(value: f64, digits: i32) -> f64 {
    let power = 10f64.powi(digits);
    (value * power).round() / power
}

#[cfg(test)]
mod tests {
    use super::*;
    use glidepath::alarm::{Cause, Priority, Trigger};
    use glidepath::{Glucose, Instant, Reading};

    fn at(minute: u32) -> Instant {
        Instant::from_secs(minute * 60)
    }

    /// Ten hours at 120 mg/dL with a low from minute 100 to 130 and one at the end.
    fn trace() -> Heard {
        let low = |m: &u32| (100..130).contains(m) || *m >= 580;
        let value = |m: u32| if low(&m) { 60.0 } else { 120.0 };
        let lower: Vec<Reading> = (0..600)
            .step_by(5)
            .map(|m| Reading::new(at(m), Glucose::from_mg_dl(value(m)).unwrap()))
            .collect();
        Heard { lower, both: None }
    }

    fn rang(minute: u32, kind: Kind, cause: Cause) -> Ring {
        Ring::new(kind, Priority::Medium, cause, Trigger::Unknown, at(minute))
    }

    #[test]
    fn true_false_and_warning_are_as_counted_by_hand() {
        let alarms = [
            rang(20, Kind::LowAhead, Cause::New), // 80 minutes before: false
            rang(75, Kind::LowAhead, Cause::New), // 25 minutes before
            rang(100, Kind::Low, Cause::New),
            rang(115, Kind::Low, Cause::Repeated),
            rang(300, Kind::NoData, Cause::New),
            rang(590, Kind::Low, Cause::New), // ten minutes late
        ];
        let (score, _) = score(&trace(), &alarms, 300, &Clock::default(), Span::from_mins(60));
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
    fn highs_are_counted_by_both_and_lows_by_the_lower() {
        let (heard, alarms) =
            (trace(), [rang(100, Kind::Low, Cause::New), rang(100, Kind::High, Cause::New)]);
        let mirrored =
            |r: &Reading| Reading::new(r.at(), Glucose::from_mg_dl(270.0 - r.glucose().mg_dl()).unwrap());
        let heard = Heard { both: Some(heard.lower.iter().map(mirrored).collect()), ..heard };
        let (score, _) = score(&heard, &alarms, 300, &Clock::default(), Span::from_mins(60));
        let right = |name| score.kind(name).unwrap().true_alarms;
        assert_eq!((right("low"), right("high")), (Some(1), Some(1)));
    }

    #[test]
    fn nothing_yields_nothing_and_no_rate() {
        let (score, _) = score(&Heard::default(), &[], 300, &Clock::default(), Span::from_mins(60));
        assert_eq!((score.days, score.alarms_per_day, score.median_warning_min), (0.0, None, None));
        assert_eq!(score.nights, 0);
    }
}
