//! What the `serde` feature is for: settings and values in a file that a person can read, checked on the way in.
#![cfg(feature = "serde")]

use glidepath::alarm::{AlarmPlan, AlarmSettings, Kind, Priority};
use glidepath::{Glucose, Instant, Rate, Span};
use serde::{Deserialize, Serialize};

#[test]
fn alarm_settings_are_a_file_that_a_person_can_edit() {
    let standard = AlarmSettings::default();
    let file = toml::to_string(&standard).unwrap();
    assert_eq!(toml::from_str::<AlarmSettings>(&file).unwrap(), standard);
    assert_eq!(file.matches("limit = 70.0").count(), 1, "{file}");

    let edited = file.replace("limit = 70.0", "limit = 80.0");
    let settings: AlarmSettings = toml::from_str(&edited).unwrap();
    assert_eq!(settings.low.limit, 80.0);
    assert!(AlarmPlan::new(settings).is_ok());

    // a limit out of its range is read, and refused where it would be used
    let settings: AlarmSettings = toml::from_str(&file.replace("limit = 70.0", "limit = 10.0")).unwrap();
    assert_eq!(AlarmPlan::new(settings).unwrap_err().parameter(), "low");
    // and what is no setting is not read at all
    assert!(toml::from_str::<AlarmSettings>(&file.replace("medium", "loud")).is_err());
}

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
}
