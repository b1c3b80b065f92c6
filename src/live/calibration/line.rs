//! A plain slope and offset through the last few pairs, by least squares or Deming's regression.
//!
//! For who wants a calibration that can be checked with a ruler. With two fingersticks a day it does worse
//! than the Bayesian one. Sources: least squares, textbook; Deming (1943), *Statistical Adjustment of Data*,
//! for errors in both variables.

use crate::error::Error;
use crate::error::in_range;
use crate::math;
use crate::math::Bounded as _;
use crate::units::Glucose;
use heapless::deque::Deque;

/// The most pairs a [`Line`] keeps.
pub const MAX_LINE_PAIRS: usize = 8;

/// How the line is fitted.
///
/// Features: `serde` gives `Serialize` and `Deserialize`, `defmt` gives `Format`.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[non_exhaustive]
pub enum LineFit {
    /// All error in the sensor.
    LeastSquares,
    /// Error in both: the ratio of the sensor's error variance to the meter's, 0.01 to 100.
    Deming(f32),
}

/// Why there is no line.
///
/// Feature `defmt` gives `Format`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub enum LineRefusal {
    /// Fewer than two pairs.
    TooFew,
    /// The references lie within 10 mg/dL of one another: no slope can be told.
    TooClose,
    /// The slope lies outside 0.6 to 1.6.
    Slope,
    /// The offset lies beyond ±40 mg/dL.
    Offset,
}

/// The last pairs and how to fit them. 96 bytes.
///
/// # Examples
/// ```
/// use glidepath::calibration::{Line, LineFit, LineRefusal};
/// use glidepath::Glucose;
/// let mut line = Line::new(LineFit::LeastSquares)?;
/// assert_eq!(line.fit(), Err(LineRefusal::TooFew));
/// for (reference, sensor) in [(80.0, 92.0), (120.0, 136.0), (200.0, 224.0)] {
///     line.push(Glucose::from_mg_dl(reference)?, Glucose::from_mg_dl(sensor)?);
/// }
/// let (slope, offset) = line.fit().expect("a line");
/// assert!((slope - 1.1).abs() < 1e-4 && (offset - 4.0).abs() < 1e-2);
/// # Ok::<(), glidepath::Error>(())
/// ```
#[derive(Clone, Debug)]
pub struct Line {
    fit: LineFit,
    pairs: Deque<(f32, f32), MAX_LINE_PAIRS>,
}

impl Line {
    /// An empty line.
    ///
    /// # Errors
    /// When Deming's ratio is outside 0.01 to 100.
    pub fn new(fit: LineFit) -> Result<Self, Error> {
        if let LineFit::Deming(ratio) = fit {
            let _ = in_range("ratio", ratio, 0.01, 100.0)?;
        }
        Ok(Self { fit, pairs: Deque::new() })
    }

    /// Keeps a pair; the oldest is forgotten when there are [`MAX_LINE_PAIRS`].
    pub fn push(&mut self, reference: Glucose, sensor: Glucose) {
        if self.pairs.is_full() {
            let _ = self.pairs.pop_front();
        }
        let _ = self.pairs.push_back((reference.mg_dl(), sensor.mg_dl()));
    }

    /// Slope and offset (mg/dL) of sensor on reference.
    ///
    /// # Errors
    /// Says why there is no line to trust.
    pub fn fit(&self) -> Result<(f32, f32), LineRefusal> {
        let (mut n, mut sum_x, mut sum_y) = (0.0, 0.0, 0.0);
        let (mut least, mut most) = (f32::MAX, f32::MIN);
        for (x, y) in &self.pairs {
            n += 1.0;
            sum_x += x;
            sum_y += y;
            least = least.at_most(*x);
            most = most.at_least(*x);
        }
        if n < 2.0 {
            return Err(LineRefusal::TooFew);
        }
        if most - least < 10.0 {
            return Err(LineRefusal::TooClose);
        }
        let (mean_x, mean_y) = (sum_x / n, sum_y / n);
        let (mut xx, mut xy, mut yy) = (0.0, 0.0, 0.0);
        for (x, y) in &self.pairs {
            let (dx, dy) = (x - mean_x, y - mean_y);
            xx += dx * dx;
            xy += dx * dy;
            yy += dy * dy;
        }
        let slope = match self.fit {
            LineFit::LeastSquares => xy / xx,
            LineFit::Deming(ratio) => {
                let difference = yy - ratio * xx;
                (difference + math::sqrt(difference * difference + 4.0 * ratio * xy * xy)) / (2.0 * xy)
            }
        };
        if !(0.6..=1.6).contains(&slope) {
            return Err(LineRefusal::Slope);
        }
        let offset = mean_y - slope * mean_x;
        if offset.abs() > 40.0 {
            return Err(LineRefusal::Offset);
        }
        Ok((slope, offset))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn line(fit: LineFit, pairs: &[(f32, f32)]) -> Result<(f32, f32), LineRefusal> {
        let mut line = Line::new(fit).unwrap();
        for (x, y) in pairs {
            line.push(Glucose::clamped(*x), Glucose::clamped(*y));
        }
        line.fit()
    }

    const PAIRS: [(f32, f32); 5] =
        [(70.0, 80.0), (100.0, 104.0), (140.0, 160.0), (190.0, 198.0), (240.0, 265.0)];

    #[test]
    fn least_squares_matches_scipy_linregress() {
        // scipy.stats.linregress: slope 1.0805139, intercept 1.4839400
        let (slope, offset) = line(LineFit::LeastSquares, &PAIRS).unwrap();
        assert!((slope - 1.080_514).abs() < 1e-5, "{slope}");
        assert!((offset - 1.483_940).abs() < 1e-2, "{offset}");
    }

    #[test]
    fn deming_matches_orthogonal_regression() {
        // scipy.odr with equal errors gives the same: slope 1.0854910, intercept 0.7473318
        let (slope, offset) = line(LineFit::Deming(1.0), &PAIRS).unwrap();
        assert!((slope - 1.085_491).abs() < 1e-5, "{slope}");
        assert!((offset - 0.747_332).abs() < 1e-2, "{offset}");
    }

    #[test]
    fn deming_weighs_the_two_errors_by_their_ratio() {
        // numpy: the slope b that makes Σ(y − ȳ − b(x − x̄))² / (ratio + b²) least, found by halving the bracket
        for (ratio, want_slope, want_offset) in
            [(4.0, 1.082_600_3, 1.175_163), (0.25, 1.088_117_6, 0.358_590)]
        {
            let (slope, offset) = line(LineFit::Deming(ratio), &PAIRS).unwrap();
            assert!((slope - want_slope).abs() < 1e-5, "{slope}");
            assert!((offset - want_offset).abs() < 1e-2, "{offset}");
        }
    }

    #[test]
    fn refusals_say_why() {
        let fit = LineFit::LeastSquares;
        assert_eq!(line(fit, &[(100.0, 100.0)]), Err(LineRefusal::TooFew));
        assert_eq!(line(fit, &[(100.0, 100.0), (109.0, 109.0)]), Err(LineRefusal::TooClose));
        assert!(line(fit, &[(100.0, 100.0), (110.0, 110.0)]).is_ok());
        assert_eq!(line(fit, &[(100.0, 100.0), (200.0, 300.0)]), Err(LineRefusal::Slope));
        assert_eq!(line(fit, &[(100.0, 140.0), (200.0, 240.0)]), Ok((1.0, 40.0)));
        assert_eq!(line(fit, &[(100.0, 60.0), (200.0, 160.0)]), Ok((1.0, -40.0)));
        assert_eq!(line(fit, &[(100.0, 150.0), (200.0, 250.0)]), Err(LineRefusal::Offset));
        assert_eq!(line(LineFit::Deming(1.0), &[(100.0, 200.0), (200.0, 100.0)]), Err(LineRefusal::Slope));
        assert!(Line::new(LineFit::Deming(0.0)).is_err());
    }
}
