//! Which of two sensors trails the other.
//!
//! One that responds more slowly moves to where the other already is: its rate is what lies between the two, over a time, and
//! that within narrow bounds. One that reads too low, or too high, moves at the rate of the other and stays as far off while
//! glucose stands still and while it comes back. For each sensor the likelihood of the one against that of the other is added
//! up from reading to reading (a cumulative sum between two bounds: Page, Biometrika 1954, from memory).

use crate::codec::{Codec, Coded};
use crate::math;
use crate::math::Bounded as _;
use core::f32::consts::{LN_2, SQRT_2};

/// One that trails closes what is between them in so many minutes: its lag of some 40, and what its estimate takes.
const CLOSES_MIN: f32 = 50.0;
/// How far its rate is from that, mg/dL/min: one standard deviation; …
const CLOSES_SD: f32 = 0.4;
/// … and how far the rates of two are apart of which neither trails.
const SAME_SD: f32 = 2.0 * CLOSES_SD;
/// Rates tell anew after so many minutes, and after a silence no more than twice.
const ANEW_MIN: f32 = 5.0;
const ANEW_MOST: f32 = 2.0;
/// Once tells no more than this.
const ONCE_MOST: f32 = 2.0;
/// Nothing is told while they are within so many standard deviations.
const FROM: f32 = 2.5;
/// How much may speak for it and against it, and for how many minutes that is remembered.
const MOST: f32 = 8.0;
const LEAST: f32 = -4.0;
const KEPT_MIN: f32 = 120.0;

/// How much tells that the first, and the second, trails the other: the natural logarithm of odds. 8 bytes.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Trail([f32; 2]);

impl Trail {
    pub const NONE: Self = Self([0.0; 2]);

    /// How much speaks against the first and for the second.
    pub fn against_first(&self) -> f32 {
        let [first, second] = self.0;
        first.at_least(0.0) - second.at_least(0.0)
    }

    /// So many minutes went by; the first is `gap` mg/dL above the second, which is `z` standard deviations.
    pub fn step(&mut self, minutes: f32, gap: f32, z: f32, rates: [f32; 2]) {
        let kept = math::left(minutes, KEPT_MIN);
        let part = if z.abs() > FROM { (minutes / ANEW_MIN).at_most(ANEW_MOST) } else { 0.0 };
        let misfit = |off: f32, sd: f32| {
            let times = off / (SQRT_2 * sd);
            times * times
        };
        let [first, second] = rates;
        let same = LN_2 + misfit(first - second, SAME_SD);
        let mut speed = -gap / CLOSES_MIN;
        for (told, rate) in self.0.iter_mut().zip(rates) {
            let tells = (same - misfit(rate - speed, CLOSES_SD)).at_most(ONCE_MOST);
            *told = (*told * kept + part * tells).within(LEAST, MOST);
            speed = -speed;
        }
    }
}

impl Coded for Trail {
    fn code(&mut self, codec: &mut Codec<'_>) {
        let [first, second] = &mut self.0;
        codec.numbers(&mut [first, second], LEAST, MOST);
    }
}

#[cfg(test)]
mod tests {
    extern crate std;
    use super::*;

    /// Two over so many minutes, in steps of five, by what each reads at a minute; and what spoke against the first after the
    /// first four hours: its mean, and that of its size.
    fn lived(first: impl Fn(f32) -> f32, second: impl Fn(f32) -> f32, minutes: u16) -> (Trail, [f32; 2]) {
        let (mut trail, mut sums, mut n) = (Trail::NONE, [0.0; 2], 0.0);
        let rate = |of: &dyn Fn(f32) -> f32, at: f32| (of(at) - of(at - 5.0)) / 5.0;
        for minute in (5..=minutes).step_by(5).map(f32::from) {
            let gap = first(minute) - second(minute);
            trail.step(5.0, gap, gap / 8.0, [rate(&first, minute), rate(&second, minute)]);
            if minute > 240.0 {
                let told = trail.against_first();
                (sums, n) = ([sums[0] + told, sums[1] + told.abs()], n + 1.0);
            }
        }
        (trail, sums.map(|sum| sum / n))
    }

    /// Up and down by 60 mg/dL every four hours, so many minutes late.
    fn swings(late: f32) -> impl Fn(f32) -> f32 {
        move |minute| 140.0 + 60.0 * ((minute - late) * 1.5).to_radians().sin()
    }

    #[test]
    fn the_one_that_follows_is_found_whichever_it_is() {
        let (_, [second, _]) = lived(swings(0.0), swings(40.0), 720);
        let (_, [first, _]) = lived(swings(40.0), swings(0.0), 720);
        assert!(second < -6.4 && first > 6.4, "{second} {first}");
    }

    #[test]
    fn one_that_is_off_is_blamed_as_often_as_the_other() {
        for off in [-60.0_f32, -30.0, 30.0, 60.0] {
            let (_, [mean, size]) = lived(swings(0.0), |minute| swings(0.0)(minute) + off, 1200);
            assert!(mean.abs() < 0.1 * MOST && size < 0.75 * MOST, "{off}: {mean} {size}");
        }
        // while nothing moves it is clear
        let (trail, _) = lived(|_| 140.0, |_| 100.0, 720);
        assert_eq!(trail.against_first(), 0.0);
    }

    #[test]
    fn two_that_agree_tell_nothing_and_what_was_told_passes() {
        let (near, _) = lived(swings(0.0), |minute| swings(0.0)(minute) + 7.0, 720);
        assert_eq!(near, Trail::NONE);
        let (mut trail, _) = lived(swings(0.0), swings(40.0), 480);
        for _ in 0..12 * 12 {
            trail.step(5.0, 0.0, 0.0, [0.0; 2]);
        }
        assert!(trail.against_first().abs() < 0.2 * MOST, "{trail:?}");
        // in two hours it fades to one part in e
        let mut trail = Trail([5.0, -2.0]);
        trail.step(120.0, 0.0, 0.0, [0.0; 2]);
        assert!((trail.against_first() - 5.0 * (-1.0_f32).exp()).abs() < 1e-2, "{trail:?}");
    }

    #[test]
    fn a_long_silence_tells_no_more_than_a_quarter_of_an_hour() {
        let of = |minutes: f32| {
            let mut trail = Trail::NONE;
            trail.step(minutes, 40.0, 4.0, [0.0, 0.5]);
            trail
        };
        assert_eq!(of(15.0), of(600.0));
        assert!(of(5.0).against_first() > of(15.0).against_first(), "a third of it before");
    }

    #[test]
    fn one_reading_tells_what_its_rate_fits_better() {
        // worked by hand: ln 2 + ((first - second) / 0.8)² / 2 - ((rate - what closes it) / 0.4)² / 2
        let of = |gap: f32, z: f32, rates: [f32; 2]| {
            let mut trail = Trail::NONE;
            trail.step(5.0, gap, z, rates);
            trail.0
        };
        let near = |told: [f32; 2], want: [f32; 2]| {
            assert!(
                told.iter().zip(want).all(|(told, want)| (told - want).abs() < 1e-4),
                "{told:?} {want:?}"
            );
        };
        // the first, 25 below, rises at what closes that in 50 min: the second as fast, or faster by 0.8
        near(of(-25.0, -3.0, [0.5, 0.5]), [LN_2, LN_2 - 3.125]);
        near(of(-25.0, -3.0, [0.5, 1.3]), [LN_2 + 0.5, LEAST]);
        near(of(25.0, 3.0, [-0.5, -0.5]), [LN_2, LN_2 - 3.125]);
        near(of(25.0, 3.0, [1.3, 0.5]), [LEAST, LN_2 + 0.5]);
        // no more than 2 at once
        near(of(-25.0, -3.0, [0.5, -9.5]), [2.0, LEAST]);
        // nothing within two and a half deviations
        for z in [-2.5, -1.0, 0.0, 2.5] {
            assert_eq!(of(-25.0, z, [0.5, 1.3]), [0.0; 2], "{z}");
        }
    }

    #[test]
    fn one_that_drifts_is_not_taken_for_one_that_trails() {
        for drift in [-10.0_f32, 10.0] {
            let off = |minute: f32| swings(0.0)(minute) + drift / 60.0 * minute;
            let (_, [mean, _]) = lived(off, swings(0.0), 540);
            assert!(mean.abs() < 0.15 * MOST, "{drift}: {mean}");
        }
    }
}
