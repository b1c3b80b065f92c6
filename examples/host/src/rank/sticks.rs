//! What a person would pick to calibrate with fingersticks, without this crate.

use glidepath::{Fingerstick, Reading};

use super::method::{Entry, Method, Outlook};

/// How many of the last pairs a line is fitted to.
const PAIRS: usize = 8;
/// A gain beyond these is not believed.
const GAINS: std::ops::RangeInclusive<f32> = 0.6..=1.6;

/// A calibration by the last pairs of reading and fingerstick.
struct Calibrated {
    /// A line through the last pairs; otherwise the gain of the newest.
    line: bool,
    pairs: Vec<(f32, f32)>,
    last: Option<Reading>,
    gain: f32,
    offset: f32,
}

impl Calibrated {
    fn new(line: bool) -> Self {
        Self { line, pairs: Vec::new(), last: None, gain: 1.0, offset: 0.0 }
    }
}

impl Method for Calibrated {
    fn step(&mut self, reading: &Reading) -> Outlook {
        self.last = Some(*reading);
        Outlook::held((reading.glucose().mg_dl() - self.offset) / self.gain, 0.0)
    }

    fn calibrate(&mut self, fingerstick: &Fingerstick) {
        let Some(last) = self.last else { return };
        if fingerstick.at().since(last.at()).mins() > 15.0 {
            return;
        }
        self.pairs.push((fingerstick.glucose().mg_dl(), last.glucose().mg_dl()));
        if self.pairs.len() > PAIRS {
            self.pairs.remove(0);
        }
        let n = self.pairs.len() as f32;
        let (sum_x, sum_y) = self.pairs.iter().fold((0.0, 0.0), |(a, b), (x, y)| (a + x, b + y));
        let (mean_x, mean_y) = (sum_x / n, sum_y / n);
        if self.line && self.pairs.len() > 2 {
            let (xx, xy) = self.pairs.iter().fold((0.0, 0.0), |(xx, xy), (x, y)| {
                (xx + (x - mean_x) * (x - mean_x), xy + (x - mean_x) * (y - mean_y))
            });
            if xx > 0.0 {
                self.gain = (xy / xx).clamp(*GAINS.start(), *GAINS.end());
                self.offset = mean_y - self.gain * mean_x;
                return;
            }
        }
        // one point, no offset
        if let Some((x, y)) = self.pairs.last() {
            self.gain = (y / x).clamp(*GAINS.start(), *GAINS.end());
            self.offset = 0.0;
        }
    }
}

/// One-point calibration and the regression line, on raw readings.
pub fn usual() -> Vec<Entry> {
    vec![
        Entry::new("raw, gain of the last fingerstick", 70.0, || Calibrated::new(false)),
        Entry::new("raw, line through the last 8 fingersticks", 70.0, || Calibrated::new(true)),
    ]
}
