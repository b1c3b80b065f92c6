//! `rank`: every method on the same readings, against the truth; and a method of your own among them.
//!
//! A method is a closure or a type that implements [`Method`]: it sees one reading after the other and says where glucose is and
//! where it goes. [`on`] ranks methods on people, whose traces [`people::read`](crate::people::read) reads from folders, or
//! who are made of readings; [`program`] is the whole command line of `rank` with your methods among the others:
//! `examples/own_smoother.rs` is such a program, to be copied into a crate of your own.
//!
//! ```
//! use glidepath::simulate::{Person as Invented, PersonConfig, Sensor, SensorModel};
//! use glidepath::{Reading, Span};
//! use glidepath_host::people::{Person, Set};
//! use glidepath_host::rank::{self, Entry, Method, Outlook};
//!
//! /// Half of each change goes on for 20 minutes.
//! #[derive(Default)]
//! struct HalfTheChange {
//!     last: Option<Reading>,
//! }
//!
//! impl Method for HalfTheChange {
//!     fn step(&mut self, reading: &Reading) -> Outlook {
//!         let before = self.last.replace(*reading).unwrap_or(*reading);
//!         let minutes = reading.at().since(before.at()).mins().max(1.0);
//!         let now = reading.glucose().mg_dl();
//!         // now, the rate, and how far ahead alarms look
//!         Outlook::line(now, 0.5 * (now - before.glucose().mg_dl()) / minutes, 20.0)
//!     }
//! }
//!
//! // four days of an invented person; `people::read(&["traces".into()])?` takes yours
//! let mut person = Invented::new(1, PersonConfig::LIFELIKE);
//! let mut sensor = Sensor::new(1, SensorModel::LIFELIKE);
//! let mut readings = Vec::new();
//! for minute in 1..=4 * 1440 {
//!     sensor.follow(&person.step(Span::from_mins(1)));
//!     if minute % 5 == 0 {
//!         readings.extend(sensor.read().map(|sample| sample.reading()));
//!     }
//! }
//! let set = Set::new("invented", vec![Person::new("one", readings, Vec::new())]);
//!
//! // rings at a low index of 70 mg/dL; ranked beside ours and the usual ones
//! let mine = Entry::new("half the change", 70.0, HalfTheChange::default);
//! let ranked = rank::on(&[set], &rank::beside(vec![mine]))?;
//! let all = ranked.all().expect("a set");
//! let [mine, ours] = ["half the change", "glidepath"].map(|name| all.method(name).expect("ranked"));
//! // [1]: in 30 minutes, over holding the last reading
//! assert!(ours.ahead[1].rmse_over_holding < mine.ahead[1].rmse_over_holding);
//! println!("{ranked}");
//! # Ok::<(), glidepath_host::Failure>(())
//! ```
//!
//! Tune on some people and report others, or the rank is of your memory.

mod bound;
mod command;
mod head;
mod likeness;
mod linear;
mod lows;
mod method;
mod ours;
mod ranking;
pub mod recorded;
mod report;
mod score;
mod series;
mod sheet;
mod sticks;
mod tally;

use std::process::ExitCode;

use clap::Parser;

pub(crate) use command::{Args, run};
pub use lows::by_limit;
pub use method::{Entry, Method, Outlook, beside};
pub use ranking::{Invented, Ranking, on_invented};
pub use recorded::on;
pub use report::rows;

/// How far ahead predictions are scored, minutes.
pub const HORIZONS: [f32; 4] = [15.0, 30.0, 45.0, 60.0];

/// The first seed of the people that methods are tested on. Whatever is tuned is tuned on people of smaller seeds.
const FIRST_TEST_SEED: u64 = 1_000_000;

/// The command line of a program that ranks its own methods.
#[derive(Parser)]
#[command(version, max_term_width = 100)]
struct Alone {
    #[command(flatten)]
    args: Args,
}

/// Does what `glidepath rank` does, with your `own` methods among the others: takes this program's command line, prints the
/// tables or JSON, writes the sheet. Gives the code to end with.
pub fn program(own: Vec<Entry>) -> ExitCode {
    crate::ended(run(&Alone::parse().args, own))
}
