//! How far gain and offset wander: the settings of a calibration.

use super::evidence::MOST_CAUTION;
use crate::codec::{Codec, Coded};
use crate::error::{Error, in_range};
use crate::math;
use crate::units::Span;

/// Between what the scatter stays, as a share of glucose.
pub(super) const LEAST_SCATTER: f32 = 0.02;
pub(super) const MOST_SCATTER: f32 = 0.3;

/// How far and how fast gain and offset wander, how far fingersticks scatter at first, and how much corrections must
/// have saved before they are used. 24 bytes.
///
/// Features: `serde` gives `Serialize` and `Deserialize`, `defmt` gives `Format`.
///
/// # Examples
/// ```
/// use glidepath::calibration::{Calibration, Drift};
/// use glidepath::{Glucose, Instant, Span};
/// // a sensor whose scale is known better than most: gain 5 % over a week, offset 3 mg/dL over three days
/// let known = Drift::default().with_gain(0.05, Span::from_hours(168))?.with_offset(3.0, Span::from_hours(72))?;
/// let known = Calibration::new(known.with_scatter(0.06)?.with_required_benefit(1.0)?);
/// let (at, glucose) = (Instant::from_secs(0), Glucose::from_mg_dl(120.0)?);
/// assert!(known.sd(at, glucose) < Calibration::new(Drift::default()).sd(at, glucose));
/// # Ok::<(), glidepath::Error>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq)]
#[cfg_attr(feature = "defmt", derive(defmt::Format))]
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "serde", serde(try_from = "Parts", into = "Parts"))]
pub struct Drift {
    pub(super) gain_sd: f32,
    pub(super) gain_time_min: f32,
    pub(super) offset_sd: f32,
    pub(super) offset_time_min: f32,
    pub(super) scatter: f32,
    pub(super) caution: f32,
}

impl Default for Drift {
    /// Gain 12 % over two weeks, offset 20 mg/dL over three and a half days, scatter 12 %, caution 1: what fingersticks beside recorded
    /// sensors show (DEVELOPERS.md has the command).
    fn default() -> Self {
        Self {
            gain_sd: 0.12,
            gain_time_min: 20_000.0,
            offset_sd: 20.0,
            offset_time_min: 5_000.0,
            scatter: 0.12,
            caution: 1.0,
        }
    }
}

/// The range of the times over which gain and offset wander.
const DRIFTS: (Span, Span) = (Span::from_hours(1), Span::from_hours(180 * 24));

impl Drift {
    /// The same with another gain: its standard deviation (0.001 to 0.5), and the time over which it wanders (1 h to
    /// 180 days).
    ///
    /// # Errors
    /// Names the parameter that is out of range.
    pub fn with_gain(self, sd: f32, time: Span) -> Result<Self, Error> {
        let time = time.within("gain_time", DRIFTS.0, DRIFTS.1)?;
        Ok(Self { gain_sd: in_range("gain_sd", sd, 0.001, 0.5)?, gain_time_min: time.mins(), ..self })
    }

    /// The same with another offset: its standard deviation (0.1 to 40 mg/dL), and the time over which it wanders (1 h
    /// to 180 days).
    ///
    /// # Errors
    /// Names the parameter that is out of range.
    pub fn with_offset(self, sd: f32, time: Span) -> Result<Self, Error> {
        let time = time.within("offset_time", DRIFTS.0, DRIFTS.1)?;
        Ok(Self { offset_sd: in_range("offset_sd", sd, 0.1, 40.0)?, offset_time_min: time.mins(), ..self })
    }

    /// The same with another scatter to begin with: its standard deviation as a share of glucose, 0.02 to 0.3.
    ///
    /// # Errors
    /// When it is out of range.
    pub fn with_scatter(self, scatter: f32) -> Result<Self, Error> {
        Ok(Self { scatter: in_range("scatter", scatter, LEAST_SCATTER, MOST_SCATTER)?, ..self })
    }

    /// The same with another required benefit (`caution` in a settings file): how much nearer to the fingersticks so far
    /// corrections must have been, in scatters, before they begin to be used, 0.5 to 10. One fingerstick counts for at most 1.5.
    ///
    /// # Errors
    /// When it is out of range.
    pub fn with_required_benefit(self, scatters: f32) -> Result<Self, Error> {
        Ok(Self { caution: in_range("caution", scatters, 0.5, MOST_CAUTION)?, ..self })
    }

    /// The gain's standard deviation, and the time over which it wanders.
    #[must_use]
    pub fn gain(&self) -> (f32, Span) {
        (self.gain_sd, span(self.gain_time_min))
    }

    /// The offset's standard deviation, mg/dL, and the time over which it wanders.
    #[must_use]
    pub fn offset(&self) -> (f32, Span) {
        (self.offset_sd, span(self.offset_time_min))
    }

    /// The scatter at first: its standard deviation as a share of glucose.
    #[must_use]
    pub const fn scatter(&self) -> f32 {
        self.scatter
    }

    /// What corrections must have saved before they are used, in scatters.
    #[must_use]
    pub const fn required_benefit(&self) -> f32 {
        self.caution
    }
}

/// Whole seconds of minutes in range.
#[expect(clippy::cast_possible_truncation, reason = "180 days at most")]
fn span(minutes: f32) -> Span {
    Span::from_secs(math::round(minutes * 60.0) as i32)
}

/// A [`Drift`] as written, in a file or as bytes: read back through its gates.
#[cfg_attr(feature = "serde", derive(serde::Serialize, serde::Deserialize))]
#[cfg_attr(feature = "serde", serde(default, deny_unknown_fields, rename = "Drift"))]
struct Parts {
    gain_sd: f32,
    gain_time: Span,
    offset_sd: f32,
    offset_time: Span,
    scatter: f32,
    caution: f32,
}

#[cfg(feature = "serde")]
impl Default for Parts {
    fn default() -> Self {
        Drift::default().into()
    }
}

impl TryFrom<Parts> for Drift {
    type Error = Error;
    fn try_from(parts: Parts) -> Result<Self, Error> {
        Self::default()
            .with_gain(parts.gain_sd, parts.gain_time)?
            .with_offset(parts.offset_sd, parts.offset_time)?
            .with_scatter(parts.scatter)?
            .with_required_benefit(parts.caution)
    }
}

impl From<Drift> for Parts {
    fn from(drift: Drift) -> Self {
        let (gain_sd, gain_time) = drift.gain();
        let (offset_sd, offset_time) = drift.offset();
        let Drift { scatter, caution, .. } = drift;
        Self { gain_sd, gain_time, offset_sd, offset_time, scatter, caution }
    }
}

impl Coded for Drift {
    fn code(&mut self, codec: &mut Codec<'_>) {
        let mut parts = Parts::from(*self);
        let Parts { gain_sd, gain_time, offset_sd, offset_time, scatter, caution } = &mut parts;
        for span in [gain_time, offset_time] {
            *span = codec.any_span(*span);
        }
        for number in [gain_sd, offset_sd, scatter, caution] {
            *number = codec.any_number(*number);
        }
        codec.gate(self, parts.try_into());
    }
}
