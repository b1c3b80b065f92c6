//! The figures as JSON.

use glidepath::review::{BIN_MINUTES, BINS, Grid, Pattern, Ranges, Summary, WINDOW_MINUTES, gri_zone};
use serde::Serialize;

use super::record::{KINDS, Record};
use super::words;
use crate::table::{Counts, Unit};

/// Values that a quarter of an hour needs before its percentiles mean something (common practice, no source).
pub const ENOUGH: u32 = 5;

/// Shares of readings (or of time), percent.
#[derive(Serialize)]
pub struct Shares {
    below_54_percent: Option<f32>,
    from_54_to_69_percent: Option<f32>,
    from_70_to_180_percent: Option<f32>,
    from_181_to_250_percent: Option<f32>,
    above_250_percent: Option<f32>,
    below_70_percent: Option<f32>,
    above_180_percent: Option<f32>,
    from_70_to_140_percent: Option<f32>,
    from_63_to_140_percent: Option<f32>,
}

impl Shares {
    fn of(ranges: Option<&Ranges>) -> Self {
        let share = |of: fn(&Ranges) -> f32| ranges.map(of);
        Self {
            below_54_percent: share(|r| r.below_54),
            from_54_to_69_percent: share(|r| r.from_54_to_69),
            from_70_to_180_percent: share(|r| r.from_70_to_180),
            from_181_to_250_percent: share(|r| r.from_181_to_250),
            above_250_percent: share(|r| r.above_250),
            below_70_percent: share(Ranges::below_70),
            above_180_percent: share(Ranges::above_180),
            from_70_to_140_percent: share(|r| r.from_70_to_140),
            from_63_to_140_percent: share(|r| r.from_63_to_140),
        }
    }
}

/// Everything a summary holds.
#[derive(Serialize)]
pub struct Figures {
    readings: u32,
    days: f32,
    whole_days: u32,
    active_percent: Option<f32>,
    suffices: bool,
    mean_mg_dl: Option<f32>,
    sd_mg_dl: Option<f32>,
    cv_percent: Option<f32>,
    gmi_percent: Option<f32>,
    ea1c_percent: Option<f32>,
    #[serde(flatten)]
    by_readings: Shares,
    by_time: Shares,
    gri: Option<f32>,
    gri_zone: Option<char>,
    lbgi: Option<f32>,
    hbgi: Option<f32>,
    mage_mg_dl: Option<f32>,
    mage_rises_mg_dl: Option<f32>,
    mage_falls_mg_dl: Option<f32>,
    modd_mg_dl: Option<f32>,
    conga_1h: Option<f32>,
    conga_2h: Option<f32>,
    conga_4h: Option<f32>,
    conga_24h: Option<f32>,
    j_index: Option<f32>,
    m_value: Option<f32>,
    mag_mg_dl_h: Option<f32>,
    gvp_percent: Option<f32>,
    sd_within_day: Option<f32>,
    sd_between_day_means: Option<f32>,
    sd_by_clock: Option<f32>,
    below_sensor_range: u32,
    above_sensor_range: u32,
    episode_totals: Vec<Total>,
}

#[derive(Serialize)]
struct Total {
    kind: &'static str,
    count: u32,
    minutes: f64,
}

impl Figures {
    pub fn of(s: &Summary) -> Self {
        let totals = KINDS.into_iter().zip(s.episodes);
        Self {
            readings: s.readings,
            days: s.days,
            whole_days: s.whole_days,
            active_percent: s.active_percent,
            suffices: s.suffices(),
            mean_mg_dl: s.mean_mg_dl,
            sd_mg_dl: s.sd_mg_dl,
            cv_percent: s.cv_percent,
            gmi_percent: s.gmi_percent,
            ea1c_percent: s.ea1c_percent,
            by_readings: Shares::of(s.by_readings.as_ref()),
            by_time: Shares::of(s.by_time.as_ref()),
            gri: s.gri,
            gri_zone: s.gri.map(gri_zone),
            lbgi: s.lbgi,
            hbgi: s.hbgi,
            mage_mg_dl: s.mage_mg_dl,
            mage_rises_mg_dl: s.mage_rises_mg_dl,
            mage_falls_mg_dl: s.mage_falls_mg_dl,
            modd_mg_dl: s.modd_mg_dl,
            conga_1h: s.conga_1h,
            conga_2h: s.conga_2h,
            conga_4h: s.conga_4h,
            conga_24h: s.conga_24h,
            j_index: s.j_index,
            m_value: s.m_value,
            mag_mg_dl_h: s.mag_mg_dl_h,
            gvp_percent: s.gvp_percent,
            sd_within_day: s.sd_within_day,
            sd_between_day_means: s.sd_between_day_means,
            sd_by_clock: s.sd_by_clock,
            below_sensor_range: s.below_sensor_range,
            above_sensor_range: s.above_sensor_range,
            episode_totals: totals
                .map(|(kind, total)| Total {
                    kind,
                    count: total.count,
                    minutes: f64::from(total.seconds) / 60.0,
                })
                .collect(),
        }
    }
}

/// One trace in full.
#[derive(Serialize)]
pub struct Report<'a> {
    file: &'a str,
    unit: &'static str,
    interval_s: u32,
    first: Option<String>,
    last: Option<String>,
    #[serde(flatten)]
    figures: Figures,
    episodes: Vec<Episode>,
    day_profile: Vec<Quarter>,
    patterns: Vec<PatternOut>,
    counts: &'a Counts,
    #[serde(skip_serializing_if = "Option::is_none")]
    comparison: Option<&'a super::between::Comparison>,
}

#[derive(Serialize)]
struct Episode {
    kind: &'static str,
    start: String,
    end: String,
    minutes: f64,
    extreme_mg_dl: f32,
}

/// A quarter of an hour of the day; the percentiles are absent where fewer than five values are.
#[derive(Serialize)]
pub struct Quarter {
    pub minute: u16,
    pub p05: Option<f32>,
    pub p25: Option<f32>,
    pub p50: Option<f32>,
    pub p75: Option<f32>,
    pub p95: Option<f32>,
    pub n: u32,
}

#[derive(Serialize)]
struct PatternOut {
    mark: &'static str,
    start_minute: u16,
    end_minute: u16,
    days_seen: u16,
    days_held: u16,
    usual_percent: f32,
    chance: f32,
    words: String,
}

/// The day, quarter by quarter.
pub fn quarters(grid: &impl Grid) -> Vec<Quarter> {
    (0..BINS)
        .zip((0..).step_by(BIN_MINUTES.into()))
        .map(|(bin, minute)| {
            let n = grid.values(bin);
            let percentile = |share| if n >= ENOUGH { grid.percentile(bin, share) } else { None };
            let [p05, p25, p50, p75, p95] = [0.05, 0.25, 0.5, 0.75, 0.95].map(percentile);
            Quarter { minute, p05, p25, p50, p75, p95, n }
        })
        .collect()
}

impl<'a> Report<'a> {
    pub fn of(record: &'a Record, comparison: Option<&'a super::between::Comparison>) -> Self {
        let iso = |at: glidepath::Instant| record.clock.iso(at.secs().into());
        let pattern = |p: Pattern| PatternOut {
            mark: words::mark_key(p.kind),
            start_minute: p.start_minute,
            end_minute: p.start_minute + WINDOW_MINUTES,
            days_seen: p.days_seen,
            days_held: p.days_held,
            usual_percent: p.usual_percent,
            chance: p.p_value,
            words: words::pattern(&p, Unit::MgDl),
        };
        Self {
            file: &record.name,
            unit: record.unit.name(),
            interval_s: record.interval_s,
            first: record.readings.first().map(|r| iso(r.at())),
            last: record.readings.last().map(|r| iso(r.at())),
            figures: Figures::of(&record.summary),
            episodes: record
                .episodes()
                .iter()
                .map(|e| Episode {
                    kind: e.kind,
                    start: iso(e.start),
                    end: iso(e.end),
                    minutes: e.minutes(),
                    extreme_mg_dl: e.extreme_mg_dl,
                })
                .collect(),
            day_profile: quarters(record.review.grid()),
            patterns: record.review.patterns().into_iter().flatten().map(pattern).collect(),
            counts: &record.counts,
            comparison,
        }
    }
}

/// Several traces: the figures of each, and of all together.
#[derive(Serialize)]
pub struct Several<'a> {
    pub records: Vec<Line<'a>>,
    pub pool: Figures,
    /// Files that could not be read and are left out.
    pub unreadable: usize,
}

#[derive(Serialize)]
pub struct Line<'a> {
    file: &'a str,
    unit: &'static str,
    interval_s: u32,
    #[serde(flatten)]
    figures: Figures,
}

impl<'a> Line<'a> {
    pub fn of(file: &'a str, unit: Unit, interval_s: u32, summary: &Summary) -> Self {
        Self { file, unit: unit.name(), interval_s, figures: Figures::of(summary) }
    }
}
