//! Meter accuracy by ISO 15197.

use super::grid::{Zone, ZoneCounts};
use super::pair::Pair;
use super::parkes::Parkes;
use super::tally::Tally;

/// The two accuracy criteria of ISO 15197:2013 for a blood glucose meter against a better one, streaming.
/// 28 bytes.
///
/// At least 95 % of results within 15 mg/dL of a reference under 100, within 15 % of one at or above it; at
/// least 99 % in zones A and B of the type 1 consensus grid. The standard asks for 600 results, 200 for each
/// of three lots of strips, and every lot must pass: a home sample decides nothing.
///
/// Source: ISO 15197:2013, as tabulated in J. Diabetes Sci. Technol. (2015), doi:10.1177/1932296815580160.
///
/// Feature `defmt` gives `Format`.
///
/// # Examples
/// ```
/// use glidepath::accuracy::{Iso15197, Pair};
/// use glidepath::{Glucose, Instant};
/// let mg_dl = Glucose::from_mg_dl;
/// let pair = |meter, reference| Pair::new(Instant::from_secs(0), mg_dl(meter)?, mg_dl(reference)?);
/// assert!(Iso15197::within(&pair(84.0, 99.0)?));
/// assert!(!Iso15197::within(&pair(84.9, 100.0)?));
/// # Ok::<(), glidepath::Error>(())
/// ```
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Iso15197 {
    within: Tally,
    zones: ZoneCounts,
}

impl Iso15197 {
    /// Nothing yet.
    #[must_use]
    pub fn new() -> Self {
        Self::default()
    }

    /// Whether one result is within the limits, the bounds included. The meter is the pair's sensor.
    #[must_use]
    pub fn within(pair: &Pair) -> bool {
        if pair.reference().mg_dl() < 100.0 { pair.within_mg_dl(15.0) } else { pair.within_percent(15.0) }
    }

    /// Counts one result.
    pub fn push(&mut self, pair: &Pair) {
        self.within.push(Self::within(pair));
        self.zones.push(Parkes::Type1.zone(pair.reference(), pair.sensor()));
    }

    /// Results within the limits.
    #[must_use]
    pub const fn within_limits(&self) -> Tally {
        self.within
    }

    /// Results in zones A and B.
    #[must_use]
    pub fn in_zones_a_b(&self) -> Tally {
        let harmless = self.zones.count(Zone::A).saturating_add(self.zones.count(Zone::B));
        Tally::new(harmless, self.zones.total()).unwrap_or_default()
    }

    /// Whether both shares are reached; `None` without results.
    #[must_use]
    pub fn met(&self) -> Option<bool> {
        Some(reached(self.within, 95)? && reached(self.in_zones_a_b(), 99)?)
    }
}

/// In whole numbers: 570 of 600 is exactly 95 %.
fn reached(tally: Tally, percent: u64) -> Option<bool> {
    let needed = u64::from(tally.trials()).saturating_mul(percent);
    (tally.trials() > 0).then(|| u64::from(tally.hits()).saturating_mul(100) >= needed)
}
