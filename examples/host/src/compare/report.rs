//! Everything that is said of the sensors, ready for JSON, text and sheet.

use glidepath::accuracy::{
    AgreementRates, AlertRates, AlertRule, AlertSide, Concurrence, Iso15197, Method as PairingMethod,
    Pairing, RateAgreement,
};
use glidepath::{Fingerstick, Glucose, Reading, Span};
use serde::ser::{Serialize, SerializeMap, Serializer};

use super::Args;
use super::between::{Between, between};
use super::figures::{Ends, FEWEST, Figures, Lag, NotPaired, Point, lag, pair_up, rate};
use super::groups::{self, Group};
use super::input::{Study, Worn};
use super::judged::{Judged, judge};
use super::presence::{self, Age, MissingWhen};
use super::weighing::{Measure, Value, Weighed, Weighing};
use crate::failure::Failure;
use crate::sheet::CAUTION;

/// Low and high alerts are judged at these, mg/dL, with references within this many minutes.
const LOW: f32 = 70.0;
const HIGH: f32 = 250.0;
const CONFIRMED_WITHIN: Span = Span::from_mins(15);
/// The whole result.
#[derive(Debug, serde::Serialize)]
pub struct Report {
    pub invented: bool,
    /// What one would tell a friend; said by `words`, which reads the rest.
    pub verdict: Vec<String>,
    pub notes: Vec<String>,
    pub method: MethodSaid,
    pub sensors: Sensors,
    pub between: Option<Between>,
    /// All further combinations, with more than two sensors.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub between_others: Vec<Between>,
    pub meter: Option<MeterReport>,
    pub weighing: Option<Weighed>,
    pub caution: &'static str,
}

/// How it was done.
#[derive(Debug, serde::Serialize)]
pub struct MethodSaid {
    pub pairing: &'static str,
    pub cut_mg_dl: f32,
    pub switch: String,
    pub bound: String,
    pub skip_hours: f32,
    pub first_day_hours: f32,
}

/// The sensors by name, in the order given.
#[derive(Debug)]
pub struct Sensors(pub Vec<SensorReport>);

impl Serialize for Sensors {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let mut map = serializer.serialize_map(Some(self.0.len()))?;
        for sensor in &self.0 {
            map.serialize_entry(&sensor.name, sensor)?;
        }
        map.end()
    }
}

/// One sensor.
#[derive(Debug, serde::Serialize)]
pub struct SensorReport {
    #[serde(skip)]
    pub name: String,
    pub readings: usize,
    pub interval_s: i32,
    pub references: usize,
    #[serde(flatten)]
    pub figures: Figures,
    pub skipped_pairs: usize,
    pub not_paired: NotPaired,
    pub pairing_window_min: f32,
    pub lag_corrected_min: f32,
    pub first_day: Figures,
    pub later: Figures,
    pub last_day: Figures,
    pub by_range: Vec<Group>,
    pub by_rate: Vec<Group>,
    pub by_day: Vec<Group>,
    pub by_hour: Vec<Group>,
    /// How the bias moves from day to day of wear.
    pub drift_mg_dl_per_day: Option<f32>,
    pub drift_interval_mg_dl_per_day: Option<Ends>,
    #[serde(flatten)]
    pub lag: Lag,
    pub rate_agreement: RateFigures,
    pub concurrence: [[u32; Concurrence::BANDS]; Concurrence::BANDS],
    pub alerts: Alerts,
    pub regulation: Vec<Judged>,
    pub number_age: Age,
    pub missing: Option<MissingWhen>,
    pub cost_per_day: Option<f32>,
    #[serde(skip)]
    pub points: Vec<Point>,
}

/// Agreement of rates with the references'.
#[derive(Debug, serde::Serialize)]
pub struct RateFigures {
    pub pairs: u32,
    pub same_bin_percent: Option<f32>,
    pub within_one_bin_percent: Option<f32>,
    pub mean_abs_error_mg_dl_min: Option<f32>,
    /// Rows: the sensor's bins from under −2 to over 2 mg/dL/min; columns: the reference's.
    pub counts: [[u32; RateAgreement::BINS]; RateAgreement::BINS],
}

/// Alerts at 70 and 250 mg/dL against references within 15 min.
#[derive(Debug, serde::Serialize)]
pub struct Alerts {
    pub below_70: AlertFigures,
    pub above_250: AlertFigures,
}

/// Alerts at one threshold.
#[derive(Debug, serde::Serialize)]
pub struct AlertFigures {
    pub alerts: u32,
    pub alerts_not_checked: u32,
    pub true_alerts: u32,
    pub true_alert_percent: Option<f32>,
    pub reference_events: u32,
    pub detected_events: u32,
    pub detected_percent: Option<f32>,
}

impl From<AlertRates> for AlertFigures {
    fn from(rates: AlertRates) -> Self {
        Self {
            alerts: rates.true_alerts.trials() + rates.unjudged,
            alerts_not_checked: rates.unjudged,
            true_alerts: rates.true_alerts.hits(),
            true_alert_percent: rate(rates.true_alerts),
            reference_events: rates.detected.trials(),
            detected_events: rates.detected.hits(),
            detected_percent: rate(rates.detected),
        }
    }
}

/// A second meter against the reference.
#[derive(Debug, serde::Serialize)]
pub struct MeterReport {
    pub pairs: u32,
    pub bias_mg_dl: Option<f32>,
    pub mard_percent: Option<f32>,
    pub within_limits: u32,
    pub within_limits_percent: Option<f32>,
    pub in_zones_a_b: u32,
    pub in_zones_a_b_percent: Option<f32>,
    pub met_by_this_sample: Option<bool>,
}

/// Works everything out.
pub fn report(study: &Study, args: &Args, weighing: Option<&Weighing>) -> Result<Report, Failure> {
    let method = method(args)?;
    let mut notes = study.notes.clone();
    let no_references = Vec::new();
    let references = study.reference.as_ref().unwrap_or(&no_references);
    let mut sensors = Vec::new();
    for worn in &study.sensors {
        let pairing = pairing(worn, args)?;
        sensors.push(sensor(worn, references, pairing, method, args, &mut notes));
    }
    let mut combinations = Vec::new();
    for (n, first) in study.sensors.iter().enumerate() {
        for (m, second) in study.sensors.iter().enumerate().skip(n + 1) {
            let pairing = pairing(if first.interval > second.interval { first } else { second }, args)?;
            combinations.push(between(first, second, pairing, [&sensors[n].points, &sensors[m].points]));
        }
    }
    let between = (!combinations.is_empty()).then(|| combinations.remove(0));
    let usual;
    let weighing = match weighing {
        Some(weighing) => weighing,
        None => {
            usual = Weighing::usual();
            &usual
        }
    };
    let weighed = match sensors.as_slice() {
        [first, second, ..] => Some(
            weighing
                .weigh([&first.name, &second.name], |n, measure| value([first, second][n.min(1)], measure)),
        ),
        _ => None,
    };
    Ok(Report {
        invented: study.invented,
        verdict: Vec::new(),
        notes,
        method: MethodSaid {
            pairing: if args.interpolate {
                "the line between the readings before and after the reference"
            } else {
                "the reading nearest to the reference"
            },
            cut_mg_dl: args.cut,
            switch: format!("{:?}", args.switch).to_lowercase(),
            bound: format!("{:?}", args.bound).to_lowercase(),
            skip_hours: args.skip_hours,
            first_day_hours: args.first_day_hours,
        },
        sensors: Sensors(sensors),
        between,
        between_others: combinations,
        meter: study.meter.as_deref().map(|meter| judge_meter(meter, references)).transpose()?,
        weighing: weighed,
        caution: CAUTION,
    })
}

fn method(args: &Args) -> Result<AgreementRates, Failure> {
    AgreementRates::new(args.cut, args.switch.into())
        .map_err(|_| Failure::new(format!("--cut {}: expected 0 to 400 mg/dL", args.cut)))
}

/// One sensor alone.
pub fn one(
    worn: &Worn,
    references: &[Fingerstick],
    args: &Args,
    notes: &mut Vec<String>,
) -> Result<SensorReport, Failure> {
    Ok(sensor(worn, references, pairing(worn, args)?, method(args)?, args, notes))
}

fn pairing(worn: &Worn, args: &Args) -> Result<Pairing, Failure> {
    let window = Span::from_secs((window_min(worn, args) * 60.0).round() as i32);
    let method = if args.interpolate { PairingMethod::Interpolated } else { PairingMethod::Nearest };
    Pairing::new(method, window)
        .and_then(|pairing| pairing.with_lag(worn.lag))
        .map_err(|error| Failure::new(error.to_string()))
}

fn window_min(worn: &Worn, args: &Args) -> f32 {
    let half = worn.interval.mins() / 2.0;
    args.window.unwrap_or(if args.interpolate { 2.0 * half } else { half }.max(5.0)).min(60.0)
}

fn sensor(
    worn: &Worn,
    references: &[Fingerstick],
    pairing: Pairing,
    method: AgreementRates,
    args: &Args,
    notes: &mut Vec<String>,
) -> SensorReport {
    let (all, not_paired) = pair_up(worn, references, pairing);
    doubts(worn, &all, references, pairing, notes);
    let first_day_s = (args.first_day_hours * 3600.0) as i32;
    let skip_s = (args.skip_hours * 3600.0) as i32;
    let first_day = Figures::of(all.iter().filter(|point| point.age_s < first_day_s), method);
    let points: Vec<Point> = all.iter().filter(|point| point.age_s >= skip_s).copied().collect();
    let days = |reference: &Fingerstick| {
        (worn.clock.wall(reference.at().secs().into()).div_euclid(86_400), *reference)
    };
    let lag = lag(worn, references.iter().map(days));
    let (mut rates, mut concurrence) = (RateAgreement::new(), Concurrence::new());
    for point in &points {
        rates.push(&point.pair);
        concurrence.push(&point.pair);
    }
    let judged = |side, threshold| {
        let threshold = Glucose::from_mg_dl(threshold).ok()?;
        Some(AlertRule::new(side, threshold, CONFIRMED_WITHIN).ok()?.judge(&worn.readings, references))
    };
    let by_day = groups::by_day(&all, method);
    let drift = groups::drift(&by_day);
    SensorReport {
        name: worn.name.clone(),
        readings: worn.readings.len(),
        interval_s: worn.interval.secs(),
        references: references.len(),
        figures: Figures::of(points.iter(), method),
        skipped_pairs: all.len() - points.len(),
        not_paired,
        pairing_window_min: window_min(worn, args),
        lag_corrected_min: worn.lag.mins(),
        first_day,
        later: Figures::of(all.iter().filter(|point| point.age_s >= first_day_s), method),
        last_day: Figures::of(all.iter().filter(|point| point.left_s < 86_400), method),
        by_range: groups::by_range(&points, method),
        by_rate: groups::by_rate(&points, method),
        drift_mg_dl_per_day: drift.map(|drift| drift.estimate()),
        drift_interval_mg_dl_per_day: drift.map(|drift| [drift.lower(), drift.upper()]),
        by_day,
        by_hour: groups::by_hour(&points, method),
        rate_agreement: RateFigures {
            pairs: rates.same_bin().trials(),
            same_bin_percent: rate(rates.same_bin()),
            within_one_bin_percent: rate(rates.within_one_bin()),
            mean_abs_error_mg_dl_min: rates.mean_error_mg_dl_per_min(),
            counts: std::array::from_fn(|row| std::array::from_fn(|column| rates.count(row, column))),
        },
        concurrence: std::array::from_fn(|row| std::array::from_fn(|column| concurrence.count(row, column))),
        alerts: Alerts {
            below_70: judged(AlertSide::Below, LOW).unwrap_or_default().into(),
            above_250: judged(AlertSide::Above, HIGH).unwrap_or_default().into(),
        },
        regulation: judge(&points, args.bound),
        number_age: presence::age(worn, lag.sure()),
        missing: presence::missing(worn),
        cost_per_day: presence::cost(worn),
        lag,
        points,
    }
}

/// Says what looks wrong with the pairs, without leaving anything out.
fn doubts(
    worn: &Worn,
    points: &[Point],
    references: &[Fingerstick],
    pairing: Pairing,
    notes: &mut Vec<String>,
) {
    for Point { pair, .. } in points {
        let (sensor, reference) = (pair.sensor().mg_dl(), pair.reference().mg_dl());
        if sensor > 3.0 * reference || reference > 3.0 * sensor {
            notes.push(format!(
                "{}: at {} the reference says {reference:.0} mg/dL and the sensor {sensor:.0}; typed wrong? It is \
                 counted.",
                worn.name,
                worn.clock.iso(pair.at().secs().into()),
            ));
        }
    }
    if let Some(hours) = clock_apart(worn, points, references, pairing) {
        notes.push(format!(
            "{}: with the reference's clock moved by {hours} h the two agree far better; do both clocks show the same \
             zone? Nothing was moved.",
            worn.name,
        ));
    }
    if points.is_empty() && !references.is_empty() {
        notes.push(format!(
            "{}: no reference has a reading within the window, so nothing can be said against the reference.",
            worn.name
        ));
    }
}

/// Whole hours by which the references would have to move to agree far better.
fn clock_apart(worn: &Worn, points: &[Point], references: &[Fingerstick], pairing: Pairing) -> Option<i32> {
    let spread = |points: &[Point]| {
        let differences = points.iter().map(|point| f64::from(point.pair.difference_mg_dl()));
        let mean = differences.clone().sum::<f64>() / points.len() as f64;
        (differences.map(|d| (d - mean).powi(2)).sum::<f64>() / points.len() as f64).sqrt()
    };
    if points.len() < 10 {
        return None;
    }
    let now = spread(points);
    let moved: Vec<(f64, i32)> = (-14..=14)
        .filter(|hours| *hours != 0)
        .filter_map(|hours| {
            let moved: Vec<Fingerstick> = references
                .iter()
                .map(|reference| {
                    Fingerstick::new(reference.at().plus(Span::from_hours(hours)), reference.glucose())
                })
                .collect();
            let (points_then, _) = pair_up(worn, &moved, pairing);
            (points_then.len() * 5 >= points.len() * 4).then(|| (spread(&points_then), hours))
        })
        .filter(|(then, _)| *then < 0.5 * now && now > 20.0)
        .collect();
    // of several that do about as well the smallest move
    let best = moved.iter().map(|(then, _)| *then).fold(f64::INFINITY, f64::min);
    let good = moved.into_iter().filter(|(then, _)| *then <= best + 0.1 * now);
    good.map(|(_, hours)| hours).min_by_key(|hours| hours.abs())
}

fn judge_meter(meter: &[Fingerstick], references: &[Fingerstick]) -> Result<MeterReport, Failure> {
    let results: Vec<Reading> = meter.iter().map(|stick| Reading::new(stick.at(), stick.glucose())).collect();
    let pairing = Pairing::new(PairingMethod::Nearest, Span::from_mins(5))
        .map_err(|error| Failure::new(error.to_string()))?;
    let (mut iso, mut accuracy) = (Iso15197::new(), glidepath::accuracy::PointAccuracy::new());
    for paired in pairing.pairs(&results, references) {
        if let glidepath::accuracy::Paired::Pair(pair) = paired {
            iso.push(&pair);
            accuracy.push(&pair);
        }
    }
    Ok(MeterReport {
        pairs: accuracy.pairs(),
        bias_mg_dl: accuracy.bias_mg_dl(),
        mard_percent: accuracy.mard_percent(),
        within_limits: iso.within_limits().hits(),
        within_limits_percent: rate(iso.within_limits()),
        in_zones_a_b: iso.in_zones_a_b().hits(),
        in_zones_a_b_percent: rate(iso.in_zones_a_b()),
        met_by_this_sample: iso.met().filter(|_| accuracy.pairs() >= FEWEST),
    })
}

/// What the traces say for a measured criterion.
fn value(sensor: &SensorReport, measure: Measure) -> Option<Value> {
    let exact = |value| Value { value, error: 0.0 };
    let mard = |figures: &Figures| {
        let value = figures.mard_percent.filter(|_| figures.pairs >= 3)?;
        let error = match figures.mard_interval_percent {
            Some(ends) => half(ends) / 2.0,
            // a single difference scatters about as much as its mean (half-normal: 0.76 of it)
            None => 0.76 * value / (figures.pairs as f32).sqrt(),
        };
        Some(Value { value, error })
    };
    match measure {
        Measure::Accuracy => mard(&sensor.figures),
        Measure::FirstDay => mard(&sensor.first_day),
        Measure::NumberAge => {
            sensor.number_age.lag_counted_min?;
            let error = sensor.lag.lag_interval_min.map_or(0.0, half) / 2.0;
            Some(Value { value: sensor.number_age.median_min?, error })
        }
        Measure::MissingWhenItMattered => {
            let mattered = sensor.missing?.when_it_mattered;
            let share = 100.0 * mattered.missing_hours / mattered.hours;
            // gaps come by chance: as many more or fewer as the root of their number
            let events = (mattered.gaps + mattered.errors).max(1) as f32;
            (mattered.hours > 0.0).then(|| Value { value: share, error: share / events.sqrt() })
        }
        Measure::AlarmsInTime => {
            let lows = &sensor.alerts.below_70;
            let n = lows.reference_events as f32;
            // one more of each, so that three of three are not held for certain
            let share = (lows.detected_events as f32 + 1.0) / (n + 2.0);
            let error = 100.0 * (share * (1.0 - share) / n.max(1.0)).sqrt();
            (lows.reference_events >= 3)
                .then(|| Value { value: 100.0 * lows.detected_events as f32 / n, error })
        }
        Measure::Cost => sensor.cost_per_day.map(exact),
    }
}

fn half([low, high]: Ends) -> f32 {
    (high - low) / 2.0
}
