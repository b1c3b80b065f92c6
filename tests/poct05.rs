//! Rate agreement and alert rates in the manner of CLSI POCT05, 2nd ed. (2020); the bins as printed in the
//! labels of marketed systems, the procedure from memory.

use glidepath::accuracy::{AlertRule, AlertSide, Pair, RateAgreement, Tally};
use glidepath::{Fingerstick, Glucose, Instant, Reading, Span};

fn minutes(minutes: u32) -> Instant {
    Instant::from_secs(minutes * 60)
}

fn mg_dl(value: f32) -> Glucose {
    Glucose::from_mg_dl(value).unwrap()
}

#[test]
fn seven_rates_of_which_the_last_is_too_far_apart() {
    let times = [0, 15, 30, 45, 60, 75, 90, 135];
    let reference = [100.0, 110.0, 150.0, 190.0, 200.0, 185.0, 150.0, 110.0];
    let sensor = [98.0, 105.0, 135.0, 172.0, 197.0, 196.0, 170.0, 118.0];
    let mut agreement = RateAgreement::new();
    let mut rates = Vec::new();
    for ((time, reference), sensor) in times.into_iter().zip(reference).zip(sensor) {
        let pair = Pair::new(minutes(time), mg_dl(sensor), mg_dl(reference)).unwrap();
        rates.extend(agreement.push(&pair));
    }
    let want = [
        (0.4667, 0.6667),
        (2.0, 2.6667),
        (2.4667, 2.6667),
        (1.6667, 0.6667),
        (-0.0667, -1.0),
        (-1.7333, -2.3333),
    ];
    assert_eq!(rates.len(), want.len());
    for ((sensor, reference), (want_sensor, want_reference)) in rates.into_iter().zip(want) {
        assert!((sensor.mg_dl_per_min() - want_sensor).abs() < 1e-4, "{sensor:?}");
        assert!((reference.mg_dl_per_min() - want_reference).abs() < 1e-4, "{reference:?}");
    }
    let table = [
        [0, 0, 0, 0, 0, 0],
        [1, 0, 0, 0, 0, 0],
        [0, 0, 1, 0, 0, 0],
        [0, 0, 0, 1, 0, 0],
        [0, 0, 0, 1, 0, 1],
        [0, 0, 0, 0, 0, 1],
    ];
    for (row, counts) in table.iter().enumerate() {
        for (column, count) in counts.iter().enumerate() {
            assert_eq!(agreement.count(row, column), *count, "row {row} column {column}");
        }
    }
    assert_eq!(agreement.same_bin(), Tally::new(3, 6).unwrap());
    assert_eq!(agreement.within_one_bin(), Tally::new(6, 6).unwrap());
    assert!((agreement.mean_error_mg_dl_per_min().unwrap() - 0.6).abs() < 1e-5);
}

#[test]
fn true_alerts_and_detected_events_have_different_denominators() {
    let sensor = [
        98, 94, 90, 86, 81, 77, 73, 69, 66, 65, 64, 67, 72, 78, 84, 89, 91, 90, 85, 79, 74, 71, 68, 71, 77,
        83, 88, 90, 89, 86, 82, 79, 76, 74, 75, 78, 82_u8,
    ];
    let reference = [97, 85, 74, 66, 62, 78, 92, 88, 82, 90, 75, 68, 72_u8];
    let readings: Vec<_> =
        (0..).zip(sensor).map(|(i, value)| Reading::new(minutes(5 * i), mg_dl(value.into()))).collect();
    let references: Vec<_> = (0..)
        .zip(reference)
        .map(|(i, value)| Fingerstick::new(minutes(15 * i), mg_dl(value.into())))
        .collect();
    let low = AlertRule::new(AlertSide::Below, mg_dl(70.0), Span::from_mins(15)).unwrap();
    assert_eq!(low.alerts(&readings).collect::<Vec<_>>(), [minutes(35), minutes(110)]);
    assert_eq!(low.events(&references).collect::<Vec<_>>(), [minutes(45), minutes(165)]);
    let rates = low.judge(&readings, &references);
    assert_eq!(rates.true_alerts, Tally::new(1, 2).unwrap());
    assert_eq!(rates.detected, Tally::new(1, 2).unwrap());
    assert_eq!(rates.unjudged, 0);
}
