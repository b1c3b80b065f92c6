//! Alarms with limits, delays and priorities.
//!
//! Rules ([`Kind`]), each with a limit, a delay, hysteresis, repeat, acknowledgement, snooze, escalation
//! and priority; settings by weekday and time of day ([`AlarmPlan`]). Call [`Alarms::update`] with the [`Situation`] at
//! every reading and at least once a minute between; it returns which alarms are active and which ring.
//!
//! # What every rule keeps to
//! * Its condition **holds** at or beyond its limit; it rings when its value has been there, or within its hysteresis, for its delay. For
//!   low ahead, time in which no new reading comes counts half: one reading alone rings after twice the delay.
//! * While it holds it rings again after `repeat`, until acknowledged. A high, a steep rise, a steep fall or a low
//!   ahead that moves back by itself, at `recovering` or faster, does not ring again.
//! * Acknowledged, it is silent until `quiet` after its last ring, and rings again at once if it then still holds.
//! * Snoozed, it is silent until the snooze ends; a snooze is cut to its longest (floor and low 30 min, the others
//!   8 h).
//! * A silenced low alarm rings anew when glucose is 10 mg/dL under what it was when it was acknowledged or snoozed.
//! * It is armed anew when its value is further than the hysteresis on the good side. Within the hysteresis
//!   it neither rings nor ends. A rule of a value other than floor and low is not new again within `quiet` of its
//!   last ring: one that comes and goes rings once.
//! * While the floor itself sounds (beyond its limit now, neither acknowledged nor snoozed) it rings for low too.
//!   While low holds, low ahead and steep fall do not ring anew. No rule that does not sound silences another.
//! * A new or worse ring of an alarm that warns of a low has at least the priority that a milder one rang at.
//! * Values older than [`MAX_VALUE_AGE`] ring nothing new and end nothing: active alarms stay active.
//!   [`Alarms::is_monitoring`] says whether the absence of an alarm means that all is well.
//! * No readings is an alarm too: without any, silence is counted from the first update, or from the moment the
//!   power came back.
//! * Times are of a count that only grows, never of a clock that can be set: see [`timeline`](crate::timeline).
//!
//! # The value that low and floor use
//! The lowest of: the newest believed reading, calibrated; the estimate, unless there is doubt; the reading as the sensor
//! gave it, if that is at or under the floor; the sensor's report that glucose is under its range. So no
//! calibration and no estimate hides a very low reading.
//!
//! # What doubt does
//! | doubt | floor | low | low ahead, steep fall | steep rise, high | no data | doubt |
//! | --- | --- | --- | --- | --- | --- | --- |
//! | pressure | rings as ever | waits longer by `pressure_hold`, 30 min in all at most | wait | as ever | as ever | silent |
//! | disbelieved | rings as ever | as ever | wait | steep rise waits | as ever | rings |
//! | warm-up | rings if a believed reading says so | the same | wait | the same | waits | rings if what the sensor reads is at or under the floor |
//!
//! Never a medical device: alarms supplement, and do not replace, fingersticks and the advice of a care team.

mod adaptive;
mod burst;
mod bytes;
#[cfg(feature = "serde")]
mod file;
mod kind;
mod reach;
mod ring;
mod schedule;
mod setters;
mod settings;
mod situation;
mod watch;

pub use adaptive::AdaptiveLimit;
pub use burst::{Burst, Colour, Pulse};
pub use kind::{Kind, KindInfo, Kinds, LimitUnit};
pub use ring::{ActiveAlarm, ActiveAlarms, Cause, Priority, Ring, Rings, Trigger};
pub use schedule::{AlarmPlan, Slot, Weekdays};
pub use settings::{AlarmSettings, FLOOR_QUIET, LONGEST_SNOOZE, LOW_QUIET, Limit, Rule};
pub use situation::{Doubt, Situation};

pub use crate::units::FLOOR_MG_DL;

use crate::codec::{Codec, Coded};
use crate::math::Bounded as _;
use crate::timeline::Reset;
use crate::units::{Instant, Span};
use reach::{Reach, lowest, reach, recovers, rests, trigger};
use watch::{Hold, Watch};

/// A value older than this is not the present one: a reading every 15 min may come 5 min late.
pub const MAX_VALUE_AGE: Span = Span::from_mins(20);

/// What is remembered between updates.
#[derive(Clone, Copy, Debug, PartialEq)]
struct State {
    /// The last update's moment.
    now: Option<Instant>,
    /// Without a reading, since when silence is counted.
    blind_since: Instant,
    watches: [Watch; Kind::COUNT],
    /// Whether the last update saw: fresh values, nothing against them.
    monitoring: bool,
    /// How low glucose was at the last update, mg/dL.
    depth: Option<f32>,
}

const FRESH: Watch = Watch::new();

impl State {
    #[cfg_attr(target_pointer_width = "32", inline(never))]
    const fn new() -> Self {
        Self {
            now: None,
            blind_since: Instant::from_secs(0),
            watches: [FRESH; Kind::COUNT],
            monitoring: false,
            depth: None,
        }
    }
}

/// The alarms of one person.
///
/// # Memory
/// 1,416 bytes, the plan included.
///
/// # Examples
/// ```
/// use glidepath::{Glucose, Instant, alarm::{AlarmPlan, AlarmSettings, Alarms, Kind, Situation}};
/// let mut alarms = Alarms::new(AlarmPlan::new(AlarmSettings::default())?);
/// let at = Instant::from_secs(600);
/// let very_low = Glucose::from_mg_dl(54.0)?;
/// let standing = alarms.update(&Situation::at(at).with_sensor(at, very_low));
/// let ring = standing.rings().first().copied();
/// assert_eq!(ring.map(|ring| (ring.kind, ring.trigger.glucose())), Some((Kind::Floor, Some(very_low))));
/// alarms.acknowledge(Kind::Floor);
/// # Ok::<(), glidepath::Error>(())
/// ```
#[derive(Clone, Debug)]
pub struct Alarms {
    plan: AlarmPlan,
    state: State,
}

impl Alarms {
    /// All alarms armed, none active.
    #[must_use]
    pub const fn new(plan: AlarmPlan) -> Self {
        Self { plan, state: State::new() }
    }

    /// Its settings.
    #[must_use]
    pub const fn plan(&self) -> &AlarmPlan {
        &self.plan
    }

    /// Other settings from now on; what holds goes on holding if it still does.
    pub fn set_plan(&mut self, plan: AlarmPlan) {
        self.plan = plan;
    }

    /// Starts anew at `now`. A new sensor, or the power back: active alarms stay active, silence is counted from
    /// `now`. Everything: all are armed. The plan is kept.
    pub fn reset(&mut self, reset: Reset, now: Instant) {
        match reset {
            Reset::NewSensor | Reset::PowerReturned => {
                (self.state.now, self.state.blind_since) = (Some(now), now);
            }
            Reset::Everything => self.state = State::new(),
        }
    }

    /// The alarms that are active in this situation, and which of them ring.
    ///
    /// # Examples
    /// ```
    /// use glidepath::alarm::{AlarmPlan, Alarms, Kind, Situation};
    /// use glidepath::{Glucose, Instant};
    /// let mut alarms = Alarms::new(AlarmPlan::default());
    /// let now = Instant::from_secs(300);
    /// let standing = alarms.update(&Situation::at(now).with_sensor(now, Glucose::from_mg_dl(65.0)?));
    /// assert_eq!(standing.rings().first().map(|ring| ring.kind), Some(Kind::Low));
    /// # Ok::<(), glidepath::Error>(())
    /// ```
    pub fn update(&mut self, situation: &Situation) -> ActiveAlarms {
        let state = &mut self.state;
        let now = state.now.map_or(situation.now, |then| then.max(situation.now));
        if state.now.replace(now).is_none() {
            state.blind_since = now;
        }
        let settings = self.plan.settings_at(situation.local);
        let silent_since = situation.reading.map_or(state.blind_since, |(measured, _)| measured);
        let silence = now.since(silent_since).max(Span::ZERO);
        let stale = situation.reading.is_none() || silence >= MAX_VALUE_AGE;
        state.monitoring = !stale && situation.doubt == Doubt::None && !situation.apart;
        let lowest = lowest(situation);
        let unplaced = matches!(lowest, Some((_, Trigger::Unplaced(_))));
        state.depth = if stale { None } else { lowest.map(|(depth, _)| depth) };
        let mut standing = ActiveAlarms::default();
        let (mut floor_sounds, mut low_holds) = (false, false);
        for (&kind, place) in Kind::ALL.iter().zip(&mut standing.0) {
            let Some(watch) = state.watches.get_mut(kind as usize) else { continue };
            // the whole rule is looked at only where something is not clear
            let Rule { on, limit, hysteresis, .. } = settings.bare(kind);
            let reach = if stale && kind.needs_value() && !(kind == Kind::Floor && unplaced) {
                Reach::Unknown
            } else {
                match reach(kind, (limit, hysteresis), situation, silence, lowest) {
                    Reach::Beyond if low_holds && matches!(kind, Kind::LowAhead | Kind::SteepFall) => {
                        Reach::Between
                    }
                    known => known,
                }
            };
            if !on || reach == Reach::Clear {
                if !watch.is_fresh() {
                    let rule = settings.bare(kind);
                    watch.end_snooze(now);
                    watch.clear(now, if rule.on && rests(kind) { rule.quiet } else { Span::ZERO });
                }
                continue;
            }
            let rule = &settings.bare(kind);
            watch.end_snooze(now);
            let hold = if kind == Kind::Low && floor_sounds {
                Hold::Covered
            } else if !stale && recovers(kind, situation, settings.recovering.mg_dl_per_min()) {
                Hold::Repeats
            } else {
                Hold::No
            };
            let delay = match (kind, situation.doubt) {
                (Kind::Low, Doubt::Pressure) => {
                    let both = rule.delay.secs().saturating_add(settings.pressure_hold.secs());
                    Span::from_secs(both).min(LOW_QUIET)
                }
                _ => rule.delay,
            };
            // an alarm that has rung speaks for its priority until it is armed anew
            let mut least = Priority::Low;
            if kind.warns_of_low() {
                for (milder, watch) in Kind::ALL.iter().zip(&state.watches).skip(kind as usize) {
                    if let Some(told) = watch.told.filter(|_| milder.warns_of_low()) {
                        least = least.max(told.priority);
                    }
                }
            }
            let depth = if kind.warns_of_low() { state.depth } else { None };
            let bounds = (depth, least);
            // minutes that bring no new reading bear a low ahead out by half
            let behind = if kind == Kind::LowAhead { silence.secs() >> 1 } else { 0 };
            let at = now.plus(Span::from_secs(behind.saturating_neg()));
            let Some(watch) = state.watches.get_mut(kind as usize) else { continue };
            let rings = watch.step((now, at), reach, rule, delay, hold, bounds);
            floor_sounds |= kind == Kind::Floor && reach != Reach::Unknown && watch.sounds();
            low_holds |= kind == Kind::Low && watch.active && reach == Reach::Beyond;
            if watch.active {
                let (at, priority, cause) = watch
                    .told
                    .map_or((now, rule.priority, Cause::New), |told| (told.at, told.priority, told.cause));
                let trigger = if reach == Reach::Unknown {
                    Trigger::Unknown
                } else {
                    trigger(kind, situation, silence, lowest)
                };
                let ring = Ring { kind, priority, cause, trigger, at };
                *place = Some(ActiveAlarm { ring, rings, acknowledged: watch.is_silenced() });
            }
        }
        standing
    }

    /// The kinds that are active now, rung, acknowledged or snoozed.
    #[must_use]
    pub fn active(&self) -> Kinds {
        self.kinds(|watch| watch.active)
    }

    /// The kinds that are active now and neither acknowledged nor snoozed.
    #[must_use]
    pub fn unacknowledged(&self) -> Kinds {
        self.kinds(|watch| watch.active && !watch.is_silenced())
    }

    /// Whether the absence of an alarm means that all is well: at the last update values were fresh and nothing spoke
    /// against them.
    #[must_use]
    pub const fn is_monitoring(&self) -> bool {
        self.state.monitoring
    }

    /// A person acknowledges `kind`: it is silent until its `quiet` after its last ring. Nothing changes if it is not active.
    ///
    /// # Examples
    /// ```
    /// use glidepath::alarm::{AlarmPlan, Alarms, Kind, Situation};
    /// use glidepath::{Glucose, Instant};
    /// let (mut alarms, glucose) = (Alarms::new(AlarmPlan::default()), Glucose::from_mg_dl(65.0)?);
    /// let at = |minute: u32| Instant::from_secs(60 * minute);
    /// assert!(!alarms.update(&Situation::at(at(5)).with_sensor(at(5), glucose)).rings().is_empty());
    /// alarms.acknowledge(Kind::Low);
    /// let later = alarms.update(&Situation::at(at(20)).with_sensor(at(20), glucose));
    /// assert!(later.rings().is_empty() && later.kinds().contains(Kind::Low)); // silent, and still active
    /// # Ok::<(), glidepath::Error>(())
    /// ```
    pub fn acknowledge(&mut self, kind: Kind) {
        let depth = self.state.depth.filter(|_| kind.warns_of_low());
        if let Some(watch) = self.watch(kind) {
            watch.acknowledge(depth);
        }
    }

    /// A person acknowledges all active alarms.
    pub fn acknowledge_all(&mut self) {
        Kind::ALL.into_iter().for_each(|kind| self.acknowledge(kind));
    }

    /// Silences `kind` for `span` from the last update, at most for its longest snooze since it last rang; returns for how
    /// long. Zero or less ends a snooze, and before the first update nothing can be snoozed.
    ///
    /// # Examples
    /// ```
    /// use glidepath::alarm::{AlarmPlan, Alarms, Kind, Situation};
    /// use glidepath::{Instant, Span};
    /// let mut alarms = Alarms::new(AlarmPlan::default());
    /// let _ = alarms.update(&Situation::at(Instant::from_secs(0)));
    /// assert_eq!(alarms.snooze(Kind::High, Span::from_hours(2)), Span::from_hours(2));
    /// assert_eq!(alarms.snooze(Kind::Floor, Span::from_hours(2)), Span::from_mins(30)); // its longest
    /// ```
    pub fn snooze(&mut self, kind: Kind, span: Span) -> Span {
        let longest = match kind {
            Kind::Floor => FLOOR_QUIET,
            Kind::Low => LOW_QUIET,
            _ => LONGEST_SNOOZE,
        };
        let Some(now) = self.state.now else { return Span::ZERO };
        let span = span.min(longest).max(Span::ZERO);
        // who snoozes before it holds has the first of it in mind
        let limit = self.plan.settings_at(None).bare(kind).limit;
        let depth =
            self.state.depth.filter(|_| kind.warns_of_low()).map(|depth| {
                if kind.info().unit == LimitUnit::Glucose { depth.at_most(limit) } else { depth }
            });
        self.watch(kind).map_or(Span::ZERO, |watch| watch.snooze(now, span, longest, depth))
    }

    fn watch(&mut self, kind: Kind) -> Option<&mut Watch> {
        self.state.watches.get_mut(kind as usize)
    }

    fn kinds(&self, which: impl Fn(&Watch) -> bool) -> Kinds {
        Kinds::of(Kind::ALL.into_iter().zip(&self.state.watches).filter(|(_, w)| which(w)).map(|(k, _)| k))
    }
}

impl Coded for Alarms {
    fn code(&mut self, codec: &mut Codec<'_>) {
        // since the power is back silence is counted anew, and nothing is seen until a reading comes
        let Self { plan: _, state: State { now: _, blind_since: _, watches, monitoring, depth } } = self;
        for (kind, watch) in Kind::ALL.into_iter().zip(watches) {
            watch.code(codec, rests(kind));
        }
        depth.code(codec);
        if codec.loads() {
            *monitoring = false;
        }
    }
}

#[cfg(test)]
mod tests;
