//! Was a number there, how old was it, and what was missing when it mattered.

use glidepath::accuracy::{DisplayedAge, MissingData, MissingSummary, Period, cost_per_day};
use glidepath::{Instant, Rate, Reading, Span, Status};
use serde::Serialize;

use super::input::Worn;

/// How long a number stays on a screen (common practice, no source).
const SHOWN_FOR: Span = Span::from_mins(20);

/// The age of the number on the screen.
#[derive(Clone, Copy, Debug, Serialize)]
pub struct Age {
    /// What the age counts from: the measured lag, or the sensor's own stamp where no lag could be measured.
    pub lag_counted_min: Option<f32>,
    pub delivery_min: f32,
    pub mean_min: Option<f32>,
    pub p05_min: Option<f32>,
    pub median_min: Option<f32>,
    pub p95_min: Option<f32>,
    pub oldest_min: Option<f32>,
    pub shown_percent: Option<f32>,
    /// What a number of the median and of the 95 % age is off by at a steady 1, 2 and 3 mg/dL per minute.
    pub median_off_by_mg_dl: Option<[f32; 3]>,
    pub p95_off_by_mg_dl: Option<[f32; 3]>,
}

pub fn age(worn: &Worn, lag_min: Option<f32>) -> Age {
    let lag_min = lag_min.map(|lag| lag.clamp(0.0, 45.0));
    let delay_s = lag_min.unwrap_or(0.0) * 60.0 + worn.delivery.secs() as f32;
    let mut age = DisplayedAge::new(Span::from_secs((delay_s as i32).clamp(0, 3600)), SHOWN_FOR).ok();
    let shown = worn.readings.iter().filter(|reading| valued(reading));
    let times: Vec<Instant> = shown.map(Reading::at).collect();
    if let Some(age) = &mut age {
        times.windows(2).for_each(|pair| age.push_interval(pair[1].since(pair[0])));
    }
    let percentile = |p| age.and_then(|age| age.percentile_min(p));
    let off = |minutes: f32| [minutes, 2.0 * minutes, 3.0 * minutes];
    Age {
        lag_counted_min: lag_min,
        delivery_min: worn.delivery.mins(),
        mean_min: age.and_then(|age| age.mean_min()),
        p05_min: percentile(5.0),
        median_min: percentile(50.0),
        p95_min: percentile(95.0),
        oldest_min: age.and_then(|age| age.oldest_min()),
        shown_percent: age.and_then(|age| age.shown_percent()),
        median_off_by_mg_dl: percentile(50.0).map(off),
        p95_off_by_mg_dl: percentile(95.0).map(off),
    }
}

fn valued(reading: &Reading) -> bool {
    matches!(reading.status(), Status::Normal | Status::BelowRange | Status::AboveRange)
}

/// What was missing in one situation.
#[derive(Clone, Copy, Debug, Serialize)]
pub struct Missing {
    pub hours: f32,
    pub missing_hours: f32,
    pub gaps: u32,
    pub errors: u32,
    pub gaps_per_100_h: Option<f32>,
    pub errors_per_100_h: Option<f32>,
}

impl From<MissingSummary> for Missing {
    fn from(missed: MissingSummary) -> Self {
        Self {
            hours: missed.hours(),
            missing_hours: missed.missing_hours(),
            gaps: missed.gaps(),
            errors: missed.errors(),
            gaps_per_100_h: missed.gaps_per_100_h(),
            errors_per_100_h: missed.errors_per_100_h(),
        }
    }
}

/// What was missing, by situation.
#[derive(Clone, Copy, Debug, Serialize)]
pub struct MissingWhen {
    pub any_time: Missing,
    pub falling_fast: Missing,
    pub low: Missing,
    pub night: Missing,
    pub first_day: Missing,
    /// In any of the four.
    pub when_it_mattered: Missing,
}

pub fn missing(worn: &Worn) -> Option<MissingWhen> {
    let mut starts = worn.starts.iter().skip(1).peekable();
    let fresh = |start: Instant| {
        let clock = worn.clock.wall(start.secs().into()) - i64::from(start.secs());
        MissingData::new(worn.interval, start, Span::from_secs(i32::try_from(clock).unwrap_or(0))).ok()
    };
    let mut all = vec![fresh(worn.starts[0])?];
    for (index, reading) in worn.readings.iter().enumerate() {
        if let Some(start) = starts.next_if(|start| **start <= reading.at()) {
            all.push(fresh(*start)?);
        }
        all.last_mut()?.push(reading, recent_rate(&worn.readings[..=index]));
    }
    let during = |when| sum(all.iter().map(|data| data.during(when)));
    Some(MissingWhen {
        any_time: during(Period::Any),
        falling_fast: during(Period::FallingFast),
        low: during(Period::Low),
        night: during(Period::Night),
        first_day: during(Period::FirstDay),
        when_it_mattered: during(Period::Critical),
    })
}

fn sum(parts: impl Iterator<Item = MissingSummary>) -> Missing {
    let mut all = Missing {
        hours: 0.0,
        missing_hours: 0.0,
        gaps: 0,
        errors: 0,
        gaps_per_100_h: None,
        errors_per_100_h: None,
    };
    for part in parts {
        all.hours += part.hours();
        all.missing_hours += part.missing_hours();
        all.gaps += part.gaps();
        all.errors += part.errors();
    }
    if all.hours > 0.0 {
        all.gaps_per_100_h = Some(100.0 * all.gaps as f32 / all.hours);
        all.errors_per_100_h = Some(100.0 * all.errors as f32 / all.hours);
    }
    all
}

/// The rate over the last 10 to 20 minutes.
fn recent_rate(readings: &[Reading]) -> Option<Rate> {
    let (last, before) = readings.split_last()?;
    let earlier = before
        .iter()
        .rev()
        .take_while(|earlier| last.at().since(earlier.at()).secs() <= 1200)
        .find(|earlier| last.at().since(earlier.at()).secs() >= 600)?;
    let rise = last.glucose().mg_dl() - earlier.glucose().mg_dl();
    Rate::from_mg_dl_per_min(rise / last.at().since(earlier.at()).mins()).ok()
}

/// Minutes within `from..to` in which a sensor gave no reading.
pub fn silent_min(worn: &Worn, from: Instant, to: Instant) -> f32 {
    let mut covered_until = from;
    let mut silent = 0;
    for reading in worn.readings.iter().filter(|reading| valued(reading)) {
        if reading.at() >= to {
            break;
        }
        silent += reading.at().since(covered_until).secs().max(0);
        // a reading a little late is no silence
        covered_until = covered_until.max(reading.at().plus(Span::from_secs(worn.interval.secs() * 3 / 2)));
    }
    silent += to.since(covered_until).secs().max(0);
    silent as f32 / 60.0
}

pub fn cost(worn: &Worn) -> Option<f32> {
    cost_per_day(&worn.parts)
}
