//! Drives the monitor through a trace as the wrist would live it: the time told and a tick once a minute between
//! readings, and whatever rings acknowledged.

use alloc::vec::Vec;

use glidepath::alarm::{AlarmPlan, Ring, Rings};
use glidepath::forecast::Predicted;
use glidepath::quality::{Reasons, Verdict};
use glidepath::trend::Trend;
use glidepath::{Error, Fingerstick, Instant, Monitor, Reading, Settings, Shown, Span, View};

use crate::table::Clock;

const TICK: Span = Span::from_mins(1);
/// A silence longer than this is no day to live through: the sensor was off. The rest is stepped over.
const LONGEST_SILENCE: Span = Span::from_hours(24);

/// What was known right after one reading. Numbers that are not known are not a number.
#[derive(Clone, Copy, Debug)]
pub struct Sample {
    pub reading: Reading,
    pub verdict: Verdict,
    pub plasma: f32,
    /// The whole uncertainty: the estimate's own and what the calibration leaves open.
    pub plasma_sd: f32,
    pub rate: f32,
    pub rate_sd: f32,
    pub trend: Trend,
    /// What the sensor will read in 15, 30 and 60 minutes, and how unsure that is.
    pub ahead: [(f32, f32); 3],
    pub low_probability: f32,
    pub minutes_to_low: f32,
    pub low_ahead_signal: f32,
    /// The rate to expect over the next 20 minutes.
    pub direction: f32,
    /// The value to show as the present one.
    pub shown: Option<Shown>,
    pub reasons: Reasons,
    /// The alarms that rang with it, a bit for each of [`Kind::ALL`](glidepath::alarm::Kind::ALL).
    pub rang: u16,
}

/// What became of a fingerstick.
#[derive(Clone, Copy, Debug)]
pub struct Pricked {
    pub stick: Fingerstick,
    /// What was expected just before; not a number when nothing was.
    pub expected: f32,
    pub used: bool,
    pub words: &'static str,
}

/// What the monitor said, moment by moment.
#[derive(Clone, Debug, Default)]
pub struct Played {
    pub samples: Vec<Sample>,
    pub rings: Vec<Ring>,
    pub pricked: Vec<Pricked>,
}

impl Played {
    /// The readings that the alarms rang by.
    pub fn believed(&self) -> Vec<Reading> {
        self.samples
            .iter()
            .filter(|sample| sample.verdict.is_believed())
            .map(|sample| sample.reading)
            .collect()
    }
}

struct Walk {
    /// A day of readings, as on the wrist.
    monitor: Monitor<288>,
    played: Played,
    now: Option<Instant>,
}

/// Plays readings and fingersticks, both in order of time.
///
/// # Errors
/// When the library refuses its own standard settings.
pub fn play(
    readings: &[Reading],
    clock: &Clock,
    sticks: &[Fingerstick],
    alarms: AlarmPlan,
) -> Result<Played, Error> {
    let monitor = Monitor::new(Settings::default().with_alarms(alarms))?;
    let mut walk = Walk { monitor, played: Played::default(), now: None };
    walk.played.samples.reserve(readings.len());
    let mut sticks = sticks.iter().peekable();
    for reading in readings {
        while let Some(stick) = sticks.next_if(|stick| stick.at() < reading.at()) {
            walk.fingerstick(stick);
        }
        walk.pass(reading.at());
        let lead = i32::try_from(clock.lead(reading.at().secs().into())).ok();
        walk.monitor.set_utc_offset(lead.map(Span::from_secs));
        walk.push(reading);
    }
    sticks.for_each(|stick| walk.fingerstick(stick));
    Ok(walk.played)
}

impl Walk {
    fn push(&mut self, reading: &Reading) {
        let view = self.monitor.push(reading);
        self.now = Some(reading.at());
        let rang = self.heard(view.rings());
        self.played.samples.push(sample(reading, &view, rang));
    }

    /// Lets time pass up to `until`.
    fn pass(&mut self, until: Instant) {
        let Some(mut now) = self.now else {
            self.monitor.run(until.secs());
            return;
        };
        let watched = self.played.samples.last().map_or(now, |last| last.reading.at().plus(LONGEST_SILENCE));
        while now < until {
            let step = if now < watched { TICK } else { LONGEST_SILENCE };
            now = now.plus(until.since(now).min(step));
            self.monitor.run(now.secs());
            let view = self.monitor.tick(now);
            if now <= watched {
                self.heard(view.rings());
            }
        }
        self.now = Some(now);
    }

    fn fingerstick(&mut self, stick: &Fingerstick) {
        self.pass(stick.at());
        let outcome = self.monitor.fingerstick(stick);
        let expected = known(outcome.expected().map(|expected| expected.glucose.mg_dl()));
        let (used, words) = (outcome.is_used(), outcome.words());
        self.played.pricked.push(Pricked { stick: *stick, expected, used, words });
    }

    fn heard(&mut self, rings: Rings<'_>) -> u16 {
        let mut bits = 0;
        for ring in rings.iter() {
            bits |= 1 << (ring.kind as u16);
            self.played.rings.push(*ring);
        }
        if bits != 0 {
            self.monitor.acknowledge();
        }
        bits
    }
}

fn known(value: Option<f32>) -> f32 {
    value.unwrap_or(f32::NAN)
}

/// Two deviations as one, by operations that give the same bits on every machine: a system's `hypot` does not.
fn both(one: f32, other: f32) -> f32 {
    libm::sqrtf(one * one + other * other)
}

fn sample(reading: &Reading, view: &View, rang: u16) -> Sample {
    // of a reading that is not newer the answers would be those of another moment
    let estimate = view.estimate().filter(|estimate| estimate.at() == reading.at());
    let timely = |value: Option<f32>| known(value.filter(|_| estimate.is_some()));
    let ahead = |predicted: Option<Predicted>| {
        (timely(predicted.map(|p| p.glucose().mg_dl())), timely(predicted.map(|p| p.sd())))
    };
    Sample {
        reading: *reading,
        verdict: view.verdict().unwrap_or(Verdict::Accepted),
        plasma: known(estimate.map(|e| e.glucose().mg_dl())),
        // the two do not depend on each other
        plasma_sd: known(estimate.zip(view.calibration_sd()).map(|(e, open)| both(e.glucose_sd(), open))),
        rate: known(estimate.map(|e| e.rate().mg_dl_per_min())),
        rate_sd: known(estimate.map(|e| e.rate_sd())),
        trend: view.trend(),
        ahead: [view.predicted_15min(), view.predicted_30min(), view.predicted_60min()].map(ahead),
        low_probability: timely(view.low_probability()),
        minutes_to_low: timely(view.minutes_to_low()),
        low_ahead_signal: timely(view.low_ahead_signal()),
        direction: timely(view.direction().map(|direction| direction.rate().mg_dl_per_min())),
        shown: view.shown(),
        reasons: view.reasons(),
        rang,
    }
}
