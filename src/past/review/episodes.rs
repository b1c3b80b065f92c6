//! Episodes of low and of high glucose.
//!
//! An episode starts with the first of a run of readings beyond the limit that lasts long enough, and ends with the
//! first of a run of readings back inside that lasts long enough. A gap ends a run, and ends an episode where its
//! last reading's interval ends (or where the run back inside began).

use super::config::{Config, Counting, Threshold, hundredths};
use crate::units::{Glucose, Instant, Span};

/// Which side of a limit an episode is on, how long it takes to start and to end.
///
/// Feature `defmt` gives `Format`.
///
/// # Examples
/// The 2017 text ends a level 2 low only at 70 mg/dL:
/// ```
/// use glidepath::review::{EpisodeRule, Threshold};
/// let rule = EpisodeRule::LOW_54.ending_at(Threshold::L70);
/// assert_eq!(rule.limit(), Threshold::L54);
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct EpisodeRule {
    low: bool,
    limit: Threshold,
    end: Threshold,
    needed_s: u16,
    clear_s: u16,
}

impl EpisodeRule {
    /// Under 70 mg/dL for 15 min, until at or above it for 15 min: level 1 (and 2) hypoglycaemia.
    ///
    /// Source of the six rules here: Battelino et al. (2023), Lancet Diabetes Endocrinol 11:42,
    /// doi:10.1016/S2213-8587(22)00319-9, and Danne et al. (2017), Diabetes Care 40:1631, doi:10.2337/dc17-1600;
    /// from memory, and where the two differ as said here.
    pub const LOW_70: Self = Self::new(true, Threshold::L70, 900);
    /// Under 54 mg/dL for 15 min, until at or above 54 for 15 min (the 2017 text asks for 70): level 2.
    pub const LOW_54: Self = Self::new(true, Threshold::L54, 900);
    /// Under 70 mg/dL for at least 120 min: extended hypoglycaemia (the 2017 text: under 54).
    pub const LONG_LOW: Self = Self::new(true, Threshold::L70, 7200);
    /// Over 180 mg/dL for 15 min, until at or under it for 15 min: level 1 (and 2) hyperglycaemia.
    pub const HIGH_180: Self = Self::new(false, Threshold::L180, 900);
    /// Over 250 mg/dL for 15 min, until at or under it for 15 min: level 2.
    pub const HIGH_250: Self = Self::new(false, Threshold::L250, 900);
    /// Over 250 mg/dL for 90 min in a row: extended hyperglycaemia (the 2023 text: 90 min within 120).
    pub const LONG_HIGH: Self = Self::new(false, Threshold::L250, 5400);

    /// The six rules a review counts by.
    pub const ALL: [Self; 6] =
        [Self::LOW_70, Self::LOW_54, Self::LONG_LOW, Self::HIGH_180, Self::HIGH_250, Self::LONG_HIGH];

    const fn new(low: bool, limit: Threshold, needed_s: u16) -> Self {
        Self { low, limit, end: limit, needed_s, clear_s: 900 }
    }

    /// The same, over only when back at `end`.
    #[must_use]
    pub const fn ending_at(self, end: Threshold) -> Self {
        Self { end, ..self }
    }

    /// The same, starting only after `needed` seconds beyond the limit (7201 is "more than 120 min").
    #[must_use]
    pub const fn lasting(self, needed: u16) -> Self {
        Self { needed_s: needed, ..self }
    }

    /// Whether it looks for lows.
    #[must_use]
    pub const fn is_low(&self) -> bool {
        self.low
    }

    /// The limit that a reading must be beyond.
    #[must_use]
    pub const fn limit(&self) -> Threshold {
        self.limit
    }

    /// How long readings must be beyond the limit.
    #[must_use]
    pub const fn needed(&self) -> Span {
        Span::from_secs(self.needed_s as i32)
    }

    /// Whether a run beyond the limit is long enough to start an episode.
    pub(super) fn starts(&self, first: Instant, last: Instant, config: &Config) -> bool {
        lasts(first, last, config) >= u32::from(self.needed_s)
    }

    /// Whether a run back inside is long enough to end one.
    pub(super) fn ends(&self, first: Instant, last: Instant, config: &Config) -> bool {
        lasts(first, last, config) >= u32::from(self.clear_s)
    }

    pub(super) fn mark(&self, native: u32, config: &Config) -> Mark {
        let (limit, end) = (self.limit.hundredths(config.unit()), self.end.hundredths(config.unit()));
        let (beyond, back) =
            if self.low { (native < limit, native >= end) } else { (native > limit, native <= end) };
        if beyond {
            Mark::Beyond
        } else if back {
            Mark::Back
        } else {
            Mark::Between
        }
    }
}

/// An episode that is over.
///
/// Feature `defmt` gives `Format`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub struct Episode {
    /// Its first reading beyond the limit.
    pub start: Instant,
    /// The first reading back inside, or the end of the last interval before a gap.
    pub end: Instant,
}

/// What a reading means to a rule.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Mark {
    Beyond,
    Between,
    Back,
}

/// Between readings: outside an episode with the start of a run beyond, or in one with the start of a run back.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum State {
    Outside { run: Option<Instant> },
    Inside { start: Instant, back: Option<Instant> },
}

/// How long the run from `first` to `last` lasts.
fn lasts(first: Instant, last: Instant, config: &Config) -> u32 {
    let stamped = last.secs().saturating_sub(first.secs());
    match config.counting() {
        Counting::Covered => stamped.saturating_add(config.interval_s()),
        Counting::Stamped => stamped,
    }
}

impl State {
    const START: Self = Self::Outside { run: None };

    /// Takes a reading, after which an episode may be over.
    fn step(&mut self, rule: &EpisodeRule, config: &Config, at: Instant, mark: Mark) -> Option<Episode> {
        match self {
            Self::Outside { run } => {
                *run = (mark == Mark::Beyond).then(|| run.unwrap_or(at));
                if let Some(start) = *run
                    && rule.starts(start, at, config)
                {
                    *self = Self::Inside { start, back: None };
                }
                None
            }
            Self::Inside { start, back } => {
                *back = (mark == Mark::Back).then(|| back.unwrap_or(at));
                let end = (*back)?;
                if !rule.ends(end, at, config) {
                    return None;
                }
                let over = Episode { start: *start, end };
                *self = Self::START;
                Some(over)
            }
        }
    }

    /// A gap or the end of the record after `last`.
    fn stop(&mut self, config: &Config, last: Instant) -> Option<Episode> {
        let over = match *self {
            Self::Outside { .. } => None,
            Self::Inside { start, back } => {
                Some(Episode { start, end: back.unwrap_or(last.plus(config.interval())) })
            }
        };
        *self = Self::START;
        over
    }
}

/// Lists the episodes of one rule, reading by reading.
///
/// # Memory
/// 44 bytes.
///
/// # Examples
/// ```
/// use glidepath::{Glucose, Instant, review::{Config, EpisodeRule, Episodes}};
/// let mut episodes = Episodes::new(EpisodeRule::LOW_70, Config::default());
/// let mut found = Vec::new();
/// for (i, mg_dl) in [80.0, 75.0, 69.0, 66.0, 68.0, 72.0, 71.0, 74.0].into_iter().enumerate() {
///     found.extend(episodes.push(Instant::from_secs(300 * i as u32), Glucose::from_mg_dl(mg_dl)?));
/// }
/// assert_eq!((found[0].start.secs(), found[0].end.secs()), (600, 1500));
/// # Ok::<(), glidepath::Error>(())
/// ```
#[derive(Clone, Debug)]
pub struct Episodes {
    rule: EpisodeRule,
    config: Config,
    state: State,
    last: Option<Instant>,
}

impl Episodes {
    /// For one rule.
    #[must_use]
    pub const fn new(rule: EpisodeRule, config: Config) -> Self {
        Self { rule, config, state: State::START, last: None }
    }

    /// Takes the next reading and gives the episode that ended with it, or in the gap before it. A reading that is
    /// not later than the last is passed over.
    #[must_use]
    pub fn push(&mut self, at: Instant, glucose: Glucose) -> Option<Episode> {
        let step = self.last.map(|last| at.since(last).secs());
        if step.is_some_and(|step| step <= 0) {
            return None;
        }
        let cut = match self.last {
            Some(last) if at.since(last) > self.config.gap() => self.state.stop(&self.config, last),
            _ => None,
        };
        self.last = Some(at);
        let mark = self.rule.mark(hundredths(glucose, self.config.unit()), &self.config);
        // after a gap no episode is open, so that at most one of the two is there
        self.state.step(&self.rule, &self.config, at, mark).or(cut)
    }

    /// Ends the record: gives the episode that was still open.
    #[must_use]
    pub fn finish(&mut self) -> Option<Episode> {
        self.last.and_then(|last| self.state.stop(&self.config, last))
    }
}

#[cfg(test)]
mod tests {
    extern crate std;
    use super::*;
    use std::vec::Vec;

    fn run(values: &[f32], rule: EpisodeRule, config: Config) -> Vec<(u32, u32)> {
        let step = config.interval().secs().cast_unsigned();
        let mut episodes = Episodes::new(rule, config);
        let mut found: Vec<Episode> = (0_u32..)
            .zip(values)
            .filter_map(|(i, &v)| episodes.push(Instant::from_secs(i * step), Glucose::clamped(v)))
            .collect();
        found.extend(episodes.finish());
        found.iter().map(|e| (e.start.secs() / 60, e.end.secs() / 60)).collect()
    }

    #[test]
    fn a_gap_ends_an_episode_at_its_last_interval() {
        let config = Config::default();
        let mut episodes = Episodes::new(EpisodeRule::LOW_70, config);
        for at in [0, 300, 600] {
            assert_eq!(episodes.push(Instant::from_secs(at), Glucose::clamped(60.0)), None);
        }
        let cut = episodes.push(Instant::from_secs(4000), Glucose::clamped(60.0));
        assert_eq!(cut, Some(Episode { start: Instant::from_secs(0), end: Instant::from_secs(900) }));
    }

    #[test]
    fn highs_mirror_lows() {
        let values = [170.0, 181.0, 190.0, 185.0, 180.0, 175.0, 180.0];
        assert_eq!(run(&values, EpisodeRule::HIGH_180, Config::default()), [(5, 20)]);
    }

    #[test]
    fn the_limit_itself_is_no_low_and_no_high() {
        let config = Config::default();
        assert_eq!(run(&[70.0; 9], EpisodeRule::LOW_70, config), []);
        assert_eq!(run(&[180.0; 9], EpisodeRule::HIGH_180, config), []);
        assert_eq!(run(&[69.9; 9], EpisodeRule::LOW_70, config), [(0, 45)]);
        assert!(EpisodeRule::LOW_70.is_low() && !EpisodeRule::HIGH_180.is_low());
    }

    #[test]
    fn a_step_as_long_as_the_gap_still_joins() {
        let longest = Config::default().gap().secs().cast_unsigned();
        for (step, want) in [(longest, None), (longest + 1, Some(900))] {
            let mut episodes = Episodes::new(EpisodeRule::LOW_70, Config::default());
            for at in [0, 300, 600] {
                assert_eq!(episodes.push(Instant::from_secs(at), Glucose::clamped(60.0)), None);
            }
            let cut = episodes.push(Instant::from_secs(600 + step), Glucose::clamped(60.0));
            assert_eq!(cut.map(|episode| episode.end.secs()), want, "{step}");
        }
    }
}
