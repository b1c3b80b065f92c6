//! The record of one person.

use super::config::{Config, DayTime, Unit, hundredths as hundredths_of};
use super::days::Days;
use super::episodes::EpisodeRule;
use super::lagged::Lagged;
use super::pattern::Pattern;
use super::profile::{Compact, Grid};
use super::ranges;
use super::spells::Spells;
use super::summary::{Running, Summary, Totals};
use super::swings::Swings;
use crate::error::{Error, ErrorKind};
use crate::reading::{Reading, Status};
use crate::units::Instant;

/// What became of a reading given to [`Review::push`].
///
/// Feature `defmt` gives `Format`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[must_use]
#[non_exhaustive]
pub enum Pushed {
    /// Counted.
    Counted,
    /// Refused: not later than the one before.
    NotLater,
    /// Refused: the sensor reports a fault, and the value means nothing.
    Fault,
}

/// What the join of two records needs of a reading.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
struct Edge {
    at: Instant,
    hundredths: u32,
    class: u8,
}

/// The review of one person's readings in time order.
///
/// # Memory
/// With the [`Compact`] grid under 8 KiB, whatever the number of readings; with the [`Exact`](super::Exact) one about 208 kB.
///
/// # Examples
/// Weeks kept apart and joined:
/// ```
/// use glidepath::{Glucose, Instant, Reading, review::{Config, DayTime, Review}};
/// let mut weeks = [Review::new(Config::default()), Review::new(Config::default())];
/// for i in 0..4032 {
///     let at = Instant::from_secs(300 * i);
///     let reading = Reading::new(at, Glucose::from_mg_dl(120.0 + (i % 7) as f32)?);
///     let _ = weeks[(i / 2016) as usize].push(&reading, DayTime::from_secs(at.secs()));
/// }
/// let [mut both, second] = weeks;
/// both.append(&second)?;
/// assert_eq!(both.summary().readings, 4032);
/// assert!(both.summary().suffices());
/// # Ok::<(), glidepath::Error>(())
/// ```
#[derive(Clone, Debug, PartialEq)]
pub struct Review<G = Compact> {
    config: Config,
    running: Running,
    swings: Swings,
    lagged: Lagged,
    days: Days,
    spells: [Spells; EpisodeRule::ALL.len()],
    edges: Option<(Edge, Edge)>,
    pub(super) grid: G,
}

impl Review {
    /// An empty one with the [`Compact`] grid; [`Review::with_grid`] for another.
    #[must_use]
    pub fn new(config: Config) -> Self {
        Self::with_grid(config)
    }
}

impl<G: Grid> Review<G> {
    /// An empty one with the grid that its type names.
    ///
    /// # Examples
    /// ```
    /// use glidepath::review::{Config, Exact, Review};
    /// let review = Box::new(Review::<Exact>::with_grid(Config::default()));
    /// assert_eq!(review.summary().mean_mg_dl, None);
    /// ```
    #[must_use]
    pub fn with_grid(config: Config) -> Self {
        Self {
            config,
            running: Running::default(),
            swings: Swings::default(),
            lagged: Lagged::default(),
            days: Days::default(),
            spells: [Spells::default(); EpisodeRule::ALL.len()],
            edges: None,
            grid: G::default(),
        }
    }

    /// Takes the next reading, with the wearer's own clock; a refused one changes nothing.
    ///
    /// Readings under or over the sensor's range, in warm-up or doubted by the sensor count; leave them out by not giving
    /// them.
    ///
    /// # Examples
    /// ```
    /// use glidepath::{Glucose, Instant, Reading, review::{Config, DayTime, Pushed, Review}};
    /// let mut review = Review::new(Config::default());
    /// let reading = Reading::new(Instant::from_secs(300), Glucose::from_mg_dl(110.0)?);
    /// assert_eq!(review.push(&reading, DayTime::from_secs(300)), Pushed::Counted);
    /// assert_eq!(review.push(&reading, DayTime::from_secs(300)), Pushed::NotLater);
    /// # Ok::<(), glidepath::Error>(())
    /// ```
    pub fn push(&mut self, reading: &Reading, local: DayTime) -> Pushed {
        if reading.status() == Status::Fault {
            return Pushed::Fault;
        }
        let (at, glucose) = (reading.at(), reading.glucose());
        if self.edges.is_some_and(|(_, last)| at <= last.at) {
            return Pushed::NotLater;
        }
        let hundredths = hundredths_of(glucose, Unit::MgDl);
        let native = match self.config.unit() {
            Unit::MgDl => hundredths,
            Unit::MmolL => hundredths_of(glucose, Unit::MmolL),
        };
        let edge = Edge { at, hundredths, class: ranges::class(native, self.config.unit()) };
        let joined = self.join_edges(&edge);
        self.edges = Some((self.edges.map_or(edge, |(first, _)| first), edge));

        self.running.values.push(hundredths.cast_signed());
        self.running.tally.count(edge.class);
        self.running.risk.push(glucose, self.config.m_ideal_mg_dl());
        match reading.status() {
            Status::BelowRange => self.running.beyond[0] = self.running.beyond[0].saturating_add(1),
            Status::AboveRange => self.running.beyond[1] = self.running.beyond[1].saturating_add(1),
            _ => {}
        }
        self.swings.push(glucose.whole_mg_dl(), joined);
        self.lagged.push(at.secs(), hundredths);
        self.days.push(local.day(), local.minute(), hundredths, edge.class, self.config.interval_s());
        for (spells, rule) in self.spells.iter_mut().zip(&EpisodeRule::ALL) {
            spells.push(rule, &self.config, at, native, joined);
        }
        self.grid.count(local.minute(), hundredths);
        Pushed::Counted
    }

    /// Counts the pair of the last reading and the next; whether no gap lies between.
    fn join_edges(&mut self, next: &Edge) -> bool {
        let Some((_, last)) = self.edges else { return true };
        let step = next.at.secs().saturating_sub(last.at.secs());
        self.running.tally.cover(last.class, self.config.covered(Some(step)));
        let joined = self.config.joins(step);
        if joined {
            self.running.path.push(step, next.hundredths.abs_diff(last.hundredths));
        }
        joined
    }

    /// Adds the record that follows this one. The result is the same, bit for bit, as if all its readings had been given
    /// to this one.
    ///
    /// # Errors
    /// When the settings differ, or when `later` does not begin after the last reading here; nothing changes then.
    pub fn append(&mut self, later: &Self) -> Result<(), Error> {
        if self.config != later.config {
            return Err(Error::new("config", ErrorKind::Inconsistent));
        }
        let Some((later_first, later_last)) = later.edges else { return Ok(()) };
        if self.edges.is_some_and(|(_, last)| later_first.at <= last.at) {
            return Err(Error::new("later", ErrorKind::OutOfRange));
        }
        let joined = self.join_edges(&later_first);
        self.edges = Some((self.edges.map_or(later_first, |(first, _)| first), later_last));
        self.running.add(&later.running);
        self.swings.append(&later.swings, joined);
        self.lagged.append(&later.lagged);
        self.days.append(&later.days, self.config.interval_s());
        for ((spells, more), rule) in self.spells.iter_mut().zip(&later.spells).zip(&EpisodeRule::ALL) {
            spells.append(rule, &self.config, more, joined);
        }
        self.grid.add(&later.grid);
        Ok(())
    }

    /// All sums, as if the record ended here.
    pub(super) fn totals(&self) -> Totals {
        let mut totals = Totals { running: self.running.clone(), ..Totals::default() };
        if let Some((first, last)) = self.edges {
            totals.running.tally.cover(last.class, self.config.covered(None));
            let span =
                last.at.secs().saturating_sub(first.at.secs()).saturating_add(self.config.interval_s());
            totals.span = u64::from(span);
        }
        totals.swings = self.swings.counted();
        totals.differences = self.lagged.sums;
        totals.days = self.days.sums(self.config.interval_s());
        for ((total, spells), rule) in totals.episodes.iter_mut().zip(&self.spells).zip(&EpisodeRule::ALL) {
            *total = spells.total(rule, &self.config);
        }
        totals
    }

    /// The figures so far. Takes about 3 kB of stack.
    #[must_use]
    pub fn summary(&self) -> Summary {
        self.totals().summary(self.grid.sd_by_clock())
    }

    /// The up to three clearest patterns of the day, clearest first.
    ///
    /// The rule: two-hour windows at each full hour, on days on which every half hour of the window has a reading. A
    /// window counts when the number of days that hold the mark would come by chance with a probability under
    /// [`MAX_P_VALUE`](super::MAX_P_VALUE) at the share of all windows together (binomial), with at least [`DAYS_SEEN`](super::DAYS_SEEN) days seen and
    /// [`DAYS_HELD`](super::DAYS_HELD) held. Of overlapping windows on one side the clearest stands.
    ///
    /// # Examples
    /// ```
    /// use glidepath::{Glucose, Instant, Reading, review::{Config, DayTime, PatternKind, Review}};
    /// let mut review = Review::new(Config::default());
    /// for k in 0..14 * 288_u32 {
    ///     let early = (k % 288) < 36; // high from midnight to three, each night
    ///     let glucose = Glucose::from_mg_dl(if early { 230.0 } else { 120.0 })?;
    ///     let at = Instant::from_secs(300 * k);
    ///     let _ = review.push(&Reading::new(at, glucose), DayTime::from_secs(at.secs()));
    /// }
    /// assert!(review.patterns().iter().flatten().any(|pattern| pattern.kind == PatternKind::Above180 && pattern.days_held == 14));
    /// # Ok::<(), glidepath::Error>(())
    /// ```
    #[must_use]
    pub fn patterns(&self) -> [Option<Pattern>; 3] {
        self.totals().patterns()
    }

    /// The counts by time of day.
    #[must_use]
    pub fn grid(&self) -> &G {
        &self.grid
    }

    /// The settings.
    #[must_use]
    pub fn config(&self) -> Config {
        self.config
    }

    /// The first and the last reading's time.
    #[must_use]
    pub fn span(&self) -> Option<(Instant, Instant)> {
        self.edges.map(|(first, last)| (first.at, last.at))
    }
}
