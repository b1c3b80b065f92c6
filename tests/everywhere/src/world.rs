//! The simulated world.

use crate::Hash;
use core::hint::black_box;
use glidepath::simulate::{
    Faults, GaussianWorld, GaussianWorldConfig, Meter, MeterModel, Person, PersonConfig, Random, Sensor,
    SensorModel,
};
use glidepath::{Error, Glucose, Instant, Span};

pub fn simulate(events: usize) -> Hash {
    let mut hash = Hash::new();
    if let Err(error) = all(&mut hash, events) {
        hash.put(error);
        hash.not_finite = u32::MAX; // nothing here should be refused
    }
    hash
}

fn all(hash: &mut Hash, events: usize) -> Result<(), Error> {
    let glucose = |mg_dl: f32| Glucose::from_mg_dl(black_box(mg_dl));
    let config = PersonConfig::default()
        .with_start(Instant::from_secs(black_box(1_790_000_000)))
        .with_variability(1.2)?
        .with_resting_glucose(glucose(120.0)?)?
        .treating_lows_at(glucose(65.0)?);
    let (mut led, mut own) =
        (Person::new(black_box(3), config), Person::new(black_box(4), config.without_routine()));
    hash.put((own.grams_per_unit(), own.drop_per_unit_mg_dl()));
    let model = SensorModel::SKEWED
        .with_faults(Faults::new(black_box(2.0), 0.02, 1.0)?)
        .with_drift(true)
        .with_noise_scale(1.1)?
        .with_lag_min(9.0)?
        .with_smoothing_min(2.0)?
        .with_range(glucose(40.0)?, glucose(400.0)?)?;
    hash.put((model.coloured_noise(), model.white_noise()));
    let lifelike = SensorModel::LIFELIKE.with_faults(Faults::LIFELIKE);
    let mut sensors = [model, SensorModel::WHITE, SensorModel::CORRELATED, SensorModel::EARLY, lifelike]
        .map(|m| Sensor::new(black_box(9), m));
    let mut meter = Meter::new(black_box(9), MeterModel::new(5.0, 4.0)?);
    let world = GaussianWorldConfig::new(black_box(150.0), 50.0, 30.0, 110.0)?;
    hash.put((world.mean_mg_dl(), world.sd_mg_dl()));
    hash.put((world.rate_min(), world.reversion_min()));
    let mut gaussian = GaussianWorld::new(black_box(5), world);
    let mut random = Random::new(black_box(6), 2);
    for step in 0..events {
        match step % 97 {
            20 => own.eat(50.0),
            25 => own.inject(5.0),
            60 => own.exercise(Span::from_mins(40), 0.6),
            90 => own.take_sugar(15.0),
            _ => {}
        }
        let (person, truth) = (own.step(Span::from_mins(5)), led.step(Span::from_mins(5)));
        for truth in [person, truth, gaussian.step(Span::from_mins(5)), own.truth(), gaussian.truth()] {
            hash.put((truth.at(), truth.plasma(), truth.rate()));
        }
        for sensor in &mut sensors {
            sensor.follow(&truth);
            let sample = sensor.read();
            hash.put(sample.map(|s| (s.reading().at(), s.reading().glucose(), s.disturbance() as u8)));
            hash.put((sensor.lag_min(), sensor.interstitial(), sensor.calibration()));
        }
        let stick = meter.measure(&truth);
        hash.put((stick.at(), stick.glucose()));
        hash.put((random.uniform(), random.between(-3.0, 4.0), random.normal()));
        hash.put((random.bits(), random.bernoulli(0.3)));
    }
    Ok(())
}
