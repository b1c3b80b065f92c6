//! The limits by which readings are judged.

use crate::codec::{Codec, Coded};
use crate::error::{Error, ErrorKind, in_range};
use crate::local::LocalTime;
use crate::units::Span;

/// The limits by which [`Quality`](super::Quality) judges readings. Take the default and change what is to be otherwise, by its
/// fields or by the `with_` methods. [`Quality::new`](super::Quality::new) and [`Monitor::new`](crate::Monitor::new) refuse a number
/// that is out of its range, and name it.
///
/// Features: `serde` gives `Serialize` and `Deserialize`, `defmt` gives `Format`.
///
/// # Examples
/// ```
/// use glidepath::{Span, quality::{Quality, QualityConfig}};
/// let every_quarter_hour = QualityConfig::default().with_gap(Span::from_mins(40)).with_wear(Span::from_hours(15 * 24));
/// let quality = Quality::new(every_quarter_hour)?;
/// assert_eq!(Quality::new(every_quarter_hour.with_jump_sd(1.0)).unwrap_err().parameter(), "jump_sd");
/// # Ok::<(), glidepath::Error>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "serde", serde(default, deny_unknown_fields, remote = "Self"))]
#[non_exhaustive]
pub struct QualityConfig {
    /// The lowest value a sensor can mean, mg/dL (0 to 30). Default 20.
    pub least_mg_dl: f32,
    /// The highest, mg/dL (200 to 2000). Default 600.
    pub greatest_mg_dl: f32,
    /// A longer silence is a gap (1 min to 6 h). Default 20 min.
    pub gap: Span,
    /// A jump is this many standard deviations from what was expected (2 to 10). On recorded
    /// people four of five readings at 6 to 9 were borne out by the next, beyond 9 one of three. Default 9.
    pub jump_sd: f32,
    /// Pressure is suspected when a steady level loses this share (0.05 to 0.5), and 12 mg/dL at least, within one
    /// reading. Default 0.12.
    pub pressure_share: f32,
    /// How long pressure stays suspected without a rebound (0 to 60 min; 0: never suspected).
    /// Default 20 min.
    pub pressure_hold: Span,
    /// The night, when pressure is suspected: from this minute of the day (0 to 1439). Default 23:00.
    #[cfg_attr(feature = "serde", serde(with = "crate::written::minute"))]
    pub night_from: u16,
    /// To this one (0 to 1439); equal to `night_from`: all day. Default 07:00.
    #[cfg_attr(feature = "serde", serde(with = "crate::written::minute"))]
    pub night_to: u16,
    /// How many equal whole mg/dL in a row are a stuck sensor (3 to 100). Default 6.
    pub stuck_readings: u8,
    /// And how long they must last (0 to 6 h). Default 25 min.
    pub stuck_span: Span,
    /// A noise this many times the class's is noisy (1 to 16). Default 2.
    pub noisy_scale: f32,
    /// Warm-up after the sensor's start (0 to 24 h). Default 1 h.
    pub warm_up: Span,
    /// The first day, counted from the start (0 to 48 h). Default 24 h.
    pub first_day: Span,
    /// Planned wear, counted from the start (1 h to 400 days). Default 10 days.
    pub wear: Span,
}

impl Default for QualityConfig {
    fn default() -> Self {
        Self {
            least_mg_dl: 20.0,
            greatest_mg_dl: 600.0,
            gap: Span::from_mins(20),
            jump_sd: 9.0,
            pressure_share: 0.12,
            pressure_hold: Span::from_mins(20),
            night_from: 23 * 60,
            night_to: 7 * 60,
            stuck_readings: 6,
            stuck_span: Span::from_mins(25),
            noisy_scale: 2.0,
            warm_up: Span::from_hours(1),
            first_day: Span::from_hours(24),
            wear: Span::from_hours(240),
        }
    }
}

#[cfg(feature = "serde")]
impl serde::Serialize for QualityConfig {
    fn serialize<S: serde::Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        Self::serialize(self, to)
    }
}

#[cfg(feature = "serde")]
impl<'de> serde::Deserialize<'de> for QualityConfig {
    fn deserialize<D: serde::Deserializer<'de>>(from: D) -> Result<Self, D::Error> {
        Self::deserialize(from)?.checked().map_err(serde::de::Error::custom)
    }
}

impl QualityConfig {
    /// The same with other ends of what a sensor can mean, mg/dL: the lowest 0 to 30, the highest 200 to 2000.
    #[must_use]
    pub const fn with_range_mg_dl(self, least: f32, greatest: f32) -> Self {
        Self { least_mg_dl: least, greatest_mg_dl: greatest, ..self }
    }

    /// The same where a silence longer than this is a gap, 1 min to 6 h.
    #[must_use]
    pub const fn with_gap(self, gap: Span) -> Self {
        Self { gap, ..self }
    }

    /// The same where a jump lies this many standard deviations from what was expected, 2 to 10.
    #[must_use]
    pub const fn with_jump_sd(self, jump_sd: f32) -> Self {
        Self { jump_sd, ..self }
    }

    /// The same where pressure is suspected when this share of a level is lost at once, 0.05 to 0.5, and for this long, 0
    /// (never) to 60 min.
    #[must_use]
    pub const fn with_pressure(self, share: f32, hold: Span) -> Self {
        Self { pressure_share: share, pressure_hold: hold, ..self }
    }

    /// The same with another night: its first minute of the day and the one at which it ends, 0 to 1439 each; equal ones
    /// are the whole day.
    #[must_use]
    pub const fn with_night(self, from: u16, to: u16) -> Self {
        Self { night_from: from, night_to: to, ..self }
    }

    /// The same where this many equal readings in a row, 3 to 100, over this long at least, 0 to 6 h, are a stuck sensor.
    #[must_use]
    pub const fn with_stuck(self, readings: u8, span: Span) -> Self {
        Self { stuck_readings: readings, stuck_span: span, ..self }
    }

    /// The same where this many times the usual noise is noisy, 1 to 16.
    #[must_use]
    pub const fn with_noisy_scale(self, scale: f32) -> Self {
        Self { noisy_scale: scale, ..self }
    }

    /// The same with another warm-up, counted from the sensor's start, 0 to 24 h and no longer than the first day.
    #[must_use]
    pub const fn with_warm_up(self, warm_up: Span) -> Self {
        Self { warm_up, ..self }
    }

    /// The same with another first day, counted from the sensor's start, 0 to 48 h and no shorter than the warm-up.
    #[must_use]
    pub const fn with_first_day(self, first_day: Span) -> Self {
        Self { first_day, ..self }
    }

    /// The same with another planned wear, counted from the sensor's start, 1 h to 400 days.
    #[must_use]
    pub const fn with_wear(self, wear: Span) -> Self {
        Self { wear, ..self }
    }

    /// Whether `local` is in the night.
    pub(super) const fn is_night(&self, local: LocalTime) -> bool {
        let (from, to, minute) = (self.night_from, self.night_to, local.minute());
        if from < to { from <= minute && minute < to } else { minute >= from || minute < to }
    }

    /// The configuration, if all is within the ranges stated.
    ///
    /// # Errors
    /// Names the number that is out of range, or `first_day` when it is shorter than the warm-up.
    pub fn checked(self) -> Result<Self, Error> {
        const NUMBERS: [(&str, f32, f32); 8] = [
            ("least_mg_dl", 0.0, 30.0),
            ("greatest_mg_dl", 200.0, 2000.0),
            ("jump_sd", 2.0, 10.0),
            ("pressure_share", 0.05, 0.5),
            ("noisy_scale", 1.0, 16.0),
            ("night_from", 0.0, 1439.0),
            ("night_to", 0.0, 1439.0),
            ("stuck_readings", 3.0, 100.0),
        ];
        const SPANS: [(&str, Span, Span); 6] = [
            ("gap", Span::from_mins(1), Span::from_hours(6)),
            ("pressure_hold", Span::ZERO, Span::from_hours(1)),
            ("stuck_span", Span::ZERO, Span::from_hours(6)),
            ("warm_up", Span::ZERO, Span::from_hours(24)),
            ("first_day", Span::ZERO, Span::from_hours(48)),
            ("wear", Span::from_hours(1), Span::from_hours(9600)),
        ];
        let [from, to, stuck] = [self.night_from, self.night_to, self.stuck_readings.into()].map(f32::from);
        let numbers = [
            self.least_mg_dl,
            self.greatest_mg_dl,
            self.jump_sd,
            self.pressure_share,
            self.noisy_scale,
            from,
            to,
            stuck,
        ];
        for ((name, least, most), number) in NUMBERS.iter().zip(numbers) {
            in_range(name, number, *least, *most)?;
        }
        let spans = [self.gap, self.pressure_hold, self.stuck_span, self.warm_up, self.first_day, self.wear];
        for ((name, least, most), span) in SPANS.iter().zip(spans) {
            span.within(name, *least, *most)?;
        }
        if self.first_day < self.warm_up {
            return Err(Error::new("first_day", ErrorKind::Inconsistent));
        }
        Ok(self)
    }
}

impl Coded for QualityConfig {
    fn code(&mut self, codec: &mut Codec<'_>) {
        let mut config = *self;
        let Self {
            least_mg_dl,
            greatest_mg_dl,
            gap,
            jump_sd,
            pressure_share,
            pressure_hold,
            night_from,
            night_to,
            stuck_readings,
            stuck_span,
            noisy_scale,
            warm_up,
            first_day,
            wear,
        } = &mut config;
        for number in [least_mg_dl, greatest_mg_dl, jump_sd, pressure_share, noisy_scale] {
            *number = codec.any_number(*number);
        }
        for span in [gap, pressure_hold, stuck_span, warm_up, first_day, wear] {
            *span = codec.any_span(*span);
        }
        for minute in [night_from, night_to] {
            *minute = codec.half(&mut minute.clone());
        }
        *stuck_readings = codec.byte(&mut stuck_readings.clone());
        codec.gate(self, config.checked());
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_setter_changes_its_own_fields_alone() {
        let (sound, span) = (QualityConfig::default(), Span::from_mins);
        for (built, own) in [
            (
                sound.with_range_mg_dl(10.0, 500.0),
                QualityConfig { least_mg_dl: 10.0, greatest_mg_dl: 500.0, ..sound },
            ),
            (sound.with_gap(span(40)), QualityConfig { gap: span(40), ..sound }),
            (sound.with_jump_sd(7.0), QualityConfig { jump_sd: 7.0, ..sound }),
            (
                sound.with_pressure(0.2, span(9)),
                QualityConfig { pressure_share: 0.2, pressure_hold: span(9), ..sound },
            ),
            (sound.with_night(60, 300), QualityConfig { night_from: 60, night_to: 300, ..sound }),
            (
                sound.with_stuck(9, span(50)),
                QualityConfig { stuck_readings: 9, stuck_span: span(50), ..sound },
            ),
            (sound.with_noisy_scale(3.0), QualityConfig { noisy_scale: 3.0, ..sound }),
            (sound.with_warm_up(span(30)), QualityConfig { warm_up: span(30), ..sound }),
            (sound.with_first_day(span(720)), QualityConfig { first_day: span(720), ..sound }),
            (sound.with_wear(span(20_000)), QualityConfig { wear: span(20_000), ..sound }),
        ] {
            assert_eq!(built, own);
            assert!(built != sound && built.checked().is_ok());
        }
    }

    #[test]
    fn a_refusal_names_the_parameter() {
        let sound = QualityConfig::default();
        assert!(sound.checked().is_ok());
        for (config, name) in [
            (QualityConfig { jump_sd: f32::NAN, ..sound }, "jump_sd"),
            (QualityConfig { stuck_readings: 2, ..sound }, "stuck_readings"),
            (QualityConfig { gap: Span::ZERO, ..sound }, "gap"),
            (QualityConfig { warm_up: Span::from_hours(24), first_day: Span::ZERO, ..sound }, "first_day"),
        ] {
            assert_eq!(config.checked().unwrap_err().parameter(), name);
        }
    }

    #[test]
    fn the_ends_of_each_range_are_in_it() {
        let sound = QualityConfig::default();
        let secs = Span::from_secs;
        for (config, refused) in [
            (QualityConfig { gap: secs(60), ..sound }, None),
            (QualityConfig { gap: secs(59), ..sound }, Some("gap")),
            (QualityConfig { gap: secs(21_600), ..sound }, None),
            (QualityConfig { gap: secs(21_601), ..sound }, Some("gap")),
            (QualityConfig { stuck_span: secs(21_600), ..sound }, None),
            (QualityConfig { stuck_span: secs(21_601), ..sound }, Some("stuck_span")),
            (QualityConfig { pressure_hold: secs(3600), ..sound }, None),
            (QualityConfig { pressure_hold: secs(3601), ..sound }, Some("pressure_hold")),
            (QualityConfig { wear: secs(3600), ..sound }, None),
            (QualityConfig { wear: secs(3599), ..sound }, Some("wear")),
            (QualityConfig { first_day: sound.warm_up, ..sound }, None),
        ] {
            assert_eq!(config.checked().err().map(|error| error.parameter()), refused, "{config:?}");
        }
    }

    #[test]
    fn the_night_begins_with_its_first_minute_and_ends_before_its_last() {
        let sound = QualityConfig::default();
        for (night_from, night_to, minutes) in [
            (60, 360, &[(0, false), (59, false), (60, true), (359, true), (360, false), (1439, false)][..]),
            (1380, 420, &[(419, true), (420, false), (1379, false), (1380, true), (0, true)]),
            (600, 600, &[(0, true), (599, true), (600, true), (1439, true)]),
        ] {
            let config = QualityConfig { night_from, night_to, ..sound };
            for (minute, night) in minutes {
                let local = LocalTime::new(0, *minute).unwrap();
                assert_eq!(config.is_night(local), *night, "{night_from} to {night_to}: {minute}");
            }
        }
    }
}
