//! The newest state in flash, whatever moment the power fails at.
//!
//! Two maps of `sequential-storage` take the states in turn, each with its number, so that while one is written
//! or erased the newest state before lies in the other, untouched. What was written is read back. Pages are used
//! in turn, so that wear spreads. An erase that is cut short may leave any bits: a map alone could then give an
//! older state for the newest one.

use core::future::Future;
use core::ops::Range;
use core::pin::pin;
use core::task::{Context, Poll, Waker};
use embedded_storage_async::nor_flash::NorFlash;
use sequential_storage::cache::{Cache, Uncached};
use sequential_storage::map::{MapConfig, MapStorage, SerializationError, Value};

/// The only key.
const STATE: u8 = 0;
/// Room for the key, the number, and for rounding to words.
const EXTRA: usize = 64;
/// The buffer that a [`Store`] of the states of one sensor works with.
pub type Buffer = [u8; crate::app::KEPT + EXTRA];
/// The same of two sensors.
pub type PairBuffer = [u8; crate::app::PAIR_KEPT + EXTRA];

/// An empty buffer.
#[must_use]
pub const fn buffer() -> Buffer {
    [0; crate::app::KEPT + EXTRA]
}

/// The same of two sensors.
#[must_use]
pub const fn pair_buffer() -> PairBuffer {
    [0; crate::app::PAIR_KEPT + EXTRA]
}

/// A state and its number: the higher, the newer.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Numbered<'a> {
    number: u32,
    state: &'a [u8],
}

impl<'a> Value<'a> for Numbered<'a> {
    fn serialize_into(&self, buffer: &mut [u8]) -> Result<usize, SerializationError> {
        let (number, rest) = buffer.split_first_chunk_mut().ok_or(SerializationError::BufferTooSmall)?;
        *number = self.number.to_le_bytes();
        let state = rest.get_mut(..self.state.len()).ok_or(SerializationError::BufferTooSmall)?;
        state.copy_from_slice(self.state);
        Ok(4 + self.state.len())
    }

    fn deserialize_from(buffer: &'a [u8]) -> Result<(Self, usize), SerializationError> {
        let (number, state) = buffer.split_first_chunk().ok_or(SerializationError::InvalidFormat)?;
        Ok((Self { number: u32::from_le_bytes(*number), state }, buffer.len()))
    }
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Side {
    First,
    Second,
}

/// The states kept in a range of a flash chip.
pub struct Store<F: NorFlash> {
    flash: F,
    range: Range<u32>,
    /// Where the newest state is, and its number.
    newest: Option<(Side, u32)>,
}

type Map<'f, F> = MapStorage<u8, &'f mut F, Cache<Uncached, Uncached, Uncached, u8>>;

impl<F: NorFlash> Store<F> {
    /// Looks for the newest state. None when `range` is not made of two halves of at least two whole pages each.
    pub fn open(flash: F, range: Range<u32>, buffer: &mut [u8]) -> Option<Self> {
        let mut store = Self { flash, range, newest: None };
        store.map(Side::First)?;
        store.map(Side::Second)?;
        let mut number = |side| store.read(side, buffer).map(|kept| (side, kept.number));
        let (first, second) = (number(Side::First), number(Side::Second));
        store.newest = match (first, second) {
            (Some((_, a)), Some((_, b))) if b > a => second,
            (None, _) => second,
            _ => first,
        };
        Some(store)
    }

    /// The newest whole state; none on a fresh or unreadable chip.
    pub fn newest<'b>(&mut self, buffer: &'b mut [u8]) -> Option<&'b [u8]> {
        let (side, _) = self.newest?;
        self.read(side, buffer).map(|kept| kept.state)
    }

    /// Keeps a state. Whether it can be read back; the one before it is still there otherwise.
    pub fn keep(&mut self, state: &[u8], buffer: &mut [u8]) -> bool {
        let (side, number) = match self.newest {
            Some((Side::First, number)) => (Side::Second, number.wrapping_add(1)),
            Some((Side::Second, number)) => (Side::First, number.wrapping_add(1)),
            None => (Side::First, 0),
        };
        let kept = Numbered { number, state };
        let written = self.write(side, kept, buffer) || {
            // this half holds something else, or is worn: nothing in it is needed
            let erased = self.map(side).and_then(|mut map| now(map.erase_all()));
            matches!(erased, Some(Ok(()))) && self.write(side, kept, buffer)
        };
        if written {
            self.newest = Some((side, number));
        }
        written
    }

    /// The chip.
    pub fn flash(&mut self) -> &mut F {
        &mut self.flash
    }

    fn map(&mut self, side: Side) -> Option<Map<'_, F>> {
        let Range { start, end } = self.range;
        let middle = start + end.checked_sub(start)? / 2;
        let half = match side {
            Side::First => start..middle,
            Side::Second => middle..end,
        };
        Some(MapStorage::new(&mut self.flash, MapConfig::try_new(half).ok()?, Cache::new_uncached()))
    }

    fn read<'b>(&mut self, side: Side, buffer: &'b mut [u8]) -> Option<Numbered<'b>> {
        now(self.map(side)?.fetch_item(buffer, &STATE))?.ok()?
    }

    fn write(&mut self, side: Side, kept: Numbered<'_>, buffer: &mut [u8]) -> bool {
        let stored = self.map(side).and_then(|mut map| now(map.store_item(buffer, &STATE, &kept)));
        matches!(stored, Some(Ok(()))) && self.read(side, buffer) == Some(kept)
    }
}

/// The outcome of a future that waits for nothing: a flash chip here is written while the processor waits.
fn now<T>(future: impl Future<Output = T>) -> Option<T> {
    match pin!(future).poll(&mut Context::from_waker(Waker::noop())) {
        Poll::Ready(outcome) => Some(outcome),
        Poll::Pending => None,
    }
}
