//! The count of elapsed time under any clocks: it never falls, nothing lies in its future, and a clock that was set is
//! recognised by the third reading.
#![no_main]

use arbitrary::Arbitrary;
use glidepath::timeline::{Placed, Timeline};
use glidepath::{Glucose, Instant, Reading, Span};
use libfuzzer_sys::fuzz_target;

#[derive(Arbitrary, Debug)]
enum Event {
    Count(u32),
    Tick(Option<u32>),
    Stamp(u32, u8, bool),
    /// A stamp so many seconds after the newest.
    Near(i16, u8),
    Start(u32),
    PowerCut,
}

#[derive(Arbitrary, Debug)]
struct Input {
    events: Vec<Event>,
    /// Whether the device counts its own seconds, and else whether its clock on the wall ticks.
    counts: bool,
    ticks: bool,
    /// By how much the sensor's clock is set in the end.
    set: i32,
    /// Seconds between its readings then.
    spacing: u16,
}

fuzz_target!(|input: Input| {
    let mut timeline = Timeline::new();
    let (mut stamp, mut resumed) = (0, false);
    for event in &input.events {
        let before = timeline.now();
        let begun = timeline != Timeline::new();
        match *event {
            Event::Count(secs) => timeline.set_uptime(secs),
            Event::Tick(wall) => timeline.tick(wall.map(Instant::from_secs)),
            Event::Stamp(at, mg_dl, taken) => {
                stamp = at;
                resumed &= matches!(place(&mut timeline, at, mg_dl, taken), Placed::Unknown);
            }
            Event::Near(by, mg_dl) => {
                stamp = stamp.saturating_add_signed(i32::from(by));
                resumed &= matches!(place(&mut timeline, stamp, mg_dl, false), Placed::Unknown);
            }
            Event::Start(at) => assert!(timeline.start_of(Instant::from_secs(at)) <= timeline.now()),
            Event::PowerCut => {
                timeline.resume();
                resumed = true;
            }
        }
        assert!(!begun || timeline.now() >= before, "the count fell at {event:?}");
        assert!(!resumed || timeline.is_resumed(), "an age is known after the power was away");
    }
    set(&input, Timeline::new());
});

/// Nothing of the future.
fn place(timeline: &mut Timeline, at: u32, mg_dl: u8, taken: bool) -> Placed {
    let glucose = Glucose::from_mg_dl(f32::from(mg_dl)).expect("in range");
    let placed = timeline.place(&Reading::new(Instant::from_secs(at), glucose), taken);
    if let Placed::AsStamped(at) | Placed::OnArrival(at) | Placed::ClockSet(at, _) = placed {
        assert!(at <= timeline.now(), "{placed:?} is ahead of {:?}", timeline.now());
    }
    placed
}

/// A sensor that reads regularly, whose clock is set by any amount while the device's goes on: from the third reading
/// on its stamps are right, and in the meantime no reading counts as older than the last true one.
fn set(input: &Input, mut timeline: Timeline) {
    if !input.counts && !input.ticks {
        return; // the stamps are then the only clock
    }
    let base = Instant::from_secs(1_800_000_000);
    let spacing = 60 + i32::from(input.spacing % 840);
    let live = |timeline: &mut Timeline, secs: i32| {
        if input.counts {
            timeline.set_uptime(secs as u32);
        }
        if input.ticks {
            timeline.tick(Some(base.plus(Span::from_secs(secs))));
        }
    };
    let by = input.set % 1_000_000_000;
    for k in 0..16 {
        // minutes pass, then a reading comes
        for secs in (k * spacing..(k + 1) * spacing).step_by(60) {
            live(&mut timeline, secs);
        }
        let secs = (k + 1) * spacing;
        live(&mut timeline, secs);
        let now = timeline.now();
        let off = if k < 8 { 0 } else { by };
        let stamp = base.plus(Span::from_secs(secs)).plus(Span::from_secs(off));
        let placed = place(&mut timeline, stamp.secs(), 100 + k as u8, false);
        let at = match placed {
            Placed::AsStamped(at) | Placed::OnArrival(at) | Placed::ClockSet(at, _) => at,
            Placed::Unknown => {
                assert!((8..10).contains(&k), "{k}: set by {by}, lost");
                continue;
            }
        };
        let late = timeline.now().since(at);
        if k < 8 {
            assert!(late <= Span::from_mins(2), "an honest stamp is {late:?} late");
        }
        if k >= 10 {
            assert!(late <= Span::from_mins(15), "{k}: set by {by}, {placed:?}, {late:?} late");
            assert!(timeline.now().since(now) <= Span::from_mins(10), "{k}: set by {by}, {placed:?}");
        }
    }
}
