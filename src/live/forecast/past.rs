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

/// What stands before a gap or a doubted reading is not the past of what comes after.
const BROKEN: u16 = u16::MAX;

#[derive(Clone, Copy, Debug, PartialEq)]
struct Kept {
    /// Seconds since the one kept before it, or [`BROKEN`].
    since_s: u16,
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
    /// Since when the newest kept one is, seconds before the newest.
    kept_s: u16,
    /// A doubted reading came after the newest.
    doubted: bool,
    /// How many of `kept` count, newest first.
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
            kept_s: 0,
            doubted: false,
            count: 0,
            kept: [Kept { since_s: BROKEN, tenths: 0 }; KEPT],
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

    #[expect(clippy::cast_possible_truncation, reason = "under the spacing and a gap together")]
    pub fn tell(&mut self, at: Instant, glucose: Glucose) -> Told {
        let since = at.secs().wrapping_sub(self.newest_at.secs());
        if self.count > 0 && at <= self.newest_at {
            return Told::NotNewer;
        }
        let broken = self.count == 0 || self.doubted || since > GAP_S;
        let since_kept = since.saturating_add(u32::from(self.kept_s));
        (self.newest_at, self.newest, self.doubted) = (at, glucose, false);
        if !broken && since_kept < SPACING_S {
            self.kept_s = since_kept as u16; // under the spacing
            return Told::Newest;
        }
        self.kept_s = 0;
        let since_s = if broken { BROKEN } else { since_kept as u16 }; // under spacing and gap together
        // each older one moves on by a place
        let before = self.kept;
        let [newest, older @ ..] = &mut self.kept;
        older.iter_mut().zip(before).for_each(|(kept, next)| *kept = next);
        *newest = Kept { since_s, tenths: tenths(glucose) };
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
        let (mut after, mut later) = (0, None);
        let mut age = u32::from(self.kept_s);
        for (age_s, place) in ages.iter().zip(values) {
            while age < *age_s {
                let since_s = u32::from(kept.since_s);
                let Some(next) = older.next().filter(|_| since_s != u32::from(BROKEN)) else { return };
                (after, later) = (age, Some(kept));
                (age, kept) = (age.saturating_add(since_s), next);
            }
            let value = kept.mg_dl();
            *place = Some(if age == *age_s {
                value
            } else {
                let later = later.map_or(self.newest.mg_dl(), |later| later.mg_dl());
                between((after, later), (age, value), *age_s)
            });
        }
    }

    fn kept(&self) -> &[Kept] {
        self.kept.get(..usize::from(self.count)).unwrap_or(&self.kept)
    }

    /// The age of the kept reading nearest to `age_s`, within 2.5 minutes of it.
    pub fn kept_near(&self, age_s: u32) -> Option<u32> {
        // they get older one by one: the nearest is the last before that age or the first after it
        let mut age = u32::from(self.kept_s);
        let mut before = None;
        for kept in self.kept() {
            if age > age_s {
                let after = age.saturating_sub(age_s);
                let nearer = before.is_none_or(|before| after <= age_s.saturating_sub(before));
                let nearest = if nearer { Some(age) } else { before };
                return nearest.filter(|nearest| nearest.abs_diff(age_s) <= NEAR_S);
            }
            before = Some(age);
            if kept.since_s == BROKEN {
                break;
            }
            age = age.saturating_add(u32::from(kept.since_s));
        }
        before.filter(|nearest| nearest.abs_diff(age_s) <= NEAR_S)
    }
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
        let Self { newest_at, newest, kept_s, doubted, count, kept } = self;
        codec.moment(newest_at);
        newest.code(codec);
        let (kept_s, count) = (codec.half(kept_s), codec.byte(count));
        codec.demand(u32::from(kept_s) < SPACING_S && usize::from(count) <= KEPT);
        codec.flag(doubted);
        for Kept { since_s, tenths: value } in kept {
            let (since_s, value) = (codec.half(since_s), codec.half(value));
            let near = u32::from(since_s) < SPACING_S.saturating_add(GAP_S);
            codec.demand((near || since_s == BROKEN) && value <= tenths(Glucose::clamped(f32::MAX)));
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
        let new = Past::new();
        let most = Past { count: KEPT as u8, kept_s: SPACING_S as u16 - 1, ..new };
        assert!(stands(new) && stands(most));
        assert!(!stands(Past { count: most.count + 1, ..most }));
        assert!(!stands(Past { kept_s: most.kept_s + 1, ..most }));
        let with = |since_s, tenths| {
            let mut past = most;
            past.kept[KEPT - 1] = Kept { since_s, tenths };
            stands(past)
        };
        let near = (SPACING_S + GAP_S) as u16;
        assert!(with(near - 1, 0) && with(BROKEN, 0) && !with(near, 0) && !with(BROKEN - 1, 0));
        let top = tenths(Glucose::clamped(f32::MAX));
        assert!(with(0, top) && !with(0, top + 1));
    }
}
