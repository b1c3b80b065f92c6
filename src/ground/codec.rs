//! State to bytes and back, little endian: for both ways one function a type says which parts it has and what they
//! may hold.
//!
//! Each takes its fields apart by name, so that a field which nobody codes does not compile.

use crate::error::Error;
use crate::units::{Glucose, Instant, Span};

enum Way<'a> {
    Out(&'a mut [u8]),
    In(&'a [u8]),
}

/// Bytes on their way out or in. What goes wrong is remembered, so that it need be asked for only once.
pub(crate) struct Codec<'a> {
    way: Way<'a>,
    /// Whether what is read goes to its place.
    keeps: bool,
    at: usize,
    sound: bool,
    /// The setting that was refused first.
    refused: Option<Error>,
    /// No moment of the count is later.
    now: Instant,
}

/// What can be coded in its place.
pub(crate) trait Coded {
    /// Writes the value, or reads another and puts it there unless it is only checked; says to `codec` what no state
    /// may hold. By what `codec` gives, not by the place, which may still hold what was there before.
    fn code(&mut self, codec: &mut Codec<'_>);
}

/// What can be coded where it may be missing.
pub(crate) trait Blank: Coded + Copy {
    /// Any value, to be read over.
    const BLANK: Self;
}

impl<'a> Codec<'a> {
    const fn new(way: Way<'a>, keeps: bool) -> Self {
        Self { way, keeps, at: 0, sound: true, refused: None, now: Instant::from_secs(u32::MAX) }
    }

    /// Writes to the front of `room`.
    pub const fn saving(room: &'a mut [u8]) -> Self {
        Self::new(Way::Out(room), false)
    }

    /// Reads only to find out whether `bytes` are a state.
    pub const fn checking(bytes: &'a [u8]) -> Self {
        Self::new(Way::In(bytes), false)
    }

    /// Reads what was found to be one.
    pub const fn loading(bytes: &'a [u8]) -> Self {
        Self::new(Way::In(bytes), true)
    }

    /// How many bytes were written or read, unless there was too little room or what was read is no state.
    pub const fn end(&self) -> Option<usize> {
        if self.sound { Some(self.at) } else { None }
    }

    /// Whether it writes.
    pub const fn saves(&self) -> bool {
        matches!(self.way, Way::Out(_))
    }

    /// Whether what is read is to be kept.
    pub const fn loads(&self) -> bool {
        self.keeps
    }

    /// What no state breaks. Nothing is refused on the way out.
    #[inline(never)]
    pub const fn demand(&mut self, holds: bool) {
        if !holds && !matches!(self.way, Way::Out(_)) {
            self.sound = false;
        }
    }

    /// What has been read is a value only if its gate took it, and then goes to its place.
    pub fn gate<T>(&mut self, place: &mut T, built: Result<T, Error>) {
        match built {
            Ok(value) if self.loads() => *place = value,
            Err(error) if !self.saves() => {
                self.sound = false;
                self.refused = self.refused.or(Some(error));
            }
            Ok(_) | Err(_) => {}
        }
    }

    /// The setting that was refused first, if one was.
    pub const fn refused(&self) -> Option<Error> {
        self.refused
    }

    /// Plain bytes, to be written, or read over whatever the way is.
    #[inline(never)]
    pub fn bytes(&mut self, bytes: &mut [u8]) {
        let (from, to) = (self.at, self.at.saturating_add(bytes.len()));
        let there = match &mut self.way {
            Way::Out(room) => room
                .get_mut(from..to)
                .map(|room| room.iter_mut().zip(bytes).for_each(|(to, from)| *to = *from)),
            Way::In(read) => {
                read.get(from..to).map(|read| bytes.iter_mut().zip(read).for_each(|(to, from)| *to = *from))
            }
        };
        if there.is_none() {
            self.sound = false;
        }
        self.at = to;
    }

    /// A number of 8 bits. As all that follow, it gives what was written or read.
    #[inline(never)]
    pub fn byte(&mut self, place: &mut u8) -> u8 {
        let mut byte = *place;
        self.bytes(core::slice::from_mut(&mut byte));
        if self.loads() {
            *place = byte;
        }
        byte
    }

    /// A number of 16 bits.
    #[inline(never)]
    pub fn half(&mut self, place: &mut u16) -> u16 {
        let mut bytes = place.to_le_bytes();
        self.bytes(&mut bytes);
        let half = u16::from_le_bytes(bytes);
        if self.loads() {
            *place = half;
        }
        half
    }

    /// A number of 32 bits.
    #[inline(never)]
    pub fn word(&mut self, place: &mut u32) -> u32 {
        let mut bytes = place.to_le_bytes();
        self.bytes(&mut bytes);
        let word = u32::from_le_bytes(bytes);
        if self.loads() {
            *place = word;
        }
        word
    }

    /// A number of 64 bits.
    #[inline(never)]
    pub fn long(&mut self, place: &mut u64) -> u64 {
        let mut bytes = place.to_le_bytes();
        self.bytes(&mut bytes);
        let long = u64::from_le_bytes(bytes);
        if self.loads() {
            *place = long;
        }
        long
    }

    /// Whether or not.
    #[inline(never)]
    pub fn flag(&mut self, place: &mut bool) -> bool {
        let byte = self.byte(&mut u8::from(*place));
        self.demand(byte <= 1);
        if self.loads() {
            *place = byte == 1;
        }
        byte == 1
    }

    /// Flags.
    #[inline(never)]
    pub fn flags(&mut self, places: &mut [&mut bool]) {
        for place in places {
            self.flag(place);
        }
    }

    /// A number from `least` to `most`.
    #[inline(never)]
    pub fn within(&mut self, place: &mut f32, least: f32, most: f32) -> f32 {
        let value = self.any_number(*place);
        self.demand(value >= least && value <= most);
        if self.loads() {
            *place = value;
        }
        value
    }

    /// Numbers from `least` to `most`.
    #[inline(never)]
    pub fn numbers(&mut self, places: &mut [&mut f32], least: f32, most: f32) {
        for place in places {
            self.within(place, least, most);
        }
    }

    /// A number whose gate is elsewhere: it may be none.
    #[inline(never)]
    pub fn any_number(&mut self, value: f32) -> f32 {
        f32::from_bits(self.word(&mut value.to_bits()))
    }

    /// A span whose gate is elsewhere.
    #[inline(never)]
    pub fn any_span(&mut self, value: Span) -> Span {
        Span::from_secs(self.word(&mut value.secs().cast_unsigned()).cast_signed())
    }

    /// Numbers, of which nothing is known but that they are finite.
    #[inline(never)]
    pub fn finite(&mut self, places: &mut [&mut f32]) {
        self.numbers(places, f32::MIN, f32::MAX);
    }

    /// A span from `least` to `most`.
    #[inline(never)]
    pub fn span(&mut self, place: &mut Span, least: Span, most: Span) {
        let span = self.any_span(*place);
        self.demand(span >= least && span <= most);
        if self.loads() {
            *place = span;
        }
    }

    /// A moment of whatever clock.
    #[inline(never)]
    pub fn stamp(&mut self, place: &mut Instant) -> Instant {
        let at = Instant::from_secs(self.word(&mut place.secs()));
        if self.loads() {
            *place = at;
        }
        at
    }

    /// The present moment of the count: none that follows is later.
    pub fn now(&mut self, place: &mut Instant) -> Instant {
        self.now = self.stamp(place);
        self.now
    }

    /// The present moment of the count.
    pub const fn present(&self) -> Instant {
        self.now
    }

    /// A moment of the count, no later than now.
    #[inline(never)]
    pub fn moment(&mut self, place: &mut Instant) -> Instant {
        let at = self.stamp(place);
        self.demand(at <= self.now);
        at
    }

    /// Moments of the count, those that are known.
    #[inline(never)]
    pub fn moments(&mut self, places: &mut [&mut Option<Instant>]) {
        for place in places {
            place.code(self);
        }
    }

    /// What may be missing; gives whether it is there.
    #[inline(never)]
    pub fn option<T: Blank>(&mut self, place: &mut Option<T>) -> bool {
        let there = self.flag(&mut place.is_some());
        let mut value = place.unwrap_or(T::BLANK);
        if there {
            value.code(self);
        }
        if self.loads() {
            *place = there.then_some(value);
        }
        there
    }

    /// One of a few, by its place among them.
    pub fn one_of<T: Copy + PartialEq>(&mut self, place: &mut T, all: &[T]) {
        let mut number =
            all.iter().zip(0_u8..).find(|(one, _)| *one == place).map_or(0, |(_, number)| number);
        let number = usize::from(self.byte(&mut number));
        self.demand(number < all.len());
        if self.loads()
            && let Some(one) = all.get(number)
        {
            *place = *one;
        }
    }
}

/// Any finite number.
impl Coded for f32 {
    fn code(&mut self, codec: &mut Codec<'_>) {
        codec.finite(&mut [self]);
    }
}

/// A moment of the count, no later than now.
impl Coded for Instant {
    fn code(&mut self, codec: &mut Codec<'_>) {
        codec.moment(self);
    }
}

impl Coded for bool {
    fn code(&mut self, codec: &mut Codec<'_>) {
        codec.flag(self);
    }
}

impl Coded for Glucose {
    #[inline(never)]
    fn code(&mut self, codec: &mut Codec<'_>) {
        let mg_dl = codec.within(&mut self.mg_dl(), 0.0, Self::MAX_MG_DL);
        if codec.loads() {
            *self = Self::clamped(mg_dl);
        }
    }
}

impl Coded for u32 {
    fn code(&mut self, codec: &mut Codec<'_>) {
        codec.word(self);
    }
}

impl Coded for u64 {
    fn code(&mut self, codec: &mut Codec<'_>) {
        codec.long(self);
    }
}

impl Coded for u128 {
    fn code(&mut self, codec: &mut Codec<'_>) {
        let mut bytes = self.to_le_bytes();
        codec.bytes(&mut bytes);
        if codec.loads() {
            *self = Self::from_le_bytes(bytes);
        }
    }
}

impl Blank for f32 {
    const BLANK: Self = 0.0;
}

impl Blank for Instant {
    const BLANK: Self = Self::from_secs(0);
}

impl Blank for bool {
    const BLANK: Self = false;
}

impl Blank for Glucose {
    const BLANK: Self = Self::clamped(0.0);
}

impl<T: Blank> Coded for Option<T> {
    fn code(&mut self, codec: &mut Codec<'_>) {
        codec.option(self);
    }
}

impl<A: Blank, B: Blank> Blank for (A, B) {
    const BLANK: Self = (A::BLANK, B::BLANK);
}

impl<A: Coded, B: Coded> Coded for (A, B) {
    fn code(&mut self, codec: &mut Codec<'_>) {
        self.0.code(codec);
        self.1.code(codec);
    }
}

impl<A: Blank, B: Blank, C: Blank> Blank for (A, B, C) {
    const BLANK: Self = (A::BLANK, B::BLANK, C::BLANK);
}

impl<A: Coded, B: Coded, C: Coded> Coded for (A, B, C) {
    fn code(&mut self, codec: &mut Codec<'_>) {
        self.0.code(codec);
        self.1.code(codec);
        self.2.code(codec);
    }
}

/// Whether what is saved of `value` is read as a state: nothing is refused on the way out.
#[cfg(test)]
pub(crate) fn stands(mut value: impl Coded) -> bool {
    let mut room = [0; 1024];
    let mut codec = Codec::saving(&mut room);
    value.code(&mut codec);
    let end = codec.end().unwrap();
    let mut codec = Codec::checking(&room[..end]);
    value.code(&mut codec);
    codec.end() == Some(end)
}

#[cfg(test)]
mod tests {
    extern crate std;
    use super::*;
    use std::vec::Vec;

    fn saved<T: Coded>(mut value: T) -> Vec<u8> {
        let mut room = [0xAA; 64];
        let mut codec = Codec::saving(&mut room);
        value.code(&mut codec);
        let length = codec.end().unwrap();
        room[..length].to_vec()
    }

    fn read<T: Blank>(bytes: &[u8]) -> Option<T> {
        let mut value = T::BLANK;
        let mut codec = Codec::loading(bytes);
        value.code(&mut codec);
        codec.end().filter(|end| *end == bytes.len()).map(|_| value)
    }

    /// What `code` makes of `bytes`, if they are sound.
    fn checked<T>(bytes: &[u8], code: impl Fn(&mut Codec<'_>) -> T) -> Option<T> {
        let mut codec = Codec::checking(bytes);
        let value = code(&mut codec);
        codec.end().map(|_| value)
    }

    #[test]
    fn bytes_are_little_endian_and_come_back() {
        let value = Some((true, Instant::from_secs(0x0102_0304)));
        assert_eq!(saved(value), [1, 1, 4, 3, 2, 1]);
        assert_eq!(saved(None::<Instant>), [0]);
        assert_eq!(saved(-1.5_f32), (-1.5_f32).to_le_bytes());
        assert_eq!(read(&saved(Glucose::clamped(99.5))), Some(Glucose::clamped(99.5)));
        assert_eq!(read(&saved((1.5_f32, false, Glucose::BLANK))), Some((1.5_f32, false, Glucose::BLANK)));
        assert_eq!(read(&saved(Instant::from_secs(u32::MAX))), Some(Instant::from_secs(u32::MAX)));
        let mut room = [0; 7];
        let mut codec = Codec::saving(&mut room);
        codec.byte(&mut 9);
        codec.half(&mut 0x0102);
        codec.span(&mut Span::from_secs(-2), Span::ZERO, Span::ZERO); // nothing is refused on the way out
        assert_eq!(codec.end(), Some(7));
        assert_eq!(room, [9, 2, 1, 0xFE, 0xFF, 0xFF, 0xFF]);
    }

    #[test]
    fn too_little_room_or_too_few_bytes_are_noticed() {
        let mut room = [0; 3];
        let mut codec = Codec::saving(&mut room);
        codec.word(&mut 1);
        assert_eq!(codec.end(), None);
        assert_eq!(checked(&[1, 2, 3], |codec| codec.word(&mut 0)), None);
        assert_eq!(checked(&[1, 2, 3, 4], |codec| codec.word(&mut 0)), Some(0x0403_0201));
    }

    #[test]
    fn what_is_no_value_is_refused() {
        for number in [f32::NAN, f32::INFINITY, f32::NEG_INFINITY] {
            assert_eq!(checked(&number.to_le_bytes(), |codec| 0.0_f32.code(codec)), None);
        }
        for mg_dl in [-0.1_f32, 2000.1] {
            assert_eq!(checked(&mg_dl.to_le_bytes(), |codec| Glucose::clamped(0.0).code(codec)), None);
        }
        assert_eq!(checked(&[2], |codec| codec.flag(&mut false)), None);
        assert_eq!(checked(&[1], |codec| codec.flag(&mut false)), Some(true));
        assert_eq!(checked(&[2, 0], |codec| None::<bool>.code(codec)), None);
    }

    #[test]
    fn limits_and_choices_hold() {
        let within = |number: f32| checked(&number.to_le_bytes(), |codec| codec.within(&mut 0.0, 1.0, 2.0));
        assert_eq!([0.9, 1.0, 2.0, 2.1].map(within), [None, Some(1.0), Some(2.0), None]);
        let span = |secs: i32| {
            let most = Span::from_secs(9);
            checked(&secs.to_le_bytes(), |codec| codec.span(&mut Span::ZERO.clone(), Span::ZERO, most))
                .is_some()
        };
        assert_eq!([-1, 0, 9, 10].map(span), [false, true, true, false]);
        let one = |place: u8| {
            let (bytes, mut value) = ([place], 'a');
            let mut codec = Codec::loading(&bytes);
            codec.one_of(&mut value, &['a', 'b']);
            codec.end().map(|_| value)
        };
        assert_eq!([0, 1, 2].map(one), [Some('a'), Some('b'), None]);
        let mut room = [0];
        Codec::saving(&mut room).one_of(&mut 'b', &['a', 'b']);
        assert_eq!(room, [1]);
    }

    #[test]
    fn no_moment_is_later_than_now() {
        let at = |secs: u32| {
            let bytes = [9_u32.to_le_bytes(), secs.to_le_bytes()].concat();
            checked(&bytes, |codec| {
                let now = codec.now(&mut Instant::BLANK.clone());
                assert_eq!((now, codec.present()), (Instant::from_secs(9), now));
                codec.moment(&mut Instant::BLANK.clone())
            })
        };
        assert_eq!((at(9), at(10)), (Some(Instant::from_secs(9)), None));
    }

    #[test]
    fn a_check_leaves_the_place_alone() {
        let mut place = (Some((true, 2.0_f32)), Glucose::clamped(5.0), Instant::from_secs(3));
        let (kept, other) = (place, (None::<(bool, f32)>, Glucose::clamped(7.0), Instant::from_secs(4)));
        let bytes = saved(other);
        place.code(&mut Codec::checking(&bytes));
        assert_eq!(place, kept);
        place.code(&mut Codec::loading(&bytes));
        assert_eq!(place, other);
        place.code(&mut Codec::loading(&saved(kept)));
        assert_eq!(place, kept);
        let (mut byte, mut half, mut span) = (1, 2, Span::from_secs(3));
        for (keeps, want) in [(false, (1, 2, 3)), (true, (9, 9, 9))] {
            let bytes = [9, 9, 0, 9, 0, 0, 0];
            let mut codec = if keeps { Codec::loading(&bytes) } else { Codec::checking(&bytes) };
            codec.byte(&mut byte);
            codec.half(&mut half);
            codec.span(&mut span, Span::ZERO, Span::from_secs(9));
            assert_eq!((byte, half, span.secs()), want);
        }
    }
}
