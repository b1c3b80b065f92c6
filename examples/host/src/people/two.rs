//! A person's two sensors, lived through together. `pairs` and `fit` stand on this.

use glidepath::{Instant, Monitor, PairMonitor, PairView, Reading, Settings, Side, Span, View};

use super::{Person, Set};

/// What the name of the second sensor's trace has behind that of the first one's.
pub(crate) const SECOND: &str = "_b";

/// How far ahead forecasts are judged, from a reading newer than this.
pub(crate) const AHEAD: Span = Span::from_mins(30);
pub(crate) const BRIDGED: Span = Span::from_mins(17);

/// What is said of a minute, its readings taken in.
pub(crate) struct Minute {
    pub(crate) now: Instant,
    pub(crate) pair: PairView,
    /// By each sensor's own monitor.
    pub(crate) own: [View; 2],
    /// Whether a reading came.
    pub(crate) read: bool,
}

/// Lives through both sensors' readings minute by minute, as a pair and each alone. Returns the days it took.
pub(crate) fn live(readings: [&[Reading]; 2], mut look: impl FnMut(&Minute)) -> f64 {
    let settings = Settings::default;
    let mut pair = PairMonitor::<24>::new(settings(), settings()).expect("defaults are sound");
    let mut alone = [(); 2].map(|()| Monitor::<24>::new(settings()).expect("defaults are sound"));
    let mut events: Vec<(Reading, Side)> = Vec::new();
    for side in Side::BOTH {
        events.extend(readings[side as usize].iter().map(|reading| (*reading, side)));
    }
    events.sort_by_key(|(reading, side)| (reading.at(), *side as u8));
    let (Some((start, _)), Some((end, _))) = (events.first(), events.last()) else { return 0.0 };
    let (start, end) = (start.at(), end.at());
    let mut events = events.iter().peekable();
    let mut now = start;
    while now <= end {
        let mut minute = Minute {
            now,
            pair: pair.tick(now),
            own: alone.each_mut().map(|monitor| monitor.tick(now)),
            read: false,
        };
        while let Some((reading, side)) = events.next_if(|(reading, _)| reading.at() <= now) {
            minute.pair = pair.push(*side, reading);
            minute.own[*side as usize] = alone[*side as usize].push(reading);
            minute.read = true;
        }
        look(&minute);
        now = now.plus(Span::from_mins(1));
    }
    f64::from(end.since(start).secs()) / 86_400.0
}

/// The people with two sensors: traces NAME and NAME_b of one set.
pub(crate) fn pairs(sets: &[Set]) -> Vec<[&Person; 2]> {
    let mut pairs = Vec::new();
    for Set { people, .. } in sets {
        for second in people {
            let first = second.name.strip_suffix(SECOND);
            pairs.extend(people.iter().find(|one| first == Some(&one.name)).map(|first| [first, second]));
        }
    }
    pairs
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_pair_is_two_traces_of_one_set_by_their_names() {
        let people = |names: &[&str]| {
            names.iter().map(|name| Person::new(name, Vec::new(), Vec::new())).collect::<Vec<_>>()
        };
        let sets = [
            Set::new("one", people(&["a", "a_b", "a_c", "b_b", "c"])),
            Set::new("two", people(&["c_b", "b", "d_b", "d"])),
        ];
        let names: Vec<[&str; 2]> =
            pairs(&sets).iter().map(|pair| pair.map(|person| person.name.as_str())).collect();
        assert_eq!(names, [["a", "a_b"], ["d", "d_b"]]);
    }
}
