//! Three invented days of whole mg/dL, one value every five minutes, that any language reproduces: a triangle of 60 to
//! 260 with a period of six hours, noise of −10 to 10 by the linear congruential generator of ISO C, and a shift each
//! day. Sum 139,833, sum of squares 25,661,169.
#![allow(dead_code)] // each test takes its part

use glidepath::review::{Config, DayTime, Grid, Pushed, Review};
use glidepath::{Glucose, Instant, Reading};

pub fn values() -> Vec<i32> {
    let mut x = 12_345_u64;
    let mut values = Vec::new();
    for shift in [0, 15, -10] {
        for i in 0..288 {
            let phase = i % 72;
            let triangle = if phase < 36 { 60 + 200 * phase / 36 } else { 260 - 200 * (phase - 36) / 36 };
            x = (1_103_515_245 * x + 12_345) % (1 << 31);
            values.push(triangle + ((x >> 16) % 21) as i32 - 10 + shift);
        }
    }
    values
}

/// A review of `values`, one every `minutes`, from a midnight on.
pub fn review<G: Grid>(
    values: impl IntoIterator<Item = f32>,
    minutes: u32,
    config: Config,
) -> Box<Review<G>> {
    let mut review = Box::new(Review::with_grid(config));
    for (i, value) in (0..).zip(values) {
        let at = Instant::from_secs(60 * minutes * i);
        let reading = Reading::new(at, Glucose::from_mg_dl(value).unwrap());
        assert_eq!(review.push(&reading, DayTime::from_secs(at.secs())), Pushed::Counted);
    }
    review
}

pub fn close(got: impl Into<Option<f32>>, want: f32) {
    let got = got.into().expect("a value");
    assert!((got - want).abs() <= want.abs() * 1e-5 + 1e-6, "{got} against {want}");
}
