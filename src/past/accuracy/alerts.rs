//! Alerts: how many were true, and how many events were caught.

use super::tally::Tally;
use crate::error::{Error, ErrorKind};
use crate::reading::{Fingerstick, Reading, Status};
use crate::units::{Glucose, Instant, Span};

/// On which side of its threshold an alert sounds.
///
/// Feature `defmt` gives `Format`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum AlertSide {
    /// Under it.
    Below,
    /// Over it.
    Above,
}

/// An alert threshold and the window within which sensor and reference confirm each other.
///
/// Two rates with **different** denominators:
/// - true alert rate: alerts with a reference beyond the threshold within the window, of all alerts that have
///   any reference within it. Alerts that no reference can judge are counted apart.
/// - detection rate: reference events with an alert within the window, of all reference events.
///
/// An alert, and an event, begins where the value goes beyond the threshold, having been on the other side or
/// not known before.
///
/// Source: CLSI POCT05, 2nd ed. (2020), from memory, with windows of 15 or 30 min as labels state them.
///
/// Feature `defmt` gives `Format`.
///
/// # Examples
/// ```
/// use glidepath::accuracy::{AlertRule, AlertSide};
/// use glidepath::{Fingerstick, Glucose, Instant, Reading, Span};
/// let mg_dl = Glucose::from_mg_dl;
/// let readings = [
///     Reading::new(Instant::from_secs(0), mg_dl(75.0)?),
///     Reading::new(Instant::from_secs(300), mg_dl(68.0)?),
/// ];
/// let references = [Fingerstick::new(Instant::from_secs(600), mg_dl(66.0)?)];
/// let low = AlertRule::new(AlertSide::Below, mg_dl(70.0)?, Span::from_mins(15))?;
/// let rates = low.judge(&readings, &references);
/// assert_eq!(rates.true_alerts.percent(), Some(100.0));
/// assert_eq!(rates.detected.percent(), Some(100.0));
/// # Ok::<(), glidepath::Error>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct AlertRule {
    side: AlertSide,
    threshold: Glucose,
    window: Span,
}

/// What [`AlertRule::judge`] found.
///
/// Feature `defmt` gives `Format`.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub struct AlertRates {
    /// Alerts confirmed by a reference, of those that could be judged.
    pub true_alerts: Tally,
    /// Alerts with no reference near enough to judge them.
    pub unjudged: u32,
    /// Reference events with an alert near enough, of all reference events.
    pub detected: Tally,
}

impl AlertRule {
    /// Alerts on `side` of `threshold`, confirmed within ±`window`.
    ///
    /// # Errors
    /// When the window is negative or over two hours.
    pub const fn new(side: AlertSide, threshold: Glucose, window: Span) -> Result<Self, Error> {
        if window.secs() < 0 || window.secs() > 7200 {
            return Err(Error::new("window", ErrorKind::OutOfRange));
        }
        Ok(Self { side, threshold, window })
    }

    /// Whether a value is beyond the threshold, strictly.
    #[must_use]
    pub fn beyond(&self, glucose: Glucose) -> bool {
        match self.side {
            AlertSide::Below => glucose < self.threshold,
            AlertSide::Above => glucose > self.threshold,
        }
    }

    /// When alerts begin in `readings`, which are in order of time. Readings the sensor disowns are passed
    /// over; those outside its range count by the end they are at.
    pub fn alerts<'a>(&self, readings: &'a [Reading]) -> impl Iterator<Item = Instant> + Clone + use<'a> {
        let usable = readings.iter().filter(|reading| {
            matches!(reading.status(), Status::Normal | Status::BelowRange | Status::AboveRange)
        });
        self.begins(usable.map(|reading| (reading.at(), reading.glucose())))
    }

    /// When events begin in `references`, which are in order of time.
    pub fn events<'a>(
        &self,
        references: &'a [Fingerstick],
    ) -> impl Iterator<Item = Instant> + Clone + use<'a> {
        self.begins(references.iter().map(|reference| (reference.at(), reference.glucose())))
    }

    /// Judges the alerts of `readings` by `references`; both are in order of time.
    #[must_use]
    pub fn judge(&self, readings: &[Reading], references: &[Fingerstick]) -> AlertRates {
        let mut rates = AlertRates::default();
        for alert in self.alerts(readings) {
            let from = references.partition_point(|r| r.at() < alert && !self.near(r.at(), alert));
            let mut near = references.iter().skip(from).take_while(|r| self.near(r.at(), alert)).peekable();
            if near.peek().is_none() {
                rates.unjudged = rates.unjudged.saturating_add(1);
            } else {
                rates.true_alerts.push(near.any(|r| self.beyond(r.glucose())));
            }
        }
        for event in self.events(references) {
            rates.detected.push(self.alerts(readings).any(|alert| self.near(alert, event)));
        }
        rates
    }

    fn near(&self, a: Instant, b: Instant) -> bool {
        a.since(b).secs().saturating_abs() <= self.window.secs()
    }

    fn begins<I>(&self, values: I) -> impl Iterator<Item = Instant> + Clone + use<I>
    where
        I: Iterator<Item = (Instant, Glucose)> + Clone,
    {
        let rule = *self;
        values
            .scan(false, move |beyond, (at, glucose)| {
                let before = core::mem::replace(beyond, rule.beyond(glucose));
                Some((*beyond && !before).then_some(at))
            })
            .flatten()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_alert_nobody_checked_is_not_called_false() {
        let reading =
            |minutes: u32, value| Reading::new(Instant::from_secs(minutes * 60), Glucose::clamped(value));
        let rule = AlertRule::new(AlertSide::Above, Glucose::clamped(250.0), Span::from_mins(15)).unwrap();
        let readings = [reading(0, 260.0), reading(5, 240.0), reading(10, 300.0).with_status(Status::Fault)];
        let rates = rule.judge(&readings, &[]);
        assert_eq!((rates.unjudged, rates.true_alerts.trials()), (1, 0));
        let calm = [Fingerstick::new(Instant::from_secs(0), Glucose::clamped(250.0))];
        assert_eq!(rule.judge(&readings, &calm).true_alerts, Tally::new(0, 1).unwrap());
        let high = [Fingerstick::new(Instant::from_secs(0), Glucose::clamped(251.0))];
        assert_eq!(rule.judge(&readings, &high).true_alerts, Tally::new(1, 1).unwrap());
        assert!(AlertRule::new(AlertSide::Above, Glucose::clamped(250.0), Span::from_hours(3)).is_err());
        let low = AlertRule::new(AlertSide::Below, Glucose::clamped(70.0), Span::ZERO).unwrap();
        assert_eq!(low.alerts(&[reading(0, 70.0), reading(5, 69.9)]).count(), 1);
        assert!(!low.beyond(Glucose::clamped(70.0)) && !rule.beyond(Glucose::clamped(250.0)));
    }
}
