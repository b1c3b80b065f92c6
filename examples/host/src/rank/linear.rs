//! The best linear filter there is, fitted with the answers at hand: a limit for linear methods, not a method.
//!
//! Weights on the last two hours of readings, by least squares on people of the tuning seeds, whose truth it is
//! shown; a logistic regression on the same readings for lows. A person cannot have it: nobody knows their truth.

use std::collections::VecDeque;
use std::sync::Arc;

use glidepath::Reading;
use rayon::prelude::*;

use super::HORIZONS;
use super::method::{Entry, Method, Outlook};
use super::series::Series;
use crate::people::least::solve;

const SPAN_MIN: u32 = 120;
/// Now, rate, and each horizon.
const TARGETS: usize = 2 + HORIZONS.len();
/// Readings are centred here, mg/dL, and scaled by a hundredth, so that a small ridge does little.
const CENTRE: f64 = 150.0;
const SCALE: f64 = 0.01;

struct Fit {
    /// How old the readings used are, seconds.
    ages: Vec<u32>,
    /// A row of weights for each target, the constant last.
    weights: [Vec<f64>; TARGETS],
    logistic: Vec<f64>,
}

/// Fits it to `people`, read every `interval` minutes.
pub fn best_linear(people: &[Series], interval: u32) -> Entry {
    let fit = Arc::new(fit(people, interval));
    let bytes = fit.ages.len() * 4 * (1 + TARGETS);
    let new = move || BestLinear { fit: fit.clone(), recent: VecDeque::new() };
    Entry {
        state_bytes: bytes,
        told: true,
        ..Entry::new("best linear filter, fitted with the answers", 70.0, new)
    }
}

struct BestLinear {
    fit: Arc<Fit>,
    recent: VecDeque<(u32, f64)>,
}

impl BestLinear {
    /// The readings of each age, the constant last.
    fn features(&mut self, reading: &Reading) -> Vec<f64> {
        let now = reading.at().secs();
        let value = (f64::from(reading.glucose().mg_dl()) - CENTRE) * SCALE;
        self.recent.push_front((now, value));
        while self.recent.back().is_some_and(|(at, _)| now - at > 60 * SPAN_MIN + 600) {
            self.recent.pop_back();
        }
        let mut kept = self.recent.iter().copied().peekable();
        let mut last = value;
        let mut features: Vec<f64> = self
            .fit
            .ages
            .iter()
            .map(|age| {
                // the newest reading at least that old, give or take half a minute; else the oldest there is
                while kept.peek().is_some_and(|(at, _)| now - at + 30 < *age) {
                    last = kept.next().map_or(last, |(_, value)| value);
                }
                last = kept.peek().map_or(last, |(_, value)| *value);
                last
            })
            .collect();
        features.push(1.0);
        features
    }
}

impl Method for BestLinear {
    fn step(&mut self, reading: &Reading) -> Outlook {
        let x = self.features(reading);
        let out = |weights: &[f64]| x.iter().zip(weights).map(|(x, w)| x * w).sum::<f64>();
        let level = |target: usize| (CENTRE + out(&self.fit.weights[target]) / SCALE) as f32;
        let logit = out(&self.fit.logistic);
        Outlook {
            ahead: std::array::from_fn(|i| level(2 + i)),
            low_index: (70.0 - 10.0 * logit) as f32,
            low_probability: Some((1.0 / (1.0 + (-logit).exp())) as f32),
            ..Outlook::line(level(0), (out(&self.fit.weights[1]) / SCALE) as f32, 0.0)
        }
    }
}

fn fit(people: &[Series], interval: u32) -> Fit {
    // every reading of the last few minutes, then one in five minutes
    let ages: Vec<u32> = (0..=SPAN_MIN)
        .filter(|m| m % interval == 0 && (*m <= 5 || m % 5 == 0 || interval > 5))
        .map(|m| m * 60)
        .collect();
    let n = ages.len() + 1;
    let empty = Fit { ages, weights: Default::default(), logistic: vec![0.0; n] };
    let empty = Arc::new(empty);
    let rows: Vec<Vec<Row>> = people.par_iter().map(|series| rows(series, &empty)).collect();
    let mut fit = Fit { ages: empty.ages.clone(), weights: Default::default(), logistic: vec![0.0; n] };
    for target in 0..TARGETS {
        let (matrix, vector) = sums(&rows, n, |row| row.targets[target].map(|y| (1.0, y)));
        fit.weights[target] = solve(matrix, vector);
    }
    for _ in 0..8 {
        let weights = fit.logistic.clone();
        // Newton's step: weighted least squares on the working response
        let (matrix, vector) = sums(&rows, n, |row| {
            let low = row.low?;
            let logit: f64 = row.x.iter().zip(&weights).map(|(x, w)| x * w).sum();
            let p = 1.0 / (1.0 + (-logit.clamp(-12.0, 12.0)).exp());
            let weight = p * (1.0 - p);
            Some((weight, logit.clamp(-12.0, 12.0) + (f64::from(u8::from(low)) - p) / weight))
        });
        fit.logistic = solve(matrix, vector);
    }
    fit
}

struct Row {
    x: Vec<f64>,
    targets: [Option<f64>; TARGETS],
    low: Option<bool>,
}

fn rows(series: &Series, fit: &Arc<Fit>) -> Vec<Row> {
    let mut filter = BestLinear { fit: fit.clone(), recent: VecDeque::new() };
    let mut rows = Vec::new();
    for reading in &series.readings {
        let x = filter.features(reading);
        if !series.scored(reading) {
            continue;
        }
        let at =
            |minutes| series.plasma_at(reading, minutes).map(|plasma| (f64::from(plasma) - CENTRE) * SCALE);
        let mut targets =
            [at(0), series.rate_at(reading).map(|rate| f64::from(rate) * SCALE), None, None, None, None];
        for (target, minutes) in targets.iter_mut().skip(2).zip(HORIZONS) {
            *target = at(minutes as i64);
        }
        rows.push(Row { x, targets, low: series.low_within_30(reading) });
    }
    rows
}

/// Sums of a weighted least-squares problem: each row gives a weight and a wanted value.
fn sums(
    rows: &[Vec<Row>],
    n: usize,
    wanted: impl Fn(&Row) -> Option<(f64, f64)> + Sync,
) -> (Vec<Vec<f64>>, Vec<f64>) {
    let parts: Vec<(Vec<Vec<f64>>, Vec<f64>)> = rows
        .par_iter()
        .map(|rows| {
            let (mut matrix, mut vector) = (vec![vec![0.0; n]; n], vec![0.0; n]);
            for row in rows {
                let Some((weight, y)) = wanted(row) else { continue };
                for i in 0..n {
                    let wx = weight * row.x[i];
                    vector[i] += wx * y;
                    for (sum, x) in matrix[i].iter_mut().zip(&row.x) {
                        *sum += wx * x;
                    }
                }
            }
            (matrix, vector)
        })
        .collect();
    // added in order, so that the figures are the same every time
    let (mut matrix, mut vector) = (vec![vec![0.0; n]; n], vec![0.0; n]);
    for (part, values) in parts {
        for (row, part) in matrix.iter_mut().zip(part) {
            row.iter_mut().zip(part).for_each(|(sum, x)| *sum += x);
        }
        vector.iter_mut().zip(values).for_each(|(sum, x)| *sum += x);
    }
    for (i, row) in matrix.iter_mut().enumerate() {
        row[i] += 1e-3;
    }
    (matrix, vector)
}
