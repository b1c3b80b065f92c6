//! This crate's own monitor, as shipped and with other settings.

use glidepath::alarm::AlarmSettings;
use glidepath::estimator::{Estimator, Model};
use glidepath::forecast::{Forecast, ForecastConfig};
use glidepath::simulate::{GaussianWorldConfig, SensorModel};
use glidepath::{Fingerstick, Monitor, Reading, Settings, Span};

use super::HORIZONS;
use super::method::{Entry, Method, Outlook};
use super::series::GAUSSIAN_LAG;

/// History plays no part in what is ranked.
type Small = Monitor<1>;

impl Method for Small {
    fn step(&mut self, reading: &Reading) -> Outlook {
        let view = self.push(reading);
        let value = reading.glucose().mg_dl();
        let Some(estimate) = view.estimate() else { return Outlook::held(value, 0.0) };
        let at = |minutes: f32| self.forecast().at(&estimate, Span::from_mins(minutes as i32));
        Outlook {
            now: estimate.glucose().mg_dl(),
            now_sd: Some(estimate.glucose_sd()),
            rate: estimate.rate().mg_dl_per_min(),
            ahead: HORIZONS.map(|minutes| at(minutes).glucose().mg_dl()),
            ahead_30_sd: Some(at(30.0).sd()),
            low_index: view.low_ahead_index().unwrap_or(value),
            low_probability: view.low_probability(),
        }
    }

    fn calibrate(&mut self, fingerstick: &Fingerstick) {
        let _ = self.tick(fingerstick.at());
        let _ = self.fingerstick(fingerstick);
    }
}

/// The estimator and a forecast without the monitor around them: no verdicts, no calibration.
struct Alone(Estimator, Forecast);

impl Method for Alone {
    fn step(&mut self, reading: &Reading) -> Outlook {
        let _ = self.0.observe(reading);
        let value = reading.glucose().mg_dl();
        let Some(estimate) = self.0.estimate(reading.at()) else { return Outlook::held(value, 0.0) };
        self.1.learn(&estimate);
        let at = |minutes: f32| self.1.at(&estimate, Span::from_mins(minutes as i32));
        Outlook {
            now: estimate.glucose().mg_dl(),
            now_sd: Some(estimate.glucose_sd()),
            rate: estimate.rate().mg_dl_per_min(),
            ahead: HORIZONS.map(|minutes| at(minutes).glucose().mg_dl()),
            ahead_30_sd: Some(at(30.0).sd()),
            low_index: self.1.low_ahead_index(&estimate),
            low_probability: None,
        }
    }
}

fn alone(name: &str, model: Model, forecast: ForecastConfig) -> Entry {
    Entry::new(name, shipped_limit(), move || Alone(Estimator::new(model), Forecast::new(forecast)))
}

/// The monitor's low index is compared with this limit as shipped.
fn shipped_limit() -> f32 {
    AlarmSettings::default().low_ahead.limit
}

fn entry(name: &str, settings: Settings) -> Entry {
    Entry::new(name, shipped_limit(), move || Small::new(settings).expect("settings in range"))
}

/// The monitor as shipped; told what noise this sensor has; and with one motion only, which makes it the plain
/// linear filter, with the constants in use for people and with those of the Gaussian world.
pub fn ours(sensor: &SensorModel) -> Vec<Entry> {
    let shipped = Settings::default();
    let with = |model: Model| Settings { model, ..shipped };
    let (sd, time) = sensor.coloured_noise();
    let white = sensor.white_noise().max(0.1);
    let told = shipped.model.with_sensor(GAUSSIAN_LAG, sd, time, white).expect("in range");
    let plain = Model::new(GAUSSIAN_LAG, 35.0, 0.04, sd, time, white).expect("in range");
    // a rate that fades at the sum of both of the world's paces, driven as the world is
    let world = GaussianWorldConfig::DEFAULT;
    let (a, b) = (1.0 / world.rate_min(), 1.0 / world.reversion_min());
    let drive = 2.0 * (a + b) * a * b * world.sd_mg_dl() * world.sd_mg_dl();
    let matched = Model::new(GAUSSIAN_LAG, 1.0 / (a + b), drive, sd, time, white).expect("in range");
    let mut entries = vec![
        entry("glidepath", shipped),
        alone(
            "glidepath, estimator alone",
            Model::default(),
            ForecastConfig::linear(35.0, 0.04).expect("in range"),
        ),
    ];
    if told != shipped.model {
        entries.push(entry("glidepath, told the sensor's noise", with(told)));
    }
    entries.push(entry("glidepath, one motion", with(plain)));
    let usual = ForecastConfig::default();
    entries.push(alone("glidepath, estimator of the Gaussian world", matched, usual));
    entries
}
