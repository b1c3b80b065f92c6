//! The lows of a trace, and what rang before them: the one place where warnings of lows are counted.
//!
//! A low is warned of when an alarm of the low family rings before its first reading below the limit: at most a window
//! before, and not while the low before it still held, for that alarm was about the other.

use glidepath::review::{Config, Episode, EpisodeRule, Episodes};
use glidepath::{Instant, Reading, Span};

use super::sample::Rang;

/// An episode of low glucose, by the sensor's readings.
#[derive(Clone, Copy, Debug)]
pub struct Low {
    pub start: Instant,
    pub end: Instant,
    /// The lowest reading, mg/dL.
    pub lowest: f32,
    /// The first alarm about it, from the window before it began until it ended.
    pub first_alarm: Option<Rang>,
}

impl Low {
    /// How long it lasted, minutes.
    pub fn minutes(&self) -> f32 {
        self.end.since(self.start).mins()
    }

    /// How long before it began the first alarm rang, minutes; negative when after.
    pub fn warned_min(&self) -> Option<f32> {
        self.first_alarm.map(|rang| self.start.since(rang.at).mins())
    }
}

/// Of how many lows there was a warning.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Warned {
    /// Before they began.
    pub before: u64,
    /// Ten minutes or more before.
    pub ten_min_before: u64,
}

/// Counts the lows that were warned of.
pub fn warned(lows: &[Low]) -> Warned {
    let count = |enough: fn(f32) -> bool| {
        lows.iter().filter_map(Low::warned_min).filter(|minutes| enough(*minutes)).count() as u64
    };
    Warned { before: count(|minutes| minutes > 0.0), ten_min_before: count(|minutes| minutes >= 10.0) }
}

/// The episodes of `rule` in believed `readings`, in order of time.
pub fn episodes(readings: &[Reading], rule: EpisodeRule, interval_s: u32) -> Vec<Episode> {
    let interval = Span::from_secs(i32::try_from(interval_s.clamp(10, 3600)).unwrap_or(300));
    let mut episodes = Episodes::new(rule, Config::new(interval).unwrap_or_default());
    let mut found: Vec<_> =
        readings.iter().filter_map(|reading| episodes.push(reading.at(), reading.glucose())).collect();
    found.extend(episodes.finish());
    found
}

/// Finds the episodes of `rule` in believed `readings`, in order of time, with the first alarm about each.
pub fn find(
    readings: &[Reading],
    rule: EpisodeRule,
    interval_s: u32,
    alarms: &[Rang],
    window: Span,
) -> Vec<Low> {
    let found = episodes(readings, rule, interval_s);
    let mut previous_end = Instant::from_secs(0);
    found
        .iter()
        .map(|episode| {
            let from = readings.partition_point(|reading| reading.at() < episode.start);
            let to = readings.partition_point(|reading| reading.at() < episode.end);
            let inside = readings.get(from..to).unwrap_or_default();
            let lowest = inside.iter().map(|r| r.glucose().mg_dl()).fold(f32::INFINITY, f32::min);
            let earliest = episode.start.plus(Span::from_secs(-window.secs())).max(previous_end);
            previous_end = episode.end;
            let about =
                |rang: &&Rang| rang.kind.about().of_lows && rang.at >= earliest && rang.at <= episode.end;
            let after = alarms.partition_point(|rang| rang.at < earliest);
            let first_alarm = alarms.get(after..).unwrap_or_default().iter().find(about).copied();
            Low { start: episode.start, end: episode.end, lowest, first_alarm }
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use glidepath::Glucose;
    use glidepath::alarm::{Cause, Grounds, Kind, Priority};

    #[test]
    fn an_alarm_of_the_low_before_warns_of_no_other() {
        let at = |minute: u32| Instant::from_secs(minute * 60);
        // two lows, half an hour apart
        let value = |m: u32| if (100..130).contains(&m) || (160..190).contains(&m) { 60.0 } else { 120.0 };
        let readings: Vec<Reading> = (0..300)
            .step_by(5)
            .map(|m| Reading::new(at(m), Glucose::from_mg_dl(value(m)).unwrap()))
            .collect();
        let rang = |minute| Rang {
            at: at(minute),
            kind: Kind::Low,
            priority: Priority::Medium,
            cause: Cause::New,
            grounds: Grounds::Unknown,
        };
        let window = Span::from_mins(60);
        let count = |alarms: &[Rang]| warned(&find(&readings, EpisodeRule::LOW_70, 300, alarms, window));
        assert_eq!(count(&[rang(105)]), Warned { before: 0, ten_min_before: 0 });
        assert_eq!(count(&[rang(95), rang(105)]), Warned { before: 1, ten_min_before: 0 });
        assert_eq!(count(&[rang(45), rang(148)]), Warned { before: 2, ten_min_before: 2 });
        assert_eq!(count(&[rang(35)]), Warned { before: 0, ten_min_before: 0 });
    }
}
