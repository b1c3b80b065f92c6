//! What the stages say, brought into one answer.

use super::chain::{Chain, doubted};
use super::settings::Settings;
use super::view::{Bound, View};
use crate::alarm::{Alarms, Situation};
use crate::codec::{Codec, Coded};
use crate::error::Error;
use crate::forecast::Present;
use crate::quality::Verdict;
use crate::reading::Status;
use crate::timeline::Reset;
use crate::trend::TrendSign;
use crate::units::{Glucose, Instant, LOW, Span};

/// The horizon that probabilities and predictions of a [`View`] speak of.
const HORIZON: Span = Span::from_mins(30);

/// How far ahead a time to a low is told.
const FURTHEST_LOW: Span = Span::from_hours(1);

/// All but the history: the part whose code does not depend on `N`. Its moments are of the count.
#[derive(Clone, Debug)]
pub(super) struct Core {
    pub chain: Chain,
    pub sign: TrendSign,
    pub alarms: Alarms,
    pub utc_offset: Option<Span>,
}

impl Coded for Core {
    #[inline(never)]
    fn code(&mut self, codec: &mut Codec<'_>) {
        let Self { chain, sign, alarms, utc_offset: _ } = self;
        let Chain { timeline, quality, calibration, estimator, forecast, newest, unbelieved } = chain;
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

impl Core {
    pub fn new(settings: Settings) -> Result<Self, Error> {
        Ok(Self {
            chain: Chain::new(&settings)?,
            sign: TrendSign::new(settings.bands),
            alarms: Alarms::new(settings.alarms),
            utc_offset: None,
        })
    }

    /// The one act of beginning anew: every stage is told, and says itself what it keeps.
    pub fn reset(&mut self, reset: Reset) {
        self.chain.reset(reset);
        self.sign.reset(reset);
        self.alarms.reset(reset, self.chain.timeline.now());
    }

    pub fn tick(&mut self, now: Option<Instant>) -> View {
        self.chain.timeline.tick(now);
        self.answer(None, None)
    }

    /// The answers now; the alarms are told.
    #[inline(never)]
    pub fn answer(&mut self, verdict: Option<Verdict>, unplaced: Option<Glucose>) -> View {
        let chain = &self.chain;
        let now = chain.timeline.now();
        let known = chain.known();
        let estimate = known.and_then(|_| chain.estimator.estimate(now));
        let soon = known.and_then(|_| chain.forecast.present(now));
        let direction = soon.as_ref().and_then(Present::direction);
        let (rate, sd) = direction.map_or((None, 0.0), |d| (Some(d.rate()), d.sd()));
        let trend = self.sign.step(rate, sd);
        let reasons = chain.quality.reasons(now);
        let low_probability = soon.as_ref().map(|soon| soon.low_probability(LOW, HORIZON));
        let low_ahead = soon.as_ref().zip(low_probability).map(|(soon, low)| soon.low_ahead(low));
        let situation = Situation {
            now,
            reading: known.map(|newest| (newest.at, newest.calibrated)),
            uncalibrated: known.map(|newest| newest.sensor),
            below_range: known
                .filter(|newest| newest.status == Status::BelowRange)
                .map(|newest| newest.sensor),
            unplaced,
            unbelieved: chain.unbelieved,
            plasma: estimate.map(|estimate| estimate.glucose()),
            rate: estimate.map(|estimate| estimate.rate()),
            low_ahead: low_ahead.filter(|probability| probability.is_finite()),
            doubt: chain.doubt(reasons),
            apart: false,
            local: chain.local(now, self.utc_offset),
            wear_left: chain.quality.wear(now).map(|wear| wear.left()),
        };
        let standing = self.alarms.update(&situation);
        let stamp = |at| chain.timeline.stamp_of(at);
        let at = stamp(now);
        let course = soon.map(|soon| soon.course);
        View {
            at,
            verdict,
            estimate: estimate.map(|estimate| estimate.by_clock(at)),
            trend,
            direction,
            course,
            low_probability,
            low_ahead,
            minutes_to_low: course.and_then(|course| course.minutes_to_fall(LOW, FURTHEST_LOW)),
            calibration_sd: estimate.map(|e| chain.calibration.sd(now, e.glucose())),
            newest: chain.newest.map(|newest| (stamp(newest.at), newest.calibrated)),
            age: known.map(|newest| now.since(newest.at)),
            bound: known.and_then(|newest| Bound::of(newest.sensor, newest.status)),
            doubted: chain.unbelieved.or_else(|| doubted(known?, estimate, reasons)),
            reasons,
            standing: standing.by_clock(stamp),
            monitoring: self.alarms.is_monitoring(),
        }
    }
}
