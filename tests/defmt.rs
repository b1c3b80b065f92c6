//! What the `defmt` feature is for: values go to a log as a few bytes, and are put into words on the desk.
#![cfg(feature = "defmt")]

use glidepath::{
    Error, Glucose, Instant, Monitor, PairMonitor, Rate, Reading, Settings, Side, TrendMonitor, alarm::Kind,
    trend::Trend,
};
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

#[test]
fn answers_are_logged_with_all_their_values() {
    let mut monitor = Monitor::<24>::new(Settings::default()).unwrap();
    let mut pair = PairMonitor::<24>::new(Settings::default(), Settings::default()).unwrap();
    let mut small = TrendMonitor::default();
    let at = |k: u32| {
        Reading::new(Instant::from_secs(300 * k), Glucose::from_mg_dl(130.5 - 3.0 * k as f32).unwrap())
    };
    for k in 0..20 {
        let _ = (monitor.push(&at(k)), pair.push(Side::First, &at(k)), pair.push(Side::Second, &at(k)));
        let _ = small.push(&at(k));
    }
    let has = |frame: &[u8], value: f32| frame.windows(4).any(|bytes| bytes == value.to_le_bytes());
    let view = monitor.push(&at(20));
    let got = frame(|| defmt::error!("{}", view));
    assert!(got.len() < 600, "{} bytes", got.len());
    let ring = view.alarms().get(Kind::LowAhead).expect("it falls to 70").ring;
    for value in [
        view.estimate().unwrap().glucose().mg_dl(),
        view.direction().unwrap().sd(),
        view.newest().unwrap().1.mg_dl(),
        view.low_probability().unwrap(),
        view.low_ahead_signal().unwrap(),
        view.calibration_sd().unwrap(),
        view.direction().unwrap().rate().mg_dl_per_min(),
    ] {
        assert!(has(&got, value), "{value} is not in {got:?}");
    }
    assert!(got.windows(4).any(|bytes| bytes == ring.at.secs().to_le_bytes()));
    // another moment, another frame
    assert_ne!(frame(|| defmt::error!("{}", monitor.tick(Instant::from_secs(6_060)))), got);

    let view = pair.push(Side::Second, &at(20));
    let got = frame(|| defmt::error!("{}", view));
    assert!(has(&got, view.fused().estimate().unwrap().glucose().mg_dl()));
    for side in Side::BOTH {
        let own = view.side(side);
        assert!(has(&got, own.offset) && has(&got, own.weight) && has(&got, own.newest.unwrap().1.mg_dl()));
    }
    let view = small.push(&at(20));
    let got = frame(|| defmt::error!("{}", view));
    assert!(has(&got, view.shown().unwrap().glucose.mg_dl()) && has(&got, view.low_ahead().unwrap().get()));
}
