//! What looks back: accuracy and review.

use crate::{Event, Hash, Stream, mg_dl};
use core::hint::black_box;
use glidepath::accuracy::{
    AgreementRates, AgreementRule, AlertRule, AlertSide, Concurrence, ConfidenceInterval, CostPart,
    Criterion, CutoffBy, DisplayedAge, IcgmCriteria, Iso15197, LagScan, Method, MissingData, Pair, Paired,
    Pairing, Parkes, Period, PointAccuracy, RateAgreement, Requirement, SensorDisagreements, Tally, Zone,
    ZoneCounts, bias_interval, clarke, cluster_interval, cluster_lower_percent, cost_per_day, drift_interval,
    lag_interval, local_line, mard_interval, median,
};
use glidepath::review::{
    Compact, Config, Counting, DayTime, EpisodeRule, Episodes, Exact, Grid, PatternKind, Pool, Review,
    Summary, Threshold, Unit, ea1c_percent, glucose_risk, gmi_mmol_mol, gmi_percent, gri_zone, j_index,
};
use glidepath::{Error, Fingerstick, Glucose, Instant, Rate, Reading, Span};

pub fn accuracy(events: usize) -> Hash {
    done(Hash::new(), |hash| {
        let mut readings = [Reading::new(Instant::from_secs(0), mg_dl(0.0)); 400];
        let mut sticks = [Fingerstick::new(Instant::from_secs(0), mg_dl(0.0)); 60];
        let kept = events.min(400);
        let (mut r, mut s) = (readings.iter_mut().take(kept), sticks.iter_mut());
        let mut stream = Stream::new(black_box(21));
        let mut last = Instant::from_secs(0);
        while let Some(event) = stream.next() {
            match event {
                Event::Reading(reading) if reading.at() > last && reading.at() <= stream.truth().at() => {
                    last = reading.at();
                    let Some(place) = r.next() else { break };
                    *place = reading;
                    if last.secs() % 7 < 2
                        && let Some(place) = s.next()
                    {
                        *place = Fingerstick::new(last.plus(Span::from_secs(40)), stream.truth().plasma());
                    }
                }
                _ => {}
            }
        }
        let (r, s) = (r.len(), s.len());
        let readings = readings.get(..kept.saturating_sub(r)).unwrap_or_default();
        let sticks = sticks.get(..60_usize.saturating_sub(s)).unwrap_or_default();
        pairs(hash, readings, sticks)?;
        over_time(hash, readings, sticks)?;
        grids(hash, events);
        counts(hash, events)
    })
}

/// A refusal where there should be none shows.
fn done(mut hash: Hash, what: impl FnOnce(&mut Hash) -> Result<(), Error>) -> Hash {
    if let Err(error) = what(&mut hash) {
        hash.put(error);
        hash.not_finite = u32::MAX;
    }
    hash
}

fn interval(hash: &mut Hash, interval: Option<ConfidenceInterval>) {
    hash.put(interval.map(|i| (i.estimate(), i.lower(), i.upper())));
    hash.put(interval.map(|i| (i.clusters(), i.contains(1.0))));
}

fn tally(hash: &mut Hash, tally: &Tally) {
    hash.put((tally.hits(), tally.trials(), tally.misses()));
    hash.put((tally.percent(), tally.exact_lower_percent(), tally.wilson_lower_percent()));
}

fn pairs(hash: &mut Hash, readings: &[Reading], sticks: &[Fingerstick]) -> Result<(), Error> {
    let mut agreement = AgreementRates::new(black_box(100.0), CutoffBy::Reference)?;
    let rule = AgreementRule::new(black_box(15.0))?.with_cutoff(80.0, CutoffBy::Sensor)?;
    let (mut iso, mut concurrence) = (Iso15197::new(), Concurrence::new());
    let (mut regulation, mut rates) = (IcgmCriteria::new(), RateAgreement::new());
    let mut disputes = SensorDisagreements::new(black_box(20.0))?;
    let mut parts = [PointAccuracy::new(); 4];
    for (method, lag) in [(Method::Nearest, 0), (Method::Interpolated, 6)] {
        let pairing = Pairing::new(method, Span::from_mins(black_box(7)))?.with_lag(Span::from_mins(lag))?;
        for (k, paired) in pairing.pairs(readings, sticks).enumerate() {
            let pair = match paired {
                Paired::Pair(pair) => pair,
                Paired::Unpaired(stick, why) => {
                    hash.put((stick.at(), why as u8));
                    continue;
                }
            };
            hash.put((pair.at(), pair.sensor(), pair.reference()));
            hash.put((pair.difference_mg_dl(), pair.relative_difference_percent(), rule.agrees(&pair)));
            agreement.push(&pair);
            iso.push(&pair);
            concurrence.push(&pair);
            regulation.push(&pair);
            hash.put((Iso15197::within(&pair), rates.push(&pair)));
            let off = Glucose::try_from(pair.sensor().mg_dl() * 0.8)?;
            hash.put(disputes.push(pair.sensor(), off, pair.reference()));
            if let Some(part) = parts.get_mut(k % 4) {
                part.push(&pair);
            }
            for criterion in Criterion::ALL {
                hash.put(criterion.judge(&pair));
            }
            let again = Pair::new(pair.at(), pair.sensor(), mg_dl(0.0));
            hash.put(again.map(|p| p.at()));
        }
    }
    for t in [
        agreement.within_15_15(),
        agreement.within_20_20(),
        agreement.within_30_30(),
        agreement.within_40_40(),
        iso.within_limits(),
        iso.in_zones_a_b(),
        disputes.first_nearer(),
        rates.same_bin(),
        rates.within_one_bin(),
    ] {
        tally(hash, &t);
    }
    hash.put((iso.met(), disputes.references(), disputes.ties()));
    for sensor in 0..Concurrence::BANDS {
        hash.put((concurrence.count(sensor, 3), concurrence.count(3, sensor)));
    }
    for (sensor, reference) in [(-3.0, -2.5), (0.1, 0.2), (1.5, 2.2), (2.5, -0.5)] {
        let (sensor, reference) = (Rate::try_from(black_box(sensor))?, Rate::try_from(reference)?);
        rates.push_rates(sensor, reference);
        regulation.push_rates(sensor, reference);
        hash.put((RateAgreement::bin(sensor), Criterion::J.judge_rates(sensor, reference)));
    }
    hash.put((rates.count(0, 0), rates.mean_error_mg_dl_per_min()));
    for criterion in Criterion::ALL {
        let t = regulation.tally(criterion);
        tally(hash, &t);
        hash.put((
            criterion.letter(),
            criterion.min_pairs(),
            criterion.verdict(&t, t.wilson_lower_percent()) as u8,
        ));
        hash.put(regulation.fast_tally(criterion).map(|t| t.trials()));
        hash.put(match criterion.requirement() {
            Requirement::BoundAbove(percent) | Requirement::AtMost(percent) => Some(percent),
            Requirement::Never => None,
        });
    }
    points(hash, &parts);
    Ok(())
}

fn points(hash: &mut Hash, parts: &[PointAccuracy; 4]) {
    let mut whole = PointAccuracy::new();
    parts.iter().for_each(|part| whole.merge(part));
    hash.put((whole.pairs(), whole.bias_mg_dl(), whole.mad_mg_dl()));
    hash.put((whole.mard_percent(), whole.relative_bias_percent(), whole.sd_mg_dl()));
    hash.put(whole.rmse_mg_dl());
    if let Some(limits) = whole.limits_of_agreement() {
        for one in [limits.bias(), limits.lower(), limits.upper()] {
            interval(hash, Some(one));
        }
    }
    interval(hash, bias_interval(parts));
    interval(hash, mard_interval(parts));
    let mut values = parts.map(|part| part.mard_percent().unwrap_or_default());
    hash.put(median(&mut values));
}

fn over_time(hash: &mut Hash, readings: &[Reading], sticks: &[Fingerstick]) -> Result<(), Error> {
    let reach = Span::from_mins(black_box(20));
    let mut scans = [LagScan::new(reach)?, LagScan::new(reach)?, LagScan::new(reach)?];
    for (k, stick) in sticks.iter().enumerate() {
        hash.put(local_line(readings, stick.at(), reach));
        if let Some(scan) = scans.get_mut(k % 3) {
            hash.put(scan.push(readings, stick.at(), stick.glucose()));
        }
    }
    interval(hash, lag_interval(&scans));
    let [mut all, second, third] = scans;
    all.merge(&second);
    all.merge(&third);
    hash.put((all.references(), all.lag_min()));
    for side in [AlertSide::Below, AlertSide::Above] {
        let rule = AlertRule::new(side, Glucose::try_from(black_box(110.0))?, Span::from_mins(30))?;
        rule.alerts(readings).for_each(|at| hash.put(at));
        rule.events(sticks).for_each(|at| hash.put(at));
        let rates = rule.judge(readings, sticks);
        tally(hash, &rates.true_alerts);
        tally(hash, &rates.detected);
        hash.put((rates.unjudged, rule.beyond(mg_dl(0.0))));
    }
    let started = readings.first().map_or(Instant::from_secs(0), |r| r.at());
    let mut missing = MissingData::new(Span::from_mins(black_box(5)), started, Span::from_hours(1))?;
    let mut age = DisplayedAge::new(Span::from_mins(black_box(2)), Span::from_mins(15))?;
    let mut before = started;
    for reading in readings {
        missing.push(reading, Rate::try_from(-1.2).ok());
        age.push_interval(reading.at().since(before));
        before = reading.at();
    }
    for when in Period::ALL {
        let missed = missing.during(when);
        hash.put((missed.gaps(), missed.errors(), missed.hours()));
        hash.put((missed.missing_hours(), missed.gaps_per_100_h(), missed.errors_per_100_h()));
    }
    hash.put((age.mean_min(), age.percentile_min(90.0), age.oldest_min()));
    hash.put(age.shown_percent());
    Ok(())
}

fn grids(hash: &mut Hash, events: usize) {
    let pace = if events < 1000 { 6 } else { 1 };
    let mut counts = [ZoneCounts::new(); 3];
    for reference in (0..600).step_by(13 * pace) {
        for sensor in (0..600).step_by(11 * pace) {
            let of = |value: i16| mg_dl(f32::from(value));
            let (r, s) = (of(reference), of(sensor));
            let zones = [clarke(r, s), Parkes::Type1.zone(r, s), Parkes::Type2.zone(r, s)];
            for (counts, zone) in counts.iter_mut().zip(zones) {
                counts.push(zone);
                hash.put(zone.letter());
            }
        }
    }
    for counts in counts {
        hash.put(counts.total());
        for zone in Zone::ALL {
            hash.put((counts.count(zone), counts.percent(zone)));
        }
    }
    for (zone, line) in black_box(Parkes::Type1).lines().chain(black_box(Parkes::Type2).lines()) {
        hash.put(zone.letter());
        line.iter().for_each(|point| hash.put(*point));
    }
}

fn counts(hash: &mut Hash, events: usize) -> Result<(), Error> {
    let days = [(48, 50), (44, 50), (50, 50), (36, 50)];
    let mut tallies = [Tally::default(); 4];
    for (place, (hits, trials)) in tallies.iter_mut().zip(black_box(days)) {
        *place = Tally::new(hits, trials)?;
    }
    let mut scratch = [0.0; 500];
    let scratch = scratch.get_mut(..events.min(500)).unwrap_or_default();
    hash.put(cluster_lower_percent(&tallies, black_box(1), scratch));
    let [mut one, two, ..] = tallies;
    one.push(true);
    tally(hash, &one.merged(two));
    hash.put(Tally::new(black_box(3), 2).map(|t| t.hits()));
    interval(hash, cluster_interval(black_box(&[(20, 9.0), (22, 11.5), (18, 8.2)])));
    interval(hash, drift_interval(black_box(&[(1.0, 3.0), (2.0, 4.5), (3.0, 4.0), (4.0, 6.0)])));
    let parts = [CostPart::new(black_box(60.0), 14.0)?, CostPart::new(30.0, 90.0)?];
    hash.put((cost_per_day(&parts), cost_per_day(&[])));
    Ok(())
}

pub fn review(events: usize) -> Hash {
    done(Hash::new(), |hash| {
        let config = Config::new(Span::from_mins(black_box(5)))?
            .with_unit(Unit::MmolL)
            .with_counting(Counting::Stamped)
            .with_m_ideal(100.0)?;
        hash.put((config.interval(), config.unit() as u8, config.counting() as u8));
        hash.put((config.m_ideal_mg_dl(), config.gap()));
        whole::<Compact>(
            hash,
            events,
            Review::new(black_box(Config::default())),
            Review::new(Config::default()),
        )?;
        episodes(hash, config, events);
        formulas(hash);
        let local = DayTime::new(black_box(9), 1439).map(|l| (l.day(), l.minute()));
        hash.put((local, DayTime::new(0, black_box(1440)).map(|l| l.day())));
        Ok(())
    })
}

pub fn review_exact(events: usize) -> Hash {
    done(Hash::new(), |hash| {
        let config = Config::default().with_unit(black_box(Unit::MmolL));
        whole::<Exact>(hash, events, Review::with_grid(config), Review::with_grid(config))
    })
}

fn whole<G: Grid>(
    hash: &mut Hash,
    events: usize,
    mut first: Review<G>,
    mut second: Review<G>,
) -> Result<(), Error> {
    let half = events / 2;
    let mut stream = Stream::new(black_box(31));
    for k in 0..events {
        let Some(Event::Reading(reading)) = stream.next() else { continue };
        let review = if k < half { &mut first } else { &mut second };
        hash.put(review.push(&reading, DayTime::from_secs(reading.at().secs())) as u8);
    }
    hash.put((first.span(), second.config().interval()));
    hash.put(first.append(&second).map(|()| 0_u8));
    summary(hash, &first.summary());
    for pattern in first.patterns().iter().flatten() {
        hash.put((pattern.kind as u8, pattern.kind.is_low(), pattern.start_minute));
        hash.put((pattern.usual_percent, pattern.p_value, pattern.days_seen));
    }
    let mut pool = Pool::default();
    pool.add(&first);
    let mut both = Pool::default();
    both.add(&second);
    both.merge(&pool);
    hash.put(both.records());
    summary(hash, &both.summary());
    both.episode_seconds().iter().for_each(|seconds| hash.put(*seconds as u32));
    let mut room = [0; 12_800]; // of a compact grid's
    if let Ok(length) = both.save(&mut room) {
        hash.put(length as u32);
        hash.put(pool.load(room.get(..length).unwrap_or_default()).map(|()| 0_u8));
        hash.put((pool.records(), pool.load(&[]).is_err()));
    }
    for grid in [first.grid(), both.grid()] {
        for minute in [0, 480, 1439] {
            let bin = minute / 15;
            hash.put((grid.values(bin), grid.percentile(bin, 0.25), grid.percentile(bin, 0.95)));
        }
    }
    Ok(())
}

fn summary(hash: &mut Hash, s: &Summary) {
    hash.put((s.readings, s.below_sensor_range, s.above_sensor_range));
    hash.put((s.days, s.whole_days, s.active_percent));
    hash.put((s.mean_mg_dl, s.sd_mg_dl, s.cv_percent));
    hash.put((s.gmi_percent, s.ea1c_percent, s.gri));
    hash.put((s.lbgi, s.hbgi, s.m_value));
    hash.put((s.j_index, s.mage_mg_dl, s.mage_rises_mg_dl));
    hash.put((s.mage_falls_mg_dl, s.modd_mg_dl, s.conga_1h));
    hash.put((s.conga_2h, s.conga_4h, s.conga_24h));
    hash.put((s.gvp_percent, s.mag_mg_dl_h, s.sd_within_day));
    hash.put((s.sd_between_day_means, s.sd_by_clock, s.suffices()));
    for ranges in [s.by_readings, s.by_time].into_iter().flatten() {
        hash.put((ranges.below_54, ranges.from_54_to_69, ranges.from_70_to_180));
        hash.put((ranges.from_181_to_250, ranges.above_250, ranges.from_70_to_140));
        hash.put((ranges.below_70(), ranges.above_180(), glidepath::review::gri(&ranges)));
    }
    s.episodes.iter().for_each(|total| hash.put((total.count, total.seconds)));
}

fn episodes(hash: &mut Hash, config: Config, events: usize) {
    let own = EpisodeRule::LOW_70.ending_at(Threshold::new(black_box(80), 44)).lasting(600);
    for rule in EpisodeRule::ALL.into_iter().chain([own]) {
        hash.put((rule.is_low(), rule.limit().mg_dl(), rule.limit().tenths_mmol_l()));
        hash.put(rule.needed());
        let mut episodes = Episodes::new(rule, config);
        for event in Stream::new(black_box(41)).take(events) {
            if let Event::Reading(reading) = event {
                hash.put(episodes.push(reading.at(), reading.glucose()).map(|e| (e.start, e.end)));
            }
        }
        hash.put(episodes.finish().map(|e| (e.start, e.end)));
    }
}

fn formulas(hash: &mut Hash) {
    hash.put((black_box(PatternKind::Below54).is_low(), black_box(PatternKind::Above180).is_low()));
    for mean in black_box([0.0, 95.0, 154.0, 400.0]) {
        hash.put((gmi_percent(mean), gmi_mmol_mol(mean / 18.0), ea1c_percent(mean)));
        hash.put((j_index(mean, 40.0), gri_zone(mean / 3.0)));
        hash.put(Glucose::try_from(mean).map(glucose_risk));
    }
}
