//! Episodes by the rules of Danne et al. (2017), Diabetes Care 40:1631, doi:10.2337/dc17-1600, and of Battelino et al.
//! (2023), Lancet Diabetes Endocrinol 11:42, doi:10.1016/S2213-8587(22)00319-9; worked by hand. Where a text leaves a
//! choice open (whether three readings are 15 minutes, which limit ends a level 2 low), both are tried.

mod three_days;
use glidepath::review::{Compact, Config, Counting, EpisodeRule, Episodes, Threshold};
use glidepath::{Glucose, Instant, Span};
use three_days::review;

/// Start and end in minutes; an end of `None` was open when the record ended.
fn list(values: &[i32], rule: EpisodeRule, config: Config) -> Vec<(u32, Option<u32>)> {
    let step = config.interval().secs() as u32;
    let mut episodes = Episodes::new(rule, config);
    let mut found = Vec::new();
    for (i, &value) in (0..).zip(values) {
        let over = episodes.push(Instant::from_secs(step * i), Glucose::from_mg_dl(value as f32).unwrap());
        found.extend(over.map(|e| (e.start.secs() / 60, Some(e.end.secs() / 60))));
    }
    found.extend(episodes.finish().map(|e| (e.start.secs() / 60, None)));
    found
}

const LOW: EpisodeRule = EpisodeRule::LOW_70;
const E4: [i32; 12] = [75, 69, 60, 53, 52, 50, 56, 60, 66, 71, 73, 74];

#[test]
fn lows_by_what_readings_cover_and_by_their_stamps() {
    let (cover, stamps) = (Config::default(), Config::default().with_counting(Counting::Stamped));
    let e1 = [80, 75, 69, 66, 68, 72, 71, 74, 80, 85];
    assert_eq!(list(&e1, LOW, cover), [(10, Some(25))]);
    assert_eq!(list(&e1, LOW, stamps), []);
    assert_eq!(list(&[80, 75, 69, 66, 71, 72, 74, 80, 85, 90], LOW, cover), []); // two readings
    // a single 71 does not end it
    assert_eq!(list(&[80, 69, 65, 60, 71, 68, 66, 72, 75, 78, 80, 81], LOW, cover), [(5, Some(35))]);
    assert_eq!(list(&E4, LOW, cover), [(5, Some(45))]);
    assert_eq!(list(&E4, LOW, stamps), [(5, None)]);
}

#[test]
fn level_2_may_end_at_either_limit() {
    let cover = Config::default();
    assert_eq!(list(&E4, EpisodeRule::LOW_54.ending_at(Threshold::L70), cover), [(15, Some(45))]);
    assert_eq!(list(&E4, EpisodeRule::LOW_54, cover), [(15, Some(30))]);
}

#[test]
fn extended_lows_last_two_hours() {
    let cover = Config::default();
    let lasting = |low: usize| [vec![66; low], vec![75; 4]].concat();
    assert_eq!(list(&lasting(24), EpisodeRule::LONG_LOW, cover), [(0, Some(120))]);
    assert_eq!(list(&lasting(23), EpisodeRule::LONG_LOW, cover), []);
    assert_eq!(list(&lasting(24), EpisodeRule::LONG_LOW.lasting(7201), cover), []); // "more than"
    assert_eq!(list(&lasting(24), EpisodeRule::LONG_LOW, cover.with_counting(Counting::Stamped)), []);
}

#[test]
fn at_15_minutes_one_reading_can_be_an_episode() {
    let cover = Config::new(Span::from_mins(15)).unwrap();
    let stamps = cover.with_counting(Counting::Stamped);
    assert_eq!(list(&[75, 68, 66, 75, 80, 82], LOW, cover), [(15, Some(45))]);
    assert_eq!(list(&[75, 68, 66, 75, 80, 82], LOW, stamps), [(15, Some(45))]);
    assert_eq!(list(&[75, 68, 75, 80, 82], LOW, cover), [(15, Some(30))]);
    assert_eq!(list(&[75, 68, 75, 80, 82], LOW, stamps), []);
}

#[test]
fn a_review_counts_the_same_episodes() {
    let summary = review::<Compact>(E4.map(|v| v as f32), 5, Config::default()).summary();
    let [low, level_2, long, high, ..] = summary.episodes;
    assert_eq!((low.count, low.seconds), (1, 2400));
    assert_eq!((level_2.count, level_2.seconds), (1, 900));
    assert_eq!((long.count, high.count), (0, 0));
}
