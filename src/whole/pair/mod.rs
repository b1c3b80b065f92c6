//! Two sensors worn at once: one plasma glucose, each sensor by what it has earned.

#[cfg(feature = "serde")]
mod file;
mod fusion;
mod lead;
mod rare;
mod says;
mod trail;
mod two_states;
mod view;

pub use view::{Agreement, PairView, Side, SideView};

use crate::alarm::{AlarmPlan, Alarms, Doubt, Kind, Situation};
use crate::calibration::Calibration;
use crate::codec::{Codec, Coded};
use crate::error::Error;
use crate::estimate::Estimate;
use crate::forecast::{Course, Direction};
use crate::history::{History, HistoryView};
use crate::math;
use crate::monitor::{Chain, FingerstickOutcome, Pushed, Settings, View};
use crate::quality::{Quality, Reason, Verdict, Wear};
use crate::reading::{Fingerstick, Reading};
use crate::timeline::Reset;
use crate::trend::TrendSign;
use crate::units::{Glucose, Instant, LOW, Rate, Span};
use fusion::{Fused, Fusion};
use lead::{Beside, Lead};
use says::{Says, any, bound, doubted, least, lower, lows, raw, reasons};

/// How far ahead a time to a low is told.
const FURTHEST_LOW: Span = Span::from_hours(1);
/// What two tell is known better than what one does: intervals are so much as wide.
const NARROWER: f32 = 0.9;
/// Up to this, where no limit for lows lies above and none for highs below, alarms go by the lower sensor; over it by both.
const LOWER_UP_TO: Glucose = Glucose::clamped(120.0);

/// The monitor of two sensors that one person wears at once, keeping the last `N` readings of each.
///
/// Each sensor has its own clock, judge, calibration, estimate and forecast, as in a [`Monitor`](crate::Monitor). The
/// answers are of both: plasma glucose as a weighted mean, the weights from how well each sensor agrees with fingersticks, with the
/// other and with its own past. The lasting difference between the two is learned, and attributed to each by its uncertainty. A
/// failing sensor shows by a growing difference, is named where its own past gives it away, it trails the other or reads a
/// low that is rare, and loses weight; one that is silent is left out. While the two differ and nothing shows which is wrong,
/// the answers say so and have wider uncertainty; when one then falls silent, the one that is left is doubted until it is
/// clear again: a fingerstick agrees, or two hours are over.
///
/// # Alarms
/// The rules are those of one sensor. Low and floor go by the lower of the two, whatever the other reads; a low that only one
/// sensor reads is what is shown, marked as doubted. A low of 70 mg/dL or less goes on for two hours when its sensor falls
/// silent. A sensor that a fingerstick has shown to be off is left out of the rule for lows for half an hour while the other
/// one is good, at most once in two hours, and never out of the floor. Highs go by both. No data rings when neither reads.
///
/// # Time
/// As in a [`Monitor`](crate::Monitor); each sensor's stamps are placed by themselves on one count. Call
/// [`set_uptime`](Self::set_uptime) or [`tick`](Self::tick) about once a minute: stamps of two sensors whose clocks disagree do not tell how
/// much time passes.
///
/// # Memory
/// About 4 KB and 12 bytes for each of `N`: with 24 hours of both 1.7 times one monitor.
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

impl<const N: usize> PairMonitor<N> {
    /// A monitor that knows nothing yet. Model, drift, forecast and quality are each sensor's own; bands and alarms are
    /// those of `first`.
    ///
    /// # Errors
    /// Names the setting that is out of its range.
    pub fn new(first: Settings, second: Settings) -> Result<Self, Error> {
        Ok(Self { histories: [History::new(), History::new()], core: Core::new(&first, &second)? })
    }

    /// The device's own count of seconds; see [`Monitor::set_uptime`](crate::Monitor::set_uptime).
    pub fn set_uptime(&mut self, uptime_secs: u32) {
        self.core.chains.iter_mut().for_each(|chain| chain.timeline.set_uptime(uptime_secs));
        self.core.keep_up();
    }

    /// Takes in a reading of one sensor and answers for the present moment. What is refused (see the verdict) changes
    /// neither estimate nor history; it is only counted.
    ///
    /// # Examples
    /// ```
    /// use glidepath::{Agreement, Glucose, Instant, PairMonitor, Reading, Settings, Side};
    /// let mut monitor = PairMonitor::<24>::new(Settings::default(), Settings::default())?;
    /// let view = monitor.push(Side::First, &Reading::new(Instant::from_secs(300), Glucose::from_mg_dl(110.0)?));
    /// assert_eq!(view.agreement(), Agreement::Only(Side::First));
    /// assert_eq!(view.side(Side::First).weight, 1.0);
    /// # Ok::<(), glidepath::Error>(())
    /// ```
    pub fn push(&mut self, side: Side, reading: &Reading) -> PairView {
        let core = &mut self.core;
        if core.chains.iter().any(|chain| chain.timeline.is_at_end()) {
            core.reset(Reset::Everything); // in 68 years, or after tens of thousands of false clocks
        }
        let history = side.of_mut(&mut self.histories);
        let pushed = side.of_mut(&mut core.chains).push(history, reading, core.utc_offset);
        core.keep_up();
        core.answer(Some((side, pushed)))
    }

    /// Answers at a moment without a reading; see [`Monitor::tick`](crate::Monitor::tick).
    pub fn tick(&mut self, now: impl Into<Option<Instant>>) -> PairView {
        let now = now.into();
        self.core.chains.iter_mut().for_each(|chain| chain.timeline.tick(now));
        self.core.keep_up();
        self.core.answer(None)
    }

    /// Takes in a fingerstick: for the calibration of each sensor that reads, for what is known of their offsets, and
    /// for the trust in each. Its time must lie within 15 min before and 2 min after the present moment.
    ///
    /// # Examples
    /// ```
    /// use glidepath::{Fingerstick, Glucose, Instant, PairMonitor, Reading, Settings, Side};
    /// let mut monitor = PairMonitor::<24>::new(Settings::default(), Settings::default())?;
    /// let (at, glucose) = (Instant::from_secs(300), Glucose::from_mg_dl(110.0)?);
    /// let _ = monitor.push(Side::Second, &Reading::new(at, glucose));
    /// let [first, second] = monitor.fingerstick(&Fingerstick::new(at, glucose));
    /// assert!(!first.is_used() && second.is_used()); // only the second one reads
    /// # Ok::<(), glidepath::Error>(())
    /// ```
    pub fn fingerstick(&mut self, stick: &Fingerstick) -> [FingerstickOutcome; 2] {
        self.core.fingerstick(stick)
    }

    /// A new sensor was started on one side: its calibration, estimate and trust begin anew; the other sensor, what was
    /// learned of it and of the person, and the alarms stay. Where the other one may be the one that errs, or the replaced
    /// one read a low, the other's value is doubted as if the replaced one had fallen silent. A start in the future counts as
    /// now.
    ///
    /// # Examples
    /// ```
    /// use glidepath::{Glucose, Instant, PairMonitor, Reading, Settings, Side, quality::Reason};
    /// let mut pair = PairMonitor::<24>::new(Settings::default(), Settings::default())?;
    /// let at = |minute: u32| Instant::from_secs(60 * minute);
    /// pair.sensor_started(Side::Second, at(0)); // the first goes on
    /// let reading = Reading::new(at(30), Glucose::from_mg_dl(110.0)?);
    /// let view = pair.push(Side::Second, &reading);
    /// assert!(view.side(Side::Second).reasons.contains(Reason::WarmUp) && view.fused().shown().is_none());
    /// # Ok::<(), glidepath::Error>(())
    /// ```
    pub fn sensor_started(&mut self, side: Side, at: Instant) {
        let core = &mut self.core;
        let chain = side.of_mut(&mut core.chains);
        let start = chain.timeline.start_of(at);
        let low = chain.known().is_some_and(|newest| newest.is_low());
        chain.reset(Reset::NewSensor);
        chain.quality.sensor_started(start);
        core.fusion.reset(side, low);
        core.leads.iter_mut().for_each(Lead::reset);
        core.keep_up();
        if core.chains.iter().all(|chain| chain.newest.is_none()) {
            core.alarms.reset(Reset::NewSensor, core.now());
        }
    }

    /// To be called when the power returns; see [`Monitor::power_returned`](crate::Monitor::power_returned).
    pub fn power_returned(&mut self) {
        self.core.reset(Reset::PowerReturned);
    }

    /// Forgets everything but the settings.
    pub fn restart(&mut self) {
        self.histories.iter_mut().for_each(History::clear);
        self.core.reset(Reset::Everything);
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
    #[inline(never)]
    fn new(first: &Settings, second: &Settings) -> Result<Self, Error> {
        Ok(Self {
            chains: [Chain::new(first)?, Chain::new(second)?],
            fusion: Fusion::new(),
            leads: [Lead::new(), Lead::new()],
            sign: TrendSign::new(first.bands),
            alarms: Alarms::new(first.alarms),
            utc_offset: None,
        })
    }

    fn reset(&mut self, reset: Reset) {
        self.chains.iter_mut().for_each(|chain| chain.reset(reset));
        match reset {
            Reset::Everything => (self.fusion, self.leads) = (Fusion::new(), [Lead::new(), Lead::new()]),
            Reset::PowerReturned | Reset::NewSensor => self.leads.iter_mut().for_each(Lead::reset),
        }
        self.sign.reset(reset);
        self.alarms.reset(reset, self.now());
    }

    /// The two counts are one. Since the power is back the first of them to read tells the time for both.
    fn keep_up(&mut self) {
        let [first, second] = &mut self.chains;
        first.timeline.keep_up(&second.timeline);
        second.timeline.keep_up(&first.timeline);
        let resumed = [&*first, &*second].map(|chain| chain.timeline.is_resumed());
        for (chain, resumed) in [(first, resumed == [true, false]), (second, resumed == [false, true])] {
            if resumed {
                chain.timeline.go_on();
                (chain.newest, chain.unbelieved) = (None, None);
            }
        }
    }

    fn now(&self) -> Instant {
        let [first, second] = &self.chains;
        first.timeline.now().max(second.timeline.now())
    }

    /// The answers now; the alarms are told. What came before is learned from first.
    #[inline(never)]
    fn answer(&mut self, came: Option<(Side, Pushed)>) -> PairView {
        let now = self.now();
        self.chains.iter_mut().for_each(|chain| chain.estimator.prepare(now));
        let says = says::say(&self.chains, now);
        let parts = says.each_ref().map(|one| one.part);
        self.fusion.begin(&parts);
        if let Some((side, pushed)) = &came {
            let z = pushed.z.filter(|z| z.is_finite()).map(|z| (*side, z));
            self.fusion.step(now, &parts, z);
        }
        let (later, beside) = (later(&says), self.beside(&says));
        if let Some((side, pushed)) = &came {
            self.learn(now, *side, pushed.verdict, &says, beside);
        }
        let (verdict, unplaced) = came.map_or((None, None), |(_, came)| (Some(came.verdict), came.unplaced));
        let fused = self.fusion.fused(&parts);
        let share = fused.map_or(0.5, |fused| fused.share);
        let agreement = self.agreement(&says);
        let estimate = fused.and_then(|fused| self.estimate(now, &fused, &says));
        let courses = self.led(&says, beside, agreement);
        let course = self.course(&courses, share);
        let direction = direction(&says, share);
        let (rate, sd) = direction.map_or((None, 0.0), |d| (Some(d.rate()), d.sd()));
        let trend = self.sign.step(rate, sd);
        let low_probability = low_probability(&says, share, self.fusion.is_untold());
        let there = lower(&says, [true; 2]).is_some_and(|(lower, _)| lower.calibrated < LOW);
        let low_ahead = low_probability.map(|probability| if there { 1.0 } else { probability });
        let open = match agreement {
            Agreement::Only(side) => self.fusion.is_open_against(side),
            _ => false,
        };
        let apart = open || agreement == Agreement::Apart;
        let [one, two] = &self.chains;
        let local = one.local(now, self.utc_offset).or_else(|| two.local(now, self.utc_offset));
        let (limit, denied) = (self.alarms.plan().settings_at(local).low.limit, self.fusion.denied(now));
        let (lowest, doubt) = lows(&says, limit, denied);
        let situation = Situation {
            low_ahead: low_ahead.filter(|probability| probability.is_finite()),
            unplaced,
            doubt,
            apart,
            local,
            ..self.situation(now, &says, later, estimate, lowest)
        };
        let standing = self.alarms.update(&situation);
        let (doubted, shown_at) = doubted(&says, estimate, denied, limit, open).unzip();
        let shown_at = shown_at.flatten();
        let monitoring = self.alarms.is_monitoring() && doubted.is_none();
        let reasons = reasons(&says, agreement);
        // where each by itself is good it is the two together
        let two = open || says.iter().all(|one| one.known.is_some());
        let together = two && !monitoring && reasons.is_empty();
        let reasons = if together { reasons.with(Reason::SecondSensor) } else { reasons };
        // how old is what is shown: beside one that errs, the other
        let newest = agreement.suspect().map_or(later, Side::other).of(&says).known;
        let offsets = self.fusion.offsets();
        let weights = if fused.is_some() { [share, 1.0 - share] } else { [0.0; 2] };
        let [first, second] = &self.chains;
        let side = |chain: &Chain, side: Side| {
            let one = side.of(&says);
            SideView {
                newest: chain.newest.map(|newest| (chain.timeline.stamp_of(newest.at), newest.calibrated)),
                age: one.known.map(|newest| now.since(newest.at)),
                reasons: one.reasons,
                weight: *side.of(&weights),
                offset: *side.of(&offsets),
                course: *side.of(&courses),
            }
        };
        let sides = [side(first, Side::First), side(second, Side::Second)];
        // by the clock of the one that read last
        let stamps = &later.of(&self.chains).timeline;
        let stamp = |at: Instant| stamps.stamp_of(at);
        let fused = View {
            at: stamp(now),
            verdict,
            estimate: estimate.map(|estimate| estimate.by_clock(stamp(now))),
            trend,
            direction,
            course,
            low_probability,
            low_ahead,
            minutes_to_low: course.and_then(|course| course.minutes_to_fall(LOW, FURTHEST_LOW)),
            calibration_sd: fused.map(|fused| math::sqrt(fused.offset_variance)),
            newest: newest.map(|newest| (stamp(newest.at), newest.calibrated)),
            age: newest.map(|newest| now.since(shown_at.unwrap_or(newest.at))),
            bound: bound(&says),
            doubted,
            reasons,
            standing: standing.by_clock(stamp),
            monitoring,
        };
        PairView { fused, sides, agreement }
    }

    /// A reading of one came: what it tells of the forecasts of both.
    fn learn(
        &mut self,
        now: Instant,
        side: Side,
        verdict: Verdict,
        says: &[Says; 2],
        beside: Option<Beside>,
    ) {
        if let Some(newest) = side.of(says).present.filter(|_| verdict.is_believed()) {
            side.of_mut(&mut self.leads).reading(now, newest.calibrated.mg_dl());
        }
        if let Some(mut beside) = beside {
            for (lead, one) in self.leads.iter_mut().zip(says) {
                if let Some(course) = &one.course {
                    let [.., expected] = course.soon();
                    lead.ask(now, beside, expected);
                }
                beside = beside.of_the_other();
            }
        }
    }

    /// How the second stands beside the first, while nothing is held against either.
    fn beside(&self, says: &[Says; 2]) -> Option<Beside> {
        let [first, second] = says;
        let (own, other) = (first.course.as_ref()?.soon(), second.course.as_ref()?.soon());
        let [o1, o2] = self.fusion.offsets();
        let [from, quarter, half] = [other[0] - own[0], other[1] - own[1], other[2] - own[2]];
        let beside = Beside { gap: from - o2 + o1, quarter: quarter - from, half: half - from };
        (first.clean && second.clean).then_some(beside)
    }

    fn agreement(&self, says: &[Says; 2]) -> Agreement {
        let [first, second] = says;
        match (first.present, second.present) {
            (None, None) => Agreement::Neither,
            (Some(_), None) => Agreement::Only(Side::First),
            (None, Some(_)) => Agreement::Only(Side::Second),
            (Some(_), Some(_)) => match self.fusion.named() {
                Some(side) => Agreement::Suspect(side),
                None if self.fusion.is_apart() => Agreement::Apart,
                None => Agreement::Together,
            },
        }
    }

    fn estimate(&self, now: Instant, fused: &Fused, says: &[Says; 2]) -> Option<Estimate> {
        let [first, second] = says.each_ref().map(|one| one.estimate.as_ref());
        let of = |estimate: &Estimate| {
            [
                estimate.rate().mg_dl_per_min(),
                estimate.slow_rate().mg_dl_per_min(),
                estimate.interstitial_difference(),
                estimate.moving_probability(),
                estimate.rate_sd(),
            ]
        };
        let mut mixed = of(second.or(first)?);
        for (mixed, first) in mixed.iter_mut().zip(&of(first.or(second)?)) {
            *mixed += fused.share * (first - *mixed);
        }
        let [rate, slow, behind, moving, rate_sd] = mixed;
        // what fingersticks say must not raise a low that a sensor sees
        let mut most: Option<f32> = None;
        for (one, chain) in says.iter().zip(&self.chains) {
            if let Some(newest) = one.present {
                let own = chain.calibration.max_corrected(newest.sensor).mg_dl();
                most = Some(most.map_or(own, |most| most.max(own)));
            }
        }
        let glucose = most.map_or(fused.glucose, |most| fused.glucose.min(most));
        let cut = fused.glucose - glucose;
        Some(Estimate::from_filter(
            now,
            (glucose, rate, slow),
            (behind, moving),
            (fused.variance + cut * cut, 0.0, rate_sd * rate_sd),
        ))
    }

    /// Each sensor's course with what the other tells.
    fn led(&self, says: &[Says; 2], beside: Option<Beside>, agreement: Agreement) -> [Option<Course>; 2] {
        let mut courses = says.each_ref().map(|one| one.course);
        if let Some(mut beside) = beside {
            for side in Side::BOTH {
                if agreement != Agreement::Suspect(side.other())
                    && let Some(course) = side.of_mut(&mut courses)
                {
                    *course = course.led(side.of(&self.leads).more(beside), NARROWER);
                }
                beside = beside.of_the_other();
            }
        }
        courses
    }

    fn course(&self, courses: &[Option<Course>; 2], share: f32) -> Option<Course> {
        let [first, second] = courses.each_ref().map(Option::as_ref);
        let [up1, up2] = self.fusion.offsets().map(|offset| -offset);
        let (first, second) = (first.map(|course| (course, up1)), second.map(|course| (course, up2)));
        Some(Course::mixed(first.or(second)?, second.or(first)?, share))
    }

    fn situation(
        &self,
        now: Instant,
        says: &[Says; 2],
        later: Side,
        estimate: Option<Estimate>,
        lowest: Option<Glucose>,
    ) -> Situation {
        // silence is that of both
        let reading = later.of(says).known.map(|heard| {
            let both = estimate.map_or(heard.calibrated, |estimate| estimate.glucose());
            let value = match lowest {
                Some(lowest) if lowest <= LOWER_UP_TO => lowest,
                Some(_) if both < LOWER_UP_TO => LOWER_UP_TO,
                Some(_) => both,
                None => heard.calibrated,
            };
            (heard.at, value)
        });
        let (uncalibrated, below_range) = raw(says);
        let unbelieved = least(says.each_ref().map(|one| one.unbelieved));
        Situation {
            reading,
            uncalibrated,
            below_range,
            unbelieved,
            plasma: estimate.map(|estimate| estimate.glucose()),
            rate: estimate.map(|estimate| estimate.rate()),
            wear_left: self.wear_left(now, says),
            ..Situation::at(now)
        }
    }

    /// The longest that one which goes on is still to be worn: the end of one is no alarm while the other goes on.
    fn wear_left(&self, now: Instant, says: &[Says; 2]) -> Option<Span> {
        let mut longest = None;
        for (chain, one) in self.chains.iter().zip(says) {
            if one.present.is_some() || one.doubt == Doubt::WarmUp {
                longest = longest.max(Some(chain.quality.wear(now)?.left()));
            }
        }
        longest
    }

    fn fingerstick(&mut self, stick: &Fingerstick) -> [FingerstickOutcome; 2] {
        let mut parts = says::say(&self.chains, self.now()).map(|one| one.part);
        let mut moved = [0.0; 2];
        // of two it tells first which one to go by
        let alone = parts.iter().any(Option::is_none);
        let mut take = |side: Side| {
            let chain = side.of_mut(&mut self.chains);
            let before = chain.newest;
            let outcome = chain.fingerstick(stick, alone);
            if !outcome.is_used() {
                *side.of_mut(&mut parts) = None;
            }
            if let (Some(before), Some(after)) = (before, chain.newest) {
                *side.of_mut(&mut moved) = after.calibrated.mg_dl() - before.calibrated.mg_dl();
            }
            outcome
        };
        let outcomes = [take(Side::First), take(Side::Second)];
        if parts.iter().any(Option::is_some) {
            self.fusion.fingerstick(&parts, moved, stick.glucose().mg_dl(), stick.meter_sd());
        }
        for (lead, moved) in self.leads.iter_mut().zip(moved) {
            lead.shift(moved);
        }
        outcomes
    }
}

/// Which one read last.
fn later(says: &[Says; 2]) -> Side {
    let [first, second] = says.each_ref().map(|one| one.known.map(|newest| newest.at));
    if second > first { Side::Second } else { Side::First }
}

fn direction(says: &[Says; 2], share: f32) -> Option<Direction> {
    let [first, second] = says.each_ref().map(|one| one.direction);
    match (first, second) {
        (Some(first), Some(second)) => {
            let mix = |one: f32, other: f32| other + share * (one - other);
            let rate = mix(first.rate().mg_dl_per_min(), second.rate().mg_dl_per_min());
            Direction::new(Rate::clamped(rate), mix(first.sd(), second.sd())).ok()
        }
        (one, other) => one.or(other),
    }
}

/// How likely a low is: by both as they weigh, or by the worse; a doubted one counts when it is alone.
fn low_probability(says: &[Says; 2], share: f32, by_worse: bool) -> Option<f32> {
    let any_clean = any(says, |one| one.clean);
    let [first, second] = says.each_ref().map(|one| one.low.filter(|_| one.clean || !any_clean));
    let (one, other) = (first.or(second)?, second.or(first)?);
    Some(if by_worse { one.max(other) } else { other + share * (one - other) })
}

#[cfg(test)]
mod tests;
