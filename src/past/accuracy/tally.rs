//! How often something held, and how low the true rate may be.

use super::beta::incomplete_beta;
use crate::error::{Error, ErrorKind};
use crate::math;

/// The normal deviate of one-sided 95 %.
const Z: f32 = 1.644_853_6;
/// What is left outside.
const ALPHA: f32 = 0.05;

/// A count of hits among trials. 8 bytes.
///
/// Both bounds here are one-sided, 95 %, and take the trials as independent. Readings of one sensor are not;
/// [`cluster_lower_percent`] respects that.
///
/// Feature `defmt` gives `Format`.
///
/// # Examples
/// ```
/// use glidepath::accuracy::Tally;
/// let tally = Tally::new(180, 200)?;
/// assert_eq!(tally.percent(), Some(90.0));
/// let bound = tally.exact_lower_percent().unwrap_or(0.0);
/// assert!((bound - 85.8).abs() < 0.5); // 90 % seen, at least 85.8 % shown
/// # Ok::<(), glidepath::Error>(())
/// ```
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Tally {
    hits: u32,
    trials: u32,
}

impl Tally {
    /// `hits` of `trials`.
    ///
    /// # Errors
    /// When there are more hits than trials.
    pub const fn new(hits: u32, trials: u32) -> Result<Self, Error> {
        if hits > trials {
            return Err(Error::new("hits", ErrorKind::Inconsistent));
        }
        Ok(Self { hits, trials })
    }

    /// Counts one more trial. At 2³² − 1 trials it stops counting.
    pub fn push(&mut self, hit: bool) {
        if let Some(trials) = self.trials.checked_add(1) {
            self.trials = trials;
            self.hits = self.hits.saturating_add(u32::from(hit));
        }
    }

    /// Both tallies in one; unchanged when their trials together overflow.
    #[must_use]
    pub const fn merged(self, other: Self) -> Self {
        match self.trials.checked_add(other.trials) {
            Some(trials) => Self { hits: self.hits.saturating_add(other.hits), trials },
            None => self,
        }
    }

    /// How often it held.
    #[must_use]
    pub const fn hits(&self) -> u32 {
        self.hits
    }

    /// How often it was tried.
    #[must_use]
    pub const fn trials(&self) -> u32 {
        self.trials
    }

    /// How often it did not hold.
    #[must_use]
    pub const fn misses(&self) -> u32 {
        self.trials.saturating_sub(self.hits)
    }

    /// The share of hits, percent.
    #[must_use]
    pub fn percent(&self) -> Option<f32> {
        (self.trials > 0).then(|| 100.0 * self.hits as f32 / self.trials as f32)
    }

    /// The exact lower bound, percent: the rate at which this many hits or more would come in 5 % of cases.
    /// Within 0.01 of a percentage point up to 100,000 trials.
    ///
    /// Source: Clopper and Pearson (1934), Biometrika 26:404–413.
    #[must_use]
    pub fn exact_lower_percent(&self) -> Option<f32> {
        if self.trials == 0 {
            return None;
        }
        if self.hits == 0 {
            return Some(0.0);
        }
        if self.misses() == 0 {
            return Some(100.0 * math::exp_fine(math::ln_fine(ALPHA) / self.trials as f32));
        }
        let (hits, misses) = (self.hits as f32, self.misses() as f32);
        // halved on the side of the misses, where f32 has digits to spare for rates near 100 %
        let (mut low, mut high) = (0.0_f32, 1.0_f32);
        for _ in 0..40 {
            let miss_rate = 0.5 * (low + high);
            if incomplete_beta(1.0 - miss_rate, miss_rate, hits, misses + 1.0) > ALPHA {
                low = miss_rate;
            } else {
                high = miss_rate;
            }
        }
        Some(100.0 * (1.0 - 0.5 * (low + high)))
    }

    /// The score bound, percent: a little higher than the exact one.
    ///
    /// Source: Wilson (1927), J. Am. Stat. Assoc. 22:209–212.
    #[must_use]
    pub fn wilson_lower_percent(&self) -> Option<f32> {
        let p = self.percent()? / 100.0;
        let n = self.trials as f32;
        let spread = math::sqrt(p * (1.0 - p) / n + Z * Z / (4.0 * n * n));
        let bound = (p + Z * Z / (2.0 * n) - Z * spread) / (1.0 + Z * Z / n);
        Some(100.0 * bound.max(0.0))
    }
}

/// The lower bound, percent, of the rate over all clusters (say one tally a day), one-sided 95 %, by drawing
/// whole clusters with replacement: readings of one day fail together, and this bound knows it.
///
/// Draws `scratch.len()` times (2,000 are plenty) and leaves the drawn rates there, sorted. Same `seed`, same
/// bound. `None` with fewer than two clusters that have trials, without scratch, or when no cluster has a
/// miss, as drawing from clean clusters says nothing.
///
/// Source: Efron and Tibshirani (1993), An Introduction to the Bootstrap, chapters 8 and 13; drawing clusters
/// is what Diabetes Technol. Ther. (2022), doi:10.1089/dia.2022.0331, recommends for these rates.
///
/// # Examples
/// ```
/// use glidepath::accuracy::{Tally, cluster_lower_percent};
/// let days = [Tally::new(48, 50)?, Tally::new(44, 50)?, Tally::new(50, 50)?, Tally::new(36, 50)?];
/// let bound = cluster_lower_percent(&days, 1, &mut [0.0; 2000]).unwrap_or(0.0);
/// assert!((bound - 79.0).abs() <= 1.0); // treating readings as independent gives 84.7
/// # Ok::<(), glidepath::Error>(())
/// ```
#[must_use]
pub fn cluster_lower_percent(clusters: &[Tally], seed: u32, scratch: &mut [f32]) -> Option<f32> {
    let clusters = || clusters.iter().filter(|cluster| cluster.trials > 0);
    let count = u32::try_from(clusters().count()).ok()?;
    if count < 2 || clusters().all(|cluster| cluster.misses() == 0) {
        return None;
    }
    let mut random = Random(seed);
    for rate in scratch.iter_mut() {
        let mut sum = Tally::default();
        for _ in 0..count {
            if let Some(cluster) = clusters().nth(random.below(count)) {
                sum = sum.merged(*cluster);
            }
        }
        *rate = sum.percent()?;
    }
    math::sort(scratch);
    let rank = scratch.len().div_ceil(20).checked_sub(1)?;
    scratch.get(rank).copied()
}

/// A counter through the finaliser of MurmurHash3 (public domain), for drawing and nothing else.
struct Random(u32);

impl Random {
    fn below(&mut self, limit: u32) -> usize {
        self.0 = self.0.wrapping_add(0x9e37_79b9);
        let mut x = self.0;
        x = (x ^ (x >> 16)).wrapping_mul(0x85eb_ca6b);
        x = (x ^ (x >> 13)).wrapping_mul(0xc2b2_ae35);
        x ^= x >> 16;
        let scaled = u64::from(x).wrapping_mul(u64::from(limit)) >> 32;
        usize::try_from(scaled).unwrap_or(0)
    }
}

#[cfg(test)]
mod tests {
    extern crate std;
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn nothing_tried_gives_nothing() {
        let none = Tally::default();
        assert_eq!(
            (none.percent(), none.exact_lower_percent(), none.wilson_lower_percent()),
            (None, None, None)
        );
        assert!(Tally::new(2, 1).is_err());
        assert_eq!(cluster_lower_percent(&[], 1, &mut [0.0; 10]), None);
    }

    #[test]
    fn clean_or_single_clusters_and_no_scratch_say_nothing() {
        let (clean, missed) = (Tally::new(5, 5).unwrap(), Tally::new(4, 5).unwrap());
        assert_eq!(cluster_lower_percent(&[clean, clean], 1, &mut [0.0; 10]), None);
        assert_eq!(cluster_lower_percent(&[missed, Tally::default()], 1, &mut [0.0; 10]), None);
        assert_eq!(cluster_lower_percent(&[missed, clean], 1, &mut []), None);
    }

    #[test]
    fn drawing_is_even() {
        let mut random = Random(7);
        let mut seen = [0_u32; 5];
        for _ in 0..10_000 {
            seen[random.below(5)] += 1;
        }
        // 2,000 each; five standard deviations are 200
        assert!(seen.iter().all(|n| n.abs_diff(2_000) < 200), "{seen:?}");
    }

    #[test]
    fn two_clusters_are_enough_and_a_seed_draws_the_same() {
        let clusters = [Tally::new(5, 5).unwrap(), Tally::new(4, 5).unwrap()];
        // both draws fall on the second in a quarter of cases, so the 5 % point is its 80 %
        assert_eq!(cluster_lower_percent(&clusters, 1, &mut [0.0; 200]), Some(80.0));
        // MurmurHash3's 32-bit finaliser of 0x9e3779b9 and of twice that, worked apart, without the lowest bit
        let mut random = Random(0);
        assert_eq!([random.below(1 << 31), random.below(1 << 31)], [1_231_361_927, 510_358_009]);
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(if cfg!(miri) { 2 } else { 128 }))]
        #[test]
        fn bounds_are_ordered(trials in 1_u32..5_000, part in 0.0_f32..=1.0) {
            let hits = ((trials as f32 * part) as u32).min(trials);
            let tally = Tally::new(hits, trials).unwrap();
            let (point, exact) = (tally.percent().unwrap(), tally.exact_lower_percent().unwrap());
            prop_assert!((0.0..=100.0).contains(&exact) && exact <= point + 1e-3, "{} {}", exact, point);
            prop_assert!(tally.wilson_lower_percent().unwrap() <= point + 1e-3);
            // one more hit never lowers the bound
            if let Ok(better) = Tally::new(hits + 1, trials) {
                prop_assert!(better.exact_lower_percent().unwrap() >= exact - 1e-3);
            }
        }
    }
}
