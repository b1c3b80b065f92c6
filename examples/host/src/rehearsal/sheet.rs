//! The drawings and tables of a rehearsal.

use super::Rehearsal;
use super::score::{KindScore, Score};
use crate::sheet::{Axis, Chart, Page, Panel};
use crate::table::count;

/// Puts the rehearsal into a sheet; its drawings, for files of their own.
pub fn draw(page: &mut Page, rehearsal: &Rehearsal) -> Vec<Chart> {
    let mut charts = Vec::new();
    let told = rehearsal.score.alarms_per_day.map_or_else(
        || "no readings".to_owned(),
        |_| format!("{:.2} false alarms a day about lows", rehearsal.score.false_low_per_day()),
    );
    page.section("The alarms rehearsed", &told);
    rehearsal.in_words().iter().for_each(|thought| page.text(thought));
    let rung: Vec<&KindScore> = rehearsal.score.kinds.iter().filter(|kind| kind.rings > 0).collect();
    if !rung.is_empty() {
        let chart = by_hour(&rung);
        page.chart(&chart);
        charts.push(chart);
    }
    let head = ["alarm", "alarms", "rings", "a day", "true", "false", "false a day", "median warning, min"];
    page.table("Each kind", &head, &rehearsal.score.kinds.iter().map(row).collect::<Vec<_>>());
    if rehearsal.variations.is_empty() {
        return charts;
    }
    let head = [
        "setting",
        "alarms a day",
        "false about lows a day",
        "lows warned of",
        "10 min before",
        "nights woken",
    ];
    let mut rows = vec![variation_row("as it is".into(), &rehearsal.score)];
    let named =
        rehearsal.variations.iter().map(|v| variation_row(format!("{} = {}", v.setting, v.value), &v.score));
    rows.extend(named);
    for group in rehearsal.variations.chunk_by(|a, b| a.setting == b.setting) {
        let points: Vec<(f64, &Score)> =
            group.iter().filter_map(|v| Some((v.value.parse::<f64>().ok()?, &v.score))).collect();
        if points.len() == group.len() && points.len() > 1 {
            let chart = along(&group[0].setting, points);
            page.chart(&chart);
            charts.push(chart);
        }
    }
    page.table("What a change would do", &head, &rows);
    charts
}

fn row(kind: &KindScore) -> Vec<String> {
    let known = |value: Option<String>| value.unwrap_or_else(|| "–".into());
    vec![
        kind.kind.replace('_', " "),
        kind.alarms.to_string(),
        kind.rings.to_string(),
        known(kind.alarms_per_day.map(|rate| format!("{rate:.2}"))),
        known(kind.true_alarms.map(|n| n.to_string())),
        known(kind.false_alarms.map(|n| n.to_string())),
        known(kind.false_per_day.map(|rate| format!("{rate:.2}"))),
        known(kind.median_warning_min.map(|min| super::vary::minus(format!("{min:.0}")))),
    ]
}

fn variation_row(name: String, score: &Score) -> Vec<String> {
    vec![
        name,
        score.alarms_per_day.map_or_else(|| "–".into(), |rate| format!("{rate:.2}")),
        format!("{:.2}", score.false_low_per_day()),
        format!("{} of {}", score.lows_warned, score.lows),
        score.lows_warned_10_min.to_string(),
        format!("{} of {}", score.nights_woken, score.nights),
    ]
}

/// A panel for each kind that rang: its rings by hour of day.
fn by_hour(rung: &[&KindScore]) -> Chart {
    let ticks = [(0.0, "00:00"), (6.0, "06:00"), (12.0, "12:00"), (18.0, "18:00"), (24.0, "24:00")];
    let x = Axis::labelled(0.0, 24.0, &ticks);
    let described: Vec<String> =
        rung.iter().map(|kind| format!("{} {}", kind.rings, kind.kind.replace('_', " "))).collect();
    let mut chart = Chart::new(
        "rings-by-hour",
        "Rings by hour of day, repeats included",
        &format!("Bars for each hour of the day: {}.", described.join(", ")),
        x.clone(),
    )
    .along("hour of the day");
    for kind in rung {
        let most = kind.by_hour.iter().copied().max().unwrap_or(0).max(1);
        let label = most.to_string();
        let y = Axis::labelled(0.0, f64::from(most) * 1.6, &[(0.0, "0"), (f64::from(most), label.as_str())]);
        let words = format!(
            "{}: {} of {}",
            kind.kind.replace('_', " "),
            count(kind.rings, "ring"),
            count(kind.alarms, "alarm")
        );
        let mut panel = Panel::new(58.0, &x, y, &words);
        let class = match kind.kind {
            "floor" | "low" | "low_ahead" | "steep_fall" => "low",
            "high" | "steep_rise" => "high",
            _ => "inside",
        };
        let bars = (0_u32..).zip(kind.by_hour).filter(|(_, n)| *n > 0);
        panel.bars(class, bars.map(|(h, n)| (f64::from(h) + 0.08, f64::from(h) + 0.92, 0.0, f64::from(n))));
        chart.push(panel);
    }
    chart
}

/// What a setting's values do, one above the other over the values.
fn along(setting: &str, mut points: Vec<(f64, &Score)>) -> Chart {
    points.sort_by(|a, b| a.0.total_cmp(&b.0));
    let (least, greatest) = (points[0].0, points[points.len() - 1].0);
    let room = ((greatest - least) * 0.05).max(1e-6);
    let x = Axis::linear(least - room, greatest + room, 6);
    let mut chart = Chart::new(
        &format!("vary-{setting}"),
        &format!("Along {setting}"),
        "What other values of one setting would have done; the numbers are in the table below.",
        x.clone(),
    )
    .along(setting);
    let share = |score: &Score| 100.0 * score.lows_warned as f64 / (score.lows.max(1)) as f64;
    type Of<'a> = &'a dyn Fn(&Score) -> f64;
    let panels: [(&str, &str, Of, Option<f64>); 3] = [
        ("alarms a day", "rate", &|score| score.alarms_per_day.unwrap_or(0.0), None),
        ("false alarms about lows a day", "chance", &Score::false_low_per_day, None),
        ("lows warned of before they began, %", "plasma", &share, Some(100.0)),
    ];
    for (name, class, of, top) in panels {
        let values: Vec<(f64, f64)> = points.iter().map(|(at, score)| (*at, of(score))).collect();
        let top = top.unwrap_or_else(|| values.iter().map(|v| v.1).fold(0.1, f64::max) * 1.3);
        let mut panel = Panel::new(84.0, &x, Axis::linear(0.0, top, 3), name);
        panel.line(class, values.iter().copied(), f64::INFINITY);
        panel.dots("sensor", values);
        chart.push(panel);
    }
    chart
}
