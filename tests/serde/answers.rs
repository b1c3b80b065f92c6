//! Answers as they are written: by the names of the methods that give them.

use glidepath::alarm::Kind;
use glidepath::{
    Fingerstick, Glucose, Instant, Monitor, PairMonitor, PairView, Reading, Settings, Side, Span,
    TrendMonitor, View,
};
use serde::Serialize;
use serde_json::{Value, json};

fn reading(minute: u32, mg_dl: f32) -> Reading {
    Reading::new(Instant::from_secs(minute * 60), Glucose::from_mg_dl(mg_dl).unwrap())
}

/// From 140 down to 60 within two hours, with a fingerstick.
fn falling() -> View {
    let mut monitor = Monitor::<24>::new(Settings::default()).unwrap();
    let mut view = monitor.tick(Instant::from_secs(0));
    for k in 0..25_u32 {
        view = monitor.push(&reading(5 * k, 140.0 - 3.3 * k as f32));
        if k == 12 {
            let _ = monitor
                .fingerstick(&Fingerstick::new(Instant::from_secs(3600), Glucose::from_mg_dl(98.0).unwrap()));
        }
    }
    view
}

fn of<T: Serialize>(value: &T) -> Value {
    serde_json::to_value(value).unwrap()
}

#[test]
fn a_view_is_written_by_the_names_of_its_methods() {
    let view = falling();
    let written = of(&view);
    for (key, want) in [
        ("at", json!(7200)),
        ("verdict", of(&view.verdict())),
        ("shown", of(&view.shown())),
        ("estimate", of(&view.estimate())),
        ("calibration_sd", of(&view.calibration_sd())),
        ("direction", of(&view.direction())),
        ("trend", of(&view.trend())),
        ("predicted_15min", of(&view.predicted(Span::from_mins(15)))),
        ("predicted_30min", of(&view.predicted(Span::from_mins(30)))),
        ("predicted_60min", of(&view.predicted(Span::from_mins(60)))),
        ("low_ahead_signal", of(&view.low_ahead_signal())),
        ("low_probability", of(&view.low_probability())),
        ("minutes_to_low", of(&view.minutes_to_low())),
        ("newest", json!({ "at": 7200, "glucose": view.newest().unwrap().1 })),
        ("age", json!(0)),
        ("bound", Value::Null),
        ("grade", json!(view.grade().name())),
        ("reasons", of(&view.reasons())),
        ("alarms", of(view.alarms())),
        ("monitoring", json!(view.is_monitoring())),
    ] {
        assert_eq!(written[key], want, "{key}");
    }
    assert_eq!(written.as_object().unwrap().len(), 20);
    let now = view.estimate().unwrap();
    assert_eq!(written["shown"]["glucose"], of(&now.glucose()));
    let soon = view.predicted_30min().unwrap();
    let want = json!({ "glucose": soon.glucose(), "half_width_50": soon.half_width_50(), "half_width_95": soon.half_width_95() });
    assert_eq!(written["predicted_30min"], want);
    let low =
        written["alarms"].as_array().unwrap().iter().find(|held| held["ring"]["kind"] == "low").unwrap();
    assert_eq!(low["ring"]["at"], of(&view.alarms().get(Kind::Low).unwrap().ring.at));
    assert_eq!(
        (low["ring"]["priority"].clone(), low["acknowledged"].clone()),
        (json!("medium"), json!(false))
    );
    assert!(low["ring"]["trigger"]["sensor"].as_f64().unwrap() <= 70.0, "{low}");
}

#[test]
fn what_is_not_known_is_written_as_nothing() {
    let mut monitor = Monitor::<24>::new(Settings::default()).unwrap();
    let written = of(&monitor.tick(None));
    for key in
        ["verdict", "shown", "estimate", "direction", "newest", "age", "low_probability", "predicted_30min"]
    {
        assert_eq!(written[key], Value::Null, "{key}");
    }
    assert_eq!((&written["trend"], &written["monitoring"]), (&json!("not_known"), &json!(false)));
    let _ = monitor.push(&reading(5, 39.0).with_status(glidepath::Status::BelowRange));
    let low = of(&monitor.tick(Instant::from_secs(301)));
    assert_eq!(low["bound"], json!({ "at_most": 39.0 }));
    assert_eq!(low["shown"]["bound"], json!({ "at_most": 39.0 }));
    // formats without an empty value leave it out
    assert!(!toml::to_string(&monitor.tick(None)).unwrap().contains("verdict"));
}

#[test]
fn two_sensors_are_written_side_by_side() {
    let mut pair = PairMonitor::<24>::new(Settings::default(), Settings::default()).unwrap();
    let mut view: Option<PairView> = None;
    for k in 0..25_u32 {
        let _ = pair.push(Side::First, &reading(5 * k, 120.0));
        view = Some(pair.push(Side::Second, &reading(5 * k, 126.0)));
    }
    let view = view.unwrap();
    let written = of(&view);
    assert_eq!(written["fused"], of(view.fused()));
    assert_eq!(written["agreement"], json!(view.agreement().name()));
    for (side, key) in [(Side::First, "first"), (Side::Second, "second")] {
        let own = view.side(side);
        let want = json!({
            "newest": { "at": 7200, "glucose": own.newest.unwrap().1 },
            "age": own.age,
            "reasons": own.reasons,
            "weight": own.weight,
            "offset": own.offset,
            "predicted_15min": own.predicted(Span::from_mins(15)),
            "predicted_30min": own.predicted(Span::from_mins(30)),
            "predicted_60min": own.predicted(Span::from_mins(60)),
        });
        assert_eq!(written[key], want, "{key}");
    }
    assert!(written["first"]["offset"].as_f64() < written["second"]["offset"].as_f64());
    assert_eq!(written.as_object().unwrap().len(), 4);
}

#[test]
fn the_small_monitor_s_answers_are_written_too() {
    let mut monitor = TrendMonitor::default();
    let mut view = monitor.tick(None);
    for k in 0..6_u32 {
        view = monitor.push(&reading(5 * k, 118.0 - 11.0 * k as f32));
    }
    let want = json!({
        "shown": { "glucose": 63.0, "bound": null, "doubted": false, "age": 0 },
        "trend": view.trend(),
        "low_ahead": view.low_ahead(),
        "warning": "low",
        "trigger": 63.0,
        "monitoring": true,
    });
    assert_eq!(of(&view), want);
}
