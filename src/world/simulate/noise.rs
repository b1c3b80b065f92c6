//! Random errors that remember: how a sensor's noise moves between readings.

use super::random::Random;
use crate::math;

/// An Ornstein-Uhlenbeck process of standard deviation 1, exact for any step.
#[derive(Clone, Debug)]
pub(super) struct Wander {
    value: f32,
}

impl Wander {
    /// Started in its stationary distribution.
    pub fn new(random: &mut Random) -> Self {
        Self { value: random.normal() }
    }

    /// After `d` minutes, with a time constant of `time` minutes.
    pub fn step(&mut self, d: f32, time: f32, random: &mut Random) -> f32 {
        let kept = math::exp_fine(-d / time);
        let fresh = math::sqrt(math::one_minus_exp_neg_fine(2.0 * d / time));
        self.value = kept * self.value + fresh * random.normal();
        self.value
    }

    pub const fn value(&self) -> f32 {
        self.value
    }
}

/// Minutes between the nodes of [`Skewed`].
const NODE_MIN: f32 = 15.0;

/// The skewed, remembering noise of early sensors, mg/dL: a first-order autoregression at nodes 15 minutes
/// apart, bent by Johnson's S_U curve, and straight lines between nodes.
///
/// # Source
/// M. Breton and B. Kovatchev, J Diabetes Sci Technol 2(5):853, 2008: e ← 0.7·(e + n), error = ξ + λ·sinh((e −
/// γ)/δ) with ξ −5.471, λ 15.96, γ −0.5444, δ 1.6898. The signs of ξ and γ are those that give the published
/// mean of 0.76 when the driver has unit variance.
#[derive(Clone, Debug)]
pub(super) struct Skewed {
    driver: f32,
    last: f32,
    next: f32,
    /// Minutes since the last node.
    since: f32,
}

impl Skewed {
    pub fn new(random: &mut Random) -> Self {
        // stationary variance of the driver: 0.49 / 0.51
        let driver = math::sqrt(0.49 / 0.51) * random.normal();
        let mut new = Self { driver, last: bend(driver), next: 0.0, since: 0.0 };
        new.draw(random);
        new
    }

    fn draw(&mut self, random: &mut Random) {
        self.driver = 0.7 * (self.driver + random.normal());
        self.next = bend(self.driver);
    }

    /// After `d` minutes (at most a few hours).
    pub fn step(&mut self, d: f32, random: &mut Random) -> f32 {
        self.since += d;
        while self.since >= NODE_MIN {
            self.since -= NODE_MIN;
            self.last = self.next;
            self.draw(random);
        }
        self.value()
    }

    pub fn value(&self) -> f32 {
        self.last + (self.next - self.last) * self.since / NODE_MIN
    }
}

fn bend(driver: f32) -> f32 {
    let x = (driver + 0.544_4) / 1.689_8;
    let grown = math::exp_fine(x);
    -5.471 + 15.96 * 0.5 * (grown - 1.0 / grown)
}

#[cfg(test)]
mod tests {
    extern crate std;
    use super::*;
    use std::vec::Vec;

    /// Mean, standard deviation and correlation at one step of lag.
    fn statistics(values: &[f32]) -> (f32, f32, f32) {
        let n = values.len() as f32;
        let mean = values.iter().sum::<f32>() / n;
        let covariance = |lag: usize| {
            values.iter().zip(values.iter().skip(lag)).map(|(a, b)| (a - mean) * (b - mean)).sum::<f32>() / n
        };
        (mean, math::sqrt(covariance(0)), covariance(1) / covariance(0))
    }

    #[test]
    fn wander_has_its_spread_and_memory_at_any_step() {
        let mut random = Random::new(9, 0);
        for d in [1.0, 5.0, 25.0] {
            let mut wander = Wander::new(&mut random);
            let n = if cfg!(miri) { 50 } else { 100_000 };
            let values: Vec<f32> = (0..n).map(|_| wander.step(d, 25.0, &mut random)).collect();
            let (mean, sd, memory) = statistics(&values);
            if !cfg!(miri) {
                assert!(mean.abs() < 0.1 && (sd - 1.0).abs() < 0.05, "{d}: {mean} {sd}");
                assert!((memory - math::exp_fine(-d / 25.0)).abs() < 0.01, "{d}: {memory}");
            }
        }
    }

    #[test]
    fn skewed_noise_matches_the_published_figures() {
        let mut random = Random::new(10, 0);
        let mut noise = Skewed::new(&mut random);
        let n = if cfg!(miri) { 50 } else { 200_000 };
        let mut values: Vec<f32> = (0..n).map(|_| noise.step(15.0, &mut random)).collect();
        if cfg!(miri) {
            return;
        }
        let (mean, sd, memory) = statistics(&values);
        // published: mean 0.76 and sd 11 for a driver of unit variance; the recursion's has 0.961
        assert!((mean - 0.7).abs() < 0.25, "{mean}");
        assert!((sd - 11.7).abs() < 0.3, "{sd}");
        assert!((memory - 0.7).abs() < 0.02, "{memory}");
        values.sort_by(f32::total_cmp);
        // the 1 % and 99 % points, from the transformed normal quantiles
        let (low, high) = (values[n / 100], values[n - n / 100]);
        assert!((low + 25.0).abs() < 1.5 && (high - 35.0).abs() < 2.0, "{low} {high}");
    }
}
