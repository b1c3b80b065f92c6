//! Every public function of glidepath, called over an invented hard stream, with one hash over every answer.
//!
//! The same hashes on every machine say: same bits. The linked image says: no panic, no allocator, no `f64`.
//! Coverage of one run says: nothing public was left out.

#![no_std]

mod hash;
mod kept;
mod live;
mod pair;
mod past;
mod stages;
mod stream;
mod time;
mod wire;
mod world;

use glidepath::Glucose;
pub use hash::Hash;
pub use stream::{Event, Stream};

/// A part and its name: it lives through so many events.
pub type Part = (&'static str, fn(usize) -> Hash);

/// All parts but the last.
pub static PARTS: [Part; 9] = [
    ("monitor", live::monitor),
    ("two sensors", pair::pair),
    ("stages", stages::stages),
    ("timeline", time::timeline),
    ("accuracy", past::accuracy),
    ("review", past::review),
    ("review, every value", past::review_exact),
    ("gatt", wire::gatt),
    ("simulate", world::simulate),
];

/// The last part, apart from the others: `examples/wrist` holds an image of it free of panics.
pub static KEPT: Part = ("snapshot", kept::kept);

/// All.
pub fn parts() -> impl Iterator<Item = Part> {
    PARTS.into_iter().chain([KEPT])
}

/// A glucose; 0 for what is none.
fn mg_dl(value: f32) -> Glucose {
    const NONE: Glucose = match Glucose::from_mg_dl(0.0) {
        Ok(zero) => zero,
        Err(_) => panic!(),
    };
    Glucose::from_mg_dl(value).unwrap_or(NONE)
}
