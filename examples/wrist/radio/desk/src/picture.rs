//! What a run brought, held against what the wire would have brought, to the last pixel of the screen.

use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use wrist::app::App;
use wrist::columns::Records;
use wrist::link::{Frame, Receiver};
use wrist_desk::stream::{heard, records};
use wrist_desk::{BitPicture, Display, GreyPicture, Picture, check, sheet};

/// Each frame of a stream, and its minute.
fn frames(stream: &[u8]) -> Vec<(u16, Frame)> {
    let mut receiver = Receiver::new();
    let mut all = Vec::new();
    for (minute, bytes) in Records(stream) {
        all.extend(
            bytes.iter().filter_map(|byte| receiver.byte(*byte)).flatten().map(|frame| (minute, frame)),
        );
    }
    all
}

fn pictures(stream: &[u8]) -> Result<[Picture; 2], String> {
    let app = heard(stream, 60_000).map_err(|e| e.to_string())?;
    let (mut bits, mut greys) = (BitPicture::new(), GreyPicture::new());
    let (Ok(()), Ok(())) = (
        wrist::screen::draw(&app.face(), app.page(), &mut bits),
        wrist::screen::draw(&app.face(), app.page(), &mut greys),
    );
    Ok([Picture::from(&bits), Picture::from(&greys)])
}

fn of(folder: &Path, display: Display) -> PathBuf {
    folder.join(display.name()).with_extension("png")
}

/// What the wrist shows, a picture for each display; each is whole whenever it is looked at.
pub fn screens(app: &App, folder: &Path) -> Result<(), String> {
    for display in Display::ALL {
        let (path, new) = (of(folder, display), folder.join("new"));
        display.draw(&app.face(), app.page()).write(&new)?;
        std::fs::rename(&new, &path).map_err(|e| format!("{}: {e}", path.display()))?;
    }
    Ok(())
}

/// Whether they are the golden ones.
pub fn shows(folder: &Path, name: &str) -> Result<(), String> {
    for display in Display::ALL {
        check(&Picture::read(&of(folder, display))?, &format!("{name}-{}", display.name()))?;
    }
    Ok(())
}

/// Each measurement of the desk's stream came once and whole; and the wire, bringing the desk's own frames at the minutes
/// at which the radio brought them, ends with the same screen.
pub fn compare(run: &Path, golden: &Path, out: &Path) -> Result<(), String> {
    let read = |path: &Path| std::fs::read(path).map_err(|e| format!("{}: {e}", path.display()));
    let (run, golden) = (read(run)?, read(golden)?);
    let (came, desk) = (frames(&run), frames(&golden));
    let wanted: BTreeMap<u16, Frame> = desk
        .iter()
        .filter_map(|(_, frame)| match frame {
            Frame::Measurement(record) => Some((record.offset_min(), *frame)),
            _ => None,
        })
        .collect();
    let mut wire = Vec::new();
    let mut missing = wanted.clone();
    for (minute, frame) in &came {
        let frame = match frame {
            Frame::Measurement(record) => {
                missing.remove(&record.offset_min()).ok_or("a measurement twice, or none of the desk's")?
            }
            // the time and the start as the desk tells them
            Frame::Start(_) => find(&desk, |frame| matches!(frame, Frame::Start(_)))?,
            other => *other,
        };
        wire.push((*minute, frame.stuffed().to_vec()));
    }
    if !missing.is_empty() {
        return Err(format!("{} measurements did not come", missing.len()));
    }
    let late = came
        .windows(2)
        .filter(|pair| {
            matches!((&pair[0].1, &pair[1].1),
        (Frame::Measurement(a), Frame::Measurement(b)) if b.offset_min() < a.offset_min())
        })
        .count();
    let ([bits, greys], [wire_bits, wire_greys]) = (pictures(&run)?, pictures(&records(&wire))?);
    let differing = bits.differences(&wire_bits) + greys.differences(&wire_greys);
    sheet(&[bits, greys, wire_bits, wire_greys], 2, 3, out)?;
    println!("{} measurements, {late} out of turn, {differing} pixels differ", wanted.len());
    if differing == 0 { Ok(()) } else { Err("the screens differ".into()) }
}

fn find(frames: &[(u16, Frame)], is: impl Fn(&Frame) -> bool) -> Result<Frame, String> {
    frames.iter().map(|(_, frame)| *frame).find(|frame| is(frame)).ok_or_else(|| "no such frame".into())
}
