//! The result in words.

use std::fmt::Write;

use super::amounts::{self, signed};
use super::between::Between;
use super::figures::{Basis, Ends, FEWEST, Figures, Lag, NotPaired};
use super::report::{Report, SensorReport};
use super::weighing::Weighed;
use crate::table::Unit;

/// The verdict: what one would tell a friend, most important first.
pub fn verdict(report: &Report, unit: Unit) -> Vec<String> {
    let mut words = Vec::new();
    let sensors = &report.sensors.0;
    if let Some(between) = &report.between {
        words.push(believe(between, sensors));
        words.push(serves(report.weighing.as_ref()));
        words.push(side_by_side(between, unit));
        if !same(between) {
            words.extend(behind(between));
        }
        words.extend(disagreed(between));
    }
    for sensor in sensors.iter().filter(|sensor| sensor.references > 0) {
        words.push(against_reference(sensor, unit));
        words.extend(first_day(sensor));
        words.extend(drift(sensor, unit));
    }
    for sensor in sensors {
        words.extend(age(sensor, unit));
    }
    words.extend(missing(sensors));
    let costs: Vec<String> = sensors
        .iter()
        .filter_map(|sensor| Some(format!("{} costs {:.2} a day", sensor.name, sensor.cost_per_day?)))
        .collect();
    if !costs.is_empty() {
        words.push(format!("{}.", costs.join(", ")));
    }
    if let Some(meter) = &report.meter {
        words.push(match meter.met_by_this_sample {
            _ if meter.pairs == 0 => "The two meters have no pairs within 5 minutes of each other.".to_owned(),
            None => format!("The two meters have only {} pairs: too few for rates.", meter.pairs),
            Some(met) => format!(
                "The second meter has {} of {} results within the limits of ISO 15197 and {} in zones A and B: a \
                 sample like that {} its criteria, though a home sample decides nothing.",
                meter.within_limits,
                meter.pairs,
                meter.in_zones_a_b,
                if met { "meets" } else { "does not meet" },
            ),
        });
    }
    words
}

/// Which one was nearer to the fingersticks.
fn believe(between: &Between, sensors: &[SensorReport]) -> String {
    let Some((disputes, difference)) = between.disputes.and_then(|d| Some((d, d.ard_difference_percent?)))
    else {
        return "Which is nearer to the blood: no fingerstick has a reading of both beside it, so nothing says which."
            .to_owned();
    };
    let mards: Vec<String> = sensors
        .iter()
        .filter(|sensor| sensor.name == between.first || sensor.name == between.second)
        .filter_map(|sensor| Some(format!("{} {:.1} %", sensor.name, sensor.figures.mard_percent?)))
        .collect();
    let nearer = if difference < 0.0 { &between.first } else { &between.second };
    let n = disputes.fingersticks;
    let mards = mards.join(", ");
    match disputes.ard_difference_interval_percent {
        None => format!(
            "Which is nearer to the blood: the same {n} fingersticks are too few, or too few days, to tell them apart \
             (MARD: {mards})."
        ),
        Some([low, high]) if low <= 0.0 && high >= 0.0 => format!(
            "Which is nearer to the blood: the fingersticks do not tell them apart (MARD: {mards}; over the same {n} \
             fingersticks {nearer} was {:.1} points nearer, 95 % interval {}).",
            difference.abs(),
            interval([low, high], difference < 0.0),
        ),
        Some(ends) => format!(
            "Which is nearer to the blood: {nearer} (mean absolute relative difference, MARD: {mards}; over the same {n} \
             fingersticks by {:.1} points, 95 % interval {}).",
            difference.abs(),
            interval(ends, difference < 0.0),
        ),
    }
}

/// The sensor that the fingersticks show to be nearer, if they do.
pub fn nearer(between: &Between) -> Option<&str> {
    let disputes = between.disputes?;
    let [low, high] = disputes.ard_difference_interval_percent?;
    match (low > 0.0, high < 0.0) {
        (true, _) => Some(&between.second),
        (_, true) => Some(&between.first),
        _ => None,
    }
}

/// An interval of a difference, turned so that the difference is positive.
fn interval([low, high]: Ends, turned: bool) -> String {
    let (low, high) = if turned { (-high, -low) } else { (low, high) };
    format!("{} to {}", signed(low, 1), signed(high, 1))
}

/// One trace twice.
fn same(between: &Between) -> bool {
    between.mean_abs_diff_mg_dl == Some(0.0)
}

/// A difference as people read it; one under 1 mg/dL with a decimal.
fn amount(mg_dl: f32, unit: Unit) -> String {
    match unit {
        Unit::MgDl => signed(mg_dl, usize::from(mg_dl.abs() < 1.0)),
        Unit::MmolL => signed(mg_dl / unit.in_mg_dl(), 1),
    }
}

fn side_by_side(between: &Between, unit: Unit) -> String {
    let Some(bias) = between.bias_mg_dl else {
        return format!("{} and {} have no minutes in common.", between.first, between.second);
    };
    let (lower, than, turned) = if bias < 0.0 {
        (&between.first, &between.second, true)
    } else {
        (&between.second, &between.first, false)
    };
    let size = amount(bias.abs(), unit);
    let unit_name = unit.name();
    if same(between) {
        return format!(
            "{} and {} show the same values at every moment: is it one trace under two names?",
            between.first, between.second
        );
    }
    let apart = between.mean_abs_diff_mg_dl.map_or_else(String::new, |mean| {
        format!(" At any one moment the two are {} {unit_name} apart on average.", amount(mean, unit))
    });
    match between.bias_interval_mg_dl {
        None => format!(
            "Over {} common readings {lower} reads {size} {unit_name} lower than {than}; that is too short a time to \
             say how sure this is.{apart}",
            between.pairs
        ),
        Some([low, high]) => {
            let (low, high) = if turned { (-high, -low) } else { (low, high) };
            let words = match between.beyond_chance {
                Some(true) => "more than the readings' scatter explains",
                _ => "no more than the readings' scatter explains",
            };
            format!(
                "{lower} reads {size} {unit_name} lower than {than}, 95 % interval {} to {}: {words}.{apart}",
                amount(low, unit),
                amount(high, unit)
            )
        }
    }
}

fn behind(between: &Between) -> Option<String> {
    let lag = between.lag_min?;
    let [low, high] = between.lag_interval_min?;
    let (late, early, lag, low, high) = if lag >= 0.0 {
        (&between.first, &between.second, lag, low, high)
    } else {
        (&between.second, &between.first, -lag, -high, -low)
    };
    Some(if low <= 0.0 {
        format!(
            "Neither is shown to run behind the other ({late} by {lag:.1} min, 95 % interval {} to {high:.1}).",
            signed(low, 1)
        )
    } else {
        format!("{late} runs {lag:.1} min behind {early}, 95 % interval {low:.1} to {high:.1}.")
    })
}

fn disagreed(between: &Between) -> Option<String> {
    let disputes = between.disputes?;
    let (first, second) = (disputes.first_nearer, disputes.second_nearer);
    if disputes.disagreements == 0 {
        return Some(format!(
            "At none of the {} fingersticks that both have a reading for were they more than 20 mg/dL or 20 % apart.",
            disputes.fingersticks
        ));
    }
    Some(format!(
        "At {} of {} fingersticks they were more than 20 mg/dL or 20 % apart: {} was nearer in {first} of them, {} in \
         {second}.",
        disputes.disagreements, disputes.fingersticks, between.first, between.second
    ))
}

fn against_reference(sensor: &SensorReport, unit: Unit) -> String {
    let figures = &sensor.figures;
    let name = &sensor.name;
    let mut sentence = match (figures.pairs, figures.bias_mg_dl, figures.mard_percent) {
        (0, ..) | (_, None, _) | (.., None) => {
            return format!("{name} has no pair with the reference.");
        }
        (1, Some(bias), Some(ard)) => format!(
            "{name} has one pair with the reference, {} {} apart ({ard:.1} %): one pair says nothing of a sensor.",
            amount(bias.abs(), unit),
            unit.name()
        ),
        (pairs, Some(bias), Some(mard)) => {
            let way = if bias < 0.0 { "lower" } else { "higher" };
            format!(
                "{name} against the reference ({pairs} pairs): MARD {mard:.1} %{}, and it reads {} {} {way}{}; {}.",
                figures
                    .mard_interval_percent
                    .map_or_else(String::new, |ends| format!(" ({})", between_ends(ends))),
                amount(bias.abs(), unit),
                unit.name(),
                bias_interval(figures, bias, unit),
                behind_blood(&sensor.lag),
            )
        }
    };
    if (2..FEWEST).contains(&figures.pairs) {
        let _ = write!(sentence, " {} pairs are too few for rates.", figures.pairs);
    }
    if sensor.not_paired.total() > 0 {
        let _ = write!(sentence, " Not paired: {}.", why_not_paired(&sensor.not_paired));
    }
    sentence
}

fn behind_blood(lag: &Lag) -> String {
    match (lag.lag_min, lag.lag_interval_min) {
        (Some(lag), None) => {
            format!("it seems to run {} min behind blood, how surely is not known", signed(lag, 1))
        }
        (Some(lag), Some([low, high])) => format!(
            "it runs {} min behind blood (95 % interval {} to {})",
            signed(lag, 1),
            signed(low, 1),
            signed(high, 1)
        ),
        _ => "how late it is these references do not show".to_owned(),
    }
}

fn why_not_paired(not: &NotPaired) -> String {
    let reasons: Vec<String> = [
        (not.no_reading, "with no reading near"),
        (not.reading_taken, "whose reading belonged to a nearer one"),
        (not.out_of_sensor_range, "with the sensor out of its range"),
        (not.reading_not_usable, "with no usable value"),
        (not.outside_wear, "before or after the wear"),
    ]
    .into_iter()
    .filter(|(count, _)| *count > 0)
    .map(|(count, why)| format!("{count} {why}"))
    .collect();
    reasons.join(", ")
}

fn between_ends([low, high]: Ends) -> String {
    format!("95 % interval {low:.1} to {high:.1}")
}

fn bias_interval(figures: &Figures, bias: f32, unit: Unit) -> String {
    let Some([low, high]) = figures.bias_interval_mg_dl else { return String::new() };
    let (low, high) = if bias < 0.0 { (-high, -low) } else { (low, high) };
    let basis =
        if figures.interval_basis == Some(Basis::Pairs) { ", as if pairs were independent" } else { "" };
    format!(" (95 % interval {} to {}{basis})", amount(low, unit), amount(high, unit))
}

fn first_day(sensor: &SensorReport) -> Option<String> {
    let (first, later) = (&sensor.first_day, &sensor.later);
    let (first_mard, later_mard) = (first.mard_percent?, later.mard_percent?);
    if first.pairs < 3 {
        return None;
    }
    let few = if first.pairs < FEWEST { ", few as they are" } else { "" };
    Some(format!(
        "{}'s first day: MARD {first_mard:.1} % from {} pairs{few}, later {later_mard:.1} %.",
        sensor.name, first.pairs
    ))
}

/// Said only when it is shown.
fn drift(sensor: &SensorReport, unit: Unit) -> Option<String> {
    let drift = sensor.drift_mg_dl_per_day?;
    let [low, high] = sensor.drift_interval_mg_dl_per_day.filter(|[low, high]| low * high > 0.0)?;
    let (way, low, high) = if drift < 0.0 { ("down", -high, -low) } else { ("up", low, high) };
    let fine = |mg_dl: f32| amounts::glucose(Some(mg_dl), unit);
    Some(format!(
        "{} drifts {way} by {} {} a day of wear (95 % interval {} to {}).",
        sensor.name,
        fine(drift.abs()),
        unit.name(),
        fine(low),
        fine(high)
    ))
}

fn age(sensor: &SensorReport, unit: Unit) -> Option<String> {
    let age = &sensor.number_age;
    let (median, high) = (age.median_min?, age.p95_min?);
    let from =
        if age.lag_counted_min.is_some() { "" } else { ", counted from its stamp as its lag is not known" };
    Some(format!(
        "{}'s number on the screen is at most {median:.1} min old half the time and at most {high:.1} min 19 times in \
         20{from}; at 2 mg/dL a minute that is {} and {} {} off.",
        sensor.name,
        amount(2.0 * median, unit),
        amount(2.0 * high, unit),
        unit.name()
    ))
}

fn missing(sensors: &[SensorReport]) -> Option<String> {
    let said: Vec<String> = sensors
        .iter()
        .filter_map(|sensor| {
            let mattered = sensor.missing?.when_it_mattered;
            (mattered.hours > 0.0).then(|| {
                format!(
                    "{} had no reading for {:.1} % of them ({:.1} of {:.0} h)",
                    sensor.name,
                    100.0 * mattered.missing_hours / mattered.hours,
                    mattered.missing_hours,
                    mattered.hours
                )
            })
        })
        .collect();
    (!said.is_empty()).then(|| {
        format!("Hours that matter (falling fast, low, at night, in the first day): {}.", said.join(", "))
    })
}

/// Which of two serves the wearer better, which accuracy alone does not say.
fn serves(weighed: Option<&Weighed>) -> String {
    match weighed.filter(|weighed| weighed.known_weight_percent >= 50.0) {
        Some(weighed) => format!("Which serves you: {}", self::weighed(weighed)),
        None => {
            "Which serves you is another question, of comfort, cost and alarms too: less than half of what a \
                 weighing asks is known here (see --weighing-template)."
                .to_owned()
        }
    }
}

/// What the weighing says, and on how much of it.
pub fn weighed(weighed: &Weighed) -> String {
    let known = if weighed.known_weight_percent < 99.5 {
        format!(" (of whose weight {:.0} % is known of both)", weighed.known_weight_percent)
    } else {
        String::new()
    };
    let mut sentence = format!("by the weighing{known}, {}", weighed.verdict);
    if let Some(criterion) = &weighed.decided_by {
        let turns =
            if weighed.turns_without_it == Some(true) { ", and without it the other leads" } else { "" };
        let _ = write!(sentence, "; what counts most for it is {}{turns}", criterion.replace('_', " "));
    }
    sentence + "."
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_reason_counts_what_it_names() {
        let not = NotPaired {
            no_reading: 1,
            reading_taken: 2,
            out_of_sensor_range: 3,
            reading_not_usable: 0,
            outside_wear: 5,
        };
        assert_eq!(
            why_not_paired(&not),
            "1 with no reading near, 2 whose reading belonged to a nearer one, 3 with the sensor out of its range, \
             5 before or after the wear"
        );
    }
}
