//! How far a sensor runs behind a reference, or one sensor behind another.

use super::beta::student_t_95;
use super::interval::{ConfidenceInterval, degrees};
use crate::error::{Error, ErrorKind};
use crate::math;
use crate::moments::Moments;
use crate::reading::{Reading, Status};
use crate::units::{Glucose, Instant, Rate, Span};

/// Lags are tried from this far ahead to this far behind, minute by minute.
const MOST_MIN: i32 = 30;
const LAGS: usize = 61;
/// A parabola through the best lag and these many minutes on either side gives the fraction of a minute; as
/// wide as a reading interval, so that where readings happen to fall does not show.
const ARM: usize = 5;

/// Value and rate at a moment, from a least-squares line through the usable readings within `reach` on both
/// sides. `None` unless there is one at or before, one at or after, and two in all. Readings are in order of
/// time.
///
/// # Examples
/// ```
/// use glidepath::accuracy::local_line;
/// use glidepath::{Glucose, Instant, Reading, Span};
/// let at = |s, mg_dl| Ok::<_, glidepath::Error>(Reading::new(Instant::from_secs(s), Glucose::from_mg_dl(mg_dl)?));
/// let readings = [at(0, 100.0)?, at(300, 110.0)?, at(600, 120.0)?];
/// let (value, rate) = local_line(&readings, Instant::from_secs(450), Span::from_mins(8)).expect("three near");
/// assert_eq!((value.mg_dl(), rate.mg_dl_per_min()), (115.0, 2.0));
/// # Ok::<(), glidepath::Error>(())
/// ```
#[must_use]
pub fn local_line(readings: &[Reading], at: Instant, reach: Span) -> Option<(Glucose, Rate)> {
    let minutes = |reading: &Reading| reading.at().since(at).mins();
    let from = readings.partition_point(|reading| minutes(reading) < -reach.mins());
    let near = readings
        .iter()
        .skip(from)
        .take_while(|reading| minutes(reading) <= reach.mins())
        .filter(|reading| reading.status() == Status::Normal);
    let (mut before, mut after) = (false, false);
    let (mut time, mut value) = (Moments::default(), Moments::default());
    for reading in near.clone() {
        before |= minutes(reading) <= 0.0;
        after |= minutes(reading) >= 0.0;
        time.push(minutes(reading));
        value.push(reading.glucose().mg_dl());
    }
    if !before || !after || time.count() < 2 {
        return None;
    }
    let (middle, level) = (time.mean()?, value.mean()?);
    let (mut across, mut along) = (0.0, 0.0);
    for reading in near {
        let x = minutes(reading) - middle;
        across += x * (reading.glucose().mg_dl() - level);
        along += x * x;
    }
    let slope = if along > 0.0 { across / along } else { 0.0 };
    Some((Glucose::clamped(level - slope * middle), Rate::clamped(slope)))
}

/// The spread of sensor minus reference at every lag from −30 to +30 min: the true lag is where it is least.
/// Streaming, 1,224 bytes.
///
/// One scan for each independent part of the data, say a day, lets [`lag_interval`] say how sure the lag is.
///
/// # Examples
/// ```
/// use glidepath::accuracy::LagScan;
/// use glidepath::{Glucose, Instant, Reading, Span};
/// // a wave, and a sensor that shows it ten minutes late
/// let wave = |min: i32| Glucose::from_mg_dl((150 - (min % 120 - 60).abs()) as f32);
/// let mut readings = [Reading::new(Instant::from_secs(0), wave(0)?); 200];
/// for (i, reading) in (0..).zip(&mut readings) {
///     *reading = Reading::new(Instant::from_secs(i as u32 * 300), wave(5 * i + 120 - 10)?);
/// }
/// let mut scan = LagScan::new(Span::from_mins(8))?;
/// for i in 0..80 {
///     let min = 60 + 11 * i;
///     scan.push(&readings, Instant::from_secs(min as u32 * 60), wave(min + 120)?);
/// }
/// assert!((scan.lag_min().expect("a wave has a lag") - 10.0).abs() < 0.1);
/// # Ok::<(), glidepath::Error>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LagScan {
    reach: Span,
    at_lag: [Moments; LAGS],
}

impl LagScan {
    /// Nothing yet. Readings within `reach` of a moment give its value (see [`local_line`]); one and a half to two
    /// reporting intervals do.
    ///
    /// # Errors
    /// When the reach is not within 1 min to 1 h.
    pub fn new(reach: Span) -> Result<Self, Error> {
        if reach.secs() < 60 || reach.secs() > 3600 {
            return Err(Error::new("reach", ErrorKind::OutOfRange));
        }
        Ok(Self { reach, at_lag: [Moments::default(); LAGS] })
    }

    /// Takes one reference. Says whether it counted: only one with readings around it at every lag does, so
    /// that all lags are judged by the same references. Readings are in order of time.
    pub fn push(&mut self, readings: &[Reading], at: Instant, reference: Glucose) -> bool {
        let earliest = Span::from_mins(-MOST_MIN);
        if at.plus(earliest).since(at) != earliest {
            return false; // before the epoch
        }
        let mut differences = [0.0; LAGS];
        for (lag, difference) in (-MOST_MIN..=MOST_MIN).zip(&mut differences) {
            let Some((value, _)) = local_line(readings, at.plus(Span::from_mins(lag)), self.reach) else {
                return false;
            };
            *difference = value.mg_dl() - reference.mg_dl();
        }
        for (moments, difference) in self.at_lag.iter_mut().zip(differences) {
            moments.push(difference);
        }
        true
    }

    /// As if everything `other` took had been taken here.
    pub fn merge(&mut self, other: &Self) {
        for (moments, other) in self.at_lag.iter_mut().zip(&other.at_lag) {
            moments.merge(other);
        }
    }

    /// How many references counted.
    #[must_use]
    pub fn references(&self) -> u32 {
        self.at_lag.first().map_or(0, Moments::count)
    }

    /// The lag of least spread, minutes, positive when the sensor is behind. `None` below three references and
    /// when the least lies within 5 min of either end: then the data do not show a lag.
    #[must_use]
    pub fn lag_min(&self) -> Option<f32> {
        self.valley().map(|valley| valley.lag)
    }

    fn valley(&self) -> Option<Valley> {
        if self.references() < 3 {
            return None;
        }
        let spread = |i: usize| self.at_lag.get(i).and_then(Moments::variance);
        let best = (0..LAGS).filter_map(|i| Some((i, spread(i)?))).min_by(|a, b| a.1.total_cmp(&b.1))?.0;
        let (before, least, after) =
            (spread(best.checked_sub(ARM)?)?, spread(best)?, spread(best.saturating_add(ARM))?);
        let bend = before - 2.0 * least + after;
        if bend <= 0.0 {
            return None;
        }
        let part = 0.5 * (before - after) / bend;
        let arm = ARM as f32;
        Some(Valley {
            lag: best as f32 - MOST_MIN as f32 + arm * part.clamp(-1.0, 1.0),
            error: math::sqrt(2.0 * least * arm * arm / (bend * self.references() as f32)),
        })
    }
}

/// Where the spread is least.
struct Valley {
    lag: f32,
    /// The lag's standard error, were the references independent: the spread there over how steeply it rises.
    error: f32,
}

/// The lag over all parts, minutes, with its 95 % interval: from leaving out one part at a time, or from how flat
/// the valley is were all references independent, whichever is wider. `None` below three parts with references,
/// or when the lag is not found with any one of them left out.
///
/// Source: Efron and Tibshirani (1993), An Introduction to the Bootstrap, section 11.2 (jackknife); the second is
/// the standard error of a least-squares fit.
#[must_use]
pub fn lag_interval(parts: &[LagScan]) -> Option<ConfidenceInterval> {
    let filled = || parts.iter().filter(|part| part.references() > 0);
    let count = u32::try_from(filled().count()).ok().filter(|count| *count >= 3)?;
    let total = |left_out: Option<usize>| {
        let mut kept = filled().enumerate().filter(|(i, _)| Some(*i) != left_out).map(|(_, part)| part);
        let mut all = *kept.next()?;
        kept.for_each(|part| all.merge(part));
        all.valley()
    };
    let Valley { lag, error: independent } = total(None)?;
    let mut without = Moments::default();
    for i in 0..filled().count() {
        without.push(total(Some(i))?.lag);
    }
    let others = count.saturating_sub(1) as f32;
    // (n − 1)/n times the sum of squares, which is n − 1 variances
    let error = math::sqrt(without.variance()? * others * others / count as f32);
    Some(ConfidenceInterval::new(lag, student_t_95(degrees(count)) * error.max(independent), count))
}

#[cfg(test)]
mod tests {
    extern crate std;
    use super::*;
    use std::vec::Vec;

    /// Blood as two waves; minutes may be negative.
    fn blood(minute: f32) -> f32 {
        // a triangle and a slower one, in whole steps
        let fold = |x: f32, period: f32| (x - period * math::floor(x / period) - period / 2.0).abs();
        100.0 + 0.8 * fold(minute, 173.0) + 0.5 * fold(minute, 311.0)
    }

    fn sensor(lag: f32) -> Vec<Reading> {
        let at =
            |n: u32| Reading::new(Instant::from_secs(n * 300), Glucose::clamped(blood(n as f32 * 5.0 - lag)));
        (0..600).map(at).collect()
    }

    fn scan(lag: f32, references: impl Iterator<Item = (u32, f32)>) -> LagScan {
        let (readings, mut scan) = (sensor(lag), LagScan::new(Span::from_mins(8)).unwrap());
        for (minute, error) in references {
            let glucose = Glucose::clamped(blood(minute as f32) + error);
            scan.push(&readings, Instant::from_secs(minute * 60), glucose);
        }
        scan
    }

    #[test]
    #[cfg_attr(miri, ignore = "too slow")]
    fn fractions_of_a_minute_are_found_on_either_side() {
        for lag in [-7.4, -0.4, 0.4, 6.5, 12.3_f32] {
            let found = scan(lag, (60..2900).step_by(7).map(|minute| (minute, 0.0))).lag_min().unwrap();
            assert!((found - lag).abs() < 0.15, "{found} against {lag}");
        }
    }

    #[test]
    #[cfg_attr(miri, ignore = "too slow")]
    fn the_interval_is_never_narrower_than_independent_references_allow() {
        // the same errors in every part: leaving one out hardly moves the lag, though each reference errs
        let part = |n: u32| {
            let references =
                (0..40_u32).map(move |i| (100 + i * 13 + n * 519, if i % 2 == 0 { 9.0 } else { -9.0 }));
            scan(8.0, references)
        };
        let parts: Vec<LagScan> = (0..4).map(part).collect();
        let interval = lag_interval(&parts).unwrap();
        let mut all = parts[0];
        parts.iter().skip(1).for_each(|part| all.merge(part));
        // at the true lag the spread is that of the errors
        assert!((all.at_lag[38].sd().unwrap() - 9.0).abs() < 0.5);
        let independent = all.valley().unwrap().error;
        assert!(interval.upper() - interval.estimate() >= student_t_95(1.5) * independent * 0.999);
        assert!(interval.contains(8.0), "{interval:?}");
        assert!(lag_interval(&parts[..2]).is_none());
    }

    #[test]
    #[cfg_attr(miri, ignore = "too slow")]
    fn flat_glucose_shows_no_lag() {
        let flat: Vec<Reading> =
            (0..200).map(|n| Reading::new(Instant::from_secs(n * 300), Glucose::clamped(110.0))).collect();
        let mut scan = LagScan::new(Span::from_mins(8)).unwrap();
        for minute in (60..900).step_by(20) {
            assert!(scan.push(&flat, Instant::from_secs(minute * 60), Glucose::clamped(110.0)));
        }
        assert_eq!(scan.lag_min(), None);
        // at the epoch's beginning, and at the end of the readings
        for at in [0, 199 * 300 - 1500] {
            assert!(!scan.push(&flat, Instant::from_secs(at), Glucose::clamped(110.0)), "{at}");
        }
        assert!(LagScan::new(Span::from_secs(59)).is_err());
    }

    #[test]
    fn a_line_needs_readings_on_both_sides() {
        let at =
            |minute: u32, mg_dl: f32| Reading::new(Instant::from_secs(minute * 60), Glucose::clamped(mg_dl));
        let line = |readings: &[Reading], minute: u32, reach: i32| {
            local_line(readings, Instant::from_secs(minute * 60), Span::from_mins(reach))
                .map(|(value, rate)| (value.mg_dl(), rate.mg_dl_per_min()))
        };
        let readings =
            [at(0, 300.0), at(16, 100.0), at(21, 112.0), at(26, 115.0), at(29, 131.0), at(40, 300.0)];
        // scipy.stats.linregress at minutes −4, 1, 6, 9: intercept 108.16327, slope 2.1122449
        let (value, rate) = line(&readings, 20, 9).unwrap();
        assert!((value - 108.163_27).abs() < 1e-3 && (rate - 2.112_245).abs() < 1e-5, "{value} {rate}");
        // what the sensor disowns is left out: as far as −4 and 9
        let mut doubted = readings;
        doubted[2] = doubted[2].with_status(Status::Fault);
        doubted[3] = doubted[3].with_status(Status::Doubtful);
        let (value, rate) = line(&doubted, 20, 9).unwrap();
        assert!((rate - 31.0 / 13.0).abs() < 1e-5 && (value - (100.0 + 4.0 * 31.0 / 13.0)).abs() < 1e-3);
        // on the edge of the reach, on one side only, alone, and twice at one moment
        assert!(line(&readings[1..3], 20, 4).is_some() && line(&readings[1..3], 20, 3).is_none());
        assert!(line(&readings[1..4], 30, 20).is_none() && line(&readings[1..4], 10, 20).is_none());
        assert!(line(&readings[1..2], 16, 5).is_none());
        assert_eq!(line(&[at(3, 100.0), at(3, 110.0)], 3, 5), Some((105.0, 0.0)));
    }

    /// Three references with a spread of `floor` at the lag `lowest`, rising as 0.04 times the square of the way
    /// from there.
    fn known(lowest: f32, floor: f32) -> LagScan {
        let mut scan = LagScan::new(Span::from_mins(8)).unwrap();
        for (lag, moments) in (-MOST_MIN..=MOST_MIN).zip(&mut scan.at_lag) {
            let away = lag as f32 - lowest;
            let sd = math::sqrt(floor + 0.04 * away * away);
            [-sd, 0.0, sd].into_iter().for_each(|difference| moments.push(difference));
        }
        scan
    }

    #[test]
    fn the_lag_is_where_the_spread_is_least_and_as_sure_as_the_valley_is_steep() {
        // variance 4 at the bottom, 5 five minutes away: sqrt(2 × 4 × 5² / (2 × 3))
        let valley = known(8.0, 4.0).valley().unwrap();
        assert!((valley.lag - 8.0).abs() < 1e-4 && (valley.error - 5.773_503).abs() < 1e-3);
        assert!((known(-8.4, 4.0).lag_min().unwrap() + 8.4).abs() < 1e-3);
        assert_eq!(known(27.0, 4.0).lag_min(), None); // too near the end
        let mut two = LagScan::new(Span::from_mins(8)).unwrap();
        for (there, here) in two.at_lag.iter_mut().zip(known(8.0, 4.0).at_lag) {
            let sd = here.sd().unwrap();
            there.push(-sd);
            there.push(sd);
        }
        assert_eq!((two.references(), two.lag_min()), (2, None));
    }

    #[test]
    fn leaving_one_part_out_gives_the_textbook_interval_of_a_mean() {
        // lags 6, 8 and 13: mean 9, standard error 3.605551 / sqrt 3, Student's t at half of 2 degrees 12.706205
        let parts = [6.0, 8.0, 13.0].map(|lag| known(lag, 0.04));
        let empty = LagScan::new(Span::from_mins(8)).unwrap();
        let interval = lag_interval(&[parts[0], parts[1], empty, parts[2]]).unwrap();
        assert!((interval.estimate() - 9.0).abs() < 1e-3 && interval.clusters() == 3, "{interval:?}");
        assert!((interval.upper() - interval.estimate() - 26.450_1).abs() < 0.02, "{interval:?}");
    }
}
