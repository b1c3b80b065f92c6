//! The Glycemia Risk Index of Klonoff et al. (2022), doi:10.1177/19322968221085273.

mod three_days;
use glidepath::review::{Compact, Config, gri, gri_zone};
use three_days::{close, review};

#[test]
fn weights_cap_and_zones() {
    // shares of 1000 readings: under 54, 54 to 69, over 250, 181 to 250, in tenths of a percent
    for (shares, want, zone) in [
        ([0, 0, 0, 0], 0.0, 'A'),
        ([10, 30, 50, 200], 34.2, 'B'),
        ([5, 21, 30, 184], 26.06, 'B'),
        ([40, 60, 100, 300], 66.4, 'D'),
        ([0, 0, 125, 0], 20.0, 'A'),
        ([100, 100, 300, 200], 100.0, 'E'),
        ([0, 0, 0, 250], 20.0, 'A'),
    ] {
        let mut values = Vec::new();
        for (count, value) in shares.into_iter().zip([50.0, 60.0, 300.0, 200.0]) {
            values.extend(vec![value; count]);
        }
        values.resize(1000, 120.0);
        let summary = review::<Compact>(values, 5, Config::default()).summary();
        let got = gri(&summary.by_readings.unwrap());
        close(got, want);
        close(summary.gri, want);
        assert_eq!(gri_zone(want), zone);
    }
}
