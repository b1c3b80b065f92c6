//! Which records of a session are held, by their own numbers: minutes since its start, or a meter's sequence numbers.
//!
//! A sensor that says "all sent" proves nothing: what was sent may have been lost on the way. So each place in which a
//! record is to be expected is looked at, and one that is empty is owed. What three whole answers did not bring is
//! taken as never stored, and counted; should it come after all, it is taken in.

/// Records further back than this, in minutes, are not asked for: the wrist keeps a day.
pub const REACH: u16 = 2000;
/// After so many answers without it a record is taken as never stored.
pub const ASKS: u8 = 3;
/// A count may run ahead of the time passed here by so much, minutes.
const SLACK: u16 = 30;
/// Counts that fit neither, but each other, so many times in a row: it is the ledger that is wrong.
const AGREE: u8 = 3;

const RING: usize = 2048;

/// What became of a record.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Heard {
    /// Not held before.
    New,
    /// Held already.
    Repeat,
    /// Too far back.
    Old,
    /// Further ahead than time has passed: not taken.
    Strange,
    /// As before, but three in a row agree: the ledger has begun anew with this one.
    Anew,
}

/// The ledger of one session. 0.8 kB.
#[derive(Clone, Debug)]
pub struct Ledger {
    /// One bit for each number held.
    held: [u32; RING / 32],
    /// Two bits for each place: how often it was asked for in vain.
    asked: [u32; RING / 16],
    /// The highest number that the sensor can have stored, and the second here when it was heard.
    newest: Option<(u16, u32)>,
    /// Below this nothing is owed.
    floor: u16,
    /// Numbers between records.
    step: u16,
    /// A place begins at this number, modulo the step.
    phase: Option<u16>,
    /// The record before, and the last spacing smaller than the step.
    before: Option<u16>,
    closer: u16,
    /// The last number that was strange, and how many in a row agree.
    strange: Option<(u16, u8)>,
    /// Whether numbers grow with time.
    timed: bool,
}

impl Ledger {
    /// Of a sensor, whose numbers are minutes: nothing held, all from `floor` on owed as soon as it can be stored.
    #[must_use]
    pub const fn minutes(floor: u16) -> Self {
        Self::new(floor, 5, true)
    }

    /// Of a meter, whose numbers count its records.
    #[must_use]
    pub const fn sequence(floor: u16) -> Self {
        Self::new(floor, 1, false)
    }

    const fn new(floor: u16, step: u16, timed: bool) -> Self {
        Self {
            held: [0; RING / 32],
            asked: [0; RING / 16],
            newest: None,
            floor,
            step,
            phase: None,
            before: None,
            closer: 0,
            strange: None,
            timed,
        }
    }

    /// The sensor's own spacing of records, minutes; 0 and more than an hour are not believed.
    pub fn spaced(&mut self, step: u16) {
        if (1..=60).contains(&step) && step != self.step {
            self.step = step;
            self.phase = None;
        }
    }

    /// Numbers between records, as told or learnt.
    #[must_use]
    pub const fn step(&self) -> u16 {
        self.step
    }

    /// The highest number heard of.
    #[must_use]
    pub fn newest(&self) -> Option<u16> {
        self.newest.map(|(newest, _)| newest)
    }

    /// The lowest number that is not settled; what is below need not be asked for after a restart.
    #[must_use]
    pub fn settled_below(&self) -> u16 {
        match self.places().find(|place| self.is_owed(*place)) {
            Some(place) => place,
            None => self.newest.map_or(self.floor, |(newest, _)| {
                let next = newest.saturating_add(u16::from(self.is_held(newest)));
                next.max(self.floor)
            }),
        }
    }

    /// The sensor has counted to this number at second `now_s` of the wrist's. Whether it can be so.
    pub fn counted(&mut self, number: u16, now_s: u32) -> bool {
        if self.is_ahead(number, now_s) {
            return false;
        }
        self.advance(number, now_s);
        true
    }

    /// A record came.
    pub fn hear(&mut self, number: u16, now_s: u32) -> Heard {
        let oldest = self.newest.map_or(0, |(newest, _)| newest.saturating_sub(REACH));
        let (ahead, behind) = (self.is_ahead(number, now_s), number < oldest);
        let mut heard = Heard::New;
        if ahead || behind {
            let agree = match self.strange {
                Some((last, agree)) if number > last && number.saturating_sub(last) <= SLACK => {
                    agree.saturating_add(1)
                }
                _ => 1,
            };
            self.strange = Some((number, agree));
            if agree < AGREE {
                return if ahead { Heard::Strange } else { Heard::Old };
            }
            *self = Self::new(number.saturating_sub(REACH), self.step, self.timed);
            heard = Heard::Anew;
        }
        self.strange = None;
        if self.is_held(number) {
            return Heard::Repeat;
        }
        self.advance(number, now_s);
        set(&mut self.held, number);
        self.phase.get_or_insert(number.checked_rem(self.step).unwrap_or(0));
        self.learn(number);
        heard
    }

    /// Records closer together than thought, twice in a row alike.
    fn learn(&mut self, number: u16) {
        let apart = self.before.replace(number).map_or(0, |before| number.saturating_sub(before));
        if self.timed && apart > 0 && apart < self.step {
            if apart == self.closer {
                self.step = apart;
                self.phase = number.checked_rem(apart);
            }
            self.closer = apart;
        } else {
            self.closer = 0;
        }
    }

    fn is_ahead(&self, number: u16, now_s: u32) -> bool {
        self.newest.is_some_and(|(newest, then_s)| {
            let passed = now_s.wrapping_sub(then_s).checked_div(60).unwrap_or(0);
            let may = u32::from(newest).saturating_add(passed).saturating_add(SLACK.into());
            self.timed && u32::from(number) > may
        })
    }

    fn advance(&mut self, number: u16, now_s: u32) {
        let newest = match self.newest {
            None => {
                self.newest = Some((number, now_s));
                return;
            }
            Some((newest, _)) => newest,
        };
        if number <= newest {
            return;
        }
        // the ring's places are used again
        let steps = number.saturating_sub(newest).min(RING as u16);
        for back in 0..steps {
            let place = number.saturating_sub(back);
            clear(&mut self.held, place);
            self.set_asks(place, 0);
        }
        self.newest = Some((number, now_s));
    }

    fn is_held(&self, number: u16) -> bool {
        let within = |newest: u16| number <= newest && newest.saturating_sub(number) < RING as u16;
        self.newest.is_some_and(|(newest, _)| within(newest)) && bit(&self.held, number)
    }

    fn asks(&self, place: u16) -> u8 {
        let (word, shift) = pair(place);
        self.asked.get(word).map_or(0, |word| (word >> shift) as u8 & 3)
    }

    fn set_asks(&mut self, place: u16, asks: u8) {
        let (word, shift) = pair(place);
        if let Some(word) = self.asked.get_mut(word) {
            *word = (*word & !(3 << shift)) | (u32::from(asks & 3) << shift);
        }
    }

    /// The first number of each place in which a record is to be expected, in order.
    fn places(&self) -> impl Iterator<Item = u16> + use<> {
        let (newest, step) = (self.newest(), self.step.max(1));
        let phase = self.phase.unwrap_or(0).checked_rem(step).unwrap_or(0);
        let from = newest.map_or(1, |newest| self.floor.max(newest.saturating_sub(REACH)));
        let up = (phase.saturating_add(step)).saturating_sub(from.checked_rem(step).unwrap_or(0));
        let first = from.saturating_add(up.checked_rem(step).unwrap_or(0));
        // one that wraps is past every newest
        let end = newest.map_or(0, u32::from);
        (u32::from(first)..=end)
            .step_by(step.into())
            .filter(move |_| newest.is_some())
            .map(|place| place as u16)
    }

    fn is_filled(&self, place: u16) -> bool {
        (0..self.step).any(|minute| place.checked_add(minute).is_some_and(|number| self.is_held(number)))
    }

    fn is_owed(&self, place: u16) -> bool {
        self.asks(place) < ASKS && !self.is_filled(place)
    }

    /// The first stretch of at most `most` places that begins with one that is owed: its first and last number.
    #[must_use]
    pub fn owed(&self, most: u16) -> Option<(u16, u16)> {
        let first = self.places().find(|place| self.is_owed(*place))?;
        let end = first.saturating_add(self.step.saturating_mul(most));
        let last = self
            .places()
            .skip_while(|place| *place < first)
            .take_while(|place| *place < end)
            .filter(|place| self.is_owed(*place))
            .last()
            .unwrap_or(first);
        Some((first, last.saturating_add(self.step.saturating_sub(1))))
    }

    /// An answer for these numbers has ended: what it did not bring was asked for in vain once more.
    pub fn answered(&mut self, first: u16, last: u16) {
        for place in self.places().skip_while(|place| *place < first).take_while(|place| *place <= last) {
            if self.is_owed(place) {
                let asks = self.asks(place).saturating_add(1);
                self.set_asks(place, asks);
            }
        }
    }

    /// Places owed, and places given up as never stored.
    #[must_use]
    pub fn open(&self) -> (u16, u16) {
        let (mut owed, mut absent) = (0_u16, 0_u16);
        for place in self.places().filter(|place| !self.is_filled(*place)) {
            let count = if self.asks(place) < ASKS { &mut owed } else { &mut absent };
            *count = count.saturating_add(1);
        }
        (owed, absent)
    }
}

const fn pair(place: u16) -> (usize, u32) {
    let place = place as usize % RING;
    (place / 16, ((place % 16) as u32) << 1)
}

fn bit(words: &[u32], number: u16) -> bool {
    let place = usize::from(number) % RING;
    words.get(place / 32).is_some_and(|word| word >> (place % 32) & 1 == 1)
}

fn set(words: &mut [u32], number: u16) {
    let place = usize::from(number) % RING;
    if let Some(word) = words.get_mut(place / 32) {
        *word |= 1 << (place % 32);
    }
}

fn clear(words: &mut [u32], number: u16) {
    let place = usize::from(number) % RING;
    if let Some(word) = words.get_mut(place / 32) {
        *word &= !(1 << (place % 32));
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;
    use std::collections::BTreeSet;
    use std::vec::Vec;

    const HOUR_S: u32 = 3600;

    #[test]
    fn a_gap_is_owed_until_it_is_filled() {
        let mut ledger = Ledger::minutes(0);
        for number in [5, 10, 30] {
            assert_eq!(ledger.hear(number, u32::from(number) * 60), Heard::New);
        }
        // the sensor counts from 0
        assert_eq!(ledger.owed(10), Some((0, 29)));
        ledger.answered(0, 4);
        ledger.answered(0, 4);
        assert_eq!(ledger.owed(2), Some((0, 4)), "two answers are not enough");
        ledger.answered(0, 4);
        assert_eq!((ledger.owed(10), ledger.open()), (Some((15, 29)), (3, 1)));
        assert_eq!(ledger.owed(2), Some((15, 24)));
        assert_eq!(ledger.settled_below(), 15);
        for number in [15, 20, 25] {
            assert_eq!(ledger.hear(number, 2000), Heard::New);
            assert_eq!(ledger.hear(number, 2000), Heard::Repeat);
        }
        assert_eq!((ledger.owed(10), ledger.settled_below()), (None, 31));
        assert_eq!(ledger.hear(0, 2000), Heard::New, "one that was given up comes after all");
        assert_eq!(ledger.open(), (0, 0));
    }

    #[test]
    fn what_was_counted_is_owed_from_its_minute_on() {
        let mut ledger = Ledger::minutes(100);
        assert!(ledger.counted(100, 0));
        assert_eq!(ledger.hear(102, 120), Heard::New);
        assert!(ledger.counted(106, 360));
        assert_eq!(ledger.owed(10), None);
        assert!(ledger.counted(107, 420));
        assert_eq!(ledger.owed(10), Some((107, 111)));
    }

    #[test]
    fn a_count_cannot_outrun_time_unless_three_agree() {
        let mut ledger = Ledger::minutes(0);
        assert_eq!(ledger.hear(100, 0), Heard::New);
        assert_eq!(ledger.hear(191, HOUR_S), Heard::Strange);
        assert!(!ledger.counted(191, HOUR_S));
        assert_eq!(ledger.hear(190, HOUR_S), Heard::New, "an hour and half an hour");
        assert_eq!(ledger.hear(60_000, HOUR_S), Heard::Strange);
        assert_eq!(ledger.hear(40_000, HOUR_S), Heard::Strange);
        assert_eq!(ledger.hear(195, HOUR_S), Heard::New);
        assert_eq!(ledger.hear(40_005, HOUR_S), Heard::Strange);
        assert_eq!(ledger.hear(40_005, HOUR_S), Heard::Strange, "the same again is no agreement");
        assert_eq!(ledger.hear(40_010, HOUR_S), Heard::Strange);
        assert_eq!(ledger.hear(40_015, HOUR_S), Heard::Anew);
        assert_eq!(ledger.newest(), Some(40_015));
        // a new session that counts from the beginning
        for (number, heard) in [(5, Heard::Old), (10, Heard::Old), (15, Heard::Anew), (20, Heard::New)] {
            assert_eq!(ledger.hear(number, 2 * HOUR_S), heard);
        }
    }

    #[test]
    fn closer_records_are_learnt_from_two_alike() {
        let mut ledger = Ledger::minutes(0);
        for number in [0, 5, 6, 10, 15, 16, 21] {
            ledger.hear(number, u32::from(number) * 60);
        }
        assert_eq!(ledger.step(), 5, "a wobble is none");
        for number in [22, 23] {
            ledger.hear(number, u32::from(number) * 60);
        }
        assert_eq!(ledger.step(), 1);
        ledger.spaced(0);
        ledger.spaced(61);
        assert_eq!(ledger.step(), 1);
        ledger.spaced(15);
        assert_eq!(ledger.step(), 15);
    }

    #[test]
    fn the_ring_forgets_what_is_out_of_reach() {
        let mut ledger = Ledger::minutes(0);
        ledger.hear(7, 0);
        ledger.hear(7 + 2048, 40 * HOUR_S);
        let owed = ledger.owed(u16::MAX).unwrap();
        assert_eq!(owed.0, 57, "2000 minutes back, in the phase of the first");
        assert_eq!(ledger.hear(7, 40 * HOUR_S), Heard::Old);
        let mut last = Ledger::minutes(0);
        last.hear(65_533, 0);
        assert_eq!(last.hear(65_535, 60), Heard::New);
        assert!(last.owed(1000).is_some_and(|(first, end)| first >= 63_533 && end == 65_532));
    }

    #[test]
    fn a_meter_counts_its_records() {
        let mut ledger = Ledger::sequence(40);
        for number in [40, 41, 44] {
            assert_eq!(ledger.hear(number, 0), Heard::New);
        }
        assert_eq!(ledger.owed(10), Some((42, 43)));
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(300))]
        /// Against a set: held is what was heard; nothing held is owed; owed and absent and held are all there is.
        #[test]
        fn it_is_a_set(
            heard in prop::collection::vec((0_u16..600, any::<bool>()), 1..300), most in 1_u16..40,
        ) {
            let mut ledger = Ledger::minutes(0);
            ledger.spaced(1);
            ledger.counted(599, 0);
            let mut set = BTreeSet::new();
            for (number, live) in heard {
                let fresh = set.insert(number);
                prop_assert_eq!(ledger.hear(number, 36_000) == Heard::New, fresh);
                if live && let Some((first, last)) = ledger.owed(most) {
                    prop_assert!(last - first < most);
                    prop_assert!(!set.contains(&first) && last < 600);
                    ledger.answered(first, last);
                }
            }
            let (owed, absent) = ledger.open();
            prop_assert_eq!(set.len() + usize::from(owed + absent), 600);
        }

        #[test]
        fn asking_ends(numbers in prop::collection::vec(any::<u16>(), 1..50), most in 1_u16..100) {
            let mut ledger = Ledger::minutes(0);
            for number in numbers {
                ledger.hear(number, 0);
            }
            let mut asked = 0;
            while let Some((first, last)) = ledger.owed(most) {
                ledger.answered(first, last);
                asked += 1;
                prop_assert!(asked <= 3 * 2001);
            }
            prop_assert_eq!(ledger.open().0, 0);
        }
    }

    #[test]
    fn numbers_are_told_apart_over_the_whole_ring() {
        let mut ledger = Ledger::minutes(0);
        ledger.spaced(1);
        let all: Vec<u16> = (0..2000).collect();
        for number in &all {
            assert_eq!(ledger.hear(*number, 200_000), if *number < 2000 { Heard::New } else { Heard::Old });
        }
        assert_eq!(ledger.open(), (0, 0));
    }
}
