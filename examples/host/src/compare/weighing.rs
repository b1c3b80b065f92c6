//! A weighing of one's own: what matters, how much, and how sure the result is with one sensor of each.

use std::collections::BTreeMap;
use std::path::Path;

use serde::{Deserialize, Serialize};

use crate::failure::Failure;

/// One to fill in.
pub const TEMPLATE: &str = include_str!("weighing.toml");

/// What can fill itself in from the traces.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Measure {
    /// MARD, percent.
    Accuracy,
    /// MARD of the first day, percent.
    FirstDay,
    /// Median age of the number on the screen, minutes.
    NumberAge,
    /// Hours without a reading while it mattered, percent of such hours.
    MissingWhenItMattered,
    /// Lows by the fingersticks that an alert came with, percent.
    AlarmsInTime,
    /// Cost of a day.
    Cost,
}

/// One criterion as written.
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct Criterion {
    weight: f32,
    measure: Option<Measure>,
    /// The measured value that earns 10 marks, and the one that earns none.
    best: Option<f32>,
    worst: Option<f32>,
    /// How much two sensors of one kind differ in it, one standard deviation, in its own unit.
    sensor_to_sensor: Option<f32>,
    /// Marks from 0 to 10 by sensor, for what cannot be measured.
    #[serde(default)]
    marks: BTreeMap<String, f32>,
    /// How unsure a mark is, one standard deviation.
    unsure: Option<f32>,
}

/// A weighing, as written.
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct Written {
    criteria: BTreeMap<String, Criterion>,
}

/// A weighing that has been checked.
#[derive(Clone, Debug)]
pub struct Weighing {
    criteria: BTreeMap<String, Criterion>,
}

/// A measured value with its standard error, if known.
#[derive(Clone, Copy, Debug)]
pub struct Value {
    pub value: f32,
    pub error: f32,
}

/// One line of the result.
#[derive(Clone, Debug, Serialize)]
pub struct Line {
    pub criterion: String,
    pub weight: f32,
    pub first_value: Option<f32>,
    pub second_value: Option<f32>,
    pub first_marks: Option<f32>,
    pub second_marks: Option<f32>,
    /// Part of the difference of the totals, first minus second.
    pub contributes: Option<f32>,
}

/// The result for two sensors.
#[derive(Clone, Debug, Serialize)]
pub struct Weighed {
    pub first: String,
    pub second: String,
    pub lines: Vec<Line>,
    pub first_total: Option<f32>,
    pub second_total: Option<f32>,
    /// How likely the first is the better one for this wearer, over other sensors of the same two kinds.
    pub first_better_percent: Option<f32>,
    pub verdict: String,
    /// The share of all weight that is known of both sensors.
    pub known_weight_percent: f32,
    /// The criterion that counts most for the winner.
    pub decided_by: Option<String>,
    /// Whether the other would be ahead without it.
    pub turns_without_it: Option<bool>,
    pub left_out: Vec<String>,
}

impl Weighing {
    /// The weighing that counts when none is given: the measured criteria of the template.
    pub fn usual() -> Self {
        let mut usual =
            Self::parse(TEMPLATE, Path::new("weighing.toml")).unwrap_or(Self { criteria: BTreeMap::new() });
        usual.criteria.retain(|_, criterion| criterion.measure.is_some());
        usual
    }

    /// Reads a weighing.
    pub fn read(path: &Path) -> Result<Self, Failure> {
        let text = std::fs::read_to_string(path)
            .map_err(|error| Failure::file(path, format!("cannot be read ({error})")))?;
        Self::parse(&text, path)
    }

    fn parse(text: &str, path: &Path) -> Result<Self, Failure> {
        let written: Written = toml::from_str(text).map_err(|error| {
            let line = error.span().map_or(1, |span| 1 + text[..span.start].matches('\n').count() as u64);
            Failure::line(path, line, error.message().lines().next().unwrap_or("not a weighing"))
        })?;
        for (name, criterion) in &written.criteria {
            let refuse = |what: &str| Err(Failure::file(path, format!("criterion {name}: {what}")));
            if !criterion.weight.is_finite() || criterion.weight < 0.0 {
                return refuse("weight is below zero, expected 0 or more");
            }
            if criterion.measure.is_some() {
                match (criterion.best, criterion.worst) {
                    (Some(best), Some(worst)) if best.is_finite() && worst.is_finite() && best != worst => {}
                    _ => return refuse("expected best and worst, two different numbers"),
                }
                if !criterion.marks.is_empty() {
                    return refuse("has a measure and marks, expected one of them");
                }
            }
            if criterion.marks.values().any(|mark| !(0.0..=10.0).contains(mark)) {
                return refuse("a mark is outside 0 to 10");
            }
            let spread = [criterion.sensor_to_sensor, criterion.unsure];
            if spread.into_iter().flatten().any(|spread| !spread.is_finite() || spread < 0.0) {
                return refuse("sensor_to_sensor or unsure is below zero, expected 0 or more");
            }
        }
        Ok(Self { criteria: written.criteria })
    }

    /// Weighs two sensors; `measured` gives what the traces say of each.
    pub fn weigh(&self, names: [&str; 2], measured: impl Fn(usize, Measure) -> Option<Value>) -> Weighed {
        let (mut lines, mut sums, mut left_out) = (Vec::new(), Sums::default(), Vec::new());
        for (name, criterion) in &self.criteria {
            let values = [0, 1].map(|n| criterion.measure.and_then(|measure| measured(n, measure)));
            let line = criterion.line(name, names, values, &mut sums);
            if line.contributes.is_none() {
                left_out.push(name.clone());
            }
            lines.push(line);
        }
        let mut weighed = Weighed {
            first: names[0].to_owned(),
            second: names[1].to_owned(),
            lines,
            first_total: None,
            second_total: None,
            first_better_percent: None,
            verdict: "nothing is known of both sensors".to_owned(),
            known_weight_percent: 0.0,
            decided_by: None,
            turns_without_it: None,
            left_out,
        };
        if sums.weights > 0.0 {
            weighed.judge(names, &sums);
            weighed.known_weight_percent =
                100.0 * sums.weights / self.criteria.values().map(|criterion| criterion.weight).sum::<f32>();
        }
        weighed
    }
}

/// What the criteria known of both sensors add up to.
#[derive(Default)]
struct Sums {
    weights: f32,
    totals: [f32; 2],
    variance: f32,
}

impl Weighed {
    /// Who is ahead, how likely, and by which criterion.
    fn judge(&mut self, names: [&str; 2], sums: &Sums) {
        for line in &mut self.lines {
            line.contributes = line.contributes.map(|part| part / sums.weights);
        }
        let [first, second] = sums.totals.map(|total| total / sums.weights);
        let difference = first - second;
        let error = sums.variance.sqrt() / sums.weights;
        let chance = if error > 0.0 { normal(difference / error) } else { 0.5 + 0.5 * sign(difference) };
        let ahead = sign(difference);
        let deciding =
            self.lines.iter().filter(|line| line.contributes.is_some_and(|part| part * ahead > 0.0)).max_by(
                |a, b| {
                    let size = |line: &Line| line.contributes.unwrap_or(0.0).abs();
                    size(a).total_cmp(&size(b))
                },
            );
        self.decided_by = deciding.map(|line| line.criterion.clone());
        self.turns_without_it =
            deciding.and_then(|line| line.contributes).map(|part| sign(difference - part) * ahead < 0.0);
        self.first_total = Some(first);
        self.second_total = Some(second);
        self.first_better_percent = Some(100.0 * chance);
        self.verdict = verdict(names, chance);
    }
}

impl Criterion {
    /// Its line for two sensors; what both have marks for is added to the sums.
    fn line(&self, name: &str, names: [&str; 2], values: [Option<Value>; 2], sums: &mut Sums) -> Line {
        let both = [self.marked(names[0], values[0]), self.marked(names[1], values[1])];
        let mut contributes = None;
        if let [Some((a, a_error)), Some((b, b_error))] = both
            && self.weight > 0.0
        {
            sums.weights += self.weight;
            sums.totals[0] += self.weight * a;
            sums.totals[1] += self.weight * b;
            sums.variance += self.weight.powi(2) * (a_error.powi(2) + b_error.powi(2));
            contributes = Some(self.weight * (a - b));
        }
        Line {
            criterion: name.to_owned(),
            weight: self.weight,
            first_value: values[0].map(|value| value.value),
            second_value: values[1].map(|value| value.value),
            first_marks: both[0].map(|(marks, _)| marks),
            second_marks: both[1].map(|(marks, _)| marks),
            contributes,
        }
    }

    /// Marks and their standard error.
    fn marked(&self, name: &str, value: Option<Value>) -> Option<(f32, f32)> {
        if self.measure.is_none() {
            return Some((*self.marks.get(name)?, self.unsure.unwrap_or(1.0)));
        }
        let (value, best, worst) = (value?, self.best?, self.worst?);
        let slope = 10.0 / (best - worst);
        let marks = ((value.value - worst) * slope).clamp(0.0, 10.0);
        Some((marks, slope.abs() * value.error.hypot(self.sensor_to_sensor.unwrap_or(0.0))))
    }
}

fn sign(x: f32) -> f32 {
    if x > 0.0 {
        1.0
    } else if x < 0.0 {
        -1.0
    } else {
        0.0
    }
}

/// The words for how sure it is (ours).
fn verdict(names: [&str; 2], chance: f32) -> String {
    let (winner, sure) = if chance >= 0.5 { (names[0], chance) } else { (names[1], 1.0 - chance) };
    let odds = 10.0 * sure;
    if sure < 0.65 {
        format!("a coin toss: {winner} is ahead, but with one sensor of each that says next to nothing")
    } else if sure < 0.85 {
        format!("leaning to {winner}: about {odds:.0} in 10 that it is the better one for you")
    } else if sure < 0.95 {
        format!("likely {winner}: about {odds:.0} in 10 that it is the better one for you")
    } else {
        format!("{winner}, with little doubt")
    }
}

/// The normal distribution function, by Abramowitz and Stegun (1964), 7.1.26.
fn normal(z: f32) -> f32 {
    let x = f64::from(z.abs()) / std::f64::consts::SQRT_2;
    let t = 1.0 / (1.0 + 0.327_591_1 * x);
    let series = t
        * (0.254_829_592
            + t * (-0.284_496_736 + t * (1.421_413_741 + t * (-1.453_152_027 + t * 1.061_405_429))));
    let upper = (0.5 * series * (-x * x).exp()) as f32;
    if z >= 0.0 { 1.0 - upper } else { upper }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sheet(text: &str) -> Result<Weighing, String> {
        Weighing::parse(text, Path::new("mine.toml")).map_err(|failure| failure.to_string())
    }

    fn fixed(values: [f32; 2]) -> impl Fn(usize, Measure) -> Option<Value> {
        move |n, measure| (measure == Measure::Accuracy).then(|| Value { value: values[n], error: 0.5 })
    }

    const ONE: &str = "[criteria.accuracy]\nweight = 2\nmeasure = \"accuracy\"\nbest = 7\nworst = 17\n\
                       sensor_to_sensor = 2\n";

    #[test]
    fn the_template_is_a_sheet_and_names_every_measure() {
        let template = sheet(TEMPLATE).unwrap();
        assert_eq!(template.criteria.values().filter(|criterion| criterion.measure.is_some()).count(), 6);
        assert!(template.criteria.contains_key("comfort"));
        assert!(Weighing::usual().criteria.values().all(|criterion| criterion.measure.is_some()));
    }

    #[test]
    fn equal_sensors_are_a_coin_toss_and_far_ones_are_not() {
        let one = sheet(ONE).unwrap();
        let even = one.weigh(["a", "b"], fixed([10.0, 10.0]));
        assert_eq!(even.first_better_percent, Some(50.0));
        assert!(even.verdict.contains("coin toss"), "{}", even.verdict);
        assert_eq!(even.decided_by, None);
        let near = one.weigh(["a", "b"], fixed([10.0, 10.5]));
        assert!(near.verdict.contains("coin toss"), "{}", near.verdict);
        let far = one.weigh(["a", "b"], fixed([16.0, 8.0]));
        assert!(far.verdict.starts_with("b, with little doubt"), "{}", far.verdict);
        assert_eq!(far.decided_by.as_deref(), Some("accuracy"));
        // 8 points of 10 in marks, each good to sqrt(0.5² + 2²): 8 / (2.06 √2) = 2.74
        assert!((far.first_better_percent.unwrap() - 0.3).abs() < 0.1);
    }

    #[test]
    fn one_criterion_may_decide_alone() {
        let text = format!("{ONE}[criteria.comfort]\nweight = 1\nmarks = {{ a = 2, b = 9 }}\n");
        let score = sheet(&text).unwrap().weigh(["a", "b"], fixed([9.0, 12.0]));
        // accuracy: (8 − 5)·2 for a, comfort: 7·1 for b
        assert_eq!(score.decided_by.as_deref(), Some("comfort"));
        assert_eq!(score.turns_without_it, Some(true));
        assert!((score.first_total.unwrap() - 6.0).abs() < 1e-5);
        let unmarked = sheet(&text).unwrap().weigh(["a", "c"], fixed([9.0, 12.0]));
        assert_eq!(unmarked.left_out, ["comfort"]);
        assert!((unmarked.known_weight_percent - 66.67).abs() < 0.01);
    }

    #[test]
    fn a_wrong_sheet_is_refused_in_a_sentence() {
        for (text, expected) in [
            ("criteria = 3", "line 1"),
            ("[criteria.a]\nweight = -1\n", "criterion a: weight is below zero"),
            ("[criteria.a]\nweight = 1\nmeasure = \"speed\"\n", "line 3"),
            ("[criteria.a]\nweight = 1\nmeasure = \"cost\"\nbest = 1\nworst = 1\n", "two different numbers"),
            ("[criteria.a]\nweight = 1\nmarks = { x = 11 }\n", "outside 0 to 10"),
            ("[criteria.a]\nweight = 1\ncolour = 2\n", "line 3"),
        ] {
            let failure = sheet(text).unwrap_err();
            assert!(failure.contains(expected) && failure.starts_with("mine.toml"), "{failure}");
        }
    }

    #[test]
    fn the_normal_distribution_agrees_with_its_table() {
        // Abramowitz and Stegun, table 26.1
        assert!((normal(1.0) - 0.841_345).abs() < 1e-5);
        assert!((normal(-1.96) - 0.024_998).abs() < 1e-5);
    }
}
