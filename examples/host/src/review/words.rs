//! What the figures say, in words.

use glidepath::review::{Pattern, PatternKind, Summary, Threshold, WINDOW_MINUTES, gri_zone};

use super::record::Record;
use crate::table::{Unit, count, date};

/// A limit as its table prints it in that unit.
pub fn limit(limit: Threshold, unit: Unit) -> String {
    match unit {
        Unit::MgDl => format!("{}", limit.mg_dl()),
        Unit::MmolL => format!("{}.{}", limit.tenths_mmol_l() / 10, limit.tenths_mmol_l() % 10),
    }
}

/// A limit in both units, the wanted one first.
pub fn both(of: Threshold, unit: Unit) -> String {
    let other = match unit {
        Unit::MgDl => Unit::MmolL,
        Unit::MmolL => Unit::MgDl,
    };
    format!("{} {} ({} {})", limit(of, unit), unit.name(), limit(of, other), other.name())
}

/// The target range in both units, the wanted one first.
pub fn range(unit: Unit) -> String {
    let [first, second] = match unit {
        Unit::MgDl => [Unit::MgDl, Unit::MmolL],
        Unit::MmolL => [Unit::MmolL, Unit::MgDl],
    };
    let of = |unit: Unit| {
        format!("{} to {} {}", limit(Threshold::L70, unit), limit(Threshold::L180, unit), unit.name())
    };
    format!("{} ({})", of(first), of(second))
}

pub fn clock(minute: u16) -> String {
    format!("{:02}:{:02}", minute / 60, minute % 60)
}

pub fn mark_key(mark: PatternKind) -> &'static str {
    match mark {
        PatternKind::Below70 => "below_70",
        PatternKind::Below54 => "below_54",
        PatternKind::Above180 => "above_180",
        PatternKind::Above250 => "above_250",
    }
}

fn mark(mark: PatternKind, unit: Unit) -> String {
    let (word, at) = match mark {
        PatternKind::Below70 => ("below", Threshold::L70),
        PatternKind::Below54 => ("below", Threshold::L54),
        PatternKind::Above180 => ("above", Threshold::L180),
        PatternKind::Above250 => ("above", Threshold::L250),
    };
    format!("{word} {} {}", limit(at, unit), unit.name())
}

/// "between 02:00 and 04:00, below 70 mg/dL on 5 of 14 nights (any two hours of the day: 8 %)".
pub fn pattern(p: &Pattern, unit: Unit) -> String {
    let end = p.start_minute + WINDOW_MINUTES;
    let days = if end <= 360 { "nights" } else { "days" };
    format!(
        "between {} and {}, {} on {} of {} {days} (any two hours of the day: {:.0} %)",
        clock(p.start_minute),
        clock(end),
        mark(p.kind, unit),
        p.days_held,
        p.days_seen,
        p.usual_percent
    )
}

/// When nothing recurs.
pub const NO_PATTERN: &str = "No time of day stands out by the rule for patterns.";

pub fn number(value: Option<f32>, decimals: usize) -> String {
    value.map_or_else(|| "–".into(), |v| format!("{:.decimals$}", f64::from(v)))
}

/// A concentration with its unit, or a dash.
pub fn glucose(value: Option<f32>, unit: Unit) -> String {
    value.map_or_else(|| "–".into(), |v| unit.with_name(v))
}

/// A share of the day as hours and minutes.
pub fn a_day(percent: f32) -> String {
    let minutes = (f64::from(percent) * 14.4).round() as u32;
    match (minutes / 60, minutes % 60) {
        (0, m) => format!("{m} min"),
        (h, 0) => format!("{h} h"),
        (h, m) => format!("{h} h {m} min"),
    }
}

pub fn day_name(number: i64) -> String {
    date(number).strftime("%-d %b %Y").to_string()
}

/// Whether the data suffice, in a sentence.
pub fn sufficiency(s: &Summary) -> String {
    let active = number(s.active_percent, 1);
    let judgement = if s.suffices() { "enough for a judgement" } else { "too little for a judgement" };
    format!(
        "{} over {:.1} days, the sensor active {active} % of the time: {judgement} (14 days and 70 % are asked for).",
        count(u64::from(s.readings), "reading"),
        f64::from(s.days)
    )
}

/// The review, a sentence or two for each thought.
pub fn thoughts(record: &Record, unit: Unit) -> Vec<String> {
    let s = &record.summary;
    let period = record.days().map_or_else(String::new, |(first, last)| {
        format!("{}: {} to {}. ", record.name, day_name(first), day_name(last))
    });
    let mut out = vec![format!("{period}{}", sufficiency(s))];
    let Some(ranges) = &s.by_readings else { return out };
    out.push(format!(
        "In range, {}: {:.1} % of readings, {} a day. Below: {:.1} % (below {}: {:.1} %). Above: {:.1} % (above {}: {:.1} %).",
        range(unit),
        ranges.from_70_to_180,
        a_day(ranges.from_70_to_180),
        ranges.below_70(),
        limit(Threshold::L54, unit),
        ranges.below_54,
        ranges.above_180(),
        limit(Threshold::L250, unit),
        ranges.above_250,
    ));
    out.push(format!(
        "Mean {}, SD {}, CV {} %, GMI {} %, glycemia risk index {}.",
        glucose(s.mean_mg_dl, unit),
        glucose(s.sd_mg_dl, unit),
        number(s.cv_percent, 1),
        number(s.gmi_percent, 1),
        s.gri.map_or_else(|| "–".into(), |gri| format!("{gri:.0} (zone {})", gri_zone(gri))),
    ));
    out.push(format!(
        "Swings: MAGE {}, MODD {}, CONGA over 1, 2, 4 hours {}, {}, {}, MAG {} mg/dL an hour, GVP {} %.",
        glucose(s.mage_mg_dl, unit),
        glucose(s.modd_mg_dl, unit),
        glucose(s.conga_1h, unit),
        glucose(s.conga_2h, unit),
        glucose(s.conga_4h, unit),
        number(s.mag_mg_dl_h, 0),
        number(s.gvp_percent, 0),
    ));
    out.push(episodes(s, unit));
    let patterns: Vec<String> = record
        .review
        .patterns()
        .iter()
        .flatten()
        .map(|p| format!("Again and again {}.", pattern(p, unit)))
        .collect();
    if patterns.is_empty() {
        out.push(NO_PATTERN.into());
    }
    out.extend(patterns);
    out.extend(record.counts.in_words());
    out
}

fn episodes(s: &Summary, unit: Unit) -> String {
    let [low, deep, long, high, very_high, long_high] = s.episodes;
    format!(
        "Episodes of 15 minutes or more: {} low ({} below {}, {} extended), {} high ({} above {}, {} extended).",
        low.count,
        deep.count,
        limit(Threshold::L54, unit),
        long.count,
        high.count,
        very_high.count,
        limit(Threshold::L250, unit),
        long_high.count,
    )
}

/// One line of several.
pub fn line(name: &str, s: &Summary, unit: Unit) -> String {
    let share = |of: fn(&glidepath::review::Ranges) -> f32| number(s.by_readings.as_ref().map(of), 1);
    format!(
        "{name}: {:.1} days, active {} %, mean {}, CV {} %, in range {} %, below {} {} %, below {} {} %, above {} {} %, above {} {} %",
        f64::from(s.days),
        number(s.active_percent, 0),
        glucose(s.mean_mg_dl, unit),
        number(s.cv_percent, 1),
        share(|r| r.from_70_to_180),
        limit(Threshold::L70, unit),
        share(glidepath::review::Ranges::below_70),
        limit(Threshold::L54, unit),
        share(|r| r.below_54),
        limit(Threshold::L180, unit),
        share(glidepath::review::Ranges::above_180),
        limit(Threshold::L250, unit),
        share(|r| r.above_250),
    )
}
