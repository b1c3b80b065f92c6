//! The place for a method of your own.
//!
//! Write a closure that takes a reading and returns an [`Outlook`], or a type that implements [`Method`](super::method::Method)
//! if it also uses fingersticks, and name it in [`own`]; `glidepath rank` then ranks it beside the others:
//!
//! ```text
//! pub fn own() -> Vec<Entry> {
//!     vec![Entry::new("half the change, 20 min of it", 70.0, || {
//!         let mut last: Option<Reading> = None;
//!         move |reading: &Reading| {
//!             let before = last.replace(*reading).unwrap_or(*reading);
//!             let minutes = reading.at().since(before.at()).mins().max(1.0);
//!             let now = reading.glucose().mg_dl();
//!             Outlook::line(now, 0.5 * (now - before.glucose().mg_dl()) / minutes, 20.0)
//!         }
//!     })]
//! }
//! ```
//!
//! `Entry::new` takes its name, the low index at which it alarms, and what makes a fresh one. `Outlook::line` and
//! `Outlook::held` fill in what a method without a model of its own has no opinion on.

use super::method::Entry;

/// Your methods.
pub fn own() -> Vec<Entry> {
    Vec::new()
}

#[cfg(test)]
mod tests {
    use super::super::method::Outlook;
    use super::super::series::{Setting, person};
    use super::super::tally;
    use super::*;
    use glidepath::Reading;
    use glidepath::simulate::{PersonConfig, SensorModel};

    #[test]
    fn the_example_above_works() {
        let own = Entry::new("half the change, 20 min of it", 70.0, || {
            let mut last: Option<Reading> = None;
            move |reading: &Reading| {
                let before = last.replace(*reading).unwrap_or(*reading);
                let minutes = reading.at().since(before.at()).mins().max(1.0);
                let now = reading.glucose().mg_dl();
                Outlook::line(now, 0.5 * (now - before.glucose().mg_dl()) / minutes, 20.0)
            }
        });
        let setting = Setting {
            person: PersonConfig::DEFAULT,
            sensor: SensorModel::WHITE,
            days: 2,
            interval: 5,
            fingersticks_per_day: 0,
        };
        let tallies = tally::tally("", &[own], 2, |n| person(n as u64, &setting));
        let error = tallies[0].score.now.rms().unwrap();
        assert!((4.0..15.0).contains(&error), "{error}");
    }
}
