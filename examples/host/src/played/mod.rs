//! A trace played through the monitor: what it knew, what rang, and which lows were warned of.

pub mod lows;
pub mod sample;
pub mod words;
mod worn;

use glidepath::alarm::{Kind, Rings};
use glidepath::forecast::Predicted;
use glidepath::quality::Verdict;
use glidepath::{Fingerstick, Instant, Reading, Settings, Side, Span, View};

use crate::failure::Failure;
use crate::progress::Progress;
use crate::table::{self, Trace};
use sample::{Pricked, Rang, Sample};
pub use worn::Beside;
use worn::Worn;

/// What the monitor said, moment by moment.
pub struct Played {
    pub samples: Vec<Sample>,
    pub alarms: Vec<Rang>,
    pub pricked: Vec<Pricked>,
    /// The sensor's noise as learned by the end; not a number when nothing was.
    pub noise_sd: f32,
    pub gain: f32,
    pub offset: f32,
}

/// The wrist looks at its clock this often when nothing arrives …
const TICK: Span = Span::from_mins(1);
/// … but a silence longer than this is no day to live through: the sensor was off.
const LONGEST_SILENCE: Span = Span::from_hours(24);
/// What is left of it is stepped over.
const STRIDE: Span = Span::from_hours(24);

impl Played {
    /// The readings that the alarms rang by; of two sensors those of the first.
    pub fn believed(&self) -> Vec<Reading> {
        let believed = self.samples.iter().filter(|s| s.verdict.is_believed() && s.side() == Side::First);
        believed.map(|s| s.reading).collect()
    }
}

/// Plays readings and fingersticks in order of time; whatever rings is acknowledged.
pub fn play(trace: &Trace, sticks: &[Fingerstick], settings: Settings) -> Result<Played, Failure> {
    play_worn(trace, None, sticks, settings)
}

/// A sensor whose first reading comes so long after the other's was put on later: its first day counts as one.
const PUT_ON_LATER: Span = Span::from_hours(6);

/// The same with a second sensor worn at once.
pub fn play_worn(
    trace: &Trace,
    second: Option<&Trace>,
    sticks: &[Fingerstick],
    settings: Settings,
) -> Result<Played, Failure> {
    let beside: &[Reading] = second.map_or(&[], |second| &second.readings);
    let length = trace.readings.len() + beside.len();
    let mut player = Player {
        worn: Worn::new(settings, second.is_some())?,
        samples: Vec::with_capacity(length),
        alarms: Vec::new(),
        pricked: Vec::new(),
        now: None,
    };
    let later = later(&trace.readings, beside);
    let progress = Progress::new("replaying", length as u64);
    let (mut sticks, mut beside) = (sticks.iter().peekable(), beside.iter().peekable());
    let truth = trace.column(table::TRUTH).unwrap_or_default();
    let mut first = trace.readings.iter().zip(0_usize..).peekable();
    for n in 0..length {
        // of two at one moment the second first: what is compared with the truth then knows both
        let earlier =
            first.peek().is_none_or(|(own, _)| beside.peek().is_some_and(|other| other.at() <= own.at()));
        let (side, reading, truth) = if earlier {
            let Some(reading) = beside.next() else { break };
            (Side::Second, reading, f32::NAN)
        } else {
            let Some((reading, row)) = first.next() else { break };
            (Side::First, reading, truth.get(row).copied().unwrap_or(f32::NAN))
        };
        while let Some(stick) = sticks.next_if(|stick| stick.at() < reading.at()) {
            player.fingerstick(stick);
        }
        player.pass(reading.at());
        let offset = trace.clock.lead(reading.at().secs().into());
        player.worn.set_utc_offset(i32::try_from(offset).ok().map(Span::from_secs));
        if later == Some((side, reading.at())) {
            player.worn.begins(side, reading.at(), &settings);
        }
        player.push(side, reading, truth);
        if n.is_multiple_of(4096) {
            progress.at(n as u64);
        }
    }
    sticks.for_each(|stick| player.fingerstick(stick));
    let Player { worn, samples, alarms, pricked, .. } = player;
    let (noise_sd, (gain, offset)) = worn.learned(samples.len(), &pricked);
    Ok(Played { samples, alarms, pricked, noise_sd, gain, offset })
}

/// Which of two sensors was put on later, and when its first reading came.
fn later(first: &[Reading], second: &[Reading]) -> Option<(Side, Instant)> {
    let (one, other) = (first.first()?.at(), second.first()?.at());
    if other.since(one) >= PUT_ON_LATER {
        Some((Side::Second, other))
    } else {
        (one.since(other) >= PUT_ON_LATER).then_some((Side::First, one))
    }
}

struct Player {
    worn: Worn,
    samples: Vec<Sample>,
    alarms: Vec<Rang>,
    pricked: Vec<Pricked>,
    now: Option<Instant>,
}

impl Player {
    fn push(&mut self, side: Side, reading: &Reading, truth: f32) {
        let (view, beside) = self.worn.push(side, reading);
        self.now = Some(reading.at());
        let rang = self.heard(view.rings());
        self.samples.push(Sample { truth, beside, ..sample(reading, &view, rang) });
    }

    /// Lets time pass up to `until`, as the wrist does: it tells its count of seconds and asks once a minute.
    fn pass(&mut self, until: Instant) {
        let Some(mut now) = self.now else {
            self.worn.run(until.secs());
            return;
        };
        let watched = self.samples.last().map_or(now, |last| last.reading.at().plus(LONGEST_SILENCE));
        while now < until {
            let step = if now < watched { TICK } else { STRIDE };
            now = now.plus(until.since(now).min(step));
            self.worn.run(now.secs());
            let view = self.worn.tick(now);
            if now <= watched {
                self.heard(view.rings());
            }
        }
        self.now = Some(now);
    }

    fn fingerstick(&mut self, stick: &Fingerstick) {
        self.pass(stick.at());
        let pricked = self.worn.fingerstick(stick);
        self.pricked.push(pricked);
    }

    fn heard(&mut self, rings: Rings<'_>) -> u16 {
        let mut bits = 0;
        for ring in rings.iter() {
            bits |= 1 << (ring.kind as u16);
            self.alarms.push(Rang {
                at: ring.at,
                kind: ring.kind,
                priority: ring.priority,
                cause: ring.cause,
                grounds: ring.grounds,
            });
        }
        self.worn.heard(rings);
        bits
    }
}

fn sample(reading: &Reading, view: &View, rang: u16) -> Sample {
    let known = |value: Option<f32>| value.unwrap_or(f32::NAN);
    let verdict = view.verdict().unwrap_or(Verdict::Accepted);
    // of a reading that is not newer the answers would be those of another moment
    let estimate = view.estimate().filter(|estimate| estimate.at() == reading.at());
    let timely = |value: Option<f32>| known(value.filter(|_| estimate.is_some()));
    let ahead = |predicted: Option<Predicted>| {
        (timely(predicted.map(|p| p.glucose().mg_dl())), timely(predicted.map(|p| p.sd())))
    };
    Sample {
        reading: *reading,
        verdict,
        plasma: known(estimate.map(|e| e.glucose().mg_dl())),
        // the two do not depend on each other
        plasma_sd: known(estimate.zip(view.calibration_sd()).map(|(e, open)| both(e.glucose_sd(), open))),
        own_sd: known(estimate.map(|e| e.glucose_sd())),
        #[cfg(test)]
        shown: known(view.shown().map(|shown| shown.glucose.mg_dl())),
        rate: known(estimate.map(|e| e.rate().mg_dl_per_min())),
        rate_sd: known(estimate.map(|e| e.rate_sd())),
        trend: view.trend(),
        predicted: timely(view.predicted_30min().map(|p| p.glucose().mg_dl())),
        predicted_sd: timely(view.predicted_30min().map(|p| p.sd())),
        low_probability: timely(view.low_probability()),
        minutes_to_low: timely(view.minutes_to_low()),
        predicted_15: ahead(view.predicted_15min()),
        predicted_60: ahead(view.predicted_60min()),
        low_ahead_signal: timely(view.low_ahead_signal()),
        direction: timely(view.direction().map(|direction| direction.rate().mg_dl_per_min())),
        truth: f32::NAN,
        beside: None,
        rang,
    }
}

/// Two deviations as one, by operations that give the same bits on every machine: a system's `hypot` does not.
pub fn both(one: f32, other: f32) -> f32 {
    (one * one + other * other).sqrt()
}

const _: () = assert!(Kind::ALL.len() <= 16, "alarms are kept as bits of 16");
