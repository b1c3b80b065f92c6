//! A week on a bad line, second by second: no valid reading is lost, whatever the board's crystal does.

use glidepath::{Settings, Span};
use std::collections::BTreeSet;
use wrist::app::App;
use wrist_desk::stream::{SEED, day, week};

/// A week with the board's clock off by `ppm` millionths.
fn live(ppm: i64) {
    let week = week(SEED);
    let begin = day(SEED, 1)[0].0;
    let mut newest = begin;
    let mut app = App::new(Settings::default()).unwrap();
    let (mut line, mut sent, mut delivered) =
        (week.line.iter().peekable(), week.sent.iter().peekable(), BTreeSet::new());
    let (mut young, mut old, mut others, mut rings) = (0, 0, 0, 0);
    // the counter of milliseconds wraps once on the way
    let start_ms = i64::from(u32::MAX) - 86_400_000;
    app.tick(start_ms as u32, false);
    for second in 0..=7 * 86_400_i64 - 300 {
        let minute = (second / 60) as u16;
        while second % 60 == 0 && line.peek().is_some_and(|(due, _)| *due <= minute) {
            let (_, bytes) = line.next().unwrap();
            bytes.iter().for_each(|byte| _ = app.byte(*byte));
        }
        let board_ms = (start_ms + second * 1000 + second * ppm / 1000) as u32;
        let wants = app.tick(board_ms, false);
        rings += u32::from(wants.say.is_some());
        if app.face().alert.is_some() && second % 600 == 0 {
            app.tick(board_ms, true); // a press, so that alarms do not cover one another for ever
            app.tick(board_ms.wrapping_add(100), false);
        }
        let now = begin.plus(Span::from_secs(second as i32));
        while sent.peek().is_some_and(|(_, by)| i64::from(*by) * 60 <= second) {
            let at = sent.next().unwrap().0.at();
            newest = newest.max(at);
            delivered.insert(at);
        }
        let face = app.face();
        if let Some(age) = face.age {
            // it is asked for at least once a minute
            let off = now.since(newest).secs() - age.secs();
            let known = app.view().and_then(|view| view.newest()).map(|(at, _)| at.since(newest).secs());
            if known == Some(0) {
                (young, old) = (young.max(off - 60), old.max(-off));
            } else {
                // doubted, or measured before a fingerstick that was there first
                others += 1;
            }
        }
        if second % 21_600 == 0 && second > 0 {
            let kept: BTreeSet<_> = app.monitor().history().iter().map(|reading| reading.at()).collect();
            let oldest = *kept.first().unwrap();
            let missing: Vec<_> = delivered.iter().filter(|at| **at > oldest && !kept.contains(at)).collect();
            assert_eq!(missing, Vec::<&glidepath::Instant>::new(), "second {second}");
        }
    }
    let counts = app.counts();
    println!(
        "{ppm} ppm: {} readings kept, {} lost by the line, {} late, {} frames damaged, {} repeated; ages too young by \
         {young} s at most, too old by {old}; {rings} alarms",
        counts.kept, week.lost, week.late, week.damaged, week.repeated
    );
    assert_eq!(counts.kept as usize, week.sent.len());
    assert_eq!(counts.repeated as usize, week.repeated);
    assert_eq!((counts.refused, counts.without_place), (0, 0));
    assert!(counts.dropped as usize >= week.damaged);
    assert!(week.lost > 50 && week.late > 50 && week.damaged > 50 && week.repeated > 50);
    assert!(young <= 2 && old <= 20, "an age was too young by {young} s, or too old by {old}");
    assert!(rings > 0);
    assert!(others < 7 * 86_400 / 50, "another was the newest for {others} s");
}

#[test]
fn nothing_valid_is_lost() {
    live(0);
}

#[test]
fn a_slow_crystal() {
    live(-100);
}

#[test]
fn a_fast_crystal() {
    live(100);
}
