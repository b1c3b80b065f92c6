//! Do simulated people look like people, and is the same seed the same person everywhere?
//!
//! What published sets of type 1 diabetes have in common (median figures of five open sets read every five
//! minutes): mean 135 to 155 mg/dL, standard deviation 43 to 62, 1 to 4 % below 70, rates of change beyond
//! ±2 mg/dL/min in 2 to 5 % of readings, and 30 minutes ahead a held reading errs by 22 to 29 mg/dL. T. Battelino
//! et al., Diabetes Care 42:1593, 2019, sets the goals that most miss: under 4 % below 70, under 25 % above 180.

use glidepath::simulate::{
    Disturbance, Faults, Meter, MeterModel, Person, PersonConfig, Sensor, SensorModel, Truth,
};
use glidepath::{Glucose, Instant, Rate, Span, Status};

const DAYS: u32 = 13;

fn between(name: &str, value: f64, low: f64, high: f64) {
    println!("{name}: {value:.2} ({low} to {high})");
    assert!((low..=high).contains(&value), "{name}: {value} outside {low} to {high}");
}

fn rms(squares: f64, count: f64) -> f64 {
    (squares / count).sqrt()
}

#[test]
fn glucose_looks_like_that_of_people_with_type_1_diabetes() {
    let people = if cfg!(debug_assertions) { 24 } else { 300 };
    let (mut plasma, mut rates) = (Vec::new(), Vec::new());
    let (mut errors, mut n_errors, mut moves, mut n_moves, mut lows) = (0.0, 0.0, 0.0, 0.0, 0.0);
    for seed in 0..people {
        let mut person = Person::new(seed, PersonConfig::DEFAULT);
        let mut sensor = Sensor::new(seed, SensorModel::CORRELATED);
        let (mut shown, mut low_for) = (Vec::new(), 0);
        for minute in 1..=DAYS * 1440 {
            let truth = person.step(Span::from_mins(1));
            sensor.follow(&truth);
            let value = f64::from(truth.plasma().mg_dl());
            low_for = if value < 70.0 { low_for + 1 } else { 0 };
            lows += f64::from(u8::from(low_for == 15));
            if minute % 5 == 0 {
                plasma.push(value);
                rates.push(f64::from(truth.rate().mg_dl_per_min()));
                let reading = sensor.read().expect("no faults").reading();
                shown.push(f64::from(reading.glucose().mg_dl()));
                if reading.status() == Status::Normal {
                    errors += (f64::from(reading.glucose().mg_dl()) - value).powi(2);
                    n_errors += 1.0;
                }
            }
        }
        for pair in shown.windows(7) {
            moves += (pair[6] - pair[0]).powi(2);
            n_moves += 1.0;
        }
    }
    let n = plasma.len() as f64;
    let percent = |values: &[f64], test: fn(f64) -> bool| {
        100.0 * values.iter().filter(|&&x| test(x)).count() as f64 / n
    };
    let mean = plasma.iter().sum::<f64>() / n;
    between("mean, mg/dL", mean, 140.0, 160.0);
    between("standard deviation, mg/dL", rms(plasma.iter().map(|x| (x - mean).powi(2)).sum(), n), 55.0, 66.0);
    between("below 54, %", percent(&plasma, |x| x < 54.0), 0.03, 1.0);
    between("below 70, %", percent(&plasma, |x| x < 70.0), 2.5, 5.5);
    between("above 180, %", percent(&plasma, |x| x > 180.0), 24.0, 34.0);
    between("above 250, %", percent(&plasma, |x| x > 250.0), 4.0, 10.0);
    between("above 400, %", percent(&plasma, |x| x > 400.0), 0.0, 0.4);
    between("faster than 2 mg/dL/min, %", percent(&rates, |x| x.abs() > 2.0), 2.5, 5.0);
    between("faster than 5 mg/dL/min, %", percent(&rates, |x| x.abs() > 5.0), 0.0, 0.3);
    between("sensor held for 30 minutes, mg/dL", rms(moves, n_moves), 21.0, 25.0);
    between("sensor against plasma, mg/dL", rms(errors, n_errors), 7.5, 8.8);
    between("lows of 15 minutes a day", lows / (people as f64 * f64::from(DAYS)), 0.6, 1.2);
}

/// Medians over lifelike people lie within what four of five recorded traces have. The ranges are the 10th to 90th
/// percentiles of 22 traces of four open sets read every five minutes: AZT1D (Khamesian et al. 2025, CC BY 4.0), BrisT1D
/// (James et al. 2025, CC BY 4.0), PhysioCGM (Quamer et al. 2025, CC0), T1D-UOM (Alsuhaymi et al. 2025, CC BY 4.0), as
/// `glidepath rank FOLDER` prints them.
#[test]
fn lifelike_people_have_the_statistics_of_recorded_ones() {
    let people = if cfg!(debug_assertions) { 40 } else { 100 };
    let sensor = SensorModel::LIFELIKE.with_faults(Faults::LIFELIKE);
    let mut figures: [Vec<f64>; 12] = Default::default();
    for seed in 0..people {
        let mut person = Person::new(seed, PersonConfig::LIFELIKE);
        let mut sensor = Sensor::new(seed, sensor);
        let mut grid: Vec<Option<f64>> = Vec::new();
        for minute in 1..=DAYS * 1440 {
            sensor.follow(&person.step(Span::from_mins(1)));
            if minute % 5 == 0 {
                grid.push(sensor.read().map(|sample| f64::from(sample.reading().glucose().mg_dl())));
            }
        }
        let known: Vec<f64> = grid.iter().flatten().copied().collect();
        let n = known.len() as f64;
        let mean = known.iter().sum::<f64>() / n;
        let share = |test: fn(f64) -> bool| 100.0 * known.iter().filter(|&&x| test(x)).count() as f64 / n;
        let steps: Vec<Option<f64>> = grid.windows(2).map(|pair| Some((pair[1]? - pair[0]?) / 5.0)).collect();
        let correlation = |shift: usize| {
            let pairs = steps.iter().zip(&steps[shift..]).filter_map(|(a, b)| Some(((*a)?, (*b)?)));
            let (mut both, mut square) = (0.0, 0.0);
            pairs.for_each(|(a, b)| {
                both += a * b;
                square += 0.5 * (a * a + b * b);
            });
            both / square
        };
        let errors = |ahead: usize| {
            let (mut hold, mut line, mut count) = (0.0, 0.0, 0.0);
            for window in grid.windows(4 + ahead) {
                let [Some(a), Some(b), Some(c), Some(d), .., Some(came)] = window else { continue };
                let slope = (3.0 * (d - a) + (c - b)) / 10.0;
                hold += (d - came).powi(2);
                line += ((a + b + c + d) / 4.0 + slope * (1.5 + ahead as f64) - came).powi(2);
                count += 1.0;
            }
            (rms(hold, count), (line / hold).sqrt())
        };
        let bends: Vec<f64> =
            grid.windows(3).filter_map(|t| Some((t[2]? - 2.0 * t[1]? + t[0]?).powi(2))).collect();
        let ((hold_30, line_30), (hold_60, line_60)) = (errors(6), errors(12));
        let all = [
            mean,
            rms(known.iter().map(|x| (x - mean).powi(2)).sum(), n),
            share(|x| x < 70.0),
            share(|x| x > 180.0),
            correlation(1),
            correlation(3),
            rms(bends.iter().sum(), 6.0 * bends.len() as f64),
            hold_30,
            line_30,
            hold_60,
            line_60,
            100.0 * (1.0 - n / grid.len() as f64),
        ];
        figures.iter_mut().zip(all).for_each(|(values, value)| values.push(value));
    }
    let ranges = [
        ("mean, mg/dL", 120.8, 168.7),
        ("standard deviation, mg/dL", 32.8, 54.8),
        ("below 70, %", 0.1, 5.4),
        ("above 180, %", 6.8, 35.4),
        ("correlation of the rate over 5 min", 0.48, 0.69),
        ("correlation of the rate over 15 min", 0.18, 0.39),
        ("noise, mg/dL", 1.63, 2.42),
        ("held for 30 minutes, mg/dL", 18.4, 29.2),
        ("straight line over holding, 30 min", 1.15, 1.39),
        ("held for 60 minutes, mg/dL", 29.2, 45.4),
        ("straight line over holding, 60 min", 1.37, 1.82),
        ("without readings, %", 1.7, 6.7),
    ];
    for (values, (name, low, high)) in figures.iter_mut().zip(ranges) {
        values.sort_by(f64::total_cmp);
        between(name, values[values.len() / 2], low, high);
    }
}

/// What a sensor shows every five minutes of plasma glucose that stands still at 120 mg/dL.
fn at_rest(seed: u64, model: SensorModel) -> Vec<Option<(f64, Disturbance)>> {
    let plasma = Glucose::from_mg_dl(120.0).expect("in range");
    let rate = Rate::from_mg_dl_per_min(0.0).expect("in range");
    let mut sensor = Sensor::new(seed, model);
    let reading = |n: u32| {
        sensor.follow(&Truth::new(Instant::from_secs(300 * n), plasma, rate));
        sensor.read().map(|sample| (f64::from(sample.reading().glucose().mg_dl()), sample.disturbance()))
    };
    (0..DAYS * 288).map(reading).collect()
}

#[test]
fn lifelike_sensors_lag_less_and_smooth_all_but_noise_without_memory() {
    let lag = |model: SensorModel| {
        (0..200).map(|seed| f64::from(Sensor::new(seed, model).lag_min())).sum::<f64>() / 200.0
    };
    between("lag of a lifelike sensor, min", lag(SensorModel::LIFELIKE), 5.6, 6.4);
    between("lag of the others, min", lag(SensorModel::CORRELATED), 7.6, 8.4);
    let smoothed = SensorModel::WHITE.with_smoothing_min(20.0).expect("in range");
    let values: Vec<f64> = at_rest(3, smoothed).into_iter().flatten().map(|(value, _)| value).collect();
    let noise = rms(values.iter().map(|value| (value - 120.0).powi(2)).sum(), values.len() as f64);
    between("noise without memory of a sensor that smooths, mg/dL", noise, 4.2, 4.8);
}

#[test]
fn lifelike_sensors_are_unlike_in_their_gaps_and_pressed_upon_some_nights() {
    let model = SensorModel::LIFELIKE.with_faults(Faults::LIFELIKE);
    let (mut gone, mut longest, mut nights) = (Vec::new(), 0, 0_u32);
    for seed in 0..150 {
        let readings = at_rest(seed, model);
        let pressed = |day: &[Option<(f64, Disturbance)>]| {
            day.iter().flatten().any(|(_, disturbance)| *disturbance == Disturbance::Pressure)
        };
        nights += readings.chunks(288).map(|day| u32::from(pressed(day))).sum::<u32>();
        let silences = readings.split(|reading| reading.is_some()).map(<[_]>::len);
        longest = longest.max(silences.clone().max().unwrap_or(0));
        gone.push(silences.filter(|silence| *silence > 0).count());
    }
    gone.sort_unstable();
    let (few, many) = (gone[15].max(1) as f64, gone[135] as f64);
    between("gaps of many over gaps of few", many / few, 6.0, 100.0);
    between("longest gap, readings", longest as f64, 120.0, 145.0);
    between("nights with pressure, %", 100.0 * f64::from(nights) / f64::from(150 * DAYS), 22.0, 38.0);
}

#[test]
fn lifelike_people_are_unlike_in_how_restless_they_are() {
    // nothing but what is unexplained moves them
    let config = PersonConfig::LIFELIKE.without_routine();
    let mut restless: Vec<f64> = (0..40)
        .map(|seed| {
            let mut person = Person::new(seed, config);
            let squares =
                (0..288).map(|_| f64::from(person.step(Span::from_mins(5)).rate().mg_dl_per_min()).powi(2));
            rms(squares.sum(), 288.0)
        })
        .collect();
    restless.sort_by(f64::total_cmp);
    between("restless over calm", restless[36] / restless[4], 2.0, 4.0);
}

#[test]
fn lows_are_treated_where_the_person_is_told_to() {
    let below = |mg_dl: f32| {
        let config = PersonConfig::LIFELIKE.treating_lows_at(Glucose::from_mg_dl(mg_dl).expect("in range"));
        let low = |seed: u64| {
            let mut person = Person::new(seed, config);
            (0..DAYS * 288).filter(|_| person.step(Span::from_mins(5)).plasma().mg_dl() < 70.0).count()
        };
        (0..6).map(low).sum::<usize>() as f64
    };
    between("time below 70, treated at 55 over treated at 78", below(55.0) / below(78.0), 2.0, 100.0);
}

#[test]
fn faults_come_as_often_as_asked_and_leave_the_noise_alone() {
    let model = SensorModel::CORRELATED;
    let (mut gone, mut spikes, mut pressed, mut night, mut all) = (0.0, 0.0, 0.0, 0.0, 0.0);
    for seed in 0..10 {
        let mut person = Person::new(seed, PersonConfig::DEFAULT);
        let mut clean = Sensor::new(seed, model);
        let mut faulty = Sensor::new(seed, model.with_faults(Faults::USUAL));
        for minute in 1..=DAYS * 1440 {
            let truth = person.step(Span::from_mins(1));
            clean.follow(&truth);
            faulty.follow(&truth);
            if minute % 5 != 0 {
                continue;
            }
            all += 1.0;
            let by_night = minute % 1440 < 360;
            night += f64::from(u8::from(by_night));
            let (clean, faulty) = (clean.read().expect("no gaps"), faulty.read());
            match faulty.map(|sample| sample.disturbance()) {
                None => gone += 1.0,
                Some(Disturbance::Spike) => spikes += 1.0,
                Some(Disturbance::Pressure) => pressed += f64::from(u8::from(by_night)),
                Some(_) => {
                    let shown = faulty.expect("there").reading().glucose().mg_dl();
                    let (low, high) = (0.95 * clean.reading().glucose().mg_dl() - 2.0, 400.0);
                    assert!((low..=high).contains(&shown));
                }
            }
        }
    }
    // a gap a day of 5 + 20 minutes on average
    between("gone, %", 100.0 * gone / all, 1.2, 2.3);
    between("spikes, %", 100.0 * spikes / all, 0.85, 1.15);
    // half the nights, 42 minutes and a tail of some 15, of 360
    between("under pressure by night, %", 100.0 * pressed / night, 5.0, 11.0);
}

#[test]
fn a_drifting_sensor_is_worst_on_its_first_day_and_a_meter_is_not() {
    let (mut first, mut later, mut stick) = ((0.0, 0.0), (0.0, 0.0), (0.0, 0.0));
    for seed in 0..60 {
        let mut person = Person::new(seed, PersonConfig::DEFAULT);
        let mut sensor = Sensor::new(seed, SensorModel::DRIFTING);
        let mut meter = Meter::new(seed, MeterModel::USUAL);
        for step in 0..5 * 96 {
            let truth = person.step(Span::from_mins(15));
            sensor.follow(&truth);
            let share = |value: f32| f64::from((value / truth.plasma().mg_dl() - 1.0).abs());
            let group = if step < 60 { &mut first } else { &mut later };
            group.0 += share(sensor.read().expect("no gaps").reading().glucose().mg_dl());
            group.1 += 1.0;
            stick.0 += share(meter.measure(&truth).glucose().mg_dl());
            stick.1 += 1.0;
        }
    }
    between("mean absolute relative difference later, %", 100.0 * later.0 / later.1, 7.0, 11.5);
    between("first hours over later", first.0 / first.1 * later.1 / later.0, 1.02, 2.0);
    between("meter, %", 100.0 * stick.0 / stick.1, 4.3, 5.6);
}

/// The same numbers on every target: change them only with the model.
#[cfg(not(feature = "micromath"))]
#[test]
fn a_seed_is_the_same_person_everywhere() {
    let fingerprint = |model: SensorModel| {
        let mut person = Person::new(2024, PersonConfig::DEFAULT);
        let mut sensor = Sensor::new(2024, model.with_faults(Faults::USUAL));
        let mut hash = 0x811c_9dc5_u32; // FNV-1a over the bits
        for _ in 0..2 * 288 {
            let truth = person.step(Span::from_mins(5));
            sensor.follow(&truth);
            let shown = sensor.read().map_or(0.0, |sample| sample.reading().glucose().mg_dl());
            for word in [truth.plasma().mg_dl(), truth.rate().mg_dl_per_min(), shown] {
                hash = (hash ^ word.to_bits()).wrapping_mul(0x0100_0193);
            }
        }
        hash
    };
    assert_eq!(
        [fingerprint(SensorModel::DRIFTING), fingerprint(SensorModel::SKEWED)],
        [1_154_756_535, 2_682_793_911]
    );
}
