//! Settings in a file that a person can read, checked on the way in.

use crate::hostile::drive;
use glidepath::alarm::{AlarmPlan, AlarmSettings, Priority, Slot, Weekdays};
use glidepath::estimator::Model;
use glidepath::forecast::ForecastConfig;
use glidepath::quality::Quality;
use glidepath::trend::Bands;
use glidepath::{Glucose, LocalTime, Monitor, Rate, Settings, Span};

/// Settings that differ from the defaults everywhere but where they may not.
fn changed() -> Settings {
    let (mins, rate) = (Span::from_mins, |rate| Rate::from_mg_dl_per_min(rate).unwrap());
    let mut settings = Settings::default();
    settings.model = settings.model.with_lag(Span::from_secs(47)).unwrap().with_process_noise(0.3).unwrap();
    settings.model = settings.model.with_rate_time(mins(77)).unwrap().with_coloured(6.1, mins(11)).unwrap();
    settings.model = settings.model.with_white_sd(0.7).unwrap();
    settings.forecast = ForecastConfig::population();
    settings.drift = settings.drift.with_gain(0.2, mins(200_003)).unwrap();
    settings.drift = settings.drift.with_offset(7.1, Span::from_secs(15_551_999)).unwrap();
    settings.drift = settings.drift.with_scatter(0.21).unwrap().with_required_benefit(3.0).unwrap();
    settings.bands = Bands::new(rate(0.7), rate(1.9), 0.3, 1.1).unwrap().with_missing_costing(3.7).unwrap();
    settings.quality.wear = Span::from_hours(336);
    settings.quality.night_from = 1380;
    settings.quality.stuck_readings = 7;
    let mut day = AlarmSettings::default();
    day.low.limit = Glucose::from_mmol_l(4.1).unwrap();
    day.wear_end.limit = Span::from_hours(3);
    day.recovering = rate(0.9);
    let mut night = day;
    night.high.on = false;
    night.doubt.priority = Priority::Medium;
    let mut plan = AlarmPlan::new(day).unwrap();
    let night = plan.add_profile(night).unwrap();
    let days = Weekdays::NONE.with(1).with(6);
    plan.add_slot(Slot { days, from: 22 * 60, to: 5 * 60 + 30, profile: night }).unwrap();
    plan.add_slot(Slot { days: Weekdays::ALL, from: 0, to: 1439, profile: 0 }).unwrap();
    settings.alarms = plan;
    settings
}

#[test]
fn settings_come_back_as_they_were_written() {
    for settings in [Settings::default(), changed()] {
        let file = toml::to_string(&settings).unwrap();
        assert_eq!(toml::from_str::<Settings>(&file).unwrap(), settings, "{file}");
        let json = serde_json::to_string(&settings).unwrap();
        assert_eq!(serde_json::from_str::<Settings>(&json).unwrap(), settings, "{json}");
        assert!(Monitor::<2>::new(settings).is_ok());
    }
}

/// The refusal of a file, with the place it is of.
fn refused(text: &str) -> String {
    let read: Result<Settings, _> =
        serde_path_to_error::deserialize(toml::Deserializer::parse(text).unwrap());
    let error = read.expect_err(text);
    format!("{}: {}", error.path(), error.inner().message())
}

#[test]
fn a_key_left_out_takes_its_default_and_a_profile_the_base_s() {
    let read = |text: &str| toml::from_str::<Settings>(text).unwrap();
    assert_eq!(read(""), Settings::default());
    assert_eq!(serde_json::from_str::<Settings>("{}").unwrap(), Settings::default());
    let settings = read(
        "quality.gap = \"40 min\"\n\
         alarms.base.low = { limit = \"4.2 mmol/L\", repeat = \"10 min\" }\n\
         [[alarms.profiles]]\nlow.limit = 80\nsteep_fall = { on = true, limit = \"0.2 mmol/L/min\" }\n\
         [[alarms.slots]]\nfrom = \"22:00\"\nto = \"24:00\"\nprofile = 1\n",
    );
    assert_eq!(settings.quality.gap, Span::from_mins(40));
    assert_eq!(settings.quality.wear, Settings::default().quality.wear);
    let at = |hour: u16| *settings.alarms.settings_at(Some(LocalTime::new(0, hour * 60).unwrap()));
    let (base, night) = (at(12), at(23));
    assert_eq!(base.low.limit, Glucose::from_mmol_l(4.2).unwrap());
    assert_eq!((base.low.repeat, base.low.quiet), (Span::from_mins(10), Span::from_mins(30)));
    assert_eq!((night.low.limit.mg_dl(), night.low.repeat), (80.0, Span::from_mins(10)));
    assert_eq!(night.steep_fall.limit.mg_dl_per_min(), 0.2 * 18.0156);
    assert!(night.steep_fall.on && !base.steep_fall.on && at(0) == base);
}

#[test]
fn the_name_that_process_noise_had_before_is_still_read() {
    let read = |text: &str| toml::from_str::<Settings>(text).map(|settings| settings.model.process_noise());
    assert_eq!((read("model.drive = 0.3"), read("model.process_noise = 0.4")), (Ok(0.3), Ok(0.4)));
    assert!(toml::to_string(&Settings::default()).unwrap().contains("process_noise = 0.1"));
}

#[test]
fn a_refusal_names_the_place_the_value_and_the_range() {
    for (text, says) in [
        ("alarms.base.low.limit = 50", "alarms.base.low: limit: 50 is outside 56 to 120"),
        ("alarms.base.low.limit = 3.9", "alarms.base.low: limit: 3.9 is outside 56 to 120"),
        ("alarms.base.low.limit = \"70 mmol/L\"", "alarms.base.low: limit: 1261.092 is outside 56 to 120"),
        (
            "alarms.base.low.limit = \"3.9\"",
            "alarms.base.low.limit: invalid value: string \"3.9\", expected mg/dL",
        ),
        ("alarms.base.low.limit = true", "alarms.base.low.limit: invalid type: boolean"),
        ("alarms.base.low.limit = -1", "alarms.base.low.limit: glucose: -1 is outside 0 to 2000"),
        ("alarms.base.low.limit = nan", "alarms.base.low.limit: glucose: not a finite number"),
        ("alarms.base.low.limits = 70", "alarms.base.low.limits: unknown field `limits`"),
        ("alarms.base.floor.on = false", "alarms.base.floor: unknown field `floor`"),
        ("alarms.base.high.delay = \"25 h\"", "alarms.base.high: delay: 90000 is outside 0 to 86400"),
        ("alarms.base.high.delay = 1.5", "alarms.base.high.delay: span: out of range"),
        ("alarms.base.high.priority = \"urgent\"", "alarms.base.high.priority: unknown variant `urgent`"),
        ("alarms.base.doubt.limit = 3", "alarms.base.doubt.limit: invalid type: integer `3`, expected unit"),
        ("alarms.base.recovering = 9", "alarms.base: recovering: 9 is outside 0.2 to 5"),
        (
            "alarms.base.low.limit = 115\nalarms.base.high.limit = 125",
            "alarms: high.limit: at odds with another setting",
        ),
        ("[[alarms.profiles]]\nlow.limit = 1", "alarms.profiles[0].low: limit: 1 is outside 56 to 120"),
        ("alarms.slots = [{ from = 0, to = 0, profile = 1 }]", "alarms: slots.profile: out of range"),
        (
            "alarms.slots = [{ from = \"25:00\", to = 0, profile = 0 }]",
            "alarms.slots[0].from: invalid value: string \"25:00\"",
        ),
        ("alarms.slots = [{ from = 1440, to = 0, profile = 0 }]", "minute: 1440 is outside 0 to 1439"),
        (
            "alarms.slots = [{ from = 0, to = 0, profile = 0, days = [\"monday\"] }]",
            "alarms.slots[0].days[0]: invalid value: string \"monday\", expected \"mon\" to \"sun\"",
        ),
        (
            "alarms.profiles = [{}, {}, {}, {}]",
            "alarms.profiles: invalid length 3, expected a list of 3 at most",
        ),
        ("model.lag = \"2 h\"", "model: lag: 7200 is outside 30 to 1800"),
        ("model.lag = \"14 min\"", "model: rate_time: at odds with another setting"),
        ("model.process_noise = inf", "model: process_noise: not a finite number"),
        ("quality.jump_sd = 1", "quality: jump_sd: 1 is outside 2 to 10"),
        ("quality.night_from = \"7 pm\"", "quality.night_from: invalid value: string \"7 pm\""),
        ("bands.fast = 0.5", "bands: fast: at odds with another setting"),
        ("drift.scatter = 0.5", "drift: scatter: 0.5 is outside 0.02 to 0.3"),
        ("forecast.personal = 3", "forecast.personal: invalid type: integer `3`"),
        ("modle.lag = 3", "modle: unknown field `modle`"),
    ] {
        let said = refused(text);
        assert!(said.contains(says), "{text}: {said}");
    }
}

/// What is read must be what the constructors take: it is built anew by them, by hand.
fn rebuilt(settings: &Settings) -> Result<Settings, glidepath::Error> {
    let (model, mut built) = (settings.model, Settings::default());
    let start = if model.is_corrected() { Model::default() } else { Model::linear() };
    built.model = start.with_rate_time(Span::from_mins(1000))?.with_lag(model.lag())?;
    built.model = built.model.with_rate_time(model.rate_time())?.with_process_noise(model.process_noise())?;
    built.model = built.model.with_coloured(model.coloured_sd(), model.coloured_time())?;
    built.model = built.model.with_white_sd(model.white_sd())?;
    if !settings.forecast.is_personal() {
        built.forecast = ForecastConfig::population();
    }
    // these two have no getters: they hold what their own gates let through when written and read once more
    (built.drift, built.bands) = (settings.drift, settings.bands);
    built.quality = *Quality::new(settings.quality)?.config();
    let profile = |number| settings.alarms.profile(number).copied();
    let mut plan = AlarmPlan::new(profile(0).unwrap_or_default())?;
    for settings in (1..4).filter_map(profile) {
        plan.add_profile(settings)?;
    }
    for slot in settings.alarms.slots() {
        plan.add_slot(*slot)?;
    }
    built.alarms = plan;
    Ok(built)
}

#[test]
fn no_hostile_value_at_any_leaf_gets_past_the_constructors() {
    let leaves = drive(&changed(), rebuilt);
    assert!(leaves > 150, "{leaves} leaves");
}
