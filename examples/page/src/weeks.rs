//! The review of a trace.

use alloc::boxed::Box;
use alloc::vec::Vec;

use glidepath::review::{
    BIN_MINUTES, BINS, Config, DayTime, EpisodeRule, Episodes, Exact, Grid, Review, Summary, Unit as Native,
};
use glidepath::{Instant, Span};

use crate::table::{Table, Unit};
use glidepath_replay::WallClock as _;
use glidepath_replay::sorted::order;

/// Values that a quarter of an hour needs before its percentiles mean something (common practice, no source).
const ENOUGH: u32 = 5;

/// An episode and what it reached.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Listed {
    /// Its place in [`EpisodeRule::ALL`].
    pub rule: usize,
    pub start: Instant,
    pub end: Instant,
    /// The lowest value of a low, the highest of a high, mg/dL.
    pub extreme: f32,
}

/// A quarter of an hour of the day.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Quarter {
    pub minute: u16,
    /// The 5th, 25th, 50th, 75th and 95th percentile, mg/dL; none where fewer than five values are.
    pub percentiles: Option<[f32; 5]>,
    pub values: u32,
}

/// A trace, reviewed.
#[derive(Clone, Debug)]
pub struct Weeks {
    pub summary: Summary,
    pub episodes: Vec<Listed>,
    pub quarters: Vec<Quarter>,
}

/// Reviews a trace; limits are compared in the file's own unit.
pub fn review(table: &Table) -> Weeks {
    let interval = i32::try_from(table.interval_s.clamp(10, 3600)).unwrap_or(300);
    let native = match table.unit {
        Unit::MgDl => Native::MgDl,
        Unit::MmolL => Native::MmolL,
    };
    let config = Config::new(Span::from_secs(interval)).unwrap_or_default().with_unit(native);
    let mut review = Box::new(Review::<Exact>::with_grid(config));
    for reading in &table.readings {
        let wall = table.clock.wall(reading.at().secs().into()).max(0);
        let local = DayTime::from_secs(u32::try_from(wall).unwrap_or(u32::MAX));
        let _ = review.push(reading, local); // the table gives them in order and apart
    }
    Weeks { summary: review.summary(), episodes: episodes(table, config), quarters: quarters(review.grid()) }
}

fn quarters(grid: &impl Grid) -> Vec<Quarter> {
    (0..BINS)
        .zip((0..).step_by(BIN_MINUTES.into()))
        .map(|(bin, minute)| {
            let values = grid.values(bin);
            let percentiles =
                [0.05, 0.25, 0.5, 0.75, 0.95].map(|share| grid.percentile(bin, share).unwrap_or(0.0));
            Quarter { minute, percentiles: (values >= ENOUGH).then_some(percentiles), values }
        })
        .collect()
}

fn episodes(table: &Table, config: Config) -> Vec<Listed> {
    let mut all: Vec<Listed> = Vec::new();
    for (rule, of) in EpisodeRule::ALL.into_iter().enumerate() {
        let mut episodes = Episodes::new(of, config);
        let mut found: Vec<_> =
            table.readings.iter().filter_map(|value| episodes.push(value.at(), value.glucose())).collect();
        found.extend(episodes.finish());
        for episode in found {
            let from = table.readings.partition_point(|value| value.at() < episode.start);
            let within = table.readings.iter().skip(from).take_while(|value| value.at() < episode.end);
            let values = within.map(|value| value.glucose().mg_dl());
            let extreme =
                if of.is_low() { values.fold(f32::INFINITY, f32::min) } else { values.fold(0.0, f32::max) };
            all.push(Listed { rule, start: episode.start, end: episode.end, extreme });
        }
    }
    let order = order(all.iter().map(|listed| i64::from(listed.start.secs())));
    order.into_iter().filter_map(|(_, place)| all.get(place).copied()).collect()
}
