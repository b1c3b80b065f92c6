//! The count of elapsed time alone: clocks set, stopped and reading nonsense, and the power away.

use crate::{Event, Hash, Stream};
use core::hint::black_box;
use glidepath::timeline::{Placed, Timeline};
use glidepath::{Reading, Span, TrendMonitor, TrendView};

/// All that a trend monitor answers.
fn answers(hash: &mut Hash, view: &TrendView) {
    hash.put(view.shown().map(|shown| (shown.glucose, shown.doubted, shown.age)));
    hash.put((view.trend().words(), view.low_ahead().map(glidepath::Probability::get)));
    hash.put((view.warning().map(|kind| kind as u8), view.trigger(), view.is_monitoring()));
}

/// Trend and low ahead alone, through the same clocks.
fn trends(hash: &mut Hash, events: usize) {
    let mut monitor = TrendMonitor::new(black_box(glidepath::trend::Bands::default()));
    let mut before = None;
    for event in Stream::new(black_box(29)).take(events) {
        match event {
            Event::Reading(reading) => {
                answers(hash, &monitor.push(&reading));
                if let Some(before) = before.replace(reading.at()) {
                    let span = reading.at().checked_since(before);
                    hash.put(span.and_then(|span| before.checked_plus(span)));
                    hash.put(span.map(|span| (span.checked_add(span), Span::ZERO.checked_sub(span))));
                }
            }
            Event::Tick(at) => answers(hash, &monitor.tick(at)),
            Event::Uptime(secs) => monitor.set_uptime(secs),
            Event::PowerReturned => monitor.power_returned(),
            _ => answers(hash, &monitor.tick(None)),
        }
    }
}

pub fn timeline(events: usize) -> Hash {
    let mut hash = Hash::new();
    trends(&mut hash, events);
    let mut timeline = Timeline::new();
    let mut set = Span::ZERO;
    for (k, event) in Stream::new(black_box(23)).take(events).enumerate() {
        match event {
            Event::Reading(reading) => {
                let stamped =
                    Reading::new(reading.at().plus(set), reading.glucose()).with_status(reading.status());
                let placed = timeline.place(&stamped, k % 7 == 0);
                hash.put(match placed {
                    Placed::AsStamped(at) => (0_u8, at, Span::ZERO),
                    Placed::OnArrival(at) => (1, at, Span::ZERO),
                    Placed::ClockSet(at, moved) => (2, at, moved),
                    Placed::Unknown => (3, timeline.now(), Span::ZERO),
                });
                hash.put((timeline.count_of(stamped.at()), timeline.stamp_of(timeline.now())));
            }
            Event::Tick(at) if k % 3 == 0 => timeline.tick(Some(at.plus(set))),
            Event::Tick(_) => timeline.tick(None),
            Event::Uptime(secs) => timeline.set_uptime(secs),
            Event::PowerReturned => timeline.resume(),
            Event::SensorStarted(at) => hash.put(timeline.start_of(at)),
            Event::Offset(offset) => set = offset.unwrap_or(Span::ZERO),
            Event::Snooze(_, span) => set = span,
            Event::Restart if timeline.is_at_end() => timeline = Timeline::new(),
            Event::Restart | Event::Fingerstick(_) | Event::Acknowledge => {}
        }
        hash.put((timeline.now(), timeline.is_resumed(), timeline.is_at_end()));
        hash.put(timeline.wall_of(timeline.now()));
    }
    hash
}
