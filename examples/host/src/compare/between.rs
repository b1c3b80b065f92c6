//! Two sensors side by side, over the same minutes only.

use glidepath::accuracy::{
    ConfidenceInterval, PointAccuracy, RateAgreement, SensorDisagreements, bias_interval, cluster_interval,
};
use glidepath::{Fingerstick, Status};
use serde::Serialize;

use super::figures::{Basis, Ends, FEWEST, Point, lag, pair_up, rate};
use super::input::Worn;
use super::presence::silent_min;
use glidepath::accuracy::Pairing;

/// Apart by more than this, mg/dL or percent, two sensors disagree (ours, after the 20/20 rule).
const APART: f32 = 20.0;

/// Two sensors; differences are the first minus the second.
#[derive(Clone, Debug, Serialize)]
pub struct Between {
    pub first: String,
    pub second: String,
    pub pairs: u32,
    pub bias_mg_dl: Option<f32>,
    pub bias_interval_mg_dl: Option<Ends>,
    pub interval_basis: Option<Basis>,
    /// Whether the difference of the means is beyond what the readings' scatter explains; none when unknown.
    pub beyond_chance: Option<bool>,
    pub mean_abs_diff_mg_dl: Option<f32>,
    pub sd_mg_dl: Option<f32>,
    pub loa_lower_mg_dl: Option<f32>,
    pub loa_upper_mg_dl: Option<f32>,
    pub mean_abs_relative_diff_percent: Option<f32>,
    /// How far the first is behind the second.
    pub lag_min: Option<f32>,
    pub lag_interval_min: Option<Ends>,
    pub rates_same_bin_percent: Option<f32>,
    pub rates_within_one_bin_percent: Option<f32>,
    pub first_same_minutes: Levels,
    pub second_same_minutes: Levels,
    /// Of the time from the later start to the earlier end.
    pub hours_together: f32,
    pub first_without_reading_h: f32,
    pub second_without_reading_h: f32,
    pub disputes: Option<DisputeFigures>,
}

/// Mean and consensus ranges over the minutes both sensors have.
#[derive(Clone, Copy, Debug, Default, Serialize)]
pub struct Levels {
    pub mean_mg_dl: Option<f32>,
    pub below_70_percent: Option<f32>,
    pub in_range_70_to_180_percent: Option<f32>,
    pub above_180_percent: Option<f32>,
}

/// Who was right, by the fingersticks taken near.
#[derive(Clone, Copy, Debug, Serialize)]
pub struct DisputeFigures {
    pub fingersticks: u32,
    pub disagreements: u32,
    pub first_nearer: u32,
    pub second_nearer: u32,
    /// The mean of |first − fingerstick| − |second − fingerstick|, percent of the fingerstick, over all that have
    /// both: below zero when the first is nearer.
    pub ard_difference_percent: Option<f32>,
    pub ard_difference_interval_percent: Option<Ends>,
}

/// How two sensors agree, over the pairs of their readings.
struct Agreed {
    /// Of each independent part.
    clusters: Vec<PointAccuracy>,
    all: PointAccuracy,
    rates: RateAgreement,
    /// The sum of |first − second|, percent of their mean.
    relative: f64,
    levels: [Tracked; 2],
}

impl Agreed {
    fn over(points: &[Point], part: fn(&Point) -> i64) -> Self {
        let mut clusters: Vec<(i64, PointAccuracy)> = Vec::new();
        let (mut all, mut rates) = (PointAccuracy::new(), RateAgreement::new());
        let (mut relative, mut levels) = (0.0_f64, [Tracked::default(), Tracked::default()]);
        for point in points {
            let this = part(point);
            if clusters.last().is_none_or(|(last, _)| *last != this) {
                clusters.push((this, PointAccuracy::new()));
            }
            if let Some((_, accuracy)) = clusters.last_mut() {
                accuracy.push(&point.pair);
            }
            all.push(&point.pair);
            rates.push(&point.pair);
            let (a, b) = (point.pair.sensor().mg_dl(), point.pair.reference().mg_dl());
            relative += f64::from(200.0 * (a - b).abs() / (a + b).max(1.0));
            levels[0].push(a);
            levels[1].push(b);
        }
        let clusters = clusters.into_iter().map(|(_, accuracy)| accuracy).collect();
        Self { clusters, all, rates, relative, levels }
    }
}

/// Compares two sensors; `first_points` and `second_points` are their pairs with the fingersticks.
pub fn between(first: &Worn, second: &Worn, pairing: Pairing, pairs: [&[Point]; 2]) -> Between {
    let shown: Vec<Fingerstick> = second
        .readings
        .iter()
        .filter(|reading| reading.status() == Status::Normal)
        .map(|reading| Fingerstick::new(reading.at(), reading.glucose()))
        .collect();
    let (points, _) = pair_up(first, &shown, pairing);
    let (part, basis) = parts(&points);
    let Agreed { clusters, all, rates, relative, levels } = Agreed::over(&points, part);
    let bias = bias_interval(&clusters);
    let limits = all.limits_of_agreement();
    let behind = lag(
        first,
        shown.iter().filter_map(|value| {
            let at = points.partition_point(|point| point.pair.at() < value.at());
            let point = points.get(at).filter(|point| point.pair.at() == value.at())?;
            Some((part(point), *value))
        }),
    );
    let (from, to) = (first.first().max(second.first()), first.last().min(second.last()));
    let [first_levels, second_levels] = levels.map(|tracked| tracked.levels());
    Between {
        first: first.name.clone(),
        second: second.name.clone(),
        pairs: all.pairs(),
        bias_mg_dl: all.bias_mg_dl(),
        bias_interval_mg_dl: bias.map(ends),
        interval_basis: bias.map(|_| basis),
        beyond_chance: bias.map(|bias| !bias.contains(0.0)),
        mean_abs_diff_mg_dl: all.mad_mg_dl(),
        sd_mg_dl: all.sd_mg_dl(),
        loa_lower_mg_dl: limits.map(|limits| limits.lower().estimate()),
        loa_upper_mg_dl: limits.map(|limits| limits.upper().estimate()),
        mean_abs_relative_diff_percent: (!points.is_empty()).then(|| (relative / points.len() as f64) as f32),
        lag_min: behind.lag_min,
        lag_interval_min: behind.lag_interval_min,
        rates_same_bin_percent: rate(rates.same_bin()),
        rates_within_one_bin_percent: rate(rates.within_one_bin()),
        first_same_minutes: first_levels,
        second_same_minutes: second_levels,
        hours_together: to.since(from).secs().max(0) as f32 / 3600.0,
        first_without_reading_h: silent_min(first, from, to) / 60.0,
        second_without_reading_h: silent_min(second, from, to) / 60.0,
        disputes: disputes(pairs),
    }
}

fn ends(interval: ConfidenceInterval) -> Ends {
    [interval.lower(), interval.upper()]
}

/// Independent parts: days when there are a week of them, else quarters of a day.
fn parts(points: &[Point]) -> (fn(&Point) -> i64, Basis) {
    let mut days: Vec<i64> = points.iter().map(|point| point.day).collect();
    days.dedup();
    if days.len() >= 7 {
        (|point| point.day, Basis::Days)
    } else {
        (|point| 4 * point.day + point.of_day_s.div_euclid(21_600), Basis::QuarterDays)
    }
}

#[derive(Clone, Copy, Debug, Default)]
struct Tracked {
    n: u32,
    sum: f64,
    below: u32,
    above: u32,
}

impl Tracked {
    fn push(&mut self, mg_dl: f32) {
        self.n += 1;
        self.sum += f64::from(mg_dl);
        self.below += u32::from(mg_dl < 70.0);
        self.above += u32::from(mg_dl > 180.0);
    }

    fn levels(self) -> Levels {
        let share = |count: u32| (self.n > 0).then(|| 100.0 * count as f32 / self.n as f32);
        Levels {
            mean_mg_dl: (self.n > 0).then(|| (self.sum / f64::from(self.n)) as f32),
            below_70_percent: share(self.below),
            in_range_70_to_180_percent: share(self.n - self.below - self.above),
            above_180_percent: share(self.above),
        }
    }
}

/// Over the references that both sensors have a pair for.
fn disputes([first, second]: [&[Point]; 2]) -> Option<DisputeFigures> {
    let mut disputes = SensorDisagreements::new(APART).ok()?;
    let (mut disagreements, mut days): (u32, Vec<(i64, u32, f32)>) = (0, Vec::new());
    for a in first {
        let at = second.partition_point(|b| b.pair.at() < a.pair.at());
        let Some(b) = second.get(at).filter(|b| b.pair.at() == a.pair.at()) else { continue };
        disagreements += u32::from(disputes.push(a.pair.sensor(), b.pair.sensor(), a.pair.reference()));
        let ard = |point: &Point| point.pair.relative_difference_percent().abs();
        if days.last().is_none_or(|(day, ..)| *day != a.day) {
            days.push((a.day, 0, 0.0));
        }
        if let Some((_, count, sum)) = days.last_mut() {
            *count += 1;
            *sum += ard(a) - ard(b);
        }
    }
    let clusters: Vec<(u32, f32)> =
        days.iter().map(|(_, count, sum)| (*count, sum / *count as f32)).collect();
    let total: u32 = clusters.iter().map(|(count, _)| count).sum();
    let interval = cluster_interval(&clusters).filter(|_| clusters.len() >= 4 && total >= FEWEST);
    let mean = days.iter().map(|(.., sum)| sum).sum::<f32>() / total.max(1) as f32;
    Some(DisputeFigures {
        fingersticks: disputes.references(),
        disagreements,
        first_nearer: disputes.first_nearer().hits(),
        second_nearer: disputes.first_nearer().misses(),
        ard_difference_percent: (total > 0).then_some(mean),
        ard_difference_interval_percent: interval.map(ends),
    })
    .filter(|figures| figures.fingersticks > 0)
}
