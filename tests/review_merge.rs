//! Joining records end to end gives the bits of the whole, wherever the cuts are; pooling does not depend on the order;
//! and the wrist's form is small. Properties of ours, no outside source.

use glidepath::review::{Compact, Config, Counting, DayTime, Exact, Grid, Pool, Pushed, Review, Unit};
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

fn saved<G: Grid>(pool: &mut Pool<G>) -> Vec<u8> {
    let mut buffer = vec![0xAA; Pool::<G>::SAVED_BYTES];
    let length = pool.save(&mut buffer).unwrap();
    buffer.truncate(length);
    buffer
}

fn exact(entries: &[Entry]) -> Box<Pool<Exact>> {
    let mut review = Box::new(Review::<Exact>::with_grid(Config::default()));
    entries.iter().for_each(|entry| assert_eq!(review.push(&entry.reading, entry.local), Pushed::Counted));
    let mut pool = Box::<Pool<Exact>>::default();
    pool.add(&review);
    assert_eq!(pool.summary(), review.summary()); // of one record it says what the record says
    pool
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(if cfg!(miri) { 1 } else { 24 }))]
    #[test]
    fn a_pool_goes_to_bytes_and_back_and_damage_leaves_it_alone(
        people in prop::collection::vec(entries(), 1..3),
        at: prop::sample::Index,
        change in 1_u8..=255,
    ) {
        let mut pool = Box::<Pool<Exact>>::default();
        people.iter().for_each(|entries| pool.merge(&exact(entries)));
        let bytes = saved(&mut *pool);
        let mut back = exact(&people[0]); // what was there is read over
        back.load(&bytes).unwrap();
        prop_assert_eq!(&back, &pool);
        prop_assert_eq!(saved(&mut *back), bytes.clone());
        for cut in [0, 3, 7, 8, bytes.len() / 2, bytes.len() - 1] {
            prop_assert!(back.load(&bytes[..cut]).is_err());
        }
        prop_assert!(back.load(&[&bytes[..], &[0]].concat()).is_err());
        let mut other = bytes.clone();
        other[at.index(bytes.len())] ^= change;
        let _ = back.load(&other); // other numbers or a refusal, and no panic
        for head in 0..8 {
            let mut other = bytes.clone();
            other[head] ^= change;
            prop_assert!(exact(&[]).load(&other).is_err(), "{}", head);
        }
        let mut compact = Pool::<Compact>::default();
        people.iter().for_each(|entries| compact.add(&review(Config::default(), entries)));
        let bytes = saved(&mut compact);
        let mut back = Pool::<Compact>::default();
        back.load(&bytes).unwrap();
        prop_assert_eq!(&back, &compact);
        let before = pool.clone();
        prop_assert!(pool.load(&bytes).is_err()); // of another grid
        prop_assert_eq!(pool, before);
        prop_assert!(compact.save(&mut [0; 4000]).is_err());
    }
}

/// As many copies of one record as make 4,000 million readings: no sum comes to its end on the way.
#[test]
fn a_pool_of_everyone_has_the_figures_of_one() {
    let entries: Vec<Entry> = (0..8 * 288)
        .map(|i| {
            let at = 300 * i;
            let swing = 110.0 * ((i * i) as f32 / 9000.0).sin();
            let mg_dl = 165.0 + swing + f32::from((i / 288 % 3) as u16) * 14.0;
            let reading = Reading::new(Instant::from_secs(at), Glucose::from_mg_dl(mg_dl).unwrap());
            Entry { reading, local: DayTime::from_secs(at) }
        })
        .collect();
    let one = exact(&entries);
    let mut many = one.clone();
    let doublings = if cfg!(miri) { 2 } else { 20 };
    for _ in 0..doublings {
        let half = many.clone();
        many.merge(&half);
    }
    let (one, all) = (one.summary(), many.summary());
    assert_eq!(all.readings, one.readings << doublings);
    let near = |name: &str, one: Option<f32>, all: Option<f32>, within: f32| {
        let (one, all) = (one.unwrap(), all.unwrap());
        assert!((all / one - 1.0).abs() < within, "{name}: {one} {all}");
    };
    for (name, within, of) in [
        ("mean", 1e-6, (|s| s.mean_mg_dl) as fn(&glidepath::review::Summary) -> Option<f32>),
        ("sd", 1e-3, |s| s.sd_mg_dl),
        ("lbgi", 1e-6, |s| s.lbgi),
        ("hbgi", 1e-6, |s| s.hbgi),
        ("m", 1e-6, |s| s.m_value),
        ("mage", 1e-6, |s| s.mage_mg_dl),
        ("rises", 1e-6, |s| s.mage_rises_mg_dl),
        ("falls", 1e-6, |s| s.mage_falls_mg_dl),
        ("modd", 1e-6, |s| s.modd_mg_dl),
        ("conga", 1e-3, |s| s.conga_24h),
        ("gvp", 1e-6, |s| s.gvp_percent),
        ("mag", 1e-6, |s| s.mag_mg_dl_h),
        ("within", 1e-6, |s| s.sd_within_day),
        ("active", 1e-6, |s| s.active_percent),
        ("low", 1e-6, |s| s.by_time.map(|r| r.below_70())),
        ("target", 1e-6, |s| s.by_readings.map(|r| r.from_70_to_180)),
    ] {
        near(name, of(&one), of(&all), within);
    }
    // the divisor n - 1 weighs little with many days
    let days = one.whole_days as f32;
    let spread = one.sd_between_day_means.map(|sd| sd * ((days - 1.0) / days).sqrt());
    near("between days", spread, all.sd_between_day_means, 1e-5);
    for ((one, all), seconds) in one.episodes.iter().zip(all.episodes).zip(many.episode_seconds()) {
        assert_eq!(seconds, u64::from(one.seconds) << doublings);
        assert_eq!(all.count, one.count << doublings);
    }
    assert!(one.episodes[3].seconds > 0 && all.episodes[3].seconds == u32::MAX);
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
