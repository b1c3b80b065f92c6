//! What the monitor as shipped rings on recorded people, played minute by minute, each ring acknowledged.

use glidepath::Settings;
use glidepath::alarm::{Cause, Kind};

use super::RingRow;
use super::tally::add;
use crate::failure::Failure;
use crate::people::Person;
use crate::played::{Detail, Traces};
use crate::table::Trace;

const HOUR_S: u32 = 3600;

/// How often each kind rang: all rings, those of the night, alarms that began, those of them without a low after.
#[derive(Clone, Copy, Default)]
pub struct Rung([[f64; 4]; Kind::COUNT]);

impl Rung {
    pub fn of(person: &Person) -> Result<Self, Failure> {
        let trace =
            Trace { readings: person.readings.clone(), clock: person.clock.clone(), ..Trace::default() };
        let traces = Traces { first: &trace, second: None, sticks: &[] };
        let played = traces.play(Settings::default(), Detail::Verdicts)?;
        let mut rung = Self::default();
        for rang in &played.said.rings {
            let [rings, nightly, begun, without] = &mut rung.0[rang.kind as usize];
            *rings += 1.0;
            *nightly += f64::from(u8::from(person.rings_by_night(rang.at.secs())));
            if rang.cause == Cause::New {
                *begun += 1.0;
                let from = person.readings.partition_point(|reading| reading.at() < rang.at);
                let mut hour_after = person.readings[from.saturating_sub(1)..]
                    .iter()
                    .take_while(|reading| reading.at().secs() <= rang.at.secs().saturating_add(HOUR_S));
                *without += f64::from(u8::from(!hour_after.any(|reading| reading.glucose().mg_dl() < 70.0)));
            }
        }
        Ok(rung)
    }

    pub fn add(&mut self, other: &Self) {
        add(&mut self.0, &other.0);
    }

    pub fn rows(&self, days: f64) -> Vec<RingRow> {
        let a_day = |count: f64| count / days.max(1e-9);
        let kinds = Kind::ALL.into_iter().zip(self.0).filter(|(_, [rings, ..])| *rings > 0.0);
        kinds
            .map(|(kind, [rings, nightly, begun, without])| RingRow {
                kind: kind.name(),
                rings_per_day: a_day(rings),
                rings_per_night: a_day(nightly),
                alarms_per_day: a_day(begun),
                without_low_in_an_hour: (kind.info().warns_of_low && begun > 0.0).then(|| without / begun),
            })
            .collect()
    }
}
