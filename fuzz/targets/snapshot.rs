//! Any bytes as a snapshot, and a true one with any bytes changed: refused, or a monitor that goes on.
#![no_main]

use glidepath::{Fingerstick, Glucose, Instant, Monitor, Reading, Settings, Span, snapshot};
use libfuzzer_sys::fuzz_target;
use std::sync::LazyLock;

const ROOM: usize = 12;
const HEADER: usize = 10;

/// A monitor that has lived a little.
static SAVED: LazyLock<Vec<u8>> = LazyLock::new(|| {
    let mut monitor = Monitor::<ROOM>::new(Settings::default()).expect("defaults");
    for k in 0..30_u32 {
        let at = Instant::from_secs(1_790_000_000 + 300 * k);
        let glucose = Glucose::from_mg_dl(90.0 + f32::from(k as u8 % 11) * 3.0).expect("in range");
        let _ = monitor.push(&Reading::new(at, glucose));
        if k % 12 == 7 {
            let _ = monitor.fingerstick(&Fingerstick::new(at, glucose));
        }
    }
    let mut buffer = vec![0; snapshot::bytes_needed(ROOM)];
    let length = snapshot::save(&mut monitor, &mut buffer).expect("room");
    buffer.truncate(length);
    buffer
});

fuzz_target!(|input: (Vec<(u16, u8)>, Vec<u8>)| {
    let (changes, bytes) = input;
    tried(&bytes);
    let mut changed = SAVED.clone();
    let end = changed.len() - 4;
    for (place, byte) in changes {
        changed[HEADER + usize::from(place) % (end - HEADER)] = byte;
    }
    let checksum = crc32(&changed[..end]).to_le_bytes();
    changed[end..].copy_from_slice(&checksum);
    tried(&changed);
});

/// Restored into a monitor that has lived: refused, and it is as it was, or one that goes on.
fn tried(bytes: &[u8]) {
    let mut monitor = Monitor::<ROOM>::new(Settings::default()).expect("defaults");
    snapshot::restore(&mut monitor, &SAVED).expect("whole");
    let saved = |monitor: &mut Monitor<ROOM>| {
        let mut buffer = [0; snapshot::bytes_needed(ROOM)];
        snapshot::save(monitor, &mut buffer).map(|length| buffer[..length].to_vec()).expect("room")
    };
    let before = saved(&mut monitor);
    match snapshot::restore(&mut monitor, bytes) {
        Ok(()) => goes_on(monitor),
        Err(_) => assert_eq!(saved(&mut monitor), before, "changed though refused"),
    }
}

/// With whatever it was told it was: no panic, and its history stays in order.
fn goes_on(mut monitor: Monitor<ROOM>) {
    let newest = monitor.history().newest().map_or(Instant::from_secs(0), |r| r.at());
    for k in 0..4 {
        let at = newest.plus(Span::from_mins(5 * k));
        let glucose = Glucose::from_mg_dl(60.0).expect("in range");
        let _ = monitor.push(&Reading::new(at, glucose));
        let _ = monitor.tick(at.plus(Span::from_mins(1)));
        let _ = monitor.fingerstick(&Fingerstick::new(at, glucose));
        monitor.smoothed().for_each(drop);
    }
    let history = monitor.history();
    assert!(history.iter().zip(history.iter().skip(1)).all(|(a, b)| a.at() < b.at()), "out of order");
    let mut buffer = [0; snapshot::bytes_needed(ROOM)];
    snapshot::save(&mut monitor, &mut buffer).expect("room for every state");
}

fn crc32(bytes: &[u8]) -> u32 {
    !bytes.iter().fold(u32::MAX, |crc, byte| {
        (0..8).fold(crc ^ u32::from(*byte), |crc, _| (crc >> 1) ^ (0xEDB8_8320 & (crc & 1).wrapping_neg()))
    })
}
