//! The learner: what is expected of people, and how this person differs from it.

use super::past::{Past, Told};
use super::table::{HORIZONS, LEARNED, LEAST, LEVELS, LOW_HORIZONS, LOW_TERMS, MINUTES, Place, Table, band};
use super::terms::{LOG_CENTRE, Reach, TERMS, Terms};
use crate::codec::{Codec, Coded as _};
use crate::math;
use crate::math::Bounded as _;
use crate::units::{Glucose, Instant, LOW};

/// Nothing is said of a newest reading older than this, minutes: the past of what comes is not known any more.
const OLDEST_MIN: f32 = 30.0;

/// The last horizon from the newest reading, minutes.
pub(super) const FURTHEST_MIN: f32 = 150.0;

/// The horizon by whose outcome the spread and the worth of what was learned are judged.
const JUDGED: usize = 1;

/// A term moves glucose no further from what people's does than this, mg/dL for its usual size.
const FENCE: f32 = 20.0;
/// Outcomes further off count as if this far, mg/dL.
const CLIPPED: [f32; LEARNED] = [42.0, 60.0, 84.0];

/// How many outcomes the weight of what people do equals …
const FIRST: f32 = 600.0;
/// … and how many count in the end: two weeks of one in five minutes.
const MOST: f32 = 4000.0;

/// What was learned is left aside while it does worse than people's weights by this, mg/dL an outcome over a day.
const WORSE: f32 = -0.5;
const WORTH_PACE: f32 = 1.0 / 288.0;

/// The day is cut into so many parts, each with a spread of its own …
const PARTS: usize = 8;
const PART_S: u32 = 10_800;
/// … which moves by this share with each outcome: a week of them.
const PART_PACE: f32 = 1.0 / 252.0;
/// Tracking of quantiles: how far one outcome moves them.
const HALF_PACE: f32 = 0.004;
const TAIL_PACE: f32 = 0.01;
/// The share beyond the wide interval that is tracked: a little under 5 %, as tracking runs behind.
const BEYOND: f32 = 0.045;

/// Of a low to come more is not claimed than was seen: over this logit only the given share counts.
const SURE: f32 = 1.0;
const SURER: f32 = 0.3;

/// Twice the logarithm of the usual threshold, [`LOW`].
const LOG_LOW: f32 = 8.496_99;

/// The least half of an interval, mg/dL.
const LEAST_HALF: f32 = 0.5;

/// What is learned stays within these: the worth, mg/dL; a part of the day's share of the spread; a level's quantiles.
const WORTH_FENCE: f32 = 60.0;
const LEAST_PART: f32 = 0.4;
const MOST_PART: f32 = 2.5;
const LEAST_QUANTILE: f32 = 0.5;
const MOST_QUANTILE: f32 = 2.0;

/// The spread of the logistic distribution whose quartile is 1.
const QUARTILE: f32 = 1.098_612_3;

/// Where glucose is expected to be: from the newest reading, at one horizon.
///
/// Feature `defmt` gives `Format`.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Ahead {
    /// Expected change, mg/dL.
    pub change: f32,
    /// Half the width of the interval that holds one half, mg/dL.
    pub half: f32,
    /// Half the width of the interval that holds 95 %, mg/dL.
    pub tail: f32,
}

/// What is expected at the horizons, and how wide the intervals are for each unit of the spread. 40 bytes.
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub(super) struct Expected {
    pub changes: [f32; HORIZONS],
    pub scales: [f32; HORIZONS],
    pub half: f32,
    pub tail: f32,
}

impl Expected {
    pub fn ahead(&self, table: &Table, minutes: f32) -> Ahead {
        let place = Place::at(minutes.within(0.0, FURTHEST_MIN));
        let change = place.of(0.0, &self.changes);
        let half = (self.half * place.of(0.0, &self.scales)).at_least(LEAST_HALF);
        let [first, ..] = table.tails;
        let tail = self.tail * place.of(0.0, &self.scales) * place.of(first, &table.tails);
        Ahead { change, half, tail: tail.at_least(half) }
    }
}

/// A person's learner. See [`forecast`](super).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Learner {
    past: Past,
    personal: bool,
    /// How this person's weights differ from people's.
    own: [[f32; TERMS]; LEARNED],
    outcomes: f32,
    /// How much better a forecast is with what was learned, mg/dL, over the last day.
    worth: f32,
    parts: [f32; PARTS],
    halves: [f32; LEVELS],
    tails: [f32; LEVELS],
    /// What is expected from the newest reading, at each horizon: change and spread.
    changes: [f32; HORIZONS],
    scales: [f32; HORIZONS],
    level: f32,
    /// Twice the logarithm of it.
    log_level: f32,
    /// How far it came in the last 5 and in the last 10 minutes, tens of mg/dL.
    step: f32,
    slope: f32,
    band: u8,
    reach: Reach,
}

impl Learner {
    /// Knows nothing of the person; `personal` says whether to learn.
    pub const fn new(personal: bool) -> Self {
        Self {
            past: Past::new(),
            personal,
            own: [[0.0; TERMS]; LEARNED],
            outcomes: FIRST,
            worth: 0.0,
            parts: [1.0; PARTS],
            halves: [1.0; LEVELS],
            tails: [1.0; LEVELS],
            changes: [0.0; HORIZONS],
            scales: [1.0; HORIZONS],
            level: 0.0,
            log_level: 0.0,
            step: 0.0,
            slope: 0.0,
            band: 0,
            reach: Reach::Level,
        }
    }

    /// A reading at `at`; `believed` or not.
    pub fn reading(&mut self, table: &Table, at: Instant, glucose: Glucose, believed: bool) {
        if !believed {
            self.past.doubt();
            return;
        }
        match self.past.tell(at, glucose) {
            Told::NotNewer => return,
            Told::Newest => {}
            Told::Kept => self.learn(table, at),
        }
        self.renew(table);
    }

    /// What was read before counts as `mg_dl` more.
    pub fn shift(&mut self, table: &Table, mg_dl: f32) {
        self.past.shift(mg_dl.within(-400.0, 400.0));
        self.renew(table);
    }

    fn renew(&mut self, table: &Table) {
        if let Some(terms) = self.terms(table) {
            self.expect(table, &terms);
        }
    }

    /// What came before is not the past of what comes: a new sensor, a restart. What was learned stays.
    pub fn reset(&mut self) {
        self.past = Past::new();
    }

    /// The newest believed reading.
    pub const fn newest(&self) -> Option<(Instant, f32)> {
        self.past.newest()
    }

    /// Whether what was learned is in use.
    pub fn trusts_own(&self) -> bool {
        self.personal && self.worth >= WORSE
    }

    /// Minutes since the newest reading, if something can be said of what is ahead of it.
    pub fn age(&self, now: Instant) -> Option<f32> {
        let (at, _) = self.past.newest()?;
        let age = now.since(at).mins().at_least(0.0);
        (age <= OLDEST_MIN).then_some(age)
    }

    /// What is expected `minutes` after the newest reading.
    pub fn ahead(&self, table: &Table, minutes: f32) -> Ahead {
        self.expected().ahead(table, minutes)
    }

    /// What is expected of the newest reading, at any horizon.
    pub(super) fn expected(&self) -> Expected {
        // how wide this part of the day and this band of level are, over what is usual
        let part = self.spread_of(self.past.newest().map_or(0, |(at, _)| at.secs()));
        let usual =
            |tracked: &[f32; LEVELS]| part * tracked.get(usize::from(self.band)).copied().unwrap_or(1.0);
        let (half, tail) = (usual(&self.halves), usual(&self.tails));
        Expected { changes: self.changes, scales: self.scales, half, tail }
    }

    #[cfg(test)]
    pub(super) const fn own(&self) -> &[[f32; TERMS]; LEARNED] {
        &self.own
    }

    #[cfg(test)]
    pub(super) fn knows_as_much_as(&self, other: &Self) -> bool {
        self.own == other.own && self.parts == other.parts && self.tails == other.tails
    }

    #[cfg(test)]
    pub(super) fn is_within_bounds(&self) -> bool {
        let within = |values: &[f32], low: f32, high: f32| values.iter().all(|x| (low..=high).contains(x));
        self.own.iter().all(|own| within(own, -FENCE, FENCE))
            && within(&self.parts, 0.4, 2.5)
            && within(&self.halves, 0.5, 2.0)
            && within(&self.tails, 0.5, 2.0)
            && within(&self.changes, -600.0, 400.0)
            && (-60.0..=60.0).contains(&self.worth)
    }

    /// The terms of the newest reading.
    pub fn terms(&self, table: &Table) -> Option<Terms> {
        Terms::before(&self.past, 0, table.carry)
    }

    /// The rate of the last 5 minutes and of the 5 before, mg/dL a minute, if they are known.
    pub fn recent(&self) -> Option<[f32; 2]> {
        (self.reach != Reach::Level).then_some([2.0 * self.step, 2.0 * (self.slope - self.step)])
    }

    /// The probability that a reading is below `threshold` within `minutes` after the newest one.
    pub fn low_probability(&self, table: &Table, threshold: f32, minutes: f32) -> f32 {
        self.low_probability_by(&self.expected(), table, threshold, minutes)
    }

    /// The same by what is [`expected`](Self::expected), worked out before.
    pub(super) fn low_probability_by(
        &self,
        by: &Expected,
        table: &Table,
        threshold: f32,
        minutes: f32,
    ) -> f32 {
        let minutes = minutes.within(5.0, FURTHEST_MIN);
        let terms = self.low_terms_by(by, threshold, minutes);
        let there = self.level < threshold;
        let maps = if there { &table.stays_low } else { &table.gets_low };
        let logit_at = |n: usize| maps.get(n).or(maps.last()).map_or(0.0, |map| dot(map, &terms));
        // straight between the horizons' maps; under the first and beyond the last, theirs
        let Place { after, part } = Place::at(minutes);
        let mut logit = logit_at(after);
        if let Some(before) = after.checked_sub(1)
            && after < LOW_HORIZONS
            && part < 1.0
        {
            let before = logit_at(before);
            logit = before + (logit - before) * part;
        }
        math::logistic(if there { logit } else { logit.at_most(SURE + SURER * (logit - SURE).at_least(0.0)) })
    }

    /// What that probability's logit is a weighted sum of.
    pub fn low_terms(&self, threshold: f32, minutes: f32) -> [f32; LOW_TERMS] {
        self.low_terms_by(&self.expected(), threshold, minutes)
    }

    fn low_terms_by(&self, by: &Expected, threshold: f32, minutes: f32) -> [f32; LOW_TERMS] {
        let z_at = |minutes: f32| {
            let place = Place::at(minutes);
            let half = (by.half * place.of(0.0, &by.scales)).at_least(LEAST_HALF);
            let above = self.level + place.of(0.0, &by.changes) - threshold;
            (-above * QUARTILE / half).within(-12.0, 6.0)
        };
        let (late, early) = (z_at(minutes), z_at(0.5 * minutes));
        // the threshold asked for at each reading needs no logarithm
        let at = if threshold == LOW.mg_dl() { LOG_LOW } else { 2.0 * math::ln(threshold.at_least(1.0)) };
        let level = self.log_level - at;
        [1.0, late, late * late, early, early * early, level, self.slope]
    }

    /// How glucose is expected to go on: straight between the horizons, as minutes and change.
    pub fn course(&self) -> impl Iterator<Item = (f32, f32)> {
        MINUTES.into_iter().zip(self.changes)
    }

    fn expect(&mut self, table: &Table, terms: &Terms) {
        let own = self.trusts_own() && terms.reach == Reach::Full;
        let mut carried = 0.0;
        let places = self.changes.iter_mut().zip(self.scales.iter_mut());
        let fitted = table.change.iter().zip(&table.spread);
        let wider = table.wider(terms.reach);
        for (n, ((change, scale), (of_change, of_spread))) in places.zip(fitted).enumerate() {
            if own && let Some(weights) = self.own.get(n) {
                carried = dot(weights, &terms.of_change);
            }
            *change = (dot(of_change, &terms.of_change) + carried).within(-terms.level, 400.0);
            *scale = wider * dot(of_spread, &terms.of_spread).at_least(LEAST);
        }
        let [_, relative, step, before, ..] = terms.of_change;
        (self.level, self.step, self.slope) = (terms.level, step, step + before);
        self.log_level = relative + LOG_CENTRE;
        self.reach = terms.reach;
        self.band = band(terms.level);
    }

    /// Holds what was said an hour ago against what came 15, 30 and 60 minutes after it.
    fn learn(&mut self, table: &Table, at: Instant) {
        let Some(hour) = self.past.kept_near(3600) else { return };
        let [c, b, a] = [3600_u32, 1800, 900].map(|later| hour.saturating_sub(later));
        let [then, five, ten, fifteen, thirty] = Terms::ages(hour);
        let [c, b, a, past @ ..] = self.past.values([c, b, a, then, five, ten, fifteen, thirty]);
        let Some(terms) = Terms::of_values(past, table.carry).filter(|terms| terms.reach == Reach::Full)
        else {
            return;
        };
        let (Some(a), Some(b), Some(c)) = (a, b, c) else { return };
        let came = [a, b, c].map(|value| value - terms.level);
        // the terms as far as each counts: over its mean square in people
        let mut counted = terms.of_change;
        counted.iter_mut().zip(&table.metric).for_each(|(term, metric)| *term *= metric);
        let step = 1.0 / (self.outcomes + dot(&counted, &terms.of_change));
        let mut errors = [0.0; 2];
        let each = self.own.iter_mut().zip(&table.change).zip(came.iter().zip(&CLIPPED));
        for (n, ((own, of_people), (came, clipped))) in each.enumerate() {
            let people = came - dot(of_people, &terms.of_change);
            let error = people - dot(own, &terms.of_change);
            if n == JUDGED {
                errors = [people, error];
            }
            let moved = step * error.within(-*clipped, *clipped);
            for (weight, term) in own.iter_mut().zip(&counted) {
                *weight = (*weight + moved * term).within(-FENCE, FENCE);
            }
        }
        self.outcomes = (self.outcomes + 1.0).at_most(MOST);
        let [people, own] = errors.map(|error: f32| error.abs().at_most(WORTH_FENCE));
        self.worth += WORTH_PACE * (people - own - self.worth);
        let error = if self.trusts_own() { own } else { people };
        if let Some(spread) = table.spread.get(JUDGED) {
            let scale = dot(spread, &terms.of_spread).at_least(LEAST);
            self.judge(table, at.secs().wrapping_sub(hour), terms.level, error / scale);
        }
    }

    /// An outcome at `secs` lay `off` usual spreads from what was said.
    fn judge(&mut self, table: &Table, secs: u32, level: f32, off: f32) {
        let usual = self.spread_of(secs);
        if let Some(part) = self.parts.get_mut(part_of(secs)) {
            *part = (*part + PART_PACE * (off.at_most(6.0) * table.mean_off - *part))
                .within(LEAST_PART, MOST_PART);
        }
        let band = usize::from(band(level));
        let track = |quantile: &mut f32, at: f32, pace: f32, share: f32| {
            let beyond = if off > *quantile * at { 1.0 } else { 0.0 };
            *quantile = (*quantile * (1.0 + pace * (beyond - share))).within(LEAST_QUANTILE, MOST_QUANTILE);
        };
        if let Some(half) = self.halves.get_mut(band) {
            track(half, usual, HALF_PACE, 0.5);
        }
        if let (Some(tail), Some(at)) = (self.tails.get_mut(band), table.tails.get(JUDGED)) {
            track(tail, usual * at, TAIL_PACE, BEYOND);
        }
    }

    fn spread_of(&self, secs: u32) -> f32 {
        self.parts.get(part_of(secs)).copied().unwrap_or(1.0)
    }
}

const fn part_of(secs: u32) -> usize {
    math::divided(secs, PART_S).0 as usize % PARTS
}

fn dot<const N: usize>(a: &[f32; N], b: &[f32; N]) -> f32 {
    a.iter().zip(b).fold(0.0, |sum, (a, b)| sum + a * b)
}

impl Learner {
    pub(super) fn code(&mut self, table: &Table, codec: &mut Codec<'_>) {
        let Self {
            past,
            personal: _,
            own,
            outcomes,
            worth,
            parts,
            halves,
            tails,
            // worked out anew from the others
            changes: _,
            scales: _,
            level: _,
            log_level: _,
            step: _,
            slope: _,
            band: _,
            reach: _,
        } = self;
        past.code(codec);
        codec.within(outcomes, FIRST, MOST);
        codec.within(worth, -WORTH_FENCE, WORTH_FENCE);
        for (numbers, least, most) in [
            (own.as_flattened_mut(), -FENCE, FENCE),
            (parts, LEAST_PART, MOST_PART),
            (halves, LEAST_QUANTILE, MOST_QUANTILE),
            (tails, LEAST_QUANTILE, MOST_QUANTILE),
        ] {
            for number in numbers {
                codec.within(number, least, most);
            }
        }
        if codec.loads() {
            self.renew(table);
        }
    }
}
