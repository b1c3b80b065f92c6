//! Random days through frames: while a believed reading is low something rings in time, and the screen's number is never
//! calmer than it. All invented. `WRIST_RANDOM_DAYS=1000 cargo test --release --test random_days` for a long run.

mod life;

use glidepath::alarm::Kind;
use glidepath::{Span, Status};
use life::{Screen, Wearer};

const LOWS: &[Kind] = &[Kind::Floor, Kind::Low];

/// xorshift64 (Marsaglia 2003).
struct Random(u64);

impl Random {
    fn below(&mut self, n: u32) -> u32 {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        (self.0 % u64::from(n)) as u32
    }

    fn one_in(&mut self, n: u32) -> bool {
        self.below(n) == 0
    }

    fn between(&mut self, low: f32, high: f32) -> f32 {
        low + (high - low) * self.below(10_000) as f32 / 10_000.0
    }
}

/// How glucose goes: towards a level for some time, then towards another.
struct Glucose {
    value: f32,
    level: f32,
    left: u32,
}

impl Glucose {
    fn minute(&mut self, random: &mut Random) -> f32 {
        if self.left == 0 {
            self.left = 30 + random.below(150);
            self.level = match random.below(10) {
                0..4 => random.between(38.0, 68.0),
                4..8 => random.between(80.0, 180.0),
                _ => random.between(180.0, 320.0),
            };
        }
        self.left -= 1;
        self.value +=
            (self.level - self.value).clamp(-3.0, 3.0).min((self.level - self.value).abs() * 0.1 + 0.2);
        self.value = self.value.clamp(38.0, 390.0);
        self.value
    }
}

/// What has gone wrong so far, for who reads a failure.
#[derive(Default)]
struct Log(Vec<String>);

impl Log {
    fn tell(&mut self, minute: u32, what: &str) {
        self.0.push(format!("{minute}: {what}"));
    }
}

/// What a day saw.
#[derive(Default, Debug)]
struct Seen {
    low_minutes: u32,
    doubted: u32,
    strokes: u32,
    power_cuts: u32,
    clock_faults: u32,
    sticks: u32,
    presses: u32,
}

/// One day; an error tells what was calmly wrong.
fn day(seed: u64, seen: &mut Seen) -> Result<(), String> {
    let mut random = Random(seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) | 1);
    (0..8).for_each(|_| _ = random.below(2));
    let mut wearer = Wearer::new(random.below(24) as i32);
    let mut log = Log::default();
    if !random.one_in(4) {
        wearer.tell_time(0);
    }
    wearer.tell_start(0);
    let mut glucose = Glucose { value: 120.0, level: 120.0, left: 60 };
    // no readings are sent until then
    let mut quiet_until = 0;
    // since when something should ring, and when it last did or was silenced by a person
    let (mut low_since, mut heard) = (None::<u32>, 0_u32);
    for minute in 0..1440_u32 {
        wearer.pass_a_minute();
        let truth = glucose.minute(&mut random);
        if random.one_in(400) {
            seen.clock_faults += 1;
            match random.below(4) {
                0 => {
                    let off = [-300, -120, -60, 60, 120, 300][random.below(6) as usize];
                    wearer.tell_start(off);
                    log.tell(minute, &format!("the session's start is told {off} min ahead"));
                }
                1 => {
                    let ahead = random.below(2000) as i32 - 1000;
                    wearer.tell_time(ahead);
                    log.tell(minute, &format!("the time is told {ahead} min ahead"));
                }
                2 => {
                    wearer.open();
                    log.tell(minute, "time and start are told right");
                }
                _ => {
                    let ahead = 20 + random.below(1000) as i32;
                    wearer.send_at(ahead, truth, Status::Normal);
                    log.tell(minute, &format!("a reading is stamped {ahead} min ahead"));
                }
            }
        }
        if random.one_in(300) {
            wearer.cut_power();
            seen.power_cuts += 1;
            log.tell(minute, "the power is cut");
            if random.one_in(2) {
                wearer.tell_time(random.below(600) as i32 - 300);
            }
        }
        if random.one_in(200) {
            let wrong = if random.one_in(2) { random.between(40.0, 250.0) } else { truth };
            wearer.stick(random.below(30) as i32 - 15, wrong);
            seen.sticks += 1;
            log.tell(minute, &format!("a stick of {wrong:.0} at {truth:.0}"));
        }
        if random.one_in(20) {
            let noise: Vec<u8> = (0..random.below(60)).map(|_| random.below(256) as u8).chain([0]).collect();
            wearer.bytes(&noise);
        }
        if random.one_in(500) {
            quiet_until = minute + random.below(60);
            log.tell(minute, "the sensor is silent for a while");
        }
        if wearer.app.face().alert.is_some() && random.one_in(15) {
            let long = random.one_in(2);
            wearer.press(if long { 1000 } else { 100 });
            heard = minute;
            seen.presses += 1;
            log.tell(minute, if long { "a long press" } else { "a press" });
        }
        if minute.is_multiple_of(5) && minute >= quiet_until && !random.one_in(25) {
            let read = (truth + random.between(-4.0, 4.0)).max(38.0);
            let status = if read < 40.0 { Status::BelowRange } else { Status::Normal };
            wearer.send_at(0, read.max(if status == Status::BelowRange { 39.0 } else { 40.0 }), status);
        }
        check(&mut wearer, minute, &mut low_since, &mut heard, seen)
            .map_err(|what| format!("seed {seed}, minute {minute}: {what}\n{}", log.0.join("\n")))?;
    }
    Ok(())
}

fn check(
    wearer: &mut Wearer,
    minute: u32,
    low_since: &mut Option<u32>,
    heard: &mut u32,
    seen: &mut Seen,
) -> Result<(), String> {
    let view = wearer.app.view().ok_or("nothing was asked")?;
    let (age, screen, face) = (view.age(), wearer.screen(), wearer.app.face());
    let newest = view.newest().map(|(_, glucose)| glucose.mg_dl());
    match screen {
        Screen::Strokes { .. } => seen.strokes += 1,
        Screen::Number { doubted: true, .. } | Screen::AtMost { .. } => seen.doubted += 1,
        Screen::Number { mg_dl, .. } => {
            let (shown, age) = (f32::from(mg_dl), age.ok_or("a number, and no age")?);
            if age >= Span::from_mins(12) {
                return Err(format!("{mg_dl} is shown as present, {} s old", age.secs()));
            }
            let newest = newest.ok_or("a number, and no reading")?;
            if shown > newest + 15.0 && newest <= 70.0 {
                return Err(format!("{mg_dl} is shown beside a reading of {newest}"));
            }
        }
    }
    if let (Some(alert), Screen::Number { mg_dl, alarm: true, .. }) = (face.alert, screen)
        && let Some(glucose) = alert.trigger.glucose()
        && mg_dl != glucose.whole_mg_dl()
    {
        return Err(format!("{alert:?} is shown beside {mg_dl}"));
    }
    if !view.is_monitoring() && view.age().is_none() && screen.is_a_number() && face.alert.is_none() {
        return Err("a number while nobody knows its age".into());
    }
    // a low, and what must be heard of it
    let young = age.is_some_and(|age| age < Span::from_mins(20));
    let low = young && newest.is_some_and(|newest| newest <= 70.0);
    let rang = wearer.rang.iter().rev().take_while(|(at, _)| *at == wearer.minute);
    if rang.clone().any(|(_, kind)| LOWS.contains(kind)) {
        *heard = minute;
    }
    if !low {
        *low_since = None;
        return Ok(());
    }
    seen.low_minutes += 1;
    let since = *low_since.get_or_insert(minute);
    // 30 min: the longest that a press or a suspicion of pressure may silence either
    let silent = minute - since.max(*heard);
    if silent > 31 {
        return Err(format!("a low of {newest:?}, and silence for {silent} min"));
    }
    // at or under the floor and not acknowledged: every five minutes
    let very_low = newest.is_some_and(|newest| newest <= 55.0);
    if very_low && face.alert.is_none() && view.alarms().get(Kind::Floor).is_none() {
        return Err(format!("{newest:?} and no alarm holds"));
    }
    if very_low && face.alert.is_some_and(|ring| ring.kind == Kind::Floor) && silent > 6 {
        return Err(format!("{newest:?}, nobody has acknowledged it, and silence for {silent} min"));
    }
    Ok(())
}

#[test]
fn no_random_day_is_calmly_wrong() {
    let days = std::env::var("WRIST_RANDOM_DAYS").ok().and_then(|days| days.parse().ok()).unwrap_or(40);
    let first = std::env::var("WRIST_RANDOM_FROM").ok().and_then(|seed| seed.parse().ok()).unwrap_or(1);
    let mut seen = Seen::default();
    let wrong: Vec<_> = (first..first + days).filter_map(|seed| day(seed, &mut seen).err()).collect();
    println!("{days} days: {seen:?}");
    assert!(seen.low_minutes > 60 * days as u32 && seen.power_cuts > days as u32);
    assert!(
        wrong.is_empty(),
        "{} of {days} days:\n{}",
        wrong.len(),
        wrong.iter().take(3).cloned().collect::<Vec<_>>().join("\n\n")
    );
}
