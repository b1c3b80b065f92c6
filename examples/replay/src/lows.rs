//! The lows of a trace, and what rang before them: the one place where warnings of lows are counted.
//!
//! A low is warned of when an alarm of the low family rings before its first reading below the limit: at most a window
//! before, and not while the low before it still held, for that alarm was about the other.

use alloc::vec::Vec;

use glidepath::alarm::Ring;
use glidepath::review::{Config, Episode, EpisodeRule, Episodes};
use glidepath::{Instant, Reading, Span};

/// An episode of low glucose, by the sensor's readings.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Low {
    pub start: Instant,
    pub end: Instant,
    /// The lowest reading, mg/dL.
    pub lowest: f32,
    /// The first alarm about it, from the window before it began until it ended.
    pub first_alarm: Option<Ring>,
}

impl Low {
    /// How long it lasted, minutes.
    pub fn minutes(&self) -> f32 {
        self.end.since(self.start).mins()
    }

    /// How long before it began the first alarm rang; negative when after.
    pub fn warned(&self) -> Option<Span> {
        self.first_alarm.map(|ring| self.start.since(ring.at))
    }
}

/// Of how many lows there was a warning.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Warned {
    /// Before they began.
    pub before: u32,
    /// Ten minutes or more before.
    pub ten_min_before: u32,
}

/// Counts the lows that were warned of.
pub fn warned(lows: &[Low]) -> Warned {
    let by = |least: i32| {
        let long_enough = |span: &Span| span.secs() >= least;
        lows.iter().filter_map(Low::warned).filter(long_enough).count() as u32
    };
    Warned { before: by(1), ten_min_before: by(600) }
}

/// From when to when each episode of `rule` lasted in believed `readings`, in order of time.
pub fn stretches(readings: &[Reading], rule: EpisodeRule, interval_s: u32) -> Vec<(Instant, Instant)> {
    let interval = Span::from_secs(i32::try_from(interval_s.clamp(10, 3600)).unwrap_or(300));
    let mut episodes = Episodes::new(rule, Config::new(interval).unwrap_or_default());
    let mut found = Vec::new();
    let mut keep =
        |episode: Option<Episode>| found.extend(episode.map(|episode| (episode.start, episode.end)));
    readings.iter().for_each(|reading| keep(episodes.push(reading.at(), reading.glucose())));
    keep(episodes.finish());
    found
}

/// Finds the episodes of `rule` in believed `readings`, in order of time, with the first alarm about each.
pub fn find(
    readings: &[Reading],
    rule: EpisodeRule,
    interval_s: u32,
    alarms: &[Ring],
    window: Span,
) -> Vec<Low> {
    let mut lows = Vec::new();
    let mut previous_end = Instant::from_secs(0);
    for (start, end) in stretches(readings, rule, interval_s) {
        let from = readings.partition_point(|reading| reading.at() < start);
        let inside = readings.iter().skip(from).take_while(|reading| reading.at() < end);
        let lowest = inside.map(|reading| reading.glucose().mg_dl()).fold(f32::INFINITY, f32::min);
        let earliest = start.plus(Span::from_secs(-window.secs())).max(previous_end);
        previous_end = end;
        let after = alarms.partition_point(|ring| ring.at < earliest);
        let mut about_it = alarms.iter().skip(after).take_while(|ring| ring.at <= end);
        let first_alarm = about_it.find(|ring| ring.kind.info().warns_of_low).copied();
        lows.push(Low { start, end, lowest, first_alarm });
    }
    lows
}

#[cfg(test)]
mod tests {
    use super::*;
    use glidepath::Glucose;
    use glidepath::alarm::{Cause, Kind, Priority, Trigger};

    #[test]
    fn an_alarm_of_the_low_before_warns_of_no_other() {
        let at = |minute: u32| Instant::from_secs(minute * 60);
        // two lows, half an hour apart
        let value = |m: u32| if (100..130).contains(&m) || (160..190).contains(&m) { 60.0 } else { 120.0 };
        let readings: Vec<Reading> = (0..300)
            .step_by(5)
            .map(|m| Reading::new(at(m), Glucose::from_mg_dl(value(m)).unwrap()))
            .collect();
        let rang = |minute| Ring::new(Kind::Low, Priority::Medium, Cause::New, Trigger::Unknown, at(minute));
        let window = Span::from_mins(60);
        let count = |alarms: &[Ring]| warned(&find(&readings, EpisodeRule::LOW_70, 300, alarms, window));
        assert_eq!(count(&[rang(105)]), Warned { before: 0, ten_min_before: 0 });
        assert_eq!(count(&[rang(95), rang(105)]), Warned { before: 1, ten_min_before: 0 });
        assert_eq!(count(&[rang(45), rang(148)]), Warned { before: 2, ten_min_before: 2 });
        assert_eq!(count(&[rang(35)]), Warned { before: 0, ten_min_before: 0 });
    }
}
