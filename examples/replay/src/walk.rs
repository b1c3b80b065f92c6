//! Drives a monitor through a trace as the wrist would live it: the time told, a look once a minute between readings, and
//! whatever rings acknowledged.

use alloc::boxed::Box;
use alloc::vec::Vec;

use glidepath::alarm::{Ring, Rings};
use glidepath::forecast::Course;
use glidepath::quality::{Reasons, Verdict};
use glidepath::trend::Trend;
use glidepath::{
    Agreement, Estimate, Fingerstick, FingerstickOutcome, Instant, Monitor, PairMonitor, PairView, Reading,
    Shown, Side, Span, View,
};

use crate::WallClock;

/// The wrist looks at its clock this often when nothing arrives …
const TICK: Span = Span::from_mins(1);
/// … but a silence longer than this is no day to live through: the sensor was off. The rest is stepped over.
const LONGEST_SILENCE: Span = Span::from_hours(24);

/// What was known right after one reading. Numbers that are not known are not a number.
#[derive(Clone, Debug)]
pub struct Sample {
    pub reading: Reading,
    pub verdict: Verdict,
    pub plasma: f32,
    /// The truth beside the trace.
    pub truth: f32,
    /// The other answers, where they are kept: apart, for the figures of a year do without them.
    pub answers: Option<Box<Answers>>,
    /// What two sensors say beside it, when two are worn: apart, so that a year of one takes less memory.
    pub beside: Option<Box<Beside>>,
    /// The alarms that rang with it, a bit for each of [`Kind::ALL`](glidepath::alarm::Kind::ALL).
    pub rang: u16,
}

/// How much is kept of each reading.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Detail {
    /// Itself and the verdict on it: enough for the figures of a whole trace.
    Verdicts,
    /// All [`Answers`] too.
    Answers,
}

/// The answers right after one reading, plasma glucose apart. Numbers that are not known are not a number.
#[derive(Clone, Debug)]
pub struct Answers {
    /// The whole uncertainty of plasma glucose: the estimate's own and what the calibration leaves open.
    pub plasma_sd: f32,
    /// The estimate's own, which takes the calibration for granted.
    pub own_sd: f32,
    /// The value to show as the present one.
    pub shown: Option<Shown>,
    pub reasons: Reasons,
    pub rate: f32,
    pub rate_sd: f32,
    pub trend: Trend,
    /// How glucose is expected to go on; see [`predicted`](Self::predicted).
    pub course: Option<Course>,
    pub low_probability: f32,
    pub minutes_to_low: f32,
    pub low_ahead_signal: f32,
    /// The rate to expect over the next 20 minutes.
    pub direction: f32,
}

impl Sample {
    /// Whose reading it is; the first one's when only one sensor is worn.
    pub fn side(&self) -> Side {
        self.beside.as_ref().map_or(Side::First, |beside| beside.side)
    }

    /// Whether the reading was not taken at its word.
    pub const fn is_doubted(&self) -> bool {
        !matches!(self.verdict, Verdict::Accepted | Verdict::ClockSet)
    }

    fn of(reading: &Reading, view: &View, beside: Option<Beside>, detail: Detail) -> Self {
        // of a reading that is not newer the answers would be those of another moment
        let estimate = view.estimate().filter(|estimate| estimate.at() == reading.at());
        let answers = (detail == Detail::Answers).then(|| Box::new(Answers::of(view, estimate)));
        Self {
            reading: *reading,
            verdict: view.verdict().unwrap_or(Verdict::Accepted),
            plasma: known(estimate.map(|e| e.glucose().mg_dl())),
            truth: f32::NAN,
            answers,
            beside: beside.map(Box::new),
            rang: 0,
        }
    }
}

impl Answers {
    /// What the sensor will read in so many minutes and its standard deviation, mg/dL.
    pub fn predicted(&self, minutes: i32) -> (f32, f32) {
        let predicted = self.course.map(|course| course.at(Span::from_mins(minutes)));
        (known(predicted.map(|p| p.glucose().mg_dl())), known(predicted.map(|p| p.sd())))
    }

    fn of(view: &View, estimate: Option<Estimate>) -> Self {
        let timely = |value: Option<f32>| known(value.filter(|_| estimate.is_some()));
        Self {
            // the two do not depend on each other
            plasma_sd: known(estimate.zip(view.calibration_sd()).map(|(e, open)| both(e.glucose_sd(), open))),
            own_sd: known(estimate.map(|e| e.glucose_sd())),
            shown: view.shown(),
            reasons: view.reasons(),
            rate: known(estimate.map(|e| e.rate().mg_dl_per_min())),
            rate_sd: known(estimate.map(|e| e.rate_sd())),
            trend: view.trend(),
            course: view.course().filter(|_| estimate.is_some()),
            low_probability: timely(view.low_probability()),
            minutes_to_low: timely(view.minutes_to_low()),
            low_ahead_signal: timely(view.low_ahead_signal()),
            direction: timely(view.direction().map(|direction| direction.rate().mg_dl_per_min())),
        }
    }
}

fn known(value: Option<f32>) -> f32 {
    value.unwrap_or(f32::NAN)
}

/// Two deviations as one, by operations that give the same bits on every machine: a system's `hypot` does not.
pub fn both(one: f32, other: f32) -> f32 {
    libm::sqrtf(one * one + other * other)
}

/// What two sensors worn at once say beside what they say as one.
#[derive(Clone, Copy, Debug)]
pub struct Beside {
    /// Whose reading it was.
    pub side: Side,
    pub agreement: Agreement,
    /// The first one's weight, 0 to 1.
    pub first_weight: f32,
    /// How far each is taken to read above glucose, mg/dL.
    pub offsets: [f32; 2],
    /// What each will read in half an hour and its standard deviation, mg/dL; not a number when not known.
    pub predicted: [(f32, f32); 2],
}

impl Beside {
    fn of(side: Side, view: &PairView) -> Self {
        let ahead = |side: Side| {
            let predicted = view.side(side).predicted(Span::from_mins(30));
            predicted.map_or((f32::NAN, f32::NAN), |p| (p.glucose().mg_dl(), p.sd()))
        };
        let [first, second] = Side::BOTH.map(|side| view.side(side));
        Self {
            side,
            agreement: view.agreement(),
            first_weight: first.weight,
            offsets: [first.offset, second.offset],
            predicted: Side::BOTH.map(ahead),
        }
    }
}

/// What became of a fingerstick.
#[derive(Clone, Copy, Debug)]
pub struct Pricked {
    pub stick: Fingerstick,
    /// Plasma glucose as it was estimated just before; not a number when it was not.
    pub expected: f32,
    pub used: bool,
    /// In words.
    pub words: &'static str,
}

impl Pricked {
    /// Why it was not used, if it was not.
    pub fn refused(&self) -> Option<&'static str> {
        (!self.used).then_some(self.words)
    }
}

/// What the monitor said, moment by moment.
#[derive(Clone, Debug, Default)]
pub struct Played {
    pub samples: Vec<Sample>,
    pub rings: Vec<Ring>,
    pub pricked: Vec<Pricked>,
}

impl Played {
    /// The readings that were believed; of two sensors those of both.
    pub fn believed(&self) -> Vec<Reading> {
        let believed = self.samples.iter().filter(|s| s.verdict.is_believed());
        believed.map(|s| s.reading).collect()
    }
}

/// What is said of one sensor, or of two at once.
pub trait Told {
    /// Of what is worn as one.
    fn view(&self) -> &View;
    /// What two say beside it, right after a reading of one of them.
    fn beside(&self, side: Side) -> Option<Beside>;
}

impl Told for View {
    fn view(&self) -> &View {
        self
    }

    fn beside(&self, _: Side) -> Option<Beside> {
        None
    }
}

impl Told for PairView {
    fn view(&self) -> &View {
        self.fused()
    }

    fn beside(&self, side: Side) -> Option<Beside> {
        Some(Beside::of(side, self))
    }
}

/// The monitor of what is worn: one sensor, or two at once.
pub trait Worn {
    type Told: Told;
    fn set_uptime(&mut self, uptime_secs: u32);
    fn push(&mut self, side: Side, reading: &Reading) -> Self::Told;
    fn tick(&mut self, now: Instant) -> Self::Told;
    /// Of two sensors it is used if either took it in; what was expected is then that one's.
    fn fingerstick(&mut self, stick: &Fingerstick) -> FingerstickOutcome;
    fn acknowledge(&mut self);
    fn set_utc_offset(&mut self, offset: Option<Span>);
}

impl<const N: usize> Worn for Monitor<N> {
    type Told = View;

    fn set_uptime(&mut self, uptime_secs: u32) {
        self.set_uptime(uptime_secs);
    }

    fn push(&mut self, _: Side, reading: &Reading) -> View {
        self.push(reading)
    }

    fn tick(&mut self, now: Instant) -> View {
        self.tick(now)
    }

    fn fingerstick(&mut self, stick: &Fingerstick) -> FingerstickOutcome {
        self.fingerstick(stick)
    }

    fn acknowledge(&mut self) {
        self.acknowledge();
    }

    fn set_utc_offset(&mut self, offset: Option<Span>) {
        self.set_utc_offset(offset);
    }
}

impl<const N: usize> Worn for PairMonitor<N> {
    type Told = PairView;

    fn set_uptime(&mut self, uptime_secs: u32) {
        self.set_uptime(uptime_secs);
    }

    fn push(&mut self, side: Side, reading: &Reading) -> PairView {
        self.push(side, reading)
    }

    fn tick(&mut self, now: Instant) -> PairView {
        self.tick(now)
    }

    fn fingerstick(&mut self, stick: &Fingerstick) -> FingerstickOutcome {
        let [first, second] = self.fingerstick(stick);
        if !first.is_used() && second.is_used() { second } else { first }
    }

    fn acknowledge(&mut self) {
        self.acknowledge();
    }

    fn set_utc_offset(&mut self, offset: Option<Span>) {
        self.set_utc_offset(offset);
    }
}

/// A day, or months, being lived through. Readings and fingersticks are to come in order of time.
pub struct Walk<W> {
    pub worn: W,
    pub played: Played,
    detail: Detail,
    now: Option<Instant>,
}

impl<W: Worn> Walk<W> {
    /// Nothing has come yet; so many readings will.
    pub fn new(worn: W, readings: usize, detail: Detail) -> Self {
        let mut played = Played::default();
        played.samples.reserve(readings);
        Self { worn, played, detail, now: None }
    }

    /// Lets time pass until a reading at `at` comes.
    pub fn until(&mut self, at: Instant, clock: &impl WallClock) {
        self.pass(at, false);
        let lead = i32::try_from(clock.lead(at.secs().into())).ok();
        self.worn.set_utc_offset(lead.map(Span::from_secs));
    }

    /// A reading comes.
    pub fn reading(&mut self, side: Side, reading: &Reading, truth: f32, clock: &impl WallClock) {
        self.until(reading.at(), clock);
        let told = self.worn.push(side, reading);
        self.now = Some(reading.at());
        let rang = self.heard(told.view().rings());
        let sample = Sample::of(reading, told.view(), told.beside(side), self.detail);
        self.played.samples.push(Sample { truth, rang, ..sample });
    }

    /// A fingerstick is taken.
    pub fn fingerstick(&mut self, stick: &Fingerstick) {
        self.pass(stick.at(), true);
        let outcome = self.worn.fingerstick(stick);
        let expected = known(outcome.expected().map(|expected| expected.glucose.mg_dl()));
        let (used, words) = (outcome.is_used(), outcome.words());
        self.played.pricked.push(Pricked { stick: *stick, expected, used, words });
    }

    /// Lets time pass up to `until`: the count of seconds is told, and looked at once a minute; at the end only if that is
    /// asked for, for a reading that comes then makes the monitor look by itself.
    fn pass(&mut self, until: Instant, look_then: bool) {
        let Some(mut now) = self.now else {
            self.worn.set_uptime(until.secs());
            return;
        };
        let watched = self.played.samples.last().map_or(now, |last| last.reading.at().plus(LONGEST_SILENCE));
        while now < until {
            let step = if now < watched { TICK } else { LONGEST_SILENCE };
            now = now.plus(until.since(now).min(step));
            self.worn.set_uptime(now.secs());
            if now < until || look_then {
                let told = self.worn.tick(now);
                if now <= watched {
                    self.heard(told.view().rings());
                }
            }
        }
        self.now = Some(now);
    }

    fn heard(&mut self, rings: Rings<'_>) -> u16 {
        let mut bits = 0;
        for ring in rings.iter() {
            bits |= 1 << (ring.kind as u16);
            self.played.rings.push(*ring);
        }
        if bits != 0 {
            self.worn.acknowledge();
        }
        bits
    }
}

const _: () = assert!(glidepath::alarm::Kind::COUNT <= 16, "alarms are kept as bits of 16");

/// Plays readings and fingersticks of one sensor, both in order of time; all answers are kept.
pub fn play<W: Worn>(
    worn: W,
    readings: &[Reading],
    clock: &impl WallClock,
    sticks: &[Fingerstick],
) -> Played {
    let mut walk = Walk::new(worn, readings.len(), Detail::Answers);
    let mut sticks = sticks.iter().peekable();
    for reading in readings {
        while let Some(stick) = sticks.next_if(|stick| stick.at() < reading.at()) {
            walk.fingerstick(stick);
        }
        walk.reading(Side::First, reading, f32::NAN, clock);
    }
    sticks.for_each(|stick| walk.fingerstick(stick));
    walk.played
}

#[cfg(test)]
mod tests {
    use super::*;
    use glidepath::alarm::{AlarmPlan, AlarmSettings, Kind, Slot, Weekdays};
    use glidepath::{Glucose, Settings, Status};

    struct Utc;

    impl WallClock for Utc {
        fn wall(&self, instant: i64) -> i64 {
            instant
        }
    }

    fn readings(minutes: &[u32], mg_dl: f32) -> Vec<Reading> {
        let glucose = Glucose::from_mg_dl(mg_dl).unwrap();
        minutes.iter().map(|minute| Reading::new(Instant::from_secs(minute * 60), glucose)).collect()
    }

    fn rings(minutes: &[u32]) -> Vec<(u32, Kind)> {
        let monitor = Monitor::<288>::new(Settings::default()).unwrap();
        let played = play(monitor, &readings(minutes, 120.0), &Utc, &[]);
        assert_eq!(played.samples.len(), minutes.len());
        told(&played)
    }

    fn told(played: &Played) -> Vec<(u32, Kind)> {
        played.rings.iter().map(|ring| (ring.at.secs() / 60, ring.kind)).collect()
    }

    /// Minutes without a reading until that rings.
    fn silence() -> u32 {
        Settings::default().alarms.settings_at(None).rule(Kind::NoData).limit.number() as u32
    }

    #[test]
    fn silence_is_noticed_between_readings_but_not_when_one_comes_in_time() {
        let limit = silence();
        let late = [0, 5, 5 + limit + 1];
        assert_eq!(rings(&late), [(5 + limit, Kind::NoData)]);
        assert_eq!(rings(&[0, 5, 5 + limit]), [], "the reading comes at that moment");
    }

    #[test]
    fn what_rings_is_acknowledged_and_marked_at_its_reading() {
        let monitor = Monitor::<288>::new(Settings::default()).unwrap();
        let lows: Vec<u32> = (0..12).map(|n| n * 5).collect();
        let played = play(monitor, &readings(&lows, 50.0), &Utc, &[]);
        let first = played.rings.first().unwrap();
        assert_eq!(first.kind, Kind::Floor);
        let sample = played.samples.iter().find(|sample| sample.reading.at() == first.at).unwrap();
        assert_ne!(sample.rang & (1 << (Kind::Floor as u16)), 0);
        let floors = played.rings.iter().filter(|ring| ring.kind == Kind::Floor).count();
        assert!((1..12).contains(&floors), "acknowledged, so it does not ring each time: {floors}");
    }

    #[test]
    fn a_silence_of_days_is_stepped_over() {
        let week = 7 * 1440;
        let rang = rings(&[0, 5, week]);
        assert!(!rang.is_empty() && rang.iter().all(|(minute, _)| *minute <= 5 + 1440), "{rang:?}");
    }

    #[test]
    fn a_fingerstick_is_looked_at_when_it_is_taken() {
        let monitor = Monitor::<288>::new(Settings::default()).unwrap();
        let stick = Fingerstick::new(Instant::from_secs(7 * 60), Glucose::from_mg_dl(118.0).unwrap());
        let played = play(monitor, &readings(&[0, 5, 10], 120.0), &Utc, &[stick]);
        let [pricked] = played.pricked.as_slice() else { panic!("{:?}", played.pricked) };
        assert!(pricked.used && (pricked.expected - 120.0).abs() < 2.0, "{pricked:?}");
    }

    #[test]
    fn a_fingerstick_makes_the_wearer_look_and_so_the_monitor() {
        let monitor = Monitor::<288>::new(Settings::default()).unwrap();
        let at = 5 + silence();
        let stick = Fingerstick::new(Instant::from_secs(at * 60), Glucose::from_mg_dl(118.0).unwrap());
        let played = play(monitor, &readings(&[0, 5, at + 1], 120.0), &Utc, &[stick]);
        assert_eq!(told(&played), [(at, Kind::NoData)]);
    }

    #[test]
    fn settings_go_by_the_wearers_clock() {
        struct Noon;
        impl WallClock for Noon {
            fn wall(&self, instant: i64) -> i64 {
                instant + 12 * 3600
            }
        }
        let mut without = AlarmSettings::default();
        let mut high = without.rule(Kind::High);
        high.on = false;
        without.set_rule(Kind::High, high).unwrap();
        let mut plan = AlarmPlan::new(AlarmSettings::default()).unwrap();
        let profile = plan.add_profile(without).unwrap();
        plan.add_slot(Slot { days: Weekdays::ALL, from: 12 * 60, to: 15 * 60, profile }).unwrap();
        let highs = |clock: &dyn Fn(Monitor<288>, &[Reading]) -> Played| {
            let monitor = Monitor::new(Settings::default().with_alarms(plan)).unwrap();
            let day: Vec<u32> = (0..30).map(|n| n * 5).collect();
            told(&clock(monitor, &readings(&day, 390.0)))
                .iter()
                .filter(|(_, kind)| *kind == Kind::High)
                .count()
        };
        assert_eq!(highs(&|monitor, readings| play(monitor, readings, &Noon, &[])), 0);
        assert_ne!(highs(&|monitor, readings| play(monitor, readings, &Utc, &[])), 0);
    }

    #[test]
    fn of_a_reading_that_is_not_newer_nothing_is_said() {
        let monitor = Monitor::<288>::new(Settings::default()).unwrap();
        let mut walk = Walk::new(monitor, 2, Detail::Answers);
        for reading in readings(&[10, 5], 120.0) {
            walk.reading(Side::First, &reading, f32::NAN, &Utc);
        }
        let [newer, older] = walk.played.samples.as_slice() else { panic!("two readings") };
        assert!(newer.plasma.is_finite() && older.plasma.is_nan());
        let course = |sample: &Sample| sample.answers.as_ref().unwrap().course;
        assert!(course(newer).is_some() && course(older).is_none());
    }

    #[test]
    fn without_the_answers_the_rest_is_the_same() {
        let walked = |detail| {
            let monitor = Monitor::<288>::new(Settings::default()).unwrap();
            let mut walk = Walk::new(monitor, 3, detail);
            for reading in readings(&[0, 5, 10], 50.0) {
                walk.reading(Side::First, &reading, 51.0, &Utc);
            }
            walk.played.samples
        };
        let (all, few) = (walked(Detail::Answers), walked(Detail::Verdicts));
        assert!(all.iter().all(|sample| sample.answers.is_some()));
        assert!(few.iter().all(|sample| sample.answers.is_none()));
        let rest =
            |sample: &Sample| (sample.reading, sample.verdict, sample.plasma, sample.truth, sample.rang);
        assert!(few.iter().all(|sample| sample.plasma.is_finite() && sample.truth == 51.0));
        assert!(all.iter().map(rest).eq(few.iter().map(rest)));
    }

    #[test]
    fn believed_readings_are_those_of_both_sensors() {
        let monitor = Monitor::<288>::new(Settings::default()).unwrap();
        let mut some = readings(&[0, 5, 10], 120.0);
        some[1] = some[1].with_status(Status::Fault);
        assert_eq!(play(monitor, &some, &Utc, &[]).believed(), [some[0], some[2]]);

        let pair = PairMonitor::<288>::new(Settings::default(), Settings::default()).unwrap();
        let mut walk = Walk::new(pair, 4, Detail::Verdicts);
        for (n, reading) in readings(&[0, 1, 5, 6], 120.0).iter().enumerate() {
            let side = if n % 2 == 0 { Side::Second } else { Side::First };
            walk.reading(side, reading, f32::NAN, &Utc);
        }
        let minutes: Vec<u32> =
            walk.played.believed().iter().map(|reading| reading.at().secs() / 60).collect();
        assert_eq!(minutes, [0, 1, 5, 6]);
        let sides: Vec<Side> = walk.played.samples.iter().map(Sample::side).collect();
        assert_eq!(sides, [Side::Second, Side::First, Side::Second, Side::First]);
    }

    #[test]
    fn a_fingerstick_is_used_if_either_sensor_takes_it_in() {
        let pair = PairMonitor::<288>::new(Settings::default(), Settings::default()).unwrap();
        let mut walk = Walk::new(pair, 2, Detail::Verdicts);
        for reading in &readings(&[0, 5], 120.0) {
            walk.reading(Side::Second, reading, f32::NAN, &Utc);
        }
        walk.fingerstick(&Fingerstick::new(Instant::from_secs(360), Glucose::from_mg_dl(118.0).unwrap()));
        let [pricked] = walk.played.pricked.as_slice() else { panic!("one") };
        assert!(pricked.used && pricked.refused().is_none() && pricked.expected.is_finite(), "{pricked:?}");
    }
}
