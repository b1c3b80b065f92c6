use super::*;
use proptest::prelude::*;
use std::vec::Vec as List;

/// A sensor without a radio, of whole answers: what is asked of it, and what it says.
struct Sensor {
    records: List<u16>,
    counted: u16,
    start: SessionStart,
    within: bool,
    offers: List<Number>,
    asked: List<List<u8>>,
}

const ALL: [Number; 7] = [
    Number::MEASUREMENT,
    Number::FEATURE,
    Number::STATUS,
    Number::START,
    Number::RUN_TIME,
    Number::RACP,
    Number::OPS,
];

fn start(day: u8) -> SessionStart {
    SessionStart::new(DateTime::new((2026, 11, day), (6, 0, 0)).unwrap())
}

fn payload(minute: u16) -> List<u8> {
    let value = glidepath::gatt::Sfloat::nearest(100.0);
    CgmMeasurement::new(value, minute).encode(E2eCrc::Absent).as_bytes().to_vec()
}

impl Sensor {
    fn new(last: u16) -> Self {
        Self {
            records: (0..=last).step_by(5).collect(),
            counted: last,
            start: start(2),
            within: true,
            offers: ALL.to_vec(),
            asked: List::new(),
        }
    }

    /// Answers one step; what RACP reports is told unless `lost` says so.
    fn answer(&mut self, collector: &mut Collector, step: Step, now_s: u32, lost: impl Fn(u16) -> bool) {
        match step {
            Step::Read(number) => {
                let value = match number {
                    Number::FEATURE => std::vec![0, 0, 0, 0x59, 0xFF, 0xFF],
                    Number::STATUS => std::vec![self.counted as u8, (self.counted >> 8) as u8, 0, 0, 0],
                    Number::START => self.start.encode(E2eCrc::Absent).as_bytes().to_vec(),
                    Number::RUN_TIME => std::vec![240, 0],
                    _ => return collector.read(number, None, now_s),
                };
                collector.read(number, Some(&value), now_s);
            }
            Step::Subscribe(number) => collector.done(number, true, now_s),
            Step::Write(Number::OPS, _) => {
                collector.done(Number::OPS, true, now_s);
                collector.notified(Number::OPS, &[3, 5], now_s);
            }
            Step::Write(number, bytes) => {
                collector.done(number, true, now_s);
                self.asked.push(bytes.to_vec());
                let (first, last) = match bytes.as_slice() {
                    [1, 4, 1, a, b, c, d] if self.within => {
                        (u16::from_le_bytes([*a, *b]), u16::from_le_bytes([*c, *d]))
                    }
                    [1, 3, 1, a, b] => (u16::from_le_bytes([*a, *b]), u16::MAX),
                    [1, 1] => (0, u16::MAX),
                    _ => return collector.notified(Number::RACP, &[6, 0, 1, 4], now_s),
                };
                for minute in
                    self.records.iter().filter(|minute| (first..=last).contains(*minute) && !lost(**minute))
                {
                    collector.notified(Number::MEASUREMENT, &payload(*minute), now_s);
                }
                collector.notified(Number::RACP, &[6, 0, 1, 1], now_s);
            }
            Step::Wait(_) | Step::Leave(_) => {}
        }
    }
}

/// Until it waits or leaves: what came, and that last step. Ends, or the test fails.
fn settle(
    sensor: &mut Sensor,
    collector: &mut Collector,
    now_s: u32,
    lost: impl Fn(u16) -> bool + Copy,
) -> (List<Frame>, Step) {
    let mut frames = List::new();
    for _ in 0..400 {
        let step = collector.next(now_s);
        frames.extend(core::iter::from_fn(|| collector.frame()));
        if matches!(step, Step::Wait(_) | Step::Leave(_)) {
            return (frames, step);
        }
        sensor.answer(collector, step, now_s, lost);
        frames.extend(core::iter::from_fn(|| collector.frame()));
    }
    panic!("it does not come to rest");
}

fn minutes(frames: &[Frame]) -> List<u16> {
    frames
        .iter()
        .filter_map(|frame| match frame {
            Frame::Measurement(record) => Some(record.offset_min()),
            _ => None,
        })
        .collect()
}

fn linked(sensor: &Sensor) -> Collector {
    let mut collector = Collector::new(Kind::Sensor, Settled::default());
    collector.linked(&sensor.offers, 0);
    collector
}

#[test]
fn a_new_sensor_gives_its_start_and_then_all_it_has_in_order() {
    let mut sensor = Sensor::new(1000);
    let mut collector = linked(&sensor);
    let (frames, step) = settle(&mut sensor, &mut collector, 0, |_| false);
    assert_eq!(frames[0], Frame::Start(start(2)));
    assert!(matches!(frames[1], Frame::Status(_)));
    assert_eq!(minutes(&frames), sensor.records);
    assert!(matches!(step, Step::Wait(_)));
    assert_eq!(collector.ledger().open(), (0, 0));
    assert_eq!(
        collector.settled(),
        Settled { session: start(2).local().instant().unwrap().secs(), below: 1001 }
    );
    assert!(sensor.asked.iter().all(|asked| asked.len() == 7), "in ranges");
    assert_eq!(sensor.asked.len(), 9, "201 records by 24");
}

#[test]
fn what_is_lost_on_the_way_is_asked_for_again_whatever_was_reported() {
    let mut sensor = Sensor::new(300);
    let mut collector = linked(&sensor);
    let round = core::cell::Cell::new(0);
    let lost = |minute: u16| {
        round.set(round.get() + 1);
        round.get() < 40 && minute.is_multiple_of(3)
    };
    let (frames, _) = settle(&mut sensor, &mut collector, 0, lost);
    let mut got = minutes(&frames);
    got.sort_unstable();
    assert_eq!(got, sensor.records);
    // what never comes is given up after three answers, and the link is not left for it
    let mut sensor = Sensor::new(300);
    let mut collector = linked(&sensor);
    let (frames, step) = settle(&mut sensor, &mut collector, 0, |minute| minute == 100);
    assert_eq!(minutes(&frames).len(), 60);
    assert_eq!((collector.ledger().open(), matches!(step, Step::Wait(_))), ((0, 1), true));
    let asks =
        sensor.asked.iter().filter(|asked| asked[3] <= 100 && asked[5] >= 100 && asked[6] == 0).count();
    assert_eq!(asks, 3);
}

#[test]
fn a_sensor_that_knows_no_ranges_is_asked_from_the_first_that_is_owed() {
    let mut sensor = Sensor::new(150);
    sensor.within = false;
    let mut collector = linked(&sensor);
    let (frames, _) = settle(&mut sensor, &mut collector, 0, |_| false);
    assert_eq!(minutes(&frames), sensor.records);
    assert_eq!(sensor.asked[1], [1, 3, 1, 0, 0]);
}

#[test]
fn without_a_status_all_is_asked_for_once() {
    let mut sensor = Sensor::new(100);
    sensor.offers.retain(|number| *number != Number::STATUS);
    let mut collector = linked(&sensor);
    // told of by no status, its first record tells
    collector.notified(Number::MEASUREMENT, &payload(100), 0);
    let (frames, step) = settle(&mut sensor, &mut collector, 0, |_| false);
    let mut got = minutes(&frames);
    got.sort_unstable();
    assert_eq!((got, matches!(step, Step::Wait(_))), (sensor.records, true));
}

#[test]
fn what_runs_ahead_of_a_transfer_waits_for_it() {
    let mut sensor = Sensor::new(50);
    let mut collector = linked(&sensor);
    let mut frames = List::new();
    loop {
        let step = collector.next(0);
        if let Step::Write(Number::RACP, _) = step {
            collector.notified(Number::MEASUREMENT, &payload(55), 0);
            frames.extend(core::iter::from_fn(|| collector.frame()));
            assert_eq!(minutes(&frames), []);
            sensor.answer(&mut collector, step, 0, |_| false);
            break;
        }
        sensor.answer(&mut collector, step, 0, |_| false);
    }
    let (more, _) = settle(&mut sensor, &mut collector, 0, |_| false);
    frames.extend(more);
    assert_eq!(minutes(&frames), (0..=55).step_by(5).collect::<List<_>>());
    // not beyond the link
    let mut collector = linked(&sensor);
    for _ in 0..40 {
        match collector.next(0) {
            Step::Write(Number::RACP, _) => break,
            step => sensor.answer(&mut collector, step, 0, |_| false),
        }
    }
    let _: List<_> = core::iter::from_fn(|| collector.frame()).collect();
    collector.notified(Number::MEASUREMENT, &payload(60), 0);
    assert_eq!(collector.frame(), None);
    collector.lost(1);
    assert!(matches!(collector.frame(), Some(Frame::Measurement(_))));
}

#[test]
fn a_link_that_breaks_off_asks_for_nothing_in_vain() {
    let sensor = Sensor::new(50);
    let mut collector = linked(&sensor);
    for link in 0..10 {
        collector.linked(&sensor.offers, link);
        collector.read(Number::STATUS, Some(&[50, 0, 0, 0, 0]), link);
        for _ in 0..40 {
            if let Step::Write(Number::RACP, _) = collector.next(link) {
                break;
            }
        }
        collector.lost(link);
    }
    assert_eq!(collector.ledger().open(), (11, 0));
}

#[test]
fn a_silent_transfer_ends_by_itself_and_three_end_the_link() {
    let mut sensor = Sensor::new(50);
    let mut collector = linked(&sensor);
    let (mut now_s, mut aborts) = (0, 0);
    let why = loop {
        match collector.next(now_s) {
            Step::Write(Number::RACP, bytes) => aborts += usize::from(bytes[0] == 3),
            Step::Wait(seconds) => now_s += seconds,
            Step::Leave(why) => break why,
            step => sensor.answer(&mut collector, step, now_s, |_| false),
        }
        assert!(now_s < 120);
    };
    assert_eq!((why, aborts, collector.counts().failed), (Why::Silent, 3, 3));
}

#[test]
fn a_sensor_that_does_not_speak_is_asked_how_far_it_has_counted() {
    let mut sensor = Sensor::new(50);
    let mut collector = linked(&sensor);
    let _ = settle(&mut sensor, &mut collector, 0, |_| false);
    sensor.counted = 62;
    sensor.records.extend([55, 60]);
    assert!(matches!(collector.next(329), Step::Wait(1)));
    let (frames, _) = settle(&mut sensor, &mut collector, 330, |_| false);
    assert_eq!(minutes(&frames), [55, 60]);
    // nothing new for twenty minutes
    let step = settle(&mut sensor, &mut collector, 330 + 20 * 60, |_| false).1;
    assert_eq!(step, Step::Leave(Why::Silent));
}

#[test]
fn another_start_with_a_count_that_goes_on_is_a_correction() {
    let mut sensor = Sensor::new(500);
    let mut collector = linked(&sensor);
    let _ = settle(&mut sensor, &mut collector, 0, |_| false);
    sensor.start = start(1);
    sensor.counted = 505;
    sensor.records.push(505);
    collector.lost(300);
    collector.linked(&sensor.offers, 300);
    let (frames, _) = settle(&mut sensor, &mut collector, 300, |_| false);
    assert_eq!((minutes(&frames), collector.counts().sessions), (List::from([505]), 0));
    assert!(frames.contains(&Frame::Start(start(1))), "the wrist is told of it");
}

#[test]
fn a_count_that_begins_anew_is_another_session() {
    let mut sensor = Sensor::new(500);
    let mut collector = linked(&sensor);
    let _ = settle(&mut sensor, &mut collector, 0, |_| false);
    sensor = Sensor::new(10);
    sensor.start = start(5);
    // held of the old session: told apart all the same
    collector.notified(Number::MEASUREMENT, &payload(10), 600);
    let (frames, _) = settle(&mut sensor, &mut collector, 600, |_| false);
    assert_eq!((minutes(&frames), collector.counts().sessions), (List::from([0, 5, 10]), 1));
    assert!(frames.contains(&Frame::Start(start(5))));
}

#[test]
fn a_start_that_is_none_is_worked_out_or_made_up() {
    let unknown = [0, 0, 0, 0, 0, 0, 0, 0x80, 0xFF];
    for (time, told) in [
        (Some([0xEA, 0x07, 3, 1, 0, 30, 0, 0, 0, 0]), ((2026, 2, 28), (23, 0, 0))),
        (None, ((2001, 1, 1), (0, 0, 0))),
    ] {
        let mut collector = linked(&Sensor::new(90));
        if let Some(time) = time {
            collector.read(Number::TIME, Some(&time), 0);
        }
        collector.read(Number::START, Some(&unknown), 0);
        collector.read(Number::STATUS, Some(&[90, 0, 0, 0, 0]), 0);
        let starts: List<_> = core::iter::from_fn(|| collector.frame())
            .filter_map(|frame| match frame {
                Frame::Start(start) => Some((start.local().date(), start.local().time())),
                _ => None,
            })
            .collect();
        assert_eq!(starts, [told]);
    }
}

#[test]
fn what_cannot_be_understood_leaves_the_link() {
    let sensor = Sensor::new(50);
    let mut collector = linked(&sensor);
    for attempt in 0..3 {
        assert_eq!(collector.next(0), Step::Read(Number::FEATURE), "{attempt}");
        collector.read(Number::FEATURE, Some(&[1, 2]), 0);
    }
    assert_eq!(collector.next(0), Step::Leave(Why::Unusable));
    collector.linked(&[Number::FEATURE], 0);
    assert_eq!(collector.next(0), Step::Leave(Why::Unusable), "no measurements");
    collector.linked(&sensor.offers, 0);
    for _ in 0..200 {
        collector.notified(Number::MEASUREMENT, &[9, 9], 0);
    }
    assert_eq!(collector.next(0), Step::Leave(Why::Malformed));
}

#[test]
fn a_session_is_started_only_when_wanted_and_stopped() {
    let stopped = |collector: &mut Collector| {
        let sensor = Sensor::new(0);
        collector.linked(&sensor.offers, 0);
        collector.read(Number::STATUS, Some(&[0, 0, 1, 0, 0]), 0);
        let mut started = 0;
        for _ in 0..40 {
            match collector.next(60) {
                Step::Write(Number::OPS, bytes) if bytes[0] == 0x1A => {
                    started += 1;
                    collector.notified(Number::OPS, &[0x1C, 0x1A, 1], 60);
                }
                Step::Write(Number::OPS, _) => collector.notified(Number::OPS, &[3, 5], 60),
                Step::Write(Number::RACP, _) => collector.notified(Number::RACP, &[6, 0, 1, 6], 60),
                Step::Read(Number::STATUS) => collector.read(Number::STATUS, Some(&[0, 0, 1, 0, 0]), 60),
                Step::Read(Number::FEATURE) => {
                    collector.read(Number::FEATURE, Some(&[0, 0, 0, 0x59, 0xFF, 0xFF]), 60);
                }
                _ => {}
            }
            while collector.frame().is_some() {}
        }
        started
    };
    let mut collector = Collector::new(Kind::Sensor, Settled::default());
    assert_eq!(stopped(&mut collector), 0);
    collector.start_session();
    assert_eq!(stopped(&mut collector), 1);
}

#[test]
fn a_meter_is_asked_for_what_is_new_and_left() {
    use glidepath::gatt::{Concentration, Sample, SampleLocation, SampleType, Sfloat};
    let result = |number| {
        let sample = Sample {
            concentration: Concentration::KgPerL(Sfloat::nearest(0.001)),
            kind: SampleType::CapillaryWholeBlood,
            location: SampleLocation::Finger,
        };
        let when = DateTime::new((2026, 11, 2), (6, 0, 0)).unwrap();
        GlucoseMeasurement::new(number, when, sample).encode()
    };
    let mut collector = Collector::new(Kind::Meter, Settled::default());
    let mut numbers = List::new();
    for (link, wanted) in [(0, List::from([7, 8, 9])), (1, List::from([10]))] {
        collector.linked(&[Number::METER, Number::RACP], link * 1000);
        let mut now_s = link * 1000;
        let mut first = true;
        let left = loop {
            match collector.next(now_s) {
                Step::Write(Number::RACP, bytes) => {
                    if first {
                        let from: &[u8] = if link == 0 { &[1, 1] } else { &[1, 3, 1, 10, 0] };
                        assert_eq!(bytes, from);
                        for number in &wanted {
                            collector.notified(Number::METER, result(*number).as_bytes(), now_s);
                        }
                    }
                    first = false;
                    collector.notified(Number::RACP, &[6, 0, 1, 1], now_s);
                }
                Step::Wait(seconds) => now_s += seconds,
                Step::Leave(why) => break why,
                _ => {}
            }
            assert!(now_s < link * 1000 + 60);
            numbers.extend(core::iter::from_fn(|| collector.frame()).map(|frame| match frame {
                Frame::Meter(result) => result.sequence(),
                other => panic!("{other:?}"),
            }));
        };
        assert_eq!(left, Why::Finished);
        collector.lost(now_s);
    }
    assert_eq!(numbers, [7, 8, 9, 10]);
    assert_eq!(collector.settled().below, 11);
}

#[test]
fn dates_are_those_of_the_calendar() {
    for (date, time) in
        [((1970, 1, 1), (0, 0, 0)), ((2000, 2, 29), (23, 59, 59)), ((2026, 12, 31), (1, 2, 3))]
    {
        let day = DateTime::new(date, time).unwrap();
        assert_eq!(date_time(day.instant().unwrap()), Some(day));
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(200))]
    /// Any bytes, in any order, at any time: it goes on, and says what to do next.
    #[test]
    fn nothing_that_comes_brings_it_down(
        events in prop::collection::vec(
            (0_u8..8, 0_u8..12, prop::collection::vec(any::<u8>(), 0..24), 0_u32..400, any::<bool>()), 0..200),
        meter in any::<bool>(), at in any::<u32>(),
    ) {
        let numbers = [
            Number::MEASUREMENT, Number::FEATURE, Number::STATUS, Number::START, Number::RUN_TIME, Number::OPS,
            Number::RACP, Number::METER, Number::METER_FEATURE, Number::TIME, Number(0), Number(0xFFFF),
        ];
        let kind = if meter { Kind::Meter } else { Kind::Sensor };
        let mut collector = Collector::new(kind, Settled { session: at, below: at as u16 });
        collector.linked(&numbers, at);
        let mut now_s = at;
        for (event, number, bytes, passed, yes) in events {
            now_s = now_s.wrapping_add(passed);
            let number = numbers[usize::from(number)];
            match event {
                0 => collector.read(number, yes.then_some(&bytes), now_s),
                1 => collector.done(number, yes, now_s),
                2 => collector.lost(now_s),
                3 => collector.linked(&numbers, now_s),
                4 => collector.start_session(),
                5 => {
                    let mut sealed = payload(u16::from(bytes.len() as u8) * 40);
                    sealed.extend(&bytes);
                    collector.notified(number, &sealed, now_s);
                }
                _ => collector.notified(number, &bytes, now_s),
            }
            if let Step::Wait(seconds) = collector.next(now_s) {
                prop_assert!((1..=3600).contains(&seconds), "{}", seconds);
            }
            let _ = (collector.settled(), collector.ledger().open());
            if yes {
                while collector.frame().is_some() {}
            }
        }
    }
}

/// Status and warning octets, of which 0x08 is a malfunction in one order and no fault in the other.
#[test]
fn records_whose_octets_are_in_doubt_are_counted_and_handed_on() {
    let mut sensor = Sensor::new(10);
    let mut collector = linked(&sensor);
    let _ = settle(&mut sensor, &mut collector, 0, |_| false);
    for (minute, octets) in [(15, [8, 0]), (20, [0, 8]), (25, [0, 0]), (30, [8, 8])] {
        let mut bytes = payload(minute);
        (bytes[0], bytes[1]) = (bytes[0] + 2, 0xA0);
        bytes.extend(octets);
        collector.notified(Number::MEASUREMENT, &bytes, u32::from(minute) * 60);
    }
    let frames: List<Frame> = core::iter::from_fn(|| collector.frame()).collect();
    assert_eq!((minutes(&frames), collector.counts().order_in_doubt), (List::from([15, 20, 25, 30]), 2));
}
