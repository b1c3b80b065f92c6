//! Times of day at which lows or highs keep coming back.
//!
//! The rule: for each two-hour window and each mark, count the days on which every half hour of the window was observed
//! and those on which a reading in it held the mark. The usual share is that of all windows together. A window is a
//! pattern when that many days or more would turn up by chance, at the usual share and independently from day to day,
//! with a probability under [`MAX_P_VALUE`], on at least [`DAYS_SEEN`] days and [`DAYS_HELD`] of them held. Windows that
//! overlap a clearer one on the same side are left out.

use super::days::{DaySums, Window};
use crate::math;

/// The highest chance probability that still counts as a pattern.
///
/// Of simulated people without any pattern it lets 2 % show one over 14 days, 4 % over 28 and 5 % over 90; a low on 8 of
/// 14 nights at about the same time is found in 94 % (`tests/review_patterns.rs`).
pub const MAX_P_VALUE: f32 = 0.003;
/// The fewest days on which a window must have been observed.
pub const DAYS_SEEN: u16 = 7;
/// The fewest days that must have held the mark.
pub const DAYS_HELD: u16 = 3;

/// What recurs.
///
/// Feature `defmt` gives `Format`.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum PatternKind {
    /// A reading under 70 mg/dL (3.9 mmol/L).
    Below70,
    /// A reading under 54 mg/dL (3.0 mmol/L).
    Below54,
    /// A reading over 180 mg/dL (10.0 mmol/L).
    Above180,
    /// A reading over 250 mg/dL (13.9 mmol/L).
    Above250,
}

impl PatternKind {
    const ALL: [Self; 4] = [Self::Below70, Self::Below54, Self::Above180, Self::Above250];

    /// Whether it is a low.
    #[must_use]
    pub const fn is_low(self) -> bool {
        matches!(self, Self::Below70 | Self::Below54)
    }
}

/// One time of day that stands out.
///
/// Feature `defmt` gives `Format`.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[non_exhaustive]
pub struct Pattern {
    /// What recurs.
    pub kind: PatternKind,
    /// First minute of the window; it lasts two hours.
    pub start_minute: u16,
    /// Days on which the window was observed throughout.
    pub days_seen: u16,
    /// Days of these with a reading that held the mark.
    pub days_held: u16,
    /// The share of days that hold it in all windows together, percent.
    pub usual_percent: f32,
    /// The probability of as many days or more by chance alone, before allowing for the number of windows.
    pub p_value: f32,
}

/// Length of a window, minutes.
pub const WINDOW_MINUTES: u16 = 120;

/// P(X ≥ k) of a binomial distribution.
fn upper_tail(k: u16, n: u16, p: f32) -> f32 {
    if k == 0 || p >= 1.0 {
        return 1.0;
    }
    let (log_p, log_q) = (math::ln_fine(p), math::ln_fine(1.0 - p));
    let mut log_term = f32::from(n.saturating_sub(k)) * log_q;
    for i in 1..=k {
        log_term += math::ln_fine(f32::from(n.saturating_sub(k).saturating_add(i)) / f32::from(i)) + log_p;
    }
    let (mut term, mut sum) = (math::exp_fine(log_term), 0.0);
    for i in k..=n {
        sum += term;
        term *= f32::from(n.saturating_sub(i)) / (f32::from(i) + 1.0) * p / (1.0 - p);
    }
    sum.min(1.0)
}

/// The up to three clearest patterns, clearest first.
pub(super) fn clearest(sums: &DaySums, max_p_value: f32) -> [Option<Pattern>; 3] {
    let mut found = [None; 3];
    for place in 0..found.len() {
        let best = candidates(sums, max_p_value)
            .filter(|next| found.iter().flatten().all(|kept| apart(kept, next)))
            .min_by(|a, b| a.p_value.total_cmp(&b.p_value));
        if let Some(slot) = found.get_mut(place) {
            *slot = best;
        }
    }
    found
}

fn apart(a: &Pattern, b: &Pattern) -> bool {
    a.kind.is_low() != b.kind.is_low() || a.start_minute.abs_diff(b.start_minute) >= WINDOW_MINUTES
}

fn candidates(sums: &DaySums, max_p_value: f32) -> impl Iterator<Item = Pattern> + '_ {
    (0..4).zip(PatternKind::ALL).flat_map(move |(index, kind)| {
        let held = move |window: &Window| window.marks.get(index).copied().unwrap_or(0);
        let usual = usual_share(sums, held);
        (0_u16..).step_by(60).zip(&sums.windows).filter_map(move |(start_minute, window)| {
            let (days_seen, days_held) = (window.seen, held(window));
            if days_seen < DAYS_SEEN || days_held < DAYS_HELD {
                return None;
            }
            let p_value = upper_tail(days_held, days_seen, usual);
            (p_value < max_p_value).then_some(Pattern {
                kind,
                start_minute,
                days_seen,
                days_held,
                usual_percent: 100.0 * usual,
                p_value,
            })
        })
    })
}

fn usual_share(sums: &DaySums, held: impl Fn(&Window) -> u16) -> f32 {
    let (seen, kept) = sums.windows.iter().fold((0_u32, 0_u32), |(seen, kept), window| {
        (seen.saturating_add(u32::from(window.seen)), kept.saturating_add(u32::from(held(window))))
    });
    if seen == 0 { 0.0 } else { kept as f32 / seen as f32 }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn tails_are_those_of_the_binomial_distribution() {
        // scipy.stats.binom.sf(k - 1, n, p)
        for (k, n, p, want) in [
            (1, 14, 0.1, 0.771_232),
            (14, 14, 0.5, 6.103_516e-5),
            (5, 14, 0.1, 0.009_230_212),
            (0, 14, 0.1, 1.0),
        ] {
            let got = upper_tail(k, n, p);
            assert!((got / want - 1.0).abs() < 1e-4, "{k} of {n}: {got} against {want}");
        }
    }
}
