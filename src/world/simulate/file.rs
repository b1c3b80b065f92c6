//! Configurations as a person writes them in a file: the name of a base, and what is to be otherwise. A key left out
//! is the base's; an unknown key is refused, and so is what the constructors refuse.

use super::gaussian::GaussianWorldConfig;
use super::meter::MeterModel;
use super::model::{Coloured, Faults, SensorModel};
use super::person::PersonConfig;
use super::routine::Life;
use crate::error::Error;
use crate::units::{Glucose, Instant};
use core::fmt;
use serde::de::value::MapAccessDeserializer;
use serde::de::{Deserialize, Deserializer, Error as _, MapAccess, Unexpected, Visitor};
use serde::ser::{Serialize, Serializer};

#[derive(Clone, Copy, PartialEq, Default, serde::Serialize, serde::Deserialize)]
#[serde(rename_all = "snake_case")]
enum Living {
    #[default]
    Smooth,
    Lifelike,
}

impl Living {
    const fn config(self) -> PersonConfig {
        match self {
            Self::Smooth => PersonConfig::DEFAULT,
            Self::Lifelike => PersonConfig::LIFELIKE,
        }
    }
}

#[derive(Default, serde::Serialize, serde::Deserialize)]
#[serde(default, deny_unknown_fields, rename = "PersonConfig")]
struct PersonFile {
    base: Living,
    start: Option<Instant>,
    routine: Option<bool>,
    wander: Option<f32>,
    resting_glucose: Option<Glucose>,
    treats_lows_at: Option<Glucose>,
}

impl PersonFile {
    fn of(config: &PersonConfig) -> Self {
        let PersonConfig { start, routine, wander, resting, life } = *config;
        let smooth = life == Life { treat_at: life.treat_at, ..Life::SMOOTH };
        Self {
            base: if smooth { Living::Smooth } else { Living::Lifelike },
            start: Some(start),
            routine: Some(routine),
            wander: Some(wander),
            resting_glucose: Some(resting),
            treats_lows_at: Some(life.treat_at),
        }
    }

    fn config(&self) -> Result<PersonConfig, Error> {
        let base = self.base.config();
        let config = base
            .with_start(self.start.unwrap_or(base.start))
            .with_variability(self.wander.unwrap_or(base.wander))?
            .with_resting_glucose(self.resting_glucose.unwrap_or(base.resting))?
            .treating_lows_at(self.treats_lows_at.unwrap_or(base.life.treat_at));
        Ok(if self.routine.unwrap_or(base.routine) { config } else { config.without_routine() })
    }
}

#[derive(Clone, Copy, PartialEq, Default, serde::Serialize, serde::Deserialize)]
#[serde(rename_all = "snake_case")]
enum Sensing {
    White,
    #[default]
    Correlated,
    Lifelike,
    Early,
    Skewed,
    Drifting,
}

impl Sensing {
    const fn model(self) -> SensorModel {
        match self {
            Self::White => SensorModel::WHITE,
            Self::Correlated => SensorModel::CORRELATED,
            Self::Lifelike => SensorModel::LIFELIKE,
            Self::Early => SensorModel::EARLY,
            Self::Skewed => SensorModel::SKEWED,
            Self::Drifting => SensorModel::DRIFTING,
        }
    }

    /// What a model was made from; whether it drifts is told beside.
    fn of(model: &SensorModel) -> Self {
        match model.coloured {
            Coloured::None => Self::White,
            Coloured::Skewed => Self::Skewed,
            coloured if coloured == SensorModel::LIFELIKE.coloured => Self::Lifelike,
            coloured if coloured == SensorModel::EARLY.coloured => Self::Early,
            Coloured::Wander { .. } => Self::Correlated,
        }
    }
}

#[derive(Default, serde::Serialize, serde::Deserialize)]
#[serde(default, deny_unknown_fields, rename = "SensorModel")]
struct SensorFile {
    base: Sensing,
    noise_scale: Option<f32>,
    drifts: Option<bool>,
    #[serde(skip_serializing_if = "Option::is_none")]
    lag_min: Option<f32>,
    smoothing_min: Option<f32>,
    lowest: Option<Glucose>,
    highest: Option<Glucose>,
    faults: Option<Faults>, // the last, as it may be a table
}

impl SensorFile {
    fn of(model: &SensorModel) -> Self {
        let SensorModel { noise_scale, drifts, faults, lag, low, high, smooths, .. } = *model;
        Self {
            base: Sensing::of(model),
            noise_scale: Some(noise_scale),
            drifts: Some(drifts),
            lag_min: lag,
            smoothing_min: Some(smooths),
            lowest: Some(Glucose::clamped(low)),
            highest: Some(Glucose::clamped(high)),
            faults: Some(faults),
        }
    }

    fn model(&self) -> Result<SensorModel, Error> {
        let base = self.base.model();
        let model = base
            .with_noise_scale(self.noise_scale.unwrap_or(base.noise_scale))?
            .with_drift(self.drifts.unwrap_or(base.drifts))
            .with_smoothing_min(self.smoothing_min.unwrap_or(base.smooths))?
            .with_range(
                self.lowest.unwrap_or(Glucose::clamped(base.low)),
                self.highest.unwrap_or(Glucose::clamped(base.high)),
            )?
            .with_faults(self.faults.unwrap_or(base.faults));
        self.lag_min.map_or(Ok(model), |minutes| model.with_lag_min(minutes))
    }
}

#[derive(Default, serde::Serialize, serde::Deserialize)]
#[serde(default, deny_unknown_fields, rename = "Faults")]
struct FaultsFile {
    gaps_per_day: f32,
    spike_probability: f32,
    pressure_per_night: f32,
}

struct NameOrTable;

impl<'de> Visitor<'de> for NameOrTable {
    type Value = Faults;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("\"none\", \"usual\", \"lifelike\", or a table")
    }

    fn visit_str<E: serde::de::Error>(self, name: &str) -> Result<Faults, E> {
        match name {
            "none" => Ok(Faults::NONE),
            "usual" => Ok(Faults::USUAL),
            "lifelike" => Ok(Faults::LIFELIKE),
            _ => Err(E::invalid_value(Unexpected::Str(name), &self)),
        }
    }

    fn visit_map<A: MapAccess<'de>>(self, map: A) -> Result<Faults, A::Error> {
        let file = FaultsFile::deserialize(MapAccessDeserializer::new(map))?;
        Faults::new(file.gaps_per_day, file.spike_probability, file.pressure_per_night)
            .map_err(A::Error::custom)
    }
}

impl Serialize for Faults {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        if *self == Self::LIFELIKE {
            return to.serialize_str("lifelike");
        }
        let Self { gaps_per_day, spike_probability, pressure_per_night, .. } = *self;
        FaultsFile { gaps_per_day, spike_probability, pressure_per_night }.serialize(to)
    }
}

impl<'de> Deserialize<'de> for Faults {
    fn deserialize<D: Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
        from.deserialize_any(NameOrTable)
    }
}

#[derive(serde::Serialize, serde::Deserialize)]
#[serde(default, deny_unknown_fields, rename = "MeterModel")]
struct MeterFile {
    floor_mg_dl: f32,
    percent: f32,
}

impl Default for MeterFile {
    fn default() -> Self {
        Self::of(&MeterModel::USUAL)
    }
}

impl MeterFile {
    const fn of(model: &MeterModel) -> Self {
        Self { floor_mg_dl: model.floor_mg_dl, percent: model.percent }
    }

    const fn model(&self) -> Result<MeterModel, Error> {
        MeterModel::new(self.floor_mg_dl, self.percent)
    }
}

#[derive(serde::Serialize, serde::Deserialize)]
#[serde(default, deny_unknown_fields, rename = "GaussianWorldConfig")]
struct WorldFile {
    mean_mg_dl: f32,
    sd_mg_dl: f32,
    rate_min: f32,
    reversion_min: f32,
}

impl Default for WorldFile {
    fn default() -> Self {
        Self::of(&GaussianWorldConfig::DEFAULT)
    }
}

impl WorldFile {
    const fn of(config: &GaussianWorldConfig) -> Self {
        let GaussianWorldConfig { mean, sd, fast_min, slow_min } = *config;
        Self { mean_mg_dl: mean, sd_mg_dl: sd, rate_min: fast_min, reversion_min: slow_min }
    }

    const fn config(&self) -> Result<GaussianWorldConfig, Error> {
        GaussianWorldConfig::new(self.mean_mg_dl, self.sd_mg_dl, self.rate_min, self.reversion_min)
    }
}

/// Written and read as a table that the type's own constructors check.
macro_rules! filed {
    ($($kind:ty: $file:ty, $made:ident;)*) => {$(
        impl Serialize for $kind {
            fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
                <$file>::of(self).serialize(to)
            }
        }

        impl<'de> Deserialize<'de> for $kind {
            fn deserialize<D: Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
                <$file>::deserialize(from)?.$made().map_err(D::Error::custom)
            }
        }
    )*};
}

filed! {
    PersonConfig: PersonFile, config;
    SensorModel: SensorFile, model;
    MeterModel: MeterFile, model;
    GaussianWorldConfig: WorldFile, config;
}
