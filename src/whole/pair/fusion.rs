//! One glucose from two sensors: how far each reads beside it, how much each weighs, and which of them errs.
//!
//! Each sensor's estimate is glucose, its own offset and its own noise. The offsets are a Kalman filter's two states: the
//! difference of the sensors measures one against the other, slowly, and fingersticks measure both. Without fingersticks
//! what two sensors differ by is shared between them by how far each may be off; what both are off by alike, and what one
//! alone is off by, is for their calibrations to say. The weights are those of least
//! variance (Gauss and Markov); what is left apart beyond what is usual for this pair counts as doubt on each, as likely
//! as it is that this one errs: one that [trails](super::trail) the other is likelier to, and one that reads what is
//! [rare](super::rare).

use super::rare::rarer;
use super::trail::Trail;
use super::two_states::measured;
use super::view::Side;
use crate::codec::{Codec, Coded};
use crate::math;
use crate::math::Bounded as _;
use crate::units::{Glucose, Instant, Span};

/// Over so many minutes offsets go back to nothing: what calibrations are taken to do.
const OFFSET_MIN: f32 = 20_000.0;
/// Differences closer than this many minutes tell the same.
const SAME_MIN: f32 = 600.0;
/// Deviations are cut off at so many standard deviations.
const CLIP: f32 = 3.0;
/// A fingerstick's error beside the meter's and the sensor's, as a share of glucose.
const STICK_SHARE: f32 = 0.18;
/// What both are off by alike is for their calibrations to say, but for so much, mg/dL: what a fingerstick says while both are
/// off for an hour must not stay for days.
const ALIKE: f32 = 8.0;
/// How far the errors of two sensors go together.
const TOGETHER: f32 = 0.5;
/// Between what the pair's usual disagreement stays, over what is expected, squared; and how many minutes it remembers.
const USUAL_LEAST: f32 = 0.4;
const USUAL_MOST: f32 = 6.0;
/// One difference counts for no more than this of it.
const OVER_MOST: f32 = 4.0;
const USUAL_MIN: f32 = 1_440.0;
/// Beyond so many standard deviations the two are apart …
const APART: f32 = 2.5;
/// … after so long …
const APART_SPAN: Span = Span::from_mins(10);
/// … and within so many they agree again.
const CLOSED: f32 = 1.3;
/// Where apart or not is as likely as not, standard deviations to the fourth.
const EVEN: f32 = 10.0;
/// A sudden departure of one sensor from its own past speaks against it beyond so many standard deviations; …
const SUDDEN: f32 = 3.3;
/// … where the other is bound to stay behind, beyond so many; …
const SUDDEN_WITH: f32 = 5.0;
/// … one reading by no more than these odds; and for so many minutes, while the two agree and while they do not.
const SUDDEN_MOST: f32 = 4.5;
const SUDDEN_MIN: f32 = 45.0;
const SUDDEN_APART_MIN: f32 = 1_440.0;
/// A sensor that stands still while the other moves away: from so many minutes on, for each mg/dL that the other moves, and
/// at most.
const STILL_FROM_MIN: f32 = 14.0;
const STILL: f32 = 0.2;
const STILL_MOST: f32 = 4.0;
const STILL_MOST_AT_END: f32 = 2.0;
/// How long fingersticks tell one sensor from the other, minutes.
const STICKS_MIN: f32 = 720.0;
/// Beyond these odds (natural logarithm) one is named.
const NAMED: f32 = 1.5;
/// Beyond this share of glucose, counted from so many mg/dL, a difference matters; and it goes on to while it stays
/// beyond the second.
const FAR: f32 = 0.2;
const FAR_KEPT: f32 = 0.1;
const FAR_FROM: f32 = 100.0;
/// Beyond these odds it is named even where the two meet again and again: its readings leap.
const RESTLESS: f32 = 7.0;
/// What remains of what told it while it errs.
const LATCHED: f32 = 2.5;
/// Fingersticks alone speak for as much when they deny it, and the last of them for so long: no fingerstick may make a low
/// silent for longer.
const DENIED: f32 = 1.0;
const DENIES: Span = Span::from_mins(30);
/// What was open when one fell silent stays so for as long, if it had been for so long: its last value stands for 20 minutes.
const OPEN: Span = Span::from_hours(2);
const LASTED: Span = Span::from_mins(30);
/// Weights go by so much of the odds.
const SHARP: f32 = 1.7;
/// The surest odds.
const SUREST: f32 = 8.0;

/// What one sensor says now.
#[derive(Clone, Copy, Debug)]
pub(super) struct Part {
    /// Its estimate of plasma glucose, mg/dL, and the variance of its noise.
    pub glucose: f32,
    pub variance: f32,
    /// What its calibration may be off by.
    pub calibration_variance: f32,
    /// How much speaks against it by itself: the natural logarithm of odds.
    pub against: f32,
    /// For how many minutes it has stood still, and its rate, mg/dL/min.
    pub still: f32,
    pub rate: f32,
    /// Whether it reads an end of its range.
    pub ends: bool,
}

/// What the two say together.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Fused {
    /// mg/dL.
    pub glucose: f32,
    /// What the sensors' noise and their disagreement leave open, (mg/dL)².
    pub variance: f32,
    /// What the offsets leave open.
    pub offset_variance: f32,
    /// The first one's weight, 0 to 1.
    pub share: f32,
}

/// How far two are apart: beyond their offsets, first less second, mg/dL; the same in what is usual for them, standard
/// deviations; and how much of it is doubt, (mg/dL)².
struct Between {
    gap: f32,
    z: f32,
    beyond: f32,
}

/// See the [module](self). 64 bytes.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Fusion {
    /// The last reading's moment, and that of the last fingerstick that told one from the other; 0 before there was one.
    at: Instant,
    told: Instant,
    offsets: [f32; 2],
    /// Their variances and, between, their covariance.
    p: [f32; 3],
    usual: f32,
    sudden: f32,
    sticks: f32,
    trail: Trail,
    apart: Option<(Instant, Instant)>,
    /// Whether they have not agreed again since.
    open: bool,
    named: Option<Side>,
}

impl Fusion {
    pub const fn new() -> Self {
        Self {
            at: Instant::from_secs(0),
            told: Instant::from_secs(0),
            offsets: [0.0; 2],
            p: [0.0; 3],
            usual: 1.0,
            sudden: 0.0,
            sticks: 0.0,
            trail: Trail::NONE,
            apart: None,
            open: false,
            named: None,
        }
    }

    /// A new sensor on one side: what was known of the other stays. `low`: what was there read a low last.
    pub fn reset(&mut self, side: Side, low: bool) {
        let Self { offsets: [first, second], p: [p11, p12, p22], .. } = self;
        let (offset, variance) = if side == Side::First { (first, p11) } else { (second, p22) };
        // nothing is known of it: the variance is taken from its calibration when it first speaks
        (*offset, *variance, *p12) = (0.0, 0.0, 0.0);
        (self.usual, self.trail) = (1.0, Trail::NONE);
        // what is told of the other one stays, and so does that it may err
        (self.sudden, self.sticks) = (against_other(side, self.sudden), against_other(side, self.sticks));
        if self.named == Some(side) {
            self.settle();
        } else if low {
            // it may have been the person's: the one left is not sure without it, as if they had long been apart
            self.apart = Some((Instant::from_secs(0), self.at));
            self.open = true;
        } else if !self.is_apart() {
            self.settle();
        }
    }

    const fn settle(&mut self) {
        (self.apart, self.named, self.open) = (None, None, false);
    }

    /// What the first and the second sensor read above glucose, mg/dL.
    pub const fn offsets(&self) -> [f32; 2] {
        self.offsets
    }

    /// Which one errs, if they are apart and it is clear.
    pub const fn named(&self) -> Option<Side> {
        self.named
    }

    /// Which one errs by what a fingerstick has just said of both.
    pub fn denied(&self, now: Instant) -> Option<Side> {
        self.named.filter(|side| now.since(self.told) < DENIES && against(*side, self.sticks) > DENIED)
    }

    /// How much its own past and fingersticks speak against the one that is named: the natural logarithm of odds. Below
    /// [`NAMED`] it is named because it reads low, trails, stands still, or has reasons against it.
    #[inline(never)] // once for all who ask
    fn told(&self) -> f32 {
        self.named.map_or(0.0, |side| against(side, self.sudden + self.sticks))
    }

    /// Whether they are apart and nothing tells which errs but that one reads low, trails, stands still, or has reasons
    /// against it.
    pub fn is_untold(&self) -> bool {
        self.is_apart() && self.told() <= NAMED
    }

    /// Whether this one, alone now, is not to be taken at its word: what was open when the other fell silent.
    pub fn is_open_against(&self, side: Side) -> bool {
        self.named.map_or(self.is_apart(), |named| named == side)
    }

    /// Whether they are apart.
    #[inline(never)] // once for all who ask
    pub fn is_apart(&self) -> bool {
        self.apart.is_some_and(|(since, last)| last.since(since) >= APART_SPAN)
    }

    /// To be called before all else that takes parts: where nothing is known of an offset yet, its variance is that of the
    /// calibration.
    pub fn begin(&mut self, parts: &[Option<Part>; 2]) {
        let [first, _, second] = &mut self.p;
        for (known, part) in [first, second].into_iter().zip(parts) {
            if let Some(part) = part.as_ref().filter(|_| *known <= 0.0) {
                *known = part.calibration_variance;
            }
        }
    }

    /// The two as one; `None` without either.
    pub fn fused(&self, parts: &[Option<Part>; 2]) -> Option<Fused> {
        let ([o1, o2], [p11, _, p22]) = (self.offsets, self.p);
        let (part, offset, variance, share) = match parts {
            [Some(one), Some(two)] => return Some(self.both(one, two)),
            [Some(one), None] => (one, o1, p11, 1.0),
            [None, Some(two)] => (two, o2, p22, 0.0),
            [None, None] => return None,
        };
        Some(Fused {
            glucose: part.glucose - offset,
            variance: part.variance,
            offset_variance: variance.at_most(part.calibration_variance),
            share,
        })
    }

    fn both(&self, one: &Part, two: &Part) -> Fused {
        let ([o1, o2], [p11, p12, p22]) = (self.offsets, self.p);
        let Between { beyond, .. } = self.between(one, two);
        // what is left apart is doubt on each, as likely as it is that this one errs
        let errs = self.errs(one, two);
        let (n1, n2) = (one.variance + beyond * errs, two.variance + beyond * (1.0 - errs));
        let together = together(one, two);
        let (s11, s12, s22) = (n1 + p11, together + p12, n2 + p22);
        let share = ((s22 - s12) / (s11 - 2.0 * s12 + s22).at_least(1e-3)).within(0.0, 1.0);
        let rest = 1.0 - share;
        let of = |v11: f32, v12: f32, v22: f32| {
            (share * share * v11 + 2.0 * share * rest * v12 + rest * rest * v22).at_least(0.0)
        };
        Fused {
            glucose: share * (one.glucose - o1) + rest * (two.glucose - o2),
            variance: of(n1, together, n2),
            offset_variance: of(p11, p12, p22),
            share,
        }
    }

    /// How far the two are apart.
    fn between(&self, one: &Part, two: &Part) -> Between {
        let ([o1, o2], [p11, p12, p22]) = (self.offsets, self.p);
        let gap = (one.glucose - o1) - (two.glucose - o2);
        let spread = p11 - 2.0 * p12 + p22;
        let z = gap / math::sqrt(self.usual * (noise(one, two) + spread).at_least(1.0));
        let z4 = z * z * z * z;
        Between { gap, z, beyond: gap * gap * z4 / (z4 + EVEN) }
    }

    /// How likely it is that the first one errs and not the second.
    #[inline(never)] // once for all who ask
    fn errs(&self, one: &Part, two: &Part) -> f32 {
        // what named one goes on to count
        let held = self.named.map_or(0.0, |side| against(side, NAMED));
        math::logistic(SHARP * (self.odds(one, two) + held))
    }

    /// The odds that the first one errs and not the second, natural logarithm.
    fn odds(&self, one: &Part, two: &Part) -> f32 {
        let still = |part: &Part, other: &Part| {
            let most = if part.ends { STILL_MOST_AT_END } else { STILL_MOST };
            let minutes = if part.still >= STILL_FROM_MIN { part.still } else { 0.0 };
            (STILL * minutes * other.rate.abs()).at_most(most)
        };
        let still = still(one, two) - still(two, one);
        let [o1, o2] = self.offsets;
        // what is sudden may be the person's, and so may a low, where the other stands still
        let told = self.sudden + rarer(one.glucose - o1, two.glucose - o2);
        let told = (told + still).within(told.at_most(0.0), told.at_least(0.0));
        let trails = self.trail.against_first();
        (one.against - two.against + still + trails + told + self.sticks).within(-SUREST, SUREST)
    }

    /// A reading came: time passes, and the two are held against each other. `z` is how far it lies from what its own
    /// sensor was expected to read.
    pub fn step(&mut self, now: Instant, parts: &[Option<Part>; 2], z: Option<(Side, f32)>) {
        let begun = self.at > Instant::from_secs(0);
        let minutes = if begun { now.since(self.at).mins().at_least(0.0) } else { 0.0 };
        self.at = now;
        let kept = math::left(minutes, OFFSET_MIN);
        let [p11, p12, p22] = &mut self.p;
        for (offset, (variance, part)) in self.offsets.iter_mut().zip([(p11, parts[0]), (p22, parts[1])]) {
            *offset *= kept;
            if let Some(part) = part {
                *variance = kept * kept * *variance + (1.0 - kept * kept) * part.calibration_variance;
            }
        }
        *p12 *= kept * kept;
        let memory = if self.open { SUDDEN_APART_MIN } else { SUDDEN_MIN };
        self.sudden *= math::left(minutes, memory);
        self.sticks *= math::left(minutes, STICKS_MIN);
        if let Some((side, z)) = z.filter(|_| self.named.is_none() || !self.is_apart()) {
            // beside a sensor at the end of its range the other is bound to move alone
            let beside = side.other().of(parts).is_some_and(|part| part.ends);
            let from = if beside { SUDDEN_WITH } else { SUDDEN };
            let excess = (0.5 * (z * z - from * from)).within(0.0, SUDDEN_MOST);
            let signed = if side == Side::First { excess } else { -excess };
            self.sudden = (self.sudden + signed).within(-SUREST, SUREST);
        }
        let [Some(one), Some(two)] = parts else {
            // what is open stays so unless fingersticks deny it; where nothing of the past named one, either may err
            let told = self.told();
            let open = self.apart.is_some_and(|(since, last)| {
                now.since(last) < OPEN && last.since(since) >= LASTED && told >= 0.0
            });
            if !open {
                self.settle();
            } else if told <= NAMED {
                self.named = None;
            }
            return;
        };
        let (Between { gap, z, .. }, odds) = (self.between(one, two), self.odds(one, two));
        self.trail.step(minutes, gap, z, [one.rate, two.rate]);
        let z = z.abs();
        // a difference that matters counts sooner where it is clear whose it is
        let ends = one.ends || two.ends;
        let far = if self.apart.is_some() { FAR_KEPT } else { FAR };
        let matters = !ends && gap.abs() > far * one.glucose.at_most(two.glucose).at_least(FAR_FROM);
        let within = if self.is_apart() { CLOSED } else { APART };
        let apart = z > within || matters && odds.abs() > NAMED;
        self.apart = match self.apart {
            _ if !apart => None,
            Some((since, _)) => Some((since, now)),
            None => Some((now, now)),
        };
        self.open = apart || z > CLOSED;
        if !self.open {
            self.named = None;
        }
        let likely = Some(if odds > 0.0 { Side::First } else { Side::Second });
        if self.is_apart() && odds.abs() > NAMED {
            self.named = likely;
            // what told it may pass; it errs until the two agree again, or fingersticks say otherwise
            if self.told() > NAMED {
                // that it leads does not speak for it
                self.trail = Trail::NONE;
                self.sudden =
                    if odds > 0.0 { self.sudden.at_least(LATCHED) } else { self.sudden.at_most(-LATCHED) };
            }
        } else if odds.abs() > RESTLESS {
            self.named = likely;
        }
        if minutes > 0.0 && self.named.is_none() {
            self.compare(minutes, gap, z, noise(one, two));
        }
    }

    /// One sensor measures the other, `z` of their usual deviations away.
    fn compare(&mut self, minutes: f32, gap: f32, z: f32, noise: f32) {
        let part = (minutes / USUAL_MIN).at_most(0.1);
        let over = z * z * self.usual;
        self.usual += part * (over.at_most(OVER_MOST) - self.usual);
        self.usual = self.usual.within(USUAL_LEAST, USUAL_MOST);
        let measured = self.usual * noise * (SAME_MIN / minutes.at_most(SAME_MIN));
        self.update([1.0, -1.0], gap / (z / CLIP).at_least(1.0), measured);
    }

    /// A fingerstick of `glucose` with a meter's error of `meter_sd`, mg/dL, beside what those say that took it; their
    /// calibrations moved what they say by `moved`.
    pub fn fingerstick(&mut self, parts: &[Option<Part>; 2], moved: [f32; 2], glucose: f32, meter_sd: f32) {
        let scatter = STICK_SHARE * glucose;
        let error = meter_sd * meter_sd + scatter * scatter;
        let ([o1, o2], [p11, _, p22]) = (self.offsets, self.p);
        let miss = |part: &Option<Part>, offset: f32, variance: f32| {
            part.as_ref().map(|part| {
                let off = part.glucose - offset - glucose;
                (off * off / (variance + part.variance + error)).at_most(CLIP * CLIP)
            })
        };
        let [first, second] = parts;
        let missed = [miss(first, o1, p11), miss(second, o2, p22)];
        let nearest = missed.into_iter().flatten().fold(CLIP * CLIP, f32::min);
        // far from both it says little of either
        let error = error * (1.0 + nearest * (nearest - 1.0).at_least(0.0));
        let ([Some(one), Some(two)], [Some(m1), Some(m2)]) = (parts, missed) else {
            let (side, h) =
                if first.is_some() { (Side::First, [1.0, 0.0]) } else { (Side::Second, [0.0, 1.0]) };
            // where the other is silent, and its reading not merely too old for a fingerstick
            if nearest < 1.0 && self.apart.is_none_or(|(_, last)| last < self.at) {
                self.settle(); // it agrees with the one that is left
                self.sudden = against_other(side, self.sudden);
            }
            if let Some(part) = side.of(parts) {
                self.measure(part, h, glucose, part.variance + error);
            }
            // what one alone is off by is for its calibration to say: its offset only goes
            let before = [o1, o2].into_iter().zip(moved);
            for (offset, (before, moved)) in self.offsets.iter_mut().zip(before) {
                *offset = (*offset + moved).within(before.at_most(0.0), before.at_least(0.0));
            }
            return;
        };
        let told = 0.5 * (m1 - m2);
        self.sticks = (self.sticks + told).within(-SUREST, SUREST);
        // three alike silence no longer than one
        if told.abs() > DENIED && self.at.since(self.told) >= OPEN {
            self.told = self.at;
        }
        let (Between { beyond, .. }, errs) = (self.between(one, two), self.errs(one, two));
        for (part, h, beyond) in [(one, [1.0, 0.0], beyond * errs), (two, [0.0, 1.0], beyond * (1.0 - errs))]
        {
            self.measure(part, h, glucose, part.variance + error + beyond);
        }
        // what they differ by moved with the calibrations, which say what both are off by alike
        let ([o1, o2], [first, second]) = (self.offsets, moved);
        let (o1, o2) = (o1 + first, o2 + second);
        let alike = (o1.at_most(o2) - ALIKE).at_least(0.0) + (o1.at_least(o2) + ALIKE).at_most(0.0);
        self.offsets = [o1 - alike, o2 - alike];
    }

    /// A fingerstick of `glucose` measures the offset of one, `h`, with this variance.
    fn measure(&mut self, part: &Part, h: [f32; 2], glucose: f32, own: f32) {
        let ([h1, h2], [o1, o2], [p11, _, p22]) = (h, self.offsets, self.p);
        let most = CLIP * math::sqrt(h1 * p11 + h2 * p22 + own);
        let off = part.glucose - h1 * o1 - h2 * o2 - glucose;
        self.update(h, off.within(-most, most), own);
    }

    fn update(&mut self, h: [f32; 2], innovation: f32, variance: f32) {
        let (_, [k1, k2]) = measured(&mut self.p, h, variance);
        let [o1, o2] = self.offsets;
        self.offsets = [o1 + k1 * innovation, o2 + k2 * innovation];
        let [p11, _, p22] = &mut self.p;
        (*p11, *p22) = (p11.at_least(1e-3), p22.at_least(1e-3));
    }
}

/// How much odds that the first one errs speak against this one.
const fn against(side: Side, odds: f32) -> f32 {
    match side {
        Side::First => odds,
        Side::Second => -odds,
    }
}

/// How much of such odds speaks against the other one.
fn against_other(side: Side, odds: f32) -> f32 {
    match side {
        Side::First => odds.at_most(0.0),
        Side::Second => odds.at_least(0.0),
    }
}

/// The covariance of two sensors' noise: both trail the blood.
fn together(one: &Part, two: &Part) -> f32 {
    TOGETHER * math::sqrt(one.variance * two.variance)
}

/// The variance of their difference.
fn noise(one: &Part, two: &Part) -> f32 {
    one.variance + two.variance - 2.0 * together(one, two)
}

impl Coded for Fusion {
    fn code(&mut self, codec: &mut Codec<'_>) {
        let Self {
            at,
            told,
            offsets: [o1, o2],
            p: [p11, p12, p22],
            usual,
            sudden,
            sticks,
            trail,
            apart,
            open,
            named,
        } = self;
        codec.moment(at);
        codec.moment(told);
        codec.numbers(&mut [o1, o2], -Glucose::MAX_MG_DL, Glucose::MAX_MG_DL);
        codec.numbers(&mut [p11, p22], 0.0, 1e6);
        codec.within(p12, -1e6, 1e6);
        codec.within(usual, USUAL_LEAST, USUAL_MOST);
        codec.within(sudden, -SUREST, SUREST);
        codec.within(sticks, -SUREST, SUREST);
        trail.code(codec);
        apart.code(codec);
        codec.flag(open);
        let (mut first, mut second) = (*named == Some(Side::First), *named == Some(Side::Second));
        codec.flags(&mut [&mut first, &mut second]);
        codec.demand(!(first && second));
        if codec.loads() {
            *named = if first { Some(Side::First) } else { second.then_some(Side::Second) };
        }
    }
}

#[cfg(test)]
#[path = "tests/formulas.rs"]
mod formulas;

#[cfg(test)]
mod tests {
    extern crate std;
    use super::*;

    pub(super) fn part(glucose: f32) -> Part {
        Part {
            glucose,
            variance: 64.0,
            calibration_variance: 600.0,
            against: 0.0,
            still: 0.0,
            rate: 0.0,
            ends: false,
        }
    }

    impl Fusion {
        /// Taken to read so much too high.
        pub(in super::super) fn off_by(self, offsets: [f32; 2]) -> Self {
            Self { offsets, ..self }
        }
    }

    pub(super) fn at(minute: u32) -> Instant {
        Instant::from_secs(1_000_000 + 60 * minute)
    }

    /// Two days of two that read the same.
    fn agreed() -> Fusion {
        let mut fusion = Fusion::new();
        for minute in (0..2880).step_by(5) {
            fusion.step(at(minute), &[Some(part(120.0)), Some(part(120.0))], None);
        }
        fusion
    }

    /// Two that are `z` of their usual deviations apart.
    fn parts(fusion: &Fusion, z: f32) -> [Option<Part>; 2] {
        let of = |gap: f32| fusion.between(&part(120.0 + gap), &part(120.0)).z;
        let (none, unit) = (of(0.0), of(1.0) - of(0.0));
        [Some(part(120.0 + (z - none) / unit)), Some(part(120.0))]
    }

    #[test]
    fn they_come_apart_beyond_one_distance_and_meet_again_within_a_smaller_one() {
        let mut fusion = agreed();
        let mut minute = 2880;
        let mut live = |fusion: &mut Fusion, z: f32, minutes: u32| {
            let mut apart = std::vec::Vec::new();
            for _ in 0..minutes / 5 {
                let parts = parts(fusion, z);
                fusion.step(at(minute), &parts, None);
                apart.push(fusion.is_apart());
                minute += 5;
            }
            apart
        };
        assert_eq!(live(&mut fusion, 2.0, 30), [false; 6], "under 2.5 deviations they are not apart");
        assert_eq!(live(&mut fusion, 3.5, 20), [false, false, true, true]);
        assert_eq!(live(&mut fusion, 2.0, 20), [true; 4], "nor do they meet again at 2");
        assert_eq!(live(&mut fusion, 0.5, 10), [false; 2]);
    }

    #[test]
    fn a_calibration_that_moves_an_estimate_moves_its_offset_with_it() {
        let mut fusion = agreed();
        let of = |fusion: &Fusion, one: f32, two: f32| {
            let glucose = fusion.fused(&[Some(part(one)), Some(part(two))]).unwrap().glucose;
            (glucose, fusion.between(&part(one), &part(two)).gap)
        };
        // of nothing else is anything open, and the fingerstick lies between them
        fusion.p = [1e-3, 0.0, 1e-3];
        let before = of(&fusion, 150.0, 120.0);
        fusion.fingerstick(&[Some(part(150.0)), Some(part(120.0))], [-30.0, 7.0], 135.0, 7.0);
        let after = of(&fusion, 120.0, 127.0);
        assert!(
            (before.0 - after.0).abs() < 0.05 && (before.1 - after.1).abs() < 0.05,
            "{before:?} {after:?}"
        );
    }

    /// Twelve hours in which the second does what the first did 40 minutes before.
    fn trailed() -> (Fusion, [Option<Part>; 2]) {
        let mut fusion = agreed();
        let swing = |minute: f32| 40.0 * (minute * 1.5).to_radians().sin();
        let mut parts = [None; 2];
        for minute in (0..720_u16).step_by(5) {
            parts = [0.0, 40.0].map(|late| {
                let at = f32::from(minute) - late;
                let rate = (swing(at) - swing(at - 5.0)) / 5.0;
                Some(Part { rate, ..part(180.0 + swing(at)) })
            });
            fusion.step(at(2880 + u32::from(minute)), &parts, None);
        }
        (fusion, parts)
    }

    #[test]
    fn one_that_trails_weighs_less_and_is_named_by_nothing_more() {
        let (fusion, parts) = trailed();
        let of = |fusion: &Fusion| fusion.fused(&parts).unwrap();
        let untold = Fusion { trail: Trail::NONE, named: None, ..fusion };
        assert!(of(&fusion).share > 0.9, "{:?}", of(&fusion));
        assert!((0.3..0.7).contains(&of(&untold).share), "{:?}", of(&untold));
        assert_eq!(fusion.named(), Some(Side::Second));
        assert!(fusion.told() <= NAMED, "{fusion:?}");
    }

    #[test]
    fn that_the_other_trails_speaks_for_one_as_much_as_its_own_past_against_it() {
        let (fusion, parts) = trailed();
        let [Some(one), Some(two)] = parts else { panic!() };
        let odds = |sudden: f32| Fusion { sudden, ..fusion }.odds(&one, &two);
        let trails = fusion.trail.against_first();
        assert!(trails < -NAMED, "{trails}");
        assert_eq!([odds(0.0), odds(-trails), odds(-0.5 * trails)], [trails, 0.0, 0.5 * trails]);
    }

    #[test]
    fn that_one_leads_does_not_speak_for_it_once_its_own_past_names_it() {
        let (fusion, parts) = trailed();
        let apart = Some((at(3590), at(3600)));
        let after = |sudden: f32| {
            let mut fusion = Fusion { sudden, apart, ..fusion };
            fusion.step(at(3601), &parts, None);
            (fusion.named(), fusion.trail)
        };
        let (named, trail) = after(0.0);
        assert!(named == Some(Side::Second) && trail != Trail::NONE, "{trail:?}");
        assert_eq!(after(-3.0), (Some(Side::Second), Trail::NONE));
    }

    #[test]
    fn what_it_knows_is_kept() {
        let (mut fusion, _) = trailed();
        let mut room = [0; 128];
        let mut codec = Codec::saving(&mut room);
        fusion.code(&mut codec);
        let mut back = Fusion::new();
        back.code(&mut Codec::loading(&room));
        assert_eq!(back.trail, fusion.trail);
        assert_ne!(back.trail, Trail::NONE);
    }

    #[test]
    fn a_new_sensor_has_not_trailed_the_other() {
        for side in Side::BOTH {
            let (mut fusion, _) = trailed();
            assert_ne!(fusion.trail, Trail::NONE);
            fusion.reset(side, false);
            assert_eq!(fusion.trail, Trail::NONE);
        }
    }

    #[test]
    fn a_fingerstick_moves_the_one_that_errs_and_leaves_the_other() {
        let mut fusion = agreed();
        let parts = [Some(part(190.0)), Some(part(120.0))];
        for minute in (2880..2910).step_by(5) {
            fusion.step(at(minute), &parts, None);
        }
        fusion.fingerstick(&parts, [0.0; 2], 120.0, 7.0);
        let [first, second] = fusion.offsets();
        assert!(second.abs() < 0.1 * first && first > 1.8, "{first} {second}");
        assert!(fusion.sticks > DENIED);
        let fused = fusion.fused(&parts).unwrap();
        assert!(fused.share < 0.2 && (fused.glucose - 120.0).abs() < 12.0, "{fused:?}");
    }

    #[test]
    fn two_that_differ_more_than_expected_are_apart_later() {
        let mut fusion = Fusion::new();
        for minute in (0..4 * 1440).step_by(5) {
            // by 25 mg/dL to either side, in turn for three hours
            let off = if minute / 180 % 2 == 0 { 25.0 } else { -25.0 };
            fusion.step(at(minute), &[Some(part(120.0 + off)), Some(part(120.0 - off))], None);
        }
        assert!(fusion.usual > 2.0, "{}", fusion.usual);
        let z = |fusion: &Fusion| fusion.between(&part(150.0), &part(110.0)).z;
        assert!(z(&fusion) < 0.7 * z(&agreed()));
    }
}
