//! What the `defmt` feature is for: values go to a log as a few bytes, and are put into words on the desk.
#![cfg(feature = "defmt")]

use glidepath::{Error, Glucose, Instant, Rate, trend::Trend};
use std::cell::RefCell;

thread_local! {
    static FRAME: RefCell<Vec<u8>> = const { RefCell::new(Vec::new()) };
}

/// A logger that keeps the bytes of this thread's frames, not encoded.
#[defmt::global_logger]
struct Kept;

// SAFETY: each thread has its own bytes
#[allow(unsafe_code)]
unsafe impl defmt::Logger for Kept {
    fn acquire() {}
    unsafe fn flush() {}
    unsafe fn release() {}
    unsafe fn write(bytes: &[u8]) {
        FRAME.with_borrow_mut(|frame| frame.extend_from_slice(bytes));
    }
}

defmt::timestamp!("");

fn frame(log: impl FnOnce()) -> Vec<u8> {
    FRAME.take();
    log();
    FRAME.take()
}

#[test]
fn a_value_is_logged_as_its_bytes() {
    let glucose = Glucose::from_mg_dl(72.5).unwrap();
    let got = frame(|| defmt::error!("{}", glucose));
    assert!(got.len() <= 10 && got.ends_with(&72.5_f32.to_le_bytes()), "{got:?}");
    let rate = Rate::from_mg_dl_per_min(-1.5).unwrap();
    let got = frame(|| defmt::error!("{} {}", rate, Instant::from_secs(90_000)));
    assert!(got.ends_with(&90_000_u32.to_le_bytes()), "{got:?}");
    assert!(got.windows(4).any(|bytes| bytes == (-1.5_f32).to_le_bytes()), "{got:?}");
}

#[test]
fn words_and_errors_stay_on_the_desk() {
    // one byte or two say which of the variants it is; the names are in the program's file and not sent
    let got = frame(|| defmt::error!("{}", Trend::Steady));
    assert!(got.len() <= 8, "{got:?}");
    let refused: Error = Glucose::from_mg_dl(-1.0).unwrap_err();
    assert!(!frame(|| defmt::error!("{}", refused)).is_empty());
}
