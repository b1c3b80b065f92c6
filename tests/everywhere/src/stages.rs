//! Each stage alone, as firmware that has its own monitor would use it.

use crate::{Event, Hash, Stream, live, mg_dl};
use core::hint::black_box;
use glidepath::alarm::{AdaptiveLimit, AlarmSettings, Alarms, Doubt, Kind, Situation};
use glidepath::calibration::{Calibration, CalibrationPoint, Drift, Line, LineFit};
use glidepath::estimator::{Estimator, Model, Trust};
use glidepath::forecast::fitting::{Learner, Outlook, Reach, Table};
use glidepath::forecast::{Direction, Forecast, ForecastConfig, minutes_at_constant_rate};
use glidepath::quality::{Evidence, Quality, QualityConfig, Reason};
use glidepath::smoothing::{
    Exponential, Holt, Level, MovingAverage, MovingMedian, SavitzkyGolay, TwoStateKalman,
};
use glidepath::timeline::Reset;
use glidepath::trend::{Bands, TrendSign};
use glidepath::{
    Error, Estimate, Glucose, History, Instant, LocalTime, Probability, Rate, Reading, Span, Status,
};

pub fn stages(events: usize) -> Hash {
    let mut hash = Hash::new();
    if let Err(error) = units(&mut hash).and_then(|()| all(&mut hash, events)) {
        hash.put(error);
        hash.not_finite = u32::MAX; // nothing here should be refused
    }
    hash
}

fn units(hash: &mut Hash) -> Result<(), Error> {
    for x in black_box([-1.0, 0.0, 5.5, 39.97, 1e9, f32::NAN]) {
        hash.put((Glucose::from_mg_dl(x), Glucose::from_mmol_l(x), Rate::from_mg_dl_per_min(x)));
        hash.put((Glucose::try_from(x), Rate::try_from(x).map(f32::from)));
    }
    hash.put((Span::from_mins(black_box(i32::MAX)), Span::from_hours(black_box(i32::MIN))));
    hash.put(Instant::from_secs(black_box(5)).since(Instant::from_secs(u32::MAX)));
    if let Err(error) = Glucose::from_mg_dl(black_box(-1.0)) {
        hash.put(Error::new("x", error.kind()));
    }
    let local = LocalTime::from_unix(Instant::from_secs(black_box(1_790_000_000)), -7200);
    hash.put((local.weekday(), local.minute()));
    let doubts = [Doubt::None, Doubt::Pressure, Doubt::Disbelieved, Doubt::WarmUp];
    doubts.into_iter().for_each(|doubt| hash.put(doubt.name()));
    let falling = Rate::from_mg_dl_per_min(black_box(-1.5))?;
    hash.put(Direction::new(falling, black_box(0.6)).map(|d| d.probability_below(falling)));
    hash.put(Direction::new(falling, black_box(f32::NAN)).map(|d| d.sd()));
    Ok(())
}

fn all(hash: &mut Hash, events: usize) -> Result<(), Error> {
    let single = Model::linear().with_process_noise(black_box(0.04))?;
    let model = Model::default()
        .with_lag(Span::from_mins(black_box(1)))?
        .with_coloured(6.0, Span::from_mins(30))?
        .with_white_sd(2.0)?;
    let (mut one, mut two) = (Estimator::new(black_box(single)), Estimator::new(black_box(model)));
    let (mut people, mut person) =
        (Forecast::new(black_box(ForecastConfig::population())), Forecast::default());
    let mut calibration = Calibration::new(black_box(
        Drift::default()
            .with_gain(0.1, Span::from_mins(10_000))?
            .with_offset(6.0, Span::from_mins(4000))?
            .with_scatter(0.1)?
            .with_required_benefit(1.0)?,
    ));
    let (mut line, mut ols) =
        (Line::new(black_box(LineFit::Deming(1.5)))?, Line::new(LineFit::LeastSquares)?);
    let mut quality = Quality::new(black_box(QualityConfig::default()))?;
    let bands = Bands::new(Rate::try_from(black_box(0.9))?, Rate::try_from(2.1)?, 0.3, 1.5)?;
    let bands = bands.with_missing_costing(black_box(1.7))?;
    let mut sign = TrendSign::new(black_box(bands));
    let mut alarms = Alarms::new(live::plan(hash));
    let mut burden = AdaptiveLimit::resume(
        AdaptiveLimit::new(black_box(3.0))?.per_week(),
        Probability::new(black_box(0.31))?,
    )?;
    hash.put(*two.model() == model);
    let mut history = History::<24>::new();
    let mut smoothers = Smoothers::new()?;
    let mut learner = Learner::new(black_box(true));
    for event in Stream::new(black_box(11)).take(events) {
        match event {
            Event::Reading(reading) => {
                hash.put(one.observe(&reading) as u8);
                let admitted = quality.admit(&reading);
                hash.put((admitted.is_admitted(), admitted.is_kept(), admitted.is_believed()));
                let value = calibration.apply_reading(&reading);
                let expected = two.predict(reading.at(), value);
                let z = expected.as_ref().and_then(|e| e.innovation());
                hash.put((z, two.bounds()));
                let local = Some(LocalTime::from_unix(reading.at(), 3600));
                let evidence = Evidence { z, noise_scale: Some(two.noise_scale()), local };
                let judged = quality.assess(&reading, &evidence);
                hash.put((judged.verdict() as u8, judged.weight(), judged.pressure_suspected()));
                hash.put(judged.verdict().name());
                hash.put((
                    judged.grade() as u8,
                    judged.reasons().is_empty(),
                    judged.reasons().are_disqualifying(),
                ));
                if let Some(expected) = expected {
                    let trust = if judged.weight() > 0.5 { Trust::Full } else { Trust::Reduced(4.0) };
                    hash.put((two.update(&expected, trust) as u8, two.is_in_doubt()));
                }
                hash.put((history.view().contradicts(&reading, Span::from_mins(2)), reading.status().name()));
                hash.put(history.insert(&reading) as u8);
                smoothers.step(hash, &reading);
                people.reading(reading.at(), value, admitted.is_believed());
                person.reading(reading.at(), value, admitted.is_believed());
                ahead(hash, &people, reading.at());
                ahead(hash, &person, reading.at());
                learner.reading(&Table::PEOPLE, reading.at(), value, admitted.is_believed());
                learned(hash, &learner, reading.at());
                let direction = person.direction(reading.at());
                for estimate in [one.estimate(reading.at()), two.estimate(reading.at())].into_iter().flatten()
                {
                    let own =
                        Estimate::new(estimate.at(), estimate.glucose(), estimate.rate(), 7.0, 0.5, 0.1);
                    hash.put(own.map(|e| (e.glucose(), e.interstitial_difference())));
                    let low = mg_dl(70.0);
                    hash.put(minutes_at_constant_rate(estimate.glucose(), estimate.rate(), low));
                    let trend = sign.step(direction.map(|d| d.rate()), direction.map_or(0.0, |d| d.sd()));
                    hash.put((trend.words(), sign.last() == trend, sign.bands() == &bands));
                    let situation = Situation::at(reading.at())
                        .with_sensor(reading.at(), reading.glucose())
                        .with_plasma(estimate.glucose(), estimate.rate())
                        .with_low_ahead(person.low_ahead(reading.at()).unwrap_or_default())
                        .with_local(LocalTime::from_unix(reading.at(), 0))
                        .with_wear_left(Span::from_hours(2))
                        .with_sensors_apart(judged.weight() < 0.1)
                        .with_doubt(if judged.weight() < 0.2 { Doubt::Disbelieved } else { Doubt::None })
                        .with_uncalibrated(reading.glucose());
                    let situation = match reading.status() {
                        Status::BelowRange => situation.with_below_range(reading.glucose()),
                        Status::WarmUp => situation.with_unbelieved(reading.glucose()),
                        Status::Doubtful => situation.with_unplaced(reading.glucose()),
                        _ => situation,
                    };
                    let standing = alarms.update(&situation);
                    live::standing(hash, &standing);
                    let lows = standing.rings().iter().any(|ring| ring.kind.info().warns_of_low);
                    burden.step(reading.at(), Some(reading.glucose()), lows);
                    let rule = burden.rule(AlarmSettings::default().low_ahead);
                    hash.put((burden.limit().get(), rule.limit.get()));
                }
            }
            Event::Fingerstick(stick) => {
                hash.put((one.fingerstick(&stick) as u8, stick.meter_sd()));
                if let Some(gap) = one.interstitial_difference(stick.at()) {
                    hash.put((gap.mean, gap.sd));
                    let pair = CalibrationPoint {
                        at: stick.at(),
                        reference: stick.glucose(),
                        sensor: calibration.apply(stick.at(), stick.glucose()),
                        difference: gap.mean,
                        difference_sd: gap.sd,
                        sensor_sd: one.noise_sd(),
                    };
                    let applied = calibration.add(&pair);
                    hash.put((applied as u8, applied.is_used(), calibration.sd(stick.at(), stick.glucose())));
                    hash.put((
                        calibration.benefit().words(),
                        calibration.is_correcting(),
                        calibration.scatter(),
                    ));
                    let most = calibration.max_corrected(stick.glucose());
                    hash.put((most, calibration.total_sd(stick.at(), most, 6.0)));
                    line.push(pair.reference, pair.sensor);
                    ols.push(pair.sensor, pair.reference);
                }
                hash.put((line.fit().map_err(|e| e as u8), ols.fit().map_err(|e| e as u8)));
                quality.fingerstick(stick.at(), 1.5);
                quality.second_sensor(stick.at(), -2.5);
                two.shift(3.0);
                person.shift(3.0);
                learner.shift(&Table::PEOPLE, 3.0);
            }
            Event::Tick(at) => {
                let trend = sign.step(None, f32::NAN);
                hash.put((trend.words(), quality.reasons(at).contains(Reason::Gap)));
                quality.reasons(at).iter().for_each(|reason| hash.put(reason as u8));
                hash.put(quality.reasons(at).grade() as u8);
                live::standing(hash, &alarms.update(&Situation::at(at)));
            }
            Event::SensorStarted(_) | Event::PowerReturned | Event::Restart => {
                let reset = match event {
                    Event::SensorStarted(_) => Reset::NewSensor,
                    Event::PowerReturned => Reset::PowerReturned,
                    _ => Reset::Everything,
                };
                quality.reset(reset);
                calibration.reset(reset);
                one.reset(reset);
                two.reset(reset);
                sign.reset(reset);
                person.reset(reset);
                people.reset(reset);
                learner.reset();
                smoothers.reset();
                if let Event::SensorStarted(at) = event {
                    quality.sensor_started(at);
                    alarms.reset(reset, at);
                    history.shift(Span::from_secs(-30));
                } else {
                    history.clear();
                }
            }
            Event::Uptime(secs) => alarms.reset(Reset::PowerReturned, Instant::from_secs(secs)),
            Event::Snooze(..) => hash.put(alarms.snooze(Kind::High, Span::from_hours(1))),
            Event::Acknowledge => alarms.acknowledge(Kind::Low),
            Event::Offset(_) => {
                alarms.acknowledge_all();
                alarms.set_plan(Default::default());
            }
        }
        two.smoothed().for_each(|s| hash.put((s.at(), s.glucose(), s.sd())));
    }
    hash.put(history.view().len());
    Ok(())
}

/// All that a forecast tells.
fn ahead(hash: &mut Hash, forecast: &Forecast, now: Instant) {
    let low = mg_dl(70.0);
    for minutes in [-5, 0, 7, 30, 60, 500] {
        let horizon = Span::from_mins(minutes);
        let predicted = forecast.at(now, horizon);
        hash.put(predicted.map(|p| (p.glucose(), p.sd())));
        hash.put(predicted.map(|p| (p.half_width_50(), p.half_width_95())));
        hash.put((forecast.low_probability(now, low, horizon), forecast.minutes_to_fall(now, low, horizon)));
    }
    hash.put((forecast.low_ahead(now), forecast.uses_personal(), forecast.config().is_personal()));
    let rate = |rate| Rate::try_from(rate).ok();
    let direction = forecast.direction(now);
    hash.put(direction.map(|d| (d.rate(), d.sd(), rate(-1.0).map(|rate| d.probability_below(rate)))));
}

/// All that the learner tells to whoever fits it anew.
fn learned(hash: &mut Hash, learner: &Learner, now: Instant) {
    let (table, low) = (black_box(&Table::PEOPLE), mg_dl(70.0));
    let outlook = Outlook { table, learner };
    let half_hour = Span::from_mins(30);
    hash.put((outlook.at(now, half_hour).map(|p| p.glucose()), outlook.direction(now).map(|d| d.rate())));
    hash.put((outlook.low_ahead(now), outlook.low_probability(now, low, half_hour)));
    hash.put((learner.newest(), learner.age(now)));
    learner.recent().into_iter().flatten().for_each(|rate| hash.put(rate));
    hash.put(learner.trusts_own());
    for reach in [Reach::Full, Reach::Short, Reach::Level] {
        hash.put(table.wider(reach));
        let terms = learner.terms(table).map(|terms| terms.with_reach(reach, table.carry));
        hash.put(terms.map(|terms| terms.level));
        terms.iter().flat_map(|terms| terms.of_change).for_each(|term| hash.put(term));
    }
    if learner.newest().is_some() {
        let ahead = learner.ahead(table, 45.0);
        hash.put((ahead.change, ahead.half, ahead.tail));
        hash.put(learner.low_probability(table, 70.0, 20.0));
        learner.low_terms(70.0, 20.0).into_iter().for_each(|term| hash.put(term));
        learner.course().for_each(|(minutes, change)| hash.put((minutes, change)));
    }
}

struct Smoothers {
    average: MovingAverage<12>,
    exponential: Exponential,
    holt: Holt,
    kalman: TwoStateKalman,
    median: MovingMedian<9>,
    polynomial: SavitzkyGolay<9>,
}

impl Smoothers {
    fn new() -> Result<Self, Error> {
        Ok(Self {
            average: MovingAverage::new(black_box(25.0))?,
            exponential: Exponential::new(black_box(12.0))?,
            holt: Holt::new(black_box(10.0), 20.0)?,
            kalman: TwoStateKalman::new(black_box(0.02), 6.0, Some(40.0))?,
            median: MovingMedian::new(black_box(25.0))?,
            polynomial: SavitzkyGolay::new(black_box(40.0), 2)?,
        })
    }

    fn step(&mut self, hash: &mut Hash, reading: &Reading) {
        let (at, glucose) = (reading.at(), reading.glucose());
        let mut put = |level: Level| hash.put((level.glucose(), level.rate()));
        put(self.average.step(at, glucose));
        put(self.exponential.step(at, glucose));
        put(self.holt.step(at, glucose));
        put(self.kalman.step(at, glucose));
        put(self.median.step(at, glucose));
        put(self.polynomial.step(at, glucose));
    }

    fn reset(&mut self) {
        self.average.reset();
        self.exponential.reset();
        self.holt.reset();
        self.kalman.reset();
        self.median.reset();
        self.polynomial.reset();
    }
}
