//! Where what a rule watches stands to its limit, and by which value.

use super::kind::Kind;
use super::ring::Trigger;
use super::situation::{Doubt, Situation};
use crate::math::Bounded as _;
use crate::units::{FLOOR_MG_DL, Glucose, Rate, Span};

/// Where the watched quantity stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Reach {
    /// At the limit or beyond.
    Beyond,
    /// On the good side, but within the hysteresis.
    Between,
    /// Well on the good side: armed anew.
    Clear,
    /// Not known now: an alarm that holds goes on, one that was about to does not begin.
    Unknown,
}

/// The lowest of what says how low glucose is, and which it is: of equals the first.
pub(super) fn lowest(situation: &Situation) -> Option<(f32, Trigger)> {
    let very_low = |glucose: &Glucose| glucose.mg_dl() <= FLOOR_MG_DL;
    let mut lowest = None;
    let mut told = |glucose: Option<Glucose>, most: f32, trigger: fn(Glucose) -> Trigger| {
        let Some(glucose) = glucose else { return };
        let depth = glucose.mg_dl().at_most(most);
        if lowest.is_none_or(|(least, _)| depth < least) {
            lowest = Some((depth, trigger(glucose)));
        }
    };
    told(situation.below_range, FLOOR_MG_DL, Trigger::BelowRange);
    told(situation.reading.map(|(_, glucose)| glucose), f32::MAX, Trigger::Sensor);
    told(situation.uncalibrated.filter(very_low), f32::MAX, Trigger::Uncalibrated);
    told(situation.unplaced.filter(very_low), f32::MAX, Trigger::Unplaced);
    told(situation.plasma.filter(|_| situation.doubt == Doubt::None), f32::MAX, Trigger::Estimate);
    lowest
}

/// Where what a rule watches stands to its limit.
pub(super) fn reach(
    kind: Kind,
    (limit, hysteresis): (f32, f32),
    situation: &Situation,
    silence: Span,
    lowest: Option<(f32, Trigger)>,
) -> Reach {
    let rate = situation.rate.map(Rate::mg_dl_per_min);
    let (value, under) = match (kind, situation.doubt) {
        (Kind::LowAhead | Kind::SteepFall, doubt) if doubt != Doubt::None => return Reach::Unknown,
        (Kind::SteepRise, Doubt::Disbelieved | Doubt::WarmUp) => return Reach::Unknown,
        (Kind::NoData, Doubt::WarmUp) => return Reach::Clear,
        (Kind::Floor | Kind::Low, _) => (lowest.map(|(depth, _)| depth), true),
        (Kind::High, _) => (situation.reading.map(|(_, glucose)| glucose.mg_dl()), false),
        (Kind::LowAhead, _) => (situation.low_ahead, false),
        (Kind::SteepFall, _) => (rate.map(|rate| -rate), false),
        (Kind::SteepRise, _) => (rate, false),
        (Kind::NoData, _) => (Some(silence.mins()), false),
        (Kind::Doubt, doubt) => {
            let very_low = situation.unbelieved.is_some_and(|glucose| glucose.mg_dl() <= FLOOR_MG_DL);
            let holds = doubt == Doubt::Disbelieved || very_low || situation.apart;
            return if holds { Reach::Beyond } else { Reach::Clear };
        }
        (Kind::WearEnd, _) => (situation.wear_left.map(Span::mins), true),
    };
    let Some(value) = value else { return Reach::Unknown };
    let beyond = if under { limit - value } else { value - limit };
    if beyond >= 0.0 {
        Reach::Beyond
    } else if beyond >= -hysteresis {
        Reach::Between
    } else {
        Reach::Clear
    }
}

/// What a rule goes by, of which it is known where it stands.
pub(super) fn trigger(
    kind: Kind,
    situation: &Situation,
    silence: Span,
    lowest: Option<(f32, Trigger)>,
) -> Trigger {
    let known = match kind {
        Kind::Floor | Kind::Low => lowest.map(|(_, trigger)| trigger),
        Kind::High => situation.reading.map(|(_, glucose)| Trigger::Sensor(glucose)),
        Kind::LowAhead => situation.low_ahead.map(Trigger::Probability),
        Kind::SteepFall | Kind::SteepRise => situation.rate.map(Trigger::Rate),
        Kind::NoData => Some(Trigger::Silence(silence)),
        Kind::Doubt => Some(Trigger::Doubt),
        Kind::WearEnd => situation.wear_left.map(Trigger::WearLeft),
    };
    known.unwrap_or(Trigger::Unknown)
}

/// Whether it is not new again within its `quiet`: what speaks of a value that comes and goes. A low always is.
pub(super) fn rests(kind: Kind) -> bool {
    kind > Kind::Low && kind.needs_value()
}

/// Whether the value moves back by itself, so that it need not ring again. A low is not trusted to.
pub(super) fn recovers(kind: Kind, situation: &Situation, pace: f32) -> bool {
    let Some(rate) = situation.rate.map(|rate| rate.mg_dl_per_min()) else { return false };
    match kind {
        Kind::LowAhead | Kind::SteepFall => rate >= pace,
        Kind::High | Kind::SteepRise => rate <= -pace,
        Kind::Floor | Kind::Low | Kind::NoData | Kind::Doubt | Kind::WearEnd => false,
    }
}
