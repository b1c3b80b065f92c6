//! How often alarms would have rung, how many were true, and how much warning they gave.
//!
//! One alarm is a first ring ([`Cause::New`]). An alarm of the low family is **true** when a low (below 70 mg/dL for 15
//! minutes or more, by the sensor's own readings, of two by the lower one's) holds then or begins within the window after it; one of the high family
//! likewise with a high (above 180 mg/dL for 15 minutes or more). The **warning** of a low is counted by [`lows`].
//! Nobody can say from a trace alone which readings were wrong: a false reading makes its alarm look true.

use alloc::vec::Vec;

use glidepath::alarm::{Cause, Kind, Ring};
use glidepath::review::EpisodeRule;
use glidepath::{Instant, Reading, Span};

use crate::WallClock;
use crate::lows::{self, Low};
use crate::sorted::order;

/// Two lost readings are bridged, as in a review: the longest step that still belongs together, in intervals.
pub const LONGEST_STEP: f64 = 3.5;

/// What one set of settings would have done.
#[derive(Clone, Debug, PartialEq)]
pub struct Score {
    /// The time that the believed readings cover, days.
    pub days: f64,
    /// Nights with readings, from 22:00 to 07:00 on the wearer's clock, and those in which anything rang.
    pub nights: u32,
    pub nights_woken: u32,
    /// All rings, repeats included, and those of them at night.
    pub rings: u32,
    pub night_rings: u32,
    pub alarms: u32,
    pub lows: Vec<Low>,
    /// Lows about which an alarm rang before they began, and ten minutes or more before.
    pub lows_warned: u32,
    pub lows_warned_10_min: u32,
    /// Half of the lows with any alarm had this much warning, or more.
    pub median_warning_min: Option<f64>,
    /// In the order of [`Kind::ALL`].
    pub kinds: [KindScore; Kind::COUNT],
}

/// The same for one kind.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct KindScore {
    /// Alarms: first rings.
    pub alarms: u32,
    /// All rings, repeats included.
    pub rings: u32,
    /// `None` for kinds that no glucose can prove.
    pub true_alarms: Option<u32>,
    /// Over the true alarms of the low family.
    pub median_warning_min: Option<f64>,
    /// Rings by hour of the wearer's day.
    pub by_hour: [u32; 24],
}

impl KindScore {
    const NONE: Self =
        Self { alarms: 0, rings: 0, true_alarms: None, median_warning_min: None, by_hour: [0; 24] };
}

/// A stretch of time.
type Stretch = (Instant, Instant);

/// The episodes that prove an alarm, if any can.
fn about(kind: Kind) -> Option<EpisodeRule> {
    match kind {
        Kind::High | Kind::SteepRise => Some(EpisodeRule::HIGH_180),
        _ if kind.info().warns_of_low => Some(EpisodeRule::LOW_70),
        _ => None,
    }
}

/// Scores rings against the believed readings they rang by, all in order of time: lows are counted by `readings`, highs by
/// `both`. Of one sensor they are the same; of two see [`Heard`](crate::heard::Heard).
pub fn score(
    readings: &[Reading],
    both: &[Reading],
    rings: &[Ring],
    interval_s: u32,
    clock: &impl WallClock,
    window: Span,
) -> Score {
    let lows = lows::find(readings, EpisodeRule::LOW_70, interval_s, rings, window);
    let low: Vec<Stretch> = lows.iter().map(|low| (low.start, low.end)).collect();
    let high = lows::stretches(both, EpisodeRule::HIGH_180, interval_s);
    let mut kinds = [KindScore::NONE; Kind::COUNT];
    for (kind, score) in Kind::ALL.into_iter().zip(&mut kinds) {
        let stretches = about(kind).map(|rule| if rule.is_low() { &low } else { &high });
        let rings = rings.iter().filter(|ring| ring.kind == kind);
        *score = of_kind(kind, rings, stretches.map(Vec::as_slice), clock, window);
    }
    let warned = lows::warned(&lows);
    let median_warning_min =
        median_min(lows.iter().filter_map(|low| low.warned().map(|span| span.secs().into())));
    Score {
        days: days(readings, interval_s),
        nights: nights(readings.iter().map(Reading::at), clock),
        nights_woken: nights(rings.iter().map(|ring| ring.at), clock),
        rings: rings.len() as u32,
        night_rings: rings.iter().filter(|ring| clock.night(ring.at.secs().into()).is_some()).count() as u32,
        alarms: kinds.iter().map(|kind| kind.alarms).sum(),
        lows,
        lows_warned: warned.before,
        lows_warned_10_min: warned.ten_min_before,
        median_warning_min,
        kinds,
    }
}

fn of_kind<'a>(
    kind: Kind,
    rings: impl Iterator<Item = &'a Ring>,
    stretches: Option<&[Stretch]>,
    clock: &impl WallClock,
    window: Span,
) -> KindScore {
    let mut score = KindScore { true_alarms: stretches.map(|_| 0), ..KindScore::NONE };
    let mut warnings: Vec<i64> = Vec::new();
    for ring in rings {
        score.rings += 1;
        if let Some(hour) = score.by_hour.get_mut(clock.hour(ring.at.secs().into()) as usize) {
            *hour += 1;
        }
        if ring.cause != Cause::New {
            continue;
        }
        score.alarms += 1;
        if let Some((start, _)) = stretches.and_then(|stretches| followed(stretches, ring.at, window)) {
            score.true_alarms = score.true_alarms.map(|n| n + 1);
            if kind.info().warns_of_low {
                warnings.push(start.since(ring.at).secs().into());
            }
        }
    }
    score.median_warning_min = median_min(warnings.into_iter());
    score
}

/// The time that readings cover, two lost ones bridged, days.
fn days(readings: &[Reading], interval_s: u32) -> f64 {
    if readings.is_empty() {
        return 0.0;
    }
    let longest = f64::from(interval_s) * LONGEST_STEP;
    let steps = readings
        .iter()
        .zip(readings.iter().skip(1))
        .map(|(one, next)| f64::from(next.at().since(one.at()).secs()));
    (steps.map(|step| step.min(longest)).sum::<f64>() + f64::from(interval_s)) / 86_400.0
}

/// The episode that holds at `at` or begins within `window` after it.
fn followed(stretches: &[Stretch], at: Instant, window: Span) -> Option<&Stretch> {
    let next = stretches.partition_point(|(_, end)| *end < at);
    stretches.get(next).filter(|(start, _)| *start <= at.plus(window))
}

/// How many nights hold one of `moments`, which are in order of time.
fn nights(moments: impl Iterator<Item = Instant>, clock: &impl WallClock) -> u32 {
    let (mut count, mut latest) = (0, None);
    for night in moments.filter_map(|at| clock.night(at.secs().into())) {
        // a clock set back in it makes no second night
        count += u32::from(latest != Some(night));
        latest = Some(night);
    }
    count
}

/// The middle of some spans of seconds, minutes.
fn median_min(seconds: impl Iterator<Item = i64>) -> Option<f64> {
    let seconds = order(seconds);
    let ((low, _), (high, _)) =
        (seconds.get(seconds.len().checked_sub(1)? / 2)?, seconds.get(seconds.len() / 2)?);
    Some(f64::midpoint(*low as f64 / 60.0, *high as f64 / 60.0))
}

#[cfg(test)]
mod tests {
    use super::*;
    use glidepath::Glucose;
    use glidepath::alarm::{Priority, Trigger};

    fn at(minute: u32) -> Instant {
        Instant::from_secs(minute * 60)
    }

    fn ring(minute: u32, kind: Kind, cause: Cause) -> Ring {
        Ring::new(kind, Priority::Low, cause, Trigger::Unknown, at(minute))
    }

    /// Ten hours at 120 mg/dL with lows from minute 100 to 130 and from 580 on, and a high from 300 to 340.
    fn readings() -> Vec<Reading> {
        let value = |m: u32| match m {
            100..130 | 580.. => 60.0,
            300..340 => 200.0,
            _ => 120.0,
        };
        (0..600).step_by(5).map(|m| Reading::new(at(m), Glucose::from_mg_dl(value(m)).unwrap())).collect()
    }

    #[test]
    fn counts_are_as_counted_by_hand() {
        let rings = [
            ring(20, Kind::LowAhead, Cause::New), // 80 minutes before: false
            ring(75, Kind::LowAhead, Cause::New), // 25 before
            ring(100, Kind::Low, Cause::New),
            ring(115, Kind::Low, Cause::Repeated),
            ring(239, Kind::High, Cause::New), // 61 before: false
            ring(240, Kind::High, Cause::New),
            ring(400, Kind::NoData, Cause::New),
            ring(421, Kind::NoData, Cause::New), // after seven
            ring(585, Kind::Low, Cause::New),    // after it began
        ];
        let score = score(&readings(), &readings(), &rings, 300, &Utc, HOUR);
        let of = |kind: Kind| score.kinds[kind as usize];
        let counts = |kind| (of(kind).alarms, of(kind).rings, of(kind).true_alarms);
        assert_eq!(counts(Kind::LowAhead), (2, 2, Some(1)));
        assert_eq!(counts(Kind::Low), (2, 3, Some(2)));
        assert_eq!(counts(Kind::High), (2, 2, Some(1)));
        assert_eq!(counts(Kind::NoData), (2, 2, None));
        assert_eq!(of(Kind::LowAhead).median_warning_min, Some(25.0));
        assert_eq!(of(Kind::Low).median_warning_min, Some(-2.5)); // of 0 and -5
        assert_eq!(of(Kind::High).median_warning_min, None, "only lows are warned of");
        assert_eq!((of(Kind::Low).by_hour[1], of(Kind::Low).by_hour[9]), (2, 1));
        assert_eq!((score.lows.len(), score.lows_warned, score.lows_warned_10_min), (2, 1, 1));
        assert_eq!(score.median_warning_min, Some(10.0)); // of 25 and -5
        assert_eq!((score.rings, score.alarms, score.night_rings), (9, 8, 7));
        assert_eq!((score.nights, score.nights_woken), (1, 1));
        assert!((score.days - 600.0 / 1440.0).abs() < 1e-9);
    }

    #[test]
    fn a_warning_of_exactly_an_hour_or_of_nothing() {
        let warnings = |rings: &[Ring]| {
            let lows = lows::find(&readings(), EpisodeRule::LOW_70, 300, rings, HOUR);
            lows.first().and_then(|low| low.warned()).map(Span::secs)
        };
        let one = |minute| warnings(&[ring(minute, Kind::LowAhead, Cause::New)]);
        assert_eq!((one(39), one(40), one(130), one(131)), (None, Some(3600), Some(-1800), None));
        assert_eq!(warnings(&[ring(90, Kind::High, Cause::New)]), None);
        let scored =
            |minute| score(&readings(), &readings(), &[ring(minute, Kind::Low, Cause::New)], 300, &Utc, HOUR);
        assert_eq!((scored(90).lows_warned, scored(90).lows_warned_10_min), (1, 1));
        assert_eq!((scored(91).lows_warned, scored(91).lows_warned_10_min), (1, 0));
        assert_eq!((scored(100).lows_warned, scored(100).lows_warned_10_min), (0, 0));
    }

    #[test]
    fn true_alarms_depend_on_the_window_and_gaps_are_no_days() {
        let rings = [ring(239, Kind::High, Cause::New)];
        let high =
            |window| score(&readings(), &readings(), &rings, 300, &Utc, window).kinds[Kind::High as usize];
        let rise = [ring(290, Kind::SteepRise, Cause::New)];
        let risen = score(&readings(), &readings(), &rise, 300, &Utc, HOUR).kinds[Kind::SteepRise as usize];
        assert_eq!(risen.true_alarms, Some(1), "a high follows it");
        let last = [ring(130, Kind::Low, Cause::New)];
        let ended = score(&readings(), &readings(), &last, 300, &Utc, HOUR).kinds[Kind::Low as usize];
        assert_eq!(ended.true_alarms, Some(1), "the low ends at that moment");
        assert_eq!((high(HOUR).true_alarms, high(Span::from_mins(61)).true_alarms), (Some(0), Some(1)));
        let mut gap = readings();
        gap.retain(|reading| reading.at() < at(100) || reading.at() >= at(400));
        // 20 readings, 40 readings, a gap that counts as three and a half intervals
        assert!(
            (score(&gap, &gap, &[], 300, &Utc, HOUR).days - (58.0 + 3.5 + 1.0) * 5.0 / 1440.0).abs() < 1e-9
        );
    }

    #[test]
    fn lows_go_by_one_series_and_highs_by_the_other() {
        let calm: Vec<Reading> =
            readings().iter().map(|r| Reading::new(r.at(), Glucose::from_mg_dl(120.0).unwrap())).collect();
        let rings = [ring(100, Kind::Low, Cause::New), ring(300, Kind::High, Cause::New)];
        let proved = |lower: &[Reading], both: &[Reading]| {
            let score = score(lower, both, &rings, 300, &Utc, HOUR);
            let of = |kind: Kind| score.kinds[kind as usize].true_alarms;
            (of(Kind::Low), of(Kind::High), score.lows.len())
        };
        assert_eq!(proved(&readings(), &calm), (Some(1), Some(0), 2));
        assert_eq!(proved(&calm, &readings()), (Some(0), Some(1), 0));
    }

    #[test]
    fn a_clock_set_back_makes_no_second_night() {
        struct SetBack;
        impl WallClock for SetBack {
            fn wall(&self, instant: i64) -> i64 {
                if instant < 23 * 3600 { instant } else { instant - 2 * 3600 }
            }
        }
        // 22:30, then 21:10 which is day, then 22:10, and the night after
        let moments = [22 * 60 + 30, 23 * 60 + 10, 24 * 60 + 10, 48 * 60].map(at);
        assert_eq!((nights(moments.into_iter(), &Utc), nights(moments.into_iter(), &SetBack)), (2, 2));
    }

    #[test]
    fn nothing_yields_nothing() {
        let score = score(&[], &[], &[], 300, &Utc, HOUR);
        assert_eq!((score.days, score.nights, score.alarms, score.median_warning_min), (0.0, 0, 0, None));
    }

    const HOUR: Span = Span::from_mins(60);

    struct Utc;

    impl WallClock for Utc {
        fn wall(&self, instant: i64) -> i64 {
            instant
        }
    }
}
