//! The lines that checks/day.c has to print, from the library itself.

#[path = "../../../tests/three_days/mod.rs"]
mod three_days;

use glidepath::accuracy::{AgreementRates, CutoffBy, Method, Pair, Paired, Pairing, PointAccuracy};
use glidepath::alarm::{AlarmPlan, AlarmSettings, Kind, Slot, Trigger, Weekdays};
use glidepath::forecast::{Forecast, Predicted};
use glidepath::gatt::{
    CgmMeasurement, CgmStatus, DecodeError, E2eCrc, GlucoseMeasurement, OctetOrder, SessionStart,
};
use glidepath::quality::QualityConfig;
use glidepath::review::{Config, DayTime, Pushed, Ranges, Review};
use glidepath::trend::{Bands, TrendSign};
use glidepath::{
    Bound, Fingerstick, FingerstickOutcome, Glucose, Instant, Monitor, PairMonitor, PairView, Rate, Reading,
    Settings, Side, Span, Status, TrendMonitor, TrendView, View, snapshot,
};
use std::collections::BTreeSet;

struct Hash(u32);

impl Hash {
    fn word(&mut self, value: u32) {
        for byte in value.to_le_bytes() {
            self.0 = (self.0 ^ u32::from(byte)).wrapping_mul(16_777_619);
        }
    }
    fn real(&mut self, value: f32) {
        self.word(value.to_bits());
    }
    fn words(&mut self, text: &str) {
        text.bytes().for_each(|byte| self.word(byte.into()));
    }
    fn known<T>(&mut self, value: Option<T>) -> Option<T> {
        self.word(value.is_some().into());
        value
    }
    fn one(&mut self, value: Option<f32>) {
        let value = self.known(value).unwrap_or(0.0);
        self.real(value);
    }
    fn line(&mut self, name: &str) {
        println!("{name} {:08x}", self.0);
        *self = Self::new();
    }
    const fn new() -> Self {
        Self(2_166_136_261)
    }
    fn predicted(&mut self, value: Option<Predicted>) {
        let value = self.known(value);
        self.real(value.map_or(0.0, |p| p.glucose().mg_dl()));
        self.real(value.map_or(0.0, |p| p.sd()));
        self.real(value.map_or(0.0, |p| p.half_width_50()));
        self.real(value.map_or(0.0, |p| p.half_width_95()));
    }
    fn ranges(&mut self, ranges: Option<Ranges>) {
        let r = self.known(ranges);
        self.real(r.map_or(0.0, |r| r.below_54));
        self.real(r.map_or(0.0, |r| r.from_54_to_69));
        self.real(r.map_or(0.0, |r| r.from_70_to_180));
        self.real(r.map_or(0.0, |r| r.from_181_to_250));
        self.real(r.map_or(0.0, |r| r.above_250));
    }
    fn stick(&mut self, outcome: &FingerstickOutcome, stick: &Fingerstick) {
        self.words(outcome.words());
        self.word(matches!(outcome, FingerstickOutcome::Used { fused: true, .. }).into());
        let expected = self.known(outcome.expected());
        self.real(expected.map_or(0.0, |e| e.glucose.mg_dl()));
        self.real(expected.map_or(0.0, |e| e.sd));
        self.real(expected.map_or(0.0, |e| e.deviations(stick)));
    }
    fn pair(&mut self, view: &PairView) {
        self.view(view.fused());
        self.words(view.agreement().words());
        for side in Side::BOTH {
            let one = view.side(side);
            self.words(side.name());
            let newest = self.known(one.newest);
            self.word(newest.map_or(0, |(at, _)| at.secs()));
            self.real(newest.map_or(0.0, |(_, glucose)| glucose.mg_dl()));
            let age = self.known(one.age);
            self.word(age.map_or(0, |age| age.secs()).cast_unsigned());
            self.real(one.weight);
            self.real(one.offset);
            for minutes in [15, 30, 60] {
                self.predicted(one.predicted(Span::from_mins(minutes)));
            }
            self.words(one.reasons.grade().name());
            for reason in one.reasons.iter() {
                self.words(reason.name());
            }
        }
    }
    fn view(&mut self, view: &View) {
        let bound = |bound| match bound {
            None => (0, 0.0),
            Some(Bound::AtMost(glucose)) => (1, glucose.mg_dl()),
            Some(Bound::AtLeast(glucose)) => (2, glucose.mg_dl()),
        };
        self.word(view.at().secs());
        let shown = self.known(view.shown());
        self.real(shown.map_or(0.0, |s| s.glucose.mg_dl()));
        self.word(shown.map_or(0, |s| s.age.secs()).cast_unsigned());
        self.word(shown.map_or(0, |s| s.glucose.whole_mg_dl()).into());
        self.word(shown.map_or(0, |s| s.glucose.tenths_mmol_l()).into());
        self.word(shown.map_or(0, |s| bound(s.bound).0));
        self.word(shown.is_some_and(|s| s.doubted).into());
        self.word(view.is_monitoring().into());
        self.words(view.verdict().map_or("none", |v| v.name()));
        self.words(view.trend().words());
        self.words(view.grade().name());
        for reason in view.reasons().iter() {
            self.words(reason.name());
        }
        self.known(view.bound());
        self.word(bound(view.bound()).0);
        self.real(bound(view.bound()).1);
        let estimate = self.known(view.estimate());
        self.real(estimate.map_or(0.0, |e| e.glucose().mg_dl()));
        self.real(estimate.map_or(0.0, |e| e.glucose_sd()));
        self.real(estimate.map_or(0.0, |e| e.rate().mg_dl_per_min()));
        self.real(estimate.map_or(0.0, |e| e.rate_sd()));
        self.word(estimate.is_some_and(|e| e.is_doubted()).into());
        self.one(view.calibration_sd());
        let direction = self.known(view.direction());
        self.real(direction.map_or(0.0, |d| d.rate().mg_dl_per_min()));
        self.real(direction.map_or(0.0, |d| d.sd()));
        self.predicted(view.predicted_15min());
        self.predicted(view.predicted_30min());
        self.predicted(view.predicted_60min());
        self.one(view.low_probability());
        self.one(view.low_ahead_signal());
        self.one(view.minutes_to_low());
        let newest = self.known(view.newest());
        self.word(newest.map_or(0, |(at, _)| at.secs()));
        self.real(newest.map_or(0.0, |(_, glucose)| glucose.mg_dl()));
        let age = self.known(view.age());
        self.word(age.map_or(0, |age| age.secs()).cast_unsigned());
        for held in view.alarms().iter() {
            let about = held.ring.kind.info();
            self.words(about.message);
            self.words(about.title);
            self.word(held.ring.at.secs());
            self.word(held.rings.into());
            self.word(held.acknowledged.into());
            self.words(held.ring.priority.name());
            self.words(held.ring.cause.name());
            let (number, value) = match held.ring.trigger {
                Trigger::Unknown => (0, 0.0),
                Trigger::Sensor(g) => (1, g.mg_dl()),
                Trigger::Uncalibrated(g) => (2, g.mg_dl()),
                Trigger::BelowRange(g) => (3, g.mg_dl()),
                Trigger::Estimate(g) => (4, g.mg_dl()),
                Trigger::Unplaced(g) => (5, g.mg_dl()),
                Trigger::Probability(p) => (6, p),
                Trigger::Rate(rate) => (7, rate.mg_dl_per_min()),
                Trigger::Silence(span) => (8, span.secs() as f32),
                Trigger::WearLeft(span) => (9, span.secs() as f32),
                Trigger::Doubt => (10, 0.0),
            };
            self.word(number);
            self.real(value);
        }
        self.words(view.alarms().most_urgent().map_or("-", |held| held.ring.kind.message()));
        self.words(view.rings().first().map_or("-", |ring| ring.kind.message()));
    }
}

const START: u32 = 1_700_000_000;

fn time_of(i: usize) -> u32 {
    START + 300 * i as u32
}

fn mg_dl(value: f32) -> Glucose {
    Glucose::from_mg_dl(value).unwrap()
}

fn reading(values: &[i32], i: usize) -> Reading {
    let status = if i % 101 == 100 {
        Status::Doubtful
    } else if values[i] < 55 {
        Status::BelowRange
    } else {
        Status::Normal
    };
    Reading::new(Instant::from_secs(time_of(i)), mg_dl(values[i] as f32)).with_status(status)
}

fn plan(high: f32) -> AlarmPlan {
    let mut base = AlarmSettings::default();
    base.high.limit = mg_dl(high);
    let mut night = AlarmSettings::default();
    night.low.limit = mg_dl(80.0);
    night.steep_fall.on = true;
    let mut plan = AlarmPlan::new(base).unwrap();
    let profile = plan.add_profile(night).unwrap();
    plan.add_slot(Slot { days: Weekdays::ALL, from: 22 * 60, to: 7 * 60, profile }).unwrap();
    plan
}

fn quality() -> QualityConfig {
    let mut quality = QualityConfig::default();
    quality.pressure_share = 0.15;
    quality
}

fn through_the_monitor(hash: &mut Hash, values: &[i32]) {
    let settings = Settings::default()
        .with_alarms(plan(250.0))
        .with_quality(quality())
        .with_bands(Bands::default().with_missing_costing(1.5).unwrap());
    let mut monitor = Monitor::<288>::new(settings).unwrap();
    monitor.set_utc_offset(Some(Span::from_secs(3600)));
    for i in 0..values.len() {
        let at = time_of(i);
        if i > 0 && i % 288 == 0 {
            hash.line(&format!("day {}", i / 288));
        }
        if i % 97 >= 90 && i % 97 < 94 {
            hash.view(&monitor.tick(Instant::from_secs(at)));
            continue;
        }
        monitor.set_uptime(at - START);
        hash.view(&monitor.push(&reading(values, i)));
        if i % 7 == 3 {
            monitor.set_uptime(at - START + 120);
            hash.view(&monitor.tick(Instant::from_secs(at + 120)));
        }
        if i % 48 == 20 {
            let stick = Fingerstick::new(Instant::from_secs(at + 60), mg_dl(values[i] as f32 * 1.0625 + 3.0));
            hash.stick(&monitor.fingerstick(&stick), &stick);
        }
        if i % 60 == 30 {
            monitor.acknowledge();
        }
        if i == 310 {
            hash.word(monitor.snooze(Kind::Low, Span::from_secs(7200)).secs().cast_unsigned());
        }
        if i == 400 {
            let mut buffer = [0; 8192];
            let length = snapshot::save(&mut monitor, &mut buffer).unwrap();
            hash.word(length as u32);
            buffer[..length].iter().for_each(|byte| hash.word((*byte).into()));
            monitor = Monitor::new(settings).unwrap();
            monitor.set_utc_offset(Some(Span::from_secs(3600)));
            snapshot::restore(&mut monitor, &buffer[..length]).unwrap();
            hash.view(&monitor.tick(None));
        }
        if i == 500 {
            monitor.sensor_started(Instant::from_secs(at));
        }
        if i == 600 {
            monitor.set_utc_offset(None);
        }
        if i == 700 {
            monitor.set_alarm_plan(plan(200.0));
            monitor.power_returned();
        }
    }
    hash.line("day 3");
    let history = monitor.history();
    let kept: Vec<Reading> = history.iter().skip(history.len() - 200).collect();
    hash.word(kept.len() as u32);
    for reading in kept {
        hash.word(reading.at().secs());
        hash.real(reading.glucose().mg_dl());
        hash.words(reading.status().name());
    }
    hash.line("history");
    let wear = hash.known(monitor.wear()).expect("its start is known");
    for span in [wear.worn(), wear.left(), wear.warm_up_left(), wear.lost()] {
        hash.word(span.secs().cast_unsigned());
    }
    hash.word(wear.readings());
    hash.word(wear.errors());
    hash.word(wear.day());
    let ((gain, offset), (used, refused)) = (monitor.gain_and_offset(), monitor.calibration().counts());
    hash.real(gain);
    hash.real(offset);
    hash.word(used.into());
    hash.word(refused.into());
    hash.line("sensor");
}

fn trend_view(hash: &mut Hash, view: &TrendView) {
    let shown = hash.known(view.shown());
    hash.real(shown.map_or(0.0, |s| s.glucose.mg_dl()));
    hash.word(shown.map_or(0, |s| s.age.secs()).cast_unsigned());
    hash.word(shown.map_or(0, |s| s.glucose.whole_mg_dl()).into());
    hash.word(shown.map_or(0, |s| s.glucose.tenths_mmol_l()).into());
    hash.word(shown.map_or(0, |s| s.bound.map_or(0, |b| if matches!(b, Bound::AtMost(_)) { 1 } else { 2 })));
    hash.word(shown.is_some_and(|s| s.doubted).into());
    hash.word(view.is_monitoring().into());
    hash.words(view.trend().words());
    hash.words(view.warning().map_or("-", |kind| kind.message()));
    hash.one(view.low_ahead().map(|probability| probability.get()));
    hash.one(view.trigger().map(|glucose| glucose.mg_dl()));
}

fn first_of(values: &[i32], i: usize) -> Reading {
    let value = if (400..430).contains(&i) { values[i] * 5 / 8 } else { values[i] };
    let read = reading(values, i);
    Reading::new(read.at(), mg_dl(value as f32)).with_status(read.status())
}

fn second_of(values: &[i32], i: usize) -> Reading {
    let value = if (200..230).contains(&i) {
        values[200]
    } else {
        values[i] * 15 / 16 + 6 + (((i as u32).wrapping_mul(2_654_435_761) >> 16) % 13) as i32 - 6
    };
    Reading::new(Instant::from_secs(time_of(i) + 100), mg_dl(value as f32))
}

fn through_the_pair(hash: &mut Hash, values: &[i32]) {
    let high = |limit| {
        let mut alarms = AlarmSettings::default();
        alarms.high.limit = mg_dl(limit);
        AlarmPlan::new(alarms).unwrap()
    };
    let first = Settings::default()
        .with_alarms(high(240.0))
        .with_bands(Bands::default().with_missing_costing(1.5).unwrap());
    let second = Settings::default().with_quality(quality());
    let mut pair = PairMonitor::<288>::new(first, second).unwrap();
    pair.set_utc_offset(Some(Span::from_secs(3600)));
    let mut seen = BTreeSet::new();
    for i in 0..values.len() {
        let at = time_of(i);
        if i == 432 {
            hash.line("pair 1");
        }
        pair.set_uptime(at - START);
        let view = if (640..700).contains(&i) {
            pair.tick(Instant::from_secs(at))
        } else {
            pair.push(Side::First, &first_of(values, i))
        };
        hash.pair(&view);
        seen.insert(view.agreement().name());
        pair.set_uptime(at - START + 100);
        if !(600..660).contains(&i) {
            hash.pair(&pair.push(Side::Second, &second_of(values, i)));
        }
        if i % 96 == 20 {
            let stick =
                Fingerstick::new(Instant::from_secs(at + 110), mg_dl(values[i] as f32 * 1.0625 + 3.0));
            pair.fingerstick(&stick).iter().for_each(|outcome| hash.stick(outcome, &stick));
        }
        if i % 60 == 30 {
            pair.acknowledge();
        }
        if i == 310 {
            hash.word(pair.snooze(Kind::Low, Span::from_secs(7200)).secs().cast_unsigned());
        }
        if i == 500 {
            pair.sensor_started(Side::Second, Instant::from_secs(at));
        }
        if i == 560 {
            pair.set_utc_offset(None);
        }
        if i == 580 {
            pair.power_returned();
            hash.pair(&pair.tick(None));
        }
        if i == 680 {
            let mut buffer = [0; 8192];
            let length = snapshot::save_pair(&mut pair, &mut buffer).unwrap();
            hash.word(length as u32);
            buffer[..length].iter().for_each(|byte| hash.word((*byte).into()));
            pair = PairMonitor::new(first, second).unwrap();
            snapshot::restore_pair(&mut pair, &buffer[..length]).unwrap();
            hash.pair(&pair.tick(None));
        }
        if i == 720 {
            pair.set_alarm_plan(high(200.0));
        }
    }
    assert!(seen.len() >= 5, "the days show too little: {seen:?}");
    hash.line("pair 2");
    for side in Side::BOTH {
        let history = pair.history(side);
        let kept: Vec<Reading> = history.iter().skip(history.len().saturating_sub(100)).collect();
        hash.word(kept.len() as u32);
        for reading in kept {
            hash.word(reading.at().secs());
            hash.real(reading.glucose().mg_dl());
        }
        let wear = hash.known(pair.wear(side));
        hash.word(wear.map_or(0, |wear| wear.worn().secs()).cast_unsigned());
        hash.word(wear.map_or(0, |wear| wear.readings()));
    }
    pair.restart();
    hash.pair(&pair.tick(Instant::from_secs(time_of(values.len()))));
    hash.line("pair 3");
}

fn trend_and_low_ahead(hash: &mut Hash, values: &[i32]) {
    let mut monitor = TrendMonitor::default();
    trend_view(hash, &monitor.tick(None));
    for i in 0..values.len() {
        let at = time_of(i);
        if i < 300 {
            monitor.set_uptime(at - START);
        }
        if i % 97 >= 90 {
            trend_view(hash, &monitor.tick(Instant::from_secs(at)));
        } else {
            trend_view(hash, &monitor.push(&reading(values, i)));
        }
        if i == 500 {
            monitor.power_returned();
            trend_view(hash, &monitor.tick(None));
        }
    }
    hash.line("trend");
}

fn direction_alone(hash: &mut Hash, values: &[i32]) {
    let (mut forecast, mut sign, mut plain) =
        (Forecast::default(), TrendSign::default(), TrendSign::default());
    for (i, value) in values.iter().enumerate().take(288) {
        forecast.reading(Instant::from_secs(time_of(i)), mg_dl(*value as f32), i % 50 != 49);
        let now = Instant::from_secs(time_of(i) + 60);
        let direction = forecast.direction(now);
        hash.words(sign.step(direction.map(|d| d.rate()), direction.map_or(0.0, |d| d.sd())).words());
        hash.known(direction);
        hash.real(direction.map_or(0.0, |d| d.rate().mg_dl_per_min()));
        hash.real(direction.map_or(0.0, |d| d.sd()));
        hash.predicted(forecast.at(now, Span::from_mins(30)));
        hash.one(forecast.low_probability(now, mg_dl(70.0), Span::from_mins(30)));
        hash.one(forecast.low_ahead(now));
        hash.one(forecast.minutes_to_fall(now, mg_dl(70.0), Span::from_mins(60)));
        let rate = Rate::from_mg_dl_per_min((*value - 160) as f32 / 40.0).unwrap();
        hash.words(plain.step(Some(rate), 0.25).words());
    }
    hash.line("direction");
}

fn octets([a, b, c]: [u8; 3]) -> u32 {
    u32::from_le_bytes([a, b, c, 0])
}

fn payloads(hash: &mut Hash) {
    let cgm = [14, 0xe3, 0x6c, 0x00, 0x05, 0x00, 0x00, 0x04, 0x40, 0xec, 0x0f, 0x5f, 0x00];
    let plain = [6, 0x00, 0x68, 0x00, 0x0a, 0x00];
    for bytes in [cgm.as_slice(), plain.as_slice()] {
        let record = match CgmMeasurement::decode_first(bytes, E2eCrc::Absent) {
            Ok((record, _)) => record.in_octet_order(OctetOrder::StatusFirst),
            Err(DecodeError::TooShort) => {
                hash.words("the payload is too short");
                continue;
            }
            Err(other) => panic!("{other}"),
        };
        hash.words("done");
        hash.word(bytes.len() as u32);
        let reading = hash.known(record.reading(Instant::from_secs(START), mg_dl(40.0)..=mg_dl(400.0)));
        hash.word(reading.map_or(0, |r| r.at().secs()));
        hash.real(reading.map_or(0.0, |r| r.glucose().mg_dl()));
        hash.words(reading.map_or("normal", |r| r.status().name()));
        hash.one(record.trend_mg_dl_per_min().and_then(|x| x.number()));
        hash.one(record.quality_percent().and_then(|x| x.number()));
        hash.word(octets(record.annunciation().octets()));
        hash.word(record.offset_min().into());
        hash.word(record.order_in_doubt().into());
    }
    let status = CgmStatus::decode(&[0x0a, 0x00, 0x08, 0x00, 0x00], E2eCrc::Absent).unwrap();
    hash.word(status.offset_min().into());
    hash.word(octets(status.annunciation().octets()));
    hash.words(status.annunciation().status().name());
    let start = SessionStart::decode(&[0xe7, 0x07, 11, 14, 22, 13, 20, 4, 0], E2eCrc::Absent).unwrap();
    let utc = hash.known(start.utc());
    hash.word(utc.map_or(0, |utc| utc.secs()));
    let offset = hash.known(start.offset());
    hash.word(offset.map_or(0, |offset| offset.secs()).cast_unsigned());
    let meter = [0x03, 0x07, 0x00, 0xe7, 0x07, 11, 14, 22, 13, 20, 0x3c, 0x00, 0x78, 0xb0, 0x11];
    let meter = GlucoseMeasurement::decode(&meter).unwrap();
    hash.known(meter.fingerstick());
    let at = hash.known(meter.at());
    hash.word(at.map_or(0, |at| at.secs()));
    let sample = meter.sample().unwrap();
    let glucose = hash.known(sample.concentration.glucose());
    hash.real(glucose.map_or(0.0, |glucose| glucose.mg_dl()));
    hash.word(meter.sequence().into());
    hash.word(sample.kind as u32);
    hash.word(sample.location as u32);
    hash.line("payloads");
}

fn looking_back(hash: &mut Hash, values: &[i32]) {
    let mut review: Box<Review> = Box::new(Review::new(Config::default()));
    for i in 0..values.len() {
        let local = DayTime::from_secs(300 * i as u32);
        assert_eq!(review.push(&reading(values, i), local), Pushed::Counted);
    }
    let s = review.summary();
    hash.word(s.readings);
    hash.word(s.whole_days);
    hash.real(s.days);
    hash.one(s.active_percent);
    hash.one(s.mean_mg_dl);
    hash.one(s.sd_mg_dl);
    hash.one(s.cv_percent);
    hash.one(s.gmi_percent);
    hash.one(s.gri);
    hash.ranges(s.by_time);
    hash.ranges(s.by_readings);
    hash.word(s.suffices().into());
    hash.line("review");
    let readings: Vec<Reading> = (0..288).map(|i| reading(values, i)).collect();
    let (mut point, mut agreement) =
        (PointAccuracy::new(), AgreementRates::new(100.0, CutoffBy::Reference).unwrap());
    let sticks: Vec<Fingerstick> = (0..288)
        .step_by(12)
        .map(|i| {
            let value = mg_dl(values[i] as f32 * 0.9375 + 5.0);
            Fingerstick::new(Instant::from_secs(time_of(i) + 100), value)
        })
        .collect();
    for paired in Pairing::new(Method::Nearest, Span::from_secs(120)).unwrap().pairs(&readings, &sticks) {
        if let Paired::Pair(pair) = paired {
            point.push(&pair);
            agreement.push(&pair);
            hash.words("done");
        } else {
            hash.words("no usable reading near enough");
        }
    }
    let pair = Pair::new(Instant::from_secs(0), mg_dl(110.0), mg_dl(100.0)).unwrap();
    point.push(&pair);
    agreement.push(&pair);
    hash.word(point.pairs());
    hash.one(point.mard_percent());
    hash.real(point.bias_mg_dl().unwrap());
    hash.real(point.mad_mg_dl().unwrap());
    hash.real(point.rmse_mg_dl().unwrap());
    hash.one(point.sd_mg_dl());
    hash.real(agreement.within_15_15().percent().unwrap());
    hash.real(agreement.within_20_20().percent().unwrap());
    hash.real(agreement.within_30_30().percent().unwrap());
    hash.real(agreement.within_40_40().percent().unwrap());
    hash.line("accuracy");
}

fn main() {
    let values = three_days::values();
    let mut hash = Hash::new();
    through_the_monitor(&mut hash, &values);
    through_the_pair(&mut hash, &values);
    trend_and_low_ahead(&mut hash, &values);
    direction_alone(&mut hash, &values);
    payloads(&mut hash);
    looking_back(&mut hash, &values);
}
