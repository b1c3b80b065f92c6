//! What must always hold with two sensors worn at once, over random days: each sensor has its own clock, that is set or
//! reads nonsense, its own failures and silences; wrong fingersticks, presses, power cuts with and without a snapshot, new
//! sensors.
//!
//! `GLIDEPATH_DAYS=50000 cargo test --release --test any_pair -- --nocapture` runs so many; 60 otherwise.
//! `GLIDEPATH_SEED=591798` begins with that one.

use glidepath::alarm::{FLOOR_MG_DL, Kind, Priority};
use glidepath::simulate::Random;
use glidepath::{
    Agreement, Fingerstick, Glucose, Instant, PairMonitor, PairView, Reading, Settings, Side, Span, Status,
    snapshot,
};

const ROOM: usize = 24;

fn glucose(mg_dl: f32) -> Glucose {
    Glucose::from_mg_dl(mg_dl.clamp(0.0, 1000.0)).unwrap()
}

/// One sensor: what is wrong with it, and what came of it.
#[derive(Default)]
struct Worn {
    /// How far its clock is off, minutes.
    off: i32,
    silent_until: i32,
    /// A failure and its end: a leap, a factor, a value that stands still.
    fails_until: i32,
    leap: f32,
    factor: f32,
    stuck: Option<f32>,
    /// The minute of its last reading that was placed, and how many in a row said very low.
    came: Option<i32>,
    very_low: u32,
    warming: bool,
}

struct Day {
    random: Random,
    monitor: PairMonitor<ROOM>,
    worn: [Worn; 2],
    minute: i32,
    base: Instant,
    started: i32,
    wall_off: i32,
    truth: f32,
    drift: f32,
    rang_low: i32,
    disturbed: i32,
    story: Vec<String>,
}

impl Day {
    fn new(seed: u64) -> Self {
        let mut random = Random::new(seed, 1);
        let settings = Settings::default();
        let mut monitor = PairMonitor::new(settings, settings).unwrap();
        if random.bernoulli(0.5) {
            monitor.set_utc_offset(Some(Span::from_hours(random.between(-12.0, 12.0) as i32)));
        }
        Self {
            monitor,
            worn: [0, 1].map(|_| Worn { factor: 1.0, ..Worn::default() }),
            minute: 0,
            base: Instant::from_secs(1_700_000_000),
            started: 0,
            wall_off: 0,
            truth: random.between(60.0, 250.0),
            drift: 0.0,
            rang_low: -1000,
            disturbed: -1000,
            story: Vec::new(),
            random,
        }
    }

    fn at(&self, off: i32) -> Instant {
        self.base.plus(Span::from_mins(self.minute.saturating_add(off)))
    }

    fn live(&mut self) {
        let mut target = 120.0;
        while self.minute < 1440 {
            self.minute += 1;
            if self.random.bernoulli(0.005) {
                target = if self.random.bernoulli(0.4) { 42.0 } else { self.random.between(45.0, 260.0) };
            }
            self.drift +=
                0.05 * (0.02 * (target - self.truth) - self.drift) + self.random.between(-0.05, 0.05);
            self.truth = (self.truth + self.drift).clamp(35.0, 380.0);
            self.fate();
            self.monitor.set_uptime((self.minute - self.started) as u32 * 60);
            let unset = self.random.bernoulli(0.1);
            let now = if unset { None } else { Some(self.at(self.wall_off)) };
            let mut view = self.monitor.tick(now);
            self.heard(&view);
            for side in Side::BOTH {
                if self.minute % 5 == 2 * side as i32 {
                    self.reading(side);
                }
            }
            self.person();
            view = self.monitor.tick(None);
            self.heard(&view);
            self.check(&view);
        }
    }

    fn fate(&mut self) {
        let side = if self.random.bernoulli(0.5) { Side::First } else { Side::Second };
        let minute = self.minute;
        let far = self.random.between(5.0, 3000.0) as i32;
        let sign = if self.random.bernoulli(0.5) { far } else { -far };
        let kind = (self.random.uniform() * 1500.0) as u32;
        let lasts = minute + self.random.between(10.0, 400.0) as i32;
        let leap = self.random.between(-80.0, 80.0);
        let worn = &mut self.worn[side as usize];
        match kind {
            0 => worn.off = sign,
            1 => (self.worn[0].off, self.worn[1].off, self.wall_off) = (sign, sign, sign),
            2 => self.wall_off = sign,
            3..=5 => worn.silent_until = lasts,
            6..=8 => (worn.fails_until, worn.leap) = (lasts, leap),
            9..=11 => (worn.fails_until, worn.factor) = (lasts, 1.0 + leap / 160.0),
            12..=13 => (worn.fails_until, worn.stuck) = (lasts, Some(self.truth)),
            14 => {
                (worn.came, worn.very_low, worn.warming) = (None, 0, true);
                let off = if self.random.bernoulli(0.5) { sign } else { 0 };
                let at = self.at(off);
                self.monitor.sensor_started(side, at);
            }
            15 => self.power(),
            _ => return,
        }
        self.disturbed = minute;
        self.story.push(format!("{minute} {kind} {side} {sign}"));
    }

    /// The power was away: what was kept comes back, or the memory outlived it.
    fn power(&mut self) {
        let mut room = [0; snapshot::pair_bytes_needed(ROOM)];
        let length = snapshot::save_pair(&mut self.monitor, &mut room).unwrap();
        if self.random.bernoulli(0.5) {
            snapshot::restore_pair(&mut self.monitor, &room[..length]).unwrap();
        } else {
            self.monitor.power_returned();
        }
        self.started = self.minute;
        for worn in &mut self.worn {
            (worn.came, worn.very_low) = (None, 0);
        }
    }

    fn reading(&mut self, side: Side) {
        let minute = self.minute;
        let noise = self.random.between(-4.0, 4.0);
        let worn = &mut self.worn[side as usize];
        if minute < worn.silent_until {
            return;
        }
        if minute >= worn.fails_until {
            (worn.leap, worn.factor, worn.stuck) = (0.0, 1.0, None);
        }
        let value = worn.stuck.unwrap_or(self.truth * worn.factor + worn.leap + noise).round();
        let (value, status) =
            if value < 40.0 { (40.0, Status::BelowRange) } else { (value.min(400.0), Status::Normal) };
        let off = worn.off;
        let reading = Reading::new(self.at(off), glucose(value)).with_status(status);
        let view = self.monitor.push(side, &reading);
        self.heard(&view);
        let worn = &mut self.worn[side as usize];
        if worn.came.is_none_or(|came| minute - came > 6) {
            worn.very_low = 0; // after a silence they begin anew
        }
        worn.warming &= !view.fused().verdict().is_some_and(|verdict| verdict.is_believed());
        let placed = view.side(side).age.is_some_and(|age| age < Span::from_mins(16));
        if placed {
            worn.came = Some(minute);
        }
        let low = value <= FLOOR_MG_DL && placed && !worn.warming;
        worn.very_low = if low { worn.very_low + 1 } else { 0 };
    }

    fn person(&mut self) {
        match (self.random.uniform() * 400.0) as u32 {
            0 => self.monitor.acknowledge(),
            1 => {
                for kind in Kind::ALL {
                    let span = Span::from_mins(self.random.between(1.0, 600.0) as i32);
                    let _ = self.monitor.snooze(kind, span);
                }
            }
            2 | 3 => {
                let wrong =
                    if self.random.bernoulli(0.5) { self.random.between(20.0, 500.0) } else { self.truth };
                let _ = self.monitor.fingerstick(&Fingerstick::new(self.at(self.wall_off), glucose(wrong)));
                self.story.push(format!("{} stick {wrong:.0}", self.minute));
            }
            _ => {}
        }
    }

    fn heard(&mut self, view: &PairView) {
        for ring in view.fused().rings().iter() {
            if matches!(ring.kind, Kind::Floor | Kind::Low | Kind::Doubt) {
                self.rang_low = self.minute;
            }
        }
    }

    fn check(&self, view: &PairView) {
        let told = || format!("{:?}\nat {}: truth {}, {view:#?}", self.story, self.minute, self.truth);
        let fused = view.fused();
        // numbers are numbers
        if let Some(estimate) = fused.estimate() {
            let glucose = estimate.glucose().mg_dl();
            assert!((0.0..=1000.0).contains(&glucose) && estimate.glucose_sd() > 0.0, "{}", told());
            assert!(
                estimate.glucose_sd() < 500.0 && estimate.rate().mg_dl_per_min().abs() <= 50.0,
                "{}",
                told()
            );
            assert!(fused.calibration_sd().is_some_and(|sd| sd.is_finite() && sd < 500.0), "{}", told());
        }
        for probability in [fused.low_probability(), fused.low_ahead_signal()].into_iter().flatten() {
            assert!((0.0..=1.0).contains(&probability), "{}", told());
        }
        let [first, second] = Side::BOTH.map(|side| view.side(side));
        assert!((0.0..=1.0).contains(&first.weight) && (0.0..=1.0).contains(&second.weight), "{}", told());
        assert!(first.offset.abs() < 500.0 && second.offset.abs() < 500.0, "{}", told());
        // not knowing is never shown as knowing
        let silent =
            self.worn.iter().filter_map(|worn| worn.came).max().map_or(1000, |came| self.minute - came);
        if silent > 23 {
            assert!(!fused.is_monitoring() && fused.shown().is_none(), "calm after {silent} min: {}", told());
            assert_eq!(view.agreement(), Agreement::Neither, "{}", told());
        }
        // while both are apart nothing is calm
        if view.agreement() == Agreement::Apart {
            assert!(!fused.is_monitoring(), "{}", told());
        }
        // a very low that either tells is heard and shown or marked, whatever the other reads
        for worn in &self.worn {
            let present = worn.came.is_some_and(|came| self.minute - came < 6);
            if worn.very_low >= 6 && present && self.minute - self.disturbed > 40 {
                let began = self.minute - 5 * worn.very_low as i32;
                assert!(self.minute - self.rang_low.max(began) <= 36, "not heard: {}", told());
                let shown = fused.shown();
                let marked = shown.is_some_and(|shown| {
                    shown.glucose.mg_dl() <= 75.0 || shown.doubted || shown.bound.is_some()
                });
                assert!(
                    marked && !fused.is_monitoring() || shown.is_some_and(|s| s.glucose.mg_dl() <= 75.0),
                    "{}",
                    told()
                );
            }
        }
        for held in fused.alarms().iter() {
            assert!(held.ring.kind != Kind::Floor || !held.rings || held.ring.priority == Priority::High);
        }
    }
}

#[test]
fn what_must_always_hold_holds_on_any_day_with_two_sensors() {
    let days: u64 = std::env::var("GLIDEPATH_DAYS").ok().and_then(|days| days.parse().ok()).unwrap_or(60);
    let first: u64 = std::env::var("GLIDEPATH_SEED").ok().and_then(|seed| seed.parse().ok()).unwrap_or(0);
    let threads = std::thread::available_parallelism().map_or(1, |n| n.get() as u64);
    let day = |seed: u64| {
        let run = std::panic::catch_unwind(|| Day::new(seed).live());
        assert!(run.is_ok(), "seed {seed}");
    };
    std::thread::scope(|scope| {
        for thread in 0..threads {
            scope.spawn(move || {
                (first..first + days).skip(thread as usize).step_by(threads as usize).for_each(day)
            });
        }
    });
    println!("{days} random days");
}

/// With one sensor silent for ever the pair is the other one's monitor: what `safety.rs` holds of that holds here.
#[test]
fn with_one_sensor_lows_ring_as_its_own_monitor_rings() {
    for seed in 0..if cfg!(debug_assertions) { 20 } else { 400 } {
        let mut random = Random::new(seed, 7);
        let settings = Settings::default();
        let mut pair = PairMonitor::<ROOM>::new(settings, settings).unwrap();
        let mut own = glidepath::Monitor::<ROOM>::new(settings).unwrap();
        let side = if seed % 2 == 0 { Side::First } else { Side::Second };
        let (mut value, mut drift, mut off) = (110.0_f32, 0.0_f32, 0);
        for minute in 0..1440_u32 {
            pair.set_uptime(minute * 60);
            own.set_uptime(minute * 60);
            let wall = Instant::from_secs(1_700_000_000 + minute * 60);
            let stamp = wall.plus(Span::from_mins(off));
            if random.bernoulli(0.003) {
                off = random.between(-3000.0, 3000.0) as i32;
            }
            drift = 0.95 * drift + random.between(-0.35, 0.32);
            value = (value + drift).clamp(38.0, 260.0);
            let (both, one) = if minute % 5 == 0 && random.bernoulli(0.95) {
                let status = if value < 40.0 { Status::BelowRange } else { Status::Normal };
                let reading = Reading::new(stamp, glucose(value.max(40.0).round())).with_status(status);
                (pair.push(side, &reading), own.push(&reading))
            } else {
                (pair.tick(wall), own.tick(wall))
            };
            for kind in [Kind::Floor, Kind::Low, Kind::NoData] {
                let told = |view: &glidepath::View| {
                    view.alarms().get(kind).map(|held| (held.rings, held.acknowledged, held.ring.priority))
                };
                assert_eq!(told(both.fused()), told(&one), "{seed}, {minute}: {kind:?}");
            }
            assert_eq!(both.fused().age(), one.age(), "{seed}, {minute}");
            if random.bernoulli(0.004) {
                pair.acknowledge();
                own.acknowledge();
            }
        }
    }
}
