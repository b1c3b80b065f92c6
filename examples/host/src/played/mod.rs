//! A trace of the desk played through the monitor of one sensor, or of two worn at once.

pub mod words;
pub mod written;

use glidepath::{Fingerstick, Instant, Monitor, PairMonitor, Reading, Settings, Side, Span};
pub use glidepath_replay::lows;
use glidepath_replay::walk::{self, Walk, Worn};
pub use glidepath_replay::walk::{Beside, Pricked, Sample, both};

use crate::failure::Failure;
use crate::progress::Progress;
use crate::table::{self, Trace};

/// A day of readings of each sensor, as on the wrist.
const READINGS: usize = 288;

/// What the monitor said, moment by moment.
pub struct Played {
    pub said: walk::Played,
    /// The sensor's noise as learned by the end, of one sensor; not a number when nothing was.
    pub noise_sd: f32,
    /// Its calibration; not numbers where no fingerstick was used.
    pub gain: f32,
    pub offset: f32,
}

/// Plays readings and fingersticks in order of time; whatever rings is acknowledged.
pub fn play(trace: &Trace, sticks: &[Fingerstick], settings: Settings) -> Result<Played, Failure> {
    let monitor = Monitor::<READINGS>::new(settings).map_err(refused)?;
    let Walk { worn: monitor, played: said, .. } = walked(monitor, trace, &[], sticks, |_, _, _| {});
    let noise_sd = if said.samples.len() > 1 { monitor.estimator().noise_sd() } else { f32::NAN };
    let used = said.pricked.iter().any(|pricked| pricked.used);
    let (gain, offset) = if used { monitor.gain_and_offset() } else { (f32::NAN, f32::NAN) };
    Ok(Played { said, noise_sd, gain, offset })
}

/// The same with a second sensor worn at once. One put on later begins with its warm-up, at the end of which its first
/// reading comes.
pub fn play_two(
    trace: &Trace,
    second: &Trace,
    sticks: &[Fingerstick],
    settings: Settings,
) -> Result<Played, Failure> {
    let monitor = PairMonitor::<READINGS>::new(settings, settings).map_err(refused)?;
    let warm_up = Span::from_secs(settings.quality.warm_up.secs().saturating_neg());
    let began = |monitor: &mut PairMonitor<READINGS>, side, first: Instant| {
        monitor.sensor_started(side, first.plus(warm_up));
    };
    let said = walked(monitor, trace, &second.readings, sticks, began).played;
    Ok(Played { said, noise_sd: f32::NAN, gain: f32::NAN, offset: f32::NAN })
}

fn refused(error: glidepath::Error) -> Failure {
    Failure::new(format!("the monitor's settings: {error}"))
}

/// Lives through readings of both sensors; `began` is told when one is put on while the other is worn.
fn walked<W: Worn>(
    worn: W,
    trace: &Trace,
    beside: &[Reading],
    sticks: &[Fingerstick],
    mut began: impl FnMut(&mut W, Side, Instant),
) -> Walk<W> {
    let length = trace.readings.len() + beside.len();
    let mut walk = Walk::new(worn, length);
    let later = later(&trace.readings, beside);
    let progress = Progress::new("replaying", length as u64);
    let (mut sticks, mut beside) = (sticks.iter().peekable(), beside.iter().peekable());
    let truth = trace.column(table::TRUTH).unwrap_or_default();
    let mut first = trace.readings.iter().zip(0_usize..).peekable();
    for n in 0..length {
        // of two at one moment the second first: what is compared with the truth then knows both
        let earlier =
            first.peek().is_none_or(|(own, _)| beside.peek().is_some_and(|other| other.at() <= own.at()));
        let (side, reading, truth) = if earlier {
            let Some(reading) = beside.next() else { break };
            (Side::Second, reading, f32::NAN)
        } else {
            let Some((reading, row)) = first.next() else { break };
            (Side::First, reading, truth.get(row).copied().unwrap_or(f32::NAN))
        };
        while let Some(stick) = sticks.next_if(|stick| stick.at() < reading.at()) {
            walk.fingerstick(stick);
        }
        if later == Some((side, reading.at())) {
            walk.until(reading.at(), &trace.clock);
            began(&mut walk.worn, side, reading.at());
        }
        walk.reading(side, reading, truth, &trace.clock);
        if n.is_multiple_of(4096) {
            progress.at(n as u64);
        }
    }
    sticks.for_each(|stick| walk.fingerstick(stick));
    walk
}

/// A sensor whose first reading comes so long after the other's was put on later: its first day counts as one.
const PUT_ON_LATER: Span = Span::from_hours(6);

/// Which of two sensors was put on later, and when its first reading came.
fn later(first: &[Reading], second: &[Reading]) -> Option<(Side, Instant)> {
    let (one, other) = (first.first()?.at(), second.first()?.at());
    if other.since(one) >= PUT_ON_LATER {
        Some((Side::Second, other))
    } else {
        (one.since(other) >= PUT_ON_LATER).then_some((Side::First, one))
    }
}
