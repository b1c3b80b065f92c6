//! What smoothers remember of the past.

use crate::error::{Error, in_range};
use crate::history::{History, Inserted};
use crate::reading::Reading;
use crate::units::{Glucose, Instant, Span};

/// The longest gap, minutes, that the methods with a memory of their own bridge.
pub(super) const LONGEST_GAP: f32 = 60.0;

/// Readings of the last so many seconds, at most `N` of them.
#[derive(Clone, Debug)]
pub(super) struct Window<const N: usize> {
    pub length: Span,
    readings: History<N>,
}

impl<const N: usize> Window<N> {
    /// A window of 1 minute to 6 hours; a reading exactly that old still counts.
    #[expect(clippy::cast_possible_truncation, reason = "at most 21,600")]
    pub fn new(minutes: f32) -> Result<Self, Error> {
        let minutes = in_range("window_min", minutes, 1.0, 360.0)?;
        Ok(Self { length: Span::from_secs((minutes * 60.0) as i32), readings: History::new() })
    }

    /// The same, but a reading exactly that old no longer counts.
    pub fn open(minutes: f32) -> Result<Self, Error> {
        let closed = Self::new(minutes)?;
        Ok(Self { length: Span::from_secs(closed.length.secs().saturating_sub(1)), ..closed })
    }

    /// Takes a reading; false if it is no newer than the last.
    pub fn push(&mut self, at: Instant, glucose: Glucose) -> bool {
        if self.readings.view().newest().is_some_and(|last| at <= last.at()) {
            return false;
        }
        self.readings.insert(&Reading::new(at, glucose)) == Inserted::Newest
    }

    /// The readings in the window: minutes before the newest (0 or less) and mg/dL.
    pub fn iter(&self) -> impl Iterator<Item = (f32, f32)> {
        let newest = self.readings.view().newest().map_or(Instant::from_secs(0), |last| last.at());
        let from = newest.plus(Span::from_secs(self.length.secs().saturating_neg()));
        self.readings.view().since(from).map(move |r| (r.at().since(newest).mins(), r.glucose().mg_dl()))
    }

    pub fn clear(&mut self) {
        self.readings.clear();
    }
}
