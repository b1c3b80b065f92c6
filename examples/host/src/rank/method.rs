//! The methods that are ranked.

use glidepath::smoothing::{
    Exponential, Holt, Level, MovingAverage, MovingMedian, SavitzkyGolay, TwoStateKalman,
};
use glidepath::trend::Trend;
use glidepath::{Fingerstick, Glucose, Instant, Reading};

use super::HORIZONS;

/// What a method makes of the readings so far. [`line`](Self::line) and [`held`](Self::held) fill in what a method without a
/// model of its own has no opinion on.
#[derive(Clone, Copy, Debug)]
pub struct Outlook {
    /// Plasma glucose now, mg/dL.
    pub now: f32,
    /// Its standard deviation, where the method has one.
    pub now_sd: Option<f32>,
    /// Its rate, mg/dL/min.
    pub rate: f32,
    /// Glucose at each of [`HORIZONS`], mg/dL.
    pub ahead: [f32; HORIZONS.len()],
    /// The standard deviation 30 minutes ahead.
    pub ahead_30_sd: Option<f32>,
    /// Half the widths of the intervals there that are to hold 50 and 95 %.
    pub half_widths: [Option<[f32; 2]>; HORIZONS.len()],
    /// The rate to expect over the next 20 minutes, mg/dL/min, if it is another than [`rate`](Self::rate).
    pub direction: f32,
    /// The trend, where the method has a sign of its own.
    pub trend: Option<Trend>,
    /// What an alarm compares with its limit: lower is nearer to a low.
    pub low_index: f32,
    /// The probability of being below 70 mg/dL within 30 minutes.
    pub low_probability: Option<f32>,
}

impl Outlook {
    /// Level and rate going on in a straight line; alarms look `alarm_min` ahead.
    pub fn line(now: f32, rate: f32, alarm_min: f32) -> Self {
        Self {
            now,
            now_sd: None,
            rate,
            ahead: HORIZONS.map(|minutes| now + minutes * rate),
            ahead_30_sd: None,
            half_widths: [None; HORIZONS.len()],
            direction: rate,
            trend: None,
            low_index: now + alarm_min * rate,
            low_probability: None,
        }
    }

    /// The level staying as it is.
    pub fn held(now: f32, rate: f32) -> Self {
        Self { ahead: [now; HORIZONS.len()], low_index: now, ..Self::line(now, rate, 0.0) }
    }
}

/// A causal method: it sees a reading and says where glucose is and where it goes. A closure that does is one, too.
pub trait Method {
    /// Takes a reading, oldest first; they come at any interval, and with gaps. What a sensor says of itself is in
    /// [`Reading::status`].
    fn step(&mut self, reading: &Reading) -> Outlook;

    /// Takes a fingerstick; most methods have no use for one. Called only where fingersticks are given (`--fingersticks`).
    fn calibrate(&mut self, _fingerstick: &Fingerstick) {}
}

impl<F: FnMut(&Reading) -> Outlook> Method for F {
    fn step(&mut self, reading: &Reading) -> Outlook {
        self(reading)
    }
}

/// A method by name.
pub struct Entry {
    pub(crate) name: String,
    /// The low index at which it alarms as shipped, mg/dL.
    pub(crate) alarm_at: f32,
    pub(crate) state_bytes: usize,
    /// It is told what nobody can know of a real sensor or person: ranked, but never named the best.
    pub(crate) told: bool,
    /// It is the caller's own: drawn before the others.
    pub(crate) own: bool,
    pub(crate) new: Box<dyn Fn() -> Box<dyn Method> + Sync + Send>,
}

impl Entry {
    /// A method called `name`, which alarms when its low index is under `alarm_at`, mg/dL. `new` makes a fresh one, for each
    /// trace. Its size on the stack stands in the tables as its state.
    pub fn new<M: Method + 'static>(
        name: &str,
        alarm_at: f32,
        new: impl Fn() -> M + Sync + Send + 'static,
    ) -> Self {
        Self {
            name: name.into(),
            alarm_at,
            state_bytes: size_of::<M>(),
            told: false,
            own: false,
            new: Box::new(move || Box::new(new())),
        }
    }

    /// Its name.
    pub fn name(&self) -> &str {
        &self.name
    }

    /// The same as one that is told what nobody can know, such as this sensor's noise: ranked, but never named the best.
    pub fn told(self) -> Self {
        Self { told: true, ..self }
    }
}

/// What a person would pick without this crate, the monitor as shipped and its estimator alone, and `own` methods.
pub fn beside(own: Vec<Entry>) -> Vec<Entry> {
    let mut all = usual();
    all.extend(super::ours::shipped());
    all.extend(owned(own));
    all
}

/// The caller's own, marked as such.
pub(crate) fn owned(own: Vec<Entry>) -> Vec<Entry> {
    own.into_iter().map(|entry| Entry { own: true, ..entry }).collect()
}

/// Room for half an hour of readings a minute apart.
const ROOM: usize = 32;

/// A slope for smoothers without one: the line through the last 15 minutes of what they say.
struct Slope(SavitzkyGolay<ROOM>);

impl Slope {
    fn new() -> Self {
        Self(SavitzkyGolay::new(15.0, 1).expect("in range"))
    }

    fn of(&mut self, at: Instant, glucose: Glucose) -> f32 {
        self.0.step(at, glucose).rate().map_or(0.0, glidepath::Rate::mg_dl_per_min)
    }
}

/// A smoother without a rate of its own, and the line through its last 15 minutes.
struct WithSlope<S> {
    smoother: S,
    slope: Slope,
    alarm_min: f32,
    step: fn(&mut S, Instant, Glucose) -> Level,
}

impl<S> WithSlope<S> {
    fn new(smoother: S, alarm_min: f32, step: fn(&mut S, Instant, Glucose) -> Level) -> Self {
        Self { smoother, slope: Slope::new(), alarm_min, step }
    }
}

impl<S> Method for WithSlope<S> {
    fn step(&mut self, reading: &Reading) -> Outlook {
        let level = (self.step)(&mut self.smoother, reading.at(), reading.glucose()).glucose();
        let rate = self.slope.of(reading.at(), level);
        Outlook::line(level.mg_dl(), rate, self.alarm_min)
    }
}

/// A smoother with a rate: where it goes is up to `outlook`.
struct WithRate<S> {
    smoother: S,
    step: fn(&mut S, Instant, Glucose) -> Level,
    outlook: fn(f32, f32) -> Outlook,
}

impl<S> Method for WithRate<S> {
    fn step(&mut self, reading: &Reading) -> Outlook {
        let level = (self.step)(&mut self.smoother, reading.at(), reading.glucose());
        (self.outlook)(level.glucose().mg_dl(), level.rate().map_or(0.0, glidepath::Rate::mg_dl_per_min))
    }
}

/// Minutes after which a damped rate is 1/e of itself.
const DAMPING: f32 = 35.0;

/// The level moved by a rate that dies away; alarms look 45 minutes ahead in a straight line.
pub fn damped(now: f32, rate: f32) -> Outlook {
    let reach = |minutes: f32| DAMPING * (1.0 - (-minutes / DAMPING).exp());
    Outlook { ahead: HORIZONS.map(|minutes| now + reach(minutes) * rate), ..Outlook::line(now, rate, 45.0) }
}

/// What a person would pick without this crate: readings as they are, and smoothers. Windows, time constants and alarm horizons are those that
/// do best on the tuning people; alarms are at 70 mg/dL.
pub fn usual() -> Vec<Entry> {
    [plain(), averages(), with_rates()].into_iter().flatten().collect()
}

/// Where alarms of the usual methods ring, mg/dL.
const LIMIT: f32 = 70.0;

/// The readings as they are.
fn plain() -> Vec<Entry> {
    vec![
        Entry::new("raw, held", LIMIT, || {
            let mut last: Option<Reading> = None;
            move |reading: &Reading| {
                let now = reading.glucose().mg_dl();
                let rate = last.map_or(0.0, |last| {
                    let span = reading.at().since(last.at()).mins();
                    if span > 0.0 { (now - last.glucose().mg_dl()) / span } else { 0.0 }
                });
                last = Some(*reading);
                Outlook::held(now, rate)
            }
        }),
        Entry::new("raw, 15-min line", LIMIT, || {
            let mut slope = Slope::new();
            move |reading: &Reading| {
                let rate = slope.of(reading.at(), reading.glucose());
                Outlook::line(reading.glucose().mg_dl(), rate, 30.0)
            }
        }),
    ]
}

/// Levels, and the line through the last 15 minutes of them.
fn averages() -> Vec<Entry> {
    vec![
        Entry::new("moving average 15 min, line", LIMIT, || {
            let average = MovingAverage::<ROOM>::new(15.0).expect("in range");
            WithSlope::new(average, 45.0, MovingAverage::step)
        }),
        Entry::new("moving average 25 min, line", LIMIT, || {
            let average = MovingAverage::<ROOM>::new(25.0).expect("in range");
            WithSlope::new(average, 45.0, MovingAverage::step)
        }),
        Entry::new("median 15 min, line", LIMIT, || {
            let median = MovingMedian::<ROOM>::new(15.0).expect("in range");
            WithSlope::new(median, 45.0, MovingMedian::step)
        }),
        Entry::new("exponential 7 min, line", LIMIT, || {
            let exponential = Exponential::new(7.2).expect("in range");
            WithSlope::new(exponential, 45.0, Exponential::step)
        }),
    ]
}

/// Smoothers that have a rate.
fn with_rates() -> Vec<Entry> {
    vec![
        Entry::new("Holt 4 and 20 min", LIMIT, || WithRate {
            smoother: Holt::new(4.0, 20.0).expect("in range"),
            step: Holt::step,
            outlook: |now, rate| Outlook::line(now, rate, 45.0),
        }),
        Entry::new("Savitzky-Golay 20 min line", LIMIT, || WithRate {
            smoother: SavitzkyGolay::<ROOM>::new(20.0, 1).expect("in range"),
            step: SavitzkyGolay::step,
            outlook: |now, rate| Outlook::line(now, rate, 45.0),
        }),
        Entry::new("Savitzky-Golay 30 min parabola", LIMIT, || WithRate {
            smoother: SavitzkyGolay::<ROOM>::new(30.0, 2).expect("in range"),
            step: SavitzkyGolay::step,
            outlook: |now, rate| Outlook::line(now, rate, 45.0),
        }),
        Entry::new("Savitzky-Golay 20 min line + 8 min of slope", LIMIT, || WithRate {
            smoother: SavitzkyGolay::<ROOM>::new(20.0, 1).expect("in range"),
            step: SavitzkyGolay::step,
            outlook: |now, rate| Outlook::line(now + 8.0 * rate, rate, 45.0),
        }),
        Entry::new("two-state Kalman", LIMIT, || WithRate {
            smoother: TwoStateKalman::new(0.05, 5.0, None).expect("in range"),
            step: TwoStateKalman::step,
            outlook: |now, rate| Outlook::line(now, rate, 45.0),
        }),
        Entry::new("two-state Kalman, damped", LIMIT, || WithRate {
            smoother: TwoStateKalman::new(0.05, 5.0, Some(DAMPING)).expect("in range"),
            step: TwoStateKalman::step,
            outlook: damped,
        }),
    ]
}
