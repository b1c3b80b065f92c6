//! What happens besides time.

/// What threads tell the one that decides.
#[derive(Debug)]
pub enum Event {
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
    /// Something went wrong that may right itself.
    Trouble(String),
    /// A line is there.
    Back(String),
    /// A person asks for something.
    Key(Key),
}

/// A person asks for something by a key or a button.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Key {
    Acknowledge,
    Snooze,
    Unit,
    Quit,
}
