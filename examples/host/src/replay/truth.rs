//! How close a series came to the truth beside it, and how far it ran behind.

use serde::Serialize;

/// A series against the truth.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct Against {
    /// Root of the mean squared difference at the same moment, mg/dL.
    pub rmse_mg_dl: f64,
    /// How far the series runs behind: the shift that brings it closest to the truth, minutes.
    ///
    /// Source: A. Facchinetti et al., IEEE Trans Biomed Eng 57:634, 2010, where a filter's delay is so defined.
    pub delay_min: f64,
}

/// Shifts tried, minutes.
const EARLIEST: f64 = -15.0;
const LATEST: f64 = 45.0;
/// More moments than this add nothing but time.
const MOMENTS: usize = 20_000;

/// Compares `series` with `truth`, both (seconds, mg/dL) in order of time; the series is taken as a straight line
/// between points up to `longest_step` seconds apart. `None` when they never meet.
pub fn against(truth: &[(f64, f64)], series: &[(f64, f64)], longest_step: f64) -> Option<Against> {
    let every = truth.len().div_ceil(MOMENTS).max(1);
    let few: Vec<(f64, f64)> = truth.iter().step_by(every).copied().collect();
    let rmse_mg_dl = mean_square(truth, series, longest_step, 0.0)?.sqrt();
    let closest = |from: f64, to: f64, step: f64| {
        let steps = ((to - from) / step).round() as u32;
        let tried = (0..=steps).map(|n| from + f64::from(n) * step);
        tried
            .filter_map(|shift| Some((shift, mean_square(&few, series, longest_step, shift * 60.0)?)))
            .min_by(|a, b| a.1.total_cmp(&b.1))
            .map(|(shift, _)| shift)
    };
    let coarse = closest(EARLIEST, LATEST, 1.0)?;
    let delay_min = closest(coarse - 1.0, coarse + 1.0, 0.1)?;
    Some(Against { rmse_mg_dl, delay_min })
}

/// Mean squared difference of the truth from the series `shift` seconds later.
fn mean_square(truth: &[(f64, f64)], series: &[(f64, f64)], longest_step: f64, shift: f64) -> Option<f64> {
    let (mut sum, mut count) = (0.0, 0_u32);
    let mut next = 0;
    for (at, value) in truth {
        let at = at + shift;
        while series.get(next).is_some_and(|(time, _)| *time < at) {
            next += 1;
        }
        let Some(&(after, high)) = series.get(next) else { break };
        let seen = if after == at {
            high
        } else {
            let Some(&(before, low)) = next.checked_sub(1).and_then(|n| series.get(n)) else { continue };
            if after - before > longest_step {
                continue;
            }
            low + (high - low) * (at - before) / (after - before)
        };
        sum += (seen - value) * (seen - value);
        count += 1;
    }
    (count > 0).then(|| sum / f64::from(count))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_late_copy_is_late_by_its_delay() {
        let wave = |minute: f64| 140.0 + 50.0 * (minute / 40.0).sin();
        let series = |late: f64, high: f64| -> Vec<(f64, f64)> {
            (0..400).map(|n| f64::from(n) * 5.0).map(|m| (m * 60.0, wave(m - late) + high)).collect()
        };
        let truth = series(0.0, 0.0);
        let same = against(&truth, &truth, 900.0).unwrap();
        assert!(same.rmse_mg_dl.abs() < 1e-9 && same.delay_min.abs() < 0.05, "{same:?}");
        let late = against(&truth, &series(7.5, 0.0), 900.0).unwrap();
        assert!((late.delay_min - 7.5).abs() < 0.15 && late.rmse_mg_dl > 5.0, "{late:?}");
        let high = against(&truth, &series(0.0, 10.0), 900.0).unwrap();
        assert!((high.rmse_mg_dl - 10.0).abs() < 1e-6, "{high:?}");
        assert_eq!(against(&truth, &[], 900.0), None);
        assert_eq!(against(&truth, &[(1e9, 1.0)], 900.0), None);
    }
}
