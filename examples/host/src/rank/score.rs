//! How far a method was from the truth.

use super::HORIZONS;
use super::method::Outlook;
use super::series::{RANGE, Series};

/// Delays tried, minutes: the estimate is compared with the truth that long ago.
const DELAYS: std::ops::RangeInclusive<i64> = -10..=45;
const N_DELAYS: usize = 56;
/// A prediction's delay: from long before its target to long after.
const PREDICTION_DELAYS: std::ops::RangeInclusive<i64> = -15..=60;
const N_PREDICTION_DELAYS: usize = 76;
/// Where 30 minutes stand in [`HORIZONS`].
pub const AT_30: usize = 1;

/// Sum of squares and how many.
#[derive(Clone, Copy, Debug, Default)]
pub struct Squares {
    sum: f64,
    n: f64,
}

impl Squares {
    fn add(&mut self, error: f64) {
        self.sum += error * error;
        self.n += 1.0;
    }

    fn merge(&mut self, other: &Self) {
        self.sum += other.sum;
        self.n += other.n;
    }

    /// Root of the mean square.
    pub fn rms(&self) -> Option<f64> {
        (self.n > 0.0).then(|| (self.sum / self.n).sqrt())
    }

    /// The mean of what was added, for values that are 0 or 1, and for mean squares.
    pub fn mean(&self) -> Option<f64> {
        (self.n > 0.0).then(|| self.sum / self.n)
    }
}

/// One bin of stated probabilities: their sum, how often it came true, how many.
#[derive(Clone, Copy, Debug, Default)]
pub struct Bin {
    pub stated: f64,
    pub true_: f64,
    pub n: f64,
}

/// The sums from which every figure of a method is drawn; those of many people add up.
#[derive(Clone, Debug)]
pub struct Score {
    pub now: Squares,
    pub rate: Squares,
    pub ahead: [Squares; HORIZONS.len()],
    /// 30 minutes ahead, against what the sensor then showed.
    pub ahead_30_sensor: Squares,
    /// Whether the 95 % interval held the truth, now and 30 minutes ahead.
    pub covered: Squares,
    pub covered_30: Squares,
    pub brier: Squares,
    pub bins: [Bin; 10],
    /// Absolute relative difference.
    relative: (f64, f64),
    delays: [f64; N_DELAYS],
    n_delays: f64,
    prediction_delays: [f64; N_PREDICTION_DELAYS],
    /// Energy of second differences: of the method, of the readings.
    roughness: (f64, f64),
}

impl Default for Score {
    fn default() -> Self {
        Self {
            now: Squares::default(),
            rate: Squares::default(),
            ahead: Default::default(),
            ahead_30_sensor: Squares::default(),
            covered: Squares::default(),
            covered_30: Squares::default(),
            brier: Squares::default(),
            bins: Default::default(),
            relative: (0.0, 0.0),
            delays: [0.0; N_DELAYS],
            n_delays: 0.0,
            prediction_delays: [0.0; N_PREDICTION_DELAYS],
            roughness: (0.0, 0.0),
        }
    }
}

impl Score {
    /// The score of a method's outlooks, one for each reading of `series`.
    pub fn of(series: &Series, outlooks: &[Outlook]) -> Self {
        let mut score = Self::default();
        for (reading, outlook) in series.readings.iter().zip(outlooks) {
            if !series.scored(reading) {
                continue;
            }
            let within = |value: &f32| (RANGE.0..=RANGE.1).contains(value) || series.unlimited;
            let at = |minutes: i64| series.plasma_at(reading, minutes).filter(within).map(f64::from);
            let z95 = 1.96;
            if !series.truth_is_sensor
                && let Some(plasma) = at(0)
            {
                let error = f64::from(outlook.now) - plasma;
                score.now.add(error);
                score.relative.0 += (error / plasma).abs();
                score.relative.1 += 1.0;
                if let Some(rate) = series.rate_at(reading) {
                    score.rate.add(f64::from(outlook.rate - rate));
                }
                if let Some(sd) = outlook.now_sd {
                    score.covered.add(f64::from(u8::from(error.abs() <= z95 * f64::from(sd))));
                }
                score.delay(outlook.now, at);
            }
            for (sum, (minutes, ahead)) in score.ahead.iter_mut().zip(HORIZONS.iter().zip(outlook.ahead)) {
                if let Some(plasma) = at(*minutes as i64) {
                    sum.add(f64::from(ahead) - plasma);
                }
            }
            if let Some(plasma) = at(30) {
                let error = f64::from(outlook.ahead[AT_30]) - plasma;
                if let Some(sd) = outlook.ahead_30_sd {
                    score.covered_30.add(f64::from(u8::from(error.abs() <= z95 * f64::from(sd))));
                }
                score.prediction_delay(outlook.ahead[AT_30], at);
            }
            if let Some(shown) = series.shown_at(reading, 30) {
                score.ahead_30_sensor.add(f64::from(outlook.ahead[AT_30] - shown));
            }
            if let (Some(p), Some(low)) = (outlook.low_probability, series.low_within_30(reading)) {
                let (p, low) = (f64::from(p), f64::from(u8::from(low)));
                score.brier.add(p - low);
                let bin = ((p * 10.0) as usize).min(9);
                let bin = &mut score.bins[bin];
                bin.stated += p;
                bin.true_ += low;
                bin.n += 1.0;
            }
        }
        for (readings, outlooks) in series.readings.windows(3).zip(outlooks.windows(3)) {
            let step = |a: usize, b: usize| readings[b].at().since(readings[a].at()).secs();
            if step(0, 1) == step(1, 2) && series.scored(&readings[0]) {
                let bend = |a: f32, b: f32, c: f32| f64::from(a - 2.0 * b + c).powi(2);
                score.roughness.0 += bend(outlooks[0].now, outlooks[1].now, outlooks[2].now);
                let [a, b, c] = [0, 1, 2].map(|i| readings[i].glucose().mg_dl());
                score.roughness.1 += bend(a, b, c);
            }
        }
        score
    }

    fn delay(&mut self, now: f32, at: impl Fn(i64) -> Option<f64>) {
        if at(-*DELAYS.end()).is_none() || at(-*DELAYS.start()).is_none() {
            return;
        }
        self.n_delays += 1.0;
        for (sum, delay) in self.delays.iter_mut().zip(DELAYS) {
            // a minute without truth in between counts alike for all
            *sum += at(-delay).map_or(0.0, |plasma| (f64::from(now) - plasma).powi(2));
        }
    }

    fn prediction_delay(&mut self, ahead: f32, at: impl Fn(i64) -> Option<f64>) {
        if at(30 - *PREDICTION_DELAYS.end()).is_none() || at(30 - *PREDICTION_DELAYS.start()).is_none() {
            return;
        }
        for (sum, delay) in self.prediction_delays.iter_mut().zip(PREDICTION_DELAYS) {
            *sum += at(30 - delay).map_or(0.0, |plasma| (f64::from(ahead) - plasma).powi(2));
        }
    }

    pub fn merge(&mut self, other: &Self) {
        self.now.merge(&other.now);
        self.rate.merge(&other.rate);
        for (sum, other) in self.ahead.iter_mut().zip(&other.ahead) {
            sum.merge(other);
        }
        self.ahead_30_sensor.merge(&other.ahead_30_sensor);
        self.covered.merge(&other.covered);
        self.covered_30.merge(&other.covered_30);
        self.brier.merge(&other.brier);
        for (bin, other) in self.bins.iter_mut().zip(&other.bins) {
            bin.stated += other.stated;
            bin.true_ += other.true_;
            bin.n += other.n;
        }
        self.n_delays += other.n_delays;
        self.relative.0 += other.relative.0;
        self.relative.1 += other.relative.1;
        for (sum, other) in self.delays.iter_mut().zip(&other.delays) {
            *sum += other;
        }
        for (sum, other) in self.prediction_delays.iter_mut().zip(&other.prediction_delays) {
            *sum += other;
        }
        self.roughness.0 += other.roughness.0;
        self.roughness.1 += other.roughness.1;
    }

    /// How many minutes behind the truth it runs: the shift at which it fits the truth best.
    pub fn delay_min(&self) -> Option<f64> {
        best(&self.delays, *DELAYS.start())
    }

    /// What is left of the error once the delay is taken out, mg/dL.
    pub fn noise(&self) -> Option<f64> {
        let least = self.delays.iter().copied().min_by(f64::total_cmp)?;
        (self.n_delays > 0.0).then(|| (least / self.n_delays).sqrt())
    }

    /// How many minutes before its moment a 30-minute prediction is as good as the truth of.
    pub fn time_gain_30(&self) -> Option<f64> {
        best(&self.prediction_delays, *PREDICTION_DELAYS.start()).map(|delay| 30.0 - delay)
    }

    /// The share of the readings' second-difference energy that is gone.
    pub fn smoothness_gain(&self) -> Option<f64> {
        (self.roughness.1 > 0.0).then(|| 1.0 - self.roughness.0 / self.roughness.1)
    }

    /// Mean absolute relative difference, %.
    pub fn mard_percent(&self) -> Option<f64> {
        (self.relative.1 > 0.0).then(|| 100.0 * self.relative.0 / self.relative.1)
    }
}

/// Where the smallest sum lies, between whole minutes by the parabola through it and its neighbours.
fn best(sums: &[f64], first: i64) -> Option<f64> {
    let (at, _) = sums.iter().enumerate().min_by(|a, b| a.1.total_cmp(b.1))?;
    if sums[at] <= 0.0 {
        return None;
    }
    let off = match (at.checked_sub(1).and_then(|i| sums.get(i)), sums.get(at + 1)) {
        (Some(before), Some(after)) => {
            let bend = before - 2.0 * sums[at] + after;
            if bend > 0.0 { 0.5 * (before - after) / bend } else { 0.0 }
        }
        _ => 0.0,
    };
    Some(first as f64 + at as f64 + off)
}

#[cfg(test)]
mod tests {
    use super::*;
    use glidepath::{Glucose, Instant, Reading};

    /// A wave a reading a minute, and a method that says what was true `late` minutes ago.
    fn score(late: f64, error: f32) -> Score {
        let wave = |minute: f64| (150.0 + 60.0 * (minute / 40.0).sin()) as f32;
        let minutes = 4000;
        let plasma: Vec<f32> = (0..minutes).map(|m| wave(f64::from(m))).collect();
        let readings = (0..minutes as u32)
            .map(|m| {
                Reading::new(Instant::from_secs(m * 60), Glucose::from_mg_dl(plasma[m as usize]).unwrap())
            })
            .collect();
        let series = Series::known(readings, 0, plasma, vec![0.0; minutes as usize]);
        let outlooks: Vec<Outlook> = (0..minutes)
            .map(|m| Outlook {
                now_sd: Some(if m % 2 == 0 { 1e3 } else { 1e-6 }),
                low_probability: Some(0.25),
                ..Outlook::held(wave(f64::from(m) - late) + error, 1.0)
            })
            .collect();
        Score::of(&series, &outlooks)
    }

    #[test]
    fn delays_errors_and_coverage_are_found() {
        let exact = score(0.0, 3.0);
        assert!((exact.now.rms().unwrap() - 3.0).abs() < 1e-4);
        assert!((exact.rate.rms().unwrap() - 1.0).abs() < 1e-9);
        assert!((exact.covered.mean().unwrap() - 0.5).abs() < 1e-3);
        // nothing is low: a stated quarter costs a sixteenth
        assert!((exact.brier.mean().unwrap() - 0.0625).abs() < 1e-9);
        assert!(exact.smoothness_gain().unwrap().abs() < 1e-3);
        for late in [1.0, 7.5, 20.0] {
            let late_by = score(late, 0.01).delay_min().unwrap_or_default();
            assert!((late_by - late).abs() < 0.2, "{late_by} {late}");
        }
        // held for 30 minutes it gains nothing
        assert!(score(0.0, 0.01).time_gain_30().unwrap().abs() < 0.2);
    }
}
