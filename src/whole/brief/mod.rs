//! The middle way between one stage and the whole: trend sign and low ahead, with the age, the clock and the floor minded.

use crate::alarm::{AlarmSettings, Kind, MAX_VALUE_AGE};
use crate::forecast::{Forecast, ForecastConfig};
use crate::monitor::{Bound, Shown};
use crate::reading::{Reading, Status};
use crate::timeline::{Placed, Timeline};
use crate::trend::{Bands, Trend, TrendSign};
use crate::units::{FLOOR, Glucose, Instant, LOW, Probability, Span};

/// Trend sign and low ahead of one sensor, in three calls: [`new`](Self::new), [`push`](Self::push) for each reading,
/// [`tick`](Self::tick) about once a minute between.
///
/// # What it takes care of
/// - A value is shown as present for 20 minutes after it was measured, by elapsed time, and no longer.
/// - Clocks that are set, stop or read nonsense; see [`timeline`](crate::timeline).
/// - A reading whose time is unknown, or that comes while the sensor warms up, still warns of a low when it arrives.
/// - Missing readings, also from power-on.
/// - What the sensor says of itself, such as "below range".
/// - A warning of a low stays until a newer reading says otherwise.
///
/// # What it leaves out
/// Only [`Monitor`](crate::Monitor) has these:
/// - the judgement of readings: a jump, a stuck sensor and pressure in the night are taken as they come, and a false high reading
///   hides a low until the next one;
/// - calibration by fingersticks, the estimate of plasma glucose, and uncertainty that grows with doubt;
/// - readings that come late, and a forecast that adapts to the person;
/// - alarms with delays, repeats, acknowledgement and snooze: here the caller rings as long as there is a
///   [`warning`](TrendView::warning);
/// - settings and snapshots.
///
/// Never a medical device: make no treatment decisions by it; take a fingerstick when symptoms and reading disagree.
///
/// # Memory
/// 520 bytes. On a Cortex-M0+ it takes 13.9 kB of flash, start-up and soft floating point included; the wrist's checks hold it
/// under 20 kB.
///
/// # Examples
/// ```
/// use glidepath::{Glucose, Instant, Reading, TrendMonitor, alarm::Kind};
/// let mut monitor = TrendMonitor::default();
/// let mut view = monitor.tick(None); // nothing known yet
/// assert!(!view.is_monitoring() && view.warning().is_none());
/// for k in 0..6_u32 {
///     let glucose = Glucose::from_mg_dl(118.0 - 8.0 * k as f32)?; // from the sensor
///     view = monitor.push(&Reading::new(Instant::from_secs(k * 300), glucose));
/// }
/// assert_eq!((view.trend().words(), view.warning()), ("falling", Some(Kind::LowAhead)));
/// let later = monitor.tick(Instant::from_secs(25 * 60 + 20 * 60));
/// assert!(later.shown().is_none()); // too old to be the present value
/// # Ok::<(), glidepath::Error>(())
/// ```
#[derive(Clone, Debug)]
pub struct TrendMonitor {
    timeline: Timeline,
    forecast: Forecast,
    sign: TrendSign,
    /// The newest reading that is a measurement.
    newest: Option<Newest>,
    /// What was read since without being one: its time cannot be told, or the sensor warms up.
    apart: Option<Glucose>,
    /// Since when nothing has been heard, when nothing is known.
    quiet_since: Option<Instant>,
    ahead: Ahead,
}

/// Whether a low ahead is warned of, by the rule of [`Monitor`](crate::Monitor)'s alarm.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Ahead {
    No,
    /// At the limit or within the hysteresis since then, and not borne out.
    Near(Instant),
    Holds,
}

impl Ahead {
    /// `silence` is how old the newest reading is: minutes that bring none bear a low ahead out by half.
    fn step(self, now: Instant, silence: Span, probability: Option<Probability>, low: bool) -> Self {
        let rule = AlarmSettings::default().low_ahead;
        let beyond = probability.map(|probability| probability.get() - rule.limit.get());
        match (beyond, self) {
            (None, Self::Holds) => Self::Holds,
            (None, _) => Self::No,
            (Some(beyond), _) if beyond < -rule.hysteresis.get() => Self::No,
            (Some(_), Self::Holds) => Self::Holds,
            (Some(beyond), _) => {
                let at = now.plus(Span::from_secs((silence.secs() >> 1).saturating_neg()));
                let since = if let Self::Near(since) = self { since } else { at };
                let borne_out = beyond >= 0.0 && !low && at.since(since) >= rule.delay;
                if borne_out { Self::Holds } else { Self::Near(since) }
            }
        }
    }
}

#[derive(Clone, Copy, Debug, PartialEq)]
struct Newest {
    at: Instant,
    glucose: Glucose,
    status: Status,
}

/// The answers of a [`TrendMonitor`] at one moment.
///
/// Features: `serde` gives `Serialize`, `defmt` gives `Format`.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize))]
#[must_use]
pub struct TrendView {
    shown: Option<Shown>,
    trend: Trend,
    low_ahead: Option<Probability>,
    warning: Option<Kind>,
    trigger: Option<Glucose>,
    monitoring: bool,
}

impl Default for TrendMonitor {
    fn default() -> Self {
        Self::new(Bands::default())
    }
}

impl TrendMonitor {
    /// Knows nothing yet; `bands` say what a moderate and a fast trend is.
    #[must_use]
    pub const fn new(bands: Bands) -> Self {
        Self {
            timeline: Timeline::new(),
            forecast: Forecast::new(ForecastConfig::population()),
            sign: TrendSign::new(bands),
            newest: None,
            apart: None,
            quiet_since: None,
            ahead: Ahead::No,
        }
    }

    /// The device's own count of seconds since it was switched on, for devices that have one; as
    /// [`Monitor::set_uptime`](crate::Monitor::set_uptime).
    ///
    /// # Examples
    /// ```
    /// use glidepath::{Glucose, Instant, Reading, TrendMonitor};
    /// let mut monitor = TrendMonitor::default();
    /// monitor.set_uptime(600); // before each other call
    /// let _ = monitor.push(&Reading::new(Instant::from_secs(300), Glucose::from_mg_dl(110.0)?));
    /// monitor.set_uptime(660);
    /// assert_eq!(monitor.tick(None).shown().map(|now| now.age.secs()), Some(60));
    /// # Ok::<(), glidepath::Error>(())
    /// ```
    pub fn set_uptime(&mut self, uptime_secs: u32) {
        self.timeline.set_uptime(uptime_secs);
    }

    /// To be called when the power returns: how long it was away is unknown. Nothing is shown as present before the next reading, and silence is
    /// counted from now.
    pub fn power_returned(&mut self) {
        self.timeline.resume();
        self.quiet_since = Some(self.timeline.now());
    }

    /// Takes in a reading and answers for the present moment. One that is not newer than the newest changes no trend.
    ///
    /// # Examples
    /// ```
    /// use glidepath::{Glucose, Instant, Reading, TrendMonitor, alarm::Kind};
    /// let mut monitor = TrendMonitor::default();
    /// let view = monitor.push(&Reading::new(Instant::from_secs(300), Glucose::from_mg_dl(64.0)?));
    /// assert_eq!(view.warning(), Some(Kind::Low));
    /// # Ok::<(), glidepath::Error>(())
    /// ```
    pub fn push(&mut self, reading: &Reading) -> TrendView {
        if self.timeline.is_at_end() {
            *self = Self::new(*self.sign.bands());
        }
        let (glucose, status) = (reading.glucose(), reading.status());
        // there is no history to tell a late reading from a clock set back: both are taken for the latter
        let taken = self.newest.is_some_and(|newest| {
            let stamp = self.timeline.stamp_of(newest.at);
            let same = newest.glucose.whole_mg_dl() == glucose.whole_mg_dl();
            reading.at() < stamp || reading.at() == stamp && !same
        });
        let at = match self.timeline.place(reading, taken) {
            Placed::AsStamped(at) | Placed::OnArrival(at) | Placed::ClockSet(at, _) => Some(at),
            Placed::Unknown => None,
        };
        let newer = at.filter(|at| self.newest.is_none_or(|newest| *at > newest.at));
        let told = if status == Status::BelowRange { glucose.min(FLOOR) } else { glucose };
        match (newer, status) {
            (_, Status::Fault) | (None, Status::AboveRange) => {}
            (None, _) | (Some(_), Status::WarmUp) => self.apart = Some(told),
            (Some(at), _) => {
                (self.newest, self.apart) = (Some(Newest { at, glucose, status }), None);
                self.forecast.reading(at, glucose, true);
            }
        }
        self.answer()
    }

    /// Answers at a moment without a reading. `now` is the clock on the wall, or `None` when nobody has set it.
    ///
    /// # Examples
    /// ```
    /// use glidepath::{Glucose, Instant, Reading, TrendMonitor, alarm::Kind};
    /// let mut monitor = TrendMonitor::default();
    /// let _ = monitor.push(&Reading::new(Instant::from_secs(300), Glucose::from_mg_dl(110.0)?));
    /// assert_eq!(monitor.tick(Instant::from_secs(420)).shown().map(|now| now.age.secs()), Some(120));
    /// assert_eq!(monitor.tick(Instant::from_secs(1500)).warning(), Some(Kind::NoData));
    /// # Ok::<(), glidepath::Error>(())
    /// ```
    pub fn tick(&mut self, now: impl Into<Option<Instant>>) -> TrendView {
        self.timeline.tick(now.into());
        self.answer()
    }

    #[inline(never)]
    fn answer(&mut self) -> TrendView {
        let now = self.timeline.now();
        let quiet_since = *self.quiet_since.get_or_insert(now);
        let known = self.newest.filter(|_| !self.timeline.is_resumed());
        let age = known.map(|newest| now.since(newest.at));
        let present = known.zip(age.filter(|age| *age < MAX_VALUE_AGE));
        let soon = known.map(|_| &self.forecast);
        let direction = soon.and_then(|soon| soon.direction(now));
        let (rate, sd) = direction.map_or((None, 0.0), |d| (Some(d.rate()), d.sd()));
        let trend = self.sign.step(rate, sd);
        let low_ahead = soon.and_then(|soon| soon.low_ahead(now)).map(Probability::clamped);
        // a low that was told stays one until a newer reading says otherwise, however old it is
        let told = self.newest.map(Newest::told);
        let lowest = [told, self.apart].into_iter().flatten().reduce(Glucose::min);
        let low = lowest.is_some_and(|lowest| lowest <= LOW);
        let silence = age.unwrap_or(Span::ZERO);
        self.ahead = self.ahead.step(now, silence, low_ahead.filter(|_| present.is_some()), low);
        let warning = if lowest.is_some_and(|lowest| lowest <= FLOOR) {
            Some(Kind::Floor)
        } else if low {
            Some(Kind::Low)
        } else if self.ahead == Ahead::Holds && present.is_some() {
            Some(Kind::LowAhead)
        } else if age.unwrap_or_else(|| now.since(quiet_since)) >= MAX_VALUE_AGE {
            Some(Kind::NoData)
        } else {
            None
        };
        TrendView {
            shown: present.map(|(newest, age)| newest.shown(age, self.apart)),
            trend,
            low_ahead,
            warning,
            trigger: lowest.filter(|_| warning != Some(Kind::NoData)),
            monitoring: self.apart.is_none()
                && present.is_some_and(|(newest, _)| newest.status == Status::Normal),
        }
    }
}

impl Newest {
    /// What it says at least of a low.
    fn told(self) -> Glucose {
        if self.status == Status::BelowRange { self.glucose.min(FLOOR) } else { self.glucose }
    }

    /// As the present value: what was read apart and is lower goes before it, in doubt.
    fn shown(self, age: Span, apart: Option<Glucose>) -> Shown {
        let doubted = apart.is_some() || self.status == Status::Doubtful;
        match apart.filter(|apart| *apart < self.told()) {
            Some(glucose) => Shown { glucose, bound: None, doubted, age },
            None => {
                Shown { glucose: self.glucose, bound: Bound::of(self.glucose, self.status), doubted, age }
            }
        }
    }
}

impl TrendView {
    /// The sensor's value to show as the present one; `None` when it is 20 minutes old, or its age is not known.
    #[must_use]
    pub const fn shown(&self) -> Option<Shown> {
        self.shown
    }

    /// The trend, by the rate to expect over the next 20 minutes.
    #[must_use]
    pub const fn trend(&self) -> Trend {
        self.trend
    }

    /// The probability of a low ahead, as [`Forecast::low_ahead`] gives it.
    #[must_use]
    pub const fn low_ahead(&self) -> Option<Probability> {
        self.low_ahead
    }

    /// The worst that holds: [`Floor`](Kind::Floor) (at or under 55 mg/dL, or below the sensor's range), [`Low`](Kind::Low) (at or
    /// under 70), [`LowAhead`](Kind::LowAhead) (by the default rule of that alarm, borne out by a second reading), [`NoData`](Kind::NoData) (nothing for
    /// 20 minutes).
    #[must_use]
    pub const fn warning(&self) -> Option<Kind> {
        self.warning
    }

    /// The value that triggered the warning: to be shown with it, whatever its age.
    #[must_use]
    pub const fn trigger(&self) -> Option<Glucose> {
        self.trigger
    }

    /// Whether no warning means that all is well: a fresh value, and nothing against it that this much smaller part would see.
    #[must_use]
    pub const fn is_monitoring(&self) -> bool {
        self.monitoring
    }
}

#[cfg(test)]
mod tests;
