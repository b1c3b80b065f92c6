//! What is timed: each work goes through the same readings and gives its last answer, so that all that do the same
//! can be held against each other.

mod estimator;
mod general;
mod own;
// the library's private files that its filter step needs
#[allow(dead_code)]
#[path = "../../src/ground/codec.rs"]
mod codec;
#[allow(dead_code)]
#[path = "../../src/ground/error.rs"]
mod error;
#[allow(dead_code)]
#[path = "../../src/ground/math.rs"]
mod math;
#[allow(dead_code)]
#[path = "../../src/ground/units/mod.rs"]
mod units;

use glidepath::Span;
use glidepath::simulate::{Person, PersonConfig, Sensor, SensorModel};

/// The last state, and variances if there are any.
pub type Answer = Vec<f32>;

/// One way to do some work.
pub struct Work {
    pub name: &'static str,
    pub run: fn(&[f32]) -> Answer,
}

/// Works of one title answer the same.
pub struct Group {
    pub title: &'static str,
    /// The first is this crate's.
    pub works: &'static [Work],
}

macro_rules! works {
    ($($name:literal $run:path),* $(,)?) => { &[$(Work { name: $name, run: $run }),*] };
}

/// All that is timed.
pub static GROUPS: &[Group] = &[
    Group {
        title: "one step of a four-state Kalman filter, one scalar measurement",
        works: works![
            "glidepath, the filter alone" estimator::run,
            "minikalman" general::minikalman,
            "adskalman" general::adskalman,
            "nalgebra, written out" general::nalgebra,
        ],
    },
    Group {
        title: "first-order low pass",
        works: works![
            "glidepath (any spacing)" own::exponential,
            "biquad (one spacing)" general::biquad,
            "idsp (one spacing)" general::idsp,
        ],
    },
    Group { title: "estimator, one motion", works: works!["glidepath" own::one_motion] },
    Group { title: "estimator, as shipped", works: works!["glidepath" own::people] },
    Group { title: "monitor push, everything", works: works!["glidepath" own::push] },
    Group { title: "forecast: value, probability, time to a low", works: works!["glidepath" own::forecast] },
    Group { title: "double exponential", works: works!["glidepath" own::holt] },
    Group { title: "moving average", works: works!["glidepath" own::average] },
    Group { title: "moving median", works: works!["glidepath" own::median] },
    Group { title: "Savitzky-Golay end point", works: works!["glidepath" own::savitzky_golay] },
    Group { title: "two-state Kalman filter", works: works!["glidepath" own::two_states] },
    Group { title: "history insert", works: works!["glidepath" own::history] },
    Group { title: "Bluetooth CGM measurement, decoded", works: works!["glidepath" own::decode] },
    Group { title: "review push", works: works!["glidepath" own::review] },
];

/// A month of readings every five minutes: simulated, seed 3.
pub fn readings(count: usize) -> Vec<f32> {
    let mut person = Person::new(3, PersonConfig::default());
    let mut sensor = Sensor::new(3, SensorModel::CORRELATED);
    let samples = std::iter::repeat_with(|| {
        sensor.follow(&person.step(Span::from_mins(5)));
        sensor.read()
    });
    samples.flatten().map(|sample| sample.reading().glucose().mg_dl()).take(count).collect()
}

/// Whether two answers are the same to four digits, as far as both go.
pub fn agree(one: &Answer, other: &Answer) -> bool {
    one.len() == other.len() && one.iter().zip(other).all(|(a, b)| (a - b).abs() <= 1e-4 * a.abs().max(1.0))
}
