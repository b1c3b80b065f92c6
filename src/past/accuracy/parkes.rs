//! The consensus error grid of 2000, for type 1 and type 2 diabetes.

use super::grid::Zone;
use crate::units::Glucose;

/// Which consensus grid. ISO 15197 uses that for type 1 for everyone.
///
/// Feature `defmt` gives `Format`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Parkes {
    /// For type 1 diabetes.
    Type1,
    /// For type 2 diabetes.
    Type2,
}

/// Corners of a line, (reference, sensor) in mg/dL.
type Line = &'static [(f32, f32)];

/// Lines above the diagonal, read as sensor over reference, with the zone that begins above each.
const UPPER_TYPE_1: [(Zone, Line); 4] = [
    (Zone::B, &[(0.0, 50.0), (30.0, 50.0), (140.0, 170.0), (280.0, 380.0), (430.0, 550.0)]),
    (Zone::C, &[(0.0, 60.0), (30.0, 60.0), (50.0, 80.0), (70.0, 110.0), (260.0, 550.0)]),
    (Zone::D, &[(0.0, 100.0), (25.0, 100.0), (50.0, 125.0), (80.0, 215.0), (125.0, 550.0)]),
    (Zone::E, &[(0.0, 150.0), (35.0, 155.0), (50.0, 550.0)]),
];

/// Lines below the diagonal, read as reference over sensor as they have vertical pieces.
const LOWER_TYPE_1: [(Zone, Line); 3] = [
    (Zone::B, &[(50.0, 0.0), (50.0, 30.0), (170.0, 145.0), (385.0, 300.0), (550.0, 450.0)]),
    (Zone::C, &[(120.0, 0.0), (120.0, 30.0), (260.0, 130.0), (550.0, 250.0)]),
    (Zone::D, &[(250.0, 0.0), (250.0, 40.0), (550.0, 150.0)]),
];

const UPPER_TYPE_2: [(Zone, Line); 4] = [
    (Zone::B, &[(0.0, 50.0), (30.0, 50.0), (230.0, 330.0), (440.0, 550.0)]),
    (Zone::C, &[(0.0, 60.0), (30.0, 60.0), (280.0, 550.0)]),
    (Zone::D, &[(0.0, 80.0), (25.0, 80.0), (35.0, 90.0), (125.0, 550.0)]),
    (Zone::E, &[(0.0, 200.0), (35.0, 200.0), (50.0, 550.0)]),
];

const LOWER_TYPE_2: [(Zone, Line); 3] = [
    (Zone::B, &[(50.0, 0.0), (50.0, 30.0), (90.0, 80.0), (330.0, 230.0), (550.0, 450.0)]),
    (Zone::C, &[(90.0, 0.0), (260.0, 130.0), (550.0, 250.0)]),
    (Zone::D, &[(250.0, 0.0), (250.0, 40.0), (410.0, 110.0), (550.0, 160.0)]),
];

impl Parkes {
    /// The zone of a pair: the worst whose line it has crossed. A point on a line belongs to the milder zone;
    /// beyond 550 mg/dL the last pieces of the lines go on straight (both are ours, the paper leaves them
    /// open).
    ///
    /// Source: Parkes et al. (2000), Diabetes Care 23:1143–1148, doi:10.2337/diacare.23.8.1143; corners of the
    /// lines: Pfützner et al. (2013), J. Diabetes Sci. Technol. 7:1275–1281, doi:10.1177/193229681300700517.
    ///
    /// # Examples
    /// ```
    /// use glidepath::accuracy::{Parkes, Zone};
    /// use glidepath::Glucose;
    /// let mg_dl = Glucose::from_mg_dl;
    /// assert_eq!(Parkes::Type1.zone(mg_dl(140.0)?, mg_dl(170.0)?), Zone::A);
    /// assert_eq!(Parkes::Type1.zone(mg_dl(140.0)?, mg_dl(171.0)?), Zone::B);
    /// # Ok::<(), glidepath::Error>(())
    /// ```
    #[must_use]
    pub fn zone(self, reference: Glucose, sensor: Glucose) -> Zone {
        let (x, y) = (reference.mg_dl(), sensor.mg_dl());
        let (upper, lower) = match self {
            Self::Type1 => (&UPPER_TYPE_1, &LOWER_TYPE_1),
            Self::Type2 => (&UPPER_TYPE_2, &LOWER_TYPE_2),
        };
        let above = upper.iter().filter(|(_, line)| beyond(line.iter().copied(), x, y));
        let below = lower.iter().filter(|(_, line)| beyond(line.iter().map(|&(x, y)| (y, x)), y, x));
        above.chain(below).map(|(zone, _)| *zone).max().unwrap_or(Zone::A)
    }

    /// The lines of the grid for drawing: the zone that begins beyond each and its corners,
    /// (reference, sensor) in mg/dL.
    pub fn lines(self) -> impl Iterator<Item = (Zone, &'static [(f32, f32)])> {
        let (upper, lower) = match self {
            Self::Type1 => (UPPER_TYPE_1, LOWER_TYPE_1),
            Self::Type2 => (UPPER_TYPE_2, LOWER_TYPE_2),
        };
        upper.into_iter().chain(lower)
    }
}

/// Whether `height` at `along` is strictly beyond the line; its last piece has no end.
fn beyond(corners: impl Iterator<Item = (f32, f32)> + Clone, along: f32, height: f32) -> bool {
    let pieces = corners.clone().zip(corners.skip(1));
    let piece = pieces.clone().find(|(_, end)| along <= end.0).or_else(|| pieces.last());
    // multiplied out, so that whole numbers on a line are on it
    piece.is_some_and(|((a, b), (c, d))| (height - b) * (c - a) > (d - b) * (along - a))
}
