//! The power fails at every single write and erase of the flash: the newest state or the one before it comes back.

mod chip;

use chip::{Chip, SIZE, Torn};
use glidepath::Settings;
use wrist::app::{App, KEPT};
use wrist::columns::Records;
use wrist::link::{Frame, Receiver};
use wrist::store::{Store, buffer};
use wrist_desk::{BitPicture, Picture, golden};

fn store(chip: &Chip) -> Store<Chip> {
    let chip = Chip { left: Some(usize::MAX), ..chip.clone() };
    Store::open(chip, 0..SIZE, &mut buffer()).unwrap()
}

/// States as the application saves them through the day, `every` so many.
fn states(every: usize) -> Vec<Vec<u8>> {
    let stream = std::fs::read(golden().join("day.frames")).unwrap();
    let mut app = App::new(Settings::default()).unwrap();
    let mut states = Vec::new();
    for (minute, bytes) in Records(&stream) {
        bytes.iter().for_each(|byte| _ = app.byte(*byte));
        if app.tick(u32::from(minute) * 60_000, false).save {
            let mut buffer = [0; KEPT];
            let length = app.save(&mut buffer).unwrap();
            states.push(buffer[..length].to_vec());
        }
    }
    println!("longest state: {} bytes", states.iter().map(Vec::len).max().unwrap());
    states.into_iter().step_by(every).collect()
}

/// Cuts the power in each step of keeping `new`; how many steps there are, and how many of them erase.
fn cut_everywhere(before: &Chip, old: &[u8], new: &[u8], next: &[u8], torn: Torn) -> (usize, usize) {
    let mut erases = 0;
    for step in 0.. {
        let mut cut = store(before);
        (cut.flash().left, cut.flash().torn) = (Some(step), torn);
        let went_well = cut.keep(new, &mut buffer());
        let after = cut.flash().clone();
        erases += after.cut_erases;
        let (mut boot, mut room) = (store(&after), buffer());
        let found = boot.newest(&mut room).map(<[u8]>::to_vec);
        let whole = if went_well { vec![new] } else { vec![old, new] };
        assert!(found.as_deref().is_some_and(|found| whole.contains(&found)), "{torn:?}, step {step}");
        assert!(boot.keep(next, &mut buffer()), "{torn:?}, step {step}");
        assert_eq!(boot.newest(&mut room), Some(next), "{torn:?}, step {step}");
        if went_well {
            return (step, erases);
        }
    }
    unreachable!()
}

#[test]
fn at_every_write_the_newest_state_or_the_one_before_comes_back() {
    // of every size up to the longest, through all pages
    let mut states = states(30);
    states.insert(0, b"short".to_vec());
    let (mut chip, mut steps, mut erases) = (Chip::fresh(), 0, 0);
    assert!(store(&chip).newest(&mut buffer()).is_none());
    let mut kept = store(&chip);
    assert!(kept.keep(&states[0], &mut buffer()));
    chip = kept.flash().clone();
    for three in states.windows(3) {
        for torn in [Torn::Untouched, Torn::FirstHalf, Torn::SecondHalf, Torn::EveryOtherBit] {
            let (cuts, in_erases) = cut_everywhere(&chip, &three[0], &three[1], &three[2], torn);
            (steps, erases) = (steps + cuts, erases + in_erases);
        }
        let mut kept = store(&chip);
        assert!(kept.keep(&three[1], &mut buffer()));
        chip = kept.flash().clone();
    }
    println!("power cuts: {steps}, {erases} of them in an erase");
    assert!(steps > 10_000 && erases > 10);
}

#[test]
fn a_chip_full_of_something_else_is_taken_over() {
    let mut chip = Chip::fresh();
    chip.bytes.iter_mut().enumerate().for_each(|(i, byte)| *byte = (i * 31 % 251) as u8);
    let mut store = store(&chip);
    assert_eq!(store.newest(&mut buffer()), None);
    assert!(store.keep(b"mine", &mut buffer()));
    assert_eq!(store.newest(&mut buffer()), Some(&b"mine"[..]));
}

fn picture(app: &App) -> Picture {
    let mut bits = BitPicture::new();
    wrist::screen::draw(&app.face(), app.page(), &mut bits).unwrap();
    Picture::from(&bits)
}

/// The power is cut after each frame; after the next reading the screen is that of an application that never
/// lost it, and until then nothing is shown as present. (A fingerstick that comes before a reading has nothing to be held
/// against: no power is cut before one here.)
#[test]
fn goes_on_where_it_was() {
    let stream = std::fs::read(golden().join("day.frames")).unwrap();
    let (mut steady, mut cut) =
        (App::new(Settings::default()).unwrap(), App::new(Settings::default()).unwrap());
    let mut buffer = [0; KEPT];
    // the minute when the power came back
    let mut since = 0;
    let (mut same, mut alarms) = (0, 0);
    let mut records = Records(&stream).peekable();
    while let Some((minute, bytes)) = records.next() {
        steady.tick(u32::from(minute) * 60_000, false);
        cut.tick(u32::from(minute - since) * 60_000, false);
        for app in [&mut steady, &mut cut] {
            bytes.iter().for_each(|byte| _ = app.byte(*byte));
        }
        if cut.face().age.is_some() {
            let [one, other] =
                [&steady, &cut].map(|app| app.face().alert.map(|ring| (ring.kind, ring.cause)));
            assert_eq!(steady.face().current(), cut.face().current(), "minute {minute}");
            // between two readings an estimate may have rung that the other could not make
            if one == other {
                assert_eq!(picture(&steady).differences(&picture(&cut)), 0, "minute {minute}");
                same += 1;
                alarms += usize::from(one.is_some());
            }
        }
        let mut receiver = Receiver::new();
        let mut frames = records.peek().into_iter().flat_map(|(_, bytes)| bytes.iter());
        if frames.any(|byte| matches!(receiver.byte(*byte), Some(Ok(Frame::Meter(_))))) {
            continue;
        }
        let length = cut.save(&mut buffer).unwrap();
        cut = App::new(Settings::default()).unwrap();
        assert!(cut.restore(&buffer[..length - 1]).is_err());
        cut.restore(&buffer[..length]).unwrap();
        since = minute;
        cut.tick(0, false);
        assert!(cut.face().current().is_none() && cut.face().age.is_none());
    }
    println!("{same} pictures the same, {alarms} of them of alarms");
    assert!(same > 250 && alarms > 5, "{same} {alarms}");
}
