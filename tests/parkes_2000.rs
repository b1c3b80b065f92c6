//! The consensus error grid of Parkes et al. (2000), Diabetes Care 23:1143–1148,
//! doi:10.2337/diacare.23.8.1143, with the corners of Pfützner et al. (2013), J. Diabetes Sci. Technol.
//! 7:1275–1281, doi:10.1177/193229681300700517.
//!
//! The zones were worked out from the corners by an independent program, and agree with a point-in-polygon
//! test of 200,000 random points.

use glidepath::Glucose;
use glidepath::accuracy::{Parkes, Zone, ZoneCounts};

fn zone(grid: Parkes, reference: f32, sensor: f32) -> Zone {
    grid.zone(Glucose::from_mg_dl(reference).unwrap(), Glucose::from_mg_dl(sensor).unwrap())
}

#[test]
fn points_on_and_beside_every_line() {
    for (reference, sensor, type_1, type_2) in [
        (100, 100, 'A', 'A'),
        (30, 50, 'A', 'A'),
        (30, 51, 'B', 'B'),
        (30, 60, 'B', 'B'),
        (30, 61, 'C', 'C'),
        (20, 49, 'A', 'A'),
        (50, 71, 'A', 'A'),
        (50, 72, 'B', 'A'),
        (50, 80, 'B', 'B'),
        (50, 81, 'C', 'B'),
        (70, 110, 'B', 'B'),
        (70, 111, 'C', 'B'),
        (140, 170, 'A', 'A'),
        (140, 171, 'B', 'A'),
        (280, 380, 'A', 'A'),
        (280, 381, 'B', 'A'),
        (50, 125, 'C', 'C'),
        (50, 126, 'D', 'C'),
        (20, 100, 'C', 'D'),
        (20, 101, 'D', 'D'),
        (35, 155, 'D', 'D'),
        (35, 156, 'E', 'D'),
        (10, 152, 'E', 'D'),
        (45, 430, 'E', 'D'),
        (100, 400, 'D', 'C'),
        (170, 145, 'A', 'A'),
        (171, 145, 'B', 'A'),
        (60, 30, 'B', 'B'),
        (50, 20, 'A', 'A'),
        (51, 20, 'B', 'B'),
        (120, 20, 'B', 'C'),
        (121, 20, 'C', 'C'),
        (200, 60, 'C', 'C'),
        (260, 130, 'B', 'B'),
        (261, 130, 'C', 'C'),
        (250, 40, 'C', 'C'),
        (251, 40, 'D', 'D'),
        (300, 50, 'D', 'D'),
        (400, 95, 'C', 'D'),
        (400, 94, 'D', 'D'),
        (500, 100, 'D', 'D'),
        (550, 450, 'A', 'A'),
        (551, 450, 'B', 'B'),
        (430, 550, 'A', 'B'),
        (600, 500, 'A', 'A'),
        (600, 495, 'B', 'B'),
        (500, 629, 'A', 'B'),
        (500, 630, 'B', 'B'),
    ] {
        let (reference, sensor) = (reference as f32, sensor as f32);
        assert_eq!(zone(Parkes::Type1, reference, sensor).letter(), type_1, "type 1 ({reference}, {sensor})");
        assert_eq!(zone(Parkes::Type2, reference, sensor).letter(), type_2, "type 2 ({reference}, {sensor})");
    }
}

#[test]
fn every_whole_pair_up_to_550() {
    for (grid, want) in [
        (Parkes::Type1, [67_785, 93_485, 71_910, 52_625, 16_695]),
        (Parkes::Type2, [78_440, 82_200, 74_155, 53_000, 14_705]),
    ] {
        let mut counts = ZoneCounts::new();
        for reference in 1..=550_u16 {
            for sensor in 1..=550_u16 {
                counts.push(zone(grid, f32::from(reference), f32::from(sensor)));
            }
        }
        assert_eq!(Zone::ALL.map(|zone| counts.count(zone)), want, "{grid:?}");
        assert_eq!(counts.total(), 302_500);
    }
}

#[test]
fn the_lines_for_drawing_are_those_that_decide() {
    for grid in [Parkes::Type1, Parkes::Type2] {
        assert_eq!(grid.lines().count(), 7);
        for (beyond, corners) in grid.lines() {
            for &(reference, sensor) in corners {
                // a corner lies on its line, which belongs to the milder side
                assert!(
                    zone(grid, reference, sensor) < beyond,
                    "{grid:?} {beyond:?} ({reference}, {sensor})"
                );
            }
        }
    }
}
