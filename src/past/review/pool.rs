//! Records of several people added up.

use super::episodes::EpisodeRule;
use super::profile::{self, Compact, Grid};
use super::record::Review;
use super::risk::RiskOfMany;
use super::summary::{Summary, Totals};
use super::swings::{Counted, SwingsOfMany};
use crate::codec::{Codec, Coded};
use crate::error::{Error, ErrorKind};

/// Reviews of several people, or of stretches far apart, added up: each record is closed where it ends, and none joins
/// another. The order of adding does not matter, nor which pools were merged first: all that is kept are whole numbers. They
/// are wide enough for 4,000 million readings.
///
/// # Memory
/// About 6 kB beside the grid's.
///
/// # Examples
/// ```
/// use glidepath::review::{Config, Pool, Review};
/// let mut pool = Pool::default();
/// pool.add(&Review::new(Config::default()));
/// assert_eq!(pool.records(), 1);
/// assert_eq!(pool.summary().mean_mg_dl, None);
/// ```
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Pool<G = Compact> {
    /// What is kept wider stands at nothing here.
    totals: Totals,
    many: Many,
    grid: G,
    records: u32,
}

/// Sums that many records bring past the width they have in one.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
struct Many {
    risk: RiskOfMany,
    swings: SwingsOfMany,
    day_mean_squares: u128,
    episode_seconds: [u64; EpisodeRule::ALL.len()],
}

impl Many {
    fn add_one(&mut self, one: &Totals) {
        self.risk.add_one(&one.running.risk);
        self.swings.add_one(&one.swings);
        self.day_mean_squares = self.day_mean_squares.saturating_add(one.days.mean_square());
        for (mine, more) in self.episode_seconds.iter_mut().zip(one.episodes) {
            *mine = mine.saturating_add(u64::from(more.seconds));
        }
    }

    fn add(&mut self, other: &Self) {
        self.risk.add(&other.risk);
        self.swings.add(&other.swings);
        self.day_mean_squares = self.day_mean_squares.saturating_add(other.day_mean_squares);
        for (mine, more) in self.episode_seconds.iter_mut().zip(other.episode_seconds) {
            *mine = mine.saturating_add(more);
        }
    }
}

impl Coded for Many {
    fn code(&mut self, codec: &mut Codec<'_>) {
        let Self { risk, swings, day_mean_squares, episode_seconds } = self;
        risk.code(codec);
        swings.code(codec);
        day_mean_squares.code(codec);
        episode_seconds.iter_mut().for_each(|seconds| seconds.code(codec));
    }
}

/// What tells a pool's bytes from others, and their version: it changes whenever any part of them does.
const MAGIC: [u8; 4] = *b"GPRP";
const VERSION: u16 = 1;

impl<G: Grid> Pool<G> {
    /// Bytes that [`Pool::save`] never exceeds: 13 kB with the [`Compact`] grid, 310 kB with the [`Exact`](super::Exact) one. A
    /// week of one person takes some 20 kB with the latter.
    pub const SAVED_BYTES: usize = G::SAVED_BYTES.saturating_add(8192);

    /// Adds one record. Sensors of different intervals and units add up; the M-value means something only if all share
    /// one ideal, and episodes if all share one rule of counting.
    pub fn add(&mut self, review: &Review<G>) {
        let mut totals = review.totals();
        self.many.add_one(&totals);
        totals.swings = Counted::default();
        self.totals.add(&totals);
        self.grid.add(&review.grid);
        self.records = self.records.saturating_add(1);
    }

    /// Adds another pool.
    pub fn merge(&mut self, other: &Self) {
        self.totals.add(&other.totals);
        self.many.add(&other.many);
        self.grid.add(&other.grid);
        self.records = self.records.saturating_add(other.records);
    }

    /// How many records were added.
    #[must_use]
    pub fn records(&self) -> u32 {
        self.records
    }

    /// The figures over all readings of all records; `days` is the sum of theirs. Spread between people is part of the
    /// SD, and so of CV, J and the threshold of MAGE. The time of episodes ends at 2³² − 1 s there; see
    /// [`Pool::episode_seconds`].
    #[must_use]
    pub fn summary(&self) -> Summary {
        let narrow = self.totals.summary(self.grid.sd_by_clock());
        let [lbgi, hbgi, m_value] =
            self.many.risk.means(narrow.readings).map_or([None; 3], |means| means.map(Some));
        let [mage_rises_mg_dl, mage_falls_mg_dl, mage_mg_dl] =
            narrow.sd_mg_dl.map_or([None; 3], |sd| self.many.swings.means(sd));
        let sd_between_day_means = self.totals.days.sd_of_means_of_many(self.many.day_mean_squares);
        Summary {
            lbgi,
            hbgi,
            m_value,
            mage_rises_mg_dl,
            mage_falls_mg_dl,
            mage_mg_dl,
            sd_between_day_means,
            ..narrow
        }
    }

    /// The time of episodes by the rules of [`EpisodeRule::ALL`], seconds.
    #[must_use]
    pub fn episode_seconds(&self) -> [u64; EpisodeRule::ALL.len()] {
        self.many.episode_seconds
    }

    /// The counts by time of day.
    #[must_use]
    pub fn grid(&self) -> &G {
        &self.grid
    }

    /// Writes it to the front of `buffer`, for another machine or another day; gives the number of bytes. Equal pools give equal
    /// bytes. It stays as it is; it is borrowed as for a change because the same code walks over it to read.
    ///
    /// # Errors
    /// When the buffer is too small; [`Pool::SAVED_BYTES`] is enough.
    ///
    /// # Examples
    /// ```
    /// use glidepath::review::{Compact, Config, Pool, Review};
    /// let mut pool = Pool::<Compact>::default();
    /// pool.add(&Review::new(Config::default()));
    /// let mut buffer = [0; Pool::<Compact>::SAVED_BYTES];
    /// let length = pool.save(&mut buffer)?;
    /// let mut other = Pool::<Compact>::default();
    /// other.load(&buffer[..length])?;
    /// assert_eq!(other, pool);
    /// # Ok::<(), glidepath::Error>(())
    /// ```
    pub fn save(&mut self, buffer: &mut [u8]) -> Result<usize, Error> {
        let mut codec = Codec::saving(buffer);
        self.code(&mut codec);
        codec.end().ok_or(Error::new("buffer", ErrorKind::OutOfRange))
    }

    /// Becomes the pool whose bytes these are, all of them.
    ///
    /// # Errors
    /// When they are none, not whole, or of another version; nothing changes then. They have no checksum: keep one beside them
    /// where they may be damaged.
    pub fn load(&mut self, bytes: &[u8]) -> Result<(), Error> {
        let mut check = Codec::checking(bytes);
        self.code(&mut check);
        if check.end() != Some(bytes.len()) {
            return Err(Error::new("bytes", ErrorKind::Inconsistent));
        }
        self.code(&mut Codec::loading(bytes));
        Ok(())
    }
}

impl<G: Grid> Coded for Pool<G> {
    fn code(&mut self, codec: &mut Codec<'_>) {
        let (mut magic, mut version) = (MAGIC, VERSION);
        codec.bytes(&mut magic);
        let version = codec.half(&mut version);
        codec.demand(magic == MAGIC && version == VERSION);
        let classes = u16::try_from(G::CLASSES).unwrap_or(u16::MAX);
        let same = codec.half(&mut classes.clone()) == classes;
        codec.demand(same);
        if codec.end().is_none() {
            return;
        }
        let Self { totals, many, grid, records } = self;
        codec.word(records);
        totals.code(codec);
        many.code(codec);
        profile::code(grid, codec);
    }
}
