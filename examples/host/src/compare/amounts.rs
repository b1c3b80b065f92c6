//! Amounts as people read them.

use crate::table::Unit;

/// A difference in the unit shown, with a decimal more than a reading has.
pub fn glucose(mg_dl: Option<f32>, unit: Unit) -> String {
    mg_dl.map_or("–".to_owned(), |mg_dl| match unit {
        Unit::MgDl => signed(mg_dl, 1),
        Unit::MmolL => signed(mg_dl / unit.in_mg_dl(), 2),
    })
}

/// A share, or a dash.
pub fn percent(value: Option<f32>) -> String {
    value.map_or("–".to_owned(), |value| format!("{value:.1}\u{a0}%"))
}

/// A number with a sign as wide as a plus; no sign before a zero.
pub fn signed(value: f32, decimals: usize) -> String {
    let text = format!("{value:.decimals$}");
    let zero = text.trim_start_matches('-').chars().all(|c| matches!(c, '0' | '.'));
    if zero { text.trim_start_matches('-').to_owned() } else { text.replace('-', "−") }
}
