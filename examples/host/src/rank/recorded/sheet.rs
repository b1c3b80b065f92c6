//! The ranking on recorded people in pictures.

use super::tables::{self, Table};
use super::{ALL, Ranked, Row, SetReport};
use crate::people::least::CRIED;
use crate::people::lows::RATES;
use crate::rank::head::{self, Standing};
use crate::rank::likeness::{self, Likeness};
use crate::rank::method::Entry;
use crate::sheet::{Chart, Figure, Page};
use crate::table::Unit;

/// The sheet and its drawings.
pub fn draw(report: &Ranked, likeness: &[Likeness], methods: &[Entry], unit: Unit) -> (String, Vec<Chart>) {
    let mut page = Page::new("Methods ranked on recorded people");
    page.note(&format!("On {}.", report.on));
    let mut charts = Vec::new();
    if let Some(all) = report.sets.last() {
        charts.push(head::draw(&mut page, &standings(all, methods), falls(all), unit));
    }
    page.summary(&summary(report, unit), "");
    // all people first, then each set
    for set in report.sets.iter().rev().take(1).chain(&report.sets[..report.sets.len().saturating_sub(1)]) {
        let heading = if set.set == ALL { "All people".to_owned() } else { format!("The set {}", set.set) };
        page.section(&heading, &nearest_in_half_an_hour(set, methods, unit));
        tables::tables(set, unit).iter().for_each(|table| draw_table(&mut page, table));
    }
    page.section("Simulated people beside recorded ones", &alike(&likeness::table(likeness, unit)));
    draw_table(&mut page, &likeness::table(likeness, unit));
    (page.finish(), charts)
}

/// Who comes nearest in half an hour, by how much.
fn nearest_in_half_an_hour(set: &SetReport, methods: &[Entry], unit: Unit) -> String {
    let standings = standings(set, methods);
    head::least(&standings, |one| one.ahead[head::IN_30]).map_or_else(
        || "too few readings".to_owned(),
        |(one, off)| {
            let off = off / f64::from(unit.in_mg_dl());
            format!("{}: {off:.1} {} off in 30 min", one.entry.name, unit.name())
        },
    )
}

/// The first statistic of recorded and of simulated people.
fn alike((_, head, rows): &Table) -> String {
    let Some([statistic, cells @ ..]) = rows.first().map(Vec::as_slice) else {
        return "not known".to_owned();
    };
    let middle = |cell: &String| cell.split(" (").next().unwrap_or_default().to_owned();
    let each = head.iter().skip(1).zip(cells).map(|(who, cell)| format!("{who} {}", middle(cell)));
    format!("{statistic}: {}", each.collect::<Vec<_>>().join(", "))
}

fn draw_table(page: &mut Page, (caption, head, rows): &Table) {
    let head: Vec<&str> = head.iter().map(String::as_str).collect();
    page.table(caption, &head, rows);
}

fn standings<'a>(set: &SetReport, methods: &'a [Entry]) -> Vec<Standing<'a>> {
    let warned = |row: &Row| {
        let place = RATES.iter().position(|rate| *rate == head::AT)?;
        row.warnings.get(place)?.warned_10min_ahead
    };
    methods
        .iter()
        .zip(&set.methods)
        .map(|(entry, row)| Standing {
            entry,
            now: row.now.as_ref().map(|now| now.sd_mg_dl),
            ahead: std::array::from_fn(|n| row.ahead.get(n)?.rmse_mg_dl),
            warned: warned(row),
            curve: head::rising(row.curve.clone(), head::MOST),
        })
        .collect()
}

/// Who tells most fast falls.
fn falls(set: &SetReport) -> Figure {
    let told = |row: &Row| row.direction.first()?.fast_falls_flagged;
    let best =
        set.methods.iter().filter_map(|row| Some((row, told(row)?))).max_by(|a, b| a.1.total_cmp(&b.1));
    best.map_or_else(
        || Figure::new("Fast falls told", "not known", "there was none"),
        |(row, share)| {
            let held = set.methods.iter().find(|row| row.method == head::HELD).and_then(told);
            let held = held.map_or_else(String::new, |share| format!("; the reading {:.0} %", 100.0 * share));
            let steady = 100.0 * CRIED[0];
            let note = format!("with {steady:.1} % of steady moments, by {}{held}", row.method);
            Figure::new("Fast falls told", format!("{:.0} %", 100.0 * share), note)
        },
    )
}

fn summary(report: &Ranked, unit: Unit) -> Vec<String> {
    let mut thoughts = vec![head::CURVE.to_owned(), head::OFF.to_owned()];
    let references =
        report.sets.last().and_then(|all| all.methods.first()?.now.as_ref()).map(|now| now.references);
    thoughts.push(match references {
        Some(count) => format!(
            "Now is held against {count} fingersticks or values of a laboratory beside the traces, each trace's mean error \
             taken off: that is for calibration to mend. Ahead the truth is what the same sensor reads later."
        ),
        None => "Without fingersticks or a laboratory's values beside the traces nothing can be said of now. Ahead the truth \
                 is what the same sensor reads later."
            .to_owned(),
    });
    thoughts.push(format!(
        "People acted on what their sensors showed, so that some alarms counted as false were not. A fast fall is one of {} \
         or more a minute, a steady moment one of less than half of that.",
        unit.either("2", "0.11")
    ));
    thoughts
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::rank::recorded::Flagged;

    #[test]
    fn who_tells_most_fast_falls_is_named_beside_the_reading() {
        let row = |method: &str, shares: [Option<f64>; 2]| Row {
            method: method.to_owned(),
            now: None,
            ahead: Vec::new(),
            brier_skill: None,
            warnings: Vec::new(),
            direction: shares
                .map(|share| Flagged { steady_flagged_percent: 4.1, fast_falls_flagged: share })
                .into(),
            signs: Vec::new(),
            curve: Vec::new(),
        };
        let set = |methods| SetReport {
            set: ALL.to_owned(),
            people: 1,
            days: 1.0,
            lows: 0,
            methods,
            rings: Vec::new(),
        };
        let rows = vec![
            row(head::HELD, [Some(0.60), Some(0.95)]),
            row("best", [Some(0.70), Some(0.80)]),
            row("worst", [Some(0.50), Some(0.99)]),
        ];
        let said = falls(&set(rows));
        assert_eq!(said.value, "70 %");
        assert_eq!(said.note, "with 4.1 % of steady moments, by best; the reading 60 %");
        assert_eq!(falls(&set(vec![row("best", [None, None])])).value, "not known");
    }
}
