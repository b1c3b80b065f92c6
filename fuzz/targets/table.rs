//! Any bytes as the desk tool's table of readings: read in order and in range, or refused in one sentence.
#![no_main]

use glidepath_host::{args::InputArgs, table};
use libfuzzer_sys::fuzz_target;
use std::path::PathBuf;
use std::sync::LazyLock;

static FILE: LazyLock<PathBuf> = LazyLock::new(|| {
    let memory = PathBuf::from("/dev/shm");
    let folder = if memory.is_dir() { memory } else { std::env::temp_dir() };
    folder.join(format!("glidepath-fuzz-{}.csv", std::process::id()))
});

static ZONE: LazyLock<jiff::tz::TimeZone> =
    LazyLock::new(|| jiff::tz::TimeZone::get("Europe/Vienna").expect("bundled"));

fuzz_target!(|bytes: &[u8]| {
    std::fs::write(&*FILE, bytes).expect("written");
    let zoned = bytes.len() % 2 == 0;
    let args = InputArgs { zone: zoned.then(|| ZONE.clone()), ..Default::default() };
    match table::read_trace(&FILE, &args, &[table::TRUTH]) {
        Ok(trace) => {
            let readings = &trace.readings;
            assert!(readings.is_sorted_by(|a, b| a.at() < b.at()), "out of order");
            assert!(readings.iter().all(|r| r.glucose().mg_dl().is_finite()));
        }
        Err(failure) => {
            let sentence = failure.to_string();
            assert!(!sentence.is_empty() && !sentence.contains('\n'), "{sentence:?}");
        }
    }
    let _ = table::read_fingersticks(&FILE, &args);
});
