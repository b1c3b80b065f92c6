//! Each number against the name it stands for: the library's own word has to come back as C's text. The order is that of
//! `include/glidepath.h`, and `layout.def` holds the numbers themselves.

use core::ffi::{CStr, c_char};
use glidepath::alarm::{Cause, Kind, Priority, Trigger};
use glidepath::calibration::PointOutcome;
use glidepath::quality::{Grade, Reason, Verdict};
use glidepath::trend::{Pace, Trend};
use glidepath::{Agreement, FingerstickOutcome, Glucose, Rate, Refusal, Side, Span, Status};
use glidepath_c::code::*;
use glidepath_c::number::*;
use glidepath_c::text::*;

fn words(text: *const c_char) -> &'static str {
    // SAFETY: a constant text with an end mark
    unsafe { CStr::from_ptr(text) }.to_str().unwrap()
}

/// Whether the values, in the header's order from `first` on, have that number and that text.
fn in_order<T: Copy>(
    first: u8,
    values: &[T],
    number: impl Fn(T) -> u8,
    text: extern "C" fn(u8) -> *const c_char,
    name: impl Fn(T) -> &'static str,
) {
    for (place, value) in (first..).zip(values) {
        assert_eq!(number(*value), place, "{}", name(*value));
        assert_eq!(words(text(place)), name(*value));
    }
    assert_eq!(words(text(first + values.len() as u8)), "");
}

#[test]
fn every_number_has_the_librarys_word() {
    use Status::{AboveRange, BelowRange, Doubtful, Fault, Normal, WarmUp};
    let statuses = [Normal, BelowRange, AboveRange, WarmUp, Doubtful, Fault];
    in_order(0, &statuses, of_status, gp_status_text, Status::name);
    for (place, value) in (0..).zip(statuses) {
        assert_eq!(status(place), Ok(value));
    }
    assert_eq!(status(6), Err(GP_ERROR_NUMBER));
    let trends = [
        Trend::NotKnown,
        Trend::Falling(Pace::Fast),
        Trend::Falling(Pace::Moderate),
        Trend::Steady,
        Trend::Rising(Pace::Moderate),
        Trend::Rising(Pace::Fast),
    ];
    in_order(0, &trends, of_trend, gp_trend_text, |trend| trend.words());
    let verdicts = [
        Verdict::Accepted,
        Verdict::Late,
        Verdict::Duplicate,
        Verdict::BadTime,
        Verdict::ClockSet,
        Verdict::OutOfRange,
        Verdict::WarmUp,
        Verdict::Fault,
        Verdict::Jump,
        Verdict::Stuck,
        Verdict::Pressure,
    ];
    in_order(1, &verdicts, |verdict| of_verdict(Some(verdict)), gp_verdict_text, Verdict::name);
    assert_eq!((of_verdict(None), words(gp_verdict_text(0))), (0, "none"));
    let grades = [Grade::Unusable, Grade::Poor, Grade::Fair, Grade::Good];
    in_order(0, &grades, of_grade, gp_grade_text, Grade::name);
    in_order(0, &Reason::ALL, of_reason, gp_reason_text, Reason::name);
    in_order(0, &Kind::ALL, of_kind, gp_alarm_text, Kind::message);
    in_order(0, &Kind::ALL, of_kind, gp_alarm_title, |kind| kind.info().title);
    for (place, value) in (0..).zip(Kind::ALL) {
        assert_eq!(kind(place), Ok(value));
    }
    let priorities = [Priority::Low, Priority::Medium, Priority::High];
    in_order(0, &priorities, of_priority, gp_priority_text, Priority::name);
    for (place, value) in (0..).zip(priorities) {
        assert_eq!(priority(place), Ok(value));
    }
    let causes = [Cause::New, Cause::Repeated, Cause::Escalated, Cause::Worse];
    in_order(0, &causes, of_cause, gp_cause_text, Cause::name);
}

#[test]
fn every_side_and_agreement_has_the_librarys_words() {
    let sides = Side::BOTH;
    in_order(
        0,
        &sides,
        |it| if it == Side::First { GP_SIDE_FIRST } else { GP_SIDE_SECOND },
        gp_side_text,
        Side::name,
    );
    for (place, value) in (0..).zip(sides) {
        assert_eq!(side(place), Ok(value));
    }
    assert_eq!(side(GP_SIDES), Err(GP_ERROR_NUMBER));
    let agreements = [
        Agreement::Neither,
        Agreement::Only(Side::First),
        Agreement::Only(Side::Second),
        Agreement::Together,
        Agreement::Apart,
        Agreement::Suspect(Side::First),
        Agreement::Suspect(Side::Second),
    ];
    in_order(0, &agreements, of_agreement, gp_pair_text, |agreement| agreement.words());
}

#[test]
fn every_outcome_of_a_fingerstick_has_the_librarys_words() {
    use FingerstickOutcome::{Refused, Used};
    let used = |calibrated, held| Used { calibrated, fused: true, held, expected: None };
    let refused = |why| Refused { why, expected: None };
    let outcomes = [
        used(PointOutcome::Used, false),
        used(PointOutcome::Used, true),
        used(PointOutcome::Downweighted, false),
        refused(Refusal::Ahead),
        refused(Refusal::TooOld),
        refused(Refusal::NoReading),
        refused(Refusal::OutOfOrder),
        refused(Refusal::OutOfRange),
        refused(Refusal::NotANumber),
    ];
    for (place, outcome) in (0..).zip(outcomes) {
        assert_eq!(of_outcome(&outcome), place);
        assert_eq!(words(gp_fingerstick_text(place)), outcome.words());
    }
    assert_eq!(of_outcome(&used(PointOutcome::Downweighted, true)), GP_FINGERSTICK_HELD); // the graver of the two
}

#[test]
fn every_ground_of_an_alarm_has_its_number_and_its_value() {
    let glucose = Glucose::from_mg_dl(61.0).unwrap();
    let trigger = [
        (Trigger::Unknown, 0.0),
        (Trigger::Sensor(glucose), 61.0),
        (Trigger::Uncalibrated(glucose), 61.0),
        (Trigger::BelowRange(glucose), 61.0),
        (Trigger::Estimate(glucose), 61.0),
        (Trigger::Unplaced(glucose), 61.0),
        (Trigger::Probability(0.25), 0.25),
        (Trigger::Rate(Rate::from_mg_dl_per_min(-3.5).unwrap()), -3.5),
        (Trigger::Silence(Span::from_mins(20)), 1200.0),
        (Trigger::WearLeft(Span::from_hours(2)), 7200.0),
        (Trigger::Doubt, 0.0),
    ];
    for (place, (trigger, value)) in (0..).zip(trigger) {
        assert_eq!(of_trigger(trigger), (place, value));
    }
}

#[test]
fn every_code_has_a_text_of_its_own() {
    let texts: Vec<&str> = (GP_OK..=GP_ERROR_OTHER).map(|code| words(gp_code_text(code))).collect();
    for (code, text) in texts.iter().enumerate() {
        assert_eq!(texts.iter().position(|other| other == text), Some(code), "{text}");
    }
    // those that the library words too
    use glidepath::snapshot::SnapshotError;
    for error in
        [SnapshotError::Incomplete, SnapshotError::Version(9), SnapshotError::Checksum, SnapshotError::State]
    {
        assert_eq!(words(gp_code_text(of_snapshot(error))), error.to_string());
    }
    assert_eq!(of_snapshot(SnapshotError::BufferTooSmall), GP_ERROR_BUFFER_TOO_SMALL);
}
