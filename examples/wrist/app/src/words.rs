//! The face in one short sentence, for a speech chip or a screen reader.

use crate::face::{Bound, Face, Now, Unheard, Unit, in_unit, whole_minutes};
use crate::text::{push, push_hex, push_number, push_value};
use glidepath::alarm::{FLOOR_MG_DL, Kind, Ring, Trigger};
use glidepath::snapshot::SnapshotError;
use glidepath::{ErrorKind, Glucose, Rate, Span};
use heapless::String;

/// Room for the longest sentence.
pub type Sentence = String<192>;

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

/// A probability in whole per cent.
#[must_use]
pub fn percent(probability: f32) -> u32 {
    (probability.clamp(0.0, 1.0) * 100.0 + 0.5) as u32
}

/// Said when a meter's result was refused.
#[must_use]
pub fn refused() -> Sentence {
    let mut text = Sentence::new();
    push(&mut text, "The fingerstick was not taken in.");
    text
}

/// Tells what became of settings, by their number, for who sent them.
#[must_use]
pub fn of_settings(number: Option<u32>, what: &str) -> Sentence {
    let mut text = Sentence::new();
    push(&mut text, "Settings ");
    if let Some(number) = number {
        push_hex(&mut text, number);
        push(&mut text, " ");
    }
    push(&mut text, what);
    text
}

/// Tells why settings were refused.
#[must_use]
pub fn refused_settings(number: Option<u32>, why: &SnapshotError) -> Sentence {
    let mut text = of_settings(number, "refused: ");
    match why {
        SnapshotError::Setting(error) => {
            push(&mut text, error.section());
            push(&mut text, if error.section().is_empty() { "" } else { " " });
            push(&mut text, error.parameter());
            push(
                &mut text,
                if error.kind() == ErrorKind::Inconsistent { " at odds" } else { " out of range" },
            );
        }
        SnapshotError::Version(_) => push(&mut text, "of another version"),
        SnapshotError::Checksum => push(&mut text, "damaged"),
        _ => push(&mut text, "not whole"),
    }
    push(&mut text, ".");
    text
}

/// Tells that settings which were kept hold no longer.
#[must_use]
pub fn lost_settings() -> Sentence {
    of_settings(None, "that were kept cannot be read. Those as built hold.")
}

/// How it is told that no sensor is listened to.
pub(crate) struct About {
    title: Option<&'static str>,
    /// In small print beside the age, at most 14 letters.
    pub note: &'static str,
    /// On an alarm's screen, at most ten letters.
    pub short: &'static str,
    /// Said.
    spoken: &'static str,
    /// So many seconds the button is to be held while the wrist is switched on.
    hold_s: Option<u32>,
}

impl Unheard {
    /// What is in the way of readings, in capitals; none: it is no reason for there being no value.
    #[must_use]
    pub fn title(self) -> Option<&'static str> {
        self.about().title
    }

    pub(crate) fn about(self) -> About {
        let about = |title, note, short, spoken, hold_s| About { title, note, short, spoken, hold_s };
        match self {
            Self::NoSensor => {
                about(Some("NO SENSOR"), "none is paired", "no sensor", "no sensor is paired", Some(3))
            }
            Self::PairingOpen => about(None, "pairing open", "pairing", "pairing is open", None),
            Self::PairingFailed => about(
                Some("NOT PAIRED"),
                "pairing failed",
                "not paired",
                "the sensor was refused, pairing failed",
                Some(3),
            ),
            Self::NoDigits => about(
                Some("NO DIGITS"),
                "sensor refused",
                "no digits",
                "the sensor was refused, it has no digits to compare",
                Some(12),
            ),
            Self::KeyLost => about(
                Some("KEY LOST"),
                "sensor refused",
                "key lost",
                "the sensor was refused, its key is lost",
                Some(6),
            ),
            Self::Another => {
                about(None, "another near", "other near", "another sensor is near, if it is new", Some(3))
            }
        }
    }

    /// What to do, in two short lines.
    pub(crate) fn to_do(self) -> Option<[String<12>; 2]> {
        let hold_s = self.about().hold_s?;
        let [mut first, mut second] = [const { String::new() }; 2];
        push(&mut first, if self == Self::Another { "new? " } else { "hold " });
        push_number(&mut first, hold_s);
        push(&mut first, " s");
        push(&mut second, "at power-on");
        Some([first, second])
    }
}

/// Says what the screen shows: while an alarm asks for attention that one, and the value that caused it. A value that is
/// not the present one is never said as if it were.
#[must_use]
pub fn sentence(face: &Face<'_>) -> Sentence {
    let mut text = Sentence::new();
    if let Some(alert) = &face.alert {
        push(&mut text, "Alarm: ");
        push(&mut text, alert.kind.info().spoken);
        push(&mut text, ". ");
    }
    let causes = face.alert.map(|alert| alert.trigger);
    match face.figure() {
        Some(now) => present(&mut text, face, &now, causes),
        None => past(&mut text, face, causes),
    }
    push(&mut text, ".");
    text
}

fn present(text: &mut Sentence, face: &Face<'_>, now: &Now, causes: Option<Trigger>) {
    let unplaced = matches!(causes, Some(Trigger::Unplaced(_)));
    if now.doubted {
        push(text, "Doubted, ");
        if !face.note.is_empty() {
            push(text, face.note.trim_end_matches('?'));
            push(text, ": ");
        }
    }
    push(
        text,
        match now.bound {
            Some(Bound::AtMost) if now.doubted => "at most ",
            Some(Bound::AtLeast) if now.doubted => "at least ",
            Some(Bound::AtMost) => "At most ",
            Some(Bound::AtLeast) => "At least ",
            None => "",
        },
    );
    amount(text, now.glucose, face.unit);
    if matches!(causes, Some(Trigger::Uncalibrated(_))) && now.bound.is_none() {
        push(text, " as the sensor read it");
    }
    if let Some((rate, _)) = now.rate {
        push(text, ", ");
        push(text, pace(rate));
    }
    match face.age {
        _ if unplaced => push(text, ", measured nobody knows when"),
        Some(age) if whole_minutes(age) > 0 => {
            push(text, ", ");
            ago(text, age);
        }
        _ => {}
    }
    match causes {
        Some(Trigger::Probability(probability)) => {
            push(text, ", chance of a low ");
            push_number(text, percent(probability));
            push(text, " percent");
        }
        Some(Trigger::WearLeft(left)) => {
            push(text, if left > Span::ZERO { ", it ends in " } else { ", it has ended" });
            if left > Span::ZERO {
                span(text, left);
            }
        }
        _ => {}
    }
    if let Some(minutes) = now.low_in_min {
        push(text, ", low in about ");
        count(text, minutes.into(), " minute");
    }
    if !face.pair.is_empty() {
        push(text, ", ");
        push(text, face.pair);
    }
}

fn past(text: &mut Sentence, face: &Face<'_>, causes: Option<Trigger>) {
    push(text, "No present value");
    if let Some(Trigger::Silence(silence)) = causes {
        push(text, ", silent for ");
        span(text, silence);
    } else if let Some(age) = face.age {
        push(text, ", last one ");
        if let Some(glucose) = causes.and_then(Trigger::glucose) {
            amount(text, glucose, face.unit);
            push(text, ", ");
        }
        ago(text, age);
    }
    let Some(about) = face.unheard.map(Unheard::about) else { return };
    push(text, ", ");
    push(text, about.spoken);
    if let Some(seconds) = about.hold_s {
        push(text, ": hold the button ");
        push_number(text, seconds);
        push(text, " seconds at power-on");
    }
}

fn amount(text: &mut Sentence, glucose: Glucose, unit: Unit) {
    push_value(text, in_unit(glucose, unit));
    push(
        text,
        match unit {
            Unit::MgDl => " milligrams",
            Unit::MmolL => " millimoles",
        },
    );
}

fn ago(text: &mut Sentence, age: Span) {
    span(text, age);
    push(text, " ago");
}

/// Whole minutes, hours from two hours on, days from two days on.
fn span(text: &mut Sentence, span: Span) {
    let minutes = whole_minutes(span);
    let (one, unit) = match minutes {
        0..120 => (1, " minute"),
        120..2880 => (60, " hour"),
        _ => (1440, " day"),
    };
    count(text, minutes / one, unit);
}

fn count(text: &mut Sentence, number: u32, one: &str) {
    push_number(text, number);
    push(text, one);
    push(text, if number == 1 { "" } else { "s" });
}

/// What a ring goes by, in three short lines beside the value. `now` is that value.
#[must_use]
pub(crate) fn beside(face: &Face<'_>, ring: &Ring, now: Option<&Now>) -> [String<12>; 3] {
    let mut lines = [const { String::new() }; 3];
    let [first, second, third] = &mut lines;
    let Some(now) = now else {
        match (ring.trigger, face.age) {
            (Trigger::Silence(silence), _) => {
                push(first, "silent");
                push_age(second, whole_minutes(silence));
                push(third, face.unheard.map_or("", |unheard| unheard.about().short));
            }
            (trigger, age) => {
                match trigger.glucose() {
                    Some(glucose) => {
                        push(first, "was ");
                        push_value(first, in_unit(glucose, face.unit));
                    }
                    None => push(first, "no value"),
                }
                if let Some(age) = age {
                    push_age(second, whole_minutes(age));
                    push(third, "ago");
                }
            }
        }
        return lines;
    };
    let unit = unit_name(face.unit);
    if now.doubted {
        push(first, "doubted");
        if now.bound.is_none() {
            push(second, face.note);
            push(third, unit);
        } else {
            push(second, unit);
        }
        return lines;
    }
    match ring.trigger {
        // the title tells in how many minutes
        Trigger::Probability(probability) => {
            push(first, unit);
            push(second, "chance");
            push_number(third, percent(probability));
            push(third, "%");
        }
        Trigger::WearLeft(left) if left > Span::ZERO => {
            push(first, "ends in");
            push_number(second, whole_minutes(left) / 60);
            push(second, " h");
        }
        Trigger::WearLeft(_) => push(first, "past end"),
        Trigger::Uncalibrated(_) if now.bound.is_none() => {
            push(first, unit);
            push(second, "as read");
        }
        _ if now.bound.is_some() => push(first, unit), // the value may need the room
        // it holds until the value is well over its limit
        _ if ring.kind == Kind::Floor && now.glucose.mg_dl() > FLOOR_MG_DL => {
            push(first, unit);
            push(second, "was lower");
        }
        trigger => {
            push(first, unit);
            let rate = match trigger {
                Trigger::Rate(rate) => Some(rate),
                _ => now.rate.map(|(rate, _)| rate),
            };
            if let Some(rate) = rate {
                let pace = pace(rate);
                let (one, other) = pace.split_once(' ').unwrap_or((pace, ""));
                push(second, one);
                push(third, other);
            }
        }
    }
    lines
}

/// Minutes, or hours when there are many.
pub(crate) fn push_age<const N: usize>(text: &mut String<N>, minutes: u32) {
    if minutes < 100 {
        push_number(text, minutes);
        push(text, " min");
    } else {
        push_number(text, minutes / 60);
        push(text, " h");
    }
}

/// A unit as it is written.
pub(crate) const fn unit_name(unit: Unit) -> &'static str {
    match unit {
        Unit::MgDl => "mg/dL",
        Unit::MmolL => "mmol/L",
    }
}
