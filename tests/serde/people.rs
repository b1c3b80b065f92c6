//! Configurations of simulated people, sensors and meters in a file.

use crate::hostile::drive;
use glidepath::simulate::{Faults, GaussianWorldConfig, MeterModel, PersonConfig, SensorModel};
use glidepath::{Error, Glucose, Instant};
use serde::de::DeserializeOwned;
use serde::{Deserialize, Serialize};
use serde_json::{Value, json};
use std::fmt::Debug;

fn mg_dl(glucose: f32) -> Glucose {
    Glucose::from_mg_dl(glucose).unwrap()
}

/// All that a simulated person needs, as an application keeps it.
#[derive(Debug, PartialEq, Default, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
struct World {
    person: PersonConfig,
    sensor: SensorModel,
    meter: MeterModel,
    gaussian: GaussianWorldConfig,
}

fn people() -> Vec<PersonConfig> {
    let changed = |config: PersonConfig| {
        let config =
            config.with_start(Instant::from_secs(86_399)).without_routine().with_variability(0.3).unwrap();
        config.with_resting_glucose(mg_dl(99.5)).unwrap().treating_lows_at(mg_dl(71.3))
    };
    let bases = [PersonConfig::DEFAULT, PersonConfig::LIFELIKE];
    bases.into_iter().chain(bases.map(changed)).collect()
}

fn sensors() -> Vec<SensorModel> {
    let bases = [
        SensorModel::WHITE,
        SensorModel::CORRELATED,
        SensorModel::LIFELIKE,
        SensorModel::EARLY,
        SensorModel::SKEWED,
        SensorModel::DRIFTING,
    ];
    let faults = [Faults::NONE, Faults::USUAL, Faults::LIFELIKE, Faults::new(7.5, 0.02, 0.9).unwrap()];
    let mut all = bases.to_vec();
    for (base, faults) in bases.into_iter().zip(faults.into_iter().cycle()) {
        let changed = base.with_faults(faults).with_noise_scale(1.7).unwrap().with_lag_min(9.25).unwrap();
        let changed = changed.with_smoothing_min(2.5).unwrap().with_drift(base != SensorModel::DRIFTING);
        all.push(changed.with_range(mg_dl(54.0), mg_dl(333.3)).unwrap());
        all.push(base.with_faults(faults).with_range(mg_dl(0.0), mg_dl(2000.0)).unwrap());
    }
    all
}

fn comes_back<T: Serialize + DeserializeOwned + PartialEq + Debug>(value: &T) {
    let file = toml::to_string(value).unwrap();
    assert_eq!(&toml::from_str::<T>(&file).unwrap(), value, "{file}");
    let json = serde_json::to_string(value).unwrap();
    assert_eq!(&serde_json::from_str::<T>(&json).unwrap(), value, "{json}");
}

#[test]
fn configurations_come_back_as_they_were_written() {
    people().iter().for_each(comes_back);
    sensors().iter().for_each(comes_back);
    for meter in [MeterModel::USUAL, MeterModel::PERFECT, MeterModel::new(7.65, 7.65).unwrap()] {
        comes_back(&meter);
    }
    for config in [GaussianWorldConfig::DEFAULT, GaussianWorldConfig::new(140.0, 33.3, 21.0, 77.0).unwrap()] {
        comes_back(&config);
    }
    comes_back(&World::default());
    let all = World {
        person: people()[3],
        sensor: *sensors().last().unwrap(),
        meter: MeterModel::PERFECT,
        gaussian: GaussianWorldConfig::new(140.0, 33.3, 21.0, 77.0).unwrap(),
    };
    comes_back(&all);
}

#[test]
fn a_key_left_out_is_the_base_s() {
    let read = |text: &str| toml::from_str::<World>(text).unwrap();
    assert_eq!(read(""), World::default());
    assert_eq!(World::default().sensor, SensorModel::CORRELATED);
    assert_eq!(World::default().meter, MeterModel::USUAL);
    let world = read(
        "person = { base = \"lifelike\", treats_lows_at = \"3.9 mmol/L\" }\nsensor.base = \"drifting\"\n\
         sensor.faults = { gaps_per_day = 2 }\nmeter.percent = 4\ngaussian.sd_mg_dl = 40\n",
    );
    let treated = PersonConfig::LIFELIKE.treating_lows_at(Glucose::from_mmol_l(3.9).unwrap());
    assert_eq!(world.person, treated);
    assert_eq!(world.sensor, SensorModel::DRIFTING.with_faults(Faults::new(2.0, 0.0, 0.0).unwrap()));
    assert_eq!(world.meter, MeterModel::new(5.0, 4.0).unwrap());
    assert_eq!(world.gaussian, GaussianWorldConfig::new(150.0, 40.0, 35.0, 120.0).unwrap());
    for (name, faults) in [("none", Faults::NONE), ("usual", Faults::USUAL), ("lifelike", Faults::LIFELIKE)] {
        assert_eq!(
            read(&format!("sensor.faults = \"{name}\"")).sensor,
            SensorModel::CORRELATED.with_faults(faults)
        );
    }
    let still = read("sensor = { base = \"drifting\", drifts = false }").sensor;
    assert_eq!(still, SensorModel::CORRELATED);
}

#[test]
fn a_refusal_names_the_place_the_value_and_the_range() {
    for (text, says) in [
        ("person.wander = 3.1", "person: wander: 3.1 is outside 0 to 3"),
        ("person.wander = nan", "person: wander: not a finite number"),
        ("person.resting_glucose = 69", "person: resting_glucose: 69 is outside 70 to 200"),
        ("person.resting_glucose = \"5.5\"", "person.resting_glucose: invalid value: string \"5.5\""),
        ("person.treats_lows_at = -1", "person.treats_lows_at: glucose: -1 is outside 0 to 2000"),
        ("person.base = \"rough\"", "person.base: unknown variant `rough`"),
        ("person.life = {}", "person.life: unknown field `life`"),
        ("person.start = -5", "person.start: invalid value"),
        ("person.routine = 1", "person.routine: invalid type"),
        ("sensor.noise_scale = 11", "sensor: noise_scale: 11 is outside 0 to 10"),
        ("sensor.lag_min = 0.5", "sensor: lag_min: 0.5 is outside 1 to 30"),
        ("sensor.smoothing_min = -1", "sensor: smoothing_min: -1 is outside 0 to 30"),
        ("sensor.lowest = 400", "sensor: range: at odds with another setting"),
        ("sensor.highest = 40", "sensor: range: at odds with another setting"),
        ("sensor.base = \"good\"", "sensor.base: unknown variant `good`"),
        (
            "sensor.faults = \"many\"",
            "sensor.faults: invalid value: string \"many\", expected \"none\", \"usual\"",
        ),
        ("sensor.faults = 3", "sensor.faults: invalid type: integer `3`"),
        ("sensor.faults.gaps_per_day = 101", "sensor.faults: gaps_per_day: 101 is outside 0 to 100"),
        ("sensor.faults.spike_probability = 1.01", "spike_probability: 1.01 is outside 0 to 1"),
        ("sensor.faults.pressure_per_night = -0.1", "pressure_per_night: -0.1 is outside 0 to 1"),
        ("sensor.faults.gaps = 1", "sensor.faults.gaps: unknown field `gaps`"),
        ("sensor.faults.gaps_per_day = true", "sensor.faults.gaps_per_day: invalid type: boolean"),
        ("meter.floor_mg_dl = 101", "meter: floor_mg_dl: 101 is outside 0 to 100"),
        ("meter.percent = 51", "meter: percent: 51 is outside 0 to 50"),
        ("meter.share = 0.06", "meter.share: unknown field `share`"),
        ("gaussian.mean_mg_dl = 1001", "gaussian: mean_mg_dl: 1001 is outside 0 to 1000"),
        ("gaussian.rate_min = 110", "gaussian: reversion_min: 120 is outside"),
        ("gaussian.slow = 1", "gaussian.slow: unknown field `slow`"),
        ("wind = 1", "wind: unknown field `wind`"),
    ] {
        let read: Result<World, _> =
            serde_path_to_error::deserialize(toml::Deserializer::parse(text).unwrap());
        let error = read.expect_err(text);
        let said = format!("{}: {}", error.path(), error.inner().message());
        assert!(said.contains(says), "{text}: {said}");
    }
}

/// The same by the public constructors alone, from what is written of it.
fn rebuilt(world: &World) -> Result<World, Error> {
    let file = serde_json::to_value(world).unwrap();
    let at = |pointer: &str| file.pointer(pointer).cloned().unwrap_or(Value::Null);
    let number = |pointer: &str| at(pointer).as_f64().unwrap_or(f64::NAN) as f32;
    let glucose = |pointer: &str| Glucose::from_mg_dl(number(pointer));

    let base = if at("/person/base") == "smooth" { PersonConfig::DEFAULT } else { PersonConfig::LIFELIKE };
    let start = Instant::from_secs(u32::try_from(at("/person/start").as_u64().unwrap()).unwrap());
    let person = base.with_start(start).with_variability(number("/person/wander"))?;
    let person = person.with_resting_glucose(glucose("/person/resting_glucose")?)?;
    let person = person.treating_lows_at(glucose("/person/treats_lows_at")?);
    let person = if at("/person/routine") == true { person } else { person.without_routine() };

    let bases = [
        ("white", SensorModel::WHITE),
        ("correlated", SensorModel::CORRELATED),
        ("lifelike", SensorModel::LIFELIKE),
        ("early", SensorModel::EARLY),
        ("skewed", SensorModel::SKEWED),
    ];
    let (_, base) = bases.into_iter().find(|(name, _)| at("/sensor/base") == *name).unwrap();
    let faults = if at("/sensor/faults") == "lifelike" {
        Faults::LIFELIKE
    } else {
        let fault = |key: &str| number(&format!("/sensor/faults/{key}"));
        Faults::new(fault("gaps_per_day"), fault("spike_probability"), fault("pressure_per_night"))?
    };
    let sensor = base.with_noise_scale(number("/sensor/noise_scale"))?.with_faults(faults);
    let sensor = sensor.with_drift(at("/sensor/drifts") == true);
    let sensor = sensor.with_smoothing_min(number("/sensor/smoothing_min"))?;
    let sensor = sensor.with_range(glucose("/sensor/lowest")?, glucose("/sensor/highest")?)?;
    let lag = number("/sensor/lag_min");
    let sensor = if at("/sensor/lag_min").is_null() { sensor } else { sensor.with_lag_min(lag)? };

    let meter = MeterModel::new(number("/meter/floor_mg_dl"), number("/meter/percent"))?;
    let gaussian = GaussianWorldConfig::new(
        number("/gaussian/mean_mg_dl"),
        number("/gaussian/sd_mg_dl"),
        number("/gaussian/rate_min"),
        number("/gaussian/reversion_min"),
    )?;
    Ok(World { person, sensor, meter, gaussian })
}

#[test]
fn no_hostile_value_at_any_leaf_gets_past_the_constructors() {
    let whole = |sensor: SensorModel, person: PersonConfig| World { person, sensor, ..World::default() };
    let (people, sensors) = (people(), sensors());
    for (sensor, person) in sensors.into_iter().zip(people.into_iter().cycle()) {
        let leaves = drive(&whole(sensor, person), rebuilt);
        assert!((19..=23).contains(&leaves), "{leaves} leaves");
    }
    // a name that is not one of the bases' is in no hostile list
    for name in ["Smooth", "default", "LIFELIKE", " smooth"] {
        assert!(serde_json::from_value::<PersonConfig>(json!({ "base": name })).is_err(), "{name}");
        assert!(serde_json::from_value::<SensorModel>(json!({ "base": name })).is_err(), "{name}");
    }
}
