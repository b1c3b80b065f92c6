//! `wrist-desk sheet OUT.png COLUMNS PICTURE...`: pictures side by side, three times their size.
//! `wrist-desk stream OUT SEED`: a day of frames.
//! `wrist-desk week OUT`: a week of frames on a bad line, and beside it as OUT.png the screen that they end with.
//! `wrist-desk uf2 ELF OUT`: the file for the Pico's boot loader.
//! `wrist-desk measure ELF`: sizes, and symbols of panics, f64 and float formatting.

use std::path::Path;
use wrist::screen::Page;
use wrist_desk::{BitPicture, Picture, image, stream};

fn main() -> Result<(), String> {
    let words: Vec<String> = std::env::args().skip(1).collect();
    match words.iter().map(String::as_str).collect::<Vec<_>>().as_slice() {
        ["sheet", out, columns, pictures @ ..] => {
            let columns = columns.parse().map_err(|e| format!("columns: {e}"))?;
            let pictures: Result<Vec<_>, _> = pictures.iter().map(|p| Picture::read(Path::new(p))).collect();
            wrist_desk::sheet(&pictures?, columns, Path::new(out))
        }
        ["stream", out, seed] => {
            let seed = seed.parse().map_err(|e| format!("seed: {e}"))?;
            std::fs::write(out, stream::file(seed, 1)).map_err(|e| format!("{out}: {e}"))
        }
        ["week", out] => {
            let line = stream::records(&stream::week(stream::SEED).line);
            let app = stream::heard(&line).map_err(|e| e.to_string())?;
            let mut picture = BitPicture::new();
            let _ = wrist::screen::draw(&app.face(), Page::Past, &mut picture);
            Picture::from(&picture).write(&Path::new(out).with_added_extension("png"))?;
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
        _ => Err("usage: wrist-desk sheet OUT.png COLUMNS PICTURE... | stream OUT SEED | week OUT | uf2 ELF OUT | measure ELF".into()),
    }
}

fn read(path: &str) -> Result<Vec<u8>, String> {
    std::fs::read(path).map_err(|e| format!("{path}: {e}"))
}
