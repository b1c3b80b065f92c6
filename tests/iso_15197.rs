//! Meter accuracy by ISO 15197:2013, limits as tabulated in J. Diabetes Sci. Technol. (2015),
//! doi:10.1177/1932296815580160.

use glidepath::accuracy::{Iso15197, Pair, Tally};
use glidepath::{Glucose, Instant};

fn pair(meter: f32, reference: f32) -> Pair {
    let mg_dl = |value| Glucose::from_mg_dl(value).unwrap();
    Pair::new(Instant::from_secs(0), mg_dl(meter), mg_dl(reference)).unwrap()
}

#[test]
fn the_switch_is_at_100_by_the_reference_and_bounds_belong_inside() {
    for (meter, reference, within) in [
        (84.0, 99.0, true),
        (83.9, 99.0, false),
        (114.0, 99.0, true),
        (85.0, 100.0, true),
        (115.0, 100.0, true),
        (84.9, 100.0, false),
        (230.0, 200.0, true),
        (231.0, 200.0, false),
    ] {
        assert_eq!(Iso15197::within(&pair(meter, reference)), within, "{meter} at {reference}");
    }
}

#[test]
fn of_600_results_570_within_limits_and_594_in_a_and_b_are_enough() {
    let judge = |within: u32, far: u32| {
        let mut iso = Iso15197::new();
        for i in 0..600 {
            // 100 within, 125 in zone B but not within, 250 in zone C
            let meter = if i < within {
                100.0
            } else if i < 600 - far {
                125.0
            } else {
                250.0
            };
            iso.push(&pair(meter, 100.0));
        }
        iso
    };
    assert_eq!(judge(570, 6).met(), Some(true));
    assert_eq!(judge(569, 6).met(), Some(false));
    assert_eq!(judge(570, 7).met(), Some(false));
    assert_eq!(judge(570, 6).within_limits(), Tally::new(570, 600).unwrap());
    assert_eq!(judge(570, 6).in_zones_a_b(), Tally::new(594, 600).unwrap());
    assert_eq!(Iso15197::new().met(), None);
}
