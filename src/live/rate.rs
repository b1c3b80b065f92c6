//! Windowed rates of change from a history of readings: two-point, least squares, robust.
//!
//! For who wants a rate without the estimator. All use the real times, ignore readings whose status says the
//! value is not a measurement, and lag by half the window.
//!
//! | estimator | noise, white sd `s`, spacing `d`, N readings | delay |
//! | --- | --- | --- |
//! | two-point over W | s·√2 / W | W / 2 |
//! | least squares | s/d · √(12 / (N(N² − 1))) | W / 2 |
//! | robust (median of pairwise slopes) | about 1.05 times least squares | W / 2 |
//!
//! Sources: textbook regression; the robust slope is Theil (1950) and Sen (1968), J. Am. Stat. Assoc. 63.

use crate::history::HistoryView;
use crate::reading::{Reading, Status};
use crate::units::{Rate, Span};

fn measured(reading: &Reading) -> bool {
    matches!(reading.status(), Status::Normal | Status::Doubtful | Status::WarmUp)
}

/// The measured readings of the last `window` before and with the newest: minutes relative to the newest
/// (0 or less) and mg/dL.
fn points(history: HistoryView<'_>, window: Span) -> Option<impl Iterator<Item = (f32, f32)> + Clone> {
    let newest = history.newest()?.at();
    let readings = history.since(newest.plus(Span::from_secs(window.secs().saturating_neg())));
    Some(readings.filter(measured).map(move |r| (r.at().since(newest).mins(), r.glucose().mg_dl())))
}

/// Newest less oldest in the window, over the time between them. `None` with fewer than two readings.
///
/// # Examples
/// ```
/// use glidepath::{Glucose, History, Instant, Reading, Span, rate};
/// let mut history = History::<12>::new();
/// for (minute, mg_dl) in [(0, 120.0), (5, 114.0), (10, 106.0), (15, 99.0)] {
///     let _ = history.insert(&Reading::new(Instant::from_secs(minute * 60), Glucose::from_mg_dl(mg_dl)?));
/// }
/// let rate = rate::two_point(history.view(), Span::from_mins(15)).expect("two readings");
/// assert!((rate.mg_dl_per_min() + 1.4).abs() < 1e-5);
/// # Ok::<(), glidepath::Error>(())
/// ```
#[must_use]
pub fn two_point(history: HistoryView<'_>, window: Span) -> Option<Rate> {
    let mut points = points(history, window)?;
    let (t0, g0) = points.next()?;
    let (t1, g1) = points.last()?;
    (t1 > t0).then(|| Rate::clamped((g1 - g0) / (t1 - t0)))
}

/// The slope of the least-squares line through the window. `None` with fewer than two readings.
///
/// # Examples
/// ```
/// use glidepath::{Glucose, History, Instant, Reading, Span, rate};
/// let mut history = History::<12>::new();
/// for (minute, mg_dl) in [(0, 100.0), (5, 110.0), (10, 108.0), (15, 121.0)] {
///     let _ = history.insert(&Reading::new(Instant::from_secs(minute * 60), Glucose::from_mg_dl(mg_dl)?));
/// }
/// let rate = rate::least_squares(history.view(), Span::from_mins(15));
/// assert_eq!(rate.map(|rate| rate.tenths_mg_dl_per_min()), Some(12)); // 1.22 mg/dL a minute
/// # Ok::<(), glidepath::Error>(())
/// ```
#[must_use]
pub fn least_squares(history: HistoryView<'_>, window: Span) -> Option<Rate> {
    let points = points(history, window)?;
    let (mut n, mut sum_t, mut sum_g) = (0.0, 0.0, 0.0);
    for (t, g) in points.clone() {
        n += 1.0;
        sum_t += t;
        sum_g += g;
    }
    let (mean_t, mean_g) = (sum_t / n, sum_g / n);
    let (mut tt, mut tg) = (0.0, 0.0);
    for (t, g) in points {
        tt += (t - mean_t) * (t - mean_t);
        tg += (t - mean_t) * (g - mean_g);
    }
    (tt > 0.0).then(|| Rate::clamped(tg / tt))
}

/// The median of the slopes between all pairs of readings in the window: a spike does not move it. `None`
/// with fewer than two readings. An even number of pairs gives the lower of the two middle ones.
///
/// Takes 32 passes over the pairs and no memory: meant for windows of at most some tens of readings.
///
/// # Examples
/// ```
/// use glidepath::{Glucose, History, Instant, Reading, Span, rate};
/// let mut history = History::<12>::new();
/// for (minute, mg_dl) in [(0, 100.0), (5, 105.0), (10, 180.0), (15, 115.0), (20, 120.0)] { // one spike
///     let _ = history.insert(&Reading::new(Instant::from_secs(minute * 60), Glucose::from_mg_dl(mg_dl)?));
/// }
/// let rate = rate::robust(history.view(), Span::from_mins(20));
/// assert_eq!(rate.map(|rate| rate.tenths_mg_dl_per_min()), Some(10));
/// # Ok::<(), glidepath::Error>(())
/// ```
#[must_use]
pub fn robust(history: HistoryView<'_>, window: Span) -> Option<Rate> {
    let points = points(history, window)?;
    let slopes_up_to = |limit: f32| {
        let (mut pairs, mut below) = (0_u32, 0_u32);
        let mut rest = points.clone();
        while let Some((t0, g0)) = rest.next() {
            for (t1, g1) in rest.clone() {
                pairs = pairs.saturating_add(1);
                if (g1 - g0) / (t1 - t0) <= limit {
                    below = below.saturating_add(1);
                }
            }
        }
        (pairs, below)
    };
    if slopes_up_to(0.0).0 == 0 {
        return None;
    }
    // bisection over the ordered bit patterns of f32
    let (mut low, mut high) = (ordered(-Rate::MAX_MG_DL_PER_MIN), ordered(Rate::MAX_MG_DL_PER_MIN));
    while low < high {
        // half way, rounded down: the distance fits an unsigned word
        let middle = low.wrapping_add((high.wrapping_sub(low).cast_unsigned() >> 1).cast_signed());
        let (pairs, below) = slopes_up_to(f32::from_bits(ordered_bits(middle)));
        if below >= pairs.saturating_add(1) >> 1 {
            high = middle;
        } else {
            low = middle.saturating_add(1);
        }
    }
    Some(Rate::clamped(f32::from_bits(ordered_bits(low))))
}

/// A number that orders as its float does.
const fn ordered(value: f32) -> i32 {
    let bits = value.to_bits().cast_signed();
    bits ^ ((bits >> 31) & i32::MAX)
}

const fn ordered_bits(order: i32) -> u32 {
    (order ^ ((order >> 31) & i32::MAX)).cast_unsigned()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::history::History;
    use crate::units::{Glucose, Instant};

    fn history(points: &[(u32, f32)]) -> History<32> {
        let mut history = History::new();
        for (minute, mg_dl) in points {
            let _ = history.insert(&Reading::new(Instant::from_secs(minute * 60), Glucose::clamped(*mg_dl)));
        }
        history
    }

    fn near(rate: Option<Rate>, want: f32) {
        assert!((rate.unwrap().mg_dl_per_min() - want).abs() < 1e-5, "{rate:?} against {want}");
    }

    #[test]
    fn a_line_gives_its_slope_whatever_the_spacing() {
        let h = history(&[(0, 100.0), (1, 99.0), (7, 93.0), (15, 85.0)]);
        for rate in [two_point, least_squares, robust] {
            near(rate(h.view(), Span::from_mins(15)), -1.0);
        }
        // a shorter window sees the last two only
        near(two_point(h.view(), Span::from_mins(8)), -1.0);
    }

    #[test]
    fn least_squares_matches_numpy_polyfit() {
        // numpy.polyfit([0, 5, 10, 15], [100, 110, 108, 121], 1)[0] = 1.22
        let h = history(&[(0, 100.0), (5, 110.0), (10, 108.0), (15, 121.0)]);
        near(least_squares(h.view(), Span::from_mins(15)), 1.22);
    }

    #[test]
    fn a_spike_does_not_move_the_robust_slope() {
        let h = history(&[(0, 100.0), (5, 105.0), (10, 180.0), (15, 115.0), (20, 120.0)]);
        near(robust(h.view(), Span::from_mins(20)), 1.0);
        assert!((least_squares(h.view(), Span::from_mins(20)).unwrap().mg_dl_per_min() - 1.0).abs() < 1e-4);
        assert!(two_point(h.view(), Span::from_mins(10)).unwrap().mg_dl_per_min() < -5.0);
    }

    #[test]
    fn too_few_readings_give_nothing() {
        for rate in [two_point, least_squares, robust] {
            assert_eq!(rate(history(&[]).view(), Span::from_mins(15)), None);
            assert_eq!(rate(history(&[(0, 100.0)]).view(), Span::from_mins(15)), None);
            assert_eq!(rate(history(&[(0, 100.0), (60, 90.0)]).view(), Span::from_mins(15)), None);
            assert_eq!(rate(history(&[(0, 100.0), (5, 90.0)]).view(), Span::from_mins(-15)), None);
        }
    }

    #[test]
    fn values_outside_the_sensor_range_are_no_slope() {
        let mut h = history(&[(0, 60.0), (5, 50.0)]);
        let low =
            Reading::new(Instant::from_secs(600), Glucose::clamped(39.0)).with_status(Status::BelowRange);
        let _ = h.insert(&low);
        near(two_point(h.view(), Span::from_mins(15)), -2.0);
    }
}
