//! Point accuracy and limits of agreement on ten pairs worked by hand.
//!
//! Limits and their standard errors: Bland and Altman (1986), Lancet 327:307–310. Student's t:
//! `scipy.stats.t.ppf(0.975, 9)` = 2.262157. MARD and agreement rates by their definitions; which value
//! switches from mg/dL to percent: ISO 15197 (reference), 21 CFR 862.1355 (sensor).

use glidepath::accuracy::{AgreementRates, AgreementRule, CutoffBy, Pair, PointAccuracy, median};
use glidepath::{Glucose, Instant};

const PAIRS: [(f32, f32); 10] = [
    (55.0, 62.0),
    (68.0, 60.0),
    (82.0, 97.0),
    (99.0, 84.0),
    (100.0, 116.0),
    (120.0, 111.0),
    (150.0, 165.0),
    (180.0, 150.0),
    (220.0, 238.0),
    (300.0, 262.0),
];

fn pair((reference, sensor): (f32, f32)) -> Pair {
    let mg_dl = |value| Glucose::from_mg_dl(value).unwrap();
    Pair::new(Instant::from_secs(0), mg_dl(sensor), mg_dl(reference)).unwrap()
}

fn close(got: Option<f32>, want: f32) {
    let got = got.unwrap();
    assert!((got - want).abs() <= 2e-5 * want.abs().max(1.0), "{got} against {want}");
}

#[test]
fn ten_pairs() {
    let mut accuracy = PointAccuracy::new();
    PAIRS.map(pair).iter().for_each(|pair| accuracy.push(pair));
    assert_eq!(accuracy.pairs(), 10);
    close(accuracy.bias_mg_dl(), -2.9);
    close(accuracy.mad_mg_dl(), 17.1);
    close(accuracy.rmse_mg_dl(), 19.475_626);
    // dividing by the sensor would give 13.100368, the ratio of the sums 12.445415
    close(accuracy.mard_percent(), 12.895_133);
    close(accuracy.relative_bias_percent(), 0.145_222);
    close(accuracy.sd_mg_dl(), 20.300_246);
    let mut ards = PAIRS.map(|p| pair(p).relative_difference_percent().abs());
    close(median(&mut ards), 12.696_97);
    // differences of equal size about a known mean, with the reference far apart
    let low = pair((50.0, 65.0));
    let high = pair((250.0, 265.0));
    assert_eq!((low.difference_mg_dl(), high.difference_mg_dl()), (15.0, 15.0));
    assert_eq!((low.relative_difference_percent(), high.relative_difference_percent()), (30.0, 6.0));
}

#[test]
fn limits_with_their_intervals() {
    let mut accuracy = PointAccuracy::new();
    PAIRS.map(pair).iter().for_each(|pair| accuracy.push(pair));
    let limits = accuracy.limits_of_agreement().unwrap();
    close(Some(limits.lower().estimate()), -42.6885);
    close(Some(limits.upper().estimate()), 36.8885);
    // SE of the bias 6.419502, of a limit sqrt(3/n) SD = 11.118903, both times t(9) = 2.262157
    let tolerance = 5e-3;
    let half = limits.bias().upper() - limits.bias().estimate();
    assert!((half - 14.521_92).abs() < tolerance, "{half}");
    let half = limits.upper().estimate() - limits.upper().lower();
    assert!((half - 25.152_7).abs() < tolerance, "{half}");
}

#[test]
fn agreement_depends_on_the_cut_and_not_here_on_whose() {
    for (cut, switch, want) in [
        (100.0, CutoffBy::Reference, [8, 10, 10, 10]),
        (100.0, CutoffBy::Sensor, [8, 10, 10, 10]),
        (70.0, CutoffBy::Reference, [6, 10, 10, 10]),
        (70.0, CutoffBy::Sensor, [6, 10, 10, 10]),
        (80.0, CutoffBy::Reference, [6, 10, 10, 10]),
    ] {
        let mut agreement = AgreementRates::new(cut, switch).unwrap();
        PAIRS.map(pair).iter().for_each(|pair| agreement.push(pair));
        let rates = [
            agreement.within_15_15(),
            agreement.within_20_20(),
            agreement.within_30_30(),
            agreement.within_40_40(),
        ];
        assert_eq!(rates.map(|tally| tally.hits()), want, "cut {cut} by {switch:?}");
    }
}

#[test]
fn the_deciding_value_matters() {
    let pairs = [
        (99.0, 119.0),
        (101.0, 81.0),
        (104.0, 83.5),
        (95.0, 118.0),
        (69.0, 89.0),
        (72.0, 87.0),
        (100.0, 80.0),
        (100.0, 120.0),
        (60.0, 72.1),
        (130.0, 96.0),
    ];
    let yes = |cut, switch| {
        let rule = AgreementRule::new(20.0).unwrap().with_cutoff(cut, switch).unwrap();
        pairs.map(|p| if rule.agrees(&pair(p)) { 'Y' } else { 'n' }).iter().collect::<String>()
    };
    assert_eq!(yes(100.0, CutoffBy::Reference), "YYYnYYYYYn");
    assert_eq!(yes(100.0, CutoffBy::Sensor), "nYnnYYYYYn");
    assert_eq!(yes(70.0, CutoffBy::Reference), "nYYnYnYYYn");
    assert_eq!(yes(70.0, CutoffBy::Sensor), "nYYnnnYYnn");
    assert_eq!(yes(0.0, CutoffBy::Reference), "nYYnnnYYnn"); // percent alone
}

#[test]
fn a_hundred_thousand_pairs_keep_their_digits() {
    // ten pairs ten thousand times over: the same means, and SD with n in place of n - 1
    let mut accuracy = PointAccuracy::new();
    for _ in 0..if cfg!(miri) { 10 } else { 10_000 } {
        PAIRS.map(pair).iter().for_each(|pair| accuracy.push(pair));
    }
    close(accuracy.bias_mg_dl(), -2.9);
    close(accuracy.mad_mg_dl(), 17.1);
    close(accuracy.mard_percent(), 12.895_133);
    let n = f64::from(accuracy.pairs());
    let want = 20.300_246 * (0.9 * n / (n - 1.0)).sqrt();
    close(accuracy.sd_mg_dl(), want as f32);
}
