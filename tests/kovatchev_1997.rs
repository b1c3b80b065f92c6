//! The risk transform of Kovatchev et al. (1997), Diabetes Care 20:1655, doi:10.2337/diacare.20.11.1655. Its constants
//! make the risk 100 at 20 and 600 mg/dL and equal at 70 and 180.
#![cfg(not(feature = "micromath"))] // coarser exponentials
#![allow(clippy::excessive_precision)] // as computed

mod three_days;
use glidepath::Glucose;
use glidepath::review::{Compact, Config, glucose_risk};
use three_days::{close, review};

#[test]
fn risks_of_single_values() {
    for (mg_dl, low, high) in [
        (20.0, 100.041_508, 0.0),
        (40.0, 36.417_547, 0.0),
        (54.0, 18.461_365, 0.0),
        (70.0, 7.755_206, 0.0),
        (180.0, 0.0, 7.729_312),
        (250.0, 0.0, 22.436_2),
        (400.0, 0.0, 57.046_099),
        (600.0, 0.0, 99.948_051),
    ] {
        let got = glucose_risk(Glucose::from_mg_dl(mg_dl).unwrap());
        close(got.0, low);
        close(got.1, high);
    }
    // the scale's zero, 112.517 mg/dL
    let (low, high) = glucose_risk(Glucose::from_mg_dl(112.517_385).unwrap());
    assert!(low < 1e-8 && high < 1e-8);
}

#[test]
fn indices_divide_by_all_readings() {
    let summary = review::<Compact>([50.0, 70.0, 112.5, 180.0, 300.0], 5, Config::default()).summary();
    close(summary.lbgi, 6.051_130);
    close(summary.hbgi, 8.336_260);
}
