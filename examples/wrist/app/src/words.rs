//! The face in one short sentence, for a speech chip or a screen reader.

use crate::face::{Bound, Face, Trust, Unit, in_unit};
use crate::text::{push, push_number, push_value};
use glidepath::{Rate, alarm::Kind};
use heapless::String;

/// Room for the longest sentence.
pub type Sentence = String<160>;

/// The rate in one or two words, by the bins of CLSI POCT05 at 1 and 2 mg/dL per minute.
#[must_use]
pub fn pace(rate: Rate) -> &'static str {
    match rate.mg_dl_per_min() {
        rate if rate <= -2.0 => "falls fast",
        rate if rate <= -1.0 => "falls",
        rate if rate < 1.0 => "steady",
        rate if rate < 2.0 => "rises",
        _ => "rises fast",
    }
}

/// Says what the screen shows. A value that is not the present one is never said as if it were.
#[must_use]
pub fn sentence(face: &Face<'_>) -> Sentence {
    let mut text = Sentence::new();
    if let Some(alert) = face.alert {
        push(&mut text, "Alarm: ");
        push(&mut text, spoken(alert.kind));
        push(&mut text, ". ");
    }
    let Some(now) = face.current() else {
        push(&mut text, if face.trust == Trust::None { "No trusted value" } else { "No present value" });
        if let (Some(_), Some(minutes)) = (face.now, face.age_min()) {
            push(&mut text, ", last one ");
            push_number(&mut text, minutes);
            push(&mut text, " minutes ago");
        }
        push(&mut text, ".");
        return text;
    };
    match now.bound {
        Some(Bound::AtMost) => push(&mut text, "At most "),
        Some(Bound::AtLeast) => push(&mut text, "At least "),
        None => {}
    }
    push_value(&mut text, in_unit(now.glucose, face.unit));
    push(
        &mut text,
        match face.unit {
            Unit::MgDl => " milligrams",
            Unit::MmolL => " millimoles",
        },
    );
    if let Some((rate, _)) = now.rate {
        push(&mut text, ", ");
        push(&mut text, pace(rate));
    }
    match face.age_min() {
        Some(1) => push(&mut text, ", 1 minute ago"),
        Some(minutes) if minutes > 1 => {
            push(&mut text, ", ");
            push_number(&mut text, minutes);
            push(&mut text, " minutes ago");
        }
        _ => {}
    }
    if let Some(minutes) = now.low_in_min {
        push(&mut text, ", low in about ");
        push_number(&mut text, minutes.into());
        push(&mut text, " minutes");
    }
    push(&mut text, ".");
    text
}

const fn spoken(kind: Kind) -> &'static str {
    match kind {
        Kind::Floor => "very low",
        Kind::Low => "low",
        Kind::LowAhead => "low ahead",
        Kind::SteepFall => "falls fast",
        Kind::NoData => "no readings",
        Kind::High => "high",
        Kind::SteepRise => "rises fast",
        Kind::Doubt => "check the sensor with a fingerstick",
        Kind::WearEnd => "the sensor ends soon",
    }
}
