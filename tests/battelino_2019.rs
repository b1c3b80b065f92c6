//! Ranges and sufficiency as in Battelino et al. (2019), Diabetes Care 42:1593, doi:10.2337/dci19-0028; the limits in
//! both units as its tables pair them.

mod three_days;
use glidepath::review::{Compact, Config, Ranges, Unit};
use glidepath::{MG_DL_PER_MMOL_L, Span};
use three_days::{close, review};

fn five(ranges: &Ranges) -> [f32; 5] {
    [ranges.below_54, ranges.from_54_to_69, ranges.from_70_to_180, ranges.from_181_to_250, ranges.above_250]
}

#[test]
fn inequalities_hold_for_real_values_and_none_is_lost() {
    let values = [53.0, 54.0, 69.0, 70.0, 70.5, 180.0, 180.4, 181.0, 250.0, 251.0];
    let ranges = review::<Compact>(values, 5, Config::default()).summary().by_readings.unwrap();
    for (got, want) in five(&ranges).into_iter().zip([10.0, 20.0, 30.0, 30.0, 10.0]) {
        close(got, want);
    }
    close(ranges.from_70_to_140, 20.0);
    close(ranges.below_70(), 30.0);
    close(ranges.above_180(), 40.0);
}

#[test]
fn data_in_mmol_l_is_compared_with_the_limits_in_mmol_l() {
    // 3.9 is in range although it is 70.26 mg/dL and 3.8 is 68.5; 10.0 is, although 180.156 is above 180
    let values = [2.9, 3.0, 3.8, 3.9, 7.8, 7.9, 10.0, 10.1, 13.9, 14.0];
    let config = Config::default().with_unit(Unit::MmolL);
    let mmol_l = values.map(|v| v * MG_DL_PER_MMOL_L);
    let ranges = review::<Compact>(mmol_l, 5, config).summary().by_readings.unwrap();
    for (got, want) in five(&ranges).into_iter().zip([10.0, 20.0, 40.0, 20.0, 10.0]) {
        close(got, want);
    }
    close(ranges.from_70_to_140, 20.0);
    let as_mg_dl = review::<Compact>(mmol_l, 5, Config::default()).summary().by_readings.unwrap();
    close(as_mg_dl.from_70_to_180, 30.0); // converted limits would move the edge
}

#[test]
fn time_and_readings_differ_when_the_interval_changes() {
    // an hour of 100 every 5 minutes, then three hours of 200 every 15
    use glidepath::review::{DayTime, Review};
    use glidepath::{Glucose, Instant, Reading};
    let mut review = Review::new(Config::new(Span::from_mins(15)).unwrap());
    let times = (0..12).map(|i| (5 * i, 100.0)).chain((0..12).map(|i| (60 + 15 * i, 200.0)));
    for (minute, mg_dl) in times {
        let at = Instant::from_secs(60 * minute);
        let _ = review
            .push(&Reading::new(at, Glucose::from_mg_dl(mg_dl).unwrap()), DayTime::from_secs(at.secs()));
    }
    let summary = review.summary();
    close(summary.by_readings.unwrap().from_70_to_180, 50.0);
    close(summary.by_time.unwrap().from_70_to_180, 25.0);
}

#[test]
fn fourteen_days_with_seven_tenths_of_their_readings_suffice() {
    let config = Config::default();
    let two_weeks = |keep: fn(u32) -> bool| {
        use glidepath::review::{DayTime, Review};
        use glidepath::{Glucose, Instant, Reading};
        let mut review = Review::new(config);
        for i in (0..4032).filter(|&i| keep(i)) {
            let at = Instant::from_secs(300 * i);
            let _ = review
                .push(&Reading::new(at, Glucose::from_mg_dl(120.0).unwrap()), DayTime::from_secs(at.secs()));
        }
        review.summary()
    };
    let all = two_weeks(|_| true);
    close(all.days, 14.0);
    close(all.active_percent, 100.0);
    assert!(all.suffices());
    // 2,823 of 4,032 are 70 %; blocks at the end of the first week are lost
    let enough = two_weeks(|i| !(1000..1000 + 1209).contains(&i));
    close(enough.active_percent, 100.0 * 2823.0 / 4032.0);
    assert!(enough.suffices());
    assert!(!two_weeks(|i| !(1000..1000 + 1210).contains(&i)).suffices());
    assert!(!two_weeks(|i| i != 0).suffices()); // five minutes short of 14 days
}

#[test]
fn a_lost_reading_is_time_without_data() {
    use glidepath::review::{DayTime, Review};
    use glidepath::{Glucose, Instant, Reading};
    let mut review = Review::new(Config::default());
    for minute in [0, 5, 15, 20, 27] {
        let at = Instant::from_secs(60 * minute);
        let _ = review
            .push(&Reading::new(at, Glucose::from_mg_dl(120.0).unwrap()), DayTime::from_secs(at.secs()));
    }
    // 5 + 5 (of 10) + 5 + 7 (one and a half intervals at most) + 5 of the 32 minutes
    close(review.summary().active_percent, 100.0 * 27.0 / 32.0);
}
