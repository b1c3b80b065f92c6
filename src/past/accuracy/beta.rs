//! The incomplete beta function, behind binomial bounds and Student's t, good to about 1e−5 in `f32` for
//! counts up to a million.

use crate::math;

/// Enough for counts up to a million; the fraction settles in about the square root of the larger parameter.
const MAX_TERMS: u32 = 4000;

/// I_x(a, b) for positive `a` and `b`. Takes `x` and `y = 1 − x` apart, so that neither loses its digits
/// near 0.
///
/// Source: NIST Digital Library of Mathematical Functions, 8.17.4 and 8.17.22.
pub(super) fn incomplete_beta(x: f32, y: f32, a: f32, b: f32) -> f32 {
    if x <= 0.0 {
        0.0
    } else if y <= 0.0 {
        1.0
    } else if x * (a + b + 2.0) <= a + 1.0 {
        front(x, y, a, b) / (a * fraction(x, a, b))
    } else {
        1.0 - front(y, x, b, a) / (b * fraction(y, b, a))
    }
}

/// x^a y^b / B(a, b), without the cancellation of large logarithms: Stirling's formula with the main terms
/// taken out, and what is left as two deviances.
///
/// Source: Loader (2000), "Fast and accurate computation of binomial probabilities".
fn front(x: f32, y: f32, a: f32, b: f32) -> f32 {
    let n = a + b;
    let root = math::sqrt(a * b / (core::f32::consts::TAU * n));
    root * math::exp_fine(stirling(n) - stirling(a) - stirling(b) - deviance(a, n * x) - deviance(b, n * y))
}

/// a ln(a/m) + m − a, also for `m` near `a`.
fn deviance(a: f32, m: f32) -> f32 {
    let v = (a - m) / (a + m);
    if v.abs() > 0.1 {
        return a * math::ln_fine(a / m) + m - a;
    }
    let v2 = v * v;
    // ln(a/m) = 2 (v + v³/3 + v⁵/5 + …)
    (a - m) * v + 2.0 * a * v * v2 * (1.0 / 3.0 + v2 * (0.2 + v2 / 7.0))
}

/// What Stirling's formula leaves: ln Γ(z) − [(z − ½) ln z − z + ½ ln 2π]. Source: DLMF 5.11.1, 5.5.1.
fn stirling(z: f32) -> f32 {
    let (mut z, mut moved) = (z, 0.0);
    while z < 6.0 {
        moved += (z + 0.5) * math::ln_fine((z + 1.0) / z) - 1.0;
        z += 1.0;
    }
    let z2 = z * z;
    moved + (1.0 / 12.0 - (1.0 / 360.0 - 1.0 / (1260.0 * z2)) / z2) / z
}

/// The continued fraction 1 + d₁/(1 + d₂/(1 + …)) by the modified Lentz method.
fn fraction(x: f32, a: f32, b: f32) -> f32 {
    const TINY: f32 = 1e-30;
    let away = |v: f32| if v.abs() < TINY { TINY } else { v };
    let (mut value, mut c, mut d) = (1.0_f32, 1.0_f32, 0.0_f32);
    let mut m = 0.0_f32;
    for _ in 0..MAX_TERMS {
        let odd = -((a + m) / (a + 2.0 * m)) * ((a + b + m) / (a + 2.0 * m + 1.0)) * x;
        m += 1.0;
        let even = (m / (a + 2.0 * m - 1.0)) * ((b - m) / (a + 2.0 * m)) * x;
        let before = value;
        for term in [odd, even] {
            d = 1.0 / away(1.0 + term * d);
            c = away(1.0 + term / c);
            value *= c * d;
        }
        if (value - before).abs() <= 1e-7 * value.abs() {
            break;
        }
    }
    value
}

/// The t that a Student variable of `v` degrees of freedom exceeds in size with probability 5 %; infinite under
/// half a degree.
pub(super) fn student_t_95(v: f32) -> f32 {
    if v < 0.5 {
        return f32::INFINITY;
    }
    if v > 200.0 {
        // Abramowitz and Stegun (1964), 26.7.5, at the normal deviate 1.959964
        return 1.959_964 + (2.372_27 + 2.822 / v) / v;
    }
    let (mut low, mut high) = (1.9_f32, 200.0_f32);
    for _ in 0..34 {
        let t = 0.5 * (low + high);
        let beyond = incomplete_beta(v / (v + t * t), t * t / (v + t * t), 0.5 * v, 0.5);
        if beyond > 0.05 { low = t } else { high = t }
    }
    0.5 * (low + high)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn values_agree_with_closed_forms() {
        // I_x(1, b) = 1 − (1 − x)^b and I_x(a, 1) = x^a (DLMF 8.17.7, 8.17.5)
        for (x, k) in [(0.01_f32, 3.0_f32), (0.3, 5.0), (0.9, 2.0), (0.001, 300.0)] {
            let want = 1.0 - math::exp_fine(k * math::ln_fine(1.0 - x));
            assert!((incomplete_beta(x, 1.0 - x, 1.0, k) - want).abs() < 1e-5, "{x} {k}");
            assert!(
                (incomplete_beta(x, 1.0 - x, k, 1.0) - math::exp_fine(k * math::ln_fine(x))).abs() < 1e-5,
                "{x} {k}"
            );
        }
        assert_eq!(incomplete_beta(0.0, 1.0, 2.0, 3.0), 0.0);
        assert_eq!(incomplete_beta(1.0, 0.0, 2.0, 3.0), 1.0);
    }

    #[test]
    fn student_t_agrees_with_a_general_library() {
        // scipy.stats.t.ppf(0.975, v)
        for (v, want) in [
            (0.5, 164.557_67),
            (1.0, 12.706_205),
            (1.5, 6.016_663),
            (2.0, 4.302_653),
            (3.0, 3.182_446),
            (9.0, 2.262_157),
            (13.0, 2.160_369),
            (30.0, 2.042_272),
            (200.0, 1.971_896),
            (201.0, 1.971_837),
            (1000.0, 1.962_339),
            (100_000.0, 1.959_988),
        ] {
            assert!((student_t_95(v) - want).abs() < 5e-5 * want, "{v}: {}", student_t_95(v));
        }
        assert_eq!(student_t_95(0.0), f32::INFINITY);
    }

    #[test]
    fn values_agree_with_a_general_library() {
        // scipy.special.betainc(a, b, x)
        for (x, a, b, want) in [
            (0.3, 2.5, 4.5, 0.406_539),
            (0.9, 200.0, 20.0, 0.301_934_26),
            (0.5, 50.0, 60.0, 0.830_907_3),
            (0.02, 1.5, 80.0, 0.644_272_7),
            (0.7, 40.0, 12.0, 0.120_980_43),
        ] {
            let got = incomplete_beta(x, 1.0 - x, a, b);
            assert!((got - want).abs() < 1e-5, "{x} {a} {b}: {got}");
        }
    }

    #[test]
    fn deviances_keep_their_digits_near_and_far() {
        // a ln(a/m) + m − a in double precision
        for (a, m, want, within) in [
            (105.0, 100.0, 0.122_967_24, 3e-7),
            (90.0, 100.0, 0.517_553_6, 3e-7),
            (120.0, 100.0, 1.878_586_8, 3e-7),
            (82.0, 100.0, 1.727_023, 3e-7),
            (130.0, 100.0, 4.107_354, 3e-6), // the plain formula
        ] {
            assert!((deviance(a, m) / want - 1.0).abs() < within, "{a} {m}: {}", deviance(a, m));
        }
        assert_eq!(deviance(100.0, 100.0), 0.0);
    }

    #[test]
    fn what_stirling_leaves_is_right_to_the_last_digits() {
        // ln Γ(z) less Stirling's formula, scipy.special.gammaln in double precision
        for (z, want, within) in [
            (0.5, 0.153_426_4, 1e-6),
            (1.0, 0.081_061_467, 1e-6),
            (2.5, 0.033_162_874, 1e-6),
            (6.0, 0.013_876_129, 4e-9),
            (10.0, 0.008_330_563_4, 4e-9),
        ] {
            assert!((stirling(z) - want).abs() < within, "{z}: {}", stirling(z));
        }
    }
}
