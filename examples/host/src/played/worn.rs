//! What is worn: one sensor, or two at once.

use glidepath::alarm::Rings;
use glidepath::{
    Agreement, Fingerstick, Instant, Monitor, PairMonitor, PairView, Reading, Settings, Side, Span, View,
};

use super::sample::Pricked;
use crate::failure::Failure;

/// A day of readings of each, as on the wrist.
const READINGS: usize = 288;

/// The monitor of what is worn.
pub(super) enum Worn {
    One(Box<Monitor<READINGS>>),
    Two(Box<PairMonitor<READINGS>>),
}

/// What two sensors worn at once say beside what they say as one.
#[derive(Clone, Copy, Debug)]
pub struct Beside {
    /// Whose reading it was.
    pub side: Side,
    pub agreement: Agreement,
    /// The first one's weight, 0 to 1.
    pub first_weight: f32,
    /// How far each is taken to read above glucose, mg/dL.
    pub offsets: [f32; 2],
    /// What each will read in half an hour and its standard deviation, mg/dL; not a number when not known.
    pub predicted: [(f32, f32); 2],
}

impl Worn {
    pub fn new(settings: Settings, two: bool) -> Result<Self, Failure> {
        let failure = |error| Failure::new(format!("the monitor's settings: {error}"));
        Ok(if two {
            Self::Two(Box::new(PairMonitor::new(settings, settings).map_err(failure)?))
        } else {
            Self::One(Box::new(Monitor::new(settings).map_err(failure)?))
        })
    }

    pub fn run(&mut self, uptime_secs: u32) {
        match self {
            Self::One(monitor) => monitor.run(uptime_secs),
            Self::Two(monitor) => monitor.run(uptime_secs),
        }
    }

    pub fn push(&mut self, side: Side, reading: &Reading) -> (View, Option<Beside>) {
        match self {
            Self::One(monitor) => (monitor.push(reading), None),
            Self::Two(monitor) => {
                let view = monitor.push(side, reading);
                (*view.fused(), Some(Beside::of(side, &view)))
            }
        }
    }

    /// One of two sensors was put on while the other was worn: its first reading comes when its warm-up is over.
    pub fn begins(&mut self, side: Side, first: Instant, settings: &Settings) {
        if let Self::Two(monitor) = self {
            monitor.sensor_started(
                side,
                first.plus(Span::from_secs(settings.quality.warm_up.secs().saturating_neg())),
            );
        }
    }

    pub fn tick(&mut self, now: Instant) -> View {
        match self {
            Self::One(monitor) => monitor.tick(now),
            Self::Two(monitor) => *monitor.tick(now).fused(),
        }
    }

    /// Of two it is used if either took it in; what was expected is then that one's.
    pub fn fingerstick(&mut self, stick: &Fingerstick) -> Pricked {
        let outcome = match self {
            Self::One(monitor) => monitor.fingerstick(stick),
            Self::Two(monitor) => {
                let [first, second] = monitor.fingerstick(stick);
                if !first.is_used() && second.is_used() { second } else { first }
            }
        };
        let refused = (!outcome.is_used()).then(|| outcome.words());
        let expected = outcome.expected().map_or(f32::NAN, |expected| expected.glucose.mg_dl());
        Pricked { stick: *stick, expected, refused }
    }

    pub fn heard(&mut self, rings: Rings<'_>) {
        if !rings.is_empty() {
            match self {
                Self::One(monitor) => monitor.acknowledge(),
                Self::Two(monitor) => monitor.acknowledge(),
            }
        }
    }

    pub fn set_utc_offset(&mut self, offset: Option<Span>) {
        match self {
            Self::One(monitor) => monitor.set_utc_offset(offset),
            Self::Two(monitor) => monitor.set_utc_offset(offset),
        }
    }

    /// The noise and the calibration as learned by the end, of one sensor; not numbers where they are not known.
    pub fn learned(&self, readings: usize, pricked: &[Pricked]) -> (f32, (f32, f32)) {
        let Self::One(monitor) = self else { return (f32::NAN, (f32::NAN, f32::NAN)) };
        let noise = if readings > 1 { monitor.estimator().noise_sd() } else { f32::NAN };
        let used = pricked.iter().any(|pricked| pricked.refused.is_none());
        (noise, if used { monitor.gain_and_offset() } else { (f32::NAN, f32::NAN) })
    }
}

impl Beside {
    fn of(side: Side, view: &PairView) -> Self {
        let ahead = |side: Side| {
            let predicted = view.side(side).predicted(Span::from_mins(30));
            predicted.map_or((f32::NAN, f32::NAN), |p| (p.glucose().mg_dl(), p.sd()))
        };
        let [first, second] = Side::BOTH.map(|side| view.side(side));
        Self {
            side,
            agreement: view.agreement(),
            first_weight: first.weight,
            offsets: [first.offset, second.offset],
            predicted: Side::BOTH.map(ahead),
        }
    }
}
