//! The head of a ranking's sheet: which method is nearest, and which lows it warns of at what cost.

use super::method::Entry;
use crate::sheet::{Axis, Chart, Figure, Page, Panel, Sample};
use crate::table::Unit;

/// The monitor as shipped.
pub const OURS: &str = "glidepath";
/// What every method is held against: the newest reading, taken for what comes.
pub const HELD: &str = "raw, held";
/// False alarms a day at which lows warned of are compared, and how many the curve goes up to.
pub const AT: f64 = 0.6;
pub const MOST: f64 = 2.0;
const HEIGHT: f64 = 270.0;

/// What the head says of a method.
pub struct Standing<'a> {
    pub entry: &'a Entry,
    /// Errors, mg/dL: now, and in 15, 30 and 60 minutes.
    pub now: Option<f64>,
    pub ahead: [Option<f64>; 3],
    /// The share of lows warned of ten minutes ahead at [`AT`] false alarms a day.
    pub warned: Option<f64>,
    /// False alarms a day and that share, as [`rising`] gives them.
    pub curve: Vec<(f64, f64)>,
}

/// Minutes of [`Standing::ahead`], and where half an hour is.
const AHEAD: [u32; 3] = [15, 30, 60];
pub const IN_30: usize = 1;

/// False alarms a day and the share of lows warned of, a point for each limit, as what a limit that costs so much or less can
/// give, up to `most` a day: whoever accepts more false alarms is never warned of fewer lows.
pub fn rising(mut points: Vec<(f64, f64)>, most: f64) -> Vec<(f64, f64)> {
    points.retain(|(cost, _)| *cost <= most);
    // of those that cost the same the best, then only those that are better than all cheaper ones
    points.sort_by(|a, b| a.0.total_cmp(&b.0).then(b.1.total_cmp(&a.1)));
    let mut best = f64::NEG_INFINITY;
    points.retain(|(_, share)| {
        let better = *share > best;
        best = best.max(*share);
        better
    });
    if let Some((cost, share)) = points.last().copied()
        && cost < most
    {
        points.push((most, share));
    }
    points
}

/// The figures that answer, the curve and its legend; the drawing for a file of its own.
pub fn draw(page: &mut Page, standings: &[Standing], last: Figure, unit: Unit) -> Chart {
    let drawn = drawn(standings);
    let chart = chart(&drawn);
    page.head(&figures(standings, last, unit), Some(&chart));
    let legend: Vec<(Sample, &str)> =
        drawn.iter().map(|(class, one)| (Sample::Line(class), one.entry.name.as_str())).collect();
    page.legend(&legend);
    chart
}

/// What the curve is, for the words that are folded behind it.
pub const CURVE: &str = "Drawn is the share of lows with an alarm ten minutes ahead or more, over the false alarms a day that \
    this costs: the best that any limit gives for so many or fewer.";
pub const OFF: &str =
    "Off: the root mean square error. In half an hour, what is said now is held against what came.";
pub const TOLD: &str = "Methods that are told what nobody can know of a real sensor or person stand in the tables, and are \
    never named the nearest.";

/// The one with the least of `value`, of those that know no more than a person can.
pub fn least<'s, 'e>(
    standings: &'s [Standing<'e>],
    value: impl Fn(&Standing) -> Option<f64>,
) -> Option<(&'s Standing<'e>, f64)> {
    let able = standings.iter().filter(|one| !one.entry.told);
    able.filter_map(|one| Some((one, value(one)?))).min_by(|a, b| a.1.total_cmp(&b.1))
}

fn held<'s, 'e>(standings: &'s [Standing<'e>]) -> Option<&'s Standing<'e>> {
    standings.iter().find(|one| one.entry.name == HELD)
}

fn figures(standings: &[Standing], last: Figure, unit: Unit) -> Vec<Figure> {
    let shown = |mg_dl: f64| format!("{:.1} {}", mg_dl / f64::from(unit.in_mg_dl()), unit.name());
    let unknown = |name, why: &str| Figure::new(name, "not known", why);
    let held = held(standings);
    let against = |value: fn(&Standing) -> Option<f64>, words: &str| {
        held.and_then(value).map_or_else(String::new, |value| format!("; {words} {}", shown(value)))
    };
    let now = least(standings, |one| one.now).map_or_else(
        || unknown("Nearest now", "nothing here says what the blood held"),
        |(one, off)| {
            let note = format!("{} off{}", shown(off), against(|held| held.now, "the reading"));
            Figure::new("Nearest now", one.entry.name.clone(), note)
        },
    );
    let nearest = least(standings, |one| one.ahead[IN_30]);
    let ahead = nearest.map_or_else(
        || unknown("Nearest in half an hour", "too few readings"),
        |(one, off)| {
            let note = format!("{} off{}", shown(off), against(|held| held.ahead[IN_30], "the reading"));
            Figure::new("Nearest in half an hour", one.entry.name.clone(), note)
        },
    );
    let over = |one: &Standing, n: usize| Some(one.ahead[n]? / held?.ahead[n]?);
    let less = nearest.and_then(|(one, _)| Some((one, over(one, IN_30)?))).map_or_else(
        || unknown("Against holding", "the reading was not ranked"),
        |(one, ratio)| {
            let others = [0, 2].map(|n| {
                over(one, n).map_or_else(String::new, |ratio| format!("{} in {}", less(ratio), AHEAD[n]))
            });
            Figure::new("Against holding", less(ratio), format!("error in 30 min; {}", others.join(", ")))
        },
    );
    let warned = least(standings, |one| one.warned.map(|share| -share)).map_or_else(
        || unknown("Lows warned of", "there was none"),
        |(one, missed)| {
            let held = held.and_then(|held| held.warned);
            let held = held.map_or_else(String::new, |share| format!("; the reading {:.0} %", 100.0 * share));
            let note = format!("10 min ahead at {AT} false alarms a day, by {}{held}", one.entry.name);
            Figure::new("Lows warned of", format!("{:.0} %", -100.0 * missed), note)
        },
    );
    vec![now, ahead, less, warned, last]
}

/// A ratio as what it is less, or more, than one.
fn less(ratio: f64) -> String {
    let percent = 100.0 * (ratio - 1.0);
    let sign = if percent <= -0.5 {
        "−"
    } else if percent >= 0.5 {
        "+"
    } else {
        "±"
    };
    format!("{sign}{:.0} %", percent.abs())
}

/// Those drawn as lines: ours, of the caller's own, or else of the others, the one that warns of most, and the plainest.
fn drawn<'s, 'e>(standings: &'s [Standing<'e>]) -> Vec<(&'static str, &'s Standing<'e>)> {
    let ours = standings.iter().find(|one| one.entry.name == OURS);
    let warns = |one: &Standing| one.warned.unwrap_or(-1.0);
    let most = |is: &dyn Fn(&Entry) -> bool| {
        let some = standings.iter().filter(|one| is(one.entry));
        some.max_by(|a, b| warns(a).total_cmp(&warns(b)))
    };
    let other = |entry: &Entry| !entry.name.starts_with(OURS) && !entry.told && entry.name != HELD;
    let best = most(&|entry| entry.own).or_else(|| most(&other));
    let three = [("first", ours), ("second", best), ("third", held(standings))];
    three.into_iter().filter_map(|(class, one)| Some((class, one?))).collect()
}

fn chart(drawn: &[(&'static str, &Standing)]) -> Chart {
    let x = Axis::linear(0.0, MOST, 6);
    let mut chart = Chart::new(
        "lows-against-false-alarms",
        "Lows warned of, over false alarms a day",
        "For three methods: the share of lows with an alarm ten minutes ahead, over false alarms a day.",
        x.clone(),
    )
    .along("false alarms a day");
    let ticks = [(0.0, "0"), (0.25, "25"), (0.5, "50"), (0.75, "75"), (1.0, "100")];
    let y = Axis::labelled(0.0, 1.1, &ticks); // room for the name over the curves
    let mut panel = Panel::new(HEIGHT, &x, y, "lows warned of ten minutes ahead, %");
    for (class, one) in drawn {
        panel.line(class, one.curve.iter().copied(), f64::INFINITY);
    }
    chart.push(panel);
    chart
}

#[cfg(test)]
mod tests {
    use super::super::method::{self, Outlook};
    use super::*;
    use glidepath::Reading;

    fn entry(name: &str) -> Entry {
        Entry::new(name, 70.0, || |reading: &Reading| Outlook::held(reading.glucose().mg_dl(), 0.0))
    }

    fn standing(entry: &Entry, now: f64, in_30: f64, warned: f64) -> Standing<'_> {
        let ahead = [0.5 * in_30, in_30, 2.0 * in_30].map(Some);
        Standing {
            entry,
            now: Some(now),
            ahead,
            warned: Some(warned),
            curve: vec![(0.0, 0.0), (MOST, warned)],
        }
    }

    #[test]
    fn a_curve_rises_and_reaches_the_end() {
        let points = vec![(1.0, 0.5), (0.2, 0.3), (0.2, 0.2), (0.5, 0.25), (0.0, 0.0), (2.5, 0.9)];
        assert_eq!(rising(points, 2.0), [(0.0, 0.0), (0.2, 0.3), (1.0, 0.5), (2.0, 0.5)]);
        assert_eq!(rising(vec![(2.5, 0.9)], 2.0), []);
        assert_eq!(rising(vec![(2.0, 0.9)], 2.0), [(2.0, 0.9)]);
    }

    #[test]
    fn a_name_has_room_over_curves_that_reach_all() {
        let ours = entry(OURS);
        let ours = standing(&ours, 11.0, 24.0, 1.0);
        let mut page = Page::new("t");
        page.chart(&chart(&[("first", &ours)]));
        let drawing = page.into_body();
        assert!(drawing.contains("data-y1=\"1.1\""), "{drawing}");
    }

    #[test]
    fn the_nearest_is_named_unless_it_was_told() {
        let (ours, mine, raw, told) = (entry(OURS), entry("mine"), entry(HELD), entry("knows all").told());
        let standings = [
            standing(&ours, 11.0, 24.0, 0.4),
            standing(&mine, 9.0, 27.0, 0.6),
            standing(&raw, 10.0, 30.0, 0.3),
            standing(&told, 5.0, 15.0, 0.9),
        ];
        let shown = figures(&standings, Figure::new("last", "", ""), Unit::MgDl);
        let said: Vec<[&str; 3]> =
            shown.iter().map(|f| [f.name.as_str(), f.value.as_str(), f.note.as_str()]).collect();
        assert_eq!(said[0], ["Nearest now", "mine", "9.0 mg/dL off; the reading 10.0 mg/dL"]);
        assert_eq!(said[1], ["Nearest in half an hour", OURS, "24.0 mg/dL off; the reading 30.0 mg/dL"]);
        assert_eq!(said[2][1..], ["−20 %", "error in 30 min; −20 % in 15, −20 % in 60"]);
        assert_eq!(
            said[3][1..],
            ["60 %", "10 min ahead at 0.6 false alarms a day, by mine; the reading 30 %"]
        );
        assert_eq!((said.len(), said[4][0]), (5, "last"));
        let classes: Vec<(&str, &str)> =
            drawn(&standings).iter().map(|(class, one)| (*class, one.entry.name.as_str())).collect();
        assert_eq!(classes, [("first", OURS), ("second", "mine"), ("third", HELD)]);
        // one's own is drawn however it does
        let own = method::owned(vec![entry("own")]).remove(0);
        let standings = [standing(&mine, 9.0, 27.0, 0.6), standing(&own, 12.0, 40.0, 0.1)];
        assert_eq!(
            drawn(&standings).iter().map(|one| one.1.entry.name.as_str()).collect::<Vec<_>>(),
            ["own"]
        );
        let other = figures(&standings, Figure::new("last", "", ""), Unit::MmolL);
        assert_eq!(other[0].note, "0.5 mmol/L off");
    }

    #[test]
    fn what_nobody_knows_is_said() {
        let ours = entry(OURS);
        let nothing = Standing { entry: &ours, now: None, ahead: [None; 3], warned: None, curve: Vec::new() };
        let shown = figures(&[nothing], Figure::new("last", "x", ""), Unit::MgDl);
        assert!(shown[..4].iter().all(|figure| figure.value == "not known" && !figure.note.is_empty()));
    }
}
