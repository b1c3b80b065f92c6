//! Joining records end to end gives the bits of the whole, wherever the cuts are; pooling does not depend on the order;
//! and the wrist's form is small. Properties of ours, no outside source.

use glidepath::review::{Compact, Config, Counting, DayTime, Pool, Pushed, Review, Unit};
use glidepath::{Glucose, Instant, Reading, Span, Status};
use proptest::prelude::*;

#[derive(Clone, Copy, Debug)]
struct Entry {
    reading: Reading,
    local: DayTime,
}

fn entries() -> impl Strategy<Value = Vec<Entry>> {
    let step =
        prop_oneof![60 => Just(300_u32), 20 => 1_u32..700, 3 => 1_000_u32..8_000, 1 => 40_000_u32..300_000];
    let change = -20.0_f32..20.0;
    (prop::collection::vec((step, change, 0_u8..5), 1..700), 0_u32..86_400).prop_map(|(steps, start)| {
        let (mut at, mut mg_dl) = (start, 100.0_f32);
        steps
            .into_iter()
            .map(|(step, change, status)| {
                at += step;
                mg_dl = (mg_dl + change).clamp(39.0, 401.0);
                let status =
                    [Status::Normal, Status::Normal, Status::Normal, Status::BelowRange, Status::AboveRange]
                        [usize::from(status)];
                let reading = Reading::new(Instant::from_secs(at), Glucose::from_mg_dl(mg_dl).unwrap())
                    .with_status(status);
                // a clock that is set back an hour after a day and a half
                let local = if at > 130_000 { at - 3600 } else { at };
                Entry { reading, local: DayTime::from_secs(local) }
            })
            .collect()
    })
}

fn review(config: Config, entries: &[Entry]) -> Review {
    let mut review = Review::new(config);
    for entry in entries {
        assert_eq!(review.push(&entry.reading, entry.local), Pushed::Counted);
    }
    review
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(if cfg!(miri) { 2 } else { 96 }))]
    #[test]
    fn any_split_joins_to_the_whole(
        entries in entries(),
        cuts in prop::collection::vec(0_usize..700, 0..5),
        mmol_l: bool,
        stamped: bool,
        from_the_right: bool,
    ) {
        let config = Config::new(Span::from_mins(5)).unwrap()
            .with_unit(if mmol_l { Unit::MmolL } else { Unit::MgDl })
            .with_counting(if stamped { Counting::Stamped } else { Counting::Covered });
        let mut cuts: Vec<usize> = cuts.into_iter().map(|cut| cut.min(entries.len())).collect();
        cuts.extend([0, entries.len()]);
        cuts.sort_unstable();
        let parts: Vec<Review> = cuts.windows(2).map(|w| review(config, &entries[w[0]..w[1]])).collect();
        let whole = review(config, &entries);
        let joined = if from_the_right {
            parts.into_iter().rev().reduce(|later, mut earlier| { earlier.append(&later).unwrap(); earlier })
        } else {
            parts.into_iter().reduce(|mut earlier, later| { earlier.append(&later).unwrap(); earlier })
        };
        let joined = joined.unwrap();
        prop_assert_eq!(joined.summary(), whole.summary());
        prop_assert_eq!(joined.patterns(), whole.patterns());
        prop_assert_eq!(joined, whole); // and every bit of what is still open
    }

    #[test]
    fn a_pool_does_not_depend_on_the_order(people in prop::collection::vec(entries(), 1..5)) {
        let reviews: Vec<Review> = people.iter().map(|entries| review(Config::default(), entries)).collect();
        let mut one_way = Pool::<Compact>::default();
        reviews.iter().for_each(|review| one_way.add(review));
        let (mut first, mut second) = (Pool::default(), Pool::default());
        reviews.iter().rev().enumerate().for_each(|(i, review)| if i % 2 == 0 { &mut first } else { &mut second }.add(review));
        first.merge(&second);
        prop_assert_eq!(one_way.summary(), first.summary());
        prop_assert_eq!(one_way.summary().readings, people.iter().map(|p| p.len() as u32).sum::<u32>());
        prop_assert_eq!(one_way, first);
    }
}

#[test]
fn what_does_not_follow_is_refused_and_changes_nothing() {
    let reading = |at| Reading::new(Instant::from_secs(at), Glucose::from_mg_dl(100.0).unwrap());
    let mut early = Review::new(Config::default());
    assert_eq!(early.push(&reading(600), DayTime::from_secs(600)), Pushed::Counted);
    let before = early.clone();
    assert_eq!(early.push(&reading(600), DayTime::from_secs(600)), Pushed::NotLater);
    assert_eq!(early.push(&reading(900).with_status(Status::Fault), DayTime::from_secs(900)), Pushed::Fault);
    assert!(early.append(&before).is_err());
    let other = Review::new(Config::default().with_unit(Unit::MmolL));
    assert_eq!(early.append(&other).unwrap_err().parameter(), "config");
    assert_eq!(early, before);
}

#[test]
fn everything_fits_in_8_kib() {
    let size = size_of::<Review<Compact>>();
    println!("a review on the wrist takes {size} bytes");
    assert!(size <= 8192, "{size}");
}
