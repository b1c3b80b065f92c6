//! What each of two sensors says at a moment, and what follows from both.

use super::fusion::Part;
use super::view::{Agreement, Side};
use crate::alarm::{Doubt, MAX_VALUE_AGE};
use crate::estimate::Estimate;
use crate::forecast::{Course, Direction, Present};
use crate::math;
use crate::monitor::{Bound, Chain, Newest};
use crate::quality::{Reason, Reasons};
use crate::reading::Status;
use crate::units::{FLOOR, Glucose, Instant, LOW, Span};

/// By how much more a sensor's calibration may be off on its first day, as a variance (common practice, no source).
const FIRST_DAY: f32 = 2.25;

/// A low that a sensor read last is one for so long after, whatever the other reads.
const LOW_STANDS: Span = Span::from_hours(2);

/// The horizon of a probability of a low.
const HORIZON: Span = Span::from_mins(30);

/// How much each reason speaks against a sensor, as the natural logarithm of odds.
const AGAINST: [(Reason, f32); 10] = [
    (Reason::FirstDay, 2.0),
    (Reason::PastEnd, 0.7),
    (Reason::Noise, 1.0),
    (Reason::Jump, 0.7),
    (Reason::Stuck, 4.0),
    (Reason::Pressure, 1.2),
    (Reason::Fingersticks, 2.5),
    (Reason::Drift, 1.5),
    (Reason::SensorStatus, 2.0),
    (Reason::WarmUp, 3.0),
];
/// The same for being noisier than sensors are, for each natural logarithm of how much.
const AGAINST_NOISE: f32 = 1.5;

/// What one sensor says now.
#[derive(Clone, Copy, Debug)]
pub(super) struct Says {
    /// The newest believed reading, while its age is known, and the same while it is the present one.
    pub known: Option<Newest>,
    pub present: Option<Newest>,
    /// What counts for lows: the present one, and for some time one that was low when its sensor fell silent.
    pub stands: Option<Newest>,
    /// The newest reading, if it is not believed, while the sensor has been heard of late.
    pub unbelieved: Option<Glucose>,
    pub estimate: Option<Estimate>,
    pub reasons: Reasons,
    pub doubt: Doubt,
    /// Whether it is present and nothing is held against it.
    pub clean: bool,
    pub part: Option<Part>,
    /// Its own course, counted from now, its direction, and how likely a low is.
    pub course: Option<Course>,
    pub direction: Option<Direction>,
    pub low: Option<f32>,
}

impl Says {
    #[inline(never)] // once for both
    fn of(chain: &Chain, now: Instant) -> Self {
        let known = chain.known();
        let present = known.filter(|newest| now.since(newest.at) < MAX_VALUE_AGE);
        let stands = known.filter(|newest| now.since(newest.at) < LOW_STANDS && newest.is_low()).or(present);
        let heard = chain.timeline.newest().is_some_and(|at| now.since(at) < MAX_VALUE_AGE);
        let reasons = chain.quality.reasons(now);
        let doubt = chain.doubt(reasons);
        let estimate = known.and_then(|_| chain.estimator.estimate(now));
        let soon = known.and_then(|_| chain.forecast.present(now));
        Self {
            known,
            present,
            stands,
            unbelieved: chain.unbelieved.filter(|_| heard),
            estimate,
            reasons,
            doubt,
            clean: present.is_some() && doubt == Doubt::None,
            part: estimate.map(|estimate| part(chain, now, &estimate, reasons, known)),
            course: soon.as_ref().map(|soon| soon.course.rebased()),
            direction: soon.as_ref().and_then(Present::direction),
            low: soon.as_ref().map(|soon| soon.low_probability(LOW, HORIZON)),
        }
    }
}

/// What each sensor says at `now`.
pub(super) fn say(chains: &[Chain; 2], now: Instant) -> [Says; 2] {
    let [first, second] = chains;
    let mut says = [Says::of(first, now), Says::of(second, now)];
    if any(&says, |one| one.present.is_some()) {
        for one in &mut says {
            // an old value tells nothing beside a present one
            if one.present.is_none() {
                (one.part, one.estimate, one.direction, one.low) = (None, None, None, None);
            }
        }
    }
    says
}

fn part(chain: &Chain, now: Instant, estimate: &Estimate, reasons: Reasons, known: Option<Newest>) -> Part {
    let (noise, open) = (estimate.glucose_sd(), chain.calibration.sd(now, estimate.glucose()));
    let day = if reasons.contains(Reason::FirstDay) { FIRST_DAY } else { 1.0 };
    let mut against = AGAINST_NOISE * math::ln(chain.estimator.noise_scale().max(0.1));
    for (reason, odds) in &AGAINST {
        if reasons.contains(*reason) {
            against += odds;
        }
    }
    Part {
        glucose: estimate.glucose().mg_dl(),
        variance: noise * noise,
        calibration_variance: day * open * open,
        against,
        still: chain.quality.same_for().mins(),
        rate: estimate.rate().mg_dl_per_min(),
        ends: known.is_some_and(|newest| Bound::of(newest.sensor, newest.status).is_some()),
    }
}

/// Whether either is so.
pub(super) fn any(says: &[Says; 2], so: fn(&Says) -> bool) -> bool {
    let [first, second] = says;
    so(first) || so(second)
}

/// The lower of the present readings of those that count.
#[inline(never)]
pub(super) fn lower(says: &[Says; 2], counts: [bool; 2]) -> Option<(Newest, Doubt)> {
    let mut lowest: Option<(Newest, Doubt)> = None;
    for (one, counts) in says.iter().zip(counts) {
        if let Some(newest) = one.stands
            && counts
            && lowest.is_none_or(|(lowest, _)| newest.calibrated < lowest.calibrated)
        {
            lowest = Some((newest, one.doubt));
        }
    }
    lowest
}

/// The lower of two, or the only one.
pub(super) fn least(values: [Option<Glucose>; 2]) -> Option<Glucose> {
    match values {
        [Some(one), Some(two)] => Some(one.min(two)),
        [one, two] => one.or(two),
    }
}

/// Whether one of the limits parts the two: the first is at or under it, the second above.
#[inline(never)] // once for all who ask
fn parts([one, other]: [Glucose; 2], low: Glucose, high: Glucose) -> bool {
    low <= one && high > one || low <= other && high > other
}

/// What the rule for lows goes by, and what is held against it: the lower of the sensors with nothing against them; one in
/// doubt when it alone is at the limit, or when there is no other. A sensor that a fingerstick has just shown to be off does
/// not count above the floor while the other is good.
pub(super) fn lows(says: &[Says; 2], limit: Glucose, denied: Option<Side>) -> (Option<Glucose>, Doubt) {
    let mut counts = [[false; 2]; 2];
    let [good, doubtful] = &mut counts;
    for side in Side::BOTH {
        let one = side.of(says);
        let very_low = one.stands.is_some_and(|newest| newest.calibrated <= FLOOR);
        let leaves = denied == Some(side) && !very_low && side.other().of(says).clean;
        *side.of_mut(good) = one.clean && !leaves;
        *side.of_mut(doubtful) = !one.clean && !leaves;
    }
    match (lower(says, counts[0]), lower(says, counts[1])) {
        (Some((good, _)), Some((other, doubt)))
            if parts([limit, FLOOR], other.calibrated, good.calibrated) =>
        {
            (Some(other.calibrated), doubt)
        }
        (Some((good, _)), _) => (Some(good.calibrated), Doubt::None),
        (None, Some((other, doubt))) => (Some(other.calibrated), doubt),
        (None, None) => {
            // silence is expected of one that warms up, not of the other unless it was never worn or is past its end
            let warms = any(says, |one| one.doubt == Doubt::WarmUp);
            let misses = any(says, |one| {
                one.doubt != Doubt::WarmUp && one.known.is_some() && !one.reasons.contains(Reason::PastEnd)
            });
            (None, if warms && !misses { Doubt::WarmUp } else { Doubt::None })
        }
    }
}

/// The lowest that a present sensor itself reads, and the end of the range that one reads to be below.
pub(super) fn raw(says: &[Says; 2]) -> (Option<Glucose>, Option<Glucose>) {
    let (mut lowest, mut below): (Option<Glucose>, Option<Glucose>) = (None, None);
    for newest in says.iter().filter_map(|one| one.stands) {
        lowest = least([lowest, Some(newest.sensor)]);
        if newest.status == Status::BelowRange {
            below = least([below, Some(newest.sensor)]);
        }
    }
    (lowest, below)
}

/// Reasons of both, or of the only one; that they are apart if they are.
pub(super) fn reasons(says: &[Says; 2], agreement: Agreement) -> Reasons {
    let [first, second] = says;
    match agreement {
        Agreement::Only(side) => side.of(says).reasons,
        Agreement::Suspect(side) => side.other().of(says).reasons,
        Agreement::Apart => first.reasons.shared(second.reasons).with(Reason::SecondSensor),
        Agreement::Together => first.reasons.shared(second.reasons),
        // why neither reads
        Agreement::Neither => second.reasons.iter().fold(first.reasons, Reasons::with),
    }
}

/// The end of the range, when the only sensor or both are there; of a low end, either.
pub(super) fn bound(says: &[Says; 2]) -> Option<Bound> {
    let (mut high, mut all) = (None, true);
    for newest in says.iter().filter_map(|one| one.present) {
        match Bound::of(newest.sensor, newest.status) {
            low @ Some(Bound::AtMost(_)) => return low,
            Some(end) => high = Some(high.unwrap_or(end)),
            None => all = false,
        }
    }
    high.filter(|_| all)
}

/// A low that one sensor tells, where the two as one would not show it; what one in doubt reads when no other is there, and
/// what one reads that is not believed yet. `limit` is that of the rule for lows; `open`: whether what is left is not to be
/// taken at its word. With when it was measured, unless that is when the newest was.
pub(super) fn doubted(
    says: &[Says; 2],
    estimate: Option<Estimate>,
    denied: Option<Side>,
    limit: Glucose,
    open: bool,
) -> Option<(Glucose, Option<Instant>)> {
    // what stands of one that fell silent is no value of now, but puts the other's in doubt
    let left = any(says, |one| one.present.is_none() && one.stands.is_some());
    // one that fingersticks deny is not shown while the other is good
    let counts = |side: Side| {
        let denied = denied == Some(side) && side.other().of(says).clean;
        !denied && side.of(says).present.is_some()
    };
    let (lowest, doubt) = lower(says, Side::BOTH.map(counts))?;
    let shown = estimate.map_or(lowest.calibrated, |estimate| estimate.glucose());
    let mut sensor: Option<Newest> = None;
    for newest in says.iter().filter_map(|one| one.present) {
        if sensor.is_none_or(|lowest| newest.sensor < lowest.sensor) {
            sensor = Some(newest);
        }
    }
    if let Some(newest) = sensor
        && parts([FLOOR; 2], newest.sensor, shown)
    {
        return Some((newest.sensor, Some(newest.at)));
    }
    let hidden = parts([LOW, limit], lowest.calibrated, shown);
    let in_doubt = open || left || doubt != Doubt::None && !any(says, |one| one.clean);
    let told = (hidden || in_doubt).then_some((lowest.calibrated, Some(lowest.at)));
    // a leap counts where no other sensor says what it is
    let leaps = !any(says, |one| one.clean && one.unbelieved.is_none());
    let leapt = least(says.each_ref().map(|one| one.unbelieved));
    match (leapt.filter(|_| leaps), told) {
        (Some(leapt), Some(told)) if told.0 < leapt => Some(told),
        (Some(leapt), _) => Some((leapt, None)),
        (None, told) => told,
    }
}
