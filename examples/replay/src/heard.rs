//! The readings that alarms are scored against: those of one sensor, or of two worn at once.
//!
//! Alarms about lows go by the lower of two sensors, so a low is one that either reads. Alarms about highs go by both, so
//! a high is one of both as they weigh. A sensor's reading stands until its next one, over two lost ones too, but not over a
//! longer silence: what it read before that is no reading of now.

use alloc::vec::Vec;

use glidepath::{Glucose, Instant, Reading, Side, Span};

use crate::score::LONGEST_STEP;
use crate::walk::Sample;

/// Believed readings in order of time.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Heard {
    /// What lows are counted by: of two sensors the lower one.
    pub lower: Vec<Reading>,
    /// Of two sensors both, by the weight that each had.
    pub both: Option<Vec<Reading>>,
}

impl Heard {
    /// What highs are counted by: of two sensors both, of one the same as lows.
    pub fn both(&self) -> &[Reading] {
        self.both.as_ref().unwrap_or(&self.lower)
    }

    /// Of what a monitor said of readings that come every so many seconds; of two sensors, of the one that reads less often.
    pub fn of(samples: &[Sample], interval_s: u32) -> Self {
        let [first, second] = Side::BOTH.map(|side| {
            let own = samples.iter().filter(|sample| sample.verdict.is_believed() && sample.side() == side);
            own.map(|sample| sample.reading).collect::<Vec<Reading>>()
        });
        if second.is_empty() {
            return Self { lower: first, both: None };
        }
        let (mut lower, mut both) = (Vec::new(), Vec::new());
        for sample in samples.iter().filter(|sample| sample.verdict.is_believed()) {
            let at = sample.reading.at();
            let weight = sample.beside.as_ref().map_or(1.0, |beside| beside.first_weight);
            let (low, mixed) = match (standing(&first, at, interval_s), standing(&second, at, interval_s)) {
                (Some(first), Some(second)) => (first.min(second), mixed(first, second, weight)),
                (Some(only), None) | (None, Some(only)) => (only, only),
                (None, None) => continue,
            };
            put(&mut lower, Reading::new(at, low));
            put(&mut both, Reading::new(at, mixed));
        }
        Self { lower, both: Some(both) }
    }
}

/// Of two readings at one moment the later knows both.
fn put(readings: &mut Vec<Reading>, reading: Reading) {
    if readings.last().is_some_and(|last| last.at() == reading.at()) {
        readings.pop();
    }
    readings.push(reading);
}

fn mixed(first: Glucose, second: Glucose, weight: f32) -> Glucose {
    // between two values lies one
    Glucose::from_mg_dl(second.mg_dl() + weight * (first.mg_dl() - second.mg_dl())).unwrap_or(second)
}

/// What one sensor reads at a moment, if it reads.
fn standing(readings: &[Reading], at: Instant, interval_s: u32) -> Option<Glucose> {
    let next = readings.partition_point(|reading| reading.at() <= at);
    let last = readings.get(next.checked_sub(1)?)?;
    let bridged = Span::from_secs((f64::from(interval_s) * LONGEST_STEP) as i32);
    let goes_on = readings.get(next).is_some_and(|next| next.at().since(last.at()) <= bridged);
    let interval = Span::from_secs(i32::try_from(interval_s).unwrap_or(i32::MAX));
    (goes_on || at.since(last.at()) < interval).then(|| last.glucose())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::walk::{Detail, Played, Walk};
    use glidepath::{Monitor, PairMonitor, Settings, Status};

    struct Utc;

    impl crate::WallClock for Utc {
        fn wall(&self, instant: i64) -> i64 {
            instant
        }
    }

    fn reading(minute: u32, mg_dl: f32) -> Reading {
        Reading::new(Instant::from_secs(minute * 60), Glucose::from_mg_dl(mg_dl).unwrap())
    }

    fn played(readings: &[(Side, Reading)]) -> Played {
        let pair = PairMonitor::<288>::new(Settings::default(), Settings::default()).unwrap();
        let mut walk = Walk::new(pair, readings.len(), Detail::Verdicts);
        for (side, reading) in readings {
            walk.reading(*side, reading, f32::NAN, &Utc);
        }
        walk.played
    }

    fn told(readings: &[Reading]) -> Vec<(u32, u16)> {
        readings.iter().map(|r| (r.at().secs() / 60, r.glucose().whole_mg_dl())).collect()
    }

    use Side::{First, Second};

    #[test]
    fn of_one_sensor_they_are_its_believed_readings() {
        let monitor = Monitor::<288>::new(Settings::default()).unwrap();
        let mut walk = Walk::new(monitor, 3, Detail::Verdicts);
        let readings = [reading(0, 120.0), reading(5, 121.0).with_status(Status::Fault), reading(10, 122.0)];
        for reading in &readings {
            walk.reading(First, reading, f32::NAN, &Utc);
        }
        let heard = Heard::of(&walk.played.samples, 300);
        assert_eq!(heard.lower, [readings[0], readings[2]]);
        assert_eq!(heard.both(), heard.lower);
    }

    #[test]
    fn of_two_lows_go_by_the_lower_and_highs_by_both_at_every_reading_of_either() {
        let played = played(&[
            (Second, reading(0, 110.0)),
            (First, reading(0, 120.0)),
            (First, reading(5, 114.0)),
            (Second, reading(6, 118.0)),
        ]);
        let heard = Heard::of(&played.samples, 300);
        // nothing stands beyond the last reading's own five minutes: at minute 6 the first one still does
        assert_eq!(told(&heard.lower), [(0, 110), (5, 110), (6, 114)]);
        for (both, (low, high)) in heard.both().iter().zip([(110.0, 120.0), (110.0, 114.0), (114.0, 118.0)]) {
            assert!((low..=high).contains(&both.glucose().mg_dl()), "{both:?}");
        }
        let weight = played.samples[3].beside.as_ref().unwrap().first_weight;
        assert!((0.1..0.9).contains(&weight));
        let by_hand = 118.0 - 4.0 * weight;
        assert!((heard.both()[2].glucose().mg_dl() - by_hand).abs() < 0.01);
    }

    #[test]
    fn a_silent_or_disbelieved_sensor_does_not_count() {
        let mut readings = Vec::new();
        for minute in (0..60).step_by(5) {
            // two lost readings are bridged, three are not
            if minute < 10 || (25..35).contains(&minute) || minute >= 55 {
                readings.push((First, reading(minute, 80.0)));
            }
            let second = reading(minute + 1, 120.0);
            let fails = minute == 30;
            readings.push((Second, if fails { second.with_status(Status::Fault) } else { second }));
        }
        let heard = Heard::of(&played(&readings).samples, 300);
        let low: Vec<u32> = told(&heard.lower)
            .into_iter()
            .filter(|(_, value)| *value == 80)
            .map(|(minute, _)| minute)
            .collect();
        assert_eq!(low, [0, 1, 5, 6, 25, 26, 30, 55, 56]);
        assert!(!told(&heard.lower).iter().any(|(minute, _)| *minute == 31), "it was not believed");
        let bridged = [reading(0, 80.0), reading(17, 80.0), reading(35, 80.0)];
        let stands = |minute: u32| standing(&bridged, Instant::from_secs(minute * 60), 300).is_some();
        assert_eq!([16, 21, 22, 34, 39, 40].map(stands), [true, true, false, false, true, false]);
    }
}
