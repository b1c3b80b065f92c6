//! Glucose Measurement Context: what went with a meter's result.

use super::sfloat::Sfloat;
use super::wire::{DecodeError, Fields, Payload, flags};

const CARBOHYDRATE: u8 = 1;
const MEAL: u8 = 1 << 1;
const TESTER_HEALTH: u8 = 1 << 2;
const EXERCISE: u8 = 1 << 3;
const MEDICATION: u8 = 1 << 4;
const HBA1C: u8 = 1 << 6;
const EXTENDED: u8 = 1 << 7;

/// When, with respect to eating.
///
/// Feature `defmt` gives `Format`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[repr(u8)]
pub enum Meal {
    /// Before a meal.
    Preprandial = 1,
    /// After a meal.
    Postprandial = 2,
    /// Fasting.
    Fasting = 3,
    /// Snacks, drinks.
    Casual = 4,
    /// At bedtime.
    Bedtime = 5,
}

/// Who tested.
///
/// Feature `defmt` gives `Format`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[repr(u8)]
pub enum Tester {
    /// The person themselves.
    Oneself = 1,
    /// A health care professional.
    Professional = 2,
    /// A laboratory.
    Laboratory = 3,
    /// Not reported.
    NotAvailable = 15,
}

/// How the person is.
///
/// Feature `defmt` gives `Format`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[repr(u8)]
pub enum Health {
    /// Minor health issues.
    MinorIssues = 1,
    /// Major health issues.
    MajorIssues = 2,
    /// During menses.
    Menses = 3,
    /// Under stress.
    Stress = 4,
    /// No health issues.
    NoIssues = 5,
    /// Not reported.
    NotAvailable = 15,
}

/// What was eaten.
///
/// Feature `defmt` gives `Format`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Carbohydrate {
    /// 1 breakfast, 2 lunch, 3 dinner, 4 snack, 5 drink, 6 supper, 7 brunch.
    pub id: u8,
    /// Kilograms.
    pub kg: Sfloat,
}

/// How the person exercised.
///
/// Feature `defmt` gives `Format`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Exercise {
    /// Seconds; 65535 is an overrun.
    pub duration_s: u16,
    /// Percent, 0 to 100.
    pub intensity_percent: u8,
}

/// The essentials of a Glucose Measurement Context. 18 bytes.
///
/// Medication, HbA1c and extended flags are checked for length and left out: this crate gives no advice on
/// them. What is encoded carries none.
///
/// Feature `defmt` gives `Format`.
///
/// # Source
/// Bluetooth SIG GATT Specification Supplement, Glucose Measurement Context. From memory.
///
/// # Examples
/// ```
/// use glidepath::gatt::{GlucoseContext, Meal};
/// // sequence 7, 60 × 10⁻³ kg for lunch, before the meal
/// let context = GlucoseContext::decode(&[0x03, 7, 0, 2, 0x3C, 0xD0, 1])?;
/// assert_eq!(context.meal, Some(Meal::Preprandial));
/// assert_eq!(context.carbohydrate.and_then(|c| c.kg.number()), Some(0.06));
/// # Ok::<(), glidepath::gatt::DecodeError>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct GlucoseContext {
    /// The sequence number of the measurement it belongs to.
    pub sequence: u16,
    /// What was eaten.
    pub carbohydrate: Option<Carbohydrate>,
    /// When, with respect to eating.
    pub meal: Option<Meal>,
    /// Who tested, and how the person is.
    pub tester_health: Option<(Tester, Health)>,
    /// How the person exercised.
    pub exercise: Option<Exercise>,
}

impl GlucoseContext {
    /// From the 3 to 17 bytes of the characteristic.
    ///
    /// # Errors
    /// A length other than the flags ask for, a reserved carbohydrate, meal, tester, health or intensity.
    pub fn decode(bytes: &[u8]) -> Result<Self, DecodeError> {
        let mut fields = Fields(bytes);
        let flags = fields.u8()?;
        let has = |bit| flags & bit != 0;
        let sequence = fields.u16()?;
        fields.optional(has(EXTENDED), Fields::u8)?;
        let context = Self {
            sequence,
            carbohydrate: fields.optional(has(CARBOHYDRATE), carbohydrate)?,
            meal: fields.optional(has(MEAL), |fields| meal(fields.u8()?))?,
            tester_health: fields.optional(has(TESTER_HEALTH), |fields| {
                let nibbles = fields.u8()?;
                Ok((tester(nibbles & 15)?, health(nibbles >> 4)?))
            })?,
            exercise: fields.optional(has(EXERCISE), exercise)?,
        };
        fields.optional(has(MEDICATION), Fields::array::<3>)?;
        fields.optional(has(HBA1C), Fields::sfloat)?;
        fields.end()?;
        Ok(context)
    }

    /// To bytes.
    #[must_use]
    pub fn encode(&self) -> Payload {
        let mut payload = Payload::new();
        payload.put_u8(flags(&[
            (self.carbohydrate.is_some(), CARBOHYDRATE),
            (self.meal.is_some(), MEAL),
            (self.tester_health.is_some(), TESTER_HEALTH),
            (self.exercise.is_some(), EXERCISE),
        ]));
        payload.put_u16(self.sequence);
        if let Some(carbohydrate) = self.carbohydrate {
            payload.put_u8(carbohydrate.id);
            payload.put_sfloat(carbohydrate.kg);
        }
        if let Some(meal) = self.meal {
            payload.put_u8(meal as u8);
        }
        if let Some((tester, health)) = self.tester_health {
            payload.put_u8(tester as u8 | (health as u8) << 4);
        }
        if let Some(exercise) = self.exercise {
            payload.put_u16(exercise.duration_s);
            payload.put_u8(exercise.intensity_percent);
        }
        payload
    }
}

fn carbohydrate(fields: &mut Fields<'_>) -> Result<Carbohydrate, DecodeError> {
    let (id, kg) = (fields.u8()?, fields.sfloat()?);
    if (1..=7).contains(&id) {
        Ok(Carbohydrate { id, kg })
    } else {
        Err(DecodeError::ReservedValue("carbohydrate"))
    }
}

fn exercise(fields: &mut Fields<'_>) -> Result<Exercise, DecodeError> {
    let (duration_s, intensity_percent) = (fields.u16()?, fields.u8()?);
    if intensity_percent <= 100 {
        Ok(Exercise { duration_s, intensity_percent })
    } else {
        Err(DecodeError::ReservedValue("exercise intensity"))
    }
}

fn meal(code: u8) -> Result<Meal, DecodeError> {
    [Meal::Preprandial, Meal::Postprandial, Meal::Fasting, Meal::Casual, Meal::Bedtime]
        .into_iter()
        .find(|meal| *meal as u8 == code)
        .ok_or(DecodeError::ReservedValue("meal"))
}

fn tester(code: u8) -> Result<Tester, DecodeError> {
    [Tester::Oneself, Tester::Professional, Tester::Laboratory, Tester::NotAvailable]
        .into_iter()
        .find(|tester| *tester as u8 == code)
        .ok_or(DecodeError::ReservedValue("tester"))
}

fn health(code: u8) -> Result<Health, DecodeError> {
    [
        Health::MinorIssues,
        Health::MajorIssues,
        Health::Menses,
        Health::Stress,
        Health::NoIssues,
        Health::NotAvailable,
    ]
    .into_iter()
    .find(|health| *health as u8 == code)
    .ok_or(DecodeError::ReservedValue("health"))
}

#[cfg(test)]
mod tests {
    extern crate std;
    use super::*;
    use proptest::prelude::*;

    const FULL: [u8; 17] = [
        0xDF, 7, 0,    // everything, sequence 7
        0x00, // extended flags
        2, 0x3C, 0xD0, // lunch, 60 × 10⁻³ kg
        1,    // before the meal
        0x51, // oneself, no health issues
        0x08, 0x07, 60, // 1800 s at 60 %
        4, 0x05, 0xD0, // a medication
        0x41, 0xF0, // 6.5 %
    ];

    #[test]
    fn a_full_context_by_hand() {
        let context = GlucoseContext::decode(&FULL).unwrap();
        assert_eq!(context.carbohydrate.and_then(|c| c.kg.number()), Some(0.06));
        assert_eq!(context.tester_health, Some((Tester::Oneself, Health::NoIssues)));
        assert_eq!(context.exercise, Some(Exercise { duration_s: 1800, intensity_percent: 60 }));
        let essentials = [0x0F, 7, 0, 2, 0x3C, 0xD0, 1, 0x51, 0x08, 0x07, 60];
        assert_eq!(context.encode().as_bytes(), essentials);
        assert_eq!(GlucoseContext::decode(&essentials), Ok(context));
    }

    #[test]
    fn each_field_may_come_alone() {
        let none = GlucoseContext::decode(&[0x00, 7, 1]).unwrap();
        assert_eq!(
            none,
            GlucoseContext {
                sequence: 263,
                carbohydrate: None,
                meal: None,
                tester_health: None,
                exercise: None
            }
        );
        for bytes in [
            &[0x01, 7, 1, 2, 0x3C, 0xD0][..],
            &[0x02, 7, 1, 3],
            &[0x04, 7, 1, 0x2F],
            &[0x08, 7, 1, 0x08, 0x07, 60],
        ] {
            let context = GlucoseContext::decode(bytes).unwrap();
            assert_ne!(context, none);
            assert_eq!(context.encode().as_bytes(), bytes);
        }
        // what is left out: extended flags, a medication, HbA1c
        for bytes in [&[0x80, 7, 1, 0][..], &[0x10, 7, 1, 4, 0x05, 0xD0], &[0x40, 7, 1, 0x41, 0xF0]] {
            assert_eq!(GlucoseContext::decode(bytes), Ok(none));
        }
    }

    #[test]
    fn malformed_contexts_are_typed_errors() {
        for length in 0..FULL.len() {
            assert_eq!(GlucoseContext::decode(&FULL[..length]), Err(DecodeError::TooShort));
        }
        assert_eq!(GlucoseContext::decode(&[FULL.as_slice(), &[0]].concat()), Err(DecodeError::TooLong));
        for (place, value, field) in [
            (4, 0, "carbohydrate"),
            (7, 6, "meal"),
            (8, 0x54, "tester"),
            (8, 0x61, "health"),
            (11, 101, "exercise intensity"),
        ] {
            let mut bytes = FULL;
            bytes[place] = value;
            assert_eq!(GlucoseContext::decode(&bytes), Err(DecodeError::ReservedValue(field)));
        }
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(if cfg!(miri) { 8 } else { 256 }))]
        #[test]
        fn what_decodes_comes_back(bytes in prop::collection::vec(0_u8..16, 0..18)) {
            if let Ok(context) = GlucoseContext::decode(&bytes) {
                prop_assert_eq!(GlucoseContext::decode(context.encode().as_bytes()), Ok(context));
            }
        }
    }
}
