//! A day of frames: the columns every machine must give, and the application's pictures at some minutes.

use glidepath::Settings;
use std::fmt::Write;
use wrist::app::App;
use wrist::columns::{Records, replay};
use wrist::screen::draw;
use wrist_desk::{BitPicture, GreyPicture, Picture, blessing, check, golden};

fn stream() -> Vec<u8> {
    std::fs::read(golden().join("day.frames")).unwrap()
}

#[test]
fn columns_are_the_golden_ones() {
    let mut text = String::new();
    replay(&stream(), |minute, digest| writeln!(text, "{minute} {digest:08x}").unwrap());
    let path = golden().join("day.columns");
    if blessing() {
        std::fs::write(&path, &text).unwrap();
    }
    assert!(text.lines().count() > 200);
    assert_eq!(text, std::fs::read_to_string(path).unwrap());
}

#[test]
fn pictures_through_the_day() {
    let mut app = App::new(Settings::default()).unwrap();
    let stream = stream();
    let mut records = Records(&stream).peekable();
    for minute in 0..=1440_u16 {
        let ms = u32::from(minute) * 60_000;
        while let Some((_, bytes)) = records.next_if(|(due, _)| *due <= minute) {
            app.tick(ms, false);
            bytes.iter().for_each(|byte| _ = app.byte(*byte));
        }
        app.tick(ms, false);
        if matches!(minute, 60 | 845 | 865 | 905) {
            let (mut bits, mut greys) = (BitPicture::new(), GreyPicture::new());
            draw(&app.face(), app.page(), &mut bits).unwrap();
            draw(&app.face(), app.page(), &mut greys).unwrap();
            assert_eq!(check(&Picture::from(&bits), &format!("day-{minute}-bit")), Ok(()));
            assert_eq!(check(&Picture::from(&greys), &format!("day-{minute}-grey")), Ok(()));
        }
    }
    assert_eq!((app.counts().dropped, app.counts().without_place), (0, 0));
}
