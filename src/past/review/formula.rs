//! Published formulas on a mean, a standard deviation or shares of time.

use super::ranges::Ranges;

/// Glucose management indicator, percent, from the mean in mg/dL; meant for 14 days or more.
///
/// Source: Bergenstal et al. (2018), Diabetes Care 41:2275, doi:10.2337/dc18-1581.
///
/// # Examples
/// ```
/// assert!((glidepath::review::gmi_percent(150.0) - 6.898).abs() < 1e-5);
/// ```
#[must_use]
pub fn gmi_percent(mean_mg_dl: f32) -> f32 {
    3.31 + 0.023_92 * mean_mg_dl
}

/// Glucose management indicator, mmol/mol, from the mean in mmol/L. Source as for [`gmi_percent`].
#[must_use]
pub fn gmi_mmol_mol(mean_mmol_l: f32) -> f32 {
    12.71 + 4.705_87 * mean_mmol_l
}

/// Estimated HbA1c, percent, from the mean in mg/dL: the line of average glucose on HbA1c read backwards.
///
/// It is not the GMI: the two meet near 154 mg/dL and are half a point apart at 200.
///
/// Source: Nathan et al. (2008), Diabetes Care 31:1473, doi:10.2337/dc08-0545.
#[must_use]
pub fn ea1c_percent(mean_mg_dl: f32) -> f32 {
    (mean_mg_dl + 46.7) / 28.7
}

/// J-index, `0.001 (mean + SD)²` in mg/dL.
///
/// Source: Wójcicki (1995), Horm Metab Res 27:41; from memory.
#[must_use]
pub fn j_index(mean_mg_dl: f32, sd_mg_dl: f32) -> f32 {
    let both = mean_mg_dl + sd_mg_dl;
    0.001 * both * both
}

/// Glycemia Risk Index, 0 to 100, from percentages of time.
///
/// `3.0 (below 54) + 2.4 (54 to 69) + 1.6 (above 250) + 0.8 (181 to 250)`, at most 100. Zones A to E end at 20, 40, 60,
/// 80 and 100.
///
/// Source: Klonoff et al. (2022), doi:10.1177/19322968221085273.
#[must_use]
pub fn gri(ranges: &Ranges) -> f32 {
    let low = ranges.below_54 + 0.8 * ranges.from_54_to_69;
    let high = ranges.above_250 + 0.5 * ranges.from_181_to_250;
    (3.0 * low + 1.6 * high).min(100.0)
}

/// The zone of a Glycemia Risk Index (0 to 100), `'A'` to `'E'`; an edge belongs to the better zone (the source prints whole
/// numbers).
#[must_use]
pub fn gri_zone(gri: f32) -> char {
    if gri <= 20.0 {
        'A'
    } else if gri <= 40.0 {
        'B'
    } else if gri <= 60.0 {
        'C'
    } else if gri <= 80.0 {
        'D'
    } else {
        'E'
    }
}
