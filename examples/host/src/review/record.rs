//! One trace, reviewed.

use glidepath::review::{Config, DayTime, EpisodeRule, Episodes, Exact, Review, Summary, Unit as Native};
use glidepath::{Instant, Reading, Span};

use crate::failure::Failure;
use crate::table::{Clock, Counts, Trace, Unit};

const DAY: i64 = 86_400;

/// A trace and what a review found in it.
pub struct Record {
    pub name: String,
    pub readings: Vec<Reading>,
    pub clock: Clock,
    pub counts: Counts,
    /// The unit the trace came in; limits are compared in it.
    pub unit: Unit,
    pub interval_s: u32,
    pub review: Box<Review<Exact>>,
    pub summary: Summary,
}

/// An episode with what it reached.
pub struct Listed {
    pub kind: &'static str,
    pub start: Instant,
    pub end: Instant,
    /// The lowest value of a low, the highest of a high, mg/dL.
    pub extreme_mg_dl: f32,
}

impl Listed {
    pub fn minutes(&self) -> f64 {
        f64::from(self.end.since(self.start).secs()) / 60.0
    }
}

/// The rules in the library's order, as they are named in results.
pub const KINDS: [&str; EpisodeRule::ALL.len()] =
    ["below_70", "below_54", "below_70_extended", "above_180", "above_250", "above_250_extended"];

impl Record {
    /// Reviews a trace.
    pub fn of(name: String, trace: Trace) -> Result<Self, Failure> {
        let interval_s = trace.interval_s.unwrap_or(300).clamp(10, 3600);
        let config = config(interval_s, trace.unit)?;
        let review = review(config, &trace.readings, &trace.clock);
        let summary = review.summary();
        let Trace { readings, clock, counts, unit, .. } = trace;
        Ok(Self { name, readings, clock, counts, unit, interval_s, review, summary })
    }

    /// Seconds since 1970 on the wearer's clock.
    pub fn wall(&self, at: Instant) -> i64 {
        self.clock.wall(at.secs().into())
    }

    pub fn day(&self, at: Instant) -> i64 {
        self.wall(at).div_euclid(DAY)
    }

    /// The first and the last local day.
    pub fn days(&self) -> Option<(i64, i64)> {
        Some((self.day(self.readings.first()?.at()), self.day(self.readings.last()?.at())))
    }

    /// All episodes in order of their beginning.
    pub fn episodes(&self) -> Vec<Listed> {
        let mut all = Vec::new();
        for (kind, rule) in KINDS.into_iter().zip(EpisodeRule::ALL) {
            let mut episodes = Episodes::new(rule, self.review.config());
            let mut found: Vec<_> =
                self.readings.iter().filter_map(|r| episodes.push(r.at(), r.glucose())).collect();
            found.extend(episodes.finish());
            let low = rule.is_low();
            all.extend(found.into_iter().map(|episode| {
                let (start, end) = (episode.start, episode.end);
                let from = self.readings.partition_point(|r| r.at() < start);
                let within = self.readings[from..].iter().take_while(|r| r.at() < end);
                let values = within.map(|r| r.glucose().mg_dl());
                let extreme_mg_dl =
                    if low { values.fold(f32::INFINITY, f32::min) } else { values.fold(0.0, f32::max) };
                Listed { kind, start, end, extreme_mg_dl }
            }));
        }
        all.sort_by_key(|listed| listed.start);
        all
    }
}

/// A review's settings.
pub fn config(interval_s: u32, unit: Unit) -> Result<Config, Failure> {
    let native = match unit {
        Unit::MgDl => Native::MgDl,
        Unit::MmolL => Native::MmolL,
    };
    let interval = Span::from_secs(i32::try_from(interval_s).unwrap_or(i32::MAX));
    let config = Config::new(interval).map_err(|error| Failure::new(error.to_string()))?;
    Ok(config.with_unit(native))
}

fn review(config: Config, readings: &[Reading], clock: &Clock) -> Box<Review<Exact>> {
    let mut review = Box::new(Review::with_grid(config));
    for reading in readings {
        let wall = clock.wall(reading.at().secs().into()).max(0);
        let (day, minute) = (wall / DAY, wall % DAY / 60);
        let local = DayTime::new(u32::try_from(day).unwrap_or(u32::MAX), u16::try_from(minute).unwrap_or(0));
        if let Ok(local) = local {
            let _ = review.push(reading, local); // the table gives them in order and apart
        }
    }
    review
}
