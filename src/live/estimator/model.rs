//! The motion model: how plasma glucose, its rate, interstitial glucose and the coloured sensor error move
//! over any interval.
//!
//! ```text
//! dG = r dt                      plasma glucose, mg/dL
//! dr = −r/T dt + √q dB           its rate, mg/dL/min: an Ornstein-Uhlenbeck process, so that it fades;
//! dI = (G − I)/τ dt              glucose under the skin, which the sensor reads
//! w  : Ornstein-Uhlenbeck, sd s, time T_w     the sensor's coloured error
//! ```
//! Sources: the lag, Rebrin and Steil (2000) as a first-order exchange; a coloured sensor error, Breton and
//! Kovatchev (2008), doi 10.1901/jaba.2008.2-853; the discretisation is the textbook one for linear
//! stochastic equations (matrix exponential, and Gauss-Legendre quadrature for the noise).

use crate::error::{Error, ErrorKind, in_range};
use crate::math;

/// The slow rate's time constant, minutes.
const SLOW_RATE_MIN: f32 = 20.0;

/// What the estimator believes of the person and the sensor. 28 bytes.
///
/// # Examples
/// ```
/// use glidepath::estimator::Model;
/// let early_sensor = Model::default().with_sensor(8.0, 10.5, 36.0, 1.4)?;
/// assert!(early_sensor != Model::default());
/// # Ok::<(), glidepath::Error>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Model {
    pub(super) lag_min: f32,
    pub(super) rate_time_min: f32,
    pub(super) drive: f32,
    pub(super) coloured_sd: f32,
    pub(super) coloured_time_min: f32,
    pub(super) white_sd: f32,
    /// Fitted to recorded people: the correction and the uncertainty of [`super::now`] are applied.
    pub(super) people: bool,
}

impl Default for Model {
    /// Recorded people and their sensors: a rate that fades within 15 min, driven by 0.1 (mg/dL/min)²/min, a lag of
    /// half a minute, a coloured error of sd 5 mg/dL over 25 min, a white one of 1.6 mg/dL; with the correction and the
    /// uncertainty fitted beside them ([`now`](super#now-against-blood)). `glidepath fit --only now` prints the figures
    /// these were chosen by: prediction alone leaves lag and drive open, so laboratory blood and fingersticks decided.
    fn default() -> Self {
        Self {
            lag_min: 0.5,
            rate_time_min: 15.0,
            drive: 0.1,
            coloured_sd: 5.0,
            coloured_time_min: 25.0,
            white_sd: 1.6,
            people: true,
        }
    }
}

impl Model {
    /// A model from six numbers: the plain linear filter, whose estimate is its state and nothing else.
    ///
    /// | parameter | unit | range |
    /// | --- | --- | --- |
    /// | `lag_min`, τ | min | 0.5 to 30 |
    /// | `rate_time_min`, T | min | 1.2 τ to 1000 |
    /// | `drive`, q | (mg/dL/min)²/min | 0.0001 to 10 |
    /// | `coloured_sd`, s | mg/dL | 0 to 60 |
    /// | `coloured_time_min`, T_w | min | 1 to 1000 |
    /// | `white_sd` | mg/dL | 0.1 to 60 |
    ///
    /// # Errors
    /// Names the parameter that is out of range. T must stay above 1.2 τ: where they meet the discretisation
    /// has a removable singularity.
    pub const fn new(
        lag_min: f32,
        rate_time_min: f32,
        drive: f32,
        coloured_sd: f32,
        coloured_time_min: f32,
        white_sd: f32,
    ) -> Result<Self, Error> {
        macro_rules! gate {
            ($name:literal, $value:expr, $low:expr, $high:expr) => {
                if let Err(error) = in_range($name, $value, $low, $high) {
                    return Err(error);
                }
            };
        }
        gate!("lag_min", lag_min, 0.5, 30.0);
        gate!("rate_time_min", rate_time_min, 1.0, 1000.0);
        gate!("drive", drive, 1e-4, 10.0);
        gate!("coloured_sd", coloured_sd, 0.0, 60.0);
        gate!("coloured_time_min", coloured_time_min, 1.0, 1000.0);
        gate!("white_sd", white_sd, 0.1, 60.0);
        if rate_time_min < 1.2 * lag_min {
            return Err(Error::new("rate_time_min", ErrorKind::Inconsistent));
        }
        Ok(Self { lag_min, rate_time_min, drive, coloured_sd, coloured_time_min, white_sd, people: false })
    }

    /// The same person with another sensor: lag, coloured error and white error, ranges as in
    /// [`new`](Self::new).
    ///
    /// # Errors
    /// Names the parameter that is out of range.
    pub const fn with_sensor(
        self,
        lag_min: f32,
        coloured_sd: f32,
        coloured_time_min: f32,
        white_sd: f32,
    ) -> Result<Self, Error> {
        match Self::new(lag_min, self.rate_time_min, self.drive, coloured_sd, coloured_time_min, white_sd) {
            Ok(one) => Ok(Self { people: self.people, ..one }),
            Err(error) => Err(error),
        }
    }
}

/// The model over one interval: the entries of the transition matrix F that are not 0 or 1, and of the
/// noise Q of the glucose block for a drive of 1. 56 bytes.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Step {
    pub g_r: f32,
    pub r_r: f32,
    pub i_g: f32,
    pub i_r: f32,
    pub i_i: f32,
    pub w_w: f32,
    pub q_gg: f32,
    pub q_gr: f32,
    pub q_gi: f32,
    pub q_rr: f32,
    pub q_ri: f32,
    pub q_ii: f32,
    /// Share of the coloured error's variance that is new: 1 − ρ².
    pub q_ww: f32,
    /// How much of a new rate the slow rate takes on.
    pub slow: f32,
}

impl Step {
    /// Exact F; Q by three-point Gauss-Legendre quadrature, which stays positive semi-definite in `f32`
    /// and errs by at most 0.25 % for intervals of 15 s to 30 min.
    pub fn new(model: &Model, minutes: f32) -> Self {
        const NODE: f32 = 0.387_298_33; // √0.15
        let at = |share: f32| response(model, minutes * share);
        let nodes = [(at(0.5 - NODE), 5.0 / 18.0), (at(0.5), 8.0 / 18.0), (at(0.5 + NODE), 5.0 / 18.0)];
        let (mut gg, mut gr, mut gi, mut rr, mut ri, mut ii) = (0.0, 0.0, 0.0, 0.0, 0.0, 0.0);
        for ((g, r, i), weight) in nodes {
            let w = weight * minutes;
            gg += w * g * g;
            gr += w * g * r;
            gi += w * g * i;
            rr += w * r * r;
            ri += w * r * i;
            ii += w * i * i;
        }
        let (g_r, r_r, i_r) = response(model, minutes);
        let i_g = math::one_minus_exp_neg(minutes / model.lag_min);
        Self {
            g_r,
            r_r,
            i_g,
            i_r,
            i_i: 1.0 - i_g,
            w_w: math::exp(-minutes / model.coloured_time_min),
            q_gg: gg,
            q_gr: gr,
            q_gi: gi,
            q_rr: rr,
            q_ri: ri,
            q_ii: ii,
            q_ww: math::one_minus_exp_neg(2.0 * minutes / model.coloured_time_min),
            slow: slow_share(minutes),
        }
    }
}

/// How much of a new rate the slow rate takes on in `minutes`.
pub(super) fn slow_share(minutes: f32) -> f32 {
    math::one_minus_exp_neg(minutes / SLOW_RATE_MIN)
}

/// How a unit rate now moves plasma glucose, the rate and interstitial glucose `minutes` later.
fn response(model: &Model, minutes: f32) -> (f32, f32, f32) {
    let (lag, time) = (model.lag_min, model.rate_time_min);
    let faded = math::one_minus_exp_neg(minutes / time);
    let u = minutes / lag;
    let interstitial = if u < 0.2 {
        // the closed form cancels here: series, good to 2e-4
        let t = minutes / time;
        minutes * u / 2.0 * (1.0 - (u + t) / 3.0 + (u * u + u * t + t * t) / 12.0)
    } else {
        let settled = math::one_minus_exp_neg(u);
        time * (settled - (settled - faded) * time / (time - lag))
    };
    (time * faded, 1.0 - faded, interstitial)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn close(got: f32, want: f32, relative: f32) {
        // the coarse backend's exponential errs by some parts in ten thousand
        let relative = if cfg!(feature = "micromath") { relative.max(1e-2) } else { relative };
        assert!((got - want).abs() <= relative * want.abs(), "{got} against {want}");
    }

    /// Reference values: the closed form of the same equations evaluated in double precision (numpy).
    #[test]
    fn five_and_one_minute_steps_match_the_closed_form() {
        let model = Model::new(8.0, 35.0, 0.04, 5.0, 25.0, 2.5).unwrap();
        let five = Step::new(&model, 5.0);
        close(five.g_r, 4.659_274, 1e-6);
        close(five.r_r, 0.866_878, 1e-6);
        close(five.i_g, 0.464_739, 2e-6);
        close(five.i_r, 1.220_288, 2e-6);
        close(five.i_i, 0.535_261, 2e-6);
        close(five.w_w, 0.818_731, 1e-6);
        for (got, want) in [
            (five.q_gg, 1.499_417_3),
            (five.q_gr, 0.434_176_6),
            (five.q_gi, 0.302_959_6),
            (five.q_rr, 0.173_965_9),
            (five.q_ri, 0.077_869),
            (five.q_ii, 0.064_703_2),
        ] {
            close(got * model.drive, want, 2.5e-3);
        }
        close(five.q_ww * 25.0, 8.241_998_8, 1e-6);
        let one = Step::new(&model, 1.0);
        close(one.g_r, 0.985_849, 1e-6);
        close(one.r_r, 0.971_833, 1e-6);
        close(one.i_g, 0.117_503, 4e-6);
        close(one.i_r, 0.059_402, 1e-4); // by the series
        close(one.w_w, 0.960_789, 1e-6);
    }

    #[test]
    fn parameters_are_gated_by_name() {
        let error = Model::new(8.0, 9.0, 0.04, 5.0, 25.0, 2.5).unwrap_err();
        assert_eq!((error.parameter(), error.kind()), ("rate_time_min", ErrorKind::Inconsistent));
        assert_eq!(Model::new(8.0, 35.0, f32::NAN, 5.0, 25.0, 2.5).unwrap_err().parameter(), "drive");
        // the rate's time is at least 1.2 times the lag
        for (lag, time, sound) in [(10.0, 12.0, true), (10.0, 11.9, false), (1.0, 1.5, true)] {
            assert_eq!(Model::new(lag, time, 0.04, 5.0, 25.0, 2.5).is_ok(), sound, "{lag} {time}");
        }
    }

    #[test]
    fn another_sensor_leaves_the_person_as_it_was() {
        for model in [Model::default(), Model::new(8.0, 35.0, 0.04, 5.0, 25.0, 2.5).unwrap()] {
            let other = model.with_sensor(9.0, 10.5, 36.0, 1.4).unwrap();
            let want =
                Model { lag_min: 9.0, coloured_sd: 10.5, coloured_time_min: 36.0, white_sd: 1.4, ..model };
            assert_eq!(other, want);
        }
        assert!(Model::default().with_sensor(9.0, 10.5, 36.0, 0.0).is_err());
    }

    /// Reference values: the matrix exponential in double precision (scipy). The closed form would err by 0.7 % of
    /// the first.
    #[test]
    fn short_steps_are_as_good_as_long_ones() {
        for (lag, time, minutes, want, relative) in [
            (30.0, 1000.0, 1.0 / 60.0, 4.6287467e-06, 1e-5),
            (8.0, 35.0, 1.0 / 60.0, 1.734_630_7e-5, 1e-5),
            (8.0, 35.0, 0.25, 3.856_663_9e-3, 1e-5),
            (20.0, 25.0, 0.5, 6.157_039_5e-3, 1e-5),
            (20.0, 25.0, 3.9, 0.338_567, 5e-4),
        ] {
            let model = Model::new(lag, time, 0.04, 5.0, 25.0, 2.5).unwrap();
            close(Step::new(&model, minutes).i_r, want, relative);
        }
    }
}
