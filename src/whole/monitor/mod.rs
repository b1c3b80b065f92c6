//! The whole: readings in, the five answers out.
//!
//! [`Monitor`] composes the stages; it alone knows more than one of them. A reading is placed on the count of elapsed
//! time, judged, calibrated, measured against the estimate, judged again by how far it lies from it, taken in as far as
//! it is trusted, and the alarms are told. [`Monitor::push`] for each reading, [`Monitor::fingerstick`] for each
//! fingerstick, [`Monitor::tick`] about once a minute when nothing arrives, so that silence is noticed.

mod view;

pub use view::{Bound, Expected, FingerstickOutcome, Refusal, Settings, Shown, View};

use crate::alarm::{AlarmPlan, Alarms, Doubt, FLOOR_MG_DL, Kind, Situation};
use crate::calibration::{Applied, Calibration, CalibrationPoint};
use crate::codec::{Blank, Codec, Coded};
use crate::error::Error;
use crate::estimate::Estimate;
use crate::estimator::{Estimator, Fused, Smoothed, Trust};
use crate::forecast::Forecast;
use crate::history::{History, HistoryView, Inserted};
use crate::local::LocalTime;
use crate::quality::{Evidence, Quality, Reason, Reasons, Verdict, Wear};
use crate::reading::{Fingerstick, Reading, Status};
use crate::timeline::{Beginning, Placed, Timeline};
use crate::trend::TrendSign;
use crate::units::{Glucose, Instant, LOW, Span};

/// A fingerstick may be this much older than now, and than the reading that it is paired with this much newer.
const PAIRED_WITHIN: Span = Span::from_mins(15);

/// A fingerstick may be this far ahead of now: clocks differ.
const STICK_AHEAD: Span = Span::from_mins(2);

/// Two stamps closer than this are of one reading.
const SAME_READING: Span = Span::from_secs(150);

/// How much a reading at the end of the sensor's range counts when glucose was expected beyond it.
const NO_NEWS_WEIGHT: f32 = 0.1;

/// The horizon that probabilities and predictions of a [`View`] speak of.
const HORIZON: Span = Span::from_mins(30);

/// How far ahead a time to a low is told.
const FURTHEST_LOW: Span = Span::from_hours(1);

/// The monitor of one sensor, keeping the last `N` readings.
///
/// It composes the stages: a reading is placed on the count of elapsed time, judged, calibrated, measured against the
/// estimate, judged again by how far it lies from it, taken in as far as it is trusted, and the alarms are told.
/// [`push`](Self::push) for each reading, [`fingerstick`](Self::fingerstick) for each fingerstick,
/// [`tick`](Self::tick) about once a minute when nothing arrives, so that silence is noticed.
///
/// # Time
/// Clocks may be set, stop or read nonsense; see [`timeline`](crate::timeline). A device that has a count of its own
/// seconds since it was switched on tells it by [`run`](Self::run) before each other call, and is then right whatever
/// its clocks do. Moments in the answers are as the clock that stamps readings shows them.
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

/// All but the history: the part whose code does not depend on `N`. Its moments are of the count.
#[derive(Clone, Debug)]
struct Core {
    timeline: Timeline,
    quality: Quality,
    calibration: Calibration,
    estimator: Estimator,
    sign: TrendSign,
    forecast: Forecast,
    alarms: Alarms,
    /// The newest reading that was believed.
    newest: Option<Newest>,
    /// The newest reading, if it is not believed: as the sensor gave it.
    unbelieved: Option<Glucose>,
    utc_offset: Option<Span>,
}

/// A believed reading. 16 bytes.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Newest {
    at: Instant,
    sensor: Glucose,
    calibrated: Glucose,
    status: Status,
}

/// What became of a reading within the core.
struct Judged {
    verdict: Verdict,
    /// Where it was placed.
    at: Option<Instant>,
    /// By how much older stamps are to be moved.
    moved: Span,
    /// A reading that cannot be placed, as the sensor gave it.
    unplaced: Option<Glucose>,
}

impl<const N: usize> Monitor<N> {
    /// A monitor that knows nothing yet.
    ///
    /// # Errors
    /// Names the setting that is out of its range.
    pub fn new(settings: Settings) -> Result<Self, Error> {
        Ok(Self { history: History::new(), core: Core::new(settings)? })
    }

    /// The device's own count of seconds since it was switched on, to be told before each other call; it may wrap.
    /// Ages, delays, repeats and snoozes then run on it alone. A device without one leaves this out: the clock given to
    /// [`tick`](Self::tick) then tells how much time passes, as far as it is not set.
    pub fn run(&mut self, uptime_secs: u32) {
        self.core.timeline.run(uptime_secs);
    }

    /// Takes in a reading and answers for the present moment. What is refused (see the verdict) changes neither
    /// estimate nor history; it is only counted.
    pub fn push(&mut self, reading: &Reading) -> View {
        let history = self.history.view();
        let older = history.newest().is_some_and(|newest| reading.at() <= newest.at());
        let denied = older && history.denies(reading, SAME_READING);
        let judged = self.core.take(reading, denied);
        if judged.moved != Span::ZERO {
            self.history.shift(judged.moved);
        }
        let mut verdict = judged.verdict;
        if let Some(at) = judged.at.filter(|_| verdict.is_kept()) {
            let stamp = self.core.timeline.stamp_of(at);
            let kept = Reading::new(stamp, reading.glucose()).with_status(reading.status());
            if self.history.insert(&kept) == Inserted::Duplicate && verdict == Verdict::Late {
                verdict = Verdict::Duplicate;
            }
        }
        self.core.answer(Some(verdict), judged.unplaced)
    }

    /// Answers at a moment without a reading. `now` is the clock on the wall, or `None` when nobody has set it. Time
    /// that does not go forward by it has not passed; see [`timeline`](crate::timeline).
    pub fn tick(&mut self, now: impl Into<Option<Instant>>) -> View {
        self.core.tick(now.into())
    }

    /// Takes in a fingerstick: for the calibration, for the estimate, and for the sensor's trust. Its time must
    /// lie within 15 min before and 2 min after the present moment.
    pub fn fingerstick(&mut self, stick: &Fingerstick) -> FingerstickOutcome {
        self.core.fingerstick(stick)
    }

    /// A new sensor was started: calibration, estimate and trust begin anew; the history, what was learned of the
    /// person and the alarms stay. A start in the future counts as now.
    pub fn sensor_started(&mut self, at: Instant) {
        let start = self.core.timeline.start_of(at);
        self.core.begin(Beginning::Sensor);
        self.core.quality.sensor_started(start);
    }

    /// The power was away, for nobody knows how long: nothing is shown as present before the next reading, silence is
    /// counted from now, and the device's own count starts anew. To be called on a monitor whose memory outlived the cut;
    /// [`snapshot::restore`](crate::snapshot::restore) has done so.
    pub fn power_returned(&mut self) {
        self.core.begin(Beginning::Power);
    }

    /// Forgets everything but the settings.
    pub fn restart(&mut self) {
        self.history.clear();
        self.core.begin(Beginning::Everything);
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

    /// The sensor's trust. Its moments are of the count.
    #[must_use]
    pub const fn quality(&self) -> &Quality {
        &self.core.quality
    }

    /// The calibration. Its moments are of the count.
    #[must_use]
    pub const fn calibration(&self) -> &Calibration {
        &self.core.calibration
    }

    /// The calibration's gain and offset (mg/dL) now.
    #[must_use]
    pub fn gain_and_offset(&self) -> (f32, f32) {
        self.core.calibration.gain_and_offset(self.core.timeline.now())
    }

    /// The estimator. Its moments are of the count.
    #[must_use]
    pub const fn estimator(&self) -> &Estimator {
        &self.core.estimator
    }

    /// The forecaster. Its moments are of the count.
    #[must_use]
    pub const fn forecast(&self) -> &Forecast {
        &self.core.forecast
    }

    /// What says where on the count a stamp lies.
    #[must_use]
    pub const fn timeline(&self) -> &Timeline {
        &self.core.timeline
    }

    /// What glucose was at the last few readings as later ones tell: for drawing.
    pub fn smoothed(&self) -> impl Iterator<Item = Smoothed> {
        let timeline = self.core.timeline;
        self.core.estimator.smoothed().map(move |point| point.by_clock(timeline.stamp_of(point.at())))
    }

    /// How long the sensor has been worn, if its start is known.
    #[must_use]
    pub fn wear(&self) -> Option<Wear> {
        self.core.quality.wear(self.core.timeline.now())
    }
}

impl<const N: usize> Coded for Monitor<N> {
    fn code(&mut self, codec: &mut Codec<'_>) {
        let Self { history, core } = self;
        core.code(codec);
        history.code(codec);
    }
}

impl Coded for Core {
    #[inline(never)]
    fn code(&mut self, codec: &mut Codec<'_>) {
        let Self {
            timeline,
            quality,
            calibration,
            estimator,
            sign,
            forecast,
            alarms,
            newest,
            unbelieved,
            utc_offset: _,
        } = self;
        timeline.code(codec); // first: it says what is present
        quality.code(codec);
        calibration.code(codec);
        estimator.code(codec);
        sign.code(codec);
        forecast.code(codec);
        alarms.code(codec);
        newest.code(codec);
        unbelieved.code(codec);
    }
}

impl Blank for Newest {
    const BLANK: Self = Self {
        at: Instant::BLANK,
        sensor: Glucose::BLANK,
        calibrated: Glucose::BLANK,
        status: Status::Normal,
    };
}

impl Coded for Newest {
    fn code(&mut self, codec: &mut Codec<'_>) {
        let Self { at, sensor, calibrated, status } = self;
        codec.moment(at);
        sensor.code(codec);
        calibrated.code(codec);
        codec.one_of(status, &Status::ALL);
    }
}

impl Core {
    fn new(settings: Settings) -> Result<Self, Error> {
        Ok(Self {
            timeline: Timeline::new(),
            quality: Quality::new(settings.quality)?,
            calibration: Calibration::new(settings.drift),
            estimator: Estimator::new(settings.model),
            sign: TrendSign::new(settings.bands),
            forecast: Forecast::new(settings.forecast),
            alarms: Alarms::new(settings.alarms),
            newest: None,
            unbelieved: None,
            utc_offset: None,
        })
    }

    /// The one act of beginning anew: every stage is told, and says itself what it keeps.
    fn begin(&mut self, beginning: Beginning) {
        match beginning {
            Beginning::Sensor => (self.newest, self.unbelieved) = (None, None),
            Beginning::Power => self.timeline.resume(),
            Beginning::Everything => {
                self.timeline = Timeline::new();
                (self.newest, self.unbelieved) = (None, None);
            }
        }
        self.quality.begin(beginning);
        self.calibration.begin(beginning);
        self.estimator.begin(beginning);
        self.sign.begin(beginning);
        self.forecast.begin(beginning);
        self.alarms.begin(beginning, self.timeline.now());
    }

    /// Judges a reading and takes it in as far as it is trusted. `denied` says that another value is known at its time.
    #[inline(never)] // its stack is given back before the answers are worked out
    fn take(&mut self, reading: &Reading, denied: bool) -> Judged {
        if self.timeline.is_at_end() {
            self.begin(Beginning::Everything); // in 68 years, or after tens of thousands of false clocks
        }
        let mut judged = Judged { verdict: Verdict::BadTime, at: None, moved: Span::ZERO, unplaced: None };
        let (at, set) = match self.timeline.place(reading, denied) {
            Placed::Then(at) | Placed::OnArrival(at) => (at, false),
            Placed::ClockSet(at, moved) => {
                judged.moved = moved;
                (at, true)
            }
            Placed::Nowhere => {
                judged.unplaced = Some(match reading.status() {
                    Status::BelowRange => reading.glucose().min(FLOOR),
                    Status::Normal | Status::Doubtful => reading.glucose(),
                    Status::AboveRange | Status::WarmUp | Status::Fault => return judged,
                });
                return judged;
            }
        };
        judged.at = Some(at);
        let reading = &Reading::new(at, reading.glucose()).with_status(reading.status());
        let admitted = match self.quality.admit(reading) {
            Verdict::Accepted if set => Verdict::ClockSet,
            admitted => admitted,
        };
        let calibrated = self.calibration.apply_reading(reading);
        let expected = if admitted.is_admitted() { self.estimator.expect(at, calibrated) } else { None };
        let z = expected.as_ref().and_then(|e| e.innovation());
        let noise_scale = Some(self.estimator.noise_scale());
        let assessment = self.quality.assess_admitted(
            reading,
            admitted,
            &Evidence { z, noise_scale, local: self.local(at) },
        );
        let verdict = assessment.verdict();
        judged.verdict = verdict;
        // a leap is not believed at once, but the sensor's own word is
        let believed =
            verdict.is_believed() || verdict == Verdict::Jump && reading.status() == Status::BelowRange;
        if !believed && (verdict.is_admitted() || verdict == Verdict::WarmUp) {
            self.unbelieved = Some(reading.glucose());
        }
        if admitted.is_admitted() {
            self.forecast.reading(at, calibrated, believed);
        }
        if believed {
            let (sensor, status) = (reading.glucose(), reading.status());
            self.newest = Some(Newest { at, sensor, calibrated, status });
            self.unbelieved = None;
        }
        let Some(expected) = expected else { return judged };
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
        let _ = self.estimator.take(&expected, trust);
        judged
    }

    /// The wall clock at `at`, if the zone's offset is known.
    fn local(&self, at: Instant) -> Option<LocalTime> {
        let wall = self.timeline.wall_of(at)?;
        self.utc_offset.map(|offset| LocalTime::from_unix(wall, offset.secs()))
    }

    fn tick(&mut self, now: Option<Instant>) -> View {
        self.timeline.tick(now);
        self.answer(None, None)
    }

    /// The newest believed reading, while its age is known.
    fn known(&self) -> Option<Newest> {
        self.newest.filter(|_| !self.timeline.is_resumed())
    }

    /// The answers now; the alarms are told.
    #[inline(never)]
    fn answer(&mut self, verdict: Option<Verdict>, unplaced: Option<Glucose>) -> View {
        let now = self.timeline.now();
        let known = self.known();
        let estimate = known.and_then(|_| self.estimator.estimate(now));
        let soon = known.map(|_| &self.forecast);
        let direction = soon.and_then(|soon| soon.direction(now));
        let (rate, sd) = direction.map_or((None, 0.0), |d| (Some(d.rate()), d.sd()));
        let trend = self.sign.step(rate, sd);
        let reasons = self.quality.reasons(now);
        let mut situation =
            Situation::at(now).with_doubt(if self.warms_up(reasons.contains(Reason::WarmUp)) {
                Doubt::WarmUp
            } else if reasons.disbelieve() {
                Doubt::Disbelieved
            } else if reasons.contains(Reason::Pressure) {
                Doubt::Pressure
            } else {
                Doubt::None
            });
        if let Some(newest) = known {
            situation = situation.with_sensor(newest.at, newest.calibrated).with_uncalibrated(newest.sensor);
            if newest.status == Status::BelowRange {
                situation = situation.with_below_range(newest.sensor);
            }
        }
        if let Some(glucose) = unplaced {
            situation = situation.with_unplaced(glucose);
        }
        if let Some(glucose) = self.unbelieved {
            situation = situation.with_unbelieved(glucose);
        }
        if let Some(estimate) = estimate {
            situation = situation.with_plasma(estimate.glucose(), estimate.rate());
        }
        let low_probability = soon.and_then(|soon| soon.low_probability(now, LOW, HORIZON));
        let low_ahead = soon.zip(low_probability).map(|(soon, low)| soon.low_ahead_of(low));
        if let Some(probability) = low_ahead {
            situation = situation.with_low_ahead(probability);
        }
        if let Some(local) = self.local(now) {
            situation = situation.with_local(local);
        }
        if let Some(wear) = self.quality.wear(now) {
            situation = situation.with_wear_left(wear.left());
        }
        let standing = self.alarms.update(&situation);
        let stamp = |at| self.timeline.stamp_of(at);
        View {
            at: stamp(now),
            verdict,
            estimate: estimate.map(|estimate| estimate.by_clock(stamp(estimate.at()))),
            trend,
            direction,
            course: soon.and_then(|soon| soon.course(now)),
            low_probability,
            low_ahead,
            minutes_to_low: soon.and_then(|soon| soon.minutes_to_fall(now, LOW, FURTHEST_LOW)),
            calibration_sd: estimate.map(|e| self.calibration.sd(now, e.glucose())),
            newest: self.newest.map(|newest| (stamp(newest.at), newest.calibrated)),
            age: known.map(|newest| now.since(newest.at)),
            bound: known.and_then(|newest| Bound::of(newest.sensor, newest.status)),
            doubted: self.unbelieved.or_else(|| doubted(known?, estimate, reasons)),
            reasons,
            standing: standing.by_clock(stamp),
            sees: self.alarms.sees(),
        }
    }

    /// Whether the sensor warms up and has given nothing to believe yet.
    fn warms_up(&self, said: bool) -> bool {
        said && (self.newest.is_none() || self.unbelieved.is_some())
    }

    fn fingerstick(&mut self, stick: &Fingerstick) -> FingerstickOutcome {
        let refused = |why, expected| FingerstickOutcome::Refused { why, expected };
        let (now, at) = (self.timeline.now(), self.timeline.count_of(stick.at()));
        if at.since(now) > STICK_AHEAD {
            return refused(Refusal::Ahead, None);
        }
        if now.since(at) > PAIRED_WITHIN {
            return refused(Refusal::TooOld, None);
        }
        let at = at.min(now);
        let Some(newest) = self.known().filter(|newest| at.since(newest.at) <= PAIRED_WITHIN) else {
            return refused(Refusal::NoReading, None);
        };
        let (Some(gap), Some(estimate)) =
            (self.estimator.behind(at), self.estimator.estimate(at.max(newest.at)))
        else {
            return refused(Refusal::NoReading, None);
        };
        let sd = self.calibration.whole_sd(at, estimate.glucose(), estimate.glucose_sd());
        let expected = Expected { glucose: estimate.glucose(), sd };
        let pair = CalibrationPoint {
            at,
            reference: stick.glucose(),
            sensor: newest.sensor,
            behind: gap.mean,
            behind_sd: gap.sd,
            sensor_sd: self.estimator.noise_sd(),
        };
        let calibrated = self.calibration.pair(&pair);
        let why = match calibrated {
            Applied::Used | Applied::Softened => None,
            Applied::OutOfOrder => Some(Refusal::OutOfOrder),
            Applied::OutOfRange => Some(Refusal::OutOfRange),
            Applied::NotANumber => Some(Refusal::NotANumber),
        };
        if let Some(why) = why {
            return refused(why, Some(expected));
        }
        self.quality.fingerstick(at, expected.deviations(stick));
        let read = Reading::new(newest.at, newest.sensor).with_status(newest.status);
        let after = self.calibration.apply_reading(&read);
        let moved = after.mg_dl() - newest.calibrated.mg_dl();
        self.estimator.shift(moved);
        self.forecast.shift(moved);
        self.newest = Some(Newest { calibrated: after, ..newest });
        // a wrong fingerstick must not hide a low that the sensor sees
        let most = self.calibration.most(newest.sensor);
        let held = stick.glucose() > most;
        let bounded = Fingerstick::new(at, if held { most } else { stick.glucose() });
        let fused = self.estimator.fingerstick(&bounded) == Fused::Used;
        FingerstickOutcome::Used { calibrated, fused, held, expected: Some(expected) }
    }
}

/// The sensor's value, where it is to be shown instead of the estimate, and marked. A very low reading that calibration or
/// estimate would lift is one: the floor rings by it.
fn doubted(newest: Newest, estimate: Option<Estimate>, reasons: Reasons) -> Option<Glucose> {
    let shown = estimate.map_or(newest.calibrated, |estimate| estimate.glucose());
    if newest.sensor <= FLOOR && shown > FLOOR {
        Some(newest.sensor)
    } else if reasons.contains(Reason::Pressure) || reasons.disbelieve() {
        Some(newest.calibrated)
    } else {
        None
    }
}

/// A sensor that says "below its range" says no more than this, mg/dL.
const FLOOR: Glucose = Glucose::clamped(FLOOR_MG_DL);

#[cfg(test)]
mod tests;
