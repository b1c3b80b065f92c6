//! Which sensor is simulated.

use clap::{Args, ValueEnum};
use glidepath::simulate::{Faults, SensorModel};

use crate::failure::Failure;

/// Kinds of sensor.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, ValueEnum)]
pub enum SensorName {
    /// Noise without memory
    White,
    /// A recent sensor: noise that remembers for 25 minutes
    #[default]
    Correlated,
    /// An early sensor: twice the noise, remembered for 36 minutes
    Early,
    /// An early sensor with skewed noise
    Skewed,
    /// A recent sensor whose gain and offset are off and wander, worst on the first day
    Drifting,
}

#[derive(Args, Clone, Copy, Debug)]
pub struct SensorArgs {
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

impl SensorArgs {
    /// The model meant.
    ///
    /// # Errors
    /// When the noise scale is out of range.
    pub fn model(&self) -> Result<SensorModel, Failure> {
        let model = match self.sensor {
            SensorName::White => SensorModel::WHITE,
            SensorName::Correlated => SensorModel::CORRELATED,
            SensorName::Early => SensorModel::EARLY,
            SensorName::Skewed => SensorModel::SKEWED,
            SensorName::Drifting => SensorModel::DRIFTING,
        };
        model
            .with_faults(if self.faults { Faults::USUAL } else { Faults::NONE })
            .with_noise_scale(self.noise_scale)
            .map_err(|error| Failure::new(format!("--noise-scale: {error}, expected 0 to 10")))
    }
}
