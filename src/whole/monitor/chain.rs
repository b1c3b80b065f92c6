//! The stages of one sensor, from a reading as it comes to what it says of glucose; without alarms.

use super::outcome::{Expected, FingerstickOutcome, Refusal};
use super::settings::Settings;
use crate::alarm::Doubt;
use crate::calibration::{Calibration, CalibrationPoint, PointOutcome};
use crate::codec::{Blank, Codec, Coded};
use crate::error::Error;
use crate::estimate::Estimate;
use crate::estimator::{Estimator, FusionOutcome, Trust};
use crate::forecast::Forecast;
use crate::history::{History, Inserted};
use crate::local::LocalTime;
use crate::math::Bounded as _;
use crate::quality::{Evidence, Quality, Reason, Reasons, Verdict};
use crate::reading::{Fingerstick, Reading, Status};
use crate::timeline::{Placed, Reset, Timeline};
use crate::units::{FLOOR, Glucose, Instant, LOW, Span};

/// A fingerstick may be this much older than now, and than the reading that it is paired with this much newer.
const PAIRED_WITHIN: Span = Span::from_mins(15);

/// A fingerstick may be this far ahead of now: clocks differ.
const STICK_AHEAD: Span = Span::from_mins(2);

/// Two stamps closer than this are of one reading.
const SAME_READING: Span = Span::from_secs(150);

/// How much a reading at the end of the sensor's range counts when glucose was expected beyond it.
pub(super) const NO_NEWS_WEIGHT: f32 = 0.1;

/// The stages of one sensor. Its moments are of the count.
#[derive(Clone, Debug)]
pub struct Chain {
    pub timeline: Timeline,
    pub quality: Quality,
    pub calibration: Calibration,
    pub estimator: Estimator,
    pub forecast: Forecast,
    /// The newest reading that was believed.
    pub newest: Option<Newest>,
    /// The newest reading, if it is not believed: as the sensor gave it.
    pub unbelieved: Option<Glucose>,
}

/// A believed reading. 16 bytes.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Newest {
    pub at: Instant,
    pub sensor: Glucose,
    pub calibrated: Glucose,
    pub status: Status,
}

/// What became of a reading.
pub struct Pushed {
    pub verdict: Verdict,
    /// A reading that cannot be placed, as the sensor gave it.
    pub unplaced: Option<Glucose>,
    /// How far it lies from what was expected, in standard deviations.
    pub z: Option<f32>,
}

/// What became of a reading within the core.
pub struct Judged {
    pub verdict: Verdict,
    /// Where it was placed.
    pub at: Option<Instant>,
    /// By how much older stamps are to be moved.
    pub moved: Span,
    /// A reading that cannot be placed, as the sensor gave it.
    pub unplaced: Option<Glucose>,
    /// How far it lies from what was expected, in standard deviations.
    z: Option<f32>,
}

impl Chain {
    pub fn new(settings: &Settings) -> Result<Self, Error> {
        Ok(Self {
            timeline: Timeline::new(),
            quality: Quality::new(settings.quality)?,
            calibration: Calibration::new(settings.drift),
            estimator: Estimator::new(settings.model),
            forecast: Forecast::new(settings.forecast),
            newest: None,
            unbelieved: None,
        })
    }

    /// The one act of beginning anew: every stage is told, and says itself what it keeps.
    pub fn reset(&mut self, reset: Reset) {
        match reset {
            Reset::NewSensor => (self.newest, self.unbelieved) = (None, None),
            Reset::PowerReturned => self.timeline.resume(),
            Reset::Everything => {
                self.timeline = Timeline::new();
                (self.newest, self.unbelieved) = (None, None);
            }
        }
        self.quality.reset(reset);
        self.calibration.reset(reset);
        self.estimator.reset(reset);
        self.forecast.reset(reset);
    }

    /// Judges a reading, keeps it in `history` and takes it in as far as it is trusted.
    pub fn push<const N: usize>(
        &mut self,
        history: &mut History<N>,
        reading: &Reading,
        utc_offset: Option<Span>,
    ) -> Pushed {
        let kept = history.view();
        let older = kept.newest().is_some_and(|newest| reading.at() <= newest.at());
        let denied = older && kept.contradicts(reading, SAME_READING);
        let judged = self.take(reading, denied, utc_offset);
        if judged.moved != Span::ZERO {
            history.shift(judged.moved);
        }
        let mut verdict = judged.verdict;
        if let Some(at) = judged.at.filter(|_| verdict.is_kept()) {
            let stamp = self.timeline.stamp_of(at);
            let kept = Reading::new(stamp, reading.glucose()).with_status(reading.status());
            if history.insert(&kept) == Inserted::Duplicate && verdict == Verdict::Late {
                verdict = Verdict::Duplicate;
            }
        }
        Pushed { verdict, unplaced: judged.unplaced, z: judged.z }
    }

    /// Judges a reading and takes it in as far as it is trusted. `denied` says that another value is known at its time.
    #[inline(never)] // its stack is given back before the answers are worked out
    fn take(&mut self, reading: &Reading, denied: bool, utc_offset: Option<Span>) -> Judged {
        let mut judged =
            Judged { verdict: Verdict::BadTime, at: None, moved: Span::ZERO, unplaced: None, z: None };
        let (at, set) = match self.timeline.place(reading, denied) {
            Placed::AsStamped(at) | Placed::OnArrival(at) => (at, false),
            Placed::ClockSet(at, moved) => {
                judged.moved = moved;
                (at, true)
            }
            Placed::Unknown => {
                judged.unplaced = Some(match reading.status() {
                    Status::BelowRange => reading.glucose().min(FLOOR), // it says no more
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
        let expected = if admitted.is_admitted() { self.estimator.predict(at, calibrated) } else { None };
        let z = expected.as_ref().and_then(|e| e.innovation());
        judged.z = z;
        let noise_scale = Some(self.estimator.noise_scale());
        let assessment = self.quality.assess_admitted(
            reading,
            admitted,
            &Evidence { z, noise_scale, local: self.local(at, utc_offset) },
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
        let weight = if no_news { assessment.weight().at_most(NO_NEWS_WEIGHT) } else { assessment.weight() };
        let trust = if weight >= 1.0 {
            Trust::Full
        } else if weight > 0.0 {
            Trust::Reduced(1.0 / weight)
        } else {
            Trust::None
        };
        let _ = self.estimator.update(&expected, trust);
        judged
    }

    /// The wall clock at `at`, if the zone's offset is known.
    pub fn local(&self, at: Instant, utc_offset: Option<Span>) -> Option<LocalTime> {
        let wall = self.timeline.wall_of(at)?;
        utc_offset.map(|offset| LocalTime::from_unix(wall, offset.secs()))
    }

    /// The newest believed reading, while its age is known.
    pub fn known(&self) -> Option<Newest> {
        self.newest.filter(|_| !self.timeline.is_resumed())
    }

    /// What is held against the newest reading.
    pub fn doubt(&self, reasons: Reasons) -> Doubt {
        if self.warms_up(reasons.contains(Reason::WarmUp)) {
            Doubt::WarmUp
        } else if reasons.are_disqualifying() {
            Doubt::Disbelieved
        } else if reasons.contains(Reason::Pressure) {
            Doubt::Pressure
        } else {
            Doubt::None
        }
    }

    /// Whether the sensor warms up and has given nothing to believe yet.
    fn warms_up(&self, said: bool) -> bool {
        said && (self.newest.is_none() || self.unbelieved.is_some())
    }

    /// Takes in a fingerstick; see [`Monitor::fingerstick`](super::Monitor::fingerstick). `fuses`: the estimate too.
    pub fn fingerstick(&mut self, stick: &Fingerstick, fuses: bool) -> FingerstickOutcome {
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
            (self.estimator.interstitial_difference(at), self.estimator.estimate(at.max(newest.at)))
        else {
            return refused(Refusal::NoReading, None);
        };
        let sd = self.calibration.total_sd(at, estimate.glucose(), estimate.glucose_sd());
        let expected = Expected { glucose: estimate.glucose(), sd };
        let pair = CalibrationPoint {
            at,
            reference: stick.glucose(),
            sensor: newest.sensor,
            difference: gap.mean,
            difference_sd: gap.sd,
            sensor_sd: self.estimator.noise_sd(),
        };
        let calibrated = self.calibration.add(&pair);
        let why = match calibrated {
            PointOutcome::Used | PointOutcome::Downweighted => None,
            PointOutcome::OutOfOrder => Some(Refusal::OutOfOrder),
            PointOutcome::OutOfRange => Some(Refusal::OutOfRange),
            PointOutcome::NotANumber => Some(Refusal::NotANumber),
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
        let most = self.calibration.max_corrected(newest.sensor);
        let held = stick.glucose() > most;
        let bounded = Fingerstick::new(at, if held { most } else { stick.glucose() });
        let fused = fuses && self.estimator.fingerstick(&bounded) == FusionOutcome::Used;
        FingerstickOutcome::Used { calibrated, fused, held, expected: Some(expected) }
    }
}

/// The sensor's value, where it is to be shown instead of the estimate, and marked. A very low reading that calibration or
/// estimate would lift is one: the floor rings by it.
pub fn doubted(newest: Newest, estimate: Option<Estimate>, reasons: Reasons) -> Option<Glucose> {
    let shown = estimate.map_or(newest.calibrated, |estimate| estimate.glucose());
    if newest.sensor <= FLOOR && shown > FLOOR {
        Some(newest.sensor)
    } else if reasons.contains(Reason::Pressure) || reasons.are_disqualifying() {
        Some(newest.calibrated)
    } else {
        None
    }
}

impl Coded for Chain {
    fn code(&mut self, codec: &mut Codec<'_>) {
        let Self { timeline, quality, calibration, estimator, forecast, newest, unbelieved } = self;
        timeline.code(codec); // first: it says what is present
        quality.code(codec);
        calibration.code(codec);
        estimator.code(codec);
        forecast.code(codec);
        newest.code(codec);
        unbelieved.code(codec);
    }
}

impl Newest {
    /// Whether it tells of a low, by itself or as calibrated.
    pub fn is_low(&self) -> bool {
        self.calibrated <= LOW || self.sensor <= FLOOR || self.status == Status::BelowRange
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
