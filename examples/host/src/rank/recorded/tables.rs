//! The figures of a set as tables.

use super::{Ahead, SetReport, Warning};
use crate::people::least::CRIED;
use crate::people::lows::RATES;
use crate::table::Unit;

/// A table: caption, heads, rows.
pub type Table = (String, Vec<String>, Vec<Vec<String>>);

fn shown(value: Option<f64>, digits: usize) -> String {
    value.map_or_else(|| "-".into(), |value| format!("{value:.digits$}"))
}

fn words(words: &[&str]) -> Vec<String> {
    words.iter().map(|word| (*word).to_owned()).collect()
}

/// The tables of a set.
pub fn tables(set: &SetReport, unit: Unit) -> Vec<Table> {
    let mut tables = vec![errors(set)];
    tables.extend(intervals(set));
    tables.extend([signs(set, unit), rings(set)]);
    tables
}

fn errors(set: &SetReport) -> Table {
    let mut head = words(&["method", "now", "15 min", "30 min", "60 min", "Brier skill"]);
    head.extend(RATES.iter().map(|rate| format!("warned/caught at {rate}")));
    head.extend(CRIED.iter().map(|cried| format!("falls at {:.1} %", 100.0 * cried)));
    let rows = set.methods.iter().map(|row| {
        let now = shown(row.now.as_ref().and_then(|now| now.sd_over_reading), 3);
        let mut cells = vec![row.method.clone(), now];
        cells.extend(row.ahead.iter().map(|ahead| shown(ahead.rmse_over_holding, 3)));
        cells.push(shown(row.brier_skill, 3));
        let pair = |w: &Warning| format!("{}/{}", shown(w.warned_10min_ahead, 2), shown(w.caught, 2));
        cells.extend(row.warnings.iter().map(pair));
        cells.extend(row.direction.iter().map(|flagged| shown(flagged.fast_falls_flagged, 3)));
        cells
    });
    let caption = format!(
        "{}: {}, {:.0} days, {} lows. Error over that of the newest reading: now, against fingersticks or a laboratory's values \
         with each trace's mean error taken off, and ahead (root mean square); Brier skill of a low within 30 min; lows \
         warned of 10 min ahead / caught at so many false alarms a day; fast falls flagged when so many steady moments are",
        set.set,
        crate::table::count(set.people as u64, "trace"),
        set.days,
        set.lows
    );
    (caption, head, rows.collect())
}

/// Of the methods that tell intervals.
fn intervals(set: &SetReport) -> Option<Table> {
    let telling =
        set.methods.iter().filter(|row| row.ahead.iter().any(|a| a.interval_95_holds_percent.is_some()));
    let rows: Vec<Vec<String>> = telling
        .map(|row| {
            let pair = |ahead: &Ahead| {
                let [half, wide] = [ahead.interval_50_holds_percent, ahead.interval_95_holds_percent];
                format!("{} / {}", shown(half, 1), shown(wide, 1))
            };
            std::iter::once(row.method.clone()).chain(row.ahead.iter().map(pair)).collect()
        })
        .collect();
    let caption = "What the intervals for 50 and 95 % held, %".to_owned();
    (!rows.is_empty()).then(|| (caption, words(&["method", "15 min", "30 min", "60 min"]), rows))
}

fn signs(set: &SetReport, unit: Unit) -> Table {
    let names = ["falling fast", "falling", "steady", "rising", "rising fast"];
    let mut rows = Vec::new();
    for row in &set.methods {
        for (name, shares) in names.iter().zip(&row.signs) {
            let mut cells = vec![row.method.clone(), (*name).to_owned()];
            cells.extend(shares.iter().map(|share| shown(share.map(|share| 100.0 * share), 1)));
            rows.push(cells);
        }
    }
    let caption = format!(
        "The sign said, % of the moments whose actual rate is in each band (edges at {}/min)",
        unit.either("1 and 2", "0.06 and 0.11")
    );
    let mut head = words(&["method", "actually"]);
    head.extend(words(&names));
    head.push("not known".into());
    (caption, head, rows)
}

fn rings(set: &SetReport) -> Table {
    let rows = set.rings.iter().map(|ring| {
        vec![
            ring.kind.replace('_', " "),
            format!("{:.2}", ring.rings_per_day),
            format!("{:.2}", ring.rings_per_night),
            format!("{:.2}", ring.alarms_per_day),
            shown(ring.without_low_in_an_hour.map(|share| 100.0 * share), 0),
        ]
    });
    let caption = "Rings of the monitor as shipped, each acknowledged; a night is 22:00 to 07:00";
    let head =
        words(&["kind", "rings a day", "rings a night", "alarms a day", "without a low in the hour, %"]);
    (caption.to_owned(), head, rows.collect())
}

/// A table as text, its columns under one another.
pub fn as_text((caption, head, rows): &Table) -> String {
    let width = |n: usize| {
        std::iter::once(head).chain(rows).filter_map(|row| row.get(n)).map(|c| c.chars().count()).max()
    };
    let widths: Vec<usize> = (0..head.len()).map(|n| width(n).unwrap_or(0)).collect();
    let mut text = format!("\n{caption}\n");
    for row in std::iter::once(head).chain(rows) {
        let cells = row.iter().zip(&widths).enumerate();
        let cells =
            cells.map(|(n, (cell, w))| if n == 0 { format!("{cell:w$}") } else { format!("{cell:>w$}") });
        text += &(cells.collect::<Vec<_>>().join("  ") + "\n");
    }
    text
}
