//! Ranks a smoother of your own beside those of the library, with everything that `glidepath rank` can do.
//!
//! ```sh
//! cargo run --release -p glidepath-host --example own_smoother -- FOLDER --out sheet   # on your own traces
//! cargo run --release -p glidepath-host --example own_smoother                         # on simulated people
//! ```
//!
//! In a crate of your own: `cargo add --path glidepath` and `cargo add --path glidepath/examples/host`, and this file as
//! `src/main.rs`.

use std::process::ExitCode;

use glidepath::Reading;
use glidepath_host::rank::{self, Entry, Method, Outlook};

/// A level that follows half of each surprise and is carried on by half of the last step.
#[derive(Default)]
struct HalfStep {
    /// When, the level and its slope a minute.
    last: Option<(glidepath::Instant, f32, f32)>,
}

impl Method for HalfStep {
    fn step(&mut self, reading: &Reading) -> Outlook {
        let (at, value) = (reading.at(), reading.glucose().mg_dl());
        let (level, slope) = match self.last {
            Some((then, level, slope)) if at > then => {
                let minutes = at.since(then).mins();
                let expected = level + 0.5 * slope * minutes;
                let next = expected + 0.5 * (value - expected);
                (next, (next - level) / minutes) // real times: any interval will do
            }
            Some((_, level, slope)) => (level, slope), // not newer: the same answer
            None => (value, 0.0),
        };
        self.last = Some((at, level, slope));
        // the level goes on in a straight line; alarms look 30 minutes ahead
        Outlook::line(level, slope, 30.0)
    }
}

fn main() -> ExitCode {
    let raw_slower = || {
        let mut last: Option<Reading> = None;
        // a closure is a method, too
        move |reading: &Reading| {
            let before = last.replace(*reading).unwrap_or(*reading);
            let minutes = reading.at().since(before.at()).mins().max(1.0);
            let now = reading.glucose().mg_dl();
            Outlook::line(now, 0.5 * (now - before.glucose().mg_dl()) / minutes, 20.0)
        }
    };
    rank::program(vec![
        Entry::new("half step", 70.0, HalfStep::default), // rings at a low index of 70 mg/dL
        Entry::new("half the change", 70.0, raw_slower),
    ])
}
