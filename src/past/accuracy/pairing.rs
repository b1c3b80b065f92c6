//! Which sensor value stands beside which reference value.

use super::pair::Pair;
use crate::error::{Error, ErrorKind};
use crate::reading::{Fingerstick, Reading, Status};
use crate::units::{Glucose, Instant, Span};

/// Which sensor value is taken at a reference's time.
///
/// Feature `defmt` gives `Format`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub enum Method {
    /// The reading nearest in time, the earlier one of two equally near.
    Nearest,
    /// On the straight line between the reading before and the one after. It averages two readings, so it
    /// flatters a noisy sensor a little.
    Interpolated,
}

/// Why a reference has no pair.
///
/// Feature `defmt` gives `Format`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub enum Unpaired {
    /// No reading within the window.
    NoReading,
    /// The reading belongs to another reference nearer to it, or the two readings around it to an earlier one.
    Taken,
    /// The sensor was outside its own range and gave no value.
    OutOfRange,
    /// The sensor warmed up, doubted the value or reported a fault.
    NotUsable,
    /// The reference itself is 0.
    ZeroReference,
}

/// What became of one reference.
///
/// Feature `defmt` gives `Format`.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Paired {
    /// It has a sensor value beside it.
    Pair(Pair),
    /// It has none, and why.
    Unpaired(Fingerstick, Unpaired),
}

/// How references are paired with readings: the method, the window and a lag to correct for.
///
/// Feature `defmt` gives `Format`.
///
/// # Examples
/// ```
/// use glidepath::accuracy::{Method, Paired, Pairing, Unpaired};
/// use glidepath::{Fingerstick, Glucose, Instant, Reading, Span};
/// let mg_dl = Glucose::from_mg_dl;
/// let readings = [
///     Reading::new(Instant::from_secs(0), mg_dl(100.0)?),
///     Reading::new(Instant::from_secs(300), mg_dl(110.0)?),
/// ];
/// let references = [
///     Fingerstick::new(Instant::from_secs(240), mg_dl(112.0)?),
///     Fingerstick::new(Instant::from_secs(9000), mg_dl(150.0)?),
/// ];
/// let pairing = Pairing::new(Method::Nearest, Span::from_mins(5))?;
/// let mut pairs = pairing.pairs(&readings, &references);
/// assert!(matches!(pairs.next(), Some(Paired::Pair(pair)) if pair.sensor().mg_dl() == 110.0));
/// assert!(matches!(pairs.next(), Some(Paired::Unpaired(_, Unpaired::NoReading))));
/// assert!(pairs.next().is_none());
/// # Ok::<(), glidepath::Error>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Pairing {
    method: Method,
    window: Span,
    lag: Span,
}

impl Pairing {
    /// Pairs by `method` with readings at most `window` away.
    ///
    /// # Errors
    /// When the window is negative or over an hour.
    pub const fn new(method: Method, window: Span) -> Result<Self, Error> {
        if window.secs() < 0 || window.secs() > 3600 {
            return Err(Error::new("window", ErrorKind::OutOfRange));
        }
        Ok(Self { method, window, lag: Span::ZERO })
    }

    /// The same, with a sensor known to run `lag` behind: a reference is paired with what the sensor showed
    /// that much later.
    ///
    /// # Errors
    /// When beyond ±1 hour.
    pub const fn with_lag(self, lag: Span) -> Result<Self, Error> {
        if lag.secs() < -3600 || lag.secs() > 3600 {
            return Err(Error::new("lag", ErrorKind::OutOfRange));
        }
        Ok(Self { lag, ..self })
    }

    /// What becomes of each reference, in their order. Both slices are in order of time; nothing is paired
    /// twice. Takes the logarithm of the number of readings for each reference.
    #[must_use]
    pub const fn pairs<'a>(&self, readings: &'a [Reading], references: &'a [Fingerstick]) -> Pairs<'a> {
        Pairs { pairing: *self, readings, references, next: 0 }
    }
}

/// What becomes of each reference; see [`Pairing::pairs`].
#[derive(Clone, Debug)]
pub struct Pairs<'a> {
    pairing: Pairing,
    readings: &'a [Reading],
    references: &'a [Fingerstick],
    next: usize,
}

impl Iterator for Pairs<'_> {
    type Item = Paired;

    fn next(&mut self) -> Option<Paired> {
        let index = self.next;
        let reference = self.references.get(index)?;
        self.next = index.saturating_add(1);
        Some(match self.value(index, reference) {
            Ok(sensor) => match Pair::new(reference.at(), sensor, reference.glucose()) {
                Ok(pair) => Paired::Pair(pair),
                Err(_) => Paired::Unpaired(*reference, Unpaired::ZeroReference),
            },
            Err(why) => Paired::Unpaired(*reference, why),
        })
    }
}

impl Pairs<'_> {
    fn value(&self, index: usize, reference: &Fingerstick) -> Result<Glucose, Unpaired> {
        match self.pairing.method {
            Method::Nearest => {
                let nearest = self.nearest(reference).ok_or(Unpaired::NoReading)?;
                let reading = self.readings.get(nearest).ok_or(Unpaired::NoReading)?;
                if self.owner(nearest, reading) == Some(index) {
                    usable(reading)
                } else {
                    Err(Unpaired::Taken)
                }
            }
            Method::Interpolated => self.between(index, reference),
        }
    }

    /// The time on the sensor's side that belongs to a reference.
    fn target(&self, reference: &Fingerstick) -> Instant {
        reference.at().plus(self.pairing.lag)
    }

    /// The index of the nearest reading within the window.
    fn nearest(&self, reference: &Fingerstick) -> Option<usize> {
        let target = self.target(reference);
        let after = self.readings.partition_point(|reading| reading.at() < target);
        let distance = |i: usize| self.readings.get(i).map(|r| (apart(r.at(), target), i));
        let earlier = after.checked_sub(1).and_then(distance);
        let (away, index) = [earlier, distance(after)].into_iter().flatten().min()?;
        (away <= self.pairing.window.secs()).then_some(index)
    }

    /// The reference that gets reading `index`: the nearest of those that want it, the earlier of two.
    fn owner(&self, index: usize, reading: &Reading) -> Option<usize> {
        let after = self.references.partition_point(|reference| self.target(reference) < reading.at());
        // references that want one reading stand side by side, so the two next to it are the only contenders
        [after.checked_sub(1), Some(after)]
            .into_iter()
            .flatten()
            .filter_map(|i| Some((i, self.references.get(i)?)))
            .filter(|(_, reference)| self.nearest(reference) == Some(index))
            .map(|(i, reference)| (apart(self.target(reference), reading.at()), i))
            .min()
            .map(|(_, i)| i)
    }

    /// The value on the line between the two readings around a reference.
    fn between(&self, index: usize, reference: &Fingerstick) -> Result<Glucose, Unpaired> {
        let target = self.target(reference);
        let place = |at: Instant| self.readings.partition_point(|reading| reading.at() < at);
        let after = place(target);
        let late = self.readings.get(after).ok_or(Unpaired::NoReading)?;
        let early = if late.at() == target {
            late
        } else {
            after.checked_sub(1).and_then(|i| self.readings.get(i)).ok_or(Unpaired::NoReading)?
        };
        let window = self.pairing.window.secs();
        if apart(early.at(), target) > window || apart(late.at(), target) > window {
            return Err(Unpaired::NoReading);
        }
        let previous = index.checked_sub(1).and_then(|i| self.references.get(i));
        if previous.is_some_and(|reference| place(self.target(reference)) == after) {
            return Err(Unpaired::Taken);
        }
        let (low, high) = (usable(early)?.mg_dl(), usable(late)?.mg_dl());
        let length = late.at().since(early.at()).secs();
        let share = if length > 0 { target.since(early.at()).secs() as f32 / length as f32 } else { 0.0 };
        Ok(Glucose::clamped(low + (high - low) * share))
    }
}

fn apart(a: Instant, b: Instant) -> i32 {
    a.since(b).secs().saturating_abs()
}

fn usable(reading: &Reading) -> Result<Glucose, Unpaired> {
    match reading.status() {
        Status::Normal => Ok(reading.glucose()),
        Status::BelowRange | Status::AboveRange => Err(Unpaired::OutOfRange),
        Status::WarmUp | Status::Doubtful | Status::Fault => Err(Unpaired::NotUsable),
    }
}

#[cfg(test)]
mod tests {
    extern crate std;
    use super::*;
    use proptest::prelude::*;
    use std::vec::Vec;

    fn reading(seconds: u32, mg_dl: f32) -> Reading {
        Reading::new(Instant::from_secs(seconds), Glucose::clamped(mg_dl))
    }

    fn stick(seconds: u32) -> Fingerstick {
        Fingerstick::new(Instant::from_secs(seconds), Glucose::clamped(100.0))
    }

    fn sensors(
        pairing: Pairing,
        readings: &[Reading],
        references: &[Fingerstick],
    ) -> Vec<Result<f32, Unpaired>> {
        pairing
            .pairs(readings, references)
            .map(|paired| match paired {
                Paired::Pair(pair) => Ok(pair.sensor().mg_dl()),
                Paired::Unpaired(_, why) => Err(why),
            })
            .collect()
    }

    #[test]
    fn the_nearer_reference_keeps_the_reading() {
        let readings = [reading(0, 100.0), reading(300, 110.0), reading(600, 120.0)];
        let nearest = Pairing::new(Method::Nearest, Span::from_mins(5)).unwrap();
        let got = sensors(nearest, &readings, &[stick(200), stick(290), stick(310), stick(900), stick(1000)]);
        assert_eq!(
            got,
            [Err(Unpaired::Taken), Ok(110.0), Err(Unpaired::Taken), Ok(120.0), Err(Unpaired::NoReading)]
        );
        // each prefers its own reading, though the one at 300 s is also near the other
        assert_eq!(sensors(nearest, &readings, &[stick(160), stick(456)]), [Ok(110.0), Ok(120.0)]);
    }

    #[test]
    fn interpolation_needs_both_sides_and_uses_a_stretch_once() {
        let readings = [reading(0, 100.0), reading(300, 110.0), reading(1500, 120.0)];
        let between = Pairing::new(Method::Interpolated, Span::from_mins(5)).unwrap();
        let got = sensors(between, &readings, &[stick(150), stick(160), stick(300), stick(400), stick(1600)]);
        let no = Err(Unpaired::NoReading);
        assert_eq!(got, [Ok(105.0), Err(Unpaired::Taken), Err(Unpaired::Taken), no, no]);
        assert_eq!(sensors(between, &readings, &[stick(1500)]), [Ok(120.0)]);
        // readings at the very edge of the window still count
        let far = [reading(0, 100.0), reading(600, 120.0)];
        assert_eq!(sensors(between, &far, &[stick(300)]), [Ok(110.0)]);
        assert_eq!(sensors(between, &far, &[stick(299)]), [no]);
        assert_eq!(sensors(between, &far, &[stick(301)]), [no]);
    }

    #[test]
    fn a_lagging_sensor_is_read_later() {
        let readings = [reading(0, 100.0), reading(300, 110.0), reading(600, 120.0)];
        let pairing = Pairing::new(Method::Nearest, Span::from_mins(2)).unwrap();
        let late = pairing.with_lag(Span::from_mins(5)).unwrap();
        assert_eq!(sensors(late, &readings, &[stick(0), stick(300)]), [Ok(110.0), Ok(120.0)]);
    }

    #[test]
    fn what_the_sensor_disowns_is_not_paired() {
        let pairing = Pairing::new(Method::Nearest, Span::from_mins(5)).unwrap();
        let one = |status| sensors(pairing, &[reading(0, 39.0).with_status(status)], &[stick(0)]);
        assert_eq!(one(Status::BelowRange), [Err(Unpaired::OutOfRange)]);
        assert_eq!(one(Status::Fault), [Err(Unpaired::NotUsable)]);
        let zero = Fingerstick::new(Instant::from_secs(0), Glucose::clamped(0.0));
        assert_eq!(sensors(pairing, &[reading(0, 100.0)], &[zero]), [Err(Unpaired::ZeroReference)]);
    }

    #[test]
    fn unreasonable_settings_are_refused() {
        assert!(Pairing::new(Method::Nearest, Span::from_secs(-1)).is_err());
        assert!(Pairing::new(Method::Nearest, Span::from_secs(3601)).is_err());
        let pairing = Pairing::new(Method::Nearest, Span::ZERO).unwrap();
        for (seconds, sound) in [(-3601, false), (-3600, true), (3600, true), (3601, false)] {
            assert_eq!(pairing.with_lag(Span::from_secs(seconds)).is_ok(), sound, "{seconds}");
        }
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(if cfg!(miri) { 4 } else { 256 }))]
        #[test]
        fn every_reference_is_accounted_for_and_no_reading_serves_twice(
            mut times in prop::collection::vec(0_u32..4000, 0..30),
            mut sticks in prop::collection::vec(0_u32..4000, 0..30),
            lag in -600_i32..600,
        ) {
            times.sort_unstable();
            times.dedup();
            sticks.sort_unstable();
            // the value names the reading
            let readings: Vec<_> = times.iter().enumerate().map(|(i, t)| reading(*t, i as f32)).collect();
            let references: Vec<_> = sticks.into_iter().map(stick).collect();
            let pairing = Pairing::new(Method::Nearest, Span::from_mins(5)).unwrap().with_lag(Span::from_secs(lag)).unwrap();
            let got = sensors(pairing, &readings, &references);
            prop_assert_eq!(got.len(), references.len());
            let mut used: Vec<_> = got.iter().filter_map(|g| g.ok()).map(|v| v as u32).collect();
            let count = used.len();
            used.dedup();
            prop_assert_eq!(used.len(), count);
            // whoever is refused because a reading was taken sees it in use
            for (value, reference) in got.iter().zip(&references) {
                if *value == Err(Unpaired::Taken) {
                    let pairs = pairing.pairs(&readings, &references);
                    let nearest = pairs.nearest(reference).unwrap();
                    prop_assert!(used.contains(&(nearest as u32)));
                }
            }
        }
    }
}
