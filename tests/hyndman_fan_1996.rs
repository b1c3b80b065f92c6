//! Percentiles by type 7 of Hyndman and Fan (1996), Am Stat 50:361 (the default of most general libraries), by time of
//! day.

mod three_days;
use glidepath::review::{BINS, Compact, Config, Exact, Grid, Review};
use three_days::{close, review, values};

const SHARES: [f32; 5] = [0.05, 0.25, 0.5, 0.75, 0.95];

/// All values within the first quarter of an hour of their day.
fn one_bin(values: &[f32]) -> Box<Review<Exact>> {
    use glidepath::review::DayTime;
    use glidepath::{Glucose, Instant, Reading};
    let mut review = Box::new(Review::with_grid(Config::default()));
    for (i, &v) in (0..).zip(values) {
        let reading = Reading::new(Instant::from_secs(86_400 * i), Glucose::from_mg_dl(v).unwrap());
        let _ = review.push(&reading, DayTime::new(i, 7).unwrap());
    }
    review
}

#[test]
fn small_sets_by_hand() {
    let fourteen =
        one_bin(&[92., 101., 110., 115., 118., 121., 130., 134., 139., 150., 162., 171., 188., 240.]);
    for (share, want) in SHARES.into_iter().zip([97.85, 115.75, 132.0, 159.0, 206.2]) {
        close(fourteen.grid().percentile(0, share), want);
    }
    let five = one_bin(&[80., 100., 120., 140., 200.]);
    for (share, want) in SHARES.into_iter().zip([84.0, 100.0, 120.0, 140.0, 188.0]) {
        close(five.grid().percentile(0, share), want);
    }
    assert_eq!(five.grid().values(0), 5);
    assert_eq!(five.grid().percentile(1, 0.5), None);
}

#[test]
fn three_days_exactly_and_on_the_wrist() {
    let values = values();
    let floats = || values.iter().map(|&v| v as f32);
    let exact = review::<Exact>(floats(), 5, Config::default());
    for (share, want) in SHARES.into_iter().zip([57.2, 60.0, 68.0, 70.0, 76.8]) {
        close(exact.grid().percentile(0, share), want);
    }
    for (bin, want) in [68.0, 78.0, 93.0, 118.0, 130.0, 148.0].into_iter().enumerate() {
        close(exact.grid().percentile(bin, 0.5), want);
    }
    // the small grid stays within one class
    let small = review::<Compact>(floats(), 5, Config::default());
    for bin in 0..BINS {
        for share in SHARES {
            let (want, got) =
                (exact.grid().percentile(bin, share).unwrap(), small.grid().percentile(bin, share).unwrap());
            let width = if want < 195.0 { 5.0 } else { 10.0 };
            assert!((got - want).abs() < width, "bin {bin}, share {share}: {got} against {want}");
        }
    }
}
