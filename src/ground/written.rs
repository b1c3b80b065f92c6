//! Values as a person writes them in a file: a number in the library's own unit, or a text that names another
//! (`"3.9 mmol/L"`, `"15 min"`). Formats that nobody reads hold the number alone.

use crate::error::Error;
use core::fmt;
use core::marker::PhantomData;
use serde::de::{Deserialize, Deserializer, Error as _, Unexpected, Visitor};

/// What is read in this way.
pub(crate) trait Written: Sized {
    /// What a file may hold, in words.
    const EXPECTED: &'static str;

    /// From a number in its own unit.
    fn from_number(number: f32) -> Result<Self, Error>;

    /// From a whole number in its own unit.
    #[expect(clippy::cast_precision_loss, reason = "what is beyond 24 bits is beyond every range")]
    fn from_whole(number: i64) -> Result<Self, Error> {
        Self::from_number(number as f32)
    }

    /// From a number in a named unit; `None` where the unit is not known.
    fn from_unit(number: f32, unit: &str) -> Option<Result<Self, Error>>;
}

struct Reader<T>(PhantomData<T>);

impl<T: Written> Visitor<'_> for Reader<T> {
    type Value = T;

    fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(T::EXPECTED)
    }

    // serde hands every real number over as the wider type; it goes no further
    #[expect(clippy::cast_possible_truncation, reason = "beyond the range it is infinite, and refused")]
    fn visit_f64<E: serde::de::Error>(self, number: f64) -> Result<T, E> {
        T::from_number(number as f32).map_err(E::custom)
    }

    fn visit_i64<E: serde::de::Error>(self, number: i64) -> Result<T, E> {
        T::from_whole(number).map_err(E::custom)
    }

    fn visit_u64<E: serde::de::Error>(self, number: u64) -> Result<T, E> {
        T::from_whole(i64::try_from(number).unwrap_or(i64::MAX)).map_err(E::custom)
    }

    fn visit_str<E: serde::de::Error>(self, text: &str) -> Result<T, E> {
        let text = text.trim();
        let end = text.find(|c: char| !matches!(c, '0'..='9' | '.' | '-' | '+')).unwrap_or(text.len());
        let (number, unit) = text.split_at_checked(end).unwrap_or((text, ""));
        let value = number.parse().ok().and_then(|number| T::from_unit(number, unit.trim()));
        value.ok_or_else(|| E::invalid_value(Unexpected::Str(text), &T::EXPECTED))?.map_err(E::custom)
    }
}

/// A value from a file.
pub(crate) fn read<'de, D: Deserializer<'de>, T: Written>(from: D) -> Result<T, D::Error> {
    if from.is_human_readable() {
        from.deserialize_any(Reader(PhantomData))
    } else {
        T::from_number(f32::deserialize(from)?).map_err(D::Error::custom)
    }
}

/// A span or another whole number from a file.
pub(crate) fn read_whole<'de, D: Deserializer<'de>, T: Written>(from: D) -> Result<T, D::Error> {
    if from.is_human_readable() {
        from.deserialize_any(Reader(PhantomData))
    } else {
        T::from_whole(i32::deserialize(from)?.into()).map_err(D::Error::custom)
    }
}

/// A list with room for `N`, of which the first ones are taken. Written as a list of these alone.
pub(crate) mod list {
    use core::fmt;
    use core::marker::PhantomData;
    use serde::de::{Deserialize, Deserializer, Error, SeqAccess, Visitor};
    use serde::ser::{Serialize, Serializer};

    pub(crate) fn serialize<S: Serializer, T: Serialize, const N: usize>(
        list: &[Option<T>; N],
        to: S,
    ) -> Result<S::Ok, S::Error> {
        to.collect_seq(list.iter().flatten())
    }

    pub(crate) fn deserialize<'de, D: Deserializer<'de>, T: Deserialize<'de>, const N: usize>(
        from: D,
    ) -> Result<[Option<T>; N], D::Error> {
        struct List<T, const N: usize>(PhantomData<T>);
        impl<'de, T: Deserialize<'de>, const N: usize> Visitor<'de> for List<T, N> {
            type Value = [Option<T>; N];

            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                write!(f, "a list of {N} at most")
            }

            fn visit_seq<A: SeqAccess<'de>>(self, mut seq: A) -> Result<Self::Value, A::Error> {
                let mut list = [const { None }; N];
                let mut count = 0_usize;
                while let Some(item) = seq.next_element()? {
                    let place = list.get_mut(count).ok_or_else(|| Error::invalid_length(N, &self))?;
                    *place = Some(item);
                    count = count.saturating_add(1);
                }
                Ok(list)
            }
        }
        from.deserialize_seq(List(PhantomData))
    }
}

/// A minute of the day: `"22:00"`, where `"24:00"` is the day's beginning, or its number. Formats that nobody reads
/// hold the number.
pub(crate) mod minute {
    use super::{Written, read_whole};
    use crate::error::{Error, in_range};
    use serde::de::Deserializer;
    use serde::ser::{Serialize, Serializer};

    struct Minute(u16);

    impl Written for Minute {
        const EXPECTED: &'static str = "a time of the day such as \"22:00\"";

        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "in range")]
        fn from_number(number: f32) -> Result<Self, Error> {
            let minute = in_range("minute", number, 0.0, 1439.0)?;
            if crate::math::round(minute) == minute {
                Ok(Self(minute as u16))
            } else {
                Err(Error::outside("minute", f32::NAN, 0.0, 1439.0))
            }
        }

        fn from_unit(hour: f32, rest: &str) -> Option<Result<Self, Error>> {
            let minute = rest.strip_prefix(':')?;
            let digits = minute.len() == 2 && minute.bytes().all(|byte| byte.is_ascii_digit());
            let minute: f32 = if digits { minute.parse().ok()? } else { return None };
            if !(0.0..=24.0).contains(&hour) || crate::math::round(hour) != hour || minute > 59.0 {
                return None;
            }
            match hour * 60.0 + minute {
                1440.0 => Some(Ok(Self(0))),
                minute => Some(Self::from_number(minute)),
            }
        }
    }

    pub(crate) fn serialize<S: Serializer>(minute: &u16, to: S) -> Result<S::Ok, S::Error> {
        if to.is_human_readable() {
            to.collect_str(&format_args!("{:02}:{:02}", minute / 60, minute % 60))
        } else {
            i32::from(*minute).serialize(to)
        }
    }

    pub(crate) fn deserialize<'de, D: Deserializer<'de>>(from: D) -> Result<u16, D::Error> {
        read_whole::<D, Minute>(from).map(|minute| minute.0)
    }
}
