//! Two periods compared: what changed, and how sure that is.
//!
//! The unit is the day. Each figure is computed again with one day left out at a time (the jackknife: Efron 1982, SIAM
//! CBMS 38), which gives its standard error whatever the figure. The difference of the periods gets a 95 % interval by
//! Welch's t (Welch 1947, Biometrika 34:28). Days are taken as independent of each other.

use std::ops::RangeInclusive;

use glidepath::review::{Compact, DayTime, Ranges, Review, Threshold};
use serde::Serialize;

use super::record::{Record, config};
use super::words;
use crate::failure::Failure;
use crate::table::Unit;

/// Two days, both included.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Period {
    first: i64,
    last: i64,
}

impl Period {
    fn days(self) -> RangeInclusive<i64> {
        self.first..=self.last
    }
}

/// Reads `2026-01-05..2026-01-18`.
pub fn period(text: &str) -> Result<Period, String> {
    let expected = || "expected two days such as 2026-01-05..2026-01-18, both included".to_owned();
    let (from, to) = text.split_once("..").ok_or_else(expected)?;
    let day = |text: &str| {
        let date: jiff::civil::Date = text.trim().parse().map_err(|_| expected())?;
        let since = date.since(jiff::civil::date(1970, 1, 1)).map_err(|_| expected())?;
        Ok::<i64, String>(since.get_days().into())
    };
    let (first, last) = (day(from)?, day(to)?);
    if first > last { Err("the first day is after the last".into()) } else { Ok(Period { first, last }) }
}

/// What a day adds to the sums.
#[derive(Clone, Copy, Debug, Default)]
struct Sums {
    n: f64,
    sum: f64,
    square: f64,
    /// Readings under 54, under 70, in range, over 180, over 250.
    parts: [f64; 5],
}

impl Sums {
    fn combine(self, other: &Self, sign: f64) -> Self {
        let mut parts = self.parts;
        for (mine, theirs) in parts.iter_mut().zip(other.parts) {
            *mine += sign * theirs;
        }
        Self {
            n: self.n + sign * other.n,
            sum: self.sum + sign * other.sum,
            square: self.square + sign * other.square,
            parts,
        }
    }

    fn figure(&self, which: usize) -> f64 {
        let mean = self.sum / self.n;
        let sd = ((self.square - self.n * mean * mean) / (self.n - 1.0)).max(0.0).sqrt();
        match which {
            0 => mean,
            1 => sd,
            2 => 100.0 * sd / mean,
            part => self.parts.get(part - 3).map_or(f64::NAN, |count| 100.0 * count / self.n),
        }
    }
}

/// Figures compared: keys of the JSON.
const FIGURES: [&str; 8] = [
    "mean_mg_dl",
    "sd_mg_dl",
    "cv_percent",
    "below_54_percent",
    "below_70_percent",
    "from_70_to_180_percent",
    "above_180_percent",
    "above_250_percent",
];

/// Days that a period needs.
const FEWEST_DAYS: usize = 5;

/// One figure, then and now.
#[derive(Serialize)]
pub struct Change {
    pub figure: &'static str,
    pub between: f64,
    pub against: f64,
    pub change: f64,
    /// The 95 % interval of the change.
    pub low: f64,
    pub high: f64,
    /// Whether the interval leaves out no change at all.
    pub clear: bool,
}

#[derive(Serialize)]
pub struct Comparison {
    pub between: Span,
    pub against: Span,
    pub changes: Vec<Change>,
}

#[derive(Serialize)]
pub struct Span {
    pub from: String,
    pub to: String,
    pub days_with_readings: usize,
}

/// Compares two periods of a record.
pub fn compare(record: &Record, between: Period, against: Period) -> Result<Comparison, Failure> {
    if between.first <= against.last && against.first <= between.last {
        return Err(Failure::new("--between and --against share days, expected two periods apart"));
    }
    let of = |flag: &str, period: Period| {
        let days = days(record, period)?;
        if days.len() < FEWEST_DAYS {
            let (found, name) = (days.len(), &record.name);
            let what = format!(
                "{flag}: {name} has readings on {found} of these days, expected at least {FEWEST_DAYS}"
            );
            return Err(Failure::new(what));
        }
        Ok(days)
    };
    let (now, then) = (of("--between", between)?, of("--against", against)?);
    let span = |period: Period, days: &[Sums]| Span {
        from: crate::table::date(period.first).to_string(),
        to: crate::table::date(period.last).to_string(),
        days_with_readings: days.len(),
    };
    Ok(Comparison {
        between: span(between, &now),
        against: span(against, &then),
        changes: FIGURES.into_iter().enumerate().map(|(i, figure)| change(figure, i, &now, &then)).collect(),
    })
}

fn days(record: &Record, period: Period) -> Result<Vec<Sums>, Failure> {
    let config = config(record.interval_s, record.unit)?;
    let runs = record.readings.chunk_by(|a, b| record.day(a.at()) == record.day(b.at()));
    let chosen = runs.filter(|run| run.first().is_some_and(|r| period.days().contains(&record.day(r.at()))));
    Ok(chosen
        .filter_map(|run| {
            let mut review = Review::<Compact>::new(config);
            for reading in run {
                let _ = review.push(reading, DayTime::from_secs(reading.at().secs()));
            }
            let s = review.summary();
            let n = f64::from(s.readings);
            let (mean, sd) = (f64::from(s.mean_mg_dl?), f64::from(s.sd_mg_dl.unwrap_or(0.0)));
            let ranges = s.by_readings?;
            let share = |of: fn(&Ranges) -> f32| f64::from(of(&ranges)) * n / 100.0;
            Some(Sums {
                n,
                sum: mean * n,
                square: sd * sd * (n - 1.0) + n * mean * mean,
                parts: [
                    share(|r| r.below_54),
                    share(Ranges::below_70),
                    share(|r| r.from_70_to_180),
                    share(Ranges::above_180),
                    share(|r| r.above_250),
                ],
            })
        })
        .collect())
}

/// The figure over all days, and its variance by leaving out one at a time.
fn jackknife(days: &[Sums], which: usize) -> (f64, f64) {
    let all = days.iter().fold(Sums::default(), |sum, day| sum.combine(day, 1.0));
    let left: Vec<f64> = days.iter().map(|day| all.combine(day, -1.0).figure(which)).collect();
    let n = left.len() as f64;
    let mean = left.iter().sum::<f64>() / n;
    (all.figure(which), (n - 1.0) / n * left.iter().map(|x| (x - mean).powi(2)).sum::<f64>())
}

fn change(figure: &'static str, which: usize, now: &[Sums], then: &[Sums]) -> Change {
    let ((between, a), (against, b)) = (jackknife(now, which), jackknife(then, which));
    let change = between - against;
    let variance = a + b;
    let freedom = variance * variance
        / (a * a / (now.len() as f64 - 1.0) + b * b / (then.len() as f64 - 1.0)).max(f64::MIN_POSITIVE);
    let half = t_975(freedom) * variance.sqrt();
    let (low, high) = (change - half, change + half);
    Change { figure, between, against, change, low, high, clear: low > 0.0 || high < 0.0 }
}

/// The 97.5th percentile of Student's t. Source: Abramowitz and Stegun (1964), formula 26.7.5.
fn t_975(freedom: f64) -> f64 {
    let (z, n) = (1.959_963_984_540_054_f64, freedom.max(2.0));
    let g1 = (z.powi(3) + z) / 4.0;
    let g2 = (5.0 * z.powi(5) + 16.0 * z.powi(3) + 3.0 * z) / 96.0;
    let g3 = (3.0 * z.powi(7) + 19.0 * z.powi(5) + 17.0 * z.powi(3) - 15.0 * z) / 384.0;
    let g4 = (79.0 * z.powi(9) + 776.0 * z.powi(7) + 1482.0 * z.powi(5) - 1920.0 * z.powi(3) - 945.0 * z)
        / 92_160.0;
    z + g1 / n + g2 / n.powi(2) + g3 / n.powi(3) + g4 / n.powi(4)
}

/// The comparison in sentences.
pub fn thoughts(comparison: &Comparison, unit: Unit) -> Vec<String> {
    let Comparison { between, against, changes } = comparison;
    let mut out = vec![format!(
        "{} to {} ({} days with readings) against {} to {} ({}):",
        between.from,
        between.to,
        between.days_with_readings,
        against.from,
        against.to,
        against.days_with_readings
    )];
    out.extend(changes.iter().map(|c| sentence(c, unit)));
    out.push(
        "Each interval stands for itself, at 95 %; days are taken as independent of each other, and a change has causes \
         that figures do not name."
            .into(),
    );
    out
}

/// A change as it is written.
pub struct Told {
    pub name: String,
    pub then: String,
    pub now: String,
    /// The unit of both.
    pub unit: &'static str,
    /// With its sign.
    pub change: String,
    pub interval: String,
}

/// Puts a change into words and numbers of a display unit.
pub fn told(c: &Change, unit: Unit) -> Told {
    let limit = |at| format!("{} {}", words::limit(at, unit), unit.name());
    let (name, concentration) = match c.figure {
        "mean_mg_dl" => ("Mean".to_owned(), true),
        "sd_mg_dl" => ("Standard deviation".to_owned(), true),
        "cv_percent" => ("Coefficient of variation".to_owned(), false),
        "below_54_percent" => (format!("Below {}", limit(Threshold::L54)), false),
        "below_70_percent" => (format!("Below {}", limit(Threshold::L70)), false),
        "from_70_to_180_percent" => {
            (format!("{} to {}", words::limit(Threshold::L70, unit), limit(Threshold::L180)), false)
        }
        "above_180_percent" => (format!("Above {}", limit(Threshold::L180)), false),
        _ => (format!("Above {}", limit(Threshold::L250)), false),
    };
    let show = |value: f64| match (concentration, unit) {
        (true, Unit::MmolL) => format!("{:.1}", value / f64::from(unit.in_mg_dl())),
        (true, Unit::MgDl) => format!("{value:.0}"),
        (false, _) => format!("{value:.1}"),
    };
    let signed = |value: f64| {
        let text = show(value.abs());
        match text.trim_matches(['0', '.']) {
            "" => text,
            _ if value < 0.0 => format!("−{text}"),
            _ => format!("+{text}"),
        }
    };
    Told {
        name,
        then: show(c.against),
        now: show(c.between),
        unit: if concentration { unit.name() } else { "%" },
        change: signed(c.change),
        interval: format!("{} to {}", signed(c.low), signed(c.high)),
    }
}

fn sentence(c: &Change, unit: Unit) -> String {
    let Told { name, then, now, unit, change, interval } = told(c, unit);
    let by = if unit == "%" { "points" } else { unit };
    let what = match (c.clear, c.change > 0.0) {
        (true, true) => format!("up by {} {by}", change.trim_start_matches('+')),
        (true, false) => format!("down by {} {by}", change.trim_start_matches('−')),
        (false, _) => "no clear change".to_owned(),
    };
    format!("{name}: {what}, from {then} to {now} {unit} (95 % interval {interval}).")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn periods_are_two_days_both_included() {
        assert_eq!(period("1970-01-02..1970-01-05"), Ok(Period { first: 1, last: 4 }));
        assert!(period("1970-01-05..1970-01-02").is_err());
        assert!(period("1970-01-05").is_err() && period("a..b").is_err());
    }

    #[test]
    fn quantiles_of_t_agree_with_a_general_library() {
        // scipy.stats.t.ppf(0.975, n)
        for (n, want) in [(4.0, 2.776_445), (9.0, 2.262_157), (26.0, 2.055_529), (1e6, 1.959_966)] {
            assert!((t_975(n) / want - 1.0).abs() < 2e-3, "{n}");
        }
    }

    #[test]
    fn intervals_hold_no_change_about_95_times_in_100() {
        use glidepath::simulate::Random;
        let mut random = Random::new(5, 0);
        let mut day = || {
            // days of unequal length around a level of their own
            let (n, level) =
                (100.0 + 188.0 * f64::from(random.uniform()), 150.0 + 15.0 * f64::from(random.normal()));
            let low = (3.0 * f64::from(random.normal())).max(0.0) * n / 100.0;
            let parts = [0.0, low, 0.7 * n, 0.3 * n - low, 0.0];
            Sums { n, sum: n * level, square: n * (level * level + 3000.0), parts }
        };
        let (mut mean_held, mut low_held) = (0, 0);
        for _ in 0..1000 {
            let (a, b): (Vec<_>, Vec<_>) =
                ((0..14).map(|_| day()).collect(), (0..14).map(|_| day()).collect());
            mean_held += u32::from(!change("mean_mg_dl", 0, &a, &b).clear);
            low_held += u32::from(!change("below_70_percent", 4, &a, &b).clear);
        }
        assert!((930..=970).contains(&mean_held), "{mean_held}");
        assert!((930..=980).contains(&low_held), "{low_held}");
    }
}
