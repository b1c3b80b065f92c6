//! The tables of a comparison.

use glidepath::accuracy::Concurrence;

use super::groups::Group;
use super::presence::Missing;
use super::report::{Report, SensorReport};
use super::{amounts, headings, text, words};
use crate::sheet::Page;
use crate::table::Unit;

/// By range, by rate, by time of day, by day of wear.
pub fn group_tables(page: &mut Page, sensors: &[SensorReport], unit: Unit) {
    page.section("When it is right and when it is not", &headings::low(sensors, unit));
    let head: Vec<String> = sensors
        .iter()
        .flat_map(|sensor| {
            let bias = format!("bias, {}", unit.name());
            ["pairs", bias.as_str(), "MARD"].map(|what| format!("{} {what}", sensor.name))
        })
        .collect();
    let head: Vec<&str> = std::iter::once("").chain(head.iter().map(String::as_str)).collect();
    type GroupsOf = fn(&SensorReport) -> &[Group];
    let kinds: [(&str, GroupsOf); 4] = [
        ("By the reference's value, mg/dL", |s| &s.by_range),
        ("By how fast the sensor moves, mg/dL a minute", |s| &s.by_rate),
        ("By time of day", |s| &s.by_hour),
        ("By day of wear", |s| &s.by_day),
    ];
    for (caption, groups) in kinds {
        let longest = sensors.iter().map(|sensor| groups(sensor).len()).max().unwrap_or(0);
        let rows: Vec<Vec<String>> = (0..longest)
            .map(|row| {
                let name = sensors.iter().find_map(|sensor| groups(sensor).get(row));
                let mut cells = vec![name.map_or_else(String::new, |group| {
                    // the caption says the unit
                    group.group.replace(" mg/dL/min", "").replace(" mg/dL", "")
                })];
                for sensor in sensors {
                    let figures = groups(sensor).get(row).map(|group| &group.figures);
                    cells.push(figures.map_or(0, |figures| figures.pairs).to_string());
                    cells.push(amounts::glucose(figures.and_then(|figures| figures.bias_mg_dl), unit));
                    cells.push(amounts::percent(figures.and_then(|figures| figures.mard_percent)));
                }
                cells
            })
            .collect();
        page.table(caption, &head, &rows);
    }
}

/// Which band the sensor shows while the reference is in another, and the same for rates.
pub fn concurrence_tables(page: &mut Page, sensors: &[SensorReport]) {
    page.section("What it says while something else is true", &headings::same_band(sensors));
    page.text("Rows: what the sensor says. Columns: what the reference says. Cells: how many pairs.");
    for sensor in sensors {
        let used: Vec<usize> = (0..Concurrence::BANDS)
            .filter(|n| {
                (0..Concurrence::BANDS).any(|m| sensor.concurrence[*n][m] + sensor.concurrence[m][*n] > 0)
            })
            .collect();
        let names: Vec<String> = used.iter().map(|n| band(*n)).collect();
        let head: Vec<&str> = std::iter::once("").chain(names.iter().map(String::as_str)).collect();
        let rows: Vec<Vec<String>> = used
            .iter()
            .map(|n| {
                let counts = used.iter().map(|m| count(sensor.concurrence[*n][*m]));
                std::iter::once(band(*n)).chain(counts).collect()
            })
            .collect();
        page.table(&format!("{}, mg/dL", sensor.name), &head, &rows);
        if sensor.rate_agreement.pairs == 0 {
            continue;
        }
        const BINS: [&str; 6] = ["under −2", "−2 to −1", "−1 to 0", "0 to 1", "1 to 2", "over 2"];
        let head: Vec<&str> = std::iter::once("").chain(BINS).collect();
        let rows: Vec<Vec<String>> = BINS
            .iter()
            .zip(&sensor.rate_agreement.counts)
            .map(|(bin, counts)| {
                std::iter::once((*bin).to_owned()).chain(counts.iter().map(|n| count(*n))).collect()
            })
            .collect();
        page.table(
            &format!("{}, rates between references 8 to 30 min apart, mg/dL a minute", sensor.name),
            &head,
            &rows,
        );
    }
}

fn count(n: u32) -> String {
    if n == 0 { "·".to_owned() } else { n.to_string() }
}

fn band(n: usize) -> String {
    let upper = Concurrence::UPPER_MG_DL;
    match (n.checked_sub(1).and_then(|n| upper.get(n)), upper.get(n)) {
        (None, Some(high)) => format!("under {}", high + 1),
        (Some(low), Some(high)) => format!("{} to {high}", low + 1),
        (Some(low), None) => format!("over {low}"),
        (None, None) => String::new(),
    }
}

/// The criteria of the rule with all three bounds.
pub fn rule_tables(page: &mut Page, report: &Report) {
    page.section("What a rule for sensors asks", &headings::met(&report.sensors.0));
    page.text(&text::rule_words(report));
    for sensor in &report.sensors.0 {
        let rows: Vec<Vec<String>> = sensor
            .regulation
            .iter()
            .map(|judged| {
                vec![
                    format!("{} {}", judged.criterion, judged.what),
                    judged.n.to_string(),
                    amounts::percent(judged.rate_percent),
                    amounts::percent(judged.exact_lower_percent),
                    amounts::percent(judged.wilson_lower_percent),
                    amounts::percent(judged.cluster_lower_percent),
                    judged.verdict.clone(),
                ]
            })
            .collect();
        let head = ["", "pairs", "rate", "exact bound", "Wilson", "by days", "says"];
        page.table(&sensor.name, &head, &rows);
    }
}

/// Age of the number, and what was missing.
pub fn presence_tables(page: &mut Page, sensors: &[SensorReport], unit: Unit) {
    let heading = "How old the number is, and what was missing when it mattered";
    page.section(heading, &headings::age(sensors));
    let cell = |value: Option<f32>| value.map_or("–".to_owned(), |value| format!("{value:.1}"));
    let off = |value: Option<[f32; 3]>| {
        value.map_or("–".to_owned(), |values| values.map(|value| unit.show(value)).join(", "))
    };
    let rows: Vec<Vec<String>> = sensors
        .iter()
        .map(|sensor| {
            let age = &sensor.number_age;
            vec![
                sensor.name.clone(),
                age.lag_counted_min.map_or("not known".to_owned(), |lag| format!("{lag:.1}")),
                cell(age.p05_min),
                cell(age.median_min),
                cell(age.p95_min),
                cell(age.oldest_min),
                off(age.median_off_by_mg_dl),
                off(age.p95_off_by_mg_dl),
            ]
        })
        .collect();
    let off_by = format!("median off by, {}", unit.name());
    let off_most = format!("95 % off by, {}", unit.name());
    let head = ["", "lag", "5 %", "median", "95 %", "oldest", &off_by, &off_most];
    page.table("Age of the number, min; off by at a steady 1, 2 and 3 mg/dL a minute", &head, &rows);
    for sensor in sensors {
        let Some(missing) = &sensor.missing else { continue };
        let row = |name: &str, one: &Missing| {
            vec![
                name.to_owned(),
                format!("{:.1}", one.hours),
                format!("{:.1}", one.missing_hours),
                one.gaps.to_string(),
                one.errors.to_string(),
                cell(one.gaps_per_100_h),
                cell(one.errors_per_100_h),
            ]
        };
        let rows = [
            row("at any time", &missing.any_time),
            row("falling over 2 mg/dL/min", &missing.falling_fast),
            row("under 70 mg/dL", &missing.low),
            row("at night, 0:00 to 6:00", &missing.night),
            row("in the first 24 h", &missing.first_day),
            row("in any of these four", &missing.when_it_mattered),
        ];
        let head = ["", "hours", "without a reading", "gaps", "errors", "gaps per 100 h", "errors per 100 h"];
        page.table(&sensor.name, &head, &rows);
    }
}

/// The weighing as filled in.
pub fn weighing_table(page: &mut Page, report: &Report) {
    let Some(weighed) = &report.weighing else { return };
    let mark = |value: Option<f32>| value.map_or("–".to_owned(), |value| format!("{value:.1}"));
    page.section("Which serves you: the weighing", &headings::weighed(weighed));
    page.text(&format!(
        "Marks from 0 to 10, by the weights of the sheet. How sure it is counts in that sensors of one kind differ and \
         only one of each was worn. Here, {}",
        words::weighed(weighed)
    ));
    let mut rows: Vec<Vec<String>> = weighed
        .lines
        .iter()
        .map(|line| {
            vec![
                line.criterion.replace('_', " "),
                format!("{}", line.weight),
                mark(line.first_value),
                mark(line.first_marks),
                mark(line.second_value),
                mark(line.second_marks),
            ]
        })
        .collect();
    let blank = String::new;
    rows.push(vec![
        "together".to_owned(),
        blank(),
        blank(),
        mark(weighed.first_total),
        blank(),
        mark(weighed.second_total),
    ]);
    let heads =
        [&weighed.first, &weighed.second].map(|name| [format!("{name}, measured"), format!("{name}, marks")]);
    let [[a, b], [c, d]] = &heads;
    page.table("", &["criterion", "weight", a, b, c, d], &rows);
    if !weighed.left_out.is_empty() {
        page.text(&format!(
            "Left out, as not known of both: {}.",
            weighed.left_out.iter().map(|name| name.replace('_', " ")).collect::<Vec<_>>().join(", ")
        ));
    }
}
