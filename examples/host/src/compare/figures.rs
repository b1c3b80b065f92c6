//! The accuracy figures of a set of pairs.

use glidepath::accuracy::{
    AgreementRates, LagScan, Pair, Paired, Pairing, Parkes, PointAccuracy, Tally, Unpaired, Zone, ZoneCounts,
    bias_interval, clarke, lag_interval, local_line, mard_interval, median,
};
use glidepath::{Fingerstick, Rate, Span};
use serde::Serialize;

use super::input::Worn;

/// A pair and where it stands in the wear.
#[derive(Clone, Copy, Debug)]
pub struct Point {
    pub pair: Pair,
    /// Seconds since the sensor was put on.
    pub age_s: i32,
    /// Seconds until it was taken off.
    pub left_s: i32,
    /// The day on the wearer's clock, counted from 1970.
    pub day: i64,
    /// Seconds since midnight on the wearer's clock.
    pub of_day_s: i64,
    /// The sensor's rate of change at that time.
    pub rate: Option<Rate>,
}

/// References that found no pair, by the reason.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize)]
pub struct NotPaired {
    pub no_reading: u32,
    pub reading_taken: u32,
    pub out_of_sensor_range: u32,
    pub reading_not_usable: u32,
    pub outside_wear: u32,
}

impl NotPaired {
    pub fn total(&self) -> u32 {
        self.no_reading
            + self.reading_taken
            + self.out_of_sensor_range
            + self.reading_not_usable
            + self.outside_wear
    }
}

/// Pairs a sensor with references.
pub fn pair_up(worn: &Worn, references: &[Fingerstick], pairing: Pairing) -> (Vec<Point>, NotPaired) {
    let mut not = NotPaired::default();
    let mut points = Vec::new();
    for paired in pairing.pairs(&worn.readings, references) {
        match paired {
            Paired::Pair(pair) => points.push(point(worn, pair)),
            Paired::Unpaired(reference, Unpaired::NoReading)
                if reference.at() < worn.first() || reference.at() > worn.last() =>
            {
                not.outside_wear += 1;
            }
            Paired::Unpaired(_, Unpaired::Taken) => not.reading_taken += 1,
            Paired::Unpaired(_, Unpaired::OutOfRange) => not.out_of_sensor_range += 1,
            Paired::Unpaired(_, Unpaired::NotUsable) => not.reading_not_usable += 1,
            Paired::Unpaired(..) => not.no_reading += 1,
        }
    }
    (points, not)
}

fn point(worn: &Worn, pair: Pair) -> Point {
    let at = pair.at();
    let (start, next) = worn.wear(at);
    let wall = worn.clock.wall(at.secs().into());
    let reach = Span::from_secs((worn.interval.secs() * 3).clamp(900, 3600));
    Point {
        pair,
        age_s: at.since(start).secs(),
        left_s: next.unwrap_or(worn.last()).since(at).secs(),
        day: wall.div_euclid(86_400),
        of_day_s: wall.rem_euclid(86_400),
        rate: local_line(&worn.readings, at, reach).map(|(_, rate)| rate),
    }
}

/// Counts by zone.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize)]
#[serde(rename_all = "UPPERCASE")]
pub struct Zones {
    pub a: u32,
    pub b: u32,
    pub c: u32,
    pub d: u32,
    pub e: u32,
}

impl From<ZoneCounts> for Zones {
    fn from(counts: ZoneCounts) -> Self {
        let [a, b, c, d, e] = Zone::ALL.map(|zone| counts.count(zone));
        Self { a, b, c, d, e }
    }
}

/// What an interval rests on.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Basis {
    /// Each day counts once.
    Days,
    /// Each quarter of a day counts once.
    QuarterDays,
    /// Every pair counts, as if they were independent.
    Pairs,
}

/// An interval as it is given in JSON.
pub type Ends = [f32; 2];

/// The accuracy of a set of pairs.
#[derive(Clone, Debug, Serialize)]
pub struct Figures {
    pub pairs: u32,
    pub bias_mg_dl: Option<f32>,
    pub bias_interval_mg_dl: Option<Ends>,
    pub mard_percent: Option<f32>,
    pub mard_interval_percent: Option<Ends>,
    pub interval_basis: Option<Basis>,
    pub median_ard_percent: Option<f32>,
    pub mad_mg_dl: Option<f32>,
    pub relative_bias_percent: Option<f32>,
    pub rmse_mg_dl: Option<f32>,
    pub sd_mg_dl: Option<f32>,
    pub loa_lower_mg_dl: Option<f32>,
    pub loa_lower_interval_mg_dl: Option<Ends>,
    pub loa_upper_mg_dl: Option<f32>,
    pub loa_upper_interval_mg_dl: Option<Ends>,
    pub within_15_15_percent: Option<f32>,
    pub within_20_20_percent: Option<f32>,
    pub within_30_30_percent: Option<f32>,
    pub within_40_40_percent: Option<f32>,
    pub clarke: Zones,
    pub parkes: Zones,
}

impl Figures {
    /// Of the points, agreement counted as in the empty `method`.
    pub fn of<'a>(points: impl Iterator<Item = &'a Point>, method: AgreementRates) -> Self {
        let mut agreement = method;
        let (mut clarke_zones, mut parkes_zones) = (ZoneCounts::new(), ZoneCounts::new());
        let mut days: Vec<(i64, PointAccuracy)> = Vec::new();
        let (mut all, mut ards) = (PointAccuracy::new(), Vec::new());
        for Point { pair, day, .. } in points {
            if days.last().is_none_or(|(last, _)| last != day) {
                days.push((*day, PointAccuracy::new()));
            }
            if let Some((_, accuracy)) = days.last_mut() {
                accuracy.push(pair);
            }
            all.push(pair);
            agreement.push(pair);
            clarke_zones.push(clarke(pair.reference(), pair.sensor()));
            parkes_zones.push(Parkes::Type1.zone(pair.reference(), pair.sensor()));
            ards.push(pair.relative_difference_percent().abs());
        }
        let days: Vec<PointAccuracy> = days.into_iter().map(|(_, accuracy)| accuracy).collect();
        let (bias, mard, basis) = intervals(&days, &all);
        let limits = all.limits_of_agreement();
        Self {
            pairs: all.pairs(),
            bias_mg_dl: all.bias_mg_dl(),
            bias_interval_mg_dl: bias,
            mard_percent: all.mard_percent(),
            mard_interval_percent: mard,
            interval_basis: basis,
            median_ard_percent: median(&mut ards),
            mad_mg_dl: all.mad_mg_dl(),
            relative_bias_percent: all.relative_bias_percent(),
            rmse_mg_dl: all.rmse_mg_dl(),
            sd_mg_dl: all.sd_mg_dl(),
            loa_lower_mg_dl: limits.map(|limits| limits.lower().estimate()),
            loa_lower_interval_mg_dl: limits.map(|limits| [limits.lower().lower(), limits.lower().upper()]),
            loa_upper_mg_dl: limits.map(|limits| limits.upper().estimate()),
            loa_upper_interval_mg_dl: limits.map(|limits| [limits.upper().lower(), limits.upper().upper()]),
            within_15_15_percent: rate(agreement.within_15_15()),
            within_20_20_percent: rate(agreement.within_20_20()),
            within_30_30_percent: rate(agreement.within_30_30()),
            within_40_40_percent: rate(agreement.within_40_40()),
            clarke: clarke_zones.into(),
            parkes: parkes_zones.into(),
        }
    }
}

/// Days from which on a day counts as one draw; with fewer, Student's t knows too little.
const ENOUGH_DAYS: usize = 4;

fn intervals(days: &[PointAccuracy], all: &PointAccuracy) -> (Option<Ends>, Option<Ends>, Option<Basis>) {
    let ends = |interval: glidepath::accuracy::ConfidenceInterval| [interval.lower(), interval.upper()];
    if days.len() >= ENOUGH_DAYS {
        return (bias_interval(days).map(ends), mard_interval(days).map(ends), Some(Basis::Days));
    }
    let bias = all.limits_of_agreement().map(|limits| ends(limits.bias()));
    let basis = bias.map(|_| Basis::Pairs);
    (bias, None, basis)
}

/// The fewest trials for which a rate is given at all (ours: below, one more or less moves it by over ten points).
pub const FEWEST: u32 = 10;

/// A rate, when there are trials enough.
pub fn rate(tally: Tally) -> Option<f32> {
    tally.percent().filter(|_| tally.trials() >= FEWEST)
}

/// A lag and how sure it is.
#[derive(Clone, Copy, Debug, Default, Serialize)]
pub struct Lag {
    pub lag_min: Option<f32>,
    pub lag_interval_min: Option<Ends>,
}

/// A lag whose interval is wider than this is not known, minutes.
const WIDEST_LAG_MIN: f32 = 16.0;

impl Lag {
    /// The lag from one scan for each independent part; nothing where they show that they do not tell it. Of fewer than
    /// three parts it comes without an interval.
    pub fn of(parts: &[LagScan]) -> Self {
        if let Some(lag) = lag_interval(parts) {
            let ends = [lag.lower(), lag.upper()];
            return match ends[1] - ends[0] {
                ..=WIDEST_LAG_MIN => Self { lag_min: Some(lag.estimate()), lag_interval_min: Some(ends) },
                _ => Self::default(),
            };
        }
        let filled = parts.iter().filter(|part| part.references() > 0).count();
        let mut parts = parts.iter();
        let Some(mut all) = parts.next().copied().filter(|_| filled < 3) else { return Self::default() };
        parts.for_each(|part| all.merge(part));
        Self { lag_min: all.lag_min(), lag_interval_min: None }
    }

    /// The lag where it is known how sure it is.
    pub fn sure(&self) -> Option<f32> {
        self.lag_min.filter(|_| self.lag_interval_min.is_some())
    }
}

/// How far the readings run behind references, each with its part of the data.
pub fn lag(worn: &Worn, references: impl Iterator<Item = (i64, Fingerstick)>) -> Lag {
    let reach = Span::from_secs((worn.interval.secs() * 8 / 5).clamp(60, 3600));
    let mut parts: Vec<(i64, LagScan)> = Vec::new();
    for (part, reference) in references {
        if parts.last().is_none_or(|(last, _)| *last != part) {
            let Ok(scan) = LagScan::new(reach) else { return Lag::default() };
            parts.push((part, scan));
        }
        if let Some((_, scan)) = parts.last_mut() {
            scan.push(&worn.readings, reference.at(), reference.glucose());
        }
    }
    let parts: Vec<LagScan> = parts.into_iter().map(|(_, scan)| scan).collect();
    Lag::of(&parts)
}
