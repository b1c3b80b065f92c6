//! What must always hold, over random days of a device beside a person: clocks that are set, stop or read nonsense,
//! wrong fingersticks, any settings that are accepted, presses, power cuts, lost readings, pressure, warm-up.
//!
//! `GLIDEPATH_DAYS=1000000 cargo test --release --test any_day -- --nocapture` runs a million of them; 100 otherwise.
//! `GLIDEPATH_SEED=591798` begins with that one.

use glidepath::alarm::{AlarmPlan, AlarmSettings, FLOOR_MG_DL, Kind, Priority};
use glidepath::quality::Verdict;
use glidepath::{Fingerstick, Glucose, Instant, Monitor, Reading, Settings, Span, Status, View};
use std::sync::atomic::{AtomicU64, Ordering::Relaxed};

/// SplitMix64: Steele, Lea and Flood (2014), OOPSLA; constants from memory.
struct Dice(u64);

impl Dice {
    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    fn unit(&mut self) -> f32 {
        (self.next() >> 40) as f32 / (1_u64 << 24) as f32
    }

    fn one_in(&mut self, n: u64) -> bool {
        self.next().is_multiple_of(n)
    }

    fn between(&mut self, low: i32, high: i32) -> i32 {
        low + (self.next() % (high - low + 1) as u64) as i32
    }

    fn within(&mut self, low: f32, high: f32) -> f32 {
        low + (high - low) * self.unit()
    }
}

fn glucose(mg_dl: f32) -> Glucose {
    Glucose::from_mg_dl(mg_dl.clamp(0.0, 1000.0)).unwrap()
}

/// Settings as wild as they are accepted.
fn settings(dice: &mut Dice) -> AlarmSettings {
    loop {
        let mut settings = AlarmSettings::default();
        for kind in Kind::ALL {
            let (least, greatest) = kind.info().limits;
            let span =
                |dice: &mut Dice| Span::from_mins(dice.between(0, if kind == Kind::Low { 30 } else { 1440 }));
            let mut rule = settings.rule(kind);
            rule.on = !dice.one_in(4);
            rule.limit = kind.info().unit.limit(dice.within(least, greatest)).unwrap();
            let wide = dice.within(0.0, if least < 1.0 { 0.5 } else { 30.0 });
            rule.hysteresis = kind.info().unit.limit(wide).unwrap();
            (rule.delay, rule.repeat, rule.quiet) = (span(dice), span(dice), span(dice));
            rule.escalate = Span::from_mins(dice.between(0, 1440));
            rule.priority = [Priority::Low, Priority::Medium, Priority::High][dice.between(0, 2) as usize];
            if dice.one_in(2) {
                let _ = settings.set_rule(kind, rule); // the floor keeps its own
            }
        }
        settings.pressure_hold = Span::from_mins(dice.between(0, 30));
        if let Ok(settings) = settings.checked() {
            return settings;
        }
    }
}

struct Day {
    dice: Dice,
    monitor: Monitor<48>,
    settings: AlarmSettings,
    minute: i32,
    base: Instant,
    /// How far the clock on the wall and the one that stamps are off, minutes.
    wall_off: i32,
    stamp_off: i32,
    /// The count is told, and stood at 0 at this minute.
    counts: Option<i32>,
    truth: f32,
    drift: f32,
    /// The minute of the last reading that came, its value, and how many in a row have been at or under the floor.
    came: Option<(i32, f32)>,
    very_low: u32,
    /// How many readings in a row could not be placed, long after anything disturbed the clocks.
    lost: u32,
    /// Minutes of the last ring at all, and of one about a low.
    rang: i32,
    rang_low: i32,
    /// The minute since when silence is counted.
    blind_since: i32,
    warming: bool,
    disturbed: i32,
    story: Vec<String>,
}

impl Day {
    fn new(seed: u64) -> Self {
        let mut dice = Dice(seed);
        let settings = if dice.one_in(3) { AlarmSettings::default() } else { settings(&mut dice) };
        let alarms = AlarmPlan::new(settings).unwrap();
        let mut monitor = Monitor::new(Settings::default().with_alarms(alarms)).unwrap();
        if dice.one_in(2) {
            monitor.set_utc_offset(Some(Span::from_hours(dice.between(-12, 12))));
        }
        let counts = dice.one_in(2).then_some(0);
        Self {
            monitor,
            settings,
            minute: 0,
            base: Instant::from_secs(1_700_000_000 + (dice.next() % 100_000_000) as u32),
            wall_off: 0,
            stamp_off: 0,
            counts,
            truth: dice.within(60.0, 250.0),
            drift: 0.0,
            came: None,
            very_low: 0,
            lost: 0,
            rang: -1000,
            rang_low: -1000,
            blind_since: 0,
            warming: false,
            disturbed: -1000,
            story: Vec::new(),
            dice,
        }
    }

    fn at(&self, off: i32) -> Instant {
        self.base.plus(Span::from_mins(self.minute.saturating_add(off)))
    }

    fn note(&mut self, what: &str) {
        self.story.push(format!("{} {what}", self.minute));
    }

    fn heard(&mut self, view: &View) {
        for ring in view.rings().iter() {
            self.rang = self.minute;
            if matches!(ring.kind, Kind::Floor | Kind::Low | Kind::Doubt) {
                self.rang_low = self.minute;
            }
            if let (Kind::Floor | Kind::Low, Some(glucose)) = (ring.kind, ring.trigger.glucose()) {
                assert!(
                    glucose.mg_dl() <= self.settings.rule(ring.kind).limit.number().max(60.0),
                    "{ring:?}"
                );
            }
        }
    }

    fn live(&mut self) {
        let mut lost_until = 0;
        let mut low_until = 0;
        let mut target = 120.0;
        while self.minute < 1440 {
            self.minute += 1;
            if self.dice.one_in(240) {
                target = self.dice.within(35.0, 260.0);
            }
            if self.dice.one_in(300) {
                (low_until, target) =
                    (self.minute + self.dice.between(30, 300), self.dice.within(38.0, 54.0));
            }
            if self.minute >= low_until && low_until > 0 {
                (low_until, target) = (0, 130.0);
            }
            self.drift += 0.05 * (0.02 * (target - self.truth) - self.drift) + self.dice.within(-0.05, 0.05);
            self.truth = (self.truth + self.drift).clamp(35.0, 380.0);
            self.fate(&mut lost_until);
            if let Some(start) = self.counts {
                self.monitor.set_uptime((self.minute - start) as u32 * 60);
            }
            let unset = self.counts.is_some() && self.dice.one_in(10);
            let mut view = self.monitor.tick(if unset { None } else { Some(self.at(self.wall_off)) });
            self.heard(&view);
            let read = self.minute % 5 == 0 && self.minute >= lost_until;
            if read {
                self.reading();
            }
            if self.person() || read {
                view = self.monitor.tick(None);
                self.heard(&view);
            }
            self.check(&view);
        }
    }

    /// What the world does to clocks, sensor and power.
    fn fate(&mut self, lost_until: &mut i32) {
        let far = [7, 60, 120, 600, 1439, 2 * 1440, 90 * 1440, 10_000_000][self.dice.between(0, 7) as usize];
        let off = if self.dice.one_in(2) { far } else { -far };
        match self.dice.between(0, 2500) {
            0 => (self.wall_off, self.stamp_off) = (off, off),
            1 => self.wall_off = off,
            2 => self.stamp_off = off,
            3 => *lost_until = self.minute + self.dice.between(5, 200),
            4 => {
                let off = if self.dice.one_in(2) { off } else { 0 };
                self.monitor.sensor_started(self.at(off));
                (self.came, self.very_low, self.warming) = (None, 0, true);
                self.blind_since = self.minute;
            }
            5 => {
                self.monitor.power_returned();
                if self.counts.is_some() {
                    self.counts = Some(self.minute);
                }
                (self.came, self.very_low) = (None, 0);
                self.blind_since = self.minute;
            }
            6 => {
                let stamp = self.at(self.stamp_off.saturating_add(off));
                let view = self.monitor.push(&Reading::new(stamp, glucose(self.truth)));
                self.heard(&view);
                // right or wrong, its stamp does not say how it came to be here
                (self.came, self.very_low) = (Some((self.minute, self.truth)), 0);
            }
            7 if self.counts.is_some() => {
                let view = self.monitor.tick(Instant::from_secs(u32::MAX));
                self.heard(&view);
            }
            _ => return,
        }
        // what is lost is counted from the last time that anything was set
        (self.disturbed, self.lost) = (self.minute, 0);
        self.note(&format!("off {off}: wall {}, stamps {}", self.wall_off, self.stamp_off));
    }

    fn reading(&mut self) {
        let pressed = self.dice.one_in(60);
        let value = (self.truth + self.dice.within(-4.0, 4.0) - if pressed { 30.0 } else { 0.0 }).max(30.0);
        let (value, status) = if value < 40.0 { (40.0, Status::BelowRange) } else { (value, Status::Normal) };
        let view =
            self.monitor.push(&Reading::new(self.at(self.stamp_off), glucose(value)).with_status(status));
        self.heard(&view);
        if self.dice.one_in(2000) {
            // and another at the same moment, stamped for some time to come
            let stamp = self.at(self.stamp_off.saturating_add(600));
            let view = self.monitor.push(&Reading::new(stamp, glucose(value + 1.0)));
            self.heard(&view);
            self.disturbed = self.minute;
        }
        self.came = Some((self.minute, value));
        self.warming &= !view.verdict().is_some_and(Verdict::is_believed);
        // until a clock that was set is recognised a person may have silenced the floor for what was before
        let placed = view.age().is_some_and(|age| age < Span::from_mins(16));
        let heard = value <= FLOOR_MG_DL && !self.warming && placed;
        self.very_low = if heard { self.very_low + 1 } else { 0 };
        let since = self.minute - self.disturbed;
        self.lost = if placed || self.warming || since < 25 { 0 } else { self.lost + 1 };
        assert!(self.lost < 4, "a clock that was set is not recognised: {:?} at {}", self.story, self.minute);
    }

    /// What a person does, if anything.
    fn person(&mut self) -> bool {
        match self.dice.between(0, 400) {
            0 => self.monitor.acknowledge(),
            1 => {
                for kind in Kind::ALL {
                    let _ = self.monitor.snooze(kind, Span::from_mins(self.dice.between(1, 600)));
                }
            }
            2 | 3 => {
                let wrong = if self.dice.one_in(2) { self.dice.within(20.0, 500.0) } else { self.truth };
                let off = self.wall_off.saturating_add(self.dice.between(-10, 30));
                let at = self.at(off);
                let _ = self.monitor.fingerstick(&Fingerstick::new(at, glucose(wrong)));
                self.note(&format!("stick {wrong}"));
            }
            _ => return false,
        }
        true
    }

    fn check(&self, view: &View) {
        let now = self.minute;
        let told =
            || format!("{:?}\nat {now}: truth {}, came {:?}, {view:#?}", self.story, self.truth, self.came);
        // not knowing is never shown as knowing
        let silent = now - self.came.map_or(-1000, |(came, _)| came);
        if silent > 23 {
            assert!(
                !view.is_monitoring() && view.shown().is_none(),
                "calm after {silent} min of silence: {}",
                told()
            );
        }
        // silence rings
        let (no_data, blind) = (self.settings.no_data, silent.min(now - self.blind_since));
        let due = no_data.limit.mins() as i32 + no_data.delay.secs() / 60 + 4;
        if no_data.on && blind > due && now - self.disturbed > due && !self.warming {
            let rang = now - self.rang <= blind.max(due);
            let acknowledged = view.alarms().get(Kind::NoData).is_some_and(|held| held.acknowledged);
            assert!(rang || acknowledged || view.alarms().get(Kind::NoData).is_some(), "silent: {}", told());
        }
        // a low that readings tell is heard: five in a row, whatever the clocks do meanwhile
        if self.very_low >= 6 && silent < 6 && !self.warming {
            let began = now - 5 * self.very_low as i32;
            assert!(
                now - self.rang_low.max(began) <= 36,
                "very low since {} readings: {}",
                self.very_low,
                told()
            );
        }
        // the number on the screen is one that the sensor said, or marked
        if let (Some(shown), Some((_, value))) = (view.shown(), self.came)
            && value <= FLOOR_MG_DL
            && self.very_low >= 6
            && silent < 6
        {
            let low = shown.glucose.mg_dl() <= 75.0;
            assert!(low || shown.doubted || shown.bound.is_some(), "shows {shown:?}: {}", told());
        }
        for held in view.alarms().iter() {
            assert!(held.ring.kind != Kind::Floor || !held.rings || held.ring.priority == Priority::High);
        }
    }
}

#[test]
fn what_must_always_hold_holds_on_any_day() {
    let days: u64 = std::env::var("GLIDEPATH_DAYS").ok().and_then(|days| days.parse().ok()).unwrap_or(100);
    let first: u64 = std::env::var("GLIDEPATH_SEED").ok().and_then(|seed| seed.parse().ok()).unwrap_or(0);
    let threads = std::thread::available_parallelism().map_or(1, |n| n.get() as u64);
    let lived = AtomicU64::new(0);
    let day = |seed: u64| {
        let run = std::panic::catch_unwind(|| Day::new(seed).live());
        assert!(run.is_ok(), "seed {seed}");
        let lived = lived.fetch_add(1, Relaxed) + 1;
        if lived.is_multiple_of(50_000) {
            println!("{lived} days so far");
        }
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
