//! Texts as C has them. They are the library's own words, with an end mark, made at build time.

use crate::number::*;
use core::ffi::c_char;
use glidepath::FingerstickOutcome::{Refused, Used};
use glidepath::alarm::Kind;
use glidepath::calibration::PointOutcome;
use glidepath::quality::Reason;
use glidepath::{Agreement, Refusal, Side, trend::Trend};

/// A constant text with an end mark.
macro_rules! c_text {
    ($text:expr) => {{
        const TEXT: &str = $text;
        const LENGTH: usize = TEXT.len().saturating_add(1);
        static ENDED: [u8; LENGTH] = $crate::text::ended(TEXT);
        ENDED.as_ptr().cast::<core::ffi::c_char>()
    }};
}
pub(crate) use c_text;

/// A text with zeros behind it; what the compiler itself runs.
#[allow(clippy::indexing_slicing, clippy::arithmetic_side_effects, reason = "runs at build time alone")]
pub(crate) const fn ended<const LENGTH: usize>(text: &str) -> [u8; LENGTH] {
    assert!(text.len() < LENGTH, "no room for the end mark");
    let (mut ended, mut i) = ([0; LENGTH], 0);
    while i < text.len() {
        ended[i] = text.as_bytes()[i];
        i += 1;
    }
    ended
}

/// Exports a function that gives the text of a number.
macro_rules! texts {
    ($($function:ident: $($number:ident => $text:expr),+;)+) => {$(
        #[unsafe(no_mangle)]
        pub extern "C" fn $function(number: u8) -> *const c_char {
            match number {
                $($number => c_text!($text),)+
                _ => c_text!(""),
            }
        }
    )+};
}

texts! {
    gp_trend_text:
        GP_TREND_NOT_KNOWN => Trend::NotKnown.words(),
        GP_TREND_FALLING_FAST => Trend::Falling(glidepath::trend::Pace::Fast).words(),
        GP_TREND_FALLING => Trend::Falling(glidepath::trend::Pace::Moderate).words(),
        GP_TREND_STEADY => Trend::Steady.words(),
        GP_TREND_RISING => Trend::Rising(glidepath::trend::Pace::Moderate).words(),
        GP_TREND_RISING_FAST => Trend::Rising(glidepath::trend::Pace::Fast).words();
    gp_status_text:
        GP_STATUS_NORMAL => glidepath::Status::Normal.name(),
        GP_STATUS_BELOW_RANGE => glidepath::Status::BelowRange.name(),
        GP_STATUS_ABOVE_RANGE => glidepath::Status::AboveRange.name(),
        GP_STATUS_WARM_UP => glidepath::Status::WarmUp.name(),
        GP_STATUS_DOUBTFUL => glidepath::Status::Doubtful.name(),
        GP_STATUS_FAULT => glidepath::Status::Fault.name();
    gp_verdict_text:
        GP_VERDICT_NONE => "none",
        GP_VERDICT_ACCEPTED => glidepath::quality::Verdict::Accepted.name(),
        GP_VERDICT_LATE => glidepath::quality::Verdict::Late.name(),
        GP_VERDICT_DUPLICATE => glidepath::quality::Verdict::Duplicate.name(),
        GP_VERDICT_BAD_TIME => glidepath::quality::Verdict::BadTime.name(),
        GP_VERDICT_CLOCK_SET => glidepath::quality::Verdict::ClockSet.name(),
        GP_VERDICT_OUT_OF_RANGE => glidepath::quality::Verdict::OutOfRange.name(),
        GP_VERDICT_WARM_UP => glidepath::quality::Verdict::WarmUp.name(),
        GP_VERDICT_FAULT => glidepath::quality::Verdict::Fault.name(),
        GP_VERDICT_JUMP => glidepath::quality::Verdict::Jump.name(),
        GP_VERDICT_STUCK => glidepath::quality::Verdict::Stuck.name(),
        GP_VERDICT_PRESSURE => glidepath::quality::Verdict::Pressure.name();
    gp_grade_text:
        GP_GRADE_UNUSABLE => glidepath::quality::Grade::Unusable.name(),
        GP_GRADE_POOR => glidepath::quality::Grade::Poor.name(),
        GP_GRADE_FAIR => glidepath::quality::Grade::Fair.name(),
        GP_GRADE_GOOD => glidepath::quality::Grade::Good.name();
    gp_reason_text:
        GP_REASON_WARM_UP => Reason::WarmUp.name(),
        GP_REASON_FIRST_DAY => Reason::FirstDay.name(),
        GP_REASON_PAST_END => Reason::PastEnd.name(),
        GP_REASON_NOISE => Reason::Noise.name(),
        GP_REASON_JUMP => Reason::Jump.name(),
        GP_REASON_STUCK => Reason::Stuck.name(),
        GP_REASON_GAP => Reason::Gap.name(),
        GP_REASON_PRESSURE => Reason::Pressure.name(),
        GP_REASON_FINGERSTICKS => Reason::Fingersticks.name(),
        GP_REASON_DRIFT => Reason::Drift.name(),
        GP_REASON_SECOND_SENSOR => Reason::SecondSensor.name(),
        GP_REASON_SENSOR_STATUS => Reason::SensorStatus.name();
    gp_alarm_text:
        GP_ALARM_FLOOR => Kind::Floor.message(),
        GP_ALARM_LOW => Kind::Low.message(),
        GP_ALARM_LOW_AHEAD => Kind::LowAhead.message(),
        GP_ALARM_STEEP_FALL => Kind::SteepFall.message(),
        GP_ALARM_NO_DATA => Kind::NoData.message(),
        GP_ALARM_HIGH => Kind::High.message(),
        GP_ALARM_STEEP_RISE => Kind::SteepRise.message(),
        GP_ALARM_DOUBT => Kind::Doubt.message(),
        GP_ALARM_WEAR_END => Kind::WearEnd.message();
    gp_alarm_title:
        GP_ALARM_FLOOR => Kind::Floor.info().title,
        GP_ALARM_LOW => Kind::Low.info().title,
        GP_ALARM_LOW_AHEAD => Kind::LowAhead.info().title,
        GP_ALARM_STEEP_FALL => Kind::SteepFall.info().title,
        GP_ALARM_NO_DATA => Kind::NoData.info().title,
        GP_ALARM_HIGH => Kind::High.info().title,
        GP_ALARM_STEEP_RISE => Kind::SteepRise.info().title,
        GP_ALARM_DOUBT => Kind::Doubt.info().title,
        GP_ALARM_WEAR_END => Kind::WearEnd.info().title;
    gp_priority_text:
        GP_PRIORITY_LOW => glidepath::alarm::Priority::Low.name(),
        GP_PRIORITY_MEDIUM => glidepath::alarm::Priority::Medium.name(),
        GP_PRIORITY_HIGH => glidepath::alarm::Priority::High.name();
    gp_cause_text:
        GP_CAUSE_NEW => glidepath::alarm::Cause::New.name(),
        GP_CAUSE_REPEATED => glidepath::alarm::Cause::Repeated.name(),
        GP_CAUSE_ESCALATED => glidepath::alarm::Cause::Escalated.name(),
        GP_CAUSE_WORSE => glidepath::alarm::Cause::Worse.name();
    gp_fingerstick_text:
        GP_FINGERSTICK_USED => used(PointOutcome::Used, false),
        GP_FINGERSTICK_HELD => used(PointOutcome::Used, true),
        GP_FINGERSTICK_DOWNWEIGHTED => used(PointOutcome::Downweighted, false),
        GP_FINGERSTICK_AHEAD => refused(Refusal::Ahead),
        GP_FINGERSTICK_TOO_OLD => refused(Refusal::TooOld),
        GP_FINGERSTICK_NO_READING => refused(Refusal::NoReading),
        GP_FINGERSTICK_OUT_OF_ORDER => refused(Refusal::OutOfOrder),
        GP_FINGERSTICK_OUT_OF_RANGE => refused(Refusal::OutOfRange),
        GP_FINGERSTICK_NOT_A_NUMBER => refused(Refusal::NotANumber),
        GP_FINGERSTICK_OTHER => "not used";
    gp_side_text:
        GP_SIDE_FIRST => Side::First.name(),
        GP_SIDE_SECOND => Side::Second.name();
    gp_pair_text:
        GP_PAIR_NEITHER => Agreement::Neither.words(),
        GP_PAIR_ONLY_FIRST => Agreement::Only(Side::First).words(),
        GP_PAIR_ONLY_SECOND => Agreement::Only(Side::Second).words(),
        GP_PAIR_TOGETHER => Agreement::Together.words(),
        GP_PAIR_APART => Agreement::Apart.words(),
        GP_PAIR_FIRST_SUSPECT => Agreement::Suspect(Side::First).words(),
        GP_PAIR_SECOND_SUSPECT => Agreement::Suspect(Side::Second).words();
}

const fn used(calibrated: PointOutcome, held: bool) -> &'static str {
    Used { calibrated, fused: true, held, expected: None }.words()
}

const fn refused(why: Refusal) -> &'static str {
    Refused { why, expected: None }.words()
}
