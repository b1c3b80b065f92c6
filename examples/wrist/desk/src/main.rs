//! `wrist-desk sheet OUT.png COLUMNS SCALE PICTURE...`: pictures side by side, so many times their size.
//! `wrist-desk stream OUT SEED`: a day of frames.
//! `wrist-desk week OUT DAYS`: that many days of a week's frames on a bad line; beside it as OUT.png the screen that
//! they end with, and as OUT.readings the readings in them.
//! `wrist-desk kept FLASH`: the readings kept in an image of the Pico's flash chip.
//! `wrist-desk settings FILE.toml OUT`: the frame that brings these settings; what `glidepath settings` prints is such a file.
//! `wrist-desk reading OUT MG_DL`: the bytes on the line for one invented reading of this moment, to see that a board is alive.
//! `wrist-desk uf2 ELF OUT`: the file for the Pico's boot loader.
//! `wrist-desk measure ELF`: sizes, and symbols of panics, f64 and float formatting.

use glidepath::{Reading, Settings};
use std::path::Path;
use wrist::app::App;
use wrist::screen::Page;
use wrist::store::{Store, buffer};
use wrist_desk::{BitPicture, Picture, dump::Dump, image, settings, stream};

fn main() -> Result<(), String> {
    let words: Vec<String> = std::env::args().skip(1).collect();
    match words.iter().map(String::as_str).collect::<Vec<_>>().as_slice() {
        ["sheet", out, columns, scale, pictures @ ..] => {
            let columns = columns.parse().map_err(|e| format!("columns: {e}"))?;
            let scale = scale.parse().map_err(|e| format!("scale: {e}"))?;
            let pictures: Result<Vec<_>, _> = pictures.iter().map(|p| Picture::read(Path::new(p))).collect();
            wrist_desk::sheet(&pictures?, columns, scale, Path::new(out))
        }
        ["stream", out, seed] => {
            let seed = seed.parse().map_err(|e| format!("seed: {e}"))?;
            std::fs::write(out, stream::file(seed, 1)).map_err(|e| format!("{out}: {e}"))
        }
        ["week", out, days] => {
            let days: u16 = days.parse().map_err(|e| format!("days: {e}"))?;
            let write = |end: &str, bytes: &[u8]| {
                std::fs::write(format!("{out}{end}"), bytes).map_err(|e| format!("{out}{end}: {e}"))
            };
            let week = stream::week(stream::SEED).until(days.saturating_mul(1440));
            let line = stream::records(&week.line);
            // the Pico works off what it has received, and a press takes its time
            let app = stream::heard(&line, 5000).map_err(|e| e.to_string())?;
            let mut picture = BitPicture::new();
            let _ = wrist::screen::draw(&app.face(), Page::Past, &mut picture);
            Picture::from(&picture).write(&Path::new(out).with_added_extension("png"))?;
            let readings: String = week.sent.iter().map(|(reading, _)| line_of(reading)).collect();
            write(".readings", readings.as_bytes())?;
            write("", &line)
        }
        ["kept", flash] => {
            kept(read(flash)?)?.iter().for_each(|reading| print!("{}", line_of(reading)));
            Ok(())
        }
        ["settings", file, out] => {
            let text = std::fs::read_to_string(file).map_err(|e| format!("{file}: {e}"))?;
            let (frame, name) = settings::frame(&text).map_err(|e| format!("{file}: {e}"))?;
            println!("Settings {name}: the wrist says \"Settings {name} kept.\" once they are in force.");
            std::fs::write(out, frame).map_err(|e| format!("{out}: {e}"))
        }
        ["reading", out, mg_dl] => {
            let mg_dl = mg_dl.parse().map_err(|e| format!("mg/dL: {e}"))?;
            let minutes = std::time::UNIX_EPOCH.elapsed().map_err(|e| e.to_string())?.as_secs() / 60;
            let line = stream::reading(minutes, mg_dl).ok_or("a sensor tells 40 to 400 mg/dL")?;
            std::fs::write(out, line).map_err(|e| format!("{out}: {e}"))
        }
        ["uf2", elf, out] => {
            let uf2 = image::uf2(&read(elf)?).map_err(|e| format!("{elf}: {e}"))?;
            std::fs::write(out, uf2).map_err(|e| format!("{out}: {e}"))
        }
        ["measure", elf] => {
            let (elf, bytes) = (Path::new(elf), read(elf)?);
            let (sizes, found) = (image::sizes(&bytes)?, image::forbidden(&bytes)?);
            println!("{}: flash {} bytes, RAM {} bytes", elf.display(), sizes.flash, sizes.ram);
            found.iter().for_each(|name| println!("  {name}"));
            Ok(())
        }
        _ => Err("usage: wrist-desk sheet OUT.png COLUMNS SCALE PICTURE... | stream OUT SEED | week OUT DAYS | kept FLASH | settings FILE.toml OUT | reading OUT MG_DL | uf2 ELF OUT | measure ELF".into()),
    }
}

/// The readings in the newest state of a flash chip, kept in its last 64 KiB.
fn kept(flash: Vec<u8>) -> Result<Vec<Reading>, String> {
    let end = u32::try_from(flash.len()).map_err(|e| e.to_string())?;
    let start = end.checked_sub(64 * 1024).ok_or("shorter than 64 KiB")?;
    let mut buffer = buffer();
    let mut store = Store::open(Dump(flash), start..end, &mut buffer).ok_or("not a whole chip")?;
    let mut app = App::new(Settings::default()).map_err(|e| e.to_string())?;
    app.restore(store.newest(&mut buffer).ok_or("nothing is kept")?).map_err(|e| e.to_string())?;
    Ok(app.monitor().history().iter().collect())
}

/// Seconds since 1970, mg/dL, status.
fn line_of(reading: &Reading) -> String {
    format!("{} {:.1} {:?}\n", reading.at().secs(), reading.glucose().mg_dl(), reading.status())
}

fn read(path: &str) -> Result<Vec<u8>, String> {
    std::fs::read(path).map_err(|e| format!("{path}: {e}"))
}
