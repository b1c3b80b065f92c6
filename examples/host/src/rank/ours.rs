//! This crate's own monitor, as shipped and with other settings.

use glidepath::alarm::AlarmSettings;
use glidepath::estimator::{Estimator, Model};
use glidepath::simulate::{GaussianWorldConfig, SensorModel};
use glidepath::{Fingerstick, Glucose, Monitor, Reading, Settings, Span};

use super::HORIZONS;
use super::method::{Entry, Method, Outlook};
use super::series::GAUSSIAN_LAG;

/// History plays no part in what is ranked.
type Small = Monitor<1>;

impl Method for Small {
    fn step(&mut self, reading: &Reading) -> Outlook {
        self.set_uptime(reading.at().secs());
        let view = self.push(reading);
        let value = reading.glucose().mg_dl();
        let Some(estimate) = view.estimate() else { return Outlook::held(value, 0.0) };
        // what the low-ahead signal is before it is low; then it says no more
        let chance = self.forecast().low_probability(self.timeline().now(), LOW, Span::from_mins(20));
        let at = |minutes: f32| view.predicted(Span::from_mins(minutes as i32));
        Outlook {
            now: estimate.glucose().mg_dl(),
            now_sd: Some(estimate.glucose_sd()),
            rate: estimate.rate().mg_dl_per_min(),
            ahead: HORIZONS.map(|minutes| at(minutes).map_or(value, |p| p.glucose().mg_dl())),
            ahead_30_sd: at(30.0).map(|p| p.sd()),
            half_widths: HORIZONS.map(|minutes| at(minutes).map(|p| [p.half_width_50(), p.half_width_95()])),
            direction: view.direction().map_or(0.0, |direction| direction.rate().mg_dl_per_min()),
            trend: Some(view.trend()),
            low_index: chance.map_or(value, index),
            low_probability: view.low_probability(),
        }
    }

    fn calibrate(&mut self, fingerstick: &Fingerstick) {
        self.set_uptime(fingerstick.at().secs());
        let _ = self.fingerstick(fingerstick);
    }
}

/// Level 1.
const LOW: Glucose = match Glucose::from_mg_dl(70.0) {
    Ok(low) => low,
    Err(_) => unreachable!(),
};

/// The low-ahead signal as an index of which lower is nearer to a low: its logit, 10 mg/dL each.
fn index(signal: f32) -> f32 {
    let signal = signal.clamp(1e-4, 1.0 - 1e-4);
    70.0 - 10.0 * (signal / (1.0 - signal)).ln()
}

/// The estimator without the monitor around it: no verdicts, no calibration. Ahead its rate fades, over so many
/// minutes.
struct Alone(Estimator, f32);

impl Method for Alone {
    fn step(&mut self, reading: &Reading) -> Outlook {
        let _ = self.0.observe(reading);
        let value = reading.glucose().mg_dl();
        let Some(estimate) = self.0.estimate(reading.at()) else { return Outlook::held(value, 0.0) };
        let (now, rate) = (estimate.glucose().mg_dl(), estimate.rate().mg_dl_per_min());
        let at = |minutes: f32| now + rate * self.1 * -(-minutes / self.1).exp_m1();
        Outlook {
            now_sd: Some(estimate.glucose_sd()),
            ahead: HORIZONS.map(at),
            low_index: now + ALARM_MIN * estimate.slow_rate().mg_dl_per_min(),
            ..Outlook::line(now, rate, 0.0)
        }
    }
}

/// The estimator alone looks so far ahead along its slow rate for an alarm.
const ALARM_MIN: f32 = 38.0;

fn alone(name: &str, model: Model, rate_time_min: f32) -> Entry {
    Entry::new(name, 42.0, move || Alone(Estimator::new(model), rate_time_min))
}

/// The monitor's low index is compared with this limit as shipped.
fn shipped_limit() -> f32 {
    index(AlarmSettings::default().low_ahead.limit.get())
}

fn entry(name: &str, settings: Settings) -> Entry {
    Entry::new(name, shipped_limit(), move || Small::new(settings).expect("settings in range"))
}

/// The monitor as shipped, and its estimator alone.
pub fn shipped() -> Vec<Entry> {
    vec![entry("glidepath", Settings::default()), alone("glidepath, estimator alone", Model::default(), 35.0)]
}

/// The monitor as shipped; told what noise this sensor has; and with one motion only, which makes it the plain
/// linear filter, with the constants in use for people and with those of the Gaussian world.
pub fn ours(sensor: &SensorModel) -> Vec<Entry> {
    let shipped = Settings::default();
    let with = |model: Model| shipped.with_model(model);
    let (sd, time) = sensor.coloured_noise();
    // whole numbers are shown: the noise of rounding is 1/12
    let white = sensor.white_noise().hypot((1.0_f32 / 12.0).sqrt());
    let span = |minutes: f32| Span::from_secs((minutes * 60.0).round() as i32);
    let told =
        |model: Model| model.with_coloured(sd, span(time)).and_then(|model| model.with_white_sd(white));
    let plain = Model::linear().with_lag(span(GAUSSIAN_LAG)).and_then(told).expect("in range");
    let told = shipped.model.with_lag(span(GAUSSIAN_LAG)).and_then(told).expect("in range");
    // a rate that fades at the sum of both of the world's paces, driven as the world is
    let world = GaussianWorldConfig::DEFAULT;
    let (a, b) = (1.0 / world.rate_min(), 1.0 / world.reversion_min());
    let drive = 2.0 * (a + b) * a * b * world.sd_mg_dl() * world.sd_mg_dl();
    let matched = plain.with_rate_time(span(1.0 / (a + b))).and_then(|model| model.with_process_noise(drive));
    let matched = matched.expect("in range");
    let mut entries = self::shipped();
    if told != shipped.model {
        entries.push(entry("glidepath, told the sensor's noise", with(told)).told());
    }
    entries.push(entry("glidepath, one motion", with(plain)).told());
    entries.push(alone("glidepath, estimator of the Gaussian world", matched, 1.0 / (a + b)).told());
    entries
}
