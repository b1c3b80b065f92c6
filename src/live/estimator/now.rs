//! From the filter's state to what is told: the correction towards blood, and how far all of it may be off.
//!
//! On recorded people the full undoing of a lag makes blood harder to tell than the sensor's last reading does. What
//! pays is a correction while the slope itself changes: in the first minutes of a rise the sensor is behind, in a
//! rise that goes on it is not. So the correction goes with the rate less its slow average, is nothing for a small
//! difference, and is bounded.
//!
//! The constants come from `glidepath fit --only now`: 20 people with laboratory venous glucose beside the sensor (Metwally
//! et al., 2024, doi 10.1038/s41551-024-01311-6) and people with fingersticks (Zhao et al., 2023, Sci Data 10:35;
//! Dubosson et al., 2018, doi 10.1016/j.imu.2018.09.003).

use crate::math::Bounded as _;
/// Minutes of what the rate has more than its slow average …
const CURVE_MIN: f32 = 24.0;
/// … beyond this difference, mg/dL/min …
const CURVE_FROM: f32 = 0.4;
/// … at most so much, mg/dL …
const CURVE_MOST: f32 = 20.0;
/// … and at most this share of what glucose has over [`RANGE_LEAST`], so that a low is never talked away.
const CURVE_SHARE: f32 = 0.25;
/// After a start there is none for so long, and then more and more for [`CURVE_GROWS_MIN`], minutes.
const CURVE_WAITS_MIN: f32 = 10.0;
const CURVE_GROWS_MIN: f32 = 15.0;

/// What a sensor's reading leaves open about blood besides the filter's own doubt and the scatter that the calibration
/// knows (12 % to begin with): a share of the value …
const OPEN_SHARE: f32 = 0.05;
/// … and minutes of the rate.
const OPEN_MIN: f32 = 6.0;

/// The range that sensors commonly report (common practice, no source), mg/dL.
const RANGE_LEAST: f32 = 40.0;
const RANGE_GREATEST: f32 = 400.0;

/// Glucose moves no further by its rate than this after the newest reading, mg/dL.
const RUN_MOST: f32 = 15.0;

/// The estimate lies no further than this from the newest reading, mg/dL.
const FURTHEST: f32 = 30.0;

/// How likely it is that a doubted reading is wrong: what its distance from the expected adds to the variance.
const DOUBT: f32 = 0.4;

/// The variance of a rate that nobody knows, (mg/dL/min)².
pub(super) const RATE_UNKNOWN: f32 = 4.0;

/// The correction towards blood, mg/dL: `bend` is the rate less its slow average, `settled` the minutes since the
/// filter started.
pub(super) fn curve(glucose: f32, bend: f32, settled: f32) -> f32 {
    let beyond = (bend.abs() - CURVE_FROM).at_least(0.0);
    let most = (CURVE_SHARE * (glucose - RANGE_LEAST)).within(0.0, CURVE_MOST);
    let grown = ((settled - CURVE_WAITS_MIN) / CURVE_GROWS_MIN).within(0.0, 1.0);
    let size = (CURVE_MIN * beyond).at_most(most) * grown;
    if bend < 0.0 { -size } else { size }
}

/// The variance that stays open about blood, (mg/dL)².
pub(super) fn open(glucose: f32, rate: f32) -> f32 {
    let (share, moved) = (OPEN_SHARE * glucose, OPEN_MIN * rate);
    share * share + moved * moved
}

/// The least and the greatest that is told beside the newest reading, mg/dL: near it, and within what a sensor can say.
pub(super) fn bounds(newest: f32) -> (f32, f32) {
    let (least, greatest) = (newest.at_most(RANGE_LEAST), newest.at_least(RANGE_GREATEST));
    ((newest - FURTHEST).at_least(least), (newest + FURTHEST).at_most(greatest))
}

/// `glucose` and its variance kept within the bounds of the newest reading, `newest`, and near `was`, where the filter was
/// then. What is cut off is doubt.
pub(super) fn kept(glucose: f32, variance: f32, was: f32, newest: f32) -> (f32, f32) {
    let run = glucose.within(was - RUN_MOST, was + RUN_MOST);
    let (least, greatest) = bounds(newest);
    let within = run.within(least, greatest);
    let cut = run - within;
    (within, variance + cut * cut)
}

/// The variance of a doubted reading that is told as it is: its distance from `expected` is doubt.
pub(super) fn doubted(value: f32, expected: f32, variance: f32) -> f32 {
    let off = value - expected;
    variance + DOUBT * off * off
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_correction_begins_past_a_difference_and_ends_at_its_bounds() {
        // worked by hand: 24 × (0.9 − 0.4); 20; a quarter of 60 − 40; nothing below the range or at the start
        for (glucose, bend, settled, want) in [
            (150.0, 0.9, 60.0, 12.0),
            (150.0, -0.9, 60.0, -12.0),
            (150.0, 0.4, 60.0, 0.0),
            (150.0, 5.0, 60.0, 20.0),
            (150.0, -5.0, 60.0, -20.0),
            (60.0, 5.0, 60.0, 5.0),
            (38.0, 5.0, 60.0, 0.0),
            (150.0, 5.0, 10.0, 0.0),
            (150.0, 5.0, 17.5, 10.0),
        ] {
            let got = curve(glucose, bend, settled);
            assert!((got - want).abs() < 1e-4, "{glucose} {bend} {settled}: {got} against {want}");
        }
    }

    #[test]
    fn what_is_kept_near_the_reading_pays_with_its_deviation() {
        assert_eq!(kept(100.0, 25.0, 100.0, 100.0), (100.0, 25.0));
        assert_eq!(kept(130.0, 25.0, 100.0, 100.0), (115.0, 25.0)); // the rate's run
        assert_eq!(kept(150.0, 25.0, 150.0, 100.0), (130.0, 25.0 + 400.0));
        assert_eq!(kept(50.0, 25.0, 50.0, 100.0), (70.0, 25.0 + 400.0));
        assert_eq!(kept(30.0, 25.0, 41.0, 41.0), (40.0, 25.0 + 100.0));
        assert_eq!(kept(35.0, 25.0, 36.0, 36.0).0, 36.0);
        assert_eq!(kept(420.0, 25.0, 410.0, 401.0).0, 401.0);
    }

    #[test]
    fn a_doubted_reading_reaches_back_to_what_was_expected() {
        assert!((doubted(50.0, 100.0, 36.0) - 1036.0).abs() < 1e-3);
    }

    #[test]
    fn what_stays_open_grows_with_level_and_rate() {
        assert!((open(100.0, 0.0) - 25.0).abs() < 1e-3);
        assert!((open(100.0, -2.0) - 169.0).abs() < 1e-3);
    }
}
