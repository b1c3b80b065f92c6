//! The sizes that the documentation states, on the machine that runs the tests. None depends on the width of a word.

use glidepath::{
    accuracy, alarm, calibration, estimator, forecast, gatt, quality, review, simulate, smoothing, timeline,
    trend,
};

macro_rules! same {
    ($($kind:ty: $bytes:literal),* $(,)?) => {
        [$((stringify!($kind), size_of::<$kind>(), $bytes)),*]
    };
}

#[test]
fn types_are_as_large_as_documented() {
    let sizes = same! {
        glidepath::Estimate: 40,
        glidepath::Reading: 12,
        glidepath::Fingerstick: 8,
        glidepath::LocalTime: 4,
        glidepath::Expected: 8,
        glidepath::View: 364,
        glidepath::PairView: 536,
        glidepath::Side: 1,
        glidepath::Agreement: 2,
        accuracy::AgreementRates: 40,
        accuracy::Concurrence: 484,
        accuracy::SensorDisagreements: 20,
        accuracy::ConfidenceInterval: 16,
        accuracy::Iso15197: 28,
        accuracy::LagScan: 1224,
        accuracy::LimitsOfAgreement: 48,
        accuracy::MissingSummary: 20,
        accuracy::MissingData: 156,
        accuracy::DisplayedAge: 268,
        accuracy::Pair: 12,
        accuracy::PointAccuracy: 80,
        accuracy::RateAgreement: 180,
        accuracy::IcgmCriteria: 104,
        accuracy::Tally: 8,
        accuracy::ZoneCounts: 20,
        alarm::AlarmSettings: 224,
        alarm::Alarms: 1416,
        alarm::Kinds: 2,
        alarm::Ring: 16,
        alarm::Slot: 6,
        alarm::Weekdays: 1,
        calibration::Calibration: 80,
        calibration::Drift: 24,
        calibration::Line: 96,
        estimator::Model: 28,
        forecast::Course: 48,
        forecast::Direction: 8,
        forecast::Forecast: 376,
        forecast::ForecastConfig: 1,
        forecast::Predicted: 12,
        forecast::fitting::Table: 536,
        forecast::fitting::Terms: 80,
        gatt::CgmMeasurement: 20,
        gatt::CgmStatus: 8,
        gatt::CurrentTime: 12,
        gatt::DateTime: 8,
        gatt::GlucoseContext: 18,
        gatt::GlucoseMeasurement: 26,
        gatt::Payload: 21,
        gatt::SessionStart: 10,
        quality::Assessment: 8,
        quality::Evidence: 24,
        quality::Quality: 216,
        quality::Reasons: 2,
        quality::Wear: 24,
        review::Compact: 4608,
        review::Episodes: 44,
        review::Exact: 203_520,
        review::Summary: 340,
        simulate::Random: 24,
        simulate::Truth: 12,
        smoothing::Exponential: 16,
        smoothing::Holt: 24,
        smoothing::Level: 12,
        smoothing::TwoStateKalman: 44,
        trend::Bands: 20,
        timeline::Timeline: 84,
        trend::TrendSign: 24,
    };
    let wrong: Vec<_> = sizes.into_iter().filter(|(_, is, documented)| is != documented).collect();
    assert!(wrong.is_empty(), "type, bytes, documented: {wrong:#?}");
}

#[test]
fn types_are_no_larger_than_documented() {
    let sizes = same! {
        estimator::Estimator: 376,
        alarm::AlarmPlan: 960,
        review::Review: 8192,
        simulate::GaussianWorld: 52,
        simulate::Meter: 32,
        simulate::Person: 400,
        simulate::Sensor: 250,
        glidepath::Monitor<1>: 2632,
        glidepath::Monitor<288>: 4360,
        glidepath::PairMonitor<1>: 3952,
        glidepath::PairMonitor<288>: 7408,
    };
    // and no documented bound is loose
    let wrong: Vec<_> = sizes.into_iter().filter(|(_, is, most)| is > most || 20 * is < 19 * most).collect();
    assert!(wrong.is_empty(), "type, bytes, documented: {wrong:#?}");
}
