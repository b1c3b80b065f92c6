//! What happens besides time.

use glidepath::Side;

/// What threads tell the one that decides.
#[derive(Debug)]
pub enum Event {
    /// The input of a sensor meets something.
    Input(Side, Met),
    /// Something else went wrong that may right itself.
    Trouble(String),
    /// A person asks for something.
    Key(Key),
}

/// What an input meets.
#[derive(Debug)]
pub enum Met {
    /// Bytes have come.
    Bytes(Vec<u8>),
    /// What comes now is read from the beginning: the file is another.
    Anew,
    /// The line was cut: what is under way will not be ended.
    Cut,
    /// For now, there is no more.
    Dry,
    /// There will be no more.
    Ended,
    /// Something went wrong that may right itself, or did.
    Said(String),
}

/// A person asks for something by a key or a button.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Key {
    Acknowledge,
    Snooze,
    Unit,
    Quit,
}
