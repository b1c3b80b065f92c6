//! The error grid of Clarke et al. (1987), Diabetes Care 10:622–628, doi:10.2337/diacare.10.5.622.
//!
//! The zones were worked out from the paper's inequalities by an independent program.

use glidepath::Glucose;
use glidepath::accuracy::{Zone, ZoneCounts, clarke};

fn zone(reference: f32, sensor: f32) -> Zone {
    clarke(Glucose::from_mg_dl(reference).unwrap(), Glucose::from_mg_dl(sensor).unwrap())
}

#[test]
fn points_on_and_beside_every_edge() {
    for (reference, sensor, want) in [
        (100, 100, 'A'),
        (100, 120, 'A'),
        (100, 121, 'B'),
        (100, 80, 'A'),
        (100, 79, 'B'),
        (60, 69, 'A'),
        (60, 70, 'A'),
        (60, 72, 'A'),
        (60, 73, 'D'),
        (50, 70, 'D'),
        (69, 82, 'A'),
        (69, 83, 'D'),
        (70, 84, 'A'),
        (70, 85, 'D'),
        (70, 180, 'E'),
        (60, 179, 'D'),
        (60, 180, 'E'),
        (60, 250, 'E'),
        (180, 70, 'E'),
        (180, 71, 'B'),
        (181, 70, 'E'),
        (200, 60, 'E'),
        (100, 209, 'B'),
        (100, 210, 'C'),
        (290, 400, 'C'),
        (291, 401, 'B'),
        (150, 28, 'C'),
        (165, 49, 'C'),
        (170, 56, 'C'),
        (175, 63, 'C'),
        (150, 29, 'B'),
        (130, 0, 'C'),
        (180, 69, 'E'),
        (240, 180, 'D'),
        (240, 181, 'B'),
        (239, 180, 'B'),
        (300, 150, 'D'),
        (300, 69, 'E'),
        (300, 240, 'A'),
        (300, 239, 'B'),
        (120, 60, 'B'),
        (40, 40, 'A'),
        (30, 65, 'A'),
    ] {
        assert_eq!(zone(reference as f32, sensor as f32).letter(), want, "({reference}, {sensor})");
    }
}

/// Counted in whole numbers. In doubles `1.4 * x - 182` falls short of three points that lie on the line, and
/// counts them as B: 44,401 and 26,002.
#[test]
fn every_whole_pair_up_to_400() {
    let mut counts = ZoneCounts::new();
    for reference in 1..=400_u16 {
        for sensor in 1..=400_u16 {
            counts.push(zone(f32::from(reference), f32::from(sensor)));
        }
    }
    assert_eq!(Zone::ALL.map(|zone| counts.count(zone)), [33_343, 44_398, 26_005, 25_314, 30_940]);
    assert_eq!(counts.total(), 160_000);
}
