//! The answers of two sensors as they are written.

use super::view::{Agreement, PairView, Side, SideView};
use crate::forecast::Predicted;
use crate::monitor::{NewestWritten, View};
use crate::quality::Reasons;
use crate::units::Span;
use serde::ser::{Serialize, Serializer};

impl Serialize for Agreement {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        to.serialize_str(self.name())
    }
}

#[derive(serde::Serialize)]
#[serde(rename = "SideView")]
struct SideAnswers {
    newest: Option<NewestWritten>,
    age: Option<Span>,
    reasons: Reasons,
    weight: f32,
    offset: f32,
    predicted_15min: Option<Predicted>,
    predicted_30min: Option<Predicted>,
    predicted_60min: Option<Predicted>,
}

impl Serialize for SideView {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        let Self { newest, age, reasons, weight, offset, course: _ } = *self;
        SideAnswers {
            newest: NewestWritten::of(newest),
            age,
            reasons,
            weight,
            offset,
            predicted_15min: self.predicted(Span::from_mins(15)),
            predicted_30min: self.predicted(Span::from_mins(30)),
            predicted_60min: self.predicted(Span::from_mins(60)),
        }
        .serialize(to)
    }
}

#[derive(serde::Serialize)]
#[serde(rename = "PairView")]
struct PairAnswers<'a> {
    agreement: Agreement,
    fused: &'a View,
    first: &'a SideView,
    second: &'a SideView,
}

impl Serialize for PairView {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        PairAnswers {
            agreement: self.agreement(),
            fused: self.fused(),
            first: self.side(Side::First),
            second: self.side(Side::Second),
        }
        .serialize(to)
    }
}
