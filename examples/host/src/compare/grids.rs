//! The lines of the two error grids, cut to the size of a drawing.

use glidepath::accuracy::{Parkes, Zone};

/// A line as points (reference, sensor), mg/dL.
pub type Line = Vec<(f64, f64)>;

/// What one grid is drawn from.
pub struct Grid {
    pub id: &'static str,
    pub title: &'static str,
    /// Both axes end here, mg/dL.
    pub end: f64,
    pub lines: Vec<Line>,
    /// A letter and where it stands.
    pub letters: Vec<(Zone, f64, f64)>,
}

/// Clarke's grid, from the rules of its zones.
pub fn clarke() -> Grid {
    const END: f64 = 400.0;
    let lines: [&[(f64, f64)]; 9] = [
        &[(0.0, 0.0), (END, END)],
        // A
        &[(0.0, 70.0), (70.0 / 1.2, 70.0), (END / 1.2, END)],
        &[(70.0, 0.0), (70.0, 56.0), (END, 0.8 * END)],
        // E
        &[(0.0, 180.0), (70.0, 180.0), (70.0, END)],
        &[(180.0, 0.0), (180.0, 70.0), (END, 70.0)],
        // C
        &[(70.0, 180.0), (290.0, END)],
        &[(130.0, 0.0), (180.0, 70.0)],
        // D
        &[(70.0, 84.0), (70.0, 180.0)],
        &[(240.0, 70.0), (240.0, 180.0), (END, 180.0)],
    ];
    Grid {
        id: "clarke",
        title: "Clarke error grid (1987)",
        end: END,
        lines: lines.into_iter().map(<[_]>::to_vec).collect(),
        letters: vec![
            (Zone::A, 345.0, 360.0),
            (Zone::B, 255.0, 340.0),
            (Zone::B, 355.0, 240.0),
            (Zone::C, 120.0, 330.0),
            (Zone::C, 158.0, 14.0),
            (Zone::D, 22.0, 125.0),
            (Zone::D, 330.0, 125.0),
            (Zone::E, 22.0, 300.0),
            (Zone::E, 300.0, 30.0),
        ],
    }
}

/// The consensus grid for type 1 diabetes, from its published corners.
pub fn parkes() -> Grid {
    const END: f64 = 400.0;
    let lines = Parkes::Type1.lines().map(|(_, corners)| {
        let corners: Line = corners.iter().map(|(x, y)| (f64::from(*x), f64::from(*y))).collect();
        cut(&corners, END)
    });
    Grid {
        id: "parkes",
        title: "Consensus error grid, type 1 (Parkes 2000)",
        end: END,
        lines: std::iter::once(vec![(0.0, 0.0), (END, END)]).chain(lines).collect(),
        letters: vec![
            (Zone::A, 350.0, 370.0),
            (Zone::B, 235.0, 360.0),
            (Zone::B, 365.0, 235.0),
            (Zone::C, 130.0, 330.0),
            (Zone::C, 340.0, 130.0),
            (Zone::D, 72.0, 330.0),
            (Zone::D, 330.0, 30.0),
            (Zone::E, 18.0, 330.0),
        ],
    }
}

/// A line up to where it leaves the square from 0 to `end`.
fn cut(corners: &[(f64, f64)], end: f64) -> Line {
    let mut line = Line::new();
    for (x, y) in corners {
        if *x <= end && *y <= end {
            line.push((*x, *y));
            continue;
        }
        if let Some((a, b)) = line.last().copied() {
            let part = |from: f64, to: f64| if to > end { (end - from) / (to - from) } else { 1.0 };
            let share = part(a, *x).min(part(b, *y));
            line.push((a + share * (x - a), b + share * (y - b)));
        }
        break;
    }
    line
}

#[cfg(test)]
mod tests {
    use super::*;
    use glidepath::Glucose;

    #[test]
    fn letters_stand_in_their_zones() {
        let mg_dl = |value: f64| Glucose::from_mg_dl(value as f32).unwrap();
        for (zone, x, y) in clarke().letters {
            assert_eq!(glidepath::accuracy::clarke(mg_dl(x), mg_dl(y)), zone, "Clarke ({x}, {y})");
        }
        for (zone, x, y) in parkes().letters {
            assert_eq!(Parkes::Type1.zone(mg_dl(x), mg_dl(y)), zone, "Parkes ({x}, {y})");
        }
    }

    #[test]
    fn lines_of_clarke_part_zones() {
        // a little to either side of the middle of every piece but the diagonal
        let zone = |x: f64, y: f64| {
            let mg_dl = |value: f64| Glucose::from_mg_dl(value as f32).unwrap();
            glidepath::accuracy::clarke(mg_dl(x), mg_dl(y))
        };
        for line in clarke().lines.iter().skip(1) {
            for piece in line.windows(2) {
                let ((a, b), (c, d)) = (piece[0], piece[1]);
                let (x, y) = ((a + c) / 2.0, (b + d) / 2.0);
                let size = (c - a).hypot(d - b);
                let (dx, dy) = ((d - b) / size, (a - c) / size);
                assert_ne!(zone(x + dx, y + dy), zone(x - dx, y - dy), "at ({x}, {y})");
            }
        }
    }

    #[test]
    fn a_line_ends_at_the_edge() {
        assert_eq!(
            cut(&[(0.0, 50.0), (100.0, 50.0), (200.0, 150.0)], 100.0),
            [(0.0, 50.0), (100.0, 50.0), (100.0, 50.0)]
        );
        assert_eq!(cut(&[(0.0, 0.0), (200.0, 100.0)], 100.0), [(0.0, 0.0), (100.0, 50.0)]);
        assert_eq!(cut(&[(0.0, 0.0), (50.0, 200.0)], 100.0), [(0.0, 0.0), (25.0, 100.0)]);
    }
}
