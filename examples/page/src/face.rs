//! What the browser calls: rows of numbers go in and come out, words come out as text whose parts are split by tabs. Every
//! call is total.

use alloc::vec::Vec;

use glidepath::alarm::{AlarmSettings, Kind};
use glidepath::review::Ranges;
use glidepath::{Bound, Fingerstick, Instant, Monitor, Settings, Span, Status};
use glidepath_replay::{WallClock as _, score, walk};

use crate::table::{Clock, Table, Unit};
use crate::{alarms, table, weeks};

/// A day of readings, as on the wrist.
const READINGS: usize = 288;
/// An alarm about lows is true when a low follows within this.
const WINDOW: Span = Span::from_mins(60);

/// All that the page knows.
#[derive(Default)]
pub struct Page {
    trace: Table,
    sticks: Vec<Fingerstick>,
    settings: AlarmSettings,
    played: walk::Played,
    score: Option<score::Score>,
    weeks: Option<weeks::Weeks>,
    words: Vec<u8>,
    numbers: Vec<f64>,
}

/// Sorts of numbers, in the order of the page's script.
pub const SAMPLES: u32 = 0;
pub const RINGS: u32 = 1;
pub const SCORE: u32 = 2;
pub const REVIEW: u32 = 3;
pub const QUARTERS: u32 = 4;
pub const EPISODES: u32 = 5;
pub const STICKS: u32 = 6;
pub const KINDS: u32 = 7;

fn known(value: Option<f32>) -> f64 {
    value.map_or(f64::NAN, f64::from)
}

fn flag(holds: bool) -> f64 {
    f64::from(u8::from(holds))
}

impl Page {
    /// Takes a trace in the place of the one before and of its fingersticks: its rows as [`table::readings`] has them,
    /// and `clock`, pairs of an instant and the lead on it from then on. False, and no change, when they are none.
    pub fn trace(&mut self, rows: &[f64], clock: &[f64], unit: Unit, interval_s: u32) -> bool {
        let Some(readings) = table::readings(rows, unit) else { return false };
        let (pairs, _) = clock.as_chunks();
        let clock = Clock(pairs.iter().map(|[from, lead]| (*from as i64, *lead as i64)).collect());
        self.trace = Table { readings, clock, unit, interval_s };
        self.sticks = Vec::new();
        self.weeks = Some(weeks::review(&self.trace));
        true
    }

    /// Takes fingersticks in the place of those before. False, and no change, when they are none.
    pub fn fingersticks(&mut self, rows: &[f64], unit: Unit) -> bool {
        let sticks = table::fingersticks(rows, unit);
        let taken = sticks.is_some();
        self.sticks = sticks.unwrap_or(core::mem::take(&mut self.sticks));
        taken
    }

    /// Sets a kind of alarm; false, and no change, when the library refuses it.
    pub fn set(&mut self, kind: u32, on: bool, limit: f32) -> bool {
        let kind = usize::try_from(kind).ok().and_then(|n| Kind::ALL.get(n).copied());
        let changed = kind.and_then(|kind| alarms::with(&self.settings, kind, on, limit));
        self.settings = changed.unwrap_or(self.settings);
        changed.is_some()
    }

    /// Brings all alarms back to the library's defaults.
    pub fn defaults(&mut self) {
        self.settings = AlarmSettings::default();
    }

    /// Replays the trace with the alarms as they are set, and scores them.
    pub fn play(&mut self) -> bool {
        let trace = &self.trace;
        let Some(plan) = alarms::plan(&self.settings) else { return false };
        let Ok(monitor) = Monitor::<READINGS>::new(Settings::default().with_alarms(plan)) else {
            return false;
        };
        let played = walk::play(monitor, &trace.readings, &trace.clock, &self.sticks);
        let believed = played.believed();
        self.score =
            Some(score::score(&believed, &believed, &played.rings, trace.interval_s, &trace.clock, WINDOW));
        self.played = played;
        true
    }

    fn wall(&self, at: Instant) -> f64 {
        self.trace.clock.wall(at.secs().into()) as f64
    }

    /// The numbers of a sort, row after row.
    pub fn numbers(&mut self, sort: u32) -> &[f64] {
        let mut out = core::mem::take(&mut self.numbers);
        out.clear();
        match sort {
            SAMPLES => self.played.samples.iter().for_each(|sample| self.sample(sample, &mut out)),
            RINGS => {
                for ring in &self.played.rings {
                    out.extend([self.wall(ring.at), f64::from(ring.kind as u8), f64::from(ring.cause as u8)]);
                    out.push(known(ring.trigger.glucose().map(|glucose| glucose.mg_dl())));
                }
            }
            SCORE => self.scored(&mut out),
            REVIEW => self.reviewed(&mut out),
            QUARTERS => {
                for quarter in self.weeks.iter().flat_map(|weeks| &weeks.quarters) {
                    out.extend([f64::from(quarter.minute), f64::from(quarter.values)]);
                    out.extend((0..5).map(|n| known(quarter.percentiles.and_then(|p| p.get(n).copied()))));
                }
            }
            EPISODES => {
                for listed in self.weeks.iter().flat_map(|weeks| &weeks.episodes) {
                    out.extend([listed.rule as f64, self.wall(listed.start), self.wall(listed.end)]);
                    out.push(f64::from(listed.end.since(listed.start).secs()));
                    out.push(f64::from(listed.extreme));
                }
            }
            STICKS => {
                for pricked in &self.played.pricked {
                    out.extend([self.wall(pricked.stick.at()), f64::from(pricked.stick.glucose().mg_dl())]);
                    out.extend([f64::from(pricked.expected), flag(pricked.used)]);
                }
            }
            KINDS => {
                for kind in Kind::ALL {
                    let set = alarms::get(&self.settings, kind);
                    let (least, most) = set.range;
                    out.push(flag(set.on));
                    out.extend([set.limit, least, most].map(f64::from));
                }
            }
            _ => {}
        }
        self.numbers = out;
        &self.numbers
    }

    /// The numbers last given.
    pub fn numbers_kept(&self) -> &[f64] {
        &self.numbers
    }

    /// The words last given.
    pub fn words_kept(&self) -> &[u8] {
        &self.words
    }

    fn sample(&self, sample: &walk::Sample, out: &mut Vec<f64>) {
        let Some(answers) = &sample.answers else { return };
        out.extend([
            self.wall(sample.reading.at()),
            f64::from(sample.reading.at().secs()),
            f64::from(sample.reading.glucose().mg_dl()),
            match sample.reading.status() {
                Status::BelowRange => -1.0,
                Status::AboveRange => 1.0,
                _ => 0.0,
            },
        ]);
        let (shown, bound) = match answers.shown {
            Some(shown) => (
                f64::from(shown.glucose.mg_dl()),
                match shown.bound {
                    Some(Bound::AtMost(_)) => -1.0,
                    Some(Bound::AtLeast(_)) => 1.0,
                    None if shown.doubted => 2.0,
                    None => 0.0,
                },
            ),
            None => (f64::NAN, 0.0),
        };
        out.extend([shown, bound]);
        let [(p15, s15), (p30, s30), (p60, s60)] = [15, 30, 60].map(|minutes| answers.predicted(minutes));
        let numbers = [
            sample.plasma,
            answers.plasma_sd,
            answers.rate,
            answers.rate_sd,
            p15,
            s15,
            p30,
            s30,
            p60,
            s60,
            answers.low_probability,
            answers.minutes_to_low,
            answers.low_ahead_signal,
            answers.direction,
        ];
        out.extend(numbers.map(f64::from));
        out.push(f64::from(sample.rang));
    }

    fn scored(&self, out: &mut Vec<f64>) {
        let Some(score) = &self.score else { return };
        let whole = [
            score.nights,
            score.nights_woken,
            score.rings,
            score.night_rings,
            score.alarms,
            score.lows.len() as u32,
            score.lows_warned,
            score.lows_warned_10_min,
        ];
        out.push(score.days);
        out.extend(whole.map(f64::from));
        out.push(score.median_warning_min.unwrap_or(f64::NAN));
        for kind in &score.kinds {
            out.extend([
                f64::from(kind.alarms),
                f64::from(kind.rings),
                kind.true_alarms.map_or(f64::NAN, f64::from),
            ]);
        }
    }

    fn reviewed(&self, out: &mut Vec<f64>) {
        let Some(summary) = self.weeks.as_ref().map(|weeks| &weeks.summary) else { return };
        out.extend([f64::from(summary.readings), f64::from(summary.days), flag(summary.suffices())]);
        let figures = [
            summary.active_percent,
            summary.mean_mg_dl,
            summary.sd_mg_dl,
            summary.cv_percent,
            summary.gmi_percent,
            summary.mage_mg_dl,
            summary.modd_mg_dl,
            summary.lbgi,
            summary.hbgi,
            summary.gri,
        ];
        out.extend(figures.map(known));
        let shares: [fn(&Ranges) -> f32; 7] = [
            |r| r.below_54,
            |r| r.from_54_to_69,
            |r| r.from_70_to_180,
            |r| r.from_181_to_250,
            |r| r.above_250,
            Ranges::below_70,
            Ranges::above_180,
        ];
        out.extend(shares.map(|share| known(summary.by_time.as_ref().map(share))));
        for total in &summary.episodes {
            out.extend([f64::from(total.count), f64::from(total.seconds) / 60.0]);
        }
    }

    /// Words about row `n` of a sort: of a sample the verdict, the trend, the grade and its reasons; of a ring the kind,
    /// the priority, the cause, the trigger and the message; of a fingerstick what became of it; of a kind its name,
    /// message and unit. Of anything else none.
    pub fn words(&mut self, sort: u32, n: u32) -> &[u8] {
        let n = usize::try_from(n).unwrap_or(usize::MAX);
        let mut said: Vec<&str> = Vec::new();
        match sort {
            SAMPLES => {
                if let Some(sample) = self.played.samples.get(n)
                    && let Some(answers) = &sample.answers
                {
                    said.extend([
                        sample.verdict.name(),
                        answers.trend.words(),
                        answers.reasons.grade().name(),
                    ]);
                    said.extend(answers.reasons.iter().map(|reason| reason.name()));
                }
            }
            RINGS => {
                if let Some(ring) = self.played.rings.get(n) {
                    said.extend([ring.kind.name(), ring.priority.name(), ring.cause.name()]);
                    said.extend([ring.trigger.name(), ring.kind.message()]);
                }
            }
            STICKS => said.extend(self.played.pricked.get(n).map(|pricked| pricked.words)),
            KINDS => {
                if let Some(kind) = Kind::ALL.get(n) {
                    said.extend([kind.name(), kind.message(), kind.info().unit.name()]);
                }
            }
            _ => {}
        }
        self.words.clear();
        for (place, part) in said.into_iter().enumerate() {
            self.words.extend_from_slice(if place > 0 { b"\t" } else { b"" });
            self.words.extend_from_slice(part.as_bytes());
        }
        &self.words
    }
}
