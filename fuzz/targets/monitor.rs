//! The monitor under any settings and any stream: what it answers is finite, in range and in order, the room
//! it takes is fixed, and the floor rings.
#![no_main]

use arbitrary::Arbitrary;
use glidepath::alarm::{AlarmPlan, AlarmSettings, FLOOR_MG_DL, Kind, Rule};
use glidepath::calibration::Drift;
use glidepath::estimator::Model;
use glidepath::forecast::ForecastConfig;
use glidepath::quality::QualityConfig;
use glidepath::trend::Bands;
use glidepath::{Fingerstick, Glucose, Instant, Monitor, Rate, Reading, Settings, Span, Status, View};
use libfuzzer_sys::fuzz_target;

const ROOM: usize = 16;

#[derive(Arbitrary, Debug)]
enum Event {
    /// The next reading so many minutes later, so many mg/dL further.
    Next(u8, i8),
    /// A reading so many seconds after the newest, in tenths of a mg/dL.
    Reading(i16, u16, u8),
    /// A reading as it never should be.
    Odd(u32, f32, u8),
    Fingerstick(i16, f32),
    Tick(i32),
    Acknowledge,
    Snooze(u8, i32),
    Offset(Option<i32>),
    Started(i16),
}

#[derive(Arbitrary, Debug)]
struct Input {
    model: Option<[u8; 6]>,
    bands: Option<[u8; 4]>,
    drift: Option<[u8; 4]>,
    people: bool,
    quality: Option<[u8; 5]>,
    rule: Option<(u8, u8, u8, i32, i32)>,
    base: u32,
    events: Vec<Event>,
}

fuzz_target!(|input: Input| {
    let settings = settings(&input);
    let Ok(mut monitor) = Monitor::<ROOM>::new(settings) else { return };
    let mut now = Instant::from_secs(input.base);
    let mut last = 120.0_f32;
    let (mut told, mut snoozed) = (false, false);
    for event in &input.events {
        let view = match *event {
            Event::Next(minutes, change) => {
                now = now.plus(Span::from_mins(1 + i32::from(minutes % 16)));
                last = (last + f32::from(change) / 4.0).clamp(39.0, 401.0);
                push(&mut monitor, now, last, 0)
            }
            Event::Reading(seconds, tenths, status) => {
                now = now.plus(Span::from_secs(i32::from(seconds)));
                push(&mut monitor, now, f32::from(tenths % 6500) / 10.0, status)
            }
            Event::Odd(at, mg_dl, status) => push(&mut monitor, Instant::from_secs(at), mg_dl, status),
            Event::Fingerstick(seconds, mg_dl) => {
                if let Ok(glucose) = Glucose::from_mg_dl(mg_dl) {
                    let at = now.plus(Span::from_secs(i32::from(seconds)));
                    let _ = monitor.fingerstick(&Fingerstick::new(at, glucose));
                }
                None
            }
            Event::Tick(seconds) => Some((monitor.tick(now.plus(Span::from_secs(seconds))), None)),
            Event::Acknowledge => {
                monitor.acknowledge();
                None
            }
            Event::Snooze(kind, seconds) => {
                let kind = Kind::ALL[usize::from(kind) % Kind::ALL.len()];
                let span = monitor.snooze(kind, Span::from_secs(seconds));
                assert!(Span::ZERO <= span && span <= Span::from_hours(8));
                snoozed |= kind == Kind::Floor;
                None
            }
            Event::Offset(offset) => {
                monitor.set_utc_offset(offset.map(Span::from_secs));
                None
            }
            Event::Started(seconds) => {
                monitor.sensor_started(now.plus(Span::from_secs(i32::from(seconds))));
                None
            }
        };
        if let Some((view, reading)) = view {
            sound(&view);
            let rang = view.rings().iter().any(|ring| ring.kind == Kind::Floor);
            if let Some(reading) = reading
                && view.verdict().is_some_and(|verdict| verdict.is_believed())
                && view.at() == reading
                && let Some((at, shown)) = view.newest()
                && at == reading
                && shown.mg_dl() <= FLOOR_MG_DL
            {
                assert!(view.active().contains(Kind::Floor), "{shown:?} holds no floor");
                assert!(rang || told || snoozed, "nobody was told of {shown:?}");
            }
            told = (told || rang) && view.active().contains(Kind::Floor);
        }
        state(&monitor);
    }
});

fn push(monitor: &mut Monitor<ROOM>, at: Instant, mg_dl: f32, status: u8) -> Option<(View, Option<Instant>)> {
    use Status::{AboveRange, BelowRange, Doubtful, Fault, Normal, WarmUp};
    let status =
        [Normal, Normal, Normal, BelowRange, AboveRange, WarmUp, Doubtful, Fault][usize::from(status % 8)];
    let glucose = Glucose::from_mg_dl(mg_dl).ok()?;
    Some((monitor.push(&Reading::new(at, glucose).with_status(status)), Some(at)))
}

/// A number of a range, by equal factors if it spans many.
fn of(byte: u8, low: f32, high: f32) -> f32 {
    let share = f32::from(byte) / 255.0;
    if low > 0.0 && high > 20.0 * low { low * (high / low).powf(share) } else { low + share * (high - low) }
}

/// The default, with what the input changes; all within their ranges, or left out.
fn settings(input: &Input) -> Settings {
    let mut settings = Settings::default();
    if let Some([lag, time, drive, coloured, coloured_time, white]) =
        input.model
    {
        let (lag, drive) = (of(lag, 0.5, 30.0), of(drive, 1.1e-4, 9.9));
        let time = of(time, 1.3 * lag, 999.0);
        let sensor = (of(coloured, 0.0, 60.0), of(coloured_time, 1.1, 999.0), of(white, 0.11, 59.0));
        let model = Model::new(lag, time, drive, sensor.0, sensor.1, sensor.2).expect("in range");
        settings.model = model;
    }
    if let Some([moderate, fast, margin, widest]) = input.bands
        && let Ok(moderate) = Rate::from_mg_dl_per_min(of(moderate, 0.1, 3.0))
        && let Ok(fast) = Rate::from_mg_dl_per_min(of(fast, 0.1, 6.0))
    {
        settings.bands =
            Bands::new(moderate, fast, of(margin, 0.0, 1.0), of(widest, 0.1, 10.0)).unwrap_or_default();
    }
    if let Some([gain_sd, gain_time, offset_sd, offset_time]) = input.drift {
        let (gain, offset) = (of(gain_sd, 0.0011, 0.49), of(offset_sd, 0.11, 39.0));
        settings.drift = Drift::new(gain, of(gain_time, 61.0, 9.9e5), offset, of(offset_time, 61.0, 9.9e5))
            .expect("in range");
    }
    if input.people {
        settings.forecast = ForecastConfig::people();
    }
    if let Some([least, greatest, jump, pressure, noisy]) = input.quality {
        settings.quality = QualityConfig {
            least_mg_dl: of(least, 0.0, 99.0),
            greatest_mg_dl: of(greatest, 201.0, 1999.0),
            jump_sd: of(jump, 2.0, 9.9),
            pressure_share: of(pressure, 0.05, 0.49),
            noisy_scale: of(noisy, 1.0, 15.9),
            ..settings.quality
        };
    }
    if let Some((kind, limit, hysteresis, delay, repeat)) = input.rule {
        let mut alarms = AlarmSettings::default();
        let (kind, rule) = match kind % 8 {
            0 => (Kind::Low, &mut alarms.low),
            1 => (Kind::LowAhead, &mut alarms.low_ahead),
            2 => (Kind::SteepFall, &mut alarms.steep_fall),
            3 => (Kind::NoData, &mut alarms.no_data),
            4 => (Kind::High, &mut alarms.high),
            5 => (Kind::SteepRise, &mut alarms.steep_rise),
            6 => (Kind::Doubt, &mut alarms.doubt),
            _ => (Kind::WearEnd, &mut alarms.wear_end),
        };
        let (least, greatest) = kind.limit_range();
        *rule = Rule {
            on: true,
            limit: of(limit, least, greatest),
            hysteresis: of(hysteresis, 0.0, 60.0),
            delay: Span::from_secs(delay % 90_000),
            repeat: Span::from_secs(repeat % 90_000),
            ..*rule
        };
        settings.alarms = AlarmPlan::new(alarms).unwrap_or_default();
    }
    settings
}

fn within(value: f32, low: f32, high: f32) {
    assert!((low..=high).contains(&value), "{value} is not in {low} to {high}");
}

fn sound(view: &View) {
    if let Some(e) = view.estimate() {
        within(e.glucose().mg_dl(), 0.0, 2000.0);
        within(e.rate().mg_dl_per_min(), -100.0, 100.0);
        within(e.slow_rate().mg_dl_per_min(), -100.0, 100.0);
        within(e.glucose_sd(), f32::MIN_POSITIVE, 1e6);
        within(e.rate_sd(), f32::MIN_POSITIVE, 1e6);
        within(e.moving(), 0.0, 1.0);
        assert!(e.behind().is_finite());
    }
    let known = view.predicted_30min().is_some();
    assert_eq!(known, view.low_probability().is_some());
    assert_eq!(known, view.low_ahead_signal().is_some());
    if let Some(predicted) = view.predicted_30min() {
        within(predicted.glucose().mg_dl(), 0.0, 2000.0);
        within(predicted.sd(), f32::MIN_POSITIVE, 1e6);
    }
    if let Some(probability) = view.low_probability() {
        within(probability, 0.0, 1.0);
    }
    if let Some(minutes) = view.minutes_to_low() {
        within(minutes, 0.0, 60.0);
    }
    if let Some(sd) = view.calibration_sd() {
        within(sd, 0.0, 1e6);
    }
    if let Some(signal) = view.low_ahead_signal() {
        within(signal, 0.0, 1.0);
    }
    if let Some(direction) = view.direction() {
        within(direction.rate().mg_dl_per_min(), -100.0, 100.0);
        within(direction.sd(), f32::MIN_POSITIVE, 200.0);
    }
    for ring in view.rings().iter() {
        assert!(view.active().contains(ring.kind), "{ring:?} rings and does not hold");
    }
    if view.sees() {
        assert!(view.newest().is_some());
    }
}

fn state(monitor: &Monitor<ROOM>) {
    let history = monitor.history();
    assert!(history.len() <= ROOM);
    assert!(history.iter().zip(history.iter().skip(1)).all(|(a, b)| a.at() < b.at()), "out of order");
    within(monitor.estimator().noise_scale(), 0.2, 4.1);
    within(monitor.forecast().share(), 0.04, 1.31);
    for point in monitor.smoothed() {
        within(point.glucose().mg_dl(), 0.0, 2000.0);
        within(point.sd(), 0.0, 1e6);
    }
}
