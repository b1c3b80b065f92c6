//! Whether a sensor gets better or worse day by day.

use super::beta::student_t_95;
use super::interval::{ConfidenceInterval, degrees};
use crate::math;
use crate::moments::{Moments, Sum};

/// The slope of daily means over days of wear, say mg/dL of bias a day, with its 95 % interval. Each day, given as
/// its number and its mean, counts once; the degrees of freedom are half of a textbook's, as in
/// [`cluster_interval`](super::cluster_interval). `None` below three days, and when all are the same day.
///
/// Source: the least-squares line; standard error as in any textbook of statistics.
///
/// # Examples
/// ```
/// use glidepath::accuracy::drift_interval;
/// let drift = drift_interval(&[(1.0, 0.0), (2.0, 1.0), (3.0, 1.0), (4.0, 3.0)]).expect("four days");
/// assert!((drift.estimate() - 0.9).abs() < 1e-6);
/// assert!(drift.contains(0.0)); // four days show little
/// ```
#[must_use]
pub fn drift_interval(days: &[(f32, f32)]) -> Option<ConfidenceInterval> {
    let (mut time, mut value) = (Moments::default(), Moments::default());
    for (day, mean) in days {
        time.push(*day);
        value.push(*mean);
    }
    let (middle, level) = (time.mean()?, value.mean()?);
    let others = time.count().checked_sub(2).filter(|others| *others > 0)?;
    let (mut across, mut along) = (Sum::new(), Sum::new());
    for (day, mean) in days {
        let (x, y) = (day - middle, mean - level);
        across.add(x * y);
        along.add(x * x);
    }
    let along = along.total();
    if along <= 0.0 {
        return None;
    }
    let slope = across.total() / along;
    let mut left = Sum::new();
    for (day, mean) in days {
        let off = mean - level - slope * (day - middle);
        left.add(off * off);
    }
    let error = math::sqrt(left.total() / others as f32 / along);
    let count = time.count();
    Some(ConfidenceInterval::new(slope, student_t_95(degrees(count.saturating_sub(1))) * error, count))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_slope_agrees_with_a_general_library() {
        // scipy.stats.linregress: slope 0.9, stderr 0.264575; scipy.stats.t.ppf(0.975, 1) = 12.706205
        let drift = drift_interval(&[(1.0, 0.0), (2.0, 1.0), (3.0, 1.0), (4.0, 3.0)]).unwrap();
        assert!((drift.estimate() - 0.9).abs() < 1e-6);
        assert!((drift.upper() - drift.estimate() - 12.706_205 * 0.264_575).abs() < 2e-3, "{drift:?}");
        assert_eq!(drift.clusters(), 4);
    }

    #[test]
    fn too_little_gives_nothing() {
        assert!(drift_interval(&[(1.0, 0.0), (2.0, 1.0)]).is_none());
        assert!(drift_interval(&[(1.0, 0.0), (1.0, 1.0), (1.0, 2.0)]).is_none());
        assert!(drift_interval(&[]).is_none());
    }

    #[test]
    fn days_without_readings_may_lie_between() {
        // scipy.stats.linregress: slope 0.5, stderr 0.1077783; scipy.stats.t.ppf(0.975, 1.5) = 6.0166631
        let drift = drift_interval(&[(1.0, 3.0), (2.0, 4.0), (4.0, 3.0), (7.0, 6.0), (11.0, 8.0)]).unwrap();
        assert!((drift.estimate() - 0.5).abs() < 1e-6);
        assert!(
            (drift.upper() - 1.148_466).abs() < 2e-4 && (drift.lower() + 0.148_466).abs() < 2e-4,
            "{drift:?}"
        );
    }
}
