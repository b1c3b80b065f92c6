//! Whether fingersticks and a second sensor bear this one out.

use crate::codec::{Codec, Coded};
use crate::math::Bounded as _;
use crate::units::{Instant, Span};

/// A fingerstick this many standard deviations off disagrees.
const STICK_SD: f32 = 3.0;
/// How long a disagreement counts unless a later fingerstick agrees.
const STICK_MEMORY: Span = Span::from_hours(24);
/// A drift of the fingersticks' mean, two-sided CUSUM with these two constants, in standard deviations.
///
/// Source: Page (1954), Biometrika 41:100; half a standard deviation of slack and a limit of five are the
/// textbook choice for a shift of one standard deviation (Montgomery, *Introduction to Statistical Quality
/// Control*: some 10 fingersticks until it shows, some 465 until a false one; from memory).
const DRIFT_SLACK: f32 = 0.5;
const DRIFT_LIMIT: f32 = 5.0;
/// One wild fingerstick alone shows no drift.
const DRIFT_MOST: f32 = 4.0;
/// Two sensors this many standard deviations apart …
const APART_SD: f32 = 3.0;
/// … for this long disagree.
const APART_SPAN: Span = Span::from_mins(15);

/// What fingersticks and a second sensor have said. 28 bytes.
#[derive(Clone, Copy, Debug, PartialEq, Default)]
pub(super) struct Agreement {
    denied: Option<Instant>,
    over: f32,
    under: f32,
    apart: Option<(Instant, Instant)>,
}

impl Agreement {
    pub fn fingerstick(&mut self, at: Instant, z: f32) {
        self.denied = if z.abs() > STICK_SD { Some(at) } else { None };
        let z = z.clamp(-DRIFT_MOST, DRIFT_MOST);
        self.over = (self.over + z - DRIFT_SLACK).at_least(0.0);
        self.under = (self.under - z - DRIFT_SLACK).at_least(0.0);
    }

    pub fn second_sensor(&mut self, at: Instant, z: f32) {
        self.apart = match self.apart {
            _ if z.abs() <= APART_SD => None,
            Some((since, last)) if at >= last && at.since(last) <= APART_SPAN => Some((since, at)),
            _ => Some((at, at)),
        };
    }

    pub fn is_denied(&self, now: Instant) -> bool {
        self.denied.is_some_and(|at| now.since(at) < STICK_MEMORY)
    }

    pub fn drifts(&self) -> bool {
        self.over.at_least(self.under) > DRIFT_LIMIT
    }

    pub fn is_apart(&self) -> bool {
        self.apart.is_some_and(|(since, last)| last.since(since) >= APART_SPAN)
    }
}

impl Coded for Agreement {
    fn code(&mut self, codec: &mut Codec<'_>) {
        let Self { denied, over, under, apart } = self;
        denied.code(codec);
        codec.numbers(&mut [over, under], 0.0, f32::MAX);
        apart.code(codec);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const fn at(minute: u32) -> Instant {
        Instant::from_secs(minute * 60)
    }

    #[test]
    fn a_far_fingerstick_counts_for_a_day_or_until_one_agrees() {
        let mut agreement = Agreement::default();
        agreement.fingerstick(at(0), -3.1);
        assert!(agreement.is_denied(at(1439)) && !agreement.is_denied(at(1440)));
        agreement.fingerstick(at(60), 0.5);
        assert!(!agreement.is_denied(at(61)));
        agreement.fingerstick(at(120), 3.0); // at the limit is not beyond it
        assert!(!agreement.is_denied(at(121)));
    }

    #[test]
    fn a_shift_shows_as_drift_and_noise_does_not() {
        for (pattern, after) in
            [(&[1.0_f32][..], Some(11)), (&[-2.0], Some(4)), (&[1.5, -1.5], None), (&[0.5], None)]
        {
            let mut agreement = Agreement::default();
            let mut shown = None;
            for (i, z) in (1..=100).zip(pattern.iter().cycle()) {
                agreement.fingerstick(at(i * 300), *z);
                if agreement.drifts() && shown.is_none() {
                    shown = Some(i);
                }
            }
            assert_eq!(shown, after, "{pattern:?}");
        }
    }

    #[test]
    fn two_sensors_disagree_after_a_quarter_of_an_hour_apart() {
        let mut agreement = Agreement::default();
        for (minute, z, apart) in [
            (0, 3.5, false),
            (10, 3.5, false),
            (15, -3.5, true),
            (20, 2.0, false),
            (25, 4.0, false),
            (60, 4.0, false),
        ] {
            agreement.second_sensor(at(minute), z);
            assert_eq!(agreement.is_apart(), apart, "at {minute}");
        }
    }
}
