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

use crate::codec::{Codec, Coded};
use crate::error::{Error, ErrorKind, in_range};
use crate::math;
use crate::units::Span;

/// The slow rate's time constant, minutes.
const SLOW_RATE_MIN: f32 = 20.0;

/// The estimator's model of the person and the sensor. 28 bytes.
///
/// | parameter | what it is | range |
/// | --- | --- | --- |
/// | lag, τ | how long glucose under the skin trails the blood | 30 s to 30 min |
/// | rate time, T | how long a rate lasts before it fades | 1 to 1000 min, and 1.2 τ at least |
/// | process noise, q | how much rates change, (mg/dL/min)²/min | 0.0001 to 10 |
/// | coloured sd, s | deviation of the sensor's error that wanders, mg/dL | 0 to 60 |
/// | coloured time, T_w | over which it wanders | 1 to 1000 min |
/// | white sd | deviation of the error that is new at each reading, mg/dL | 0.1 to 60 |
///
/// T stays above 1.2 τ: where they meet the discretisation has a removable singularity.
///
/// Features: `serde` gives `Serialize` and `Deserialize`, `defmt` gives `Format`.
///
/// # Examples
/// ```
/// use glidepath::Span;
/// use glidepath::estimator::Model;
/// let measured = Model::default().with_lag(Span::from_mins(8))?; // what `compare` found of a sensor
/// assert_eq!(measured.lag(), Span::from_mins(8));
/// let noisier = Model::default().with_coloured(10.5, Span::from_mins(36))?.with_white_sd(1.4)?;
/// assert_eq!((noisier.lag(), noisier.white_sd()), (Model::default().lag(), 1.4));
/// # Ok::<(), glidepath::Error>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "serde", serde(try_from = "Parts", into = "Parts"))]
pub struct Model {
    pub(super) lag_min: f32,
    pub(super) rate_time_min: f32,
    pub(super) process_noise: f32,
    pub(super) coloured_sd: f32,
    pub(super) coloured_time_min: f32,
    pub(super) white_sd: f32,
    /// Fitted to recorded people: the correction and the uncertainty of [`super::now`] are applied.
    pub(super) people: bool,
}

/// A [`Model`] as written, in a file or as bytes: read back through its gate.
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "serde", serde(default, deny_unknown_fields, rename = "Model"))]
struct Parts {
    lag: Span,
    rate_time: Span,
    #[cfg_attr(feature = "serde", serde(alias = "drive"))]
    process_noise: f32,
    coloured_sd: f32,
    coloured_time: Span,
    white_sd: f32,
    corrected: bool,
}

#[cfg(feature = "serde")]
impl Default for Parts {
    fn default() -> Self {
        Model::default().into()
    }
}

impl TryFrom<Parts> for Model {
    type Error = Error;
    fn try_from(written: Parts) -> Result<Self, Error> {
        Self {
            lag_min: minutes("lag", written.lag, LAG)?,
            rate_time_min: minutes("rate_time", written.rate_time, TIME)?,
            process_noise: written.process_noise,
            coloured_sd: written.coloured_sd,
            coloured_time_min: minutes("coloured_time", written.coloured_time, TIME)?,
            white_sd: written.white_sd,
            people: written.corrected,
        }
        .checked()
    }
}

impl From<Model> for Parts {
    fn from(model: Model) -> Self {
        Self {
            lag: model.lag(),
            rate_time: model.rate_time(),
            process_noise: model.process_noise,
            coloured_sd: model.coloured_sd,
            coloured_time: model.coloured_time(),
            white_sd: model.white_sd,
            corrected: model.people,
        }
    }
}

impl Coded for Model {
    fn code(&mut self, codec: &mut Codec<'_>) {
        let mut parts = Parts::from(*self);
        let Parts { lag, rate_time, process_noise, coloured_sd, coloured_time, white_sd, corrected } =
            &mut parts;
        for span in [lag, rate_time, coloured_time] {
            *span = codec.any_span(*span);
        }
        for number in [process_noise, coloured_sd, white_sd] {
            *number = codec.any_number(*number);
        }
        *corrected = codec.flag(&mut corrected.clone());
        codec.gate(self, parts.try_into());
    }
}

/// The ranges of the lag and of the two times.
const LAG: (Span, Span) = (Span::from_secs(30), Span::from_mins(30));
const TIME: (Span, Span) = (Span::from_mins(1), Span::from_mins(1000));

const fn minutes(parameter: &'static str, span: Span, (least, most): (Span, Span)) -> Result<f32, Error> {
    match span.within(parameter, least, most) {
        Ok(span) => Ok(span.mins()),
        Err(error) => Err(error),
    }
}

/// Whole seconds of minutes in range.
#[expect(clippy::cast_possible_truncation, reason = "1000 min at most")]
fn span(minutes: f32) -> Span {
    Span::from_secs(math::round(minutes * 60.0) as i32)
}

impl Default for Model {
    /// Recorded people and their sensors: a rate that fades within 15 min, driven by 0.1 (mg/dL/min)²/min, a lag of
    /// half a minute, a coloured error of sd 5 mg/dL over 25 min, a white one of 1.6 mg/dL; with the correction and the
    /// uncertainty fitted beside them ([`now`](super#now-against-blood)). `glidepath fit --only now` prints the figures
    /// these were chosen by: prediction alone leaves lag and process noise open, so laboratory blood and fingersticks decided.
    fn default() -> Self {
        Self {
            lag_min: 0.5,
            rate_time_min: 15.0,
            process_noise: 0.1,
            coloured_sd: 5.0,
            coloured_time_min: 25.0,
            white_sd: 1.6,
            people: true,
        }
    }
}

const LINEAR: Model = Model {
    lag_min: 8.0,
    rate_time_min: 35.0,
    process_noise: 0.04,
    coloured_sd: 5.0,
    coloured_time_min: 25.0,
    white_sd: 2.5,
    people: false,
};

impl Model {
    /// The plain linear filter, whose estimate is its state and nothing else: to set the lag, for comparisons, and for
    /// simulated worlds that are linear. A lag of 8 min, a rate that fades over 35 min, driven by 0.04
    /// (mg/dL/min)²/min, a coloured error of 5 mg/dL over 25 min, a white one of 2.5 mg/dL; each can be set.
    #[must_use]
    pub const fn linear() -> Self {
        LINEAR
    }

    /// The same with a measured lag.
    ///
    /// # Errors
    /// When it is out of range, or above the rate time over 1.2.
    pub fn with_lag(self, lag: Span) -> Result<Self, Error> {
        Self { lag_min: minutes("lag", lag, LAG)?, ..self }.checked()
    }

    /// The same where rates fade over another time.
    ///
    /// # Errors
    /// When it is out of range, or under 1.2 times the lag.
    pub fn with_rate_time(self, time: Span) -> Result<Self, Error> {
        Self { rate_time_min: minutes("rate_time", time, TIME)?, ..self }.checked()
    }

    /// The same with another process noise: how much rates change, 0.0001 to 10 (mg/dL/min)²/min.
    ///
    /// # Errors
    /// When it is out of range.
    pub fn with_process_noise(self, process_noise: f32) -> Result<Self, Error> {
        Self { process_noise, ..self }.checked()
    }

    /// The same with another wandering error of the sensor: its standard deviation, mg/dL, and the time over which it wanders.
    ///
    /// # Errors
    /// Names the one that is out of range.
    pub fn with_coloured(self, sd: f32, time: Span) -> Result<Self, Error> {
        let coloured_time_min = minutes("coloured_time", time, TIME)?;
        Self { coloured_sd: sd, coloured_time_min, ..self }.checked()
    }

    /// The same with another error that is new at each reading: its standard deviation, mg/dL.
    ///
    /// # Errors
    /// When it is out of range.
    pub fn with_white_sd(self, white_sd: f32) -> Result<Self, Error> {
        Self { white_sd, ..self }.checked()
    }

    fn checked(self) -> Result<Self, Error> {
        in_range("process_noise", self.process_noise, 1e-4, 10.0)?;
        in_range("coloured_sd", self.coloured_sd, 0.0, 60.0)?;
        in_range("white_sd", self.white_sd, 0.1, 60.0)?;
        if self.rate_time_min < 1.2 * self.lag_min {
            return Err(Error::new("rate_time", ErrorKind::Inconsistent));
        }
        Ok(self)
    }

    /// How long glucose under the skin trails the blood.
    #[must_use]
    pub fn lag(&self) -> Span {
        span(self.lag_min)
    }

    /// How long a rate lasts before it fades.
    #[must_use]
    pub fn rate_time(&self) -> Span {
        span(self.rate_time_min)
    }

    /// How much rates change, (mg/dL/min)²/min.
    #[must_use]
    pub const fn process_noise(&self) -> f32 {
        self.process_noise
    }

    /// Standard deviation of the sensor's wandering error, mg/dL.
    #[must_use]
    pub const fn coloured_sd(&self) -> f32 {
        self.coloured_sd
    }

    /// The time over which that error wanders.
    #[must_use]
    pub fn coloured_time(&self) -> Span {
        span(self.coloured_time_min)
    }

    /// Standard deviation of the error that is new at each reading, mg/dL.
    #[must_use]
    pub const fn white_sd(&self) -> f32 {
        self.white_sd
    }

    /// Whether the estimate is corrected towards blood, as fitted to recorded people: not that of [`linear`](Self::linear).
    #[must_use]
    pub const fn is_corrected(&self) -> bool {
        self.people
    }

    /// The plain filter from its six numbers, times in minutes.
    #[cfg(test)]
    pub(super) fn of_minutes(
        (lag_min, rate_time_min, process_noise): (f32, f32, f32),
        (coloured_sd, coloured_time_min, white_sd): (f32, f32, f32),
    ) -> Self {
        Self {
            lag_min,
            rate_time_min,
            process_noise,
            coloured_sd,
            coloured_time_min,
            white_sd,
            people: false,
        }
        .checked()
        .unwrap()
    }
}

/// The model over one interval: the entries of the transition matrix F that are not 0 or 1, and of the
/// noise Q of the glucose block for a process noise of 1. 56 bytes.
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
        let model = Model::linear();
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
            close(got * model.process_noise, want, 2.5e-3);
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
        let (model, mins) = (Model::linear(), Span::from_mins);
        for (got, parameter, kind) in [
            (model.with_rate_time(mins(9)), "rate_time", ErrorKind::Inconsistent),
            (model.with_lag(mins(30)), "rate_time", ErrorKind::Inconsistent),
            (model.with_lag(Span::from_secs(29)), "lag", ErrorKind::OutOfRange),
            (model.with_lag(Span::from_secs(1801)), "lag", ErrorKind::OutOfRange),
            (model.with_rate_time(mins(1001)), "rate_time", ErrorKind::OutOfRange),
            (model.with_process_noise(f32::NAN), "process_noise", ErrorKind::NotFinite),
            (model.with_process_noise(10.1), "process_noise", ErrorKind::OutOfRange),
            (model.with_coloured(60.1, mins(5)), "coloured_sd", ErrorKind::OutOfRange),
            (model.with_coloured(6.0, Span::ZERO), "coloured_time", ErrorKind::OutOfRange),
            (model.with_white_sd(0.09), "white_sd", ErrorKind::OutOfRange),
        ] {
            assert_eq!(got, Err(Error::new(parameter, kind)));
        }
        // the rate's time is at least 1.2 times the lag
        for (lag, seconds, sound) in [(600, 720, true), (600, 719, false), (60, 90, true)] {
            let model =
                model.with_lag(Span::from_secs(lag)).unwrap().with_rate_time(Span::from_secs(seconds));
            assert_eq!(model.is_ok(), sound, "{lag} {seconds}");
        }
    }

    #[test]
    fn each_setter_changes_its_own_number() {
        for model in [Model::default(), Model::linear()] {
            let mins = Span::from_mins;
            let other = model.with_lag(mins(9)).unwrap();
            assert_eq!((other, other.lag()), (Model { lag_min: 9.0, ..model }, mins(9)));
            let other = model.with_rate_time(mins(50)).unwrap();
            assert_eq!((other, other.rate_time()), (Model { rate_time_min: 50.0, ..model }, mins(50)));
            let other = model.with_process_noise(0.2).unwrap();
            assert_eq!((other, other.process_noise()), (Model { process_noise: 0.2, ..model }, 0.2));
            let other = model.with_coloured(10.5, mins(36)).unwrap();
            assert_eq!(other, Model { coloured_sd: 10.5, coloured_time_min: 36.0, ..model });
            assert_eq!((other.coloured_sd(), other.coloured_time()), (10.5, mins(36)));
            let other = model.with_white_sd(1.4).unwrap();
            assert_eq!((other, other.white_sd()), (Model { white_sd: 1.4, ..model }, 1.4));
            assert_eq!(other.is_corrected(), model == Model::default());
        }
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
            let model = Model::of_minutes((lag, time, 0.04), (5.0, 25.0, 2.5));
            close(Step::new(&model, minutes).i_r, want, relative);
        }
    }
}
