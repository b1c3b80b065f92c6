//! Glucose Measurement: one result of a fingerstick meter.

use super::sfloat::Sfloat;
use super::time::DateTime;
use super::wire::{DecodeError, Fields, Payload, flags};
use crate::reading::Fingerstick;
use crate::units::{Glucose, Instant, Span};

const TIME_OFFSET: u8 = 1;
const SAMPLE: u8 = 1 << 1;
const MOL_PER_L: u8 = 1 << 2;
const STATUS: u8 = 1 << 3;
const CONTEXT: u8 = 1 << 4;
const RESERVED: u8 = 0b1110_0000;

/// A concentration in the unit it was sent in.
///
/// Feature `defmt` gives `Format`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub enum Concentration {
    /// Kilograms a litre: 0.00104 is 104 mg/dL.
    KgPerL(Sfloat),
    /// Moles a litre: 0.0056 is 5.6 mmol/L.
    MolPerL(Sfloat),
}

impl Concentration {
    /// As glucose; nothing for a special value or a number that is no concentration.
    #[must_use]
    pub fn glucose(self) -> Option<Glucose> {
        match self {
            Self::KgPerL(value) => Glucose::from_mg_dl(value.number()? * 100_000.0).ok(),
            Self::MolPerL(value) => Glucose::from_mmol_l(value.number()? * 1000.0).ok(),
        }
    }
}

/// What was measured.
///
/// Feature `defmt` gives `Format`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[repr(u8)]
pub enum SampleType {
    /// Capillary whole blood.
    CapillaryWholeBlood = 1,
    /// Capillary plasma.
    CapillaryPlasma = 2,
    /// Venous whole blood.
    VenousWholeBlood = 3,
    /// Venous plasma.
    VenousPlasma = 4,
    /// Arterial whole blood.
    ArterialWholeBlood = 5,
    /// Arterial plasma.
    ArterialPlasma = 6,
    /// Whole blood of undetermined origin.
    WholeBlood = 7,
    /// Plasma of undetermined origin.
    Plasma = 8,
    /// Interstitial fluid.
    InterstitialFluid = 9,
    /// Control solution: no blood at all.
    ControlSolution = 10,
}

impl SampleType {
    const fn from_nibble(nibble: u8) -> Result<Self, DecodeError> {
        Ok(match nibble {
            1 => Self::CapillaryWholeBlood,
            2 => Self::CapillaryPlasma,
            3 => Self::VenousWholeBlood,
            4 => Self::VenousPlasma,
            5 => Self::ArterialWholeBlood,
            6 => Self::ArterialPlasma,
            7 => Self::WholeBlood,
            8 => Self::Plasma,
            9 => Self::InterstitialFluid,
            10 => Self::ControlSolution,
            _ => return Err(DecodeError::ReservedValue("sample type")),
        })
    }
}

/// Where it was taken.
///
/// Feature `defmt` gives `Format`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[repr(u8)]
pub enum SampleLocation {
    /// Finger.
    Finger = 1,
    /// An alternate site.
    AlternateSite = 2,
    /// Earlobe.
    Earlobe = 3,
    /// Control solution.
    ControlSolution = 4,
    /// Not reported.
    NotAvailable = 15,
}

impl SampleLocation {
    const fn from_nibble(nibble: u8) -> Result<Self, DecodeError> {
        Ok(match nibble {
            1 => Self::Finger,
            2 => Self::AlternateSite,
            3 => Self::Earlobe,
            4 => Self::ControlSolution,
            15 => Self::NotAvailable,
            _ => return Err(DecodeError::ReservedValue("sample location")),
        })
    }
}

/// A concentration, what it was measured in, and where that was taken.
///
/// Feature `defmt` gives `Format`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct Sample {
    /// How much.
    pub concentration: Concentration,
    /// In what.
    pub kind: SampleType,
    /// From where.
    pub location: SampleLocation,
}

/// One Glucose Measurement. 26 bytes.
///
/// Fields in order: flags, sequence number, base time, time offset (minutes), concentration (SFLOAT), sample
/// type and location (a nibble each, type low), sensor status annunciation.
///
/// Feature `defmt` gives `Format`.
///
/// # Source
/// Bluetooth SIG GATT Specification Supplement, Glucose Measurement. From memory.
///
/// # Examples
/// ```
/// use glidepath::gatt::GlucoseMeasurement;
/// // sequence 7, 2026-11-25 10:30:00, 104 × 10⁻⁵ kg/L, capillary whole blood from a finger
/// let bytes = [0x02, 7, 0, 0xEA, 0x07, 11, 25, 10, 30, 0, 0x68, 0xB0, 0x11];
/// let measurement = GlucoseMeasurement::decode(&bytes)?;
/// assert_eq!(measurement.fingerstick().expect("blood").glucose().whole_mg_dl(), 104);
/// # Ok::<(), glidepath::gatt::DecodeError>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
pub struct GlucoseMeasurement {
    sequence: u16,
    base: DateTime,
    offset_min: Option<i16>,
    sample: Option<Sample>,
    status: Option<u16>,
    context_follows: bool,
}

/// Annunciations that void a result: malfunction, too little blood, strip errors, beyond the device's range,
/// temperature, strip pulled too soon, general and time fault. A low battery (bit 0) does not.
const VOID: u16 = 0b1111_1111_1110;

impl GlucoseMeasurement {
    /// A measurement of `sample` at the meter's time `base`.
    #[must_use]
    pub const fn new(sequence: u16, base: DateTime, sample: Sample) -> Self {
        Self { sequence, base, offset_min: None, sample: Some(sample), status: None, context_follows: false }
    }

    /// From the 10 to 17 bytes of the characteristic.
    ///
    /// # Errors
    /// A length other than the flags ask for, a reserved flag, type or location, no such date or time.
    pub fn decode(bytes: &[u8]) -> Result<Self, DecodeError> {
        let mut fields = Fields(bytes);
        let flags = fields.u8()?;
        if flags & RESERVED != 0 {
            return Err(DecodeError::ReservedFlag);
        }
        let measurement = Self {
            sequence: fields.u16()?,
            base: DateTime::take(&mut fields)?,
            offset_min: fields.optional(flags & TIME_OFFSET != 0, Fields::i16)?,
            sample: fields.optional(flags & SAMPLE != 0, |fields| {
                let value = fields.sfloat()?;
                let concentration = if flags & MOL_PER_L != 0 {
                    Concentration::MolPerL(value)
                } else {
                    Concentration::KgPerL(value)
                };
                let nibbles = fields.u8()?;
                Ok(Sample {
                    concentration,
                    kind: SampleType::from_nibble(nibbles & 15)?,
                    location: SampleLocation::from_nibble(nibbles >> 4)?,
                })
            })?,
            status: fields.optional(flags & STATUS != 0, Fields::u16)?,
            context_follows: flags & CONTEXT != 0,
        };
        fields.end()?;
        Ok(measurement)
    }

    /// To bytes.
    #[must_use]
    pub fn encode(&self) -> Payload {
        let in_moles =
            self.sample.is_some_and(|sample| matches!(sample.concentration, Concentration::MolPerL(_)));
        let mut payload = Payload::new();
        payload.put_u8(flags(&[
            (self.offset_min.is_some(), TIME_OFFSET),
            (self.sample.is_some(), SAMPLE),
            (in_moles, MOL_PER_L),
            (self.status.is_some(), STATUS),
            (self.context_follows, CONTEXT),
        ]));
        payload.put_u16(self.sequence);
        self.base.put(&mut payload);
        if let Some(offset) = self.offset_min {
            payload.put(&offset.to_le_bytes());
        }
        if let Some(sample) = self.sample {
            let (Concentration::KgPerL(value) | Concentration::MolPerL(value)) = sample.concentration;
            payload.put_sfloat(value);
            payload.put_u8(sample.kind as u8 | (sample.location as u8) << 4);
        }
        if let Some(status) = self.status {
            payload.put_u16(status);
        }
        payload
    }

    /// The record's number, by which a context finds its measurement.
    #[must_use]
    pub const fn sequence(&self) -> u16 {
        self.sequence
    }

    /// The concentration and its origin, if sent.
    #[must_use]
    pub const fn sample(&self) -> Option<Sample> {
        self.sample
    }

    /// The meter's annunciation bits, if sent.
    #[must_use]
    pub const fn status(&self) -> Option<u16> {
        self.status
    }

    /// Whether a [`super::GlucoseContext`] of the same sequence number follows.
    #[must_use]
    pub const fn context_follows(&self) -> bool {
        self.context_follows
    }

    /// When it was measured: base time and offset, as seconds since 1970 of the user's clock.
    #[must_use]
    pub fn at(&self) -> Option<Instant> {
        Some(self.base.instant()?.plus(Span::from_mins(self.offset_min.unwrap_or(0).into())))
    }

    /// As a fingerstick.
    ///
    /// Nothing unless it has a date, a value, and capillary blood as its sample, and the meter announces
    /// nothing that voids it: a control solution must never calibrate a sensor.
    #[must_use]
    pub fn fingerstick(&self) -> Option<Fingerstick> {
        let sample = self.sample?;
        let capillary = matches!(sample.kind, SampleType::CapillaryWholeBlood | SampleType::CapillaryPlasma);
        let solution = sample.location == SampleLocation::ControlSolution;
        if !capillary || solution || self.status.unwrap_or(0) & VOID != 0 {
            return None;
        }
        Some(Fingerstick::new(self.at()?, sample.concentration.glucose()?))
    }
}

#[cfg(test)]
mod tests {
    extern crate std;
    use super::*;
    use proptest::prelude::*;

    const FULL: [u8; 17] = [
        0x1F, // everything, mol/L
        0x01, 0x02, // sequence 513
        0xEA, 0x07, 11, 25, 10, 30, 0, // 2026-11-25 10:30:00
        0xC4, 0xFF, // −60 min
        0x38, 0xC0, // 56 × 10⁻⁴ mol/L
        0x12, // capillary plasma, finger
        0x01, 0x00, // battery low
    ];

    #[test]
    fn a_full_measurement_by_hand() {
        let measurement = GlucoseMeasurement::decode(&FULL).unwrap();
        assert_eq!(measurement.sequence(), 513);
        assert!(measurement.context_follows());
        assert_eq!(measurement.status(), Some(1));
        let sample = Sample {
            concentration: Concentration::MolPerL(Sfloat::from_bits(0xC038)),
            kind: SampleType::CapillaryPlasma,
            location: SampleLocation::Finger,
        };
        assert_eq!(measurement.sample(), Some(sample));
        let stick = measurement.fingerstick().unwrap();
        assert_eq!(Some(stick.at()), DateTime::new((2026, 11, 25), (9, 30, 0)).unwrap().instant());
        assert!((stick.glucose().mmol_l() - 5.6).abs() < 1e-5);
        assert_eq!(measurement.encode().as_bytes(), FULL);
    }

    #[test]
    fn every_type_and_location_has_its_number() {
        for nibble in 0..16 {
            let kind = SampleType::from_nibble(nibble);
            assert_eq!(kind.map(|kind| kind as u8).ok(), (1..=10).contains(&nibble).then_some(nibble));
            let location = SampleLocation::from_nibble(nibble);
            let known = [1, 2, 3, 4, 15].contains(&nibble);
            assert_eq!(location.map(|location| location as u8).ok(), known.then_some(nibble));
        }
    }

    #[test]
    fn both_units_by_hand() {
        // 104 × 10⁻⁵ kg/L and 56 × 10⁻⁴ mol/L
        let mass = Concentration::KgPerL(Sfloat::from_bits(0xB068)).glucose().unwrap();
        assert!((mass.mg_dl() - 104.0).abs() < 1e-3);
        let moles = Concentration::MolPerL(Sfloat::from_bits(0xC038)).glucose().unwrap();
        assert!((moles.mmol_l() - 5.6).abs() < 1e-4);
        assert_eq!(Concentration::KgPerL(Sfloat::NAN).glucose(), None);
        assert_eq!(Concentration::MolPerL(Sfloat::nearest(-0.001)).glucose(), None);
    }

    #[test]
    fn only_a_low_battery_voids_nothing() {
        for bit in 0..16 {
            let mut bytes = FULL;
            [bytes[15], bytes[16]] = u16::to_le_bytes(1 << bit);
            let measurement = GlucoseMeasurement::decode(&bytes).unwrap();
            assert_eq!(measurement.status(), Some(1 << bit));
            // bits 1 to 11 are announcements, those above are reserved
            assert_eq!(measurement.fingerstick().is_none(), (1..12).contains(&bit), "{bit}");
        }
    }

    #[test]
    fn a_measurement_without_optional_fields() {
        let bytes = [0x00, 7, 0, 0xEA, 0x07, 11, 25, 10, 30, 0];
        let measurement = GlucoseMeasurement::decode(&bytes).unwrap();
        assert_eq!((measurement.sample(), measurement.status()), (None, None));
        assert!(!measurement.context_follows() && measurement.fingerstick().is_none());
        assert_eq!(measurement.at(), DateTime::new((2026, 11, 25), (10, 30, 0)).unwrap().instant());
        assert_eq!(measurement.encode().as_bytes(), bytes);
    }

    #[test]
    fn what_is_not_a_fingerstick_gives_none() {
        let changed = |place: usize, value: u8| {
            let mut bytes = FULL;
            bytes[place] = value;
            GlucoseMeasurement::decode(&bytes).unwrap().fingerstick()
        };
        assert!(changed(14, 0x4A).is_none()); // control solution
        assert!(changed(14, 0x41).is_none()); // "capillary blood" from a control solution
        assert!(changed(14, 0x19).is_none()); // interstitial fluid
        assert!(changed(15, 0x04).is_none()); // too little blood
        assert!(changed(16, 0x08).is_none()); // time fault
        assert!(changed(13, 0x07).is_none()); // 0x0738 mol/L is no concentration
        assert!(changed(5, 0).is_none()); // month not known
    }

    #[test]
    fn malformed_measurements_are_typed_errors() {
        for length in 0..FULL.len() {
            assert_eq!(GlucoseMeasurement::decode(&FULL[..length]), Err(DecodeError::TooShort));
        }
        assert_eq!(GlucoseMeasurement::decode(&[FULL.as_slice(), &[0]].concat()), Err(DecodeError::TooLong));
        let changed = |place: usize, value: u8| {
            let mut bytes = FULL;
            bytes[place] = value;
            GlucoseMeasurement::decode(&bytes)
        };
        assert_eq!(changed(0, 0x3F), Err(DecodeError::ReservedFlag));
        assert_eq!(changed(7, 24), Err(DecodeError::DateTime));
        assert_eq!(changed(14, 0x10), Err(DecodeError::ReservedValue("sample type")));
        assert_eq!(changed(14, 0x51), Err(DecodeError::ReservedValue("sample location")));
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(if cfg!(miri) { 8 } else { 256 }))]
        #[test]
        fn measurements_come_back(
            (sequence, value, offset_min, status, context_follows) in
                any::<(u16, u16, Option<i16>, Option<u16>, bool)>(),
            kind in 1_u8..=10, in_moles in any::<bool>(),
        ) {
            let value = Sfloat::from_bits(value);
            let sample = Sample {
                concentration: if in_moles { Concentration::MolPerL(value) } else { Concentration::KgPerL(value) },
                kind: SampleType::from_nibble(kind).unwrap(),
                location: SampleLocation::Earlobe,
            };
            let base = DateTime::new((2026, 2, 28), (23, 59, 59)).unwrap();
            let given = GlucoseMeasurement {
                offset_min, status, context_follows, ..GlucoseMeasurement::new(sequence, base, sample)
            };
            prop_assert_eq!(GlucoseMeasurement::decode(given.encode().as_bytes()), Ok(given));
        }

        #[test]
        fn any_bytes_are_refused_or_understood(bytes in prop::collection::vec(any::<u8>(), 0..20)) {
            if let Ok(measurement) = GlucoseMeasurement::decode(&bytes) {
                // the unit flag means nothing without a concentration
                prop_assert!(measurement.sample().is_none() || measurement.encode().as_bytes() == bytes);
            }
        }
    }
}
