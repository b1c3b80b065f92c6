//! What is asked here of the monitor of one sensor, or of two, besides what the wrist asks.

use glidepath::{HistoryView, Instant, Monitor, PairMonitor, PairView, Side, SideView};
use wrist::app::{KEPT, PAIR_KEPT, PAIR_READINGS, READINGS};
use wrist::worn::Worn;

/// A monitor that is followed.
pub trait Sensors: Worn {
    /// The application's state never takes more bytes.
    const KEPT: usize;
    /// The most readings that are kept of a sensor.
    const READINGS: usize;

    /// Where the count stands, by the clock that stamps.
    fn stands(&self) -> Instant;
    /// The readings kept of one sensor.
    fn kept(&self, side: Side) -> HistoryView<'_>;
    /// What each of two sensors says by itself; none of one.
    fn each(answers: &Self::Answers) -> Option<[SideView; 2]>;
}

impl Sensors for Monitor<READINGS> {
    const KEPT: usize = KEPT;
    const READINGS: usize = READINGS;

    fn stands(&self) -> Instant {
        self.timeline().stamp_of(self.timeline().now())
    }

    fn kept(&self, _: Side) -> HistoryView<'_> {
        self.history()
    }

    fn each(_: &Self::Answers) -> Option<[SideView; 2]> {
        None
    }
}

impl Sensors for PairMonitor<PAIR_READINGS> {
    const KEPT: usize = PAIR_KEPT;
    const READINGS: usize = PAIR_READINGS;

    /// By the clock of the sensor that read last; one that never did has none.
    fn stands(&self) -> Instant {
        let now = self.clone().tick(None).fused().at();
        let newest = |side| self.history(side).newest().map(|reading| reading.at());
        newest(Side::First).max(newest(Side::Second)).map_or(now, |newest| newest.max(now))
    }

    fn kept(&self, side: Side) -> HistoryView<'_> {
        self.history(side)
    }

    fn each(answers: &PairView) -> Option<[SideView; 2]> {
        Some(Side::BOTH.map(|side| *answers.side(side)))
    }
}
