//! `wrist-desk sheet OUT.png COLUMNS PICTURE...`: pictures side by side, three times their size.
//! `wrist-desk stream OUT SEED`: a day of frames.

use std::path::Path;
use wrist_desk::Picture;

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
            std::fs::write(out, wrist_desk::stream::file(seed, 1)).map_err(|e| format!("{out}: {e}"))
        }
        _ => Err("usage: wrist-desk sheet OUT.png COLUMNS PICTURE... | stream OUT SEED".into()),
    }
}
