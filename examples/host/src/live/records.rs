//! Bytes to whole records: lines of a table or frames of the wrist's line, whichever they are.

use std::ops::Range;

/// A record longer than this is none.
const LONGEST: usize = 1 << 20;

/// What comes in.
#[derive(Clone, Copy, Debug, PartialEq, Eq, clap::ValueEnum, serde::Serialize, serde::Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Form {
    /// Lines of a table with a header row
    Csv,
    /// The wrist's frames: characteristics of the standard CGM Service, stuffed by COBS, each ended by a zero byte
    Frames,
}

impl Form {
    fn end(self) -> u8 {
        match self {
            Self::Csv => b'\n',
            Self::Frames => 0,
        }
    }
}

/// Collects bytes.
#[derive(Default)]
pub struct Records {
    form: Option<Form>,
    held: Vec<u8>,
}

/// Whole records that have come, and what they are.
pub struct Whole {
    pub form: Form,
    bytes: Vec<u8>,
    places: Vec<Range<usize>>,
}

impl Whole {
    /// All of them with their ends.
    pub fn bytes(&self) -> &[u8] {
        &self.bytes
    }

    /// Each, a frame with its end, a line without.
    pub fn each(&self) -> impl Iterator<Item = &[u8]> {
        self.places.iter().map(|place| {
            let record = self.bytes.get(place.clone()).unwrap_or_default();
            match self.form {
                Form::Frames => record,
                Form::Csv => {
                    let line = record.strip_suffix(b"\n").unwrap_or(record);
                    line.strip_suffix(b"\r").unwrap_or(line)
                }
            }
        })
    }
}

impl Records {
    /// Of a form that is known, or is to be found from the first bytes.
    pub fn new(form: Option<Form>) -> Self {
        Self { form, held: Vec::new() }
    }

    /// What comes in, once that is clear.
    pub fn form(&self) -> Option<Form> {
        self.form
    }

    /// Takes bytes; gives the records that are whole now.
    pub fn push(&mut self, bytes: &[u8]) -> Option<Whole> {
        self.held.extend_from_slice(bytes);
        let form = match self.form {
            Some(form) => form,
            None => *self.form.insert(tell(&self.held)?),
        };
        let end = form.end();
        let Some(last) = self.held.iter().rposition(|byte| *byte == end) else {
            if self.held.len() > LONGEST {
                self.held.clear();
            }
            return None;
        };
        let rest = self.held.split_off(last + 1);
        let bytes = std::mem::replace(&mut self.held, rest);
        let mut start = 0;
        let places = bytes.iter().enumerate().filter(|(_, byte)| **byte == end).map(|(at, _)| {
            let place = start..at + 1;
            start = at + 1;
            place
        });
        let places = places.collect();
        Some(Whole { form, bytes, places })
    }

    /// Forgets what is not whole; whether there was anything.
    pub fn drop_rest(&mut self) -> bool {
        let any = !self.held.trim_ascii().is_empty();
        self.held.clear();
        any
    }
}

/// Text has no control characters but its line ends and tabs; frames begin with the length of a run, which is one, and
/// hold zeros.
fn tell(bytes: &[u8]) -> Option<Form> {
    let odd = |byte: &u8| *byte < 0x20 && !matches!(byte, b'\t' | b'\r' | b'\n');
    if bytes.iter().any(odd) {
        return bytes.contains(&0).then_some(Form::Frames);
    }
    bytes.contains(&b'\n').then_some(Form::Csv)
}

#[cfg(test)]
mod tests {
    use super::*;
    use glidepath::gatt::{CgmMeasurement, Sfloat};
    use wrist::link::Frame;

    fn all(records: &mut Records, bytes: &[u8], step: usize) -> Vec<Vec<u8>> {
        let pieces = bytes.chunks(step).filter_map(|piece| records.push(piece));
        pieces.flat_map(|whole| whole.each().map(<[u8]>::to_vec).collect::<Vec<_>>()).collect()
    }

    #[test]
    fn both_forms_are_found_and_cut_wherever_the_bytes_are() {
        let frame =
            |minute| Frame::Measurement(CgmMeasurement::new(Sfloat::nearest(104.0), minute)).stuffed();
        let frames = [frame(5).as_slice(), &frame(10), &frame(266)[..4]].concat();
        let text = b"time,glucose_mg_dl\r\n600,110\n900,11";
        for step in 1..40 {
            let mut records = Records::default();
            assert_eq!(all(&mut records, &frames, step), [frame(5).to_vec(), frame(10).to_vec()]);
            assert_eq!(records.form(), Some(Form::Frames));
            assert!(records.drop_rest() && !records.drop_rest());
            let mut records = Records::default();
            assert_eq!(all(&mut records, text, step), [&b"time,glucose_mg_dl"[..], b"600,110"]);
            assert_eq!(records.form(), Some(Form::Csv));
            assert!(records.push(b"2\n").is_some_and(|whole| whole.each().eq([b"900,112"])));
        }
    }

    #[test]
    fn an_endless_record_is_let_go() {
        let mut records = Records::new(Some(Form::Csv));
        assert!(records.push(&vec![b'x'; LONGEST + 1]).is_none());
        assert!(records.push(b"\n600,1\n").is_some_and(|whole| whole.each().count() == 2));
    }
}
