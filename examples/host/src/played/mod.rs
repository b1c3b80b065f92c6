//! A trace of the desk played through the monitor of one sensor, or of two worn at once.

pub mod words;
pub mod written;

use glidepath::{Fingerstick, Instant, Monitor, PairMonitor, Reading, Settings, Side, Span};
pub use glidepath_replay::heard::Heard;
pub use glidepath_replay::lows;
use glidepath_replay::walk::{self, Walk, Worn};
pub use glidepath_replay::walk::{Answers, Beside, Detail, Pricked, Sample, both};

use crate::failure::Failure;
use crate::progress::Progress;
use crate::table::{self, Trace};

/// A day of readings of each sensor, as on the wrist.
const READINGS: usize = 288;

/// What was recorded of a person: the trace of one sensor, or of two worn at once, and fingersticks, each in order of time.
#[derive(Clone, Copy)]
pub struct Traces<'a> {
    pub first: &'a Trace,
    pub second: Option<&'a Trace>,
    pub sticks: &'a [Fingerstick],
}

/// What comes to the monitor next.
#[derive(Clone, Copy, Debug)]
pub enum Next<'a> {
    Stick(&'a Fingerstick),
    /// A sensor was put on while the other is worn; its first reading comes then, at the end of its warm-up.
    Began(Side, Instant),
    /// A reading, with the truth beside it or not a number.
    Reading(Side, &'a Reading, f32),
}

impl<'a> Traces<'a> {
    /// Seconds between readings; of two sensors, those of the one that reads less often: the other one's end must not make all
    /// that follows a gap.
    pub fn interval_s(&self) -> u32 {
        let of = |trace: &Trace| trace.interval_s;
        of(self.first).max(self.second.and_then(of)).unwrap_or(300)
    }

    /// How many readings there are.
    pub fn readings(&self) -> usize {
        self.first.readings.len() + self.second.map_or(0, |second| second.readings.len())
    }

    /// Everything in order of time.
    pub fn each(&self) -> impl Iterator<Item = Next<'a>> {
        let beside = self.second.map_or(&[][..], |second| &second.readings);
        let mut later = later(&self.first.readings, beside);
        let (mut sticks, mut beside) = (self.sticks.iter().peekable(), beside.iter().peekable());
        let truth = self.first.column(table::TRUTH).unwrap_or_default();
        let mut first = self.first.readings.iter().zip(0_usize..).peekable();
        std::iter::from_fn(move || {
            // of two at one moment the second first: what is compared with the truth then knows both
            let (side, reading, truth) = match (first.peek(), beside.peek()) {
                (Some((own, row)), other) if other.is_none_or(|other| own.at() < other.at()) => {
                    (Side::First, *own, truth.get(*row).copied().unwrap_or(f32::NAN))
                }
                (_, Some(other)) => (Side::Second, *other, f32::NAN),
                (_, None) => return sticks.next().map(Next::Stick),
            };
            if let Some(stick) = sticks.next_if(|stick| stick.at() < reading.at()) {
                return Some(Next::Stick(stick));
            }
            if let Some((side, at)) = later.take_if(|later| *later == (side, reading.at())) {
                return Some(Next::Began(side, at));
            }
            match side {
                Side::First => _ = first.next(),
                Side::Second => _ = beside.next(),
            }
            Some(Next::Reading(side, reading, truth))
        })
    }

    /// Plays it all through the monitor; whatever rings is acknowledged.
    pub fn play(&self, settings: Settings, detail: Detail) -> Result<Played, Failure> {
        let refused = |error| Failure::new(format!("the monitor's settings: {error}"));
        if self.second.is_some() {
            let monitor = PairMonitor::<READINGS>::new(settings, settings).map_err(refused)?;
            let began = |monitor: &mut PairMonitor<READINGS>, side, first| {
                monitor.sensor_started(side, start(first, &settings));
            };
            let said = self.walked(monitor, detail, began).played;
            return Ok(Played { said, noise_sd: f32::NAN, gain: f32::NAN, offset: f32::NAN });
        }
        let monitor = Monitor::<READINGS>::new(settings).map_err(refused)?;
        let Walk { worn: monitor, played: said, .. } = self.walked(monitor, detail, |_, _, _| {});
        let noise_sd = if said.samples.len() > 1 { monitor.estimator().noise_sd() } else { f32::NAN };
        let used = said.pricked.iter().any(|pricked| pricked.used);
        let (gain, offset) = if used { monitor.gain_and_offset() } else { (f32::NAN, f32::NAN) };
        Ok(Played { said, noise_sd, gain, offset })
    }

    /// Lives through it; `began` is told when a sensor is put on while the other is worn.
    fn walked<W: Worn>(
        &self,
        worn: W,
        detail: Detail,
        mut began: impl FnMut(&mut W, Side, Instant),
    ) -> Walk<W> {
        let (length, clock) = (self.readings(), &self.first.clock);
        let mut walk = Walk::new(worn, length, detail);
        let progress = Progress::new("replaying", length as u64);
        for next in self.each() {
            match next {
                Next::Stick(stick) => walk.fingerstick(stick),
                Next::Began(side, at) => {
                    walk.until(at, clock);
                    began(&mut walk.worn, side, at);
                }
                Next::Reading(side, reading, truth) => {
                    let n = walk.played.samples.len();
                    walk.reading(side, reading, truth, clock);
                    if n.is_multiple_of(4096) {
                        progress.at(n as u64);
                    }
                }
            }
        }
        walk
    }
}

/// When a sensor was started whose first reading came at the end of its warm-up.
pub fn start(first: Instant, settings: &Settings) -> Instant {
    first.plus(Span::from_secs(settings.quality.warm_up.secs().saturating_neg()))
}

/// What the monitor said, moment by moment.
pub struct Played {
    pub said: walk::Played,
    /// The sensor's noise as learned by the end, of one sensor; not a number when nothing was.
    pub noise_sd: f32,
    /// Its calibration; not numbers where no fingerstick was used.
    pub gain: f32,
    pub offset: f32,
}

/// A sensor whose first reading comes so long after the other's was put on later: its first day counts as one.
pub const PUT_ON_LATER: Span = Span::from_hours(6);

/// Which of two sensors was put on later, and when its first reading came.
fn later(first: &[Reading], second: &[Reading]) -> Option<(Side, Instant)> {
    let (one, other) = (first.first()?.at(), second.first()?.at());
    if other.since(one) >= PUT_ON_LATER {
        Some((Side::Second, other))
    } else {
        (one.since(other) >= PUT_ON_LATER).then_some((Side::First, one))
    }
}
