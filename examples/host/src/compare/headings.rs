//! The main figure of each folded part of the sheet, as it stands in its heading.

use super::amounts;
use super::report::SensorReport;
use super::weighing::Weighed;
use crate::table::Unit;

/// A figure of each sensor; a name and its figure stay on one line.
fn each(sensors: &[SensorReport], what: &str, figure: impl Fn(&SensorReport) -> String) -> String {
    let figures: Vec<String> = match sensors {
        [one] => vec![figure(one)],
        several => several
            .iter()
            .map(|sensor| format!("{} {}", sensor.name, figure(sensor)).replace(' ', "\u{a0}"))
            .collect(),
    };
    format!("{what}: {}", figures.join(", "))
}

/// How far off, or with no reference how old the number is.
pub fn side_by_side(sensors: &[SensorReport], judged: bool) -> String {
    if judged {
        each(sensors, "MARD", |sensor| amounts::percent(sensor.figures.mard_percent))
    } else {
        age(sensors)
    }
}

/// How much too high.
pub fn apart(sensors: &[SensorReport], unit: Unit) -> String {
    let bias = format!("bias, {}", unit.name());
    each(sensors, &bias, |sensor| amounts::glucose(sensor.figures.bias_mg_dl, unit))
}

/// The share where it would have had no effect.
pub fn mattered(sensors: &[SensorReport]) -> String {
    each(sensors, "in Clarke's zone A", |sensor| {
        let zones = &sensor.figures.clarke;
        share(zones.a, zones.a + zones.b + zones.c + zones.d + zones.e)
    })
}

/// The first day beside the others.
pub fn by_day(sensors: &[SensorReport]) -> String {
    each(sensors, "MARD of the first day and later", |sensor| {
        let [first, later] = [&sensor.first_day, &sensor.later].map(|it| amounts::percent(it.mard_percent));
        format!("{first} and {later}")
    })
}

/// How far off where it matters most: of all pairs whose reference is low.
pub fn low(sensors: &[SensorReport], unit: Unit) -> String {
    let what = format!("MARD under {}", unit.either("70", "3.9"));
    each(sensors, &what, |sensor| {
        let groups = sensor.by_range.iter().take_while(|group| !group.group.starts_with("70 "));
        let known =
            groups.filter_map(|group| Some((group.figures.mard_percent?, group.figures.pairs as f32)));
        let (sum, pairs) = known.fold((0.0, 0.0), |(sum, all), (mard, n)| (sum + mard * n, all + n));
        amounts::percent((pairs > 0.0).then(|| sum / pairs))
    })
}

/// How often it says the band that is true.
pub fn same_band(sensors: &[SensorReport]) -> String {
    each(sensors, "pairs in the same band", |sensor| {
        let same = sensor.concurrence.iter().enumerate().map(|(n, said)| said[n]).sum();
        share(same, sensor.concurrence.iter().flatten().sum())
    })
}

/// How many criteria the sample meets.
pub fn met(sensors: &[SensorReport]) -> String {
    each(sensors, "criteria met by this sample", |sensor| {
        let met = sensor.regulation.iter().filter(|judged| judged.verdict.starts_with("met ")).count();
        format!("{met} of {}", sensor.regulation.len())
    })
}

/// How old the number is.
pub fn age(sensors: &[SensorReport]) -> String {
    each(sensors, "age of the number, median", |sensor| {
        sensor.number_age.median_min.map_or("–".to_owned(), |median| format!("{median:.1} min"))
    })
}

/// What the weighing comes to.
pub fn weighed(weighed: &Weighed) -> String {
    let mark = |value: Option<f32>| value.map_or("–".to_owned(), |value| format!("{value:.1}"));
    let [first, second] = [weighed.first_total, weighed.second_total].map(mark);
    format!("marks of 10: {} {first}, {} {second}", weighed.first, weighed.second)
}

fn share(part: u32, all: u32) -> String {
    amounts::percent((all > 0).then(|| 100.0 * part as f32 / all as f32))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::compare::demo_tests::told;

    /// Each figure against the report it is taken from, worked out another way.
    #[test]
    fn headings_tell_what_stands_under_them() {
        let report = told();
        let sensors = &report.sensors.0;
        let [first, second] = &sensors[..] else { panic!("two sensors") };
        let both = |what: &str, of: &dyn Fn(&SensorReport) -> String| {
            let [a, b] = [first, second].map(|sensor| format!("{}\u{a0}{}", sensor.name, of(sensor)));
            format!("{what}: {a}, {b}")
        };
        let percent = |value: f32| format!("{value:.1}\u{a0}%");
        let mard = both("MARD", &|sensor| percent(sensor.figures.mard_percent.unwrap()));
        assert_eq!(side_by_side(sensors, true), mard);
        assert_eq!(side_by_side(sensors, false), age(sensors));
        assert!(age(sensors).starts_with("age of the number, median: "));
        assert_eq!(
            apart(sensors, Unit::MgDl),
            both("bias, mg/dL", &|sensor| { format!("{:.1}", sensor.figures.bias_mg_dl.unwrap()) })
        );
        assert!(apart(sensors, Unit::MmolL).starts_with("bias, mmol/L: "));
        let zone_a = |sensor: &SensorReport| {
            percent(100.0 * sensor.figures.clarke.a as f32 / sensor.figures.pairs as f32)
        };
        assert_eq!(mattered(sensors), both("in Clarke's zone A", &zone_a));
        // of each pair under 70 by itself
        let lows = |sensor: &SensorReport| {
            let low = sensor.points.iter().filter(|point| point.pair.reference().mg_dl() < 70.0);
            let errors: Vec<f32> = low
                .map(|point| 100.0 * point.pair.difference_mg_dl().abs() / point.pair.reference().mg_dl())
                .collect();
            percent(errors.iter().sum::<f32>() / errors.len() as f32)
        };
        assert_eq!(low(sensors, Unit::MgDl), both("MARD under 70 mg/dL", &lows));
        let days = |sensor: &SensorReport| {
            let [a, b] = [&sensor.first_day, &sensor.later].map(|it| percent(it.mard_percent.unwrap()));
            format!("{a}\u{a0}and\u{a0}{b}")
        };
        assert_eq!(by_day(sensors), both("MARD of the first day and later", &days));
        let same = |sensor: &SensorReport| {
            let counts = &sensor.concurrence;
            let off: u32 = (0..counts.len())
                .flat_map(|n| (0..counts.len()).filter(move |m| *m != n).map(move |m| counts[n][m]))
                .sum();
            let all: u32 = counts.iter().flatten().sum();
            percent(100.0 * (all - off) as f32 / all as f32)
        };
        assert_eq!(same_band(sensors), both("pairs in the same band", &same));
        let judged = |sensor: &SensorReport| {
            let not = |word: &str| sensor.regulation.iter().filter(|it| it.verdict.starts_with(word)).count();
            let all = sensor.regulation.len();
            format!(
                "{}\u{a0}of\u{a0}{all}",
                all - not("not") - not("too few") - not("no pairs") - not("this")
            )
        };
        assert_eq!(met(sensors), both("criteria met by this sample", &judged));
        let weighing = report.weighing.as_ref().unwrap();
        assert!(weighed(weighing).starts_with(&format!("marks of 10: {} ", first.name)));
        // of one sensor its name need not be said
        assert_eq!(
            side_by_side(&sensors[..1], true),
            format!("MARD: {}", percent(first.figures.mard_percent.unwrap()))
        );
    }
}
