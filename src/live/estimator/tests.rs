extern crate std;
use super::filter::Residual;
use super::*;
use core::f32::consts::SQRT_2;
use proptest::prelude::*;
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

/// The plain filter, as the reference values assume.
fn single() -> Model {
    Model::linear()
}

/// Runs the bare filter to its steady state and gives the gain and the belief after the update.
fn steady(minutes: f32) -> (State, Residual, Belief, Step) {
    let model = single();
    let step = Step::new(&model, minutes);
    let mut estimator = Estimator::new(model);
    estimator.start(Instant::from_secs(0), 100.0, false);
    let mut belief = estimator.running.unwrap().belief;
    let mut last = None;
    for _ in 0..4000 {
        belief.predict(&step, model.process_noise, 25.0);
        let residual = belief.residual(Sees::Sensor, belief.x.i + belief.x.w, 6.25);
        belief.update(&residual, 1.0);
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
    assert_eq!(sds.len(), 4);
    for (got, want) in sds.iter().zip([4.86436, 5.10980, 5.81314, 7.20608]) {
        close(*got, want, 2e-3);
    }
}

#[test]
fn a_ramp_is_followed_without_the_lag_by_a_filter_told_of_it() {
    // interstitial glucose on a ramp of −2 mg/dL/min reads 16 mg/dL high behind a lag of 8 min
    let mut estimator = Estimator::new(single());
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

/// The default estimator after the readings of `values`, one every five minutes.
fn told(values: &[f32]) -> Estimator {
    let mut estimator = Estimator::new(Model::default());
    for (k, value) in (0..).zip(values) {
        let _ = estimator.observe(&reading(5.0 * k as f32, *value));
    }
    estimator
}

fn at_minute(minute: u32) -> Instant {
    Instant::from_secs(minute * 60)
}

/// Reference: the same filter, correction and uncertainty in double precision (numpy).
#[test]
fn a_rise_that_begins_is_corrected_as_worked_out() {
    let mut values = std::vec![100.0; 8];
    values.extend([104.0, 114.0, 128.0]);
    let now = told(&values).estimate(at_minute(50)).unwrap();
    close(now.glucose().mg_dl(), WORKED.0, 1e-3);
    close(now.rate().mg_dl_per_min(), WORKED.1, 1e-3);
    close(now.glucose_sd(), WORKED.2, 1e-3);
    // and a steady one is not corrected: within what the filter smooths
    let steady: Vec<f32> = (0..24_u16).map(|k| 80.0 + 7.0 * f32::from(k)).collect();
    let now = told(&steady).estimate(at_minute(23 * 5)).unwrap();
    assert!((now.glucose().mg_dl() - 241.0).abs() < 2.0, "{}", now.glucose().mg_dl());
}
const WORKED: (f32, f32, f32) = (140.531_07, 1.591_18, 12.538_46);

#[test]
fn a_doubted_reading_is_told_as_the_sensors_word_with_a_wide_deviation_and_no_rate() {
    let mut estimator = told(&[120.0; 20]);
    assert_eq!(estimator.observe(&reading(100.0, 30.0)), UpdateOutcome::Doubted);
    let now = estimator.estimate(at_minute(100)).unwrap();
    assert!(now.is_doubted() && estimator.is_in_doubt());
    assert_eq!((now.glucose().mg_dl(), now.rate().mg_dl_per_min()), (30.0, 0.0));
    assert!(now.glucose_sd() > 0.6 * 90.0 && now.rate_sd() >= 2.0);
    assert!(estimator.interstitial_difference(at_minute(100)).is_none());
    // back to normal: as before, and no trace of a rate
    assert_eq!(estimator.observe(&reading(105.0, 121.0)), UpdateOutcome::Used);
    let after = estimator.estimate(at_minute(105)).unwrap();
    assert!(!after.is_doubted() && (after.glucose().mg_dl() - 121.0).abs() < 2.0);
    assert!(after.rate().mg_dl_per_min().abs() < 0.5);
    // the rate is not known as well as before
    let before = told(&[120.0; 20]).estimate(at_minute(95)).unwrap();
    assert!(after.rate_sd() > 1.1 * before.rate_sd(), "{} {}", after.rate_sd(), before.rate_sd());
}

#[test]
fn no_rate_runs_through_a_held_reading() {
    let falling: Vec<f32> = (0..10_u16).map(|k| 250.0 - 15.0 * f32::from(k)).collect();
    let mut estimator = told(&falling);
    assert!(estimator.estimate(at_minute(45)).unwrap().rate().mg_dl_per_min() < -2.0);
    let expected = estimator.predict(at_minute(50), glucose(60.0)).unwrap();
    assert_eq!(estimator.update(&expected, Trust::None), UpdateOutcome::Doubted);
    // a fingerstick shows what it believes meanwhile
    let mut pricked = estimator.clone();
    let _ = pricked.fingerstick(&Fingerstick::new(at_minute(51), glucose(105.0)));
    let rate = pricked.estimate(at_minute(51)).unwrap().rate().mg_dl_per_min();
    assert!(rate.abs() < 0.3, "{rate}");
    assert_eq!(estimator.observe(&reading(55.0, 108.0)), UpdateOutcome::Used);
    let now = estimator.estimate(at_minute(55)).unwrap();
    assert!(now.rate().mg_dl_per_min().abs() < 0.8, "{}", now.rate().mg_dl_per_min());
    assert!((now.glucose().mg_dl() - 108.0).abs() < 6.0, "{}", now.glucose().mg_dl());
}

#[test]
fn a_level_that_is_confirmed_is_a_level_and_not_a_rate() {
    let mut estimator = told(&[120.0; 20]);
    let expected = estimator.predict(at_minute(100), glucose(60.0)).unwrap();
    assert_eq!(estimator.update(&expected, Trust::None), UpdateOutcome::Doubted);
    assert_eq!(estimator.observe(&reading(105.0, 58.0)), UpdateOutcome::Started);
    let now = estimator.estimate(at_minute(105)).unwrap();
    assert_eq!((now.glucose().mg_dl(), now.rate().mg_dl_per_min()), (58.0, 0.0));
    assert!(now.glucose_sd() >= 20.0 && now.rate_sd() > 1.4);
    // trust returns step by step
    let mut last = (now.glucose_sd(), now.rate_sd());
    for (minute, value) in [(110.0, 59.0), (115.0, 57.0), (120.0, 58.0)] {
        assert_eq!(estimator.observe(&reading(minute, value)), UpdateOutcome::Used);
        let now = estimator.estimate(at_minute(minute as u32)).unwrap();
        assert!((now.glucose().mg_dl() - value).abs() < 3.0 && now.rate().mg_dl_per_min().abs() < 0.5);
        assert!(now.glucose_sd() < last.0 + 1.5 && now.rate_sd() < last.1, "{} {last:?}", now.glucose_sd());
        last = (now.glucose_sd(), now.rate_sd());
    }
    // less far than a level must be out of the blue
    let mut estimator = told(&[120.0; 20]);
    let expected = estimator.predict(at_minute(100), glucose(70.0)).unwrap();
    let _ = estimator.update(&expected, Trust::None);
    let expected = estimator.predict(at_minute(105), glucose(66.0)).unwrap();
    let z = expected.innovation().unwrap();
    assert!((-6.0..-3.0).contains(&z), "{z}");
    assert_eq!(estimator.update(&expected, Trust::Full), UpdateOutcome::Started);
    // believed at once, as when another far one came shortly before
    let mut estimator = told(&[120.0; 20]);
    let expected = estimator.predict(at_minute(100), glucose(80.0)).unwrap();
    let z = expected.innovation().unwrap();
    assert!((-9.0..-6.0).contains(&z), "{z}");
    assert_eq!(estimator.update(&expected, Trust::Full), UpdateOutcome::Started);
    assert_eq!(estimator.estimate(at_minute(100)).unwrap().glucose().mg_dl(), 80.0);
}

#[test]
fn no_rate_runs_through_a_gap() {
    let falling: Vec<f32> = (0..10_u16).map(|k| 250.0 - 15.0 * f32::from(k)).collect();
    let mut estimator = told(&falling);
    let newest = 115.0;
    let told_after = |minutes: u32| estimator.estimate(at_minute(45 + minutes)).unwrap();
    for minutes in [5, 20, 59] {
        assert!((told_after(minutes).glucose().mg_dl() - newest).abs() <= 30.0);
    }
    // the run of the rate ends at 15 mg/dL from where it began
    assert!(told_after(59).glucose().mg_dl() >= told_after(0).glucose().mg_dl() - 15.1);
    assert_eq!(estimator.observe(&reading(45.0 + 18.0, 70.0)), UpdateOutcome::Started);
    let now = estimator.estimate(at_minute(63)).unwrap();
    assert_eq!((now.glucose().mg_dl(), now.rate().mg_dl_per_min()), (70.0, 0.0));
    assert!(now.rate_sd() > 1.4 && now.glucose_sd() > 20.0);
    // a sensor read every quarter of an hour has no gaps
    let mut slow = Estimator::new(Model::default());
    for k in 0..6_u16 {
        let taken = slow.observe(&reading(15.0 * f32::from(k), 200.0 - 12.0 * f32::from(k)));
        assert_eq!(taken == UpdateOutcome::Started, k == 0);
    }
    assert!(slow.estimate(at_minute(75)).unwrap().rate().mg_dl_per_min() < -0.3);
}

#[test]
fn a_true_fall_is_followed_to_the_end_of_the_range_and_not_beyond() {
    let mut values = std::vec![91.0; 12];
    values.extend([90.0, 79.0, 66.0, 55.0, 42.0, 40.0, 39.0, 39.0, 39.0]);
    let mut estimator = Estimator::new(Model::default());
    for (k, value) in (0..).zip(&values) {
        let _ = estimator.observe(&reading(5.0 * k as f32, *value));
        let now = estimator.estimate(at_minute(5 * k)).unwrap();
        let shown = now.glucose().mg_dl();
        assert!(shown <= value + 3.0, "{shown} beside {value}");
        assert!(shown >= value.min(40.0) && shown >= value - 30.0, "{shown} beside {value}");
        let (least, greatest) = estimator.bounds().unwrap();
        assert!(now.glucose() >= least && now.glucose() <= greatest);
    }
}

#[test]
fn low_and_normal_by_turns_show_what_the_sensor_says() {
    let mut estimator = told(&[100.0; 20]);
    for k in 0..20_u32 {
        let value = if k % 2 == 0 { 45.0 } else { 100.0 };
        let _ = estimator.observe(&reading(100.0 + 5.0 * k as f32, value));
        let now = estimator.estimate(at_minute(100 + 5 * k)).unwrap();
        assert!((now.glucose().mg_dl() - value).abs() < 10.0, "{k}: {}", now.glucose().mg_dl());
        assert!(k > 3 || now.glucose_sd() > 7.0, "{k}: {}", now.glucose_sd());
    }
}

#[test]
fn what_is_not_newer_changes_nothing() {
    let mut estimator = Estimator::new(Model::default());
    let _ = estimator.observe(&reading(0.0, 100.0));
    let _ = estimator.observe(&reading(5.0, 103.0));
    let before = estimator.estimate(Instant::from_secs(600));
    assert_eq!(estimator.observe(&reading(5.0, 300.0)), UpdateOutcome::NotNewer);
    assert_eq!(estimator.observe(&reading(1.0, 300.0)), UpdateOutcome::NotNewer);
    let old = Fingerstick::new(Instant::from_secs(0), glucose(400.0));
    let _ = estimator.observe(&reading(40.0, 103.0));
    let now = estimator.estimate(Instant::from_secs(2400));
    assert_eq!(estimator.fingerstick(&old), FusionOutcome::TooOld);
    assert_eq!(estimator.estimate(Instant::from_secs(2400)), now);
    assert!(before.is_some());
}

#[test]
fn one_spike_is_left_out_and_a_step_is_believed_at_the_second_reading() {
    let mut estimator = Estimator::new(Model::default());
    for k in 0..40_u16 {
        let _ = estimator.observe(&reading(f32::from(k) * 5.0, 120.0));
    }
    assert_eq!(estimator.observe(&reading(200.0, 230.0)), UpdateOutcome::Doubted);
    assert_eq!(estimator.observe(&reading(205.0, 232.0)), UpdateOutcome::Started);
    assert!(estimator.estimate(Instant::from_secs(205 * 60)).unwrap().glucose().mg_dl() > 140.0);
    // one that comes back goes on from before
    let mut estimator = told(&[120.0; 40]);
    assert_eq!(estimator.observe(&reading(200.0, 230.0)), UpdateOutcome::Doubted);
    assert_eq!(estimator.observe(&reading(205.0, 120.0)), UpdateOutcome::Used);
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
    assert_eq!(estimator.observe(&reading(95.0 + 18.0, 80.0)), UpdateOutcome::Started);
    // the plain filter predicts over anything up to six hours
    let mut plain = Estimator::new(single());
    for (minute, taken) in
        [(0.0, UpdateOutcome::Started), (300.0, UpdateOutcome::Used), (661.0, UpdateOutcome::Started)]
    {
        assert_eq!(plain.observe(&reading(minute, 110.0)), taken);
    }
}

#[test]
fn a_fingerstick_pulls_the_estimate_and_narrows_it() {
    let mut estimator = Estimator::new(Model::default());
    assert_eq!(
        estimator.fingerstick(&Fingerstick::new(Instant::from_secs(0), glucose(90.0))),
        FusionOutcome::NoEstimate
    );
    for k in 0..20_u16 {
        let _ = estimator.observe(&reading(f32::from(k) * 5.0, 120.0));
    }
    let at = Instant::from_secs(96 * 60);
    let before = estimator.estimate(at).unwrap();
    assert_eq!(estimator.fingerstick(&Fingerstick::new(at, glucose(100.0))), FusionOutcome::Used);
    let after = estimator.estimate(at).unwrap();
    assert!(after.glucose().mg_dl() < before.glucose().mg_dl() - 8.0);
    assert!(after.glucose_sd() < before.glucose_sd());
}

#[test]
fn a_shift_moves_the_bounds_too_and_a_fingerstick_ends_a_doubt() {
    let mut estimator = told(&[120.0; 20]);
    estimator.shift(40.0);
    let now = estimator.estimate(at_minute(95)).unwrap();
    assert!((now.glucose().mg_dl() - 160.0).abs() < 0.5, "{}", now.glucose().mg_dl());
    let expected = estimator.predict(at_minute(100), glucose(60.0)).unwrap();
    let _ = estimator.update(&expected, Trust::None);
    assert_eq!(estimator.fingerstick(&Fingerstick::new(at_minute(101), glucose(70.0))), FusionOutcome::Used);
    let now = estimator.estimate(at_minute(101)).unwrap();
    assert!(!now.is_doubted() && now.glucose().mg_dl() <= 90.0);
}

#[test]
fn what_is_told_is_what_a_fingerstick_and_a_calibration_are_held_against() {
    let mut values = std::vec![100.0; 8];
    values.extend([104.0, 114.0, 128.0]);
    let mut estimator = told(&values);
    let now = estimator.estimate(at_minute(50)).unwrap().glucose();
    // worked out beside the correction: interstitial 124.67 less what is told, 140.53
    close(estimator.interstitial_difference(at_minute(50)).unwrap().mean, 124.673_2 - 140.531_07, 2e-3);
    let _ = estimator.fingerstick(&Fingerstick::new(at_minute(50), now));
    close(estimator.estimate(at_minute(50)).unwrap().glucose().mg_dl(), now.mg_dl(), 1e-4);
}

#[test]
fn after_a_start_the_slow_rate_is_the_rate_and_nothing_is_corrected() {
    let now = told(&[100.0, 115.0]).estimate(at_minute(5)).unwrap();
    assert!(now.rate().mg_dl_per_min() > 0.05);
    close(now.slow_rate().mg_dl_per_min(), now.rate().mg_dl_per_min(), 1e-5);
}

#[test]
fn a_doubted_first_reading_is_told_as_doubted() {
    let mut estimator = Estimator::new(Model::default());
    let expected = estimator.predict(at_minute(0), glucose(50.0)).unwrap();
    assert_eq!(estimator.update(&expected, Trust::None), UpdateOutcome::Doubted);
    assert!(estimator.estimate(at_minute(0)).unwrap().is_doubted());
    // and so is the first after a gap
    let mut estimator = told(&[120.0; 20]);
    let expected = estimator.predict(at_minute(140), glucose(50.0)).unwrap();
    assert_eq!(estimator.update(&expected, Trust::None), UpdateOutcome::Doubted);
    let now = estimator.estimate(at_minute(140)).unwrap();
    assert!(now.is_doubted() && now.glucose().mg_dl() == 50.0);
}

#[test]
fn the_noise_is_learned_from_what_is_fully_trusted_alone() {
    for (trust, learns) in [(Trust::Full, true), (Trust::Reduced(1.5), false), (Trust::None, false)] {
        let mut estimator = told(&[120.0; 3]);
        for k in 3..200_u32 {
            let value = 120.0 + if k % 2 == 0 { 14.0 } else { -14.0 };
            let expected = estimator.predict(at_minute(5 * k), glucose(value)).unwrap();
            let _ = estimator.update(&expected, trust);
        }
        assert_eq!(estimator.noise_scale() > 1.2, learns, "{trust:?}: {}", estimator.noise_scale());
    }
}

/// Readings every five minutes, each with its trust, told to the plain filter, which does not learn noise.
fn plain(readings: &[(f32, Trust)]) -> Estimator {
    let mut estimator = Estimator::new(single());
    for (k, (value, trust)) in (0..).zip(readings) {
        let expected = estimator.predict(at_minute(5 * k), glucose(*value)).unwrap();
        let taken = estimator.update(&expected, *trust);
        assert_eq!(taken == UpdateOutcome::Started, k == 0, "{k}");
        estimator.servo = Servo::new();
    }
    estimator
}

/// A fall whose fifth reading is trusted less and whose last two lie 5.5 standard deviations off.
fn fall() -> Estimator {
    plain(&[
        (150.0, Trust::Full),
        (150.0, Trust::Full),
        (148.0, Trust::Full),
        (143.0, Trust::Full),
        (136.0, Trust::Reduced(4.0)),
        (91.0, Trust::Full),
        (119.0, Trust::Full),
    ])
}

fn is_worked_out(estimator: &Estimator, now: u32, blood: [f32; 4], behind: f32, points: [(f32, f32); 4]) {
    let told = estimator.estimate(at_minute(now)).unwrap();
    let rate = told.rate().mg_dl_per_min();
    for (got, want) in [told.glucose().mg_dl(), rate, told.glucose_sd(), told.rate_sd()].iter().zip(blood) {
        close(*got, want, 2e-3);
    }
    close(told.interstitial_difference(), behind, 4e-3);
    let smoothed: Vec<Smoothed> = estimator.smoothed().collect();
    assert_eq!(smoothed.len(), 4);
    for ((minute, point), (value, sd)) in [15, 20, 25, 30].into_iter().zip(smoothed).zip(points) {
        assert_eq!(point.at(), at_minute(minute));
        close(point.glucose().mg_dl(), value, 1e-3);
        close(point.sd(), sd, 2e-3);
    }
}

/// Reference: the same model with its points as further states, as whole matrices in double precision (scipy: the
/// transition by the matrix exponential, its noise by Van Loan 1978, IEEE Trans. Automatic Control 23:395).
#[test]
fn a_fall_with_far_readings_and_fingersticks_late_and_ahead_is_as_worked_out() {
    let mut estimator = fall();
    let points =
        [(121.462_86, 5.194_479), (112.637_31, 5.380_565), (106.035_69, 6.220_317), (101.117_21, 7.783_418)];
    let blood = [101.117_21, -0.898_409, 7.783_418, 0.642_329];
    is_worked_out(&estimator, 30, blood, 111.317_31 - 101.117_21, points);
    // ten minutes before the newest reading
    assert_eq!(estimator.fingerstick(&Fingerstick::new(at_minute(20), glucose(140.0))), FusionOutcome::Used);
    let points =
        [(128.190_12, 4.666_882), (121.106_05, 4.550_307), (115.749_98, 5.276_690), (110.884_51, 7.043_719)];
    let blood = [110.884_51, -1.076_116, 7.043_719, 0.639_496];
    is_worked_out(&estimator, 30, blood, 119.896_52 - 110.884_51, points);
    // and three after it
    assert_eq!(estimator.fingerstick(&Fingerstick::new(at_minute(33), glucose(95.0))), FusionOutcome::Used);
    let points =
        [(126.928_78, 4.557_286), (118.336_14, 3.978_705), (110.999_01, 3.674_355), (103.664_45, 4.060_782)];
    let blood = [98.997_56, -1.496_988, 4.726_062, 0.538_523];
    is_worked_out(&estimator, 33, blood, 111.216_74 - 98.997_56, points);
    for (minute, mean, sd) in
        [(43, 25.240_43, 7.020_701), (36, 16.523_06, 4.028_381), (23, -0.802_061, 2.984_581)]
    {
        let behind = estimator.interstitial_difference(at_minute(minute)).unwrap();
        assert!((behind.mean - mean).abs() < 0.06, "{minute}: {} against {mean}", behind.mean);
        close(behind.sd, sd, 2e-3);
    }
}

#[test]
fn a_unit_rate_reaches_as_far_back_as_ahead() {
    // 35 (1 − e^(−10/35))
    let estimator = Estimator::new(single());
    close(estimator.reach(Span::from_mins(10)), 8.698_295, 2e-4);
    close(estimator.reach(Span::from_mins(-10)), -8.698_295, 2e-4);
    assert_eq!(estimator.reach(Span::ZERO), 0.0);
}

#[test]
fn the_learned_noise_is_white_and_coloured_together() {
    let mut estimator = Estimator::new(Model::linear().with_white_sd(3.0).unwrap());
    close(estimator.noise_sd(), 5.830_952, 1e-5); // √(25 + 9)
    for _ in 0..5000 {
        estimator.servo.learn(1e30, 10.0);
    }
    close(estimator.noise_sd(), 4.0 * 5.830_952, 1e-5);
}

#[test]
fn what_begins_anew_forgets_all_but_the_model_and_a_power_cut_nothing() {
    for (reset, keeps) in
        [(Reset::PowerReturned, true), (Reset::NewSensor, false), (Reset::Everything, false)]
    {
        let mut estimator = fall();
        for _ in 0..500 {
            estimator.servo.learn(4.0, 10.0);
        }
        estimator.reset(reset);
        assert_eq!(estimator.estimate(at_minute(30)).is_some(), keeps, "{reset:?}");
        assert_eq!(estimator.noise_scale() > 1.1, keeps, "{reset:?}");
        assert_eq!(*estimator.model(), single());
    }
}

#[test]
fn a_start_is_as_wide_as_the_sensor_errs_and_the_person_moves() {
    // at least 20 mg/dL and √2 (mg/dL)/min; else √2 of the coloured error, and √(q T / 2) of the rate
    for (process_noise, coloured, glucose_sd, rate_sd) in
        [(0.04, 5.0, 20.0, SQRT_2), (2.0, 5.0, 20.0, 5.916_08), (0.04, 20.0, 20.0 * SQRT_2, SQRT_2)]
    {
        let model = Model::of_minutes((8.0, 35.0, process_noise), (coloured, 25.0, 2.5));
        let mut estimator = Estimator::new(model);
        assert_eq!(estimator.observe(&reading(0.0, 120.0)), UpdateOutcome::Started);
        let now = estimator.estimate(at_minute(0)).unwrap();
        close(now.glucose_sd(), glucose_sd, 1e-5);
        close(now.rate_sd(), rate_sd, 1e-5);
    }
}

#[test]
fn the_limits_of_time_are_within_it() {
    let after = |secs| at_minute(95).plus(Span::from_secs(secs));
    let estimator = told(&[120.0; 20]);
    let stick = |secs| estimator.clone().fingerstick(&Fingerstick::new(after(secs), glucose(118.0)));
    assert!(estimator.estimate(after(3600)).is_some() && estimator.estimate(after(3601)).is_none());
    assert!(
        estimator.interstitial_difference(after(3600)).is_some()
            && estimator.interstitial_difference(after(3601)).is_none()
    );
    assert!(
        estimator.interstitial_difference(after(7200)).is_none()
            && estimator.interstitial_difference(after(-7200)).is_none()
    );
    assert!(
        estimator.interstitial_difference(after(-900)).is_some()
            && estimator.interstitial_difference(after(-901)).is_none()
    );
    assert_eq!(
        (stick(3600), stick(3601), stick(7200)),
        (FusionOutcome::Used, FusionOutcome::NoEstimate, FusionOutcome::NoEstimate)
    );
    assert_eq!((stick(-900), stick(-901)), (FusionOutcome::Used, FusionOutcome::TooOld));
    let taken = |secs| estimator.clone().observe(&Reading::new(after(secs), glucose(119.0)));
    assert_eq!((taken(17 * 60), taken(17 * 60 + 1)), (UpdateOutcome::Used, UpdateOutcome::Started));
}

#[test]
fn a_reading_from_just_before_a_fingerstick_counts_as_of_then() {
    let mut estimator = told(&[120.0; 20]);
    let early = estimator.predict(at_minute(97), glucose(120.0)).unwrap();
    let same = estimator.predict(at_minute(98), glucose(120.0)).unwrap();
    assert_eq!(estimator.fingerstick(&Fingerstick::new(at_minute(98), glucose(118.0))), FusionOutcome::Used);
    let before = estimator.estimate(at_minute(98));
    assert_eq!(estimator.update(&early, Trust::Full), UpdateOutcome::NotNewer);
    assert_eq!(estimator.estimate(at_minute(98)), before);
    let overtaken = estimator.predict(at_minute(97), glucose(120.0)).unwrap();
    assert_eq!(
        overtaken.innovation(),
        estimator.predict(at_minute(98), glucose(120.0)).unwrap().innovation()
    );
    assert_eq!(estimator.clone().update(&overtaken, Trust::Full), UpdateOutcome::Used);
    assert_eq!(estimator.update(&same, Trust::Full), UpdateOutcome::Used);
}

#[test]
fn a_doubted_reading_is_the_newest_and_the_points_move_on_with_it() {
    let mut estimator = fall();
    let expected = estimator.predict(at_minute(35), glucose(60.0)).unwrap();
    let moved = expected.compared.unwrap().points;
    assert!(moved != estimator.running.unwrap().points);
    assert_eq!(estimator.update(&expected, Trust::None), UpdateOutcome::Doubted);
    assert!(estimator.running.unwrap().points == moved);
    assert!(estimator.predict(at_minute(35), glucose(60.0)).is_none());
}

#[test]
fn a_doubted_readings_deviation_is_the_filters_what_is_open_and_a_share_of_its_distance() {
    let mut estimator = told(&[120.0; 20]);
    let expected = estimator.predict(at_minute(100), glucose(60.0)).unwrap();
    let Belief { x, p } = expected.compared.unwrap().belief;
    let _ = estimator.update(&expected, Trust::None);
    // 5 % of 60 is 3
    let variance = p.gg + 9.0 + 0.4 * (60.0 - x.g) * (60.0 - x.g);
    close(estimator.estimate(at_minute(100)).unwrap().glucose_sd(), variance.sqrt(), 1e-5);
}

#[test]
fn interstitial_glucose_is_told_against_what_is_told_of_blood() {
    let rising: Vec<f32> = (0..12_u16).map(|k| 100.0 + f32::from(k * k)).collect();
    let estimator = told(&rising);
    let now = estimator.estimate(at_minute(55)).unwrap();
    let interstitial = estimator.running.unwrap().belief.x.i;
    assert!(
        (now.interstitial_difference() - (interstitial - now.glucose().mg_dl())).abs() < 1e-3
            && now.interstitial_difference() < -1.0
    );
}

#[test]
fn a_shift_is_nothing_new_to_the_next_reading() {
    let mut estimator = told(&[120.0; 20]);
    estimator.shift(40.0);
    let expected = estimator.predict(at_minute(100), glucose(160.0)).unwrap();
    assert!(expected.innovation().unwrap().abs() < 0.1, "{:?}", expected.innovation());
    // interstitial glucose moves with blood
    let mut estimator = fall();
    let before = estimator.interstitial_difference(at_minute(30)).unwrap();
    estimator.shift(-25.0);
    let after = estimator.interstitial_difference(at_minute(30)).unwrap();
    assert!((after.mean - before.mean).abs() < 1e-3 && after.sd == before.sd, "{before:?} {after:?}");
}

#[test]
fn a_level_is_beyond_six_deviations_and_after_a_doubt_beyond_three() {
    for (doubted, innovation, want) in [
        (false, 6.0, UpdateOutcome::Used),
        (false, -6.01, UpdateOutcome::Started),
        (true, -3.0, UpdateOutcome::Used),
        (true, 3.01, UpdateOutcome::Started),
    ] {
        let mut estimator = told(&[120.0; 20]);
        if doubted {
            let expected = estimator.predict(at_minute(100), glucose(60.0)).unwrap();
            let _ = estimator.update(&expected, Trust::None);
        }
        let mut expected = estimator.predict(at_minute(105), glucose(120.0)).unwrap();
        let residual = &mut expected.compared.as_mut().unwrap().residual;
        (residual.innovation, residual.variance) = (innovation * 16.0, 256.0);
        assert_eq!(estimator.update(&expected, Trust::Full), want, "{doubted} {innovation}");
    }
}

#[test]
fn the_slow_rate_follows_the_rate_by_its_time_constant() {
    let rising: Vec<f32> = (0..30_u16).map(|k| 80.0 + 6.0 * f32::from(k)).collect();
    let estimator = told(&rising);
    let of = |minute| {
        let now = estimator.estimate(at_minute(minute)).unwrap();
        (now.rate().mg_dl_per_min(), now.slow_rate().mg_dl_per_min())
    };
    let ((_, slow), (rate, slower)) = (of(145), of(148));
    // 1 − e^(−3/20)
    close(slower - slow, 0.139_292 * (rate - slow), 1e-3);
    assert!(rate < slow - 0.05, "a rate that fades: {rate} {slow}");
}

#[test]
fn what_is_not_finite_is_started_afresh() {
    let mut estimator = told(&[120.0; 20]);
    let mut expected = estimator.predict(at_minute(100), glucose(121.0)).unwrap();
    expected.compared.as_mut().unwrap().belief.p.rr = f32::INFINITY;
    assert_eq!(estimator.update(&expected, Trust::Full), UpdateOutcome::Started);
    assert_eq!(estimator.estimate(at_minute(100)).unwrap().glucose().mg_dl(), 121.0);
}

#[test]
fn points_are_four_and_a_half_minutes_apart_and_carry_their_moment() {
    for (apart, points) in [(269, 1), (270, 2), (271, 2)] {
        let mut estimator = Estimator::new(single());
        for secs in [0, apart] {
            let _ = estimator.observe(&Reading::new(Instant::from_secs(secs), glucose(120.0)));
        }
        assert_eq!(estimator.smoothed().count(), points, "{apart} s");
    }
    let point = fall().smoothed().next().unwrap();
    let moved = point.by_clock(at_minute(77));
    assert_eq!((moved.at(), moved.glucose(), moved.sd()), (at_minute(77), point.glucose(), point.sd()));
}

#[test]
fn the_promised_size_holds() {
    assert!(size_of::<Estimator>() <= 376, "{}", size_of::<Estimator>());
}

/// What may come: seconds since what came before, mg/dL, and what it is.
fn anything() -> impl Strategy<Value = (u32, f32, u8)> {
    let seconds = prop_oneof![Just(300_u32), Just(60), Just(900), 0..40_u32, 0..40_000_u32];
    let value = prop_oneof![Just(40.0_f32), Just(400.0), 20.0..600.0_f32, 95.0..105.0_f32];
    (seconds, value, 0..8_u8)
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(if cfg!(miri) { 2 } else { 300 }))]

    /// Whatever comes at whatever spacing: finite, within the bounds, never surer than possible, and a covariance that
    /// could be one.
    #[test]
    fn whatever_comes_the_estimate_is_bounded_and_its_covariance_sound(
        stream in prop::collection::vec(anything(), 1..60),
        plain in any::<bool>(),
    ) {
        let mut estimator = Estimator::new(if plain { single() } else { Model::default() });
        let mut now = 1000_u32;
        for (seconds, value, what) in stream {
            now += seconds;
            let (at, value) = (Instant::from_secs(now), glucose(value));
            match what {
                0 => { let _ = estimator.fingerstick(&Fingerstick::new(at, value)); }
                1 => estimator.shift(value.mg_dl() - 300.0),
                2..=4 => {
                    let trust = match what { 2 => Trust::None, 3 => Trust::Reduced(10.0), _ => Trust::Full };
                    if let Some(expected) = estimator.predict(at, value) {
                        prop_assert!(estimator.update(&expected, trust) != UpdateOutcome::NotNewer);
                    }
                }
                _ => { let _ = estimator.observe(&Reading::new(at, value)); }
            }
            for ahead in [0, 60, 1200, 3600] {
                let Some(told) = estimator.estimate(Instant::from_secs(now + ahead)) else { continue };
                prop_assert!(told.glucose_sd().is_finite() && told.rate_sd().is_finite());
                if let (Some((least, greatest)), false) = (estimator.bounds(), told.is_doubted()) {
                    prop_assert!(told.glucose() >= least && told.glucose() <= greatest);
                    prop_assert!(told.glucose_sd() >= 0.049 * told.glucose().mg_dl() - 5.0);
                }
                if told.is_doubted() {
                    prop_assert!(told.rate_sd() >= 2.0 && told.rate().mg_dl_per_min() == 0.0);
                }
            }
            if let Some(running) = &estimator.running {
                let p = &running.belief.p;
                prop_assert!(running.belief.is_finite());
                prop_assert!(p.gg > 0.0 && p.rr > 0.0 && p.ii > 0.0 && p.ww > 0.0);
                for (product, square) in [
                    (p.gg * p.rr, p.gr * p.gr),
                    (p.gg * p.ii, p.gi * p.gi),
                    (p.gg * p.ww, p.gw * p.gw),
                    (p.rr * p.ii, p.ri * p.ri),
                    (p.rr * p.ww, p.rw * p.rw),
                    (p.ii * p.ww, p.iw * p.iw),
                ] {
                    prop_assert!(square <= 1.01 * product + 0.01, "{square} against {product}");
                }
            }
        }
    }

    /// The estimate is never far from a sensor that holds steady.
    #[test]
    fn beside_a_steady_sensor_the_estimate_is_near(
        before in prop::collection::vec(anything(), 0..30),
        level in 46.0..390.0_f32,
        wobble in prop::collection::vec(-4.0..4.0_f32, 3),
    ) {
        let mut estimator = Estimator::new(Model::default());
        let mut now = 1000_u32;
        for (seconds, value, _) in before {
            now += seconds;
            let _ = estimator.observe(&Reading::new(Instant::from_secs(now), glucose(value)));
        }
        for wobble in wobble {
            now += 300;
            let _ = estimator.observe(&Reading::new(Instant::from_secs(now), glucose(level + wobble)));
        }
        let told = estimator.estimate(Instant::from_secs(now)).unwrap();
        prop_assert!((told.glucose().mg_dl() - level).abs() <= 34.0, "{} beside {level}", told.glucose().mg_dl());
    }
}

/// Whose start is after its last reading, or whose last reading is after its present, is no estimator.
#[test]
fn only_an_order_of_times_that_can_be_is_read_back() {
    use crate::ground::codec::stands;
    let mut estimator = Estimator::new(Model::default());
    for n in 1..5_u8 {
        let _ = estimator.observe(&reading(5.0 * f32::from(n), 100.0));
    }
    let running = estimator.running.unwrap();
    let later = |at: Instant| at.plus(Span::from_secs(1));
    assert!(stands(running));
    assert!(!stands(Running { last_reading: later(running.at), ..running }));
    assert!(!stands(Running { since: later(running.last_reading), ..running }));
}
