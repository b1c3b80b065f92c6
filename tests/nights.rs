//! Simulated nights under a known disturbance: how often pressure on the sensor is flagged in time, and how
//! often it is flagged when there is none.
//!
//! `cargo test --release --test nights -- --nocapture` prints the table; `GLIDEPATH_NIGHTS=1000` makes it longer.
//! The people, sensors and pressures are invented (`glidepath::simulate`): nothing here says how often the flag
//! is right on a person. The flag was fitted to recorded nights, whose readings are smoother than these and whose dips
//! begin at once (`glidepath fit --only pressure`); here it finds fewer.

use glidepath::quality::Verdict;
use glidepath::simulate::{Disturbance, Faults, Person, PersonConfig, Sensor, SensorModel};
use glidepath::{Instant, Monitor, Settings, Span};

/// In time: within this of the first reading that pressure has taken 5 % or more off.
const IN_TIME: Span = Span::from_mins(15);
/// What comes this soon after pressure is not counted as false: the sensor still recovers.
const AFTERMATH: Span = Span::from_mins(30);

#[derive(Clone, Copy, Debug, Default)]
struct Tally {
    days: f32,
    onsets: f32,
    in_time: f32,
    false_flags: f32,
    squared_error: f32,
    pressed: f32,
}

impl Tally {
    fn caught_percent(&self) -> f32 {
        100.0 * self.in_time / self.onsets
    }

    fn false_per_day(&self) -> f32 {
        self.false_flags / self.days
    }
}

/// Two weeks of one person, read every five minutes.
fn fortnight(seed: u64, model: SensorModel, tally: &mut Tally) {
    let mut person = Person::new(seed, PersonConfig::DEFAULT);
    let mut sensor = Sensor::new(seed, model);
    let mut monitor = Monitor::<1>::new(Settings::default()).expect("defaults are sound");
    monitor.set_utc_offset(Some(Span::ZERO)); // simulated days begin at midnight
    let (mut onset, mut pressed): (Option<Instant>, Option<Instant>) = (None, None);
    let (mut found, mut flagged) = (false, false);
    for _ in 0..14 * 288 {
        let mut truth = person.truth();
        for _ in 0..5 {
            truth = person.step(Span::from_mins(1));
            sensor.follow(&truth);
        }
        let Some(sample) = sensor.read() else { continue };
        let at = sample.reading().at();
        let view = monitor.push(&sample.reading());
        let flag = view.verdict() == Some(Verdict::Pressure);
        let calm = pressed.is_none_or(|last| at.since(last) > AFTERMATH);
        if sample.disturbance() == Disturbance::Pressure {
            if calm {
                (onset, found) = (Some(at), false);
                tally.onsets += 1.0;
            }
            if flag && !found && onset.is_some_and(|onset| at.since(onset) <= IN_TIME) {
                found = true;
                tally.in_time += 1.0;
            }
            pressed = Some(at);
            if let Some(estimate) = view.estimate() {
                let error = estimate.glucose().mg_dl() - truth.plasma().mg_dl();
                tally.squared_error += error * error;
                tally.pressed += 1.0;
            }
        } else if flag && !flagged && calm {
            tally.false_flags += 1.0;
        }
        flagged = flag;
    }
    tally.days += 14.0;
}

fn nights(model: SensorModel, faults: Faults, fortnights: u64) -> Tally {
    let mut tally = Tally::default();
    for seed in 1..=fortnights {
        fortnight(seed, model.with_faults(faults), &mut tally);
    }
    tally
}

#[test]
fn pressure_is_flagged_in_time_and_seldom_when_there_is_none() {
    let pressure = Faults::new(0.0, 0.0, 0.5).expect("sound");
    let asked = std::env::var("GLIDEPATH_NIGHTS").ok().map(|n| n.parse::<u64>().expect("a number of nights"));
    let quieter = SensorModel::CORRELATED.with_noise_scale(0.7).expect("sound");
    let all = [
        ("recent sensor", SensorModel::CORRELATED, pressure),
        ("recent, with gaps and spikes", SensorModel::CORRELATED, Faults::USUAL),
        ("recent, drifting", SensorModel::DRIFTING, pressure),
        ("recent, noise times 0.7", quieter, pressure),
        ("white noise", SensorModel::WHITE, pressure),
        ("early sensor", SensorModel::EARLY, pressure),
    ];
    for (name, model, faults) in all.into_iter().take(if asked.is_some() { all.len() } else { 1 }) {
        let tally = nights(model, faults, asked.map_or(40, |nights| nights.div_ceil(14)));
        println!(
            "{name}: {} onsets in {} nights, {:.1} % flagged within 15 min, {:.3} false flags a day, RMSE {:.1} mg/dL under pressure",
            tally.onsets,
            tally.days,
            tally.caught_percent(),
            tally.false_per_day(),
            (tally.squared_error / tally.pressed).sqrt()
        );
        if name == "recent sensor" {
            assert!(tally.caught_percent() >= 34.0);
            assert!(tally.false_per_day() <= 0.08);
        }
    }
}
