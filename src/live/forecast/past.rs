//! The last hour and a half of believed readings, thinned to one in five minutes, and values between them.

use crate::codec::{Codec, Coded};
use crate::units::{Glucose, Instant};

/// As many as reach back 90 minutes, with one to spare at either end, when they come every 4.5 minutes.
const KEPT: usize = 22;

/// Readings nearer than this to the one kept last are not kept: a 1-min sensor leaves every fifth.
const SPACING_S: u32 = 270;

/// A longer silence is a gap: no slope is taken through it. A 15-min sensor's readings may be 2 min late.
pub(super) const GAP_S: u32 = 17 * 60;

/// A kept reading is near an age within so much of it.
const NEAR_S: u32 = 150;

/// A reading that is kept.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Kept {
    /// The low half of its second.
    at: u16,
    /// mg/dL, in tenths.
    tenths: u16,
}

impl Kept {
    #[cfg_attr(target_pointer_width = "32", inline(never))] // smaller as a call
    fn mg_dl(self) -> f32 {
        f32::from(self.tenths) * 0.1
    }
}

/// Recent readings. 100 bytes.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Past {
    /// The newest believed reading, kept or not.
    newest_at: Instant,
    newest: Glucose,
    /// A doubted reading came after the newest.
    doubted: bool,
    /// How many of `kept` count, newest first: what stands before a gap or a doubted reading is not the past of what
    /// comes after.
    count: u8,
    kept: [Kept; KEPT],
}

/// What became of a reading.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Told {
    /// It is not newer than the last.
    NotNewer,
    /// It is the newest now.
    Newest,
    /// And one to learn by.
    Kept,
}

impl Past {
    pub const fn new() -> Self {
        Self {
            newest_at: Instant::from_secs(0),
            newest: Glucose::clamped(0.0),
            doubted: false,
            count: 0,
            kept: [Kept { at: 0, tenths: 0 }; KEPT],
        }
    }

    /// The newest believed reading.
    pub const fn newest(&self) -> Option<(Instant, f32)> {
        if self.count == 0 { None } else { Some((self.newest_at, self.newest.mg_dl())) }
    }

    /// No slope goes through what comes next.
    pub const fn doubt(&mut self) {
        self.doubted = true;
    }

    /// All readings count as `mg_dl` more.
    pub fn shift(&mut self, mg_dl: f32) {
        self.newest = Glucose::clamped(self.newest.mg_dl() + mg_dl);
        for kept in &mut self.kept {
            kept.tenths = tenths(Glucose::clamped(kept.mg_dl() + mg_dl));
        }
    }

    #[expect(clippy::cast_possible_truncation, reason = "22")]
    pub fn tell(&mut self, at: Instant, glucose: Glucose) -> Told {
        if self.count > 0 && at <= self.newest_at {
            return Told::NotNewer;
        }
        let broken = self.doubted || at.secs().wrapping_sub(self.newest_at.secs()) > GAP_S;
        (self.newest_at, self.newest, self.doubted) = (at, glucose, false);
        if broken {
            self.count = 0;
        } else if self.kept().first().is_some_and(|kept| self.age_of(*kept) < SPACING_S) {
            return Told::Newest;
        }
        // each older one moves on by a place
        let before = self.kept;
        let [newest, older @ ..] = &mut self.kept;
        older.iter_mut().zip(before).for_each(|(kept, next)| *kept = next);
        *newest = Kept { at: low_half(at), tenths: tenths(glucose) };
        self.count = self.count.saturating_add(1).min(KEPT as u8);
        Told::Kept
    }

    /// Glucose at each of `ages`, seconds before the newest reading and ascending, in straight lines between readings;
    /// `None` where none is known without crossing a gap or a doubted reading. One walk for all.
    pub fn values<const K: usize>(&self, ages: [u32; K]) -> [Option<f32>; K] {
        let mut values = [None; K];
        self.fill(&ages, &mut values);
        values
    }

    #[inline(never)] // one for every number of ages
    fn fill(&self, ages: &[u32], values: &mut [Option<f32>]) {
        let mut older = self.kept().iter();
        let Some(mut kept) = older.next() else { return };
        let (mut age, mut newer) = (self.age_of(*kept), None);
        for (age_s, place) in ages.iter().zip(values) {
            while age < *age_s {
                let Some(next) = older.next() else { return };
                newer = Some(kept);
                (age, kept) = (self.age_of(*next), next);
            }
            let value = kept.mg_dl();
            *place = Some(if age == *age_s {
                value
            } else {
                let newer = newer.map_or((0, self.newest.mg_dl()), |kept| (self.age_of(*kept), kept.mg_dl()));
                between(newer, (age, value), *age_s)
            });
        }
    }

    /// Those that count, newest first.
    fn kept(&self) -> &[Kept] {
        self.kept.get(..usize::from(self.count)).unwrap_or(&self.kept)
    }

    /// Seconds before the newest reading: those that count reach back for less than the half wraps after.
    fn age_of(&self, kept: Kept) -> u32 {
        u32::from(low_half(self.newest_at).wrapping_sub(kept.at))
    }

    /// The age of the kept reading nearest to `age_s`, within 2.5 minutes of it; of two as near the older one.
    pub fn kept_near(&self, age_s: u32) -> Option<u32> {
        // no two are nearer than 256 s to each other: these are all that are younger, and one more
        const { assert!(SPACING_S >= 256) };
        let most = (age_s >> 8).saturating_add(2) as usize;
        let (mut before, mut after) = (None, None);
        for kept in self.kept().iter().take(most).rev() {
            let age = self.age_of(*kept);
            if age <= age_s {
                before = Some(age);
                break;
            }
            after = Some(age);
        }
        let nearer = |before: &u32| {
            after.is_none_or(|after| age_s.saturating_sub(*before) < after.saturating_sub(age_s))
        };
        before.filter(nearer).or(after).filter(|nearest| nearest.abs_diff(age_s) <= NEAR_S)
    }
}

#[expect(clippy::cast_possible_truncation, reason = "the half that is meant")]
const fn low_half(at: Instant) -> u16 {
    at.secs() as u16
}

#[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "0 to 20,000")]
const fn tenths(glucose: Glucose) -> u16 {
    (glucose.mg_dl() * 10.0 + 0.5) as u16
}

#[expect(clippy::cast_precision_loss, reason = "hours in seconds")]
fn between((after, later): (u32, f32), (before, earlier): (u32, f32), age: u32) -> f32 {
    let whole = before.saturating_sub(after);
    if whole == 0 || age <= after {
        return later;
    }
    let part = age.saturating_sub(after) as f32 / whole as f32;
    later + (earlier - later) * part
}

impl Coded for Past {
    fn code(&mut self, codec: &mut Codec<'_>) {
        let Self { newest_at, newest, doubted, count, kept } = self;
        let newest_at = codec.moment(newest_at);
        newest.code(codec);
        codec.flag(doubted);
        let count = usize::from(codec.byte(count));
        codec.demand(count <= KEPT);
        let (mut at, mut steps) = (low_half(newest_at), 0..SPACING_S);
        for (place, Kept { at: of, tenths: value }) in kept.iter_mut().enumerate() {
            let (of, value) = (codec.half(of), codec.half(value));
            let step = u32::from(at.wrapping_sub(of));
            codec.demand(place >= count || steps.contains(&step));
            codec.demand(value <= tenths(Glucose::clamped(f32::MAX)));
            (at, steps) = (of, SPACING_S..SPACING_S.saturating_add(GAP_S));
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::ground::codec::stands;

    #[test]
    fn of_two_as_near_the_older_one() {
        let mut past = Past::new();
        for k in 0..4 {
            past.tell(Instant::from_secs(300 * k), Glucose::clamped(100.0));
        }
        let near = [0, 149, 150, 450, 600, 900, 1050, 1051].map(|age| past.kept_near(age));
        let want = [Some(0), Some(0), Some(300), Some(600), Some(600), Some(900), Some(900), None];
        assert_eq!(near, want);
    }

    #[test]
    fn only_what_can_be_is_read_back() {
        let mut past = Past::new();
        for k in 0..30 {
            past.tell(Instant::from_secs(300 * k), Glucose::clamped(100.0));
        }
        assert!(stands(Past::new()) && stands(past));
        assert!(!stands(Past { count: past.count + 1, ..past }));
        let top = tenths(Glucose::clamped(f32::MAX));
        let furthest = (SPACING_S + GAP_S) as u16 - 1;
        // by how much the newest one kept and another one may be older than what came next
        for (place, least, most) in [(0_u8, 0, SPACING_S as u16 - 1), (9, SPACING_S as u16, furthest)] {
            let with = |step: u16, count: u8, value: u16| {
                let mut forged = past;
                forged.count = count;
                let newer = forged.kept.get(usize::from(place).wrapping_sub(1)).copied();
                let newer = newer.map_or(low_half(forged.newest_at), |newer| newer.at);
                forged.kept[usize::from(place)] = Kept { at: newer.wrapping_sub(step), tenths: value };
                stands(forged)
            };
            assert!(with(least, place + 1, 0) && with(most, place + 1, top));
            assert!(!with(most + 1, place + 1, 0) && !with(most, place + 1, top + 1));
            assert!(least == 0 || !with(least - 1, place + 1, 0));
            assert!(with(most + 1, place, 0)); // it does not count
        }
    }

    #[test]
    fn nothing_is_known_from_before_a_gap_or_a_doubt() {
        let told = |minutes: &[u32], doubted: bool| {
            let mut past = Past::new();
            for minute in minutes {
                if doubted && *minute == 25 {
                    past.doubt();
                }
                past.tell(Instant::from_secs(60 * minute), Glucose::clamped(100.0 + *minute as f32));
            }
            past
        };
        let known = |past: Past| past.values([0, 300, 600, 900]).map(|value| value.is_some());
        assert_eq!(known(told(&[5, 10, 15, 20, 25, 30], false)), [true; 4]);
        assert_eq!(known(told(&[5, 10, 15, 20, 25, 30], true)), [true, true, false, false]);
        assert_eq!(known(told(&[5, 8, 25, 30], false)), [true; 4]);
        assert_eq!(known(told(&[5, 7, 25, 30], false)), [true, true, false, false]);
        assert_eq!(told(&[5, 7, 25, 30], false).kept_near(600), None);
        // the count of seconds wraps its lower half
        let late = told(&[1085, 1090, 1095], false); // 65,400 to 65,700
        assert_eq!(late.values([0, 150, 600]), [Some(1195.0), Some(1192.5), Some(1185.0)]);
    }
}
