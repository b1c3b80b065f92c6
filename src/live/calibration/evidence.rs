//! Whether correcting pays: a running account of what each fingerstick says the corrections would have saved.
//!
//! Each new fingerstick is compared with the sensor's value and with the corrected one before it moves anything,
//! so that what is counted was not fitted to it: the prequential principle, Dawid (1984), J. R. Stat. Soc. A
//! 147:278. The account opens below zero by a caution, which is the prior that a factory's calibration is left
//! alone.

use crate::codec::{Blank, Codec, Coded};
use crate::math::{self, Bounded as _};
use crate::units::{Instant, Span};

/// How far the account sinks, in cautions, and how far it rises, in scatters: no further, so that corrections
/// which begin to pay, or cease to, are soon noticed.
const LEAST_CAUTIONS: f32 = 2.0;
const MOST: f32 = 4.0;

/// The greatest caution.
pub(super) const MOST_CAUTION: f32 = 10.0;

/// The most that one fingerstick adds or takes, in scatters.
const STEP: f32 = 1.5;

/// From 0 to this the corrections come in.
const FULL: f32 = 2.0;

/// Corrections are lasting when this many fingersticks have shown them to save, over at least a day.
pub(super) const LASTING_STICKS: u8 = 6;
const LASTING: Span = Span::from_hours(24);

/// Whether the corrections from fingersticks pay, and so whether they are used.
///
/// Feature `defmt` gives `Format`.
///
/// # Examples
/// ```
/// use glidepath::calibration::{Calibration, Drift, Benefit};
/// let fresh = Calibration::new(Drift::default());
/// assert_eq!(fresh.benefit(), Benefit::TooFew);
/// assert_eq!(fresh.benefit().words(), "not corrected: too few fingersticks to tell");
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub enum Benefit {
    /// Fewer than three fingersticks were used, and they do not tell yet: the sensor's value is not corrected.
    TooFew,
    /// Fingersticks agree with the sensor as well without a correction: its value is not corrected.
    No,
    /// Corrections have begun to save: a part of them is used.
    Partly,
    /// Corrections save: the whole of them is used.
    Yes,
}

impl Benefit {
    /// In words.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::TooFew => "not corrected: too few fingersticks to tell",
            Self::No => "not corrected: your fingersticks agree with the sensor as well as without",
            Self::Partly => "corrected in part: your fingersticks begin to show a lasting difference",
            Self::Yes => "corrected by your fingersticks",
        }
    }
}

/// The account.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub(super) struct Evidence {
    balance: f32,
    /// Since when the account has been above zero, and how many fingersticks have added to it since.
    since: Option<Instant>,
    run: u8,
    lasting: bool,
}

impl Evidence {
    pub const fn new(caution: f32) -> Self {
        Self { balance: -caution, since: None, run: 0, lasting: false }
    }

    /// Counts a fingerstick: what the corrections would have saved, in scatters, and how much of it is news
    /// (0 to 1).
    pub fn weigh(&mut self, at: Instant, saved: f32, fresh: f32, caution: f32) {
        let change = saved.within(-STEP, STEP) * fresh;
        self.balance = (self.balance + change).within(-LEAST_CAUTIONS * caution, MOST);
        if self.balance > 0.0 {
            let since = *self.since.get_or_insert(at);
            if change > 0.0 {
                self.run = self.run.saturating_add(1);
            }
            self.lasting = self.run >= LASTING_STICKS && at.since(since) >= LASTING;
        } else {
            *self = Self::new(-self.balance);
        }
    }

    /// How much of the corrections is used, 0 to 1.
    pub const fn share(&self) -> f32 {
        math::within(self.balance / FULL, 0.0, 1.0)
    }

    /// Whether many fingersticks over more than a day have shown the corrections to save.
    pub const fn is_lasting(&self) -> bool {
        self.lasting
    }

    pub fn benefit(&self, used: u16) -> Benefit {
        let share = self.share();
        if share >= 1.0 {
            Benefit::Yes
        } else if share > 0.0 {
            Benefit::Partly
        } else if used < 3 {
            Benefit::TooFew
        } else {
            Benefit::No
        }
    }
}

impl Coded for Evidence {
    fn code(&mut self, codec: &mut Codec<'_>) {
        let Self { balance, since, run, lasting } = self;
        let balance = codec.within(balance, -LEAST_CAUTIONS * MOST_CAUTION, MOST);
        // at zero and under it is as new
        let counts = codec.flag(&mut since.is_some());
        codec.demand(counts == (balance > 0.0));
        let mut from = since.unwrap_or(Instant::BLANK);
        from = codec.moment(&mut from);
        let run = codec.byte(run);
        let lasting = codec.flag(lasting);
        codec.demand((counts || run == 0) && (!lasting || run >= LASTING_STICKS));
        if codec.loads() {
            *since = counts.then_some(from);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(hour: u32) -> Instant {
        Instant::from_secs(hour * 3600)
    }

    #[test]
    fn only_what_can_be_is_read_back() {
        use crate::ground::codec::stands;
        let new = Evidence::new(1.5);
        let counting = Evidence { balance: 2.0, since: Some(at(1)), run: LASTING_STICKS, lasting: true };
        assert!(stands(new) && stands(counting) && stands(Evidence { balance: 0.0, ..new }));
        for never in [
            Evidence { since: None, ..counting },
            Evidence { balance: 0.0, ..counting },
            Evidence { balance: MOST + 0.1, ..counting },
            Evidence { run: LASTING_STICKS - 1, ..counting },
            Evidence { run: 1, ..new },
        ] {
            assert!(!stands(never), "{never:?}");
        }
    }

    #[test]
    fn one_fingerstick_never_turns_corrections_on() {
        let mut evidence = Evidence::new(1.5);
        assert_eq!(evidence.benefit(0), Benefit::TooFew);
        evidence.weigh(at(0), 100.0, 1.0, 1.5);
        assert_eq!((evidence.share(), evidence.benefit(1)), (0.0, Benefit::TooFew));
        evidence.weigh(at(8), 0.5, 1.0, 1.5);
        assert_eq!((evidence.share(), evidence.benefit(2)), (0.25, Benefit::Partly));
        evidence.weigh(at(16), 100.0, 1.0, 1.5);
        assert_eq!((evidence.share(), evidence.benefit(3)), (1.0, Benefit::Yes));
    }

    #[test]
    fn what_does_not_pay_is_left_off_within_three_bad_fingersticks() {
        let mut evidence = Evidence::new(1.5);
        for hour in 0..100 {
            evidence.weigh(at(hour), 1.0, 1.0, 1.5);
        }
        assert!(evidence.is_lasting() && evidence.share() >= 1.0);
        evidence.weigh(at(100), -100.0, 1.0, 1.5);
        assert_eq!(evidence.share(), 1.0);
        evidence.weigh(at(101), -100.0, 1.0, 1.5);
        assert_eq!(evidence.share(), 0.5);
        assert!(evidence.is_lasting());
        evidence.weigh(at(102), -100.0, 1.0, 1.5);
        assert_eq!((evidence.share(), evidence.is_lasting()), (0.0, false));
        assert_eq!(evidence.benefit(103), Benefit::No);
        // and the account does not sink so far that it could not come back within three good ones
        for hour in 103..200 {
            evidence.weigh(at(hour), -1.0, 1.0, 1.5);
        }
        for hour in 200..203 {
            evidence.weigh(at(hour), 2.0, 1.0, 1.5);
        }
        assert_eq!(evidence.benefit(200), Benefit::Partly);
        assert!(!evidence.is_lasting());
    }

    #[test]
    fn lasting_needs_six_that_save_and_a_day() {
        let lasting = |hours: &[u32], bad: u32| {
            let mut evidence = Evidence::new(1.5);
            evidence.weigh(at(0), 1.5, 1.0, 1.5);
            for hour in hours {
                evidence.weigh(at(*hour), if *hour == bad { -0.1 } else { 1.5 }, 1.0, 1.5);
            }
            evidence.is_lasting()
        };
        assert!(lasting(&[5, 6, 7, 8, 9, 29], 0));
        assert!(!lasting(&[5, 6, 7, 8, 9, 28], 0));
        assert!(!lasting(&[5, 6, 7, 8, 29], 0));
        assert!(!lasting(&[5, 6, 7, 8, 9, 29], 8));
        // repeats at one moment are no news
        let mut evidence = Evidence::new(1.5);
        for _ in 0..1000 {
            evidence.weigh(at(1), 1.5, 0.0, 1.5);
        }
        assert_eq!(evidence, Evidence::new(1.5));
    }
}
