//! Two sensors worn at once: one plasma glucose, each sensor by what it has earned.

mod fusion;
mod lead;
mod view;

pub use view::{Agreement, PairView, Side, SideView};

use crate::alarm::{AlarmPlan, Alarms, Doubt, FLOOR_MG_DL, Kind, PRESENT, Situation};
use crate::calibration::Calibration;
use crate::codec::{Codec, Coded};
use crate::error::Error;
use crate::estimate::Estimate;
use crate::forecast::{Course, Direction};
use crate::history::{History, HistoryView};
use crate::math;
use crate::monitor::{Bound, Chain, FingerstickOutcome, Newest, Settings, View};
use crate::quality::{Quality, Reason, Reasons, Wear};
use crate::reading::{Fingerstick, Reading, Status};
use crate::timeline::Beginning;
use crate::trend::TrendSign;
use crate::units::{Glucose, Instant, LOW, Rate, Span};
use fusion::{Fused, Fusion, Part};
use lead::Lead;

/// The horizon that probabilities and predictions of a view speak of.
const HORIZON: Span = Span::from_mins(30);
/// How far ahead a time to a low is told.
const FURTHEST_LOW: Span = Span::from_hours(1);
/// By how much more a sensor's calibration may be off on its first day, as a variance (common practice, no source).
const FIRST_DAY: f32 = 2.25;
/// Up to this, where no limit for lows lies above and none for highs below, alarms go by the lower sensor; over it by both.
const LOWER_UP_TO: Glucose = Glucose::clamped(120.0);

/// The monitor of two sensors that one person wears at once, keeping the last `N` readings of each.
///
/// Each sensor has its own clock, judge, calibration, estimate and forecast, as in a [`Monitor`](crate::Monitor). The
/// answers are one: plasma glucose with the weights that each sensor has earned, against fingersticks, against the
/// other and against its own past. What the two differ by is learned and shared between them by how far each may be off. A sensor
/// that fails is noticed because the two come apart, named as far as its own past tells, and outweighed; one that is
/// silent costs nothing. While the two are apart and nothing tells which errs, the answers say so and are wider.
///
/// # Alarms
/// The rules are those of one sensor. Low and floor go by the lower of the two, whatever the other reads; a low that one sensor
/// tells is what is shown, marked as doubted. A sensor that fingersticks have shown to be off is left out of the rule for
/// lows while the other one is good, never out of the floor. Highs go by both. No data rings when neither reads.
///
/// # Time
/// As in a [`Monitor`](crate::Monitor); each sensor's stamps are placed by themselves on one count. Call
/// [`run`](Self::run) or [`tick`](Self::tick) about once a minute: two sensors whose clocks disagree cannot tell the time to each
/// other.
///
/// # Memory
/// About 3.9 KB and 12 bytes for each of `N`: with 24 hours of both 1.7 times one monitor.
///
/// Never a medical device: make no treatment decisions by it; take a fingerstick when symptoms and reading disagree.
///
/// # Examples
/// ```
/// use glidepath::{Agreement, Glucose, Instant, PairMonitor, Reading, Settings, Side};
/// let mut monitor = PairMonitor::<24>::new(Settings::default(), Settings::default())?;
/// for k in 0..12_u32 {
///     let at = Instant::from_secs(k * 300);
///     let (left, right) = (Glucose::from_mg_dl(118.0)?, Glucose::from_mg_dl(110.0)?); // from the sensors
///     let _ = monitor.push(Side::First, &Reading::new(at, left));
///     let view = monitor.push(Side::Second, &Reading::new(at, right));
///     let now = view.fused().estimate().expect("just read").glucose().mg_dl();
///     assert!(now > 110.0 && now < 118.0 && view.agreement() == Agreement::Together);
/// }
/// # Ok::<(), glidepath::Error>(())
/// ```
#[derive(Clone, Debug)]
pub struct PairMonitor<const N: usize> {
    histories: [History<N>; 2],
    core: Core,
}

/// All but the histories.
#[derive(Clone, Debug)]
struct Core {
    chains: [Chain; 2],
    fusion: Fusion,
    leads: [Lead; 2],
    sign: TrendSign,
    alarms: Alarms,
    utc_offset: Option<Span>,
}

/// What one sensor says now.
#[derive(Clone, Copy, Debug)]
struct Says {
    known: Option<Newest>,
    age: Option<Span>,
    estimate: Option<Estimate>,
    reasons: Reasons,
    doubt: Doubt,
    part: Option<Part>,
}

impl Says {
    fn is_present(&self) -> bool {
        self.age.is_some_and(|age| age < PRESENT)
    }

    /// Whether it is present and nothing is held against it.
    fn is_clean(&self) -> bool {
        self.is_present() && self.doubt == Doubt::None
    }

    /// The newest believed reading, while it is the present one.
    fn present(&self) -> Option<Newest> {
        self.known.filter(|_| self.is_present())
    }
}

impl<const N: usize> PairMonitor<N> {
    /// A monitor that knows nothing yet. Model, drift, forecast and quality are each sensor's own; bands and alarms are
    /// those of `first`.
    ///
    /// # Errors
    /// Names the setting that is out of its range.
    pub fn new(first: Settings, second: Settings) -> Result<Self, Error> {
        Ok(Self {
            histories: [History::new(), History::new()],
            core: Core {
                chains: [Chain::new(&first)?, Chain::new(&second)?],
                fusion: Fusion::new(),
                leads: [Lead::new(), Lead::new()],
                sign: TrendSign::new(first.bands),
                alarms: Alarms::new(first.alarms),
                utc_offset: None,
            },
        })
    }

    /// The device's own count of seconds; see [`Monitor::run`](crate::Monitor::run).
    pub fn run(&mut self, uptime_secs: u32) {
        self.core.chains.iter_mut().for_each(|chain| chain.timeline.run(uptime_secs));
        self.core.keep_up();
    }

    /// Takes in a reading of one sensor and answers for the present moment. What is refused (see the verdict) changes
    /// neither estimate nor history; it is only counted.
    pub fn push(&mut self, side: Side, reading: &Reading) -> PairView {
        let core = &mut self.core;
        if core.chains.iter().any(|chain| chain.timeline.is_at_end()) {
            core.begin(Beginning::Everything); // in 68 years, or after tens of thousands of false clocks
        }
        let history = side.of_mut(&mut self.histories);
        let pushed = side.of_mut(&mut core.chains).push(history, reading, core.utc_offset);
        core.keep_up();
        core.learn(side, pushed.z);
        core.answer(Some((side, pushed.verdict)), pushed.unplaced)
    }

    /// Answers at a moment without a reading; see [`Monitor::tick`](crate::Monitor::tick).
    pub fn tick(&mut self, now: impl Into<Option<Instant>>) -> PairView {
        let now = now.into();
        self.core.chains.iter_mut().for_each(|chain| chain.timeline.tick(now));
        self.core.keep_up();
        self.core.answer(None, None)
    }

    /// Takes in a fingerstick: for the calibration of each sensor that reads, for what is known of their offsets, and
    /// for the trust in each. Its time must lie within 15 min before and 2 min after the present moment.
    pub fn fingerstick(&mut self, stick: &Fingerstick) -> [FingerstickOutcome; 2] {
        self.core.fingerstick(stick)
    }

    /// A new sensor was started on one side: its calibration, estimate and trust begin anew; the other sensor, what was
    /// learned of it and of the person, and the alarms stay. A start in the future counts as now.
    pub fn sensor_started(&mut self, side: Side, at: Instant) {
        let core = &mut self.core;
        let chain = side.of_mut(&mut core.chains);
        let start = chain.timeline.start_of(at);
        chain.begin(Beginning::Sensor);
        chain.quality.sensor_started(start);
        core.fusion.begin(side);
        core.leads.iter_mut().for_each(Lead::begin);
        core.keep_up();
        if core.chains.iter().all(|chain| chain.newest.is_none()) {
            core.alarms.begin(Beginning::Sensor, core.now());
        }
    }

    /// The power was away, for nobody knows how long; see [`Monitor::power_returned`](crate::Monitor::power_returned).
    pub fn power_returned(&mut self) {
        self.core.begin(Beginning::Power);
    }

    /// Forgets everything but the settings.
    pub fn restart(&mut self) {
        self.histories.iter_mut().for_each(History::clear);
        self.core.begin(Beginning::Everything);
    }

    /// The zone's offset from UTC; see [`Monitor::set_utc_offset`](crate::Monitor::set_utc_offset).
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

    /// The readings kept of one sensor, as it gave them, stamped by its present clock.
    #[must_use]
    pub fn history(&self, side: Side) -> HistoryView<'_> {
        side.of(&self.histories).view()
    }

    /// The alarms. Their moments are of the count.
    #[must_use]
    pub const fn alarms(&self) -> &Alarms {
        &self.core.alarms
    }

    /// One sensor's trust by itself. Its moments are of the count.
    #[must_use]
    pub const fn quality(&self, side: Side) -> &Quality {
        &side.of(&self.core.chains).quality
    }

    /// One sensor's calibration. Its moments are of the count.
    #[must_use]
    pub const fn calibration(&self, side: Side) -> &Calibration {
        &side.of(&self.core.chains).calibration
    }

    /// How long one sensor has been worn, if its start is known.
    #[must_use]
    pub fn wear(&self, side: Side) -> Option<Wear> {
        side.of(&self.core.chains).quality.wear(self.core.now())
    }
}

impl<const N: usize> Coded for PairMonitor<N> {
    fn code(&mut self, codec: &mut Codec<'_>) {
        let Self { histories, core } = self;
        core.code(codec);
        histories.iter_mut().for_each(|history| history.code(codec));
    }
}

impl Coded for Core {
    #[inline(never)]
    fn code(&mut self, codec: &mut Codec<'_>) {
        let Self { chains, fusion, leads, sign, alarms, utc_offset: _ } = self;
        chains.iter_mut().for_each(|chain| chain.code(codec)); // first: they say what is present
        fusion.code(codec);
        leads.iter_mut().for_each(|lead| lead.code(codec));
        sign.code(codec);
        alarms.code(codec);
    }
}

impl Core {
    fn begin(&mut self, beginning: Beginning) {
        self.chains.iter_mut().for_each(|chain| chain.begin(beginning));
        match beginning {
            Beginning::Everything => (self.fusion, self.leads) = (Fusion::new(), [Lead::new(), Lead::new()]),
            Beginning::Power | Beginning::Sensor => self.leads.iter_mut().for_each(Lead::begin),
        }
        self.sign.begin(beginning);
        self.alarms.begin(beginning, self.now());
    }

    /// The two counts are one.
    fn keep_up(&mut self) {
        let [first, second] = &mut self.chains;
        first.timeline.keep_up(&second.timeline);
        second.timeline.keep_up(&first.timeline);
    }

    fn now(&self) -> Instant {
        let [first, second] = &self.chains;
        first.timeline.now().max(second.timeline.now())
    }

    /// What each says now.
    fn say(&self) -> [Says; 2] {
        let now = self.now();
        let mut says = [Side::First, Side::Second].map(|side| {
            let chain = side.of(&self.chains);
            let known = chain.known();
            let reasons = chain.quality.reasons(now);
            Says {
                known,
                age: known.map(|newest| now.since(newest.at)),
                estimate: known.and_then(|_| chain.estimator.estimate(now)),
                reasons,
                doubt: chain.doubt(reasons),
                part: None,
            }
        });
        let any = says.iter().any(Says::is_present);
        for side in Side::BOTH {
            let chain = side.of(&self.chains);
            let one = side.of_mut(&mut says);
            // an old value tells nothing beside a present one
            one.part = one.estimate.filter(|_| one.is_present() || !any).map(|estimate| Part {
                glucose: estimate.glucose().mg_dl(),
                variance: estimate.glucose_sd() * estimate.glucose_sd(),
                calibration_variance: {
                    let sd = chain.calibration.sd(now, estimate.glucose());
                    let day = if one.reasons.contains(Reason::FirstDay) { FIRST_DAY } else { 1.0 };
                    day * sd * sd
                },
                against: against(chain, one.reasons),
                still: chain.quality.same_for().mins(),
                rate: estimate.rate().mg_dl_per_min(),
                ends: one.known.is_some_and(|newest| Bound::of(newest.sensor, newest.status).is_some()),
            });
        }
        says
    }

    /// A reading of one came: what the two tell of each other is learned.
    fn learn(&mut self, side: Side, z: Option<f32>) {
        let now = self.now();
        let says = self.say();
        let parts = says.map(|one| one.part);
        let z = z.filter(|z| z.is_finite());
        self.fusion.step(now, &parts, z.map(|z| (side, z)));
        let one = side.of(&says);
        if let Some(newest) = one.present().filter(|newest| newest.at == now) {
            side.of_mut(&mut self.leads).reading(now, newest.calibrated.mg_dl());
        }
        let courses = self.courses(now, &says);
        for side in Side::BOTH {
            if let (Some(own), Some((gap, [_, further]))) =
                (side.of(&courses), self.beside(&courses, side).filter(|_| says.iter().all(Says::is_clean)))
            {
                side.of_mut(&mut self.leads).ask(now, gap, further, own.value(30.0));
            }
        }
    }

    /// Each sensor's own course, counted from now.
    fn courses(&self, now: Instant, says: &[Says; 2]) -> [Option<Course>; 2] {
        Side::BOTH.map(|side| {
            side.of(says).known?;
            Some(side.of(&self.chains).forecast.course(now)?.from_now([0.0; 4]))
        })
    }

    /// How far the other stands above this one, and how much further it is expected to move in 15 and in 30 min, mg/dL.
    fn beside(&self, courses: &[Option<Course>; 2], side: Side) -> Option<(f32, [f32; 2])> {
        let (own, other) = (side.of(courses).as_ref()?, side.other().of(courses).as_ref()?);
        let offsets = self.fusion.offsets();
        let stands = |course: &Course, side: Side| course.value(5.0) - side.of(&offsets);
        let further =
            |minutes: f32| (other.value(minutes) - other.value(5.0)) - (own.value(minutes) - own.value(5.0));
        Some((stands(other, side.other()) - stands(own, side), [further(15.0), further(30.0)]))
    }

    /// The answers now; the alarms are told.
    #[inline(never)]
    fn answer(
        &mut self,
        verdict: Option<(Side, crate::quality::Verdict)>,
        unplaced: Option<Glucose>,
    ) -> PairView {
        let now = self.now();
        let says = self.say();
        let parts = says.map(|one| one.part);
        let fused = self.fusion.fused(&parts);
        let agreement = self.agreement(&says);
        let apart = agreement == Agreement::Apart;
        // by the clock of the one that read last
        let side = self.newest_side();
        let stamps = &side.of(&self.chains).timeline;
        let stamp = |at: Instant| stamps.stamp_of(at);
        let estimate = fused.and_then(|fused| self.estimate(now, &fused, &says));
        let courses = self.led(now, &says, agreement);
        let course = self.course(&courses, fused);
        let direction = self.direction(now, &says, fused);
        let (rate, sd) = direction.map_or((None, 0.0), |d| (Some(d.rate()), d.sd()));
        let trend = self.sign.step(rate, sd);
        let low_probability = self.low_probability(now, &says, fused, apart);
        let there = lower(&says, |_| true).is_some_and(|(lower, _)| lower.calibrated < LOW);
        let low_ahead = low_probability.map(|probability| if there { 1.0 } else { probability });
        let reasons = reasons(&says, agreement);
        let situation = self.situation(now, &says, estimate, low_ahead, unplaced, apart);
        let standing = self.alarms.update(&situation);
        let newest = says.iter().filter_map(|one| one.known).max_by_key(|newest| newest.at);
        let doubted = doubted(&says, estimate);
        let weights = fused.map_or([0.0; 2], |fused| [fused.share, 1.0 - fused.share]);
        let offsets = self.fusion.offsets();
        let sides = Side::BOTH.map(|side| {
            let (one, chain) = (side.of(&says), side.of(&self.chains));
            SideView {
                newest: chain.newest.map(|newest| (chain.timeline.stamp_of(newest.at), newest.calibrated)),
                age: one.age,
                reasons: one.reasons,
                weight: *side.of(&weights),
                offset: *side.of(&offsets),
                course: *side.of(&courses),
            }
        });
        let fused = View {
            at: stamp(now),
            verdict: verdict.map(|(_, verdict)| verdict),
            estimate: estimate.map(|estimate| estimate.by_clock(stamp(now))),
            trend,
            direction,
            course,
            low_probability,
            low_ahead,
            minutes_to_low: course.and_then(|course| course.minutes_to_fall(LOW, FURTHEST_LOW)),
            calibration_sd: fused.map(|fused| math::sqrt(fused.offset_variance)),
            newest: newest.map(|newest| (stamp(newest.at), newest.calibrated)),
            age: newest.map(|newest| now.since(newest.at)),
            bound: bound(&says),
            doubted,
            reasons,
            standing: standing.by_clock(stamp),
            sees: self.alarms.sees(),
        };
        PairView { fused, sides, agreement }
    }

    fn newest_side(&self) -> Side {
        let [first, second] = &self.chains;
        let at = |chain: &Chain| chain.newest.map(|newest| newest.at);
        if at(second) > at(first) { Side::Second } else { Side::First }
    }

    fn agreement(&self, says: &[Says; 2]) -> Agreement {
        let named = self.fusion.named();
        match says.each_ref().map(Says::is_present) {
            [false, false] => Agreement::Neither,
            [true, false] => Agreement::Only(Side::First),
            [false, true] => Agreement::Only(Side::Second),
            [true, true] if !self.fusion.is_apart() && named.is_none() => Agreement::Together,
            [true, true] => named.map_or(Agreement::Apart, Agreement::Errs),
        }
    }

    fn estimate(&self, now: Instant, fused: &Fused, says: &[Says; 2]) -> Option<Estimate> {
        let parts = says.map(|one| one.estimate.filter(|_| one.part.is_some()));
        let mix = |of: fn(&Estimate) -> f32| match &parts {
            [Some(first), Some(second)] => Some(fused.share * of(first) + (1.0 - fused.share) * of(second)),
            [Some(one), None] | [None, Some(one)] => Some(of(one)),
            [None, None] => None,
        };
        let rate = mix(|estimate| estimate.rate().mg_dl_per_min())?;
        let slow = mix(|estimate| estimate.slow_rate().mg_dl_per_min())?;
        let (behind, moving) = (mix(Estimate::behind)?, mix(Estimate::moving)?);
        let rate_sd = mix(Estimate::rate_sd)?;
        // what fingersticks say must not raise a low that a sensor sees
        let most = Side::BOTH.into_iter().filter_map(|side| {
            let newest = side.of(says).present()?;
            Some(side.of(&self.chains).calibration.most(newest.sensor).mg_dl())
        });
        let most = most.fold(f32::NAN, f32::max); // the greater of the two; none: no bound
        let glucose = fused.glucose.min(most);
        let cut = fused.glucose - glucose;
        let variance = fused.variance + cut * cut;
        Some(Estimate::from_filter(
            now,
            (glucose, rate, slow),
            (behind, moving),
            (variance, 0.0, rate_sd * rate_sd),
        ))
    }

    /// Each sensor's course with what the other tells.
    fn led(&self, now: Instant, says: &[Says; 2], agreement: Agreement) -> [Option<Course>; 2] {
        let courses = self.courses(now, says);
        Side::BOTH.map(|side| {
            let own = (*side.of(&courses))?;
            let heeds = says.iter().all(Says::is_clean) && agreement != Agreement::Errs(side.other());
            let Some((gap, further)) = self.beside(&courses, side).filter(|_| heeds) else {
                return Some(own);
            };
            Some(own.from_now(side.of(&self.leads).more(gap, further)))
        })
    }

    fn course(&self, courses: &[Option<Course>; 2], fused: Option<Fused>) -> Option<Course> {
        let [up1, up2] = self.fusion.offsets().map(|offset| -offset);
        match courses {
            [Some(first), Some(second)] => {
                let share = fused.map_or(0.5, |fused| fused.share);
                Some(Course::mixed((first, up1), (second, up2), share))
            }
            [Some(first), None] => Some(first.moved(up1)),
            [None, Some(second)] => Some(second.moved(up2)),
            [None, None] => None,
        }
    }

    fn direction(&self, now: Instant, says: &[Says; 2], fused: Option<Fused>) -> Option<Direction> {
        let directions = Side::BOTH.map(|side| {
            let one = side.of(says);
            one.known.filter(|_| one.part.is_some())?;
            side.of(&self.chains).forecast.direction(now)
        });
        match directions {
            [Some(first), Some(second)] => {
                let share = fused.map_or(0.5, |fused| fused.share);
                let mix = |one: f32, other: f32| other + share * (one - other);
                let rate = mix(first.rate().mg_dl_per_min(), second.rate().mg_dl_per_min());
                Direction::new(Rate::clamped(rate), mix(first.sd(), second.sd())).ok()
            }
            [one, other] => one.or(other),
        }
    }

    fn low_probability(
        &self,
        now: Instant,
        says: &[Says; 2],
        fused: Option<Fused>,
        apart: bool,
    ) -> Option<f32> {
        let clean = says.iter().any(Says::is_clean);
        let probabilities = Side::BOTH.map(|side| {
            let one = side.of(says);
            one.known.filter(|_| one.part.is_some() && (!clean || one.is_clean()))?;
            side.of(&self.chains).forecast.low_probability(now, LOW, HORIZON)
        });
        match probabilities {
            [Some(first), Some(second)] if apart => Some(first.max(second)),
            [Some(first), Some(second)] => {
                let share = fused.map_or(0.5, |fused| fused.share);
                Some(second + share * (first - second))
            }
            [one, other] => one.or(other),
        }
    }

    fn situation(
        &self,
        now: Instant,
        says: &[Says; 2],
        estimate: Option<Estimate>,
        low_ahead: Option<f32>,
        unplaced: Option<Glucose>,
        apart: bool,
    ) -> Situation {
        let mut situation = Situation::at(now).with_sensors_apart(apart);
        let [first, second] = &self.chains;
        let local = |chain: &Chain| chain.local(now, self.utc_offset);
        let local = local(first).or_else(|| local(second));
        let limit = self.alarms.plan().settings_at(local).low.limit;
        let (lowest, doubt) = lows(says, limit);
        situation = situation.with_doubt(doubt);
        // silence is that of both
        if let Some(heard) = says.iter().filter_map(|one| one.known).max_by_key(|newest| newest.at) {
            let both = estimate.map_or(heard.calibrated, |estimate| estimate.glucose());
            let value = match lowest {
                Some(lowest) if lowest <= LOWER_UP_TO => lowest,
                Some(_) if both < LOWER_UP_TO => LOWER_UP_TO,
                Some(_) => both,
                None => heard.calibrated,
            };
            situation = situation.with_sensor(heard.at, value);
        }
        let present = || says.iter().filter_map(Says::present);
        if let Some(raw) = present().map(|newest| newest.sensor).reduce(Glucose::min) {
            situation = situation.with_uncalibrated(raw);
        }
        let below = present().filter(|newest| newest.status == Status::BelowRange);
        if let Some(end) = below.map(|newest| newest.sensor).reduce(Glucose::min) {
            situation = situation.with_below_range(end);
        }
        if let Some(glucose) = unplaced {
            situation = situation.with_unplaced(glucose);
        }
        if let Some(glucose) = self.chains.iter().filter_map(|chain| chain.unbelieved).reduce(Glucose::min) {
            situation = situation.with_unbelieved(glucose);
        }
        if let Some(estimate) = estimate {
            situation = situation.with_plasma(estimate.glucose(), estimate.rate());
        }
        if let Some(probability) = low_ahead {
            situation = situation.with_low_ahead(probability);
        }
        if let Some(local) = local {
            situation = situation.with_local(local);
        }
        // the end of one sensor's wear is no alarm while the other goes on
        let left = self.chains.iter().zip(says).filter(|(_, one)| one.is_present());
        let left = left.map(|(chain, _)| chain.quality.wear(now).map(|wear| wear.left()));
        if let Some(left) = left.reduce(|one, other| Some(one?.max(other?))).flatten() {
            situation = situation.with_wear_left(left);
        }
        situation
    }

    fn fingerstick(&mut self, stick: &Fingerstick) -> [FingerstickOutcome; 2] {
        let parts = self.say().map(|one| one.part);
        let outcomes = Side::BOTH.map(|side| {
            let chain = side.of_mut(&mut self.chains);
            let before = chain.newest.map(|newest| newest.calibrated.mg_dl());
            let outcome = chain.fingerstick(stick, false);
            let after = chain.newest.map(|newest| newest.calibrated.mg_dl());
            (outcome, before.zip(after).map_or(0.0, |(before, after)| after - before))
        });
        let mut used = [None; 2];
        for side in Side::BOTH {
            let (outcome, _) = side.of(&outcomes);
            *side.of_mut(&mut used) = side.of(&parts).filter(|_| outcome.is_used());
        }
        if used.iter().any(Option::is_some) {
            self.fusion.fingerstick(&used, stick.glucose().mg_dl(), stick.meter_sd());
        }
        for side in Side::BOTH {
            let (_, moved) = side.of(&outcomes);
            self.fusion.shift(side, *moved);
            side.of_mut(&mut self.leads).shift(*moved);
        }
        outcomes.map(|(outcome, _)| outcome)
    }
}

/// How much speaks against one sensor by itself, as the natural logarithm of odds.
fn against(chain: &Chain, reasons: Reasons) -> f32 {
    let counts = [
        (Reason::FirstDay, 2.0),
        (Reason::PastEnd, 0.7),
        (Reason::Noise, 1.0),
        (Reason::Jump, 0.7),
        (Reason::Stuck, 4.0),
        (Reason::Pressure, 1.2),
        (Reason::Fingersticks, 2.5),
        (Reason::Drift, 1.5),
        (Reason::OwnWord, 2.0),
        (Reason::WarmUp, 3.0),
    ];
    let told: f32 = counts.iter().filter(|(reason, _)| reasons.contains(*reason)).map(|(_, odds)| odds).sum();
    // noisier than sensors are
    told + 1.5 * math::ln(chain.estimator.noise_scale().max(0.1))
}

/// The lower of the present readings of those that count.
fn lower(says: &[Says; 2], counts: impl Fn(&Says) -> bool) -> Option<(Newest, Doubt)> {
    let present = says.iter().filter(|one| counts(one));
    let present = present.filter_map(|one| Some((one.present()?, one.doubt)));
    present.reduce(|lowest, next| if next.0.calibrated < lowest.0.calibrated { next } else { lowest })
}

/// What the rule for lows goes by, and what is held against it: the lower of the sensors with nothing against them; one in
/// doubt when it alone is at the limit, or when there is no other. A sensor that fingersticks have shown to be off does not
/// count above the floor while the other is good.
fn lows(says: &[Says; 2], limit: Glucose) -> (Option<Glucose>, Doubt) {
    let good = lower(says, Says::is_clean);
    let denied = |one: &Says| {
        let very_low = one.known.is_some_and(|newest| newest.calibrated.mg_dl() <= FLOOR_MG_DL);
        one.reasons.contains(Reason::Fingersticks) && !very_low && good.is_some()
    };
    let doubtful = lower(says, |one| !one.is_clean() && !denied(one));
    match (good, doubtful) {
        (Some((good, _)), Some((other, doubt))) if other.calibrated <= limit && good.calibrated > limit => {
            (Some(other.calibrated), doubt)
        }
        (Some((good, _)), _) => (Some(good.calibrated), Doubt::None),
        (None, Some((other, doubt))) => (Some(other.calibrated), doubt),
        (None, None) => {
            let warms = says.iter().any(|one| one.doubt == Doubt::WarmUp);
            (None, if warms { Doubt::WarmUp } else { Doubt::None })
        }
    }
}

/// Reasons of both, or of the only one; that they are apart if they are.
fn reasons(says: &[Says; 2], agreement: Agreement) -> Reasons {
    let [first, second] = says;
    match agreement {
        Agreement::Only(side) => side.of(says).reasons,
        Agreement::Errs(side) => side.other().of(says).reasons,
        Agreement::Apart => first.reasons.shared(second.reasons).with(Reason::SecondSensor),
        Agreement::Neither | Agreement::Together => first.reasons.shared(second.reasons),
    }
}

/// The end of the range, when the only sensor or both are there; of a low end, either.
fn bound(says: &[Says; 2]) -> Option<Bound> {
    let bounds = || {
        let present = says.iter().filter_map(Says::present);
        present.map(|newest| Bound::of(newest.sensor, newest.status))
    };
    bounds().find(|bound| matches!(bound, Some(Bound::AtMost(_)))).flatten().or_else(|| {
        let mut bounds = bounds();
        let first = bounds.next()??;
        bounds.all(|other| other.is_some()).then_some(first)
    })
}

/// A low that one sensor tells, where the two as one would not show it.
fn doubted(says: &[Says; 2], estimate: Option<Estimate>) -> Option<Glucose> {
    let (lowest, _) = lower(says, |_| true)?;
    let shown = estimate.map_or(lowest.calibrated, |estimate| estimate.glucose());
    let sensor = says.iter().filter_map(Says::present).map(|newest| newest.sensor).reduce(Glucose::min)?;
    if sensor.mg_dl() <= FLOOR_MG_DL && shown.mg_dl() > FLOOR_MG_DL {
        Some(sensor)
    } else if lowest.calibrated <= LOW && shown > LOW {
        Some(lowest.calibrated)
    } else if says.iter().any(Says::is_clean) {
        None
    } else {
        (says.iter().any(|one| one.doubt != Doubt::None && one.is_present())).then_some(lowest.calibrated)
    }
}

#[cfg(test)]
mod tests;
