//! Never calmly wrong: a person who is low while clocks, fingersticks, settings or the sensor are wrong. Each case is
//! invented; glucose in mg/dL, a reading every 5 min and a tick every minute unless said. The table is printed by
//! `cargo test --release --test safety -- --nocapture`; its column "before" was measured on version 820cb54.

use glidepath::alarm::{AlarmPlan, AlarmSettings, Kind, Priority, Rule, Trigger};
use glidepath::{Fingerstick, Glucose, Instant, Monitor, Reading, Settings, Span, Status, View};

/// A device by someone's bed.
struct Bed {
    monitor: Monitor<288>,
    /// Minutes since it was switched on, as time really passes.
    minute: u32,
    /// How far its clock is ahead of the true one, minutes.
    ahead: i32,
    /// Whether it tells a count of its own seconds.
    counts: bool,
    rang: Vec<Rang>,
    last: Option<View>,
}

#[derive(Clone, Copy, Debug)]
struct Rang {
    minute: u32,
    kind: Kind,
    priority: Priority,
    trigger: Trigger,
}

/// True time begins here: a Monday.
const BASE: u32 = 1_800_000_000;

fn glucose(mg_dl: f32) -> Glucose {
    Glucose::from_mg_dl(mg_dl).unwrap()
}

impl Bed {
    fn new(settings: Settings) -> Self {
        let monitor = Monitor::new(settings).unwrap();
        Self { monitor, minute: 0, ahead: 0, counts: false, rang: Vec::new(), last: None }
    }

    /// A quiet evening of three hours at about 120.
    fn quiet() -> Self {
        let mut bed = Self::new(Settings::default());
        bed.live(180, |minute| Some(quiet_value(minute)));
        bed
    }

    fn clock(&self) -> Instant {
        Instant::from_secs(BASE).plus(Span::from_mins(self.minute as i32 + self.ahead))
    }

    fn heard(&mut self, view: View) {
        for ring in view.rings().iter() {
            let (kind, priority, trigger) = (ring.kind, ring.priority, ring.trigger);
            self.rang.push(Rang { minute: self.minute, kind, priority, trigger });
        }
        self.last = Some(view);
    }

    fn tick(&mut self) {
        self.minute += 1;
        if self.counts {
            self.monitor.set_uptime(self.minute * 60);
        }
        let view = self.monitor.tick(self.clock());
        self.heard(view);
    }

    fn push(&mut self, at: Instant, mg_dl: f32, status: Status) {
        let view = self.monitor.push(&Reading::new(at, glucose(mg_dl)).with_status(status));
        self.heard(view);
    }

    /// So many minutes; every five the sensor may give a value.
    fn live(&mut self, minutes: u32, mut value: impl FnMut(u32) -> Option<f32>) {
        for minute in 0..minutes {
            self.tick();
            if minute % 5 == 4
                && let Some(mg_dl) = value(minute / 5 * 5)
            {
                self.push(self.clock(), mg_dl, Status::Normal);
            }
        }
    }

    fn live_with(&mut self, minutes: u32, status: Status, mg_dl: f32) {
        for minute in 0..minutes {
            self.tick();
            if minute % 5 == 4 {
                self.push(self.clock(), mg_dl, status);
            }
        }
    }

    /// Minutes from `since` to the first ring of one of `kinds`.
    fn first(&self, since: u32, kinds: &[Kind]) -> Option<u32> {
        self.rang.iter().find(|r| r.minute >= since && kinds.contains(&r.kind)).map(|r| r.minute - since)
    }

    /// The longest silence from `since` on, of all `kinds` together, minutes.
    fn longest(&self, since: u32, kinds: &[Kind]) -> u32 {
        let times =
            self.rang.iter().filter(|r| r.minute >= since && kinds.contains(&r.kind)).map(|r| r.minute);
        let mut times: Vec<_> = core::iter::once(since).chain(times).collect();
        times.push(self.minute);
        times.windows(2).map(|pair| pair[1] - pair[0]).max().unwrap()
    }

    fn view(&self) -> &View {
        self.last.as_ref().unwrap()
    }

    fn is_monitoring(&self) -> bool {
        self.view().is_monitoring()
    }

    fn stick(&mut self, after_min: i32, mg_dl: f32) -> glidepath::FingerstickOutcome {
        let at = self.clock().plus(Span::from_mins(after_min));
        self.monitor.fingerstick(&Fingerstick::new(at, glucose(mg_dl)))
    }
}

fn quiet_value(minute: u32) -> f32 {
    120.0 + (minute / 5 % 3) as f32
}

/// Falls from 118 by 6 every five minutes, down to `end`.
fn falls(end: f32) -> impl FnMut(u32) -> Option<f32> {
    move |minute| Some((118.0 - 1.2 * minute as f32).max(end) + (minute / 5 % 2) as f32 * 0.4)
}

const LOWS: &[Kind] = &[Kind::Floor, Kind::Low];
const ANY: &[Kind] = &Kind::ALL;

/// One line of the table.
fn row(case: &str, before: &str, now: &str) {
    println!("| {case:<58} | {before:<46} | {now} |");
}

/// When the fall of [`falls`] is at or under 55, minutes: the reading of minute 55, five minutes later.
const AT_FLOOR: u32 = 60;

#[test]
fn touches_the_floor_once_then_stays_low() {
    let mut bed = Bed::quiet();
    let start = bed.minute;
    bed.live(600, |minute| Some(if minute == 55 { 55.0 } else { (118.0 - 1.2 * minute as f32).max(57.0) }));
    let longest = bed.longest(start + AT_FLOOR, LOWS);
    row(
        "touches 55 once, then 57 all night",
        "rings, then silent 585 min",
        &format!("longest silence {longest} min"),
    );
    assert!(bed.first(start, &[Kind::Floor]).unwrap() <= AT_FLOOR && longest <= 16);
    // and after one long press on all that holds
    for kind in Kind::ALL {
        let _ = bed.monitor.snooze(kind, Span::from_hours(8));
    }
    let start = bed.minute;
    bed.live(480, |_| Some(57.0));
    let longest = bed.longest(start, LOWS);
    row("the same after one long press", "8 h of silence", &format!("longest silence {longest} min"));
    assert!(longest <= 31, "{longest}");
}

#[test]
fn falls_under_a_suspicion_of_pressure() {
    let mut bed = Bed::new(Settings::default());
    bed.monitor.set_utc_offset(Some(Span::ZERO)); // 08:00 on
    bed.ahead = 19 * 60; // it is night
    bed.live(240, |minute| Some(quiet_value(minute)));
    let start = bed.minute;
    let mut values = [101.0, 84.0, 72.0, 64.0, 58.0].into_iter();
    bed.live(180, |_| values.next().or(Some(58.0)));
    let first = bed.first(start, LOWS).unwrap();
    let longest = bed.longest(start + first, LOWS);
    row(
        "falls to 58 under a pressure suspicion",
        "last ring at 47 min, none by 184",
        &format!("first ring {first} min, then at most {longest} apart"),
    );
    assert!(first <= 45 && longest <= 31, "{first} {longest}");
}

fn after_a_clock_fault(case: &str, before: &str, most: u32, fault: impl Fn(&mut Bed)) {
    for counts in [false, true] {
        let mut bed = Bed::quiet();
        bed.counts = counts;
        bed.live(30, |minute| Some(quiet_value(minute)));
        fault(&mut bed);
        let start = bed.minute;
        bed.live(240, falls(45.0));
        let first = bed.first(start, LOWS).map_or(9999, |first| first);
        let floor = bed.first(start, &[Kind::Floor]).map_or(9999, |first| first);
        if !counts {
            let (monitoring, shown) =
                (bed.is_monitoring(), bed.view().shown().map(|s| s.glucose.whole_mg_dl()));
            row(
                case,
                before,
                &format!("low {first}, floor {floor} min; shows {shown:?}, monitoring {monitoring}"),
            );
        }
        assert!(floor <= AT_FLOOR + most && first <= floor, "{case}: {first}, {floor}, counts {counts}");
        assert!(bed.view().shown().unwrap().glucose.mg_dl() < 60.0);
        assert!(bed.longest(start + floor, LOWS) <= 15);
    }
}

#[test]
fn the_clock_is_set_back_before_a_fall() {
    for (hours, before) in
        [(2, "floor at 125"), (9, "floor at 545"), (23, "floor at 1385"), (25, "recognised"), (24 * 400, "-")]
    {
        let case = format!("clock set back {hours} h, then a fall to 45");
        after_a_clock_fault(&case, before, 5, |bed| bed.ahead -= 60 * hours);
    }
    after_a_clock_fault("clock set forward 3 h, then a fall to 45", "-", 5, |bed| bed.ahead += 180);
    after_a_clock_fault("clock set forward 90 days, then a fall to 45", "-", 5, |bed| bed.ahead += 90 * 1440);
}

#[test]
fn one_reading_is_stamped_in_the_future_before_a_fall() {
    for (hours, before) in [(6, "first ring 370 min"), (23, "first ring 1385 min")] {
        let case = format!("one reading stamped {hours} h ahead, then a fall to 40");
        after_a_clock_fault(&case, before, 5, |bed| {
            let at = bed.clock().plus(Span::from_hours(hours));
            bed.push(at, 119.0, Status::Normal);
        });
    }
}

#[test]
fn the_clock_is_set_back_and_the_sensor_is_lost() {
    let mut bed = Bed::quiet();
    bed.ahead -= 2 * 1440;
    let start = bed.minute;
    bed.live(300, |_| None);
    let first = bed.first(start, &[Kind::NoData]).unwrap();
    row(
        "set back 2 days, sensor lost",
        "'no data' never rings in 2,680 min",
        &format!("'no data' at {first} min, monitoring {}", bed.is_monitoring()),
    );
    assert!(first <= 20 && !bed.is_monitoring());
}

#[test]
fn set_back_with_a_reading_every_25_minutes() {
    let mut bed = Bed::quiet();
    bed.ahead -= 180;
    let start = bed.minute;
    for minute in 1..=200 {
        bed.tick();
        if minute % 25 == 0 {
            bed.push(bed.clock(), 45.0, Status::Normal);
        }
    }
    let (first, floor) = (bed.first(start, ANY).unwrap(), bed.first(start, &[Kind::Floor]).unwrap());
    row(
        "set back, readings of 45 every 25 min",
        "no ring in 2,500 min",
        &format!("first ring {first}, floor {floor} min"),
    );
    assert!(first <= 20 && floor <= 25);
}

#[test]
fn a_dead_clock_reads_all_ones_now_and_then() {
    let mut bed = Bed::quiet();
    for _ in 0..2 {
        let view = bed.monitor.tick(Instant::from_secs(u32::MAX));
        bed.heard(view);
        bed.live(15, |minute| Some(quiet_value(minute)));
    }
    let start = bed.minute;
    bed.live(240, |minute| Some(if minute < 10 { 100.0 } else { 45.0 }));
    let longest = bed.longest(start + 25, LOWS);
    let lost = bed.minute;
    bed.live(5 * 24 * 60, |_| None);
    let no_data = bed.first(lost, &[Kind::NoData]).unwrap();
    row(
        "two clock reads of 2^32 - 1",
        "no 'no data' in 5 days, 45 for 4 h rings once",
        &format!("silent {longest} min at most, 'no data' at {no_data}"),
    );
    assert!(longest <= 10 && no_data <= 20);
}

#[test]
fn a_clock_that_always_reads_all_ones_or_stands() {
    for counts in [false, true] {
        let mut bed = Bed::new(Settings::default());
        bed.counts = counts;
        for minute in 1..=240_u32 {
            bed.minute += 1;
            if counts {
                bed.monitor.set_uptime(bed.minute * 60);
            }
            let view = bed.monitor.tick(Instant::from_secs(u32::MAX));
            bed.heard(view);
            if minute % 5 == 0 {
                let value =
                    if minute < 120 { 110.0 + (minute % 7) as f32 } else { 48.0 - (minute % 7) as f32 };
                bed.push(Instant::from_secs(u32::MAX), value, Status::Normal);
            }
        }
        let first = bed.first(120, LOWS);
        // without a count of its own the device has no time at all; with one the low is heard
        if counts {
            assert!(first.unwrap() <= 20, "{first:?}");
            row("a clock that reads all ones for ever", "-", &format!("first ring {} min", first.unwrap()));
        } else {
            assert!(!bed.view().is_monitoring() || first.is_some());
        }
    }
}

#[test]
fn three_sticks_of_150_against_a_sensor_that_says_below_range() {
    let mut bed = Bed::quiet();
    bed.live(60, falls(60.0));
    for _ in 0..3 {
        bed.live(10, |_| Some(60.0));
        let _ = bed.stick(0, 150.0);
    }
    let start = bed.minute;
    bed.live_with(12 * 60, Status::BelowRange, 39.0);
    let first = bed.first(start, &[Kind::Floor]).unwrap();
    let shown = bed.view().shown().unwrap();
    row(
        "three sticks of 150 at a true 60, then 'below range'",
        "shows 77, nothing active, monitoring",
        &format!("floor {first} min, shows at most {}", shown.glucose.whole_mg_dl()),
    );
    assert!(first <= 5 && bed.longest(start, LOWS) <= 5);
    assert!(matches!(shown.bound, Some(glidepath::Bound::AtMost(end)) if end.mg_dl() < 40.0));
}

#[test]
fn one_wrong_stick_at_a_true_48() {
    let mut bed = Bed::quiet();
    bed.live(75, falls(48.0));
    let _ = bed.stick(0, 130.0);
    let start = bed.minute;
    bed.live(48 * 60, |_| Some(48.0));
    let longest = bed.longest(start, &[Kind::Floor]);
    row(
        "one wrong stick at a true 48",
        "floor never rings in 48 h",
        &format!("floor silent at most {longest} min"),
    );
    assert!(longest <= 6);
}

#[test]
fn a_stick_stamped_in_the_future_is_refused() {
    let mut bed = Bed::quiet();
    let before = bed.view().estimate().unwrap();
    let outcome = bed.stick(15, 75.0);
    let start = bed.minute;
    bed.live(60, |minute| Some((110.0 - 2.0 * minute as f32).max(60.0)));
    let shown = bed.view().shown().unwrap().glucose.whole_mg_dl();
    row("stick stamped 15 min ahead, then 60", "shows 75 at 60", &format!("{outcome:?}; shows {shown}"));
    assert!(!matches!(outcome, glidepath::FingerstickOutcome::Used { .. }));
    assert!(before.glucose().mg_dl() > 110.0 && shown <= 66 && bed.first(start, LOWS).unwrap() <= 35);
}

#[test]
fn a_sensor_started_in_the_future_or_warming_for_ever() {
    let mut bed = Bed::quiet();
    bed.monitor.sensor_started(bed.clock().plus(Span::from_hours(14)));
    let start = bed.minute;
    bed.live(240, |_| Some(45.0));
    let (first, floor) = (bed.first(start, ANY).unwrap(), bed.first(start, &[Kind::Floor]).unwrap());
    row(
        "`sensor_started` 14 h ahead, 45",
        "900 min silent",
        &format!("first ring {first}, floor {floor} min"),
    );
    assert!(first <= 20 && floor <= 65);
    let mut bed = Bed::quiet();
    let start = bed.minute;
    bed.live_with(300, Status::WarmUp, 45.0);
    let (first, floor) = (bed.first(start, ANY).unwrap(), bed.first(start, &[Kind::Floor]).unwrap());
    row(
        "sensor says warm-up for ever at 45",
        "silent for 24 h",
        &format!("first ring {first}, floor {floor} min"),
    );
    assert!(first <= 20 && floor <= 135 && !bed.is_monitoring());
    // and when it sends nothing but that word
    let start = bed.minute;
    bed.live(60, |_| None);
    assert!(bed.first(start, &[Kind::NoData]).unwrap() <= 25);
}

#[test]
fn warm_up_heard_under_a_clock_that_is_a_month_ahead() {
    let mut bed = Bed::quiet();
    bed.ahead += 30 * 1440;
    bed.live_with(15, Status::WarmUp, 100.0);
    bed.ahead -= 30 * 1440;
    let start = bed.minute;
    bed.live(300, |_| None);
    let first = bed.first(start, &[Kind::NoData]).unwrap();
    row(
        "warm-up heard 30 days ahead, corrected, then nothing",
        "'no data' never rings in a day",
        &format!("'no data' at {first} min"),
    );
    assert!(first <= 45);
}

#[test]
fn values_that_alternate() {
    let mut bed = Bed::quiet();
    let start = bed.minute;
    bed.live(120, |minute| Some(if minute / 5 % 2 == 0 { 45.0 } else { 100.0 }));
    let first = bed.first(start, LOWS).unwrap();
    row("alternating 45 and 100", "every 45 a jump, 2 h, never a ring", &format!("first ring {first} min"));
    assert!(first <= 20);
}

#[test]
fn the_same_value_for_ten_hours() {
    let mut bed = Bed::quiet();
    let start = bed.minute;
    bed.live(600, |_| Some(104.0));
    let rings = bed.rang.iter().filter(|r| r.minute >= start && r.kind == Kind::Doubt).count();
    row(
        "same value for 10 h",
        "one low-priority ring, never repeated",
        &format!("{rings} rings, monitoring {}", bed.is_monitoring()),
    );
    assert!(rings >= 8 && !bed.is_monitoring() && bed.view().shown().unwrap().doubted);
}

#[test]
fn acknowledged_at_55_then_further_down() {
    let mut bed = Bed::quiet();
    bed.live(75, falls(54.0));
    bed.monitor.acknowledge();
    let start = bed.minute + 1;
    bed.live(30, |minute| Some((54.0 - minute as f32).max(25.0)));
    let first = bed.first(start, LOWS).unwrap();
    row("acknowledged at 55, then to 25", "30 min silent", &format!("rings anew after {first} min"));
    assert!(first <= 20);
    let rung = bed.rang.iter().find(|r| r.minute >= start && LOWS.contains(&r.kind)).unwrap();
    assert!(rung.priority == Priority::High && rung.trigger.glucose().unwrap().mg_dl() <= 45.0);
}

#[test]
fn the_power_returns_with_a_wrong_clock_or_none() {
    for (what, ahead) in [("told a time 3 h early", Some(-180)), ("told no time", None)] {
        let mut bed = Bed::quiet();
        bed.counts = true;
        bed.monitor.power_returned();
        bed.monitor.set_uptime(0);
        let start = bed.minute;
        for _ in 0..200 {
            bed.minute += 1;
            bed.monitor.set_uptime((bed.minute - start) * 60);
            let clock = ahead.map(|ahead| bed.clock().plus(Span::from_mins(ahead)));
            let view = bed.monitor.tick(clock);
            assert!(
                view.shown().is_none()
                    && !view.is_monitoring()
                    && view.estimate().is_none()
                    && view.age().is_none()
            );
            bed.heard(view);
        }
        let first = bed.first(start, &[Kind::NoData]).unwrap();
        row(
            &format!("power cut, {what}, sensor silent"),
            "no alarm for 191 min; blank and quiet",
            &format!("'no data' at {first} min"),
        );
        assert!(first <= 20);
    }
    let mut monitor = Monitor::<24>::new(Settings::default()).unwrap();
    let mut first = None;
    for minute in 0..60_u32 {
        monitor.set_uptime(minute * 60);
        let view = monitor.tick(None);
        if first.is_none() && view.rings().iter().any(|r| r.kind == Kind::NoData) {
            first = Some(minute);
        }
    }
    row("never told anything", "6 h blank and quiet", &format!("'no data' at {} min", first.unwrap()));
    assert!(first.unwrap() <= 20);
}

#[test]
fn a_start_or_a_zone_that_moves_stamps_but_not_the_wall() {
    // stamps of a session whose start was told five hours ahead, corrected later; the end of daylight saving
    for (case, first_off, then_off) in
        [("session start 5 h ahead, corrected later", 300, 0), ("end of daylight saving in stamps", 0, -60)]
    {
        let mut bed = Bed::new(Settings::default());
        let stamped = |bed: &Bed, off: i32| bed.clock().plus(Span::from_mins(off));
        for minute in 1..=120 {
            bed.tick();
            if minute % 5 == 0 {
                let at = stamped(&bed, first_off);
                bed.push(at, quiet_value(minute), Status::Normal);
            }
        }
        assert!(bed.is_monitoring(), "{case}");
        let start = bed.minute;
        let mut fall = falls(45.0);
        for minute in 0..180 {
            bed.tick();
            if minute % 5 == 4 {
                let at = stamped(&bed, then_off);
                bed.push(at, fall(minute / 5 * 5).unwrap(), Status::Normal);
            }
        }
        let floor = bed.first(start, &[Kind::Floor]).unwrap();
        row(case, "6 h only 'no readings'; lows unheard 1 h", &format!("floor {floor} min"));
        assert!(floor <= AT_FLOOR + 5, "{case}: {floor}");
    }
}

#[test]
fn settings_cannot_make_a_low_silent() {
    let changes: [fn(&mut Rule<Glucose>); 5] = [
        |low| low.limit = Glucose::from_mg_dl(3.9).unwrap(),
        |low| low.delay = Span::from_hours(24),
        |low| low.repeat = Span::ZERO,
        |low| low.repeat = Span::from_hours(24),
        |low| low.quiet = Span::from_hours(24),
    ];
    for change in changes {
        let mut settings = AlarmSettings::default();
        change(&mut settings.low);
        assert!(AlarmPlan::new(settings).is_err(), "{:?}", settings.low);
    }
}

#[test]
fn a_low_that_arrives_after_a_newer_fingerstick() {
    let mut bed = Bed::quiet();
    bed.live(60, falls(60.0));
    (0..4).for_each(|_| bed.tick());
    let _ = bed.stick(0, 62.0);
    let start = bed.minute;
    let at = bed.clock().plus(Span::from_secs(-10));
    bed.push(at, 54.0, Status::Normal);
    assert_eq!(bed.first(start, &[Kind::Floor]), Some(0));
    assert!(bed.view().shown().unwrap().glucose.mg_dl() <= 60.0);
}
