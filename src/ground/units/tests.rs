use super::*;
use core::time::Duration;

#[test]
fn glucose_refuses_what_is_no_concentration() {
    for bad in [f32::NAN, f32::INFINITY, -0.1, 2000.1, 1e30] {
        assert!(Glucose::from_mg_dl(bad).is_err(), "{bad}");
    }
    assert_eq!(Glucose::clamped(f32::NAN).mg_dl(), 0.0);
    assert_eq!(Glucose::clamped(1e30).mg_dl(), 2000.0);
}

#[test]
fn display_rounding_follows_the_published_pairs() {
    // 70 and 71 mg/dL both print 3.9 mmol/L, 180 and 181 both 10.0
    for (mg_dl, tenths) in [(54.0, 30), (70.0, 39), (71.0, 39), (180.0, 100), (181.0, 100), (250.0, 139)] {
        assert_eq!(Glucose::clamped(mg_dl).tenths_mmol_l(), tenths, "{mg_dl}");
    }
}

#[test]
fn rates_refuse_what_is_none_and_clamp_to_their_ends() {
    for bad in [f32::NAN, f32::INFINITY, -100.1, 100.1] {
        assert!(Rate::from_mg_dl_per_min(bad).is_err() && Rate::try_from(bad).is_err(), "{bad}");
    }
    for end in [-100.0, 100.0] {
        assert_eq!(Rate::from_mg_dl_per_min(end).map(f32::from), Ok(end));
        assert_eq!(Rate::clamped(2.0 * end).mg_dl_per_min(), end);
    }
    assert_eq!(Rate::clamped(f32::NAN).mg_dl_per_min(), -100.0);
    assert_eq!(Rate::clamped(-2.5).mg_dl_per_min(), -2.5);
    assert!((Rate::clamped(-36.0312).mmol_l_per_min() + 2.0).abs() < 1e-6);
    assert_eq!(
        [-2.0, -0.25, 0.26, 1.24].map(|rate| Rate::clamped(rate).tenths_mg_dl_per_min()),
        [-20, -3, 3, 12]
    );
}

#[test]
fn one_concentration_in_both_units() {
    // 5.0 mmol/L of glucose, 180.156 g/mol, are 0.900780 g/L
    let glucose = Glucose::from_mmol_l(5.0).unwrap();
    assert!((glucose.mg_dl() - 90.078).abs() < 1e-4);
    assert!((glucose.mmol_l() - 5.0).abs() < 1e-6);
    assert_eq!((glucose.whole_mg_dl(), glucose.tenths_mmol_l()), (90, 50));
    assert_eq!(Glucose::try_from(90.5).map(f32::from), Ok(90.5));
    assert!(Glucose::from_mmol_l(112.0).is_err() && Glucose::try_from(-1.0).is_err());
    assert_eq!([0.0, 2000.0].map(|end| Glucose::from_mg_dl(end).map(Glucose::mg_dl)), [Ok(0.0), Ok(2000.0)]);
}

#[test]
fn spans_in_their_units() {
    assert_eq!((Span::from_secs(-90).secs(), Span::from_secs(-90).mins()), (-90, -1.5));
    assert_eq!((Span::from_mins(-7).secs(), Span::from_hours(3).secs()), (-420, 10_800));
    assert_eq!((Span::from_mins(i32::MIN).secs(), Span::from_hours(i32::MAX).secs()), (i32::MIN, i32::MAX));
}

#[test]
fn spans_and_durations_turn_into_each_other_where_they_can() {
    let most = u64::from(i32::MAX.unsigned_abs());
    assert_eq!(Span::try_from(Duration::from_secs(most)), Ok(Span::from_secs(i32::MAX)));
    assert!(Span::try_from(Duration::from_secs(most + 1)).is_err());
    assert!(Span::try_from(Duration::MAX).is_err());
    assert_eq!(Span::try_from(Duration::from_millis(1_999)), Ok(Span::from_secs(1)));
    assert_eq!(Duration::try_from(Span::from_secs(i32::MAX)), Ok(Duration::from_secs(most)));
    assert_eq!(Duration::try_from(Span::ZERO), Ok(Duration::ZERO));
    assert!(Duration::try_from(Span::from_secs(-1)).is_err());
    assert!(Duration::try_from(Span::from_secs(i32::MIN)).is_err());
}

#[test]
fn checked_arithmetic_says_where_the_other_stops() {
    let (most, least) = (Span::from_secs(i32::MAX), Span::from_secs(i32::MIN));
    let second = Span::from_secs(1);
    assert_eq!((most.checked_add(second), least.checked_sub(second)), (None, None));
    assert_eq!(most.checked_sub(second), Some(Span::from_secs(i32::MAX - 1)));
    assert_eq!(second.checked_add(Span::from_secs(-3)), Some(Span::from_secs(-2)));
    let (zero, half, end) =
        (Instant::from_secs(0), Instant::from_secs(1 << 31), Instant::from_secs(u32::MAX));
    assert_eq!((end.checked_since(zero), half.checked_since(zero)), (None, None));
    assert_eq!(zero.checked_since(half), Some(least));
    assert_eq!(zero.checked_since(Instant::from_secs((1 << 31) + 1)), None);
    assert_eq!(Instant::from_secs(5).checked_since(Instant::from_secs(8)), Some(Span::from_secs(-3)));
    assert_eq!((end.checked_plus(second), zero.checked_plus(Span::from_secs(-1))), (None, None));
    assert_eq!(half.checked_plus(most), Some(end));
    assert_eq!(half.checked_plus(least), Some(zero));
}

#[test]
fn instants_are_signed_and_saturate() {
    let (zero, end) = (Instant::from_secs(0), Instant::from_secs(u32::MAX));
    assert_eq!(end.since(zero).secs(), i32::MAX);
    assert_eq!(zero.since(end).secs(), i32::MIN);
    assert_eq!(zero.since(Instant::from_secs(1)).secs(), -1);
    // the longest spans that are exact, and one second more
    let half = i32::MAX as u32;
    for (seconds, span) in [(half - 1, i32::MAX - 1), (half, i32::MAX), (half + 1, i32::MAX)] {
        assert_eq!(Instant::from_secs(seconds).since(zero).secs(), span);
    }
    for (seconds, span) in [(half, -i32::MAX), (half + 1, i32::MIN), (half + 2, i32::MIN)] {
        assert_eq!(zero.since(Instant::from_secs(seconds)).secs(), span);
    }
    assert_eq!(end.plus(Span::from_secs(1)), end);
    assert_eq!(zero.plus(Span::from_secs(-1)), zero);
}
