//! The monitor: every answer to every event.

use crate::{Event, Hash, Stream, mg_dl};
use core::hint::black_box;
use glidepath::alarm::{
    ActiveAlarms, AlarmPlan, AlarmSettings, Burst, Colour, Kind, Limit, Priority, Ring, Rings, Slot, Trigger,
    Weekdays,
};
use glidepath::quality::Wear;
use glidepath::{Bound, FingerstickOutcome, Glucose, LocalTime, Monitor, Rate, Settings, Span, View};

/// Alarm settings by time of day.
pub fn plan(hash: &mut Hash) -> AlarmPlan {
    let strict = AlarmSettings::default();
    let night = strict
        .with_high(strict.high.with_limit(Glucose::from_mg_dl(black_box(260.0)).unwrap_or(strict.high.limit)))
        .with_wear_end(strict.wear_end.with_on(true));
    hash.put(others(strict).checked().is_ok());
    let mut night = night;
    hash.put(strict.checked().is_ok());
    let mut hasty = strict;
    hasty.recovering = Rate::from_mg_dl_per_min(black_box(9.0)).unwrap_or(strict.recovering);
    hash.put(hasty.checked().map(|_| 0_u8));
    for kind in Kind::ALL {
        let about = kind.info();
        hash.put((strict.rule(kind).limit.number(), about.limits, kind.name()));
        hash.put((kind.message(), about.title, about.spoken));
        hash.put((about.unit.name(), about.needs_value, about.warns_of_low));
        let mut rule = night.rule(kind);
        rule.escalate = Span::from_mins(10);
        hash.put(night.set_rule(kind, rule).map(|()| 0_u8));
        hash.put(about.unit.limit(black_box(0.5)).map(Limit::number));
    }
    let Ok(mut plan) = AlarmPlan::new(black_box(strict)) else { return AlarmPlan::default() };
    let profile = plan.add_profile(night).unwrap_or(0);
    let days = black_box(Weekdays::NONE).with(0).with(3).with(9);
    hash.put((days.contains(3), days.contains(4)));
    let slot = Slot { days, from: 1320, to: 420, profile };
    hash.put(plan.add_slot(slot).map(|()| 0_u8));
    hash.put(plan.add_slot(Slot { from: 5000, ..slot }).map(|()| 0_u8));
    hash.put(plan.profile(profile).map(|p| p.high.limit.mg_dl()));
    for (weekday, minute) in [(0, 0), (3, 1400), (7, 0)] {
        let local = LocalTime::new(black_box(weekday), minute);
        hash.put(local.map(|l| (l.weekday(), l.minute(), slot.holds(l))));
        if let Ok(local) = local {
            hash.put((plan.profile_at(local), plan.settings_at(Some(local)).high.limit.mg_dl()));
        }
    }
    plan
}

/// Each of the other setters.
fn others(strict: AlarmSettings) -> AlarmSettings {
    let span = |minutes| Span::from_mins(black_box(minutes));
    strict
        .with_low(strict.low.with_hysteresis(strict.low.hysteresis).with_delay(span(1)).with_repeat(span(9)))
        .with_low_ahead(strict.low_ahead.with_quiet(span(70)).with_escalate(span(30)))
        .with_steep_fall(strict.steep_fall.with_priority(Priority::Medium))
        .with_no_data(strict.no_data)
        .with_steep_rise(strict.steep_rise)
        .with_doubt(strict.doubt)
        .with_recovering(strict.recovering)
        .with_pressure_hold(span(10))
}

pub fn monitor(events: usize) -> Hash {
    let mut hash = Hash::new();
    let settings = Settings::default().with_alarms(plan(&mut hash));
    let Ok(mut monitor) = Monitor::<288>::new(black_box(settings)) else { return hash };
    let mut stream = Stream::new(black_box(7));
    for _ in 0..events {
        match stream.next() {
            Some(Event::Reading(reading)) => view(&mut hash, &monitor.push(&reading)),
            Some(Event::Tick(at)) => view(&mut hash, &monitor.tick(at)),
            Some(Event::Fingerstick(stick)) => {
                let outcome = monitor.fingerstick(&stick);
                hash.put((outcome.is_used(), outcome.words()));
                hash.put(outcome.expected().map(|e| (e.glucose, e.sd, e.deviations(&stick))));
                match outcome {
                    FingerstickOutcome::Used { calibrated, fused, held, .. } => {
                        hash.put((calibrated as u8, calibrated.is_used(), fused));
                        hash.put(held);
                    }
                    FingerstickOutcome::Refused { why, .. } => hash.put(why as u8),
                }
            }
            Some(Event::SensorStarted(at)) => monitor.sensor_started(at),
            Some(Event::Snooze(kind, span)) => {
                for k in Kind::ALL {
                    if k as u32 == kind % 9 {
                        hash.put(monitor.snooze(k, span));
                    }
                }
            }
            Some(Event::Acknowledge) => monitor.acknowledge(),
            Some(Event::Offset(offset)) => monitor.set_utc_offset(offset),
            Some(Event::Uptime(secs)) => {
                monitor.set_uptime(secs);
                view(&mut hash, &monitor.tick(None));
            }
            Some(Event::PowerReturned) => monitor.power_returned(),
            Some(Event::Restart) => monitor.restart(),
            None => {}
        }
        state(&mut hash, &monitor);
    }
    monitor.set_alarm_plan(AlarmPlan::default());
    hash.put(monitor.alarms().plan().settings_at(None).low.limit.mg_dl());
    history(&mut hash, &monitor);
    hash
}

/// All that a view tells.
pub fn view(hash: &mut Hash, view: &View) {
    hash.put((view.at(), view.verdict().map(|v| v as u8)));
    if let Some(e) = view.estimate() {
        hash.put((e.at(), e.glucose(), e.glucose_sd()));
        hash.put((e.rate(), e.rate_sd(), e.slow_rate()));
        hash.put((e.interstitial_difference(), e.moving_probability(), e.is_doubted()));
    }
    hash.put((view.trend().words(), view.predicted_30min().map(|p| (p.glucose(), p.sd()))));
    hash.put((view.low_probability(), view.low_ahead_signal(), view.minutes_to_low()));
    let later = view.course().map(|course| course.at(Span::from_mins(75)));
    for predicted in
        [view.predicted(Span::from_mins(45)), view.predicted_15min(), view.predicted_60min(), later]
    {
        hash.put(predicted.map(|p| (p.glucose(), p.half_width_50(), p.half_width_95())));
    }
    hash.put(view.direction().map(|d| (d.rate(), d.sd())));
    hash.put((view.calibration_sd(), view.newest(), view.age()));
    hash.put(view.bound().map(bound));
    hash.put(view.shown().map(|shown| (shown.glucose, shown.bound.map(bound), (shown.doubted, shown.age))));
    view.reasons().iter().for_each(|reason| hash.put((reason as u8, reason.name())));
    hash.put((view.grade() as u8, view.grade().name(), view.is_monitoring()));
    rings(hash, view.rings());
    standing(hash, view.alarms());
}

pub fn bound(bound: Bound) -> (bool, Glucose) {
    match bound {
        Bound::AtMost(end) => (false, end),
        Bound::AtLeast(end) => (true, end),
    }
}

/// The alarms that hold.
pub fn standing(hash: &mut Hash, standing: &ActiveAlarms) {
    hash.put(standing.most_urgent().map(|held| (held.ring.kind as u8, held.rings, held.acknowledged)));
    hash.put(standing.get(Kind::Low).map(|held| held.ring.at));
    standing.unacknowledged().iter().for_each(|kind| hash.put(kind as u8));
    standing.kinds().iter().for_each(|kind| hash.put(kind as u8));
    for held in standing.iter() {
        hash.put((held.ring.kind as u8, held.ring.priority as u8, held.ring.at));
        trigger(hash, held.ring.trigger);
    }
    rings(hash, standing.rings());
}

fn trigger(hash: &mut Hash, trigger: Trigger) {
    hash.put((trigger.name(), trigger.glucose()));
    match trigger {
        Trigger::Probability(probability) => hash.put(probability),
        Trigger::Rate(rate) => hash.put(rate),
        Trigger::Silence(span) | Trigger::WearLeft(span) => hash.put(span),
        _ => {}
    }
}

fn rings(hash: &mut Hash, rings: Rings<'_>) {
    hash.put((rings.is_empty(), rings.first().map(|ring| ring.kind as u8)));
    for ring in rings.iter() {
        hash.put((ring.kind as u8, ring.priority as u8, ring.cause as u8));
        hash.put((ring.at, ring.priority.raised() as u8, ring.priority.name()));
        hash.put(ring.cause.name());
        hash.put(Ring::new(ring.kind, ring.priority, ring.cause, ring.trigger, ring.at) == *ring);
        trigger(hash, ring.trigger);
        let pattern = Burst::of(ring.priority);
        hash.put((pattern.pulses().len(), pattern.repeat(), matches!(pattern.colour(), Colour::Red)));
        hash.put((pattern.flash().map(|f| (f.on_ms, f.off_ms)), pattern.is_on(ring.at.secs())));
    }
}

/// What the monitor's stages tell beside the view.
fn state<const N: usize>(hash: &mut Hash, monitor: &Monitor<N>) {
    let now = monitor.timeline().now();
    let alarms = monitor.alarms();
    hash.put((
        alarms.unacknowledged().is_empty(),
        alarms.active().contains(Kind::NoData),
        alarms.is_monitoring(),
    ));
    let quality = monitor.quality();
    hash.put((quality.grade(now) as u8, quality.mean_square_z(), quality.config().least_mg_dl));
    if let Some(wear) = monitor.wear() {
        wears(hash, &wear);
    }
    let calibration = monitor.calibration();
    hash.put((calibration.gain_and_offset(now), calibration.counts(), monitor.gain_and_offset()));
    let estimator = monitor.estimator();
    hash.put((estimator.noise_scale(), estimator.noise_sd(), estimator.bounds()));
    monitor.smoothed().for_each(|s| hash.put((s.at(), s.glucose(), s.sd())));
    hash.put((monitor.forecast().uses_personal(), monitor.forecast().config() == Default::default()));
}

pub fn wears(hash: &mut Hash, wear: &Wear) {
    hash.put((wear.worn(), wear.day(), wear.left()));
    hash.put((wear.warm_up_left(), wear.readings(), wear.errors()));
    hash.put((wear.lost(), wear.planned_cost_per_day(45.0), wear.cost_per_day(45.0)));
}

fn history<const N: usize>(hash: &mut Hash, monitor: &Monitor<N>) {
    let view = monitor.history();
    hash.put((view.len(), view.is_empty()));
    hash.put(view.oldest().map(|r| (r.at(), r.glucose(), r.status() as u8)));
    hash.put(view.newest().map(|r| r.at()));
    view.iter().rev().for_each(|r| hash.put((r.at(), r.glucose(), r.status() as u8)));
    if let Some(newest) = view.newest() {
        let from = newest.at().plus(Span::from_hours(-3));
        view.since(from).for_each(|r| hash.put(r.at()));
        for minutes in [10, 15, 60] {
            let window = Span::from_mins(minutes);
            hash.put(glidepath::rate::two_point(view, window));
            hash.put(glidepath::rate::least_squares(view, window));
            hash.put(glidepath::rate::robust(view, window));
        }
    }
    hash.put((Glucose::try_from(black_box(5.0)), f32::from(mg_dl(0.0))));
}
