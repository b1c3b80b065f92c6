//! The criteria of the United States rule, with each of three bounds and what they say.

use clap::ValueEnum;
use glidepath::accuracy::{
    Compliance, Criterion, CutoffBy, IcgmCriteria, RateAgreement, Requirement, Tally, cluster_lower_percent,
};
use serde::Serialize;

use super::figures::{FEWEST, Point, rate};

/// Which bound decides.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, ValueEnum)]
pub enum Bound {
    /// Clopper and Pearson's, readings taken as independent
    #[default]
    Exact,
    /// Wilson's, readings taken as independent
    Wilson,
    /// Drawing whole days
    Cluster,
}

/// Which value switches from mg/dL to percent.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, ValueEnum)]
pub enum SwitchName {
    /// The reference's
    #[default]
    Reference,
    /// The sensor's
    Sensor,
}

impl From<SwitchName> for CutoffBy {
    fn from(name: SwitchName) -> Self {
        match name {
            SwitchName::Reference => Self::Reference,
            SwitchName::Sensor => Self::Sensor,
        }
    }
}

/// One criterion and what the sample says of it.
#[derive(Clone, Debug, Serialize)]
pub struct Judged {
    pub criterion: char,
    pub what: &'static str,
    pub n: u32,
    /// A to G: the share close enough; H to K: the share of forbidden events. None when n is too small.
    pub rate_percent: Option<f32>,
    /// Of the bound that was chosen; none for H to K.
    pub lower_bound_percent: Option<f32>,
    pub required_percent: f32,
    pub verdict: String,
    pub exact_lower_percent: Option<f32>,
    pub wilson_lower_percent: Option<f32>,
    pub cluster_lower_percent: Option<f32>,
    /// J and K: the share among pairs whose reference moves that fast.
    pub rate_of_fast_percent: Option<f32>,
}

/// Judges points in order of time; `day` tells days apart.
pub fn judge(points: &[Point], bound: Bound) -> Vec<Judged> {
    let mut all = IcgmCriteria::new();
    let mut days: Vec<(i64, IcgmCriteria)> = Vec::new();
    let mut rates = RateAgreement::new();
    for point in points {
        if days.last().is_none_or(|(day, _)| *day != point.day) {
            days.push((point.day, IcgmCriteria::new()));
        }
        let moving = rates.push(&point.pair);
        for regulation in [Some(&mut all), days.last_mut().map(|(_, day)| day)].into_iter().flatten() {
            regulation.push(&point.pair);
            if let Some((sensor, reference)) = moving {
                regulation.push_rates(sensor, reference);
            }
        }
    }
    let mut scratch = [0.0; 2000];
    Criterion::ALL
        .into_iter()
        .map(|criterion| {
            let tally = all.tally(criterion);
            let clusters: Vec<Tally> = days.iter().map(|(_, day)| day.tally(criterion)).collect();
            one(criterion, tally, all.fast_tally(criterion), &clusters, bound, &mut scratch)
        })
        .collect()
}

fn one(
    criterion: Criterion,
    tally: Tally,
    fast: Option<Tally>,
    clusters: &[Tally],
    bound: Bound,
    scratch: &mut [f32],
) -> Judged {
    let asks_bound = matches!(criterion.requirement(), Requirement::BoundAbove(_));
    let few = tally.trials() < FEWEST;
    let bounded = asks_bound && !few;
    let exact = bounded.then(|| tally.exact_lower_percent()).flatten();
    let wilson = bounded.then(|| tally.wilson_lower_percent()).flatten();
    let cluster = bounded.then(|| cluster_lower_percent(clusters, 1, scratch)).flatten();
    let chosen = match bound {
        Bound::Exact => exact,
        Bound::Wilson => wilson,
        Bound::Cluster => cluster,
    };
    let required_percent = match criterion.requirement() {
        Requirement::BoundAbove(required) => required,
        Requirement::Never => 0.0,
        Requirement::AtMost(most) => most,
    };
    let verdict = match criterion.verdict(&tally, chosen) {
        Compliance::TooFew if tally.trials() == 0 => "no pairs".to_owned(),
        Compliance::TooFew => {
            format!("too few pairs: {} of at least {}", tally.trials(), criterion.min_pairs())
        }
        _ if bounded && chosen.is_none() => "this bound needs two days and a miss".to_owned(),
        _ if few && (asks_bound || tally.hits() == 0) => {
            format!("too few pairs: {}", tally.trials())
        }
        Compliance::Met => "met by this sample".to_owned(),
        Compliance::NotMet => "not met by this sample".to_owned(),
    };
    Judged {
        criterion: criterion.letter(),
        what: what(criterion),
        n: tally.trials(),
        rate_percent: rate(tally),
        lower_bound_percent: chosen,
        required_percent,
        verdict,
        exact_lower_percent: exact,
        wilson_lower_percent: wilson,
        cluster_lower_percent: cluster,
        rate_of_fast_percent: fast.and_then(rate),
    }
}

fn what(criterion: Criterion) -> &'static str {
    match criterion {
        Criterion::A => "sensor under 70: within 15 mg/dL",
        Criterion::B => "sensor 70 to 180: within 15 %",
        Criterion::C => "sensor over 180: within 15 %",
        Criterion::D => "sensor under 70: within 40 mg/dL",
        Criterion::E => "sensor 70 to 180: within 40 %",
        Criterion::F => "sensor over 180: within 40 %",
        Criterion::G => "all values: within 20 %",
        Criterion::H => "sensor under 70 while the reference is over 180",
        Criterion::I => "sensor over 180 while the reference is under 70",
        Criterion::J => "sensor rising over 1 mg/dL/min while the reference falls faster than 2",
        Criterion::K => "sensor falling over 1 mg/dL/min while the reference rises faster than 2",
    }
}
