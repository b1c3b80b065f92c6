//! The monitor under any settings and any stream, through a device whose clocks are set, whose power is cut and whose
//! person snoozes: nothing is shown as present unless it is, very low readings ring, rings say what caused them, what is
//! answered is finite and in range, and the history is in order.
#![no_main]

use arbitrary::Arbitrary;
use glidepath::alarm::{
    AlarmPlan, AlarmSettings, FLOOR_MG_DL, FLOOR_QUIET, Kind, LimitUnit, MAX_VALUE_AGE, Slot, Trigger,
    Weekdays,
};
use glidepath::estimator::Model;
use glidepath::forecast::ForecastConfig;
use glidepath::quality::Verdict;
use glidepath::trend::Bands;
use glidepath::{
    Fingerstick, Glucose, Instant, Monitor, Rate, Reading, Settings, Span, Status, View, rate, snapshot,
};
use libfuzzer_sys::fuzz_target;

const ROOM: usize = 16;
/// How far apart ticks of a clock on the wall are at most.
const TICK_S: u32 = 300;
/// The floor rings again after this.
const FLOOR_REPEAT: Span = Span::from_mins(5);

/// What a device knows of time.
#[derive(Arbitrary, Clone, Copy, Debug, PartialEq)]
enum Knows {
    /// It counts its own seconds; its clock on the wall may say anything.
    Count,
    /// It has a clock on the wall that is never set.
    Wall,
    /// It has a clock on the wall that anybody sets.
    AnyWall,
}

#[derive(Arbitrary, Debug)]
enum Event {
    /// The next reading so many minutes later, so many mg/dL further.
    Next(u8, i8),
    /// A reading stamped so many seconds from now, in tenths of a mg/dL.
    Reading(i16, u16, u8),
    /// A reading as it never should be.
    Odd(u32, f32, u8),
    Fingerstick(i16, f32),
    /// So many seconds without anything.
    Silence(u16),
    /// A tick when nobody has set the clock on the wall.
    TickWithout,
    Acknowledge,
    Snooze(u8, i32),
    Offset(Option<i32>),
    Started(i32),
    SetWall(i32),
    SetSensorClock(i32),
    /// The power is away for so many seconds; the last bit says whether the state was saved.
    PowerCut(u16),
    Restart,
}

#[derive(Arbitrary, Debug)]
struct Input {
    knows: Knows,
    model: Option<[u8; 6]>,
    bands: Option<[u8; 4]>,
    drift: Option<[u8; 4]>,
    people: bool,
    quality: Option<[u8; 5]>,
    rule: Option<(u8, u8, u8, i32, i32)>,
    /// A rule as written, whether in its range or not.
    raw: Option<(u8, bool, f32, f32, [i32; 4])>,
    profile: Option<(u16, u16)>,
    base: u32,
    events: Vec<Event>,
}

/// The device, and what is true.
struct Device {
    monitor: Monitor<ROOM>,
    knows: Knows,
    base: Instant,
    /// Seconds that truly passed, and those of them before the last power cut.
    passed: u32,
    before_cut: u32,
    /// How far the clock on the wall and the sensor's are off.
    wall: i32,
    sensor: i32,
    /// When the newest reading came, if the power has not been away since.
    came: Option<u32>,
    /// On the monitor's count: the last ring of the floor, the last notice taken of it, and since when every reading
    /// was very low.
    rang: Option<Instant>,
    acknowledged: Option<Instant>,
    very_low: Option<Instant>,
    count: Instant,
    /// The highest limit of low that any profile has.
    low_limit: f32,
    /// Whether the sensor's clock was ever so far off that older stamps were piled up at an end of the epoch.
    piled: bool,
}

impl Device {
    fn new(input: &Input) -> Option<Self> {
        let settings = settings(input)?;
        let (base, plan) = (Instant::from_secs(input.base % 3_000_000_000), settings.alarms);
        let limits =
            (0..4).filter_map(|number| plan.profile(number)).map(|profile| profile.low.limit.mg_dl());
        let low_limit = limits.fold(FLOOR_MG_DL, f32::max);
        let monitor = Monitor::new(settings).ok()?;
        let knows = input.knows;
        let mut device = Self {
            monitor,
            knows,
            base,
            passed: 0,
            before_cut: 0,
            wall: 0,
            sensor: 0,
            came: None,
            rang: None,
            acknowledged: None,
            very_low: None,
            count: Instant::from_secs(0),
            low_limit,
            piled: false,
        };
        device.tick();
        Some(device)
    }

    fn clock(&self, off: i32) -> Instant {
        self.base.plus(Span::from_secs(self.passed as i32)).plus(Span::from_secs(off))
    }

    /// Before each call.
    fn run(&mut self) {
        if self.knows == Knows::Count {
            self.monitor.set_uptime(self.passed - self.before_cut);
        }
        let now = self.monitor.timeline().now();
        assert!(now >= self.count, "the count fell");
        self.count = now;
    }

    fn tick(&mut self) {
        self.run();
        let view = self.monitor.tick(self.clock(self.wall));
        self.answered(&view);
    }

    fn pass(&mut self, secs: u32) {
        let mut left = secs;
        while left > 0 {
            let piece = if self.knows == Knows::Count { left } else { left.min(TICK_S) };
            self.passed += piece;
            left -= piece;
            self.tick();
        }
    }

    fn push(&mut self, at: Instant, mg_dl: f32, status: u8) {
        use Status::{AboveRange, BelowRange, Doubtful, Fault, Normal, WarmUp};
        let status = [Normal, Normal, Normal, BelowRange, AboveRange, WarmUp, Doubtful, Fault]
            [usize::from(status % 8)];
        let Ok(glucose) = Glucose::from_mg_dl(mg_dl) else { return };
        self.run();
        if self.monitor.timeline().is_at_end() {
            self.forget(); // it begins anew
        }
        let reading = Reading::new(at, glucose).with_status(status);
        let view = self.monitor.push(&reading);
        self.came = Some(self.passed);
        self.answered(&view);
        self.heard(&view, &reading);
    }

    /// A very low reading that is believed rings.
    fn heard(&mut self, view: &View, reading: &Reading) {
        let verdict = view.verdict().expect("of the reading");
        let own_word = reading.status() == Status::BelowRange;
        let believed = verdict.is_believed() || verdict == Verdict::Jump && own_word;
        let calibrated = view.newest().map(|(_, glucose)| glucose.mg_dl());
        let least = calibrated.map_or(f32::MAX, |value| value.min(reading.glucose().mg_dl()));
        let very_low = own_word || least <= FLOOR_MG_DL;
        if !believed || !very_low || view.age().is_none_or(|age| age >= MAX_VALUE_AGE) {
            self.very_low = None;
            return;
        }
        let now = self.count;
        let since = *self.very_low.get_or_insert(now);
        let within = |moment: Option<Instant>, span: Span| moment.is_some_and(|then| now.since(then) < span);
        let held = view.alarms().get(Kind::Floor).expect("the floor holds");
        let told = held.rings || within(self.rang, FLOOR_REPEAT) || within(self.acknowledged, FLOOR_QUIET);
        assert!(told, "nobody was told of {reading:?}: {held:?}");
        let silent_since = self.rang.map_or(since, |rang| rang.max(since));
        assert!(
            held.rings || now.since(silent_since) < FLOOR_QUIET,
            "silent since {silent_since:?}: {held:?}"
        );
    }

    /// What holds of every answer.
    fn answered(&mut self, view: &View) {
        let now = self.monitor.timeline().now();
        assert!(now >= self.count, "the count fell");
        self.count = now;
        sound(view);
        let fresh = view.age().is_some_and(|age| age < MAX_VALUE_AGE);
        assert!(view.age().is_none_or(|age| age >= Span::ZERO));
        assert_eq!(view.shown().is_some(), fresh);
        assert!(fresh || !view.is_monitoring() && view.direction().is_none(), "{view:?}");
        if fresh {
            let came = self.came.expect("shown without a reading, or from before the power was away");
            let most = MAX_VALUE_AGE.secs() as u32 + if self.knows == Knows::Wall { TICK_S } else { 0 };
            if self.knows != Knows::AnyWall {
                assert!(self.passed - came < most, "shown {} s after it came", self.passed - came);
            }
        }
        for ring in view.rings().iter() {
            let held = view.alarms().get(ring.kind).expect("what rings holds");
            assert!(held.rings && !held.acknowledged, "{held:?}");
            let limit = match ring.kind {
                Kind::Floor => FLOOR_MG_DL,
                Kind::Low => self.low_limit,
                _ => continue,
            };
            match (ring.trigger, ring.trigger.glucose()) {
                (Trigger::BelowRange(end), _) => {
                    assert!(view.bound().is_some() || !fresh, "{end:?}"); // its word is enough
                }
                (_, Some(glucose)) => assert!(glucose.mg_dl() <= limit, "{ring:?}"),
                (trigger, None) => {
                    assert_eq!(trigger, Trigger::Unknown);
                    assert!(!fresh, "{ring:?}");
                }
            }
        }
        if view.rings().iter().any(|ring| ring.kind == Kind::Floor) {
            self.rang = Some(now);
        }
        let mut stamps = self.monitor.history().iter().map(|reading| reading.at().secs());
        self.piled |= stamps.any(|stamp| stamp == 0 || stamp == u32::MAX);
        state(&self.monitor, self.piled);
    }

    fn heed(&mut self) {
        self.acknowledged = Some(self.monitor.timeline().now());
    }

    /// The power is cut; afterwards no age is known.
    fn cut(&mut self, saved: bool) {
        if saved {
            let mut buffer = [0; snapshot::bytes_needed(ROOM)];
            let length = snapshot::save(&mut self.monitor, &mut buffer).expect("room");
            snapshot::restore(&mut self.monitor, &buffer[..length]).expect("just saved");
        } else {
            self.monitor.power_returned();
        }
        (self.came, self.before_cut) = (None, self.passed);
    }

    fn forget(&mut self) {
        (self.came, self.rang, self.acknowledged, self.very_low) = (None, None, None, None);
        self.count = Instant::from_secs(0);
    }

    fn live(&mut self, event: &Event, last: &mut f32) {
        match *event {
            Event::Next(minutes, change) => {
                self.pass(60 * (1 + u32::from(minutes % 16)));
                *last = (*last + f32::from(change) / 4.0).clamp(39.0, 401.0);
                self.push(self.clock(self.sensor), *last, 0);
            }
            Event::Reading(seconds, tenths, status) => {
                let at = self.clock(self.sensor).plus(Span::from_secs(i32::from(seconds)));
                self.push(at, f32::from(tenths % 6500) / 10.0, status);
            }
            Event::Odd(at, mg_dl, status) => self.push(Instant::from_secs(at), mg_dl, status),
            Event::Fingerstick(seconds, mg_dl) => {
                if let Ok(glucose) = Glucose::from_mg_dl(mg_dl) {
                    self.run();
                    let at = self.clock(self.wall).plus(Span::from_secs(i32::from(seconds)));
                    let _ = self.monitor.fingerstick(&Fingerstick::new(at, glucose));
                    self.very_low = None; // it may have raised the value
                }
            }
            Event::Silence(seconds) => self.pass(u32::from(seconds % 20_000)),
            Event::TickWithout => {
                self.run();
                let view = self.monitor.tick(None);
                self.answered(&view);
            }
            Event::Acknowledge => {
                self.monitor.acknowledge();
                self.heed();
            }
            Event::Snooze(kind, seconds) => {
                let kind = Kind::ALL[usize::from(kind) % Kind::ALL.len()];
                let span = self.monitor.snooze(kind, Span::from_secs(seconds));
                let longest = if kind <= Kind::Low { FLOOR_QUIET } else { Span::from_hours(8) };
                assert!(Span::ZERO <= span && span <= longest);
                if kind == Kind::Floor {
                    self.heed();
                }
            }
            Event::Offset(offset) => self.monitor.set_utc_offset(offset.map(Span::from_secs)),
            Event::Started(seconds) => {
                self.run();
                let at = self.clock(self.sensor).plus(Span::from_secs(seconds));
                self.monitor.sensor_started(at);
            }
            Event::SetWall(seconds) if self.knows != Knows::Wall => self.wall = seconds,
            Event::SetWall(_) => {}
            Event::SetSensorClock(seconds) => self.sensor = seconds,
            Event::PowerCut(seconds) => {
                self.passed += u32::from(seconds);
                self.cut(seconds & 1 == 1);
                self.tick();
            }
            Event::Restart => {
                self.monitor.restart();
                self.forget();
            }
        }
    }
}

fuzz_target!(|input: Input| {
    let Some(mut device) = Device::new(&input) else { return };
    let mut last = 120.0_f32;
    for event in &input.events {
        device.live(event, &mut last);
    }
});

/// A number of a range, by equal factors if it spans many.
fn of(byte: u8, low: f32, high: f32) -> f32 {
    let share = f32::from(byte) / 255.0;
    if low > 0.0 && high > 20.0 * low { low * (high / low).powf(share) } else { low + share * (high - low) }
}

/// The default, with what the input changes: what the gates of each part let through.
fn settings(input: &Input) -> Option<Settings> {
    let mut settings = Settings::default();
    if let Some([lag, time, drive, coloured, coloured_time, white]) = input.model {
        let (lag, drive) = (of(lag, 0.5, 30.0), of(drive, 1.1e-4, 9.9));
        let time = of(time, 1.3 * lag, 999.0);
        let sensor = (of(coloured, 0.0, 60.0), of(coloured_time, 1.1, 999.0), of(white, 0.11, 59.0));
        let span = |minutes: f32| Span::from_secs((minutes * 60.0) as i32);
        let model = Model::linear().with_rate_time(Span::from_mins(1000)).and_then(|model| {
            let model = model.with_lag(span(lag))?.with_rate_time(span(time))?.with_process_noise(drive)?;
            model.with_coloured(sensor.0, span(sensor.1))?.with_white_sd(sensor.2)
        });
        settings.model = model.unwrap_or_default();
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
        let time = |byte| Span::from_mins(of(byte, 61.0, 2.5e5) as i32);
        let drift = settings.drift.with_gain(gain, time(gain_time)).expect("in range");
        settings.drift = drift.with_offset(offset, time(offset_time)).expect("in range");
    }
    if input.people {
        settings.forecast = ForecastConfig::population();
    }
    if let Some([least, greatest, jump, pressure, noisy]) = input.quality {
        let quality = &mut settings.quality;
        quality.least_mg_dl = of(least, 0.0, 29.9);
        quality.greatest_mg_dl = of(greatest, 201.0, 1999.0);
        quality.jump_sd = of(jump, 2.0, 9.9);
        quality.pressure_share = of(pressure, 0.05, 0.49);
        quality.noisy_scale = of(noisy, 1.0, 15.9);
    }
    let mut alarms = AlarmSettings::default();
    if let Some((kind, limit, hysteresis, delay, repeat)) = input.rule {
        let kind = Kind::ALL[1 + usize::from(kind) % (Kind::ALL.len() - 1)];
        let (least, greatest) = kind.info().limits;
        let (mut rule, unit) = (alarms.rule(kind), kind.info().unit);
        let widest = if unit == LimitUnit::Probability { 0.5 } else { 60.0 };
        rule.on = true;
        rule.limit = unit.limit(of(limit, least, greatest)).ok()?;
        rule.hysteresis = unit.limit(of(hysteresis, 0.0, widest)).ok()?;
        (rule.delay, rule.repeat) = (Span::from_secs(delay % 90_000), Span::from_secs(repeat % 90_000));
        alarms.set_rule(kind, rule).ok()?;
        if alarms.checked().is_err() {
            alarms = AlarmSettings::default();
        }
    }
    if let Some((kind, on, limit, hysteresis, spans)) = input.raw {
        let kind = Kind::ALL[1 + usize::from(kind) % (Kind::ALL.len() - 1)];
        let [delay, repeat, quiet, escalate] = spans.map(Span::from_secs);
        let (mut rule, unit) = (alarms.rule(kind), kind.info().unit);
        rule.limit = unit.limit(limit).unwrap_or(rule.limit);
        rule.hysteresis = unit.limit(hysteresis).unwrap_or(rule.hysteresis);
        (rule.on, rule.delay, rule.repeat) = (on, delay, repeat);
        (rule.quiet, rule.escalate) = (quiet, escalate);
        alarms.set_rule(kind, rule).ok()?;
    }
    settings.alarms = AlarmPlan::new(alarms).unwrap_or_default();
    if let Some((from, to)) = input.profile {
        let alarms = *settings.alarms.profile(0)?;
        let mut by_night = alarms;
        by_night.low.on = false;
        let profile = settings.alarms.add_profile(by_night).ok()?;
        let _ = settings.alarms.add_slot(Slot { days: Weekdays::ALL, from, to, profile });
    }
    Some(settings)
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
        within(e.moving_probability(), 0.0, 1.0);
        assert!(e.interstitial_difference().is_finite());
    }
    let known = view.predicted_30min().is_some();
    assert_eq!(known, view.low_probability().is_some());
    assert_eq!(known, view.low_ahead_signal().is_some());
    for minutes in [i32::MIN, 5, 30, 120, i32::MAX] {
        if let Some(predicted) = view.predicted(Span::from_mins(minutes)) {
            within(predicted.glucose().mg_dl(), 0.0, 2000.0);
            within(predicted.sd(), f32::MIN_POSITIVE, 1e6);
            within(predicted.half_width_50(), f32::MIN_POSITIVE, predicted.half_width_95());
            within(predicted.half_width_95(), f32::MIN_POSITIVE, 1e6);
        }
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
    if let Some(shown) = view.shown() {
        within(shown.glucose.mg_dl(), 0.0, 2000.0);
    }
}

fn state(monitor: &Monitor<ROOM>, piled: bool) {
    let history = monitor.history();
    assert!(history.len() <= ROOM);
    let pairs = history.iter().zip(history.iter().skip(1));
    pairs.for_each(|(a, b)| assert!(a.at() < b.at() || piled && a.at() == b.at(), "out of order"));
    for rate in [rate::two_point, rate::least_squares, rate::robust] {
        if let Some(rate) = rate(history, Span::from_mins(30)) {
            within(rate.mg_dl_per_min(), -100.0, 100.0);
        }
    }
    within(monitor.estimator().noise_scale(), 0.2, 4.1);
    let (gain, offset) = monitor.gain_and_offset();
    within(gain, 0.6, 1.6);
    within(offset, -40.0, 40.0);
    for point in monitor.smoothed() {
        within(point.glucose().mg_dl(), 0.0, 2000.0);
        within(point.sd(), 0.0, 1e6);
    }
}
