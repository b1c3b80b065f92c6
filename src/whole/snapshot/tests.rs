extern crate std;
use super::seal::{CHECKSUM, crc32};
use super::*;
use crate::monitor::Settings;
use crate::reading::{Fingerstick, Reading};
use crate::units::{Glucose, Instant};
use proptest::prelude::*;
use std::vec::Vec;

/// The check value of this CRC for the digits 1 to 9, as catalogues of checksums give it.
#[test]
fn the_checksum_is_the_usual_one() {
    assert_eq!(crc32(b"123456789"), 0xCBF4_3926);
}

/// Ups and downs, a night, gaps, a fall into a low; invented.
fn value(k: u32) -> f32 {
    let x = k as f32;
    let fall = if (200..240).contains(&k) { (x - 200.0) * 3.0 } else { 0.0 };
    130.0 + 50.0 * (x / 23.0).sin() + 4.0 * (x * 1.7).sin() - fall
}

fn reading(k: u32) -> Reading {
    Reading::new(Instant::from_secs(1_000_000 + k * 300), Glucose::clamped(value(k)))
}

fn step<const N: usize>(monitor: &mut Monitor<N>, k: u32) -> crate::View {
    if k % 90 == 40 {
        let stick = Fingerstick::new(reading(k).at(), Glucose::clamped(value(k) * 1.08));
        let _ = monitor.fingerstick(&stick);
    }
    if k == 215 {
        monitor.acknowledge();
    }
    if k % 50 > 45 { monitor.tick(reading(k).at()) } else { monitor.push(&reading(k)) }
}

fn load<const N: usize>(bytes: &[u8]) -> Result<Monitor<N>, SnapshotError> {
    // one that has lived: nothing of it may be left
    let mut monitor = Monitor::new(Settings::default()).unwrap();
    (0..3).for_each(|k| _ = step(&mut monitor, 190 + k));
    restore(&mut monitor, bytes).map(|()| monitor)
}

fn saved(monitor: &Monitor<288>) -> Vec<u8> {
    let (mut buffer, mut same) = ([0; bytes_needed(288)], monitor.clone());
    let length = save(&mut same, &mut buffer).unwrap();
    assert_eq!(std::format!("{same:?}"), std::format!("{monitor:?}"), "changed by saving");
    buffer[..length].to_vec()
}

fn after(readings: u32) -> Monitor<288> {
    let mut monitor = Monitor::new(Settings::default()).unwrap();
    (0..readings).for_each(|k| _ = step(&mut monitor, k));
    monitor
}

/// Power fails after each reading: the answers are those of a monitor that lost nothing but the time, bit for bit.
#[test]
fn goes_on_where_it_was_but_knows_no_age() {
    let mut steady = after(0);
    let mut cut = after(0);
    let mut longest = 0;
    let readings = if cfg!(miri) { 10 } else { 600 };
    for k in 0..readings {
        let bytes = saved(&cut);
        longest = longest.max(bytes.len());
        cut = load(&bytes).unwrap();
        steady.power_returned();
        assert_eq!(saved(&cut), saved(&steady), "{k}");
        assert_eq!(
            std::format!("{:?}", step(&mut cut, k)),
            std::format!("{:?}", step(&mut steady, k)),
            "{k}"
        );
        assert!(cut.history().iter().eq(steady.history().iter()));
    }
    std::println!("longest snapshot: {longest} bytes of {}", bytes_needed(288));
    assert!(longest <= bytes_needed(288));
}

#[test]
fn a_smaller_monitor_keeps_the_newest() {
    let whole = after(100);
    let small = load::<10>(&saved(&whole)).unwrap();
    let newest: Vec<_> = whole.history().iter().rev().take(10).collect();
    assert!(small.history().iter().rev().eq(newest));
}

#[test]
fn what_is_not_whole_is_refused() {
    let bytes = saved(&after(if cfg!(miri) { 3 } else { 60 }));
    for length in 0..bytes.len() {
        assert_eq!(load::<288>(&bytes[..length]).err(), Some(SnapshotError::Incomplete));
    }
    let mut longer = bytes.clone();
    longer.extend([0xFF; 7]);
    assert!(load::<288>(&longer).is_ok());
    let mut other = bytes.clone();
    other[4] += 1;
    assert_eq!(load::<288>(&other).err(), Some(SnapshotError::Version(VERSION + 1)));
    // a whole state with a byte too many
    let mut more = bytes[..bytes.len() - 4].to_vec();
    more.push(0);
    more[6..10].copy_from_slice(&u32::to_le_bytes(bytes.len() as u32 - 13));
    more.extend(crc32(&more).to_le_bytes());
    assert_eq!(load::<288>(&more).err(), Some(SnapshotError::State));
}

#[test]
fn errors_say_what_is_wrong() {
    let errors = [
        SnapshotError::BufferTooSmall,
        SnapshotError::Incomplete,
        SnapshotError::Version(2),
        SnapshotError::Checksum,
        SnapshotError::State,
    ];
    let words: std::collections::BTreeSet<_> = errors.map(|error| std::format!("{error}")).into();
    assert_eq!(words.len(), 5);
    assert!(words.contains("a damaged snapshot"), "{words:?}");
}

#[test]
fn a_small_buffer_is_refused() {
    let mut monitor = after(5);
    let length = saved(&monitor).len();
    let mut buffer = [0; 3000];
    for room in 0..length {
        assert_eq!(save(&mut monitor, &mut buffer[..room]), Err(SnapshotError::BufferTooSmall));
    }
    assert_eq!(save(&mut monitor, &mut buffer[..length]), Ok(length));
}

/// A state with the checksum that fits it.
fn sealed(state: &[u8]) -> Vec<u8> {
    let mut bytes = b"GPMS".to_vec();
    bytes.extend(VERSION.to_le_bytes());
    bytes.extend((state.len() as u32).to_le_bytes());
    bytes.extend(state);
    bytes.extend(crc32(&bytes).to_le_bytes());
    bytes
}

/// Every bit of a whole snapshot turned, one by one.
#[test]
fn every_single_bit_is_guarded() {
    let bytes = saved(&after(if cfg!(miri) { 1 } else { 20 }));
    let mut monitor = after(3);
    let before = std::format!("{monitor:?}");
    for bit in 0..8 * bytes.len() {
        let mut other = bytes.clone();
        other[bit / 8] ^= 1 << (bit % 8);
        assert!(restore(&mut monitor, &other).is_err(), "bit {bit}");
    }
    assert_eq!(std::format!("{monitor:?}"), before);
}

/// Any byte of the state replaced under a checksum that fits: refused and nothing changed, or taken in as a state that
/// comes back the same and goes on.
#[test]
fn a_forged_byte_is_refused_or_is_a_state() {
    let bytes = saved(&after(if cfg!(miri) { 1 } else { 60 }));
    let state = &bytes[HEADER..bytes.len() - CHECKSUM];
    let (mut refused, mut taken) = (0, 0);
    let mut untouched = after(3);
    let before = std::format!("{untouched:?}");
    for place in 0..state.len() {
        for byte in [0, 2, 0x7F, 0xFF] {
            let mut other = state.to_vec();
            other[place] = byte;
            let other = sealed(&other);
            let Ok(mut monitor) = load::<288>(&other) else {
                refused += 1;
                assert_eq!(restore(&mut untouched, &other), Err(SnapshotError::State));
                continue;
            };
            taken += 1;
            assert_eq!(
                load::<288>(&saved(&monitor)).map(|again| saved(&again)),
                Ok(saved(&monitor)),
                "{place}"
            );
            if taken % 16 == 0 {
                (60..64).for_each(|k| _ = step(&mut monitor, k));
                let times: Vec<_> = monitor.history().iter().map(|r| r.at()).collect();
                assert!(times.is_sorted_by(|a, b| a < b), "{place}");
            }
        }
    }
    assert_eq!(std::format!("{untouched:?}"), before, "changed though refused");
    std::println!("{refused} forged bytes refused, {taken} were a state");
    assert!(refused > 1000 && taken > 1000, "{refused} {taken}");
}

/// What a person set is not overwritten by what was set before.
#[test]
fn settings_stay_those_of_the_monitor() {
    use crate::alarm::{AlarmPlan, AlarmSettings, Kind};
    let mut settings = AlarmSettings::default();
    settings.low.limit = Glucose::from_mg_dl(82.0).unwrap();
    let plan = AlarmPlan::new(settings).unwrap();
    let mut monitor = Monitor::<288>::new(Settings { alarms: plan, ..Settings::default() }).unwrap();
    monitor.set_utc_offset(Some(crate::units::Span::from_hours(1)));
    restore(&mut monitor, &saved(&after(40))).unwrap();
    assert_eq!(monitor.alarms().plan(), &plan);
    let view = monitor.push(&Reading::new(reading(60).at(), Glucose::clamped(80.0)));
    assert!(view.alarms().get(Kind::Low).is_some());
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(if cfg!(miri) { 4 } else { 512 }))]
    #[test]
    fn a_changed_byte_is_noticed(place in any::<prop::sample::Index>(), flip in 1_u8..) {
        let mut bytes = saved(&after(20));
        let place = place.index(bytes.len());
        bytes[place] ^= flip;
        prop_assert!(load::<288>(&bytes).is_err());
    }

    /// A checksum that fits garbage must not bring a panic.
    #[test]
    fn garbage_with_a_fitting_checksum_is_refused_or_taken_whole(state in prop::collection::vec(any::<u8>(), 0..4000)) {
        let _ = load::<16>(&sealed(&state));
    }
}

/// A snapshot written by this version long ago. When it no longer loads, the state's layout has changed:
/// raise [`VERSION`], and write the file anew with `GLIDEPATH_BLESS=1`.
#[test]
#[cfg_attr(miri, ignore)]
fn an_old_snapshot_of_this_version_still_loads() {
    let path = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/snapshot.bin");
    if std::env::var_os("GLIDEPATH_BLESS").is_some() {
        std::fs::write(&path, saved(&after(60))).unwrap();
    }
    let kept = std::fs::read(&path).unwrap();
    let monitor = load::<288>(&kept).expect("the layout has changed: raise VERSION");
    let mut same = after(60);
    same.power_returned();
    // the file was written with `libm`'s bits
    assert!(cfg!(feature = "micromath") || saved(&monitor) == saved(&same));
    assert_eq!(monitor.history().len(), 56);
    assert_eq!(monitor.history().newest().unwrap().at(), reading(59).at());
}

/// Whole snapshots that versions 1 to 3 wrote.
#[test]
fn a_snapshot_of_an_older_version_is_refused_by_name() {
    let kept: [&[u8]; 3] = [
        include_bytes!("../../../tests/snapshot_1.bin"),
        include_bytes!("../../../tests/snapshot_2.bin"),
        include_bytes!("../../../tests/snapshot_3.bin"),
    ];
    for (version, kept) in (1..).zip(kept) {
        assert_eq!(load::<288>(kept).err(), Some(SnapshotError::Version(version)));
    }
}

/// Switched on again after nobody knows how long: nothing is present, silence is counted from now and rings, and the
/// next reading is present again.
#[test]
fn a_restored_monitor_shows_nothing_as_present_and_counts_silence_anew() {
    let mut whole = Monitor::<288>::new(Settings::default()).unwrap();
    for k in 0..40 {
        whole.set_uptime(1000 + k * 300);
        let _ = whole.push(&reading(k));
    }
    assert!(whole.tick(None).shown().is_some());
    let mut monitor = load::<288>(&saved(&whole)).unwrap();
    let mut first = None;
    for minute in 0..60 {
        monitor.set_uptime(minute * 60);
        // a clock on the wall that says that no time has passed
        let view = monitor.tick(reading(39).at());
        assert!(view.shown().is_none() && view.age().is_none() && !view.is_monitoring(), "{minute}");
        if view.rings().iter().any(|ring| ring.kind == crate::alarm::Kind::NoData) {
            first = first.or(Some(minute));
        }
    }
    assert_eq!(first, Some(20));
    monitor.set_uptime(3600);
    let view = monitor.push(&reading(60));
    assert!(view.shown().is_some_and(|shown| shown.age == crate::units::Span::ZERO));
}
