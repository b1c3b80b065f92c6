//! The error grid of 1987.

use super::grid::Zone;
use crate::units::Glucose;

/// The zone of a pair in the Clarke error grid.
///
/// The first of these that holds, in mg/dL, with x the reference and y the sensor:
/// - A: within 20 % of x, or both under 70
/// - E: x ≥ 180 and y ≤ 70, or x ≤ 70 and y ≥ 180
/// - C: 70 ≤ x ≤ 290 and y ≥ x + 110, or 130 ≤ x ≤ 180 and y ≤ 1.4·x − 182
/// - D: x ≥ 240 and 70 ≤ y ≤ 180, or x ≤ 175/3 and 70 ≤ y ≤ 180, or 175/3 < x ≤ 70 and y ≥ 1.2·x
/// - B: all else
///
/// The paper draws the grid up to 400 on both axes and leaves open which zone owns an edge. Here the rules
/// above decide, and they go on as written above 400.
///
/// Source: Clarke et al. (1987), Diabetes Care 10:622–628, doi:10.2337/diacare.10.5.622.
///
/// # Examples
/// ```
/// use glidepath::accuracy::{Zone, clarke};
/// use glidepath::Glucose;
/// let mg_dl = Glucose::from_mg_dl;
/// assert_eq!(clarke(mg_dl(100.0)?, mg_dl(120.0)?), Zone::A);
/// assert_eq!(clarke(mg_dl(60.0)?, mg_dl(200.0)?), Zone::E);
/// # Ok::<(), glidepath::Error>(())
/// ```
#[must_use]
pub fn clarke(reference: Glucose, sensor: Glucose) -> Zone {
    let (x, y) = (reference.mg_dl(), sensor.mg_dl());
    // fractions are multiplied out, so that whole numbers fall on the right side of every edge
    if 5.0 * (y - x).abs() <= x || (x < 70.0 && y < 70.0) {
        Zone::A
    } else if (x >= 180.0 && y <= 70.0) || (x <= 70.0 && y >= 180.0) {
        Zone::E
    } else if (70.0..=290.0).contains(&x) && y >= x + 110.0
        || (130.0..=180.0).contains(&x) && 5.0 * y <= 7.0 * x - 910.0
    {
        Zone::C
    } else if (x >= 240.0 || 3.0 * x <= 175.0) && (70.0..=180.0).contains(&y)
        || 3.0 * x > 175.0 && x <= 70.0 && 5.0 * y >= 6.0 * x
    {
        Zone::D
    } else {
        Zone::B
    }
}
