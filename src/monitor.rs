//! The whole: readings in, the five answers out.
//!
//! [`Monitor`] composes the stages; it alone knows more than one of them. A reading is judged, calibrated,
//! measured against the estimate, judged again by how far it lies from it, taken in as far as it is trusted,
//! and the alarms are told. [`Monitor::push`] for each reading, [`Monitor::fingerstick`] for each fingerstick,
//! [`Monitor::tick`] about once a minute when nothing arrives, so that silence is noticed.

mod view;

pub use view::{FingerstickOutcome, Settings, View};

use crate::alarm::{AlarmPlan, Alarms, Doubt, Kind, Situation};
use crate::calibration::{Calibration, Pair};
use crate::error::Error;
use crate::estimator::{Estimator, Fused, Smoothed, Taken, Trust};
use crate::forecast::Forecast;
use crate::history::{History, HistoryView, Inserted};
use crate::local::LocalTime;
use crate::math;
use crate::quality::{Evidence, Quality, Reason, Verdict, Wear};
use crate::reading::{Fingerstick, Reading, Status};
use crate::trend::TrendSign;
use crate::units::{Glucose, Instant, Span};

/// A fingerstick is paired with a reading at most this old.
const PAIRED_WITHIN: Span = Span::from_mins(15);

/// A sensor's own word that it warms up holds this long.
const WARMING_HOLDS: Span = Span::from_mins(20);

/// How much a reading at the end of the sensor's range counts when glucose was expected beyond it.
const NO_NEWS_WEIGHT: f32 = 0.1;

/// The low threshold that probabilities and times speak of: level 1, 70 mg/dL.
const LOW: Glucose = Glucose::clamped(70.0);

/// The horizon that probabilities and predictions of a [`View`] speak of.
const HORIZON: Span = Span::from_mins(30);

/// How far ahead a time to a low is told.
const FURTHEST_LOW: Span = Span::from_hours(1);

/// The monitor of one sensor, keeping the last `N` readings.
///
/// It composes the stages: a reading is judged, calibrated, measured against the estimate, judged again by how far it
/// lies from it, taken in as far as it is trusted, and the alarms are told. [`push`](Self::push) for each reading,
/// [`fingerstick`](Self::fingerstick) for each fingerstick, [`tick`](Self::tick) about once a minute when nothing
/// arrives, so that silence is noticed.
///
/// # Memory
/// About 2.5 KB and 6 bytes a reading kept.
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
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Monitor<const N: usize> {
    history: History<N>,
    core: Core,
}

/// All but the history: the part whose code does not depend on `N`.
#[derive(Clone, Debug)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
struct Core {
    quality: Quality,
    calibration: Calibration,
    estimator: Estimator,
    sign: TrendSign,
    forecast: Forecast,
    alarms: Alarms,
    /// The newest reading that was believed: when, as the sensor gave it, calibrated.
    newest: Option<(Instant, Glucose, Glucose)>,
    /// The newest reading measured while the sensor warms up.
    warming: Option<Instant>,
    utc_offset: Option<Span>,
}

impl<const N: usize> Monitor<N> {
    /// A monitor that knows nothing yet.
    ///
    /// # Errors
    /// Names the setting that is out of its range.
    pub fn new(settings: Settings) -> Result<Self, Error> {
        Ok(Self { history: History::new(), core: Core::new(settings)? })
    }

    /// Takes in a reading and answers. What is refused (see the verdict) changes neither estimate nor history;
    /// it is only counted.
    pub fn push(&mut self, reading: &Reading) -> View {
        let verdict = self.core.take(reading);
        if verdict == Verdict::Restart {
            self.history.clear();
        }
        if verdict.is_kept() && self.history.insert(reading) == Inserted::Duplicate {
            // only a late one can be: an admitted one is newer than all
            return self.core.view(reading.at(), Verdict::Duplicate);
        }
        self.core.view(reading.at(), verdict)
    }

    /// Answers at a moment without a reading. A moment before the newest reading gives that reading's answers.
    pub fn tick(&mut self, now: Instant) -> View {
        self.core.tick(now)
    }

    /// Takes in a fingerstick: for the calibration, for the estimate, and for the sensor's trust.
    pub fn fingerstick(&mut self, stick: &Fingerstick) -> FingerstickOutcome {
        self.core.fingerstick(stick)
    }

    /// A new sensor was started: calibration, estimate and trust begin anew, the history stays.
    pub fn sensor_started(&mut self, at: Instant) {
        let core = &mut self.core;
        core.quality.sensor_started(at);
        core.calibration.reset();
        core.estimator.reset();
        core.forecast.begin();
        core.newest = None;
    }

    /// The zone's offset from UTC, east positive, for alarm settings by time of day; times must then count
    /// from 1970-01-01T00:00Z. Without one the base settings hold all day.
    pub fn set_utc_offset(&mut self, offset: Option<Span>) {
        self.core.utc_offset = offset;
    }

    /// Takes notice of all alarms that hold.
    pub fn acknowledge(&mut self) {
        self.core.alarms.acknowledge_all();
    }

    /// Silences one kind of alarm; how long it will be, for each has a longest.
    pub fn snooze(&mut self, kind: Kind, span: Span) -> Span {
        self.core.alarms.snooze(kind, span)
    }

    /// Other alarm settings from now on.
    pub fn set_alarm_plan(&mut self, plan: AlarmPlan) {
        self.core.alarms.set_plan(plan);
    }

    /// The readings kept, as the sensor gave them.
    #[must_use]
    pub fn history(&self) -> HistoryView<'_> {
        self.history.view()
    }

    /// The alarms.
    #[must_use]
    pub const fn alarms(&self) -> &Alarms {
        &self.core.alarms
    }

    /// The sensor's trust.
    #[must_use]
    pub const fn quality(&self) -> &Quality {
        &self.core.quality
    }

    /// The calibration.
    #[must_use]
    pub const fn calibration(&self) -> &Calibration {
        &self.core.calibration
    }

    /// The estimator.
    #[must_use]
    pub const fn estimator(&self) -> &Estimator {
        &self.core.estimator
    }

    /// The forecaster.
    #[must_use]
    pub const fn forecast(&self) -> &Forecast {
        &self.core.forecast
    }

    /// What glucose was at the last few readings as later ones tell: for drawing.
    pub fn smoothed(&self) -> impl Iterator<Item = Smoothed> + use<N> {
        self.core.estimator.smoothed()
    }

    /// How long the sensor has been worn, if its start is known.
    #[must_use]
    pub fn wear(&self, now: Instant) -> Option<Wear> {
        self.core.quality.wear(now)
    }
}

impl Core {
    fn new(settings: Settings) -> Result<Self, Error> {
        Ok(Self {
            quality: Quality::new(settings.quality)?,
            calibration: Calibration::new(settings.drift),
            estimator: Estimator::new(settings.model),
            sign: TrendSign::new(settings.bands),
            forecast: Forecast::new(settings.forecast),
            alarms: Alarms::new(settings.alarms),
            newest: None,
            warming: None,
            utc_offset: None,
        })
    }

    /// Judges a reading and takes it in as far as it is trusted.
    #[inline(never)] // its stack is given back before the answers are worked out
    fn take(&mut self, reading: &Reading) -> Verdict {
        let at = reading.at();
        let admitted = self.quality.admit(reading);
        if admitted == Verdict::Restart {
            self.estimator.reset();
            self.forecast.begin();
            self.sign = TrendSign::new(*self.sign.bands());
            self.newest = None;
        }
        let calibrated = self.calibration.apply(at, reading.glucose());
        let expected = if admitted.is_admitted() { self.estimator.expect(at, calibrated) } else { None };
        let z = expected.as_ref().and_then(|e| e.innovation());
        let noise_scale = Some(self.estimator.noise_scale());
        let assessment = self.quality.assess_admitted(
            reading,
            admitted,
            &Evidence { z, noise_scale, local: self.local(at) },
        );
        let verdict = assessment.verdict();
        if verdict == Verdict::WarmUp {
            self.warming = Some(at);
        }
        if admitted.is_admitted() {
            self.forecast.reading(at, calibrated, verdict.is_believed());
        }
        let Some(expected) = expected else { return verdict };
        // the end of the sensor's range says "at most" or "at least": no news when that was expected
        let no_news = match reading.status() {
            Status::BelowRange => z.is_some_and(|z| z > 0.0),
            Status::AboveRange => z.is_some_and(|z| z < 0.0),
            _ => false,
        };
        let weight = if no_news { assessment.weight().min(NO_NEWS_WEIGHT) } else { assessment.weight() };
        let trust = if weight >= 1.0 {
            Trust::Full
        } else if weight > 0.0 {
            Trust::Reduced(1.0 / weight)
        } else {
            Trust::None
        };
        let taken = self.estimator.take(&expected, trust);
        if verdict.is_believed() && taken != Taken::NotNewer {
            self.newest = Some((at, reading.glucose(), calibrated));
        }
        verdict
    }

    /// The wall clock at `at`, if the zone's offset is known.
    fn local(&self, at: Instant) -> Option<LocalTime> {
        self.utc_offset.map(|offset| LocalTime::from_unix(at, offset.secs()))
    }

    fn tick(&mut self, now: Instant) -> View {
        let now = self.newest.map_or(now, |(at, _, _)| now.max(at));
        self.answer(now, None)
    }

    fn view(&mut self, at: Instant, verdict: Verdict) -> View {
        let now = self.newest.map_or(at, |(newest, _, _)| at.max(newest));
        // a time that cannot be right is no time to answer for
        let now =
            if verdict == Verdict::BadTime { self.newest.map_or(at, |(newest, _, _)| newest) } else { now };
        self.answer(now, Some(verdict))
    }

    /// The answers at `now`; the alarms are told.
    #[inline(never)]
    fn answer(&mut self, now: Instant, verdict: Option<Verdict>) -> View {
        let estimate = self.estimator.estimate(now);
        let soon = &self.forecast;
        let direction = soon.direction(now);
        let (rate, sd) = direction.map_or((None, 0.0), |d| (Some(d.rate()), d.sd()));
        let trend = self.sign.step(rate, sd);
        let reasons = self.quality.reasons(now);
        let mut situation =
            Situation::at(now).with_doubt(if reasons.contains(Reason::WarmUp) || self.warms_up(now) {
                Doubt::WarmUp
            } else if reasons.disbelieve() {
                Doubt::Disbelieved
            } else if reasons.contains(Reason::Pressure) {
                Doubt::Pressure
            } else {
                Doubt::None
            });
        if let Some((measured, _, calibrated)) = self.newest {
            situation = situation.with_sensor(measured, calibrated);
        }
        let low_ahead = soon.low_ahead(now);
        if let Some(estimate) = estimate {
            situation = situation.with_plasma(estimate.glucose(), estimate.rate());
        }
        if let Some(probability) = low_ahead {
            situation = situation.with_low_ahead(probability);
        }
        if let Some(local) = self.local(now) {
            situation = situation.with_local(local);
        }
        if let Some(wear) = self.quality.wear(now) {
            situation = situation.with_wear_left(wear.left());
        }
        let rings = self.alarms.update(&situation);
        let predicted = [15, 30, 60].map(|minutes| soon.at(now, Span::from_mins(minutes)));
        View {
            at: now,
            verdict,
            estimate,
            trend,
            direction,
            predicted,
            low_probability: soon.low_probability(now, LOW, HORIZON),
            low_ahead,
            minutes_to_low: soon.minutes_to_fall(now, LOW, FURTHEST_LOW),
            calibration_sd: estimate.map(|e| self.calibration.sd(now, e.glucose())),
            newest: self.newest,
            reasons,
            rings,
            active: self.alarms.active(),
            sees: self.alarms.sees(),
        }
    }

    /// Whether the sensor itself says that it warms up: no believed reading is due.
    fn warms_up(&self, now: Instant) -> bool {
        self.warming.is_some_and(|warming| {
            now.since(warming) < WARMING_HOLDS && self.newest.is_none_or(|(newest, _, _)| newest < warming)
        })
    }

    fn fingerstick(&mut self, stick: &Fingerstick) -> FingerstickOutcome {
        let Some((measured, sensor, _)) = self.newest else { return FingerstickOutcome::NoReading };
        let since = stick.at().since(measured);
        if since > PAIRED_WITHIN || since.secs() < PAIRED_WITHIN.secs().saturating_neg() {
            return FingerstickOutcome::NoReading;
        }
        let Some(gap) = self.estimator.behind(stick.at()) else {
            return FingerstickOutcome::NoReading;
        };
        let pair = Pair {
            at: stick.at(),
            reference: stick.glucose(),
            sensor,
            behind: gap.mean,
            behind_sd: gap.sd,
            sensor_sd: self.estimator.noise_sd(),
        };
        let before = self.calibration.apply(measured, sensor);
        let unsure = self.calibration.sd(stick.at(), stick.glucose());
        let calibrated = self.calibration.pair(&pair);
        if !calibrated.is_used() {
            return FingerstickOutcome::Refused(calibrated);
        }
        if let Some(estimate) = self.estimator.estimate(stick.at().max(measured)) {
            let meter = self.estimator.meter_sd(stick.glucose());
            let own = estimate.glucose_sd();
            let sd = math::sqrt(own * own + unsure * unsure + meter * meter);
            let difference = stick.glucose().mg_dl() - estimate.glucose().mg_dl();
            self.quality.fingerstick(stick.at(), difference / sd);
        }
        let after = self.calibration.apply(measured, sensor);
        self.estimator.shift(after.mg_dl() - before.mg_dl());
        self.forecast.shift(after.mg_dl() - before.mg_dl());
        if let Some((_, _, shown)) = &mut self.newest {
            *shown = after;
        }
        let fused = self.estimator.fingerstick(stick);
        FingerstickOutcome::Used { calibrated, fused: fused == Fused::Used }
    }
}

#[cfg(test)]
mod tests;
