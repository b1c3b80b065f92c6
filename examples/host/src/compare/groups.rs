//! Pairs grouped by range, by rate, by day of wear and by hour of day.

use glidepath::accuracy::{AgreementRates, ConfidenceInterval, drift_interval};
use serde::Serialize;

use super::figures::{Figures, Point};

/// A group of pairs by what they have in common.
#[derive(Clone, Debug, Serialize)]
pub struct Group {
    pub group: String,
    #[serde(flatten)]
    pub figures: Figures,
}

type Test = Box<dyn Fn(&Point) -> bool>;

fn grouped(points: &[Point], method: AgreementRates, groups: Vec<(String, Test)>) -> Vec<Group> {
    groups
        .into_iter()
        .map(|(group, test)| {
            let figures = Figures::of(points.iter().filter(|point| test(point)), method);
            Group { group, figures }
        })
        .collect()
}

/// By the reference's value, in the consensus ranges.
pub fn by_range(points: &[Point], method: AgreementRates) -> Vec<Group> {
    let reference = |test: fn(f32) -> bool| -> Test { Box::new(move |p| test(p.pair.reference().mg_dl())) };
    let groups = vec![
        ("under 54 mg/dL".to_owned(), reference(|g| g < 54.0)),
        ("54 to 69 mg/dL".to_owned(), reference(|g| (54.0..70.0).contains(&g))),
        ("70 to 180 mg/dL".to_owned(), reference(|g| (70.0..=180.0).contains(&g))),
        ("181 to 250 mg/dL".to_owned(), reference(|g| g > 180.0 && g <= 250.0)),
        ("over 250 mg/dL".to_owned(), reference(|g| g > 250.0)),
    ];
    grouped(points, method, groups)
}

/// By the sensor's own rate of change.
pub fn by_rate(points: &[Point], method: AgreementRates) -> Vec<Group> {
    let rate = |test: fn(f32) -> bool| -> Test {
        Box::new(move |p| p.rate.is_some_and(|rate| test(rate.mg_dl_per_min())))
    };
    let groups = vec![
        ("falling over 2 mg/dL/min".to_owned(), rate(|r| r < -2.0)),
        ("falling 1 to 2 mg/dL/min".to_owned(), rate(|r| (-2.0..-1.0).contains(&r))),
        ("within 1 mg/dL/min".to_owned(), rate(|r| (-1.0..1.0).contains(&r))),
        ("rising 1 to 2 mg/dL/min".to_owned(), rate(|r| (1.0..=2.0).contains(&r))),
        ("rising over 2 mg/dL/min".to_owned(), rate(|r| r > 2.0)),
    ];
    grouped(points, method, groups)
}

/// By day of wear, the first being day 1.
pub fn by_day(points: &[Point], method: AgreementRates) -> Vec<Group> {
    let day = |point: &Point| point.age_s.div_euclid(86_400) + 1;
    let last = points.iter().map(day).max().unwrap_or(0).min(400);
    let groups = (1..=last)
        .map(|wanted| -> (String, Test) { (format!("day {wanted}"), Box::new(move |p| day(p) == wanted)) })
        .collect();
    grouped(points, method, groups)
}

/// How the bias moves from day to day, given [`by_day`].
pub fn drift(days: &[Group]) -> Option<ConfidenceInterval> {
    let means: Vec<(f32, f32)> = (1_u16..)
        .zip(days)
        .filter_map(|(day, group)| Some((f32::from(day), group.figures.bias_mg_dl?)))
        .collect();
    drift_interval(&means).filter(|_| means.len() >= 4)
}

/// By hour of the wearer's day, three hours together.
pub fn by_hour(points: &[Point], method: AgreementRates) -> Vec<Group> {
    let groups = (0..8)
        .map(|block: i64| -> (String, Test) {
            let name = format!("{:02}:00 to {:02}:00", 3 * block, 3 * block + 3);
            (name, Box::new(move |p| p.of_day_s.div_euclid(10_800) == block))
        })
        .collect();
    grouped(points, method, groups)
}
