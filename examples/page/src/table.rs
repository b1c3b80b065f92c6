//! What the page's script has read from a table: rows in order of time, and the wearer's clock.
//!
//! Text is the browser's part (`web/table.js`): reading it here would make the module half as large again.

use alloc::vec::Vec;

use glidepath::{Fingerstick, Glucose, Instant, MG_DL_PER_MMOL_L, Reading, Status};
use glidepath_replay::WallClock;

/// A unit of glucose.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Unit {
    #[default]
    MgDl,
    MmolL,
}

/// From an instant to the wearer's own clock: from each of these instants on it is so many seconds ahead; before the
/// first as from it on.
#[derive(Clone, Debug, Default)]
pub struct Clock(pub Vec<(i64, i64)>);

impl WallClock for Clock {
    fn wall(&self, instant: i64) -> i64 {
        let later = self.0.iter().take_while(|(from, _)| *from <= instant).count();
        instant + self.0.get(later.saturating_sub(1)).map_or(0, |(_, lead)| *lead)
    }
}

/// A trace.
#[derive(Clone, Debug, Default)]
pub struct Table {
    /// In order of time, one for each second at most.
    pub readings: Vec<Reading>,
    pub clock: Clock,
    /// The unit of the file; the readings are in mg/dL.
    pub unit: Unit,
    /// The usual interval, seconds; 300 when nothing tells.
    pub interval_s: u32,
}

/// What "low" and "high" stand for, mg/dL: the ends of the usual sensor range (common practice, no source).
const LOW_MG_DL: f32 = 40.0;
const HIGH_MG_DL: f32 = 400.0;

/// Readings from rows of three numbers: seconds since 1970, the value in `unit`, and -1 for "low", 1 for "high", 0 for
/// neither. `None` when a row is no reading or not later than the one before.
pub fn readings(rows: &[f64], unit: Unit) -> Option<Vec<Reading>> {
    let mut out: Vec<Reading> = Vec::with_capacity(rows.len() / 3);
    for row in rows.chunks(3) {
        let &[at, value, status] = row else { return None };
        let (glucose, status) = if status < 0.0 {
            (LOW_MG_DL, Status::BelowRange)
        } else if status > 0.0 {
            (HIGH_MG_DL, Status::AboveRange)
        } else {
            (in_mg_dl(value, unit), Status::Normal)
        };
        let at = instant(at)?;
        if out.last().is_some_and(|last| at <= last.at()) {
            return None;
        }
        out.push(Reading::new(at, Glucose::from_mg_dl(glucose).ok()?).with_status(status));
    }
    Some(out)
}

/// Fingersticks from rows of the same form.
pub fn fingersticks(rows: &[f64], unit: Unit) -> Option<Vec<Fingerstick>> {
    let readings = readings(rows, unit)?;
    Some(readings.iter().map(|reading| Fingerstick::new(reading.at(), reading.glucose())).collect())
}

/// The nearest 32-bit float to a short decimal is the nearest to its nearest 64-bit one: both could only differ for a
/// number within 2^-53 of the middle between two of them, which no glucose with up to nine decimals is.
fn in_mg_dl(value: f64, unit: Unit) -> f32 {
    match unit {
        Unit::MgDl => value as f32,
        Unit::MmolL => value as f32 * MG_DL_PER_MMOL_L,
    }
}

fn instant(at: f64) -> Option<Instant> {
    (0.0..=f64::from(u32::MAX)).contains(&at).then(|| Instant::from_secs(at as u32))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn rows_become_readings_or_all_are_refused() {
        let rows = [300.0, 112.0, 0.0, 600.0, f64::NAN, -1.0, 900.0, 0.0, 1.0];
        let got = readings(&rows, Unit::MgDl).unwrap();
        let got: Vec<_> = got.iter().map(|r| (r.at().secs(), r.glucose().mg_dl(), r.status())).collect();
        let want =
            [(300, 112.0, Status::Normal), (600, 40.0, Status::BelowRange), (900, 400.0, Status::AboveRange)];
        assert_eq!(got, want);
        for bad in [
            [300.0, f64::NAN, 0.0],
            [300.0, -1.0, 0.0],
            [-1.0, 100.0, 0.0],
            [f64::NAN, 100.0, 0.0],
            [5e9, 100.0, 0.0],
        ] {
            assert!(readings(&bad, Unit::MgDl).is_none(), "{bad:?}");
        }
        assert!(readings(&[300.0, 100.0, 0.0, 300.0, 101.0, 0.0], Unit::MgDl).is_none());
        assert!(readings(&[300.0, 100.0], Unit::MgDl).is_none());
        let mmol = readings(&[300.0, 5.6, 0.0], Unit::MmolL).unwrap();
        assert_eq!(mmol[0].glucose().mg_dl(), 5.6 * MG_DL_PER_MMOL_L);
        assert_eq!(fingersticks(&[300.0, 5.6, 0.0], Unit::MmolL).unwrap()[0].glucose(), mmol[0].glucose());
    }

    #[test]
    fn every_thousandth_is_the_nearest_float() {
        for thousandths in 0..2_000_000_u32 {
            let text = format!("{}.{:03}", thousandths / 1000, thousandths % 1000);
            let direct: f32 = text.parse().unwrap();
            assert_eq!(in_mg_dl(text.parse().unwrap(), Unit::MgDl).to_bits(), direct.to_bits(), "{text}");
        }
    }

    #[test]
    fn the_clock_leads_from_each_change_on() {
        let clock = Clock(vec![(1000, 3600), (2000, 7200)]);
        assert_eq!([0, 1000, 1999, 2000, 9000].map(|at| clock.lead(at)), [3600, 3600, 3600, 7200, 7200]);
        assert_eq!((Clock::default().lead(5), clock.wall(1000)), (0, 4600));
    }
}
