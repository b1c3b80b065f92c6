//! Every finite pair has a zone in every grid, and its figures are finite.
#![no_main]

use glidepath::accuracy::{
    AgreementRates, Concurrence, Criterion, CutoffBy, IcgmCriteria, Iso15197, Pair, Parkes, PointAccuracy,
    RateAgreement, Tally, Zone, ZoneCounts, clarke, mard_interval, median,
};
use glidepath::{Glucose, Instant};
use libfuzzer_sys::fuzz_target;

fuzz_target!(|pairs: Vec<(u32, f32, f32)>| {
    let mut points = [PointAccuracy::new(); 3];
    let mut agreement = AgreementRates::new(100.0, CutoffBy::Reference).expect("in range");
    let (mut iso, mut concurrence, mut regulation) =
        (Iso15197::new(), Concurrence::new(), IcgmCriteria::new());
    let mut rates = RateAgreement::new();
    let mut counts = ZoneCounts::new();
    let mut relative = Vec::new();
    for (k, (at, sensor, reference)) in pairs.iter().enumerate() {
        let (Ok(sensor), Ok(reference)) = (Glucose::from_mg_dl(*sensor), Glucose::from_mg_dl(*reference))
        else {
            continue;
        };
        for zone in [
            clarke(reference, sensor),
            Parkes::Type1.zone(reference, sensor),
            Parkes::Type2.zone(reference, sensor),
        ] {
            assert!(Zone::ALL.contains(&zone));
        }
        assert_eq!(clarke(reference, reference), Zone::A);
        assert_eq!(Parkes::Type1.zone(reference, reference), Zone::A);
        counts.push(clarke(reference, sensor));
        let Ok(pair) = Pair::new(Instant::from_secs(*at), sensor, reference) else { continue };
        assert!(pair.difference_mg_dl().is_finite());
        relative.push(pair.relative_difference_percent());
        points[k % 3].push(&pair);
        agreement.push(&pair);
        iso.push(&pair);
        concurrence.push(&pair);
        regulation.push(&pair);
        let _ = rates.push(&pair);
    }
    let percents: f32 = Zone::ALL.iter().filter_map(|zone| counts.percent(*zone)).sum();
    assert!(counts.total() == 0 || (percents - 100.0).abs() < 0.01, "{percents} %");
    let mut whole = PointAccuracy::new();
    points.iter().for_each(|part| whole.merge(part));
    for figure in [whole.bias_mg_dl(), whole.mad_mg_dl(), whole.sd_mg_dl(), whole.rmse_mg_dl()] {
        assert!(figure.is_none_or(f32::is_finite));
        assert_eq!(figure.is_none() && whole.pairs() > 1, false);
    }
    if let Some(limits) = whole.limits_of_agreement() {
        assert!(limits.lower().estimate() <= limits.upper().estimate());
    }
    if let Some(interval) = mard_interval(&points) {
        assert!(interval.lower() <= interval.upper() || !interval.estimate().is_finite());
    }
    let _ = median(&mut relative);
    assert!(relative.is_sorted_by(|a, b| a.total_cmp(b).is_le()));
    for t in [agreement.within_15_15(), agreement.within_40_40(), iso.within_limits(), iso.in_zones_a_b()] {
        tally(&t);
    }
    assert!(agreement.within_15_15().hits() <= agreement.within_40_40().hits());
    Criterion::ALL.iter().for_each(|criterion| tally(&regulation.tally(*criterion)));
});

/// A bound is below its rate, both are percentages.
fn tally(tally: &Tally) {
    assert!(tally.hits() <= tally.trials());
    let Some(percent) = tally.percent() else { return };
    for bound in [tally.exact_lower_percent(), tally.wilson_lower_percent()].into_iter().flatten() {
        assert!(0.0 <= bound && bound <= percent + 1e-3 && percent <= 100.0, "{bound} under {percent}");
    }
}
