//! A figure with its 95 % interval, for data that come in clusters.

use super::beta::student_t_95;
use crate::math;
use crate::moments::Moments;

/// A figure and its two-sided 95 % interval. 16 bytes.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Interval {
    estimate: f32,
    half: f32,
    clusters: u32,
}

impl Interval {
    pub(super) const fn new(estimate: f32, half: f32, clusters: u32) -> Self {
        Self { estimate, half, clusters }
    }

    /// The figure itself.
    #[must_use]
    pub const fn estimate(&self) -> f32 {
        self.estimate
    }

    /// The interval's lower end.
    #[must_use]
    pub const fn lower(&self) -> f32 {
        self.estimate - self.half
    }

    /// The interval's upper end.
    #[must_use]
    pub const fn upper(&self) -> f32 {
        self.estimate + self.half
    }

    /// How many independent parts it rests on.
    #[must_use]
    pub const fn clusters(&self) -> u32 {
        self.clusters
    }

    /// Whether `value` lies within, the ends included.
    #[must_use]
    pub const fn contains(&self, value: f32) -> bool {
        self.lower() <= value && value <= self.upper()
    }
}

/// The mean over all values with the interval that clusters allow: the spread of the clusters' sums about the
/// mean, with Student's t for the number of clusters.
///
/// Source: Cochran (1977), Sampling Techniques, 3rd ed., section 2.11 (ratio estimate over clusters).
pub(super) fn by_cluster<'a>(clusters: impl Iterator<Item = &'a Moments> + Clone) -> Option<Interval> {
    let filled = clusters.filter(|cluster| cluster.count() > 0);
    let mut all = Moments::default();
    filled.clone().for_each(|cluster| all.merge(cluster));
    let mean = all.mean()?;
    let parts = u32::try_from(filled.clone().count()).ok()?;
    let degrees = parts.checked_sub(1).filter(|degrees| *degrees > 0)?;
    let spread: f32 = filled
        .filter_map(|cluster| {
            let share = cluster.count() as f32 / all.count() as f32;
            Some(share * (cluster.mean()? - mean))
        })
        .map(|part| part * part)
        .sum();
    let error = math::sqrt(spread * parts as f32 / degrees as f32);
    Some(Interval::new(mean, student_t_95(degrees) * error, parts))
}

#[cfg(all(test, not(feature = "micromath")))]
mod tests {
    use super::*;

    #[test]
    fn clusters_of_one_give_the_textbook_interval() {
        // mean 2, SD 1, n 3: t(0.975, 2) / sqrt 3 = 4.302653 / 1.732051 = 2.484138
        let one = |x| {
            let mut moments = Moments::default();
            moments.push(x);
            moments
        };
        let clusters = [one(1.0), one(2.0), Moments::default(), one(3.0)];
        let interval = by_cluster(clusters.iter()).unwrap();
        assert_eq!((interval.estimate(), interval.clusters()), (2.0, 3));
        assert!((interval.upper() - 4.484_138).abs() < 1e-3, "{interval:?}");
        assert!((interval.lower() + 0.484_138).abs() < 1e-3, "{interval:?}");
        assert!(by_cluster(clusters.iter().take(1)).is_none());
    }
}
