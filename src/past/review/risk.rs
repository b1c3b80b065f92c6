//! Risk of lows and highs by a transform that makes the glucose scale symmetric, and the M-value.

use crate::codec::{Codec, Coded};
use crate::math;
use crate::units::Glucose;

/// The risk of a low and the risk of a high of one value: one of the two is 0. They reach 100 at 20 and at 600 mg/dL.
///
/// `f = 1.509 ((ln g)^1.084 − 5.381)` with `g` in mg/dL; the risk is `10 f²`, of a low where `f < 0`.
///
/// Source: Kovatchev et al. (1997), Diabetes Care 20:1655, doi:10.2337/diacare.20.11.1655.
///
/// # Examples
/// ```
/// use glidepath::{Glucose, review::glucose_risk};
/// let (low, high) = glucose_risk(Glucose::from_mg_dl(70.0)?);
/// assert!((low - 7.755_206).abs() < 1e-4 && high == 0.0);
/// # Ok::<(), glidepath::Error>(())
/// ```
#[must_use]
pub fn glucose_risk(glucose: Glucose) -> (f32, f32) {
    let f = symmetric(glucose.mg_dl());
    let risk = 10.0 * f * f;
    if f < 0.0 { (risk, 0.0) } else { (0.0, risk) }
}

/// `f`, written about its zero so that nothing cancels there: with `ln g = (1 + u) ln 112.5`, and 5.381 the power 1.084
/// of that logarithm, `f = 1.509 × 5.381 ((1 + u)^1.084 − 1)`.
fn symmetric(mg_dl: f32) -> f32 {
    // 112.517384598 in two parts, and its logarithm
    const ZERO: (f32, f32) = (112.5, 0.017_384_598);
    const LN_ZERO: f32 = 4.723_107_7;
    let above = (mg_dl.max(1.1) - ZERO.0) - ZERO.1;
    let u = math::ln_1p_fine(above / (ZERO.0 + ZERO.1)) / LN_ZERO;
    let power = 1.084 * math::ln_1p_fine(u);
    let away = math::one_minus_exp_neg_fine(power.abs());
    1.509 * 5.381 * if power < 0.0 { -away } else { away / (1.0 - away) }
}

/// One value's part of the M-value, `|10 log10(g / ideal)|³`.
///
/// Source: Schlichtkrull et al. (1965), Acta Med Scand 177:95; the term for the width is for sparse data only and left
/// out.
fn m_value(glucose: Glucose, ideal_mg_dl: f32) -> f32 {
    let decades =
        (math::ln_fine(glucose.mg_dl().max(1.0)) - math::ln_fine(ideal_mg_dl)) * core::f32::consts::LOG10_E;
    let x = (10.0 * decades).abs();
    x * x * x
}

/// Sums in units of 2⁻³², the M-value in 2⁻²⁰. Whole numbers, so that the order of adding does not matter; enough for 400
/// million readings.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(super) struct Risk {
    low: u64,
    high: u64,
    m_value: u64,
}

const RISK_ONE: f32 = 4_294_967_296.0;
const M_ONE: f32 = 1_048_576.0;

#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "0 to 9,000 in parts")]
fn fixed(x: f32, one: f32) -> u64 {
    math::round(x * one) as u64
}

impl Risk {
    pub(super) fn push(&mut self, glucose: Glucose, m_ideal_mg_dl: f32) {
        let (low, high) = glucose_risk(glucose);
        self.low = self.low.saturating_add(fixed(low, RISK_ONE));
        self.high = self.high.saturating_add(fixed(high, RISK_ONE));
        self.m_value = self.m_value.saturating_add(fixed(m_value(glucose, m_ideal_mg_dl), M_ONE));
    }

    pub(super) fn add(&mut self, other: &Self) {
        self.low = self.low.saturating_add(other.low);
        self.high = self.high.saturating_add(other.high);
        self.m_value = self.m_value.saturating_add(other.m_value);
    }

    /// LBGI, HBGI and M-value over `n` readings.
    pub(super) fn means(&self, n: u32) -> Option<[f32; 3]> {
        means([self.low as f32, self.high as f32, self.m_value as f32], n)
    }
}

fn means([low, high, m_value]: [f32; 3], n: u32) -> Option<[f32; 3]> {
    let mean = |sum: f32, one: f32| sum / one / n as f32;
    (n > 0).then(|| [mean(low, RISK_ONE), mean(high, RISK_ONE), mean(m_value, M_ONE)])
}

impl Coded for Risk {
    fn code(&mut self, codec: &mut Codec<'_>) {
        let Self { low, high, m_value } = self;
        [low, high, m_value].into_iter().for_each(|sum| sum.code(codec));
    }
}

/// The same sums of many records.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(super) struct RiskOfMany([u128; 3]);

impl RiskOfMany {
    pub(super) fn add_one(&mut self, one: &Risk) {
        self.add(&Self([one.low, one.high, one.m_value].map(u128::from)));
    }

    pub(super) fn add(&mut self, other: &Self) {
        for (mine, theirs) in self.0.iter_mut().zip(other.0) {
            *mine = mine.saturating_add(theirs);
        }
    }

    pub(super) fn means(&self, n: u32) -> Option<[f32; 3]> {
        means(self.0.map(|sum| sum as f32), n)
    }
}

impl Coded for RiskOfMany {
    fn code(&mut self, codec: &mut Codec<'_>) {
        self.0.iter_mut().for_each(|sum| sum.code(codec));
    }
}
