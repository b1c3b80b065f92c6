extern crate std;
use super::super::seal::crc32;
use super::*;
use crate::Monitor;
use crate::alarm::{AlarmPlan, AlarmSettings, Kind, Priority, Slot, Weekdays};
use crate::calibration::Drift;
use crate::estimator::Model;
use crate::forecast::ForecastConfig;
use crate::quality::QualityConfig;
use crate::trend::Bands;
use crate::units::{Glucose, Probability, Rate, Span};
use proptest::prelude::*;
use std::vec::Vec;

/// Settings that differ from the defaults everywhere.
fn changed() -> Settings {
    let (mins, rate) = (Span::from_mins, Rate::clamped);
    let mut day = AlarmSettings::default();
    day.low.limit = Glucose::clamped(71.5);
    day.low_ahead.limit = Probability::clamped(0.25);
    day.no_data.limit = Span::from_secs(1501);
    day.steep_rise.on = true;
    day.doubt.priority = Priority::High;
    (day.recovering, day.pressure_hold) = (rate(0.9), mins(11));
    let mut night = day;
    night.high.on = false;
    night.wear_end.limit = Span::from_hours(3);
    let mut alarms = AlarmPlan::new(day).unwrap();
    let profile = alarms.add_profile(night).unwrap();
    alarms.add_slot(Slot { days: Weekdays::WEEKEND, from: 1320, to: 421, profile }).unwrap();
    let model = Model::linear().with_lag(Span::from_secs(47)).unwrap().with_process_noise(0.3).unwrap();
    let drift = Drift::default().with_gain(0.2, mins(200_003)).unwrap().with_required_benefit(3.0).unwrap();
    Settings {
        model: model.with_rate_time(mins(77)).unwrap().with_coloured(6.1, mins(11)).unwrap(),
        forecast: ForecastConfig::population(),
        drift: drift.with_offset(7.1, mins(999)).unwrap().with_scatter(0.21).unwrap(),
        bands: Bands::new(rate(0.7), rate(1.9), 0.3, 1.1).unwrap().with_missing_costing(3.7).unwrap(),
        quality: QualityConfig {
            stuck_readings: 7,
            night_to: 300,
            gap: mins(40),
            ..QualityConfig::default()
        },
        alarms,
    }
}

/// As many profiles and slots as there can be.
fn most() -> Settings {
    let mut alarms = changed().alarms;
    for _ in 2..4 {
        let _ = alarms.add_profile(AlarmSettings::default()).unwrap();
    }
    for minute in 1..8 {
        alarms.add_slot(Slot { days: Weekdays::ALL, from: minute, to: 0, profile: 3 }).unwrap();
    }
    Settings { alarms, ..changed() }
}

fn saved(settings: Settings) -> Vec<u8> {
    let mut buffer = [0xAA; SETTINGS_BYTES];
    let length = save_settings(settings, &mut buffer).unwrap();
    buffer[..length].to_vec()
}

/// Other bytes under a checksum that fits.
fn forged(body: &[u8]) -> Vec<u8> {
    let mut bytes = body.to_vec();
    bytes[6..HEADER].copy_from_slice(&u32::try_from(body.len() - HEADER).unwrap().to_le_bytes());
    let crc = crc32(&bytes);
    bytes.extend(crc.to_le_bytes());
    bytes
}

fn body(settings: Settings) -> Vec<u8> {
    let bytes = saved(settings);
    bytes[..bytes.len() - CHECKSUM].to_vec()
}

/// Where the alarm plan begins, and how long a profile is.
const PLAN: usize = HEADER + 25 + 1 + 24 + 20 + 49;
const PROFILE: usize = 200;

/// What was read must be what the constructors take.
fn sound(settings: &Settings) {
    Monitor::<2>::new(*settings).unwrap();
    let alarms = &settings.alarms;
    let mut plan = AlarmPlan::new(*alarms.profile(0).unwrap()).unwrap();
    for profile in (1..4).map_while(|number| alarms.profile(number)) {
        let _ = plan.add_profile(*profile).unwrap();
    }
    for slot in alarms.slots() {
        plan.add_slot(*slot).unwrap();
    }
    assert_eq!(plan, *alarms);
    let Settings { model, drift, bands, .. } = settings;
    assert!(model.with_process_noise(model.process_noise()).is_ok() && model.with_lag(model.lag()).is_ok());
    assert!(drift.with_scatter(0.1).is_ok() && bands.with_missing_costing(1.0).is_ok());
}

#[test]
fn settings_come_back_as_the_same_settings_and_the_same_bytes() {
    for settings in [Settings::default(), changed(), most()] {
        let mut bytes = saved(settings);
        assert_eq!(read_settings(&bytes), Ok(settings));
        assert_eq!(saved(read_settings(&bytes).unwrap()), bytes);
        bytes.extend([1, 2, 3]); // what lies after them in a flash page
        assert_eq!(read_settings(&bytes), Ok(settings));
    }
    assert_eq!(saved(most()).len(), SETTINGS_BYTES);
    assert_eq!(saved(Settings::default()).len(), PLAN + 2 + PROFILE + CHECKSUM);
}

/// By hand, from what the modules say of the layout: other programs read these bytes.
#[test]
fn the_bytes_by_hand() {
    let bytes = saved(changed());
    assert_eq!(bytes[..HEADER], [b'G', b'P', b'S', b'E', 1, 0, 0x0F, 2, 0, 0]);
    let model = [47_i32.to_le_bytes(), (77 * 60_i32).to_le_bytes(), 660_i32.to_le_bytes()].concat();
    assert_eq!(bytes[HEADER..HEADER + 12], model);
    assert_eq!(bytes[HEADER + 12..HEADER + 16], 0.3_f32.to_le_bytes());
    assert_eq!(bytes[HEADER + 24..HEADER + 26], [0, 0]); // not corrected, not personal
    let numbers = |from: usize, numbers: &[f32]| {
        let want: Vec<u8> = numbers.iter().flat_map(|number| number.to_le_bytes()).collect();
        assert_eq!(bytes[from..from + want.len()], want, "{numbers:?}");
    };
    numbers(HEADER + 16, &[6.1, changed().model.white_sd()]);
    let drift = [(200_003 * 60_i32).to_le_bytes(), (999 * 60_i32).to_le_bytes()].concat();
    assert_eq!(bytes[HEADER + 26..HEADER + 34], drift);
    numbers(HEADER + 34, &[0.2, 7.1, 0.21, 3.0]); // of gain and offset, scatter, caution
    numbers(HEADER + 50, &[0.7, 1.9, 0.3, 1.1, 3.7]); // moderate, fast, margin, widest, what missing costs
    let mut low = [2_u8, 1, 0b011].to_vec();
    [71.5_f32, 5.0].iter().for_each(|number| low.extend(number.to_le_bytes()));
    [0, 900, 1800, 900_i32].iter().for_each(|secs| low.extend(secs.to_le_bytes()));
    assert_eq!(bytes[PLAN..PLAN + 27], low);
    let no_data = PLAN + 2 + 3 * 25;
    assert_eq!(bytes[no_data + 1..no_data + 5], 1501_i32.to_le_bytes());
    let doubt = PLAN + 2 + 6 * 25;
    assert_eq!(bytes[doubt..doubt + 5], [0b101, 88, 2, 0, 0]); // on, high, 600 s of delay
    for (place, on) in [(1, true), (2, false), (4, true), (5, true)] {
        assert_eq!(bytes[PLAN + 2 + 25 * place] & 1 != 0, on, "{place}"); // a steep rise is on, a steep fall is not
    }
    let slot = PLAN + 2 + 2 * PROFILE;
    assert_eq!(bytes[slot..slot + 6], [0x60, 0x28, 5, 0xA5, 1, 1]);
}

/// Each number of the judge's settings in its place.
#[test]
fn the_judge_s_bytes_by_hand() {
    let quality = QualityConfig {
        least_mg_dl: 21.0,
        greatest_mg_dl: 601.0,
        jump_sd: 8.5,
        pressure_share: 0.13,
        noisy_scale: 2.5,
        gap: Span::from_secs(1201),
        pressure_hold: Span::from_secs(1202),
        stuck_span: Span::from_secs(1503),
        warm_up: Span::from_secs(3604),
        first_day: Span::from_secs(86_405),
        wear: Span::from_secs(864_006),
        night_from: 1381,
        night_to: 422,
        stuck_readings: 9,
    };
    let bytes = saved(Settings { quality, ..Settings::default() });
    let mut want = Vec::new();
    [21.0_f32, 601.0, 8.5, 0.13, 2.5].iter().for_each(|number| want.extend(number.to_le_bytes()));
    [1201, 1202, 1503, 3604, 86_405, 864_006_i32].iter().for_each(|secs| want.extend(secs.to_le_bytes()));
    [1381_u16, 422].iter().for_each(|minute| want.extend(minute.to_le_bytes()));
    want.push(9);
    assert_eq!(bytes[PLAN - 49..PLAN], want);
}

#[test]
fn one_bad_part_refuses_the_whole_and_is_named() {
    let sound = body(changed());
    let with = |at: usize, part: &[u8]| {
        let mut body = sound.clone();
        body[at..at + part.len()].copy_from_slice(part);
        read_settings(&forged(&body))
    };
    let named = |at: usize, part: &[u8]| match with(at, part) {
        Err(SnapshotError::Setting(error)) => (error.section(), error.parameter()),
        other => panic!("{at}: {other:?}"),
    };
    let rule = |profile: usize, rule: usize, at: usize| PLAN + 2 + profile * PROFILE + 25 * rule + at;
    let nan = f32::NAN.to_le_bytes();
    assert_eq!(named(HEADER, &29_i32.to_le_bytes()), ("", "lag"));
    assert_eq!(named(HEADER + 12, &nan), ("", "process_noise"));
    assert_eq!(named(HEADER + 26, &(-1_i32).to_le_bytes()), ("", "gain_time"));
    assert_eq!(named(HEADER + 50, &nan), ("", "moderate"));
    assert_eq!(named(HEADER + 54, &0.5_f32.to_le_bytes()), ("", "fast"));
    assert_eq!(named(HEADER + 70, &31_f32.to_le_bytes()), ("", "least_mg_dl"));
    assert_eq!(named(rule(0, 0, 1), &3.9_f32.to_le_bytes()), ("low", "limit"));
    assert_eq!(named(rule(1, 0, 9), &3600_i32.to_le_bytes()), ("low", "delay"));
    assert_eq!(named(rule(1, 4, 1), &nan), ("high", "glucose"));
    assert_eq!(named(rule(0, 1, 5), &2_f32.to_le_bytes()), ("low_ahead", "probability"));
    assert_eq!(named(rule(0, 6, 17 + 1), &i32::MIN.to_le_bytes()), ("wear_end", "limit"));
    assert_eq!(named(PLAN + 2 + PROFILE - 8, &nan), ("", "recovering"));
    assert_eq!(named(PLAN + 2 + PROFILE - 4, &1801_i32.to_le_bytes()), ("", "pressure_hold"));
    let slot = PLAN + 2 + 2 * PROFILE;
    assert_eq!(named(slot + 1, &1440_u16.to_le_bytes()), ("", "from"));
    assert_eq!(named(slot + 5, &[2]), ("slots", "profile"));
    // what no settings are written as
    for (at, byte) in [(HEADER + 24, 2), (HEADER + 25, 9), (rule(0, 0, 0), 6), (slot, 0x80)] {
        assert_eq!(with(at, &[byte]), Err(SnapshotError::State), "{at}");
    }
    for counts in [[0, 1], [5, 1], [2, 9], [1, 1], [2, 0], [3, 1], [2, 2]] {
        assert!(with(PLAN, &counts).is_err(), "{counts:?}");
    }
    for version in [0_u16, 2] {
        assert_eq!(with(4, &version.to_le_bytes()), Err(SnapshotError::Version(version)));
    }
    assert_eq!(with(3, b"S"), Err(SnapshotError::Incomplete)); // a snapshot is no settings
    assert_eq!(read_settings(&forged(&[&sound[..], &[0]].concat())), Err(SnapshotError::State));
    for end in HEADER..sound.len() {
        assert!(read_settings(&forged(&sound[..end])).is_err(), "cut at {end}");
        assert_eq!(read_settings(&saved(changed())[..end]), Err(SnapshotError::Incomplete));
    }
    let mut small = [0; SETTINGS_BYTES - 1];
    assert_eq!(save_settings(most(), &mut small), Err(SnapshotError::BufferTooSmall));
    let wild = QualityConfig { jump_sd: f32::NAN, ..QualityConfig::default() };
    let refused = save_settings(Settings { quality: wild, ..changed() }, &mut [0; SETTINGS_BYTES]);
    assert!(matches!(refused, Err(SnapshotError::Setting(error)) if error.parameter() == "jump_sd"));
}

/// Hostile values at every place: what is taken is what constructors take, and is written as the same bytes again.
#[test]
fn no_hostile_value_at_any_place_gets_past_the_constructors() {
    let whole = body(changed());
    let numbers = [f32::NAN, f32::INFINITY, f32::NEG_INFINITY, -1000.0, 1e9, -1.0, -0.0, 0.5, 3.9, 60.0];
    let spans = [0, 1, -1, 59, 3600, 86_401, i32::MAX, i32::MIN];
    let parts = numbers.map(f32::to_le_bytes).into_iter().chain(spans.map(i32::to_le_bytes));
    let (mut refused, mut taken) = (0, 0);
    for part in parts {
        for at in HEADER..=whole.len() - 4 {
            let mut body = whole.clone();
            body[at..at + 4].copy_from_slice(&part);
            let bytes = forged(&body);
            match read_settings(&bytes) {
                Ok(settings) => {
                    taken += 1;
                    sound(&settings);
                    assert_eq!(saved(settings), bytes, "{part:?} at {at}");
                }
                Err(why) => {
                    refused += 1;
                    assert!(matches!(why, SnapshotError::State | SnapshotError::Setting(_)));
                }
            }
        }
    }
    std::println!("{refused} forged settings refused, {taken} taken");
    assert!(refused > 5000 && taken > 100, "{refused} {taken}");
}

#[test]
fn a_refused_limit_leaves_the_settings_that_are_there() {
    let mut bytes = saved(changed());
    let last = bytes.len() - 1;
    bytes[last] ^= 1;
    assert_eq!(read_settings(&bytes), Err(SnapshotError::Checksum));
    let settings = read_settings(&saved(changed())).unwrap();
    let mut monitor = Monitor::<24>::new(Settings::default()).unwrap();
    monitor.set_alarm_plan(settings.alarms);
    let view = monitor.push(&crate::Reading::new(crate::Instant::from_secs(300), Glucose::clamped(71.0)));
    assert!(view.alarms().get(Kind::Low).is_some());
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(if cfg!(miri) { 4 } else { 512 }))]
    #[test]
    fn a_changed_byte_is_noticed(place in any::<prop::sample::Index>(), flip in 1_u8..) {
        let mut bytes = saved(changed());
        let place = place.index(bytes.len());
        bytes[place] ^= flip;
        prop_assert!(read_settings(&bytes).is_err());
    }
}
