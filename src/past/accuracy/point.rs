//! Bias, absolute and relative differences of pairs, streaming.

use super::interval::{ConfidenceInterval, by_cluster};
use super::limits::LimitsOfAgreement;
use super::pair::Pair;
use crate::math;
use crate::moments::Moments;

/// Bias, MAD, MARD, relative bias, RMSE and the spread of the differences. 80 bytes, whatever the number of
/// pairs.
///
/// # Examples
/// ```
/// use glidepath::accuracy::{Pair, PointAccuracy};
/// use glidepath::{Glucose, Instant};
/// let mg_dl = Glucose::from_mg_dl;
/// let mut accuracy = PointAccuracy::new();
/// for (sensor, reference) in [(110.0, 100.0), (190.0, 200.0)] {
///     accuracy.push(&Pair::new(Instant::from_secs(0), mg_dl(sensor)?, mg_dl(reference)?)?);
/// }
/// assert_eq!(accuracy.bias_mg_dl(), Some(0.0));
/// assert_eq!(accuracy.mad_mg_dl(), Some(10.0));
/// assert_eq!(accuracy.mard_percent(), Some(7.5)); // the mean of 10 % and 5 %
/// # Ok::<(), glidepath::Error>(())
/// ```
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct PointAccuracy {
    difference: Moments,
    absolute: Moments,
    relative: Moments,
    absolute_relative: Moments,
}

impl PointAccuracy {
    /// No pairs yet.
    #[must_use]
    pub fn new() -> Self {
        Self::default()
    }

    /// Takes one pair in.
    pub fn push(&mut self, pair: &Pair) {
        self.difference.push(pair.difference_mg_dl());
        self.absolute.push(pair.difference_mg_dl().abs());
        self.relative.push(pair.relative_difference_percent());
        self.absolute_relative.push(pair.relative_difference_percent().abs());
    }

    /// As if every pair of `other` had been pushed here.
    pub fn merge(&mut self, other: &Self) {
        self.difference.merge(&other.difference);
        self.absolute.merge(&other.absolute);
        self.relative.merge(&other.relative);
        self.absolute_relative.merge(&other.absolute_relative);
    }

    /// How many pairs.
    #[must_use]
    pub fn pairs(&self) -> u32 {
        self.difference.count()
    }

    /// The mean difference, sensor minus reference, mg/dL.
    #[must_use]
    pub fn bias_mg_dl(&self) -> Option<f32> {
        self.difference.mean()
    }

    /// The mean absolute difference, mg/dL.
    #[must_use]
    pub fn mad_mg_dl(&self) -> Option<f32> {
        self.absolute.mean()
    }

    /// The mean absolute relative difference, percent of the reference: the mean of the ratios, not the ratio
    /// of the means.
    #[must_use]
    pub fn mard_percent(&self) -> Option<f32> {
        self.absolute_relative.mean()
    }

    /// The mean relative difference, percent of the reference.
    #[must_use]
    pub fn relative_bias_percent(&self) -> Option<f32> {
        self.relative.mean()
    }

    /// The standard deviation of the differences, divisor n − 1, mg/dL; `None` below two pairs.
    #[must_use]
    pub fn sd_mg_dl(&self) -> Option<f32> {
        self.difference.sd()
    }

    /// The root mean square difference, mg/dL.
    #[must_use]
    pub fn rmse_mg_dl(&self) -> Option<f32> {
        self.difference.mean_square().map(math::sqrt)
    }

    /// The limits between which 95 % of differences lie; `None` below two pairs.
    #[must_use]
    pub fn limits_of_agreement(&self) -> Option<LimitsOfAgreement> {
        LimitsOfAgreement::from_moments(&self.difference)
    }
}

/// The bias with a 95 % interval that takes each part, say a day, as one draw: errors within a day hang
/// together, so the number of days counts and not the number of pairs. `None` below two parts with pairs.
///
/// # Examples
/// ```
/// use glidepath::accuracy::{Pair, PointAccuracy, bias_interval};
/// use glidepath::{Glucose, Instant};
/// let mg_dl = Glucose::from_mg_dl;
/// let mut days = [PointAccuracy::new(); 2];
/// for (day, sensor) in days.iter_mut().zip([104.0, 108.0]) {
///     day.push(&Pair::new(Instant::from_secs(0), mg_dl(sensor)?, mg_dl(100.0)?)?);
/// }
/// let bias = bias_interval(&days).expect("two days");
/// assert_eq!(bias.estimate(), 6.0);
/// assert!(bias.contains(0.0)); // two days show very little
/// # Ok::<(), glidepath::Error>(())
/// ```
#[must_use]
pub fn bias_interval(parts: &[PointAccuracy]) -> Option<ConfidenceInterval> {
    by_cluster(parts.iter().map(|part| summary(&part.difference)))
}

/// The MARD, percent, with a 95 % interval as in [`bias_interval`], taken on the scale of logarithms as relative
/// differences have a long upper tail.
#[must_use]
pub fn mard_interval(parts: &[PointAccuracy]) -> Option<ConfidenceInterval> {
    by_cluster(parts.iter().map(|part| summary(&part.absolute_relative)))
        .map(ConfidenceInterval::on_log_scale)
}

fn summary(moments: &Moments) -> (u32, f32) {
    (moments.count(), moments.mean().unwrap_or(0.0))
}

/// The median of `values`, the mean of the middle two when their number is even; sorts them. For the median
/// absolute relative difference, which needs every value.
///
/// # Examples
/// ```
/// assert_eq!(glidepath::accuracy::median(&mut [3.0, 1.0, 2.0, 10.0]), Some(2.5));
/// assert_eq!(glidepath::accuracy::median(&mut []), None);
/// ```
#[must_use]
pub fn median(values: &mut [f32]) -> Option<f32> {
    math::sort(values);
    let high = values.get(values.len() >> 1)?;
    let low = values.get(values.len().saturating_sub(1) >> 1)?;
    Some(0.5 * (low + high))
}

#[cfg(test)]
mod tests {
    extern crate std;
    use super::*;
    use crate::units::{Glucose, Instant};
    use proptest::prelude::*;

    #[test]
    fn nothing_gives_nothing() {
        let none = PointAccuracy::new();
        assert_eq!((none.bias_mg_dl(), none.mard_percent(), none.rmse_mg_dl()), (None, None, None));
        assert!(none.limits_of_agreement().is_none());
        assert!(bias_interval(&[none, none]).is_none());
    }

    #[test]
    fn intervals_take_each_day_as_one_draw() {
        let day = |sensors: [f32; 2]| {
            let mut day = PointAccuracy::new();
            for sensor in sensors {
                let glucose = (Glucose::clamped(sensor), Glucose::clamped(100.0));
                day.push(&Pair::new(Instant::from_secs(0), glucose.0, glucose.1).unwrap());
            }
            day
        };
        // daily bias 1, 2 and 3, daily MARD 5, 6 and 7 %: mean 2 and 6, half width 12.706205 / sqrt 3
        let days = [day([106.0, 96.0]), day([108.0, 96.0]), day([110.0, 96.0])];
        let bias = bias_interval(&days).unwrap();
        assert!((bias.estimate() - 2.0).abs() < 1e-5 && (bias.upper() - 9.335_931).abs() < 2e-3, "{bias:?}");
        // 6 exp(7.335931 / 6)
        let mard = mard_interval(&days).unwrap();
        assert!((mard.estimate() - 6.0).abs() < 1e-5 && (mard.upper() - 20.377_3).abs() < 2e-2, "{mard:?}");
        assert_eq!((bias.clusters(), mard.clusters()), (3, 3));
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(if cfg!(miri) { 2 } else { 64 }))]
        #[test]
        fn parts_merge_to_the_whole(pairs in prop::collection::vec((40.0_f32..400.0, 40.0_f32..400.0), 1..60)) {
            let (mut whole, mut parts) = (PointAccuracy::new(), [PointAccuracy::new(); 3]);
            for (i, (sensor, reference)) in pairs.iter().enumerate() {
                let at = Instant::from_secs(0);
                let pair = Pair::new(at, Glucose::clamped(*sensor), Glucose::clamped(*reference)).unwrap();
                whole.push(&pair);
                parts[i % 3].push(&pair);
            }
            let mut merged = PointAccuracy::new();
            parts.iter().for_each(|part| merged.merge(part));
            prop_assert_eq!(merged.pairs(), whole.pairs());
            prop_assert!((merged.bias_mg_dl().unwrap() - whole.bias_mg_dl().unwrap()).abs() < 1e-3);
            prop_assert!((merged.mard_percent().unwrap() - whole.mard_percent().unwrap()).abs() < 1e-3);
            if let Some(interval) = bias_interval(&parts) {
                prop_assert!((interval.estimate() - whole.bias_mg_dl().unwrap()).abs() < 1e-3);
                prop_assert!(interval.lower() <= interval.estimate() && interval.estimate() <= interval.upper());
            }
            if let Some(mard) = mard_interval(&parts) {
                prop_assert!(mard.lower() >= 0.0);
                prop_assert!(mard.upper() - mard.estimate() >= mard.estimate() - mard.lower() - 1e-3);
            }
        }
    }
}
