//! Which world is simulated: how people live and what their sensor is like.

use clap::{Args, ValueEnum};
use glidepath::simulate::{Faults, PersonConfig, SensorModel};

use crate::failure::Failure;

/// Kinds of sensor.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, ValueEnum)]
pub enum SensorName {
    /// Noise without memory
    White,
    /// A recent sensor with the statistics of recorded ones: it smooths what it shows
    #[default]
    Lifelike,
    /// A recent sensor: noise that remembers for 25 minutes, and some without memory
    Correlated,
    /// An early sensor: twice the noise, remembered for 36 minutes
    Early,
    /// An early sensor with skewed noise
    Skewed,
    /// A recent sensor whose gain and offset are off and wander, worst on the first day
    Drifting,
}

/// How people live.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, ValueEnum)]
pub enum LifeName {
    /// With the statistics of recorded people: see the table that `rank FOLDER` prints
    #[default]
    Lifelike,
    /// Smoother than people are: longer trends, slower lows
    Smooth,
}

#[derive(Args, Clone, Copy, Debug, Default)]
pub struct WorldArgs {
    /// How the simulated people live
    #[arg(long, value_enum, default_value_t, value_name = "KIND")]
    pub life: LifeName,

    /// The kind of sensor
    #[arg(long, value_enum, default_value_t, value_name = "KIND")]
    pub sensor: SensorName,

    /// Multiply the sensor's noise
    #[arg(long, value_name = "X", default_value_t = 1.0)]
    pub noise_scale: f32,

    /// With gaps, spikes and pressure on the sensor
    #[arg(long)]
    pub faults: bool,
}

impl WorldArgs {
    /// By the names that the command line knows.
    ///
    /// # Errors
    /// When a name is none of them.
    pub fn named(life: &str, sensor: &str, noise_scale: f32, faults: bool) -> Result<Self, Failure> {
        let life = name("life", life)?;
        Ok(Self { life, sensor: name("sensor", sensor)?, noise_scale, faults })
    }

    /// How people live.
    pub const fn person(&self) -> PersonConfig {
        match self.life {
            LifeName::Lifelike => PersonConfig::LIFELIKE,
            LifeName::Smooth => PersonConfig::DEFAULT,
        }
    }

    /// The sensor they wear.
    ///
    /// # Errors
    /// When the noise scale is out of range.
    pub fn sensor(&self) -> Result<SensorModel, Failure> {
        let model = match self.sensor {
            SensorName::Lifelike => SensorModel::LIFELIKE,
            SensorName::White => SensorModel::WHITE,
            SensorName::Correlated => SensorModel::CORRELATED,
            SensorName::Early => SensorModel::EARLY,
            SensorName::Skewed => SensorModel::SKEWED,
            SensorName::Drifting => SensorModel::DRIFTING,
        };
        let usual = if self.sensor == SensorName::Lifelike { Faults::LIFELIKE } else { Faults::USUAL };
        model
            .with_faults(if self.faults { usual } else { Faults::NONE })
            .with_noise_scale(self.noise_scale)
            .map_err(|error| Failure::new(format!("--noise-scale: {error}, expected 0 to 10")))
    }
}

fn name<T: ValueEnum>(what: &str, text: &str) -> Result<T, Failure> {
    let known = T::value_variants().iter().filter_map(ValueEnum::to_possible_value);
    let names: Vec<String> = known.map(|value| value.get_name().to_owned()).collect();
    T::from_str(text, false)
        .map_err(|_| Failure::new(format!("{what}: found {text:?}, expected one of {}", names.join(", "))))
}
