//! Number and time of episodes in records that can be joined end to end.
//!
//! A record is a sequence of runs of equal marks. Only two of them can still change, the first and the last. Those
//! between come down to events: a run that starts an episode if none is open, a run or a gap that ends one if one is
//! open. Sequences of events join by looking at the first event of the later one alone.

use super::config::Config;
use super::episodes::{Episode, EpisodeRule, Mark};
use crate::codec::{Codec, Coded};
use crate::units::Instant;

/// Number and time of episodes.
///
/// Feature `defmt` gives `Format`.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub struct EpisodeTotal {
    /// How many.
    pub count: u32,
    /// Their time together, seconds.
    pub seconds: u32,
}

impl EpisodeTotal {
    fn push(&mut self, episode: Episode) {
        self.count = self.count.saturating_add(1);
        self.lengthen(episode.start, episode.end);
    }

    fn lengthen(&mut self, from: Instant, to: Instant) {
        self.seconds = self.seconds.saturating_add(to.secs().saturating_sub(from.secs()));
    }

    pub(super) fn add(&mut self, other: &Self) {
        self.count = self.count.saturating_add(other.count);
        self.seconds = self.seconds.saturating_add(other.seconds);
    }
}

impl Coded for EpisodeTotal {
    fn code(&mut self, codec: &mut Codec<'_>) {
        let Self { count, seconds } = self;
        codec.word(count);
        codec.word(seconds);
    }
}

/// Neighbouring readings of one mark, no gap between them.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct Run {
    mark: Mark,
    first: Instant,
    last: Instant,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Event {
    Begins(Instant),
    Ends(Instant),
}

/// A sequence of events, brought down to its first and what it closed and left open.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
struct Events {
    first: Option<Event>,
    closed: EpisodeTotal,
    open: Option<Instant>,
}

impl Events {
    /// Those of a run that is complete, and of the gap behind it.
    fn of(run: &Run, gap: bool, rule: &EpisodeRule, config: &Config) -> Self {
        let mut events = Self::default();
        match run.mark {
            Mark::Beyond if rule.starts(run.first, run.last, config) => events.push(Event::Begins(run.first)),
            Mark::Back if rule.ends(run.first, run.last, config) => events.push(Event::Ends(run.first)),
            _ => {}
        }
        if gap {
            events.push(Event::Ends(match run.mark {
                Mark::Back => run.first,
                _ => run.last.plus(config.interval()),
            }));
        }
        events
    }

    fn push(&mut self, event: Event) {
        self.first.get_or_insert(event);
        match (event, self.open) {
            (Event::Begins(start), None) => self.open = Some(start),
            (Event::Ends(end), Some(start)) => {
                self.closed.push(Episode { start, end });
                self.open = None;
            }
            _ => {}
        }
    }

    fn append(&mut self, later: &Self) {
        let Some(next) = later.first else { return };
        self.first.get_or_insert(next);
        let carried = self.open;
        self.closed.add(&later.closed);
        self.open = later.open;
        match (carried, next) {
            (Some(start), Event::Ends(end)) => self.closed.push(Episode { start, end }),
            // the later one's first episode is this one
            (Some(start), Event::Begins(theirs)) if later.open == Some(theirs) => self.open = Some(start),
            (Some(start), Event::Begins(theirs)) => self.closed.lengthen(start, theirs),
            (None, _) => {}
        }
    }
}

/// One record under one rule.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(super) struct Spells {
    /// The first run, and whether a gap follows it.
    lead: Option<(Run, bool)>,
    /// What happened since, and the last run.
    rest: Option<(Events, Run)>,
}

impl Spells {
    /// `native` in hundredths of the configured unit; `joined` unless a gap lies before.
    pub(super) fn push(
        &mut self,
        rule: &EpisodeRule,
        config: &Config,
        at: Instant,
        native: u32,
        joined: bool,
    ) {
        let run = Run { mark: rule.mark(native, config), first: at, last: at };
        match (&mut self.lead, &mut self.rest) {
            // the usual case, for speed
            (_, Some((_, last))) if joined && last.mark == run.mark => last.last = at,
            _ => self.append(rule, config, &Self { lead: Some((run, false)), rest: None }, joined),
        }
    }

    /// Adds the record that follows; `joined` unless a gap lies between.
    pub(super) fn append(&mut self, rule: &EpisodeRule, config: &Config, later: &Self, joined: bool) {
        let Some((next, next_gap)) = later.lead else { return };
        let Some((lead, lead_gap)) = &mut self.lead else {
            *self = *later;
            return;
        };
        let end = self.rest.as_mut().map_or(&mut *lead, |(_, last)| last);
        let one_run = joined && end.mark == next.mark;
        if one_run {
            end.last = next.last;
        }
        match (&mut self.rest, one_run) {
            (None, true) => (*lead_gap, self.rest) = (next_gap, later.rest),
            (None, false) => {
                *lead_gap = !joined;
                let (events, last) = later.whole(next, next_gap, rule, config);
                self.rest = Some((events, last));
            }
            (Some((events, run)), true) => {
                if let Some((more, last)) = &later.rest {
                    events.append(&Events::of(run, next_gap, rule, config));
                    events.append(more);
                    *run = *last;
                }
            }
            (Some((events, run)), false) => {
                events.append(&Events::of(run, !joined, rule, config));
                let (more, last) = later.whole(next, next_gap, rule, config);
                events.append(&more);
                *run = last;
            }
        }
    }

    /// All events but those of the last run, and that run.
    fn whole(&self, lead: Run, gap: bool, rule: &EpisodeRule, config: &Config) -> (Events, Run) {
        match &self.rest {
            None => (Events::default(), lead),
            Some((more, last)) => {
                let mut events = Events::of(&lead, gap, rule, config);
                events.append(more);
                (events, *last)
            }
        }
    }

    /// The episodes, as if the record ended here.
    pub(super) fn total(&self, rule: &EpisodeRule, config: &Config) -> EpisodeTotal {
        let Some((lead, gap)) = self.lead else { return EpisodeTotal::default() };
        let (mut events, last) = self.whole(lead, gap, rule, config);
        events.append(&Events::of(&last, true, rule, config));
        events.closed
    }
}

#[cfg(test)]
mod tests {
    extern crate std;
    use super::super::config::{Counting, Threshold, Unit, hundredths};
    use super::super::episodes::Episodes;
    use super::*;
    use crate::units::Glucose;
    use proptest::prelude::*;
    use std::vec::Vec;

    #[test]
    fn an_episode_goes_on_over_a_seam_within_a_short_recovery() {
        // low, ten minutes back, low again: one episode, wherever it is cut
        let values = [80.0, 60.0, 60.0, 60.0, 60.0, 80.0, 80.0, 60.0, 60.0, 60.0, 60.0, 80.0];
        let (rule, config) = (EpisodeRule::LOW_70, Config::default());
        let run = |from: usize, to: usize| {
            let mut spells = Spells::default();
            for (i, value) in values.iter().enumerate().take(to).skip(from) {
                let at = Instant::from_secs(300 * i as u32);
                spells.push(&rule, &config, at, hundredths(Glucose::clamped(*value), Unit::MgDl), true);
            }
            spells
        };
        for cut in 0..=values.len() {
            let mut joined = run(0, cut);
            joined.append(&rule, &config, &run(cut, values.len()), true);
            assert_eq!(joined, run(0, values.len()), "cut at {cut}");
        }
        let mut total = EpisodeTotal::default();
        total.push(Episode { start: Instant::from_secs(300), end: Instant::from_secs(3300) });
        assert_eq!(run(0, values.len()).total(&rule, &config), total);
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(if cfg!(miri) { 4 } else { 512 }))]
        #[test]
        #[cfg_attr(miri, ignore = "too slow")]
        fn pieces_join_to_the_whole_and_agree_with_the_list(
            readings in prop::collection::vec(
                (prop_oneof![30 => Just(300_u32), 1 => Just(3000)], prop_oneof![45.0_f32..75.0, Just(60.0), Just(80.0)], 1_usize..5),
                1..60,
            ),
            cuts in (0_usize..120, 0_usize..120),
            end70 in any::<bool>(),
            stamped in any::<bool>(),
        ) {
            let rule = if end70 { EpisodeRule::LOW_54.ending_at(Threshold::L70) } else { EpisodeRule::LOW_70 };
            let config = Config::default().with_counting(if stamped { Counting::Stamped } else { Counting::Covered });
            let mut at = 0;
            let mut all = Vec::new();
            for &(step, v, times) in &readings {
                at += step - 300;
                for _ in 0..times {
                    at += 300;
                    all.push((Instant::from_secs(at), Glucose::clamped(v)));
                }
            }
            let joins = |i: usize| i == 0 || i >= all.len() || config.joins(all[i].0.since(all[i - 1].0).secs() as u32);
            let run = |from: usize, to: usize| {
                let mut spells = Spells::default();
                for (i, &(at, glucose)) in all.iter().enumerate().take(to).skip(from) {
                    spells.push(&rule, &config, at, hundredths(glucose, Unit::MgDl), i == from || joins(i));
                }
                spells
            };
            let (a, b) = (cuts.0.min(all.len()), cuts.1.min(all.len()));
            let (a, b) = (a.min(b), a.max(b));
            let whole = run(0, all.len());
            let mut right = run(a, b);
            right.append(&rule, &config, &run(b, all.len()), joins(b));
            let mut joined = run(0, a);
            joined.append(&rule, &config, &right, joins(a));
            prop_assert_eq!(joined, whole);

            let mut list = Episodes::new(rule, config);
            let mut episodes: Vec<_> = all.iter().filter_map(|&(at, g)| list.push(at, g)).collect();
            episodes.extend(list.finish());
            let mut total = EpisodeTotal::default();
            episodes.into_iter().for_each(|e| total.push(e));
            prop_assert_eq!(whole.total(&rule, &config), total);
        }
    }
}
