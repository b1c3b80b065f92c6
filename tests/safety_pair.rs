//! Never calmly wrong with two sensors worn at once: what `safety.rs` holds of one, with the fault on the first, on the second or
//! on both, while the other one reads a good 120 or is away. Each case is invented; glucose in mg/dL, each sensor gives a reading
//! every 5 min, the second two minutes after the first, and a tick comes every minute unless said.
//!
//! Beside what each case asks for, each answer is checked: a number that is not one is never shown, and while a believed reading
//! is low nothing is calm and something rings at least every 36 min. The table is printed by
//! `cargo test --release --test safety_pair -- --nocapture`.

use glidepath::alarm::{AlarmPlan, AlarmSettings, FLOOR_MG_DL, Kind, Priority, Trigger};
use glidepath::quality::QualityConfig;
use glidepath::{
    Agreement, Bound, Fingerstick, Glucose, Instant, PairMonitor, PairView, Reading, Settings, Side, Span,
    Status, View, snapshot,
};

const ROOM: usize = 36;

/// True time begins here: a Monday.
const BASE: u32 = 1_800_000_000;

/// Of silence and of no silence: what a low needs.
const LOWS: &[Kind] = &[Kind::Floor, Kind::Low];
const ANY: &[Kind] = &Kind::ALL;

/// At or under this a believed reading is low.
const LOW: f32 = 70.0;
/// While one is low, something rings at least so often, minutes: 30 is the longest that a person may silence it, and a
/// reading and a tick come after.
const LONGEST: u32 = 36;

/// When the fall of [`falls`] is at or under 55, minutes: the reading of minute 55, five minutes later.
const AT_FLOOR: u32 = 60;

/// What the sensor that is not at fault does.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Other {
    /// It reads about 120 whatever happens.
    Good,
    /// It was there and gives nothing from then on.
    Lost,
    /// It was never worn.
    Never,
    /// The same happens to it.
    Same,
}

const OTHERS: [Other; 4] = [Other::Good, Other::Lost, Other::Never, Other::Same];

/// Which sensor the fault is on, and what the other one does.
fn cases() -> impl Iterator<Item = (Side, Other)> {
    OTHERS.into_iter().flat_map(|other| Side::BOTH.map(|side| (side, other)))
}

/// A device by someone's bed, told of two sensors.
struct Bed {
    monitor: PairMonitor<ROOM>,
    /// The one at fault, and what the other does.
    side: Side,
    other: Other,
    /// Whether the fault has begun.
    fault: bool,
    /// Minutes since it was switched on, as time really passes.
    minute: u32,
    /// How far the wall clock and each sensor's clock are ahead of the true one, minutes.
    wall: i32,
    stamps: [i32; 2],
    /// Whether it tells a count of its own seconds.
    counts: bool,
    rang: Vec<Rang>,
    last: Option<PairView>,
    /// The minute since which a believed reading is low.
    low_since: Option<u32>,
    /// Whether fingersticks may hide a low that is above the floor.
    denies: bool,
    /// The limit of the rule for lows, and how long it may be silent, minutes.
    limit: f32,
    longest: u32,
}

#[derive(Clone, Copy, Debug)]
struct Rang {
    minute: u32,
    kind: Kind,
    priority: Priority,
    trigger: Trigger,
}

fn glucose(mg_dl: f32) -> Glucose {
    Glucose::from_mg_dl(mg_dl).unwrap()
}

fn quiet_value(minute: u32) -> f32 {
    120.0 + (minute / 5 % 3) as f32
}

/// Falls from 118 by 6 every five minutes, down to `end`.
fn falls(end: f32) -> impl Fn(u32) -> Option<f32> {
    move |minute| Some((118.0 - 1.2 * minute as f32).max(end) + (minute / 5 % 2) as f32 * 0.4)
}

impl Bed {
    fn new(side: Side, other: Other) -> Self {
        Self::with(Settings::default(), side, other)
    }

    fn with(settings: Settings, side: Side, other: Other) -> Self {
        Self {
            monitor: PairMonitor::new(settings, settings).unwrap(),
            side,
            other,
            fault: false,
            minute: 0,
            wall: 0,
            stamps: [0; 2],
            counts: false,
            rang: Vec::new(),
            last: None,
            low_since: None,
            denies: false,
            limit: LOW,
            longest: LONGEST,
        }
    }

    /// A quiet evening of three hours at about 120, on both.
    fn quiet(side: Side, other: Other) -> Self {
        let mut bed = Self::new(side, other);
        bed.live(180, |minute| Some(quiet_value(minute)));
        bed.fault = true;
        bed
    }

    fn clock(&self, ahead: i32) -> Instant {
        Instant::from_secs(BASE).plus(Span::from_mins(self.minute as i32 + ahead))
    }

    fn stamp(&self, side: Side) -> Instant {
        self.clock(self.stamps[side as usize])
    }

    /// A clock of the one at fault is ahead by so many minutes more; of both if the same happens to both.
    fn set_stamps(&mut self, more: i32) {
        for side in Side::BOTH {
            if side == self.side || self.other == Other::Same {
                self.stamps[side as usize] += more;
            }
        }
    }

    fn heard(&mut self, view: PairView) {
        let fused = view.fused();
        for ring in fused.rings().iter() {
            let (kind, priority, trigger) = (ring.kind, ring.priority, ring.trigger);
            self.rang.push(Rang { minute: self.minute, kind, priority, trigger });
        }
        self.last = Some(view);
        numbers(&view);
        // what any sensor reads that is present and believed
        let reads = |most: f32| {
            Side::BOTH.iter().any(|side| {
                let one = view.side(*side);
                let fresh = one.age.is_some_and(|age| age < Span::from_mins(20));
                one.newest.is_some_and(|(_, newest)| fresh && newest.mg_dl() <= most)
            })
        };
        if reads(if self.denies { FLOOR_MG_DL } else { LOW }) {
            assert!(!is_calm(fused), "calm at {}, {}: {view:#?}", self.minute, self.what());
        }
        if reads(if self.denies { FLOOR_MG_DL } else { self.limit }) {
            let since = *self.low_since.get_or_insert(self.minute);
            let rang = self.rang.iter().rev().find(|rang| LOWS.contains(&rang.kind));
            let silent = self.minute - rang.map_or(since, |rang| rang.minute.max(since));
            let told = || format!("silent for {silent} min at {}, {}: {view:#?}", self.minute, self.what());
            assert!(silent <= self.longest, "{}", told());
        } else {
            self.low_since = None;
        }
        // a value is present only while its age is known and short
        if let Some(shown) = fused.shown() {
            assert!(shown.age < Span::from_mins(20) && shown.age >= Span::ZERO, "{shown:?}");
        }
        if view.agreement() == Agreement::Neither || view.agreement() == Agreement::Apart {
            assert!(!fused.is_monitoring(), "{view:#?}");
        }
    }

    fn tick(&mut self) {
        self.minute += 1;
        if self.counts {
            self.monitor.set_uptime(self.minute * 60);
        }
        let view = self.monitor.tick(self.clock(self.wall));
        self.heard(view);
    }

    fn push(&mut self, side: Side, at: Instant, mg_dl: f32, status: Status) {
        let view = self.monitor.push(side, &Reading::new(at, glucose(mg_dl)).with_status(status));
        self.heard(view);
    }

    /// What this sensor gives at a minute: at fault, `value`.
    fn given<T>(&self, side: Side, value: impl FnOnce() -> Option<T>, good: impl FnOnce() -> T) -> Option<T> {
        match self.other {
            _ if side == self.side => value(),
            Other::Same => value(),
            Other::Never => None,
            Other::Lost if self.fault => None,
            Other::Good | Other::Lost => Some(good()),
        }
    }

    /// So many minutes; every five each sensor may give a value with a status.
    fn live_as(&mut self, minutes: u32, value: impl Fn(u32) -> Option<(f32, Status)>) {
        for minute in 0..minutes {
            self.tick();
            for (side, due) in [(Side::First, 4), (Side::Second, 1)] {
                if minute % 5 == due {
                    let begun = minute / 5 * 5;
                    let good = || (quiet_value(self.minute), Status::Normal);
                    if let Some((mg_dl, status)) = self.given(side, || value(begun), good) {
                        self.push(side, self.stamp(side), mg_dl, status);
                    }
                }
            }
        }
    }

    fn live(&mut self, minutes: u32, value: impl Fn(u32) -> Option<f32>) {
        self.live_as(minutes, |minute| value(minute).map(|mg_dl| (mg_dl, Status::Normal)));
    }

    /// Minutes from `since` to the first ring of one of `kinds`; very many if none.
    fn first(&self, since: u32, kinds: &[Kind]) -> u32 {
        let rang = self.rang.iter().find(|r| r.minute >= since && kinds.contains(&r.kind));
        rang.map_or(99_999, |rang| rang.minute - since)
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
        self.last.as_ref().unwrap().fused()
    }

    /// What is shown, mg/dL.
    fn shown(&self) -> f32 {
        self.view().shown().unwrap().glucose.mg_dl()
    }

    fn is_monitoring(&self) -> bool {
        self.view().is_monitoring()
    }

    fn stick(&mut self, after_min: i32, mg_dl: f32) -> [glidepath::FingerstickOutcome; 2] {
        let at = self.clock(self.wall + after_min);
        self.monitor.fingerstick(&Fingerstick::new(at, glucose(mg_dl)))
    }

    fn what(&self) -> String {
        format!("fault on the {}, the other {:?}", self.side, self.other)
    }
}

/// Whether a good value is shown as sure.
fn is_calm(view: &View) -> bool {
    let good = view.shown().is_some_and(|shown| {
        shown.glucose.mg_dl() > LOW && !shown.doubted && !matches!(shown.bound, Some(Bound::AtMost(_)))
    });
    good && (view.is_monitoring() || !view.alarms().iter().any(|held| LOWS.contains(&held.ring.kind)))
}

/// Every number is one and within what it may be.
fn numbers(view: &PairView) {
    let fused = view.fused();
    let within = |value: f32, least: f32, most: f32| {
        assert!((least..=most).contains(&value), "{value} not in {least} to {most}: {view:#?}");
    };
    if let Some(estimate) = fused.estimate() {
        within(estimate.glucose().mg_dl(), 0.0, Glucose::MAX_MG_DL);
        within(estimate.glucose_sd(), 0.0, 500.0);
        within(estimate.rate().mg_dl_per_min(), -50.0, 50.0);
        within(estimate.rate_sd(), 0.0, 1000.0);
        within(fused.calibration_sd().unwrap(), 0.0, 1000.0);
    }
    if let Some(direction) = fused.direction() {
        within(direction.rate().mg_dl_per_min(), -50.0, 50.0);
        within(direction.sd(), 0.0, 1000.0);
    }
    for probability in [fused.low_probability(), fused.low_ahead_signal()].into_iter().flatten() {
        within(probability, 0.0, 1.0);
    }
    if let Some(minutes) = fused.minutes_to_low() {
        within(minutes, 0.0, 60.0);
    }
    let ahead = |predicted: Option<glidepath::forecast::Predicted>| {
        if let Some(predicted) = predicted {
            within(predicted.glucose().mg_dl(), 0.0, Glucose::MAX_MG_DL);
            within(predicted.sd(), 0.0, 10_000.0);
        }
    };
    for minutes in [5, 15, 30, 60, 120] {
        ahead(fused.predicted(Span::from_mins(minutes)));
        for side in Side::BOTH {
            ahead(view.side(side).predicted(Span::from_mins(minutes)));
        }
    }
    for side in Side::BOTH {
        within(view.side(side).weight, 0.0, 1.0);
        within(view.side(side).offset, -1000.0, 1000.0);
    }
}

/// One line of the table.
fn row(case: &str, bed: &Bed, now: &str) {
    println!("| {case:<46} | {:<36} | {now} |", bed.what());
}

#[test]
fn touches_the_floor_once_then_stays_low() {
    for (side, other) in cases() {
        let mut bed = Bed::quiet(side, other);
        let start = bed.minute;
        bed.live(600, |minute| {
            Some(if minute == 55 { 55.0 } else { (118.0 - 1.2 * minute as f32).max(57.0) })
        });
        let (floor, longest) = (bed.first(start, &[Kind::Floor]), bed.longest(start + AT_FLOOR, LOWS));
        row(
            "touches 55 once, then 57 all night",
            &bed,
            &format!("floor {floor}, longest silence {longest} min"),
        );
        assert!(floor <= AT_FLOOR && longest <= 16, "{}: {floor} {longest}", bed.what());
        // and after one long press on all that holds
        for kind in Kind::ALL {
            let _ = bed.monitor.snooze(kind, Span::from_hours(8));
        }
        let start = bed.minute;
        bed.live(480, |_| Some(57.0));
        let longest = bed.longest(start, LOWS);
        row("the same after one long press", &bed, &format!("longest silence {longest} min"));
        assert!(longest <= 31, "{}: {longest}", bed.what());
    }
}

#[test]
fn falls_under_a_suspicion_of_pressure() {
    for (side, other) in cases() {
        let mut bed = Bed::new(side, other);
        bed.monitor.set_utc_offset(Some(Span::ZERO)); // 08:00 on
        (bed.wall, bed.stamps) = (19 * 60, [19 * 60; 2]); // it is night
        bed.live(240, |minute| Some(quiet_value(minute)));
        bed.fault = true;
        let start = bed.minute;
        let values = [101.0, 84.0, 72.0, 64.0];
        bed.live(180, |minute| Some(values.get(minute as usize / 5).copied().unwrap_or(58.0)));
        let first = bed.first(start, LOWS);
        let longest = bed.longest(start + first, LOWS);
        row(
            "falls to 58 under a pressure suspicion",
            &bed,
            &format!("first ring {first} min, then at most {longest} apart"),
        );
        assert!(first <= 45 && longest <= 31, "{}: {first} {longest}", bed.what());
    }
}

/// A fall after a fault of clocks rings the floor within `most` minutes of being there.
fn after_a_clock_fault(case: &str, most: u32, fault: impl Fn(&mut Bed)) {
    for counts in [false, true] {
        for (side, other) in cases() {
            let mut bed = Bed::quiet(side, other);
            (bed.counts, bed.fault) = (counts, false);
            bed.live(30, |minute| Some(quiet_value(minute)));
            bed.fault = true;
            fault(&mut bed);
            let start = bed.minute;
            bed.live(240, falls(45.0));
            let (first, floor) = (bed.first(start, LOWS), bed.first(start, &[Kind::Floor]));
            if !counts {
                row(case, &bed, &format!("low {first}, floor {floor} min; shows {}", bed.shown()));
            }
            let told = format!("{case}, {}: {first}, {floor}, counts {counts}", bed.what());
            assert!(floor <= AT_FLOOR + most && first <= floor, "{told}");
            assert!(bed.shown() < 60.0 && bed.longest(start + floor, LOWS) <= 15, "{told}");
        }
    }
}

#[test]
fn the_clock_of_a_sensor_is_set_before_a_fall() {
    for hours in [-2, -9, -23, -25, -24 * 400, 3, 24 * 90] {
        after_a_clock_fault(&format!("a sensor's clock set by {hours} h, then 45"), 5, |bed| {
            bed.set_stamps(60 * hours);
        });
    }
}

#[test]
fn the_clock_on_the_wall_is_set_before_a_fall() {
    for hours in [-2, -23, -24 * 400, 3, 24 * 90] {
        after_a_clock_fault(&format!("the wall clock set by {hours} h, then 45"), 5, |bed| {
            bed.wall += 60 * hours;
        });
        after_a_clock_fault(&format!("all clocks set by {hours} h, then 45"), 5, |bed| {
            bed.wall += 60 * hours;
            bed.stamps = bed.stamps.map(|ahead| ahead + 60 * hours);
        });
    }
}

#[test]
fn one_reading_is_stamped_in_the_future_before_a_fall() {
    for hours in [6, 23, 24 * 50] {
        after_a_clock_fault(&format!("one reading stamped {hours} h ahead, then 45"), 5, |bed| {
            let at = bed.stamp(bed.side).plus(Span::from_hours(hours));
            bed.push(bed.side, at, 119.0, Status::Normal);
        });
    }
}

#[test]
fn the_clock_is_set_back_and_all_sensors_are_lost() {
    for side in Side::BOTH {
        for back in [2 * 1440, 120, -300] {
            let mut bed = Bed::quiet(side, Other::Lost);
            bed.wall -= back;
            let start = bed.minute;
            bed.live(300, |_| None);
            let first = bed.first(start, &[Kind::NoData]);
            row(&format!("clock set back {back} min, both lost"), &bed, &format!("'no data' at {first} min"));
            assert!(first <= 20 && !bed.is_monitoring() && bed.view().shown().is_none(), "{back}: {first}");
        }
    }
}

#[test]
fn set_back_with_a_reading_every_25_minutes() {
    for (side, other) in cases() {
        let mut bed = Bed::quiet(side, other);
        (bed.wall, bed.stamps) = (-180, [-180; 2]);
        let start = bed.minute;
        for minute in 1..=200_u32 {
            bed.tick();
            for one in Side::BOTH {
                let good = || 120.0 + (minute % 7) as f32;
                let due = minute % if one == side || other == Other::Same { 25 } else { 5 } == 0;
                if let Some(mg_dl) = bed.given(one, || Some(45.0), good).filter(|_| due) {
                    bed.push(one, bed.stamp(one), mg_dl, Status::Normal);
                }
            }
        }
        let (first, floor) = (bed.first(start, ANY), bed.first(start, &[Kind::Floor]));
        row("set back, 45 every 25 min", &bed, &format!("first ring {first}, floor {floor} min"));
        assert!(first <= 25 && floor <= 25, "{}: {first}, {floor}", bed.what());
    }
}

#[test]
fn a_dead_clock_reads_all_ones_now_and_then() {
    for (side, other) in cases() {
        let mut bed = Bed::quiet(side, other);
        for _ in 0..2 {
            let view = bed.monitor.tick(Instant::from_secs(u32::MAX));
            bed.heard(view);
            bed.live(15, |minute| Some(quiet_value(minute)));
        }
        let start = bed.minute;
        bed.live(240, |minute| Some(if minute < 10 { 100.0 } else { 45.0 }));
        let longest = bed.longest(start + 25, LOWS);
        bed.other = if other == Other::Good { Other::Lost } else { other };
        let lost = bed.minute;
        bed.live(1440, |_| None);
        let no_data = bed.first(lost, &[Kind::NoData]);
        row(
            "two clock reads of 2^32 - 1",
            &bed,
            &format!("silent {longest} min at most, 'no data' at {no_data}"),
        );
        assert!(longest <= 10 && no_data <= 20, "{}: {longest} {no_data}", bed.what());
    }
}

#[test]
fn clocks_that_always_read_all_ones_are_heard_by_a_count_of_its_own() {
    for (side, other) in cases() {
        let mut bed = Bed::new(side, other);
        (bed.counts, bed.fault) = (true, other == Other::Lost);
        for minute in 1..=240_u32 {
            bed.minute += 1;
            bed.monitor.set_uptime(bed.minute * 60);
            let view = bed.monitor.tick(Instant::from_secs(u32::MAX));
            bed.heard(view);
            if minute % 5 == 0 {
                let low = if minute < 120 { 110.0 } else { 44.0 };
                for one in Side::BOTH {
                    let wobbles = (minute % 7) as f32;
                    if let Some(mg_dl) = bed.given(one, || Some(low + wobbles), || 110.0 + wobbles) {
                        bed.push(one, Instant::from_secs(u32::MAX), mg_dl, Status::Normal);
                    }
                }
            }
        }
        let first = bed.first(120, LOWS);
        row("clocks that read all ones for ever", &bed, &format!("first ring {first} min"));
        assert!(first <= 20, "{}: {first}", bed.what());
    }
}

#[test]
fn three_sticks_of_150_against_a_sensor_that_says_below_range() {
    for (side, other) in cases() {
        let mut bed = Bed::quiet(side, other);
        bed.live(60, falls(60.0));
        bed.denies = true;
        for _ in 0..3 {
            bed.live(10, |_| Some(60.0));
            let _ = bed.stick(0, 150.0);
        }
        let start = bed.minute;
        bed.live_as(12 * 60, |_| Some((39.0, Status::BelowRange)));
        let first = bed.first(start, &[Kind::Floor]);
        let shown = bed.view().shown().unwrap();
        row(
            "three sticks of 150 at 60, then 'below range'",
            &bed,
            &format!("floor {first} min, shows at most {}", shown.glucose.whole_mg_dl()),
        );
        assert!(first <= 5 && bed.longest(start, LOWS) <= 6, "{}: {first}", bed.what());
        assert!(matches!(shown.bound, Some(Bound::AtMost(end)) if end.mg_dl() < 40.0), "{shown:?}");
    }
}

#[test]
fn one_wrong_stick_at_a_true_48() {
    for (side, other) in cases() {
        for stick in [130.0, 250.0, 600.0] {
            let mut bed = Bed::quiet(side, other);
            bed.live(75, falls(48.0));
            let _ = bed.stick(0, stick);
            let start = bed.minute;
            bed.denies = true;
            bed.live(24 * 60, |minute| Some(48.0 + (minute / 5 % 2) as f32 * 0.4));
            let longest = bed.longest(start, &[Kind::Floor]);
            row(
                &format!("one wrong stick of {stick} at 48"),
                &bed,
                &format!("floor silent at most {longest} min"),
            );
            assert!(longest <= 6, "{}: {longest}", bed.what());
        }
    }
}

#[test]
fn a_stick_stamped_in_the_future_is_refused() {
    for (side, other) in cases() {
        let mut bed = Bed::quiet(side, other);
        let outcomes = bed.stick(15, 75.0);
        assert!(outcomes.iter().all(|outcome| !outcome.is_used()), "{outcomes:?}");
        let start = bed.minute;
        bed.live(60, |minute| Some((110.0 - 2.0 * minute as f32).max(60.0)));
        let (low, shown) = (bed.first(start, LOWS), bed.shown());
        row("stick stamped 15 min ahead, then 60", &bed, &format!("low {low} min; shows {shown}"));
        assert!(low <= 35 && shown <= 66.0, "{}: {low} {shown}", bed.what());
    }
}

#[test]
fn a_sensor_started_in_the_future_or_warming_for_ever() {
    for (side, other) in cases() {
        let mut bed = Bed::quiet(side, other);
        for one in Side::BOTH {
            if one == side || other == Other::Same {
                bed.monitor.sensor_started(one, bed.clock(14 * 60));
            }
        }
        let start = bed.minute;
        bed.live(240, |minute| Some(45.0 + (minute / 5 % 2) as f32));
        let (first, floor) = (bed.first(start, ANY), bed.first(start, &[Kind::Floor]));
        row("a start told 14 h ahead, 45", &bed, &format!("first ring {first}, floor {floor} min"));
        assert!(first <= 20 && floor <= 65, "{}: {first} {floor}", bed.what());
        let mut bed = Bed::quiet(side, other);
        let start = bed.minute;
        bed.live_as(300, |_| Some((45.0, Status::WarmUp)));
        let (first, floor) = (bed.first(start, ANY), bed.first(start, &[Kind::Floor]));
        row("warm-up said for ever at 45", &bed, &format!("first ring {first}, floor {floor} min"));
        assert!(first <= 20 && floor <= 135 && !bed.is_monitoring(), "{}: {first} {floor}", bed.what());
        // and when it sends nothing but that word
        if other != Other::Good {
            let start = bed.minute;
            bed.live(60, |_| None);
            let silent = bed.first(start, &[Kind::NoData]);
            assert!(silent <= 25, "{}: {silent}", bed.what());
        }
    }
}

#[test]
fn warm_up_heard_under_clocks_that_are_a_month_ahead() {
    for (side, other) in cases().filter(|(_, other)| *other != Other::Good) {
        let mut bed = Bed::quiet(side, other);
        (bed.wall, bed.stamps) = (30 * 1440, [30 * 1440; 2]);
        bed.live_as(15, |_| Some((100.0, Status::WarmUp)));
        (bed.wall, bed.stamps) = (0, [0; 2]);
        let start = bed.minute;
        bed.live(300, |_| None);
        let first = bed.first(start, &[Kind::NoData]);
        row("warm-up heard 30 days ahead, then nothing", &bed, &format!("'no data' at {first} min"));
        assert!(first <= 45, "{}: {first}", bed.what());
    }
}

#[test]
fn values_that_alternate() {
    for (side, other) in cases() {
        let mut bed = Bed::quiet(side, other);
        let start = bed.minute;
        bed.live(120, |minute| Some(if minute / 5 % 2 == 0 { 45.0 } else { 100.0 }));
        let first = bed.first(start, LOWS);
        row("alternating 45 and 100", &bed, &format!("first ring {first} min"));
        assert!(first <= 20, "{}: {first}", bed.what());
    }
}

#[test]
fn the_same_value_for_ten_hours() {
    for (side, other) in cases() {
        let mut bed = Bed::quiet(side, other);
        let start = bed.minute;
        bed.live(600, |_| Some(104.0));
        let rings = bed.rang.iter().filter(|r| r.minute >= start && r.kind == Kind::Doubt).count();
        row("same value for 10 h", &bed, &format!("{rings} rings, monitoring {}", bed.is_monitoring()));
        // beside one that goes on nothing is in doubt
        if other == Other::Good {
            assert!(bed.is_monitoring() && bed.shown() > 104.0, "{}", bed.shown());
        } else {
            assert!(
                rings >= 8 && !bed.is_monitoring() && bed.view().shown().unwrap().doubted,
                "{}",
                bed.what()
            );
        }
        // stuck at a low one rings whatever the other reads
        let mut bed = Bed::quiet(side, other);
        let start = bed.minute;
        bed.live(600, |_| Some(64.0));
        let (first, longest) = (bed.first(start, LOWS), bed.longest(start + 15, LOWS));
        row("the same at 64", &bed, &format!("first ring {first} min, then at most {longest} apart"));
        assert!(first <= 35 && longest <= 31, "{}: {first} {longest}", bed.what());
    }
}

#[test]
fn acknowledged_at_55_then_further_down() {
    for (side, other) in cases() {
        let mut bed = Bed::quiet(side, other);
        bed.live(75, falls(54.0));
        bed.monitor.acknowledge();
        let start = bed.minute + 1;
        bed.live(30, |minute| Some((54.0 - minute as f32).max(25.0)));
        let first = bed.first(start, LOWS);
        row("acknowledged at 55, then to 25", &bed, &format!("rings anew after {first} min"));
        assert!(first <= 20, "{}: {first}", bed.what());
        let rung = bed.rang.iter().find(|r| r.minute >= start && LOWS.contains(&r.kind)).unwrap();
        assert!(
            rung.priority == Priority::High && rung.trigger.glucose().unwrap().mg_dl() <= 45.0,
            "{rung:?}"
        );
    }
}

#[test]
fn acknowledged_at_a_low_of_one_then_the_other_falls_too() {
    for side in Side::BOTH {
        let mut bed = Bed::quiet(side, Other::Good);
        bed.live(90, falls(62.0));
        assert!(bed.first(180, &[Kind::Low]) <= 50);
        bed.monitor.acknowledge();
        let start = bed.minute;
        // the one at fault stays at 62; now the other falls to 48
        bed.side = side.other();
        let mut value = 118.0_f32;
        for _ in 0..12 {
            value = (value - 6.0).max(48.0);
            let (low, falls) = (62.0 + (bed.minute / 5 % 2) as f32, value);
            for one in [side, side.other()] {
                let mg_dl = if one == side { low } else { falls };
                bed.push(one, bed.stamp(one), mg_dl, Status::Normal);
            }
            (0..5).for_each(|_| bed.tick());
        }
        let floor = bed.first(start, &[Kind::Floor]);
        row("62 acknowledged, then the other falls to 48", &bed, &format!("floor {floor} min"));
        assert!(floor <= 56, "{floor}");
        let rung = bed.rang.iter().find(|r| r.minute >= start && r.kind == Kind::Floor).unwrap();
        assert!(
            rung.priority == Priority::High && rung.trigger.glucose().unwrap().mg_dl() <= 55.0,
            "{rung:?}"
        );
    }
}

#[test]
fn the_power_returns_with_a_wrong_clock_or_none() {
    for (what, ahead) in [("told a time 3 h early", Some(-180)), ("told no time", None)] {
        for kept in [false, true] {
            let mut bed = Bed::quiet(Side::First, Other::Same);
            bed.counts = true;
            if kept {
                bed.monitor = restored(&mut bed.monitor);
            } else {
                bed.monitor.power_returned();
            }
            bed.monitor.set_uptime(0);
            let start = bed.minute;
            for _ in 0..200 {
                bed.minute += 1;
                bed.monitor.set_uptime((bed.minute - start) * 60);
                let clock = ahead.map(|ahead| bed.clock(ahead));
                let view = bed.monitor.tick(clock);
                let fused = view.fused();
                assert!(fused.shown().is_none() && !fused.is_monitoring() && fused.estimate().is_none());
                assert!(fused.age().is_none() && view.agreement() == Agreement::Neither);
                assert!(Side::BOTH.iter().all(|side| view.side(*side).age.is_none()));
                bed.heard(view);
            }
            let first = bed.first(start, &[Kind::NoData]);
            row(&format!("power cut, {what}, both silent"), &bed, &format!("'no data' at {first} min"));
            assert!(first <= 20);
        }
    }
    let mut monitor = PairMonitor::<24>::new(Settings::default(), Settings::default()).unwrap();
    let first = (0..60_u32).find(|minute| {
        monitor.set_uptime(minute * 60);
        monitor.tick(None).fused().rings().iter().any(|ring| ring.kind == Kind::NoData)
    });
    assert!(first.unwrap() <= 20);
}

/// The same after a power cut, from its snapshot.
fn restored(monitor: &mut PairMonitor<ROOM>) -> PairMonitor<ROOM> {
    let mut room = [0; snapshot::pair_bytes_needed(ROOM)];
    let length = snapshot::save_pair(monitor, &mut room).unwrap();
    let mut other = PairMonitor::new(Settings::default(), Settings::default()).unwrap();
    snapshot::restore_pair(&mut other, &room[..length]).unwrap();
    other
}

#[test]
fn a_low_is_heard_after_a_power_cut_in_the_middle_of_it() {
    for kept in [false, true] {
        for (side, other) in cases() {
            for down in [58.0, 48.0] {
                let mut bed = Bed::quiet(side, other);
                bed.live(75, falls(down));
                bed.monitor.acknowledge();
                bed.live(10, |minute| Some(down + (minute / 5 % 2) as f32));
                if kept {
                    bed.monitor = restored(&mut bed.monitor);
                } else {
                    bed.monitor.power_returned();
                }
                bed.low_since = None;
                bed.minute += 70; // nobody knows how long it was
                let start = bed.minute;
                bed.live(90, |minute| Some(down + (minute / 5 % 2) as f32));
                let (first, longest) = (bed.first(start, LOWS), bed.longest(start, LOWS));
                row(
                    &format!("power cut of 70 min in a low of {down}"),
                    &bed,
                    &format!("first ring {first} min"),
                );
                assert!(first <= 35 && longest <= 35, "{}, {kept}: {first} {longest}", bed.what());
            }
        }
    }
}

#[test]
fn a_start_or_a_zone_that_moves_stamps_but_not_the_wall() {
    for (case, first_off, then_off) in
        [("session start 5 h ahead, corrected later", 300, 0), ("end of daylight saving in stamps", 0, -60)]
    {
        for (side, other) in cases() {
            let mut bed = Bed::new(side, other);
            bed.set_stamps(first_off);
            bed.live(120, |minute| Some(quiet_value(minute)));
            assert!(bed.is_monitoring(), "{case}, {}", bed.what());
            bed.fault = true;
            bed.set_stamps(then_off - first_off);
            let start = bed.minute;
            bed.live(180, falls(45.0));
            let floor = bed.first(start, &[Kind::Floor]);
            row(case, &bed, &format!("floor {floor} min"));
            assert!(floor <= AT_FLOOR + 5, "{case}, {}: {floor}", bed.what());
        }
    }
}

#[test]
fn a_low_that_arrives_after_a_newer_fingerstick() {
    for (side, other) in cases() {
        let mut bed = Bed::quiet(side, other);
        bed.live(60, falls(60.0));
        (0..4).for_each(|_| bed.tick());
        let _ = bed.stick(0, 62.0);
        let start = bed.minute;
        let at = bed.stamp(side).plus(Span::from_secs(-10));
        bed.push(side, at, 54.0, Status::Normal);
        assert_eq!(bed.first(start, &[Kind::Floor]), 0, "{}", bed.what());
        assert!(bed.shown() <= 60.0, "{}: {}", bed.what(), bed.shown());
    }
}

/// What the other one may do while the one at fault falls: what it gives at a minute.
type Habit = fn(u32) -> Option<(f32, Status)>;

const HABITS: [(&str, Habit); 12] = [
    ("reads 120", |minute| Some((quiet_value(minute), Status::Normal))),
    ("reads 250", |minute| Some((quiet_value(minute) + 130.0, Status::Normal))),
    ("reads 75", |minute| Some((quiet_value(minute) - 45.0, Status::Normal))),
    ("is stuck", |_| Some((120.0, Status::Normal))),
    ("is stuck at the high end", |_| Some((400.0, Status::AboveRange))),
    ("warms up", |_| Some((120.0, Status::WarmUp))),
    ("doubts itself", |minute| Some((quiet_value(minute), Status::Doubtful))),
    ("is faulty", |_| Some((120.0, Status::Fault))),
    ("gives nonsense", |minute| Some((if minute % 10 < 5 { 3.0 } else { 1000.0 }, Status::Normal))),
    ("leaps", |minute| Some((if minute % 10 < 5 { 90.0 } else { 260.0 }, Status::Normal))),
    ("rises", |minute| Some((120.0 + (minute % 240) as f32, Status::Normal))),
    ("comes every half hour", |minute| (minute % 30 < 5).then_some((quiet_value(minute), Status::Normal))),
];

impl Bed {
    /// As `live_as`, but for what the other one gives.
    fn live_beside(&mut self, minutes: u32, other: Habit, own: impl Fn(u32) -> f32) {
        for minute in 0..minutes {
            self.tick();
            for (side, due) in [(Side::First, 4), (Side::Second, 1)] {
                let reading = if side == self.side {
                    Some((own(minute / 5 * 5), Status::Normal))
                } else {
                    other(self.minute)
                };
                if let Some((mg_dl, status)) = reading.filter(|_| minute % 5 == due) {
                    self.push(side, self.stamp(side), mg_dl, status);
                }
            }
        }
    }
}

#[test]
fn a_low_of_one_is_heard_whatever_the_other_does() {
    for (what, habit) in HABITS {
        for side in Side::BOTH {
            for (sudden, end) in [(false, 62.0), (false, 46.0), (true, 62.0), (true, 46.0)] {
                let mut bed = Bed::new(side, Other::Good);
                bed.live_beside(180, habit, quiet_value);
                let start = bed.minute;
                let fall = |minute: u32| (118.0 - if sudden { 80.0 } else { 1.2 * minute as f32 }).max(end);
                bed.live_beside(360, habit, |minute| fall(minute) + (minute / 5 % 2) as f32 * 0.4);
                let (first, longest) = (bed.first(start, LOWS), bed.longest(start, LOWS));
                row(&format!("falls to {end}, the other {what}"), &bed, &format!("first ring {first} min"));
                // a suspicion of pressure may hold it back by half an hour
                let most = if sudden { 40 } else { 85 };
                assert!(first <= most && longest <= most, "{what}, {side}, {sudden}: {first} {longest}");
            }
        }
    }
}

#[test]
fn the_first_day_hides_no_low() {
    for (side, other) in cases() {
        let mut bed = Bed::new(side, other);
        let _ = bed.monitor.tick(bed.clock(0));
        for one in Side::BOTH {
            if one == side || other == Other::Same {
                bed.monitor.sensor_started(one, bed.clock(0));
            }
        }
        bed.live(180, |minute| Some(quiet_value(minute)));
        bed.fault = true;
        let start = bed.minute;
        bed.live(180, falls(47.0));
        let (low, floor) = (bed.first(start, LOWS), bed.first(start, &[Kind::Floor]));
        row("falls to 47 on its first day", &bed, &format!("low {low}, floor {floor} min"));
        assert!(low <= 50 && floor <= 70, "{}: {low} {floor}", bed.what());
    }
}

#[test]
fn a_sensor_started_anew_on_one_side_leaves_the_low_of_the_other() {
    for side in Side::BOTH {
        for acknowledged in [false, true] {
            let mut bed = Bed::quiet(side, Other::Good);
            bed.live(75, falls(57.0));
            if acknowledged {
                bed.monitor.acknowledge();
            }
            bed.monitor.sensor_started(side.other(), bed.clock(0));
            let start = bed.minute;
            bed.live(300, |minute| Some(57.0 + (minute / 5 % 2) as f32));
            let longest = bed.longest(start, LOWS);
            row("57, the other started anew", &bed, &format!("longest silence {longest} min"));
            assert!(longest <= 31, "{side}: {longest}");
            // and the low of one that was taken off is not said of the new one
            let mut bed = Bed::quiet(side, Other::Never);
            bed.live(75, falls(57.0));
            bed.monitor.sensor_started(side, bed.clock(0));
            (bed.low_since, bed.fault) = (None, true);
            let view = bed.monitor.tick(bed.clock(0));
            assert!(view.fused().newest().is_none() && view.fused().shown().is_none(), "{view:?}");
            assert!(!view.fused().is_monitoring() && view.side(side).age.is_none());
        }
    }
}

#[test]
fn an_ended_sensor_takes_nothing_from_the_one_that_follows() {
    for (first, second) in [(Side::First, Side::Second), (Side::Second, Side::First)] {
        let mut bed = Bed::new(first, Other::Never);
        bed.live(300, |minute| Some(quiet_value(minute) + 25.0));
        bed.monitor.sensor_started(second, bed.clock(0));
        bed.other = Other::Same;
        bed.live(240, |minute| Some(quiet_value(minute)));
        // the old one is taken off
        (bed.side, bed.other) = (second, Other::Never);
        let start = bed.minute;
        bed.live(240, falls(45.0));
        let (low, floor) = (bed.first(start, LOWS), bed.first(start, &[Kind::Floor]));
        row("the old one ends, the new one falls to 45", &bed, &format!("low {low}, floor {floor} min"));
        assert!(low <= 46 && floor <= AT_FLOOR + 1, "{low} {floor}");
        assert!(bed.shown() < 60.0);
        let lost = bed.minute;
        bed.live(60, |_| None);
        assert!(bed.first(lost, &[Kind::NoData]) <= 20);
    }
}

/// Rules for lows as silent as may be, and as loud; each with what may pass before a ring.
fn ends() -> [(AlarmSettings, u32); 3] {
    let with = |limit: f32, mins: i32, hold: i32| {
        let mut settings = AlarmSettings::default();
        settings.low.limit = glucose(limit);
        (settings.low.delay, settings.low.quiet) = (Span::from_mins(mins), Span::from_mins(mins));
        settings.low.repeat = Span::from_mins(mins.max(1));
        settings.low.hysteresis = glucose(if limit > 100.0 { 0.0 } else { 60.0 });
        settings.pressure_hold = Span::from_mins(hold);
        for rule in [&mut settings.low_ahead.on, &mut settings.no_data.on, &mut settings.doubt.on] {
            *rule = mins == 0;
        }
        settings.high.limit = glucose(400.0);
        settings
    };
    [(with(56.0, 30, 30), 66), (with(70.0, 30, 30), 66), (with(120.0, 0, 0), LONGEST)]
}

#[test]
fn settings_at_their_ends_make_no_low_silent() {
    for (alarms, longest) in ends() {
        for wide in [false, true] {
            let quality = if wide {
                QualityConfig::default()
                    .with_range_mg_dl(0.0, 2000.0)
                    .with_gap(Span::from_hours(6))
                    .with_jump_sd(10.0)
                    .with_pressure(0.05, Span::from_hours(1))
                    .with_night(0, 0)
                    .with_stuck(3, Span::ZERO)
                    .with_noisy_scale(1.0)
                    .with_first_day(Span::from_hours(48))
            } else {
                QualityConfig::default()
                    .with_jump_sd(2.0)
                    .with_pressure(0.5, Span::ZERO)
                    .with_gap(Span::from_mins(1))
            };
            let plan = AlarmPlan::new(alarms).unwrap();
            let settings = Settings::default().with_alarms(plan).with_quality(quality);
            for (side, other) in cases() {
                let mut bed = Bed::with(settings, side, other);
                (bed.limit, bed.longest) = (alarms.low.limit.mg_dl().min(LOW), longest);
                bed.live(180, |minute| Some(quiet_value(minute) + 20.0));
                bed.fault = true;
                let start = bed.minute;
                let limit = alarms.low.limit.mg_dl().min(68.0) - 2.0;
                bed.live(90, falls(limit));
                bed.monitor.acknowledge();
                for kind in Kind::ALL {
                    let _ = bed.monitor.snooze(kind, Span::from_hours(24));
                }
                bed.live(300, |minute| Some(limit + (minute / 5 % 2) as f32));
                let quiet = bed.longest(start, LOWS);
                row("settings at their ends", &bed, &format!("silent {quiet} min at most, at {limit}"));
                assert!(quiet <= 55 + longest, "{}: {quiet}", bed.what());
                let start = bed.minute;
                bed.live(60, |_| Some(45.0));
                let floor = bed.first(start, &[Kind::Floor]);
                assert!(floor <= 35, "{}: floor {floor}", bed.what());
            }
        }
    }
    // the second one's alarms hold for nothing
    let mut off = AlarmSettings::default();
    off.low.on = false;
    let second = Settings::default().with_alarms(AlarmPlan::new(off).unwrap());
    let mut monitor = PairMonitor::<24>::new(Settings::default(), second).unwrap();
    let at = Instant::from_secs(BASE);
    let view = monitor.push(Side::Second, &Reading::new(at, glucose(62.0)));
    assert!(view.fused().rings().iter().any(|ring| ring.kind == Kind::Low));
}

#[test]
fn with_one_sensor_what_is_shown_is_marked_as_its_own_monitor_marks_it() {
    for (seed, side) in (0..6).zip(Side::BOTH.into_iter().cycle()) {
        let mut random = glidepath::simulate::Random::new(seed, 3);
        let settings = Settings::default();
        let mut pair = PairMonitor::<ROOM>::new(settings, settings).unwrap();
        let mut own = glidepath::Monitor::<ROOM>::new(settings).unwrap();
        let at = |minute: u32| Instant::from_secs(BASE + 60 * minute);
        if seed >= 4 {
            pair.sensor_started(side, at(0));
            own.sensor_started(at(0));
        }
        let (mut value, mut marked) = (110.0, 0);
        for minute in 0..2000 {
            value = (value + random.between(-4.0, 4.0)).clamp(41.0, 250.0);
            let (both, one) = if minute % 5 == 0 && random.bernoulli(0.9) {
                let leaps = random.bernoulli(0.1);
                let (mg_dl, say) =
                    (if leaps { random.between(40.0, 300.0) } else { value }, random.uniform());
                let status = match (say * 60.0) as u32 {
                    0 => Status::Doubtful,
                    1 => Status::WarmUp,
                    2 => Status::Fault,
                    _ => Status::Normal,
                };
                let reading = Reading::new(at(minute), glucose(mg_dl)).with_status(status);
                (pair.push(side, &reading), own.push(&reading))
            } else {
                (pair.tick(at(minute)), own.tick(at(minute)))
            };
            let told = |view: &View| (view.reasons(), view.trend(), view.newest(), view.bound(), view.age());
            assert_eq!(told(both.fused()), told(&one), "{seed}, {minute}");
            let (pair_shows, own_shows) = (both.fused().shown(), one.shown());
            assert_eq!(pair_shows.is_some(), own_shows.is_some(), "{seed}, {minute}");
            if let (Some(pair), Some(own)) = (pair_shows, own_shows.filter(|own| own.doubted)) {
                let marked = pair.doubted || pair.glucose.mg_dl() <= FLOOR_MG_DL;
                assert!(pair.glucose <= own.glucose && marked, "{seed}, {minute}: {pair}, {own}");
            }
            assert!(!both.fused().is_monitoring() || one.is_monitoring(), "{seed}, {minute}");
            marked += u32::from(one.shown().is_some_and(|shown| shown.doubted));
        }
        assert!(marked > 20, "{marked}");
    }
}

/// Whatever comes in: no panic, no number that is none, and what is saved is read back and goes on the same.
#[test]
fn nothing_that_comes_in_breaks_it() {
    for seed in 0..if cfg!(debug_assertions) { 100 } else { 2000 } {
        let mut random = glidepath::simulate::Random::new(seed, 9);
        let settings = Settings::default();
        let mut monitor = PairMonitor::<ROOM>::new(settings, settings).unwrap();
        let mut secs = 0_u32;
        for _ in 0..1500 {
            secs = secs.wrapping_add((random.uniform() * 600.0) as u32);
            let any = (random.uniform() * 4_294_967_295.0) as u32;
            let wild = random.bernoulli(0.03);
            let at = Instant::from_secs(if wild { any } else { BASE.wrapping_add(secs) });
            let side = if random.bernoulli(0.5) { Side::First } else { Side::Second };
            let span = Span::from_secs(any.cast_signed());
            let mg_dl =
                if random.bernoulli(0.3) { random.between(0.0, 1000.0) } else { random.between(35.0, 200.0) };
            match (random.uniform() * 40.0) as u32 {
                0..=19 => {
                    let status = match (random.uniform() * 25.0) as u32 {
                        0 => Status::BelowRange,
                        1 => Status::AboveRange,
                        2 => Status::WarmUp,
                        3 => Status::Doubtful,
                        4 => Status::Fault,
                        _ => Status::Normal,
                    };
                    numbers(&monitor.push(side, &Reading::new(at, glucose(mg_dl)).with_status(status)));
                }
                20..=25 => numbers(&monitor.tick(at)),
                26 => numbers(&monitor.tick(None)),
                27..=30 => {
                    let _ = monitor.fingerstick(&Fingerstick::new(at, glucose(mg_dl)));
                }
                31 if random.bernoulli(0.1) => monitor.sensor_started(side, at),
                32 if random.bernoulli(0.05) => monitor.restart(),
                33 if random.bernoulli(0.1) => monitor.power_returned(),
                34 => monitor.acknowledge(),
                35 => {
                    let kind = Kind::ALL[any as usize % Kind::ALL.len()];
                    assert!((Span::ZERO..=Span::from_hours(8)).contains(&monitor.snooze(kind, span)));
                }
                36 => monitor.set_uptime(any),
                37 => monitor.set_uptime(secs),
                38 => monitor.set_utc_offset(random.bernoulli(0.7).then_some(span)),
                39 => {
                    let mut other = restored(&mut monitor);
                    let mut same = monitor.clone();
                    same.power_returned();
                    assert_eq!(other.tick(at), same.tick(at), "{seed}");
                }
                _ => {}
            }
        }
    }
    // the least room that there is
    let mut least = PairMonitor::<1>::new(Settings::default(), Settings::default()).unwrap();
    for minute in 0..600_u32 {
        let reading =
            Reading::new(Instant::from_secs(BASE + 60 * minute), glucose(120.0 + (minute % 9) as f32));
        numbers(&least.push(if minute % 2 == 0 { Side::First } else { Side::Second }, &reading));
    }
    assert!(Side::BOTH.iter().all(|side| least.history(*side).len() == 1));
}

#[test]
fn a_low_whose_sensor_falls_silent_does_not_end() {
    for side in Side::BOTH {
        let mut bed = Bed::quiet(side, Other::Good);
        bed.live(90, falls(50.0));
        let start = bed.minute;
        bed.live(60, |_| None);
        assert!(!is_calm(bed.view()) && bed.longest(start, LOWS) <= 31, "{}", bed.shown());
    }
}

#[test]
fn one_known_to_be_off_is_not_sure_when_the_other_falls_silent() {
    for side in Side::BOTH {
        let mut bed = Bed::new(side, Other::Good);
        bed.live(1440, |minute| Some(quiet_value(minute)));
        bed.live(60, |minute| Some(quiet_value(minute) + 80.0));
        assert_eq!(bed.last.unwrap().agreement(), Agreement::Suspect(side));
        (bed.other, bed.fault) = (Other::Lost, true);
        bed.live(60, |minute| Some(quiet_value(minute) + 80.0));
        assert!(!bed.is_monitoring(), "{}", bed.shown());
        assert!(bed.view().alarms().get(Kind::Doubt).is_some(), "the person is told");
        assert!(!bed.view().reasons().is_empty());
    }
}

#[test]
fn silence_of_one_that_was_read_is_an_alarm_while_the_other_warms_up() {
    for side in Side::BOTH {
        let mut bed = Bed::quiet(side, Other::Never);
        let warming = side.other();
        bed.monitor.sensor_started(warming, bed.clock(0));
        let start = bed.minute;
        for minute in 0..120 {
            bed.tick();
            if minute % 5 == 1 {
                bed.push(warming, bed.stamp(warming), 100.0, Status::WarmUp);
            }
        }
        let first = bed.first(start, &[Kind::NoData]);
        assert!(first <= 20, "{first}");
    }
}

#[test]
fn readings_as_often_as_ticks_are_heard_though_their_clocks_disagree() {
    for ahead in [180, 2000] {
        let mut bed = Bed::new(Side::First, Other::Same);
        bed.stamps = [0, ahead];
        for minute in 0..300_u32 {
            bed.tick();
            let low = if minute < 120 { quiet_value(minute) } else { 45.0 + (minute % 2) as f32 };
            bed.push(Side::First, bed.stamp(Side::First), low, Status::Normal);
            bed.push(Side::Second, bed.stamp(Side::Second), quiet_value(minute), Status::Normal);
        }
        let first = bed.first(120, LOWS);
        assert!(first <= 10, "{first}");
    }
}

#[test]
fn one_wrong_stick_hides_no_low_of_one_for_long() {
    for side in Side::BOTH {
        for stick in [150.0, 200.0] {
            let mut bed = Bed::new(side, Other::Good);
            bed.live(1440, |minute| Some(quiet_value(minute)));
            bed.live(80, falls(60.0));
            bed.denies = true;
            let _ = bed.stick(0, stick);
            let start = bed.minute;
            bed.live(1440, |minute| Some(60.0 + (minute / 5 % 2) as f32));
            let longest = bed.longest(start, LOWS);
            assert!(longest <= 31, "{stick}: silent for {longest} min");
        }
    }
}

#[test]
fn wrong_sticks_move_two_that_agree_little_further_than_one() {
    for (stick, sticks) in [(40.0, 1), (200.0, 3)] {
        let mut bed = Bed::new(Side::First, Other::Same);
        let mut own = glidepath::Monitor::<ROOM>::new(Settings::default()).unwrap();
        for k in 0..36 * 5 {
            bed.live(5, |minute| Some(quiet_value(5 * k + minute)));
            let alone = own.push(&Reading::new(bed.clock(0), glucose(quiet_value(5 * k))));
            if k >= 120 && k < 120 + 12 * sticks && k % 12 == 0 {
                let _ = bed.stick(0, stick);
                let _ = own.fingerstick(&Fingerstick::new(bed.clock(0), glucose(stick)));
            } else if let Some(alone) = alone.shown() {
                let off = (bed.shown() - alone.glucose.mg_dl()).abs();
                assert!(off < 12.0, "{stick} x {sticks}, {k}: {} for {alone}", bed.shown());
            }
        }
    }
}

#[test]
fn the_last_reading_of_one_that_is_gone_holds_no_alarm() {
    for side in Side::BOTH {
        let mut bed = Bed::quiet(side, Other::Good);
        bed.live(5, |_| Some(45.0)); // a leap, not believed yet
        bed.live(60, |_| None);
        let start = bed.minute;
        bed.live(1440, |_| None);
        assert_eq!(bed.first(start, &[Kind::Doubt]), 99_999);
    }
}

#[test]
fn what_is_doubted_has_a_reason() {
    for side in Side::BOTH {
        let mut bed = Bed::quiet(side, Other::Good);
        for k in 0..24 {
            let fall = falls(60.0);
            bed.live(5, |minute| fall(5 * k + minute));
            let view = bed.view();
            let doubted = view.shown().is_some_and(|shown| shown.doubted) || !view.is_monitoring();
            assert!(!doubted || !view.reasons().is_empty(), "{view:#?}");
        }
    }
}

#[test]
fn a_low_by_a_higher_limit_is_shown_as_it_rings() {
    let mut alarms = AlarmSettings::default();
    alarms.low.limit = glucose(90.0);
    for side in Side::BOTH {
        let settings = Settings::default().with_alarms(AlarmPlan::new(alarms).unwrap());
        let mut bed = Bed::with(settings, side, Other::Good);
        bed.live(180, |minute| Some(quiet_value(minute)));
        bed.live(50, falls(85.0));
        assert!(bed.view().alarms().get(Kind::Low).is_some());
        assert!(bed.shown() <= 90.0, "{}", bed.shown());
    }
}

#[test]
fn what_is_shown_is_as_old_as_it_says() {
    for side in Side::BOTH {
        let mut bed = Bed::quiet(side, Other::Good);
        bed.live(90, falls(50.0));
        for _ in 0..100 {
            bed.live(1, |_| None);
            let view = bed.last.unwrap();
            let one = view.side(side);
            if let (Some(shown), Some((_, newest))) = (view.fused().shown(), one.newest)
                && (shown.glucose.mg_dl() - newest.mg_dl()).abs() < 1.0
            {
                assert_eq!(Some(shown.age), one.age, "{shown}");
            }
        }
    }
}
