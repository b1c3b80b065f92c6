extern crate std;
use super::filter::Residual;
use super::*;
use std::vec::Vec;

fn glucose(mg_dl: f32) -> Glucose {
    Glucose::from_mg_dl(mg_dl).unwrap()
}

fn reading(minute: f32, mg_dl: f32) -> Reading {
    Reading::new(Instant::from_secs((minute * 60.0) as u32), glucose(mg_dl))
}

fn close(got: f32, want: f32, relative: f32) {
    assert!((got - want).abs() <= relative * want.abs(), "{got} against {want}");
}

/// One motion, as the reference values assume.
fn single() -> Model {
    Model::new(8.0, 35.0, 0.04, 5.0, 25.0, 2.5).unwrap()
}

/// Runs the bare filter to its steady state and gives the gain and the belief after the update.
fn steady(minutes: f32) -> (State, Residual, Belief, Step) {
    let model = single();
    let step = Step::new(&model, minutes);
    let mut belief = Estimator::new(model).started(Instant::from_secs(0), 100.0).bank.calm;
    let mut last = None;
    for _ in 0..4000 {
        let ahead = belief.predicted(&step, model.drive, 25.0);
        let residual = ahead.residual(Sees::Sensor, ahead.x.i + ahead.x.w, 6.25);
        belief = ahead.updated(&residual, 1.0);
        last = Some(residual);
    }
    let residual = last.unwrap();
    let (ph, s) = (residual.ph(), residual.variance);
    (State { g: ph.g / s, r: ph.r / s, i: ph.i / s, w: ph.w / s }, residual, belief, step)
}

/// Reference values: the discrete Riccati equation of the same model solved in double precision (scipy).
#[test]
#[cfg_attr(miri, ignore = "too slow")]
fn steady_gains_and_variances_match_the_riccati_solution() {
    let (k, residual, belief, _) = steady(5.0);
    close(k.g, 1.07433, 2e-3);
    close(k.r, 0.05277, 3e-3);
    close(k.i, 0.68183, 2e-3);
    close(k.w, 0.10049, 5e-3);
    close(residual.variance, 28.71, 2e-3);
    close(belief.p.gg.sqrt(), 7.21, 2e-3);
    close(belief.p.rr.sqrt(), 0.615, 2e-3);
    close(belief.p.ii.sqrt(), 5.27, 2e-3);
    close(belief.p.ww.sqrt(), 4.91, 2e-3);
    let (k, residual, belief, _) = steady(1.0);
    close(k.g, 0.65704, 3e-3);
    close(k.r, 0.03968, 5e-3);
    close(k.i, 0.38851, 3e-3);
    close(k.w, 0.07766, 5e-3);
    close(residual.variance, 11.71, 2e-3);
    close(belief.p.gg.sqrt(), 6.95, 2e-3);
}

#[test]
#[cfg_attr(miri, ignore = "too slow")]
fn a_late_estimate_is_a_third_better() {
    // smoothed standard deviations 15, 10 and 5 min late and now: fixed-point recursion of the same model in
    // double precision (numpy)
    let mut estimator = Estimator::new(single());
    for k in 0..400_u16 {
        let value =
            estimator.estimate(Instant::from_secs(u32::from(k) * 300)).map_or(150.0, |e| e.glucose().mg_dl());
        let _ = estimator.observe(&reading(f32::from(k) * 5.0, value));
        estimator.servo = Servo::new();
    }
    let sds: Vec<f32> = estimator.smoothed().map(|s| s.sd()).collect();
    for (got, want) in sds.iter().zip([4.86436, 5.10980, 5.81314, 7.20608]) {
        close(*got, want, 2e-3);
    }
}

#[test]
fn a_ramp_is_followed_without_the_lag() {
    // interstitial glucose on a ramp of −2 mg/dL/min reads 16 mg/dL high behind a lag of 8 min
    let mut estimator = Estimator::new(Model::default());
    for k in 0..24_u16 {
        let _ = estimator.observe(&reading(f32::from(k) * 5.0, 300.0 - 10.0 * f32::from(k)));
    }
    let now = estimator.estimate(Instant::from_secs(23 * 300)).unwrap();
    let sensor = 300.0 - 230.0;
    let blood = sensor - 16.0;
    assert!(now.glucose().mg_dl() < sensor - 8.0);
    assert!((now.glucose().mg_dl() - blood).abs() < 2.0 * now.glucose_sd());
    assert!((now.rate().mg_dl_per_min() + 2.0).abs() < 2.0 * now.rate_sd());
}

#[test]
fn what_is_not_newer_changes_nothing() {
    let mut estimator = Estimator::new(Model::default());
    let _ = estimator.observe(&reading(0.0, 100.0));
    let _ = estimator.observe(&reading(5.0, 103.0));
    let before = estimator.estimate(Instant::from_secs(600));
    assert_eq!(estimator.observe(&reading(5.0, 300.0)), Taken::NotNewer);
    assert_eq!(estimator.observe(&reading(1.0, 300.0)), Taken::NotNewer);
    let old = Fingerstick::new(Instant::from_secs(0), glucose(400.0));
    let _ = estimator.observe(&reading(40.0, 103.0));
    let now = estimator.estimate(Instant::from_secs(2400));
    assert_eq!(estimator.fingerstick(&old), Fused::TooOld);
    assert_eq!(estimator.estimate(Instant::from_secs(2400)), now);
    assert!(before.is_some());
}

#[test]
fn one_spike_is_left_out_and_a_step_is_believed_at_the_second_reading() {
    let mut estimator = Estimator::new(Model::default());
    for k in 0..40_u16 {
        let _ = estimator.observe(&reading(f32::from(k) * 5.0, 120.0));
    }
    assert_eq!(estimator.observe(&reading(200.0, 160.0)), Taken::LeftOut);
    assert_eq!(estimator.observe(&reading(205.0, 162.0)), Taken::Used);
    assert!(estimator.estimate(Instant::from_secs(205 * 60)).unwrap().glucose().mg_dl() > 140.0);
}

#[test]
fn gaps_widen_the_band_then_silence_then_restart() {
    let mut estimator = Estimator::new(Model::default());
    for k in 0..20_u16 {
        let _ = estimator.observe(&reading(f32::from(k) * 5.0, 120.0));
    }
    let at = |minute: u32| Instant::from_secs(minute * 60);
    let sd = |minute| estimator.estimate(at(minute)).unwrap().glucose_sd();
    assert!(sd(95) < sd(100) && sd(100) < sd(125));
    assert!(estimator.estimate(at(95 + 61)).is_none());
    assert_eq!(estimator.estimate(at(90)), estimator.estimate(at(95)));
    assert_eq!(estimator.observe(&reading(95.0 + 361.0, 80.0)), Taken::Started);
}

#[test]
fn a_fingerstick_pulls_the_estimate_and_narrows_it() {
    let mut estimator = Estimator::new(Model::default());
    assert_eq!(
        estimator.fingerstick(&Fingerstick::new(Instant::from_secs(0), glucose(90.0))),
        Fused::NoEstimate
    );
    for k in 0..20_u16 {
        let _ = estimator.observe(&reading(f32::from(k) * 5.0, 120.0));
    }
    let at = Instant::from_secs(96 * 60);
    let before = estimator.estimate(at).unwrap();
    assert_eq!(estimator.fingerstick(&Fingerstick::new(at, glucose(100.0))), Fused::Used);
    let after = estimator.estimate(at).unwrap();
    assert!(after.glucose().mg_dl() < before.glucose().mg_dl() - 8.0);
    assert!(after.glucose_sd() < 0.8 * before.glucose_sd());
}

#[test]
fn the_promised_size_holds() {
    assert!(size_of::<Estimator>() <= 416, "{}", size_of::<Estimator>());
}
