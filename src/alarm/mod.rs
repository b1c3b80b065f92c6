//! Alarms worth waking for.
//!
//! Nine rules ([`Kind`]), each with a limit, a delay, hysteresis, repeat, acknowledgement, snooze, escalation
//! and priority; settings by weekday and time of day ([`AlarmPlan`]). The caller tells the [`Situation`] at
//! every reading and at least once a minute between, and is told what rings.
//!
//! # What every rule keeps to
//! * It **holds** at or beyond its limit; it rings when it has held for its delay.
//! * While it holds it rings again after `repeat`, until acknowledged. A value that moves back by itself, at
//!   `recovering` or faster, does not ring again: a treated low is quiet, one that still falls is not.
//! * Acknowledged, it is silent for `quiet`, and rings again at once if it then still holds.
//! * Snoozed, it is silent until the snooze ends, whatever happens; a snooze is cut to its longest (the
//!   floor's 30 min, the others' 8 h).
//! * It is armed anew when its value is further than the hysteresis on the good side. Within the hysteresis
//!   it neither rings nor ends.
//! * The floor covers low, low ahead and steep fall, and low covers the latter two: of one family one rings.
//! * Values older than the no-data limit ring nothing new and end nothing: what held goes on holding.
//!   [`Alarms::sees`] says whether silence means that all is well.
//! * The clock of the rules runs by the differences of the times given, and only forward. Time set back or
//!   standing still neither repeats nor loses an alarm.
//!
//! # What doubt does
//! | doubt | floor | low | low ahead, steep fall | steep rise, high | no data |
//! | --- | --- | --- | --- | --- | --- |
//! | pressure | rings as ever | waits longer by `pressure_hold` | wait | as ever | as ever |
//! | disbelieved | rings as ever | as ever | wait | steep rise waits | as ever |
//! | warm-up | rings if a believed reading says so | the same | wait | the same | waits |
//!
//! Never a medical device: alarms supplement, and do not replace, fingersticks and the advice of a care team.

mod kind;
mod pattern;
mod schedule;
mod settings;
mod situation;
mod watch;

pub use kind::{Cause, Kind, Kinds, Priority, Ring, Rings};
pub use pattern::{Colour, Pattern, Pulse};
pub use schedule::{AlarmPlan, Slot, Weekdays};
pub use settings::{AlarmSettings, FLOOR_MG_DL, FLOOR_QUIET, LONGEST_SNOOZE, Rule};
pub use situation::{Doubt, Situation};

use crate::units::{Instant, Span};
use watch::{Hold, Reach, Watch};

/// Where the alarms' own clock starts: half a year in, so that a first reading can be older than that start.
const START: u32 = 1 << 24;

/// What is remembered between updates. Times are seconds of the alarms' own clock.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
struct State {
    clock: u32,
    /// The caller's time at the last update.
    now: Option<Instant>,
    /// The newest reading's time by the caller's clock, and by ours.
    reading: Option<(Instant, u32)>,
    watches: [Watch; 9],
    /// Whether the last update saw: fresh values, nothing against them.
    sees: bool,
}

/// The alarms of one person.
///
/// # Memory
/// Under 1.6 KB, the plan included.
///
/// # Examples
/// ```
/// use glidepath::{Glucose, Instant, alarm::{AlarmPlan, AlarmSettings, Alarms, Kind, Situation}};
/// let mut alarms = Alarms::new(AlarmPlan::new(AlarmSettings::default())?);
/// let at = Instant::from_secs(600);
/// let rings = alarms.update(&Situation::at(at).with_sensor(at, Glucose::from_mg_dl(54.0)?));
/// assert_eq!(rings.first().map(|ring| ring.kind), Some(Kind::Floor));
/// alarms.acknowledge(Kind::Floor);
/// # Ok::<(), glidepath::Error>(())
/// ```
#[derive(Clone, Debug)]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
pub struct Alarms {
    plan: AlarmPlan,
    state: State,
}

impl Alarms {
    /// All armed, nothing known.
    #[must_use]
    pub const fn new(plan: AlarmPlan) -> Self {
        const FRESH: Watch = Watch::new();
        let state = State { clock: START, now: None, reading: None, watches: [FRESH; 9], sees: false };
        Self { plan, state }
    }

    /// The settings it goes by.
    #[must_use]
    pub const fn plan(&self) -> &AlarmPlan {
        &self.plan
    }

    /// Other settings from now on; what holds goes on holding if it still does.
    pub fn set_plan(&mut self, plan: AlarmPlan) {
        self.plan = plan;
    }

    /// What rings in this situation.
    pub fn update(&mut self, situation: &Situation) -> Rings {
        let state = &mut self.state;
        let elapsed = state.now.map_or(0, |then| situation.now.since(then).secs().max(0).unsigned_abs());
        state.clock = state.clock.saturating_add(elapsed);
        state.now = Some(situation.now);
        let clock = state.clock;
        if let Some((measured, _)) = situation.reading
            && state.reading.is_none_or(|(known, _)| known != measured)
        {
            let age = situation.now.since(measured).secs().max(0).unsigned_abs();
            state.reading = Some((measured, clock.saturating_sub(age)));
        }
        let settings = self.plan.settings_at(situation.local);
        let age = Span::from_secs(
            i32::try_from(clock.saturating_sub(state.reading.map_or(START, |(_, seen)| seen)))
                .unwrap_or(i32::MAX),
        );
        let stale = age.mins() >= settings.no_data.limit;
        state.sees = !stale && situation.reading.is_some() && situation.doubt == Doubt::None;
        let mut rings = Rings::default();
        let mut covered = false;
        for ((kind, watch), place) in Kind::ALL.into_iter().zip(&mut state.watches).zip(&mut rings.0) {
            let rule = settings.rule(kind);
            let reach =
                if stale && kind.is_by_value() { Reach::Unknown } else { reach(kind, rule, situation, age) };
            if !rule.on || reach == Reach::Clear {
                watch.clear(clock);
                continue;
            }
            let falls_or_low = matches!(kind, Kind::Low | Kind::LowAhead | Kind::SteepFall);
            let hold = if covered && falls_or_low {
                Hold::Covered
            } else if !stale && recovers(kind, situation, settings.recovering) {
                Hold::Repeats
            } else {
                Hold::No
            };
            let extra = if kind == Kind::Low && situation.doubt == Doubt::Pressure {
                settings.pressure_hold
            } else {
                Span::ZERO
            };
            let delay = Span::from_secs(rule.delay.secs().saturating_add(extra.secs()));
            *place = watch.step(clock, reach, rule, delay, hold).map(|(cause, priority)| Ring {
                kind,
                priority,
                cause,
                at: situation.now,
            });
            covered |= matches!(kind, Kind::Floor | Kind::Low) && watch.active && reach != Reach::Unknown;
        }
        rings
    }

    /// What holds now, rung, acknowledged or snoozed.
    #[must_use]
    pub fn active(&self) -> Kinds {
        self.kinds(|watch| watch.active)
    }

    /// What holds now and is neither acknowledged nor snoozed.
    #[must_use]
    pub fn unheeded(&self) -> Kinds {
        self.kinds(|watch| watch.active && !watch.is_acknowledged() && watch.snoozed_until().is_none())
    }

    /// Whether silence means that all is well: at the last update there were fresh values and nothing against
    /// them.
    #[must_use]
    pub const fn sees(&self) -> bool {
        self.state.sees
    }

    /// A person has taken notice of `kind`: it is silent for its `quiet`. Nothing happens if it does not hold.
    pub fn acknowledge(&mut self, kind: Kind) {
        let clock = self.state.clock;
        if let Some(watch) = self.watch(kind) {
            watch.acknowledge(clock);
        }
    }

    /// A person has taken notice of all that holds.
    pub fn acknowledge_all(&mut self) {
        let clock = self.state.clock;
        self.state.watches.iter_mut().for_each(|watch| watch.acknowledge(clock));
    }

    /// Silences `kind` for `span` from the last update, cut to its longest snooze; how long it will be. Zero
    /// or less ends a snooze.
    pub fn snooze(&mut self, kind: Kind, span: Span) -> Span {
        let longest = if kind == Kind::Floor { FLOOR_QUIET } else { LONGEST_SNOOZE };
        let span = span.min(longest).max(Span::ZERO);
        let until = self.state.clock.saturating_add(span.secs().unsigned_abs());
        if let Some(watch) = self.watch(kind) {
            watch.snooze(until);
        }
        span
    }

    fn watch(&mut self, kind: Kind) -> Option<&mut Watch> {
        self.state.watches.get_mut(kind as usize)
    }

    fn kinds(&self, which: impl Fn(&Watch) -> bool) -> Kinds {
        let holding = Kind::ALL.into_iter().zip(&self.state.watches).filter(|(_, watch)| which(watch));
        Kinds(holding.fold(0, |set, (kind, _)| set | kind.bit()))
    }
}

/// The lower of sensor and estimate: whichever is lower is believed.
fn lower(situation: &Situation) -> Option<f32> {
    let sensor = situation.reading.map(|(_, glucose)| glucose.mg_dl());
    let plasma = situation.plasma.map(|glucose| glucose.mg_dl());
    match (sensor, plasma) {
        (Some(sensor), Some(plasma)) => Some(sensor.min(plasma)),
        (one, other) => one.or(other),
    }
}

fn reach(kind: Kind, rule: &Rule, situation: &Situation, age: Span) -> Reach {
    let rate = situation.rate.map(|rate| rate.mg_dl_per_min());
    let at_or_under = |value: Option<f32>| match value {
        None => Reach::Unknown,
        Some(value) if value <= rule.limit => Reach::Beyond,
        Some(value) if value <= rule.limit + rule.hysteresis => Reach::Between,
        Some(_) => Reach::Clear,
    };
    let at_or_over = |value: Option<f32>| match value {
        None => Reach::Unknown,
        Some(value) if value >= rule.limit => Reach::Beyond,
        Some(value) if value >= rule.limit - rule.hysteresis => Reach::Between,
        Some(_) => Reach::Clear,
    };
    match (kind, situation.doubt) {
        (Kind::LowAhead | Kind::SteepFall, doubt) if doubt != Doubt::None => Reach::Unknown,
        (Kind::SteepRise, Doubt::Disbelieved | Doubt::WarmUp) => Reach::Unknown,
        (Kind::NoData, Doubt::WarmUp) => Reach::Clear,
        (Kind::Floor | Kind::Low, _) => at_or_under(lower(situation)),
        (Kind::High, _) => at_or_over(situation.reading.map(|(_, glucose)| glucose.mg_dl())),
        (Kind::LowAhead, _) => at_or_over(situation.low_ahead),
        (Kind::SteepFall, _) => at_or_over(rate.map(|rate| -rate)),
        (Kind::SteepRise, _) => at_or_over(rate),
        (Kind::NoData, _) => at_or_over(Some(age.mins())),
        (Kind::Doubt, doubt) => {
            if doubt == Doubt::Disbelieved {
                Reach::Beyond
            } else {
                Reach::Clear
            }
        }
        (Kind::WearEnd, _) => at_or_under(situation.wear_left.map(|left| left.mins() / 60.0)),
    }
}

/// Whether the value moves back by itself.
fn recovers(kind: Kind, situation: &Situation, pace: f32) -> bool {
    let Some(rate) = situation.rate.map(|rate| rate.mg_dl_per_min()) else { return false };
    match kind {
        Kind::Floor | Kind::Low | Kind::LowAhead | Kind::SteepFall => rate >= pace,
        Kind::High | Kind::SteepRise => rate <= -pace,
        Kind::NoData | Kind::Doubt | Kind::WearEnd => false,
    }
}

#[cfg(test)]
mod tests;
