//! The monitor of one sensor: readings in, answers out.
//!
//! [`Monitor`] composes the stages; it alone knows more than one of them. A reading is placed on the count of elapsed
//! time, judged, calibrated, compared with the estimate, judged again by its distance from it, used as far as it is
//! trusted, and then the alarms are updated. Call [`Monitor::push`] for each reading, [`Monitor::fingerstick`] for each
//! fingerstick, and [`Monitor::tick`] about once a minute when nothing arrives, so that silence is noticed.

mod answers;
mod chain;
#[cfg(feature = "serde")]
mod file;
mod outcome;
mod settings;
mod view;

use answers::Core;
pub(super) use chain::{Chain, Newest, Pushed};
#[cfg(feature = "serde")]
pub(super) use file::NewestWritten;
pub use outcome::{Expected, FingerstickOutcome, Refusal};
pub use settings::Settings;
pub use view::{Bound, Shown, View};

use crate::alarm::{AlarmPlan, Alarms, Kind};
use crate::calibration::Calibration;
use crate::codec::{Codec, Coded};
use crate::error::Error;
use crate::estimator::{Estimator, Smoothed};
use crate::forecast::Forecast;
use crate::history::{History, HistoryView};
use crate::quality::{Quality, Wear};
use crate::reading::{Fingerstick, Reading};
use crate::timeline::{Reset, Timeline};
use crate::units::{Instant, Span};

/// The monitor of one sensor, keeping the last `N` readings.
///
/// It composes the stages: a reading is placed on the count of elapsed time, judged, calibrated, measured against the
/// estimate, judged again by how far it lies from it, taken in as far as it is trusted, and the alarms are told.
/// [`push`](Self::push) for each reading, [`fingerstick`](Self::fingerstick) for each fingerstick,
/// [`tick`](Self::tick) about once a minute when nothing arrives, so that silence is noticed.
///
/// # Time
/// Clocks may be set, stop or read nonsense; see [`timeline`](crate::timeline). A device that has a count of its own
/// seconds since it was switched on passes it to [`set_uptime`](Self::set_uptime) before each other call; elapsed time is then right
/// whatever its clocks do. Moments in the answers are as the clock that stamps readings shows them.
///
/// # Memory
/// About 2.6 KB and 6 bytes a reading kept.
///
/// # Examples
/// ```
/// use glidepath::{Glucose, Instant, Monitor, Reading, Settings};
/// let mut monitor = Monitor::<288>::new(Settings::default())?;
/// for k in 0..12_u32 {
///     let value = Glucose::from_mg_dl(130.0 - 3.0 * k as f32)?; // from the sensor
///     let view = monitor.push(&Reading::new(Instant::from_secs(k * 300), value));
///     if let Some(now) = view.estimate() {
///         let _ = (now.glucose().whole_mg_dl(), now.glucose_sd(), view.trend().words());
///     }
/// }
/// let silent = monitor.tick(Instant::from_secs(11 * 300 + 30 * 60));
/// assert!(silent.rings().iter().any(|ring| ring.kind == glidepath::alarm::Kind::NoData));
/// # Ok::<(), glidepath::Error>(())
/// ```
#[derive(Clone, Debug)]
pub struct Monitor<const N: usize> {
    history: History<N>,
    core: Core,
}

impl<const N: usize> Monitor<N> {
    /// A monitor that knows nothing yet.
    ///
    /// # Errors
    /// Names the setting that is out of its range.
    pub fn new(settings: Settings) -> Result<Self, Error> {
        Ok(Self { history: History::new(), core: Core::new(settings)? })
    }

    /// The device's own count of seconds since it was switched on. Call this before each other call; the count may wrap.
    /// Ages, delays, repeats and snoozes then run on it alone. A device without one leaves this out: the clock given to
    /// [`tick`](Self::tick) then decides how much time passes, except where it is seen to be set.
    ///
    /// # Examples
    /// ```
    /// use glidepath::{Glucose, Instant, Monitor, Reading, Settings};
    /// let mut monitor = Monitor::<24>::new(Settings::default())?;
    /// monitor.set_uptime(600); // ten minutes after power-on
    /// let _ = monitor.push(&Reading::new(Instant::from_secs(300), Glucose::from_mg_dl(110.0)?));
    /// monitor.set_uptime(720);
    /// let wrong_clock = Instant::from_secs(4_000_000_000);
    /// assert_eq!(monitor.tick(wrong_clock).shown().map(|now| now.age.secs()), Some(120)); // the count decides
    /// # Ok::<(), glidepath::Error>(())
    /// ```
    pub fn set_uptime(&mut self, uptime_secs: u32) {
        self.core.chain.timeline.set_uptime(uptime_secs);
    }

    /// Takes in a reading and answers for the present moment. What is refused (see the verdict) changes neither
    /// estimate nor history; it is only counted.
    ///
    /// # Examples
    /// ```
    /// use glidepath::{Glucose, Instant, Monitor, Reading, Settings, quality::Verdict};
    /// let mut monitor = Monitor::<24>::new(Settings::default())?;
    /// let reading = Reading::new(Instant::from_secs(300), Glucose::from_mg_dl(110.0)?);
    /// assert_eq!(monitor.push(&reading).verdict(), Some(Verdict::Accepted));
    /// assert_eq!(monitor.push(&reading).verdict(), Some(Verdict::Duplicate)); // pushed twice, used once
    /// assert_eq!(monitor.history().len(), 1);
    /// # Ok::<(), glidepath::Error>(())
    /// ```
    pub fn push(&mut self, reading: &Reading) -> View {
        let core = &mut self.core;
        if core.chain.timeline.is_at_end() {
            core.reset(Reset::Everything); // in 68 years, or after tens of thousands of false clocks
        }
        let pushed = core.chain.push(&mut self.history, reading, core.utc_offset);
        core.answer(Some(pushed.verdict), pushed.unplaced)
    }

    /// Answers at a moment without a reading. `now` is the clock on the wall, or `None` when nobody has set it. Time
    /// that does not go forward by it has not passed; see [`timeline`](crate::timeline).
    ///
    /// # Examples
    /// ```
    /// use glidepath::{Glucose, Instant, Monitor, Reading, Settings, alarm::Kind};
    /// let mut monitor = Monitor::<24>::new(Settings::default())?;
    /// let _ = monitor.push(&Reading::new(Instant::from_secs(300), Glucose::from_mg_dl(110.0)?));
    /// let silent = monitor.tick(Instant::from_secs(300 + 20 * 60));
    /// assert!(silent.shown().is_none() && silent.rings().iter().any(|ring| ring.kind == Kind::NoData));
    /// # Ok::<(), glidepath::Error>(())
    /// ```
    pub fn tick(&mut self, now: impl Into<Option<Instant>>) -> View {
        self.core.tick(now.into())
    }

    /// Takes in a fingerstick: for the calibration, for the estimate, and for the sensor's trust. Its time must
    /// lie within 15 min before and 2 min after the present moment.
    ///
    /// # Examples
    /// ```
    /// use glidepath::{Fingerstick, Glucose, Instant, Monitor, Reading, Settings};
    /// let mut monitor = Monitor::<24>::new(Settings::default())?;
    /// let (at, glucose) = (Instant::from_secs(300), Glucose::from_mg_dl(110.0)?);
    /// let stick = Fingerstick::new(at, glucose);
    /// assert!(!monitor.fingerstick(&stick).is_used()); // no reading to compare it with
    /// let _ = monitor.push(&Reading::new(at, glucose));
    /// assert!(monitor.fingerstick(&stick).is_used());
    /// # Ok::<(), glidepath::Error>(())
    /// ```
    pub fn fingerstick(&mut self, stick: &Fingerstick) -> FingerstickOutcome {
        self.core.chain.fingerstick(stick, true)
    }

    /// A new sensor was started: calibration, estimate and trust start anew; the history, what was learned of the
    /// person and the alarms stay. A start in the future counts as now.
    ///
    /// # Examples
    /// ```
    /// use glidepath::{Glucose, Instant, Monitor, Reading, Settings, quality::{Reason, Verdict}};
    /// let mut monitor = Monitor::<24>::new(Settings::default())?;
    /// monitor.sensor_started(Instant::from_secs(0));
    /// let view = monitor.push(&Reading::new(Instant::from_secs(1800), Glucose::from_mg_dl(110.0)?));
    /// assert_eq!(view.verdict(), Some(Verdict::WarmUp)); // the first hour
    /// assert!(view.reasons().contains(Reason::WarmUp));
    /// # Ok::<(), glidepath::Error>(())
    /// ```
    pub fn sensor_started(&mut self, at: Instant) {
        let start = self.core.chain.timeline.start_of(at);
        self.core.reset(Reset::NewSensor);
        self.core.chain.quality.sensor_started(start);
    }

    /// To be called when the power returns, on a monitor whose memory outlived the cut; after
    /// [`snapshot::restore`](crate::snapshot::restore) it need not be. How long the power was away is unknown: nothing is shown as
    /// present before the next reading, silence is counted from now, and the device's own count starts anew.
    pub fn power_returned(&mut self) {
        self.core.reset(Reset::PowerReturned);
    }

    /// Forgets everything but the settings.
    pub fn restart(&mut self) {
        self.history.clear();
        self.core.reset(Reset::Everything);
    }

    /// The zone's offset from UTC, east positive, for alarm settings by time of day; times must then count
    /// from 1970-01-01T00:00Z. Without one the base settings hold all day.
    ///
    /// # Examples
    /// ```
    /// use glidepath::{Monitor, Settings, Span};
    /// let mut monitor = Monitor::<24>::new(Settings::default())?;
    /// monitor.set_utc_offset(Some(Span::from_hours(2))); // and again when daylight saving ends
    /// # Ok::<(), glidepath::Error>(())
    /// ```
    pub fn set_utc_offset(&mut self, offset: Option<Span>) {
        self.core.utc_offset = offset;
    }

    /// Acknowledges all active alarms: they are silent for their `quiet`, and stay active while their condition holds.
    ///
    /// # Examples
    /// ```
    /// use glidepath::{Glucose, Instant, Monitor, Reading, Settings, alarm::Kind};
    /// let mut monitor = Monitor::<24>::new(Settings::default())?;
    /// let low = monitor.push(&Reading::new(Instant::from_secs(300), Glucose::from_mg_dl(62.0)?));
    /// assert!(low.alarms().get(Kind::Low).is_some_and(|held| held.rings && !held.acknowledged));
    /// monitor.acknowledge(); // a press of the button
    /// let next = monitor.tick(Instant::from_secs(360));
    /// assert!(next.alarms().get(Kind::Low).is_some_and(|held| !held.rings && held.acknowledged)); // it still holds
    /// # Ok::<(), glidepath::Error>(())
    /// ```
    pub fn acknowledge(&mut self) {
        self.core.alarms.acknowledge_all();
    }

    /// Silences one kind of alarm. Returns for how long: each kind has a longest snooze (floor and low 30 min, others 8 h).
    ///
    /// # Examples
    /// ```
    /// use glidepath::{Instant, Monitor, Settings, Span, alarm::Kind};
    /// let mut monitor = Monitor::<24>::new(Settings::default())?;
    /// let _ = monitor.tick(Instant::from_secs(300));
    /// assert_eq!(monitor.snooze(Kind::High, Span::from_hours(2)), Span::from_hours(2));
    /// assert_eq!(monitor.snooze(Kind::Low, Span::from_hours(2)), Span::from_mins(30)); // no low is silent for longer
    /// # Ok::<(), glidepath::Error>(())
    /// ```
    pub fn snooze(&mut self, kind: Kind, span: Span) -> Span {
        self.core.alarms.snooze(kind, span)
    }

    /// Other alarm settings from now on.
    ///
    /// # Examples
    /// ```
    /// use glidepath::alarm::{AlarmPlan, AlarmSettings};
    /// use glidepath::{Glucose, Monitor, Settings};
    /// let mut monitor = Monitor::<24>::new(Settings::default())?;
    /// let mut settings = AlarmSettings::default();
    /// settings.low.limit = Glucose::from_mg_dl(80.0)?;
    /// monitor.set_alarm_plan(AlarmPlan::new(settings)?); // what is out of range is refused before
    /// # Ok::<(), glidepath::Error>(())
    /// ```
    pub fn set_alarm_plan(&mut self, plan: AlarmPlan) {
        self.core.alarms.set_plan(plan);
    }

    /// The readings kept, as the sensor gave them, stamped by its present clock.
    #[must_use]
    pub fn history(&self) -> HistoryView<'_> {
        self.history.view()
    }

    /// The alarms. Their moments are of the count.
    #[must_use]
    pub const fn alarms(&self) -> &Alarms {
        &self.core.alarms
    }

    /// The judge of the sensor's readings. Its moments are of the count.
    #[must_use]
    pub const fn quality(&self) -> &Quality {
        &self.core.chain.quality
    }

    /// The calibration. Its moments are of the count.
    #[must_use]
    pub const fn calibration(&self) -> &Calibration {
        &self.core.chain.calibration
    }

    /// The calibration's gain and offset (mg/dL) now.
    #[must_use]
    pub fn gain_and_offset(&self) -> (f32, f32) {
        self.core.chain.calibration.gain_and_offset(self.core.chain.timeline.now())
    }

    /// The estimator. Its moments are of the count.
    #[must_use]
    pub const fn estimator(&self) -> &Estimator {
        &self.core.chain.estimator
    }

    /// The forecaster. Its moments are of the count.
    #[must_use]
    pub const fn forecast(&self) -> &Forecast {
        &self.core.chain.forecast
    }

    /// The count of elapsed time, and what places stamps on it.
    #[must_use]
    pub const fn timeline(&self) -> &Timeline {
        &self.core.chain.timeline
    }

    /// Glucose at the last few readings, smoothed by those that came after: for drawing.
    ///
    /// # Examples
    /// ```
    /// use glidepath::{Glucose, Instant, Monitor, Reading, Settings};
    /// let mut monitor = Monitor::<24>::new(Settings::default())?;
    /// for k in 0..6_u32 {
    ///     let _ = monitor.push(&Reading::new(Instant::from_secs(300 * k), Glucose::from_mg_dl(110.0 + k as f32)?));
    /// }
    /// assert!(monitor.smoothed().all(|point| (point.glucose().mg_dl() - 113.0).abs() < 10.0));
    /// # Ok::<(), glidepath::Error>(())
    /// ```
    pub fn smoothed(&self) -> impl Iterator<Item = Smoothed> {
        let timeline = self.core.chain.timeline;
        self.core.chain.estimator.smoothed().map(move |point| point.by_clock(timeline.stamp_of(point.at())))
    }

    /// How long the sensor has been worn, what is left, and what was lost; `None` if its start is not known.
    ///
    /// # Examples
    /// ```
    /// use glidepath::{Instant, Monitor, Settings};
    /// let mut monitor = Monitor::<24>::new(Settings::default())?;
    /// assert!(monitor.wear().is_none()); // its start is not known
    /// let _ = monitor.tick(Instant::from_secs(90_000));
    /// monitor.sensor_started(Instant::from_secs(90_000 - 3600));
    /// assert_eq!(monitor.wear().map(|wear| wear.worn().secs()), Some(3600));
    /// # Ok::<(), glidepath::Error>(())
    /// ```
    #[must_use]
    pub fn wear(&self) -> Option<Wear> {
        self.core.chain.quality.wear(self.core.chain.timeline.now())
    }
}

impl<const N: usize> Coded for Monitor<N> {
    fn code(&mut self, codec: &mut Codec<'_>) {
        let Self { history, core } = self;
        core.code(codec);
        history.code(codec);
    }
}

#[cfg(test)]
mod tests;
