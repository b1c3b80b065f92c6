//! Settings over the wire: all or nothing, in force and acknowledged once they are kept, through power cuts. All invented.

mod life;

use glidepath::alarm::{AlarmPlan, AlarmSettings, Kind, Priority, Slot, Weekdays};
use glidepath::estimator::Model;
use glidepath::snapshot::{self, SETTINGS_BYTES, SnapshotError};
use glidepath::{Glucose, Monitor, Settings, Span};
use life::chip::{Chip, SIZE, Torn};
use life::{Screen, Wearer};
use wrist::app::{App, KEPT, READINGS};
use wrist::link::{Frame, stuffed_settings};
use wrist::settings::{self, Taken, number, read};
use wrist::store::{Store, buffer};

fn limit(mg_dl: f32) -> Glucose {
    Glucose::from_mg_dl(mg_dl).unwrap()
}

/// Other alarms: two profiles.
fn alarms(low_mg_dl: f32) -> Settings {
    let mut day = AlarmSettings::default();
    day.low.limit = limit(low_mg_dl);
    day.high.limit = limit(200.0);
    day.doubt.priority = Priority::Medium;
    let mut night = day;
    night.high.repeat = Span::from_mins(240);
    let mut plan = AlarmPlan::new(day).unwrap();
    let profile = plan.add_profile(night).unwrap();
    let hours = Slot { days: Weekdays::WORKDAYS, from: 22 * 60, to: 7 * 60 + 30, profile };
    plan.add_slot(hours).unwrap();
    Settings::default().with_alarms(plan)
}

fn message(settings: Settings) -> Vec<u8> {
    let mut bytes = [0; SETTINGS_BYTES];
    let length = snapshot::save_settings(settings, &mut bytes).unwrap();
    bytes[..length].to_vec()
}

/// Other bytes before a checksum that fits.
fn forged(body: &[u8]) -> Vec<u8> {
    let crc = !body.iter().fold(u32::MAX, |crc, byte| {
        (0..8).fold(crc ^ u32::from(*byte), |crc, _| (crc >> 1) ^ (0xEDB8_8320 & (crc & 1).wrapping_neg()))
    });
    [body, &crc.to_le_bytes()].concat()
}

fn name(message: &[u8]) -> String {
    format!("{:08X}", number(message).unwrap())
}

fn send(wearer: &mut Wearer, message: &[u8]) -> Vec<String> {
    wearer.said.clear();
    wearer.bytes(&stuffed_settings(message));
    std::mem::take(&mut wearer.said)
}

fn which(wearer: &mut Wearer) -> String {
    wearer.said.clear();
    wearer.frame(&Frame::WhichSettings);
    std::mem::take(&mut wearer.said).pop().unwrap()
}

fn plan(wearer: &Wearer) -> AlarmPlan {
    *wearer.app.monitor().alarms().plan()
}

#[test]
fn settings_are_in_force_and_acknowledged_once_they_are_kept_and_outlive_power_cuts() {
    let mut wearer = Wearer::new(14);
    assert_eq!(which(&mut wearer), "Settings hold as built.");
    for settings in [alarms(80.0), alarms(75.0), Settings::default()] {
        let message = message(settings);
        assert_eq!(send(&mut wearer, &message), [format!("Settings {} kept.", name(&message))]);
        for _ in 0..3 {
            assert_eq!(plan(&wearer), settings.alarms);
            assert_eq!(which(&mut wearer), format!("Settings {} hold.", name(&message)));
            wearer.cut_power();
        }
    }
}

#[test]
fn what_is_not_kept_is_not_in_force_and_said_so() {
    let mut wearer = Wearer::new(14);
    send(&mut wearer, &message(alarms(80.0)));
    let (before, new) = (plan(&wearer), message(alarms(75.0)));
    wearer.chip.flash().left = Some(0); // a chip that takes nothing any more
    let told = send(&mut wearer, &new);
    assert_eq!(told, [format!("Settings {} not kept: those before hold.", name(&new))]);
    assert_eq!(plan(&wearer), before);
    assert!(which(&mut wearer).ends_with("hold.") && !which(&mut wearer).contains(&name(&new)));
    // nor without any chip
    let mut app = App::new(Settings::default()).unwrap();
    stuffed_settings(&new).iter().for_each(|byte| _ = app.byte(*byte));
    assert!(app.tick(0, false).settings);
    let told = settings::keep::<_, Chip>(&mut app, None, &mut [0; KEPT], &mut buffer()).unwrap();
    assert!(told.contains("not kept"), "{told}");
    assert_eq!(*app.monitor().alarms().plan(), AlarmPlan::default());
    // and once only
    assert_eq!(settings::keep::<_, Chip>(&mut app, None, &mut [0; KEPT], &mut buffer()), None);
}

/// Each place of the message is made bad in many ways: whatever is taken is what the library's own gates take.
#[test]
fn one_bad_part_refuses_the_whole() {
    let sound = message(alarms(80.0));
    let body = &sound[..sound.len() - 4];
    let mut refused = 0;
    for at in 0..body.len() {
        for bad in [0xFF, 0x80, 0x7F, 0x00] {
            let mut changed = body.to_vec();
            changed[at] ^= bad;
            match read(&forged(&changed)) {
                Ok(it) => assert_eq!(message(it.settings), forged(&changed), "{at}"),
                Err(_) => refused += 1,
            }
        }
        let mut damaged = sound.clone();
        damaged[at] ^= 0x15;
        assert!(read(&damaged).is_err(), "{at}");
    }
    assert!(refused > body.len(), "{refused}");
    for end in 0..sound.len() {
        assert!(read(&sound[..end]).is_err(), "cut at {end}");
    }
    assert_eq!(read(&[&sound[..], &[0]].concat()), Err(SnapshotError::Incomplete), "something follows");
    assert_eq!(read(&sound).map(|it| it.settings), Ok(alarms(80.0)));
}

#[test]
fn what_is_refused_leaves_the_old_settings_and_says_why() {
    let mut wearer = Wearer::new(14);
    send(&mut wearer, &message(alarms(80.0)));
    let before = plan(&wearer);
    let other = message(alarms(75.0));
    let body = &other[..other.len() - 4];
    let low = body.windows(4).position(|four| four == 75.0_f32.to_le_bytes()).unwrap();
    let second =
        low + 4 + body[low + 4..].windows(4).position(|four| four == 75.0_f32.to_le_bytes()).unwrap();
    let changed = |at: usize, bytes: &[u8]| {
        let mut changed = body.to_vec();
        changed[at..at + bytes.len()].copy_from_slice(bytes);
        forged(&changed)
    };
    // a limit told in the other unit, in the second profile; no number at all; above the high limit
    for (bad, why) in [
        (changed(second, &3.9_f32.to_le_bytes()), "low limit out of range."),
        (changed(low, &f32::NAN.to_le_bytes()), "low glucose out of range."),
        (changed(4, &[99]), "of another version."),
        (body[..body.len() - 8].to_vec(), "not whole."),
        (other[..other.len() - 1].iter().copied().chain([other[other.len() - 1] ^ 1]).collect(), "damaged."),
    ] {
        let told = send(&mut wearer, &bad);
        assert_eq!(told, [format!("Settings {} refused: {why}", name(&bad))]);
        assert_eq!(plan(&wearer), before);
    }
    assert_eq!(send(&mut wearer, &[]), ["Settings refused: not whole."]);
    // cut by another frame at any byte, and damaged on the way in any byte: nothing is taken, nor said
    let line = stuffed_settings(&other);
    for at in 0..line.len() - 1 {
        let mut damaged = line.clone();
        damaged[at] ^= 0x15;
        wearer.bytes(&line[..at]);
        wearer.bytes(&[0]);
        wearer.bytes(&damaged);
        wearer.bytes(&[0]);
        assert_eq!(plan(&wearer), before, "at {at}");
    }
    assert!(wearer.said.is_empty(), "{:?}", wearer.said);
    wearer.cut_power();
    assert_eq!(plan(&wearer), before);
    wearer.bytes(&line);
    assert_eq!(plan(&wearer), alarms(75.0).alarms);
}

/// The power fails at every write and erase of keeping: the old settings come back or the new ones, whole, and the new ones
/// if they were acknowledged.
#[test]
fn a_power_cut_leaves_the_old_settings_or_the_new_ones() {
    let all: Vec<Settings> = [80.0, 75.0, 71.0].map(alarms).to_vec();
    let mut steps = 0;
    for torn in [Torn::Untouched, Torn::FirstHalf, Torn::SecondHalf, Torn::EveryOtherBit] {
        let mut before = Chip::fresh();
        // so that pages come round
        for round in 0..24 {
            let (old, new) = (all[(round + 2) % 3], all[round % 3]);
            for step in 0.. {
                let mut room = buffer();
                let mut store =
                    Store::open(Chip { left: Some(usize::MAX), ..before.clone() }, 0..SIZE, &mut room);
                let (mut app, told) =
                    settings::begin::<Monitor<READINGS>, _>(Settings::default(), store.as_mut(), &mut room)
                        .unwrap();
                assert_eq!(told, None);
                stuffed_settings(&message(new)).iter().for_each(|byte| _ = app.byte(*byte));
                let chip = store.as_mut().unwrap();
                (chip.flash().left, chip.flash().torn) = (Some(step), torn);
                let told = settings::keep(&mut app, store.as_mut(), &mut [0; KEPT], &mut room).unwrap();
                let kept = told.ends_with(" kept.");
                let in_force = *app.monitor().alarms().plan();
                let after = Chip { left: Some(usize::MAX), ..store.as_mut().unwrap().flash().clone() };
                let mut store = Store::open(after.clone(), 0..SIZE, &mut room);
                let (app, _) =
                    settings::begin::<Monitor<READINGS>, _>(Settings::default(), store.as_mut(), &mut room)
                        .unwrap();
                let found = *app.monitor().alarms().plan();
                let was = if round == 0 { AlarmPlan::default() } else { old.alarms };
                assert!(
                    found == new.alarms || (!kept && found == was),
                    "{torn:?}, round {round}, step {step}"
                );
                assert_eq!(
                    in_force,
                    if kept { new.alarms } else { was },
                    "{torn:?}, round {round}, step {step}"
                );
                steps += 1;
                if kept {
                    before = after;
                    break;
                }
            }
        }
    }
    println!("power cuts while settings are kept: {steps}");
    assert!(steps > 5_000);
}

/// A message that came otherwise than over the line goes the same way.
#[test]
fn a_message_is_taken_as_over_the_line() {
    let mut room = buffer();
    let mut store = Store::open(Chip::fresh(), 0..SIZE, &mut room);
    let mut app = App::new(Settings::default()).unwrap();
    let (first, other) = (message(alarms(80.0)), message(alarms(75.0)));
    let take = |app: &mut App, store: Option<&mut Store<Chip>>, message: &[u8]| {
        let (taken, said) = settings::take(app, message, store, &mut [0; KEPT], &mut buffer());
        let mut held = [0; SETTINGS_BYTES];
        let length = settings::in_force(app, &mut held).unwrap();
        (taken, said, held[..length].to_vec())
    };
    let (taken, said, held) = take(&mut app, store.as_mut(), &first);
    assert_eq!((taken, held), (Taken::Kept, first.clone()));
    assert_eq!(said.as_str(), format!("Settings {} kept.", name(&first)));
    assert_eq!(app.settings().number, number(&first));
    assert_eq!(*app.monitor().alarms().plan(), alarms(80.0).alarms);
    let (taken, said, held) = take(&mut app, store.as_mut(), &other[..other.len() - 1]);
    assert_eq!((taken, held), (Taken::Refused, first.clone()));
    assert!(said.ends_with("refused: not whole."), "{said}");
    let (taken, said, held) = take(&mut app, None, &other);
    assert_eq!((taken, held), (Taken::NotKept, first.clone()));
    assert!(said.ends_with("not kept: those before hold."), "{said}");
    assert_eq!(app.settings().number, number(&first));
    // where those of the line are kept
    let (app, told) =
        settings::begin::<Monitor<READINGS>, _>(Settings::default(), store.as_mut(), &mut room).unwrap();
    assert_eq!((told, app.settings().number), (None, number(&first)));
}

/// Settings of another version in the chip: those as built hold, and it is said.
#[test]
fn kept_settings_that_cannot_be_read_are_told() {
    let mut other = message(alarms(80.0));
    other[4] = 99;
    let mut store = Store::open(Chip::fresh(), 0..SIZE, &mut buffer()).unwrap();
    assert!(store.keep(&forged(&other[..other.len() - 4]), &mut buffer()));
    let (app, told) =
        settings::begin::<Monitor<READINGS>, _>(Settings::default(), Some(&mut store), &mut buffer())
            .unwrap();
    assert_eq!(told.unwrap(), "Settings that were kept cannot be read. Those as built hold.");
    assert_eq!(*app.monitor().alarms().plan(), AlarmPlan::default());
}

/// What the settings change is what rings, from the next look on, and after a power cut.
#[test]
fn other_alarms_ring_at_once_and_take_nothing_off_the_screen() {
    let mut wearer = Wearer::new(14);
    wearer.open();
    wearer.live(60, |minute| Some(78.0 + (minute / 5 % 2) as f32 * 0.4));
    assert!(!wearer.rings(&[Kind::Low]));
    let before = wearer.screen();
    send(&mut wearer, &message(alarms(85.0)));
    assert!(wearer.rings(&[Kind::Low]));
    let number = |screen| match screen {
        Screen::Number { mg_dl, .. } => mg_dl,
        other => panic!("{other:?}"),
    };
    assert_eq!(number(wearer.screen()), number(before));
    wearer.cut_power();
    wearer.live(5, |_| Some(78.0));
    assert!(wearer.rings(&[Kind::Low]));
}

/// With anything but alarms changed the monitor is another one that goes on from the old: what was learned is there, nothing is
/// shown as present before the next reading, and alarms hold on.
#[test]
fn another_model_goes_on_from_what_was_learned() {
    let mut wearer = Wearer::new(14);
    wearer.open();
    wearer.live(120, |minute| Some(104.0 + (minute / 5 % 3) as f32)); // no sensor stands still
    let (history, newest) = (wearer.app.monitor().history().len(), wearer.app.face().last);
    let settings = alarms(80.0).with_model(Model::linear());
    let sent = message(settings);
    assert_eq!(send(&mut wearer, &sent), [format!("Settings {} kept.", name(&sent))]);
    assert_eq!(wearer.screen(), Screen::Strokes { alarm: false });
    assert_eq!((wearer.app.monitor().history().len(), wearer.app.face().last), (history, newest));
    assert_eq!(plan(&wearer), settings.alarms);
    wearer.live(5, |_| Some(104.0));
    assert!(wearer.screen().is_a_number());
    wearer.live(25, |_| None);
    assert!(wearer.rings(&[Kind::NoData]), "silence rings as ever");
}

/// A profile of the afternoon still is one of the wearer's own afternoon.
#[test]
fn another_model_keeps_the_time_of_day() {
    let mut wearer = Wearer::new(14);
    wearer.open();
    wearer.live(60, |minute| Some(90.0 + (minute / 5 % 3) as f32));
    let mut afternoon = AlarmSettings::default();
    afternoon.low.limit = limit(85.0);
    let mut alarms = AlarmPlan::default();
    let profile = alarms.add_profile(afternoon).unwrap();
    alarms.add_slot(Slot { days: Weekdays::ALL, from: 12 * 60, to: 20 * 60, profile }).unwrap();
    send(&mut wearer, &message(Settings::default().with_model(Model::linear()).with_alarms(alarms)));
    wearer.live(40, |minute| Some(84.0 - (minute / 5 % 3) as f32));
    assert!(wearer.rings(&[Kind::Low]), "{:?}", wearer.rang);
}

/// The file that the README tells to write, as bytes on the line; the emulated Pico is sent the same.
#[test]
fn a_settings_file_is_a_frame() {
    let golden = wrist_desk::golden();
    let text = std::fs::read_to_string(golden.join("settings.toml")).unwrap();
    let (frame, name) = wrist_desk::settings::frame(&text).unwrap();
    // what holds, other settings, what holds
    let ask = Frame::WhichSettings.stuffed();
    let line = [&ask[..], &frame, &ask].concat();
    let file = golden.join("settings.line");
    if std::env::var_os("WRIST_BLESS").is_some() {
        std::fs::write(&file, &line).unwrap();
    }
    assert_eq!(std::fs::read(&file).unwrap(), line);
    let mut wearer = Wearer::new(14);
    wearer.bytes(&ask);
    wearer.bytes(&frame);
    wearer.bytes(&ask);
    let told =
        ["Settings hold as built.", &format!("Settings {name} kept."), &format!("Settings {name} hold.")];
    assert_eq!(wearer.said, told);
    let base = plan(&wearer).profile(0).unwrap().low.limit;
    assert_eq!((base, plan(&wearer).slots().count()), (limit(80.0), 1));
    // refused with its place
    let bad = wrist_desk::settings::frame("[alarms.base.low]\nlimit = 3.9\n").unwrap_err();
    assert!(bad.contains("low") && bad.contains("3.9"), "{bad}");
}
