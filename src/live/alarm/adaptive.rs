//! The low-ahead limit by what a person accepts: so many false alarms a week.

use super::settings::{LOW_AHEAD, Rule};
use crate::error::{Error, in_range};
use crate::math;
use crate::units::{Glucose, Instant, LOW, Probability, Span};

/// An alarm about lows is false when no reading under 70 mg/dL came within so long.
const JUDGED_AFTER: Span = Span::from_hours(1);
/// Alarms nearer to each other than this are one.
const ONE_ALARM: Span = Span::from_mins(30);
/// How far a false alarm moves the limit.
const STEP: f32 = 0.01;
/// The limit stays within these, whatever comes.
const BOUNDS: (f32, f32) = (0.2, 0.6);
/// Time for which no reading came counts no further than this.
const LONGEST_SECS: i32 = 900;
const WEEK_SECS: f32 = 604_800.0;

/// Holds the low-ahead alarm to the false alarms a week that a person accepts, by moving its limit. 32 bytes.
///
/// Each false alarm about a low raises the limit by 0.01; time lowers it, so that the two come out even when there are
/// as many as accepted (a stochastic approximation as in Gibbs and Candès 2021, Adaptive Conformal Inference Under
/// Distribution Shift, from memory). The limit stays from 0.2 to 0.6: a person with many lows still gets warned, and
/// one with none is not warned at every dip. Low and floor do not depend on it.
///
/// Not part of [`Monitor`](crate::Monitor), and off unless used: give its limit to the plan when it has moved.
/// What it has learned is [`limit`](Self::limit); after a restart begin from it with [`resume`](Self::resume).
///
/// # Examples
/// ```
/// use glidepath::alarm::{AlarmPlan, AlarmSettings, AdaptiveLimit};
/// use glidepath::{Glucose, Instant};
/// let mut adaptive = AdaptiveLimit::new(3.0)?; // a week
/// let began = adaptive.limit();
/// let fine = Glucose::from_mg_dl(95.0)?;
/// for minute in (0..=120_u32).step_by(5) {
///     let rang = minute == 10; // of floor, low or low ahead
///     adaptive.step(Instant::from_secs(60 * minute), Some(fine), rang);
/// }
/// assert!(adaptive.limit() > began); // it was false
/// let kept = adaptive.limit(); // over a power cut
/// let mut settings = AlarmSettings::default();
/// settings.low_ahead = AdaptiveLimit::resume(3.0, kept)?.rule(settings.low_ahead);
/// assert_eq!(settings.low_ahead.limit, kept);
/// let _ = AlarmPlan::new(settings)?;
/// # Ok::<(), glidepath::Error>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct AdaptiveLimit {
    per_week: f32,
    limit: f32,
    /// The last step.
    now: Option<Instant>,
    /// When the alarm that is not judged yet began.
    open: Option<Instant>,
    /// When an alarm last rang.
    rang: Option<Instant>,
}

impl AdaptiveLimit {
    /// So many false alarms a week are accepted, 0.5 to 21. Begins at the standard limit.
    ///
    /// # Errors
    /// When outside that range.
    pub fn new(per_week: f32) -> Result<Self, Error> {
        Self::resume(per_week, LOW_AHEAD.limit)
    }

    /// The same, beginning at a limit learned before; one beyond 0.2 to 0.6 is brought there.
    ///
    /// # Errors
    /// When `per_week` is outside its range.
    pub fn resume(per_week: f32, limit: Probability) -> Result<Self, Error> {
        let per_week = in_range("per_week", per_week, 0.5, 21.0)?;
        Ok(Self { per_week, limit: bounded(limit.get()), now: None, open: None, rang: None })
    }

    /// The false alarms a week that are accepted.
    #[must_use]
    pub const fn per_week(&self) -> f32 {
        self.per_week
    }

    /// The limit now, 0.2 to 0.6.
    #[must_use]
    pub const fn limit(&self) -> Probability {
        Probability::clamped(self.limit)
    }

    /// `rule` with the limit as it is now.
    #[must_use]
    pub const fn rule(&self, rule: Rule<Probability>) -> Rule<Probability> {
        Rule { limit: self.limit(), ..rule }
    }

    /// At each reading and tick: the newest reading if one has come, and whether floor, low or low ahead rings. `now`
    /// is elapsed time; an earlier one than before counts as the same.
    pub fn step(&mut self, now: Instant, reading: Option<Glucose>, rings: bool) {
        let now = self.now.map_or(now, |then| then.max(now));
        let passed = self.now.map_or(0, |then| now.since(then).secs().min(LONGEST_SECS));
        self.now = Some(now);
        let mut moved = -STEP * self.per_week * passed as f32 / WEEK_SECS;
        if let Some(open) = self.open {
            if now.since(open).secs() > JUDGED_AFTER.secs() {
                moved += STEP;
                self.open = None;
            } else if reading.is_some_and(|glucose| glucose < LOW) {
                self.open = None;
            }
        }
        if rings {
            let new = self.rang.is_none_or(|rang| now.since(rang).secs() > ONE_ALARM.secs());
            if new && self.open.is_none() && reading.is_none_or(|glucose| glucose >= LOW) {
                self.open = Some(now);
            }
            self.rang = Some(now);
        }
        self.limit = bounded(self.limit + moved);
    }
}

const fn bounded(limit: f32) -> f32 {
    math::within(limit, BOUNDS.0, BOUNDS.1)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The limit that it begins with.
    const BEGINS: f32 = LOW_AHEAD.limit.get();

    fn at(minute: u32) -> Instant {
        Instant::from_secs(60 * minute)
    }

    fn glucose(mg_dl: f32) -> Option<Glucose> {
        Glucose::from_mg_dl(mg_dl).ok()
    }

    /// The limit after a reading of 100 every five minutes for three hours, with rings and lows at these minutes.
    fn after(rings: &[u32], lows: &[u32]) -> f32 {
        let mut adaptive = AdaptiveLimit::new(3.0).unwrap();
        for minute in (0..=180).step_by(5) {
            let value = if lows.contains(&minute) { 69.0 } else { 100.0 };
            adaptive.step(at(minute), glucose(value), rings.contains(&minute));
        }
        adaptive.limit - BEGINS
    }

    #[test]
    fn only_false_alarms_raise_the_limit() {
        let time = -STEP * 3.0 * 3.0 / 168.0;
        for (rings, lows, steps) in [
            (&[][..], &[][..], 0.0),
            (&[10], &[], 1.0),
            (&[10], &[70], 0.0),
            (&[10], &[75], 1.0),
            (&[10], &[10], 0.0),
            (&[10, 40], &[], 1.0),
            (&[10, 80], &[], 2.0),
            (&[10, 80], &[90], 1.0),
            // the second is of the first, or just a new one
            (&[10, 40], &[20], 0.0),
            (&[10, 45], &[20], 1.0),
        ] {
            let moved = after(rings, lows);
            assert!((moved - time - steps * STEP).abs() < 1e-5, "{rings:?} {lows:?}: {moved}");
        }
    }

    #[test]
    fn a_reading_at_the_limit_of_lows_is_none() {
        for (mg_dl, raised) in [(70.0, true), (69.9, false)] {
            let mut adaptive = AdaptiveLimit::new(3.0).unwrap();
            adaptive.step(at(0), glucose(100.0), true);
            adaptive.step(at(5), glucose(mg_dl), false);
            adaptive.step(at(61), glucose(100.0), false);
            assert_eq!(adaptive.limit > BEGINS, raised, "{mg_dl}");
        }
    }

    #[test]
    fn false_alarms_come_to_those_accepted() {
        // a person who rings falsely twice a day at a limit of 0.3 and under, and never above it
        let mut adaptive = AdaptiveLimit::new(5.0).unwrap();
        let (mut cried, mut rang) = (0, false);
        for minute in (0..60 * 1440).step_by(5) {
            let ring = minute % 720 == 0 && adaptive.limit <= 0.3;
            rang |= ring;
            cried += u32::from(ring && minute > 40 * 1440);
            adaptive.step(at(minute), glucose(100.0), ring);
        }
        assert!(rang);
        let weekly = cried as f32 * 7.0 / 20.0;
        assert!((4.0..=6.0).contains(&weekly), "{weekly}");
    }

    #[test]
    fn it_is_bounded_both_ways_and_survives_nonsense() {
        let mut adaptive = AdaptiveLimit::new(21.0).unwrap();
        // an hour and a half of silence counts for a quarter
        adaptive.step(at(0), None, false);
        adaptive.step(at(90), None, false);
        assert!((adaptive.limit - (BEGINS - STEP * 21.0 / 672.0)).abs() < 1e-5);
        for minute in (90..1440 * 200).step_by(15) {
            adaptive.step(at(minute), None, false);
        }
        assert_eq!(adaptive.limit, 0.2);
        // earlier than before: nothing passes
        adaptive.step(at(5), glucose(100.0), false);
        assert_eq!(adaptive.limit, 0.2);
        let mut adaptive = AdaptiveLimit::new(0.5).unwrap();
        for minute in (0..1440 * 30).step_by(5) {
            adaptive.step(at(minute), glucose(100.0), minute % 120 == 0);
        }
        assert!((adaptive.limit - 0.6).abs() < 1e-4);
        for (begun, limit) in [(1.0, 0.6), (0.0, 0.2), (0.31, 0.31)] {
            assert_eq!(AdaptiveLimit::resume(3.0, Probability::clamped(begun)).unwrap().limit().get(), limit);
        }
        assert!([0.4, 22.0, f32::NAN].iter().all(|per_week| AdaptiveLimit::new(*per_week).is_err()));
        assert_eq!(adaptive.per_week(), 0.5);
        let rule = adaptive.rule(LOW_AHEAD);
        assert_eq!((rule.limit, rule.quiet), (adaptive.limit(), LOW_AHEAD.quiet));
    }
}
