//! Single values: plain numbers and fixed names.

use glidepath::alarm::{Kind, Priority};
use glidepath::quality::{Grade, Reason, Reasons, Verdict};
use glidepath::trend::{Pace, Trend};
use glidepath::{Glucose, Instant, Rate, Side, Span, Status};
use serde::{Deserialize, Serialize};
use serde_json::json;

#[derive(Debug, PartialEq, Serialize, Deserialize)]
struct Line {
    at: Instant,
    glucose: Glucose,
    rate: Rate,
    last: Span,
    kind: Kind,
    priority: Priority,
}

#[test]
fn values_are_plain_numbers_and_fixed_names() {
    let line = Line {
        at: Instant::from_secs(90_000),
        glucose: Glucose::from_mg_dl(72.5).unwrap(),
        rate: Rate::from_mg_dl_per_min(-1.5).unwrap(),
        last: Span::from_mins(5),
        kind: Kind::LowAhead,
        priority: Priority::Medium,
    };
    let text = toml::to_string(&line).unwrap();
    let want =
        "at = 90000\nglucose = 72.5\nrate = -1.5\nlast = 300\nkind = \"low_ahead\"\npriority = \"medium\"\n";
    assert_eq!(text, want);
    assert_eq!(toml::from_str::<Line>(&text).unwrap(), line);
    for impossible in ["glucose = nan", "glucose = -1.0", "glucose = 2001.0"] {
        let refused = toml::from_str::<Line>(&text.replace("glucose = 72.5", impossible)).unwrap_err();
        assert!(refused.to_string().contains("glucose"), "{refused}");
    }
    // the names in files are the names in logs
    for kind in Kind::ALL {
        assert_eq!(toml::Value::try_from(kind).unwrap().as_str(), Some(kind.name()));
    }
    for (written, name) in [
        (json!(Verdict::BadTime), Verdict::BadTime.name()),
        (json!(Grade::Unusable), Grade::Unusable.name()),
        (json!(Side::First), Side::First.name()),
        (json!(Status::BelowRange), "below_range"),
        (json!(Trend::NotKnown), "not_known"),
    ] {
        assert_eq!(written.as_str(), Some(name));
    }
    for reason in Reason::ALL {
        assert_eq!(json!(reason).as_str(), Some(reason.name()));
    }
    assert_eq!(json!(Trend::Falling(Pace::Fast)), json!({ "falling": "fast" }));
}

#[test]
fn reasons_are_a_list_of_names_and_no_others_are_read() {
    let text = r#"["warm_up","gap","sensor_status"]"#;
    let reasons: Reasons = serde_json::from_str(text).unwrap();
    assert_eq!(reasons.iter().collect::<Vec<_>>(), [Reason::WarmUp, Reason::Gap, Reason::SensorStatus]);
    assert_eq!(serde_json::to_string(&reasons).unwrap(), text);
    for refused in ["3", "[\"pressd\"]", "[12]", "\"gap\"", "{}"] {
        assert!(serde_json::from_str::<Reasons>(refused).is_err(), "{refused}");
    }
}
