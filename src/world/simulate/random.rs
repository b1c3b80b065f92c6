//! Seeded random numbers, the same on every target.

use crate::math;

/// A generator of random numbers for simulation (not for secrets): xoshiro128++, 24 bytes.
///
/// # Source
/// D. Blackman and S. Vigna, Scrambled linear pseudorandom number generators, ACM TOMS 47(4):36, 2021; seeded by
/// `SplitMix64` as its authors advise. Normal deviates by the polar method: G. Marsaglia and T. A. Bray, SIAM
/// Review 6:260, 1964.
///
/// # Examples
/// ```
/// use glidepath::simulate::Random;
/// let (mut a, mut b) = (Random::new(7, 0), Random::new(7, 0));
/// assert_eq!(a.normal(), b.normal());
/// assert_ne!(Random::new(7, 1).uniform(), Random::new(7, 2).uniform());
/// ```
#[derive(Clone, Debug)]
pub struct Random {
    state: [u32; 4],
    spare: Option<f32>,
}

impl Random {
    /// The generator of `seed`; each `stream` of one seed is a sequence of its own.
    #[must_use]
    pub const fn new(seed: u64, stream: u32) -> Self {
        let mut mixer = seed ^ (stream as u64).wrapping_mul(0xd134_2543_de82_ef95);
        let [a, b] = halves(split_mix(&mut mixer));
        let [c, d] = halves(split_mix(&mut mixer));
        // the one forbidden state
        let state = if a | b | c | d == 0 { [1, 0, 0, 0] } else { [a, b, c, d] };
        Self { state, spare: None }
    }

    /// 32 random bits.
    pub const fn bits(&mut self) -> u32 {
        let [mut s0, mut s1, mut s2, mut s3] = self.state;
        let result = s0.wrapping_add(s3).rotate_left(7).wrapping_add(s0);
        let t = s1 << 9;
        s2 ^= s0;
        s3 ^= s1;
        s1 ^= s2;
        s0 ^= s3;
        s2 ^= t;
        s3 = s3.rotate_left(11);
        self.state = [s0, s1, s2, s3];
        result
    }

    /// Uniform from 0 to under 1, in steps of 2⁻²⁴.
    pub const fn uniform(&mut self) -> f32 {
        (self.bits() >> 8) as f32 / 16_777_216.0
    }

    /// Uniform from `low` to `high`.
    pub const fn between(&mut self, low: f32, high: f32) -> f32 {
        low + (high - low) * self.uniform()
    }

    /// Whether an event of this probability happens.
    pub const fn bernoulli(&mut self, probability: f32) -> bool {
        self.uniform() < probability
    }

    /// Normal with mean 0 and standard deviation 1.
    pub fn normal(&mut self) -> f32 {
        if let Some(spare) = self.spare.take() {
            return spare;
        }
        // a pair is accepted with probability π/4; the bound only makes the loop finite
        for _ in 0..64 {
            let (u, v) = (self.between(-1.0, 1.0), self.between(-1.0, 1.0));
            let s = u * u + v * v;
            if s > 0.0 && s < 1.0 {
                let scale = math::sqrt(-2.0 * math::ln_fine(s) / s);
                self.spare = Some(v * scale);
                return u * scale;
            }
        }
        0.0
    }
}

const fn split_mix(state: &mut u64) -> u64 {
    *state = state.wrapping_add(0x9e37_79b9_7f4a_7c15);
    let mut z = *state;
    z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
    z ^ (z >> 31)
}

#[expect(clippy::cast_possible_truncation, reason = "halves of a word")]
const fn halves(word: u64) -> [u32; 2] {
    [word as u32, (word >> 32) as u32]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn bits_match_the_reference_sequences() {
        // the authors' C code started at 1, 2, 3, 4 (values from memory; the first follows by hand: 5 << 7 | 1)
        let mut random = Random { state: [1, 2, 3, 4], spare: None };
        let got: [u32; 4] = core::array::from_fn(|_| random.bits());
        assert_eq!(got, [641, 1_573_767, 3_222_811_527, 3_517_856_514]);
        // SplitMix64 from 1234567 (values from memory)
        let mut mixer = 1_234_567;
        assert_eq!(split_mix(&mut mixer), 6_457_827_717_110_365_317);
        assert_eq!(split_mix(&mut mixer), 3_203_168_211_198_807_973);
    }

    #[test]
    fn normals_are_normal() {
        let mut random = Random::new(3, 0);
        let n = if cfg!(miri) { 2_000 } else { 100_000 };
        let (mut m1, mut m2, mut m4, mut beyond) = (0.0_f32, 0.0_f32, 0.0_f32, 0.0_f32);
        for _ in 0..n {
            let x = random.normal();
            m1 += x;
            m2 += x * x;
            m4 += x * x * x * x;
            beyond += f32::from(u8::from(x.abs() > 1.959_964));
        }
        let n = n as f32;
        let tolerance = 5.0 / math::sqrt(n);
        assert!((m1 / n).abs() < tolerance);
        assert!((m2 / n - 1.0).abs() < 1.5 * tolerance);
        assert!((m4 / n - 3.0).abs() < 10.0 * tolerance);
        assert!((beyond / n - 0.05).abs() < 0.22 * tolerance);
    }
}
